"""Ledger of a column: what came, what went, and what the nodes hold because of it.

It is kept in fluxes: after a step the water a node holds is what its fluxes say, not what its head
says, and the small difference that Newton's method or a tangent leaves is carried into the next
step. Errors of the iteration are thus mended, never added up. Where a balance is to be read and is
not closed as it is, heads are set to the water the fluxes say, so that the curves hold what the
ledger holds: such a step must not end along a tangent, for what its heads leave is read off its
residuals. A dry node that would be left owing more than half of what it holds takes nothing on
credit: roots and air go without.
"""

import math

from soilwater.kernels.cache import kernel
from soilwater.kernels.column import (
    BASE_CODE,
    DRAINAGE,
    EVAPORATION,
    EVAPORATION_DEMAND,
    HELD_HEAD,
    HELD_SURFACE,
    INFLOW,
    N_FLOWS,
    SUPPLY,
    SURFACE_CODE,
    TRANSPIRATION,
    TRANSPIRATION_DEMAND,
    assemble,
)
from soilwater.kernels.column import RESIDUAL as RESIDUAL_ROW
from soilwater.kernels.curves import OVEN_DRY_SUCTION, hydraulics
from soilwater.kernels.newton import (
    CHANGE,
    MATRIX,
    STORAGE_ROW,
    STORE_AND_UPTAKE_ROW,
    WATER,
)

MOST_TRIALS = 100
"""Most trials for the head at which a node holds a given water; halving alone needs 80."""
LEAST_SUCTION = 1.0e-9
"""Suction [cm] as good as none in that search."""
CLOSED = 1.0e-8
"""Closure error as a share of the water moved that needs no mending."""
ROUND_OFF = 1.0e-14
"""Closure error as a share of the water held that is round-off."""
LEAST_WATER = 1.0e-15
"""Water, as a share of what a node holds and its volume, as good as none."""

# The ledger [cm]: totals since the start of the flows of a column, in their order, and of the two
# demands; the same amounts in the last step; storage change, closure error and the storage at the
# start (NaN: a fresh column).
TOTAL_INFLOW, TOTAL_RUNOFF, TOTAL_TRANSPIRATION, TOTAL_EVAPORATION, TOTAL_DRAINAGE = range(N_FLOWS)
TOTAL_TRANSPIRATION_DEMAND, TOTAL_EVAPORATION_DEMAND = N_FLOWS, N_FLOWS + 1
N_TOTALS = N_FLOWS + 2
LAST = N_TOTALS
STORAGE_CHANGE, CLOSURE_ERROR, INITIAL_STORAGE, N_LEDGER = range(2 * N_TOTALS, 2 * N_TOTALS + 4)


@kernel
def begin(h, stored, z, soil, root, conditions, codes, tables, scalars, ledger, work, flows):
    """Put the water of a fresh column into its ledger."""
    conditions[SUPPLY] = 0.0
    conditions[TRANSPIRATION_DEMAND] = 0.0
    conditions[EVAPORATION_DEMAND] = 0.0
    assemble(
        h, 1.0, stored, z, soil, root, conditions, codes, tables, scalars,
        work[MATRIX:WATER], work[WATER:CHANGE], flows,
    )  # fmt: skip
    ledger[INITIAL_STORAGE] = 0.0
    for i in range(h.size):
        stored[i] = work[STORAGE_ROW, i]
        ledger[INITIAL_STORAGE] += stored[i]


@kernel
def hold_to_demand(effective_dt, conditions, work, flows):
    """Leave in the soil what roots took beyond their demand.

    The factor by which they make up for dry ones is held while Newton's method comes to its end,
    and may then be off by its tolerance; and a tangent may pass the demand by a trace.
    """
    demand = conditions[TRANSPIRATION_DEMAND]
    if flows[TRANSPIRATION] <= demand:
        return
    balance, storage, held = work[RESIDUAL_ROW], work[STORAGE_ROW], work[STORE_AND_UPTAKE_ROW]
    spared = 1.0 - demand / flows[TRANSPIRATION]
    for i in range(storage.size):
        evaporated = effective_dt * flows[EVAPORATION] if i == 0 else 0.0
        left = spared * (held[i] - storage[i] - evaporated)
        balance[i] -= left
        held[i] -= left
    flows[TRANSPIRATION] = demand


@kernel
def settle_dry_nodes(effective_dt, work, flows):
    """Let roots and air go without the little a dry node was asked for and does not hold.

    Newton may leave a node owing more than it has, by less than its tolerance. What it owes was
    taken by roots (and air, at the surface), so the amounts taken are set to what was there.
    """
    balance, storage, held = work[RESIDUAL_ROW], work[STORAGE_ROW], work[STORE_AND_UPTAKE_ROW]
    for i in range(storage.size):
        taken = held[i] - storage[i]
        if balance[i] > 0.0 and taken > 0.0 and balance[i] > 0.5 * storage[i]:
            owed = min(balance[i], taken)
            evaporated = effective_dt * flows[EVAPORATION] if i == 0 else 0.0
            from_air = min(owed * evaporated / taken, evaporated)
            flows[EVAPORATION] -= from_air / effective_dt
            flows[TRANSPIRATION] -= (owed - from_air) / effective_dt
            balance[i] -= owed


