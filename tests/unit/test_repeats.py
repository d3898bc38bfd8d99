"""Readings that are told twice: pasted lines are asked about, pushes that agree are not."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import soilwater as sw
from soilwater.site.morning import _start
from soilwater.survey.repeats import repeats_of, told_of_repeats

MIX = sw.VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
TIME = "2025-07-02 06:00"


def green(pushes, digits, *, said=lambda first: first, seed=0):
    """Twelve spots, each pushed so often, what `said` makes of each spot's readings."""
    rng = np.random.default_rng(seed)
    spots = []
    for i in range(12):
        values = 0.22 + 0.02 * rng.standard_normal() + 0.015 * rng.standard_normal(pushes)
        read = [sw.Reading(round(v, digits), rod=7.6, time=TIME) for v in values.tolist()]
        spots.append(sw.Spot(f"A{i}", 30.0, readings=said(read)))
    return spots


@pytest.mark.parametrize("digits", [2, 3])
@pytest.mark.parametrize("pushes", [2, 3, 5])
def test_pushes_that_agree_by_chance_are_no_repeats(pushes, digits):
    """Three pushes at twelve spots, in whole per cents, agree at some spot nearly always."""
    agree = 0
    for seed in range(40):
        spots = green(pushes, digits, seed=seed)
        agree += any(len(set(spot.readings)) < pushes for spot in spots)
        assert repeats_of(spots) == {}
    assert agree > 25 or digits == 3


@pytest.mark.parametrize("step", [0.0038, 0.005, 0.02])
def test_a_meter_may_count_by_other_steps_than_its_last_figure(step):
    """In halves of a per cent, by twos, or in per cent of a pore space of 38 %."""
    for seed in range(20):
        spots = [
            replace(spot, readings=[replace(r, value=step * round(r.value / step)) for r in read])
            for spot in green(3, 4, seed=seed)
            for read in [spot.readings]
        ]
        assert repeats_of(spots) == {}


def test_a_few_pushes_far_astray_do_not_make_the_others_repeats():
    """Of 60 spots six where the meter strays by 6 %, among others in tenths that stray by .2 %."""
    for seed in range(10):
        rng = np.random.default_rng(seed)
        stray = np.where(np.arange(60) < 6, 0.06, 0.002)
        read = np.round(0.22 + stray[:, None] * rng.standard_normal((60, 2)), 3)
        spots = [
            sw.Spot(f"A{i}", 30.0, readings=[sw.Reading(v, rod=7.6) for v in of_spot])
            for i, of_spot in enumerate(read.tolist())
        ]
        assert repeats_of(spots) == {}


@pytest.mark.parametrize("digits", [2, 3])
@pytest.mark.parametrize("pushes", [1, 2, 3])
def test_a_file_pasted_twice_is_found_whatever_was_pushed(pushes, digits):
    for seed in range(20):
        found = repeats_of(green(pushes, digits, said=lambda read: read + read, seed=seed))
        assert len(found) == 12 and all(len(places) >= pushes for places in found.values())


def test_a_single_line_said_twice_is_found_where_no_one_pushed_twice():
    spots = green(1, 3)
    spots[4] = sw.Spot("A4", 30.0, readings=2 * spots[4].readings)
    assert repeats_of(spots) == {"A4": (1,)}
    # Two pushes may agree by chance; what is said of them is true of both.
    assert told_of_repeats(spots).startswith("told twice, and no two differ: A4 ")
    later = sw.Reading(spots[4].readings[0].value, rod=7.6, time="2025-07-02 06:01")
    spots[4] = sw.Spot("A4", 30.0, readings=[spots[4].readings[0], later])
    assert repeats_of(spots) == {}


LINES = [f"B{i},3{i},2025-07-02,06:1{i},{19.3 + 0.7 * i:.1f},7.6" for i in range(6)]


def file_of(lines, folder, header="spot,depth (cm),date,time,VWC (%),rod (cm)"):
    file = folder / "visit.csv"
    file.write_text("\n".join([header, *lines]) + "\n")
    return file


def test_dated_lines_pasted_twice_are_left_out_and_named(tmp_path):
    survey = sw.read_survey(file_of(LINES + LINES, tmp_path))
    assert [len(spot.readings) for spot in survey.spots] == [1] * 6
    assert any("left out: line 8, line 9" in note for note in survey.notes)


def test_repeats_in_lines_that_differ_are_refused_with_a_cure_that_works(tmp_path):
    again = [line.replace(",3", ",4", 1) for line in LINES]
    header = "spot,drop (s),date,time,VWC (%),rod (cm)"
    undated = [line.replace("2025-07-02,06:1", ",").split(",") for line in LINES]
    undated = [",".join([*cells[:3], "", *cells[-2:]]) for cells in undated]
    for lines in ([*LINES, *again[:1]], [*undated, *undated]):
        with pytest.raises(sw.InputError, match="told twice") as caught:
            sw.read_survey(file_of(lines, tmp_path, header))
        cure = str(caught.value).split("leave_out=")[1].split(";")[0]
        survey = sw.read_survey(file_of(lines, tmp_path, header), leave_out=eval(cure))
        assert [len(spot.readings) for spot in survey.spots] == [1] * 6


