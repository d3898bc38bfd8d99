"""Storage, flows and their tridiagonal Jacobian of one column.

Nodes lie at the surface, at every layer interface and at the base; materials fill the intervals
between nodes, so head is continuous at interfaces by construction. Depth z [cm], matric head h
[cm, negative when dry], fluxes q [cm/h] positive downward.

    d theta / dt = -dq/dz - uptake,        q = K(h) (1 - dh/dz)

Boundaries are functions of the boundary head, never switches: a pond is storage max(h, 0) at the
surface node, runoff and outflow are large conductances, so Newton needs no iteration over types.
A held head is a row of its own; the water it takes or gives is what closes the node's balance.
"""

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import (
    DRY_END_WATER_CONTENT,
    OVEN_DRY_SUCTION,
    hydraulics,
    mean_water,
    soil_hydraulics,
)
from soilwater.kernels.elementary import (
    BLOCK,
    LARGEST_EXPONENT,
    exponential_parts,
    put,
    room_for_block,
    take,
)
from soilwater.kernels.uptake import NO_REDUCTION, reduction, s_shaped, shares_met, taper

# Base conditions; what `base_value` holds is in brackets.
SEALED, FREE_DRAINAGE, OUTFLOW, HELD_HEAD = range(4)  # [-, -, head at which outflow starts, head]
# Surface conditions.
WEATHER, HELD_SURFACE = range(2)  # [-, head]

OUTFLOW_CONDUCTANCE = 1.0e4
"""Outflow per head above the outlet [1/h]: 0.01 cm of head at 100 cm/h."""
RUNOFF_CONDUCTANCE = 1.0e3
"""Runoff per head above the pond limit [1/h]."""

FRONT_FROM = 2.0
"""Gradient of head [1] from which a cell counts more and more as a front, from twice it on wholly:
our own choice, above the gradient of 1 at rest."""
LEAST_CAPACITY = 1.0e-200
"""Capacity [1/cm] below which a soil has no water left to give; keeps the Jacobian regular."""
LEAST_CONDUCTIVITY = 1.0e-200
"""Conductivity [cm/h] below which nothing flows: powers of it would leave the range of numbers."""

TRACE_OF_WATER = 1.0e-9
"""Water around a node [cm] of which roots and air still get half of what they could take."""

# What happens to a column, as given to `assemble`.
(
    SUPPLY,
    TRANSPIRATION_DEMAND,
    EVAPORATION_DEMAND,
    POND_LIMIT,
    BASE_VALUE,
    SURFACE_VALUE,
    STRESS_0,
    STRESS_1,
    STRESS_2,
    STRESS_3,
    STRESS_4,
    EVAPORATION_HALF_SUCTION,
    EVAPORATION_STEEPNESS,
    COMPENSATION_THRESHOLD,
    COMPENSATION,
    CAREFUL,
    N_CONDITIONS,
) = range(17)
BASE_CODE, SURFACE_CODE, STRESS_CODE, N_CODES = range(4)

# Rows of the matrix that `assemble` fills, and below them its room to work in: five curves at the
# top of each interval, five at its bottom, and the flux.
LOWER, DIAGONAL, UPPER, RESIDUAL, OWN, CAPACITY, TOP = range(7)
BOTTOM, FLUX, N_MATRIX = TOP + 5, TOP + 10, TOP + 11

# Flows [cm/h] that `assemble` reports, and how two of them change with their own head [1/h].
INFLOW, RUNOFF, TRANSPIRATION, EVAPORATION, DRAINAGE, N_FLOWS = range(6)
EVAPORATION_BY_HEAD, DRAINAGE_BY_HEAD, N_RATES = N_FLOWS, N_FLOWS + 1, N_FLOWS + 2


@inlined_kernel
def bernoulli(x):
    """x / (e^x - 1) and its derivative, precise at any x and without a branch."""
    x = LARGEST_EXPONENT if x > LARGEST_EXPONENT else x
    power_of_two, r, g = exponential_parts(x)
    # Near zero x = r, and x cancels; elsewhere e^x - 1 has all its digits.
    near_zero = power_of_two == 1.0
    less_one = power_of_two * (r + r * r * g) + (power_of_two - 1.0)
    inverse = 1.0 / ((1.0 + r * g) if near_zero else less_one)
    value = inverse if near_zero else x * inverse
    slope = value * (g * value - 1.0) if near_zero else inverse * (1.0 - value * (less_one + 1.0))
    return value, slope


