"""The march of columns that remember how they were wetted, compiled when one is first run.

It is the march of all columns, made of `assemble` and `newton` that look water up on branches (see
`branches`), and of what there is to remember: a step that is kept is entered, one that is rejected
leaves no trace.
"""

from typing import NamedTuple

from soilwater.kernels.branch_flux import branch_flow
from soilwater.kernels.branch_look_up import (
    DRY_WHILE_DRAINED,
    DRY_WHILE_WETTED,
    EFFECTIVE,
    LAST_BEFORE,
    LAST_MOVE,
    MOVING,
    N_BRANCH_WORK,
    N_ROOM,
    WATER,
    forget_look_ups,
    go_on,
    look_up_branches,
    look_up_water,
    node_hydraulics,
    note_by_head,
    settle_look_ups,
)
from soilwater.kernels.branches import (
    BOTTOM,
    SUCTION_RATIO,
    TOP,
    Remembering,
    branch_of,
    branch_water,
    recall,
    remember,
    remembers,
)
from soilwater.kernels.cache import compile_entry_point, inlined_kernel, kernel, sole_kernel
from soilwater.kernels.column import make_assemble
from soilwater.kernels.curves import DRY_END_WATER_CONTENT, OVEN_DRY_SUCTION, SCALE, hydraulics
from soilwater.kernels.elementary import BLOCK
from soilwater.kernels.ledger import (
    LEAST_SUCTION,
    LEAST_WATER,
    MOST_NEWTON_TRIALS,
    MOST_TRIALS,
    make_close_at_once,
    measure_closure,
)
from soilwater.kernels.march import Books, make_march, note_heads
from soilwater.kernels.newton import NO_CAPACITY, make_newton, residual_norm
from soilwater.kernels.rows import (
    BEFORE,
    CAPACITY,
    CAREFUL,
    CHANGE,
    DIAGONAL,
    DRY_SUCTION,
    HELD_SURFACE,
    LOWER,
    N_LEDGER,
    N_RATES,
    OWN,
    RESIDUAL,
    STORAGE,
    SURFACE_CODE,
    UPPER,
    VOLUME,
    Floats,
    Integers,
)
from soilwater.kernels.step_control import DRY_FROM
from soilwater.kernels.tangent import AS_GOOD_AS_NONE, MOST_BEND, make_runs_straight
from soilwater.kernels.tridiagonal import solve
from soilwater.kernels.unpack import column_of, rows_of, state_of
from soilwater.kernels.water import water_between

BEYOND_A_TURN = 1.0e-7
"""How far beyond a turn a head stops [cm, and share of the head]."""
FAR_FROM_A_TURN = 1.0e-4
"""How far a step goes that does more than pass a turn [likewise]."""

MUCH_CAPACITY = 1.0e-130
"""Capacity [1] to which `NO_CAPACITY` adds nothing."""
MOST_FALL_ON_RETRY = 0.1
"""Share of its suction that a dry node keeps in one Newton step of a retry."""


class Memories(NamedTuple):
    """What columns laid end to end remember, beside their `rows.Packed`; see `Remembering`."""

    memory: Floats
    """(soils, N_MEMORY)."""
    nest: Floats
    """(N, PLACES)."""
    places: Integers
    """(N,)."""
    level: Floats
    """(m - 1, 2, PLACES, 2): room that the columns of a call use one after the other."""
    room: Floats
    """(N_ROOM * (m + BLOCK),): likewise."""
    work: Floats
    """(`branch_work_size`(m),): likewise."""
    out_effective: Floats
    """(c, times, 2, m - 1): `BranchOutputs.effective`; written here."""


class BranchOutputs(NamedTuple):
    """What a column leaves at its output times: `rows.Outputs`, and its effective heads."""

    time: Floats
    """(times,)."""
    head: Floats
    """(times, n)."""
    water: Floats
    """(times, n - 1)."""
    suction: Floats
    """(times, n - 1), or (times, 0)."""
    ledger: Floats
    """(times, N_LEDGER)."""
    effective: Floats
    """(times, 2, n - 1): heads at which the drying curve holds the water at the top and the bottom
    of each interval [cm]."""


@inlined_kernel
def water_of_interval(i, side, head, place, soil, soils):
    """Water above the dry end at one side of an interval [1], and its capacity [1/cm]."""
    j = soil[i]
    if remembers(soils, j):
        water, capacity, _ = branch_water(
            head, place, soils.level[i, side, place],
            soils.tables[j], soils.scalars[j], soils.memory[j],
        )  # fmt: skip
        return water, capacity
    return hydraulics(head, soils.tables, soils.scalars, j)[:2]


