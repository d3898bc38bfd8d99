"""Results of a batch on disk, written block by block while it runs.

The store is a zarr group laid out like any other result. All of it exists from the start, filled
with "not run": a column whose `status` says so has still to be run, and is, when the same call is
made again. The status of a block is written after everything else of it, and after that a note of
length and checksum of each of its files: so a process may be killed at any time, and what was cut,
altered or deleted later is noticed and run again. Two processes may work on one store: each makes
it under a name of its own, the first to finish gives it its place, and a block that is there is not
written twice.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import tempfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.runs.arrange import Batch
from soilwater.runs.layout import OUTCOME
from soilwater.runs.wetted import WaterKnown
from soilwater.soils import Soil, is_built_in
from soilwater.weather.series import Weather
from soilwater.words.errors import InputError, RunError, Status
from soilwater.words.vocabulary import attach

FORMAT = 2
"""Zarr format: the one in which texts are settled and every reader understands them."""
DIGEST = "run_digest"
NOTES = ".written"
"""Folder of the notes; no reader of zarr looks into it."""
WHOLE = "store"
"""Note of everything that is written when a store is made."""
_READ_AT_A_TIME = 2**20
_WRITTEN_AT_A_TIME = 1000
"""Columns whose depths and profiles are written to a store at a time."""
NOTHING_WRITTEN = -1
"""Fill of the status. 0 would say that all is well; xarray gives it as missing."""


Blanks = Mapping[str, tuple[tuple[str, ...], NDArray[Any]]]
"""Variables by name: dimensions behind those of the batch, and the values of one entry."""


class Block(NamedTuple):
    """Columns written at a time: where they lie in the batch, and their numbers in its order."""

    place: tuple[slice, ...]
    columns: range
    number: tuple[int, ...]
    """Number of the block along each dimension."""


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
        yield Block(place, range(int(columns.min()), int(columns.max()) + 1), index)


def create_store(
    path: Path, described: xr.Dataset, blanks: Blanks, block: tuple[int, ...], digest: str
) -> None:
    """Make a group for entries of a batch, columns or whole grounds, of which none has been run.

    Parameters
    ----------
    path : Path
        Folder to be made.
    described : Dataset
        Everything known before the run: coordinates, profiles, attributes.
    blanks : mapping
        The variables to come, as an entry has them before it is run.
    block : tuple of int
        Entries written at a time, along each dimension of the batch, the first ones of a profile.
    digest : str
        Tells this run from others.

    Raises
    ------
    InputError
        If zarr is missing, or nothing can be written there.
    """
    zarr = _zarr()
    batch, sizes = described.profile.dims[: len(block)], described.profile.shape[: len(block)]
    # Made under a name of its own first, so that half a group is never taken for a store, and two
    # processes that start at once do not write into each other's.
    with _writing(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{path.name}.", dir=path.parent))
    try:
        with _writing(path):
            _write_known(draft, described.assign_attrs({DIGEST: digest}), batch[0])
            group = zarr.open_group(draft, mode="r+", zarr_format=FORMAT)
            for name, (inner, like) in blanks.items():
                dims = (*batch, *inner)
                labelled = attach(xr.Dataset({name: (dims, np.empty((0,) * len(dims)))}))
                array = group.create_array(
                    name,
                    shape=(*sizes, *like.shape),
                    chunks=(*block, *like.shape),
                    dtype="str" if like.dtype == object else like.dtype,
                    fill_value=_fill_value(name, like.dtype),
                    attributes={**labelled[name].attrs, "_ARRAY_DIMENSIONS": list(dims)},
                )
                if name in OUTCOME:
                    array[:] = np.broadcast_to(like, array.shape)
            zarr.consolidate_metadata(draft, zarr_format=FORMAT)
            files = [each.relative_to(draft) for each in draft.rglob("*") if each.is_file()]
            known = [
                each.as_posix()
                for each in files
                if each.name.startswith(".z") or each.parts[0] not in blanks
            ]
            _write_note(draft, WHOLE, known)
        try:
            draft.rename(path)
        except OSError:
            # Another process was faster; whether it is the same run is looked at next.
            if not path.exists():
                raise
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _write_known(path: Path, described: xr.Dataset, along: str) -> None:
    """Write what is known before a run, its long texts some entries at a time along a dimension.

    Texts take several times their size while they are written, and those of 100 000 columns would
    take half a gigabyte. All else is written at once, for how times and labels are kept follows
    from all of them.
    """
    size = described.sizes[along]
    entries = max(1, _WRITTEN_AT_A_TIME * size // described.profile.size)
    texts = [name for name in ("profile", "layer") if along in described[name].dims]
    without = described.copy()
    for name in texts:
        without.variables[name].data = np.full(described[name].shape, "", dtype=object)
    chunks = {name: {"chunks": (entries, *described[name].shape[1:])} for name in texts}
    without.to_zarr(path, mode="w", zarr_format=FORMAT, consolidated=False, encoding=chunks)
    group = _zarr().open_group(path, mode="r+", zarr_format=FORMAT)
    for name in texts:
        for first in range(0, size, entries):
            part = slice(first, first + entries)
            group[name][part] = described[name].values[part]


def _fill_value(name: str, dtype: np.dtype[Any]) -> float | None:
    if name == "status":
        return NOTHING_WRITTEN
    return np.nan if dtype == np.float64 else None


def check_store(path: Path, digest: str) -> None:
    """Refuse a path that holds something else than this run, or has lost what was known before it.

    Parameters
    ----------
    path : Path
        The store.
    digest : str
        Of the run that is wanted.

    Raises
    ------
    InputError
        If the path holds something else, another run, or a damaged store.
    """
    noted = _read_note(path, WHOLE)
    damaged = [] if noted is None else _changed(path, noted)
    if damaged:
        raise InputError(
            f"store: {path} is damaged: {damaged[0]} is missing, cut or altered; allowed: a whole "
            "store; delete the folder and repeat the call, or give a new path."
        )
    zarr = _zarr()
    try:
        held = zarr.open_group(path, mode="r", zarr_format=FORMAT).attrs.get(DIGEST)
    except (FileNotFoundError, ValueError):
        held = None
    if held != digest or noted is None:
        what = "something else" if held is None else "another run (or one of another version)"
        raise InputError(
            f"store: {path} exists and holds {what}; allowed: a new path, or the store of the very "
            "same call, which is then taken up where it stopped."
        )


def blocks_to_run(path: Path, blocks: Iterable[Block]) -> list[Block]:
    """Find the blocks of a store that were not written, or were cut, altered or deleted since.

    Parameters
    ----------
    path : Path
        The store.
    blocks : iterable of Block
        All of the batch.

    Returns
    -------
    list of Block
        In the order of the batch. What a damaged one says of its status is taken back.
    """
    status = _zarr().open_group(path, mode="r", zarr_format=FORMAT)["status"]
    waiting = []
    for block in blocks:
        noted = _read_note(path, _note_of(block))
        if noted is not None and not _changed(path, noted):
            if not np.isin(status[block.place], (Status.INTERRUPTED, NOTHING_WRITTEN)).any():
                continue
        elif noted is not None:
            with _writing(path):
                _status_file(path, block, status.ndim).unlink(missing_ok=True)
        waiting.append(block)
    return waiting


def write_block(path: Path, block: Block, values: dict[str, NDArray[Any]]) -> None:
    """Write everything about some neighbouring columns, the status last, then a note of it all.

    Parameters
    ----------
    path : Path
        The store.
    block : Block
        Which columns.
    values : dict
        Arrays by name, columns first.

    Raises
    ------
    RunError
        If the disk takes no more; what was written before is kept.
    """
    files = [_file_of(block, name, array.ndim - 1) for name, array in values.items()]
    note = _note_of(block)
    group = _zarr().open_group(path, mode="r+", zarr_format=FORMAT)
    try:
        for name in sorted(values, key=lambda name: name == "status"):
            array = group[name]
            sizes = zip(block.place, array.shape, strict=False)
            place = tuple(slice(*s.indices(n)) for s, n in sizes)
            within = tuple(s.stop - s.start for s in place)
            array[place] = values[name].reshape((*within, *values[name].shape[1:]))
        _write_note(path, note, files)
    except OSError as error:
        with suppress(OSError):
            _status_file(path, block, group["status"].ndim).unlink(missing_ok=True)
            (path / NOTES / f"{note}.json").unlink(missing_ok=True)
        raise RunError(
            f"store: {path} cannot be written to ({os.strerror(error.errno or errno.EIO)}); what "
            "was finished before is kept: make room or mend the disk, and repeat the call."
        ) from error


def open_store(path: Path) -> xr.Dataset:
    """Open a store; values are read from disk when they are asked for."""
    return xr.open_dataset(path, engine="zarr", chunks=None, use_zarr_fill_value_as_mask=False)


@contextmanager
def _writing(path: Path) -> Iterator[None]:
    """Say plainly where a disk does not take what is written."""
    try:
        yield
    except OSError as error:
        raise InputError(
            f"store: {path} cannot be written to ({os.strerror(error.errno or errno.EIO)}); "
            "allowed: a path in a folder with room in which you may write."
        ) from error


def _note_of(block: Block) -> str:
    return ".".join(map(str, block.number))


def _file_of(block: Block, name: str, n_inner: int) -> str:
    """File of a variable's chunk, below the store, for a block and `n_inner` more dimensions."""
    return f"{name}/" + ".".join(map(str, (*block.number, *(0,) * n_inner)))


