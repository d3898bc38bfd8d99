"""Storage, flows and their tridiagonal Jacobian of one column.

Nodes lie at the surface, at every layer interface and at the base; materials fill the intervals
between nodes, so head is continuous at interfaces by construction. Depth z [cm], matric head h
[cm, negative when dry], fluxes q [cm/h] positive downward.

    d theta / dt = -dq/dz - uptake,        q = K(h) (1 - dh/dz)

Boundaries are functions of the boundary head, never switches: a pond is storage max(h, 0) at the
surface node, runoff and outflow are large conductances, so Newton needs no iteration over types.
A held head is a row of its own; the water it takes or gives is what closes the node's balance.
"""

import math

from numba import njit

from soilwater.kernels.curves import (
    DRY_END_WATER_CONTENT,
    OVEN_DRY_SUCTION,
    hydraulics,
    mean_water,
)
from soilwater.kernels.uptake import NO_REDUCTION, reduction, s_shaped, taper

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

# Flows [cm/h] that `assemble` reports.
INFLOW, RUNOFF, TRANSPIRATION, EVAPORATION, DRAINAGE, N_FLOWS = range(6)


@njit(error_model="numpy", nogil=True)
def bernoulli(x):
    """x / (e^x - 1) and its derivative."""
    if abs(x) < 0.5:
        xx = x * x
        value = (
            1.0
            - 0.5 * x
            + xx
            * (
                1.0 / 12.0
                - xx
                * (1.0 / 720.0 - xx * (1.0 / 30240.0 - xx * (1.0 / 1209600.0 - xx / 47900160.0)))
            )
        )
        slope = -0.5 + x * (
            1.0 / 6.0
            - xx * (1.0 / 180.0 - xx * (1.0 / 5040.0 - xx * (1.0 / 151200.0 - xx / 4790016.0)))
        )
        return value, slope
    if x > 700.0:
        return 0.0, 0.0
    e = math.exp(x)
    inverse = 1.0 / (e - 1.0)
    value = x * inverse
    return value, inverse * (1.0 - value * e)


@njit(error_model="numpy", nogil=True)
def interval_flux(dz, h0, k0, slope0, phi0, h1, k1, slope1, phi1):
    """Flux down an interval of one material and its derivatives by the heads at both ends.

    With the mean conductivity M = (phi1 - phi0)/(h1 - h0), the exponent a = (K1 - K0)/(phi1 - phi0)
    and B(x) = x/(e^x - 1),

        q = M [B(a (h1 - h0)) - (h1 - h0)/dz B(a dz)].

    The flux is exact in steady flow where K is exponential in h, of second order for any K,
    turns to the upstream conductivity at large spacing, and is zero to round-off in hydrostatic
    equilibrium, h1 - h0 = dz, whatever K.
    """
    if k0 + k1 < LEAST_CONDUCTIVITY:
        return 0.0, 0.0, 0.0
    dh = h1 - h0
    dphi = phi1 - phi0
    dk = k1 - k0
    if abs(dh) < 1e-5 or dphi == 0.0:
        mean = 0.5 * (k0 + k1)
        exponent = 0.5 * (slope0 + slope1) / mean
        mean_by_h0, mean_by_h1 = 0.5 * slope0, 0.5 * slope1
        dphi = mean * dh
        dk_by_dh = exponent * mean
    else:
        inverse_dh = 1.0 / dh
        mean = dphi * inverse_dh
        exponent = dk / dphi
        mean_by_h0, mean_by_h1 = (mean - k0) * inverse_dh, (k1 - mean) * inverse_dh
        dk_by_dh = dk * inverse_dh
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
    return flux, by_h0, by_h1


