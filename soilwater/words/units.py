"""Edge conversions: what people write in, floats in house units out.

Every public argument that has a unit goes through `to_house` (or `number_to_house` for a single
value): floats are taken to be in the house unit, text such as ``"14 3/4 in"`` and pint quantities
are converted. Inside the package there are only floats in house units. pint is imported, and its
registry made once, only when a text really needs it.
"""

from __future__ import annotations

import datetime
import math
import numbers
import re
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.words.errors import Faults, InputError, UnitError, by_kind
from soilwater.words.quantities import CM_PER_INCH, KINDS
from soilwater.words.unit_texts import (
    NUMBER_AND_UNIT,
    PER_CENT,
    RATIO,
    SPELLINGS,
    feet_and_inches,
    plain_characters,
    plain_number,
)


def to_house(value: Any, quantity: str, name: str) -> float | NDArray[np.float64]:
    """Convert what a person wrote to the house unit of its quantity.

    Parameters
    ----------
    value : float, str, pint.Quantity, or array or list of these
        Floats are in the house unit already. Text needs a unit. An array with a ``units``
        attribute (xarray) is converted from that unit. Timedeltas are taken as durations.
    quantity : str
        What is measured: a key of `HOUSE_UNITS`.
    name : str
        Name of the argument, for the message.

    Returns
    -------
    float or ndarray of float64
        In the house unit; the same shape as `value`.

    Raises
    ------
    UnitError
        For text without a unit, for units that are unknown or measure something else, for booleans
        and for things that are no quantity at all.
    InputError
        For missing and infinite values, naming the first, and for water contents outside 0 to 1.

    Examples
    --------
    >>> to_house("12 in", "length", "root_zone")
    30.48
    >>> to_house([0.1, 0.22], "water_content", "readings")
    array([0.1 , 0.22])
    """
    if isinstance(value, float) and quantity in KINDS:
        # Most that is given is such a number, and soils are made by the thousand.
        fit = 0.0 <= value <= 1.0 if quantity == "water_content" else math.isfinite(value)
        if fit:
            return float(value)
    if quantity not in KINDS:
        raise KeyError(f"{quantity!r} is no quantity of this package; use one of {list(KINDS)}")
    result = _convert(value, quantity, name)
    if isinstance(result, np.ndarray) and result.ndim == 0:
        result = float(result)
    _check_finite(result, quantity, name)
    if quantity == "water_content":
        _check_water_content(result, name, bare=isinstance(value, numbers.Real))
    return result


def number_to_house(value: Any, quantity: str, name: str) -> float:
    """Convert a single value to the house unit of its quantity.

    Parameters
    ----------
    value : float, str or pint.Quantity
        As for `to_house`, but one value only.
    quantity : str
        What is measured: a key of `HOUSE_UNITS`.
    name : str
        Name of the argument, for the message.

    Returns
    -------
    float
        In the house unit.

    Raises
    ------
    InputError
        When `value` holds several values, and as for `to_house`.

    Examples
    --------
    >>> number_to_house("0.5 in/day", "evapotranspiration", "reference_et")
    12.7
    """
    result = to_house(value, quantity, name)
    if isinstance(result, np.ndarray):
        faults = Faults(name)
        faults.add(f"{result.size} values were given", allowed="one value")
        raise faults.as_error()
    return float(result)


def positive_number(value: Any, quantity: str, name: str, faults: Faults) -> float:
    """Check a number that has to be above 0.

    Parameters
    ----------
    value : float, str or Quantity
        What was given, in the house unit of its quantity or with a unit.
    quantity : str
        Its quantity.
    name : str
        What messages call it.
    faults : Faults
        Where a fault is noted.

    Returns
    -------
    float
        The number; of no use where a fault was noted.
    """
    number = math.nan
    with faults.catching():
        number = number_to_house(value, quantity, name)
    if number <= 0.0:
        faults.add(
            f"{name} is {value if isinstance(value, str) else f'{number:g}'}", allowed="above 0"
        )
    return number


# --- what kind of thing was handed in ------------------------------------------------------------


