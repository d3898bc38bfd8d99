"""What a lab sheet leaves open is asked, and each cure works when pasted."""

import re

import numpy as np
import pytest
from lab_sheets import IN_BAR, IN_KPA, ONE_SAMPLE, ROWS, SUCTION, TWO, WATER, points, written

import soilwater as sw
from tests.cures import cures_in

# --- what is asked, each with cures that work when pasted ---

ASKED = {
    "bar under mbar": f"suction (mbar),VWC (%)\n{IN_BAR}",
    "bar under kPa": f"suction (kPa),VWC (%)\n{IN_BAR}",
    "mbar under bar": f"suction (bar),VWC (%)\n{ROWS}",
    "cm under kPa": f"suction (kPa),VWC (%)\n{ROWS}",
    "mm under cm": "suction (cm),VWC (%)\n100,37.8\n200,28.4\n300,19.4\n400,14\n",
    "kPa under cm": "suction (cm),VWC (%)\n1,37.8\n2,28.4\n3,19.4\n4,14\n",
    "kPa under in": "suction (in),VWC (%)\n1,37.8\n2,28.4\n3,19.4\n4,14\n",
    "a logarithm under cm": "suction (cm),VWC (%)\n1,37.8\n1.3,28.4\n1.48,19.4\n1.6,14\n",
    "cm under a logarithm": f"pF,VWC (%)\n{ROWS}",
    "hPa to the wilting point under kPa": "suction (kPa),VWC (%)\n10,37.8\n30,19.4\n60,9\n100,7\n"
    "330,5\n15000,3\n",
    "kPa to the wilting point under cm": "suction (cm),VWC (%)\n1,37.8\n3,19.4\n6,9\n10,7\n33,5\n"
    "1500,3\n",
    "no unit": f"suction,VWC (%)\n{ROWS}",
    "a unit in one cell": "suction,VWC (%)\n10 cm,37.8\n20,28.4\n30,19.4\n40,14\n",
    "no basis": f"suction (cm),water content (%)\n{ROWS}",
    "a column for each core and no basis": "suction (cm),Core 1,Core 2\n10,37.6,38.0\n"
    "20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "suctions along the top and no basis": "Sample,10 cm,20 cm,30 cm,40 cm\nA,37.8,28.4,19.4,14\n",
    "names of samples and nothing else": f"suction (cm),A,B\n{TWO}",
    "headers that changed places": "suction (cm),VWC (%)\n37.8,10\n28.4,20\n19.4,30\n14,40\n",
    "headers that changed places in kPa": "VWC (%),suction (kPa)\n1,37.8\n2,28.4\n3,19.4\n4,14\n",
    "fractions under a per cent sign": "suction (cm),VWC (%)\n10,.378\n20,.284\n30,.194\n40,.14\n",
    "parts in a thousand under a per cent sign": "suction (cm),VWC (%)\n10,378\n20,284\n30,194\n"
    "40,140\n",
    "metres under cm": "suction (cm),VWC (%)\n.1,37.8\n.2,28.4\n.3,19.4\n.4,14\n",
    # Half the curve lay ten times too dry, and read as a soil of two kinds of pores.
    "kPa, then cm": "suction (kPa),VWC (%)\n.5,39.1\n1.5,33.2\n2.5,24.6\n35,17.7\n60,11.2\n"
    "100,8.9\n",
    "per cents called fractions": f"suction (cm),VWC (cm3/cm3)\n{ROWS}",
    "more water than pores": "suction (cm),VWC (%)\n10,94\n20,71\n30,48\n40,35\n",
    "by mass without a density": "suction (cm),gravimetric water content (%)\n10,24\n20,18\n30,12\n"
    "40,9\n",
    "by mass and not said": "porosity: 40 %\nsuction (cm),water content (%)\n10,24\n20,18\n30,12\n"
    "40,9\n",
    "a degree of saturation": "suction (cm),degree of saturation (%)\n10,94\n20,71\n30,48\n40,35\n",
    "a density without a unit": f"Bulk density: 1550\nsuction (cm),VWC (%)\n{ROWS}",
    "no unit and no basis": f"suction,water content (%)\n{ROWS}",
    "a core height without a unit": f"Core height: 7.6\nsuction (cm),VWC (%)\n{ROWS}",
    "a core that stands in water": f"Core height: 30 cm\nsuction (cm),VWC (%)\n{ROWS}",
    "a conductivity without a unit": f"Ksat: 14\nsuction (cm),VWC (%)\n{ROWS}",
}  # fmt: skip


