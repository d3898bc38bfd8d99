"""Messy files that were once misread in silence, each with the reason why it must not be."""

import pytest

import soilwater as sw

SUCTION, WATER = [10, 20, 30, 40], [37.8, 28.4, 19.4, 14.0]
ROWS = "10,37.8\n20,28.4\n30,19.4\n40,14\n"


def refused(call, *words):
    with pytest.raises(sw.InputError) as caught:
        call()
    for word in words:
        assert word in str(caught.value)


def sheet(tmp_path, text):
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "header",
    [
        "h (cm),VWC (%)",
        "ψ (cm),θ (%)",
        "Saugspannung (cm),Wassergehalt (Vol.-%)",
        "succion (cm),teneur en eau (% vol.)",
        "succión (cm),contenido de agua (% vol.)",
    ],
)
def test_ordinary_headers_are_names_and_not_a_row_of_units(tmp_path, header):
    lab = sw.read_retention(sheet(tmp_path, f"{header}\n{ROWS}"))
    assert lab.suction.tolist() == SUCTION
    assert lab.water_content.tolist() == pytest.approx([w / 100 for w in WATER])


def test_fractions_under_a_per_cent_sign():
    # No sand holds 0.38 % at 10 cm of suction.
    water = [w / 100 for w in WATER]
    refused(
        lambda: sw.read_retention({"suction (cm)": SUCTION, "VWC (%)": water}), "0.378 %", "37.8 %"
    )


def test_kilopascals_under_cm_and_the_cure():
    # A meniscus that lets go at 6 cm of water spans half a millimetre: gravel.
    table = {"suction (cm)": [1, 2, 4, 6], "VWC (%)": WATER}
    refused(lambda: sw.read_retention(table), "gravel", 'suction_unit="kPa"')
    assert sw.read_retention(table, suction_unit="kPa").suction[0] == pytest.approx(10.2, abs=0.01)


def test_a_wetting_curve_is_not_taken_for_the_drying_one(tmp_path):
    text = f"Wetting branch\nsuction (cm),VWC (%)\n{ROWS}"
    refused(lambda: sw.read_retention(sheet(tmp_path, text)), "Wetting branch")


def test_a_second_sample_block_is_not_left_out(tmp_path):
    text = f"suction (cm),VWC (%)\n{ROWS}\nsuction (cm),VWC (%)\n{ROWS}"
    refused(lambda: sw.read_retention(sheet(tmp_path, text)), '"table 1", "table 2"')
    refused(
        lambda: sw.read_survey(sheet(tmp_path, "cell,probe\nA,30\n\ncell,probe\nB,31\nC,3\n")),
        "another table",
    )


def test_a_first_row_of_values_with_units_is_no_row_of_units(tmp_path):
    text = "cell,probe,VWC,rod\nC1,12 in,21.4 %,3 in\nC2,13 in,20 %,3 in\n"
    survey = sw.read_survey(sheet(tmp_path, text))
    assert [spot.name for spot in survey.spots] == ["C1", "C2"]


