"""From probe holes and levels to a line or a whole green: what is read, asked and written."""

import json
import re
from ast import literal_eval
from dataclasses import replace

import numpy as np
import pytest
from grounds import GREEN
from surveyed_green import NAMES, ORIGIN, SQUARE, depth_at, green, level_at, spots

import soilwater as sw
from soilwater.ground.cells import cells_in
from soilwater.ground.surfaces import through_points
from soilwater.survey.earth import distance, metres_from, place_at, written_place
from soilwater.survey.outline import distance_from, inside, read_outline
from soilwater.words.errors import Faults

# --- degrees, and files of points ----------------------------------------------------------------


def write_points(path, found, swapped=False):
    features = []
    for spot in found:
        place = list(reversed(place_at(ORIGIN, spot.x, spot.y)))
        features.append({
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": place[::-1] if swapped else place},
            "properties": {"spot": spot.name, "depth (cm)": spot.depth,
                           "level (cm)": spot.surface_level},
        })  # fmt: skip
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def write_outline(path, corners, swapped=False):
    ring = [list(reversed(place_at(ORIGIN, *each))) for each in (*corners, corners[0])]
    ring = [each[::-1] for each in ring] if swapped else ring
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    return path


def test_metres_and_degrees_agree_with_the_great_circle():
    there = place_at(ORIGIN, 30.0, -40.0)
    assert metres_from(ORIGIN, there) == pytest.approx((30.0, -40.0))
    assert distance(ORIGIN, there) == pytest.approx(50.0, rel=1e-4)


def test_points_and_outline_come_from_geojson(tmp_path):
    survey = sw.read_survey(write_points(tmp_path / "points.geojson", spots()))
    assert survey.spot("B3").depth == pytest.approx(depth_at(5.5, 10.0))
    assert survey.spot("E1").x - survey.spot("A1").x == pytest.approx(18.0, abs=0.01)
    ground = sw.interpolate_survey(survey, write_outline(tmp_path / "green.geojson", SQUARE))
    assert np.count_nonzero(ground.mask) == 400
    assert ground.corner == pytest.approx((-0.5, -0.5), abs=0.01)  # from the south-western spot


def test_swapped_longitude_and_latitude_are_told(tmp_path):
    survey = sw.read_survey(write_points(tmp_path / "points.geojson", spots()))
    swapped = write_outline(tmp_path / "green.geojson", SQUARE, swapped=True)
    with pytest.raises(
        sw.InputError, match=r"outline.*it looks as if latitude and longitude are swapped"
    ):
        sw.interpolate_survey(survey, swapped)
    points = write_points(tmp_path / "swapped.geojson", spots(), swapped=True)
    with pytest.raises(sw.InputError, match=r"A1: it falls .*latitude and longitude are swapped"):
        sw.read_survey(points, near=ORIGIN)


def test_the_place_that_was_understood_is_said_where_nothing_contradicts_it(tmp_path):
    points = write_points(tmp_path / "swapped.geojson", spots(), swapped=True)
    survey = sw.read_survey(points)
    found = re.search(r"places understood as around ([\d.]+) S, ([\d.]+) E", str(survey))
    assert [float(each) for each in found.groups()] == pytest.approx([0.12, 51.5], abs=1e-3)
    ground = sw.interpolate_survey(survey)
    assert f"places counted from {written_place(survey.origin)}" in str(ground)
    assert written_place((-33.9, -70.25)) == "33.90000 S, 70.25000 W"


def test_pairs_of_degrees_are_told_with_a_table_that_works(tmp_path):
    survey = sw.read_survey(write_points(tmp_path / "points.geojson", spots()))
    pairs = [place_at(ORIGIN, *each) for each in SQUARE]
    for given in (pairs, [each[::-1] for each in pairs]):
        with pytest.raises(sw.InputError, match="degrees, as the spots have them") as caught:
            sw.interpolate_survey(survey, given)
        cure = literal_eval(str(caught.value).split("outline=")[1].rstrip("."))
        assert np.count_nonzero(sw.interpolate_survey(survey, cure).mask) == 400


def test_what_is_no_geojson_is_told(tmp_path):
    path = tmp_path / "points.geojson"
    path.write_text("x, y")
    with pytest.raises(sw.InputError, match=r"points.geojson: it is no JSON"):
        sw.read_survey(path)
    path.write_text('{"type": "Topology"}')
    with pytest.raises(sw.InputError, match="no features in it"):
        sw.read_survey(path)
    write_outline(path, SQUARE)
    with pytest.raises(sw.InputError, match="feature 1: it is a Polygon; allowed: a Point"):
        sw.read_survey(path)
    with pytest.raises(sw.InputError, match="0 polygons in it; allowed: 1"):
        read_outline(write_points(path, spots()), ORIGIN)


