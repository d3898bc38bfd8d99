"""Ledger of a column: what came, what went, and what the nodes hold because of it.

It is kept in fluxes: after a step the water a node holds is what its fluxes say, not what its head
says, and the small difference that Newton's method or a tangent leaves is carried into the next
step. Errors of the iteration are thus mended, never added up. Where a balance is to be read and is
not closed as it is, heads are set to the water the fluxes say, so that the curves hold what the
ledger holds: all nodes at once and by slopes that are known already, which nearly always does, else
node by node. A dry node that would be left owing more than half of what it holds takes nothing on
credit: roots and air go without.
"""

import math

from soilwater.kernels.cache import kernel, sole_kernel
from soilwater.kernels.curves import OVEN_DRY_SUCTION, hydraulics
from soilwater.kernels.rows import (
    BASE_CODE,
    BEFORE,
    CAPACITY,
    CLOSURE_ERROR,
    DRAINAGE,
    EVAPORATION,
    EVAPORATION_DEMAND,
    GUESS,
    HELD_HEAD,
    HELD_SURFACE,
    INFLOW,
    INITIAL_STORAGE,
    LAST,
    N_FLOWS,
    ON_CURVE,
    RESIDUAL,
    STORAGE,
    STORAGE_CHANGE,
    STORE_AND_UPTAKE,
    SUPPLY,
    SURFACE_CODE,
    TOTAL_DRAINAGE,
    TOTAL_EVAPORATION,
    TOTAL_EVAPORATION_DEMAND,
    TOTAL_INFLOW,
    TOTAL_RUNOFF,
    TOTAL_TRANSPIRATION,
    TOTAL_TRANSPIRATION_DEMAND,
    TRANSPIRATION,
    TRANSPIRATION_DEMAND,
    VOLUME,
)
from soilwater.kernels.water import water_around_nodes

CORRECTIONS, MOST_CORRECTIONS = 2, 5
"""Corrections of all heads at once by which a balance is closed, and most of them before it is done
node by node."""
MOST_CORRECTION = 2.0
"""Factor by which each may change a suction."""
MOST_TRIALS = 120
"""Most trials for the head at which a node holds a given water; halving alone needs 80."""
MOST_NEWTON_TRIALS = 40
"""Of these, those by Newton's method: beside a kink it may go to and fro between a flat and a steep
part of a curve, and draw the bounds no closer. Of 2400 nodes at random 17 took more than 20, in dry
soil, and none more than this."""
LEAST_SUCTION = 1.0e-9
"""Suction [cm] as good as none in that search."""
CLOSED = 1.0e-8
"""Closure error as a share of the water moved that needs no mending."""
ROUND_OFF = 1.0e-14
"""Closure error as a share of the water held that is round-off."""
LEAST_WATER = 1.0e-15
"""Water, as a share of what a node holds and its volume, as good as none."""


def make_begin(assemble):
    """Make the kernel that puts the water of a fresh column into its ledger, see `make_newton`."""

    def begin(state, column, soils, work, flows):
        """Put the water of a fresh column into its ledger."""
        conditions, ledger = column.conditions, state.ledger
        conditions[SUPPLY] = 0.0
        conditions[TRANSPIRATION_DEMAND] = 0.0
        conditions[EVAPORATION_DEMAND] = 0.0
        assemble(state.h, 1.0, state.stored, column, soils, work, flows)
        ledger[INITIAL_STORAGE] = 0.0
        for i in range(state.h.size):
            state.stored[i] = work[STORAGE, i]
            ledger[INITIAL_STORAGE] += state.stored[i]

    return kernel(begin)


@kernel
def hold_to_demand(effective_dt, conditions, work, flows):
    """Leave in the soil what roots took beyond their demand.

    The factor by which they make up for dry ones is held while Newton's method comes to its end,
    and may then be off by its tolerance; and a tangent may pass the demand by a trace.
    """
    demand = conditions[TRANSPIRATION_DEMAND]
    if flows[TRANSPIRATION] <= demand:
        return
    balance, storage, store_and_uptake = work[RESIDUAL], work[STORAGE], work[STORE_AND_UPTAKE]
    spared = 1.0 - demand / flows[TRANSPIRATION]
    for i in range(storage.size):
        evaporated = effective_dt * flows[EVAPORATION] if i == 0 else 0.0
        left = spared * (store_and_uptake[i] - storage[i] - evaporated)
        balance[i] -= left
        store_and_uptake[i] -= left
    flows[TRANSPIRATION] = demand


