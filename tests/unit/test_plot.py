"""Pictures: what is drawn, where, and how it is labelled; never what the pixels are."""

from dataclasses import replace

import matplotlib
from grounds import MIDDLE_MIX

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.dates import date2num, num2date
from matplotlib.text import Text
from PIL import Image

import soilwater as sw
from soilwater.lab.likely_at_rest import DRAWS
from soilwater.plot import style
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.words.errors import InputError

SAND = replace(MIDDLE_MIX, name="sand")
LOAM = sw.VanGenuchten.texture_class("loam")
GREEN = sw.Profile.over_gravel(SAND, "12 in", base_suction=3.0)
TURF = sw.Turf.creeping_bentgrass()
WEATHER = sw.steady_weather(4, "5 mm/day")
ROD = "3 in"
BANDS = {"firm": (0.14, "18 %"), "watch": (0.10, 0.14), "wilt": (0.0, 0.10)}


@pytest.fixture(autouse=True)
def close_figures():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def run():
    evening = sw.Event("2025-07-02 18:00", "30 mm", rate="10 mm/h")
    return sw.simulate(GREEN, WEATHER, turf=TURF, start="drained", irrigation=[evening])


@pytest.fixture(scope="module")
def depths():
    return sw.compare_depths(GREEN, ["10 in", "12 in", "40 cm"], WEATHER, turf=TURF)


@pytest.fixture(scope="module")
def fit():
    lab = sw.RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat="14 in/h")
    return lab.fit(sw.VanGenuchten)


@pytest.fixture
def survey():
    spots = [
        Spot(
            f"{row}{column}",
            30.0 + 4.0 * i + j,
            x=3.0 * j,
            y=-3.0 * i,
            readings=(Reading(0.26 - 0.02 * i - 0.01 * j, rod=ROD),),
        )
        for i, row in enumerate("AB")
        for j, column in enumerate("123")
    ]
    return Survey(tuple(spots), name="Fellgate 3 (invented)")


def texts_of(ax):
    return [text.get_text() for text in ax.texts]


def line_called(ax, label):
    (line,) = [line for line in ax.lines if line.get_label() == label]
    return line


def extent_of(collection):
    """Corners of what a filled area covers."""
    vertices = np.vstack([path.vertices for path in collection.get_paths()])
    return vertices.min(axis=0), vertices.max(axis=0)


# --- what holds for all of them -------------------------------------------------------------------


def every_picture(run, depths, fit, survey):
    later = sw.simulate(GREEN.with_thickness(40.0), WEATHER, turf=TURF)
    return {
        "retention": lambda ax: sw.plot.retention(fit, base_suction=3.0, ax=ax),
        "profile": lambda ax: sw.plot.profile(run, rod=ROD, ax=ax),
        "suction_profile": lambda ax: sw.plot.suction_profile(run, ax=ax),
        "dry_down": lambda ax: sw.plot.dry_down(depths, rod=ROD, thresholds=BANDS, ax=ax),
        "before_after": lambda ax: sw.plot.before_after(
            run, later, rod=ROD, thresholds=BANDS, ax=ax
        ),
        "depth_curve": lambda ax: sw.plot.depth_curve(SAND, rod=ROD, survey=survey, ax=ax),
        "water_balance": lambda ax: sw.plot.water_balance(run, ax=ax),
        "depth_time": lambda ax: sw.plot.depth_time(run, ax=ax),
        "survey_map": lambda ax: sw.plot.survey_map(survey, ax=ax),
    }


UNITS = {
    "retention": ("% by volume", "cm of water"),
    "profile": ("% by volume", "(cm)"),
    "suction_profile": ("cm of water", "(cm)"),
    "dry_down": ("days", "% by volume"),
    "before_after": ("days", "% by volume"),
    "depth_curve": ("(cm)", "% by volume"),
    "water_balance": ("day", "mm"),
    "depth_time": ("date", "(cm)"),
    "survey_map": ("(m)", "(m)"),
}


