"""Root water uptake: the share of its demand a root meets at a suction, and its derivative.

Codes: 0 no reduction, 1 S-shaped, 2 piecewise with rounded corners. Both shapes are smooth,
because Newton's method loses its way exactly where a kink holds a drying node.
"""

from soilwater.kernels.cache import inlined_kernel, kernel, sole_kernel
from soilwater.kernels.curves import DRY_END_SUCTION, OVEN_DRY_SUCTION
from soilwater.kernels.elementary import power, stretch, stretches
from soilwater.kernels.rows import (
    CAPACITY,
    COMPENSATION,
    COMPENSATION_THRESHOLD,
    DIAGONAL,
    ENDS,
    OWN,
    RESIDUAL,
    SHARE_MET,
    SHARE_MET_BY_HEAD,
    STORAGE,
    STORE_AND_UPTAKE,
    STRESS_0,
    STRESS_1,
    STRESS_2,
    STRESS_3,
    STRESS_4,
    STRESS_CODE,
    TRANSPIRATION,
    TRANSPIRATION_DEMAND,
)

NO_REDUCTION, S_SHAPED, ROUNDED = 0, 1, 2
N_PARAMETERS = 5
PER_OVEN_DRY = 1.0 / OVEN_DRY_SUCTION

LAST_UPTAKE = 5.0e6
"""Suction [cm] from which uptake falls to its end at the dry end of soils."""
PER_END = 1.0 / (DRY_END_SUCTION - LAST_UPTAKE)
TRACE_OF_WATER = 1.0e-9
"""Water around a node [cm] of which roots and air still get half of what they could take."""


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
        past = t + rounding
        return past * past / (4.0 * rounding), past / (2.0 * rounding)
    if t > 1.0 - rounding:
        rest = 1.0 + rounding - t
        return 1.0 - rest * rest / (4.0 * rounding), rest / (2.0 * rounding)
    return t, 1.0


@inlined_kernel
def s_shaped(suction, half_suction, steepness):
    """1 / (1 + (suction / half_suction)^steepness) and its derivative by suction [1/cm]."""
    wet = suction <= 0.0
    drier = half_suction if wet else suction
    relative = power(drier / half_suction, steepness)
    # One division for both.
    value_by_suction = 1.0 / ((1.0 + relative) * drier)
    value = value_by_suction * drier
    return 1.0 if wet else value, 0.0 if wet else -steepness * relative * value * value_by_suction


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
def taper(suction, ends):
    """Factor that ends all uptake at the largest suction a node may have, and its fall.

    It is 0.999 at 10 000 cm: nothing a plant would notice, but a fine soil holds water even at that
    suction, and without the factor a node that may dry no further would be asked for it. Where
    `ends` is 1 a node holds nothing from `DRY_END_SUCTION` on, and would be asked there for all or
    nothing: the factor then falls to 0 with the last water. The fall is that of the factor with
    suction, times `OVEN_DRY_SUCTION`.
    """
    rest = 1.0 - (suction if suction > 0.0 else 0.0) * PER_OVEN_DRY
    beyond = suction - LAST_UPTAKE
    near = (beyond if beyond > 0.0 else 0.0) * PER_END
    left = 1.0 - ends * near * near
    left = left if left > 0.0 else 0.0
    steeper = ends * rest * (2.0 * OVEN_DRY_SUCTION * PER_END) * near
    return rest * left, (left + steeper) if left > 0.0 else 0.0


@inlined_kernel
def tapered(share, by_suction, suction, ends):
    """A share met, with its `taper`, and its derivative by head [1/cm]."""
    end, fall = taper(suction, ends)
    return share * end, share * fall * PER_OVEN_DRY - by_suction * end


@inlined_kernel
def s_shares_met(half_suction, steepness, h, ends, share, by_head):
    """S-shaped shares of some nodes, see `shares_met`."""
    for i in range(h.size):
        met, by_suction = s_shaped(-h[i], half_suction, steepness)
        share[i], by_head[i] = tapered(met, by_suction, -h[i], ends[i])


@kernel
def shares_met(code, p0, p1, p2, p3, p4, h, ends, share, by_head):
    """Share of their demand that roots meet at matric heads [cm], and its derivative [1/cm].

    It is `reduction` times `taper`. The S shape, the usual one, has a loop that vectorises.
    """
    if code == S_SHAPED:
        for which in range(stretches(h.size)):
            begin, end = stretch(which, h.size)
            s_shares_met(
                p0, p1, h[begin:end], ends[begin:end], share[begin:end], by_head[begin:end]
            )
    else:
        for i in range(h.size):
            met, by_suction = reduction(code, p0, p1, p2, p3, p4, -h[i])
            share[i], by_head[i] = tapered(met, by_suction, -h[i], ends[i])


@inlined_kernel
def share_there(water, capacity):
    """Share of a demand that the water of a node leaves possible, and its derivative by head.

    One but for the last traces: without it a node in drained gravel would be asked, at a suction
    where roots still take all they want, for water it does not hold.
    """
    inverse = 1.0 / (water + TRACE_OF_WATER)
    return water * inverse, TRACE_OF_WATER * capacity * inverse * inverse


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


@sole_kernel
def add_uptake(h, dt, root, conditions, codes, work, flows):
    """Root water uptake."""
    flows[TRANSPIRATION] = 0.0
    demand = conditions[TRANSPIRATION_DEMAND] * conditions[COMPENSATION]
    if demand <= 0.0:
        return
    rooted = root.size
    while rooted > 0 and root[rooted - 1] == 0.0:
        rooted -= 1
    share, by_head = work[SHARE_MET, :rooted], work[SHARE_MET_BY_HEAD, :rooted]
    shares_met(
        codes[STRESS_CODE], conditions[STRESS_0], conditions[STRESS_1], conditions[STRESS_2],
        conditions[STRESS_3], conditions[STRESS_4], h[:rooted], work[ENDS, :rooted], share,
        by_head,
    )  # fmt: skip
    diagonal, residual = work[DIAGONAL], work[RESIDUAL]
    own, capacity = work[OWN], work[CAPACITY]
    storage, store_and_uptake = work[STORAGE], work[STORE_AND_UPTAKE]
    for i in range(rooted):
        there, there_by_head = share_there(storage[i], capacity[i])
        asked = dt * demand * root[i]
        taken_by_head = asked * (by_head[i] * there + share[i] * there_by_head)
        diagonal[i] += taken_by_head
        own[i] += taken_by_head
        share[i] *= there
    total = 0.0
    for i in range(rooted):
        taken = dt * demand * root[i] * share[i]
        residual[i] += taken
        store_and_uptake[i] += taken
        total += root[i] * share[i]
    flows[TRANSPIRATION] = demand * total
