"""How the spots of a green dry down: days to the firm, watch and wilt, and to plant stress.

A threshold of the meter and a plant short of water are different criteria: a deep spot reads low
long before its roots go short. Both are given, with bands over sand, weather, base suction and
probe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any, Literal, NamedTuple

import numpy as np
import xarray as xr

from soilwater.decisions.watering.ensembles import (
    HIGH,
    LOW,
    Draw,
    band_of,
    between_depths,
    column,
    daily_share_met,
    days_text,
    depth_grid,
    first_at_or_below,
    make_draws,
    members_of,
    run_columns,
    spots_with_depth,
)
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.soils import Soil
from soilwater.soils.at_rest import rest_curve
from soilwater.survey.survey import Spot, Survey, rod_of
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.renamed import mind_words
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.units import in_people_units, number_to_house
from soilwater.words.vocabulary import attach

DRAWS = 200
"""Equally likely combinations of sand, weather and base suction run at each depth."""


@dataclass(frozen=True)
class Thresholds:
    """Readings that mean something on this ground, with these rods.

    None has a default: they are set by watching the turf, and move with species, roots and rods.

    Parameters
    ----------
    firm, watch, wilt : float, str or Quantity
        Readings [1], falling: the surface is firm; look every day; wilt is seen.
    demand_met : float, optional
        Share of its demand [1] below which the turf is called short of water on a day. 0.75 is a
        choice (no source).

    Raises
    ------
    InputError
        With every fault: readings that do not fall, a share outside 0 to 1.

    Examples
    --------
    >>> Thresholds("18 %", "14 %", "12 %").wilt
    0.12
    """

    firm: float
    watch: float
    wilt: float
    demand_met: float = field(default=0.75, kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("Thresholds")
        for name, quantity in (
            ("firm", "water_content"),
            ("watch", "water_content"),
            ("wilt", "water_content"),
            ("demand_met", "fraction"),
        ):
            with faults.catching():
                value = number_to_house(getattr(self, name), quantity, name)
                object.__setattr__(self, name, value)
                if not 0.0 < value < 1.0:
                    faults.add(f"{name} is {value:g}", allowed="between 0 and 1")
        faults.raise_if_any()
        if not self.firm > self.watch > self.wilt:
            faults.add(
                f"firm {100 * self.firm:g} %, watch {100 * self.watch:g} %, wilt "
                f"{100 * self.wilt:g} % do not fall",
                allowed="firm > watch > wilt",
            )
        faults.raise_if_any()

    @property
    def bands(self) -> dict[str, tuple[float, float]]:
        """Lower and upper reading [1] of what is firm, to watch and wilted."""
        return {
            "firm": (self.watch, self.firm),
            "watch": (self.wilt, self.watch),
            "wilt": (0.0, self.wilt),
        }


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
    """

    spot: Spot
    start: tuple[float, float, float]
    firm: Days
    watch: Days
    wilt: Days
    short_of_water: Days
    readings: tuple[float, ...]


@dataclass(frozen=True, repr=False)
class DryDownOutlook:
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
                in_people_units(each.spot.depth, "length"),
                f"{100 * each.start[1]:.1f} ({100 * each.start[0]:.1f} to "
                f"{100 * each.start[2]:.1f})",
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
            "drained %",
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

    def __repr__(self) -> str:
        table = echo_table(self._rows(), self._header())
        lines = [self._title(), *("  " + line for line in table.splitlines()), self.sentence]
        lines += [f"assumed: {each}" for each in self.assumptions]
        return "\n".join([*lines, *(f"caution: {each}" for each in self.cautions)])

    def _repr_html_(self) -> str:
        said = [self.sentence, *(f"assumed: {each}" for each in self.assumptions)]
        said += [f"caution: {each}" for each in self.cautions]
        listed = "".join(f"<li>{escape(text)}</li>" for text in said)
        return html_table(self._rows(), self._header(), caption=self._title()) + (
            f"<ul>{listed}</ul>"
        )


