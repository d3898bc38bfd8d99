"""March linked columns through time on one clock.

The steps are those of `march`: how long one is, where it starts and whether it is kept are asked of
`step_control` for every column, and the worst of them decides. Three things differ, because in a
set an outlet shuts, or a node runs empty, in nearly every step:

- An outflow carries nothing on. What goes out at an outlet, below or beside, and what runs off is
  what a boundary that is held at its threshold lets go, whatever the share of the last step: so all
  of an amount may come at the end of the step, which bounds it at zero, and no step has to be done
  again where one ends.
- A node that the last step's share would nearly empty or overfill hands what it cannot bear to the
  next one of its column.
- Its steps are shorter at dawn and where they carry nothing on, and one may have a larger error:
  `PART_AT_DAWN`, `FIRST_ORDER_SHARE`, `ACCEPTED_EXCESS_OF_SET`.
"""

import math

from soilwater.kernels.cache import compile_entry_point, kernel
from soilwater.kernels.column import assemble
from soilwater.kernels.demand import forcing_share, set_demand, supply_rate
from soilwater.kernels.ledger import accept, close_balance, make_begin, settle_debts
from soilwater.kernels.linked_flow import column_gain, flow_into
from soilwater.kernels.linked_newton import newton_of_set, renew
from soilwater.kernels.linked_rows import ALL, FLOW, IN_LAST_STEP, OUTLET, TAKEN
from soilwater.kernels.march import (
    MOST_ITERATIONS,
    MOST_PATIENT_ITERATIONS,
    RESIDUAL_GROWTH,
    RESIDUAL_GROWTH_ON_RETRY,
    copy_into,
    note_outputs,
)
from soilwater.kernels.rows import (
    BASE_CODE,
    CAREFUL,
    DRAINAGE,
    END,
    FULL,
    GUESS,
    HELD_HEAD,
    HELD_SURFACE,
    INFLOW,
    INITIAL_STORAGE,
    ITERATIONS,
    LAST,
    LAST_STEP,
    LAST_SUPPLY,
    LEAST,
    MOST_STEPS,
    NEXT_STEP,
    NOT_FINITE,
    OK,
    OUTFLOW,
    PHASE_END,
    PHASE_START,
    REJECTED,
    RESIDUAL,
    SMALLEST_STEP,
    START,
    STEP_TOO_SMALL,
    STEPS,
    SURFACE_CODE,
    TARGET,
    TIME,
    TOLERANCE,
    TOO_MANY_STEPS,
    TOTAL_DRAINAGE,
    TOTAL_INFLOW,
    TOTAL_RUNOFF,
    Limits,
    Outputs,
)
from soilwater.kernels.step_control import (
    LEAST_CARRIED,
    LEAST_GROWTH,
    LEAST_SHARE_KEPT,
    PART_OF_HALF_SINE,
    describe_nodes,
    errors_of_step,
    growth_after,
    length_of_past,
    next_step,
    predict,
    share_carried,
    wanted_step,
)
from soilwater.kernels.unpack import column_of, soils_of, state_of

ITERATION_TOLERANCE_OF_SET = 0.05
"""Newton stops when its residual, as water content, is below this share of the tolerance in every
column: what is left goes into the next step."""
ITERATION_TOLERANCE_AT_OUTPUT = 1.0e-4
"""The same at output times, and in a first step: in full sand next to no water is a great change of
head, and columns that stand full from end to end would be read to waver by millimetres."""
ACCEPTED_EXCESS_OF_SET = 2.0
"""A step is kept with an error up to this many tolerances, in the worst node of all columns; the
next one aims below one."""
PART_AT_DAWN = 0.15
"""Longest first step of a half-sine of demand, as a share of it: one of many columns always begins
to dry just then."""
FIRST_ORDER_SHARE = 0.5
"""Share of its length that a step has which cannot carry on a share of the last, as at dusk."""
STILL = 1.0e-11
"""Flow [cm/h] that is as good as none: round-off over links makes as much."""

begin = make_begin(assemble)


@kernel
def bear(k, h, stored, work):
    """Water that a node cannot go without, or more than it can hold, set right; returns it [cm]."""
    full, target = work[FULL], work[TARGET]
    least = min(work[LEAST, k] + LEAST_SHARE_KEPT * (stored[k] - work[LEAST, k]), stored[k])
    given = target[k]
    if given < least and stored[k] - given > LEAST_CARRIED * full[k]:
        target[k] = least
    elif given > full[k] and h[k] < 0.0:
        target[k] = full[k]
    return given - target[k]


@kernel
def carry_on(c, weight, last, column, state, links, work):
    """Water each node starts a second-order step from; False where a column cannot bear it."""
    h, stored, rate, ledger = state.h, state.stored, state.rate, state.ledger
    target = work[TARGET]
    n = h.size
    for k in range(n):
        target[k] = stored[k] + weight * last * rate[k]
    for k in range(n - 1):
        target[k + 1] += bear(k, h, stored, work)
    for k in range(n - 1, 0, -1):
        target[k - 1] += bear(k, h, stored, work)
    borne = bear(0, h, stored, work) == 0.0
    # What left in the last step is not carried on: what an outlet was brought, it still is.
    target[0] += weight * ledger[LAST + TOTAL_RUNOFF]
    if column.codes[BASE_CODE] == OUTFLOW:
        target[n - 1] += weight * ledger[LAST + TOTAL_DRAINAGE]
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        link = links.neighbour_link[place]
        if links.beyond[link] == OUTLET:
            for k in range(n):
                target[k] += weight * links.neighbour_takes[place] * links.flow[link, TAKEN, k]
    return borne


