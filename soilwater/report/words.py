"""What the page says: the finding in words for odds, what to measure next, what was assumed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TypeAlias

from soilwater.decisions.spots.measurements import Measurement, rank_measurements
from soilwater.decisions.spots.odds import LIKELY, UNLIKELY, Diagnosis, SpotDiagnosis
from soilwater.decisions.watering.ensembles import day_text, days_text
from soilwater.decisions.watering.outlook import DryDownOutlook
from soilwater.decisions.watering.plan_words import bought_text, totals
from soilwater.decisions.watering.water_plan import HandWaterPlan
from soilwater.learning.calibration import Calibration
from soilwater.survey.survey import Spot, Survey
from soilwater.survey.together import mean_of, with_rod
from soilwater.survey.too_short import depth_in_words
from soilwater.words.cautions import cautions_for
from soilwater.words.displays import as_counted, listed
from soilwater.words.quantities import in_people_units
from soilwater.words.times import stamp

Part: TypeAlias = Diagnosis | DryDownOutlook | HandWaterPlan | Calibration
"""What a page is put together from, with assumptions and cautions of its own."""
MOST_MEASUREMENTS = 3
"""Kinds of measurement named, each at the spot where it tells most."""
LEAST_GAIN = 0.05
"""Expected gain [bit] below which a measurement is not worth the walk (a judgement, no source)."""
MOST_NOTES = 3
"""Notes of the survey's reader that are repeated."""


def sentence(text: str) -> str:
    """Let a text begin with a capital and end with a full stop."""
    text = f"{text}".strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def odds_word(share: float) -> str:
    """Find the word for a share, a probability [1]."""
    return "likely" if share >= LIKELY else "possible" if share >= UNLIKELY else "unlikely"


