"""Solve one implicit step by Newton's method, at home in very dry sand."""

import math

from soilwater.kernels.cache import inlined_kernel, kernel, sole_kernel
from soilwater.kernels.curves import DRY_END_SUCTION, OVEN_DRY_SUCTION
from soilwater.kernels.elementary import bits_of, near_power, number_of, stretch, stretches
from soilwater.kernels.rows import (
    BASE_CODE,
    BASE_VALUE,
    BEFORE,
    CHANGE,
    DRY_SUCTION,
    OUTFLOW,
    OWN,
    OWN_BEFORE,
    PER_VOLUME,
    RESIDUAL,
    STEP,
    STORAGE,
    STORE_AND_UPTAKE,
    STORE_AND_UPTAKE_BEFORE,
    VOLUME,
)
from soilwater.kernels.tangent import (
    LEAST_WATER_KEPT,
    follow_tangent,
    leave_the_rest,
    runs_straight,
)
from soilwater.kernels.uptake import compensate

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
MOST_SUCTION_GROWTH = 10.0
LEAST_SUCTION_KEPT = 1.0e-3
"""Factors between which the suction of a dry node may change in one Newton step."""
MOST_STEEP = 20.0
"""Largest exponent taken: near the oven-dry suction, where uptake ends, there is no limit to it."""
NO_CAPACITY = 1.0e-150
"""Capacity of a node [1] that holds nothing, beyond the end of its curve."""
LAST_HELD = 0.999999 * DRY_END_SUCTION
"""Suction [cm] just before a dry end, from which a node that holds nothing is wetted: its own says
nothing of how far away water is."""
JUST_OPEN = 1.0 - 1.0e-9
"""Share of the suction of an outlet in dry soil at which a node that would pass it is held. Below
it a node next to empty is drawn up by anything that comes, far beyond, and above it drained."""


@inlined_kernel
def move_along_curve(head, change, own, store_and_uptake):
    """Head after a Newton step at a dry node.

    The water V a node holds and gives falls as a power of suction s, with exponent -s/V dV/ds;
    the step is taken in that power, where the balance is nearly straight, and not in suction.
    """
    suction = -head
    share = own / store_and_uptake if store_and_uptake > 0.0 else 0.0
    inverse = 1.0 / (suction * share)
    too_steep = inverse < 1.0 / MOST_STEEP
    relative = share * change * (MOST_STEEP * inverse if too_steep else 1.0)
    kept = 1.0 + relative
    kept = LEAST_WATER_KEPT if kept < LEAST_WATER_KEPT else kept
    along = suction * near_power(kept, -1.0 / MOST_STEEP if too_steep else -inverse)
    moved = suction - change if abs(relative) < 1e-6 else along
    least, most = LEAST_SUCTION_KEPT * suction, MOST_SUCTION_GROWTH * suction
    moved = least if moved < least else moved
    return -(most if moved > most else moved)


@kernel
def take_step(before, factor, change, own, store_and_uptake, dry_suction, h):
    """Heads after a Newton step, or a part of it."""
    for which in range(stretches(h.size)):
        begin, end = stretch(which, h.size)
        take_step_of_some(
            before[begin:end], factor, change[begin:end], own[begin:end],
            store_and_uptake[begin:end], dry_suction[begin:end], h[begin:end],
        )  # fmt: skip


@inlined_kernel
def take_step_of_some(before, factor, change, own, store_and_uptake, dry_suction, h):
    """The same, of a stretch of nodes."""
    for i in range(h.size):
        step = factor * change[i]
        moved = move_along_curve(before[i], step, own[i], store_and_uptake[i])
        moved = moved if -before[i] > dry_suction[i] else before[i] + step
        empty = (own[i] <= NO_CAPACITY) & (-before[i] > LAST_HELD) & (step > 0.0)
        moved = -LAST_HELD if empty else moved
        h[i] = -OVEN_DRY_SUCTION if moved < -OVEN_DRY_SUCTION else moved


@kernel
def residual_norm(h, work):
    """Largest residual as water content, weighted by the harm it does; NaN if any is.

    In saturated soil a residual has no room and turns into pressure, and a dry node that owes more
    than it holds can never make it good: there it counts more.
    """
    residual, storage, per_volume = work[RESIDUAL], work[STORAGE], work[PER_VOLUME]
    # As whole numbers, bits rise as what they stand for does, and those of NaN are beyond all.
    most = 0
    for i in range(residual.size):
        weight = OWING_WEIGHT if residual[i] > storage[i] else 1.0
        weight = SATURATED_WEIGHT if h[i] > 0.0 else weight
        size = bits_of(abs(residual[i]) * per_volume[i] * weight)
        most = size if size > most else most
    return number_of(most)


