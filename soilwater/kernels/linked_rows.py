"""Columns that share water: how they are linked, and the room it takes to solve them together.

All columns of a set have the same number of nodes, m; node k of one faces node k of its neighbour.
There are c columns and l links. What a column is, feels and leaves is laid end to end in `Packed`,
as for columns that share nothing; their first clock, controls and counts are those of the set.
"""

from typing import NamedTuple

from soilwater.kernels.rows import (
    BOTTOM_CAPACITY,
    BOTTOM_POTENTIAL,
    BOTTOM_WATER,
    TOP_CAPACITY,
    TOP_POTENTIAL,
    TOP_WATER,
    Floats,
    Integers,
)

# Rows of `work` that an assembly needs only while it lasts, put to use between assemblies.
SIDEWAYS = TOP_POTENTIAL  # conductivity times the height of a node's face [cm2/h]; `conduct`
SIDEWAYS_BY_HEAD = BOTTOM_POTENTIAL  # how it changes with the node's head [cm/h]; the same
OWN_RESIDUAL = TOP_WATER  # residual of the column without its links [cm]; the same
# Factors of the tridiagonal matrix of a column; `factor`.
INVERSE, TO_MIDDLE, FROM_MIDDLE = BOTTOM_WATER, TOP_CAPACITY, BOTTOM_CAPACITY

# flow (l, N_PARTS, m), node by node: flow over a link [cm3/h] and its derivatives by the heads at
# its two ends [cm2/h], by `renew_link`; what went over it in the last step [cm3], by `accept_set`.
FLOW, BY_FIRST, BY_SECOND, TAKEN, N_PARTS = range(5)
# moved (l, 2): water over a link since the start and in the last step [cm3]; `accept_set`.
ALL, IN_LAST_STEP = range(2)

# What lies beyond a link: a column; or the outside, which is at rest over a water level [cm up],
# takes what is above a head [cm], or goes on as it is, down a slope [1]. What has a unit here is
# its `beyond_value`.
A_COLUMN, WATER_LEVEL, OUTLET, GOES_ON = range(4)

MOST_KRYLOV = 25
"""Iterations of the linear solver; what is then left is left to Newton's method."""


class Links(NamedTuple):
    """Which columns share water, and over what faces."""

    first: Integers
    """(l,): column a flow leaves when it is positive."""
    second: Integers
    """(l,): column it then enters; c for the outside."""
    beyond: Integers
    """(l,): what lies there."""
    beyond_value: Floats
    """(l,)."""
    beyond_nodes: Integers
    """(l,): nodes from the surface down that have a face to the outside."""
    width_by_distance: Floats
    """(l,): width of the face over the distance of the two columns [1]; to the outside, the width
    [cm]."""
    area: Floats
    """(c,): plan area of each column [cm2]."""
    elevation: Floats
    """(c, m): of the nodes, positive upward [cm]."""
    neighbour_start: Integers
    """(c + 1,): column i has the places i to i + 1 of the next three."""
    neighbour: Integers
    """(p,): column beyond a link, or c."""
    neighbour_link: Integers
    """(p,): the link."""
    neighbour_takes: Floats
    """(p,): what a flow of one over it takes from the column [1/cm2]: its area's inverse, with a
    sign."""
    red: Integers
    """(c,): 1 in some columns no two of which are neighbours, else 0."""
    flow: Floats
    """(l, N_PARTS, m)."""
    moved: Floats
    """(l, 2)."""
    out_moved: Floats
    """(times, l): water over each link up to the output times [cm3]."""


class Room(NamedTuple):
    """Room to solve a set in."""

    work: Floats
    """(c, N_WORK, m): see `rows`."""
    flows: Floats
    """(c, N_RATES)."""
    norm: Floats
    """(c,): residual of each column, as water content [1]."""
    active: Integers
    """(c + 1,): 1 where a column takes part in an iteration of Newton's method, else 0."""
    order: Integers
    """(c,): the columns that do, and behind them neighbours that feel it."""
    change: Floats
    """(c, m): change of heads that the linear solver finds [cm]."""
    left: Floats
    """(c, m): what it leaves in the black columns [cm]."""
    directions: Floats
    """(MOST_KRYLOV, c, m): changes of heads that the linear solver tries [cm]."""
    images: Floats
    """(MOST_KRYLOV, c, m): what they take from the black columns [cm]."""
    squared: Floats
    """(MOST_KRYLOV,): squares of the sizes of these [1]."""
