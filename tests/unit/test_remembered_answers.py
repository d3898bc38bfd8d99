"""Answers about sand that remembers how it was wetted: what comes back, and where it starts."""

import re
from dataclasses import replace

import numpy as np
import pytest
from grounds import MIDDLE_MIX, WET_MIX

import soilwater as sw
from soilwater.decisions.watering.ensembles import run_columns
from soilwater.decisions.watering.even_draws import make_halves
from soilwater.decisions.watering.refill import refills_of, rewetted_reading
from soilwater.decisions.watering.starts import rewetted_to
from soilwater.ground.base_suction import BaseSuction
from soilwater.runs.wetted import USUAL_RAIN

ROD = 7.6
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
LINES = sw.Thresholds("18 %", "14 %", "12 %")
DAYS = sw.steady_weather(9, 5.0)
SAND = sw.Hysteretic(MIDDLE_MIX, 2.0, 0.9)
GREEN = sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0)


@pytest.fixture(scope="module")
def fit():
    table = sw.RetentionTable([10, 20, 30, 40, 60], WET_MIX.water_content([10, 20, 30, 40, 60]))
    return table.fit(sw.VanGenuchten, draws=50, k_sat=28.0)


def refill(profiles, starts):
    """What one spot holds again, in several draws."""
    cases = [sw.Case(p, DAYS, start=start) for p, start in zip(profiles, starts, strict=True)]
    return refills_of([cases], [[each.mesh() for each in profiles]], ROD)[0]


def dried(amounts, after=None, day=6):
    """Columns that dry, get an amount by hand on one morning, and go on drying."""
    start = after or "drained"
    time = DAYS.start + np.timedelta64(24 * day + 6, "h")
    events = [(sw.Event(time, each, duration=0.25),) if each else () for each in amounts]
    return run_columns(
        [sw.Case(GREEN, DAYS, turf=TURF, start=start, irrigation=each) for each in events], ROD
    )


@pytest.mark.parametrize(("after", "day"), [(None, 3), (None, 6), (sw.AfterRain(20.0), 6)])
def test_what_a_spot_takes_back_stays_and_what_is_more_feeds_the_gravel(after, day):
    bare = dried([0.0], after)
    full, _ = refill([GREEN], [after or "drained"]).again(bare.storage)
    room = float((full - bare.storage)[0, 4 * day + 1])
    lost = float(bare.storage[0, 0] - bare.storage[0, 4 * day + 1])
    runs = dried([room, room + 5.0], after, day)
    to_gravel = runs.drainage[:, -1] - bare.drainage[0, -1]
    assert to_gravel[0] < 0.3
    assert to_gravel[1] > 0.5
    if after is None:
        # Of six days' 30 mm the lab's curve takes back all.
        assert room < 0.6 * lost


def test_spots_worked_out_together_are_as_each_alone():
    """Of one sand or others, with a mat on them or not, rained on or flooded: nodes stay apart."""
    mat = sw.Layer(sw.Hysteretic(WET_MIX, 1.5, 0.95), 3.0, "mat")
    over = sw.CapillaryBreak(3.0)
    matted = sw.Profile((mat, sw.Layer(SAND, 30.0, "root zone")), base=over)
    other = sw.Profile.over_gravel(MIDDLE_MIX, 41.0, base_suction=6.0)
    spots = [[GREEN, GREEN], [matted, other], [other, matted], [GREEN, matted]]
    rain = sw.AfterRain(20.0)
    starts = [[rain, "drained"], [rain, rain], ["drained", rain], ["drained", "drained"]]
    cases = [
        [sw.Case(green, DAYS, start=start) for green, start in zip(*each, strict=True)]
        for each in zip(spots, starts, strict=True)
    ]
    meshes = [[green.mesh() for green in of_spot] for of_spot in spots]
    together = refills_of(cases, meshes, ROD)
    for spot, start, found in zip(spots, starts, together, strict=True):
        for part, alone in zip(found, refill(spot, start), strict=True):
            assert part.shape == alone.shape == (2, 11)
            np.testing.assert_allclose(part, alone, rtol=1e-12)


def test_a_sand_without_a_memory_takes_back_all_it_lost():
    green = sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0)
    full, drained = refill([green], ["drained"]).again(np.array([[90.0, 60.0, 40.0]]))
    np.testing.assert_allclose(full, float(sw.drained_state(green).storage), rtol=1e-12)
    np.testing.assert_allclose(drained, sw.drained_water_content(green, 0.0, ROD), atol=1e-4)