@njit(error_model="numpy", nogil=True)
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
    matrix : (5, n) out: lower, diagonal, upper, residual [cm], and the part of the diagonal that
        belongs to the node's own water and uptake
    water : (2, n) out: water around each node [cm], and that water plus the step's uptake [cm]
    flows : (N_FLOWS,) out: rates over the step [cm/h]
    """
    n = h.size
    lower, diagonal, upper, residual, own = matrix[0], matrix[1], matrix[2], matrix[3], matrix[4]
    storage, store_and_uptake = water[0], water[1]

    flux_above, flux_above_by_above, flux_above_by_here = 0.0, 0.0, 0.0
    storage_here, capacity_here = 0.0, 0.0
    w, c, k, slope, phi = hydraulics(h[0], tables, scalars, soil[0])
    for i in range(n):
        if i < n - 1:
            j = soil[i]
            if i > 0 and j != soil[i - 1]:
                w, c, k, slope, phi = hydraulics(h[i], tables, scalars, j)
            dz = z[i + 1] - z[i]
            storage_here += 0.5 * dz * w
            capacity_here += 0.5 * dz * max(c, LEAST_CAPACITY)
            w1, c1, k1, slope1, phi1 = hydraulics(h[i + 1], tables, scalars, j)
            flux, by_here, by_below = interval_flux(
                dz, h[i], k, slope, phi, h[i + 1], k1, slope1, phi1
            )
            if conditions[CAREFUL] > 0.0:
                # Near saturation of a clay K leaps, and a derivative may come out with the wrong
                # sign. With the right one Newton's method is slower, but finds its way.
                by_here, by_below = max(by_here, 0.0), min(by_below, 0.0)
            w, c, k, slope, phi = w1, c1, k1, slope1, phi1
        else:
            dz, flux, by_here, by_below = 0.0, 0.0, 0.0, 0.0
        storage[i] = storage_here
        store_and_uptake[i] = storage_here
        own[i] = capacity_here
        residual[i] = storage_here - stored[i] - dt * (flux_above - flux)
        lower[i] = -dt * flux_above_by_above
        diagonal[i] = capacity_here - dt * (flux_above_by_here - by_here)
        upper[i] = dt * by_below
        flux_above, flux_above_by_above, flux_above_by_here = flux, by_here, by_below
        storage_here = 0.5 * dz * w
        capacity_here = 0.5 * dz * max(c, LEAST_CAPACITY)

    # A held head closes the balance of its node, so the boundaries come after the uptake.
    _add_uptake(h, dt, root, conditions, codes, matrix, water, flows)
    _add_surface(h, dt, conditions, codes, matrix, water, flows)
    _add_base(h, dt, k, slope, conditions, codes, matrix, flows)


@njit(error_model="numpy", nogil=True)
def _add_surface(h, dt, conditions, codes, matrix, water, flows):
    """Pond, supply, runoff and evaporation at the surface node."""
    diagonal, residual, own = matrix[1], matrix[3], matrix[4]
    if codes[SURFACE_CODE] == HELD_SURFACE:
        flows[INFLOW], flows[RUNOFF], flows[EVAPORATION] = residual[0] / dt, 0.0, 0.0
        residual[0] = h[0] - conditions[SURFACE_VALUE]
        diagonal[0], matrix[2, 0], own[0] = 1.0, 0.0, 0.0
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
        evaporation = conditions[EVAPORATION_DEMAND] * share * end
        evaporation_slope = -conditions[EVAPORATION_DEMAND] * (
            share_slope * end - share / OVEN_DRY_SUCTION
        )
    residual[0] -= dt * (conditions[SUPPLY] - runoff - evaporation)
    diagonal[0] += dt * (runoff_slope + evaporation_slope)
    own[0] += dt * evaporation_slope
    water[1, 0] += dt * evaporation
    flows[INFLOW], flows[RUNOFF] = conditions[SUPPLY], runoff
    flows[EVAPORATION] = evaporation


@njit(error_model="numpy", nogil=True)
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
        flows[DRAINAGE] = -matrix[3, last] / dt
        matrix[3, last] = h[last] - value
        matrix[1, last], matrix[0, last], matrix[4, last] = 1.0, 0.0, 0.0
        return
    matrix[3, last] += dt * drainage
    matrix[1, last] += dt * by_head
    flows[DRAINAGE] = drainage


@njit(error_model="numpy", nogil=True)
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


@njit(error_model="numpy", nogil=True)
def _add_uptake(h, dt, root, conditions, codes, matrix, water, flows):
    """Root water uptake."""
    demand = conditions[TRANSPIRATION_DEMAND] * conditions[COMPENSATION]
    total = 0.0
    if demand > 0.0:
        diagonal, residual, own = matrix[1], matrix[3], matrix[4]
        code = codes[STRESS_CODE]
        p0, p1, p2 = conditions[STRESS_0], conditions[STRESS_1], conditions[STRESS_2]
        p3, p4 = conditions[STRESS_3], conditions[STRESS_4]
        for i in range(h.size):
            if root[i] > 0.0:
                share, share_slope = reduction(code, p0, p1, p2, p3, p4, -h[i])
                end = taper(-h[i])
                uptake = demand * root[i] * share * end
                by_head = -demand * root[i] * (share_slope * end - share / OVEN_DRY_SUCTION)
                total += uptake
                residual[i] += dt * uptake
                diagonal[i] += dt * by_head
                own[i] += dt * by_head
                water[1, i] += dt * uptake
    flows[TRANSPIRATION] = total


@njit(error_model="numpy", nogil=True)
def solve(matrix, change):
    """Solve the tridiagonal system matrix * change = -residual (overwrites the upper row)."""
    lower, diagonal, upper, residual = matrix[0], matrix[1], matrix[2], matrix[3]
    n = change.size
    inverse = 1.0 / diagonal[0]
    upper[0] *= inverse
    change[0] = -residual[0] * inverse
    for i in range(1, n):
        inverse = 1.0 / (diagonal[i] - lower[i] * upper[i - 1])
        upper[i] *= inverse
        change[i] = -(residual[i] + lower[i] * change[i - 1]) * inverse
    for i in range(n - 2, -1, -1):
        change[i] -= upper[i] * change[i + 1]


@njit(error_model="numpy", nogil=True)
def interval_water_content(h, soil, tables, scalars, water_content):
    """Water content of each interval as the water balance holds it: the mean of its two ends."""
    for i in range(soil.size):
        j = soil[i]
        top = hydraulics(h[i], tables, scalars, j)[0]
        bottom = hydraulics(h[i + 1], tables, scalars, j)[0]
        water_content[i] = 0.5 * (top + bottom) + scalars[j, DRY_END_WATER_CONTENT]


@njit(error_model="numpy", nogil=True)
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
