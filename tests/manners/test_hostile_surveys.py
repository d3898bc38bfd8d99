"""Surveys that were once misread, each with the reason; the cure an error tells is done."""

import re

import pytest

import soilwater as sw
from tests.cures import cures_in

DEPTHS = {"spot": list("abcdef"), "depth (in)": ["12", "13", "12 1/2", "12", "14", "13"]}


def asked(table, **options):
    with pytest.raises(sw.InputError) as caught:
        sw.read_survey(table, **options)
    return str(caught.value)


def with_cell(header, row, text, table=None):
    """The table with one cell written anew."""
    cells = list((DEPTHS if table is None else table)[header])
    cells[row] = text
    return {**(DEPTHS if table is None else table), header: cells}


def rewritten(header, row, text, table=None, **options):
    """Surveys that come of writing the cell in each way the error tells."""
    wrong = with_cell(header, row, text, table)
    told = re.findall(r'"([^"]+)"', asked(wrong, **options).split("write ")[1])
    return [sw.read_survey(with_cell(header, row, each, table), **options) for each in told]


@pytest.mark.parametrize(
    ("cell", "centimetres"),
    [
        # A foot mark and a metre where inches were meant: 366 cm and 1200 cm of root zone.
        ("12′", 30.48), ("12 m", 30.48), ("12 ft", 30.48), ("13 mm", 33.02),
        # Whole number and fraction run together: 60 1/2 inches.
        ("121/2", 31.75), ("121/2 in", 31.75), ("133/4\"", 34.925),
    ],
)  # fmt: skip
def test_a_depth_with_its_own_unit_is_held_against_its_neighbours(cell, centimetres):
    survey = rewritten("depth (in)", 2, cell)[0]
    assert survey.spot("c").depth == pytest.approx(centimetres)


def test_depths_that_state_their_unit_and_agree_are_read():
    # The unit of the column, written in the cell, confirms a number that was asked about.
    assert 'unit in the cell ("40 in")' in asked(with_cell("depth (in)", 2, "40"))
    assert sw.read_survey(with_cell("depth (in)", 2, "40 in")).spot("c").depth > 100.0
    survey = sw.read_survey(with_cell("depth (in)", 2, "33 cm"))
    assert survey.spot("c").depth == pytest.approx(33.0)
    assert sw.read_survey(with_cell("depth (in)", 2, "1 ft 1/2 in")).spot("c").depth > 31.0


@pytest.mark.parametrize(
    "names",
    [
        ("Mean", "Min", "Max", "SD"),
        ("Average", "Total", "Std. dev.", "Range"),
        ("Mittelwert", "Summe", "Minimum", "Standardabweichung"),
        ("Moyenne", "Médiane", "Écart-type", "Total"),
        ("Promedio", "Suma", "Mínimo", "Desviación estándar"),
    ],
)
def test_rows_that_sum_up_others_are_no_spots(tmp_path, names):
    # Four spots more, one of them of 63 inches.
    path = tmp_path / "survey.csv"
    rows = ["A1,12,21", "A2,13,22", "A3,12.5,20", *(f"{name},12.5,63" for name in names)]
    path.write_text("\n".join(["peg,depth (in),VWC (%)", *rows]) + "\n", encoding="utf-8")
    survey = sw.read_survey(path, rod="3 in")
    assert [spot.name for spot in survey.spots] == ["A1", "A2", "A3"]
    (note,) = [note for note in survey.notes if "sums up other rows" in note]
    assert all(name in note for name in names)


def test_a_mean_that_stands_in_the_column_of_greens():
    table = {"green": ["7", "7", "Mean"], "spot": ["a", "b", ""], "depth (in)": [12, 13, 12.5]}
    assert [spot.name for spot in sw.read_survey(table).spots] == ["a", "b"]


def test_one_neighbour_is_enough():
    assert 'write "12 in"' in asked({"spot": ["a", "b"], "depth (in)": ["13", "12 m"]})


def test_spots_with_short_names_are_spots():
    survey = sw.read_survey({"spot": ["N", "S", "SE", "SD"], "depth (cm)": [30, 31, 32, 30]})
    assert len(survey.spots) == 4


