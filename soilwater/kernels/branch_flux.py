"""Flux between nodes whose conductivity follows from their water, and water from their history.

Two nodes at one head may hold different water. Their conductivities K and potentials phi are those
of the drying curve at the effective heads u that hold the same water, and the mean and the exponent
of `flux.interval_flux` are taken between these, with the true difference of heads:

    M = (phi1 - phi0)/(u1 - u0),    q = M [B(a dh) - dh/dz B(a dz)],

which is zero to round-off where dh = dz, whatever the histories.
"""

import math

from soilwater.kernels.branches import (
    BOTTOM,
    TOP,
    bounds_of_effective_head,
    branch_hydraulics,
    branch_of,
    by_tangents,
    guess_between,
    look_up_ends,
    move_by_curvature,
    remembers,
    water_on_branch,
)
from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import soil_hydraulics
from soilwater.kernels.elementary import BLOCK, put, room_for_block, take
from soilwater.kernels.flux import LEAST_CONDUCTIVITY, bernoulli
from soilwater.kernels.rows import (
    BOTTOM_CAPACITY,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_POTENTIAL,
    BOTTOM_SLOPE,
    BOTTOM_WATER,
    FLUX,
    LOWER,
    N_WORK,
    STORE_AND_UPTAKE,
    TOP_CAPACITY,
    TOP_CONDUCTIVITY,
    TOP_POTENTIAL,
    TOP_SLOPE,
    TOP_WATER,
    UPPER,
)

# Rows of `work` beyond those of `rows`: effective heads at the top and bottom of each interval
# [cm] and their derivatives by head [1]; the part of the water there that does not move with head
# [1]; store and uptake of each node without that part [cm]; in a retry, the heads from which
# the last step of Newton's method went, and how far the last did that went far [cm].
(
    TOP_EFFECTIVE,
    TOP_EFFECTIVE_BY_HEAD,
    BOTTOM_EFFECTIVE,
    BOTTOM_EFFECTIVE_BY_HEAD,
    TOP_STILL,
    BOTTOM_STILL,
    MOVING,
    LAST_BEFORE,
    LAST_MOVE,
    N_BRANCH_WORK,
) = range(N_WORK, N_WORK + 10)


PAIRS = (
    (TOP_WATER, BOTTOM_WATER),
    (TOP_CAPACITY, BOTTOM_CAPACITY),
    (TOP_CONDUCTIVITY, BOTTOM_CONDUCTIVITY),
    (TOP_SLOPE, BOTTOM_SLOPE),
    (TOP_POTENTIAL, BOTTOM_POTENTIAL),
    (TOP_EFFECTIVE, BOTTOM_EFFECTIVE),
    (TOP_EFFECTIVE_BY_HEAD, BOTTOM_EFFECTIVE_BY_HEAD),
    (TOP_STILL, BOTTOM_STILL),
)
"""Rows of the same thing at the top and the bottom of an interval."""


@kernel
def node_hydraulics(head, place, side, i, j, soils):
    """Curves of soil `j` at one side of interval `i`; see `branches.branch_hydraulics`."""
    table, scalars, memory = soils.tables[j], soils.scalars[j], soils.memory[j]
    if remembers(soils, j):
        level = soils.level[i, side, place]
        return branch_hydraulics(head, place, level, table, scalars, memory)
    water, capacity, k, slope, potential = soil_hydraulics(head, table, scalars)
    return water, capacity, k, slope, potential, head, 1.0, 0.0


