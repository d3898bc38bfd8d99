"""Decisions that start from what readings have taught: jointly, from this morning on."""

import html
from dataclasses import replace

import numpy as np
import pytest

import soilwater as sw
from soilwater.decisions.watering.even_draws import weather_dealt_out
from soilwater.decisions.watering.trials import from_calibration
from soilwater.runs.settings import COARSE_MESH
from soilwater.soils.scaling import with_suction_scaled

SANDS = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.041, 0.044, 0.047, 0.050)]
WEATHER = sw.steady_weather(8, 5.0)
TURF = sw.Turf(15.0)
DAYS = ("2025-07-02 06:00", "2025-07-04 06:00", "2025-07-06 06:00")
DEPTHS = {"A1": 26.0, "A2": 30.0, "C3": 34.0}
LINES = sw.Thresholds(0.18, 0.12, 0.08)


def survey():
    readings = {}
    for name, depth in DEPTHS.items():
        soil = with_suction_scaled(SANDS[2], 1.3)
        profile = sw.Profile.over_gravel(soil, depth, base_suction=6.7)
        run = sw.simulate(profile, WEATHER, turf=TURF, output=6.0)
        meter = sw.meter_reading(run, rod=7.62)
        readings[name] = [sw.Reading(float(meter.sel(time=d)), rod=7.62, time=d) for d in DAYS]
    return sw.Survey([sw.Spot(name, DEPTHS[name], readings=readings[name]) for name in DEPTHS])


SURVEY = survey()


@pytest.fixture(scope="module")
def learned():
    return sw.calibrate(
        SURVEY, SANDS, WEATHER, TURF, soaked="2025-07-01", irrigation=(), meter_error=0.01
    )


@pytest.fixture(scope="module")
def outlook(learned):
    return sw.dry_down_outlook(SURVEY, SANDS, WEATHER, TURF, LINES, calibration=learned)


@pytest.fixture(scope="module")
def plan(learned):
    return sw.hand_water_plan(SURVEY, SANDS, WEATHER, TURF, 0.10, calibration=learned)


@pytest.fixture(scope="module")
def odds(learned):
    return sw.diagnose(SURVEY, SANDS, calibration=learned)


def test_spots_start_from_this_morning(outlook, learned):
    """At what was read, nearer than a reading alone, on the depths that were learnt."""
    for spot in outlook.spots:
        read = spot.spot.readings[-1].value
        low, middle, high = spot.start
        assert low < read < high and abs(middle - read) < 0.01
        assert high - low < 0.04
    assert outlook.horizon == pytest.approx((WEATHER.end - learned.now) / np.timedelta64(1, "D"))
    assert outlook.assumptions[0].startswith("every spot starts as the calibration leaves it")


def test_what_was_learnt_narrows_what_comes(outlook):
    """The band of the deep spot after three more days, beside one that was never read."""
    later = WEATHER.between("2025-07-02", WEATHER.end)
    before = sw.dry_down_outlook(SURVEY, SANDS, later, TURF, LINES, rod=7.62)

    def width(found):
        low, _, high = found.spot("C3").start
        return high - low

    assert width(outlook) < 0.7 * width(before)
    # Without readings too a spot has one drained reading, the middle of the same prior: 200 draws
    # of the outlook tell it to 0.3 % by volume (standard error).
    told = sw.expected_reading(SURVEY, SANDS)
    for spot in before.spots:
        middle = float(told.expected_reading.sel(spot=spot.spot.name))
        assert middle == pytest.approx(spot.start[1], abs=0.006)


def test_draws_stay_joint(learned):
    """Every column of a draw has its sand, its base and its turf."""
    members = learned.members(WEATHER)
    values = learned.unknowns.values
    base, crop = (values(learned.shared, n) for n in ("base_suction", "crop_coefficient"))
    for draw in (0, 7, 150):
        case = learned.column(draw, 2, members)
        sand = learned.unknowns.soils[int(learned.shared.soil[draw])]
        factor = float(values(learned.shared, "wet_factor")[draw])
        assert case.profile.layers[0].soil == with_suction_scaled(sand, factor)
        assert case.profile.base.entry_suction == pytest.approx(base[draw])
        assert case.turf.crop_coefficient == pytest.approx(crop[draw])
        assert case.profile.depth == pytest.approx(learned.own.depth[draw, 2])


