"""A site in one file: read, checked all at once, added to without losing a line, written anew."""

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

import soilwater as sw
from soilwater.words.safe_files import append_rows, write_marked, write_new
from soilwater.words.toml_lines import toml_lines

EXAMPLE = Path(__file__).parents[2] / "examples" / "data" / "brackenhurst"
NOW = "2025-06-10 07:00"


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "site")
    return tmp_path / "site"


@pytest.fixture
def site(folder):
    return folder / "brackenhurst.toml"


def change(file, old, new):
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def line_of(file, part):
    lines = file.read_text(encoding="utf-8").splitlines()
    (at,) = [n for n, line in enumerate(lines, start=1) if part in line]
    return at


def faults_of(site, now=NOW):
    with pytest.raises(sw.InputError) as caught:
        sw.read_site_file(site, now=now)
    return caught.value.faults


# --- reading -------------------------------------------------------------------------------------


def test_what_stands_in_the_file_is_what_is_read(site):
    read = sw.read_site_file(site, now=NOW)
    four = read.green("4")
    assert [spot.name for spot in four.spots] == ["front", "middle", "left", "deep corner"]
    assert four.spots[1].depth == pytest.approx(12.5 * 2.54)
    assert four.spots[3].slope == pytest.approx(0.02)
    assert read.rod == pytest.approx(3 * 2.54)
    assert read.thresholds == sw.Thresholds("18 %", "14 %", "12 %")
    # 12 US gallons a minute; the gallon is 231 cubic inches (NIST Handbook 44, appendix C).
    assert read.crew.flow == pytest.approx(12 * 231 * 2.54**3 / 1000)
    assert read.crew.hours == 1.5
    assert read.weather.expected == (4.5, 5.5)
    assert len(read.readings) == 8
    assert np.isnan(read.water[0].amount) and read.water[1].amount == 25.0
    assert "2025-06-10 06:18" in repr(read)


def test_a_survey_holds_one_day(site):
    read = sw.read_site_file(site, now=NOW)
    assert read.survey("4").spot("left").mean_reading() == pytest.approx(0.168)
    assert read.survey("4", "2025-06-09").spot("left").mean_reading() == pytest.approx(0.196)
    assert read.survey("9").spot("back").readings == ()


def test_every_fault_is_told_at_once_with_its_line(folder, site):
    change(site, 'rod = "3 in"', "rods = 3")
    change(site, 'flow = "12 gpm"', 'flow = "12"')
    change(site, 'name = "left", ', 'name = "Front", ')
    change(site, 'name = "back",  depth', 'name = "back",  dephth')
    change(site, 'wilt = "12 %"', 'wilt = "20 %"')
    change(site, 'sand = "mix"', 'sand = "mixx"')
    change(folder / "readings.csv", "9,06:22,4,left", "9,06:22,4,lefft")
    change(folder / "water.csv", "soaking,25", "soak,25")
    told = "\n".join(faults_of(site))
    for part, said in (
        ("rods = 3", 'no such word: "rods"; allowed: rod, error; "rod" may be meant'),
        ("[meter]", "rod is missing"),
        ('flow = "12"', "flow"),
        ('"Front"', 'spot "Front" comes twice, first in line'),
        ("dephth", '"depth" may be meant'),
        ("[thresholds]", "do not fall"),
        ('"mixx"', '"mix" may be meant'),
    ):
        at = line_of(site, part)
        assert any(
            each.startswith(f"line {at}: ") and said in each for each in told.splitlines()
        ), (part, told)
    assert 'readings.csv: line 4: no spot "lefft" on green "4"; allowed: front' in told
    assert 'water.csv: line 3: kind is "soak"; allowed: soaking, heads, hose' in told


def test_a_reading_from_the_future_is_refused(site):
    (told,) = faults_of(site, now="2025-06-10 06:17:30")
    assert told == (
        "readings.csv: line 9: 2025-06-10 06:18 is in the future, now is 2025-06-10 06:17:30."
    )


