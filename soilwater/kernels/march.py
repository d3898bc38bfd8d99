"""March columns through time: implicit steps, step control, forcing, output times and ledger.

Steps are two-step backward differences (second order), and backward Euler where the past is no
guide: at a start, after a jump of the supply, where a one-way outflow ends, where a node would be
asked for water it does not hold, and where Newton's method found no solution at second order. The
demand of a step is the exact integral of the forcing, so what is asked of a column never depends on
how time was cut. Stops (output times, ends of forcing intervals) are hit exactly.

What the heads of a step leave of its balance is mended in the next one. A step that is not read may
end with them off by a tenth of the tolerance (see `newton`); at an output time they are set, where
need be, to the water that the fluxes say is held (see `ledger`).
"""

import math

from soilwater.kernels.cache import compile_entry_point, kernel
from soilwater.kernels.column import (
    BASE_CODE,
    CAREFUL,
    DRAINAGE,
    HELD_HEAD,
    HELD_SURFACE,
    N_RATES,
    OUTFLOW,
    RUNOFF,
    SUPPLY,
    SURFACE_CODE,
    TRANSPIRATION_DEMAND,
    interval_water_content,
    mean_water_content,
)
from soilwater.kernels.curves import OVEN_DRY_SUCTION, SCALE, WATER_AT_SATURATION
from soilwater.kernels.elementary import logarithm, power
from soilwater.kernels.ledger import (
    INITIAL_STORAGE,
    LAST,
    N_LEDGER,
    TOTAL_DRAINAGE,
    TOTAL_RUNOFF,
    TOTAL_TRANSPIRATION_DEMAND,
    accept,
    begin,
    close_balance,
)
from soilwater.kernels.newton import N_ROWS, STORAGE_ROW, newton

OK, STEP_TOO_SMALL, TOO_MANY_STEPS, NOT_FINITE = 0, 1, 2, 3

# A forcing interval: start and end [h], amounts over the interval [mm], and which part of a
# half-sine the demand follows (phases in 0..1; equal phases: even).
(
    START,
    END,
    WATER_AMOUNT,
    TRANSPIRATION_AMOUNT,
    EVAPORATION_AMOUNT,
    PHASE_START,
    PHASE_END,
    N_FORCING,
) = range(8)

# The clock of a column: time [h], length of the next step [h], length of the last step [h] (0:
# no step yet, or a jump in the supply since), supply during the last step [cm/h].
TIME, NEXT_STEP, LAST_STEP, LAST_SUPPLY, N_CLOCK = range(5)
# Work done.
STEPS, REJECTED, ITERATIONS, N_COUNTS = range(4)
# Step control: local error in water content that steps aim below [1], smallest and largest step
# [h], most steps in one call.
TOLERANCE, SMALLEST_STEP, LARGEST_STEP, MOST_STEPS, N_CONTROLS = range(5)
# Rows of the work space beyond those of `newton`, each a number per node.
VOLUME, DRY_SUCTION, FULL, TARGET, GUESS, N_WORK = range(N_ROWS, N_ROWS + 6)

FIRST_STEP = 3.0e-5
"""Longest first step of a column [h]."""
ITERATION_TOLERANCE = 1.0e-3
"""Newton stops when its residual, as water content, is below this share of the tolerance, or
earlier (`runs_straight`)."""
MOST_ITERATIONS = 14
MOST_ITERATIONS_AT_START = 60
"""A saturated column over an open base holds no water back: its first step needs patience."""
RESIDUAL_GROWTH, RESIDUAL_GROWTH_ON_RETRY = 20.0, 1.0e6
"""Factor by which one Newton step may raise the residual."""
ACCEPTED_EXCESS = 1.2
"""A step is kept with an error up to this many tolerances; the next one aims below one."""
MANY_ITERATIONS = 8
"""A step that needed more is not lengthened."""
PART_OF_HALF_SINE = 0.25
"""Longest step as a share of the half-sine that demand follows."""
MOST_GROWTH = 2.0
LEAST_GROWTH = 0.3
MOST_GROWTH_AT_SECOND_ORDER = 2.4
"""Two-step differences are stable below 1 + sqrt(2) (Grigorieff 1983, from memory)."""
LEAST_SHARE_KEPT = 0.3
"""Share of its water a node must keep when the last step's share is carried on."""
LEAST_CARRIED = 1.0e-14
"""Share of the water a full node holds that is too little to be missed."""
LEAST_GAIN = 1.0e-3
"""Gain of water in a step, as a share of what is held, below which all extrapolations are one."""
LEAST_OUTFLOW = 1.0e-8
"""Outflow in a step of whatever length [cm] that counts as one: round-off of the head at an outlet
makes less."""
DRY_FROM = 1.5
"""Scaled suction beyond which Newton's update is made along the curve."""


