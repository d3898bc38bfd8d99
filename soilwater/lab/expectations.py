"""What is expected of the parameters of a sand before any of its points is seen.

Four points between 10 and 40 cm cannot show the water left at the dry end, nor, in a coarse sand,
the saturated water content. There a fit needs to be told what sands usually have. It is told so
weakly that good points overrule it, and it always says so.

The numbers come from sands and loamy sands of 12-28 % by volume at 30 cm of suction, as measured by
many and collected by Leij et al. 1996 (EPA/600/R-96/095) and Nemes et al. 2001 (J. Hydrol.
251:151): mean (of steepness: median) and spread over their whole curves, every place counting
once. Where the points speak for themselves (the suction at which pores empty), or a root zone
differs from a field (it is packed looser and has fewer fines), the spread is widened, so that a
sand unlike these is not pulled towards them. The finer of two kinds of pores, of which most curves
tell next to nothing, are expected as closely as foretells the points of other places best.
``tests/physics/measured_sands.py`` makes them.
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


_MEASURED = "measured sands of 19 places (Leij et al. 1996, Nemes et al. 2001)"


def _linear(name: str, lower: float, upper: float, centre: float, spread: float) -> Parameter:
    return Parameter(name, "linear", lower, upper, centre, spread, _MEASURED)


def _log(name: str, lower: float, upper: float, centre: float, spread: float) -> Parameter:
    return Parameter(name, "log", lower, upper, centre, spread, _MEASURED)


def _above_one(name: str, upper: float, centre: float, spread: float) -> Parameter:
    return Parameter(name, "log above 1", 1.05, upper, centre, spread, _MEASURED)


PARAMETERS: dict[str, tuple[Parameter, ...]] = {
    "VanGenuchten": (
        _linear("theta_r", 0.0, 0.2, 0.0607, 0.035),
        _linear("theta_s", 0.25, 0.75, 0.332, 0.06),
        _log("alpha", 1e-3, 2, 0.0424, 1.5),
        _above_one("n", 12.0, 2.96, 0.83),
    ),
    "BrooksCorey": (
        _linear("theta_r", 0.0, 0.2, 0.0481, 0.035),
        _linear("theta_s", 0.25, 0.75, 0.323, 0.06),
        _log("entry_suction", 0.5, 500, 16.3, 1.5),
        _log("pore_size_index", 0.05, 11, 1.31, 0.77),
    ),
    "Kosugi": (
        _linear("theta_r", 0.0, 0.2, 0.069, 0.035),
        _linear("theta_s", 0.25, 0.75, 0.333, 0.06),
        _log("median_suction", 1, 1000, 34.5, 1.5),
        _log("spread", 0.08, 3, 0.653, 0.47),
    ),
    "TwoComponent": (
        _linear("theta_r", 0.0, 0.2, 0.0398, 0.035),
        _linear("theta_s", 0.25, 0.75, 0.333, 0.06),
        _log("alpha", 1e-3, 2, 0.0437, 1.5),
        _above_one("n", 12.0, 3.75, 0.49),
        _linear("second_share", 0.02, 0.9, 0.267, 0.117),
        _log("second_alpha", 1e-4, 0.5, 0.0116, 0.63),
        _above_one("second_n", 8.0, 2.01, 0.515),
    ),
}
"""Per model class: its fitted parameters with bounds and expectations, written for sands."""

SHARES = {"VanGenuchten": 0.31, "BrooksCorey": 0.1, "Kosugi": 0.29, "TwoComponent": 0.3}
"""Per model class: the share of sands whose curve is of its family [1], from the evidence of the
same sands' curves up to 110 cm of suction, every place counting once. Few sands hold all their
water up to a suction at which air enters at once."""


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
