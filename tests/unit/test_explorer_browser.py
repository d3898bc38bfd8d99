"""The page to explore in a real browser: moved by keyboard and pointer, read as a person reads it.

Skipped where there is no browser or no driver for it.
"""

import re

import numpy as np
import pytest
from grounds import STRAIGHT_SAND

import soilwater as sw

TURF = sw.Turf.creeping_bentgrass()
LINES = sw.Thresholds("18 %", "14 %", "12 %")
LAB = sw.RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat="14 in/h")
MIX = LAB.fit(sw.VanGenuchten)
BASES = {"clean gravel": sw.CapillaryBreak(3.0), "wet": sw.SeepageFace()}
DAYS = 8
NASTY = '<script>document.title = "taken"</script>'
RIGHT_TO_LEFT = "رمل ناعم"
SLIDERS = {
    "spot": "Depth at this spot",
    "green": "Depth of the rest of the green",
    "demand": "Demand (reference ET)",
    "hour": "Days since the start",
    "rod": "Length of the rods",
}


@pytest.fixture(scope="module")
def explored():
    return sw.explore(
        {NASTY: MIX, RIGHT_TO_LEFT: STRAIGHT_SAND},
        TURF,
        LINES,
        spot_depth="18 in",
        green_depth="12 in",
        rod="3 in",
        demand="5 mm/day",
        depths=(28.0, 48.0),
        demands=(4.0, 7.0),
        bases=BASES,
        days=DAYS,
        draws=10,
        name=RIGHT_TO_LEFT,
    )


@pytest.fixture
def page(open_page, explored, tmp_path):
    path = tmp_path / "page.html"
    explored.save(path)
    opened = open_page(path)
    opened.wait_for_selector("body[data-ready=yes]")
    return opened


def slider(page, name):
    return page.get_by_role("slider", name=SLIDERS[name], exact=True)


def numbers(text):
    return [float(each) for each in re.findall(r"\d+(?:\.\d+)?", text)]


def settled(page):
    """Wait until what was moved is drawn."""
    page.evaluate(
        "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    page.wait_for_timeout(100)


def check_against_runs(page, sand, base, demand, hour, rod):
    """Compare the table with runs at what the sliders say; all texts are rounded to a tenth."""
    for column in ("spot", "green"):
        (depth, *_) = numbers(page.locator(f"#{column}-value").inner_text())
        profile = sw.Profile((sw.Layer(sand, depth, "root zone"),), base)
        weather = sw.steady_weather(DAYS, demand)
        run = sw.simulate(profile, weather, turf=TURF, tolerance=5e-4)
        reading = sw.meter_reading(run, rod=rod)
        now = float(reading[hour])
        told = numbers(page.locator(f"#reading-{column}").inner_text())[0] / 100.0
        assert told == pytest.approx(now, abs=0.002 + 0.0005)
        for line in ("firm", "watch", "wilt"):
            text = page.locator(f"#{line}-{column}").inner_text()
            value = getattr(LINES, line)
            own = float(sw.days_until(run, value, rod=rod))
            if text.startswith(">"):
                assert own > DAYS - 0.1
                continue
            day = numbers(text)[0]
            there = np.interp([day - 0.05, day + 0.05], np.arange(reading.size) / 24.0, reading)
            near_line = there[1] - 0.002 <= value <= there[0] + 0.002
            assert abs(day - own) <= 0.1 + 0.05 or near_line
        drained = float(sw.meter_reading(sw.drained_state(profile), rod=rod))
        back = numbers(page.locator(f"#back-{column}").inner_text())[0]
        assert back == pytest.approx(max(0.0, 10.0 * rod * (drained - now)), abs=0.05 + 0.02 * rod)


def test_numbers_on_the_page_are_those_of_runs(page):
    check_against_runs(page, MIX.soil, BASES["clean gravel"], 5.0, 72, 7.62)


def test_sliders_answer_the_keyboard(page):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "spot"
    before = page.locator("#reading-spot").inner_text()
    for _ in range(8):
        page.keyboard.press("ArrowLeft")
    settled(page)
    assert page.locator("#spot-value").inner_text() == "41.5 cm (16.3 in)"
    assert page.locator("#reading-spot").inner_text() != before
    slider(page, "demand").focus()
    page.keyboard.press("End")
    slider(page, "hour").focus()
    page.keyboard.press("ArrowRight")
    slider(page, "rod").focus()
    for _ in range(24):
        page.keyboard.press("ArrowRight")
    settled(page)
    assert page.locator("#hour-value").inner_text() == "day 3.1 (03:00)"
    assert page.locator("#rod-value").inner_text() == "10.0 cm (3.9 in)"
    check_against_runs(page, MIX.soil, BASES["clean gravel"], 7.0, 75, 10.0)


def test_sliders_answer_the_pointer(page):
    box = slider(page, "green").bounding_box()
    page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.62 * box["width"], box["y"] + 0.5 * box["height"], steps=8)
    page.mouse.up()
    settled(page)
    (depth, *_) = numbers(page.locator("#green-value").inner_text())
    assert 38.0 < depth < 43.0
    check_against_runs(page, MIX.soil, BASES["clean gravel"], 5.0, 72, 7.62)


