"""What a fit expects of a sand before it sees a point: the numbers of the sources it names."""

import numpy as np
import pytest

from soilwater.lab.expectations import PARAMETERS

EXPECTED = {model: {each.name: each for each in found} for model, found in PARAMETERS.items()}


@pytest.mark.parametrize("model", EXPECTED)
def test_water_contents_are_those_of_published_sands(model):
    """Carsel & Parrish (1988), sand: 0.045 +/- 0.010 and 0.43 +/- 0.06 (from memory)."""
    residual, saturated = EXPECTED[model]["theta_r"], EXPECTED[model]["theta_s"]
    assert residual.centre == 0.045 and residual.spread == 2.0 * 0.010
    assert abs(saturated.centre - 0.43) < 0.5 * 0.06 and 0.04 < saturated.spread <= 0.06


@pytest.mark.parametrize("model", ["VanGenuchten", "TwoComponent"])
def test_the_steepness_lies_between_two_sands(model):
    """2.68 of Carsel & Parrish (1988; from memory) and 5.2 of a sieved dune sand (2003)."""
    n = EXPECTED[model]["n"]
    ends = np.log([2.68 - 1.0, 5.2 - 1.0])
    assert np.log(n.centre - 1.0) == pytest.approx(ends.mean(), abs=0.05)
    # Both lie within one standard deviation.
    assert 0.5 * np.ptp(ends) < n.spread < 1.5 * 0.5 * np.ptp(ends)


def test_sands_empty_between_10_and_60_cm():
    """Common practice, no source: the middle of these on a logarithmic axis."""
    middle = np.sqrt(10.0 * 60.0)
    assert 1.0 / EXPECTED["VanGenuchten"]["alpha"].centre == pytest.approx(middle, rel=0.05)
    for model, name in (("BrooksCorey", "entry_suction"), ("Kosugi", "median_suction")):
        assert 10.0 < EXPECTED[model][name].centre < 60.0
    for model, name in (
        ("VanGenuchten", "alpha"), ("BrooksCorey", "entry_suction"), ("Kosugi", "median_suction"),
    ):  # fmt: skip
        # Four in five within a factor of about two and a half to either side.
        assert EXPECTED[model][name].spread == pytest.approx(np.log(2.5) / 1.2816, abs=0.05)
