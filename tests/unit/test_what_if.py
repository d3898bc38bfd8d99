"""Before and after: each change against what it must be equal to."""

from dataclasses import replace

import numpy as np
import pytest

from soilwater.decisions.spots.expected import expected_reading
from soilwater.decisions.watering.changes import (
    blocked_outlet,
    irrigate,
    other_sand,
    regrade,
    remove_mat,
    topdress,
    wetting_agent,
)
from soilwater.decisions.watering.repellent_spots import wettable
from soilwater.decisions.watering.situations import Situation
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.decisions.watering.what_if import what_if
from soilwater.ground.base import CapillaryBreak, WaterTable
from soilwater.ground.layer import Layer
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.case import Case
from soilwater.runs.meter import meter_reading
from soilwater.runs.repellent import Repellency, repellent_patches
from soilwater.runs.simulate import simulate_many
from soilwater.runs.transect import Transect
from soilwater.soils import BrooksCorey, Hysteretic, Kosugi, TwoComponent, VanGenuchten, WithDryEnd
from soilwater.soils.scaling import with_suction_scaled
from soilwater.survey.drops import DropTests
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.made import steady_weather
from soilwater.words.errors import InputError

MIX = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
STRAIGHT = VanGenuchten(0.025, 0.37, 0.041, 4.5, 60.0, name="straight sand")
MAT = TwoComponent(0.05, 0.60, 0.10, 3.0, 0.4, 0.004, 1.6, 15.0)
TURF = Turf("15 cm", fraction_above=(0.9, "10 cm"))
LINES = Thresholds("18 %", "14 %", "12 %")
TEN_DAYS = steady_weather(10, "5 mm/day")
POCKET = Profile.over_gravel(MIX, 46.0, base_suction=3.0)


def table(profile, *changes, weather=TEN_DAYS, **more):
    return what_if(profile, weather, TURF, LINES, changes, rod=7.6, **more).outcomes


def test_taking_out_a_deep_pocket_gives_back_reading_and_days():
    """An independent screening calculation: 46 to 38 cm gives 15.7 to 19.6 %, and 12 % on day 8.5
    instead of 4.5 (good to about a day)."""
    before, after = table(POCKET, regrade("38 cm"))
    assert 100 * before.drained == pytest.approx(15.7, abs=0.3)
    assert 100 * after.drained == pytest.approx(19.6, abs=0.3)
    assert before.wilt == pytest.approx(4.5, abs=1.1)
    assert after.wilt == pytest.approx(8.5, abs=1.1)
    assert after.notes == ("-8.0 cm of root zone",)


def test_regraded_to_its_own_depth_nothing_changes():
    before, after = table(POCKET, regrade(46.0))
    assert (after.drained, after.wilt) == (before.drained, before.wilt)


def test_topdressing_of_the_same_sand_is_a_deeper_root_zone():
    _, dressed, deeper = table(POCKET, topdress(MIX, "4 cm"), regrade(50.0))
    assert dressed.drained == pytest.approx(deeper.drained, abs=1e-12)
    assert dressed.wilt == pytest.approx(deeper.wilt, abs=1e-9)


def test_topdressing_with_another_sand_is_a_layer_of_its_own():
    before, dressed = table(POCKET, topdress(STRAIGHT, 4.0))
    layered = Profile(
        (Layer(STRAIGHT, 4.0, "topdressing"), Layer(MIX, 46.0, "root zone")), CapillaryBreak(3.0)
    )
    assert dressed.drained == pytest.approx(table(layered)[0].drained, abs=1e-12)
    assert dressed.drained < before.drained


def test_a_mat_that_is_removed_leaves_the_root_zone_below():
    matted = Profile((Layer(MAT, 3.0, "mat"), Layer(MIX, 30.0, "root zone")), CapillaryBreak(3.0))
    before, after = table(matted, remove_mat())
    assert after.drained == pytest.approx(
        table(Profile.over_gravel(MIX, 30.0, base_suction=3.0))[0].drained, abs=1e-12
    )
    assert before.drained > after.drained


def test_the_other_sand_reads_as_it_does_on_its_own():
    _, after = table(POCKET, other_sand(STRAIGHT))
    alone = table(Profile.over_gravel(STRAIGHT, 46.0, base_suction=3.0))[0]
    assert after.name == "root zone of straight sand"
    assert (after.drained, after.wilt) == (alone.drained, alone.wilt)


