"""Soil models: making them, what they refuse, what a person sees of them."""

import dataclasses
import json
import pickle
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from grounds import UNIFORM_SAND
from scipy.optimize import brentq

from soilwater.soils import (
    OVEN_DRY_SUCTION,
    BrooksCorey,
    Hysteretic,
    Kosugi,
    TwoComponent,
    VanGenuchten,
    WithDryEnd,
    soil_from_dict,
)
from soilwater.soils.elementary import bisect
from soilwater.soils.side_by_side import water_contents
from soilwater.words.errors import InputError, UnitError

SAND = replace(UNIFORM_SAND, name="river sand", source="made up for this test")
MODELS = [
    SAND,
    BrooksCorey(0.03, 0.40, 20.0, 3.0, 40.0),
    Kosugi(0.03, 0.40, 35.0, 0.4, 40.0),
    TwoComponent(0.05, 0.60, 0.1, 3.0, 0.4, 0.004, 1.6, 15.0),
    WithDryEnd(SAND, 2e-4),
]
by_name = pytest.mark.parametrize("soil", MODELS, ids=lambda soil: type(soil).__name__)


@by_name
def test_saturated_at_and_above_zero_suction(soil):
    for suction in (0.0, -5.0):
        assert soil.water_content(suction) == soil.theta_s
        assert soil.conductivity(suction) == soil.k_sat
        assert soil.effective_saturation(suction) == 1.0
        assert soil.capacity(suction) == 0.0
    assert soil.suction_at(soil.theta_s) == 0.0


def test_where_a_curve_takes_a_value_is_found_past_steps_kinks_and_beyond_its_ends():
    """Against `scipy.optimize.brentq`; a value that is never taken gives the nearer end."""

    def falling(x):
        return np.exp(-x) - np.where(x > 0.7, 0.3, 0.0) - np.maximum(x - 2.0, 0.0) ** 3

    wanted = np.array([5.0, 0.9, 0.35, 0.1, -0.4, -3.0, -90.0])
    low, high = np.full(wanted.size, 0.0), np.full(wanted.size, 4.0)
    found = bisect(falling, wanted, low, high)
    exact = [brentq(lambda x, w=w: float(falling(x)) - w, 0.0, 4.0) for w in wanted[1:-1]]
    assert found[1:-1] == pytest.approx(exact, rel=1e-11)
    assert (found[0], found[-1]) == (0.0, 4.0)


def test_soils_side_by_side_hold_to_the_last_bit_what_each_holds_alone():
    finer = [replace(each, alpha=0.9 * each.alpha) for each in (MODELS[0], MODELS[3])]
    soils = [*MODELS, *finer, Hysteretic(SAND, 1.6), replace(MODELS[2], spread=0.7)]
    suction = np.concatenate([[-1.0, 0.0, 20.0, 35.0], np.geomspace(1e-3, 1e6, 200)])
    rows = suction + np.linspace(0.0, 60.0, len(soils))[:, np.newaxis]
    for at in (suction, rows):
        held = water_contents(soils, at)
        alone = [
            soil.water_content(each)
            for soil, each in zip(soils, np.broadcast_to(at, held.shape), strict=True)
        ]
        np.testing.assert_array_equal(held, alone)


@by_name
def test_what_goes_in_comes_out(soil):
    for curve in (soil.water_content, soil.conductivity, soil.capacity, soil.effective_saturation):
        assert type(curve(30.0)) is float
        assert type(curve("3 kPa")) is float
        block = curve(np.full((2, 3), 30.0))
        assert block.shape == (2, 3)
        assert block.dtype == np.float64
        assert curve([30.0, 40.0]).shape == (2,)
        assert curve(np.empty(0)).shape == (0,)
        assert curve(np.array(30.0)).shape == ()
        assert curve(30) == curve(30.0) == block[1, 2]
    assert type(soil.suction_at("20 %")) is float
    assert soil.suction_at([0.2, 0.3]).shape == (2,)


@by_name
def test_units_are_converted_at_the_edge(soil):
    # 1 kPa is 1000 / 98.0665 cm of water (conventional water column, NIST SP 811, 2008, B.8).
    assert soil.water_content("2 kPa") == pytest.approx(soil.water_content(2000 / 98.0665))
    suction = xr.DataArray([1.0, 2.0], dims="case", attrs={"units": "kPa"})
    expected = soil.water_content(np.array([1.0, 2.0]) * 1000 / 98.0665)
    np.testing.assert_allclose(soil.water_content(suction), expected)


