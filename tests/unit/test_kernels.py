"""The compiled kernels against closed forms, quadrature, finite differences and other solvers."""

import math
from itertools import pairwise

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numba import njit
from scipy.integrate import quad
from scipy.linalg import solve_banded
from single_column import (
    ALL_SOILS,
    BASES,
    ROOT,
    SAND,
    SCALARS,
    SOIL,
    SOILS,
    STATES,
    TABLES,
    Z,
    assembled,
    conditions_and_codes,
)

import soilwater as sw
from soilwater.kernels import boundaries, column, curves, elementary, rows, tridiagonal, uptake
from soilwater.kernels.demand import forcing_share
from soilwater.kernels.flux import bernoulli, interval_flux
from soilwater.kernels.rows import Column
from soilwater.kernels.unpack import rows_of
from soilwater.kernels.water import interval_water_content, mean_water_content


def test_rows_of_numbers_are_those_of_reshape():
    @njit
    def fill(numbers, count, length):
        rows_of(numbers, count, length)[count - 1, 0] = 7.0
        return rows_of(numbers, count, length).copy()

    numbers = np.arange(12.0)
    made = fill(numbers, 3, 4)
    assert numbers[8] == 7.0
    np.testing.assert_array_equal(made, numbers.reshape(3, 4))


def water_held(soil, suction):
    """The curve, or what specific storage leaves of saturation where less than that has drained."""
    curve, elastic = soil.water_content(suction), soil.theta_s - curves.SPECIFIC_STORAGE * suction
    return np.where(suction < 2.0 * soil.suction_scale, np.minimum(curve, elastic), curve)


# --- curves ------------------------------------------------------------------------------------


@pytest.mark.parametrize("j", range(len(SOILS)), ids=["sand", "loam", "kinked"])
def test_the_table_returns_the_curves_of_the_soil(j):
    soil = SOILS[j]
    # Off the bin edges, from nearly saturated to oven-dry.
    suction = np.geomspace(0.037, 0.97e7, 1201)
    found = np.array([curves.hydraulics(-s, TABLES, SCALARS, j) for s in suction])
    water, capacity, conductivity = found[:, 0], found[:, 1], found[:, 2]
    expected = water_held(soil, suction)
    draining = expected == soil.water_content(suction)
    # Where a kink does not lie on an edge of the table its bin is off by what is at stake there.
    kink = np.argmax(draining)
    beside = np.abs(np.arange(suction.size) - kink) <= 2
    at_stake = curves.SPECIFIC_STORAGE * suction[kink]
    assert (np.abs(water + soil.theta_r - expected) <= np.where(beside, at_stake, 1e-8)).all()
    exact = np.where(draining, soil.capacity(suction), curves.SPECIFIC_STORAGE)
    clear = ~beside
    assert capacity[clear] == pytest.approx(exact[clear], rel=2e-4, abs=1e-12)
    assert conductivity == pytest.approx(soil.conductivity(suction), rel=2e-5)


@pytest.mark.parametrize("j", range(len(SOILS)), ids=["sand", "loam", "kinked"])
def test_slopes_of_the_table_are_the_derivatives_of_its_values(j):
    for suction in np.geomspace(0.037, 1e5, 40):
        step = 1e-6 * suction
        _, capacity, _, slope, _ = curves.hydraulics(-suction, TABLES, SCALARS, j)
        drier = curves.hydraulics(-suction - step, TABLES, SCALARS, j)
        wetter = curves.hydraulics(-suction + step, TABLES, SCALARS, j)
        assert capacity == pytest.approx((wetter[0] - drier[0]) / (2 * step), rel=1e-4, abs=1e-9)
        assert slope == pytest.approx((wetter[2] - drier[2]) / (2 * step), rel=1e-4, abs=1e-9)
        # The flux potential is the integral of the conductivity over head.
        gained = quad(
            lambda h: curves.hydraulics(h, TABLES, SCALARS, j)[2],
            -suction - step,
            -suction + step,
        )[0]
        assert wetter[4] - drier[4] == pytest.approx(gained, rel=1e-4, abs=1e-12)


