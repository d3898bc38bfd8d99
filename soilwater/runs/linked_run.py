"""Run columns that share water, and lay out what they leave."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any, NamedTuple

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
from soilwater.runs.layout import Axes, blank, describe_columns, fill
from soilwater.runs.linking import make_links, make_room
from soilwater.runs.packing import pack
from soilwater.runs.settings import Settings
from soilwater.runs.starts import begin as begin_with
from soilwater.runs.stepwise import needs_decisions
from soilwater.soils import Hysteretic
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import cautions_for
from soilwater.words.errors import Faults, InputError, Status
from soilwater.words.vocabulary import attach


class Marched(NamedTuple):
    """What a march of linked columns left.

    Attributes
    ----------
    values : dict of str to ndarray
        Variables by name, columns first.
    meshes : list of Mesh
        One a column.
    moved : ndarray, shape (n_times, n_links)
        What passed the faces since the start [cm3].
    """

    values: dict[str, NDArray[Any]]
    meshes: list[Mesh]
    moved: FloatArray


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
    run = lay_out_grounds([ground], [march_ground((ground, cases), settings)], settings, {})
    return run.assign_attrs(wall_time_s=time.perf_counter() - begin)


def march_ground(set_out: tuple[LinkedGround, Sequence[Case]], settings: Settings) -> Marched:
    """March the columns of a ground, a case each; as `run_linked`, before labels.

    Parameters
    ----------
    set_out : tuple of LinkedGround and sequence of Case
        The ground and the case of each column.
    settings : Settings
        What they share.

    Returns
    -------
    Marched

    Raises
    ------
    InputError
        As `run_linked`.
    """
    ground, cases = set_out
    if needs_decisions(cases[0]):
        raise InputError(
            "Columns that share water: rules and roots that grow are decided column by column "
            "within a run, which is not possible here yet; write irrigation as events, and take "
            "the turf of one day with turf.on(date)."
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
    )
    _march(packed, links, (len(cases), depth.shape[1]))
    status, hours = Status(int(packed.status[0])), packed.clock[0, rows.TIME]
    late = "" if status == Status.OK else f" Last good time: {hours:.6g} h."
    texts = np.array([f"{status.sentence}{late}"] * len(cases), dtype=object)
    values = name_results(packed, None, meshes, heads, [forcing] * len(cases), texts, settings)
    return Marched(values, meshes, links.out_moved)


def lay_out_grounds(
    grounds: Sequence[LinkedGround],
    marched: Sequence[Marched | None],
    settings: Settings,
    axes: Axes,
) -> xr.Dataset:
    """Lay out marches of grounds of the same places.

    Parameters
    ----------
    grounds : sequence of LinkedGround
        As many as the product of the axes.
    marched : sequence of Marched or None
        What each left; None where it was not run.
    settings : Settings
        What they shared.
    axes : mapping of str to sequence
        Dimensions in front of that of the columns, and their labels.

    Returns
    -------
    Dataset
    """
    first = grounds[0]
    n_times, n_columns = settings.output_hours.size, len(first.profiles)
    meshes = [
        mesh
        for ground, each in zip(grounds, marched, strict=True)
        for mesh in (each.meshes if each else facing_meshes(ground.profiles, settings.refinement))
    ]
    n_nodes = max(mesh.depth.size for mesh in meshes)
    values = {name: blank(name, len(meshes), n_times, n_nodes) for name in settings.names}
    moved = np.full((len(grounds), n_times, len(first.pairs)), np.nan)
    for i, left in enumerate(marched):
        if left is not None:
            fill(values, np.arange(i * n_columns, (i + 1) * n_columns), left.values)
            moved[i] = left.moved
    profiles = [profile for ground in grounds for profile in ground.profiles]
    described = describe_columns(profiles, meshes, n_nodes)
    whole = {**axes, first.dimension: first.coordinates[first.dimension]}
    run = _with_links(
        lay_out_run(values, described, whole, settings),
        grounds,
        moved,
        described["node_depth"],
        settings,
    )
    said = "\n".join(cautions_for("sloping ground", "construction"))
    return run.assign_attrs(edge=first.edge, cautions=said)


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
    grounds: Sequence[LinkedGround],
    moved: FloatArray,
    node_depth: FloatArray,
    settings: Settings,
) -> xr.Dataset:
    """Add levels, areas and what flowed sideways to a result."""
    first = grounds[0]
    columns = dataset.profile.dims
    sizes = [dataset.sizes[each] for each in columns]
    gained = np.zeros((len(first.profiles), *moved.shape[:2]))
    passed = np.moveaxis(moved, -1, 0)
    np.add.at(gained, first.pairs[:, 0], -passed)
    np.add.at(gained, first.pairs[:, 1], passed)
    rate = np.full(moved.shape, np.nan)
    steps = np.diff(settings.output_hours)[:, None]
    rate[:, 1:] = np.diff(moved, axis=1) / steps / first.width
    node = "node_depth" if "node_depth" in dataset.dims else "node"
    surface = np.stack([ground.surface_level for ground in grounds])
    floor = np.stack([ground.floor_level for ground in grounds])
    elevation = surface.reshape(-1, 1) - node_depth
    inflow = 10.0 * np.moveaxis(gained, 0, 1) / first.area[:, None]
    dataset = dataset.assign(
        lateral_inflow=((*columns, "time"), inflow.reshape(*sizes, -1)),
        lateral_flow=((*columns[:-1], "time", "link"), rate.reshape(*sizes[:-1], *rate.shape[1:])),
    ).assign_coords(
        {
            **{name: (first.dimension, values) for name, values in first.coordinates.items()},
            "link": ("link", first.face_position),
            "surface_level": (columns, surface.reshape(sizes)),
            "floor_level": (columns, floor.reshape(sizes)),
            "plan_area": (first.dimension, first.area / 1.0e4),
            "node_elevation": ((*columns, node), elevation.reshape(*sizes, -1)),
        }
    )
    return attach(dataset)
