"""Columns of sand that remembers, against another solver, and against what must hold for any."""

import numpy as np
import pytest
from grounds import MIDDLE_MIX, WET_MIX

import soilwater as sw

ROD = 7.6
TURF = sw.Turf(10.0, roots="uniform")

# Of a solver apart from this one: 60 cells of 0.5 cm, the same two main curves by recursion
# (Mualem 1974, WRR 10:514), +-0.3 % by volume by its cells. 30 cm over a break at 3 cm; soaked,
# drained for 48 h, dried for 6 d at an even 5 mm/day, 40 mm at a rate, 48 h of rest.
# sand, ratio of suctions, rate [mm/h], reading [%], drained in all [mm]
READ_AFTER_RAIN = [
    (MIDDLE_MIX, 1.5, 5.0, 16.9, 48.6),
    (MIDDLE_MIX, 1.5, 40.0, 18.0, 46.3),
    (MIDDLE_MIX, 2.0, 5.0, 15.6, 53.9),
    (MIDDLE_MIX, 2.0, 10.0, 15.9, 53.2),
    (MIDDLE_MIX, 2.0, 40.0, 17.2, 50.2),
    (MIDDLE_MIX, 2.0, 200.0, 19.2, 45.9),
    (MIDDLE_MIX, 2.5, 10.0, 15.4, 56.6),
    (WET_MIX, 1.5, 10.0, 21.9, 40.8),
    (WET_MIX, 2.0, 10.0, 20.2, 45.8),
    (WET_MIX, 2.0, 200.0, 24.6, 37.7),
    (WET_MIX, 2.5, 5.0, 18.9, 50.1),
]


def weather(*blocks):
    """Weather of (hours, rain [mm], demand [mm]), each even over its hours."""
    hours = np.cumsum([0.0, *(block[0] for block in blocks)])
    edges = np.datetime64("2025-07-01", "ns") + (hours * 3.6e12).astype("timedelta64[ns]")
    return sw.Weather(edges, [block[1] for block in blocks], [block[2] for block in blocks])


def rained_on(sand, ratio, rate):
    green = sw.Profile.over_gravel(sw.Hysteretic(sand, ratio), 30.0, base_suction=3.0)
    blocks = weather((48.0, 0.0, 0.0), (144.0, 0.0, 30.0), (40.0 / rate, 40.0, 0.0), (48.0, 0, 0))
    return sw.simulate(green, blocks, turf=TURF, output=blocks.edges[1:])


@pytest.mark.parametrize(("sand", "ratio", "rate", "reading", "drained"), READ_AFTER_RAIN)
def test_a_dried_green_reads_after_rain_what_another_solver_says(
    sand, ratio, rate, reading, drained
):
    run = rained_on(sand, ratio, rate)
    ours = 100.0 * sw.meter_reading(run, rod=ROD).values
    assert ours[-1] == pytest.approx(reading, abs=0.3)
    assert run.drainage.values[-1] == pytest.approx(drained, abs=0.5)
    assert abs(run.closure_error).max() <= 1e-6 * 40.0


def test_the_harder_it_rained_the_wetter_it_stays_and_never_wetter_than_flooded():
    readings = [
        float(sw.meter_reading(rained_on(MIDDLE_MIX, 2.0, rate), rod=ROD)[-1])
        for rate in (2.0, 5.0, 10.0, 40.0, 200.0, 2000.0)
    ]
    assert (np.diff(readings) > 0.0).all()
    flooded = sw.drained_water_content(
        sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0), 0.0, ROD
    )
    assert readings[-1] <= flooded + 1e-3


def test_a_week_of_water_and_six_days_of_sun_dry_a_green_out_week_by_week():
    # As above: 25 mm every seventh day; readings [%] before and a day after water.
    week = [(144.0, 0.0, 30.0), (1.0, 25.0, 0.0), (23.0, 0.0, 0.0)]
    blocks = weather((48.0, 0.0, 0.0), *(3 * week))
    green = sw.Profile.over_gravel(sw.Hysteretic(MIDDLE_MIX, 2.0), 30.0, base_suction=3.0)
    run = sw.simulate(green, blocks, turf=TURF, output=blocks.edges)
    before = 100.0 * sw.meter_reading(run, rod=ROD).values[2::3]
    after = 100.0 * sw.meter_reading(run, rod=ROD).values[4::3]
    assert before[0] == pytest.approx(13.1, abs=0.1)
    assert (np.diff(before[:3]) < -0.5).all()
    assert (np.diff(after) < -0.3).all()


