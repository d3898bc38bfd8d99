"""Pages that are made anew with every build, so that they cannot disagree with the code.

- ``docs/examples``: copies of the notebooks and data of the folder ``examples``.
- ``docs/reference``: what is public, by subject; units; vocabulary.
- ``docs/verification.md``: problems with a known answer, from the tests (`verification_page`).
- ``docs/_static/explorer_example.html``: a page of sliders.
"""

from __future__ import annotations

import importlib
import inspect
import shutil
from pathlib import Path
from types import ModuleType

import soilwater
from soilwater.words.quantities import HOUSE_UNITS
from soilwater.words.vocabulary import VARIABLES, Variable

SUBJECTS = {
    "Running columns": (
        "simulate simulate_many simulate_ensemble compare_depths Case HeldSurface drained_state "
        "drained_water_content meter_reading days_until"
    ),
    "Profiles and what they stand on": (
        "Profile Layer GravelBlanket CapillaryBreak SeepageFace FreeDrainage WaterTable Sealed"
    ),
    "Soils": "VanGenuchten BrooksCorey Kosugi TwoComponent WithDryEnd",
    "From the lab": (
        "read_retention read_retention_samples RetentionTable FitResult Grading check_root_zone"
    ),
    "Turf": "Turf SShapedStress RoundedStress RepellentMat",
    "Weather": (
        "Weather steady_weather weather_from_table read_weather read_station Site "
        "read_forecast join_weather usual_weather "
        "daily_reference_et hourly_reference_et"
    ),
    "Irrigation": "Event Rule cycle_and_soak hand_water syringe",
    "Depths and design": (
        "depth_window compare_sands depth_over_contour slope_equivalent BaseSuction "
        "ReadingTarget AirTarget"
    ),
    "Surveys, and why a spot is dry or wet": (
        "read_survey join_surveys Survey Spot Reading expected_reading diagnose next_measurement "
        "DropTests WettingShare Repellency repellent_patches"
    ),
    "Ground that is not level": (
        "interpolate_survey SurveyedGround GreenMap Transect simulate_grounds level_bracket "
        "crest_effect CrestEffect FloorDesign ground_odds GroundOdds write_map"
    ),
    "Dry-down, hand water and changes": (
        "dry_down_outlook hand_water_plan Thresholds what_if reshape barrier drain wettable"
    ),
    "The wet side": "air_after_rain days_below_air flush_water",
    "A site, every morning": "read_site_file SiteFile write_site_file morning_plan Morning",
    "Tables to take away, and units": "read_table use_units",
    "A page to explore": "explore explore_ground",
    "Errors": "SoilWaterError InputError RunError Interrupted SoilWaterWarning Status",
}
"""What ``soilwater`` itself offers, by subject; what is not named here comes last."""

MODULES = {
    "The accessor of a result, run.soilwater": ("accessor",),
    "Pictures, and the page for a committee": ("plot", "report"),
    "The one-page report, and the card for the crew": ("report",),
    "More on the page to explore": ("explorer",),
    "More on depths and design": (
        "decisions.building.depth",
        "decisions.building.contour",
        "decisions.slope",
        "decisions.targets",
        "decisions.building.construction",
    ),
    "More on spots": ("decisions.spots.diagnosis", "decisions.spots.measurements"),
    "More on water": (
        "decisions.watering.outlook",
        "decisions.watering.hand_watering",
        "decisions.watering.changes",
        "decisions.watering.water_side",
    ),
    "More on a site": ("site.file", "site.tables"),
    "Cautions": ("words.cautions",),
    "Station records": ("weather.station.record",),
    "Evapotranspiration, formula by formula": ("weather.evapotranspiration", "weather.sun"),
    "Words and units": ("words.units", "words.quantities", "words.vocabulary"),
}
"""Public modules below, by subject; what they define beyond what ``soilwater`` offers is listed."""

QUANTITIES = {
    "length": ("depth, length", '"12 in", "14 3/4 in", "1 ft 2 in", "300 mm"'),
    "suction": ("suction, positive when dry", '"3 kPa", "30 mbar", "3 cbar", "30 cm"'),
    "conductivity": ("hydraulic conductivity", '"14 in/h", "356 mm/h"'),
    "inverse_length": ("alpha of a retention curve", '"0.033 1/cm", "3.3 1/m"'),
    "water_amount": ("amount of water", '"25 mm", "1 in"'),
    "water_rate": ("rate of water", '"18 mm/h", "0.7 in/h"'),
    "evapotranspiration": ("evapotranspiration", '"5 mm/day", "0.2 in/day"'),
    "duration": ("time span", '"90 min", "2 days"'),
    "water_content": ("water content, reading", '"22 %" (a plain 22 is an error)'),
    "fraction": ("share", '"75 %"'),
    "temperature": ("temperature", '"68 degF"'),
    "area": ("area", '"50 ft2"'),
    "flow": ("flow of a hose", '"15 gpm"'),
    "density": ("bulk or particle density", '"1550 kg/m3"'),
    "slope": ("slope, rise over run", '"4 %", "1:25", "4 deg"'),
}
"""What each quantity is called, and texts that are understood."""


