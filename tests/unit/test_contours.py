"""Answers about ground that is not level: crests in centimetres, floors, odds, before and after."""

from dataclasses import replace

import numpy as np
import pytest
from grounds import GREEN, MIDDLE_MIX, STRAIGHT_SAND, WET_MIX

import soilwater as sw
from soilwater.decisions.level_columns import level_columns

TWO_DAYS = sw.steady_weather(2, 0.0)
WET_GREEN = sw.Profile.over_gravel(WET_MIX, 30.0, base_suction=3.0)


def plane(fall="2 %", depth=30.0, spacing=50.0, green=WET_GREEN):
    return sw.Transect(["0 m", "5 m", "10 m"], fall, [depth] * 3, green, spacing=spacing)


# --- level columns -------------------------------------------------------------------------------


def test_a_depth_that_is_read_off_is_the_depth_that_was_run():
    table = level_columns(WET_GREEN, [WET_MIX], TWO_DAYS, rod=7.62, turf=None, start="soaked")
    for depth in (23.0, 30.0, 47.0):
        run = sw.simulate(WET_GREEN.with_thickness(depth), TWO_DAYS, output="48 h")
        reading = sw.meter_reading(run, rod=7.62).isel(time=-1).values
        assert table.depth_that_reads(reading.reshape(1, 1)) == pytest.approx(depth, abs=0.3)


# --- crests --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def crest():
    return sw.crest_effect(plane(), TWO_DAYS, rod="3 in")


def test_a_crest_behaves_deeper_and_the_middle_of_a_plane_hardly(crest):
    extra = crest.places.extra_depth
    assert float(extra.sel(distance=0.0)) > 4.0
    assert abs(float(extra.sel(distance=900.0))) < 0.3
    assert (np.diff(extra.values) < 0.0).all()
    assert float(crest.places.reading_alone[0]) == pytest.approx(
        float(sw.meter_reading(sw.simulate(WET_GREEN, TWO_DAYS, output="48 h"), rod="3 in")[-1]),
        abs=0.001,
    )
    assert float(extra.sel(distance=0.0)) == float(crest.places.extra_depth_upper[0])


def test_the_screening_of_a_slope_agrees_with_a_line():
    """`slope_equivalent`, one number without a survey, against the line it stands for."""
    for sand, fall in (
        (WET_MIX, "1 %"),
        (WET_MIX, "3 %"),
        (MIDDLE_MIX, "2 %"),
        (STRAIGHT_SAND, "2 %"),
    ):
        green = sw.Profile.over_gravel(sand, 30.0, base_suction=3.0)
        places = sw.crest_effect(plane(fall, green=green), TWO_DAYS, rod="3 in").places
        for at in (0.0, 250.0, 500.0):
            said = sw.slope_equivalent(
                sand, fall, "10 m", depth=30.0, base_suction=3.0, from_crest=at
            )
            assert float(places.extra_depth.sel(distance=at)) == pytest.approx(said.best, abs=0.8)


def test_sands_make_a_band():
    sands = [replace(WET_MIX, k_sat=k) for k in (14.0, 28.0, 56.0)]
    places = sw.crest_effect(plane(spacing=100.0), TWO_DAYS, rod="3 in", sand=sands).places
    at_crest = places.sel(distance=0.0)
    assert float(at_crest.extra_depth_lower) < float(at_crest.extra_depth) - 0.5
    assert float(at_crest.extra_depth_upper) > float(at_crest.extra_depth) + 0.5


def test_a_crest_shows_itself(crest):
    text = repr(crest)
    assert "0.00 m" in text and "10.00 m" in text
    assert "behaves deeper by" in text
    assert "1 cm of level in 2 m" in text


def test_a_green_is_told_from_its_wettest_to_its_driest_place():
    level, depth = np.array([[8.0, 0.0], [4.0, 2.0]]), np.full((2, 2), 30.0)
    effect = sw.crest_effect(sw.GreenMap(level, depth, GREEN, "1 m"), TWO_DAYS, rod="3 in")
    assert effect.places.extra_depth.dims == ("spot",)
    rows = effect._shown().rows
    assert rows[0][0] == "1.0 m east, 0.0 m north"  # the lowest cell
    assert rows[-1][0] == "0.0 m east, 0.0 m north"


