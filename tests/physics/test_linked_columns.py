"""Columns that share water: rest, symmetry, the linear system, closed forms in two dimensions."""

import numpy as np
import pytest
from grounds import MIDDLE_MIX, STRAIGHT_SAND, WET_MIX
from linked_set import chain, linked_set
from reference import ExponentialSoil, observed_order
from scipy.integrate import quad

from soilwater import CapillaryBreak, Sealed, WaterTable
from soilwater.ground.linked import Outside, grid_links
from soilwater.kernels import rows
from soilwater.kernels.linked_rows import ALL, WATER_LEVEL
from soilwater.kernels.linked_solve import solve_links
from soilwater.runs.linking import make_links

NODES = 21
SHARES = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, NODES)))  # close together at both ends
ROUGH = np.random.default_rng(7)


def rough_ground(n, depth=30.0):
    """Nodes and levels of columns 25 cm apart whose floor goes up and down by up to 10 cm."""
    nodes = (depth + ROUGH.uniform(-5.0, 5.0, n))[:, None] * SHARES
    return nodes, ROUGH.uniform(-4.0, 4.0, n)


# --- rest, symmetry ------------------------------------------------------------------------------


@pytest.mark.parametrize("water_level", [-12.0, -60.0], ids=["in the sand", "in tension"])
def test_level_water_rests_under_any_ground(water_level):
    nodes, level = rough_ground(12)
    start = water_level - (level[:, None] - nodes)
    one = linked_set(
        MIDDLE_MIX, nodes, level, chain(12), Sealed(), 1000.0, head=start, width_by_distance=0.04
    )
    rate = one.assembled(start, 1.0) - one.room.work[:, rows.STORAGE]
    assert np.abs(rate).max() < 1e-11
    one.run()
    assert np.abs(one.head - start).max() < 1e-7


def test_a_mirror_changes_nothing():
    nodes, level = rough_ground(9)
    start = np.full(nodes.shape, -0.001)

    def run(nodes, level):
        return linked_set(
            WET_MIX, nodes, level, chain(9), CapillaryBreak(3.0), 48.0, head=start,
            width_by_distance=0.04,
        ).run()  # fmt: skip

    one, other = run(nodes, level), run(nodes[::-1].copy(), level[::-1])
    # Sums in another order differ by round-off; where sand is full, heads differ by more of it.
    assert np.abs(one.head - other.head[::-1]).max() < 1e-6
    # Where it is not level, something must flow at all.
    assert np.abs(one.links.moved[:, ALL]).max() > 1.0


def test_a_ground_uniform_across_is_a_line():
    nodes, level = rough_ground(6)
    start = np.full((6, NODES), -0.001)
    line = linked_set(
        MIDDLE_MIX, nodes, level, chain(6), CapillaryBreak(3.0), 24.0, head=start,
        width_by_distance=0.04,
    ).run()  # fmt: skip
    mask = np.ones((3, 6), dtype=bool)
    green = linked_set(
        MIDDLE_MIX, np.tile(nodes, (3, 1)), np.tile(level, 3), grid_links(mask),
        CapillaryBreak(3.0), 24.0, head=np.tile(start, (3, 1)), width_by_distance=0.04,
    ).run()  # fmt: skip
    assert np.abs(green.head.reshape(3, 6, NODES) - line.head).max() < 2e-2
    assert np.abs(green.links.moved[15:, ALL]).max() < 1e-3


# --- the linear system ---------------------------------------------------------------------------


def states(n):
    """Heads of columns of every kind: at rest, wet, dry, equal, under pressure."""
    nodes, level = rough_ground(n)
    heads = ROUGH.uniform(-40.0, -2.0, nodes.shape)
    heads[0] = -25.0
    heads[1] = heads[0]
    heads[2] = nodes[2] + 0.3
    heads[3] = -ROUGH.uniform(1e3, 1e4, NODES)
    return nodes, level, heads


def test_the_jacobian_is_the_change_of_the_residual():
    nodes, level, heads = states(6)
    one = linked_set(
        MIDDLE_MIX, nodes, level, chain(6), CapillaryBreak(3.0), 1.0, head=heads,
        width_by_distance=0.5,
    )  # fmt: skip
    one.assembled(heads, 0.7)
    matrix = one.matrix(0.7)
    found = np.empty_like(matrix)
    for place in range(matrix.shape[1]):
        c, k = divmod(place, NODES)
        step = 1e-5 * max(1.0, abs(heads[c, k]))
        more, less = heads.copy(), heads.copy()
        more[c, k] += step
        less[c, k] -= step
        change = one.assembled(more, 0.7) - one.assembled(less, 0.7)
        found[:, place] = change.ravel() / (2.0 * step)
    scale = np.abs(matrix).max(axis=0)
    assert (np.abs(found - matrix).max(axis=0) / scale).max() < 4e-5


