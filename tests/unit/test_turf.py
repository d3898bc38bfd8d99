"""Turf: roots, demand, stress."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from soilwater.ground.stress import RoundedStress, SShapedStress
from soilwater.ground.turf import COOL_SEASON_CALIFORNIA, WARM_SEASON_CALIFORNIA, Turf
from soilwater.kernels import uptake
from soilwater.weather.made import steady_weather
from soilwater.words.errors import InputError

# Stress points, from memory: Wesseling (1991) and Feddes-type tables for pasture, Taylor & Ashcroft
# (1972) for turf grass; suctions in cm: oxygen limit, best from, dry limit at 5 and at 1 mm/day, no
# uptake.
STRESS_POINTS = {"turf grass": (10, 25, 240, 360, 8000)}

# Meyer et al. (1985), California, read in a table: January to December, cool and warm season.
MEYER_COOL = (0.61, 0.64, 0.75, 1.04, 0.95, 0.88, 0.94, 0.86, 0.74, 0.75, 0.69, 0.60)
MEYER_WARM = (0.61, 0.54, 0.76, 0.72, 0.79, 0.68, 0.71, 0.71, 0.62, 0.54, 0.58, 0.55)

EVERY_ROOTS = [
    Turf(15.0),
    Turf("6 in", fraction_above=(0.9, "4 in")),
    Turf(15.0, roots="uniform"),
    Turf(20.0, roots=((5.0, 0.6), (10.0, 0.3), (20.0, 0.1))),
]


# --- roots ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("turf", EVERY_ROOTS)
def test_roots_add_up_to_one_over_any_slices(turf):
    rng = np.random.default_rng(1)
    edges = np.sort(np.concatenate([[0.0, 60.0], rng.uniform(0.0, 30.0, 40)]))
    share = turf.root_fraction(edges[:-1], edges[1:])
    assert share.sum() == pytest.approx(1.0, rel=1e-13)
    assert (share >= 0.0).all()


@pytest.mark.parametrize("share", [0.67, 0.9, 0.99, 0.9999])
def test_exponential_roots_have_the_stated_share_and_a_constant_decay(share):
    turf = Turf(15.0, fraction_above=(share, 10.0))
    assert float(turf.root_fraction(0.0, 10.0)) == pytest.approx(share, rel=1e-12)
    slices = turf.root_fraction(np.arange(0.0, 15.0), np.arange(1.0, 16.0))
    np.testing.assert_allclose(slices[1:] / slices[:-1], slices[1] / slices[0], rtol=1e-9)


def test_roots_by_slices_are_even_inside_a_slice():
    turf = Turf(20.0, roots=((5.0, 0.6), (10.0, 0.3), (20.0, 0.1)))
    np.testing.assert_allclose(
        turf.root_fraction([0.0, 2.5, 5.0, 10.0], [2.5, 5.0, 10.0, 20.0]), [0.3, 0.3, 0.3, 0.1]
    )


def test_roots_that_grow():
    turf = Turf(
        "15 cm",
        fraction_above=(0.9, "10 cm"),
        root_depth_by_date=(("2025-04-01", "8 cm"), ("2025-06-01", "16 cm")),
    )
    assert turf.on("2025-03-01").root_depth == 8.0
    assert turf.on("2025-07-01").root_depth == 16.0
    may = turf.on("2025-05-01T12:00")
    assert may.root_depth == pytest.approx(12.0)
    assert float(may.root_fraction(0.0, 8.0)) == pytest.approx(0.9)
    assert may.root_depth_by_date == ()
    still = Turf(15.0)
    assert still.on("2025-05-01") is still


# --- demand --------------------------------------------------------------------------------------


def test_demand_is_split_by_cover():
    sky = steady_weather(2, 5.0)
    transpiration, evaporation = Turf(15.0, crop_coefficient=0.8, cover=0.75).demand(sky)
    assert transpiration.sum() == pytest.approx(2 * 5.0 * 0.8 * 0.75)
    assert evaporation.sum() == pytest.approx(2 * 5.0 * 0.8 * 0.25)
    np.testing.assert_array_equal(transpiration > 0, sky.daylight)


def test_monthly_coefficients_follow_the_month():
    turf = Turf.cool_season_california()
    for month, expected in enumerate(MEYER_COOL, start=1):
        day = steady_weather(1, 1.0, first_day=f"2025-{month:02d}-28")
        assert turf.demand(day)[0].sum() == pytest.approx(expected)


def test_published_monthly_tables():
    assert COOL_SEASON_CALIFORNIA == MEYER_COOL
    assert WARM_SEASON_CALIFORNIA == MEYER_WARM
    # Annual values printed with the table: 0.8 and 0.6. The warm months average 0.65, which rounds
    # up: the printed one was weighted or cut off, so only its neighbourhood is checked.
    assert np.mean(MEYER_COOL) == pytest.approx(0.8, abs=0.05)
    assert np.mean(MEYER_WARM) == pytest.approx(0.6, abs=0.06)


@pytest.mark.parametrize(
    "preset",
    [
        Turf.creeping_bentgrass,
        Turf.bermudagrass,
        Turf.cool_season_california,
        Turf.warm_season_california,
    ],
)
def test_presets_name_their_source_and_what_has_none(preset):
    turf = preset()
    assert "(" in turf.source or "et al." in turf.source
    assert "common practice, no source" in turf.source
    assert turf.source in repr(turf)


def test_numbers_of_presets_are_those_of_their_sources():
    # Aamlid et al. (2016), doi 10.1111/jac.12130, and Brown et al., both read in the abstract.
    assert Turf.creeping_bentgrass().crop_coefficient == 0.81
    assert Turf.bermudagrass().crop_coefficient == 0.80
    # Exponent: van Genuchten (1987). Half uptake: within the 240-360 cm of Taylor & Ashcroft
    # (1972). Both from memory.
    assert SShapedStress() == SShapedStress(250.0, 3.0)


def test_nine_tenths_of_the_roots_lie_in_the_upper_two_thirds_when_nothing_is_stated():
    """Common practice, no source."""
    assert Turf(15.0).root_fraction(0.0, 10.0) == pytest.approx(0.9)


# --- stress --------------------------------------------------------------------------------------

STRESSES = [
    SShapedStress(),
    SShapedStress("25 kPa", 5.0),
    RoundedStress.turf(),
    RoundedStress(0.0, 20.0, 300.0, 3000.0, rounding=0.5),
]


@pytest.mark.parametrize("stress", STRESSES)
def test_stress_equals_what_the_solver_uses(stress):
    for suction in np.concatenate([[-5.0, 0.0], np.geomspace(0.1, 2e4, 400)]):
        value, _ = uptake.reduction.py_func(stress.kernel_code, *stress.kernel_parameters, suction)
        assert float(stress.reduction(suction)) == pytest.approx(value, abs=1e-13)


@pytest.mark.parametrize("stress", STRESSES)
def test_stress_passes_labelled_arrays_and_stays_between_0_and_1(stress):
    suction = xr.DataArray(np.geomspace(1e-2, 1e5, 200), dims="depth")
    values = stress.reduction(suction)
    assert isinstance(values, xr.DataArray)
    assert float(values.min()) >= 0.0 and float(values.max()) <= 1.0


def test_s_shape_at_its_half_and_far_out():
    stress = SShapedStress(250.0, 3.0)
    assert float(stress.reduction(250.0)) == 0.5
    assert float(stress.reduction(0.0)) == 1.0
    assert float(stress.reduction(500.0)) == pytest.approx(1.0 / 9.0)


def test_points_of_turf_lie_where_their_sources_say():
    turf = RoundedStress.turf()
    *_, dry_high, dry_low, _ = STRESS_POINTS["turf grass"]
    assert dry_high <= turf.dry_limit <= dry_low
    # 1.5 MPa, the usual wilting point (Richards & Weaver 1943, from memory), in cm of water.
    assert turf.no_uptake == pytest.approx(1.5e6 / (1000.0 * 9.80665) * 100.0, rel=1e-3)
    # Away from the rounded corners the ramps are straight: half-way is one half.
    assert float(turf.reduction(17.5)) == pytest.approx(0.5, abs=0.02)
    assert float(turf.reduction((turf.dry_limit + turf.no_uptake) / 2.0)) == pytest.approx(0.5)


# --- air -----------------------------------------------------------------------------------------


def test_air_is_weighted_by_roots():
    turf = Turf(20.0, roots=((10.0, 0.75), (20.0, 0.25)))
    bounds = np.array([[0.0, 10.0], [10.0, 20.0], [20.0, 30.0]])
    air = turf.air_filled_porosity([[0.20, 0.30, 0.39], [0.40, 0.40, 0.40]], [0.4] * 3, bounds)
    np.testing.assert_allclose(air, [0.75 * 0.2 + 0.25 * 0.1, 0.0], atol=1e-15)
    with pytest.raises(InputError, match=r"the cells hold 0.75 of the roots"):
        turf.air_filled_porosity([0.2], [0.4], bounds[:1])


# --- faults --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ({"root_depth": 0.0}, "root_depth is 0 cm"),
        ({"roots": "deep"}, "roots is 'deep'"),
        ({"fraction_above": (0.5, 10.0)}, "would not thin out with depth"),
        ({"fraction_above": (0.9, 20.0)}, "allowed: a depth between 0 and root_depth"),
        ({"roots": "uniform", "fraction_above": (0.9, 10.0)}, "belongs to roots=.exponential."),
        ({"roots": ((10.0, 0.5), (15.0, 0.4))}, "the shares of roots add up to 0.9"),
        ({"roots": ((10.0, 0.5), (12.0, 0.5))}, "ends at 12 cm, root_depth is 15 cm"),
        ({"cover": 1.2}, "cover is 1.2"),
        ({"crop_coefficient": (0.8, 0.9)}, "crop_coefficient has 2 values"),
        ({"interception": "-1 mm"}, "interception is -1 mm"),
        ({"compensation": 0.0}, "compensation is 0"),
        ({"stress": 250.0}, "stress is 250.0"),
        ({"root_depth_by_date": (("2025-06-01", 10), ("2025-05-01", 12))}, "dates do not increase"),
    ],
)
def test_faults_of_turf(arguments, sentence):
    with pytest.raises(InputError, match=sentence):
        Turf(**{"root_depth": 15.0, **arguments})


def test_every_fault_of_turf_at_once():
    with pytest.raises(InputError) as caught:
        Turf("15", cover=2.0, interception=-1.0, compensation=0.0)
    assert len(caught.value.faults) == 4


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((25.0, 10.0, 240.0, 8000.0), "oxygen_limit=25 cm is not below best_from=10 cm"),
        ((10.0, 25.0, 240.0, 200.0), "dry_limit=240 cm is not below no_uptake=200 cm"),
        ((10.0, 25.0, 240.0, 8000.0, 0.7), "rounding is 0.7"),
    ],
)
def test_faults_of_stress(arguments, sentence):
    with pytest.raises(InputError, match=sentence):
        RoundedStress(*arguments)
    with pytest.raises(InputError, match="half_suction is -1 cm"):
        SShapedStress(-1.0)