@kernel
def work_size(n):
    """Numbers of work space that a column of `n` nodes needs."""
    return N_RATES + N_WORK * n


@kernel
def forcing_share(interval, time):
    """Share of an interval's demand that has passed at a time within it."""
    x = (time - interval[START]) / (interval[END] - interval[START])
    p0, p1 = interval[PHASE_START], interval[PHASE_END]
    if p0 == p1:
        return x
    c0 = math.cos(math.pi * p0)
    return (c0 - math.cos(math.pi * (p0 + (p1 - p0) * x))) / (c0 - math.cos(math.pi * p1))


@kernel
def describe_nodes(z, soil, scalars, work):
    """Volume around each node [cm], suction from which it is dry, water it holds when full [cm]."""
    volume, dry_suction, full = work[VOLUME], work[DRY_SUCTION], work[FULL]
    for i in range(z.size):
        volume[i], dry_suction[i], full[i] = 0.0, 0.0, 0.0
    for i in range(z.size - 1):
        half = 0.5 * (z[i + 1] - z[i])
        for j in range(i, i + 2):
            volume[j] += half
            dry_suction[j] = max(dry_suction[j], DRY_FROM * scalars[soil[i], SCALE])
            full[j] += half * scalars[soil[i], WATER_AT_SATURATION]


@kernel
def set_demand(conditions, clock, ledger, interval, now, weight, effective_dt):
    """Rates of supply and demand that make the amounts of the step exact; False if one is < 0."""
    share = forcing_share(interval, now) - forcing_share(interval, clock[TIME])
    conditions[SUPPLY] = 0.1 * interval[WATER_AMOUNT] / (interval[END] - interval[START])
    for k in range(2):
        amount = 0.1 * share * interval[TRANSPIRATION_AMOUNT + k]
        rest = amount - weight * ledger[LAST + TOTAL_TRANSPIRATION_DEMAND + k]
        if rest < 0.0:
            return False
        conditions[TRANSPIRATION_DEMAND + k] = rest / effective_dt
    return True


@kernel
def weight_of_last_step(dt, last, h, stored, rate, work):
    """Share of the last step's amounts in this one, and the water each node starts from.

    With w = dt/dt_last, A the amounts of a step and F the rates at its end,

        A = g A_last + (dt - g dt_last) F,    g = w^2 / (1 + 2 w)

    is the variable two-step backward difference; g = 0 is backward Euler, taken where the share
    would nearly empty a node or overfill it.
    """
    full, target = work[FULL], work[TARGET]
    weight = 0.0
    if last > 0.0 and dt <= MOST_GROWTH_AT_SECOND_ORDER * last:
        w = dt / last
        weight = w * w / (1.0 + 2.0 * w)
        for i in range(stored.size):
            target[i] = stored[i] + weight * last * rate[i]
            carried = stored[i] - target[i]
            empty = target[i] < LEAST_SHARE_KEPT * stored[i] and carried > LEAST_CARRIED * full[i]
            if empty or (target[i] > full[i] and h[i] < 0.0):
                weight = 0.0
                break
    if weight == 0.0:
        for i in range(stored.size):
            target[i] = stored[i]
    return weight


@kernel
def predict(h, h_before, stored, rate, last, ratio, dry_suction, guess):
    """Extrapolate heads from the last two states: along a power of suction where dry.

    There water goes as a power of suction. A node that dries goes on by the same factor; one that
    is wetted gains the same water again, which in suction is ever less.
    """
    for i in range(h.size):
        dry = (-h[i] > dry_suction[i]) & (-h_before[i] > dry_suction[i])
        gain = last * rate[i] / stored[i]
        wetted = dry & (gain > LEAST_GAIN) & (gain < 1.0)
        again = logarithm(1.0 + ratio * (gain if wetted else 1.0))
        exponent = again / -logarithm(1.0 - (gain if wetted else 0.5)) if wetted else ratio
        growth = power(h[i] / h_before[i] if dry else 1.0, exponent)
        growth = 0.3 if growth < 0.3 else growth
        drier = h[i] * (3.0 if growth > 3.0 else growth)
        drier = -OVEN_DRY_SUCTION if drier < -OVEN_DRY_SUCTION else drier
        guess[i] = drier if dry else h[i] + ratio * (h[i] - h_before[i])


