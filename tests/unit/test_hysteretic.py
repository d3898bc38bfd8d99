"""A soil that remembers: its two curves, its branches, and what it refuses."""

import math

import numpy as np
import pytest
from grounds import MIDDLE_MIX as SAND

import soilwater as sw
from soilwater import Hysteretic, WettingHistory
from soilwater.words.errors import InputError

FLOODED = WettingHistory.flooded()

# Computed apart from this package, by recursion over the turns with arbitrary precision, from the
# two main curves alone: E = F_d(d) [1 - F_w(w) / F_w(d)] (Mualem 1974, WRR 10:514).
PATH = [10.0, 25.0, 40.0, 20.0, 12.0, 18.0, 30.0, 15.0, 22.0, 40.0, 60.0, 5.0, 35.0]
HELD = [
    0.37769395, 0.23405758, 0.14019078, 0.1926554, 0.27499319, 0.24154629, 0.17384057,
    0.24160458, 0.20786979, 0.14019078, 0.09275027, 0.37978535, 0.15939233,
]  # fmt: skip


def test_a_path_holds_what_the_model_says():
    held = Hysteretic(SAND, 2.0).water_contents_along(PATH)
    np.testing.assert_allclose(held, HELD, rtol=0.0, atol=6e-9)


def test_a_loop_is_forgotten_once_it_is_passed():
    sand = Hysteretic(SAND, 1.7, 0.9)
    around = FLOODED.along([40.0, 20.0, 12.0, 18.0, 30.0, 15.0, 22.0, 40.0])
    assert around == FLOODED.then(40.0)
    assert around.turns == ()
    # The way back to a wet turn, too.
    assert FLOODED.along([40.0, 12.0, 30.0, 15.0, 22.0, 12.0]) == FLOODED.along([40.0, 12.0])
    assert sand.water_content_after(around) == sand.water_content(40.0)


def test_nothing_drifts_in_ten_thousand_cycles():
    sand = Hysteretic(SAND, 2.0, 0.9)
    for dry, wet in ((30.0, 20.0), (35.0, 3.0), (400.0, 90.0)):
        first = FLOODED.along([dry, wet])
        now = first
        for _ in range(10_000):
            now = now.then(dry).then(wet)
        assert now == first
        assert len(now.turns) == 1
        before, after = sand.water_content_after(first), sand.water_content_after(now)
        assert abs(after - before) < 1e-12


def test_oven_dry_sand_is_wetted_along_the_wetting_curve():
    sand = Hysteretic(SAND, 1.8, 0.9)
    for suction in (300.0, 60.0, 20.0, 5.0, 0.0):
        wetted = sand.water_content_after(WettingHistory.oven_dry().then(suction))
        assert wetted == pytest.approx(sand.wetting_water_content(suction), abs=1e-10)
    # The wetting curve is the drying one at smaller suctions.
    span = SAND.theta_s - SAND.theta_r
    filled = (0.9 * SAND.theta_s - SAND.theta_r) / span
    expected = SAND.theta_r + filled * (SAND.water_content(1.8 * 20.0) - SAND.theta_r)
    assert sand.wetting_water_content(20.0) == pytest.approx(expected, abs=1e-15)


def test_air_stays_trapped_the_more_the_drier_the_sand_was():
    sand = Hysteretic(SAND, 1.5, 0.88)
    filled = [sand.water_content_after(FLOODED.along([dry, 0.0])) for dry in (5.0, 15.0, 30.0, 1e6)]
    assert filled == sorted(filled, reverse=True)
    assert filled[0] < SAND.theta_s
    assert filled[-1] == pytest.approx(0.88 * SAND.theta_s, abs=1e-9)
    # Drained again, it joins the branch it came from.
    again = sand.water_content_after(FLOODED.along([30.0, 0.0, 30.0]))
    assert again == sand.water_content(30.0)


def test_without_difference_between_its_curves_it_is_the_soil_itself():
    sand = Hysteretic(SAND, 1.0)
    suctions = np.geomspace(0.1, 1e5, 50)
    np.testing.assert_array_equal(sand.water_content(suctions), SAND.water_content(suctions))
    np.testing.assert_array_equal(sand.conductivity(suctions), SAND.conductivity(suctions))
    assert not sand.remembers
    held = sand.water_contents_along(PATH)
    np.testing.assert_array_equal(held, SAND.water_content(np.array(PATH)))


