"""Branches of the kernel against the closed forms of the soil, one node at a time."""

import numpy as np
import pytest
from grounds import MIDDLE_MIX as SAND

import soilwater as sw
from soilwater.kernels import (
    branch_flux,
    branch_look_up,
    branches,
    curves,
    ledger,
    remembering,
    rows,
    step_control,
)
from soilwater.kernels.branches import FLOODED, PLACES, Remembering
from soilwater.kernels.elementary import BLOCK
from soilwater.kernels.rows import Column
from soilwater.runs.packing import pack_memories
from soilwater.soils.kernel_table import stack_tables

PATH = [10.0, 25.0, 40.0, 20.0, 12.0, 18.0, 30.0, 15.0, 22.0, 40.0, 60.0, 5.0, 35.0]


class Node:
    """Two nodes of one soil, taken along a path together."""

    def __init__(self, *soils, z=(0.0, 1.0)):
        self.z = np.array(z)
        n = self.z.size
        soil = np.minimum(np.arange(n - 1), len(soils) - 1)
        tables, scalars = stack_tables(soils)
        mesh = sw.Profile(
            [sw.Layer(each, 1.0, f"layer {i}") for i, each in enumerate(soils)], sw.Sealed()
        ).mesh()
        packed = _Packed(tables, scalars, np.zeros(0), np.zeros((0, 0, 0)))
        memory = pack_memories([mesh._replace(depth=np.zeros(0))], {}, packed).memory
        nest = np.zeros((n, PLACES))
        nest[:, 0] = FLOODED
        self.column = Column(
            self.z, soil, np.zeros(n), np.zeros(rows.N_CONDITIONS), np.zeros(rows.N_CODES, int)
        )
        self.soils = Remembering(
            tables,
            scalars,
            memory,
            nest,
            np.full(n, 2),
            np.zeros((n - 1, 2, PLACES, 2)),
            np.full((branch_look_up.N_ROOM, n + BLOCK), np.nan),
        )
        self.work = np.zeros((branch_look_up.N_BRANCH_WORK, n))
        step_control.describe_nodes(self.z, soil, self.soils, self.work)
        remembering.describe_dryness(self.column, self.soils, self.work)
        branches.recall(self.column, self.soils)

    def go(self, head, looked_up=False):
        """Stand at a head from now on, which was looked up on the way there or was not."""
        heads = np.broadcast_to(head, self.z.shape).astype(float)
        if looked_up:
            branch_look_up.look_up_water(heads, self.column.soil, self.soils)
        remembering.remember_all(heads, self.column, self.soils, self.work)

    def water(self, head):
        """Water content that the first node would have at a head."""
        soils = self.soils
        place = branches.branch_of(0, head, self.column.soil, soils)
        water, capacity, _ = branches.branch_water(
            head, place, soils.level[0, 0, place], soils.tables[0], soils.scalars[0],
            soils.memory[0],
        )  # fmt: skip
        return water, capacity


class _Packed:
    """As much of what `pack` makes as `pack_memories` looks at."""

    def __init__(self, tables, scalars, head, out_head):
        self.tables, self.scalars, self.head = tables, scalars, head
        self.z, self.node_start, self.out_head = head, np.zeros(1, int), np.zeros((0, 0, 2))


def content(soil, node, head):
    return node.water(head)[0] + soil.theta_r


@pytest.mark.parametrize("rewetted", [1.0, 0.88])
def test_a_path_holds_what_the_closed_form_says(rewetted):
    sand = sw.Hysteretic(SAND, 2.0, rewetted)
    node = Node(sand)
    for suction, expected in zip(PATH, sand.water_contents_along(PATH), strict=True):
        # Before a step is kept, and after.
        assert content(sand, node, -suction) == pytest.approx(expected, abs=1e-6)
        node.go(-suction)
        assert content(sand, node, -suction) == pytest.approx(expected, abs=1e-6)


