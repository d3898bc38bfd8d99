"""What crosses the surface and the base of a column: one small function for each, per node.

Boundaries are functions of the boundary head, never switches: a pond is storage max(h, 0) at the
surface node, runoff and outflow are large conductances, so Newton needs no iteration over types.
A held head is a row of its own; the water it takes or gives is what closes the node's balance.
"""

from soilwater.kernels.cache import kernel, sole_kernel
from soilwater.kernels.curves import OVEN_DRY_SUCTION
from soilwater.kernels.rows import (
    BASE_CODE,
    BASE_VALUE,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_SLOPE,
    CAPACITY,
    DIAGONAL,
    DRAINAGE,
    DRAINAGE_BY_HEAD,
    ENDS,
    EVAPORATION,
    EVAPORATION_BY_HEAD,
    EVAPORATION_DEMAND,
    EVAPORATION_HALF_SUCTION,
    EVAPORATION_STEEPNESS,
    FREE_DRAINAGE,
    HELD_HEAD,
    HELD_SURFACE,
    INFLOW,
    LOWER,
    OUTFLOW,
    OWN,
    POND_LIMIT,
    RESIDUAL,
    RUNOFF,
    STORAGE,
    STORE_AND_UPTAKE,
    SUPPLY,
    SURFACE_CODE,
    SURFACE_VALUE,
    UPPER,
)
from soilwater.kernels.uptake import s_shaped, share_there, taper

OUTFLOW_CONDUCTANCE = 1.0e4
"""Outflow per head above the outlet [1/h]: 0.01 cm of head at 100 cm/h."""
RUNOFF_CONDUCTANCE = 1.0e3
"""Runoff per head above the pond limit [1/h]."""


@kernel
def runoff_over(head, pond_limit):
    """Runoff at a surface head [cm/h], and its derivative by head [1/h]."""
    excess = head - pond_limit
    if excess > 0.0:
        return RUNOFF_CONDUCTANCE * excess, RUNOFF_CONDUCTANCE
    return 0.0, 0.0


@kernel
def evaporation_from(head, demand, half_suction, steepness, water, capacity, ends):
    """Evaporation at a surface head [cm/h], and its derivative by head [1/h].

    `water` and `capacity` are the surface node's own [cm], [1]; of `ends` see `taper`.
    """
    if demand > 0.0:
        share, share_slope = s_shaped(-head, half_suction, steepness)
        end, fall = taper(-head, ends)
        there, there_by_head = share_there(water, capacity)
        evaporation = demand * share * end * there
        slope = demand * (
            share * end * there_by_head
            - (share_slope * end - share * fall / OVEN_DRY_SUCTION) * there
        )
        return evaporation, slope
    return 0.0, 0.0


@kernel
def drainage_from(code, head, value, k, slope):
    """Drainage through a base that holds no head [cm/h], and its derivative by head [1/h].

    `k` and `slope` are the conductivity at the base [cm/h] and its derivative by head [1/h].
    """
    if code == FREE_DRAINAGE:
        return k, slope
    if code == OUTFLOW and head > value:
        return OUTFLOW_CONDUCTANCE * (head - value), OUTFLOW_CONDUCTANCE
    return 0.0, 0.0


@sole_kernel
def add_surface(h, dt, conditions, codes, work, flows):
    """Pond, supply, runoff and evaporation at the surface node, or a held head there."""
    diagonal, residual, own = work[DIAGONAL], work[RESIDUAL], work[OWN]
    if codes[SURFACE_CODE] == HELD_SURFACE:
        flows[INFLOW], flows[RUNOFF] = residual[0] / dt, 0.0
        flows[EVAPORATION], flows[EVAPORATION_BY_HEAD] = 0.0, 0.0
        residual[0] = h[0] - conditions[SURFACE_VALUE]
        diagonal[0], work[UPPER, 0], own[0] = 1.0, 0.0, 0.0
        return
    if h[0] > 0.0:
        work[STORAGE, 0] += h[0]
        work[STORE_AND_UPTAKE, 0] += h[0]
        residual[0] += h[0]
        diagonal[0] += 1.0
        own[0] += 1.0
    runoff, runoff_slope = runoff_over(h[0], conditions[POND_LIMIT])
    evaporation, evaporation_slope = evaporation_from(
        h[0],
        conditions[EVAPORATION_DEMAND],
        conditions[EVAPORATION_HALF_SUCTION],
        conditions[EVAPORATION_STEEPNESS],
        work[STORAGE, 0],
        work[CAPACITY, 0],
        work[ENDS, 0],
    )
    residual[0] -= dt * (conditions[SUPPLY] - runoff - evaporation)
    diagonal[0] += dt * (runoff_slope + evaporation_slope)
    own[0] += dt * evaporation_slope
    work[STORE_AND_UPTAKE, 0] += dt * evaporation
    flows[INFLOW], flows[RUNOFF] = conditions[SUPPLY], runoff
    flows[EVAPORATION], flows[EVAPORATION_BY_HEAD] = evaporation, evaporation_slope


@kernel
def add_base(h, dt, conditions, codes, work, flows):
    """Drainage through the base, or a held head there."""
    last = h.size - 1
    code, value = codes[BASE_CODE], conditions[BASE_VALUE]
    if code == HELD_HEAD:
        flows[DRAINAGE], flows[DRAINAGE_BY_HEAD] = -work[RESIDUAL, last] / dt, 0.0
        work[RESIDUAL, last] = h[last] - value
        work[DIAGONAL, last], work[LOWER, last], work[OWN, last] = 1.0, 0.0, 0.0
        return
    k, slope = work[BOTTOM_CONDUCTIVITY, last - 1], work[BOTTOM_SLOPE, last - 1]
    drainage, by_head = drainage_from(code, h[last], value, k, slope)
    work[RESIDUAL, last] += dt * drainage
    work[DIAGONAL, last] += dt * by_head
    flows[DRAINAGE], flows[DRAINAGE_BY_HEAD] = drainage, by_head
