"""Results of many cases gathered as they come, in memory or in a store on disk."""

from __future__ import annotations

import time
from collections.abc import Mapping
from contextlib import closing
from functools import cache
from math import prod
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.kernels.rows import N_LEDGER
from soilwater.runs.arrange import Batch
from soilwater.runs.kinds import Cases, felt_by
from soilwater.runs.layout import (
    OF_A_MAT,
    Axes,
    blank,
    describe_cases,
    inner_dims,
    lay_out,
    shape_of,
    sizes_of,
)
from soilwater.runs.scheduling import Workers, cases_per_chunk, finished_parts, reporting
from soilwater.runs.settings import Settings
from soilwater.runs.stepwise import needs_decisions
from soilwater.runs.store import (
    block_shape,
    blocks_of,
    blocks_to_run,
    check_store,
    create_store,
    digest_of_run,
    open_store,
    write_block,
)
from soilwater.words.errors import InputError, Interrupted

_CHUNKS_PER_BLOCK = 8
"""Chunks of cases written to a store at a time: few files, little lost when a run is killed."""

MOST_BYTES = 4_000_000_000
"""What results may take in memory: a machine of 8 GB holds them beside everything else."""
_BYTES_AT_A_TIME = 64_000_000
_BYTES_PREPARED = 48_000_000
"""What groups of columns take that are prepared and named together, their results with them. Half
of it costs 1500 columns of a fortnight an eighth more of the interpreter, for what is done once a
group where no cache is warm; twice as much gains next to nothing (measured here)."""
_BYTES_OF_AN_INTERVAL = 200
"""What an interval of a forcing takes, with the weather it was cut from."""
_LOOKED_AT = 100
"""Columns from which the size of all is estimated: the meshes of 100 000 take too long."""


