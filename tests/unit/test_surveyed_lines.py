"""Levels in a sheet, files of maps, and lines from spot to spot."""

import json

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN
from surveyed_green import ORIGIN

import soilwater as sw
from soilwater.survey.earth import metres_from

# --- levels in a sheet ---------------------------------------------------------------------------

TABLE = {"spot": ["A", "B"], "depth (cm)": [30, 31], "x (ft)": [0, 10], "y (ft)": [0, 0]}


def test_levels_come_in_any_unit_and_under_any_name():
    for header, cells in (
        ("level (m)", [1.20, 1.25]),
        ("Elevation (ft)", [120 / 30.48, 125 / 30.48]),
        ("surface level (mm)", ["1200", "1250"]),
        ("RL", ["1.20 m", "125 cm"]),
    ):
        survey = sw.read_survey({**TABLE, header: cells})
        assert [s.surface_level for s in survey.spots] == pytest.approx([120.0, 125.0]), header
    assert survey.spots[1].x == pytest.approx(3.048)
    assert "level 120.0 cm" in repr(survey)


def test_less_on_a_staff_is_higher_ground():
    survey = sw.read_survey({**TABLE, "staff (m)": [1.425, 1.400]})
    assert survey.spots[1].surface_level - survey.spots[0].surface_level == pytest.approx(2.5)
    assert any("less on it is higher ground" in note for note in survey.notes)


def test_a_level_without_a_unit_is_asked_about_once():
    with pytest.raises(
        sw.InputError, match=r'"level" has no unit: 1.2 can be .*head it "level \(m\)"'
    ) as told:
        sw.read_survey({**TABLE, "level": [1.2, 1.3]})
    assert len(told.value.faults) == 1


def test_a_level_missing_is_no_level_of_zero():
    survey = sw.read_survey({**TABLE, "level (m)": [1.2, None]})
    assert survey.spots[1].surface_level is None


# --- files of maps -------------------------------------------------------------------------------


def small_map(**options):
    level = np.array([[6.0, 3.0, np.nan], [5.0, 2.0, 0.0]])
    depth = np.array([[30.0, 29.0, np.nan], [30.0, 30.0, 31.0]])
    return sw.GreenMap(level, depth, GREEN, "1 m", corner=(10.0, 20.0), **options)


READING = xr.DataArray(
    [0.1, 0.2, 0.3, 0.15, np.nan], dims="spot", name="reading", attrs={"units": "1"}
)


def test_a_map_goes_into_a_table_that_can_be_read_again(tmp_path):
    sw.write_map(tmp_path / "map.csv", small_map(), {"reading": READING})
    head, first = (tmp_path / "map.csv").read_text().splitlines()[:2]
    assert head == "spot,x (m),y (m),surface level (cm),probe depth (cm),reading (%)"
    assert first == "0,10.0,20.0,6.0,30.0,10.0"
    survey = sw.read_survey(tmp_path / "map.csv", rod="3 in")
    assert [s.surface_level for s in survey.spots] == [6.0, 3.0, 5.0, 2.0, 0.0]
    assert survey.spot("1").mean_reading() == pytest.approx(0.2)
    assert survey.spot("4").readings == ()
    assert (survey.spot("4").x, survey.spot("4").y) == (12.0, 21.0)


def test_a_map_goes_into_geojson_as_squares(tmp_path):
    sw.write_map(tmp_path / "map.geojson", small_map(origin=ORIGIN), {"reading": READING})
    features = json.loads((tmp_path / "map.geojson").read_text())["features"]
    assert len(features) == 5
    assert features[4]["properties"]["reading (%)"] is None
    ring = features[0]["geometry"]["coordinates"][0]
    assert ring[0] == ring[-1]
    corners = [metres_from(ORIGIN, (latitude, longitude)) for longitude, latitude in ring[:4]]
    expected = np.array([(9.5, 19.5), (10.5, 19.5), (10.5, 20.5), (9.5, 20.5)])
    assert np.array(corners) == pytest.approx(expected, abs=0.002)


def test_a_map_goes_into_a_geotiff_north_up(tmp_path):
    tifffile = pytest.importorskip("tifffile")
    values = {"reading": READING}
    sw.write_map(tmp_path / "map.tif", small_map(origin=ORIGIN), values)
    with tifffile.TiffFile(tmp_path / "map.tif") as file:
        bands, page = file.asarray(), file.pages[0]
        tags = {tag.code: tag.value for tag in page.tags.values()}
    assert page.description == "surface level (cm); probe depth (cm); reading (%)"
    # North is up: the first row of the map, the southern one, comes last.
    assert bands[0, 1].tolist() == pytest.approx([6.0, 3.0, np.nan], nan_ok=True)
    assert bands[2, 0].tolist() == pytest.approx([30.0, 15.0, np.nan], nan_ok=True)
    # Tags of OGC 19-008r4: where the corner of the image is, and how far apart its cells are.
    longitude, latitude = tags[33922][3:5]
    assert metres_from(ORIGIN, (latitude, longitude)) == pytest.approx((9.5, 21.5), abs=1e-3)
    east, south = longitude + 3 * tags[33550][0], latitude - 2 * tags[33550][1]
    assert metres_from(ORIGIN, (south, east)) == pytest.approx((12.5, 19.5), abs=1e-3)
    # Geographic, cells as areas, WGS 84.
    keys = np.array(tags[34735]).reshape(-1, 4)
    assert dict(keys[1:, [0, 3]].tolist()) == {1024: 2, 1025: 1, 2048: 4326}


