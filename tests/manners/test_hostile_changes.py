"""Station files whose unit changes on the way down, or that count in tenths or in whole numbers.

Every question is answered by what it says itself: the cure is taken from the text and pasted.
"""

import numpy as np
import pandas as pd
import pytest
from doubtful_stations import asked, cured, fahrenheit, of

import soilwater as sw
from tests.cures import cures_in


def fraction(column):
    return (column / 100.0).round(2)


def in_km_h(column):
    return (column * 3.6).round(1)


CHANGES = {
    # Read as Celsius to the end the second week had 50 degC; as Fahrenheit the first was at -13.
    "C, then F": ("southern winter", False, ["Temp (degC)"], fahrenheit, "air_temperature"),
    "C, then F in the cold": ("cold winter", False, ["Temp (degC)"], fahrenheit, "air_temperature"),
    "C, then F by the day": (
        "cold winter", True, ["Tmax (degC)", "Tmin (degC)"], fahrenheit, "maximum_air_temperature"),
    # The cure that was told swapped temperature and humidity.
    "per cent, then fractions": (
        "desert in July", False, ["RH (%)"], fraction, "relative_humidity"),
    "m/s, then km/h": ("southern winter", False, ["Wind (m/s)"], in_km_h, "wind_speed"),
    "W/m2, then MJ": (
        "windy links in March", False, ["Solar (W/m2)"], lambda x: (x * 3.6e-3).round(3),
        "solar_radiation"),
    # 80 W/m2 under MJ/m2: "all are in range as W/m2", and the first week was dark.
    "MJ, then W/m2 by the day": (
        "southern winter", True, ["Solar (MJ/m2)"], lambda x: (x / 0.0864).round(),
        "solar_radiation"),
    "mm of demand, then inches": (
        "windy links in March", True, ["ETo (mm)"], lambda x: (x / 25.4).round(2), "reference_et"),
    "mm of rain, then inches": (
        "windy links in March", False, ["Rain (mm)"], lambda x: (x / 25.4).round(2), "rain"),
}  # fmt: skip


@pytest.mark.parametrize("kind", CHANGES)
def test_a_unit_that_changes_at_a_row_is_asked_about_and_each_part_can_be_read(kind):
    place, daily, headers, change, quantity = CHANGES[kind]
    table, options = of(place, daily)
    truth = sw.read_station(table, **options)
    half = len(table) // 2
    changed = table.copy()
    for header in headers:
        column = table[header].astype(float).copy()
        column.iloc[half:] = change(column.iloc[half:])
        changed[header] = column
    text = asked(changed, **options)
    assert "did the unit change there?" in text
    first, second = (cure for cure in cures_in(text) if "leave_out" in cure)
    step = np.timedelta64(24 if daily else 1, "h")
    for told in (first, second):
        part = sw.read_station(changed, **(options | told))
        begin = int((part.edges[0] - truth.edges[0]) / step)
        assert part.n >= half - (1 if daily else 48)
        same = truth.values[quantity][begin : begin + part.n]
        # What inches of two decimals round away.
        slack = 0.15 if quantity in ("rain", "reference_et") else 0.06
        np.testing.assert_allclose(part.values[quantity], same, atol=slack, rtol=0.02)


def test_a_front_is_no_change_of_unit():
    # From -17 to 1 degC within a night, as Fahrenheit would be; not from one hour to the next.
    table, options = of("cold winter", False)
    warm = np.interp(np.arange(len(table)), [0, 160, 172, len(table)], [2, 2, 20, 20])
    table = table.assign(**{"Temp (degC)": (table["Temp (degC)"] + warm).round(1)})
    sw.read_station(table, **options)


def test_winters_that_leap_every_other_week_change_no_unit():
    # From -25 to -13 degC within days is what Fahrenheit would make of it, and what plains have.
    rng = np.random.default_rng(2)
    warm = np.zeros(365)
    for day in range(1, 365):
        warm[day] = 0.75 * warm[day - 1] + rng.normal(0.0, 4.3)
    mean = 3.0 - 19.0 * np.cos(2.0 * np.pi * (np.arange(365) - 15) / 365) + warm
    table = {
        "Date": pd.date_range("2025-01-01", periods=365).strftime("%Y-%m-%d"),
        "Temp (degC)": mean.round(1),
    }
    assert np.abs(mean[3:] - mean[:-3]).max() > 15.0
    sw.read_station(table)


def test_a_season_that_lies_between_is_no_change_of_unit():
    # A logger that slept from February to June.
    times = [pd.date_range(begin, periods=480, freq="h") for begin in ("2025-02-01", "2025-06-01")]
    course = 5.0 * np.sin(2.0 * np.pi * np.arange(480) / 24.0)
    table = {
        "Time": times[0].append(times[1]).strftime("%Y-%m-%d %H:%M"),
        "Temp (degC)": np.concatenate([course - 5.0, course + 18.0]).round(1),
    }
    sw.read_station(table, label="start")