def test_water_given_once_does_not_bring_back_what_dried_before_it():
    held = np.array([[90.0, 70.0, 85.0, 80.0]])
    full, _ = refill([GREEN], ["drained"]).again(held)
    assert full[0, 0] > full[0, 1] == full[0, 2] == full[0, 3]


def test_the_outlook_shows_what_a_flood_and_what_gentle_water_leave_beside_each_other():
    survey = sw.Survey([sw.Spot("A1", 30.0)])
    settings = {"rod": ROD, "base_suction": 3.0, "probe_error": 0.0, "draws": 8}
    sands = sw.likely_memories(MIDDLE_MIX, 8)
    flooded = sw.dry_down_outlook(survey, sands, DAYS, TURF, LINES, **settings)
    gently = sw.dry_down_outlook(
        survey, sands, DAYS, TURF, LINES, after=sw.AfterRain("10 mm/h"), **settings
    )
    spot, other = flooded.spot("A1"), gently.spot("A1")
    told = sw.expected_reading(survey, MIDDLE_MIX, rod=ROD, base_suction=3.0, probe_error=0.0)
    assert spot.start[1] == pytest.approx(float(told.expected_reading[0]), abs=0.001)
    assert spot.rewetted[1] == pytest.approx(float(told.rewetted_reading[0]), abs=0.005)
    assert other.start == pytest.approx(spot.rewetted, abs=0.001)
    assert other.wilt.median < spot.wilt.median - 0.5
    assert other.rewetted is None
    assert "drained after 10.0 mm/h on a dry green %" in repr(flooded)
    assert "ratio of suctions 1.50 (1.20 to 1.89), drawn from what sands" in repr(flooded)
    assert "last wetted at 10.0 mm/h while dry" in repr(gently)
    assert "watered gently median" in flooded.to_dataframe().columns[-2]
    # A soil that says nothing of a memory is run as it is, and what gentle water leaves is told.
    plain = sw.dry_down_outlook(survey, MIDDLE_MIX, DAYS, TURF, LINES, **settings)
    assert plain.spot("A1").rewetted[1] == pytest.approx(spot.rewetted[1], abs=0.002)
    assert "ratio of suctions" not in repr(plain)


def test_a_reading_is_on_either_branch_in_half_of_the_cases():
    read = sw.Survey([sw.Spot("A1", 30.0, readings=(sw.Reading(0.14, rod=ROD),))])
    settings = {"rod": ROD, "base_suction": 3.0, "probe_error": 0.0, "meter_error": 0.0}
    both, gently, flooded = (
        sw.dry_down_outlook(
            read, sand, DAYS, TURF, LINES, start="readings", draws=8, after=after, **settings
        ).spot("A1")
        for sand, after in (
            (SAND, None),
            (SAND, sw.AfterRain("10 mm/h")),
            (replace(SAND, suction_ratio=1.0, rewetted_saturation=1.0), None),
        )
    )
    for each in (both, gently, flooded):
        assert each.start == pytest.approx([0.14] * 3, abs=5e-4)
    days = both.wilt
    # The two find their starts apart, each to a ten thousandth of a day.
    assert days.low == pytest.approx(gently.wilt.median, abs=1e-4)
    assert days.low < days.high
    # Overnight less comes up from below into sand that holds less while it is wetted.
    assert days.high < flooded.wilt.median - 0.5


def test_a_reading_that_no_gentle_water_leaves_is_taken_as_flooded():
    most = rewetted_reading(GREEN, USUAL_RAIN, ROD)
    readings = [most + 1e-3, 0.02, most - 1e-9]
    *others, start = rewetted_to([GREEN] * 3, USUAL_RAIN, ROD, readings)
    assert others == [None, None]
    np.testing.assert_allclose(start.water.suction, 33.0 - start.water.depth, atol=1e-4)


def test_halves_of_a_plan_share_no_sand_whatever_it_remembers():
    sands = [replace(MIDDLE_MIX, alpha=a) for a in np.linspace(0.045, 0.049, 5)]
    made, checked = make_halves(
        sw.likely_memories(sands, 20), [DAYS], BaseSuction(3.0, 1.0, 6.0), 10, 0, TURF, 32.0, 7.6
    )
    assert not {d.soil.soil for d in made} & {d.soil.soil for d in checked}


