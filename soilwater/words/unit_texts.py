"""Texts with a number and a unit, as people write them."""

from __future__ import annotations

import re
import unicodedata

_DECIMAL = r"(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_NUMBER = rf"(?:(?:\d+[\s-]+)?\d+\s*/\s*0*[1-9]\d*|{_DECIMAL})"
NUMBER_AND_UNIT = re.compile(rf"([-+]?)\s*({_NUMBER})(?![\d,.])\s*(.*)", re.DOTALL)
FEET_AND_INCHES = re.compile(
    rf"""([-+]?)\s*
    (?:({_NUMBER})\s*(?:ft\.?|feet|foot|')\s*,?)?\s*
    (?:({_NUMBER})\s*(in\.?|inch|inches|"|''|))?""",
    re.VERBOSE | re.IGNORECASE,
)
RATIO = re.compile(rf"({_NUMBER})\s*(?::|\bin\b)\s*({_NUMBER})", re.IGNORECASE)
PER_CENT = re.compile(
    r"(?:vol\.?\s*)?(?:%|per\s?cent)(?:\s*\(?(?:by\s+volume|v/v|vol\.?|vwc)\)?)?", re.IGNORECASE
)


def plain_characters(text: str) -> str:
    """Write typographic fractions, quotes, primes, exponents and minus signs as plain characters.

    Parameters
    ----------
    text : str
        Such as ``"14¾″"`` or ``"kPa⁻¹"``.

    Returns
    -------
    str
        Stripped: ``'14 3/4"'``, ``"kPa-1"``.
    """
    if text.isascii():
        return text.strip()
    spaced = "".join(
        f" {character}" if unicodedata.decomposition(character).startswith("<fraction>") else
        character
        for character in text
    )  # fmt: skip
    plain = unicodedata.normalize("NFKC", spaced)
    return plain.translate(str.maketrans("⁄−‘’′“”μ", "/-'''\"\"u")).replace("″", '"').strip()


def plain_number(text: str) -> float:
    """Read a number without sign or unit.

    Parameters
    ----------
    text : str
        Plain characters such as ``14 3/4``, ``14-3/4``, ``3/4`` or ``14.75``.

    Returns
    -------
    float
        Its value.
    """
    fraction = re.fullmatch(r"(?:(\d+)[\s-]+)?(\d+)\s*/\s*(\d+)", text.strip())
    if fraction is None:
        return float(text)
    whole, top, bottom = (int(part or 0) for part in fraction.groups())
    return whole + top / bottom


def feet_and_inches(text: str) -> float | None:
    """Read a length in feet and inches.

    Parameters
    ----------
    text : str
        Plain characters such as ``1 ft 2 in``, ``1'2"``, ``1'2`` or ``14 3/4 in``.

    Returns
    -------
    float or None
        Inches; None for any other text.
    """
    match = FEET_AND_INCHES.fullmatch(text)
    if match is None:
        return None
    sign, feet, inches, mark = match.groups()
    if feet is None and not mark:
        return None
    total = 12 * (plain_number(feet) if feet else 0.0) + (plain_number(inches) if inches else 0.0)
    return -total if sign == "-" else total


_UK = r"\b(?:uk|imp(?:erial)?\.?)[\s_]*"


SPELLINGS: tuple[tuple[str, str], ...] = (
    (rf"{_UK}gpm\b", "imperial_gallon/min"),
    (rf"{_UK}gal(?:lons?)?\b", "imperial_gallon"),
    (r"\b(?:us\s*)?gpm\b", "gallon/min"),
    (r"\bus\s*gal(?:lons?)?\b", "gallon"),
    (r"\s*\bof\s+water\b|[\s_]*H2O\b", ""),
    (r"\bsq(?:uare|\.)?\s*(ft|feet|foot|in|inch|inches|yd|m|meters?|metres?)\b", r"\1**2"),
    (r"\bper\b", "/"),
    (r"\bacre-(ft|feet|in|inch|inches)\b", r"acre*\1"),
    (r"/\s*1[, ]?000\s*(?=[a-z])", "/1000/"),
    (r"(?<=[a-z])\^?(-?[1-9])\b", r"**\1"),
    (r"\bin\.", "in"),
    (r"\bcb\b", "cbar"),
    (r"\bpcf\b", "lb/ft**3"),
    (r"\bmb\b", "mbar"),
    (r"\bkpa\b", "kPa"),
    (r"\bhpa\b", "hPa"),
    (r"^\s*/", "1/"),
)
