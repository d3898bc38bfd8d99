"""What is assumed about the suction that a drained profile keeps at its base."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from soilwater.words.arrays import FloatArray
from soilwater.words.errors import InputError
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house


@needs_all('BaseSuction("7 cm", "3 cm", "10 cm")')
@dataclass(frozen=True)
class BaseSuction:
    """Suction left at the base of a drained profile, with its band.

    Parameters
    ----------
    best, low, high : float, str or Quantity
        Suction [cm]: its median, and the limits between which it may lie, as likely below the
        median as above. Negative where water stands above the base.
    why : str, optional
        Where the numbers come from; printed with every answer.

    Raises
    ------
    InputError
        If they are not in order.

    Examples
    --------
    >>> BaseSuction(30.0, 10.0, 60.0, "clay loam under the cap").high
    60.0
    """

    best: float
    low: float
    high: float
    why: str = ""

    def __post_init__(self) -> None:
        for name in ("best", "low", "high"):
            value = number_to_house(getattr(self, name), "suction", name)
            object.__setattr__(self, name, value)
        if not self.low <= self.best <= self.high:
            raise InputError(
                f"BaseSuction: low {self.low:g}, best {self.best:g}, high {self.high:g} cm; "
                "allowed: low at or below best, best at or below high."
            )

    def __str__(self) -> str:
        text = f"{self.best:g} cm"
        if self.low < self.high:
            text += f", between {self.low:g} and {self.high:g} cm"
        return f"{text} ({self.why})" if self.why else text

    def plus(self, extra: float) -> BaseSuction:
        """Return the same band with every value raised by `extra` [cm]."""
        return BaseSuction(self.best + extra, self.low + extra, self.high + extra, self.why)

    def spread(self, n: int) -> FloatArray:
        """Return `n` suctions [cm], each as likely as the next: half below the best, half above."""
        share = (np.arange(n) + 0.5) / n
        return np.interp(share, [0.0, 0.5, 1.0], [self.low, self.best, self.high])

    def shuffled(self, draws: int) -> FloatArray:
        """Return the same suctions [cm] in no order, but in every call alike.

        Parameters
        ----------
        draws : int
            How many.
        """
        # Of its own: the same numbers that shuffle something else would pair the two for good.
        return np.random.default_rng((draws, 1)).permutation(self.spread(draws))


OVER_GRAVEL = BaseSuction(
    6.7,
    2.5,
    10.5,
    "48 h after a soaking, over clean gravels from coarse and thin to fine and thick: nobody "
    "measures it on site",
)
"""Suction left over a gravel blanket [cm], the one assumption of every decision.

Worked out (`gravel_drainage.interface_suction`) from ranges of gravel around the only clean gravel
whose curve was found in print: alpha 0.5 to 2.5 1/cm about 1.116, n 2.2 to 4 about 2.7, 1000 to
10 000 cm/h about 3600, 7 to 15 cm thick about 10; the ranges are judgement, no survey. The best is
that of the published gravel, 10 cm thick; between sands of greens, 25 to 60 cm deep, it moves by
0.3 cm. Held fixed over a fortnight of drying it is within 0.2 % by volume of the gravel itself.
One trial read 0.9 kPa over gravel (Taylor, Nelson & Williams 1993, Agron. J. 85:626-630, abstract).
"""


def base_band(given: Any) -> BaseSuction:
    """Take a base suction however it is written.

    Parameters
    ----------
    given : BaseSuction, float, str, Quantity, or two of these
        A band, one value [cm], or low and high, of which the middle is the best.

    Returns
    -------
    BaseSuction

    Raises
    ------
    InputError
        If a value is no suction, or they are not in order.
    """
    if isinstance(given, BaseSuction):
        return given
    if isinstance(given, (tuple, list)):
        if len(given) != 2:
            raise InputError(
                f"base_suction: {len(given)} values; allowed: one, two (low and high), or "
                "BaseSuction(best, low, high)."
            )
        low, high = (number_to_house(each, "suction", "base_suction") for each in given)
        return BaseSuction(0.5 * (low + high), low, high, "as given")
    value = number_to_house(given, "suction", "base_suction")
    return BaseSuction(value, value, value, "as given")
