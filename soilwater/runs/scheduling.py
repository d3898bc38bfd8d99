"""Chunks of cases on threads, or on an executor somebody else keeps.

Columns know nothing of one another, so the order in which chunks finish changes no bit of a result.
Kernels run on one thread each and release the interpreter, so plain threads suffice on one machine,
as long as they have little else to do.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass
from numbers import Integral
from queue import SimpleQueue
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from soilwater.runs.batch import Prepared, march, outcome, prepare, run_chunk
from soilwater.runs.case import Case
from soilwater.runs.kinds import Cases
from soilwater.runs.packing import Piece
from soilwater.runs.processors import processors
from soilwater.runs.settings import Settings
from soilwater.soils.kernel_table import Room
from soilwater.words.errors import Faults

Progress = bool | Callable[[int, int], object]

CASE_DAYS_PER_CHUNK = 1600
"""Days times cases a thread takes at a time: 0.1-0.3 s of work, so that an interrupt is heard and
progress seen, and the interpreter's part stays small."""
LARGEST_CHUNK = 128
PIECES_PER_THREAD = 4
"""Pieces of a batch for each thread, at the least: with two, a third of them would stand idle where
there is one piece more than threads have taken; with more, each would begin more often."""
IN_HAND_PER_WORKER = 4
"""Chunks handed out per worker: enough that none waits, few enough that memory stays bounded."""


class Executor(Protocol):
    """What is asked of an executor: `concurrent.futures` and dask's client have it."""

    def submit(self, function: Callable[..., Any], /, *arguments: Any) -> Any:
        """Start a call and return its future."""


@dataclass(frozen=True)
class Workers:
    """Who runs the chunks of a batch, and who is told how far they are.

    Parameters
    ----------
    n_threads : int or None, optional
        Threads of this process; as many as there are processors when None.
    executor : Executor or None, optional
        Runs the chunks instead.
    progress : bool or callable, optional
        True shows a bar; a callable is given the number of finished cases and of all.

    Raises
    ------
    InputError
        With every argument that cannot be used.
    """

    n_threads: int | None = None
    executor: Any = None
    progress: Progress = False

    def __post_init__(self) -> None:
        faults = Faults("Workers")
        threads: Any = self.n_threads
        whole = isinstance(threads, Integral) and not isinstance(threads, bool)
        if threads is not None and not (whole and threads >= 1):
            faults.add(f"n_threads: {threads!r}", allowed="a whole number from 1 up, or None")
        if self.executor is not None and not hasattr(self.executor, "submit"):
            faults.add(
                f"executor: {self.executor!r}",
                allowed="an executor of concurrent.futures, or the client of a dask cluster",
            )
        if not isinstance(self.progress, bool) and not callable(self.progress):
            faults.add(f"progress: {self.progress!r}", allowed="True, False or a function")
        faults.raise_if_any()


def cases_per_chunk(days: float) -> int:
    """How many cases of a span make a chunk.

    Parameters
    ----------
    days : float
        Span of the run [d].

    Returns
    -------
    int
        At least one.
    """
    return max(1, min(LARGEST_CHUNK, int(CASE_DAYS_PER_CHUNK / max(days, 1e-9))))