def test_sands_bases_and_units_are_chosen(page):
    page.get_by_label("Sand", exact=True).select_option("1")
    page.get_by_label("Base", exact=True).select_option("1")
    settled(page)
    check_against_runs(page, STRAIGHT_SAND, BASES["wet"], 5.0, 72, 7.62)
    assert "four in five" not in page.locator("table").inner_text()
    page.get_by_label("Units", exact=True).select_option("in")
    settled(page)
    assert page.locator("#spot-value").inner_text() == "18.0 in (45.7 cm)"
    slider(page, "spot").focus()
    page.keyboard.press("ArrowLeft")
    settled(page)
    assert slider(page, "spot").input_value() == "17.75"
    assert "US gal" in page.locator("#back-spot").inner_text().split("(")[0]


def test_a_screen_reader_finds_names_values_and_results(page):
    for name in SLIDERS:
        assert slider(page, name).count() == 1
        text = page.locator(f"#{name}-value").inner_text()
        assert slider(page, name).get_attribute("aria-valuetext") == text
    status = page.get_by_role("status").inner_text()
    assert re.search(r"This spot, 45\.7 cm .* reads \d+\.\d % on day 3\.0", status)
    pictures = page.get_by_role("img")
    assert pictures.count() == 3
    assert "This spot: water, air and sand" in pictures.first.get_attribute("aria-label")


def test_names_stay_text_and_do_not_turn_the_page(page):
    assert page.title() == RIGHT_TO_LEFT
    options = page.get_by_label("Sand", exact=True).locator("option").all_inner_texts()
    assert options == [NASTY, RIGHT_TO_LEFT]
    assert page.evaluate("getComputedStyle(document.body).direction") == "ltr"
    heading = page.locator("h1").bounding_box()
    label = page.locator("h1 bdi").bounding_box()
    assert label["x"] == pytest.approx(heading["x"], abs=2.0)


def test_a_rod_longer_than_the_root_zone_has_no_reading_but_a_reason(page):
    page.evaluate("() => { state.spot = 15; state.rod = 20; refresh(); }")
    settled(page)
    assert page.locator("#reading-spot").inner_text() == "–"
    assert "The rod is longer" in page.get_by_role("status").inner_text()


@pytest.mark.parametrize("width", [390, 1000, 1600])
def test_it_fits_the_width_of_the_screen(page, width):
    page.set_viewport_size({"width": width, "height": 900})
    settled(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    for picture in page.get_by_role("img").all():
        box = picture.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= width
        assert box["width"] > 120


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_sheet(page, paper):
    pdf = page.pdf(format=paper, print_background=False)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1


def test_it_answers_in_the_frame_of_a_notebook(browser, explored):
    opened = browser.new_page()
    opened.set_content(f"<!doctype html><body>{explored._repr_html_()}</body>")
    frame = opened.frame_locator("iframe")
    frame.locator("body[data-ready=yes]").wait_for()
    assert numbers(frame.locator("#reading-spot").inner_text())[0] > 1.0
    opened.close()


def test_without_scripts_it_says_what_it_opens_with(browser, explored):
    opened = browser.new_page(java_script_enabled=False)
    opened.set_content(explored.html)
    assert explored.opening[0] in opened.locator("noscript").inner_text()
    opened.close()
