"""Columns no green will ever be: none may fail, lose water or leave its bounds.

Conservation of water and the physical bounds are the outside truth here; the columns are random
(see `hard_columns`) and each is the column of its seed for good.
"""

import hard_columns
import numpy as np
import pytest

import soilwater as sw
from soilwater.kernels.curves import OVEN_DRY_SUCTION, SPECIFIC_STORAGE

IN_CI = 300
LONG = 20_000
ONCE_FAILED = (349, 354, 373, 382, 387, 431, 579, 706, 1106, 1203, 1846, 2142, 2143, 3154)
ROUND_OFF = 1e-9
"""Closure [mm] that is round-off of the water a column holds."""


def faults_of(seed):
    """What is wrong with the column of a seed, in words."""
    case = hard_columns.hard_case(seed)
    half = case.weather.start + (case.weather.end - case.weather.start) // 2
    run = sw.simulate(
        case.profile,
        case.weather,
        turf=case.turf,
        start=case.start,
        ponding_limit=hard_columns.ponding_limit(seed),
        output=[case.weather.start, half, case.weather.end],
        on_failure="return",
    )
    if int(run.status) != 0:
        return [f"seed {seed}: {run.status_text.values}"]
    faults = []
    water = run.water_content.values
    suction = run.node_suction.values
    if not (np.isfinite(water).all() and np.isfinite(suction).all()):
        faults.append(f"seed {seed}: a value is not finite")
    pressure = max(-float(suction.min()), 0.0)
    most = max(layer.soil.theta_s for layer in case.profile.layers)
    if water.min() < -1e-12 or water.max() > most + SPECIFIC_STORAGE * pressure + 1e-9:
        faults.append(f"seed {seed}: water content {water.min()} to {water.max()}")
    if suction.max() > OVEN_DRY_SUCTION * (1.0 + 1e-12):
        faults.append(f"seed {seed}: suction {suction.max()}")
    end = run.isel(time=-1)
    through = end.rain + end.runoff + end.transpiration + end.evaporation + abs(end.drainage)
    moved = max(float(through), float(abs(run.storage_change).max()))
    closure = float(abs(run.closure_error).max())
    allowed = 1e-6 * moved + ROUND_OFF
    if closure > allowed:
        faults.append(f"seed {seed}: closure {closure:.1e} mm of {moved:.1e} mm moved")
    return faults


@pytest.mark.parametrize("first", range(0, IN_CI, 20))
def test_hard_columns(first):
    assert [fault for seed in range(first, first + 20) for fault in faults_of(seed)] == []


@pytest.mark.parametrize("seed", ONCE_FAILED)
def test_columns_that_once_failed(seed):
    assert faults_of(seed) == []


@pytest.mark.long
@pytest.mark.parametrize("first", range(IN_CI, LONG, 100))
def test_many_hard_columns(first):
    assert [fault for seed in range(first, first + 100) for fault in faults_of(seed)] == []


def test_steps_do_not_stall_where_an_outflow_ends():
    # Close output times once met the end of drainage with ever shorter steps.
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    weather = sw.steady_weather(2, 0.0)
    hours = np.concatenate([[0.0], np.geomspace(1.0 / 60.0, 48.0, 240)])
    run = sw.simulate(
        sw.Profile.over_gravel(sand, 30.0),
        weather,
        output=weather.start + (hours * 3.6e12).astype("timedelta64[ns]"),
    )
    assert int(run.steps) < 2 * hours.size


def test_uptake_ends_at_the_largest_suction_though_a_clay_still_holds_water():
    clay = sw.VanGenuchten(0.05, 0.45, 0.01, 1.2, 0.2)
    run = sw.simulate(
        sw.Profile((sw.Layer(clay, 15.0, "clay"),), sw.Sealed()),
        sw.steady_weather(400, 9.0),
        turf=sw.Turf(15.0, stress=sw.SShapedStress(1e4, 1.0)),
        start=100.0,
        output=2400.0,
    )
    assert 0.9 * OVEN_DRY_SUCTION < float(run.node_suction.max()) <= OVEN_DRY_SUCTION
    assert float(run.water_content.min()) > clay.theta_r + 0.01
