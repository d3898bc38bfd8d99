"""Lines over sloping gravel against two-dimensional solutions and closed forms."""

from itertools import pairwise

import numpy as np
import pytest
from grounds import MIDDLE_MIX, STRAIGHT_SAND, WET_MIX
from reference import hours_after_start, one_soil
from scipy.integrate import solve_ivp

import soilwater as sw
from soilwater.weather.made import from_days

# --- fine two-dimensional solutions --------------------------------------------------------------

# Meter readings [% by volume, 7.6 cm rods] and outflow [mm over the line] of fine two-dimensional
# solutions, each the mean of two codes written apart from this package (one cell-centred with
# arithmetic means, one node-centred with exponential fluxes), which differ by 0.04 % at most.
# Saturated start, 48 h of drainage, then 5 mm/day of even demand to 216 h; roots even over the top
# 10 cm; outflow above a head of -3 cm at the floor; closed ends.
HOURS = [1.0, 6.0, 24.0, 48.0, 96.0, 216.0]
SLICES = {
    "a slope of 2 %": (
        WET_MIX, 800.0, lambda x: -0.02 * x, lambda x: 30.0 + 0.0 * x,
        [50.0, 100.0, 200.0, 400.0, 600.0, 750.0],
        [
            [25.49, 25.49, 25.49, 25.49, 25.49, 25.49],
            [24.36, 24.78, 25.16, 25.27, 25.28, 25.28],
            [22.73, 23.27, 24.09, 24.93, 25.2, 25.28],
            [21.56, 22.1, 23.0, 24.21, 24.88, 25.22],
            [17.77, 18.2, 18.97, 20.3, 21.89, 23.71],
            [12.23, 12.55, 13.19, 14.51, 16.06, 17.47],
        ],
        27.82,
    ),
    "a ridge over a parallel floor": (
        STRAIGHT_SAND, 1000.0,
        lambda x: 6.0 * (1.0 + np.cos(np.pi * np.clip((x - 500.0) / 350.0, -1.0, 1.0))),
        lambda x: 28.0 + 0.0 * x,
        [50.0, 100.0, 200.0, 400.0, 600.0, 950.0],
        [
            [18.91, 18.91, 19.0, 18.28, 18.28, 18.91],
            [18.91, 18.91, 18.98, 14.55, 14.55, 18.91],
            [18.91, 18.91, 18.57, 11.16, 11.16, 18.91],
            [18.91, 18.91, 18.29, 10.22, 10.22, 18.91],
            [14.73, 14.73, 14.15, 7.9, 7.9, 14.73],
            [8.07, 8.06, 7.73, 3.95, 3.95, 8.07],
        ],
        30.67,
    ),
    "a level surface over a dipping floor": (
        MIDDLE_MIX, 800.0, lambda x: 0.0 * x, lambda x: 28.0 + 14.0 * x / 800.0,
        [50.0, 100.0, 200.0, 400.0, 600.0, 750.0],
        [
            [21.09, 20.51, 19.51, 18.1, 17.32, 17.0],
            [20.11, 19.82, 18.89, 16.81, 15.06, 14.0],
            [18.78, 18.63, 18.11, 16.62, 15.02, 13.95],
            [17.84, 17.73, 17.35, 16.2, 14.88, 13.93],
            [14.72, 14.67, 14.47, 13.88, 13.35, 13.17],
            [9.77, 9.86, 10.03, 10.25, 10.38, 10.42],
        ],
        46.92,
    ),
}  # fmt: skip
TURF = sw.Turf(10.0, "uniform", stress=sw.SShapedStress(300.0, 3.0))
DEMAND = sw.Weather(hours_after_start([0.0, 48.0, 216.0]), [0.0, 0.0], [0.0, 35.0])


def slice_line(name, spacing=25.0):
    sand, length, level, depth, *_ = SLICES[name]
    x = np.arange(0.0, length + 1.0, 25.0)
    green = sw.Profile.over_gravel(sand, 30.0, base_suction=3.0)
    return sw.Transect(x, level(x), depth(x), green, spacing=spacing)


@pytest.fixture(scope="module", params=SLICES)
def soaked_slice(request):
    line = slice_line(request.param)
    run = sw.simulate(
        line,
        DEMAND,
        turf=TURF,
        start="0.001 cm",
        ponding_limit=0.0,
        output=hours_after_start(HOURS),
    )
    return request.param, line, run


