"""Cases laid end to end as the arrays of the compiled loop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache, partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh, Meshes
from soilwater.ground.turf import Turf
from soilwater.kernels import rows
from soilwater.kernels.branch_look_up import N_ROOM
from soilwater.kernels.branches import FLOODED, PLACES
from soilwater.kernels.cache import compile_before
from soilwater.kernels.curves import (
    N_BINS,
    ROW_LENGTH,
    SCALARS,
    SCALE,
    SPECIFIC_STORAGE,
    WATER,
    WATER_AT_SATURATION,
    bin_edges,
)
from soilwater.kernels.elementary import BLOCK
from soilwater.kernels.entry_points import march_columns, work_size
from soilwater.kernels.remembering import Memories, branch_work_size
from soilwater.kernels.rows import Packed
from soilwater.kernels.uptake import NO_REDUCTION
from soilwater.runs.case import Case
from soilwater.runs.forcing import Forcing
from soilwater.runs.kinds import Cases
from soilwater.runs.processors import tables_made_meanwhile
from soilwater.runs.settings import Settings
from soilwater.soils import Soil
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.kernel_table import (
    Untabulated,
    tables_of_column,
    untabulated,
)
from soilwater.words.arrays import spread, which_occur

EVAPORATION_HALF_SUCTION = 1.0e4
"""Suction [cm] at the surface that halves evaporation (common practice, no source). It hardly
matters: by then the soil below conducts next to nothing, and ten dry days take the same water from
bare sand or loam within 1 %, wherever it lies between 10^3 and 4 x 10^5 cm (measured here)."""
EVAPORATION_STEEPNESS = 3.0
"""Exponent [1] of the S-shaped fall about that suction, as for uptake (`SShapedStress`)."""
SMALLEST_STEP, LARGEST_STEP = 1.0e-9, 1.0e3
"""Bounds of a time step [h]."""
NEARLY_NONE = 1.0e-3
"""Share of the water that has drained where a sand begins to drain (our own choice)."""


def pack(
    cases: Sequence[Case],
    meshes: Sequence[Mesh],
    heads: Sequence[NDArray[np.float64]],
    forcings: Sequence[Forcing],
    settings: Settings,
) -> Packed:
    """Lay cases end to end, with the tables of their soils."""
    columns, head, own = Cases.of(cases), np.concatenate(heads), Meshes.of(meshes)
    soil, (whole,), _ = cut(own, [len(own)])
    feels = np.arange(len(own))
    packed = lay_end_to_end(columns, own, soil, head, forcings, feels, settings)
    if whole.untabulated is None:
        tables, scalars = tables_of_column(tuple(own.soils.take(whole.soils)))
    else:
        tables, scalars = whole.untabulated.tables()
    return packed._replace(tables=tables, scalars=scalars)


def lay_end_to_end(
    columns: Cases,
    meshes: Meshes,
    soil: NDArray[np.int64],
    head: NDArray[np.float64],
    forcings: Sequence[Forcing],
    feels: NDArray[np.int64],
    settings: Settings,
    into: Mapping[str, NDArray[Any]] | None = None,
) -> Packed:
    """Lay columns end to end; forcing and roots that they share are made and laid down once.

    Their heads [cm] are so already, and stay what they are; which forcing each feels stands beside
    these. Their soils are numbered as `cut` does; tables are made where columns are marched, of a
    piece at a time. Where there are arrays for their results, by the names of the vocabulary,
    marches write to these.
    """
    n, n_out = len(columns), settings.output_hours.size
    sizes, z = meshes.sizes, meshes.depths()
    given = into or {}
    out_head, out_water = given.get("node_suction"), given.get("water_content")
    out_suction = given.get("suction")
    # Arrays for results may have room for longer columns than these are.
    over_nodes = {"node_suction": 0, "water_content": 1, "suction": 1}
    rooms = [given[name].shape[-1] + more for name, more in over_nodes.items() if name in given]
    longest = max([int(sizes.max()), *rooms])
    if out_head is None:
        out_head = np.full((n, n_out, longest), np.nan)
    if out_water is None:
        out_water = np.full((n, n_out, longest - 1), np.nan)
    if out_suction is None:
        asked = "suction" in settings.names
        out_suction = np.full((n, n_out, longest - 1 if asked else 0), np.nan)
    forcing, forcing_range = lay_down(forcings)
    conditions, codes = _conditions(columns.kinds, settings)
    ledger = np.zeros((n, rows.N_LEDGER))
    ledger[:, rows.INITIAL_STORAGE] = np.nan
    clock = np.zeros((n, rows.N_CLOCK))
    clock[:, rows.NEXT_STEP] = LARGEST_STEP
    controls = np.empty((n, rows.N_CONTROLS))
    controls[:] = settings.tolerance, SMALLEST_STEP, LARGEST_STEP, settings.max_steps
    packed = Packed(
        node_start=np.append(0, np.cumsum(sizes)),
        z=z,
        soil=_below_nodes(meshes, soil),
        root=_roots(columns, meshes),
        head=head.copy(),
        stored=np.zeros(z.size),
        head_before=head.copy(),
        rate=np.zeros(z.size),
        uptake=np.zeros(z.size),
        conditions=conditions[columns.kind],
        codes=codes[columns.kind],
        tables=np.empty((0, N_BINS, ROW_LENGTH)),
        scalars=np.empty((0, SCALARS)),
        forcing=forcing,
        forcing_range=forcing_range[feels],
        out_time=settings.output_hours,
        controls=controls,
        clock=clock,
        ledger=ledger,
        counts=np.zeros((n, rows.N_COUNTS), dtype=np.int64),
        status=np.zeros(n, dtype=np.int64),
        out_head=out_head,
        out_water=out_water,
        out_suction=out_suction,
        out_ledger=np.full((n, n_out, rows.N_LEDGER), np.nan),
        # As plain Python: compiling this one product would cost every process a tenth of a second.
        work=np.zeros(work_size.py_func(longest)),
    )
    compile_before(march_columns, (0, n, packed), partial(tables_made_meanwhile, meshes.soils))
    return packed


def with_tables(
    packed: Packed,
    tables: NDArray[np.float64],
    scalars: NDArray[np.float64],
    work: NDArray[np.float64],
) -> Packed:
    """Give a thread columns with tables and room of its own.

    Behind a march no cache is warm, and `_replace` looks up every name.
    """
    arrays = list(packed)
    arrays[_TABLES], arrays[_SCALARS], arrays[_WORK] = tables, scalars, work
    return Packed._make(arrays)


_TABLES, _SCALARS, _WORK = map(Packed._fields.index, ("tables", "scalars", "work"))


class Piece(NamedTuple):
    """Columns that are marched in one go, from the first to before the last, and their soils."""

    first: int
    last: int
    soils: NDArray[np.int64]
    """Which soils of the meshes these are."""
    scalars: NDArray[np.float64]
    """Where those of their tables are put, among those of all pieces."""
    untabulated: Untabulated | None
    """What their tables are made of; None of a single column, whose tables are kept."""


def cut(
    meshes: Meshes, sizes: Sequence[int]
) -> tuple[NDArray[np.int64], list[Piece], NDArray[np.float64]]:
    """Cut columns into pieces that need the tables of their own soils only.

    Parameters
    ----------
    meshes : Meshes
        Of all columns.
    sizes : sequence of int
        Columns of each piece.

    Returns
    -------
    soil : ndarray of int, shape (n, most)
        Soils of each column as `meshes.own` has them, but by their numbers among those of a piece.
    pieces : list of Piece
        One after the other.
    scalars : ndarray, shape (soils of all pieces, SCALARS)
        Zeros, in place of those of their tables.
    """
    ends = np.cumsum(sizes)
    piece, n_soils = spread(np.arange(len(sizes)), np.array(sizes)), len(meshes.soils)
    # All pieces at once: what is done for each, and again where no cache is warm, adds up.
    met, place = which_occur(meshes.own + n_soils * piece[:, np.newaxis])
    numbers = met % n_soils
    last = np.searchsorted(met, n_soils * np.arange(1, len(sizes) + 1))
    first = np.append(0, last[:-1])
    soil = place - first[piece][:, np.newaxis]
    parts: Sequence[Untabulated | None] = [None]
    if len(meshes) > 1:
        parts = untabulated(meshes.soils, numbers).parted(last)
    scalars = np.zeros((met.size, SCALARS))
    pieces = [
        Piece(end - size, end, numbers[a:b], scalars[a:b], part)
        for size, end, a, b, part in zip(
            sizes, ends.tolist(), first.tolist(), last.tolist(), parts, strict=True
        )
    ]
    return soil, pieces, scalars


def lay_down(forcings: Sequence[Forcing]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Lay the intervals of forcings end to end, shared ones once; with the rows of each."""
    felt = dict(zip(map(id, forcings), forcings, strict=True))
    intervals = [forcing.intervals for forcing in felt.values()]
    among = dict(zip(felt, range(len(felt)), strict=True))
    feels = np.array([among[each] for each in map(id, forcings)])
    ends = np.cumsum([each.shape[0] for each in intervals])
    ranges = np.stack([np.append(0, ends[:-1]), ends], axis=1)
    return np.concatenate(intervals), ranges[feels]


