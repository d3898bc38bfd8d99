"""Yesterday's plan made anew in the morning: what was read goes in, what changed is said."""

from dataclasses import replace

import numpy as np
import pytest

import soilwater as sw
from soilwater.decisions.watering.replanning import _changes, as_planned
from soilwater.learning.calibrate import calibrate_again
from soilwater.soils.scaling import with_suction_scaled
from soilwater.survey.sensor import join_sensors
from soilwater.survey.together import added_to
from soilwater.words.errors import Faults

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
WEATHER = sw.steady_weather(8, 5.0)
TURF = sw.Turf(15.0)
DAYS = ("2025-07-02 06:00", "2025-07-04 06:00", "2025-07-06 06:00")
DEPTHS = {"A1": 26.0, "A2": 27.0, "C3": 34.0}
TODAY = np.datetime64("2025-07-07T06:00", "ns")
WATER = sw.Event("2025-07-06 18:00", "4 mm", duration="30 min")
LATE = sw.Event("2025-07-08 06:00", "4 mm", duration="30 min")


def read(name, values, days, depth=None):
    readings = [sw.Reading(v, rod=7.62, time=day) for v, day in zip(values, days, strict=True)]
    return sw.Spot(name, depth or DEPTHS[name], readings=readings)


@pytest.fixture(scope="module")
def plan():
    spots = []
    for name, depth in DEPTHS.items():
        soil = with_suction_scaled(SAND, 1.3)
        profile = sw.Profile.over_gravel(soil, depth, base_suction=6.7)
        meter = sw.meter_reading(sw.simulate(profile, WEATHER, turf=TURF, output=6.0), rod=7.62)
        spots.append(read(name, [float(meter.sel(time=day)) for day in DAYS], DAYS))
    survey = sw.Survey(spots)
    learned = sw.calibrate(
        survey, SAND, WEATHER, TURF, soaked="2025-07-01", irrigation=(), meter_error=0.01, draws=60
    )
    return sw.hand_water_plan(survey, SAND, WEATHER, TURF, 0.10, calibration=learned)


@pytest.fixture(scope="module")
def tomorrow():
    """A1 is far drier than it could be by the plan; A2 is not read."""
    values = {"A1": 0.075, "C3": 0.15}
    return sw.Survey([read(name, [value], [TODAY]) for name, value in values.items()])


@pytest.fixture(scope="module")
def again(plan, tomorrow):
    return sw.replan(plan, tomorrow, WEATHER, irrigation="as planned")


def test_the_next_morning_starts_from_yesterday_and_todays_readings(plan, again):
    fresh = again.calibration
    assert fresh.now == TODAY
    assert [len(spot.readings) for spot in fresh.spots] == [4, 3, 4]
    # What was planned for yesterday was given.
    given = {walk.spot for walk in plan.waterings if walk.time < fresh.now}
    assert given
    for group in fresh.green.groups:
        for i in group.spots:
            assert bool(group.irrigation) == (fresh.spots[i].name in given)
    assert all(walk.time >= fresh.now for walk in again.waterings)
    assert again.threshold == plan.threshold and again.rod == plan.rod
    assert fresh.given["meter_error"] == 0.01


def test_what_changed_is_said_spot_by_spot(again):
    line = next(each for each in again.changes if each.startswith("A1: "))
    assert "yesterday's plan had" in line and "it read 7.5 % where" in line
    assert "was expected" in line and line in repr(again)
    named = " ".join(again.changes)
    assert all(name in named for name in DEPTHS)


def test_a_drier_reading_brings_more_water(plan, again):
    def water(made):
        return sum(walk.amount for walk in made.spot("A1").waterings)

    # An event that is past asks for nothing any more.
    past = replace(plan, asked={**plan.asked, "event_day": "2025-07-06"})
    wet = sw.replan(
        past,
        sw.Survey([read("A1", [0.15], [TODAY])]),
        WEATHER,
        irrigation="as planned",
        asked={"largest_amount": "3 mm"},
    )
    assert water(again) > water(wet)
    assert wet.asked["event_day"] is None and "no water by hand" not in repr(wet)
    # What is asked otherwise than yesterday holds, and is asked again tomorrow.
    assert wet.asked["largest_amount"] == "3 mm" and "at most 3.0 mm" in repr(wet)
    assert all(walk.amount <= 3.0 for walk in wet.waterings)
    unread = "Not read today, and planned from what was read before: A2, C3."
    assert unread in wet.changes and "Not read today" in " ".join(again.changes)


