"""A plan of hand water told: spot by spot, and its totals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from soilwater.decisions.watering.ensembles import day_text
from soilwater.decisions.watering.planning import JUST_ABOVE, Wish
from soilwater.decisions.watering.water_plan import (
    HandWatering,
    SpotPlan,
    gallons_per_1000_ft2,
)
from soilwater.runs.wetted import gently
from soilwater.survey.survey import Spot
from soilwater.weather.irrigation import Event
from soilwater.words.displays import as_counted, listed
from soilwater.words.quantities import LITRES_PER_US_GALLON, in_one_unit, in_people_units
from soilwater.words.times import stamp
from soilwater.words.unit_choice import worded


def quiet(spot: Spot) -> SpotPlan:
    """Plan of a spot that stays above the line on its own."""
    nan = float("nan")
    return SpotPlan(
        spot, (), 1.0, 1.0, nan, nan, float("inf"), 0.0, True, f"{spot.name}: no water needed."
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


def with_sentence(plan: SpotPlan, line: float, drained: float, rewetted: float) -> SpotPlan:
    """Plan with its sentence, from the line to stay above [1] and what it reads.

    `drained` is as it starts, `rewetted` drained after gentle water on a dry green [1].
    """
    why = "is left out for want of time" if plan.left_out and not plan.waterings else ""
    sentence = worded(lambda: _sentence(plan, line, drained, rewetted))
    return replace(plan, sentence=sentence, why_not=why)


def _sentence(plan: SpotPlan, line: float, drained: float, rewetted: float) -> str:
    reads = f"drained it reads {100 * drained:.1f} %{_rewetted_text(drained, rewetted)}"
    at = f"{plan.spot.name} ({in_people_units(plan.spot.depth, 'length')})"
    first = day_text(plan.first_below_without, np.inf)
    without = (
        f"without water {100 * (1 - plan.kept_without):.0f} % of the cases tried fall to "
        f"{100 * line:g} %, from day {first} on"
        if np.isfinite(plan.first_below_without)
        else f"without water {100 * plan.kept_without:.0f} % stay above {100 * line:g} %"
    )
    if drained <= line + JUST_ABOVE:
        said = (
            f"{at}: {reads}, so no watering keeps it above "
            f"{100 * line:g} %; what it cannot hold feeds the gravel"
        )
    elif not plan.held and plan.left_out:
        missing = sum(each.amount for each in plan.left_out)
        said = (
            f"{at}: the crew has no time for {in_one_unit(missing, 'water_amount')} of its water "
            f"({', '.join(stamp(each.time) for each in plan.left_out)}), which leaves "
            f"{100 * plan.kept:.0f} % of the cases tried above {100 * line:g} %; {without}"
        )
    elif not plan.held:
        said = (
            f"{at}: water within what it holds, and what a visit may give, keeps only "
            f"{100 * plan.kept:.0f} % of the cases tried above {100 * line:g} %; {reads}; "
            f"{without}"
        )
    else:
        total = sum(walk.amount for walk in plan.waterings)
        days_watered = {walk.time.astype("datetime64[D]") for walk in plan.waterings}
        often = len(plan.waterings) > len(days_watered)
        said = (
            f"{at}: {in_one_unit(total, 'water_amount')} in {_times_text(len(plan.waterings))} "
            f"keeps {100 * plan.kept:.0f} % of the cases tried above {100 * line:g} %"
            f"{', on some days twice, as it does not last the day' if often else ''}"
            f"; {without}"
        )
    if plan.waterings:
        said += f"; {in_one_unit(plan.to_gravel, 'water_amount')} of it feeds the gravel"
    return said + "."


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
    said = []
    for time in sorted({walk.time for walk in left}):
        out = sorted((walk for walk in left if walk.time == time), key=lambda w: as_counted(w.spot))
        done = [walk for walk in walks if walk.time == time]
        need = sum(float(np.nan_to_num(walk.seconds)) for walk in (*out, *done))
        said.append(
            f"{stamp(time)}: the hose is needed for {hose_text(need)} and there are "
            f"{hose_text(have)}; the driest go first, left out: "
            f"{', '.join(walk.spot for walk in out)}"
        )
    return said


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
