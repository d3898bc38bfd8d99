"""How uptake by roots falls off as the soil dries: stress responses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from soilwater.words.errors import Faults
from soilwater.words.forms import Suctions
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house


class Stress(Protocol):
    """What a stress response must offer; both responses below do."""

    @property
    def kernel_code(self) -> int:
        """Integer the solver branches on."""
        ...

    @property
    def kernel_parameters(self) -> tuple[float, float, float, float, float]:
        """Numbers the solver needs, in its own order."""
        ...

    def reduction(self, suction: Any) -> Any:
        """Share of the demand that roots meet at a suction [cm]."""
        ...


@dataclass(frozen=True)
class SShapedStress:
    """Uptake that falls along an S-shaped curve as the soil dries.

    reduction = 1 / (1 + (suction / half_suction)^steepness): van Genuchten (1987), A numerical
    model for water and solute movement in and below the root zone, US Salinity Laboratory
    (from memory). There is no limit at the wet end.

    Parameters
    ----------
    half_suction : float, str or Quantity, optional
        Suction at which uptake has fallen to half of demand [cm]. The default of 250 cm lies
        within the dry limits of 240-360 cm given for turf by Taylor & Ashcroft (1972), from
        memory; published values for turf differ by a factor of ten.
    steepness : float, optional
        Exponent [1]. 3 is the usual choice (van Genuchten 1987, from memory).

    Raises
    ------
    InputError
        If either is not positive.

    Examples
    --------
    >>> float(SShapedStress("250 cm").reduction(250.0))
    0.5
    """

    half_suction: float = 250.0
    steepness: float = 3.0

    def __post_init__(self) -> None:
        half = number_to_house(self.half_suction, "suction", "half_suction")
        steepness = number_to_house(self.steepness, "fraction", "steepness")
        faults = Faults("SShapedStress")
        if half <= 0.0:
            faults.add(f"half_suction is {half:g} cm", allowed="above 0")
        if steepness <= 0.0:
            faults.add(f"steepness is {steepness:g}", allowed="above 0")
        faults.raise_if_any()
        object.__setattr__(self, "half_suction", half)
        object.__setattr__(self, "steepness", steepness)

    @property
    def kernel_code(self) -> int:
        """Integer the solver branches on."""
        return 1

    @property
    def kernel_parameters(self) -> tuple[float, float, float, float, float]:
        """Half suction [cm] and steepness [1], padded with zeros."""
        return (self.half_suction, self.steepness, 0.0, 0.0, 0.0)

    def reduction(self, suction: Suctions) -> Any:
        """Share of the demand that roots meet [1].

        Parameters
        ----------
        suction : float, ndarray or DataArray
            Suction [cm], positive when dry; 0 or less means saturated.
        """
        return 1.0 / (1.0 + (np.maximum(suction, 0.0) / self.half_suction) ** self.steepness)


@needs_all('RoundedStress("2 cm", "40 cm", "300 cm", "4000 cm")')
@dataclass(frozen=True)
class RoundedStress:
    """Uptake that is cut at both ends: too little air when wet, too little water when dry.

    Straight ramps between four suctions whose corners are rounded by parabolas, because a kink
    holds the solver exactly where a drying root sits.

    Parameters
    ----------
    oxygen_limit, best_from, dry_limit, no_uptake : float, str or Quantity
        Suctions [cm], increasing: no uptake below the first (no air), full uptake between the
        second and third, none above the fourth.
    rounding : float, optional
        Reach of a rounded corner as a share of its ramp [1], above 0 and up to 0.5.

    Raises
    ------
    InputError
        If the suctions do not increase or the rounding is out of range.

    Examples
    --------
    >>> float(RoundedStress(10, 25, 240, 8000).reduction(5.0))
    0.0
    """

    oxygen_limit: float
    best_from: float
    dry_limit: float
    no_uptake: float
    rounding: float = 0.1

    def __post_init__(self) -> None:
        names = ("oxygen_limit", "best_from", "dry_limit", "no_uptake")
        values = [number_to_house(getattr(self, name), "suction", name) for name in names]
        rounding = number_to_house(self.rounding, "fraction", "rounding")
        faults = Faults("RoundedStress")
        if values[0] < 0.0:
            faults.add(f"oxygen_limit is {values[0]:g} cm", allowed="0 or more")
        for i in range(3):
            if not values[i] < values[i + 1]:
                faults.add(
                    f"{names[i]}={values[i]:g} cm is not below {names[i + 1]}={values[i + 1]:g} cm",
                    allowed="oxygen_limit < best_from < dry_limit < no_uptake",
                )
        if not 0.0 < rounding <= 0.5:
            faults.add(f"rounding is {rounding:g}", allowed="above 0, up to 0.5")
        faults.raise_if_any()
        for name, value in zip(names, values, strict=True):
            object.__setattr__(self, name, value)
        object.__setattr__(self, "rounding", rounding)

    @classmethod
    def turf(cls) -> RoundedStress:
        """Return points for turf.

        Full uptake ends at 300 cm, the middle of the 240-360 cm that Taylor & Ashcroft (1972) give
        for turf grass (from memory); no uptake from 15 300 cm on: 1.5 MPa, the usual wilting point
        (Richards & Weaver 1943, from memory). No uptake below 10 cm and full uptake from 25 cm on
        are common practice, no source. Set your own where you have watched your turf wilt.
        """
        return cls(10.0, 25.0, 300.0, 15300.0)

    @property
    def kernel_code(self) -> int:
        """Integer the solver branches on."""
        return 2

    @property
    def kernel_parameters(self) -> tuple[float, float, float, float, float]:
        """The four suctions [cm] and the rounding [1]."""
        return (
            self.oxygen_limit,
            self.best_from,
            self.dry_limit,
            self.no_uptake,
            self.rounding,
        )

    def reduction(self, suction: Suctions) -> Any:
        """Share of the demand that roots meet [1].

        Parameters
        ----------
        suction : float, ndarray or DataArray
            Suction [cm], positive when dry; 0 or less means saturated.
        """
        wet = (suction - self.oxygen_limit) / (self.best_from - self.oxygen_limit)
        dry = (self.no_uptake - suction) / (self.no_uptake - self.dry_limit)
        return _rounded_ramp(wet, self.rounding) * _rounded_ramp(dry, self.rounding)


def _rounded_ramp(t: Any, rounding: float) -> Any:
    """Rise from 0 at t = 0 to 1 at t = 1 with parabolic corners reaching `rounding` each way.

    Written as the difference of two rounded hinges so that labelled arrays pass through.
    """

    def hinge(x: Any) -> Any:
        corner = np.clip(x + rounding, 0.0, 2.0 * rounding)
        return corner**2 / (4.0 * rounding) + np.maximum(x - rounding, 0.0)

    return np.clip(hinge(t) - hinge(t - 1.0), 0.0, 1.0)
