"""The layout of results, and their way to a file and back."""

import json
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from grounds import MIDDLE_MIX

import soilwater as sw
from soilwater.runs import layout
from soilwater.runs.columns_of import each_column
from soilwater.runs.layout import kept_names, lay_out
from soilwater.words.vocabulary import VARIABLES

SAND = replace(MIDDLE_MIX, name="greens mix")
LOAM = sw.VanGenuchten.texture_class("loam")
GREEN = sw.Profile.over_gravel(SAND, 30.0)
TWO_LAYERS = sw.Profile(
    (sw.Layer(SAND, 20.0, "root zone"), sw.Layer(LOAM, 15.0, "subsoil")), sw.SeepageFace()
)
WEATHER = sw.steady_weather(1, 5.0)
SOILS = [SAND, sw.VanGenuchten(0.05, 0.40, 0.06, 3.0, 40.0)]

RESULTS = {
    "single": lambda: sw.simulate(TWO_LAYERS, WEATHER, output=8.0),
    "depths": lambda: sw.compare_depths(GREEN, [20.0, 30.0], WEATHER, output=8.0),
    "depths by samples": lambda: sw.compare_depths(
        GREEN, [20.0, 30.0], WEATHER, sand=SOILS, output=8.0
    ),
    "one mesh": lambda: sw.simulate_ensemble(GREEN, WEATHER, sand=SOILS, output=8.0),
    "labelled by text": lambda: sw.simulate_many(
        [sw.Case(GREEN, WEATHER), sw.Case(TWO_LAYERS, WEATHER, start=-5.0)],
        dimension="spot",
        labels=["crest", "low end"],
        output=8.0,
    ),
    "one failed": lambda: sw.simulate_many(
        [
            sw.Case(GREEN, WEATHER),
            sw.Case(sw.Profile(GREEN.layers, sw.Sealed()), WEATHER, start="drained"),
        ],
        output=8.0,
    ),
    "drained": lambda: sw.drained_state(TWO_LAYERS),
    "drained samples": lambda: sw.drained_state(GREEN, sand=SOILS),
}


SURVEY = sw.Survey(
    [
        sw.Spot("A1", 30.0, readings=(sw.Reading(0.2, rod=7.6),)),
        sw.Spot("B2", 20.0, readings=(sw.Reading(0.3, rod=7.6),)),
    ],
    name="Kestrel Bank",
)
TURF = sw.Turf(12.0)
WINDOW = {"target": (0.15, 0.25), "rod": "3 in"}


def depths():
    return sw.compare_depths(GREEN, [20.0, 30.0], WEATHER, turf=TURF, output=8.0)


# What is read from a run, or answers a question, and comes as a Dataset or DataArray.
ANSWERS = {
    "reading": lambda: sw.meter_reading(depths(), rod="3 in"),
    "days until": lambda: sw.days_until(depths(), 0.30, rod="3 in"),
    "balance": lambda: depths().soilwater.balance(),
    "storage by layer": lambda: RESULTS["single"]().soilwater.storage_by_layer(),
    "weather": WEATHER.to_dataset,
    "air after rain": lambda: sw.air_after_rain(
        GREEN, [20.0, 30.0], air_filled=0.1, root_layer=7.6
    ),
    "days below air": lambda: sw.days_below_air(depths(), 0.1, root_layer=7.6),
    "expected reading": lambda: sw.expected_reading(SURVEY, SAND),
    "odds": lambda: sw.diagnose(SURVEY, SAND).to_dataset(),
    "window": lambda: sw.depth_window(SAND, **WINDOW, air_filled=0.0).to_dataset([20.0, 30.0]),
    "sands": lambda: sw.compare_sands(SOILS, **WINDOW, air_filled=0.0).to_dataset([25.0, 30.0]),
    "outlook": lambda: sw.dry_down_outlook(
        SURVEY, SAND, WEATHER, TURF, sw.Thresholds("18 %", "14 %", "12 %"), rod=7.6, draws=2
    ).to_dataset(),
}


@pytest.fixture(params=RESULTS, scope="module")
def result(request):
    return RESULTS[request.param]()


def write_netcdf(dataset, folder):
    pytest.importorskip("netCDF4")
    dataset.to_netcdf(folder / "run.nc")
    return xr.open_dataset(folder / "run.nc")


