"""Columns that are kept standing, and go on from there under other water.

A plan is made by giving columns a little more water, and looking again what comes of it. What is
added at noon on Thursday changes nothing before; so columns are packed once, their states are kept
at some output times, and each is marched on from the last of these that is the same under the other
water as it was. A run does not depend on where it was cut at an output time, so that this is, bit
for bit, the run from the start.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Meshes
from soilwater.ground.turf import Turf
from soilwater.kernels import entry_points, remembering, rows
from soilwater.kernels.remembering import Memories
from soilwater.kernels.rows import Packed
from soilwater.runs.batch import begin_cases, dry_end_storage, failure_of, run_chunk
from soilwater.runs.case import Case
from soilwater.runs.drained import mean_over_depth
from soilwater.runs.forcing import Forcing, forcing_maker
from soilwater.runs.kinds import Cases, felt_by
from soilwater.runs.packing import lay_down, pack, pack_memories
from soilwater.runs.processors import processors
from soilwater.runs.scheduling import LARGEST_CHUNK, Workers, finished_chunks
from soilwater.runs.settings import Settings, make_settings
from soilwater.runs.stepwise import needs_decisions
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.errors import RunError, Status

_REMEMBERED = ("nest", "places")
_ROOM, _ROOM_OF_MEMORIES = ("work",), ("level", "room", "work")
_FEWEST = 8
"""Columns that are worth a thread."""
_TOTALS = {
    "transpiration": rows.TOTAL_TRANSPIRATION,
    "demand": rows.TOTAL_TRANSPIRATION_DEMAND,
    "drainage": rows.TOTAL_DRAINAGE,
    "runoff": rows.TOTAL_RUNOFF,
}
_WHOLE = {
    "storage": "storage",
    "transpiration": "transpiration",
    "demand": "potential_transpiration",
    "drainage": "drainage",
    "runoff": "runoff",
}
"""What came of a column, as a run from the start calls it."""
_START = -1
"""Number of an output time before the first."""
_DECIDED = -1
"""In place of a state: columns of which something is decided on the way are run from the start."""


class Watered(NamedTuple):
    """What came of columns over the output times: shape (columns, times).

    `reading` of the rods [1], `storage` of the whole column [mm]; and since the start [mm] what was
    transpired, what of that was asked for, what drained and what ran off.
    """

    reading: NDArray[np.float64]
    storage: NDArray[np.float64]
    transpiration: NDArray[np.float64]
    demand: NDArray[np.float64]
    drainage: NDArray[np.float64]
    runoff: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PackedColumns:
    """Cases laid end to end once, as they start.

    Parameters
    ----------
    cases : Cases
        What was packed.
    meshes : Meshes
        Their nodes.
    feels : ndarray of int, shape (columns,)
        Which columns share weather, turf and the water they are given of their own.
    forcing_of : callable
        Makes the forcing of these, as `make_forcing`.
    packed, memories : Packed; Memories or None
        Their arrays.
    dry_end : ndarray, shape (columns,)
        What each holds at the dry end of its curves [mm].
    settings : Settings
        What they share.
    rod : float
        Length of the rods [cm].
    """

    cases: Cases
    meshes: Meshes
    feels: NDArray[np.int64]
    forcing_of: Callable[[Weather, Turf | None, Sequence[Event]], Forcing]
    packed: Packed
    memories: Memories | None
    dry_end: NDArray[np.float64]
    settings: Settings
    rod: float

    @classmethod
    def of(
        cls,
        cases: Sequence[Case],
        rod: float,
        *,
        output: float,
        tolerance: float = Settings.tolerance,
        refinement: float = Settings.refinement,
    ) -> PackedColumns:
        """Pack cases.

        Parameters
        ----------
        cases : sequence of Case
            With weather over one common span.
        rod : float
            Length of the rods [cm].
        output : float
            Interval of the results [h].
        tolerance, refinement
            As for `soilwater.simulate_many`.

        Raises
        ------
        RunError
            If a column cannot be started, with its sentence.
        """
        settings = make_settings(
            cases[0].weather,
            output=output,
            keep=("node_suction", *_WHOLE.values()),
            ponding_limit=Settings.ponding_limit,
            surface=None,
            tolerance=tolerance,
            refinement=refinement,
            max_steps=Settings.max_steps,
        ).for_cases(cases)
        columns = Cases.of(cases)
        meshes = columns.meshes(refinement)
        head, begun, forcings, felt, refusals = begin_cases(columns, meshes)
        if refusals:
            raise columns_failed(len(refusals), len(cases), next(iter(refusals.values())))
        # Room for outputs is made where columns are marched.
        bare = replace(settings, output_hours=settings.output_hours[:1])
        packed = pack(columns, meshes, [head], [forcings[each] for each in felt.tolist()], bare)
        memories = None
        if meshes.remember.any():
            turns = {i: each.turns for i, each in begun.items()}
            memories = pack_memories(meshes, turns, packed)
        dry_end = dry_end_storage(packed)
        numbers: dict[Any, int] = {}
        keys = [(felt_by(kind), needs_decisions(kind)) for kind in columns.kinds]
        feels = np.array([numbers.setdefault(key, len(numbers)) for key in keys])[columns.kind]
        return cls(
            columns, meshes, feels, forcing_maker(), packed, memories, dry_end, settings, rod
        )

    def part(self, numbers: NDArray[np.int64]) -> PackedColumns:
        """Keep some of the columns, by their numbers."""
        packed, memories = self.packed, self.memories
        nodes, node_start = self.nodes(numbers)
        parts: dict[str, Any] = {name: getattr(packed, name)[nodes] for name in rows.PER_NODE}
        parts |= {name: getattr(packed, name)[numbers] for name in rows.PER_COLUMN}
        if memories is not None:
            memories = memories._replace(nest=memories.nest[nodes], places=memories.places[nodes])
        return replace(
            self,
            cases=self.cases.take(numbers),
            meshes=self.meshes.take(numbers),
            feels=self.feels[numbers],
            packed=packed._replace(**parts, node_start=node_start),
            memories=memories,
            dry_end=self.dry_end[numbers],
        )

    def forcings(self, numbers: NDArray[np.int64], events: Sequence[Event]) -> dict[int, Forcing]:
        """Make what columns feel with water beside their own, by `feels`, unless it is decided."""
        found: dict[int, Forcing] = {}
        for like, place in zip(*np.unique(self.feels[numbers], return_index=True), strict=True):
            case = self.cases.kinds[self.cases.kind[numbers[place]]]
            if not needs_decisions(case):
                water = (*case.irrigation, *events)
                found[int(like)] = self.forcing_of(case.weather, case.turf, water)
        return found

    def nodes(self, numbers: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Numbers of the nodes of some columns, and where each column would begin among them."""
        begin = self.packed.node_start
        sizes = np.diff(begin)[numbers]
        start = np.concatenate([[0], np.cumsum(sizes)])
        return np.arange(start[-1]) + np.repeat(begin[numbers] - start[:-1], sizes), start


