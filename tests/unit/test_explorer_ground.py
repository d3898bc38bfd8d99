"""The page of a line or a green: what a run says at every place, and what does not fit a page."""

import json
import re

import numpy as np
import pytest
from grounds import MIDDLE_MIX

import soilwater as sw

LINES = sw.Thresholds("18 %", "14 %", "12 %")


GREEN = sw.Profile.over_gravel(MIDDLE_MIX, "12 in", base_suction=3.0)
SETTING = {"turf": sw.Turf("15 cm"), "start": "soaked", "output": "1 h"}


def line_run(days=3):
    """A line of 4 m over a floor that falls, drained and dried."""
    line = sw.Transect(
        np.arange(0.0, 401.0, 100.0), [60.0, 61.0, 63.0, 62.0, 58.0], [28, 30, 33, 36, 40], GREEN
    )
    return sw.simulate(line, sw.steady_weather(days, "5 mm/day"), **SETTING)


def green_run(days=3):
    """Five cells of a green, one corner of the grid left out."""
    level = [[60.0, 61.0, 63.0], [61.0, 62.0, np.nan]]
    depth = [[28.0, 30.0, 33.0], [36.0, 40.0, np.nan]]
    ground = sw.GreenMap(level, depth, GREEN, "1 m")
    return sw.simulate(ground, sw.steady_weather(days, "5 mm/day"), **SETTING)


@pytest.fixture(scope="module")
def line():
    return line_run()


def given(page):
    text = re.search(r'id="given">(.*?)</script>', page.html, re.S).group(1)
    return json.loads(text)


def test_a_line_opens_at_its_driest_place_two_days_on(line):
    page = sw.explore_ground(line, rod="3 in", thresholds=LINES, name="a line")
    now = sw.meter_reading(line, rod="3 in").isel(time=48)
    told = given(page)
    assert told["open"] == {"hour": 48, "place": int(np.argmin(now.values)), "rod": 7.62}
    assert f"the meter reads {100 * float(now.min()):.1f} %" in page.opening[0]
    assert f"{100 * float(now.min()):.1f} to {100 * float(now.max()):.1f} %" in page.opening[1]
    # Columns at the ends reach no further than their middle.
    assert told["places"]["wide"] == pytest.approx([0.125, *[0.25] * 15, 0.125])
    assert "Readings along the line" in page.html


def test_a_green_is_drawn_from_above():
    run = green_run()
    page = sw.explore_ground(run, rod="3 in")
    told = given(page)
    assert told["places"]["y"] == run.y.values.tolist() and len(told["places"]["y"]) == 5
    assert told["places"]["wide"] == [1.0] * 5
    assert told["lines"] == {}
    assert "The green from above" in page.html
    assert "<figcaption>Readings along the line" not in page.html


def test_long_runs_keep_fewer_times(line, monkeypatch):
    stream = re.search(
        r'id="water">(.*?)</script>', sw.explore_ground(line, rod="3 in").html
    ).group(1)
    most = 300_000 + len(stream)
    monkeypatch.setattr("soilwater.explorer.ground.MOST_BYTES", most)
    told = given(sw.explore_ground(line, rod="3 in"))
    assert told["hours"][1] > 1 and told["hours"][-1] == 72
    monkeypatch.setattr("soilwater.explorer.ground.MOST_BYTES", 300_100)
    with pytest.raises(sw.InputError, match=r"give fewer days: run.sel\(time="):
        sw.explore_ground(line, rod="3 in")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            lambda run: run.drop_vars("surface_level"),
            "the result of simulate for a line or a green",
        ),
        (lambda run: run.isel(distance=0), "the result of simulate for a line or a green"),
        (lambda run: run.isel(time=0), "without times and profiles"),
        (lambda run: run.isel(time=[0, 1, 3]), "whole hours evenly apart"),
        (lambda run: "run", "is a str without times"),
        (lambda run: run.assign(status=run.status + 1), "17 of its columns have no result"),
    ],
)
def test_what_is_no_line_is_refused(line, change, said):
    with pytest.raises(sw.InputError, match=said):
        sw.explore_ground(change(line), rod="3 in")


def test_every_fault_at_once(line):
    with pytest.raises(sw.InputError) as caught:
        sw.explore_ground(line.isel(time=[0, 1, 3]), rod="50 cm", thresholds="18 %")
    assert len(caught.value.faults) == 3
