"""Ground that is not level: a line seen from the side, its readings, and a green from above."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from numpy.typing import NDArray

from soilwater.ground.surveyed import SurveyedGround
from soilwater.plot import style
from soilwater.plot.data import moments
from soilwater.plot.on_map import draw_map, draw_outline, over_time, scale_of
from soilwater.runs.columns_of import each_column
from soilwater.runs.green_map import GreenMap
from soilwater.runs.meter import meter_reading
from soilwater.words.errors import InputError
from soilwater.words.forms import Date, Length
from soilwater.words.quantities import in_people_units
from soilwater.words.units import number_to_house

GRAVEL_SHOWN = 6.0
"""Gravel drawn below the lowest floor [cm]."""
MOST_ARROWS = 9
LEAST_FLOW = 0.02
"""Flow sideways [cm2/h] too small for an arrow, as a share of the largest."""
LITRES = 0.1
"""Flow [L/h] through a metre of width that is a flow of one cm2/h."""
ERROR_MAP = "YlOrBr"
EXAGGERATED_HEIGHT = 0.4
"""Height of the ground as drawn, over its length."""


@style.in_our_look
def cross_section(run: xr.Dataset, *, at: Date = None, ax: Axes | None = None) -> Axes:
    """Draw a line of columns from the side: water in colour, levels true, arrows where it flows.

    Heights are drawn larger than lengths, by the factor that the axis says. An arrow is as long as
    the flow over its face is large, summed over the depth of the sand.

    Parameters
    ----------
    run : Dataset
        From `simulate` with a `Transect`.
    at : datetime64 or str, optional
        The time shown; the end of the run when left out.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If the run is of no line, or `at` lies outside it.
    """
    _check_line(run)
    i, when = moments(run, at)[0]
    columns = list(each_column(run))
    x = run.distance.values / 100.0
    surface, floor = run.surface_level.values, run.floor_level.values
    ax = style.axes_or_new(ax, 8.0, 4.2)
    edges = np.concatenate([x[:1], 0.5 * (x[1:] + x[:-1]), x[-1:]])
    norm = Normalize(0.0, 100.0 * max(layer.soil.theta_s for layer in columns[0].profile.layers))
    for k, column in enumerate(columns):
        within = int(np.searchsorted(column.mesh.depth, column.profile.depth + 1e-9))
        depth, suction = column.mesh.depth[:within], column.node_suction[i][:within]
        water = [
            100.0
            * float(
                np.mean(column.mesh.soils[s].water_content(np.array([suction[n], suction[n + 1]])))
            )
            for n, s in enumerate(column.mesh.soil[: within - 1])
        ]
        left, right = (
            np.interp(edges[k : k + 2], x, surface),
            np.interp(edges[k : k + 2], x, floor),
        )
        share = depth / depth[-1]
        level = left[None, :] - share[:, None] * (left - right)[None, :]
        ax.pcolormesh(
            np.broadcast_to(edges[k : k + 2], level.shape),
            level,
            np.array(water)[:, None],
            cmap=style.WATER_MAP,
            norm=norm,
            edgecolors="face",
            linewidth=0.2,
        )
    lowest = float(floor.min()) - GRAVEL_SHOWN
    ax.fill_between(
        x, floor, lowest, facecolor=style.GRAVEL, edgecolor="white", hatch="oo", lw=0.0,
        label="_gravel",
    )  # fmt: skip
    ax.plot(x, surface, color=style.TURF, lw=3.0, label="_turf")
    ax.plot(x, floor, color=style.INK, lw=1.0, label="_floor")
    _arrows(ax, run, i, x, surface, floor)
    ax.set_xlim(x[0], x[-1])
    ax.set_ylim(lowest, float(surface.max()) + 2.0)
    length, height = 100.0 * (x[-1] - x[0]), float(surface.max()) + 2.0 - lowest
    exaggeration = max(1.0, round(EXAGGERATED_HEIGHT * length / height))
    ax.set_aspect(exaggeration / 100.0)
    style.measured(ax.xaxis, "distance", "distance along the line ({unit})")
    told = f"heights drawn {exaggeration:g} times as large"
    style.measured(ax.yaxis, "length", f"level ({{unit}})\n{told}")
    ax.set_title(when, loc="left")
    ax.figure.colorbar(
        ScalarMappable(norm, style.WATER_MAP),
        ax=ax,
        label="water content (% by volume)",
        shrink=0.8,
    )
    return ax


def _arrows(
    ax: Axes,
    run: xr.Dataset,
    i: int,
    x: NDArray[np.float64],
    surface: NDArray[np.float64],
    floor: NDArray[np.float64],
) -> None:
    """Arrows along the floor, where something flowed before the time drawn."""
    flow = run.lateral_flow.transpose("time", "link").values[i]
    largest = float(np.nanmax(np.abs(flow), initial=0.0))
    if not largest > 0.0:
        return
    at = run.link.values / 100.0
    longest = (x[-1] - x[0]) / (MOST_ARROWS + 1.0)
    for place in np.linspace(x[0], x[-1], MOST_ARROWS + 2)[1:-1]:
        size = float(np.interp(place, at, flow)) / largest
        if abs(size) < LEAST_FLOW:
            continue
        ends = np.array([place - 0.5 * size * longest, place + 0.5 * size * longest])
        base, top = np.interp(ends, x, floor), np.interp(ends, x, surface)
        level = base + 0.2 * (top - base)
        ax.annotate(
            "",
            xy=(float(ends[1]), float(level[1])),
            xytext=(float(ends[0]), float(level[0])),
            arrowprops={"arrowstyle": "-|>", "color": style.ACCENT, "lw": 1.6},
        )
    ax.text(
        1.0, 1.02, f"longest arrow: {LITRES * largest:.2g} L/h through each metre of width",
        transform=ax.transAxes, ha="right", va="bottom", color=style.ACCENT, fontsize=8.5,
    )  # fmt: skip


@style.in_our_look
def along_line(
    run: xr.Dataset,
    alone: xr.Dataset | None = None,
    *,
    rod: Length,
    at: Date | list[Date] | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw what a meter reads along a line, and thin beside it what each column would read alone.

    Parameters
    ----------
    run : Dataset
        From `simulate` with a `Transect`.
    alone : Dataset, optional
        From `simulate_many` with `Transect.cases` of the same line, over the same times.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    at : datetime64, str or a list of these, optional
        Times shown; the end of the run when left out.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If the run is of no line, a time lies outside it, or `alone` is of another line.
    """
    _check_line(run)
    if alone is not None and (
        "distance" not in alone.dims
        or not np.array_equal(alone.distance.values, run.distance.values)
        or not np.array_equal(alone.time.values, run.time.values)
    ):
        raise InputError(
            "alone: its stations or times are not those of the run; allowed: "
            "simulate_many(line.cases(weather, turf=...)) with the same output."
        )
    length = number_to_house(rod, "length", "rod")
    x = run.distance.values / 100.0
    shown = moments(run, at)
    ax = style.axes_or_new(ax, 8.0, 3.6)
    for (i, when), colour in zip(shown, style.line_colours(len(shown)), strict=True):
        reading = 100.0 * meter_reading(run, rod=length).transpose("time", "distance").values[i]
        ax.plot(x, reading, color=colour, label=when)
        if alone is not None:
            single = 100.0 * meter_reading(alone, rod=length).transpose("time", "distance").values
            ax.plot(x, single[i], color=colour, lw=0.9, ls="--", label=f"_{when}, alone")
    if alone is not None:
        ax.plot([], [], color=style.FAINT, lw=0.9, ls="--", label="each column alone")
    ax.set_xlim(x[0], x[-1])
    style.measured(ax.xaxis, "distance", "distance along the line ({unit})")
    ax.set_ylabel(f"reading, {in_people_units(length, 'length')} rods (% by volume)")
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3)
    return ax


