"""How much water a column holds when a run begins."""

from __future__ import annotations

from numbers import Real

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh
from soilwater.kernels.curves import OVEN_DRY_SUCTION
from soilwater.runs.case import Case
from soilwater.runs.columns_of import each_column
from soilwater.runs.drained import drained_suctions
from soilwater.words.errors import Faults, InputError
from soilwater.words.units import number_to_house


def start_head(case: Case, mesh: Mesh) -> NDArray[np.float64]:
    """Matric head at the nodes at the start of a case [cm].

    Parameters
    ----------
    case : Case
        Its `start` says what is wanted.
    mesh : Mesh
        Nodes of its profile.

    Returns
    -------
    ndarray, shape (n_nodes,)
        Head [cm].

    Raises
    ------
    InputError
        If the start cannot be understood, is missing somewhere, or belongs to another profile.
    """
    head = _head(case, mesh)
    driest = int(np.argmin(head))
    if head[driest] < -OVEN_DRY_SUCTION:
        raise InputError(
            f"start: the suction is {-head[driest]:g} cm at a depth of {mesh.depth[driest]:g} cm; "
            f"allowed: up to {OVEN_DRY_SUCTION:g} cm, drier than any oven makes soil."
        )
    return head


def _head(case: Case, mesh: Mesh) -> NDArray[np.float64]:
    start = case.start
    if isinstance(start, xr.Dataset):
        return _end_of_run(start, mesh)
    if isinstance(start, xr.DataArray):
        return _from_profile_of(start, mesh)
    if isinstance(start, str) and start == "soaked":
        return mesh.depth.copy()
    if isinstance(start, str) and start == "drained":
        return -drained_suctions(case.profile, mesh)
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
    head: NDArray[np.float64] = -suction
    return head


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
