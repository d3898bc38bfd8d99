"""The checked retention table: what stops it, what it only remarks on, and what it echoes."""

import numpy as np
import pytest

import soilwater as sw
from soilwater.lab.retention import LAB_ERROR, RetentionTable
from soilwater.words.errors import InputError

SUCTION = [10.0, 20.0, 30.0, 40.0]
WATER = [0.378, 0.284, 0.194, 0.140]


def table(water=WATER, suction=SUCTION, **facts):
    return RetentionTable(suction, water, **facts)


def fault_of(**what):
    with pytest.raises(InputError) as caught:
        table(**what)
    return str(caught.value)


def test_units_are_taken_as_people_write_them():
    lab = table(
        suction=["1 kPa", "20 cm", "30 mbar", "40 cm"],
        water=["37.8 %", "28.4 %", "19.4 %", "14 %"],
        k_sat="14 in/h",
        bulk_density="1550 kg/m3",
    )
    # 1 kPa = 10.197 cm of water of 1000 kg/m3 (NIST SP 811, 2008, Appendix B.8).
    assert lab.suction[0] == pytest.approx(10.197, abs=1e-3)
    assert lab.water_content.tolist() == pytest.approx(WATER)
    assert lab.k_sat == pytest.approx(14 * 2.54)
    assert lab.bulk_density == pytest.approx(1.55)


def test_rows_are_sorted_by_suction_and_frozen():
    lab = table(suction=SUCTION[::-1], water=WATER[::-1])
    assert lab.suction.tolist() == SUCTION
    assert lab.water_content.tolist() == WATER
    with pytest.raises(ValueError, match="read-only"):
        lab.suction[0] = 5.0


def test_rising_water_content_names_both_rows():
    said = fault_of(water=[0.378, 0.194, 0.284, 0.140])
    assert "row 2 and row 3" in said
    assert "rises from 19.4 % at 20 cm to 28.4 % at 30 cm" in said
    assert "not possible on a drying test" in said
    assert "swapped rows" in said


def test_a_rise_in_small_steps_is_one_rise():
    # Each step is within lab error; all of them together are not.
    said = fault_of(water=[0.30, 0.325, 0.35, 0.375])
    assert "row 1 and row 4: water content rises from 30.0 % at 10 cm to 37.5 % at 40 cm" in said
    assert said.count("rises") == 1


def test_a_rise_within_lab_error_is_kept_and_said():
    lab = table(water=[0.400, 0.405, 0.36, 0.25])
    assert "rises from 40.0 % at 10 cm to 40.5 %" in lab.cautions[0]
    assert "within lab error" in lab.cautions[0]


def test_more_water_than_pores():
    said = fault_of(water=[0.42, 0.284, 0.194, 0.14], porosity=0.385)
    assert "row 1: water content 42.0 % at 10 cm exceeds the pore space 38.5 %" in said
    assert "check bulk and particle density" in said


def test_a_little_more_water_than_pores_is_lab_error():
    lab = table(porosity=0.37)
    assert "exceeds the pore space 37.0 %" in lab.cautions[0]


def test_density_against_porosity():
    said = fault_of(bulk_density=1.55, porosity=0.48)
    # 1 - 1.55 / 2.65 = 0.4151, by hand.
    assert "bulk density 1.55 does not agree with porosity 48 %" in said
    assert "1 - 1.55/2.65 = 41.5 %" in said
    assert "2.65 assumed" in said


def test_stated_particle_density_is_held_to_more():
    table(bulk_density=1.55, porosity=0.45)
    said = fault_of(bulk_density=1.55, porosity=0.45, particle_density=2.65)
    assert "assumed" not in said


def test_pore_space_from_densities():
    assert table(bulk_density=1.55).pore_space == pytest.approx(1 - 1.55 / 2.65)
    assert table(bulk_density=1.5, particle_density=2.5).pore_space == pytest.approx(0.4)
    assert table(bulk_density=1.55, porosity=0.42).pore_space == 0.42
    assert table().pore_space is None


