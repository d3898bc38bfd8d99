"""The page of a line or a green in a real browser: what it says is what the run says.

Skipped where there is no browser or no driver for it.
"""

import re

import numpy as np
import pytest
from test_explorer_ground import LINES, green_run, line_run

import soilwater as sw

NASTY = '<script>document.title = "taken"</script>'


@pytest.fixture(scope="module")
def runs():
    return {"line": line_run(days=4), "green": green_run(days=4)}


@pytest.fixture(params=["line", "green"])
def page(open_page, runs, request, tmp_path):
    path = tmp_path / "page.html"
    shown = sw.explore_ground(runs[request.param], rod="3 in", thresholds=LINES, name=NASTY)
    shown.save(path)
    opened = open_page(path)
    opened.wait_for_selector("body[data-ready=yes]")
    opened.kind = request.param
    return opened


def settled(page):
    page.wait_for_timeout(150)


def told(page, id):
    return [float(each) for each in re.findall(r"\d+(?:\.\d+)?", page.locator(id).inner_text())]


def slider(page, name):
    return page.get_by_role("slider", name=name, exact=True)


def check(page, run, place, hour, rod):
    reading = sw.meter_reading(run, rod=rod)
    now = reading.isel(time=hour).values
    assert told(page, "#reading-place")[0] / 100.0 == pytest.approx(now[place], abs=0.001 + 0.0005)
    assert told(page, "#reading-all")[0] / 100.0 == pytest.approx(now.min(), abs=0.0015)
    assert told(page, "#reading-all")[1] / 100.0 == pytest.approx(now.max(), abs=0.0015)
    days = sw.days_until(run, LINES.watch, rod=rod).values[place]
    text = page.locator("#watch-place").inner_text()
    assert text.startswith("> 4") if days > 4 else abs(float(text) - days) <= 0.15


def test_it_says_what_the_run_says(page, runs):
    run = runs[page.kind]
    place = int(np.argmin(sw.meter_reading(run, rod="3 in").isel(time=48).values))
    check(page, run, place, 48, "3 in")
    assert page.title() == NASTY


def test_sliders_answer_the_keyboard(page, runs):
    slider(page, "Days since the start").focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    slider(page, "Place").focus()
    page.keyboard.press("Home")
    slider(page, "Length of the rods").focus()
    page.keyboard.press("End")
    settled(page)
    check(page, runs[page.kind], 0, 53, told(page, "#rod-value")[0])


def test_a_click_chooses_the_place_under_it(page, runs):
    box = page.locator("#whole .catch").bounding_box()
    page.mouse.click(box["x"] + 0.01 * box["width"], box["y"] + 0.9 * box["height"])
    settled(page)
    assert slider(page, "Place").input_value() == "0"
    check(page, runs[page.kind], 0, 48, "3 in")


@pytest.mark.parametrize("width", [390, 1600])
def test_it_fits_the_width_of_the_screen(page, width):
    page.set_viewport_size({"width": width, "height": 900})
    settled(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert all(each.bounding_box()["width"] > 200 for each in page.get_by_role("img").all())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_sheet(page, paper):
    pdf = page.pdf(format=paper, print_background=False)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
