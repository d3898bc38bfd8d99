"""Runs of sand that remembers: batches, rules, restarts, readings, starts asked about."""

import numpy as np
import pytest
import xarray as xr
from grounds import MIDDLE_MIX as SAND
from grounds import PEA_GRAVEL

import soilwater as sw
from soilwater import AfterFlooding, AfterRain, Hysteretic
from soilwater.runs.starts import known_at_end
from soilwater.words.errors import InputError

ROD = 7.6
MIX = Hysteretic(SAND, 1.8, 0.9)
GREEN = sw.Profile.over_gravel(MIX, 30.0, base_suction=3.0)
TURF = sw.Turf(10.0)
DAYS = sw.steady_weather(4, 6.0)
RAIN = [sw.Event("2025-07-02 20:00", "12 mm", rate="10 mm/h")]


def with_rain(**more):
    return sw.simulate(GREEN, DAYS, turf=TURF, irrigation=RAIN, output="6 h", **more)


def test_batches_give_what_single_runs_give_bit_for_bit():
    plain = sw.Profile.over_gravel(SAND, 20.0, base_suction=3.0)
    layered = sw.Profile(
        [sw.Layer(MIX, 20.0, "root zone"), sw.Layer(PEA_GRAVEL, 10.0, "gravel")], sw.SeepageFace()
    )
    profiles = [GREEN, plain, layered, GREEN]
    cases = [sw.Case(each, DAYS, turf=TURF, irrigation=RAIN) for each in profiles]
    batch = sw.simulate_many(cases, output="6 h", n_threads=2)
    for i, profile in enumerate(profiles):
        single = sw.simulate(profile, DAYS, turf=TURF, irrigation=RAIN, output="6 h")
        n = single.sizes["node_depth"]
        np.testing.assert_array_equal(batch.node_suction[i, :, :n], single.node_suction)
        if profile.remembers:
            np.testing.assert_array_equal(batch.turning_suction[i, :, :n], single.turning_suction)
        else:
            assert np.isnan(batch.turning_suction[i]).all()
        np.testing.assert_array_equal(
            sw.meter_reading(batch, rod=ROD)[i], sw.meter_reading(single, rod=ROD)
        )


def test_what_a_run_remembers_goes_through_files(tmp_path):
    whole = with_rain()
    noon = np.datetime64("2025-07-03T12:00")
    first = sw.simulate(
        GREEN, DAYS.between(DAYS.start, noon), turf=TURF, irrigation=RAIN, output="6 h"
    )
    first.to_netcdf(tmp_path / "run.nc")
    first.to_zarr(tmp_path / "run.zarr", consolidated=False)
    rest = DAYS.between(noon, DAYS.end)
    ends = []
    for state in (
        first,
        xr.open_dataset(tmp_path / "run.nc"),
        xr.open_zarr(tmp_path / "run.zarr", consolidated=False),
    ):
        second = sw.simulate(GREEN, rest, turf=TURF, start=state, output="6 h")
        ends.append(float(sw.meter_reading(second, rod=ROD)[-1]))
    assert ends[0] == ends[1] == ends[2]
    # A run that begins anew has first to find its step: 0.05 % by volume at most.
    assert ends[0] == pytest.approx(float(sw.meter_reading(whole, rod=ROD)[-1]), abs=5e-4)
    forgot = sw.simulate(GREEN, rest, turf=TURF, start=AfterFlooding(first), output="6 h")
    assert float(sw.meter_reading(forgot, rod=ROD)[-1]) > ends[0] + 0.004


def test_columns_of_a_run_go_on_from_numbers_as_from_its_datasets():
    """With what each remembers, and for plain sand its suctions at other depths too."""
    plain = sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    profiles, both = (GREEN, plain), {"turf": TURF, "irrigation": RAIN}
    cases = [sw.Case(each, DAYS, start="drained", **both) for each in profiles]
    run = sw.simulate_many(cases, output="24 h")
    known = known_at_end(run, [each.mesh() for each in profiles])
    assert known[0].turns is not None and known[1].turns is None
    for k, profile in enumerate(profiles):
        ends = [
            sw.simulate(profile, DAYS, turf=TURF, start=start, output="24 h").water_content
            for start in (run.isel(case=k), known[k])
        ]
        np.testing.assert_array_equal(*ends)
    with pytest.raises(InputError, match=r"of another profile or mesh; allowed"):
        sw.simulate(GREEN, DAYS, start=known[0], refinement=2.0)


def test_a_result_cut_before_its_end_no_longer_says_what_it_remembers():
    run = with_rain()
    with pytest.raises(InputError, match=r"remembers is of .*its suctions of .*allowed: a result"):
        sw.simulate(GREEN, DAYS, start=run.isel(time=slice(0, 5)))
    with pytest.raises(InputError, match=r"does not say how its sand was wetted.*AfterFlooding"):
        sw.simulate(GREEN, DAYS, start=run.drop_vars("turning_suction"))


