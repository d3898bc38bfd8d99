"""Targets a person states: a window of readings, and a floor of air. None is assumed.

Named ones are offered for a start, and every answer that uses one prints where it comes from.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import WaterContent
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house

_STATED = "stated by the user"


@needs_all('ReadingTarget("15 %", "25 %")')
@dataclass(frozen=True)
class ReadingTarget:
    """Window of readings that is wanted once the profile has drained.

    Parameters
    ----------
    low, high : float, str or Quantity
        Limits of the meter reading, water content by volume [1].
    source : str, optional
        Where the limits come from.

    Raises
    ------
    InputError
        If they are no water contents by volume, or not in order.
    """

    low: float
    high: float
    source: str = _STATED

    def __post_init__(self) -> None:
        faults = Faults("Target reading")
        for name in ("low", "high"):
            given: Any = getattr(self, name)
            if isinstance(given, str) and re.search(r"(?i)field capacity|\bfc\b", given):
                faults.add(
                    f'"{given}": do you mean % by volume or % of field capacity?',
                    cure="give % by volume: a sand has no field capacity of its own",
                )
                continue
            with faults.catching():
                object.__setattr__(self, name, number_to_house(given, "water_content", name))
        if not faults and not self.low < self.high:
            faults.add(f"{self.low:g} to {self.high:g}", allowed="low below high")
        faults.raise_if_any()

    def __str__(self) -> str:
        return f"{100 * self.low:g} to {100 * self.high:g} % by volume ({self.source})"


Target: TypeAlias = ReadingTarget | str | Sequence[WaterContent]
"""Two readings wanted at rest, low and high [1], a `ReadingTarget`, or a key of
`READING_TARGETS`."""


@needs_all('AirTarget("10 %")')
@dataclass(frozen=True)
class AirTarget:
    """Air-filled porosity the root layer must keep once the profile has drained.

    Parameters
    ----------
    least : float, str or Quantity
        Air-filled porosity [1].
    source : str, optional
        Where it comes from.

    Raises
    ------
    InputError
        If it is no fraction below 1.
    """

    least: float
    source: str = _STATED

    def __post_init__(self) -> None:
        least = number_to_house(self.least, "water_content", "air_filled")
        object.__setattr__(self, "least", least)

    def __str__(self) -> str:
        return f"at least {100 * self.least:g} % air ({self.source})"


READING_TARGETS: dict[str, ReadingTarget] = {
    "greens": ReadingTarget(
        0.15,
        0.25,
        "common practice, no source; greens of 15 to 25 % were firm in a trade article's study, "
        "other sites, rods and mats gave 12 to 30 %",
    ),
    "fields": ReadingTarget(0.12, 0.20, "common practice, no source"),
}
"""Named windows of the drained reading; rods, mats and sands move them: set your own."""

AIR_TARGETS: dict[str, AirTarget] = {
    "minimum": AirTarget(0.10, "a trade article on cap depths: minimum"),
    "medium": AirTarget(0.15, "a trade article on cap depths: medium"),
    "conservative": AirTarget(0.25, "a trade article on cap depths: conservative"),
}
"""Named floors of air-filled porosity; whether at the surface or as a mean is left open there."""


def reading_target(given: Any) -> ReadingTarget:
    """Take a window of readings however it is written.

    Parameters
    ----------
    given : ReadingTarget, str or two of float, str or Quantity
        A target, a key of `READING_TARGETS`, or low and high [1].

    Returns
    -------
    ReadingTarget

    Raises
    ------
    InputError
        If it is none of these.
    """
    if isinstance(given, ReadingTarget):
        return given
    if isinstance(given, str):
        if given in READING_TARGETS:
            return READING_TARGETS[given]
        if re.search(r"(?i)field capacity|\bfc\b", given):
            return ReadingTarget(given, given)  # type: ignore[arg-type]
    elif isinstance(given, (tuple, list)) and len(given) == 2:
        return ReadingTarget(given[0], given[1])
    names = ", ".join(f'"{name}"' for name in READING_TARGETS)
    raise InputError(
        f"reading: {given!r}; allowed: two water contents by volume such as (0.15, 0.25) or "
        f'("15 %", "25 %"), or one of {names}.'
    )


def air_target(given: Any) -> AirTarget:
    """Take a floor of air however it is written.

    Parameters
    ----------
    given : AirTarget, str, float or Quantity
        A target, a key of `AIR_TARGETS`, or an air-filled porosity [1].

    Returns
    -------
    AirTarget

    Raises
    ------
    InputError
        If it is none of these.
    """
    if isinstance(given, AirTarget):
        return given
    if isinstance(given, str) and given in AIR_TARGETS:
        return AIR_TARGETS[given]
    return AirTarget(given)
