"""What a further measurement shows: counted in as if it had been known from the start."""

from dataclasses import replace

import numpy as np
import pytest

import soilwater as sw
from soilwater.decisions.spots.causes import NAMES
from soilwater.decisions.spots.measurements import Measurement

SANDS = [sw.VanGenuchten(0.05, 0.42, alpha, 3.0, 28.0) for alpha in (0.036, 0.039, 0.042)]
DRY = sw.Spot("D", 30.0, readings=[sw.Reading(0.15, rod=7.6)])
USUAL = [
    sw.Spot(f"A{i}", 30.0 + i, readings=[sw.Reading(0.252 - 0.006 * i, rod=7.6)]) for i in range(4)
]


def odds_of(*spots, name="D"):
    return shares(sw.diagnose(sw.Survey([*spots, *USUAL]), SANDS), name)


def shares(diagnosis, name="D"):
    return np.array([diagnosis.spot(name).probability(cause) for cause in NAMES])


def found(diagnosis, *outcomes, name="D"):
    for kind, rod, value in outcomes:
        measurement = Measurement(kind, name, "", "", 0.0, rod)
        diagnosis = sw.with_finding(diagnosis, measurement, value)
    return diagnosis


@pytest.fixture(scope="module")
def before():
    return sw.diagnose(sw.Survey([DRY, *USUAL]), SANDS)


@pytest.mark.parametrize(
    ("outcomes", "known"),
    [
        ([("slope", 0.0, 0.06)], {"slope": 0.06}),
        ([("drop_test", 0.0, 200.0)], {"drop_time": 200.0}),
        ([("mat", 0.0, 6.0)], {"mat_thickness": 6.0}),
        ([("rod", 20.0, 0.30)], {"readings": [*DRY.readings, sw.Reading(0.30, rod=20.0)]}),
        (
            [("slope", 0.0, 0.06), ("rod", 20.0, 0.12), ("mat", 0.0, 0.5)],
            {
                "slope": 0.06,
                "mat_thickness": 0.5,
                "readings": [*DRY.readings, sw.Reading(0.12, rod=20.0)],
            },
        ),
    ],
)
def test_odds_after_a_surprise_are_those_of_a_diagnosis_that_knew_of_it(before, outcomes, known):
    after = found(before, *outcomes)
    # Where less is drawn at one spot, others have other random numbers.
    assert shares(after) == pytest.approx(odds_of(replace(DRY, **known)), abs=0.01)
    assert np.abs(shares(after) - shares(before)).max() > 0.005
    assert shares(after, "A1") == pytest.approx(shares(before, "A1"), abs=0.0)


def test_a_catch_is_told_over_that_of_the_green(before):
    cans = [replace(each, catch_depth=5.0) for each in USUAL]
    knew = sw.diagnose(sw.Survey([replace(DRY, catch_depth=2.5), *cans]), SANDS)
    told = shares(found(before, ("catch", 0.0, 0.5)))
    assert told == pytest.approx(shares(knew), abs=0.05)
    assert told[NAMES.index("sprinkling")] > 0.7


def test_two_probings_that_agree_outweigh_the_first(before):
    """30 cm and then 46: one of them is wrong. 46 again: the first was."""
    once, twice = found(before, ("probe", 0.0, 46.0)), found(before, *[("probe", 0.0, 46.0)] * 2)
    deep = odds_of(replace(DRY, depth=46.0))
    middle = [float(np.median(each.spot("D").states.depth[0])) for each in (once, twice)]
    assert middle[0] > 30.0 and middle[1] == pytest.approx(46.0, abs=0.7)
    assert shares(before)[0] < shares(once)[0] < shares(twice)[0]
    assert shares(twice) == pytest.approx(deep, abs=0.03)
    # As many possibilities as before stand behind what comes next.
    assert np.unique(twice.spot("D").states.depth[0]).size > 200
    assert twice.spot("D").expected < before.spot("D").expected - 0.04


def test_a_longer_probe_takes_the_place_of_a_lower_bound():
    short = replace(DRY, depth=30.0, depth_at_least=True)
    after = found(sw.diagnose(sw.Survey([short, *USUAL]), SANDS), ("longer_probe", 0.0, "46 cm"))
    assert shares(after) == pytest.approx(odds_of(replace(DRY, depth=46.0)), abs=0.03)


def test_what_was_found_is_kept_with_the_spot(before):
    after = found(before, ("slope", 0.0, 0.06), ("outlet", 0.0, 0))
    spot = after.spot("D")
    assert [each.kind for each in spot.found] == ["slope", "outlet"]
    assert len(spot.findings) == 2 and spot.spot == DRY
    kinds = {each.kind for each in sw.rank_measurements(after, "D")}
    assert not {"slope", "outlet"} & kinds and "probe" in kinds


def test_a_reading_that_a_survey_would_leave_out_is_refused(before):
    with pytest.raises(sw.InputError, match=r"more than the pore space.*read it again"):
        found(before, ("rod", 12.0, 0.55))
