"""The card for the crew in a real browser: on a phone, on A4 and letter, ticked by hand.

Skipped where there is no browser or no driver for it.
"""

import re

import pytest
from grounds import WET_MIX

import soilwater as sw
from soilwater.report import crew_card
from soilwater.report.page import LONGEST_WORD
from soilwater.words.safe_texts import fit_to_show

SPOTS = [f"back left of the {i}th" for i in range(1, 7)] + ["W" * 60, "رمل ناعم"]


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    green = sw.Survey([sw.Spot(each, 46.0, area="50 ft2") for each in SPOTS], name="Wrenfold " * 9)
    plan = sw.hand_water_plan(
        green,
        WET_MIX,
        sw.steady_weather(6, "5 mm/day", first_day="2031-06-09"),
        sw.Turf("15 cm", fraction_above=(0.9, "10 cm")),
        "12 %",
        flow="15 gpm",
        rod="3 in",
        base_suction=3.0,
        draws=4,
    )
    path = tmp_path_factory.mktemp("card") / "card.html"
    crew_card(plan, path=path)
    return path


@pytest.fixture
def page(open_page, card):
    return open_page(card, width=390)


@pytest.mark.parametrize("width", [320, 390, 1000])
def test_nothing_is_cut_at_the_edge(page, width):
    page.set_viewport_size({"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    right = page.evaluate(
        "Math.max(...[...document.querySelectorAll('li span, h1, p')]"
        ".map(each => each.getBoundingClientRect().right))"
    )
    assert right <= width


def test_it_is_read_at_arms_length(page):
    sizes = page.evaluate(
        "[...document.querySelectorAll('.where, .water')]"
        ".map(each => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert min(sizes) >= 20.0


def test_each_spot_is_ticked_by_its_name(page):
    for name in SPOTS:
        box = page.get_by_role("checkbox", name=fit_to_show(name, LONGEST_WORD))
        box.check()
        assert box.is_checked()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_sheet(page, paper):
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == 1
