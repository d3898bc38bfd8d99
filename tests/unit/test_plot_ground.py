"""Pictures of ground that is not level: labels, limits and data on the artists."""

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
import pytest
import xarray as xr
from grounds import GREEN
from matplotlib.text import Annotation
from PIL import Image

import soilwater as sw

matplotlib.use("Agg")
X = [0.0, 200.0, 400.0, 600.0]
ENDS = ("goes on", "closed")
LINE = sw.Transect(X, [12.0, 6.0, 0.0, 0.0], [30.0] * 4, GREEN, ends=ENDS, spacing=100.0)
WEATHER = sw.steady_weather(2, 0.0)


@pytest.fixture(scope="module")
def run():
    return sw.simulate(LINE, WEATHER, output="24 h")


@pytest.fixture(scope="module")
def alone():
    return sw.simulate_many(LINE.cases(WEATHER), output="24 h")


def test_a_cross_section_shows_levels_water_and_flow(run):
    ax = sw.plot.cross_section(run, at=WEATHER.start + np.timedelta64(24, "h"))
    turf = next(line for line in ax.lines if line.get_label() == "_turf")
    assert turf.get_ydata() == pytest.approx(run.surface_level.values)
    assert turf.get_xdata() == pytest.approx(run.distance.values / 100.0)
    assert "heights drawn" in ax.get_ylabel()
    drawn = float(ax.get_ylabel().split("drawn ")[1].split()[0])
    assert ax.get_aspect() == pytest.approx(drawn / 100.0)
    arrows = [each for each in ax.texts if isinstance(each, Annotation)]
    assert arrows
    # Downhill is to the right.
    assert all(each.xy[0] > each.xyann[0] for each in arrows)
    assert any("longest arrow" in each.get_text() for each in ax.texts)


def test_readings_along_a_line_stand_beside_each_column_alone(run, alone):
    ax = sw.plot.along_line(run, alone, rod="3 in")
    reading = 100.0 * sw.meter_reading(run, rod="3 in").isel(time=-1).values
    assert ax.lines[0].get_ydata() == pytest.approx(reading)
    assert ax.lines[1].get_linewidth() < ax.lines[0].get_linewidth()
    labels = [each.get_text() for each in ax.get_legend().get_texts()]
    assert labels == ["2025-07-03 00:00", "each column alone"]
    assert "3.0 in" in ax.get_ylabel()
    with pytest.raises(sw.InputError, match="stations or times"):
        sw.plot.along_line(run, alone.isel(time=[0, 1]), rod="3 in")


def test_a_map_shows_every_cell_and_contours():
    level = np.add.outer([0.0, 4.0], [0.0, 2.0, 4.0])
    ground = sw.GreenMap(level, np.full((2, 3), 30.0), GREEN, "1 m", name="front")
    run = sw.simulate(ground, WEATHER, output="48 h")
    reading = sw.meter_reading(run, rod="3 in").isel(time=-1)
    ax = sw.plot.green_map(ground, reading)
    shown = np.asarray(ax.collections[0].get_array()).ravel()
    assert shown == pytest.approx(100.0 * reading.values)
    assert ax.get_title(loc="left") == "front"
    assert ax.get_xlabel() == "east (m)"
    assert ax.figure.axes[1].get_ylabel() == "reading (% by volume)"
    with pytest.raises(sw.InputError, match="spot alone"):
        sw.plot.green_map(ground, sw.meter_reading(run, rod="3 in"))
    # A cell without a value is no hole in the green.
    days = xr.DataArray([4.0, np.inf, 3.0, np.nan, 2.0, 1.0], dims="spot")
    ax = sw.plot.green_map(ground, days, label="days until 15 %")
    grey = np.ma.masked_invalid(ax.collections[1].get_array())
    assert np.flatnonzero(~np.ma.getmaskarray(grey).ravel()).tolist() == [1, 3]
    assert ax.figure.axes[1].get_ylabel() == "days until 15 %; grey: none"
    plt.close("all")


def test_odds_of_dryness_look_dry_where_they_are_high():
    ground = sw.GreenMap(np.zeros((1, 3)), np.full((1, 3), 30.0), GREEN, "1 m")
    odds = xr.DataArray([0.0, 0.3, 0.6], dims="spot", name="probability")
    ax = sw.plot.green_map(ground, odds)
    drawn = ax.collections[0]
    assert np.asarray(drawn.get_array()).ravel() == pytest.approx([0.0, 30.0, 60.0])
    # A least and a largest of this green would make any odds look certain.
    assert drawn.get_clim() == (0.0, 100.0)
    red, _, blue, _ = drawn.cmap(1.0)
    assert red > 2.0 * blue
    assert ax.figure.axes[1].get_ylabel() == "odds (%)"
    with pytest.raises(sw.InputError, match=r"odds of 60; allowed: 0-1"):
        sw.plot.green_map(ground, 100.0 * odds)
    plt.close("all")


def test_places_that_behave_deeper_look_dry():
    ground = sw.GreenMap(np.zeros((1, 3)), np.full((1, 3), 30.0), GREEN, "1 m")

    def colours(name):
        values = xr.DataArray([-2.0, 0.0, 6.0], dims="spot", name=name)
        drawn = sw.plot.green_map(ground, values).collections[0]
        return drawn.cmap(drawn.norm(drawn.get_array().ravel()))

    readings = colours("reading")
    for deep in ("extra_depth", "extra_depth_upper", "root_zone_depth"):
        assert colours(deep)[[0, 2]] == pytest.approx(readings[[2, 0]])
    plt.close("all")


