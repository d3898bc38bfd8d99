"""Water and curves of all nodes of a column on their branches.

Which branch a node is on is found node by node; then the nodes of one soil are looked up in blocks
of eight without a branch in the code, water first and then the drying curve where it holds as much,
by the cubics of the bin where that should be. Where it was not, the node is looked up by itself.
"""

import math

from soilwater.kernels.branches import (
    BOTTOM,
    PLACES,
    TOP,
    branch_hydraulics,
    branch_of,
    by_cubics,
    curves_of_water,
    drains_first,
    find_branch,
    remembers,
    set_last_level,
    slope_of_effective,
    stand_at,
    water_on_branch,
)
from soilwater.kernels.cache import inlined_kernel, kernel, sole_kernel
from soilwater.kernels.curves import SPECIFIC_STORAGE, soil_hydraulics
from soilwater.kernels.elementary import BLOCK, put, room_for_block, take
from soilwater.kernels.march import copy_into
from soilwater.kernels.rows import (
    BOTTOM_CAPACITY,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_POTENTIAL,
    BOTTOM_SLOPE,
    BOTTOM_WATER,
    N_WORK,
    STORE_AND_UPTAKE,
    TOP_CAPACITY,
    TOP_CONDUCTIVITY,
    TOP_POTENTIAL,
    TOP_SLOPE,
    TOP_WATER,
    VOLUME,
)

# Rows of `work` beyond those of `rows`: effective heads at the top and bottom of each interval
# [cm] and their derivatives by head [1]; below interfaces, the part of the water there that does
# not move with head [1]; store and uptake of each node without that part [cm]; in a retry, the
# heads from which the last step of Newton's method went, and how far the last did that went far
# [cm]; suctions from which each node is dry while it drains and while it is wetted [cm].
(
    TOP_EFFECTIVE,
    TOP_EFFECTIVE_BY_HEAD,
    BOTTOM_EFFECTIVE,
    BOTTOM_EFFECTIVE_BY_HEAD,
    TOP_STILL,
    MOVING,
    LAST_BEFORE,
    LAST_MOVE,
    DRY_WHILE_DRAINED,
    DRY_WHILE_WETTED,
    N_BRANCH_WORK,
) = range(N_WORK, N_WORK + 11)

# Rows of the room of a column, for each node in the soil above it, the first in that below. Blocks
# may run on into the nodes after them, and the last beyond the column.
(
    HEAD,  # not a number where what follows from it has to be found anew
    BRANCH,  # the branch it is on, and the level of the turn from which that begins
    LEVEL_FIRST,
    LEVEL_SECOND,
    PLACE,  # of the turn from which that begins, in its nest; -1 where it has no memory
    DRIER,  # heads from and up to which that holds [cm]; none where it has to be found
    WETTER,
    WATER,  # what `branch_hydraulics` gives
    CAPACITY,
    CONDUCTIVITY,
    SLOPE,
    POTENTIAL,
    EFFECTIVE,
    EFFECTIVE_BY_HEAD,
    STILL,
    REACHED,  # 1 where the block did all of it, else 0
    LAST_HEAD,  # that was looked up last, and its: near which the next will be; or not a number
    LAST_EFFECTIVE,
    LAST_BY_HEAD,
    N_ROOM,
) = range(20)
DRAINED, WETTED, FIRST_DRAINED = 0.0, 1.0, 2.0
"""Branches: from a wet turn, from a dry one, and the drying curve itself."""

BOTH_ENDS = (
    (WATER, TOP_WATER, BOTTOM_WATER),
    (CAPACITY, TOP_CAPACITY, BOTTOM_CAPACITY),
    (CONDUCTIVITY, TOP_CONDUCTIVITY, BOTTOM_CONDUCTIVITY),
    (SLOPE, TOP_SLOPE, BOTTOM_SLOPE),
    (POTENTIAL, TOP_POTENTIAL, BOTTOM_POTENTIAL),
    (EFFECTIVE, TOP_EFFECTIVE, BOTTOM_EFFECTIVE),
    (EFFECTIVE_BY_HEAD, TOP_EFFECTIVE_BY_HEAD, BOTTOM_EFFECTIVE_BY_HEAD),
)
"""Rows of the room, and of the same thing at the top and the bottom of each interval."""
LASTS = ((HEAD, LAST_HEAD), (EFFECTIVE, LAST_EFFECTIVE), (EFFECTIVE_BY_HEAD, LAST_BY_HEAD))
ROUND_OFF = 2.0**-52
NOT_FULL = -1.0e-300
"""Head [cm] up to which a branch goes: what is full is on the drying curve."""