def test_no_water_is_planned_for_an_hour_that_is_past(plan):
    """Read at 7:30 the hose of 6:00 may still come; read at 8:30 the crew is back at noon."""

    def first(hour):
        day = np.datetime64(f"2025-07-07T{hour}", "ns")
        made = sw.replan(
            plan, sw.Survey([read("A1", [0.075], [day])]), WEATHER, irrigation="as planned"
        )
        assert made.calibration.last_visit == day
        return min(walk.time for walk in made.spot("A1").waterings)

    assert first("07:30") == TODAY
    assert first("08:30") == TODAY + np.timedelta64(6, "h")


def test_what_a_shorter_forecast_does_not_reach_is_no_change(again, tomorrow):
    """Yesterday's plan went on; beside it stands what it had until the forecast ends."""
    end = again.waterings[-1].time
    today = {spot.name: spot.readings for spot in tomorrow.spots}
    said = _changes(again, again, today, TODAY, end)
    assert f"The forecast ends at {str(end)[:10]}" in said[-1]
    assert "As in yesterday's plan: A1, A2, C3." in said
    none = _changes(again, again, today, TODAY, end + np.timedelta64(1, "h"))
    assert not any("forecast ends" in each for each in none)


def test_water_that_was_told_already_is_not_counted_twice(again):
    later = sw.Survey([read("A1", [0.08], [TODAY + np.timedelta64(1, "D")])])
    name, (event, *_) = next(
        (name, events) for name, events in again.calibration.given["irrigation"].items() if events
    )
    with pytest.raises(sw.InputError, match=f'at "{name}" was told already'):
        sw.replan(again, later, WEATHER, irrigation={name: [event]}, forecast=WEATHER.shift("2 d"))
    # Nor is what yesterday's plan had, where it was planned once more.
    learnt = calibrate_again(again.calibration, later, WEATHER, {name: [event]})
    assert learnt.given["irrigation"][name].count(event) == 1


def test_what_else_was_measured_this_morning_is_taken(plan, tomorrow):
    """Drops that sat on its plug put a spot aside; a new area gives its litres; a depth is kept."""
    a1, c3 = tomorrow.spots
    found = replace(tomorrow, spots=(replace(a1, drop_time=90.0, area=4.0, depth=26.0), c3))
    made = sw.replan(plan, found, WEATHER, irrigation="as planned")
    assert made.spot("A1").outcome == "not by depth" and not made.spot("A1").waterings
    assert made.spot("A1").spot.area == 4.0 and made.spot("A1").spot.depth == DEPTHS["A1"]
    before = sw.Spot("B1", slope="2 %", drop_time=5.0, drop_tests=sw.DropTests({0: [5.0]}))
    later = added_to(before, sw.Spot("B1", 30.0, depth_at_least=True, drop_time=70.0))
    assert (later.depth, later.depth_at_least, later.slope) == (30.0, True, 0.02)
    assert (later.drop_time, later.drop_tests) == (70.0, None)
    again = added_to(later, sw.Spot("B1", 33.0))
    assert (again.depth, again.depth_at_least, again.drop_time) == (30.0, True, 70.0)


@pytest.mark.parametrize("values", [[0.45], [0.12, 0.12]])
def test_doubtful_readings_of_a_morning_are_left_out_when_asked(plan, values):
    """More than the pore space, or told twice."""
    survey = sw.Survey([read("A1", values, [TODAY] * len(values)), read("C3", [0.15], [TODAY])])
    given = {"plan": plan, "survey": survey, "weather": WEATHER, "irrigation": {}}
    with pytest.raises(sw.InputError, match='doubtful="leave out"'):
        sw.replan(**given)
    with pytest.raises(sw.InputError, match="doubtful is 'skip'"):
        sw.replan(**given, doubtful="skip")


