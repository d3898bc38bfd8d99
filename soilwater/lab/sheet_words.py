"""The words of a lab sheet: what a header, a line or a label of it is about.

Labs write the same things in many ways. Each function here turns one text into a plain answer, or
into None or False where the text does not say; nothing is guessed.
"""

from __future__ import annotations

import re

from soilwater.lab import sheet_languages as other
from soilwater.words.unit_texts import plain_characters

_ROLES: tuple[tuple[str, str], ...] = (
    # The first pattern that fits wins, so the special stands before the general.
    ("water_content", r"(water|moisture) (retain|retention)"),
    # Before the water contents, whose words they hold.
    ("suction", r"(water|moisture) (suction|tension|potential|pressure|head)|potentiel|potencial"),
    ("suction", r"hanging (water )?column|^(height of )?(the )?water column|height above"),
    ("suction", r"^lo?g ?(10)?\W*(suction|[hψ]m?)\b"),
    ("core_height", r"(core|ring|cylinder|sample|specimen) (height|length|ht\b)"),
    ("core_height", r"(height|length) of (the )?(core|ring|cylinder|sample|specimen)"),
    ("suction_level", r"(suction|tension|pressure|head)s? (level|reference|datum|(is )?refer)"),
    ("suction_level", r"reference (level|height|plane)"),
    ("retained", r"retained|\bsieve\b|\bpan\b"),
    ("k_sat", r"\bk ?sat\b|conductivity|permeab|percolation|\bperc\b|infiltration"),
    ("particle_density", r"(particle|solid|grain|mineral).*density|specific gravity"),
    ("bulk_density", r"density"),
    ("pores", r"air.?filled|capillary (porosity|pore)|non.?capillary|aeration"),
    ("porosity", r"porosity|pore space|pore volume"),
    ("organic_matter", r"organic|\bom\b|loss on ignition|\bloi\b"),
    ("lab_error", r"lab(oratory)? error"),
    ("replicate", r"^(replicates?|rep|repetition|core( no| number| id)?|ring)$"),
    ("sample", r"^(sample|specimen|material|mix|blend|sand)( no| number| id| name)?$|^(id|name)$"),
    ("water_content", r"water|moisture|\b[vg]?wc\b|theta|θ|degree of saturation|^saturation$"),
    ("suction", r"suction|tension|pressure|potential|\bhead\b|^\W*[hψ]m?\W*$|^pf$|^psi$"),
)

_NAMED_BY_UNIT = re.compile(r"mpa|kpa|hpa|mbar|cbar|bar|cm|mm|psi|in|pf", re.I)
_SUCTION_UNITS = re.compile(
    r"mpa|kpa|hpa|pa|mbar|cbar|bars?|cb|mb|centibars?|cm|mm|m|ft|psi|in|inch(es)?|atm|pf|j ?/ ?kg"
    r"|j kg-1|[cm]m ?hg",
    re.I,
)
_UNIT_AND_WATER = re.compile(
    rf"(mpa|kpa|hpa|pa|mbar|bar|cm|mm|m|in)\W*(of )?(water|h2o|w\.?c\.?|{other.WATER})", re.I
)
_BRACKETS = re.compile(r"[(\[]([^()\[\]]+)[)\]]")


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
    if is_suction_unit(words):
        return "suction"
    if re.fullmatch(r"(% ?)?(vol\.?|v/v)?(%|-%)?", words) and words:
        return "water_content"
    for role, pattern in (*_ROLES, *other.OTHER_LANGUAGES):
        if re.search(pattern, words):
            return role
    return None


def is_suction_unit(header: str) -> bool:
    """Tell whether a header is nothing but the unit of a suction, such as ``"kPa"``."""
    words = plain(header)
    parts = [part.strip() for part in re.split(r"[/=]| or | bzw\.? ", words)]
    return all(
        _NAMED_BY_UNIT.fullmatch(part) or _UNIT_AND_WATER.fullmatch(part)
        for part in ([words] if len(parts) > 2 else parts)
    )


