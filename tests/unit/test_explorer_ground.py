"""The page of a line or a green: what a run says at every place, and what does not fit a page."""

import json
import re

import numpy as np
import pytest
import xarray as xr
from grounds import MIDDLE_MIX

import soilwater as sw
from soilwater.explorer import explore_ground

LINES = sw.Thresholds("18 %", "14 %", "12 %")


def result(days=3, **options):
    """Five columns beside one another, as if they passed no water sideways."""
    depths = [28.0, 30.0, 33.0, 36.0, 40.0]
    weather = sw.steady_weather(days, "5 mm/day", first_day="2031-06-09")
    cases = [
        sw.Case(sw.Profile.over_gravel(MIDDLE_MIX, each), weather, turf=sw.Turf("15 cm"))
        for each in depths
    ]
    distance = np.arange(0.0, 101.0, 25.0)
    run = sw.simulate_many(
        xr.DataArray(cases, {"distance": distance}, ("distance",)), output="1 h", **options
    )
    return run.assign_coords(
        surface_level=("distance", [60.0, 61.0, 63.0, 62.0, 58.0]),
        plan_area=("distance", [0.125, 0.25, 0.25, 0.25, 0.125]),
    )


@pytest.fixture(scope="module")
def line():
    return result()


def on_a_green(line):
    return line.rename(distance="place").assign_coords(
        x=("place", [0.0, 1.0, 2.0, 0.0, 1.0]), y=("place", [0.0, 0.0, 0.0, 1.0, 1.0])
    )


def given(page):
    text = re.search(r'id="given">(.*?)</script>', page.html, re.S).group(1)
    return json.loads(text)


def test_a_line_opens_at_its_driest_place_two_days_on(line):
    page = explore_ground(line, rod="3 in", thresholds=LINES, name="a line")
    now = sw.meter_reading(line, rod="3 in").isel(time=48)
    told = given(page)
    assert told["open"] == {"hour": 48, "place": int(np.argmin(now.values)), "rod": 7.62}
    assert f"the meter reads {100 * float(now.min()):.1f} %" in page.opening[0]
    assert f"{100 * float(now.min()):.1f} to {100 * float(now.max()):.1f} %" in page.opening[1]
    # Columns at the ends reach no further than their middle.
    assert told["places"]["wide"] == pytest.approx([0.125, 0.25, 0.25, 0.25, 0.125])
    assert "Readings along the line" in page.html


def test_a_green_is_drawn_from_above(line):
    page = explore_ground(on_a_green(line), rod="3 in")
    told = given(page)
    assert told["places"]["y"] == [0.0, 0.0, 0.0, 1.0, 1.0]
    assert told["lines"] == {}
    assert "The green from above" in page.html
    assert "<figcaption>Readings along the line" not in page.html


def test_long_runs_keep_fewer_times(line, monkeypatch):
    stream = re.search(r'id="water">(.*?)</script>', explore_ground(line, rod="3 in").html).group(1)
    most = 300_000 + len(stream)
    monkeypatch.setattr("soilwater.explorer.ground.MOST_BYTES", most)
    told = given(explore_ground(line, rod="3 in"))
    assert told["hours"][1] > 1 and told["hours"][-1] == 72
    monkeypatch.setattr("soilwater.explorer.ground.MOST_BYTES", 300_100)
    with pytest.raises(sw.InputError, match=r"give fewer days: run.sel\(time="):
        explore_ground(line, rod="3 in")


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
        (lambda run: run.assign(status=run.status + 1), "5 of its columns have no result"),
    ],
)
def test_what_is_no_line_is_refused(line, change, said):
    with pytest.raises(sw.InputError, match=said):
        explore_ground(change(line), rod="3 in")


def test_every_fault_at_once(line):
    with pytest.raises(sw.InputError) as caught:
        explore_ground(line.isel(time=[0, 1, 3]), rod="50 cm", thresholds="18 %")
    assert len(caught.value.faults) == 3
