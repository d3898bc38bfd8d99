"""Solve the linear system of linked columns.

Each column is a tridiagonal matrix, far stronger than its links. Columns no two of which are
neighbours ("red") are eliminated exactly, with T the tridiagonals and A the links:

    x_r = T_r^-1 (r_r - A_rb x_b)

What is then left in the others ("black") goes down along directions z, z_b = T_b^-1 (what is left),
whose images in the black rows are held at right angles: generalised conjugate residuals (Eisenstat,
Elman & Schultz 1983, SIAM J. Numer. Anal. 20:345-357). It takes one or two iterations a solve where
columns stand half a metre apart.
"""

import math

from soilwater.kernels.cache import kernel
from soilwater.kernels.linked_flow import balanced_nodes
from soilwater.kernels.linked_rows import (
    BY_FIRST,
    BY_SECOND,
    FLOW,
    FROM_MIDDLE,
    INVERSE,
    MOST_KRYLOV,
    TO_MIDDLE,
)
from soilwater.kernels.march import copy_into
from soilwater.kernels.rows import CHANGE, DIAGONAL, LOWER, RESIDUAL, UPPER, VOLUME

BLACK, RED, ANY = 0, 1, -1
"""Colours of columns; `links.red` has the first two."""
REDUCTION = 0.05
"""Share of its start at which the residual of the linear system is small enough."""
MOST_LEFT = 2.0e-3
"""Residual of the linear system [1] that is never small enough, however large its start: where one
outlet lets go far too much, a share of that would open the shut ones of all columns around it."""


@kernel
def factor(c, dt, links, codes, work):
    """Factorise the tridiagonal matrix of a column, from both ends towards the middle.

    With a `dt` of 0 it is that of the column without its links.
    """
    lower, upper, diagonal = work[c, LOWER], work[c, UPPER], work[c, FROM_MIDDLE]
    inverse, to_middle, from_middle = work[c, INVERSE], work[c, TO_MIDDLE], work[c, FROM_MIDDLE]
    n = inverse.size
    for k in range(n):
        diagonal[k] = work[c, DIAGONAL, k]
    first, last = balanced_nodes(codes, n)
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        link, share = links.neighbour_link[place], dt * links.neighbour_takes[place]
        by_own = links.flow[link, BY_FIRST if links.first[link] == c else BY_SECOND]
        for k in range(first, last):
            diagonal[k] += share * by_own[k]
    end = n - 1
    middle = (end + 1) // 2
    above, below = 0.0, 0.0
    for i in range(middle):
        pivot = 1.0 / (diagonal[i] - lower[i] * above)
        above = upper[i] * pivot
        inverse[i], to_middle[i], from_middle[i] = pivot, lower[i] * pivot, above
        j = end - i
        if j > middle:
            pivot = 1.0 / (diagonal[j] - upper[j] * below)
            below = lower[j] * pivot
            inverse[j], to_middle[j], from_middle[j] = pivot, upper[j] * pivot, below
    inverse[middle] = 1.0 / (diagonal[middle] - lower[middle] * above - upper[middle] * below)


@kernel
def solve_line(c, work, x):
    """Solve the tridiagonal system of a column in place: `x` is its right side, then it."""
    inverse = work[c, INVERSE]
    to_middle, from_middle = work[c, TO_MIDDLE], work[c, FROM_MIDDLE]
    end = x.size - 1
    middle = (end + 1) // 2
    above, below = 0.0, 0.0
    for i in range(middle):
        above = x[i] * inverse[i] - to_middle[i] * above
        x[i] = above
        j = end - i
        if j > middle:
            below = x[j] * inverse[j] - to_middle[j] * below
            x[j] = below
    at = x[middle] - work[c, LOWER, middle] * above
    at = (at - work[c, UPPER, middle] * below) * inverse[middle]
    x[middle] = at
    above, below = at, at
    for i in range(1, middle + 1):
        above = x[middle - i] - from_middle[middle - i] * above
        x[middle - i] = above
        if middle + i <= end:
            below = x[middle + i] - from_middle[middle + i] * below
            x[middle + i] = below


