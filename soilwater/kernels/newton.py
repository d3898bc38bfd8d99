"""Solve one implicit step of a column by Newton's method, at home in very dry sand."""

import math

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.column import N_MATRIX, assemble, compensate, solve
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
MOST_SUCTION_GROWTH = 10.0
LEAST_SUCTION_KEPT = 1.0e-3
"""Factors between which the suction of a dry node may change in one Newton step."""
MOST_STEEP = 20.0
"""Largest exponent taken: near the oven-dry suction, where uptake ends, there is no limit to it."""

# Rows of the work space: what `assemble` fills, and what Newton's method needs beside it.
MATRIX, WATER = 0, N_MATRIX
CHANGE, TRIAL, OWN, HELD, N_ROWS = range(WATER + 2, WATER + 7)
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
def newton(
    h, dt, stored, z, soil, root, conditions, codes, tables, scalars,
    volume, dry_suction, tolerance, most, most_growth, work, flows,
):  # fmt: skip
    """Solve one implicit step in place, from the guess in `h`.

    A Newton step may raise the residual by the factor `most_growth`: heads in gravel must shift
    together, which raises the residual before it falls. Returns the number of iterations, or -1
    less that number where there is no solution yet. Rows of `work` hold residual and storage at
    the solution, `flows` the rates.
    """
    matrix, water, change, trial = work[MATRIX:WATER], work[WATER:CHANGE], work[CHANGE], work[TRIAL]
    own, held = work[OWN], work[HELD]
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
            own[i], held[i], trial[i] = work[OWN_ROW, i], work[STORE_AND_UPTAKE_ROW, i], h[i]
            # A dry node that has all but nothing to give or take is let be.
            settled = abs(work[RESIDUAL_ROW, i]) <= LEAST_RESIDUAL * volume[i]
            if settled and -h[i] > dry_suction[i] and abs(change[i]) > -h[i]:
                change[i] = 0.0
        factor = 1.0
        new_norm = norm
        for _ in range(MOST_HALVINGS + 1):
            take_step(trial, factor, change, own, held, dry_suction, h)
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
