"""One implicit step of a column: where its iteration may end, and what the ledger takes of it."""

import numpy as np
import pytest
from single_column import (
    ALL_SOILS,
    ROOT,
    SOIL,
    STATES,
    Z,
    assembled,
    conditions_and_codes,
)

from soilwater.kernels import (
    column,
    curves,
    ledger,
    rows,
    step_control,
    tangent,
    tridiagonal,
    water,
)
from soilwater.kernels.rows import Column, State

DT = 1e-5
MOST_CORRECTION = 1e-3


class NewtonStep:
    """A column after the first Newton step, from the heads it starts with."""

    def __init__(self, base="free drainage", *, state="moist", dt=DT, **changes):
        self.conditions, self.codes = conditions_and_codes(base)
        if base == "outflow":
            self.conditions[rows.BASE_VALUE] = STATES[state][-1] - 0.05
        for name, value in changes.items():
            self.conditions[getattr(rows, name.upper())] = value
        n, self.dt = Z.size, dt
        self.work, self.flows = np.zeros((rows.N_WORK, n)), np.zeros(rows.N_RATES)
        step_control.describe_nodes(Z, SOIL, ALL_SOILS, self.work)
        self.column = Column(Z, SOIL, ROOT, self.conditions, self.codes)
        self.before = STATES[state].copy()
        self.stored = assembled(self.before, self.conditions, self.codes)[0][rows.STORAGE].copy()
        self.assemble(self.before)
        tridiagonal.solve(self.work)
        self.work[rows.BEFORE] = self.before
        self.h = self.before + self.work[rows.CHANGE]

    def assemble(self, h):
        column.assemble(h, self.dt, self.stored, self.column, ALL_SOILS, self.work, self.flows)

    def runs_straight(self, most_correction=MOST_CORRECTION):
        return tangent.runs_straight(
            self.h, self.dt, self.column, ALL_SOILS, most_correction, self.work, self.flows
        )

    def follow_tangent(self):
        tangent.follow_tangent(self.h, self.dt, self.stored, self.column, self.work, self.flows)

    def amounts(self):
        """Water around each node [cm] and flows [cm/h]."""
        return np.append(self.work[rows.STORAGE], self.flows[: rows.N_FLOWS])


@pytest.mark.parametrize("base", ["sealed", "free drainage", "outflow", "no outflow yet"])
def test_along_the_tangent_every_balance_is_closed(base):
    step = NewtonStep(base)
    step.follow_tangent()
    assert np.abs(step.work[rows.RESIDUAL]).max() < 1e-14
    gained = step.work[rows.STORAGE].sum() - step.stored.sum()
    inflow, runoff, transpiration, evaporation, drainage = step.flows[: rows.N_FLOWS]
    assert runoff == 0.0
    losses = transpiration + evaporation + drainage
    assert gained == pytest.approx(step.dt * (inflow - losses), abs=1e-14)


# An outflow is left out: it brings its node to the outlet in no time, however short the step.
@pytest.mark.parametrize("base", ["sealed", "free drainage", "no outflow yet"])
def test_what_the_tangent_leaves_shrinks_with_the_square_of_the_step(base):
    left = []
    for dt in (DT, 0.5 * DT):
        along, at_its_end = NewtonStep(base, dt=dt), NewtonStep(base, dt=dt)
        along.follow_tangent()
        at_its_end.assemble(at_its_end.h)
        left.append(along.amounts() - at_its_end.amounts())
    size = np.abs(left[1]).max()
    assert size > 0.0
    assert np.abs(left[0] - 4.0 * left[1]).max() < 0.5 * size


def test_a_step_with_no_kink_on_its_way_runs_straight():
    assert NewtonStep().runs_straight()


@pytest.mark.parametrize(
    "kink",
    [
        {"base": "held head"},
        {"state": "ponded"},
        {"careful": 1.0},
        {"compensation": 1.3},
        {"supply": 400.0},
        {"base": "outflow", "base_value": -26.0001},
        {"state": "dry", "evaporation_demand": 2.0},
    ],
    ids=str,
)
def test_a_step_with_a_kink_on_its_way_does_not(kink):
    assert not NewtonStep(**kink).runs_straight()


@pytest.mark.parametrize(("share", "straight"), [(-0.5, True), (0.5, False)])
def test_nor_does_one_in_which_a_root_would_take_more_than_it_is_asked_for(share, straight):
    step = NewtonStep()
    asked = step.dt * step.conditions[rows.TRANSPIRATION_DEMAND] * ROOT[2]
    step.work[rows.OWN, 2] += share * asked / step.work[rows.CHANGE, 2]
    assert step.runs_straight() == straight


