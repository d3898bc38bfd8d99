"""Which units people read: one switch for every text, table, picture, card and report."""

from __future__ import annotations

from contextlib import AbstractContextManager, ExitStack
from typing import Literal, TypeAlias, TypeVar, get_args

from soilwater.words.errors import InputError
from soilwater.words.renamed import mind_words

T = TypeVar("T")

UnitSystem: TypeAlias = Literal["metric", "US", "both"]
UNIT_SYSTEMS: tuple[UnitSystem, ...] = get_args(UnitSystem)
"""Metric; inches, US gallons and degrees Fahrenheit; or metric with those beside."""

_chosen: list[UnitSystem] = ["both"]


@mind_words()
def use_units(units: UnitSystem) -> AbstractContextManager[object]:
    """Choose the units in which everything is shown from now on.

    It changes what people read, never a number of a result, nor what an argument without a unit
    is taken to be in.

    Parameters
    ----------
    units : {"metric", "US", "both"}
        Metric; inches, US gallons and degrees Fahrenheit; or metric with those beside, as it is
        where nothing is chosen.

    Returns
    -------
    context manager
        In a ``with`` statement the choice ends with its block.

    Raises
    ------
    InputError
        If the choice is none of these.

    Examples
    --------
    >>> from soilwater.words.quantities import in_people_units
    >>> with use_units("US"):
    ...     in_people_units(30.48, "length")
    '12.0 in'
    >>> in_people_units(30.48, "length")
    '30.5 cm (12.0 in)'
    """
    check_units(units)
    before = _chosen[0]
    _chosen[0] = units
    undo = ExitStack()
    undo.callback(_chosen.__setitem__, 0, before)
    return undo


def units_in_use() -> UnitSystem:
    """Tell the units that `use_units` chose."""
    return _chosen[0]


def check_units(units: object) -> None:
    """Refuse what is no choice of units.

    Raises
    ------
    InputError
        With the choices there are.
    """
    if units not in UNIT_SYSTEMS:
        allowed = ", ".join(f'"{each}"' for each in UNIT_SYSTEMS)
        raise InputError(f"units is {units!r}; allowed: {allowed}.")


def shown(metric: T, american: T) -> tuple[T, ...]:
    """Take of a thing said in both systems what the choice asks for: one, or both in this order.

    Parameters
    ----------
    metric, american : object
        The same in metric and in US units.
    """
    return {"metric": (metric,), "US": (american,), "both": (metric, american)}[units_in_use()]


def in_units(metric: str, american: str) -> str:
    """Write a thing said in both systems as the choice has it, US units in brackets behind.

    Parameters
    ----------
    metric, american : str
        The same in metric and in US units.
    """
    first, *second = shown(metric, american)
    return f"{first} ({second[0]})" if second else first