@kernel
def node_water_after(i, head, pond, z, soil, soils):
    """Water node `i` holds at a head [cm], and its derivative by head [1]; see `ledger`."""
    last = z.size - 1
    place = branch_of(i, head, soil, soils)
    water, capacity = pond * max(head, 0.0), pond if head > 0.0 else 0.0
    if 0 < i < last and soil[i - 1] == soil[i]:
        volume = 0.5 * (z[i + 1] - z[i - 1])
        w, c = water_of_interval(i, TOP, head, place, soil, soils)
        return water + volume * w, capacity + volume * c
    if i > 0:
        half = 0.5 * (z[i] - z[i - 1])
        w, c = water_of_interval(i - 1, BOTTOM, head, place, soil, soils)
        water, capacity = water + half * w, capacity + half * c
    if i < last:
        half = 0.5 * (z[i + 1] - z[i])
        w, c = water_of_interval(i, TOP, head, place, soil, soils)
        water, capacity = water + half * w, capacity + half * c
    return water, capacity


@kernel
def branch_water_around_nodes(h, z, soil, soils, water):
    """Water around each node [cm] at matric heads, without a pond."""
    look_up_water(h, soil, soils)
    content, last = soils.room[WATER], soil.size
    water[0] = 0.5 * (z[1] - z[0]) * content[0]
    for i in range(1, last):
        above, below, under = 0.5 * (z[i] - z[i - 1]), 0.5 * (z[i + 1] - z[i]), content[i]
        if soil[i] != soil[i - 1]:
            place = branch_of(i, h[i], soil, soils)
            under = water_of_interval(i, TOP, h[i], place, soil, soils)[0]
        water[i] = above * content[i] + below * under
    water[last] = 0.5 * (z[last] - z[last - 1]) * content[last]


@kernel
def head_after_that_holds(target, i, head, pond, volume, z, soil, soils):
    """Head at which node `i` holds a given water [cm], on the branch that it leads to."""
    full, capacity = node_water_after(i, 0.0, pond, z, soil, soils)
    if target >= full:
        return (target - full) / (capacity + pond)
    dry, wet = -OVEN_DRY_SUCTION, -LEAST_SUCTION
    for trial in range(MOST_TRIALS):
        if trial >= MOST_NEWTON_TRIALS or not dry < head < wet:
            head = -((dry * wet) ** 0.5)
        water, capacity = node_water_after(i, head, pond, z, soil, soils)
        excess = water - target
        if abs(excess) <= LEAST_WATER * (water + volume):
            break
        if excess > 0.0:
            wet = head
        else:
            dry = head
        head -= excess / capacity
    return min(max(head, dry), wet)


close_branches_at_once = make_close_at_once(branch_water_around_nodes)


@kernel
def close_branch_balance(state, column, soils, work):
    """Close the balance that is read now; see `ledger.close_balance`."""
    if close_branches_at_once(state, column, soils, work):
        return
    h, stored = state.h, state.stored
    z, soil, codes = column.z, column.soil, column.codes
    total = 0.0
    for i in range(h.size):
        pond = 1.0 if i == 0 and codes[SURFACE_CODE] != HELD_SURFACE else 0.0
        if work[RESIDUAL, i] != 0.0:
            volume = work[VOLUME, i]
            h[i] = head_after_that_holds(stored[i], i, h[i], pond, volume, z, soil, soils)
        total += node_water_after(i, h[i], pond, z, soil, soils)[0]
    measure_closure(total, state.ledger)


@sole_kernel
def turned(state, dt, tolerance, work):
    """Whether a node turned in a step from wetting to drying or back, by more than the tolerance.

    What it did before then says nothing about what it does now.
    """
    stored, rate = state.stored, state.rate
    storage, volume = work[STORAGE], work[VOLUME]
    back = False
    for i in range(stored.size):
        least = tolerance * volume[i]
        change, before = storage[i] - stored[i], rate[i] * dt
        back |= (change > least) & (before < -least) | (change < -least) & (before > least)
    return back