@pytest.mark.parametrize("name", UNITS)
def test_a_picture_draws_where_it_is_told_and_says_its_units(name, run, depths, fit, survey):
    draw = every_picture(run, depths, fit, survey)[name]
    _, mine = plt.subplots()
    before = dict(matplotlib.rcParams)
    assert draw(mine) is mine
    assert dict(matplotlib.rcParams) == before, "the person's own settings stay as they are"
    for unit, label in zip(UNITS[name], (mine.get_xlabel(), mine.get_ylabel()), strict=True):
        assert unit in label
    open_before = len(plt.get_fignums())
    assert draw(None).figure is not mine.figure
    assert len(plt.get_fignums()) == open_before + 1


@pytest.mark.parametrize("name", ["retention", "profile", "suction_profile", "depth_curve"])
def test_inches_stand_beside_centimetres(name, run, depths, fit, survey):
    ax = every_picture(run, depths, fit, survey)[name](None)
    (second,) = ax.child_axes
    assert "(in)" in second.get_ylabel() + second.get_xlabel()
    ax.figure.canvas.draw()
    vertical = name != "depth_curve"
    cm = np.array(ax.get_ylim() if vertical else ax.get_xlim())
    inch = np.array(second.get_ylim() if vertical else second.get_xlim())
    # Heights above gravel start where the 3 cm left at the gravel are.
    zero = 3.0 if name == "retention" else 0.0
    assert inch == pytest.approx((cm - zero) / 2.54)


# --- colours --------------------------------------------------------------------------------------