@kernel
def step_error(storage, stored, rate, dt, volume, codes):
    """Largest local error, in water content, that backward Euler would make in this step.

    It is the yardstick for steps of either order. Of a second-order step it is an upper bound,
    and keeps the error of a whole run in proportion to the tolerance.
    """
    # A held node takes what it is given, at once.
    first = 1 if codes[SURFACE_CODE] == HELD_SURFACE else 0
    last = stored.size - (1 if codes[BASE_CODE] == HELD_HEAD else 0)
    error = 0.0
    for i in range(first, last):
        error = max(error, abs((storage[i] - stored[i]) / dt - rate[i]) / volume[i])
    return 0.5 * dt * error


@kernel
def outflow_ended(codes, flows, ledger):
    """Whether a one-way outflow has come to its end within a step.

    A second-order step carries a share of the last outflow on, and what has left cannot come back:
    such a step would drain a column beyond its rest.
    """
    drained = codes[BASE_CODE] == OUTFLOW and flows[DRAINAGE] == 0.0
    ran_off = flows[RUNOFF] == 0.0
    return (drained and ledger[LAST + TOTAL_DRAINAGE] > LEAST_OUTFLOW) or (
        ran_off and ledger[LAST + TOTAL_RUNOFF] > LEAST_OUTFLOW
    )


@kernel
def march(
    h, stored, h_before, rate, z, soil, root, conditions, codes, tables, scalars,
    forcing, out_time, controls, clock, ledger, counts, out_head, out_water, out_ledger,
    work, flows,
):  # fmt: skip
    """March one column through its output times; returns a status.

    State (`h`, `stored`, `h_before`, `rate`, `clock`, `ledger`, `counts`) is read at entry and
    left at the last good time, so a run can be cut at any output and taken up again.
    """
    n = h.size
    describe_nodes(z, soil, scalars, work)
    volume, dry_suction, guess = work[VOLUME], work[DRY_SUCTION], work[GUESS]
    if math.isnan(ledger[INITIAL_STORAGE]):
        begin(h, stored, z, soil, root, conditions, codes, tables, scalars, ledger, work, flows)
    tolerance = controls[TOLERANCE]
    newton_tolerance = ITERATION_TOLERANCE * tolerance
    steps_left = controls[MOST_STEPS]
    k = 0
    for out in range(out_time.size):
        second_order = True
        while clock[TIME] < out_time[out]:
            time, last = clock[TIME], clock[LAST_STEP]
            while forcing[k, END] <= time:
                k += 1
            supply = 0.1 * forcing[k, WATER_AMOUNT] / (forcing[k, END] - forcing[k, START])
            if last > 0.0 and supply != clock[LAST_SUPPLY]:
                # A jump: the past is no guide, and the first step takes little water (the tolerance
                # as a share of 1 cm).
                jump = abs(supply - clock[LAST_SUPPLY])
                clock[NEXT_STEP] = min(clock[NEXT_STEP], tolerance / jump)
                last = 0.0
            elif last == 0.0:
                clock[NEXT_STEP] = min(clock[NEXT_STEP], FIRST_STEP)
            stop = min(forcing[k, END], out_time[out])
            left = stop - time
            wanted = min(clock[NEXT_STEP], controls[LARGEST_STEP])
            if forcing[k, PHASE_END] > forcing[k, PHASE_START]:
                # After a still night the step has no measure of the demand to come.
                part = forcing[k, PHASE_END] - forcing[k, PHASE_START]
                length = (forcing[k, END] - forcing[k, START]) / part
                wanted = min(wanted, PART_OF_HALF_SINE * length)
            # Even parts up to the stop: no sliver of a step before it.
            parts = max(1.0, math.ceil(left / wanted - 1e-3))
            dt = left / parts
            now = stop if parts == 1.0 else time + dt

            weight = 0.0
            if second_order:
                weight = weight_of_last_step(dt, last, h, stored, rate, work)
            if not set_demand(
                conditions, clock, ledger, forcing[k], now, weight, dt - weight * last
            ):
                weight = 0.0
            if weight == 0.0:
                for i in range(n):
                    work[TARGET, i] = stored[i]
                set_demand(conditions, clock, ledger, forcing[k], now, 0.0, dt)
            effective_dt = dt - weight * last
            most = MOST_ITERATIONS
            most_growth = RESIDUAL_GROWTH if second_order else RESIDUAL_GROWTH_ON_RETRY
            conditions[CAREFUL] = 0.0 if second_order else 1.0
            if last == 0.0:
                most = MOST_ITERATIONS_AT_START
            if last > 0.0 and second_order:
                predict(h, h_before, stored, rate, last, dt / last, dry_suction, guess)
            else:
                for i in range(n):
                    guess[i] = h[i]
            # Where a balance is read, heads have to hold its water.
            last_correction = 0.0 if now == out_time[out] else tolerance
            iterations = newton(
                guess, effective_dt, work[TARGET], z, soil, root, conditions, codes, tables,
                scalars, volume, dry_suction, newton_tolerance, last_correction, most,
                most_growth, work, flows,
            )  # fmt: skip
            solved = iterations >= 0
            counts[ITERATIONS] += iterations if solved else -1 - iterations
            growth = LEAST_GROWTH
            accepted = False
            if solved:
                error = 0.0
                if last > 0.0:
                    error = step_error(work[STORAGE_ROW], stored, rate, dt, volume, codes)
                growth = 0.9 * math.sqrt(tolerance / max(error, 1e-12))
                growth = min(MOST_GROWTH, max(LEAST_GROWTH, growth))
                accepted = error <= ACCEPTED_EXCESS * tolerance
                if accepted and weight > 0.0 and outflow_ended(codes, flows, ledger):
                    # The same step again, at first order.
                    second_order = False
                    counts[REJECTED] += 1
                    continue
            if not accepted:
                counts[REJECTED] += 1
                if dt <= controls[SMALLEST_STEP]:
                    return STEP_TOO_SMALL
                clock[NEXT_STEP] = growth * dt
                second_order = solved
                continue
            second_order = True
            if steps_left <= 0.0:
                return TOO_MANY_STEPS
            steps_left -= 1.0
            counts[STEPS] += 1
            finite = accept(
                h, guess, stored, h_before, rate, dt, weight, effective_dt, conditions, codes,
                ledger, work, flows,
            )  # fmt: skip
            if not finite:
                return NOT_FINITE
            clock[TIME], clock[LAST_STEP], clock[LAST_SUPPLY] = now, dt, supply
            if iterations > MANY_ITERATIONS:
                growth = min(growth, 1.0)
            # A step shortened by a stop says little about the next.
            clock[NEXT_STEP] = max(growth * dt, wanted) if dt < wanted else growth * dt
            if now == out_time[out]:
                close_balance(h, stored, z, soil, codes, tables, scalars, ledger, work)
        for i in range(n):
            out_head[out, i] = h[i]
        interval_water_content(h, soil, tables, scalars, out_water[out])
        for i in range(N_LEDGER):
            out_ledger[out, i] = ledger[i]
    return OK