def test_readings_are_those_of_fine_two_dimensional_solutions(soaked_slice):
    name, _, run = soaked_slice
    *_, stations, expected, _ = SLICES[name]
    reading = 100.0 * sw.meter_reading(run, rod=7.6).transpose("time", "distance")
    error = np.abs(reading.interp(distance=stations).values - np.array(expected))
    assert error[0].max() < 0.35
    assert error[1:].max() < 0.2
    assert np.sqrt((error**2).mean()) < 0.1


def test_the_line_drains_what_they_drain(soaked_slice):
    name, _, run = soaked_slice
    drained = float(run.drainage.isel(time=-1).weighted(run.plan_area).mean())
    assert drained == pytest.approx(SLICES[name][-1], rel=0.01)


def test_each_column_and_the_line_keep_their_balance(soaked_slice):
    *_, run = soaked_slice
    out = run.drainage + run.runoff + run.transpiration + run.evaporation
    moved = float(out.max())
    column = run.storage_change + out - run.lateral_inflow
    assert float(np.abs(column).max()) < 1e-6 * moved
    assert float(np.abs(run.lateral_inflow.weighted(run.plan_area).mean("distance")).max()) < 1e-9
    assert float(np.abs(run.lateral_inflow).max()) > 1.0


def test_a_step_rarely_has_to_be_done_again(soaked_slice):
    *_, run = soaked_slice
    steps = int(run.steps[0])
    assert int(run.rejected_steps[0]) <= 0.1 * steps
    assert int(run.newton_iterations[0]) <= 4 * steps


def test_few_steps_of_many_columns_are_done_again_on_sand_that_dries_for_days():
    # A hundred metres, of which some place or another always is about to be wetted or to dry out.
    x = np.arange(400) * 25.0
    level = 12.0 * np.sin(2.0 * np.pi * x / 700.0) + 3.0 * np.sin(2.0 * np.pi * x / 390.0 + 1.0)
    depth = 30.0 + 2.0 * np.sin(2.0 * np.pi * x / 470.0 + 0.4)
    green = sw.Profile.over_gravel(STRAIGHT_SAND, 30.0, base_suction=3.0)
    demand = np.array([0.0] * 2 + [5.0] * 7)
    days = from_days(hours_after_start(24.0 * np.arange(10)), np.zeros(9), demand)
    run = sw.simulate(sw.Transect(x, level, depth, green), days, turf=TURF, start="soaked")
    steps, rejected = int(run.steps[0]), int(run.rejected_steps[0])
    assert rejected <= 0.03 * (steps + rejected)


def test_columns_alone_are_wrong_by_several_per_cent_on_a_slope():
    line = slice_line("a ridge over a parallel floor", spacing=50.0)
    settings = {"output": "48 h", "ponding_limit": 0.0}
    run = sw.simulate(line, DEMAND, turf=TURF, start="0.001 cm", **settings)
    cases = line.cases(DEMAND, turf=TURF, start="0.001 cm")
    alone = sw.simulate_many(cases, dimension="distance", **settings)
    gap = 100.0 * (sw.meter_reading(run, rod="3 in") - sw.meter_reading(alone, rod="3 in"))
    after_two_days = gap.isel(time=1)
    assert float(after_two_days.sel(distance=600.0)) < -6.0
    assert abs(float(after_two_days.sel(distance=50.0))) < 0.2


# --- closed forms --------------------------------------------------------------------------------


def diverted_flow(sand, depth, entry_suction, rain, slope):
    """Flow per width [cm2/h] along a capillary break below sand on a plane, under steady rain.

    Nothing drips where the slope can carry all rain from above: the base stays at its entry suction
    and Q = S T, T the integral of K over the depth along the steady profile dh/dy = -(1 - r/K),
    y up from the base. The diversion of capillary barriers, Ross (1990), Water Resour. Res.
    26:2625, with K as it is (from memory).
    """

    def change(_, state):
        conductivity = float(sand.conductivity(-state[0]))
        return [-(1.0 - rain / conductivity), conductivity]

    found = solve_ivp(
        change, (0.0, depth), [-entry_suction, 0.0], rtol=1e-10, atol=1e-12, method="LSODA"
    )
    return slope * found.y[1, -1]


