"""Units of a lab sheet: suctions in cm, water contents on their basis, and what looks likely."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.lab import sheet_languages as other
from soilwater.lab.sheet_words import plain
from soilwater.words.errors import InputError
from soilwater.words.units import to_house

LOG_SUCTION = "log10 cm"
"""How a suction given as the base-10 logarithm of cm of water is named."""

LARGEST_LOG_SUCTION = 7.0
"""Base-10 logarithm of cm that an oven at 105 degC leaves (common practice, no source)."""

_SUCTION_WORDS = re.compile(
    rf"(\bof\s+)?\b(water|h2o|w\.?c\.?|head|suction|tension|{other.WATER})(\b|$)", re.IGNORECASE
)

# Energy by mass of water of 1 g/cm3, and mercury of 13.5951 g/cm3 (NIST SP 811, 2008, B.8).
_IN_OTHER_WORDS = {
    "j/kg": "kPa",
    "jkg-1": "kPa",
    "mmhg": "1.35951 cm",
    "cmhg": "13.5951 cm",
    "mpa": "MPa",
}
_SMALL_LETTERS = ("psi", "bar", "mbar", "cbar", "atm", "cm", "mm", "in", "ft")


_SHARES = (
    (r"\bg ?/ ?100 ?g\b", "mass", 0.01),
    (r"\bg ?/ ?kg\b|\bg kg-1", "mass", 0.001),
    (r"\b(ml|cm3|cc) ?/ ?100 ?(ml|cm3|cc)\b|\bmm ?/ ?(100 ?mm|10 ?cm|dm)\b", "volume", 0.01),
    (r"‰|\bper ?mille?\b|\bpromille\b", None, 0.001),
    (r"\bmm ?/ ?m\b|\bmm m-1|\bl ?/ ?m3\b|\bl m-3|\bml ?/ ?l\b", "volume", 0.001),
)
"""Parts of a mass or a volume in other words than per cent, with their basis and size."""


class WaterUnit(NamedTuple):
    """How a water content is given; None where the text does not say.

    ``basis`` is ``"volume"``, ``"mass"``, ``"saturation"`` or ``"air"`` (pores that have drained),
    ``scale`` 1 for fractions and 0.01
    for per cent.
    """

    basis: str | None
    scale: float | None


def water_unit(text: str) -> WaterUnit:
    """Read basis and scale of a water content from header and unit words.

    Parameters
    ----------
    text : str
        Such as ``"gravimetric water content %"`` or ``"% by volume"``.

    Returns
    -------
    WaterUnit
    """
    words = plain(text)
    basis = None
    if re.search(r"(degree of|relative|of|%) saturation|^saturation|of (the )?pore", words):
        basis = "saturation"
    elif re.search(
        r"gravim.tri|\bmass(e|a|en|ique)?\b|gewicht|\bgew\b|\bpeso\b|\bpoids\b|pond.ral|weight"
        r"|\bm\.? ?-? ?%|\bwt\b|w/w|g/g|g g-1|kg kg-1|\bgwc\b",
        words,
    ):
        basis = "mass"
    elif re.search(r"air.?filled|of air|aeration|air (space|capacity)|non.?capillary", words):
        basis = "air"
    elif re.search(
        r"capillary po|volumetric|volum|\bvol\b|v/v|[cm]m?3 ?/ ?[cm]m?3|m3 m-3|cm3 cm-3|\bvwc\b"
        r"|theta|θ",
        words,
    ):
        basis = "volume"
    scale = None
    for pattern, of, size in _SHARES:
        if re.search(pattern, words):
            return WaterUnit(basis or of, size)
    if re.search(r"%|percent|per cent|\bpct\b", words):
        scale = 0.01
    elif re.search(
        r"fraction|m3 ?/ ?c?m3|m3 m-3|cm3 cm-3|g/g|g g-1|kg kg-1|\bv/v\b|\bw/w\b", words
    ):
        scale = 1.0
    return WaterUnit(basis, scale)


def stated_water_unit(text: str) -> WaterUnit:
    """Read the argument `water_content_unit`, which must say both basis and scale.

    Parameters
    ----------
    text : str
        Such as ``"% by volume"``, ``"fraction by mass"`` or ``"% of saturation"``.

    Returns
    -------
    WaterUnit

    Raises
    ------
    InputError
        If it leaves one of the two open.
    """
    unit = water_unit(text)
    if unit.basis is None or unit.scale is None:
        raise InputError(
            f'water_content_unit="{text}" must say both: per cent or fraction, and by volume, by '
            'mass or of saturation; e.g. "% by volume", "fraction by mass", "% of saturation".'
        )
    return unit


def suction_in_cm(values: NDArray[np.float64], unit: str) -> NDArray[np.float64]:
    """Convert suctions of a named unit.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Numbers as written.
    unit : str
        Such as ``"kPa"``, ``"cm of water"``, ``"cbar"`` or ``"log10 cm"``.

    Returns
    -------
    ndarray, shape (n,)
        Suctions [cm].

    Raises
    ------
    InputError
        If the unit does not measure suction.
    """
    if is_log_suction(unit):
        # What is larger is no exponent, and would overflow.
        base = re.search(r"(mpa|[kh]?pa|m?bar|mm|in)\b", plain(unit))
        factor = 1.0 if base is None else float(suction_in_cm(np.ones(1), base[1])[0])
        return factor * np.power(10.0, np.minimum(values, LARGEST_LOG_SUCTION + 1.0))
    bare = _SUCTION_WORDS.sub("", unit).strip(" .()") or unit
    small = re.sub(r"\s", "", bare).lower()
    bare = _IN_OTHER_WORDS.get(small, small if small in _SMALL_LETTERS else bare)
    amount = bare if bare[:1].isdigit() else f"1 {bare}"
    return values * float(to_house(amount, "suction", "suction"))


def is_log_suction(unit: str) -> bool:
    """Tell whether a unit text means a base-10 logarithm, of cm where it names no other.

    Parameters
    ----------
    unit : str
        Such as ``"log10 cm"`` or ``"pF"``.

    Returns
    -------
    bool
    """
    return bool(re.search(r"\blo?g(?![a-z])|^pf$", plain(unit)))


def rank_suction_units(middle: float) -> list[str]:
    """Rank the units of suction, the one first that makes the most usual release curve.

    Parameters
    ----------
    middle : float
        Number in the middle of the suctions as written, above 0.

    Returns
    -------
    list of str
    """
    far = {
        # Release curves of root-zone sands are measured around 25 cm (common practice).
        unit: abs(float(np.log(suction_in_cm(np.array([middle]), unit)[0] / 25.0)))
        for unit in ("cm", "kPa", "in", "mm", LOG_SUCTION, "bar", "m")
        if unit != LOG_SUCTION or middle < LARGEST_LOG_SUCTION
    }
    return sorted(far, key=far.__getitem__)


def guess_suction(values: NDArray[np.float64]) -> tuple[str, str]:
    """Say in which unit nameless suctions would make a usual release curve.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Numbers as written.

    Returns
    -------
    unit, sentence : str
        The likeliest unit, and a sentence for the person who has to confirm it.
    """
    positive = values[values > 0.0]
    if positive.size == 0:
        return "cm", "suction has no unit"
    best, second = rank_suction_units(float(np.median(positive)))[:2]
    low, high = positive.min(), positive.max()
    in_cm = suction_in_cm(np.array([low, high]), best)
    rule = {
        LOG_SUCTION: "the base-10 logarithm of cm",
        "cm": "1 cm = 0.098 kPa = 1 mbar",
    }.get(best, f"1 {best} = {suction_in_cm(np.ones(1), best)[0]:.3g} cm")
    sentence = (
        f"suction has no unit: the numbers {low:g} to {high:g} look like {best} (or {second}?): "
        f"{rule}. Using {best} gives a curve from {in_cm[0]:.0f} to {in_cm[1]:.0f} cm"
    )
    return best, sentence


def guess_basis(
    wettest: float, suction: float, pore_space: float | None, bulk_density: float | None
) -> tuple[str, str]:
    """Say on which basis nameless water contents would make sense.

    Parameters
    ----------
    wettest : float
        Highest water content, as a fraction of something.
    suction : float
        Suction of it [cm].
    pore_space, bulk_density : float or None
        Total porosity [1] and bulk density [g/cm3], where the sheet has them.

    Returns
    -------
    basis, sentence : str
        The likeliest basis, and a sentence for the person who has to confirm it.
    """
    density = bulk_density or 1.55
    known = "" if bulk_density else "?"
    space = 0.40 if pore_space is None else pore_space
    against = (
        f"the pore space {100 * space:.1f} %"
        if pore_space is not None
        else "a usual pore space of 40 %"
    )
    head = f"water content has no basis: {100 * wettest:.3g} % at {suction:.3g} cm"
    if wettest > max(0.65, space + 0.1):
        return "saturation", f"{head} is more than {against}; it looks like a degree of saturation"
    short = space - wettest
    if short > 0.05 and abs(wettest * density - space) < abs(short):
        return "mass", (
            f"{head} falls {100 * short:.0f} % short of {against}; these look like % by weight "
            f"(mass): need the bulk density ({density:g}{known}) to convert"
        )
    return "volume", f"{head} agrees with {against}; these look like % by volume"
