"""How often bands learnt from readings hold readings that were not used.

Greens are drawn with a seed and run by the solver: 12 spots read on five mornings, two more never
read; all are read on the twelfth and thirteenth day, which is held back. "matched" draws what is
not known as the calibration assumes it and adds normal errors; "other" lays sands of another family
of curves (Kosugi) fitted as van Genuchten, and errors with heavy tails (Student, 3 degrees of
freedom); "sensors" buries a sensor at three spots whose errors last for a day or two, and holds
back what is between their depths on these days at every spot, read without a meter's offset or mat,
which they cannot tell.

Of the parameters it tells the rank of the truth among the draws, in five parts: alike filled where
bands are as wide as they should be.

Readings of a green share what is not known of it: standard errors are those between greens.

Run with ``python benchmarks/learning_coverage.py [greens] [first seed] [matched|other|sensors]``.
"""

from __future__ import annotations

import sys
import time
from typing import Any, NamedTuple

import numpy as np

from soilwater.ground.base_suction import OVER_GRAVEL
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.lab.retention import RetentionTable
from soilwater.learning.calibrate import calibrate
from soilwater.learning.calibration import Calibration
from soilwater.learning.columns import Span, turf_with
from soilwater.learning.telling import SAND_SUCTION
from soilwater.learning.unknowns import (
    CROP_SPREAD,
    MAT_SPREAD,
    MAT_WATER,
    SCATTER,
    SCATTER_SPREAD,
    WET_FACTOR,
    WET_SPREAD,
)
from soilwater.runs.case import Case
from soilwater.runs.columns_of import each_column
from soilwater.runs.meter import meter_reading
from soilwater.runs.simulate import simulate_many
from soilwater.soils import Kosugi, VanGenuchten
from soilwater.soils.scaling import with_suction_scaled
from soilwater.survey.sensor import BuriedSensor
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.made import steady_weather

ROD, METER, OFFSET, OWN, PROBE = 7.6, 0.02, 0.02, 0.01, 1.0
READ, UNREAD = 12, 2
VISITS, HELD = (1.25, 3.25, 5.25, 7.25, 10.25), (12.25, 13.25)
SUCTIONS = (10.0, 20.0, 30.0, 40.0, 60.0)
WEATHER = steady_weather(14, "5 mm/day")
TURF = Turf("15 cm")
SENSOR = Span(5.1, 10.1)


class Truth(NamedTuple):
    """A green as it is: what is learnt, by name, and what it will read when held back."""

    shared: dict[str, float]
    survey: Survey
    sensors: tuple[BuriedSensor, ...]
    held: np.ndarray


def fits() -> dict[str, list[Any]]:
    """Lab sheets of a few sands, fitted."""
    rng = np.random.default_rng(7)
    made: dict[str, list[Any]] = {"matched": [], "other": []}
    for alpha, n in ((0.038, 3.0), (0.045, 3.6), (0.052, 2.8)):
        sand = VanGenuchten(0.04, 0.40, alpha, n, 40.0)
        water = np.array([sand.water_content(h) for h in SUCTIONS]) + 0.008 * rng.standard_normal(5)
        made["matched"].append(RetentionTable(SUCTIONS, water, k_sat=40.0).fit(VanGenuchten))
    for suction, width in ((24.0, 0.55), (28.0, 0.45), (21.0, 0.65)):
        sand = Kosugi(0.03, 0.40, suction, width, 40.0)
        water = np.array([sand.water_content(h) for h in SUCTIONS]) + 0.008 * rng.standard_normal(5)
        fit = RetentionTable(SUCTIONS, water, k_sat=40.0).fit(VanGenuchten, one_family=True)
        made["other"].append((sand, fit))
    return made


def green(kind: str, sand: Any, rng: np.random.Generator) -> Truth:
    """Draw a green and read it."""
    z = rng.standard_normal(5)
    ends = [OVER_GRAVEL.low, OVER_GRAVEL.best, OVER_GRAVEL.high]
    shared = {
        "wet_factor": WET_FACTOR * np.exp(WET_SPREAD * z[0]),
        "base_suction": float(np.interp(rng.random(), [0.0, 0.5, 1.0], ends)),
        "crop_coefficient": np.exp(CROP_SPREAD * z[1]),
        "mat_water": MAT_WATER * np.exp(MAT_SPREAD * z[2]),
        "meter_offset": OFFSET * z[3],
        "sand": float(sand.water_content(SAND_SUCTION)),
    }
    scatter = np.hypot(SCATTER * np.exp(SCATTER_SPREAD * z[4]), PROBE)
    probed = rng.uniform(25.0, 42.0, READ + UNREAD)
    depth = np.maximum(probed + scatter * rng.standard_normal(probed.size), ROD + 1.0)
    soil = with_suction_scaled(sand, shared["wet_factor"])
    turf = turf_with(TURF, shared["crop_coefficient"])
    days = np.array([*VISITS, *HELD])
    cases = [
        Case(Profile.over_gravel(soil, d, base_suction=shared["base_suction"]), WEATHER, turf=turf)
        for d in depth
    ]
    run = simulate_many(cases, output=6.0, n_threads=1)
    at = (days * 4).astype(int)
    level = meter_reading(run, rod=ROD).values[:, at]
    level += shared["meter_offset"] + shared["mat_water"] / ROD
    level += OWN * rng.standard_normal((probed.size, 1))
    noise = rng.standard_normal(level.shape)
    if kind == "other":
        noise = rng.standard_t(3, level.shape) / np.sqrt(3.0)
    shown = np.clip(level + METER * noise, 0.011, 0.479)
    times = run.time.values[at]
    held = shown[:, len(VISITS) :]
    if kind == "sensors":
        water = np.array([each.mean(*SENSOR)[at[len(VISITS) :]] for each in each_column(run)])
        lasts = OWN * rng.standard_normal((probed.size, 1))
        held = water + lasts + METER * rng.standard_normal(water.shape)
    spots = [
        Spot(
            f"S{j}",
            float(probed[j]),
            readings=tuple(
                Reading(float(shown[j, k]), rod=ROD, time=times[k])
                for k in range(len(VISITS))
                if j < READ and kind != "sensors"
            ),
        )
        for j in range(probed.size)
    ]
    sensors = []
    if kind == "sensors":
        columns = list(each_column(run))
        last = at[len(VISITS) - 1]
        kept = np.exp(-6.0 / rng.uniform(24.0, 48.0))
        for j in range(3):
            error = 0.02 * rng.standard_normal() + 0.015 * lasting(last, kept, rng)
            water = columns[j].mean(*SENSOR)[1 : last + 1] + error
            water = np.clip(water, 0.011, 0.479)
            sensors.append(BuriedSensor(f"S{j}", ROD, run.time.values[1 : last + 1], water))
    return Truth(shared, Survey(spots), tuple(sensors), held)


