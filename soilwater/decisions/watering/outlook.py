"""How the spots of a green dry down: days to the firm, watch and wilt, and to plant stress.

A threshold of the meter and a plant short of water are different criteria: a deep spot reads low
long before its roots go short. Both are given, with bands over sand, weather, base suction and
probe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
import xarray as xr

from soilwater.decisions.calibrated import check_calibration
from soilwater.decisions.drained_readings import MEMORIES, by_depth
from soilwater.decisions.watering.draws import make_draws
from soilwater.decisions.watering.ensembles import (
    Course,
    band_of,
    course_of,
    days_text,
    first_at_or_below,
    ground_and_demand,
    members_of,
    need_within_pores,
    spots_with_depth,
)
from soilwater.decisions.watering.outlook_words import (
    below_already,
    green_sentence,
)
from soilwater.decisions.watering.starts import (
    LEARNED_START,
    any_remembers,
    assumed_words,
    check_start,
    errors_of,
    usable,
)
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.decisions.watering.trials import from_calibration, from_readings, from_rest
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_at_rest import DRAWS as LIKELY
from soilwater.lab.likely_memory import as_watered
from soilwater.learning.calibration import Calibration
from soilwater.runs.wetted import USUAL_RAIN, AfterRain, gently
from soilwater.survey.rods import rod_of
from soilwater.survey.survey import Spot, Survey
from soilwater.survey.too_short import depth_in_words
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW, ends_and_middle
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.unit_choice import worded
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

DRAWS = 200
"""Equally likely combinations of sand, weather and base suction run at each depth."""


class Days(NamedTuple):
    """Days until something, with the ends of a band [d]; infinity is beyond the run."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class SpotOutlook:
    """How one spot dries.

    Attributes
    ----------
    spot : Spot
        Name and depth.
    start : (float, float, float)
        Reading at the start [1]: low end of the band, median, high end.
    firm, watch, wilt : Days
        Days until the meter shows each threshold [d].
    short_of_water : Days
        Days until the turf first meets less of its demand than the threshold [d].
    readings : tuple of float
        Median reading [1] at the end of each day, the start first.
    course : Course
        Readings [1] over time, with their band.
    rewetted : (float, float, float) or None
        Where it starts drained after a flood, what it would read drained after 10 mm/h on a dry
        green [1]: low end of the band, median, high end.
    """

    spot: Spot
    start: tuple[float, float, float]
    firm: Days
    watch: Days
    wilt: Days
    short_of_water: Days
    readings: tuple[float, ...]
    course: Course
    rewetted: tuple[float, float, float] | None = None


@dataclass(frozen=True, repr=False)
class DryDownOutlook(Displayed, Tabled):
    """Days to each threshold for every spot of a green.

    Attributes
    ----------
    name : str
        Of the survey.
    spots : tuple of SpotOutlook
        In the order of the survey.
    thresholds : Thresholds
        The thresholds counted to.
    rod : float
        Length of the rods [cm].
    horizon : float
        Length of the weather [d].
    sentence : str
        What the deepest spot reads when the bulk of the green is firm.
    assumptions, cautions : tuple of str
        What was assumed, and what the person should know.
    """

    name: str
    spots: tuple[SpotOutlook, ...]
    thresholds: Thresholds
    rod: float
    horizon: float
    sentence: str
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]

    def spot(self, name: str) -> SpotOutlook:
        """Find a spot by its name.

        Parameters
        ----------
        name : str
            As in the survey.

        Raises
        ------
        InputError
            If it has no outlook.
        """
        found = next((each for each in self.spots if each.spot.name == name), None)
        if found is None:
            faults = Faults("DryDownOutlook")
            faults.add(
                f'no spot "{name}"', allowed=", ".join(each.spot.name for each in self.spots)
            )
            raise faults.as_error()
        return found

    def _columns(self) -> list[Column]:
        parts: list[tuple[str, Any, str]] = [
            ("spot", lambda each: each.spot.name, ""),
            ("depth", lambda each: each.spot.depth, "length"),
        ]
        for i, end in enumerate(("at least", "median", "at most")):
            parts.append((f"start {end}", lambda s, i=i: s.start[i], "water_content"))
        for what in ("firm", "watch", "wilt", "short_of_water"):
            for i, end in enumerate(("at least", "median", "at most")):
                name = f"{what.replace('_', ' ')} {end}"
                parts.append((name, lambda s, what=what, i=i: getattr(s, what)[i], "days"))
        if self._beside:
            for i, end in enumerate(("at least", "median", "at most")):
                name = f"watered gently {end}"
                parts.append((name, lambda s, i=i: s.rewetted[i], "water_content"))
        return columns_of(self.spots, parts)

    @property
    def _beside(self) -> bool:
        """Whether spots start after a flood, and what gentle water leaves is told beside."""
        return all(each.rewetted is not None for each in self.spots)

    def to_dataset(self) -> xr.Dataset:
        """Days as a labelled table.

        Returns
        -------
        Dataset
            `days_until` [d] over ``spot``, ``threshold`` (firm, watch, wilt, short_of_water) and
            ``quantile``; infinity where beyond the run.
        """
        names = ("firm", "watch", "wilt", "short_of_water")
        days = np.array([[getattr(each, name) for name in names] for each in self.spots])
        data = xr.Dataset(
            {"days_until": (("spot", "threshold", "quantile"), days)},
            {
                "spot": [each.spot.name for each in self.spots],
                "threshold": list(names),
                "quantile": [LOW, 0.5, HIGH],
            },
        )
        attached: xr.Dataset = attach(data)
        return attached

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (
                each.spot.name,
                depth_in_words(each.spot),
                *(_reading_text(band) for band in (each.start, each.rewetted) if band is not None),
                *(
                    days_text(*days, self.horizon)
                    for days in (each.firm, each.watch, each.wilt, each.short_of_water)
                ),
            )
            for each in self.spots
        ]

    def _header(self) -> tuple[str, ...]:
        thresholds = self.thresholds
        return (
            "spot",
            "depth",
            "reads at the start %",
            *([f"drained after {gently()} %"] if self._beside else []),
            f"days to firm {100 * thresholds.firm:g} %",
            f"watch {100 * thresholds.watch:g} %",
            f"wilt {100 * thresholds.wilt:g} %",
            f"turf gets < {100 * thresholds.demand_met:g} % of demand",
        )

    def _title(self) -> str:
        place = f' of "{self.name}"' if self.name else ""
        return (
            f"Dry-down{place}, {in_people_units(self.rod, 'length')} rods, {self.horizon:g} days: "
            "median (four in five)"
        )

    def _shown(self) -> Shown:
        lines = [self.sentence, *(f"assumed: {each}" for each in self.assumptions)]
        lines += caution_lines(self.cautions)
        return Shown(self._title(), self._header(), self._rows(), lines, set_in=True)


