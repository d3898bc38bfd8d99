"""Drop tests, repellent ground as two columns, and mats that refuse: against what must hold."""

import re

import numpy as np
import pytest
import xarray as xr
from scipy.stats import beta, gmean

import soilwater as sw
from soilwater.ground.repellent_mat import MatState
from soilwater.runs.starts import known_at_end

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
CASE = sw.Case(
    sw.Profile.over_gravel(SAND, 30.0),
    sw.steady_weather(4, 5.0, rain=5.0),
    turf=sw.Turf(15.0),
    start="drained",
    irrigation=[sw.Event("2025-07-02 04:00", 6.0, rate=18.0)],
)
BALANCE = ["rain", "irrigation", "runoff", "transpiration", "evaporation", "drainage"]


# --- drop tests ------------------------------------------------------------------------------


def test_a_share_is_that_of_drops_gone_at_once_where_fewest_are():
    drops = sw.DropTests({"0 cm": [2, 3, 1, 4, 2], "1 in": [2, 240, 900, 3, "2 min"], 5.0: [1, 9]})
    assert drops.depths == (0.0, 2.54, 5.0) and drops.times[2.54][-1] == 120.0
    assert drops.least_wetting == 2.54
    assert drops.drop_time == pytest.approx(gmean([2, 240, 900, 3, 120]), abs=0.05)
    # Jeffreys: a beta distribution of half a drop more on either side, by a general library.
    band = beta(2.5, 3.5)
    assert drops.wetting_share == pytest.approx((band.ppf(0.1), band.mean(), band.ppf(0.9)))
    assert drops.wetting_share_at([0.3, 0.9]) == pytest.approx(band.ppf([0.3, 0.9]))
    assert "of the area 42 (17 to 67) % wets, by the drops at 2.5 cm (1.0 in)" in repr(drops)


def test_more_drops_close_the_band():
    few, many = (sw.DropTests({1.0: [2] * n + [300] * n}).wetting_share for n in (2, 40))
    assert many.high - many.low < 0.3 * (few.high - few.low)
    assert few.best == many.best == 0.5


@pytest.mark.parametrize(
    ("seconds", "word"),
    [(0, "wettable"), (4.9, "wettable"), (5, "slightly repellent"), (60, "strongly repellent"),
     (600, "severely repellent"), (3600, "extremely repellent"), (9e9, "extremely repellent")],
)  # fmt: skip
def test_classes_are_those_of_the_literature(seconds, word):
    """5, 60, 600 and 3600 s (Dekker & Jungerius 1990, from memory)."""
    assert sw.DropTests({0: seconds}).classes == {0.0: word}


@pytest.mark.parametrize(
    ("times", "told"),
    [
        ({0: [2, -1, float("nan")], 1: [4]}, ["at 0, drop 2: -1", "at 0, drop 3: nan"]),
        ({0: [2], 1: []}, ["no drop at 1"]),
        ({0: [2], 1: ["soon", 9]}, ["at 1, drop 1: 'soon'"]),
        ({1: [3, 4], "10 mm": [900]}, ["1.0 cm (0.4 in) told twice, with 3, 4 and 900 s"]),
        ({0: [90, 300], 1: [2, 1], 2: [400]}, ["just above and below none within 60 s"]),
        ({0: [2, float("inf")], 1: [3], "1 cm": [5]}, ["drop 2: inf", "told twice"]),
        ({}, ["allowed: times [s] by depth [cm]"]),
    ],
)
def test_drop_times_that_cannot_be_are_told_together_with_a_cure_that_works(times, told):
    with pytest.raises(sw.InputError) as caught:
        sw.DropTests(times)
    text = str(caught.value)
    assert all(each in text for each in told)
    cure = re.search(r"write (DropTests\(.*?\}\))", text)
    assert eval(f"sw.{cure[1]}").wetting_share.best > 0.0


