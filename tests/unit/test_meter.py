"""What a meter shows of a run, and on which day it shows a line."""

import numpy as np
import pytest
from grounds import MIDDLE_MIX as SAND
from grounds import PEA_GRAVEL as GRAVEL

import soilwater as sw

GREEN = sw.Profile.over_gravel(SAND, 30.0, base_suction=0.0)
FIVE_DAYS = sw.steady_weather(5, 0.0)
# Suction left at the base on each midnight of a made-up dry-down, the whole profile at rest.
AT_BASE = np.array([0.0, 2.0, 5.0, 4.0, 9.0, 14.0])


def resting(at_base=AT_BASE, profile=GREEN):
    """Result whose profile is at rest at every time, so that readings are known from statics."""
    run = sw.simulate(profile, FIVE_DAYS, output="24 h")
    suction = profile.depth - run.node_depth.values + np.asarray(at_base)[:, None]
    return run.assign(node_suction=(run.node_suction.dims, suction))


def at_rest(at_base, rod, profile=GREEN):
    layer = sw.Layer(SAND, profile.depth)
    return sw.drained_water_content(sw.Profile([layer], sw.CapillaryBreak(at_base)), 0.0, rod)


# --- readings ----------------------------------------------------------------------------------


@pytest.mark.parametrize("rod", [3.8, "3 in", "12 cm", 30.0], ids=str)
def test_a_reading_is_the_mean_over_the_rod(rod):
    length = {"3 in": 7.62, "12 cm": 12.0}.get(rod, rod)
    reading = sw.meter_reading(resting(), rod=rod)
    assert reading.dims == ("time",)
    assert reading.values == pytest.approx([at_rest(s, length) for s in AT_BASE], abs=1e-9)
    assert reading.name == "reading"
    assert reading.attrs["units"] == "1"
    assert reading.attrs["rod_length_cm"] == length


def test_a_rod_reaches_through_layers():
    layers = [sw.Layer(SAND, 5.0, "root zone"), sw.Layer(GRAVEL, 10.0, "gravel")]
    profile = sw.Profile(layers, sw.SeepageFace())
    reading = float(sw.meter_reading(sw.drained_state(profile), rod=8.0))
    parts = [sw.drained_water_content(profile, a, b) for a, b in ((0.0, 5.0), (5.0, 8.0))]
    assert reading == pytest.approx((5.0 * parts[0] + 3.0 * parts[1]) / 8.0, abs=1e-9)
    assert parts[0] > 2.0 * parts[1]


def test_soaked_sand_reads_its_pore_space():
    run = sw.simulate(GREEN, sw.steady_weather(1, 0.0), output="24 h")
    assert float(sw.meter_reading(run, rod=7.6)[0]) == pytest.approx(0.40, abs=1e-5)


def test_every_case_of_a_batch_is_read():
    runs = sw.compare_depths(GREEN, [20.0, 45.0], FIVE_DAYS, output="24 h")
    readings = sw.meter_reading(runs, rod=7.6)
    assert readings.dims == ("root_zone_depth", "time")
    assert readings.root_zone_depth.values.tolist() == [20.0, 45.0]
    for depth in (20.0, 45.0):
        alone = sw.simulate(GREEN.with_thickness(depth), FIVE_DAYS, output="24 h")
        expected = sw.meter_reading(alone, rod=7.6).values
        assert np.array_equal(readings.sel(root_zone_depth=depth).values, expected)
    one = sw.meter_reading(runs.sel(root_zone_depth=45.0), rod=7.6)
    assert np.array_equal(one.values, readings.sel(root_zone_depth=45.0).values)


def test_a_case_without_result_has_no_reading():
    free = sw.Profile([sw.Layer(SAND, 30.0, "root zone")], sw.FreeDrainage())
    cases = [sw.Case(profile, FIVE_DAYS, start="drained") for profile in (GREEN, free)]
    runs = sw.simulate_many(cases, output="24 h")
    readings, days = sw.meter_reading(runs, rod=7.6), sw.days_until(runs, 0.05, rod=7.6)
    assert np.isfinite(readings[0]).all()
    assert np.isnan(readings[1]).all()
    assert days[0] == np.inf
    assert np.isnan(days[1])


def test_a_refined_run_is_read_on_its_own_nodes():
    run = sw.simulate(GREEN, FIVE_DAYS, output="120 h", refinement=3.0)
    coarse = sw.simulate(GREEN, FIVE_DAYS, output="120 h")
    assert run.sizes["node_depth"] > 2 * coarse.sizes["node_depth"]
    assert float(sw.meter_reading(run, rod=7.6)[-1]) == pytest.approx(
        float(sw.meter_reading(coarse, rod=7.6)[-1]), abs=1e-3
    )


# --- days until --------------------------------------------------------------------------------


def test_days_are_counted_to_the_first_fall_between_output_times():
    readings = [at_rest(s, 7.6) for s in AT_BASE]
    # It rises on the third day: the first fall counts.
    line = 0.5 * (readings[1] + readings[2])
    assert readings[3] > readings[2]
    days = sw.days_until(resting(), line, rod=7.6)
    assert float(days) == pytest.approx(1.5)
    assert days.attrs["units"] == "d"
    assert (days.attrs["threshold"], days.attrs["rod_length_cm"]) == (line, 7.6)
    share = 0.25
    line = readings[4] + share * (readings[5] - readings[4])
    assert float(sw.days_until(resting(), f"{100 * line} %", rod=7.6)) == pytest.approx(4.0 + share)


def test_never_within_the_run_is_infinity():
    assert float(sw.days_until(resting(), 0.05, rod=7.6)) == np.inf


def test_already_there_is_no_day():
    assert float(sw.days_until(resting(), 0.39, rod=7.6)) == 0.0
    assert float(sw.days_until(resting(), at_rest(0.0, 7.6) + 1e-9, rod=7.6)) == 0.0


def test_days_are_counted_from_a_stated_time():
    run = resting()
    readings = [at_rest(s, 7.6) for s in AT_BASE]
    line = 0.5 * (readings[4] + readings[5])
    assert float(sw.days_until(run, line, rod=7.6)) == pytest.approx(4.5)
    assert float(sw.days_until(run, line, rod=7.6, since="2025-07-03 06:00")) == pytest.approx(2.25)
    # From within the interval of the crossing, the rest of it.
    assert float(sw.days_until(run, line, rod=7.6, since="2025-07-05 06:00")) == pytest.approx(0.25)
    assert float(sw.days_until(run, line, rod=7.6, since="2025-07-06")) == 0.0
    # A fall before the count is not seen: the reading was above the line again.
    line = 0.5 * (readings[2] + readings[3])
    assert float(sw.days_until(run, line, rod=7.6, since="2025-07-04")) == pytest.approx(
        (readings[3] - line) / (readings[3] - readings[4])
    )


def test_days_of_a_batch_keep_its_dimension():
    runs = sw.compare_depths(
        GREEN, [15.0, 30.0], sw.steady_weather(3, 6.0), turf=sw.Turf(12.0), output="6 h"
    )
    days = sw.days_until(runs, 0.25, rod=7.6)
    assert days.dims == ("root_zone_depth",)
    # The shallow one holds its water at the surface for longer.
    assert float(days[0]) > float(days[1]) > 0.0
