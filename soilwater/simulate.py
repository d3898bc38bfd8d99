"""Run columns through time: one, a batch, or the same profile at several depths."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import Any, Literal

import numpy as np
import xarray as xr

from soilwater.batch import Case, Finished, HeldSurface, Settings, output_hours, run_chunk
from soilwater.errors import Faults, InputError, RunError, Status
from soilwater.irrigation import Event, Rule
from soilwater.kernels import march
from soilwater.profile import Profile
from soilwater.results import Columns, columns_to_dataset
from soilwater.turf import Turf
from soilwater.units import number_to_house, to_house
from soilwater.vocabulary import attach
from soilwater.weather import Weather

Progress = bool | Callable[[int, int], object]

_CHUNK = 32
"""Cases a thread takes at a time: 0.1-0.5 s of work, so that an interrupt is heard."""


def simulate(
    profile: Profile,
    weather: Weather,
    *,
    turf: Turf | None = None,
    start: Any = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    output: Any = "1 h",
    ponding_limit: Any = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.003,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    on_failure: Literal["raise", "return"] = "raise",
) -> xr.Dataset:
    """Simulate water in one profile under some weather.

    Solves the mixed form of the Richards (1931) equation with root uptake; see the numerics page.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    weather : Weather
        Rain and reference evapotranspiration; its span is the span of the run.
    turf : Turf, optional
        Roots, demand and interception; without it nothing is taken up and nothing evaporates.
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        Water at the start. "soaked": saturated to the surface; "drained": at rest after
        drainage; a number or text with a unit: one suction [cm] everywhere; a DataArray over
        ``depth`` named ``suction`` [cm] or ``water_content`` [1]; an earlier result: its end.
    irrigation : sequence of Event, optional
        Water applied.
    rules : sequence of Rule, optional
        Irrigation decided within the run.
    output : float, str, Quantity or sequence of datetime64, optional
        Interval of the results [h], or their times; both are hit exactly.
    ponding_limit : float, str or Quantity, optional
        Depth of water [cm] the surface holds before the rest runs off. 0.5 cm is an assumption.
    surface : HeldSurface, optional
        Keep the surface at a suction instead of exposing it to the weather.
    tolerance : float, optional
        Largest local error in water content a step may make [1].
    refinement : float, optional
        Divides the distances between nodes [1].
    max_steps : int, optional
        Steps after which the run gives up.
    on_failure : {"raise", "return"}, optional
        Whether a run that gives up is an exception, or a result that ends in NaN.

    Returns
    -------
    Dataset
        Water content and suction over ``time`` and ``depth``; the water balance, cumulative since
        the start [mm]; status and the work done.

    Raises
    ------
    InputError
        If something given cannot be used.
    RunError
        If the run gives up and `on_failure` is "raise".

    Examples
    --------
    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> green = sw.Profile.over_gravel(sand, "12 in")
    >>> run = sw.simulate(green, sw.steady_weather(2, 0.0), output="24 h")
    >>> run.sizes["time"]
    3
    """
    case = Case(profile, weather, turf=turf, start=start, irrigation=irrigation, rules=rules)
    settings, times = _settings(
        weather, output, ponding_limit, surface, tolerance, refinement, max_steps
    )
    if on_failure not in ("raise", "return"):
        raise InputError(f'on_failure: {on_failure!r}; allowed: "raise" or "return".')
    begin = time.perf_counter()
    finished = run_chunk([case], settings)
    if finished.status[0] == Status.BAD_INPUT:
        raise InputError(finished.status_text[0])
    if finished.status[0] != Status.OK and on_failure == "raise":
        raise RunError(finished.status_text[0])
    return _to_dataset([finished], times, settings, None, time.perf_counter() - begin)


def simulate_many(
    cases: Iterable[Case],
    *,
    dimension: str = "case",
    labels: Sequence[Any] | None = None,
    output: Any = "1 h",
    ponding_limit: Any = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.003,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    n_threads: int | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate many cases: any mix of profiles, soils, weathers and starts.

    Each case gives, bit for bit, what `simulate` gives for it alone, whatever the number of
    threads.

    Parameters
    ----------
    cases : iterable of Case
        Columns with weather over one common span.
    dimension : str, optional
        Name of the dimension the cases lie along, such as ``"case"``, ``"member"`` or ``"spot"``.
    labels : sequence, optional
        Coordinate of that dimension; 0, 1, 2, ... when left out.
    output : float, str, Quantity or sequence of datetime64, optional
        Interval of the results [h], or their times.
    ponding_limit : float, str or Quantity, optional
        Depth of water [cm] the surface holds before the rest runs off.
    surface : HeldSurface, optional
        Keep the surface at a suction instead of exposing it to the weather.
    tolerance : float, optional
        Largest local error in water content a step may make [1].
    refinement : float, optional
        Divides the distances between nodes [1].
    max_steps : int, optional
        Steps after which a case gives up.
    n_threads : int, optional
        Threads to use; as many as the process may use processors when left out.
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all.

    Returns
    -------
    Dataset
        As from `simulate`, with the dimension of the cases in front. A case that failed has a
        status other than 0, a sentence in `status_text`, and NaN where it has no result.

    Raises
    ------
    InputError
        If there are no cases, their spans differ, or a setting cannot be used.
    """
    listed = list(cases)
    _check_cases(listed, labels)
    settings, times = _settings(
        listed[0].weather, output, ponding_limit, surface, tolerance, refinement, max_steps
    )
    begin = time.perf_counter()
    chunks = [listed[i : i + _CHUNK] for i in range(0, len(listed), _CHUNK)]
    threads = min(len(chunks), n_threads if n_threads is not None else _processors())
    done: dict[int, Finished] = {}
    report = _reporter(progress, len(listed))
    if threads <= 1:
        for k, chunk in enumerate(chunks):
            done[k] = run_chunk(chunk, settings)
            report(len(chunk))
    else:
        pool = ThreadPoolExecutor(threads)
        try:
            futures = {pool.submit(run_chunk, chunk, settings): k for k, chunk in enumerate(chunks)}
            for future in as_completed(futures):
                done[futures[future]] = future.result()
                report(len(chunks[futures[future]]))
        finally:
            # On an interrupt the chunks under way end; those waiting never start.
            pool.shutdown(wait=True, cancel_futures=True)
    finished = [done[k] for k in range(len(chunks))]
    coordinate = (dimension, np.arange(len(listed)) if labels is None else list(labels))
    return _to_dataset(finished, times, settings, coordinate, time.perf_counter() - begin)


