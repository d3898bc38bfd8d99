"""Spots that were not read this morning: carried forward from when their water was last known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import soilwater as sw
from soilwater.decisions.watering.starts import errors_of
from soilwater.site.carried import CARRIED, carried_forward
from soilwater.site.tables import GivenWater

FOLDER = Path(__file__).parents[2] / "examples" / "data" / "brackenhurst"
DAY = np.datetime64("2025-06-10")


@pytest.fixture(scope="module")
def site():
    """Read on the ninth only, and not soaked since May."""
    read = sw.read_site_file(FOLDER / "brackenhurst.toml")
    ninth = tuple(each for each in read.readings if each.time < DAY)
    return replace(read, readings=ninth, water=())


def carried(site, day=DAY):
    survey, told = carried_forward(site, site.green("4"), day)
    return {spot.name: spot.mean_reading() for spot in survey.spots}, survey, told


def given(spot, kind, amount, time="2025-06-09 20:00"):
    return GivenWater("4", spot, np.datetime64(time), kind, amount)


def test_a_spot_is_run_on_by_weather_from_its_last_reading(site):
    values, survey, told = carried(site)
    assert told == [
        "not read today, run on by the station's weather and the water given: front, middle, left "
        "and deep corner, read on 2025-06-09"
    ]
    assert {each.meter for spot in survey.spots for each in spot.readings} == {CARRIED}
    before = {each.spot: each.reading.value for each in site.readings}
    # 3.8 mm of demand at 0.81 to 1 of it (the turf's own) left within ten centimetres of roots:
    # between a third and all of what that is of the layer of the rods, 7.6 cm.
    for name, value in values.items():
        assert 0.004 < before[name] - value < 0.05, name


def test_the_error_of_a_carried_reading_grows_with_the_demand_since_then(site):
    _, one, _ = carried(site)
    _, four, _ = carried(site, DAY + 3)
    for spot in one.spots:
        (read,) = spot.readings
        # A fifth of a day's 3.8 mm at 0.81 of it, out of all of the root zone.
        assert read.added_error == pytest.approx(0.2 * 0.81 * 3.8 / (10 * spot.depth), rel=0.4)
        (later,) = four.spot(spot.name).readings
        assert later.added_error > 3.0 * read.added_error


def test_readings_err_as_the_meter_does_and_what_is_added():
    def read(value, **more):
        return sw.Reading(value, rod="3 in", **more)

    known = [
        sw.Spot("once", "12 in", readings=[read(0.2)]),
        sw.Spot("twice", "12 in", readings=[read(0.2), read(0.22)]),
        sw.Spot("run on", "12 in", readings=[read(0.2, added_error="4 %")]),
        sw.Spot("never", "12 in"),
    ]
    errors = errors_of(known, 7.62, 0.03)
    assert errors.ravel() == pytest.approx([0.03, 0.03 / np.sqrt(2.0), 0.05, 0.0])
    with pytest.raises(sw.InputError, match="added_error"):
        read(0.2, added_error=-0.01)


def test_the_water_of_the_table_counts_where_it_fell(site):
    dry, *_ = carried(site)
    heads, *_ = carried(replace(site, water=(given("", "heads", 4.0),)))
    hose, *_ = carried(replace(site, water=(given("left", "hose", 4.0),)))
    elsewhere, *_ = carried(replace(site, water=(given("", "heads", 4.0)._replace(green="9"),)))
    assert elsewhere == dry
    # Four millimetres are 5.2 % of water by volume over 7.6 cm; of spots that near to drained most
    # of it goes down in the night, for they hold no more than their own drained reading.
    assert all(0.002 < heads[name] - dry[name] < 0.053 for name in dry)
    assert hose["left"] == pytest.approx(heads["left"], abs=0.004)
    assert {name: hose[name] for name in dry if name != "left"} == {
        name: dry[name] for name in dry if name != "left"
    }
    # Water given before the reading is in the reading.
    early, *_ = carried(replace(site, water=(given("", "heads", 4.0, "2025-06-09 05:00"),)))
    assert early == dry


def test_a_soaking_since_then_makes_it_drained(site):
    last_night = replace(site, water=(given("", "soaking", np.nan),))
    values, _, told = carried(last_night)
    assert np.isnan(list(values.values())).all()
    assert told[0].startswith("not read today, soaked since yesterday and taken as drained: front")
    earlier = replace(site, water=(given("left", "soaking", 25.0, "2025-06-07 20:00"),))
    values, _, told = carried(replace(earlier, readings=()))
    assert "left, drained after a soaking on 2025-06-08" in told[-1]
    assert "not read for 7 days, taken as drained: front, middle and deep corner" in told[0]
    drained = sw.drained_state(
        sw.Profile.over_gravel(site.sand("4").soil, "14 in", base_suction=6.7)
    )
    rest = float(sw.meter_reading(drained, rod=site.rod).squeeze())
    # Two days of demand off the drained spot.
    assert 0.01 < rest - values["left"] < 0.10


def test_after_a_week_nobody_knows(site):
    assert carried(site, DAY + 6)[0]["front"] < carried(site)[0]["front"]
    with pytest.raises(sw.InputError, match="neither read nor soaked in the 7 days before"):
        carried(site, DAY + 7)


def test_where_the_station_ends_the_forecast_goes_on_and_it_is_said(site):
    _, _, told = carried(site, DAY + 3)
    assert "weather (to 2025-06-10 00:00 the station; to 2025-06-14 00:00 the forecast" in told[0]


def test_a_plan_from_carried_readings_is_near_one_from_the_readings_themselves(site):
    """The next morning was read too: run on to it, spots are within what a meter errs."""
    whole = sw.read_site_file(FOLDER / "brackenhurst.toml")
    values, *_ = carried(site)
    for name, value in values.items():
        assert value == pytest.approx(whole.survey("4").spot(name).mean_reading(), abs=0.025)
    plan = sw.morning_plan(replace(whole, readings=site.readings), DAY, draws=4)
    assert plan.greens == ("4", "9")
    assert any("starts at its reading" in each for each in plan.plans[0].assumptions)
