"""Learning a green from its readings: what comes back, what is refused, what stays joint."""

import signal
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

import soilwater as sw
from soilwater.ground.repellent_mat import MatState
from soilwater.learning import columns
from soilwater.learning.columns import Group, Span, cases_of, few_depths, read_spans, turf_with
from soilwater.learning.evidence import ANYTHING, BLUNDERS, follow_shift, told_by
from soilwater.learning.weighing import Proposal, pick, weights_of
from soilwater.soils.scaling import with_suction_scaled

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
SANDS = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.041, 0.044, 0.047, 0.050)]
WEATHER = sw.steady_weather(10, 5.0)
TURF = sw.Turf(15.0)
SOAKED = "2025-07-01 00:00"
DAYS = ("2025-07-02 06:00", "2025-07-04 06:00", "2025-07-06 06:30", "2025-07-08 06:00")
DEPTHS = {"A1": 28.0, "A2": 32.0, "A3": 36.0, "C3": 44.0}
NODES = np.linspace(-0.1, 0.1, 2001)


def truth(factor=1.5, crop=1.0, rods=(7.62,), offset=0.0, events=()):
    """Readings of a green that is known, without noise."""
    soil = with_suction_scaled(SAND, factor)
    readings = {name: [] for name in DEPTHS}
    for name, depth in DEPTHS.items():
        profile = sw.Profile.over_gravel(soil, depth, base_suction=6.7)
        run = sw.simulate(
            profile, WEATHER, turf=turf_with(TURF, crop), irrigation=events, output=0.5
        )
        for rod in rods:
            meter = sw.meter_reading(run, rod=rod)
            readings[name] += [
                sw.Reading(float(meter.sel(time=day)) + offset, rod=rod, time=day) for day in DAYS
            ]
    return sw.Survey([sw.Spot(name, DEPTHS[name], readings=readings[name]) for name in DEPTHS])


def learn(survey, sand=SANDS, **more):
    given = {"soaked": SOAKED, "irrigation": (), "draws": 60, "meter_error": 0.01, **more}
    return sw.calibrate(survey, sand, WEATHER, TURF, **given)


SURVEY = truth()


@pytest.fixture(scope="module")
def learned():
    return learn(SURVEY, draws=200)


def test_what_is_far_from_usual_is_found(learned):
    """The field drains like sand on which suction acts 1.5 times as strongly; the usual is 1.2."""
    wet = learned.quantity("wet_factor")
    assert wet.learned and wet.before[1] == pytest.approx(1.2, abs=0.05)
    assert wet.after[0] < 1.5 < wet.after[2] and wet.after[1] > wet.before[1]


def test_what_one_rod_cannot_tell_is_said(learned):
    """Depth, base and what suction does can stand in for one another."""
    assert not learned.quantity("base_suction").learned
    assert learned.quantity("base_suction").sentence == "the readings do not tell"
    assert any("one length of rods" in each for each in learned.cautions)


def test_a_second_rod_tells_the_mat(learned):
    both = learn(truth(rods=(7.62, 20.0)), draws=200)
    one = learned.quantity("mat_water").spread
    assert both.quantity("mat_water").spread < 0.75 * one
    assert not any("one length of rods" in each for each in both.cautions)


def test_a_thirsty_turf_is_told_from_a_lazy_one():
    thirsty, lazy = (
        learn(truth(crop=crop), draws=200).quantity("crop_coefficient").after[1]
        for crop in (1.3, 0.75)
    )
    assert lazy + 0.1 < thirsty


def test_it_shows_itself_with_bands_and_the_check(learned):
    text = repr(learned)
    assert "up to 2025-07-08 06:00" in text
    inside = "Held back, 4 of 4 readings of 2025-07-08 lie inside the 80 % bands that"
    assert inside in text
    assert "learned:" in text and "the readings do not tell" in text
    assert learned.held_back == (np.datetime64("2025-07-08"), 4, 4)
    assert learned.held_back.share == 1.0


