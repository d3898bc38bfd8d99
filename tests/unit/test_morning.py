"""This morning's plan of a site: from its file to the crew's card, on the command line too."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import soilwater as sw
from soilwater import __main__ as command
from soilwater.report import morning_card

EXAMPLE = Path(__file__).parents[2] / "examples" / "data" / "brackenhurst"
DAY = "2025-06-10"


def copied(tmp_path):
    return Path(shutil.copytree(EXAMPLE, tmp_path / "site")) / "brackenhurst.toml"


@pytest.fixture(scope="module")
def site():
    return sw.read_site_file(EXAMPLE / "brackenhurst.toml")


@pytest.fixture(scope="module")
def morning(site):
    return sw.morning_plan(site, DAY, draws=6)


def test_a_green_that_was_read_starts_at_its_readings_and_one_that_was_soaked_drained(morning):
    assert morning.greens == ("4", "9")
    four, nine = morning.plans
    assert any("starts at its reading" in each for each in four.assumptions)
    assert any("starts drained" in each for each in nine.assumptions)
    assert any("Green 9: not read today; soaked on 2025-06-09 20:30" in n for n in morning.notes)


def test_it_is_the_plan_that_would_be_typed(site, morning):
    typed = sw.hand_water_plan(
        site.survey("9", DAY),
        site.sand("9"),
        [sw.steady_weather(6, et, first_day=DAY) for et in (4.6, 5.2, 5.9)],
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
    short = replace(morning, crew=replace(site.crew, hours=0.01, hoses=2))
    seconds = sum(walk.seconds for walk in morning.today)
    assert f"{seconds / 120:.0f} min with 2 hoses" in repr(short)
    assert "the crew has 1 min: begin with those that fall first, 4 deep corner" in repr(short)


def test_a_green_of_which_nobody_knows_how_wet_it_is_has_no_plan(site):
    told = r"green 9: it was not read today, and not soaked in the two days before; read its spots"
    with pytest.raises(sw.InputError, match=told):
        sw.morning_plan(site, "2025-06-15")
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
    assert told.startswith("Green 4: not read today, taken as drained: middle; ")
    assert "front: Not drained yet: read 1.2 h after 4 mm of water" in told


# --- the card, and the command -------------------------------------------------------------------


def test_the_card_walks_in_the_order_of_the_file(morning):
    card = morning_card(morning, units="US")
    spots = re.findall(r'class="where"><bdi>([^<]*)', card)
    asked = [each.spot.name for each in morning.together.spots]
    assert spots and spots == sorted(spots, key=asked.index)
    assert "Tuesday, 10 June 2025" in card and " L " not in card


def test_a_day_without_water_says_so_on_the_card(morning):
    later = replace(morning, day=np.datetime64("2025-06-01"))
    card = morning_card(later)
    assert "No spot needs water by hand." in card and "2025-06-01" in card
    assert "No spot needs a hose today." in repr(later)


def test_the_command_prints_the_plan_and_writes_the_card(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(
        command, "morning_plan", lambda site, day: sw.morning_plan(site, day, draws=2)
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