# --- outlines ------------------------------------------------------------------------------------


def test_corners_come_as_pairs_or_a_table_in_any_unit():
    feet = {"x (ft)": [0, 20 / 0.3048, 20 / 0.3048, 0], "y (ft)": [0, 0, 20 / 0.3048, 20 / 0.3048]}
    closed = [("0 m", 0), (20, 0), (2000 * 0.01, "2000 cm"), (0, 20), (0, 0)]
    numbers = np.array(SQUARE, dtype=float)  # of a kind of their own
    for source in (SQUARE, feet, closed, numbers):
        assert read_outline(source, None) == pytest.approx(np.array(SQUARE, dtype=float))


@pytest.mark.parametrize(
    ("outline", "told"),
    [
        ([(0, 0), (20, 20), (20, 0), (0, 20)], "the side after corner 1 crosses the one after"),
        ([(0, 0), (1, 1)], "2 corners; allowed: 3 or more"),
        ([(0, 0), (1, np.nan), (1, 1)], "corner 2: y"),
        (7, "pairs of metres east and north, a table"),
        ({"x": [1, 2, None], "y": [1, 2, 3]}, "row 3: x is missing"),
        ({"lat": [51.5, 51.6, 51.5], "lon": [0, 0, 1]}, "metres from a point nobody told"),
        ({"spot": ["A", "B"]}, "allowed: columns x and y, or latitude and longitude"),
    ],
)
def test_an_outline_that_is_none_is_told(outline, told):
    with pytest.raises(sw.InputError, match=told):
        sw.interpolate_survey(green(), outline)


def test_inside_and_distance_of_a_bent_outline():
    bent = np.array([(0, 0), (4, 0), (4, 4), (2, 1), (0, 4)], dtype=float)
    places = np.array([(2, 0.5), (2, 3), (0.5, 2), (3.8, 3), (-1, 0)])
    assert inside(bent, places).tolist() == [True, False, True, True, False]
    assert distance_from(bent, places[[0, 4]]) == pytest.approx([0.5, 1.0])


# --- the ground ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def ground():
    return sw.interpolate_survey(green(), SQUARE)


def test_what_was_measured_comes_back_and_errors_grow_away_from_it(ground):
    assert ground.mask.shape == (20, 20)
    places = ground.places
    for grid, truth, most in (
        (ground.surface_level, level_at, 2.5),
        (ground.probe_depth, depth_at, 1.2),
    ):
        assert np.abs(grid[ground.mask] - truth(*places.T)).max() < most
    found = np.array([(spot.x, spot.y) for spot in spots()])
    away = np.linalg.norm(places[:, None] - found[None], axis=-1).min(axis=1)
    error = ground.surface_level_error[ground.mask]
    assert error[away < 0.8].mean() < 0.85 * error[away > 2.0].mean()


def test_it_shows_itself_before_it_is_used(ground):
    text = repr(ground)
    assert 'SurveyedGround "Invented 4", 400 cells of 100 cm, 400 m2' in text
    assert "standard error" in text
    assert "a depth left out is missed by" in text
    assert "probe there" in text
    assert "<table" in ground._repr_html_()


def test_the_green_is_of_the_same_cells(ground):
    sheet = sw.GreenMap.from_survey(ground, GREEN)
    assert sheet.n_cells == 400
    assert sheet.name == "Invented 4"
    assert np.array_equal(sheet.probe_depth, ground.probe_depth)
    run_places = sheet.ground().coordinates
    assert np.stack([run_places["x"], run_places["y"]], axis=-1) == pytest.approx(ground.places)
    with pytest.raises(
        sw.InputError, match=r"surveyed is a Survey; allowed: what interpolate_survey"
    ):
        sw.GreenMap.from_survey(green(), GREEN)


def test_more_cells_than_can_be_run_are_told_with_a_spacing_that_works():
    with pytest.raises(
        sw.InputError, match="spacing of 1 cm makes 4,000,000 cells; allowed: up to 100,000"
    ) as raised:
        sw.interpolate_survey(green(), SQUARE, spacing="1 cm")
    (spacing,) = re.findall(r'spacing="(.+?) cm"', str(raised.value))
    faults = Faults("Survey")
    mask, _ = cells_in(np.array(SQUARE, dtype=float), float(spacing), faults)
    assert not len(faults) and 80_000 < mask.size <= 100_000


