"""Long runs: a station year with rules, time that does not drift, and a month of drying out.

Checked against the input itself (what rain and rules gave, hour by hour) and against conservation
of water; no numbers from elsewhere are needed.
"""

from pathlib import Path

import numpy as np
import pytest

import soilwater as sw

STATION = Path(__file__).parents[2] / "examples" / "data" / "sallow_heath_station.csv"
SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h", name="middle mix")
GREEN = sw.Profile.over_gravel(SAND, "12 in")
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"), crop_coefficient=0.81)
RULE = sw.Rule("6 mm", "14 %", rod="3 in", rate="18 mm/h")


@pytest.fixture(scope="module")
def year():
    site = sw.Site(latitude=44.0, elevation=140.0, longitude=-121.0, utc_offset=-8.0)
    return sw.read_weather(STATION, label="end", site=site, reference_et="asce")


@pytest.fixture(scope="module")
def run(year):
    return sw.simulate(GREEN, year, turf=TURF, start="drained", rules=[RULE], output="1 h")


def test_a_year_of_hourly_weather_with_rules_closes_its_balance(run):
    moved = float(run.rain[-1] + run.irrigation[-1])
    assert float(run.irrigation[-1]) > 100.0
    assert float(abs(run.closure_error).max()) <= 1e-6 * moved


def test_hours_do_not_drift_over_a_year(run, year):
    assert np.array_equal(run.time.values, year.edges)
    rain = np.concatenate([[0.0], np.cumsum(year.rain)])
    assert np.allclose(run.rain.values, rain, rtol=0.0, atol=1e-9)
    # All that was asked of the turf is in the ledger, to round-off, whatever the steps.
    transpiration, evaporation = TURF.demand(year)
    asked = float(run.potential_transpiration[-1] + run.potential_evaporation[-1])
    assert asked == pytest.approx(transpiration.sum() + evaporation.sum(), rel=1e-10)


def test_a_season_by_rule_is_the_season_of_its_events(year):
    season = year.between("2025-06-01", "2025-08-01")
    by_rule = sw.simulate(GREEN, season, turf=TURF, start="drained", rules=[RULE], output="1 h")
    nights = RULE.decision_times(season.start, season.end)
    applied = [by_rule.irrigation.sel(time=nights + np.timedelta64(h, "h")).values for h in (0, 1)]
    events = [
        sw.Event(night, RULE.amount, rate=RULE.rate)
        for night, rise in zip(nights, applied[1] - applied[0], strict=True)
        if rise > 1.0
    ]
    assert len(events) > 5
    by_table = sw.simulate(
        GREEN,
        season.refine(nights),
        turf=TURF,
        start="drained",
        irrigation=events,
        output="1 h",
    )
    assert float(abs(by_table.water_content - by_rule.water_content).max()) < 1e-12
    assert float(abs(by_table.drainage - by_rule.drainage).max()) < 1e-10


def test_growing_roots_reach_the_water_below(year):
    season = year.between("2025-07-01", "2025-07-21")
    growing = sw.Turf(
        "5 cm", roots="uniform", root_depth_by_date=(("2025-07-01", 5.0), ("2025-07-15", 25.0))
    )
    still = sw.Turf("5 cm", roots="uniform")
    runs = [
        sw.simulate(GREEN, season, turf=turf, start="drained", output="24 h")
        for turf in (growing, still)
    ]
    assert float(runs[0].transpiration[-1]) > 1.05 * float(runs[1].transpiration[-1])
    assert all(float(abs(run.closure_error).max()) <= 1e-6 * 50.0 for run in runs)


@pytest.mark.parametrize("depth", [30.0, 46.0, 60.0])
def test_a_month_of_drying_is_no_harder_with_a_dry_end_than_without(depth):
    runs = [
        sw.simulate(
            sw.Profile.over_gravel(soil, depth),
            sw.steady_weather(30, 5.0),
            turf=TURF,
            output="24 h",
        )
        for soil in (SAND, sw.WithDryEnd(SAND))
    ]
    plain, extended = runs
    tries, of_plain = (int(run.steps) + int(run.rejected_steps) for run in (extended, plain))
    assert tries <= of_plain
    assert int(extended.newton_iterations) <= int(plain.newton_iterations)
    # With the dry end no node is driven to the end of the table.
    assert float(extended.node_suction.max()) < 1e6
    assert float(abs(extended.closure_error).max()) <= 1e-6 * 60.0