def run_batch(batch: Batch, workers: Workers, store: str | Path | None) -> xr.Dataset:
    """Run cases and gather their results.

    Parameters
    ----------
    batch : Batch
        What to run.
    workers : Workers
        Who runs it.
    store : str, Path or None
        Folder to gather in; memory when None.

    Returns
    -------
    Dataset
        In memory, or opened from the store.

    Raises
    ------
    InputError
        If the store cannot be used.
    RunError
        If the store cannot be written to.
    Interrupted
        On Ctrl-C.
    """
    if store is not None:
        return _run_into_store(Path(store), batch, workers)
    begin = time.perf_counter()
    cases, settings = batch.cases, batch.settings
    meshes = cases.keep_meshes(settings.refinement)
    size, most = _cases_at_a_time(batch, to_disk=False)
    n_nodes = int(meshes.sizes.max())
    n_times = settings.times.size
    values = {name: blank(name, len(cases), n_times, n_nodes) for name in settings.names}
    done = np.zeros(len(cases), dtype=np.bool_)
    # Columns of one soil side by side: its table is made once and stays in the processor's cache.
    order = np.lexsort(cases.filling.T[::-1])
    in_order = np.array_equal(order, np.arange(len(cases)))
    groups = [cases.take(each) for each in np.array_split(order, -(-len(cases) // most))]
    ends = np.cumsum([0, *map(len, groups)]).tolist()

    def into(k: int) -> dict[str, NDArray[Any]]:
        return {name: each[ends[k] : ends[k + 1]] for name, each in values.items()}

    @cache
    def described() -> dict[str, NDArray[Any]]:
        return describe_cases(cases, meshes, n_nodes)

    def laid_out(given: dict[str, NDArray[Any]]) -> xr.Dataset:
        return lay_out_run(given, described(), batch.axes, settings, batch.coordinates)

    @cache
    def as_they_come() -> xr.Dataset:
        """Lay out all results before they are there: threads march meanwhile."""
        return laid_out(values)

    meanwhile = as_they_come if in_order else described

    def so_far() -> xr.Dataset:
        whole = done.all()
        if whole and in_order:
            return as_they_come()
        told = {}
        for name, each in values.items():
            told[name] = each
            if not whole:
                # Others may still be written to.
                told[name] = blank(name, len(cases), n_times, n_nodes)
                told[name][done] = each[done]
            if not in_order:
                told[name] = told[name][np.argsort(order)]
        return laid_out(told)

    try:
        with (
            reporting(workers.progress, len(cases)) as report,
            closing(
                finished_parts(groups, settings, workers, size, report, into, meanwhile)
            ) as finished,
        ):
            for k, within in finished:
                done[ends[k] + within] = True
    except KeyboardInterrupt:
        raise Interrupted(so_far()) from None
    run = so_far()
    run.attrs["wall_time_s"] = time.perf_counter() - begin
    return run


def _bytes_of_a_case(batch: Batch) -> tuple[float, float]:
    """Estimate what a case takes: its results, and the room they are made in [bytes]."""
    settings = batch.settings
    looked_at = batch.cases[:: max(1, len(batch.cases) // _LOOKED_AT)][:_LOOKED_AT]
    sizes = looked_at.meshes(settings.refinement).sizes
    n_times, n_nodes = settings.times.size, int(np.mean(sizes))
    kept = sum(prod(shape_of(name, 1, n_times, n_nodes)) for name in settings.names)
    return 8.0 * kept, 8.0 * n_times * (2 * n_nodes + N_LEDGER)


def _cases_at_a_time(batch: Batch, *, to_disk: bool) -> tuple[int, int]:
    """How many cases are marched at a time: by the length of their run, and by their results.

    And how many are prepared and named at a time, by their results and what they feel alone.

    A batch whose results no usual machine holds is refused.
    """
    kept, made_in = _bytes_of_a_case(batch)
    n_cases, n_times = len(batch.cases), batch.settings.times.size
    names = len(batch.settings.names)
    if kept + made_in > MOST_BYTES:
        raise InputError(
            f"output: {n_times:,} output times of {names} variables take "
            f"{(kept + made_in) / 1e9:.3g} GB for each case; allowed: up to {MOST_BYTES / 1e9:g} "
            'GB; ask for fewer times, such as output="24 h", or fewer variables, such as '
            'keep=("drainage",).'
        )
    if not to_disk and n_cases * kept > MOST_BYTES:
        raise InputError(
            f"the results of {n_cases:,} cases x {n_times:,} output times x {names} variables take "
            f"{n_cases * kept / 1e9:.3g} GB; allowed: up to {MOST_BYTES / 1e9:g} GB in memory; "
            'write them to disk as they come with store="run.zarr", or ask for fewer times, such '
            'as output="24 h", or fewer variables, such as keep=("drainage",).'
        )
    days = float(batch.cases.kinds[0].weather.hours[-1]) / 24.0
    size = max(1, min(cases_per_chunk(days), int(_BYTES_AT_A_TIME / (kept + made_in))))
    prepared = max(kept + made_in, _bytes_felt(batch.cases))
    return size, max(size, int(_BYTES_PREPARED / prepared))


def _bytes_felt(cases: Cases) -> float:
    """Estimate what the forcing of a case takes [bytes]; nothing where all share a few."""
    intervals = [each.weather.n + 2 * len(each.irrigation) for each in cases.kinds]
    shared = dict(zip(map(felt_by, cases.kinds), intervals, strict=True))
    # What is decided on the way is of one column alone.
    decided = np.array([needs_decisions(each) for each in cases.kinds])[cases.kind]
    felt = [*shared.values(), *np.array(intervals)[cases.kind[decided]].tolist()]
    all_felt = _BYTES_OF_AN_INTERVAL * sum(felt)
    return all_felt / len(felt) if all_felt > _BYTES_PREPARED else 0.0


def _ready_store(path: Path, batch: Batch, block: tuple[int, ...]) -> int:
    """Make the store, or check that it is of this run; give the nodes of the longest column.

    Meshes and descriptions are let go on return: of 100 000 columns they are half a gigabyte.
    """
    meshes = batch.cases.meshes(batch.settings.refinement)
    n_nodes = int(meshes.sizes.max())
    described = describe_cases(batch.cases, meshes, n_nodes)
    del meshes
    known = lay_out_run({}, described, batch.axes, batch.settings, batch.coordinates)
    digest = digest_of_run(batch, known)
    if not path.exists():
        shared, n_times = "depth" in known.dims, batch.settings.times.size
        blanks = {
            name: (inner_dims(name, ("time",), shared), blank(name, 1, n_times, n_nodes).squeeze(0))
            for name in batch.settings.names
        }
        create_store(path, known, blanks, block, digest)
    check_store(path, digest)
    return n_nodes


def _run_into_store(path: Path, batch: Batch, workers: Workers) -> xr.Dataset:
    """Run what a store still lacks, and open it."""
    size, _ = _cases_at_a_time(batch, to_disk=True)
    cases, settings = batch.cases, batch.settings
    sizes = sizes_of(batch.axes)
    shape = block_shape(sizes, size * _CHUNKS_PER_BLOCK)
    n_nodes = _ready_store(path, batch, shape)
    blocks = blocks_to_run(path, blocks_of(sizes, shape))
    groups = [cases.take(np.array(block.columns)) for block in blocks]
    unfinished: dict[int, dict[str, NDArray[Any]]] = {}
    missing = [len(each) for each in groups]

    def into(k: int) -> dict[str, NDArray[Any]]:
        if k not in unfinished:
            unfinished[k] = {
                name: blank(name, len(groups[k]), settings.times.size, n_nodes)
                for name in settings.names
            }
        return unfinished[k]

    try:
        with (
            reporting(workers.progress, len(cases)) as report,
            closing(finished_parts(groups, settings, workers, size, report, into)) as finished,
        ):
            report(len(cases) - sum(missing))
            for k, within in finished:
                missing[k] -= within.size
                if missing[k] == 0:
                    write_block(path, blocks[k], unfinished.pop(k))
    except KeyboardInterrupt:
        raise Interrupted(open_store(path)) from None
    return open_store(path)


def attributes_of(settings: Settings) -> dict[str, Any]:
    """Tell how a result was made, and when it tells what is remembered: at its end."""
    remembers = {"turning_suction", OF_A_MAT} & set(settings.names)
    return {
        "title": "Soil water simulation",
        "tolerance": settings.tolerance,
        "ponding_limit_cm": settings.ponding_limit,
        "refinement": settings.refinement,
        **({"remembered_at": str(settings.times[-1])} if remembers else {}),
    }


def lay_out_run(
    values: Mapping[str, NDArray[Any]],
    described: Mapping[str, NDArray[Any]],
    axes: Axes,
    settings: Settings,
    coordinates: Mapping[str, Any] | None = None,
) -> xr.Dataset:
    """Lay out a run over time, with its times, settings and the labels of its batch.

    Parameters
    ----------
    values, described, axes
        As `soilwater.runs.layout.lay_out` takes them; without values, what is known beforehand.
    settings : Settings
        What the cases shared.
    coordinates : mapping, optional
        Coordinates the person gave the batch; they keep their own attributes.

    Returns
    -------
    Dataset
        With attributes as the vocabulary has them.
    """
    dataset = lay_out(
        values,
        described,
        axes,
        ("time",),
        times=settings.times,
        attributes=attributes_of(settings),
    )
    return dataset.assign_coords(coordinates) if coordinates else dataset