# Machado, Oliveira & Fernandes (2009), IEEE Trans. Vis. Comput. Graph. 15:1291, severity 1.0, from
# memory; each row sums to 1, so grey stays grey.
COLOUR_VISION = {
    "usual": np.eye(3),
    "no red": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


def as_lab(colour, vision):
    """CIE L*a*b* (D65) of an sRGB colour as seen with some kind of colour vision."""
    srgb = np.array(to_rgb(colour))
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(np.array(COLOUR_VISION[vision]) @ linear, 0.0, 1.0)
    to_xyz = [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
    x, y, z = (np.array(to_xyz) @ linear) / [0.95047, 1.0, 1.08883]
    f = [t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("vision", COLOUR_VISION)
@pytest.mark.parametrize("n", [2, 3, 4])
def test_lines_stay_apart_for_everyone(vision, n):
    colours = [as_lab(colour, vision) for colour in style.line_colours(n)]
    for i in range(n):
        for j in range(i):
            # A difference of about 2.3 is just noticeable (Mahy et al. 1994, from memory).
            assert np.linalg.norm(colours[i] - colours[j]) > 20.0


def test_the_water_map_gets_darker_all_the_way():
    light = [as_lab(style.WATER_MAP(x)[:3], "usual")[0] for x in np.linspace(0.0, 1.0, 33)]
    assert np.all(np.diff(light) < 0.0)


def test_more_lines_than_colours_get_colours_of_their_own():
    assert len(set(style.line_colours(9))) == 9
    assert style.line_colours(1) == [style.LINE_COLOURS[0]]


def test_labels_move_apart_as_little_as_they_must():
    free = np.array([0.1, 0.5, 0.9])
    assert style.apart(free, 0.1) == pytest.approx(free)
    crowded = style.apart(np.array([0.50, 0.51, 0.52, 0.9]), 0.1)
    assert np.diff(crowded).min() == pytest.approx(0.1)
    # Three that touch keep their common middle; the one further away is left alone.
    assert crowded[:3].mean() == pytest.approx(0.51)
    assert crowded[3] == pytest.approx(0.9)


# --- the sand at rest -----------------------------------------------------------------------------


def test_a_fit_is_drawn_with_its_points_its_curve_and_its_band(fit):
    ax = sw.plot.retention(fit)
    curve = line_called(ax, "fitted curve")
    suction = np.asarray(curve.get_ydata())
    assert curve.get_xdata() == pytest.approx(100.0 * fit.soil.water_content(suction))
    (points,) = [c for c in ax.containers if c.get_label() == "lab"]
    assert points.lines[0].get_xdata() == pytest.approx([37.8, 28.4, 19.4, 14.0])
    assert points.lines[0].get_ydata() == pytest.approx([10.0, 20.0, 30.0, 40.0])
    (band,) = [c for c in ax.collections if "80 % band" in str(c.get_label())]
    low, high = extent_of(band)
    expected = fit.band(suction, 0.8)
    assert low[0] == pytest.approx(100.0 * expected.lower.min())
    assert high[0] == pytest.approx(100.0 * expected.upper.max())
    assert ax.get_ylim()[0] < ax.get_ylim()[1], "dry sand is at the top, as over gravel"


def test_water_and_air_are_read_off_at_the_test_suction():
    ax = sw.plot.retention(SAND, test_suction="3 kPa")
    suction = 30.591  # 3 kPa at 1 kPa = 10.197 cm of water.
    water = 5.0 + 35.0 * (1.0 + (0.047 * suction) ** 3.0) ** (-2.0 / 3.0)  # van Genuchten (1980)
    (text,) = [t for t in texts_of(ax) if t.startswith("at ")]
    assert f"{water:.1f} % water" in text
    assert f"{40.0 - water:.1f} % air" in text


def test_a_table_without_a_curve_shows_its_points_only(fit):
    ax = sw.plot.retention(fit.table)
    assert not [line for line in ax.lines if "curve" in str(line.get_label())]
    assert [c.get_label() for c in ax.containers] == ["lab"]


def test_retention_says_what_it_can_draw():
    with pytest.raises(InputError, match="sand: 42; allowed: a soil"):
        sw.plot.retention(42)


def test_the_depth_curve_is_the_drained_reading_by_depth(survey):
    ax = sw.plot.depth_curve(
        SAND, rod=ROD, target=("15 %", "25 %"), survey=survey, base_suction=3.0
    )
    line = line_called(ax, "drained, level ground")
    at_12_in = np.interp(30.48, line.get_xdata(), line.get_ydata())
    assert at_12_in == pytest.approx(100.0 * sw.drained_water_content(GREEN, 0.0, ROD), abs=0.02)
    (written,) = [t for t in texts_of(ax) if t.endswith(" in")]
    deep, shallow = (float(x) for x in written.removesuffix(" in").split(" to "))
    for inch, reading in ((deep, 25.0), (shallow, 15.0)):
        drained = sw.drained_water_content(
            sw.Profile.over_gravel(SAND, f"{inch} in", base_suction=3.0), 0.0, ROD
        )
        assert 100.0 * drained == pytest.approx(reading, abs=0.1)
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert [(d.get_xdata()[0], round(d.get_ydata()[0], 6)) for d in dots] == [
        (30.0, 26.0), (31.0, 25.0), (32.0, 24.0), (34.0, 24.0), (35.0, 23.0), (36.0, 22.0),
    ]  # fmt: skip
    assert {"A1", "B3"} <= set(texts_of(ax))


def test_a_fit_brings_its_band_to_the_depth_curve(fit):
    # Forty of its soils, so that the same ones can be drained one by one.
    soils = fit.samples(40)
    ax = sw.plot.depth_curve(
        list(soils), rod=ROD, depths=(25.0, 50.0), probability=0.8, base_suction=3.0
    )
    (band,) = [c for c in ax.collections if "80 % band over sand" in str(c.get_label())]
    vertices = band.get_paths()[0].vertices
    at_deepest = vertices[np.isclose(vertices[:, 0], 50.0), 1]
    each = [
        100.0
        * sw.drained_water_content(sw.Profile.over_gravel(soil, 50.0, base_suction=3.0), 0.0, ROD)
        for soil in soils
    ]
    often = np.repeat(each, np.bincount(np.arange(DRAWS) * len(each) // DRAWS))
    assert at_deepest.min() == pytest.approx(np.quantile(often, 0.1), abs=1e-3)
    assert at_deepest.max() == pytest.approx(np.quantile(often, 0.9), abs=1e-3)
    (band,) = sw.plot.depth_curve(fit, rod=ROD, base_suction=3.0).collections
    assert band.get_label() == "80 % band over sand"


def test_the_whole_band_is_drawn_with_that_of_the_base(fit):
    """Each base suction of the band is as likely as the next: as many draws of it say the same."""
    ax = sw.plot.depth_curve(fit, rod=ROD, depths=(25.0, 50.0))
    (band,) = [c for c in ax.collections if "80 % band over sand and base" in str(c.get_label())]
    vertices = band.get_paths()[0].vertices
    at_deepest = vertices[np.isclose(vertices[:, 0], 50.0), 1]
    window = sw.depth_window(fit, (0.1, 0.3), rod=ROD, air_filled=0.1)
    there = window.to_dataset([50.0])
    assert at_deepest.min() == pytest.approx(100 * float(there.expected_reading_lower[0]))
    assert at_deepest.max() == pytest.approx(100 * float(there.expected_reading_upper[0]))


def test_the_air_floor_hatches_depths_that_are_too_shallow():
    target, floor = (0.1, 0.3), 0.2
    ax = sw.plot.depth_curve(SAND, rod=ROD, target=target, air_filled=floor)
    (hatched,) = [patch for patch in ax.patches if patch.get_hatch()]
    box = hatched.get_extents().transformed(ax.transData.inverted())
    window = sw.depth_window(SAND, target, rod=ROD, air_filled=floor)
    assert window.limited_by == "air"
    assert (box.x0, box.x1) == pytest.approx((20.32, window.low), abs=0.05)
    assert "less than 20 % air\nin the top 7.6 cm (3.0 in): less deep than" in hatched.get_label()
    enough = sw.plot.depth_curve(SAND, rod=ROD, air_filled=0.01)
    assert not [patch for patch in enough.patches if patch.get_hatch()]
    assert any("at every depth here" in text.get_text() for text in enough.get_legend().get_texts())


def test_names_of_spots_do_not_lie_on_one_another():
    spots = [
        Spot(f"B{i}", 30.0 + 0.2 * i, readings=(Reading(0.24 + 0.001 * i, rod=ROD),))
        for i in range(6)
    ]
    ax = sw.plot.depth_curve(SAND, rod=ROD, survey=Survey(spots))
    ax.figure.canvas.draw()
    named = [text for text in ax.texts if text.get_text().startswith("B")]
    # The box of a text; that of the annotation holds its leader too.
    boxes = [Text.get_window_extent(text) for text in named]
    assert len(boxes) == 6
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[i + 1 :])


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"root_layer": "30 in"}, "root_layer: 76.2 cm; allowed: above 0"),
        ({"depths": ("12 in", "10 in")}, "shallower first"),
        ({"depths": ("2 in", "10 in")}, "none shorter than the rods"),
        ({"target": (0.25, 0.15)}, "low below high"),
        ({"target": (15, 25)}, "per cent"),
    ],
)
def test_the_depth_curve_says_what_is_wrong(arguments, message):
    with pytest.raises(InputError, match=message):
        sw.plot.depth_curve(SAND, rod=ROD, **arguments)