@kernel
def hold_at_outlet(before, codes, conditions, dry_suction, h):
    """Let the lowest node not pass, in one Newton step, an outlet at which it is dry."""
    last = h.size - 1
    outlet = conditions[BASE_VALUE]
    if (
        codes[BASE_CODE] == OUTFLOW
        and -outlet > dry_suction[last]
        and before[last] <= outlet < h[last]
    ):
        h[last] = JUST_OPEN * outlet


def make_newton(assemble, solve, norm_of, runs_straight=runs_straight, moving=STORE_AND_UPTAKE):
    """Make Newton's method for a system, from the kernels that know the system.

    Parameters
    ----------
    assemble : kernel of (h, dt, stored, column, soils, work, flows)
        Fills residual and Jacobian, storage and flows.
    solve : kernel of (work)
        Sets the change of heads that the linear system asks for.
    norm_of : kernel of (h, work)
        Size of the residual, as water content; NaN if any is.
    runs_straight : kernel of (h, dt, column, soils, most_correction, work, flows)
        Whether a step may end along its tangent.
    moving : int
        Row of `work` with the part of `STORE_AND_UPTAKE` that goes as a power of suction where a
        node is dry.

    Returns
    -------
    kernel of (h, dt, stored, column, soils, limits, work, flows)
    """

    def newton(h, dt, stored, column, soils, limits, work, flows):
        """Solve one implicit step in place, from the guess in `h`.

        A Newton step may raise the residual by the factor `limits.most_growth`: heads in gravel
        must shift together, which raises the residual before it falls. The iteration ends where the
        residual is below `limits.tolerance` or, unless `limits.last_correction` is 0, along the
        tangent of a Newton step that changes no water content by more than that (see
        `runs_straight`): the heads then hold the water of the balance, which is closed, only about.

        Returns the number of iterations, or -1 less that number where there is no solution yet.
        Rows of `work` hold residual and storage at the solution, `flows` the rates.
        """
        root, conditions, codes = column.root, column.conditions, column.codes
        volume, dry_suction = work[VOLUME], work[DRY_SUCTION]
        change, step, before = work[CHANGE], work[STEP], work[BEFORE]
        own, store_and_uptake = work[OWN_BEFORE], work[STORE_AND_UPTAKE_BEFORE]
        own_now, moving_now, residual = work[OWN], work[moving], work[RESIDUAL]
        n = h.size
        iteration, halving, factor, norm = -1, 0, 1.0, math.inf
        while True:
            if iteration < COMPENSATED_ITERATIONS:
                compensate(h, root, conditions, codes)
            assemble(h, dt, stored, column, soils, work, flows)
            new_norm = norm_of(h, work)
            growth = limits.most_growth if iteration < FREE_ITERATIONS else LATE_GROWTH
            if iteration < 0 or new_norm <= growth * norm or halving == MOST_HALVINGS:
                norm = new_norm
                iteration += 1
                if norm <= limits.tolerance:
                    return iteration
                if iteration == limits.most or not math.isfinite(norm):
                    return -1 - iteration
                solve(work)
                for i in range(n):
                    own[i] = own_now[i]
                for i in range(n):
                    store_and_uptake[i] = moving_now[i]
                for i in range(n):
                    before[i] = h[i]
                for i in range(n):
                    # A dry node that has all but nothing to give or take is let be.
                    settled = abs(residual[i]) <= LEAST_RESIDUAL * volume[i]
                    let_be = settled & (-h[i] > dry_suction[i]) & (abs(change[i]) > -h[i])
                    step[i] = 0.0 if let_be else change[i]
                halving, factor = 0, 1.0
            else:
                halving += 1
                factor *= 0.5
            take_step(before, factor, step, own, store_and_uptake, dry_suction, h)
            hold_at_outlet(before, codes, conditions, dry_suction, h)
            if halving == 0 and runs_straight(
                h, dt, column, soils, limits.last_correction, work, flows
            ):
                follow_tangent(h, dt, stored, column, work, flows)
                leave_the_rest(h, work)
                return iteration + 1

    return sole_kernel(newton)