@inlined_kernel
def interval_flux(dz, h0, k0, slope0, phi0, h1, k1, slope1, phi1):
    """Flux down an interval of one material and its derivatives by the heads at both ends.

    With the mean conductivity M = (phi1 - phi0)/(h1 - h0), the exponent a = (K1 - K0)/(phi1 - phi0)
    and B(x) = x/(e^x - 1),

        q = M [B(a (h1 - h0)) - (h1 - h0)/dz B(a dz)].

    The flux is exact in steady flow where K is exponential in h, of second order for any K,
    turns to the upstream conductivity at large spacing, and is zero to round-off in hydrostatic
    equilibrium, h1 - h0 = dz, whatever K.
    """
    dh = h1 - h0
    dphi = phi1 - phi0
    # Quotients of differences have a limit at equal heads.
    equal = (abs(dh) < 1e-5) | (dphi == 0.0)
    average = 0.5 * (k0 + k1)
    inverse_dh = 1.0 / (1.0 if equal else dh)
    mean = average if equal else dphi * inverse_dh
    exponent = (0.5 * (slope0 + slope1) if equal else k1 - k0) / (average if equal else dphi)
    mean_by_h0 = 0.5 * slope0 if equal else (mean - k0) * inverse_dh
    mean_by_h1 = 0.5 * slope1 if equal else (k1 - mean) * inverse_dh
    dk_by_dh = exponent * mean

    inverse_dz = 1.0 / dz
    b_head, b_head_slope = bernoulli(exponent * dh)
    b_depth, b_depth_slope = bernoulli(exponent * dz)
    flux = mean * (b_head - dh * inverse_dz * b_depth)
    change = b_head_slope - b_depth_slope
    by_h0 = (
        mean_by_h0 * b_head
        - dk_by_dh * b_head_slope
        + k0 * inverse_dz * b_depth
        - (slope0 - exponent * k0) * change
    )
    by_h1 = (
        mean_by_h1 * b_head
        + dk_by_dh * b_head_slope
        - k1 * inverse_dz * b_depth
        + (slope1 - exponent * k1) * change
    )
    still = k0 + k1 < LEAST_CONDUCTIVITY
    return 0.0 if still else flux, 0.0 if still else by_h0, 0.0 if still else by_h1


@kernel
def _look_up(h, soil, tables, scalars, top, bottom):
    """Curves at the top and at the bottom of each interval; rows as `soil_hydraulics` returns."""
    j = soil[0]
    w, c, k, slope, phi = soil_hydraulics(h[0], tables[j], scalars[j])
    for i in range(soil.size):
        if soil[i] != j:
            # An interface: one head, and two of everything else.
            j = soil[i]
            w, c, k, slope, phi = soil_hydraulics(h[i], tables[j], scalars[j])
        top[0, i], top[1, i], top[2, i], top[3, i], top[4, i] = w, c, k, slope, phi
        w, c, k, slope, phi = soil_hydraulics(h[i + 1], tables[j], scalars[j])
        bottom[0, i], bottom[1, i], bottom[2, i], bottom[3, i], bottom[4, i] = w, c, k, slope, phi


