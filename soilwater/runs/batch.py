"""Some cases through the compiled loop, and what it left by the names of the vocabulary.

Columns with different layers and meshes go through in one call.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh, Meshes
from soilwater.ground.repellent_mat import MatState
from soilwater.kernels import entry_points, remembering, rows
from soilwater.kernels.branches import N_TURNS
from soilwater.kernels.curves import DRY_END_WATER_CONTENT
from soilwater.kernels.remembering import Memories
from soilwater.kernels.rows import Packed
from soilwater.runs.case import Case
from soilwater.runs.drained import drained_side_by_side
from soilwater.runs.forcing import Forcing, forcing_maker, make_forcing
from soilwater.runs.kinds import Cases, felt_by
from soilwater.runs.layout import OF_A_MAT
from soilwater.runs.packing import (
    Piece,
    cut,
    lay_end_to_end,
    lay_memories,
    memory_of,
    with_tables,
)
from soilwater.runs.settings import Settings
from soilwater.runs.starts import Beginning, begin
from soilwater.runs.stepwise import march_with_decisions, needs_decisions
from soilwater.soils.kernel_table import Room, tables_of_column
from soilwater.words.arrays import spread
from soilwater.words.errors import InputError, Status


class Prepared(NamedTuple):
    """Columns that are ready to be marched, a piece at a time."""

    cases: Cases
    meshes: Meshes
    begun: dict[int, Beginning]
    """Where columns begin that were looked at one by one; others come from being flooded."""
    top_head: NDArray[np.float64]
    """(n,): head at the surface at the start [cm]."""
    forcings: list[Forcing]
    """What columns feel, no two the same."""
    feels: NDArray[np.int64]
    """(n,): which of these each feels."""
    decided: dict[int, Forcing]
    """What columns felt of which something was decided on the way, by their place."""
    refusals: dict[int, str]
    packed: Packed
    """As `packing.lay_end_to_end` has them; what marches leave is written there."""
    memories: Memories | None
    """What nodes remember, if one does; the same."""
    pieces: list[Piece]
    straight: NDArray[np.bool_]
    """(n,): whether a column is started, and nothing decided on its way."""
    plain: bool
    """Whether all are straight, and none remembers."""
    settings: Settings
    into: Mapping[str, NDArray[Any]]
    """Arrays for results, by name; none, where they are given as they come."""


def run_chunk(cases: Sequence[Case], settings: Settings) -> dict[str, NDArray[Any]]:
    """Simulate some cases one after the other in the compiled loop.

    A case that cannot be started, or fails on the way, is recorded in its status and loses
    nothing of the others.

    Parameters
    ----------
    cases : sequence of Case
        Columns with weather over one common span.
    settings : Settings
        What they share.

    Returns
    -------
    dict
        An array for each of `settings.names`, cases first, padded with NaN to the longest column.
    """
    prepared = prepare(cases, settings, [len(cases)])
    march(prepared, prepared.pieces[0])
    return outcome(prepared)


def prepare(
    cases: Sequence[Case],
    settings: Settings,
    sizes: Sequence[int],
    into: Mapping[str, NDArray[Any]] | None = None,
) -> Prepared:
    """Lay cases out for the compiled loop, in pieces, where they start.

    Parameters
    ----------
    cases : sequence of Case
        Columns with weather over one common span.
    settings : Settings
        What they share.
    sizes : sequence of int
        Columns of each piece.
    into : mapping of str to ndarray, optional
        What results are to be put in, as `layout.blank` made it, columns first.
    """
    columns = Cases.of(cases)
    meshes = columns.meshes(settings.refinement)
    head, begun, forcings, feels, refusals = begin_cases(columns, meshes)
    soil, pieces, scalars = cut(meshes, sizes)
    packed = lay_end_to_end(columns, meshes, soil, head, forcings, feels, settings, into)
    packed = packed._replace(scalars=scalars)
    packed.status[list(refusals)] = Status.BAD_INPUT
    decides = np.array([needs_decisions(each) for each in columns.kinds])[columns.kind]
    memories = None
    if meshes.remember.any():
        memories = lay_memories({i: each.turns for i, each in begun.items()}, packed)
    straight = ~decides & (packed.status == Status.OK)
    return Prepared(
        columns,
        meshes,
        begun,
        head[packed.node_start[:-1]],
        forcings,
        feels,
        {},
        refusals,
        packed,
        memories,
        pieces,
        straight,
        memories is None and bool(straight.all()),
        settings,
        into or {},
    )


def march(
    prepared: Prepared, piece: Piece, room: tuple[Room, NDArray[np.float64]] | None = None
) -> None:
    """Carry the columns of a piece through time.

    Parameters
    ----------
    prepared : Prepared
        All columns.
    piece : Piece
        One of its pieces.
    room : (Room, ndarray), optional
        Where the thread makes tables, and what is `work` of `Packed` to it; that of all columns,
        which no two threads may share, where it is left out.
    """
    first, last = piece.first, piece.last
    making, work = room or (None, prepared.packed.work)
    scalars = piece.scalars
    if piece.untabulated is None:
        tables, scalars[:] = tables_of_column(tuple(prepared.meshes.soils.take(piece.soils)))
    else:
        tables, _ = piece.untabulated.tables(making, scalars)
    packed = with_tables(prepared.packed, tables, scalars, work)
    if prepared.plain:
        entry_points.march_columns(first, last, packed)
        return
    memories = prepared.memories
    if memories is not None:
        soils = prepared.meshes.soils.take(piece.soils)
        # No two threads may share their room.
        memories = memories._replace(
            memory=memory_of(soils, tables, scalars),
            level=np.zeros_like(memories.level),
            room=np.zeros_like(memories.room),
            work=np.zeros_like(memories.work),
        )
    straight = prepared.straight[first:last]
    remembers = prepared.meshes[first:last].remember
    decided = ~straight & (packed.status[first:last] == Status.OK)
    for i in (first + np.flatnonzero(decided)).tolist():
        case, mesh = prepared.cases[i], prepared.meshes[i]
        forcing = prepared.forcings[prepared.feels[i]]
        mat = prepared.begun[i].mat if i in prepared.begun else MatState()
        prepared.decided[i] = march_with_decisions(packed, memories, i, case, mesh, forcing, mat)
    for begin_at, end in _ranges(straight & ~remembers):
        entry_points.march_columns(first + begin_at, first + end, packed)
    for begin_at, end in _ranges(straight & remembers):
        remembering.march_remembering(first + begin_at, first + end, packed, memories)


def outcome(prepared: Prepared) -> dict[str, NDArray[Any]]:
    """Name what was left by columns that were marched, once; put in its place, where it has one."""
    packed = prepared.packed
    texts = np.full(packed.status.size, Status.OK.sentence, dtype=object)
    for i in np.flatnonzero(packed.status != Status.OK).tolist():
        texts[i] = prepared.refusals.get(i, failure_of(packed, i))
    # Soils are numbered within each piece.
    counts = np.array([each.soils.size for each in prepared.pieces])
    columns = [each.last - each.first for each in prepared.pieces]
    before = np.repeat(np.cumsum(counts) - counts, columns)
    soil = packed.soil + spread(before, prepared.meshes.sizes)
    # On an interrupt others are still marched, and what is decided of them put in here.
    decided, feels = dict(prepared.decided), prepared.feels.copy()
    feels[list(decided)] = len(prepared.forcings) + np.arange(len(decided))
    values = name_results(
        packed._replace(soil=soil),
        prepared.memories,
        prepared.meshes,
        prepared.top_head,
        [*prepared.forcings, *decided.values()],
        feels,
        texts,
        prepared.settings,
        prepared.into,
    )
    for name, room in prepared.into.items():
        if room is not values[name]:
            room[..., : values[name].shape[-1]] = values[name]
    return values


def failure_of(packed: Packed, i: int) -> str:
    """Say how a column failed, and when."""
    status, hours = Status(int(packed.status[i])), packed.clock[i, rows.TIME]
    return f"{status.sentence} Last good time: {hours:.6g} h."


def begin_cases(
    columns: Cases, meshes: Meshes
) -> tuple[
    NDArray[np.float64], dict[int, Beginning], list[Forcing], NDArray[np.int64], dict[int, str]
]:
    """Start and forcing of each case, and what is wrong with those that cannot be started.

    Heads at the nodes [cm] stand end to end; where columns begin that are looked at one by one
    stands beside them, by their place. All others come from being flooded. Forcings that differ
    stand in a list, and beside it which of them each column feels.
    """
    node_start = np.append(0, np.cumsum(meshes.sizes))
    head, left = np.zeros(node_start[-1]), np.ones(len(meshes), dtype=np.bool_)
    drained = [isinstance(each.start, str) and each.start == "drained" for each in columns.kinds]
    wanted = np.flatnonzero(drained).tolist()
    own = columns.kind, columns.soils, columns.filling, meshes
    for places, heads in drained_side_by_side(columns.profiles(), wanted, *own):
        some = np.zeros_like(left)
        some[places] = True
        # Those of all columns, as of an ensemble, are not sorted out.
        head[... if some.all() else spread(some, meshes.sizes)] = heads
        left &= ~some
    begun: dict[int, Beginning] = {}
    refusals: dict[int, str] = {}
    for i in np.flatnonzero(left).tolist():
        try:
            begun[i] = begin(columns[i], meshes[i])
            head[node_start[i] : node_start[i + 1]] = begun[i].head
        except InputError as error:
            refusals[i] = str(error)
    forcing_of = forcing_maker()
    made: dict[Any, int] = {}
    forcings: list[Forcing] = []
    felt: list[int] = []
    for number, case in enumerate(columns.kinds):
        key = felt_by(case)
        if key not in made:
            try:
                forcings.append(forcing_of(case.weather, case.turf, case.irrigation))
                made[key] = len(forcings) - 1
            except InputError as error:
                forcings.append(make_forcing(case.weather, None, ()))
                for i in np.flatnonzero(columns.kind == number).tolist():
                    refusals.setdefault(i, str(error))
                    begun.pop(i, None)
                    head[node_start[i] : node_start[i + 1]] = 0.0
        felt.append(made.get(key, len(forcings) - 1))
    return head, begun, forcings, np.array(felt)[columns.kind], refusals


def _ranges(wanted: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Ranges (first, last + 1) of neighbours that are wanted."""
    ends = np.flatnonzero(np.diff(wanted, prepend=False, append=False))
    return list(zip(ends[::2].tolist(), ends[1::2].tolist(), strict=True))


