"""Whether the numbers of a sheet can be what its headers say: physics, and what is set by hand.

A doubt is a sentence and its cure. None is raised where the person stated the unit.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.lab.sheet_units import LOG_SUCTION, rank_suction_units, suction_in_cm

COARSE_SUCTION = 12.0
"""Suction [cm] by which no root zone has lost much of its water: a meniscus of radius r holds
0.149 cm2/r (capillary rise at 20 degC, 0.0728 N/m), so pores of a quarter of a millimetre and wider
let go there, which is gravel."""

NO_SUCTION = 0.5
"""Suction [cm] below which no lab sets one."""

FINE_SUCTION = 200.0
"""Suction [cm] beyond which pores of 15 micrometres and narrower let go (the same rule): a sand
does not lose most of its water there within a factor of four of suction, as uniform pores do."""


LARGEST_WATER = 0.6
"""Water content [1] that no sand has the pores for (common practice, no source)."""


class Doubt(NamedTuple):
    """What is odd, and what settles it."""

    what: str
    cure: str


def doubt_of_suctions(
    written: NDArray[np.float64],
    unit: str,
    suction: NDArray[np.float64],
    water: NDArray[np.float64],
) -> Doubt | None:
    """Say what physics speaks against the unit of the suctions, and which one it speaks for.

    Parameters
    ----------
    written : ndarray, shape (n,)
        Suctions as written.
    unit : str
        Their unit on the sheet.
    suction : ndarray, shape (n,)
        The same [cm].
    water : ndarray, shape (n,)
        Water contents by volume [1].

    Returns
    -------
    Doubt or None
    """
    top, low = float(np.max(water)), float(np.min(water))
    positive = suction > 0.0
    if not positive.any() or np.any(suction < 0.0):
        return None
    first, last = float(suction[positive].min()), float(suction[positive].max())
    drains = top > 0.15 and top - low > 0.4 * top
    early, half, late = (_suction_where(suction, water, share) for share in (0.75, 0.5, 0.25))
    span = f"a curve that loses {100 * (1 - low / top):.0f} % of its water between {first:.3g} and "
    if last < NO_SUCTION:
        what = f"suctions up to {last:.3g} cm are less than the height of a grain or two"
    elif drains and late <= COARSE_SUCTION:
        what = f"{span}{last:.4g} cm, most of it by {late:.3g} cm, drains as gravel does"
    else:
        steep = np.unique(suction).size > 2 and late <= 4.0 * early
        if not (drains and steep and half >= FINE_SUCTION):
            return None
        what = (
            f"{span}{last:.4g} cm, half of it by {half:.3g} cm, has the pores of a silt and drains "
            "like a sand"
        )
    likely = rank_suction_units(_suction_where(written, water))[0]
    ends = suction_in_cm(np.array([written[positive].min(), written.max()]), likely)
    return Doubt(
        f"{what}; {likely} would give {ends[0]:.3g} to {ends[1]:.4g} cm",
        f'confirm with suction_unit="{likely}", or suction_unit="{unit}" if that is what it is',
    )


SEAM_RATIO, SEAM_GOES_ON = 5.0, 3.0
"""How far apart two suctions of a curve are at least, and at most in the other unit, where the unit
may have changed between them."""
SEAM_FLAT, SEAM_AS_STEEP = 0.35, 2.5
"""How much flatter than on both sides a curve is there, and how far from their slope it then is."""


def doubt_of_a_seam(
    unit: str, suction: NDArray[np.float64], water: NDArray[np.float64]
) -> Doubt | None:
    """Say that from one suction on a curve goes on where another unit would put it.

    There it leaps over a decade in which hardly any water drains, between two steep parts that the
    other unit joins.

    Parameters
    ----------
    unit : str
        Unit of the suctions on the sheet.
    suction, water : ndarray, shape (n,)
        Suctions [cm] and water contents by volume [1].

    Returns
    -------
    Doubt or None
    """
    at = np.unique(suction[suction > 0.0])
    held = np.array([water[suction == each].mean() for each in at])
    logs = np.log(at)
    size = float(suction_in_cm(np.ones(1), unit)[0])
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = -np.diff(held) / np.diff(logs)
    for i in range(1, slope.size - 1):
        ratio, beside = at[i + 1] / at[i], (slope[i - 1], slope[i + 1])
        if ratio < SEAM_RATIO or slope[i] > SEAM_FLAT * min(beside):
            continue
        for other in ("cm", "in", "kPa", "mm"):
            goes_on = ratio * float(suction_in_cm(np.ones(1), other)[0]) / size
            if other == unit or not 1.0 < goes_on <= SEAM_GOES_ON:
                continue
            steep = (held[i] - held[i + 1]) / np.log(goes_on)
            if not min(beside) / SEAM_AS_STEEP <= steep <= SEAM_AS_STEEP * max(beside):
                continue
            numbers = at[[i, i + 1]] / size
            return Doubt(
                f"from {numbers[0]:g} to {numbers[1]:g} {unit} hardly any water drains, between "
                f"two steep parts; {numbers[1]:g} {other} would go on from {numbers[0]:g} {unit}",
                f'write the unit into the cells of one part, or confirm with suction_unit="{unit}" '
                f"if all are in {unit}",
            )
    return None


def _suction_where(
    suction: NDArray[np.float64], water: NDArray[np.float64], share: float = 0.5
) -> float:
    """Suction at which a share of the water lost within the curve is still there."""
    order = np.argsort(suction, kind="stable")
    # Where water is the same at several suctions the first of them counts.
    left = np.minimum.accumulate(water[order])[::-1]
    wanted = left[0] + share * (left[-1] - left[0])
    return float(np.interp(wanted, left, suction[order][::-1]))


def doubt_of_water(water: NDArray[np.float64]) -> Doubt | None:
    """Say that more water than pores drains: no soil of sand holds 0.6 of its volume.

    Parameters
    ----------
    water : ndarray, shape (n,)
        Water contents by volume [1].

    Returns
    -------
    Doubt or None
    """
    top, low = float(np.max(water)), float(np.min(water))
    if top <= LARGEST_WATER or top - low <= 0.5 * top:
        return None
    if top > 1.0 and 0.1 * top <= LARGEST_WATER:
        return Doubt(
            f"{100 * top:.3g} % by volume is more than all; {10 * top:.3g} % if the numbers are "
            "parts in a thousand",
            'confirm with water_content_unit="‰ by volume" if that is what they are',
        )
    return Doubt(
        f"{100 * top:.3g} % by volume is more than the pore space of a sand, and it drains: a "
        "degree of saturation, by mass, or two headers changed places?",
        'confirm with water_content_unit="% of saturation" and porosity="40 %", or '
        'water_content_unit="% by volume" if that is what it is',
    )


def doubt_of_headers(
    suction: NDArray[np.float64], water: NDArray[np.float64], suction_unit: str
) -> Doubt | None:
    """Say that two headers seem to have changed places.

    Suctions are set, in round numbers; water contents are measured, and hardly ever all round.

    Parameters
    ----------
    suction, water : ndarray, shape (n,)
        Numbers as written.
    suction_unit : str
        Unit of the suctions on the sheet.

    Returns
    -------
    Doubt or None
    """
    if np.unique(water).size < 3 or suction_unit == LOG_SUCTION:
        return None
    if not np.all(_is_round(water)) or np.mean(_is_round(suction)) >= 0.5:
        return None
    return Doubt(
        f"water contents of {_listed(water)} are round numbers and suctions of {_listed(suction)} "
        "are not: two headers changed places?",
        f'change the headers if so; if not, confirm with suction_unit="{suction_unit or "cm"}" '
        'and water_content_unit="% by volume"',
    )


def _is_round(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether numbers have one digit, or two of which the second is a five."""
    size = np.abs(np.where(values == 0.0, 1.0, values))
    lead = size / 10.0 ** np.floor(np.log10(size))
    return np.abs(2.0 * lead - np.round(2.0 * lead)) < 1e-9


def _listed(values: NDArray[np.float64]) -> str:
    first = [f"{value:g}" for value in dict.fromkeys(values.tolist())]
    return ", ".join(first[:4]) + (" ..." if len(first) > 4 else "")