@kernel
def take_neighbours(c, dt, colour, links, codes, active, changes, result):
    """Add to `result` what changes of neighbours take: of one colour, or of both (`ANY`)."""
    first, last = balanced_nodes(codes, result.size)
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        link, other = links.neighbour_link[place], links.neighbour[place]
        if active[other] == 0 or links.red[other] == 1 - colour:
            continue
        share, change = dt * links.neighbour_takes[place], changes[other]
        by_other = links.flow[link, BY_SECOND if links.first[link] == c else BY_FIRST]
        for k in range(first, last):
            result[k] += share * by_other[k] * change[k]


@kernel
def product(one, other, columns, links, work):
    """Inner product of two vectors over black columns, in water contents."""
    total = 0.0
    for c in columns:
        if links.red[c] == 0:
            volume = work[c, VOLUME]
            for k in range(volume.size):
                total += one[c, k] * other[c, k] / (volume[k] * volume[k])
    return total


@kernel
def nothing_flows(columns, links):
    """Whether no water flows over any link of some columns, not even round-off."""
    for c in columns:
        for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
            for flow in links.flow[links.neighbour_link[place], FLOW]:
                if flow != 0.0:
                    return False
    return True


@kernel
def begin_links(dt, columns, packed, links, room):
    """Change of the red columns if the black ones stand still, and what is left in the black ones.

    Returns the size of what is left [1].
    """
    work, change, left = room.work, room.change, room.left
    # On level and uniform ground columns change as if alone, all of them alike to the last bit.
    alone = nothing_flows(columns, links)
    for c in columns:
        factor(c, 0.0 if alone else dt, links, packed.codes[c], work)
        for k in range(left.shape[1]):
            left[c, k] = -work[c, RESIDUAL, k]
            change[c, k] = left[c, k] if alone or links.red[c] == 1 else 0.0
        solve_line(c, work, change[c])
    if alone:
        return 0.0
    for c in columns:
        if links.red[c] == 0:
            take_neighbours(c, -dt, RED, links, packed.codes[c], room.active, change, left[c])
    return math.sqrt(product(left, left, columns, links, work))


@kernel
def find_direction(dt, columns, packed, links, room, direction, image):
    """Change of heads that what is left in the black columns asks for, and what it takes there."""
    work, left, active = room.work, room.left, room.active
    for c in columns:
        if links.red[c] == 0:
            copy_into(direction[c], left[c])
            solve_line(c, work, direction[c])
    for c in columns:
        if links.red[c] == 1:
            for k in range(left.shape[1]):
                direction[c, k] = 0.0
            take_neighbours(c, -dt, BLACK, links, packed.codes[c], active, direction, direction[c])
            solve_line(c, work, direction[c])
    for c in columns:
        if links.red[c] == 0:
            copy_into(image[c], left[c])
            take_neighbours(c, dt, ANY, links, packed.codes[c], active, direction, image[c])


@kernel
def add(vector, by, other, colour, columns, links):
    """Add a multiple of another vector, in the black columns or in all (`ANY`)."""
    for c in columns:
        if links.red[c] != 1 - colour:
            for k in range(vector.shape[1]):
                vector[c, k] += by * other[c, k]


@kernel
def solve_links(dt, tolerance, reduction, columns, packed, links, room):
    """Change of heads of some columns, those that are `active`, with all others at rest.

    Returns the number of iterations: the linear residual is then below `tolerance` [1], as the root
    of its sum of squares, or below a share `reduction` of its start and `MOST_LEFT`.
    """
    work, change, left, squared = room.work, room.change, room.left, room.squared
    size = begin_links(dt, columns, packed, links, room)
    enough = max(tolerance, min(reduction * size, MOST_LEFT))
    n = 0
    # Once at least: saturated soil asks for less than the tolerance.
    while n < MOST_KRYLOV and size > 0.0 and (n == 0 or size > enough):
        direction, image = room.directions[n], room.images[n]
        find_direction(dt, columns, packed, links, room, direction, image)
        for i in range(n):
            by = product(image, room.images[i], columns, links, work) / squared[i]
            add(image, -by, room.images[i], BLACK, columns, links)
            add(direction, -by, room.directions[i], ANY, columns, links)
        squared[n] = product(image, image, columns, links, work)
        by = product(left, image, columns, links, work) / squared[n]
        add(change, by, direction, ANY, columns, links)
        add(left, -by, image, BLACK, columns, links)
        size = math.sqrt(product(left, left, columns, links, work))
        n += 1
    for c in columns:
        copy_into(work[c, CHANGE], change[c])
    return n