@pytest.mark.parametrize("factor", [0.49, 0.51, 1.9, 2.1])
def test_nor_does_one_in_which_the_suction_of_a_dry_node_leaps(factor):
    step = NewtonStep(state="dry", supply=0.0, evaporation_demand=0.0, transpiration_demand=0.0)
    assert -step.before[1] > step.work[rows.DRY_SUCTION, 1]
    # So dry that its water is next to none at either suction.
    step.h[:] = step.before
    step.work[rows.CHANGE] = 0.0
    step.h[1] *= factor
    assert step.runs_straight() == (0.5 < factor < 2.0)


@pytest.mark.parametrize(("share", "straight"), [(0.9, True), (1.1, False)])
def test_nor_does_one_that_a_curve_bends_away_from(share, straight):
    # The water at a dry node is put off its curve by a share of what may be.
    step = NewtonStep(state="dry", supply=0.0, evaporation_demand=0.0, transpiration_demand=0.0)
    step.h[:] = step.before
    step.work[rows.CHANGE] = 0.0
    most = tangent.MORE_WHERE_DRY * tangent.MOST_BEND * MOST_CORRECTION
    off = share * most * step.work[rows.VOLUME, 3]
    for row in (rows.STORAGE, rows.STORE_AND_UPTAKE):
        step.work[row, 3] += off
    assert -step.before[3] > step.work[rows.DRY_SUCTION, 3]
    assert step.runs_straight() == straight


def test_nor_does_a_wet_one_whose_head_is_off():
    step = NewtonStep(supply=0.0, evaporation_demand=0.0, transpiration_demand=0.0)
    step.h[:] = step.before
    step.work[rows.CHANGE] = 0.0
    assert step.runs_straight()
    off = 1.1 * tangent.MOST_SHIFT * step.work[rows.CAPACITY, 2] * -step.h[2]
    for row in (rows.STORAGE, rows.STORE_AND_UPTAKE):
        step.work[row, 2] += off
    assert -step.h[2] < step.work[rows.DRY_SUCTION, 2]
    assert off < tangent.MOST_BEND * step.work[rows.VOLUME, 2]
    assert not step.runs_straight(most_correction=1.0)


def test_nor_does_a_step_that_is_too_long():
    step = NewtonStep()
    own, change = step.work[rows.OWN], step.work[rows.CHANGE]
    longest = np.abs(own * change / step.work[rows.VOLUME]).max()
    assert step.runs_straight(1.01 * longest)
    assert not step.runs_straight(0.99 * longest)


@pytest.mark.parametrize(("by_flow", "straight"), [(False, True), (True, False)])
def test_a_dry_node_may_go_further_where_it_is_not_flows_that_bend(by_flow, straight):
    step = NewtonStep(state="dry", supply=0.0, evaporation_demand=0.0, transpiration_demand=0.0)
    work, node = step.work, 3
    assert -step.before[node] > work[rows.DRY_SUCTION, node]
    most = 1e-6
    gain = 0.5 * tangent.MORE_WHERE_DRY * most * work[rows.VOLUME, node]
    move = gain / work[rows.OWN, node]
    # Straight water, and conductivity that changes as it does.
    work[rows.CHANGE] = 0.0
    work[rows.CHANGE, node], step.h[:] = move, step.before
    for row in (rows.STORAGE, rows.STORE_AND_UPTAKE):
        work[row] = water_of(step.before)
        work[row, node] = water_of(step.before)[node] - work[rows.CAPACITY, node] * move
    work[rows.TOP_SLOPE, node] = work[rows.TOP_CONDUCTIVITY, node] / move
    work[rows.RESIDUAL] = 0.0
    work[rows.RESIDUAL, node] = 0.0 if by_flow else -gain  # Then its own demand moves it.
    assert step.runs_straight(most) == straight


def water_of(heads):
    held = np.zeros(Z.size)
    water.water_around_nodes(heads, Z, SOIL, ALL_SOILS, held)
    return held


@pytest.mark.parametrize("state", ["moist", "dry"])
def test_what_a_tangent_leaves_is_off_the_curves(state):
    step = NewtonStep("sealed", state=state)
    water.water_around_nodes(step.h, Z, SOIL, ALL_SOILS, step.work[rows.ON_CURVE])
    step.follow_tangent()
    by_fluxes = step.work[rows.STORAGE] - step.work[rows.RESIDUAL]
    uptake = step.work[rows.STORE_AND_UPTAKE] - step.work[rows.STORAGE]
    tangent.leave_the_rest(step.h, step.work)
    held = water_of(step.h)
    assert np.array_equal(step.work[rows.STORAGE], held)
    assert step.work[rows.STORAGE] - step.work[rows.RESIDUAL] == pytest.approx(by_fluxes, rel=1e-14)
    again = step.work[rows.STORE_AND_UPTAKE] - step.work[rows.STORAGE]
    assert again == pytest.approx(uptake, abs=1e-13)


