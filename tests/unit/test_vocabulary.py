"""The vocabulary: what every variable is called, measured in and labelled with."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pint
import pytest
import xarray as xr

from soilwater.words.vocabulary import VARIABLES, Variable, attach, attributes

# Canonical units from the CF standard name table, version 93 (17 March 2026).
CF_CANONICAL_UNITS = {
    "depth": "m",
    "leaf_area_index": "1",
    "lwe_thickness_of_precipitation_amount": "m",
    "lwe_thickness_of_soil_moisture_content": "m",
    "lwe_thickness_of_water_evaporation_amount": "m",
    "root_depth": "m",
    "soil_hydraulic_conductivity_at_saturation": "m s-1",
    "soil_porosity": "1",
    "volume_fraction_of_condensed_water_in_soil": "1",
    "volume_fraction_of_condensed_water_in_soil_pores": "1",
    "volume_fraction_of_water_in_soil_at_saturation": "1",
    "water_table_depth": "m",
}
# What simulations, drained states and meters hand out.
RESULT_NAMES = (
    "water_content",
    "suction",
    "node_suction",
    "layer",
    "depth",
    "depth_bounds",
    "node_depth",
    "time",
    "rain",
    "irrigation",
    "interception",
    "runoff",
    "infiltration",
    "transpiration",
    "evaporation",
    "drainage",
    "storage",
    "ponding",
    "closure_error",
    "potential_transpiration",
    "steps",
    "rejected_steps",
    "newton_iterations",
    "status",
    "status_text",
    "profile",
    "case",
    "root_zone_depth",
    "member",
    "sample",
    "air_filled_porosity",
    "reading",
    "days_until",
)


def in_pint(units):
    spelled = re.sub(r"([A-Za-z])(-?\d)", r"\1**\2", units.replace("degrees_", "degrees "))
    return spelled.split(" ")[0] if units.startswith("degrees_") else spelled


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


@pytest.mark.parametrize("name", RESULT_NAMES)
def test_every_name_of_a_result_is_in_the_table(name):
    assert isinstance(VARIABLES[name], Variable)


@pytest.mark.parametrize("variable", VARIABLES.values(), ids=VARIABLES)
def test_rows_are_complete_and_consistent(variable, registry):
    assert VARIABLES[variable.name] is variable
    assert re.fullmatch(r"[a-z][a-z_]*", variable.name)
    assert variable.long_name
    assert variable.long_name[0].islower() or variable.long_name.startswith("Newton")
    if variable.units is not None:
        registry.parse_expression(in_pint(variable.units))
    if variable.standard_name is not None:
        canonical = CF_CANONICAL_UNITS[variable.standard_name]
        ours = registry.Quantity(1.0, in_pint(variable.units))
        assert ours.is_compatible_with(in_pint(canonical))
    if variable.cell_methods is not None:
        assert re.fullmatch(r"(\w+: (point|sum|mean|minimum|maximum) ?)+", variable.cell_methods)


@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("water_content", "1"),
        ("suction", "cm"),
        ("depth", "cm"),
        ("conductivity", "cm h-1"),
        ("k_sat", "cm h-1"),
        ("rain", "mm"),
        ("drainage", "mm"),
        ("storage", "mm"),
    ],
)
def test_house_units(name, units):
    assert attributes(name)["units"] == units


def test_depth_counts_downward():
    assert attributes("depth")["positive"] == "down"
    assert attributes("depth")["axis"] == "Z"


def test_times_and_texts_have_no_units_of_ours():
    assert attributes("time") == {"long_name": "time"}
    assert "units" not in attributes("layer")


@pytest.mark.parametrize("name", VARIABLES)
def test_attributes_are_texts_and_numbers_only(name):
    assert {type(value) for value in attributes(name).values()} <= {str, int, float}


def test_an_unknown_name_says_what_to_do():
    with pytest.raises(KeyError, match=r"theta.*is not in the vocabulary.*add a row"):
        attributes("theta")


@pytest.fixture
def dataset():
    time = pd.date_range("2025-07-01", periods=2, freq="D")
    wrong = {"units": "furlong", "history": "inherited", "flag": True}
    return xr.Dataset(
        {
            "rain": ("time", [1.0, 2.0], wrong),
            "water_content": (("time", "depth"), np.full((2, 3), 0.2), wrong),
        },
        coords={
            "time": time,
            "depth": ("depth", [1.0, 2.0, 3.0], wrong),
            "depth_bounds": (("depth", "bound"), np.zeros((3, 2)), wrong),
            "mower": ("time", ["a", "b"], {"note": "mine"}),
        },
        attrs={"title": "kept"},
    )


def test_attach_replaces_the_attributes_of_variables_and_coordinates(dataset):
    result = attach(dataset)
    assert result.rain.attrs == attributes("rain")
    assert result.water_content.attrs == attributes("water_content")
    assert result.depth_bounds.attrs == attributes("depth_bounds")
    assert result.depth.attrs == {**attributes("depth"), "bounds": "depth_bounds"}
    assert result.attrs == {"title": "kept"}


def test_attach_leaves_its_argument_and_foreign_coordinates_alone(dataset):
    result = attach(dataset)
    assert dataset.rain.attrs["units"] == "furlong"
    assert dataset.depth.attrs["units"] == "furlong"
    assert result.mower.attrs == {"note": "mine"}
    xr.testing.assert_equal(result, dataset)


def test_attach_stops_units_from_surviving_arithmetic(dataset):
    ratio = (attach(dataset).rain / attach(dataset).rain).rename("effective_saturation")
    labelled = attach(ratio)
    assert labelled.attrs == attributes("effective_saturation")
    assert labelled.units == "1"


def test_cell_methods_speak_only_of_dimensions_that_are_there(dataset):
    at_rest = attach(dataset.isel(time=0, drop=True))
    assert at_rest.water_content.cell_methods == "depth: mean"
    assert "cell_methods" not in at_rest.rain.attrs


def test_attach_refuses_names_outside_the_vocabulary(dataset):
    with pytest.raises(KeyError, match="moisture"):
        attach(dataset.rename(water_content="moisture"))
    with pytest.raises(KeyError, match="None"):
        attach(xr.DataArray([1.0]))


def test_attributes_survive_netcdf(dataset, tmp_path: Path):
    pytest.importorskip("netCDF4")
    attach(dataset).to_netcdf(tmp_path / "result.nc")
    with xr.open_dataset(tmp_path / "result.nc") as back:
        assert back.rain.attrs == attributes("rain")
        assert back.water_content.attrs == attributes("water_content")
        assert back.depth.attrs == {**attributes("depth"), "bounds": "depth_bounds"}