def suction_unit_in(text: str) -> str:
    """Find the unit of a suction alone or between brackets in a text; ``""`` if there is none."""
    for part in (*_BRACKETS.findall(text), text):
        words = plain(part)
        if _SUCTION_UNITS.fullmatch(words) or _UNIT_AND_WATER.fullmatch(words):
            return str(part).strip()
        if re.search(r"\blo?g(?![a-z])", words):
            return str(part).strip()
    if re.match(r"pf\b", plain(text)):
        return "pF"
    # "hPa / cm of water": two names of one unit, of which the first counts.
    return re.split(r"[/=]| or ", text)[0].strip() if is_suction_unit(text) else ""


def without_brackets(text: str) -> str:
    """Take out of a header what stands between brackets."""
    return re.sub(r"\s+", " ", _BRACKETS.sub(" ", text)).strip(" ,;:")


_DRYING = re.compile(rf"\bdry|\bdesor|\bdrain|de-?sorption|desaturat|{other.DRYING}", re.IGNORECASE)
_WETTING = re.compile(
    r"\b(re-?)?wetting\b(?! agent)|\bimbibition\b|\b(water |ad)?sorption\b"
    rf"|\b(wieder)?({other.WETTING})",
    re.IGNORECASE,
)
_REWETTED = re.compile(r"re-?wet(ted)?", re.IGNORECASE)
_OF_NO_SAMPLE = re.compile(
    r"volumetric|water|moisture|content|vwc|theta|θ|vol|main|on|the|after|curve|branch|retained",
    re.IGNORECASE,
)
_OF_A_CURVE = re.compile(
    r"branch|curve|path|limb|cycle|isotherm|retention|release|kurve|ast\b|courbe|rama|curva",
    re.IGNORECASE,
)


def branch_of(text: str) -> str:
    """Tell the branch that a text names: ``"drying"``, ``"wetting"``, or ``""`` for none.

    The word alone does, or beside a word for a curve: a mix with a wetting agent, an apparatus for
    water sorption or a core that was wetted before the test are none.
    """
    words = plain(text)
    drying, wetting = _DRYING.search(words), _WETTING.search(words)
    if bool(drying) == bool(wetting):
        return ""
    found = drying or wetting
    assert found is not None
    alone = len(re.findall(r"[^\W\d]+", words)) <= 1
    if not alone and not _OF_A_CURVE.search(words):
        return ""
    return "drying" if drying else "wetting"


def branch_in_title(title: str) -> str:
    """Tell the branch in a title that names what was measured beside it: "VWC drying"."""
    found = {
        "wetting" if _REWETTED.fullmatch(part) else branch_of(part)
        for part in re.findall(r"[\w-]+", title)
    } - {""}
    return found.pop() if len(found) == 1 else ""


def without_branch(title: str) -> str:
    """Take out of a title the words that name a branch, and what is said of every water content."""
    kept = [
        part
        for part in re.findall(r"[\w-]+", title)
        if not (_REWETTED.fullmatch(part) or branch_of(part) or _OF_NO_SAMPLE.fullmatch(part))
    ]
    return " ".join(kept)


def branch_in_column(text: str) -> str:
    """Tell the branch in a cell of a column of branches, where a letter will do."""
    words = plain(text)
    drying = words == "d" or _DRYING.search(words)
    wetting = words == "w" or re.search(r"\b(re-?)?wet", words) or _WETTING.search(words)
    if bool(drying) == bool(wetting):
        return ""
    return "drying" if drying else "wetting"


def is_branch_header(header: str) -> bool:
    """Tell whether a column is headed as one of branches."""
    named = rf"(branch|curve|process|path|direction|limb|phase|{other.BRANCH})( of curve)?"
    return re.fullmatch(rf"{named}|[dw] ?/ ?[dw]", plain(header)) is not None


def is_unit_header(header: str) -> bool:
    """Tell whether a column is headed as one of units."""
    return re.search(rf"\b(units?|{other.UNIT})$", plain(header)) is not None


_MEAN = rf"mean|average|avg|{other.MEAN}"
_DEVIATION = rf"s\.?d\.?|st\.? ?dev\.?|std(\.? ?dev)?|standard deviation|{other.DEVIATION}"
_OTHER_STATISTIC = (
    r"se|s\.e\.|sem|standard error|cv|variance|range|min|max|minimum|maximum|n|count|median|lsd"
    r"|number of (cores|replicates)"
)


