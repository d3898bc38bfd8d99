"""A batch is nothing but its single runs; a rule is nothing but the events it decides."""

import numpy as np
import pytest
from grounds import COARSE_GRAVEL as GRAVEL
from grounds import MIDDLE_MIX as SAND
from reference import START, hours_after_start

from soilwater import (
    Case,
    Event,
    Layer,
    Profile,
    Rule,
    SeepageFace,
    Status,
    Turf,
    VanGenuchten,
    meter_reading,
    simulate,
    simulate_many,
    steady_weather,
)

TURF = Turf(12.0, fraction_above=(0.9, 10.0))
DAY = steady_weather(1, 6.0)
DEPTHS = np.linspace(25.0, 60.0, 200)


def case(depth, **keywords):
    profile = Profile(
        (Layer(SAND, depth, "root zone"), Layer(GRAVEL, 10.0, "gravel")), SeepageFace()
    )
    return Case(profile, DAY, turf=TURF, **keywords)


def assert_same_bits(batch, single):
    nodes = single.sizes["node_depth"]
    np.testing.assert_array_equal(batch.node_suction[:, :nodes], single.node_suction)
    np.testing.assert_array_equal(batch.water_content[:, : nodes - 1], single.water_content)
    for name in ("drainage", "transpiration", "closure_error", "ponding", "steps"):
        np.testing.assert_array_equal(batch[name], single[name])


@pytest.fixture(scope="module")
def single_runs():
    return [simulate(case(depth).profile, DAY, turf=TURF, output=12.0) for depth in DEPTHS]


@pytest.mark.parametrize("n_threads", [1, 2])
def test_a_batch_of_two_hundred_depths_is_two_hundred_single_runs(n_threads, single_runs):
    batch = simulate_many([case(depth) for depth in DEPTHS], output=12.0, n_threads=n_threads)
    assert batch.sizes["case"] == 200
    for i, single in enumerate(single_runs):
        assert_same_bits(batch.isel(case=i), single)


def test_cases_of_every_kind_share_a_batch():
    loam = VanGenuchten.texture_class("loam")
    irrigation = [Event(hours_after_start(4.0), 6.0, rate=18.0)]
    cases = [
        case(30.0),
        case(30.0, start=200.0, irrigation=irrigation),
        Case(Profile.over_gravel(loam, 20.0), steady_weather(1, 0.0, rain=40.0), start="drained"),
        case(55.0, rules=[Rule(6.0, 0.9, rod=7.6, rate=18.0, hour=5.0)]),
    ]
    batch = simulate_many(cases, output=6.0, n_threads=2)
    for i, each in enumerate(cases):
        single = simulate(
            each.profile,
            each.weather,
            turf=each.turf,
            start=each.start,
            irrigation=each.irrigation,
            rules=each.rules,
            output=6.0,
        )
        assert_same_bits(batch.isel(case=i), single)


def test_an_unusable_start_loses_nothing_of_the_others():
    cases = [case(30.0), case(30.0, start="a wet spring"), case(45.0)]
    batch = simulate_many(cases, output=12.0)
    assert batch.status.values.tolist() == [Status.OK, Status.BAD_INPUT, Status.OK]
    assert "a wet spring" in str(batch.status_text[1].item())
    assert batch.node_suction[1].isnull().all()
    for i in (0, 2):
        single = simulate(cases[i].profile, DAY, turf=TURF, output=12.0)
        assert_same_bits(batch.isel(case=i), single)


def test_a_case_that_runs_out_of_steps_keeps_what_it_reached():
    cases = [case(depth, start="drained") for depth in (30.0, 45.0)]
    cases[1] = case(45.0, start="soaked")
    needed = [int(simulate(c.profile, DAY, turf=TURF, start=c.start).steps) for c in cases]
    limit = needed[1] - 10
    assert needed[0] < limit < needed[1]
    batch = simulate_many(cases, max_steps=limit)
    assert batch.status.values.tolist() == [Status.OK, Status.TOO_MANY_STEPS]
    assert "Last good time" in str(batch.status_text[1].item())
    assert int(batch.steps[1]) == limit
    # What came before the end is there and right; what comes after is missing, never zero.
    whole = simulate(cases[1].profile, DAY, turf=TURF)
    reached = batch.node_suction[1].notnull().all("node")
    assert 1 < int(reached.sum()) < batch.sizes["time"]
    np.testing.assert_array_equal(batch.drainage[1][reached], whole.drainage[reached.values])
    assert batch.drainage[1][~reached].isnull().all()
    assert_same_bits(
        batch.isel(case=0), simulate(cases[0].profile, DAY, turf=TURF, start=cases[0].start)
    )


def test_no_steps_at_all_is_a_sentence_and_the_start():
    batch = simulate_many([case(30.0)], max_steps=0, output=12.0)
    assert int(batch.status[0]) == Status.TOO_MANY_STEPS
    assert "Last good time: 0 h" in str(batch.status_text[0].item())


def test_a_rule_is_the_same_as_the_events_it_decides():
    profile = Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    rule = Rule(5.0, 0.17, rod=7.6, rate=15.0, hour=21.0)
    weather = steady_weather(6, 6.0)
    ruled = simulate(profile, weather, turf=TURF, start="drained", rules=[rule], output=3.0)
    decisions = rule.decision_times(weather.start, weather.end)
    # Events as a person would write them into a table, where irrigation rose after a decision.
    irrigation = ruled.irrigation.values
    given = [
        time
        for time in decisions
        if irrigation[ruled.time.values > time][0] > irrigation[ruled.time.values <= time][-1]
    ]
    assert 2 <= len(given) < decisions.size
    table = simulate(
        profile,
        weather.refine(decisions),
        turf=TURF,
        start="drained",
        irrigation=[Event(time, 5.0, rate=15.0) for time in given],
        output=3.0,
    )
    for name in ("node_suction", "drainage", "transpiration", "irrigation"):
        np.testing.assert_array_equal(table[name], ruled[name])
    # It decided on the reading of that moment.
    reading = meter_reading(ruled, rod=7.6).sel(time=decisions).values
    assert (reading[np.isin(decisions, given)] < 0.17).all()
    assert (reading[~np.isin(decisions, given)] >= 0.17).all()


def test_a_run_taken_up_again_continues_the_run_that_was_cut():
    profile = Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    settings = {"turf": TURF, "output": 24.0, "tolerance": 1e-4}
    whole = simulate(profile, steady_weather(4, 5.0), **settings)
    first = simulate(profile, steady_weather(2, 5.0), **settings)
    second = simulate(
        profile,
        steady_weather(2, 5.0, first_day=START + np.timedelta64(2, "D")),
        start=first,
        **settings,
    )
    difference = whole.water_content[-1] - second.water_content[-1]
    assert np.abs(difference).max() < 5e-5
