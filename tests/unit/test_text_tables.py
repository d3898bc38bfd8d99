"""Text tables: the mess that lab sheets, station files and surveys arrive in (all invented)."""

import sys

import numpy as np
import pandas as pd
import pytest

from soilwater.words.cells import looks_like_unit, parse_number
from soilwater.words.errors import InputError
from soilwater.words.text_tables import echo_table, html_table, read_text_table


@pytest.fixture
def table_of(tmp_path):
    """Write a text to a file and read it back as a table."""

    def read(text, name="sheet.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return read_text_table(path)

    return read


def test_a_clean_file(table_of):
    table = table_of("suction (cm),water content (%)\n10,38\n30,22.5\n")
    assert table.columns == ("suction", "water content")
    assert table.units == ("cm", "%")
    assert table.rows == (("10", "38"), ("30", "22.5"))
    assert table.line_numbers == (2, 3)
    assert table.source == "sheet.csv"
    assert (table.decimal, table.notes, table.preface) == (".", (), ())


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(table_of, separator):
    text = "\n".join(separator.join(row) for row in [("spot", "depth"), ("A1", "30"), ("A2", "31")])
    assert table_of(text).rows == (("A1", "30"), ("A2", "31"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_and_byte_order_marks(table_of, encoding):
    table = table_of("température (°C);depth\n10;38\n", encoding=encoding)
    assert table.columns == ("température", "depth")
    assert table.units == ("°C", "")
    assert bool(table.notes) == (encoding == "cp1252")


def test_line_endings_of_other_systems(table_of):
    assert table_of("a;b\r\n1;2\r\n").rows == (("1", "2"),)


def test_decimal_commas_between_semicolons(table_of):
    table = table_of("Lab sheet, green 7\n\nsuction;theta\n10;0,38\n30;0,220\n")
    assert table.decimal == ","
    assert table.notes == ("decimal comma",)
    assert table.rows[1] == ("30", "0,220")


def test_quoted_decimal_commas_between_commas(table_of):
    table = table_of('suction,theta\n"10","0,38"\n')
    assert (table.decimal, table.rows) == (",", (("10", "0,38"),))


def test_points_prove_that_commas_separate_thousands(table_of):
    table = table_of("suction;theta\n1,500;0.05\n100;0.1\n")
    assert table.decimal == "."
    assert parse_number(table.rows[0][0], table.decimal) == (1500.0, "")


def test_a_comma_that_could_be_either_is_asked_about(table_of):
    with pytest.raises(InputError, match=r"line 2: '1,500' can be 1500 or 1.500"):
        table_of("suction;per cent\n1,500;5\n2,000;4\n")


def test_mixed_decimal_signs_are_refused_with_both_places(table_of):
    with pytest.raises(InputError, match=r"'1.5' in line 3, '22,5' in line 2"):
        table_of("suction\tcontent\n10\t22,5\n20\t1.5\n")


def test_dates_and_times_prove_no_decimal_sign(table_of):
    table = table_of("date;time;rain\n1.7.2025;10:30;0,2\n2.7.2025;11:00;1,4\n")
    assert table.decimal == ","


def test_a_unit_row_under_the_header(table_of):
    table = table_of("Suction,Water content,Mix\ncm,% by volume,-\n10,38,A\n30,22,A\n")
    assert table.units == ("cm", "% by volume", "")
    assert table.rows[0] == ("10", "38", "A")
    assert table.line_numbers == (3, 4)
    assert "unit row under the header" in table.notes


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("suction (cm)", "suction", "cm"),
        ("suction [kPa]", "suction", "kPa"),
        ('"suction, cm of water"', "suction", "cm of water"),
        ("suction_kpa", "suction", "kpa"),
        ("reference_et_mm_day", "reference_et", "mm/day"),
        ("rain_mm", "rain", "mm"),
        ("Suction kPa", "Suction", "kPa"),
        ("VWC %", "VWC", "%"),
        ("depth (from surface)", "depth (from surface)", ""),
        ("depth (from surface) (in)", "depth (from surface)", "in"),
        ("theta (-)", "theta", ""),
        ("theta (m3/m3)", "theta", "m3/m3"),
        ("pF", "pF", ""),
        ("kPa", "kPa", ""),
        ("what_is_in", "what_is", "in"),
    ],
)
def test_units_in_headers(table_of, header, column, unit):
    table = table_of(f"{header},name\n10,sand\n30,sand\n")
    assert (table.columns[0], table.units[0]) == (column, unit)


def test_lines_above_the_header_are_kept_apart(table_of):
    table = table_of(
        "Lab report\nSample: greens mix 4, bag 2\nDate, 2025-03-01\nBulk density, 1.55\n"
        "Porosity, 0.41\n\nsuction kPa, theta\n1,0.38\n2,0.3\n3,0.25\n4,0.2\n"
    )
    assert table.columns == ("suction", "theta")
    assert table.line_numbers == (8, 9, 10, 11)
    assert table.preface == (
        "Lab report",
        "Sample: greens mix 4; bag 2",
        "Date; 2025-03-01",
        "Bulk density; 1.55",
        "Porosity; 0.41",
    )


def test_suctions_along_the_top_are_a_header_too(table_of):
    table = table_of("Sample,10 cm,20 cm,30 cm\nA,38,30,20\nB,37,31,21\n")
    assert table.columns == ("Sample", "10", "20", "30")
    assert table.units == ("", "cm", "cm", "cm")
    assert len(table.rows) == 2


def test_rows_without_numbers_stay_in_the_table(table_of):
    table = table_of("spot,depth in,reading\nA1,14 3/4,21\n\nA2,hit pipe,\nA3,1'2,19%\n,,\n")
    assert table.rows == (("A1", "14 3/4", "21"), ("A2", "hit pipe", ""), ("A3", "1'2", "19%"))
    assert table.line_numbers == (2, 4, 5)


def test_what_stands_below_the_table_is_left_out_and_said(table_of):
    table = table_of(
        "suction (kPa);content (%)\n1;38\n2;30\n3;22\n\nsieve (mm);passing (%)\n2;100\n1;95\n"
    )
    assert len(table.rows) == 3
    assert table.notes == (
        "left out below the table from line 6 on (3): 'sieve (mm); passing (%)'",
    )
    assert len(table_of("a,b\n1,2\n\ntested by drying at 105\n").rows) == 1
    assert len(table_of("a,b\n1,2\nNote: tested by drying\n").rows) == 1


def test_comment_lines_are_not_rows(table_of):
    table = table_of("# invented\n# data, for show\nsuction_cm,theta\n10,0.3\n20,0.2\n# end\n")
    assert table.rows == (("10", "0.3"), ("20", "0.2"))
    assert table.preface[0] == "# invented"


def test_short_rows_are_filled_and_unnamed_columns_numbered(table_of):
    table = table_of("a,,c\n1,2,3\n4,5\n")
    assert table.columns == ("a", "column 2", "c")
    assert table.rows[1] == ("4", "5", "")


def test_empty_columns_at_the_right_are_dropped(table_of):
    assert table_of("a,b,,\n1,2,,\n").columns == ("a", "b")


def test_every_row_that_is_too_long_is_named(table_of):
    with pytest.raises(InputError) as caught:
        table_of("suction,theta\n10,0,38\n20,0.3\n30,0,22\n")
    assert [fault.split(":")[0] for fault in caught.value.faults] == ["line 2", "line 4"]
    assert "separate cells by ;" in str(caught.value)


@pytest.mark.parametrize("text", ["", "\n\n", "10,20\n30,40\n", "a,b\n", "only words\n"])
def test_without_a_header_over_numbers_there_is_no_table(table_of, text):
    with pytest.raises(InputError, match=r"sheet.csv: no line of column names"):
        table_of(text)


def test_other_files_are_refused_with_a_cure(table_of, tmp_path):
    with pytest.raises(InputError, match=r"save it as .xlsx or .csv"):
        table_of("a,b\n1,2\n", name="old.xls")
    with pytest.raises(InputError, match=r"not a text file"):
        table_of("a\0b")
    with pytest.raises(FileNotFoundError):
        read_text_table(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match=r"not from int"):
        read_text_table(5)


def test_a_sheet_of_a_text_file_is_refused(tmp_path):
    (tmp_path / "a.csv").write_text("a,b\n1,2\n")
    with pytest.raises(InputError, match=r"only workbooks have sheets"):
        read_text_table(tmp_path / "a.csv", sheet="lab")


def test_a_data_frame():
    frame = pd.DataFrame({"suction (cm)": [10, 30], "theta": ["0,38", None]})
    table = read_text_table(frame)
    assert table.columns == ("suction", "theta")
    assert table.rows == (("10", "0.38"), ("30", ""))
    assert table.line_numbers == (1, 2)
    assert table.notes == ("decimal comma in text cells",)
    assert table.decimal == "."


def test_a_data_frame_keeps_its_named_index():
    index = pd.DatetimeIndex(["2025-07-01", "2025-07-02"], name="time")
    table = read_text_table(pd.DataFrame({"rain_mm": np.float32([0.1, np.nan])}, index))
    assert table.columns == ("time", "rain")
    assert table.rows == (("2025-07-01 00:00:00", "0.1"), ("2025-07-02 00:00:00", ""))


def test_a_mapping_of_columns():
    table = read_text_table({"suction (kPa)": np.array([1.0, 3.0]), "theta": [0.3, 0.2]})
    assert table.units == ("kPa", "")
    assert table.rows == (("1.0", "0.3"), ("3.0", "0.2"))


def test_a_mapping_must_be_rectangular():
    with pytest.raises(InputError, match=r"differ in length: \{'a': 1, 'b': 2\}"):
        read_text_table({"a": [1], "b": [1, 2]})
    with pytest.raises(InputError) as caught:
        read_text_table({"a": 3, "b": "x"})
    assert len(caught.value.faults) == 2


@pytest.fixture
def workbook(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "lab"
    sheet.append(["Invented lab, release curve"])
    sheet.merge_cells("A1:C1")
    sheet.append(["mix", "suction (cm)", "water content"])
    for row in [("A", 10, 0.385), (None, 30, 0.22), ("B", 10, "40,5%"), (None, 30, 0.2)]:
        sheet.append(row)
    for line in (3, 4, 6):
        sheet.cell(line, 3).number_format = "0.0%"
    sheet.merge_cells("A3:A4")
    sheet.merge_cells("A5:A6")
    return book, tmp_path / "lab.xlsx"


def test_a_workbook_reads_as_it_looks(workbook):
    book, path = workbook
    book.save(path)
    table = read_text_table(path)
    assert table.columns == ("mix", "suction", "water content")
    assert table.rows == (
        ("A", "10", "38.5%"),
        ("A", "30", "22%"),
        ("B", "10", "40.5%"),
        ("B", "30", "20%"),
    )
    assert table.line_numbers == (3, 4, 5, 6)
    assert table.preface == ("Invented lab, release curve",)
    assert "merged cells filled downwards" in table.notes


def test_a_workbook_with_several_sheets_asks_which(workbook):
    book, path = workbook
    for row in [("a", "b"), (1, 2)]:
        (book["other"] if "other" in book.sheetnames else book.create_sheet("other")).append(row)
    book.save(path)
    with pytest.raises(InputError, match=r"2 sheets .* allowed: 'lab', 'other'; name one"):
        read_text_table(path)
    with pytest.raises(InputError, match=r"sheet='lba'"):
        read_text_table(path, sheet="lba")
    assert read_text_table(path, sheet="other").rows == (("1", "2"),)


def test_a_workbook_without_openpyxl_says_what_to_install(workbook, monkeypatch):
    book, path = workbook
    book.save(path)
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    with pytest.raises(InputError, match=r"install soilwater\[io\]"):
        read_text_table(path)


@pytest.mark.parametrize(
    ("text", "decimal", "value", "unit"),
    [
        ("22%", ".", 22.0, "%"),
        (" 22 % by volume ", ".", 22.0, "% by volume"),
        ("0.28", ".", 0.28, ""),
        (".28", ".", 0.28, ""),
        ("0,28", ",", 0.28, ""),
        ("1,500", ".", 1500.0, ""),
        ("1,500", ",", 1.5, ""),
        ("1.500,5", ",", 1500.5, ""),
        ("1.500", ".", 1.5, ""),
        ("-999", ".", -999.0, ""),
        ("−3.5 kPa", ".", -3.5, "kPa"),
        ("1e-5", ".", 1e-5, ""),
        ("0.033 1/cm", ".", 0.033, "1/cm"),
        ("14 3/4", ".", 14.75, ""),
        ("14 3/4 in", ".", 14.75, "in"),
        ("14¾", ".", 14.75, ""),
        ("1'2", ".", 14.0, "in"),
        ("", ".", None, ""),
        ("-", ".", None, ""),
        ("—", ".", None, ""),
        ("N/A", ".", None, ""),
        ("NaN", ".", None, ""),
    ],
)
def test_numbers_in_cells(text, decimal, value, unit):
    assert parse_number(text, decimal) == (value, unit)


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("abc", "."),
        ("hit pipe", "."),
        ("12+", "."),
        ("<0.01", "."),
        ("0,28", "."),
        ("0.28", ","),
        ("1.2.3", "."),
        ("12/11/2026", "."),
        ("2025-03-01", "."),
        ("10:30", "."),
        ("3 May", "."),
    ],
)
def test_cells_that_are_no_numbers(text, decimal):
    with pytest.raises(ValueError, match=r"is not a number"):
        parse_number(text, decimal)


