"""Gravel by its own curve below the layers: what it leaves in the sand, and how it is told."""

from dataclasses import replace

import numpy as np
import pytest
from gravels import SANDS, at_interface, dried_for_a_fortnight, gravel_of, over
from grounds import MIDDLE_MIX, PEA_GRAVEL

import soilwater as sw
from soilwater.ground.base import CLEAN_GRAVEL, GRAVEL
from soilwater.ground.base_suction import OVER_GRAVEL
from soilwater.ground.fillings import with_each_soil
from soilwater.ground.gravel_drainage import (
    interface_suction,
    interface_suctions,
    steady_flows,
    suction_within,
)
from soilwater.ground.mesh import Meshes
from soilwater.runs.drained import drained_side_by_side, drained_suction, drained_suctions
from soilwater.runs.packing import root_shares
from soilwater.soils.side_by_side import ManySoils

ROD = 7.6
TURF = sw.Turf(15.0)
PUBLISHED = CLEAN_GRAVEL.gravel


# Suction at the lower end of the sand [cm], and reading [%], 48 h after a soaking over 10 cm of
# gravel, as measured beforehand on layers written out on another mesh, to the digits given.
MEASURED = [
    (1.116, 2.7, 6.8, 17.6, 12.9),
    (0.8, 2.5, 9.5, 16.1, 10.8),
    (0.5, 2.2, 10.1, 15.8, 10.3),
    (2.0, 4.0, 2.5, 20.5, 17.2),
]


@pytest.mark.parametrize(("alpha", "n", "suction", "reading_b", "reading_d"), MEASURED)
def test_what_gravels_leave_in_two_sands_after_two_days(alpha, n, suction, reading_b, reading_d):
    blanket = sw.GravelBlanket(gravel_of(alpha, n), 10.0)
    for sand, reading in (("B", reading_b), ("D", reading_d)):
        run = sw.simulate(over(blanket, sand), sw.steady_weather(2, 0.0), output="48 h")
        found = 100.0 * float(sw.meter_reading(run, rod=ROD)[-1])
        assert found == pytest.approx(reading, abs=0.15)
        assert at_interface(run)[-1] == pytest.approx(suction, abs=0.25)
        # The closed form, without a run.
        drained = 100.0 * sw.drained_water_content(over(blanket, sand), 0.0, ROD)
        assert drained == pytest.approx(found, abs=0.03)


@pytest.mark.parametrize(
    ("sand", "depth", "alpha", "n", "thickness"),
    [
        ("B", 25.0, 1.116, 2.7, 10.0),
        ("B", 60.0, 2.0, 4.0, 5.0),
        ("C", 45.0, 0.7, 4.0, 10.0),
        ("C", 25.0, 0.7, 2.2, 15.0),
        ("D", 30.0, 2.0, 2.2, 5.0),
        ("D", 45.0, 0.7, 2.2, 5.0),
    ],
)
def test_a_fortnight_of_drying_is_that_of_the_gravel_written_out(sand, depth, alpha, n, thickness):
    blanket = sw.GravelBlanket(gravel_of(alpha, n), thickness)
    run, fine = dried_for_a_fortnight(blanket, sand, depth)
    missed = 100.0 * np.abs(sw.meter_reading(run, rod=ROD) - sw.meter_reading(fine, rod=ROD))
    assert float(missed.isel(time=slice(0, 5)).max()) < 0.3
    assert float(missed.max()) < 0.6
    held, fine_held = (
        each.soilwater.storage_by_layer().sel(layer="root zone") for each in (run, fine)
    )
    assert 10.0 * float(np.abs(held - fine_held).max()) / depth < 0.6


@pytest.mark.parametrize(("depth", "within"), [(25.0, 0.02), (30.0, 0.02), (60.0, 0.4)])
def test_the_closed_form_is_where_two_days_of_drainage_lead(depth, within):
    # On a finer mesh: 0.25 cm beside the interface miss the suction there by 0.01 cm.
    profile = over(CLEAN_GRAVEL, "B", depth)
    run = sw.simulate(profile, sw.steady_weather(2, 0.0), output="48 h", refinement=4)
    assert drained_suction(profile) == pytest.approx(at_interface(run, depth)[-1], abs=within)


