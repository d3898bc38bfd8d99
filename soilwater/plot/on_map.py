"""A green from above: numbers over its cells, in their units and colours."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from matplotlib.colors import ListedColormap, Normalize
from numpy.typing import NDArray

from soilwater.ground.surveyed import SurveyedGround
from soilwater.plot import style
from soilwater.runs.green_map import GreenMap
from soilwater.words.errors import InputError
from soilwater.words.quantities import one_writing

NO_VALUE = ListedColormap(["#d9d9d9"])
"""Cells that have no value, such as a day that does not come within a run."""

DRY_WHERE_DEEP = ("extra_depth", "extra_depth_lower", "extra_depth_upper", "root_zone_depth")
"""Values that are high where a green is dry: they are drawn dry there."""


def over_time(values: xr.DataArray) -> None:
    """Refuse what is not one number a cell and time.

    Parameters
    ----------
    values : DataArray
        Numbers over ``spot`` and ``time``.
    """
    if set(values.dims) != {"spot", "time"}:
        raise InputError(
            f"values: they lie along {', '.join(map(str, values.dims)) or 'nothing'}; allowed: "
            "spot and time; for one time draw green_map."
        )
    if values.sizes["time"] == 0:
        raise InputError("values: they hold no time; allowed: one or more.")


def in_people_numbers(values: xr.DataArray, label: str) -> tuple[NDArray[np.float64], str]:
    """Numbers in the unit of their scale, and its label.

    Parameters
    ----------
    values : DataArray
        Any.
    label : str
        What they are, with their unit; of a reading and of odds it is known.

    Returns
    -------
    ndarray, str
    """
    numbers = np.where(np.isfinite(values.values), values.values, np.nan)  # "never" is no number
    if values.name == "reading":
        return 100.0 * numbers, label or "reading (% by volume)"
    if values.name == "probability":
        if np.nanmax(numbers, initial=0.0) > 1.0:
            raise InputError(
                f"values: odds of {np.nanmax(numbers):g}; allowed: 0-1, such as "
                "odds.places.probability.isel(time=-1); they are told in per cent."
            )
        return 100.0 * numbers, label or "odds (%)"
    return numbers, label


def scale_of(values: xr.DataArray, label: str) -> Normalize:
    """Colours from the least to the largest of some values; of odds, from none to certain.

    Parameters
    ----------
    values : DataArray
        Any.
    label : str
        What they are, as for `in_people_numbers`.

    Returns
    -------
    Normalize
    """
    numbers = in_people_numbers(values, label)[0]
    if values.name == "probability":
        return Normalize(0.0, 100.0)
    return Normalize(float(np.nanmin(numbers)), float(np.nanmax(numbers)))


def draw_map(
    ax: Axes,
    ground: GreenMap,
    values: xr.DataArray,
    label: str,
    surveyed: SurveyedGround | None,
    norm: Normalize | None,
) -> tuple[QuadMesh, str]:
    """Draw colours, contours, outline and spots of one map.

    Parameters
    ----------
    ax : Axes
        Where.
    ground : GreenMap
        The green.
    values : DataArray
        One number a cell.
    label : str
        What they are, as for `in_people_numbers`.
    surveyed : SurveyedGround or None
        With the outline and the spots.
    norm : Normalize or None
        Scale of the colours; from the least to the largest value when None.

    Returns
    -------
    QuadMesh, str
        The colours, and the label of their scale.
    """
    grid = ground.on_map(values)
    odds = values.name == "probability"
    norm = scale_of(values, label) if norm is None and odds else norm
    colours = style.ODDS_MAP if odds else style.WATER_MAP
    colours = colours.reversed() if values.name in DRY_WHERE_DEEP else colours
    numbers, label = in_people_numbers(grid, label)
    picture = ax.pcolormesh(
        grid.x.values, grid.y.values, numbers, cmap=colours, norm=norm, shading="nearest"
    )
    mask = np.asarray(ground.mask)
    if np.isnan(numbers[mask]).any():
        unknown = np.where(mask & np.isnan(numbers), 0.0, np.nan)
        ax.pcolormesh(
            grid.x.values, grid.y.values, unknown, cmap=NO_VALUE, shading="nearest", zorder=0.9
        )
        label = f"{label}; grey: none" if label else "grey: none"
    level = np.where(mask, ground.surface_level, np.nan)
    if min(level.shape) > 1 and np.nanmax(level) > np.nanmin(level):
        lines = ax.contour(
            grid.x.values, grid.y.values, level, colors=style.INK, linewidths=0.7, alpha=0.7
        )
        ax.clabel(lines, fmt=_level_text, fontsize=7.0)
    if surveyed is not None:
        draw_outline(ax, surveyed)
        places = [(s.x, s.y) for s in surveyed.survey.spots if s.x is not None and s.y is not None]
        ax.plot(*np.array(places).T, ".", color=style.INK, ms=3.0, label="_spots")
    ax.set_aspect("equal")
    style.measured(ax.xaxis, "distance", "east ({unit})")
    style.measured(ax.yaxis, "distance", "north ({unit})")
    return picture, label


def draw_outline(ax: Axes, surveyed: SurveyedGround) -> None:
    """Draw the outline of a green.

    Parameters
    ----------
    ax : Axes
        Axes to draw into.
    surveyed : SurveyedGround
        What the green was made from.
    """
    ring = np.concatenate([surveyed.outline, surveyed.outline[:1]])
    ax.plot(*ring.T, color=style.INK, lw=1.2, label="_outline")


def _level_text(level: float) -> str:
    """Write a level [cm] on its contour."""
    writing = one_writing("length")
    return f"{writing.of(level):.3g} {writing.unit}"