# What was told to be edited; the first cure is pasted, and then whatever is still asked.
LEFT_OUT = {
    "a word for no value": f"suction (cm),VWC (%)\n{ROWS}60,bdl\n90,n.d.\n",
    "a value with a mark": f"suction (cm),VWC (%)\n{ROWS}60,9.8*\n* repeated\n",
    "a range": f"suction (cm),VWC (%)\n{ROWS}60,9-10\n",
    "a range of a fact": f"Bulk density (g/cm3): 1.5-1.6\nsuction (cm),VWC (%)\n{ROWS}",
    "a decimal point lost": f"suction (cm),VWC (%)\n{ROWS}25,235\n",
    "a decimal point too many": f"suction (cm),VWC (%)\n{ROWS}25,2.35\n",
    "a per cent among fractions": "suction (cm),VWC\n10,.378\n20,.284\n25,23.5\n"
    "30,.194\n40,.14\n",
    # The second half of a column was read as 0.18 %.
    "per cents, then fractions": f"suction (cm),VWC (%)\n{ROWS}60,.112\n100,.089\n",
    "a rise": f"suction (cm),VWC (%)\n{ROWS}50,31\n",
    "a suction that lost its nought": f"suction (cm),VWC (%)\n{ROWS}5,9.1\n",
    "no suction": f"suction (cm),VWC (%)\n{ROWS},9.1\n",
    "both signs": f"pressure head (cm),VWC (%)\n{ROWS}-60,9.1\n",
    "another name": f"Depth (cm),VWC (%)\n{ROWS}",
    "a name without a unit": f"setting,VWC (%)\n{ROWS}",
    "another name of the water": f"suction (cm),result\n{ROWS}",
    "suctions that do not agree": "suction (cm),suction (kPa),VWC (%)\n10,1,37.8\n20,2,28.4\n"
    "30,4,19.4\n40,9,14\n",
    "a fact told twice": "suction (cm),VWC (%),bulk density (g/cm3)\n10,37.8,1.55\n20,28.4,1.6\n"
    "30,19.4,1.55\n40,14,1.55\n",
}  # fmt: skip


@pytest.mark.parametrize("text", LEFT_OUT.values(), ids=LEFT_OUT)
def test_what_cannot_be_read_is_set_right_without_touching_the_file(tmp_path, text):
    path, given = written(tmp_path, text), {}
    for _ in range(4):
        try:
            lab = sw.read_retention(path, **given)
            break
        except sw.InputError as error:
            told = cures_in(str(error))
            assert told and not set(told[0]) & set(given), str(error)
            given |= told[0]
    assert given
    assert lab.suction.tolist()[:4] == pytest.approx(SUCTION)
    assert lab.water_content.tolist()[:4] == pytest.approx(WATER)


def test_a_bound_of_a_fact_is_no_value(tmp_path):
    lab = sw.read_retention(
        written(tmp_path, f"Organic matter: <0.5 %\nKsat: > 50 cm/h\nsuction (cm),VWC (%)\n{ROWS}")
    )
    assert (lab.k_sat, lab.organic_matter) == (None, None)
    assert any("<0.5 %" in note for note in lab.notes)


def test_a_conductivity_with_a_power_of_ten(tmp_path):
    lab = sw.read_retention(
        written(tmp_path, f"Ksat: 9.3 x 10^-5 m/s\nsuction (cm),VWC (%)\n{ROWS}")
    )
    assert lab.k_sat == pytest.approx(9.3e-5 * 100 * 3600)


def test_columns_are_named_by_their_headers(tmp_path):
    text = f"Depth (cm);core 1 [%];core 2 [%]\n{TWO.replace(',', ';')}"
    path = written(tmp_path, text)
    named = {"suction": "depth (cm)", "water_content": ("core 1 [%]",)}
    lab = sw.read_retention(path, columns=named, water_content_unit="% by volume")
    assert points(lab) == (SUCTION, pytest.approx(WATER))
    with pytest.raises(sw.InputError, match='there is no column "Tiefe"; allowed: "Depth"'):
        sw.read_retention(path, columns={"suction": "Tiefe"})
    with pytest.raises(sw.InputError, match='"depth" is nothing a column holds'):
        sw.read_retention(path, columns={"depth": "Depth"})


def cures(error):
    """The alternatives of a message, each as arguments to paste."""
    stated = [{}]
    for fault in error.faults:
        found = []
        for alternative in re.split(r",? or (?=[a-z_]+=)", fault.split("; ")[-1]):
            pairs = re.findall(r'(\w+)="([^"]+)"', alternative)
            if pairs:
                found.append(dict(pairs))
        stated = [{**given, **more} for given in stated for more in found or [{}]]
    return stated


@pytest.mark.parametrize("text", ASKED.values(), ids=ASKED)
def test_every_cure_of_a_message_works_when_pasted(tmp_path, text):
    path = written(tmp_path, text)
    with pytest.raises(sw.InputError) as caught:
        sw.read_retention_samples(path)
    alternatives = cures(caught.value)
    assert alternatives != [{}]
    for arguments in alternatives:
        labs = sw.read_retention_samples(path, **arguments)
        assert all(lab.suction.size >= 4 for lab in labs.values())