def test_the_same_seed_gives_the_same_draws(learned):
    again = learn(SURVEY, draws=200)
    assert np.array_equal(again.shared.latent, learned.shared.latent)
    assert np.array_equal(again.own.depth, learned.own.depth)


def test_the_polynomials_agree_with_the_solver(learned):
    """At the draws that were kept, run anew: the error it says of itself, within a half."""
    depths = np.tile(learned.green.groups[0].depths, (learned.draws, 1))
    (cases,) = cases_of(learned.green, learned.unknowns, learned.shared, [depths])
    read = [DAYS[-1]]
    run = sw.simulate_many(cases, output=np.array(read, "datetime64[ns]"), n_threads=1)
    solved = sw.meter_reading(run, rod=7.62).values.reshape(depths.shape)
    emulator = learned.evidence.emulators[0]
    told = told_by(learned.evidence, learned.shared)[0][:, :, 0, -1]
    missed = float(np.sqrt(np.mean((told - solved) ** 2)))
    assert missed < 1.5 * emulator.missed[0, -1] < 0.02


def test_columns_go_on_where_the_record_ends(learned):
    """From now on as in one run without a stop."""
    group = learned.green.groups[0]
    ahead = learned.ahead(0, learned.members(WEATHER))
    k = 3
    begun, _ = learned._columns_now[0]
    whole = sw.Case(begun[k].profile, WEATHER, turf=begun[k].turf, start="soaked")
    end = [WEATHER.end]
    runs = [sw.simulate_many([case], output=end) for case in (ahead[k], whole)]
    one, other = (float(sw.meter_reading(run, rod=7.62).squeeze()) for run in runs)
    assert one == pytest.approx(other, abs=3e-4)
    values = np.array([case.profile.depth for case in ahead])[:, None]
    at = learned.at_spots(0, values)[:, :, 0]
    assert np.allclose(at, np.clip(learned.own.depth.T, group.depths[0], group.depths[-1]))


def test_the_column_of_a_spot_goes_on_with_a_mat_as_the_nearer_column_left_it(learned, monkeypatch):
    """Where spots are many their columns lie between those that were run."""
    monkeypatch.setattr(Group, "alone", False)
    # A copy, which keeps none of the columns that were run for the spots themselves.
    many, weather = replace(learned), learned.members(WEATHER)
    left = MatState(refuses=True, wet_for=2.0)
    starts = tuple([replace(each, mat=left) for each in group] for group in many._starts)
    monkeypatch.setitem(vars(many), "_starts", starts)
    assert many.column(0, 1, weather).start.mat == left


def test_a_spot_that_reads_what_its_depth_does_not_give_is_told_after_one_visit():
    """Its own depth could take it up; `diagnose` says of the same reading that it does not."""

    def first_visit(change):
        return sw.Survey(
            [
                replace(
                    spot,
                    readings=[
                        replace(each, value=each.value + change * (spot.name == "A2"))
                        for each in spot.readings[:1]
                    ],
                )
                for spot in SURVEY.spots
            ]
        )

    odd, usual = (learn(first_visit(change)) for change in (0.08, 0.0))
    (doubt,) = odd.doubts
    assert doubt.startswith("A2 read ") and "its probed depth gives" in doubt
    assert usual.doubts == ()
    said = sw.diagnose(odd.given["survey"], SANDS, calibration=odd).spot("A2")
    depth = next(each for each in said.causes if each.cause == "depth")
    assert not depth.consistent