@kernel
def note_branch_outputs(state, column, soils, outputs, out):
    """Keep heads, effective heads, water contents, suctions and ledger of an output time."""
    h, soil, room = state.h, column.soil, soils.room
    settle_look_ups(h, soil, soils)
    note_heads(h, outputs, out)
    for i in range(soil.size):
        top, above = room[WATER, i], room[EFFECTIVE, i]
        if i > 0 and soil[i] != soil[i - 1]:
            place = branch_of(i, h[i], soil, soils)
            curves = node_hydraulics(h[i], place, TOP, i, soil[i], soils)
            top, above = curves[0], curves[5]
        mean = 0.5 * (top + room[WATER, i + 1])
        outputs.water[out, i] = mean + soils.scalars[soil[i], DRY_END_WATER_CONTENT]
        outputs.effective[out, 0, i] = above
        outputs.effective[out, 1, i] = room[EFFECTIVE, i + 1]
    for i in range(N_LEDGER):
        outputs.ledger[out, i] = state.ledger[i]


@kernel
def hold_back(h, soils, work):
    """Hold Newton steps of a retry back where one leads nowhere that the next does not undo.

    No head passes a turn: it stops just beyond, where the branch is new. Beside an entry suction
    one branch stores ten thousand times what the other does, and a step made with the one leads
    nowhere on the other. Between the flat ends of a steep branch steps go to and fro, past all that
    lies between: the suction of a dry node falls tenfold at most, and a step back is at most half
    of the last.
    """
    before, last, went = work[BEFORE], work[LAST_BEFORE], work[LAST_MOVE]
    dry_suction = work[DRY_SUCTION]
    for i in range(h.size):
        nest, places = soils.nest[i], soils.places[i]
        if min(h[i], 0.0) == nest[places - 1]:
            # Where a step begins nothing was passed.
            last[i], went[i] = h[i], 0.0
            continue
        if abs(before[i] - last[i]) > FAR_FROM_A_TURN * (1.0 + abs(last[i])):
            went[i] = before[i] - last[i]
        last[i] = before[i]
        moved = h[i] - before[i]
        if went[i] * moved < 0.0 and abs(moved) > 0.5 * abs(went[i]):
            h[i] = before[i] - 0.5 * went[i]
        if -before[i] > dry_suction[i]:
            h[i] = min(h[i], MOST_FALL_ON_RETRY * before[i])
        stop = h[i]
        for k in range(1, places):
            if before[i] <= nest[k] < stop or stop < nest[k] <= before[i]:
                stop = nest[k]
        beyond = min(abs(h[i] - stop), BEYOND_A_TURN * (1.0 + abs(stop)))
        h[i] = stop + (beyond if h[i] > before[i] else -beyond)


@kernel
def describe_dryness(column, soils, work):
    """Say from which suctions each node is dry, by the water it then holds on either curve.

    What counts is at which suction draining sand would hold it: there alone a power tells how it
    goes on.
    """
    soil, scalars, memory = column.soil, soils.scalars, soils.memory
    drained, wetted = work[DRY_WHILE_DRAINED], work[DRY_WHILE_WETTED]
    for i in range(column.z.size):
        drained[i], wetted[i] = work[DRY_SUCTION, i], 0.0
    for i in range(soil.size):
        from_suction = DRY_FROM * scalars[soil[i], SCALE] / memory[soil[i], SUCTION_RATIO]
        for node in range(i, i + 2):
            wetted[node] = max(wetted[node], from_suction)


@kernel
def say_where_dry(soils, work):
    """Say from which suction each node is dry, by the way it went last."""
    dry_suction = work[DRY_SUCTION]
    drained, wetted = work[DRY_WHILE_DRAINED], work[DRY_WHILE_WETTED]
    for i in range(soils.places.size):
        # The last place is where it stands; one that is even it was wetted to.
        dry_suction[i] = wetted[i] if soils.places[i] % 2 == 1 else drained[i]


@kernel
def begin_to_remember(state, column, soils, work):
    """Make ready what a column remembers."""
    forget_look_ups(soils)
    recall(column, soils)
    settle_look_ups(state.h, column.soil, soils)
    describe_dryness(column, soils, work)
    say_where_dry(soils, work)


@sole_kernel
def remember_all(h, column, soils, work):
    """Enter the heads at which a step ends, and go on from there."""
    for i in range(h.size):
        if not go_on(i, h[i], soils):
            remember(i, h[i], column.soil, soils)
    say_where_dry(soils, work)


plain_parts = make_assemble(look_up_branches, branch_flow, sole_kernel)


