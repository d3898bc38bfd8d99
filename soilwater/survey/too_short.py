"""Depths that a probe was too short for: how much deeper they may be, and how they are written."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_people_units
from soilwater.words.unit_texts import plain_characters

if TYPE_CHECKING:
    from soilwater.survey.survey import Spot

BEYOND_REACH = 6.0
"""Mean depth [cm] beyond what a probe that was too short has reached; odds fall off exponentially
(our own choice)."""


_AT_LEAST = re.compile(
    r"(?:>=?|≥|at least|more than|over|mind(?:estens|\.)|min\.?|mehr als|au moins|plus de|al menos"
    r"|m[aá]s de)\s*(.+)|(.+?)\s*(?:\+|or more|and more|plus)\s*"
    r"(in\.?|inch|inches|ft\.?|feet|foot|[cm]?m|'{1,2}|\")?",
    re.IGNORECASE,
)
"""How people write that a probe was too short."""


def split_least(cell: str) -> tuple[str, bool]:
    """Split the number of a depth from its "at least", however that is written.

    Parameters
    ----------
    cell : str
        Such as ``"18+ in"``; anything else is given back as it is.
    """
    match = _AT_LEAST.fullmatch(plain_characters(cell))
    if match is None:
        return cell, False
    return (match[1] or f"{match[2]} {match[3] or ''}").strip(), True


def ask_of_plus(written: str, faults: Faults, where: str = "", otherwise: str = "") -> bool:
    """Ask about a depth with its plus in front, which may be that deep or deeper.

    Parameters
    ----------
    written : str
        A depth as written, such as ``"+18 in"``.
    faults : Faults
        Takes the question.
    where : str, optional
        Where it stands.
    otherwise : str, optional
        What else can be done about it.

    Returns
    -------
    bool
        Whether there is anything to ask.
    """
    number = plain_characters(written).strip()
    if not number.startswith("+"):
        return False
    number = number[1:].strip()
    what = f'depth "{written}" can be {number} or at least {number}'
    faults.add(what, where=where, cure=f'write "{number}" or "{number}+"{otherwise}')
    return True


def beyond_reach(share: Any) -> FloatArray:
    """Depth [cm] beyond a probe's reach that a share [1] of such spots do not exceed."""
    deeper: FloatArray = -BEYOND_REACH * np.log1p(-np.asarray(share, dtype=np.float64))
    return deeper


def depth_in_words(spot: Spot) -> str:
    """Write the depth of a spot, of which a probe that was too short tells the least."""
    if not spot.has_depth:
        return "not found"
    depth = in_people_units(spot.depth, "length")
    return f"at least {depth}" if spot.depth_at_least else depth
