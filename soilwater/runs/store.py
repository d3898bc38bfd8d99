"""Results of a batch on disk, written block by block while it runs.

The store is a zarr group laid out like any other result. All of it exists from the start, filled
with "not run": a column whose `status` says so has still to be run, and is, when the same call is
made again. The status of a block is written after everything else of it, so a process may be
killed at any time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.kernels.cache import source_digest
from soilwater.runs.cases import Case, Settings
from soilwater.runs.results import OUTCOME, blank, inner_dims
from soilwater.words.errors import InputError, Status
from soilwater.words.vocabulary import attach

FORMAT = 2
"""Zarr format: the one in which texts are settled and every reader understands them."""
DIGEST = "run_digest"


class Block(NamedTuple):
    """Columns written at a time: where they lie in the batch, and their numbers in its order."""

    place: tuple[slice, ...]
    columns: range


def block_shape(sizes: tuple[int, ...], most: int) -> tuple[int, ...]:
    """How far a block reaches along each dimension of a batch.

    The last dimensions whole, one in part, the first by one: the columns of such a block follow
    each other in the order of the batch, and make a box that zarr can keep as a chunk.

    Parameters
    ----------
    sizes : tuple of int
        Of the dimensions of the batch, at least one.
    most : int
        Columns a block may have.

    Returns
    -------
    tuple of int
        One a dimension, each at least 1.
    """
    shape = [1] * len(sizes)
    room = most
    for i in reversed(range(len(sizes))):
        shape[i] = max(1, min(sizes[i], room))
        room //= sizes[i]
    return tuple(shape)


def blocks_of(sizes: tuple[int, ...], shape: tuple[int, ...]) -> Iterator[Block]:
    """Go through the blocks of a batch in its order."""
    counts = [-(-size // step) for size, step in zip(sizes, shape, strict=True)]
    numbers = np.arange(np.prod(sizes)).reshape(sizes)
    for index in np.ndindex(*counts):
        place = tuple(slice(i * step, (i + 1) * step) for i, step in zip(index, shape, strict=True))
        columns = numbers[place]
        yield Block(place, range(int(columns.min()), int(columns.max()) + 1))


def create_store(
    path: Path, described: xr.Dataset, settings: Settings, block: tuple[int, ...], digest: str
) -> None:
    """Make a group for columns of which none has been run.

    Parameters
    ----------
    path : Path
        Folder to be made.
    described : Dataset
        Everything known before the run: coordinates, profiles, attributes.
    settings : Settings
        Names the variables to come.
    block : tuple of int
        Columns written at a time, along each dimension of the batch.
    digest : str
        Tells this run from others.

    Raises
    ------
    InputError
        If zarr is missing.
    """
    zarr = _zarr()
    batch, sizes = described.profile.dims, described.profile.shape
    shared = "depth" in described.dims
    n_times = described.sizes["time"]
    n_nodes = described.sizes["node_depth" if shared else "node"]
    # Made under another name first, so that half a group is never taken for a store.
    draft = path.with_name(path.name + ".new")
    described = described.assign_attrs({DIGEST: digest})
    described.to_zarr(draft, mode="w", zarr_format=FORMAT, consolidated=False)
    group = zarr.open_group(draft, mode="r+", zarr_format=FORMAT)
    for name in settings.names:
        dims = (*batch, *inner_dims(name, ("time",), shared))
        like = blank(name, 0, n_times, n_nodes)
        labelled = attach(xr.Dataset({name: (dims, np.empty((0,) * len(dims)))}))
        array = group.create_array(
            name,
            shape=(*sizes, *like.shape[1:]),
            chunks=(*block, *like.shape[1:]),
            dtype="str" if like.dtype == object else like.dtype,
            fill_value=np.nan if like.dtype == np.float64 else None,
            attributes={**labelled[name].attrs, "_ARRAY_DIMENSIONS": list(dims)},
        )
        if name in OUTCOME:
            array[:] = blank(name, described.profile.size, n_times, n_nodes).reshape(sizes)
    zarr.consolidate_metadata(draft, zarr_format=FORMAT)
    draft.rename(path)


def check_store(path: Path, digest: str) -> None:
    """Refuse a path that holds something else than this run.

    Parameters
    ----------
    path : Path
        The store.
    digest : str
        Of the run that is wanted.

    Raises
    ------
    InputError
        If the path holds something else, or another run.
    """
    zarr = _zarr()
    try:
        held = zarr.open_group(path, mode="r", zarr_format=FORMAT).attrs.get(DIGEST)
    except (FileNotFoundError, ValueError):
        held = None
    if held != digest:
        what = "something else" if held is None else "another run (or one of another version)"
        raise InputError(
            f"store: {path} exists and holds {what}; allowed: a new path, or the store of the very "
            "same call, which is then taken up where it stopped."
        )


def columns_to_run(path: Path) -> NDArray[np.bool_]:
    """Which columns of a store have still to be run, one bool a column in the batch's order."""
    status = _zarr().open_group(path, mode="r", zarr_format=FORMAT)["status"]
    waiting: NDArray[np.bool_] = np.ravel(status[:]) == Status.INTERRUPTED
    return waiting