@pytest.mark.parametrize("j", range(len(SOILS)), ids=["sand", "loam", "kinked"])
def test_flux_potential_is_the_integral_of_conductivity(j):
    soil = SOILS[j]
    for wet, dry in ((0.0, 8.0), (8.0, 40.0), (40.0, 300.0)):
        expected = quad(
            lambda s: float(soil.conductivity(s)), wet, dry, epsabs=0, epsrel=1e-9, limit=200,
            points=[soil.suction_scale] if wet < soil.suction_scale < dry else None,
        )[0]  # fmt: skip
        potential = [curves.hydraulics(-s, TABLES, SCALARS, j)[4] for s in (wet, dry)]
        assert potential[0] - potential[1] == pytest.approx(expected, rel=2e-5)


def test_above_saturation_soil_stays_all_but_full_and_conducts_fully():
    water, capacity, conductivity, slope, potential = curves.hydraulics(7.0, TABLES, SCALARS, 0)
    at_saturation = curves.hydraulics(0.0, TABLES, SCALARS, 0)
    assert water + SAND.theta_r == pytest.approx(SAND.theta_s + 7.0 * curves.SPECIFIC_STORAGE)
    assert (capacity, slope) == (curves.SPECIFIC_STORAGE, 0.0)
    assert conductivity == SAND.k_sat
    assert potential == pytest.approx(at_saturation[4] + 7.0 * SAND.k_sat)


def test_every_suction_finds_its_own_bin():
    edges = curves.bin_edges()
    for i in range(1, curves.N_BINS, 37):
        inside = 0.5 * (edges[i] + edges[i + 1])
        assert curves.find_bin(edges[i]) == (i, 0.0)
        assert curves.find_bin(inside) == (i, inside - edges[i])
    assert curves.find_bin(0.5 * edges[1])[0] == 0
    assert curves.find_bin(2.0 * edges[-1])[0] == curves.N_BINS - 1


@given(top=st.floats(-2000.0, 20.0), bottom=st.floats(-2000.0, 20.0))
def test_mean_water_is_the_integral_over_a_straight_head(top, bottom):
    found = curves.mean_water(top, bottom, TABLES, SCALARS, 0) + SAND.theta_r
    share, weight = np.polynomial.legendre.leggauss(60)
    # Cut at saturation, where the curve has no derivative of every order.
    cuts = sorted({0.0, 1.0, *([top / (top - bottom)] if top * bottom < 0.0 else [])})
    expected = 0.0
    for a, b in pairwise(cuts):
        head = top + (0.5 * (b - a) * share + 0.5 * (a + b)) * (bottom - top)
        given = curves.SPECIFIC_STORAGE * np.maximum(head, 0.0)
        expected += 0.5 * (b - a) * float(weight @ (SAND.water_content(-head) + given))
    assert found == pytest.approx(expected, abs=2e-6)


# --- elementary functions ----------------------------------------------------------------------


@given(st.floats(-700.0, 700.0))
def test_exponential_to_the_last_digit(x):
    power_of_two, r, g = elementary.exponential_parts(x)
    assert abs(r) <= 0.5 * math.log(2.0) * (1.0 + 1e-15)
    assert power_of_two * (1.0 + (r + r * r * g)) == pytest.approx(math.exp(x), rel=5e-16)


@given(st.floats(1e-300, 1e300))
def test_logarithm_to_the_last_digits(x):
    assert elementary.logarithm(x) == pytest.approx(math.log(x), rel=1e-15)


@given(x=st.floats(1e-6, 1e7), exponent=st.floats(-20.0, 20.0))
def test_power_of_a_number(x, exponent):
    # The round-off of an exponent grows with its size.
    size = 1.0 + abs(exponent * math.log(x))
    assert elementary.power(x, exponent) == pytest.approx(x**exponent, rel=1e-15 * size)


@given(st.floats(1e-4, 1e4), st.floats(-30.0, 30.0))
def test_power_of_a_number_nearly(x, exponent):
    size = 1.0 + abs(exponent * math.log(x))
    assert elementary.near_power(x, exponent) == pytest.approx(x**exponent, rel=3e-9 * size)


@pytest.mark.parametrize("n", range(2, 41))
def test_stretches_of_whole_blocks_cover_every_number(n):
    covered = set()
    for which in range(elementary.stretches(n)):
        begin, end = elementary.stretch(which, n)
        assert n < elementary.BLOCK or (end - begin) % elementary.BLOCK == 0
        covered |= set(range(begin, end))
    assert covered == set(range(n))


# --- flux between two nodes -------------------------------------------------------------------