def test_a_date_that_can_be_two_is_asked_and_settled_in_the_file(folder, site):
    file = folder / "readings.csv"
    text = file.read_text(encoding="utf-8")
    file.write_text(
        text.replace("2025-06-09", "9/6/2025").replace("2025-06-10", "10/6/2025"), encoding="utf-8"
    )
    (told,) = faults_of(site)
    assert told.startswith("readings.csv: ") and "9 Jun 2025" in told and "6 Sep 2025" in told
    assert "write day_first = true or day_first = false below [tables]" in told
    change(site, "[tables]", "[tables]\nday_first = true")
    read = sw.read_site_file(site, now=NOW)
    assert read.readings[0].reading.time == np.datetime64("2025-06-09T06:20")


@pytest.mark.parametrize(
    ("cut", "line"), [('depth = "12 in",     area = "60', 46), ("[sand.m", 6), ("flow = ", 21)]
)
def test_half_a_site_file_is_told(site, cut, line):
    text = site.read_text(encoding="utf-8")
    site.write_text(text[: text.index(cut) + len(cut)], encoding="utf-8")
    (told,) = faults_of(site)
    assert f"line {line}" in told and "half-written" in told


def test_half_a_line_of_a_table_is_told_and_never_read_as_a_number(folder, site):
    file = folder / "readings.csv"
    # 2 % of what was to become 24.5 %.
    file.write_bytes(file.read_bytes() + b"2025-06-10,06:30,9,front,2")
    (told,) = faults_of(site)
    assert told == (
        'readings.csv: line 10: the last line ends in the middle: "2025-06-10, 06:30, 9, front, '
        '2"; write it to its end, or take it out.'
    )


def test_numbers_need_their_unit(folder, site):
    change(folder / "water.csv", "amount (mm)", "amount")
    change(site, 'area = "60 m2"', "area = 60")
    told = faults_of(site)
    assert any("area is 60; allowed: a number with its unit, in quotes" in each for each in told)
    assert any('water.csv: line 3: amount: "25" has no unit' in each for each in told)


def test_a_sheet_that_is_not_there_and_one_that_cannot_be_read(folder, site):
    change(site, "[meter]", '[sand.other]\nsheet = "none.csv"\n\n[meter]')
    change(folder / "lab_sheet.csv", "suction (cm)", "suction")
    told = "\n".join(faults_of(site))
    assert f"line {line_of(site, 'none.csv')}: there is no file" in told
    assert f"line {line_of(site, 'lab_sheet.csv')}: Lab sheet" in told
    change(site, 'sheet = "lab_sheet.csv"', 'sheet = "lab_sheet.csv"\nsuction_unit = "cm"')
    change(site, '[sand.other]\nsheet = "none.csv"\n', "")
    assert sw.read_site_file(site, now=NOW).sands[0].table().suction[0] == 10.0


@pytest.mark.parametrize("words", ["", "name = 3", "green = 3", "[[green]]", "sand = []"])
def test_a_file_with_next_to_nothing_is_refused_in_words(tmp_path, words):
    file = tmp_path / "bare.toml"
    file.write_text(words, encoding="utf-8")
    assert len(faults_of(file)) >= 4


# --- adding --------------------------------------------------------------------------------------


def test_what_is_added_is_read_and_nothing_else_changes(folder, site):
    read = sw.read_site_file(site, now=NOW)
    before = {name: (folder / name).read_bytes() for name in ("readings.csv", "water.csv")}
    read.add_readings("9", {"front": "21.5 %", "back": 0.163}, "2025-06-10 06:40")
    read.add_water("9", "hose", "2025-06-10 06:50", "0.1 in", spot="back")
    for name, bytes_ in before.items():
        assert (folder / name).read_bytes().startswith(bytes_)
    again = sw.read_site_file(site, now=NOW)
    assert again.survey("9").spot("back").mean_reading() == pytest.approx(0.163)
    assert again.survey("9").rods == pytest.approx((7.62,))
    assert again.water[-1].amount == pytest.approx(2.54)


