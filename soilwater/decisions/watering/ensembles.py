"""Equally likely columns: sands, weather members, base suctions and probed depths drawn together.

Every draw pairs one sand with one weather member and one base suction, so that a few hundred draws
carry all of them at once instead of every combination. Depth is the only thing spots of one green
differ in here, so columns are run on a grid of depths and read between them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.draws import Draw
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.likely_memory import MEMORY_SOURCE, POINTS_SOURCE
from soilwater.runs.case import Case
from soilwater.runs.scheduling import Progress, reporting
from soilwater.runs.settings import COARSE_MESH, COARSE_TOLERANCE, Settings
from soilwater.runs.standing import PackedColumns, Standing
from soilwater.runs.wetted import WaterKnown
from soilwater.soils import Hysteretic, Soil
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW, ends_and_middle
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_one_unit
from soilwater.words.times import stamp
from soilwater.words.unit_choice import worded

GRID = 3.0
"""Largest distance between the depths that are run [cm]; straight lines between them miss a reading
by less than 0.1 % by volume (tested)."""
OUTPUT_HOURS = 6.0
"""Interval of the results [h]."""


class Runs(NamedTuple):
    """Columns over time: shape (columns, times), amounts [mm] since the start.

    `hours` since the start [h]; `reading` [1]; `storage`, `transpiration`, `demand`, `drainage`
    and `runoff` [mm].
    """

    hours: FloatArray
    times: NDArray[np.datetime64]
    reading: FloatArray
    storage: FloatArray
    transpiration: FloatArray
    demand: FloatArray
    drainage: FloatArray
    runoff: FloatArray


class Course(NamedTuple):
    """Readings over time [1]: at each of `times` the low end, median and high end of their band."""

    times: tuple[np.datetime64, ...]
    low: tuple[float, ...]
    median: tuple[float, ...]
    high: tuple[float, ...]


def course_of(times: NDArray[np.datetime64], reading: FloatArray) -> Course:
    """Sum up what draws read over time.

    Parameters
    ----------
    times : ndarray, shape (n_times,)
        When.
    reading : ndarray, shape (n_draws, n_times)
        Readings [1].
    """
    low, median, high = ends_and_middle(reading).tolist()
    return Course(tuple(times), tuple(low), tuple(median), tuple(high))


def members_of(weather: Weather | Sequence[Weather]) -> tuple[Weather, ...]:
    """Weather as a tuple of equally likely members.

    Raises
    ------
    InputError
        If there are none, or their spans differ.
    """
    members = (weather,) if isinstance(weather, Weather) else tuple(weather)
    faults = Faults("weather")
    if not members:
        faults.add("there is none", allowed="a Weather, or several")
    for i, member in enumerate(members):
        if not isinstance(member, Weather):
            faults.add(f"{member!r} is no Weather", where=f"member {i}")
        elif (member.start, member.end) != (members[0].start, members[0].end):
            faults.add(
                f"spans {stamp(member.start)} to {stamp(member.end)}",
                where=f"member {i}",
                allowed=f"{stamp(members[0].start)} to {stamp(members[0].end)}, as the first",
                cure="cut it with Weather.between",
            )
    faults.raise_if_any()
    return members


def need_within_pores(lines: Mapping[str, float], sand: Sand, faults: Faults) -> None:
    """Note each line that lies above all the pores of a sand: no meter could read so much in it.

    Parameters
    ----------
    lines : mapping of str to float
        Readings [1] by the name they were given under.
    sand : Soil, FitResult or sequence of these
        The sand.
    faults : Faults
        Where the faults go.
    """
    with faults.catching():
        pores = max(soil.theta_s for soil in best_and_likely(sand)[1])
        for name, line in lines.items():
            if line >= pores:
                told, by_volume = f"{100 * pores:.3g} %", f"{100 * line * pores:.1f} %"
                faults.add(
                    f"{name} is {100 * line:g} %, and all pores of this sand are {told}",
                    allowed="water by volume, below that",
                    cure=f'if it was read as a share of the pores, write "{by_volume}"',
                )


def ground_and_demand(sand: Sand, turf: Turf, members: Sequence[Weather]) -> tuple[str, ...]:
    """Tell which sand was taken, by its name, and what the turf asks of reference ET.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand.
    turf : Turf
        Roots and demand.
    members : sequence of Weather
        Equally likely weather.
    """
    name = best_and_likely(sand, 1)[0].name
    days = float(members[0].hours[-1]) / 24.0
    asked = float(np.mean([np.sum(turf.demand(each)) for each in members])) / days
    reference = float(np.mean([each.reference_et.sum() for each in members])) / days
    return (
        *([f"root-zone sand: {name}"] if name else []),
        worded(
            lambda: (
                f"turf and surface ask for {in_one_unit(asked, 'evapotranspiration')} on "
                f"average, of {in_one_unit(reference, 'evapotranspiration')} of reference ET"
            )
        ),
    )


def memory_words(soils: Sequence[Soil]) -> tuple[str, ...]:
    """Tell how sands remember their wetting, and how that is known.

    Parameters
    ----------
    soils : sequence of Soil
        Each as likely as the next.
    """
    found = [each for each in soils if isinstance(each, Hysteretic) and each.remembers]
    if not found:
        return ()
    low, middle, high = np.quantile([each.suction_ratio for each in found], [LOW, 0.5, HIGH])
    known = "as it was given"
    for source, told in (
        (MEMORY_SOURCE, "drawn from what sands were measured to do; nobody measured this one"),
        (POINTS_SOURCE, "by the points of its wetting branch"),
    ):
        if source in found[0].source:
            known = told
    return (
        f"sand that is wetted holds less than sand that drains: ratio of suctions {middle:.2f} "
        f"({low:.2f} to {high:.2f}), {known}",
    )


def run_columns(
    cases: Sequence[Case],
    rod: float,
    output: float = OUTPUT_HOURS,
    n_threads: int | None = None,
    *,
    coarse: bool = False,
    progress: Progress = False,
) -> Runs:
    """Simulate cases in one call and read the meter.

    Parameters
    ----------
    cases : sequence of Case
        Columns.
    rod : float
        Length of the rods [cm].
    output : float, optional
        Interval of the results [h].
    n_threads : int, optional
        Threads to use.
    coarse : bool, optional
        Whether a third of the work will do, as where thousands of columns are watered.
    progress : bool or callable, optional
        As for `simulate_many`.

    Raises
    ------
    RunError
        If a column cannot be carried through, with its sentence.
    """
    return run_packed(packed_columns(cases, rod, output, coarse=coarse), n_threads, progress)


def run_packed(packed: PackedColumns, n_threads: int | None, progress: Progress) -> Runs:
    """Simulate columns that are packed, and read the meter.

    Parameters
    ----------
    packed : PackedColumns
        Columns.
    n_threads, progress
        As for `run_columns`.

    Raises
    ------
    RunError
        As `run_columns`.
    """
    every = np.arange(len(packed.cases))
    with reporting(progress, every.size) as tell:
        found = Standing.of(packed, ()).water(every, (), n_threads, tell)
    return Runs(packed.settings.output_hours, packed.settings.times, *found)


def packed_columns(
    cases: Sequence[Case], rod: float, output: float = OUTPUT_HOURS, *, coarse: bool = True
) -> PackedColumns:
    """Pack cases, on a mesh and with steps as coarse as where thousands of columns are watered.

    Parameters
    ----------
    cases : sequence of Case
        Columns.
    rod : float
        Length of the rods [cm].
    output : float, optional
        Interval of the results [h].
    coarse : bool, optional
        Whether as coarse as that.

    Raises
    ------
    RunError
        If a column cannot be started, with its sentence.
    """
    if not coarse:
        return PackedColumns.of(cases, rod, output=output)
    # What is remembered is of the nodes of the run before.
    remembered = any(
        isinstance(case.start, WaterKnown) and case.start.turns is not None for case in cases
    )
    refinement = Settings.refinement if remembered else COARSE_MESH
    return PackedColumns.of(
        cases, rod, output=output, tolerance=COARSE_TOLERANCE, refinement=refinement
    )


def share_of(tell: Callable[[int], object], cases: int) -> Callable[[int, int], None]:
    """Progress of a run, told as so many cases of something larger, each of them once.

    Parameters
    ----------
    tell : callable
        Takes how many more cases of the whole are done.
    cases : int
        As how many the run counts.
    """
    told = 0

    def progress(finished: int, every: int) -> None:
        nonlocal told
        # What was told stands, if it is counted again.
        more = max(0, cases * finished // every - told)
        told += more
        if more:
            tell(more)

    return progress


def column(
    draw: Draw,
    depth: float,
    turf: Turf | None,
    events: Sequence[Event] = (),
    start: Any = "drained",
) -> Case:
    """Make the case of a draw at a depth [cm] with a turf, watering events and a start."""
    return Case(draw.profile(depth), draw.weather, turf=turf, start=start, irrigation=events)


def depth_in(draw: Draw, spot: Spot, rod: float) -> float:
    """Depth [cm] a spot has in a draw; no less than the rod [cm] is long."""
    depth = spot.depth + (draw.beyond if spot.depth_at_least else draw.probe)
    return max(depth, rod + 0.5)


def depth_grid(depths: FloatArray) -> FloatArray:
    """Depths to run [cm] so that all of `depths` lie between two."""
    low = float(depths.min())
    high = max(float(depths.max()), low + 1.0)
    return np.linspace(low, high, int(np.ceil((high - low) / GRID)) + 1)


def between_depths(grid: FloatArray, values: FloatArray, depth: FloatArray) -> FloatArray:
    """Values of each draw at its own depth, straight between the depths of the grid.

    Parameters
    ----------
    grid : ndarray, shape (n_depths,)
        Depths that were run [cm], evenly spaced.
    values : ndarray, shape (n_draws, n_depths, n_times)
        What was found there.
    depth : ndarray, shape (n_draws,)
        Depths wanted [cm]; held at the ends of the grid.

    Returns
    -------
    ndarray, shape (n_draws, n_times)
    """
    left, share = _place_between(grid, depth)
    draws, share = np.arange(depth.size), share[:, None]
    between: FloatArray = (1.0 - share) * values[draws, left] + share * values[draws, left + 1]
    return between


def beside_depths(grid: FloatArray, depth: FloatArray) -> NDArray[np.bool_]:
    """Tell which depths of a grid `between_depths` reads for draws at a depth each.

    Parameters
    ----------
    grid, depth
        As for `between_depths`.

    Returns
    -------
    ndarray, shape (n_draws, n_depths)
    """
    left, _ = _place_between(grid, depth)
    number = np.arange(grid.size)
    beside: NDArray[np.bool_] = (number == left[:, None]) | (number == left[:, None] + 1)
    return beside


def _place_between(grid: FloatArray, depth: FloatArray) -> tuple[NDArray[np.int64], FloatArray]:
    """Tell the number of the depth above, and how far each lies on towards the next [1]."""
    position = np.interp(depth, grid, np.arange(grid.size))
    left = np.minimum(position.astype(int), grid.size - 2)
    return left, position - left


def first_at_or_below(days: FloatArray, values: FloatArray, line: float) -> FloatArray:
    """Day on which each series first falls to a line [d], straight between its times.

    Parameters
    ----------
    days : ndarray, shape (n_times,)
        Days since the start [d].
    values : ndarray, shape (n_series, n_times)
        The series.
    line : float
        In the unit of the values.

    Returns
    -------
    ndarray, shape (n_series,)
        0 where it starts there, infinity where it never gets there.
    """
    below = values <= line
    first = np.argmax(below, axis=1)
    rows = np.arange(values.shape[0])
    before = np.maximum(first - 1, 0)
    drop = values[rows, before] - values[rows, first]
    share = np.divide(values[rows, before] - line, drop, out=np.zeros(drop.size), where=drop > 0.0)
    found = days[before] + share * (days[first] - days[before])
    found = np.where(first == 0, days[0], found)
    reached: FloatArray = np.where(below.any(axis=1), found, np.inf)
    return reached


def daily_share_met(hours: FloatArray, met: FloatArray, asked: FloatArray) -> FloatArray:
    """Share of the demand met on each day [1]; 1 where none is asked.

    Parameters
    ----------
    hours : ndarray, shape (n_times,)
        Hours since the start [h].
    met, asked : ndarray, shape (..., n_times)
        Transpiration and its demand since the start [mm].

    Returns
    -------
    ndarray, shape (..., n_days)
    """
    ends = np.arange(0.0, hours[-1] + 1e-9, 24.0)
    index = np.searchsorted(hours, ends - 1e-6)
    taken = np.diff(met[..., index], axis=-1)
    wanted = np.diff(asked[..., index], axis=-1)
    share: FloatArray = np.divide(taken, wanted, out=np.ones(taken.shape), where=wanted > 1e-6)
    return share


def spots_with_depth(survey: Survey, rod: float) -> tuple[list[Spot], list[str]]:
    """Spots of a survey whose depth was found, and sentences on those left out or at least so deep.

    Parameters
    ----------
    survey : Survey
        All spots.
    rod : float
        Length of the rods [cm], which no spot may be too shallow for.

    Raises
    ------
    InputError
        If none has a depth, or a rod is longer than a spot is deep.
    """
    known = [spot for spot in survey.spots if spot.has_depth]
    notes = []
    missing = [spot.name for spot in survey.spots if not spot.has_depth]
    least = [spot.name for spot in known if spot.depth_at_least]
    if missing:
        notes.append(f"left out, no depth found: {', '.join(missing)}")
    if least:
        notes.append(
            f"the probe was too short at {', '.join(least)}: as deep as it reached, or deeper, by "
            "another amount in each case"
        )
    faults = Faults(f'Survey "{survey.name}"' if survey.name else "Survey")
    if not known:
        faults.add("no spot has a depth", cure="probe the root zone")
    for spot in known:
        if spot.depth < rod + 1.0:
            faults.add(
                f"a rod of {rod:g} cm in {spot.depth:g} cm of root zone",
                where=f'spot "{spot.name}"',
                allowed="a root zone at least 1 cm deeper than the rod",
            )
    faults.raise_if_any()
    return known, notes


def days_text(low: float, middle: float, high: float, horizon: float) -> str:
    """Write a middle day between its low and high: ``"4.5 (4 to 5)"``, ``"> 10"`` beyond a run.

    The run ends at its horizon [d].
    """
    if low == high or (not np.isfinite(low) and not np.isfinite(high)):
        return day_text(middle, horizon)
    low_end, high_end = day_text(low, horizon), day_text(high, horizon)
    return f"{day_text(middle, horizon)} ({low_end} to {high_end})"


def day_text(value: float, horizon: float) -> str:
    """Write a day that draws of an ensemble lead to, in halves: `value` [d], or over `horizon` [d].

    Readings stand still by night, so a few draws more or less move such a day by 0.1 to 0.4
    (200 draws, five seeds); what is printed beyond that would be another with another seed.
    """
    if not np.isfinite(value):
        return f"> {horizon:.0f}"
    return f"{round(2.0 * value) / 2.0:g}" if value == 0.0 or value >= 0.25 else "< 0.5"


def band_of(values: FloatArray) -> tuple[float, float, float]:
    """Low end, median and high end of some values; infinities count as beyond all."""
    ordered = np.sort(values)
    last = ordered.size - 1
    low, middle, high = (ordered[round(q * last)] for q in (LOW, 0.5, HIGH))
    return float(low), float(middle), float(high)