def _convert(value: Any, quantity: str, name: str) -> float | NDArray[np.float64]:
    """Send `value` to the conversion for its type; NaN passes, `to_house` looks for it."""
    if isinstance(value, (bool, np.bool_)):
        raise _refusal(name, f"{value!r} is a truth value", quantity)
    # Before the numbers: numpy counts its timedelta64 among the integers.
    if isinstance(value, (datetime.timedelta, np.timedelta64)):
        return _from_timedelta(np.asarray(value, dtype="timedelta64[ns]"), quantity, name)
    if isinstance(value, numbers.Real):
        try:
            return float(value)
        except OverflowError:
            return math.inf
    if isinstance(value, str):
        return _from_text(value, quantity, name)
    if _is_missing(value):
        return math.nan
    if _is_quantity(value):
        return _from_quantity(value, quantity, name)
    if isinstance(value, (list, tuple)):
        return _from_list(list(value), quantity, name)
    if hasattr(value, "__array__"):
        return _from_array(value, quantity, name)
    raise _refusal(name, f"{by_kind(value)} is no quantity", quantity)


def _is_missing(value: Any) -> bool:
    # pandas' NA and NaT by name: they are no numbers, and this floor does without pandas.
    return value is None or type(value).__name__ in ("NAType", "NaTType")


def _is_quantity(value: Any) -> bool:
    # Not isinstance: that would import pint for every float.
    return hasattr(value, "magnitude") and hasattr(value, "units") and hasattr(value, "to")


def _from_list(values: list[Any], quantity: str, name: str) -> NDArray[np.float64]:
    if all(type(value) in (int, float) for value in values):
        return np.array(values, dtype=np.float64)
    faults = Faults(name)
    converted: list[float | NDArray[np.float64]] = []
    for i, value in enumerate(values):
        with faults.catching():
            converted.append(_convert(value, quantity, f"{name}[{i}]"))
    faults.raise_if_any(UnitError)
    if len({np.shape(item) for item in converted}) > 1:
        faults.add("its rows differ in length", allowed="a rectangular array")
        raise faults.as_error()
    return np.array(converted, dtype=np.float64)


def _from_array(value: Any, quantity: str, name: str) -> NDArray[np.float64]:
    if not isinstance(value, np.ndarray) and _is_quantity(getattr(value, "data", None)):
        return np.asarray(_from_quantity(value.data, quantity, name), dtype=np.float64)
    if isinstance(value, np.ma.MaskedArray):
        value = np.ma.filled(value.astype(np.float64), np.nan)
    array = np.asarray(value)
    if array.dtype.kind == "m":
        return np.asarray(_from_timedelta(array, quantity, name), dtype=np.float64)
    if array.dtype.kind in "OUT":
        return _from_list(array.ravel().tolist(), quantity, name).reshape(array.shape)
    if array.dtype.kind not in "fiu":
        raise _refusal(name, f"an array of {array.dtype} is no quantity", quantity)
    unit = getattr(value, "attrs", {}).get("units")
    floats = np.array(array, dtype=np.float64)
    if not isinstance(unit, str):
        return floats
    return np.asarray(_times_unit(floats, unit, quantity, name, f'units "{unit}"'))


def _from_timedelta(value: NDArray[Any], quantity: str, name: str) -> float | NDArray[np.float64]:
    if quantity != "duration":
        what = f"a time span is not {KINDS[quantity].phrase}"
        raise _refusal(name, what, quantity)
    hours = value / np.timedelta64(1, "h")
    return float(hours) if hours.ndim == 0 else np.asarray(hours, dtype=np.float64)


# --- text ----------------------------------------------------------------------------------------

# Of one number with its unit; the patterns below take quadratic time on endless rows of digits.
_LONGEST_TEXT = 200

# Powers that no unit has, and that are worked out to the last digit: 9**9**9**9, 10**99999999.
_POWER = r"(?:\*\*|\^)\s*"
_ENDLESS = re.compile(
    rf"{_POWER}[-+]?(?:\d{{2,}}|\(|\d\s*{_POWER})|\)\s*{_POWER}|[⁰¹²³⁴-⁹]{{2,}}|\d[eE][-+]?\d{{3,}}"
)

