"""Lines over any ground end, keep their balance, and make nothing sideways."""

import os

import numpy as np
import pytest
from grounds import CAPPING_SAND, EVEN_SAND, MIDDLE_MIX, STRAIGHT_SAND, WET_MIX

import soilwater as sw

LINES = int(os.environ.get("SOILWATER_RANDOM_LINES", "6"))
"""How many to draw; a hundred and more before a change of the kernels goes in."""


@pytest.mark.parametrize("seed", range(LINES))
def test_any_line_ends_and_keeps_its_balance(seed):
    rng = np.random.default_rng(seed)
    sand = (MIDDLE_MIX, WET_MIX, STRAIGHT_SAND, EVEN_SAND, CAPPING_SAND)[rng.integers(5)]
    n = int(rng.integers(5, 25))
    x = np.cumsum(rng.uniform(25.0, 100.0, n))
    level = -rng.uniform(0.0, 0.1) * x + rng.uniform(0.0, 6.0) * np.sin(x / rng.uniform(80, 400))
    depth = rng.uniform(20.0, 60.0) + rng.uniform(0.0, 3.0) * np.sin(x / rng.uniform(80, 400))
    green = sw.Profile.over_gravel(sand, 30.0, base_suction=rng.uniform(0.0, 9.0))
    start = ["soaked", "drained", f"{10.0 ** rng.uniform(-3, 4):.4g} cm"][rng.integers(3)]
    weather = sw.steady_weather(4, rng.uniform(0.0, 8.0))
    storm = sw.Event(weather.start + np.timedelta64(30, "h"), rng.uniform(0.1, 80.0), duration=1.0)
    run = sw.simulate(
        sw.Transect(x, level, depth, green, spacing=100.0), weather, start=start,
        turf=sw.Turf.creeping_bentgrass(), irrigation=[storm], output="24 h", on_failure="return",
    )  # fmt: skip
    assert (run.status == sw.Status.OK).all()
    out = run.drainage + run.runoff + run.transpiration + run.evaporation
    moved = np.abs(run.storage_change) + out + run.irrigation
    column = run.storage_change + out + run.interception - run.irrigation - run.lateral_inflow
    assert (np.abs(column) <= 1e-6 * moved + 1e-8).all()
    assert float(np.abs(run.lateral_inflow.weighted(run.plan_area).mean("distance")).max()) < 1e-9