@pytest.mark.parametrize("first", ["C1", "C", "F"])
def test_a_first_row_of_values_with_units_is_a_row(tmp_path, first):
    # "C" is a unit of temperature too, and the wettest point of the green vanished.
    rows = [f"{first},12 3/8 in,31.4 %,3 in", "C2,13 in,20 %,3 in"]
    path = tmp_path / "survey.csv"
    path.write_text("\n".join(["cell,probe,VWC,rod", *rows]) + "\n", encoding="utf-8")
    columns = [list(column) for column in zip(*(row.split(",") for row in rows), strict=True)]
    table = dict(zip(["cell", "probe", "VWC", "rod"], columns, strict=True))
    for source in (path, table):
        survey = sw.read_survey(source)
        assert [spot.name for spot in survey.spots] == [first, "C2"]
        assert survey.spot(first).mean_reading() == pytest.approx(0.314)


def test_a_scale_of_1_to_10_is_no_per_cent():
    table = {"spot": list("abcde"), "moisture": [3, 5, 7.5, 9, 6]}
    text = asked(table, rod="3 in")
    assert "a very dry sand, or a meter's scale of 1 to 10" in text
    (told,) = [cure for cure in cures_in(text) if "reading_unit" in cure]
    assert sw.read_survey(table, rod="3 in", **told).spot("a").mean_reading() == 0.03
    stated = {"spot": list("abcde"), "VWC (%)": [3, 5, 7.5, 9, 6]}
    assert sw.read_survey(stated, rod="3 in").spot("a").mean_reading() == 0.03


def test_fractions_may_be_said():
    table = {"spot": ["a", "b"], "moisture": [0.21, 1.0]}
    assert sw.read_survey(table, rod=7.6, reading_unit="1").spot("b").readings[0].value == 1.0
    assert '"%" or "1"' in asked(table, rod=7.6, reading_unit="vol")


def test_one_fraction_among_per_cents():
    table = {"spot": list("abcdef"), "VWC (%)": [21, 22, 23, 20, 19, 23]}
    surveys = rewritten("VWC (%)", 2, "0.21", table, rod="3 in")
    values = [survey.spot("c").readings[0].value for survey in surveys]
    assert values == pytest.approx([0.21, 0.0021])
    # Rods in air read nothing, and that is kept on the map.
    assert sw.read_survey(with_cell("VWC (%)", 2, "0.0", table), rod="3 in").spot("c").readings


@pytest.mark.parametrize("names", [("Peg 03", "3"), ("No. 4", "04"), ("Punkt 7", "Nr. 7")])
def test_two_spellings_of_one_spot(names):
    table = {"peg": [*names, "12"], "depth (in)": [12, 13, 12]}
    assert f'"{names[0]}" and "{names[1]}" look like one' in asked(table)
    depths = sw.read_survey({"peg": [names[0]], "depth (in)": [12]})
    readings = sw.read_survey({"peg": [names[1]], "VWC (%)": [21]}, rod="3 in")
    with pytest.raises(sw.InputError) as caught:
        sw.join_surveys(depths, readings)
    (told,) = cures_in(str(caught.value))
    assert len(sw.join_surveys(depths, readings, **told).spots) == 1


def test_a_rod_longer_than_the_root_zone_is_deep():
    # It reads gravel, and the spot looked dry.
    table = {"spot": ["a", "b"], "depth (in)": [5, 12], "VWC (%)": [9, 21]}
    assert 'spot "a": rods of 20.3 cm (8.0 in)' in asked(table, rod="8 in")
    assert sw.read_survey(table, rod="3 in").rods == pytest.approx((7.62,))
    depths = sw.read_survey({"spot": ["a"], "depth (in)": [5]})
    readings = sw.read_survey({"spot": ["a"], "VWC (%)": [9]}, rod="8 in")
    with pytest.raises(sw.InputError, match="read what lies below it"):
        sw.join_surveys(depths, readings)
    least = {**table, "depth (in)": ["5+", 12]}
    assert sw.read_survey(least, rod="8 in").spot("a").depth_at_least


@pytest.mark.parametrize(
    "cell", ["18+", "18 +", "18+ in", '18"+', "> 18", "at least 18", "18 or more", "mind. 18"]
)
def test_a_lower_bound_stays_one(cell):
    spot = sw.read_survey(with_cell("depth (in)", 4, cell)).spot("e")
    assert spot.depth_at_least and spot.depth == pytest.approx(45.72)


def test_a_plus_in_front_is_asked():
    depths = {survey.spot("e").depth_at_least for survey in rewritten("depth (in)", 4, "+18")}
    assert depths == {True, False}


