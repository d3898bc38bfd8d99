"""Pictures of curves and profiles: the sand at rest, depth downward, and sand that remembers."""

import numpy as np
import pytest
from matplotlib.dates import num2date
from matplotlib.text import Text
from pictured import GREEN, LOAM, ROD, SAND, extent_of, line_called, texts_of

import soilwater as sw
from soilwater.lab.likely_at_rest import DRAWS
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.words.errors import InputError

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


# --- sand that remembers -----------------------------------------------------------------------


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
