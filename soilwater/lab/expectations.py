"""What is expected of the parameters of a sand before any of its points is seen.

Four points between 10 and 40 cm cannot show the water left at the dry end, nor, in a coarse sand,
the saturated water content. There a fit needs to be told what sands usually have. It is told so
weakly that good points overrule it, and it always says so.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

SAMPLE_SIZE = 400
"""Number of parameter sets that a fit carries on."""


class Parameter(NamedTuple):
    """What the fit knows about one parameter of a soil model before it sees a point.

    ``scale`` is the axis on which it is searched and on which the expectation is a normal
    distribution: ``"linear"``, ``"log"``, or ``"log above 1"`` (the logarithm of value - 1).
    ``lower`` and ``upper`` are hard bounds, ``centre`` the expected value in the parameter's own
    unit, and ``spread`` its standard deviation on the axis.
    """

    name: str
    scale: str
    lower: float
    upper: float
    centre: float
    spread: float
    source: str


_RESIDUAL = Parameter(
    "theta_r",
    "linear",
    0.0,
    0.20,
    0.045,
    0.02,
    "sand of Carsel & Parrish (1988), 0.045, its spread of 0.010 doubled; from memory",
)
_SATURATED = Parameter(
    "theta_s",
    "linear",
    0.25,
    0.75,
    0.41,
    0.05,
    "sand of Carsel & Parrish (1988), 0.43 +/- 0.06, and packed root-zone sands; from memory",
)
_STEEPNESS = Parameter(
    "n",
    "log above 1",
    1.05,
    12.0,
    3.6,
    0.55,
    "between the sand of Carsel & Parrish (1988), 2.68 (from memory), and sieved dune sand, 5.2 "
    "(Soil Sci. Soc. Am. J. 67:703, 2003)",
)
_ENTRY_SOURCE = "most root-zone sands empty between 10 and 60 cm of suction; common practice"

PARAMETERS: dict[str, tuple[Parameter, ...]] = {
    "VanGenuchten": (
        _RESIDUAL,
        _SATURATED,
        Parameter("alpha", "log", 1e-3, 2.0, 0.04, 0.7, _ENTRY_SOURCE),
        _STEEPNESS,
    ),
    "BrooksCorey": (
        _RESIDUAL,
        _SATURATED,
        Parameter("entry_suction", "log", 0.5, 500.0, 18.0, 0.7, _ENTRY_SOURCE),
        Parameter(
            "pore_size_index",
            "log",
            0.05,
            11.0,
            2.0,
            0.6,
            "far out the curve falls like that of van Genuchten with n = index + 1; see there",
        ),
    ),
    "Kosugi": (
        _RESIDUAL,
        _SATURATED,
        Parameter("median_suction", "log", 1.0, 1000.0, 30.0, 0.7, _ENTRY_SOURCE),
        Parameter(
            "spread",
            "log",
            0.08,
            3.0,
            0.55,
            0.5,
            "as wide as the curve of van Genuchten with n between 2.5 and 5; common practice",
        ),
    ),
    "TwoComponent": (
        _RESIDUAL,
        _SATURATED,
        Parameter("alpha", "log", 1e-3, 2.0, 0.05, 0.7, _ENTRY_SOURCE),
        _STEEPNESS,
        Parameter(
            "second_share",
            "linear",
            0.02,
            0.9,
            0.3,
            0.2,
            "the finer pores of a mat or an amendment are the smaller part; common practice",
        ),
        Parameter(
            "second_alpha",
            "log",
            1e-4,
            0.5,
            0.006,
            1.0,
            "the finer pores empty between 50 and 500 cm; common practice",
        ),
        Parameter(
            "second_n",
            "log above 1",
            1.05,
            8.0,
            1.9,
            0.6,
            "loams to sands of Carsel & Parrish (1988), 1.6 to 2.7; from memory",
        ),
    ),
}
"""Per model class: its fitted parameters with bounds and expectations, written for sands."""


def to_axis(value: Any, scale: str) -> Any:
    """Put a parameter on its search axis.

    Parameters
    ----------
    value : float or ndarray
        In the parameter's own unit.
    scale : str
        As in `Parameter`.

    Returns
    -------
    float or ndarray
    """
    if scale == "log":
        return np.log(value)
    return np.log(value - 1.0) if scale == "log above 1" else value


def from_axis(value: Any, scale: str) -> Any:
    """Take a parameter back from its search axis.

    Parameters
    ----------
    value : float or ndarray
        On the axis.
    scale : str
        As in `Parameter`.

    Returns
    -------
    float or ndarray
        In the parameter's own unit.
    """
    if scale == "log":
        return np.exp(value)
    return 1.0 + np.exp(value) if scale == "log above 1" else value
