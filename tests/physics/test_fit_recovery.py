"""Points generated from published parameter sets give their curve back."""

import numpy as np
import pytest

from soilwater.lab.retention import RetentionTable
from soilwater.soils import BrooksCorey, Kosugi, TwoComponent, VanGenuchten

# Carsel & Parrish 1988, Water Resour. Res. 24:755, class means (from memory).
CLASSES = {
    "sand": (0.045, 0.43, 0.145, 2.68),
    "loamy sand": (0.057, 0.41, 0.124, 2.28),
    "sandy loam": (0.065, 0.41, 0.075, 1.89),
    "loam": (0.078, 0.43, 0.036, 1.56),
    "silt": (0.034, 0.46, 0.016, 1.37),
    "silt loam": (0.067, 0.45, 0.020, 1.41),
    "sandy clay loam": (0.100, 0.39, 0.059, 1.48),
    "clay loam": (0.095, 0.41, 0.019, 1.31),
    "silty clay loam": (0.089, 0.43, 0.010, 1.23),
    "sandy clay": (0.100, 0.38, 0.027, 1.23),
    "silty clay": (0.070, 0.36, 0.005, 1.09),
    "clay": (0.068, 0.38, 0.008, 1.09),
}
SANDS = {
    # Soil Sci. Soc. Am. J. 67:703 (2003), Fig. 1 (read in the caption).
    "Tottori dune sand": (0.05, 0.35, 0.05, 5.2),
    # J. Water Resour. Prot. 2015, lithofacies of the Lyon basin (read in the table).
    "glaciofluvial sand": (0.013, 0.337, 0.205, 2.92),
    # Miller et al. 1998, Adv. Water Resour. 21:599 (from memory).
    "dune sand": (0.093, 0.301, 0.0547, 4.264),
    # Celia et al. 1990, Water Resour. Res. 26:1483 (from memory).
    "New Mexico soil": (0.102, 0.368, 0.0335, 2.0),
    # Vanderborght et al. 2005, Vadose Zone J. 4:206 (from memory).
    "benchmark sand": (0.045, 0.43, 0.15, 3.0),
}
LONG = np.array([1.0, 3, 10, 30, 100, 300, 1000, 3000, 15000])
USUAL = np.array([10.0, 20.0, 30.0, 40.0])


def curve(parameters, suction):
    """Van Genuchten 1980, Eq. 3, written out for the test."""
    theta_r, theta_s, alpha, n = parameters
    return theta_r + (theta_s - theta_r) * (1 + (alpha * suction) ** n) ** (1 / n - 1)


@pytest.mark.parametrize("name", CLASSES)
def test_long_curves_of_every_texture_class(name):
    lab = RetentionTable(LONG, curve(CLASSES[name], LONG), k_sat=1.0, lab_error=1e-3)
    fit = lab.fit(VanGenuchten, priors=False)
    inside = np.geomspace(LONG[0], LONG[-1], 100)
    assert np.max(np.abs(fit.soil.water_content(inside) - curve(CLASSES[name], inside))) < 2e-3
    assert fit.at_bound == ()


@pytest.mark.parametrize("name", SANDS)
def test_four_usual_points_of_published_sands(name):
    """Exact points, and expectations left on: the curve holds everywhere the points reach."""
    lab = RetentionTable(USUAL, curve(SANDS[name], USUAL), k_sat=10.0, lab_error=1e-3)
    fit = lab.fit(VanGenuchten)
    inside = np.linspace(USUAL[0], USUAL[-1], 100)
    assert np.max(np.abs(fit.soil.water_content(inside) - curve(SANDS[name], inside))) < 2e-3


@pytest.mark.parametrize(
    "parameters", [(0.05, 0.40, 0.047, 3.0), (0.05, 0.42, 0.039, 3.0), (0.025, 0.37, 0.041, 4.5)]
)
def test_expectations_pull_less_than_half_a_lab_error(parameters):
    """In-spec root-zone sands (invented), at the default lab error of 1 %."""
    fit = RetentionTable(USUAL, curve(parameters, USUAL), k_sat=40.0).fit(VanGenuchten)
    inside = np.linspace(USUAL[0], USUAL[-1], 100)
    assert np.max(np.abs(fit.soil.water_content(inside) - curve(parameters, inside))) < 5e-3


@pytest.mark.parametrize(
    "truth",
    [
        BrooksCorey(0.03, 0.40, 18.0, 2.5, 40.0),
        Kosugi(0.04, 0.41, 30.0, 0.5, 40.0),
        TwoComponent(0.05, 0.45, 0.06, 3.5, 0.35, 0.006, 1.9, 20.0),
    ],
)
def test_every_model_gives_its_own_curve_back(truth):
    suction = np.array([2.0, 5, 10, 15, 20, 30, 40, 60, 100, 300, 1000, 5000])
    lab = RetentionTable(suction, truth.water_content(suction), k_sat=40.0, lab_error=1e-3)
    fit = lab.fit(type(truth), priors=False)
    inside = np.geomspace(2.0, 5000.0, 100)
    assert np.max(np.abs(fit.soil.water_content(inside) - truth.water_content(inside))) < 2e-3
