"""Messy lab sheets: what is understood, what is asked, and the sentence a person reads."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from soilwater.lab import sheet_doubts, sheet_layout
from soilwater.lab.sheet import read_retention, read_retention_samples
from soilwater.words.errors import InputError

DATA = Path(__file__).parents[2] / "examples" / "data"

SUCTION = [10.0, 20.0, 30.0, 40.0]
WATER = [37.8, 28.4, 19.4, 14.0]


def sheet(**columns):
    """A good table in memory with columns added or replaced."""
    good = {"suction (cm)": SUCTION, "water content (% by volume)": WATER}
    return good | {name: [value] * 4 for name, value in columns.items()}


def fault_of(source, **options):
    with pytest.raises(InputError) as caught:
        read_retention(source, **options)
    return str(caught.value)


def written(path, text, encoding="utf-8"):
    path.write_text(text, encoding=encoding)
    return path


# --- what is understood ---


@pytest.mark.parametrize(
    ("header", "numbers"),
    [
        ("suction (cm)", SUCTION),
        ("tension, mm", [100, 200, 300, 400]),
        ("suction [m]", [0.1, 0.2, 0.3, 0.4]),
        ("suction (in)", np.array(SUCTION) / 2.54),
        # 1 kPa = 10.1972 cm of water (NIST SP 811, 2008, Appendix B.8).
        ("matric suction (kPa)", np.array(SUCTION) / 10.1972),
        ("pressure (hPa)", np.array(SUCTION) / 1.01972),
        ("pressure (mbar)", np.array(SUCTION) / 1.01972),
        ("tension (cbar)", np.array(SUCTION) / 10.1972),
        ("tension (centibar)", np.array(SUCTION) / 10.1972),
        ("pressure (bar)", np.array(SUCTION) / 1019.72),
        ("suction (cm H2O)", SUCTION),
        ("suction (cm of water)", SUCTION),
        ("suction (log10 cm)", np.log10(SUCTION)),
        ("pF", np.log10(SUCTION)),
        ("matric potential (kPa)", -np.array(SUCTION) / 10.1972),
    ],
)
def test_suction_in_every_unit(header, numbers):
    lab = read_retention({header: list(numbers), "water content (% by volume)": WATER})
    assert lab.suction.tolist() == pytest.approx(SUCTION, rel=1e-5)


@pytest.mark.parametrize(
    ("header", "factor", "facts"),
    [
        ("water content (% by volume)", 100, {}),
        ("volumetric water content (%)", 100, {}),
        ("VWC (cm3/cm3)", 1, {}),
        ("θ (m³/m³)", 1, {}),
        ("vwc", 1, {}),
        ("water retained (% v/v)", 100, {}),
        ("moisture (fraction by volume)", 1, {}),
        ("gravimetric water content (%)", 100 / 1.55, {"bulk_density": 1.55}),
        ("water content (g/g)", 1 / 1.55, {"bulk_density": "1550 kg/m3"}),
        ("moisture, % by weight", 100 / 1.55, {"bulk_density": "1.55 g/cm3"}),
        ("degree of saturation (%)", 100 / 0.4, {"porosity": "40 %"}),
        ("degree of saturation", 1 / 0.4, {"porosity": 0.4}),
    ],
)
def test_water_content_on_every_basis(header, factor, facts):
    water = np.array(WATER) / 100
    lab = read_retention({"suction (cm)": SUCTION, header: list(water * factor)}, **facts)
    assert lab.water_content.tolist() == pytest.approx(water.tolist())


def test_semicolons_decimal_commas_mark_of_order_unit_row_and_units_in_cells(tmp_path):
    path = written(
        tmp_path / "sheet.csv",
        "Some sand, third load\nBulk density (g/cm3);1,55\nKsat;14 in/h\n\n"
        "suction;water content by volume\nkPa;\n"
        "1,0;37,8%\n2,0;28,4%\n3,0;19,4 %\n4,0;14,0%\nOrganic matter;0,8 %\n",
        encoding="utf-8-sig",
    )
    lab = read_retention(path)
    assert lab.water_content.tolist() == pytest.approx(np.divide(WATER, 100).tolist())
    assert lab.suction[0] == pytest.approx(10.197, abs=1e-3)
    assert (lab.bulk_density, lab.organic_matter) == (1.55, 0.008)
    assert lab.k_sat == pytest.approx(35.56)
    assert "decimal comma" in lab.notes
    assert "unit row under the header" in lab.notes


def test_workbook_with_merged_cells_and_shown_per_cents(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    page = book.active
    page.append(["sample", "suction (cm)", "water content by volume"])
    for i, name in enumerate(("north", "south")):
        for h, w in zip(SUCTION, WATER, strict=True):
            page.append([name if h == 10 else None, h, w / 100])
            page.cell(page.max_row, 3).number_format = "0.0%"
        page.merge_cells(start_row=2 + 4 * i, end_row=5 + 4 * i, start_column=1, end_column=1)
    book.save(tmp_path / "sheet.xlsx")
    tables = read_retention_samples(tmp_path / "sheet.xlsx")
    assert list(tables) == ["north", "south"]
    for lab in tables.values():
        assert lab.water_content.tolist() == pytest.approx(np.divide(WATER, 100).tolist())


def test_frames_and_mappings_are_read_alike():
    columns = sheet()
    a, b = read_retention(columns), read_retention(pd.DataFrame(columns))
    assert np.array_equal(a.water_content, b.water_content)


def test_sieves_and_facts_in_columns():
    lab = read_retention(
        sheet(**{
            "Ksat (in/h)": 14,
            "bulk density (kg/m3)": 1550,
            "total porosity (%)": 41.5,
            "particle density": 2.65,
            "retained 2 mm (%)": 1,
            "retained 0.5 mm (%)": 30,
            "retained 0.25 mm (%)": 60,
            "pan (%)": 9,
        })
    )  # fmt: skip
    assert lab.k_sat == pytest.approx(35.56)
    assert lab.bulk_density == pytest.approx(1.55)
    assert lab.porosity == pytest.approx(0.415)
    assert lab.grading is not None
    assert lab.grading.retained.tolist() == pytest.approx([0.01, 0.30, 0.60, 0.09])
    assert "particle density 2.65 read as g/cm3" in lab.notes


def test_replicates_in_rows_and_side_by_side():
    rows = {
        "core": ["a", "a", "b", "b"],
        "suction (cm)": [10, 30, 10, 30],
        "vwc (%)": [38, 20, 37, 19],
    }
    beside = {"suction (cm)": [10, 30], "vwc rep 1 (%)": [38, 20], "vwc rep 2 (%)": [37, 19]}
    for source in (rows, beside):
        points = read_retention(source).points
        assert points.water_content.tolist() == pytest.approx([0.375, 0.195])
        assert points.cores.tolist() == [2, 2]


def test_several_samples():
    source = {
        "sample": ["A"] * 4 + ["B"] * 4,
        "suction (cm)": SUCTION * 2,
        "vwc (%)": [*WATER, 40, 36, 30, 22],
        "ksat (in/h)": [14] * 4 + [9] * 4,
    }
    assert read_retention(source, sample="B").k_sat == pytest.approx(9 * 2.54)
    assert list(read_retention_samples(source)) == ["A", "B"]
    assert 'has 2 samples: "A", "B"; name one' in fault_of(source)
    assert 'no sample "C" on the sheet' in fault_of(source, sample="C")


def test_stated_values_go_before_the_sheet():
    lab = read_retention(sheet(**{"bulk density (g/cm3)": 1.55}), bulk_density=1.6)
    assert lab.bulk_density == 1.6
    assert any("set aside" in note for note in lab.notes)


def test_missing_codes_and_blanks_are_not_zero():
    lab = read_retention({"suction (cm)": [10, 20, 30, 40], "vwc (%)": [37.8, -999, None, 14.0]})
    assert lab.suction.tolist() == [10, 40]
    assert any("-999 read as not measured" in note for note in lab.notes)
    assert any("row 3 has no water content and was left out" in note for note in lab.notes)


def test_columns_that_are_not_used_are_named():
    lab = read_retention(sheet(remarks="ok", **{"capillary porosity (%)": 19.4, "sand (%)": 96}))
    assert "not used: remarks, capillary porosity, sand" in lab.notes
    assert lab.sample == ""


# --- what is asked, and what is refused ---


def test_suction_without_unit_says_what_it_looks_like():
    said = fault_of({"suction": [1, 2, 3, 4], "vwc (%)": WATER})
    assert "look like kPa (or in?): 1 kPa = 10.2 cm" in said
    assert "Using kPa gives a curve from 10 to 41 cm" in said
    assert 'confirm with suction_unit="kPa"' in said
    lab = read_retention({"suction": [1, 2, 3, 4], "vwc (%)": WATER}, suction_unit="kPa")
    assert lab.suction[-1] == pytest.approx(40.79, abs=0.01)


@pytest.mark.parametrize(
    ("numbers", "unit"),
    [
        (SUCTION, "cm"),
        ([4, 8, 12, 16], "in"),
        ([100, 200, 300, 400], "mm"),
        ([1, 1.3, 1.48, 1.6], "log10 cm"),
        ([0.01, 0.02, 0.03, 0.04], "bar"),
    ],
)
def test_the_likeliest_unit_is_offered(numbers, unit):
    said = fault_of({"suction": numbers, "vwc (%)": WATER})
    assert f'confirm with suction_unit="{unit}"' in said


@pytest.mark.parametrize(
    ("water", "sentence"),
    [
        ([37.8, 0.28, 19.4, 14.0], "row 2 (0.28) among numbers of 14 to 37.8"),
        ([0.378, 28.4, 0.194, 0.14], "row 2 (28.4) among numbers of 0.14 to 0.378"),
    ],
)
@pytest.mark.parametrize("header", ["vwc", "vwc (%)", "vwc (cm3/cm3)"])
def test_mixed_fractions_and_per_cents(water, sentence, header):
    said = fault_of({"suction (cm)": SUCTION, header: water})
    assert "mixed fractions and per cents" in said
    assert sentence in said


def test_per_cent_below_one_at_the_dry_end_is_real():
    lab = read_retention({"suction (cm)": [10, 100, 15000], "vwc (%)": [37, 6, 0.9]})
    assert lab.water_content[-1] == pytest.approx(0.009)


def test_fractions_called_per_cent_of_a_whole_column():
    said = fault_of({"suction (cm)": SUCTION, "vwc (cm3/cm3)": WATER})
    assert "per cents in a column of fractions" in said


def test_water_by_mass_without_saying_so():
    source = {"suction (cm)": SUCTION, "water content (%)": [24, 18, 12, 9]}
    said = fault_of(source, porosity=0.40)
    assert "falls 16 % short of the pore space 40.0 %" in said
    assert "look like % by weight (mass): need the bulk density (1.55?) to convert" in said
    assert 'confirm with water_content_unit="% by mass"' in said
    lab = read_retention(
        source, porosity=0.40, water_content_unit="% by mass", bulk_density="1.6 g/cm3"
    )
    assert lab.water_content[0] == pytest.approx(0.24 * 1.6)


@pytest.mark.parametrize(
    ("water", "basis"), [(WATER, "% by volume"), ([94, 71, 48, 35], "% of saturation")]
)
def test_the_likeliest_basis_is_offered(water, basis):
    said = fault_of({"suction (cm)": SUCTION, "water content (%)": water})
    assert f'confirm with water_content_unit="{basis}"' in said


def test_mass_needs_density_and_saturation_needs_porosity():
    assert "by mass needs the bulk density" in fault_of(
        {"suction (cm)": SUCTION, "gravimetric water content (%)": [24, 18, 12, 9]}
    )
    assert "saturation needs the total porosity" in fault_of(
        {"suction (cm)": SUCTION, "degree of saturation (%)": [94, 71, 48, 35]}
    )


def test_half_a_water_content_unit_is_not_enough():
    assert "must say both" in fault_of(sheet(), water_content_unit="%")


def test_rising_water_content_with_lines(tmp_path):
    path = written(tmp_path / "s.csv", "suction (cm),vwc (%)\n10,37.8\n20,19.4\n30,28.4\n40,14\n")
    said = fault_of(path)
    assert "Lab sheet s.csv: line 3 and line 4: water content rises" in said


def test_more_water_than_pores():
    assert "exceeds the pore space 33.0 %" in fault_of(sheet(**{"porosity (%)": 33}))


def test_single_point():
    lab = read_retention({"suction (cm)": [30], "vwc (%)": [19.4]})
    assert "ask the lab for 10, 20, 40 cm" in lab.cautions[0]


def test_density_against_porosity():
    said = fault_of(sheet(**{"bulk density (g/cm3)": 1.55, "porosity (%)": 48}))
    assert "does not agree with porosity 48 %: 1 - 1.55/2.65 = 41.5 %" in said


def test_conductivity_without_unit_and_far_too_slow():
    said = fault_of(sheet(Ksat=14))
    assert "Ksat 14 has no unit: 35.6 cm/h if in/h, 14 cm/h, or 1.4 cm/h if mm/h" in said
    assert said.count("has no unit") == 1
    slow = read_retention(sheet(**{"Ksat (in/h)": 0.1}))
    assert "below 6 in/h: silt? compacted?" in slow.cautions[0]


def test_sieves_that_do_not_add_up():
    said = fault_of(
        sheet(**{"retained 1 mm (%)": 10, "retained 0.25 mm (%)": 80, "pan (%)": 6})
    )  # fmt: skip
    assert "sum of sieves is 96 %: pan fraction missing?" in said


def test_text_in_numbers_names_row_and_column():
    said = fault_of({"suction (cm)": SUCTION, "vwc (%)": ["37.8", "wet", "19.4", "14"]})
    assert 'row 2, column vwc: "wet" is not a number' in said


def test_duplicate_suctions():
    said = fault_of({"suction (cm)": [10, 20, 20, 40], "vwc (%)": WATER})
    assert "row 2 and row 3: suction 20 cm is measured twice (28.4 % and 19.4 %)" in said


def test_a_suction_missing_beside_a_water_content():
    said = fault_of({"suction (cm)": [10, None, 30, 40], "vwc (%)": WATER})
    assert "row 2: water content without a suction" in said


def test_columns_that_cannot_be_told():
    said = fault_of({"sand": [1, 2], "x (cm)": [3, 4]})
    assert 'no column for suction among "sand", "x"' in said
    assert 'head the column "water content (% by volume)"' in said
    beside = {"suction (cm)": [10, 30], "vwc wet (%)": [38, 20], "vwc dry (%)": [37, 19]}
    assert "several columns hold water content" in fault_of(beside)


def test_facts_that_contradict_each_other():
    source = sheet() | {"bulk density (g/cm3)": [1.55, 1.55, 1.60, 1.55]}
    assert "is 1.6 here but 1.55 further up" in fault_of(source)


def test_organic_matter_below_one_without_unit_is_asked():
    assert 'write "0.8 %" if it is per cent' in fault_of(sheet(**{"organic matter": 0.8}))


def test_wrong_dimension_of_suction():
    said = fault_of({"suction (h)": SUCTION, "vwc (%)": WATER})
    assert "suction" in said
    assert "30 mbar" in said


def test_every_fault_of_a_sheet_comes_at_once():
    with pytest.raises(InputError) as caught:
        read_retention(DATA / "ellermarsh_lab_sheet.csv")
    assert len(caught.value.faults) == 5
    with pytest.raises(InputError) as caught:
        read_retention(DATA / "dunlow_lab_sheet.csv")
    assert len(caught.value.faults) == 4


def test_the_clean_sheet_of_the_examples_reads_without_a_caution():
    lab = read_retention(DATA / "harrowmere_lab_sheet.csv")
    assert lab.suction.tolist() == [10, 20, 30, 40, 60]
    assert lab.k_sat == pytest.approx(13.5 * 2.54)
    assert lab.cautions == ()


def test_limits_of_what_a_sheet_may_hold_follow_from_where_they_come_from():
    """Capillary rise by the tension of water at 20 degC (0.0728 N/m; CRC Handbook, from memory)."""
    rise = 1e4 * 2.0 * 0.0728 / (998.2 * 9.80665)  # times radius [cm2]
    assert pytest.approx(rise / 0.0125, rel=0.02) == sheet_doubts.COARSE_SUCTION  # 0.25 mm wide
    assert pytest.approx(rise / 0.00075, rel=0.02) == sheet_doubts.FINE_SUCTION  # 0.015 mm wide
    # Two standard deviations of the difference of two measurements within 2 % (no source).
    assert pytest.approx(2.0 * np.sqrt(2.0) * 0.02, abs=0.005) == sheet_layout.REPLICATE_SCATTER


# --- points of the wetting branch ---

REWETTED = [24.1, 15.2, 10.9, 9.0]


@pytest.mark.parametrize(
    ("drying", "wetting"),
    [
        ("Drying VWC (% v/v)", "Wetting VWC (% v/v)"),
        ("Drainage theta (% v/v)", "Imbibition theta (% v/v)"),
        ("VWC (% v/v)", "VWC rewet (% v/v)"),
        ("Water content (% v/v)", "Re-wetted water content (% v/v)"),
        ("Main drying curve (% v/v)", "Main wetting curve (% v/v)"),
    ],
)
def test_a_wetting_branch_beside_the_drying_one_is_of_the_same_sand(drying, wetting):
    table = read_retention({"suction (cm)": SUCTION, drying: WATER, wetting: REWETTED})
    assert 100 * table.water_content == pytest.approx(WATER)
    assert 100 * table.wetting_water_content == pytest.approx(REWETTED)


def test_branches_with_suctions_of_their_own_are_of_the_same_sand():
    table = read_retention(
        {
            "drying suction (cm)": SUCTION,
            "drying VWC (% v/v)": WATER,
            "wetting suction (cm)": [suction - 1.0 for suction in SUCTION],
            "wetting VWC (% v/v)": REWETTED,
        }
    )
    assert table.suction == pytest.approx(SUCTION)
    assert sorted(table.wetting_suction) == [9.0, 19.0, 29.0, 39.0]


def test_every_sand_has_its_own_wetting_branch():
    other = [each - 2.0 for each in WATER]
    tables = read_retention_samples(
        {
            "suction (cm)": SUCTION,
            "Mix A (% v/v)": WATER,
            "Mix A rewetted (% v/v)": REWETTED,
            "Mix B (% v/v)": other,
        }
    )
    assert [table.wetting_suction.size for table in tables.values()] == [4, 0]
    assert 100 * tables["Mix B"].water_content == pytest.approx(other)


def test_a_wetting_branch_without_a_drying_one_is_refused():
    said = fault_of({"suction (cm)": SUCTION, "A (% v/v)": WATER, "B wetting (% v/v)": REWETTED})
    assert 'sample "B"' in said
    assert "give the drying curve too" in said


@pytest.mark.parametrize("names", ["AB", ("Sand A", "Sand B")])
def test_branches_of_two_sands_are_not_those_of_one(names):
    first, other = names
    lower = [0.8 * each for each in WATER]
    drying = {
        "suction (cm)": SUCTION,
        f"{first} drying (% v/v)": WATER,
        f"{other} drying (% v/v)": lower,
    }
    tables = read_retention_samples(drying)
    assert [table.suction.tolist() for table in tables.values()] == [SUCTION, SUCTION]
    assert [first in name for name in tables] == [True, False]
    mixed = {
        "suction (cm)": SUCTION,
        f"{first} drying (% v/v)": WATER,
        f"{other} wetting (% v/v)": REWETTED,
    }
    said = fault_of(mixed)
    assert f'sample "{other}"' in said
    assert "give the drying curve too" in said


def two_tables(path, first, second):
    lines = [first, "suction (cm),drying VWC (%)"]
    lines += [f"{a},{b}" for a, b in zip(SUCTION, WATER, strict=True)]
    lines += ["", second, "suction (cm),wetting VWC (%)"]
    lines += [f"{a},{b}" for a, b in zip(SUCTION, REWETTED, strict=True)]
    return written(path / "two.csv", "\n".join(lines))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Sample: Mix A", "Sample: Mix A"),
        ("Mix A", "Mix A"),
        ("Sand of the third green", "The same sand again"),
    ],
)
def test_branches_in_tables_of_their_own_are_of_one_sand(tmp_path, first, second):
    table = read_retention(two_tables(tmp_path, first, second))
    assert 100 * table.wetting_water_content == pytest.approx(REWETTED)


@pytest.mark.parametrize("before", ["Sample: ", ""])
def test_branches_in_tables_of_their_own_are_not_of_one_sand_where_these_name_two(tmp_path, before):
    said = fault_of(two_tables(tmp_path, f"{before}Mix A", f"{before}Mix B"))
    assert 'sample "Mix B"' in said and "give the drying curve too" in said
