"""Lines and maps of ground that is not level: what is asked of people, and what comes back."""

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN, MIDDLE_MIX, PEA_GRAVEL

import soilwater as sw
from soilwater.ground.linked import facing_meshes, stretched
from soilwater.kernels.entry_points import march_columns
from soilwater.runs.forcing import make_forcing
from soilwater.runs.packing import pack
from soilwater.runs.settings import make_settings
from soilwater.runs.starts import begin

X = [0.0, 200.0, 400.0, 600.0]
LEVEL = [6.0, 2.0, 0.0, 1.0]
DEPTH = [30.0, 29.0, 31.0, 30.0]


def line(distance=X, level=LEVEL, depth=DEPTH, green=GREEN, **options):
    return sw.Transect(distance, level, depth, green, **options)


# --- what is given -------------------------------------------------------------------------------


def test_lengths_come_in_any_unit():
    told = line(["0 m", "2 m", "4 m", "6 m"], ["6 cm", 2.0, 0, "10 mm"], ["300 mm", 29, 31, 30])
    assert told.distance.tolist() == X
    assert told.surface_level.tolist() == LEVEL
    assert told.probe_depth.tolist() == DEPTH


def test_a_fall_stands_for_the_levels():
    assert line(level="2 %").surface_level == pytest.approx([0.0, -4.0, -8.0, -12.0])


def test_every_fault_is_told_by_its_station():
    with pytest.raises(sw.InputError) as caught:
        line([0.0, 200.0, 200.0, 100.0], LEVEL, [30.0, -2.0, 3.0, 30.0])
    text = str(caught.value)
    assert "station 2 (200 cm): probe_depth is -2 cm" in text
    assert "the floor would lie above the surface" in text
    assert "station 3 (200 cm): probe_depth is 3 cm; allowed: 5 cm or more" in text
    assert "station 3: distance 200 cm is met twice" in text
    assert "station 4: distance 100 cm comes before the last one" in text
    assert len(caught.value.faults) == 4


def test_levels_over_two_marks_are_noticed():
    with pytest.raises(sw.InputError, match="bring both to one mark"):
        line(level=[6.0, 2.0, 130.0, 131.0])
    with pytest.raises(sw.InputError) as caught:
        line(level=[6.0, 2.0, 130.0, 131.0], depth=[2.0, 29.0, 31.0, 30.0])
    # Together with what else is wrong, but for what follows from it.
    assert "station 1 (0 cm): probe_depth is 2 cm" in str(caught.value)
    assert "bring both to one mark" in str(caught.value)
    assert len(caught.value.faults) == 2
    with pytest.raises(sw.InputError, match="met a stone"):
        line([0.0, 50.0, 100.0], [0.0, 0.0, 0.0], [30.0, 45.0, 30.0])


def test_a_level_that_is_missing_hides_no_other_fault():
    with pytest.raises(sw.InputError) as caught:
        line([0.0, 200.0, 100.0, 600.0], [6.0, None, 0.0, 1.0], [30.0, 3.0, 31.0, 30.0],
             drains=["9 m"])  # fmt: skip
    told = " ".join(caught.value.faults)
    assert len(caught.value.faults) == 4
    for each in ("level of station 2", "depth is 3 cm", "before the last one", "a drain at 900 cm"):
        assert each in told


def test_missing_values_are_never_zero():
    with pytest.raises(sw.InputError, match="probe_depth of station 2"):
        line(depth=[30.0, np.nan, 31.0, 30.0])
    with pytest.raises(sw.InputError, match=r"without_levels\(distance, probe_depth, green"):
        line(level=None)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"distance": [0.0], "level": [0.0], "depth": [30.0]}, "1 station; allowed: at least 3"),
        ({"level": [1.0, 2.0]}, "surface_level has 2 values for 4 distances"),
        ({"width": [1.0, 0.0, 1.0, 1.0]}, "station 2 .* width is 0 cm"),
        ({"ends": ("closed", "open")}, "last station: the end is 'open'; .* at a crest"),
        ({"ends": "closed"}, "ends is 'closed'; allowed: two"),
        ({"drains": ["7 m"]}, "a drain at 700 cm; allowed: between 0 and 600 cm"),
        ({"green": "sand"}, "green is a str; allowed: a Profile"),
        ({"spacing": -1.0}, "spacing"),
    ],
)
def test_what_cannot_be_used_is_said(options, message):
    with pytest.raises(sw.InputError, match=message):
        line(**options)


