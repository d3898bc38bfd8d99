"""Models whose water is held in pores: curves and conductivity from four functions.

A model writes the logarithm of effective saturation, its slope, the logarithm of the pore integral
of the conductivity, and the inverse.

The logarithms are there because a sand at 10 m of suction holds 1e-12 of its water and conducts
1e-40 of what it conducts wet: powers of such numbers underflow, sums of logarithms do not.
"""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

import numpy as np

from soilwater.soils.elementary import log_or_minus_infinity
from soilwater.soils.model import SoilModel
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults


class CapillaryModel(SoilModel):
    """Base of the models whose water is held in pores, with the conductivity of Mualem (1976).

    K = k_sat S^l R(S)^2, where R is the integral of dS/suction from 0 to S over the same
    integral from 0 to 1 (Mualem 1976, Water Resources Research 12:513,
    doi 10.1029/WR012i003p00513; from memory).

    Parameters
    ----------
    theta_r, theta_s : float or str
        Residual and saturated water content [m3/m3].
    k_sat : float, str or Quantity
        Saturated conductivity [cm/h].
    tortuosity : float
        Exponent l of the saturation [1].
    name : str
        What the person calls this soil.
    source : str
        Where the parameters come from.
    """

    theta_r: float
    theta_s: float
    k_sat: float
    tortuosity: float

    # A kinked curve must have its kink on `suction_scale`; a smooth one may have any scale.
    _has_kink: ClassVar[bool] = False

    def _agree(self) -> bool:
        return self.theta_r < self.theta_s

    def _check_together(self, faults: Faults, refused: set[str]) -> None:
        known = not (refused and refused & {"theta_r", "theta_s"})
        if known and self.theta_r >= self.theta_s:
            faults.add(
                f"theta_r={self.theta_r:g} is not below theta_s={self.theta_s:g}",
                allowed="theta_r below theta_s",
                cure="look for the two in each other's place, or per cent beside fractions",
            )

    @property
    def dry_end_water_content(self) -> float:
        """Water content the curve tends to as suction grows without limit [m3/m3]."""
        return self.theta_r

    @abstractmethod
    def _log_saturation(self, log_suction: FloatArray) -> FloatArray:
        """Logarithm of effective saturation; ``log_suction`` is -inf at saturation."""

    @abstractmethod
    def _saturation_slope(self, log_suction: FloatArray) -> FloatArray:
        """-d(effective saturation)/d(logarithm of suction)."""

    @abstractmethod
    def _log_pore_integral(self, log_suction: FloatArray) -> FloatArray:
        """Logarithm of Mualem's R."""

    @abstractmethod
    def _log_suction(self, saturation: FloatArray, deficit: FloatArray) -> FloatArray:
        """Logarithm of suction; ``deficit`` is 1 - ``saturation`` without its rounding."""

    @abstractmethod
    def _adsorption(self) -> tuple[float, float]:
        """Suction [cm] where adsorbed water begins to leave, and how gently it begins [1].

        The second number is the factor of Iden & Durner (2014) that makes the corner of the
        adsorbed-water curve round; see `WithDryEnd`.
        """

    def _effective_saturation(self, suction: FloatArray) -> FloatArray:
        return np.exp(self._log_saturation(log_or_minus_infinity(suction)))

    def _water_content(self, suction: FloatArray) -> FloatArray:
        saturation = self._effective_saturation(suction)
        water = self.theta_r + (self.theta_s - self.theta_r) * saturation
        return np.where(saturation == 1.0, self.theta_s, np.minimum(water, self.theta_s))

    def _capacity(self, suction: FloatArray) -> FloatArray:
        # The logarithmic slope over the suction; saturated soil has no slope in any model here.
        wet = suction > 0.0
        slope = self._saturation_slope(log_or_minus_infinity(suction)) / np.where(wet, suction, 1.0)
        return np.where(wet, (self.theta_s - self.theta_r) * slope, 0.0)

    def _conductivity(self, suction: FloatArray) -> FloatArray:
        at = log_or_minus_infinity(suction)
        return self.k_sat * np.exp(
            self.tortuosity * self._log_saturation(at) + 2.0 * self._log_pore_integral(at)
        )

    def _suction_at(self, water_content: FloatArray) -> FloatArray:
        span = self.theta_s - self.theta_r
        saturation = (water_content - self.theta_r) / span
        deficit = (self.theta_s - water_content) / span
        inside = (saturation > 0.0) & (deficit > 0.0)
        log_suction = self._log_suction(
            np.where(inside, saturation, 0.5), np.where(inside, deficit, 0.5)
        )
        with np.errstate(over="ignore"):  # a trace of water in clay: infinite for every purpose
            found = np.exp(log_suction)
        return np.where(inside, found, np.where(deficit > 0.0, np.inf, 0.0))
