"""Runs that are decided on the way: rules for irrigation, roots that grow, mats that refuse water.

The compiled loop is left once per decision and taken up again where it stopped.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh
from soilwater.ground.repellent_mat import MatState
from soilwater.kernels import entry_points, remembering, rows
from soilwater.kernels.remembering import Memories
from soilwater.kernels.rows import Packed
from soilwater.runs.case import Case
from soilwater.runs.drained import mean_over_depth
from soilwater.runs.forcing import Forcing, make_forcing
from soilwater.runs.packing import root_shares
from soilwater.weather.irrigation import Event
from soilwater.weather.rules import Rule
from soilwater.words.errors import Status
from soilwater.words.times import hours_between, to_timedeltas

_DAY = np.timedelta64(1, "D")
_JUDGED = 1.0
"""Hours between two looks at a repellent mat."""


def needs_decisions(case: Case) -> bool:
    """Whether something about a case is decided while it runs."""
    return bool(case.rules) or (
        case.turf is not None
        and (bool(case.turf.root_depth_by_date) or case.turf.repellent_mat is not None)
    )


def march_with_decisions(
    packed: Packed,
    memories: Memories | None,
    i: int,
    case: Case,
    mesh: Mesh,
    forcing: Forcing,
    state: MatState,
) -> Forcing:
    """March one case from decision to decision.

    Decision times are edges of the weather, so the same events given as a table over the same
    edges repeat the run: bit for bit where decision times are output times, and else to round-off,
    because heads are set to the water held (`ledger.close_balance`) at each decision.

    Parameters
    ----------
    packed : Packed
        All cases of the chunk; the state and outputs of case `i` are changed.
    memories : Memories or None
        What they remember; changed likewise.
    i : int
        Which one.
    case : Case
        With rules, roots that grow, or a mat that refuses water.
    mesh : Mesh
        Its nodes.
    forcing : Forcing
        What it would feel if nothing were decided.
    state : MatState
        What its mat remembers.

    Returns
    -------
    Forcing
        With what was decided.
    """
    start, end = case.weather.start, case.weather.end
    own = memories if mesh.remembers else None
    decisions = _decisions(case)
    times = sorted(decisions)
    if not times:
        _march_to(packed, own, i, float(hours_between(start, end)), forcing)
        return forcing
    weather = case.weather.refine(np.array(times))
    events = list(case.irrigation)
    forcing = make_forcing(weather, case.turf, events)
    a, b = packed.node_start[i], packed.node_start[i + 1]
    mat = None if case.turf is None else case.turf.repellent_mat
    refused: list[tuple[float, float, float]] = []
    last = 0.0
    for time, upcoming in pairwise([*times, end]):
        hours = float(hours_between(start, time))
        drying = _march_to(packed, own, i, hours, forcing)
        if packed.status[i] != Status.OK:
            return forcing
        if mat is not None:
            head = packed.head[None, a:b]
            content = float(mean_over_depth(mesh, head, 0.0, mat.thickness, drying)[0])
            state, last = mat.then(state, content, hours - last), hours
            if state.refuses:
                refused.append((hours, float(hours_between(start, upcoming)), mat.intake))
                forcing = forcing.refusing(*refused[-1])
        if case.turf is not None and case.turf.root_depth_by_date:
            packed.root[a:b] = root_shares(case.turf.on(time), mesh, case.profile.depth)
        decided = []
        for rule in decisions[time]:
            reading = float(mean_over_depth(mesh, packed.head[None, a:b], 0.0, rule.rod, drying)[0])
            event = rule.decide(time, reading, _recent_rain(forcing, hours, rule.rain_window))
            if event is not None:
                decided.append(_within(event, end))
        if decided:
            events += decided
            # Edges of the events so far are kept, so that each is put in only once.
            weather = weather.refine(np.array([t for e in decided for t in (e.time, e.end)]))
            forcing = make_forcing(weather, case.turf, events)
            for span in refused:
                forcing = forcing.refusing(*span)
    hours = float(hours_between(start, end))
    _march_to(packed, own, i, hours, forcing)
    if state.refuses:
        forcing = replace(forcing, mat_wet_for=state.wet_for + hours - last)
    return forcing


def _within(event: Event, end: np.datetime64) -> Event:
    """Part of an event before the weather ends: what it brings later is beyond the run."""
    if event.end <= end:
        return event
    hours = float(hours_between(event.time, end))
    return replace(event, amount=event.rate * hours, duration=hours)


def _decisions(case: Case) -> dict[np.datetime64, list[Rule]]:
    """Rules to ask by the time they are asked; roots grow at midnight, mats are judged hourly."""
    start, end = case.weather.start, case.weather.end
    decisions: dict[np.datetime64, list[Rule]] = {}
    for rule in case.rules:
        for time in rule.decision_times(start, end):
            decisions.setdefault(time, []).append(rule)
    if case.turf is not None and case.turf.root_depth_by_date:
        midnights = np.arange(start.astype("datetime64[D]"), end, _DAY)
        for midnight in midnights.astype("datetime64[ns]"):
            if midnight >= start:
                decisions.setdefault(midnight, [])
    if case.turf is not None and case.turf.repellent_mat is not None:
        hours = np.arange(0.0, float(hours_between(start, end)), _JUDGED)
        for hour in start + to_timedeltas(hours):
            decisions.setdefault(hour, [])
    return decisions


def _recent_rain(forcing: Forcing, hours: float, window: float) -> float:
    span = np.array([max(hours - window, 0.0), hours])
    return float(np.diff(forcing.cumulative(forcing.rain, span))[0])


def _march_to(
    packed: Packed, memories: Memories | None, i: int, hours: float, forcing: Forcing
) -> NDArray[np.float64] | None:
    """March case `i` on to a time, filling the outputs on the way.

    Returns what `drained.mean_over_depth` asks to be told of sand that remembers, at that time.
    """
    now = packed.clock[i, rows.TIME]
    first_call = bool(np.isnan(packed.ledger[i, rows.INITIAL_STORAGE]))
    wanted = (packed.out_time <= hours) & (
        (packed.out_time > now) | (first_call & (packed.out_time == now))
    )
    chosen = np.flatnonzero(wanted)
    times = packed.out_time[chosen]
    stop = min(hours, packed.out_time[-1])
    if times.size == 0 or times[-1] < stop:
        times = np.append(times, stop)
    a, b = packed.node_start[i], packed.node_start[i + 1]
    outputs: dict[str, Any] = {
        name: _blank(getattr(packed, name), times.size) for name in rows.OUTPUTS
    }
    views: dict[str, Any] = {name: getattr(packed, name)[a:b] for name in rows.PER_NODE}
    views |= {name: getattr(packed, name)[i : i + 1] for name in rows.PER_COLUMN}
    one = packed._replace(
        **views,
        **outputs,
        node_start=np.array([0, b - a]),
        forcing=forcing.intervals,
        forcing_range=np.array([[0, forcing.intervals.shape[0]]]),
        out_time=times,
    )
    drying = None
    if memories is None:
        entry_points.march_columns(0, 1, one)
    else:
        effective = _blank(memories.out_effective, times.size)
        of_one = memories._replace(
            nest=memories.nest[a:b], places=memories.places[a:b], out_effective=effective
        )
        remembering.march_remembering(0, 1, one, of_one)
        memories.out_effective[i, chosen] = effective[0, : chosen.size]
        drying = -effective[0, -1:, :, : b - a - 1]
    for name, values in outputs.items():
        getattr(packed, name)[i, chosen] = values[0, : chosen.size]
    return drying


def _blank(like: NDArray[np.float64], n_times: int) -> NDArray[np.float64]:
    return np.full((1, n_times, *like.shape[2:]), np.nan)