@pytest.mark.parametrize(
    "text",
    ["cm", "kPa", "% by volume", "mm h-1", "g/cm3", "1/cm", "°C", "in/hr", "UK gal", "m³/m³"],
)
def test_units_are_recognised(text):
    assert looks_like_unit(text)


@pytest.mark.parametrize("text", ["", "1", "-", "by", "from surface", "sand", "m. of Bermuda"])
def test_other_words_are_not_units(text):
    assert not looks_like_unit(text)


def test_echo_puts_numbers_right_and_words_left():
    text = echo_table([("sand", 30.5), ("gravel", "")], ("layer", "thickness (cm)"))
    assert text.splitlines() == [
        "layer   thickness (cm)",
        "------  --------------",
        "sand              30.5",
        "gravel",
    ]


def test_echo_of_an_empty_table_is_its_header():
    assert echo_table([], ("layer", "cm")) == "layer  cm\n-----  --"


def test_ragged_rows_are_a_programming_error():
    with pytest.raises(ValueError):
        echo_table([("a", "b")], ("one",))


def test_html_is_escaped_everywhere():
    text = html_table([('<i>"', "&")], ("<b>", "x"), caption="a < b")
    assert "<i>" not in text
    assert "<b>" not in text
    assert "<caption>a &lt; b</caption>" in text
    assert "<td>&lt;i&gt;&quot;</td><td>&amp;</td>" in text


def test_a_table_shows_itself_with_units_notes_and_lines(table_of):
    text = repr(table_of("suction;theta\nkPa;-\n" + "10;0,38\n" * 12))
    assert text.startswith("sheet.csv: 12 rows\nline  suction (kPa)  theta")
    assert "... 2 more rows" in text
    assert text.endswith("- unit row under the header\n- decimal comma")