def test_nothing_is_added_where_anything_is_wrong(folder, site):
    read = sw.read_site_file(site, now=NOW)
    before = (folder / "readings.csv").read_bytes()
    with pytest.raises(sw.InputError, match=r'no spot "bac" on green "9"; allowed: front, back'):
        read.add_readings("9", {"front": "21.5 %", "bac": "16 %"}, "2025-06-10 06:40")
    with pytest.raises(sw.InputError, match="only that of a soaking may be left out"):
        read.add_water("9", "heads", "2025-06-10 06:40")
    assert (folder / "readings.csv").read_bytes() == before


def test_a_table_with_decimal_commas_keeps_them(folder, site):
    file = folder / "readings.csv"
    text = file.read_text(encoding="utf-8").replace(".", ",").replace(",,,", ";;;")
    head, *rest = text.splitlines()
    lines = [head.replace(",", ";")]
    lines += [";".join([*line.split(",", 4)[:4], line.split(",", 4)[4]]) for line in rest]
    file.write_text("\r\n".join(lines) + "\r\n", encoding="utf-8-sig")
    read = sw.read_site_file(site, now=NOW)
    read.add_readings("9", {"front": "21.5 %"}, "2025-06-10 06:40")
    assert "21,5;7,62 cm" in file.read_text(encoding="utf-8")
    again = sw.read_site_file(site, now=NOW)
    assert again.survey("4").spot("left").mean_reading() == pytest.approx(0.168)
    assert again.survey("9").spot("front").mean_reading() == pytest.approx(0.215)


def test_rows_go_below_a_half_written_line_not_into_it(tmp_path):
    file = tmp_path / "table.csv"
    file.write_bytes(b"date,green\n2025-06-10,")
    append_rows(file, ("date", "green"), [{"date": "2025-06-11", "green": "9"}])
    assert file.read_bytes() == b"date,green\n2025-06-10,\n2025-06-11,9\n"


ADDER = """
import sys
from pathlib import Path
from soilwater.words.safe_files import append_rows
file, who = Path(sys.argv[1]), sys.argv[2]
for i in range(60):
    append_rows(file, ("who", "row"), [{"who": who, "row": str(i)}, {"who": who, "row": f"{i}b"}])
"""


def test_two_people_who_add_at_once_lose_no_row(tmp_path):
    file = tmp_path / "table.csv"
    running = [
        subprocess.Popen([sys.executable, "-c", ADDER, str(file), who]) for who in ("ann", "bo")
    ]
    assert [each.wait() for each in running] == [0, 0]
    head, *rows = file.read_text(encoding="utf-8").splitlines()
    assert head == "who,row"
    assert sorted(rows) == sorted(
        f"{who},{i}{b}" for who in ("ann", "bo") for i in range(60) for b in ("", "b")
    )


def test_a_cell_without_its_column_is_not_lost_in_silence(tmp_path):
    file = tmp_path / "table.csv"
    file.write_bytes(b"date,green\n")
    with pytest.raises(sw.InputError, match="it has no column spot; add it to line 1"):
        append_rows(file, ("date",), [{"date": "2025-06-11", "spot": "back"}])
    assert file.read_bytes() == b"date,green\n"


# --- what lies below -----------------------------------------------------------------------------

GRAVELS = """
[gravel.pea]
thickness = "4 in"
curve = "matrix-free gravel"

[gravel.fine]
thickness = "10 cm"
theta_r = "1 %"
theta_s = "42 %"
alpha = "0.8 1/cm"
n = 2.5
k_sat = "1200 cm/h"

[gravel.bench]
entry_suction = "0.9 kPa"

[meter]"""


def below(site, *words):
    """Suctions left at the base of both greens, as the words below their sands have it."""
    change(site, "[meter]", GRAVELS.lstrip())
    for word in words:
        # From the last green to the first: the first that is found is changed.
        head, _, tail = site.read_text(encoding="utf-8").rpartition('sand = "mix"\nturf')
        site.write_text(f'{head}sand = "mix" \n{word}\nturf{tail}', encoding="utf-8")
    read = sw.read_site_file(site, now=NOW)
    return read, read.base_suction("4"), read.base_suction("9")


