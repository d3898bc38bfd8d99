"""Lab sheets of every ordinary arrangement: read right, or asked about with a cure that works.

Each sheet holds the same measurements, written as labs write them; what was once misread has its
reason beside it.
"""

import numpy as np
import pytest
from lab_sheets import ONE_SAMPLE, OTHER, ROWS, SUCTION, TWO, WATER, points, written

import soilwater as sw

# --- one sample, arranged in every way ---


@pytest.mark.parametrize("text", ONE_SAMPLE.values(), ids=ONE_SAMPLE)
def test_one_sample_in_every_arrangement(tmp_path, text):
    suction, water = points(sw.read_retention(written(tmp_path, text)))
    assert suction == pytest.approx(SUCTION, rel=0.03)
    assert water == pytest.approx(WATER, abs=1e-9)


@pytest.mark.parametrize("word", ["sat", "Saturated", "0 (sat)", "Sättigung", "saturé", "saturado"])
def test_a_saturated_row_is_one_of_no_suction(tmp_path, word):
    text = f"suction (cm);VWC (%)\n{word};41\n{ROWS.replace(',', ';')}"
    assert sw.read_retention(written(tmp_path, text)).suction.tolist() == [0.0, *SUCTION]
    logs = f"pF;VWC (%)\n{word};41\n1;37.8\n1.3;28.4\n"
    assert sw.read_retention(written(tmp_path, logs)).suction[:2].tolist() == [0.0, 10.0]


def test_scatter_beside_means_is_the_error_of_the_lab(tmp_path):
    lab = sw.read_retention(written(tmp_path, ONE_SAMPLE["mean and scatter alone"]))
    assert lab.lab_error == pytest.approx(np.sqrt(np.mean(np.square([0.8, 0.9, 1.1, 0.7]))) / 100)
    assert sw.read_retention(
        written(tmp_path, ONE_SAMPLE["mean and scatter beside replicates"])
    ).points.cores.tolist() == [2, 2, 2, 2]


@pytest.mark.parametrize(
    "line",
    [
        "Bulk density: 1.55 t/m3",
        "Bulk density; 1.55 Mg/m3",
        "Bulk density (g/cc),1.55",
        "Bulk density 1.55 kg/dm3",
        "Lagerungsdichte: 1.55 g/cm³",
        "Densité apparente: 1.55 g/cm3",
        "Densidad aparente: 1.55 g/cm3",
    ],
)
def test_a_density_in_the_units_of_labs(tmp_path, line):
    lab = sw.read_retention(written(tmp_path, f"{line}\nsuction (cm),VWC (%)\n{ROWS}"))
    assert lab.bulk_density == pytest.approx(1.55)


@pytest.mark.parametrize(
    "line", ["Porosity: 41,2 %", "Porosity 41,2 %", "Gesamtporenvolumen;41,2 %"]
)
def test_a_decimal_comma_above_a_table_of_whole_numbers(tmp_path, line):
    # Thousands would be 412 per cent.
    text = f"Date: 12.03.2025\n{line}\nsuction (cm);VWC (%)\n10;38\n20;28\n30;19\n40;14\n"
    assert sw.read_retention(written(tmp_path, text)).porosity == pytest.approx(0.412)


# --- several samples ---

