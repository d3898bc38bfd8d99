"""March columns through time: implicit steps, step control, forcing, output times and ledger.

Time is stepped by backward Euler with the demand averaged over the step (the exact integral of
the forcing), so what is asked of the column over a step never depends on how the step was cut.
Stops (output times, ends of forcing intervals) are hit exactly.

The ledger is kept in fluxes: after a step the water a node holds is what its fluxes say, not what
its head says, and the small difference Newton leaves is carried into the next step. Errors of the
iteration are thus mended, never added up.
"""

import math

from numba import njit

from soilwater.kernels.cache import compile_entry_point
from soilwater.kernels.column import (
    DRAINAGE,
    EVAPORATION,
    EVAPORATION_DEMAND,
    HELD_HEAD,
    HELD_SURFACE,
    BASE_CODE,
    INFLOW,
    RUNOFF,
    SUPPLY,
    SURFACE_CODE,
    TRANSPIRATION,
    TRANSPIRATION_DEMAND,
    assemble,
    interval_water_content,
    mean_water_content,
    solve,
)
from soilwater.kernels.curves import OVEN_DRY_SUCTION, SCALE

OK, STEP_TOO_SMALL, TOO_MANY_STEPS, NOT_FINITE = 0, 1, 2, 3

# A forcing interval: start and end [h], amounts over the interval [mm], and which part of a
# half-sine the demand follows (phases in 0..1; equal phases: uniform).
(
    START,
    END,
    WATER,
    TRANSPIRATION_AMOUNT,
    EVAPORATION_AMOUNT,
    PHASE_START,
    PHASE_END,
    N_FORCING,
) = range(8)

# The ledger: cumulative amounts since the start, and storage [cm].
(
    TOTAL_INFLOW,
    TOTAL_RUNOFF,
    TOTAL_TRANSPIRATION,
    TOTAL_EVAPORATION,
    TOTAL_DRAINAGE,
    TOTAL_TRANSPIRATION_DEMAND,
    TOTAL_EVAPORATION_DEMAND,
    STORAGE_CHANGE,
    PONDING,
    CLOSURE_ERROR,
    INITIAL_STORAGE,
    N_LEDGER,
) = range(12)

# The clock of a column: time [h], length of the next step [h], length of the last step [h] (0:
# no step yet, or a jump in the supply since).
TIME, NEXT_STEP, LAST_STEP, N_CLOCK = range(4)
# Work done.
STEPS, REJECTED, ITERATIONS, N_COUNTS = range(4)
# Step control: largest local error in water content a step may make [1], smallest and largest
# step [h], most steps in one call.
TOLERANCE, SMALLEST_STEP, LARGEST_STEP, MOST_STEPS, N_CONTROLS = range(5)
# Work space: rows of length n used by one column at a time.
N_WORK = 15

FIRST_STEP = 1.0e-4
ITERATION_TOLERANCE = 1.0e-3
"""Newton stops when its residual, as water content, is below this share of the tolerance."""
MOST_ITERATIONS = 14
MOST_ITERATIONS_AT_START = 60
NORM_GROWTH = 20.0
"""A Newton step may raise the residual this much: heads in gravel must shift together, which
raises the residual before it falls."""
MOST_HALVINGS = 6
LEAST_WATER_KEPT = 0.2
MOST_SUCTION_GROWTH = 10.0
DRY_FROM = 1.5
"""Scaled suction beyond which Newton's update is made along the curve."""


@njit(error_model="numpy", nogil=True)
def forcing_share(interval, time):
    """Share of an interval's demand that has passed at a time within it."""
    x = (time - interval[START]) / (interval[END] - interval[START])
    p0, p1 = interval[PHASE_START], interval[PHASE_END]
    if p0 == p1:
        return x
    c0 = math.cos(math.pi * p0)
    return (c0 - math.cos(math.pi * (p0 + (p1 - p0) * x))) / (c0 - math.cos(math.pi * p1))


@njit(error_model="numpy", nogil=True)
def move_along_curve(head, change, own, held_water):
    """Head after a Newton step at a dry node.

    The water a node holds and gives falls as a power of suction, with exponent
    -s/V dV/ds; the step is taken in that power, where it is nearly straight, and not in suction.
    """
    suction = -head
    exponent = suction * own / held_water if held_water > 0.0 else 0.0
    relative = exponent * change / suction
    if abs(relative) < 1e-6:
        moved = suction - change
        # A step across saturation is left to the wet side.
        if moved <= 0.0:
            return -moved
    else:
        moved = suction * max(1.0 + relative, LEAST_WATER_KEPT) ** (-1.0 / exponent)
    return -min(moved, MOST_SUCTION_GROWTH * suction)