def test_ends_and_drains_are_faces_to_the_outside():
    ends = (sw.WaterTable("25 cm"), sw.CapillaryBreak("8 cm"))
    ground = line(ends=ends, drains=["210 cm"]).ground()
    found = [(each.column, each.value, each.forward, each.position) for each in ground.outside]
    assert found == [
        (0, LEVEL[0] - 25.0, -1.0, 0.0),
        (24, -8.0, 1.0, 600.0),
        (8, -3.0, 1.0, 212.5),
        (9, -3.0, -1.0, 212.5),
    ]
    assert len(ground.pairs) == 23
    assert [8, 9] not in ground.pairs.tolist()
    assert ground.edge == "water table at 25.0 cm (9.8 in) and " + str(ends[1])
    fall = (LEVEL[2] - DEPTH[2] - LEVEL[3] + DEPTH[3]) / 200.0
    assert line(ends=("closed", "goes on")).ground().outside[0].value == pytest.approx(fall)


def test_the_bracket_is_a_flat_floor_and_one_like_the_surface():
    flat, parallel = sw.Transect.without_levels(X, DEPTH, GREEN, steepest_fall="3 %")
    assert np.ptp(flat.floor_level) == 0.0
    assert np.diff(parallel.surface_level) == pytest.approx([-6.0] * 3)
    assert parallel.probe_depth.tolist() == DEPTH


# --- columns between the stations ----------------------------------------------------------------


def test_resampling_keeps_the_stations_and_goes_straight_between():
    finer = line(width=[100.0, 200.0, 100.0, 100.0]).resample("90 cm")
    assert np.diff(finer.distance).max() <= 90.0
    assert set(X) <= set(finer.distance)
    assert finer.surface_level == pytest.approx(np.interp(finer.distance, X, LEVEL))
    assert finer.width == pytest.approx(np.interp(finer.distance, X, [100, 200, 100, 100]))


def test_areas_add_up_to_the_ground_under_the_line():
    ground = line(width=[100.0, 200.0, 100.0, 100.0]).ground()
    assert ground.area.sum() == pytest.approx(150.0 * 200 + 150.0 * 200 + 100.0 * 200)
    assert ground.area[0] == pytest.approx(12.5 * 103.125)
    assert len(ground.profiles) == 25


def test_nodes_of_neighbours_face_each_other_layer_by_layer():
    layered = sw.Profile(
        (sw.Layer(PEA_GRAVEL, 1.0, "mat"), sw.Layer(MIDDLE_MIX, 29.0, "root zone")),
        sw.CapillaryBreak(3.0),
    )
    profiles = [stretched(layered, depth) for depth in (20.0, 30.0, 45.0)]
    meshes = facing_meshes(profiles)
    assert [p.depth for p in profiles] == [20.0, 30.0, 45.0]
    assert len({mesh.depth.size for mesh in meshes}) == 1
    for mesh, profile in zip(meshes, profiles, strict=True):
        assert (np.diff(mesh.depth) > 0.0).all()
        assert np.diff(mesh.depth).max() < 2.1
        interface = mesh.depth[np.searchsorted(mesh.soil, 1)]
        assert interface == pytest.approx(1.0)
        assert mesh.depth[-1] == profile.depth
    shares = [(mesh.depth - 1.0)[mesh.depth >= 1.0] / (mesh.depth[-1] - 1.0) for mesh in meshes]
    assert shares[0] == pytest.approx(shares[2])


def test_a_line_shows_itself():
    text = repr(line(name="front to back"))
    assert 'Transect "front to back", 4 stations over 6.0 m, floor slope up to 2.0 %' in text
    assert "ends closed and closed" in text
    assert "-24.0 cm" in text.splitlines()[3]
    assert "<table" in line()._repr_html_()


# --- maps ----------------------------------------------------------------------------------------


def green_map(**options):
    level = np.array([[6.0, 3.0, np.nan], [5.0, 2.0, 0.0]])
    depth = np.array([[30.0, 29.0, np.nan], [30.0, 30.0, 31.0]])
    given = {"surface_level": level, "probe_depth": depth, "green": GREEN, "spacing": "1 m"}
    return sw.GreenMap(**{**given, **options})


def test_the_outline_is_where_there_are_numbers():
    ground = green_map().ground()
    assert len(ground.profiles) == 5
    assert sorted(map(tuple, ground.pairs.tolist())) == [(0, 1), (0, 2), (1, 3), (2, 3), (3, 4)]
    assert ground.coordinates["x"].tolist() == [0.0, 1.0, 0.0, 1.0, 2.0]
    assert ground.coordinates["y"].tolist() == [0.0, 0.0, 1.0, 1.0, 1.0]


