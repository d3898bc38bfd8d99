"""Where and when a green falls below a line, with what is not known of sand, base and ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from soilwater.decisions.contours.places import place_columns
from soilwater.ground.base import CapillaryBreak
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.profile import Profile
from soilwater.ground.surveyed import SurveyedGround
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.green_map import GreenMap
from soilwater.runs.many_grounds import simulate_grounds
from soilwater.runs.meter import days_until, meter_reading
from soilwater.runs.transect import Transect
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, nothing_to_hand_back
from soilwater.words.forms import Length, StartingWater, Suction, WaterContent
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import stamp
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

DRAWS = 20
"""Equally likely grounds: each is a whole run."""


@dataclass(frozen=True, eq=False, repr=False)
class GroundOdds(Displayed, Tabled):
    """Odds that places of a line or a green read at or below a line, day by day.

    Attributes
    ----------
    places : Dataset
        Over ``distance`` or ``spot`` and ``time``: `probability` of a reading at or below the
        threshold [1], and `reading`, the middle one [1]; `days_until` [d], the middle over the
        draws (infinity is beyond the run); `plan_area` [m2]; `water_needed` [mm], what would lift
        the middle reading at the end to the threshold over the depth of the rods.
    threshold, rod : float
        Reading [1] and length of the rods [cm].
    draws : int
        Runs behind it.
    assumptions, cautions : tuple of str
        What was assumed, and what must stand beside the answer.
    """

    places: xr.Dataset
    threshold: float
    rod: float
    draws: int
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]

    def _columns(self) -> list[Column]:
        places, times = self.places, self.places.time.values
        each = [
            Column(column.name, np.tile(np.asarray(column.values), times.size), column.quantity)
            for column in (
                *place_columns(places),
                Column("days", places.days_until.values, "days"),
                Column("water needed", places.water_needed.values, "water_amount"),
            )
        ]
        along = places.days_until.dims[0]
        return [
            Column("time", np.repeat(times, places.sizes[along])),
            *each,
            *(
                Column(name, places[variable].transpose("time", along).values.ravel(), quantity)
                for name, variable, quantity in (
                    ("reading", "reading", "water_content"),
                    ("odds", "probability", "probability"),
                )
            ),
        ]

    def _shown(self) -> Shown:
        area = self.places.plan_area
        rows = []
        for i, time in enumerate(self.places.time.values):
            odds, reading = self.places.probability.isel(time=i), self.places.reading.isel(time=i)
            shares = [100.0 * float(((odds > bar) * area).sum() / area.sum()) for bar in _BARS]
            readings = (reading.min(), reading.weighted(area).mean(), reading.max())
            rows.append(
                (
                    stamp(time),
                    *(f"{100.0 * float(each):.1f}" for each in readings),
                    *(f"{each:.0f} %" for each in shares),
                )
            )
        litres = float((self.places.water_needed * area).sum())
        lines = [
            f"to lift every place to the line at the end, over the depth of the rods: "
            f"{_volume(litres)}",
            *(f"assumed: {each}" for each in self.assumptions),
            *caution_lines(self.cautions),
        ]
        title = (
            f"Odds of {100.0 * self.threshold:g} % or less, "
            f"{in_people_units(self.rod, 'length')} rods, {self.draws} draws"
        )
        return Shown(title, _HEADER, rows, lines, set_in=True)


def _volume(litres: float) -> str:
    writing = one_writing("volume")
    return f"{writing.figure(litres)} {'litres' if writing.unit == 'L' else writing.unit}"


_BARS = (0.1, 0.5, 0.9)
_HEADER = (
    "time", "reading %: least", "mean", "most", "area with odds above 10 %", "50 %", "90 %",
)  # fmt: skip


@mind_words()
def ground_odds(
    ground: SurveyedGround | GreenMap | Transect,
    sand: Sand,
    weather: Weather | Sequence[Weather],
    threshold: WaterContent,
    *,
    rod: Length,
    turf: Turf | None = None,
    base_suction: Suction = OVER_GRAVEL,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    draws: int = DRAWS,
    seed: int = 0,
    n_threads: int | None = None,
) -> GroundOdds:
    """Say where a line or a green reads at or below a line, when, and how sure that is.

    Each draw is a run of the whole ground with one sand, one base suction, one weather and, of a
    ground that was surveyed, one of the surfaces and floors that its points allow.

    Parameters
    ----------
    ground : SurveyedGround, GreenMap or Transect
        From `interpolate_survey`, whose levels and depths are drawn; or a map or a line taken as it
        is.
    sand : Soil, FitResult or sequence of these
        The root-zone sand; of a fit, all that its points leave open is carried through.
    weather : Weather or sequence of Weather
        Rain and reference evapotranspiration; several are equally likely, over one span.
    threshold : float, str or Quantity
        The reading [1] that counts as dry on this ground.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    turf : Turf, optional
        Roots and demand.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm].
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        As for `simulate`; one suction is in [cm].
    irrigation : sequence of Event, optional
        Water applied.
    draws : int, optional
        Equally likely grounds: each is a whole run.
    seed : int, optional
        Of the random numbers.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    GroundOdds

    Raises
    ------
    InputError
        If something given cannot be used.
    """
    faults = Faults("ground_odds")
    line = length = 0.0
    with faults.catching():
        line = number_to_house(threshold, "water_content", "threshold")
    with faults.catching():
        length = number_to_house(rod, "length", "rod")
    faults.need_whole("draws", draws, 2)
    base = base_band(base_suction)
    members = list(weather) if isinstance(weather, Sequence) else [weather]
    _, likely = best_and_likely(sand, draws)
    faults.raise_if_any()
    rng = np.random.default_rng(seed)
    # Each range is walked through evenly and paired by chance, so that few draws hold all of it.
    suctions = rng.permutation(base.spread(draws))
    soils = [likely[i] for i in rng.permutation(np.arange(draws) % len(likely))]
    weathers = [members[i] for i in rng.permutation(np.arange(draws) % len(members))]
    shapes: list[GreenMap | Transect]
    if isinstance(ground, SurveyedGround):
        over = Profile.over_gravel(soils[0], 30.0, base_suction=base.best)
        shapes = [GreenMap.from_survey(each, over) for each in ground.samples(draws, seed=seed)]
    else:
        shapes = [ground] * draws
    grounds = []
    for shape, soil, suction in zip(shapes, soils, suctions.tolist(), strict=True):
        green = replace(shape.green.with_soil(soil), base=CapillaryBreak(suction))
        grounds.append(replace(shape, green=green))
    with nothing_to_hand_back():
        run = simulate_grounds(
            grounds, weathers, turf=turf, start=start, irrigation=irrigation, output=24.0,
            keep=("node_suction",), n_threads=n_threads,
        )  # fmt: skip
    reading = meter_reading(run, rod=length)
    along = str(reading.dims[1])
    middle = reading.median("sample")
    days = days_until(run, line, rod=length)
    places = xr.Dataset(
        {
            "probability": (reading <= line).mean("sample"),
            "reading": middle,
            "days_until": (along, np.sort(days.values, axis=0)[draws // 2]),
            "water_needed": 10.0 * length * (line - middle.isel(time=-1, drop=True)).clip(0.0),
        },
        {name: run[name] for name in ("plan_area", *_PLACES) if name in run.coords},
    )
    drawn = "surface, floor, " if isinstance(ground, SurveyedGround) else ""
    count = f"{len(members)} weather member{'' if len(members) == 1 else 's'}"
    return GroundOdds(
        attach(places),
        line,
        length,
        draws,
        (f"suction left at the base: {base}", f"draws over {drawn}sand, base and {count}"),
        cautions_for("wilt", "sloping ground", "accuracy", "heat"),
    )


_PLACES = ("x", "y")
