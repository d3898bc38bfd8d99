"""The dry-down of a green's spots: what is on the picture."""

from dataclasses import replace

import matplotlib
from grounds import WET_MIX

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.dates import date2num

import soilwater as sw
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.plot import hand_water, outlook, style
from soilwater.survey.survey import Spot, Survey

SAND = replace(WET_MIX, name="mix")
DAYS = np.array(["2025-07-01", "2025-07-07"], "datetime64[D]")
DEPTHS = {"A1": 30, "A2": 30, "B1": 32, "B2": 34, "C1": 38, "C2": 42, "C3": 46}


@pytest.fixture(scope="module")
def days():
    return dry_down_outlook(
        Survey([Spot(name, depth) for name, depth in DEPTHS.items()]),
        SAND,
        sw.steady_weather(6, "5 mm/day"),
        sw.Turf("15 cm"),
        Thresholds("18 %", "14 %", "12 %"),
        rod="3 in",
        draws=2,
    )


@pytest.fixture
def ax(days):
    yield outlook(days)
    plt.close("all")


def test_a_line_for_each_depth_with_the_median_readings(ax, days):
    by_label = {line.get_label(): line for line in ax.lines if line.get_label()[0] != "_"}
    assert list(by_label) == [
        "30 cm: A1, A2", "32 cm: B1", "34 cm: B2", "38 cm: C1", "42 cm: C2", "46 cm: C3",
    ]  # fmt: skip
    for label, line in by_label.items():
        spot = days.spot(label[-2:])
        np.testing.assert_allclose(line.get_ydata(), 100.0 * np.array(spot.readings))
        np.testing.assert_array_equal(line.get_xdata(), np.arange(7))


def test_shallowest_and_deepest_are_named_and_the_rest_is_thin(ax):
    named = {text.get_text() for text in ax.texts}
    assert {"30 cm: A1, A2", "46 cm: C3"} <= {name.split(", wilt")[0] for name in named}
    thin = [line for line in ax.lines if line.get_linewidth() < 1.0]
    assert len(thin) == 2
    assert {line.get_color() for line in thin} == {style.FAINT}
    assert not {line.get_label() for line in thin} & named


def test_bands_stand_between_the_lines_of_this_ground(ax):
    bands = {patch.get_label(): patch for patch in ax.patches}
    for name, low, high in (("firm", 14, 18), ("watch", 12, 14), ("wilt", 0, 12)):
        box = bands[f"_{name}"].get_extents().transformed(ax.transData.inverted())
        assert (box.y0, box.y1) == pytest.approx((low, high))
        assert name in {text.get_text() for text in ax.texts}


def test_axes_say_units_and_rods(ax):
    drawn, marked = ax.get_xlabel().split("\n")
    assert drawn == "days; lines: median each morning, bands: 80 % of the cases tried"
    assert marked == "dots: wilt, at whatever hour it comes"
    assert "% by volume" in ax.get_ylabel() and "7.6 cm (3.0 in) rods" in ax.get_ylabel()


def test_dates_stand_above_the_days(ax):
    ax.figure.canvas.draw()
    (dates,) = ax.child_axes
    assert dates.get_xlim() == pytest.approx(date2num(DAYS))


def test_named_lines_have_bands_and_nothing_grey_is_without_a_name(ax, days):
    assert len(ax.collections) == 4
    band = ax.collections[0].get_datalim(ax.transData)
    course = days.spot("A2").course
    assert band.y1 == pytest.approx(100.0 * max(course.high[::4]))
    assert band.y0 == pytest.approx(100.0 * min(course.low[::4]))
    assert "thin: 32 cm, 42 cm" in {text.get_text() for text in ax.texts}


def test_the_day_of_wilt_is_marked_and_dated(ax, days):
    marks = [line for line in ax.lines if line.get_label() == "_wilt" and line.get_marker() == "o"]
    reached = [days.spot(each).wilt.median for each in ("C3", "B1", "C1", "A1")]
    assert sorted(float(line.get_xdata()[0]) for line in marks) == pytest.approx(
        sorted(each for each in reached if 0 < each <= 6)
    )
    assert {float(line.get_ydata()[0]) for line in marks} == {12.0}
    date = np.datetime64("2025-07-01") + np.timedelta64(int(days.spot("C3").wilt.median), "D")
    assert f"46 cm: C3, wilt {date.astype(object).day} Jul" in {t.get_text() for t in ax.texts}


