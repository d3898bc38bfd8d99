"""Which units people read: one switch for every text, table, picture, card and report."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from typing import Any, Literal, TypeAlias, TypeVar, get_args

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


class Worded(str):
    """A sentence that is kept with an answer, and is read in the units in use when it is shown.

    As a text it is what it was when it was made; ``str()`` of it, and an f-string that holds it,
    say it in the units in use by then. Kept in all systems, it can be copied and pickled.
    """

    variants: dict[UnitSystem, str]

    def __new__(cls, variants: dict[UnitSystem, str]) -> Worded:
        """Take the sentence by units."""
        made = super().__new__(cls, variants[units_in_use()])
        made.variants = variants
        return made

    def __getnewargs__(self) -> Any:
        """Tell what a copy is made of."""
        return (self.variants,)

    def __str__(self) -> str:
        """Say it in the units in use."""
        return self.variants[units_in_use()]

    def __format__(self, form: str) -> str:
        """Say it in the units in use, within another sentence."""
        return format(str(self), form)


def worded(say: Callable[[], str]) -> str:
    """Make a sentence that is shown in the units in use then, not those it was made in.

    Parameters
    ----------
    say : callable
        Says it in the units in use.

    Returns
    -------
    str
        A plain text where it names no units.

    Examples
    --------
    >>> from soilwater.words.quantities import in_people_units
    >>> kept = worded(lambda: f"the rods are {in_people_units(7.62, 'length')} long")
    >>> with use_units("US"):
    ...     print(f"noted: {kept}")
    noted: the rods are 3.0 in long
    """
    variants: dict[UnitSystem, str] = {}
    for units in UNIT_SYSTEMS:
        with use_units(units):
            variants[units] = f"{say()}"
    said = set(variants.values())
    return said.pop() if len(said) == 1 else Worded(variants)


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