def test_what_own_water_adds_is_run_on_few_depths(learned):
    """Within 0.1 % by volume on average of what runs on all of them say."""
    green, times = learned.green, [np.datetime64(day) for day in DAYS]
    (group,) = green.groups
    hose = (sw.Event("2025-07-05 05:00", "8 mm", rate="10 mm/h"),)
    most, other = replace(group, spots=(0, 1, 2)), replace(group, spots=(3,), irrigation=hose)
    draws = learned.shared.take(slice(8))

    def read(*groups):
        of_groups = replace(green, groups=groups)
        return read_spans(of_groups, learned.unknowns, draws, [Span(0.0, 7.62)], times, 1)[-1]

    few, every = read(most, other), read(other)
    ran = few_depths(replace(green, groups=(most, other)), other)
    near = slice(ran[0], ran[-1] + 1)
    assert ran.size == 3 < group.depths.size == few.shape[1]
    missed = (few - every)[:, near]
    assert np.abs(every - read(most)).max() > 0.02
    assert np.sqrt(np.mean(missed**2)) < 1e-3 and np.abs(missed).max() < 6e-3


def test_a_depth_that_was_not_reached_is_a_lower_bound():
    spots = [
        sw.Spot(s.name, 36.0, depth_at_least=True, readings=s.readings) if s.name == "C3" else s
        for s in SURVEY.spots
    ]
    found = learn(sw.Survey(spots), draws=200)
    j = [spot.name for spot in found.spots].index("C3")
    assert found.own.depth[:, j].min() >= 36.0
    assert found.quantity("C3").after[0] > found.quantity("C3").before[0]


def test_water_of_one_spot_is_its_own(learned):
    """A hose at C3 alone: with the record it drains to what it did without, or looks wetter."""
    hose = [sw.Event(f"2025-07-0{day} 00:00", 15.0, duration=0.5) for day in (4, 6, 8)]
    watered = truth(events=hose)
    spots = [watered.spot(s.name) if s.name == "C3" else s for s in SURVEY.spots]
    told = learn(sw.Survey(spots), irrigation={"C3": hose})
    hidden = learn(sw.Survey(spots))
    assert len(told.green.groups) == 2
    number = learned.number_of(SURVEY.spot("C3"))
    usual, with_record, without = (
        np.median(each.drained(rod=7.62)[:, number]) for each in (learned, told, hidden)
    )
    assert with_record == pytest.approx(usual, abs=0.003)
    assert without > usual + 0.03
    assert told.quantity("C3").after[1] > hidden.quantity("C3").after[1]
    assert told.doubts == () and any(each.startswith("C3 ") for each in hidden.doubts)


def test_water_that_is_on_when_the_last_is_read_runs_on():
    """From 05:30 for an hour, read at 06:15: what comes next begins at 06:00, with half of it."""
    hose = sw.Event("2025-07-08 05:30", 6.0, duration=1.0)
    last = sw.Reading(0.15, rod=7.62, time="2025-07-08 06:15")
    spots = [replace(each, readings=(*each.readings[:2], last)) for each in SURVEY.spots]
    found = learn(sw.Survey(spots), irrigation={"C3": [hose]}, draws=10)
    members = found.members(WEATHER)
    assert found.now == np.datetime64("2025-07-08 06:00")
    for case in (found.column(0, 3, members), found.ahead(1, members)[0]):
        (left,) = case.irrigation
        assert left.time == found.now and left.amount == pytest.approx(3.0)
        both = case.with_water([sw.Event("2025-07-09 05:00", 4.0, duration=0.5)])
        assert [each.amount for each in both.irrigation] == pytest.approx([3.0, 4.0])
    assert found.column(0, 0, members).irrigation == ()


def test_water_after_the_last_reading_is_told_and_not_counted(learned):
    late = sw.Event("2025-07-08 06:00", "5 mm", duration="30 min")
    again = learn(SURVEY, irrigation={"A2": [late]})
    assert "water after the last reading is not counted: 2025-07-08 06:00 at A2" in again.doubts
    assert not any(group.irrigation for group in again.green.groups)
    assert not any("water after" in each for each in learned.doubts)


