"""Results of a batch on disk, written block by block while it runs.

The store is a zarr group laid out like any other result. All of it exists from the start, filled
with "not run": a column whose `status` says so has still to be run, and is, when the same call is
made again. The status of a block is written after everything else of it, so a process may be
killed at any time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.cases import Case, Settings
from soilwater.errors import InputError, Status
from soilwater.kernels.cache import source_digest
from soilwater.results import OUTCOME, blank, inner_dims
from soilwater.vocabulary import attach

FORMAT = 2
"""Zarr format: the one in which texts are settled and every reader understands them."""
DIGEST = "run_digest"


def create_store(
    path: Path, described: xr.Dataset, settings: Settings, block: int, digest: str
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
    block : int
        Columns written at a time.
    digest : str
        Tells this run from others.

    Raises
    ------
    InputError
        If zarr is missing.
    """
    zarr = _zarr()
    (dimension,) = described.profile.dims
    shared = "depth" in described.dims
    n_columns, n_times = described.sizes[dimension], described.sizes["time"]
    n_nodes = described.sizes["node_depth" if shared else "node"]
    # Made under another name first, so that half a group is never taken for a store.
    draft = path.with_name(path.name + ".new")
    described = described.assign_attrs({DIGEST: digest})
    described.to_zarr(draft, mode="w", zarr_format=FORMAT, consolidated=False)
    group = zarr.open_group(draft, mode="r+", zarr_format=FORMAT)
    for name in settings.names:
        dims = (dimension, *inner_dims(name, ("time",), shared))
        like = blank(name, 0, n_times, n_nodes)
        labelled = attach(xr.Dataset({name: (dims, like)}))
        array = group.create_array(
            name,
            shape=(n_columns, *like.shape[1:]),
            chunks=(block, *like.shape[1:]),
            dtype="str" if like.dtype == object else like.dtype,
            fill_value=np.nan if like.dtype == np.float64 else None,
            attributes={**labelled[name].attrs, "_ARRAY_DIMENSIONS": list(dims)},
        )
        if name in OUTCOME:
            array[:] = blank(name, n_columns, n_times, n_nodes)
    zarr.consolidate_metadata(draft, zarr_format=FORMAT)
    draft.rename(path)


def columns_to_run(path: Path, digest: str) -> NDArray[np.bool_]:
    """Which columns of an existing store have still to be run.

    Parameters
    ----------
    path : Path
        The store.
    digest : str
        Of the run that is wanted.

    Returns
    -------
    ndarray of bool
        One a column.

    Raises
    ------
    InputError
        If the path holds something else, or another run.
    """
    zarr = _zarr()
    try:
        group = zarr.open_group(path, mode="r", zarr_format=FORMAT)
        held = group.attrs.get(DIGEST)
    except (FileNotFoundError, ValueError):
        held = None
    if held != digest:
        what = "something else" if held is None else "another run (or one of another version)"
        raise InputError(
            f"store: {path} exists and holds {what}; allowed: a new path, or the store of the very "
            "same call, which is then taken up where it stopped."
        )
    waiting: NDArray[np.bool_] = np.asarray(group["status"][:]) == Status.INTERRUPTED
    return waiting


def write_block(path: Path, first: int, values: dict[str, NDArray[Any]]) -> None:
    """Write everything about some neighbouring columns, the status last.

    Parameters
    ----------
    path : Path
        The store.
    first : int
        Position of the first column.
    values : dict
        Arrays by name, columns first.
    """
    group = _zarr().open_group(path, mode="r+", zarr_format=FORMAT)
    for name in sorted(values, key=lambda name: name == "status"):
        group[name][first : first + len(values[name])] = values[name]


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

    (dimension,) = described.profile.dims
    labels = described[dimension].values.tolist()
    rest = (settings.names, settings.tolerance, settings.ponding_limit, settings.surface)
    more = (settings.refinement, settings.max_steps, dimension, labels)
    digest.update(repr((source_digest(), rest, more)).encode())
    digest.update(settings.output_hours.tobytes())
    for case, profile in zip(cases, described.profile.values, strict=True):
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