@kernel
def _flow_in_blocks(h, dt, z, top, bottom, flux, lower, upper):
    """Flux down each of BLOCK intervals or more, and what it adds to the Jacobian.

    Results of a block go through room of the function's own, and row by row: a compiler that does
    not know whether two arrays overlap vectorises nothing, and asking at run time takes longer
    than a block does.
    """
    intervals = h.size - 1
    down, by_h0, by_h1 = room_for_block(), room_for_block(), room_for_block()
    for begin in range(0, intervals, BLOCK):
        # The last block overlaps the one before: what is left over takes longer one by one.
        first = min(begin, intervals - BLOCK)
        last = first + BLOCK
        z0, z1 = z[first:last], z[first + 1 : last + 1]
        h0, h1 = h[first:last], h[first + 1 : last + 1]
        k0, slope0, phi0 = top[2, first:last], top[3, first:last], top[4, first:last]
        k1, slope1, phi1 = bottom[2, first:last], bottom[3, first:last], bottom[4, first:last]
        for i in range(BLOCK):
            q, q_by_h0, q_by_h1 = interval_flux(
                z1[i] - z0[i], h0[i], k0[i], slope0[i], phi0[i], h1[i], k1[i], slope1[i], phi1[i]
            )
            put(down, i, q)
            put(by_h0, i, q_by_h0)
            put(by_h1, i, q_by_h1)
        for i in range(BLOCK):
            flux[first + i] = take(down, i)
        for i in range(BLOCK):
            lower[first + i + 1] = -dt * take(by_h0, i)
        for i in range(BLOCK):
            upper[first + i] = dt * take(by_h1, i)


@kernel
def _flow_one_by_one(h, dt, z, top, bottom, flux, lower, upper):
    """The same where there are fewer intervals than a block has."""
    for i in range(h.size - 1):
        flux[i], by_h0, by_h1 = interval_flux(
            z[i + 1] - z[i],
            h[i], top[2, i], top[3, i], top[4, i],
            h[i + 1], bottom[2, i], bottom[3, i], bottom[4, i],
        )  # fmt: skip
        lower[i + 1], upper[i] = -dt * by_h0, dt * by_h1


@kernel
def _store(z, top, bottom, storage, capacity):
    """Water around each node, half an interval to either side, and its derivative by head."""
    last = z.size - 1
    water_top, capacity_top = top[0], top[1]
    water_bottom, capacity_bottom = bottom[0], bottom[1]
    first_half, last_half = 0.5 * (z[1] - z[0]), 0.5 * (z[last] - z[last - 1])
    storage[0] = first_half * water_top[0]
    capacity[0] = first_half * max(capacity_top[0], LEAST_CAPACITY)
    for i in range(1, last):
        above, below = 0.5 * (z[i] - z[i - 1]), 0.5 * (z[i + 1] - z[i])
        storage[i] = above * water_bottom[i - 1] + below * water_top[i]
        capacity_above = max(capacity_bottom[i - 1], LEAST_CAPACITY)
        capacity_below = max(capacity_top[i], LEAST_CAPACITY)
        capacity[i] = above * capacity_above + below * capacity_below
    storage[last] = last_half * water_bottom[last - 1]
    capacity[last] = last_half * max(capacity_bottom[last - 1], LEAST_CAPACITY)


@kernel
def water_around_nodes(h, z, soil, tables, scalars, water):
    """Water around each node [cm] at matric heads, without a pond."""
    j = soil[0]
    held = soil_hydraulics(h[0], tables[j], scalars[j])[0]
    water[0] = 0.0
    for i in range(soil.size):
        if soil[i] != j:
            j = soil[i]
            held = soil_hydraulics(h[i], tables[j], scalars[j])[0]
        half = 0.5 * (z[i + 1] - z[i])
        water[i] += half * held
        held = soil_hydraulics(h[i + 1], tables[j], scalars[j])[0]
        water[i + 1] = half * held


@kernel
def _balance(dt, stored, storage, flux, matrix):
    """Residual and diagonal of each node, from its storage and the flows to and from it."""
    lower, diagonal, upper = matrix[LOWER], matrix[DIAGONAL], matrix[UPPER]
    residual, capacity = matrix[RESIDUAL], matrix[CAPACITY]
    last = stored.size - 1
    lower[0], upper[last] = 0.0, 0.0
    residual[0] = storage[0] - stored[0] + dt * flux[0]
    diagonal[0] = capacity[0] - lower[1]
    for i in range(1, last):
        residual[i] = storage[i] - stored[i] - dt * (flux[i - 1] - flux[i])
        # What leaves a node by its own head comes to its neighbours.
        diagonal[i] = capacity[i] - upper[i - 1] - lower[i + 1]
    residual[last] = storage[last] - stored[last] - dt * flux[last - 1]
    diagonal[last] = capacity[last] - upper[last - 1]