@inlined_kernel
def forget_branch(i, soils):
    """Let the branch of a node be found anew."""
    soils.room[HEAD, i] = math.nan
    soils.room[DRIER, i], soils.room[WETTER, i] = math.inf, -math.inf


@kernel
def forget_look_ups(soils):
    """Let the next look-up of each node start from its bounds."""
    for i in range(soils.places.size):
        soils.room[LAST_HEAD, i] = math.nan
        forget_branch(i, soils)


@inlined_kernel
def go_on(i, head, soils):
    """Enter the head at which a node ends a step, if it is still on its branch; else False."""
    place, drier, wetter = soils.room[PLACE], soils.room[DRIER], soils.room[WETTER]
    if place[i] < 0.0:
        return False
    if not drier[i] <= head <= wetter[i] or place[i] >= PLACES - 1:
        forget_branch(i, soils)
        return False
    stand_at(i, int(place[i]) + 1, head, soils)
    if soils.room[BRANCH, i] == WETTED:
        drier[i] = head
    else:
        wetter[i] = head
    return True


@kernel
def node_hydraulics(head, place, side, i, j, soils):
    """Curves of soil `j` at one side of interval `i`; see `branches.branch_hydraulics`."""
    table, scalars, memory = soils.tables[j], soils.scalars[j], soils.memory[j]
    if remembers(soils, j):
        level = soils.level[i, side, place]
        return branch_hydraulics(head, place, level, table, scalars, memory)
    water, capacity, k, slope, potential = soil_hydraulics(head, table, scalars)
    return water, capacity, k, slope, potential, head, 1.0, 0.0


@inlined_kernel
def find_again(i, head, soil, soils):
    """Find the branch of a node, its level, and how far it goes."""
    room = soils.room
    interval, side = (i - 1, BOTTOM) if i > 0 else (0, TOP)
    j = soil[interval]
    if not remembers(soils, j):
        room[BRANCH, i], room[LEVEL_FIRST, i], room[LEVEL_SECOND, i] = FIRST_DRAINED, 0.0, 0.0
        room[PLACE, i], room[DRIER, i], room[WETTER, i] = -1.0, -math.inf, math.inf
        return
    nest, count = soils.nest[i], soils.places[i]
    place = find_branch(head, nest, count)
    room[PLACE, i] = place
    dried, turned = place % 2 == 0, place == count - 1
    # It ends before the next turn outwards, and goes on from where a node stands unless it turned.
    outwards = nest[place - 1] if place > 0 else -math.inf
    inwards = nest[place if turned else place + 1]
    less, more = 1.0 - ROUND_OFF, 1.0 + ROUND_OFF
    if dried:
        room[DRIER, i], room[WETTER, i] = less * outwards, more * inwards if turned else inwards
    else:
        room[DRIER, i], room[WETTER, i] = less * inwards if turned else inwards, more * outwards
    room[WETTER, i] = min(room[WETTER, i], NOT_FULL)
    if drains_first(head, place, soils.memory[j]):
        room[BRANCH, i], room[LEVEL_FIRST, i], room[LEVEL_SECOND, i] = FIRST_DRAINED, 0.0, 0.0
        if place > 0:
            room[DRIER, i], room[WETTER, i] = math.inf, -math.inf
        return
    if turned:
        set_last_level(i, soil, soils)
    room[BRANCH, i] = DRAINED if dried else WETTED
    room[LEVEL_FIRST, i] = soils.level[interval, side, place, 0]
    room[LEVEL_SECOND, i] = soils.level[interval, side, place, 1]


@sole_kernel
def find_branches(h, soil, soils):
    """Branch of each node, and its level: what they were, where the head has not left that."""
    room = soils.room
    heads, drier, wetter = room[HEAD], room[DRIER], room[WETTER]
    copy_into(heads[: h.size], h)
    beyond = 0
    for i in range(h.size):
        beyond += 0 if (drier[i] <= h[i]) & (h[i] <= wetter[i]) else 1
    if beyond == 0:
        return
    for i in range(h.size):
        if not drier[i] <= h[i] <= wetter[i]:
            find_again(i, h[i], soil, soils)