# A sign that is not that of a power.
_SUM = re.compile(r"(?<![*^eE])\+|^\s*-|\s-\s")

# A power of one digit may stand in brackets: m s^(-1).
_IN_BRACKETS = re.compile(rf"({_POWER})\(\s*([-+]?\d)\s*\)")

_TEMPERATURE = re.compile(r"(?:°|deg(?:rees?)?)?\s*(c|f|k|celsius|fahrenheit|kelvin)", re.I)


def _from_text(text: str, quantity: str, name: str) -> float:
    if len(text) > _LONGEST_TEXT:
        what = f'"{text[:20]}..." has {len(text)} characters'
        raise _refusal(name, what, quantity, "write one number with its unit")
    plain = plain_characters(text)
    kind = KINDS[quantity]
    if kind.measures[0][0] in ("cm", "mm"):
        inches = feet_and_inches(plain)
        if inches is not None:
            return inches * (CM_PER_INCH if kind.house == "cm" else 10 * CM_PER_INCH)
    if quantity == "slope":
        ratio = RATIO.fullmatch(plain)
        if ratio is not None:
            return _from_ratio(plain_number(ratio[1]), plain_number(ratio[2]), text, name)
    split = NUMBER_AND_UNIT.fullmatch(plain)
    if split is None:
        cure = "write the decimal with a point and thousands without a comma" * ("," in plain)
        raise _refusal(name, f'"{text}" does not begin with a number', quantity, cure)
    sign, digits, unit = split.groups()
    value = -plain_number(digits) if sign == "-" else plain_number(digits)
    if not unit:
        cure = f"write {digits} without quotes if it is in the house unit, else add the unit"
        if quantity == "water_content" and 1.0 < value <= 100.0:
            cure = f'write "{digits} %"'
        raise _refusal(name, f'"{text}" has no unit', quantity, cure)
    return float(_times_unit(value, unit, quantity, name, f'"{text}"'))


def _from_ratio(rise: float, run: float, text: str, name: str) -> float:
    # Some write the run first ("4:1"): steeper than 1:1 is never meant for turf, so ask.
    if not 0 <= rise <= run or run == 0:
        raise _refusal(
            name, f'"{text}" is steeper than 1:1', "slope", "write the rise before the run"
        )
    return rise / run


# --- units ---------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    # Fractions: in floats the chain of factors from inch to mm ends beside 25.4, not on it.
    return pint.UnitRegistry(non_int_type=Fraction)


def _times_unit(value: Any, unit: str, quantity: str, name: str, given: str) -> Any:
    """`value` (float or array) of `unit`, in the house unit."""
    kind = KINDS[quantity]
    if quantity == "temperature":
        return _celsius(value, unit, name, given)
    dimensionless = kind.measures[0][0] == "1"
    if unit.strip() == kind.house or (dimensionless and unit.strip() == "1"):
        return value
    if dimensionless and PER_CENT.fullmatch(plain_characters(unit)):
        if quantity != "water_content" and len(unit.split()) > 2:
            raise _refusal(name, f"{given} is a volume fraction", quantity)
        return value / 100
    one = _one(unit)
    if one is None:
        raise _refusal(name, f'{given}: the unit "{unit}" is not known', quantity)
    return _times_one(value, one, unit, quantity, name, given)


@lru_cache(maxsize=256)
def _one(unit: str) -> Any:
    """One `unit` as a pint quantity; None when pint cannot read it."""
    spelled = plain_characters(unit)
    for pattern, replacement in SPELLINGS:
        spelled = re.sub(pattern, replacement, spelled, flags=re.IGNORECASE)
    spelled = _IN_BRACKETS.sub(r"\1\2", spelled)
    # A sign before a unit is none of its own: "18+ in" is no 18 in, nor "18 in + 2 in" any length.
    if _ENDLESS.search(spelled) or _SUM.search(spelled):
        return None
    try:
        one = _registry().parse_expression(spelled)
    except Exception:  # pint raises a dozen unrelated classes for text it cannot read
        return None
    return one if _is_quantity(one) else None


