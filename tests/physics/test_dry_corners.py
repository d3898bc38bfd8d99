"""Columns that gave up: nodes that hold next to nothing and are asked for much, or given it.

The balance of water is the outside truth of each.
"""

import numpy as np
import pytest

import soilwater as sw
from soilwater.kernels.newton import residual_norm
from soilwater.kernels.rows import N_WORK, RESIDUAL


def hourly(rain, demand=0.0):
    times = np.datetime64("2025-07-01", "ns") + np.arange(len(rain) + 1) * np.timedelta64(1, "h")
    return sw.Weather(times, np.asarray(rain, dtype=float), np.full(len(rain), demand))


def storm(hours):
    rain = np.zeros(hours)
    rain[1:3] = 50.0, 100.0
    return hourly(rain)


def ends_well(run):
    end = run.isel(time=-1)
    moved = float(end.rain + abs(end.drainage) + end.transpiration + end.evaporation)
    assert abs(float(end.closure_error)) <= 1e-6 * moved + 1e-9
    assert int(run.steps) < 20_000
    return end


@pytest.mark.parametrize("theta_r", [0.0, 1e-9, 1e-6, 1e-4])
def test_films_that_hold_no_water_carry_none(theta_r):
    # They conducted and held nothing: a node had no water to balance a flow with.
    pores = sw.VanGenuchten(theta_r, 0.4, 1.2, 3.0, 10_000.0)
    gravel = sw.WithDryEnd(pores)
    profile = sw.Profile([sw.Layer(gravel, 30.0)], sw.FreeDrainage())
    end = ends_well(sw.simulate(profile, storm(48), start=1000.0, output="24 h"))
    assert float(end.drainage) > 148.0
    without = sw.WithDryEnd(pores, film_share=0.0).conductivity(1e4)
    assert (gravel.conductivity(1e4) > without) == (theta_r >= 1e-5)


@pytest.mark.parametrize("alpha", [1.2, 3.0])
@pytest.mark.parametrize("dry_end", [False, True])
def test_a_gravel_that_is_all_but_empty_where_its_base_opens(alpha, dry_end):
    # The lowest node leapt past the opening, far too wet, and back below it, for ever.
    gravel = sw.VanGenuchten(0.0, 0.4, alpha, 10.0, 10_000.0)
    gravel = sw.WithDryEnd(gravel) if dry_end else gravel
    profile = sw.Profile([sw.Layer(gravel, 178.0)], sw.CapillaryBreak(10.0))
    end = ends_well(sw.simulate(profile, storm(24), start=4e5, output="12 h"))
    assert 130.0 < float(end.drainage) <= 150.0


def emptied_by_night(median_suction):
    """A green of a steep sand, three days from a soaking, its turf and the morning it ends."""
    sand = sw.Kosugi(0.0878595, 0.399639, median_suction, 0.472341, 24.8297, tortuosity=0.0830696)
    green = sw.Profile.over_gravel(sand, 34.0973, base_suction=8.47413)
    morning = [np.datetime64(f"2025-07-0{day}T06:00", "ns") for day in (1, 4)]
    weather = sw.steady_weather(4, 5.0).between(*morning)
    turf = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"), crop_coefficient=1.07924)
    return green, weather, {"turf": turf, "start": "soaked", "output": morning[1:]}


@pytest.mark.parametrize("median_suction", [15.44, 15.86, 16.44, 16.83])
def test_no_node_is_left_owing_water_that_none_can_hold(median_suction):
    # By night an emptied node passed on a trace it did not have, and no later step had an answer.
    green, weather, given = emptied_by_night(median_suction)
    end = ends_well(sw.simulate(green, weather, **given))
    assert float(end.drainage) > 70.0


@pytest.mark.parametrize(
    ("median_suction", "fall"), [(15.16, 0.2), (15.97, 0.8), (16.53, 0.2), (16.66, 0.5)]
)
def test_nor_in_columns_that_share_water(median_suction, fall):
    green, weather, given = emptied_by_night(median_suction)
    ground = sw.GreenMap([[2.0 * fall, fall, 0.0]] * 2, [[34.0973] * 3] * 2, green, "1 m")
    run = sw.simulate(ground, weather, **given)
    assert (run.status == 0).all()
    assert float(abs(run.closure_error).max()) < 1e-4
    assert float(run.drainage.isel(time=-1).mean()) > 70.0


@pytest.mark.parametrize("compensation", [1.0, 0.3])
@pytest.mark.parametrize("half_suction", [1000.0, 1e6, 6e6])
@pytest.mark.parametrize("start", [5e6, 6.3e6])
def test_roots_that_still_draw_where_soil_is_oven_dry(half_suction, compensation, start):
    # Beyond 10^6.8 cm a node held nothing and was asked for all.
    loam = sw.WithDryEnd(sw.VanGenuchten(0.078, 0.43, 0.036, 1.56, 1.0))
    turf = sw.Turf(15.0, stress=sw.SShapedStress(half_suction, 1.0), compensation=compensation)
    profile = sw.Profile([sw.Layer(loam, 30.0)], sw.CapillaryBreak(3.0))
    rain = np.where(np.arange(240) % 50 == 0, 3.0, 0.0)
    weather = hourly(rain, 0.3)
    run = sw.simulate(profile, weather, turf=turf, start=start, output="24 h")
    ends_well(run)
    assert float(run.water_content.min()) >= 0.0


def test_a_number_that_is_none_in_the_middle_of_a_column_is_not_forgotten():
    # A largest of several forgot it where another node followed, and the column gave up.
    sand = sw.Kosugi(
        0.08469117995094122,
        0.39260874146315483,
        21.53732580603893,
        0.47958740327496285,
        17.565181843233393,
        tortuosity=-1.5748842197736281,
    )
    weather = sw.steady_weather(10, 5.5)
    cases = [
        sw.Case(
            sw.Profile.over_gravel(sand, depth, base_suction=5.04),
            weather,
            turf=sw.Turf(15.0, crop_coefficient=crop),
            start="soaked",
        )
        for depth in np.linspace(18.0, 26.0, 40)
        for crop in (1.0, 1.25, 1.5)
    ]
    run = sw.simulate_many(cases, output=[weather.end], keep=["closure_error", "storage"])
    assert not run.status.values.any()
    assert np.abs(run.closure_error.values).max() < 1e-6
    work = np.ones((N_WORK, 3))
    work[RESIDUAL, 1] = np.nan
    assert np.isnan(residual_norm(-np.ones(3), work))
