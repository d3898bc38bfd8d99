"""Flux of water down each interval, and how it changes with the heads at its two ends."""

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import soil_hydraulics
from soilwater.kernels.elementary import (
    BLOCK,
    LARGEST_EXPONENT,
    exponential_parts,
    put,
    room_for_block,
    take,
)
from soilwater.kernels.rows import (
    BOTTOM_CAPACITY,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_POTENTIAL,
    BOTTOM_SLOPE,
    BOTTOM_WATER,
    FLUX,
    LOWER,
    TOP_CAPACITY,
    TOP_CONDUCTIVITY,
    TOP_POTENTIAL,
    TOP_SLOPE,
    TOP_WATER,
    UPPER,
)

LEAST_CONDUCTIVITY = 1.0e-200
"""Conductivity [cm/h] below which nothing flows: powers of it would leave the range of numbers."""


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
def look_up(h, soil, soils, work):
    """Curves at the top and at the bottom of each interval."""
    tables, scalars = soils.tables, soils.scalars
    top_w, top_c, top_k = work[TOP_WATER], work[TOP_CAPACITY], work[TOP_CONDUCTIVITY]
    top_slope, top_phi = work[TOP_SLOPE], work[TOP_POTENTIAL]
    bottom_w, bottom_c = work[BOTTOM_WATER], work[BOTTOM_CAPACITY]
    bottom_k, bottom_slope = work[BOTTOM_CONDUCTIVITY], work[BOTTOM_SLOPE]
    bottom_phi = work[BOTTOM_POTENTIAL]
    j = soil[0]
    w, c, k, slope, phi = soil_hydraulics(h[0], tables[j], scalars[j])
    for i in range(soil.size):
        if soil[i] != j:
            # An interface: one head, and two of everything else.
            j = soil[i]
            w, c, k, slope, phi = soil_hydraulics(h[i], tables[j], scalars[j])
        top_w[i], top_c[i], top_k[i], top_slope[i], top_phi[i] = w, c, k, slope, phi
        w, c, k, slope, phi = soil_hydraulics(h[i + 1], tables[j], scalars[j])
        bottom_w[i], bottom_c[i], bottom_k[i], bottom_slope[i], bottom_phi[i] = w, c, k, slope, phi


@kernel
def flow_in_blocks(h, dt, z, work):
    """Flux down each of BLOCK intervals or more, and what it adds to the Jacobian.

    Results of a block go through room of the function's own, and row by row: a compiler that does
    not know whether two arrays overlap vectorises nothing, and asking at run time takes longer
    than a block does.
    """
    flux, lower, upper = work[FLUX], work[LOWER], work[UPPER]
    intervals = h.size - 1
    down, by_h0, by_h1 = room_for_block(), room_for_block(), room_for_block()
    for begin in range(0, intervals, BLOCK):
        # The last block overlaps the one before: what is left over takes longer one by one.
        first = min(begin, intervals - BLOCK)
        last = first + BLOCK
        z0, z1 = z[first:last], z[first + 1 : last + 1]
        h0, h1 = h[first:last], h[first + 1 : last + 1]
        k0, k1 = work[TOP_CONDUCTIVITY, first:last], work[BOTTOM_CONDUCTIVITY, first:last]
        slope0, slope1 = work[TOP_SLOPE, first:last], work[BOTTOM_SLOPE, first:last]
        phi0, phi1 = work[TOP_POTENTIAL, first:last], work[BOTTOM_POTENTIAL, first:last]
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
def flow_one_by_one(h, dt, z, work):
    """The same where there are fewer intervals than a block has."""
    flux, lower, upper = work[FLUX], work[LOWER], work[UPPER]
    for i in range(h.size - 1):
        flux[i], by_h0, by_h1 = interval_flux(
            z[i + 1] - z[i],
            h[i], work[TOP_CONDUCTIVITY, i], work[TOP_SLOPE, i], work[TOP_POTENTIAL, i],
            h[i + 1], work[BOTTOM_CONDUCTIVITY, i], work[BOTTOM_SLOPE, i],
            work[BOTTOM_POTENTIAL, i],
        )  # fmt: skip
        lower[i + 1], upper[i] = -dt * by_h0, dt * by_h1


@kernel
def flow(h, dt, z, work):
    """Flux down each interval, and what it adds to the Jacobian beside the diagonal."""
    if h.size > BLOCK:
        flow_in_blocks(h, dt, z, work)
    else:
        flow_one_by_one(h, dt, z, work)


@kernel
def hold_signs(work):
    """Hold the derivatives of the fluxes to their right sign.

    Near saturation of a clay K leaps, and a derivative may come out with the wrong sign. With the
    right one Newton's method is slower, but finds its way.
    """
    lower, upper = work[LOWER], work[UPPER]
    for i in range(lower.size - 1):
        lower[i + 1], upper[i] = min(lower[i + 1], 0.0), min(upper[i], 0.0)