def test_rules_read_what_the_sand_holds_and_repeat_as_events():
    rule = sw.Rule("8 mm", 0.15, rod="3 in", rate="20 mm/h")
    ruled = sw.simulate(GREEN, DAYS, turf=TURF, rules=[rule], start=AfterRain(10.0), output="6 h")
    assert float(ruled.irrigation[-1]) > 0.0
    by_curve = sw.simulate(GREEN, DAYS, turf=TURF, rules=[rule], start="drained", output="6 h")
    assert float(by_curve.irrigation[-1]) < float(ruled.irrigation[-1])


def test_a_start_that_leaves_the_branch_open_is_asked_about():
    water = xr.DataArray([0.15, 0.18], {"depth": [0.0, 30.0]}, ("depth",), name="water_content")
    for start in ("30 cm", 30.0, water):
        with pytest.raises(InputError, match=r"AfterFlooding\(.*AfterRain\(\"10 mm/h\".*run both"):
            sw.simulate(GREEN, DAYS, start=start)
    held = {}
    for start in (AfterFlooding(water), AfterRain("10 mm/h", water)):
        run = sw.simulate(GREEN, DAYS, start=start)
        # Either way it holds what was measured.
        assert float(run.water_content[0, 0]) == pytest.approx(0.15, abs=2e-3)
        held[type(start)] = float(run.node_suction[0, 0])
    assert held[AfterRain] < held[AfterFlooding] - 3.0


def test_starts_that_cannot_be_are_told():
    with pytest.raises(InputError) as error:
        AfterRain("-3 mm/h", "soaked", dried_by="0 cm")
    told = str(error.value)
    assert "rate=-3; allowed: above 0" in told
    assert "dried_by=0; allowed: above 0" in told
    assert 'write start="soaked"' in told
    with pytest.raises(InputError, match="an earlier result brings what it remembers"):
        sw.simulate(GREEN, DAYS, start=AfterRain(10.0, with_rain()))


def test_suctions_alone_do_not_say_what_is_held():
    run = with_rain(keep=("node_suction",))
    # What is remembered is kept with them.
    assert {"drying_suction", "turning_suction"} <= set(run.data_vars)
    whole = with_rain()
    np.testing.assert_array_equal(sw.meter_reading(run, rod=ROD), sw.meter_reading(whole, rod=ROD))
    cells = whole.water_content.where(whole.depth < ROD, drop=True).mean("depth")
    assert abs(sw.meter_reading(whole, rod=ROD) - cells).max() < 0.02
    with pytest.raises(InputError, match='"drying_suction" is missing'):
        sw.meter_reading(run.drop_vars("drying_suction"), rod=ROD)


def test_wherever_a_run_may_be_told_a_start_it_may_be_told_the_way():
    deep = sw.compare_depths(GREEN, [25.0, 30.0], DAYS, start=AfterRain(10.0), output="24 h")
    many = sw.simulate_ensemble(
        GREEN, DAYS, sand=sw.likely_memories(SAND, 4), start=AfterRain(10.0), output="24 h"
    )
    assert deep.sizes["root_zone_depth"] == 2
    flooded = sw.simulate(
        sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0), DAYS, start="drained", output="24 h"
    )
    assert (sw.meter_reading(many, rod=ROD)[:, 0] < sw.meter_reading(flooded, rod=ROD)[0]).all()


def test_a_drained_state_after_rain_is_where_a_run_from_there_rests():
    for rate in (5.0, 10.0, 100.0):
        after = AfterRain(rate)
        state = sw.drained_state(GREEN, after=after)
        run = sw.simulate(GREEN, sw.steady_weather(1, 0.0), start=after)
        np.testing.assert_allclose(state.water_content, run.water_content[-1], atol=2e-6)
        ours, theirs = (sw.meter_reading(each, rod=ROD) for each in (state, run.isel(time=-1)))
        assert float(ours) == pytest.approx(float(theirs), abs=2e-6)


def test_drained_readings_after_flood_and_rain_stand_beside_each_other():
    likely = sw.likely_memories(SAND, 20)
    flooded = sw.meter_reading(sw.drained_state(GREEN, sand=likely), rod=ROD)
    rained = sw.meter_reading(sw.drained_state(GREEN, sand=likely, after=AfterRain(10.0)), rod=ROD)
    # The lab's reading is one, whatever the sand remembers; what rain leaves is a band below it.
    assert float(flooded.std()) < 1e-12
    loss = 100.0 * (flooded - rained)
    assert 2.0 < float(loss.median()) < 5.0
    assert float(loss.min()) > 0.0
    assert float(loss.max()) > 3.5


def test_rain_before_a_drained_state_is_asked_about():
    with pytest.raises(InputError, match=r"no layer remembers.*sand=likely_memories"):
        sw.drained_state(
            sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0), after=AfterRain(10.0)
        )
    with pytest.raises(InputError, match=r'after: "?.?rain.*allowed: AfterRain'):
        sw.drained_state(GREEN, after="rain")
    with pytest.raises(InputError, match="a drained state is drained; leave water out"):
        sw.drained_state(GREEN, after=AfterRain(10.0, "40 cm"))