# --- floors --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def window():
    return sw.depth_window(WET_MIX, (0.18, 0.26), rod="3 in", air_filled=0.1, base_suction=3.0)


def test_a_level_line_gets_the_level_depth(window):
    design = sw.depth_over_contour(window, plane("0 %", spacing=200.0))
    assert design.after.probe_depth == pytest.approx(window.best, abs=0.4)
    assert design.reading_after == pytest.approx(design.target, abs=0.001)
    # Cut over 10 m of a line 1 m wide.
    assert design.cut == pytest.approx((window.best - 30.0) / 100.0 * 10.0, abs=0.05)
    assert design.fill == 0.0


def test_a_floor_makes_a_ridge_read_alike(window):
    ridge = sw.Transect(
        ["0 m", "5 m", "10 m"], [0.0, 15.0, 0.0], [30.0] * 3, WET_GREEN, spacing=50.0
    )
    design = sw.depth_over_contour(window, ridge)
    assert np.array_equal(design.after.surface_level, design.before.surface_level)
    assert np.ptp(design.reading_before) > 0.05
    assert np.ptp(design.reading_after) < 0.02
    crest = np.argmax(design.after.surface_level)
    assert design.after.probe_depth[crest] < window.best - 8.0
    # The readings told are those of the floor told.
    run = sw.simulate(design.after, TWO_DAYS, output="48 h")
    again = sw.meter_reading(run, rod=window.rod).isel(time=-1).values
    assert again == pytest.approx(design.reading_after, abs=1e-12)
    rise = design.after.floor_level - design.before.floor_level
    area = design.before.ground().area / 100.0  # per metre of width [m2]
    assert design.fill - design.cut == pytest.approx(float(rise @ area) / 100.0, rel=1e-9)
    assert 0.5 < design.tolerance < 20.0
    assert "keeps nine of ten places in the window" in repr(design)


def test_a_surface_no_floor_can_even_out_is_told(window):
    steep = sw.Transect(
        ["0 m", "1 m", "2 m"], [0.0, 15.0, 0.0], [30.0] * 3, WET_GREEN, spacing=25.0
    )
    design = sw.depth_over_contour(window, steep)
    assert any("no floor shaped over 2 m or more" in each for each in design.cautions)


def test_a_window_deeper_than_any_column_is_refused(window):
    with pytest.raises(sw.InputError, match=r"best depth is 150.0 cm; allowed: .* to 120.0 cm"):
        sw.depth_over_contour(replace(window, best=150.0), plane())


def test_a_green_gets_a_floor_too(window):
    level = np.add.outer([0.0, 2.0, 4.0], [0.0, 3.0, 6.0])
    ground = sw.GreenMap(level, np.full((3, 3), 30.0), WET_GREEN, "2 m")
    design = sw.depth_over_contour(window, ground)
    assert design.after.probe_depth.shape == (3, 3)
    assert np.ptp(design.reading_after) < 0.5 * np.ptp(design.reading_before)
    assert design.cut < 36.0


# --- odds ----------------------------------------------------------------------------------------

SANDS = [replace(WET_MIX, alpha=a) for a in (0.036, 0.039, 0.042)]
TURF = sw.Turf.creeping_bentgrass()


@pytest.fixture(scope="module")
def odds():
    return sw.ground_odds(
        plane(), SANDS, sw.steady_weather(6, 5.0), "14 %", rod="3 in", turf=TURF, draws=6
    )


def test_odds_are_shares_of_runs_of_the_whole_line(odds):
    chance = odds.places.probability
    assert set(np.round(np.unique(chance.values) * 6).astype(int)) <= set(range(7))
    assert float(chance.isel(time=0).max()) == 0.0
    assert (np.diff(chance.transpose("time", "distance").values, axis=0) >= 0.0).all()
    end = chance.isel(time=-1)
    assert float(end.sel(distance=0.0)) > float(end.sel(distance=800.0))
    days = odds.places.days_until
    assert float(days.sel(distance=0.0)) < float(days.sel(distance=800.0))


