"""What a diagnosis says and advises: sizes, words, and which measurement tells most."""

from dataclasses import replace

import numpy as np
import pytest
from diagnosed import (
    BY_NAME,
    MIX,
    NOTHING_UNKNOWN,
    drained,
    dry_spot,
    level_draw,
    one,
    spot,
    usual_spots,
)
from grounds import REPORTED

from soilwater.decisions.spots.causes import NAMES
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.spots.findings import with_finding
from soilwater.decisions.spots.measurements import (
    KINDS,
    next_measurement,
    rank_measurements,
)
from soilwater.survey.survey import Survey
from soilwater.words.errors import InputError

# --- sizes and words -------------------------------------------------------------------------


def test_the_size_a_cause_needs_gives_the_reading():
    settings = NOTHING_UNKNOWN
    reading = drained(30.0 + 12.0)
    found = {each.cause: each for each in one(spot("S", 30.0, reading), **settings).causes}
    assert found["depth"].size == pytest.approx(42.0, abs=0.5)
    assert found["slope"].size == pytest.approx(12.0, abs=0.5)
    scale = found["repellency"].size
    assert drained(30.0, scale=scale) == pytest.approx(reading, abs=0.003)
    assert 100.0 * found["meter"].size == pytest.approx(100 * (reading - drained(30.0)), abs=0.1)


def test_what_would_take_an_incredible_size_is_called_not_credible():
    found = {
        c.cause: c
        for c in one(spot("S", 31.0, 0.08), among=usual_spots(), base_suction=REPORTED).causes
    }
    assert "not credible" in found["depth"].sentence
    assert not found["depth"].consistent
    assert drained(found["depth"].size) == pytest.approx(0.08, abs=0.005)


def test_words_are_about_consistency_and_never_about_blame():
    green = Survey([*usual_spots(), spot("dry", 31.0, 0.08), spot("wet", 28.0, 0.38)], name="x <y>")
    found = diagnose(green, MIX)
    text = f"{found!r}{found.spot('dry')!r}"
    assert "onsistent with" in text and "caused by the builder" not in text.lower()
    assert "fault of" not in text
    assert "x &lt;y&gt;" in found._repr_html_()
    assert "<table" in found.spot("dry")._repr_html_()


def test_assumptions_and_cautions_are_printed():
    text = repr(diagnose(Survey(usual_spots(2)), MIX))
    for words in ("assumed:", "expected before reading", "taken for certain", "2 spots say little"):
        assert words in text


# --- the next measurement --------------------------------------------------------------------


def test_gain_of_looking_at_the_outlet_is_the_mutual_information_of_a_yes_or_no():
    """Closed form: entropy of the mixture less the mean entropy, over two outcomes."""
    found = diagnose(Survey([*usual_spots(), spot("wet", 30.0, 0.33)]), MIX)
    ranked = {each.kind: each for each in rank_measurements(found, "wet")}
    shares = np.array([found.spot("wet").probability(name) for name in NAMES])
    slow = np.array([0.7 if name == "standing_water" else 0.1 for name in NAMES])

    def entropy(p):
        return -(p * np.log2(p) + (1 - p) * np.log2(1 - p))

    gain = entropy(shares @ slow) - shares @ entropy(slow)
    assert ranked["outlet"].gain == pytest.approx(gain, abs=1e-6)


def test_a_finding_is_counted_in_by_the_rule_of_bayes():
    found = diagnose(Survey([*usual_spots(), spot("wet", 30.0, 0.33)]), MIX)
    outlet = next(m for m in rank_measurements(found, "wet") if m.kind == "outlet")
    after = with_finding(found, outlet, 1)
    shares = np.array([found.spot("wet").probability(name) for name in NAMES])
    slow = np.array([0.7 if name == "standing_water" else 0.1 for name in NAMES])
    expected = shares * slow / (shares @ slow)
    assert [after.spot("wet").probability(n) for n in NAMES] == pytest.approx(expected.tolist())
    assert "slow" in after.spot("wet").findings[0]
    assert after.spot("A0") == found.spot("A0")
    assert all(each.kind != "outlet" for each in rank_measurements(after, "wet"))


