"""Run columns through time: one, a batch, or the same profile at several depths."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from itertools import product
from pathlib import Path
from typing import Any, Literal

import numpy as np
import xarray as xr

from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.batch import run_chunk
from soilwater.runs.cases import (
    Case,
    HeldSurface,
    arrange_cases,
    check_cases,
    is_lazy,
    make_settings,
    outline,
    own_coords,
)
from soilwater.runs.gathering import finish, run_batch
from soilwater.runs.lazy import run_lazily
from soilwater.runs.results import describe_columns, lay_out
from soilwater.runs.scheduling import Executor, Progress
from soilwater.weather.irrigation import Event
from soilwater.weather.rules import Rule
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError, RunError, Status
from soilwater.words.renamed import mind_words
from soilwater.words.units import to_house


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
    settings, times = make_settings(
        weather, output, None, ponding_limit, surface, tolerance, refinement, max_steps
    )
    if on_failure not in ("raise", "return"):
        raise InputError(f'on_failure: {on_failure!r}; allowed: "raise" or "return".')
    begin = time.perf_counter()
    values = run_chunk([case], settings)
    status, text = values["status"][0], values["status_text"][0]
    if status == Status.BAD_INPUT:
        raise InputError(text)
    if status != Status.OK and on_failure == "raise":
        raise RunError(text)
    mesh = profile.mesh(settings.refinement)
    described = describe_columns([profile], [mesh], mesh.depth.size)
    dataset = finish(lay_out(values, described, {}, ("time",)), times, settings)
    return dataset.assign_attrs(wall_time_s=time.perf_counter() - begin)


def simulate_many(
    cases: Iterable[Case] | xr.DataArray,
    *,
    dimension: str = "case",
    labels: Sequence[Any] | None = None,
    output: Any = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Any = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.003,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    n_threads: int | None = None,
    executor: Executor | None = None,
    store: str | Path | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate many cases: any mix of profiles, soils, weathers and starts.

    Each case gives, bit for bit, what `simulate` gives for it alone, whatever the number of
    threads.

    Parameters
    ----------
    cases : iterable of Case, or DataArray of object
        Columns with weather over one common span. A DataArray of them brings its dimensions and
        coordinates. One chunked with dask gives a result that is chunked alike, and run by dask
        when it is asked for.
    dimension : str, optional
        Name of the dimension the cases lie along, such as ``"case"``, ``"member"`` or ``"spot"``.
    labels : sequence, optional
        Coordinate of that dimension; 0, 1, 2, ... when left out.
    output : float, str, Quantity or sequence of datetime64, optional
        Interval of the results [h], or their times.
    keep : iterable of str, optional
        Names of the variables wanted; all when left out. How each case ended is always given.
        `meter_reading` needs ``node_suction``.
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
    executor : Executor, optional
        Runs chunks of cases in place of threads of this process: a
        `concurrent.futures.Executor`, or the client of a dask cluster.
    store : str or Path, optional
        Folder of a zarr store that results are written to while the batch runs. The same call
        takes up an unfinished store where it stopped, and opens a finished one.
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all.

    Returns
    -------
    Dataset
        As from `simulate`, with the dimension of the cases in front. A case that failed has a
        status other than 0, a sentence in `status_text`, and NaN where it has no result. From a
        store, values are read when they are asked for.

    Raises
    ------
    InputError
        If there are no cases, their spans differ, a setting cannot be used, or dask runs the cases
        and is told how by `n_threads`, `executor`, `store` or `progress`.
    Interrupted
        On Ctrl-C; its `finished` holds the cases that were run.

    Examples
    --------
    Suction and drainage only, of a profile under two weathers:

    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> green = sw.Profile.over_gravel(sand, "12 in")
    >>> cases = [sw.Case(green, sw.steady_weather(2, 0.0, rain=rain)) for rain in (0.0, 5.0)]
    >>> run = sw.simulate_many(cases, output="24 h", keep=("suction", "drainage"))
    >>> dict(run.drainage.sizes)
    {'case': 2, 'time': 3}
    """
    array, outlines = arrange_cases(cases, dimension, labels)
    first = array[(0,) * array.ndim].compute().item()
    settings, times = make_settings(
        first.weather, output, keep, ponding_limit, surface, tolerance, refinement, max_steps
    )
    axes = {str(dim): array[dim].values for dim in array.dims}
    if is_lazy(array):
        if any(each is not None for each in (n_threads, executor, store, progress or None)):
            raise InputError(
                "cases: chunked with dask, they run where and how dask runs; leave n_threads, "
                "executor, store and progress out, and use its client, progress bar and to_zarr; "
                "or give cases.compute()."
            )
        return run_lazily(array, outlines, axes, settings, times)
    return run_batch(
        array.values.ravel().tolist(),
        axes,
        settings,
        times,
        n_threads,
        executor,
        store,
        progress,
        own_coords(array),
    )


