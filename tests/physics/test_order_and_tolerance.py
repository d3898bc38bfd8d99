"""Order in space and time, and error against tolerance, by constructed and by converged solutions.

The orders themselves are problems of `problems.order`, held to their bounds in
`test_verification`; here is what those lean on, and sands for which there is no exact solution.
"""

import numpy as np
import pytest
from grounds import MIDDLE_MIX as SAND
from manufactured import head, head_rate, head_slope
from problems.order import FINE_TOLERANCES, HOURS, converged_difference, exact_head
from reference import one_soil, weather

from soilwater import FreeDrainage, Profile, Turf, simulate, steady_weather


def test_the_constructed_solution_moves():
    heads = np.array([exact_head(np.zeros(1), hours)[0] for hours in (0.0, *HOURS)])
    assert np.abs(np.diff(heads)).min() > 0.05
    assert heads.max() - heads.min() > 1.5


def test_slopes_of_the_chosen_head_are_its_derivatives():
    z, t, step = np.linspace(0.0, 40.0, 9), 1.3, 1e-4
    by_depth = (head(z + step, t) - head(z - step, t)) / (2.0 * step)
    by_time = (head(z, t + step) - head(z, t - step)) / (2.0 * step)
    assert head_slope(z, t) == pytest.approx(by_depth, abs=1e-8)
    assert head_rate(z, t) == pytest.approx(by_time, abs=1e-8)


TURF = Turf(12.0, fraction_above=(0.9, 10.0))
SAND_RUNS = {
    "drying": lambda tol: simulate(
        Profile.over_gravel(SAND, 30.0, base_suction=3.0),
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
    # From the first hour on: later all is at rest, and errors are a thousandth of the tolerance.
    "draining to a gravel": lambda tol: simulate(
        Profile.over_gravel(SAND, 30.0), weather(24.0), output=1.0, tolerance=tol
    ),
}


@pytest.mark.parametrize("name", SAND_RUNS)
def test_error_in_sand_falls_with_the_tolerance(name):
    # Under daylight demand from 1e-3 down: above it the half-sine, not the tolerance, sets the
    # steps, and the error starts from a twentieth of the tolerance.
    daylight = name == "drying"
    tolerances = FINE_TOLERANCES if daylight else 10.0 * FINE_TOLERANCES
    errors, steps = converged_difference(SAND_RUNS[name], tolerances, 1e-8)
    assert (errors < (0.3 if daylight else 1.0) * tolerances).all()
    slope = np.polyfit(np.log(tolerances), np.log(errors), 1)[0]
    assert slope >= (0.7 if daylight else 0.8)
    # Steps that end at sunrise and sunset are no measure of order: the constructed case is.
    assert daylight or -np.polyfit(np.log(steps), np.log(errors), 1)[0] >= 1.8
