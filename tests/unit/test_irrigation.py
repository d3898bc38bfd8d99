"""Water applied: amounts, times, evenness, interception and the nightly rule."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from statistics import NormalDist

import numpy as np
import pytest

from soilwater.weather.daylight import cumulative_demand
from soilwater.weather.irrigation import (
    Event,
    cycle_and_soak,
    hand_water,
    intercept,
    irrigation_amounts,
    merge_intervals,
    syringe,
    too_soon_to_read,
)
from soilwater.weather.made import steady_weather
from soilwater.weather.rules import Rule
from soilwater.weather.uniformity import low_quarter_uniformity, uniformity_multipliers
from soilwater.words.errors import InputError


def test_an_event_by_rate_or_by_duration():
    by_rate = Event("2025-07-01 04:00", "6 mm", rate="18 mm/h")
    by_time = Event("2025-07-01 04:00", 6.0, duration="20 min")
    by_minutes = Event.from_run_time("2025-07-01 04:00", "20 min", "18 mm/h")
    for event in (by_rate, by_time, by_minutes):
        assert event.amount == pytest.approx(6.0)
        assert event.rate == pytest.approx(18.0)
        assert event.end == np.datetime64("2025-07-01T04:20", "ns")


def test_every_fault_of_an_event_at_once():
    with pytest.raises(InputError) as caught:
        Event("2025-07-01 04:00", "-6 mm", rate=0.0)
    assert len(caught.value.faults) == 2
    with pytest.raises(InputError, match=r"neither rate nor duration is given"):
        Event("2025-07-01 04:00", 6.0)
    with pytest.raises(InputError, match=r"gives 9 mm, not 6 mm"):
        Event("2025-07-01 04:00", 6.0, rate=18.0, duration=0.5)


def test_cycles_add_up_and_leave_the_pause():
    events = cycle_and_soak("2025-07-01 02:00", "9 mm", rate="18 mm/h", cycles=3, soak="50 min")
    assert sum(event.amount for event in events) == pytest.approx(9.0)
    for before, after in pairwise(events):
        assert after.time - before.end == np.timedelta64(50, "m")
    with pytest.raises(InputError, match="cycles is 0"):
        cycle_and_soak("2025-07-01 02:00", 9.0, rate=18.0, cycles=0, soak=1.0)


@pytest.mark.parametrize(
    ("flow", "litres_per_minute"),
    # US gallon 3.785411784 L, UK gallon 4.54609 L (NIST SP 811, Appendix B.8).
    [("15 gpm", 56.781), ("15 UK gal/min", 68.191), ("57 L/min", 57.0)],
)
def test_hand_water_states_which_gallon(flow, litres_per_minute):
    event = hand_water("2025-07-01 13:00", "1 min", flow=flow, area="10 m2")
    assert event.amount == pytest.approx(litres_per_minute / 10.0, rel=1e-4)
    assert f"{litres_per_minute:.1f} L/min" in event.name
    assert "US gal/min" in event.name


def test_8_mm_on_a_50_square_foot_patch_is_40_seconds_at_15_gpm():
    # 8 mm on 1000 ft2 is 196 US gallons, so 9.8 on 50 ft2: arithmetic of exact factors.
    event = hand_water("2025-07-01 13:00", "39.3 s", flow="15 gpm", area="50 ft2")
    assert event.amount == pytest.approx(8.0, rel=0.01)


def test_a_syringe_is_light_and_short():
    event = syringe("2025-07-01 14:00")
    assert event.amount <= 1.0 and event.duration * 60.0 == pytest.approx(1.0)
    # With a canopy that holds as much, nothing reaches the soil.
    through, _, _ = intercept([event.amount], [0.0], 0.5)
    assert through[0] == 0.0


def test_amounts_in_intervals_that_cut_events_across():
    edges = np.datetime64("2025-07-01", "ns") + np.arange(5) * np.timedelta64(1, "h")
    events = [
        Event("2025-07-01 00:30", 10.0, duration=1.0),
        Event("2025-07-01 01:00", 4.0, duration=2.0),
    ]
    np.testing.assert_allclose(irrigation_amounts(events, edges), [5.0, 7.0, 2.0, 0.0])


def test_events_outside_the_weather_are_all_named():
    sky = steady_weather(1, 5.0)
    late = [Event("2025-07-01 23:50", 6.0, rate=18.0), Event("2025-07-03 04:00", 3.0, rate=18.0)]
    with pytest.raises(InputError) as caught:
        merge_intervals(sky, late)
    assert len(caught.value.faults) == 2
    assert "6 mm from 2025-07-01 23:50 to 2025-07-02 00:10 is not inside the weather" in str(
        caught.value
    )


def test_merging_makes_edges_and_keeps_the_half_sine():
    sky = steady_weather(2, 5.0, rain=1.0)
    events = [
        Event("2025-07-01 05:50", 3.0, rate=18.0),
        Event("2025-07-02 10:13", 2.0, duration="7 min"),
    ]
    finer, irrigation = merge_intervals(sky, events)
    assert irrigation.sum() == pytest.approx(5.0, rel=1e-14)
    assert finer.rain.sum() == pytest.approx(2.0, rel=1e-14)
    for event in events:
        assert event.time in finer.edges and event.end in finer.edges
    hours = np.linspace(0.0, 48.0, 301)
    np.testing.assert_allclose(
        cumulative_demand(hours, finer.hours, finer.reference_et, finer.demand_shape),
        cumulative_demand(hours, sky.hours, sky.reference_et, sky.demand_shape),
        atol=1e-13,
    )
    assert merge_intervals(sky, [])[0] is sky


# --- evenness ------------------------------------------------------------------------------------


def test_low_quarter_uniformity_of_cans():
    # Twelve cans: the lowest three have mean 10, all have mean 15.
    cans = [9, 10, 11, 15, 15, 15, 16, 16, 17, 18, 19, 19]
    assert low_quarter_uniformity(cans) == pytest.approx(10.0 / 15.0)
    # Six cans: one and a half of them are the lowest quarter.
    assert low_quarter_uniformity([1, 2, 3, 3, 3, 3]) == pytest.approx((1 + 0.5 * 2) / 1.5 / 2.5)
    with pytest.raises(InputError, match="-1 at position 2"):
        low_quarter_uniformity([1.0, 2.0, -1.0, 3.0])
    with pytest.raises(InputError, match="nothing was caught"):
        low_quarter_uniformity([0.0] * 8)


@pytest.mark.parametrize("spots", [4, 7, 25, 200])
@pytest.mark.parametrize("target", [0.3, 0.45, 0.7, 0.85, 1.0])
def test_multipliers_have_mean_one_and_the_uniformity_asked_for(target, spots):
    multipliers = uniformity_multipliers(target, spots)
    assert multipliers.mean() == pytest.approx(1.0, rel=1e-12)
    assert low_quarter_uniformity(multipliers) == pytest.approx(target, rel=1e-9)
    assert (multipliers > 0.0).all() and (np.diff(multipliers) >= 0.0).all()


def test_multipliers_against_the_closed_forms():
    # Lognormal depths: uniformity = 4 Phi(-0.6745 - sigma), elementary from its partial mean.
    standard = NormalDist()
    multipliers = uniformity_multipliers(0.7, 4000)
    sigma = np.log(multipliers).std()
    closed = 4.0 * standard.cdf(standard.inv_cdf(0.25) - sigma)
    assert closed == pytest.approx(0.7, abs=2e-3)
    # The normal rule 1 - 1.27 x coefficient of variation (Warrick 1983, from memory).
    even = uniformity_multipliers(0.85, 4000)
    assert 1.0 - 1.27 * even.std() == pytest.approx(0.85, abs=0.01)


def test_a_spot_sees_its_share_at_the_same_time():
    event = Event("2025-07-01 04:00", 6.0, rate=18.0)
    dry = event.scaled(0.5)
    assert (dry.amount, dry.rate, dry.duration) == (3.0, 9.0, event.duration)


# --- canopy and mat ------------------------------------------------------------------------------


def test_the_bucket_against_a_fine_march_of_its_own_equation():
    # Euler steps of dW/dt = water - demand within 0 and capacity, 20000 per interval.
    rng = np.random.default_rng(3)
    water = rng.choice([0.0, 0.0, 0.3, 4.0], 40)
    demand = rng.uniform(0.0, 0.6, 40)
    through, evaporated, stored = intercept(water, demand, 1.0)
    held, n = 0.0, 2000
    for i in range(40):
        passed = lost = 0.0
        for _ in range(n):
            gain, loss = water[i] / n, min(demand[i] / n, held + water[i] / n)
            held += gain - loss
            lost += loss
            spill = max(held - 1.0, 0.0)
            held -= spill
            passed += spill
        assert through[i] == pytest.approx(passed, abs=5e-3)
        assert evaporated[i] == pytest.approx(lost, abs=5e-3)
    assert stored == pytest.approx(held, abs=5e-3)


def test_the_bucket_keeps_account():
    rng = np.random.default_rng(4)
    water, demand = rng.exponential(1.0, 500), rng.exponential(0.5, 500)
    through, evaporated, stored = intercept(water, demand, 1.5, stored=0.5)
    assert water.sum() + 0.5 == pytest.approx(through.sum() + evaporated.sum() + stored, rel=1e-13)
    assert (evaporated <= demand + 1e-15).all() and (through >= 0.0).all()
    with pytest.raises(InputError, match=r"stored is 2 mm; allowed: 0 to the capacity of 1 mm"):
        intercept([0.0], [0.0], 1.0, stored=2.0)


# --- the rule ------------------------------------------------------------------------------------

RULE = Rule("6 mm", "15 %", rod="7.6 cm", rate="18 mm/h", hour=22.0)


def test_the_rule_waters_below_its_line_and_not_in_rain():
    when = "2025-07-01 22:00"
    event = RULE.decide(when, reading=0.149, recent_rain=0.0)
    assert event is not None and event.amount == 6.0 and event.rate == 18.0
    assert event.time == np.datetime64(when, "ns")
    assert RULE.decide(when, reading=0.15, recent_rain=0.0) is None
    assert RULE.decide(when, reading=0.10, recent_rain=0.3) is None
    assert replace(RULE, rain_limit=0.5).decide(when, reading=0.10, recent_rain=0.3) is not None


def test_the_rule_decides_once_a_night():
    times = RULE.decision_times("2025-07-01 12:00", "2025-07-08 22:00")
    assert len(times) == 7
    assert times[0] == np.datetime64("2025-07-01T22:00")
    assert (np.diff(times) == np.timedelta64(1, "D")).all()
    assert len(RULE.decision_times("2025-07-01 22:30", "2025-07-02 21:00")) == 0


def test_the_rule_refuses_a_missing_reading_and_names_its_faults():
    with pytest.raises(InputError, match=r"2025-07-01 22:00: the reading is nan"):
        RULE.decide("2025-07-01 22:00", reading=float("nan"), recent_rain=0.0)
    with pytest.raises(InputError) as caught:
        Rule(-6.0, 15.0, rod=7.6, rate=18.0, hour=25.0)
    message = str(caught.value)
    assert len(caught.value.faults) == 3
    assert "it looks like per cent: write 0.15" in message
    assert "hour is 25" in message


def test_readings_soon_after_water_are_sent_back():
    watering = [Event("2025-07-01 06:00", 6.0, duration=1.0 / 3.0)]
    assert too_soon_to_read("2025-07-01 06:40", watering, root_zone="12 in") == (
        "Not drained yet: read 0.3 h after 6 mm of water; use readings 6 h or more after it."
    )
    assert "12 h or more" in too_soon_to_read("2025-07-01 16:00", watering, root_zone="18 in")
    assert too_soon_to_read("2025-07-01 16:00", watering, root_zone="12 in") == ""
    assert too_soon_to_read("2025-07-01 05:00", watering, root_zone="12 in") == ""
