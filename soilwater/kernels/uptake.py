"""Root water uptake: the share of its demand a root meets at a suction, and its derivative.

Codes: 0 no reduction, 1 S-shaped, 2 piecewise with rounded corners. Both shapes are smooth,
because Newton's method loses its way exactly where a kink holds a drying node.
"""

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import OVEN_DRY_SUCTION
from soilwater.kernels.elementary import power

NO_REDUCTION, S_SHAPED, ROUNDED = 0, 1, 2
N_PARAMETERS = 5


@kernel
def rounded_ramp(t, rounding):
    """A ramp from 0 at t = 0 to 1 at t = 1 with parabolic corners, and its derivative.

    The corners reach `rounding` (at most 0.5) to either side.
    """
    if t <= -rounding:
        return 0.0, 0.0
    if t >= 1.0 + rounding:
        return 1.0, 0.0
    if t < rounding:
        return (t + rounding) ** 2 / (4.0 * rounding), (t + rounding) / (2.0 * rounding)
    if t > 1.0 - rounding:
        rest = 1.0 + rounding - t
        return 1.0 - rest * rest / (4.0 * rounding), rest / (2.0 * rounding)
    return t, 1.0


@inlined_kernel
def s_shaped(suction, half_suction, steepness):
    """1 / (1 + (suction / half_suction)^steepness) and its derivative by suction [1/cm]."""
    wet = suction <= 0.0
    relative = power((half_suction if wet else suction) / half_suction, steepness)
    value = 1.0 / (1.0 + relative)
    slope = -steepness * relative * value * value / suction
    return 1.0 if wet else value, 0.0 if wet else slope


@kernel
def reduction(code, p0, p1, p2, p3, p4, suction):
    """Share of its demand a root meets at a suction, and its derivative by suction [1/cm].

    S-shaped (p0 half suction [cm], p1 steepness): van Genuchten (1987) form. Rounded (p0 oxygen
    limit, p1 best from, p2 dry limit, p3 no uptake [cm], p4 rounding): Feddes et al. (1978) form.
    """
    if code == S_SHAPED:
        return s_shaped(suction, p0, p1)
    if code == ROUNDED:
        wet, wet_slope = rounded_ramp((suction - p0) / (p1 - p0), p4)
        dry, dry_slope = rounded_ramp((p3 - suction) / (p3 - p2), p4)
        slope = wet_slope / (p1 - p0) * dry - wet * dry_slope / (p3 - p2)
        return wet * dry, slope
    return 1.0, 0.0


@inlined_kernel
def taper(suction):
    """Factor that ends all uptake at the oven-dry suction, beyond which no node may dry.

    It is 0.999 at 10 000 cm: nothing a plant would notice, but a fine soil holds water even at that
    suction, and without the factor a node that may dry no further would be asked for it.
    """
    return 1.0 - max(suction, 0.0) / OVEN_DRY_SUCTION


@kernel
def shares_met(code, p0, p1, p2, p3, p4, h, share, by_head):
    """Share of their demand that roots meet at matric heads [cm], and its derivative [1/cm].

    It is `reduction` times `taper`. The S shape, the usual one, has a loop that vectorises.
    """
    if code == S_SHAPED:
        for i in range(h.size):
            share[i], by_suction = s_shaped(-h[i], p0, p1)
            by_head[i] = -by_suction
    else:
        for i in range(h.size):
            share[i], by_suction = reduction(code, p0, p1, p2, p3, p4, -h[i])
            by_head[i] = -by_suction
    for i in range(h.size):
        end = taper(-h[i])
        by_head[i] = by_head[i] * end + share[i] / OVEN_DRY_SUCTION
        share[i] *= end