@kernel
def settle_dry_nodes(effective_dt, work, flows):
    """Let roots and air go without the little a dry node was asked for and does not hold.

    Newton may leave a node owing more than it has, by less than its tolerance. What it owes was
    taken by roots (and air, at the surface), so the amounts taken are set to what was there.
    """
    balance, storage, store_and_uptake = work[RESIDUAL], work[STORAGE], work[STORE_AND_UPTAKE]
    for i in range(storage.size):
        taken = store_and_uptake[i] - storage[i]
        if balance[i] > 0.0 and taken > 0.0 and balance[i] > 0.5 * storage[i]:
            owed = min(balance[i], taken)
            evaporated = effective_dt * flows[EVAPORATION] if i == 0 else 0.0
            from_air = min(owed * evaporated / taken, evaporated)
            flows[EVAPORATION] -= from_air / effective_dt
            flows[TRANSPIRATION] -= (owed - from_air) / effective_dt
            balance[i] -= owed
            store_and_uptake[i] -= owed


@kernel
def settle_debts(stored, ledger):
    """Let the nearest node that has it give what a node owes beyond all it holds.

    Returns whether any owed. Between empty nodes a tangent may end at more than there was to flow
    on, and what is carried on from the last step may take more than there is. No step can make it
    good, as no head holds less than nothing. What no node can give, roots or air did not take.
    """
    owing, last = 0, stored.size - 1
    for i in range(last + 1):
        owing += 1 if stored[i] < 0.0 else 0
    if owing == 0:
        return False
    for i in range(last):
        if stored[i] < 0.0:
            stored[i + 1] += stored[i]
            stored[i] = 0.0
    for i in range(last, 0, -1):
        if stored[i] < 0.0:
            stored[i - 1] += stored[i]
            stored[i] = 0.0
    if stored[0] < 0.0:
        by_roots = ledger[TOTAL_TRANSPIRATION] > ledger[TOTAL_EVAPORATION]
        ledger[TOTAL_TRANSPIRATION if by_roots else TOTAL_EVAPORATION] += stored[0]
        stored[0] = 0.0
    return True


@kernel
def book(ledger, total, weight, more):
    """Enter the amount of a step [cm]: a share of the last one, and `more`; returns the amount."""
    amount = weight * ledger[LAST + total] + more
    ledger[LAST + total] = amount
    ledger[total] += amount
    return amount


@sole_kernel
def accept(state, dt, weight, weight_of_uptake, effective_dt, column, work, flows):
    """Take a step that ends at the heads `GUESS`; False if it is not finite.

    It carries on the share `weight` of what flowed in the last step, and `weight_of_uptake`, the
    same or none, of what roots and air took.
    """
    h, stored, h_before = state.h, state.stored, state.h_before
    rate, uptake = state.rate, state.uptake
    conditions, codes, ledger = column.conditions, column.codes, state.ledger
    n = h.size
    balance, storage, guess = work[RESIDUAL], work[STORAGE], work[GUESS]
    store_and_uptake = work[STORE_AND_UPTAKE]
    carried = dt - effective_dt if weight_of_uptake > 0.0 else 0.0
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
    per_dt = 1.0 / dt
    for i in range(n):
        uptake[i] = (carried * uptake[i] + store_and_uptake[i] - storage[i]) * per_dt
    for i in range(n):
        by_fluxes = storage[i] - balance[i]
        rate[i] = (by_fluxes - stored[i]) * per_dt
        stored[i] = by_fluxes
    for i in range(n):
        h_before[i] = h[i]
    for i in range(n):
        h[i] = guess[i]
    astray = 0
    for i in range(n):
        astray += 0 if math.isfinite(stored[i]) else 1
    # Of all amounts: not finite as soon as one of them is not.
    total = 0.0
    for flow in range(N_FLOWS):
        # The totals of the flows lie in their order, and what roots and air take side by side.
        taken = TRANSPIRATION <= flow <= EVAPORATION
        share = weight_of_uptake if taken else weight
        total += book(ledger, TOTAL_INFLOW + flow, share, effective_dt * flows[flow])
    asked = effective_dt * conditions[TRANSPIRATION_DEMAND]
    total += book(ledger, TOTAL_TRANSPIRATION_DEMAND, weight_of_uptake, asked)
    asked = effective_dt * conditions[EVAPORATION_DEMAND]
    total += book(ledger, TOTAL_EVAPORATION_DEMAND, weight_of_uptake, asked)
    return astray == 0 and math.isfinite(total)


@kernel
def node_water(head, above, soil_above, below, soil_below, pond, soils):
    """Water a node holds at a head [cm], and its derivative by head [1].

    `above` and `below` are the volumes of its two halves, zero where there is no interval; `pond`
    is one where water may stand on the node.
    """
    tables, scalars = soils.tables, soils.scalars
    water, capacity = pond * max(head, 0.0), pond if head > 0.0 else 0.0
    if above > 0.0:
        w, c = hydraulics(head, tables, scalars, soil_above)[:2]
        water, capacity = water + above * w, capacity + above * c
    if below > 0.0:
        w, c = hydraulics(head, tables, scalars, soil_below)[:2]
        water, capacity = water + below * w, capacity + below * c
    return water, capacity