_IN_THE_LEDGER = {
    "runoff": rows.TOTAL_RUNOFF,
    "transpiration": rows.TOTAL_TRANSPIRATION,
    "potential_transpiration": rows.TOTAL_TRANSPIRATION_DEMAND,
    "evaporation": rows.TOTAL_EVAPORATION,
    "potential_evaporation": rows.TOTAL_EVAPORATION_DEMAND,
    "drainage": rows.TOTAL_DRAINAGE,
    "storage_change": rows.STORAGE_CHANGE,
    "closure_error": rows.CLOSURE_ERROR,
}


def name_results(
    packed: Packed,
    memories: Memories | None,
    meshes: Sequence[Mesh],
    top_head: NDArray[np.float64],
    forcings: Sequence[Forcing],
    feels: NDArray[np.int64],
    texts: NDArray[Any],
    settings: Settings,
    into: Mapping[str, NDArray[Any]] | None = None,
) -> dict[str, NDArray[Any]]:
    """Name what the kernel left by the words of the vocabulary.

    Of each column the head at the surface at the start [cm], and which forcing it `feels`. Heads
    are made suctions where they lie: to ask the system for as much room again takes longer than
    all else here.
    """
    given: Mapping[str, Any] = into or {}

    def mm(place: int, name: str = "") -> NDArray[np.float64]:
        return np.multiply(packed.out_ledger[:, :, place], 10.0, out=given.get(name))

    # A pond held from outside is none of the column's water.
    ponds = 0.0 if settings.surface is not None else 10.0
    ponding = ponds * np.maximum(packed.out_head[:, :, 0], 0.0)
    pond_at_start = ponds * np.maximum(top_head, 0.0)[:, None]
    values: dict[str, NDArray[Any]] = {
        "water_content": packed.out_water,
        "suction": packed.out_suction,
        **{name: mm(place, name) for name, place in _IN_THE_LEDGER.items()},
        "ponding": ponding,
        "steps": packed.counts[:, rows.STEPS],
        "rejected_steps": packed.counts[:, rows.REJECTED],
        "newton_iterations": packed.counts[:, rows.ITERATIONS],
        "status": packed.status,
        "status_text": texts,
    }
    onto_the_surface = mm(rows.TOTAL_INFLOW) + pond_at_start
    values["infiltration"] = onto_the_surface - values["runoff"] - ponding
    if "drying_suction" in settings.names:
        values["drying_suction"], values["turning_suction"] = _remembered(packed, memories, meshes)
    if OF_A_MAT in settings.names:
        values[OF_A_MAT] = np.array([each.mat_wet_for for each in forcings])[feels]
    if "storage" in settings.names:
        # The ledger counts water above the dry end of the curves, and what stands on them.
        held = mm(rows.INITIAL_STORAGE) + values["storage_change"]
        values["storage"] = held + dry_end_storage(packed)[:, None]
    values |= _applied(forcings, feels, np.isnan(values["storage_change"]), settings)
    if "refused" in values:
        values["runoff"] = values["runoff"] + values["refused"]
    # Last of all, since others are read off the heads.
    values["node_suction"] = np.negative(packed.out_head, out=packed.out_head)
    return {name: values[name] for name in settings.names}