@pytest.mark.parametrize(
    ("depth", "free", "flooded"), [(18.0, 6.1, 1.3), (22.0, 9.6, 3.2), (26.0, 13.3, 6.1)]
)
def test_water_standing_at_the_base_takes_the_air(depth, free, flooded):
    """An independent screening calculation for the top 7.6 cm: air left, per cent by volume."""
    before, after = table(Profile.over_gravel(MIX, depth, base_suction=3.0), blocked_outlet("5 cm"))
    assert 100 * before.air_filled == pytest.approx(free, abs=0.5)
    assert 100 * after.air_filled == pytest.approx(flooded, abs=0.5)


def test_water_that_stands_is_drawn_down_and_not_made_up():
    """Mass: what the turf takes is all that changes, and nothing goes to or comes from below."""
    before, after = table(Profile.over_gravel(MIX, 30.0, base_suction=3.0), blocked_outlet(8.0))
    assert after.drainage == 0.0
    assert before.firm < after.firm < 10.0


def test_a_wetting_agent_gives_back_the_sand_as_the_lab_saw_it():
    """cos(60 degrees) = 1/2: suction acts twice as strongly on the repellent sand."""
    repellent = Profile.over_gravel(with_suction_scaled(MIX, 2.0), 30.0, base_suction=3.0)
    before, after = table(repellent, wetting_agent(60.0))
    assert after.drained == pytest.approx(
        table(Profile.over_gravel(MIX, 30.0, base_suction=3.0))[0].drained
    )
    assert before.drained < after.drained


def test_a_wetting_agent_moves_the_wetting_branch_of_sand_that_remembers():
    sand = Hysteretic(MIX, 1.5)
    now = Profile.over_gravel(sand.at_contact_angle(60.0), 30.0, base_suction=3.0)
    before = Situation(now)
    after = wetting_agent(60.0).apply(before)
    assert after.profile.layers[0].soil.suction_ratio == pytest.approx(1.5, rel=1e-12)
    assert after.profile.layers[0].soil.soil == MIX
    with pytest.raises(InputError, match=r"sand\.at_contact_angle\(60\)"):
        wetting_agent(60.0).apply(after)


def test_angles_beyond_any_curve_are_refused_together():
    with pytest.raises(InputError) as caught:
        wetting_agent(90.0, 95.0)
    assert len(caught.value.faults) == 3


WATER = [Event(f"2025-07-0{day} 04:00", "15 mm", rate="15 mm/h") for day in (3, 7)]
SHALLOW = Profile.over_gravel(MIX, 30.0, base_suction=3.0)


def test_a_spot_of_which_a_part_wets_is_the_mean_of_two_columns():
    part, all_of_it = table(SHALLOW, wettable(), irrigation=WATER, wetting_share="40 %")
    case = Case(SHALLOW, TEN_DAYS, turf=TURF, start="drained", irrigation=WATER)
    run = simulate_many(repellent_patches(case, 0.4))
    by_hand = float(run.drainage.weighted(run.area_share).mean("patch")[-1])
    assert part.drainage == pytest.approx(by_hand, abs=0.01)
    reading = meter_reading(run, rod=7.6).weighted(run.area_share).mean("patch").values
    day = np.argmax(reading <= LINES.firm) / 24.0
    assert day > 1.0
    assert part.firm == pytest.approx(day, abs=1.0 / 24.0)
    plain = table(SHALLOW, irrigation=WATER)[0]
    assert (all_of_it.firm, all_of_it.drainage) == (plain.firm, plain.drainage)
    assert part.drainage > plain.drainage and part.firm < plain.firm
    everywhere = table(SHALLOW, irrigation=WATER, wetting_share=1.0)[0]
    assert (everywhere.firm, everywhere.drainage) == (plain.firm, plain.drainage)


def test_the_part_that_stayed_dry_is_in_the_drained_reading():
    now = Repellency(0.5, dry_suction=200.0)
    before, after = table(SHALLOW, wettable(), wetting_share=now)
    dry = float(MIX.water_content(200.0))
    assert before.drained == pytest.approx(0.5 * after.drained + 0.5 * dry, abs=1e-12)
    assert before.notes == (
        "50 % of it takes all the water; the part that stays dry starts at 200.0 cm (19.61 kPa)",
    )