def _status_file(path: Path, block: Block, n_dims: int) -> Path:
    return path / _file_of(block, "status", n_dims - len(block.number))


def _mark(path: Path) -> list[int]:
    """Length [bytes] and checksum of a file; of one that is not there -1 and 0.

    A chunk that holds nothing but its fill is never written.
    """
    length, checksum = 0, 0
    try:
        with path.open("rb") as stream:
            while part := stream.read(_READ_AT_A_TIME):
                length, checksum = length + len(part), zlib.crc32(part, checksum)
    except OSError:
        return [-1, 0]
    return [length, checksum]


def _changed(path: Path, noted: Mapping[str, list[int]]) -> list[str]:
    """Files that are not as they were when they were noted."""
    return [name for name, mark in noted.items() if _mark(path / name) != mark]


def _write_note(path: Path, note: str, files: Iterable[str]) -> None:
    folder = path / NOTES
    folder.mkdir(exist_ok=True)
    handle, draft = tempfile.mkstemp(dir=folder)
    with os.fdopen(handle, "w") as stream:
        json.dump({name: _mark(path / name) for name in files}, stream)
    Path(draft).replace(folder / f"{note}.json")


def _read_note(path: Path, note: str) -> dict[str, list[int]] | None:
    """Read the marks that were noted; None where there is no note, or half of one."""
    try:
        noted: dict[str, list[int]] = json.loads((path / NOTES / f"{note}.json").read_text())
    except (OSError, ValueError):
        return None
    return noted


