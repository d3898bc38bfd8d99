"""Profiles: layers, base conditions, the mesh, and how they are written and shown."""

import dataclasses
import json
from dataclasses import replace

import numpy as np
import pint
import pytest
from grounds import CLEAN_GRAVEL, MIDDLE_MIX, PEA_GRAVEL, WET_MIX
from hypothesis import example, given
from hypothesis import strategies as st

import soilwater as sw
from soilwater.ground.base import BASES
from soilwater.ground.mesh import (
    BELOW_FINER,
    COARSEST_BELOW,
    COARSEST_INTERVAL,
    COARSEST_OF_MOIST,
    FINEST_INTERVAL,
    INTERVAL_GROWTH,
    SHARE_OF_DEPTH,
    SLIVER,
)
from soilwater.ground.profile import with_each_thickness
from soilwater.kernels import rows

SAND = replace(MIDDLE_MIX, name="greens mix")
GRAVEL = replace(PEA_GRAVEL, name="pea gravel")
ALL_BASES = [
    sw.SeepageFace(),
    sw.CapillaryBreak(2.5),
    sw.GravelBlanket(CLEAN_GRAVEL, 8.0),
    sw.FreeDrainage(),
    sw.WaterTable(80.0),
    sw.Sealed(),
]


def two_layers(base=None, upper=30.0):
    layers = [sw.Layer(SAND, upper, "root zone"), sw.Layer(GRAVEL, 10.0, "gravel")]
    return sw.Profile(layers, base or sw.SeepageFace(), "the third")


# --- layers and base conditions ----------------------------------------------------------------


@pytest.mark.parametrize(
    "thickness", [30.48, "12 in", "1 ft", "0.3048 m", pint.UnitRegistry()("12 inch")], ids=str
)
def test_thicknesses_are_taken_in_any_unit_of_length(thickness):
    profile = sw.Profile.over_gravel(SAND, thickness, base_suction="0.3 kPa")
    assert profile.depth == pytest.approx(30.48)
    # 1 kPa is 10.197 cm of water (9.80665 m/s2, 1000 kg/m3).
    assert profile.base.entry_suction == pytest.approx(3.0591, abs=1e-4)


def test_layers_lie_on_one_another():
    profile = two_layers()
    assert profile.interfaces.tolist() == [0.0, 30.0, 40.0]
    assert profile.depth == 40.0
    assert [profile.layer_index(name) for name in (None, "root zone", "gravel")] == [0, 0, 1]


def test_a_layer_without_a_name_takes_that_of_its_soil():
    assert sw.Layer(SAND, 5.0).name == "greens mix"
    assert sw.Layer(MIDDLE_MIX, 5.0).name == "layer"


def test_another_thickness_makes_another_profile():
    profile = two_layers(sw.WaterTable(100.0))
    deeper = profile.with_thickness("15 in")
    assert deeper.interfaces.tolist() == pytest.approx([0.0, 38.1, 48.1])
    assert profile.depth == 40.0
    # The water table belongs to the site: it stays where it is.
    assert deeper.base.depth == 100.0
    assert profile.with_thickness(20.0, layer="gravel").interfaces.tolist() == [0.0, 30.0, 50.0]


def test_it_must_be_clear_which_layer_is_meant():
    native = sw.Layer(sw.VanGenuchten.texture_class("loam"), 30.0, "native")
    alone = sw.Profile([native], sw.FreeDrainage())
    assert alone.with_thickness(20.0).depth == 20.0
    two = sw.Profile([sw.Layer(SAND, 5.0, "topdressing"), native], sw.FreeDrainage())
    with pytest.raises(sw.InputError, match="allowed: topdressing, native; name the layer"):
        two.with_thickness(20.0)


def test_nothing_changes_after_it_is_made():
    profile = two_layers()
    for thing, field in ((profile, "base"), (profile.layers[0], "thickness")):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(thing, field, None)


@pytest.mark.parametrize(
    ("base", "code", "value", "resting"),
    [
        (sw.SeepageFace(), rows.OUTFLOW, 0.0, 0.0),
        (sw.CapillaryBreak(2.5), rows.OUTFLOW, -2.5, 2.5),
        (sw.FreeDrainage(), rows.FREE_DRAINAGE, 0.0, None),
        (sw.WaterTable(50.0), rows.HELD_HEAD, -20.0, 20.0),
        (sw.WaterTable(10.0), rows.HELD_HEAD, 20.0, -20.0),
        (sw.Sealed(), rows.SEALED, 0.0, None),
    ],
    ids=repr,
)
def test_what_a_base_condition_asks_of_a_profile_30_cm_deep(base, code, value, resting):
    assert base.kernel_condition(30.0) == (code, value)
    assert base.resting_suction(30.0) == resting