def count(number: int, noun: str) -> str:
    """Write a number with its noun, in the plural where it is one."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _share_text(share: float) -> str:
    """Word and number for a probability [1]; no number is surer than the model."""
    number = "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"
    return f"{odds_word(share)}, {number}"


def per_cent(value: float) -> str:
    """Write a value [1] in per cent without the sign; a dash where there is none."""
    return f"{100.0 * value:.1f}" if math.isfinite(value) else "-"


def facts(survey: Survey, calibration: Calibration | None = None) -> tuple[str, ...]:
    """Say what was done in a survey, and when; and when a calibration last learnt from readings."""
    facts = [count(len(survey.spots), "spot")]
    depths = [spot.depth for spot in survey.spots if spot.has_depth]
    if depths:
        low, high = (in_people_units(value, "length") for value in (min(depths), max(depths)))
        facts.append(f"root zone {low if low == high else f'{low} to {high}'}")
    if survey.rods:
        rods = listed(in_people_units(rod, "length") for rod in survey.rods)
        facts.append(f"read with {rods} rods")
    times = sorted(r.time for s in survey.spots for r in s.readings if r.time is not None)
    if times:
        first, last = (stamp(time)[:10] for time in (times[0], times[-1]))
        facts.append(first if first == last else f"{first} to {last}")
    if calibration is not None:
        facts.append(f"numbers as its readings up to {stamp(calibration.now)[:10]} leave them")
    return tuple(facts)


def finding(
    survey: Survey,
    diagnosis: Diagnosis | None,
    outlook: DryDownOutlook | None,
    plan: HandWaterPlan | None,
) -> tuple[str, ...]:
    """Say in a sentence each why a survey reads so, how the green dries and what water does.

    Of diagnosis, outlook and plan, those that are None are passed over.
    """
    apart = unlike_their_depth(diagnosis)
    said = [_readings_found(survey) if diagnosis is None else _causes_found(diagnosis)]
    if outlook is not None:
        said.append(_drying_found(outlook, apart))
    if plan is not None:
        said.append(_watering_found(plan, apart))
    return tuple(each for each in said if each)


def _at(spot: Spot) -> str:
    """Name a spot with its depth, as an aside within a sentence."""
    if not spot.has_depth:
        return spot.name
    return f"{spot.name}, {depth_in_words(spot)} deep,"


def _readings_found(survey: Survey) -> str:
    read = [(own_reading(spot), spot) for spot in survey.spots]
    read = [(value, spot) for value, spot in read if math.isfinite(value)]
    if not read:
        return ""
    low, driest = min(read, key=lambda each: each[0])
    high = max(value for value, _ in read)
    return (
        f"{count(len(read), 'spot')} read {per_cent(low)} to {per_cent(high)} % by volume; the "
        f"driest is {_at(driest).rstrip(',')}."
    )


def own_reading(spot: Spot) -> float:
    """Mean reading [1] of the rods a spot was first read with; NaN without."""
    usable = spot.usable_readings
    return mean_of(with_rod(spot, usable[0].rod) if usable else [])


def _cause_text(spot: SpotDiagnosis) -> str:
    first = spot.causes[0]
    if first.cause == "none":
        return f"explained well by none of the listed causes ({_share_text(first.probability)})"
    return f"consistent with {first.label} ({_share_text(first.probability)})"


def unlike_their_depth(diagnosis: Diagnosis | None) -> tuple[str, ...]:
    """Find the spots of a diagnosis that read outside the band of their depth, for another cause.

    That band is as the green reads, for a meter that is off is off at every spot.

    Days and water, which are worked out from depth, do not hold there, be it dry or flooded.
    """
    if diagnosis is None:
        return ()
    names = [
        each.spot.name
        for each in diagnosis.spots
        if not each.as_green_reads[0] <= each.reading <= each.as_green_reads[2]
        and each.causes[0].cause != "depth"
    ]
    return tuple(sorted(names, key=as_counted))


def _causes_found(diagnosis: Diagnosis) -> str:
    spots = sorted(diagnosis.spots, key=lambda each: each.reading)
    driest = spots[0]
    text = f"The driest spot, {_at(driest.spot)} reads {per_cent(driest.reading)} %"
    if math.isfinite(driest.expected):
        text += f" where its depth should give {per_cent(driest.expected)} %"
    text += f": {_cause_text(driest)}"
    odd = sorted(
        (each for each in spots[1:] if each.causes[0].cause != "depth"),
        key=lambda each: -each.causes[0].probability,
    )
    usual = len(spots) - 1 - len(odd)
    if odd:
        named = [f"{each.spot.name} is {_cause_text(each)}" for each in odd[:2]]
        text += f"; {listed(named)}"
        if len(odd) > 2:
            text += f", and {len(odd) - 2} more have another cause first (table)"
    if usual:
        who = "the other" if not odd else "the remaining"
        text += f"; at {who} {usual} their own depth explains it best"
    return text + "."


def _drying_found(outlook: DryDownOutlook, apart: Sequence[str]) -> str:
    spots = [each for each in outlook.spots if each.spot.name not in apart]
    if not spots:
        return ""
    lines, horizon = outlook.thresholds, f"{outlook.horizon:g} days"
    first = min(spots, key=lambda each: (each.wilt.median, each.wilt.low, each.start[1]))
    wilt = f"the wilt line ({100 * lines.wilt:g} %)"
    beside = f" {listed(apart)} aside," if apart else ""
    weather = f"In the weather given and without hand water,{beside}"
    if not math.isfinite(first.wilt.low):
        return f"{weather} it is unlikely that any spot falls to {wilt} within {horizon}."
    if not math.isfinite(first.wilt.median):
        day = day_text(first.wilt.low, outlook.horizon)
        return (
            f"{weather} it is possible that a spot falls to {wilt} within {horizon}: "
            f"{_at(first.spot)} comes first, on day {day} or later."
        )
    if first.wilt.median <= 0.0:
        return f"{weather} {_at(first.spot)} is likely at {wilt} from the first morning."
    text = (
        f"{weather} {_at(first.spot)} is likely to fall to {wilt} first, on day "
        f"{days_text(*first.wilt, outlook.horizon)}"
    )
    others = len(spots) - 1
    if others:
        firm = sum(each.firm.median <= first.wilt.median for each in spots if each is not first)
        who = {0: "none of the others is", others: "all others are"}.get(
            firm, f"{firm} of the other {others} {'is' if firm == 1 else 'are'}"
        )
        text += f"; by then {who} down to firm ({100 * lines.firm:g} %)"
    return text + "."


def _watering_found(plan: HandWaterPlan, apart: Sequence[str]) -> str:
    line = f"{100 * plan.threshold:g} %"
    spots = [each for each in plan.spots if each.spot.name not in apart]
    # Those that dry first are named first: a long list hides the others.
    held = sorted(
        (each for each in spots if each.waterings and each.held),
        key=lambda each: each.first_below_without,
    )
    tried = [each for each in spots if each.waterings and not each.held]
    dry: dict[str, list[str]] = {}
    for each in spots:
        if not each.waterings and not each.held:
            dry.setdefault(str(each.why_not), []).append(each.spot.name)
    quiet = [each.spot.name for each in spots if not each.waterings and each.held]
    parts = []
    if held:
        parts.append(
            f"hand water at {listed(each.spot.name for each in held)}"
            " is likely to keep "
            f"{'it' if len(held) == 1 else 'each'} above {line}"
            f" ({_least_kept([each.kept for each in held])})"
        )
    parts += [
        f"{each.spot.name}: {bought_text(each, plan.threshold)}; it {each.why_not}"
        for each in tried[:2]
    ]
    if len(tried) > 2:
        parts.append(f"{len(tried) - 2} more are not held for sure (table)")
    parts += [
        f"{names[0]} {why}" if len(names) == 1 else f"{listed(names)}: each {why}"
        for why, names in dry.items()
    ]
    if len(quiet) == len(spots):
        parts.append(f"no spot is likely to need hand water to stay above {line}")
    elif quiet:
        parts.append(f"{listed(quiet, 4)} need{'s' if len(quiet) == 1 else ''} none")
    if apart:
        parts.append(f"{listed(apart)} cannot be planned by depth")
    said = sentence("; ".join(parts))
    return f"{said} {water_in_all(plan, apart)}" if held or tried else said


def water_in_all(plan: HandWaterPlan, apart: Sequence[str]) -> str:
    """Tell the water of a plan for all spots but those set apart from planning by depth."""
    return sentence(totals([each for each in plan.spots if each.spot.name not in apart])[-1])


def _least_kept(shares: Sequence[float]) -> str:
    least = min(shares)
    more = " or more" if least < max(shares) else ""
    return f"{100 * least:.0f} % of the cases tried{more}"


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def next_measurements(diagnosis: Diagnosis) -> tuple[str, ...]:
    """Say of each kind of measurement where it tells most about a diagnosis, if it tells much."""
    best: dict[str, Measurement] = {}
    for each in rank_measurements(diagnosis):
        if each.gain >= LEAST_GAIN:
            best.setdefault(each.kind, each)
    if not best:
        return ("no single measurement is expected to tell much more",)
    return tuple(
        f"At {each.spot} {each.instruction}; {each.reason.split(';')[0]}"
        for each in list(best.values())[:MOST_MEASUREMENTS]
    )


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    """Drop what is said twice, or in full by another."""
    found = list(dict.fromkeys(f"{text}" for text in texts))
    return tuple(
        text for text in found if not any(text in other for other in found if other != text)
    )


def assumptions(survey: Survey, *parts: Part | None) -> tuple[str, ...]:
    """Collect what the parts assumed, and what was noted when the survey was read."""
    found = [each for part in parts if part is not None for each in part.assumptions]
    checks = [part.held_back for part in parts if isinstance(part, Calibration)]
    found += [check.sentence for check in checks if check is not None]
    left = len(survey.notes) - MOST_NOTES
    more = [f"{count(left, 'more note')} of the survey's reader: see the survey"] * (left > 0)
    return _unique([*found, *survey.notes[:MOST_NOTES], *more])


def cautions(*parts: Part | None) -> tuple[str, ...]:
    """Collect the cautions of the parts, and those that belong on any such page."""
    found = [each for part in parts if part is not None for each in part.cautions]
    return _unique([*found, *cautions_for("accuracy", "construction", "private")])