@kernel
def look_up_water(h, soil, soils, work):
    """Water of each node in the soil above it, and about where draining sand holds the same."""
    water_of, capacity_of, still_of = work[TOP_WATER], work[TOP_CAPACITY], work[TOP_STILL]
    effective = work[TOP_EFFECTIVE]
    for i in range(h.size):
        interval, side = max(i - 1, 0), TOP if i == 0 else BOTTOM
        j = soil[interval]
        place = branch_of(i, h[i], soil, soils)
        still_of[i] = 0.0
        if place == 0 or not remembers(soils, j):
            # The drying curve.
            effective[i] = h[i]
            continue
        if h[i] >= 0.0:
            effective[i] = math.nan
            continue
        table, scalars, memory = soils.tables[j], soils.scalars[j], soils.memory[j]
        ends = look_up_ends(h[i], table, scalars, memory)
        level = soils.level[interval, side, place]
        water, capacity, still = water_on_branch(h[i], place, level, ends, scalars, memory)
        wet_head, at_wet, wet_capacity, dry_head, at_dry, dry_capacity = bounds_of_effective_head(
            water, h[i], ends, table, scalars, memory
        )
        u = guess_between(water, wet_head, at_wet, wet_capacity, dry_head, at_dry, dry_capacity)
        water_of[i], capacity_of[i], still_of[i], effective[i] = water, capacity, still, u


@kernel
def look_up_by_water(h, soil, soils, work):
    """Curves of each node in the soil above it, from what `look_up_water` left."""
    for i in range(h.size):
        interval, side = max(i - 1, 0), TOP if i == 0 else BOTTOM
        j = soil[interval]
        table, scalars = soils.tables[j], soils.scalars[j]
        u = work[TOP_EFFECTIVE, i]
        if u == h[i]:
            w, c, k, slope, phi = soil_hydraulics(u, table, scalars)
            by_head = 1.0
        else:
            w, c = work[TOP_WATER, i], work[TOP_CAPACITY, i]
            reach = h[i] < 0.0
            if reach:
                u = move_by_curvature(w, u, table, scalars)
                reach, u, drying_capacity, k, slope, phi = by_tangents(w, u, table, scalars)
                by_head = c / drying_capacity
            if not reach:
                place = branch_of(i, h[i], soil, soils)
                w, c, k, slope, phi, u, by_head, work[TOP_STILL, i] = node_hydraulics(
                    h[i], place, side, interval, j, soils
                )
        work[TOP_WATER, i], work[TOP_CAPACITY, i], work[TOP_CONDUCTIVITY, i] = w, c, k
        work[TOP_SLOPE, i], work[TOP_POTENTIAL, i] = slope, phi
        work[TOP_EFFECTIVE, i], work[TOP_EFFECTIVE_BY_HEAD, i] = u, by_head


@kernel
def look_up_branches(h, soil, soils, work):
    """Curves at the top and at the bottom of each interval, by the history of its nodes."""
    # Two short loops after each other: a node's look-ups wait for each other, nodes do not.
    look_up_water(h, soil, soils, work)
    look_up_by_water(h, soil, soils, work)
    for top, bottom in PAIRS:
        for i in range(soil.size):
            work[bottom, i] = work[top, i + 1]
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


@inlined_kernel
def branch_flux(
    dz, h0, u0, u0_by_h0, k0, slope0, phi0, h1, u1, u1_by_h1, k1, slope1, phi1
):  # fmt: skip
    """Flux down an interval and its derivatives by the heads at both ends."""
    dh = h1 - h0
    du = u1 - u0
    dphi = phi1 - phi0
    # Quotients of differences have a limit at equal effective heads.
    equal = (abs(du) < 1e-5) | (dphi == 0.0)
    average = 0.5 * (k0 + k1)
    inverse_du = 1.0 / (1.0 if equal else du)
    mean = average if equal else dphi * inverse_du
    exponent = (0.5 * (slope0 + slope1) if equal else k1 - k0) / (average if equal else dphi)
    mean_by_u0 = 0.5 * slope0 if equal else (mean - k0) * inverse_du
    mean_by_u1 = 0.5 * slope1 if equal else (k1 - mean) * inverse_du
    # Mean times the derivative of the exponent.
    bent_by_u0 = 0.0 if equal else (exponent * k0 - slope0) * inverse_du
    bent_by_u1 = 0.0 if equal else (slope1 - exponent * k1) * inverse_du

    inverse_dz = 1.0 / dz
    b_head, b_head_slope = bernoulli(exponent * dh)
    b_depth, b_depth_slope = bernoulli(exponent * dz)
    driven = b_head - dh * inverse_dz * b_depth
    flux = mean * driven
    by_exponent = dh * (b_head_slope - b_depth_slope)
    by_difference = mean * (exponent * b_head_slope - inverse_dz * b_depth)
    by_h0 = (mean_by_u0 * driven + bent_by_u0 * by_exponent) * u0_by_h0 - by_difference
    by_h1 = (mean_by_u1 * driven + bent_by_u1 * by_exponent) * u1_by_h1 + by_difference
    still = k0 + k1 < LEAST_CONDUCTIVITY
    return 0.0 if still else flux, 0.0 if still else by_h0, 0.0 if still else by_h1