def test_what_is_no_line_is_refused(alone):
    with pytest.raises(sw.InputError, match="Transect"):
        sw.plot.cross_section(alone)


# --- the ground a survey makes -------------------------------------------------------------------


def test_a_surveyed_ground_is_shown_with_its_errors_outline_and_spots():
    spots = [
        sw.Spot(f"P{i}", 30.0 + i % 3, x=4.0 * (i % 4), y=4.0 * (i // 4), surface_level=float(i))
        for i in range(12)
    ]
    surveyed = sw.interpolate_survey(sw.Survey(spots), [(-2, -2), (14, -2), (14, 10), (-2, 10)])
    axes = sw.plot.surveyed_ground(surveyed)
    assert [ax.get_title(loc="left") for ax in axes.flat] == [
        "surface level (cm)",
        "probe depth (cm)",
        "standard error of the level (cm)",
        "standard error of the depth (cm)",
    ]
    for ax, grid in zip(
        axes.flat,
        (
            surveyed.surface_level,
            surveyed.probe_depth,
            surveyed.surface_level_error,
            surveyed.probe_depth_error,
        ),
        strict=True,
    ):
        assert np.array_equal(ax.collections[0].get_array().compressed(), grid[surveyed.mask])
        outline = next(line for line in ax.lines if line.get_label() == "_outline")
        assert len(outline.get_xdata()) == 5
        assert sum(line.get_marker() == "o" for line in ax.lines) == 12
    # A level of 0 is a level.
    faces = [line.get_markerfacecolor() for line in axes[0, 0].lines if line.get_marker() == "o"]
    assert "white" not in faces
    plt.close("all")
    ground = sw.GreenMap.from_survey(surveyed, GREEN)
    values = xr.DataArray(surveyed.probe_depth[surveyed.mask], dims="spot")
    ax = sw.plot.green_map(ground, values, label="depth (cm)", surveyed=surveyed)
    assert {"_outline", "_spots"} <= {line.get_label() for line in ax.lines}
    assert ax.get_xlim()[0] <= -2.0


def test_days_of_a_green_share_one_scale():
    ground = sw.GreenMap([[6.0, 3.0, 0.0]] * 2, [[30.0] * 3] * 2, GREEN, "1 m")
    run = sw.simulate(ground, WEATHER, output="24 h")
    reading = sw.meter_reading(run, rod="3 in")
    at = [WEATHER.start + np.timedelta64(h, "h") for h in (24, 48)]
    axes = sw.plot.green_days(ground, reading, at=at)
    limits = [ax.collections[0].get_clim() for ax in axes]
    shown = 100.0 * reading.isel(time=[1, 2])
    assert limits[0] == limits[1] == pytest.approx((float(shown.min()), float(shown.max())))
    assert [ax.get_title(loc="left") for ax in axes] == [
        "2025-07-02 00:00",
        "2025-07-03 00:00",
    ]
    with pytest.raises(sw.InputError, match="allowed: spot and time; for one time draw green_map"):
        sw.plot.green_days(ground, reading.isel(time=0), at=at)


def test_a_green_moves_through_all_its_times_in_one_scale(tmp_path):
    level = np.add.outer([0.0, 4.0], [0.0, 2.0, 4.0])
    ground = sw.GreenMap(level, np.full((2, 3), 30.0), GREEN, "1 m", name="front")
    run = sw.simulate(ground, WEATHER, output="12 h")
    reading = sw.meter_reading(run, rod="3 in")
    plt.close("all")
    path = sw.plot.animate_green(ground, reading, tmp_path / "front.gif")
    with Image.open(path) as picture:
        assert (picture.format, picture.n_frames) == ("GIF", 5)
        first = np.asarray(picture.convert("RGB"), dtype=int)
        picture.seek(4)
        last = np.asarray(picture.convert("RGB"), dtype=int)
    # The map and the title change; the scale of colours at the right does not, but for rounding.
    width = first.shape[1]
    assert np.abs(first - last)[:, : width // 2].max() > 20
    assert np.abs(first - last)[:, -width // 12 :].max() < 15
    assert not plt.get_fignums()
    with pytest.raises(sw.InputError, match="spot and time"):
        sw.plot.animate_green(ground, reading.isel(time=0), tmp_path / "none.gif")
    with pytest.raises(sw.InputError, match="no time"):
        sw.plot.animate_green(ground, reading.isel(time=slice(0)), tmp_path / "none.gif")
    plt.close("all")


def test_a_cell_without_a_value_is_grey_in_every_picture_of_a_moving_green(tmp_path):
    ground = sw.GreenMap(np.zeros((2, 3)), np.full((2, 3), 30.0), GREEN, "1 m")
    numbers = np.tile(np.arange(1.0, 7.0), (4, 1))
    numbers[1, 2], numbers[2, 0], numbers[3, [0, 2]] = np.nan, np.inf, np.nan
    times = np.datetime64("2025-06-01", "ns") + np.arange(4) * np.timedelta64(1, "D")
    days = xr.DataArray(numbers, {"time": times}, ("time", "spot"))
    path = sw.plot.animate_green(ground, days, tmp_path / "days.gif", label="days until 15 %")
    grey = []
    with Image.open(path) as picture:
        for frame in range(4):
            picture.seek(frame)
            seen = np.asarray(picture.convert("RGB"), dtype=int)
            grey.append(np.count_nonzero((np.abs(seen - 0xD9) < 6).all(axis=-1)))
    cell = grey[1] - grey[0]
    assert cell > 5000
    assert grey[2] == pytest.approx(grey[1], rel=0.1)
    assert grey[3] - grey[0] == pytest.approx(2 * cell, rel=0.1)
