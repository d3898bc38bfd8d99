"""An exponential soil over a water table: the closed forms of Gardner and of Srivastava & Yeh."""

import numpy as np
import pytest
from reference import (
    ExponentialSoil,
    exponential_steady_head,
    head_at,
    observed_order,
    one_soil,
    srivastava_yeh_head,
    start_from,
    weather,
)

from soilwater import HeldSurface, WaterTable, simulate

# Srivastava & Yeh (1991), Water Resources Research 27:753: the soil of their example.
SOIL = ExponentialSoil(theta_r=0.06, theta_s=0.40, alpha=0.1, k_sat=1.0)
DEPTH = 100.0
PROFILE = one_soil(SOIL, DEPTH, WaterTable(DEPTH))
HEIGHTS = np.array([10.0, 20.0, 40.0, 60.0, 80.0, 90.0, 100.0])


def change_of_flux(before, after, hours, refinement=1.0, tolerance=1e-5):
    """Run from steady flow at one flux [cm/h] under another."""
    start = start_from(
        PROFILE, lambda z: exponential_steady_head(SOIL, before, DEPTH - z), refinement
    )
    return simulate(
        PROFILE,
        weather(hours, rain=after),
        start=start,
        output=hours,
        refinement=refinement,
        tolerance=tolerance,
    )


def test_the_closed_form_gives_its_evaluated_row():
    # Computed from the published form and equal to an independent Laplace inversion.
    heads = srivastava_yeh_head(SOIL, DEPTH, 0.1, 0.9, 10.0, [20.0, 40.0, 60.0, 80.0, 100.0])
    assert heads == pytest.approx([-14.5797, -16.9198, -10.7697, -4.9727, -1.9129], abs=1e-4)


@pytest.mark.parametrize("hours", [1.0, 5.0, 10.0, 30.0, 100.0])
@pytest.mark.parametrize(("before", "after"), [(0.1, 0.9), (0.9, 0.1)], ids=["wetting", "draining"])
def test_transient_flow_follows_srivastava_and_yeh(before, after, hours):
    run = change_of_flux(before, after, hours)
    exact = srivastava_yeh_head(SOIL, DEPTH, before, after, hours, HEIGHTS)
    assert head_at(run, DEPTH - HEIGHTS) == pytest.approx(exact, abs=0.05)


@pytest.mark.parametrize("hours", [1.0, 5.0, 30.0])
@pytest.mark.parametrize(
    ("before", "after"),
    [(1e-5, 0.9), (0.9, 1e-5), (0.0, 0.5), (0.5, 0.0)],
    ids=["wetting", "draining", "wetting from rest", "draining to rest"],
)
def test_flux_may_change_over_orders_of_magnitude(before, after, hours):
    # Ahead of a front into dry soil a head of -60 cm stands for 0.001 of water: there the water
    # content is the measure on the coarse mesh, and the head on a mesh three times finer.
    exact = srivastava_yeh_head(SOIL, DEPTH, before, after, hours, HEIGHTS)
    run = change_of_flux(before, after, hours)
    water = SOIL.water_content(-head_at(run, DEPTH - HEIGHTS))
    assert water == pytest.approx(SOIL.water_content(-exact), abs=3e-4)
    finer = change_of_flux(before, after, hours, refinement=3.0)
    assert head_at(finer, DEPTH - HEIGHTS) == pytest.approx(exact, abs=0.05)


@pytest.mark.parametrize(("before", "after"), [(0.1, 0.9), (0.9, 0.1)], ids=["wetting", "draining"])
def test_error_falls_with_the_square_of_the_distance_of_nodes(before, after):
    errors = []
    for refinement in (0.5, 1.0, 2.0, 4.0):
        run = change_of_flux(before, after, 10.0, refinement, tolerance=1e-7)
        height = DEPTH - run.node_depth.values
        exact = srivastava_yeh_head(SOIL, DEPTH, before, after, 10.0, height)
        errors.append(np.abs(-run.node_suction[-1].values - exact).max())
    assert observed_order(errors).min() >= 1.9


@pytest.mark.parametrize("flux", [0.9, 0.3, 0.01, 1e-4, 0.0])
def test_steady_flow_down_is_exact_on_any_mesh(flux):
    start = start_from(PROFILE, lambda z: exponential_steady_head(SOIL, flux, DEPTH - z), 0.2)
    run = simulate(PROFILE, weather(240.0, rain=flux), start=start, output=240.0, refinement=0.2)
    at_nodes = exponential_steady_head(SOIL, flux, DEPTH - run.node_depth.values)
    assert -run.node_suction[-1].values == pytest.approx(at_nodes, abs=1e-4)


def test_steady_flow_up_from_a_water_table_is_exact():
    # Capillary rise of q: K(surface) = -q + (k_sat + q) e^(-alpha L); held there from above.
    up = 0.4 * SOIL.k_sat * np.exp(-SOIL.alpha * 30.0) / (1.0 - np.exp(-SOIL.alpha * 30.0))
    profile = one_soil(SOIL, 30.0, WaterTable(30.0))
    surface = float(exponential_steady_head(SOIL, -up, 30.0))
    run = simulate(
        profile,
        weather(2000.0),
        start="drained",
        surface=HeldSurface(-surface),
        output=100.0,
        tolerance=1e-4,
    )
    exact = exponential_steady_head(SOIL, -up, 30.0 - run.node_depth.values)
    assert -run.node_suction[-1].values == pytest.approx(exact, abs=1e-4)
    rise = -0.1 * float(run.drainage.diff("time")[-1]) / 100.0
    assert rise == pytest.approx(up, rel=1e-6)
