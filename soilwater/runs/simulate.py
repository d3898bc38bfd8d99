"""Run columns through time: one, a batch, or the same profile at several depths."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, Protocol, cast

import numpy as np
import xarray as xr

from soilwater.ground.profile import Profile, with_each_thickness
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, likely
from soilwater.lab.likely_memory import as_watered
from soilwater.runs.arrange import Batch, arrange_cases, check_cases, is_lazy, outline, own_coords
from soilwater.runs.batch import run_chunk
from soilwater.runs.case import Case, HeldSurface
from soilwater.runs.gathering import attributes_of, run_batch
from soilwater.runs.green_map import GreenMap
from soilwater.runs.kinds import Cases, under_each
from soilwater.runs.layout import Axes, lay_out_column
from soilwater.runs.lazy import run_lazily
from soilwater.runs.linked_run import run_linked
from soilwater.runs.scheduling import Executor, Progress, Workers
from soilwater.runs.settings import make_settings
from soilwater.runs.transect import Transect
from soilwater.runs.wording import in_full
from soilwater.survey.survey import Spot
from soilwater.weather.irrigation import Event
from soilwater.weather.rules import Rule
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError, RunError, Status
from soilwater.words.forms import Length, OutputTimes, StartingWater
from soilwater.words.renamed import mind_words
from soilwater.words.units import to_house


@mind_words()
@in_full
def simulate(
    profile: Profile | Transect | GreenMap,
    weather: Weather,
    *,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    output: OutputTimes = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Length = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.0015,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    on_failure: Literal["raise", "return"] = "raise",
) -> xr.Dataset:
    """Simulate water in one profile, or on ground that is not level, under some weather.

    Solves the mixed form of the Richards (1931) equation with root uptake; see the numerics page.

    Parameters
    ----------
    profile : Profile, Transect or GreenMap
        Layers and base condition; or a line or a map of such columns, which pass water to their
        neighbours.
    weather : Weather
        Rain and reference evapotranspiration; its span is the span of the run.
    {what stands there}
    {how it is solved}
    on_failure : {"raise", "return"}, optional
        Whether a run that gives up is an exception, or a result that ends in NaN.

    Returns
    -------
    Dataset
        Water content and suction over ``time`` and ``depth``; the water balance, cumulative since
        the start [mm]; status and the work done. Of a line the same over ``distance`` [cm], of a
        map over ``spot`` (see `GreenMap.on_map`), with levels [cm], `lateral_inflow` [mm] (what
        came to each column sideways since the start) and `lateral_flow` [cm2/h] (flow per width
        over each face, mean since the output before).

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
    common: Any = {"turf": turf, "start": start, "irrigation": irrigation, "rules": rules}
    ground = profile.ground() if isinstance(profile, Transect | GreenMap) else None
    profiles = (cast(Profile, profile),) if ground is None else ground.profiles
    cases = [Case(each, weather, **common) for each in profiles]
    settings = make_settings(
        weather,
        output=output,
        keep=keep,
        ponding_limit=ponding_limit,
        surface=surface,
        tolerance=tolerance,
        refinement=refinement,
        max_steps=max_steps,
    ).for_cases(cases)
    if on_failure not in ("raise", "return"):
        raise InputError(f'on_failure: {on_failure!r}; allowed: "raise" or "return".')
    if ground is not None:
        dataset = run_linked(ground, cases, settings)
        if dataset.status[0] != Status.OK and on_failure == "raise":
            raise RunError(str(dataset.status_text.values[0]))
        return dataset
    begin = time.perf_counter()
    values = run_chunk(cases, settings)
    status, text = values["status"][0], values["status_text"][0]
    if status == Status.BAD_INPUT:
        raise InputError(text)
    if status != Status.OK and on_failure == "raise":
        raise RunError(text)
    mesh, told = profiles[0].mesh(settings.refinement), attributes_of(settings)
    run = lay_out_column(values, profiles[0], mesh, settings.times, told)
    run.attrs["wall_time_s"] = time.perf_counter() - begin
    return run