@pytest.mark.parametrize("sand", [MIDDLE_MIX, WET_MIX], ids=["middle mix", "wet mix"])
@pytest.mark.parametrize("entry_suction", [3.0, 6.0])
def test_a_capillary_break_carries_steady_rain_down_the_slope(sand, entry_suction):
    depth, slope, rain = 30.0, 0.02, 0.02
    expected = diverted_flow(sand, depth, entry_suction, rain, slope)
    # Twice as long as all rain can be carried, so that the lower half drips.
    x = np.linspace(0.0, 2.0 * expected / rain, 61)
    green = sw.Profile.over_gravel(sand, depth, base_suction=entry_suction)
    line = sw.Transect(x, -slope * x, np.full(x.size, depth), green)
    hours = 3000.0
    weather = sw.Weather(hours_after_start([0.0, hours]), [10.0 * rain * hours], [0.0])
    run = sw.simulate(
        line, weather, start="drained", output=hours_after_start([hours - 100, hours])
    )
    flow = run.lateral_flow.isel(time=-1)
    middle = flow.sel(link=1.5 * expected / rain, method="nearest")
    assert float(middle) == pytest.approx(expected, rel=3e-3)
    # Upslope, all rain from above passes through the face.
    upper = flow.sel(link=slice(0.0, 0.7 * expected / rain))
    assert upper.values == pytest.approx(rain * upper.link.values, rel=1e-2, abs=1e-3)


# --- symmetries ----------------------------------------------------------------------------------


def run_line(x, level, depth, **options):
    green = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
    line = sw.Transect(x, level, depth, green, **options)
    return sw.simulate(line, sw.steady_weather(2, 0.0), output="24 h", start="soaked")


def test_level_and_uniform_ground_is_the_single_column():
    green = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
    run = run_line([0.0, 200.0, 400.0], [0.0] * 3, [30.0] * 3)
    assert float(np.ptp(run.node_suction.values, axis=0).max()) < 1e-9
    one = sw.simulate(green, sw.steady_weather(2, 0.0), output="24 h")
    reading = sw.meter_reading(run, rod=7.6).isel(distance=0)
    assert np.abs(reading.values - sw.meter_reading(one, rod=7.6).values).max() < 1e-3


def test_a_crest_of_symmetry_may_end_the_line():
    x = np.arange(0.0, 401.0, 25.0)
    both = run_line(
        np.arange(-400.0, 401.0, 25.0), -0.03 * np.abs(np.arange(-400.0, 401.0, 25.0)), [30.0] * 33
    )
    half = run_line(x, -0.03 * x, [30.0] * 17)
    found = sw.meter_reading(both, rod=7.6).sel(distance=x)
    assert np.abs(found.values - sw.meter_reading(half, rod=7.6).values).max() < 5e-4


def test_a_knoll_that_widens_is_drier_than_a_plane():
    # A cone of 3 %: flow spreads. 1.8-2.9 % by volume were found for it beforehand.
    x = np.arange(0.0, 601.0, 25.0)
    level, depth = -0.03 * x, np.full(x.size, 30.0)
    knoll = run_line(x, level, depth, width=2.0 * np.pi * np.maximum(x, 6.0))
    plane = run_line(x, level, depth)
    gap = 100.0 * (sw.meter_reading(knoll, rod=7.6) - sw.meter_reading(plane, rod=7.6))
    assert -4.0 < float(gap.sel(distance=300.0).isel(time=-1)) < -0.5


def test_a_crest_feels_nothing_from_beyond_ten_metres():
    readings = []
    for end in (1000.0, 1500.0):
        x = np.arange(0.0, end + 1.0, 50.0)
        run = run_line(x, -0.02 * x, [30.0] * x.size, spacing=50.0)
        readings.append(100.0 * sw.meter_reading(run, rod=7.6).sel(distance=0.0).values)
    assert np.abs(readings[1] - readings[0]).max() < 0.3


def test_closer_columns_change_less_and_less_on_a_bump():
    stations = np.arange(0.0, 961.0, 160.0)

    def reading(spacing):
        x = np.arange(0.0, 961.0, spacing)
        level = 12.0 * np.exp(-(((x - 480.0) / 200.0) ** 2))
        run = run_line(x, level, [30.0] * x.size, spacing=spacing)
        read = 100.0 * sw.meter_reading(run, rod=7.6)
        return read.sel(distance=stations).transpose("time", "distance").values

    found = [reading(spacing) for spacing in (160.0, 80.0, 40.0, 20.0)]
    first, second, third = (np.abs(b - a).max() for a, b in pairwise(found))
    # 0.29, 0.09 and 0.02 % were found on another bump by a kernel written apart.
    assert second < 0.6 * first
    assert third < 0.6 * second
    assert third < 0.1