@pytest.mark.parametrize("shape", [(1, 8), (3, 4)], ids=["line", "grid"])
def test_the_iterative_solution_is_the_direct_one(shape):
    mask = np.ones(shape, dtype=bool)
    n = mask.size
    nodes, level, heads = states(n)
    one = linked_set(
        STRAIGHT_SAND, nodes, level, grid_links(mask), CapillaryBreak(3.0), 1.0, head=heads,
        width_by_distance=0.04,
    )  # fmt: skip
    one.room.work[:, rows.VOLUME] = 1.0
    residual = one.assembled(heads, 0.05)
    direct = np.linalg.solve(one.matrix(0.05), -residual.ravel())
    one.room.active[:] = 1
    iterations = solve_links(0.05, 0.0, 1e-10, np.arange(n), one.packed, one.links, one.room)
    found = one.room.work[:, rows.CHANGE].ravel()
    assert 1 < iterations < 25
    assert np.abs(found - direct).max() < 1e-7 * np.abs(direct).max()


def test_half_of_a_grid_is_eliminated_exactly():
    one = linked_set(
        MIDDLE_MIX, np.tile(30.0 * SHARES, (12, 1)), np.zeros(12),
        grid_links(np.ones((3, 4), dtype=bool)), Sealed(), 1.0,
        head=np.full((12, NODES), -20.0),
    )  # fmt: skip
    red = one.links.red[:12].reshape(3, 4)
    assert np.array_equal(red, 1 - (np.add.outer(np.arange(3), np.arange(4)) % 2))


def test_the_same_half_is_eliminated_whichever_way_the_ground_is_turned():
    level = np.random.default_rng(3).uniform(-4.0, 4.0, (4, 5))

    def red(level):
        links = make_links(
            grid_links(np.ones(level.shape, dtype=bool)), np.ones(31), np.ones(20),
            level.reshape(-1, 1), 1,
        )  # fmt: skip
        return links.red[:20].reshape(level.shape)

    straight = red(level)
    assert straight.sum() == 10
    for turned in (lambda a: a[::-1], lambda a: a[:, ::-1], lambda a: a.T):
        assert np.array_equal(red(turned(level)), turned(straight))


# --- closed forms --------------------------------------------------------------------------------


@pytest.mark.parametrize("soil", [MIDDLE_MIX, WET_MIX], ids=["middle mix", "wet mix"])
def test_flow_between_two_water_levels(soil):
    """A level box, sealed above and below, between two ends at rest with water at 20 and 5 cm.

    Q L = integral over height of phi(H1 - y) - phi(H2 - y), with phi the integral of K over head:
    the reasoning of Charny's exact discharge between two water levels (in Bear 1972, Dynamics of
    Fluids in Porous Media, from memory), carried on to unsaturated soil.
    """
    depth, length, levels = 30.0, 500.0, (20.0, 5.0)

    def conductivity(head):
        return float(soil.conductivity(max(-head, 0.0)))

    points, weights = np.polynomial.legendre.leggauss(60)
    heights = 0.5 * depth * (1.0 + points)
    potential = [
        quad(conductivity, levels[1] - y, levels[0] - y, epsabs=1e-10, points=[0.0])[0]
        for y in heights
    ]
    exact = 0.5 * depth * float(np.dot(weights, potential)) / length

    n = 41
    nodes = np.tile(depth * np.linspace(0.0, 1.0, 61), (n, 1))
    water = np.linspace(*levels, n)
    outside = [
        Outside(0, WATER_LEVEL, levels[0] - depth, 1.0, -1.0, 0.0),
        Outside(n - 1, WATER_LEVEL, levels[1] - depth, 1.0, 1.0, length),
    ]
    area = np.full(n, length / (n - 1))
    area[[0, -1]] *= 0.5
    start = water[:, None] - (depth - nodes)
    one = linked_set(
        soil, nodes, np.zeros(n), chain(n), Sealed(), [400.0, 500.0], head=start,
        width_by_distance=(n - 1) / length, area=area, outside=outside,
    ).run()  # fmt: skip
    flow = np.diff(one.links.out_moved, axis=0)[0] / 100.0
    # Over the faces to the outside it is counted outward.
    assert flow == pytest.approx(exact * np.array([1.0] * (n - 1) + [-1.0, 1.0]), rel=2e-3)


