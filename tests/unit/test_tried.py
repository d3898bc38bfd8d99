"""What is known of draws that were run part of the way, and what is taken of the rest."""

from types import SimpleNamespace

import numpy as np
import pytest
from grounds import MIDDLE_MIX

import soilwater as sw
from soilwater.decisions.watering import planning
from soilwater.decisions.watering.refill import Refill
from soilwater.decisions.watering.tried import Tried
from soilwater.runs.standing import Standing, Watered

LINE = 0.10
FULL = 60.0
"""What every draw holds again, however dry it was [mm]."""


def tried(storage, reading):
    """A spot that lost nothing, of draws of which one dries as fast as the next."""
    storage, reading = np.atleast_2d(storage), np.atleast_2d(reading)
    trial = SimpleNamespace(reading=[reading], storage=[storage], drainage=[np.zeros_like(storage)])
    draws = len(storage)
    refill = Refill(*(np.tile(row, (draws, 1)) for row in ([60.0, 0.0], [FULL, FULL], [0.2, 0.2])))
    return Tried.of(1, trial, 0, refill)


def came(storage, reading, drainage):
    """What a march found."""
    rows = [np.atleast_2d(np.asarray(each, dtype=float)) for each in (reading, storage, drainage)]
    return Watered(rows[0], rows[1], rows[1], rows[1], rows[2], rows[1])


def test_what_a_draw_gained_where_it_was_run_to_is_held_on_beyond():
    spot = tried([50.0, 45.0, 40.0, 35.0, 30.0], [0.14, 0.12, 0.10, 0.08, 0.06])
    spot.water(0, 6.0)
    assert spot.room[0].tolist() == [10.0, 9.0, 14.0, 19.0, 24.0]
    # Of 6 mm, 1 went to the gravel and 1 to the roots.
    found = came([50.0, 48.0, 44.0, 0.0, 0.0], [0.14, 0.15, 0.13, 0.0, 0.0], [0.0, 1.0, 1.0, 9, 9])
    spot.enter(np.array([0]), found, 2)
    assert spot.storage[0].tolist() == [50.0, 48.0, 44.0, 39.0, 34.0]
    assert spot.room[0].tolist() == [10.0, 12.0, 16.0, 21.0, 26.0]
    assert spot.lost[0].tolist() == [0.0, 1.0, 1.0, 1.0, 1.0]
    assert spot.reading[0].tolist() == [0.14, 0.15, 0.13, 0.08, 0.06]
    assert spot.known.tolist() == [2]


def test_water_wasted_is_what_drained_and_what_will_not_fit():
    dry = [50.0, 50.0, 50.0, 50.0]
    before = tried([dry, dry, [50.0, 50.0, 50.0, 58.0]], np.full((3, 4), 0.12))
    after = before.copy()
    after.water(0, 4.0)
    # None was run: the third has room for half of it before the rain.
    assert after.wasted(before, 4.0) == pytest.approx(2.0 / 12.0)
    drained = came([dry, dry], np.full((2, 4), 0.12), [[0, 3, 3, 3], [0, 1, 1, 1]])
    after.enter(np.array([0, 1]), drained, 1)
    assert after.wasted(before, 4.0) == pytest.approx((3.0 + 1.0 + 2.0) / 12.0)
    # What is above full where a draw was run to is on its way to the gravel.
    above = came([[50.0, 62.0, 62.0, 62.0]], np.full((1, 4), 0.12), [[0, 1, 1, 1]])
    after.enter(np.array([0]), above, 1)
    assert after.wasted(before, 4.0) == pytest.approx((1.0 + 2.0 + 1.0 + 2.0) / 12.0)