@kernel
def accept(
    h, guess, stored, h_before, rate, dt, weight, effective_dt, conditions, codes, ledger, work,
    flows,
):  # fmt: skip
    """Take a step that ends at the heads `guess`; False if it is not finite."""
    n = h.size
    balance, storage = work[RESIDUAL_ROW], work[STORAGE_ROW]
    held_surface, held_base = codes[SURFACE_CODE] == HELD_SURFACE, codes[BASE_CODE] == HELD_HEAD
    # The row of a held node is no balance of water.
    balance[0] = 0.0 if held_surface else balance[0]
    balance[n - 1] = 0.0 if held_base else balance[n - 1]
    hold_to_demand(effective_dt, conditions, work, flows)
    # What roots leave at a held node goes where its water comes from.
    if held_surface:
        flows[INFLOW] += balance[0] / effective_dt
        balance[0] = 0.0
    if held_base:
        flows[DRAINAGE] -= balance[n - 1] / effective_dt
        balance[n - 1] = 0.0
    settle_dry_nodes(effective_dt, work, flows)
    held = 0.0
    for i in range(n):
        by_fluxes = storage[i] - balance[i]
        held += by_fluxes
        rate[i] = (by_fluxes - stored[i]) / dt
        stored[i] = by_fluxes
        h_before[i] = h[i]
        h[i] = guess[i]
    for k in range(N_TOTALS):
        flow = flows[k] if k < N_FLOWS else conditions[TRANSPIRATION_DEMAND + k - N_FLOWS]
        amount = weight * ledger[LAST + k] + effective_dt * flow
        ledger[LAST + k] = amount
        ledger[k] += amount
        held += amount
    return math.isfinite(held)


@kernel
def node_water(head, above, soil_above, below, soil_below, pond, tables, scalars):
    """Water a node holds at a head [cm], and its derivative by head [1].

    `above` and `below` are the volumes of its two halves, zero where there is no interval; `pond`
    is one where water may stand on the node.
    """
    water, capacity = pond * max(head, 0.0), pond if head > 0.0 else 0.0
    if above > 0.0:
        w, c = hydraulics(head, tables, scalars, soil_above)[:2]
        water, capacity = water + above * w, capacity + above * c
    if below > 0.0:
        w, c = hydraulics(head, tables, scalars, soil_below)[:2]
        water, capacity = water + below * w, capacity + below * c
    return water, capacity


@kernel
def head_that_holds(target, head, above, soil_above, below, soil_below, pond, tables, scalars):
    """Head at which a node holds a given water [cm]: Newton's method, kept between two bounds."""
    full, capacity = node_water(0.0, above, soil_above, below, soil_below, pond, tables, scalars)
    if target >= full:
        return (target - full) / (capacity + pond)
    dry, wet = -OVEN_DRY_SUCTION, -LEAST_SUCTION
    for _ in range(MOST_TRIALS):
        if not dry < head < wet:
            head = -((dry * wet) ** 0.5)
        water, capacity = node_water(
            head, above, soil_above, below, soil_below, pond, tables, scalars
        )
        excess = water - target
        if abs(excess) <= LEAST_WATER * (water + above + below):
            break
        if excess > 0.0:
            wet = head
        else:
            dry = head
        head -= excess / capacity
    return min(max(head, dry), wet)


@kernel
def measure_closure(total, ledger):
    """Compare the water a column holds with its flows; True where the balance is closed."""
    change = total - ledger[INITIAL_STORAGE]
    losses = (
        ledger[TOTAL_RUNOFF]
        + ledger[TOTAL_TRANSPIRATION]
        + ledger[TOTAL_EVAPORATION]
        + ledger[TOTAL_DRAINAGE]
    )
    ledger[STORAGE_CHANGE] = change
    ledger[CLOSURE_ERROR] = change - (ledger[TOTAL_INFLOW] - losses)
    moved = abs(change) + ledger[TOTAL_INFLOW]
    return abs(ledger[CLOSURE_ERROR]) <= CLOSED * moved + ROUND_OFF * abs(total)


@kernel
def close_balance(h, stored, z, soil, codes, tables, scalars, ledger, work):
    """Close the balance that is read now: heads give way to the water that fluxes say is held.

    Where the flows of a column at rest leave nothing but round-off, its heads stand.
    """
    n = h.size
    total = 0.0
    for i in range(n):
        total += work[STORAGE_ROW, i]
    if measure_closure(total, ledger):
        return
    total = 0.0
    for i in range(n):
        above = 0.5 * (z[i] - z[i - 1]) if i > 0 else 0.0
        below = 0.5 * (z[i + 1] - z[i]) if i < n - 1 else 0.0
        pond = 1.0 if i == 0 and codes[SURFACE_CODE] != HELD_SURFACE else 0.0
        soil_above, soil_below = soil[max(i - 1, 0)], soil[min(i, n - 2)]
        if work[RESIDUAL_ROW, i] != 0.0:
            h[i] = head_that_holds(
                stored[i], h[i], above, soil_above, below, soil_below, pond, tables, scalars
            )
        total += node_water(h[i], above, soil_above, below, soil_below, pond, tables, scalars)[0]
    measure_closure(total, ledger)