@kernel
def assemble(
    h, dt, stored, z, soil, root, conditions, codes, tables, scalars, matrix, water, flows
):
    """Residual and Jacobian of an implicit step of one column.

    Parameters
    ----------
    h : (n,) matric heads at the nodes at the end of the step [cm]
    dt : length of the step [h]
    stored : (n,) water above the dry end held around each node before the step [cm]
    z : (n,) depths of the nodes [cm]
    soil : (n - 1,) number of the soil that fills the interval below each node
    root : (n,) share of the roots around each node
    conditions, codes : see the names above
    tables, scalars : all soils, stacked, as made by `tabulate`
    matrix : (N_MATRIX, n) out: lower, diagonal, upper, residual [cm], the part of the diagonal that
        belongs to the node's own water and uptake, and that of its water; below, room to work in
    water : (2, n) out: water around each node [cm], and that water plus the step's uptake [cm]
    flows : (N_RATES,) out: rates over the step [cm/h], and how two change with their head [1/h]
    """
    n = h.size
    lower, upper, flux = matrix[LOWER], matrix[UPPER], matrix[FLUX]
    top, bottom = matrix[TOP:BOTTOM], matrix[BOTTOM:FLUX]
    storage, store_and_uptake = water[0], water[1]

    # One plain loop after the other, which is faster than one that does everything.
    _look_up(h, soil, tables, scalars, top, bottom)
    if n > BLOCK:
        _flow_in_blocks(h, dt, z, top, bottom, flux, lower, upper)
    else:
        _flow_one_by_one(h, dt, z, top, bottom, flux, lower, upper)
    if conditions[CAREFUL] > 0.0:
        # Near saturation of a clay K leaps, and a derivative may come out with the wrong
        # sign. With the right one Newton's method is slower, but finds its way.
        for i in range(n - 1):
            lower[i + 1], upper[i] = min(lower[i + 1], 0.0), min(upper[i], 0.0)
    own, capacity = matrix[OWN], matrix[CAPACITY]
    _store(z, top, bottom, storage, capacity)
    _balance(dt, stored, storage, flux, matrix)
    for i in range(n):
        store_and_uptake[i] = storage[i]
        own[i] = capacity[i]

    # A held head closes the balance of its node, so the boundaries come after the uptake.
    k, slope = bottom[2, n - 2], bottom[3, n - 2]
    _add_uptake(h, dt, root, conditions, codes, matrix, water, flows)
    _add_surface(h, dt, conditions, codes, matrix, water, flows)
    _add_base(h, dt, k, slope, conditions, codes, matrix, flows)


@inlined_kernel
def share_there(water, capacity):
    """Share of a demand that the water of a node leaves possible, and its derivative by head.

    One but for the last traces: without it a node in drained gravel would be asked, at a suction
    where roots still take all they want, for water it does not hold.
    """
    inverse = 1.0 / (water + TRACE_OF_WATER)
    return water * inverse, TRACE_OF_WATER * capacity * inverse * inverse


