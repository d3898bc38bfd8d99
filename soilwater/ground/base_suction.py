"""What is assumed about the suction that a drained profile keeps at its base."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from soilwater.words.arrays import FloatArray
from soilwater.words.errors import InputError
from soilwater.words.units import number_to_house


@dataclass(frozen=True)
class BaseSuction:
    """Suction left at the base of a drained profile, with its band.

    Parameters
    ----------
    best, low, high : float, str or Quantity
        Suction [cm]: what is assumed, and between which limits it may lie. Negative where water
        stands above the base.
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
        """Return `n` suctions [cm] evenly over the band, each as likely as the next."""
        return self.low + (self.high - self.low) * (np.arange(n) + 0.5) / n


OVER_GRAVEL = BaseSuction(
    3.0,
    0.0,
    9.0,
    "assumed over gravel: nobody measures it on site; 0 in text-books, about 9 cm in one trial",
)
"""Suction left over a gravel blanket [cm] (the 9 cm read in an abstract, the rest from memory)."""


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
