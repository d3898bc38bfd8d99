"""What must hold of odds, dry-down and hand water on any green."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.spots.findings import with_finding
from soilwater.decisions.spots.measurements import rank_measurements
from soilwater.decisions.watering.ensembles import first_at_or_below
from soilwater.decisions.watering.water_plan import gallons_per_1000_ft2
from soilwater.soils import VanGenuchten
from soilwater.soils.at_rest import RestCurves
from soilwater.survey.survey import Reading, Spot, Survey

SANDS = st.builds(
    VanGenuchten,
    theta_r=st.floats(0.01, 0.06),
    theta_s=st.floats(0.36, 0.44),
    alpha=st.floats(0.025, 0.06),
    n=st.floats(2.0, 6.0),
    k_sat=st.just(40.0),
)
READINGS = st.floats(0.03, 0.45)
DEPTHS = st.floats(24.0, 50.0)
FEW = settings(max_examples=12)


def shares_of(diagnosis, name):
    return {odds.cause: odds.probability for odds in diagnosis.spot(name).causes}


@given(SANDS, st.floats(10.0, 60.0), st.floats(0.1, 30.0), st.sampled_from([3.8, 7.6, 12.0]))
def test_deeper_and_steeper_never_read_wetter(sand, depth, extra, rod):
    """Extra depth, extra suction at a crest and suction left at the base are one and the same."""
    table = RestCurves([sand])
    suction = np.array([depth, depth + extra])
    shallow, deep = table.reading(np.zeros(2, dtype=np.int64), suction, rod)
    assert deep <= shallow + 1e-12


@FEW
@given(SANDS, st.lists(st.tuples(DEPTHS, READINGS), min_size=1, max_size=4))
def test_shares_are_probabilities_whatever_was_read(sand, measured):
    spots = [Spot(f"S{i}", d, readings=(Reading(v, rod=7.6),)) for i, (d, v) in enumerate(measured)]
    diagnosis = diagnose(Survey(spots), sand)
    for spot in spots:
        shares = list(shares_of(diagnosis, spot.name).values())
        assert np.isclose(sum(shares), 1.0)
        assert all(0.0 <= share <= 1.0 for share in shares)


@FEW
@given(SANDS, DEPTHS, READINGS, st.floats(0.5, 30.0), st.floats(1.1, 20.0))
def test_a_slower_drop_never_speaks_against_repellency(sand, depth, value, seconds, times):
    quick, slow = (
        shares_of(
            diagnose(
                Survey([Spot("S", depth, readings=(Reading(value, rod=7.6),), drop_time=drop)]),
                sand,
            ),
            "S",
        )["repellency"]
        for drop in (seconds, seconds * times)
    )
    assert slow >= quick - 1e-12


@FEW
@given(SANDS, DEPTHS, READINGS, st.floats(0.0, 60.0))
def test_any_finding_leaves_probabilities(sand, depth, value, seconds):
    diagnosis = diagnose(Survey([Spot("S", depth, readings=(Reading(value, rod=7.6),))]), sand)
    drop = next(m for m in rank_measurements(diagnosis, "S") if m.kind == "drop_test")
    after = shares_of(with_finding(diagnosis, drop, seconds), "S")
    assert np.isclose(sum(after.values()), 1.0)


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=8), st.floats(0.0, 1.0))
def test_the_day_of_a_line_lies_within_the_run_or_beyond_it(values, line):
    days = np.arange(len(values), dtype=float)
    found = first_at_or_below(days, np.array([values]), line)[0]
    if min(values) <= line:
        assert 0.0 <= found <= days[-1]
        assert np.interp(found, days, values) <= line + 1e-9
    else:
        assert np.isinf(found)


@given(st.floats(1e-3, 500.0))
def test_gallons_are_in_proportion_to_millimetres(amount):
    """1 mm is a litre on a square metre; a US gallon is 231 cubic inches."""
    litres = amount * 1000 * 0.3048**2
    assert np.isclose(gallons_per_1000_ft2(amount), litres / (231 * 2.54**3 / 1000), rtol=1e-12)