@kernel
def branch_flow_in_blocks(h, dt, z, work):
    """Flux down each of BLOCK intervals or more; see `flux.flow_in_blocks`."""
    flux, lower, upper = work[FLUX], work[LOWER], work[UPPER]
    intervals = h.size - 1
    down, by_h0, by_h1 = room_for_block(), room_for_block(), room_for_block()
    for begin in range(0, intervals, BLOCK):
        first = min(begin, intervals - BLOCK)
        last = first + BLOCK
        z0, z1 = z[first:last], z[first + 1 : last + 1]
        h0, h1 = h[first:last], h[first + 1 : last + 1]
        u0, u1 = work[TOP_EFFECTIVE, first:last], work[BOTTOM_EFFECTIVE, first:last]
        u0_by_h0 = work[TOP_EFFECTIVE_BY_HEAD, first:last]
        u1_by_h1 = work[BOTTOM_EFFECTIVE_BY_HEAD, first:last]
        k0, k1 = work[TOP_CONDUCTIVITY, first:last], work[BOTTOM_CONDUCTIVITY, first:last]
        slope0, slope1 = work[TOP_SLOPE, first:last], work[BOTTOM_SLOPE, first:last]
        phi0, phi1 = work[TOP_POTENTIAL, first:last], work[BOTTOM_POTENTIAL, first:last]
        for i in range(BLOCK):
            q, q_by_h0, q_by_h1 = branch_flux(
                z1[i] - z0[i],
                h0[i], u0[i], u0_by_h0[i], k0[i], slope0[i], phi0[i],
                h1[i], u1[i], u1_by_h1[i], k1[i], slope1[i], phi1[i],
            )  # fmt: skip
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
def branch_flow_one_by_one(h, dt, z, work):
    """The same where there are fewer intervals than a block has."""
    flux, lower, upper = work[FLUX], work[LOWER], work[UPPER]
    for i in range(h.size - 1):
        flux[i], by_h0, by_h1 = branch_flux(
            z[i + 1] - z[i],
            h[i], work[TOP_EFFECTIVE, i], work[TOP_EFFECTIVE_BY_HEAD, i],
            work[TOP_CONDUCTIVITY, i], work[TOP_SLOPE, i], work[TOP_POTENTIAL, i],
            h[i + 1], work[BOTTOM_EFFECTIVE, i], work[BOTTOM_EFFECTIVE_BY_HEAD, i],
            work[BOTTOM_CONDUCTIVITY, i], work[BOTTOM_SLOPE, i], work[BOTTOM_POTENTIAL, i],
        )  # fmt: skip
        lower[i + 1], upper[i] = -dt * by_h0, dt * by_h1


@kernel
def branch_flow(h, dt, z, work):
    """Flux down each interval, and what it adds to the Jacobian beside the diagonal."""
    if h.size > BLOCK:
        branch_flow_in_blocks(h, dt, z, work)
    else:
        branch_flow_one_by_one(h, dt, z, work)
    # What leaves through the base asks how its conductivity changes with its own head.
    work[BOTTOM_SLOPE, h.size - 2] *= work[BOTTOM_EFFECTIVE_BY_HEAD, h.size - 2]


@kernel
def note_moving(z, work):
    """Store and uptake of each node without the water that does not move with its head [cm]."""
    moving, whole = work[MOVING], work[STORE_AND_UPTAKE]
    top_still, bottom_still = work[TOP_STILL], work[BOTTOM_STILL]
    for i in range(z.size):
        moving[i] = whole[i]
    for i in range(z.size - 1):
        half = 0.5 * (z[i + 1] - z[i])
        moving[i] -= half * top_still[i]
        moving[i + 1] -= half * bottom_still[i]