# --- with depth downward --------------------------------------------------------------------------


def test_a_profile_shows_water_by_depth_downward():
    ax = sw.plot.profile(sw.drained_state(GREEN))
    bottom, top = ax.get_ylim()
    assert bottom > 30.48 > 0.0 > top
    depth = np.asarray(line_called(ax, "at rest").get_ydata())
    suction = 33.48 - depth  # At rest: height above the base, and 3 cm left there.
    water = 5.0 + 35.0 * (1.0 + (0.047 * suction) ** 3.0) ** (-2.0 / 3.0)  # van Genuchten (1980)
    assert line_called(ax, "at rest").get_xdata() == pytest.approx(water)
    (air,) = [c for c in ax.collections if c.get_label() == "_air"]
    low, high = extent_of(air)
    assert low[0] == pytest.approx(water.min())
    assert high[0] == pytest.approx(40.0)
    assert "gravel" in texts_of(ax)


def test_the_rod_is_drawn_to_its_length_and_read(run):
    ax = sw.plot.profile(run, at="2025-07-02 12:00", rod=ROD)
    rods = [line for line in ax.lines if line.get_label() == "_rod"]
    assert {max(line.get_ydata()) for line in rods} == {7.62}
    reading = sw.meter_reading(run.sel(time=["2025-07-02 12:00"]), rod=ROD)
    assert f"meter: {100.0 * float(reading[0]):.0f} %" in texts_of(ax)