def _from_quantity(value: Any, quantity: str, name: str) -> float | NDArray[np.float64]:
    given = f'"{value}"' if np.ndim(value.magnitude) == 0 else f'units "{value.units}"'
    if quantity == "temperature":
        try:
            celsius = value.to("degC").magnitude
        except Exception:  # another registry's exceptions cannot be named without importing it
            raise _refusal(name, f"{given}: not a temperature", quantity) from None
        return _convert(celsius, quantity, name)
    magnitude = _convert(value.magnitude, quantity, name)
    one = type(value)(1.0, value.units)
    result = _times_one(magnitude, one, str(value.units), quantity, name, given)
    return result if isinstance(result, np.ndarray) else float(result)


def _times_one(value: Any, one: Any, unit: str, quantity: str, name: str, given: str) -> Any:
    """`value` times the pint quantity `one`, in the house unit."""
    kind = KINDS[quantity]
    # Radians and counts have no dimension either, but they are not pure numbers.
    angle = one.dimensionless and not one.to_base_units().unitless
    if angle and quantity == "slope":
        return np.tan(value * float(one.to("radian").magnitude))
    for house, factor in kind.measures:
        if not angle and one.is_compatible_with(house):
            return value * float(one.to(house).magnitude * factor)
    raise _refusal(name, f'{given}: "{unit}" does not measure {kind.phrase}', quantity)


def _celsius(value: Any, unit: str, name: str, given: str) -> Any:
    match = _TEMPERATURE.fullmatch(plain_characters(unit))
    if match is None:
        raise _refusal(name, f'{given}: "{unit}" does not measure a temperature', "temperature")
    scale = match[1][0].lower()
    if scale == "f":
        return (value - 32) / 1.8
    return value - 273.15 if scale == "k" else value


# --- messages ------------------------------------------------------------------------------------


def _allowed(quantity: str) -> str:
    kind = KINDS[quantity]
    examples = ", ".join(f'"{example}"' for example in kind.examples)
    return f"a number ({kind.house}) or text with a unit such as {examples}"


def _refusal(name: str, what: str, quantity: str, cure: str = "") -> InputError:
    """Make the exception for a text, unit or thing that cannot be taken."""
    faults = Faults(name)
    faults.add(what, allowed=_allowed(quantity), cure=cure)
    return faults.as_error(UnitError)


def _check_finite(result: float | NDArray[np.float64], quantity: str, name: str) -> None:
    if isinstance(result, float) and math.isfinite(result):
        return
    bad = ~np.isfinite(result)
    if not np.any(bad):
        return
    faults = Faults(name)
    allowed = f"finite numbers ({KINDS[quantity].house})"
    if isinstance(result, np.ndarray):
        first = tuple(int(i) for i in np.argwhere(bad)[0])
        count = f"{int(bad.sum())} of {result.size} values are missing or not finite"
        where = f"[{', '.join(map(str, first))}]"
        faults.add(f"{count}, the first at {where}", allowed=allowed, cure="fill or drop them")
    elif math.isnan(result):
        faults.add("the value is missing", allowed=allowed, cure="give a number")
    else:
        faults.add("the value is infinite", allowed=allowed, cure="give a number")
    raise faults.as_error()


def _check_water_content(result: float | NDArray[np.float64], name: str, *, bare: bool) -> None:
    values = np.atleast_1d(result)
    bad = (values < 0) | (values > 1)
    if not bad.any():
        return
    first = tuple(int(i) for i in np.argwhere(bad)[0])
    value = float(values[first])
    if 1 < value <= 100 and (bare or isinstance(result, np.ndarray)):
        cure = f"it looks like per cent: write {value / 100:.4g} or '{value:.4g} %'"
    else:
        cure = "check the column, the unit and the code for missing values"
    faults = Faults(name)
    faults.add(
        f"{value:.6g} is not a water content by volume",
        where=f"[{', '.join(map(str, first))}]" if isinstance(result, np.ndarray) else "",
        allowed="fractions from 0 to 1, or text such as '22 %'",
        cure=cure,
    )
    raise faults.as_error()