def test_every_fault_of_a_map_is_told_by_its_cell():
    level, depth = np.zeros((2, 3)), np.full((2, 3), 30.0)
    level[0, 1], depth[1, 2] = np.nan, 2.0
    with pytest.raises(sw.InputError) as caught:
        green_map(surface_level=level, probe_depth=depth, mask=np.ones((2, 3), dtype=bool))
    assert "row 1, column 2: surface_level is missing" in str(caught.value)
    assert "row 2, column 3: probe_depth is 2 cm; allowed: 5 cm or more" in str(caught.value)
    with pytest.raises(sw.InputError, match=r"row 1, column 1 to row 1, column 2.*one mark"):
        green_map(surface_level=np.array([[300.0, 3.0, 3.0], [300.0, 3.0, 3.0]]),
                  probe_depth=np.full((2, 3), 30.0))  # fmt: skip
    with pytest.raises(sw.InputError, match=r"the shape \(1, 3\)"):
        green_map(probe_depth=np.full((1, 3), 30.0))
    with pytest.raises(sw.InputError, match="0 cells"):
        green_map(mask=np.zeros((2, 3), dtype=bool))


def test_values_over_spots_go_onto_the_map():
    ground = green_map()
    reading = xr.DataArray(np.arange(5.0) / 10.0, dims="spot", name="reading")
    grid = ground.on_map(reading)
    assert grid.dims == ("y", "x")
    assert np.isnan(grid.values[0, 2])
    assert grid.values[1].tolist() == [0.2, 0.3, 0.4]
    with pytest.raises(sw.InputError, match="4 values over spot; allowed: 5"):
        ground.on_map(reading[:4])


def test_a_map_shows_itself():
    assert "5 cells of 100.0 cm" in repr(green_map())
    assert "outline closed" in green_map()._repr_html_()


# --- what comes back -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def run():
    turf = sw.Turf.creeping_bentgrass()
    weather = sw.steady_weather(4, "5 mm/day")
    return sw.simulate(line(spacing=100.0), weather, turf=turf, output="24 h")


def test_a_result_has_levels_and_what_flowed_sideways(run):
    assert dict(run.sizes) == {
        "distance": 7, "time": 5, "cell": run.sizes["node"] - 1, "node": run.sizes["node"],
        "bound": 2, "link": 6,
    }  # fmt: skip
    assert run.depth.dims == ("distance", "cell")
    assert run.surface_level.attrs["positive"] == "up"
    assert run.floor_level.values == pytest.approx(
        np.interp(run.distance, X, np.subtract(LEVEL, DEPTH))
    )
    assert run.node_elevation.isel(node=-1).values == pytest.approx(run.floor_level.values)
    assert run.link.values == pytest.approx(np.arange(50.0, 600.0, 100.0))
    assert run.lateral_flow.attrs["units"] == "cm2 h-1"
    assert run.attrs["edge"] == "closed and closed"
    # What passes a face comes out of one column and goes into the next.
    passed = run.lateral_flow.isel(time=1).values * 24.0
    assert 10.0 * passed[0] / 50.0 == pytest.approx(
        -float(run.lateral_inflow.isel(time=1, distance=0)), rel=1e-9
    )


def test_flow_stands_in_the_order_of_its_places_ends_and_drains_among_them():
    ends = ("goes on", sw.SeepageFace())
    ground = line(spacing=100.0, ends=ends, drains=["210 cm"])
    run = sw.simulate(ground, sw.steady_weather(1, 0.0), output="24 h")
    assert run.link.values.tolist() == [0.0, 50.0, 150.0, 250.0, 250.0, 350.0, 450.0, 550.0, 600.0]
    flow = run.lateral_flow.isel(time=1).values * 24.0
    # What leaves the first column, on to the second, and what comes to it from before the line.
    assert 10.0 * (flow[1] - flow[0]) / 50.0 == pytest.approx(
        -float(run.lateral_inflow.isel(time=1, distance=0)), rel=1e-9
    )
    assert abs(flow[0]) > 0.1


def test_water_beyond_an_end_that_runs_into_the_gravel_is_a_caution():
    def told(*ends, base=GREEN.base):
        green = sw.Profile(GREEN.layers, base)
        ground = line(spacing=200.0, ends=ends, green=green)
        return sw.simulate(ground, sw.steady_weather(1, 0.0), output="24 h").attrs["cautions"]

    high = told(sw.WaterTable(DEPTH[0] - 8.0), sw.WaterTable(DEPTH[-1] + 1.0))
    assert "beyond the first end stands 8.0 cm" in high
    assert "above the floor" in high
    assert "beyond the last end stands 1.0 cm" in high
    # As low as the gravel lets water in, or over a base that takes none, it feeds nothing.
    low = sw.WaterTable(DEPTH[0] + 3.5)
    assert "first end stands" not in told(low, "closed")
    assert "first end stands" not in told(sw.WaterTable("20 cm"), "closed", base=sw.Sealed())


