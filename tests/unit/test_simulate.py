"""Single runs: times, starts, the ledger, ponds, and what happens when a run gives up."""

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN
from grounds import MIDDLE_MIX as SAND

import soilwater as sw

LOAM = sw.VanGenuchten.texture_class("loam")
FIELD = sw.Profile([sw.Layer(LOAM, 40.0, "loam")], sw.FreeDrainage())
TURF = sw.Turf(15.0, cover=0.9, interception=0.5)
DAY = sw.steady_weather(1, 5.0)


def storm(amount, hours=1.0, dry=5.0):
    start = np.datetime64("2025-07-01T00", "ns")
    edges = start + (3.6e12 * np.array([0.0, 1.0, 1.0 + hours, 1.0 + hours + dry])).astype("m8[ns]")
    return sw.Weather(edges, [0.0, amount, 0.0], [0.0, 0.0, 0.0])


def assert_same(a, b):
    """Equal bit for bit, apart from the time it took."""
    xr.testing.assert_equal(a, b)


# --- output times ------------------------------------------------------------------------------


def test_results_come_at_the_stated_interval_and_at_the_end():
    run = sw.simulate(GREEN, DAY, output="7 h")
    hours = (run.time - run.time[0]) / np.timedelta64(1, "h")
    assert hours.values.tolist() == [0.0, 7.0, 14.0, 21.0, 24.0]


def test_results_come_at_stated_times_and_nowhere_else():
    times = np.array(["2025-07-01T03:17:11", "2025-07-01T03:17:12", "2025-07-01T23"], "M8[ns]")
    run = sw.simulate(FIELD, sw.steady_weather(1, 0.0, rain=12.0), start=100.0, output=times)
    assert np.array_equal(run.time.values, times)
    # Rain of 0.5 mm/h soaks in as it falls: a total that is exact only if the time is.
    hours = (times - DAY.start) / np.timedelta64(1, "h")
    assert run.rain.values == pytest.approx(0.5 * hours, rel=1e-12)
    assert run.infiltration.values == pytest.approx(0.5 * hours, rel=1e-12)


def test_results_hardly_depend_on_how_often_they_are_asked_for():
    often = sw.simulate(GREEN, DAY, turf=TURF, output="10 min")
    once = sw.simulate(GREEN, DAY, turf=TURF, output="24 h")
    assert float(once.transpiration[-1]) == pytest.approx(float(often.transpiration[-1]), abs=0.02)
    # Within the largest error a step may make.
    assert once.water_content[-1].values == pytest.approx(often.water_content[-1].values, abs=3e-3)


# --- starts ------------------------------------------------------------------------------------


def first(start, profile=GREEN, **settings):
    return sw.simulate(profile, DAY, start=start, output="24 h", **settings).isel(time=0)


def test_named_starts():
    soaked, drained = first("soaked"), first("drained")
    assert soaked.node_suction.values == pytest.approx(-soaked.node_depth.values)
    # Saturated soil gives a little under pressure: 1e-6 per cm.
    assert soaked.water_content.values == pytest.approx(0.40, abs=4e-5)
    assert drained.node_suction.values == pytest.approx(33.0 - drained.node_depth.values)


@pytest.mark.parametrize("start", [30.591, "3 kPa", "30 mbar"])
def test_one_suction_everywhere(start):
    assert first(start).node_suction.values == pytest.approx(30.591, abs=5e-3)


def test_a_profile_of_suction_is_interpolated():
    given = xr.DataArray([80.0, 20.0], {"depth": [0.0, 30.0]}, ["depth"], name="suction")
    state = first(given)
    assert state.node_suction.values == pytest.approx(80.0 - 2.0 * state.node_depth.values)


def test_a_profile_of_water_content_is_turned_into_suction():
    given = xr.DataArray([0.10, 0.30], {"depth": [0.0, 30.0]}, ["depth"], name="water_content")
    state = first(given)
    expected = 0.10 + 0.20 * state.depth.values / 30.0
    assert state.water_content.values == pytest.approx(expected, abs=1e-4)