@pytest.mark.parametrize("layer", ["root zone", "gravel"])
def test_several_thicknesses_are_those_of_each(layer):
    profile = two_layers()
    found = with_each_thickness(profile, [20.0, 30.0, 45.5], layer)
    assert found == [profile.with_thickness(each, layer=layer) for each in (20.0, 30.0, 45.5)]
    with pytest.raises(sw.InputError, match="no layer is called") as told:
        with_each_thickness(profile, [20.0, 30.0], "thatch")
    assert len(told.value.faults) == 1
    # The deepest is too deep together with the other layer alone.
    with pytest.raises(sw.InputError) as told:
        with_each_thickness(profile, [-1.0, 20.0, 1e5, 9995.0], layer)
    each = [text.split("; ")[0] for text in told.value.faults]
    assert "-1 cm" in each[0] and "100000 cm" in each[1] and "cm deep" in each[2]
    assert len(each) == 3


def test_a_table_of_depths_is_refused():
    with pytest.raises(sw.InputError, match=r"Depths: .* one row"):
        sw.compare_depths(two_layers(), np.array([[12.0, 13.0]]), sw.steady_weather(1, 0.0))


# --- the mesh ----------------------------------------------------------------------------------


@given(
    upper=st.floats(0.3, 120.0),
    lower=st.floats(0.3, 120.0),
    refinement=st.sampled_from([0.5, 1.0, 2.0, 5.0]),
)
@example(upper=1.0, lower=1.6875, refinement=0.5)
def test_nodes_lie_at_every_end_of_a_layer_and_are_close_there(upper, lower, refinement):
    layers = [sw.Layer(SAND, upper, "root zone"), sw.Layer(GRAVEL, lower, "gravel")]
    profile = sw.Profile(layers, sw.SeepageFace())
    depth, soil, soils = profile.mesh(refinement)
    assert soils == (SAND, GRAVEL)
    assert depth[0] == 0.0
    assert depth[-1] == profile.depth
    assert profile.interfaces[1] in depth
    steps = np.diff(depth)
    assert steps.min() > 0.0
    assert np.array_equal(soil, (depth[:-1] >= upper).astype(int))
    # Gravel is close at its lower end too, and at no depth further apart.
    for number, thickness in ((0, upper), (1, lower)):
        own, ends = steps[soil == number], depth[1:][soil == number]
        if number and refinement >= 1.0:
            # Water from a finer soil wets it from its top: the first interval is cut once more.
            top = BELOW_FINER * int(refinement)
            assert own[:top] == pytest.approx(own[0])
            own = np.append(own[:top].reshape(-1, BELOW_FINER).sum(axis=1), own[top:])
            ends = ends[-own.size :]
        # A sliver in the middle may lengthen all others a little; half of five intervals is two.
        spare = (1.0 + SLIVER) * (1.25 if refinement < 1.0 else 1.0)
        at_ends = (1.0 + SLIVER) * FINEST_INTERVAL / refinement
        if refinement < 1.0:
            # One in place of two and a half, each longer than the last.
            at_ends *= refinement * (1.0 + INTERVAL_GROWTH + 0.5 * INTERVAL_GROWTH**2)
        deep = 0.0 if number else np.minimum(SHARE_OF_DEPTH * ends, COARSEST_BELOW)
        longest = np.maximum(COARSEST_INTERVAL if number else COARSEST_OF_MOIST, deep) / refinement
        assert max(own[0], own[-1]) <= min(at_ends, thickness) + 1e-9
        assert np.all(own <= spare * longest + 1e-9)
        if refinement >= 1.0:
            growth = np.maximum(own[1:-1] / np.maximum(own[:-2], own[2:]), 1.0)
            assert np.all(growth <= INTERVAL_GROWTH + 1e-9)


def test_nodes_lie_further_apart_with_depth_over_a_base_that_keeps_sand_moist():
    def steps(*layers, base):
        named = [sw.Layer(*each, f"layer {i}") for i, each in enumerate(layers)]
        return np.diff(sw.Profile(named, base).mesh().depth)

    moist = steps((SAND, 60.0), base=sw.SeepageFace())
    assert moist[[0, -1]] == pytest.approx([FINEST_INTERVAL, COARSEST_OF_MOIST], rel=0.1)
    assert moist.max() == pytest.approx(COARSEST_BELOW, rel=0.1)
    # By the depth of a layer below the surface, not by its place in the layer.
    lower = steps((WET_MIX, 40.0), (SAND, 20.0), base=sw.SeepageFace())
    begins = np.searchsorted(np.cumsum(lower), 40.0, side="right")
    assert moist[:12].max() < 1.1 * COARSEST_OF_MOIST
    assert lower[begins : begins + 12].max() > 0.9 * COARSEST_BELOW
    # Where nothing keeps it moist, and in gravel, a front may be sharp at any depth.
    for soil, base in (
        (SAND, sw.FreeDrainage()),
        (SAND, sw.Sealed()),
        (SAND, sw.WaterTable(200.0)),
        (GRAVEL, sw.SeepageFace()),
    ):
        plain = steps((soil, 60.0), base=base)
        assert plain[[0, -1]] == pytest.approx([FINEST_INTERVAL] * 2, rel=0.1)
        assert plain.max() == pytest.approx(COARSEST_INTERVAL, rel=0.1)


