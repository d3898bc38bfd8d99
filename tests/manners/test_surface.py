"""One word for one idea through every public signature, and nothing on show but what is public."""

import dataclasses
import importlib
import inspect
import re
import subprocess
import sys

import pytest

import soilwater as sw
import soilwater.plot
import soilwater.report
from soilwater.words import forms

OLD_WORDS = {
    "reading": "threshold",
    "line": "threshold",
    "lines": "thresholds",
    "below": "threshold",
    "bands": "thresholds",
    "window": "target",
    "soils": "sand",
    "level": "probability",
    "share": "probability",
    "n": "draws",
}
"""Words that were in use for an idea that has another word now."""
MEANING_SOMETHING_ELSE = {
    "DepthWindow": set(),
    "depth_over_contour": {"window"},  # the answer of depth_window, no threshold
    "ContourDesign": {"window"},
    "FloorDesign": {"window"},
    "Outcome": {"bands"},  # where numbers lie, no thresholds
    "Rule.decide": {"reading"},  # what the meter shows
    "SandAtDepth": {"reading"},
    "SpotDiagnosis": {"reading"},
    "Grading.diameter": {"share"},  # of the mass
    "BaseSuction.spread": {"n"},  # suctions, not draws
    "VanGenuchten": {"n"},  # the parameter
    "TwoComponent": {"n"},
}
BY_NAME = ("rod",)
ANSWERS = {name for name in sw.__all__ if inspect.isclass(getattr(sw, name))} - {"Rule", "Reading"}
"""Classes that hold a rod among their results or are made by the package."""


def public():
    """Yield each public function, class and method with the name it goes by."""
    homes = [(sw, ""), (soilwater.plot, "plot."), (soilwater.report, "report.")]
    for home, prefix in homes:
        for name in home.__all__:
            thing = getattr(home, name)
            if not callable(thing) or (inspect.isclass(thing) and issubclass(thing, Exception)):
                continue
            yield prefix + name, thing
            if inspect.isclass(thing):
                for part, value in vars(thing).items():
                    function = getattr(value, "__func__", value)
                    if inspect.isfunction(function) and not part.startswith("_"):
                        yield f"{prefix}{name}.{part}", function


PUBLIC = dict(public())


def parameters_of(thing):
    if inspect.isclass(thing) and not dataclasses.is_dataclass(thing):
        return {}
    return dict(inspect.signature(thing).parameters)


def test_an_idea_has_one_word():
    old = {
        name: set(parameters_of(thing)) & set(OLD_WORDS) - MEANING_SOMETHING_ELSE.get(name, set())
        for name, thing in PUBLIC.items()
    }
    told = {name: {w: f"say {OLD_WORDS[w]}" for w in words} for name, words in old.items() if words}
    assert told == {}


def those_with(word, *, functions_only=False):
    """Names of what is public and takes an argument of that name."""
    return {
        name
        for name, thing in PUBLIC.items()
        if word in parameters_of(thing) and (inspect.isfunction(thing) or not functions_only)
    }


def test_a_sand_is_called_sand_and_its_size_draws():
    # Any soil of a layer, not the sand of a root zone.
    assert those_with("soil", functions_only=True) <= {"Profile.with_soil"}
    # A lab sheet has samples of its own, and an answer holds soils.
    assert those_with("samples") <= {"read_retention_samples", "DepthWindow"}
    # A property of a soil or a gravel.
    assert those_with("entry_suction") <= {"BrooksCorey", "CapillaryBreak"}


def test_rods_are_given_by_name():
    by_place = {
        name
        for name in those_with("rod") - ANSWERS
        if parameters_of(PUBLIC[name])["rod"].kind is not inspect.Parameter.KEYWORD_ONLY
    }
    assert by_place == set()


def test_start_is_a_state_of_the_water():
    starts = those_with("start", functions_only=True)
    assert {n for n in starts if '"drained"' not in (inspect.getdoc(PUBLIC[n]) or "")} == set()


def test_nothing_is_shown_but_what_is_public():
    shown = set(dir(sw))
    assert shown == {*sw.__all__, "plot", "report", "__version__"}
    assert all(hasattr(sw, name) for name in shown)


def test_report_is_imported_when_it_is_first_touched():
    code = (
        "import sys, soilwater as sw; assert 'soilwater.report' not in sys.modules; "
        "sw.report.report; assert 'soilwater.report' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize(
    "name", ["decisions.watering.changes", "decisions.watering.what_if", "decisions.spots.odds"]
)
def test_answers_and_changes_are_public(name):
    module = importlib.import_module(f"soilwater.{name}")
    made = [
        each
        for each, thing in vars(module).items()
        if dataclasses.is_dataclass(thing) and thing.__module__ == module.__name__
    ]
    assert made and set(made) - {"Situation", "GroundSituation"} <= set(sw.__all__)


