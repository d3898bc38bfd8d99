"""Parts of a report, the page of them, and one that is as full as pages get."""

import numpy as np
import pytest
from reported import FOUND, parts_of, read

import soilwater as sw
from soilwater.report import report
from soilwater.survey.survey import Survey


@pytest.fixture(scope="module")
def parts():
    spots = [
        read(name, depth, value, i, area=5.0)
        for i, (name, (depth, value)) in enumerate(FOUND.items())
    ]
    green = Survey(spots, name="Wrenfold Common, 4th green", notes=("depths were in inches",))
    return parts_of(green, sw.steady_weather(8, "5.5 mm/day"))


@pytest.fixture(scope="module")
def page(parts):
    return report(*parts, remarks=["Asked: a second hose."], prepared_by="the greenkeeper")


@pytest.fixture(scope="module")
def crowded():
    """Everything that makes a page long: many spots with long names, slopes, notes, two weeks."""
    rng = np.random.default_rng(14)
    spots = [
        read(f"row {i // 5} no. {i % 5}", 28.0 + i % 5 * 4, rng.uniform(0.1, 0.25), i, slope=0.03)
        for i in range(25)
    ]
    notes = tuple(f"line {i}: read as inches because the header above it says so" for i in range(9))
    green = Survey(
        spots, name="Wrenfold Common, practice ground, the far and older half", notes=notes
    )
    parts = parts_of(green, sw.steady_weather(10, "6 mm/day", first_day="2026-07-08"))
    return report(*parts, remarks=["word " * 40] * 3, prepared_by="the greenkeeper")