@pytest.mark.parametrize(
    "x",
    [-800.0, -40.0, -0.5, -0.35, -0.34, -0.1, -1e-9, 0.0, 1e-5, 0.3, 0.34, 0.35, 0.5, 3.0, 690.0],
)
def test_bernoulli_against_thirty_digits(x):
    with mpmath.workdps(30):
        exact = mpmath.mpf(1) if x == 0 else mpmath.mpf(x) / mpmath.expm1(mpmath.mpf(x))
        slope = (
            mpmath.mpf(-0.5)
            if x == 0
            else mpmath.diff(lambda t: t / mpmath.expm1(t), mpmath.mpf(x), h=mpmath.mpf("1e-12"))
        )
        value, derivative = bernoulli(x)
        assert value == pytest.approx(float(exact), rel=1e-14, abs=1e-290)
        assert derivative == pytest.approx(float(slope), rel=1e-9, abs=1e-280)


@given(
    dz=st.sampled_from([0.125, 0.25, 0.5, 1.0, 2.0, 8.0]),
    h0=st.integers(-8000, 80).map(lambda i: i / 8.0),
    j=st.integers(0, 2),
)
def test_no_water_moves_at_hydrostatic_heads(dz, h0, j):
    # Powers of two, so that the difference of the heads is the distance without rounding.
    ends = [curves.hydraulics(h, TABLES, SCALARS, j) for h in (h0, h0 + dz)]
    flux = interval_flux(dz, h0, *ends[0][2:], h0 + dz, *ends[1][2:])[0]
    assert flux == 0.0


@given(
    dz=st.floats(0.01, 20.0),
    h0=st.floats(-1e4, -0.1),
    k0=st.floats(1e-12, 100.0),
    k1=st.floats(1e-12, 100.0),
    mean=st.floats(1e-12, 100.0),
)
def test_hydrostatic_heads_rest_to_round_off_whatever_the_conductivity(dz, h0, k0, k1, mean):
    h1 = h0 + dz
    flux = interval_flux(dz, h0, k0, 0.0, 0.0, h1, k1, 0.0, mean * dz)[0]
    # The heads carry 1e-16 of their own size, the distance between them what is left of it.
    lost = 4e-16 * (abs(h0) / dz + 1.0)
    size = mean * max(bernoulli((k1 - k0) / mean)[0], 1.0) + k0 + k1
    assert abs(flux) <= 4.0 * lost * size


@given(
    alpha=st.floats(0.005, 0.3),
    dz=st.floats(0.05, 20.0),
    h0=st.floats(-200.0, -0.01),
    h1=st.floats(-200.0, -0.01),
)
def test_flux_is_exact_where_conductivity_is_exponential(alpha, dz, h0, h1):
    # Steady flow with K = Ks exp(alpha h) (Gardner 1958, Soil Sci. 85:228-232): the flux potential
    # phi = K / alpha obeys q = alpha phi - dphi/dz, so phi - q/alpha grows as exp(alpha z).
    k = [50.0 * math.exp(alpha * h) for h in (h0, h1)]
    phi = [each / alpha for each in k]
    flux = interval_flux(dz, h0, k[0], alpha * k[0], phi[0], h1, k[1], alpha * k[1], phi[1])
    grown = math.exp(-alpha * dz)
    expected = alpha * (phi[0] - phi[1] * grown) / (1.0 - grown)
    # Two nearly equal terms leave the round-off of the larger.
    size = alpha * (phi[0] + phi[1] * grown) / (1.0 - grown)
    assert flux[0] == pytest.approx(expected, rel=1e-9, abs=1e-9 * size)


def test_flux_between_equal_heads_joins_its_neighbours_smoothly():
    h0, dz, j = -30.0, 1.0, 0
    above = curves.hydraulics(h0, TABLES, SCALARS, j)[2:]
    fluxes = []
    for difference in (-2e-5, -5e-6, 0.0, 5e-6, 2e-5):
        below = curves.hydraulics(h0 + difference, TABLES, SCALARS, j)[2:]
        fluxes.append(interval_flux(dz, h0, *above, h0 + difference, *below)[0])
    # At one head everywhere water falls at unit gradient.
    assert fluxes[2] == pytest.approx(above[0], rel=1e-12)
    slopes = np.diff(fluxes) / np.diff([-2e-5, -5e-6, 0.0, 5e-6, 2e-5])
    assert slopes == pytest.approx(slopes[0], rel=1e-3)


# --- residual and Jacobian of a column ---------------------------------------------------------


