"""Forecasts in, member by member; behind the station's past; and the season behind both."""

import numpy as np
import pandas as pd
import pytest

import soilwater as sw

DAYS = ["2025-06-10", "2025-06-11", "2025-06-12"]
RAIN = ([0.0, 1.4, 0.0], [0.0, 6.2, 0.3])
DEMAND = ([5.1, 3.0, 4.4], [4.8, 2.2, 4.9])
FIRST = {"date": DAYS, "rain (mm)": RAIN[0], "ET0 (mm)": DEMAND[0]}
SECOND = {"date": DAYS, "rain (mm)": RAIN[1], "ET0 (mm)": DEMAND[1]}


def below_one_another():
    return {
        "member": ["a"] * 3 + ["b"] * 3,
        "date": DAYS * 2,
        "rain (mm)": RAIN[0] + RAIN[1],
        "ET0 (mm)": DEMAND[0] + DEMAND[1],
    }


def taking_turns():
    frame = pd.DataFrame(below_one_another()).sort_values("date", kind="stable")
    return frame.rename(columns={"member": "Ensemble no."}).reset_index(drop=True)


def side_by_side():
    return {
        "date": DAYS,
        "rain member 1 (mm)": RAIN[0],
        "ET0 member 1 (mm)": DEMAND[0],
        "rain member 2 (mm)": RAIN[1],
        "ET0 member 2 (mm)": DEMAND[1],
    }


def demand_shared():
    return {
        "date": DAYS,
        "ET0 (mm)": DEMAND[0],
        "rain_run_01 (mm)": RAIN[0],
        "rain_run_02 (mm)": RAIN[1],
    }


@pytest.mark.parametrize(
    "table", [below_one_another, taking_turns, side_by_side, lambda: [FIRST, SECOND]]
)
def test_members_are_found_however_they_stand(table):
    members = sw.read_forecast(table())
    assert len(members) == 2
    for member, rain, demand in zip(members, RAIN, DEMAND, strict=True):
        by_day = member.refine(np.array(DAYS, dtype="datetime64[ns]"))
        for i, day in enumerate(DAYS):
            one = by_day.between(day, np.datetime64(day) + np.timedelta64(1, "D"))
            assert float(one.rain.sum()) == pytest.approx(rain[i])
            assert float(one.reference_et.sum()) == pytest.approx(demand[i])


def test_what_members_share_stands_once():
    first, second = sw.read_forecast(demand_shared())
    assert np.array_equal(first.reference_et, second.reference_et)
    assert float(second.rain.sum()) == pytest.approx(6.5)


def test_a_file_of_hours_is_read_as_a_station_file_is(tmp_path):
    file = tmp_path / "hourly.csv"
    shape = [0] * 6 + [0.1, 0.2, 0.3, 0.5, 0.6, 0.6, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1] + [0] * 6
    lines = [
        f"{day};{hour:02d}:00;{member};{rain if hour == 15 else 0};{shape[hour]}"
        for member, rain in ((1, "0"), (2, "1.5"))
        for day in DAYS
        for hour in range(24)
    ]
    file.write_text("date;time;run;rain (mm);ET0 (mm)\n" + "\n".join(lines), encoding="utf-8")
    with pytest.raises(sw.InputError) as caught:
        sw.read_forecast(file)
    # Told once, though it ails both members.
    assert len(caught.value.faults) == 1 and 'say label="start"' in str(caught.value)
    _, wet = sw.read_forecast(file, label="start")
    assert wet.n == 72
    rained = wet.edges[:-1][wet.rain > 0]
    assert list(rained.astype(str)) == [f"{day}T15:00:00.000000000" for day in DAYS]


# Demand and rain of a day by the hour: 5.0 and 3.0 mm.
SHOWER = np.array([0.0] * 13 + [2.0, 1.0] + [0.0] * 9)
HOURS = np.array([0] * 6 + [0.1, 0.3, 0.5, 0.6, 0.7, 0.8, 0.7, 0.6, 0.4, 0.2, 0.1, 0] + [0] * 6)


