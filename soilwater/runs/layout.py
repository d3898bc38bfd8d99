"""The layout of results: one Dataset whether one column was run or thousands.

A single column has the dimension ``depth`` (middles of the cells) and ``node_depth`` (nodes). A
batch puts its own dimensions in front. Where all columns share their mesh the names stay; where
they do not, the dimensions are ``cell`` and ``node``, shorter columns end in NaN, and ``depth`` and
``node_depth`` are coordinates along cell and those dimensions of the batch in which they change.

Every column carries its profile as text, so a result read back from a file still knows its soils.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from xarray.indexes import PandasIndex

from soilwater.ground.base import GRAVEL
from soilwater.ground.mesh import Mesh, Meshes
from soilwater.ground.profile import Profile
from soilwater.ground.profile_texts import texts_of
from soilwater.kernels.branches import N_TURNS
from soilwater.runs.kinds import Cases
from soilwater.words.arrays import which_occur
from soilwater.words.errors import Faults, Status
from soilwater.words.vocabulary import VARIABLES, attributes_over

OVER_CELLS = ("water_content", "suction", "air_filled_porosity")
OVER_NODES = ("node_suction",)
REMEMBERED = ("drying_suction", "turning_suction")
"""What columns that remember how they were wetted give beside `node_suction`."""
OF_A_MAT = "repellent_mat_wet_for"
"""What columns below a mat that may refuse water give beside it."""
AMOUNTS = (
    "rain",
    "irrigation",
    "interception",
    "runoff",
    "infiltration",
    "transpiration",
    "potential_transpiration",
    "evaporation",
    "potential_evaporation",
    "drainage",
    "storage",
    "storage_change",
    "ponding",
    "closure_error",
)
WORK = ("steps", "rejected_steps", "newton_iterations")
OUTCOME = ("status", "status_text")
SIMULATED = (
    "water_content",
    "suction",
    "node_suction",
    *REMEMBERED,
    OF_A_MAT,
    *AMOUNTS,
    *WORK,
    *OUTCOME,
)
"""Every variable a simulation can give."""
GEOMETRY = ("depth", "node_depth", "depth_bounds", "layer")
"""Coordinates of a column."""

Axes = Mapping[str, Sequence[Any] | NDArray[Any]]
"""Dimensions of a batch and their labels, the last running fastest; empty for a single column."""


def kept_names(keep: Iterable[str] | None) -> tuple[str, ...]:
    """Names of the variables a run is to give; how it ended is never left out.

    Parameters
    ----------
    keep : iterable of str or None
        Names of the vocabulary; all that a simulation can give when None.

    Returns
    -------
    tuple of str
        In the order of the vocabulary of results.

    Raises
    ------
    InputError
        Naming every name a simulation does not give.
    """
    if keep is None:
        return SIMULATED
    faults = Faults("keep")
    if not isinstance(keep, Iterable):
        faults.add(f"{keep!r} is no list of names", allowed='such as ["drainage", "node_suction"]')
        raise faults.as_error()
    wanted = {keep} if isinstance(keep, str) else set(keep)
    for name in sorted(wanted - set(SIMULATED), key=str):
        faults.add(f"{name!r} is no variable of a simulation", allowed=", ".join(SIMULATED))
    faults.raise_if_any()
    return tuple(name for name in SIMULATED if name in wanted or name in OUTCOME)


def describe_columns(
    profiles: Sequence[Profile], meshes: Sequence[Mesh], n_nodes: int
) -> dict[str, NDArray[Any]]:
    """Depths [cm], names of layers and profiles as text, of several columns.

    Parameters
    ----------
    profiles : sequence of Profile
        One a column.
    meshes : sequence of Mesh
        Their nodes.
    n_nodes : int
        Nodes of the longest column; shorter ones are filled up with NaN.

    Returns
    -------
    dict
        `depth`, `node_depth`, `depth_bounds`, `layer` and `profile`, columns first.
    """
    kinds: dict[Any, int] = {}
    distinct: list[Any] = []
    of = []
    for profile, mesh in zip(profiles, meshes, strict=True):
        layers = _layers(profile)
        of.append(kinds.setdefault((id(mesh.depth), layers), len(distinct)))
        if of[-1] == len(distinct):
            distinct.append((mesh.depth, layers))
    told = _geometry(distinct, np.array(of), n_nodes)
    return {**told, "profile": _as_objects(texts_of(profiles))}


def describe_cases(cases: Cases, meshes: Meshes, n_nodes: int) -> dict[str, NDArray[Any]]:
    """Depths [cm], names of layers and profiles as text, of columns to be run.

    Parameters
    ----------
    cases : Cases
        Columns.
    meshes : Meshes
        Their nodes.
    n_nodes : int
        Nodes of the longest column; shorter ones are filled up with NaN.

    Returns
    -------
    dict
        As of `describe_columns`.
    """
    layers = [_layers(each) for each in cases.profiles()]
    # Mostly columns of one geometry: told once, and looked through by all.
    pairs, of = which_occur(meshes.which * len(layers) + cases.kind)
    places = [divmod(pair, len(layers)) for pair in pairs.tolist()]
    distinct = [(meshes.nodes[nodes].depth, layers[kind]) for nodes, kind in places]
    return {**_geometry(distinct, of, n_nodes), "profile": _as_objects(cases.texts())}


def _as_objects(texts: Sequence[str]) -> NDArray[Any]:
    objects = np.empty(len(texts), dtype=object)
    objects[:] = texts
    return objects


def _layers(profile: Profile) -> tuple[tuple[str, float], ...]:
    """Names and thicknesses [cm] of the layers of a profile."""
    return tuple([(layer.name, layer.thickness) for layer in profile.layers])


def _geometry(
    distinct: Sequence[tuple[NDArray[np.float64], tuple[tuple[str, float], ...]]],
    of: NDArray[np.int64],
    n_nodes: int,
) -> dict[str, NDArray[Any]]:
    """Tell the `GEOMETRY` of columns from the depths of their nodes [cm] and their layers.

    Of these there are a few; `of` says which are those of each column.
    """
    node_depth = np.full((len(distinct), n_nodes), np.nan)
    under: dict[tuple[str, ...], list[int]] = {}
    for i, (own, layers) in enumerate(distinct):
        node_depth[i, : own.size] = own
        under.setdefault(tuple([name for name, _ in layers]), []).append(i)
    depth = 0.5 * (node_depth[:, 1:] + node_depth[:, :-1])
    layer = np.full(depth.shape, "", dtype=object)
    parts = [
        (names, alike[first : first + _NAMED_AT_A_TIME])
        for names, alike in under.items()
        for first in range(0, len(alike), _NAMED_AT_A_TIME)
    ]
    for names, several in parts:
        ends = np.cumsum([[each for _, each in distinct[i][1]] for i in several], axis=1)
        middle = depth[several]
        number = np.count_nonzero(middle[:, np.newaxis] >= ends[..., np.newaxis], axis=1)
        named = np.array([*names, GRAVEL], dtype=object)[number]
        named[np.isnan(middle)] = ""
        layer[several] = named
    told = {
        "depth": depth,
        "node_depth": node_depth,
        "depth_bounds": np.stack([node_depth[:, :-1], node_depth[:, 1:]], axis=-1),
        "layer": layer,
    }
    if len(distinct) == 1:
        return {k: np.broadcast_to(each, (of.size, *each.shape[1:])) for k, each in told.items()}
    return {name: each[of] for name, each in told.items()}


_NAMED_AT_A_TIME = 1000
"""Geometries whose cells are named together; 100 000 at once took a tenth of a stream's room."""