def test_nothing_drifts_in_ten_thousand_cycles():
    sand = sw.Hysteretic(SAND, 2.0, 0.9)
    node = Node(sand)
    node.go(-35.0)
    node.go(-12.0)
    before = content(sand, node, -12.0)
    for _ in range(10_000):
        node.go(-28.0)
        node.go(-12.0)
    assert abs(content(sand, node, -12.0) - before) <= 1e-12
    assert node.soils.places[0] == 3


def test_steps_of_any_length_leave_the_same():
    sand = sw.Hysteretic(SAND, 1.6, 0.9)
    coarse, fine = Node(sand), Node(sand)
    before = 0.0
    for suction in PATH:
        for head in np.linspace(-before, -suction, 17)[1:]:
            fine.go(head, looked_up=True)
        coarse.go(-suction)
        before = suction
    assert coarse.soils.places[0] == fine.soils.places[0]
    taken = coarse.soils.places[0]
    np.testing.assert_array_equal(coarse.soils.nest[0, :taken], fine.soils.nest[0, :taken])


@pytest.mark.parametrize(
    "soil",
    [SAND, sw.BrooksCorey(0.05, 0.4, 40.0, 4.0, 10.0), sw.Kosugi(0.02, 0.4, 30.0, 0.4, 20.0)],
    ids=lambda soil: type(soil).__name__,
)
@pytest.mark.parametrize("rewetted", [1.0, 0.88])
def test_water_never_falls_with_head_and_has_no_step(soil, rewetted):
    sand = sw.Hysteretic(soil, 1.5, rewetted)
    rng = np.random.default_rng(1)
    for _ in range(20):
        node = Node(sand)
        for suction in rng.uniform(0.0, 80.0, 8):
            node.go(-suction)
        heads = -np.linspace(100.0, 0.0, 4001)
        water = np.array([node.water(head)[0] for head in heads])
        assert (np.diff(water) >= -1e-15).all()
        # No step where a branch is left for another: capacities account for all of it.
        turns = node.soils.nest[0, 1 : node.soils.places[0]]
        for turn in turns:
            around = [node.water(turn * (1.0 + side))[0] for side in (-1e-9, 1e-9)]
            assert abs(around[0] - around[1]) <= 2e-9 * abs(turn) * 10.0


def test_capacity_is_the_slope_of_the_water():
    sand = sw.Hysteretic(SAND, 1.7, 0.9)
    node = Node(sand)
    for suction in (45.0, 12.0, 30.0, 18.0, 25.0):
        node.go(-suction)
    for head in (-60.0, -40.0, -28.0, -22.0, -15.0, -5.0):
        step = 1e-4
        slope = (node.water(head + step)[0] - node.water(head - step)[0]) / (2.0 * step)
        assert node.water(head)[1] == pytest.approx(slope, rel=1e-5)


@pytest.mark.parametrize("nearby", [-22.0, -300.0, -1e117, np.nan])
def test_what_was_looked_up_before_is_of_no_matter(nearby):
    sand = sw.Hysteretic(SAND, 1.6, 0.9)
    fresh, misled = Node(sand), Node(sand)
    head = np.full(2, -20.0)
    for node, near in ((fresh, np.nan), (misled, nearby)):
        node.go(-40.0)
        node.soils.room[branch_look_up.LAST_HEAD] = head[0]
        node.soils.room[branch_look_up.LAST_EFFECTIVE] = near
        node.soils.room[branch_look_up.LAST_BY_HEAD] = 1.0
        branch_look_up.settle_look_ups(head, node.column.soil, node.soils)
    rows_of_curves = slice(branch_look_up.WATER, branch_look_up.REACHED)
    expected = fresh.soils.room[rows_of_curves, :2]
    assert np.isfinite(expected).all()
    np.testing.assert_array_equal(misled.soils.room[rows_of_curves, :2], expected)


