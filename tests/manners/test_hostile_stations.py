"""Station files that were once misread, each with the reason; and honest extremes, which pass.

Every question is answered by what it says itself: the cure is taken from the text and pasted.
"""

import numpy as np
import pandas as pd
import pytest
from doubtful_stations import asked, cured, hourly_rain, of, relabelled

import soilwater as sw
from tests.climates import PLACES
from tests.cures import cures_in


@pytest.mark.parametrize("daily", [False, True])
@pytest.mark.parametrize("place", PLACES)
def test_honest_extremes_are_read(place, daily):
    for seed in (1, 2):
        table, options = of(place, daily, seed)
        record = sw.read_station(table, **options)
        assert record.n == len(table)
        assert record.values["rain"].sum() == pytest.approx(table["Rain (mm)"].sum(), abs=1e-6)
        sw.read_station(table, **(options | {"site": None}))


# --- codes, pairs, repeats, dates ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("Temp (degC)", 99.9), ("Wind (m/s)", 99.9), ("Solar (W/m2)", 9999), ("RH (%)", 999),
        ("Temp (degC)", -6999), ("Rain (mm)", 99.9), ("Wind (m/s)", -9),
        ("Solar (W/m2)", 999.9),
    ],
)  # fmt: skip
def test_a_code_in_a_column_that_cannot_hold_it(header, code):
    table, options = of("southern winter", False)
    numbers = table[header].astype(float).to_numpy().copy()
    numbers[[50, 51, 200]] = code
    table = table.assign(**{header: numbers})
    assert f"missing=({code:g},)" in asked(table, **options)
    record = sw.read_station(table, missing=code, **options)
    gaps = {name: np.isnan(column).sum() for name, column in record.values.items()}
    assert sum(gaps.values()) == 3


def test_a_code_that_other_columns_hold_truly_is_not_told():
    # Said as a code, 0 would take away every dry hour.
    table, options = of("southern winter", False)
    numbers = table["RH (%)"].to_numpy().copy()
    numbers[[50, 51, 200]] = 0.0
    assert "leave those cells empty" in asked(table.assign(**{"RH (%)": numbers}), **options)


def test_more_sun_than_reaches_the_top_of_the_atmosphere():
    table, options = of("southern winter", True)
    numbers = table["Solar (MJ/m2)"].to_numpy().copy()
    numbers[4] = 31.7
    text = asked(table.assign(**{"Solar (MJ/m2)": numbers}), **options)
    assert "31.7 in line 5" in text and "is the most the sun of that place gives" in text


def test_codes_said_are_added_to_the_usual_ones():
    table = hourly_rain(["0", "-999", "---", "n.v.", "1.0"])
    told = cures_in(asked(table, label="end"))
    assert told[0] == {"missing": ("---", "n.v.")}
    assert np.isnan(sw.read_station(table, label="end", **told[0]).values["rain"]).sum() == 3
    assert np.isnan(sw.read_station(table, label="end", **told[0]).values["rain"][1])


@pytest.mark.parametrize("what", ["RH", "T"])
def test_swapped_extremes_of_a_day(what):
    table, options = of("foggy coast", True)
    truth = sw.read_station(table, **options)
    low, high = [name for name in table if name.startswith(what + "m")][::-1]
    record = cured(table.rename(columns={low: high, high: low}), **options)
    for name, column in truth.values.items():
        np.testing.assert_allclose(record.values[name], column)


def test_the_autumn_hour_that_comes_twice_with_equal_rows():
    # Dry and dark: both rows are equal, and every stamp before them is summer time.
    utc = pd.date_range("2026-10-23", "2026-10-28", freq="1h", tz="UTC")
    wall = utc.tz_convert("Europe/London").tz_localize(None)
    rain = np.where(np.arange(utc.size) == 5, 3.0, 0.0)
    table = pd.DataFrame({"Time": wall.strftime("%Y-%m-%d %H:%M"), "Rain (mm)": rain})
    text = asked(table, label="start")
    assert "are equal and carry the same stamp 2026-10-25 01:00" in text
    assert 'time_zone="Europe/London"' in text
    record = cured(table, label="start")
    assert record.n == utc.size and not record.gaps()
    assert record.edges[5] == np.datetime64("2026-10-23T05:00")


