"""Answers as tables: DataFrames, CSV and workbooks that read back, and run nothing."""

import csv
import io
import math
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from grounds import MIDDLE_MIX, WET_MIX
from hypothesis import given
from hypothesis import strategies as st

import soilwater as sw
from soilwater.words.frames import Tabled, as_it_was, harmless

SIGNS = "=+-@\t\r\n＝＋－＠"
SAND = WET_MIX
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
WEATHER = sw.steady_weather(6, "5 mm/day", first_day="2031-06-09")
TABLE = sw.RetentionTable(
    [10, 20, 30, 40], [0.378, 0.284, 0.194, 0.14], porosity=0.4, k_sat="14 in/h"
)
SITE = Path(__file__).parents[2] / "examples" / "data" / "brackenhurst" / "brackenhurst.toml"
FORMULA = "=HYPERLINK(1)"
GREEN = sw.Survey(
    [
        sw.Spot(
            "A1",
            "12 in",
            area="50 ft2",
            x=0.0,
            y=4.0,
            readings=(
                sw.Reading("22.4 %", rod="3 in", time="2031-06-09 06:30", meter="new"),
                sw.Reading("21 %", rod="3 in", time="2031-06-09 06:31"),
            ),
        ),
        sw.Spot("C3", "18 in", depth_at_least=True, area=8.0, x=4.0, y=0.0, slope="2 %"),
        sw.Spot(FORMULA, "17 in", readings=(sw.Reading("14 %", rod="3 in"),), mat_thickness=1.0),
        sw.Spot("12", readings=(sw.Reading("18 %", rod="3 in"),), catch_depth=5.0, drop_time=3.0),
    ]
)


LINE = sw.Transect(
    ["0 m", "2 m", "4 m"], "2 %", [30.0, 31.0, 33.0],
    sw.Profile.over_gravel(SAND, "12 in"), spacing="1 m",
)  # fmt: skip
MORNINGS = ("2031-06-10 06:00", "2031-06-12 06:00")


def answers_of_grounds(window):
    two_days = sw.steady_weather(2, 0.0)
    levelled = sw.Survey(
        [
            sw.Spot(f"{i}{j}", 30.0 + i, x=3.0 * i, y=3.0 * j, surface_level=2.0 * i)
            for i in range(3)
            for j in range(3)
        ]
    )
    read = sw.Survey(
        [
            sw.Spot(
                name,
                depth,
                readings=[
                    sw.Reading(v, rod="3 in", time=t) for v, t in zip(values, MORNINGS, strict=True)
                ],
            )
            for name, depth, values in (("A", 30.0, (0.2, 0.15)), ("B", 38.0, (0.15, 0.12)))
        ]
    )
    return {
        "crest": sw.crest_effect(LINE, two_days, rod="3 in"),
        "floor": sw.depth_over_contour(window, LINE),
        "odds": sw.ground_odds(LINE, SAND, two_days, "14 %", rod="3 in", draws=2),
        "bracket": sw.level_bracket(
            ["0 m", "2 m", "4 m"], [30.0, 31.0, 33.0], LINE.green, two_days,
            steepest_fall="2 %", rod="3 in",
        ),
        "ground": sw.interpolate_survey(levelled, [(0, 0), (6, 0), (6, 6), (0, 6)], spacing="2 m"),
        "ground what if": sw.what_if(
            LINE, WEATHER, TURF, sw.Thresholds("18 %", "14 %", "5 %"), [sw.regrade("12 in")],
            rod="3 in",
        ),
        "learned": sw.calibrate(
            read, SAND, WEATHER, TURF, soaked="2031-06-09 00:00", irrigation=(), draws=10
        ),
    }  # fmt: skip


