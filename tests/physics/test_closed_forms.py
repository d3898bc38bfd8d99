"""The closed forms that problems are held to: evaluated rows, and balances they must keep."""

import numpy as np
import pytest
from problems.evaporation import DRYING, duration_of_first_stage
from problems.exponential import COARSE, DEPTH, FINE, SOIL
from problems.infiltration import BW, DEFICIT, K_WET, PSI, green_ampt, mein_larson_ponding
from problems.published import MILLER, VANDERBORGHT, miller_run
from problems.steady import (
    CLASS_SAND,
    CLASS_SAND_MM,
    gardner_depth,
    gardner_soil,
    storage_at_rest,
)
from reference import (
    broadbridge_white,
    broadbridge_white_drying,
    layered_srivastava_yeh_head,
    philip_series,
    srivastava_yeh_head,
    suction_that_conducts,
    travelling_front,
)

from soilwater import VanGenuchten


def test_srivastava_and_yeh():
    # Computed from the published form and equal to an independent Laplace inversion.
    heads = srivastava_yeh_head(SOIL, DEPTH, 0.1, 0.9, 10.0, [20.0, 40.0, 60.0, 80.0, 100.0])
    assert heads == pytest.approx([-14.5797, -16.9198, -10.7697, -4.9727, -1.9129], abs=1e-4)


def test_the_layered_form_is_the_series_where_there_is_one_soil():
    heights = np.array([20.0, 60.0, 100.0])
    series = srivastava_yeh_head(FINE, 100.0, 0.1, 0.9, 10.0, heights)
    for layers in ([(FINE, 100.0)], [(FINE, 30.0), (FINE, 70.0)]):
        found = layered_srivastava_yeh_head(layers, 0.1, 0.9, 10.0, heights)
        assert found == pytest.approx(series, abs=1e-6)
    other = layered_srivastava_yeh_head([(FINE, 30.0), (COARSE, 70.0)], 0.1, 0.9, 10.0, heights)
    assert np.abs(other - series).max() > 1.0


def test_broadbridge_and_white():
    assert broadbridge_white(1.17, 0.5, 0.5, 0.0)[1] == pytest.approx(0.624059, abs=2e-6)


@pytest.mark.parametrize("name", DRYING)
def test_the_form_for_drying_loses_what_leaves_it(name):
    # What left through the surface, and drained below it, is what the profile has lost.
    before, rate = DRYING[name]
    for share in (0.2, 0.9):
        time = share * duration_of_first_stage(before, rate)
        depth, saturation = broadbridge_white_drying(
            BW.c, before, rate, time, np.linspace(0.0, 40.0, 40_001)
        )
        assert saturation[-1] == pytest.approx(before, abs=1e-6)
        lost = np.trapezoid(before - saturation, depth)
        drained = (BW.c - 1.0) * before**2 / (BW.c - before)
        assert lost == pytest.approx((rate + drained) * time, rel=1e-5)


@pytest.mark.parametrize("name", DRYING)
def test_the_form_for_drying_loses_it_at_the_surface(name):
    # Flux K - D dT/dz at the surface, upward, is the rate.
    before, rate = DRYING[name]
    c = BW.c
    for share in (0.2, 0.9):
        time = share * duration_of_first_stage(before, rate)
        y = np.linspace(0.0, 2e-3, 3)
        depth, t = broadbridge_white_drying(c, before, rate, time, y)
        slope = np.gradient(t, depth, edge_order=2)[0]
        flux = (c - 1.0) * t[0] ** 2 / (c - t[0]) - c * (c - 1.0) / (c - t[0]) ** 2 * slope
        assert -flux == pytest.approx(rate, rel=1e-3)


def test_sorptivity_of_the_new_mexico_soil():
    # Celia et al. (1990) soil wetted from -1000 to -75 cm: S = .0101697 cm s^-1/2, from a separate
    # computation by Philip's equation.
    sorptivity, _ = philip_series(VanGenuchten.measured("New Mexico soil"), 75.0, 1000.0)
    assert sorptivity / 60.0 == pytest.approx(0.0101697, rel=1e-4)


def test_green_and_ampt_and_mein_and_larson():
    # Implicit form F - psi dtheta ln(1 + F/(psi dtheta)) = K t; rows by Lambert's W. A textbook
    # prints 3.17 cm and .17 h (from memory).
    infiltrated = float(green_ampt(1.0))
    assert infiltrated == pytest.approx(3.1648, abs=1e-4)
    assert infiltrated - PSI * DEFICIT * np.log1p(infiltrated / (PSI * DEFICIT)) == pytest.approx(
        K_WET, rel=1e-12
    )
    assert mein_larson_ponding(5.0) == pytest.approx(0.16948, abs=1e-5)


def test_gardner():
    # A = 1000, b = 400, E = .3, surface suction 1000, n = 2: close to 82.3648 cm, the limit for a
    # dry surface, (1 + E b/A)^-1 ((A + E b)/E)^(1/n) pi/(n sin(pi/n)), by less than 4 %.
    limit = (1120.0 / 0.3) ** 0.5 / 1.12 * np.pi / 2.0
    depth = gardner_depth(gardner_soil(2.0), 0.3, 1000.0)
    assert depth < limit
    assert depth == pytest.approx(82.3648, abs=1e-4)


def test_storage_of_sand_at_rest():
    assert storage_at_rest(CLASS_SAND, 30.0) == pytest.approx(CLASS_SAND_MM, abs=5e-4)


@pytest.mark.parametrize("name", VANDERBORGHT)
def test_a_travelling_front_carries_the_flux_of_its_place(name):
    # K (1 - dh/dz) = K_i + c (theta - theta_i), with dh/dz by differences along the shape.
    soil, before = VANDERBORGHT[name], 400.0
    flux = 0.3 * soil.k_sat
    share, depth = travelling_front(soil, flux, before)
    dry, wet = (float(soil.water_content(s)) for s in (before, suction_that_conducts(soil, flux)))
    suction = np.array([float(soil.suction_at(dry + x * (wet - dry))) for x in share])
    found = soil.conductivity(suction) * (1.0 + np.gradient(suction, depth))
    slow = float(soil.conductivity(before))
    within = slice(10, -10)
    assert found[within] == pytest.approx((slow + share * (flux - slow))[within], rel=0.01)
    assert np.interp(0.5, share[::-1], depth[::-1]) == pytest.approx(0.0, abs=1e-9)


def test_flooded_soil_takes_in_at_least_what_it_conducts():
    # A saturated zone grows from the top, under a gradient above one.
    for name in ("loam", "clay loam"):
        k_sat_depth = 10.0 * MILLER[name][4] * MILLER[name][6]
        assert float(miller_run(name).infiltration[-1]) > k_sat_depth