def test_a_drop_test_is_advised_where_repellency_is_in_question():
    found = diagnose(Survey([*usual_spots(), spot("dry", 31.0, 0.09)]), MIX)
    best = next_measurement(found, "dry")
    assert best.kind == "drop_test"
    assert "water repellency" in best.reason
    after = with_finding(found, best, "2 min")
    assert after.spot("dry").causes[0].cause == "repellency"
    assert with_finding(found, best, 1.0).spot("dry").probability("repellency") < 0.3


def test_ten_to_one_against_a_cause_ends_its_being_consistent():
    """Jeffreys 1961, Theory of Probability (from memory): strong evidence. The quicker a drop
    soaks in, the less repellency is left; the size of it would explain the reading throughout, and
    no drop is so quick that it speaks against it by itself."""
    dry_spot = diagnose(Survey([*usual_spots(), spot("dry", 31.0, 0.19)]), MIX)
    drop = next(m for m in rank_measurements(dry_spot, "dry") if m.kind == "drop_test")
    usual = BY_NAME["repellency"].prior

    def after(seconds):
        causes_left = with_finding(dry_spot, drop, seconds).spot("dry").causes
        return next(each for each in causes_left if each.cause == "repellency")

    low, high = 0.5, 60.0
    assert not after(low).consistent and after(high).consistent
    for _ in range(30):
        middle = np.sqrt(low * high)
        low, high = (low, middle) if after(middle).consistent else (middle, high)
    assert after(high).probability / usual == pytest.approx(0.1, rel=0.01)


def test_slow_drops_begin_between_five_and_ten_seconds():
    """Where a drop speaks as much for repellent sand as for another (a drop-test note and common
    practice)."""
    seconds = np.geomspace(0.5, 100.0, 4000)
    odds = BY_NAME["repellency"].drop_time.log_density(seconds) - BY_NAME[
        "depth"
    ].drop_time.log_density(seconds)
    assert 5.0 < seconds[np.argmin(np.abs(odds))] < 10.0
    assert np.all(np.diff(odds[seconds > 1.0]) > 0.0)


def test_gains_are_never_negative_nor_more_than_what_is_open():
    shares = np.array([each.probability for each in dry_spot().spot("dry").causes])
    open_bits = -np.sum(shares * np.log2(np.maximum(shares, 1e-300)))
    ranked = rank_measurements(dry_spot(), "dry")
    gains = [each.gain for each in ranked]
    a_minute = [each.gain / each.minutes for each in ranked]
    assert a_minute == sorted(a_minute, reverse=True)
    assert all(-1e-9 <= gain <= open_bits for gain in gains)


def test_over_all_spots_the_most_telling_one_is_found():
    best = next_measurement(dry_spot())
    assert best == max(rank_measurements(dry_spot()), key=lambda each: each.gain / each.minutes)


def test_what_was_measured_already_is_not_advised():
    known = spot("S", 31.0, 0.15, drop_time=1.0, slope=0.02, mat_thickness=1.0, catch_depth=5.0)
    found = diagnose(Survey([known, *usual_spots()]), MIX)
    kinds = {each.kind for each in rank_measurements(found, "S", rods=["3 in", "8 in"])}
    assert kinds == set(KINDS) - {"drop_test", "slope", "mat", "catch", "longer_probe"}


def test_rods_are_those_that_are_owned():
    """Those of the survey, or those that are told; none that would reach the gravel or was used."""
    green = [
        spot("S", 31.0, 0.15),
        *usual_spots(),
        spot("long", 30.0, drained(30.0, rod=20.0), 20.0),
    ]
    found = diagnose(Survey(green), MIX)

    def lengths(**settings):
        return {m.rod for m in rank_measurements(found, "S", **settings) if m.kind == "rod"}

    assert lengths() == {20.0}
    assert lengths(rods=["7.6 cm"]) == set()
    assert lengths(rods=[3.8, 7.6, 12.0, 40.0]) == {3.8, 12.0}