SEVERAL = {
    "a column each": f"suction (cm),Mix A (% vol),Mix B (% vol)\n{TWO}",
    "a column each under a line": f"Water content (% by volume)\nsuction (cm),Mix A,Mix B\n{TWO}",
    "water of a sand": f"suction (cm),VWC Mix A (%),VWC Mix B (%)\n{TWO}",
    "suctions along the top": "Water content (% by volume) at suction (kPa)\nSample,1,2,3,4\n"
    "Mix A,37.8,28.4,19.4,14\nMix B,40,36,30,22\n",
    "suctions over a column of names": "Water content (% by volume) at suction (kPa)\n,1,2,3,4\n"
    "Mix A,37.8,28.4,19.4,14\nMix B,40,36,30,22\n",
    "other names above the second table": f"Mix A\nsuction (cm),VWC (%)\n{ROWS}\nMix B\n"
    "tension (kPa),θ (% vol)\n1,40\n2,36\n3,30\n4,22\n",
    "two cores of each": "suction (cm),Mix A rep 1 (% vol),Mix A rep 2 (% vol),Mix B rep 1 (% vol),"
    "Mix B rep 2 (% vol)\n10,37.6,38,40,40\n20,28.4,28.4,36,36\n30,19.3,19.5,30,30\n"
    "40,14,14,22,22\n",
    "two cores of each under merged names": ",Mix A,,Mix B,\nsuction (cm),rep 1 (% vol),"
    "rep 2 (% vol),rep 1 (% vol),rep 2 (% vol)\n10,37.6,38,40,40\n20,28.4,28.4,36,36\n"
    "30,19.3,19.5,30,30\n"
    "40,14,14,22,22\n",
    "suctions under a merged name": "Sample,VWC (%) at suction (cm),,,\n,10,20,30,40\n"
    "Mix A,37.8,28.4,19.4,14\nMix B,40,36,30,22\n",
    "tables side by side": "Mix A,,,Mix B,\nsuction (cm),VWC (%),,suction (cm),VWC (%)\n"
    "10,37.8,,10,40\n20,28.4,,20,36\n30,19.4,,30,30\n40,14,,40,22\n",
    "tables below one another": f"Sample: Mix A\nsuction (cm),VWC (%)\n{ROWS}\nSample: Mix B\n"
    "suction (cm),VWC (%)\n10,40\n20,36\n30,30\n40,22\n",
    "no line between the tables": f"Mix A\nsuction (cm),VWC (%)\n{ROWS}Mix B,\n"
    "suction (cm),VWC (%)\n10,40\n20,36\n30,30\n40,22\n",
    "no names above the second": f"Mix A\nsuction (cm),VWC (%)\n{ROWS}\nMix B\n"
    "10,40\n20,36\n30,30\n40,22\n",
    "marks for the same": "sample;suction (cm);VWC (%)\nMix A;10;37.8\nditto;20;28.4\n"
    "ditto;30;19.4\nditto;40;14\nMix B;10;40\nditto;20;36\nditto;30;30\nditto;40;22\n",
}  # fmt: skip


@pytest.mark.parametrize("text", SEVERAL.values(), ids=SEVERAL)
def test_several_samples_are_all_read_and_one_is_asked_for(tmp_path, text):
    path = written(tmp_path, text)
    labs = sw.read_retention_samples(path)
    assert list(labs) == ["Mix A", "Mix B"]
    for lab, water in zip(labs.values(), (WATER, OTHER), strict=True):
        suction, held = points(lab)
        assert suction == pytest.approx(SUCTION, rel=0.03)
        assert held == pytest.approx(water)
    with pytest.raises(sw.InputError, match='2 samples: "Mix A", "Mix B"; name one'):
        sw.read_retention(path)
    assert sw.read_retention(path, sample="Mix B").water_content[0] == pytest.approx(0.40)


def test_facts_in_a_table_below_are_taken_and_a_grading_is_said(tmp_path):
    facts = "Parameter,Value,Unit\nBulk density,1.55,g/cm3\nKsat,14,in/h\n"
    lab = sw.read_retention(written(tmp_path, f"suction (cm),VWC (%)\n{ROWS}\n{facts}"))
    assert lab.bulk_density == 1.55
    assert lab.k_sat == pytest.approx(35.56)
    grading = "sieve (mm),retained (%)\n2,1\n1,10\n.5,40\n.25,40\n0,9\n"
    lab = sw.read_retention(written(tmp_path, f"suction (cm),VWC (%)\n{ROWS}\n{grading}"))
    assert "left out from line 8 on: a table of sieve, retained" in lab.notes


def test_footnotes_with_numbers_are_no_second_table(tmp_path):
    notes = "1) dried at 105 C\n2) n = 3 cores\n"
    lab = sw.read_retention(written(tmp_path, f"suction (cm),VWC (%)\n{ROWS}\n{notes}"))
    assert any("left out below the table" in note for note in lab.notes)


def test_columns_that_differ_beyond_scatter_are_no_replicates(tmp_path):
    # Two sands under "VWC A" and "VWC B" were averaged.
    labs = sw.read_retention_samples(written(tmp_path, f"suction (cm),VWC A (%),VWC B (%)\n{TWO}"))
    assert list(labs) == ["A", "B"]
    assert any("differ by up to 11 %" in note for note in labs["A"].notes)


@pytest.mark.parametrize("mark", ["'", "’", " ", "\u202f"])
def test_thousands_set_apart_are_no_feet_and_inches(tmp_path, mark):
    # 1'000 was 1 ft 000 in: 30 cm.
    text = f"suction (cm);VWC (%)\n10;37.8\n100;14.5\n1{mark}000;5.1\n15{mark}000;2.2\n"
    assert sw.read_retention(written(tmp_path, text)).suction.tolist() == [10, 100, 1000, 15000]