@kernel
def _add_surface(h, dt, conditions, codes, matrix, water, flows):
    """Pond, supply, runoff and evaporation at the surface node."""
    diagonal, residual, own = matrix[DIAGONAL], matrix[RESIDUAL], matrix[OWN]
    if codes[SURFACE_CODE] == HELD_SURFACE:
        flows[INFLOW], flows[RUNOFF] = residual[0] / dt, 0.0
        flows[EVAPORATION], flows[EVAPORATION_BY_HEAD] = 0.0, 0.0
        residual[0] = h[0] - conditions[SURFACE_VALUE]
        diagonal[0], matrix[UPPER, 0], own[0] = 1.0, 0.0, 0.0
        return
    runoff, runoff_slope, evaporation, evaporation_slope = 0.0, 0.0, 0.0, 0.0
    if h[0] > 0.0:
        water[0, 0] += h[0]
        water[1, 0] += h[0]
        residual[0] += h[0]
        diagonal[0] += 1.0
        own[0] += 1.0
    excess = h[0] - conditions[POND_LIMIT]
    if excess > 0.0:
        runoff, runoff_slope = RUNOFF_CONDUCTANCE * excess, RUNOFF_CONDUCTANCE
    if conditions[EVAPORATION_DEMAND] > 0.0:
        share, share_slope = s_shaped(
            -h[0], conditions[EVAPORATION_HALF_SUCTION], conditions[EVAPORATION_STEEPNESS]
        )
        end = taper(-h[0])
        there, there_by_head = share_there(water[0, 0], matrix[CAPACITY, 0])
        evaporation = conditions[EVAPORATION_DEMAND] * share * end * there
        evaporation_slope = conditions[EVAPORATION_DEMAND] * (
            share * end * there_by_head - (share_slope * end - share / OVEN_DRY_SUCTION) * there
        )
    residual[0] -= dt * (conditions[SUPPLY] - runoff - evaporation)
    diagonal[0] += dt * (runoff_slope + evaporation_slope)
    own[0] += dt * evaporation_slope
    water[1, 0] += dt * evaporation
    flows[INFLOW], flows[RUNOFF] = conditions[SUPPLY], runoff
    flows[EVAPORATION], flows[EVAPORATION_BY_HEAD] = evaporation, evaporation_slope


@kernel
def _add_base(h, dt, k, slope, conditions, codes, matrix, flows):
    """Drainage through the base."""
    last = h.size - 1
    code, value = codes[BASE_CODE], conditions[BASE_VALUE]
    drainage, by_head = 0.0, 0.0
    if code == FREE_DRAINAGE:
        drainage, by_head = k, slope
    elif code == OUTFLOW and h[last] > value:
        drainage, by_head = OUTFLOW_CONDUCTANCE * (h[last] - value), OUTFLOW_CONDUCTANCE
    elif code == HELD_HEAD:
        flows[DRAINAGE], flows[DRAINAGE_BY_HEAD] = -matrix[RESIDUAL, last] / dt, 0.0
        matrix[RESIDUAL, last] = h[last] - value
        matrix[DIAGONAL, last], matrix[LOWER, last], matrix[OWN, last] = 1.0, 0.0, 0.0
        return
    matrix[RESIDUAL, last] += dt * drainage
    matrix[DIAGONAL, last] += dt * by_head
    flows[DRAINAGE], flows[DRAINAGE_BY_HEAD] = drainage, by_head


@kernel
def compensate(h, root, conditions, codes):
    """Set the factor by which wet roots make up for dry ones, down to a threshold.

    The stress index (Jarvis 1989, J. Hydrol. 107:57-72) joins all nodes. It is kept out of the
    Jacobian, which stays tridiagonal, and still while Newton's method comes to its end: nodes would
    hand the water to and fro.
    """
    conditions[COMPENSATION] = 1.0
    code, threshold = codes[STRESS_CODE], conditions[COMPENSATION_THRESHOLD]
    if threshold < 1.0 and code != NO_REDUCTION and conditions[TRANSPIRATION_DEMAND] > 0.0:
        p0, p1, p2 = conditions[STRESS_0], conditions[STRESS_1], conditions[STRESS_2]
        p3, p4 = conditions[STRESS_3], conditions[STRESS_4]
        index = 0.0
        for i in range(h.size):
            if root[i] > 0.0:
                index += root[i] * reduction(code, p0, p1, p2, p3, p4, -h[i])[0]
        conditions[COMPENSATION] = 1.0 / max(index, threshold)