def test_a_row_written_twice_is_one_visit():
    table = {
        "spot": ["a", "a", "b"],
        "date": ["2031-06-03 06:10", "2031-06-03 06:10", "2031-06-03 06:12"],
        "VWC (%)": [22, 22, 19],
    }
    survey = sw.read_survey(table, rod="3 in")
    assert len(survey.spot("a").readings) == 1
    assert "written twice, left out: row 2" in survey.notes


# --- arrangements and words, each read as its plain twin ---

SURVEYS = {
    "German": "Messpunkt;Tiefe (cm);Bodenfeuchte (Vol.-%)\nA1;30,5;21,3\nB1;31,0;22,0\n",
    "French": "Point;Profondeur (cm);Humidité (% vol)\nA1;30,5;21,3\nB1;31,0;22,0\n",
    "Spanish": "Punto;Profundidad (cm);Humedad (%)\nA1;30,5;21,3\nB1;31,0;22,0\n",
    # The mean of two readings was a third reading.
    "a mean beside readings": "spot,depth (cm),VWC 1 (%),VWC 2 (%),mean VWC (%)\n"
    "A1,30.5,21,21.6,21.3\nB1,31,22,22,22\n",
    # Suction of a sensor in the ground was a water content of 14 %.
    "a suction with the words of water": "spot,depth (cm),VWC (%),soil moisture tension (kPa)\n"
    "A1,30.5,21.3,3\nB1,31,22,4\n",
    "a suction under moisture": "spot,depth (cm),VWC (%),soil moisture (cb)\nA1,30.5,21.3,3\n"
    "B1,31,22,4\n",
    "times of day alone": "time,spot,depth (cm),VWC (%)\n06:30,A1,30.5,21.3\n06:31,B1,31,22\n",
    "a bound": "spot,depth (cm),VWC (%),drop (s)\nA1,30.5,21.3,>60\nB1,31,22,5\nC1,31,>45,5\n",
}  # fmt: skip


@pytest.mark.parametrize("text", SURVEYS.values(), ids=SURVEYS)
def test_one_survey_in_other_words(tmp_path, text):
    path = tmp_path / "survey.csv"
    path.write_text(text, encoding="utf-8")
    survey = sw.read_survey(path, rod="7.6 cm")
    assert [spot.depth for spot in survey.spots][:2] == [30.5, 31.0]
    assert [spot.mean_reading() for spot in survey.spots][:2] == pytest.approx([0.213, 0.22])
    assert not any(spot.readings for spot in survey.spots[2:])


def test_a_grid_as_it_was_walked(tmp_path):
    # The numbers of its rows were depths of 1, 2 and 3 in.
    rows = "1,12,12.5,13\n2,12,,14+\n3,11.5,12,12\n"
    path = tmp_path / "grid.csv"
    path.write_text(f"depth (in),A,B,C\n{rows}", encoding="utf-8")
    survey = sw.read_survey(path, grid_spacing="3 m")
    assert len(survey.spots) == 8
    assert survey.spot("C2").depth_at_least and survey.spot("C2").depth == pytest.approx(35.56)
    assert (survey.spot("C3").x, survey.spot("C3").y) == (6.0, 6.0)
    path.write_text(f"Green 7,A,B,C\n{rows}", encoding="utf-8")
    (depths, _) = cures_in(asked(path))
    assert sw.read_survey(path, **depths).spot("B1").depth == pytest.approx(31.75)


OTHER_HEADERS = {
    "German": "Nr.;Sandstärke (cm);Wassergehalt (%)\n1;30,5;21,3\n2;mind. 45;22\n"
    "Mittelwert;37;21,6\n",
    "French": "Repère;Épaisseur du sable (cm);Teneur en eau (%)\n1;30,5;21,3\n2;> 45;22\n",
    "Spanish": "Número;Espesor (cm);Humedad (% vol)\n1;30,5;21,3\n2;más de 45;22\n",
    "a header on each page": "No.,depth (cm),VWC (%)\n1,30.5,21.3\nNo.,depth (cm),VWC (%)\n"
    "2,45+,22\n",
}


@pytest.mark.parametrize("text", OTHER_HEADERS.values(), ids=OTHER_HEADERS)
def test_spots_and_thicknesses_in_other_words(tmp_path, text):
    # Spots were called by their line, and the depths were not used.
    path = tmp_path / "survey.csv"
    path.write_text(text, encoding="utf-8")
    one, two = sw.read_survey(path, rod="7.5 cm").spots
    assert (one.name, one.depth, one.mean_reading()) == ("1", 30.5, pytest.approx(0.213))
    assert (two.name, two.depth, two.depth_at_least) == ("2", 45.0, True)