def _march_columns(digest):
    def march_columns(
        first, last, node_start, z, soil, root, h, stored, h_before, rate, conditions, codes,
        tables, scalars, forcing, forcing_range, out_time, controls, clock, ledger, counts, status,
        out_head, out_water, out_ledger, work,
    ):  # fmt: skip
        """March the columns `first` to `last` - 1; nodes of all columns lie end to end."""
        _ = digest
        for c in range(first, last):
            a, b = node_start[c], node_start[c + 1]
            n = b - a
            status[c] = march(
                h[a:b], stored[a:b], h_before[a:b], rate[a:b], z[a:b], soil[a : b - 1], root[a:b],
                conditions[c], codes[c], tables, scalars,
                forcing[forcing_range[c, 0] : forcing_range[c, 1]], out_time, controls[c], clock[c],
                ledger[c], counts[c], out_head[c, :, :n], out_water[c, :, : n - 1], out_ledger[c],
                work[N_RATES : work_size(n)].reshape(N_WORK, n), work[:N_RATES],
            )  # fmt: skip

    return march_columns


def _mean_water_contents(digest):
    def mean_water_contents(h, z, soil, tables, scalars, top, bottom, result):
        """Mean water content between two depths of one column at many times.

        `h` has shape (n_times, n), `result` (n_times,).
        """
        _ = digest
        for t in range(result.size):
            result[t] = mean_water_content(h[t], z, soil, tables, scalars, top, bottom)

    return mean_water_contents


march_columns = compile_entry_point(_march_columns)
mean_water_contents = compile_entry_point(_mean_water_contents)
