"""Weather as exact intervals: nothing lost, nothing moved, missing is never zero."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from scipy.integrate import quad

from soilwater import read_weather
from soilwater.weather.daylight import cumulative_demand
from soilwater.weather.made import from_days, steady_weather, weather_from_table
from soilwater.weather.series import Weather
from soilwater.words.errors import InputError


def hours(n, start="2025-07-01"):
    return np.datetime64(start, "ns") + np.arange(n + 1) * np.timedelta64(1, "h")


@pytest.mark.parametrize("year", ["3025", "0225"])
def test_a_file_of_years_that_times_do_not_reach_is_refused(tmp_path, year):
    days = [f"{year}-07-0{i},0,5" for i in range(1, 5)]
    path = tmp_path / "weather.csv"
    path.write_text("\n".join(["date,rain (mm),ET (mm)", *days]))
    with pytest.raises(InputError, match=f'"{year}-07-01" is too far off.*the years 1678 to 2261'):
        read_weather(path)


def test_steady_days_have_their_demand_between_sunrise_and_sunset():
    sky = steady_weather(3, "0.2 in/day", rain="1 mm/day", sunrise=5.5, sunset=20.0)
    assert sky.n == 9
    np.testing.assert_allclose(sky.hours[:4], [0.0, 5.5, 20.0, 24.0])
    assert sky.reference_et.sum() == pytest.approx(3 * 5.08)
    assert sky.rain.sum() == pytest.approx(3.0)
    np.testing.assert_allclose(sky.rain[:3], np.diff(sky.hours[:4]) / 24.0)
    assert sky.daylight.tolist() == [False, True, False] * 3
    assert sky.demand_shape[1].tolist() == [0.0, 1.0]


def test_a_first_day_with_a_time_of_day_is_not_moved_in_silence():
    with pytest.raises(InputError, match=r'a day more from first_day="2025-07-01"') as caught:
        steady_weather(3, 5.0, first_day="2025-07-01 13:00")
    # The cure works when it is followed.
    cut = re.search(r'\.between\("(.*)", "(.*)"\)', str(caught.value)).groups()
    found = steady_weather(4, 5.0, first_day="2025-07-01").between(*cut)
    assert (found.start, found.end - found.start) == (
        np.datetime64("2025-07-01T13"),
        np.timedelta64(3, "D"),
    )
    assert steady_weather(1, 5.0, first_day="2025-07-01").start == np.datetime64("2025-07-01")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ({"days": 0}, "days is 0"),
        ({"days": 1.5}, "days is 1.5"),
        # Beyond every calendar, and beyond every whole number.
        ({"days": -4_000_000}, "days is -4000000; allowed: a whole number of days, 1 or more"),
        ({"days": np.nan}, "days is nan; allowed: a whole number of days, 1 or more"),
        ({"days": -1e30}, r"days is -1e\+30; allowed: a whole number of days, 1 or more"),
        ({"reference_et": -1.0}, "reference_et is -1 mm/day"),
        ({"sunrise": 19.0}, "sunrise=19, sunset=18"),
    ],
)
def test_impossible_days_are_refused(arguments, sentence):
    with pytest.raises(InputError, match=sentence):
        steady_weather(**{"days": 2, "reference_et": 5.0, **arguments})


def test_half_sine_against_quadrature():
    sky = steady_weather(1, 5.0)
    amplitude = 5.0 * np.pi / (2.0 * 12.0)  # so that the integral over 12 h is 5 mm

    def rate(hour):
        return amplitude * np.sin(np.pi * (hour - 6.0) / 12.0) if 6.0 <= hour <= 18.0 else 0.0

    for end in (6.0, 7.3, 12.0, 17.99, 18.0, 22.0):
        expected = quad(rate, 0.0, end, points=[6.0, min(end, 18.0)])[0]
        found = cumulative_demand(end, sky.hours, sky.reference_et, sky.demand_shape)
        assert float(found) == pytest.approx(expected, abs=1e-8)


def test_refining_keeps_every_amount_and_the_course_of_demand():
    sky = steady_weather(2, 5.0, rain=3.0)
    cut = sky.refine(np.array(["2025-07-01T09:17", "2025-07-02T02:00"], dtype="datetime64[ns]"))
    assert cut.n == sky.n + 2
    assert cut.rain.sum() == pytest.approx(6.0, rel=1e-14)
    assert cut.reference_et.sum() == pytest.approx(10.0, rel=1e-14)
    at = np.linspace(0.0, 48.0, 97)
    np.testing.assert_allclose(
        cumulative_demand(at, cut.hours, cut.reference_et, cut.demand_shape),
        cumulative_demand(at, sky.hours, sky.reference_et, sky.demand_shape),
        atol=1e-13,
    )
    with pytest.raises(InputError, match="2025-07-04 00:00 lies outside the weather"):
        sky.refine(np.array(["2025-07-04"], dtype="datetime64[ns]"))


def test_cutting_out_a_part():
    sky = steady_weather(3, 5.0)
    noon = sky.between("2025-07-01 12:00", "2025-07-02 12:00")
    assert noon.hours[-1] == 24.0
    assert noon.reference_et.sum() == pytest.approx(5.0)
    with pytest.raises(InputError, match="is not after begin"):
        sky.between("2025-07-02", "2025-07-01")


def test_shifting_moves_time_and_nothing_else():
    sky = steady_weather(1, 5.0)
    later = sky.shift("2 days")
    assert later.start - sky.start == np.timedelta64(2, "D")
    np.testing.assert_array_equal(later.hours, sky.hours)


def test_a_year_of_hours_never_drifts():
    year = Weather(hours(8760), np.zeros(8760), np.zeros(8760))
    assert np.array_equal(year.hours, np.arange(8761.0))


def test_an_observation_day_from_nine_to_nine_keeps_the_sun_in_its_place():
    edges = np.datetime64("2025-07-01T09:00", "ns") + np.arange(3) * np.timedelta64(1, "D")
    sky = from_days(edges, np.array([2.4, 0.0]), np.array([4.0, 6.0]))
    assert sky.reference_et.sum() == pytest.approx(10.0)
    share = 0.5 * (1.0 + np.cos(np.pi * 0.25))  # from 09:00 to 18:00: phases 0.25 to 1
    first = cumulative_demand(9.0, sky.hours, sky.reference_et, sky.demand_shape)
    assert float(first) == pytest.approx(4.0 * share)
    whole = cumulative_demand(24.0, sky.hours, sky.reference_et, sky.demand_shape)
    assert float(whole) == pytest.approx(4.0)


# --- tables --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["frame", "dataset"])
def test_tables_of_days(kind):
    frame = pd.DataFrame(
        {"rain": [0.0, 12.0], "reference_et": [5.0, 2.0]},
        index=pd.date_range("2025-07-01", periods=2, name="time"),
    )
    table = frame if kind == "frame" else xr.Dataset.from_dataframe(frame)
    starting = weather_from_table(table, label="start")
    ending = weather_from_table(table, label="end")
    assert starting.start == np.datetime64("2025-07-01")
    assert ending.start == np.datetime64("2025-06-30")
    assert starting.reference_et.sum() == ending.reference_et.sum() == pytest.approx(7.0)
    assert starting.daylight.sum() == 2


def test_tables_of_hours_are_even_within_the_hour():
    frame = pd.DataFrame(
        {"rain": 0.0, "reference_et": 0.2}, index=pd.date_range("2025-07-01", periods=24, freq="1h")
    )
    sky = weather_from_table(frame, label="start")
    assert sky.n == 24 and not sky.daylight.any()


def test_a_gap_names_both_sides_of_it():
    index = pd.DatetimeIndex(["2025-07-01 00:00", "2025-07-01 01:00", "2025-07-01 05:00"])
    frame = pd.DataFrame({"rain": 0.0, "reference_et": 0.2}, index=index)
    with pytest.raises(InputError) as caught:
        weather_from_table(frame, label="start")
    assert (
        "gap: nothing between 2025-07-01 01:00 and 2025-07-01 05:00 although the step is 1 h"
        in (str(caught.value))
    )


def test_faults_of_a_table_come_together():
    frame = pd.DataFrame({"rain": [0.0, 0.0]}, index=pd.date_range("2025-07-01", periods=2))
    with pytest.raises(InputError) as caught:
        weather_from_table(frame, label="middle", rain="Rain")
    message = str(caught.value)
    assert len(caught.value.faults) == 3
    assert "label is 'middle'" in message and 'there is no column "reference_et"' in message


def test_missing_negative_and_backward_values_are_all_named():
    edges = hours(3)
    with pytest.raises(InputError) as caught:
        Weather(edges, np.array([0.0, np.nan, -1.0]), np.array([0.1, 0.1, np.nan]))
    message = str(caught.value)
    assert (
        "rain: missing (not a finite number) in 1 of 3 intervals, first from 2025-07-01 01:00"
        in (message)
    )
    assert "rain: -1 mm in the interval from 2025-07-01 02:00" in message
    assert "reference_et: missing" in message and "missing is not zero" in message
    with pytest.raises(InputError, match="time does not go forward: 2025-07-01 03:00"):
        Weather(edges[::-1], np.zeros(3), np.zeros(3))
    with pytest.raises(InputError, match=r"demand_shape is \(0.5, 0.2\)"):
        Weather(edges, np.zeros(3), np.zeros(3), np.array([[0.5, 0.2], [0, 0], [0, 0]]))


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (pd.Timestamp("2025-07-01", tz="UTC"), "carries the time zone UTC"),
        (3.0, "numbers .3. where times are due"),
        ("soon", 'cannot be read as times .*allowed: .*"2025-07-01 06:00"'),
        (pd.NaT, "the time at position 0 is missing"),
        (np.datetime64("NaT"), "the time at position 0 is missing"),
        # Nanoseconds in 64 bits reach from 1677 to 2262.
        ("3025-07-01", r"beyond what is kept \(3025-07-01.*allowed: the years 1678 to 2261"),
        (np.datetime64("1025-07-01"), "beyond what is kept .*allowed: the years 1678 to 2261"),
        ("2261-12-31", "go on to 2262-01-01; allowed: the years 1678 to 2261"),
    ],
)
def test_times_that_are_none(value, sentence):
    with pytest.raises(InputError, match=sentence):
        steady_weather(1, 5.0, first_day=value)


def test_arrays_are_copied_and_frozen():
    rain = np.zeros(3)
    sky = Weather(hours(3), rain, np.zeros(3))
    rain[0] = 9.0
    assert sky.rain[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        sky.rain[0] = 1.0


# --- how it shows --------------------------------------------------------------------------------


def test_representations():
    sky = steady_weather(2, 5.0, name="dry spell")
    text = repr(sky)
    assert 'Weather "dry spell"' in text
    assert "2025-07-01 00:00 to 2025-07-03 00:00 (2 days)" in text
    assert "10.0 mm (0.39 in), 5.0 mm/day" in text
    assert "... and 1 more intervals" in text
    assert "<caption>Weather &quot;dry spell&quot;</caption>" in sky._repr_html_()


def test_datasets_carry_bounds_and_units():
    dataset = steady_weather(1, 5.0).to_dataset()
    assert dataset["reference_et"].attrs["units"] == "mm"
    assert dataset.sizes == {"time": 3, "bound": 2}
    assert dataset["time_bounds"].values[-1, 1] == np.datetime64("2025-07-02")