def test_the_same_seed_gives_the_same_odds_on_any_threads(odds):
    again = sw.ground_odds(
        plane(), SANDS, sw.steady_weather(6, 5.0), 0.14, rod=7.62, turf=TURF, draws=6, n_threads=1
    )
    assert np.array_equal(again.places.probability, odds.places.probability)


def test_water_lifts_the_middle_reading_to_the_line(odds):
    last = odds.places.isel(time=-1)
    expected = 76.2 * np.maximum(0.0, 0.14 - last.reading.values)
    assert last.water_needed.values == pytest.approx(expected)
    litres = float((odds.places.water_needed * odds.places.plan_area).sum())
    assert f"{litres:.0f} litres" in repr(odds)


def test_a_surveyed_ground_is_drawn_with_it():
    rng = np.random.default_rng(1)
    spots = [
        sw.Spot(f"P{i}", 30.0 + rng.normal(), x=float(x), y=float(y), surface_level=-1.5 * x)
        for i, (x, y) in enumerate(rng.uniform(0.0, 8.0, (10, 2)))
    ]
    surveyed = sw.interpolate_survey(
        sw.Survey(spots), [(0, 0), (8, 0), (8, 8), (0, 8)], spacing="2 m"
    )
    odds = sw.ground_odds(
        surveyed, WET_MIX, TWO_DAYS, "24 %", rod="3 in", base_suction=3.0, draws=4
    )
    assert odds.places.probability.sizes == {"spot": 16, "time": 3}
    assert 0.0 < float(odds.places.probability.isel(time=-1).mean()) < 1.0
    assert "surface, floor, sand" in repr(odds)


def test_faults_of_odds_are_told_at_once():
    with pytest.raises(sw.InputError, match="3 faults") as told:
        sw.ground_odds(plane(), WET_MIX, TWO_DAYS, 14, rod="3 kPa", draws=1)
    assert "threshold" in str(told.value) and "draws is 1" in str(told.value)


# --- before and after ----------------------------------------------------------------------------

LINES = sw.Thresholds("18 %", "14 %", "12 %")
RIDGE = sw.Transect(
    ["0 m", "4 m", "8 m"], [0.0, 12.0, 0.0], [30.0, 42.0, 30.0], WET_GREEN, spacing=50.0
)


def table(*changes, ground=RIDGE, **more):
    return sw.what_if(ground, sw.steady_weather(8, 5.0), TURF, LINES, changes, rod="3 in", **more)


@pytest.fixture(scope="module")
def what_if():
    return table(
        sw.regrade("30 cm"),
        sw.reshape("-8 cm", "4 m", "4 m"),
        sw.reshape("-8 cm", "4 m", "4 m", floor=True),
        sw.other_sand(STRAIGHT_SAND),
    )


def test_each_change_of_a_ground_is_that_ground_run(what_if):
    as_it_is, matched, shaved, moved, other = what_if.outcomes
    assert np.ptp(as_it_is.ground.floor_level) == 0.0
    assert matched.ground.probe_depth.tolist() == [30.0] * 3
    assert shaved.ground.probe_depth.max() == pytest.approx(34.0)
    assert moved.ground.probe_depth.max() == pytest.approx(42.0)
    assert moved.ground.surface_level.max() == pytest.approx(4.0)
    assert other.ground.green.layers[0].soil == STRAIGHT_SAND
    run = sw.simulate(matched.ground, TWO_DAYS, output="48 h")
    assert matched.drained == pytest.approx(
        sw.meter_reading(run, rod="3 in").isel(time=-1).values, abs=1e-12
    )
    # A mound that is shaved over a flat floor reads more evenly.
    assert np.ptp(shaved.drained) < np.ptp(as_it_is.drained)


def test_days_are_those_of_shares_of_the_area(what_if):
    first = what_if.outcomes[0]
    some, half = first.days["firm"]
    assert some <= half
    assert first.days["wilt"][0] >= first.days["watch"][0] >= some


