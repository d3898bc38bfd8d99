"""Run columns that share water, and lay out what they leave."""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.linked import LinkedGround, facing_meshes
from soilwater.ground.mesh import Mesh
from soilwater.kernels import entry_points, rows
from soilwater.kernels.linked_rows import Links
from soilwater.kernels.rows import Packed
from soilwater.runs.batch import name_results
from soilwater.runs.case import Case
from soilwater.runs.columns_of import each_column
from soilwater.runs.forcing import make_forcing
from soilwater.runs.gathering import lay_out_run
from soilwater.runs.layout import describe_columns
from soilwater.runs.linking import make_links, make_room
from soilwater.runs.packing import pack
from soilwater.runs.settings import Settings
from soilwater.runs.starts import begin as begin_with
from soilwater.runs.stepwise import needs_decisions
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults, InputError, Status
from soilwater.words.vocabulary import attach


def run_linked(ground: LinkedGround, cases: Sequence[Case], settings: Settings) -> xr.Dataset:
    """Run linked columns through time on one clock.

    Parameters
    ----------
    ground : LinkedGround
        Columns and the faces they share.
    cases : sequence of Case
        One a column, of its profile and of one weather.
    settings : Settings
        What they share.

    Returns
    -------
    Dataset
        As from `simulate_many` over the dimension of the columns, with what flowed sideways; a run
        that gave up has NaN from there on, and says so in `status`.

    Raises
    ------
    InputError
        If the columns cannot be started, or something of them is decided on the way.
    """
    begin = time.perf_counter()
    if needs_decisions(cases[0]):
        raise InputError(
            "Columns that share water: rules and roots that grow are decided column by column "
            "within a run, which is not possible here yet; write irrigation as events, and take "
            "the turf of one day with turf.on(date)."
        )
    meshes = facing_meshes(ground.profiles, settings.refinement)
    if any(mesh.remembers for mesh in meshes):
        raise InputError(
            "Columns that share water: sand that remembers how it was wetted is not followed here "
            "yet; take its drying curve, with green.with_soil(sand.soil)."
        )
    heads = _start_heads(ground, cases, meshes)
    forcing = make_forcing(cases[0].weather, cases[0].turf, cases[0].irrigation)
    packed = pack(cases, meshes, heads, [forcing] * len(cases), settings)
    depth = np.stack([mesh.depth for mesh in meshes])
    links = make_links(
        ground.pairs,
        ground.width / ground.distance,
        ground.area,
        ground.surface_level[:, None] - depth,
        settings.output_hours.size,
    )
    _march(packed, links, (len(cases), depth.shape[1]))
    status, hours = Status(int(packed.status[0])), packed.clock[0, rows.TIME]
    late = "" if status == Status.OK else f" Last good time: {hours:.6g} h."
    texts = np.array([f"{status.sentence}{late}"] * len(cases), dtype=object)
    values = name_results(packed, None, meshes, heads, [forcing] * len(cases), texts, settings)
    described = describe_columns(ground.profiles, meshes, depth.shape[1])
    axes = {ground.dimension: ground.coordinates[ground.dimension]}
    dataset = lay_out_run(values, described, axes, settings)
    dataset = _with_links(dataset, ground, packed, links.out_moved, depth, settings)
    said = "\n".join(cautions_for("sloping ground", "construction"))
    return dataset.assign_attrs(
        edge=ground.edge, cautions=said, wall_time_s=time.perf_counter() - begin
    )


def _march(packed: Packed, links: Links, shape: tuple[int, int]) -> None:
    """March columns, each alone where none has a neighbour."""
    if links.first.size == 0:
        entry_points.march_columns(0, shape[0], packed)
        links.out_moved[:] = 0.0
        return
    # Compiled when it is first asked for: it takes longer than many a session without it.
    from soilwater.kernels.linked_march import march_linked

    march_linked(packed, links, make_room(*shape))
    packed.clock[:], packed.counts[:] = packed.clock[0], packed.counts[0]


def _start_heads(
    ground: LinkedGround, cases: Sequence[Case], meshes: Sequence[Mesh]
) -> list[NDArray[np.float64]]:
    """Head at the nodes of each column at the start [cm]."""
    start = cases[0].start
    if isinstance(start, xr.Dataset) and ground.dimension in start.dims:
        return _ends_of_run(start, ground, meshes)
    faults = Faults("start")
    heads = []
    for case, mesh, name in zip(cases, meshes, ground.names, strict=True):
        with faults.catching(name):
            heads.append(begin_with(case, mesh).head)
    faults.raise_if_any()
    return heads


def _ends_of_run(
    run: xr.Dataset, ground: LinkedGround, meshes: Sequence[Mesh]
) -> list[NDArray[np.float64]]:
    """Heads at the end of an earlier run of the same columns."""
    columns = list(each_column(run))
    same = len(columns) == len(meshes) and all(
        np.array_equal(column.mesh.depth, mesh.depth)
        for column, mesh in zip(columns, meshes, strict=False)
    )
    if not same:
        raise InputError(
            "start: the earlier result is of other columns or another mesh; allowed: the same "
            "stations, layers and refinement."
        )
    heads = [-column.node_suction[-1] for column in columns]
    if not np.isfinite(heads).all():
        raise InputError("start: the earlier result has no values at its last time.")
    return heads


def _with_links(
    dataset: xr.Dataset,
    ground: LinkedGround,
    packed: Packed,
    moved: FloatArray,
    depth: FloatArray,
    settings: Settings,
) -> xr.Dataset:
    """Add levels, areas and what flowed sideways to a result."""
    along = ground.dimension
    gained = np.zeros((len(ground.profiles), moved.shape[0]))
    np.add.at(gained, ground.pairs[:, 0], -moved.T)
    np.add.at(gained, ground.pairs[:, 1], moved.T)
    rate = np.full(moved.shape, np.nan)
    rate[1:] = np.diff(moved, axis=0) / np.diff(settings.output_hours)[:, None] / ground.width
    node = "node_depth" if "node_depth" in dataset.dims else "node"
    levels = ground.surface_level[:, None] - depth
    dataset = dataset.assign(
        lateral_inflow=((along, "time"), 10.0 * gained / ground.area[:, None]),
        lateral_flow=(("time", "link"), rate),
    ).assign_coords(
        {
            **{name: (along, values) for name, values in ground.coordinates.items()},
            "link": ("link", ground.face_position),
            "surface_level": (along, ground.surface_level),
            "floor_level": (along, ground.floor_level),
            "plan_area": (along, ground.area / 1.0e4),
            "node_elevation": ((along, node), levels),
        }
    )
    return attach(dataset)