@mind_words(soils="sand")
def compare_depths(
    profile: Profile,
    depths: Any,
    weather: Weather | Sequence[Weather],
    *,
    sand: Sand | None = None,
    turf: Turf | None = None,
    start: Any = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    layer: str | None = None,
    output: Any = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Any = 0.5,
    tolerance: float = 0.003,
    n_threads: int | None = None,
    executor: Executor | None = None,
    store: str | Path | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate the same profile with its root zone at several depths.

    Parameters
    ----------
    profile : Profile
        Layers and base condition; only one thickness is changed.
    depths : sequence of float, str or Quantity
        Thicknesses of the root zone [cm].
    weather : Weather or sequence of Weather
        Rain and reference evapotranspiration; several members make the dimension ``member``.
    sand : Soil, FitResult or sequence of these, optional
        Sand to put into the varied layer, such as ``fit.samples(50)``; several soils make the
        dimension ``sample``. The soil of the profile when left out.
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
    keep : iterable of str, optional
        Names of the variables wanted; all when left out.
    ponding_limit : float, str or Quantity, optional
        Depth of water [cm] the surface holds before the rest runs off.
    tolerance : float, optional
        Largest local error in water content a step may make [1].
    n_threads : int, optional
        Threads to use.
    executor : Executor, optional
        Runs chunks of cases in place of threads of this process.
    store : str or Path, optional
        Folder of a zarr store that results are written to, as in `simulate_many`.
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all.

    Returns
    -------
    Dataset
        As from `simulate`, with the dimension ``root_zone_depth`` [cm] in front, and ``sample``
        and ``member`` behind it where they were asked for.

    Raises
    ------
    InputError
        If a depth cannot be used, or it is not clear which layer is meant.
    Interrupted
        On Ctrl-C; its `finished` holds the cases that were run.
    """
    thicknesses = np.atleast_1d(np.asarray(to_house(depths, "length", "depths"))).tolist()
    faults = Faults("Depths")
    profiles = []
    for each in thicknesses:
        with faults.catching():
            profiles.append(profile.with_thickness(each, layer=layer))
    if not thicknesses:
        faults.add("there are none", allowed="at least one")
    faults.raise_if_any()
    common = {"turf": turf, "start": start, "irrigation": irrigation, "rules": rules}
    cases, axes = _ensemble(profiles, weather, sand, layer, common)
    settings, times = make_settings(
        cases[0].weather, output, keep, ponding_limit, None, tolerance, 1.0, 1_000_000
    )
    axes = {"root_zone_depth": thicknesses, **axes}
    return run_batch(cases, axes, settings, times, n_threads, executor, store, progress)


@mind_words(soils="sand")
def simulate_ensemble(
    profile: Profile,
    weather: Weather | Sequence[Weather],
    *,
    sand: Sand | None = None,
    turf: Turf | None = None,
    start: Any = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    layer: str | None = None,
    output: Any = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Any = 0.5,
    tolerance: float = 0.003,
    n_threads: int | None = None,
    executor: Executor | None = None,
    store: str | Path | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate one profile with every soil and every weather it may have.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    weather : Weather or sequence of Weather
        Rain and reference evapotranspiration; several members make the dimension ``member``.
    sand : Soil, FitResult or sequence of these, optional
        Sand to put into one layer, such as a fit or ``fit.samples(50)``; several soils make the
        dimension ``sample``. The soil of the profile when left out.
    turf : Turf, optional
        Roots, demand and interception.
    start : {"soaked", "drained"}, float, str or Quantity, optional
        Water at the start, as in `simulate`; numbers are suctions [cm].
    irrigation : sequence of Event, optional
        Water applied.
    rules : sequence of Rule, optional
        Irrigation decided within the run.
    layer : str, optional
        Name of the layer the soils go into; the root zone, or the only layer, when left out.
    output : float, str, Quantity or sequence of datetime64, optional
        Interval of the results [h], or their times.
    keep : iterable of str, optional
        Names of the variables wanted; all when left out.
    ponding_limit : float, str or Quantity, optional
        Depth of water [cm] the surface holds before the rest runs off.
    tolerance : float, optional
        Largest local error in water content a step may make [1].
    n_threads : int, optional
        Threads to use.
    executor : Executor, optional
        Runs chunks of cases in place of threads of this process.
    store : str or Path, optional
        Folder of a zarr store that results are written to, as in `simulate_many`.
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all.

    Returns
    -------
    Dataset
        As from `simulate`, with ``sample`` and ``member`` in front where they were asked for.

    Raises
    ------
    InputError
        If there are no soils or weathers, spans differ, or it is not clear which layer is meant.
    Interrupted
        On Ctrl-C; its `finished` holds the cases that were run.

    Examples
    --------
    >>> import soilwater as sw
    >>> sands = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.04, 0.05, 0.06)]
    >>> green = sw.Profile.over_gravel(sands[0], "12 in")
    >>> run = sw.simulate_ensemble(green, sw.steady_weather(2, 0.0), sand=sands, output="24 h")
    >>> band = sw.meter_reading(run, rod="3 in").quantile([0.05, 0.95], "sample")
    >>> dict(band.sizes)
    {'quantile': 2, 'time': 3}
    """
    common = {"turf": turf, "start": start, "irrigation": irrigation, "rules": rules}
    cases, axes = _ensemble([profile], weather, sand, layer, common)
    settings, times = make_settings(
        cases[0].weather, output, keep, ponding_limit, None, tolerance, 1.0, 1_000_000
    )
    return run_batch(cases, axes, settings, times, n_threads, executor, store, progress)


def _ensemble(
    profiles: Sequence[Profile],
    weather: Weather | Sequence[Weather],
    sand: Sand | None,
    layer: str | None,
    common: dict[str, Any],
) -> tuple[list[Case], dict[str, Sequence[Any]]]:
    """Every profile with every soil under every weather, and the dimensions behind profiles."""
    axes: dict[str, Sequence[Any]] = {}
    if sand is not None:
        _, soils = best_and_likely(sand)
        axes["sample"] = range(len(soils))
        profiles = [each.with_soil(soil, layer=layer) for each in profiles for soil in soils]
    members = [weather] if isinstance(weather, Weather) else list(weather)
    if not isinstance(weather, Weather):
        axes["member"] = range(len(members))
    cases = [Case(profile, member, **common) for profile, member in product(profiles, members)]
    check_cases([outline(case) for case in cases], None)
    return cases, axes