def inner_dims(name: str, leading: tuple[str, ...], shared: bool) -> tuple[str, ...]:
    """Dimensions of a variable behind those of the batch.

    Parameters
    ----------
    name : str
        Name of the vocabulary.
    leading : tuple of str
        Dimensions between batch and depth, such as ``("time",)``.
    shared : bool
        Whether all columns have the same nodes.

    Returns
    -------
    tuple of str
        Names of dimensions.
    """
    cell, node = ("depth", "node_depth") if shared else ("cell", "node")
    if name in OVER_CELLS:
        return (*leading, cell)
    if name in OVER_NODES:
        return (*leading, node)
    if name == "drying_suction":
        return (*leading, "end", cell)
    if name == "turning_suction":
        # Of the end of a run: all it takes to go on from there.
        return ("turn", node)
    if name in GEOMETRY:
        return (node,) if name == "node_depth" else (cell, *_bound(name))
    return () if name in (OF_A_MAT, *WORK, *OUTCOME, "profile") else leading


def _bound(name: str) -> tuple[str, ...]:
    return ("bound",) if name == "depth_bounds" else ()


def shape_of(name: str, n_columns: int, n_times: int, n_nodes: int) -> tuple[int, ...]:
    """Shape of a variable of a simulation, columns first.

    Parameters
    ----------
    name : str
        One of `SIMULATED`.
    n_columns, n_times, n_nodes : int
        Sizes.
    """
    sizes = {"time": n_times, "cell": n_nodes - 1, "node": n_nodes, "end": 2, "turn": N_TURNS}
    return (n_columns, *[sizes[d] for d in inner_dims(name, ("time",), shared=False)])