@njit(error_model="numpy", nogil=True)
def residual_norm(residual, volume):
    """Largest residual as water content."""
    norm = 0.0
    for i in range(residual.size):
        size = abs(residual[i]) / volume[i]
        if not size <= norm:
            norm = size
    return norm


@njit(error_model="numpy", nogil=True)
def newton(
    h, dt, stored, z, soil, root, conditions, codes, tables, scalars,
    volume, dry_suction, tolerance, most, work, flows,
):  # fmt: skip
    """Solve one implicit step from the guess in `h`, in place; iterations, or minus those."""
    matrix, water, change, trial = work[0:5], work[5:7], work[7], work[8]
    n = h.size
    assemble(h, dt, stored, z, soil, root, conditions, codes, tables, scalars, matrix, water, flows)
    norm = residual_norm(matrix[3], volume)
    for iteration in range(most):
        if norm <= tolerance:
            return iteration
        if not math.isfinite(norm):
            return -iteration - 1
        solve(matrix, change)
        own, held = work[9], work[10]
        for i in range(n):
            own[i], held[i], trial[i] = matrix[4, i], water[1, i], h[i]
        factor = 1.0
        for _ in range(MOST_HALVINGS + 1):
            for i in range(n):
                step = factor * change[i]
                if -trial[i] > dry_suction[i]:
                    h[i] = move_along_curve(trial[i], step, own[i], held[i])
                else:
                    h[i] = trial[i] + step
                h[i] = max(h[i], -OVEN_DRY_SUCTION)
            assemble(
                h, dt, stored, z, soil, root, conditions, codes, tables, scalars,
                matrix, water, flows,
            )  # fmt: skip
            new_norm = residual_norm(matrix[3], volume)
            if new_norm <= NORM_GROWTH * norm:
                break
            factor *= 0.5
        norm = new_norm
    if norm <= tolerance:
        return most
    return -most


@njit(error_model="numpy", nogil=True)
def predict(h, h_before, ratio, dry_suction, guess):
    """Extrapolate heads from the last two states: along a power of suction where dry."""
    for i in range(h.size):
        if -h[i] > dry_suction[i] and -h_before[i] > dry_suction[i]:
            growth = min(max((h[i] / h_before[i]) ** ratio, 0.3), 3.0)
            guess[i] = max(h[i] * growth, -OVEN_DRY_SUCTION)
        else:
            guess[i] = h[i] + ratio * (h[i] - h_before[i])


@njit(error_model="numpy", nogil=True)
def step_error(water, stored, rate, dt, volume):
    """Largest local error of a backward Euler step, in water content."""
    error = 0.0
    for i in range(stored.size):
        new_rate = (water[i] - stored[i]) / dt
        error = max(error, abs(new_rate - rate[i]) / volume[i])
    return 0.5 * dt * error