@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        ("bar under mbar", "bar"),
        ("mbar under bar", "cm"),
        ("cm under kPa", "cm"),
        ("mm under cm", "mm"),
        ("metres under cm", "m"),
        ("kPa under in", "kPa"),
        ("a logarithm under cm", "log10 cm"),
        ("cm under a logarithm", "cm"),
        ("hPa to the wilting point under kPa", "cm"),
        ("kPa to the wilting point under cm", "kPa"),
    ],
)
def test_the_first_cure_is_the_unit_that_makes_the_curve_physical(tmp_path, kind, unit):
    path = written(tmp_path, ASKED[kind])
    with pytest.raises(sw.InputError) as caught:
        sw.read_retention(path)
    first = cures(caught.value)[0]
    assert first == {"suction_unit": unit}
    lab = sw.read_retention(path, **first)
    half = np.interp(0.26, lab.water_content[::-1], lab.suction[::-1])
    assert half == pytest.approx(22.7, rel=0.2)


def test_points_measured_twice_may_be_the_other_branch(tmp_path):
    text = f"suction (cm),VWC (%)\n{ROWS}30,12\n20,17\n10,27\n"
    with pytest.raises(sw.InputError, match='drying or wetting of each row in a column "branch"'):
        sw.read_retention(written(tmp_path, text))


def test_a_sand_of_two_kinds_of_pores_is_no_change_of_unit(tmp_path):
    soil = sw.TwoComponent(0.02, 0.42, 0.06, 4.0, 0.45, 0.002, 2.2, 20.0)
    at = [10, 20, 30, 40, 60, 100, 330, 700, 1000, 3000]
    rows = "".join(f"{h},{100 * w:.1f}\n" for h, w in zip(at, soil.water_content(at), strict=True))
    for unit, factor in (("cm", 1.0), ("kPa", 1.0 / IN_KPA)):
        scaled = "".join(
            f"{factor * h:.4g},{row.split(',')[1]}\n"
            for h, row in zip(at, rows.split(), strict=True)
        )
        lab = sw.read_retention(written(tmp_path, f"suction ({unit}),VWC (%)\n{scaled}"))
        assert lab.suction.tolist() == pytest.approx(at, rel=1e-3)


def test_two_points_of_a_suction_that_no_lab_sets(tmp_path):
    path = written(tmp_path, "suction (mbar),VWC (%)\n0.01,37.8\n0.04,30\n")
    with pytest.raises(sw.InputError, match='confirm with suction_unit="bar"'):
        sw.read_retention(path)


def test_one_unit_is_enough_to_confirm_a_gravel(tmp_path):
    path = written(tmp_path, ASKED["kPa under cm"])
    assert sw.read_retention(path, suction_unit="cm").suction.tolist() == [1, 2, 3, 4]


@pytest.mark.parametrize(
    "title", ["Wetting branch", "Sorption curve", "Befeuchtungskurve", "Humectation"]
)
def test_a_sheet_of_the_wetting_branch_alone_is_refused_with_its_word(tmp_path, title):
    with pytest.raises(sw.InputError, match=title):
        sw.read_retention(written(tmp_path, f"{title}\nsuction (cm),VWC (%)\n{ROWS}"))


@pytest.mark.parametrize(
    ("drying", "wetting"),
    [
        ("Drying", "Wetting"),
        ("Entwässerungskurve", "Bewässerungskurve"),
        ("Drainage", "Humectation"),
        ("Secado", "Humectación"),
    ],
)
def test_wetting_points_of_a_sheet_are_taken(tmp_path, drying, wetting):
    text = f"suction (cm),VWC (%)\n{drying},\n{ROWS}{wetting},\n30,14\n20,18\n10,27\n"
    lab = sw.read_retention(written(tmp_path, text))
    assert lab.wetting_suction.tolist() == [30.0, 20.0, 10.0]
    assert lab.wetting_water_content.tolist() == pytest.approx([0.14, 0.18, 0.27])
    assert points(lab)[0] == points(sw.read_retention(written(tmp_path, ASKED_NOTHING)))[0]


ASKED_NOTHING = f"suction (cm),VWC (%)\n{ROWS}"


@pytest.mark.parametrize("sheet", ["both branches in a column", "both branches side by side"])
def test_wetting_points_beside_the_drying_ones_are_taken(tmp_path, sheet):
    lab = sw.read_retention(written(tmp_path, ONE_SAMPLE[sheet]))
    assert sorted(lab.wetting_suction)[0] == 10.0
    assert lab.wetting_water_content[lab.wetting_suction == 10.0] == pytest.approx([0.27])


def test_suctions_in_two_units_that_do_not_agree(tmp_path):
    text = "suction (cm),suction (kPa),VWC (%)\n10,1,37.8\n20,2,28.4\n30,4,19.4\n40,9,14\n"
    with pytest.raises(sw.InputError, match="do not agree"):
        sw.read_retention(written(tmp_path, text))


def test_a_frame_on_its_side_keeps_the_names_of_its_rows():
    import pandas as pd

    upright = pd.DataFrame({"suction (cm)": SUCTION, "VWC (cm3/cm3)": WATER})
    assert points(sw.read_retention(upright.T)) == (SUCTION, WATER)