def test_a_column_between_depths_starts_as_if_it_had_been_run(learned):
    """From the soaking on at its own depth, it reads the same within 0.2 %."""
    members = learned.members(WEATHER)
    for draw in (1, 50):
        begun = learned.column(draw, 1, members)
        whole = sw.Case(begun.profile, WEATHER, turf=begun.turf, start="soaked")
        runs = [sw.simulate_many([case], output=[members[0].end]) for case in (begun, whole)]
        one, other = (float(sw.meter_reading(run, rod=7.62).squeeze()) for run in runs)
        assert one == pytest.approx(other, abs=0.002)


def test_the_plan_agrees_with_the_outlook(plan, outlook, learned):
    """One reading for one spot and moment, whoever asks."""
    spots = [each.spot for each in outlook.spots]
    trial = from_calibration(spots, learned, learned.members(WEATHER), 7.62, None)
    for i, spot in enumerate(outlook.spots):
        assert np.median(trial.reading[i, :, 0]) == pytest.approx(spot.start[1], abs=0.002)
    assert sum(half.size for half in learned.halves) == learned.draws
    assert any(each.startswith("made on ") for each in plan.assumptions)


def test_both_halves_of_the_draws_say_what_all_of_them_say(learned):
    """A plan is made on one half and checked on the other, under weathers that both meet alike."""
    members = learned.members(WEATHER)
    dealt = weather_dealt_out(learned, members)
    trial = from_calibration(list(SURVEY.spots), learned, dealt, 7.62, None)
    halves = [trial.take(numbers) for numbers in learned.halves]
    low = [np.median(half.reading[:, :, 1:].min(axis=2), axis=1) for half in halves]
    by_chance = []
    for seed in range(20):
        order = np.random.default_rng(seed).permutation(learned.draws)
        mixed = [trial.take(part) for part in np.array_split(order, 2)]
        by_chance.append(
            np.ptp([np.median(m.reading[:, :, 1:].min(axis=2), axis=1) for m in mixed], axis=0)
        )
    assert np.ptp(low, axis=0).mean() < np.mean(by_chance)


def nodes_of(trial, spot):
    """Nodes of the columns of a spot, as a plan runs them."""
    return [trial.column(spot, k).profile.mesh(COARSE_MESH) for k in range(trial.draws)]


def test_every_call_gives_a_spot_one_drained_reading(learned):
    """As its plan takes it, from the closed form."""
    told = sw.expected_reading(SURVEY, SANDS, calibration=learned)
    spots = list(SURVEY.spots)
    trial = from_calibration(spots, learned, learned.members(WEATHER), 7.62, None)
    drained = np.median(trial.refills([2], nodes_of(trial, 2))[2].drained[:, 0])
    assert float(told.expected_reading.sel(spot="C3")) == pytest.approx(drained, abs=1e-3)
    alone = sw.expected_reading(SURVEY, SANDS)
    width = told.expected_reading_upper - told.expected_reading_lower
    assert (width < alone.expected_reading_upper - alone.expected_reading_lower).all()
    with pytest.raises(sw.InputError, match="leave base_suction out"):
        sw.expected_reading(SURVEY, SANDS, calibration=learned, base_suction=3.0)


def test_gentle_water_leaves_less_than_a_flood_of_what_was_learnt(learned):
    """As `what_if` tells it; it was told of the sands before they were learnt, above the flood."""
    told = sw.expected_reading(SURVEY, SANDS, calibration=learned)
    assert (told.rewetted_reading < told.expected_reading).all()
    assert (told.rewetted_reading_lower < told.rewetted_reading_upper).all()
    for name in ("A1", "C3"):
        spot = SURVEY.spot(name)
        table = sw.what_if(spot, WEATHER, TURF, LINES, [], rod=7.62, calibration=learned)
        gentle = float(told.rewetted_reading.sel(spot=name))
        assert table.outcomes[0].rewetted == pytest.approx(gentle, abs=0.004)