@pytest.mark.parametrize(
    ("header", "depths", "parts"),
    [
        # A root zone of 84 cm, and of 3 m.
        ("depth (in)", [12, 12.5, 13, 30, 31, 33], ([30.5, 31.8, 33.0], [30, 31, 33])),
        ("depth (cm)", [30, 31, 33, 305, 310], ([30, 31, 33], [30.5, 31.0])),
        ("depth (mm)", [305, 310, 12, 12.5], ([30.5, 31.0], [30.5, 31.8])),
    ],
)
def test_a_unit_of_depths_that_changes_on_the_way_down(header, depths, parts):
    table = {"spot": [f"S{i}" for i in range(len(depths))], header: depths}
    told = [cure for cure in cures_in(asked(table)) if "leave_out" in cure]
    for cure, part in zip(told, parts, strict=True):
        found = [spot.depth for spot in sw.read_survey(table, **cure).spots]
        assert found == pytest.approx(part, abs=0.06)


@pytest.mark.parametrize("depths", [[28, 30, 27, 29, 31, 12, 13, 12], [12, 12, 30, 31]])
def test_a_few_knolls_in_a_row_are_ground(depths):
    table = {"spot": [f"S{i}" for i in range(len(depths))], "depth (cm)": depths}
    assert [spot.depth for spot in sw.read_survey(table).spots] == depths


def test_fractions_from_a_row_on():
    table = {"spot": list("abcdef"), "VWC (%)": [22, 19, 21, 0.22, 0.20, 0.24]}
    text = asked(table, rod="3 in")
    assert "3 readings of 0.2 to 0.24 among 19 to 22 %: fractions, the first in row 4" in text
    first = cures_in(text)[0]
    assert len(sw.read_survey(table, rod="3 in", **first).spots) == 3


def test_feet_called_inches():
    table = {"spot": list("abc"), "depth (in)": [1.0, 1.1, 1.05]}
    assert {"depth_unit": "ft"} in cures_in(asked(table))


def test_a_fraction_that_a_workbook_made_a_date():
    # 12-3/8 in became the third of December, and the spot lost its depth.
    table = {"spot": list("abc"), "depth (in)": [12, "2025-12-03 00:00:00", 13]}
    (told,) = cures_in(asked(table))
    assert [spot.name for spot in sw.read_survey(table, **told).spots] == ["a", "c"]


def test_what_a_meter_showed_is_a_reading():
    survey = sw.read_survey({"spot": ["a"], "probe (in)": [12], "meter (%)": [21]}, rod="3 in")
    assert survey.spot("a").mean_reading() == pytest.approx(0.21)


@pytest.mark.parametrize("gap", ["\n", ""])
def test_a_second_table_is_no_more_of_the_first(tmp_path, gap):
    # Readings of other spots were depths of 53 cm.
    path = tmp_path / "survey.csv"
    path.write_text(f"spot,depth (in)\na,12\nb,13\n{gap}spot,VWC (%)\nc,21\nd,22\n")
    with pytest.raises(sw.InputError, match="another table below the first"):
        sw.read_survey(path, rod="3 in")


def test_words_among_as_many_numbers_are_told(tmp_path):
    # "No line of column names with rows of numbers below it was found."
    path = tmp_path / "survey.csv"
    path.write_text("spot,VWC (%)\na,21\nb,HI\nc,19\nd,HI\n")
    (told, *_) = cures_in(asked(path, rod="3 in"))
    assert sw.read_survey(path, rod="3 in", **told).spot("c").readings