def test_water_by_mass_passed_off_as_by_volume_is_remarked_on():
    # 25 % by mass at a bulk density of 1.6 is 40 % by volume, the whole pore space.
    lab = table(water=[0.25, 0.18, 0.12, 0.09], bulk_density=1.6)
    assert "per cent by mass, perhaps?" in lab.cautions[0]


def test_single_point_asks_for_the_others():
    lab = table(suction=[30.0], water=[0.194])
    assert "too wide for a depth decision" in lab.cautions[0]
    assert "ask the lab for 10, 20, 40 cm" in lab.cautions[0]


def test_duplicates_need_replicate_labels():
    said = fault_of(suction=[10, 20, 20, 40])
    assert "row 2 and row 3: suction 20 cm is measured twice (28.4 % and 19.4 %)" in said
    assert "replicate column" in said
    cores = table(suction=[10, 20, 10, 20], water=[0.38, 0.28, 0.37, 0.29], replicate=list("aabb"))
    assert cores.points.cores.tolist() == [2, 2]


def test_a_suction_measured_twice_is_averaged_within_lab_error_and_said():
    lab = table(suction=[10, 20, 20, 40], water=[0.38, 0.284, 0.294, 0.14])
    assert lab.points.water_content.tolist() == pytest.approx([0.38, 0.289, 0.14])
    assert lab.points.cores.tolist() == [1, 2, 1]
    assert any("measured twice" in note and "averaged" in note for note in lab.notes)
    # Two standard deviations of the difference of two measurements of 1 %: 2.83 %.
    said = fault_of(suction=[10, 20, 20, 40], water=[0.38, 0.284, 0.313, 0.14])
    assert "further apart than lab error" in said


def test_the_error_a_sheet_shares_is_read_and_bounded():
    assert table(sheet_error="1.5 %").sheet_error == pytest.approx(0.015)
    assert "sheet_error: -0.01" in fault_of(sheet_error=-0.01)


def test_points_average_replicates_and_pool_their_scatter():
    lab = table(
        suction=[10, 20, 10, 20, 10, 20],
        water=[0.38, 0.28, 0.36, 0.30, 0.40, 0.29],
        replicate=list("aabbcc"),
    )
    points = lab.points
    assert points.water_content.tolist() == pytest.approx([0.38, 0.29])
    # Sums of squares by hand: 2 * 0.02^2 and 2 * 0.01^2 with 2 + 2 degrees of freedom, and the
    # stated error with three.
    pooled = (8e-4 + 2e-4 + 3 * LAB_ERROR**2) / (4 + 3)
    assert points.standard_error.tolist() == pytest.approx([np.sqrt(pooled / 3)] * 2)


def test_without_replicates_the_stated_error_holds():
    assert table(lab_error=0.02).points.standard_error.tolist() == pytest.approx([0.02] * 4)


def test_slow_sand_is_remarked_on():
    lab = table(k_sat="0.1 in/h")
    assert "below 6 in/h: silt? compacted?" in lab.cautions[0]
    # The least that the USGA recommendations for putting greens ask for (from memory).
    assert "below 6 in/h" in table(k_sat="5.9 in/h").cautions[0]
    assert "below 6 in/h" not in " ".join(table(k_sat="6.1 in/h").cautions)


def test_everything_wrong_is_said_at_once():
    said = fault_of(
        suction=[-10.0, 20.0, 20.0, 40.0],
        water=[0.378, 0.25, 0.284, 0.0],
        bulk_density=0.1,
        organic_matter=-0.1,
        k_sat=-1.0,
        lab_error=0.0,
    )
    for part in (
        "row 1: suction -10 cm is negative",
        "row 4: water content 0",
        "measured twice",
        "bulk density 0.1",
        "organic matter -0.1",
        "saturated conductivity -1",
        "lab_error 0",
    ):
        assert part in said