def test_layers_are_named_and_their_water_jumps_where_they_meet():
    layers = (sw.Layer(SAND, 25.0, "cap"), sw.Layer(LOAM, 20.0, "native loam"))
    at_rest = sw.drained_state(sw.Profile(layers, sw.WaterTable(60.0)))
    ax = sw.plot.profile(at_rest)
    assert {"cap", "native loam"} <= set(texts_of(ax))
    line = line_called(ax, "at rest")
    at_joint = np.asarray(line.get_xdata())[np.isclose(line.get_ydata(), 25.0)]
    assert at_joint == pytest.approx(
        [100.0 * SAND.water_content(35.0), 100.0 * LOAM.water_content(35.0)]
    )


def test_several_times_are_several_lines(run):
    ax = sw.plot.profile(run, at=["2025-07-01", "2025-07-03"])
    names = [text.get_text() for text in ax.get_legend().get_texts()]
    assert names == ["2025-07-01 00:00", "2025-07-03 00:00"]


def test_suction_comes_with_the_line_it_rests_on(run):
    ax = sw.plot.suction_profile(run, at="2025-07-01")
    rest = line_called(ax, "at rest after drainage")
    assert rest.get_xdata() == pytest.approx([33.48, 3.0])
    assert rest.get_ydata() == pytest.approx([0.0, 30.48])
    bottom, top = ax.get_ylim()
    assert (bottom, top) == pytest.approx((30.48, 0.0))
    # This run starts at rest, so its first line lies on the other.
    first = line_called(ax, "2025-07-01 00:00")
    assert first.get_xdata() == pytest.approx(33.48 - np.asarray(first.get_ydata()))


def test_a_base_that_never_rests_has_no_such_line():
    deep = sw.Profile((sw.Layer(SAND, 40.0),), sw.FreeDrainage())
    ax = sw.plot.suction_profile(sw.simulate(deep, sw.steady_weather(1, 0.0)))
    assert [line.get_label() for line in ax.lines] == ["2025-07-02 00:00"]


@pytest.mark.parametrize("variable", ["water_content", "suction"])
def test_the_map_over_time_holds_the_result(run, variable):
    ax = sw.plot.depth_time(run, variable=variable)
    (mesh,) = ax.collections
    factor = 100.0 if variable == "water_content" else 1.0
    np.testing.assert_allclose(mesh.get_array(), factor * run[variable].values.T)
    bottom, top = ax.get_ylim()
    assert (bottom, top) == pytest.approx((30.48, 0.0))
    shown = [num2date(x).replace(tzinfo=None) for x in ax.get_xlim()]
    assert (
        np.array(shown, dtype="datetime64[s]").tolist()
        == run.time.values[[0, -1]].astype("datetime64[s]").tolist()
    )
    with pytest.raises(InputError, match="water_content"):
        sw.plot.depth_time(run, variable="rain")


@pytest.mark.parametrize("draw", [sw.plot.profile, sw.plot.suction_profile, sw.plot.depth_time])
def test_pictures_of_one_column_ask_for_one(depths, draw):
    with pytest.raises(InputError, match=r"3 columns along root_zone_depth.*\.isel"):
        draw(depths)


def test_a_time_outside_the_run_is_refused(run):
    with pytest.raises(InputError, match="lies outside the run; allowed: 2025-07-01"):
        sw.plot.profile(run, at="2025-08-01")


# --- over days ------------------------------------------------------------------------------------


