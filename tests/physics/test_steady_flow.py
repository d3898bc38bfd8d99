"""Steady flow through layers and up from a water table, against quadrature and closed forms."""

import numpy as np
import pytest
from reference import (
    RationalSoil,
    one_soil,
    start_from,
    steady_head_by_quadrature,
    suction_that_conducts,
    weather,
)
from scipy.special import hyp2f1

from soilwater import FreeDrainage, HeldSurface, Layer, Profile, VanGenuchten, WaterTable, simulate

# Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils from memory), and the invented sands
# and gravel of the trade.
COARSE = VanGenuchten.measured("benchmark sand")
LOAM = VanGenuchten(0.08, 0.43, 0.04, 1.6, 50.0 / 24.0)
CLAY = VanGenuchten(0.10, 0.40, 0.01, 1.1, 10.0 / 24.0)
SAND = VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
GRAVEL = VanGenuchten(0.005, 0.42, 0.5, 2.2, 5000.0)

LAYERINGS = {
    "loam over sand": [(LOAM, 50.0), (COARSE, 50.0)],
    "sand over loam": [(COARSE, 50.0), (LOAM, 50.0)],
    "clay over sand": [(CLAY, 50.0), (COARSE, 50.0)],
    "sand, loam, sand": [(COARSE, 20.0), (LOAM, 30.0), (COARSE, 50.0)],
    "root zone over gravel": [(SAND, 30.0), (GRAVEL, 10.0)],
    "loam, sand, loam": [(LOAM, 20.0), (SAND, 30.0), (LOAM, 50.0)],
}


def stacked(layers, base):
    return Profile(
        tuple(Layer(soil, thickness, f"layer {i}") for i, (soil, thickness) in enumerate(layers)),
        base,
    )


def steady_run(profile, flux, start, refinement=1.0):
    return simulate(
        profile,
        weather(4000.0, rain=flux),
        start=start,
        output=4000.0,
        tolerance=1e-3,
        refinement=refinement,
    )


@pytest.mark.parametrize("flux", [0.5 / 24.0, 2.0 / 24.0])
@pytest.mark.parametrize("layering", LAYERINGS)
def test_steady_infiltration_through_layers_over_a_water_table(layering, flux):
    layers = LAYERINGS[layering]
    depth = sum(thickness for _, thickness in layers)
    profile = stacked(layers, WaterTable(depth))
    exact = steady_head_by_quadrature(layers, flux, 0.0)
    run = steady_run(profile, flux, "drained")
    heads = -run.node_suction[-1].values
    wanted = exact(run.node_depth.values)
    assert heads == pytest.approx(wanted, abs=0.05)


@pytest.mark.parametrize("flux", [0.5 / 24.0, 2.0 / 24.0])
@pytest.mark.parametrize("layering", LAYERINGS)
def test_steady_infiltration_through_layers_into_deep_soil(layering, flux):
    # Unit gradient at the base, as in the first set of Vanderborght et al. (2005).
    layers = LAYERINGS[layering]
    base_suction = suction_that_conducts(layers[-1][0], flux)
    exact = steady_head_by_quadrature(layers, flux, -base_suction)
    profile = stacked(layers, FreeDrainage())
    run = steady_run(profile, flux, start_from(profile, lambda z: exact(z) - 5.0))
    heads = -run.node_suction[-1].values
    wanted = exact(run.node_depth.values)
    assert heads == pytest.approx(wanted, abs=0.05)


def gardner_depth(soil, evaporation, suction):
    """Height [cm] above water at which steady evaporation E leaves a suction; K = A/(S^n + b).

    Gardner (1958), Soil Sci. 85:228: the integral of ds / (1 + E/K), by the hypergeometric
    function (computed).
    """
    n = soil.conductivity_power
    a = soil.k_sat * soil.conductivity_scale
    share = evaporation / (a + evaporation * soil.conductivity_scale)
    at = suction * hyp2f1(1.0, 1.0 / n, 1.0 + 1.0 / n, -share * suction**n)
    return at / (1.0 + evaporation * soil.conductivity_scale / a)


def gardner_soil(n, a=1000.0, b=400.0):
    """Soil that conducts a/(suction^n + b) cm/h; its water curve does not matter when steady."""
    return RationalSoil(0.05, 0.40, 400.0, 2.0, a / b, b, n)


def test_the_closed_form_of_gardner_gives_its_evaluated_row():
    # A = 1000, b = 400, E = .3, surface suction 1000, n = 2: close to 82.3648 cm, the limit for a
    # dry surface, (1 + E b/A)^-1 ((A + E b)/E)^(1/n) pi/(n sin(pi/n)), by less than 4 %.
    limit = (1120.0 / 0.3) ** 0.5 / 1.12 * np.pi / 2.0
    depth = gardner_depth(gardner_soil(2.0), 0.3, 1000.0)
    assert depth < limit
    assert depth == pytest.approx(82.3648, abs=1e-4)


@pytest.mark.parametrize("n", [1.5, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("suction", [200.0, 1000.0])
def test_evaporation_from_a_water_table_is_that_of_gardner(n, suction):
    soil, evaporation = gardner_soil(n), 0.05
    depth = gardner_depth(soil, evaporation, suction)
    profile = one_soil(soil, depth, WaterTable(depth))
    run = simulate(
        profile,
        weather(3000.0),
        start="drained",
        surface=HeldSurface(suction),
        output=1000.0,
        tolerance=1e-3,
        refinement=4.0,
    )
    rise = -0.1 * float(run.drainage[-1] - run.drainage[-2]) / 1000.0
    assert rise == pytest.approx(evaporation, rel=0.002)