def test_a_run_cut_in_two_is_the_run_in_one():
    weather = sw.steady_weather(2, 5.0)
    noon = "2025-07-02 00:00"
    whole = sw.simulate(GREEN, weather, turf=sw.Turf(15.0), output="6 h")
    one = sw.simulate(GREEN, weather.between(weather.start, noon), turf=sw.Turf(15.0), output="6 h")
    two = sw.simulate(
        GREEN, weather.between(noon, weather.end), turf=sw.Turf(15.0), output="6 h", start=one
    )
    assert_same(one.drop_vars(COUNTS), whole.isel(time=slice(0, 5)).drop_vars(COUNTS))
    # The second part has no past to go by and cuts its first steps anew.
    later = whole.sel(time=two.time)
    assert two.water_content.values == pytest.approx(later.water_content.values, abs=2e-4)
    for name in ("transpiration", "drainage", "storage_change"):
        summed = float(one[name][-1] + two[name][-1])
        assert summed == pytest.approx(float(whole[name][-1]), abs=0.02)


COUNTS = ["steps", "rejected_steps", "newton_iterations"]


def test_a_pond_is_handed_on_to_the_next_run():
    weather = storm(60.0, dry=1.0)
    one = sw.simulate(FIELD, weather, start=50.0, ponding_limit=5.0)
    pond = float(one.ponding[-1])
    assert pond > 5.0
    two = sw.simulate(FIELD, DAY, start=one, ponding_limit=5.0)
    assert float(two.ponding[0]) == pytest.approx(pond, rel=1e-12)
    assert float(two.storage[0]) == pytest.approx(float(one.storage[-1]), rel=1e-12)
    # It sinks in later.
    assert float(two.storage_change[-1] + two.drainage[-1]) == pytest.approx(0.0, abs=1e-6)


# --- the ledger --------------------------------------------------------------------------------

LEDGERS = {
    "dry-down": (GREEN, sw.steady_weather(4, 6.0), {"turf": TURF}),
    "storm on dry sand": (GREEN, storm(100.0), {"start": 1.0e4}),
    "ponding with runoff": (FIELD, storm(80.0), {"start": 200.0, "turf": TURF}),
    "irrigated with interception": (
        GREEN,
        sw.steady_weather(2, 6.0, rain=3.0),
        {"turf": TURF, "irrigation": [sw.Event("2025-07-01 05:00", 8.0, rate=16.0)]},
    ),
    "rising water table": (
        sw.Profile([sw.Layer(LOAM, 40.0)], sw.WaterTable(50.0)),
        sw.steady_weather(3, 6.0),
        {"turf": TURF, "start": 400.0},
    ),
    "sealed": (
        sw.Profile([sw.Layer(SAND, 20.0)], sw.Sealed()),
        sw.steady_weather(2, 3.0, rain=24.0),
        {"turf": TURF, "start": "60 cm"},
    ),
}


@pytest.mark.parametrize("name", LEDGERS)
def test_the_water_is_accounted_for(name):
    profile, weather, settings = LEDGERS[name]
    run = sw.simulate(profile, weather, output="6 h", **settings)
    reached = run.rain + run.irrigation - run.interception
    change = reached - run.runoff - run.evaporation - run.transpiration - run.drainage
    moved = reached + run.runoff + run.evaporation + run.transpiration + abs(run.drainage)
    allowed = 1e-6 * np.maximum(moved, 1.0)
    assert bool((abs(run.storage_change - change) <= allowed).all())
    assert bool((abs(run.closure_error) <= allowed).all())
    # Storage and its change both count the water in the cells and the pond on them.
    assert bool((abs(run.storage - run.storage[0] - run.storage_change) <= allowed).all())
    cells = 10.0 * (run.water_content.values @ np.diff(run.node_depth.values))
    assert run.storage.values == pytest.approx(cells + run.ponding.values, abs=1e-5)
    assert run.infiltration.values == pytest.approx(
        (reached - run.runoff - run.ponding).values, abs=1e-6 * float(moved.max())
    )
    for each in ("rain", "irrigation", "interception", "runoff", "transpiration", "evaporation"):
        assert float(run[each][0]) == 0.0
        assert np.all(np.diff(run[each].values) >= -1e-12), each
    for part in ("transpiration", "evaporation"):
        assert bool((run[part] <= run[f"potential_{part}"] + 1e-9).all())
    assert int(run.status) == sw.Status.OK