def test_draws_that_miss_the_line_by_a_time_or_come_near_it():
    reading = [[0.2, 0.15, 0.11, 0.09], [0.2, 0.15, 0.09, 0.09], [0.2, 0.15, 0.15, 0.12]]
    spot = tried(np.full((3, 4), 50.0), reading)
    assert spot.missed(LINE).tolist() == [0, 1]
    assert spot.missed(LINE, 2).tolist() == [1]
    assert spot.missed(LINE, 2, 0.015).tolist() == [0, 1]
    assert spot.missed(LINE, 3, np.inf).tolist() == [0, 1, 2]


def test_draws_that_are_not_run_go_on_as_those_that_are():
    """From where each stands, straight with what it reads there."""
    storage = np.tile([50.0, 45.0, 40.0, 35.0], (3, 1))
    spot = tried(storage, [[0.10, 0.09, 0.08, 0.07], [0.12, 0.1, 0.1, 0.1], [0.16, 0.1, 0.1, 0.1]])
    spot.water(0, 6.0)
    found = came(
        [[50.0, 50.0, 48.0, 0.0], [50.0, 49.0, 46.0, 0.0]],
        [[0.10, 0.13, 0.12, 0.0], [0.12, 0.14, 0.13, 0.0]],
        [[0.0, 0.0, 0.0, 0.0], [0.0, 1.0, 2.0, 0.0]],
    )
    spot.enter(np.array([0, 1]), found, 2, np.array([2]))
    # Between the two, 2 % by volume wetter gained 1 % less and lost 1 and 2 mm more.
    assert spot.reading[2, 1:3] == pytest.approx([0.16, 0.15])
    assert spot.storage[2] == pytest.approx([50.0, 47.0, 42.0, 37.0])
    assert spot.lost[2] == pytest.approx([0.0, 3.0, 6.0, 6.0])
    assert spot.room[2] == pytest.approx(FULL - spot.storage[2])
    # What was run stays what it was found to be, and it is known which that is.
    assert spot.reading[0, :3].tolist() == [0.10, 0.13, 0.12]
    assert spot.known.tolist() == [2, 2, 0] and spot.told.tolist() == [2, 2, 2]


def test_draws_that_tell_of_the_lowest_tenth_are_run_and_those_that_lag():
    reading = np.tile(np.linspace(0.11, 0.20, 100)[:, None], (1, 4))
    spot = tried(np.full((100, 4), 50.0), reading)
    every = np.arange(100)
    leads = spot.leading(every, LINE, 0.9, 3)
    assert 38 <= leads.sum() <= 44 and leads[: leads.sum()].all()
    spot.told[90] = 1
    assert np.array_equal(np.flatnonzero(spot.leading(every, LINE, 0.9, 3) ^ leads), [90])
    # Few would say little of how others go on.
    assert spot.leading(every[30:], LINE, 0.9, 3).all()


def test_a_plan_looks_ahead_with_some_draws_where_there_is_room_and_gives_the_same(monkeypatch):
    enter, taken = Tried.enter, []

    def entered(spot, draws, found, until, others):
        taken.append(others.size)
        enter(spot, draws, found, until, others)

    def given():
        taken.clear()
        plan = sw.hand_water_plan(
            sw.Survey([sw.Spot("A1", 33.0)]),
            MIDDLE_MIX,
            sw.steady_weather(8, "5 mm/day"),
            sw.Turf("15 cm"),
            "12 %",
            rod="3 in",
            draws=60,
        )
        return sum(walk.amount for walk in plan.waterings), max(taken)

    monkeypatch.setattr(Tried, "enter", entered)
    some, others = given()
    assert others > 20 and some > 10.0
    monkeypatch.setattr(planning, "SPARE", np.inf)
    every, others = given()
    assert others == 0 and some == pytest.approx(every, abs=1.0)


