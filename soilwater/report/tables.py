"""The tables of the page: spot by spot, and the crew's visits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from soilwater.decisions.spots.odds import Diagnosis, SpotDiagnosis
from soilwater.decisions.watering.ensembles import days_text
from soilwater.decisions.watering.outlook import DryDownOutlook
from soilwater.decisions.watering.plan_words import hose_text
from soilwater.decisions.watering.water_plan import (
    HandWatering,
    HandWaterPlan,
    SpotPlan,
)
from soilwater.report.words import (
    count,
    odds_word,
    own_reading,
    per_cent,
    unlike_their_depth,
    water_in_all,
)
from soilwater.survey.survey import Spot, Survey
from soilwater.survey.too_short import depth_in_words
from soilwater.words.displays import as_counted, listed
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.times import stamp
from soilwater.words.unit_choice import in_units


class Table(NamedTuple):
    """Cells for people, and a sentence on what was left out."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def spot_table(
    survey: Survey,
    diagnosis: Diagnosis | None,
    outlook: DryDownOutlook | None,
    plan: HandWaterPlan | None,
    most: int,
) -> Table:
    """Put survey, diagnosis, outlook and plan side by side, spots sorted by name.

    All of them where they are no more than `most`, and else those that need attention.
    """
    odds = {} if diagnosis is None else {each.spot.name: each for each in diagnosis.spots}
    drying = {} if outlook is None else {each.spot.name: each for each in outlook.spots}
    watered = {} if plan is None else {each.spot.name: each for each in plan.spots}

    apart = unlike_their_depth(diagnosis)
    by_depth = outlook is not None or plan is not None

    def urgency(spot: Spot) -> tuple[int, float, float]:
        name = spot.name
        wilt = drying[name].wilt.median if name in drying else math.inf
        needy = name in watered and (watered[name].waterings or not watered[name].held)
        other = name in odds and odds[name].causes[0].cause != "depth"
        first = 0 if name in apart else 1 if needy or math.isfinite(wilt) else 2 if other else _CALM
        return first, wilt, own_reading(spot) if math.isfinite(own_reading(spot)) else math.inf

    needing = [spot for spot in survey.spots if urgency(spot)[0] < _CALM]
    all_fit = len(survey.spots) <= most or not needing
    chosen = sorted(survey.spots if all_fit else needing, key=urgency)[:most]
    rows = []
    for spot in sorted(chosen, key=lambda each: as_counted(each.name)):
        row = [
            spot.name,
            depth_in_words(spot),
            per_cent(own_reading(spot)),
        ]
        if diagnosis is not None:
            row += _odds_cells(odds.get(spot.name))
        stars = "*" if spot.name in apart else ""
        if outlook is not None:
            days = drying.get(spot.name)
            row += (
                [stars or "-"] * 2
                if days is None or stars
                else [days_text(*each, outlook.horizon) for each in (days.firm, days.wilt)]
            )
        if plan is not None:
            row.append(stars or _water_cell(watered.get(spot.name)))
        rows.append(tuple(row))
    header = ["spot", "root zone", "reads %"]
    if diagnosis is not None:
        header += ["depth gives %", "gap %", "first cause"]
    if outlook is not None:
        header += [
            f"days to firm {100 * outlook.thresholds.firm:g} %",
            f"days to wilt {100 * outlook.thresholds.wilt:g} %",
        ]
    if plan is not None:
        header.append(f"hand water {one_writing('water_amount').unit}")
    notes = _left_out(len(survey.spots), len(needing), len(chosen))
    if apart and by_depth:
        who = "This spot reads" if len(apart) == 1 else "Such spots read"
        notes.append(
            f"* {who} otherwise than depth explains: days and water are worked out from depth, and "
            f"do not hold there; keep an eye on {'it' if len(apart) == 1 else 'them'}."
        )
    return Table(tuple(header), tuple(rows), " ".join(notes))


