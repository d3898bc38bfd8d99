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

import math
from typing import NamedTuple

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import (
    CONDUCTIVITY,
    INVERSE_SCALE,
    OVEN_DRY_SUCTION,
    POTENTIAL,
    SCALE,
    SCALED_SUCTION_MAX,
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
(
    SUCTION_RATIO,
    WET_SHARE,
    SUCTION_OF_SHARE,
    FILLED_TO,
    ELASTIC_TO,
    ELASTIC_PER_CM,
    N_MEMORY,
) = range(7)
# Sides of an interval, and numbers of a level.
TOP, BOTTOM = 0, 1
BEYOND, UNFILLED = 0, 1
"""Of a wet turn: G and F_w(w) [1]."""
FIXED, KEPT_OUT = 0, 1
"""Of a dry turn: E and D [1]."""

MOST_TRIALS = 60
"""Most trials for the suction at which the drying curve holds a given water."""
HELD_ENOUGH = 1.0e-13
"""Share of a water content, or of a suction, that is as good as none in that search."""
CLOSE = 3.0e-3
"""Terms of the series that ends that search, as shares of the first: what is left of it is below
fifty times the fourth power of this."""


class Remembering(NamedTuple):
    """Curves that columns share, and what the nodes of one column remember of them."""

    tables: Floats
    """(soils, N_BINS, ROW_LENGTH): see `rows.Soils`."""
    scalars: Floats
    """(soils, SCALARS)."""
    memory: Floats
    """(soils, N_MEMORY): ratio of suctions [1], the water that the wetting curve ends with as a
    share of that at saturation [1], the suction at which draining sand holds that share [cm],
    that up to which its table holds what specific storage leaves [cm], that up to which storage is
    elastic on any branch [cm], and the share of the water that it takes per cm [1/cm]; the first
    two are 1 for a soil with one curve."""
    nest: Floats
    """(n, PLACES): heads of the nest of each node [cm]; `remember`."""
    places: Integers
    """(n,): places of the nest that are taken, at least 2; `remember`."""
    level: Floats
    """(n - 1, 2, PLACES, 2): of the nodes at the top and bottom of each interval; `remember`. Of
    the place where a node stands it is worked out when a branch begins there, and until then not a
    number: most nodes go on as they came."""
    room: Floats
    """(N_ROOM, n + BLOCK): of the look-ups; see `branch_look_up`."""


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
def without_storage(water, capacity, suction, scalars, memory):
    """Water of a table and its capacity without specific storage: only pores have a memory."""
    full, per_cm, elastic = scalars[WATER_AT_SATURATION], memory[ELASTIC_PER_CM], memory[ELASTIC_TO]
    inverse = 1.0 / (1.0 - per_cm * (suction if suction < elastic else elastic))
    pores = water * inverse
    left = capacity - (per_cm * pores if suction < elastic else 0.0)
    filled = (suction < memory[FILLED_TO]) | (pores >= full)
    return full if filled else pores, 0.0 if filled | (left < 0.0) else left * inverse


@inlined_kernel
def drying_curve(head, table, scalars, memory):
    """Water on the drying curve at a head of 0 or less, and its capacity, without storage."""
    water, capacity = table_water(head, table, scalars)
    return without_storage(water, capacity, -head, scalars, memory)


@inlined_kernel
def wetting_curve(head, table, scalars, memory):
    """The same on the wetting curve, which is the drying curve at a larger suction."""
    ratio, share = memory[SUCTION_RATIO], memory[WET_SHARE]
    water, capacity = drying_curve(ratio * head, table, scalars, memory)
    return share * water, share * ratio * capacity


@inlined_kernel
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


@inlined_kernel
def drains_first(head, place, memory):
    """Whether a head lies on the drying curve: never wetted since it was full, or full."""
    return place == 0 or (head >= 0.0 and memory[WET_SHARE] == 1.0)


@inlined_kernel
def water_on_branch(head, wetted, whole, first, second, table, scalars, memory):
    """Water on a branch above the dry end, its capacity, and the part that does not move with head.

    `wetted` tells a branch that begins at a dry turn, `whole` the drying curve itself, as the table
    has it to the last digit; `first` and `second` are the level of its turn, 0 there. It picks
    between values and never returns early, as `flux.interval_flux` does.
    """
    h = head if head < 0.0 else 0.0
    wet, wet_capacity = wetting_curve(h, table, scalars, memory)
    held, slope = table_water(h, table, scalars)
    dry, dry_capacity = without_storage(held, slope, -h, scalars, memory)
    full = scalars[WATER_AT_SATURATION]
    unfilled = full - wet
    inverse = 1.0 / (unfilled if unfilled > 0.0 else 1.0)
    kept = second * inverse if unfilled > second else 1.0
    kept = 0.0 if second == 0.0 else kept
    drained = first + (kept * wet + (1.0 - kept) * dry)
    drained_capacity = (1.0 - kept) * dry_capacity + kept * wet_capacity * ((full - dry) * inverse)
    water = first + (1.0 - second) * wet if wetted else drained
    capacity = (1.0 - second) * wet_capacity if wetted else drained_capacity
    per_cm, elastic = memory[ELASTIC_PER_CM], memory[ELASTIC_TO]
    share = 1.0 - per_cm * (-h if -h < elastic else elastic)
    capacity = share * capacity + (per_cm * water if -h < elastic else 0.0)
    water, capacity = held if whole else share * water, slope if whole else capacity
    pressed = SPECIFIC_STORAGE * (head - h)
    return water + pressed, capacity if head < 0.0 else SPECIFIC_STORAGE, share * first


@inlined_kernel
def branch_water(head, place, level, table, scalars, memory):
    """Water on a branch by the place of its turn; see `water_on_branch`."""
    return water_on_branch(head, place % 2 == 1, False, level[0], level[1], table, scalars, memory)


@inlined_kernel
def guess_between(water, wet_head, wet_water, wet_capacity, dry_head, dry_water, dry_capacity):
    """Head at which a curve about holds a water, from two points of it and its slopes there.

    On the one rational curve of second degree through them that never falls between them (Gregory &
    Delbourgo 1982, IMA Journal of Numerical Analysis 2:123, from memory).
    """
    rise, length = wet_water - dry_water, wet_head - dry_head
    above = water - dry_water
    at_dry, at_wet = dry_capacity * length, wet_capacity * length
    bend = above * (at_dry + at_wet - 2.0 * rise)
    square, linear = rise * (rise - at_dry) + bend, rise * at_dry - bend
    root = max(linear * linear + 4.0 * square * rise * above, 0.0) ** 0.5
    part = 2.0 * rise * above / (linear + root)
    # Not a number, where there is no rise, has no bin.
    part = part if part > 0.0 else 0.0
    return dry_head + (part if part < 1.0 else 1.0) * length


@inlined_kernel
def bounds_of_effective_head(water, head, table, scalars, memory):
    """Two heads between which the drying curve holds the water of a branch, itself at `head`.

    That head and the one by the ratio of suctions below it, or a little further down where air is
    trapped. Returns the wet one, the water and the capacity there, and the same of the dry one.
    """
    wet_head = min(head, 0.0)
    dry_head = memory[SUCTION_RATIO] * wet_head
    at_wet, wet_capacity = table_water(wet_head, table, scalars)
    at_dry, dry_capacity = table_water(dry_head, table, scalars)
    if at_dry > water:
        wet_head, at_wet, wet_capacity = dry_head, at_dry, dry_capacity
        dry_head = min(dry_head - memory[SUCTION_OF_SHARE], -SCALED_SUCTION_MIN * scalars[SCALE])
        at_dry, dry_capacity = table_water(dry_head, table, scalars)
        while at_dry > water and dry_head > -OVEN_DRY_SUCTION:
            wet_head, at_wet, wet_capacity = dry_head, at_dry, dry_capacity
            dry_head *= 1.5
            at_dry, dry_capacity = table_water(dry_head, table, scalars)
    return wet_head, at_wet, wet_capacity, dry_head, at_dry, dry_capacity


@inlined_kernel
def by_series(straight, second, third):
    """Way along a cubic, from that along its tangent and the terms that bend it [shares of it]."""
    square = second * second
    bent = second * (1.0 - 2.0 * second) + third
    return straight * (1.0 - bent + 5.0 * second * (third - square))


@inlined_kernel
def by_cubics(water, head, there, table, scalars):
    """Curves of draining sand where it holds a water, by the cubics of the bin of a head nearby.

    The cubic of water is turned round by its series, from the edge of the bin and once more from
    where that leads, so that what comes out, to round-off, does not depend on the head nearby.
    `there` says that it is that head itself which is asked for, whatever the water. Returns whether
    it reaches so far, within the bin, that head, capacity, conductivity, its derivative and the
    flux potential.
    """
    inverse_scale = scalars[INVERSE_SCALE]
    scaled = -head * inverse_scale
    i, from_lower = find_bin(scaled)
    edge = scaled - from_lower
    w0, w1, w2, w3 = table[i, WATER], table[i, WATER + 1], table[i, WATER + 2], table[i, WATER + 3]
    k0, k1 = table[i, CONDUCTIVITY], table[i, CONDUCTIVITY + 1]
    k2, k3 = table[i, CONDUCTIVITY + 2], table[i, CONDUCTIVITY + 3]
    from_edge = 1.0 / w1
    straight = (water - w0) * from_edge
    x = by_series(straight, w2 * from_edge * straight, w3 * from_edge * straight * straight)
    inverse = 1.0 / (w1 + x * (2.0 * w2 + x * (3.0 * w3)))
    straight = (water - (w0 + x * (w1 + x * (w2 + x * w3)))) * inverse
    second = (w2 + 3.0 * w3 * x) * inverse * straight
    third = w3 * inverse * straight * straight
    x += by_series(straight, second, third)
    to = edge + x
    # Kinks lie on the edges of bins, and beyond the table all is its last bin.
    close = (abs(second) <= CLOSE) & (abs(third) <= CLOSE * CLOSE)
    reach = close & (to >= 0.0) & (to < SCALED_SUCTION_MAX) & (find_bin(to)[0] == i)
    x, to = from_lower if there else x, scaled if there else to
    reach = head < 0.0 if there else reach
    capacity = -inverse_scale * (w1 + x * (2.0 * w2 + x * (3.0 * w3)))
    k = k0 + x * (k1 + x * (k2 + x * k3))
    k_slope = -inverse_scale * (k1 + x * (2.0 * k2 + x * (3.0 * k3)))
    integral = x * (k0 + x * (0.5 * k1 + x * (k2 * (1.0 / 3.0) + x * (0.25 * k3))))
    potential = table[i, POTENTIAL] - scalars[SCALE] * integral
    return reach, -scalars[SCALE] * to, capacity, k, k_slope, potential


@kernel
def curves_of_water(water, head, table, scalars, memory):
    """Curves of draining sand where it holds the water of a branch, itself at `head`.

    Returns the effective head, capacity, conductivity, its derivative by that head and the flux
    potential, as `curves.soil_hydraulics`. Newton's method between two bounds.
    """
    wet_bound, at_wet, wet_capacity, dry_bound, at_dry, dry_capacity = bounds_of_effective_head(
        water, head, table, scalars, memory
    )
    u = wet_bound if water >= at_wet else dry_bound
    if at_dry < water < at_wet:
        u = guess_between(water, wet_bound, at_wet, wet_capacity, dry_bound, at_dry, dry_capacity)
        for _ in range(MOST_TRIALS):
            reach, to, capacity, k, slope, potential = by_cubics(water, u, False, table, scalars)
            if reach:
                return to, capacity, k, slope, potential
            held, _ = table_water(u, table, scalars)
            if abs(held - water) <= HELD_ENOUGH * water:
                break
            if held > water:
                wet_bound = u
            else:
                dry_bound = u
            # On a main curve the answer is a bound: round-off beyond it is no way past it.
            slack = HELD_ENOUGH * 1e3 * abs(u)
            if not dry_bound - slack <= to <= wet_bound + slack:
                to = 0.5 * (dry_bound + wet_bound)
            done = abs(to - u) <= HELD_ENOUGH * abs(u)
            u = to
            if done:
                break
    _, capacity, k, slope, potential = soil_hydraulics(u, table, scalars)
    return u, capacity, k, slope, potential


@inlined_kernel
def slope_of_effective(head, capacity, drying_capacity):
    """Derivative of the effective head by head, from the capacities of branch and drying curve."""
    return 0.0 if head > 0.0 or not drying_capacity > 0.0 else capacity / drying_capacity


@kernel
def branch_hydraulics(head, place, level, table, scalars, memory):
    """Curves of one soil on a branch: by water content, whichever branch holds it.

    Returns water, capacity [1/cm], conductivity, its derivative by effective head and the flux
    potential, as `curves.soil_hydraulics`; then the effective head, at which the drying curve holds
    that water [cm], its derivative by head, and the water that does not move with head.
    """
    if drains_first(head, place, memory):
        water, capacity, k, slope, potential = soil_hydraulics(head, table, scalars)
        return water, capacity, k, slope, potential, head, 1.0, 0.0
    water, capacity, still = branch_water(head, place, level, table, scalars, memory)
    below_pressure = water - SPECIFIC_STORAGE * max(head, 0.0)
    u, drying_capacity, k, slope, potential = curves_of_water(
        below_pressure, head, table, scalars, memory
    )
    by_head = slope_of_effective(head, capacity, drying_capacity)
    return water, capacity, k, slope, potential, u, by_head, still


@inlined_kernel
def level_after(place, head, level, table, scalars, memory):
    """Level of a place of a nest, at a head of 0 or less, from that of the place before it."""
    if place == 0:
        return 0.0, 0.0
    full = scalars[WATER_AT_SATURATION]
    dry, _ = drying_curve(head, table, scalars, memory)
    wet, _ = wetting_curve(head, table, scalars, memory)
    unfilled = full - wet
    before = level[place - 1]
    if place % 2 == 0:
        # Never bounded: branches would no longer meet where they turn.
        return before[FIXED] - before[KEPT_OUT] * wet, unfilled
    gap = max(dry - wet, 0.0)
    kept = min(before[UNFILLED] / unfilled, 1.0) if unfilled > 0.0 else 0.0
    kept_out = gap / unfilled if unfilled > 0.0 else 0.0
    return before[BEYOND] + (1.0 - kept) * gap + kept_out * wet, kept_out


@kernel
def set_levels(i, place, soil, soils):
    """Level of a place of node `i`, on both of its sides."""
    head = soils.nest[i, place]
    first, second = 0.0, 0.0
    for side in range(2):
        interval = i - side
        if 0 <= interval < soil.size:
            j = soil[interval]
            if side == TOP or interval + 1 == soil.size or soil[interval + 1] != j:
                first, second = level_after(
                    place, head, soils.level[interval, side],
                    soils.tables[j], soils.scalars[j], soils.memory[j],
                )  # fmt: skip
            soils.level[interval, side, place, 0] = first
            soils.level[interval, side, place, 1] = second


@inlined_kernel
def set_last_level(i, soil, soils):
    """Level of the place where node `i` stands, unless it is known."""
    side = 1 if i == soil.size else 0
    place = soils.places[i] - 1
    if math.isnan(soils.level[i - side, side, place, 0]):
        set_levels(i, place, soil, soils)


@inlined_kernel
def branch_of(i, head, soil, soils):
    """Place of the turn from which the branch begins that a head of node `i` lies on."""
    place = find_branch(head, soils.nest[i], soils.places[i])
    if place == soils.places[i] - 1:
        set_last_level(i, soil, soils)
    return place


@kernel
def recall(column, soils):
    """Levels of all nodes, from what they remember; that of where one stands when it is asked."""
    for i in range(column.z.size):
        last = soils.places[i] - 1
        for place in range(last):
            set_levels(i, place, column.soil, soils)
        stand_at(i, last, soils.nest[i, last], soils)


@inlined_kernel
def stand_at(i, place, head, soils):
    """Enter the head at which a node stands into a place of its nest, the last from now on."""
    soils.nest[i, place] = head
    soils.places[i] = place + 1
    for side in range(2):
        if 0 <= i - side < soils.level.shape[0]:
            soils.level[i - side, side, place, 0] = math.nan


@inlined_kernel
def remember(i, head, soil, soils):
    """Enter the head at which node `i` ends a step; what it passes is forgotten."""
    nest, count = soils.nest[i], soils.places[i]
    head = min(head, 0.0)
    last = count - 1
    if head == nest[last]:
        return
    dries = head < nest[last]
    if dries == (last % 2 == 1):
        # It goes on as it came: the last place was no turn.
        last -= 1
    else:
        set_last_level(i, soil, soils)
    while last >= 2 and (head <= nest[last - 1] if dries else head >= nest[last - 1]):
        last -= 2
    if last + 1 == PLACES:
        last -= 2
    stand_at(i, last + 1, head, soils)