def test_drawn_grounds_scatter_as_the_errors_say():
    ground = sw.interpolate_survey(green(), SQUARE, spacing="2 m")
    drawn = ground.samples(200, seed=1)
    depth = np.array([each.probe_depth[ground.mask] for each in drawn])
    error = ground.probe_depth_error[ground.mask]
    assert depth.std(axis=0).mean() == pytest.approx(error.mean(), rel=0.1)
    assert depth.mean(axis=0) == pytest.approx(ground.probe_depth[ground.mask], abs=0.5)
    again = ground.samples(200, seed=1)[7]
    assert np.array_equal(drawn[7].surface_level, again.surface_level, equal_nan=True)
    # Neighbours are drawn together: a map of noise would be no ground.
    off = np.array([each.surface_level - ground.surface_level for each in drawn])
    assert np.corrcoef(off[..., 1:].ravel(), off[..., :-1].ravel())[0, 1] > 0.3


def test_a_value_that_does_not_fit_is_named():
    notes = sw.interpolate_survey(green(C3={"depth": 44.0}), SQUARE).notes
    doubted = [note for note in notes if "measure it again" in note]
    assert len(doubted) == 1
    assert doubted[0].startswith("C3: depth ")


def test_a_least_depth_is_no_depth():
    ground = sw.interpolate_survey(green(C3={"depth": 20.0, "depth_at_least": True}), SQUARE)
    assert "only a least depth is known and left out: C3" in ground.notes
    assert ground.probe_depth[ground.mask].min() > 28.0


def test_an_even_fall_stands_for_levels():
    bare = sw.Survey([replace(spot, surface_level=None) for spot in spots()])
    ground = sw.interpolate_survey(bare, SQUARE, fall="2 %", towards="E")
    assert np.diff(ground.surface_level, axis=1) == pytest.approx(-2.0)
    assert np.diff(ground.surface_level, axis=0) == pytest.approx(0.0)
    north = sw.interpolate_survey(bare, SQUARE, fall=0.02, towards=0.0)
    assert np.diff(north.surface_level, axis=0) == pytest.approx(-2.0)
    for given, told in (
        ({"fall": "2 %"}, "towards is missing"),
        ({"towards": 30.0}, "fall is missing"),
        ({"fall": "2 %", "towards": "up"}, "towards: 'up'; allowed: 0 to 360 degrees"),
        ({"fall": "2 %", "towards": True}, "towards: True; allowed: 0 to 360 degrees"),
        ({}, r'no spots with a level and a place.*fall="2 %", towards="SE"'),
    ):
        with pytest.raises(sw.InputError, match=told):
            sw.interpolate_survey(bare, SQUARE, **given)


def test_levels_may_come_from_other_places():
    bare = sw.Survey([replace(spot, surface_level=None) for spot in spots()])
    rng = np.random.default_rng(4)
    flown = sw.Survey(
        [
            sw.Spot(str(i), x=float(x), y=float(y), surface_level=float(level_at(x, y)))
            for i, (x, y) in enumerate(rng.uniform(-10.0, 30.0, (1200, 2)))
        ]
    )
    ground = sw.interpolate_survey(bare, SQUARE, levels=flown)
    assert np.abs(ground.surface_level[ground.mask] - level_at(*ground.places.T)).max() < 1.0
    assert any("levels far outside the outline left out" in note for note in ground.notes)
    assert any("levels averaged to" in note for note in ground.notes)
    with pytest.raises(
        sw.InputError, match="latitude and longitude in both surveys, or in neither"
    ):
        sw.interpolate_survey(bare, SQUARE, levels=replace(flown, origin=ORIGIN))


def test_two_surveys_in_degrees_are_laid_over_each_other():
    bare = sw.Survey([replace(spot, surface_level=None) for spot in spots()], origin=ORIGIN)
    aside = place_at(ORIGIN, 100.0, 50.0)
    flown = sw.Survey([replace(s, x=s.x - 100.0, y=s.y - 50.0) for s in spots()], origin=aside)
    ground = sw.interpolate_survey(bare, SQUARE, levels=flown)
    whole = sw.interpolate_survey(green(), SQUARE)
    assert ground.surface_level[ground.mask] == pytest.approx(
        whole.surface_level[whole.mask], abs=0.05
    )


def test_every_fault_is_told_by_the_name_of_the_spot():
    faulty = green(A2={"x": None}, B2={"depth": 3.0}, C2={"x": 60.0}, D2={"x": 14.5, "y": 1.0})
    with pytest.raises(sw.InputError) as caught:
        sw.interpolate_survey(faulty, SQUARE)
    text = str(caught.value)
    assert 'Survey "Invented 4"' in text
    assert "A2: it has a depth and no place" in text
    assert "B2: depth is 3 cm; allowed: 5 cm or more" in text
    assert "C2: it lies 40.0 m outside the outline" in text
    assert "D2: it lies at the place of D1" in text
    # A2 lacks a place for its level too; what follows from a fault is not told as another.
    assert len(caught.value.faults) == 5