_CALM = 3
"""Rank of a spot that needs nothing: not dry soon, not watered, and as its depth gives."""


def _left_out(spots: int, needing: int, shown: int) -> list[str]:
    """Say which spots have no row."""
    if shown == spots:
        return []
    if not needing:
        return [f"The {count(shown, 'driest spot')}; {spots - shown} more."]
    calm = f"{spots - needing} more need nothing by these numbers." if spots > needing else ""
    if shown == needing:
        return [f"The {count(shown, 'spot')} that need{'s' * (shown == 1)} attention; {calm}"]
    more = f"{needing - shown} more need it too"
    return [
        f"The {count(shown, 'spot')} that need attention first; {more}{'; ' if calm else '.'}{calm}"
    ]


def _odds_cells(spot: SpotDiagnosis | None) -> list[str]:
    if spot is None:
        return ["-", "-", "no usable reading"]
    first = spot.causes[0]
    low, high = spot.band
    return [
        f"{per_cent(spot.expected)} ({per_cent(low)} to {per_cent(high)})",
        f"{100 * (spot.reading - spot.expected):+.1f}".replace("-0.0", "0.0").replace(
            "+0.0", "0.0"
        ),
        f"{first.label}, {odds_word(first.probability)}",
    ]


def _water_cell(plan: SpotPlan | None) -> str:
    if plan is None:
        return "-"
    amount = sum(walk.amount for walk in plan.waterings)
    said = one_writing("water_amount").figure(amount)
    if not plan.held:
        return f"{said}, {plan.outcome}" if amount else plan.outcome
    return said if amount else "none"


def plan_table(plan: HandWaterPlan, diagnosis: Diagnosis | None, most: int) -> Table:
    """Write a row for each visit of the plan, up to as many as `most`.

    Spots that by their diagnosis cannot be planned by depth have none.
    """
    apart = unlike_their_depth(diagnosis)
    visits: dict[Any, list[HandWatering]] = {}
    for walk in plan.waterings:
        if walk.spot not in apart:
            visits.setdefault(walk.time, []).append(walk)
    rows = [(stamp(time), _amounts(walks), *_totals(walks)) for time, walks in visits.items()]
    later = [walk for walks in list(visits.values())[most:] for walk in walks]
    notes = [water_in_all(plan, apart)]
    if later:
        visits_left, until = count(len(rows) - most, "later visit"), rows[-1][0]
        litres, hose = _totals(later)
        known = [each for each in (litres, hose and f"{hose} of hose") if each]
        notes.insert(0, f"{', '.join([f'{visits_left}, until {until}', *known])}, not shown.")
    header = ("when", f"spots, {in_units('mm or L/m2', 'US gal/1000 ft2')}", "water", "hose")
    # What no spot has, for want of areas or of a flow, has no column.
    kept = [i for i in range(len(header)) if i < 2 or any(row[i] for row in rows)]
    return Table(
        tuple(header[i] for i in kept),
        tuple(tuple(row[i] for i in kept) for row in rows[:most]),
        " ".join(notes),
    )


def _amounts(walks: Sequence[HandWatering]) -> str:
    """Write which spots get which amount on one visit."""
    alike: dict[str, list[str]] = {}
    for walk in walks:
        amount = in_units(f"{walk.amount:.1f}", f"{walk.gallons_per_1000_ft2:.0f}")
        alike.setdefault(amount, []).append(walk.spot)
    return "; ".join(f"{listed(spots, 99)}: {amount}" for amount, spots in alike.items())


def _totals(walks: Sequence[HandWatering]) -> tuple[str, str]:
    """Water and time of hose of some visits, as far as areas and flow are known."""
    litres = sum(walk.litres for walk in walks if math.isfinite(walk.litres))
    seconds = sum(walk.seconds for walk in walks if math.isfinite(walk.seconds))
    water = in_people_units(litres, "volume") if litres else ""
    return water, hose_text(seconds) if seconds else ""