@kernel
def _add_uptake(h, dt, root, conditions, codes, matrix, water, flows):
    """Root water uptake."""
    flows[TRANSPIRATION] = 0.0
    demand = conditions[TRANSPIRATION_DEMAND] * conditions[COMPENSATION]
    if demand <= 0.0:
        return
    rooted = root.size
    while rooted > 0 and root[rooted - 1] == 0.0:
        rooted -= 1
    share, by_head = matrix[TOP, :rooted], matrix[TOP + 1, :rooted]
    shares_met(
        codes[STRESS_CODE], conditions[STRESS_0], conditions[STRESS_1], conditions[STRESS_2],
        conditions[STRESS_3], conditions[STRESS_4], h[:rooted], share, by_head,
    )  # fmt: skip
    diagonal, residual = matrix[DIAGONAL], matrix[RESIDUAL]
    own, capacity = matrix[OWN], matrix[CAPACITY]
    total = 0.0
    for i in range(rooted):
        there, there_by_head = share_there(water[0, i], capacity[i])
        asked = demand * root[i]
        taken = dt * asked * share[i] * there
        taken_by_head = dt * asked * (by_head[i] * there + share[i] * there_by_head)
        total += asked * share[i] * there
        residual[i] += taken
        water[1, i] += taken
        diagonal[i] += taken_by_head
        own[i] += taken_by_head
    flows[TRANSPIRATION] = total


@kernel
def solve(matrix, change):
    """Solve the tridiagonal system matrix * change = -residual (overwrites the diagonal).

    From both ends towards the middle: two chains of divisions, neither of which waits for the
    other.
    """
    lower, diagonal, upper = matrix[LOWER], matrix[DIAGONAL], matrix[UPPER]
    residual = matrix[RESIDUAL]
    last = change.size - 1
    middle = (last + 1) // 2
    upper_above, change_above, lower_below, change_below = 0.0, 0.0, 0.0, 0.0
    for i in range(middle):
        inverse = 1.0 / (diagonal[i] - lower[i] * upper_above)
        upper_above = upper[i] * inverse
        change_above = -(residual[i] + lower[i] * change_above) * inverse
        diagonal[i], change[i] = upper_above, change_above
        j = last - i
        if j > middle:
            inverse = 1.0 / (diagonal[j] - upper[j] * lower_below)
            lower_below = lower[j] * inverse
            change_below = -(residual[j] + upper[j] * change_below) * inverse
            diagonal[j], change[j] = lower_below, change_below
    above, below = lower[middle], upper[middle]
    change_above = change_below = -(
        residual[middle] + above * change_above + below * change_below
    ) / (diagonal[middle] - above * upper_above - below * lower_below)
    change[middle] = change_above
    for i in range(1, middle + 1):
        change_above = change[middle - i] - diagonal[middle - i] * change_above
        change[middle - i] = change_above
        if middle + i <= last:
            change_below = change[middle + i] - diagonal[middle + i] * change_below
            change[middle + i] = change_below


@kernel
def interval_water_content(h, soil, tables, scalars, water_content):
    """Water content of each interval as the water balance holds it: the mean of its two ends."""
    for i in range(soil.size):
        j = soil[i]
        top = hydraulics(h[i], tables, scalars, j)[0]
        bottom = hydraulics(h[i + 1], tables, scalars, j)[0]
        water_content[i] = 0.5 * (top + bottom) + scalars[j, DRY_END_WATER_CONTENT]


@kernel
def mean_water_content(h, z, soil, tables, scalars, top, bottom):
    """Mean water content between two depths [1].

    Exact through the curve where head runs about straight from node to node, as at rest; at a
    front, where it does not, the water the balance holds there, straight between the nodes.
    """
    total = 0.0
    for i in range(soil.size):
        upper, lower = max(z[i], top), min(z[i + 1], bottom)
        if lower > upper:
            j = soil[i]
            dz = z[i + 1] - z[i]
            gradient = (h[i + 1] - h[i]) / dz
            head_top = h[i] + gradient * (upper - z[i])
            head_bottom = h[i] + gradient * (lower - z[i])
            mean = mean_water(head_top, head_bottom, tables, scalars, j)
            front = min(max((abs(gradient) - FRONT_FROM) / FRONT_FROM, 0.0), 1.0)
            if front > 0.0:
                above = hydraulics(h[i], tables, scalars, j)[0]
                below = hydraulics(h[i + 1], tables, scalars, j)[0]
                middle = (0.5 * (upper + lower) - z[i]) / dz
                mean += front * (above + (below - above) * middle - mean)
            total += (lower - upper) * (mean + scalars[j, DRY_END_WATER_CONTENT])
    return total / (bottom - top)
