"""Station files as they come: every mess gets the sentence a person reads."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from station_files import DAILY, said

from soilwater.weather.evapotranspiration import saturation_vapour_pressure
from soilwater.weather.reference_et import Site, daily_reference_et
from soilwater.weather.station.columns import QUANTITIES, spell
from soilwater.weather.station.files import read_station, read_weather
from soilwater.words.errors import InputError

# --- the clean way -------------------------------------------------------------------------------


def test_a_clean_daily_file_becomes_weather(file):
    weather = read_weather(file(DAILY), name="Sallow Heath")
    assert weather.start == np.datetime64("2026-07-01")
    assert weather.end == np.datetime64("2026-07-05")
    assert weather.rain.sum() == pytest.approx(3.2)
    assert weather.reference_et.sum() == pytest.approx(17.6)
    assert weather.daylight.sum() == 4
    assert not weather.filled.any()


def test_inches_and_millimetres_side_by_side_are_converted_with_a_banner(file):
    text = DAILY.replace("Rain (mm)", "Rain (in)").replace("3.2", "0.5")
    record = read_station(file(text))
    assert record.values["rain"][1] == pytest.approx(12.7)
    assert "rain converted from in: 12.7 mm in all" in record.notes


def test_a_frame_with_a_time_index_is_read_like_a_file(file):
    frame = pd.DataFrame(
        {"Rain (mm)": [0.0, 3.2, 0.0], "ETo (mm)": [5.1, 2.4, 4.8]},
        index=pd.date_range("2026-07-01", periods=3),
    )
    weather = read_weather(frame, label="start")
    assert weather.rain.sum() == pytest.approx(3.2)


def test_end_labels_and_midnight_written_as_24(file):
    rows = "\n".join(f"01/07/2026,{h:02d}:00,0,{0.1 * h:.1f}" for h in range(1, 25))
    text = f"Date,Time,Rain,ETo\ndd/mm/yyyy,hh:mm,mm,mm\n{rows}\n"
    record = read_station(
        file(text),
        label="end",
        day_first=True,
        cumulative=("reference_et",),
    )
    assert record.edges[0] == np.datetime64("2026-07-01T00:00")
    assert record.edges[-1] == np.datetime64("2026-07-02T00:00")
    assert "24:00 taken as the midnight that ends the day" in record.notes
    assert "unit row under the header" in record.notes


def test_the_echo_shows_span_step_columns_and_first_rows(file):
    text = str(read_station(file(DAILY), name="Sallow Heath"))
    for part in (
        'Station record "Sallow Heath"',
        "span: 2026-07-01 00:00 to 2026-07-05 00:00 (4 days)",
        "step: 24 h, local standard time",
        "reference_et",
        "sum 17.6",
        "2026-07-02 00:00",
    ):
        assert part in text
    html = read_station(file(DAILY))._repr_html_()
    assert html.count("<table>") == 3 and "<script" not in html


# --- units, columns and ranges -------------------------------------------------------------------


def test_a_unit_is_asked_for_never_guessed(file):
    sentence = said(file(DAILY.replace("Rain (mm)", "Rain")))
    assert 'rain: "Rain" has no unit' in sentence
    assert 'say units={"rain": "mm"}' in sentence
    record = read_station(file(DAILY.replace("Rain (mm)", "Rain")), units={"rain": "in"})
    assert record.values["rain"][1] == pytest.approx(3.2 * 25.4)


def test_a_dark_july_and_a_huge_day_of_evapotranspiration_ask_for_the_unit(file):
    sentence = said(file(DAILY.replace("4.8", "0.3")))
    assert (
        "reference_et: 1 value outside 0.5 to 12 mm a day, the first 0.3 in line 4 "
        "(2026-07-03 00:00); check the unit (in?)" in sentence
    )
    assert "the first 15 in line 4" in said(file(DAILY.replace("4.8", "15")))
    allowed = read_station(file(DAILY.replace("4.8", "0.3")), ranges={"reference_et": (0.1, 12)})
    assert allowed.values["reference_et"][2] == 0.3
    # December is not July, and July is winter in the south.
    winter = DAILY.replace("4.8", "0.3")
    assert read_station(file(winter.replace("-07-", "-12-"))).n == 4
    assert read_station(file(winter), site=Site(-35.0, 10.0)).n == 4


def test_a_running_total_is_recognised_and_taken_apart(file):
    totals = np.round(np.cumsum([3.1, 4.2, 2.8, 5.0, 4.4, 3.9, 4.1, 2.5]), 1)
    rows = "".join(f"2026-07-{i + 1:02d},0,{t}\n" for i, t in enumerate(totals))
    text = "Date,Rain (mm),ETo (mm)\n" + rows
    sentence = said(file(text), ranges={"reference_et": (0, 99)})
    assert (
        "reference_et climbs 7 times and falls 0 times: it looks like a running total" in sentence
    )
    assert 'say cumulative=("reference_et",)' in sentence
    record = read_station(file(text), cumulative=("reference_et",))
    np.testing.assert_allclose(
        record.values["reference_et"][1:], [4.2, 2.8, 5.0, 4.4, 3.9, 4.1, 2.5]
    )
    assert np.isnan(record.values["reference_et"][0])  # nothing is known before the first row
    assert "reference_et: differences of a running total, 0 resets" in record.notes


def test_a_week_that_warms_up_is_not_a_running_total(file):
    rows = "".join(f"2026-07-{i + 1:02d},0,{3.0 + 0.4 * i:.1f}\n" for i in range(9))
    record = read_station(file("Date,Rain (mm),ETo (mm)\n" + rows))
    assert record.values["reference_et"].max() == pytest.approx(6.2)


def test_a_rain_counter_never_falls_back_to_nothing(file):
    rows = "".join(f"2026-07-{i + 1:02d},{i // 2},4.1\n" for i in range(14))
    assert "rain climbs 6 times and falls 0 times" in said(file("Date,Rain (mm),ETo (mm)\n" + rows))


def test_a_counter_that_is_reset_at_midnight_loses_nothing(file):
    counter = [0, 1, 1, 3, 0, 0, 2, 2]
    table = {
        "Time": [
            f"{t:%Y-%m-%d %H:%M}" for t in pd.date_range("2026-07-01 20:00", periods=8, freq="1h")
        ],
        "Rain (mm)": counter,
        "ETo (mm)": [0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2],
    }
    record = read_station(table, label="end", cumulative=("rain",))
    np.testing.assert_allclose(record.values["rain"], [0, 1, 0, 2, 0, 0, 2, 0])
    assert "rain: differences of a running total, 1 resets" in record.notes


def test_swapped_wind_and_radiation_are_suspected(file):
    text = (
        "Time,Temp,RH,Wind,Solar,Rain\n,degC,%,m/s,W/m2,mm\n"
        "2026-07-01 11:00,20,60,610,2.1,0\n2026-07-01 12:00,21,58,640,1.8,0\n"
    )
    sentence = said(file(text), label="end")
    assert "wind_speed: 2 values outside 0 to 40 m/s, the first 610 in line 3" in sentence
    assert "whether wind_speed and solar_radiation are swapped" in sentence


def test_columns_that_are_not_there_are_named_with_those_that_are(file):
    sentence = said(file(DAILY), columns={"rain": "Regen"})
    assert 'there is no column "Regen"; allowed: columns found: Date, Rain, ETo' in sentence
    assert '"hail" is not a quantity' in said(file(DAILY), columns={"hail": "Rain"})
    record = read_station(file("Date,ETo (mm)\n2026-07-01,4\n2026-07-02,5\n"))
    with pytest.raises(InputError, match=r"there is no rain; allowed: columns found: ETo"):
        record.to_weather()


def test_two_columns_of_one_quantity_are_not_chosen_between(file):
    text = "Date,Rain (mm),Precip (mm),ETo (mm)\n2026-07-01,0,0,4\n2026-07-02,0,0,5\n"
    assert '"Rain" and "Precip" both look like rain' in said(file(text))
    record = read_station(file(text), columns={"rain": "Precip"})
    assert "columns not used: Rain" in record.notes


def test_words_in_a_column_of_numbers_are_named_with_their_line(file):
    sentence = said(file(DAILY.replace("4.8", "fault").replace("5.3", "fault")))
    assert sentence.count('"fault" under "ETo" is not a number') == 2
    record = read_station(file(DAILY.replace("4.8", "fault")), missing=("fault",))
    assert np.isnan(record.values["reference_et"][2])


def test_a_trace_of_rain_is_nothing_with_a_note(file):
    record = read_station(file(DAILY.replace("0.0,4.8", "T,4.8")))
    assert "rain: 1 traces taken as 0" in record.notes


def test_semicolons_and_decimal_commas(file):
    text = DAILY.replace(",", ";").replace(".", ",")
    assert read_weather(file(text)).rain.sum() == pytest.approx(3.2)


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "expected"),
    [
        # Exact by definition: inch, mile, nautical mile, hour; the rest elementary.
        ("rain", "in", 1.0, 25.4),
        ("rain", "mm/h", 2.0, 1.0),
        ("wind_speed", "mph", 10.0, 4.4704),
        ("wind_speed", "km/h", 36.0, 10.0),
        ("wind_speed", "kn", 10.0, 5.1444444),
        ("air_temperature", "degF", 68.0, 20.0),
        ("air_temperature", "K", 293.15, 20.0),
        ("relative_humidity", "%", 55.0, 0.55),
        ("vapour_pressure", "mbar", 15.0, 1.5),
        ("solar_radiation", "W/m2", 500.0, 0.9),
        ("solar_radiation", "J/cm2", 90.0, 0.9),
        ("solar_radiation", "ly", 20.0, 0.8368),
        ("solar_radiation", "kWh/m2", 0.25, 0.9),
    ],
)
def test_units_of_a_half_hour(quantity, unit, value, expected):
    header = {
        "rain": "Rain",
        "wind_speed": "Wind",
        "air_temperature": "Temp",
        "relative_humidity": "RH",
        "vapour_pressure": "ea",
        "solar_radiation": "Solar",
    }[quantity]
    table = {"Time": ["2026-07-01 12:00", "2026-07-01 12:30"], header: [value, value]}
    record = read_station(table, label="start", units={quantity: unit})
    np.testing.assert_allclose(record.values[quantity], expected, rtol=1e-7)


def test_units_are_spelled_alike():
    for texts in (
        ("W/m2", "W m-2", "W/m²", "w/m^2"),
        ("MJ/m2/day", "MJ m-2 day-1"),
        ("°C", "deg C", "degC"),
        ("mm/h", "mm h-1", "mm/hr", "mm per hour"),
    ):
        assert len({spell(text) for text in texts}) == 1
    for kind in QUANTITIES.values():
        assert spell(kind.unit) in kind.units


# --- computed reference evapotranspiration -------------------------------------------------------


def test_uccle_of_fao_56_example_18_through_a_file(file):
    # FAO-56 (1998) example 18, published 3.88 mm/day, from memory.
    text = (
        "Date,Tmax (degC),Tmin (degC),RHmax (%),RHmin (%),Wind (km/h),Sunshine (h),Rain (mm)\n"
        "2015-07-06,21.5,12.3,84,63,10,9.25,0\n2015-07-07,21.5,12.3,84,63,10,9.25,0\n"
    )
    weather = read_weather(
        file(text), site=Site(50.8, 100.0), reference_et="fao56", wind_height=10.0
    )
    assert round(float(weather.reference_et.sum()) / 2.0, 2) == pytest.approx(3.88, abs=0.005)
    notes = " ".join(weather.notes)
    assert "FAO-56 Penman-Monteith, daily" in notes
    assert "vapour pressure from the range of humidity (FAO-56 eq. 17)" in notes
    assert "solar radiation from hours of sunshine (FAO-56 eq. 35)" in notes


def test_what_was_not_measured_is_told(file):
    text = (
        "Date,Tmax (degC),Tmin (degC),Rain (mm)\n2026-07-15,26.6,14.8,0\n2026-07-16,26.6,14.8,0\n"
    )
    weather = read_weather(file(text), site=Site(45.7167, 200.0), reference_et="fao56")
    # FAO-56 example 20, published 4.56 mm/day, from memory.
    assert weather.reference_et.sum() / 2.0 == pytest.approx(4.56, abs=0.01)
    told = " ".join(weather.notes)
    for phrase in ("solar radiation not measured", "humidity not measured", "wind not measured"):
        assert phrase in told


def test_an_equation_needs_a_site_and_its_columns(file):
    with pytest.raises(InputError, match=r"needs to know where the station stands"):
        read_weather(file(DAILY), reference_et="fao56")
    with pytest.raises(InputError, match=r"the daily equation needs maximum_air_temperature"):
        read_weather(file(DAILY), reference_et="fao56", site=Site(50.0, 0.0))
    without = "Date,Rain (mm)\n2026-07-01,0\n2026-07-02,0\n"
    with pytest.raises(InputError, match=r"no column of reference evapotranspiration.*compute it"):
        read_weather(file(without))
    with pytest.raises(InputError, match=r'reference_et is .guess.; allowed: "file", "fao56"'):
        read_weather(file(DAILY), reference_et="guess")


def test_hourly_computation_sets_dew_to_nothing_and_says_so(file):
    hours = np.arange(24)
    temperature = 18.0 - 6.0 * np.cos(2 * np.pi * (hours - 3) / 24.0)
    solar = np.maximum(800.0 * np.sin(np.pi * (hours - 5.0) / 14.0), 0.0)
    solar[(hours < 5) | (hours > 19)] = -2.0
    table = {
        "Time": [f"2026-07-01 {h:02d}:00" for h in hours],
        "Temp (degC)": temperature.round(2),
        "RH (%)": np.where(solar > 0, 55, 98),
        "Wind (m/s)": np.full(24, 1.0),
        "Solar (W/m2)": solar.round(1),
        "Rain (mm)": np.zeros(24),
    }
    weather = read_weather(
        table, label="start", site=Site(51.0, 30.0, 0.0, 0.0), reference_et="asce"
    )
    assert weather.n == 24 and weather.reference_et.min() == 0.0
    assert 3.0 < weather.reference_et.sum() < 7.0
    told = " ".join(weather.notes)
    assert "solar_radiation: 9 slightly negative values set to 0" in told
    assert "mm of dew (negative evapotranspiration) set to 0" in told


@pytest.mark.parametrize(("header", "most"), [("ETo (mm)", 0.1), ("Solar (MJ/m2)", 0.05)])
def test_dew_and_a_night_offset_have_an_end(header, most):
    """Common practice, no source: 0.1 mm of dew an hour, 0.05 MJ m-2 of a sensor."""

    def table(least):
        values = [least, 0.1, 0.2, 0.3]
        times = [f"2026-07-01 {h:02d}:00" for h in range(4)]
        rest = {"ETo (mm)": [0.1] * 4, "Rain (mm)": [0.0] * 4}
        return {"Time": times, **rest, header: values}

    read_station(table(-0.99 * most), label="start")
    with pytest.raises(InputError, match="outside"):
        read_station(table(-1.05 * most), label="start")


def test_a_gap_in_something_not_needed_does_not_matter(file):
    text = "Date,Tmax (degC),Rain (mm),ETo (mm)\n2026-07-01,,0,4\n2026-07-02,20,0,5\n"
    assert read_weather(file(text)).reference_et.sum() == pytest.approx(9.0)


# --- the shipped year ----------------------------------------------------------------------------

YEAR = Path(__file__).parents[3] / "examples" / "data" / "sallow_heath_station.csv"
SALLOW_HEATH = Site(44.0, 140.0, -121.0, -8.0, "Sallow Heath")


def test_the_shipped_year_reads_without_a_gap_and_its_hours_agree_with_its_days():
    record = read_station(YEAR, label="end", site=SALLOW_HEATH)
    assert record.n == 8760 and not record.gaps()
    hourly = record.to_weather("asce").reference_et.reshape(365, 24).sum(axis=1)
    by_day = {q: v.reshape(365, 24) for q, v in record.values.items()}
    vapour = saturation_vapour_pressure(by_day["air_temperature"]) * by_day["relative_humidity"]
    daily = daily_reference_et(
        SALLOW_HEATH,
        record.edges[:-1:24],
        temperature_max=by_day["air_temperature"].max(axis=1),
        temperature_min=by_day["air_temperature"].min(axis=1),
        vapour_pressure=vapour.mean(axis=1),
        solar_radiation=by_day["solar_radiation"].sum(axis=1),
        wind_speed=by_day["wind_speed"].mean(axis=1),
        equation="asce",
    ).reference_et
    # ASCE 2005 reports sums of hours within about 5 % of daily values over a season (from memory);
    # hours add more wind when it is warm, and dew is left out here.
    growing = slice(90, 273)
    assert hourly[growing].sum() == pytest.approx(daily[growing].sum(), rel=0.06)
    assert np.corrcoef(hourly, daily)[0, 1] > 0.98
