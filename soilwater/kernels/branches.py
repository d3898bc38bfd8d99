"""Water on the branches of a soil that remembers how it was wetted.

A node remembers a nest of heads: flooded, then a dry turn, a wet one and so on, each between the
two before it, and last where it stands. Even places of the nest are wet turns, from which it
drains, odd ones dry turns, from which it is wetted; the last is either. Which branch a trial head
lies on follows from the nest alone, which stands still during a step: water is one function of head
that never falls, with kinks at turns, and Newton's method never has to choose.

With the water W_d and W_w above the dry end on the drying and the wetting curve, both without the
share that specific storage has in them, and F = W_full - W (Mualem 1974, Water Resources Research
10:514, independent domains with product density):

    drained from a wet turn w:  G + q W_w + (1 - q) W_d,    q = F_w(w) / F_w
    wetted from a dry turn d:   E + (1 - D) W_w,            D = (W_d(d) - W_w(d)) / F_w(d)

G is what the turn holds beyond the wetting curve and E = G(d) + D W_w(d): small in dry sand, so
that traces of water keep their digits. A place of the nest has its G and F_w(w), or
its E and D, for the soil on either side of the node: its level.
"""

from typing import NamedTuple

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import (
    INVERSE_SCALE,
    OVEN_DRY_SUCTION,
    SCALE,
    SCALED_SUCTION_MIN,
    SPECIFIC_STORAGE,
    WATER,
    WATER_AT_SATURATION,
    find_bin,
    soil_hydraulics,
)
from soilwater.kernels.rows import Floats, Integers

N_TURNS = 14
"""Turns a node can remember: seven loops, one in another. Thirty days of demand by day and water by
night left seven turns at most. Where there is no room the innermost loop is let go."""
PLACES = N_TURNS + 2
FLOODED = 1.0e300
"""First place of every nest: a head no node comes to."""

# Rows of what a soil remembers.
SUCTION_RATIO, WET_SHARE, SUCTION_OF_SHARE, ELASTIC_TO, N_MEMORY = range(5)
# Sides of an interval, and numbers of a level.
TOP, BOTTOM = 0, 1
BEYOND, UNFILLED = 0, 1
"""Of a wet turn: G and F_w(w) [1]."""
FIXED, KEPT_OUT = 0, 1
"""Of a dry turn: E and D [1]."""

MOST_TRIALS = 40
"""Most trials for the suction at which the drying curve holds a given water."""
HELD_ENOUGH = 1.0e-13
"""Share of a water content, or of a suction, that is as good as none in that search."""


class Remembering(NamedTuple):
    """Curves that columns share, and what the nodes of one column remember of them."""

    tables: Floats
    """(soils, N_BINS, ROW_LENGTH): see `rows.Soils`."""
    scalars: Floats
    """(soils, SCALARS)."""
    memory: Floats
    """(soils, N_MEMORY): ratio of suctions [1], the water that the wetting curve ends with as a
    share of that at saturation [1], the suction at which draining sand holds that share [cm], and
    that up to which its table holds what specific storage leaves [cm]; 1, 1, 0 and 0 for a soil
    with one curve."""
    nest: Floats
    """(n, PLACES): heads of the nest of each node [cm]; `remember`."""
    places: Integers
    """(n,): places of the nest that are taken, at least 2; `remember`."""
    level: Floats
    """(n - 1, 2, PLACES, 2): of the nodes at the top and bottom of each interval; `remember`."""


@inlined_kernel
def remembers(soils, j):
    """Whether a soil has two curves."""
    return soils.memory[j, SUCTION_RATIO] != 1.0 or soils.memory[j, WET_SHARE] != 1.0


@inlined_kernel
def table_water(head, table, scalars):
    """Water above the dry end on the drying curve, at a head of 0 or less, and its capacity."""
    inverse_scale = scalars[INVERSE_SCALE]
    i, x = find_bin(-head * inverse_scale)
    w1, w2, w3 = table[i, WATER + 1], table[i, WATER + 2], table[i, WATER + 3]
    water = table[i, WATER] + x * (w1 + x * (w2 + x * w3))
    return water, -inverse_scale * (w1 + x * (2.0 * w2 + x * (3.0 * w3)))


