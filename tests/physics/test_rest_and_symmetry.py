"""What must hold exactly: rest stays rest, and nothing depends on how a column is written down."""

import numpy as np
import pytest
from problems.steady import (
    BASES,
    GRAVEL,
    LOAM,
    MOST_MOVED,
    RESTING,
    SAND,
    head_moved,
    month_at_rest,
    stacked,
)
from reference import (
    START,
    head_at,
    hours_after_start,
    observed_order,
    one_soil,
    start_from,
    weather,
)

from soilwater import (
    Event,
    Profile,
    Sealed,
    SeepageFace,
    Turf,
    VanGenuchten,
    WaterTable,
    Weather,
    drained_state,
    simulate,
    steady_weather,
)


@pytest.mark.parametrize("refinement", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("layering", RESTING)
def test_water_at_rest_stays_at_rest(layering, base, refinement):
    run = month_at_rest(layering, base, refinement)
    assert head_moved(run) < MOST_MOVED
    assert float(np.abs(run.drainage).max()) < 1e-7


def test_a_pond_over_saturated_sealed_soil_stays():
    profile = stacked(RESTING["sand over gravel"], Sealed())
    start = start_from(profile, lambda z: z + 0.3)
    run = simulate(profile, weather(720.0), start=start, output=240.0)
    assert head_moved(run) < MOST_MOVED
    assert run.ponding.values == pytest.approx(3.0, abs=1e-9)


STORM = [Event(hours_after_start(6.0), 30.0, rate=60.0)]
TURF = Turf(12.0, fraction_above=(0.9, 10.0))


def test_splitting_a_layer_of_one_soil_changes_nothing():
    whole = stacked([(SAND, 30.0), (GRAVEL, 10.0)], SeepageFace())
    split = stacked([(SAND, 7.3), (SAND, 12.7), (SAND, 10.0), (GRAVEL, 10.0)], SeepageFace())
    runs = [
        simulate(profile, steady_weather(3, 5.0), turf=TURF, irrigation=STORM, output=6.0)
        for profile in (whole, split)
    ]
    assert np.abs(runs[0].water_content - runs[1].water_content).max() < 1e-9
    assert np.abs(runs[0].drainage - runs[1].drainage).max() < 1e-9


@pytest.mark.parametrize("days", [1, 37, 365])
def test_only_the_time_since_the_start_matters(days):
    profile = Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    moved = np.timedelta64(days, "D")
    first = simulate(profile, steady_weather(3, 5.0, first_day=START), turf=TURF, output=6.0)
    later = simulate(
        profile, steady_weather(3, 5.0, first_day=START + moved), turf=TURF, output=6.0
    )
    np.testing.assert_array_equal(later.node_suction, first.node_suction)
    np.testing.assert_array_equal(later.time, first.time + moved)


@pytest.mark.parametrize("tolerance", [3e-3, 1e-3, 1e-4, 3e-5, 1e-5])
def test_idle_days_before_an_event_do_not_change_what_it_does(tolerance):
    # From rest nothing happens before the event, so all that follows comes a day later. Round-off
    # of the clock and of a still base must not decide how a step is made.
    profile = Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    runs = []
    for idle in (24.0, 48.0):
        edges = hours_after_start([0.0, idle, idle + 1.0, idle + 25.0])
        runs.append(
            simulate(
                profile,
                Weather(edges, [0.0, 25.0, 0.0], np.zeros(3)),
                start="drained",
                output=hours_after_start(idle + np.array([0.5, 1.0, 2.0, 6.0, 24.0])),
                tolerance=tolerance,
            )
        )
    change = runs[1].water_content.values - runs[0].water_content.values
    assert np.abs(change).max() < 1e-9


def test_cutting_the_weather_into_pieces_changes_nothing_that_matters():
    profile = Profile.over_gravel(SAND, 30.0, base_suction=3.0)
    whole = steady_weather(3, 5.0)
    pieces = whole.refine(hours_after_start(np.arange(0.7, 72.0, 1.9)))
    runs = [
        simulate(profile, each, turf=TURF, output=12.0, tolerance=1e-4) for each in (whole, pieces)
    ]
    assert np.abs(runs[0].water_content - runs[1].water_content).max() < 1e-4
    np.testing.assert_allclose(
        runs[0].potential_transpiration, runs[1].potential_transpiration, atol=1e-12
    )


def test_units_of_the_input_do_not_matter():
    in_house = simulate(
        Profile.over_gravel(VanGenuchten(0.05, 0.40, 0.05, 3.0, 38.1), 30.48, base_suction=3.0),
        steady_weather(2, 5.08),
        turf=TURF,
        output=12.0,
    )
    in_words = simulate(
        Profile.over_gravel(
            VanGenuchten("5 %", "40 %", "5 1/m", 3.0, "15 in/h"), "1 ft", base_suction=3.0
        ),
        steady_weather(2, "0.2 in/day"),
        turf=TURF,
        output="0.5 day",
    )
    difference = np.abs(in_house.node_suction.values - in_words.node_suction.values)
    assert difference.max() < 1e-8


def flooded_and_drained(soil, *, length=1.0, time=1.0, refinement=1.0):
    """Rain on 30 cm of soil over a water table, then rest; lengths and times stretched."""
    rate = 2.0 * length / time
    edges = hours_after_start(time * np.array([0.0, 2.0, 10.0]))
    return simulate(
        one_soil(soil, 30.0 * length, WaterTable(30.0 * length)),
        Weather(edges, [10.0 * rate * 2.0 * time, 0.0], np.zeros(2)),
        start=40.0 * length,
        output=hours_after_start(time * np.array([0.5, 1.0, 2.0, 4.0, 10.0])),
        refinement=refinement,
        tolerance=1e-4,
    )


def test_similar_media_have_similar_heads():
    # Miller & Miller (1956), J. Appl. Phys. 27:324 (from memory): lengths and heads twice as large
    # at the same conductivity take twice the time. The grading of a mesh depends on lengths
    # in centimetres, so the two meshes are fine rather than similar.
    small = flooded_and_drained(SAND, refinement=8.0)
    wide = VanGenuchten(SAND.theta_r, SAND.theta_s, SAND.alpha / 2.0, SAND.n, SAND.k_sat)
    large = flooded_and_drained(wide, length=2.0, time=2.0, refinement=4.0)
    depths = np.linspace(0.0, 30.0, 13)
    for i in range(small.sizes["time"]):
        difference = head_at(large, 2.0 * depths, i) - 2.0 * head_at(small, depths, i)
        assert np.abs(difference).max() < 0.01
    assert large.drainage.values == pytest.approx(2.0 * small.drainage.values, rel=1e-3)


def test_twice_the_conductivity_is_half_the_time():
    slow = flooded_and_drained(SAND)
    twice = VanGenuchten(SAND.theta_r, SAND.theta_s, SAND.alpha, SAND.n, 2.0 * SAND.k_sat)
    fast = flooded_and_drained(twice, time=0.5)
    assert np.abs(fast.water_content.values - slow.water_content.values).max() < 1e-4
    assert fast.drainage.values == pytest.approx(slow.drainage.values, abs=0.01)


def test_water_that_never_moves_changes_nothing():
    # Only the water above the dry end enters: a shift of both ends of the curve shifts the water
    # content and leaves all else, bit for bit but for the rounding of their difference.
    run = flooded_and_drained(SAND)
    shifted = flooded_and_drained(
        VanGenuchten(SAND.theta_r + 0.03, SAND.theta_s + 0.03, SAND.alpha, SAND.n, SAND.k_sat)
    )
    assert np.abs(shifted.node_suction - run.node_suction).max() < 1e-8
    assert np.abs(shifted.water_content - run.water_content - 0.03).max() < 1e-10
    assert np.abs(shifted.drainage - run.drainage).max() < 1e-8


@pytest.mark.parametrize("factor", [2, 3])
def test_a_finer_mesh_holds_the_nodes_that_matter(factor):
    # Meshes are graded, not halved, so inner nodes move; surface, interfaces and base never do.
    profile = stacked([(LOAM, 5.0), (SAND, 25.0), (GRAVEL, 10.0)], SeepageFace())
    coarse, fine = profile.mesh(), profile.mesh(factor)
    for mesh in (coarse, fine):
        assert set(mesh.depth) >= {0.0, 5.0, 30.0, 40.0}
        # No interval straddles an interface.
        middle = 0.5 * (mesh.depth[1:] + mesh.depth[:-1])
        np.testing.assert_array_equal(mesh.soil, np.searchsorted([5.0, 30.0], middle))
    # Rounding to whole intervals stretches the steps of a layer by a few per cent at most.
    assert np.diff(fine.depth).max() <= 1.05 * np.diff(coarse.depth).max() / factor
    # At rest a finer mesh has nothing to add: both heads lie on one straight line.
    heads = [
        head_at(simulate(profile, weather(1.0), start="drained", output=1.0, refinement=r), [17.3])
        for r in (1.0, factor)
    ]
    assert heads[0] == pytest.approx(heads[1], abs=1e-9)


def test_a_finer_mesh_of_the_same_layers_converges_to_one_answer():
    # A front has just passed loam and sand and leaves the gravel: drainage times its arrival.
    profile = stacked([(LOAM, 5.0), (SAND, 25.0), (GRAVEL, 10.0)], SeepageFace())
    interfaces = np.array([5.0, 30.0])
    runs = [
        simulate(
            profile,
            weather(24.0, rain=0.3),
            start=60.0,
            output=24.0,
            tolerance=1e-6,
            refinement=refinement,
        )
        for refinement in (0.5, 1.0, 2.0, 4.0)
    ]
    drainage = np.array([float(run.drainage[-1]) for run in runs])
    changes = np.abs(np.diff(drainage))
    assert observed_order(changes).min() >= 1.7
    heads = np.array([head_at(run, interfaces) for run in runs])
    assert np.abs(heads[1] - heads[3]).max() < 1e-3


@pytest.mark.parametrize("entry_suction", [0.0, 3.0, 9.0])
@pytest.mark.parametrize("soil", [SAND, LOAM], ids=["sand", "loam"])
def test_drained_state_is_where_sixty_days_of_drainage_lead(soil, entry_suction):
    profile = Profile.over_gravel(soil, 30.0, base_suction=entry_suction)
    run = simulate(profile, weather(60 * 24.0), start="soaked", output=60 * 24.0)
    upper = run.depth <= 15.0
    rest = drained_state(profile)
    difference = (run.water_content[-1] - rest.water_content).where(upper, drop=True)
    assert np.abs(difference).max() < 0.001
