"""Drained statics of one soil and of many at once, against quadrature of the curve."""

import numpy as np
import pytest
from scipy.integrate import quad

from soilwater.soils import BrooksCorey, VanGenuchten
from soilwater.soils.at_rest import RestCurves, rest_curve

MIX = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
KINKED = BrooksCorey(0.04, 0.40, 18.0, 1.8, 30.0)
BOUND = 2e-6
"""Error of a mean by the table, whose spacing is 0.05 cm [1]: it is the trapezoidal rule, and its
error largest at the air entry of a kinked curve."""


@pytest.mark.parametrize("soil", [MIX, KINKED])
@pytest.mark.parametrize("depth", [9.0, 30.0, 46.0, 90.0])
@pytest.mark.parametrize("rod", [3.8, 7.6, 20.0])
def test_a_reading_is_the_mean_of_the_curve_over_the_rod(soil, depth, rod):
    surface = depth + 3.0
    total, _ = quad(
        lambda z: float(soil.water_content(max(surface - z, 0.0))),
        0.0,
        rod,
        points=[surface - 18.0] if 0.0 < surface - 18.0 < rod else None,
        epsabs=1e-10,
    )
    alone = float(rest_curve(soil).reading(depth, rod, 3.0))
    among = RestCurves([MIX, soil]).reading(np.array([1]), np.array([surface]), rod)[0]
    assert alone == pytest.approx(total / rod, abs=BOUND)
    assert among == pytest.approx(total / rod, abs=BOUND)


def test_many_soils_read_what_each_reads_alone():
    """Also in standing water, past the fine part of the table (300 cm), and at its points."""
    rng = np.random.default_rng(0)
    soils = [MIX, KINKED, VanGenuchten(0.03, 0.38, 0.06, 4.5, 60.0)]
    which = rng.integers(0, 3, 400)
    surface = np.concatenate([rng.uniform(-20.0, 320.0, 380), [0.0, 299.95, 300.0, 1e4] * 5])
    found = RestCurves(soils).reading(which, surface, 7.6)
    alone = [
        float(rest_curve(soils[i]).mean(s - 7.6, s)) for i, s in zip(which, surface, strict=True)
    ]
    assert found == pytest.approx(np.array(alone), abs=1e-9)


@pytest.mark.parametrize("soil", [MIX, KINKED])
def test_below_a_water_table_a_soil_is_saturated(soil):
    found = RestCurves([soil]).reading(np.array([0]), np.array([-2.0]), 7.6)[0]
    assert found == pytest.approx(soil.theta_s, abs=1e-12)


def test_suctions_of_many_soils_are_those_of_each():
    """Also wetter than saturation and drier than a table goes; and of curves that are no soils."""
    soils = [MIX, KINKED, VanGenuchten(0.03, 0.38, 0.06, 4.5, 60.0)]
    many = RestCurves(soils)
    for reading in (0.10, 0.25, 0.36, 0.39, 0.5, 0.01):
        alone = [rest_curve(soil).surface_suction(reading, 7.6) for soil in soils]
        assert many.surface_suctions(reading, 7.6) == pytest.approx(np.array(alone), abs=1e-8)
    suction = np.arange(0.0, 120.0, 0.25)
    coarse = RestCurves.from_water(
        suction, suction.size, np.array([soil.water_content(suction) for soil in soils])
    )
    each = np.array([0.15, 0.2, 0.1])
    found = coarse.surface_suctions(each, 7.6)
    assert found == pytest.approx(many.surface_suctions(each, 7.6), abs=0.01)
    assert coarse.surface_suctions(0.05, 7.6)[0] == np.inf
    # Of thousands of curves no more is kept than is asked for.
    assert coarse.saturated.base is None
