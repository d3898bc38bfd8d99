"""The words and units of a lab sheet: what a header or a line of it is about.

Labs write the same things in many ways. Each function here turns one text into a plain answer, or
None where the text does not say; nothing is guessed.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.words.errors import InputError
from soilwater.words.unit_texts import plain_characters
from soilwater.words.units import to_house

LOG_SUCTION = "log10 cm"
"""How a suction given as the base-10 logarithm of cm of water is named."""

_ROLES: tuple[tuple[str, str], ...] = (
    # The first pattern that fits wins, so the special stands before the general.
    ("water_content", r"(water|moisture) (retain|retention)"),
    ("retained", r"retained|\bsieve\b|\bpan\b"),
    ("k_sat", r"\bk ?sat\b|conductivity|permeab|percolation|\bperc\b|infiltration"),
    ("particle_density", r"(particle|solid|grain|mineral).*density|specific gravity"),
    ("bulk_density", r"density"),
    ("unused", r"air.?filled|capillary (porosity|pore)|non.?capillary|aeration"),
    ("porosity", r"porosity|pore space|pore volume"),
    ("organic_matter", r"organic|\bom\b|loss on ignition|\bloi\b"),
    ("lab_error", r"lab(oratory)? error|\bsd\b|standard deviation|std"),
    ("replicate", r"^(replicates?|rep|repetition|core( no| number| id)?|ring)$"),
    ("sample", r"^(sample|specimen|material|mix|blend|sand)( no| number| id| name)?$|^(id|name)$"),
    ("water_content", r"water|moisture|\bvwc\b|\bgwc\b|theta|θ|degree of saturation|^saturation$"),
    ("suction", r"suction|tension|pressure|potential|\bhead\b|^h$|^pf$|^psi$|^ψ$"),
)

_SUCTION_WORDS = re.compile(r"\b(of\s+)?(water|h2o|w\.?c\.?|head|suction|tension)\b", re.I)


# The trade's own terms in other languages, a table for each (from memory, no source;
# compounds of one word are matched by their stem).
_GERMAN = (
    ("k_sat", r"durchl.ssigkeit|leitf.higkeit"),
    ("particle_density", r"reindichte|korndichte"),
    ("bulk_density", r"lagerungsdichte|rohdichte|trockenrohdichte"),
    ("porosity", r"porenvolumen|porosit.t|gesamtporen"),
    ("organic_matter", r"organische substanz|gl.hverlust|humus"),
    ("sample", r"^(probe|probennummer|proben-?nr)$"),
    ("replicate", r"^(wiederholung|parallele|stechzylinder)$"),
    ("water_content", r"wassergehalt|wasseranteil|bodenfeuchte"),
    ("suction", r"saugspannung|wasserspannung|matrixpotential|saugkraft|druckh.he"),
)
_FRENCH = (
    ("k_sat", r"conductivit. hydraulique|perm.abilit."),
    ("particle_density", r"densit. (r.elle|des solides)"),
    ("bulk_density", r"densit. apparente|masse volumique"),
    ("porosity", r"porosit."),
    ("organic_matter", r"mati.re organique|perte au feu"),
    ("sample", r"^(.chantillon|pr.l.vement)$"),
    ("replicate", r"^(r.p.tition|cylindre)$"),
    ("water_content", r"teneur en eau|humidit."),
    ("suction", r"succion|potentiel matriciel|tension"),
)
_SPANISH = (
    ("k_sat", r"conductividad hidr.ulica|permeabilidad"),
    ("particle_density", r"densidad (real|de part.culas)"),
    ("bulk_density", r"densidad aparente"),
    ("porosity", r"porosidad"),
    ("organic_matter", r"materia org.nica"),
    ("sample", r"^muestra$"),
    ("replicate", r"^(repetici.n|cilindro)$"),
    ("water_content", r"contenido de (agua|humedad)|humedad"),
    ("suction", r"succi.n|potencial m.trico|tensi.n"),
)
_OTHER_LANGUAGES = (*_GERMAN, *_FRENCH, *_SPANISH)

_WETTING = re.compile(
    r"\b(re-?)?wetting\b|\bimbibition\b|\badsorption\b|\bsorption\b|befeuchtung|bew.sserungsast"
    r"|humectation|humectaci.n",
    re.IGNORECASE,
)
_SUCTION_UNITS = re.compile(r"kpa|hpa|mbar|cbar|bar|cm|cm h2o|cm of water|mm|psi|in", re.IGNORECASE)


class WaterUnit(NamedTuple):
    """How a water content is given; None where the text does not say.

    ``basis`` is ``"volume"``, ``"mass"`` or ``"saturation"``, ``scale`` 1 for fractions and 0.01
    for per cent.
    """

    basis: str | None
    scale: float | None


def plain(text: str) -> str:
    """Lower-case words of a header with underscores and repeated blanks taken out."""
    return re.sub(r"[\s_]+", " ", plain_characters(text)).strip(" .:").lower()


def role_of(header: str) -> str | None:
    """Tell what a column or a line of the sheet holds.

    Parameters
    ----------
    header : str
        Name of the column without its unit.

    Returns
    -------
    str or None
        One of the roles of this module, None if the words are not known.
    """
    words = plain(header)
    # Columns named by their unit alone: "kPa" and "%".
    if _SUCTION_UNITS.fullmatch(words):
        return "suction"
    if re.fullmatch(r"(% ?)?(vol\.?|v/v)?(%|-%)?", words) and words:
        return "water_content"
    for role, pattern in (*_ROLES, *_OTHER_LANGUAGES):
        if re.search(pattern, words):
            return role
    return None


def is_suction_unit(header: str) -> bool:
    """Tell whether a header is nothing but the unit of a suction, such as ``"kPa"``."""
    return _SUCTION_UNITS.fullmatch(plain(header)) is not None


def is_wetting(text: str) -> bool:
    """Tell whether a text speaks of a wetting curve, and of no drying one."""
    drying = re.search(r"dry|desorption|drain|entw.sser|drainage|secado", text, re.IGNORECASE)
    return _WETTING.search(text) is not None and drying is None


def doubt_of_curve(
    suction: NDArray[np.float64], water: NDArray[np.float64]
) -> tuple[str, str] | None:
    """Say what physics speaks against the units of a release curve, and the cure.

    A meniscus of radius r holds water to a suction of 0.149 cm2/r (capillary rise at 20 degC,
    0.0728 N/m), so a curve that drains wholly by 6 cm is of pores of 0.5 mm: gravel, not a root
    zone. No mineral soil of sand holds more than about 0.6 of its volume.

    Parameters
    ----------
    suction : ndarray, shape (n,)
        Suctions [cm].
    water : ndarray, shape (n,)
        Water contents by volume [1].

    Returns
    -------
    tuple of str or None
        What is odd, and the cure.
    """
    top, low = float(np.max(water)), float(np.min(water))
    positive = suction[suction > 0.0]
    lost = 1.0 - low / top if top > 0.0 else 0.0
    if positive.size > 2 and positive.max() <= 12.0 and top > 0.15 and lost > 0.4:
        first, last = positive.min(), positive.max()
        return (
            f"a curve that loses {100 * lost:.0f} % of its water between {first:.3g} and "
            f"{last:.3g} cm drains pores of half a millimetre: gravel; kPa would give "
            f"{10.2 * first:.3g} to {10.2 * last:.3g} cm",
            'confirm with suction_unit="kPa", or suction_unit="cm" and water_content_unit='
            '"% by volume" if it is gravel',
        )
    if top > 0.6 and lost > 0.5:
        return (
            f"{100 * top:.3g} % by volume is more than the pore space of a sand, and it drains; by "
            "mass, a degree of saturation, or two headers changed places?",
            'confirm with water_content_unit="% of saturation" or "% by volume"',
        )
    return None


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
        r"gravim.tri|\bmass[ea]?\b|gewicht|\bpeso\b|\bpoids\b|weight|\bwt\b|w/w|g/g|g g-1"
        r"|kg kg-1|\bgwc\b",
        words,
    ):
        basis = "mass"
    elif re.search(
        r"volumetric|volum|\bvol\b|v/v|[cm]m?3 ?/ ?[cm]m?3|m3 m-3|cm3 cm-3|\bvwc\b|theta|θ", words
    ):
        basis = "volume"
    scale = None
    if re.search(r"%|percent|per cent|\bpct\b", words):
        scale = 0.01
    elif re.search(
        r"fraction|m3 ?/ ?c?m3|m3 m-3|cm3 cm-3|g/g|g g-1|kg kg-1|\bv/v\b|\bw/w\b", words
    ):
        scale = 1.0
    return WaterUnit(basis, scale)


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
        # A base-10 exponent beyond 8 is no suction; it would overflow on a column that is not one.
        return np.power(10.0, np.minimum(values, 8.0))
    bare = _SUCTION_WORDS.sub("", unit).strip(" .()") or unit
    return values * float(to_house(f"1 {bare}", "suction", "suction"))


def is_log_suction(unit: str) -> bool:
    """Tell whether a unit text means the base-10 logarithm of cm.

    Parameters
    ----------
    unit : str
        Such as ``"log10 cm"`` or ``"pF"``.

    Returns
    -------
    bool
    """
    return bool(re.search(r"\blog|^pf$", plain(unit)))


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
    scores = []
    for unit in ("cm", "kPa", "in", "mm", LOG_SUCTION, "bar"):
        middle = float(np.median(suction_in_cm(positive, unit)))
        # Release curves of root-zone sands are measured around 25 cm (common practice).
        scores.append((abs(np.log(middle / 25.0)), unit))
    (_, best), (_, second) = sorted(scores)[:2]
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
