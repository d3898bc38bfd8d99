"""What the column of a survey sheet holds, by its header: English, German, French and Spanish.

The words are the trade's own, from memory, no source. The first pattern that fits wins, so the
special stands before the general.
"""

from __future__ import annotations

import re

from soilwater.words.unit_texts import plain_characters

_ROLES = (
    ("latitude", r"\blat(itude?)?\b|breitengrad"),
    ("longitude", r"\b(lon|long|lng|longitude?)\b|l.ngengrad"),
    ("catch_depth", r"\bcatch|\bcans?\b|auffang"),
    ("drop_time", r"\bdrop|\bwdpt|tropfen|eindring|goutte|gota\b"),
    ("mat_thickness", r"^(organic )?(mat|thatch)\b|filz|\bfeutre|fieltro"),
    # A serial number of what was read with; of a meter it tells which one it was.
    ("unused", r"^(?!.*\b(meter|device|instrument)\b).*(\bserial\b|serien-?n|\bde s.rie\b)"),
    # What holds water back is none; a tensiometer's header has the words of a meter's.
    ("unused", r"suction|tension|potential|pressure|saugspannung|wasserspannung|succi"),
    ("reading", r"vwc|moisture|water content|reading|field capacity|^%|feuchte|wassergehalt"),
    ("reading", r"humidit.|teneur en eau|humedad|contenido (volum.trico )?de agua|vol\.?[- ]?%"),
    (
        "rod",
        r"\b(rods?|tines?|probe length)\b|stabl.nge|\bst.be\b|\btiges?\b|varillas?|electrodos?",
    ),
    ("unused", r"\broots?\b|temp|salin|\bec\b"),
    ("at_least", r"^at least$"),
    ("depth", r"\b(depth|probed?)\b|tiefe\b|sondierung|profondeur|profundidad"),
    ("depth", r"\bsand(st.rke|dicke)|schichtdicke|m.chtigkeit|.paisseur|espesor|\bthickness"),
    ("staff", r"\b(staff|foresight)\b"),
    ("surface_level", r"\b(levels?|elev(ation)?|altitude|rl|z)\b|h.he\b|niveau|nivel|\bcota\b"),
    ("slope", r"\b(slope|gradient|grade|fall)\b|neigung|gef.lle|\bpente|pendiente"),
    ("clock", r"^(clock|time|time of day|uhrzeit|zeit|heure|hora)$"),
    ("date", r"\b(date|time|timestamp|datetime)\b|\bdatum\b|\bfecha\b"),
    ("meter", r"\b(meter|device|instrument)\b|messger.t|appareil|medidor"),
    ("area", r"\barea\b|fl.che|\bsurface\b|superficie"),
    ("x", r"^(x|east|easting|ost|est|este)\b"),
    ("y", r"^(y|north|northing|nord|norte)\b"),
    ("spot", r"\b(spot|cell|point|peg|pin|id|name|location)\b|punkt\b|\bstelle|pflock|piquet"),
    ("spot", r"\bpunto|estaca|\brep.re\b|\bjalon\b|\bstation\b"),
    ("spot", r"^(no|nr|n°|nº|num(ber)?|nummer|num.ro|n.mero|#)\.?$"),
    ("green", r"\b(green|tee|hole|field|site)\b"),
    # Where nothing else is said of it, such as its rods.
    ("reading", r"\btdr\b"),
)
ROLES = tuple(dict.fromkeys(role for role, _ in _ROLES))
"""What columns of a survey may hold; "unused" is what is left out."""

_STATISTIC = re.compile(
    r"\b(mean|average|avg|median|sd|st\.?dev|std|cv|min|max|range|mittel(wert)?|moyenne|media"
    r"|promedio)\b"
)
_NO_WATER = re.compile(
    r"[cmkh]?pa|[cm]?bars?|cb|centibars?|psi|m?v|raw|[uµ]s|ms|ds/?m|°?[cf]", re.I
)


def role_of(header: str, unit: str) -> str:
    """Tell what a column holds.

    Parameters
    ----------
    header, unit : str
        As written.

    Returns
    -------
    str
        One of `ROLES`.
    """
    plain = re.sub(r"[_\s]+", " ", plain_characters(header)).strip().lower()
    role = next((role for role, pattern in _ROLES if re.search(pattern, plain)), "unused")
    if role == "meter" and re.match(r"%|vol", unit.strip(), re.IGNORECASE):
        # What it showed, not what it is called.
        return "reading"
    if role == "reading" and _NO_WATER.fullmatch(unit.strip()):
        return "unused"
    return role


def is_statistic(header: str) -> bool:
    """Whether a header speaks of a mean or a scatter of other columns."""
    return _STATISTIC.search(plain_characters(header).lower()) is not None
