"""A plan of hand water told: spot by spot, and its totals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from soilwater.decisions.watering.ensembles import day_text
from soilwater.decisions.watering.planning import Short, Wish
from soilwater.decisions.watering.water_plan import (
    BORDERLINE,
    HandWatering,
    SpotPlan,
    gallons_per_1000_ft2,
)
from soilwater.runs.wetted import gently
from soilwater.survey.survey import Spot
from soilwater.survey.too_short import depth_in_words
from soilwater.weather.irrigation import Event
from soilwater.words.displays import as_counted, listed
from soilwater.words.quantities import LITRES_PER_US_GALLON, in_one_unit, in_people_units
from soilwater.words.times import stamp
from soilwater.words.unit_choice import worded


def quiet(spot: Spot, kept: float) -> SpotPlan:
    """Plan of a spot that stays above the line on its own, in a share `kept` of the draws [1]."""
    nan = float("nan")
    return SpotPlan(
        spot,
        (),
        kept,
        kept,
        nan,
        nan,
        float("inf"),
        0.0,
        True,
        f"{spot.name}: no water needed.",
        outcome="none needed",
    )


def walk(spot: Spot, event: Event, flow: float) -> HandWatering:
    """Visit to a spot with an event, in litres and seconds of a hose of some flow [L/min]."""
    area = float("nan") if spot.area is None else spot.area
    litres = event.amount * area
    return HandWatering(
        spot=spot.name,
        time=event.time,
        amount=event.amount,
        gallons_per_1000_ft2=gallons_per_1000_ft2(event.amount),
        area=area,
        litres=litres,
        gallons=litres / LITRES_PER_US_GALLON,
        seconds=60.0 * litres / flow,
    )


def with_sentence(
    plan: SpotPlan,
    line: float,
    share: float,
    margin: float,
    short: Short | None,
    drained: float,
    rewetted: float,
) -> SpotPlan:
    """Plan with its sentence, from a line and the share of the draws that shall stay above it [1].

    `margin` is two standard errors of the share that does [1], `short` why it does not; `drained`
    what it reads as it starts, `rewetted` drained after gentle water on a dry green [1].
    """
    plan = replace(plan, outcome=_outcome(plan, share, margin, short))
    why = worded(lambda: _why_not(plan, line, share, margin, short)) if not plan.held else ""
    sentence = worded(lambda: _sentence(plan, line, why, drained, rewetted))
    return replace(plan, sentence=sentence, why_not=why)


def _outcome(plan: SpotPlan, share: float, margin: float, short: Short | None) -> str:
    """Say in two or three words what comes of a plan."""
    if plan.held:
        return "kept" if plan.waterings else "none needed"
    if plan.kept > share - margin + _ROUNDED:
        return BORDERLINE
    if plan.left_out:
        return NO_TIME + (f"; {REBUILD}" if short is not None and short.holds_too_little else "")
    return REBUILD if short is not None and short.holds_too_little else "more would help"


_ROUNDED = 1e-9
"""By so much a share may seem off that is a margin from another, for want of digits [1]."""
NO_TIME = "no time"
REBUILD = "rebuild or live with it"
"""What comes of a plan for a spot that holds too little to keep its line."""


_OF_CHANCE, _OF_CHANCE_READ = 0.3, 0.53
"""Standard error of a share that draws picked to stand for all tell smoothly, over what a count of
chance draws has: where spots start drained (against 2000 draws, `tried.smooth_share`), and where
they start from readings, of which less is known beforehand (six seeds of twenty spots)."""
_OF_PLAN = 0.025
"""By so much more a share errs, over the root of share and rest: another plan would keep another.
Six seeds of six greens told both: 0.023 at 0.8 of 100 drained draws, 0.031 from readings."""


_OF_SANDS = 0.55
"""What a share errs by more where two sets of draws have other sands, of so many in all: one over
their number, over the root of share and rest. Eight sands told 0.07 from readings and 0.03 drained,
fifteen 0.04 and 0.03 (`soilwater.learning.halves`)."""


def margin(share: float, draws: int, drained: bool, sands: float) -> float:
    """Tell two standard errors of a share that so many draws tell together [1].

    Parameters
    ----------
    share : float
        Such as the one asked for [1].
    draws : int
        How many, each picked so that all of them stand for thousands.
    drained : bool
        Whether spots start drained.
    sands : float
        How many sands they and the draws of the plan have between them, none of both; infinity
        where both have all.
    """
    chance = _OF_CHANCE if drained else _OF_CHANCE_READ
    spread = np.hypot(np.hypot(chance / np.sqrt(draws), _OF_PLAN), _OF_SANDS / sands)
    return float(2.0 * np.sqrt(share * (1.0 - share)) * spread)


def surely_kept(kept: float, share: float, margin: float) -> bool:
    """Tell whether a share is larger than the one asked for by a margin, or is all.

    Parameters
    ----------
    kept, share : float
        That is told, and that is asked for [1].
    margin : float
        Two standard errors of the first [1].
    """
    return kept >= min(share + margin, 1.0) - _ROUNDED


def _why_not(plan: SpotPlan, line: float, share: float, margin: float, short: Short | None) -> str:
    """Say why a spot does not keep its line, and what to do, after its name."""
    outcome = plan.outcome
    above = f"above {100 * line:g} %"
    part = "gets only part of its water" if plan.waterings else "is left out"
    if outcome.startswith(NO_TIME):
        return f"{part} for want of time{_beyond_text(outcome, line)}"
    if outcome == REBUILD and not plan.waterings:
        return (
            f"holds too little to stay {above}, whatever it is given: rebuild it, or live with it "
            "and a lower line"
        )
    got = f"stays {above} in {100 * plan.kept:.0f} % of the cases tried"
    if outcome == BORDERLINE:
        why = f"{part} for want of time, and " if plan.left_out else ""
        return (
            f"{why}{got}, {BORDERLINE} for {100 * share:.0f} %, as so many cases tell it to within "
            f"{100 * margin:.0f} %"
        )
    got += f", not in the {100 * share:.0f} % asked for"
    if outcome == "more would help":
        return f"{got}: more at a visit, or more visits, would help"
    if short is not None and short.more and short.hours >= 0.5:
        more = in_one_unit(short.more, "water_amount")
        got += f"; {more} more would buy {short.hours:.0f} h more"
    return f"{got}: rebuild it, or live with it"


def _beyond_text(outcome: str, line: float) -> str:
    """Tell of a spot the crew has no time for that all of its water would not keep it either."""
    if REBUILD not in outcome:
        return ""
    return (
        f", and holds too little to stay above {100 * line:g} % with all of it: rebuild it, or "
        "live with it and a lower line"
    )


def bought_text(plan: SpotPlan, line: float) -> str:
    """Say how much water a spot is given, what it buys, and what of it feeds the gravel.

    Parameters
    ----------
    plan : SpotPlan
        Of the spot.
    line : float
        To stay above [1].
    """
    total, lost = (
        in_one_unit(amount, "water_amount")
        for amount in (sum(walk.amount for walk in plan.waterings), plan.to_gravel)
    )
    return (
        f"{total} in {_times_text(len(plan.waterings))} buys {plan.hours_bought:.0f} h above "
        f"{100 * line:g} %, and {lost} of it feeds the gravel"
    )


def _sentence(plan: SpotPlan, line: float, why: str, drained: float, rewetted: float) -> str:
    reads = f"drained it reads {100 * drained:.1f} %{_rewetted_text(drained, rewetted)}"
    at = f"{plan.spot.name} ({depth_in_words(plan.spot)})"
    first = day_text(plan.first_below_without, np.inf)
    without = (
        f"without water {100 * (1 - plan.kept_without):.0f} % of the cases tried fall to "
        f"{100 * line:g} %, from day {first} on"
        if np.isfinite(plan.first_below_without)
        else f"without water {100 * plan.kept_without:.0f} % stay above {100 * line:g} %"
    )
    if not plan.held and plan.left_out:
        missing = sum(each.amount for each in plan.left_out)
        said = (
            f"{at}: the crew has no time for {in_one_unit(missing, 'water_amount')} of its water "
            f"({', '.join(stamp(each.time) for each in plan.left_out)}), which leaves "
            f"{100 * plan.kept:.0f} % of the cases tried above {100 * line:g} %"
            f"{f', {BORDERLINE}' * (plan.outcome == BORDERLINE)}"
            f"{_beyond_text(plan.outcome, line)}; {without}"
        )
    elif not plan.held:
        bought = f"{bought_text(plan, line)}; " if plan.waterings else ""
        return f"{at}: {bought}it {why}; {reads}; {without}."
    else:
        total = sum(walk.amount for walk in plan.waterings)
        days = [walk.time.astype("datetime64[D]") for walk in plan.waterings]
        most = max((days.count(day) for day in days), default=0)
        often = "on some days twice" if most == 2 else f"up to {most} times a day"
        said = (
            f"{at}: {in_one_unit(total, 'water_amount')} in {_times_text(len(plan.waterings))} "
            f"keeps {100 * plan.kept:.0f} % of the cases tried above {100 * line:g} %"
            f"{f', {often}, as it does not last the day' if most > 1 else ''}"
            f"; {without}"
        )
    if plan.waterings:
        said += f"; {in_one_unit(plan.to_gravel, 'water_amount')} of it feeds the gravel"
    return said + "."


def short_text(plans: Sequence[SpotPlan], line: float) -> list[str]:
    """Tell which spots no water keeps above a line [1], and what the water they get buys.

    Parameters
    ----------
    plans : sequence of SpotPlan
        Of all spots.
    line : float
        To stay above [1].
    """
    beyond = [each for each in plans if REBUILD in each.outcome]
    if not beyond:
        return []
    names = listed(each.spot.name for each in beyond)

    def told() -> str:
        given = [each for each in beyond if each.waterings]
        said = f"Hold too little to stay above {100 * line:g} %, rebuild or live with it: {names}"
        if not given:
            return said
        walks = [walk for each in given for walk in each.waterings]
        hours = sum(each.hours_bought for each in given) / len(given)
        lost = sum(each.to_gravel for each in given) / sum(walk.amount for walk in walks)
        return (
            f"{said}; the water of {listed(each.spot.name for each in given)}, "
            f"{amount_text(walks)}, buys {hours:.0f} h{' each' * (len(given) > 1)}, and "
            f"{100 * lost:.0f} % of it feeds the gravel"
        )

    return [worded(told)]


def borderline_text(plans: Sequence[SpotPlan], wish: Wish) -> list[str]:
    """Tell which spots other draws might find kept, or not.

    Parameters
    ----------
    plans : sequence of SpotPlan
        Of all spots.
    wish : Wish
        What is asked for.
    """
    near = [
        f"{each.spot.name} ({100 * each.kept:.0f} %)"
        for each in plans
        if each.outcome == BORDERLINE
    ]
    if not near:
        return []
    return [
        f"Borderline, too near to {100 * wish.probability:.0f} % of the cases to be told kept or "
        f"not: {', '.join(near)}"
    ]


def time_text(plans: Sequence[SpotPlan], have: float) -> list[str]:
    """Tell, visit by visit, where the crew's time is not enough, and who is left out.

    Parameters
    ----------
    plans : sequence of SpotPlan
        Of all spots.
    have : float
        Time there is at each visit [s].
    """
    left = [walk for plan in plans for walk in plan.left_out]
    walks = [walk for plan in plans for walk in plan.waterings]
    said, most = [], 0.0
    for time in sorted({walk.time for walk in left}):
        out = sorted((walk for walk in left if walk.time == time), key=lambda w: as_counted(w.spot))
        done = [walk for walk in walks if walk.time == time]
        need = sum(float(np.nan_to_num(walk.seconds)) for walk in (*out, *done))
        most = max(most, need)
        said.append(
            f"{stamp(time)}: the hose is needed for {hose_text(need)} and there are "
            f"{hose_text(have)}; left out: {', '.join(walk.spot for walk in out)}"
        )
    if not left:
        return []
    given_up = [each.spot.name for each in plans if each.outcome.startswith(NO_TIME)]
    enough = f'crew_time="{np.ceil(most / 60.0):.0f} min" would do for all'
    if given_up:
        others = any(each.held and each.waterings for each in plans)
        why = "Given up for want of time" + (", so that others are kept" if others else "")
        enough = f"{why}: {listed(given_up)}; {enough}"
    return [*said, enough]


def firm_text(plans: Sequence[SpotPlan], wish: Wish) -> list[str]:
    """Tell which spots are firm when they are to be.

    Parameters
    ----------
    plans : sequence of SpotPlan
        Of all spots.
    wish : Wish
        What is asked for.
    """
    if np.isnat(wish.firm_by):
        return []
    firm = [each.spot.name for each in plans if each.firm >= wish.probability]
    soft = [
        f"{each.spot.name} ({100 * each.firm:.0f} %)"
        for each in plans
        if each.firm < wish.probability
    ]
    said = f"By {stamp(wish.firm_by)} {100 * wish.probability:g} % of the cases tried are firm, "
    said += f"{100 * wish.firm:g} % or less, at {', '.join(firm) if firm else 'no spot'}"
    return [said + (f"; not at {', '.join(soft)}" if soft else "")]


def _rewetted_text(drained: float, rewetted: float) -> str:
    """Tell what a spot reads drained after gentle water, where that is less."""
    if rewetted > drained - 0.0005:
        return ""
    return f", and {100 * rewetted:.1f} % after {gently()}"


def _times_text(count: int) -> str:
    return "one watering" if count == 1 else f"{count} waterings"


def totals(plans: Sequence[SpotPlan]) -> tuple[str, ...]:
    """Tell the water and the minutes of hose of all plans, day by day and together."""
    walks = [walk for plan in plans for walk in plan.waterings]
    if not walks:
        return ("In all: no hand water.",)
    days = sorted({walk.time.astype("datetime64[D]") for walk in walks})

    def told(day: np.datetime64) -> str:
        return amount_text([w for w in walks if w.time.astype("datetime64[D]") == day])

    return (
        *(worded(partial(lambda day: f"{day}: {told(day)}", day)) for day in days),
        worded(lambda: f"In all: {amount_text(walks)}{_unknown_areas(walks)}"),
    )


def amount_text(walks: Sequence[HandWatering]) -> str:
    """Tell how many walks there are, and water and minutes of hose where areas are known."""
    known = [walk for walk in walks if np.isfinite(walk.litres)]
    parts = [_times_text(len(walks))]
    if known:
        litres = sum(walk.litres for walk in known)
        parts.append(in_people_units(litres, "volume"))
    timed = [walk.seconds for walk in known if np.isfinite(walk.seconds)]
    if timed:
        parts.append(f"{hose_text(sum(timed))} of hose, walking not counted")
    return ", ".join(parts)


def _unknown_areas(walks: Sequence[HandWatering]) -> str:
    """Name, once, the spots whose litres no total holds."""
    missing = sorted({walk.spot for walk in walks if not np.isfinite(walk.litres)}, key=as_counted)
    if not missing:
        return ""
    if len(missing) == len({walk.spot for walk in walks}):
        return "; area not known anywhere, so no litres"
    names = listed(missing) if len(missing) > 5 else ", ".join(missing)
    return f"; area not known, so no litres: {names}"


def hose_text(seconds: float) -> str:
    """Write seconds of hose as a crew counts them: "24 s", "2 min 5 s", "1 h 5 min"."""
    minutes, rest = divmod(round(seconds), 60)
    if minutes >= 60:
        hours, minutes = divmod(round(seconds / 60.0), 60)
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