def test_with_equal_curves_it_is_the_run_without_a_memory_bit_for_bit():
    days = sw.steady_weather(4, 5.0, rain=2.0)
    plain, equal = (
        sw.simulate(sw.Profile.over_gravel(sand, 30.0, base_suction=3.0), days, turf=TURF)
        for sand in (MIDDLE_MIX, sw.Hysteretic(MIDDLE_MIX, 1.0))
    )
    for name in ("node_suction", "water_content", "drainage", "closure_error"):
        np.testing.assert_array_equal(plain[name], equal[name])
    assert "drying_suction" not in equal
    assert "turning_suction" not in equal


def test_a_memory_that_tends_to_none_tends_to_the_run_without():
    days = sw.steady_weather(6, 5.0, rain=4.0)
    plain = sw.simulate(
        sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0), days, turf=TURF, tolerance=1e-4
    )
    off = []
    for more in (0.04, 0.02, 0.01):
        green = sw.Profile.over_gravel(
            sw.Hysteretic(MIDDLE_MIX, 1.0 + more), 30.0, base_suction=3.0
        )
        run = sw.simulate(green, days, turf=TURF, tolerance=1e-4)
        off.append(float(abs(run.water_content - plain.water_content).max()))
    assert off[0] / off[1] == pytest.approx(2.0, rel=0.25)
    assert off[1] / off[2] == pytest.approx(2.0, rel=0.25)


def test_a_column_that_rests_goes_on_resting_after_rain_of_any_rate():
    green = sw.Profile.over_gravel(sw.Hysteretic(MIDDLE_MIX, 2.0, 0.9), 30.0, base_suction=3.0)
    for rate in (1.0, 10.0, 100.0):
        run = sw.simulate(green, sw.steady_weather(30, 0.0), start=sw.AfterRain(rate))
        assert abs(run.node_suction - run.node_suction[0]).max() <= 1e-9
        assert abs(run.drainage).max() <= 1e-9


def test_a_start_after_rain_is_what_rain_leaves():
    green = sw.Profile.over_gravel(sw.Hysteretic(MIDDLE_MIX, 2.0), 30.0, base_suction=3.0)
    for rate in (5.0, 10.0, 40.0, 200.0):
        state = sw.simulate(green, sw.steady_weather(1, 0.0), start=sw.AfterRain(rate))
        ours = 100.0 * float(sw.meter_reading(state, rod=ROD)[0])
        run = 100.0 * float(sw.meter_reading(rained_on(MIDDLE_MIX, 2.0, rate), rod=ROD)[-1])
        assert ours == pytest.approx(run, abs=0.3)


def test_showers_on_bone_dry_sand_that_remembers_are_followed():
    # Kosugi's curve holds nothing at all where roots stop; a node there gives no sign of a shower.
    hours = np.arange(24 * 12)
    edges = np.datetime64("2025-07-01", "h") + np.arange(hours.size + 1)
    day = (hours % 24 >= 6) & (hours % 24 < 19)
    sand = sw.Hysteretic(sw.Kosugi(0.03, 0.38, 21.0, 0.63, 70.0), 1.28, 0.9)
    green, turf = sw.Profile.over_gravel(sand, 30.0, base_suction=4.0), sw.Turf(10.0)
    cases = [
        sw.Case(
            green,
            sw.Weather(edges, np.where(hours % 48 == 29, shower, 0.0), np.where(day, demand, 0.0)),
            turf=turf,
            start=sw.AfterFlooding(7000.0),
        )
        for demand in (0.4, 0.6, 0.8)
        for shower in (2.0, 3.0, 5.0, 8.0)
    ]
    runs = sw.simulate_many(cases, output="24 h")
    assert not runs.status.values.any()
    moved = runs.infiltration + runs.transpiration + abs(runs.drainage)
    assert (abs(runs.closure_error) <= 1e-6 * moved + 1e-9).all()