MENDED = {
    "millimetres as cm": {"spot": list("abc"), "depth (cm)": [300, 310, 330]},
    "inches as cm": {"spot": list("abc"), "depth (cm)": [12, 12.5, 13]},
    "centimetres as in": {"spot": list("abc"), "depth (in)": [30, 31, 33]},
    "two columns of depths": {
        "spot": list("abc"), "depth 2030 (cm)": [30, 31, 33], "depth 2031 (cm)": [30, 31, 34]},
    "headers of their own": {"spot": list("abc"), "stick (cm)": [30, 31, 33]},
    "a depth measured twice": {"spot": ["a", "a", "b", "c"], "depth (cm)": [30, 36, 31, 33]},
    "no name": {"spot": ["a", "", "b", "c"], "depth (cm)": [30, 36, 31, 33]},
    "two spellings": {"spot": ["Peg 1", "1", "b", "c"], "depth (cm)": [30, 36, 31, 33]},
    "a word among readings": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "VWC (%)": ["21", "Err", "22"]},
    "counts of a meter": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "reading": [1924, 2012, 1950]},
    "a reading beyond all": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "VWC (%)": [21, 212, 20]},
    "a code for rods": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "VWC (%)": [21, 22, 20],
        "rod": ["M", "M", "M"]},
    "rods without a unit": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "VWC (%)": [21, 22, 20],
        "rod": [7.6, 7.6, 7.6]},
    "a mat without a unit": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "mat": [1.2, 1.1, 1.3]},
    "a can without a unit": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "catch can": [6, 7, 6]},
    "levels without a unit": {
        "spot": list("abc"), "depth (cm)": [30, 31, 33], "level": [100.1, 100.2, 100.15]},
    "no depth at all": {"spot": list("abcd"), "depth (cm)": [30, 31, 33, 0]},
    "a depth far off": {"spot": list("abcde"), "depth (cm)": [30, 31, 33, 32, 3.1]},
    "rods through a shallow spot": {
        "spot": list("abcd"), "depth (cm)": [30, 31, 33, 15], "VWC (%)": [21, 22, 20, 14],
        "rod (cm)": [20, 20, 20, 20]},
}  # fmt: skip


@pytest.mark.parametrize("table", MENDED.values(), ids=MENDED)
def test_a_survey_is_set_right_without_touching_the_file(table):
    given = {}
    for _ in range(3):
        try:
            survey = sw.read_survey(table, **given)
            break
        except sw.InputError as error:
            told = cures_in(str(error))
            assert told and not set(told[0]) & set(given), str(error)
            given |= told[0]
    assert given
    depths = [spot.depth for spot in survey.spots if spot.has_depth]
    assert depths[-3:] == pytest.approx([30, 31, 33], rel=0.03) or depths[:3] == [30, 31, 33]


def test_one_reading_that_is_no_number_does_not_take_others_away():
    table = {"spot": list("abc"), "depth (cm)": [30, 31, 33], "VWC (%)": ["21", "n.v.", "22"]}
    survey = sw.read_survey(table, rod="3 in", missing="n.v.")
    assert [len(spot.readings) for spot in survey.spots] == [1, 0, 1]


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("52° 6.012' N", "3° 12.006' W"), ("N 52 06.012", "W 3 12.006"),
        ("52°06'00.72\"N", "3°12'00.36\"W"), ("52.10020", "-3.20010"),
    ],
)  # fmt: skip
def test_degrees_minutes_and_seconds(latitude, longitude):
    # Degrees alone were asked for.
    table = {"spot": ["a", "b"], "lat": ["52.10020", latitude], "lon": ["-3.20000", longitude]}
    b = sw.read_survey({**table, "depth (cm)": [30, 31]}).spot("b")
    assert (b.x, b.y) == pytest.approx((0.0, 0.0), abs=0.01)


def test_positions_that_lost_a_sign_or_changed_places():
    place = {"spot": ["a", "b"], "depth (cm)": [30, 31]}
    true = {"lat": ["52.10020", "52.10030"], "lon": ["-3.20010", "-3.20000"]}
    truth = sw.read_survey(place | true, near=(52.1, -3.2))
    for wrong in (
        {"lat": true["lon"], "lon": true["lat"]},
        {"lat": true["lat"], "lon": [each[1:] for each in true["lon"]]},
    ):
        told = cures_in(asked(place | wrong, near=(52.1, -3.2)))
        mended = sw.read_survey(place | wrong, near=(52.1, -3.2), **told[0])
        assert [s.x for s in mended.spots] == pytest.approx([s.x for s in truth.spots])


def test_what_is_said_of_a_sheet_is_checked():
    with pytest.raises(sw.InputError, match="leave_out: no row 9; allowed: row 1 to 6"):
        sw.read_survey(DEPTHS, leave_out=[9])
    assert 'units: "depth"; allowed: rod, mat_thickness' in asked(DEPTHS, units={"depth": "in"})
    assert '"probe" is nothing a column holds' in asked(DEPTHS, columns={"probe": "depth"})