def _reading_text(band: tuple[float, float, float]) -> str:
    low, median, high = (f"{100 * each:.1f}" for each in band)
    return f"{median} ({low} to {high})"


@mind_words(soil="sand", lines="thresholds")
def dry_down_outlook(
    survey: Survey,
    sand: Sand,
    weather: Weather | Sequence[Weather],
    turf: Turf,
    thresholds: Thresholds,
    *,
    calibration: Calibration | None = None,
    start: Literal["drained", "readings"] = "drained",
    after: AfterRain | None = None,
    rod: Length = None,
    base_suction: Suction = OVER_GRAVEL,
    probe_error: Length = 1.0,
    meter_error: WaterContent = 0.025,
    draws: int = DRAWS,
    seed: int = 0,
    n_threads: int | None = None,
) -> DryDownOutlook:
    """Count the days until each spot reads firm, watch and wilt, and until its turf goes short.

    Parameters
    ----------
    survey : Survey
        Spots with probed depths; their readings are used where they are the start.
    sand : Soil, FitResult or sequence of these
        The root-zone sand; of a fit, all that its points leave open is carried through.
    weather : Weather or sequence of Weather
        Forecast, or several equally likely ones over one span. It starts when the green has
        drained, the morning after the last soaking, or when the readings were taken.
    turf : Turf
        Roots and demand.
    thresholds : Thresholds
        Readings that mean something on this ground.
    calibration : Calibration, optional
        What readings have taught, from `calibrate`: spots start from it, and sand, base, turf and
        meter stay joint. Weather is taken from its `now` on.
    start : {"drained", "readings"}, optional
        Whether spots start drained to rest, or at what they read early on the first morning.
    after : AfterRain, optional
        How the green was wetted last, if gently while dry. When left out, drained spots were
        flooded, and of spots at readings one way is as likely as the other.
    rod : float, str or Quantity, optional
        Length of the rods [cm]; that of the survey's readings when left out.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm]; the band is taken evenly.
    probe_error : float, str or Quantity, optional
        Standard error of a probed depth [cm].
    meter_error : float or str, optional
        Standard error of one reading [1].
    draws : int, optional
        Equally likely combinations of sand, weather and base suction.
    seed : int, optional
        Seed of the draws.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    DryDownOutlook

    Raises
    ------
    InputError
        If no spot has a depth, rods are unknown or differ, or something given cannot be used.
    RunError
        If a column cannot be carried through.

    Notes
    -----
    Spots that start drained differ in depth alone: their columns are run on a grid of depths and
    read between them (`soilwater.decisions.ensembles`). Spots that start at their readings are run
    one by one. A repellent, sloping or badly watered spot dries sooner than this says.

    Examples
    --------
    >>> from soilwater.survey.survey import Spot, Survey
    >>> from soilwater.soils import VanGenuchten
    >>> from soilwater.weather.made import steady_weather
    >>> sand = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
    >>> green = Survey([Spot("A1", 30.0), Spot("C3", 46.0)])
    >>> outlook = dry_down_outlook(
    ...     green, sand, steady_weather(10, "5 mm/day"), Turf("15 cm"),
    ...     Thresholds("18 %", "14 %", "12 %"), rod="3 in", base_suction=3.0, draws=10,
    ... )
    >>> outlook.spot("C3").wilt.median < outlook.spot("A1").wilt.median
    True
    """
    length = rod_of(survey, rod)
    known, notes = spots_with_depth(survey, length)
    members = members_of(weather)
    base = base_band(base_suction)
    error = number_to_house(probe_error, "length", "probe_error")
    faults = Faults("dry_down_outlook")
    check_calibration(
        calibration,
        {
            "sand": (sand, getattr(calibration, "sand", None)),
            "turf": (turf, getattr(calibration, "turf", None)),
            "base_suction": (base_suction, OVER_GRAVEL),
            "start": (start, "drained"),
            "after": (after, None),
        },
        faults,
    )
    if error < 0.0:
        faults.add(f"probe_error is {error:g} cm", allowed="0 or more")
    meter = 0.0
    with faults.catching():
        meter = number_to_house(meter_error, "water_content", "meter_error")
    if meter < 0.0:
        faults.add(f"meter_error is {meter:g}", allowed="0 or more")
    faults.need_whole("draws", draws, 2)
    lines = {name: getattr(thresholds, name) for name in ("firm", "watch", "wilt")}
    need_within_pores(lines, sand, faults)
    check_start(start, after, faults)
    if start == "readings" and not any(usable(spot, length) for spot in known):
        faults.add(f"no spot has a usable reading with {length:g} cm rods", cure="start drained")
    faults.raise_if_any()
    remembering = () if calibration is not None else as_watered(sand, draws)
    at_rest = start == "drained" and calibration is None
    if calibration is not None:
        draws = calibration.draws
        members = calibration.members(members)
        trial = from_calibration(known, calibration, members, length, n_threads)
    else:
        drawn = make_draws(remembering, members, base, error, draws, seed)
        if start == "drained":
            trial = from_rest(known, drawn, turf, after, length, n_threads)
        else:
            noise = np.random.default_rng(seed).standard_normal((len(known), draws))
            noise *= errors_of(known, length, meter)
            trial = from_readings(known, drawn, turf, after, length, noise, n_threads)
            unread = [spot.name for spot in known if not usable(spot, length)]
            if unread:
                notes.append(f"without a usable reading, started drained: {', '.join(unread)}")
    days = trial.hours / 24.0
    middles: FloatArray = np.arange(trial.met.shape[2], dtype=np.float64) + 0.5

    def told(rain: AfterRain | None) -> FloatArray:
        """Tell what spots read drained as every other decision does, of more draws than are run."""
        count = LIKELY if rain is None else MEMORIES
        return ends_and_middle(by_depth(known, sand, base, length, error, count, seed, rain)).T

    starts = np.stack([ends_and_middle(own[:, 0]) for own in trial.reading])
    if at_rest:
        starts = told(after if any_remembers(remembering) else None)
    gentle = told(USUAL_RAIN) if at_rest and after is None else None
    spots = []
    for i, (spot, own, short) in enumerate(zip(known, trial.reading, trial.met, strict=True)):
        firm, watch, wilt = (
            Days(*band_of(first_at_or_below(days, own, line))) for line in lines.values()
        )
        short_of_water = Days(*band_of(first_at_or_below(middles, short, thresholds.demand_met)))
        course = course_of(trial.times, own)
        mornings = np.interp(np.arange(int(days[-1]) + 1), days, course.median)
        mornings[0] = starts[i, 1]
        spots.append(
            SpotOutlook(
                spot,
                tuple(starts[i].tolist()),
                firm,
                watch,
                wilt,
                short_of_water,
                tuple(mornings.tolist()),
                course,
                None if gentle is None else tuple(gentle[i].tolist()),
            )
        )
    horizon = float(days[-1])
    return DryDownOutlook(
        name=survey.name,
        spots=tuple(spots),
        thresholds=thresholds,
        rod=length,
        horizon=horizon,
        sentence=worded(
            lambda: " ".join(
                [
                    green_sentence(spots, thresholds, horizon),
                    *below_already(spots, thresholds.wilt, length),
                ]
            )
        ),
        assumptions=(
            *(
                (LEARNED_START,)
                if calibration is not None
                else assumed_words(start, after, base, remembering)
            ),
            f"{draws} cases tried: sand, base, probe and {len(members)} weather "
            f"member{'' if len(members) == 1 else 's'}",
            *ground_and_demand(sand, turf, members),
            *notes,
        ),
        cautions=_CAUTIONS,
    )


_CAUTIONS = (
    "a spot that is repellent, on a slope or short of sprinkling dries sooner than its depth says",
    *cautions_for("wilt", "level ground", "accuracy", "heat", "not modelled"),
)
