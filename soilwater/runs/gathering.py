"""Results of many cases gathered as they come, in memory or in a store on disk."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.runs.cases import Case, Settings
from soilwater.runs.results import Axes, blank, describe_columns, fill, lay_out, sizes_of
from soilwater.runs.scheduling import (
    Executor,
    Progress,
    cases_per_chunk,
    finished_chunks,
    reporting,
)
from soilwater.runs.store import (
    block_shape,
    blocks_of,
    check_store,
    columns_to_run,
    create_store,
    digest_of_run,
    open_store,
    write_block,
)
from soilwater.words.errors import Interrupted
from soilwater.words.vocabulary import attach

_CHUNKS_PER_BLOCK = 8
"""Chunks of cases written to a store at a time: few files, little lost when a run is killed."""


def run_batch(
    cases: list[Case],
    axes: Axes,
    settings: Settings,
    times: NDArray[np.datetime64],
    n_threads: int | None,
    executor: Executor | None,
    store: str | Path | None,
    progress: Progress,
    coords: Mapping[str, Any] | None = None,
) -> xr.Dataset:
    """Run cases and gather their results.

    Parameters
    ----------
    cases : list of Case
        Checked, over one common span.
    axes : mapping of str to sequence
        Dimensions of the batch and their labels; as many cases as their product.
    settings : Settings
        What the cases share.
    times : ndarray of datetime64, shape (n_times,)
        Output times.
    n_threads, executor, store, progress
        As `soilwater.simulate_many` takes them.
    coords : mapping, optional
        Coordinates of the batch, for `finish`.

    Returns
    -------
    Dataset
        In memory, or opened from the store.

    Raises
    ------
    InputError
        If the executor, store or progress cannot be used.
    Interrupted
        On Ctrl-C.
    """
    begin = time.perf_counter()
    size = cases_per_chunk(float(cases[0].weather.hours[-1]) / 24.0)
    if store is not None:
        path, block = Path(store), block_shape(sizes_of(axes), size * _CHUNKS_PER_BLOCK)
        n_nodes = _ready_store(path, cases, axes, settings, times, coords, block)
        return _run_into_store(
            path, cases, axes, settings, n_nodes, size, block, n_threads, executor, progress
        )
    meshes = [case.profile.mesh(settings.refinement) for case in cases]
    n_nodes = max(mesh.depth.size for mesh in meshes)
    described = describe_columns([case.profile for case in cases], meshes, n_nodes)
    values = {name: blank(name, len(cases), times.size, n_nodes) for name in settings.names}
    # Columns of one soil side by side: its table is made once and stays in the processor's cache.
    kinds: dict[Any, int] = {}
    order = np.argsort([kinds.setdefault(m.soils, len(kinds)) for m in meshes], kind="stable")
    places = [order[first : first + size] for first in range(0, len(cases), size)]
    chunks = [[cases[i] for i in each] for each in places]
    try:
        with (
            reporting(progress, len(cases)) as report,
            closing(finished_chunks(chunks, settings, n_threads, executor)) as finished,
        ):
            for k, part in finished:
                fill(values, places[k], part)
                report(len(chunks[k]))
    except KeyboardInterrupt:
        so_far = lay_out(values, described, axes, ("time",))
        raise Interrupted(finish(so_far, times, settings, coords)) from None
    dataset = finish(lay_out(values, described, axes, ("time",)), times, settings, coords)
    dataset.attrs["wall_time_s"] = time.perf_counter() - begin
    return dataset


def _ready_store(
    path: Path,
    cases: list[Case],
    axes: Axes,
    settings: Settings,
    times: NDArray[np.datetime64],
    coords: Mapping[str, Any] | None,
    block: tuple[int, ...],
) -> int:
    """Make the store, or check that it is of this run; give the nodes of the longest column.

    Meshes and descriptions are let go on return: of 100 000 columns they are half a gigabyte.
    """
    meshes = [case.profile.mesh(settings.refinement) for case in cases]
    n_nodes = max(mesh.depth.size for mesh in meshes)
    described = describe_columns([case.profile for case in cases], meshes, n_nodes)
    known = finish(lay_out({}, described, axes, ()), times, settings, coords)
    digest = digest_of_run(cases, settings, known)
    if not path.exists():
        create_store(path, known, settings, block, digest)
    check_store(path, digest)
    return n_nodes


def _run_into_store(
    path: Path,
    cases: list[Case],
    axes: Axes,
    settings: Settings,
    n_nodes: int,
    size: int,
    block: tuple[int, ...],
    n_threads: int | None,
    executor: Executor | None,
    progress: Progress,
) -> xr.Dataset:
    """Run what a store still lacks, and open it."""
    waiting = columns_to_run(path)
    blocks = [b for b in blocks_of(sizes_of(axes), block) if waiting[b.columns].any()]
    chunks: list[list[Case]] = []
    places: list[tuple[int, NDArray[np.int64]]] = []
    for i, (_, columns) in enumerate(blocks):
        for first in range(0, len(columns), size):
            chunks.append([cases[k] for k in columns[first : first + size]])
            places.append((i, first + np.arange(len(chunks[-1]))))
    unfinished: dict[int, dict[str, NDArray[Any]]] = {}
    missing = Counter(i for i, _ in places)
    try:
        with (
            reporting(progress, len(cases)) as report,
            closing(finished_chunks(chunks, settings, n_threads, executor)) as finished,
        ):
            report(len(cases) - sum(map(len, chunks)))
            for k, part in finished:
                i, within = places[k]
                if i not in unfinished:
                    n = len(blocks[i].columns)
                    unfinished[i] = {
                        name: blank(name, n, settings.output_hours.size, n_nodes)
                        for name in settings.names
                    }
                fill(unfinished[i], within, part)
                missing[i] -= 1
                if missing[i] == 0:
                    write_block(path, blocks[i], unfinished.pop(i))
                report(len(chunks[k]))
    except KeyboardInterrupt:
        raise Interrupted(open_store(path)) from None
    return open_store(path)


def finish(
    dataset: xr.Dataset,
    times: NDArray[np.datetime64],
    settings: Settings,
    coords: Mapping[str, Any] | None = None,
) -> xr.Dataset:
    """Give a result its times, the settings it was made with, and the labels of its batch.

    Parameters
    ----------
    dataset : Dataset
        From `soilwater.runs.results.lay_out`.
    times : ndarray of datetime64, shape (n_times,)
        Output times.
    settings : Settings
        What the cases shared.
    coords : mapping, optional
        Coordinates the person gave the batch; they keep their own attributes.

    Returns
    -------
    Dataset
        With attributes as the vocabulary has them.
    """
    attached: xr.Dataset = attach(dataset.assign_coords(time=times))
    if coords:
        attached = attached.assign_coords(coords)
    attached.attrs.update(
        title="Soil water simulation",
        tolerance=settings.tolerance,
        ponding_limit_cm=settings.ponding_limit,
        refinement=settings.refinement,
    )
    return attached
