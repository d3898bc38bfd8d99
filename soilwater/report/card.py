"""A card for the crew: one line a spot, with the water, the seconds of hose and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from soilwater.decisions.watering.ensembles import day_text
from soilwater.decisions.watering.plan_words import hose_text
from soilwater.decisions.watering.water_plan import (
    BORDERLINE,
    HandWatering,
    HandWaterPlan,
    SpotPlan,
)
from soilwater.report.page import template_environment
from soilwater.site.morning import Morning
from soilwater.words.cautions import IN_A_LINE
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_people_units
from soilwater.words.times import as_time
from soilwater.words.unit_choice import (
    UnitSystem,
    check_units,
    in_units,
    units_in_use,
    use_units,
)

TEMPLATE = "card.html.j2"


class Line(NamedTuple):
    """What one spot gets on one walk, in words."""

    spot: str
    water: str
    hose: str
    why: str


class Walk(NamedTuple):
    """One round of the crew: when, spot by spot, and in all."""

    hour: str
    lines: tuple[Line, ...]
    total: str


def crew_card(
    plan: HandWaterPlan,
    day: np.datetime64 | str | None = None,
    *,
    units: UnitSystem | None = None,
    order: Sequence[str] | None = None,
    path: str | Path | None = None,
) -> str:
    """Write the card for one day of a plan: where, how much, how long, why; with boxes to tick.

    Parameters
    ----------
    plan : HandWaterPlan
        From `hand_water_plan`.
    day : datetime64 or str, optional
        Day of the card; the first on which there is something to water when left out.
    units : {"metric", "US", "both"}, optional
        Litres and mm, US gallons and inches, or both; those that `use_units` chose when left out.
    order : sequence of str, optional
        Spots in the order in which the crew walks; those that are not named come last, in the
        order of the survey.
    path : str or Path, optional
        File to write; none is written when left out.

    Returns
    -------
    str
        One HTML page that needs nothing from elsewhere, for a phone and for paper.

    Raises
    ------
    InputError
        With every fault at once: units that are not known, spots that the plan does not have, a
        day without the plan's days beside it.
    ImportError
        Without jinja2: ``python -m pip install "soilwater[report]"``.

    Notes
    -----
    Seconds of hose are those of the flow given to `hand_water_plan`; walking is not counted. A
    spot without an area is told in depth of water.
    """
    environment = template_environment()
    chosen, ordered = _checked(plan, day, units, order)
    source = resources.files("soilwater.report").joinpath(TEMPLATE).read_text(encoding="utf-8")
    with use_units(units or units_in_use()):
        page: str = environment.from_string(source).render(
            name=plan.name or "Hand water",
            day=f"{chosen:%A, %d %B %Y}".replace(" 0", " ") if chosen is not None else "",
            walks=_walks(plan, chosen, ordered),
            threshold=f"{100 * plan.threshold:g} %",
            probability=f"{100 * plan.probability:.0f}",
            look=[_spot_line(each) for each in ordered if not each.held],
            later=_later(plan, chosen),
            cautions=[IN_A_LINE[each] for each in ("heat", "backflow", "wilt")],
        )
    if path is not None:
        Path(path).write_text(page, encoding="utf-8")
    return page


def morning_card(
    morning: Morning, *, units: UnitSystem | None = None, path: str | Path | None = None
) -> str:
    """Write the card for this morning on all greens of a site, in the order of the site file.

    Parameters
    ----------
    morning : Morning
        From `morning_plan`.
    units, path : optional
        As for `crew_card`.

    Returns
    -------
    str
        One HTML page; it says so where no spot needs water on that day.

    Raises
    ------
    InputError
        If units are not known.
    ImportError
        As `crew_card`.
    """
    plan = morning.together
    if morning.today:
        return crew_card(plan, morning.day, units=units, path=path)
    # Nothing today: what the plan waters later is no part of this card.
    spots = tuple(replace(each, waterings=()) for each in plan.spots)
    return crew_card(
        replace(plan, name=f"{plan.name}, {morning.day}", spots=spots), units=units, path=path
    )


def _checked(plan: Any, day: Any, units: Any, order: Any) -> tuple[Any, tuple[SpotPlan, ...]]:
    """Find the day, and the spots in the order of the walk."""
    faults = Faults("crew_card")
    if not isinstance(plan, HandWaterPlan):
        faults.add(f"plan is {plan!r}", allowed="a HandWaterPlan, from hand_water_plan")
        raise faults.as_error()
    with faults.catching():
        check_units(units or units_in_use())
    days = sorted({walk.time.astype("datetime64[D]") for walk in plan.waterings})
    chosen = days[0] if days else None
    if day is not None:
        with faults.catching():
            chosen = as_time(day, "day").astype("datetime64[D]")
            if chosen not in days:
                allowed = ", ".join(str(each) for each in days) or "none, no spot needs water"
                faults.add(f"the plan waters nothing on {chosen}", allowed=allowed)
    names = [each.spot.name for each in plan.spots]
    first = [order] if isinstance(order, str) else list(order or ())
    for i, name in enumerate(first):
        if name not in names:
            faults.add(f'no spot "{name}"', where=f"order[{i}]", allowed=", ".join(names))
        elif name in first[:i]:
            faults.add(f'"{name}" comes twice', where=f"order[{i}]", allowed="each spot once")
    faults.raise_if_any()
    rank = {name: i for i, name in enumerate(first)}
    ordered = sorted(plan.spots, key=lambda each: rank.get(each.spot.name, len(names)))
    return None if chosen is None else chosen.astype(object), tuple(ordered)


def _walks(plan: HandWaterPlan, day: Any, ordered: Sequence[SpotPlan]) -> tuple[Walk, ...]:
    if day is None:
        return ()
    today = [w for w in plan.waterings if w.time.astype("datetime64[D]") == np.datetime64(day)]
    walks = []
    for time in sorted({walk.time for walk in today}):
        visits = {walk.spot: walk for walk in today if walk.time == time}
        found = [each for each in ordered if each.spot.name in visits]
        lines = tuple(
            Line(
                each.spot.name,
                _water(visits[each.spot.name]),
                _hose(visits[each.spot.name].seconds),
                _why(each, plan.threshold),
            )
            for each in found
        )
        walks.append(Walk(str(time)[11:16], lines, _total(list(visits.values()))))
    return tuple(walks)


def _water(walk: HandWatering) -> str:
    if not math.isfinite(walk.litres):
        return in_people_units(walk.amount, "water_amount")
    return in_units(f"{_rounded(walk.litres)} L", f"{_rounded(walk.gallons)} gal")


def _rounded(amount: float) -> str:
    """Write an amount no finer than a hose can give it: two figures below a hundred."""
    return f"{amount:.1f}" if amount < 10.0 else f"{amount:.0f}"


def _hose(seconds: float) -> str:
    return hose_text(seconds) if math.isfinite(seconds) else ""


def _why(plan: SpotPlan, line: float) -> str:
    share = 1.0 - plan.kept_without
    # No number is surer than the model.
    falls = "over 99" if share > 0.99 else f"{100 * share:.0f}"
    said = f"without it {falls} in 100 chances to read {100 * line:g} % or less"
    if plan.outcome == BORDERLINE:
        kept = f"{100 * plan.kept:.0f} in 100 chances to read more than {100 * line:g} %"
        return f"{BORDERLINE}: with it {kept}"
    if not plan.held:
        return f"not kept by it ({plan.outcome}): it buys {plan.hours_bought:.0f} h"
    if math.isfinite(plan.first_below_without):
        first = day_text(plan.first_below_without, math.inf)
        said += ", from this morning on" if first == "0" else f", from day {first}"
    return said


def _total(walks: Sequence[HandWatering]) -> str:
    known = [walk for walk in walks if math.isfinite(walk.litres)]
    if not known:
        return ""
    litres = sum(walk.litres for walk in known)
    gallons = sum(walk.gallons for walk in known)
    said = in_units(f"{_rounded(litres)} L", f"{_rounded(gallons)} gal")
    timed = [walk.seconds for walk in known if math.isfinite(walk.seconds)]
    hose = f", {_hose(sum(timed))} of hose, walking not counted" if timed else ""
    missing = len(walks) - len(known)
    more = f"; {missing} more without an area" if missing else ""
    return f"{said}{hose}{more}"


def _spot_line(plan: SpotPlan) -> tuple[str, str]:
    said = str(plan.sentence).split(": ", 1)[-1].rstrip(".")
    return plan.spot.name, said


def _later(plan: HandWaterPlan, day: Any) -> str:
    """Say which days of the plan come after this one."""
    if day is None:
        return ""
    days = sorted({walk.time.astype("datetime64[D]") for walk in plan.waterings})
    rest = [each.astype(object) for each in days if each > np.datetime64(day)]
    return ", ".join(f"{each:%A} {each.day}" for each in rest)
