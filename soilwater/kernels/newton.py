"""Solve one implicit step of a column by Newton's method, at home in very dry sand."""

import math

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.column import (
    BASE_CODE,
    BASE_VALUE,
    CAREFUL,
    COMPENSATION,
    DRAINAGE,
    DRAINAGE_BY_HEAD,
    EVAPORATION,
    EVAPORATION_BY_HEAD,
    EVAPORATION_DEMAND,
    FLUX,
    HELD_HEAD,
    HELD_SURFACE,
    INFLOW,
    LOWER,
    N_MATRIX,
    OUTFLOW,
    OUTFLOW_CONDUCTANCE,
    SURFACE_CODE,
    TRANSPIRATION,
    TRANSPIRATION_DEMAND,
    UPPER,
    assemble,
    compensate,
    solve,
    water_around_nodes,
)
from soilwater.kernels.column import CAPACITY as CAPACITY_ROW
from soilwater.kernels.column import OWN as OWN_ROW
from soilwater.kernels.column import RESIDUAL as RESIDUAL_ROW
from soilwater.kernels.curves import OVEN_DRY_SUCTION
from soilwater.kernels.elementary import power

MOST_HALVINGS = 10
"""Shortenings of a Newton step that raises the residual too far; then it is taken as it is."""
FREE_ITERATIONS, LATE_GROWTH = 6, 2.0
"""Newton iterations in which the residual may grow as the caller says, and how far later ones may
raise it: a node that steps to and fro over a kink has to be held."""
COMPENSATED_ITERATIONS = 3
"""Newton iterations after which compensation between roots stays as it is."""
SATURATED_WEIGHT = 100.0
OWING_WEIGHT = 1.0e4
"""Weights of residuals that do more harm than others, see `residual_norm`."""
LEAST_RESIDUAL = 1.0e-11
"""Residual, as water content, that is as good as zero."""
LEAST_WATER_KEPT = 0.2
"""Share of its water a dry node keeps at least in one Newton step."""
MOST_BEND = 0.1
"""Water content by which a curve may leave the tangent that ends a step, as a share of the largest
correction allowed there."""
MOST_SHIFT = 0.01
"""Share of its suction by which a node that is not dry may be off for that reason: near saturation
a little water is a great change of head, and of conductivity."""
MOST_LEAP = 2.0
"""Factor by which the suction of a dry node may change along a tangent."""
AS_GOOD_AS_NONE = 1.0e-8
"""Water content, or share of what a node holds, that does not decide."""
ROUND_OFF = 1.0e-14
"""Share of what a node holds that may come out of a difference of it."""
MOST_SUCTION_GROWTH = 10.0
LEAST_SUCTION_KEPT = 1.0e-3
"""Factors between which the suction of a dry node may change in one Newton step."""
MOST_STEEP = 20.0
"""Largest exponent taken: near the oven-dry suction, where uptake ends, there is no limit to it."""

# Rows of the work space: what `assemble` fills, and what Newton's method needs beside it.
MATRIX, WATER = 0, N_MATRIX
CHANGE, STEP, BEFORE, OWN_BEFORE, HELD_BEFORE, ON_CURVE, N_ROWS = range(WATER + 2, WATER + 9)
STORAGE_ROW, STORE_AND_UPTAKE_ROW = WATER, WATER + 1


@inlined_kernel
def move_along_curve(head, change, own, held_water):
    """Head after a Newton step at a dry node.

    The water V a node holds and gives falls as a power of suction s, with exponent -s/V dV/ds;
    the step is taken in that power, where the balance is nearly straight, and not in suction.
    """
    suction = -head
    exponent = suction * own / held_water if held_water > 0.0 else 0.0
    exponent = MOST_STEEP if exponent > MOST_STEEP else exponent
    relative = exponent * change / suction
    kept = 1.0 + relative
    kept = LEAST_WATER_KEPT if kept < LEAST_WATER_KEPT else kept
    along = suction * power(kept, -1.0 / exponent)
    moved = suction - change if abs(relative) < 1e-6 else along
    least, most = LEAST_SUCTION_KEPT * suction, MOST_SUCTION_GROWTH * suction
    moved = least if moved < least else moved
    return -(most if moved > most else moved)


@kernel
def take_step(before, factor, change, own, held, dry_suction, h):
    """Heads after a Newton step, or a part of it."""
    for i in range(h.size):
        step = factor * change[i]
        moved = move_along_curve(before[i], step, own[i], held[i])
        moved = moved if -before[i] > dry_suction[i] else before[i] + step
        h[i] = -OVEN_DRY_SUCTION if moved < -OVEN_DRY_SUCTION else moved


