"""March through time: implicit steps, step control, forcing, output times and ledger.

Steps are two-step backward differences (second order), and backward Euler where the past is no
guide: at a start, after a jump of the supply, where a one-way outflow ends, where a node would be
asked for water it does not hold, and where Newton's method found no solution at second order. The
demand of a step is the exact integral of the forcing, so what is asked of a column never depends on
how time was cut. Where a share of the last uptake would be too much, as at dusk, what flowed is
carried on alone. Stops (output times, ends of forcing intervals) are hit exactly.

What the heads of a step leave of its balance is mended in the next one: a step may end with them
off by a share of the tolerance (see `tangent`). At an output time they are set, where need be, to
the water that the fluxes say is held (see `ledger`).
"""

import math
from typing import Any, NamedTuple

from soilwater.kernels.cache import kernel
from soilwater.kernels.column import assemble
from soilwater.kernels.demand import forcing_share, set_demand, supply_rate
from soilwater.kernels.ledger import accept, close_balance, make_begin, settle_debts
from soilwater.kernels.newton import make_newton, residual_norm
from soilwater.kernels.rows import (
    CAREFUL,
    DAWN_STEP,
    END,
    GUESS,
    INITIAL_STORAGE,
    ITERATIONS,
    LAST_STEP,
    LAST_SUPPLY,
    MOST_STEPS,
    N_LEDGER,
    NEXT_STEP,
    NOT_FINITE,
    OK,
    REJECTED,
    SMALLEST_STEP,
    STEP_TOO_SMALL,
    STEPS,
    TARGET,
    TIME,
    TOLERANCE,
    TOO_MANY_STEPS,
    Limits,
)
from soilwater.kernels.step_control import (
    ACCEPTED_EXCESS,
    LEAST_GROWTH,
    PART_OF_HALF_SINE,
    dawn_step,
    day_begins,
    describe_nodes,
    growth_after,
    length_of_past,
    next_step,
    outflow_ended,
    predict,
    step_error,
    wanted_step,
    weight_of_last_step,
)
from soilwater.kernels.tridiagonal import solve
from soilwater.kernels.water import interval_water_content

ITERATION_TOLERANCE = 1.0e-3
"""Newton stops when its residual, as water content, is below this share of the tolerance, or
earlier (`runs_straight`)."""
MOST_ITERATIONS = 14
MOST_PATIENT_ITERATIONS = 60
"""A saturated column over an open base holds no water back: its first step needs patience. So does
a step that is tried again at first order: a soaked gravel 80 cm deep found no solution in 14
iterations, however short the step."""
RESIDUAL_GROWTH, RESIDUAL_GROWTH_ON_RETRY = 20.0, 1.0e6
"""Factor by which one Newton step may raise the residual."""


@kernel
def copy_into(values, of):
    """Copy a number per node."""
    for i in range(values.size):
        values[i] = of[i]


@kernel
def note_heads(h, outputs, out):
    """Keep heads at nodes, and suctions of intervals where they are asked for."""
    for i in range(h.size):
        outputs.head[out, i] = h[i]
    for i in range(outputs.suction.shape[1]):
        outputs.suction[out, i] = -0.5 * (h[i + 1] + h[i])


@kernel
def note_outputs(state, column, soils, outputs, out):
    """Keep heads, water contents, suctions and ledger of an output time."""
    note_heads(state.h, outputs, out)
    interval_water_content(state.h, column.soil, soils, outputs.water[out])
    for i in range(N_LEDGER):
        outputs.ledger[out, i] = state.ledger[i]


@kernel
def recall_nothing(state, column, soils, work):
    """Make ready what a column remembers: nothing."""


@kernel
def went_on(state, dt, tolerance, work):
    """Whether a step must not carry on a share of the last one, because a node turned: never."""
    return False


@kernel
def remember_nothing(h, column, soils, work):
    """Enter the heads of a step into what a column remembers: nothing."""


class Books(NamedTuple):
    """What a march does beside solving steps, for columns of one kind."""

    recall: Any
    """Of (state, column, soils, work): once, as a march begins."""
    turned: Any
    """Of (state, dt, tolerance, work): whether a solved step must be of first order."""
    close_balance: Any
    """Of (state, column, soils, work): at an output, before the step is remembered."""
    remember: Any
    """Of (h, column, soils, work): after each step that is kept."""
    note_outputs: Any
    """Of (state, column, soils, outputs, out)."""


PLAIN_BOOKS = Books(recall_nothing, went_on, close_balance, remember_nothing, note_outputs)
"""Of columns that remember nothing."""