@dataclass(frozen=True, eq=False)
class Standing:
    """Columns that were marched under some water, and where they stood on the way.

    Parameters
    ----------
    columns : PackedColumns
        As they start.
    kept_at : list of int
        Numbers of the output times at which states are kept, one before the first in front.
    states : list of dict
        What of `rows.State` a march goes on from, by name, at each of these; and what nodes
        remember.
    under : list of Forcing or None
        What each column felt that came to where it is; None of one that was not marched yet.
    reached : ndarray of int, shape (columns,)
        The last state that each has come to; one more than there are for the end.
    found : Watered
        What came of it, as far as that.
    """

    columns: PackedColumns
    kept_at: list[int]
    states: list[dict[str, NDArray[Any]]]
    under: list[Forcing | None]
    reached: NDArray[np.int64]
    found: Watered

    @classmethod
    def of(cls, columns: PackedColumns, kept_at: Sequence[int]) -> Standing:
        """Let columns stand where they start.

        Parameters
        ----------
        columns : PackedColumns
            Any number.
        kept_at : sequence of int
            Numbers of the output times at which states are kept: the last before water may come.
        """
        size, times = len(columns.cases), columns.settings.output_hours.size
        kept = [_START, *sorted({int(at) for at in kept_at if at < times - 1})]
        names = (*rows.STATE_OF_NODES, *rows.STATE_OF_COLUMNS)
        start = {name: getattr(columns.packed, name) for name in names}
        if columns.memories is not None:
            start |= {name: getattr(columns.memories, name) for name in _REMEMBERED}
        room = [{name: np.empty_like(each) for name, each in start.items()} for _ in kept[1:]]
        found = Watered(*(np.full((size, times), np.nan) for _ in Watered._fields))
        return cls(
            columns, kept, [start, *room], [None] * size, np.zeros(size, dtype=np.int64), found
        )

    def water(
        self,
        numbers: NDArray[np.int64],
        events: Sequence[Event],
        n_threads: int | None = None,
        tell: Callable[[int], object] = lambda more: None,
        until: int | None = None,
    ) -> Watered:
        """Give some columns water beside their own, in place of what they were given before.

        Parameters
        ----------
        numbers : ndarray of int
            Which of the columns.
        events : sequence of Event
            Water.
        n_threads : int, optional
            Threads to use.
        tell : callable, optional
            Is given how many more columns are done.
        until : int, optional
            Number of the output time that they are to come to, one at which states are kept; the
            last when left out. What is found beyond it is not under this water.

        Returns
        -------
        Watered
            Of these columns.

        Raises
        ------
        RunError
            If a column cannot be carried through, with its sentence.
        """
        forcings = self.columns.forcings(numbers, events)
        remember = self.columns.meshes.remember
        end = len(self.kept_at) if until is None else self.kept_at.index(until)
        feels = self.columns.feels[numbers].tolist()
        now = [forcings.get(like) for like in feels]
        last = self._last_states([self.under[number] for number in numbers.tolist()], now)
        groups: dict[tuple[int, bool], list[int]] = {}
        for number, same in zip(numbers.tolist(), last, strict=True):
            state = min(same, int(self.reached[number]))
            if state < end:
                key = state, bool(remember[number])
                groups.setdefault(key, []).append(number)
        pieces = [
            (state, part)
            for (state, _), group in groups.items()
            for part in _split(group, n_threads)
        ]

        def go_on(piece: tuple[int, NDArray[np.int64]], _: Settings) -> dict[int, str]:
            state, columns = piece
            if state == _DECIDED:
                return self._run_whole(columns, events)
            feels = self.columns.feels[columns].tolist()
            return self._march(state, end, columns, [forcings[each] for each in feels])

        failed: dict[int, str] = {}
        settings, workers = self.columns.settings, Workers(n_threads)
        if min(len(pieces), n_threads or processors()) > 1:
            finished = finished_chunks(pieces, settings, workers, go_on)
        else:
            # To start a thread takes as long as to march a few columns.
            finished = ((k, go_on(piece, settings)) for k, piece in enumerate(pieces))
        with closing(finished):
            for k, of_piece in finished:
                failed |= of_piece
                tell(pieces[k][1].size)
        if failed:
            raise columns_failed(len(failed), numbers.size, failed[min(failed)])
        return Watered(*(each[numbers] for each in self.found))

    def _last_states(
        self, before: Sequence[Forcing | None], now: Sequence[Forcing | None]
    ) -> list[int]:
        """Find the last state of each column that is under what it feels now as it was, or the end.

        `_DECIDED` where nothing is known beforehand of what it feels.
        """
        # Both end with the weather.
        found = [_DECIDED if new is None else len(self.kept_at) for new in now]
        differ: dict[tuple[int, int], list[int]] = {}
        for i, (old, new) in enumerate(zip(before, now, strict=True)):
            if old is None and new is not None:
                found[i] = 0
            elif old is not None and new is not None and old is not new:
                differ.setdefault((len(old.intervals), len(new.intervals)), []).append(i)
        kept = self.columns.settings.output_hours[self.kept_at[1:]]
        for lengths, alike in differ.items():
            # All at once: columns may each have a turf, and so a forcing, of their own.
            was, is_now = (
                np.array([each[i].intervals[: min(lengths)] for i in alike])  # type: ignore[union-attr]
                for each in (before, now)
            )
            other = (was != is_now).any(axis=2)
            begins = is_now[np.arange(len(alike)), np.argmax(other, axis=1), rows.START]
            states = np.searchsorted(kept, begins, side="right")
            for k in np.flatnonzero(other.any(axis=1)).tolist():
                found[alike[k]] = int(states[k])
        return found

    def _march(
        self, from_state: int, end: int, numbers: NDArray[np.int64], forcings: list[Forcing]
    ) -> dict[int, str]:
        """March columns on to a state or the end, and keep where they stand; say which failed."""
        part = self.columns.part(numbers)
        laid, ranges = lay_down(forcings)
        packed = part.packed._replace(forcing=laid, forcing_range=ranges)
        packed = _with_own_room(packed, _ROOM)
        memories = part.memories if part.meshes[0].remembers else None
        memories = memories and _with_own_room(memories, _ROOM_OF_MEMORIES)
        standing = self._views(packed, memories, numbers)
        for name, own, where in standing:
            own[:] = self.states[from_state][name][where]
        hours = part.settings.output_hours
        heads, effective, ledgers = [], [], []
        failed: dict[int, str] = {}
        kept_at = [*self.kept_at, hours.size - 1][from_state : end + 1]
        for state, (before, last) in enumerate(pairwise(kept_at), from_state + 1):
            packed = _with_outputs(packed, hours[before + 1 : last + 1])
            if memories is None:
                entry_points.march_columns(0, numbers.size, packed)
            else:
                room = np.full((*packed.out_water.shape[:2], 2, packed.out_water.shape[2]), np.nan)
                memories = memories._replace(out_effective=room)
                remembering.march_remembering(0, numbers.size, packed, memories)
                effective.append(room)
            for k in np.flatnonzero(packed.status != Status.OK).tolist():
                failed.setdefault(int(numbers[k]), failure_of(packed, k))
            heads.append(packed.out_head)
            ledgers.append(packed.out_ledger)
            if state < len(self.states):
                for name, own, where in standing:
                    self.states[state][name][where] = own
        for number, forcing in zip(numbers.tolist(), forcings, strict=True):
            self.under[number] = forcing
        self.reached[numbers] = end
        mm = 10.0 * np.concatenate(ledgers, axis=1)
        held = mm[:, :, rows.INITIAL_STORAGE] + mm[:, :, rows.STORAGE_CHANGE]
        drying = np.concatenate(effective, axis=1) if effective else None
        since = numbers, slice(kept_at[0] + 1, kept_at[-1] + 1)
        self.found.reading[since] = _readings(part, np.concatenate(heads, axis=1), drying)
        self.found.storage[since] = held + part.dry_end[:, None]
        for name, total in _TOTALS.items():
            getattr(self.found, name)[since] = mm[:, :, total]
        return failed

    def _views(
        self, packed: Packed, memories: Memories | None, numbers: NDArray[np.int64]
    ) -> list[tuple[str, NDArray[Any], NDArray[np.int64]]]:
        """Name what a march of some columns goes on from, and where in a state it is kept."""
        nodes, _ = self.columns.nodes(numbers)
        found = [(name, getattr(packed, name), nodes) for name in rows.STATE_OF_NODES]
        found += [(name, getattr(packed, name), numbers) for name in rows.STATE_OF_COLUMNS]
        if memories is not None:
            found += [(name, getattr(memories, name), nodes) for name in _REMEMBERED]
        return found

    def _run_whole(self, numbers: NDArray[np.int64], events: Sequence[Event]) -> dict[int, str]:
        """Run columns from the start of which something is decided; say which failed."""
        part = self.columns.part(numbers)
        values = run_chunk([case.with_water(events) for case in part.cases], part.settings)
        for k, (number, mesh) in enumerate(zip(numbers.tolist(), part.meshes, strict=True)):
            head = -values["node_suction"][k, :, : mesh.depth.size]
            drying = None
            if mesh.remembers:
                drying = values["drying_suction"][k, :, :, : mesh.depth.size - 1]
            self.found.reading[number] = mean_over_depth(mesh, head, 0.0, part.rod, drying)
        for name, called in _WHOLE.items():
            getattr(self.found, name)[numbers] = values[called]
        failed = np.flatnonzero(values["status"]).tolist()
        return {int(numbers[k]): str(values["status_text"][k]) for k in failed}


