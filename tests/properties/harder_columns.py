"""Six layers under downpours of 200 mm/h with a rule for each hour; and greens as they are built.

Soils, bases and starts are those of `hard_columns`; what is asked of a run too.
"""

import numpy as np
from hard_columns import (
    faults,
    log_uniform,
    random_base,
    random_soil,
    random_start,
    random_weather,
)

import soilwater as sw

DOWNPOUR = 200.0
"""Largest rain [mm/h]."""


def random_mix(rng):
    """Half of the soils have two pore systems, and half of all a dry end."""
    soil = random_soil(rng)
    if rng.random() < 0.5:
        soil = sw.TwoComponent(
            rng.choice([0.0, rng.uniform(0.0, 0.1)]), rng.uniform(0.35, 0.7),
            log_uniform(rng, 0.03, 0.5), rng.uniform(1.5, 9.0), rng.uniform(0.05, 0.9),
            log_uniform(rng, 5e-4, 0.02), rng.uniform(1.1, 3.0), log_uniform(rng, 0.1, 500.0),
        )  # fmt: skip
    if rng.random() < 0.35 and not isinstance(soil, sw.WithDryEnd):
        soil = sw.WithDryEnd(soil)
    return soil


def downpours(rng, days):
    """Hours of weather: demand by day, and a few hours of rain up to the largest."""
    n = 24 * days
    stamps = np.datetime64("2025-06-01", "h") + np.arange(n + 1)
    rain = np.zeros(n)
    wet = rng.random(n) < rng.choice([0.01, 0.05, 0.3])
    rain[wet] = np.exp(rng.uniform(np.log(0.1), np.log(DOWNPOUR), wet.sum()))
    by_day = (np.arange(n) % 24 >= 6) & (np.arange(n) % 24 < 18)
    demand = np.where(by_day, rng.uniform(0.0, 1.2), 0.0)
    return sw.Weather(stamps.astype("datetime64[ns]"), rain, demand)


def harder_case(seed):
    """Case, rules and ponding limit of a seed."""
    rng = np.random.default_rng([4711, seed])
    layers = [
        sw.Layer(random_mix(rng), log_uniform(rng, 0.5, 60.0), f"layer {i}") for i in range(6)
    ]
    depth = sum(layer.thickness for layer in layers)
    if rng.random() < 0.5:
        base = sw.WaterTable(depth * np.exp(rng.uniform(np.log(0.2), np.log(3.0))))
    else:
        base = random_base(rng, depth)
    profile = sw.Profile(layers, base)
    weather = downpours(rng, int(rng.integers(1, 15)))
    stress = (
        sw.SShapedStress(log_uniform(rng, 50.0, 5e5), rng.uniform(1.0, 4.0))
        if rng.random() < 0.6
        else sw.RoundedStress(1.0, 25.0, rng.uniform(200.0, 1500.0), 8000.0)
    )
    turf = sw.Turf(
        rng.uniform(1.0, max(2.0, depth)),
        roots=str(rng.choice(["uniform", "exponential"])),
        cover=float(rng.choice([1.0, rng.uniform(0.0, 1.0)])),
        stress=stress,
        compensation=rng.uniform(0.1, 1.0),
    )
    rules = []
    if rng.random() < 0.5:
        rate = log_uniform(rng, 5.0, DOWNPOUR)
        rod = min(depth, rng.uniform(2.0, 20.0))
        threshold = rng.uniform(0.02, 0.35)
        rules = [
            sw.Rule(min(0.5 * rate, rng.uniform(0.2, 8.0)), threshold, rod=rod, rate=rate, hour=h)
            for h in range(24)
        ]
    case = sw.Case(profile, weather, turf=turf, start=random_start(rng, profile))
    return case, rules, float(rng.choice([0.0, 0.5, 1000.0]))


def green_case(seed):
    """A sand of the trade over gravel or a sublayer, under a season of mixed weather."""
    rng = np.random.default_rng([1066, seed])
    sand = sw.VanGenuchten(
        rng.uniform(0.01, 0.06), rng.uniform(0.34, 0.46), log_uniform(rng, 0.02, 0.06),
        rng.uniform(2.2, 7.0), log_uniform(rng, 10.0, 80.0),
    )  # fmt: skip
    depth = rng.uniform(15.0, 60.0)
    profile = sw.Profile.over_gravel(sand, depth)
    if rng.random() < 0.5:
        mat = sw.VanGenuchten(0.05, rng.uniform(0.6, 0.8), 0.05, 1.5, log_uniform(rng, 1.0, 30.0))
        layers = (sw.Layer(mat, rng.uniform(0.5, 4.0), "mat"), sw.Layer(sand, depth, "sand"))
        profile = sw.Profile(layers, sw.CapillaryBreak(rng.uniform(0.0, 10.0)))
    weather = random_weather(rng, 24.0 * rng.uniform(5.0, 60.0))
    turf = sw.Turf(rng.uniform(5.0, depth), compensation=rng.uniform(0.5, 1.0))
    return sw.Case(profile, weather, turf=turf), [], 0.5


def faults_of(seed, make=harder_case):
    """What is wrong with the column of a seed, in words."""
    case, rules, ponding_limit = make(seed)
    half = case.weather.start + (case.weather.end - case.weather.start) // 2
    run = sw.simulate(
        case.profile, case.weather, turf=case.turf, start=case.start, rules=rules,
        ponding_limit=ponding_limit, output=[case.weather.start, half, case.weather.end],
        max_steps=100_000, on_failure="return",
    )  # fmt: skip
    return [f"{make.__name__} {seed}: {fault}" for fault in faults(case, run)]
