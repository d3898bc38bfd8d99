"""A soil however it is given: itself, a fit that holds one, or several of these."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

from soilwater.soils.model import Soil
from soilwater.words.errors import Faults, InputError

ALLOWED = 'a soil, such as VanGenuchten.texture_class("sand"), or the result of RetentionTable.fit'


class Fitted(Protocol):
    """What is asked of a fit: its best curve, and others as likely."""

    @property
    def soil(self) -> Soil:
        """The best curve."""

    def samples(self, n: int | None = None) -> tuple[Soil, ...]:
        """Equally likely curves."""


def is_soil(given: Any) -> bool:
    """Whether something has curves, and is not the class of something that has."""
    return hasattr(given, "effective_saturation") and not isinstance(given, type)


def soil_of(given: Any, name: str = "soil", *, cure: str = "") -> Soil:
    """Take a soil however it is given.

    Parameters
    ----------
    given : Soil or FitResult
        A curve, or a fit, which stands for its best one.
    name : str, optional
        Argument it was given as, for the message.
    cure : str, optional
        Put behind the message.

    Returns
    -------
    Soil
        The curve.

    Raises
    ------
    InputError
        If it is neither.
    """
    if hasattr(given, "soil") and hasattr(given, "samples"):
        given = given.soil
    if not is_soil(given):
        if hasattr(given, "fit") and not isinstance(given, type):
            cure = "fit the table first: give table.fit(VanGenuchten), with k_sat where it is known"
        what = repr(given) if isinstance(given, str | int | float | None) else _kind(given)
        raise InputError(f"{name} is {what}; allowed: {ALLOWED}{cure and f'; {cure}'}.")
    soil: Soil = given
    return soil


def soils_of(given: Any, name: str = "soils") -> tuple[Soil, ...]:
    """Take one or several soils however they are given.

    Parameters
    ----------
    given : Soil, FitResult, or sequence of these
        Curves, or fits, each of which stands for its best one; give ``fit.samples(50)`` for the
        band of a fit.
    name : str, optional
        Argument they were given as, for the message.

    Returns
    -------
    tuple of Soil
        At least one.

    Raises
    ------
    InputError
        Naming each that is none, or if there are none at all.
    """
    if not isinstance(given, Iterable) or isinstance(given, str) or is_soil(given):
        return (soil_of(given, name),)
    listed = list(given)
    faults = Faults(name)
    if not listed:
        faults.add("there are none", allowed="at least one soil")
    found = []
    for i, each in enumerate(listed):
        with faults.catching():
            found.append(soil_of(each, f"{name}, position {i}"))
    faults.raise_if_any()
    return tuple(found)


def _kind(given: Any) -> str:
    return f"the class {given.__name__}" if isinstance(given, type) else f"a {type(given).__name__}"
