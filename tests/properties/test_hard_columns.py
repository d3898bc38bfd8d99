"""Columns no green will ever be: none may fail, lose water or leave its bounds.

Conservation of water and the physical bounds are the outside truth here; the columns are random
(see `hard_columns`) and each is the column of its seed for good. `benchmarks/hard_columns.py` runs
all that the marker "long" stands for and tells which were the hardest.
"""

import harder_columns
import numpy as np
import pytest
from grounds import MIDDLE_MIX
from hard_columns import faults_of, solve

import soilwater as sw
from soilwater.kernels.curves import OVEN_DRY_SUCTION

IN_CI = 300
LONG = 20_000
ONCE_FAILED = (
    349, 354, 373, 382, 387, 431, 536, 539, 579, 679, 706, 722, 975, 1106, 1203, 1846, 1937, 2122,
    2142, 2143, 2459, 2513, 2559, 3154, 3189, 3294, 3384, 3427, 3788, 3879, 3930,
    8332, 10694, 13073, 14547, 15404,
)  # fmt: skip


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


HARDER, GREENS = 5000, 1000
HARDER_ONCE_FAILED = (818, 1230, 1701)
"""Nodes at the largest suction: two gave on, through films, water that they did not hold, until the
debt stopped the column; in one a share of the last step took them below what they hold there."""


@pytest.mark.parametrize("seed", range(3))
def test_harder_columns(seed):
    assert harder_columns.faults_of(seed) == []


@pytest.mark.parametrize("seed", range(5))
def test_greens_as_they_are_built(seed):
    assert harder_columns.faults_of(seed, harder_columns.green_case) == []


@pytest.mark.long
@pytest.mark.parametrize("first", range(0, HARDER, 50))
def test_many_harder_columns(first):
    seeds = range(first, first + 50)
    assert [fault for seed in seeds for fault in harder_columns.faults_of(seed)] == []


@pytest.mark.parametrize("seed", HARDER_ONCE_FAILED)
def test_harder_columns_that_once_failed(seed):
    assert harder_columns.faults_of(seed) == []


@pytest.mark.long
@pytest.mark.parametrize("first", range(0, GREENS, 50))
def test_many_greens(first):
    make = harder_columns.green_case
    seeds = range(first, first + 50)
    assert [fault for seed in seeds for fault in harder_columns.faults_of(seed, make)] == []


def test_a_loose_tolerance_takes_no_more_steps():
    # A sharp entry suction once made a column at a loose tolerance cut its steps seventyfold.
    for seed in (705, *range(20)):
        steps, loose = (int(solve(seed, tolerance=each)[1].steps) for each in (3e-3, 0.1))
        assert loose <= 1.1 * steps, seed


def test_steps_do_not_stall_where_an_outflow_ends():
    # Close output times once met the end of drainage with ever shorter steps.
    sand = MIDDLE_MIX
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
