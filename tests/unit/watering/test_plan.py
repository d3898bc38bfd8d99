"""Plans of hand water that keep what they claim."""

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from grounds import MIDDLE_MIX as MIDDLE
from watered_green import BANDED, GREEN, LINES, MIX, ROD, TEN_DAYS, TURF

from soilwater.decisions.watering.checking import _watered
from soilwater.decisions.watering.draws import make_draws
from soilwater.decisions.watering.ensembles import (
    LOW,
    column,
    packed_columns,
    run_columns,
)
from soilwater.decisions.watering.even_draws import make_halves
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.trials import from_readings, from_rest
from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.profile import Profile
from soilwater.runs.case import Case
from soilwater.runs.drained import drained_state
from soilwater.runs.standing import Standing
from soilwater.soils import Hysteretic
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.made import steady_weather
from soilwater.words.errors import InputError


@pytest.fixture(scope="module")
def plan():
    return hand_water_plan(GREEN, MIX, TEN_DAYS, TURF, 0.12, **BANDED)


def events_of(plan, name):
    return [Event(w.time, w.amount, duration=0.25) for w in plan.spot(name).waterings]


def test_the_plan_waters_the_deep_spot_first_and_says_what_happens_without(plan):
    first = {name: min(w.time for w in plan.spot(name).waterings) for name in ("B2", "C3")}
    assert first["C3"] < first["B2"]
    assert plan.spot("C3").kept_without == 0.0
    assert "without water 100 % of the cases tried fall to 12 %" in plan.spot("C3").sentence


def test_resimulated_with_fresh_draws_the_plan_keeps_its_share(plan):
    fresh = make_draws(MIX, [TEN_DAYS], BaseSuction(3.0, 1.0, 6.0), 0.0, 30, 99)
    for spot in plan.spots:
        if not spot.waterings:
            continue
        assert spot.kept >= plan.probability
        runs = run_columns(
            [column(d, spot.spot.depth, TURF, events_of(plan, spot.spot.name)) for d in fresh], ROD
        )
        assert np.mean(runs.reading.min(axis=1) > 0.12) >= plan.probability


def test_no_watering_fills_a_spot_above_its_own_drained_storage(plan):
    """In the share of draws it was made for; the rest may send a trace to the gravel."""
    fresh = make_draws(MIX, [TEN_DAYS], BaseSuction(3.0, 1.0, 6.0), 0.0, 20, 7)
    depth = plan.spot("C3").spot.depth
    runs = run_columns([column(d, depth, TURF, events_of(plan, "C3")) for d in fresh], ROD)
    full = np.array([float(drained_state(d.profile(depth)).storage) for d in fresh])
    kept = runs.storage[:, 1:].max(axis=1) <= full + 0.1
    assert kept.mean() >= 1.0 - LOW - 0.05
    assert plan.spot("C3").to_gravel < 0.5


def test_a_plan_over_several_weather_members_keeps_its_share_of_them():
    members = [steady_weather(6, f"{et} mm/day") for et in (4, 5, 6)]
    found = hand_water_plan(Survey([Spot("C3", 42.0)]), MIX, members, TURF, "12 %", **BANDED)
    fresh = make_draws(MIX, members, BaseSuction(3.0, 1.0, 6.0), 0.0, 30, 5)
    runs = run_columns([column(d, 42.0, TURF, events_of(found, "C3")) for d in fresh], ROD)
    assert found.spot("C3").kept >= found.probability
    assert np.mean(runs.reading.min(axis=1) > 0.12) >= found.probability


def test_spots_of_one_plan_are_checked_between_the_least_and_the_largest_depth():
    """Readings within 0.1 % by volume, and drainage within 0.1 mm, of those run one by one."""
    known = [Spot(name, depth) for name, depth in (("A", 38.1), ("B", 39.2), ("C", 39.9))]
    drawn = make_draws(MIDDLE, [TEN_DAYS], BaseSuction(3.0, 1.0, 6.0), 0.0, 2, 0)
    trial = from_rest(known, drawn, TURF, None, ROD, None, coarse=True)
    water = [Event(TEN_DAYS.start + np.timedelta64(30, "h"), 5.0, duration=0.25)]
    given = dict.fromkeys(range(3), water)
    together, alone = (
        _watered(known, given, alike, trial, None, progress=False) for alike in (True, False)
    )
    for i in given:
        assert together[i][0] == pytest.approx(alone[i][0], abs=0.001)
        assert together[i][1] == pytest.approx(alone[i][1], abs=0.1)