@pytest.mark.parametrize(
    ("zone", "site"),
    [
        ("America/Chicago", sw.Site(41.0, 200, -88.0, -6)),
        ("Europe/Berlin", sw.Site(52.0, 50, 10.0, 1)),
        ("Australia/Sydney", sw.Site(-34.0, 50, 151.0, 10)),
    ],
)
def test_the_zone_that_is_told_fits_the_place(zone, site):
    utc = pd.date_range("2026-03-01", "2026-11-20", freq="1h", tz="UTC")
    wall = utc.tz_convert(zone).tz_localize(None)
    table = pd.DataFrame({"Time": wall.strftime("%Y-%m-%d %H:%M"), "Rain (mm)": 0.0})
    record = cured(table, label="start", site=site)
    assert record.n == utc.size and not record.gaps()
    assert f'time_zone="{zone}"' in asked(table, label="start", site=site)


def test_equal_rows_by_day_are_one_row_and_said_with_their_lines():
    table = hourly_rain([0.0, 1.0, 2.0, 2.0, 0.0])
    table["Time"] = pd.to_datetime(
        ["2026-10-24 12:00", "2026-10-24 13:00", *["2026-10-24 14:00"] * 2, "2026-10-24 15:00"]
    )
    record = sw.read_station(table, label="end")
    assert record.values["rain"].tolist() == [0, 1, 2, 0]
    assert "repeated: line 4 (2026-10-24 14:00)" in record.notes


@pytest.mark.parametrize("year", ["26", "19", "07"])
def test_years_of_two_digits_that_come_first(year):
    # Three days in July, once stretched to three Julys.
    dates = [f"{year}-07-{day:02d}" for day in (5, 6, 7)]
    record = sw.read_station({"Date": dates, "Rain (mm)": [0, 1, 2]})
    assert record.edges[0] == np.datetime64(f"20{year}-07-05")
    assert record.n == 3 and "dates read as year/month/day" in record.notes


def test_years_of_two_digits_that_nothing_settles():
    times = [f"26-07-05 {hour:02d}:00" for hour in range(5)]
    table = {"Time": times, "Rain (mm)": [0.0] * 5}
    assert "can be its first or its last number" in asked(table, label="end")


def test_a_logger_with_rows_for_names_units_and_kinds(tmp_path):
    # The row of units was once taken for the names.
    lines = [
        '"FORM5","Sallow Heath","1234","Table1"',
        '"TIMESTAMP","RECORD","AirTC_Avg","RH","WS_ms_Avg","SlrW_Avg","Rain_mm_Tot"',
        '"TS","RN","Deg C","%","meters/second","W/m^2","mm"',
        '"","","Avg","Smp","Avg","Avg","Tot"',
        *(f'"2026-07-01 {h:02d}:00:00",{h},{15 + h},60,2.5,{90 * h},0.2' for h in range(1, 9)),
    ]
    path = tmp_path / "logger.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    record = sw.read_station(path, label="end")
    first = {name: float(column[0]) for name, column in record.values.items()}
    expected = {
        "air_temperature": 16.0, "relative_humidity": 0.6, "wind_speed": 2.5,
        "solar_radiation": 0.324, "rain": 0.2,
    }  # fmt: skip
    assert first == pytest.approx(expected)


def test_gaps_are_filled_by_what_the_error_says():
    table, _ = of("southern winter", False)
    table = table.assign(**{"ETo (mm)": 0.1}).astype({"Rain (mm)": float})
    for cut in ([30, 31], list(range(40, 52)), [0, 1], [335]):
        holed = table.copy()
        holed.loc[cut, ["Rain (mm)", "ETo (mm)"]] = np.nan
        with pytest.raises(sw.InputError) as caught:
            sw.read_weather(holed, label="end")
        said = str(caught.value).split("read_station(...)")[1].split(", the last only")[0]
        record = eval(f"record{said}", {"record": sw.read_station(holed, label="end")})
        assert record.to_weather().n == len(table)


