"""Pictures from above, and pictures that move."""

from dataclasses import replace

import matplotlib.pyplot as plt
import numpy as np
import pytest
from pictured import BANDS, ROD, SAND, texts_of
from PIL import Image

import soilwater as sw
from soilwater.survey.survey import Spot, Survey
from soilwater.words.errors import InputError

# --- from above -----------------------------------------------------------------------------------


def test_a_grid_is_drawn_as_cells_with_names_and_values(survey):
    ax = sw.plot.survey_map(survey)
    assert len(ax.patches) == 6
    written = texts_of(ax)
    assert {"A1\n26", "B3\n22"} <= set(written)
    first = ax.patches[0]
    middle = (first.get_x() + 0.5 * first.get_width(), first.get_y() + 0.5 * first.get_height())
    assert middle == pytest.approx((0.0, 0.0))
    assert ax.get_aspect() == 1.0
    assert ax.get_title(loc="left") == "Fellgate 3 (invented)"
    colour_bar = ax.figure.axes[-1]
    assert "% by volume" in colour_bar.get_ylabel()


def test_an_arrow_points_north_only_where_north_is_known(survey):
    unknown = sw.plot.survey_map(survey)
    assert "N" not in texts_of(unknown) and unknown.get_xlabel() == "across (m)"
    assert unknown.get_ylim()[0] < unknown.get_ylim()[1]
    on_earth = sw.plot.survey_map(replace(survey, origin=(55.0, -3.0)))
    for ax in (sw.plot.survey_map(survey, north=0.0), on_earth):
        (letter,) = [text for text in ax.texts if text.get_text() == "N"]
        (arrow,) = [text for text in ax.texts if getattr(text, "arrow_patch", None) is not None]
        tip, tail = np.array(arrow.xy), np.array(arrow.get_position())
        assert tip[0] == pytest.approx(tail[0]) and tip[1] > tail[1]
        assert letter.get_position()[1] > tip[1]
        assert (ax.get_xlabel(), ax.get_ylabel()) == ("east (m)", "north (m)")
    turned = sw.plot.survey_map(survey, north=90.0)
    (arrow,) = [text for text in turned.texts if getattr(text, "arrow_patch", None) is not None]
    assert arrow.xy[0] > arrow.get_position()[0] and turned.get_xlabel() == "across (m)"


def test_a_map_shows_the_causes_of_a_diagnosis(survey):
    found = sw.diagnose(survey, SAND)
    ax = sw.plot.survey_map(survey, found)
    legend = ax.get_legend()
    first = {each.spot.name: each.causes[0] for each in found.spots}
    named = {
        text.get_text(): handle.get_facecolor()
        for text, handle in zip(legend.get_texts(), legend.get_patches(), strict=True)
    }
    assert set(named) == {each.label for each in first.values()}
    for (name, cause), cell in zip(first.items(), ax.patches, strict=True):
        assert cell.get_facecolor() == named[cause.label]
        assert f"{name}\n{100 * cause.probability:.0f}" in texts_of(ax)
    gap = sw.plot.survey_map(survey, found, quantity="reading_gap")
    a1 = found.spot("A1")
    assert f"A1\n{100 * (a1.reading - a1.expected):+.0f}" in texts_of(gap)
    with pytest.raises(InputError, match="quantity: a diagnosis has no water_needed"):
        sw.plot.survey_map(survey, found, quantity="water_needed")
    with pytest.raises(InputError, match="quantity: 'cause'; allowed: reading"):
        sw.plot.survey_map(survey, quantity="cause")


def test_scattered_spots_are_drawn_as_circles():
    spots = tuple(
        Spot(name, 30.0, x=x, y=y) for name, x, y in (("a", 0, 0), ("b", 1.3, 4), ("c", 5, 2.2))
    )
    ax = sw.plot.survey_map(Survey(spots), quantity="root_zone_depth")
    assert not ax.patches
    assert [line.get_xdata()[0] for line in ax.lines] == [0, 1.3, 5]
    assert "a\n11.8" in texts_of(ax), "depths in inches"


def test_gaps_are_coloured_evenly_around_none_and_signed(survey):
    ax = sw.plot.survey_map(survey, {"A1": -0.04, "A2": 0.02, "A3": 0.001}, quantity="reading_gap")
    assert {"A1\n-4", "A2\n+2", "A3\n0", "B1\n?"} <= set(texts_of(ax))
    assert ax.figure.axes[-1].get_ylim() == pytest.approx((-4.0, 4.0))


@pytest.mark.parametrize(
    ("values", "quantity", "message"),
    [
        ({"Z9": 0.2}, "reading", "no spot is called Z9"),
        (None, "rain", "allowed: reading"),
        (None, "probability", "holds no probability"),
    ],
)
def test_a_map_says_what_it_cannot_show(survey, values, quantity, message):
    with pytest.raises(InputError, match=message):
        sw.plot.survey_map(survey, values, quantity=quantity)


def test_a_map_needs_places():
    with pytest.raises(InputError, match="P4 without a place"):
        sw.plot.survey_map(Survey((Spot("P4", 30.0),)))


# --- moving ---------------------------------------------------------------------------------------


def test_a_dry_down_moves(tmp_path, run):
    path = sw.plot.animate_dry_down(
        run, tmp_path / "dry.gif", rod=ROD, thresholds=BANDS, every="1 day"
    )
    with Image.open(path) as picture:
        assert picture.format == "GIF"
        assert picture.n_frames == 5
    assert not plt.get_fignums(), "no figure is left open"
    with pytest.raises(InputError, match="every"):
        sw.plot.animate_dry_down(run, tmp_path / "none.gif", rod=ROD, every=0.0)
    for path, told in ((tmp_path / "a.txt", r"\.gif"), (tmp_path / "no" / "a.gif", "no folder")):
        with pytest.raises(InputError, match=told):
            sw.plot.animate_dry_down(run, path, rod=ROD)