def test_readings_and_days_work_on_a_line(run):
    assert sw.meter_reading(run, rod="3 in").dims == ("distance", "time")
    days = sw.days_until(run, "15 %", rod="3 in")
    assert days.sizes == {"distance": 7}
    assert np.isfinite(days.values).any()


def test_a_line_goes_into_files_and_back(run, tmp_path):
    run.to_netcdf(tmp_path / "line.nc")
    run.to_zarr(tmp_path / "line.zarr")
    for found in (xr.open_dataset(tmp_path / "line.nc"), xr.open_zarr(tmp_path / "line.zarr")):
        xr.testing.assert_equal(found.load(), run)
        assert float(sw.meter_reading(found, rod=7.6).max()) > 0.1
        found.close()


def test_a_run_goes_on_from_the_end_of_another():
    weather = sw.steady_weather(4, 0.0)
    middle = weather.start + np.timedelta64(48, "h")
    whole = sw.simulate(line(spacing=100.0), weather, output="24 h")
    first = sw.simulate(line(spacing=100.0), weather.between(weather.start, middle), output="24 h")
    second = sw.simulate(
        line(spacing=100.0), weather.between(middle, weather.end), output="24 h", start=first
    )
    gap = sw.meter_reading(whole, rod=7.6) - sw.meter_reading(second, rod=7.6)
    assert float(np.abs(gap).max()) < 1e-3
    with pytest.raises(sw.InputError, match="same stations"):
        sw.simulate(line(), weather.between(middle, weather.end), start=first)


def test_what_is_decided_on_the_way_is_refused():
    turf = sw.Turf(10.0, root_depth_by_date=(("2025-07-01", 5.0), ("2025-08-01", 10.0)))
    with pytest.raises(sw.InputError, match=r"turf.on\(date\)"):
        sw.simulate(line(spacing=100.0), sw.steady_weather(2, 1.0), turf=turf)
    mat = sw.RepellentMat("8 %", "3 cm", intake=1.0, wetted_after=2.0)
    with pytest.raises(sw.InputError, match="repellent_mat=None"):
        turf = sw.Turf(10.0, repellent_mat=mat)
        sw.simulate(line(spacing=100.0), sw.steady_weather(2, 1.0), turf=turf)


def test_a_run_that_gives_up_says_so():
    with pytest.raises(sw.RunError, match="Last good time"):
        sw.simulate(line(spacing=100.0), sw.steady_weather(2, 0.0), max_steps=3)
    part = sw.simulate(
        line(spacing=100.0), sw.steady_weather(2, 0.0), max_steps=3, on_failure="return"
    )
    assert set(part.status.values) == {sw.Status.TOO_MANY_STEPS}
    assert np.isnan(part.lateral_inflow.isel(time=-1)).all()


def test_a_map_of_one_cell_goes_the_way_of_single_columns():
    # Nothing to share: the march of columns alone, so their results bit for bit.
    run = sw.simulate(
        sw.GreenMap([[0.0]], [[30.0]], GREEN, "1 m"), sw.steady_weather(2, 0.0), output="24 h"
    )
    ground = sw.GreenMap([[0.0]], [[30.0]], GREEN, "1 m").ground()
    mesh = facing_meshes(ground.profiles)[0]
    case = sw.Case(GREEN, sw.steady_weather(2, 0.0))
    settings = make_settings(
        case.weather, output="24 h", keep=None, ponding_limit=0.5, surface=None, tolerance=0.0015,
        refinement=1.0, max_steps=1000,
    )  # fmt: skip
    forcing = make_forcing(case.weather, None, ())
    packed = pack([case], [mesh], [begin(case, mesh).head], [forcing], settings)
    march_columns(0, 1, packed)
    assert np.array_equal(run.node_suction.values[0], -packed.out_head[0])


def test_a_map_of_one_cell_has_the_soils_of_its_layers_where_one_is_met_twice():
    # Tables are made of soils that differ: a layer below one that is met again has its own.
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    fine, subsoil = (sw.VanGenuchten.texture_class(each) for each in ("loam", "sandy loam"))
    layers = [(sand, 10.0, "top"), (fine, 3.0, "band"), (sand, 10.0, "old top")]
    layers += [(subsoil, 15.0, sw.Profile.ROOT_ZONE)]
    ground = sw.Profile([sw.Layer(*each) for each in layers], sw.FreeDrainage())
    run = sw.simulate(sw.GreenMap([[0.0]], [[38.0]], ground, "1 m"), sw.steady_weather(2, 0.0))
    alone = sw.simulate(ground, sw.steady_weather(2, 0.0))
    # Meshes of a map face others, so its nodes lie elsewhere.
    assert float(run.drainage[0, -1]) == pytest.approx(float(alone.drainage[-1]), rel=1e-3)