@kernel
def residual_norm(h, residual, storage, volume):
    """Largest residual as water content, weighted by the harm it does; NaN if any is.

    In saturated soil a residual has no room and turns into pressure, and a dry node that owes more
    than it holds can never make it good: there it counts more.
    """
    norm = 0.0
    for i in range(residual.size):
        size = abs(residual[i]) / volume[i]
        if h[i] > 0.0:
            size *= SATURATED_WEIGHT
        elif residual[i] > storage[i]:
            size *= OWING_WEIGHT
        if not size <= norm:
            norm = size
    return norm


@kernel
def end_flows(h, change, conditions, codes, flows):
    """Evaporation and drainage along the tangent [cm/h], and each as its bounds allow."""
    evaporation = flows[EVAPORATION] + flows[EVAPORATION_BY_HEAD] * change[0]
    bounded_evaporation = min(max(evaporation, 0.0), conditions[EVAPORATION_DEMAND])
    drainage = flows[DRAINAGE] + flows[DRAINAGE_BY_HEAD] * change[h.size - 1]
    bounded_drainage = max(drainage, 0.0)
    if codes[BASE_CODE] == OUTFLOW:
        above_outlet = max(h[h.size - 1] - conditions[BASE_VALUE], 0.0)
        bounded_drainage = OUTFLOW_CONDUCTANCE * above_outlet
    return evaporation, bounded_evaporation, drainage, bounded_drainage


@kernel
def runs_straight(
    h, dt, z, soil, conditions, codes, tables, scalars, volume, dry_suction, most_correction, work,
    flows,
):  # fmt: skip
    """Whether a step may end along the tangent of the Newton step that led to `h`.

    It may not where that step changed a water content by more than `most_correction`, where the
    Jacobian is not the whole truth, and where a kink lies on the way: at a pond, a held head, an
    outlet or the end of a demand, in a node that is nearly emptied, in a dry one whose suction
    leaps, and where a curve leaves its tangent.

    What is as good as zero must not decide: at rest it comes out on either side of a bound.
    """
    n = h.size
    change, before, on_curve = work[CHANGE], work[BEFORE], work[ON_CURVE]
    storage, held = work[STORAGE_ROW], work[STORE_AND_UPTAKE_ROW]
    own, capacity = work[OWN_ROW], work[CAPACITY_ROW]
    if (
        codes[SURFACE_CODE] == HELD_SURFACE
        or codes[BASE_CODE] == HELD_HEAD
        or conditions[CAREFUL] > 0.0
        or abs(conditions[COMPENSATION] - 1.0) > AS_GOOD_AS_NONE
        or max(before[0], h[0]) > 0.0
    ):
        return False
    evaporation, bounded_evaporation, drainage, bounded_drainage = end_flows(
        h, change, conditions, codes, flows
    )
    if (
        dt * abs(bounded_evaporation - evaporation) > AS_GOOD_AS_NONE * storage[0]
        or dt * abs(bounded_drainage - drainage) > AS_GOOD_AS_NONE * storage[n - 1]
    ):
        return False
    straight = True
    for i in range(n):
        kept = storage[i] + capacity[i] * change[i]
        taken = held[i] - storage[i] + (own[i] - capacity[i]) * change[i]
        by_roots = taken - dt * evaporation if i == 0 else taken
        straight &= abs(own[i] * change[i]) <= most_correction * volume[i]
        straight &= (kept > LEAST_WATER_KEPT * storage[i]) & (by_roots >= -ROUND_OFF * held[i])
        dry = -min(h[i], before[i]) > dry_suction[i]
        leaps = (h[i] < MOST_LEAP * before[i]) | (before[i] < MOST_LEAP * h[i])
        straight &= not (dry & leaps)
    if not straight:
        return False
    water_around_nodes(h, z, soil, tables, scalars, on_curve)
    for i in range(n):
        bend = abs(on_curve[i] - (storage[i] + capacity[i] * change[i]))
        straight &= bend <= MOST_BEND * most_correction * volume[i]
        wet = -h[i] <= dry_suction[i]
        shift = bend - AS_GOOD_AS_NONE * volume[i]
        straight &= not wet or shift <= MOST_SHIFT * capacity[i] * max(-h[i], 0.0)
    return straight


