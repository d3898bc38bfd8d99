"""End a step along the tangent of its last Newton step, where nothing bends on the way."""

from soilwater.kernels.boundaries import OUTFLOW_CONDUCTANCE
from soilwater.kernels.cache import inlined_kernel, kernel, sole_kernel
from soilwater.kernels.rows import (
    BASE_CODE,
    BASE_VALUE,
    BEFORE,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_SLOPE,
    CAPACITY,
    CAREFUL,
    CHANGE,
    COMPENSATION,
    DRAINAGE,
    DRAINAGE_BY_HEAD,
    DRY_SUCTION,
    ENDS,
    EVAPORATION,
    EVAPORATION_BY_HEAD,
    EVAPORATION_DEMAND,
    FLUX,
    HELD_HEAD,
    HELD_SURFACE,
    INFLOW,
    LOWER,
    ON_CURVE,
    OUTFLOW,
    OWN,
    RESIDUAL,
    STORAGE,
    STORE_AND_UPTAKE,
    SURFACE_CODE,
    TOP_CONDUCTIVITY,
    TOP_SLOPE,
    TRANSPIRATION,
    TRANSPIRATION_DEMAND,
    UPPER,
    VOLUME,
)
from soilwater.kernels.uptake import LAST_UPTAKE
from soilwater.kernels.water import water_around_nodes

LEAST_WATER_KEPT = 0.2
"""Share of its water a node keeps at least in one Newton step, along its tangent or its curve."""
MOST_BEND = 0.1
"""Water content by which a curve may leave the tangent that ends a step, as a share of the largest
correction allowed there."""
MORE_WHERE_DRY = 3.0
"""Factor by which a dry node may go beyond the largest correction, and its curve bend more, where
it is not flows that bend."""
MOST_SHIFT = 0.01
"""Share of its suction by which a node that is not dry may be off for that reason: near saturation
a little water is a great change of head, and of conductivity."""
MOST_LEAP = 2.0
"""Factor by which the suction of a dry node may change along a tangent."""
LEAST_SLOPE = 0.3
"""Least slope at the end of a step, as a share of its mean, that a parabola is trusted with."""
AS_GOOD_AS_NONE = 1.0e-8
"""Water content, or share of what a node holds, that does not decide."""
ROUND_OFF = 1.0e-14
"""Share of what a node holds that may come out of a difference of it."""


@inlined_kernel
def smaller(a, b):
    """Lesser of two numbers, without a branch: `min` has one for what is no number."""
    return a if a < b else b


@kernel
def end_flows(h, change, conditions, codes, flows):
    """Evaporation and drainage along the tangent [cm/h], and each as its bounds allow."""
    evaporation = flows[EVAPORATION] + flows[EVAPORATION_BY_HEAD] * change[0]
    bounded_evaporation = min(max(evaporation, 0.0), conditions[EVAPORATION_DEMAND])
    drainage = flows[DRAINAGE] + flows[DRAINAGE_BY_HEAD] * change[h.size - 1]
    bounded_drainage = max(drainage, 0.0)
    if codes[BASE_CODE] == OUTFLOW:
        above_outlet = max(h[h.size - 1] - conditions[BASE_VALUE], 0.0)
        bounded_drainage = OUTFLOW_CONDUCTANCE * above_outlet
    return evaporation, bounded_evaporation, drainage, bounded_drainage