def test_steady_flow_obeys_its_law():
    # Between two heights ds/dz = 1 - q/K(s), by differences of what was integrated.
    flows = steady_flows(CLEAN_GRAVEL)
    for i in (60, 120, 180):
        s, z, q = flows.suction[i], flows.height[i], flows.flow[i]
        inside = (z > 0.5) & (z < 9.0)
        middle = 0.5 * (s[1:] + s[:-1])[inside[1:]]
        slope = (np.diff(s) / np.diff(z))[inside[1:]]
        law = 1.0 - q / np.asarray(PUBLISHED.conductivity(middle))
        assert slope == pytest.approx(law, abs=0.02)


def test_the_interface_rises_for_weeks_but_never_beyond_the_gravel():
    layers = ((MIDDLE_MIX, 30.0),)
    hours = (0.0, 1.0, 48.0, 336.0, 1e6)
    for thickness in (5.0, 10.0, 15.0):
        blanket = sw.GravelBlanket(gravel_of(0.8, 2.5), thickness)
        suction = [interface_suction(layers, blanket, each) for each in hours]
        assert np.all(np.diff(suction) > -1e-9)
        assert suction[-1] <= thickness + 1e-9
    assert interface_suction(layers, CLEAN_GRAVEL, 336.0) == pytest.approx(8.6, abs=0.2)


def test_what_is_assumed_over_gravel_is_what_its_ranges_give():
    # The ranges in the words of OVER_GRAVEL, half of each below its middle, drawn independently.
    rng = np.random.default_rng(3)

    def drawn(low, middle, high):
        share = rng.permutation((np.arange(120) + 0.5) / 120)
        return np.exp(np.interp(share, [0.0, 0.5, 1.0], np.log([low, middle, high])))

    alpha, n = drawn(0.5, 1.116, 2.5), 1.0 + drawn(1.2, 1.7, 3.0)
    k_sat, thickness = drawn(1000.0, 3600.0, 10_000.0), drawn(7.0, 10.0, 15.0)
    left = [
        interface_suction(
            ((MIDDLE_MIX, 30.0),),
            sw.GravelBlanket(sw.VanGenuchten(0.02, 0.36, a, b, k), t),
        )
        for a, b, k, t in zip(alpha, n, k_sat, thickness, strict=True)
    ]
    tenths = np.arange(0.1, 0.95, 0.1)
    assert np.quantile(left, tenths) == pytest.approx(
        np.quantile(OVER_GRAVEL.spread(1000), tenths), abs=0.7
    )
    of_default = interface_suction(((MIDDLE_MIX, 30.0),), CLEAN_GRAVEL)
    assert pytest.approx(of_default, abs=0.1) == OVER_GRAVEL.best


@pytest.mark.parametrize("sand", SANDS)
@pytest.mark.parametrize("depth", [25.0, 60.0])
def test_the_best_suction_serves_every_sand_of_a_green(sand, depth):
    found = interface_suction(((SANDS[sand], depth),), CLEAN_GRAVEL)
    assert found == pytest.approx(OVER_GRAVEL.best, abs=0.35)


def test_suction_in_a_gravel_joins_its_two_ends():
    at_top = interface_suction(((MIDDLE_MIX, 30.0),), CLEAN_GRAVEL)
    within = suction_within(CLEAN_GRAVEL, at_top, np.array([0.0, 2.0, 5.0, 10.0]))
    assert within[0] == 0.0
    # Near the outlet the gravel conducts all: water hangs there as at rest.
    assert within[1] == pytest.approx(2.0, abs=0.01)
    assert within[-1] == pytest.approx(at_top, abs=1e-3)


