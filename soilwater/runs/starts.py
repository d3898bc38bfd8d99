"""How much water a column holds when a run begins."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from numbers import Real
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.gravel_drainage import suction_carrying
from soilwater.ground.mesh import Mesh
from soilwater.ground.profile import Profile
from soilwater.ground.repellent_mat import MatState
from soilwater.kernels.branches import N_TURNS
from soilwater.kernels.curves import OVEN_DRY_SUCTION
from soilwater.runs.case import Case
from soilwater.runs.columns_of import each_column
from soilwater.runs.drained import drained_suctions
from soilwater.runs.layout import OF_A_MAT
from soilwater.runs.wetted import AfterFlooding, AfterRain, WaterKnown, suction_after, turns_after
from soilwater.soils import Hysteretic
from soilwater.words.errors import Faults, InputError
from soilwater.words.times import stamp
from soilwater.words.units import number_to_house


class Beginning(NamedTuple):
    """Where a column begins."""

    head: NDArray[np.float64]
    """(n,): heads at its nodes [cm]."""
    turns: NDArray[np.float64]
    """(n, N_TURNS): heads at which they turned before [cm], the oldest first; not a number after
    the last."""
    mat: MatState = MatState()
    """What a mat remembers."""


def flooded(head: NDArray[np.float64]) -> Beginning:
    """Begin with heads [cm] at which the nodes came by draining from saturation."""
    return Beginning(head, _no_turns(head.size))


@lru_cache(maxsize=256)
def _no_turns(n_nodes: int) -> NDArray[np.float64]:
    turns = np.full((n_nodes, N_TURNS), np.nan)
    turns.setflags(write=False)
    return turns


def begin(case: Case, mesh: Mesh, drained: NDArray[np.float64] | None = None) -> Beginning:
    """Heads at the nodes at the start of a case, and what the nodes remember.

    Parameters
    ----------
    case : Case
        Its `start` says what is wanted.
    mesh : Mesh
        Nodes of its profile.
    drained : ndarray, shape (n_nodes,), optional
        Suctions [cm] at its nodes once it has drained, where they are known.

    Returns
    -------
    Beginning
        Heads [cm].

    Raises
    ------
    InputError
        If the start cannot be understood, is missing somewhere, or belongs to another profile; or
        if sand that remembers may have come to it by more than one way.
    """
    start = case.start
    if drained is not None and isinstance(start, str) and start == "drained":
        return flooded(-drained)
    if isinstance(start, AfterFlooding):
        beginning = flooded(_head(case.profile, start.water, mesh))
    elif isinstance(start, AfterRain):
        beginning = _after_rain(case.profile, start, mesh)
    elif isinstance(start, WaterKnown) and start.turns is not None:
        if not np.array_equal(start.depth, mesh.depth):
            raise _of_another_mesh()
        beginning = Beginning(-start.suction, start.turns)
    else:
        beginning = flooded(_head(case.profile, start, mesh))
        if mesh.remembers and isinstance(start, xr.Dataset):
            beginning = Beginning(beginning.head, _turns_at_end(start, mesh))
        elif mesh.remembers and not (isinstance(start, str) and start in ("soaked", "drained")):
            _ask_for_the_way(start)
    came_from = start.water if isinstance(start, AfterFlooding) else start
    if case.turf is not None and case.turf.repellent_mat is not None:
        if isinstance(came_from, xr.Dataset):
            beginning = beginning._replace(mat=_mat_at_end(came_from))
        elif isinstance(came_from, WaterKnown) and came_from.mat is not None:
            beginning = beginning._replace(mat=came_from.mat)
    head = beginning.head
    driest = int(np.argmin(head))
    if head[driest] < -OVEN_DRY_SUCTION:
        raise InputError(
            f"start: the suction is {-head[driest]:g} cm at a depth of {mesh.depth[driest]:g} cm; "
            f"allowed: up to {OVEN_DRY_SUCTION:g} cm, drier than any oven makes soil."
        )
    return beginning


def _ask_for_the_way(start: Any) -> None:
    told = repr(start) if isinstance(start, str | float | int) else f"a {type(start).__name__}"
    given = repr(start) if isinstance(start, str | float | int) else "start"
    raise InputError(
        f"start: {told} does not say how sand that remembers came to be so wet, on the way down or "
        f"up; write start=AfterFlooding({given}) if it was flooded and has drained since, or "
        f'start=AfterRain("10 mm/h", {given}) with the rate of the last thorough wetting; where '
        "nobody knows, run both and take each as likely as the other."
    )


def _after_rain(profile: Profile, start: AfterRain, mesh: Mesh) -> Beginning:
    by_content = isinstance(start.water, xr.DataArray) and start.water.name == "water_content"
    if isinstance(start.water, xr.Dataset):
        raise InputError(
            "start: an earlier result brings what it remembers; write start=run, not AfterRain."
        )
    head = _head(profile, start.water, mesh)
    dried_to = drained_suctions(profile, mesh) + start.dried_by
    if by_content:
        number = np.concatenate([mesh.soil[:1], mesh.soil])
        for k, soil in enumerate(mesh.soils):
            if isinstance(soil, Hysteretic):
                # `_head` found the suctions at which draining sand holds that water.
                nodes = np.flatnonzero(number == k)
                content = soil.water_content(np.maximum(-head[nodes], 0.0))
                head[nodes] = -suction_after(soil, start.rate, dried_to[nodes], content)
    return Beginning(head, turns_after(mesh, head, start.rate, dried_to))


def _turns_at_end(run: xr.Dataset, mesh: Mesh) -> NDArray[np.float64]:
    """Heads at which nodes turned, from an earlier result, shape (n, N_TURNS)."""
    turning = run.get("turning_suction")
    if turning is None:
        raise InputError(
            "start: the earlier result does not say how its sand was wetted; run it with a "
            'Hysteretic soil, and with "node_suction" where keep is given; or write '
            "start=AfterFlooding(run)."
        )
    _refuse_cut(run)
    node = "node_depth" if "node_depth" in turning.dims else "node"
    turns: NDArray[np.float64] = turning.squeeze().transpose(node, "turn").values
    return -turns[: mesh.depth.size]


def _mat_at_end(run: xr.Dataset) -> MatState:
    """Read what a mat remembers off an earlier result; nothing, where that had none."""
    wet_for = run.get(OF_A_MAT)
    if wet_for is None:
        return MatState()
    _refuse_cut(run)
    return _mat_wet_for(float(wet_for.squeeze()))


def _mat_wet_for(hours: float) -> MatState:
    return MatState() if np.isnan(hours) else MatState(refuses=True, wet_for=hours)


def known_at_end(run: xr.Dataset, meshes: Sequence[Mesh]) -> list[WaterKnown]:
    """Take the water of every column at the last time of a run, with what it remembers.

    Parameters
    ----------
    run : Dataset
        Of columns along one dimension, with `node_suction`.
    meshes : sequence of Mesh
        Their nodes.

    Returns
    -------
    list of WaterKnown
        One a column, as if its part of the run were the start.
    """
    suction = run.node_suction.values[:, -1]
    turning = run.turning_suction.values if "turning_suction" in run else None
    wet_for = run[OF_A_MAT].values.tolist() if OF_A_MAT in run else [np.nan] * len(meshes)
    known = []
    for k, mesh in enumerate(meshes):
        n = mesh.depth.size
        turns = -turning[k, :, :n].T if turning is not None and mesh.remembers else None
        known.append(WaterKnown(mesh.depth, suction[k, :n], turns, _mat_wet_for(wet_for[k])))
    return known


def _refuse_cut(run: xr.Dataset) -> None:
    """Refuse a result that ends before what it remembers."""
    last = np.datetime64(run.time.values.ravel()[-1])
    known = np.datetime64(str(run.attrs.get("remembered_at", "")) or "NaT")
    if known != last:
        raise InputError(
            f"start: what the earlier result remembers is of {stamp(known)}, its suctions of "
            f"{stamp(last)}; allowed: a result that is not cut before its end, or one run to "
            f"{stamp(last)}."
        )


def _head(profile: Profile, start: Any, mesh: Mesh) -> NDArray[np.float64]:
    if isinstance(start, xr.Dataset):
        return _end_of_run(start, mesh)
    if isinstance(start, WaterKnown):
        return -np.interp(mesh.depth, start.depth, start.suction)
    if isinstance(start, xr.DataArray):
        return _from_profile_of(start, mesh)
    if isinstance(start, str) and start == "soaked":
        return _soaked(profile, mesh)
    if isinstance(start, str) and start == "drained":
        return -drained_suctions(profile, mesh)
    try:
        suction = number_to_house(start, "suction", "start")
    except InputError as error:
        raise InputError(f'{error} Or write "soaked" or "drained".') from None
    if isinstance(start, Real) and 0.0 < suction < 1.0:
        raise InputError(
            f"start: {suction:g} could be a suction in cm or a water content; write "
            f'start="{suction:g} cm" for the suction, or start=xr.DataArray([{suction:g}], '
            '{"depth": [0.0]}, name="water_content") for the water content everywhere.'
        )
    return np.full(mesh.depth.size, -suction)


def _soaked(profile: Profile, mesh: Mesh) -> NDArray[np.float64]:
    """Head of a profile full to its surface; gravel below it never fills, it passes water on."""
    if profile.blanket is None:
        return mesh.depth.copy()
    head = np.zeros(mesh.depth.size)
    below = mesh.depth > profile.depth + 1e-9
    flow = min(layer.soil.k_sat for layer in profile.layers)
    head[below] = -suction_carrying(profile.blanket, flow, profile.bottom - mesh.depth[below])
    return head


def _end_of_run(run: xr.Dataset, mesh: Mesh) -> NDArray[np.float64]:
    columns = list(each_column(run))
    if len(columns) != 1:
        raise InputError(
            f"start: the earlier result holds {len(columns)} columns; allowed: one; pick it with "
            ".isel or .sel."
        )
    suction = columns[0].node_suction[-1]
    if not np.array_equal(columns[0].mesh.depth, mesh.depth):
        raise _of_another_mesh()
    if not np.isfinite(suction).all():
        raise InputError("start: the earlier result has no values at its last time.")
    head: NDArray[np.float64] = -suction
    return head


def _of_another_mesh() -> InputError:
    return InputError(
        "start: the earlier result is of another profile or mesh; allowed: the same layers and "
        "refinement; or give a DataArray of its suction over depth."
    )


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
    for i in np.flatnonzero(np.diff(depth) <= 0.0)[:1]:
        faults.add(
            f"the depths do not increase: {depth[i]:g} cm is followed by {depth[i + 1]:g} cm",
            cure="sort them from the surface down",
        )
    if depth.size == 0:
        faults.add("it holds no depths", allowed="at least one")
    if values.name == "water_content":
        _check_on_curves(depth, given, mesh, faults)
    faults.raise_if_any()
    at_nodes: NDArray[np.float64] = np.interp(mesh.depth, depth, given)
    if values.name == "suction":
        return -at_nodes
    # A node on an interface belongs to the soil above it.
    number = np.concatenate([mesh.soil[:1], mesh.soil])
    head = np.empty(mesh.depth.size)
    for position, soil in enumerate(mesh.soils):
        here = number == position
        # A straight line between two soils may leave the curve of either beside their interface.
        on_curve = np.clip(
            at_nodes[here], float(soil.water_content(OVEN_DRY_SUCTION)), soil.theta_s
        )
        head[here] = -np.asarray(soil.suction_at(on_curve))
    return head


def _check_on_curves(
    depth: NDArray[np.float64], given: NDArray[np.float64], mesh: Mesh, faults: Faults
) -> None:
    """Note every water content that the soil at its depth cannot hold."""
    cell = np.clip(np.searchsorted(mesh.depth, depth) - 1, 0, mesh.soil.size - 1)
    for at, value, number in zip(depth, given, mesh.soil[cell], strict=True):
        soil = mesh.soils[number]
        if not soil.dry_end_water_content <= value <= soil.theta_s + 1e-9 and np.isfinite(value):
            faults.add(
                f"water_content is {value:g}",
                where=f"depth {at:g} cm",
                allowed=f"{soil.dry_end_water_content:g} to {soil.theta_s:g}",
                cure=f"write a fraction: {value / 100:g} for {value:g} %" if value > 1.0 else "",
            )