# --- other words, other stamps, sensors that stand still -----------------------------------------


def as_file(tmp_path, table, separator=",", decimal="."):
    path = tmp_path / "station.csv"
    table.to_csv(path, index=False, sep=separator, decimal=decimal)
    return path


def alike(record, truth):
    assert record.n == truth.n and record.edges[0] == truth.edges[0]
    assert set(record.values) == set(truth.values)
    for quantity, column in truth.values.items():
        np.testing.assert_allclose(record.values[quantity], column, atol=1e-6)


IN_OTHER_WORDS = {
    "German": (
        "Datum/Uhrzeit", "Lufttemperatur (°C)", "Rel. Luftfeuchte (%)", "Windgeschwindigkeit (m/s)",
        "Globalstrahlung (W/m²)", "Niederschlag (mm)"),
    "French": (
        "Date et heure", "Température de l'air (°C)", "Humidité relative (%)",
        "Vitesse du vent (m/s)", "Rayonnement global (W/m²)", "Précipitations (mm)"),
    "Spanish": (
        "Fecha y hora", "Temperatura (°C)", "Humedad relativa (%)", "Velocidad del viento (m/s)",
        "Radiación solar (W/m²)", "Precipitación (mm)"),
}  # fmt: skip


@pytest.mark.parametrize("headers", IN_OTHER_WORDS.values(), ids=IN_OTHER_WORDS)
def test_a_station_in_other_words(tmp_path, headers):
    table, options = of("southern winter", False)
    path = as_file(tmp_path, table.set_axis(headers, axis=1), ";", ",")
    alike(sw.read_station(path, **options), sw.read_station(table, **options))


def parts_of_days(table):
    days = pd.to_datetime(table["Date"])
    parts = pd.DataFrame({"Year": days.dt.year, "Month": days.dt.month, "Day": days.dt.day})
    return pd.concat([parts, table.drop(columns="Date")], axis=1)


def days_of_year(table):
    days = pd.to_datetime(table["Date"])
    parts = pd.DataFrame({"Year": days.dt.year, "DOY": days.dt.day_of_year})
    return pd.concat([parts, table.drop(columns="Date")], axis=1)


def named_month(pattern):
    def change(table):
        days = pd.to_datetime(table["Date"])
        return table.assign(Date=[pattern.format(day.day, day.year) for day in days])

    return change


DAYS = {
    "year, month and day apart": parts_of_days,
    "day of the year": days_of_year,
    "French": named_month("{} juillet {}"),
    "Spanish": named_month("{} de julio de {}"),
    "German": named_month("{}. Juli {}"),
    "shuffled": lambda table: table.sample(frac=1, random_state=1),
    "a total below": lambda table: pd.concat(
        [table, pd.DataFrame({"Date": ["Total", "Mean"], "Rain (mm)": [34.2, 2.4]})]
    ),
}


@pytest.mark.parametrize("change", DAYS.values(), ids=DAYS)
def test_days_written_in_other_ways(tmp_path, change):
    table, options = of("southern winter", True)
    path = as_file(tmp_path, change(table))
    alike(sw.read_station(path, **options), sw.read_station(table, **options))


def test_seconds_since_1970_and_days_of_a_workbook(tmp_path):
    table, options = of("southern winter", False)
    truth = sw.read_station(table, **options)
    utc = table["Time"] - pd.Timedelta(hours=options["site"].utc_offset)
    seconds = (utc - pd.Timestamp("1970-01-01")) // pd.Timedelta("1s")
    serial = ((table["Time"] - pd.Timestamp("1899-12-30")) / pd.Timedelta("1D")).round(5)
    for stamps in (seconds, seconds * 1000, serial):
        alike(sw.read_station(as_file(tmp_path, table.assign(Time=stamps)), **options), truth)


