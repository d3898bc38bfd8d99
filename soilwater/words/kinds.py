"""What kind of thing an argument should have been, looked up once something has gone wrong.

Public functions do not look at every argument before they begin: most are looked at where they are
read. What gets through and fails as an error of Python is held against the signature here, and the
argument of another kind is named.
"""

from __future__ import annotations

import datetime
import inspect
import math
import os
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from numbers import Integral, Real
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

import numpy as np

from soilwater.words import forms
from soilwater.words.errors import Faults, InputError, by_kind

_MANY = ("Dates", "OutputTimes", "StartingWater", "Suctions", "WaterContents", "Temperatures",
         "VapourPressures", "DailyRadiation", "Radiation", "WindSpeeds")  # fmt: skip
_FORMS = frozenset(name for name in vars(forms) if name[0].isupper()) - {"Any", "TypeAlias"}
_IN_WORDS = {
    "int": "a whole number", "float": "a number", "str": "a text", "bool": "True or False",
    "Date": "a date such as \"2025-07-01\"", "None": "None", "Mapping": "a mapping",
    "Sequence": "a sequence", "Iterable": "several", "Path": "a path",
}  # fmt: skip


def wrong_kinds(
    function: Callable[..., Any], given: tuple[Any, ...], named: Mapping[str, Any], subject: str
) -> InputError | None:
    """Find the arguments of a call that are of another kind than its signature says.

    Parameters
    ----------
    function : callable
        What was called.
    given, named : tuple, mapping of str to object
        Its arguments.
    subject : str
        How people know it.

    Returns
    -------
    InputError or None
        None where every argument is of its kind: then the error is not of the caller.
    """
    signature = inspect.signature(function)
    try:
        bound = signature.bind(*given, **named)
    except TypeError:
        return None
    faults = Faults(subject)
    for name, value in bound.arguments.items():
        parameter = signature.parameters[name]
        known_kind = parameter.annotation is not parameter.empty
        if name in ("self", "cls") or parameter.kind is parameter.VAR_KEYWORD or not known_kind:
            continue
        kinds = _split(str(parameter.annotation))
        known = function.__globals__ if hasattr(function, "__globals__") else {}
        for each in value if parameter.kind is parameter.VAR_POSITIONAL else (value,):
            if not any(_fits(each, kind, known) for kind in kinds):
                cure = _as_number(each, kinds)
                faults.add(f"{name} is {by_kind(each)}", allowed=_told(kinds), cure=cure)
            elif name == "seed" and each < 0:
                faults.add(f"seed is {each}", allowed="a whole number, 0 or more")
    return faults.as_error() if faults else None


def _as_number(given: Any, kinds: Sequence[str]) -> str:
    """Say how to write a number that was given as a text, in per cent or not; else nothing."""
    text = given.strip() if isinstance(given, str) else ""
    with suppress(ValueError):
        number = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
        if "float" in kinds and math.isfinite(number):
            return f"write {number:.15g}"
        if "int" in kinds and number.is_integer():
            return f"write {int(number)}"
    return ""


def _split(annotation: str) -> list[str]:
    """Alternatives of an annotation, those between brackets kept whole."""
    parts, depth, start = [], 0, 0
    for i, sign in enumerate(annotation):
        depth += (sign == "[") - (sign == "]")
        if sign == "|" and depth == 0:
            parts.append(annotation[start:i].strip())
            start = i + 1
    return [*parts, annotation[start:].strip()]


def _fits(value: Any, kind: str, known: Mapping[str, Any]) -> bool:
    name, _, inside = kind.partition("[")
    name = name.rsplit(".", 1)[-1]
    inside = inside.rstrip("]") if not inside.count("[") else inside[:-1]
    if name == "Literal":
        return isinstance(value, str) and f'"{value}"' in kind.replace("'", '"')
    if name in _PLAIN:
        return _PLAIN[name](value)
    if name == "Angle":
        return _is_number(value)
    if name in _FORMS:
        many = name in _MANY or name == "Suction"
        return _is_amount(value, dates=name in ("Date", "Dates", "OutputTimes")) or (
            many and _are_numbers(value)
        )
    if name in ("Sequence", "Iterable", "list", "tuple", "Collection"):
        if isinstance(value, str | bytes) or not isinstance(value, Iterable):
            return False
        parts = _split(inside.split(",")[0]) if inside and "[" not in inside else []
        listed = value if isinstance(value, Sequence) else ()
        return not parts or all(any(_fits(v, p, known) for p in parts) for v in listed)
    return _of_type(value, known.get(name, Any))