def test_a_depth_that_repels_less_than_its_neighbours_is_no_contradiction():
    assert sw.DropTests({0: [90, 300], 1: [2, 90], 2: [400]}).least_wetting == 0.0
    assert sw.DropTests({0: [1, 2], 1: [900], 2: [1, 3]}).least_wetting == 1.0


def test_a_spot_takes_its_drop_time_from_its_drop_tests():
    tests = sw.DropTests({0: [1, 2, 3], 2: [70, 80, 3600]})
    spot = sw.Spot("C3", 30.0, drop_tests=tests)
    assert spot.drop_time == tests.drop_time == pytest.approx(gmean([70, 80, 3600]), abs=0.05)
    assert sw.DropTests({0: 0}).drop_time > 0.0
    with pytest.raises(sw.InputError, match="leave drop_time out"):
        sw.Spot("C3", 30.0, drop_time=2.0, drop_tests=tests)
    with pytest.raises(sw.InputError, match="drop_tests is 90"):
        sw.Spot("C3", 30.0, drop_tests=90)
    bare = sw.Survey([sw.Spot("C3", 30.0)])
    assert sw.join_surveys(bare, sw.Survey([spot])).spot("C3").drop_tests == tests


# --- two columns -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def runs():
    return {
        share: sw.simulate_many(sw.repellent_patches(CASE, share), output="1 day")
        for share in (1.0, 0.6, 0.2)
    }


def over_area(run, names):
    return run[names].weighted(run.area_share).mean("patch")


def test_ground_that_wets_everywhere_is_the_column_of_today_bit_for_bit(runs):
    alone = sw.simulate_many([CASE], output="1 day")
    for name in (*BALANCE, "water_content", "node_suction"):
        mean = over_area(runs[1.0], [name])[name]
        assert np.array_equal(mean.values, alone[name].values[0]), name


@pytest.mark.parametrize("share", [0.6, 0.2])
def test_the_water_of_the_area_is_that_of_the_weather_and_is_all_accounted_for(runs, share):
    run = runs[share]
    assert run.patch.values.tolist() == ["wets", "stays dry"]
    assert float(run.area_share.sum()) == 1.0
    ends = over_area(run, [*BALANCE, "storage_change"]).isel(time=-1)
    assert float(ends.rain) == pytest.approx(20.0, abs=1e-12)
    assert float(ends.irrigation) == pytest.approx(6.0, abs=1e-12)
    assert float(run.rain.sel(patch="stays dry")[-1]) == 0.0
    came = float(ends.rain + ends.irrigation)
    went = float(ends.runoff + ends.transpiration + ends.evaporation + ends.drainage)
    assert came - went == pytest.approx(float(ends.storage_change), abs=1e-6 * came)


def test_the_smaller_the_share_that_wets_the_more_runs_to_the_gravel(runs):
    lost = [float(over_area(runs[f], ["drainage"]).drainage[-1]) for f in (1.0, 0.6, 0.2)]
    assert lost == sorted(lost) and lost[2] > lost[0] + 5.0


def test_all_of_the_water_runs_through_or_off_where_next_to_nothing_wets():
    run = sw.simulate_many(sw.repellent_patches(CASE, 1e-3), output="4 days")
    ends = over_area(run, BALANCE).isel(time=-1)
    dry = sw.simulate(CASE.profile, sw.steady_weather(4, 5.0), turf=CASE.turf, start="drained",
                      output="4 days")  # fmt: skip
    through = float(ends.drainage + ends.runoff) - float(dry.drainage[-1])
    assert through == pytest.approx(26.0, abs=0.1)


def test_rods_meet_the_scatter_of_two_patches(runs):
    run = runs[0.6]
    reading = sw.meter_reading(run, rod=7.6)
    wet, dry = reading[0, -1], reading[1, -1]
    area = reading.weighted(run.area_share)
    assert float(area.mean("patch")[-1]) == pytest.approx(float(0.6 * wet + 0.4 * dry), abs=1e-12)
    scatter = float(np.sqrt(0.6 * 0.4) * (wet - dry))
    assert float(area.std("patch")[-1]) == pytest.approx(scatter, abs=1e-12)
    assert scatter > 0.02


