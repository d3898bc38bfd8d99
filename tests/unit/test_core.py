"""Cores of a finite height: what a curve holds over them, and which level their suctions mean."""

import numpy as np
import pytest
from scipy.integrate import quad

from soilwater.lab.core import Core
from soilwater.lab.retention import RetentionTable
from soilwater.lab.sheet import read_retention
from soilwater.lab.sheet_words import level_of
from soilwater.soils import BrooksCorey, VanGenuchten
from soilwater.words.errors import InputError

SAND = VanGenuchten(theta_r=0.045, theta_s=0.40, alpha=0.047, n=3.6, k_sat=40.0)
SUCTION = [10.0, 20.0, 30.0, 40.0]
TABLE = {"suction (cm)": SUCTION, "VWC (%)": [37.8, 28.4, 19.4, 14.0]}


@pytest.mark.parametrize(("level", "lowest"), [("base", 20.0), ("middle", 16.2), ("top", 12.4)])
def test_the_mean_over_a_core_is_the_integral_over_its_height(level, lowest):
    held = Core(7.6, level).mean(SAND.water_content, np.array([20.0]))
    integral = quad(lambda z: float(SAND.water_content(lowest + z)), 0.0, 7.6)[0] / 7.6
    assert held == pytest.approx([integral], rel=1e-9)


def test_a_kink_at_air_entry_within_the_core():
    sand = BrooksCorey(
        theta_r=0.05, theta_s=0.40, entry_suction=14.0, pore_size_index=2.0, k_sat=40
    )
    held = Core(7.6, "base").mean(sand.water_content, np.array([10.0]))
    integral = quad(lambda z: float(sand.water_content(10.0 + z)), 0.0, 7.6, points=[4.0])[0] / 7.6
    assert held == pytest.approx([integral], abs=5e-4)


def test_many_curves_at_once_keep_their_order():
    def curves(suction):
        return np.stack([SAND.water_content(suction), 0.5 * SAND.water_content(suction)])

    both = Core(7.6, "base").mean(curves, np.array(SUCTION))
    one = Core(7.6, "base").mean(SAND.water_content, np.array(SUCTION))
    assert both == pytest.approx(np.stack([one, 0.5 * one]))


def test_without_a_height_the_mean_is_the_curve_and_a_soaked_core_is_saturated():
    at = np.array([0.0, *SUCTION])
    assert np.array_equal(Core().mean(SAND.water_content, at), SAND.water_content(at))
    for level in ("base", "middle", "top"):
        assert Core(7.6, level).mean(SAND.water_content, at)[0] == pytest.approx(0.40)


def test_suctions_at_mid_height_hardly_matter_and_at_the_base_do():
    # Jalbert & Dane 2001, Soil Sci. Soc. Am. J. 65:648 (abstract): finite cores need correction.
    at = np.array([20.0, 30.0, 40.0])
    middle = Core(7.6, "middle").mean(SAND.water_content, at) - SAND.water_content(at)
    base = Core(7.6, "base").mean(SAND.water_content, at) - SAND.water_content(at)
    assert np.abs(middle).max() < 0.003
    assert base.min() < -0.025


def test_a_sheet_without_a_level_says_what_it_may_be_worth_once():
    lab = read_retention(TABLE)
    assert lab.core == Core(0.0, "middle")
    (caution,) = lab.cautions
    assert "up to 3.6 % by volume more" in caution
    assert 'core_height="7.6 cm" and suction_level="base"' in caution
    assert read_retention(TABLE, core_height="7.6 cm", suction_level="base").cautions == ()
    assert read_retention(TABLE, suction_level="middle").cautions == ()


def test_a_level_of_the_base_without_a_height_asks_for_the_height():
    (caution,) = read_retention(TABLE, suction_level="base").cautions
    assert caution.startswith("the lab does not say the core height")


@pytest.mark.parametrize(
    ("lines", "height", "level"),
    [
        ("Core height: 7.6 cm\nSuction at the base of the core\n", 7.6, "base"),
        ("Core height (mm);51\nSuction level; mid-height\n", 5.1, "middle"),
        ("Ring height: 3 in\nTensions refer to the bottom of the ring\n", 7.62, "base"),
        ("Zylinderhöhe;4 cm\nWasserspannung in der Probenmitte\n", 4.0, "middle"),
        ("Hauteur du cylindre;5 cm\nSuccion à la base du cylindre\n", 5.0, "base"),
        ("Altura del cilindro;5 cm\nSucción en la base del cilindro\n", 5.0, "base"),
        ("Cores 3 in high; water table at the core bottom\n", 7.62, "base"),
        ("Core dimensions: 5.1 cm high x 5 cm diameter\nReference: mid-height\n", 5.1, "middle"),
        ("Rings: height 51 mm\nZero at half height of the rings\n", 5.1, "middle"),
        ("Core height;cm;7.6\nPotential at sample centre\n", 7.6, "middle"),
        ("Cores compacted by 15 drops of a hammer from 30 cm height\n", None, None),
        ("Sand from the top of the pile; suction plate\n", None, None),
    ],
)
def test_height_and_level_are_read_from_the_sheet(tmp_path, lines, height, level):
    path = tmp_path / "sheet.csv"
    rows = "".join(f"{h};{w}\n" for h, w in zip(*TABLE.values(), strict=True))
    path.write_text(f"{lines}suction (cm);VWC (%)\n{rows}", encoding="utf-8")
    lab = read_retention(path)
    assert lab.suction_level == level
    assert lab.core_height == (None if height is None else pytest.approx(height))


def test_what_the_person_states_goes_before_the_sheet():
    sheet = TABLE | {"core height (cm)": [7.6] * 4}
    lab = read_retention(sheet, core_height="3 in", suction_level="top")
    assert lab.core == Core(7.62, "top")


@pytest.mark.parametrize(
    ("height", "level", "words"),
    [
        ("30 cm", "middle", "base 5 cm under water; allowed: a height up to 20 cm"),
        ("12 cm", "top", "base 2 cm under water; allowed: a height up to 10 cm"),
        ("30 cm", None, 'say suction_level="base"'),
        ("2 m", "base", "allowed: 0 to 100 cm"),
        (-1.0, "base", "allowed: 0 to 100 cm"),
        ("7.6 cm", "foot", 'allowed: "base", "middle", "top"; such as suction_level="base"'),
        ("7.6 cm", "rim", 'such as suction_level="middle"'),
    ],
)
def test_a_core_higher_than_its_suctions_allow_is_refused(height, level, words):
    with pytest.raises(InputError, match=words):
        read_retention(TABLE, core_height=height, suction_level=level)


def test_the_cure_of_a_core_under_water_works_when_pasted():
    assert read_retention(TABLE, core_height="30 cm", suction_level="base").core.height == 30.0


def test_a_table_made_by_hand_carries_its_core():
    lab = RetentionTable(SUCTION, [0.378, 0.284, 0.194, 0.14], core_height="3 in",
                         suction_level="base")  # fmt: skip
    assert lab.core == Core(7.62, "base")
    assert "cores 7.62 cm high, suctions at their base" in repr(lab)


@pytest.mark.parametrize(
    "text",
    [
        "Tension table",
        "Sand from the base layer",
        "Top dressing sand",
        "Reference lab: Middle Green",
        "Reference: Top Turf",
        "Sampled at the middle green, reference number 7",
        "Reference sand taken at the base of green 4",
    ],
)
def test_other_lines_name_no_level(text):
    assert level_of(text) == ""