def test_draws_of_a_plan_are_run_as_far_as_the_next_decision_looks(monkeypatch):
    """And at the end those that were not, so that what is told of them is of the whole plan."""
    ends, known = [], []
    water, add = Standing.water, planning._add

    def watered(standing, numbers, events, *given, until=None):
        ends.append((len(events), until))
        return water(standing, numbers, events, *given, until=until)

    def added(*given):
        events, spot = add(*given)
        known.append(spot.known[spot.missed(0.12)])
        return events, spot

    monkeypatch.setattr(planning.Standing, "water", watered)
    monkeypatch.setattr(planning, "_add", added)
    green = sw.Survey([sw.Spot("A1", 34.0)])
    plan = sw.hand_water_plan(
        green,
        MIDDLE_MIX,
        sw.steady_weather(12, "5 mm/day"),
        sw.Turf("15 cm", fraction_above=(0.9, "10 cm")),
        "12 %",
        rod="3 in",
        draws=12,
    )
    visits = len(plan.waterings)
    assert visits >= 4
    first = [until for count, until in ends if count == 1]
    assert first and all(until is not None and until < 40 for until in first)
    # That of the check is to the end too.
    assert ends[-1] == (visits, None)
    assert known and all((each == 48).all() for each in known)


def test_hours_of_the_whole_plan_are_those_of_draws_run_to_the_end(monkeypatch):
    """Where visits may give no more, draws were last run a day or two beyond the last of them."""
    told, came = [], []
    add = planning._add

    def added(spot, stages, wish, visits):
        events, found = add(spot, stages, wish, visits)
        draws = np.flatnonzero(found.can_stay(wish.line))
        reading = spot.standing.water(draws, events).reading
        hours = 6.0 * (reading > wish.line).sum() / spot.trial.draws
        told.append(stages[-1].hours)
        came.append(hours)
        assert stages[-1].events == events and draws.size == spot.trial.draws
        return events, found

    monkeypatch.setattr(planning, "_add", added)
    sw.hand_water_plan(
        sw.Survey([sw.Spot("A1", 28.0)]),
        MIDDLE_MIX,
        [sw.steady_weather(8, et, first_day="2025-07-01") for et in (4.0, 5.0, 6.5)],
        sw.Turf("15 cm", fraction_above=(0.9, "10 cm")),
        "12 %",
        firm="15 %",
        firm_by="2025-07-05 08:00",
        event_day="2025-07-05",
        rod="3 in",
        draws=30,
    )
    assert told == pytest.approx(came, rel=1e-12) and told


def test_most_visits_bring_what_is_missing_at_the_first_try(monkeypatch):
    """What the visit before left tells it; one that brings too much is tried again with less."""
    tries, water = [], Tried.water

    def watered(tried, at, amount):
        tries.append(at)
        water(tried, at, amount)

    monkeypatch.setattr(Tried, "water", watered)
    spot = sw.Spot("C3", 34.0, readings=[sw.Reading(0.15, rod="3 in")])
    plan = sw.hand_water_plan(
        sw.Survey([spot]),
        MIDDLE_MIX,
        sw.steady_weather(8, 4.5),
        sw.Turf("15 cm", fraction_above=(0.9, "10 cm")),
        "11 %",
        start="readings",
        draws=20,
    )
    assert len(plan.waterings) >= 7
    assert len(tries) <= 1.5 * len(plan.waterings), tries


def test_what_spots_hold_again_lies_straight_between_what_was_worked_out():
    """At either end it is what stands there, and where the driest two hold the same as well."""
    rng = np.random.default_rng(4)
    driest = -np.sort(-rng.uniform(20.0, 60.0, (5, 11)), axis=1)
    driest[0, -1] = driest[0, -2]
    full, drained = rng.uniform(40.0, 60.0, (2, 5, 11))
    storage = rng.uniform(10.0, 70.0, (5, 30))
    storage[0, -1] = driest[0, -1]
    found = Refill(driest, full, drained).again(storage)
    held = np.minimum.accumulate(storage, axis=1)
    for k in range(5):
        for own, table in zip(found, (full, drained), strict=True):
            np.testing.assert_allclose(
                own[k], np.interp(-held[k], -driest[k], table[k]), rtol=1e-12, err_msg=str(k)
            )