def logged(*values, begin="2025-07-06T12:00"):
    """A sensor that reads every six hours."""
    times = np.datetime64(begin, "ns") + np.timedelta64(6, "h") * np.arange(len(values))
    return sw.BuriedSensor("C3", "3 in", times, values)


def test_what_sensors_read_since_yesterday_is_learnt(plan):
    """Without any reading of the meter; each value counts once, told again or not."""
    nothing_new = sw.Survey(list(plan.calibration.spots))
    made = sw.replan(
        plan, nothing_new, WEATHER, irrigation={}, sensors=[logged(0.13, 0.12, 0.12, 0.11)]
    )
    assert made.calibration.now == TODAY
    assert any(line.endswith("what was read before: A1, A2.") for line in made.changes)
    sensor, meter = (
        [track for track in made.calibration.evidence.tracks if track.buried == buried]
        for buried in (True, False)
    )
    assert [track.at.size for track in meter] == [3, 3, 3]
    assert sensor[0].value.tolist() == [0.13, 0.12, 0.12, 0.11]
    whole = logged(0.13, 0.12, 0.12, 0.11, 0.10)
    (joined,) = join_sensors(made.calibration.given["sensors"], [whole], Faults("sensors"))
    assert joined.repeats(whole) and joined.times.size == whole.times.size
    elsewhere = replace(whole, depth=10.0)
    assert len(join_sensors([joined], [elsewhere], Faults("sensors"))) == 2
    with pytest.raises(sw.InputError, match=r"read 15.0 % at 2025-07-06 18:00, and was told"):
        other = logged(0.15, 0.12, 0.11, 0.1, begin="2025-07-06T18:00")
        sw.replan(made, nothing_new, WEATHER, irrigation={}, sensors=[other])


def test_yesterdays_readings_alone_are_no_new_morning(plan):
    """Read later than the hour the plan begins with, too."""
    known = replace(plan.calibration, now=plan.calibration.now - np.timedelta64(1, "h"))
    for each in (plan, replace(plan, calibration=known)):
        with pytest.raises(sw.InputError, match="no usable reading is later"):
            sw.replan(each, sw.Survey(list(plan.calibration.spots)), WEATHER, irrigation={})


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"irrigation": None}, 'irrigation="as planned"'),
        ({"irrigation": "none"}, "events by the name of the spot"),
        ({"irrigation": [WATER]}, r'is a list; .* write irrigation=\{"": \[Event'),
        ({"irrigation": {"A1": WATER}}, r'of "A1" is an Event; write irrigation=\{"A1": \[Event'),
        ({"irrigation": {"": None}}, r"of all spots is None; .* or \[\] if there was none"),
        ({"irrigation": {"A1": iter([LATE])}}, r'07-08 06:00 at "A1" is later than the last'),
        ({"plan": None}, "not made with a calibration"),
        ({"asked": {"event": "2025-07-08"}}, "asked: 'event'; allowed: threshold, .*event_day"),
        ({"forecast": WEATHER.between("2025-07-07", "2025-07-07 12:00")}, "2025-07-08 06:00 or"),
        ({"survey": sw.Survey([read("A1", [0.1], [TODAY], 30.0)])}, "learnt with 26.0 cm"),
        ({"sensors": [0.2]}, r"sensors\[0\].*0.2 is no BuriedSensor"),
        ({"sensors": 0.2}, r"write sensors=\[BuriedSensor"),
        ({"survey": sw.Survey([read("a1", [0.1], [TODAY], 26.0)])}, 'write "A1"'),
    ],
)
def test_a_morning_that_cannot_be_planned_is_refused_with_the_cure(plan, tomorrow, change, told):
    given = {"plan": plan, "survey": tomorrow, "weather": WEATHER, "irrigation": {}, **change}
    with pytest.raises(sw.InputError, match=told):
        sw.replan(**given)


def test_water_of_this_morning_is_planned_anew_where_the_green_is_read_first(plan):
    """Read at 6:40, before the hose of 6:00 went round; read at noon, after it."""
    walk = plan.waterings[-1]

    def given(minutes):
        water = as_planned(plan, [walk.time + np.timedelta64(minutes, "m")])
        return walk.time in {event.time for event in water.get(walk.spot, ())}

    assert not given(0) and not given(40)
    assert given(150) and given(370)
