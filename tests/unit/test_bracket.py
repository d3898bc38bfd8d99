"""A line without levels: two floors its depths allow, and the measurement that tells them apart."""

import numpy as np
import pytest
from grounds import GREEN

import soilwater as sw

WEATHER = sw.steady_weather(2, 0.0)
X, DEPTH = ["0 m", "3 m", "6 m", "9 m"], [30.0, 29.0, 31.0, 30.0]


@pytest.fixture(scope="module")
def bracket():
    return sw.level_bracket(X, DEPTH, GREEN, WEATHER, steepest_fall="3 %", rod="3 in")


def test_the_ends_are_the_two_lines_run(bracket):
    run = sw.simulate(bracket.floor_parallel, WEATHER, output="48 h")
    reading = sw.meter_reading(run, rod="3 in").isel(time=-1)
    assert bracket.parallel_reading == pytest.approx(
        reading.sel(distance=[0.0, 300.0, 600.0, 900.0]).values, abs=1e-12
    )
    # Over a flat floor nothing runs; over a sloping one the crest gives what the foot keeps.
    assert np.ptp(bracket.flat_reading) < 0.05
    assert bracket.gap[0] > 0.04
    assert bracket.gap[0] > bracket.gap[-1]


def test_it_says_which_level_closes_it_and_what_the_meter_would_show(bracket):
    said = bracket.closing_measurement
    assert "level of station 4 (9.0 m) against the first: +0 cm says a flat floor, -27 cm" in said
    assert "read the meter at station 1 (0.0 m)" in said
    assert f"about {100 * bracket.flat_reading[0]:.0f} % or" in said
    assert f"to close it: {said}" in repr(bracket)
    assert "one line is not a green" in " ".join(bracket.cautions)


def test_a_narrow_bracket_needs_no_level():
    narrow = sw.level_bracket(X, [30.0] * 4, GREEN, WEATHER, steepest_fall="0.1 %", rod="3 in")
    assert "none needed" in narrow.closing_measurement


def test_faults_are_those_of_the_line():
    with pytest.raises(sw.InputError, match=r"station 2 .* probe_depth is 2 cm"):
        sw.level_bracket(
            X, [30.0, 2.0, 31.0, 30.0], GREEN, WEATHER, steepest_fall="3 %", rod="3 in"
        )