GREEN = sw.Profile.over_gravel(sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 30.0)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (
            lambda: sw.days_until(None, reading=0.12, rod=7.6),
            'days_until: "reading" is now called "threshold"; write threshold in its place',
        ),
        (
            lambda: sw.drained_state(GREEN, soils=[]),
            'drained_state: "soils" is now called "sand"; write sand in its place',
        ),
        (
            lambda: sw.Rule("6 mm", below=0.12, rod=7.6, rate=18.0),
            'Rule: "below" is now called "threshold"; write threshold in its place',
        ),
        (
            lambda: sw.Profile.over_gravel(GREEN, 30.0, entry_suction=3.0),
            'over_gravel: "entry_suction" is now called "base_suction"; write base_suction in its '
            "place",
        ),
        (
            lambda: sw.plot.depth_curve(GREEN, rod=7.6, level=0.8),
            'depth_curve: "level" is now called "probability"; write probability in its place',
        ),
        (
            lambda: sw.meter_reading(None, "3 in"),
            "meter_reading: it takes 1 unnamed values and was given 2; give the rods by name: "
            "rod='3 in'",
        ),
        (
            lambda: sw.Reading(0.2, 7.6),
            "Reading: it takes 1 unnamed values and was given 2; give the rods by name: rod=7.6",
        ),
    ],
)
def test_an_old_word_is_told_the_new_one(asked, told):
    with pytest.raises(sw.InputError) as caught:
        asked()
    assert str(caught.value).rstrip(".") == told.rstrip(".")


def test_an_old_class_is_told_its_new_name():
    with pytest.raises(AttributeError, match=r"sw\.Thresholds"):
        sw.Lines  # noqa: B018


SUCTION = [10.0, 20.0, 30.0, 40.0]
FIT = sw.RetentionTable(SUCTION, [0.378, 0.284, 0.194, 0.14], k_sat=40.0).fit(
    sw.VanGenuchten, draws=50
)
READ = sw.Survey([sw.Spot("A", 30.0, readings=(sw.Reading(0.2, rod=7.6, time="2025-07-02"),))])
SAND = {"a soil": FIT.soil, "a fit": FIT, "several": list(FIT.samples(5)), "fits": [FIT, FIT]}
SURVEY = sw.Survey([sw.Spot("A", 30.0, readings=(sw.Reading(0.25, rod=7.6),))])
DAY = sw.steady_weather(1, 5.0)
TURF = sw.Turf(15.0)
LINE = sw.Transect([0.0, 100.0, 200.0], "1 %", [30.0] * 3, GREEN, spacing=100.0)
TAKE_A_SAND = {
    "over_gravel": lambda sand: sw.Profile.over_gravel(sand, 30.0),
    "slope_equivalent": lambda sand: sw.slope_equivalent(sand, 0.02, 900.0, depth=30.0),
    "depth_window": lambda sand: sw.depth_window(sand, (0.15, 0.25), rod=7.6, air_filled=0.1),
    "compare_sands": lambda sand: sw.compare_sands(
        {"one": sand}, (0.15, 0.25), rod=7.6, air_filled=0.1
    ),
    "check_root_zone": lambda sand: sw.check_root_zone(FIT.table, sand=sand, depth=30.0, rod=7.6),
    "diagnose": lambda sand: sw.diagnose(SURVEY, sand),
    "calibrate": lambda sand: sw.calibrate(
        READ, sand, DAY, TURF, soaked="2025-07-01", irrigation=(), draws=10
    ),
    "expected_reading": lambda sand: sw.expected_reading(SURVEY, sand, draws=20),
    "dry_down_outlook": lambda sand: sw.dry_down_outlook(
        SURVEY, sand, DAY, TURF, sw.Thresholds(0.18, 0.14, 0.12), draws=2
    ),
    "hand_water_plan": lambda sand: sw.hand_water_plan(SURVEY, sand, DAY, TURF, 0.12, draws=2),
    "compare_depths": lambda sand: sw.compare_depths(GREEN, [30.0], DAY, sand=sand, output=24.0),
    "simulate_ensemble": lambda sand: sw.simulate_ensemble(GREEN, DAY, sand=sand, output=24.0),
    "drained_state": lambda sand: sw.drained_state(GREEN, sand=sand),
    "air_after_rain": lambda sand: sw.air_after_rain(
        GREEN, [30.0], air_filled=0.1, root_layer=7.6, hours=1.0, sand=sand
    ),
    "what_if": lambda sand: sw.what_if(
        GREEN, DAY, TURF, sw.Thresholds(0.18, 0.14, 0.12), [], sand=sand, rod=7.6, draws=2
    ),
    "topdress": lambda sand: sw.topdress(sand, 1.0),
    "other_sand": lambda sand: sw.other_sand(sand),
    "crest_effect": lambda sand: sw.crest_effect(LINE, DAY, rod=7.6, sand=sand, draws=2),
    "ground_odds": lambda sand: sw.ground_odds(LINE, sand, DAY, 0.12, rod=7.6, draws=2),
    "likely_memories": lambda sand: sw.likely_memories(sand, 2),
    "plot.retention": lambda sand: sw.plot.retention(sand),
    "plot.depth_curve": lambda sand: sw.plot.depth_curve(sand, rod=7.6),
}