def _remembered(
    packed: Packed, memories: Memories | None, meshes: Sequence[Mesh]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Suctions at which draining sand holds the same, and those at which nodes turned [cm]."""
    # Where nothing is remembered, sand holds what it always does at its suction.
    drying = np.stack([-packed.out_head[..., :-1], -packed.out_head[..., 1:]], axis=2)
    # Below the last node of a shorter column there is no cell.
    drying[:, :, 0][np.isnan(drying[:, :, 1])] = np.nan
    n, _, longest = packed.out_head.shape
    turning = np.full((n, N_TURNS, longest), np.nan)
    if memories is not None:
        for i, mesh in enumerate(meshes):
            if mesh.remembers:
                a, b = packed.node_start[i], packed.node_start[i + 1]
                drying[i] = -memories.out_effective[i]
                # Behind the first place, which is that of flooded sand; before the last, where the
                # node stands.
                turns = memories.nest[a:b, 1:-1]
                known = np.arange(1, N_TURNS + 1) < memories.places[a:b, None] - 1
                turning[i, :, : b - a] = np.where(known, -turns, np.nan).T
    return drying, turning


def dry_end_storage(packed: Packed) -> NDArray[np.float64]:
    """Water each column holds at the dry end of its curves [mm]."""
    content = packed.scalars[:, DRY_END_WATER_CONTENT][packed.soil]
    held = np.zeros(packed.z.size)
    np.multiply(content[:-1], packed.z[1:] - packed.z[:-1], out=held[:-1])
    # Below the last node of a column there is no interval, nor below the last of all: sums of
    # another length end on another last digit.
    held[packed.node_start[1:] - 1] = 0.0
    stored: NDArray[np.float64] = 10.0 * np.add.reduceat(held, packed.node_start[:-1])
    return stored


def _applied(
    forcings: Sequence[Forcing],
    feels: NDArray[np.int64],
    unknown: NDArray[np.bool_],
    settings: Settings,
) -> dict[str, NDArray[np.float64]]:
    """Amounts that reached each column, up to its output times [mm], by name."""
    found: dict[str, NDArray[np.float64]] = {}
    for name in ("rain", "irrigation", "interception", "refused"):
        amounts = [getattr(each, name) for each in forcings]
        if name in settings.names or (name == "refused" and any(map(np.any, amounts))):
            up_to = [
                each.cumulative(amount, settings.output_hours)
                for each, amount in zip(forcings, amounts, strict=True)
            ]
            reached = np.array(up_to)
            found[name] = np.where(
                unknown, np.nan, reached if len(forcings) == 1 else reached[feels]
            )
    return found