def test_the_work_is_weighed_and_can_be_told():
    assert next_measurement(dry_spot(), "dry").kind != "catch"
    # With cans out already, looking at them takes a minute.
    best = next_measurement(dry_spot(), "dry", minutes={"catch": 1.0})
    assert best.kind == "catch" and best.reason.endswith("of the doubt in 1 min")
    with pytest.raises(InputError) as caught:
        minutes = {"dig": 3.0, "slope": 0.0, "catch": "2 min"}
        rank_measurements(dry_spot(), "dry", rods=[-3.0], minutes=minutes)
    for words in ("-3 cm", 'no measurement "dig"', "slope takes 0.0", "catch takes '2 min'"):
        assert words in str(caught.value)


def test_a_depth_that_is_a_lower_bound_asks_for_a_longer_probe():
    short = replace(spot("S", 31.0, 0.15), depth_at_least=True)
    found = diagnose(Survey([short, *usual_spots()]), MIX)
    ranked = {each.kind: each for each in rank_measurements(found, "S")}
    assert "probe" not in ranked
    assert "longer probe" in ranked["longer_probe"].instruction
    assert next_measurement(found, "S") == ranked["longer_probe"]
    deep = with_finding(found, ranked["longer_probe"], "18 in").spot("S")
    assert deep.probability("depth") > found.spot("S").probability("depth") + 0.1


def test_readings_of_a_spot_share_what_a_level_column_misses():
    """Closed form: two normal readings whose errors correlate through the shared part.

    A shared error of 5 % and a meter's of 1 %: having read 6 % too little, nearly as much is
    expected of the next reading; were the error fresh, nothing would be.
    """
    only = dict.fromkeys(NAMES, 0.0) | {"depth": 1.0}
    settings = {"weights": only, "meter_error": 0.01, "model_error": 0.05, **NOTHING_UNKNOWN}
    found = one(spot("S", 30.0, drained(30.0) - 0.06), **settings)
    missed = found.states.missed[NAMES.index("depth")]
    assert missed.mean() == pytest.approx(-0.06 * 0.05**2 / (0.05**2 + 0.01**2), abs=0.002)
    assert missed.std() == pytest.approx(0.05 * 0.01 / np.hypot(0.05, 0.01), rel=0.15)


def test_causes_come_in_groups_and_slopes_in_two():
    """Crests are drier, toes wetter; all of it adds up."""
    toe = spot("toe", 31.0, drained(31.0) + 0.05, slope=0.05)
    found = diagnose(Survey([*usual_spots(), toe, spot("dry", 31.0, 0.12)]), MIX)
    for each in found.spots:
        assert sum(group.probability for group in each.groups) == pytest.approx(1.0)
        assert [g.probability for g in each.groups] == sorted(
            (g.probability for g in each.groups), reverse=True
        )
        for group in each.groups:
            total = sum(cause.probability for cause in group.causes)
            assert total == pytest.approx(group.probability)
    dry = found.spot("dry")
    assert dry.groups[0].label == "drier for another reason"
    assert dry.sentence.startswith("Drier for another reason (likely, ")
    wetter = next(g for g in found.spot("toe").groups if g.label == "wetter for another reason")
    slope = next(cause for cause in wetter.causes if cause.cause == "slope")
    assert 0.5 * found.spot("toe").probability("slope") < slope.probability


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_standing_water_drains_on_as_often_as_is_said(share):
    standing = replace(BY_NAME["standing_water"], drains_on=share)
    held = standing.draw(level_draw(50))
    left = standing.half_a_day_on(held, 3.0)
    assert np.mean(left.extra == 0.0) == pytest.approx(share, abs=0.01)


def test_no_one_measurement_rules_a_cause_out():
    """Two in a hundred are wrong (our own choice): not a millionth is left of a cause, but more."""
    far = one(spot("S", 30.0, 0.05, drop_time=1.0), among=usual_spots(3))
    assert min(far.probability("depth"), far.probability("repellency")) > 1e-4