def test_the_share_that_drops_leave_open_is_in_the_bands():
    drops = DropTests({0: [2, 3, 1], 1: [90, 2, 300]})
    now = Repellency(drops, dry_suction=200.0)
    before, after = table(SHALLOW, wettable(), wetting_share=now, draws=10)
    low, best, high = drops.wetting_share
    wet, dry = after.drained, float(MIX.water_content(200.0))
    assert before.drained == pytest.approx(best * wet + (1.0 - best) * dry)
    # Ten even strata of the share: of these the second and the last but one.
    strata = drops.wetting_share_at([0.15, 0.85])
    ends = strata * wet + (1.0 - strata) * dry
    assert before.bands["drained"] == pytest.approx(tuple(ends))
    assert after.bands["drained"] == pytest.approx((wet, wet))
    assert f"{100 * best:.0f} % ({100 * low:.0f} to {100 * high:.0f}) of it" in before.notes[0]


def test_as_wettable_promises_nothing():
    found = what_if(SHALLOW, TEN_DAYS, TURF, LINES, [wettable()], rod=7.6, wetting_share=0.4)
    assert "nothing is promised" in repr(found)
    assert "the label is the law" in repr(found)
    assert any("repellent sand" in each for each in found.cautions)


def test_what_wets_everywhere_is_not_made_wettable():
    with pytest.raises(InputError, match=r"write what_if\(\.\.\., wetting_share=0\.6\)"):
        table(SHALLOW, wettable())
    with pytest.raises(InputError, match="wetting_share is 3; allowed") as caught:
        table(SHALLOW, wettable(), regrade(40.0), wetting_share=3)
    assert len(caught.value.faults) == 1
    line = Transect([0.0, 100.0, 200.0], "1 %", [30.0] * 3, SHALLOW, spacing=100.0)
    with pytest.raises(InputError, match="as if all of it wets"):
        what_if(line, TEN_DAYS, TURF, LINES, [], rod=7.6, wetting_share=0.6)


def test_the_label_is_the_law_and_no_rate_is_given():
    repellent = Profile.over_gravel(with_suction_scaled(MIX, 2.0), 30.0, base_suction=3.0)
    found = what_if(repellent, TEN_DAYS, TURF, LINES, [wetting_agent(60.0, 20.0)], rod=7.6)
    assert "the label is the law" in repr(found)
    assert "<table" in found._repr_html_()


def test_earlier_irrigation_of_the_same_water_moves_the_days():
    late = Event("2025-07-07 05:00", "8 mm", rate="16 mm/h")
    early = Event("2025-07-03 05:00", "8 mm", rate="16 mm/h")
    without, before, after = (
        table(POCKET, weather=TEN_DAYS, irrigation=events)[0] for events in ((), (late,), (early,))
    )
    changed = table(POCKET, irrigate(early), irrigation=(late,))[1]
    assert changed.wilt == after.wilt
    assert after.wilt > before.wilt == without.wilt


@pytest.mark.parametrize(
    "soil",
    [
        MIX,
        MAT,
        BrooksCorey(0.04, 0.40, 18.0, 1.8, 30.0),
        Kosugi(0.04, 0.40, 30.0, 0.5, 30.0),
        WithDryEnd(MIX),
    ],
)
def test_scaled_suction_holds_what_the_soil_holds_at_that_suction(soil):
    suction = np.array([1.0, 10.0, 33.0, 90.0])
    # Films keep their own measure of suction: only the pores are scaled.
    tolerance = 1e-9 if not isinstance(soil, WithDryEnd) else 0.01
    scaled = with_suction_scaled(soil, 2.0)
    assert scaled.water_content(suction) == pytest.approx(
        soil.water_content(2.0 * suction), abs=tolerance
    )


FOUR_SANDS = [VanGenuchten(0.05, 0.42, a, n, 28.0) for a in (0.035, 0.043) for n in (2.6, 3.4)]


@pytest.fixture(scope="module")
def drawn():
    changes = [regrade("38 cm"), topdress(MIX, 4.0), regrade(50.0), other_sand(FOUR_SANDS[::-1])]
    settings = {"sand": [MIX, *FOUR_SANDS], "draws": 5, "rod": 7.6}
    return what_if(POCKET, steady_weather(4, 5.0), TURF, LINES, changes, **settings)


def at_rest(soil, depth):
    """Mean water content over the rods, by the trapezoidal rule on the retention curve."""
    z = np.linspace(0.0, 7.6, 2001)
    return np.trapezoid(soil.water_content(depth + 3.0 - z), z) / 7.6


