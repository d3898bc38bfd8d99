"""A whole green on a grid against a solution of it made elsewhere, and against symmetry."""

from pathlib import Path

import numpy as np
import pytest
from grounds import MIDDLE_MIX, WET_MIX
from reference import hours_after_start
from scipy.interpolate import RectBivariateSpline

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


# --- a round knoll -------------------------------------------------------------------------------

KNOLL_GREEN = sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0)
CIRCLES = (150.0, 300.0, 450.0)
EDGE = 900.0
"""Where the ground ends [cm]; from two thirds of the way out it is level."""


def knoll(radius):
    """Surface of a knoll of up to 3 % [cm]."""
    return 0.03 * 600.0 / np.pi * (1.0 + np.cos(np.pi * np.minimum(radius, 600.0) / 600.0))


def read_after_two_days(ground):
    run = sw.simulate(ground, sw.steady_weather(2, 0.0), output="48 h", start="0.001 cm")
    return 100.0 * sw.meter_reading(run, rod=7.6).isel(time=-1)


def on_circles(spacing):
    """Readings [%] of a map of the knoll at 19 places on each circle, shape (circles, 19).

    A quarter of it, whose inner edges mirror the rest.
    """
    at = np.arange(0.5 * spacing, EDGE, spacing)
    radius = np.hypot(*np.meshgrid(at, at))
    ground = sw.GreenMap(
        knoll(radius), np.full(radius.shape, 30.0), KNOLL_GREEN, spacing, mask=radius < EDGE
    )
    quarter = ground.on_map(read_after_two_days(ground)).values
    half = np.concatenate([quarter[:, ::-1], quarter], axis=1)
    whole, places = np.concatenate([half[::-1], half]), np.concatenate([-at[::-1], at])
    inner = np.abs(places) < 600.0
    between = RectBivariateSpline(places[inner], places[inner], whole[np.ix_(inner, inner)])
    angle = np.linspace(0.0, np.pi / 2.0, 19)
    return np.array([between.ev(r * np.sin(angle), r * np.cos(angle)) for r in CIRCLES])


def test_a_round_knoll_reads_alike_all_round_and_as_a_chain_of_rings():
    along = np.arange(0.0, EDGE + 1.0, 25.0)
    rings = sw.Transect(
        along, knoll(along), np.full(along.size, 30.0), KNOLL_GREEN,
        width=2.0 * np.pi * np.maximum(along, 3.0), spacing=25.0,
    )  # fmt: skip
    ringed = read_after_two_days(rings).sel(distance=list(CIRCLES)).values
    # Of the spread, 0.08 and 0.014 % by volume are asked for; a column alone would read 4 % more.
    for spacing, spread, error in ((100.0, 0.03, 0.05), (50.0, 0.01, 0.02)):
        found = on_circles(spacing)
        assert np.ptp(found, axis=1).max() < spread
        assert np.abs(found.mean(axis=1) - ringed).max() < error
    assert np.ptp(ringed) > 2.0


# --- symmetry ------------------------------------------------------------------------------------


def test_a_turned_green_reads_the_same():
    green = sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0)
    rng = np.random.default_rng(3)
    level, depth = rng.uniform(0.0, 8.0, (4, 5)), rng.uniform(27.0, 33.0, (4, 5))

    def after_two_days(level, depth, tolerance):
        ground = sw.GreenMap(level, depth, green, "1 m")
        weather = sw.steady_weather(2, 0.0)
        run = sw.simulate(ground, weather, output="48 h", tolerance=tolerance)
        return ground.on_map(sw.meter_reading(run, rod=7.6).isel(time=-1)).values

    # Sums in another order differ by round-off, as in maps of a code written apart (2e-13). Whether
    # a column is solved may hang on that, once in many runs: then by a trace of a loose tolerance.
    for tolerance, most in ((1.5e-3, 1e-7), (1e-4, 2e-13)):
        straight = after_two_days(level, depth, tolerance)
        assert np.ptp(straight) > 0.02
        for turn in (np.transpose, np.flipud, np.fliplr):
            turned = after_two_days(turn(level), turn(depth), tolerance)
            assert np.abs(turned - turn(straight)).max() < most
