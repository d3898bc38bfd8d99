"""A page of a line or a green that was run: the day is moved, a place is clicked."""

from __future__ import annotations

from datetime import date
from importlib.metadata import version
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.explorer.bands import RODS
from soilwater.explorer.html import MOST_BYTES, ExplorerPage, fill_page, pack
from soilwater.explorer.lattice import (
    BESIDE_SURFACE,
    SHALLOWEST,
    STRETCH,
    STRETCHED,
    WATER_STEP,
    cell_means,
)
from soilwater.explorer.page import what_it_holds
from soilwater.runs.columns_of import Column, each_column
from soilwater.runs.meter import meter_reading
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.times import hours_between, stamp
from soilwater.words.units import number_to_house

EVERY_HOURS = (1, 2, 3, 4, 6, 12, 24)
"""Hours between stored times, the first with which a page is small enough."""
OPENING_HOUR = 48.0
"""Hour since the start that the page opens at or before [h]: drained, and not yet dried."""
SHADES = 24
"""Steps of colour from dry to wet."""


class Places(NamedTuple):
    """Where the columns stand: `x` and, on a green, `y` [m], `level` [cm], `wide` and `area`."""

    x: FloatArray
    y: FloatArray | None
    level: FloatArray
    wide: FloatArray
    area: FloatArray


@mind_words()
def explore_ground(
    run: xr.Dataset,
    *,
    rod: Length,
    thresholds: Thresholds | None = None,
    name: str = "",
) -> ExplorerPage:
    """Make a page of a line or a green that was run: move the day, click a place, see its column.

    Parameters
    ----------
    run : Dataset
        Result for a line (over ``distance``) or a green (over ``y`` and ``x``), at whole hours.
    rod : float, str or Quantity
        Length of the rods as the page opens [cm].
    thresholds : Thresholds, optional
        Readings that mean something on this ground; no lines are drawn when left out.
    name : str, optional
        Title of the page.

    Returns
    -------
    ExplorerPage
        Shows itself in a notebook; `save` writes the file. Readings are within 0.1 % by volume of
        those of `meter_reading`.

    Raises
    ------
    InputError
        With every fault at once: a result that is no line and no green, columns that failed or
        are shallower than 15 cm, times that are not evenly apart, rods that do not fit.
    ImportError
        Without matplotlib or jinja2: ``python -m pip install "soilwater[report]"``.
    """
    from soilwater.plot.style import water_shades

    places, columns, hours, length = _checked(run, rod, thresholds)
    water, hours = _stored(columns, hours)
    least = min(each.profile.depth for each in columns)
    rods = (float(RODS[0]), min(float(RODS[-1]), least))
    opening_hour = float(hours[hours <= OPENING_HOUR][-1])
    k = int(np.flatnonzero(hours == opening_hour)[0])
    times = run.time.values
    reading = meter_reading(run, rod=length).transpose("time", ...).values
    now = reading[int(np.argmin(np.abs(np.asarray(hours_between(times[0], times)) - hours[k])))]
    driest = int(np.argmin(now))
    lines = (
        {}
        if thresholds is None
        else {each: getattr(thresholds, each) for each in ("firm", "watch", "wilt")}
    )
    kind = "line" if places.y is None else "green"
    title = name or {"line": "Water along a line", "green": "Water on a green"}[kind]
    opening = (
        f"{_place_text(places, driest)}, {in_people_units(columns[driest].profile.depth, 'length')}"
        f" deep, is the driest on day {opening_hour / 24:.1f}: the meter reads "
        f"{100 * now[driest]:.1f} %.",
        f"All places read {100 * now.min():.1f} to {100 * now.max():.1f} %.",
    )
    given = {
        "water_step": WATER_STEP,
        "beside_surface": BESIDE_SURFACE,
        "stretched": STRETCHED,
        "stretch": STRETCH,
        "clock": int(hours_between(times[0].astype("datetime64[D]"), times[0])),
        "days": round(float(hours[-1]) / 24.0, 2),
        "deepest": max(each.profile.depth for each in columns),
        "hours": [int(each) for each in hours],
        "lines": lines,
        "porosity": [_porosity(each) for each in columns],
        "places": {
            "x": np.round(places.x, 3).tolist(),
            "y": None if places.y is None else np.round(places.y, 3).tolist(),
            "level": np.round(places.level, 2).tolist(),
            "depth": [round(each.profile.depth, 3) for each in columns],
            "wide": np.round(places.wide, 4).tolist(),
            "area": np.round(places.area / places.area.max(), 6).tolist(),
        },
        "shades": water_shades(SHADES),
        "shade_ends": [0.0, 0.05 * np.ceil(20.0 * WATER_STEP * float(water.max()))],
        "most": 0.05 * np.ceil(20.0 * float(reading[1:].max()) + 0.2),
        "range": {"hours": (0, int(hours[-1])), "places": (0, len(columns) - 1), "rods": rods},
        "open": {"hour": int(opening_hour), "place": driest, "rod": length},
    }
    in_percent = {each: f"{100 * value:g} %" for each, value in lines.items()}
    sections: dict[str, Any] = {
        "kind": kind,
        "picture": "The line, cut open" if kind == "line" else "The green from above",
        "rows": [
            (each, f"Days until it falls to {each}, {value}; what is at or below that now")
            for each, value in in_percent.items()
        ],
        "frozen": _frozen(columns, times, hours),
        "cautions": cautions_for("accuracy", "base suction", "drying curve", "wilt")
        + cautions_for("construction", "not modelled"),
    }
    return fill_page("ground", title, opening, sections, given, {"water": water})