def test_a_part_of_a_unit():
    table, options = of("southern winter", True)
    counts = (table["Rain (mm)"] / 0.254).round()
    tips = table.drop(columns="Rain (mm)").assign(**{"Rain (1/100 in)": counts})
    record = sw.read_station(tips, **options)
    assert record.values["rain"].sum() == pytest.approx(0.254 * counts.sum())
    tenths = table.drop(columns="Rain (mm)").assign(**{"Rain (0.1 mm)": 10 * table["Rain (mm)"]})
    alike(sw.read_station(tenths, **options), sw.read_station(table, **options))


def test_units_that_a_file_does_not_name_are_asked_in_one_go():
    table, options = of("southern winter", False)
    bare = table.rename(columns={name: name.split(" (")[0] for name in table})
    alike(cured(bare, **options), sw.read_station(table, **options))


def test_headers_that_changed_places():
    table, options = of("southern winter", False)
    truth = sw.read_station(table, **options)
    pair = {"Temp (degC)": "RH (%)", "RH (%)": "Temp (degC)"}
    alike(cured(table.rename(columns=pair), **options), truth)
    # As inches the demand was rain: 370 mm in a fortnight.
    table, options = of("southern winter", True)
    pair = {"Rain (mm)": "ETo (mm)", "ETo (mm)": "Rain (mm)"}
    alike(cured(table.rename(columns=pair), **options), sw.read_station(table, **options))


@pytest.mark.parametrize(
    ("header", "number"),
    [("Temp (degC)", 11.3), ("Wind (m/s)", 0.0), ("RH (%)", 71), ("Solar (W/m2)", 0)],
)
def test_a_sensor_that_stands_still_measures_nothing(header, number):
    # A fortnight of one temperature, without wind or without sun, was weather.
    table, options = of("southern winter", False)
    record = cured(table.assign(**{header: number}), **options)
    assert len(record.values) == len(sw.read_station(table, **options).values) - 1


def test_kilowatt_hours_called_megajoules():
    table, options = of("southern winter", True)
    truth = sw.read_station(table, **options)
    wrong = relabelled(table, "Solar (MJ/m2)", "MJ/m2", lambda x: x / 3.6)
    record = cured(wrong, **options)
    np.testing.assert_allclose(
        record.values["solar_radiation"], truth.values["solar_radiation"], rtol=1e-6
    )


def test_negative_rain_is_not_let_through_as_none():
    table, options = of("southern winter", True)
    assert "ranges" not in asked(table.assign(**{"Rain (mm)": -table["Rain (mm)"]}), **options)
    once = table["Rain (mm)"].where(np.arange(len(table)) != 3, -0.3)
    record = cured(table.assign(**{"Rain (mm)": once}), **options)
    assert np.isnan(record.values["rain"][3])


def test_a_row_too_many_is_left_out_by_its_line():
    table, options = of("southern winter", True)
    twice = table.iloc[[3]].assign(**{"Rain (mm)": 9.0})
    for wrong in (
        pd.concat([table, twice], ignore_index=True),
        pd.concat([table.iloc[:4], twice, table.iloc[4:]], ignore_index=True),
    ):
        last = cures_in(asked(wrong, **options))[-1]
        alike(sw.read_station(wrong, **options, **last), sw.read_station(table, **options))
    table, options = of("southern winter", False)
    late = table.iloc[[5]].assign(Time=table["Time"].iloc[-1] + pd.Timedelta("20min"))
    wrong = pd.concat([table, late], ignore_index=True)
    alike(cured(wrong, **options), sw.read_station(table, **options))


def test_a_column_without_a_usual_header_is_named():
    table, options = of("southern winter", True)
    wrong = table.rename(columns={"Date": "when"})[["when", "Rain (mm)"]]
    assert cured(wrong, **options).n == len(table)
    lone = table[["Date", "Rain (mm)"]].rename(columns={"Rain (mm)": "bucket (mm)"})
    assert cured(lone, **options).values["rain"].sum() == table["Rain (mm)"].sum()