def test_missing_is_not_zero():
    said = fault_of(water=[0.378, np.nan, 0.194, 0.14])
    assert "water_content: 1 of 4 values are missing" in said
    assert "first at [1]" in said


def test_per_cent_where_fractions_are_due():
    assert "per cent" in fault_of(water=[37.8, 28.4, 19.4, 14.0])


def test_lengths_must_agree():
    assert "4 suctions but 3 water contents" in fault_of(water=WATER[:3])


def test_echo_shows_both_units_and_every_remark():
    lab = table(k_sat="14 in/h", suction=[30.0], water=[0.194], sample="load <4>", notes=("seen",))
    text = repr(lab)
    for part in ("load <4>", "2.94", "19.4", "35.6 cm/h (14 in/h)", "understood: seen", "caution:"):
        assert part in text
    html = lab._repr_html_()
    assert "load &lt;4&gt;" in html
    assert "understood: seen" in html


# --- points of the wetting branch ---

DRYING = sw.VanGenuchten(0.03, 0.38, 0.045, 3.2, 30.0)
SUCTIONS = np.array([5.0, 10.0, 20.0, 30.0, 40.0, 60.0])


def rewetted_table(ratio, rewetted, wetted_at=(40.0, 30.0, 20.0, 10.0, 5.0)):
    truth = sw.Hysteretic(DRYING, ratio, rewetted)
    dried = sw.WettingHistory.flooded().then(60.0)
    return sw.RetentionTable(
        suction=SUCTIONS,
        water_content=DRYING.water_content(SUCTIONS),
        k_sat=30.0,
        lab_error=0.005,
        wetting_suction=wetted_at,
        wetting_water_content=[truth.water_content_after(dried.then(at)) for at in wetted_at],
    )


@pytest.mark.parametrize(("ratio", "rewetted"), [(1.25, 0.97), (2.0, 0.85)])
def test_wetting_points_say_how_a_sand_remembers(ratio, rewetted):
    # Made by another path (`Hysteretic.water_content_after`) from a core drained to 60 cm.
    fit = rewetted_table(ratio, rewetted).fit(sw.VanGenuchten, draws=64)
    likely = sw.likely_memories(fit, 64)
    expected = sw.likely_memories(DRYING, 64)
    drawn = np.array([each.suction_ratio for each in likely])
    assert np.median(drawn) == pytest.approx(ratio, rel=0.12)
    assert np.std(np.log(drawn)) < 0.5 * np.std([np.log(each.suction_ratio) for each in expected])
    filled = np.median([each.rewetted_saturation for each in likely])
    assert filled == pytest.approx(rewetted, abs=0.04)
    assert all("5 points of its wetting branch" in each.source for each in likely)


def test_without_wetting_points_the_prior_stands():
    table = rewetted_table(1.5, 0.9, wetted_at=())
    assert table.wetting_suction.size == 0
    assert "drawn from what sands were measured to do" in (
        sw.likely_memories(table.fit(sw.VanGenuchten, draws=50), 4)[0].source
    )


def test_a_wetting_branch_above_the_drying_one_is_refused():
    with pytest.raises(InputError, match=r"(?s)38\.0 % at 30 cm.*it lies above") as error:
        sw.RetentionTable(
            suction=SUCTIONS,
            water_content=DRYING.water_content(SUCTIONS),
            wetting_suction=[30.0, -5.0],
            wetting_water_content=[0.38, 0.2],
        )
    assert "a suction of -5 cm; allowed: 0 or more" in str(error.value)
    with pytest.raises(InputError, match="1 wetting suctions but 2 wetting water contents"):
        sw.RetentionTable(
            SUCTIONS, DRYING.water_content(SUCTIONS), wetting_suction=[9.0],
            wetting_water_content=[0.2, 0.3],
        )  # fmt: skip
