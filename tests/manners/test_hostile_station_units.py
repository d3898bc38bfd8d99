"""Station tables under a wrong unit, a sun that is off, and totals: asked about, and set right."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from doubtful_stations import asked, cured, fahrenheit, hourly_rain, of, relabelled

import soilwater as sw
from soilwater.weather.reference_et import Site
from tests.climates import PLACES, Place, days_at, hours_at
from tests.cures import cures_in

# --- units that physics speaks against -----------------------------------------------------------


MISLABELLED = {
    # 75 F is a summer's day; 75 C is none on Earth.
    "F as C in the tropics": (
        "humid tropics", False, "Temp (degC)", "degC", fahrenheit, "air_temperature"),
    # 41 F, a raw spring day, would pass for a desert's in C; not at 57 degrees of latitude.
    "F as C in spring": (
        "windy links in March", False, "Temp (degC)", "degC", fahrenheit, "air_temperature"),
    "C as F in the desert": (
        "desert in July", False, "Temp (degC)", "degF", None, "air_temperature"),
    "C as F on a foggy coast": (
        "foggy coast", False, "Temp (degC)", "degF", None, "air_temperature"),
    "C as F in a southern winter": (
        "southern winter", False, "Temp (degC)", "degF", None, "air_temperature"),
    # Seventeen days of cloudbursts, none of them in hundredths of an inch.
    "mm as inches": ("humid tropics", True, "Rain (mm)", "in", None, "rain"),
    "mm as inches by the hour": ("windy links in March", False, "Rain (mm)", "in", None, "rain"),
    # A gauge that counts 0.2 mm does not show 0.03.
    "inches as mm": (
        "windy links in March", True, "Rain (mm)", "mm", lambda x: (x / 25.4).round(2), "rain"),
    "inches of demand as mm": (
        "southern winter", True, "ETo (mm)", "mm", lambda x: (x / 25.4).round(3), "reference_et"),
    "mm of demand as inches": ("humid tropics", True, "ETo (mm)", "in", None, "reference_et"),
    # A sun of 3 W/m2 at noon.
    "MJ as W/m2": (
        "cold winter", False, "Solar (W/m2)", "W/m2", lambda x: (x * 3.6e-3).round(3),
        "solar_radiation"),
    "MJ as W/m2 by the day": (
        "foggy coast", True, "Solar (MJ/m2)", "W/m2", None, "solar_radiation"),
    # 40 W/m2 is a dark day; 40 MJ/m2 is more than reaches the top of the air in winter.
    "W/m2 as MJ in winter": (
        "cold winter", True, "Solar (MJ/m2)", "MJ/m2", lambda x: (x / 0.0864).round(1),
        "solar_radiation"),
    "W/m2 as MJ by the hour": (
        "desert in July", False, "Solar (W/m2)", "MJ/m2", None, "solar_radiation"),
}  # fmt: skip


@pytest.mark.parametrize("kind", MISLABELLED)
def test_a_wrong_unit_is_asked_about_and_set_right_by_its_cure(kind):
    place, daily, header, unit, change, quantity = MISLABELLED[kind]
    table, options = of(place, daily)
    truth = sw.read_station(table, **options).values[quantity]
    wrong = relabelled(table, header, unit, change)
    record = cured(wrong, **options)
    rounding = 0.2 if quantity == "rain" else 0.3
    np.testing.assert_allclose(record.values[quantity], truth, atol=rounding, rtol=0.02)


# A continental winter in which both units are within what climates know: wider days than so low a
# sun makes, days too even for deep cold, or air damper than ice lets it be tell them apart.
DEEP_WINTERS = {
    "plains": Place(Site(49.9, 240, -97.1, -6), "2026-01-05", -16, 10, (65, 85), 0.55, 4, 0.3, 1),
    "taiga": Place(Site(55.0, 160, 82.9, 7), "2026-01-05", -17, 8, (70, 85), 0.5, 3, 0.4, 1),
    "subarctic": Place(
        Site(64.8, 140, -147.7, -9), "2026-01-05", -23, 8, (65, 80), 0.5, 1, 0.2, 0.6
    ),
    "lakes": Place(Site(44.9, 260, -93.2, -6), "2026-01-05", -10, 9, (65, 90), 0.55, 4, 0.3, 1.5),
    "northern coast": Place(Site(60.2, 20, 24.9, 2), "2026-02-01", -5, 5, (80, 95), 0.4, 4, 0.5, 2),
    "mild coast": Place(Site(49.9, 20, -6.3, 0), "2026-01-05", 9.5, 4, (80, 95), 0.4, 8, 0.6, 4),
}


@pytest.mark.parametrize("daily", [False, True])
@pytest.mark.parametrize("place", [*DEEP_WINTERS, "cold winter"])
def test_fahrenheit_and_celsius_in_deep_winter(place, daily):
    place = (PLACES | DEEP_WINTERS)[place]
    table = days_at(place) if daily else hours_at(place)
    options = {"site": place.site} | ({} if daily else {"label": "end"})
    headers = [header for header in table if "degC" in header]
    truth = sw.read_station(table, **options).values
    numbers = table.assign(**{header: fahrenheit(table[header]) for header in headers})
    in_fahrenheit = {header: header.replace("degC", "degF") for header in headers}
    honest = sw.read_station(numbers.rename(columns=in_fahrenheit), **options)
    for wrong in (numbers, table.rename(columns=in_fahrenheit)):
        record = cured(wrong, **options)
        for quantity, column in truth.items():
            np.testing.assert_allclose(record.values[quantity], column, atol=0.06)
            np.testing.assert_allclose(honest.values[quantity], column, atol=0.06)


@pytest.mark.parametrize("amounts", [[0.03], [0.01, 0.02, 0.01], [0.12, 0.31, 0.05, 0.04]])
def test_light_rain_in_inches_is_no_rain_in_mm(amounts):
    table, options = of("southern winter", False)
    rain = np.zeros(len(table))
    rain[40 : 40 + 30 * len(amounts) : 30] = amounts
    record = cured(table.assign(**{"Rain (mm)": rain}), **options)
    assert record.values["rain"].sum() == pytest.approx(25.4 * sum(amounts))


def test_tenths_of_inches_are_tips_of_millimetres():
    table, options = of("southern winter", False)
    rain = np.zeros(len(table))
    rain[[30, 31, 60, 61, 90]] = 0.2, 0.4, 0.2, 0.6, 0.2
    wrong = table.drop(columns="Rain (mm)").assign(**{"Rain (in)": rain})
    assert cured(wrong, **options).values["rain"].sum() == pytest.approx(1.6)


def test_a_cold_month_with_hardly_any_demand_is_honest():
    table, options = of("cold winter", True)
    demand = np.linspace(0.05, 0.15, len(table)).round(2)
    sw.read_station(table.assign(**{"ETo (mm)": demand}), **options)


def test_a_tropical_storm_in_inches_is_honest():
    table, options = of("humid tropics", False)
    rain = np.zeros(len(table))
    rain[30:35] = [0.42, 1.87, 2.61, 1.13, 0.08]
    wet = table.assign(**{"Rain (mm)": rain}).rename(columns={"Rain (mm)": "Rain (in)"})
    record = sw.read_station(wet, **options)
    assert record.values["rain"].sum() == pytest.approx(25.4 * rain.sum())


def test_tips_of_a_hundredth_of_an_inch_in_mm_are_not_inches():
    # 0.25, 0.51 and 0.76 are one, two and three tips in mm; as inches a shower is a cloudburst.
    table, options = of("southern winter", False)
    tips = np.zeros(len(table))
    tips[[30, 31, 32, 33, 60, 61, 90, 91]] = [1, 2, 3, 1, 4, 2, 1, 5]
    wrong = table.drop(columns="Rain (mm)").assign(**{"Rain (in)": (0.254 * tips).round(2)})
    assert cured(wrong, **options).values["rain"].sum() == pytest.approx(0.254 * 19, abs=0.05)


def test_both_readings_of_a_unit_are_shown():
    table, options = of("foggy coast", True)
    text = asked(relabelled(table, "Solar (MJ/m2)", "W/m2"), **options)
    for part in ("as read in w/m2", "of a clear sky", "in MJ/m2", "if the file is right"):
        assert part in text


def test_fahrenheit_is_told_by_damp_air_where_no_site_is():
    # 50 degC at 70 % would be 8.6 kPa of vapour; the highest dew point seen is 35 degC, 5.6 kPa.
    table, _ = of("windy links in March", False)
    wrong = relabelled(table, "Temp (degC)", "degC", fahrenheit)
    assert "kPa of vapour" in asked(wrong, label="end")
    assert cured(wrong, label="end").values["air_temperature"].mean() < 10.0


def test_a_gale_for_days_is_another_unit():
    table, options = of("windy links in March", True)
    wrong = relabelled(table, "Wind (m/s)", "m/s", lambda x: x * 3.6)
    assert cured(wrong, **options).values["wind_speed"].mean() == pytest.approx(
        table["Wind (m/s)"].mean(), rel=0.01
    )


def test_a_dew_point_above_the_air():
    table, options = of("cold spring", True)
    wrong = table.assign(**{"Dew point (degC)": fahrenheit(table["Tmin (degC)"])})
    record = cured(wrong, **options)
    assert record.values["dew_point"].mean() == pytest.approx(table["Tmin (degC)"].mean(), abs=0.1)


# --- the sun -------------------------------------------------------------------------------------


@pytest.mark.parametrize("late", [12, 7, 1, -5])
@pytest.mark.parametrize("place", ["desert in July", "humid tropics", "southern winter"])
def test_radiation_that_does_not_come_with_the_sun(place, late):
    table, options = of(place, False)
    wrong = table.assign(**{"Solar (W/m2)": np.roll(table["Solar (W/m2)"], late)})
    text = asked(wrong, **options)
    assert f"comes {abs(late)} h" in text or f"comes {24 - abs(late)} h" in text
    told = [cure for cure in cures_in(text) if "late" in cure]
    record = sw.read_station(wrong, **(options | told[0]))
    truth = sw.read_station(table, **options)
    same = np.isin(truth.edges[:-1], record.edges[:-1])
    assert same.sum() == record.n >= len(table) - 12
    at = record.values["solar_radiation"]
    np.testing.assert_allclose(at, truth.values["solar_radiation"][same])
    np.testing.assert_allclose(record.values["rain"], truth.values["rain"][same])


@pytest.mark.parametrize("late", [1, -1])
@pytest.mark.parametrize("start", ["2026-04-05", "2026-06-10", "2026-07-20", "2026-11-01"])
def test_radiation_off_by_an_hour_where_it_hardly_gets_dark_or_light(start, late):
    place = replace(PLACES["far north in June"], start=start)
    options = {"site": place.site, "label": "end"}
    table = hours_at(place)[["Time", "Solar (W/m2)", "Rain (mm)"]]
    truth = sw.read_station(table, **options)
    wrong = table.assign(**{"Solar (W/m2)": np.roll(table["Solar (W/m2)"], late)})
    text = asked(wrong, **options)
    (told,) = [cure for cure in cures_in(text) if "late" in cure]
    assert told == {"late": {"solar_radiation": f"{late} h"}}
    record = sw.read_station(wrong, **(options | told))
    same = np.isin(truth.edges[:-1], record.edges[:-1])
    at = record.values["solar_radiation"]
    np.testing.assert_allclose(at, truth.values["solar_radiation"][same])


def test_a_sun_that_is_off_with_all_of_the_file_is_a_matter_of_its_stamps():
    table, options = of("desert in July", False)
    cure = cures_in(asked(table, **(options | {"label": "start"})))
    assert {"label": "end"} in cure
    utc = table.assign(Time=table["Time"] + pd.Timedelta("7h"))
    assert {"time_zone": "UTC"} in cures_in(asked(utc, **options))
    summer = table.assign(Time=table["Time"] + pd.Timedelta("1h"))
    assert {"time_zone": "America/Denver"} in cures_in(asked(summer, **options))
    other = sw.Site(33.4, 340, 112.0, -7)
    (mended,) = [c for c in cures_in(asked(table, label="end", site=other)) if "site" in c]
    assert mended["site"].longitude == -112.0


def test_a_delay_is_a_whole_number_of_steps():
    table, options = of("humid tropics", False)
    text = asked(table, late={"Solar": "90 min"}, **options)
    assert "not a whole number of steps" in text


# --- totals --------------------------------------------------------------------------------------


def test_an_hourly_rain_that_never_returns_to_nothing_is_a_total():
    # Three climbs in two days: 11 mm fell, and read as amounts it was 330 mm.
    amounts = np.zeros(48)
    amounts[[10, 11, 30]] = 4.0, 3.0, 4.0
    table = hourly_rain(np.cumsum(amounts))
    assert "11.0" in asked(table, label="end")
    record = cured(table, label="end")
    np.testing.assert_allclose(record.values["rain"], amounts)


def test_a_total_that_was_not_begun_at_nothing():
    table = hourly_rain(np.full(48, 42.6))
    assert cured(table, label="end").values["rain"][1:].sum() == 0.0


@pytest.mark.parametrize("hour", [0, 9])
def test_a_counter_that_is_reset_every_day(hour):
    rng = np.random.default_rng(3)
    amounts = np.zeros(96)
    for day, wet in enumerate((14, 15, 5)):
        amounts[24 * day + wet : 24 * day + wet + 3] = rng.integers(5, 20, 3) * 0.2
    times = pd.date_range("2026-07-01 01:00", periods=96, freq="1h")
    counter, total = [], 0.0
    for when, amount in zip(times, amounts, strict=True):
        total = amount if when.hour == hour else total + amount
        counter.append(round(total, 1))
    record = cured(hourly_rain(counter), label="end")
    np.testing.assert_allclose(record.values["rain"], amounts, atol=1e-9)


def test_more_rain_in_the_hour_after_the_reset_than_in_all_of_the_day_before():
    amounts = np.zeros(96)
    amounts[[12, 24, 40, 60]] = 0.4, 3.0, 5.0, 2.0
    counter = amounts.reshape(4, 24).cumsum(axis=1).ravel()
    record = sw.read_station(
        hourly_rain(counter, "2026-07-01 00:00"), label="start", cumulative="rain"
    )
    np.testing.assert_allclose(record.values["rain"], amounts)


def test_a_counter_that_trembles_is_not_reset():
    counter = [330.0, 330.2, 330.1, 330.1, 331.0, 330.9, 331.4]
    record = sw.read_station(hourly_rain(counter), label="end", cumulative="rain")
    assert record.values["rain"][1:].sum() == pytest.approx(1.4)
    assert any("small falls" in note for note in record.notes)


def test_a_gap_over_which_the_counter_stood_still_is_dry():
    record = sw.read_station(
        hourly_rain([1.0, None, None, 1.0, None, 3.0]), label="end", cumulative="rain"
    )
    assert record.values["rain"][1:4].tolist() == [0.0, 0.0, 0.0]
    assert np.isnan(record.values["rain"][4:]).all()


@pytest.mark.parametrize(
    "amounts",
    [
        [0] * 20 + [0.2, 0.2, 0.2, 0.2, 0.2, 0.4, 0.2, 0.2] + [0] * 20,
        [0] * 40 + [1, 2, 3, 5, 9],
        [0] * 10 + [5, 12, 12, 3] + [0] * 10,
        [0.2] * 8 + [0] * 30,
    ],
)
def test_drizzle_and_storms_are_no_totals(amounts):
    table = hourly_rain(np.array(amounts, dtype=float))
    assert sw.read_station(table, label="end").values["rain"].sum() == pytest.approx(sum(amounts))


@pytest.mark.parametrize("cumulative", ["rain", "Rain", ("rain",), ["Rain"]])
def test_a_total_is_named_by_its_quantity_or_its_header(cumulative):
    record = sw.read_station(hourly_rain([0, 1, 1, 3.0]), label="end", cumulative=cumulative)
    assert record.values["rain"].tolist() == [0, 1, 0, 2]


def test_a_total_of_what_is_not_there_is_told_with_what_is():
    assert 'rain ("Rain")' in asked(hourly_rain([0, 1.0]), label="end", cumulative="Regen")
