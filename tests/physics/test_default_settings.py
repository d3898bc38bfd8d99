"""The default mesh and tolerance against a five times finer mesh and a thirty times tighter one."""

from inspect import signature

import numpy as np
import pytest
from grounds import MIDDLE_MIX as SAND_B
from grounds import STRAIGHT_SAND
from grounds import UNIFORM_SAND as UNIFORM
from grounds import WET_MIX as SAND_C
from reference import hours_after_start, weather

from soilwater import (
    CapillaryBreak,
    Case,
    Layer,
    Profile,
    SeepageFace,
    Turf,
    VanGenuchten,
    Weather,
    meter_reading,
    simulate,
    simulate_many,
    steady_weather,
)
from soilwater.ground.base import CLEAN_GRAVEL

# Invented sands of the trade: in specification, and uniform (hard: it dries to a sharp front).
TURF = Turf(15.0, fraction_above=(0.9, 10.0))
ROD = 7.6
DEFAULT_TOLERANCE = signature(simulate).parameters["tolerance"].default


def default_and_fine(make_cases, **settings):
    """Readings with default settings, and on the fine mesh at the tight tolerance."""
    return [
        meter_reading(
            simulate_many(make_cases(), refinement=refinement, tolerance=tolerance, **settings),
            rod=ROD,
        )
        for refinement, tolerance in ((1.0, DEFAULT_TOLERANCE), (5.0, DEFAULT_TOLERANCE / 30.0))
    ]


@pytest.mark.parametrize("soil", [SAND_B, SAND_C, UNIFORM], ids=["B", "C", "uniform"])
def test_every_midnight_of_a_fortnight_of_drying(soil):
    def cases():
        return [
            Case(Profile.over_gravel(soil, depth), steady_weather(14, 5.0), turf=TURF)
            for depth in (25.0, 30.0, 38.0, 46.0, 60.0)
        ]

    default, fine = default_and_fine(cases, output=24.0)
    assert float(np.abs(default - fine).max()) < 0.001
    assert (fine.isel(time=-1) < fine.isel(time=1) - 0.005).all()


@pytest.mark.parametrize("base_suction", [None, 3.0], ids=["gravel", "fixed"])
@pytest.mark.parametrize("soil", [SAND_B, SAND_C, UNIFORM], ids=["B", "C", "uniform"])
def test_every_hour_of_drainage_and_drying(soil, base_suction):
    # The first hours, when the surface dries from saturation, are the worst.
    def cases():
        return [
            Case(
                Profile.over_gravel(soil, depth, base_suction=base_suction),
                steady_weather(6, 5.0),
                turf=TURF,
            )
            for depth in (25.0, 30.0, 38.0, 46.0, 60.0)
        ]

    default, fine = default_and_fine(cases, output=1.0)
    assert float(np.abs(default - fine).max()) < 0.001


def test_every_hour_where_fronts_pass_layers():
    # Rain of every size on columns of two to four sands, one above another, over each kind of base.
    rng = np.random.default_rng(5)
    edges = np.arange(30 * 24 + 1) * np.timedelta64(1, "h") + np.datetime64("2025-05-01T00", "ns")
    rain = rng.exponential(4.0, 720) * (rng.random(720) < 0.02)
    demand = np.maximum(0.0, 0.55 * np.sin((np.arange(720) % 24 - 6) / 12 * np.pi))
    made = Weather(edges, rain, demand)
    sands = [SAND_B, SAND_C, UNIFORM, STRAIGHT_SAND]

    def column():
        order = rng.permutation(4)[: rng.integers(2, 5)]
        thick = [*rng.uniform(3.0, 12.0, order.size - 1), rng.uniform(15.0, 35.0)]
        layers = [Layer(sands[k], t, f"{k}") for k, t in zip(order, thick, strict=True)]
        bases = (SeepageFace(), CapillaryBreak(rng.uniform(0.0, 9.0)), CLEAN_GRAVEL)
        return Profile(layers, bases[rng.integers(3)])

    profiles = [column() for _ in range(12)]
    default, fine = default_and_fine(
        lambda: [Case(each, made, turf=TURF, start="drained") for each in profiles], output=1.0
    )
    assert rain.sum() > 40.0
    assert float(np.abs(default - fine).max()) < 0.001


def test_every_hour_where_rain_wets_a_dry_sand_below_a_mat():
    # The front of what a loamy mat lets through is thinner than an interval; without the finer
    # mesh at the top of the sand readings were 0.002 off.
    mat, sand = VanGenuchten(0.1, 0.5, 0.03, 1.8, 5.0), VanGenuchten(0.02, 0.38, 0.05, 6.0, 33.0)
    profile = Profile([Layer(mat, 1.3, "mat"), Layer(sand, 28.0, "sand")], CapillaryBreak(2.0))
    edges = np.arange(17) * np.timedelta64(1, "D") + np.datetime64("2025-06-01", "ns")
    rain = np.zeros(16)
    rain[[9, 12]] = 6.0, 4.0
    made = Weather(edges, rain, np.full(16, 6.0))
    default, fine = default_and_fine(lambda: [Case(profile, made, turf=Turf(12.0))], output=1.0)
    assert float(fine.min()) < 0.1
    assert float(np.abs(default - fine).max()) < 0.001


@pytest.mark.parametrize("soil", [SAND_B, UNIFORM], ids=["B", "uniform"])
@pytest.mark.parametrize("depth", [25.0, 46.0])
def test_a_storm_on_sand_at_ten_thousand_centimetres(soil, depth):
    times = hours_after_start([0.05, 0.1, 0.25, 0.5, 0.75, 1.0])
    readings = []
    for refinement, tolerance in ((1.0, DEFAULT_TOLERANCE), (5.0, DEFAULT_TOLERANCE / 30.0)):
        run = simulate(
            Profile.over_gravel(soil, depth),
            weather(1.0, rain=10.0),
            start=1e4,
            output=times,
            refinement=refinement,
            tolerance=tolerance,
        )
        readings.append(meter_reading(run, rod=ROD))
    assert float(readings[1][-1]) > 0.25
    assert float(np.abs(readings[0] - readings[1]).max()) < 0.001
