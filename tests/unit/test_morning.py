"""This morning's plan of a site: from its file to the crew's card, on the command line too."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import soilwater as sw
from soilwater import __main__ as command
from soilwater.decisions.watering.plan_words import hose_text
from soilwater.report import morning_card

FOLDER = Path(__file__).parents[2] / "examples" / "data" / "brackenhurst"
DAY = "2025-06-10"


def copied(tmp_path):
    return Path(shutil.copytree(FOLDER, tmp_path / "site")) / "brackenhurst.toml"


@pytest.fixture(scope="module")
def site():
    return sw.read_site_file(FOLDER / "brackenhurst.toml")


@pytest.fixture(scope="module")
def morning(site):
    return sw.morning_plan(site, DAY, draws=6)


def test_a_green_that_was_read_starts_at_its_readings_and_one_that_was_soaked_drained(morning):
    assert morning.greens == ("4", "9")
    four, nine = morning.plans
    assert any("starts at its reading" in each for each in four.assumptions)
    assert any("starts drained" in each for each in nine.assumptions)
    told = "Green 9: not read today, soaked since yesterday and taken as drained: front and back."
    assert told in morning.notes


def test_it_is_the_plan_that_would_be_typed(site, morning):
    typed = sw.hand_water_plan(
        site.survey("9", DAY),
        site.sand("9"),
        sw.join_weather(
            sw.read_forecast(FOLDER / "forecast.csv"),
            sw.usual_weather(sw.read_weather(FOLDER / "station.csv"), "2025-06-14", 2),
        ),
        sw.Turf.creeping_bentgrass(),
        "12 %",
        flow="12 gpm",
        rod="3 in",
        draws=6,
    )
    assert typed.waterings == morning.plans[1].waterings


def test_what_is_shown_adds_up(morning):
    litres = sum(walk.litres for walk in morning.today)
    assert f"In all {litres:.0f} L" in repr(morning)
    assert all(walk.time.astype("datetime64[D]") == np.datetime64(DAY) for walk in morning.today)
    assert all(re.match("[49] ", walk.spot) for walk in morning.together.waterings)


def test_a_crew_without_the_time_is_told_where_to_begin(site, morning):
    seconds = sum(walk.seconds for walk in morning.today)
    half = 0.25 * seconds / 3600.0
    short = replace(morning, crew=replace(site.crew, hours=half, hoses=2))
    assert f"{hose_text(seconds / 2)} with 2 hoses" in repr(short)
    told = f"the crew has {60.0 * half:.0f} min: begin with those that fall first, 4 deep corner"
    assert told in repr(short)


def test_a_green_of_which_nobody_knows_how_wet_it_is_has_no_plan(site):
    told = r"green 9: it was neither read nor soaked in the 7 days before; read its spots"
    with pytest.raises(sw.InputError, match=told):
        sw.morning_plan(site, "2025-06-25")
    first = sw.morning_plan(site, "2025-06-09", draws=2)
    assert first.greens == ("4",)
    assert any(re.search(told, each) for each in first.notes)


def test_readings_too_soon_after_water_and_spots_not_read_are_told(tmp_path):
    file = copied(tmp_path)
    site = sw.read_site_file(file)
    site.add_water("4", "heads", "2025-06-10 04:00", "4 mm")
    table = site.readings_path
    text = table.read_text(encoding="utf-8")
    table.write_text(text.replace("2025-06-10,06:16,4,middle,20.4,,,\n", ""), encoding="utf-8")
    told = sw.morning_plan(sw.read_site_file(file), DAY, draws=2).notes[0]
    assert told.startswith(
        "Green 4: not read today, run on by the station's weather and the water given: middle, "
        "read on 2025-06-09; "
    )
    assert "front: Not drained yet: read 1.2 h after 4 mm of water" in told


def test_water_given_after_the_reading_is_told(tmp_path):
    site = sw.read_site_file(copied(tmp_path))
    site.add_water("4", "hose", f"{DAY} 08:00", "3 mm", spot="left")
    site.add_water("4", "hose", f"{DAY} 05:00", "3 mm", spot="front")
    told = sw.morning_plan(sw.read_site_file(site.path), DAY, draws=2).notes[0]
    assert "watered this morning, which the plan leaves out: left" in told
    assert "out: left, " not in told and "front and left" not in told


# --- the weather ahead ---------------------------------------------------------------------------


def test_each_stretch_of_the_weather_says_what_it_stands_on(morning):
    assert morning.notes[-1] == (
        "Weather: to 2025-06-14 00:00 the forecast, 3 members as likely as one another; from "
        "2025-06-14 00:00 on what the same days brought before, as the season was in 2025."
    )


def test_the_station_goes_before_the_forecast_and_an_overlap_is_asked(tmp_path):
    file = copied(tmp_path)
    day = np.datetime64("2025-06-09")
    forecast = file.parent / "forecast.csv"
    text = forecast.read_text(encoding="utf-8")
    for member in "123":
        text = text.replace(
            f"2025-06-10,{member},", f"2025-06-09,{member},0,9.9\n2025-06-10,{member},"
        )
    forecast.write_text(text, encoding="utf-8")
    with pytest.raises(sw.InputError) as caught:
        sw.read_site_file(file)
    site = file.read_text(encoding="utf-8")
    line = 1 + site.splitlines().index("[weather.forecast]")
    assert str(caught.value).endswith(
        f"line {line}: station and forecast both know 2025-06-09 00:00 to 2025-06-10 00:00; say "
        'which counts there: overlap = "station" or overlap = "forecast" below [weather].'
    )
    measured = float(
        sw.read_weather(file.parent / "station.csv").between(day, "2025-06-10").reference_et.sum()
    )
    for said, first in (("station", measured), ("forecast", 9.9)):
        file.write_text(site.replace("days = 6", f'days = 6\noverlap = "{said}"'), encoding="utf-8")
        members, notes = sw.read_site_file(file).weather.ahead(day)
        assert float(members[0].between(day, "2025-06-10").reference_et.sum()) == pytest.approx(
            first
        )
        assert all(each.start == day and each.end == day + 6 for each in members)
        assert "to 2025-06-14 00:00 the forecast" in notes[1]


def test_without_station_and_forecast_the_days_are_as_expected_and_with_nothing_asked(tmp_path):
    file = copied(tmp_path)
    bare = re.sub(
        r"\[weather.station\].*?# Tables", "# Tables", file.read_text(encoding="utf-8"), flags=re.S
    )
    file.write_text(bare, encoding="utf-8")
    members, notes = sw.read_site_file(file).weather.ahead(np.datetime64(DAY))
    assert [float(each.reference_et.sum()) for each in members] == pytest.approx([27.0, 33.0])
    assert notes[0].startswith("all 6 days dry days at 4.5, 5.5 mm/day of")
    file.write_text(bare.replace('expected = ["4.5 mm/day", "5.5 mm/day"]', ""), encoding="utf-8")
    with pytest.raises(sw.InputError, match="there is no weather to come; say what is expected"):
        sw.read_site_file(file)


def test_a_forecast_of_last_week_is_told_and_not_used(tmp_path):
    site = sw.read_site_file(copied(tmp_path))
    _, notes = site.weather.ahead(np.datetime64("2025-06-20"))
    assert notes[0] == "the forecast ends at 2025-06-14 00:00 and is of no use any more"
    with pytest.raises(
        sw.InputError, match="the forecast begins at 2025-06-10 00:00, and the plan"
    ):
        replace(site.weather, past=()).ahead(np.datetime64("2025-06-09"))


def test_a_gap_long_ago_does_not_stop_this_morning(tmp_path):
    file = copied(tmp_path)
    station = file.parent / "station.csv"
    text = station.read_text(encoding="utf-8")
    station.write_text(re.sub(r"2025-05-20,.*\n", "2025-05-20,,\n", text), encoding="utf-8")
    past = sw.read_site_file(file).weather.past
    assert [str(each.end)[:10] for each in past] == ["2025-05-20", "2025-06-10"]


# --- the card, and the command -------------------------------------------------------------------


def test_the_card_walks_in_the_order_of_the_file(morning):
    card = morning_card(morning, units="US")
    asked = [each.spot.name for each in morning.together.spots]
    visits = [re.findall(r'class="where"><bdi>([^<]*)', part) for part in card.split("<h2")]
    walked = [spots for spots in visits if spots]
    assert walked and all(spots == sorted(spots, key=asked.index) for spots in walked)
    assert "Tuesday, 10 June 2025" in card and " L " not in card


def test_a_day_without_water_says_so_on_the_card(morning):
    later = replace(morning, day=np.datetime64("2025-06-01"))
    card = morning_card(later)
    assert "No spot needs water by hand." in card and "2025-06-01" in card
    assert "No spot needs a hose today." in repr(later)


def test_the_command_prints_the_plan_and_writes_the_card(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(
        command,
        "morning_plan",
        lambda site, day, progress: sw.morning_plan(site, day, draws=10, progress=progress),
    )
    file = copied(tmp_path)
    command.main(["today", str(file), "--day", DAY])
    shown = capsys.readouterr().out
    card = file.parent / f"brackenhurst-{DAY}-card.html"
    assert f"Card for the crew: {card}" in shown and "Tuesday 2025-06-10" in shown
    page = card.read_text(encoding="utf-8")
    # Again in the course of the morning, but not over what somebody wrote on it.
    command.main(["today", str(file), "--day", DAY, "--units", "metric"])
    assert card.read_text(encoding="utf-8") != page
    card.write_text(page.replace("Brackenhurst", "Brackenhurst, mind the wasps"), encoding="utf-8")
    with pytest.raises(SystemExit) as caught:
        command.main(["today", str(file), "--day", DAY])
    assert caught.value.code == 1
    assert "nothing is written over it" in capsys.readouterr().err
    assert "wasps" in card.read_text(encoding="utf-8")
    command.main(["today", str(file), "--day", DAY, "--card", str(tmp_path / "other.html")])
    assert (tmp_path / "other.html").exists()


def test_the_command_tells_faults_without_a_traceback(tmp_path, capsys):
    with pytest.raises(SystemExit) as caught:
        command.main(["today", str(tmp_path / "none.toml")])
    assert caught.value.code == 1
    assert capsys.readouterr().err == f"{tmp_path / 'none.toml'}: there is no such file.\n"