def statistic_of(text: str) -> str:
    """Tell the statistic a header names: ``"mean"``, ``"deviation"``, ``"other"`` or ``""``.

    It has to stand at the beginning or the end: "min" within "mineral soil" is none.
    """
    words = plain(without_brackets(text))
    for name, pattern in (
        ("deviation", _DEVIATION),
        ("other", _OTHER_STATISTIC),
        ("mean", _MEAN),
    ):
        if re.search(rf"^({pattern})(?!\w)|(?<!\w)({pattern})$", words):
            return name
    return ""


def is_statistic(label: str) -> bool:
    """Tell whether a label is a statistic and nothing else: "Mean", "SD"."""
    pattern = rf"(total|sum|{_MEAN}|{_DEVIATION}|{_OTHER_STATISTIC})"
    return re.fullmatch(pattern, plain(label)) is not None


def is_saturated(text: str) -> bool:
    """Tell whether a suction cell says that the core was saturated: suction zero."""
    words = plain(text)
    # The logarithm of nothing, on a logarithmic axis.
    return bool(re.fullmatch(rf"0?\W*(sat\.?|saturated|{other.SATURATED})\W*|-(inf|∞)", words))


def is_oven_dry(text: str) -> bool:
    """Tell whether a suction cell says that the core came from the oven."""
    return re.search(r"oven|\b105\b|ofentrocken|.tuve|estufa", plain(text)) is not None


def names_replicates(text: str) -> bool:
    """Tell whether column headers speak of cores of one sample."""
    pattern = rf"\b(rep|reps|replicates?|core|ring|run|{other.REPLICATE})\b"
    return re.search(pattern, plain(text)) is not None or plain(text).startswith("#")


def names_samples(text: str) -> bool:
    """Tell whether column headers speak of samples."""
    pattern = rf"\b(sample|specimen|material|mix|blend|sand|soil|{other.SAMPLE})\b"
    return re.search(pattern, plain(text)) is not None


_PLACE = rf"(?:cores?|rings?|cylinders?|samples?|specimens?|{other.CORE})"
_AMOUNT = r"(\d+(?:[.,]\d+)?)[ -]?(cm|mm|in(?:ch(?:es)?)?\b|\")"
_HEIGHTS = (
    re.compile(rf"{_AMOUNT}(?: \([^)]*\))?[ -](?:high|tall|long|(?:in )?height)\b"),
    re.compile(rf"\bheight(?: of| is| was)?\W+{_AMOUNT}"),
)
_NOT_OF_CORE = re.compile(r"drop|fall|hammer|rammer|column|depth|compact")


def height_of(text: str) -> tuple[str, str] | None:
    """Tell the number and the unit of the height of cores that a sentence states, if it does."""
    words = plain(text)
    if re.search(rf"\b{_PLACE}\b", words) and not _NOT_OF_CORE.search(words):
        for pattern in _HEIGHTS:
            match = pattern.search(words)
            if match:
                return match.group(1), match.group(2)
    return None


def level_of(text: str) -> str:
    """Tell the level of the core to which suctions refer: base, middle, top, or ``""``."""
    words = plain(text)
    before = rf"(?:at|to|{other.AT})"
    of_core = rf"(?: (?:of|{other.OF}) (?:the |each )?{_PLACE})"
    about_suction = role_of(words) in ("suction", "suction_level") or re.search(
        r"suction|water table|^reference ?[:=-]|\breference (is|at|level|plane)\b|\bzero\b", words
    )
    for level, pattern in (
        (
            "middle",
            rf"(?:mid|half)[- ]?(?:height|point|plane|depth)|middle|cent(?:re|er)|{other.MIDDLE}",
        ),
        ("base", rf"base|bottom|foot|underside|lower (?:end|face)|plate|{other.BASE}"),
        ("top", rf"top|upper (?:end|face)|{other.TOP}"),
    ):
        at_level = rf"(?:{before} )?(?:the )?(?:{pattern})"
        if re.fullmatch(rf"{at_level}{of_core}?", words):
            return level
        named = (
            rf"\b{before} (?:the )?(?:{_PLACE} )?(?:{pattern})\b|\b(?:{pattern}){of_core}"
            rf"|^reference\W+(?:the )?(?:{pattern})(?: ?[,;(]|$)"
        )
        if about_suction and re.search(named, words):
            return level
    return ""