def test_columns_drain_side_by_side_to_the_last_bit_as_each_does_alone():
    mat = sw.VanGenuchten.texture_class("loam")
    profiles = [
        sw.Profile((sw.Layer(mat, top, "mat"), sw.Layer(sand, 30.0, "sand")), CLEAN_GRAVEL)
        for top, sand in ((2.0, MIDDLE_MIX), (2.0, SANDS["B"]), (3.0, SANDS["D"]))
    ]
    profiles += [sw.Profile.over_gravel(sand, 30.0) for sand in SANDS.values()]
    profiles += [sw.Profile(profiles[0].layers, sw.CapillaryBreak(7.0))]
    columns = [(each, each.mesh()) for each in profiles]
    soils, filling = ManySoils.of([[layer.soil for layer in each.layers] for each in profiles])
    # What a profile is but for its soils: those of the first mats and sands stand for all.
    kinds = [profiles[0], profiles[0], *profiles[2:]]
    meshes = Meshes.of([mesh for _, mesh in columns])
    every = range(len(kinds))
    found = drained_side_by_side(kinds, every, np.array(every), soils, filling, meshes)
    assert sorted(np.concatenate([places for places, _ in found])) == [*range(len(profiles) - 1)]
    for places, head in found:
        alone = [drained_suctions(*columns[i]) for i in places]
        np.testing.assert_array_equal(-head, np.concatenate(alone))


def test_layers_of_equal_and_unlike_thickness_leave_the_same_suctions():
    sands = list(SANDS.values())[:2]
    for depths in ((30.0, 30.0), (30.0, 45.0)):
        columns = [((sand, depth),) for sand, depth in zip(sands, depths, strict=True)]
        alone = [interface_suction(each, CLEAN_GRAVEL, 24.0) for each in columns]
        np.testing.assert_array_equal(interface_suctions(columns, CLEAN_GRAVEL, 24.0), alone)


def test_gravel_lies_in_results_below_the_layers_and_closes_the_balance():
    profile = over(CLEAN_GRAVEL)
    run = sw.simulate(profile, sw.steady_weather(5, "5 mm/day"), turf=TURF, output="6 h")
    assert profile.depth == 30.0
    assert float(run.node_depth[-1]) == profile.bottom == 40.0
    assert set(run.layer.values) == {"root zone", GRAVEL}
    assert np.all((run.layer.values == GRAVEL) == (run.depth.values > 30.0))
    assert float(np.abs(run.closure_error).max()) < 1e-6 * float(run.transpiration[-1])
    # A rod ends above the gravel, and layers alone are summed by layer.
    assert list(run.soilwater.storage_by_layer().layer.values) == ["root zone"]
    with pytest.raises(sw.InputError, match="longer than the profile is deep"):
        sw.meter_reading(run, rod=35.0)


def test_no_root_reaches_into_gravel():
    profile = over(CLEAN_GRAVEL, depth=20.0)
    mesh = profile.mesh()
    share = root_shares(sw.Turf(60.0), mesh, profile.depth)
    assert share.sum() == pytest.approx(1.0)
    assert np.all(share[mesh.depth <= 20.0] > 0.0)
    assert np.all(share[mesh.depth > 20.0] == 0.0)


def test_a_run_goes_on_from_its_end_and_through_text():
    profile = over(CLEAN_GRAVEL)
    assert sw.Profile.from_json(profile.to_json()) == profile
    weather = sw.steady_weather(4, "5 mm/day")
    whole = sw.simulate(profile, weather, turf=TURF, output="24 h")
    first = sw.simulate(
        profile, weather.between("2025-07-01", "2025-07-03"), turf=TURF, output="24 h"
    )
    second = sw.simulate(
        profile, weather.between("2025-07-03", "2025-07-05"), turf=TURF, start=first, output="24 h"
    )
    reading = float(sw.meter_reading(second, rod=ROD)[-1])
    assert reading == pytest.approx(float(sw.meter_reading(whole, rod=ROD)[-1]), abs=2e-4)


def test_a_drained_start_stays_about_where_it_is():
    # Two days after the soaking drainage is slow: half a day more takes a fraction of a point.
    profile = over(CLEAN_GRAVEL)
    state = sw.drained_state(profile)
    assert state.attrs["drained"] == "48 h after a soaking"
    run = sw.simulate(profile, sw.steady_weather(1, 0.0), start="drained", output="12 h")
    readings = 100.0 * sw.meter_reading(run, rod=ROD).values
    assert readings[0] == pytest.approx(100.0 * float(sw.meter_reading(state, rod=ROD)), abs=1e-9)
    assert 0.0 <= readings[0] - readings[1] < 0.3
    soaked = sw.simulate(profile, sw.steady_weather(3, 0.0), output="12 h")
    later = 100.0 * sw.meter_reading(soaked, rod=ROD).values
    assert readings[:3] == pytest.approx(later[4:7], abs=0.05)


