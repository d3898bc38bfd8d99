"""Many lines or greens: each a whole run, the same on any number of threads."""

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN, MIDDLE_MIX, WET_MIX

import soilwater as sw

WEATHER = sw.steady_weather(2, 1.0)
X = [0.0, 150.0, 300.0]


def line(level=(6.0, 2.0, 0.0), depth=(30.0, 29.0, 31.0), sand=MIDDLE_MIX, **options):
    green = sw.Profile.over_gravel(sand, 30.0, base_suction=3.0)
    return sw.Transect(X, list(level), list(depth), green, spacing=50.0, **options)


LINES = [line(), line(level=(0.0, 0.0, 0.0)), line(depth=(45.0, 40.0, 38.0), sand=WET_MIX)]


@pytest.fixture(scope="module")
def run():
    return sw.simulate_grounds(LINES, WEATHER, output="24 h", labels=["a", "b", "c"], n_threads=2)


def test_each_is_what_it_is_alone_bit_for_bit(run):
    assert run.sizes["sample"] == 3
    assert run.sample.values.tolist() == ["a", "b", "c"]
    for i, each in enumerate(LINES):
        alone = sw.simulate(each, WEATHER, output="24 h")
        for name in ("lateral_inflow", "lateral_flow", "drainage", "steps", "surface_level"):
            here = run[name].isel(sample=i)
            assert np.array_equal(here.values, alone[name].values, equal_nan=True), name
            assert here.dims == alone[name].dims
        reading = sw.meter_reading(run, rod="3 in").isel(sample=i)
        assert np.array_equal(reading.values, sw.meter_reading(alone, rod="3 in").values)


def test_threads_change_no_bit(run):
    single = sw.simulate_grounds(LINES, WEATHER, output="24 h", labels=["a", "b", "c"], n_threads=1)
    single.attrs, again = {}, run.copy()
    again.attrs = {}
    xr.testing.assert_identical(single, again)


def test_a_weather_for_each_and_progress():
    told = []
    wet = sw.steady_weather(2, 1.0, rain=20.0)
    run = sw.simulate_grounds(
        [line(), line()], [WEATHER, wet], dimension="member", output="48 h",
        keep=("node_suction", "drainage"), progress=lambda done, of: told.append((done, of)),
    )  # fmt: skip
    drained = run.drainage.isel(time=-1)
    assert (drained.sel(member=1) > drained.sel(member=0)).all()
    assert told == [(1, 2), (2, 2)]


def test_an_interrupt_keeps_what_was_run():
    def stop(done, of):
        raise KeyboardInterrupt

    with pytest.raises(sw.Interrupted) as stopped:
        sw.simulate_grounds(LINES, WEATHER, output="48 h", n_threads=1, progress=stop)
    status = stopped.value.finished.status.values
    assert (status == sw.Status.OK).all(axis=1).sum() == 1
    assert (status == sw.Status.INTERRUPTED).all(axis=1).sum() == 2
    assert np.isnan(stopped.value.finished.lateral_inflow.isel(sample=2)).all()


def stored(path, **options):
    return sw.simulate_grounds(LINES, WEATHER, output="24 h", store=path, **options)


def test_a_store_holds_what_memory_would(tmp_path, run):
    found = stored(tmp_path / "lines.zarr", labels=["a", "b", "c"])
    assert found.water_content.dims == run.water_content.dims
    xr.testing.assert_identical(
        found.load().drop_attrs(deep=False), run.copy().drop_attrs(deep=False)
    )
    assert found.attrs["edge"] == "closed and closed"


def test_a_store_is_taken_up_where_an_interrupt_stopped_it(tmp_path, run):
    def stop(done, of):
        raise KeyboardInterrupt

    path = tmp_path / "lines.zarr"
    with pytest.raises(sw.Interrupted) as stopped:
        stored(path, n_threads=1, progress=stop)
    status = stopped.value.finished.status.values
    assert (status == sw.Status.OK).all(axis=1).tolist() == [True, False, False]
    # Levels and places are known before anything is run.
    assert np.array_equal(stopped.value.finished.floor_level, run.floor_level)
    told = []
    found = stored(path, progress=lambda done, of: told.append((done, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]
    assert np.array_equal(found.lateral_flow.values, run.lateral_flow.values, equal_nan=True)
    assert (found.status == sw.Status.OK).all()


def test_a_ground_that_was_lost_is_run_again(tmp_path):
    path = tmp_path / "lines.zarr"
    stored(path)
    (path / "lateral_flow" / "1.0.0").unlink()
    told = []
    stored(path, progress=lambda done, of: told.append(done))
    assert told == [2, 3]


def test_another_ground_is_never_mixed_in(tmp_path):
    path = tmp_path / "lines.zarr"
    sw.simulate_grounds([line()], WEATHER, output="48 h", store=path)
    for other in (line(level=(6.0, 2.0, 0.1)), line(ends=("closed", sw.SeepageFace()))):
        with pytest.raises(sw.InputError, match="holds another run"):
            sw.simulate_grounds([other], WEATHER, output="48 h", store=path)


def test_a_result_of_many_goes_into_files(run, tmp_path):
    run.to_netcdf(tmp_path / "lines.nc")
    with xr.open_dataset(tmp_path / "lines.nc") as found:
        xr.testing.assert_equal(found.load(), run)


def test_greens_go_the_same_way():
    level, depth = np.array([[3.0, 0.0], [2.0, 1.0]]), np.full((2, 2), 30.0)
    greens = [sw.GreenMap(level + i * level, depth, GREEN, "1 m") for i in range(2)]
    run = sw.simulate_grounds(greens, WEATHER, output="48 h")
    reading = sw.meter_reading(run, rod="3 in").isel(time=-1, sample=1)
    assert greens[1].on_map(reading).shape == (2, 2)


@pytest.mark.parametrize(
    ("grounds", "weather", "told"),
    [
        ([], WEATHER, "there are none"),
        (line(), WEATHER, r"one ground; write \[ground\]"),
        ([line(), GREEN], WEATHER, "position 1: Profile is no ground; allowed: Transect or"),
        ([line(), sw.Transect([0.0, 110.0, 300.0], "1 %", [30.0] * 3, GREEN, spacing=50.0)],
         WEATHER, "position 1: its places are not those of the first"),
        ([line(), line(barriers=["1 m"])], WEATHER, "position 1: its widths, ends, barriers or"),
        ([line(), line(width=[1.0, 2.0, 2.0])], WEATHER, "position 1: its widths, ends"),
        ([line(), line(ends=("closed", "goes on"))], WEATHER, "position 1: its widths, ends"),
        ([line()], [WEATHER, WEATHER], "2 for 1 grounds; allowed: one for all, or one for each"),
        ([line()] * 2, [WEATHER, sw.steady_weather(3, 1.0)], "position 1: it spans other days"),
    ],
)  # fmt: skip
def test_what_cannot_be_run_together_is_told(grounds, weather, told):
    with pytest.raises(sw.InputError, match=told):
        sw.simulate_grounds(grounds, weather)
    with pytest.raises(sw.InputError, match="labels: 1 for 2 grounds"):
        sw.simulate_grounds([line()] * 2, WEATHER, labels=["a"])
