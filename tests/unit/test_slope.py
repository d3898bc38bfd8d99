"""Slope as centimetres of depth: against screening numbers, its bound, and its order."""

from dataclasses import replace

import pytest
from grounds import MIDDLE_MIX, STRAIGHT_SAND, WET_MIX

from soilwater.decisions.slope import slope_equivalent
from soilwater.lab.retention import RetentionTable
from soilwater.soils import VanGenuchten
from soilwater.soils.at_rest import rest_curve
from soilwater.words.cautions import (
    CAUTIONS,
    DANGERS,
    IN_A_LINE,
    caution_lines,
    cautions_for,
    slope_caution,
)
from soilwater.words.errors import InputError

SANDS = {
    "B": replace(MIDDLE_MIX, name="B"),
    "C": replace(WET_MIX, name="C"),
    "D": replace(STRAIGHT_SAND, name="D"),
}
# Drop of a crest's 7.6 cm reading [% by volume] 48 h after a soaking, below its own column: planar
# slope, 30 cm of sand, 10 m. From a separate coarse two-dimensional calculation of these invented
# sands: an order of magnitude, no reference solution.
TWO_DIMENSIONS = {
    "B": {0.01: 2.0, 0.02: 3.5, 0.03: 4.7, 0.05: 6.5},
    "C": {0.01: 2.3, 0.02: 4.1, 0.03: 5.7, 0.05: 8.0},
    "D": {0.01: 4.1, 0.02: 6.8, 0.03: 8.5, 0.05: 10.3},
}


@pytest.mark.parametrize("name", SANDS)
def test_the_crest_reads_as_in_two_dimensions(name):
    sand = SANDS[name]
    level = rest_curve(sand).reading(30.0, 7.6, 3.0)
    for slope, drop in TWO_DIMENSIONS[name].items():
        extra = slope_equivalent(sand, slope, "10 m", depth=30.0, base_suction=3.0)
        reads = rest_curve(sand).reading(30.0 + extra.best, 7.6, 3.0)
        assert 100.0 * (level - reads) == pytest.approx(drop, abs=0.3)
        assert extra.low <= extra.best <= extra.high <= extra.bound


# Level surface, 25 to 50 cm of sand over a floor that falls 25 cm in 10 m: drop of the shallow end
# [% by volume] in the same separate calculation.
@pytest.mark.parametrize(("name", "drop"), [("B", 5.5), ("C", 6.0), ("D", 10.9)])
def test_it_is_the_floor_that_counts_not_the_surface(name, drop):
    extra = slope_equivalent(SANDS[name], 0.025, "10 m", depth=25.0, base_suction=3.0)
    curve = rest_curve(SANDS[name])
    lost = curve.reading(25.0, 7.6, 3.0) - curve.reading(25.0 + extra.best, 7.6, 3.0)
    assert 100.0 * lost == pytest.approx(drop, abs=0.8)


def test_the_range_is_that_of_conductivities_as_sands_have_measured():
    # Measured at 5-30 cm of suction: 0.24 in log10 (Leij et al. 1996, Nemes et al. 2001), of which
    # four in five lie within a factor of two; its fall with suction, further out, adds little.
    sand = SANDS["B"]
    found = slope_equivalent(sand, 0.03, "10 m", depth=30.0)
    half, twice = (
        slope_equivalent(replace(sand, k_sat=times * sand.k_sat), 0.03, "10 m", depth=30.0).best
        for times in (0.5, 2.0)
    )
    assert found.low == pytest.approx(half, rel=0.1)
    assert found.high == pytest.approx(twice, rel=0.1)
    assert (found.low, found.high) != pytest.approx((half, twice), rel=1e-3)


def test_the_range_of_a_fit_is_that_of_its_sample():
    lab = RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat=40.0)
    ranges = [
        slope_equivalent(lab.fit(VanGenuchten, k_sat_error=error), 0.03, "10 m", depth=30.0)
        for error in (0.02, 0.24, 0.43)
    ]
    widths = [each.high - each.low for each in ranges]
    # The best sand is one; the less is known of what it conducts, the wider the range.
    assert len({each.best for each in ranges}) == 1
    assert widths == sorted(widths)
    assert widths[2] > 1.2 * widths[0] > 0.0