def test_demand_is_asked_in_full_whatever_the_steps():
    run = sw.simulate(GREEN, DAY, turf=sw.Turf(15.0, crop_coefficient=0.8, cover=0.75))
    assert float(run.potential_transpiration[-1]) == pytest.approx(5.0 * 0.8 * 0.75, rel=1e-9)
    assert float(run.potential_evaporation[-1]) == pytest.approx(5.0 * 0.8 * 0.25, rel=1e-9)


def test_without_turf_nothing_leaves_upward():
    run = sw.simulate(GREEN, DAY)
    assert float(run.transpiration[-1]) == float(run.evaporation[-1]) == 0.0


# --- ponds and runoff --------------------------------------------------------------------------


def test_water_ponds_up_to_the_limit_and_the_rest_runs_off():
    run = sw.simulate(FIELD, storm(80.0), start=200.0, ponding_limit="8 mm", output="6 min")
    assert float(run.runoff[-1]) > 10.0
    # Runoff needs a little head: 80 mm/h over 1000 1/h is less than a tenth of a millimetre.
    assert 8.0 < float(run.ponding.max()) < 8.1
    high = sw.simulate(FIELD, storm(80.0), start=200.0, ponding_limit="80 mm", output="6 min")
    assert float(high.runoff[-1]) == 0.0
    assert float(high.infiltration[-1]) > float(run.infiltration[-1])
    bare = sw.simulate(FIELD, storm(80.0), start=200.0, ponding_limit=0.0, output="6 min")
    assert float(bare.runoff[-1]) > float(run.runoff[-1]) + 5.0


def test_sand_that_conducts_more_than_it_rains_never_ponds():
    run = sw.simulate(GREEN, storm(50.0), start="drained")
    assert float(run.ponding.max()) == 0.0
    assert float(run.runoff[-1]) == 0.0


def test_a_held_surface_takes_what_it_needs_and_keeps_its_suction():
    run = sw.simulate(FIELD, DAY, start=200.0, surface=sw.HeldSurface("2 cm"), output="6 h")
    assert run.node_suction[1:, 0].values == pytest.approx(2.0)
    assert float(run.infiltration[-1]) > 20.0
    assert float(run.storage_change[-1]) == pytest.approx(
        float(run.infiltration[-1] - run.drainage[-1]), abs=1e-6
    )


def test_a_pond_held_from_outside_is_none_of_the_water_of_the_column():
    run = sw.simulate(FIELD, DAY, start=200.0, surface=sw.HeldSurface("-2 cm"), output="6 h")
    assert run.node_suction[1:, 0].values == pytest.approx(-2.0)
    assert not run.ponding.any()
    soil = run.storage - run.storage[0]
    assert soil.values == pytest.approx((run.infiltration - run.drainage).values, abs=1e-4)
    held = 10.0 * (run.water_content.values @ np.diff(run.node_depth.values))
    assert run.storage.values == pytest.approx(held, abs=1e-6)


def test_a_pond_at_the_start_soaks_in():
    suction = xr.DataArray([-3.0, -43.0], {"depth": [0.0, 40.0]}, ["depth"], name="suction")
    run = sw.simulate(FIELD, DAY, start=suction, ponding_limit=5.0, output="12 h")
    assert run.ponding.values == pytest.approx([30.0, 0.0, 0.0])
    assert run.infiltration.values == pytest.approx([0.0, 30.0, 30.0], abs=1e-5)
    assert float(run.storage[0]) == pytest.approx(30.0 + 400.0 * LOAM.theta_s, abs=0.02)