def test_a_change_starts_from_the_same_draws(learned, plan):
    """Drained, the spot reads in `what_if` as it does in every other call, and in its plan."""
    spot = SURVEY.spot("C3")
    given = {"rod": 7.62, "calibration": learned}
    table = sw.what_if(spot, WEATHER, TURF, LINES, [sw.regrade("28 cm")], **given)
    told = sw.expected_reading(SURVEY, SANDS, calibration=learned).sel(spot="C3")
    before, after = table.outcomes
    assert before.drained == pytest.approx(float(told.expected_reading), abs=1e-3)
    ends = (float(told.expected_reading_lower), float(told.expected_reading_upper))
    assert before.bands["drained"] == pytest.approx(ends, abs=2e-3)
    # Joint: what the change adds is known better than each end against each.
    low, middle, high = after.gains["drained"]
    assert 0.0 < low < middle < high
    (least, most), (less, more) = (each.bands["drained"] for each in (before, after))
    assert high - low < 0.8 * ((more - least) - (less - most))
    for change, words in (
        ({"calibration": None}, "belong together"),
        ({"sand": SANDS[:2]}, "sand is not what"),
        ({"base_suction": 3.0}, "leave base_suction out"),
    ):
        with pytest.raises(sw.InputError, match=words):
            sw.what_if(spot, WEATHER, TURF, LINES, [], **(given | change))


def test_one_spot_has_one_depth_and_one_reading_whoever_asks(learned, outlook, odds):
    """Outlook, plan, what-if, expected reading, diagnosis and ensemble, from one calibration."""
    told = sw.expected_reading(SURVEY, SANDS, calibration=learned)
    trial = from_calibration(
        list(SURVEY.spots), learned, learned.members(WEATHER), 7.62, n_threads=None
    )
    for i, spot in enumerate(SURVEY.spots):
        here, found = told.sel(spot=spot.name), odds.spot(spot.name)
        depth = np.median([trial.column(i, k).profile.depth for k in range(learned.draws)])
        assert learned.quantity(spot.name).after[1] == pytest.approx(depth, abs=1e-9)
        assert found.own_depth == pytest.approx(depth, abs=1e-9)
        table = sw.what_if(spot, WEATHER, TURF, LINES, [], rod=7.62, calibration=learned)
        drained = float(here.expected_reading)
        assert found.expected == pytest.approx(drained, abs=1e-9)
        again = trial.refills([i], nodes_of(trial, i))[i].drained[:, 0]
        assert np.median(again) == pytest.approx(drained, abs=1e-3)
        assert table.outcomes[0].drained == pytest.approx(drained, abs=1e-3)
        # What was read on three days, as it would be drained.
        assert found.reading == pytest.approx(float(here.reading), abs=1e-9)
        assert found.reading == pytest.approx(drained, abs=0.01)
    run = sw.simulate_ensemble(SURVEY.spot("C3"), WEATHER, calibration=learned, output="24 h")
    assert run.sizes["sample"] == learned.draws and run.time.values[0] == learned.now
    shown = sw.meter_reading(run, rod=7.62).values[:, 0] + learned.shift(rod=7.62)[:, 2]
    assert np.median(shown) == pytest.approx(outlook.spot("C3").start[1], abs=0.002)


