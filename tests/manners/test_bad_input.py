"""What people are told about input that cannot be used: what, where, what is allowed, the cure.

Every fault of a thing is told at once, so that a table is mended in one go.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from grounds import MIDDLE_MIX

import soilwater as sw

SAND = replace(MIDDLE_MIX, name="greens mix")
GREEN = sw.Profile.over_gravel(SAND, 30.0)
DAY = sw.steady_weather(1, 4.0)
DEEP = sw.Profile([sw.Layer(SAND, 30.0, "root zone")], sw.FreeDrainage())


@pytest.fixture(scope="module")
def run():
    return sw.simulate(GREEN, DAY, output="24 h")


@pytest.fixture(scope="module")
def runs():
    return sw.compare_depths(GREEN, [5.0, 10.0, 30.0], DAY, output="24 h")


def told(call, *, faults=1):
    """Message of the error a call raises, once its faults are counted."""
    with pytest.raises(sw.InputError) as caught:
        call()
    message = str(caught.value)
    first, *others = message.splitlines()
    if faults > 1:
        assert first.endswith(f": {faults} faults")
        assert len(others) == faults
        assert all(line.startswith("- ") and line.endswith(".") for line in others)
    else:
        assert not others
        assert first.endswith(".")
    for internal in ("Traceback", "numpy", "dtype", "NoneType", "object at 0x"):
        assert internal not in message
    return message


# --- soils -------------------------------------------------------------------------------------


def test_a_residual_water_content_that_is_not_below_saturation():
    message = told(lambda: sw.VanGenuchten(0.45, 0.40, 0.047, 3.0, 40.0, name="mix"))
    assert message == (
        'VanGenuchten "mix": theta_r=0.45 is not below theta_s=0.4; allowed: theta_r below '
        "theta_s; look for the two in each other's place, or per cent beside fractions."
    )
    told(lambda: sw.VanGenuchten(0.40, 0.40, 0.047, 3.0, 40.0))


@pytest.mark.parametrize("n", [1.0, 0.7, -2.0])
def test_a_steepness_of_one_or_less(n):
    message = told(lambda: sw.VanGenuchten(0.05, 0.40, 0.047, n, 40.0))
    assert message == f"VanGenuchten: n={n:g}; allowed: above 1."


def test_all_faults_of_a_soil_at_once():
    message = told(lambda: sw.VanGenuchten(0.45, 0.40, -0.047, 1.0, "3 in"), faults=4)
    assert "theta_r=0.45 is not below theta_s=0.4" in message
    assert "alpha=-0.047; allowed: above 0" in message
    assert "n=1; allowed: above 1" in message
    assert (
        'k_sat: "3 in": "in" does not measure a conductivity; allowed: a number (cm/h)' in message
    )


def test_water_contents_in_per_cent():
    message = told(lambda: sw.VanGenuchten(5.0, 40.0, 0.047, 3.0, 40.0), faults=2)
    assert "theta_r: 5 is not a water content by volume" in message
    assert "allowed: fractions from 0 to 1, or text such as '22 %'" in message
    assert "it looks like per cent: write 0.4 or '40 %'" in message
    assert sw.VanGenuchten("5 %", "40 %", 0.047, 3.0, 40.0).theta_s == pytest.approx(0.40)


# --- profiles ----------------------------------------------------------------------------------


@pytest.mark.parametrize("thickness", [-3.0, 0.0, "-1 in"])
def test_a_thickness_that_is_none(thickness):
    message = told(lambda: sw.Layer(SAND, thickness, "top"))
    assert message.startswith('Layer "top": thickness is')
    assert message.endswith("cm; allowed: above 0 cm.")


def test_a_missing_thickness():
    message = told(lambda: sw.Layer(SAND, np.nan, "top"))
    assert message == (
        'Layer "top": thickness: the value is missing; allowed: finite numbers (cm); give a number.'
    )


def test_all_faults_of_a_layer_at_once():
    message = told(lambda: sw.Layer("sand", "12 kPa", "top"), faults=2)
    assert 'thickness: "12 kPa": "kPa" does not measure a length' in message
    assert "soil is 'sand'; allowed: a soil, such as VanGenuchten(0.05, " in message


def test_all_faults_of_a_profile_over_gravel_at_once():
    message = told(lambda: sw.Profile.over_gravel(SAND, -3.0, base_suction=-2.0), faults=2)
    assert 'Layer "root zone": thickness is -3 cm; allowed: above 0 cm' in message
    assert "CapillaryBreak: entry_suction is -2 cm; allowed: 0 or more" in message


def test_all_faults_of_a_profile_at_once():
    layers = [SAND, sw.Layer(SAND, 3.0, "mix"), sw.Layer(SAND, 3.0, "mix")]
    message = told(lambda: sw.Profile(layers, "gravel"), faults=3)
    assert "layer 1: a VanGenuchten is no layer; write Layer(soil, thickness, name)" in message
    assert '2 layers are called "mix"; give each its own name' in message
    assert "base is 'gravel'; allowed: SeepageFace(), CapillaryBreak(entry_suction)," in message
    message = told(lambda: sw.Profile([], sw.Sealed()))
    assert message.endswith("it has no layers; give at least one Layer(soil, thickness, name).")


def test_a_kind_of_base_condition_instead_of_one():
    message = told(lambda: sw.Profile([sw.Layer(SAND, 30.0)], sw.SeepageFace))
    assert "allowed: SeepageFace(), CapillaryBreak(entry_suction), FreeDrainage()," in message


@pytest.mark.parametrize(
    "ask",
    [
        lambda: sw.drained_state(DEEP),
        lambda: sw.drained_water_content(DEEP, 0.0, 7.6),
        lambda: sw.simulate(DEEP, DAY, start="drained"),
    ],
    ids=["state", "water content", "start"],
)
def test_a_base_condition_that_does_not_fit_the_question(ask):
    assert told(ask) == (
        "Profile: with its base (free drainage into deep soil (unit gradient)) it comes to no rest "
        "of its own; allowed: CapillaryBreak, GravelBlanket, SeepageFace or WaterTable; simulate "
        "the drainage instead."
    )


def test_base_conditions_out_of_range():
    assert told(lambda: sw.CapillaryBreak(-1.0)) == (
        "CapillaryBreak: entry_suction is -1 cm; allowed: 0 or more."
    )
    assert told(lambda: sw.WaterTable("-1 in")) == (
        "WaterTable: depth is -2.54 cm; allowed: 0 or more."
    )
    assert told(lambda: sw.WaterTable("1 kPa")).startswith(
        'WaterTable: depth: "1 kPa": "kPa" does not measure a length; allowed: a number (cm) or'
    )


def test_a_layer_that_is_not_there():
    assert told(lambda: GREEN.with_thickness(10.0, layer="gravel")) == (
        'Profile: no layer is called "gravel"; allowed: root zone; name the layer that is meant.'
    )


def test_all_faults_of_the_depths_to_compare_at_once():
    message = told(lambda: sw.compare_depths(GREEN, [10.0, -5.0, 0.0], DAY), faults=2)
    assert "thickness is -5 cm; allowed: above 0 cm" in message
    message = told(lambda: sw.compare_depths(GREEN, [10.0, np.nan], DAY))
    assert message.startswith("depths: 1 of 2 values are missing or not finite, the first at [1]")
    told(lambda: sw.compare_depths(GREEN, [], DAY))


def test_something_else_than_a_profile():
    message = told(lambda: sw.drained_state(SAND))
    assert message.startswith("profile: a VanGenuchten was given; allowed: a Profile, such as")
    message = told(lambda: sw.simulate(SAND, 3, turf="x"), faults=3)
    assert "profile is a VanGenuchten; allowed: Profile" in message
    assert "weather is a int; allowed: Weather" in message
    assert "turf is a str; allowed: Turf or None" in message


# --- meters ------------------------------------------------------------------------------------


def test_a_rod_longer_than_the_profile(run, runs):
    assert told(lambda: sw.meter_reading(run, rod="14 in")) == (
        "Meter: rod is 35.6 cm (14.0 in) and longer than the profile is deep: 30.0 cm (11.8 in); "
        "allowed: up to 30.0 cm (11.8 in); take a shorter rod, or leave out the profiles that are "
        "too shallow."
    )
    # In a batch every depth that is too shallow is named.
    message = told(lambda: sw.meter_reading(runs, rod="7 in"))
    assert (
        "longer than the profile is deep: 5.0 cm (2.0 in), 10.0 cm (3.9 in); allowed: up to 5.0"
        in (message)
    )


@pytest.mark.parametrize("rod", [0.0, -3.0])
def test_a_rod_without_length(run, rod):
    assert (
        told(lambda: sw.meter_reading(run, rod=rod))
        == f"Meter: rod is {rod:g} cm; allowed: above 0 cm."
    )


def test_all_faults_of_a_question_at_once(run):
    message = told(lambda: sw.days_until(run, 12.0, rod="14 in", since="2025-07-04"), faults=2)
    assert (
        "threshold: 12 is not a water content by volume; allowed: fractions from 0 to 1" in message
    )
    assert "it looks like per cent: write 0.12 or '12 %'" in message
    assert "rod is 35.6 cm (14.0 in) and longer than the profile is deep" in message
    assert told(lambda: sw.days_until(run, 0.12, rod="3 in", since="2025-07-04")) == (
        "Days until: since is 2025-07-04 00:00, outside the run; allowed: 2025-07-01 00:00 to "
        "2025-07-02 00:00."
    )


def test_depths_outside_the_profile():
    message = told(lambda: sw.drained_water_content(GREEN, -1.0, "13 in"), faults=2)
    assert "top is -1 cm; allowed: 0 to the base at 30.0 cm (11.8 in)" in message
    assert "bottom is 33.02 cm; allowed: 0 to the base at 30.0 cm (11.8 in)" in message
    message = told(lambda: sw.drained_water_content(GREEN, 10.0, 5.0))
    assert "allowed: top above bottom; depths are counted downward from the turf surface" in message


def test_a_part_of_a_result(run):
    message = told(lambda: sw.meter_reading(run.isel(node_depth=slice(0, 9)), rod=7.6))
    assert "the nodes do not span the profile; keep node_depth whole" in message
    message = told(lambda: sw.meter_reading(run.drop_vars("node_suction"), rod=7.6))
    assert '"node_suction" is missing; give the result of simulate' in message
    message = told(lambda: sw.days_until(sw.drained_state(GREEN), 0.12, rod=7.6))
    assert message.endswith("the Dataset has no times; give the result of a simulation.")


# --- weather and times -------------------------------------------------------------------------

TABLE = pd.DataFrame(
    {"rain": [0.0, 1.0, 2.0, 0.0], "reference_et": 4.0},
    index=pd.date_range("2025-07-01", periods=4, freq="D", name="time"),
)


def test_a_gap_in_the_weather_is_named():
    gap = TABLE.drop(TABLE.index[2])
    assert told(lambda: sw.weather_from_table(gap, label="start")) == (
        "Weather table: gap: nothing between 2025-07-02 00:00 and 2025-07-04 00:00 although the "
        "step is 24 h; supply the missing rows, or fill the gap in a step of its own."
    )


def test_every_kind_of_missing_value_is_named_with_its_first_stamp():
    holed = TABLE.copy()
    holed.loc["2025-07-03", "rain"] = np.nan
    holed.loc["2025-07-02":"2025-07-03", "reference_et"] = np.nan
    message = told(lambda: sw.weather_from_table(holed, label="start"), faults=2)
    assert (
        "rain: missing (not a finite number) in 1 of 4 intervals, first from 2025-07-03" in message
    )
    assert (
        "reference_et: missing (not a finite number) in 2 of 4 intervals, first from 2025-07-02"
        in (message)
    )
    assert "missing is not zero: supply the values or fill the gap" in message


def test_times_that_go_backwards():
    backwards = TABLE.iloc[[0, 2, 1, 3]]
    assert told(lambda: sw.weather_from_table(backwards, label="start")) == (
        "Weather table: time does not go forward: 2025-07-03 00:00 is followed by "
        "2025-07-02 00:00; sort the table and remove repeated stamps."
    )
    edges = np.array(["2025-07-01", "2025-07-03", "2025-07-02"], "M8[ns]")
    message = told(lambda: sw.Weather(edges, [1.0, np.nan], [1.0, -1.0]), faults=3)
    assert "edges: time does not go forward: 2025-07-03 00:00 is followed by" in message
    assert "reference_et: -1 mm in the interval from 2025-07-03 00:00" in message
    output = ["2025-07-01 12:00", "2025-07-01 06:00", "2025-07-09"]
    message = told(lambda: sw.simulate(GREEN, DAY, output=output), faults=2)
    assert "2025-07-09 00:00 lies outside the run; allowed: 2025-07-01 00:00 to" in message
    assert "time does not go forward: 2025-07-01 12:00 is followed by 2025-07-01 06:00" in message
    assert "sort the times and remove repeated ones" in message


def test_a_stamp_without_meaning():
    message = told(lambda: sw.weather_from_table(TABLE, label="middle"))
    assert message == 'Weather table: label is \'middle\'; allowed: "start" or "end".'


def test_output_times_that_cannot_be():
    assert told(lambda: sw.simulate(GREEN, DAY, output=-3.0)) == "output: -3 h; allowed: above 0."
    assert "at least one time, or an interval" in told(lambda: sw.simulate(GREEN, DAY, output=[]))
    message = told(lambda: sw.simulate(GREEN, DAY, output=["2025-07-01", "NaT"]))
    assert message == "output: the time at position 1 is missing."
    message = told(lambda: sw.simulate(GREEN, DAY, output=[1, 2]))
    assert message.startswith("output: numbers (1) where times are due; allowed: datetime64 or")


def test_irrigation_outside_the_weather():
    late = sw.Event("2025-08-01 05:00", 5.0, rate=5.0)
    assert told(lambda: sw.simulate(GREEN, DAY, irrigation=[late])) == (
        "Irrigation events: 5 mm from 2025-08-01 05:00 to 2025-08-01 06:00 is not inside the "
        "weather; allowed: 2025-07-01 00:00 to 2025-07-02 00:00."
    )


# --- starts ------------------------------------------------------------------------------------


def profile_of(values, name="water_content", depths=(0.0, 10.0, 30.0)):
    return xr.DataArray(list(values), {"depth": list(depths)}, ["depth"], name=name)


def start(given):
    return lambda: sw.simulate(GREEN, DAY, start=given, output="24 h")


def test_a_start_in_per_cent():
    message = told(start(profile_of([22.0, 0.25, 30.0])), faults=2)
    assert (
        "depth 0 cm: water_content is 22; allowed: 0.05 to 0.4; write a fraction: 0.22" in message
    )
    assert (
        "depth 30 cm: water_content is 30; allowed: 0.05 to 0.4; write a fraction: 0.3" in message
    )


def test_a_start_with_holes():
    message = told(start(profile_of([np.nan, 0.25, np.nan])), faults=2)
    assert "depth 0 cm: water_content is missing" in message
    assert "depth 30 cm: water_content is missing" in message


def test_a_start_that_no_soil_can_hold():
    message = told(start(profile_of([0.2, 0.5, 0.02])), faults=2)
    assert "depth 10 cm: water_content is 0.5; allowed: 0.05 to 0.4" in message
    assert "drier than any oven makes soil" in told(start(1e9))


def test_a_start_whose_depths_go_backwards():
    message = told(start(profile_of([50.0, 40.0, 30.0], "suction", (0.0, 20.0, 10.0))))
    assert message == (
        "start: the depths do not increase: 20 cm is followed by 10 cm; sort them from the surface "
        "down."
    )
    assert "it holds no depths" in told(start(profile_of([], "suction", ())))


def test_a_start_that_is_not_understood(runs):
    assert told(start("wet")).endswith('Or write "soaked" or "drained".')
    message = told(start(profile_of([1.0, 2.0, 3.0], "theta")))
    assert message == ("start: the DataArray is called 'theta'; allowed: suction or water_content.")
    assert "holds 3 columns; allowed: one; pick it with .isel or .sel" in told(start(runs))
    other = runs.isel(root_zone_depth=0)
    assert "is of another profile or mesh; allowed: the same layers" in told(start(other))


# --- settings and batches ----------------------------------------------------------------------


def test_all_faults_of_the_settings_at_once():
    settings = {"ponding_limit": -1.0, "tolerance": 0.0, "refinement": np.nan, "max_steps": -1}
    message = told(lambda: sw.simulate(GREEN, DAY, **settings), faults=4)
    for name, allowed in (
        ("ponding_limit is -1 cm", "0 or more"),
        ("tolerance is 0.0", "above 0, up to 0.1"),
        ("refinement is nan", "above 0"),
        ("max_steps is -1", "0 or more"),
    ):
        assert f"{name}; allowed: {allowed}." in message


def test_all_faults_of_a_batch_at_once():
    cases = [sw.Case(GREEN, DAY), 3, sw.Case(GREEN, sw.steady_weather(2, 1.0))]
    message = told(lambda: sw.simulate_many(cases, labels=[1]), faults=3)
    assert "position 1: int is no Case; write Case(profile, weather, ...)" in message
    assert "position 2: its weather spans 2025-07-01 00:00 to 2025-07-03 00:00; allowed:" in message
    assert "1 labels for 3 cases; allowed: one label a case" in message
    assert "there are none; allowed: at least one Case" in told(lambda: sw.simulate_many([]))


def test_a_dimension_whose_name_is_taken():
    message = told(lambda: sw.simulate_many([sw.Case(GREEN, DAY)], dimension="time"))
    assert message.startswith('dimension: "time" is taken by the results themselves; allowed:')


# --- units -------------------------------------------------------------------------------------

WRONG_UNITS = {
    "thickness": lambda: sw.Layer(SAND, "3 kPa"),
    "root_depth": lambda: sw.Turf("5 mm/day"),
    "interception": lambda: sw.Turf(10.0, interception="1 mm/h"),
    "half_suction": lambda: sw.SShapedStress("250 mm/h"),
    "entry_suction": lambda: sw.CapillaryBreak("3 in/h"),
    "alpha": lambda: sw.VanGenuchten(0.05, 0.40, "0.047 cm", 3.0, 40.0),
    "k_sat": lambda: sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "14 in"),
    "theta_s": lambda: sw.VanGenuchten(0.05, "40 mm", 0.047, 3.0, 40.0),
    "reference_et": lambda: sw.steady_weather(2, "5 mm"),
    "amount": lambda: sw.Event("2025-07-01", "5 mm/h", rate=5.0),
    "rate": lambda: sw.Event("2025-07-01", 5.0, rate="5 mm"),
    "output": lambda: sw.simulate(GREEN, DAY, output="3 mm"),
    "start": lambda: sw.simulate(GREEN, DAY, start="3 mm/h"),
    "ponding_limit": lambda: sw.simulate(GREEN, DAY, ponding_limit="5 mm/h"),
    "suction": lambda: sw.HeldSurface("3 in/h"),
    "depths": lambda: sw.compare_depths(GREEN, ["10 in", "5 kPa"], DAY),
    "top": lambda: sw.drained_water_content(GREEN, "0 kPa", "3 in"),
}


@pytest.mark.parametrize("argument", WRONG_UNITS)
def test_a_unit_of_the_wrong_kind_is_told_with_its_argument(argument):
    message = told(WRONG_UNITS[argument])
    assert f"{argument}: " in message or f"{argument}[" in message
    assert "does not measure" in message
    assert "; allowed: a number (" in message
    assert 'text with a unit such as "' in message


@pytest.mark.parametrize(
    "call",
    [
        lambda: sw.Layer(SAND, "12"),
        lambda: sw.CapillaryBreak("3"),
        lambda: sw.steady_weather(2, "5"),
        lambda: sw.simulate(GREEN, DAY, output="6"),
    ],
)
def test_text_without_a_unit_is_not_guessed_at(call):
    message = told(call)
    assert "has no unit; allowed: a number (" in message
    assert "without quotes if it is in the house unit, else add the unit" in message