def growing(label, *coarse):
    """Hours of two days, then steps of so many hours, a day of each, from 2025-06-10 on."""
    steps = [1] * 48 + [
        step for each in coarse for step in [each] * (3 if each == 24 else 24 // each)
    ]
    ends = np.cumsum(steps)

    def summed(of_day):
        of_hour = np.tile(of_day, ends[-1] // 24)
        return [of_hour[end - step : end].sum() for end, step in zip(ends, steps, strict=True)]

    at = ends if label == "end" else ends - steps
    return {
        "time": np.datetime64("2025-06-10") + at.astype("timedelta64[h]"),
        "rain (mm)": summed(SHOWER),
        "ET0 (mm)": summed(HOURS),
    }


@pytest.mark.parametrize("label", ["start", "end"])
@pytest.mark.parametrize("coarse", [(3,), (6,), (3, 6), (24,), (6, 24)])
def test_a_step_that_grows_is_followed(label, coarse):
    (member,) = sw.read_forecast(growing(label, *coarse), label=label)
    days = 2 + sum(3 if each == 24 else 1 for each in coarse)
    assert member.start == np.datetime64("2025-06-10")
    assert member.end == member.start + np.timedelta64(days, "D")
    for day in range(days):
        begin = member.start + np.timedelta64(day, "D")
        one = member.between(begin, begin + np.timedelta64(1, "D"))
        assert float(one.rain.sum()) == pytest.approx(3.0)
        assert float(one.reference_et.sum()) == pytest.approx(HOURS.sum())
    first = f"from 2025-06-12 00:00 on: forecast table, steps of {coarse[0]} h"
    assert first in member.notes


@pytest.mark.parametrize("label", ["start", "end"])
def test_a_row_that_is_missing_is_no_coarser_step(label):
    table = pd.DataFrame(growing(label, 3))
    with pytest.raises(sw.InputError, match="gap in"):
        sw.read_forecast(table.drop(index=20), label=label)
    with pytest.raises(sw.InputError, match="a running total over steps that change"):
        sw.read_forecast(growing(label, 3), label=label, cumulative="rain")


def test_members_of_other_spans_are_refused():
    later = SECOND | {"date": ["2025-06-11", "2025-06-12", "2025-06-13"]}
    with pytest.raises(sw.InputError, match="spans 2025-06-11 00:00 to 2025-06-14 00:00; allowed"):
        sw.read_forecast([FIRST, later])


def test_a_column_that_tells_no_members_apart_is_refused():
    hours = pd.date_range("2025-06-10", periods=101, freq="h")
    table = {"time": hours, "run": range(101), "rain (mm)": [0.0] * 101, "ET0 (mm)": [0.1] * 101}
    with pytest.raises(sw.InputError, match="101 members; allowed: 100"):
        sw.read_forecast(table, label="start")


# --- behind the past -----------------------------------------------------------------------------


def past(end="2025-06-10", days=10, demand=4.0, rain=0.5):
    first = np.datetime64(end) - np.timedelta64(days, "D")
    return sw.steady_weather(days, demand, rain=rain, first_day=first)


def test_nothing_is_lost_and_nothing_doubled_where_two_meet():
    members = sw.read_forecast([FIRST, SECOND])
    for joined, member in zip(sw.join_weather(past(), members), members, strict=True):
        assert joined.start == past().start and joined.end == member.end
        assert float(joined.rain.sum()) == pytest.approx(5.0 + float(member.rain.sum()))
        assert float(joined.reference_et.sum()) == pytest.approx(
            40.0 + float(member.reference_et.sum())
        )
        assert np.all(np.diff(joined.edges) > np.timedelta64(0))
        assert "from 2025-06-10 00:00 on: forecast table" in joined.notes


def test_an_overlap_is_asked_and_both_answers_work():
    members = sw.read_forecast([FIRST])
    measured = past("2025-06-11")
    with pytest.raises(sw.InputError) as caught:
        sw.join_weather(measured, members)
    assert "both know 2025-06-10 00:00 to 2025-06-11 00:00; say which counts there" in str(
        caught.value
    )
    (first,) = sw.join_weather(measured, members, overlap="first")
    (then,) = sw.join_weather(measured, members, overlap="then")
    # 4.0 mm was measured on the day for which 5.1 mm had been forecast.
    assert float(first.reference_et.sum() - then.reference_et.sum()) == pytest.approx(4.0 - 5.1)
    assert first.end == then.end == members[0].end


def test_an_overlap_within_a_day_is_cut_there():
    measured = past().between("2025-06-01", "2025-06-09 18:00")
    late = sw.steady_weather(2, 6.0, rain=2.4, first_day="2025-06-09")
    (joined,) = sw.join_weather(measured, late, overlap="first")
    tail = joined.between("2025-06-09 18:00", "2025-06-11")
    # Rain falls evenly over its day: a quarter of 2.4 mm, and the next day.
    assert float(tail.rain.sum()) == pytest.approx(0.6 + 2.4)
    assert float(tail.reference_et.sum()) == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("first", "then", "overlap", "told"),
    [
        ("2025-06-09", DAYS, None, "nothing is known from 2025-06-09 00:00 to 2025-06-10 00:00"),
        ("2025-06-20", DAYS, "first", "what comes after ends at 2025-06-13 00:00"),
        ("2025-06-20", DAYS, "either", 'overlap is \'either\'; allowed: "first" or "then"'),
    ],
)
def test_what_cannot_be_joined_is_refused(first, then, overlap, told):
    with pytest.raises(sw.InputError, match=told):
        sw.join_weather(past(first), sw.read_forecast(FIRST | {"date": then}), overlap=overlap)


# --- the season ----------------------------------------------------------------------------------


def years():
    """Three years in which the demand of a day is its number, so that stretches are known again."""
    days = pd.date_range("2022-06-10", "2025-06-09")
    table = pd.DataFrame(
        {
            "time": days,
            "rain": np.where(days.day == 3, 7.0, 0.0),
            "reference_et": 0.01 * np.arange(days.size),
        }
    )
    return sw.weather_from_table(table, label="start")


def test_stretches_of_the_season_are_days_as_they_were():
    history = years()
    found = sw.usual_weather(history, "2025-06-10", 4, within=5, members=100)
    begins = set()
    for each in found:
        assert each.start == np.datetime64("2025-06-10") and each.end == np.datetime64("2025-06-14")
        number = round(float(each.between("2025-06-10", "2025-06-11").reference_et.sum()) * 100)
        begin = np.datetime64("2022-06-10") + number
        then = history.between(begin, begin + np.timedelta64(4, "D"))
        assert np.array_equal(each.rain, then.rain)
        assert np.array_equal(each.reference_et, then.reference_et)
        begins.add(begin)
    assert len(begins) == len(found) == 11 + 11 + 6 + 2
    distance = [
        min(abs((b - np.datetime64(f"{y}-06-10")).astype(int)) for y in range(2022, 2026))
        for b in begins
    ]
    assert max(distance) <= 6


def test_the_season_knows_nothing_of_days_to_come():
    history = years()
    found = sw.usual_weather(history, "2024-06-10", 3, members=100)
    known = history.between("2022-06-10", "2024-06-10").reference_et.max()
    assert max(float(each.reference_et.max()) for each in found) <= known


def test_few_members_are_spread_and_a_history_of_another_season_is_refused():
    found = sw.usual_weather(years(), "2025-06-10", 4, members=3)
    assert len(found) == 3 and found[0].name == "as the season was in 2022, 2023, 2025"
    winter = years().between("2024-12-01", "2025-02-01")
    with pytest.raises(sw.InputError, match="no stretch of 4 days begins within 10 days of 06-10"):
        sw.usual_weather(winter, "2025-06-10", 4)
