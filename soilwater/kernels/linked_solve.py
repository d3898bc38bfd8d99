"""Solve the linear system of linked columns.

Each column is a tridiagonal matrix, far stronger than its links. Columns no two of which are
neighbours ("red") are eliminated exactly; for the others ("black")

    (I + A_bb T_b^-1 - A_br T_r^-1 A_rb T_b^-1) y = r,        x_b = T_b^-1 y

goes to GMRES (Saad & Schultz 1986, SIAM J. Sci. Stat. Comput. 7:856-869), with T the tridiagonals
and A the links. It takes one or two iterations a solve where columns stand half a metre apart.
"""

import math

from soilwater.kernels.cache import kernel
from soilwater.kernels.linked_flow import balanced_nodes
from soilwater.kernels.linked_rows import (
    BY_FIRST,
    BY_SECOND,
    FROM_MIDDLE,
    INVERSE,
    MOST_KRYLOV,
    REST,
    TO_MIDDLE,
)
from soilwater.kernels.march import copy_into
from soilwater.kernels.rows import CHANGE, DIAGONAL, LOWER, RESIDUAL, UPPER, VOLUME

BLACK, RED, ANY = 0, 1, -1
"""Colours of columns; `links.red` has the first two."""
REDUCTION = 0.02
"""Share of its start at which the residual of the linear system is small enough."""
MOST_LEFT = 1.0e-3
"""Residual of the linear system [1] that is never small enough, however large its start: where one
outlet lets go far too much, a share of that would open the shut ones of all columns around it."""
AS_IF_ALONE = 0.01
"""Part of these below which what the links add is as good as nothing."""


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
def solve_line(c, work):
    """Solve the tridiagonal system of a column in place: `CHANGE` is its right side, then it."""
    x, inverse = work[c, CHANGE], work[c, INVERSE]
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
def take_own(c, dt, links, codes, work, result):
    """Add to `result` what the change of a column itself takes over its links."""
    first, last = balanced_nodes(codes, result.size)
    change = work[c, CHANGE]
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        link, share = links.neighbour_link[place], dt * links.neighbour_takes[place]
        by_own = links.flow[link, BY_FIRST if links.first[link] == c else BY_SECOND]
        for k in range(first, last):
            result[k] += share * by_own[k] * change[k]


@kernel
def take_neighbours(c, dt, colour, links, codes, active, work, result):
    """Add to `result` what the change of neighbours takes: of one colour, or of both (`ANY`)."""
    first, last = balanced_nodes(codes, result.size)
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        link, other = links.neighbour_link[place], links.neighbour[place]
        if active[other] == 0 or links.red[other] == 1 - colour:
            continue
        share, change = dt * links.neighbour_takes[place], work[other, CHANGE]
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
def solve_alone(dt, reduction, columns, packed, links, room):
    """Try the change of heads as if no column had links; True where the links leave it at that.

    On level and uniform ground that is the answer, and the same in every column to the last bit.
    See `solve_links` for `reduction`.
    """
    work, active = room.work, room.active
    start, left = 0.0, 0.0
    for c in columns:
        volume = work[c, VOLUME]
        for k in range(volume.size):
            work[c, CHANGE, k] = -work[c, RESIDUAL, k]
            start += (work[c, RESIDUAL, k] / volume[k]) ** 2
        factor(c, 0.0, links, packed.codes[c], work)
        solve_line(c, work)
    for c in columns:
        rest, volume, codes = work[c, REST], work[c, VOLUME], packed.codes[c]
        for k in range(volume.size):
            rest[k] = 0.0
        take_own(c, dt, links, codes, work, rest)
        take_neighbours(c, dt, ANY, links, codes, active, work, rest)
        for k in range(volume.size):
            left += (rest[k] / volume[k]) ** 2
    return left <= AS_IF_ALONE**2 * min(reduction**2 * start, MOST_LEFT**2)


@kernel
def settle_red(dt, share, columns, packed, links, room):
    """Change of the red columns that the change of the black ones asks for.

    With it that for a share of their own residual, all or nothing.
    """
    work = room.work
    for c in columns:
        if links.red[c] == 1:
            change = work[c, CHANGE]
            for k in range(change.size):
                change[k] = -share * work[c, RESIDUAL, k]
            take_neighbours(c, -dt, BLACK, links, packed.codes[c], room.active, work, change)
            solve_line(c, work)