def make_pages(docs: Path) -> None:
    """Write all pages that are made at build time into the folder of the documentation."""
    copy_examples(docs.parent / "examples", docs / "examples")
    reference = docs / "reference"
    if reference.exists():
        shutil.rmtree(reference)
    reference.mkdir()
    write(reference / "index.rst", reference_page())
    write(reference / "units.md", units_page())
    write(reference / "vocabulary.md", vocabulary_page())
    write(docs / "_static" / "explorer_example.html", explorer_example())
    # Imported here, because that module takes its tables from this one.
    from verification_page import page

    write(docs / "verification.md", page())


def write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def copy_examples(source: Path, target: Path) -> None:
    """Copy the notebooks and their data, so that they run where they are read."""
    if target.exists():
        shutil.rmtree(target)
    target.mkdir()
    shutil.copytree(source / "data", target / "data", ignore=shutil.ignore_patterns("*.py"))
    for notebook in sorted(source.glob("*.md")):
        shutil.copy(notebook, target)


def reference_page() -> str:
    """List everything public under a heading for each subject."""
    listed = {name for names in SUBJECTS.values() for name in names.split()}
    others = [name for name in soilwater.__all__ if name not in listed]
    subjects = SUBJECTS | ({"Others": " ".join(others)} if others else {})
    parts = [
        title("Reference", "="),
        "Made from the docstrings. Numbers without a unit are in the house units of "
        ":doc:`units`; the variables of results are in :doc:`vocabulary`.",
        ".. toctree::\n   :hidden:\n\n   units\n   vocabulary",
    ]
    for subject, names in subjects.items():
        parts += [title(subject, "-"), summary("soilwater", names.split())]
    for subject, modules in MODULES.items():
        parts.append(title(subject, "-"))
        for name in modules:
            module = importlib.import_module(f"soilwater.{name}")
            parts += [f"``{module.__name__}``", summary(module.__name__, defined_in(module))]
    return "\n\n".join(parts) + "\n"


def explorer_example() -> str:
    """Make the page of sliders that the page "A page to explore" shows."""
    sand = soilwater.RetentionTable(
        [10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat="14 in/h"
    ).fit(soilwater.VanGenuchten)
    straight = soilwater.VanGenuchten(0.025, 0.37, 0.041, 4.5, "60 cm/h")
    return soilwater.explore(
        {"greens mix": sand, "straight sand": straight},
        soilwater.Turf.creeping_bentgrass(),
        soilwater.Thresholds("18 %", "14 %", "12 %"),
        spot_depth="18 in",
        green_depth="12 in",
        rod="3 in",
        demand="5 mm/day",
        depths=("8 in", "20 in"),
        demands=("2 mm/day", "8 mm/day"),
        draws=20,
        name="An invented green",
    ).html


def title(text: str, line: str) -> str:
    return f"{text}\n{line * len(text)}"


def summary(module: str, names: list[str]) -> str:
    lines = [f"   {name}" for name in names]
    head = f".. currentmodule:: {module}\n\n.. autosummary::\n   :toctree: .\n   :nosignatures:\n"
    return "\n".join([head, *lines])


def defined_in(module: ModuleType) -> list[str]:
    """Public classes and functions of a module alone, in the order of the source."""
    if hasattr(module, "__all__"):
        return list(module.__all__)
    found = [
        (inspect.getsourcelines(thing)[1], name)
        for name, thing in vars(module).items()
        if not name.startswith("_")
        and name not in soilwater.__all__
        and (inspect.isclass(thing) or inspect.isfunction(thing))
        and thing.__module__ == module.__name__
    ]
    return [name for _, name in sorted(found)]


def units_page() -> str:
    if set(QUANTITIES) != set(HOUSE_UNITS):
        differ = sorted(set(QUANTITIES) ^ set(HOUSE_UNITS))
        raise ValueError(f"QUANTITIES and HOUSE_UNITS differ: {differ}")
    rows = [
        (label, HOUSE_UNITS[quantity].replace("dimensionless", "1") or "1", texts)
        for quantity, (label, texts) in QUANTITIES.items()
    ]
    return "\n".join(
        [
            "# Units",
            "",
            "Every argument that has a unit takes a plain number in the house unit, a text with a "
            'unit, or a `pint` quantity. A bare text (`"12"`) or a unit of the wrong kind is an '
            "error that says what would be right. Depth counts downward from the turf surface, "
            "suction is positive when dry, fluxes are positive downward, and times are local "
            "standard time.",
            "",
            *table(("quantity", "plain numbers are in", "texts such as"), rows),
        ]
    )


def vocabulary_page() -> str:
    rows = [
        (f"`{v.name}`", f"`{v.units}`" if v.units else "", v.long_name, limits(v))
        for v in sorted(VARIABLES.values(), key=lambda v: v.name)
    ]
    return "\n".join(
        [
            "# Vocabulary",
            "",
            "Every variable that a result, a weather or a table of decisions may hold. The unit is "
            "in the attributes of each, in UDUNITS spelling; standard names are those of the CF "
            "conventions, where they have the same idea.",
            "",
            *table(("name", "unit", "meaning", "range"), rows),
        ]
    )


def limits(variable: Variable) -> str:
    if variable.valid_range is None:
        return ""
    low, high = ("" if end is None else f"{end:g}" for end in variable.valid_range)
    if low and high:
        return f"{low} to {high}"
    return f"{low} and more" if low else f"up to {high}"


def table(header: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    """Lines of a Markdown table."""
    cells = [[cell.replace("|", "\\|") for cell in row] for row in rows]
    return [
        "| " + " | ".join(header) + " |",
        "|" + "---|" * len(header),
        *("| " + " | ".join(row) + " |" for row in cells),
        "",
    ]