@cache
def sources_digest() -> str:
    """Digest of the version and of every source that may shape a result."""
    root = Path(__file__).parents[1]
    # The version stands beside the public names.
    digest = hashlib.sha256((root / "__init__.py").read_bytes())
    for floor in ("words", "kernels", "soils", "weather", "ground", "runs"):
        for path in sorted((root / floor).rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def digest_of_run(batch: Batch, described: xr.Dataset, links: str = "") -> str:
    """Text that is the same for the same cases, settings and sources of this package.

    Parameters
    ----------
    batch : Batch
        All columns, and what they share.
    described : Dataset
        Everything known before the run: labels and profiles among it.
    links : str, optional
        What tells between which columns water flows.

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

    settings = batch.settings
    dims = described.profile.dims
    labels = [
        (name, each.dims, each.values.tolist(), sorted(each.attrs.items()))
        for name, each in described.coords.items()
        if set(each.dims) <= set(dims)
    ]
    rest = (settings.names, settings.tolerance, settings.ponding_limit, settings.surface)
    more = (settings.refinement, settings.max_steps, dims, labels, links)
    digest.update(repr((sources_digest(), rest, more)).encode())
    digest.update(settings.output_hours.tobytes())
    curves: dict[Soil, bytes] = {}
    for case, profile in zip(batch.cases, described.profile.values.flat, strict=True):
        digest.update(profile.encode())
        for layer in case.profile.layers:
            if not is_built_in(layer.soil):
                if layer.soil not in curves:
                    curves[layer.soil] = _curve_bytes(layer.soil)
                digest.update(curves[layer.soil])
        for thing in (case.weather, case.turf, case.start, *case.irrigation, *case.rules):
            add(thing)
    return digest.hexdigest()


def _curve_bytes(soil: Soil) -> bytes:
    """Say what a soil model written elsewhere gives, in place of its source."""
    suctions = np.geomspace(0.1, 1e6, 64)
    curves = np.stack([soil.water_content(suctions), soil.conductivity(suctions)])
    return curves.tobytes() + repr(sorted(soil.to_dict().items(), key=repr)).encode()


def _as_bytes(thing: Any) -> bytes:
    if isinstance(thing, xr.Dataset | xr.DataArray):
        return repr(thing.to_dict()).encode()
    if isinstance(thing, Weather):
        arrays = (thing.edges, thing.rain, thing.reference_et, thing.demand_shape)
        return b"".join(np.ascontiguousarray(array).tobytes() for array in arrays)
    if isinstance(thing, WaterKnown):
        arrays = (thing.depth, thing.suction, *(() if thing.turns is None else (thing.turns,)))
        return b"".join(array.tobytes() for array in arrays) + repr(thing.mat).encode()
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