def test_a_change_has_the_band_of_what_it_adds_to_each_sand(drawn):
    """Of five draws, by rank, the lowest and the highest are the ends of four in five."""
    before, after = drawn.outcomes[:2]
    as_it_is = np.array([at_rest(each, 46.0) for each in (MIX, *FOUR_SANDS)])
    regraded = np.array([at_rest(each, 38.0) for each in (MIX, *FOUR_SANDS)])
    low, middle, high = np.sort(regraded - as_it_is)[[0, 2, 4]]
    assert after.gains["drained"] == pytest.approx((low, middle, high), abs=2e-4)
    assert before.bands["drained"] == pytest.approx((as_it_is.min(), as_it_is.max()), abs=2e-4)
    assert before.gains == {}
    # Far narrower than what the two bands leave.
    left = after.bands["drained"][1] - before.bands["drained"][0]
    assert high < 0.8 * left
    told = repr(drawn)
    assert f"{100 * before.drained:.1f} ({100 * as_it_is.min():.1f} to" in told
    assert f"reads {100 * middle:+.1f} % by volume ({100 * low:+.1f} to {100 * high:+.1f})" in told


def test_sand_that_is_brought_is_drawn_too_and_the_same_sand_stays_the_same(drawn):
    _, _, dressed, deeper, other = drawn.outcomes
    assert dressed.gains["drained"] == pytest.approx(deeper.gains["drained"], abs=1e-12)
    assert dressed.gains["wilt"] == pytest.approx(deeper.gains["wilt"], abs=1e-9)
    assert other.bands["drained"][0] < other.bands["drained"][1]


def test_a_sand_that_is_not_that_of_the_profile_stands_for_it():
    """A spot drawn with one sand, asked about with others: numbers lie within their bands."""
    others = [replace(STRAIGHT, alpha=alpha) for alpha in (0.038, 0.041, 0.044)]
    weather = steady_weather(3, "5 mm/day")
    asked, own = (
        what_if(
            Profile.over_gravel(soil, 38.0), weather, TURF, LINES, [regrade("30 cm")],
            rod="3 in", sand=others, draws=10,
        )
        for soil in (MIX, others[1])
    )  # fmt: skip
    assert asked.outcomes == own.outcomes
    for row in asked.outcomes:
        for name, (low, high) in row.bands.items():
            assert low <= getattr(row, name) <= high


def test_a_spot_over_the_gravel_that_is_assumed_carries_its_band_and_a_known_base_none():
    depth = regrade("38 cm")
    days = steady_weather(2, 5.0)
    over_gravel = Profile.over_gravel(MIX, 46.0)
    assumed, _ = what_if(over_gravel, days, TURF, LINES, [depth], rod=7.6, draws=5).outcomes
    told, _ = table(POCKET, depth, weather=days, base_suction=(2.5, 10.9), draws=5)
    known, _ = table(POCKET, depth, weather=days)
    assert known.bands == {} and known.gains == {}
    assert assumed.bands["drained"][0] < assumed.drained < assumed.bands["drained"][1]
    assert told.bands["drained"] == pytest.approx(assumed.bands["drained"], abs=0.002)


def test_of_two_sands_what_is_told_is_the_middle_as_every_other_call_tells_it():
    """It was that of the sand that holds more: 25.3 % where other calls told 22.5 %."""
    sands = [MIX, STRAIGHT]
    survey = Survey([Spot("B2", 33.0)])
    expected = float(expected_reading(survey, sands, rod=7.6, probe_error=0.0).expected_reading[0])
    told, deeper = what_if(
        Profile.over_gravel(sands, 33.0), TEN_DAYS, TURF, LINES, [regrade("38 cm")], rod=7.6,
        sand=sands, draws=60,
    ).outcomes  # fmt: skip
    assert told.drained == pytest.approx(expected, abs=0.006)
    of_each = [float(expected_reading(survey, sand, rod=7.6).expected_reading[0]) for sand in sands]
    assert min(of_each) + 0.02 < told.drained < max(of_each) - 0.02
    assert deeper.drained < told.drained and deeper.gains["drained"][1] < 0.0


def test_what_cannot_be_done_is_said_with_what_could():
    with pytest.raises(InputError) as caught:
        table(POCKET, remove_mat(), blocked_outlet("50 cm"))
    for words in ('no layer is called "mat"', "50 cm of water in 46 cm"):
        assert words in str(caught.value)
    with pytest.raises(InputError, match="draws is 1") as caught:
        table(replace(POCKET, base=WaterTable(90.0)), base_suction=3.0, draws=1)
    assert "it is of a profile over gravel" in str(caught.value)
    with pytest.raises(InputError, match="falling"):
        wetting_agent(30.0, 60.0)
    with pytest.raises(InputError, match="above 0"):
        regrade(0.0)
    with pytest.raises(InputError, match="no Change"):
        table(POCKET, "deeper")
    with pytest.raises(InputError, match="factor"):
        with_suction_scaled(MIX, 0.0)
