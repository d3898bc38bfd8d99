"""Run columns that share water, and lay out what they leave."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from typing import Any

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
from soilwater.runs.layout import Axes, blank, describe_columns, inner_dims
from soilwater.runs.line_ends import feeding_ends
from soilwater.runs.linking import make_links, make_room
from soilwater.runs.packing import pack
from soilwater.runs.settings import Settings
from soilwater.runs.starts import begin as begin_with
from soilwater.runs.stepwise import needs_decisions
from soilwater.runs.store import Blanks
from soilwater.soils import Hysteretic
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
    left = march_ground((ground, cases), settings)
    run = lay_out_grounds([ground], {name: left[name][None] for name in left}, settings, {})
    return run.assign_attrs(wall_time_s=time.perf_counter() - begin)


def march_ground(
    set_out: tuple[LinkedGround, Sequence[Case]], settings: Settings
) -> dict[str, NDArray[Any]]:
    """March the columns of a ground, a case each; as `run_linked`, before labels.

    Parameters
    ----------
    set_out : tuple of LinkedGround and sequence of Case
        The ground and the case of each column.
    settings : Settings
        What they share.

    Returns
    -------
    dict of str to ndarray
        Variables by name, columns first; of `lateral_flow` times, then faces.

    Raises
    ------
    InputError
        As `run_linked`.
    """
    ground, cases = set_out
    if needs_decisions(cases[0]):
        raise InputError(
            "Columns that share water: rules, roots that grow and mats that refuse water are "
            "decided column by column within a run, which is not possible here yet; write "
            "irrigation as events, and take the turf of one day, turf.on(date), with "
            "repellent_mat=None."
        )
    meshes = facing_meshes(ground.profiles, settings.refinement)
    if any(mesh.remembers for mesh in meshes):
        drying = "".join(
            f".with_soil(green.layers[{i}].soil.soil, layer={layer.name!r})"
            for i, layer in enumerate(ground.profiles[0].layers)
            if isinstance(layer.soil, Hysteretic)
        )
        raise InputError(
            "Columns that share water: sand that remembers how it was wetted is not followed here "
            f"yet; make the ground of drying curves, green{drying} in place of green."
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
        ground.outside,
    )
    _march(packed, links, (len(cases), depth.shape[1]))
    status, hours = Status(int(packed.status[0])), packed.clock[0, rows.TIME]
    late = "" if status == Status.OK else f" Last good time: {hours:.6g} h."
    texts = np.array([f"{status.sentence}{late}"] * len(cases), dtype=object)
    top_head = np.array([head[0] for head in heads])
    feels = np.zeros(len(cases), dtype=np.int64)
    values = name_results(packed, None, meshes, top_head, [forcing], feels, texts, settings)
    return {**values, **_sideways(ground, links.out_moved, settings)}


def _sideways(
    ground: LinkedGround, moved: FloatArray, settings: Settings
) -> dict[str, NDArray[Any]]:
    """Tell what came to each column [mm], and what passed each face a width [cm2/h].

    `moved` [cm3] is what passed the faces since the start, those to the outside last.
    """
    passed, n = moved.T, len(ground.pairs)
    gained = np.zeros((len(ground.profiles), moved.shape[0]))
    np.add.at(gained, ground.pairs[:, 0], -passed[:n])
    np.add.at(gained, ground.pairs[:, 1], passed[:n])
    outside = ground.outside
    np.add.at(gained, np.array([each.column for each in outside], dtype=np.int64), -passed[n:])
    rate = np.full(moved.shape, np.nan)
    width = np.concatenate([ground.width, [each.forward * each.width for each in outside]])
    rate[1:] = np.diff(moved, axis=0) / np.diff(settings.output_hours)[:, None] / width
    by_place = rate[:, np.argsort(_face_positions(ground), kind="stable")]
    return {"lateral_inflow": 10.0 * gained / ground.area[:, None], "lateral_flow": by_place}


def _face_positions(ground: LinkedGround) -> FloatArray:
    """Where faces lie, those to the outside last; results have them in the order of places."""
    outer = [each.position for each in ground.outside]
    return np.concatenate([ground.face_position, np.array(outer, dtype=np.float64)])


def blank_ground(ground: LinkedGround, n_nodes: int, settings: Settings, *, shared: bool) -> Blanks:
    """Make what `march_ground` returns as it is before the run, with its dimensions.

    Parameters
    ----------
    ground : LinkedGround
        Columns and the faces they share.
    n_nodes : int
        Of the longest column of all grounds.
    settings : Settings
        What they share.
    shared : bool
        Whether the columns of all grounds have the same nodes.

    Returns
    -------
    dict
        Dimensions and values by name.
    """
    n, n_times, along = len(ground.profiles), settings.times.size, ground.dimension
    faces = len(ground.pairs) + len(ground.outside)
    return {
        **{
            name: ((along, *inner_dims(name, ("time",), shared)), blank(name, n, n_times, n_nodes))
            for name in settings.names
        },
        "lateral_inflow": ((along, "time"), np.full((n, n_times), np.nan)),
        "lateral_flow": (("time", "link"), np.full((n_times, faces), np.nan)),
    }


def meshes_of(grounds: Sequence[LinkedGround], settings: Settings) -> list[Mesh]:
    """Meshes of all columns of some grounds, one ground after the other."""
    return [
        mesh for ground in grounds for mesh in facing_meshes(ground.profiles, settings.refinement)
    ]


def lay_out_grounds(
    grounds: Sequence[LinkedGround],
    values: Mapping[str, NDArray[Any]],
    settings: Settings,
    axes: Axes,
) -> xr.Dataset:
    """Lay out what marches of grounds of the same places left.

    Parameters
    ----------
    grounds : sequence of LinkedGround
        As many as the product of the axes.
    values : mapping of str to ndarray
        As `march_ground` gives them, grounds first; none, for what is known before.
    settings : Settings
        What they shared.
    axes : mapping of str to sequence
        Dimensions in front of that of the columns, and their labels.

    Returns
    -------
    Dataset
    """
    first, meshes = grounds[0], meshes_of(grounds, settings)
    n_nodes = max(mesh.depth.size for mesh in meshes)
    profiles = [profile for ground in grounds for profile in ground.profiles]
    described = describe_columns(profiles, meshes, n_nodes)
    whole = {**axes, first.dimension: first.coordinates[first.dimension]}
    by_column = {
        name: values[name].reshape(len(profiles), *values[name].shape[2:])
        for name in settings.names
        if name in values
    }
    run = lay_out_run(by_column, described, whole, settings)
    columns = run.profile.dims
    sizes = [run.sizes[each] for each in columns]
    node = "node_depth" if "node_depth" in run.dims else "node"
    surface = np.stack([ground.surface_level for ground in grounds])
    floor = np.stack([ground.floor_level for ground in grounds])
    elevation = surface.reshape(-1, 1) - described["node_depth"]
    sideways = {
        name: (dims, values[name].reshape(*sizes[:-1], *values[name].shape[1:]))
        for name, dims in (
            ("lateral_inflow", (*columns, "time")),
            ("lateral_flow", (*axes, "time", "link")),
        )
        if name in values
    }
    run = run.assign(sideways).assign_coords(
        {
            **{name: (first.dimension, each) for name, each in first.coordinates.items()},
            "link": ("link", np.sort(_face_positions(first))),
            "surface_level": (columns, surface.reshape(sizes)),
            "floor_level": (columns, floor.reshape(sizes)),
            "plan_area": (first.dimension, first.area / 1.0e4),
            "node_elevation": ((*columns, node), elevation.reshape(*sizes, -1)),
        }
    )
    own = dict.fromkeys(told for ground in grounds for told in feeding_ends(ground))
    said = "\n".join([*own, *cautions_for("sloping ground", "construction")])
    return attach(run).assign_attrs(edge=first.edge, cautions=said)


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
