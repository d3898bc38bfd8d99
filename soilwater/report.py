"""One page for a committee: what was found at a green, how sure it is, and what to do next.

The page is one HTML file that needs nothing from elsewhere and no scripts, and prints on one sheet
of A4 or US letter. It says nothing that the survey, diagnosis, outlook and plan do not say.
"""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Callable, Iterable, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from soilwater.decisions.cautions import cautions_for
from soilwater.decisions.ensembles import days_text
from soilwater.decisions.measurements import Measurement, rank_measurements
from soilwater.decisions.odds import LIKELY, UNLIKELY, Diagnosis, SpotDiagnosis
from soilwater.decisions.survey import Spot, Survey
from soilwater.decisions.water_plan import LITRES_PER_US_GALLON, HandWatering, HandWaterPlan
from soilwater.decisions.watering import DryDownOutlook
from soilwater.errors import Faults
from soilwater.times import stamp
from soilwater.units import in_people_units

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_ROWS = (8, 6, 4)
"""Rows of the tables, the next fewer where even small type does not fit: spots that need attention
first, and visits of the plan."""
MOST_MEASUREMENTS = 3
"""Kinds of measurement named, each at the spot where it tells most."""
LEAST_GAIN = 0.05
"""Expected gain [bit] below which a measurement is not worth the walk (a judgement, no source)."""
MOST_REMARKS, LONGEST_REMARK = 3, 200
"""Remarks a sheet has room for, and letters of one."""
MAP_SIZE, DRY_DOWN_SIZE = (5.2, 3.0), (6.2, 3.0)
"""Width and height the pictures are drawn at [in]; beside each other they fill the width of a sheet
at some two thirds of that."""
_ALONE = 190.0
"""Width [mm] that the scale of a picture alone stands for."""
TEMPLATE = "report.html.j2"

MOST_NOTES = 3
"""Notes of the survey's reader, and spots with a caution about their slope, that are repeated."""

_SHEET = (188.0, 257.0)
"""Width and height [mm] that A4 and US letter both have within margins of 10 mm."""
_SIZES = (9.2, 8.8, 8.4, 8.0, 7.6, 7.3, 7.0, 6.7, 6.4, 6.1)
"""Sizes of type [pt], the largest that fits is taken."""
_MM_PER_POINT = 25.4 / 72.0
_LEADING, _LETTER, _SMALL = 1.25, 0.43, 0.85
"""Height of a line and mean width of a letter [em], and size of the small print, as in the
template."""


def report(
    survey: Survey,
    diagnosis: Diagnosis | None = None,
    outlook: DryDownOutlook | None = None,
    plan: HandWaterPlan | None = None,
    *,
    remarks: Sequence[str] = (),
    prepared_by: str = "",
    path: str | Path | None = None,
) -> str:
    """Write the one-page report on a green: finding, map, dry-down, plan, what to measure next.

    Parameters
    ----------
    survey : Survey
        What was probed and read; the page carries its name. A map is drawn where every spot has
        its place [m].
    diagnosis : Diagnosis, optional
        From `diagnose`, of this survey.
    outlook : DryDownOutlook, optional
        From `dry_down_outlook`, of this survey.
    plan : HandWaterPlan, optional
        From `hand_water_plan`, of this survey.
    remarks : sequence of str, optional
        Your own sentences, such as costs and what the committee is asked to decide; up to 3 of 200
        letters.
    prepared_by : str, optional
        Who answers for the page.
    path : str or Path, optional
        File to write; none is written when left out.

    Returns
    -------
    str
        The page. Whatever is not given has no section.

    Raises
    ------
    InputError
        With every fault at once: something that is no survey, diagnosis, outlook or plan, or is of
        spots that the survey does not have; an outlook and a plan for different rods; too many
        or too long remarks.
    ImportError
        Without matplotlib or jinja2: ``python -m pip install "soilwater[report]"``.

    Notes
    -----
    Words for odds are those of `diagnose`: likely from 50 %, possible from 10 %, unlikely below.
    """
    environment = _environment()
    kept = _checked(survey, diagnosis, outlook, plan, remarks)
    sections: dict[str, Any] = {
        "name": survey.name or "Survey",
        "facts": _facts(survey),
        "prepared_by": prepared_by,
        "finding": _finding(survey, diagnosis, outlook, plan),
        "map": _map(survey),
        "dry_down": None if outlook is None else _dry_down(outlook),
        "measurements": () if diagnosis is None else _next_measurements(diagnosis),
        "remarks": kept,
        "assumptions": _assumptions(survey, diagnosis, outlook, plan),
        "cautions": _cautions(diagnosis, outlook, plan),
        "likely": LIKELY,
        "unlikely": UNLIKELY,
    }
    for most in MOST_ROWS:
        sections["spots"] = _spot_table(survey, diagnosis, outlook, plan, most)
        sections["plan"] = None if plan is None else _plan_table(plan, most)
        if _height(sections, _SIZES[-1]) <= _SHEET[1]:
            break
    source = resources.files("soilwater").joinpath(TEMPLATE).read_text(encoding="utf-8")
    page: str = environment.from_string(source).render(**sections, size=_size(sections))
    if path is not None:
        Path(path).write_text(page, encoding="utf-8")
    return page


