"""Messy probe and meter surveys: what is understood, what is asked, and the sentence read."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from soilwater.survey.place import METRES_PER_DEGREE, distance
from soilwater.survey.sheet import join_surveys, read_survey
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.words.errors import InputError

DATA = Path(__file__).parents[2] / "examples" / "data"


def fault_of(source, **options):
    with pytest.raises(InputError) as caught:
        read_survey(source, **options)
    return str(caught.value)


def notes_of(source, **options):
    return "\n".join(read_survey(source, **options).notes)


# --- depths as people write them ---


def test_fractions_feet_at_least_and_words_in_one_column():
    survey = read_survey(
        {
            "peg": ["A1", "A2", "A3", "A4", "A5", "A6", "A7"],
            "probe (in)": ["14 3/4", "12+", "1'2", "hit pipe", "", "11-1/2", ">13"],
        }
    )
    # 1 in = 2.54 cm (international yard and pound agreement, 1959).
    depth = {spot.name: spot.depth for spot in survey.spots}
    assert depth["A1"] == pytest.approx(14.75 * 2.54)
    assert depth["A2"] == pytest.approx(12 * 2.54)
    assert depth["A3"] == pytest.approx(14 * 2.54)
    assert depth["A6"] == pytest.approx(11.5 * 2.54)
    assert [s.name for s in survey.spots if s.depth_at_least] == ["A2", "A7"]
    assert [s.name for s in survey.spots if not s.has_depth] == ["A4", "A5"]
    assert 'no depth: A4 "hit pipe", A5 blank' in survey.notes


def test_fractions_prove_inches_and_bare_numbers_are_asked():
    assert 'inches, from cells such as "14 3/4"' in notes_of(
        {"spot": ["a", "b"], "depth": ["14 3/4", "12"]}
    )
    for numbers, unit in (([12, 14], "in"), ([30, 36], "cm"), ([300, 360], "mm")):
        said = fault_of({"spot": ["a", "b"], "depth": numbers})
        assert f'look like {unit}; confirm with depth_unit="{unit}"' in said
    told = read_survey({"spot": ["a", "b"], "depth": [300, 360]}, depth_unit="mm")
    assert [spot.depth for spot in told.spots] == pytest.approx([30.0, 36.0])


def test_a_depth_far_from_the_median_is_asked_about():
    depths = {"spot": list("abcdef"), "depth (cm)": [35, 34, 36, 140, 35, 33]}
    said = fault_of(depths)
    assert "row 4 (d): depth 140 is 4 times the median 35 cm: mm? in? a slip, 14?" in said
    mended = read_survey(depths | {"depth (cm)": [35, 34, 36, "140 mm", 35, 33]})
    assert mended.spot("d").depth == pytest.approx(14.0)


def test_the_zero_of_depths_is_the_turf_surface():
    assert "depths taken from the turf surface, mat included" in notes_of(
        {"spot": ["a"], "depth (cm)": [30]}
    )
    collar = {"spot": ["a"], "depth from collar (cm)": [30]}
    assert "the turf surface, not the collar" in fault_of(collar)
    assert read_survey(collar, depth_from="turf surface").spot("a").depth == 30.0
    below = {"spot": ["a", "b"], "depth below mat (cm)": [30, 31], "mat (cm)": [5, ""]}
    assert "b: its depth was measured from below the mat and no mat thickness" in fault_of(below)
    both = read_survey(below | {"mat (cm)": [5, 2]})
    assert [spot.depth for spot in both.spots] == [35.0, 33.0]


def test_two_probes_of_one_spot_agree_or_are_asked():
    table = {"spot": ["a", "a"], "depth (cm)": [30, 31]}
    assert read_survey(table).spot("a").depth == 30.0
    assert "a is 38.0 cm deep here and 30.0 cm above" in fault_of(table | {"depth (cm)": [30, 38]})
    reached = read_survey(table | {"depth (cm)": ["30+", "41"]}).spot("a")
    assert reached.depth == 41.0 and not reached.depth_at_least


# --- readings ---

READ = {"spot": ["a", "b", "c"], "VWC (%)": [22, 24, 12]}


def test_readings_need_their_rods():
    assert 'give rod="3 in"' in fault_of(READ)
    spot = read_survey(READ, rod="3 in").spot("a")
    assert spot.readings[0].rod == pytest.approx(7.62)
    assert spot.mean_reading() == pytest.approx(0.22)


def test_two_rods_are_told_apart_and_not_averaged():
    mixed = read_survey(READ | {"rod (in)": [1.5, 3, 3]})
    assert any("rods mixed" in note and "split" in note for note in mixed.notes)
    assert mixed.rods == pytest.approx((3.81, 7.62))
    assert [len(s.readings) for s in mixed.with_rod(rod="3 in").spots] == [0, 1, 1]
    with pytest.raises(InputError, match="no reading was taken with"):
        mixed.with_rod(rod="8 in")
    side = read_survey({"spot": ["a"], "VWC 1.5 in (%)": [20], "VWC 3 in (%)": [23]})
    assert [reading.rod for reading in side.spot("a").readings] == pytest.approx([3.81, 7.62])
    with pytest.raises(InputError, match="are mixed; split the survey"):
        side.spot("a").mean_reading()


def test_impossible_readings_stay_on_the_map_and_out_of_means():
    survey = read_survey(
        {"spot": list("aabc"), "%VWC": [22.0, 0.0, 99.9, 52], "x (m)": [0, 0, 1, 2],
         "y (m)": [0, 0, 0, 0]},
        rod="3 in",
    )  # fmt: skip
    said = "\n".join(survey.notes)
    for word in ("a 0.0 % (no water at all: an air gap", "over the range", "salt, a wet mat"):
        assert word in said
    assert survey.spot("a").mean_reading() == pytest.approx(0.22)
    assert math.isnan(survey.spot("b").mean_reading())
    assert len(survey.spot("b").readings) == 1


def test_fractions_and_per_cents():
    assert "readings taken as fractions" in notes_of(
        {"spot": ["a", "b"], "VWC": [0.22, 0.12]}, rod=7.6
    )
    assert "readings taken as % by volume" in notes_of(
        {"spot": ["a", "b"], "VWC": [22, 0]}, rod=7.6
    )
    assert "mixed fractions and per cents: row 2 (b)" in fault_of(
        {"spot": ["a", "b", "c"], "VWC": [22, 0.28, 25]}, rod=7.6
    )
    assert "% by volume or % of field capacity?" in fault_of(
        {"spot": ["a"], "reading (% of field capacity)": [80]}, rod=7.6
    )


def test_visits_and_meters_are_an_offset_first():
    table = {
        "spot": ["a", "a"],
        "date": ["2031-06-03 06:10", "2031-06-05 06:20"],
        "meter": ["old", "new"],
        "VWC (%)": [22, 19],
    }
    survey = read_survey(table, rod="3 in")
    assert len(survey.spot("a").readings) == 2
    assert any("2 days and 2 meters" in n and "not a trend" in n for n in survey.notes)
    assert survey.spot("a").readings[1].time == np.datetime64("2031-06-05T06:20")
    said = fault_of(table | {"date": ["12/11/2031", "11/10/2031"]}, rod="3 in")
    assert "day" in said and "month" in said
    read = read_survey(table | {"date": ["12/11/2031", "11/10/2031"]}, rod=7.6, day_first=True)
    assert read.spot("a").readings[0].time == np.datetime64("2031-11-12")
    assert any("first times read: 2031-11-12" in note for note in read.notes)


# --- positions ---

PLACE = {
    "spot": list("abcd"),
    "lat": ["52.123410", "52.123450", "52.123480", "52.123440"],
    "lon": ["-3.200100", "-3.200150", "-3.200120", "-3.200180"],
    "depth (cm)": [30, 31, 32, 33],
}


def test_positions_become_metres():
    survey = read_survey(PLACE)
    a, c = survey.spot("a"), survey.spot("c")
    # One degree of a great circle of 6371 km is 111.19 km.
    assert c.y - a.y == pytest.approx(7e-5 * 111_195, rel=1e-3)
    assert a.x - c.x == pytest.approx(2e-5 * 111_195 * math.cos(math.radians(52.1234)), rel=1e-3)
    assert distance((0.0, 0.0), (0.0, 1.0)) == pytest.approx(METRES_PER_DEGREE)


def test_a_lost_minus_and_a_swap_are_named():
    lost = fault_of(PLACE | {"lon": ["-3.200100", "3.200150", "-3.200120", "-3.200180"]})
    assert "b: it falls 437 km away from the other spots" in lost
    assert "the minus of the longitude is lost" in lost
    swapped = {**PLACE, "lat": PLACE["lon"], "lon": PLACE["lat"]}
    said = fault_of(swapped, near=(52.1, -3.2))
    assert "km away from the place given" in said and "are swapped" in said
    beyond = PLACE | {"lat": ["117.1"] * 4, "lon": ["32.5"] * 4}
    assert "latitude and longitude may be swapped" in fault_of(beyond)


def test_coarse_positions_are_told():
    coarse = PLACE | {"lat": ["52.1234", "52.1235"] * 2, "lon": ["-3.2001", "-3.2002"] * 2}
    assert "4 decimals = 11 m, too coarse for a green" in notes_of(coarse)


def test_grid_names_give_positions():
    survey = read_survey({"cell": ["A1", "B3"], "depth (in)": [12, 13]}, grid_spacing="10 ft")
    assert (survey.spot("B3").x, survey.spot("B3").y) == pytest.approx((3.048, 6.096))


# --- slope, names, greens ---


def test_slope_is_asked_for_its_unit():
    table = {"spot": ["a"], "depth (cm)": [30], "slope": [4]}
    said = fault_of(table)
    # tan(4 deg) = 0.0699.
    assert "1:4 is 25 %" in said and "4 deg is 7.0 %" in said
    for unit, value in (("%", 0.04), ("1:n", 0.25), ("deg", 0.0699)):
        assert read_survey(table, slope_unit=unit).spot("a").slope == pytest.approx(value, rel=1e-3)
    assert "slope 1:4 read as 25.0 %" in notes_of(table | {"slope": ["1:4"]})
    assert read_survey(table | {"slope": ["2.5 %"]}).spot("a").slope == pytest.approx(0.025)


def test_spellings_of_one_green_are_shown_before_they_are_joined():
    table = {"green": ["12", "No. 12", "G12"], "spot": ["a", "b", "c"], "depth (cm)": [30, 31, 32]}
    assert 'the green is written "12", "No. 12", "G12"' in fault_of(table)
    survey = read_survey(table, green="12")
    assert len(survey.spots) == 3 and survey.name == "12"
    assert 'taken for one green: "12", "No. 12", "G12"' in survey.notes
    two = table | {"green": ["12", "12", "14"]}
    assert 'greens "12", "14" in one sheet' in fault_of(two)
    assert [spot.name for spot in read_survey(two, green="No 12").spots] == ["a", "b"]
    assert 'no green "7"' in fault_of(two, green="7")


def test_holes_that_were_probed_may_be_spots_of_one_green():
    table = {"Hole": ["H1", "H2", "H3"], "depth (cm)": [30, 31, 32], "TDR (%)": [20, 21, 22]}
    said = fault_of(table)
    assert 'where they are spots of one green, say columns={"spot": "Hole"}' in said
    survey = read_survey(table, columns={"spot": "Hole"}, rod="3 in")
    assert [spot.name for spot in survey.spots] == ["H1", "H2", "H3"]
    assert survey.spot("H2").mean_reading() == pytest.approx(0.21)
    twice = {"Hole": ["1", "1", "2"], "depth (cm)": [30, 31, 32]}
    assert "spots of one green" not in fault_of(twice)


@pytest.mark.parametrize("header", ["TDR serial", "Moisture probe serial no.", "Seriennummer TDR"])
def test_a_serial_number_is_no_reading(header):
    table = {"Spot": ["1", "2"], "depth (cm)": [30, 31], "VWC (%, 3 in)": [20, 21]}
    survey = read_survey(table | {header: [88123, 88123]})
    assert [spot.readings[0].value for spot in survey.spots] == [0.20, 0.21]
    assert f"not used: {header}" in repr(survey)


def test_rods_of_a_meter_are_no_readings_of_it():
    table = {"Spot": ["1", "2"], "depth (cm)": [30, 31], "TDR (%)": [20, 21]}
    survey = read_survey(table | {"TDR rod length (cm)": [7.6, 7.6]})
    assert [each.readings[0].rod for each in survey.spots] == [7.6, 7.6]
    assert survey.spot("2").mean_reading() == pytest.approx(0.21)


def test_joining_depths_and_readings():
    depths = Survey((Spot("12", 30.0), Spot("13", 31.0)), name="nursery")
    readings = Survey((Spot("No. 12", readings=(Reading(0.22, rod=7.6),)), Spot("20", 33.0)))
    with pytest.raises(InputError, match=r'"No. 12" and "12" look like one spot'):
        join_surveys(depths, readings)
    joined = join_surveys(depths, readings, same={"No. 12": "12"})
    assert [spot.name for spot in joined.spots] == ["12", "13", "20"]
    assert joined.spot("12").depth == 30.0 and joined.spot("12").mean_reading() == 0.22
    with pytest.raises(InputError, match="name spots of both"):
        join_surveys(depths, readings, same={"No. 9": "12"})


def test_everything_else_of_a_spot():
    survey = read_survey(
        pd.DataFrame(
            {"spot": ["a"], "probe depth (in)": [12], "mat thickness (mm)": [25],
             "drop test (min)": [2], "catch can (mm)": [6.5], "area (ft2)": [50], "crew": ["x"]}
        )
    )  # fmt: skip
    spot = survey.spot("a")
    assert (spot.mat_thickness, spot.drop_time, spot.catch_depth) == (2.5, 120.0, 6.5)
    assert spot.area == pytest.approx(50 * 0.09290304)
    assert "not used: crew" in survey.notes
    assert "mat 2.5 cm, drop 120 s, can 6.5 mm" in repr(survey)


def test_a_file_with_commas_and_a_title(tmp_path):
    path = tmp_path / "probe.csv"
    path.write_text("Ravenmoor nursery;;\nPeg;Depth (cm);VWC (%)\nA1;30,5;22,4\nA2;41+;15,1\n")
    survey = read_survey(path, rod="7.6 cm")
    assert survey.spot("A1").depth == 30.5 and survey.spot("A2").depth_at_least
    assert survey.spot("A2").mean_reading() == pytest.approx(0.151)


def test_a_clipboard_typed_up():
    sheet = DATA / "teasel_moor_probe_survey.csv"
    assert 'the green is written "6", "No. 6", "G6"' in fault_of(sheet)
    survey = read_survey(sheet, green="6")
    assert survey.spot("B2").depth == pytest.approx(13 * 2.54)
    assert survey.spot("B3").depth_at_least and not survey.spot("A3").has_depth
    assert survey.spot("C2").readings[0].doubt and survey.spot("C1").slope == pytest.approx(0.04)
    assert survey.spot("C3").mean_reading() == pytest.approx(0.149)


def test_all_faults_at_once():
    said = fault_of(
        {"spot": list("abcde"), "depth (cm)": [30, 31, 300, 32, 33],
         "VWC (%)": [22, -20, 21, 20, 9], "slope": [2, 2, 2, 2, 2]},
        rod="3 in",
    )  # fmt: skip
    for part in ("row 3 (c): depth 300", "row 2 (b): a reading of -20", "slope: 2 has no unit"):
        assert part in said


# --- the things themselves ---


def test_spots_and_surveys_check_themselves():
    with pytest.raises(InputError, match=r"2 faults"):
        Spot("a", -3.0, slope="4")
    with pytest.raises(InputError, match="depth_at_least without a depth"):
        Spot("a", depth_at_least=True)
    with pytest.raises(InputError, match="it has no name"):
        Spot(" ")
    with pytest.raises(InputError, match="write Reading"):
        Spot("a", readings=(0.2,))
    with pytest.raises(InputError, match="looks like per cent"):
        Reading(22.0, rod=7.6)
    with pytest.raises(InputError, match='2 spots are called "a"'):
        Survey((Spot("a"), Spot("a")))
    with pytest.raises(InputError, match="it has no spots"):
        Survey(())
    with pytest.raises(InputError, match='no spot is called "z"'):
        Survey((Spot("a"),)).spot("z")
    assert Spot("a", x="3 m").x == pytest.approx(3.0)


def test_html_is_escaped():
    survey = Survey((Spot("<b>", 30.0),), name="<i>", notes=("<script>",))
    assert "<script>" not in survey._repr_html_() and "&lt;b&gt;" in survey._repr_html_()


def test_grid_cells_with_one_number_are_not_one_spot():
    survey = read_survey({"cell": ["G1", "H1", "T1"], "depth (cm)": [30, 31, 32]})
    assert [spot.name for spot in survey.spots] == ["G1", "H1", "T1"]
    said = fault_of({"spot": ["1", "No. 1"], "depth (cm)": [30, 31]})
    assert 'spots "1" and "No. 1" look like one' in said


def test_a_depth_in_no_unit_is_asked_about_by_its_unit():
    """It was called nan cm, nan times the median."""
    said = fault_of({"spot": ["A", "B"], "depth (in)": ["18 +/- 1 in", "15"]})
    assert 'the unit "+/- 1 in" is not known' in said and "nan" not in said


@pytest.mark.parametrize(
    "text",
    [
        *("18+ in", "18 in+", "at least 18 in", "> 18 in", "18 in or more"),
        *("18+ inches", "18+ in.", "1.5+ ft", "1.5+ feet", "1.5+'"),
    ],
)
def test_a_probe_that_was_too_short_may_be_written_as_on_a_clipboard(text):
    """The plus was lost: such a spot was taken for just that deep, in every call."""
    spot = Spot("C3", text)
    assert (spot.depth, spot.depth_at_least) == (pytest.approx(45.72), True)
    assert not Spot("C3", "18 in").depth_at_least
    read = read_survey({"spot": ["C3", "C4"], "depth (in)": [text, "15"]}).spots[0]
    assert (read.depth, read.depth_at_least) == (pytest.approx(45.72), True)
    with pytest.raises(InputError, match=r'"18" has no unit'):
        Spot("C3", "18+")


@pytest.mark.parametrize("text", ["+18 in", "＋18 in", " + 18 in"])
def test_a_plus_in_front_of_a_depth_is_asked_about_as_in_a_sheet(text):
    """It was taken for just that deep."""
    asked = r'can be 18 in or at least 18 in; write "18 in" or "18 in\+"'
    with pytest.raises(InputError, match=asked):
        Spot("C3", text)
    assert Spot("C3", "18 in+").depth_at_least and not Spot("C3", "18 in").depth_at_least
