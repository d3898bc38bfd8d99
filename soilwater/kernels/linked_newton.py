"""Solve one implicit step of a set of linked columns by Newton's method.

An iteration works on the columns whose residual is not small yet, and on those around them; late
iterations then cost a few per cent of an early one. A step of heads is shortened in the columns
that need it, never in all of them for the sake of one.
"""

import math

from soilwater.kernels.cache import kernel
from soilwater.kernels.column import assemble
from soilwater.kernels.linked_flow import add_links, conduct, renew_link
from soilwater.kernels.linked_rows import OWN_RESIDUAL, SIDEWAYS, SIDEWAYS_BY_HEAD
from soilwater.kernels.linked_solve import REDUCTION, solve_links
from soilwater.kernels.march import copy_into
from soilwater.kernels.newton import (
    COMPENSATED_ITERATIONS,
    FREE_ITERATIONS,
    LATE_GROWTH,
    LEAST_RESIDUAL,
    MOST_HALVINGS,
    residual_norm,
    take_step,
)
from soilwater.kernels.rows import (
    BEFORE,
    CHANGE,
    DRY_SUCTION,
    FLUX,
    GUESS,
    LOWER,
    OWN,
    OWN_BEFORE,
    RESIDUAL,
    STEP,
    STORE_AND_UPTAKE,
    STORE_AND_UPTAKE_BEFORE,
    TARGET,
    UPPER,
    VOLUME,
)
from soilwater.kernels.tangent import follow_tangent, runs_straight
from soilwater.kernels.unpack import column_of, soils_of
from soilwater.kernels.uptake import compensate

SOLVED_SHARE = 0.2
"""Share of the tolerance below which a column takes no part in an iteration."""
KRYLOV_SHARE = 0.3
"""Share of Newton's tolerance to which the linear system is solved at most."""
EARLY, EARLY_RINGS, LATER_RINGS = 4, 1, 3
"""Iterations up to which one ring of neighbours takes part, and rings in later ones."""
MOST_LATE_ITERATIONS = 40
"""Iterations at most, where few columns take part in the late ones: all columns together do no more
work than in `limits.most` of all of them. In a large set one column or another always needs longer,
and to begin all of them anew for its sake takes far more than to let it go on."""


@kernel
def renew(c, dt, compensating, packed, room):
    """Assemble a column at its heads `GUESS`."""
    column, work = column_of(packed, c), room.work[c]
    if compensating:
        compensate(work[GUESS], column.root, column.conditions, column.codes)
    assemble(work[GUESS], dt, work[TARGET], column, soils_of(packed), work, room.flows[c])
    conduct(column.z, work)


@kernel
def end_straight(c, dt, limits, packed, room):
    """End the step of a column along the tangent of its change of heads; False where it bends.

    What links need goes along, so that it may be moved so again. A tangent of conductivity, which
    bends most, may end at none where a column has nothing to settle any more.
    """
    column, work, flows = column_of(packed, c), room.work[c], room.flows[c]
    change, sideways, by_head = work[CHANGE], work[SIDEWAYS], work[SIDEWAYS_BY_HEAD]
    if room.norm[c] > limits.tolerance:
        for k in range(change.size):
            if sideways[k] + by_head[k] * change[k] < 0.0:
                return False
    soils, most = soils_of(packed), limits.last_correction
    if not runs_straight(work[GUESS], dt, column, soils, most, work, flows):
        return False
    follow_tangent(work[GUESS], dt, work[TARGET], column, work, flows)
    copy_into(work[OWN_RESIDUAL], work[RESIDUAL])
    lower, upper, flux = work[LOWER], work[UPPER], work[FLUX]
    for k in range(change.size):
        sideways[k] = max(sideways[k] + by_head[k] * change[k], 0.0)
    for k in range(change.size - 1):
        flux[k] += (upper[k] * change[k + 1] - lower[k + 1] * change[k]) / dt
    return True


@kernel
def measure(c, dt, packed, links, room):
    """Residual of a column with its links; returns its size as water content."""
    add_links(c, dt, links, packed.codes[c], room.work)
    room.norm[c] = residual_norm(room.work[c, GUESS], room.work[c])
    return room.norm[c]


