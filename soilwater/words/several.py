"""Arguments that hold several things: taken as a tuple, or refused with what to write."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from numbers import Real
from typing import Any

import numpy as np

from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, by_kind


def items_of(given: Any, name: str, cure: str, faults: Faults) -> tuple[Any, ...]:
    """Take what an argument holds, in its order.

    Parameters
    ----------
    given : object
        What was given.
    name : str
        Name of the argument.
    cure : str
        What to write.
    faults : Faults
        Takes what is wrong; nothing is returned then.
    """
    if isinstance(given, Iterable) and not isinstance(given, (str, bytes)):
        return tuple(given)
    faults.add(f"{name} is {by_kind(given)}", cure=cure)
    return ()


def many_times(given: Any) -> Any:
    """Keep what an argument holds where it could be gone through only once; else as it is."""
    return tuple(given) if isinstance(given, Iterator) else given


def number_of(given: Any) -> float:
    """Take a plain number; NaN for whatever is none, texts and truth values with it."""
    if not isinstance(given, Real) or isinstance(given, bool):
        return math.nan
    try:
        return float(given)
    except OverflowError:
        return math.inf


def numbers_of(given: Any, name: str, cure: str, faults: Faults) -> FloatArray:
    """Take plain numbers as an array; its arguments are those of `items_of`."""
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        faults.add(f"{name} holds what is no number", cure=cure)
    return np.zeros(0)


def pairs_of(given: Any, name: str, cure: str, faults: Faults) -> tuple[tuple[Any, Any], ...]:
    """Take the pairs an argument holds; its arguments are those of `items_of`."""
    items = items_of(given, name, cure, faults)
    pairs = [
        tuple(each) if isinstance(each, Iterable) and not isinstance(each, str) else ()
        for each in items
    ]
    if all(len(each) == 2 for each in pairs):
        return tuple((first, second) for first, second in pairs)
    faults.add(f"{name} holds what is no pair", cure=cure)
    return ()