def blank(name: str, n_columns: int, n_times: int, n_nodes: int) -> NDArray[Any]:
    """Values of a variable of a simulation before anything was run.

    Parameters
    ----------
    name, n_columns, n_times, n_nodes
        As for `shape_of`.

    Returns
    -------
    ndarray
        Not a number, no work done, and a status that says so; of eight bytes each.
    """
    shape = shape_of(name, n_columns, n_times, n_nodes)
    if name == "status":
        return np.full(shape, int(Status.INTERRUPTED), dtype=np.int64)
    if name == "status_text":
        return np.full(shape, Status.INTERRUPTED.sentence, dtype=object)
    if name in WORK:
        return np.zeros(shape, dtype=np.int64)
    return np.full(shape, np.nan)


def fill(
    values: Mapping[str, NDArray[Any]],
    places: NDArray[np.int64],
    part: Mapping[str, NDArray[Any]],
) -> None:
    """Put the results of some columns in their places.

    Parameters
    ----------
    values : mapping of str to ndarray
        As `blank` made them; changed.
    places : ndarray of int
        Positions of the columns.
    part : mapping of str to ndarray
        Results of the columns; shorter ones are left as they are beyond their end.
    """
    first, n = int(places[0]), places.size
    # Neighbours in order are copied in one piece.
    side_by_side = np.array_equal(places, np.arange(first, first + n))
    where: Any = slice(first, first + n) if side_by_side else places
    for name, array in part.items():
        if array.ndim == 1:
            values[name][where] = array
        else:
            values[name][where, ..., : array.shape[-1]] = array


def sizes_of(axes: Axes) -> tuple[int, ...]:
    """Sizes of the dimensions of a batch."""
    return tuple(len(labels) for labels in axes.values())


def lay_out(
    values: Mapping[str, NDArray[Any]],
    described: Mapping[str, NDArray[Any]],
    axes: Axes,
    leading: tuple[str, ...],
    *,
    times: NDArray[np.datetime64] | None = None,
    attributes: Mapping[str, Any] | None = None,
) -> xr.Dataset:
    """Give arrays over columns their dimensions, coordinates and attributes.

    Parameters
    ----------
    values : mapping of str to ndarray
        Variables by name, columns first.
    described : mapping of str to ndarray
        As `describe_columns` made it.
    axes : mapping of str to sequence
        Dimensions of the batch and their labels; as many columns as their product.
    leading : tuple of str
        Dimensions between batch and depth.
    times : ndarray of datetime64, optional
        Coordinate of ``time``.
    attributes : mapping of str, optional
        Attributes of the whole.

    Returns
    -------
    Dataset
        With attributes as the vocabulary has them.
    """
    sizes = sizes_of(axes)

    def unfold(array: NDArray[Any]) -> NDArray[Any]:
        return array.reshape((*sizes, *array.shape[1:]))

    geometry = {name: _without_repeats(unfold(described[name]), axes) for name in GEOMETRY}
    shared = not geometry["node_depth"][0]
    # Made once, with all that belongs to it: xarray takes longer over each array that is added to
    # a Dataset, or described in it, than the solver over a day.
    variables = {
        name: _variable(name, (*axes, *inner_dims(name, leading, shared)), unfold(array))
        for name, array in (*values.items(), ("profile", described["profile"]))
    }
    coordinates = {
        name: _variable(name, (*along, *inner_dims(name, leading, shared)), array)
        for name, (along, array) in geometry.items()
    }
    for name, given in axes.items():
        labels = np.array(list(given))
        # numpy's texts of fixed length have no settled zarr form.
        labels = labels.astype(object) if labels.dtype.kind == "U" else labels
        known = attributes_over(name, (name,)) if name in VARIABLES else {}
        coordinates[name] = xr.Variable((name,), labels, known)
    if times is not None:
        coordinates["time"] = _variable("time", ("time",), times)
    coordinates["depth"].attrs["bounds"] = "depth_bounds"
    indexes = {}
    for name in [n for n, each in coordinates.items() if each.dims == (n,)]:
        indexes[name] = PandasIndex(coordinates[name].values, name)
        coordinates.update(indexes[name].create_variables({name: coordinates[name]}))
    return xr.Dataset(variables, xr.Coordinates(coordinates, indexes), attributes)