def answers():
    window = sw.depth_window(SAND, sw.ReadingTarget("15 %", "25 %"), air_filled="10 %", rod="3 in")
    diagnosis = sw.diagnose(GREEN, SAND)
    return {
        "survey": GREEN,
        "drops": sw.DropTests({"0 cm": [2, 3], "1 in": [2, 240, 3600]}),
        "plan": sw.hand_water_plan(GREEN, SAND, WEATHER, TURF, "12 %", flow="15 gpm", draws=2),
        "outlook": sw.dry_down_outlook(
            GREEN, SAND, WEATHER, TURF, sw.Thresholds("18 %", "14 %", "5 %"), draws=4
        ),
        "window": window,
        "sands": sw.compare_sands(
            {"wet": SAND, "middle": MIDDLE_MIX},
            sw.ReadingTarget("15 %", "25 %"),
            air_filled="10 %",
            rod="3 in",
        ),
        "contour": sw.depth_over_contour(window, {"crest": "3 cm", "flat": 0.0}),
        "check": sw.check_root_zone(TABLE),
        "sheet": TABLE,
        "fit": TABLE.fit(sw.VanGenuchten),
        "grading": sw.Grading([2.0, 0.5, 0.25, 0.0], [0.05, 0.45, 0.4, 0.1]),
        "weather": WEATHER,
        "slope": sw.slope_equivalent(SAND, "3 %", "10 m", from_crest="2 m", depth="12 in"),
        "site": sw.read_site_file(SITE),
        "morning": sw.morning_plan(sw.read_site_file(SITE), "2025-06-10", draws=40),
        "diagnosis": diagnosis,
        "one spot": diagnosis.spots[0],
        "flush": sw.flush_water(sw.Profile.over_gravel(SAND, "12 in"), pore_volumes=1.0),
        "what if": sw.what_if(
            sw.Profile.over_gravel(SAND, "18 in"),
            WEATHER,
            TURF,
            sw.Thresholds("18 %", "14 %", "5 %"),
            [sw.regrade("12 in")],
            rod="3 in",
        ),
        **answers_of_grounds(window),
    }


@pytest.fixture(scope="module")
def answer_of():
    return answers()


NAMES = (
    "survey", "plan", "outlook", "window", "sands", "contour", "check", "diagnosis", "one spot",
    "flush", "what if", "sheet", "fit", "grading", "weather", "slope", "site", "morning",
    "crest", "floor", "odds", "bracket", "ground", "ground what if", "learned", "drops",
)  # fmt: skip


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
@pytest.mark.parametrize("name", NAMES)
def test_every_answer_reads_back_as_it_was(answer_of, name, suffix, tmp_path):
    frame = answer_of[name].to_dataframe()
    assert len(frame) > 0
    file = tmp_path / f"answer.{suffix}"
    write = answer_of[name].to_csv if suffix == "csv" else answer_of[name].to_excel
    write(file)
    back = sw.read_table(file)
    assert list(back.columns) == list(frame.columns)
    for column in frame.columns:
        mine, its = frame[column], back[column]
        if mine.dtype.kind == "f":
            # A workbook keeps sixteen digits (ECMA-376), CSV all of a double.
            exact = 1e-14 if suffix == "xlsx" else 0.0
            np.testing.assert_allclose(its, mine, rtol=exact, atol=0.0)
        elif mine.dtype.kind == "M":
            assert its.tolist() == mine.dt.floor("min").tolist()
        elif mine.dtype.kind == "b":
            assert its.tolist() == mine.tolist()
        else:
            told = ["" if pd.isna(each) else each for each in mine]
            assert [str(each) for each in told] == [str(each) for each in its], column


def test_every_public_answer_is_a_table(answer_of):
    """What shows itself as a table can be taken away as one; models and grounds are no answers."""
    shown = {
        name
        for name in sw.__all__
        if isinstance(getattr(sw, name), type) and hasattr(getattr(sw, name), "_shown")
    }
    grounds = {"Transect", "GreenMap"}
    without = {
        name
        for name in shown - grounds
        if not issubclass(getattr(sw, name), (sw.SoilModel, Tabled))
    }
    assert not without
    assert {type(each).__name__ for each in answer_of.values()} >= shown - grounds - {
        name for name in shown if issubclass(getattr(sw, name), sw.SoilModel)
    }


def test_what_is_in_a_plan_and_an_outlook(answer_of):
    plan = answer_of["plan"]
    frame = plan.to_dataframe()
    assert list(frame["water (mm)"]) == [walk.amount for walk in plan.waterings]
    # A litre on a square metre is a millimetre.
    assert list(frame["on area (L/m2)"]) == list(frame["water (mm)"])
    with sw.use_units("US"):
        american = plan.to_dataframe()
    # 1 mm on 1000 ft2 is 24.54 US gallons (0.0929 m3 over 3.785 L).
    assert list(american["on area (US gal/1000 ft2)"] / frame["on area (L/m2)"]) == pytest.approx(
        [24.54239] * len(frame)
    )
    assert list(american["water (in)"] * 25.4) == pytest.approx(list(frame["water (mm)"]))
    outlook = answer_of["outlook"].to_dataframe()
    assert math.isinf(outlook["wilt median (days)"].iloc[0])