@kernel
def with_neighbours(first, count, links, room):
    """Put the neighbours of the columns from place `first` on behind them; returns their number."""
    end = count
    for place in range(first, end):
        c = room.order[place]
        for beyond in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
            other = links.neighbour[beyond]
            if room.active[other] == 0 and other < links.area.size:
                room.active[other] = 1
                room.order[count] = other
                count += 1
    return count


@kernel
def choose_columns(iteration, tolerance, links, room):
    """Columns that take part in an iteration, at the front of `order`; returns their number."""
    count = 0
    for c in range(room.norm.size):
        room.active[c] = 1 if room.norm[c] > SOLVED_SHARE * tolerance else 0
        if room.active[c] == 1:
            room.order[count] = c
            count += 1
    first = 0
    for _ in range(EARLY_RINGS if iteration < EARLY else LATER_RINGS):
        first, count = count, with_neighbours(first, count, links, room)
    return count


@kernel
def renew_links(columns, all_move, careful, links, room):
    """Renew every link of some columns; once, if they are all that are `active`."""
    for c in columns:
        for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
            link = links.neighbour_link[place]
            if links.first[link] == c or not all_move or not room.active[links.neighbour[place]]:
                renew_link(link, links, room.work, careful)


@kernel
def largest(values):
    """Largest of some numbers; NaN if any is."""
    most, every = 0.0, 0.0
    for value in values:
        every += value
        most = max(most, value)
    # A largest of several forgets what is not a number.
    return most + 0.0 * every


@kernel
def remember(work):
    """Keep heads, and what moves a dry node along its curve, before a step of heads."""
    for k in range(work.shape[1]):
        work[OWN_BEFORE, k], work[BEFORE, k] = work[OWN, k], work[GUESS, k]
        work[STORE_AND_UPTAKE_BEFORE, k] = work[STORE_AND_UPTAKE, k]
        # A dry node that has all but nothing to give or take is let be.
        settled = abs(work[RESIDUAL, k]) <= LEAST_RESIDUAL * work[VOLUME, k]
        dry = -work[GUESS, k] > work[DRY_SUCTION, k]
        let_be = settled and dry and abs(work[CHANGE, k]) > -work[GUESS, k]
        work[STEP, k] = 0.0 if let_be else work[CHANGE, k]


@kernel
def newton_of_set(dt, limits, careful, packed, links, room):
    """Solve one implicit step of all columns in place, from the guess at which they are assembled.

    Returns the number of iterations, or -1 less that number where there is no solution yet.
    """
    norm, order = room.norm, room.order
    for link in range(links.first.size):
        renew_link(link, links, room.work, careful)
    for c in range(norm.size):
        measure(c, dt, packed, links, room)
    worst, iteration, worked = largest(norm), 0, 0
    while worst > limits.tolerance and math.isfinite(worst):
        if iteration == max(limits.most, MOST_LATE_ITERATIONS) or worked >= limits.most * norm.size:
            break
        count = choose_columns(iteration, limits.tolerance, links, room)
        columns = order[:count]
        solve_links(dt, KRYLOV_SHARE * limits.tolerance, REDUCTION, columns, packed, links, room)
        growth = limits.most_growth if iteration < FREE_ITERATIONS else LATE_GROWTH
        share, moving = 1.0, count
        for _ in range(MOST_HALVINGS + 1):
            for c in columns[:moving]:
                work = room.work[c]
                if share == 1.0:
                    remember(work)
                take_step(
                    work[BEFORE], share, work[STEP], work[OWN_BEFORE],
                    work[STORE_AND_UPTAKE_BEFORE], work[DRY_SUCTION], work[GUESS],
                )  # fmt: skip
                may_end = share == 1.0 and limits.last_correction > 0.0
                if not (may_end and end_straight(c, dt, limits, packed, room)):
                    renew(c, dt, iteration < COMPENSATED_ITERATIONS, packed, room)
            renew_links(columns[:moving], moving == count, careful, links, room)
            felt = with_neighbours(0, count, links, room)
            left = 0
            for place in range(felt):
                c = order[place]
                too_far = not measure(c, dt, packed, links, room) <= growth * worst
                if too_far and place < moving:
                    # Those that went too far come to the front, and go half as far.
                    order[place], order[left] = order[left], c
                    left += 1
            for place in range(count, felt):
                room.active[order[place]] = 0
            moving = left
            if moving == 0:
                break
            share *= 0.5
        worst, iteration, worked = largest(norm), iteration + 1, worked + count
    return iteration if worst <= limits.tolerance else -1 - iteration