def test_an_event_is_marked_where_it_lies_and_refused_elsewhere(days):
    ax = outlook(days, event_day="2025-07-03")
    (span,) = (patch for patch in ax.patches if patch.get_label() == "_event")
    box = span.get_extents().transformed(ax.transData.inverted())
    assert (box.x0, box.x1) == pytest.approx((2.0, 3.0))
    assert "event" in {text.get_text() for text in ax.texts}
    plt.close("all")
    with pytest.raises(sw.InputError, match="event_day: 2025-08-01 lies outside; allowed: 2025-07"):
        outlook(days, event_day="2025-08-01")


def test_most_of_the_height_is_used(ax, days):
    low, high = ax.get_ylim()
    shown = [reading for each in days.spots for reading in (*each.course.low, *each.course.high)]
    assert 100.0 * (max(shown) - min(shown)) > 0.6 * (high - low)


def test_it_draws_where_it_is_told(days):
    _, given = plt.subplots()
    assert outlook(days, ax=given) is given
    plt.close("all")


@pytest.fixture(scope="module")
def plan(days):
    return sw.hand_water_plan(
        Survey([Spot(name, depth) for name, depth in DEPTHS.items()]),
        SAND,
        sw.steady_weather(6, "5 mm/day"),
        sw.Turf("15 cm"),
        "12 %",
        rod="3 in",
        draws=4,
    )


def test_a_plan_is_drawn_with_and_without_its_water(plan):
    panels = hand_water(plan, ["C3", "C2"], event_day="2025-07-03")
    assert [ax.get_title(loc="left").split(",")[0] for ax in panels] == ["C3", "C2"]
    assert len({(ax.get_xlim(), ax.get_ylim()) for ax in panels}) == 1
    for ax, name in zip(panels, ("C3", "C2"), strict=True):
        spot = plan.spot(name)
        without, with_it, *_ = ax.lines
        np.testing.assert_allclose(without.get_ydata(), 100 * np.array(spot.course_without.median))
        np.testing.assert_allclose(with_it.get_ydata(), 100 * np.array(spot.course.median))
        (visits,) = (line for line in ax.lines if line.get_label() == "_waterings")
        hours = [24 * float(each) for each in visits.get_xdata()]
        begin = np.datetime64("2025-07-01")
        assert hours == pytest.approx(
            [(walk.time - begin) / np.timedelta64(1, "h") for walk in spot.waterings]
        )
        assert {"with it", "without", "event"} <= {text.get_text() for text in ax.texts}
    # Water is only of use after it was given, and then it is.
    spot, first = plan.spot("C3"), plan.spot("C3").waterings[0].time
    later = np.array(spot.course.times) > first
    gained = np.array(spot.course.median) - np.array(spot.course_without.median)
    assert np.abs(gained[~later]).max() < 1e-9 and gained[later].min() > 0.0
    plt.close("all")


def test_a_plan_draws_those_in_need_and_refuses_others(plan):
    drawn = [ax.get_title(loc="left").split(",")[0] for ax in hand_water(plan)]
    needy = {each.spot.name for each in plan.spots if each.waterings or not each.held}
    assert set(drawn) == needy and drawn == sorted(drawn)
    plt.close("all")
    with pytest.raises(sw.InputError, match='"X"; allowed: spots that need water, '):
        hand_water(plan, ["X"])
    _, one = plt.subplots()
    with pytest.raises(sw.InputError, match="axes: 1; allowed: 2"):
        hand_water(plan, ["C3", "C2"], axes=[one])
    plt.close("all")


def test_many_long_names_leave_a_map_to_its_values():
    def names_on(letters):
        spots = [
            Spot(f"{i}".rjust(letters, "s"), 30.0 + i, x=4.0 * (i % 4), y=4.0 * (i // 4))
            for i in range(16)
        ]
        ax = sw.plot.survey_map(Survey(spots), quantity="root_zone_depth")
        texts = [text.get_text() for text in ax.texts if text.get_text() != "N"]
        plt.close("all")
        return sum("\n" in text for text in texts)

    assert names_on(3) == 16
    assert names_on(12) == 0


def test_spots_of_one_depth_that_start_otherwise_have_lines_of_their_own(days):
    """As with a calibration; a depth of at least is told as such."""
    drier = tuple(reading - 0.03 for reading in days.spot("A2").readings)
    least = Spot("C3", 46.0, depth_at_least=True)
    other = {"A2": {"readings": drier}, "C3": {"spot": least}}
    spots = tuple(replace(each, **other.get(each.spot.name, {})) for each in days.spots)
    drawn = outlook(replace(days, spots=spots))
    lines = {line.get_label(): line for line in drawn.lines}
    assert {"30 cm: A1", "30 cm: A2", "at least 46 cm: C3"} <= set(lines)
    np.testing.assert_allclose(lines["30 cm: A2"].get_ydata(), 100.0 * np.array(drier))
    plt.close("all")
