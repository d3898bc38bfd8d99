"""Copies of frozen things with other parts, for those who have checked the parts."""

from __future__ import annotations

from typing import Any, TypeVar

Whole = TypeVar("Whole")


def with_parts(whole: Whole, **parts: Any) -> Whole:
    """Return a copy of a dataclass with other parts, unchecked.

    `dataclasses.replace` checks every part again, which takes an ensemble of thousands as long as
    its columns take for hours of weather.

    Parameters
    ----------
    whole : dataclass
        What is copied.
    **parts : Any
        What is other, as the dataclass would keep it.
    """
    made = object.__new__(type(whole))
    # One after the other: an instance whose dictionary is asked for keeps one, and a large ensemble
    # would wait for the collector of garbage to look through them.
    for name, value in {**vars(whole), **parts}.items():
        object.__setattr__(made, name, value)
    return made