def make_runs_straight(water_around_nodes):
    """Make `runs_straight`, from what says how much water is around each node at some heads.

    Parameters
    ----------
    water_around_nodes : kernel of (h, z, soil, soils, water)
        Fills `water` [cm].

    Returns
    -------
    kernel of (h, dt, column, soils, most_correction, work, flows)
    """

    def runs_straight(h, dt, column, soils, most_correction, work, flows):
        """Whether a step may end along the tangent of the Newton step that led to `h`.

        It may not where that step changed a water content by more than `most_correction` (that of a
        dry node by more than three of it), where the Jacobian is not the whole truth, and where a
        kink lies on the way: at a pond, a held head, an outlet or the end of a demand, in a node
        that is nearly emptied, in a dry one whose suction leaps, and where a curve or a flow leaves
        its tangent.

        What is as good as zero must not decide: at rest it comes out on either side of a bound.
        """
        n = h.size
        conditions, codes = column.conditions, column.codes
        volume, dry_suction, ends = work[VOLUME], work[DRY_SUCTION], work[ENDS]
        change, before, on_curve = work[CHANGE], work[BEFORE], work[ON_CURVE]
        storage, store_and_uptake = work[STORAGE], work[STORE_AND_UPTAKE]
        own, capacity, residual = work[OWN], work[CAPACITY], work[RESIDUAL]
        conductivity, slope = work[TOP_CONDUCTIVITY], work[TOP_SLOPE]
        # The last node has no interval below it.
        conductivity[n - 1] = work[BOTTOM_CONDUCTIVITY, n - 2]
        slope[n - 1] = work[BOTTOM_SLOPE, n - 2]
        if (
            codes[SURFACE_CODE] == HELD_SURFACE
            or codes[BASE_CODE] == HELD_HEAD
            or conditions[CAREFUL] > 0.0
            or abs(conditions[COMPENSATION] - 1.0) > AS_GOOD_AS_NONE
            or max(before[0], h[0]) > 0.0
        ):
            return False
        evaporation, bounded_evaporation, drainage, bounded_drainage = end_flows(
            h, change, conditions, codes, flows
        )
        if (
            dt * abs(bounded_evaporation - evaporation) > AS_GOOD_AS_NONE * storage[0]
            or dt * abs(bounded_drainage - drainage) > AS_GOOD_AS_NONE * storage[n - 1]
        ):
            return False
        bent, root = 0, column.root
        asked = (1.0 + AS_GOOD_AS_NONE) * dt * conditions[TRANSPIRATION_DEMAND]
        for i in range(n):
            moved = own[i] * change[i]
            kept = storage[i] + capacity[i] * change[i]
            taken = store_and_uptake[i] - storage[i] + (own[i] - capacity[i]) * change[i]
            by_roots = taken - (dt * evaporation if i == 0 else 0.0)
            straight = kept > LEAST_WATER_KEPT * storage[i]
            # No root takes less than nothing or more than it is asked for.
            nothing = ROUND_OFF * store_and_uptake[i]
            straight &= (by_roots >= -nothing) & (by_roots <= asked * root[i] + nothing)
            driest = -smaller(h[i], before[i])
            dry = driest > dry_suction[i]
            leaps = (h[i] < MOST_LEAP * before[i]) | (before[i] < MOST_LEAP * h[i])
            straight &= not (dry & leaps)
            most = most_correction * (MORE_WHERE_DRY if dry else 1.0)
            straight &= abs(moved) <= most * volume[i]
            # What neighbours bring or take bends with conductivity, before water does.
            by_flow = abs(moved + residual[i])
            of_it = smaller(abs(slope[i] * change[i]), conductivity[i])
            straight &= by_flow * of_it <= most_correction * volume[i] * conductivity[i]
            # There uptake ends, and water does: a tangent would go on to less than can be held.
            straight &= (driest <= LAST_UPTAKE) | (ends[i] == 0.0)
            bent += 0 if straight else 1
        if bent > 0:
            return False
        water_around_nodes(h, column.z, column.soil, soils, on_curve)
        for i in range(n):
            bend = abs(on_curve[i] - (storage[i] + capacity[i] * change[i]))
            wet = -h[i] <= dry_suction[i]
            most = most_correction * (1.0 if wet else MORE_WHERE_DRY)
            straight = bend <= MOST_BEND * most * volume[i]
            shift = bend - AS_GOOD_AS_NONE * volume[i]
            suction = -h[i] if h[i] < 0.0 else 0.0
            straight &= (not wet) | (shift <= MOST_SHIFT * capacity[i] * suction)
            bent += 0 if straight else 1
        return bent == 0

    return sole_kernel(runs_straight)


runs_straight = make_runs_straight(water_around_nodes)


@kernel
def follow_tangent(h, dt, stored, column, work, flows):
    """Take water and flows at the end of a step as its last Newton step has them."""
    n = h.size
    conditions, codes = column.conditions, column.codes
    change, storage, store_and_uptake = work[CHANGE], work[STORAGE], work[STORE_AND_UPTAKE]
    own, capacity, residual = work[OWN], work[CAPACITY], work[RESIDUAL]
    lower, upper, flux = work[LOWER], work[UPPER], work[FLUX]
    evaporation, bounded_evaporation, _, drainage = end_flows(h, change, conditions, codes, flows)
    if conditions[TRANSPIRATION_DEMAND] > 0.0:
        more_by_roots = dt * (flows[EVAPORATION] - evaporation)
        for i in range(n):
            more_by_roots += (own[i] - capacity[i]) * change[i]
        flows[TRANSPIRATION] = max(flows[TRANSPIRATION] + more_by_roots / dt, 0.0)
    for i in range(n):
        storage[i] += capacity[i] * change[i]
    for i in range(n):
        store_and_uptake[i] += own[i] * change[i]
    store_and_uptake[0] += dt * (bounded_evaporation - evaporation)
    flows[EVAPORATION], flows[DRAINAGE] = bounded_evaporation, drainage
    inflow = dt * flows[INFLOW]
    for i in range(n - 1):
        outflow = dt * flux[i] - lower[i + 1] * change[i] + upper[i] * change[i + 1]
        residual[i] = store_and_uptake[i] - stored[i] - (inflow - outflow)
        inflow = outflow
    residual[n - 1] = store_and_uptake[n - 1] - stored[n - 1] - (inflow - dt * drainage)


@kernel
def leave_the_rest(h, work):
    """Say what heads at the end of a tangent hold on their curves; what it is off by is left over.

    With it goes how that changes with each head there: by the parabola through both ends.
    """
    before, on_curve, storage = work[BEFORE], work[ON_CURVE], work[STORAGE]
    store_and_uptake, capacity, residual = work[STORE_AND_UPTAKE], work[CAPACITY], work[RESIDUAL]
    change = work[CHANGE]
    for i in range(h.size):
        rest, move = on_curve[i] - storage[i], h[i] - before[i]
        # So far `storage` has what the tangent makes of it.
        gain = rest + capacity[i] * change[i]
        mean = gain / move if move * gain > 0.0 else capacity[i]
        at_end = 2.0 * mean - capacity[i]
        capacity[i] = at_end if at_end > LEAST_SLOPE * mean else mean
        storage[i] = on_curve[i]
        store_and_uptake[i] += rest
        residual[i] += rest