def test_it_tends_to_the_soil_itself_in_proportion():
    curve = SAND.water_content(np.array(PATH))
    off = [
        np.abs(Hysteretic(SAND, 1.0 + each).water_contents_along(PATH) - curve).max()
        for each in (1e-3, 1e-4, 1e-5)
    ]
    assert off[0] / off[1] == pytest.approx(10.0, rel=0.01)
    assert off[1] / off[2] == pytest.approx(10.0, rel=0.01)


def test_curves_asked_of_it_are_those_of_drying():
    sand = Hysteretic(SAND, 1.6, 0.9)
    assert sand.water_content(30.0) == SAND.water_content(30.0)
    assert sand.suction_at(0.2) == SAND.suction_at(0.2)
    assert sand.capacity(30.0) == SAND.capacity(30.0)
    assert (sand.theta_r, sand.theta_s, sand.k_sat) == (SAND.theta_r, SAND.theta_s, SAND.k_sat)
    assert sand.dry_end_water_content == SAND.theta_r


def test_it_tells_what_it_holds_on_either_curve():
    told = repr(Hysteretic(SAND, 1.6, 0.9))
    assert "ratio of drying to wetting suctions" in told
    assert "saturation when rewetted" in told
    assert "drained from saturation it holds" in told
    assert "wetted from dry" in told


def test_it_comes_back_from_text():
    for soil in (SAND, sw.WithDryEnd(SAND), sw.BrooksCorey(0.03, 0.4, 20.0, 3.0, 40.0)):
        sand = Hysteretic(soil, 1.6, 0.9, name="greens mix")
        assert sw.soils.soil_from_dict(sand.to_dict()) == sand


def test_two_fitted_curves_make_one():
    drains = sw.VanGenuchten(0.05, 0.40, 0.04, 3.0, 40.0, name="mix")
    fills = sw.VanGenuchten(0.05, 0.36, 0.068, 3.0, 40.0)
    sand = Hysteretic.from_curves(drains, fills)
    assert sand.suction_ratio == pytest.approx(1.7)
    assert sand.rewetted_saturation == pytest.approx(0.9)
    assert sand.name == "mix"
    suctions = np.geomspace(1.0, 300.0, 20)
    np.testing.assert_allclose(
        sand.wetting_water_content(suctions), fills.water_content(suctions), atol=1e-12
    )


def test_curves_in_each_others_place_are_told():
    with pytest.raises(InputError, match=r"wetting curve holds .* it lies above.*each other's"):
        Hysteretic.from_curves(
            sw.VanGenuchten(0.05, 0.40, 0.07, 3.0, 40.0),
            sw.VanGenuchten(0.05, 0.40, 0.04, 3.0, 40.0),
        )


def test_curves_of_another_steepness_are_told_with_the_parameter():
    with pytest.raises(InputError, match=r"n=4\.5 and 5.*F_d / F_w would fall.*one steepness"):
        Hysteretic.from_curves(
            sw.VanGenuchten(0.05, 0.40, 0.04, 4.5, 40.0),
            sw.VanGenuchten(0.05, 0.40, 0.05, 5.0, 40.0),
        )


def test_the_condition_of_the_model_is_named():
    mat = sw.TwoComponent(0.05, 0.60, 0.1, 3.0, 0.4, 0.004, 1.6, 15.0)
    with pytest.raises(InputError, match=r"suction_ratio=2 .*F_d / F_w.*allowed:.*fit one pore"):
        Hysteretic(mat, 2.0)


def test_what_cannot_be_is_refused_all_at_once():
    with pytest.raises(InputError) as error:
        Hysteretic(SAND, 0.8, 1.2)
    told = str(error.value)
    assert "suction_ratio=0.8; allowed: at least 1; write 1.25: the suctions of drying" in told
    assert "rewetted_saturation=1.2; allowed: above 0 and at most 1" in told
    with pytest.raises(InputError, match=r"below theta_r.*allowed: above"):
        Hysteretic(SAND, 1.5, 0.05)
    with pytest.raises(InputError, match="a Hysteretic cannot be given a memory"):
        Hysteretic(Hysteretic(SAND, 1.5), 1.5)
    with pytest.raises(InputError, match="a float cannot be given a memory"):
        Hysteretic(3.0, 1.5)


