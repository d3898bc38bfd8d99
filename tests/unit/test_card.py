"""The card for the crew: a line a spot, in the units and the order of the crew."""

import re
from dataclasses import replace

import numpy as np
import pytest
from grounds import WET_MIX

import soilwater as sw
from soilwater.report import crew_card

NASTY = "<script>document.title = 'taken'</script>"
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))


@pytest.fixture(scope="module")
def plan():
    green = sw.Survey(
        [
            sw.Spot("A1", 30.0, area="10 m2"),
            sw.Spot("C3", 46.0, area="50 ft2"),
            sw.Spot(NASTY, 46.0),
        ],
        name="Wrenfold Common, 4th green",
    )
    return sw.hand_water_plan(
        green,
        WET_MIX,
        sw.steady_weather(6, "5 mm/day", first_day="2031-06-09"),
        TURF,
        "12 %",
        flow="15 gpm",
        rod="3 in",
        base_suction=3.0,
        draws=4,
    )


def lines(card):
    found = re.findall(r'<li class="spot">(.*?)</li>', card)
    return [re.sub(r"<[^>]+>", "|", each).strip("|") for each in found]


def test_a_line_says_what_the_plan_says(plan):
    visit = next(walk for walk in plan.waterings if walk.spot == "C3")
    card = crew_card(plan)
    (line,) = (each for each in lines(card) if "C3" in each)
    litres, gallons = map(float, re.search(r"([\d.]+) L \(([\d.]+) gal\)", line).groups())
    # No finer than a hose can give it.
    assert litres == pytest.approx(visit.litres, abs=0.5)
    assert gallons == pytest.approx(visit.gallons, abs=0.5)
    assert f"· {round(visit.seconds)} s" in line
    day = visit.time.astype("datetime64[D]").astype(object)
    assert f"{day:%A, %d %B %Y}".replace(" 0", " ") in card
    assert "<input type=" in card and "heat" in card


def test_litres_of_the_lines_add_up_to_the_total(plan):
    card = crew_card(plan, units="metric")
    today = min(walk.time for walk in plan.waterings)
    litres = np.nansum([walk.litres for walk in plan.waterings if walk.time == today])
    told = float(re.search(r"In all ([\d.]+) L", card).group(1))
    assert told == pytest.approx(litres, abs=0.5)
    assert "1 more without an area" in card


@pytest.mark.parametrize(
    ("units", "there", "not_there"),
    [("metric", (" L", " mm"), (" gal", " in<")), ("US", (" gal", " in<"), (" L", " mm"))],
)
def test_units_are_those_asked_for(plan, units, there, not_there):
    waters = "".join(re.findall(r'<span class="water">.*?</span>', crew_card(plan, units=units)))
    assert all(each in waters for each in there)
    assert not any(each in waters for each in not_there)


def test_lines_come_in_the_order_of_the_walk(plan):
    both = lines(crew_card(plan))
    assert ["C3" in each for each in both] == [True, False]
    turned = lines(crew_card(plan, order=[NASTY]))
    assert ["C3" in each for each in turned] == [False, True]


def test_names_stay_text(plan):
    card = crew_card(plan)
    assert "<script" not in card
    assert "&lt;script&gt;" in card


def test_a_day_of_the_plan_is_chosen(plan):
    days = sorted({walk.time.astype("datetime64[D]") for walk in plan.waterings})
    last = crew_card(plan, day=days[-1])
    assert f"{days[-1].astype(object):%A}" in last
    assert "More water by this plan" not in last
    assert ("More water by this plan" in crew_card(plan)) == (len(days) > 1)


def test_spots_that_water_does_not_keep_are_told_apart(plan):
    beyond = replace(plan.spots[1], held=False, waterings=(), sentence="C3: beyond watering.")
    card = crew_card(replace(plan, spots=(plan.spots[0], beyond)))
    assert "No spot needs water by hand" in card
    assert "look before watering" in card and "beyond watering" in card


def test_every_fault_at_once(plan):
    with pytest.raises(sw.InputError) as caught:
        crew_card(plan, day="2031-07-01", units="imperial", order=["Z9", "C3", "C3"])
    said = str(caught.value)
    assert "plan waters nothing on 2031-07-01" in said
    assert 'units is \'imperial\'; allowed: "metric", "US", "both"' in said
    assert 'no spot "Z9"' in said and '"C3" comes twice' in said
    with pytest.raises(sw.InputError, match="from hand_water_plan"):
        crew_card("plan")


def test_it_is_written_where_asked(plan, tmp_path):
    path = tmp_path / "card.html"
    assert crew_card(plan, path=path) == path.read_text(encoding="utf-8")