@mind_words()
@in_full
def simulate_many(
    cases: Iterable[Case] | xr.DataArray,
    *,
    dimension: str = "case",
    labels: Sequence[Any] | None = None,
    output: OutputTimes = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Length = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.0015,
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
    {how it is solved}
    {who runs it}

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
    settings = make_settings(
        first.weather,
        output=output,
        keep=keep,
        ponding_limit=ponding_limit,
        surface=surface,
        tolerance=tolerance,
        refinement=refinement,
        max_steps=max_steps,
    ).for_cases(outlines)
    axes = {str(dim): array[dim].values for dim in array.dims}
    if is_lazy(array):
        if any(each is not None for each in (n_threads, executor, store, progress or None)):
            raise InputError(
                "cases: chunked with dask, they run where and how dask runs; leave n_threads, "
                "executor, store and progress out, and use its client, progress bar and to_zarr; "
                "or give cases.compute()."
            )
        return run_lazily(array, outlines, axes, settings)
    batch = Batch(Cases.of(array.values.ravel().tolist()), axes, settings, own_coords(array))
    return run_batch(batch, Workers(n_threads, executor, progress), store)


@mind_words(soils="sand")
@in_full
def compare_depths(
    profile: Profile,
    depths: Sequence[Length],
    weather: Weather | Sequence[Weather],
    *,
    sand: Sand | None = None,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    layer: str | None = None,
    output: OutputTimes = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Length = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.0015,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
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
    {members}
    {sand}
    {what stands there}
    {layer}
    {how it is solved}
    {who runs it}

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
    _check_profile(profile)
    given = np.atleast_1d(np.asarray(to_house(depths, "length", "depths")))
    if given.size == 0:
        raise InputError("Depths: there are none; allowed: at least one.")
    if given.ndim > 1:
        raise InputError(f"Depths: a table of shape {given.shape} was given; allowed: one row.")
    thicknesses = given.tolist()
    profiles = with_each_thickness(profile, thicknesses, layer)
    common = _common(turf, start, irrigation, rules)
    cases, axes = _ensemble(profiles, weather, sand, layer, common)
    settings = make_settings(
        cases[0].weather,
        output=output,
        keep=keep,
        ponding_limit=ponding_limit,
        surface=surface,
        tolerance=tolerance,
        refinement=refinement,
        max_steps=max_steps,
    ).for_cases(cases)
    batch = Batch(cases, {"root_zone_depth": thicknesses, **axes}, settings)
    return run_batch(batch, Workers(n_threads, executor, progress), store)


class LearnedColumns(Protocol):
    """What readings have taught of a green, as `calibrate` gives it."""

    def columns(self, spot: Spot, weather: Weather | Sequence[Weather]) -> list[Case]:
        """Columns of a spot from its last readings on, every draw under every weather."""

    @property
    def turf(self) -> Turf:
        """The turf it was learnt with."""


@mind_words(soils="sand")
@in_full
def simulate_ensemble(
    profile: Profile | Spot,
    weather: Weather | Sequence[Weather],
    *,
    calibration: LearnedColumns | None = None,
    sand: Sand | None = None,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    rules: Sequence[Rule] = (),
    layer: str | None = None,
    output: OutputTimes = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Length = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.0015,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    n_threads: int | None = None,
    executor: Executor | None = None,
    store: str | Path | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate one profile with every soil and every weather it may have.

    Parameters
    ----------
    profile : Profile or Spot
        Layers and base condition; or a spot of the survey that a `calibration` was learnt from.
    {members}
    calibration : Calibration, optional
        What readings have taught, from `calibrate`: each of its draws, whole, is one ``sample``,
        from its `now` on, with sand, base, turf and depth of its own and water as it then stands.
    {sand}
    {what stands there}
    {layer}
    {how it is solved}
    {who runs it}

    Returns
    -------
    Dataset
        As from `simulate`, with ``sample`` and ``member`` in front where they were asked for.
        Water in the ground, not what a meter shows of it: `Calibration.shift` is what meter, mat
        and spot add to readings.

    Raises
    ------
    InputError
        If there are no soils or weathers, spans differ, it is not clear which layer is meant, or
        something is given that the calibration knows.
    Interrupted
        On Ctrl-C; its `finished` holds the cases that were run.

    Examples
    --------
    >>> import soilwater as sw
    >>> sands = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.04, 0.05, 0.06)]
    >>> green = sw.Profile.over_gravel(sands[0], "12 in")
    >>> run = sw.simulate_ensemble(green, sw.steady_weather(2, 0.0), sand=sands, output="24 h")
    >>> band = sw.meter_reading(run, rod="3 in").quantile([0.1, 0.9], "sample")
    >>> dict(band.sizes)
    {'quantile': 2, 'time': 3}
    """
    common = _common(turf, start, irrigation, rules)
    if isinstance(profile, Spot) or calibration is not None:
        cases, axes = _learned(profile, weather, calibration, sand, layer, common)
    else:
        _check_profile(profile)
        cases, axes = _ensemble([profile], weather, sand, layer, common)
    settings = make_settings(
        cases[0].weather,
        output=output,
        keep=keep,
        ponding_limit=ponding_limit,
        surface=surface,
        tolerance=tolerance,
        refinement=refinement,
        max_steps=max_steps,
    ).for_cases(cases)
    batch = Batch(cases, axes, settings)
    return run_batch(batch, Workers(n_threads, executor, progress), store)


def _common(turf: Any, start: Any, *several: Any) -> dict[str, Any]:
    """Arguments of `Case` that columns share; an iterator would be empty for the second one."""
    kept = [tuple(each) if isinstance(each, Iterator) else each for each in several]
    return {"turf": turf, "start": start, "irrigation": kept[0], "rules": kept[1]}


def _ensemble(
    profiles: Sequence[Profile],
    weather: Weather | Sequence[Weather],
    sand: Sand | None,
    layer: str | None,
    common: dict[str, Any],
) -> tuple[Cases, Axes]:
    """Every profile with every soil under every weather, and the dimensions behind profiles."""
    axes: dict[str, Sequence[Any]] = {}
    soils = None
    if sand is not None:
        soils = likely(sand)
        if common["rules"]:
            # A rule waters again and again on what the last water left.
            soils = as_watered(sand, len(soils))
        axes["sample"] = range(len(soils))
    members: list[Any] = [weather]
    if not isinstance(weather, Weather) and isinstance(weather, Iterable):
        members = list(weather)
        axes["member"] = range(len(members))
    cases = under_each(profiles, soils, layer, members, common)
    # All profiles have the same weathers.
    check_cases([outline(case) for case in cases[: len(members)]], None)
    return cases, axes


def _learned(
    spot: Any,
    weather: Weather | Sequence[Weather],
    calibration: LearnedColumns | None,
    sand: Sand | None,
    layer: str | None,
    common: dict[str, Any],
) -> tuple[Cases, Axes]:
    """Every draw of a calibration under every weather, and the dimensions."""
    faults = Faults("simulate_ensemble")
    if calibration is None or not isinstance(spot, Spot):
        faults.add(
            "a spot of a survey and a calibration belong together",
            cure='give survey.spot("C3") and calibration=, or a Profile and none',
        )
        raise faults.as_error()
    if not hasattr(calibration, "columns"):
        faults.add(f"calibration is a {type(calibration).__name__}", cure="give that of calibrate")
        raise faults.as_error()
    turf, start = common["turf"], common["start"]
    for name, agrees in (
        ("sand", sand is None),
        ("layer", layer is None),
        ("turf", turf is None or turf == calibration.turf),
        ("start", isinstance(start, str) and start == "soaked"),
    ):
        if not agrees:
            faults.add(
                f"{name} is not what the calibration was learnt with",
                cure=f"leave {name} out: the calibration holds it jointly with the rest",
            )
    faults.raise_if_any()
    cases = [
        replace(each.with_water(common["irrigation"]), rules=common["rules"])
        for each in calibration.columns(spot, weather)
    ]
    count = 1 if isinstance(weather, Weather) else len(weather)
    axes: dict[str, Sequence[Any]] = {"sample": range(len(cases) // count)}
    if not isinstance(weather, Weather):
        axes["member"] = range(count)
    return Cases.of(cases), axes


def _check_profile(profile: Any) -> None:
    if not isinstance(profile, Profile):
        raise InputError(
            f"profile is a {type(profile).__name__}; allowed: a Profile, such as "
            "Profile.over_gravel(soil, root_zone)."
        )