def test_volumes_are_those_of_the_shape(what_if):
    _, matched, shaved, moved, _ = what_if.outcomes
    # (1 - r2)2 over both sides of 4 m: 2 x 8/15 of 0.08 m x 4 m, a metre wide.
    assert shaved.cut == pytest.approx(0.08 * 4.0 * 2.0 * 8.0 / 15.0, rel=0.02)
    assert moved.cut == pytest.approx(2.0 * shaved.cut, rel=1e-9)
    assert (shaved.fill, matched.cut) == (0.0, 0.0)
    assert matched.fill == pytest.approx(0.5 * 0.12 * 8.0, rel=0.02)


def test_a_green_is_reshaped_at_a_place():
    ground = sw.GreenMap(np.zeros((3, 3)), np.full((3, 3), 30.0), GREEN, "1 m", corner=(5.0, 7.0))
    change = sw.reshape("4 cm", ("6 m", "8 m"), "1.2 m")
    after = table(change, ground=ground).outcomes[1].ground
    assert after.surface_level[1, 1] == pytest.approx(4.0)
    assert after.surface_level[0, 0] == 0.0
    assert after.probe_depth[1, 1] == pytest.approx(34.0)


def test_a_barrier_keeps_water_above_it():
    line = plane("3 %")
    as_it_is, stopped = sw.what_if(
        line, sw.steady_weather(2, 0.0), TURF, LINES, [sw.barrier("5 m")], rod="3 in"
    ).outcomes
    assert stopped.ground.barriers == (500.0,)
    gain = stopped.drained - as_it_is.drained
    x = line.ground().coordinates["distance"]
    assert gain[np.searchsorted(x, 450.0)] > 0.003  # what came to a halt stands above it
    assert gain[np.searchsorted(x, 500.0)] < -0.01  # and is missing below
    # Split at a barrier, a line is two lines.
    run = sw.simulate(replace(line, barriers=["5 m"]), TWO_DAYS, output="48 h")
    assert run.sizes["link"] == 19
    inflow = run.lateral_inflow.isel(time=-1) * run.plan_area
    upper = inflow.sel(distance=slice(0.0, 450.0))
    assert float(upper.sum()) == pytest.approx(0.0, abs=1e-9)
    assert float(np.abs(upper).max()) > 0.1


def test_a_barrier_on_a_green_cuts_the_faces_it_crosses():
    ground = sw.GreenMap(np.zeros((3, 4)), np.full((3, 4), 30.0), GREEN, "1 m")
    assert len(ground.ground().pairs) == 17
    whole = replace(ground, barriers=[((1.5, -1.0), (1.5, 3.0))])
    assert len(whole.ground().pairs) == 14
    part = replace(ground, barriers=[((1.5, -1.0), (1.5, 1.4))])
    assert len(part.ground().pairs) == 15
    change = sw.barrier(("1.5 m", "-1 m"), ("1.5 m", "3 m"))
    after = table(change, ground=ground).outcomes[1].ground
    assert after.barriers == whole.barriers
    with pytest.raises(sw.InputError, match="barriers are no pairs of places"):
        replace(ground, barriers=[(1.0, 2.0)])
    with pytest.raises(sw.InputError, match="barrier: allowed: one distance on a line; two ends"):
        table(sw.barrier("1 m"), ground=ground)
    with pytest.raises(sw.InputError, match="2 and 0 lengths"):
        sw.barrier(("1 m", "2 m"))
    with pytest.raises(sw.InputError, match="a barrier at 2000 cm; allowed: between 0 and 1000"):
        replace(plane("2 %"), barriers=["20 m"])


def test_a_drain_on_a_green_is_open_on_both_sides_of_the_faces_it_crosses():
    ground = sw.GreenMap(np.zeros((3, 4)), np.full((3, 4), 30.0), GREEN, "1 m")
    change = sw.drain(("1.5 m", "-1 m"), ("1.5 m", "3 m"))
    after = table(change, ground=ground).outcomes[1].ground
    assert after.drains == (((1.5, -1.0), (1.5, 3.0)),)
    columns = [(each.column, each.value, each.forward) for each in after.ground().outside]
    beside = [
        (row * 4 + side, -3.0, 1.0 - 2.0 * (side == 2)) for row in range(3) for side in (1, 2)
    ]
    assert columns == beside
    assert len(after.ground().pairs) == 14
    with pytest.raises(sw.InputError, match="drain: allowed: one distance on a line; two ends"):
        table(sw.drain("1 m"), ground=ground)