def test_what_may_be_meant_is_said_and_works():
    with pytest.raises(InputError, match=r'rewetted_saturation=85;.*write "85 %" for 85 %'):
        Hysteretic(SAND, 1.5, 85)
    assert Hysteretic(SAND, 1.5, "85 %").rewetted_saturation == 0.85
    with pytest.raises(InputError, match=r"Hysteretic cannot.*give the soil in it, \.soil"):
        Hysteretic(Hysteretic(SAND, 1.5), 1.5)
    # Wetter when full, whatever it holds below.
    with pytest.raises(InputError, match=r"holds 0\.41 at 0 cm.*drying curve 0\.4: it lies above"):
        Hysteretic.from_curves(
            sw.VanGenuchten(0.05, 0.40, 0.04, 3.0, 40.0),
            sw.VanGenuchten(0.05, 0.41, 0.06, 3.0, 40.0),
        )


def test_a_history_is_a_nest():
    assert WettingHistory((40.0, 15.0), 22.0) == FLOODED.along([40.0, 15.0, 22.0])
    with pytest.raises(InputError, match=r"turn 2 is 50 cm.*allowed: -inf to 40 cm"):
        WettingHistory((40.0, 50.0), 45.0)
    with pytest.raises(InputError, match=r"the suction is 41 cm.*allowed: 15 to 40 cm"):
        WettingHistory((40.0, 15.0), 41.0)
    assert FLOODED.then("3 kPa").suction == pytest.approx(30.6, abs=0.1)


def test_likely_memories_are_what_sands_were_measured_to_do():
    likely = sw.likely_memories(SAND, 200)
    ratios = np.array([each.suction_ratio for each in likely])
    rewetted = np.array([each.rewetted_saturation for each in likely])
    # Ten sands with both branches: 1.12-2.02, median 1.44 (Leij et al. 1996, EPA/600/R-96/095).
    assert np.median(ratios) == pytest.approx(1.5, abs=0.01)
    low, high = np.quantile(ratios, [0.05, 0.95])
    assert math.sqrt(low * high) == pytest.approx(1.5, abs=0.01)
    assert 1.05 < low < 1.12 < 2.02 < high < 2.3
    assert ratios.min() >= 1.0
    assert rewetted.mean() == pytest.approx(0.9, abs=0.005)
    assert rewetted.std() == pytest.approx(0.06, abs=0.005)
    assert rewetted.max() <= 1.0
    assert abs(np.corrcoef(ratios, rewetted)[0, 1]) < 0.2
    assert all("not measured" in each.source for each in likely)
    assert sw.likely_memories(SAND, 200) == likely
    with pytest.raises(InputError, match="draws is 0"):
        sw.likely_memories(SAND, 0)


def test_round_off_near_saturation_breaks_no_condition():
    for n in (3.0, 6.0, 9.0, 12.0):
        steep = sw.VanGenuchten(0.04, 0.36, 0.043, n, 40.0)
        assert Hysteretic(steep, 1.4511, 0.9).remembers
        assert Hysteretic(steep, 2.2).remembers


def test_a_contact_angle_moves_the_wetting_curve_and_leaves_the_drying_one():
    """Young and Laplace: the pull of a pore goes with the cosine of the angle."""
    sand = Hysteretic(SAND, 1.5, 0.9)
    for angle, times in ((0.0, 1.0), (60.0, 2.0), (75.0, 3.8637), (84.0, 9.5668)):
        harder = sand.at_contact_angle(angle)
        at = np.array([1.0, 5.0, 20.0])
        wet = sand.wetting_water_content(times * at)
        np.testing.assert_allclose(harder.wetting_water_content(at), wet, atol=1e-5)
        np.testing.assert_array_equal(harder.water_content(at), sand.water_content(at))


@pytest.mark.parametrize("angle", [85.0, 90.0, 110.0, -1.0, math.nan, math.inf])
def test_an_angle_that_leaves_no_wetting_curve_is_refused(angle):
    with pytest.raises(InputError, match=r"contact_angle.*allowed: 0 up to below 85") as caught:
        Hysteretic(SAND, 1.5).at_contact_angle(angle)
    assert ("repellent_patches(case, 0.6)" in str(caught.value)) == (angle >= 85.0)


def test_an_angle_in_words_is_told_how_to_be_written():
    with pytest.raises(InputError, match=r"allowed: a number of degrees, such as 60.0"):
        Hysteretic(SAND, 1.5).at_contact_angle("60 deg")