def columns_failed(failed: int, of: int, sentence: str) -> RunError:
    """Make the error of columns that could not be carried through, with what is said of the first.

    Parameters
    ----------
    failed, of : int
        How many did, and of how many.
    sentence : str
        Of the first.
    """
    return RunError(f"{failed} of {of} columns failed, the first with: {sentence}")


def _split(numbers: list[int], n_threads: int | None) -> list[NDArray[np.int64]]:
    fewest = max(1, min(n_threads or processors(), len(numbers) // _FEWEST))
    return np.array_split(numbers, max(fewest, -(-len(numbers) // LARGEST_CHUNK)))


def _with_own_room(group: Any, names: Sequence[str]) -> Any:
    """Make room to work in, which no two threads may share."""
    return group._replace(**{name: np.zeros_like(getattr(group, name)) for name in names})


def _with_outputs(packed: Packed, hours: NDArray[np.float64]) -> Packed:
    """Make room for what columns leave at some output times [h]."""
    size, longest = packed.clock.shape[0], packed.out_head.shape[2]
    return packed._replace(
        out_time=hours,
        out_head=np.full((size, hours.size, longest), np.nan),
        out_water=np.full((size, hours.size, longest - 1), np.nan),
        out_suction=np.empty((size, hours.size, 0)),
        out_ledger=np.full((size, hours.size, rows.N_LEDGER), np.nan),
    )


def _readings(
    columns: PackedColumns, head: NDArray[np.float64], effective: NDArray[np.float64] | None
) -> NDArray[np.float64]:
    """Read the rods in heads of shape (columns, times, nodes), as `drained.mean_over_depth` does.

    Its tables would have to be made anew, where there are more sands than it keeps.
    """
    packed = columns.packed
    found = np.empty(head.shape[:2])
    for i, (a, b) in enumerate(pairwise(packed.node_start.tolist())):
        of_column = packed.z[a:b], packed.soil[a : b - 1], packed.tables, packed.scalars
        rod = 0.0, columns.rod, found[i]
        if effective is None:
            values = np.ascontiguousarray(head[i, :, : b - a])
            entry_points.mean_water_contents(values, *of_column, *rod)
        else:
            values = np.ascontiguousarray(effective[i, :, :, : b - a - 1])
            remembering.mean_water_contents_of_branches(values, *of_column, *rod)
    return found