def _environment() -> Any:
    try:
        import jinja2
    except ImportError as error:
        raise ImportError(
            'soilwater.report needs jinja2: python -m pip install "soilwater[report]"'
        ) from error
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["sentence"] = _sentence
    return environment


def _checked(survey: Any, diagnosis: Any, outlook: Any, plan: Any, remarks: Any) -> tuple[str, ...]:
    """Check that all is about one survey; returns the remarks."""
    faults = Faults("report")
    if not isinstance(survey, Survey):
        faults.add(f"survey is {survey!r}", allowed="a Survey")
    known = {spot.name for spot in survey.spots} if isinstance(survey, Survey) else None
    for name, given, kind in (
        ("diagnosis", diagnosis, Diagnosis),
        ("outlook", outlook, DryDownOutlook),
        ("plan", plan, HandWaterPlan),
    ):
        if given is None:
            continue
        if not isinstance(given, kind):
            faults.add(f"{name} is {given!r}", allowed=f"a {kind.__name__}, or None")
        elif known is not None:
            strangers = [each.spot.name for each in given.spots if each.spot.name not in known]
            if strangers:
                faults.add(
                    f"the survey has no spot {', '.join(strangers)}",
                    where=name,
                    cure="make it from this survey",
                )
    if (
        isinstance(outlook, DryDownOutlook)
        and isinstance(plan, HandWaterPlan)
        and abs(outlook.rod - plan.rod) > 0.1
    ):
        faults.add(
            f"the outlook is for rods of {outlook.rod:g} cm, the plan for {plan.rod:g} cm",
            cure="make both for one rod length: readings of different rods do not compare",
        )
    kept = (remarks,) if isinstance(remarks, str) else tuple(str(each) for each in remarks)
    if len(kept) > MOST_REMARKS:
        faults.add(f"{len(kept)} remarks", allowed=f"up to {MOST_REMARKS} on one sheet")
    for i, remark in enumerate(kept):
        if len(remark) > LONGEST_REMARK:
            faults.add(
                f"{len(remark)} letters",
                where=f"remarks[{i}]",
                allowed=f"up to {LONGEST_REMARK}",
            )
    faults.raise_if_any()
    return kept


# --- words ---------------------------------------------------------------------------------------


def _sentence(text: str) -> str:
    """Begin with a capital and end with a full stop."""
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _odds_word(share: float) -> str:
    """Word for a probability [1]."""
    return "likely" if share >= LIKELY else "possible" if share >= UNLIKELY else "unlikely"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _listed(names: Iterable[str], most: int = 5) -> str:
    """Names for a sentence, and how many more there are."""
    names = list(names)
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _share_text(share: float) -> str:
    """Word and number for a probability [1]; no number is surer than the model."""
    number = "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"
    return f"{_odds_word(share)}, {number}"


def _per_cent(value: float) -> str:
    return f"{100.0 * value:.1f}" if math.isfinite(value) else "-"