@given(thickness=st.floats(0.3, 120.0), parts=st.integers(2, 8))
def test_a_finer_mesh_keeps_every_node(thickness, parts):
    layers = [sw.Layer(SAND, thickness, "root zone"), sw.Layer(GRAVEL, 10.0, "gravel")]
    profile = sw.Profile(layers, sw.SeepageFace())
    plain, fine = profile.mesh(), profile.mesh(float(parts))
    assert fine.depth[::parts] == pytest.approx(plain.depth, rel=1e-12)
    assert np.array_equal(fine.soil, np.repeat(plain.soil, parts))
    between = np.diff(fine.depth).reshape(-1, parts)
    assert between == pytest.approx(np.repeat(between[:, :1], parts, axis=1), rel=1e-9)


def test_a_finer_mesh_has_more_nodes_in_proportion():
    nodes = [two_layers().mesh(refinement).depth.size for refinement in (1.0, 2.0, 4.0)]
    assert nodes[1] / nodes[0] == pytest.approx(2.0, rel=0.15)
    assert nodes[2] / nodes[1] == pytest.approx(2.0, rel=0.15)


def test_layers_of_one_soil_share_one_mesh():
    parts = [sw.Layer(SAND, 7.3, "top"), sw.Layer(SAND, 22.7, "middle")]
    split = sw.Profile([*parts, sw.Layer(GRAVEL, 10.0, "gravel")], sw.SeepageFace()).mesh()
    whole = two_layers().mesh()
    assert np.array_equal(split.depth, whole.depth)
    assert np.array_equal(split.soil, whole.soil)
    assert split.soils == whole.soils


def test_the_thinnest_layer_still_has_an_interval():
    mesh = sw.Profile.over_gravel(SAND, 0.01, base_suction=3.0).mesh()
    assert mesh.depth.tolist() == [0.0, 0.01]


# --- as text -----------------------------------------------------------------------------------


@pytest.mark.parametrize("base", ALL_BASES, ids=repr)
def test_a_profile_comes_back_from_its_text_as_it_was(base):
    profile = two_layers(base)
    text = profile.to_json()
    # As json writes it, to the last space: results are told apart by it.
    assert text == json.dumps(json.loads(text))
    again = sw.Profile.from_json(text)
    assert again == profile
    assert hash(again) == hash(profile)


@pytest.mark.parametrize("name", [None, 3, 3.5, 'a "mix"'])
def test_the_name_of_a_profile_is_written_whatever_it_is(name):
    """Names come from tables too, where greens are often numbered."""
    profile = dataclasses.replace(two_layers(), name=name)
    assert json.loads(profile.to_json())["name"] == name
    assert sw.Profile.from_json(profile.to_json()) == profile


def test_every_base_condition_is_known_by_its_name():
    assert {type(base) for base in ALL_BASES} == set(BASES.values())


def test_a_profile_reads_as_a_table_with_inches_beside_centimetres():
    text = repr(two_layers(sw.CapillaryBreak(3.0), upper=30.48))
    assert text.splitlines()[0] == 'Profile "the third", 40.5 cm (15.9 in) deep'
    assert "30.5 cm (12.0 in)" in text
    assert "30.5-40.5 cm" in text
    assert "pea gravel" in text
    assert text.endswith("base: gravel that takes water below 3 cm of suction")


def test_html_shows_the_same_and_escapes_what_people_typed():
    soil = dataclasses.replace(SAND, name="<b>mix</b>")
    profile = sw.Profile.over_gravel(soil, "12 in", name="A & B", base_suction=3.0)
    html = profile._repr_html_()
    assert "&lt;b&gt;mix&lt;/b&gt;" in html
    assert "A &amp; B" in html
    assert "<b>mix" not in html
    assert "30.5 cm (12.0 in)" in html
    assert "takes water below 3 cm" in html
    assert len(html) < 10_000


@pytest.mark.parametrize("base", ALL_BASES, ids=repr)
def test_base_conditions_are_told_in_words(base):
    words = str(base)
    assert words
    assert words[0].islower()
    assert type(base).__name__ not in words


@pytest.mark.parametrize(
    ("depth", "left_out"), [(80.0, True), (30.05, False), (30.0, False), (20.0, False)]
)
def test_what_is_left_out_above_a_water_table_is_said(depth, left_out):
    mix = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    profile = sw.Profile([sw.Layer(mix, 30.0, "root zone")], sw.WaterTable(depth))
    run = sw.simulate(profile, sw.steady_weather(1, 0.0), start="drained", output="24 h")
    for text in (repr(profile), profile._repr_html_(), run.soilwater.summary()):
        assert ("let water pass at once, like a perfect plate" in text) is left_out
    if left_out:
        assert "the 50.0 cm (19.7 in) between base and water table" in repr(profile)
        # The cure, pasted, with a soil of one's own.
        cure = profile.notes[0].split("add ")[1]
        layer = eval(cure, {"Layer": sw.Layer, "soil": sw.VanGenuchten.texture_class("loam")})
        whole = sw.Profile([*profile.layers, layer], profile.base)
        assert whole.depth == depth and whole.notes == ()
