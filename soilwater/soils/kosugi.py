"""The retention curve of Kosugi: pore sizes with a lognormal distribution."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.elementary import scale_for_table
from soilwater.soils.model import (
    CONDUCTIVITY,
    RESIDUAL,
    SATURATED,
    TORTUOSITY,
    parameter,
)
from soilwater.words.arrays import FloatArray
from soilwater.words.renamed import needs_all

_ROOT_OF_TWO_PI = math.sqrt(2.0 * math.pi)


@needs_all('Kosugi(0.03, 0.40, "35 cm", 0.4, "40 cm/h")', by_the_thousand=True)
@dataclass(frozen=True, repr=False)
class Kosugi(CapillaryModel):
    """Soil whose pore sizes are lognormally distributed (Kosugi 1996).

    Parameters
    ----------
    theta_r : float or str
        Residual water content [m3/m3], at least 0 and below `theta_s`.
    theta_s : float or str
        Saturated water content [m3/m3], at most 1.
    median_suction : float, str or Quantity
        Suction [cm] at which half of the pores are drained, above 0.
    spread : float
        Standard deviation [1] of the natural logarithm of the pores' suctions, above 0:
        0.3 in sieved sand, 2 and more in clay.
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
    With u = ln(suction / median_suction) / spread and Q the upper tail of the standard normal
    distribution: S = Q(u) and, by Mualem (1976), K = k_sat S^l Q(u + spread)^2 (Kosugi 1996,
    Water Resources Research 32:2697, doi 10.1029/96WR01776; from memory; the conductivity is
    tested against quadrature).

    Examples
    --------
    >>> sand = Kosugi(0.03, 0.40, "35 cm", 0.4, "40 cm/h")
    >>> round(sand.water_content(35.0), 3)
    0.215
    """

    theta_r: float = field(metadata=RESIDUAL)
    theta_s: float = field(metadata=SATURATED)
    median_suction: float = field(metadata=parameter("median suction", "suction", above=0.0))
    spread: float = field(metadata=parameter("spread of pore sizes", "fraction", above=0.0))
    k_sat: float = field(metadata=CONDUCTIVITY)
    tortuosity: float = field(default=0.5, kw_only=True, metadata=TORTUOSITY)

    @property
    def suction_scale(self) -> float:
        """Characteristic suction [cm]: where the curve is steepest, but 0.1 to 100 cm."""
        return scale_for_table(self.median_suction * math.exp(-(self.spread**2)))

    def _deviation(self, log_suction: FloatArray) -> FloatArray:
        # numpy's logarithm: parameters may be columns, where a fit tries many sets at once.
        deviation: FloatArray = (log_suction - np.log(self.median_suction)) / self.spread
        return deviation

    def _log_saturation(self, log_suction: FloatArray) -> FloatArray:
        return _log_upper_tail(self._deviation(log_suction))

    def _saturation_slope(self, log_suction: FloatArray) -> FloatArray:
        deviation = self._deviation(log_suction)
        return np.exp(-0.5 * deviation**2) / (self.spread * _ROOT_OF_TWO_PI)

    def _log_pore_integral(self, log_suction: FloatArray) -> FloatArray:
        return _log_upper_tail(self._deviation(log_suction) + self.spread)

    def _log_suction(self, saturation: FloatArray, deficit: FloatArray) -> FloatArray:
        from scipy.special import ndtri

        # Of the two tails the thinner one knows its size.
        deviation: FloatArray = np.where(deficit < 0.5, ndtri(deficit), -ndtri(saturation))
        return math.log(self.median_suction) + self.spread * deviation

    def _adsorption(self) -> tuple[float, float]:
        return self.median_suction, 0.07 * self.spread


def _log_upper_tail(deviation: FloatArray) -> FloatArray:
    # Imported here: scipy.special costs a tenth of a second that most sessions need not pay.
    from scipy.special import log_ndtr

    logarithm: FloatArray = log_ndtr(-deviation)
    return logarithm