def test_gravel_is_known_by_its_curve_and_thickness(site):
    read, four, nine = below(site, 'gravel = "fine"', 'gravel = "clean gravel"')
    # Two days after a soaking 6.5 to 7.1 cm over 10 cm of this clean gravel, 8.4 to 8.8 after a
    # fortnight, and 9.4 over a fine one, worked out with the gravel as a layer of its own.
    assert four.low < four.best < four.high and four.best == pytest.approx(6.8, abs=0.4)
    assert four.high == pytest.approx(8.6, abs=0.4)
    assert four.best < nine.best < 10.0
    assert "clean gravel, by its curve" in str(four)
    assert {each.name for each in read.gravels} == {"clean gravel", "pea", "fine", "bench"}
    # Four inches are 1.6 mm more than ten centimetres.
    change(site, 'gravel = "clean gravel"', 'gravel = "pea"')
    pea = sw.read_site_file(site, now=NOW).base_suction("4")
    assert four.best < pea.best < four.best + 0.15


def test_a_base_is_an_entry_suction_or_a_water_table_or_what_is_usual(site):
    _, four, nine = below(site, 'water_table = "60 cm"', 'gravel = "bench"')
    # 1 kPa is 10.197 cm of water (from memory).
    assert four.low == four.best == four.high == pytest.approx(0.9 * 10.197, abs=0.01)
    depths = 30.48, 40.64
    assert (nine.high, nine.low) == pytest.approx([60.0 - each for each in depths])
    assert nine.best == pytest.approx(60.0 - np.mean(depths))
    assert sw.read_site_file(EXAMPLE / "brackenhurst.toml", now=NOW).base_suction("4").best == 6.7


def test_all_faults_of_what_lies_below(site):
    change(site, "[meter]", GRAVELS.lstrip())
    change(site, 'alpha = "0.8 1/cm"', 'alpha = "0.8"\nalfa = 3')
    change(site, 'curve = "matrix-free gravel"', 'curve = "matrix gravel"')
    change(site, 'entry_suction = "0.9 kPa"', 'entry_suction = "0.9 kPa"\nthickness = "4 in"')
    change(site, 'sand = "mix"\nturf', 'sand = "mix"\ngravel = "peas"\nturf')
    change(site, 'sand = "mix"\nturf', 'sand = "mix"\ngravel = "pea"\nwater_table = "1 m"\nturf')
    told = "\n".join(faults_of(site))
    for said in (
        '"0.8" has no unit',
        'no such word: "alfa"',
        "'matrix gravel' is not known; allowed: ",
        "entry_suction stands alone",
        '"pea" may be meant',
        "gravel and water_table are both given; allowed: one of them",
    ):
        assert any(said in each and each.startswith("line ") for each in told.splitlines()), said


# --- writing -------------------------------------------------------------------------------------