@njit(error_model="numpy", nogil=True)
def march(
    h, stored, h_before, rate, z, soil, root, conditions, codes, tables, scalars,
    forcing, out_time, controls, clock, ledger, counts, out_head, out_water, out_ledger, work,
):  # fmt: skip
    """March one column through its output times; returns a status.

    A column is fresh while its ledger holds no initial storage (NaN).
    State (`h`, `stored`, `h_before`, `rate`, `clock`, `ledger`, `counts`) is read at entry and
    left at the last good time, so a run can be cut anywhere between outputs and taken up again.
    """
    n = h.size
    volume, dry_suction, guess, flows = work[11], work[12], work[13], work[14]
    for i in range(n):
        above = z[i] - z[i - 1] if i > 0 else 0.0
        below = z[i + 1] - z[i] if i < n - 1 else 0.0
        volume[i] = 0.5 * (above + below)
        scale = 0.0
        if i > 0:
            scale = scalars[soil[i - 1], SCALE]
        if i < n - 1:
            scale = max(scale, scalars[soil[i], SCALE])
        dry_suction[i] = DRY_FROM * scale
    if math.isnan(ledger[INITIAL_STORAGE]):
        conditions[SUPPLY] = 0.0
        conditions[TRANSPIRATION_DEMAND] = 0.0
        conditions[EVAPORATION_DEMAND] = 0.0
        assemble(
            h, 1.0, stored, z, soil, root, conditions, codes, tables, scalars,
            work[0:5], work[5:7], flows,
        )  # fmt: skip
        ledger[INITIAL_STORAGE] = 0.0
        for i in range(n):
            stored[i] = work[5, i]
            ledger[INITIAL_STORAGE] += stored[i]
    tolerance = controls[TOLERANCE]
    k = 0
    supply_before = -1.0
    steps_left = controls[MOST_STEPS]
    for out in range(out_time.size):
        while clock[TIME] < out_time[out]:
            time = clock[TIME]
            while forcing[k, END] <= time:
                k += 1
            interval = forcing[k]
            supply = 0.1 * interval[WATER] / (interval[END] - interval[START])
            if clock[LAST_STEP] == 0.0:
                clock[NEXT_STEP] = min(clock[NEXT_STEP], FIRST_STEP)
            elif supply != supply_before and supply_before >= 0.0:
                jump = abs(supply - supply_before)
                clock[NEXT_STEP] = min(clock[NEXT_STEP], tolerance / jump)
                clock[LAST_STEP] = 0.0
            supply_before = supply
            stop = min(interval[END], out_time[out])
            wanted = min(clock[NEXT_STEP], controls[LARGEST_STEP])
            left = stop - time
            dt = wanted
            if wanted >= 0.999 * left:
                dt = left
            elif 2.0 * wanted > left:
                dt = 0.5 * left
            now = stop if dt == left else time + dt

            share = forcing_share(interval, now) - forcing_share(interval, time)
            conditions[SUPPLY] = supply
            conditions[TRANSPIRATION_DEMAND] = 0.1 * share * interval[TRANSPIRATION_AMOUNT] / dt
            conditions[EVAPORATION_DEMAND] = 0.1 * share * interval[EVAPORATION_AMOUNT] / dt
            most = MOST_ITERATIONS
            if clock[LAST_STEP] > 0.0:
                predict(h, h_before, dt / clock[LAST_STEP], dry_suction, guess)
            else:
                most = MOST_ITERATIONS_AT_START
                for i in range(n):
                    guess[i] = h[i]
            iterations = newton(
                guess, dt, stored, z, soil, root, conditions, codes, tables, scalars,
                volume, dry_suction, ITERATION_TOLERANCE * tolerance, most, work, flows,
            )  # fmt: skip
            counts[ITERATIONS] += abs(iterations)
            factor = 0.3
            accepted = False
            if iterations >= 0:
                error = 0.0
                if clock[LAST_STEP] > 0.0:
                    error = step_error(work[5], stored, rate, dt, volume)
                factor = min(3.0, max(0.3, 0.9 * math.sqrt(tolerance / max(error, 1e-12))))
                accepted = error <= 1.2 * tolerance
            if not accepted:
                counts[REJECTED] += 1
                if dt <= controls[SMALLEST_STEP]:
                    return STEP_TOO_SMALL
                clock[NEXT_STEP] = factor * dt
                continue
            if steps_left <= 0:
                return TOO_MANY_STEPS
            steps_left -= 1
            counts[STEPS] += 1
            balance = work[3]
            if codes[SURFACE_CODE] == HELD_SURFACE:
                balance[0] = 0.0
            if codes[BASE_CODE] == HELD_HEAD:
                balance[n - 1] = 0.0
            for i in range(n):
                rate[i] = (work[5, i] - stored[i]) / dt
                stored[i] = work[5, i] - balance[i]
                h_before[i] = h[i]
                h[i] = guess[i]
            ledger[TOTAL_INFLOW] += dt * flows[INFLOW]
            ledger[TOTAL_RUNOFF] += dt * flows[RUNOFF]
            ledger[TOTAL_TRANSPIRATION] += dt * flows[TRANSPIRATION]
            ledger[TOTAL_EVAPORATION] += dt * flows[EVAPORATION]
            ledger[TOTAL_DRAINAGE] += dt * flows[DRAINAGE]
            ledger[TOTAL_TRANSPIRATION_DEMAND] += dt * conditions[TRANSPIRATION_DEMAND]
            ledger[TOTAL_EVAPORATION_DEMAND] += dt * conditions[EVAPORATION_DEMAND]
            storage = 0.0
            for i in range(n):
                storage += work[5, i]
            ledger[STORAGE_CHANGE] = storage - ledger[INITIAL_STORAGE]
            ledger[PONDING] = max(h[0], 0.0)
            ledger[CLOSURE_ERROR] = ledger[STORAGE_CHANGE] - (
                ledger[TOTAL_INFLOW]
                - ledger[TOTAL_RUNOFF]
                - ledger[TOTAL_TRANSPIRATION]
                - ledger[TOTAL_EVAPORATION]
                - ledger[TOTAL_DRAINAGE]
            )
            if not math.isfinite(ledger[CLOSURE_ERROR]):
                return NOT_FINITE
            clock[TIME] = now
            clock[LAST_STEP] = dt
            if iterations > 8:
                factor = min(factor, 1.0)
            clock[NEXT_STEP] = max(factor * dt, wanted) if dt < wanted else factor * dt
        for i in range(n):
            out_head[out, i] = h[i]
        interval_water_content(h, z, soil, tables, scalars, out_water[out])
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
                work[:, :n],
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