def write_block(path: Path, block: Block, values: dict[str, NDArray[Any]]) -> None:
    """Write everything about some neighbouring columns, the status last.

    Parameters
    ----------
    path : Path
        The store.
    block : Block
        Which columns.
    values : dict
        Arrays by name, columns first.
    """
    group = _zarr().open_group(path, mode="r+", zarr_format=FORMAT)
    for name in sorted(values, key=lambda name: name == "status"):
        array = group[name]
        place = tuple(slice(*s.indices(n)) for s, n in zip(block.place, array.shape, strict=False))
        within = tuple(s.stop - s.start for s in place)
        array[place] = values[name].reshape((*within, *values[name].shape[1:]))


def open_store(path: Path) -> xr.Dataset:
    """Open a store; values are read from disk when they are asked for."""
    return xr.open_dataset(path, engine="zarr", chunks=None)


def digest_of_run(cases: Sequence[Case], settings: Settings, described: xr.Dataset) -> str:
    """Text that is the same for the same cases, settings and version of the solver.

    Parameters
    ----------
    cases : sequence of Case
        All columns.
    settings : Settings
        What they share.
    described : Dataset
        Everything known before the run: labels and profiles among it.

    Returns
    -------
    str
        Hexadecimal digits.
    """
    digest = hashlib.sha256()
    seen: dict[int, bytes] = {}

    def add(thing: Any) -> None:
        if id(thing) not in seen:
            seen[id(thing)] = type(thing).__name__.encode() + _as_bytes(thing)
        digest.update(seen[id(thing)])

    batch = described.profile.dims
    labels = [
        (name, each.dims, each.values.tolist())
        for name, each in described.coords.items()
        if set(each.dims) <= set(batch)
    ]
    rest = (settings.names, settings.tolerance, settings.ponding_limit, settings.surface)
    more = (settings.refinement, settings.max_steps, batch, labels)
    digest.update(repr((source_digest(), rest, more)).encode())
    digest.update(settings.output_hours.tobytes())
    for case, profile in zip(cases, described.profile.values.flat, strict=True):
        digest.update(profile.encode())
        for thing in (case.weather, case.turf, case.start, *case.irrigation, *case.rules):
            add(thing)
    return digest.hexdigest()


def _as_bytes(thing: Any) -> bytes:
    if isinstance(thing, xr.Dataset | xr.DataArray):
        return repr(thing.to_dict()).encode()
    if hasattr(thing, "edges"):
        arrays = (thing.edges, thing.rain, thing.reference_et, thing.demand_shape)
        return b"".join(np.ascontiguousarray(array).tobytes() for array in arrays)
    if hasattr(thing, "__dataclass_fields__"):
        return repr([(name, getattr(thing, name)) for name in thing.__dataclass_fields__]).encode()
    return repr(thing).encode()


def _zarr() -> Any:
    try:
        import zarr
    except ImportError as error:
        raise InputError(
            "store: the package zarr is not installed; install soilwater[io], or leave store out."
        ) from error
    return zarr
