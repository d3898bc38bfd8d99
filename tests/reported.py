"""A green to report on, and how a test reads the page."""

import base64
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from html.parser import HTMLParser

from grounds import WET_MIX

import soilwater as sw
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.survey.survey import Reading, Spot

SAND = replace(WET_MIX, name="mix")
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
LINES = Thresholds("18 %", "14 %", "12 %")
# A repellent patch, a deep spot, and others whose readings their depths give.
FOUND = {"A1": (30, 0.247), "A2": (31, 0.25), "B1": (30, 0.262), "B2": (31, 0.08), "C3": (46, 0.15)}


def read(name, depth, value, place, **more):
    readings = (Reading(value, rod=7.6, time="2026-07-08T07:00"),)
    return Spot(name, depth, readings=readings, x=4.0 * (place % 2), y=3.0 * (place // 2), **more)


def parts_of(survey, weather):
    return (
        survey,
        diagnose(survey, SAND),
        dry_down_outlook(survey, SAND, weather, TURF, LINES, draws=4),
        hand_water_plan(survey, SAND, weather, TURF, LINES.wilt, flow="12 gpm", draws=2),
    )


class Reader(HTMLParser):
    """Tags, attributes and sections of texts; a tag left open or closed out of turn raises."""

    VOID = frozenset(("meta", "img"))

    def __init__(self, html):
        super().__init__()
        self.open, self.tags, self.attributes, self.texts = [], [], [], []
        self.feed(html)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if data.strip() and "style" not in self.open:
            self.texts.append(" ".join(data.split()))


def pictures_of(page):
    """Sources of the SVG pictures inside a page."""
    found = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', page)
    return [base64.b64decode(each).decode() for each in found]


def headings(page):
    root = ElementTree.fromstring(page.split("\n", 1)[1])
    return ["".join(each.itertext()) for each in root.iter() if each.tag in ("h2", "figcaption")]


def finding(page):
    block = page.split('<section class="finding">')[1].split("</section>")[0]
    return [re.sub(r"\s+", " ", each) for each in re.findall(r"<li>(.*?)</li>", block, re.S)]


def table_of(page, kind):
    """Rows of a table by their first cell."""
    root = ElementTree.fromstring(page.split("\n", 1)[1])
    (table,) = (each for each in root.iter("table") if each.get("class") == kind)
    rows = [[cell.text or "" for cell in row] for row in table.iter("tr")]
    return rows[0], {row[0]: row[1:] for row in rows[1:]}
