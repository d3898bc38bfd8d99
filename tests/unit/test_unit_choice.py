"""One switch of units: in every text, table, picture, card and report, and in no number."""

import copy
import pickle
import re
from functools import lru_cache

import matplotlib.pyplot as plt
import numpy as np
import pytest
import xarray as xr
from grounds import WET_MIX
from matplotlib.text import Text

import soilwater as sw
from soilwater import plot
from soilwater.report import crew_card, report

METRIC = re.compile(r"\d ?(?:cm|mm|m|L|m2|L/min|L/m2|mm/day|°C)\b|\((?:cm|mm|m|L|m2)\)|\bL/m2\b")
AMERICAN = re.compile(
    r"\d ?(?:in(?! 100 chances)|ft|ft2|gal|°F)\b|\bUS gal\b|\((?:in|ft)\)|\binches\b"
)
FOREIGN = {"metric": AMERICAN, "US": METRIC}
OTHERS = re.compile(
    # Cautions keep the units of their sources.
    r"two days after a soaking 10 m of gravel|numbers of \+-1 in and|"
    # Suctions, and the assumption about the base, are in cm of water as laboratories give them.
    r"[\d.]+ cm of suction|suction left at the base[^\n]*|base suction[^\n]*|up to \d+ cm"
    r"|suction[^\n]{0,40}\d cm",
    re.IGNORECASE,
)
THRESHOLDS = sw.Thresholds("18 %", "14 %", "5 %")


def made():
    """Everything that is written for people, with its words made under the units in use."""
    green = sw.Survey(
        [
            sw.Spot("A1", "12 in", area="50 ft2", x=0.0, y=0.0, readings=[_read("22 %")]),
            sw.Spot("A2", "13 in", area="50 ft2", x=4.0, y=0.0, readings=[_read("21 %")]),
            sw.Spot("B1", "12 in", x=0.0, y=4.0, readings=[_read("8 %")], mat_thickness="1 in"),
            sw.Spot("B2", "18 in", area="50 ft2", x=4.0, y=4.0, readings=[_read("15 %")]),
        ],
        name="Wrenfold",
    )
    turf = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
    weather = sw.steady_weather(6, "5 mm/day", first_day="2031-06-09")
    profile = sw.Profile.over_gravel(WET_MIX, "12 in")
    return {
        "survey": green,
        "weather": weather,
        "turf": turf,
        "profile": profile,
        "diagnosis": sw.diagnose(green, WET_MIX),
        "outlook": sw.dry_down_outlook(green, WET_MIX, weather, turf, THRESHOLDS, draws=4),
        "plan": sw.hand_water_plan(green, WET_MIX, weather, turf, "12 %", flow="15 gpm", draws=2),
        "window": sw.depth_window(
            WET_MIX, sw.ReadingTarget("15 %", "25 %"), rod="3 in", air_filled="10 %", draws=8
        ),
        "flush": sw.flush_water(profile, pore_volumes=1.0),
        "what if": sw.what_if(
            profile, weather, turf, THRESHOLDS, [sw.regrade("10 in")], rod="3 in"
        ),
        "one run": sw.simulate(profile, weather, turf=turf),
        "run": sw.compare_depths(profile, ["10 in", "12 in"], weather, turf=turf).soilwater,
    }


def _read(value):
    return sw.Reading(value, rod="3 in", time="2031-06-09 06:30")


@lru_cache
def made_in(units):
    with sw.use_units(units):
        return made()


@pytest.fixture(params=["metric", "US"])
def chosen(request):
    answers = made_in(request.param)
    with sw.use_units(request.param):
        yield request.param, answers