@kernel
def follow_tangent(h, dt, stored, conditions, codes, work, flows):
    """Take water and flows at the end of a step as its last Newton step has them."""
    n = h.size
    change, storage, held = work[CHANGE], work[STORAGE_ROW], work[STORE_AND_UPTAKE_ROW]
    own, capacity, residual = work[OWN_ROW], work[CAPACITY_ROW], work[RESIDUAL_ROW]
    lower, upper, flux = work[LOWER], work[UPPER], work[FLUX]
    evaporation, bounded_evaporation, _, drainage = end_flows(h, change, conditions, codes, flows)
    more_by_roots = dt * (flows[EVAPORATION] - evaporation)
    for i in range(n):
        more_by_roots += (own[i] - capacity[i]) * change[i]
        storage[i] += capacity[i] * change[i]
        held[i] += own[i] * change[i]
    held[0] += dt * (bounded_evaporation - evaporation)
    flows[EVAPORATION], flows[DRAINAGE] = bounded_evaporation, drainage
    if conditions[TRANSPIRATION_DEMAND] > 0.0:
        flows[TRANSPIRATION] = max(flows[TRANSPIRATION] + more_by_roots / dt, 0.0)
    inflow = dt * flows[INFLOW]
    for i in range(n - 1):
        outflow = dt * flux[i] - lower[i + 1] * change[i] + upper[i] * change[i + 1]
        residual[i] = held[i] - stored[i] - (inflow - outflow)
        inflow = outflow
    residual[n - 1] = held[n - 1] - stored[n - 1] - (inflow - dt * drainage)


@kernel
def newton(
    h, dt, stored, z, soil, root, conditions, codes, tables, scalars,
    volume, dry_suction, tolerance, last_correction, most, most_growth, work, flows,
):  # fmt: skip
    """Solve one implicit step in place, from the guess in `h`.

    A Newton step may raise the residual by the factor `most_growth`: heads in gravel must shift
    together, which raises the residual before it falls. The iteration ends where the residual is
    below `tolerance` or, unless `last_correction` is 0, along the tangent of a Newton step that
    changes no water content by more than that (see `runs_straight`): the heads then hold the water
    of the balance, which is closed, only about.

    Returns the number of iterations, or -1 less that number where there is no solution yet. Rows
    of `work` hold residual and storage at the solution, `flows` the rates.
    """
    matrix, water = work[MATRIX:WATER], work[WATER:CHANGE]
    change, before = work[CHANGE], work[BEFORE]
    step, own, held = work[STEP], work[OWN_BEFORE], work[HELD_BEFORE]
    n = h.size
    compensate(h, root, conditions, codes)
    assemble(h, dt, stored, z, soil, root, conditions, codes, tables, scalars, matrix, water, flows)
    norm = residual_norm(h, work[RESIDUAL_ROW], work[STORAGE_ROW], volume)
    for iteration in range(most):
        if norm <= tolerance:
            return iteration
        if not math.isfinite(norm):
            return -1 - iteration
        solve(matrix, change)
        for i in range(n):
            own[i], held[i], before[i] = work[OWN_ROW, i], work[STORE_AND_UPTAKE_ROW, i], h[i]
            # A dry node that has all but nothing to give or take is let be.
            settled = abs(work[RESIDUAL_ROW, i]) <= LEAST_RESIDUAL * volume[i]
            let_be = settled and -h[i] > dry_suction[i] and abs(change[i]) > -h[i]
            step[i] = 0.0 if let_be else change[i]
        factor = 1.0
        new_norm = norm
        for halving in range(MOST_HALVINGS + 1):
            take_step(before, factor, step, own, held, dry_suction, h)
            if halving == 0 and last_correction > 0.0 and runs_straight(
                h, dt, z, soil, conditions, codes, tables, scalars, volume, dry_suction,
                last_correction, work, flows,
            ):  # fmt: skip
                follow_tangent(h, dt, stored, conditions, codes, work, flows)
                return iteration + 1
            if iteration < COMPENSATED_ITERATIONS:
                compensate(h, root, conditions, codes)
            assemble(
                h, dt, stored, z, soil, root, conditions, codes, tables, scalars,
                matrix, water, flows,
            )  # fmt: skip
            new_norm = residual_norm(h, work[RESIDUAL_ROW], work[STORAGE_ROW], volume)
            growth = most_growth if iteration < FREE_ITERATIONS else LATE_GROWTH
            if new_norm <= growth * norm:
                break
            factor *= 0.5
        norm = new_norm
    return most if norm <= tolerance else -1 - most