@kernel
def start_second_order(dt, last, now, k, packed, links, room):
    """Set water and demand of a step that carries on a share of the last; returns the share.

    0 where it cannot be: then nothing is set.
    """
    weight = share_carried(dt, last)
    if weight == 0.0:
        return 0.0
    clock = packed.clock[0]
    for c in range(links.area.size):
        column, state = column_of(packed, c), state_of(packed, c)
        interval = packed.forcing[packed.forcing_range[c, 0] + k]
        ledger, conditions = packed.ledger[c], packed.conditions[c]
        share = forcing_share(interval, now) - forcing_share(interval, clock[TIME])
        if not carry_on(c, weight, last, column, state, links, room.work[c]) or not set_demand(
            conditions, ledger, interval, share, weight, dt - weight * last
        ):
            return 0.0
    return weight


@kernel
def start_first_order(dt, now, k, packed, links, room):
    """Set water and demand of a step that carries nothing on."""
    for c in range(links.area.size):
        interval = packed.forcing[packed.forcing_range[c, 0] + k]
        copy_into(room.work[c, TARGET], state_of(packed, c).stored)
        share = forcing_share(interval, now) - forcing_share(interval, packed.clock[0, TIME])
        set_demand(packed.conditions[c], packed.ledger[c], interval, share, 0.0, dt)


@kernel
def mean_supply(k, packed):
    """Mean supply over the columns [cm/h]: a change of it is a jump somewhere."""
    total = 0.0
    for c in range(packed.forcing_range.shape[0]):
        total += supply_rate(packed.forcing[packed.forcing_range[c, 0] + k])
    return total / packed.forcing_range.shape[0]


@kernel
def accept_set(dt, weight, effective_dt, packed, links, room):
    """Take a step; False if it is not finite."""
    finite = True
    for c in range(links.area.size):
        column, state, flows = column_of(packed, c), state_of(packed, c), room.flows[c]
        codes, ledger, end = column.codes, state.ledger, state.h.size - 1
        # What links bring to a held node goes where its water goes.
        if codes[BASE_CODE] == HELD_HEAD:
            flows[DRAINAGE] += flow_into(c, end, links)
        if codes[SURFACE_CODE] == HELD_SURFACE:
            flows[INFLOW] -= flow_into(c, 0, links)
        ledger[LAST + TOTAL_RUNOFF] = 0.0
        if codes[BASE_CODE] == OUTFLOW:
            ledger[LAST + TOTAL_DRAINAGE] = 0.0
        finite &= accept(state, dt, weight, weight, effective_dt, column, room.work[c], flows)
    for link in range(links.first.size):
        moved, flow, taken = links.moved[link], links.flow[link, FLOW], links.flow[link, TAKEN]
        total = 0.0
        for k in range(flow.size):
            taken[k] = effective_dt * flow[k]
            total += taken[k]
        carried = 0.0 if links.beyond[link] == OUTLET else weight * moved[IN_LAST_STEP]
        moved[IN_LAST_STEP] = carried + total
        moved[ALL] += moved[IN_LAST_STEP]
    return finite


@kernel
def settle_set(packed, links):
    """Let nodes of the same column give what others owe; returns whether any owed."""
    owed = False
    for c in range(links.area.size):
        owed |= settle_debts(state_of(packed, c).stored, packed.ledger[c])
    return owed


@kernel
def close_balances(dt, packed, links, room):
    """Close the balance of every column, with what links brought counted as what came or went."""
    for c in range(links.area.size):
        residual, state = room.work[c, RESIDUAL], state_of(packed, c)
        for k in range(residual.size):
            # At rest flows over links are round-off, which no head shall follow; and where sand is
            # full, the head that would hold what is left over is none that neighbours allow.
            if abs(residual[k]) <= STILL * (1.0 + dt) or state.h[k] > 0.0:
                residual[k] = 0.0
        gain = column_gain(c, links)
        ledger, total = packed.ledger[c], TOTAL_INFLOW if gain > 0.0 else TOTAL_DRAINAGE
        without = ledger[total]
        ledger[total] = without + abs(gain)
        close_balance(state, column_of(packed, c), soils_of(packed), room.work[c])
        ledger[total] = without


@kernel
def note_set(out, packed, links):
    """Keep heads, water contents and ledgers of an output time."""
    n = links.elevation.shape[1]
    for c in range(links.area.size):
        outputs = Outputs(
            packed.out_time,
            packed.out_head[c, :, :n],
            packed.out_water[c, :, : n - 1],
            packed.out_suction[c, :, : n - 1],
            packed.out_ledger[c],
        )
        note_outputs(state_of(packed, c), column_of(packed, c), soils_of(packed), outputs, out)
    for link in range(links.first.size):
        links.out_moved[out, link] = links.moved[link, ALL]