def lay_out_column(
    values: Mapping[str, NDArray[Any]],
    profile: Profile,
    mesh: Mesh,
    times: NDArray[np.datetime64],
    attributes: Mapping[str, Any],
) -> xr.Dataset:
    """Lay out a single column over time, as `lay_out` does, but sooner the second time.

    People run one geometry again and again, and xarray copies a Dataset with other values in less
    than half the time it takes to make one.

    Parameters
    ----------
    values : mapping of str to ndarray
        Variables by name, columns first, of which there is one.
    profile : Profile
        Of the column.
    mesh : Mesh
        Its nodes.
    times : ndarray of datetime64
        Coordinate of ``time``.
    attributes : mapping of str
        Attributes of the whole.

    Returns
    -------
    Dataset
        With attributes as the vocabulary has them.
    """
    made = {**values, "profile": _as_objects(texts_of([profile]))}
    few = times.size <= _MOST_TIMES_KEPT
    lay_out_nothing = _column_of_nothing if few else _column_of_nothing.__wrapped__
    run = lay_out_nothing(
        tuple([(name, array.shape) for name, array in made.items()]),
        _layers(profile),
        mesh.depth.tobytes(),
        times.tobytes(),
        times.dtype.str,
    )
    of = run.variables
    filled = {
        # As variables, without the search for dates among texts.
        name: xr.Variable(of[name].dims, array.reshape(array.shape[1:]), fastpath=True)
        for name, array in made.items()
    }
    run = run.copy(data=filled)
    run.attrs.update(attributes)
    for name in ("depth_bounds", "layer"):
        # Whoever changes these changes those of this run alone.
        each = run.variables[name]
        each.data = xr.Variable(each.dims, each.data.copy(), fastpath=True)
    return run


_MOST_TIMES_KEPT = 10_000
"""Output times beyond which the layout of a column is made anew: 64 of a million would be 1 GB, and
each is next to nothing beside its run."""


@lru_cache(maxsize=64)
def _column_of_nothing(
    shapes: tuple[tuple[str, tuple[int, ...]], ...],
    layers: tuple[tuple[str, float], ...],
    depth: bytes,
    times: bytes,
    kind_of_times: str,
) -> xr.Dataset:
    """Lay out a column without its values; its coordinates are read-only, and shared."""
    nothing = {name: np.broadcast_to(np.nan, shape) for name, shape in shapes}
    node_depth = np.frombuffer(depth)
    described = _geometry([(node_depth, layers)], np.zeros(1, dtype=np.int64), node_depth.size)
    described["profile"] = nothing.pop("profile")
    for each in described.values():
        each.setflags(write=False)
    when = np.frombuffer(times, dtype=kind_of_times)
    return lay_out(nothing, described, {}, ("time",), times=when)


def _variable(name: str, dims: tuple[str, ...], array: NDArray[Any]) -> xr.Variable:
    # Without the search for dates among texts.
    return xr.Variable(dims, array, attributes_over(name, dims), fastpath=True)


def _without_repeats(array: NDArray[Any], axes: Axes) -> tuple[tuple[str, ...], NDArray[Any]]:
    """Drop every dimension of the batch along which nothing changes."""
    along: list[str] = []
    for name in axes:
        before: tuple[Any, ...] = (slice(None),) * len(along)
        # An array that repeats itself in memory is not looked through, nor copied.
        same: Any = array.strides[len(along)] == 0
        if not same:
            first = array[(*before, slice(1))]
            same = (array == first) | ((array != array) & (first != first))
        if bool(np.all(same)):
            array = array[(*before, 0)].copy()
        else:
            along.append(name)
    return tuple(along), array
