"""Pictures with depth downward: water and air in a profile, suction, and depth against time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from soilwater.ground.base import CapillaryBreak, GravelBlanket, SeepageFace
from soilwater.ground.profile import Profile
from soilwater.plot import style
from soilwater.plot.data import Through, moments, only_column, water_through
from soilwater.runs.columns_of import Column
from soilwater.runs.drained import depth_range, drained_suction, drained_when
from soilwater.words.errors import InputError
from soilwater.words.forms import Date, Length
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import VARIABLES

TURF_THICKNESS = 0.7
"""Thickness of the turf as drawn [cm]."""
METER_TOP = 2.9
"""Height of the meter's body above the turf surface as drawn [cm]."""
ABOVE, BELOW = 3.6, 3.0
"""Room above the surface and below the base [cm]."""
USUAL_DEPTH = 50.0
"""Profiles deeper than this [cm] are drawn with turf, meter and gravel larger in proportion."""


@style.in_our_look
def profile(
    run: xr.Dataset,
    *,
    at: Date | Sequence[Date] | None = None,
    rod: Length = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw water, air and sand in a profile, as if its side had been dug free.

    Parameters
    ----------
    run : Dataset
        One column, from `simulate` or `drained_state`.
    at : datetime64, str or a list of these, optional
        The time shown, or several: then the first is filled in and the others are lines. The end
        of the run when left out.
    rod : float, str or Quantity, optional
        Length of the meter's rods [cm]: draws the meter and writes what it would read.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If `run` holds several columns, a time lies outside it, or the rod is too long.
    """
    column = only_column(run)
    shown = moments(run, at)
    ax = style.axes_or_new(ax, 4.6, 6.0)
    saturated = water_through(column, shown[0][0]).saturated
    right = 10.0 * np.ceil(0.1 * (saturated.max() + 4.0))
    length = None if rod is None else number_to_house(rod, "length", "rod")
    draw_inside(ax, column, shown, right, length)
    if len(shown) > 1:
        style.legend_below(ax)
    ax.set_xlim(0.0, right)
    ax.set_xlabel("water content (% by volume)")
    _depth_axis(ax, column.profile)
    return ax


@style.in_our_look
def suction_profile(
    run: xr.Dataset, *, at: Date | Sequence[Date] | None = None, ax: Axes | None = None
) -> Axes:
    """Draw suction down a profile, with the line it comes to rest on after drainage.

    Parameters
    ----------
    run : Dataset
        One column, from `simulate` or `drained_state`.
    at : datetime64, str or a list of these, optional
        Times to draw; the end of the run when left out.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If `run` holds several columns, or a time lies outside it.
    """
    column = only_column(run)
    shown = moments(run, at)
    ax = style.axes_or_new(ax, 4.6, 5.4)
    for (i, name), colour in zip(shown, style.line_colours(len(shown)), strict=True):
        ax.plot(column.node_suction[i], column.mesh.depth, color=colour, label=name)
    try:
        base = drained_suction(column.profile)
    except InputError:  # This base lets the profile come to no rest, so there is no such line.
        pass
    else:
        depth, when = column.profile.depth, drained_when(column.profile)
        ax.plot(
            [base + depth, base],
            [0.0, depth],
            color=style.FAINT,
            ls=(0, (5, 3)),
            lw=1.4,
            label=f"drained, {when}" if column.profile.blanket else f"{when} after drainage",
        )
    style.legend_below(ax)
    ax.set_xlabel("suction (cm of water; positive when dry)")
    for bottom in column.profile.interfaces[1:-1]:
        ax.axhline(bottom, color=style.FAINT, lw=0.8)
    ax.set_xlim(min(0.0, float(np.nanmin(column.node_suction[[i for i, _ in shown]]))), None)
    ax.set_ylim(column.profile.depth, 0.0)
    ax.set_ylabel("depth below the turf surface (cm)")
    style.inches(ax, "right")
    return ax


@style.in_our_look
def depth_time(run: xr.Dataset, *, variable: str = "water_content", ax: Axes | None = None) -> Axes:
    """Draw a quantity over time and depth as a map.

    Parameters
    ----------
    run : Dataset
        One column, from `simulate`.
    variable : {"water_content", "suction"}, optional
        What is drawn.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If `run` holds several columns or no times, or there is no such variable.
    """
    column = only_column(run)
    if variable not in ("water_content", "suction"):
        raise InputError(f'variable: {variable!r}; allowed: "water_content" or "suction".')
    if "time" not in run.dims:
        raise InputError("Dataset: it has no times; give the result of a simulation.")
    ax = style.axes_or_new(ax, 8.0, 4.2)
    cells = column.mesh.soil.size
    values = run[variable].squeeze().transpose("time", ...).values[:, :cells]
    named = VARIABLES[variable]
    if variable == "water_content":
        values, label, colours = 100.0 * values, "water content (% by volume)", style.WATER_MAP
    else:
        label = f"{named.long_name} ({named.units})"
        colours = style.WATER_MAP.reversed()
    times = run.time.values
    middles = times[:-1] + (times[1:] - times[:-1]) / 2
    edges = np.concatenate([times[:1], middles, times[-1:]])
    drawn = ax.pcolormesh(
        edges,
        column.mesh.depth,
        values.T,
        cmap=colours,
        shading="flat",
        rasterized=True,
    )
    ax.figure.colorbar(drawn, ax=ax, label=label, pad=0.1)
    for bottom in column.profile.interfaces[1:-1]:
        ax.axhline(bottom, color="white", lw=1.0)
    ax.set_ylim(column.profile.depth, 0.0)
    ax.set_xlabel("date")
    ax.set_ylabel("depth below the turf surface (cm)")
    style.inches(ax, "right")
    return ax


def draw_inside(
    ax: Axes, column: Column, shown: list[tuple[int, str]], right: float, rod: float | None
) -> None:
    """Draw all of `profile` but its axes.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    column : Column
        Whose water.
    shown : list of tuple
        Numbers of the times and their names, as `moments` gives them.
    right : float
        Where the picture ends [%].
    rod : float or None
        Length of the meter's rods [cm], if it is shown.
    """
    _fill(ax, water_through(column, shown[0][0]), right, words=len(shown) == 1)
    colours = [style.DEEP_WATER, *style.line_colours(len(shown))[1:]]
    for (i, name), colour in zip(shown, colours, strict=True):
        through = water_through(column, i)
        (line,) = ax.plot(through.water_content, through.depth, color=colour, label=name)
        line.set_path_effects(style.halo())
    _draw_layers(ax, column.profile, right)
    if rod is not None:
        _draw_meter(ax, column, shown[0][0], rod)


def _fill(ax: Axes, through: Through, right: float, *, words: bool) -> None:
    depth, water, saturated = through
    ax.fill_betweenx(depth, 0.0, water, color=style.WATER, lw=0, label="_water")
    ax.fill_betweenx(depth, water, saturated, color=style.AIR, lw=0, label="_air")
    ax.fill_betweenx(depth, saturated, right, color=style.SOLID, lw=0, label="_solid")
    ax.plot(saturated, depth, color=style.FAINT, lw=0.8)
    air = saturated - water
    if not words:
        return
    row = int(np.argmin(np.abs(depth - 0.25 * depth[-1])))
    if air[row] > 7.0:
        ax.text(0.5 * (water[row] + saturated[row]), depth[row], "air", ha="center", va="center")
    ax.text(0.4 * water[-1], 0.88 * depth[-1], "water", ha="center", color="white")
    ax.text(
        0.5 * (saturated[0] + right),
        0.5 * depth[-1],
        "solids",
        rotation=90,
        ha="center",
        va="center",
        color="#6b5a36",
    )


def _draw_layers(ax: Axes, of: Profile, right: float) -> None:
    ends = of.interfaces
    turf, below = (size * _enlargement(of) for size in (TURF_THICKNESS, BELOW))
    ax.add_patch(Rectangle((0.0, -turf), right, turf, color=style.TURF, lw=0))
    for layer, top, bottom in zip(of.layers, ends[:-1], ends[1:], strict=True):
        if top > 0.0:
            ax.axhline(top, color=style.INK, lw=0.9)
        if len(of.layers) > 1:
            text = ax.text(
                0.98 * right, 0.5 * (top + bottom), layer.name, ha="right", va="center", zorder=6
            )
            text.set_path_effects(style.halo())
    ax.axhline(of.depth, color=style.INK, lw=1.2)
    if isinstance(of.base, (CapillaryBreak, GravelBlanket, SeepageFace)):
        ax.add_patch(
            Rectangle(
                (0.0, of.depth),
                right,
                below,
                facecolor="#efece6",
                edgecolor=style.GRAVEL,
                hatch="oo",
                lw=0,
            )
        )
        name = "free outlet" if isinstance(of.base, SeepageFace) else "gravel"
    else:
        name = str(of.base)
    text = ax.text(
        0.5 * right, of.depth + 0.5 * below, name, ha="center", va="center", fontsize="small"
    )
    text.set_path_effects(style.halo())


def _draw_meter(ax: Axes, column: Column, i: int, rod: float) -> None:
    top, bottom = depth_range(0.0, rod, column.profile)
    reading = float(column.mean(top, bottom, slice(i, i + 1))[0])
    larger = _enlargement(column.profile)
    turf, height = TURF_THICKNESS * larger, METER_TOP * larger
    for x in (3.0, 5.5):
        ax.plot(
            [x, x],
            [-turf, bottom],
            color=style.INK,
            lw=2.6,
            solid_capstyle="butt",
            label="_rod",
            zorder=4,
        )
    ax.add_patch(Rectangle((1.6, -height), 5.3, height - turf, color=style.INK, lw=0, zorder=4))
    ax.text(
        8.5,
        -0.5 * (height + turf),
        f"meter: {100.0 * reading:.0f} %",
        va="center",
        ha="left",
        fontweight="bold",
    )


def _enlargement(of: Profile) -> float:
    return max(1.0, of.depth / USUAL_DEPTH)


def _depth_axis(ax: Axes, of: Profile) -> None:
    larger = _enlargement(of)
    ax.set_ylim(of.depth + BELOW * larger, -ABOVE * larger)
    ax.set_ylabel("depth below the turf surface (cm)")
    ax.spines["left"].set_bounds(0.0, of.depth)
    style.inches(ax, "right")