@kernel
def march_set(packed, links, room):
    """March all columns through their output times; returns how it ended.

    The state is read at entry and left at the last good time.
    """
    work, c_all = room.work, links.area.size
    clock, controls, counts = packed.clock[0], packed.controls[0], packed.counts[0]
    out_time, soils = packed.out_time, soils_of(packed)
    for c in range(c_all):
        column, state = column_of(packed, c), state_of(packed, c)
        describe_nodes(column.z, column.soil, soils, work[c])
        copy_into(work[c, GUESS], state.h)
        if math.isnan(state.ledger[INITIAL_STORAGE]):
            begin(state, column, soils, work[c], room.flows[c])
    tolerance, steps_left = controls[TOLERANCE], controls[MOST_STEPS]
    first_row = packed.forcing_range[0, 0]
    k = 0
    for out in range(out_time.size):
        second_order, settled = True, False
        while clock[TIME] < out_time[out]:
            time = clock[TIME]
            while packed.forcing[first_row + k, END] <= time:
                k += 1
            interval = packed.forcing[first_row + k]
            supply = mean_supply(k, packed)
            last = length_of_past(clock, supply, tolerance)
            stop = min(interval[END], out_time[out])
            left = stop - time
            part = PART_AT_DAWN if time == interval[START] else PART_OF_HALF_SINE
            wanted = wanted_step(clock, controls, interval, part)
            parts = max(1.0, math.ceil(left / wanted - 1e-3))
            dt = left / parts
            now = stop if parts == 1.0 else time + dt

            weight = 0.0
            if second_order and last > 0.0:
                weight = start_second_order(dt, last, now, k, packed, links, room)
            if weight == 0.0:
                if last > 0.0 and second_order:
                    dt, now = FIRST_ORDER_SHARE * dt, time + FIRST_ORDER_SHARE * dt
                start_first_order(dt, now, k, packed, links, room)
            effective_dt = dt - weight * last
            # What dried all day is wetted from below where demand ends: to start from drier still
            # leads Newton astray.
            dusk = now == interval[END] and interval[PHASE_END] > interval[PHASE_START]
            for c in range(c_all):
                packed.conditions[c, CAREFUL] = 0.0 if second_order else 1.0
                if last > 0.0 and second_order and not dusk:
                    predict(state_of(packed, c), last, dt / last, work[c])
                else:
                    copy_into(work[c, GUESS], state_of(packed, c).h)
                renew(c, effective_dt, True, packed, room)
            read = now == out_time[out]
            exact = read or last == 0.0
            limits = Limits(
                tolerance
                * (ITERATION_TOLERANCE_AT_OUTPUT if exact else ITERATION_TOLERANCE_OF_SET),
                0.0 if exact else tolerance,
                MOST_ITERATIONS if last > 0.0 else MOST_PATIENT_ITERATIONS,
                RESIDUAL_GROWTH if second_order else RESIDUAL_GROWTH_ON_RETRY,
            )
            iterations = newton_of_set(effective_dt, limits, not second_order, packed, links, room)
            solved = iterations >= 0
            counts[ITERATIONS] += iterations if solved else -1 - iterations
            growth, accepted = LEAST_GROWTH, False
            if solved:
                error = 0.0
                if last > 0.0:
                    for c in range(c_all):
                        # Links move water along layers, of which a mean over depth tells nothing.
                        of_node, _ = errors_of_step(
                            state_of(packed, c), dt, weight * last, packed.codes[c], work[c]
                        )
                        error = max(error, of_node)
                accepted = error <= ACCEPTED_EXCESS_OF_SET * tolerance
                growth = growth_after(error, tolerance, last / dt, accepted)
            if not accepted:
                counts[REJECTED] += 1
                if dt <= controls[SMALLEST_STEP]:
                    if settled or not settle_set(packed, links):
                        return STEP_TOO_SMALL
                    # From here the columns start anew.
                    settled, clock[LAST_STEP], clock[NEXT_STEP] = True, 0.0, left
                    continue
                clock[NEXT_STEP] = growth * dt
                second_order = solved
                continue
            second_order, settled = True, False
            if steps_left <= 0.0:
                return TOO_MANY_STEPS
            steps_left -= 1.0
            counts[STEPS] += 1
            if not accept_set(dt, weight, effective_dt, packed, links, room):
                return NOT_FINITE
            clock[TIME], clock[LAST_STEP], clock[LAST_SUPPLY] = now, dt, supply
            clock[NEXT_STEP] = next_step(growth, dt, wanted, iterations)
            if read:
                close_balances(dt, packed, links, room)
        note_set(out, packed, links)
    return OK


def _march_linked(digest):
    def march_linked(packed, links, room):
        """March a set of linked columns."""
        _ = digest
        status = march_set(packed, links, room)
        for c in range(packed.status.size):
            packed.status[c] = status

    return march_linked


march_linked = compile_entry_point(_march_linked)