GARDNER = ExponentialSoil(theta_r=0.06, theta_s=0.40, alpha=0.1, k_sat=10.0)


def steady_heads(x, z):
    """Heads [cm] in a level block, 100 by 30 cm, under rain of 1 + .8 cos(pi x/L) cm/h.

    Over a water table, with closed ends: phi = K/a, K = k_sat e^(a h), makes steady flow linear,
    lap phi = a dphi/dz. Separation of variables on the linear form of Philip (1968) and Wooding
    (1968), from memory; put into the equation by hand.
    """
    a, k_sat, length, depth, mean, swing = 0.1, 10.0, 100.0, 30.0, 1.0, 0.8
    wave = np.pi / length
    root = np.sqrt(a * a / 4.0 + wave * wave)
    upper, lower = a / 2.0 + root, a / 2.0 - root
    # Nothing of the wave at the water table, all of it at the surface.
    equations = [[np.exp(upper * depth), np.exp(lower * depth)], [a - upper, a - lower]]
    one, other = np.linalg.solve(equations, [0.0, swing])
    even = mean / a + (k_sat / a - mean / a) * np.exp(-a * (depth - z))
    potential = even + np.cos(wave * x)[:, None] * (
        one * np.exp(upper * z) + other * np.exp(lower * z)
    )
    return np.log(a * potential / k_sat) / a


def steady_error(n_columns, n_nodes):
    """Largest error of the head [cm], columns at x = 0 to L, those at the ends half as wide."""
    x, z = np.linspace(0.0, 100.0, n_columns), np.linspace(0.0, 30.0, n_nodes)
    gap = 100.0 / (n_columns - 1)
    area = np.full(n_columns, gap)
    area[[0, -1]] *= 0.5
    edges = np.clip([x - 0.5 * gap, x + 0.5 * gap], 0.0, 100.0)
    waves = np.diff(np.sin(np.pi * edges / 100.0) * 100.0 / np.pi, axis=0)[0]
    exact = steady_heads(x, z)
    one = linked_set(
        GARDNER, np.tile(z, (n_columns, 1)), np.zeros(n_columns), chain(n_columns),
        WaterTable(30.0), 100.0, rain=1.0 + 0.8 * waves / area, head=exact,
        width_by_distance=1.0 / gap, area=area, tolerance=1e-6,
    ).run()  # fmt: skip
    return float(np.abs(one.head - exact).max())


def test_the_closed_form_is_that_of_the_check_values():
    # Evaluated elsewhere from the same series.
    found = steady_heads(np.linspace(0.0, 100.0, 5), np.zeros(1))[:, 0]
    assert found == pytest.approx(
        [-15.330498, -16.344431, -19.323441, -23.585656, -26.072038], abs=1e-6
    )


def test_steady_flow_under_uneven_rain_is_of_second_order():
    errors = [steady_error(n + 1, 2 * n + 1) for n in (8, 16, 32)]
    assert errors[1] < 0.05
    assert np.abs(observed_order(errors) - 2.0).max() < 0.15


# --- the ledger ----------------------------------------------------------------------------------


def test_heads_hold_what_the_ledger_says_and_nothing_is_made_sideways():
    nodes, level = rough_ground(15)
    one = linked_set(
        STRAIGHT_SAND, nodes, level, chain(15), CapillaryBreak(3.0), [1.0, 24.0, 96.0],
        head=np.full(nodes.shape, -0.001), width_by_distance=0.04, area=ROUGH.uniform(0.5, 2.0, 15),
    ).run()  # fmt: skip
    ledger = one.packed.out_ledger
    moved = np.abs(ledger[:, :, rows.STORAGE_CHANGE]) + ledger[:, :, rows.TOTAL_DRAINAGE]
    assert (np.abs(ledger[:, :, rows.CLOSURE_ERROR]) <= 1e-7 * moved).all()
    whole = ledger[:, :, rows.STORAGE_CHANGE] + ledger[:, :, rows.TOTAL_DRAINAGE]
    assert np.abs(one.links.area @ whole).max() < 1e-6 * (one.links.area @ moved).min()