@kernel
def assemble(h, dt, stored, column, soils, work, flows):
    """Residual and Jacobian of an implicit step of a column that remembers; see `column`."""
    if column.conditions[CAREFUL] > 0.0:
        hold_back(h, soils, work)
    plain_parts(h, dt, stored, column, soils, work, flows)
    note_by_head(column.z, column.soil, soils, work)
    # Neighbours whose curves have ended pass only traces to each other: without one more on the
    # diagonal it would be singular. It counts as theirs: else a tangent takes no note of it.
    capacity, ended = work[CAPACITY], 0
    for i in range(h.size):
        ended += 1 if capacity[i] < MUCH_CAPACITY else 0
    if ended > 0:
        for i in range(h.size):
            work[DIAGONAL, i] += NO_CAPACITY
            work[OWN, i] += NO_CAPACITY
            work[CAPACITY, i] += NO_CAPACITY


water_runs_straight = make_runs_straight(branch_water_around_nodes)


@sole_kernel
def runs_straight(h, dt, column, soils, most_correction, work, flows):
    """Whether a step may end along its tangent; see `tangent`.

    Not where a node that holds nothing goes another way than its tangent does, and its neighbours
    would pass more than what a curve may bend by along the tangent alone: they would pass it all.
    """
    change, before, volume = work[CHANGE], work[BEFORE], work[VOLUME]
    lower, upper, storage = work[LOWER], work[UPPER], work[STORAGE]
    empty = 0
    for i in range(h.size):
        empty += 0 if storage[i] > AS_GOOD_AS_NONE * volume[i] else 1
    if empty > 0:
        for i in range(h.size):
            if storage[i] > AS_GOOD_AS_NONE * volume[i]:
                continue
            by_head = max(
                abs(lower[i + 1]) if i + 1 < h.size else 0.0, abs(upper[i - 1]) if i > 0 else 0.0
            )
            astray = by_head * abs(change[i] - (h[i] - before[i]))
            if not astray <= MOST_BEND * most_correction * volume[i]:
                return False
    return water_runs_straight(h, dt, column, soils, most_correction, work, flows)


newton = make_newton(assemble, solve, residual_norm, runs_straight, MOVING)
march = make_march(
    assemble,
    newton,
    Books(begin_to_remember, turned, close_branch_balance, remember_all, note_branch_outputs),
)


@kernel
def branch_work_size(n):
    """Numbers of work space that a column of `n` nodes needs."""
    return N_RATES + N_BRANCH_WORK * n


def _march_remembering(digest):
    def march_remembering(first, last, packed, memories):
        """March the columns `first` to `last` - 1 of those that are laid end to end."""
        _ = digest
        for c in range(first, last):
            a, b = packed.node_start[c], packed.node_start[c + 1]
            n = b - a
            soils = Remembering(
                packed.tables,
                packed.scalars,
                memories.memory,
                memories.nest[a:b],
                memories.places[a:b],
                memories.level,
                rows_of(memories.room[: N_ROOM * (n + BLOCK)], N_ROOM, n + BLOCK),
            )
            column, state = column_of(packed, c), state_of(packed, c)
            outputs = BranchOutputs(
                packed.out_time,
                packed.out_head[c, :, :n],
                packed.out_water[c, :, : n - 1],
                packed.out_suction[c, :, : n - 1],
                packed.out_ledger[c],
                memories.out_effective[c, :, :, : n - 1],
            )
            begin, end = packed.forcing_range[c, 0], packed.forcing_range[c, 1]
            packed.status[c] = march(
                state,
                column,
                soils,
                packed.forcing[begin:end],
                packed.controls[c],
                outputs,
                rows_of(memories.work[N_RATES : branch_work_size(n)], N_BRANCH_WORK, n),
                memories.work[:N_RATES],
            )

    return march_remembering


def _mean_water_contents_of_branches(digest):
    def mean_water_contents_of_branches(effective, z, soil, tables, scalars, top, bottom, result):
        """Mean water content between two depths of one column at many times.

        `effective` has shape (n_times, 2, n - 1), see `BranchOutputs`; `result` (n_times,).
        """
        _ = digest
        for t in range(result.size):
            total = 0.0
            for i in range(soil.size):
                total += water_between(
                    effective[t, 0, i], effective[t, 1, i], z[i], z[i + 1], top, bottom,
                    tables, scalars, soil[i],
                )  # fmt: skip
            result[t] = total / (bottom - top)

    return mean_water_contents_of_branches


mean_water_contents_of_branches = compile_entry_point(_mean_water_contents_of_branches)
march_remembering = compile_entry_point(_march_remembering)
