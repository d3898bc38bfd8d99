"""Cases into kernel arrays, kernel arrays into results: the plumbing of every run.

A case is one column with its weather. Cases are packed end to end, so that columns with different
layers and meshes go through the compiled loop in one call, chunk by chunk.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.equilibrium import mean_over_depth, resting_suction
from soilwater.errors import Faults, InputError, Status
from soilwater.forcing import Forcing, make_forcing
from soilwater.irrigation import Event, Rule
from soilwater.kernels import column, march
from soilwater.kernels.uptake import NO_REDUCTION
from soilwater.profile import Mesh, Profile
from soilwater.results import each_column
from soilwater.soils.kernel_table import stack_tables
from soilwater.times import hours_between, to_timedelta
from soilwater.turf import Turf
from soilwater.units import number_to_house
from soilwater.weather import Weather

EVAPORATION_HALF_SUCTION = 1.0e4
"""Suction [cm] at the surface that halves evaporation: air-dry soil starts near 1 MPa (common
practice, no source)."""
EVAPORATION_STEEPNESS = 3.0
SMALLEST_STEP = 1.0e-9
LARGEST_STEP = 1.0e3
_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class HeldSurface:
    """A surface kept at a suction, as under a tension disc, or under a pond kept at a depth.

    Parameters
    ----------
    suction : float, str or Quantity
        Suction at the surface [cm]; negative for the depth of a pond.
    """

    suction: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "suction", number_to_house(self.suction, "suction", "suction"))


@dataclass(frozen=True, eq=False)
class Case:
    """One column to simulate.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    weather : Weather
        Rain and demand; its span is the span of the run.
    turf : Turf, optional
        Roots and demand; without it nothing is taken up and nothing evaporates.
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        Water at the start. "soaked": saturated to the surface; "drained": at rest after
        drainage; a number or text with a unit: one suction [cm] everywhere; a DataArray over
        ``depth`` named ``suction`` [cm] or ``water_content`` [1]; an earlier result: its end.
    irrigation : sequence of Event, optional
        Water applied.
    rules : sequence of Rule, optional
        Irrigation decided within the run.

    Raises
    ------
    InputError
        With every argument of the wrong kind.
    """

    profile: Profile
    weather: Weather
    turf: Turf | None = field(default=None, kw_only=True)
    start: Any = field(default="soaked", kw_only=True)
    irrigation: Sequence[Event] = field(default=(), kw_only=True)
    rules: Sequence[Rule] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("Case")
        for name, kind in (("profile", Profile), ("weather", Weather)):
            if not isinstance(getattr(self, name), kind):
                faults.add(
                    f"{name} is a {type(getattr(self, name)).__name__}", allowed=kind.__name__
                )
        if self.turf is not None and not isinstance(self.turf, Turf):
            faults.add(f"turf is a {type(self.turf).__name__}", allowed="Turf or None")
        for name, kind in (("irrigation", Event), ("rules", Rule)):
            for i, each in enumerate(getattr(self, name)):
                if not isinstance(each, kind):
                    faults.add(f"{each!r} is no {kind.__name__}", where=f"{name}, position {i}")
        faults.raise_if_any()


@dataclass(frozen=True, eq=False)
class Settings:
    """What all cases of a batch share."""

    output_hours: NDArray[np.float64]
    tolerance: float = 0.003
    ponding_limit: float = 0.5
    surface: HeldSurface | None = None
    refinement: float = 1.0
    max_steps: int = 1_000_000


class Finished(NamedTuple):
    """Results of a chunk of cases, padded with NaN to its longest column."""

    profiles: list[Profile]
    meshes: list[Mesh]
    node_suction: NDArray[np.float64]
    water_content: NDArray[np.float64]
    amounts: dict[str, NDArray[np.float64]]
    counts: NDArray[np.int64]
    status: NDArray[np.int64]
    status_text: list[str]


class _Packed(NamedTuple):
    """Arguments of `march_columns` after the range of columns, in its order."""

    node_start: NDArray[np.int64]
    z: NDArray[np.float64]
    soil: NDArray[np.int64]
    root: NDArray[np.float64]
    head: NDArray[np.float64]
    stored: NDArray[np.float64]
    head_before: NDArray[np.float64]
    rate: NDArray[np.float64]
    conditions: NDArray[np.float64]
    codes: NDArray[np.int64]
    tables: NDArray[np.float64]
    scalars: NDArray[np.float64]
    forcing: NDArray[np.float64]
    forcing_range: NDArray[np.int64]
    out_time: NDArray[np.float64]
    controls: NDArray[np.float64]
    clock: NDArray[np.float64]
    ledger: NDArray[np.float64]
    counts: NDArray[np.int64]
    status: NDArray[np.int64]
    out_head: NDArray[np.float64]
    out_water: NDArray[np.float64]
    out_ledger: NDArray[np.float64]
    work: NDArray[np.float64]


def run_chunk(cases: Sequence[Case], settings: Settings) -> Finished:
    """Simulate some cases one after the other in the compiled loop.

    A case that cannot be started, or fails on the way, is recorded in `status` and loses nothing
    of the others.
    """
    n = len(cases)
    meshes = [case.profile.mesh(settings.refinement) for case in cases]
    heads, forcings = [], []
    refusals: dict[int, str] = {}
    for i, case in enumerate(cases):
        try:
            heads.append(start_head(case, meshes[i]))
            forcings.append(make_forcing(case.weather, case.turf, case.irrigation))
        except InputError as error:
            refusals[i] = str(error)
            heads[i:] = [np.zeros(meshes[i].depth.size)]
            forcings[i:] = [make_forcing(case.weather, None, ())]
    packed = _pack(cases, meshes, heads, forcings, settings)
    stepwise = [
        i
        for i, case in enumerate(cases)
        if case.rules or (case.turf and case.turf.root_depth_by_date)
    ]
    for i in range(n):
        if i in refusals:
            packed.status[i] = Status.BAD_INPUT
        elif i in stepwise:
            forcings[i] = _march_with_decisions(packed, i, cases[i], meshes[i], forcings[i])
    straight = [i for i in range(n) if i not in refusals and i not in stepwise]
    for first, last in _runs(straight):
        march.march_columns(first, last, *packed)
    texts = [
        refusals.get(i) or _status_text(packed.status[i], packed.clock[i, march.TIME])
        for i in range(n)
    ]
    return Finished(
        [case.profile for case in cases],
        meshes,
        -packed.out_head,
        packed.out_water,
        _amounts(packed, forcings, settings),
        packed.counts,
        packed.status,
        texts,
    )


def _status_text(status: int, time: float) -> str:
    sentence = Status(int(status)).sentence
    return sentence if status == Status.OK else f"{sentence} Last good time: {time:.6g} h."


def _runs(numbers: list[int]) -> list[tuple[int, int]]:
    """Ranges (first, last + 1) of consecutive numbers."""
    runs: list[tuple[int, int]] = []
    for number in numbers:
        if runs and runs[-1][1] == number:
            runs[-1] = (runs[-1][0], number + 1)
        else:
            runs.append((number, number + 1))
    return runs


def _pack(
    cases: Sequence[Case],
    meshes: list[Mesh],
    heads: list[NDArray[np.float64]],
    forcings: list[Forcing],
    settings: Settings,
) -> _Packed:
    n, n_out = len(cases), settings.output_hours.size
    node_start = np.concatenate([[0], np.cumsum([mesh.depth.size for mesh in meshes])])
    longest = max(mesh.depth.size for mesh in meshes)
    z, head = np.concatenate([mesh.depth for mesh in meshes]), np.concatenate(heads)
    numbers: dict[Any, int] = {}
    soil = np.zeros(z.size, dtype=np.int64)
    for a, mesh in zip(node_start, meshes, strict=False):
        own = np.array([numbers.setdefault(each, len(numbers)) for each in mesh.soils])
        soil[a : a + mesh.soil.size] = own[mesh.soil]
    tables, scalars = stack_tables(list(numbers))
    rows = np.cumsum([0] + [forcing.intervals.shape[0] for forcing in forcings])
    conditions = np.zeros((n, column.N_CONDITIONS))
    codes = np.zeros((n, column.N_CODES), dtype=np.int64)
    for i, case in enumerate(cases):
        _set_conditions(conditions[i], codes[i], case, settings)
    ledger = np.zeros((n, march.N_LEDGER))
    ledger[:, march.INITIAL_STORAGE] = np.nan
    clock = np.zeros((n, march.N_CLOCK))
    clock[:, march.NEXT_STEP] = LARGEST_STEP
    controls = np.empty((n, march.N_CONTROLS))
    controls[:] = settings.tolerance, SMALLEST_STEP, LARGEST_STEP, settings.max_steps
    return _Packed(
        node_start=node_start.astype(np.int64),
        z=z,
        soil=soil,
        root=np.concatenate(
            [root_shares(case.turf, mesh) for case, mesh in zip(cases, meshes, strict=True)]
        ),
        head=head,
        stored=np.zeros(z.size),
        head_before=head.copy(),
        rate=np.zeros(z.size),
        conditions=conditions,
        codes=codes,
        tables=tables,
        scalars=scalars,
        forcing=np.concatenate([forcing.intervals for forcing in forcings]),
        forcing_range=np.stack([rows[:-1], rows[1:]], axis=1).astype(np.int64),
        out_time=settings.output_hours,
        controls=controls,
        clock=clock,
        ledger=ledger,
        counts=np.zeros((n, march.N_COUNTS), dtype=np.int64),
        status=np.zeros(n, dtype=np.int64),
        out_head=np.full((n, n_out, longest), np.nan),
        out_water=np.full((n, n_out, longest - 1), np.nan),
        out_ledger=np.full((n, n_out, march.N_LEDGER), np.nan),
        work=np.zeros(march.N_WORK * longest),
    )


def _set_conditions(
    conditions: NDArray[np.float64], codes: NDArray[np.int64], case: Case, settings: Settings
) -> None:
    code, value = case.profile.base.kernel_condition(case.profile.depth)
    codes[column.BASE_CODE], conditions[column.BASE_VALUE] = code, value
    conditions[column.POND_LIMIT] = settings.ponding_limit
    if settings.surface is not None:
        codes[column.SURFACE_CODE] = column.HELD_SURFACE
        conditions[column.SURFACE_VALUE] = -settings.surface.suction
    conditions[column.EVAPORATION_HALF_SUCTION] = EVAPORATION_HALF_SUCTION
    conditions[column.EVAPORATION_STEEPNESS] = EVAPORATION_STEEPNESS
    codes[column.STRESS_CODE] = NO_REDUCTION
    if case.turf is not None:
        codes[column.STRESS_CODE] = case.turf.stress.kernel_code
        conditions[column.STRESS_0 : column.STRESS_4 + 1] = case.turf.stress.kernel_parameters
        conditions[column.CRITICAL_STRESS_INDEX] = case.turf.compensation


def root_shares(turf: Turf | None, mesh: Mesh) -> NDArray[np.float64]:
    """Share of the roots around each node [1]; all of them within the profile."""
    z = mesh.depth
    if turf is None:
        return np.zeros(z.size)
    edges = np.concatenate([[0.0], 0.5 * (z[1:] + z[:-1]), [z[-1]]])
    share = turf.root_fraction(edges[:-1], edges[1:])
    return share / share.sum()


def start_head(case: Case, mesh: Mesh) -> NDArray[np.float64]:
    """Matric head at the nodes at the start of a case [cm]."""
    start = case.start
    if isinstance(start, xr.Dataset):
        return _end_of_run(start, mesh)
    if isinstance(start, xr.DataArray):
        return _from_profile_of(start, mesh)
    if start == "soaked":
        return mesh.depth.copy()
    if start == "drained":
        return mesh.depth - case.profile.depth - resting_suction(case.profile)
    try:
        suction = number_to_house(start, "suction", "start")
    except InputError as error:
        raise InputError(f'{error} Or write "soaked" or "drained".') from None
    return np.full(mesh.depth.size, -suction)


def _end_of_run(run: xr.Dataset, mesh: Mesh) -> NDArray[np.float64]:
    columns = list(each_column(run))
    if len(columns) != 1:
        raise InputError(
            f"start: the earlier result holds {len(columns)} columns; allowed: one; pick it with "
            ".isel or .sel."
        )
    suction = columns[0].node_suction[-1]
    if not np.array_equal(columns[0].mesh.depth, mesh.depth):
        raise InputError(
            "start: the earlier result is of another profile or mesh; allowed: the same layers "
            "and refinement; or give a DataArray of its suction over depth."
        )
    if not np.isfinite(suction).all():
        raise InputError("start: the earlier result has no values at its last time.")
    return np.asarray(-suction)


def _from_profile_of(values: xr.DataArray, mesh: Mesh) -> NDArray[np.float64]:
    faults = Faults("start")
    if values.name not in ("suction", "water_content"):
        faults.add(f"the DataArray is called {values.name!r}", allowed="suction or water_content")
    if values.dims != ("depth",) or "depth" not in values.coords:
        faults.add(f"its dimensions are {values.dims}", allowed="('depth',) with depths in cm")
    faults.raise_if_any()
    depth = np.asarray(values.depth.values, dtype=np.float64)
    given = np.asarray(values.values, dtype=np.float64)
    for i in np.flatnonzero(~np.isfinite(given) | ~np.isfinite(depth)):
        faults.add(f"{values.name} is missing", where=f"depth {depth[i]:g} cm")
    if np.any(np.diff(depth) <= 0.0):
        faults.add("the depths do not increase")
    faults.raise_if_any()
    at_nodes = np.interp(mesh.depth, depth, given)
    if values.name == "suction":
        return -at_nodes
    # A node on an interface belongs to the soil above it.
    number = np.concatenate([mesh.soil[:1], mesh.soil])
    head = np.empty(mesh.depth.size)
    for i, soil in enumerate(mesh.soils):
        here = number == i
        head[here] = -np.asarray(soil.suction_at(at_nodes[here]))
    return head


def _march_with_decisions(
    packed: _Packed, i: int, case: Case, mesh: Mesh, forcing: Forcing
) -> Forcing:
    """March one case from decision to decision; returns the forcing with what was decided.

    The compiled loop is left once per decision. Decision times are edges of the weather, so the
    same events given as a table over the same edges repeat the run bit for bit.
    """
    start, end = case.weather.start, case.weather.end
    decisions: dict[np.datetime64, list[Rule]] = {}
    for rule in case.rules:
        for time in rule.decision_times(start, end):
            decisions.setdefault(time, []).append(rule)
    if case.turf is not None and case.turf.root_depth_by_date:
        midnights = np.arange(start.astype("datetime64[D]"), end, _DAY)
        for time in midnights.astype("datetime64[ns]"):
            if time >= start:
                decisions.setdefault(time, [])
    times = sorted(decisions)
    weather = case.weather.refine(np.array(times)) if times else case.weather
    events = list(case.irrigation)
    forcing = make_forcing(weather, case.turf, events)
    for time in times:
        _march_to(packed, i, float(hours_between(start, time)), forcing)
        if packed.status[i] != Status.OK:
            return forcing
        a, b = packed.node_start[i], packed.node_start[i + 1]
        if case.turf is not None and case.turf.root_depth_by_date:
            packed.root[a:b] = root_shares(case.turf.on(time), mesh)
        decided = []
        for rule in decisions[time]:
            reading = mean_over_depth(mesh, packed.head[None, a:b], 0.0, rule.rod)[0]
            recent = _recent_rain(forcing, float(hours_between(start, time)), rule.rain_window)
            event = rule.decide(time, reading, recent)
            if event is not None and event.end <= end:
                decided.append(event)
        if decided:
            events += decided
            forcing = make_forcing(weather, case.turf, events)
    _march_to(packed, i, float(hours_between(start, end)), forcing)
    return forcing


def _recent_rain(forcing: Forcing, hours: float, window: float) -> float:
    span = np.array([max(hours - window, 0.0), hours])
    return float(np.diff(forcing.cumulative(forcing.rain, span))[0])


def _march_to(packed: _Packed, i: int, hours: float, forcing: Forcing) -> None:
    """March case `i` on to a time, filling the outputs on the way."""
    now = packed.clock[i, march.TIME]
    last = packed.out_time[-1]
    first_call = np.isnan(packed.ledger[i, march.INITIAL_STORAGE])
    wanted = (packed.out_time <= hours) & (
        (packed.out_time > now) | (first_call & (packed.out_time == now))
    )
    chosen = np.flatnonzero(wanted)
    times = packed.out_time[chosen]
    stop = min(hours, last)
    if times.size == 0 or times[-1] < stop:
        times = np.append(times, stop)
    n = packed.out_head.shape[2]
    head = np.full((1, times.size, n), np.nan)
    water = np.full((1, times.size, n - 1), np.nan)
    ledger = np.full((1, times.size, march.N_LEDGER), np.nan)
    one = slice(i, i + 1)
    a, b = packed.node_start[i], packed.node_start[i + 1]
    march.march_columns(
        0,
        1,
        *packed._replace(
            node_start=np.array([0, b - a]),
            **{
                name: getattr(packed, name)[a:b]
                for name in ("z", "soil", "root", "head", "stored", "head_before", "rate")
            },
            **{
                name: getattr(packed, name)[one]
                for name in (
                    "conditions",
                    "codes",
                    "controls",
                    "clock",
                    "ledger",
                    "counts",
                    "status",
                )
            },
            forcing=forcing.intervals,
            forcing_range=np.array([[0, forcing.intervals.shape[0]]]),
            out_time=times,
            out_head=head,
            out_water=water,
            out_ledger=ledger,
        ),
    )
    packed.out_head[i, chosen] = head[0, : chosen.size]
    packed.out_water[i, chosen] = water[0, : chosen.size]
    packed.out_ledger[i, chosen] = ledger[0, : chosen.size]


def _amounts(
    packed: _Packed, forcings: list[Forcing], settings: Settings
) -> dict[str, NDArray[np.float64]]:
    """Ledger of every case over time [mm]."""
    mm = 10.0 * packed.out_ledger
    hours = settings.output_hours
    unknown = np.isnan(mm[:, :, march.STORAGE_CHANGE])

    def applied(name: str) -> NDArray[np.float64]:
        values = np.stack([f.cumulative(getattr(f, name), hours) for f in forcings])
        return np.where(unknown, np.nan, values)

    ponding = mm[:, :, march.PONDING]
    return {
        "rain": applied("rain"),
        "irrigation": applied("irrigation"),
        "interception": applied("interception"),
        "runoff": mm[:, :, march.TOTAL_RUNOFF],
        "infiltration": mm[:, :, march.TOTAL_INFLOW] - mm[:, :, march.TOTAL_RUNOFF] - ponding,
        "transpiration": mm[:, :, march.TOTAL_TRANSPIRATION],
        "potential_transpiration": mm[:, :, march.TOTAL_TRANSPIRATION_DEMAND],
        "evaporation": mm[:, :, march.TOTAL_EVAPORATION],
        "potential_evaporation": mm[:, :, march.TOTAL_EVAPORATION_DEMAND],
        "drainage": mm[:, :, march.TOTAL_DRAINAGE],
        "storage_change": mm[:, :, march.STORAGE_CHANGE],
        "ponding": ponding,
        "closure_error": mm[:, :, march.CLOSURE_ERROR],
    }


def output_hours(
    output: Any, weather: Weather
) -> tuple[NDArray[np.float64], NDArray[np.datetime64]]:
    """Hours since the start, and times, at which results are wanted.

    Parameters
    ----------
    output : float, str, Quantity or sequence of datetime64
        Interval [h], or the times themselves.
    weather : Weather
        Span of the run.

    Returns
    -------
    hours : ndarray, shape (n,)
        Hours since the start of the weather [h].
    times : ndarray of datetime64, shape (n,)
        The same as times.

    Raises
    ------
    InputError
        If the interval is not above 0, or times go backwards or leave the weather.
    """
    span = float(weather.hours[-1])
    if isinstance(output, str | float | int) or np.ndim(output) == 0:
        step = number_to_house(output, "duration", "output")
        if step <= 0.0:
            raise InputError(f"output: {step:g} h; allowed: above 0.")
        count = int(np.floor(span / step + 1e-9))
        hours = step * np.arange(count + 1)
        if hours[-1] < span - 1e-9 * span:
            hours = np.append(hours, span)
        hours = np.minimum(hours, span)
        times = weather.start + np.array([to_timedelta(float(h)) for h in hours])
        return hours, times
    times = np.asarray(output, dtype="datetime64[ns]")
    hours = np.asarray(hours_between(weather.start, times))
    faults = Faults("output")
    for i in np.flatnonzero(~((hours >= 0.0) & (hours <= span))):
        faults.add(f"{times[i]} lies outside the run", allowed=f"{weather.start} to {weather.end}")
    if np.any(np.diff(hours) <= 0.0):
        i = int(np.flatnonzero(np.diff(hours) <= 0.0)[0])
        faults.add(f"time goes backwards: {times[i]} is followed by {times[i + 1]}")
    faults.raise_if_any()
    return hours, times