def test_dry_down_draws_the_readings_of_each_depth_and_names_the_lines(depths):
    ax = sw.plot.dry_down(depths, rod=ROD, thresholds=BANDS)
    reading = 100.0 * sw.meter_reading(depths, rod=ROD)
    for i, name in enumerate(("10 in (25 cm)", "12 in (30 cm)", "40.0 cm (15.7 in)")):
        line = line_called(ax, name)
        assert line.get_ydata() == pytest.approx(reading[i].values)
        assert line.get_xdata() == pytest.approx(np.arange(97) / 24.0)
        assert name in texts_of(ax), "written on the line, not in a legend"
    assert ax.get_legend() is None
    assert "7.6 cm (3.0 in) rods" in ax.get_ylabel()
    (dates,) = ax.child_axes
    ax.figure.canvas.draw()
    assert dates.get_xlim()[0] == pytest.approx(date2num(np.datetime64("2025-07-01")))


@pytest.mark.parametrize("start", ["soaked", "drained"])
@pytest.mark.parametrize("thresholds", [None, BANDS])
def test_no_more_than_four_tenths_of_a_dry_down_are_empty(start, thresholds):
    """Between the lines' lowest and highest reading lies most of the height, whatever the start."""
    run = sw.simulate(GREEN, sw.steady_weather(10, "5 mm/day"), turf=TURF, start=start)
    ax = sw.plot.dry_down(run, rod=ROD, thresholds=thresholds)
    low, high = ax.get_ylim()
    shown = np.clip(100.0 * sw.meter_reading(run, rod=ROD).values, low, high)
    assert low >= 0.0
    assert shown[14:].max() - shown[14:].min() > 0.6 * (high - low)
    first = 100.0 * float(sw.meter_reading(run, rod=ROD)[0])
    assert (f"starts at {first:.0f} %" in texts_of(ax)) == (first > high)


@pytest.mark.parametrize("order", [(0, 2), (2, 0)])
def test_paired_panels_share_limits_that_hold_both(depths, order):
    _, axes = plt.subplots(1, 2, sharey=True)
    for ax, i in zip(axes, order, strict=True):
        sw.plot.dry_down(depths.isel(root_zone_depth=i), rod=ROD, ax=ax)
    low, high = axes[0].get_ylim()
    assert axes[1].get_ylim() == (low, high)
    for i in order:
        later = 100.0 * sw.meter_reading(depths.isel(root_zone_depth=i), rod=ROD).values[24:]
        assert low < later.min() and later.max() < high


def test_names_of_lines_lie_on_no_line(depths):
    ax = sw.plot.dry_down(depths, rod=ROD)
    ax.figure.canvas.draw()
    named = [text for text in ax.texts if "in" in text.get_text() and "cm" in text.get_text()]
    boxes = [text.get_window_extent() for text in named]
    assert len(boxes) == 3
    assert all(box.x0 >= ax.get_window_extent().x1 for box in boxes)
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[i + 1 :])


def test_a_season_has_dates_and_a_bar_a_week():
    run = sw.simulate(GREEN, sw.steady_weather(100, "3 mm/day", rain="2 mm/day"), output=24.0)
    ax = sw.plot.water_balance(run)
    bars = next(c for c in ax.containers if c.get_label() == "rain")
    assert len(bars) == 15
    assert sum(bar.get_height() for bar in bars) == pytest.approx(200.0)
    assert ax.get_ylabel().startswith("water per week")
    ax.figure.canvas.draw()
    ticks = [label.get_text() for label in ax.get_xticklabels()]
    assert "Aug" in ticks and len(ticks) < 10


def test_a_first_day_of_drainage_does_not_press_the_others_flat():
    run = sw.simulate(GREEN, sw.steady_weather(8, "5 mm/day"), turf=TURF, start="soaked")
    ax = sw.plot.water_balance(run)
    low, _ = ax.get_ylim()
    change = line_called(ax, "change of water held").get_ydata()
    assert change[0] < 2.5 * low
    assert min(change[1:]) < 0.5 * low
    assert f"{-change[0]:.0f}" in texts_of(ax)