def test_a_formula_without_a_stored_value_is_a_point_lost(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in (["suction (cm)", "VWC (%)"], [10, 37.8], [20, "=30-2"], [30, 19.4], [40, 14]):
        book.active.append(row)
    book.save(tmp_path / "sheet.xlsx")
    refused(lambda: sw.read_retention(tmp_path / "sheet.xlsx"), "B3")


def test_a_far_cell_a_page_and_endless_digits_are_refused(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active["A1"], book.active["BZ200000"] = "suction (cm)", 1
    book.save(tmp_path / "far.xlsx")
    refused(lambda: sw.read_retention(tmp_path / "far.xlsx"), "BZ200000")
    (tmp_path / "page.xlsx").write_text("<html><table></table></html>")
    refused(lambda: sw.read_retention(tmp_path / "page.xlsx"), "web page")
    refused(lambda: sw.Layer(sw.VanGenuchten(0.05, 0.4, 0.047, 3, 40), "1" * 2000 + " cm", "mix"))


@pytest.mark.parametrize("date", ["01/07/2025", "04:00", "26-07-05"])
def test_what_could_be_two_dates_is_asked(date):
    refused(lambda: sw.Event(date, "6 mm", rate="18 mm/h"), f'"{date}"', "20")
    refused(lambda: sw.steady_weather(3, 4.0, first_day=date), f'"{date}"')


def test_days_with_a_unit():
    refused(lambda: sw.steady_weather("14 days", 4.0), "write 14")


@pytest.mark.parametrize(
    "text",
    [
        "suction (cm) VWC (%)\n10 37.8\n20 28.4\n30 19.4\n40 14\n",
        "suction(cm) VWC(%)\n 10 37.8\n 20 28.4\n30 19.4\n40 14\n",
        "suction VWC\ncm %\n10 37.8\n20 28.4\n\n30 19.4\n40 14\n",
        "Green 7\n\nsuction [cm] VWC [%]\n10 37.8\n20 28.4\n30 19.4\n40 14\n",
        "suction (cm),VWC (%)\n10,37.8 (0.5)\n20,28.4 (0.6)\n30,19.4 (0.4)\n40,14 (0.3)\n",
        "suction (cm),VWC\n10,37.8 % (0.5 %)\n20,28.4 %(0.6)\n30,19.4 % (1)\n40,14 % (0.3)\n",
    ],
)
def test_single_blanks_between_columns_and_scatter_in_brackets(tmp_path, text):
    found = sw.read_retention(sheet(tmp_path, text), water_content_unit="% by volume")
    assert found.suction.tolist() == SUCTION
    assert (100 * found.water_content).tolist() == pytest.approx(WATER)


@pytest.mark.parametrize(
    "text",
    [
        "suction VWC\n10 37.8\n20 28.4 wet\n30 19.4\n40 14\n",
        "suction (cm) VWC (%)\n10 37.8\n20\n30 19.4\n40 14\n",
        "suction (cm),VWC (%)\n10,37.8 (core 2)\n20,28.4\n30,19.4\n40,14\n",
    ],
)
def test_what_is_no_table_or_no_number_is_asked_about(tmp_path, text):
    with pytest.raises(sw.InputError):
        sw.read_retention(sheet(tmp_path, text), water_content_unit="% by volume")


@pytest.mark.parametrize(
    "unit",
    ["in**9**9**9**9", "in^9^9^9^9", "in*10**99999999", "in*9**(9*9*9*9*9)", "in*1e99999999",
     "in*((9**9*1)**9*1)**9", "in\u2079\u2079\u2079\u2079\u2079"],
)  # fmt: skip
def test_powers_without_end_are_no_unit(unit):
    # Worked out to the last digit, they took hours.
    refused(lambda: sw.read_survey({"spot": ["a"], "depth": [12]}, depth_unit=unit), "depth")
    refused(
        lambda: sw.Profile.over_gravel(sw.VanGenuchten(0.05, 0.4, 0.047, 3.0, 40.0), f"12 {unit}")
    )


@pytest.mark.parametrize("unit", ["cm h^(-1)", "cm h**( -1 )", "cm/h", "cm h⁻¹"])
def test_a_power_in_brackets_is_one(unit):
    assert sw.VanGenuchten(0.05, 0.4, 0.047, 3.0, f"40 {unit}").k_sat == 40.0


def test_a_message_does_not_repeat_thousands_of_letters():
    with pytest.raises(sw.InputError) as caught:
        sw.read_station({"Date": ["1" * 3000, "2"], "Rain (mm)": ["9" * 4000, 1]})
    assert len(str(caught.value)) < 3000 and "…" in str(caught.value)
    assert all(len(fault) < 1500 for fault in caught.value.faults)


def test_results_that_no_machine_holds_are_refused_with_numbers():
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    case = sw.Case(sw.Profile.over_gravel(sand, 30.0), sw.steady_weather(365, 3.0))
    refused(
        lambda: sw.simulate_many([case] * 5000),
        "5,000 cases x 8,761 output times x 22 variables take ", "GB", 'store="run.zarr"',
        'keep=("drainage",)',
    )  # fmt: skip
    refused(lambda: sw.simulate_many([case], output="40 s", refinement=8), "GB for each case")
    # What it tells helps.
    short = sw.Case(case.profile, sw.steady_weather(1, 3.0))
    run = sw.simulate_many([short] * 3, output="24 h", keep=("drainage",))
    assert run.drainage.shape == (3, 2)