def test_a_day_without_an_hour_is_told():
    dated = [replace(each, time=np.datetime64(each.time, "D")) for each in SURVEY.spots[0].readings]
    spots = [replace(SURVEY.spots[0], readings=dated), *SURVEY.spots[1:]]
    found = learn(sw.Survey(spots), draws=10)
    assert "2025-07-02, 2025-07-04" in found.doubts[0] and "no hour" in found.doubts[0]


def test_memory_takes_the_place_of_the_factor():
    day = sw.Survey([sw.Spot("A1", 30.0, readings=[sw.Reading(0.2, rod=7.62, time=DAYS[0])])])
    found = learn(day, sand=sw.likely_memories(SANDS, 4), draws=10)
    names = [each.name for each in found.quantities]
    assert "memory" in names and "wet_factor" not in names
    members = found.members(WEATHER.between(SOAKED, "2025-07-03"))
    run = sw.simulate_many(found.ahead(0, members)[:2], output=24.0)
    assert (run.status == 0).all() and found.held_back is None
    assert any("one visit says nothing" in each for each in found.cautions)


def test_a_sensor_counts_as_much_as_its_errors_last():
    """Readings six hours apart that share their error say little more than a few."""
    profile = sw.Profile.over_gravel(with_suction_scaled(SAND, 1.5), 32.0, base_suction=6.7)
    run = sw.simulate(profile, WEATHER, turf=TURF, output=6.0, keep=["water_content"])
    water = run.water_content.sel(depth=slice(5.1, 10.1)).mean("depth")
    sensor = sw.BuriedSensor("A2", 7.6, run.time.values[3:30], water.values[3:30])
    # One beside it that logs every five minutes is another, with an offset of its own.
    minutes = run.time.values[5] + np.arange(4) * np.timedelta64(5, "m")
    twin = sw.BuriedSensor("A2", 7.6, minutes, np.full(4, water.values[5]))
    survey = sw.Survey([sw.Spot(name, depth) for name, depth in DEPTHS.items()])
    found = learn(survey, sensors=[sensor, twin], draws=100)
    track, beside = found.evidence.tracks
    assert track.buried and track.at.size == 27
    assert beside.buried and beside.hours.tolist() == [track.hours[2], track.hours[2] + 0.25]
    assert 0.3 < found.quantity("wet_factor").spread < 0.95


@pytest.mark.parametrize("value", [0.40, 0.02])
def test_a_blunder_is_told_and_moves_nothing(learned, value):
    """A reading far out, either way, beside the others of its spot and of the green."""
    spots = list(SURVEY.spots)
    bad = sw.Reading(value, rod=7.62, time="2025-07-06 06:30")
    spots[0] = sw.Spot("A1", 28.0, readings=[bad, *spots[0].readings])
    found = learn(sw.Survey(spots), draws=200)
    assert len(found.doubts) == 1
    assert found.doubts[0].startswith(f"A1 read {100 * value:.1f} %")
    assert f"doubtful: {found.doubts[0]}" in repr(found)
    for name in ("wet_factor", "crop_coefficient", "mat_water", "meter_offset", *DEPTHS):
        with_it, without = found.quantity(name), learned.quantity(name)
        width = without.after[2] - without.after[0]
        assert abs(with_it.after[1] - without.after[1]) < 0.25 * width, name


def test_a_reading_with_an_added_error_counts_for_less(learned):
    """One that was run on for days and is 6 % off moves nothing, and is not called doubtful."""
    first, *rest = SURVEY.spots
    readings = list(first.readings)
    readings[1] = replace(readings[1], value=readings[1].value + 0.06, added_error=0.2)
    found = learn(sw.Survey([replace(first, readings=readings), *rest]), draws=200)
    (track,) = (each for each in found.evidence.tracks if each.spot == 0)
    assert track.error == pytest.approx([0.01, np.hypot(0.01, 0.2), 0.01, 0.01])
    assert not found.doubts
    before, after = learned.quantity("A1").after, found.quantity("A1").after
    assert abs(after[1] - before[1]) < 0.25 * (before[2] - before[0])