def test_the_part_that_stays_dry_starts_as_dry_as_is_told():
    patches = sw.repellent_patches(CASE, sw.Repellency("60 %", dry_suction="300 cm"))
    assert [each.start for each in patches.values] == ["drained", 300.0]
    drops = sw.DropTests({1: [2, 2, 2, 90]})
    assert float(sw.repellent_patches(CASE, drops).area_share[0]) == drops.wetting_share.best


@pytest.mark.parametrize("share", [-0.1, 0.0, 1.2, 60, 150, float("nan"), "much"])
def test_a_share_that_is_none_is_refused_with_its_cure(share):
    with pytest.raises(sw.InputError, match="wetting_share") as caught:
        sw.Repellency(share, dry_suction=-3)
    text = str(caught.value)
    assert "dry_suction is -3 cm; allowed: above 0 cm" in text
    for cure in re.findall(r"write (Repellency\(.*?\))", text):
        assert 0.0 < eval(f"sw.{cure}").wetting_share <= 1.0


def test_rules_are_refused_beside_repellent_ground():
    rule = sw.Rule("6 mm", 0.12, rod=7.6, rate=18.0)
    case = sw.Case(CASE.profile, CASE.weather, rules=[rule])
    with pytest.raises(sw.InputError, match="in which part their meter stands") as caught:
        sw.repellent_patches(case, 2.0)
    assert len(caught.value.faults) == 2


# --- a mat that refuses ----------------------------------------------------------------------

GREEN = sw.Profile.over_gravel(SAND, 30.0)
HOUR = np.timedelta64(1, "h")
EDGES = np.datetime64("2025-07-01", "ns") + HOUR * np.arange(13)
RAIN = sw.Weather(EDGES, [0.0] + [10.0] * 4 + [0.0] * 7, [0.2] * 12)
MAT = {"threshold": 0.08, "thickness": 3.0, "intake": 1.0, "wetted_after": 2.0}


def under(mat, weather=RAIN, start=400.0, **more):
    turf = sw.Turf(15.0, repellent_mat=mat)
    return sw.simulate(GREEN, weather, turf=turf, start=start, **more)


def test_a_mat_that_is_never_dry_enough_is_no_mat_bit_for_bit():
    mat = sw.RepellentMat(**MAT | {"threshold": 0.01})
    held, without = under(mat), under(None)
    for name in (*BALANCE, "water_content", "node_suction"):
        assert np.array_equal(held[name].values, without[name].values), name


def test_a_dry_mat_takes_what_soaks_in_until_it_has_been_wet_for_some_hours():
    run = under(sw.RepellentMat(**MAT))
    top = run.water_content.sel(depth=slice(0.0, 3.0)).mean("depth").values
    assert top[0] < 0.08
    taken = np.diff(run.infiltration.values)
    assert taken[1] == pytest.approx(1.0, abs=1e-9)
    wet = top > 0.08
    takes_all = np.flatnonzero(taken > 5.0)
    # From the second hour in a row on at whose end it was wet.
    assert takes_all[0] == np.flatnonzero(wet)[0] + 1
    refused = float(run.runoff[-1])
    assert refused == pytest.approx(9.0 * (takes_all[0] - 1), abs=1e-9)
    went = run.runoff + run.transpiration + run.evaporation + run.drainage + run.interception
    gap = run.rain - went - run.storage_change
    assert float(abs(gap).max()) < 1e-6 * 40.0


def test_what_soaks_into_nothing_runs_off():
    run = under(sw.RepellentMat(**MAT | {"intake": 0.0}))
    assert float(run.runoff[-1]) == pytest.approx(40.0, abs=1e-9)
    assert float(run.infiltration[-1]) == 0.0


