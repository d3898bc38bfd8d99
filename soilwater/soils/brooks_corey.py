"""The retention curve of Brooks and Corey: an entry suction and a power."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.elementary import log_of
from soilwater.soils.model import (
    CONDUCTIVITY,
    RESIDUAL,
    SATURATED,
    TORTUOSITY,
    parameter,
)
from soilwater.words.arrays import FloatArray
from soilwater.words.renamed import needs_all


@needs_all('BrooksCorey(0.03, 0.40, "20 cm", 3.0, "40 cm/h")', by_the_thousand=True)
@dataclass(frozen=True, repr=False)
class BrooksCorey(CapillaryModel):
    """Soil that stays saturated up to an entry suction and drains as a power beyond it.

    Parameters
    ----------
    theta_r : float or str
        Residual water content [m3/m3], at least 0 and below `theta_s`.
    theta_s : float or str
        Saturated water content [m3/m3], at most 1.
    entry_suction : float, str or Quantity
        Suction [cm] at which air enters, above 0.
    pore_size_index : float
        Power lambda [1] of the drained part, above 0; large where pores are of one size.
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
    S = (entry_suction / suction)^lambda beyond the entry suction (Brooks & Corey 1964, Hydraulic
    properties of porous media, Hydrology Paper 3, Colorado State University). With Mualem (1976),
    K = k_sat S^(l + 2 + 2/lambda). Both from memory; the conductivity is tested against
    quadrature.

    Examples
    --------
    >>> sand = BrooksCorey(0.03, 0.40, "20 cm", 3.0, "40 cm/h")
    >>> round(sand.water_content(40.0), 4)
    0.0762
    """

    theta_r: float = field(metadata=RESIDUAL)
    theta_s: float = field(metadata=SATURATED)
    entry_suction: float = field(metadata=parameter("entry suction", "suction", above=0.0))
    pore_size_index: float = field(metadata=parameter("pore size index", "fraction", above=0.0))
    k_sat: float = field(metadata=CONDUCTIVITY)
    tortuosity: float = field(default=0.5, kw_only=True, metadata=TORTUOSITY)

    _has_kink: ClassVar[bool] = True

    @property
    def suction_scale(self) -> float:
        """Characteristic suction [cm]: the entry suction, where the curve has its kink."""
        return self.entry_suction

    def _log_saturation(self, log_suction: FloatArray) -> FloatArray:
        # numpy's logarithm: parameters may be columns, where a fit tries many sets at once.
        beyond_entry: FloatArray = np.maximum(log_suction - np.log(self.entry_suction), 0.0)
        return -self.pore_size_index * beyond_entry

    def _saturation_slope(self, log_suction: FloatArray) -> FloatArray:
        drained = log_suction > math.log(self.entry_suction)
        slope = self.pore_size_index * np.exp(self._log_saturation(log_suction))
        return np.where(drained, slope, 0.0)

    def _log_pore_integral(self, log_suction: FloatArray) -> FloatArray:
        return (1.0 + 1.0 / self.pore_size_index) * self._log_saturation(log_suction)

    def _log_suction(self, saturation: FloatArray, deficit: FloatArray) -> FloatArray:
        return math.log(self.entry_suction) - log_of(saturation, deficit) / self.pore_size_index

    def _adsorption(self) -> tuple[float, float]:
        # Far from its entry suction a van Genuchten soil drains with the power n - 1.
        return self.entry_suction, 0.2 / (self.pore_size_index + 1.0) ** 2