def make_march(assemble, newton, books=PLAIN_BOOKS):
    """Make the march of a system, from the kernels that know the system.

    Parameters
    ----------
    assemble : kernel
        See `make_newton`.
    newton : kernel
        What `make_newton` made of it.
    books : Books
        What there is to do beside solving steps.

    Returns
    -------
    kernel of (state, column, soils, forcing, controls, outputs, work, flows)
    """
    begin = make_begin(assemble)
    recall, turned, close_balance, remember, note_outputs = books

    def march(state, column, soils, forcing, controls, outputs, work, flows):
        """March one column through its output times; returns how it ended.

        The state is read at entry and left at the last good time, so a run can be cut at any output
        and taken up again.
        """
        conditions, codes = column.conditions, column.codes
        clock, ledger, counts = state.clock, state.ledger, state.counts
        out_time = outputs.time
        describe_nodes(column.z, column.soil, soils, work)
        recall(state, column, soils, work)
        if math.isnan(ledger[INITIAL_STORAGE]):
            begin(state, column, soils, work, flows)
        tolerance = controls[TOLERANCE]
        steps_left = controls[MOST_STEPS]
        k = 0
        # Share of the demand of an interval that has passed, and which interval.
        passed, of_interval = 0.0, -1
        for out in range(out_time.size):
            second_order, settled = True, False
            while clock[TIME] < out_time[out]:
                time = clock[TIME]
                while forcing[k, END] <= time:
                    k += 1
                interval = forcing[k]
                supply = supply_rate(interval)
                last = length_of_past(clock, supply, tolerance)
                stop = min(interval[END], out_time[out])
                left = stop - time
                wanted = wanted_step(clock, controls, interval, PART_OF_HALF_SINE)
                # Even parts up to the stop: no sliver of a step before it.
                parts = max(1.0, math.ceil(left / wanted - 1e-3))
                dt = left / parts
                now = stop if parts == 1.0 else time + dt
                if of_interval != k:
                    passed, of_interval = forcing_share(interval, time), k
                passed_now = forcing_share(interval, now)

                with_uptake = second_order
                while True:
                    weight = 0.0
                    if second_order:
                        weight = weight_of_last_step(dt, last, with_uptake, state, work)
                    else:
                        copy_into(work[TARGET], state.stored)
                    weight_of_uptake = weight if with_uptake else 0.0
                    rest = dt - weight * last
                    fits = set_demand(
                        conditions, ledger, interval, passed_now - passed, weight_of_uptake, rest
                    )
                    if not with_uptake or (weight > 0.0 and fits):
                        break
                    with_uptake = False
                effective_dt = dt - weight * last
                if last > 0.0 and second_order:
                    predict(state, last, dt / last, work)
                else:
                    copy_into(work[GUESS], state.h)
                conditions[CAREFUL] = 0.0 if second_order else 1.0
                limits = Limits(
                    ITERATION_TOLERANCE * tolerance,
                    tolerance,
                    MOST_ITERATIONS if last > 0.0 and second_order else MOST_PATIENT_ITERATIONS,
                    RESIDUAL_GROWTH if second_order else RESIDUAL_GROWTH_ON_RETRY,
                )
                iterations = newton(
                    work[GUESS], effective_dt, work[TARGET], column, soils, limits, work, flows
                )
                solved = iterations >= 0
                counts[ITERATIONS] += iterations if solved else -1 - iterations
                growth, accepted = LEAST_GROWTH, False
                if solved:
                    error = step_error(state, dt, weight_of_uptake * last, codes, work)
                    # A first step tells how long the next one may be, and is kept.
                    accepted = error <= ACCEPTED_EXCESS * tolerance or last == 0.0
                    at_dawn = day_begins(time, interval)
                    before = 0.0 if at_dawn else last / dt
                    growth = growth_after(error, tolerance, before, accepted)
                    if at_dawn and last > 0.0:
                        clock[DAWN_STEP] = dawn_step(dt, error, tolerance)
                    if (
                        accepted
                        and weight > 0.0
                        and (
                            outflow_ended(codes, flows, ledger)
                            or turned(state, dt, tolerance, work)
                        )
                    ):
                        # The same step again, at first order.
                        second_order = False
                        counts[REJECTED] += 1
                        continue
                if not accepted:
                    counts[REJECTED] += 1
                    if dt <= controls[SMALLEST_STEP]:
                        if settled or not settle_debts(state.stored, ledger):
                            return STEP_TOO_SMALL
                        # From here the column starts anew.
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
                if not accept(
                    state, dt, weight, weight_of_uptake, effective_dt, column, work, flows
                ):
                    return NOT_FINITE
                clock[TIME], clock[LAST_STEP], clock[LAST_SUPPLY] = now, dt, supply
                passed = passed_now
                clock[NEXT_STEP] = next_step(growth, dt, wanted, iterations)
                if now == out_time[out]:
                    close_balance(state, column, soils, work)
                remember(state.h, column, soils, work)
            note_outputs(state, column, soils, outputs, out)
        return OK

    return kernel(march)


# One column that shares no water with another and remembers nothing.
newton = make_newton(assemble, solve, residual_norm)
march = make_march(assemble, newton)
