"""Objects that show themselves: text first, and a small table of HTML without scripts."""

import importlib
import pkgutil
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from grounds import WET_MIX

import soilwater as sw
from soilwater.decisions.building.depth import depth_window
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.words.displays import Displayed, Shown

NASTY = '<script>alert("x")</script> & <b>bold</b>'
ESCAPED = "&lt;script&gt;"

SAND = replace(WET_MIX, name=NASTY)
LAB = sw.RetentionTable(
    [10.0, 20.0, 30.0, 40.0, 60.0],
    [0.40, 0.33, 0.24, 0.18, 0.12],
    porosity=0.42,
    k_sat=28.0,
    sample=NASTY,
)
GREEN = Survey(
    [
        Spot("A1", 30.0, x=0.0, y=0.0, readings=(Reading(0.25, rod=7.6),)),
        Spot("C3", 46.0, x=4.0, y=0.0, readings=(Reading(0.16, rod=7.6),), area=5.0),
    ],
    name=NASTY,
    notes=(f"a note that says {NASTY}",),
)
WEATHER = sw.steady_weather(5, "5.5 mm/day")
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
LINES = Thresholds("18 %", "14 %", "12 %")


def shown_objects():
    layers = [sw.Layer(SAND, 10.0, NASTY), sw.Layer(SAND, 20.0, "below")]
    profile = sw.Profile(layers, sw.SeepageFace(), name=NASTY)
    return {
        "Layer": profile.layers[0],
        "Profile": profile,
        "VanGenuchten": SAND,
        "BrooksCorey": sw.BrooksCorey(0.05, 0.4, 20.0, 3.0, 10.0, name=NASTY),
        "Kosugi": sw.Kosugi(0.05, 0.4, 30.0, 0.6, 10.0, name=NASTY),
        "WithDryEnd": sw.WithDryEnd(SAND, name=NASTY),
        "RetentionTable": LAB,
        "FitResult": LAB.fit(sw.VanGenuchten),
        "Weather": replace(WEATHER, name=NASTY),
        "Turf": TURF,
        "Survey": GREEN,
        "DepthWindow": depth_window(SAND, ("15 %", "25 %"), rod="3 in", air_filled="15 %"),
        "Diagnosis": diagnose(GREEN, SAND),
        "SpotDiagnosis": diagnose(GREEN, SAND).spot("C3"),
        "Outlook": dry_down_outlook(GREEN, SAND, WEATHER, TURF, LINES, draws=2),
        "Plan": hand_water_plan(GREEN, SAND, WEATHER, TURF, LINES.wilt, draws=2),
        "run": sw.simulate(profile, WEATHER, turf=TURF, output="12 h").soilwater,
    }


SHOWN = shown_objects()
# What the person's own words are in, by object; the others hold none.
NAMED = set(SHOWN) - {"FitResult", "Turf", "SpotDiagnosis"}


class Reader(HTMLParser):
    """Texts and tags of a piece of HTML; tags that are not closed where they should be raise."""

    def __init__(self, html):
        super().__init__()
        self.open, self.tags, self.attributes, self.texts = [], set(), [], []
        self.feed(html)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.open.append(tag)
        self.tags.add(tag)
        self.attributes += attrs

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)


@pytest.mark.parametrize("name", SHOWN)
def test_html_is_a_few_plain_elements_that_are_all_closed(name):
    page = Reader(SHOWN[name]._repr_html_())
    assert "table" in page.tags
    assert page.tags <= {
        "table", "caption", "thead", "tbody", "tr", "th", "td", "ul", "li", "p",
    }  # fmt: skip
    assert page.attributes == []


@pytest.mark.parametrize("name", sorted(NAMED))
def test_a_name_of_tags_stays_text(name):
    html = SHOWN[name]._repr_html_()
    assert ESCAPED in html
    assert "<script" not in html and "<b>" not in html


@pytest.mark.parametrize("name", SHOWN)
def test_text_is_for_people(name):
    text = repr(SHOWN[name])
    # Neither a place in memory nor a constructor with all its arguments.
    assert " object at 0x" not in text
    assert not re.match(r"\w+\(\w+=", text)
    assert "array(" not in text and "datetime64(" not in text
    assert max(map(len, text.splitlines())) < 1200


@pytest.mark.parametrize("name", SHOWN)
def test_text_and_html_tell_the_same_numbers(name):
    words = {word for text in Reader(SHOWN[name]._repr_html_()).texts for word in text.split()}
    numbers = {word for word in words if word.replace(".", "", 1).isdigit()}
    assert numbers
    assert numbers <= set(repr(SHOWN[name]).replace(",", " ").split())


def test_a_layer_says_what_it_is_and_how_thick():
    layer = sw.Layer(replace(WET_MIX, name="mix"), "12 in", "root")
    assert repr(layer).split() == [
        "layer", "thickness", "soil", "saturated", "conductivity",
        *("-" * n for n in (5, 17, 4, 22)),
        "root", "30.5", "cm", "(12.0", "in)", "mix", "28.0", "cm/h", "(11.0", "in/h)",
    ]  # fmt: skip
    assert "<td>30.5 cm (12.0 in)</td>" in layer._repr_html_()


def test_text_and_html_are_written_from_one_statement():
    class Two(Displayed):
        def _shown(self):
            return Shown("A <title>", ("what", "mm"), [("rain", 5)], ["- a & b"], set_in=True)

    assert repr(Two()).splitlines() == [
        "A <title>",
        "  what  mm",
        "  ----  --",
        "  rain   5",
        "- a & b",
    ]
    assert Two()._repr_html_() == (
        "<table><caption>A &lt;title&gt;</caption><thead><tr><th>what</th><th>mm</th></tr></thead>"
        "<tbody><tr><td>rain</td><td>5</td></tr></tbody></table><ul><li>a &amp; b</li></ul>"
    )


def test_only_what_is_no_single_table_writes_its_own_page():
    """A new class says what it shows (`Displayed`), and has no pair of methods of its own."""
    own = {
        thing.__name__
        for info in pkgutil.walk_packages(sw.__path__, "soilwater.")
        if info.name != "soilwater.__main__"
        for thing in vars(importlib.import_module(info.name)).values()
        if isinstance(thing, type) and "_repr_html_" in vars(thing)
    }
    several_or_none = {"ExplorerPage", "FitResult", "Profile", "StationRecord", "Turf", "Weather"}
    assert own - {"Displayed"} <= several_or_none | {"Layer"}
