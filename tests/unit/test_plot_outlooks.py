"""The dry-down of a green's spots: what is on the picture."""

from dataclasses import replace

import matplotlib
from grounds import WET_MIX

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pytest

import soilwater as sw
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.plot import outlook, style
from soilwater.survey.survey import Spot, Survey

SAND = replace(WET_MIX, name="mix")
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
    by_label = {line.get_label(): line for line in ax.lines}
    assert list(by_label) == [
        "30 cm: A1, A2", "32 cm: B1", "34 cm: B2", "38 cm: C1", "42 cm: C2", "46 cm: C3",
    ]  # fmt: skip
    for label, line in by_label.items():
        spot = days.spot(label[-2:])
        np.testing.assert_allclose(line.get_ydata(), 100.0 * np.array(spot.readings))
        np.testing.assert_array_equal(line.get_xdata(), np.arange(7))


def test_shallowest_and_deepest_are_named_and_the_rest_is_thin(ax):
    named = {text.get_text() for text in ax.texts}
    assert {"30 cm: A1, A2", "46 cm: C3"} <= named
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
    assert ax.get_xlabel() == "days"
    assert "% by volume" in ax.get_ylabel() and "7.6 cm (3.0 in) rods" in ax.get_ylabel()
    assert ax.get_ylim()[0] == 0.0


def test_it_draws_where_it_is_told(days):
    _, given = plt.subplots()
    assert outlook(days, ax=given) is given
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