def test_a_shift_is_followed_past_blunders_as_a_sum_over_all_of_them_says():
    """Against quadrature over the shift, with a share of each reading's density anywhere."""
    gap = np.array([0.012, 0.26, -0.004, 0.02, -0.09])[:, None]
    error, own = np.array([0.02, 0.02, 0.01, 0.03, 0.02]), 0.015
    usual = norm.pdf(gap - NODES, 0.0, error[:, None])
    density = (1.0 - BLUNDERS) * usual + BLUNDERS / ANYTHING
    joint = np.prod(density, axis=0) * norm.pdf(NODES, 0.0, own)
    whole = np.trapezoid(joint, NODES)
    mean = np.trapezoid(joint * NODES, NODES) / whole
    spread = np.sqrt(np.trapezoid(joint * (NODES - mean) ** 2, NODES) / whole)
    ones = np.ones_like(gap)
    told = [float(each[0]) for each in follow_shift(gap, ones, ones, error**2, own)]
    assert told[0] == pytest.approx(np.log(whole), abs=0.02)
    assert told[1:] == pytest.approx([mean, spread], abs=2e-4)


def sensor(*values):
    return sw.BuriedSensor("A1", 7.6, DAYS[: len(values)], values)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"soaked": None}, "no known soaking"),
        ({"soaked": "2025-06-01"}, "outside the weather"),
        ({"soaked": "2025-07-03 00:00"}, "before the soaking"),
        ({"irrigation": None}, r"irrigation=\(\) if there was none"),
        ({"irrigation": {"Z9": ()}}, "allowed: A1, A2, A3, C3"),
        (
            {"irrigation": [sw.Event("2025-07-03 05:00", 8.0, duration=1.0)] * 2},
            "the water of 2025-07-03 05:00 twice; give it once",
        ),
        ({"irrigation": [5.0]}, r'5.0 is no Event; write irrigation=\[Event\("2025-07-03 05:00"'),
        ({"irrigation": 12.0}, r"irrigation is .*12.0.*; write irrigation=\[Event\("),
        ({"irrigation": {"A1": 12.0}}, r'irrigation of "A1" .*write irrigation=\{"A1": \[Event'),
        ({"sensors": [0.3]}, r"sensors\[0\].*0.3 is no BuriedSensor; write sensors=\["),
        ({"sensors": 0.3}, r"sensors is .*write sensors=\[BuriedSensor"),
        ({"soaked": np.datetime64("NaT")}, "soaked: the time at position 0 is missing"),
        ({"irrigation": {"A1": None}}, r'write \{"A1": \[\]\} if there was none'),
        (
            {"irrigation": [sw.Event("2025-06-30 23:00", 20.0, duration=3.0)]},
            'say its end, soaked="2025-07-01 02:00"',
        ),
        (
            {"irrigation": [sw.Event("2025-07-08 05:00", 90.0, duration=72.0)]},
            "goes on after the weather",
        ),
        ({"sensors": [sensor(0.44, 0.30, 0.28)]}, "1 of the sensor at A1 from 2025-07-02 06:00"),
        ({"sensors": [sensor(0.95, 0.80, 0.60)]}, "sensor at A1 .* relative scale"),
        ({"sensors": [sw.BuriedSensor("Z9", 7.6, ["2025-07-02"], [0.2])]}, 'sensor at "Z9"'),
        (
            {"sensors": [sw.BuriedSensor("A1", 26.0, ["2025-07-02"], [0.2])]},
            "28.5 cm .* in 28.0 cm",
        ),
        ({"doubtful": "yes"}, '"ask" or "leave out"'),
        ({"meter_error": 0.0}, "meter_error is 0"),
        ({"draws": 2}, "10 or more"),
    ],
)
def test_what_cannot_be_learnt_from_is_refused_with_the_cure(change, told):
    with pytest.raises(sw.InputError, match=told):
        learn(SURVEY, **change)


