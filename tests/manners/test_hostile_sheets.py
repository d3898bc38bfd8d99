"""Lab sheets of every ordinary arrangement: read right, or asked about with a cure that works.

Each sheet holds the same measurements, written as labs write them; what was once misread has its
reason beside it.
"""

import re

import numpy as np
import pytest

import soilwater as sw
from tests.cures import cures_in

SUCTION, WATER = [10.0, 20.0, 30.0, 40.0], [0.378, 0.284, 0.194, 0.140]
OTHER = [0.40, 0.36, 0.30, 0.22]
IN_KPA = 10.1972  # cm of water (NIST SP 811, 2008, Appendix B.8)
ROWS = "10,37.8\n20,28.4\n30,19.4\n40,14\n"
IN_BAR = "0.01,37.8\n0.02,28.4\n0.03,19.4\n0.04,14\n"
TWO = "10,37.8,40\n20,28.4,36\n30,19.4,30\n40,14,22\n"


def written(tmp_path, text):
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def points(lab):
    """Mean water content of each suction."""
    return lab.points.suction.tolist(), lab.points.water_content.tolist()


# --- one sample, arranged in every way ---

ONE_SAMPLE = {
    "columns in bar": f"suction (bar),VWC (%)\n{IN_BAR}",
    "columns in mbar": f"suction (mbar),VWC (%)\n{ROWS}",
    "columns in MPa": "suction (MPa),VWC (%)\n.001,37.8\n.002,28.4\n.003,19.4\n.004,14\n",
    "a column of units": "suction,unit,VWC (%)\n"
    + "".join(f"{h},kPa,{w}\n" for h, w in [(1, 37.8), (2, 28.4), (3, 19.4), (4, 14)]),
    "values named by their units alone": "value,unit,VWC,unit\n"
    + "".join(f"{h},kPa,{w},%\n" for h, w in [(1, 37.8), (2, 28.4), (3, 19.4), (4, 14)]),
    "energy by mass": "potential (J/kg),VWC (%)\n-1,37.8\n-2,28.4\n-3,19.4\n-4,14\n",
    "mercury": "suction (mm Hg),VWC (%)\n7.36,37.8\n14.71,28.4\n22.07,19.4\n29.42,14\n",
    "a column of units for each": "suction,suction unit,water content,unit\n"
    + "".join(f"{row},cm,{w},% by volume\n" for row, w in
              [(10, 37.8), (20, 28.4), (30, 19.4), (40, 14)]),
    "suctions along the top": "suction (cm),10,20,30,40\nVWC (%),37.8,28.4,19.4,14\n",
    "water contents at suctions": "VWC at 10 cm (%),VWC at 20 cm (%),VWC at 30 cm (%),"
    "VWC at 40 cm (%)\n37.8,28.4,19.4,14\n",
    "suctions in compact names": "WC_10cm (% vol),WC_20cm (% vol),WC_30cm (% vol),WC_40cm (% vol)\n"
    "37.8,28.4,19.4,14\n",
    "suctions along the top, cores and their mean": "Core,VWC (%) at 10 cm,VWC (%) at 20 cm,"
    "VWC (%) at 30 cm,VWC (%) at 40 cm\n1,37.6,28.4,19.3,14\n2,38.0,28.4,19.5,14\n"
    "Mean,37.8,28.4,19.4,14\nSD,.3,0,.1,0\n",
    "rows named like columns": "point,1,2,3,4\nsuction (cm),10,20,30,40\n"
    "VWC (%),37.8,28.4,19.4,14\n",
    "a fact below suctions along the top": "suction (cm);10;20;30;40\nVWC (%);37,8;28,4;19,4;14,0\n"
    "bulk density (g/cm3);1,55;;;\n",
    "columns of fixed width": "suction (cm)   VWC (%)\n10      37.8\n20      28.4\n30      19.4\n"
    "40      14.0\n",
    "capitals": "PRESSURE (PSI),MOISTURE (% BY VOLUME)\n.1422,37.8\n.2845,28.4\n"
    ".4267,19.4\n.5689,14\n",
    "one name in three spellings": "sample,suction (cm),VWC (%)\nMix A,10,37.8\nmix a,20,28.4\n"
    "Mix  A,30,19.4\nMIX A,40,14\n",
    "names over two lines": f"Suction,Water\n,content\n(cm),(% by volume)\n{ROWS}",
    "merged names over replicates": "suction,VWC (%),\n(cm),rep 1,rep 2\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "numbers of cores under one name": "suction (cm),VWC (%),VWC (%)\n,core 1,core 2\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "scatter within cells": "suction (cm),VWC (%)\n10,37.8 ± 0.5\n20,28.4 +/- 0.5\n30,19.4 ± 0.4\n"
    "40,14.0 ± 0.3\n",
    "replicates by letter": "suction (cm),Rep A (% vol),Rep B (% vol)\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "replicates by number alone": "suction (cm),VWC 1 (%),VWC 2 (%)\n"
    "10,37.6,38.0\n20,28.4,28.4\n30,19.3,19.5\n40,14,14\n",
    "mean and scatter beside replicates": "suction (cm),VWC rep 1 (%),VWC rep 2 (%),mean VWC (%),SD"
    "\n10,37.6,38.0,37.8,.3\n20,28.4,28.4,28.4,0\n30,19.3,19.5,19.4,.1\n40,14,14,14,0\n",
    "mean and scatter alone": "suction (cm),mean VWC (%),SD (%),n\n"
    "10,37.8,.8,3\n20,28.4,.9,3\n30,19.4,1.1,3\n40,14,.7,3\n",
    "means below replicates": "core,suction (cm),VWC (%)\n"
    + "".join(f"{core},{row}\n" for core in (1, 2) for row in ROWS.split())
    + "mean,10,20\nSD,10,1\n",
    "a total below": f"suction (cm),VWC (%)\n{ROWS}mean,24.9\n",
    "an oven-dry row": f"suction (cm),VWC (%)\n{ROWS}oven dry,0\n",
    "both branches in a column": "branch,suction (cm),VWC (%)\n"
    + "".join(f"drying,{row}\n" for row in ROWS.split())
    + "wetting,30,14\nwetting,20,18\nwetting,10,27\n",
    "main branches": "curve,suction (cm),VWC (%)\n"
    + "".join(f"main drying,{row}\n" for row in ROWS.split())
    + "REWET,30,14\nREWET,20,18\nREWET,10,27\n",
    "both branches side by side": "suction (cm),VWC drying (%),VWC wetting (%)\n"
    "10,37.8,27\n20,28.4,18\n30,19.4,14\n40,14,12\n",
    "both branches under headings": f"suction (cm),VWC (%)\nDrying,\n{ROWS}Wetting,\n30,14\n"
    "10,27\n",
    "a word that holds sorption": f"Desorption curve\nsuction (cm),VWC (%)\n{ROWS}",
    "an apparatus and an agent": f"Water sorption apparatus\nMix with wetting agent\n"
    f"suction (cm),VWC (%)\n{ROWS}",
    "a logger": '"TOA","lab","mix","x"\n"TIMESTAMP","RECORD","suction","vwc"\n'
    '"TS","RN","cm","m3/m3"\n"","","Avg","Avg"\n'
    '"2025-07-01 00:00",1,10,.378\n"2025-07-01 01:00",2,20,.284\n'
    '"2025-07-01 02:00",3,30,.194\n"2025-07-01 03:00",4,40,.14\n',
    "a logger that gives kinds before units": "suction,vwc\nAvg,Avg\ncm,m3/m3\n10,.378\n20,.284\n"
    "30,.194\n40,.14\n",
    "suction in two units": "suction (cm),suction (kPa),VWC (%)\n"
    "10,.98,37.8\n20,1.96,28.4\n30,2.94,19.4\n40,3.92,14\n",
    "by mass beside by volume": "suction (cm),gravimetric water (%),volumetric water (%)\n"
    "10,24.4,37.8\n20,18.3,28.4\n30,12.5,19.4\n40,9,14\n",
    "a degree of saturation and millimetres beside": "suction (cm),water (mm),VWC (%),degree of "
    "saturation (%)\n10,38,37.8,95\n20,28,28.4,71\n30,19,19.4,48\n40,14,14,35\n",
    "dashes for not measured": f"suction (cm),VWC (%)\n{ROWS}60,---\n",
    "German": "Probe;Saugspannung (hPa);Wassergehalt (Vol.-%)\nA;10;37,8\nA;20;28,4\nA;30;19,4\n"
    "A;40;14,0\n",
    "German logarithm": "pF-Wert;Wassergehalt [Vol.-%]\n1;37,8\n1,30103;28,4\n1,47712;19,4\n"
    "1,60206;14,0\n",
    "German water column": "Matrixpotenzial (cm WS);Vol.-% Wasser\n-10;37,8\n-20;28,4\n-30;19,4\n"
    "-40;14,0\n",
    "French": "Échantillon;Pression (cm d'eau);Teneur en eau volumique (%)\nA;10;37,8\nA;20;28,4\n"
    "A;30;19,4\nA;40;14,0\n",
    "French potential": "Potentiel matriciel (hPa);Humidité volumique (%)\n-10;37,8\n-20;28,4\n"
    "-30;19,4\n-40;14,0\n",
    "a bound at the dry end": f"suction (cm),VWC (%)\n{ROWS}500,<2\n>15000,1\n600,less than 1.5\n",
    "a suction with the words of water": "soil moisture tension (kPa),VWC (%)\n"
    ".98,37.8\n1.96,28.4\n2.94,19.4\n3.92,14\n",
    "a potential of water": "water potential (kPa),VWC (%)\n-.98,37.8\n-1.96,28.4\n-2.94,19.4\n"
    "-3.92,14\n",
    "a logarithm that says of what": "log10 h (kPa),theta\n-.00851,.378\n.29252,.284\n.46861,.194\n"
    ".59355,.14\n",
    "a logarithm of h": "log h,theta\n1,.378\n1.30103,.284\n1.47712,.194\n1.60206,.14\n",
    "a hanging column": f"hanging water column (cm),VWC (%)\n{ROWS}",
    "one unit by two names": f"hPa / cm WS;Vol.-%\n{ROWS.replace(',', ';')}",
    "matric head with a mark": "ψm [kPa],θv [-]\n-.98,.378\n-1.96,.284\n-2.94,.194\n-3.92,.14\n",
    "a head between bars": f"|h| [cm],θ [%]\n{ROWS}",
    "wide brackets": f"suction（cm）,VWC（％）\n{ROWS}",
    "pores that hold water and pores of air": "suction (cm),air-filled porosity (%),capillary "
    "porosity (%)\n10,2.2,37.8\n20,11.6,28.4\n30,20.6,19.4\n40,26,14\n",
    "pores of air alone": "Total porosity: 40 %\nsuction (cm),air-filled porosity (%)\n10,2.2\n"
    "20,11.6\n30,20.6\n40,26\n",
    "litres in a cubic metre": "suction (cm),water (L/m3)\n10,378\n20,284\n30,194\n40,140\n",
    "millimetres in a decimetre": f"suction (cm),water (mm/100 mm)\n{ROWS}",
    "grams to a kilogram": "Bulk density: 1.6 g/cm3\nsuction (cm),water (g/kg)\n10,236.25\n"
    "20,177.5\n30,121.25\n40,87.5\n",
    "parts in a thousand": "suction (cm),water content (‰ vol)\n10,378\n20,284\n30,194\n40,140\n",
    "letters for branches": "D/W,suction (cm),VWC (%)\n"
    + "".join(f"D,{row}\n" for row in ROWS.split())
    + "W,30,14\nW,20,18\nW,10,27\n",
    "a workbook's word for nothing": f"suction (cm),VWC (%)\n{ROWS}60,#N/A\n90,#NV\n",
    "pounds in a cubic foot": "Dry density: 98.6 pcf\nsuction (cm),water (g/g)\n"
    "10,0.23932828700\n20,0.17981278706\n"
    "30,0.12282986158\n40,0.08864010629\n",
    "Spanish": "Muestra;Succión (cm);Contenido volumétrico de agua (%)\nA;10;37,8\nA;20;28,4\n"
    "A;30;19,4\nA;40;14,0\n",
    "Spanish potential": "Potencial mátrico (cm c.a.);Humedad (% en volumen)\n-10;37,8\n-20;28,4\n"
    "-30;19,4\n-40;14,0\n",
}  # fmt: skip


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