def by_differences(h, conditions, codes):
    """Jacobian by central differences, dense."""
    jacobian = np.empty((h.size, h.size))
    for i in range(h.size):
        step = 3e-6 * max(abs(h[i]), 0.1)
        up, down = h.copy(), h.copy()
        up[i] += step
        down[i] -= step
        change = assembled(up, conditions, codes)[0][3] - assembled(down, conditions, codes)[0][3]
        jacobian[:, i] = change / (up[i] - down[i])
    return jacobian


@pytest.mark.parametrize("stress", [(0,), (1, 250.0, 3.0), (2, 10.0, 25.0, 240.0, 8000.0, 0.1)])
@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("state", STATES)
def test_jacobian_is_the_derivative_of_the_residual(state, base, stress):
    h = STATES[state]
    conditions, codes = conditions_and_codes(base, stress=stress)
    matrix = assembled(h, conditions, codes)[0]
    found = np.diag(matrix[1]) + np.diag(matrix[0, 1:], -1) + np.diag(matrix[2, :-1], 1)
    expected = by_differences(h, conditions, codes)
    # A change of head at a node is felt by the node itself most.
    scale = np.abs(expected).max(axis=0)
    assert np.all(np.abs(found - expected) <= 2e-4 * scale + 1e-8), (found - expected) / scale


def test_the_last_traces_of_water_end_a_demand_smoothly():
    # Air and roots ask for more than a thousand times what the surface node holds.
    conditions, codes = conditions_and_codes(stress=(1, 1.0e5, 3.0))
    h = np.array([-1.0e5, -1.3e5, -4.1e4, -903.0, -140.7, -60.3, -40.1])
    work, flows = assembled(h, conditions, codes)
    held = work[rows.STORAGE, 0]
    assert 0.1 * (flows[rows.EVAPORATION] + flows[rows.TRANSPIRATION]) > 1e3 * held
    slopes = []
    for step in (10.0, -10.0):
        moved = h.copy()
        moved[0] += step
        slopes.append(assembled(moved, conditions, codes)[0][rows.RESIDUAL, 0])
    slope = (slopes[0] - slopes[1]) / 20.0
    assert work[rows.DIAGONAL, 0] == pytest.approx(slope, rel=1e-4)
    assert work[rows.OWN, 0] == pytest.approx(slope, rel=1e-4)


def test_jacobian_under_a_held_surface():
    conditions, codes = conditions_and_codes(held_surface=-4.0)
    h = STATES["wet over dry"]
    matrix = assembled(h, conditions, codes)[0]
    assert (matrix[1, 0], matrix[2, 0], matrix[3, 0]) == (1.0, 0.0, pytest.approx(h[0] + 4.0))
    expected = by_differences(h, conditions, codes)
    found = np.diag(matrix[1]) + np.diag(matrix[0, 1:], -1) + np.diag(matrix[2, :-1], 1)
    assert np.all(np.abs(found - expected) <= 2e-4 * np.abs(expected).max(axis=0) + 1e-8)


@pytest.mark.parametrize("n", [2, 3, 8, 9, 10, 16, 17, 18, 40])
def test_a_column_is_the_sum_of_its_intervals(n):
    # Fluxes are worked out in blocks, whatever the number of nodes.
    random = np.random.default_rng(n)
    z = np.cumsum(random.uniform(0.2, 2.0, n))
    soil = np.sort(random.integers(0, len(SOILS), n - 1))
    h, stored, dt = -(10.0 ** random.uniform(-1.0, 4.0, n)), random.uniform(0.0, 0.3, n), 0.02
    conditions, codes = np.zeros(rows.N_CONDITIONS), np.zeros(rows.N_CODES, dtype=np.int64)
    work = np.full((rows.N_WORK, n), np.nan)
    one = Column(z, soil, np.zeros(n), conditions, codes)
    column.assemble(h, dt, stored, one, ALL_SOILS, work, np.zeros(rows.N_RATES))
    storage, gained = np.zeros(n), np.zeros(n)
    for i, j in enumerate(soil):
        dz = z[i + 1] - z[i]
        above, below = (curves.hydraulics(h[k], TABLES, SCALARS, j) for k in (i, i + 1))
        storage[i : i + 2] += 0.5 * dz * np.array([above[0], below[0]])
        flux, by_above, by_below = interval_flux(dz, h[i], *above[2:], h[i + 1], *below[2:])
        gained[i : i + 2] += dt * flux * np.array([-1.0, 1.0])
        assert work[rows.LOWER, i + 1] == pytest.approx(-dt * by_above, rel=1e-11)
        assert work[rows.UPPER, i] == pytest.approx(dt * by_below, rel=1e-11)
    assert work[rows.STORAGE] == pytest.approx(storage, rel=1e-13)
    assert work[rows.RESIDUAL] == pytest.approx(storage - stored - gained, rel=1e-10, abs=1e-13)