def test_drained_says_at_rest_where_drainage_ends():
    state = sw.drained_state(sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0))
    assert state.attrs["drained"] == "at rest"


def test_finer_gravel_keeps_water_that_drying_sand_draws_back():
    def given_back(alpha):
        blanket = sw.GravelBlanket(gravel_of(alpha, 2.2), 10.0)
        weather = sw.steady_weather(14, "5 mm/day")
        run = sw.simulate(over(blanket), weather, turf=TURF, start="drained", output="24 h")
        in_gravel = run.water_content.isel(depth=np.flatnonzero(run.depth.values > 30.0))
        width = np.diff(run.node_depth.values)[run.depth.values > 30.0]
        held = 10.0 * (in_gravel * width).sum("depth").values
        return held[0] - held[-1]

    fine, clean = given_back(0.2), given_back(1.5)
    assert fine > 1.5 * clean > 0.0, (fine, clean)


def test_a_gravel_finer_than_the_sand_above_is_refused_with_a_cure():
    loam = sw.VanGenuchten.texture_class("loam")
    layers = [sw.Layer(MIDDLE_MIX, 30.0, "root zone")]
    with pytest.raises(sw.InputError, match="coarser than what lies on it") as told:
        sw.Profile(layers, sw.GravelBlanket(loam, 10.0))
    cure = str(told.value).split("write it out as a layer: ")[1].rstrip(".")
    names = {"Profile": sw.Profile, "Layer": sw.Layer, "SeepageFace": sw.SeepageFace}
    profile = eval(cure, names | {"layers": layers, "gravel": loam})
    assert profile.depth == 40.0


def test_one_sand_of_many_that_is_coarser_than_the_gravel_is_refused():
    coarse = replace(PUBLISHED, alpha=1.5 * PUBLISHED.alpha)
    green = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
    assert len(with_each_soil(green, [MIDDLE_MIX, SANDS["B"]], None)) == 2
    with pytest.raises(sw.InputError, match="gives up half of its water"):
        with_each_soil(green, [MIDDLE_MIX, coarse], None)
    with pytest.raises(sw.InputError, match="soil is"):
        with_each_soil(green, [MIDDLE_MIX, 0.3], None)


def test_all_faults_of_a_gravel_at_once():
    with pytest.raises(sw.InputError) as told:
        sw.GravelBlanket("pea gravel", -1.0)
    assert "thickness is -1 cm; allowed: above 0 cm" in str(told.value)
    assert "gravel is 'pea gravel'; allowed: a soil" in str(told.value)
    with pytest.raises(sw.InputError, match="both gravel and base_suction are given"):
        sw.Profile.over_gravel(MIDDLE_MIX, 30.0, gravel=CLEAN_GRAVEL, base_suction=3.0)
    with pytest.raises(sw.InputError, match="allowed: a GravelBlanket; write gravel="):
        sw.Profile.over_gravel(MIDDLE_MIX, 30.0, gravel=PEA_GRAVEL)


def test_gravel_is_what_a_root_zone_lies_on_when_nothing_is_said():
    profile = sw.Profile.over_gravel(MIDDLE_MIX, "12 in")
    assert profile.base == CLEAN_GRAVEL
    assert sw.VanGenuchten.measured("matrix-free gravel") == PUBLISHED
    assert "infiltration in the field" in PUBLISHED.source


def test_another_sand_or_depth_keeps_the_gravel():
    profile = over(CLEAN_GRAVEL)
    assert profile.with_thickness("15 in").base == CLEAN_GRAVEL
    assert profile.with_soil(SANDS["D"]).base == CLEAN_GRAVEL
    assert "10.0 cm (3.9 in) of matrix-free gravel" in repr(profile)
    named = replace(CLEAN_GRAVEL, thickness="4 in")
    assert named.thickness == pytest.approx(10.16)
