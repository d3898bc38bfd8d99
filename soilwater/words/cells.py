"""Cells of messy tables: the number and the unit in one, and the decimal sign it proves."""

from __future__ import annotations

import re

from soilwater.words.unit_texts import feet_and_inches, plain_characters, plain_number

_MISSING_WORDS = frozenset(
    (
        "",
        "-",
        "--",
        "–",
        "—",
        ".",
        "na",
        "n/a",
        "n.a.",
        "nan",
        "nat",
        "none",
        "null",
        "missing",
        "#n/a",
        "#nv",
    )
)


def is_missing_word(cell: str) -> bool:
    """Whether a cell is empty, a dash or a word for missing."""
    return plain_characters(cell).lower() in _MISSING_WORDS


LONGEST_NUMBER = 100
"""Characters of the longest cell that is looked at as a number with its unit (our own choice)."""


def parse_number(text: str, decimal: str = ".") -> tuple[float | None, str]:
    """Read the number, and the unit if there is one, of a cell.

    Parameters
    ----------
    text : str
        The cell: ``"22%"``, ``"0.28"``, ``"14 3/4 in"``, ``"1'2"``, ``""``.
    decimal : str, optional
        Decimal sign, ``"."`` or ``","``. The other one is then taken as thousands separator, and
        only where three digits follow it.

    Returns
    -------
    value : float or None
        The number as written (feet and inches in inches); None for an empty cell, a dash or a
        word for missing. Number codes for missing (-999) are numbers here.
    unit : str
        Unit text behind the number, ``""`` if there is none.

    Raises
    ------
    ValueError
        When the cell holds something else.

    Examples
    --------
    >>> parse_number("22%")
    (22.0, '%')
    >>> parse_number("0,28", decimal=",")
    (0.28, '')
    >>> parse_number("n/a")
    (None, '')
    """
    if len(text) > LONGEST_NUMBER:
        raise ValueError(f"{text[:20]!r}... of {len(text)} characters is not a number")
    plain = plain_characters(text)
    if plain.lower() in _MISSING_WORDS:
        return None, ""
    grouped = _GROUPED.fullmatch(plain)
    if grouped is not None:
        plain = re.sub(r"[' ]", "", grouped[1]) + grouped[2]
    plain = _POWER_OF_TEN.sub(r"\1e\2", plain, count=1)
    inches = feet_and_inches(plain)
    if inches is not None:
        return inches, "in"
    match = _CELL.fullmatch(plain)
    if match is not None:
        sign, digits, unit = match.groups()
        value = _number_with(digits, decimal)
        if value is not None and (not unit or looks_like_unit(unit)):
            return (-value if sign == "-" else value), unit
    raise ValueError(f"{text!r} is not a number")


def looks_like_unit(text: str) -> bool:
    """Tell whether a text is made of unit words and signs only.

    Parameters
    ----------
    text : str
        Such as ``"cm"``, ``"% by volume"`` or ``"mm h-1"``.

    Returns
    -------
    bool
        Whether every word of it is a unit or belongs to one.

    Examples
    --------
    >>> looks_like_unit("g/cm3"), looks_like_unit("from surface")
    (True, False)
    """
    if len(text) > LONGEST_NUMBER:
        return False
    # A tonne stands in no other unit here, and a lone "T" is a name.
    plain = re.sub(r"\bt(?=\s*(/\s*m|m-))", "mg", plain_characters(text).lower())
    words = [word for word in re.split(r"[^a-z%°]+", plain.replace("%", " % ")) if word]
    return all(word in _UNIT_WORDS for word in words) and any(
        word not in _UNIT_FILLERS for word in words
    )


_UNIT_FILLERS = frozenset(
    ("of", "by", "per", "water", "h2o", "o", "v", "w", "us", "uk", "sq", "vol")
)
_UNIT_WORDS = _UNIT_FILLERS | frozenset(
    (
        "%", "percent", "pct", "cent", "vwc", "volume", "mass", "weight", "wt", "fraction",
        "um", "mm", "cm", "m", "in", "inch", "inches", "ft", "feet", "foot", "yd",
        "pa", "hpa", "kpa", "mpa", "mbar", "mb", "cbar", "cb", "bar", "bars", "psi", "atm", "pf",
        "centibar",
        "s", "sec", "min", "mins", "h", "hr", "hrs", "hour", "hours", "d", "day", "days",
        "pcf", "cc", "dm", "g", "kg", "mg", "lb", "lbs", "l", "ml", "gal", "gallon", "gallons",
        "gpm", "ha", "acre", "acres", "°", "°c", "°f", "deg", "degc", "degf", "degrees", "c",
        "f", "k",
        "j", "kj", "mj", "kw", "wh", "kwh", "ly", "ds", "ppm", "km", "mph", "kph", "kn", "kt",
        "knots", "meter", "meters", "metre", "metres", "millimeters", "millimetres", "second",
        "seconds", "minute", "minutes", "mile", "miles", "kilometers", "kilometres", "watt",
        "watts",
    )
)  # fmt: skip

_POWER_OF_TEN = re.compile(r"^([-+]?[\d.,]+)\s*[x×·*]\s*10\s*(?:\^\s*\(?|(?=[-+]))([-+]?\d+)\)?")
# Thousands set apart as in 15'000 and 15 000, which is no feet and inches.
_GROUPED = re.compile(r"([-+]?[1-9]\d{0,2}(?:['\s]\d{3})+)(?!\d)(.*)")

_DIGITS = (
    r"(?:\d+[\s-]+)?\d+\s*/\s*0*[1-9]\d*(?![\d/])"
    r"|(?:\d+(?:[.,]\d+)*[.,]?|[.,]\d+)(?:[eE][-+]?\d+)?"
)
_CELL = re.compile(rf"([-+]?)\s*({_DIGITS})(?![\d.,])\s*(.*)")


def value_like(cell: str) -> bool:
    """Whether a cell begins as numbers, dates and the like do."""
    return re.match(r"[-+<>~]?\s*[.,]?\d", plain_characters(cell[:LONGEST_NUMBER])) is not None


def _number_with(digits: str, decimal: str) -> float | None:
    """Value of `digits` under a decimal sign; None where the signs do not fit it."""
    if "/" in digits:
        return plain_number(digits)
    thousands = "," if decimal == "." else "."
    if thousands in digits:
        grouped = rf"[1-9]\d{{0,2}}(?:\{thousands}\d{{3}})+(?:\{decimal}\d*)?"
        if re.fullmatch(grouped, digits) is None:
            return None
    try:
        return float(digits.replace(thousands, "").replace(decimal, "."))
    except ValueError:
        return None


def decimal_sign(cell: str) -> str:
    """Decimal sign a cell proves: ``"."``, ``","``, ``"?"`` for ``1,500``, or ``""``."""
    if len(cell) > LONGEST_NUMBER or ("," not in cell and "." not in cell):
        return ""
    match = _CELL.fullmatch(plain_characters(cell))
    if match is None or (match[3] and not looks_like_unit(match[3])):
        return ""
    digits = match[2]
    readings = {sign for sign in ".," if _number_with(digits, sign) is not None}
    if len(readings) == 1:
        return readings.pop()
    return "?" if len(readings) == 2 and "," in digits else ""


def parse_or_none(cell: str, decimal: str = ".") -> float | None:
    """Give the number in a cell, or None where it is empty or no number.

    Parameters
    ----------
    cell : str
        As written.
    decimal : str
        Decimal sign.

    Returns
    -------
    float or None
    """
    try:
        return parse_number(cell, decimal)[0]
    except ValueError:
        return None
