"""What weather brings and asks for within a step; the one place that reads mm."""

import math

from soilwater.kernels.cache import kernel
from soilwater.kernels.rows import (
    END,
    EVAPORATION_AMOUNT,
    EVAPORATION_DEMAND,
    LAST,
    PHASE_END,
    PHASE_START,
    START,
    SUPPLY,
    TOTAL_EVAPORATION_DEMAND,
    TOTAL_TRANSPIRATION_DEMAND,
    TRANSPIRATION_AMOUNT,
    TRANSPIRATION_DEMAND,
    WATER_AMOUNT,
)

CM_IN_MM = 0.1
"""Forcing comes in mm and is turned into cm where it is read: a demand scaled before it is cut into
steps would come out rounded otherwise."""


@kernel
def forcing_share(interval, time):
    """Share of an interval's demand that has passed at a time within it."""
    x = (time - interval[START]) / (interval[END] - interval[START])
    p0, p1 = interval[PHASE_START], interval[PHASE_END]
    if p0 == p1:
        return x
    c0 = math.cos(math.pi * p0)
    return (c0 - math.cos(math.pi * (p0 + (p1 - p0) * x))) / (c0 - math.cos(math.pi * p1))


@kernel
def supply_rate(interval):
    """Rate at which water is supplied within an interval [cm/h]."""
    return CM_IN_MM * interval[WATER_AMOUNT] / (interval[END] - interval[START])


@kernel
def set_demand(conditions, ledger, interval, share, weight, effective_dt):
    """Rates of supply and demand that make the amounts of the step exact; False if one is < 0.

    `share` is that of the interval's demand which falls into the step.
    """
    conditions[SUPPLY] = supply_rate(interval)
    transpired = CM_IN_MM * share * interval[TRANSPIRATION_AMOUNT]
    transpired -= weight * ledger[LAST + TOTAL_TRANSPIRATION_DEMAND]
    evaporated = CM_IN_MM * share * interval[EVAPORATION_AMOUNT]
    evaporated -= weight * ledger[LAST + TOTAL_EVAPORATION_DEMAND]
    if transpired < 0.0 or evaporated < 0.0:
        return False
    conditions[TRANSPIRATION_DEMAND] = transpired / effective_dt
    conditions[EVAPORATION_DEMAND] = evaporated / effective_dt
    return True