def test_levels_over_two_marks_are_told_beside_other_faults():
    raised = {name: {"surface_level": 80.0 + level_at(14.5, 9.0)} for name in NAMES[15:]}
    with pytest.raises(sw.InputError) as caught:
        sw.interpolate_survey(green(B2={"depth": 3.0}, **raised), SQUARE)
    text = str(caught.value)
    assert "B2: depth is 3 cm" in text
    assert "bring both to one mark" in text
    # What a depth that is wrong makes of the floor is not told once more.
    assert len(caught.value.faults) == 2


def test_levels_over_two_marks_are_asked_about():
    raised = {name: {"surface_level": 80.0 + level_at(14.5, 9.0)} for name in NAMES[15:]}
    with pytest.raises(
        sw.InputError, match=r"jump by \d+ cm between A1, .* and 11 more and D1"
    ) as told:
        sw.interpolate_survey(green(**raised), SQUARE)
    assert "one_mark=True" in str(told.value)
    assert len(told.value.faults) == 1
    with pytest.raises(sw.InputError, match=r"jump by \d+ cm between .* and C3;"):
        sw.interpolate_survey(green(C3={"surface_level": 150.0}), SQUARE)
    step = {name: {"surface_level": level_at(14.5, 9.0) + 60.0} for name in NAMES[15:]}
    taken = sw.interpolate_survey(green(**step), SQUARE, one_mark=True)
    assert np.ptp(taken.surface_level[taken.mask]) > 60.0


def test_a_floor_too_steep_is_told_between_spots():
    with pytest.raises(
        sw.InputError, match=r"from C3 to D3: the floor slopes \d+ %; allowed: up to 20 %"
    ):
        sw.interpolate_survey(green(C3={"depth": 150.0}), SQUARE)


def test_too_few_spots_and_spots_on_a_line_are_told():
    few = sw.Survey(spots()[:1])
    with pytest.raises(sw.InputError, match=r"1 spot with a depth and a place; allowed: 5 or more"):
        sw.interpolate_survey(few, SQUARE)
    along = sw.Survey(spots()[:5])
    with pytest.raises(sw.InputError, match=r"along one line; take Transect\.from_survey"):
        sw.interpolate_survey(along, SQUARE)


def test_without_an_outline_it_is_drawn_around_the_spots():
    ground = sw.interpolate_survey(green())
    assert np.count_nonzero(ground.mask) == 19**2
    assert any("the line around the spots" in note for note in ground.notes)


# --- the surface through points ------------------------------------------------------------------


def test_a_surface_is_that_of_the_kriging_equations():
    """Rasmussen and Williams (2006), Gaussian Processes for Machine Learning, eq. 2.25, 2.26."""
    rng = np.random.default_rng(2)
    places, there = rng.uniform(0.0, 20.0, (15, 2)), rng.uniform(0.0, 20.0, (6, 2))
    values = 30.0 + 3.0 * np.sin(places[:, 0] / 4.0) + rng.normal(0.0, 1.0, 15)
    surface = through_points(places, values, 1.0, sloping=False)
    kernel = surface._process.kernel_
    scale = np.ptp(places, axis=0).max()
    size, reach = kernel.k1.k2.k1.constant_value, kernel.k1.k2.k2.length_scale * scale
    mean, scatter = kernel.k1.k1.constant_value, kernel.k2.noise_level

    def covariance(a, b):
        apart = np.sqrt(3.0) * np.linalg.norm(a[:, None] - b[None], axis=-1) / reach
        return mean + size * (1.0 + apart) * np.exp(-apart)

    between = covariance(places, places) + scatter * np.eye(15)
    weights = np.linalg.solve(between, covariance(places, there)).T
    expected = values.mean() + weights @ (values - values.mean())
    variance = mean + size + scatter - 1.0**2 - np.sum(weights * covariance(there, places), axis=1)
    value, error = surface.at(there)
    assert value == pytest.approx(expected, abs=1e-5)
    assert error == pytest.approx(surface._widened * np.sqrt(variance), abs=1e-5)


def test_errors_hold_what_they_say():
    """Over invented grounds, nine of ten true depths lie within 1.64 standard errors."""
    held, rng = [], np.random.default_rng(7)
    for _ in range(8):
        places, there = rng.uniform(0.0, 20.0, (40, 2)), rng.uniform(2.0, 18.0, (60, 2))
        both = np.concatenate([places, there])
        apart = np.linalg.norm(both[:, None] - both[None], axis=-1)
        truth = rng.multivariate_normal(np.full(100, 32.0), 9.0 * np.exp(-((apart / 7.0) ** 1.5)))
        surface = through_points(places, truth[:40] + rng.normal(0.0, 1.0, 40), 1.0, sloping=False)
        value, error = surface.at(there)
        held.append(np.abs(value - truth[40:]) < 1.645 * error)
    assert 0.84 < np.mean(held) < 0.97