def pieces_for(threads: int, total: int, size: int) -> int:
    """How many columns make a piece: few enough that no thread waits long for the last.

    Parameters
    ----------
    threads : int
        Of this process.
    total : int
        Columns to be run.
    size : int
        Most that a thread may take at a time.
    """
    return size if threads == 1 else min(size, -(-total // (PIECES_PER_THREAD * threads)))


def finished_parts(
    groups: Sequence[Cases],
    settings: Settings,
    workers: Workers,
    size: int,
    report: Callable[[int], object],
) -> Generator[tuple[int, NDArray[np.int64], dict[str, NDArray[Any]]]]:
    """Run groups of columns and hand over what is finished of one, first come, first served.

    On threads of this process a group is prepared and named as a whole, and marched a few columns
    at a time: only that lets the interpreter go. An executor is given a few columns at a time.

    Parameters
    ----------
    groups : sequence of Cases
        What to run.
    settings : Settings
        What all cases share.
    workers : Workers
        Who runs them.
    size : int
        Most columns that are marched by one thread at a time.
    report : callable
        Told the number of columns that have been run since the last call.

    Yields
    ------
    number : int
        Which group.
    places : ndarray of int
        Which of its columns.
    values : dict
        As `run_chunk` returns them.

    Raises
    ------
    KeyboardInterrupt
        On Ctrl-C, when what was finished of all groups has been handed over.
    """
    if workers.executor is not None:
        parts = [
            (k, np.arange(first, min(first + size, len(each))))
            for k, each in enumerate(groups)
            for first in range(0, len(each), size)
        ]
        chunks = [groups[k].take(places) for k, places in parts]
        with closing(finished_chunks(chunks, settings, workers)) as finished:
            for number, values in finished:
                yield *parts[number], values
                report(len(chunks[number]))
        return
    total = sum(map(len, groups))
    if not total:
        return
    threads = min(total, workers.n_threads or processors())
    size = pieces_for(threads, total, size)
    pool = ThreadPoolExecutor(threads, thread_name_prefix="soilwater")
    own = threading.local()

    def march_piece(prepared: Prepared, piece: Piece) -> None:
        work, most = prepared.packed.work, max(len(each.numbers) for each in prepared.pieces)
        if (
            not hasattr(own, "work")
            or own.work.size != work.size
            or own.room.tables.shape[0] < most
        ):
            own.room, own.work = Room.of(most), np.zeros_like(work)
        march(prepared, piece, (own.room, own.work))

    done: SimpleQueue[tuple[int, int]] = SimpleQueue()
    under_way: dict[int, tuple[Prepared, dict[int, Any]]] = {}
    run: dict[int, list[NDArray[np.int64]]] = {}
    waiting = iter(enumerate(groups))

    def hand_out() -> None:
        """Prepare groups until every thread has a piece and one is ready, and no more."""
        while sum(len(left) for _, left in under_way.values()) <= threads:
            k, cases = next(waiting, (None, None))
            if k is None or cases is None:
                return
            prepared, run[k] = prepare(cases, settings, size), []
            futures: dict[int, Any] = {}
            under_way[k] = prepared, futures
            for number, piece in enumerate(prepared.pieces):
                futures[number] = pool.submit(march_piece, prepared, piece)
                futures[number].add_done_callback(lambda _, at=(k, number): done.put(at))

    try:
        hand_out()
        while under_way:
            k, number = done.get()
            prepared, left = under_way[k]
            left.pop(number).result()
            piece = prepared.pieces[number]
            run[k].append(np.arange(piece.first, piece.last))
            if not left:
                del under_way[k]
                yield k, np.arange(len(prepared.cases)), outcome(prepared)
            report(piece.last - piece.first)
            hand_out()
    except KeyboardInterrupt:
        for k, (prepared, _) in under_way.items():
            if run[k]:
                places = np.concatenate(run[k])
                values = outcome(prepared)
                yield k, places, {name: each[places] for name, each in values.items()}
        raise
    finally:
        # On an interrupt those waiting never start, and nobody waits for those under way, one
        # column of many years takes seconds.
        pool.shutdown(wait=False, cancel_futures=True)


def finished_chunks(
    chunks: Sequence[Any],
    settings: Settings,
    workers: Workers,
    run: Callable[..., Any] = run_chunk,
) -> Generator[tuple[int, Any]]:
    """Run chunks and hand each over as it finishes, first come, first served.

    Parameters
    ----------
    chunks : sequence
        What to run: cases, for `run_chunk`.
    settings : Settings
        What all cases share.
    workers : Workers
        Who runs them.
    run : callable, optional
        Takes a chunk and the settings.

    Yields
    ------
    number : int
        Which chunk.
    values : dict
        As `run` returns them.
    """
    executor = workers.executor
    if executor is not None:
        if _is_cluster(executor):
            # Every worker compiles its kernels once, before tasks are spread.
            executor.run(load_kernels)
        yield from _from_executor(chunks, settings, run, executor, _calls_at_a_time(executor))
        return
    threads = max(1, min(len(chunks), workers.n_threads or processors()))
    pool = ThreadPoolExecutor(threads, thread_name_prefix="soilwater")
    try:
        yield from _from_executor(chunks, settings, run, pool, threads)
    finally:
        # On an interrupt those waiting never start, and nobody waits for the chunks under way: they
        # write nothing, and one column of many years takes seconds.
        pool.shutdown(wait=False, cancel_futures=True)


def _from_executor(
    chunks: Sequence[Any], settings: Settings, run: Any, executor: Any, at_a_time: int
) -> Generator[tuple[int, Any]]:
    done: SimpleQueue[int] = SimpleQueue()
    futures: dict[int, Any] = {}
    waiting = iter(range(len(chunks)))
    # A cluster would else take every chunk apart to find out whether it had seen it before.
    options = {"pure": False} if _is_cluster(executor) else {}

    def hand_out(most: int) -> None:
        for _ in range(most):
            number = next(waiting, None)
            if number is None:
                return
            futures[number] = executor.submit(run, chunks[number], settings, **options)
            futures[number].add_done_callback(lambda _, number=number: done.put(number))

    try:
        hand_out(IN_HAND_PER_WORKER * at_a_time)
        for _ in range(len(chunks)):
            number = done.get()
            values = futures.pop(number).result()
            hand_out(1)
            yield number, values
    finally:
        for future in futures.values():
            future.cancel()


def _calls_at_a_time(executor: Any) -> int:
    """Count the calls an executor can carry out at a time, as far as it says."""
    if hasattr(executor, "nthreads"):
        return max(1, sum(int(n) for n in executor.nthreads().values()))
    return int(getattr(executor, "_max_workers", processors()))


def _is_cluster(executor: Any) -> bool:
    """Tell a cluster's client, which can run something once on every worker, from a plain pool."""
    return hasattr(executor, "run")


def load_kernels() -> None:
    """Compile the kernels, or load them from the disk cache, by running one tiny column."""
    from soilwater.ground.profile import Profile
    from soilwater.soils import VanGenuchten
    from soilwater.weather.made import steady_weather

    profile = Profile.over_gravel(VanGenuchten.texture_class("sand"), 1.0)
    case = Case(profile, steady_weather(1, 0.0), start="drained")
    hours = np.array([0.0, 0.01])
    times = case.weather.start + (3600.0 * hours).astype("timedelta64[s]")
    run_chunk([case], Settings(hours, times, ("status",)))


@contextmanager
def reporting(progress: Progress, total: int) -> Iterator[Callable[[int], None]]:
    """Give a function that is told how many more cases are done.

    Parameters
    ----------
    progress : bool or callable
        True shows a bar; a callable is given the number of finished cases and of all.
    total : int
        All cases.

    Yields
    ------
    callable
        Takes the number of cases that have been finished since the last call.
    """
    if progress is True:
        from tqdm.auto import tqdm

        with tqdm(total=total, unit="case") as bar:
            yield bar.update
        return
    finished = 0

    def tell(more: int) -> None:
        nonlocal finished
        finished += more
        if callable(progress):
            progress(finished, total)

    yield tell