def test_what_a_tangent_leaves_changes_with_the_slope_at_its_end():
    step = NewtonStep("sealed", dt=0.02)
    at_start = step.work[rows.CAPACITY].copy()
    water.water_around_nodes(step.h, Z, SOIL, ALL_SOILS, step.work[rows.ON_CURVE])
    step.follow_tangent()
    tangent.leave_the_rest(step.h, step.work)
    mended = step.work[rows.CAPACITY].copy()
    step.assemble(step.h)
    at_end = step.work[rows.CAPACITY]
    assert np.abs(at_start / at_end - 1.0).max() > 0.01
    assert mended == pytest.approx(at_end, rel=0.1 * np.abs(at_start / at_end - 1.0).max())


@pytest.mark.parametrize("state", ["moist", "dry", "saturated", "ponded and running off"])
@pytest.mark.parametrize("off", [1e-5, 1e-2])
def test_heads_give_way_to_the_water_that_fluxes_say_is_held(state, off):
    conditions, codes = conditions_and_codes("sealed")
    h = STATES[state].copy()
    one = Column(Z, SOIL, ROOT, conditions, codes)
    work = assembled(h, conditions, codes)[0]
    step_control.describe_nodes(Z, SOIL, ALL_SOILS, work)
    # By turns too much and too little; one node is told to stand.
    stored = work[rows.STORAGE] * (1.0 + off * np.array([1, -1, 1, 0, -1, 1, 2]))
    work[rows.RESIDUAL] = work[rows.STORAGE] - stored
    totals = np.zeros(rows.N_LEDGER)
    totals[rows.INITIAL_STORAGE], totals[rows.TOTAL_INFLOW] = 0.01, stored.sum() - 0.01
    n = Z.size
    counts = np.zeros(rows.N_COUNTS, dtype=np.int64)
    rate, uptake, clock = np.zeros(n), np.zeros(n), np.zeros(rows.N_CLOCK)
    state = State(h, stored, h.copy(), rate, uptake, clock, totals, counts)
    before = h.copy()
    ledger.close_balance(state, one, ALL_SOILS, work)
    held = water_of(h)
    held[0] += max(h[0], 0.0)
    assert h[3] == before[3]
    assert held == pytest.approx(stored, rel=1e-6 * off, abs=1e-12)
    assert abs(totals[rows.CLOSURE_ERROR]) <= ledger.CLOSED * totals[rows.TOTAL_INFLOW]
    assert totals[rows.CLOSURE_ERROR] == pytest.approx(held.sum() - stored.sum(), abs=1e-14)


def test_no_correction_leads_beyond_the_largest_suction():
    h = np.full(Z.size, -0.9 * curves.OVEN_DRY_SUCTION)
    work = assembled(h, *conditions_and_codes("sealed"))[0]
    step_control.describe_nodes(Z, SOIL, ALL_SOILS, work)
    work[rows.RESIDUAL] = work[rows.STORAGE]
    ledger.correct_heads(h, 1.0, work)
    assert h.min() == -curves.OVEN_DRY_SUCTION


@pytest.mark.parametrize("held", ["surface", "base", "neither"])
def test_what_roots_took_too_much_is_left_in_the_soil_or_to_a_held_boundary(held):
    base, surface = ("held head" if held == "base" else "sealed"), -31.0
    held_surface = surface if held == "surface" else None
    conditions, codes = conditions_and_codes(base, held_surface=held_surface)
    conditions[rows.COMPENSATION] = 1.5
    h = Z + surface
    root, dt, n = np.full(Z.size, 1.0 / Z.size), 0.1, Z.size
    work, flows = np.zeros((rows.N_WORK, n)), np.zeros(rows.N_RATES)
    stored = assembled(h, conditions, codes)[0][rows.STORAGE].copy()
    one = Column(Z, SOIL, root, conditions, codes)
    column.assemble(h, dt, stored, one, ALL_SOILS, work, flows)
    demand = conditions[rows.TRANSPIRATION_DEMAND]
    assert flows[rows.TRANSPIRATION] > 1.2 * demand
    before, totals = stored.sum(), np.zeros(rows.N_LEDGER)
    clock, counts = np.zeros(rows.N_CLOCK), np.zeros(rows.N_COUNTS, dtype=np.int64)
    state = State(h, stored, h.copy(), np.zeros(n), np.zeros(n), clock, totals, counts)
    work[rows.GUESS] = h
    ledger.accept(state, dt, 0.0, 0.0, dt, one, work, flows)
    assert totals[rows.TOTAL_TRANSPIRATION] == pytest.approx(dt * demand, rel=1e-12)
    losses = totals[rows.TOTAL_RUNOFF] + totals[rows.TOTAL_TRANSPIRATION]
    losses += totals[rows.TOTAL_EVAPORATION] + totals[rows.TOTAL_DRAINAGE]
    change = totals[rows.TOTAL_INFLOW] - losses
    assert stored.sum() - before == pytest.approx(change, abs=1e-14)
    node = {"surface": 0, "base": n - 1}.get(held)
    if node is not None:
        # A held node holds what its head says.
        assert stored[node] == work[rows.STORAGE, node]
