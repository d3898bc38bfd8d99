"""Infiltration problems that other solvers were published with.

Parameters are from memory; the values are converged numbers computed on refined meshes by an
separate computation on refined meshes, with their uncertainty in brackets where it matters.
"""

import numpy as np
import pytest
from reference import (
    RationalSoil,
    depth_where,
    desorptivity,
    head_at,
    hours_after_start,
    one_soil,
    suction_that_conducts,
    weather,
)

from soilwater import FreeDrainage, HeldSurface, VanGenuchten, WaterTable, simulate

# Celia, Bouloutas & Zarba (1990), Water Resources Research 26:1483, New Mexico soil: 100 cm at
# -1000 cm of head, held at -75 cm at the top and at -1000 cm at the base, one day.
NEW_MEXICO = VanGenuchten.measured("New Mexico soil")


def celia_new_mexico(**settings):
    profile = one_soil(NEW_MEXICO, 100.0, WaterTable(1100.0))
    return simulate(
        profile, weather(24.0), start=1000.0, surface=HeldSurface(75.0), output=24.0, **settings
    )


def test_celia_new_mexico_soil():
    run = celia_new_mexico()
    infiltrated = 0.1 * float(run.infiltration[-1])
    assert infiltrated == pytest.approx(4.112, rel=0.005)
    assert depth_where(run, 500.0) == pytest.approx(56.48, rel=0.005)


def test_celia_new_mexico_soil_converges_on_the_published_depths():
    run = celia_new_mexico(refinement=5.0, tolerance=1e-4)
    assert 0.1 * float(run.infiltration[-1]) == pytest.approx(4.112, abs=0.002)
    assert depth_where(run, 500.0) == pytest.approx(56.48, abs=0.02)


# Celia et al. (1990) after Haverkamp et al. (1977), Soil Sci. Soc. Am. J. 41:285: sand of 40 cm
# at -61.5 cm, held at -20.7 cm at the top, 360 s.
HAVERKAMP = RationalSoil(0.075, 0.287, 1.611e6, 3.96, 0.00944 * 3600.0, 1.175e6, 4.74)


def test_celia_haverkamp_sand():
    profile = one_soil(HAVERKAMP, 40.0, WaterTable(101.5))
    run = simulate(
        profile,
        weather(0.1),
        start=61.5,
        surface=HeldSurface(20.7),
        output=0.1,
        refinement=2.0,
        tolerance=1e-3,
    )
    published = [-21.943, -25.074, -37.115, -60.793]
    assert head_at(run, [5.0, 10.0, 15.0, 20.0]) == pytest.approx(published, abs=0.2)
    assert 0.1 * float(run.infiltration[-1]) == pytest.approx(2.3815, rel=0.005)


def test_haverkamp_constant_flux():
    # Haverkamp et al. (1977): the sand at 0.10 of water under 13.69 cm/h (from memory). Behind the
    # front K = q; the front travels at (q - K before)/(water behind - water before).
    flux, before = 13.69, HAVERKAMP.suction_at(0.10)
    suction_behind = (HAVERKAMP.conductivity_scale * (HAVERKAMP.k_sat / flux - 1.0)) ** (1 / 4.74)
    behind = float(HAVERKAMP.water_content(suction_behind))
    hours = [0.4, 0.7]
    run = simulate(
        one_soil(HAVERKAMP, 120.0, FreeDrainage()),
        weather(0.7, rain=flux),
        start=before,
        output=hours_after_start(hours),
        tolerance=1e-3,
    )
    assert float(run.water_content[-1, 0]) == pytest.approx(behind, abs=1e-4)
    middle = HAVERKAMP.suction_at(0.5 * (behind + 0.10))
    travelled = depth_where(run, middle, 1) - depth_where(run, middle, 0)
    speed = (flux - HAVERKAMP.conductivity(before)) / (behind - 0.10)
    assert travelled == pytest.approx(0.3 * speed, rel=0.005)


# Miller et al. (1998), Advances in Water Resources 21:599: hydrostatic over a water table at the
# base, then 10 cm of water kept on the surface.
MILLER = {
    # theta_r, theta_s, alpha [1/cm], n, k_sat [cm/day], depth [cm], days
    "dune sand": (0.093, 0.301, 0.0547, 4.264, 504.0, 1000.0, 0.18),
    "loam": (0.078, 0.43, 0.036, 1.56, 24.96, 500.0, 2.25),
    "clay loam": (0.095, 0.41, 0.019, 1.31, 6.24, 200.0, 1.0),
}


