"""Stamps of station files, and what is missing between them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from station_files import DAILY, hourly, said

from soilwater.weather.reference_et import Site
from soilwater.weather.station.files import read_station, read_weather
from soilwater.words.errors import InputError

# --- stamps --------------------------------------------------------------------------------------


def test_a_label_is_asked_for_when_stamps_have_a_time_of_day(file):
    sentence = said(file(hourly([(0, 0.1), (0, 0.3), (0, 0.2)])))
    assert "the stamps have a time of day, and what they mark is not stated" in sentence
    assert 'say label="start" or label="end"' in sentence


def test_day_and_month_are_asked_for_with_the_first_three_dates_both_ways(file):
    text = "Date,Rain (mm),ETo (mm)\n" + "".join(f"{d:02d}/11/2026,0,2\n" for d in (10, 11, 12))
    sentence = said(file(text))
    assert "day or month first? 10/11/2026, 11/11/2026, 12/11/2026 can be" in sentence
    assert "10 Nov 2026, 11 Nov 2026, 12 Nov 2026 (day first)" in sentence
    assert "11 Oct 2026, 11 Nov 2026, 11 Dec 2026 (month first)" in sentence
    assert "say day_first=True or day_first=False" in sentence
    assert read_station(file(text), day_first=True).edges[0] == np.datetime64("2026-11-10")


def test_a_thirteenth_settles_the_order_and_says_so(file):
    text = "Date,Rain (mm),ETo (mm)\n" + "".join(f"11/{d}/2026,0,2\n" for d in (12, 13, 14))
    record = read_station(file(text))
    assert record.edges[0] == np.datetime64("2026-11-12")
    assert "dates read as month/day/year" in record.notes


def test_repeated_stamps_with_different_values_are_refused_with_their_lines(file):
    text = DAILY.replace("2026-07-03", "2026-07-02")
    assert (
        "lines 3 and 4 carry the same stamp 2026-07-02 00:00 with different values; delete the "
        "wrong one" in said(file(text))
    )


def test_rows_that_say_the_same_twice_are_dropped_with_a_note(file):
    text = DAILY.replace("2026-07-03,0.0,4.8\n", "2026-07-03,0.0,4.8\n2026-07-03,0.0,4.8\n")
    record = read_station(file(text))
    assert record.n == 4
    assert "1 repeated rows dropped" in record.notes


def autumn_and_spring(zone="Europe/London"):
    """A year of hours whose stamps follow the clock on the wall."""
    utc = pd.date_range("2026-03-01", "2026-11-01", freq="1h", tz="UTC")
    local = utc.tz_convert(zone).tz_localize(None)
    rng = np.random.default_rng(7)
    rain = rng.choice([0.0, 0.0, 0.0, 1.2], local.size)
    et = np.round(rng.uniform(0.0, 0.5, local.size), 3)
    lines = [f"{t:%Y-%m-%d %H:%M},{r},{e}" for t, r, e in zip(local, rain, et, strict=True)]
    return "\n".join(["Time,Rain (mm),ETo (mm)", *lines]) + "\n", rain.sum()


def test_daylight_saving_jumps_are_named_and_undone_by_the_zone(file):
    text, total = autumn_and_spring()
    sentence = said(file(text), label="start")
    assert "2026-03-29 01:00 is missing and 2026-10-25 01:00 comes twice" in sentence
    assert 'follow daylight-saving time; say time_zone="Europe/London"' in sentence
    record = read_station(file(text), label="start", time_zone="Europe/London")
    assert not record.gaps()
    assert record.values["rain"].sum() == pytest.approx(total)
    assert any("moved to standard time (UTC+0 h)" in note for note in record.notes)


def test_an_hour_lost_in_spring_is_told_apart_from_a_gap(file):
    rows = "".join(f"2025-03-30 {h:02d}:00,0,0.1\n" for h in (0, 2, 3, 4, 5))
    with pytest.raises(InputError) as caught:
        read_weather(file("Time,Rain (mm),ETo (mm)\n" + rows), label="start")
    message = str(caught.value)
    assert (
        "gap in rain, reference_et: 1 step missing, 2025-03-30 01:00 to 2025-03-30 02:00" in message
    )
    assert "2025-03-30 01:00 is missing: the stamps seem to follow daylight-saving time" in message


def test_a_zone_that_does_not_fit_says_so(file):
    rows = [(0, 0.1)] * 48
    sentence = said(
        file(hourly(rows, start="2026-03-28 12:00")), label="start", time_zone="Europe/London"
    )
    assert "the stamps do not fit the clock of Europe/London" in sentence
    assert 'say time_zone="standard"' in sentence
    assert 'time_zone "Mars/Base" is not known' in said(
        file(hourly(rows)), label="start", time_zone="Mars/Base"
    )


def test_utc_stamps_need_the_offset_of_the_site(file):
    text = hourly([(0, 0.1), (0, 0.3), (0, 0.2)])
    assert "the offset of local standard time is not known" in said(
        file(text), label="start", time_zone="UTC"
    )
    site = Site(40.0, 100.0, -105.0, -7.0)
    record = read_station(file(text), label="start", time_zone="UTC", site=site)
    assert record.edges[0] == np.datetime64("2026-06-30T18:00")


def test_offsets_in_the_stamps_are_honoured(file):
    text = "Time,Rain (mm),ETo (mm)\n" + "".join(
        f"2026-07-01T{h:02d}:00:00-06:00,0,{et}\n" for h, et in ((1, 0.1), (2, 0.3), (3, 0.2))
    )
    record = read_station(file(text), label="start", site=Site(40.0, 100.0, -105.0, -7.0))
    assert record.edges[0] == np.datetime64("2026-07-01T00:00")


def test_newest_first_is_turned_round(file):
    header, *rows = DAILY.splitlines()
    record = read_station(file("\n".join([header, *rows[::-1]])))
    assert record.edges[0] == np.datetime64("2026-07-01")
    assert record.values["rain"][1] == 3.2
    assert "newest row first: turned round" in record.notes


@pytest.mark.parametrize(
    "text", ["1 July 2026", "Jul 1, 2026", "2026/07/01", "20260701", "1-Jul-2026"]
)
def test_usual_spellings_of_a_day(file, text):
    other = text.replace("20260701", "20260702").replace("07/01", "07/02")
    other = other.replace("1 July", "2 July").replace("Jul 1", "Jul 2").replace("1-Jul", "2-Jul")
    table = {"Date": [text, other], "Rain (mm)": [0, 1], "ETo (mm)": [2, 3]}
    assert read_station(table).edges[0] == np.datetime64("2026-07-01")


@pytest.mark.parametrize("clock", ["14:30", "2:30 PM", "1430", "14:30:00"])
def test_usual_spellings_of_a_time_of_day(file, clock):
    later = clock.replace("2:30", "3:30") if "PM" in clock else clock.replace("14", "15", 1)
    table = {
        "Date": ["2026-07-01", "2026-07-01"],
        "Time": [clock, later],
        "Rain (mm)": [0, 1],
        "ETo (mm)": [0.2, 0.3],
    }
    assert read_station(table, label="start").edges[0] == np.datetime64("2026-07-01T14:30")


# --- missing values and gaps ---------------------------------------------------------------------


def test_codes_and_blanks_are_missing_and_missing_is_not_zero(file):
    text = DAILY.replace("3.2,2.4", "-999,").replace("0.0,4.8", "0.0,-9999")
    record = read_station(file(text))
    assert np.isnan(record.values["rain"][1])
    assert "rain: 1 coded -999, taken as missing" in record.notes
    assert "reference_et: 1 blank and 1 coded -9999, taken as missing" in record.notes
    with pytest.raises(InputError) as caught:
        record.to_weather()
    message = str(caught.value)
    assert "gap in rain: 1 step missing, 2026-07-02 00:00 to 2026-07-03 00:00" in message
    assert "gap in reference_et: 2 steps missing, 2026-07-02 00:00 to 2026-07-04" in message
    assert 'read_station(...).fill_gaps("interpolate"' in message


def test_an_absent_row_is_a_gap_in_every_column(file):
    text = DAILY.replace("2026-07-03,0.0,4.8\n", "")
    record = read_station(file(text))
    (gap,) = record.gaps()
    assert gap.quantities == ("rain", "reference_et")
    assert str(gap) == ("rain, reference_et: 1 step missing, 2026-07-03 00:00 to 2026-07-04 00:00")
    assert "1 rows are absent from the file" in record.notes


def test_filling_is_flagged_and_rain_is_only_filled_by_name(file):
    text = DAILY.replace("2026-07-03,0.0,4.8\n", "")
    record = read_station(file(text)).fill_gaps("interpolate", "2 days")
    assert record.values["reference_et"][2] == pytest.approx((2.4 + 5.3) / 2.0)
    assert record.filled["reference_et"].tolist() == [False, False, True, False]
    with pytest.raises(InputError, match="gap in rain"):
        record.to_weather()
    with pytest.raises(InputError, match=r"rain cannot be filled by .interpolate.: it comes in"):
        record.fill_gaps("interpolate", "2 days", quantities=("rain",))
    whole = record.fill_gaps("zero", "2 days", quantities=("rain",))
    weather = whole.to_weather()
    assert weather.rain.sum() == pytest.approx(3.2)
    assert weather.filled.sum() == 3 and weather.n == 12  # night, day and night of 3 July
    assert any('rain: 1 steps filled by "zero"' in note for note in weather.notes)


def test_a_gap_longer_than_the_limit_stays(file):
    rows = [(0, round(0.1 + 0.05 * (h % 5), 3)) for h in range(72)]
    lines = hourly(rows).splitlines()
    text = "\n".join(lines[:20] + lines[22:40] + lines[50:])
    record = read_station(file(text), label="end").fill_gaps("interpolate", "3 h")
    assert [gap.steps for gap in record.gaps(["reference_et"])] == [10]


def test_the_same_hour_of_the_days_around_fills_a_night_with_night(file):
    rows = [(0, 0.0 if h % 24 < 12 else round(0.3 + 0.01 * (h // 24), 3)) for h in range(96)]
    lines = hourly(rows, start="2026-07-01 00:00").splitlines()
    text = "\n".join(lines[:1] + lines[1:31] + lines[43:])  # hours 30 to 41 are absent
    record = read_station(file(text), label="start").fill_gaps("same hour", "1 day")
    filled = record.values["reference_et"][30:42]
    np.testing.assert_allclose(filled[:6], 0.0)
    np.testing.assert_allclose(filled[6:], (0.30 + 0.32) / 2.0)


def test_a_temperature_is_never_filled_with_zero(file):
    table = {"Date": ["2026-07-01", "2026-07-02"], "Tmax (degC)": [20, None], "Rain (mm)": [0, 0]}
    with pytest.raises(InputError, match="maximum_air_temperature is not zero when missing"):
        read_station(table).fill_gaps("zero", "2 days", quantities=("maximum_air_temperature",))