@style.in_our_look
def green_map(
    ground: GreenMap,
    values: xr.DataArray,
    *,
    label: str = "",
    surveyed: SurveyedGround | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw values of every cell of a green from above, over contours of its surface.

    Parameters
    ----------
    ground : GreenMap
        The green.
    values : DataArray
        One number a cell, over ``spot``, such as a reading [1] at one time, or the `probability`
        [1] of `ground_odds`, which is coloured from none to certain, or the `extra_depth` [cm] of
        `crest_effect`, which looks dry where places behave deeper.
    label : str, optional
        What the values are, with their unit; of a reading and of odds it is known.
    surveyed : SurveyedGround, optional
        What the green was made from: its outline and its spots are drawn too.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If there is not one number a cell, or odds are above 1.
    """
    if values.dims != ("spot",):
        raise InputError(
            f"values: they lie along {', '.join(map(str, values.dims)) or 'nothing'}; allowed: "
            "spot alone; pick the rest with .isel or .sel."
        )
    ax = style.axes_or_new(ax, 6.4, 5.2)
    picture, label = draw_map(ax, ground, values, label, surveyed, None)
    ax.figure.colorbar(picture, ax=ax, label=label, shrink=0.8)
    if ground.name:
        ax.set_title(ground.name, loc="left")
    return ax


@style.in_our_look
def green_days(
    ground: GreenMap,
    values: xr.DataArray,
    *,
    at: list[Date],
    label: str = "",
    surveyed: SurveyedGround | None = None,
    axes: NDArray[np.object_] | None = None,
) -> NDArray[np.object_]:
    """Draw a green from above at several times, side by side in one scale of colours.

    Parameters
    ----------
    ground : GreenMap
        The green.
    values : DataArray
        Numbers over ``spot`` and ``time``, such as readings [1].
    at : list of datetime64 or str
        Times shown.
    label : str, optional
        What the values are, with their unit; of a reading and of odds it is known.
    surveyed : SurveyedGround, optional
        What the green was made from: its outline and its spots are drawn too.
    axes : ndarray of Axes, optional
        Where to draw, one for each time.

    Returns
    -------
    ndarray of Axes

    Raises
    ------
    InputError
        If there is not one number a cell and time, or a time lies outside them.
    """
    over_time(values)
    shown = moments(values.to_dataset(name="values"), at)
    if axes is None:
        axes = plt.subplots(1, len(shown), figsize=(4.2 * len(shown), 4.0), squeeze=False)[1][0]
    picked = values.isel(time=[i for i, _ in shown])
    norm = scale_of(picked, label)
    for ax, (i, when) in zip(axes, shown, strict=True):
        day = values.isel(time=i)
        picture, told = draw_map(ax, ground, day, label, surveyed, norm)
        ax.set_title(when, loc="left")
    axes[0].figure.colorbar(picture, ax=list(axes), label=told, shrink=0.8)
    return axes


@style.in_our_look
def surveyed_ground(
    surveyed: SurveyedGround, *, axes: NDArray[np.object_] | None = None
) -> NDArray[np.object_]:
    """Draw what a survey says of a green, and how well it is known, before it is run.

    Parameters
    ----------
    surveyed : SurveyedGround
        From `interpolate_survey`.
    axes : ndarray of Axes, shape (2, 2), optional
        Where to draw.

    Returns
    -------
    ndarray of Axes, shape (2, 2)
        Level of the surface and depth of the sand above, their standard errors below, with the
        outline and the spots.
    """
    if axes is None:
        axes = plt.subplots(2, 2, figsize=(9.6, 8.0), sharex=True, sharey=True)[1]
    side = surveyed.spacing / 100.0
    n_y, n_x = surveyed.mask.shape
    x = surveyed.corner[0] + side * np.arange(n_x)
    y = surveyed.corner[1] + side * np.arange(n_y)
    panels = (
        ("surface level (cm)", surveyed.surface_level, "cividis", "surface_level"),
        ("probe depth (cm)", surveyed.probe_depth, style.WATER_MAP.reversed(), "depth"),
        ("standard error of the level (cm)", surveyed.surface_level_error, ERROR_MAP, ""),
        ("standard error of the depth (cm)", surveyed.probe_depth_error, ERROR_MAP, ""),
    )
    for ax, (label, grid, colours, what) in zip(axes.flat, panels, strict=True):
        low = 0.0 if colours is ERROR_MAP else float(np.nanmin(grid))
        norm = Normalize(low, max(float(np.nanmax(grid)), low + 0.1))
        picture = ax.pcolormesh(x, y, grid, cmap=colours, norm=norm, shading="nearest")
        draw_outline(ax, surveyed)
        if what == "surface_level" and min(grid.shape) > 1 and np.nanmax(grid) > np.nanmin(grid):
            lines = ax.contour(x, y, grid, colors="white", linewidths=0.8)
            ax.clabel(lines, fmt="%g", fontsize=7.0)
        for spot in surveyed.survey.spots:
            if spot.x is not None and spot.y is not None:
                found = getattr(spot, what) if what else None
                value = np.nan if found is None else found
                face = picture.cmap(norm(value)) if np.isfinite(value) else "white"
                ax.plot(spot.x, spot.y, "o", ms=5.0, mfc=face, mec=style.INK, mew=0.7)
        ax.set_aspect("equal")
        ax.figure.colorbar(picture, ax=ax, shrink=0.85)
        ax.set_title(label, loc="left", fontsize=10.0)
    for ax in axes[-1]:
        style.measured(ax.xaxis, "distance", "east ({unit})")
    for ax in axes[:, 0]:
        style.measured(ax.yaxis, "distance", "north ({unit})")
    return axes


def _check_line(run: xr.Dataset) -> None:
    """Refuse what is no run of a line."""
    missing = [n for n in ("distance", "surface_level", "lateral_flow") if n not in run.variables]
    if missing:
        raise InputError(
            f"run: {', '.join(missing)} missing; allowed: the result of simulate with a Transect, "
            "with lateral_flow and its levels."
        )