@kernel
def head_that_holds(target, head, above, soil_above, below, soil_below, pond, soils):
    """Head at which a node holds a given water [cm]: Newton's method, kept between two bounds."""
    full, capacity = node_water(0.0, above, soil_above, below, soil_below, pond, soils)
    if target >= full:
        return (target - full) / (capacity + pond)
    dry, wet = -OVEN_DRY_SUCTION, -LEAST_SUCTION
    for trial in range(MOST_TRIALS):
        if trial >= MOST_NEWTON_TRIALS or not dry < head < wet:
            head = -((dry * wet) ** 0.5)
        water, capacity = node_water(head, above, soil_above, below, soil_below, pond, soils)
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
def correct_heads(h, pond, work):
    """Move heads toward the water that fluxes say is held, by the slope of the curve at each.

    What a node has left, `RESIDUAL`, may be so little that no head is better; then it stays.
    """
    storage, volume, left = work[STORAGE], work[VOLUME], work[RESIDUAL]
    slope, before = work[CAPACITY], work[BEFORE]
    for i in range(h.size):
        before[i] = h[i]
        moved = h[i] - left[i] / (slope[i] + (pond if i == 0 and h[i] > 0.0 else 0.0))
        least = max(MOST_CORRECTION * h[i], -OVEN_DRY_SUCTION)
        most = h[i] / MOST_CORRECTION
        within = min(max(moved, least), most) if h[i] < 0.0 else moved
        h[i] = within if abs(left[i]) > LEAST_WATER * (storage[i] + volume[i]) else h[i]


@kernel
def take_stock(h, pond, work):
    """Enter the water on the curves around nodes whose heads were corrected; returns all of it.

    With it comes a better slope, that of the secant.
    """
    storage, on_curve, left = work[STORAGE], work[ON_CURVE], work[RESIDUAL]
    slope, before = work[CAPACITY], work[BEFORE]
    on_curve[0] += pond * max(h[0], 0.0)
    total = 0.0
    for i in range(h.size):
        gain, move = on_curve[i] - storage[i], h[i] - before[i]
        if move != 0.0:
            slope[i] = gain / move if gain / move > 0.0 else slope[i]
            left[i] += gain
            storage[i] = on_curve[i]
        total += storage[i]
    return total


def make_close_at_once(water_around_nodes):
    """Make `close_at_once`, from what says how much water is around each node, see `tangent`."""

    def close_at_once(state, column, soils, work):
        """Close the balance that is read now by all heads at once; False where it stays open.

        `STORAGE` says what they hold, `RESIDUAL` what of it they have to give up, and `CAPACITY` by
        how much it changes with them. Where the flows of a column at rest leave nothing but
        round-off, its heads stand.
        """
        h, ledger = state.h, state.ledger
        pond = 0.0 if column.codes[SURFACE_CODE] == HELD_SURFACE else 1.0
        total = 0.0
        for i in range(h.size):
            total += work[STORAGE, i]
        if measure_closure(total, ledger):
            return True
        for correction in range(MOST_CORRECTIONS):
            correct_heads(h, pond, work)
            water_around_nodes(h, column.z, column.soil, soils, work[ON_CURVE])
            total = take_stock(h, pond, work)
            if correction + 1 >= CORRECTIONS and measure_closure(total, ledger):
                return True
        return False

    return kernel(close_at_once)


close_at_once = make_close_at_once(water_around_nodes)


@kernel
def close_balance(state, column, soils, work):
    """Close the balance that is read now: heads give way to the water that fluxes say is held.

    For the rows it takes see `close_at_once`.
    """
    if close_at_once(state, column, soils, work):
        return
    h, stored = state.h, state.stored
    z, soil, codes = column.z, column.soil, column.codes
    n = h.size
    total = 0.0
    for i in range(n):
        above = 0.5 * (z[i] - z[i - 1]) if i > 0 else 0.0
        below = 0.5 * (z[i + 1] - z[i]) if i < n - 1 else 0.0
        pond = 1.0 if i == 0 and codes[SURFACE_CODE] != HELD_SURFACE else 0.0
        soil_above, soil_below = soil[max(i - 1, 0)], soil[min(i, n - 2)]
        if work[RESIDUAL, i] != 0.0:
            h[i] = head_that_holds(
                stored[i], h[i], above, soil_above, below, soil_below, pond, soils
            )
        total += node_water(h[i], above, soil_above, below, soil_below, pond, soils)[0]
    measure_closure(total, state.ledger)