# --- what lies beyond the ends -------------------------------------------------------------------

ALONG = np.arange(0.0, 401.0, 25.0)


def test_a_plane_that_goes_on_is_the_middle_of_a_long_one():
    short = run_line(ALONG, -0.02 * ALONG, [30.0] * 17, ends=("goes on", "goes on"))
    x = np.arange(0.0, 3001.0, 50.0)
    middle = run_line(x, -0.02 * x, [30.0] * x.size, spacing=50.0)
    found = sw.meter_reading(short, rod=7.6).values
    expected = sw.meter_reading(middle, rod=7.6).sel(distance=1500.0).values
    assert np.abs(found - expected).max() < 4e-4
    # What comes in above goes out below: S T through every face.
    flow = short.lateral_flow.isel(time=2).values
    assert flow[0] > 1.0
    assert np.ptp(flow) < 1e-3 * flow[0]


def test_level_water_rests_between_ends_that_stand_over_it():
    level = 8.0 * np.cos(ALONG / 90.0)
    depth = 30.0 + 4.0 * np.sin(ALONG / 60.0)
    green = one_soil(MIDDLE_MIX, 30.0, sw.Sealed())
    ends = tuple(sw.WaterTable(level[i] + 25.0) for i in (0, -1))
    line = sw.Transect(ALONG, level, depth, green, ends=ends)
    weather = sw.steady_weather(20, 0.0)
    rest = sw.simulate(line, weather, start="2 cm", output="10 days")
    # Wherever it began, it comes to the level of both ends, 25 cm below the mark.
    total = rest.node_elevation - rest.node_suction.isel(time=-1)
    assert float(np.abs(total + 25.0).max()) < 0.05
    again = sw.simulate(line, weather, start=rest, output="10 days")
    moved = again.node_suction.isel(time=-1) - rest.node_suction.isel(time=-1)
    assert float(np.abs(moved).max()) < 0.05


@pytest.mark.parametrize("end", [sw.SeepageFace(), sw.CapillaryBreak(8.0)], ids=str)
def test_a_drained_end_takes_all_that_falls_and_gives_nothing(end):
    green = one_soil(MIDDLE_MIX, 30.0, sw.Sealed())
    line = sw.Transect(ALONG, -0.02 * ALONG, [30.0] * 17, green, ends=("closed", end))
    rain = sw.Weather(hours_after_start([0.0, 480.0, 960.0]), [96.0, 0.0], [0.0, 0.0])
    run = sw.simulate(line, rain, start="30 cm", output="24 h")
    out = run.lateral_flow.isel(link=-1).values[1:]
    assert run.link.values[-1] == 400.0
    assert (out >= 0.0).all()
    # 0.02 cm/h on 400 cm.
    assert out[19] == pytest.approx(8.0, rel=5e-3)
    assert out[-1] < 0.5
    lost = -float(run.lateral_inflow.isel(time=-1).weighted(run.plan_area).mean())
    stored = float(run.storage_change.isel(time=-1).weighted(run.plan_area).mean())
    assert lost + stored == pytest.approx(96.0, abs=1e-5)
    column = run.storage_change + run.runoff - run.rain - run.lateral_inflow
    assert float(np.abs(column).max()) < 1e-4
    # At rest the sand at the end is no wetter than what takes its water.
    suction = 0.0 if isinstance(end, sw.SeepageFace) else end.entry_suction
    assert float(run.node_suction.isel(time=-1, distance=-1).min()) > suction - 0.1


def test_a_trench_drains_a_sealed_slope_from_both_sides():
    green = one_soil(MIDDLE_MIX, 30.0, sw.Sealed())
    x = np.arange(0.0, 801.0, 50.0)

    def drained(**options):
        line = sw.Transect(x, -0.02 * x, [30.0] * x.size, green, spacing=50.0, **options)
        return sw.simulate(line, sw.steady_weather(6, 0.0), start="soaked", output="72 h")

    trench, whole = drained(drains=[425.0]), drained()
    assert (np.diff(trench.link.values) >= 0.0).all()
    above, below = trench.lateral_flow.sel(link=425.0).isel(time=1).values
    # Both sides give: down the slope from above, and back up it from below.
    assert above > 0.0 > below
    gap = sw.meter_reading(trench, rod=7.6) - sw.meter_reading(whole, rod=7.6)
    assert float(gap.sel(distance=400.0).isel(time=-1)) < -0.01