def write_zarr(dataset, folder):
    pytest.importorskip("zarr")
    dataset.to_zarr(folder / "run.zarr", consolidated=False)
    return xr.open_zarr(folder / "run.zarr", consolidated=False, chunks=None)


@pytest.mark.parametrize("write", [write_netcdf, write_zarr])
class TestFiles:
    def test_values_units_and_coordinates_come_back(self, result, write, tmp_path):
        with write(result, tmp_path) as back:
            back = back.load()
        xr.testing.assert_identical(back, result)
        assert set(back.coords) == set(result.coords)
        for name in result.variables:
            assert back[name].attrs == result[name].attrs, name
        assert back.attrs == result.attrs

    def test_texts_are_texts(self, result, write, tmp_path):
        with write(result, tmp_path) as back:
            for name in {"layer", "profile", "status_text"} & set(result.variables):
                found = back[name].values.ravel().tolist()
                assert found == result[name].values.ravel().tolist()
                assert all(isinstance(text, str) for text in found)

    def test_the_meter_reads_what_comes_back(self, result, write, tmp_path):
        with write(result, tmp_path) as back:
            reading = sw.meter_reading(back, rod="3 in")
        xr.testing.assert_identical(reading, sw.meter_reading(result, rod="3 in"))


@pytest.mark.parametrize("write", [write_netcdf, write_zarr])
@pytest.mark.parametrize("name", ANSWERS)
def test_answers_come_back_too(name, write, tmp_path):
    answer = ANSWERS[name]()
    written = answer if isinstance(answer, xr.Dataset) else answer.to_dataset()
    with write(written, tmp_path) as back:
        back = back.load()
    xr.testing.assert_identical(back, written)
    for variable in written.variables:
        assert written[variable].dtype.kind != "U", f"{variable}: such texts have no zarr form"
        assert back[variable].attrs == written[variable].attrs, variable
        if variable in VARIABLES:
            assert back[variable].attrs.get("units") == VARIABLES[variable].units
    assert back.attrs == written.attrs


class TestLabels:
    def test_every_variable_is_labelled_as_the_vocabulary_says(self, result):
        for name in result.variables:
            if name in VARIABLES:
                assert result[name].attrs["long_name"] == VARIABLES[name].long_name
                assert result[name].attrs.get("units") == VARIABLES[name].units

    def test_attributes_are_texts_and_numbers(self, result):
        """netCDF takes nothing else."""
        for attrs in (result.attrs, *(result[name].attrs for name in result.variables)):
            assert all(isinstance(value, str | int | float) for value in attrs.values())

    def test_depth_lies_between_its_bounds_and_names_them(self, result):
        assert result.depth.attrs["bounds"] == "depth_bounds"
        assert result.depth.attrs["positive"] == "down"
        inside = result.depth.notnull()
        assert (result.depth > result.depth_bounds.isel(bound=0)).where(inside, True).all()
        assert (result.depth < result.depth_bounds.isel(bound=1)).where(inside, True).all()

    def test_layers_are_named_by_depth(self):
        run = RESULTS["single"]()
        assert set(run.layer.sel(depth=slice(0, 20)).values.tolist()) == {"root zone"}
        assert set(run.layer.sel(depth=slice(20, 35)).values.tolist()) == {"subsoil"}