@pytest.mark.parametrize("held_surface", [None, -4.0])
@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("state", STATES)
def test_residuals_add_up_to_what_the_flows_do_not_explain(state, base, held_surface):
    h = STATES[state]
    conditions, codes = conditions_and_codes(base, held_surface=held_surface)
    dt, stored = 0.1, np.full(Z.size, 0.05)
    work, flows = assembled(h, conditions, codes, dt=dt, stored=stored)
    residual = work[rows.RESIDUAL].copy()
    # The row of a held head asks for that head; the flow it needs closes the balance of its node.
    if held_surface is not None:
        residual[0] = 0.0
    if base == "held head":
        residual[-1] = 0.0
    net = (
        flows[rows.INFLOW]
        - flows[rows.RUNOFF]
        - flows[rows.TRANSPIRATION]
        - flows[rows.EVAPORATION]
        - flows[rows.DRAINAGE]
    )
    moved = np.abs(flows).sum() * dt
    assert residual.sum() == pytest.approx(
        work[rows.STORAGE].sum() - stored.sum() - dt * net, abs=1e-12 * (1.0 + moved)
    )


def test_storage_of_a_column_is_the_trapezoid_of_its_water_and_the_pond():
    h = STATES["ponded"]
    conditions, codes = conditions_and_codes()
    water = assembled(h, conditions, codes)[0][rows.STORAGE]
    expected = h[0]
    for i, j in enumerate(SOIL):
        ends = water_held(SOILS[j], np.maximum(-h[i : i + 2], 0.0)) - SOILS[j].theta_r
        ends += curves.SPECIFIC_STORAGE * np.maximum(h[i : i + 2], 0.0)
        expected += (Z[i + 1] - Z[i]) * ends.mean()
    assert water.sum() == pytest.approx(expected, abs=1e-8)


def test_runoff_and_outflow_follow_the_head_above_their_limits():
    conditions, codes = conditions_and_codes("outflow")
    flows = assembled(STATES["ponded and running off"], conditions, codes)[1]
    assert flows[rows.RUNOFF] == pytest.approx(boundaries.RUNOFF_CONDUCTANCE * (0.83 - 0.5))
    assert flows[rows.DRAINAGE] == pytest.approx(boundaries.OUTFLOW_CONDUCTANCE * (28.3 - 17.3))
    quiet, codes = conditions_and_codes("no outflow yet")
    flows = assembled(STATES["ponded"], quiet, codes)[1]
    assert (flows[rows.RUNOFF], flows[rows.DRAINAGE]) == (0.0, 0.0)


def test_wet_roots_make_up_for_dry_ones_down_to_the_critical_index():
    # Jarvis (1989), J. Hydrol. 107:57-72, from memory: uptake is the demand while the root-weighted
    # reduction is above the critical index, and falls in proportion below it.
    h = STATES["dry"]
    conditions, codes = conditions_and_codes()
    index = float(ROOT @ sw.SShapedStress(250.0, 3.0).reduction(-h))
    demand = conditions[rows.TRANSPIRATION_DEMAND]
    for critical in (1.0, 0.5, index, 0.5 * index):
        conditions[rows.COMPENSATION_THRESHOLD] = critical
        uptake.compensate(h, ROOT, conditions, codes)
        taken = assembled(h, conditions, codes)[1][rows.TRANSPIRATION]
        # A hundredth less where roots near oven-dry soil are left out on the way to it.
        assert taken == pytest.approx(demand * min(index / critical, 1.0), rel=1e-3)