@pytest.mark.parametrize("head", [-200.0, -20.0, -1e-3, 0.0, 3.0])
def test_what_was_never_wetted_is_looked_up_as_a_soil_without_a_memory(head):
    node = Node(sw.Hysteretic(SAND, 1.6, 0.9))
    tables, scalars = stack_tables([SAND])
    branch_look_up.settle_look_ups(np.full(2, head), node.column.soil, node.soils)
    expected = curves.hydraulics(head, tables, scalars, 0)
    rows_of_curves = slice(branch_look_up.WATER, branch_look_up.EFFECTIVE)
    np.testing.assert_allclose(node.soils.room[rows_of_curves, 0], expected, rtol=1e-13)
    assert node.soils.room[branch_look_up.EFFECTIVE, 0] == head


@pytest.mark.parametrize("remembers", [False, True])
def test_a_head_beside_a_kink_is_found_from_wherever_it_is_looked_for(remembers):
    """Newton's method goes to and fro between the flat part up to an entry suction and the rest."""
    sand = sw.BrooksCorey(0.05, 0.37, 20.0, 3.2, 4.0)
    clay = sw.VanGenuchten(0.05, 0.40, 0.008, 1.4, 2.0)
    node = Node(sw.Hysteretic(sand, 1.6, 0.9) if remembers else sand, clay, z=(0.0, 0.8, 0.802))
    z, soil, soils = node.z, node.column.soil, node.soils
    plain = rows.Soils(soils.tables, soils.scalars)

    def held(head):
        if remembers:
            return remembering.node_water_after(1, head, 0.0, z, soil, soils)[0]
        return ledger.node_water(head, 0.4, 0, 1e-3, 1, 0.0, plain)[0]

    def found(target, guess):
        if remembers:
            return remembering.head_after_that_holds(target, 1, guess, 0.0, 0.401, z, soil, soils)
        return ledger.head_that_holds(target, guess, 0.4, 0, 1e-3, 1, 0.0, plain)

    for beyond in np.geomspace(1e-5, 1e-1, 20):
        target = held(-20.0 - beyond)
        closed = [held(found(target, guess)) for guess in np.linspace(-40.0, -20.0, 100)]
        np.testing.assert_allclose(closed, target, rtol=1e-13)


def test_where_there_is_no_room_the_innermost_loop_is_let_go():
    node = Node(sw.Hysteretic(SAND, 1.7))
    for k in range(12):
        node.go(-60.0 + 2.0 * k)
        node.go(-5.0 - 2.0 * k)
    nest = node.soils.nest[0, : node.soils.places[0]]
    assert PLACES - 2 < nest.size <= PLACES
    # The oldest are kept.
    assert list(nest[1:4]) == [-60.0, -5.0, -58.0]
    low, high = -np.inf, np.inf
    for k, head in enumerate(nest[1:]):
        assert low <= head <= high
        low, high = (head, high) if k % 2 == 0 else (low, head)


def test_flux_is_nothing_at_rest_whatever_the_histories():
    rng = np.random.default_rng(3)
    z = np.array([0.0, 0.25, 0.6, 1.2, 2.2, 3.0, 3.25, 4.0, 5.0, 6.0, 7.0, 8.0])
    node = Node(sw.Hysteretic(SAND, 2.0, 0.9), z=z)
    head = z - 40.0
    for _ in range(6):
        node.go(head + rng.uniform(-30.0, 30.0, z.size))
    node.go(head)
    work = np.zeros((branch_look_up.N_BRANCH_WORK, z.size))
    branch_look_up.look_up_branches(head, node.column.soil, node.soils, work)
    branch_flux.branch_flow(head, 1.0, z, work)
    assert np.ptp(work[rows.TOP_WATER, :-1]) > 0.05
    assert np.abs(work[rows.FLUX, :-1]).max() <= 1e-14