def miller(name, **settings):
    *parameters, k_sat, depth, days = MILLER[name]
    soil = VanGenuchten(*parameters, k_sat / 24.0)
    profile = one_soil(soil, depth, WaterTable(depth))
    return simulate(
        profile,
        weather(24.0 * days),
        start="drained",
        surface=HeldSurface(-10.0),
        output=24.0 * days,
        **settings,
    )


def test_miller_dune_sand():
    run = miller("dune sand")
    assert 0.1 * float(run.infiltration[-1]) == pytest.approx(103.60, rel=0.005)
    assert depth_where(run, 50.0) == pytest.approx(501.7, rel=0.005)


@pytest.mark.parametrize("name", ["loam", "clay loam"])
def test_miller_harder_soils_reach_one_answer(name):
    # No published number at hand; the answer must exist, close, and not hang on mesh or tolerance.
    runs = [miller(name), miller(name, refinement=2.0, tolerance=1e-3)]
    for run in runs:
        assert int(run.status) == 0
        assert abs(float(run.closure_error[-1])) < 1e-6 * float(run.infiltration[-1])
    coarse, fine = (float(run.infiltration[-1]) for run in runs)
    assert coarse == pytest.approx(fine, rel=0.005)
    # A saturated zone grows from the top; it takes in at least at k_sat.
    k_sat_depth = 10.0 * MILLER[name][4] * MILLER[name][6]
    assert fine > k_sat_depth


# Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils from memory).
VANDERBORGHT = {
    "sand": VanGenuchten.measured("benchmark sand"),
    "loam": VanGenuchten(0.08, 0.43, 0.04, 1.6, 50.0 / 24.0),
    "clay": VanGenuchten(0.10, 0.40, 0.01, 1.1, 10.0 / 24.0),
}


@pytest.mark.parametrize("name", VANDERBORGHT)
def test_vanderborght_transient_infiltration_is_a_travelling_front(name):
    # Their second set: 100 cm/day into dry soil at -400 cm. Behind the front K = q where the soil
    # can take it; a front once formed travels at (q - K_i)/(theta_q - theta_i) (Philip 1957).
    soil = VANDERBORGHT[name]
    flux = min(100.0 / 24.0, 0.3 * soil.k_sat)
    before = float(soil.water_content(400.0))
    behind = float(soil.water_content(suction_that_conducts(soil, flux)))
    speed = (flux - float(soil.conductivity(400.0))) / (behind - before)
    hours = np.array([0.45, 0.75]) * 150.0 / speed
    middle = float(soil.suction_at(0.5 * (behind + before)))
    run = simulate(
        one_soil(soil, 200.0, FreeDrainage()),
        weather(float(hours[-1]), rain=flux),
        start=400.0,
        output=hours_after_start(hours),
        refinement=2.0,
        tolerance=1e-3,
    )
    travelled = depth_where(run, middle, 1) - depth_where(run, middle, 0)
    assert travelled == pytest.approx(speed * (hours[1] - hours[0]), rel=0.01)


@pytest.mark.parametrize("name", VANDERBORGHT)
def test_vanderborght_evaporation_falls_with_the_root_of_time(name):
    # Their third set: soil (loam and clay at -200 cm, here sand at -40 cm) dries to -10 000 cm.
    # Without gravity the loss is S t^(1/2); gravity enters with t and is taken out between a time
    # and four times it (Philip 1957, Soil Science 83:345).
    soil, before = VANDERBORGHT[name], {"sand": 40.0}.get(name, 200.0)
    dryness = desorptivity(soil, 1e4, before)
    # Early: the dried layer is about a centimetre deep.
    span = float(soil.water_content(before) - soil.water_content(1e4))
    first = (0.4 * span / dryness) ** 2
    hours = np.array([first, 4.0 * first])
    run = simulate(
        one_soil(soil, 40.0, FreeDrainage()),
        weather(float(hours[-1])),
        start=before,
        surface=HeldSurface(1e4),
        output=hours_after_start(hours),
        tolerance=1e-4,
        refinement=10.0,
    )
    loss = -0.1 * run.infiltration.values
    found = (4.0 * loss[0] - loss[1]) / (2.0 * np.sqrt(first))
    assert found == pytest.approx(dryness, rel=0.01)