def test_what_cannot_be_written_is_told(tmp_path):
    with pytest.raises(sw.InputError) as caught:
        sw.write_map(tmp_path / "map.geojson", small_map(), {"reading": READING[:2]})
    assert "reading lies along {'spot': 2}; allowed: spot: 5" in str(caught.value)
    assert "GeoJSON is in longitude and latitude" in str(caught.value)
    with pytest.raises(sw.InputError, match=r"GeoTIFF is in .* write .csv"):
        sw.write_map(tmp_path / "map.tif", small_map())
    with pytest.raises(sw.InputError, match=r'"map.txt"; allowed: names that end in .csv, .geoj'):
        sw.write_map(tmp_path / "map.txt", small_map())


# --- lines ---------------------------------------------------------------------------------------


def along(**changed):
    table = {
        "front": {"x": 0.0, "y": 0.0, "surface_level": 0.0, "depth": 30.0},
        "step": {"x": 3.0, "y": 4.0, "surface_level": 8.0, "depth": 28.0},
        "back": {"x": 6.0, "y": 8.0, "surface_level": 20.0, "depth": 31.0},
    }
    made = [sw.Spot(name, **{**given, **changed.get(name, {})}) for name, given in table.items()]
    return sw.Survey(made, name="Invented line")


def test_a_line_goes_from_spot_to_spot():
    line = sw.Transect.from_survey(along(), GREEN)
    assert line.distance == pytest.approx([0.0, 500.0, 1000.0])
    assert line.surface_level.tolist() == [0.0, 8.0, 20.0]
    assert line.probe_depth.tolist() == [30.0, 28.0, 31.0]
    assert line.name == "Invented line"
    turned = sw.Transect.from_survey(along(), GREEN, spots=("back", "step", "front"))
    assert turned.surface_level.tolist() == [20.0, 8.0, 0.0]
    fallen = sw.Transect.from_survey(along(), GREEN, surface_level="2 %", spacing="1 m")
    assert fallen.surface_level.tolist() == [0.0, -10.0, -20.0]
    assert fallen.spacing == 100.0


def test_every_fault_of_a_line_is_told_by_its_spots():
    survey = sw.Survey(
        [
            sw.Spot("A", 30.0, x=0.0, y=0.0, surface_level=0.0),
            sw.Spot("B", x=4.0, y=0.0, surface_level=2.0),
            sw.Spot("C", 30.0, x=2.0, y=0.0, surface_level=2.0),
            sw.Spot("D", 30.0, depth_at_least=True, x=8.0, y=0.0, surface_level=150.0),
            sw.Spot("E", 30.0, x=8.0, y=0.0),
        ]
    )
    with pytest.raises(sw.InputError) as caught:
        sw.Transect.from_survey(survey, GREEN)
    text = str(caught.value)
    assert "B: it has no depth" in text
    assert "C: from B the line turns back; name the spots along the line" in text
    assert "spots=['A', 'C', 'B', 'D', 'E']" in text
    assert "D: only a least depth of 30 cm is known" in text
    assert "E: it lies at the place of D" in text
    assert "E: it has no level" in text
    assert "from C to D: levels jump by 148 cm; bring both to one mark" in text
    assert len(caught.value.faults) == 6
    with pytest.raises(sw.InputError, match="A: the line meets it twice"):
        sw.Transect.from_survey(survey, GREEN, spots=["A", "C", "A"])
    with pytest.raises(sw.InputError, match='no spot is called "Z"'):
        sw.Transect.from_survey(survey, GREEN, spots=["A", "C", "Z"])


def test_depths_that_no_line_can_have_are_told_by_their_spots():
    thin = along(step={"depth": 3.0})
    with pytest.raises(sw.InputError, match=r"step: depth is 3 cm; allowed: 5 cm or more\.$"):
        sw.Transect.from_survey(thin, GREEN)
    with pytest.raises(sw.InputError) as caught:
        sw.Transect.from_survey(along(step={"depth": 200.0}), GREEN)
    assert "from front to step: the floor slopes" in str(caught.value)
    assert "from step to back: the floor slopes" in str(caught.value)


def test_a_line_without_levels_is_told_the_bracket_ready_to_paste():
    bare = along(**{name: {"surface_level": None} for name in ("front", "step", "back")})
    with pytest.raises(sw.InputError, match="no spot has a level") as caught:
        sw.Transect.from_survey(bare, GREEN)
    cure = str(caught.value).partition("with ")[2].partition("bracket the answer with ")[2]
    flat, parallel = eval("sw." + cure.rstrip("."), {"sw": sw, "green": GREEN})
    assert flat.distance.tolist() == [0.0, 500.0, 1000.0]
    assert np.ptp(flat.floor_level) == 0.0
    assert parallel.surface_level[-1] == pytest.approx(-30.0)
