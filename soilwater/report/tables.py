"""The tables of the page: spot by spot, and the crew's visits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from soilwater.decisions.spots.odds import Diagnosis, SpotDiagnosis
from soilwater.decisions.watering.ensembles import days_text
from soilwater.decisions.watering.outlook import DryDownOutlook
from soilwater.decisions.watering.water_plan import (
    HandWatering,
    HandWaterPlan,
    SpotPlan,
)
from soilwater.report.words import (
    count,
    drier_than_depth,
    listed,
    odds_word,
    own_reading,
    per_cent,
    sentence,
)
from soilwater.survey.survey import Spot, Survey
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
    """Put survey, diagnosis, outlook and plan side by side, for as many spots as `most`."""
    odds = {} if diagnosis is None else {each.spot.name: each for each in diagnosis.spots}
    drying = {} if outlook is None else {each.spot.name: each for each in outlook.spots}
    watered = {} if plan is None else {each.spot.name: each for each in plan.spots}

    apart = drier_than_depth(diagnosis)
    by_depth = outlook is not None or plan is not None

    def urgency(spot: Spot) -> tuple[float, float, float]:
        name = spot.name
        needy = name in watered and (watered[name].waterings or not watered[name].held)
        wilt = drying[name].wilt.median if name in drying else math.inf
        gap = odds[name].reading - odds[name].expected if name in odds else 0.0
        return (0.0 if name in apart else 1.0 if needy else 2.0, wilt, -abs(gap))

    chosen = sorted(survey.spots, key=urgency)[:most]
    rows = []
    for spot in (each for each in survey.spots if each in chosen):
        depth = in_people_units(spot.depth, "length") if spot.has_depth else "not found"
        row = [
            spot.name,
            f"at least {depth}" if spot.depth_at_least else depth,
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
    left = len(survey.spots) - len(chosen)
    notes = [f"The {len(chosen)} spots that need attention first; {left} more."] if left else []
    if apart and by_depth:
        who = "This spot reads" if len(apart) == 1 else "Such spots read"
        notes.append(
            f"* {who} drier than depth explains: days and water are worked out from depth, and "
            "do not hold there; keep an eye on it."
        )
    return Table(tuple(header), tuple(rows), " ".join(notes))


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
        return f"{said}, not enough" if amount else "would not help"
    return said if amount else "none"


def plan_table(plan: HandWaterPlan, most: int) -> Table:
    """Write a row for each visit of the plan, up to as many as `most`."""
    visits: dict[Any, list[HandWatering]] = {}
    for walk in plan.waterings:
        visits.setdefault(walk.time, []).append(walk)
    rows = tuple(
        (stamp(time), _amounts(walks), *_visit_totals(walks)) for time, walks in visits.items()
    )
    left = rows[most:]
    note = f"{count(len(left), 'later visit')}, until {left[-1][0]}, not shown. " if left else ""
    header = ("when", in_units("mm or L/m2", "US gal/1000 ft2"), "water", "hose")
    return Table(header, rows[:most], note + sentence(plan.totals[-1]))


def _amounts(walks: Sequence[HandWatering]) -> str:
    """Write which spots get which amount on one visit."""
    alike: dict[str, list[str]] = {}
    for walk in walks:
        amount = in_units(f"{walk.amount:.1f}", f"{walk.gallons_per_1000_ft2:.0f}")
        alike.setdefault(amount, []).append(walk.spot)
    return "; ".join(f"{listed(spots)} {amount}" for amount, spots in alike.items())


def _visit_totals(walks: Sequence[HandWatering]) -> tuple[str, str]:
    litres = sum(walk.litres for walk in walks)
    minutes = sum(walk.seconds for walk in walks) / 60.0
    return (
        in_people_units(litres, "volume") if math.isfinite(litres) else "-",
        f"{minutes:.1f} min" if math.isfinite(minutes) else "-",
    )
