"""Order in space and time, and error against tolerance, by constructed and by converged solutions.

Constructed: in an exponential soil K and water are linear, and roots spread like the slowest mode
of the column, asking for water along a half-sine from sunrise to sunset, move that mode alone:
k = steady + f(t) g(z), with g = e^(alpha z/2) sin(mu (L - z)), f' = -rate f - demand(t).
"""

import numpy as np
import pytest
from reference import (
    START,
    ExponentialSoil,
    exponential_steady_head,
    hours_after_start,
    observed_order,
    one_soil,
    start_from,
    weather,
)
from scipy.optimize import brentq

from soilwater import (
    FreeDrainage,
    Profile,
    Turf,
    VanGenuchten,
    WaterTable,
    simulate,
    steady_weather,
)

SOIL = ExponentialSoil(theta_r=0.06, theta_s=0.40, alpha=0.05, k_sat=0.5)
DEPTH, FLUX, DEMAND = 60.0, 0.1, 8.0  # cm, cm/h of rain, mm/day

# No change of flux at the surface, g - g'/alpha = 0, and none of head at the water table.
MU = brentq(lambda m: np.tan(m * DEPTH) + 2.0 * m / SOIL.alpha, 0.51 * np.pi / DEPTH, np.pi / DEPTH)
SPAN = SOIL.theta_s - SOIL.theta_r
RATE = SOIL.k_sat / (SOIL.alpha * SPAN) * (SOIL.alpha**2 / 4.0 + MU**2)


def mode(z):
    return np.exp(0.5 * SOIL.alpha * z) * np.sin(MU * (DEPTH - z))


def mode_integral(z):
    """Integral of the mode from the surface to a depth [cm]."""
    a = 0.5 * SOIL.alpha

    def antiderivative(z):
        angle = MU * (DEPTH - z)
        return np.exp(a * z) * (a * np.sin(angle) + MU * np.cos(angle)) / (a * a + MU * MU)

    return antiderivative(z) - antiderivative(0.0)


class NoStress:
    """Roots take what is asked of them at any suction."""

    kernel_code, kernel_parameters = 0, (0.0, 0.0, 0.0, 0.0, 0.0)

    def reduction(self, suction):
        return np.ones_like(suction)


class RootsLikeTheMode(Turf):
    """Roots spread over depth like the slowest mode."""

    def root_fraction(self, top, bottom):
        return (mode_integral(bottom) - mode_integral(top)) / mode_integral(DEPTH)


def amplitude(hours):
    """f(t) for demand along half-sines from 6 to 18 h: the sum of what each day has left."""
    peak, w, f = 0.1 * DEMAND * np.pi / 24.0 / (SPAN * mode_integral(DEPTH)), np.pi / 12.0, 0.0
    for sunrise in np.arange(6.0, hours, 24.0):
        lit = min(hours - sunrise, 12.0)
        swing = RATE * np.sin(w * lit) - w * np.cos(w * lit) + w * np.exp(-RATE * lit)
        f -= peak * swing / (RATE**2 + w**2) * np.exp(-RATE * (hours - sunrise - lit))
    return f


def exact_head(z, hours):
    steady = np.exp(SOIL.alpha * exponential_steady_head(SOIL, FLUX, DEPTH - z))
    return np.log(steady + amplitude(hours) * mode(z)) / SOIL.alpha


PROFILE = one_soil(SOIL, DEPTH, WaterTable(DEPTH))
HOURS = np.array([12.0, 18.0, 30.0, 39.0])


def uptake_run(refinement, tolerance):
    return simulate(
        PROFILE,
        steady_weather(2, DEMAND, rain=240.0 * FLUX, start=START),
        turf=RootsLikeTheMode(DEPTH, stress=NoStress()),
        start=start_from(
            PROFILE, lambda z: exponential_steady_head(SOIL, FLUX, DEPTH - z), refinement
        ),
        output=hours_after_start(HOURS),
        refinement=refinement,
        tolerance=tolerance,
    )


def uptake_error(refinement, tolerance):
    run = uptake_run(refinement, tolerance)
    z = run.node_depth.values
    exact = np.array([exact_head(z, hours) for hours in HOURS])
    return np.abs(-run.node_suction.values - exact).max()


def test_the_constructed_solution_moves():
    heads = np.array([exact_head(np.zeros(1), hours)[0] for hours in (0.0, *HOURS)])
    assert np.abs(np.diff(heads)).min() > 0.05
    assert heads.max() - heads.min() > 1.5


def test_second_order_in_space_under_a_daily_demand():
    errors = [uptake_error(refinement, 1e-7) for refinement in (0.5, 1.0, 2.0, 4.0)]
    assert observed_order(errors).min() >= 1.9
    assert errors[1] < 0.01


def converged_difference(make_run, tolerances, finest):
    """Largest difference in water content from a run at the finest tolerance, and the steps."""
    reference = make_run(finest).water_content.values
    runs = [make_run(tolerance) for tolerance in tolerances]
    errors = [np.abs(run.water_content.values - reference).max() for run in runs]
    return np.array(errors), np.array([int(run.steps) for run in runs], dtype=float)


TOLERANCES = np.array([1e-2, 1e-3, 1e-4, 1e-5])


def test_error_is_in_proportion_to_the_tolerance_over_three_decades():
    # From 1e-3 down: above it the ends of daylight, not the tolerance, set the steps.
    tolerances = 0.1 * TOLERANCES
    errors, steps = converged_difference(lambda tol: uptake_run(1.0, tol), tolerances, 1e-8)
    slope = np.polyfit(np.log(tolerances), np.log(errors), 1)[0]
    assert slope == pytest.approx(1.0, abs=0.2)
    # Order in time: error against the mean length of a step.
    assert -np.polyfit(np.log(steps), np.log(errors), 1)[0] >= 1.8


SAND = VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
TURF = Turf(12.0, fraction_above=(0.9, 10.0))
SAND_RUNS = {
    "drying": lambda tol: simulate(
        Profile.over_gravel(SAND, 30.0),
        steady_weather(5, 6.0),
        turf=TURF,
        start="drained",
        output=24.0,
        tolerance=tol,
    ),
    "draining": lambda tol: simulate(
        one_soil(SAND, 60.0, FreeDrainage()),
        weather(6.0),
        start=5.0,
        output=1.0,
        tolerance=tol,
    ),
    "draining to a gravel": lambda tol: simulate(
        Profile.over_gravel(SAND, 30.0), weather(24.0), output=1.0, tolerance=tol
    ),
}


@pytest.mark.parametrize("name", SAND_RUNS)
def test_error_in_sand_falls_with_the_tolerance(name):
    # Under daylight demand from 1e-3 down: above it the half-sine, not the tolerance, sets the
    # steps, and the error starts from a twentieth of the tolerance.
    daylight = name == "drying"
    tolerances = 0.1 * TOLERANCES if daylight else TOLERANCES
    errors, steps = converged_difference(SAND_RUNS[name], tolerances, 1e-8)
    assert (errors < (0.3 if daylight else 1.0) * tolerances).all()
    slope = np.polyfit(np.log(tolerances), np.log(errors), 1)[0]
    assert slope >= (0.7 if daylight else 0.8)
    # Steps that end at sunrise and sunset are no measure of order: the constructed case is.
    assert daylight or -np.polyfit(np.log(steps), np.log(errors), 1)[0] >= 1.8