# --- giving up ---------------------------------------------------------------------------------


def test_no_steps_allowed_is_an_error_with_its_sentence_and_the_last_good_time():
    with pytest.raises(sw.RunError) as caught:
        sw.simulate(GREEN, DAY, max_steps=0)
    message = str(caught.value)
    assert message.startswith(sw.Status.TOO_MANY_STEPS.sentence)
    assert message.endswith("Last good time: 0 h.")


def test_or_a_result_that_ends_where_the_run_did():
    run = sw.simulate(GREEN, DAY, max_steps=0, on_failure="return", output="6 h")
    assert int(run.status) == sw.Status.TOO_MANY_STEPS
    assert str(run.status_text.values).endswith("Last good time: 0 h.")
    assert int(run.steps) == 0
    assert np.isfinite(run.water_content[0]).all()
    assert float(run.storage[0]) == pytest.approx(120.0, abs=0.01)
    for name in ("water_content", "node_suction", "storage", "drainage", "rain", "closure_error"):
        assert np.isnan(run[name][1:]).all(), name


def test_what_was_reached_before_giving_up_is_as_good_as_ever():
    whole = sw.simulate(GREEN, DAY, turf=TURF, output="6 h")
    few = int(whole.steps) - 5
    part = sw.simulate(GREEN, DAY, turf=TURF, output="6 h", max_steps=few, on_failure="return")
    assert int(part.steps) == few
    reached = int(np.isfinite(part.storage).sum())
    assert 1 < reached < whole.sizes["time"]
    assert np.array_equal(part.water_content[:reached], whole.water_content[:reached])
    assert np.isnan(part.water_content[reached:]).all()
    last_good = float(str(part.status_text.values).split(":")[-1].removesuffix(" h."))
    assert 6.0 * (reached - 1) <= last_good < 6.0 * reached


def test_a_start_that_cannot_be_is_an_error_before_anything_runs():
    with pytest.raises(sw.InputError, match="comes to no rest"):
        sw.simulate(FIELD, DAY, start="drained")
    with pytest.raises(sw.InputError, match="comes to no rest"):
        sw.simulate(FIELD, DAY, start="drained", on_failure="return")


# --- the result --------------------------------------------------------------------------------


def test_a_result_is_labelled_and_repeats_itself():
    run = sw.simulate(GREEN, DAY, turf=TURF, output="12 h")
    assert run.water_content.dims == ("time", "depth")
    assert run.node_suction.dims == ("time", "node_depth")
    assert set(run.layer.values) == {"root zone"}
    assert sw.Profile.from_json(str(run.profile.values)) == GREEN
    assert run.storage.values == pytest.approx(
        10.0 * (run.water_content.values @ np.diff(run.node_depth.values))
    )
    assert run.suction.values == pytest.approx(
        0.5 * (run.node_suction.values[:, 1:] + run.node_suction.values[:, :-1])
    )
    assert_same(run, sw.simulate(GREEN, DAY, turf=TURF, output="12 h"))


def test_a_finer_mesh_and_tolerance_change_little():
    coarse = sw.simulate(GREEN, DAY, turf=TURF, output="24 h")
    fine = sw.simulate(GREEN, DAY, turf=TURF, output="24 h", tolerance=3e-4, refinement=3.0)
    assert fine.sizes["node_depth"] > 2.5 * coarse.sizes["node_depth"]
    assert int(fine.steps) > int(coarse.steps)
    assert float(sw.meter_reading(fine, rod=7.6)[-1]) == pytest.approx(
        float(sw.meter_reading(coarse, rod=7.6)[-1]), abs=1e-3
    )