def _checked(run: Any, rod: Any, thresholds: Any) -> tuple[Places, list[Column], FloatArray, float]:
    faults = Faults("explore_ground")
    if not isinstance(run, xr.Dataset) or "time" not in run.dims or "profile" not in run:
        faults.add(
            f"run is a {type(run).__name__} without times and profiles",
            allowed="the result of simulate for a line or a green",
        )
        raise faults.as_error()
    if thresholds is not None and not isinstance(thresholds, Thresholds):
        faults.add(
            f"thresholds is {thresholds!r}",
            allowed='Thresholds("18 %", "14 %", "12 %") of your ground',
        )
    places = _places(run, faults)
    columns = list(each_column(run))
    failed = int(np.sum(run.status.values != 0)) if "status" in run else 0
    if failed:
        faults.add(f"{failed} of its columns have no result", cure="see run.status_text")
    shallow = [c.profile.depth for c in columns if c.profile.depth < SHALLOWEST]
    if shallow:
        faults.add(
            f"{len(shallow)} columns are shallower than {in_people_units(SHALLOWEST, 'length')}",
            allowed="deeper ones",
        )
    hours = np.asarray(hours_between(run.time.values[0], run.time.values), dtype=np.float64)
    if hours.size < 3 or not np.allclose(hours, np.round(hours)) or np.ptp(np.diff(hours)) > 1e-6:
        faults.add("its times are not whole hours evenly apart", cure='run with output="1 h"')
    length = 0.0
    with faults.catching():
        length = number_to_house(rod, "length", "rod")
        most = min(float(RODS[-1]), *(c.profile.depth for c in columns))
        if not RODS[0] - 1e-9 <= length <= most + 1e-9:
            faults.add(
                f"rod is {in_people_units(length, 'length')}",
                allowed=f"{in_people_units(float(RODS[0]), 'length')} to "
                f"{in_people_units(most, 'length')}",
            )
    faults.raise_if_any()
    return places, columns, np.round(hours), length


def _places(run: xr.Dataset, faults: Faults) -> Places:
    """Find where the columns of a line or a green stand."""
    dims = run.profile.dims
    along = str(dims[0]) if len(dims) == 1 else ""
    missing = [name for name in ("surface_level", "plan_area") if name not in run.coords]
    on_green = {"x", "y"} <= set(run.coords)
    if not along or missing or not (along == "distance" or on_green):
        faults.add(
            f"run is over {', '.join(map(str, dims)) or 'one column'}",
            allowed="the result of simulate for a line or a green",
        )
        raise faults.as_error()
    level, area = (run[name].values.astype(float) for name in ("surface_level", "plan_area"))
    if on_green:
        x, y = (run[name].values.astype(float) for name in ("x", "y"))
        return Places(x, y, level, np.sqrt(area), area)
    x = run.distance.values / 100.0
    # Faces stand half-way between columns; at the ends a column reaches no further than its middle.
    faces = np.concatenate([x[:1], 0.5 * (x[1:] + x[:-1]), x[-1:]])
    return Places(0.5 * (faces[1:] + faces[:-1]), None, level, np.diff(faces), area)


def _stored(columns: list[Column], hours: FloatArray) -> tuple[NDArray[np.int16], FloatArray]:
    """Water of the cells, shape (hours, places, cells), at as many times as a page has room for."""
    means = np.stack([cell_means(each) for each in columns], axis=1)
    whole = np.round(means / WATER_STEP).astype(np.int16)
    for every in EVERY_HOURS:
        chosen = np.flatnonzero(np.isclose(np.mod(hours, every), 0.0))
        if chosen.size < 3:
            break
        water = whole[chosen]
        if np.allclose(np.diff(hours[chosen]), max(every, hours[1])) and (
            len(pack(water)) < MOST_BYTES - 300_000
        ):
            return water, hours[chosen]
    raise InputError(
        f"explore_ground: {len(columns)} columns over {hours[-1] / 24:.0f} days make a page of "
        f"more than {MOST_BYTES / 1e6:g} MB; give fewer days: "
        "run.sel(time=slice(None, run.time[0] + np.timedelta64(7, 'D')))."
    )


def _porosity(column: Column) -> float:
    return float(column.profile.layers[0].soil.theta_s)


def _frozen(columns: list[Column], times: Any, hours: FloatArray) -> list[str]:
    """Say what the page does not move."""
    depths = [each.profile.depth for each in columns]
    first = columns[0].profile
    return [
        f"{len(columns)} columns, {in_people_units(min(depths), 'length')} to "
        f"{in_people_units(max(depths), 'length')} deep",
        *(f"{layer.name}: {what_it_holds(layer.soil)}" for layer in first.layers),
        f"base: {first.base}",
        f"from {stamp(times[0])} to {stamp(times[-1])}, kept every {hours[1] - hours[0]:g} h",
        f"made on {date.today().isoformat()} with soilwater {version('soilwater')}",
    ]


def _place_text(places: Places, k: int) -> str:
    if places.y is None:
        return f"The place at {places.x[k]:.1f} m"
    return f"The place {places.x[k]:.1f} m east and {places.y[k]:.1f} m north"