def test_bands_lie_where_they_are_put_and_are_named(depths):
    ax = sw.plot.dry_down(depths, rod=ROD, thresholds=BANDS)
    spans = {p.get_label(): p.get_extents() for p in ax.patches}
    for name, (low, high) in {"firm": (14, 18), "watch": (10, 14), "wilt": (0, 10)}.items():
        box = ax.transData.inverted().transform_bbox(spans[f"_{name}"])
        assert (box.y0, box.y1) == pytest.approx((low, high))
        assert name in texts_of(ax)
    assert not sw.plot.dry_down(depths, rod=ROD).patches, "no bands of its own making"


def test_bands_that_cannot_be_are_all_named(depths):
    with pytest.raises(InputError, match=r"2 faults") as caught:
        sw.plot.dry_down(depths, rod=ROD, thresholds={"firm": (0.2, 0.1), "wilt": (0, 10)})
    assert "firm" in str(caught.value)
    assert "wilt" in str(caught.value)


def test_samples_are_drawn_as_a_band_around_the_middle(fit):
    soils = fit.samples(12)
    run = sw.compare_depths(GREEN, ["10 in", "18 in"], WEATHER, turf=TURF, sand=soils)
    ax = sw.plot.dry_down(run, rod=ROD, probability=0.8)
    values = 100.0 * sw.meter_reading(run, rod=ROD).transpose("root_zone_depth", "sample", "time")
    assert len(ax.collections) == len(ax.lines) == 2
    for i, (line, band) in enumerate(zip(ax.lines, ax.collections, strict=True)):
        assert line.get_ydata() == pytest.approx(np.median(values[i], axis=0))
        low, high = extent_of(band)
        assert low[1] == pytest.approx(np.quantile(values[i], 0.1, axis=0).min())
        assert high[1] == pytest.approx(np.quantile(values[i], 0.9, axis=0).max())


def test_days_count_from_where_they_are_told(depths):
    ax = sw.plot.dry_down(depths, rod=ROD, since="2025-07-02 06:00")
    assert ax.get_xlim() == pytest.approx((0.0, 2.75))
    assert ax.get_xlabel() == "days since 2025-07-02 06:00"
    first = float(sw.meter_reading(depths, rod=ROD)[0].sel(time="2025-07-02 06:00"))
    assert ax.lines[0].get_ydata()[0] == pytest.approx(100.0 * first)
    with pytest.raises(InputError, match=r"since: .* lies outside the run"):
        sw.plot.dry_down(depths, rod=ROD, since="2025-08-01")


def test_a_column_that_gave_up_is_named_and_the_others_are_drawn():
    never_at_rest = sw.Profile(GREEN.layers, sw.FreeDrainage())
    cases = [sw.Case(GREEN, WEATHER), sw.Case(never_at_rest, WEATHER, start="drained")]
    runs = sw.simulate_many(cases, dimension="spot", labels=["A1", "A2"])
    assert int(runs.status[1]) != 0
    ax = sw.plot.dry_down(runs, rod=ROD, thresholds=BANDS)
    assert np.isfinite(line_called(ax, "A1").get_ydata()).all()
    assert "did not reach the end: A2" in texts_of(ax)
    assert "A2" not in texts_of(ax)
    with pytest.raises(InputError, match="no values at that time"):
        sw.plot.profile(runs.isel(spot=1))


def test_before_and_after_are_two_lines_over_the_same_days(run, depths):
    later = depths.isel(root_zone_depth=2)
    ax = sw.plot.before_after(run, later, rod=ROD, names=("now", "rebuilt"))
    assert line_called(ax, "now").get_ydata() == pytest.approx(
        100.0 * sw.meter_reading(run, rod=ROD).values
    )
    assert line_called(ax, "rebuilt").get_linestyle() != line_called(ax, "now").get_linestyle()
    assert {"now", "rebuilt"} <= set(texts_of(ax))
    with pytest.raises(InputError, match="their times differ"):
        sw.plot.before_after(run, later.isel(time=slice(0, 20)), rod=ROD)


