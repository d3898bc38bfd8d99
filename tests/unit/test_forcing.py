"""What weather, turf and irrigation become on their way to the kernel."""

import numpy as np
import pytest

import soilwater as sw
from soilwater.kernels import rows as kernel_rows
from soilwater.runs.forcing import forcing_maker, make_forcing

DAYS = sw.steady_weather(2, 5.0, rain=2.4)
TURF = sw.Turf(15.0, crop_coefficient=0.8, cover=0.75)


def rows(forcing, *names):
    return [forcing.intervals[:, getattr(kernel_rows, name)] for name in names]


def test_intervals_lie_end_to_end_and_carry_what_falls_in_them():
    forcing = make_forcing(DAYS, TURF, [])
    start, end, water = rows(forcing, "START", "END", "WATER_AMOUNT")
    assert start.tolist() == [0.0, 6.0, 18.0, 24.0, 30.0, 42.0]
    assert np.array_equal(end[:-1], start[1:])
    assert end[-1] == 48.0
    # 2.4 mm a day, evenly; demand only between sunrise and sunset.
    assert water == pytest.approx([0.6, 1.2, 0.6] * 2)
    transpiration, evaporation = rows(forcing, "TRANSPIRATION_AMOUNT", "EVAPORATION_AMOUNT")
    assert transpiration == pytest.approx([0.0, 5.0 * 0.8 * 0.75, 0.0] * 2)
    assert evaporation == pytest.approx([0.0, 5.0 * 0.8 * 0.25, 0.0] * 2)
    first, last = rows(forcing, "PHASE_START", "PHASE_END")
    assert (first.tolist(), last.tolist()) == ([0.0] * 6, [0.0, 1.0, 0.0] * 2)
    assert forcing.interception.tolist() == [0.0] * 6


def test_without_turf_nothing_is_asked_of_the_soil():
    forcing = make_forcing(DAYS, None, [])
    for demand in rows(forcing, "TRANSPIRATION_AMOUNT", "EVAPORATION_AMOUNT"):
        assert not demand.any()
    assert forcing.intervals[:, kernel_rows.WATER_AMOUNT].sum() == pytest.approx(4.8)


def test_an_event_cuts_the_intervals_and_only_they_get_its_water():
    event = sw.Event("2025-07-01 09:00", 6.0, rate=12.0)
    forcing = make_forcing(DAYS, TURF, [event])
    start, water = rows(forcing, "START", "WATER_AMOUNT")
    assert start.tolist() == [0.0, 6.0, 9.0, 9.5, 18.0, 24.0, 30.0, 42.0]
    assert forcing.irrigation.tolist() == pytest.approx([0, 0, 6.0, 0, 0, 0, 0, 0])
    assert forcing.rain == pytest.approx([0.6, 0.3, 0.05, 0.85, 0.6, 0.6, 1.2, 0.6])
    assert water == pytest.approx(forcing.rain + forcing.irrigation)


def test_a_cut_half_sine_keeps_its_shape_and_its_sum():
    event = sw.Event("2025-07-01 09:00", 6.0, rate=12.0)
    forcing = make_forcing(DAYS, TURF, [event])
    first, last, amount = rows(forcing, "PHASE_START", "PHASE_END", "TRANSPIRATION_AMOUNT")
    assert first[1:4] == pytest.approx([0.0, 0.25, 3.5 / 12.0])
    assert last[1:4] == pytest.approx([0.25, 3.5 / 12.0, 1.0])
    # Daylight from 6 to 18 h: the integral of half a sine over each part.
    part = 0.5 * (np.cos(np.pi * first[1:4]) - np.cos(np.pi * last[1:4]))
    assert amount[1:4] == pytest.approx(3.0 * part)


def test_canopy_and_mat_catch_water_and_meet_demand_with_it():
    turf = sw.Turf(15.0, interception=1.0)
    weather = sw.Weather(
        np.array(["2025-07-01T00", "2025-07-01T01", "2025-07-01T02", "2025-07-01T03"], "M8[ns]"),
        [3.0, 0.0, 0.0],
        [0.0, 0.6, 0.8],
    )
    forcing = make_forcing(weather, turf, [])
    water, transpiration = rows(forcing, "WATER_AMOUNT", "TRANSPIRATION_AMOUNT")
    # 1 mm is caught; the next two hours ask 0.6 and 0.8 mm, of which it meets 0.6 and 0.4.
    assert water == pytest.approx([2.0, 0.0, 0.0])
    assert forcing.interception == pytest.approx([1.0, 0.0, 0.0])
    assert transpiration == pytest.approx([0.0, 0.0, 0.4])