def test_a_survey_that_was_written_is_read_as_a_survey(tmp_path):
    plain = sw.Survey([spot for spot in GREEN.spots if spot.name != FORMULA])
    for file in (tmp_path / "survey.csv", tmp_path / "survey.xlsx"):
        (plain.to_csv if file.suffix == ".csv" else plain.to_excel)(file)
        back = sw.read_survey(file)
        for mine, its in zip(plain.spots, back.spots, strict=True):
            assert mine.name == its.name and mine.depth_at_least == its.depth_at_least
            for part in ("depth", "area", "slope", "x", "y", "catch_depth", "drop_time"):
                one, other = getattr(mine, part), getattr(its, part)
                assert one == other or one == pytest.approx(other, nan_ok=True), part
            assert [r.value for r in mine.readings] == pytest.approx(
                [r.value for r in its.readings]
            )
            assert [(r.time, r.meter) for r in mine.readings] == [
                (r.time, r.meter) for r in its.readings
            ]


# --- nothing is run ------------------------------------------------------------------------------


def cells_of(text, separator):
    """What a spreadsheet makes of a text under a separator, quotes or not."""
    return [cell for line in text.splitlines() for cell in line.split(separator)]


TEXTS = st.text(st.sampled_from([*SIGNS, *" ,;|'\"ab1("]), max_size=12)


@given(TEXTS)
def test_a_text_made_harmless_is_itself_again_and_begins_no_formula(text):
    made = harmless(text)
    assert as_it_was(made) == text
    for separator in ",;|\t":
        for cell in cells_of(made, separator):
            # Blank cells between signs that separate are nothing to run.
            assert cell.strip()[:1] not in set(SIGNS) - {""} or not cell.strip()


@pytest.mark.parametrize("sign", SIGNS)
def test_a_name_that_begins_like_a_formula_is_a_text_in_both_files(sign, tmp_path):
    name = f"{sign}1+1"
    survey = sw.Survey([sw.Spot(name, 30.0), sw.Spot("x;=2", 31.0)])
    survey.to_csv(tmp_path / "names.csv")
    text = (tmp_path / "names.csv").read_bytes().decode("utf-8")
    first = next(csv.reader(io.StringIO(text.split("\n", 1)[1], newline="")))
    assert first[0] == f"'{name}"
    assert "'=2" in text
    survey.to_excel(tmp_path / "names.xlsx")
    page = openpyxl.load_workbook(tmp_path / "names.xlsx").active
    assert page["A2"].data_type == "s" and page["A2"].quotePrefix
    inside = zipfile.ZipFile(tmp_path / "names.xlsx").read("xl/worksheets/sheet1.xml")
    assert b"<f>" not in inside
    assert page["B2"].data_type == "n"


def test_negative_numbers_stay_numbers(tmp_path):
    survey = sw.Survey([sw.Spot("A1", 30.0, x=-3.5, y=-1.0)])
    survey.to_csv(tmp_path / "s.csv")
    assert ",-3.5,-1.0" in (tmp_path / "s.csv").read_text(encoding="utf-8")
    survey.to_excel(tmp_path / "s.xlsx")
    assert openpyxl.load_workbook(tmp_path / "s.xlsx").active["H2"].value == -3.5
    assert sw.read_table(tmp_path / "s.csv")["x (m)"].tolist() == [-3.5]


def test_what_cannot_be_read_back_is_told(tmp_path):
    with pytest.raises(sw.InputError, match="there is no such file"):
        sw.read_table(tmp_path / "none.csv")
    (tmp_path / "t.csv").write_text('"depth (cm)"\n"deep"\n', encoding="utf-8")
    with pytest.raises(
        sw.InputError, match='line 2: "deep" below "depth \\(cm\\)" is not a number'
    ):
        sw.read_table(tmp_path / "t.csv")