@mind_words(soil="sand", lines="thresholds")
def dry_down_outlook(
    survey: Survey,
    sand: Sand,
    weather: Weather | Sequence[Weather],
    turf: Turf,
    thresholds: Thresholds,
    *,
    start: Literal["drained", "readings"] = "drained",
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
    start : {"drained", "readings"}, optional
        Whether spots start drained to rest, or at what they read early on the first morning.
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
    >>> from soilwater.weather.series import steady_weather
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
    if error < 0.0:
        faults.add(f"probe_error is {error:g} cm", allowed="0 or more")
    meter = 0.0
    with faults.catching():
        meter = number_to_house(meter_error, "water_content", "meter_error")
    if meter < 0.0:
        faults.add(f"meter_error is {meter:g}", allowed="0 or more")
    if draws < 2:
        faults.add(f"draws is {draws}", allowed="2 or more")
    if start not in STARTS:
        faults.add(f"start is {start!r}", allowed='"drained" or "readings"')
    elif start == "readings" and not any(_usable(spot, length) for spot in known):
        faults.add(f"no spot has a usable reading with {length:g} cm rods", cure="start drained")
    faults.raise_if_any()
    drawn = make_draws(sand, members, base, error, draws, seed)
    if start == "drained":
        hours, reading, met = _from_rest(known, drawn, turf, length, error, n_threads)
    else:
        noise = meter * np.random.default_rng(seed).standard_normal((len(known), draws))
        hours, reading, met = _from_readings(known, drawn, turf, length, noise, n_threads)
        unread = [spot.name for spot in known if not _usable(spot, length)]
        if unread:
            notes.append(f"without a usable reading, started drained: {', '.join(unread)}")
    days = hours / 24.0
    middles: FloatArray = np.arange(met.shape[2], dtype=np.float64) + 0.5
    spots = []
    for spot, own, short in zip(known, reading, met, strict=True):
        firm, watch, wilt = (
            Days(*band_of(first_at_or_below(days, own, line)))
            for line in (thresholds.firm, thresholds.watch, thresholds.wilt)
        )
        short_of_water = Days(*band_of(first_at_or_below(middles, short, thresholds.demand_met)))
        mornings = np.interp(np.arange(int(days[-1]) + 1), days, np.median(own, axis=0))
        readings = tuple(mornings.tolist())
        first = band_of(own[:, 0])
        spots.append(SpotOutlook(spot, first, firm, watch, wilt, short_of_water, readings))
    horizon = float(days[-1])
    return DryDownOutlook(
        name=survey.name,
        spots=tuple(spots),
        thresholds=thresholds,
        rod=length,
        horizon=horizon,
        sentence=_green_sentence(spots, thresholds, horizon),
        assumptions=(
            STARTS[start],
            f"suction left at the base: {base}",
            f"{draws} draws over sand, base, probe and {len(members)} weather "
            f"member{'' if len(members) == 1 else 's'}",
            *notes,
        ),
        cautions=_CAUTIONS,
    )


def _from_rest(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    rod: float,
    probe_error: float,
    n_threads: int | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Hours, readings and daily shares of demand met of spots that start drained.

    Run on a grid of depths and read between them; shapes (times,), (spots, draws, times) and
    (spots, draws, days).
    """
    grid = depth_grid(np.array([spot.depth for spot in known]), rod, 2.0 * probe_error)
    # A sand at all depths in a row: its table stays close to the processor.
    cases = [column(draw, float(depth), turf) for draw in drawn for depth in grid]
    runs = run_columns(cases, rod, n_threads=n_threads)
    shape = (len(drawn), grid.size, -1)
    reading = runs.reading.reshape(shape)
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand).reshape(shape)
    probes = np.array([draw.probe for draw in drawn])
    at = [np.clip(spot.depth + probes, grid[0], grid[-1]) for spot in known]
    return (
        runs.hours,
        np.array([between_depths(grid, reading, depth) for depth in at]),
        np.array([between_depths(grid, met, depth) for depth in at]),
    )


def _from_readings(
    known: Sequence[Spot],
    drawn: Sequence[Draw],
    turf: Turf,
    rod: float,
    noise: FloatArray,
    n_threads: int | None,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Do the same for spots that start at their readings [1], give or take the noise."""
    starts = starts_at_readings(known, drawn, rod, noise)
    cases = [
        column(draw, max(spot.depth + draw.probe, rod + 0.5), turf, start=of_spot[k])
        for k, draw in enumerate(drawn)
        for spot, of_spot in zip(known, starts, strict=True)
    ]
    runs = run_columns(cases, rod, n_threads=n_threads)
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
    shape = (len(drawn), len(known), -1)
    return (
        runs.hours,
        runs.reading.reshape(shape).swapaxes(0, 1),
        met.reshape(shape).swapaxes(0, 1),
    )


def starts_at_readings(
    known: Sequence[Spot], drawn: Sequence[Draw], rod: float, noise: FloatArray
) -> list[list[Any]]:
    """Make columns start at the readings of their spots; drained where there is none.

    Parameters
    ----------
    known : sequence of Spot
        Spots with depths.
    drawn : sequence of Draw
        Equally likely combinations.
    rod : float
        Length of the rods [cm].
    noise : ndarray, shape (spots, draws)
        Error of one reading [1].

    Returns
    -------
    list of list
        For each spot the start in each draw.
    """
    starts: list[list[Any]] = []
    for spot, errors in zip(known, noise, strict=True):
        values = _usable(spot, rod)
        read = np.mean(values) + errors / np.sqrt(len(values)) if values else errors
        starts.append(
            [
                dried_to(draw.soil, max(spot.depth + draw.probe, rod + 0.5), draw.base, rod, one)
                if values
                else "drained"
                for draw, one in zip(drawn, read.tolist(), strict=True)
            ]
        )
    return starts


def _usable(spot: Spot, rod: float) -> list[float]:
    """Usable readings [1] with rods of one length."""
    return [each.value for each in spot.usable_readings if abs(each.rod - rod) < 0.1]


def dried_to(soil: Soil, depth: float, base_suction: float, rod: float, reading: float) -> Any:
    """Suction over depth of a column that has drained and lost water to the turf since.

    The column is at rest with so much more suction everywhere that the rod shows the reading; one
    that reads more than drained starts drained. In root-zone sands a column by early morning is
    that near to rest: days to a threshold counted from it agree with the run that led
    there (tested).

    Parameters
    ----------
    soil : Soil
        The root-zone sand.
    depth : float
        Depth of the root zone [cm].
    base_suction : float
        Suction left at the base once drained [cm].
    rod : float
        Length of the rod [cm].
    reading : float
        What it shows [1].

    Returns
    -------
    DataArray
        ``suction`` [cm] over ``depth``.
    """
    surface = rest_curve(soil).surface_suction(reading, rod)
    surface = float(np.clip(surface, depth + base_suction, _DRIEST))
    ends = np.array([0.0, depth])
    return xr.DataArray(surface - ends, {"depth": ends}, ("depth",), "suction")


_DRIEST = 5000.0
STARTS = {
    "drained": "every spot starts drained to rest at its own depth, on level ground",
    "readings": "every spot starts at its reading, as a level column that was drained and has "
    "lost water to the turf since; above its drained reading it starts drained",
}
_CAUTIONS = (
    "a spot that is repellent, on a slope or short of sprinkling dries sooner than its depth says",
    *cautions_for("wilt", "level ground", "accuracy", "heat", "not modelled"),
)


def _green_sentence(spots: Sequence[SpotOutlook], thresholds: Thresholds, horizon: float) -> str:
    """When the bulk of the green is firm, what the deepest spot reads."""
    firm = float(np.median([each.firm.median for each in spots]))
    deepest = max(spots, key=lambda each: each.spot.depth)
    told = f"{deepest.spot.name} ({in_people_units(deepest.spot.depth, 'length')})"
    if not np.isfinite(firm):
        last = 100 * deepest.readings[-1]
        return (
            f"The bulk of the green is not firm ({100 * thresholds.firm:g} %) within "
            f"{horizon:g} days; by then the deepest spot, {told}, reads {last:.1f} %."
        )
    then = float(np.interp(firm, np.arange(len(deepest.readings)), deepest.readings))
    when = f"on day {firm:.1f}" if firm > 0.0 else "from the first morning"
    said = (
        f"When the bulk of the green is firm ({100 * thresholds.firm:g} %), {when}, the "
        f"deepest spot, {told}, reads {100 * then:.1f} %"
    )
    if then <= thresholds.wilt:
        return said + ": at or below the wilt line, so firm everywhere means wilt there."
    if then <= thresholds.watch:
        return said + ": at or below the watch line; nurse it."
    return said + "."