@by_name
def test_labelled_arrays_keep_their_labels_and_get_new_attributes(soil):
    suction = xr.DataArray(
        [[0.0, 10.0], [50.0, 90.0]],
        dims=("sample", "depth"),
        coords={"depth": ("depth", [1.0, 3.0], {"units": "in"})},
        attrs={"units": "cm", "long_name": "suction", "note": "stays behind"},
        name="suction",
    )
    water = soil.water_content(suction)
    assert water.dims == ("sample", "depth")
    assert list(water.depth) == [1.0, 3.0]
    assert water.depth.attrs == {"units": "in"}
    assert "cell_methods" not in water.attrs
    assert water.name == "water_content"
    assert water.attrs["units"] == "1"
    assert "note" not in water.attrs
    assert soil.conductivity(suction).attrs["units"] == "cm h-1"
    assert soil.capacity(suction).attrs["units"] == "cm-1"
    assert soil.effective_saturation(suction).attrs["units"] == "1"
    back = soil.suction_at(water)
    assert back.attrs["units"] == "cm"
    np.testing.assert_allclose(soil.water_content(back), water, rtol=1e-12)


def test_dask_arrays_stay_lazy():
    dask_array = pytest.importorskip("dask.array")
    suction = xr.DataArray(dask_array.linspace(1.0, 100.0, 8, chunks=4), dims="case")
    water = SAND.water_content(suction)
    assert water.chunks == ((4, 4),)
    np.testing.assert_allclose(water.compute(), SAND.water_content(np.linspace(1.0, 100.0, 8)))


@by_name
def test_dictionary_goes_through_json_and_back(soil):
    assert soil_from_dict(json.loads(json.dumps(soil.to_dict()))) == soil


@by_name
def test_equal_soils_share_a_key_and_cannot_be_changed(soil):
    same = soil_from_dict(soil.to_dict())
    assert len({soil, same}) == 1
    assert pickle.loads(pickle.dumps(soil)) == soil
    with pytest.raises(dataclasses.FrozenInstanceError):
        soil.name = "other"


@by_name
def test_an_unknown_keyword_is_a_type_error(soil):
    with pytest.raises(TypeError, match="unexpected keyword"):
        type(soil)(colour="brown")


@by_name
def test_a_suction_that_is_no_number_is_named(soil):
    with pytest.raises(InputError, match=r"suction: .*the first at \[1\]"):
        soil.water_content(np.array([1.0, np.nan]))
    with pytest.raises(UnitError, match="suction"):
        soil.conductivity("30 mm/h")


@by_name
def test_water_the_soil_cannot_hold_is_refused_in_full(soil):
    with pytest.raises(InputError) as caught:
        soil.suction_at([0.2, 0.95, 0.96])
    assert len(caught.value.faults) == 2
    assert "water_content[1]=0.95" in caught.value.faults[0]
    assert f"to {soil.theta_s:g}" in caught.value.faults[0]


def test_the_dry_end_is_reached_in_the_limit_or_at_oven_dryness():
    assert SAND.dry_end_water_content == SAND.theta_r
    assert SAND.suction_at(SAND.theta_r) == np.inf
    dry = WithDryEnd(SAND)
    assert dry.dry_end_water_content == dry.theta_r == 0.0
    assert dry.suction_at(0.0) == OVEN_DRY_SUCTION == 10**6.8
    assert dry.water_content(OVEN_DRY_SUCTION) == 0.0
    assert dry.water_content(1e7) == 0.0
    assert dry.capacity(1e7) == 0.0
    # What holds nothing soon conducts nothing: a node at 1e7 cm gave water that it had not.
    assert 0.0 < dry.conductivity(1e7) <= 1.1e-8 * dry.conductivity(OVEN_DRY_SUCTION)


def test_every_fault_of_a_soil_is_reported_at_once():
    with pytest.raises(InputError) as caught:
        VanGenuchten(-0.1, 1.3, -1.0, 1.0, float("nan"), tortuosity=-2.0, name="odd sand")
    message = str(caught.value)
    assert message.startswith('VanGenuchten "odd sand": 6 faults')
    for words in ("theta_r", "theta_s", "alpha=-1", "n=1;", "above 1", "k_sat", "tortuosity=-2"):
        assert words in message


def test_parameters_that_contradict_each_other():
    with pytest.raises(InputError, match=r"theta_r=0.41 is not below theta_s=0.38.*allowed"):
        VanGenuchten(0.41, 0.38, 0.03, 2.0, 10.0)
    for not_capillary in (WithDryEnd(SAND), 3.0):
        with pytest.raises(InputError, match="cannot be extended"):
            WithDryEnd(not_capillary)
    with pytest.raises(InputError, match="beyond the oven-dry suction"):
        WithDryEnd(VanGenuchten(0.03, 0.4, 1e-8, 2.0, 1.0))
    with pytest.raises(InputError, match=r"second_share=1; allowed: above 0 and below 1"):
        TwoComponent(0.05, 0.60, 0.1, 3.0, 1.0, 0.004, 1.6, 15.0)