def test_a_site_that_is_written_is_read_as_the_same(folder, site):
    change(site, 'area = "8 m2"', 'area = "8 m2", x = "12 ft", y = "-3 m", mat_thickness = "1 cm"')
    change(site, 'depth = "16 in"', 'depth_at_least = true, depth = "16 in"')
    change(site, 'name = "9"', 'name = "9 \\"short\\" ß"\nroot_depth = "20 cm"')
    change(site, 'sand = "mix"', 'sand = "mix"\nbase_suction = ["2 cm", "8 cm"]')
    change(
        site,
        'turf = "creeping bentgrass"\nspots = [\n  { name = "front", depth',
        'turf = "cool season"\ncrop_coefficient = 0.9\nspots = [\n  { name = "front", depth',
    )
    change(folder / "water.csv", ",9,", ',"9 ""short"" ß",')
    change(site, "[meter]", GRAVELS.lstrip())
    head, _, tail = site.read_text(encoding="utf-8").rpartition('sand = "mix"')
    site.write_text(f'{head}sand = "mix"\ngravel = "fine"{tail}', encoding="utf-8")
    read = sw.read_site_file(site, now=NOW)
    (folder / "archive").mkdir()
    copy = sw.write_site_file(read, folder / "archive" / "copy.toml")
    again = sw.read_site_file(copy, now=NOW)
    assert repr(again) == repr(read)
    for mine, its in zip(read.greens, again.greens, strict=True):
        assert mine.turf == its.turf
        assert mine.base_suction == its.base_suction and mine.gravel == its.gravel
        for one, other in zip(mine.spots, its.spots, strict=True):
            assert one.name == other.name and one.depth_at_least == other.depth_at_least
            for word in ("depth", "area", "slope", "x", "y", "mat_thickness"):
                assert getattr(one, word) == pytest.approx(getattr(other, word))
    assert again.readings == read.readings
    assert [(each.name, each.base) for each in again.gravels] == [
        (each.name, each.base) for each in read.gravels
    ]
    assert again.crew.flow == pytest.approx(read.crew.flow)
    assert [str(each.sheet.resolve()) for each in again.sands] == [
        str(each.sheet.resolve()) for each in read.sands
    ]


def test_nothing_is_written_over_a_site_file(site):
    before = site.read_bytes()
    read = sw.read_site_file(site, now=NOW)
    with pytest.raises(sw.InputError, match="nothing is written over it"):
        sw.write_site_file(read, site)
    assert site.read_bytes() == before
    assert {each.suffix for each in site.parent.iterdir()} == {".toml", ".csv"}


def test_a_file_is_there_whole_or_not_at_all(tmp_path, monkeypatch):
    def fails(_):
        raise OSError("the disk is full")

    monkeypatch.setattr("os.fsync", fails)
    with pytest.raises(OSError, match="full"):
        write_new(tmp_path / "new.toml", "name = 3")
    assert not (tmp_path / "new.toml").exists()


def test_a_page_is_written_over_only_where_nobody_changed_it(tmp_path):
    page = tmp_path / "card.html"
    write_marked(page, "<p>one</p>", "a card")
    write_marked(page, "<p>two</p>", "a card")
    assert page.read_text(encoding="utf-8").startswith("<p>two</p>")
    changed = page.read_text(encoding="utf-8").replace("two", "two, and the hose leaks")
    page.write_text(changed, encoding="utf-8")
    with pytest.raises(sw.InputError, match="was changed since"):
        write_marked(page, "<p>three</p>", "a card")
    assert page.read_text(encoding="utf-8") == changed


# --- lines ---------------------------------------------------------------------------------------

ODD = '''# [remark]
"odd key" = "a # no remark"   # remark
a.b . "c.d" = """
two = 3
lines""""" # and more
[one.'two [x]']
when = 2025-06-10 06:30:00
list = [ 1, [2, # remark ]
  3], { x = { y = "}" }, "z" = ']' } ]
[[many]]
[[many.deep]]
k = 'C:\\'
[[many.deep]]
k = "\\"]"
[[many]]
[many.sub]
k=1'''


def places(value, place=()):
    if isinstance(value, dict):
        for key, each in value.items():
            yield (*place, key)
            yield from places(each, (*place, key))
    elif isinstance(value, list):
        for i, each in enumerate(value):
            yield (*place, i)
            yield from places(each, (*place, i))


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_word_of_a_toml_file_has_its_line(newline):
    found = toml_lines(ODD.replace("\n", newline))
    assert set(found) == set(places(tomllib.loads(ODD)))
    lines = ODD.splitlines()
    for place, line in found.items():
        if isinstance(place[-1], str):
            assert place[-1] in lines[line - 1]
    assert found["a", "b", "c.d"] == 3
    assert found["one", "two [x]", "list", 1, 1] == 9
    assert found["many", 0, "deep", 1, "k"] == 14
    assert found["many", 1, "sub", "k"] == 17