def test_columns_that_start_at_readings_are_packed_once_as_they_would_be_again():
    known = [Spot("A", 31.0), Spot("B", 34.0), Spot("C", 36.0)]
    drawn = make_draws(Hysteretic(MIDDLE, 2.0), [TEN_DAYS], BaseSuction(3.0, 1.0, 6.0), 0.0, 4, 0)
    noise = np.zeros((3, 4))
    trial = from_readings(known, drawn, TURF, None, ROD, noise, None, coarse=True)
    own, cases = trial.packed([2, 0]), [trial.column(i, k) for i in (2, 0) for k in range(4)]
    again = packed_columns(cases, ROD)
    for name in ("z", "head", "root", "conditions", "node_start"):
        np.testing.assert_array_equal(getattr(own.packed, name), getattr(again.packed, name), name)
    water = [Event(TEN_DAYS.start + np.timedelta64(30, "h"), 5.0, duration=0.25)]
    runs = [Standing.of(each, ()).water(np.arange(8), water) for each in (own, again)]
    np.testing.assert_array_equal(runs[0].reading, runs[1].reading)


def test_spots_far_apart_in_depth_are_not_checked_between_one_another():
    # Readings fall along a curve: between 27 and 45 cm a straight line is 1 % by volume off.
    known = [Spot(name, depth) for name, depth in (("A", 27.0), ("B", 33.0), ("C", 45.0))]
    drawn = make_draws(MIX, [TEN_DAYS], BaseSuction(3.0, 3.0, 3.0), 0.0, 2, 0)
    trial = from_rest(known, drawn, TURF, None, ROD, None, coarse=True)
    water = [Event(TEN_DAYS.start + np.timedelta64(30, "h"), 2.0, duration=0.25)]
    given = dict.fromkeys(range(3), water)
    together, alone = (
        _watered(known, given, alike, trial, None, progress=False) for alike in (True, False)
    )
    assert together[1][0] == pytest.approx(alone[1][0], abs=0.001)


def test_a_spot_is_kept_whatever_becomes_of_a_deeper_one():
    known = [Spot("A", 44.1), Spot("B", 45.9)]
    asked = {"rod": ROD, "base_suction": 3.0, "draws": 3}
    alone, beside = (
        hand_water_plan(
            Survey(known[:n], name="Kestrel Bank, 9"), MIX, TEN_DAYS, TURF, 0.151, **asked
        )
        for n in (1, 2)
    )
    assert not beside.spot("B").held
    assert beside.spot("A").held
    of_beside, of_alone = (
        [(w.time, w.amount) for w in p.spot("A").waterings] for p in (beside, alone)
    )
    assert of_beside == of_alone


def test_a_plan_tells_how_far_it_is():
    told: list[tuple[int, int]] = []
    hand_water_plan(
        GREEN,
        MIX,
        steady_weather(4, "5 mm/day"),
        TURF,
        "14 %",
        rod=ROD,
        draws=2,
        progress=lambda done, every: told.append((done, every)),
    )
    done, every = zip(*told, strict=True)
    # Three spots in two draws: without water twice, planned, and checked.
    assert set(every) == {24} and done[-1] == 24
    assert all(after > before for before, after in pairwise(done))


def test_the_plan_prints_both_unit_systems_and_its_cautions(plan):
    text, html = repr(plan), plan._repr_html_()
    for words in ("US gal/1000 ft2", "L/m2", "caution:", "restriction days"):
        assert words in text
    assert "<table" in html and "assumed" in html


def test_no_water_is_given_on_the_day_of_the_event(plan):
    day = plan.waterings[-1].time.astype("datetime64[D]")
    kept_dry = hand_water_plan(GREEN, MIX, TEN_DAYS, TURF, 0.12, event_day=day, **BANDED)
    assert kept_dry.waterings
    assert all(walk.time.astype("datetime64[D]") != day for walk in kept_dry.waterings)
    assert f"no water by hand on {day}" in kept_dry.assumptions
    # A slip in the date is seen.
    short = steady_weather(1, 5.0)
    other = hand_water_plan(GREEN, MIX, short, TURF, 0.12, event_day="2035-07-05", **BANDED)
    said = "no water by hand on 2035-07-05, which is outside the weather given"
    assert said in other.assumptions


