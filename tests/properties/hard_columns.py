"""Random but physical columns, harder than anything a green will show a solver."""

import numpy as np
import xarray as xr

import soilwater as sw
from soilwater.kernels.curves import OVEN_DRY_SUCTION, SPECIFIC_STORAGE

MINUTE, HOUR, DAY = 1.0 / 60.0, 1.0, 24.0

MEDIAN_STEPS = 180
MOST_STEPS = 200 * MEDIAN_STEPS
"""No column may take more than two hundred times the steps of the middle one of 20 000."""
ROUND_OFF = 1e-9
"""Closure [mm] that is round-off of the water a column holds."""


def random_soil(rng):
    """A sand, gravel, loam, clay, mat or two-component mix; some with a dry end."""
    kind = rng.choice(["sand", "gravel", "loam", "clay", "mat", "two components", "kosugi", "kink"])
    residual = rng.uniform(0.0, 0.1)
    if kind == "sand":
        soil = sw.VanGenuchten(
            residual, rng.uniform(0.3, 0.45), log_uniform(rng, 0.015, 0.15),
            rng.uniform(2.0, 12.0), log_uniform(rng, 1.0, 200.0),
        )  # fmt: skip
    elif kind == "gravel":
        soil = sw.VanGenuchten(
            0.5 * residual, rng.uniform(0.25, 0.45), log_uniform(rng, 0.2, 5.0),
            rng.uniform(1.8, 4.0), log_uniform(rng, 500.0, 20000.0),
        )  # fmt: skip
    elif kind == "loam":
        soil = sw.VanGenuchten(
            residual, rng.uniform(0.4, 0.5), log_uniform(rng, 0.005, 0.05),
            rng.uniform(1.3, 2.0), log_uniform(rng, 0.1, 5.0),
        )  # fmt: skip
    elif kind == "clay":
        soil = sw.VanGenuchten(
            residual, rng.uniform(0.4, 0.55), log_uniform(rng, 0.002, 0.02),
            rng.uniform(1.05, 1.3), log_uniform(rng, 0.005, 0.5),
        )  # fmt: skip
    elif kind == "mat":
        soil = sw.VanGenuchten(
            residual, rng.uniform(0.6, 0.8), log_uniform(rng, 0.02, 0.2),
            rng.uniform(1.3, 1.8), log_uniform(rng, 1.0, 50.0),
        )  # fmt: skip
    elif kind == "two components":
        soil = sw.TwoComponent(
            residual, rng.uniform(0.4, 0.6), log_uniform(rng, 0.03, 0.3), rng.uniform(1.8, 6.0),
            rng.uniform(0.1, 0.6), log_uniform(rng, 0.001, 0.02), rng.uniform(1.2, 3.0),
            log_uniform(rng, 1.0, 100.0),
        )  # fmt: skip
    elif kind == "kosugi":
        soil = sw.Kosugi(
            residual, rng.uniform(0.3, 0.45), log_uniform(rng, 5.0, 100.0),
            rng.uniform(0.25, 1.5), log_uniform(rng, 1.0, 100.0),
        )  # fmt: skip
    else:
        soil = sw.BrooksCorey(
            residual, rng.uniform(0.3, 0.45), log_uniform(rng, 3.0, 60.0),
            rng.uniform(0.3, 5.0), log_uniform(rng, 1.0, 100.0),
        )  # fmt: skip
    return sw.WithDryEnd(soil) if rng.random() < 0.3 else soil


def log_uniform(rng, low, high):
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def random_base(rng, depth):
    kind = rng.integers(0, 6)
    if kind == 0:
        return sw.SeepageFace()
    if kind == 1:
        return sw.CapillaryBreak(rng.uniform(0.0, 15.0))
    if kind == 2:
        return sw.FreeDrainage()
    if kind == 3:
        return sw.WaterTable(depth + log_uniform(rng, 1.0, 300.0))
    if kind == 4:
        return sw.WaterTable(depth * rng.uniform(0.1, 1.0))
    return sw.Sealed()


def random_start(rng, profile):
    kind = rng.integers(0, 5)
    if kind == 0:
        return "soaked"
    if kind == 1:
        still = isinstance(profile.base, sw.FreeDrainage | sw.Sealed)
        return rng.uniform(5.0, 100.0) if still else "drained"
    if kind == 2:
        return log_uniform(rng, 1e3, 1e6)
    if kind == 3:
        return log_uniform(rng, 1.0, 1e3)
    depth = np.sort(rng.uniform(0.0, profile.depth, 4))
    suction = np.array([log_uniform(rng, 0.5, 1e4) for _ in depth])
    return xr.DataArray(suction, {"depth": depth}, ("depth",), name="suction")


