"""Flux between nodes whose conductivity follows from their water, and water from their history.

Two nodes at one head may hold different water. Their conductivities K and potentials phi are those
of the drying curve at the effective heads u that hold the same water, and the mean and the exponent
of `flux.interval_flux` are taken between these, with the true difference of heads:

    M = (phi1 - phi0)/(u1 - u0),    q = M [B(a dh) - dh/dz B(a dz)],

which is zero to round-off where dh = dz, whatever the histories.
"""

from soilwater.kernels.branch_look_up import (
    BOTTOM_EFFECTIVE,
    BOTTOM_EFFECTIVE_BY_HEAD,
    TOP_EFFECTIVE,
    TOP_EFFECTIVE_BY_HEAD,
)
from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.elementary import BLOCK, put, room_for_block, take
from soilwater.kernels.flux import LEAST_CONDUCTIVITY, bernoulli
from soilwater.kernels.rows import (
    BOTTOM_CONDUCTIVITY,
    BOTTOM_POTENTIAL,
    BOTTOM_SLOPE,
    FLUX,
    LOWER,
    TOP_CONDUCTIVITY,
    TOP_POTENTIAL,
    TOP_SLOPE,
    UPPER,
)


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