@sole_kernel
def water_in_blocks(first, last, table, scalars, memory, room):
    """Water of nodes of one soil on their branches; see `flux.flow_in_blocks`."""
    of_water, of_capacity, of_still = room_for_block(), room_for_block(), room_for_block()
    for begin in range(first, last, BLOCK):
        end = begin + BLOCK
        head, branch = room[HEAD, begin:end], room[BRANCH, begin:end]
        level_first, level_second = room[LEVEL_FIRST, begin:end], room[LEVEL_SECOND, begin:end]
        for i in range(BLOCK):
            water, capacity, still = water_on_branch(
                head[i], branch[i] == WETTED, branch[i] == FIRST_DRAINED,
                level_first[i], level_second[i],
                table, scalars, memory,
            )  # fmt: skip
            put(of_water, i, water)
            put(of_capacity, i, capacity)
            put(of_still, i, still)
        for i in range(BLOCK):
            room[WATER, begin + i] = take(of_water, i)
        for i in range(BLOCK):
            room[CAPACITY, begin + i] = take(of_capacity, i)
        for i in range(BLOCK):
            room[STILL, begin + i] = take(of_still, i)


@sole_kernel
def curves_in_blocks(first, last, table, scalars, room):
    """Curves of nodes of one soil, by their water; see `flux.flow_in_blocks`."""
    of_k, of_slope, of_potential = room_for_block(), room_for_block(), room_for_block()
    of_effective, of_by_head, of_reached = room_for_block(), room_for_block(), room_for_block()
    for begin in range(first, last, BLOCK):
        end = begin + BLOCK
        head, branch = room[HEAD, begin:end], room[BRANCH, begin:end]
        water, capacity = room[WATER, begin:end], room[CAPACITY, begin:end]
        last_head, effective, by_head = (
            room[LAST_HEAD, begin:end], room[LAST_EFFECTIVE, begin:end],
            room[LAST_BY_HEAD, begin:end],
        )  # fmt: skip
        for i in range(BLOCK):
            whole = branch[i] == FIRST_DRAINED
            held = water[i] - SPECIFIC_STORAGE * (head[i] if head[i] > 0.0 else 0.0)
            about = effective[i] + by_head[i] * (head[i] - last_head[i])
            reached, u, drying_capacity, k, slope, potential = by_cubics(
                held, head[i] if whole else about, whole, table, scalars
            )
            change = slope_of_effective(head[i], capacity[i], drying_capacity)
            put(of_k, i, k)
            put(of_slope, i, slope)
            put(of_potential, i, potential)
            put(of_effective, i, head[i] if whole else u)
            put(of_by_head, i, 1.0 if whole else change)
            put(of_reached, i, 1.0 if reached else 0.0)
        for i in range(BLOCK):
            room[CONDUCTIVITY, begin + i] = take(of_k, i)
        for i in range(BLOCK):
            room[SLOPE, begin + i] = take(of_slope, i)
        for i in range(BLOCK):
            room[POTENTIAL, begin + i] = take(of_potential, i)
        for i in range(BLOCK):
            room[EFFECTIVE, begin + i] = take(of_effective, i)
        for i in range(BLOCK):
            room[EFFECTIVE_BY_HEAD, begin + i] = take(of_by_head, i)
        for i in range(BLOCK):
            room[REACHED, begin + i] = take(of_reached, i)


@sole_kernel
def look_up_the_rest(first, last, table, scalars, memory, room):
    """Curves of those of the nodes that blocks do not do; whether one had to be searched for."""
    heads, branches, reached_by_block = room[HEAD], room[BRANCH], room[REACHED]
    missed, searched = 0, False
    for i in range(first, last):
        missed += 0 if reached_by_block[i] == 1.0 else 1
    if missed == 0:
        return False
    for i in range(first, last):
        if reached_by_block[i] == 1.0:
            continue
        head = heads[i]
        if branches[i] == FIRST_DRAINED:
            _, _, k, slope, potential = soil_hydraulics(head, table, scalars)
            u, by_head = head, 1.0
        else:
            searched = True
            held = room[WATER, i] - SPECIFIC_STORAGE * max(head, 0.0)
            # Another bin, most often the next.
            reached, u, drying_capacity, k, slope, potential = by_cubics(
                held, room[EFFECTIVE, i], False, table, scalars
            )
            if not reached:
                u, drying_capacity, k, slope, potential = curves_of_water(
                    held, head, table, scalars, memory
                )
            by_head = slope_of_effective(head, room[CAPACITY, i], drying_capacity)
        room[CONDUCTIVITY, i], room[SLOPE, i], room[POTENTIAL, i] = k, slope, potential
        room[EFFECTIVE, i], room[EFFECTIVE_BY_HEAD, i] = u, by_head
    return searched


