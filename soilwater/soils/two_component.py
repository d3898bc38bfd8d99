"""Two van Genuchten pore systems in one soil, after Durner."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from soilwater.soils import van_genuchten
from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.elementary import bisect, log_of, scale_for_table
from soilwater.soils.model import (
    CONDUCTIVITY,
    RESIDUAL,
    SATURATED,
    TORTUOSITY,
    parameter,
)
from soilwater.words.arrays import FloatArray
from soilwater.words.renamed import needs_all


@needs_all(
    'TwoComponent(0.05, 0.60, "0.10 1/cm", 3.0, 0.4, "0.004 1/cm", 1.6, "15 cm/h")',
    by_the_thousand=True,
)
@dataclass(frozen=True, repr=False)
class TwoComponent(CapillaryModel):
    """Soil with two pore systems, each with a van Genuchten curve: mat, amended sand.

    Parameters
    ----------
    theta_r : float or str
        Residual water content [m3/m3], at least 0 and below `theta_s`.
    theta_s : float or str
        Saturated water content [m3/m3], at most 1.
    alpha : float, str or Quantity
        Inverse of a typical suction of the first pore system [1/cm], above 0.
    n : float
        Steepness of the first pore system [1], above 1.
    second_share : float or str
        Share of the pore space that belongs to the second system [1], between 0 and 1.
    second_alpha : float, str or Quantity
        Inverse of a typical suction of the second pore system [1/cm], above 0.
    second_n : float
        Steepness of the second pore system [1], above 1.
    k_sat : float, str or Quantity
        Saturated conductivity [cm/h], above 0.
    tortuosity : float, optional
        Exponent of the saturation in Mualem's conductivity [1], above -2.
    name : str, optional
        What the person calls this soil.
    source : str, optional
        Where the parameters come from.

    Raises
    ------
    InputError
        If parameters are not usable; all faults in one message.

    Notes
    -----
    S = w1 S1 + w2 S2 (Durner 1994, Water Resources Research 30:211, doi 10.1029/93WR02676) and,
    by Mualem (1976), K = k_sat S^l [(w1 a1 R1 + w2 a2 R2) / (w1 a1 + w2 a2)]^2 with each R that of
    `VanGenuchten` (closed form of Priesack & Durner 2006, Vadose Zone Journal 5:121,
    doi 10.2136/vzj2005.0066). From memory; the conductivity is tested against quadrature.

    Examples
    --------
    >>> mat = TwoComponent(0.05, 0.60, "0.10 1/cm", 3.0, 0.4, "0.004 1/cm", 1.6, "15 cm/h")
    >>> round(mat.water_content(30.0), 3)
    0.303
    """

    theta_r: float = field(metadata=RESIDUAL)
    theta_s: float = field(metadata=SATURATED)
    alpha: float = field(metadata=parameter("alpha", "inverse_length", above=0.0))
    n: float = field(metadata=parameter("steepness n", "fraction", above=1.0))
    second_share: float = field(
        metadata=parameter("share of the second pore system", "fraction", above=0.0, below=1.0)
    )
    second_alpha: float = field(
        metadata=parameter("alpha of the second pore system", "inverse_length", above=0.0)
    )
    second_n: float = field(
        metadata=parameter("steepness n of the second pore system", "fraction", above=1.0)
    )
    k_sat: float = field(metadata=CONDUCTIVITY)
    tortuosity: float = field(default=0.5, kw_only=True, metadata=TORTUOSITY)

    @property
    def suction_scale(self) -> float:
        """Characteristic suction [cm]: 1/alpha of the coarser system, but 0.1 to 100 cm."""
        return scale_for_table(1.0 / max(self.alpha, self.second_alpha))

    def _systems(self) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """Share, alpha and n of the two pore systems."""
        return (
            (1.0 - self.second_share, self.alpha, self.n),
            (self.second_share, self.second_alpha, self.second_n),
        )

    def _log_saturation(self, log_suction: FloatArray) -> FloatArray:
        # numpy's logarithm: parameters may be columns, where a fit tries many sets at once.
        first, second = (
            np.log(share) + van_genuchten.log_saturation(log_suction, alpha, n)
            for share, alpha, n in self._systems()
        )
        return _at_most_full(np.logaddexp(first, second), log_suction)

    def _saturation_slope(self, log_suction: FloatArray) -> FloatArray:
        first, second = (
            share * van_genuchten.saturation_slope(log_suction, alpha, n)
            for share, alpha, n in self._systems()
        )
        return first + second

    def _log_pore_integral(self, log_suction: FloatArray) -> FloatArray:
        first, second = (
            math.log(share * alpha) + van_genuchten.log_pore_integral(log_suction, alpha, n)
            for share, alpha, n in self._systems()
        )
        whole = sum(share * alpha for share, alpha, _ in self._systems())
        return _at_most_full(np.logaddexp(first, second) - math.log(whole), log_suction)

    def _log_suction(self, saturation: FloatArray, deficit: FloatArray) -> FloatArray:
        # The mixture holds a given saturation at a suction between those of its two systems.
        first, second = (
            van_genuchten.log_suction_of(saturation, deficit, alpha, n)
            for _, alpha, n in self._systems()
        )
        return bisect(
            self._log_saturation,
            log_of(saturation, deficit),
            np.minimum(first, second),
            np.maximum(first, second),
        )

    def _adsorption(self) -> tuple[float, float]:
        _, alpha, n = min(self._systems(), key=lambda system: system[1])
        return 1.0 / alpha, 0.2 / n**2


def _at_most_full(logarithm: FloatArray, log_suction: FloatArray) -> FloatArray:
    """Zero at saturation, where the sum of two shares may miss it by a rounding error."""
    return np.where(np.isneginf(log_suction), 0.0, np.minimum(logarithm, 0.0))