class TestColumns:
    def test_every_column_knows_its_place_profile_and_nodes(self):
        run = RESULTS["depths by samples"]()
        columns = list(each_column(run))
        assert [column.place for column in columns] == [(0, 0), (0, 1), (1, 0), (1, 1)]
        assert [column.profile.depth for column in columns] == [20.0, 20.0, 30.0, 30.0]
        assert [column.profile.layers[0].soil for column in columns] == SOILS * 2
        for column in columns:
            assert column.node_suction.shape == (run.sizes["time"], column.mesh.depth.size)
            assert column.mesh.depth[-1] == column.profile.bottom

    def test_dimensions_may_be_turned_and_picked(self):
        run = RESULTS["depths by samples"]()
        turned = run.transpose("node", "time", ...)
        for one, other in zip(each_column(run), each_column(turned), strict=True):
            np.testing.assert_array_equal(one.node_suction, other.node_suction)
        (picked,) = each_column(run.isel(sample=1).sel(root_zone_depth=30.0))
        assert picked.place == ()
        np.testing.assert_array_equal(picked.node_suction, list(each_column(run))[3].node_suction)

    def test_part_of_the_time_is_enough(self):
        run = RESULTS["single"]()
        (column,) = each_column(run.isel(time=[-1]))
        assert column.node_suction.shape[0] == 1

    def test_a_refined_mesh_keeps_its_nodes(self):
        run = sw.simulate(TWO_LAYERS, WEATHER, output=8.0, refinement=2.0)
        (column,) = each_column(run)
        np.testing.assert_array_equal(column.mesh.depth, run.node_depth)
        np.testing.assert_array_equal(column.mesh.soil, TWO_LAYERS.mesh(2.0).soil)

    def test_a_cut_profile_is_refused(self):
        run = RESULTS["single"]()
        with pytest.raises(sw.InputError, match="keep node_depth whole"):
            list(each_column(run.sel(node_depth=slice(0, 20))))

    @pytest.mark.parametrize("name", ["node_suction", "profile"])
    def test_what_is_missing_is_named(self, name):
        with pytest.raises(sw.InputError, match=f'"{name}" is missing'):
            list(each_column(RESULTS["single"]().drop_vars(name)))

    def test_the_profile_is_kept_as_text(self):
        run = RESULTS["single"]()
        assert json.loads(run.profile.item())["base"] == {"kind": "SeepageFace"}
        assert sw.Profile.from_json(run.profile.item()) == TWO_LAYERS


class TestLayOut:
    def test_coordinates_vary_only_along_the_dimensions_that_need_it(self):
        run = RESULTS["depths by samples"]()
        assert run.depth.dims == ("root_zone_depth", "cell")
        assert run.layer.dims == ("root_zone_depth", "cell")
        assert run.profile.dims == ("root_zone_depth", "sample")
        assert RESULTS["one mesh"]().depth.dims == ("depth",)

    def test_names_of_layers_may_differ_on_one_mesh(self):
        renamed = sw.Profile((sw.Layer(SAND, 30.0, "mix"),), GREEN.base)
        run = sw.simulate_many([sw.Case(GREEN, WEATHER), sw.Case(renamed, WEATHER)], output=8.0)
        assert run.depth.dims == ("depth",)
        assert run.layer.dims == ("case", "depth")
        assert run.layer[:, 0].values.tolist() == ["root zone", "mix"]

    def test_what_is_changed_in_one_result_stays_there(self):
        first = RESULTS["single"]()
        kept = first.copy(deep=True)
        first.layer.values[:] = "clay"
        first.depth_bounds.values[:] = 0.0
        first.water_content.values[:] = 0.0
        first.depth.attrs["units"] = first.attrs["title"] = "miles"
        second = RESULTS["single"]().assign_attrs(wall_time_s=kept.wall_time_s)
        xr.testing.assert_identical(second, kept)

    def test_layouts_of_very_many_times_are_not_kept(self, monkeypatch):
        kept = RESULTS["single"]()
        layout._column_of_nothing.cache_clear()
        monkeypatch.setattr(layout, "_MOST_TIMES_KEPT", 2)
        made = RESULTS["single"]().assign_attrs(wall_time_s=kept.wall_time_s)
        xr.testing.assert_identical(made, kept)
        assert layout._column_of_nothing.cache_info().currsize == 0

    def test_a_status_is_always_kept(self):
        assert kept_names(()) == ("status", "status_text")
        assert kept_names("drainage") == ("drainage", "status", "status_text")

    def test_the_last_dimension_runs_fastest(self):
        nodes = np.tile([0.0, 1.0], (6, 1))
        described = {
            "node_depth": nodes,
            "depth": nodes[:, :1] + 0.5,
            "depth_bounds": nodes[:, None, :],
            "layer": np.full((6, 1), "mix", dtype=object),
            "profile": np.full(6, "{}", dtype=object),
        }
        dataset = lay_out(
            {"status": np.arange(6)}, described, {"sample": "abc", "member": range(2)}, ()
        )
        assert dataset.status.sel(sample="b", member=1).item() == 3
