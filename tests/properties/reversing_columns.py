"""Random columns of sands that remember, turned from wetting to drying and back every hour."""

import numpy as np
from hard_columns import (
    ROUND_OFF,
    log_uniform,
    random_base,
    random_soil,
    random_start,
    random_turf,
)

import soilwater as sw

DAYS = 30


def random_memory(rng):
    """A soil of `hard_columns`, with a memory if it can have one."""
    soil = random_soil(rng)
    ratio, rewetted = log_uniform(rng, 1.05, 3.0), rng.choice([1.0, rng.uniform(0.75, 1.0)])
    try:
        return sw.Hysteretic(soil, ratio, rewetted)
    except sw.InputError:
        # Two pore systems seldom meet the condition of the model.
        return soil


def reversing_weather(rng):
    """Demand by day and water by night, an hour of the one and an hour of the other."""
    hours = np.arange(24 * DAYS)
    stamps = np.datetime64("2025-06-01", "h") + np.arange(hours.size + 1)
    day = (hours % 24 >= 6) & (hours % 24 < 18)
    asks = hours % 2 == 0
    demand = np.where(asks, rng.uniform(0.0, 1.0, hours.size), 0.0)
    demand *= log_uniform(rng, 0.1, 2.0) * np.where(day, 1.0, 0.1)
    water = np.where(asks, 0.0, rng.exponential(1.0, hours.size))
    water *= log_uniform(rng, 0.01, 10.0) * np.where(day, 0.1, 1.0)
    water[rng.random(hours.size) < rng.choice([0.0, 0.5, 0.9])] = 0.0
    return sw.Weather(stamps.astype("datetime64[ns]"), water, demand)


def make(seed):
    """Profile, weather, turf and start of a column."""
    rng = np.random.default_rng(seed)
    layers = [
        sw.Layer(random_memory(rng), log_uniform(rng, 2.0, 40.0), f"layer {i}")
        for i in range(rng.integers(1, 4))
    ]
    depth = sum(layer.thickness for layer in layers)
    profile = sw.Profile(layers, random_base(rng, depth))
    start = random_start(rng, profile)
    if profile.remembers and not isinstance(start, str):
        start = sw.AfterFlooding(start)
    if isinstance(start, str) and start == "drained" and rng.random() < 0.5:
        start = sw.AfterRain(log_uniform(rng, 1.0, 300.0))
    turf = random_turf(rng, depth) if rng.random() < 0.9 else None
    return sw.Case(profile, reversing_weather(rng), turf=turf, start=start)


def faults_of(seed, case=None):
    """What is wrong with the column of a seed: nothing, one hopes."""
    case = make(seed) if case is None else case
    run = sw.simulate(
        case.profile, case.weather, turf=case.turf, start=case.start, output="24 h",
        on_failure="return",
    )  # fmt: skip
    if int(run.status) != 0:
        return [f"{seed}: {run.status_text.item()}"]
    faults = []
    through = run.infiltration + run.runoff + run.transpiration + run.evaporation
    moved = through + abs(run.drainage)
    allowed = 1e-6 * moved + ROUND_OFF
    if (abs(run.closure_error) > allowed).any():
        faults.append(f"{seed}: closure {float(abs(run.closure_error).max()):.2g} mm")
    soils = case.profile.mesh().soils
    low, high = min(s.dry_end_water_content for s in soils), max(s.theta_s for s in soils)
    water = run.water_content
    if float(water.min()) < low - 1e-9 or float(water.max()) > high + 1e-3:
        faults.append(f"{seed}: water content {float(water.min()):g} to {float(water.max()):g}")
    turns = -run.turning_suction if "turning_suction" in run else None
    if turns is not None and not _nested(turns.transpose("node_depth", "turn").values):
        faults.append(f"{seed}: turns are no nest")
    return faults


def _nested(turns):
    """Whether each turn lies between the two before it."""
    wet, dry = np.inf, -np.inf
    for own in turns:
        wet, dry = np.inf, -np.inf
        for k, head in enumerate(own[np.isfinite(own)]):
            if not dry <= head <= wet:
                return False
            wet, dry = (wet, head) if k % 2 == 0 else (head, dry)
    return True
