"""Where water rests: hydrostatic suctions, and water contents integrated through the curve."""

from itertools import pairwise

import numpy as np
import pytest
import xarray as xr
from grounds import MIDDLE_MIX as SAND
from grounds import PEA_GRAVEL as GRAVEL
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import hyp2f1

import soilwater as sw
from soilwater.runs.drained import depth_range, drained_suction, mean_over_depth


def storage_by_series(soil, depth, at_base):
    """Water above a base at a suction, through the integral of effective saturation.

    The integral of 1/(1 + (a s)^n)^m over s is s 2F1(m, 1/n; 1 + 1/n; -(a s)^n): Euler's integral
    of the hypergeometric function.
    """

    def up_to(s):
        m = 1.0 - 1.0 / soil.n
        return s * hyp2f1(m, 1.0 / soil.n, 1.0 + 1.0 / soil.n, -((soil.alpha * s) ** soil.n))

    saturated = up_to(at_base + depth) - up_to(at_base)
    return 10.0 * (soil.theta_r * depth + (soil.theta_s - soil.theta_r) * saturated)


def test_storage_of_a_drained_sand_by_hypergeometric_series():
    # The sand of Carsel & Parrish (1988), 300 mm over a base at zero suction: 58.061 mm.
    sand = sw.VanGenuchten.texture_class("sand")
    assert storage_by_series(sand, 30.0, 0.0) == pytest.approx(58.061, abs=5e-4)
    profile = sw.Profile([sw.Layer(sand, 30.0)], sw.SeepageFace())
    assert 300.0 * sw.drained_water_content(profile, 0.0, 30.0) == pytest.approx(58.061, abs=1e-3)
    # As the water balance holds it, cell by cell, the answer is that of the mesh.
    assert float(sw.drained_state(profile).storage) == pytest.approx(58.061, rel=2e-3)


@pytest.mark.parametrize(
    "soil", [SAND, sw.VanGenuchten.texture_class("loam")], ids=["sand", "loam"]
)
@pytest.mark.parametrize("at_base", [0.0, 3.0, 9.0])
@pytest.mark.parametrize("root_zone", [10.0, 30.48, 60.0])
def test_mean_water_content_of_a_drained_root_zone(soil, at_base, root_zone):
    profile = sw.Profile.over_gravel(soil, root_zone, base_suction=at_base)
    expected = storage_by_series(soil, root_zone, at_base) / (10.0 * root_zone)
    assert sw.drained_water_content(profile, 0.0, root_zone) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("base", "at_base"),
    [
        (sw.SeepageFace(), 0.0),
        (sw.CapillaryBreak(4.0), 4.0),
        (sw.WaterTable(70.0), 30.0),
        (sw.WaterTable(25.0), -15.0),
    ],
    ids=repr,
)
def test_suction_is_the_height_above_the_base_plus_that_at_the_base(base, at_base):
    layers = [sw.Layer(SAND, 30.0, "root zone"), sw.Layer(GRAVEL, 10.0, "gravel")]
    profile = sw.Profile(layers, base)
    state = sw.drained_state(profile)
    assert drained_suction(profile) == at_base
    assert state.node_suction.values == pytest.approx(40.0 - state.node_depth.values + at_base)
    assert state.suction.values == pytest.approx(40.0 - state.depth.values + at_base)
    # Below a water table the pores are full and hold no air.
    full = state.suction.values <= -0.13
    theta_s = np.where(state.layer.values == "root zone", 0.40, 0.35)
    assert state.water_content.values[full] == pytest.approx(theta_s[full])
    assert state.air_filled_porosity.values == pytest.approx(theta_s - state.water_content.values)
    assert full.any() == (at_base < 0.0)


def test_water_content_jumps_where_soils_meet_and_suction_does_not():
    layers = [sw.Layer(SAND, 30.0, "root zone"), sw.Layer(GRAVEL, 10.0, "gravel")]
    state = sw.drained_state(sw.Profile(layers, sw.SeepageFace()))
    above = float(state.water_content.sel(depth=29.9, method="nearest"))
    below = float(state.water_content.sel(depth=30.1, method="nearest"))
    assert above > 0.3 > 0.1 > below
    assert np.all(np.diff(state.suction.values) < 0.0)


@given(
    top=st.floats(0.0, 30.0),
    length=st.floats(0.05, 39.9),
    at_base=st.floats(0.0, 9.0),
)
def test_means_over_any_range_cross_layers_exactly(top, length, at_base):
    bottom = min(top + length, 40.0)
    layers = [sw.Layer(SAND, 30.0, "root zone"), sw.Layer(GRAVEL, 10.0, "gravel")]
    profile = sw.Profile(layers, sw.CapillaryBreak(at_base))
    expected = 0.0
    for soil, a, b in ((SAND, 0.0, 30.0), (GRAVEL, 30.0, 40.0)):
        upper, lower = max(a, top), min(b, bottom)
        if lower > upper:
            highest, lowest = 40.0 - upper + at_base, 40.0 - lower + at_base
            expected += storage_by_series(soil, lower - upper, lowest) / 10.0
            assert highest > lowest
    found = sw.drained_water_content(profile, top, bottom)
    assert found == pytest.approx(expected / (bottom - top), abs=2e-6)


def test_means_follow_heads_of_any_shape_and_keep_missing_times_missing():
    profile = sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    mesh = profile.mesh()
    heads = np.stack([-20.0 - 10.0 * np.sin(mesh.depth / 7.0), np.full(mesh.depth.size, np.nan)])
    heads[0, 4] += 0.3
    cuts = [0.0, *mesh.depth[(mesh.depth > 0.0) & (mesh.depth < 7.6)], 7.6]

    def at(depth):
        return float(SAND.water_content(-np.interp(depth, mesh.depth, heads[0])))

    expected = sum(
        quad(at, a, b, points=[0.5 * (a + b)], epsabs=1e-9)[0] for a, b in pairwise(cuts)
    )
    means = mean_over_depth(mesh, heads, 0.0, 7.6)
    assert means[0] == pytest.approx(expected / 7.6, abs=1e-6)
    assert np.isnan(means[1])


def test_depths_are_taken_in_any_unit():
    profile = sw.Profile.over_gravel(SAND, "12 in", base_suction=3.0)
    assert depth_range("1 in", "3 in", profile) == pytest.approx((2.54, 7.62))
    in_inches = sw.drained_water_content(profile, "0 in", "3 in")
    assert in_inches == sw.drained_water_content(profile, 0.0, 7.62)
    # The base itself, however its depth was rounded on the way.
    assert depth_range(0.0, 30.48 + 1e-12, profile)[1] == profile.depth


@pytest.mark.parametrize("base", [sw.FreeDrainage(), sw.Sealed()], ids=repr)
def test_some_profiles_come_to_no_rest_of_their_own(base):
    profile = sw.Profile([sw.Layer(SAND, 30.0)], base)
    for ask in (sw.drained_state, lambda p: sw.drained_water_content(p, 0.0, 7.6)):
        with pytest.raises(sw.InputError, match="comes to no rest of its own; allowed: Capillary"):
            ask(profile)


def test_the_state_is_a_labelled_dataset():
    state = sw.drained_state(sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0))
    assert isinstance(state, xr.Dataset)
    assert state.water_content.dims == ("depth",)
    assert state.water_content.attrs["units"] == "1"
    assert state.suction.attrs["units"] == "cm"
    assert state.storage.attrs["units"] == "mm"
    by_hand = 10.0 * float((state.water_content * np.diff(state.node_depth.values)).sum())
    assert float(state.storage) == pytest.approx(by_hand)