def compare_depths(
    profile: Profile,
    depths: Any,
    weather: Weather,
    *,
    turf: Turf | None = None,
    start: Any = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    layer: str | None = None,
    output: Any = "1 h",
    ponding_limit: Any = 0.5,
    tolerance: float = 0.003,
    n_threads: int | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate the same profile with its root zone at several depths.

    Parameters
    ----------
    profile : Profile
        Layers and base condition; only one thickness is changed.
    depths : sequence of float, str or Quantity
        Thicknesses of the root zone [cm].
    weather : Weather
        Rain and reference evapotranspiration.
    turf : Turf, optional
        Roots, demand and interception.
    start : {"soaked", "drained"}, float, str or Quantity, optional
        Water at the start, as in `simulate`; a number is a suction [cm].
    irrigation : sequence of Event, optional
        Water applied.
    rules : sequence of Rule, optional
        Irrigation decided within the run.
    layer : str, optional
        Name of the layer to vary; the root zone, or the only layer, when left out.
    output : float, str, Quantity or sequence of datetime64, optional
        Interval of the results [h], or their times.
    ponding_limit : float, str or Quantity, optional
        Depth of water [cm] the surface holds before the rest runs off.
    tolerance : float, optional
        Largest local error in water content a step may make [1].
    n_threads : int, optional
        Threads to use.
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all.

    Returns
    -------
    Dataset
        As from `simulate`, with the dimension ``root_zone_depth`` [cm] in front.

    Raises
    ------
    InputError
        If a depth cannot be used, or it is not clear which layer is meant.
    """
    thicknesses = np.atleast_1d(np.asarray(to_house(depths, "length", "depths")))
    cases = [
        Case(
            profile.with_thickness(float(thickness), layer=layer),
            weather,
            turf=turf,
            start=start,
            irrigation=irrigation,
            rules=rules,
        )
        for thickness in thicknesses
    ]
    return simulate_many(
        cases,
        dimension="root_zone_depth",
        labels=thicknesses.tolist(),
        output=output,
        ponding_limit=ponding_limit,
        tolerance=tolerance,
        n_threads=n_threads,
        progress=progress,
    )


def _settings(
    weather: Weather,
    output: Any,
    ponding_limit: Any,
    surface: HeldSurface | None,
    tolerance: float,
    refinement: float,
    max_steps: int,
) -> tuple[Settings, Any]:
    faults = Faults("Settings")
    limit = 0.0
    with faults.catching():
        limit = number_to_house(ponding_limit, "length", "ponding_limit")
    if limit < 0.0:
        faults.add(f"ponding_limit is {limit:g} cm", allowed="0 or more")
    if not 0.0 < tolerance <= 0.1:
        faults.add(f"tolerance is {tolerance!r}", allowed="above 0, up to 0.1")
    if not refinement > 0.0:
        faults.add(f"refinement is {refinement!r}", allowed="above 0")
    if max_steps < 0:
        faults.add(f"max_steps is {max_steps!r}", allowed="0 or more")
    if surface is not None and not isinstance(surface, HeldSurface):
        faults.add(f"surface is {surface!r}", allowed="HeldSurface(suction) or None")
    if surface is not None and isinstance(weather, Weather) and np.any(weather.rain > 0.0):
        faults.add(
            "the surface is held and the weather brings rain",
            cure="use weather without rain under a held surface",
        )
    faults.raise_if_any()
    hours, times = output_hours(output, weather)
    return Settings(hours, float(tolerance), limit, surface, float(refinement), max_steps), times


def _check_cases(cases: list[Case], labels: Sequence[Any] | None) -> None:
    faults = Faults("Cases")
    if not cases:
        faults.add("there are none", allowed="at least one Case")
    for i, case in enumerate(cases):
        if not isinstance(case, Case):
            faults.add(f"{case!r} is no Case", where=f"position {i}")
        elif (case.weather.start, case.weather.end) != (
            cases[0].weather.start,
            cases[0].weather.end,
        ):
            faults.add(
                f"its weather spans {case.weather.start} to {case.weather.end}",
                where=f"position {i}",
                allowed=f"{cases[0].weather.start} to {cases[0].weather.end}, as the first case",
                cure="cut it with Weather.between",
            )
    if labels is not None and len(labels) != len(cases):
        faults.add(f"{len(labels)} labels for {len(cases)} cases", allowed="one label a case")
    faults.raise_if_any()


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _reporter(progress: Progress, total: int) -> Callable[[int], None]:
    """Return a function that is told how many more cases are done."""
    if progress is False:
        return lambda more: None
    if progress is True:
        from tqdm.auto import tqdm

        bar = tqdm(total=total, unit="case")

        def advance(more: int) -> None:
            bar.update(more)
            if bar.n >= total:
                bar.close()

        return advance
    finished = 0

    def tell(more: int) -> None:
        nonlocal finished
        finished += more
        progress(finished, total)

    return tell


def _padded(arrays: Sequence[Any]) -> Any:
    """Join arrays along their first axis, padding the last with NaN to the longest."""
    longest = max(a.shape[-1] for a in arrays)
    widened = [
        np.pad(a, [(0, 0)] * (a.ndim - 1) + [(0, longest - a.shape[-1])], constant_values=np.nan)
        for a in arrays
    ]
    return np.concatenate(widened)


def _to_dataset(
    finished: list[Finished],
    times: Any,
    settings: Settings,
    batch: tuple[str, Any] | None,
    seconds: float,
) -> xr.Dataset:
    columns = Columns(
        [profile for part in finished for profile in part.profiles],
        [mesh for part in finished for mesh in part.meshes],
        _padded([part.node_suction for part in finished]),
        _padded([part.water_content for part in finished]),
    )
    dataset = columns_to_dataset(columns, ("time",), batch)
    first = () if batch is None else (batch[0],)

    def add(name: str, dims: tuple[str, ...], values: Any) -> None:
        dataset[name] = (dims, values[0] if batch is None else values)

    for name in finished[0].amounts:
        add(name, (*first, "time"), np.concatenate([part.amounts[name] for part in finished]))
    thickness = dataset.depth_bounds.diff("bound").isel(bound=0)
    cell = "depth" if "depth" in dataset.dims else "cell"
    dataset["storage"] = (10.0 * dataset.water_content * thickness).sum(cell, min_count=1)
    counts = np.concatenate([part.counts for part in finished])
    for name, number in (
        ("steps", march.STEPS),
        ("rejected_steps", march.REJECTED),
        ("newton_iterations", march.ITERATIONS),
    ):
        add(name, first, counts[:, number])
    add("status", first, np.concatenate([part.status for part in finished]))
    texts = np.array([text for part in finished for text in part.status_text])
    add("status_text", first, texts)
    dataset["time"] = times
    attached: xr.Dataset = attach(dataset)
    attached.attrs = {
        "title": "Soil water simulation",
        "tolerance": settings.tolerance,
        "ponding_limit_cm": settings.ponding_limit,
        "refinement": settings.refinement,
        "wall_time_s": seconds,
    }
    return attached