@pytest.mark.parametrize(("header", "code"), [("Solar (MJ/m2)", 999), ("RH (%)", 9999)])
def test_a_code_at_the_end_of_a_file_is_no_other_unit(header, code):
    table, options = of("southern winter", True)
    if header not in table:
        table = table.assign(**{header: np.linspace(60.0, 80.0, len(table)).round()})
    table = table.assign(**{header: table[header].where(table.index < len(table) - 5, code)})
    assert cures_in(asked(table, **options))[0] == {"missing": (code,)}


def test_a_part_with_lines_that_hold_no_row_is_left_out_in_one_word(tmp_path):
    rng = np.random.default_rng(1)
    wind = np.clip(rng.gamma(8.0, 0.3, 480), 0.1, None)
    wind[240:] *= 3.6
    times = pd.date_range("2025-05-01", periods=480, freq="h")
    rows = [f"{time:%Y-%m-%d %H:%M},{speed:.1f}" for time, speed in zip(times, wind, strict=True)]
    path = tmp_path / "station.csv"
    path.write_text(
        "\n".join(["Time,Wind (m/s)", *rows[:100], "", *rows[100:400], "", *rows[400:]])
    )
    text = asked(path, label="start")
    assert len(text) < 600
    first, second = (cure for cure in cures_in(text) if "leave_out" in cure)
    assert [sw.read_station(path, label="start", **each).n for each in (first, second)] == [
        240,
        240,
    ]


@pytest.mark.parametrize("daily", [False, True])
def test_tenths_of_mm_called_mm(daily):
    # 308 mm of rain in a fortnight of winter, every amount a whole number.
    table, options = of("southern winter", daily)
    wrong = table.assign(**{"Rain (mm)": (10 * table["Rain (mm)"]).round()})
    assert cured(wrong, **options).values["rain"].sum() == pytest.approx(table["Rain (mm)"].sum())


def test_tenths_of_degrees_and_of_demand():
    table, options = of("southern winter", True)
    for headers in (["Tmax (degC)", "Tmin (degC)"], ["ETo (mm)"]):
        wrong = table.assign(**{header: (10 * table[header]).round() for header in headers})
        (told, *_) = [c for c in cures_in(asked(wrong, **options)) if "0.1 " in str(c)]
        record = sw.read_station(wrong, **options, **told)
        alike_to_a_tenth(record, sw.read_station(table, **options))


def alike_to_a_tenth(record, truth):
    for quantity, column in truth.values.items():
        np.testing.assert_allclose(record.values[quantity], column, atol=0.06)


@pytest.mark.parametrize(("unit", "factor"), [("mph", 0.44704), ("kn", 1.852 / 3.6)])
def test_whole_winds_are_counts_of_another_unit(unit, factor):
    table, options = of("southern winter", False)
    counts = (table["Wind (m/s)"] / factor).round()
    text = asked(table.assign(**{"Wind (m/s)": counts}), **options)
    (told,) = [cure for cure in cures_in(text) if cure.get("units") == {"wind_speed": unit}]
    record = sw.read_station(table.assign(**{"Wind (m/s)": counts}), **options, **told)
    assert record.values["wind_speed"].mean() == pytest.approx(table["Wind (m/s)"].mean(), rel=0.03)


def test_whole_winds_of_a_calm_place_and_a_few_good_rains_are_as_they_are():
    # In any unit that is counted in whole numbers, no place would be as still as that.
    table, options = of("southern winter", True)
    calm = table.assign(**{"Wind (m/s)": np.resize([1.0, 2.0, 1.0, 2.0, 1.0, 3.0], len(table))})
    assert sw.read_station(calm, **options).values["wind_speed"].max() == 3.0
    rain = np.zeros(len(table))
    rain[[2, 6, 9]] = 20.0
    record = sw.read_station(table.assign(**{"Rain (mm)": rain}), **options)
    assert record.values["rain"].sum() == 60.0


def test_the_demand_of_a_file_tells_the_unit_of_its_wind():
    # mph under m/s in a calm place: nothing in the wind itself speaks against it.
    table, options = of("desert in January", True)
    weather = sw.read_station(table, **options).to_weather("fao56")
    day = (weather.edges[:-1] - weather.start).astype("timedelta64[D]").astype(int)
    demand = np.bincount(day, weather.reference_et)
    own = table.assign(**{"ETo (mm)": demand.round(2)})
    sw.read_station(own, **options)
    in_mph = own.assign(**{"Wind (m/s)": (own["Wind (m/s)"] / 0.44704).round(1)})
    record = cured(in_mph, **options)
    np.testing.assert_allclose(record.values["wind_speed"], table["Wind (m/s)"], atol=0.05)


@pytest.mark.parametrize("minutes", [15, 60])
def test_a_clock_of_twelve_hours_without_am_and_pm(minutes):
    # Told to leave out row after row: 27 questions, and none of their cures led anywhere.
    times = pd.date_range("2026-07-01 00:00", periods=4 * 24 * 60 // minutes, freq=f"{minutes}min")
    table = {"Time": times.strftime("%Y-%m-%d %I:%M").tolist(), "Rain (mm)": [0.0] * len(times)}
    text = asked(table, label="start")
    assert "a clock of 12 hours whose am and pm are lost" in text and "fault" not in text
    said = {**table, "Time": times.strftime("%Y-%m-%d %I:%M %p").tolist()}
    assert sw.read_station(said, label="start").n == len(times)