def _facts(survey: Survey) -> tuple[str, ...]:
    """Say what was done and when."""
    facts = [_count(len(survey.spots), "spot")]
    depths = [spot.depth for spot in survey.spots if spot.has_depth]
    if depths:
        low, high = (in_people_units(value, "length") for value in (min(depths), max(depths)))
        facts.append(f"root zone {low if low == high else f'{low} to {high}'}")
    if survey.rods:
        rods = _listed(in_people_units(rod, "length") for rod in survey.rods)
        facts.append(f"read with {rods} rods")
    times = sorted(r.time for s in survey.spots for r in s.readings if r.time is not None)
    if times:
        first, last = (stamp(time)[:10] for time in (times[0], times[-1]))
        facts.append(first if first == last else f"{first} to {last}")
    return tuple(facts)


def _finding(
    survey: Survey,
    diagnosis: Diagnosis | None,
    outlook: DryDownOutlook | None,
    plan: HandWaterPlan | None,
) -> tuple[str, ...]:
    """One sentence each: why it reads what it reads, how it dries, what water does."""
    apart = _drier_than_depth(diagnosis)
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
    least = "at least " if spot.depth_at_least else ""
    return f"{spot.name}, {least}{in_people_units(spot.depth, 'length')} deep,"


def _readings_found(survey: Survey) -> str:
    read = [(_own_reading(spot), spot) for spot in survey.spots]
    read = [(value, spot) for value, spot in read if math.isfinite(value)]
    if not read:
        return ""
    low, driest = min(read, key=lambda each: each[0])
    high = max(value for value, _ in read)
    return (
        f"{_count(len(read), 'spot')} read {_per_cent(low)} to {_per_cent(high)} % by volume; the "
        f"driest is {_at(driest).rstrip(',')}."
    )


def _own_reading(spot: Spot) -> float:
    """Mean reading [1] of the rods the spot was first read with; NaN without."""
    usable = spot.usable_readings
    same = [reading.value for reading in usable if reading.rod == usable[0].rod]
    return float(np.mean(same)) if same else math.nan


def _cause_text(spot: SpotDiagnosis) -> str:
    first = spot.causes[0]
    if first.cause == "none":
        return f"explained well by none of the listed causes ({_share_text(first.share)})"
    return f"consistent with {first.label} ({_share_text(first.share)})"


def _drier_than_depth(diagnosis: Diagnosis | None) -> frozenset[str]:
    """Spots that read below the band of their depth: days and water by depth do not hold there."""
    if diagnosis is None:
        return frozenset()
    return frozenset(each.spot.name for each in diagnosis.spots if each.reading < each.band[0])


def _causes_found(diagnosis: Diagnosis) -> str:
    spots = sorted(diagnosis.spots, key=lambda each: each.reading)
    driest = spots[0]
    text = f"The driest spot, {_at(driest.spot)} reads {_per_cent(driest.reading)} %"
    if math.isfinite(driest.expected):
        text += f" where its depth should give {_per_cent(driest.expected)} %"
    text += f": {_cause_text(driest)}"
    odd = sorted(
        (each for each in spots[1:] if each.causes[0].cause != "depth"),
        key=lambda each: -each.causes[0].share,
    )
    usual = len(spots) - 1 - len(odd)
    if odd:
        named = [f"{each.spot.name} is {_cause_text(each)}" for each in odd[:2]]
        text += f"; {_listed(named)}"
        if len(odd) > 2:
            text += f", and {len(odd) - 2} more have another cause first (table)"
    if usual:
        who = "the other" if not odd else "the remaining"
        text += f"; at {who} {usual} their own depth explains it best"
    return text + "."