def own_words(text):
    return OTHERS.sub("", re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", text, flags=re.S))


def test_no_text_has_a_unit_of_the_other_system(chosen):
    units, answers = chosen
    for name, answer in answers.items():
        if isinstance(answer, xr.Dataset):
            continue  # numbers, which have units of their own
        for text in (repr(answer), answer._repr_html_()):
            found = FOREIGN[units].search(own_words(text))
            assert found is None, (name, text[max(0, found.start() - 60) : found.end() + 20])


def test_card_and_report_keep_to_the_choice(chosen):
    units, answers = chosen
    page = report(answers["survey"], answers["diagnosis"], answers["outlook"], answers["plan"])
    for text in (crew_card(answers["plan"]), page):
        shown = re.sub(r"<[^>]+>", " ", own_words(text))
        found = FOREIGN[units].search(shown)
        assert found is None, shown[max(0, found.start() - 60) : found.end() + 20]
    own = {"metric": " L", "US": " gal"}[units]
    assert own in crew_card(answers["plan"])


def test_what_was_made_before_is_said_in_the_units_in_use(chosen):
    """Sentences kept with an answer follow the choice as its tables do, whenever it was made."""
    units, _ = chosen
    answers = made_in("both")
    for name in ("diagnosis", "outlook", "plan", "window", "flush", "what if"):
        for text in (repr(answers[name]), answers[name]._repr_html_()):
            found = FOREIGN[units].search(own_words(text))
            assert found is None, (name, text[max(0, found.start() - 60) : found.end() + 20])
    page = report(answers["survey"], answers["diagnosis"], answers["outlook"], answers["plan"])
    for text in (crew_card(answers["plan"]), page):
        shown = re.sub(r"<[^>]+>", " ", own_words(text))
        found = FOREIGN[units].search(shown)
        assert found is None, shown[max(0, found.start() - 60) : found.end() + 20]


def test_notes_of_a_sheet_and_names_of_changes_are_said_in_the_units_in_use():
    sheet = {"spot": ["a", "b"], "VWC (%)": [22, 24], "rod (in)": [1.5, 3.0]}
    kept = [
        *sw.read_survey(sheet).notes,
        sw.topdress(WET_MIX, "1 in").name,
        sw.blocked_outlet("4 in").name,
        sw.irrigate(sw.Event("2031-06-09 06:00", "0.2 in", duration="1 h")).name,
        sw.reshape("-1 in", "10 ft", "4 ft").name,
    ]
    for units, told in (
        ("metric", ("3.8 cm and 7.6 cm rods mixed", "2.5 cm of topdressing", "5.1 mm in one")),
        ("US", ("1.5 in and 3.0 in rods mixed", "1.0 in of topdressing", "0.20 in in one")),
    ):
        with sw.use_units(units):
            shown = "; ".join(map(str, kept))
        assert all(each in shown for each in told)
        assert FOREIGN[units].search(shown) is None


def test_a_sentence_that_is_kept_is_copied_with_its_units():
    said = made_in("both")["plan"].spot("B2").sentence
    for copied in (copy.deepcopy(said), pickle.loads(pickle.dumps(said))):
        assert copied == said and "B2 (45.7 cm (18.0 in)): " in str(copied)
        for units, depth in (("metric", "45.7 cm"), ("US", "18.0 in")):
            with sw.use_units(units):
                assert str(copied).startswith(f"B2 ({depth}): ") and f"{copied}" == str(copied)


def written_on(ax):
    """Every text of a picture that is seen, second scales among them."""
    ax.figure.canvas.draw()
    return "\n".join(
        each.get_text()
        for each in ax.figure.findobj(Text)
        if each.get_visible() and each.get_text()
    )


PICTURES = {
    "depth curve": lambda a: plot.depth_curve(
        WET_MIX, rod="3 in", target=sw.ReadingTarget("15 %", "25 %"), survey=a["survey"]
    ),
    "map of depths": lambda a: plot.survey_map(
        a["survey"],
        {spot.name: spot.depth for spot in a["survey"].spots},
        quantity="root_zone_depth",
    ),
    "outlook": lambda a: plot.outlook(a["outlook"]),
    "water of days": lambda a: plot.water_balance(a["one run"]),
    "profile": lambda a: plot.profile(a["one run"], rod="3 in"),
}


@pytest.mark.parametrize("name", PICTURES)
def test_pictures_keep_to_the_choice(chosen, name):
    units, answers = chosen
    ax = PICTURES[name](answers)
    text = OTHERS.sub("", written_on(ax))
    plt.close(ax.figure)
    assert FOREIGN[units].search(text) is None, text
    own = {"metric": r"\(mm;|\(cm\)|\d cm\b", "US": r"\(in[);]|\d in\b"}[units]
    assert re.search(own, text)


def test_the_scale_in_inches_stands_in_place_of_the_other_and_right():
    with sw.use_units("US"):
        ax = plot.depth_curve(WET_MIX, rod="3 in")
    ax.figure.canvas.draw()
    (second,) = ax.child_axes
    assert second.get_xlabel() == "depth of the root zone over gravel (in)"
    assert ax.get_xlabel() == "" and not ax.xaxis.get_tick_params()["labelbottom"]
    # The limits are those of the axis in cm.
    assert np.array(second.get_xlim()) * 2.54 == pytest.approx(ax.get_xlim())
    plt.close(ax.figure)


def test_numbers_do_not_follow_the_choice():
    american, plain = made_in("US"), made_in("both")
    assert american["plan"].waterings == plain["plan"].waterings
    xr.testing.assert_identical(american["outlook"].to_dataset(), plain["outlook"].to_dataset())
    assert american["survey"].spots == plain["survey"].spots


def test_a_choice_ends_with_its_block_and_lasts_without_one():
    profile = sw.Profile.over_gravel(WET_MIX, "12 in")
    both = repr(profile)
    assert "30.5 cm (12.0 in)" in both
    with sw.use_units("metric"):
        with sw.use_units("US"):
            assert "12.0 in" in repr(profile) and " cm " not in repr(profile)
        assert "30.5 cm" in repr(profile) and " in)" not in repr(profile)
    assert repr(profile) == both
    undo = sw.use_units("US")
    assert repr(profile) != both
    undo.close()
    assert repr(profile) == both


def test_another_word_is_refused_with_what_is_allowed():
    with pytest.raises(sw.InputError, match='units is \'imperial\'; allowed: "metric", "US"'):
        sw.use_units("imperial")
    assert "12.0 in" in repr(sw.Profile.over_gravel(WET_MIX, "12 in"))