def _of_type(value: Any, kind: Any) -> bool:
    """Whether a value is of a class, or of what an alias stands for."""
    if kind is Any:
        return True
    name = getattr(kind, "__name__", "")
    if name in _PLAIN and not get_args(kind):
        return _PLAIN[name](value)
    if getattr(kind, "_is_protocol", False):
        parts = {*getattr(kind, "__annotations__", {}), *vars(kind)}
        return all(hasattr(value, part) for part in parts if not part.startswith("_"))
    if inspect.isclass(kind) and not get_args(kind):
        return isinstance(value, kind)
    origin = get_origin(kind)
    if origin in (Union, UnionType):
        return any(_of_type(value, each) for each in get_args(kind))
    if origin is Literal:
        return isinstance(value, str) and value in get_args(kind)
    if inspect.isclass(origin):
        return isinstance(value, origin) and not isinstance(value, str)
    return True


def _is_number(value: Any) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool) and _is_finite(value)


def _is_finite(value: Any) -> bool:
    try:
        return math.isfinite(float(value))
    except (OverflowError, ValueError, TypeError):
        return False


def _is_amount(value: Any, dates: bool = False) -> bool:
    """Whether it is a number, a text with a unit or a Quantity; where dates are due, those."""
    if dates and isinstance(value, (np.datetime64, datetime.date)):
        return not (isinstance(value, np.datetime64) and np.isnat(value))
    return _is_number(value) or isinstance(value, str) or hasattr(value, "magnitude")


def _are_numbers(value: Any) -> bool:
    if isinstance(value, Mapping) or hasattr(value, "data_vars"):
        return hasattr(value, "data_vars") and bool(value.data_vars)
    try:
        array = np.asarray(value)
    except (TypeError, ValueError):
        return False
    return array.size > 0 and array.dtype.kind in "iufM"


_PLAIN: dict[str, Callable[[Any], bool]] = {
    "Any": lambda value: True,
    "object": lambda value: True,
    "None": lambda value: value is None,
    "int": lambda value: isinstance(value, Integral) and not isinstance(value, bool),
    "float": _is_number,
    "str": lambda value: isinstance(value, str),
    "bool": lambda value: isinstance(value, bool | np.bool_),
    "Path": lambda value: isinstance(value, str | os.PathLike),
    "Mapping": lambda value: isinstance(value, Mapping),
    "dict": lambda value: isinstance(value, Mapping),
    "Callable": callable,
    "Dataset": lambda value: hasattr(value, "data_vars"),
    "DataFrame": lambda value: hasattr(value, "iloc"),
    "DataArray": lambda value: hasattr(value, "dims"),
    "NDArray": _are_numbers,
    "FloatArray": _are_numbers,
    "ArrayLike": _are_numbers,
}


def _told(kinds: Sequence[str]) -> str:
    words = []
    for kind in kinds:
        name = re.split(r"\[", kind)[0].rsplit(".", 1)[-1]
        inside = kind[kind.index("[") + 1 : -1] if "[" in kind else ""
        if name == "Literal":
            words.append(inside.replace("'", '"').replace(", ", " or "))
        elif name == "Angle":
            words.append("a number of degrees, such as 60.0")
        elif name in _FORMS and name != "Date":
            words.append("a number, or a text with its unit")
        elif inside and name in ("Sequence", "Iterable"):
            words.append(f"several: {inside}")
        else:
            article = "an" if name[:1] in "AEIOU" else "a"
            words.append(_IN_WORDS.get(name, f"{article} {name}"))
    return " or ".join(dict.fromkeys(words))