def lasting(count: int, kept: float, rng: np.random.Generator) -> np.ndarray:
    """Errors of which a share is kept from each to the next, of standard deviation 1."""
    errors = rng.standard_normal(count)
    for i in range(1, count):
        errors[i] = kept * errors[i - 1] + np.sqrt(1.0 - kept**2) * errors[i]
    return errors


def inside(learned: Calibration, truth: Truth, rng: np.random.Generator) -> np.ndarray:
    """Whether each reading that was held back lies in its 90 % band, shape (spots, times)."""
    times = [WEATHER.start + np.timedelta64(int(24 * day), "h") for day in HELD]
    run = simulate_many(learned.ahead(0, learned.members(WEATHER)), output=times, n_threads=1)
    if truth.sensors:
        water = np.array([each.mean(*SENSOR) for each in each_column(run)])
        told = learned.at_spots(0, water)
        told = told + OWN * rng.standard_normal((*told.shape[:2], 1))
    else:
        told = learned.at_spots(0, meter_reading(run, rod=ROD).values)
        told = told + learned.shift(rod=ROD).T[:, :, None]
    told = told + METER * rng.standard_normal(told.shape)
    low, high = np.quantile(told, [0.05, 0.95], axis=1)
    return (truth.held >= low) & (truth.held <= high), float(np.mean(high - low))


def ranks_of(learned: Calibration, truth: Truth, rng: np.random.Generator) -> list[float]:
    """Rank of the truth among the draws, by quantity; among equal draws at random."""
    held = np.array([each.water_content(SAND_SUCTION) for each in learned.unknowns.soils])
    ranks = []
    for name, value in truth.shared.items():
        if name == "sand":
            drawn = held[learned.shared.soil]
        else:
            drawn = learned.unknowns.values(learned.shared, name)
        alike = np.abs(drawn - value) < 1e-12
        ranks.append(float(np.mean((drawn < value) & ~alike) + rng.random() * np.mean(alike)))
    return ranks


def per_cent(shares: list[float]) -> str:
    """Mean of the shares of greens, with its standard error."""
    error = np.std(shares, ddof=1) / np.sqrt(len(shares)) if len(shares) > 1 else np.nan
    return f"{100 * np.mean(shares):.1f} +- {100 * error:.1f} %"


def main() -> None:
    """Draw greens, learn them, and count."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    kinds = sys.argv[3:] or ["matched", "other"]
    every = fits()
    for kind in kinds:
        begin = time.process_time()
        read, unread, checks, ranks, widths = [], [], [], [], []
        for seed in range(count):
            rng = np.random.default_rng(first + seed)
            if kind == "other":
                sand, fit = every["other"][seed % 3]
            else:
                fit = every["matched"][seed % 3]
                sand = fit.samples()[int(rng.integers(fit.parameter_sample.shape[0]))]
            truth = green(kind, sand, rng)
            learned = calibrate(
                truth.survey, fit, WEATHER, TURF, soaked=WEATHER.start, irrigation=(),
                sensors=truth.sensors, meter_error=METER, doubtful="leave out", seed=seed,
                n_threads=1,
            )  # fmt: skip
            held, width = inside(learned, truth, rng)
            widths.append(width)
            read.append(np.mean(held[:READ]))
            unread.append(np.mean(held[READ:]))
            if learned.held_back:
                checks.append(learned.held_back.share)
            ranks.append(ranks_of(learned, truth, rng))
        seconds = (time.process_time() - begin) / count
        print(
            f"{kind}: {count} greens from seed {first}, {seconds:.1f} s of one core each; held "
            f"back inside 90 %: {per_cent(read)} at read spots, {per_cent(unread)} at unread ones; "
            f"last visit in 80 % bands of those before {per_cent(checks or [np.nan])}; 90 % bands "
            f"{100 * np.mean(widths):.1f} % by volume wide"
        )
        for name, of_name in zip(truth.shared, np.array(ranks).T, strict=True):
            parts = np.histogram(of_name, bins=5, range=(0.0, 1.0))[0]
            within = np.mean(np.abs(of_name - 0.5) <= 0.45)
            print(
                f"  ranks of {name}: {parts.tolist()}, expected {count / 5:g} each, mean "
                f"{np.mean(of_name):.2f} +- {1.0 / np.sqrt(12.0 * count):.2f}; in its 90 % band "
                f"{100 * within:.0f} %"
            )


if __name__ == "__main__":
    main()
