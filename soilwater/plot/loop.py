"""Picture of what sand remembers: the loop of its two curves, and where each depth stands in it."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from soilwater.ground.profile import Profile
from soilwater.plot import style
from soilwater.plot.data import only_column
from soilwater.soils import Hysteretic
from soilwater.soils.history import WettingHistory
from soilwater.words.errors import InputError
from soilwater.words.quantities import in_people_units

BRANCHES = 3
"""Depths whose branch is drawn: more would hide one another."""


@style.in_our_look
def wetting_loop(run: xr.Dataset, *, layer: str | None = None, ax: Axes | None = None) -> Axes:
    """Draw where the sand of each depth stands between its two curves at the end of a run.

    Parameters
    ----------
    run : Dataset
        Result of `simulate` for one column whose sand remembers how it was wetted.
    layer : str, optional
        Name of the layer; the uppermost that remembers when left out.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes
        Both curves, a point for each depth, and of three depths the branch: solid as it came since
        it last turned, dotted as it goes on.

    Raises
    ------
    InputError
        If the result says nothing of what sand remembers, or the layer does not.
    """
    turning = run.get("turning_suction")
    if turning is None:
        raise InputError(
            "run: it does not say how its sand was wetted; allowed: a result of sand that is "
            "Hysteretic, with node_suction kept; give the sand a memory, such as "
            "likely_memories(sand)[8]."
        )
    column = only_column(run)
    name, soil, top, bottom = _layer(column.profile, layer)
    depth = column.mesh.depth
    inside = np.flatnonzero((depth >= top) & (depth <= bottom))
    node = "node_depth" if "node_depth" in turning.dims else "node"
    turns = turning.squeeze().transpose(node, "turn").values[inside]
    suction = np.maximum(column.node_suction[-1, inside], 0.0)
    histories = [
        WettingHistory(tuple(own[np.isfinite(own)].tolist()), float(at))
        for own, at in zip(turns, suction, strict=True)
    ]
    held = np.array([soil.water_content_after(each) for each in histories])
    ax = style.axes_or_new(ax, 6.4, 5.6)
    driest = max(45.0, 1.25 * float(suction.max()))
    along = np.linspace(0.0, driest, 301)
    drains, wets = soil.water_content(along), soil.wetting_water_content(along)
    ax.fill_betweenx(along, 100.0 * wets, 100.0 * drains, color=style.WATER, alpha=0.18, lw=0)
    ax.plot(100.0 * drains, along, color=style.FAINT, label="drained from a flood, as in a lab")
    ax.plot(100.0 * wets, along, color=style.FAINT, ls="--", label="wetted from dry")
    chosen = np.unique(np.linspace(0, inside.size - 1, BRANCHES).round().astype(int))
    for i, colour in zip(chosen, style.line_colours(chosen.size), strict=True):
        _draw_branch(ax, soil, histories[i], driest, colour)
        ax.plot(100.0 * held[i], suction[i], "o", ms=8, color=colour, zorder=5,
                label=f"{in_people_units(float(depth[inside[i]]), 'length')} down")  # fmt: skip
    ax.plot(100.0 * held, suction, ".", ms=5, color=style.INK, zorder=4, label="other depths")
    ax.set_xlim(0.0, 5.0 * np.ceil(20.0 * soil.theta_s + 0.4))
    ax.set_ylim(0.0, driest)
    ax.set_xlabel("water content (% by volume)")
    ax.set_ylabel("suction (cm of water)")
    ax.set_title(f"What the {name} remembers")
    ax.legend(loc="upper right", fontsize=9)
    return ax


def _layer(profile: Profile, wanted: str | None) -> tuple[str, Hysteretic, float, float]:
    """Name, soil, top and bottom [cm] of the layer that is drawn."""
    bottom, named = 0.0, []
    for each in profile.layers:
        top, bottom = bottom, bottom + each.thickness
        named.append(each.name)
        if isinstance(each.soil, Hysteretic) and wanted in (None, each.name):
            return each.name, each.soil, top, bottom
    raise InputError(
        f'layer: none called "{wanted}" remembers how it was wetted; the layers are '
        f"{', '.join(named)}."
    )


def _draw_branch(
    ax: Axes, soil: Hysteretic, history: WettingHistory, driest: float, colour: str
) -> None:
    """Draw the branch that a depth came along since it turned, and how it goes on."""
    began = history.turns[-1] if history.turns else 0.0
    came = np.linspace(began, history.suction, 61)
    before = WettingHistory(history.turns[:-1], began) if history.turns else history.flooded()
    ax.plot(100.0 * soil.water_contents_along(came, before), came, color=colour)
    drains = len(history.turns) % 2 == 0
    on = np.linspace(history.suction, driest if drains else 0.0, 61)
    ax.plot(100.0 * soil.water_contents_along(on, history), on, color=colour, ls=":", lw=1.5)