def test_a_line_for_each_push_keeps_those_that_agree(tmp_path):
    """In whole per cents every fifth pair or so."""
    values = [(22, 22, 21), (19, 20, 19), (24, 25, 24), (18, 18, 20), (21, 23, 22), (25, 24, 26)]
    lines = [f"B{i},35,2025-07-02,,{v},7.6" for i, of_spot in enumerate(values) for v in of_spot]
    survey = sw.read_survey(file_of(lines, tmp_path))
    assert [len(spot.readings) for spot in survey.spots] == [3] * 6


def test_three_pushes_in_one_line_are_noted_not_refused():
    table = {
        "spot": ["B1", "B2"],
        "reading 1 (%)": [20.1, 22.3],
        "reading 2 (%)": [20.1, 22.3],
    }
    survey = sw.read_survey(table, rod="3 in")
    assert any("told twice" in note for note in survey.notes)


def test_what_is_told_twice_is_shown_beside_every_answer():
    survey = sw.Survey(green(1, 3, said=lambda read: read + read))
    for cautions in (
        sw.diagnose(survey, MIX).cautions,
        sw.expected_reading(survey, MIX).attrs["cautions"].split("\n"),
    ):
        assert sum("A0 22.1 % at 2025-07-02 06:00" in each for each in cautions) == 1


def test_the_plan_of_a_morning_tells_of_lines_that_stand_twice_in_its_table():
    folder = Path(__file__).parents[2] / "examples" / "data" / "brackenhurst"
    site = sw.read_site_file(folder / "brackenhurst.toml")
    day = max(each.time for each in site.readings).astype("datetime64[D]")
    for readings, said in ((site.readings, 0), (2 * site.readings, 1)):
        _, _, told = _start(replace(site, readings=readings), site.green("4"), day)
        assert told.count("told twice") == said


def test_calibrate_counts_once_only_what_it_is_told_to():
    given = {
        "sand": MIX,
        "weather": sw.steady_weather(2, 5.0),
        "turf": sw.Turf(15.0),
        "soaked": "2025-07-01 00:00",
        "irrigation": (),
        "draws": 10,
    }
    survey = sw.Survey(green(1, 3, said=lambda read: read + read)[:2])
    with pytest.raises(sw.InputError, match=r'once with doubtful="leave out"'):
        sw.calibrate(survey, **given)
    found = sw.calibrate(survey, **given, doubtful="leave out")
    assert [track.at.size for track in found.evidence.tracks] == [1, 1]
    assert found.doubts[0].startswith("counted once: told twice")
    sensor = sw.BuriedSensor("A0", 7.6, [TIME, "2025-07-02 18:00"], [0.2, 0.19])
    begun = replace(sensor, times=sensor.times[:1], values=sensor.values[:1])
    for before in (sensor, begun):
        with pytest.raises(sw.InputError, match="a second sensor at A0"):
            sw.calibrate(sw.Survey(green(1, 3)[:2]), **given, sensors=[before, sensor])
    water = sw.Event("2025-07-01 06:00", 5.0, duration=1.0)
    for applied in (iter([water]), {"A0": iter([water])}):
        given["irrigation"] = applied
        found = sw.calibrate(sw.Survey(green(1, 3)[:2]), **given, sensors=iter([sensor]))
        assert found.green.groups[0].irrigation == (water,)
        assert list(found.given["sensors"]) == [sensor]
        kept = found.given["irrigation"]
        assert tuple(kept["A0"] if isinstance(kept, dict) else kept) == (water,)


def test_one_sensor_under_the_names_of_two_spots_is_asked_about():
    """Few values agree by chance, where a logger counts whole per cents; a course does not."""
    hours = sw.steady_weather(3, 5.0).start + np.arange(2, 50) * np.timedelta64(1, "h")
    told = np.linspace(0.24, 0.17, 48)
    survey = sw.Survey([sw.Spot("A0", 30.0), sw.Spot("B1", 31.0)])

    def learn(*values):
        sensors = [
            sw.BuriedSensor(*place, hours, each)
            for place, each in zip((("A0", 7.6), ("B1", 10.0)), values, strict=True)
        ]
        return sw.calibrate(
            survey, MIX, sw.steady_weather(3, 5.0), sw.Turf(15.0), soaked="2025-07-01 00:00",
            irrigation=(), draws=10, sensors=sensors,
        )  # fmt: skip

    with pytest.raises(sw.InputError, match=r"sensor at B1 has .* at A0, at all .*where it lies"):
        learn(told, told)
    whole = np.round(told, 2)[::24].repeat(24)
    assert learn(whole, whole).spots and learn(told, told + 0.001).spots


def test_values_of_a_sensor_are_not_counted_against_times_that_could_not_be_read():
    with pytest.raises(sw.InputError, match="time zone") as caught:
        sw.BuriedSensor("A0", 7.6, ["2025-07-02 06:00+02:00"], [0.2])
    assert "for 0 times" not in str(caught.value)