def test_rain_of_a_day_fills_canopy_and_mat_and_no_more():
    turf = sw.Turf(15.0, interception=1.0)
    forcing = make_forcing(sw.steady_weather(2, 5.0, rain=12.0), turf, [])
    # By hand: 1 mm in the first night, dried by day, and 1 mm again from the rain of the evening.
    assert forcing.interception == pytest.approx([1.0, 0.0, 1.0, 0.0, 0.0, 1.0])
    water, transpiration = rows(forcing, "WATER_AMOUNT", "TRANSPIRATION_AMOUNT")
    assert water == pytest.approx([2.0, 6.0, 2.0, 3.0, 6.0, 2.0])
    assert transpiration == pytest.approx([0.0, 4.0, 0.0, 0.0, 4.0, 0.0])


def test_rain_and_irrigation_of_known_hours_fall_while_the_canopy_dries():
    turf = sw.Turf(15.0, interception=1.0)
    edges = np.datetime64("2025-07-01T06", "ns") + np.arange(5) * np.timedelta64(1, "h")
    hourly = make_forcing(sw.Weather(edges, [1.0] * 4, [0.5] * 4), turf, [])
    assert hourly.interception.sum() == pytest.approx(1.0 + 4 * 0.5)
    event = sw.Event("2025-07-01 06:00", 12.0, duration=12.0)
    watered = make_forcing(sw.steady_weather(1, 5.0), turf, [event])
    assert watered.interception.sum() == pytest.approx(1.0 + 5.0)


def test_roots_are_asked_for_nothing_while_the_canopy_meets_the_demand():
    """To the last digit: less than nothing would leave them what the hour before asked for."""
    turf = sw.Turf(15.0, interception="2 mm")
    noon = sw.Event(DAYS.start + np.timedelta64(12 * 60 + 15, "m"), 40.0, duration=0.5)
    forcing = make_forcing(DAYS, turf, [noon])
    for amounts in rows(forcing, "WATER_AMOUNT", "TRANSPIRATION_AMOUNT", "EVAPORATION_AMOUNT"):
        assert (amounts >= 0.0).all()
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    green = sw.Profile.over_gravel(sand, 30.0)
    run = sw.simulate(green, DAYS, turf=turf, irrigation=[noon], output=24.0)
    (asked,) = rows(forcing, "TRANSPIRATION_AMOUNT")
    assert run.potential_transpiration[-1] == pytest.approx(asked.sum(), rel=1e-9)


def test_amounts_are_summed_to_any_hour():
    forcing = make_forcing(DAYS, TURF, [sw.Event("2025-07-01 09:00", 6.0, rate=12.0)])
    hours = np.array([0.0, 3.0, 9.25, 24.0, 48.0])
    assert forcing.cumulative(forcing.rain, hours) == pytest.approx(0.1 * hours)
    assert forcing.cumulative(forcing.irrigation, hours) == pytest.approx([0, 0, 3, 6, 6])


def test_every_event_outside_the_weather_is_named():
    events = [sw.Event(f"2025-07-{day} 09:00", 6.0, rate=12.0) for day in ("01", "05", "07")]
    with pytest.raises(sw.InputError) as caught:
        make_forcing(DAYS, TURF, events)
    assert len(caught.value.faults) == 2
    assert "2025-07-05 09:00" in str(caught.value)
    assert "allowed: 2025-07-01 00:00 to 2025-07-03 00:00" in str(caught.value)


def test_the_same_water_again_is_the_same_forcing_and_other_water_or_turf_another():
    forcing_of, noon = forcing_maker(), DAYS.start + np.timedelta64(12, "h")
    little, much = ((sw.Event(noon, amount, duration=0.5),) for amount in (2.0, 5.0))
    other = sw.Turf(15.0, crop_coefficient=0.6)
    once = forcing_of(DAYS, TURF, little)
    assert forcing_of(DAYS, TURF, list(little)) is once
    for turf, water in ((other, little), (TURF, much), (other, much), (TURF, little), (TURF, ())):
        made, alone = forcing_of(DAYS, turf, water), make_forcing(DAYS, turf, water)
        assert np.array_equal(made.intervals, alone.intervals)
