"""Many runs of lines or greens: draws of one ground, weathers, what-ifs, each a whole run."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from contextlib import closing
from typing import Any

import numpy as np
import xarray as xr

from soilwater.ground.linked import LinkedGround
from soilwater.ground.turf import Turf
from soilwater.runs.case import Case, HeldSurface
from soilwater.runs.green_map import GreenMap
from soilwater.runs.linked_run import Marched, lay_out_grounds, march_ground
from soilwater.runs.scheduling import Executor, Progress, Workers, finished_chunks, reporting
from soilwater.runs.settings import make_settings
from soilwater.runs.transect import Transect
from soilwater.runs.wording import in_full
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError, Interrupted
from soilwater.words.forms import Length, OutputTimes, StartingWater
from soilwater.words.renamed import mind_words


@mind_words()
@in_full
def simulate_grounds(
    grounds: Sequence[Transect | GreenMap],
    weather: Weather | Sequence[Weather],
    *,
    dimension: str = "sample",
    labels: Sequence[Any] | None = None,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    output: OutputTimes = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Length = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.0015,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    n_threads: int | None = None,
    executor: Executor | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate several lines of the same stations, or greens of the same cells, each a whole run.

    Each gives, bit for bit, what `simulate` gives for it alone, whatever the number of threads.

    Parameters
    ----------
    grounds : sequence of Transect or GreenMap
        Of the same places; levels, depths, layers and base may differ.
    weather : Weather or sequence of Weather
        Rain and reference evapotranspiration; one for all grounds, or one for each, over one span.
    dimension : str, optional
        Name of the dimension the grounds lie along, such as ``"sample"`` or ``"member"``.
    labels : sequence, optional
        Coordinate of that dimension; 0, 1, 2, ... when left out.
    {turf}
    {start}
    {irrigation}
    {how it is solved}
    {n_threads}
    {executor}
    {progress}

    Returns
    -------
    Dataset
        As from `simulate`, with that dimension in front. A run that gave up has a status other than
        0 and NaN from there on.

    Raises
    ------
    InputError
        If there are none, they are not of the same places, spans differ, or a setting cannot be
        used.
    Interrupted
        On Ctrl-C; its `finished` holds the grounds that were run.

    Examples
    --------
    The same line with floors of two kinds, two days after a soaking:

    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> green = sw.Profile.over_gravel(sand, "12 in", base_suction=3.0)
    >>> lines = sw.Transect.without_levels(
    ...     ["0 m", "4 m", "8 m"], ["12 in"] * 3, green, steepest_fall="3 %"
    ... )
    >>> run = sw.simulate_grounds(lines, sw.steady_weather(2, 0.0), output="48 h")
    >>> reading = sw.meter_reading(run, rod="3 in").isel(time=-1).sel(distance=0.0)
    >>> bool(reading[1] < reading[0] - 0.04)
    True
    """
    begin = time.perf_counter()
    wholes = _whole_grounds(grounds)
    weathers = list(weather) if isinstance(weather, Sequence) else [weather] * len(wholes)
    _check_weathers(weathers, wholes)
    if labels is not None and len(labels) != len(wholes):
        raise InputError(f"labels: {len(labels)} for {len(wholes)} grounds; allowed: one each.")
    common: Any = {"turf": turf, "start": start, "irrigation": irrigation}
    chunks = [
        (ground, [Case(profile, each, **common) for profile in ground.profiles])
        for ground, each in zip(wholes, weathers, strict=True)
    ]
    settings = make_settings(
        weathers[0],
        output=output,
        keep=keep,
        ponding_limit=ponding_limit,
        surface=surface,
        tolerance=tolerance,
        refinement=refinement,
        max_steps=max_steps,
    ).for_profiles(profile for ground in wholes for profile in ground.profiles)
    marched: list[Marched | None] = [None] * len(wholes)
    axes = {dimension: range(len(wholes)) if labels is None else labels}
    workers = Workers(n_threads, executor, progress)
    try:
        with (
            reporting(workers.progress, len(chunks)) as report,
            closing(finished_chunks(chunks, settings, workers, march_ground)) as finished,
        ):
            for k, left in finished:
                marched[k] = left
                report(1)
    except KeyboardInterrupt:
        raise Interrupted(lay_out_grounds(wholes, marched, settings, axes)) from None
    run = lay_out_grounds(wholes, marched, settings, axes)
    return run.assign_attrs(wall_time_s=time.perf_counter() - begin)


def _whole_grounds(grounds: Any) -> list[LinkedGround]:
    """Columns and faces of each; refused where they are not of the same places."""
    faults = Faults("grounds")
    if isinstance(grounds, Transect | GreenMap):
        faults.add("one ground", cure="write [ground], or simulate(ground, ...) for one run")
        raise faults.as_error()
    wholes: list[LinkedGround] = []
    for i, each in enumerate(grounds):
        if not isinstance(each, Transect | GreenMap):
            faults.add(
                f"{type(each).__name__} is no ground",
                where=f"position {i}",
                allowed="Transect or GreenMap",
            )
            continue
        wholes.append(each.ground())
        first, last = wholes[0], wholes[-1]
        if last.dimension != first.dimension or any(
            not np.array_equal(values, last.coordinates[name])
            for name, values in first.coordinates.items()
        ):
            faults.add(
                "its places are not those of the first",
                where=f"position {i}",
                allowed="lines of the same stations, or greens of the same cells",
            )
        elif any(
            not np.array_equal(getattr(first, name), getattr(last, name))
            for name in ("pairs", "width", "area")
        ):
            faults.add(
                "its widths or barriers are not those of the first",
                where=f"position {i}",
                cure="run it by itself with simulate",
            )
    if not wholes and not len(faults):
        faults.add("there are none", allowed="at least one Transect or GreenMap")
    faults.raise_if_any()
    return wholes


def _check_weathers(weathers: Sequence[Any], wholes: Sequence[LinkedGround]) -> None:
    faults = Faults("weather")
    if len(weathers) != len(wholes):
        faults.add(
            f"{len(weathers)} for {len(wholes)} grounds", allowed="one for all, or one for each"
        )
    for i, each in enumerate(weathers):
        if not isinstance(each, Weather):
            faults.add(f"{type(each).__name__} is no Weather", where=f"position {i}")
        elif (each.start, each.end) != (weathers[0].start, weathers[0].end):
            faults.add(
                "it spans other days than the first",
                where=f"position {i}",
                cure="cut it with Weather.between",
            )
    faults.raise_if_any()