@kernel
def apply(vector, result, dt, columns, packed, links, room):
    """One product with the matrix of the black columns."""
    work = room.work
    for c in columns:
        if links.red[c] == 0:
            copy_into(work[c, CHANGE], vector[c])
            solve_line(c, work)
    settle_red(dt, 0.0, columns, packed, links, room)
    for c in columns:
        if links.red[c] == 0:
            copy_into(result[c], vector[c])
            take_neighbours(c, dt, ANY, links, packed.codes[c], room.active, work, result[c])


@kernel
def solve_links(dt, tolerance, reduction, columns, packed, links, room):
    """Change of heads of some columns, those that are `active`, with all others at rest.

    Returns the number of iterations: the linear residual is then below `tolerance` [1], as the root
    of its sum of squares, or below a share `reduction` of its start and `MOST_LEFT`.
    """
    work, active, basis = room.work, room.active, room.basis
    hessenberg, turn, right = room.small[0], room.small[1], room.small[2, 0]
    if solve_alone(dt, reduction, columns, packed, links, room):
        return 0
    for c in columns:
        factor(c, dt, links, packed.codes[c], work)
        if links.red[c] == 0:
            for k in range(work.shape[2]):
                work[c, CHANGE, k] = 0.0
    settle_red(dt, 1.0, columns, packed, links, room)
    for c in columns:
        if links.red[c] == 0:
            for k in range(work.shape[2]):
                basis[0, c, k] = -work[c, RESIDUAL, k]
            take_neighbours(c, -dt, RED, links, packed.codes[c], active, work, basis[0, c])
    start = math.sqrt(product(basis[0], basis[0], columns, links, work))
    enough = max(tolerance, min(reduction * start, MOST_LEFT))
    scale_vector(basis[0], 1.0 / start if start > 0.0 else 0.0, columns, links)
    right[0] = start
    n = 0
    # Once at least: saturated soil asks for less than the tolerance.
    while n < MOST_KRYLOV and start > 0.0:
        new = basis[n + 1]
        apply(basis[n], new, dt, columns, packed, links, room)
        for i in range(n + 1):
            hessenberg[i, n] = product(basis[i], new, columns, links, work)
            subtract(new, hessenberg[i, n], basis[i], columns, links)
        length = math.sqrt(product(new, new, columns, links, work))
        for i in range(n):
            one, two = hessenberg[i, n], hessenberg[i + 1, n]
            hessenberg[i, n] = turn[0, i] * one + turn[1, i] * two
            hessenberg[i + 1, n] = turn[0, i] * two - turn[1, i] * one
        size = math.sqrt(hessenberg[n, n] ** 2 + length * length)
        turn[0, n], turn[1, n] = hessenberg[n, n] / size, length / size
        hessenberg[n, n] = size
        right[n + 1] = -turn[1, n] * right[n]
        right[n] *= turn[0, n]
        n += 1
        left = abs(right[n])
        if left <= enough or not length > 0.0:
            break
        scale_vector(new, 1.0 / length, columns, links)
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            right[i] -= hessenberg[i, j] * right[j]
        right[i] /= hessenberg[i, i]
    for c in columns:
        if links.red[c] == 0:
            change = work[c, CHANGE]
            for k in range(change.size):
                change[k] = 0.0
            for i in range(n):
                for k in range(change.size):
                    change[k] += right[i] * basis[i, c, k]
            solve_line(c, work)
    settle_red(dt, 1.0, columns, packed, links, room)
    return n


@kernel
def scale_vector(vector, by, columns, links):
    """Multiply a vector over black columns."""
    for c in columns:
        if links.red[c] == 0:
            for k in range(vector.shape[1]):
                vector[c, k] *= by


@kernel
def subtract(vector, by, other, columns, links):
    """Subtract a multiple of another vector."""
    for c in columns:
        if links.red[c] == 0:
            for k in range(vector.shape[1]):
                vector[c, k] -= by * other[c, k]
