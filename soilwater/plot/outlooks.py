"""The dry-down of a green's spots, as an outlook gives it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from soilwater.decisions.watering.outlook import DryDownOutlook
from soilwater.plot import style
from soilwater.words.quantities import in_one_unit, in_people_units
from soilwater.words.unit_choice import units_in_use

MOST_LABELLED = 4
"""Depths whose lines get names and colours; the others are drawn thin between them."""


@style.in_our_look
def outlook(days: DryDownOutlook, *, ax: Axes | None = None) -> Axes:
    """Draw the median reading of each depth of a green, day by day, on its firm, watch and wilt.

    Parameters
    ----------
    days : DryDownOutlook
        From `dry_down_outlook`.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes
        Readings [% by volume] over days.
    """
    names: dict[float, list[str]] = {}
    lines: dict[float, tuple[float, ...]] = {}
    for each in days.spots:
        depth = round(each.spot.depth, 1)
        names.setdefault(depth, []).append(each.spot.name)
        lines[depth] = each.readings
    depths = sorted(lines)
    shown = 100.0 * np.array([lines[depth] for depth in depths])
    x: NDArray[np.float64] = np.arange(shown.shape[1], dtype=np.float64)
    # Shallowest and deepest, and what lies evenly between them.
    chosen = np.unique(np.linspace(0, len(depths) - 1, MOST_LABELLED).round().astype(int))
    colours = dict(zip(chosen.tolist(), style.line_colours(chosen.size), strict=True))
    ax = style.axes_or_new(ax, 8.0, 4.8)
    for i, (depth, line) in enumerate(zip(depths, shown, strict=True)):
        named = i in colours
        ax.plot(
            x,
            line,
            color=colours.get(i, style.FAINT),
            lw=2.0 if named else 0.8,
            zorder=3.0 if named else 2.0,
            label=_label(depth, names[depth]),
        )
    limits = days.thresholds
    bands = {
        "firm": (limits.watch, limits.firm),
        "watch": (limits.wilt, limits.watch),
        "wilt": (0.0, limits.wilt),
    }
    ax.set_xlim(0.0, float(x[-1]))
    ax.set_ylim(0.0, 5.0 * np.ceil(0.2 * max(shown.max() + 0.5, 100.0 * limits.firm)))
    ax.set_xlabel("days")
    ax.set_ylabel(f"meter reading (% by volume)\n{in_people_units(days.rod, 'length')} rods")
    style.draw_bands(ax, bands, x, shown)
    style.label_lines(
        ax,
        x,
        shown[chosen],
        [_label(depths[i], names[depths[i]]) for i in chosen],
        list(colours.values()),
    )
    return ax


def _label(depth: float, names: list[str]) -> str:
    who = ", ".join(names) if len(names) < 3 else f"{len(names)} spots"
    told = f"{depth:.0f} cm" if units_in_use() != "US" else in_one_unit(depth, "length")
    return f"{told}: {who}"
