"""Chunks of cases on threads, or on an executor somebody else keeps.

Columns know nothing of one another, so the order in which chunks finish changes no bit of a result.
Kernels run on one thread each and release the interpreter, so plain threads suffice on one machine,
as long as they have little else to do.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from math import ceil
from numbers import Integral
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from soilwater.runs.batch import Prepared, march, outcome, prepare, run_chunk
from soilwater.runs.case import Case
from soilwater.runs.kinds import Cases
from soilwater.runs.layout import fill
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
TAKEN_FIRST = 0.8
"""Of what there is for each thread, what it takes first; then the rest. Each piece costs Python as
much as a fifth of a column, and where the last are small threads end together."""
LONGEST_SLEEP = 0.3
"""Time [s] after which the thread that asked looks for an interrupt of its own accord."""
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


def piece_sizes(count: int, left: int, total: int, threads: int, most: int) -> list[int]:
    """Sizes of the pieces in which the next columns are run: no thread waits long for the last.

    Parameters
    ----------
    count : int
        Columns that are cut into pieces.
    left : int
        Columns that are left to be run, with these.
    total : int
        Columns that there were to be run at first.
    threads : int
        Of this process.
    most : int
        Most columns that a thread may take at a time.
    """
    sizes: list[int] = []
    while count > 0:
        first = max(0, left - round((1.0 - TAKEN_FIRST) * total))
        these = min(count, first or left)
        share = 1.0 if threads == 1 else TAKEN_FIRST if first else 1.0 - TAKEN_FIRST
        # Of one size, with no remainder that would be one piece more than there are threads.
        pieces = min(max(round(these * threads / (share * total)), ceil(these / most), 1), these)
        sizes += [(these + i) // pieces for i in reversed(range(pieces))]
        count, left = count - these, left - these
    return sizes


def finished_parts(
    groups: Sequence[Cases],
    settings: Settings,
    workers: Workers,
    size: int,
    report: Callable[[int], object],
    into: Callable[[int], Mapping[str, NDArray[Any]]],
    meanwhile: Callable[[], object] = lambda: None,
) -> Generator[tuple[int, NDArray[np.int64]]]:
    """Run groups of columns and tell what is finished of one, first come, first served.

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
    into : callable
        Gives what results of a group are to be put in, as `layout.blank` made it, columns first.
    meanwhile : callable, optional
        Called whenever threads were given columns.

    Yields
    ------
    number : int
        Which group.
    places : ndarray of int
        Which of its columns; on an interrupt those of others are still written to.

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
                k, places = parts[number]
                fill(into(k), places, values)
                yield k, places
                report(places.size)
        return
    total = sum(map(len, groups))
    if not total:
        return
    threads = min(total, workers.n_threads or processors())
    ready: SimpleQueue[tuple[int, Prepared, Piece] | None] = SimpleQueue()
    done: deque[tuple[int, Piece, BaseException | None]] = deque()
    told: SimpleQueue[None] = SimpleQueue()
    ended = Event()

    def march_what_is_ready() -> None:
        room, work = Room.of(0), np.zeros(0)
        while (given := ready.get()) is not None and not ended.is_set():
            k, prepared, piece = given
            failed: BaseException | None = None
            try:
                if room.tables.shape[0] < piece.soils.size:
                    room = Room.of(piece.soils.size)
                if work.size < prepared.packed.work.size:
                    work = np.zeros_like(prepared.packed.work)
                march(prepared, piece, (room, work))
            except BaseException as error:
                failed = error
            done.append((k, piece, failed))
            # To wake a thread takes as long as to prepare columns: only if it has something to do.
            if failed or workers.progress or ready.qsize() <= 1:
                told.put(None)
            # Who waits for the next keeps no group alive.
            del given, prepared, piece

    under_way: dict[int, tuple[Prepared, list[Piece]]] = {}
    waiting = iter(enumerate(groups))
    left, in_hand, started = total, 0, 0
    try:
        while left or in_hand:
            # Groups are prepared until every thread has a piece and one is ready, and no more.
            while left and in_hand <= threads:
                k, cases = next(waiting)
                sizes = piece_sizes(len(cases), left, total, threads, size)
                prepared = prepare(cases, settings, sizes, into(k))
                under_way[k] = prepared, []
                for piece in prepared.pieces:
                    ready.put((k, prepared, piece))
                    if started < threads:
                        # As long as it takes to prepare five columns; the others march meanwhile.
                        Thread(target=march_what_is_ready, name=f"soilwater_{started}").start()
                        started += 1
                left, in_hand = left - len(cases), in_hand + len(sizes)
            meanwhile()
            with suppress(Empty):
                # A signal that comes just as it falls asleep is heard no sooner than it wakes.
                told.get(timeout=LONGEST_SLEEP)
            while done:
                k, piece, failed = done.popleft()
                if failed is not None:
                    raise failed
                in_hand -= 1
                prepared, run = under_way[k]
                run.append(piece)
                if len(run) == len(prepared.pieces):
                    del under_way[k]
                    outcome(prepared)
                    yield k, np.arange(len(prepared.cases))
                report(piece.last - piece.first)
    except KeyboardInterrupt:
        # Who follows the progress is given what was told of; who does not, all that is done.
        for k, piece, failed in () if workers.progress else list(done):
            if failed is None:
                under_way[k][1].append(piece)
        for k, (prepared, run) in under_way.items():
            if run:
                outcome(prepared)
                yield k, np.concatenate([np.arange(each.first, each.last) for each in run])
        raise
    finally:
        # On an interrupt those waiting never start, and nobody waits for those under way, one
        # column of many years takes seconds.
        ended.set()
        # One for each there may be: a signal may come while one is started, and not yet counted.
        for _ in range(threads):
            ready.put(None)


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