def test_the_jacobian_is_that_of_the_residual():
    rng = np.random.default_rng(4)
    z = np.array([0.0, 0.25, 0.6, 1.2, 2.2, 3.0, 3.25, 4.0, 5.0, 6.0])
    node = Node(sw.Hysteretic(SAND, 1.8, 0.9), z=z)
    column, n = node.column, z.size
    column.codes[rows.BASE_CODE] = rows.FREE_DRAINAGE
    column.conditions[rows.SUPPLY] = 0.3
    column.conditions[rows.COMPENSATION] = 1.0
    head = -rng.uniform(15.0, 45.0, n)
    for _ in range(5):
        node.go(head + rng.uniform(-12.0, 12.0, n))
    stored, flows = np.zeros(n), np.zeros(rows.N_RATES)
    work = np.zeros((branch_look_up.N_BRANCH_WORK, n))

    def residual(h):
        remembering.assemble(h, 0.05, stored, column, node.soils, work, flows)
        return work[rows.RESIDUAL].copy()

    residual(head)
    ours = np.diag(work[rows.DIAGONAL]) + np.diag(work[rows.LOWER, 1:], -1)
    ours += np.diag(work[rows.UPPER, :-1], 1)
    step = 1e-5
    theirs = np.empty((n, n))
    for i in range(n):
        moved = np.eye(n)[i] * step
        theirs[:, i] = (residual(head + moved) - residual(head - moved)) / (2.0 * step)
    np.testing.assert_allclose(ours, theirs, atol=2e-6 * np.abs(theirs).max())


def test_conductivity_goes_by_the_head_of_its_node_where_a_tangent_asks():
    rng = np.random.default_rng(5)
    z = np.linspace(0.0, 9.0, 10)
    node = Node(sw.Hysteretic(SAND, 1.8, 0.9), z=z)
    node.column.codes[rows.BASE_CODE] = rows.FREE_DRAINAGE
    head = -rng.uniform(20.0, 40.0, z.size)
    for _ in range(4):
        node.go(head + rng.uniform(-12.0, 12.0, z.size))
    work, flows = node.work, np.zeros(rows.N_RATES)

    def at(h):
        remembering.assemble(h, 0.05, np.zeros(z.size), node.column, node.soils, work, flows)
        return work[rows.TOP_CONDUCTIVITY, :-1].copy(), work[rows.TOP_SLOPE, :-1].copy()

    _, slope = at(head)
    step = 1e-4
    by_difference = (at(head + step)[0] - at(head - step)[0]) / (2.0 * step)
    np.testing.assert_allclose(slope, by_difference, rtol=1e-3, atol=1e-6 * slope.max())


def test_a_node_is_dry_from_the_suction_at_which_it_holds_as_little():
    sands = sw.Hysteretic(SAND, 2.0), sw.Hysteretic(SAND, 1.25)
    node = Node(*sands, z=(0.0, 1.0, 2.0))
    dry_suction = node.work[rows.DRY_SUCTION]
    node.go(-60.0)
    drained = dry_suction.copy()
    np.testing.assert_allclose(drained, step_control.DRY_FROM * SAND.suction_scale)
    node.go(-20.0)
    # The node between them is dry where both are.
    np.testing.assert_allclose(dry_suction, drained / np.array([2.0, 1.25, 1.25]))
    node.go(-22.0)
    np.testing.assert_array_equal(dry_suction, drained)


def test_levels_of_where_nodes_stand_wait_until_they_are_asked_for():
    node = Node(sw.Hysteretic(SAND, 2.0, 0.9))
    for head in (-40.0, -15.0, -25.0):
        node.go(head)
    kept = node.water(-20.0), node.water(-30.0), node.water(-10.0)
    branches.recall(node.column, node.soils)
    assert np.isnan(node.soils.level[0, 0, node.soils.places[0] - 1, 0])
    assert (node.water(-20.0), node.water(-30.0), node.water(-10.0)) == kept
