"""What holds for every soil a person could have, whatever its parameters."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soilwater.soils import (
    OVEN_DRY_SUCTION,
    BrooksCorey,
    Kosugi,
    TwoComponent,
    VanGenuchten,
    WithDryEnd,
    soil_from_dict,
)
from soilwater.words.errors import InputError

# From clay to clean gravel; k_sat from a sealed clay to pea gravel.
theta_r = st.floats(0.0, 0.15)
theta_s = st.floats(0.2, 0.9)
alpha = st.floats(0.001, 2.0)
n = st.floats(1.05, 12.0)
k_sat = st.floats(1e-3, 5000.0)
tortuosity = st.floats(-1.5, 3.0)
shared = {"k_sat": k_sat, "tortuosity": tortuosity}

capillary_soils = st.one_of(
    st.builds(VanGenuchten, theta_r, theta_s, alpha, n, **shared),
    st.builds(
        BrooksCorey, theta_r, theta_s, st.floats(0.5, 500.0), st.floats(0.05, 11.0), **shared
    ),
    st.builds(Kosugi, theta_r, theta_s, st.floats(0.5, 2000.0), st.floats(0.1, 4.0), **shared),
    st.builds(TwoComponent, theta_r, theta_s, alpha, n, st.floats(0.01, 0.99), alpha, n, **shared),
)
soils = st.one_of(
    capillary_soils, st.builds(WithDryEnd, capillary_soils, st.floats(0.0, 0.1))
)  # fmt: skip
suctions = np.concatenate(([0.0], np.logspace(-3, 7, 400)))


@given(soils)
def test_water_and_conductivity_fall_with_suction_and_stay_in_bounds(soil):
    water = soil.water_content(suctions)
    assert water[0] == soil.theta_s
    assert (np.diff(water) <= 2e-16).all()
    assert water.min() >= soil.dry_end_water_content
    saturation = soil.effective_saturation(suctions)
    assert saturation.max() == 1.0
    assert saturation.min() >= 0.0
    conductivity = soil.conductivity(suctions)
    assert conductivity[0] == soil.k_sat
    assert conductivity.min() >= 0.0
    assert (np.diff(conductivity) <= 1e-12 * conductivity[:-1]).all()


@given(soils)
def test_saturation_and_water_content_tell_the_same(soil):
    low, high = soil.dry_end_water_content, soil.theta_s
    expected = low + (high - low) * soil.effective_saturation(suctions)
    np.testing.assert_allclose(soil.water_content(suctions), expected, rtol=0, atol=1e-15)


@given(soils)
def test_the_integral_of_capacity_is_the_water_released(soil):
    # Eight-point Gauss between neighbouring suctions 0.5 % apart; none of them at a kink.
    nodes, weights = np.polynomial.legendre.leggauss(8)
    lower = np.logspace(-2, 6.75, 60)
    upper = 1.005 * lower
    if isinstance(soil, BrooksCorey) or isinstance(getattr(soil, "soil", None), BrooksCorey):
        kink = soil.suction_scale
        keep = (upper < kink) | (lower > kink)
        lower, upper = lower[keep], upper[keep]
    at = 0.5 * (lower + upper)[:, None] + 0.5 * (upper - lower)[:, None] * nodes
    released = 0.5 * (upper - lower) * (soil.capacity(at) @ weights)
    expected = soil.water_content(lower) - soil.water_content(upper)
    np.testing.assert_allclose(released, expected, rtol=1e-8, atol=5e-16)


@given(soils, st.floats(0.0, 1.0))
def test_inverse_round_trip(soil, share):
    low, high = soil.dry_end_water_content, soil.theta_s
    wanted = low + share * (high - low)
    suction = soil.suction_at(wanted)
    assert suction >= 0.0
    if np.isfinite(suction):
        assert soil.water_content(suction) == pytest.approx(wanted, abs=1e-13)
    else:
        assert share < 1e-6


@given(capillary_soils, st.floats(0.0, 0.1))
def test_the_dry_end_ends_at_oven_dryness_and_adds_nothing_when_wet(soil, film_share):
    dry = WithDryEnd(soil, film_share)
    assert dry.water_content(OVEN_DRY_SUCTION) == 0.0
    assert dry.suction_at(0.0) == OVEN_DRY_SUCTION
    assert dry.water_content(0.0) == soil.theta_s
    # Films never hold more than the residual water that they replace, nor pores than before.
    assert (dry.water_content(suctions) <= soil.water_content(suctions) + 1e-15).all()


@given(soils)
def test_dictionary_round_trip(soil):
    assert soil_from_dict(soil.to_dict()) == soil


@given(soils, st.data())
@settings(max_examples=50)
def test_a_missing_parameter_is_named(soil, data):
    given_values = soil.to_dict()
    numbers = [name for name, value in given_values.items() if isinstance(value, float)]
    name = data.draw(st.sampled_from(numbers))
    with pytest.raises(InputError, match=name):
        soil_from_dict(given_values | {name: float("nan")})