@pytest.mark.parametrize("kind", SAND)
@pytest.mark.parametrize("name", TAKE_A_SAND)
def test_whatever_takes_a_sand_takes_a_soil_a_fit_or_several(name, kind):
    assert TAKE_A_SAND[name](SAND[kind]) is not None


def test_no_function_that_takes_a_sand_is_left_out():
    takes = {name for name, thing in PUBLIC.items() if "sand" in parameters_of(thing)}
    answers = {"Calibration", "Change", "DepthWindow", "SandAtDepth"}
    assert {each.rpartition(".")[2] for each in takes - answers} == {
        each.rpartition(".")[2] for each in TAKE_A_SAND if each != "compare_sands"
    }


@pytest.mark.parametrize("name", TAKE_A_SAND)
@pytest.mark.parametrize("wrong", [42, [], ["sand"], FIT.table])
def test_what_is_no_sand_is_told_what_is(name, wrong):
    if name == "plot.retention" and wrong is FIT.table:
        return
    with pytest.raises(sw.InputError, match="sand") as caught:
        TAKE_A_SAND[name](wrong)
    # An object is named by its kind, not printed into the sentence.
    assert "suction (cm)" not in str(caught.value) and "<" not in str(caught.value)
    if wrong is FIT.table:
        assert "RetentionTable" in str(caught.value)


UNIT_OF = {
    name: (re.search(r"\[([^],]+)", text) or [None, None])[1]
    for name, text in re.findall(
        r'^(\w+): TypeAlias = [^\n]*\n"""(.*?)"""',
        inspect.getsource(forms),
        re.MULTILINE | re.DOTALL,
    )
}
"""Unit that each form of a quantity says of itself, as the source says it."""
NO_QUANTITIES = {
    "read_forecast": {"source"},
    "interpolate_survey": {"outline"},  # corners, a table or a file
    "read_retention": {"source"},  # files and tables of every kind
    "read_retention_samples": {"source"},
    "read_station": {"source"},
    "read_survey": {"source"},
    "read_weather": {"source"},
    "plot.animate_dry_down": {"path"},
    "plot.animate_green": {"path"},
    "simulate_grounds": {"labels"},
    "simulate_many": {"labels"},
    "with_finding": {"outcome"},  # of whatever the measurement measures
}


def annotated(name):
    thing = PUBLIC[name]
    if not inspect.isfunction(inspect.unwrap(thing)):
        return {}
    signature = inspect.signature(thing)
    return {each: str(found.annotation) for each, found in signature.parameters.items()}


def test_units_are_visible_in_signatures():
    """What takes a number with a unit says so by a form of `words.forms`, never by `Any`."""
    hidden = {
        name: found
        for name in PUBLIC
        if (
            found := {each for each, kind in annotated(name).items() if re.search(r"\bAny\b", kind)}
            - NO_QUANTITIES.get(name, set())
        )
    }
    assert not hidden


def described_units(thing):
    """Units in brackets by parameter, from the section Parameters of a docstring."""
    text = inspect.getdoc(thing) or ""
    section = re.split(r"\n\w[\w ]+\n-+\n", text.partition("Parameters\n----------\n")[2])[0]
    units = {}
    for block in re.split(r"\n(?=\S)", section):
        names, _, body = block.partition(" : ")
        found = {each.split(",")[0] for each in re.findall(r"\[([^\]]+)\]", body)}
        units.update((each.strip(), found) for each in names.split(","))
    return units


def test_the_unit_of_a_form_is_the_unit_that_is_described():
    assert UNIT_OF["Length"] == "cm" and UNIT_OF["Date"] is None
    wrong, compared = [], 0
    for name in PUBLIC:
        described = described_units(PUBLIC[name])
        for each, kind in annotated(name).items():
            said = {UNIT_OF[form] for form in UNIT_OF if re.search(rf"\b{form}\b", kind)} - {None}
            told = described.get(each, set())
            if said and told:
                compared += 1
                if not said <= told:
                    wrong.append((name, each, kind, told))
    assert compared > 60
    assert not wrong


def test_every_form_is_in_use():
    used = " ".join(kind for name in PUBLIC for kind in annotated(name).values())
    assert {form for form in UNIT_OF if not re.search(rf"\b{form}\b", used)} == set()