def test_a_plan_is_checked_on_other_sands_and_other_bases():
    sands = [replace(MIX, alpha=alpha) for alpha in np.linspace(0.036, 0.042, 9)]
    made, checked = make_halves(
        sands, [TEN_DAYS], BaseSuction(3.0, 1.0, 6.0), 12, 0, TURF, 32.0, 7.6
    )
    assert len(made) == len(checked) == 12
    assert not {d.soil for d in made} & {d.soil for d in checked}
    assert not {d.base for d in made} & {d.base for d in checked}
    mean = [np.mean([d.base for d in half]) for half in (made, checked)]
    assert mean[0] == pytest.approx(mean[1], abs=0.05)


@pytest.mark.parametrize("count", [3, 12])
def test_sands_of_a_list_are_dealt_out_by_what_they_hold(count):
    """In whatever order they stand; of few both halves have all."""
    sands = [replace(MIX, alpha=float(alpha)) for alpha in np.linspace(0.030, 0.050, count)]
    # Every other one first: dealt out as they stand, one half would have the drier half of them.
    half = count // 2
    apart = [each for k in range(half) for each in (sands[k], sands[half + k])] + sands[2 * half :]
    halves = make_halves(
        apart,
        [TEN_DAYS],
        BaseSuction(3.0, 1.0, 6.0),
        60,
        0,
        TURF,
        32.0,
        7.6,
    )
    means = [np.mean([draw.soil.alpha for draw in half]) for half in halves]
    assert means[0] == pytest.approx(means[1], rel=0.02)
    common = {draw.soil for draw in halves[0]} & {draw.soil for draw in halves[1]}
    assert len(common) == (3 if count == 3 else 0)


@pytest.mark.parametrize("draws", [1, 100.0, "100", None])
@pytest.mark.parametrize(("answer", "line"), [(hand_water_plan, "12 %"), (dry_down_outlook, LINES)])
def test_draws_are_refused_as_they_were_given(answer, line, draws):
    """Twice as many are drawn of some things, and 100.0 was refused as 200.0, by nobody's name."""
    given = f"{answer.__name__}: draws is {draws!r}; allowed: a whole number, 2 or more"
    with pytest.raises(InputError, match=re.escape(given)):
        answer(GREEN, MIX, TEN_DAYS, TURF, line, rod="3 in", draws=draws)


@pytest.mark.parametrize(
    ("given", "written"), [("80 %", "0.8"), (" 0.7512345", "0.7512345"), ("high", "")]
)
def test_a_text_where_a_number_is_due_is_written_as_one(given, written):
    with pytest.raises(InputError, match="probability is ") as told:
        hand_water_plan(GREEN, MIX, TEN_DAYS, TURF, "12 %", probability=given)
    cure = f"allowed: a number; write {written}." if written else "allowed: a number."
    assert str(told.value).endswith(cure)


def test_weather_that_misses_the_hours_of_a_crew_is_refused():
    late = steady_weather(4, 5.0).shift("2 h")
    with pytest.raises(InputError, match=r"Weather\.between"):
        hand_water_plan(GREEN, MIX, late, TURF, "12 %", **BANDED)


def test_faults_of_a_plan_are_told_at_once():
    with pytest.raises(InputError) as caught:
        hand_water_plan(GREEN, MIX, TEN_DAYS, TURF, "12 mm", probability=1.5, flow=-3.0, rod=ROD)
    for words in ("threshold", "probability is 1.5", "flow is -3"):
        assert words in str(caught.value)


def test_a_column_that_starts_drained_stays_so_without_demand():
    still = replace(TEN_DAYS, reference_et=0.0 * TEN_DAYS.reference_et)
    case = Case(Profile.over_gravel(MIX, 30.0, base_suction=3.0), still, turf=TURF, start="drained")
    runs = run_columns([case], ROD)
    assert np.ptp(runs.reading) < 1e-4