def test_an_ensemble_takes_draws_whole_and_nothing_beside_them(learned):
    later = WEATHER.between("2025-07-02", WEATHER.end)
    cases = learned.columns(SURVEY.spot("A1"), [WEATHER, later])
    assert len(cases) == 2 * learned.draws
    crop = learned.unknowns.values(learned.shared, "crop_coefficient")
    for k in (0, 7, 150):
        one, other = cases[2 * k : 2 * k + 2]
        assert one.turf == other.turf and one.profile == other.profile
        assert one.turf.crop_coefficient == pytest.approx(crop[k])
        assert one.profile.depth == pytest.approx(learned.own.depth[k, 0])
    for spot, change, told in (
        (SURVEY.spot("A1"), {"sand": SANDS}, "leave sand out"),
        (SURVEY.spot("A1"), {"turf": sw.Turf(10.0)}, "leave turf out"),
        (SURVEY.spot("A1"), {"start": "drained"}, "leave start out"),
        (SURVEY.spot("A1"), {"calibration": None}, "belong together"),
        (SURVEY.spot("A1"), {"calibration": "learned"}, "calibration is a str"),
        (cases[0].profile, {}, "belong together"),
        (sw.Spot("Z9", 30.0), {}, 'spot "Z9" was not part of it'),
    ):
        with pytest.raises(sw.InputError, match=told):
            sw.simulate_ensemble(spot, WEATHER, **({"calibration": learned} | change))


# --- causes --------------------------------------------------------------------------------------


def test_what_is_read_on_a_dry_day_is_no_drought_of_the_spot(odds):
    """The last visits lie 5 % by volume below drained: taken as drained, they look too dry."""
    taken_as_drained = sw.diagnose(SURVEY, SANDS)
    for found, other in zip(odds.spots, taken_as_drained.spots, strict=True):
        assert found.causes[0].cause == "depth"
        assert found.probability("depth") > 0.6 > other.probability("depth") + 0.1
    assert odds.assumptions[0].startswith("sand, base, mat and meter are as the calibration")
    assert not any("span more than a day" in said for said in odds.cautions)


def test_a_spot_that_reads_low_on_every_visit_is_not_its_depth(learned):
    """Repellent, 7 % by volume below the others: what the green has taught leaves it open."""
    low = [replace(each, value=0.45 * each.value) for each in SURVEY.spot("A2").readings]
    spots = [replace(s, readings=low) if s.name == "A2" else s for s in SURVEY.spots]
    wrong = sw.Survey(spots)
    given = {"soaked": "2025-07-01", "irrigation": (), "meter_error": 0.01}
    again = sw.calibrate(wrong, SANDS, WEATHER, TURF, **given)
    odds = sw.diagnose(wrong, SANDS, calibration=again)
    assert odds.spot("A2").probability("depth") < 0.1
    assert odds.spot("A2").groups[0].label == "drier for another reason"
    assert odds.spot("C3").probability("depth") > 0.3


def test_a_diagnosis_is_refused_what_the_calibration_does_not_know(learned):
    new = replace(SURVEY.spot("A1"), readings=[sw.Reading(0.2, rod=7.62, time="2025-07-07")])
    undated = replace(SURVEY.spot("A1"), readings=[sw.Reading(0.2, rod=7.62)])
    stranger = sw.Spot("Z9", 30.0, readings=[sw.Reading(0.2, rod=7.62, time=DAYS[0])])
    for survey, change, told in (
        (sw.Survey([new]), {}, "not learnt from its reading of 2025-07-07"),
        (sw.Survey([undated]), {}, "from its reading without a time"),
        (sw.Survey([stranger]), {}, "calibrate with this survey"),
        (SURVEY, {"sand": SANDS[:2]}, "give sand=calibration.sand"),
        (SURVEY, {"base_suction": 3.0}, "leave base_suction out"),
        (SURVEY, {"after": sw.AfterRain("10 mm/h")}, "leave after out"),
        (SURVEY, {"meter_error": 0.05}, "learnt with 0.01.*leave meter_error out"),
        (SURVEY, {"calibration": "learned"}, "calibration is a str"),
    ):
        given = {"sand": SANDS, "calibration": learned} | change
        with pytest.raises(sw.InputError, match=told):
            sw.diagnose(survey, **given)