def reading(value, **more):
    return sw.Survey([sw.Spot("A1", 30.0, readings=[sw.Reading(value, rod=7.6, **more)])])


@pytest.mark.parametrize(
    ("survey", "told"),
    [
        (reading(0.2), "without a time: A1 20.0 %"),
        (reading(0.45, time=DAYS[0]), r'pore space of the sand.*doubtful="leave out"'),
        (reading(0.005, time=DAYS[0]), "no water at all"),
        (reading(0.2, time="2025-07-20"), "the weather ends at"),
        (reading(0.2, time="2025-07-01 02:00"), "read the green again once it has drained"),
        (sw.Survey([sw.Spot("A1", 30.0)]), "there are no readings"),
        (sw.Survey([sw.Spot("A1")]), "no spot has a depth"),
    ],
)
def test_readings_that_say_nothing_are_refused_with_the_cure(survey, told):
    with pytest.raises(sw.InputError, match=told):
        learn(survey)


def test_all_that_is_wrong_is_told_at_once():
    readings = [sw.Reading(0.2, rod=7.6), sw.Reading(0.45, rod=7.6, time=DAYS[0])]
    readings += [sw.Reading(0.2, rod=7.6, time=day) for day in DAYS]
    survey = sw.Survey([sw.Spot("A1", 30.0, readings=readings), sw.Spot("B1", 30.0)])
    with pytest.raises(sw.InputError) as caught:
        learn(
            survey,
            soaked=None,
            irrigation=None,
            meter_error=0.0,
            draws=2,
            base_suction="wet",
            sensors=[sw.BuriedSensor("Z9", 7.6, ["2025-07-02"], [0.2])],
        )
    for told in (
        "no known soaking",
        "missing is not none",
        "meter_error is 0",
        "10 or more",
        "base_suction",
        "without a time: A1 20.0 %",
        "A1 45.0 %",
        'sensor at "Z9"',
    ):
        assert told in str(caught.value)


def test_a_meter_in_relative_units_is_told_from_a_slip():
    relative = {"A1": (0.95, 0.7, 0.35), "A2": (0.9, 0.65, 0.3)}
    spots = [
        sw.Spot(
            name,
            30.0,
            readings=[
                sw.Reading(v, rod=7.6, time=t) for v, t in zip(values, DAYS[:3], strict=True)
            ],
        )
        for name, values in relative.items()
    ]
    for doubtful in ("ask", "leave out"):
        with pytest.raises(sw.InputError, match=r"looks like a relative scale.*by volume"):
            learn(sw.Survey(spots), doubtful=doubtful)


def test_a_relative_scale_that_stays_below_the_pore_space_is_asked_about(learned):
    """Per cent of saturation of a green that reads 10 to 15 % by volume."""
    question = "per cent of saturation: is the meter in per cent by volume"
    assert not any(question in doubt for doubt in learned.doubts)

    def as_shown(reading):
        return replace(reading, value=reading.value / SAND.theta_s)

    spots = [
        replace(spot, readings=[as_shown(each) for each in spot.readings])
        for spot in truth(factor=1.15).spots
    ]
    assert max(each.value for spot in spots for each in spot.readings) < SAND.theta_s
    found = learn(sw.Survey(spots), draws=10)
    assert sum(question in doubt for doubt in found.doubts) == 1


def test_doubtful_readings_are_left_out_when_asked():
    spots = list(SURVEY.spots)
    more = sw.Reading(0.45, rod=7.62, time=DAYS[1])
    spots[0] = sw.Spot("A1", 28.0, readings=(*spots[0].readings, more))
    wet = sensor(0.44, 0.30, 0.28)
    found = learn(sw.Survey(spots), sensors=[wet], doubtful="leave out", draws=10)
    assert found.doubts[0].startswith("left out: A1 45.0 % at 2025-07-04 06:00")
    assert "1 of the sensor at A1" in found.doubts[0]
    sizes = dict.fromkeys((True, False), 0)
    for track in found.evidence.tracks:
        sizes[track.buried] += track.at.size
    assert sizes == {True: 2, False: 16}