def test_scatter_under_the_names_of_sands(tmp_path):
    text = "suction,Mix A,,Mix B,\n(cm),VWC (%),SD,VWC (%),SD\n10,37.8,.5,40,.4\n20,28.4,.5,36,.4\n"
    labs = sw.read_retention_samples(written(tmp_path, text))
    assert list(labs) == ["Mix A", "Mix B"]
    assert [lab.water_content[0] for lab in labs.values()] == pytest.approx([0.378, 0.40])


def test_facts_of_samples_side_by_side(tmp_path):
    text = f"suction (cm),Mix A (% vol),Mix B (% vol)\nBulk density (g/cm3),1.55,1.50\n{TWO}"
    labs = sw.read_retention_samples(written(tmp_path, text))
    assert [lab.bulk_density for lab in labs.values()] == [1.55, 1.50]


# --- rows of values that look like units ---


@pytest.mark.parametrize("row", ["C,−3 kPa,21 %", "F,<5 kPa,30 %", "K,½ bar,21 %", "C1,12 in,3 %"])
def test_a_first_row_of_values_with_units_stays(row):
    # Every word of it is a unit; C, F and K are names of spots.
    from soilwater.words.text_tables import read_text_table

    name, suction, water = row.split(",")
    table = read_text_table(
        {"spot": [name, "D"], "suction": [suction, "9 kPa"], "water": [water, "5 %"]}
    )
    assert table.rows[0] == (name, suction, water)


# --- workbooks ---


@pytest.fixture
def workbook(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")

    def save(rows, name="sheet.xlsx"):
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append(row)
        book.save(tmp_path / name)
        return tmp_path / name

    return save


@pytest.mark.parametrize("formula", ["=30-2", "=IF(1>2,1,28.4)", "=A3"])
def test_a_formula_that_was_never_computed_is_named(workbook, formula):
    path = workbook([["suction (cm)", "VWC (%)"], [10, 37.8], [20, formula], [30, 19.4], [40, 14]])
    with pytest.raises(sw.InputError, match="without a stored value in B3"):
        sw.read_retention(path)


def test_a_workbook_of_raw_readings_is_refused_before_it_is_opened(workbook):
    rows = [[i, i + 0.5, i + 0.25, i + 0.125, i] for i in range(11_000)]
    with pytest.raises(sw.InputError, match="holds 55,000 cells; allowed: 50,000"):
        sw.read_retention(workbook(rows))


def test_a_cell_of_a_book_is_refused_in_every_kind_of_table(tmp_path):
    long = "x" * 300_000
    with pytest.raises(sw.InputError, match="300,000 characters"):
        sw.read_retention({"suction (cm)": [10, long], "VWC (%)": [38, 20]})
    with pytest.raises(sw.InputError, match="characters"):
        sw.read_retention(written(tmp_path, f"suction (cm),VWC (%)\n10,{long}\n"))


def test_entities_and_pages_under_the_name_of_a_workbook(tmp_path):
    import zipfile

    bomb = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "x"><!ENTITY c "&b;&b;">]><a>&c;</a>'
    with zipfile.ZipFile(tmp_path / "bomb.xlsx", "w") as packed:
        packed.writestr("xl/worksheets/sheet1.xml", bomb)
    with pytest.raises(sw.InputError, match="entities"):
        sw.read_retention(tmp_path / "bomb.xlsx")
    (tmp_path / "page.xlsx").write_text("<!DOCTYPE html><table><tr><td>10</td></tr></table>")
    with pytest.raises(sw.InputError, match="web page"):
        sw.read_retention(tmp_path / "page.xlsx")


def test_numbers_of_thousands_of_digits_are_no_numbers(tmp_path):
    text = f"suction (cm),VWC (%)\n{'1' * 2000},37.8\n20,28.4\n30,19.4\n"
    with pytest.raises(sw.InputError, match=r"line 2 has 2,000 digits .* not a number"):
        sw.read_retention(written(tmp_path, text))


# --- dates ---


@pytest.mark.parametrize("date", ["13/07/2025", "07/13/2025", "13.07.2025"])
def test_a_date_that_cannot_be_two_is_read(date):
    assert sw.Event(date, "6 mm", rate="18 mm/h").time == np.datetime64("2025-07-13")