def test_gentle_water_soaks_in_where_the_same_water_fast_runs_off():
    mat = sw.RepellentMat(**MAT)
    gentle = sw.Weather(EDGES, [1.0] * 12, [0.2] * 12)
    fast = sw.Weather(EDGES, [12.0] + [0.0] * 11, [0.2] * 12)
    lost = [float(under(mat, each, output="12 h").runoff[-1]) for each in (gentle, fast)]
    assert lost[0] == 0.0 and lost[1] == pytest.approx(11.0, abs=1e-9)


def test_what_was_refused_stays_refused_when_a_rule_waters_later():
    rule = sw.Rule("6 mm", 0.30, rod=7.6, rate=18.0, hour=8.5, rain_window=2.0)
    mat = sw.RepellentMat(**MAT | {"intake": 0.0})
    run = under(mat, rules=[rule], output="12 h")
    assert float(run.irrigation[-1]) == pytest.approx(6.0)
    assert float(run.runoff[-1]) == pytest.approx(46.0, abs=1e-9)


def test_a_mat_remembers_whether_it_refuses():
    """Drier than the threshold at once, wetter only after hours; in between as it was."""
    mat, state, told = sw.RepellentMat(**MAT), MatState(), []
    for content in (0.10, 0.08, 0.0799, 0.09, 0.0799, 0.09, 0.09, 0.081, 0.079):
        state = mat.then(state, content, 1.0)
        told.append(state.refuses)
    assert told == [False, False, True, True, True, True, False, False, True]


def test_a_run_goes_on_with_a_mat_that_refuses(tmp_path):
    """Wet again, but not for long enough: it goes on refusing what it refuses in one run."""
    mat = sw.RepellentMat(**MAT | {"wetted_after": 6.0})
    weather = sw.Weather(EDGES, [0.0] + [10.0] * 8 + [0.0] * 3, [0.2] * 12)
    whole = under(mat, weather, output="1 h")
    cut = EDGES[5]
    first = under(mat, weather.between(EDGES[0], cut), output="1 h")
    wet = first.water_content.sel(depth=slice(0.0, 3.0)).mean("depth")
    assert float(wet[-1]) > mat.threshold and float(first.repellent_mat_wet_for) > 0.0
    first.to_netcdf(tmp_path / "run.nc")
    first.to_zarr(tmp_path / "run.zarr", consolidated=False)
    lost = []
    for state in (
        first,
        xr.open_dataset(tmp_path / "run.nc"),
        xr.open_zarr(tmp_path / "run.zarr", consolidated=False),
        known_at_end(first.expand_dims("case"), [GREEN.mesh()])[0],
    ):
        second = under(mat, weather.between(cut, EDGES[-1]), start=state, output="1 h")
        lost.append(float(first.runoff[-1] + second.runoff[-1]))
    assert lost == [lost[0]] * 4
    assert lost[0] == pytest.approx(float(whole.runoff[-1]), abs=1e-6)
    takes = under(None, weather.between(cut, EDGES[-1]), start=first, output="1 h")
    assert float(takes.runoff[-1]) == 0.0 < lost[0] - float(first.runoff[-1])
    assert np.isnan(float(whole.repellent_mat_wet_for))
    with pytest.raises(sw.InputError, match="a result that is not cut before its end"):
        under(mat, weather.between(cut, EDGES[-1]), start=first.isel(time=slice(0, 3)))


def test_a_mat_that_cannot_be_is_told_with_every_fault():
    with pytest.raises(sw.InputError) as caught:
        sw.RepellentMat(8, "3 kg", intake=-1.0, wetted_after="2 mm")
    assert len(caught.value.faults) == 4
    assert "'8 %'" in str(caught.value)
    with pytest.raises(
        sw.InputError, match=r"mat of 60.0 cm .* is thicker than the profile is deep"
    ):
        under(sw.RepellentMat(**MAT | {"thickness": 60.0}))
    with pytest.raises(sw.InputError, match=r"below 70 % by volume, and .* would never take any"):
        under(sw.RepellentMat(**MAT | {"threshold": 0.7}))
    with pytest.raises(sw.InputError, match="allowed: a RepellentMat, or None"):
        sw.Turf(15.0, repellent_mat=0.08)