def test_a_drain_over_tight_soil_dries_what_is_above_it():
    sealed = replace(GREEN, base=sw.Sealed())
    line = replace(plane("3 %"), green=sealed)
    as_it_is, stopped, drained = sw.what_if(
        line, sw.steady_weather(2, 0.0), TURF, LINES, [sw.barrier("8 m"), sw.drain("8 m")],
        rod="3 in",
    ).outcomes  # fmt: skip
    assert drained.ground.drains == (800.0,)
    above = np.searchsorted(line.ground().coordinates["distance"], 750.0)
    assert drained.drained[above] < as_it_is.drained[above] - 0.005
    assert stopped.drained[above] > as_it_is.drained[above]


def test_changes_that_cannot_be_made_are_told():
    with pytest.raises(sw.InputError) as told:
        table(sw.topdress(WET_MIX, 1.0), sw.reshape(1.0, (1.0, 1.0), 50.0))
    assert 'topdressing" is not made to a whole ground; allowed: regrade, reshape' in str(
        told.value
    )
    assert "at has 2 lengths; allowed: a distance on a line" in str(told.value)
    with pytest.raises(sw.InputError, match="or ask ground_odds, which draws them"):
        table(base_suction=(2.0, 9.0))
    with pytest.raises(sw.InputError, match="is not made to a single spot"):
        table(sw.reshape(1.0, 1.0, 50.0), ground=WET_GREEN)
    with pytest.raises(sw.InputError, match="radius"):
        sw.reshape(1.0, 1.0, 0.0)


def test_a_ground_as_it_would_be_shows_itself(what_if):
    text = repr(what_if)
    assert "on 1/10, 1/2 of the area" in text
    assert "surface cut by 8.0 cm (3.1 in) with the floor" in text
    assert "-0.0" not in text


# --- a diagnosis that knows the ground -----------------------------------------------------------


def test_a_crest_that_was_run_is_no_riddle_any_more():
    """The same dry reading: on level ground it asks for a cause, on the crest it is explained."""
    level = np.tile(np.array([12.0, 6.0, 0.0, 0.0, 0.0]), (2, 1))
    ground = sw.GreenMap(level, np.full((2, 5), 30.0), WET_GREEN, "2 m")
    effect = sw.crest_effect(ground, TWO_DAYS, rod="3 in")
    read = effect.places.reading.values
    spots = [
        sw.Spot(f"P{i}", 30.0, x=2.0 * i, y=0.0, readings=(sw.Reading(float(read[i]), rod=7.62),))
        for i in range(5)
    ]
    survey = sw.Survey([*spots, sw.Spot("far", 30.0, x=50.0, y=0.0)])
    worth = effect.at(survey)
    assert set(worth) == {"P0", "P1", "P2", "P3", "P4"}
    assert worth["P0"][0] == pytest.approx(float(effect.places.extra_depth[0]))
    options = {"base_suction": 3.0, "meter_error": 0.015}
    blind = sw.diagnose(survey, WET_MIX, **options).spot("P0")
    told = sw.diagnose(survey, WET_MIX, extra_depth=worth, **options).spot("P0")

    def share(diagnosis, name):
        return next(each.probability for each in diagnosis.causes if each.cause == name)

    assert share(told, "depth") > share(blind, "depth") + 0.2
    assert share(told, "slope") < 1e-6 < share(blind, "slope")
    assert abs(told.expected - told.reading) < abs(blind.expected - blind.reading)


def test_what_is_told_of_the_ground_must_be_of_spots():
    survey = sw.Survey([sw.Spot("A", 30.0, readings=(sw.Reading(0.2, rod=7.62),))])
    with pytest.raises(sw.InputError) as told:
        sw.diagnose(survey, WET_MIX, extra_depth={"Z": 3.0, "A": "3 kPa"})
    assert 'no spot is called "Z"' in str(told.value)
    assert 'extra_depth of "A"' in str(told.value)
    assert len(told.value.faults) == 2


def test_a_line_has_no_places_for_spots(crest):
    with pytest.raises(sw.InputError, match="it is of a line; allowed: of a GreenMap"):
        crest.at(sw.Survey([sw.Spot("A", 30.0)]))