@kernel
def look_up_water(h, soil, soils):
    """Water of each node in the soil above it, the first in that below, into the room."""
    room, nodes, first, fresh = soils.room, h.size, 0, 0
    heads = room[HEAD]
    for i in range(nodes):
        fresh += 0 if heads[i] == h[i] else 1
    if fresh == 0:
        return
    find_branches(h, soil, soils)
    for i in range(1, nodes):
        if i == nodes - 1 or soil[i] != soil[i - 1]:
            j = soil[i - 1]
            table, scalars = soils.tables[j], soils.scalars[j]
            water_in_blocks(first, i + 1, table, scalars, soils.memory[j], room)
            first = i + 1


@kernel
def look_up_curves(h, soil, soils):
    """Curves of each node, by its water; whether one had to be searched for."""
    look_up_water(h, soil, soils)
    room, nodes, first, searched = soils.room, h.size, 0, False
    for i in range(1, nodes):
        if i == nodes - 1 or soil[i] != soil[i - 1]:
            j = soil[i - 1]
            table, scalars = soils.tables[j], soils.scalars[j]
            curves_in_blocks(first, i + 1, table, scalars, room)
            searched |= look_up_the_rest(first, i + 1, table, scalars, soils.memory[j], room)
            first = i + 1
    for row, last_row in LASTS:
        copy_into(room[last_row, :nodes], room[row, :nodes])
    return searched


@kernel
def settle_look_ups(h, soil, soils):
    """Look up heads at which a run may be cut: what follows must not depend on whether it is."""
    for _ in range(2):
        if not look_up_curves(h, soil, soils):
            break


@sole_kernel
def look_up_branches(h, soil, soils, work):
    """Curves at the top and at the bottom of each interval, by the history of its nodes."""
    look_up_curves(h, soil, soils)
    room, nodes = soils.room, h.size
    for row, top, bottom in BOTH_ENDS:
        copy_into(work[top, : nodes - 1], room[row, : nodes - 1])
        copy_into(work[bottom, : nodes - 1], room[row, 1:nodes])
    for i in range(1, soil.size):
        j = soil[i]
        if soil[i - 1] != j:
            # An interface: one head, and two of everything else.
            place = branch_of(i, h[i], soil, soils)
            (
                work[TOP_WATER, i], work[TOP_CAPACITY, i], work[TOP_CONDUCTIVITY, i],
                work[TOP_SLOPE, i], work[TOP_POTENTIAL, i], work[TOP_EFFECTIVE, i],
                work[TOP_EFFECTIVE_BY_HEAD, i], work[TOP_STILL, i],
            ) = node_hydraulics(h[i], place, TOP, i, j, soils)  # fmt: skip


@sole_kernel
def note_by_head(z, soil, soils, work):
    """Say what nodes have that goes by their own head, and not by the effective one.

    Store and uptake of each node without the water that does not move with its head [cm], and how
    conductivity changes at the top of each interval [1/h].
    """
    moving, whole, volume = work[MOVING], work[STORE_AND_UPTAKE], work[VOLUME]
    still, below = soils.room[STILL], work[TOP_STILL]
    for i in range(z.size):
        moving[i] = whole[i] - volume[i] * still[i]
    slope, effective_by_head = work[TOP_SLOPE], work[TOP_EFFECTIVE_BY_HEAD]
    for i in range(soil.size):
        slope[i] *= effective_by_head[i]
    for i in range(1, soil.size):
        if soil[i] != soil[i - 1]:
            moving[i] -= 0.5 * (z[i + 1] - z[i]) * (below[i] - still[i])