@pytest.mark.parametrize("count", [3, 5, 16])
def test_halves_share_no_base_and_no_sand_unless_there_are_few(count):
    """Of three sands one half would have the two drier ones, and stand for another green."""
    sands = [replace(SANDS[0], alpha=float(alpha)) for alpha in np.linspace(0.041, 0.050, count)]
    learned = sw.calibrate(
        SURVEY, sands, WEATHER, TURF, soaked="2025-07-01", irrigation=(), draws=80
    )
    first, second = learned.halves
    assert abs(first.size - second.size) <= learned.draws // 3
    assert not set(first) & set(second)
    base = learned.unknowns.values(learned.shared, "base_suction")
    assert not set(base[first]) & set(base[second])
    sands = [set(learned.shared.soil[half]) for half in (first, second)]
    assert len(sands[0] & sands[1]) == (len(sands[0] | sands[1]) if count == 3 else 0)


def test_the_plan_waters_who_falls_and_keeps_the_line(plan):
    """The deep spot reads lowest and is watered first; the claim was checked on other draws."""
    first = {name: plan.spot(name).waterings[0].time for name in DEPTHS}
    assert first["C3"] <= first["A1"]
    assert plan.spot("C3").kept > plan.spot("C3").kept_without + 0.1
    assert max(walk.amount for walk in plan.waterings) <= 6.0
    for spot in plan.spots:
        assert spot.kept >= spot.kept_without - 0.02


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"sand": SANDS[:2]}, "give sand=calibration.sand"),
        ({"turf": sw.Turf(10.0)}, "give turf=calibration.turf"),
        ({"base_suction": 3.0}, "leave base_suction out"),
        ({"start": "readings"}, "leave start out"),
        ({"calibration": "learned"}, "calibration is a str"),
        ({"weather": sw.steady_weather(3, 5.0, first_day="2025-07-08")}, "goes on from there"),
        ({"survey": sw.Survey([sw.Spot("Z9", 30.0)])}, 'spot "Z9" was not part of it'),
        ({"survey": sw.Survey([sw.Spot("A1", 55.0)])}, 'spot "A1" is 55.0 cm .* was learnt as'),
    ],
)
def test_what_does_not_agree_with_the_calibration_is_refused(learned, change, told):
    given = {"survey": SURVEY, "sand": SANDS, "weather": WEATHER, "turf": TURF}
    given |= {"calibration": learned, "rod": 7.62, **change}
    for ask, last in ((sw.dry_down_outlook, LINES), (sw.hand_water_plan, 0.12)):
        four = [given[name] for name in ("survey", "sand", "weather", "turf")]
        more = {
            name: given[name]
            for name in given
            if name not in set(given) & {"survey", "sand", "weather", "turf"}
        }
        with pytest.raises(sw.InputError, match=told):
            ask(*four, last, **more)


# --- on one page ---------------------------------------------------------------------------------


def test_a_page_has_one_set_of_numbers(learned, odds, outlook, plan):
    pytest.importorskip("jinja2")
    page = sw.report.report(SURVEY, odds, outlook, plan, calibration=learned)
    told = sw.expected_reading(SURVEY, SANDS, calibration=learned, rod=7.62)
    for spot in odds.spots:
        expected = 100 * float(told.expected_reading.sel(spot=spot.spot.name))
        assert f"{expected:.1f} (" in page
        assert spot.expected == pytest.approx(0.01 * expected)
    assert "numbers as its readings up to 2025-07-06 leave them" in page
    assert learned.held_back.sentence in page
    for said in (*learned.cautions, *learned.assumptions):
        assert f"{said[0].upper()}{said[1:]}".rstrip(".") in html.unescape(page)


def test_a_page_from_two_samples_is_refused(learned, outlook):
    typed = sw.hand_water_plan(SURVEY, SANDS, WEATHER, TURF, 0.10, draws=2)
    told = "plan is not made from the calibration that the rest stands on"
    with pytest.raises(sw.InputError, match=told):
        sw.report.report(SURVEY, None, outlook, typed, calibration=learned)
    with pytest.raises(sw.InputError, match=told):
        sw.report.report(SURVEY, None, outlook, typed)
    with pytest.raises(sw.InputError, match=told.replace("plan", "diagnosis")):
        sw.report.report(SURVEY, sw.diagnose(SURVEY, SANDS), outlook, calibration=learned)
    with pytest.raises(sw.InputError, match=r"calibration is .* allowed: a Calibration"):
        sw.report.report(SURVEY, calibration="learned")
