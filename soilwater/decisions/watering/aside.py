"""Spots a plan does not water by depth, and spots that are below the line already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Protocol

from soilwater.decisions.watering.water_plan import SpotPlan
from soilwater.survey.survey import Spot
from soilwater.survey.together import mean_of, with_rod
from soilwater.words.unit_choice import worded

LIKELY = 0.5
"""Odds from which a cause is called likely, as in a diagnosis [1]."""
SLOW_DROP = 60.0
"""Seconds a drop sits on a dry plug that is strongly repellent (Dekker & Jungerius 1990, Catena
Supplement 18:173, from memory)."""
NOT_BY_DEPTH = {
    "repellency": "likely repellent{odds}: water runs off it; open it up and wet it slowly, and "
    "look again with a probe",
    "standing_water": "likely standing in water{odds}: find out why it does not drain before any "
    "is added",
}
"""Causes for which water is no cure, and what is said instead."""


class Odds(Protocol):
    """Odds of causes at spots, as `diagnose` gives them."""

    @property
    def spots(self) -> Sequence[Any]:
        """Odds spot by spot, each with its `spot` and `probability` by cause."""


def spots_aside(known: Sequence[Spot], diagnosis: Odds | None) -> dict[int, str]:
    """Find spots that are not watered by depth, and why.

    Parameters
    ----------
    known : sequence of Spot
        Spots of the plan.
    diagnosis : Diagnosis or None
        Odds of causes.

    Returns
    -------
    dict of int to str
        The reason by number of the spot.
    """
    odds = {each.spot.name: each for each in (diagnosis.spots if diagnosis is not None else ())}
    found = {}
    for i, spot in enumerate(known):
        for cause, said in NOT_BY_DEPTH.items():
            if spot.name in odds and odds[spot.name].probability(cause) >= LIKELY:
                share = odds[spot.name].probability(cause)
                found[i] = said.format(odds=f" ({100 * share:.0f} %)")
        if i not in found and (spot.drop_time or 0.0) >= SLOW_DROP:
            said = f" (a drop sat for {spot.drop_time:.0f} s)"
            found[i] = NOT_BY_DEPTH["repellency"].format(odds=said)
    return found


def put_aside(spot: Spot, reason: str, kept: float) -> SpotPlan:
    """Plan of a spot that is not watered by depth.

    Parameters
    ----------
    spot : Spot
        The spot.
    reason : str
        Why, from `spots_aside`.
    kept : float
        Share of the draws that stay above the line without water [1].
    """
    nan = float("nan")
    said = f"{spot.name}: not watered by depth, {reason}."
    why = f"is not watered by depth, {reason.partition(':')[0]}"
    return SpotPlan(spot, (), kept, kept, nan, nan, nan, 0.0, False, said, why, "not by depth")


def last_read(spot: Spot, rod: float) -> float:
    """Mean of what a spot read last with rods of a length [cm]; NaN where it was not read [1]."""
    read = with_rod(spot, rod)
    times = [each.time for each in read if each.time is not None]
    if times:
        read = [each for each in read if each.time == max(times)]
    return mean_of(read)


def told_below(plan: SpotPlan, line: float, rod: float, drained: bool) -> SpotPlan:
    """Add to a plan that its spot reads below the line already.

    Parameters
    ----------
    plan : SpotPlan
        Of one spot.
    line : float
        Reading to stay above [1].
    rod : float
        Length of the rods [cm].
    drained : bool
        Whether the plan takes the spot to start drained, whatever it read.
    """
    now = last_read(plan.spot, rod)
    if not now <= line:
        return plan
    said = f" It reads {100 * now:.1f} %, below {100 * line:g} %, already: look at it first"
    if not drained:
        return replace(plan, sentence=worded(lambda: f"{plan.sentence}{said}."))
    if plan.waterings or not plan.held:
        said += "; the plan takes it to start drained"
        return replace(plan, sentence=worded(lambda: f"{plan.sentence}{said}."))
    said = (
        f"{plan.spot.name}: a drained spot of its depth would need no water, but it{said[3:]}; "
        'plan from what was read, with a calibration or start="readings".'
    )
    why = f"reads {100 * now:.1f} % already"
    return replace(plan, held=False, sentence=said, why_not=why, outcome="look first")