def test_a_name_that_is_not_there_is_told_those_that_are(learned):
    with pytest.raises(sw.InputError, match="base_suction, crop_coefficient"):
        learned.quantity("alpha")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"values": [210.0, 205.0]}, "210 is not a water content"),
        ({"values": [0.0, 0.2]}, "no water content, the first 0"),
        ({"values": [0.2]}, "1 values for 2 times"),
        ({"times": ["2025-07-02", "2025-07-01"]}, "time does not go forward"),
        ({"depth": 1.0}, "at least half of it deep"),
    ],
)
def test_a_sensor_is_checked(change, told):
    given = {"depth": 7.6, "times": ["2025-07-01", "2025-07-02"], "values": [0.2, 0.19], **change}
    with pytest.raises(sw.InputError, match=told):
        sw.BuriedSensor("A1", **given)


def test_a_proposal_is_told_by_what_it_draws(learned):
    """Weights by it make its draws into draws from what was possible: mean 0, spread 1."""
    rng = np.random.default_rng(1)
    many = learned.unknowns.draw(4000, rng)
    weight = np.exp(-0.5 * np.sum((many.latent[:, :3] - 1.0) ** 2, axis=1) / 0.3)
    proposal = Proposal(learned.unknowns, many, weight / weight.sum())
    drawn = proposal.draw(20_000, rng)
    back = np.exp(proposal.log_ratio(drawn))
    back /= back.sum()
    mean = back @ drawn.latent
    assert np.allclose(mean, 0.0, atol=0.06)
    assert np.allclose(back @ (drawn.latent - mean) ** 2, 1.0, atol=0.08)
    assert np.abs(drawn.latent[:, 0].mean()) > 0.2


def test_what_goes_along_with_a_sand_is_drawn_with_it(learned):
    """As from readings that tell how wet a sand is in the field, but not which part lab and wetting
    have in it."""
    rng = np.random.default_rng(2)
    unknowns = learned.unknowns
    many = unknowns.draw(20_000, rng)
    score = unknowns.scores[many.soil, 0]
    weight = weights_of(-0.5 * (score + many.latent[:, 0]) ** 2 / 0.1)
    drawn = Proposal(unknowns, many, weight).draw(20_000, rng)
    # A fifth of them is of all that was possible.
    about = slice(4000, None)
    sand, factor = unknowns.scores[drawn.soil[about], 0], drawn.latent[about, 0]
    together = (
        weight
        @ (score * many.latent[:, 0])
        / np.sqrt((weight @ score**2) * (weight @ many.latent[:, 0] ** 2))
    )
    assert np.corrcoef(sand, factor)[0, 1] == pytest.approx(together, abs=0.15)


def test_draws_are_chosen_evenly_along_what_is_told():
    rng = np.random.default_rng(0)
    along, weight = rng.normal(size=5000), rng.random(5000)
    weight /= weight.sum()
    errors = {
        name: np.std([np.mean(along[pick(weight, 200, rng, given)]) for _ in range(40)])
        for name, given in (("as they come", None), ("along", along))
    }
    assert errors["along"] < 0.25 * errors["as they come"]


def test_an_answer_stops_plainly_where_a_batch_hands_back_what_is_finished(monkeypatch):
    """Columns that are run for an answer are not those of who asked: a plan and this stop alike."""

    def stopped(*_, **__):
        raise sw.Interrupted(None)

    def press_ctrl_c(*_):
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(columns, "simulate_many", stopped)
    with pytest.raises(KeyboardInterrupt) as learning:
        learn(SURVEY)
    with pytest.raises(KeyboardInterrupt) as planning:
        sw.hand_water_plan(SURVEY, SAND, WEATHER, TURF, "12 %", draws=4, progress=press_ctrl_c)
    assert type(learning.value) is type(planning.value) is KeyboardInterrupt