@inlined_kernel
def elastic_share(head, scalars, memory):
    """Factor by which specific storage lowers the water of any branch, and its change by head."""
    per_cm = SPECIFIC_STORAGE / scalars[WATER_AT_SATURATION]
    suction = -head
    elastic = suction < memory[ELASTIC_TO]
    share = 1.0 - per_cm * (suction if elastic else memory[ELASTIC_TO])
    return share, per_cm if elastic else 0.0


@inlined_kernel
def drying_water(head, table, scalars, memory):
    """Water on the drying curve without specific storage: it has no memory, pores have."""
    water, capacity = table_water(head, table, scalars)
    share, by_head = elastic_share(head, scalars, memory)
    full = scalars[WATER_AT_SATURATION]
    filled = (by_head > 0.0) | (water >= share * full)
    return full if filled else water / share, 0.0 if filled else capacity / share


@inlined_kernel
def wetting_water(head, table, scalars, memory):
    """Water on the wetting curve: the drying curve at a larger suction."""
    ratio, share = memory[SUCTION_RATIO], memory[WET_SHARE]
    water, capacity = drying_water(ratio * head, table, scalars, memory)
    return share * water, share * ratio * capacity


@kernel
def find_branch(head, nest, count):
    """Place of the turn from which the branch begins that a head lies on.

    Even: it is drained from there; odd: it is wetted.
    """
    h = min(head, 0.0)
    place = count - 1
    now = nest[place]
    odd = place % 2 == 1
    # Where it stands, a node goes on as it came.
    if h < now or (h == now and odd):
        if odd:
            place -= 1
        while place >= 2 and h <= nest[place - 1]:
            place -= 2
    else:
        if not odd:
            place -= 1
        while place >= 2 and h >= nest[place - 1]:
            place -= 2
    return place


@kernel
def branch_water(head, place, level, table, scalars, memory):
    """Water on a branch above the dry end, its capacity, and the part that does not move with head.

    `level` is that of the place the branch begins from.
    """
    h = min(head, 0.0)
    wet, wet_capacity = wetting_water(h, table, scalars, memory)
    if place % 2 == 1:
        moving = 1.0 - level[KEPT_OUT]
        still = level[FIXED]
        water, capacity = still + moving * wet, moving * wet_capacity
    else:
        still = level[BEYOND]
        dry, dry_capacity = drying_water(h, table, scalars, memory)
        full = scalars[WATER_AT_SATURATION]
        unfilled = full - wet
        kept = level[UNFILLED] / unfilled if unfilled > level[UNFILLED] else 1.0
        kept = 0.0 if level[UNFILLED] == 0.0 else kept
        water = still + (kept * wet + (1.0 - kept) * dry)
        capacity = (1.0 - kept) * dry_capacity
        if unfilled > 0.0:
            capacity += kept * wet_capacity * ((full - dry) / unfilled)
    if head >= 0.0:
        return water + SPECIFIC_STORAGE * head, SPECIFIC_STORAGE, still
    share, by_head = elastic_share(h, scalars, memory)
    return share * water, share * capacity + by_head * water, share * still


@kernel
def drying_head(water, head, table, scalars, memory):
    """Head at which the drying curve holds the water of a branch, itself at `head`, and capacity.

    It lies between that head and the one by the ratio of suctions below it, or a little further
    down where air is trapped: Newton's method between two bounds.
    """
    wet_bound = min(head, 0.0)
    at_wet, capacity = table_water(wet_bound, table, scalars)
    if water >= at_wet:
        return wet_bound, capacity
    dry_bound = memory[SUCTION_RATIO] * wet_bound - memory[SUCTION_OF_SHARE]
    dry_bound = min(dry_bound, -SCALED_SUCTION_MIN * scalars[SCALE])
    at_dry, capacity = table_water(dry_bound, table, scalars)
    while at_dry > water and dry_bound > -OVEN_DRY_SUCTION:
        wet_bound, at_wet = dry_bound, at_dry
        dry_bound *= 1.5
        at_dry, capacity = table_water(dry_bound, table, scalars)
    if at_dry >= water:
        return dry_bound, capacity
    u = wet_bound + (dry_bound - wet_bound) * ((at_wet - water) / (at_wet - at_dry))
    for _ in range(MOST_TRIALS):
        held, capacity = table_water(u, table, scalars)
        excess = held - water
        if abs(excess) <= HELD_ENOUGH * water:
            break
        if excess > 0.0:
            wet_bound = u
        else:
            dry_bound = u
        to = u - excess / capacity
        # On a main curve the answer is a bound: round-off beyond it is no way past it.
        slack = HELD_ENOUGH * 1e3 * abs(u)
        if not dry_bound - slack <= to <= wet_bound + slack:
            to = 0.5 * (dry_bound + wet_bound)
        done = abs(to - u) <= HELD_ENOUGH * abs(u)
        u = to
        if done:
            break
    return u, capacity