@given(st.integers(0, 2**32 - 1), st.integers(2, 40))
def test_the_tridiagonal_solver_against_a_banded_one(seed, n):
    random = np.random.default_rng(seed)
    matrix = np.zeros((rows.N_WORK, n))
    matrix[:4] = random.uniform(-1.0, 1.0, (4, n))
    matrix[1] += 3.0 * np.sign(matrix[1])
    matrix[0, 0] = matrix[2, -1] = 0.0
    banded = np.zeros((3, n))
    banded[0, 1:], banded[1], banded[2, :-1] = matrix[2, :-1], matrix[1], matrix[0, 1:]
    expected = solve_banded((1, 1), banded, -matrix[3])
    tridiagonal.solve(matrix)
    assert matrix[rows.CHANGE] == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_mean_between_depths_crosses_layers_exactly():
    h = -30.0 - 1.5 * Z
    top, bottom = 0.1, 2.9

    def at(depth):
        j = SOIL[np.searchsorted(Z, depth, side="right") - 1]
        return float(SOILS[j].water_content(-np.interp(depth, Z, h)))

    pieces = [top, *Z[1:5], bottom]
    expected = sum(quad(at, a, b)[0] for a, b in pairwise(pieces))
    found = mean_water_content(h, Z, SOIL, TABLES, SCALARS, top, bottom)
    assert found == pytest.approx(expected / (bottom - top), abs=1e-7)


def test_at_a_front_the_mean_is_what_the_balance_holds():
    h = np.where(np.arange(Z.size) < 3, -10.0, -1.0e4)
    held = np.empty(SOIL.size)
    interval_water_content(h, SOIL, ALL_SOILS, held)
    found = mean_water_content(h, Z, SOIL, TABLES, SCALARS, Z[2], Z[3])
    assert found == pytest.approx(held[2], abs=1e-12)


# --- demand and its reduction ------------------------------------------------------------------


@given(
    start=st.floats(0.0, 1000.0),
    length=st.floats(0.01, 24.0),
    first=st.floats(0.0, 0.9),
    part=st.floats(0.05, 1.0),
    x=st.floats(0.0, 1.0),
)
def test_demand_follows_its_part_of_a_half_sine(start, length, first, part, x):
    last = first + part * (1.0 - first)
    interval = np.zeros(rows.N_FORCING)
    interval[rows.START], interval[rows.END] = start, start + length
    interval[rows.PHASE_START], interval[rows.PHASE_END] = first, last
    # Written as a product: the difference of two cosines loses digits over short parts.
    whole = math.sin(math.pi * (first + last) / 2) * math.sin(math.pi * (last - first) / 2)
    now = first + (last - first) * x
    passed = math.sin(math.pi * (first + now) / 2) * math.sin(math.pi * (now - first) / 2)
    time = start + x * length
    assert forcing_share(interval, time) == pytest.approx(passed / whole, abs=1e-7)
    assert forcing_share(interval, start) == 0.0
    assert forcing_share(interval, interval[rows.END]) == pytest.approx(1.0, abs=1e-12)


def test_even_demand_passes_evenly():
    interval = np.zeros(rows.N_FORCING)
    interval[rows.START], interval[rows.END] = 3.0, 11.0
    assert [forcing_share(interval, t) for t in (3.0, 5.0, 11.0)] == [0.0, 0.25, 1.0]


STRESSES = [
    sw.SShapedStress(250.0, 3.0),
    sw.SShapedStress(900.0, 1.3),
    sw.RoundedStress(10.0, 25.0, 240.0, 8000.0),
    sw.RoundedStress(0.0, 5.0, 360.0, 1000.0, 0.5),
]


@pytest.mark.parametrize("stress", STRESSES, ids=repr)
def test_reduction_is_the_closed_form_of_the_stress(stress):
    suctions = np.concatenate([[-50.0, 0.0], np.geomspace(0.1, 1e7, 400)])
    code, parameters = stress.kernel_code, stress.kernel_parameters
    found = np.array([uptake.reduction(code, *parameters, s) for s in suctions])
    assert found[:, 0] == pytest.approx(np.asarray(stress.reduction(suctions)), abs=1e-12)
    for suction, (_, slope) in zip(suctions[2:], found[2:], strict=True):
        step = 1e-5 * suction
        ends = [uptake.reduction(code, *parameters, suction + s)[0] for s in (-step, step)]
        # Rounded corners have a jump in their second derivative.
        assert slope == pytest.approx((ends[1] - ends[0]) / (2 * step), rel=1e-3, abs=2e-6)


def test_without_reduction_roots_take_what_is_asked():
    assert uptake.reduction(uptake.NO_REDUCTION, 1.0, 1.0, 1.0, 1.0, 1.0, 1e6) == (1.0, 0.0)