def _below_nodes(meshes: Meshes, soil: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find the soil below each node, at the last one that above it, given those of each column."""
    number = np.concatenate([part for each in meshes.nodes for part in (each.soil, each.soil[-1:])])
    begin = spread(soil.shape[1] * np.arange(len(meshes)), meshes.sizes)
    below: NDArray[np.int64] = soil.ravel()[begin + meshes.lay(number)]
    return below


def pack_memories(
    meshes: Sequence[Mesh], turns: Mapping[int, NDArray[np.float64]], packed: Packed
) -> Memories:
    """Lay what columns remember end to end, beside what `pack` made of them.

    Parameters
    ----------
    meshes : sequence of Mesh
        As for `pack`.
    turns : mapping of int to ndarray, shape (n_nodes, any)
        Heads [cm] at which each node of a column turned, the oldest first; not a number after the
        last. Columns that are left out came where they are by draining from saturation.
    packed : Packed
        What `pack` made.

    Returns
    -------
    Memories
        With room for the outputs.
    """
    own = Meshes.of(meshes)
    _, (whole,), _ = cut(own, [len(own)])
    memory = memory_of(own.soils.take(whole.soils), packed.tables, packed.scalars)
    return lay_memories(turns, packed)._replace(memory=memory)


def memory_of(
    soils: Sequence[Soil], tables: NDArray[np.float64], scalars: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How soils remember, by the numbers of their tables."""
    memory = np.tile([1.0, 1.0, 0.0, 0.0, 0.0, 0.0], (len(soils), 1))
    for i, soil in enumerate(soils):
        if isinstance(soil, Hysteretic):
            suction = _end_of_wetting(soil)
            full, elastic = _elastic_to(tables[i], scalars[i])
            per_cm = SPECIFIC_STORAGE / scalars[i, WATER_AT_SATURATION]
            memory[i] = soil.suction_ratio, soil.wet_share, suction, full, elastic, per_cm
    return memory


def lay_memories(turns: Mapping[int, NDArray[np.float64]], packed: Packed) -> Memories:
    """Lay what nodes remember end to end, without how soils do, as `pack_memories` has both."""
    nest = np.full((packed.z.size, PLACES), np.nan)
    for column, own in turns.items():
        a = packed.node_start[column]
        nest[a : a + own.shape[0], 1 : 1 + own.shape[1]] = own
    count = np.isfinite(nest).sum(axis=1) + 2
    nest = np.nan_to_num(nest)
    nest[:, 0] = FLOODED
    # Last in each nest is where the node stands.
    nest[np.arange(count.size), count - 1] = np.minimum(packed.head, 0.0)
    n, n_out, longest = packed.out_head.shape
    return Memories(
        memory=memory_of((), packed.tables, packed.scalars),
        nest=nest,
        places=count,
        level=np.zeros((longest - 1, 2, PLACES, 2)),
        room=np.zeros(N_ROOM * (longest + BLOCK)),
        work=np.zeros(branch_work_size.py_func(longest)),
        out_effective=np.full((n, n_out, 2, longest - 1), np.nan),
    )


@lru_cache(maxsize=4096)
def _end_of_wetting(soil: Hysteretic) -> float:
    """Suction [cm] where the wetting curve ends; a plan asks it of the same sands in every run.

    A bound in a search, so that a little more is no harm.
    """
    return 1.01 * float(soil.suction_at(soil.rewetted_saturation * soil.theta_s))


def _elastic_to(table: NDArray[np.float64], scalars: NDArray[np.float64]) -> tuple[float, float]:
    """Suctions [cm] up to which a table holds what specific storage leaves, and nearly all.

    A branch that begins at saturation with air trapped gives no water at first: up to there it has
    to have that storage, or the head of its node would follow from nothing.
    """
    suction = scalars[SCALE] * bin_edges()[:-1]
    full = scalars[WATER_AT_SATURATION]
    drained = full - table[:, WATER]
    gives_way = max(int(np.argmax(drained > SPECIFIC_STORAGE * suction + 1e-15)) - 1, 0)
    nearly = max(int(np.argmax(drained > NEARLY_NONE * full)), gives_way)
    return float(suction[gives_way]), float(suction[nearly])


def _conditions(
    cases: Sequence[Case], settings: Settings
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Conditions and codes of columns, as `soilwater.kernels.rows` has them."""
    conditions = np.zeros((len(cases), rows.N_CONDITIONS))
    codes = np.zeros((len(cases), rows.N_CODES), dtype=np.int64)
    conditions[:, rows.POND_LIMIT] = settings.ponding_limit
    if settings.surface is not None:
        codes[:, rows.SURFACE_CODE] = rows.HELD_SURFACE
        conditions[:, rows.SURFACE_VALUE] = -settings.surface.suction
    conditions[:, rows.EVAPORATION_HALF_SUCTION] = EVAPORATION_HALF_SUCTION
    conditions[:, rows.EVAPORATION_STEEPNESS] = EVAPORATION_STEEPNESS
    codes[:, rows.STRESS_CODE] = NO_REDUCTION
    bases = [case.profile.base.kernel_condition(case.profile.depth) for case in cases]
    codes[:, rows.BASE_CODE], conditions[:, rows.BASE_VALUE] = zip(*bases, strict=True)
    under: dict[int, list[int]] = {}
    for i, case in enumerate(cases):
        under.setdefault(id(case.turf), []).append(i)
    for several in under.values():
        turf = cases[several[0]].turf
        if turf is not None:
            codes[several, rows.STRESS_CODE] = turf.stress.kernel_code
            stress = slice(rows.STRESS_0, rows.STRESS_4 + 1)
            conditions[several, stress] = turf.stress.kernel_parameters
            conditions[several, rows.COMPENSATION_THRESHOLD] = turf.compensation
    return conditions, codes


def _roots(columns: Cases, meshes: Meshes) -> NDArray[np.float64]:
    """Share of the roots of its column around each node [1]; of those alike worked out once."""
    among, which = which_occur(columns.kind * len(meshes.nodes) + meshes.which)
    under: dict[int, list[int]] = {}
    pairs = [divmod(each, len(meshes.nodes)) for each in among.tolist()]
    for i, (kind, _) in enumerate(pairs):
        under.setdefault(id(columns.kinds[kind].turf), []).append(i)
    found: list[Any] = [None] * len(pairs)
    for alike in under.values():
        kinds = [columns.kinds[pairs[i][0]] for i in alike]
        nodes = [meshes.nodes[pairs[i][1]].depth for i in alike]
        depths = [kind.profile.depth for kind in kinds]
        for i, share in zip(alike, _root_shares(kinds[0].turf, nodes, depths), strict=True):
            found[i] = share
    several = Meshes([meshes.nodes[nodes] for _, nodes in pairs], which, meshes.soils, meshes.own)
    return several.lay(np.concatenate(found))


def root_shares(turf: Turf | None, mesh: Mesh, depth: float) -> NDArray[np.float64]:
    """Share of the roots around each node [1]; all of them within the layers, to a depth [cm]."""
    return _root_shares(turf, [mesh.depth], [depth])[0]


def _root_shares(
    turf: Turf | None, nodes: Sequence[NDArray[np.float64]], depths: Sequence[float]
) -> list[NDArray[np.float64]]:
    """Share of the roots around the nodes of several columns under one turf [1]."""
    if turf is None:
        return [np.zeros(each.size) for each in nodes]
    sizes = [each.size for each in nodes]
    z, ends = np.concatenate(nodes), np.cumsum(sizes, dtype=np.int64)
    first = ends - np.array(sizes)
    lower = np.append(0.5 * (z[1:] + z[:-1]), 0.0)
    lower[ends - 1] = z[ends - 1]
    above = turf.root_fraction(0.0, np.minimum(lower, np.repeat(depths, sizes)))
    share = above.copy()
    share[1:] -= above[:-1]
    share[first] = above[first]
    share /= np.repeat(np.add.reduceat(share, first), sizes)
    return [share[end - size : end] for end, size in zip(ends.tolist(), sizes, strict=True)]