@kernel
def branch_hydraulics(head, place, level, table, scalars, memory):
    """Curves of one soil on a branch: by water content, whichever branch holds it.

    Returns water, capacity [1/cm], conductivity, its derivative by effective head and the flux
    potential, as `curves.soil_hydraulics`; then the effective head, at which the drying curve holds
    that water [cm], its derivative by head, and the water that does not move with head.
    """
    if place == 0:
        # From flooded sand: the drying curve.
        water, capacity, k, slope, potential = soil_hydraulics(head, table, scalars)
        return water, capacity, k, slope, potential, head, 1.0, 0.0
    water, capacity, still = branch_water(head, place, level, table, scalars, memory)
    if head >= 0.0 and memory[WET_SHARE] == 1.0:
        k, slope, potential = soil_hydraulics(head, table, scalars)[2:]
        return water, capacity, k, slope, potential, head, 1.0, still
    below_pressure = water - (SPECIFIC_STORAGE * head if head > 0.0 else 0.0)
    u, _ = drying_head(below_pressure, head, table, scalars, memory)
    _, drying_capacity, k, slope, potential = soil_hydraulics(u, table, scalars)
    by_head = 0.0 if head > 0.0 or drying_capacity <= 0.0 else capacity / drying_capacity
    return water, capacity, k, slope, potential, u, by_head, still


@kernel
def set_level(place, nest, level, table, scalars, memory):
    """Level of a place of a nest, from that of the place before it."""
    if place == 0:
        level[0, BEYOND], level[0, UNFILLED] = 0.0, 0.0
        return
    head = nest[place]
    full = scalars[WATER_AT_SATURATION]
    wet, _ = wetting_water(head, table, scalars, memory)
    unfilled = full - wet
    before = level[place - 1]
    if place % 2 == 0:
        # Never bounded: branches would no longer meet where they turn.
        level[place, BEYOND] = before[FIXED] - before[KEPT_OUT] * wet
        level[place, UNFILLED] = unfilled
        return
    gap = max(drying_water(head, table, scalars, memory)[0] - wet, 0.0)
    kept = min(before[UNFILLED] / unfilled, 1.0) if unfilled > 0.0 else 0.0
    kept_out = gap / unfilled if unfilled > 0.0 else 0.0
    level[place, FIXED] = before[BEYOND] + (1.0 - kept) * gap + kept_out * wet
    level[place, KEPT_OUT] = kept_out


@kernel
def set_levels(i, first, soil, soils):
    """Levels of node `i` from place `first` on, on both of its sides."""
    nest, count = soils.nest[i], soils.places[i]
    for side in range(2):
        interval = i - side
        if 0 <= interval < soil.size:
            j = soil[interval]
            for place in range(first, count):
                set_level(
                    place, nest, soils.level[interval, side],
                    soils.tables[j], soils.scalars[j], soils.memory[j],
                )  # fmt: skip


@kernel
def recall(column, soils):
    """Levels of all nodes, from what they remember."""
    for i in range(column.z.size):
        set_levels(i, 0, column.soil, soils)


@kernel
def remember(h, column, soils):
    """Enter the heads at which a step ends; what they pass is forgotten."""
    for i in range(h.size):
        nest, count = soils.nest[i], soils.places[i]
        head = min(h[i], 0.0)
        last = count - 1
        if head == nest[last]:
            continue
        dries = head < nest[last]
        if dries == (last % 2 == 1):
            # It goes on as it came: the last place was no turn.
            last -= 1
        while last >= 2 and (head <= nest[last - 1] if dries else head >= nest[last - 1]):
            last -= 2
        if last + 1 == PLACES:
            last -= 2
        nest[last + 1] = head
        soils.places[i] = last + 2
        set_levels(i, last + 1, column.soil, soils)
