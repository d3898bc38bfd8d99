"""A whole green on a grid against a solution of it made elsewhere, and against symmetry."""

from pathlib import Path

import numpy as np
import pytest
from grounds import MIDDLE_MIX, WET_MIX
from reference import hours_after_start

import soilwater as sw
from soilwater.weather.made import from_days

# 500 m2 in two tiers with a mound, over gravel that follows only in part: wet mix, 28-46 cm deep.
# Made with a solver written apart from this package, on the same grid of 1 m, to about .02 % by
# volume. Saturated start, 48 h without demand, then 5 mm/day as a half-sine from 6 to 18 h; roots
# even over 10 cm; outflow above a head of -3 cm; closed outline. Readings [%] of 48 cells.
REFERENCE = np.load(Path(__file__).parent / "reference_green.npz")
TURF = sw.Turf(10.0, "uniform", stress=sw.SShapedStress(300.0, 3.0))


@pytest.fixture(scope="module")
def reading():
    green = sw.Profile.over_gravel(WET_MIX, 30.0, base_suction=3.0)
    ground = sw.GreenMap(REFERENCE["surface_level"], REFERENCE["probe_depth"], green, "1 m")
    days = hours_after_start(24.0 * np.arange(13))
    demand = np.full(12, 5.0)
    demand[:2] = 0.0
    run = sw.simulate(
        ground, from_days(days, np.zeros(12), demand), turf=TURF, start="0.001 cm",
        ponding_limit=0.0, output=hours_after_start(REFERENCE["hours"]),
        keep=("node_suction", "drainage"),
    )  # fmt: skip
    return 100.0 * sw.meter_reading(run, rod=7.6).transpose("time", "spot").values


def test_a_green_reads_as_solved_elsewhere(reading):
    error = np.abs(reading[:, REFERENCE["cell"]] - REFERENCE["reading"])
    assert error.max() < 0.1
    assert np.sqrt((error**2).mean()) < 0.04


def test_columns_alone_would_miss_it_by_several_per_cent(reading):
    gap = np.abs(reading[:, REFERENCE["cell"]] - REFERENCE["reading_alone"])
    assert gap.max(axis=1)[2] > 2.0


def test_a_turned_green_reads_the_same():
    green = sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0)
    rng = np.random.default_rng(3)
    level, depth = rng.uniform(0.0, 8.0, (4, 5)), rng.uniform(27.0, 33.0, (4, 5))

    def after_two_days(level, depth):
        ground = sw.GreenMap(level, depth, green, "1 m")
        run = sw.simulate(ground, sw.steady_weather(2, 0.0), output="48 h")
        return ground.on_map(sw.meter_reading(run, rod=7.6).isel(time=-1)).values

    straight = after_two_days(level, depth)
    assert np.ptp(straight) > 0.02
    assert np.abs(after_two_days(level.T, depth.T).T - straight).max() < 2e-4
    assert np.abs(after_two_days(level[::-1], depth[::-1])[::-1] - straight).max() < 2e-4