def test_a_metre_lower_is_worth_less_and_the_foot_nothing():
    at = [
        slope_equivalent(SANDS["C"], 0.03, "10 m", depth=30.0, from_crest=f"{metres} m").best
        for metres in (0, 1, 3, 10)
    ]
    assert at == sorted(at, reverse=True)
    # The separate calculation found "about half" a metre below the crest.
    assert 0.4 < at[1] / at[0] < 0.85
    assert at[-1] == 0.0


def test_it_grows_over_two_days():
    hours = [
        slope_equivalent(SANDS["B"], 0.04, "9 m", depth=30.0, hours=h).best
        for h in (0, 6, 24, 48, 96)
    ]
    assert hours == sorted(hours) and hours[0] == 0.0


def test_a_short_slope_ends_at_its_bound():
    # At rest the head is level: the suction rises by slope x length, and not further.
    settled = slope_equivalent(SANDS["D"], 0.02, "2 m", depth=30.0, hours="60 days")
    assert settled.best == pytest.approx(settled.bound, rel=0.03)
    assert settled.bound == pytest.approx(4.0)


def test_level_ground_has_no_equivalent():
    level = slope_equivalent(SANDS["B"], 0.0, "10 m", depth=30.0)
    assert (level.low, level.best, level.high, level.caution) == (0.0, 0.0, 0.0, "")


def test_the_caution_has_numbers_in_both_units():
    crest = slope_equivalent(SANDS["B"], "4 %", "9 m", depth="30 cm")
    assert f"behaves as if {crest.low:.1f} to {crest.high:.1f} cm (" in crest.caution
    assert "4.0 % (1:25)" in crest.caution and " in)" in crest.caution
    assert "never above 36.0 cm" in str(crest)
    assert slope_caution(0.004, 1.0, 2.0) == ""
    assert slope_caution(0.005, 1.0, 2.0)


def test_faults_at_once():
    with pytest.raises(InputError) as caught:
        slope_equivalent(SANDS["B"], "4", "0 m", depth=-30.0)
    for part in ('"4" has no unit', "length is 0", "depth is -30"):
        assert part in str(caught.value)
    with pytest.raises(InputError, match="from_crest is beyond the length"):
        slope_equivalent(SANDS["B"], 0.02, 900.0, depth=30.0, from_crest=1000.0)
    with pytest.raises(InputError, match=r"up to 0\.2"):
        slope_equivalent(SANDS["B"], 0.5, 900.0, depth=30.0)


def test_under_an_answer_stand_dangers_then_its_own_then_what_room_is_left_for():
    said = cautions_for("wilt", "accuracy", "salt", "backflow", "heat")
    shown = caution_lines((*said, "the curve ends at 40 cm"))
    assert shown == [
        f"caution: {IN_A_LINE['heat']}",
        f"caution: {IN_A_LINE['backflow']}",
        "caution: the curve ends at 40 cm",
        "cautions in full, 3 more of them: .cautions",
    ]
    assert caution_lines(cautions_for("wilt")) == [f"caution: {IN_A_LINE['wilt']}"]
    assert caution_lines(()) == []


def test_three_lines_are_the_most_and_one_is_of_this_answer_alone():
    own = [f"the crest at spot {i} behaves as if deeper" for i in range(7)]
    shown = caution_lines([*cautions_for(*DANGERS), *own])
    assert shown == [
        f"caution: {IN_A_LINE['heat']}",
        f"caution: {IN_A_LINE['backflow']}",
        "caution: the crest at spot 0 behaves as if deeper",
        f"cautions in full, {len(DANGERS) + 7 - 3} more of them: .cautions",
    ]
    assert [each for each in caution_lines(own) if "spot" in each] == [
        f"caution: {each}" for each in own[:3]
    ]
    assert len([each for each in caution_lines(cautions_for(*DANGERS)) if "caution:" in each]) == 3


def test_every_caution_fits_a_line_too():
    assert set(IN_A_LINE) == set(CAUTIONS) and set(DANGERS) <= set(CAUTIONS)
    assert max(map(len, IN_A_LINE.values())) <= 90


def test_cautions_are_chosen_by_topic():
    assert cautions_for("wilt", "label") == (CAUTIONS["wilt"], CAUTIONS["label"])
    with pytest.raises(InputError, match='"weather" is no topic'):
        cautions_for("weather")
    assert not any(sentence.endswith(".") for sentence in CAUTIONS.values())
