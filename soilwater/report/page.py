"""The page as a whole: what is given is checked, put into words and laid out."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from soilwater.decisions.spots.learned import LEARNED_GREEN
from soilwater.decisions.spots.odds import LIKELY, UNLIKELY, Diagnosis
from soilwater.decisions.watering.outlook import DryDownOutlook
from soilwater.decisions.watering.starts import LEARNED_START
from soilwater.decisions.watering.water_plan import HandWaterPlan
from soilwater.learning.calibration import Calibration
from soilwater.report.layout import laid_out, sides_hold
from soilwater.report.pictures import dry_down_picture, map_picture
from soilwater.report.tables import plan_table, spot_table
from soilwater.report.words import (
    assumptions,
    cautions,
    facts,
    finding,
    next_measurements,
    sentence,
)
from soilwater.survey.survey import Survey
from soilwater.words.cautions import dangers_among
from soilwater.words.errors import Faults
from soilwater.words.safe_texts import fit_to_show
from soilwater.words.unit_choice import Worded

TEMPLATE = "page.html.j2"
MOST_ROWS = (24, 20, 16, 14, 12, 11, 10, 9, 8, 7, 6, 5, 4, 3)
"""Rows of the tables, the next fewer where they do not fit on their side of a sheet:
spots that need attention first, and visits of the plan."""
MOST_REMARKS, LONGEST_REMARK, LONGEST_WORD = 3, 200, 48
"""Remarks a sheet has room for, letters of one, and of a word that a cell has room for."""


def report(
    survey: Survey,
    diagnosis: Diagnosis | None = None,
    outlook: DryDownOutlook | None = None,
    plan: HandWaterPlan | None = None,
    *,
    calibration: Calibration | None = None,
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
    calibration : Calibration, optional
        From `calibrate`, of this survey: diagnosis, outlook and plan have to be made with it.
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
        spots that the survey does not have; an outlook and a plan for different rods; one part
        made from a calibration and another not; too many or too long remarks.
    ImportError
        Without matplotlib or jinja2: ``python -m pip install "soilwater[report]"``.

    Notes
    -----
    Words for odds are those of `diagnose`: likely from 50 %, possible from 10 %, unlikely below.
    """
    environment = template_environment()
    kept = _checked(survey, diagnosis, outlook, plan, calibration, remarks)
    told = cautions(diagnosis, outlook, plan, calibration)
    sections: dict[str, Any] = {
        "name": survey.name or "Survey",
        "facts": facts(survey, calibration),
        "prepared_by": prepared_by,
        "finding": finding(survey, diagnosis, outlook, plan),
        "map": map_picture(survey),
        "dry_down": None if outlook is None else dry_down_picture(outlook),
        "measurements": () if diagnosis is None else next_measurements(diagnosis),
        "remarks": kept,
        "assumptions": assumptions(survey, diagnosis, outlook, plan, calibration),
        "dangers": dangers_among(told),
        "cautions": told,
        "likely": LIKELY,
        "unlikely": UNLIKELY,
    }
    sections["plan"] = None
    for most in MOST_ROWS:
        sections["spots"] = spot_table(survey, diagnosis, outlook, plan, most)
        if sides_hold(sections)[0]:
            break
    if plan is not None:
        for most in MOST_ROWS:
            sections["plan"] = plan_table(plan, diagnosis, most)
            if sides_hold(sections)[1]:
                break
    source = resources.files("soilwater.report").joinpath(TEMPLATE).read_text(encoding="utf-8")
    page: str = environment.from_string(source).render(**sections, layout=laid_out(sections))
    if path is not None:
        Path(path).write_text(page, encoding="utf-8")
    return page


def _check_learned(
    diagnosis: Any, outlook: Any, plan: Any, calibration: Any, faults: Faults
) -> None:
    """Note a part that does not stand on the same sample as the rest."""
    given = {"diagnosis": diagnosis, "outlook": outlook, "plan": plan}
    learned = {
        name: bool({LEARNED_START, LEARNED_GREEN} & set(each.assumptions))
        for name, each in given.items()
        if isinstance(each, (Diagnosis, DryDownOutlook, HandWaterPlan))
    }
    if calibration is None and len(set(learned.values())) < 2:
        return
    for name, it_is in learned.items():
        if not it_is:
            faults.add(
                f"{name} is not made from the calibration that the rest stands on",
                cure="make it with calibration=calibration: a page has one set of numbers",
            )


def template_environment() -> Any:
    """Prepare what fills a template; every text in it is escaped."""
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
        finalize=_fit_to_show,
    )
    environment.filters["sentence"] = sentence
    return environment


def _fit_to_show(value: Any) -> Any:
    """Make a text of others fit to show; pictures, and what a macro laid out, stay as they are."""
    if type(value) not in (str, Worded) or value.startswith("data:"):
        return value
    return fit_to_show(value, LONGEST_WORD)


def _checked(
    survey: Any, diagnosis: Any, outlook: Any, plan: Any, calibration: Any, remarks: Any
) -> tuple[str, ...]:
    """Check that all is about one survey; returns the remarks."""
    faults = Faults("report")
    if not isinstance(survey, Survey):
        faults.add(f"survey is {survey!r}", allowed="a Survey")
    known = {spot.name for spot in survey.spots} if isinstance(survey, Survey) else None
    for name, given, kind in (
        ("diagnosis", diagnosis, Diagnosis),
        ("outlook", outlook, DryDownOutlook),
        ("plan", plan, HandWaterPlan),
        ("calibration", calibration, Calibration),
    ):
        if given is None:
            continue
        if not isinstance(given, kind):
            faults.add(f"{name} is {given!r}", allowed=f"a {kind.__name__}, or None")
        elif known is not None:
            spots: Sequence[Any] = given.spots
            names = [getattr(each, "spot", each).name for each in spots]
            strangers = [each for each in names if each not in known]
            if strangers:
                faults.add(
                    f"the survey has no spot {', '.join(strangers)}",
                    where=name,
                    cure="make it from this survey",
                )
    _check_learned(diagnosis, outlook, plan, calibration, faults)
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