def _drying_found(outlook: DryDownOutlook, apart: frozenset[str]) -> str:
    spots = [each for each in outlook.spots if each.spot.name not in apart]
    if not spots:
        return ""
    lines, horizon = outlook.lines, f"{outlook.horizon:g} days"
    first = min(spots, key=lambda each: (each.wilt.median, each.wilt.low, each.start[1]))
    wilt = f"the wilt line ({100 * lines.wilt:g} %)"
    beside = f" {_listed(sorted(apart))} aside," if apart else ""
    weather = f"In the weather given and without hand water,{beside}"
    if not math.isfinite(first.wilt.low):
        return f"{weather} it is unlikely that any spot falls to {wilt} within {horizon}."
    if not math.isfinite(first.wilt.median):
        return (
            f"{weather} it is possible that a spot falls to {wilt} within {horizon}: "
            f"{_at(first.spot)} comes first, on day {first.wilt.low:.1f} or later."
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


def _watering_found(plan: HandWaterPlan, apart: frozenset[str]) -> str:
    line = f"{100 * plan.line:g} %"
    spots = [each for each in plan.spots if each.spot.name not in apart]
    held = [each for each in spots if each.waterings and each.held]
    tried = [each for each in spots if each.waterings and not each.held]
    beyond = [each.spot.name for each in spots if not each.waterings and not each.held]
    quiet = [each.spot.name for each in spots if not each.waterings and each.held]
    parts = []
    if held:
        walks = [walk for each in held for walk in each.waterings]
        parts.append(
            f"hand water at {_listed(each.spot.name for each in held)}"
            f" ({_count(len(walks), 'watering')}{_water_text(walks)}) is likely to keep "
            f"{'it' if len(held) == 1 else 'each'} above {line}"
            f" ({100 * min(each.kept for each in held):.0f} % of the draws"
            f"{' or more' if len(held) > 1 else ''})"
        )
    parts += [
        f"{each.spot.name}, watered {_times(len(each.waterings))} with all it holds, stays above "
        f"{line} in {100 * each.kept:.0f} % of the draws, {100 * each.kept_without:.0f} % without"
        for each in tried[:2]
    ]
    if len(tried) > 2:
        parts.append(f"{len(tried) - 2} more are not held for sure (table)")
    if beyond:
        parts.append(f"no watering keeps {_listed(beyond)} above {line}")
    if len(quiet) == len(spots):
        parts.append(f"no spot is likely to need hand water to stay above {line}")
    elif quiet:
        parts.append(f"{_listed(quiet, 4)} need{'s' if len(quiet) == 1 else ''} none")
    if apart:
        parts.append(f"{_listed(sorted(apart))} cannot be planned by depth")
    return _sentence("; ".join(parts))


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def _water_text(walks: Sequence[HandWatering]) -> str:
    known = [walk.litres for walk in walks if math.isfinite(walk.litres)]
    if len(known) < len(walks):
        return ""
    litres = sum(known)
    return f", {litres:.0f} L or {litres / LITRES_PER_US_GALLON:.0f} US gal in all"


# --- tables and lists ----------------------------------------------------------------------------


class Table(NamedTuple):
    """Cells for people, and a sentence on what was left out."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def _spot_table(
    survey: Survey,
    diagnosis: Diagnosis | None,
    outlook: DryDownOutlook | None,
    plan: HandWaterPlan | None,
    most: int,
) -> Table:
    odds = {} if diagnosis is None else {each.spot.name: each for each in diagnosis.spots}
    drying = {} if outlook is None else {each.spot.name: each for each in outlook.spots}
    watered = {} if plan is None else {each.spot.name: each for each in plan.spots}

    apart = _drier_than_depth(diagnosis)
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
            _per_cent(_own_reading(spot)),
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
            f"days to firm {100 * outlook.lines.firm:g} %",
            f"days to wilt {100 * outlook.lines.wilt:g} %",
        ]
    if plan is not None:
        header.append("hand water mm")
    left = len(survey.spots) - len(chosen)
    notes = [f"The {len(chosen)} spots that need attention first; {left} more."] if left else []
    if apart and by_depth:
        who = "This spot reads" if len(apart) == 1 else "These spots read"
        notes.append(
            f"* {who} drier than depth can explain: days and water are worked out from depth, and "
            "do not hold there; keep an eye on it."
        )
    return Table(tuple(header), tuple(rows), " ".join(notes))


def _odds_cells(spot: SpotDiagnosis | None) -> list[str]:
    if spot is None:
        return ["-", "-", "no usable reading"]
    first = spot.causes[0]
    low, high = spot.band
    return [
        f"{_per_cent(spot.expected)} ({_per_cent(low)} to {_per_cent(high)})",
        f"{100 * (spot.reading - spot.expected):+.1f}".replace("-0.0", "0.0").replace(
            "+0.0", "0.0"
        ),
        f"{first.label}, {_odds_word(first.share)}",
    ]


def _water_cell(plan: Any) -> str:
    if plan is None:
        return "-"
    amount = sum(walk.amount for walk in plan.waterings)
    if not plan.held:
        return f"{amount:.1f}, not enough" if amount else "would not help"
    return f"{amount:.1f}" if amount else "none"


def _plan_table(plan: HandWaterPlan, most: int) -> Table:
    """Write a row for each visit of the crew."""
    visits: dict[Any, list[HandWatering]] = {}
    for walk in plan.waterings:
        visits.setdefault(walk.time, []).append(walk)
    rows = tuple(
        (stamp(time), _amounts(walks), *_visit_totals(walks)) for time, walks in visits.items()
    )
    left = rows[most:]
    note = f"{_count(len(left), 'later visit')}, until {left[-1][0]}, not shown. " if left else ""
    header = ("when", "mm or L/m2 (US gal/1000 ft2)", "water", "hose")
    return Table(header, rows[:most], note + _sentence(plan.totals[-1]))


def _amounts(walks: Sequence[HandWatering]) -> str:
    """Write which spots get which amount on one visit."""
    alike: dict[str, list[str]] = {}
    for walk in walks:
        amount = f"{walk.amount:.1f} ({walk.gallons_per_1000_ft2:.0f})"
        alike.setdefault(amount, []).append(walk.spot)
    return "; ".join(f"{_listed(spots)} {amount}" for amount, spots in alike.items())


def _visit_totals(walks: Sequence[HandWatering]) -> tuple[str, str]:
    litres = sum(walk.litres for walk in walks)
    minutes = sum(walk.seconds for walk in walks) / 60.0
    return (
        f"{litres:.0f} L ({litres / LITRES_PER_US_GALLON:.0f} US gal)"
        if math.isfinite(litres)
        else "-",
        f"{minutes:.1f} min" if math.isfinite(minutes) else "-",
    )


def _next_measurements(diagnosis: Diagnosis) -> tuple[str, ...]:
    """Say of each kind of measurement where it tells most, if it tells anything."""
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
    found = list(dict.fromkeys(texts))
    return tuple(
        text for text in found if not any(text in other for other in found if other != text)
    )


def _assumptions(survey: Survey, *parts: Diagnosis | DryDownOutlook | HandWaterPlan | None) -> Any:
    found = [each for part in parts if part is not None for each in part.assumptions]
    left = len(survey.notes) - MOST_NOTES
    more = [f"{_count(left, 'more note')} of the survey's reader: see the survey"] * (left > 0)
    return _unique([*found, *survey.notes[:MOST_NOTES], *more])


def _cautions(*parts: Diagnosis | DryDownOutlook | HandWaterPlan | None) -> tuple[str, ...]:
    found = [each for part in parts if part is not None for each in part.cautions]
    slopes = [each for each in found if each.startswith("on a slope of")]
    left = len(slopes) - MOST_NOTES
    if left > 0:
        found = [each for each in found if each not in slopes[MOST_NOTES:]]
        found.append(f"{_count(left, 'more spot')} on slopes that count: see the diagnosis")
    return _unique([*found, *cautions_for("accuracy", "construction", "private")])


# --- layout --------------------------------------------------------------------------------------


def _size(sections: dict[str, Any]) -> float:
    """Find the largest type [pt] with which all of it is expected to fit on one sheet."""
    return next((size for size in _SIZES if _height(sections, size) <= _SHEET[1]), _SIZES[-1])


def _height(sections: dict[str, Any], points: float) -> float:
    """Estimate how high [mm] the page is when printed in type of a size [pt]."""
    em = _MM_PER_POINT * points
    wide = _SHEET[0]

    def lines(text: str, width: float, size: float = 1.0) -> float:
        """Height of a text in a column, at a part of the size."""
        count = max(1, math.ceil(_LETTER * size * em * len(text) / width))
        return count * _LEADING * size * em

    def table(data: Table, width: float) -> float:
        """Height of a table with its note; cells need some room around them."""
        rows = sum(lines("".join(row), width - len(row) * em) + 0.35 * em for row in data.rows)
        note = lines(data.note, width) if data.note else 0.0
        return 2.0 * _LEADING * em + rows + note

    heading = 1.12 * _LEADING * em + 1.1 * em
    height = lines(sections["name"], wide, 1.9) + lines("".join(sections["facts"]), wide) + 3.0
    if sections["finding"]:
        said = sum(lines(each, wide - 4.0 * em, 1.08) for each in sections["finding"])
        height += heading + said + 2.0 * em
    pictures = [
        tall * (wide if sections["map"] and sections["dry_down"] else _ALONE) / across
        for name, (across, tall) in (
            ("map", _beside(MAP_SIZE)),
            ("dry_down", _beside(DRY_DOWN_SIZE)),
        )
        if sections[name]
    ]
    if pictures:
        height += max(pictures) + 2.2 * em
    height += heading + table(sections["spots"], wide)
    part = 0.61 * wide if sections["plan"] else wide
    plan = heading + table(sections["plan"], part) if sections["plan"] else 0.0
    part = wide - part - 6.0 if sections["plan"] else wide
    others = 0.0
    for name in ("measurements", "remarks"):
        if sections[name]:
            others += heading + sum(
                lines(each, part - 1.5 * em) + 0.2 * em for each in sections[name]
            )
    height += max(plan, others)
    column = 0.5 * (wide - 6.0) - 1.5 * em
    small = [
        lines(each, column, _SMALL) + 0.2 * em
        for each in (*sections["assumptions"], *sections["cautions"])
    ]
    # Columns break between sentences, never within one.
    height += 0.5 * (sum(small) + max(small)) + heading
    return height + 2.5 * em


def _beside(size: tuple[float, float]) -> tuple[float, float]:
    """Width of both pictures together and height of one [in]."""
    return MAP_SIZE[0] + DRY_DOWN_SIZE[0], size[1]


# --- pictures ------------------------------------------------------------------------------------


class Picture(NamedTuple):
    """A picture as a data URI, and what it shows in words."""

    uri: str
    words: str


def _picture(draw: Callable[[Axes], Any], width: float, height: float, words: str) -> Picture:
    """Draw on a sheet of `width` by `height` [in], as SVG inside the page."""
    import matplotlib
    from matplotlib.figure import Figure

    from soilwater.plot import style

    # Names of spots are text, not formulas, whatever letters they have.
    with style.look(), matplotlib.rc_context({"text.parse_math": False, "svg.hashsalt": "report"}):
        figure = Figure(figsize=(width, height), layout="constrained")
        draw(figure.add_subplot())
        buffer = io.BytesIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure.savefig(buffer, format="svg", metadata=nothing)
    # The document type before the element names an address, though nothing is fetched from it.
    drawn = buffer.getvalue()
    encoded = base64.b64encode(drawn[drawn.index(b"<svg") :]).decode("ascii")
    return Picture(f"data:image/svg+xml;base64,{encoded}", words)


def _map(survey: Survey) -> Picture | None:
    """Draw readings from above, or depths where nothing was read; None without places."""
    if any(spot.x is None or spot.y is None for spot in survey.spots):
        return None
    from soilwater.plot import survey_map

    readings = {spot.name: _own_reading(spot) for spot in survey.spots}
    depths = {spot.name: spot.depth for spot in survey.spots}
    read = any(math.isfinite(value) for value in readings.values())
    quantity, values = ("reading", readings) if read else ("root_zone_depth", depths)

    def draw(ax: Axes) -> None:
        survey_map(survey, values, quantity=quantity, ax=ax)
        ax.set_title("")

    unit = "readings in % by volume" if read else "depths of the root zone in inches"
    words = ", ".join(f"{name} {_map_value(value, read)}" for name, value in values.items())
    return _picture(draw, *MAP_SIZE, f"Map of the spots, north up, {unit}: {words}.")


def _map_value(value: float, read: bool) -> str:
    if not math.isfinite(value):
        return "unknown"
    return f"{100 * value:.0f}" if read else f"{value / 2.54:.1f}"


def _dry_down(days: DryDownOutlook) -> Picture:
    from soilwater.plot import outlook

    lines = days.lines
    words = (
        f"Median meter reading of each depth over {days.horizon:g} days, with the lines firm "
        f"{100 * lines.firm:g} %, watch {100 * lines.watch:g} % and wilt {100 * lines.wilt:g} %."
    )
    return _picture(lambda ax: outlook(days, ax=ax), *DRY_DOWN_SIZE, words)