def test_the_plan_of_a_spot_beyond_watering_tells_both_drained_readings():
    found = sw.hand_water_plan(
        sw.Survey([sw.Spot("back", 46.0)]), SAND, DAYS, TURF, "15 %",
        rod=ROD, base_suction=3.0, draws=2,
    )  # fmt: skip
    back = sw.Profile.over_gravel(SAND, 46.0, base_suction=3.0)
    drained = 100.0 * sw.drained_water_content(back, 0.0, ROD)
    gently = 100.0 * rewetted_reading(back, USUAL_RAIN, ROD)
    told = f"drained it reads {drained:.1f} %, and {gently:.1f} % after 10.0 mm/h on a dry green"
    assert told in found.spot("back").sentence
    assert "2.00 (2.00 to 2.00), as it was given" in repr(found)


def test_before_and_after_have_the_same_memory(fit):
    pocket = sw.Profile.over_gravel(fit, 46.0, base_suction=3.0)
    rain = sw.AfterRain("10 mm/h")
    changes = [sw.regrade(46.0), sw.other_sand(fit), sw.regrade("38 cm")]
    found = sw.what_if(pocket, DAYS, TURF, LINES, changes, rod=ROD, after=rain, sand=fit, draws=2)
    before, same, other, shallower = found.outcomes
    for each in (same, other):
        assert replace(each, name="", notes=(), gains={}) == replace(before, name="", gains={})
        assert set(each.gains["wilt"]) == {0.0}
    assert before.rewetted < before.drained - 0.01
    assert shallower.rewetted > before.rewetted
    flooded = sw.what_if(pocket, DAYS, TURF, LINES, [], rod=ROD, sand=fit, draws=2).outcomes[0]
    assert flooded.rewetted == before.rewetted and flooded.wilt > before.wilt
    assert "ratio of suctions 1.50" in repr(found)
    certain = sw.Profile.over_gravel(SAND, 46.0, base_suction=3.0)
    once = sw.what_if(certain, DAYS, TURF, LINES, [], rod=ROD).outcomes[0]
    assert once.rewetted == pytest.approx(rewetted_reading(certain, USUAL_RAIN, ROD), rel=1e-12)


def test_rules_water_a_fit_that_remembers_and_soils_as_they_are_given(fit):
    green = sw.Profile.over_gravel(fit, 30.0, base_suction=3.0)
    rule = sw.Rule("4 mm", 0.2, rod=ROD, rate="18 mm/h")

    def run(sand, rules):
        return sw.simulate_ensemble(
            green, sw.steady_weather(2, 5.0), sand=sand, turf=TURF, rules=rules, output="24 h"
        )

    assert "drying_suction" in run(fit, [rule])
    assert "drying_suction" not in run(fit, [])
    assert "drying_suction" not in run(fit.samples(), [rule])


def test_columns_that_share_water_refuse_a_memory_with_a_cure_that_works():
    green = sw.Profile(
        (sw.Layer(SAND, 5.0, "top"), sw.Layer(sw.Hysteretic(WET_MIX, 1.5), 25.0, "root zone")),
        sw.CapillaryBreak(3.0),
    )

    def run(green):
        line = sw.Transect([0.0, 100.0, 200.0], [1.0, 0.0, 1.0], [30.0] * 3, green)
        return sw.simulate(line, sw.steady_weather(1, 0.0), output="24 h")

    with pytest.raises(sw.InputError, match="drying curves") as caught:
        run(green)
    cure = re.search(r"(green\.with_soil.*) in place of green", str(caught.value)).group(1)
    cured = eval(cure, {"green": green})
    assert [each.soil for each in cured.layers] == [MIDDLE_MIX, WET_MIX]
    assert (run(cured).status == 0).all()


def test_rain_that_left_no_drained_green_is_refused_with_everything_else():
    with pytest.raises(sw.InputError) as caught:
        sw.dry_down_outlook(
            sw.Survey([sw.Spot("A1", 30.0)]), MIDDLE_MIX, DAYS, TURF, LINES, rod=ROD,
            after=sw.AfterRain(10.0, water=20.0), draws=1,
        )  # fmt: skip
    assert len(caught.value.faults) == 2 and "leave it out" in str(caught.value)
    with pytest.raises(sw.InputError, match="AfterRain"):
        sw.what_if(GREEN, DAYS, TURF, LINES, [], rod=ROD, after="10 mm/h")
    line = sw.Transect([0.0, 100.0, 200.0], [1.0, 0.0, 1.0], [30.0] * 3, GREEN)
    with pytest.raises(sw.InputError, match="keep their drying curve"):
        sw.what_if(line, DAYS, TURF, LINES, [], rod=ROD, after=sw.AfterRain(10.0))