def test_water_contents_in_per_cent_are_caught():
    with pytest.raises(InputError, match="per cent"):
        VanGenuchten(3.0, 40.0, 0.033, 5.0, 40.0)
    assert VanGenuchten("3 %", "40 %", "3.3 1/m", 5.0, "400 mm/h").theta_s == pytest.approx(0.40)


def test_a_unit_of_the_wrong_kind_names_the_argument():
    with pytest.raises(InputError, match="alpha"):
        VanGenuchten(0.03, 0.40, "30 cm", 5.0, 40.0)
    with pytest.raises(InputError, match="k_sat"):
        VanGenuchten(0.03, 0.40, 0.033, 5.0, "40")
    with pytest.raises(InputError, match="k_sat: True is a truth value"):
        VanGenuchten(0.03, 0.40, 0.033, 5.0, True)


def test_a_dictionary_is_refused_with_all_its_faults():
    with pytest.raises(InputError, match="VanGenuchten, BrooksCorey, Kosugi"):
        soil_from_dict({"model": "no such model"})
    with pytest.raises(InputError) as caught:
        soil_from_dict({"model": "Kosugi", "theta_r": 0.03, "theta_s": 0.4, "alpha": 0.03})
    assert [fault.split(" ")[0] for fault in caught.value.faults] == [
        "Kosugi",
        "'median_suction'",
        "'spread'",
        "'k_sat'",
    ]


def test_text_shows_every_parameter_in_both_systems_of_units():
    text = repr(SAND)
    assert text.startswith('VanGenuchten "river sand"\n')
    assert "40.0 cm/h (15.7 in/h)" in text
    assert "theta_r" in text
    assert "0.033 1/cm" in text
    assert "made up for this test" in text
    assert f"{100 * SAND.water_content(30.0):.1f} % at 30 cm" in text
    assert "not stated" in repr(Kosugi(0.03, 0.40, 35.0, 0.4, 40.0))
    assert "share of k_sat in films" in repr(WithDryEnd(SAND))
    assert repr(WithDryEnd(SAND)).startswith('WithDryEnd(VanGenuchten) "river sand"\n')


def test_html_is_escaped():
    html = VanGenuchten(0.03, 0.4, 0.03, 3.0, 40.0, name="<b>sand</b>")._repr_html_()
    assert "&lt;b&gt;sand" in html
    assert "<b>" not in html
    assert "<table" in html


def test_texture_classes_and_measured_soils_say_where_they_come_from():
    loam = VanGenuchten.texture_class(" Sandy Loam")
    assert loam.name == "sandy loam"
    assert "Carsel & Parrish (1988)" in loam.source
    assert "from memory" in loam.source
    assert "read in" in VanGenuchten.measured("matrix-free gravel").source
    assert "from memory" in VanGenuchten.measured("New Mexico soil").source
    with pytest.raises(InputError, match="allowed: sand, loamy sand"):
        VanGenuchten.texture_class("peat")


def test_a_publication_without_conductivity_asks_for_one():
    with pytest.raises(InputError, match="k_sat="):
        VanGenuchten.measured("Tottori dune sand")
    given = VanGenuchten.measured("Tottori dune sand", k_sat="12 in/h")
    assert given.k_sat == pytest.approx(30.48)
    assert given.source.endswith("saturated conductivity given by the user")


def test_an_extended_soil_keeps_the_name_unless_given_another():
    assert WithDryEnd(SAND).name == "river sand"
    assert WithDryEnd(SAND).source == SAND.source
    assert WithDryEnd(SAND, name="river sand, dry end").name == "river sand, dry end"


def test_soils_given_in_order_are_those_given_by_name():
    for model, numbers in (
        (VanGenuchten, (0.05, np.float64(0.40), np.float64(0.047), 3, "40 cm/h")),
        (BrooksCorey, (0.05, 0.40, np.float64(20.0), 1.5, 40.0)),
        (Kosugi, (0.05, 0.40, np.float64(20.0), 0.5, 40.0)),
        (TwoComponent, (0.05, 0.40, 0.04, np.float64(3.0), 0.2, 0.005, 1.5, 40.0)),
    ):
        names = [each.name for each in dataclasses.fields(model) if not each.kw_only]
        in_order, by_name = model(*numbers), model(**dict(zip(names, numbers, strict=True)))
        assert in_order == by_name and list(vars(in_order)) == list(vars(by_name))
        kept = [getattr(in_order, name) for name in names]
        assert all(type(each) is float for each in kept)
        with pytest.raises(InputError, match="theta_r"):
            model(0.5, *numbers[1:])
        with pytest.raises(TypeError, match="positional"):
            model(*numbers, 0.5)