def test_the_bars_of_the_water_balance_add_up_to_the_dots(run):
    ax = sw.plot.water_balance(run)
    bars = {c.get_label(): [bar.get_height() for bar in c] for c in ax.containers}
    assert set(bars) == {"irrigation", "transpiration", "drainage"}
    dots = line_called(ax, "change of water held").get_ydata()
    assert np.sum(list(bars.values()), axis=0) == pytest.approx(dots, abs=1e-6)
    assert sum(bars["irrigation"]) == pytest.approx(30.0)
    assert sum(bars["transpiration"]) == pytest.approx(-float(run.transpiration[-1]))
    assert len(dots) == 4
    # Bars of one day stand on one another: each begins where the one before it ends.
    falling = [c for c in ax.containers if c.get_label() in ("transpiration", "drainage")]
    for upper, lower in zip(*falling, strict=True):
        assert lower.get_y() == pytest.approx(upper.get_y() + upper.get_height())


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


def test_pictures_are_reached_from_the_package_and_nothing_else_is():
    assert sw.plot.dry_down is not None
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        _ = sw.nonsense


def test_a_sand_that_remembers_is_drawn_with_both_curves():
    sand = sw.Hysteretic(sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 2.0, 0.9)
    ax = sw.plot.retention(sand)
    curves = {line.get_label(): line for line in ax.lines}
    drains, wetted = curves["while it drains"], curves["while dry sand is wetted"]
    assert (wetted.get_xdata() < drains.get_xdata()).all()
    assert wetted.get_xdata()[0] == pytest.approx(36.0)


def remembering_run():
    """A green that was flooded, dried for six days, given 40 mm and left for a day."""
    sand = sw.Hysteretic(sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 2.0)
    hours = np.cumsum([0, 48, 144, 4, 24])
    edges = np.datetime64("2025-07-01", "ns") + (hours * 3.6e12).astype("timedelta64[ns]")
    weather = sw.Weather(edges, [0.0, 0.0, 40.0, 0.0], [0.0, 30.0, 0.0, 0.0])
    green = sw.Profile.over_gravel(sand, 30.0)
    return sw.simulate(green, weather, turf=sw.Turf(10.0, roots="uniform"), output=edges[1:])


def test_each_depth_stands_on_its_branch_within_the_loop():
    run = remembering_run()
    ax = sw.plot.wetting_loop(run)
    curves = {line.get_label(): line for line in ax.lines}
    points = curves["other depths"]
    held, suction = points.get_xdata(), points.get_ydata()
    # As the run holds it: at the surface by its own effective suction.
    sand = sw.Profile.from_json(run.profile.item()).layers[0].soil
    surface = float(run.drying_suction.isel(time=-1).values.ravel()[0])
    assert held[0] == pytest.approx(100.0 * sand.water_content(surface), abs=1e-3)
    assert (held < 100.0 * sand.water_content(suction) + 1e-9).all()
    assert (held > 100.0 * sand.wetting_water_content(suction) - 1e-9).all()
    top = curves["0.0 cm (0.0 in) down"]
    branches = [line for line in ax.lines if line.get_color() == top.get_color()]
    came, on = (line for line in branches if line is not top)
    assert came.get_ydata()[-1] == on.get_ydata()[0] == top.get_ydata()[0]
    # It drains from where the water left it, not from saturation.
    assert 5.0 < came.get_ydata()[0] < top.get_ydata()[0]
    assert (np.diff(came.get_xdata()) <= 0.0).all()


def test_a_loop_needs_sand_that_remembers(run):
    with pytest.raises(InputError, match=r"does not say how its sand was wetted"):
        sw.plot.wetting_loop(run)
    with pytest.raises(InputError, match=r'none called "mat" remembers.*root zone'):
        sw.plot.wetting_loop(remembering_run(), layer="mat")


def test_a_profile_over_a_blanket_of_gravel_is_drawn_by_what_its_sand_remembers():
    sand = sw.Hysteretic(sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 2.0)
    green = sw.Profile.over_gravel(sand, 30.0)
    driest = []
    for state in (sw.drained_state(green), sw.drained_state(green, after=sw.AfterRain(10.0))):
        ax = sw.plot.profile(state, rod=ROD)
        driest.append(
            min(float(line.get_xdata().min()) for line in ax.lines if len(line.get_xdata()) > 9)
        )
    assert driest[1] < driest[0] - 2.0