def random_weather(rng, hours):
    """Storm, drizzle, showers or none, and a demand of up to 15 mm a day."""
    n = int(min(max(2, hours), 400))
    edges = np.linspace(0.0, hours, n + 1)
    stamps = np.datetime64("2025-06-01", "ns") + (edges * 3.6e12).astype("timedelta64[ns]")
    lengths = np.diff(edges)
    rain = np.zeros(n)
    kind = rng.integers(0, 4)
    if kind == 0:
        rain[rng.integers(0, n)] = log_uniform(rng, 10.0, 300.0) * min(lengths[0], 2.0)
    elif kind == 1:
        rain[:] = rng.uniform(0.05, 2.0) * lengths
    elif kind == 2:
        wet = rng.random(n) < 0.1
        rain[wet] = rng.exponential(6.0, wet.sum()) * np.minimum(lengths[wet], 4.0)
    demand = rng.uniform(0.0, 15.0) / 24.0 * lengths
    shape = np.zeros((n, 2))
    if rng.random() < 0.5:
        day = np.arange(n) % 2 == 0
        demand = np.where(day, 2.0 * demand, 0.0)
        shape[day] = (0.0, 1.0)
    return sw.Weather(stamps, rain, demand, shape)


def random_turf(rng, depth):
    stress = (
        sw.SShapedStress(log_uniform(rng, 50.0, 2000.0), rng.uniform(1.5, 4.0))
        if rng.random() < 0.6
        else sw.RoundedStress(1.0, 25.0, rng.uniform(200.0, 1500.0), 8000.0)
    )
    root_depth = 0.3 if rng.random() < 0.1 else rng.uniform(2.0, max(3.0, depth))
    return sw.Turf(
        root_depth,
        roots=rng.choice(["uniform", "exponential"]),
        cover=float(rng.choice([1.0, rng.uniform(0.0, 1.0)])),
        stress=stress,
        compensation=float(rng.choice([1.0, rng.uniform(0.3, 1.0)])),
    )


def hard_case(seed):
    """The column of a seed."""
    rng = np.random.default_rng([20251, seed])
    layers = [
        sw.Layer(random_soil(rng), log_uniform(rng, 0.5, 100.0), f"layer {i}")
        for i in range(rng.integers(1, 7))
    ]
    depth = sum(layer.thickness for layer in layers)
    profile = sw.Profile(layers, random_base(rng, depth))
    hours = log_uniform(rng, 5 * MINUTE, 400 * DAY)
    if rng.random() < 0.7:
        hours = min(hours, 60 * DAY)
    weather = random_weather(rng, hours)
    turf = random_turf(rng, depth) if rng.random() < 0.8 else None
    return sw.Case(profile, weather, turf=turf, start=random_start(rng, profile))


def ponding_limit(seed):
    return float(np.random.default_rng([7, seed]).choice([0.0, 0.5, 1000.0]))


def solve(seed, tolerance=3e-3):
    """Run the column of a seed; returns its case and the run, which may have failed."""
    case = hard_case(seed)
    half = case.weather.start + (case.weather.end - case.weather.start) // 2
    run = sw.simulate(
        case.profile,
        case.weather,
        turf=case.turf,
        start=case.start,
        ponding_limit=ponding_limit(seed),
        output=[case.weather.start, half, case.weather.end],
        tolerance=tolerance,
        max_steps=MOST_STEPS,
        on_failure="return",
    )
    return case, run


def faults(case, run):
    """What is wrong with a run, in words."""
    if int(run.status) != 0:
        return [str(run.status_text.values)]
    found = []
    water, suction = run.water_content.values, run.node_suction.values
    if not (np.isfinite(water).all() and np.isfinite(suction).all()):
        found.append("a value is not finite")
    pressure = max(-float(suction.min()), 0.0)
    soils = [layer.soil for layer in case.profile.layers]
    # Below the layers a blanket of gravel has cells of its own.
    soils += [case.profile.base.gravel] if hasattr(case.profile.base, "gravel") else []
    most = max(soil.theta_s for soil in soils)
    if water.min() < -1e-12 or water.max() > most + SPECIFIC_STORAGE * pressure + 1e-9:
        found.append(f"water content {water.min()} to {water.max()}")
    if suction.max() > OVEN_DRY_SUCTION * (1.0 + 1e-12):
        found.append(f"suction {suction.max()}")
    end = run.isel(time=-1)
    through = end.rain + end.runoff + end.transpiration + end.evaporation + abs(end.drainage)
    moved = max(float(through), float(abs(run.storage_change).max()))
    closure = float(abs(run.closure_error).max())
    if closure > 1e-6 * moved + ROUND_OFF:
        found.append(f"closure {closure:.1e} mm of {moved:.1e} mm moved")
    return found


def faults_of(seed):
    """What is wrong with the column of a seed, in words."""
    return [f"seed {seed}: {fault}" for fault in faults(*solve(seed))]
