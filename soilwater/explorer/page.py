"""The page itself: lattices packed into it, what was frozen in, and how it shows itself."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from importlib.metadata import version
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.decisions.watering.water_plan import gallons_per_1000_ft2
from soilwater.explorer.arithmetic import (
    FLAT,
    SUNRISE,
    days_to,
    every_hour,
    failure,
    mean_to,
    water_of,
)
from soilwater.explorer.bands import Bands
from soilwater.explorer.html import ExplorerPage, fill_page
from soilwater.explorer.lattice import (
    BESIDE_SURFACE,
    STRETCH,
    STRETCHED,
    WATER_STEP,
    Lattice,
)
from soilwater.ground.base import Base
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil
from soilwater.words.cautions import cautions_for
from soilwater.words.quantities import in_people_units
from soilwater.words.times import as_time, stamp

OPENING_HOUR = 72
"""Hour since the start that the page opens at [h]: three days, when spots have come apart."""
_LAB_SUCTIONS = (10.0, 20.0, 30.0, 40.0)


class Asked(NamedTuple):
    """What a page is made for, checked: ranges [cm] and [mm/day], opening places of the sliders."""

    sands: dict[str, Sand]
    bases: dict[str, Base]
    turf: Turf
    thresholds: Thresholds
    depths: tuple[float, float]
    demands: tuple[float, float]
    rods: tuple[float, float]
    opening: dict[str, float]
    start: str
    days: int
    first_day: Any
    draws: int
    name: str


class Worked(NamedTuple):
    """Runs of one sand on one base; bands where the sand is not taken for certain."""

    lattice: Lattice
    bands: Bands | None


def make_page(asked: Asked, worked: Sequence[Worked]) -> ExplorerPage:
    """Lay out a page.

    Parameters
    ----------
    asked : Asked
        What the page is made for.
    worked : sequence of Worked
        One for every sand on every base, bases running fastest.

    Raises
    ------
    ImportError
        Without matplotlib or jinja2.
    """
    name = asked.name or "How this green dries"
    opening = tuple(_opening_sentences(asked, worked[0].lattice))
    lines = asked.thresholds
    in_percent = {each: f"{100 * getattr(lines, each):g} %" for each in ("firm", "watch", "wilt")}
    sections: dict[str, Any] = {
        "sands": list(asked.sands),
        "bases": list(asked.bases),
        "rows": [
            ("reading", "The meter reads"),
            *((each, f"Days to {each}, {value}") for each, value in in_percent.items()),
            ("back", "Water that brings the layer of the rods back to its drained state"),
            ("whole", "The same for the whole root zone"),
        ],
        "with_bands": any(each.bands is not None for each in worked),
        "frozen": frozen_in(asked),
        "cautions": [
            "water given beyond the drained state of a spot goes on into the gravel",
            *cautions_for(
                "accuracy",
                "base suction",
                "drying curve",
                "level ground",
                "wilt",
                "construction",
                "not modelled",
            ),
        ],
    }
    streams: dict[str, NDArray[np.int16]] = {}
    for i, each in enumerate(worked):
        streams[f"water-{i}"] = each.lattice.water
        if each.bands is not None:
            streams[f"bands-{i}"] = each.bands.offsets
    return fill_page("page", name, opening, sections, _given(asked, worked), streams)


def what_it_holds(soil: Soil) -> str:
    """Say in a line what water a soil holds at suctions of a lab, and how fast it drains."""
    points = ", ".join(
        f"{100 * float(soil.water_content(suction)):.1f} % at {suction:g} cm"
        for suction in _LAB_SUCTIONS
    )
    conductivity = in_people_units(soil.k_sat, "conductivity")
    return f"holds {points} of suction, saturated conductivity {conductivity}"


def frozen_in(asked: Asked) -> list[str]:
    """Say what the sliders of the page `asked` for do not move: sheets, bases, weather, turf."""
    said = []
    for name, sand in asked.sands.items():
        if isinstance(sand, FitResult):
            table = sand.table
            points = ", ".join(
                f"{100 * water:.1f} % at {suction:g} cm"
                for suction, water in zip(table.suction, table.water_content, strict=True)
            )
            said.append(
                f"{name}: lab points {points} of suction; saturated conductivity "
                f"{in_people_units(sand.soil.k_sat, 'conductivity')} ({sand.k_sat_source}); "
                f"band of {asked.draws} equally likely curves; base and weather have none"
            )
        else:
            best, likely = best_and_likely(sand, asked.draws)
            sure = (
                "taken for certain, so without a band"
                if len(likely) == 1
                else f"the middle one of equally likely sands; band of {len(likely)} of them"
            )
            said.append(f"{name}: {what_it_holds(best)}; {sure}")
    said += [f"base {name}: {base}" for name, base in asked.bases.items()]
    starts = {"soaked": "saturated to the surface", "drained": "drained to rest"}
    turf = asked.turf
    factor = (
        f"{turf.crop_coefficient:g}"
        if isinstance(turf.crop_coefficient, int | float)
        else "by month"
    )
    return [
        *said,
        f"weather: {asked.days} days from {stamp(as_time(asked.first_day, 'first_day'))[:10]}, no "
        "rain and no water given, all days alike, demand from 6 to 18 h",
        f"start: {starts[asked.start]}",
        f"turf: {turf.name or 'as given'}, roots to {in_people_units(turf.root_depth, 'length')}, "
        f"crop coefficient {factor}",
        "between the runs it holds, readings of this page are within 0.2 % by volume of a run, "
        "the ends of bands within about 0.5 %",
        f"made on {date.today().isoformat()} with soilwater {version('soilwater')}",
    ]


def _given(asked: Asked, worked: Sequence[Worked]) -> dict[str, Any]:
    """Gather what the script is told besides the streams."""
    lines = asked.thresholds
    return {
        "water_step": WATER_STEP,
        "flat": FLAT,
        "sunrise": SUNRISE,
        "beside_surface": BESIDE_SURFACE,
        "stretched": STRETCHED,
        "stretch": STRETCH,
        "gallons_per_mm": gallons_per_1000_ft2(1.0),
        "clock": 0,
        "days": asked.days,
        "deepest": asked.depths[1],
        "bases": len(asked.bases),
        "lines": {"firm": lines.firm, "watch": lines.watch, "wilt": lines.wilt},
        "range": {
            "depths": asked.depths,
            "demands": asked.demands,
            "hours": (0, 24 * asked.days),
            "rods": asked.rods,
        },
        "open": {**asked.opening, "hour": _opening_hour(asked)},
        "lattices": [_described(each) for each in worked],
    }


def _described(each: Worked) -> dict[str, Any]:
    lattice, bands = each
    return {
        "depths": lattice.depths.tolist(),
        "demands": lattice.demands.tolist(),
        "hours": lattice.hours.tolist(),
        "rest": np.round(lattice.rest, 6).tolist(),
        "porosity": lattice.porosity,
        "failed": lattice.failed,
        "bands": None
        if bands is None
        else {
            "rods": bands.rods.tolist(),
            "depths": bands.depths.tolist(),
            "demands": bands.demands.tolist(),
        },
    }


def _opening_hour(asked: Asked) -> int:
    return min(OPENING_HOUR, 24 * asked.days)


def _opening_sentences(asked: Asked, lattice: Lattice) -> list[str]:
    """Say what the page says as it opens, of the first sand on the first base."""
    rod, demand, hour = asked.opening["rod"], asked.opening["demand"], _opening_hour(asked)
    said = []
    for key, name in (("spot", "This spot"), ("green", "The rest of the green")):
        depth = asked.opening[key]
        begin = f"{name}, {in_people_units(depth, 'length')} deep,"
        reason = failure(lattice, depth, demand)
        if not reason and rod > depth:
            reason = "The rod is longer than the root zone is deep."
        if reason:
            said.append(f"{begin} has no answer: {reason}")
            continue
        hourly = every_hour(lattice.hours, mean_to(water_of(lattice, depth, demand), depth, rod))
        days = ", ".join(
            f"{line} on day {_day(days_to(hourly, getattr(asked.thresholds, line)), asked.days)}"
            for line in ("firm", "watch", "wilt")
        )
        said.append(
            f"{begin} reads {100 * hourly[hour]:.1f} % on day {hour / 24:.1f} and reaches {days}."
        )
    return said


def _day(day: float, last: int) -> str:
    return f"{day:.1f}" if np.isfinite(day) else f"> {last}"
