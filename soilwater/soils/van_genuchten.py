"""The retention curve of van Genuchten with the conductivity of Mualem."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from soilwater.soils import published
from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.elementary import log_of, log_one_plus_exp, scale_for_table
from soilwater.soils.model import (
    CONDUCTIVITY,
    RESIDUAL,
    SATURATED,
    TORTUOSITY,
    parameter,
)
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import InputError
from soilwater.words.forms import Conductivity
from soilwater.words.renamed import needs_all


@needs_all('VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h")', by_the_thousand=True)
@dataclass(frozen=True, repr=False)
class VanGenuchten(CapillaryModel):
    """Soil with the retention curve of van Genuchten (1980) and Mualem's conductivity.

    Parameters
    ----------
    theta_r : float or str
        Residual water content [m3/m3], at least 0 and below `theta_s`.
    theta_s : float or str
        Saturated water content [m3/m3], at most 1.
    alpha : float, str or Quantity
        Inverse of a typical suction [1/cm], above 0.
    n : float
        Steepness [1], above 1: near 1.1 in clay, 2.7 in mixed sand, 4 and more in sieved sand.
    k_sat : float, str or Quantity
        Saturated conductivity [cm/h], above 0.
    tortuosity : float, optional
        Exponent of the saturation in the conductivity [1], above -2.
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
    With t = (alpha suction)^n and m = 1 - 1/n: S = (1 + t)^-m and
    K = k_sat S^l (1 - (t / (1 + t))^m)^2 (van Genuchten 1980, Soil Science Society of America
    Journal 44:892, Eq. 3 and 8; doi 10.2136/sssaj1980.03615995004400050002x; l = 0.5 is the
    mean Mualem 1976 found over 45 soils; from memory).

    Examples
    --------
    >>> sand = VanGenuchten(0.045, 0.43, "0.145 1/cm", 2.68, "29.7 cm/h")
    >>> round(sand.water_content(30.0), 3)
    0.077
    """

    theta_r: float = field(metadata=RESIDUAL)
    theta_s: float = field(metadata=SATURATED)
    alpha: float = field(metadata=parameter("alpha", "inverse_length", above=0.0))
    n: float = field(metadata=parameter("steepness n", "fraction", above=1.0))
    k_sat: float = field(metadata=CONDUCTIVITY)
    tortuosity: float = field(default=0.5, kw_only=True, metadata=TORTUOSITY)

    @classmethod
    def texture_class(cls, name: str) -> VanGenuchten:
        """Mean soil of a texture class.

        Parameters
        ----------
        name : str
            One of the twelve texture classes, such as ``"sandy loam"``.

        Returns
        -------
        VanGenuchten
            Class means of Carsel & Parrish (1988), Water Resources Research 24:755,
            doi 10.1029/WR024i005p00755 (from memory).

        Raises
        ------
        InputError
            If there is no such class.
        """
        row = published.find(name, published.TEXTURE_CLASSES, "Texture class")
        return cls._from_row(row, row.k_sat, row.source)

    @classmethod
    def measured(cls, name: str, *, k_sat: Conductivity | None = None) -> VanGenuchten:
        """Sand, gravel or test soil measured and published by others.

        Parameters
        ----------
        name : str
            One of the published soils, such as ``"Tottori dune sand"``.
        k_sat : float, str or Quantity, optional
            Saturated conductivity [cm/h]; needed where the publication gives none, and used
            instead of the published one where it does.

        Returns
        -------
        VanGenuchten
            The soil; its `source` names the publication, the branch it was measured on, and
            whether the numbers were read there or come from memory.

        Raises
        ------
        InputError
            If there is no such soil, or it needs a conductivity and none is given.
        """
        row = published.find(name, published.MEASURED_SOILS, "Measured soil")
        if k_sat is not None:
            note = "saturated conductivity given by the user"
            return cls._from_row(row, k_sat, f"{row.source}; {note}")
        if row.k_sat is None:
            raise InputError(
                f'Measured soil "{row.name}": its source gives no saturated conductivity; '
                'add one, such as k_sat="30 cm/h".'
            )
        return cls._from_row(row, row.k_sat, row.source)

    @classmethod
    def _from_row(cls, row: published.PublishedSoil, k_sat: Any, source: str) -> VanGenuchten:
        return cls(row.theta_r, row.theta_s, row.alpha, row.n, k_sat, name=row.name, source=source)

    @property
    def suction_scale(self) -> float:
        """Characteristic suction [cm]: 1/alpha, but 0.1 to 100 cm for the kernels' tables."""
        return scale_for_table(1.0 / self.alpha)

    @property
    def m(self) -> float:
        """The exponent 1 - 1/n [1]."""
        return 1.0 - 1.0 / self.n

    def _log_saturation(self, log_suction: FloatArray) -> FloatArray:
        return log_saturation(log_suction, self.alpha, self.n)

    def _saturation_slope(self, log_suction: FloatArray) -> FloatArray:
        return saturation_slope(log_suction, self.alpha, self.n)

    def _log_pore_integral(self, log_suction: FloatArray) -> FloatArray:
        return log_pore_integral(log_suction, self.alpha, self.n)

    def _log_suction(self, saturation: FloatArray, deficit: FloatArray) -> FloatArray:
        return log_suction_of(saturation, deficit, self.alpha, self.n)

    def _adsorption(self) -> tuple[float, float]:
        return 1.0 / self.alpha, 0.2 / self.n**2


def log_saturation(log_suction: FloatArray, alpha: float, n: float) -> FloatArray:
    """Logarithm of S = (1 + t)^-m [1]."""
    m = (n - 1.0) / n
    logarithm: FloatArray = -m * log_one_plus_exp(_log_t(log_suction, alpha, n))
    return logarithm


def saturation_slope(log_suction: FloatArray, alpha: float, n: float) -> FloatArray:
    """-dS/d(logarithm of suction) [1]."""
    log_t = _log_t(log_suction, alpha, n)
    m = (n - 1.0) / n
    return (n - 1.0) * np.exp(-m * log_one_plus_exp(log_t) - log_one_plus_exp(-log_t))


def log_pore_integral(log_suction: FloatArray, alpha: float, n: float) -> FloatArray:
    """Logarithm of R = 1 - (t / (1 + t))^m [1]."""
    m = (n - 1.0) / n
    log_t = _log_t(log_suction, alpha, n)
    # Far out R = m / t to round-off, and the exact form would lose its logarithm to underflow.
    exact = np.log(-np.expm1(-m * log_one_plus_exp(-np.minimum(log_t, _FAR))))
    return np.where(log_t > _FAR, math.log(m) - log_t, exact)


def log_suction_of(
    saturation: FloatArray, deficit: FloatArray, alpha: float, n: float
) -> FloatArray:
    """Logarithm of the suction that leaves a saturation; ``deficit`` is 1 - ``saturation``."""
    m = (n - 1.0) / n
    power = -log_of(saturation, deficit) / m
    return (power + np.log(-np.expm1(-power))) / n - math.log(alpha)


_FAR = 36.0


def _log_t(log_suction: FloatArray, alpha: float, n: float) -> FloatArray:
    # numpy's logarithm: alpha and n may be columns, where a fit tries many sets at once.
    log_t: FloatArray = n * (log_suction + np.log(alpha))
    return log_t
