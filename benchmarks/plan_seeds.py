"""How far amounts of hand water, and what is said of spots, move with the seed, on nine greens.

python benchmarks/plan_seeds.py                   nine greens, six seeds, some minutes
python benchmarks/plan_seeds.py --seeds 3 14      those with "14" in their name, three seeds
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np

import soilwater as sw

TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
MIX = sw.VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
ROD = "3 in"
THREE = (4.0, 5.0, 6.5)


def survey_of(depths: list[float], read: list[float] | None = None) -> sw.Survey:
    """Spots named by their depths [cm]; read early on the first morning, if at all [1]."""
    return sw.Survey(
        [
            sw.Spot(
                f"{depth:g} cm",
                depth,
                readings=[sw.Reading(read[i], rod=ROD)] if read is not None else [],
            )
            for i, depth in enumerate(depths)
        ]
    )


def sheet(suction: list[float], held: list[float], k_sat: str, porosity: float) -> sw.FitResult:
    """A sand as a laboratory gives it."""
    table = sw.RetentionTable(suction, held, k_sat=k_sat, porosity=porosity)
    return table.fit(sw.VanGenuchten)


def learned_again(seed: int) -> sw.HandWaterPlan:
    """The same of a coarser sand, four spots that were read twice, one not, and rain to come."""
    sand = sheet([10, 20, 30, 40, 60], [0.39, 0.30, 0.20, 0.14, 0.10], "40 cm/h", 0.41)
    days = [np.datetime64(f"2025-08-0{day}T06:30") for day in (3, 5)]
    spots = [
        sw.Spot(
            f"{depth:g} cm",
            depth,
            readings=[
                sw.Reading(0.19 - 0.006 * (depth - 26.0) - fall, rod=ROD, time=day)
                for day, fall in zip(days, (0.0, 0.045), strict=True)
            ],
        )
        for depth in (24.0, 27.0, 30.0, 33.0)
    ]
    green = sw.Survey([*spots, sw.Spot("unread", 29.0)])
    past = sw.steady_weather(5, 4.5, first_day="2025-08-01")
    found = sw.calibrate(
        green, sand, past, TURF, soaked="2025-08-01 06:00", irrigation=(), seed=seed
    )
    ahead = []
    for et, rain in ((3.5, 4.0), (4.5, 1.0), (5.5, 0.0), (6.0, 0.0)):
        weather = sw.steady_weather(7, et, first_day="2025-08-05")
        fallen = np.where(np.arange(weather.rain.size) == 3 * weather.rain.size // 7, rain, 0.0)
        ahead.append(replace(weather, rain=fallen))
    return sw.hand_water_plan(green, sand, ahead, TURF, "10 %", rod=ROD, calibration=found)


def learned(seed: int) -> sw.HandWaterPlan:
    """Plan from what three mornings taught; the seed is that of the calibration."""
    sand = sheet([10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], "28 cm/h", 0.42)
    days = [np.datetime64(f"2025-07-0{day}T06:00") for day in (2, 3, 4)]
    falls = (0.0, 0.030, 0.055)
    spots = [
        sw.Spot(
            f"{depth:g} cm",
            depth,
            readings=[
                sw.Reading(0.21 - 0.0055 * (depth - 30.0) - fall, rod=ROD, time=day)
                for day, fall in zip(days, falls, strict=True)
            ],
        )
        for depth in (29.0, 32.0, 34.0, 36.0, 38.0, 40.0)
    ]
    green = sw.Survey(spots)
    past = sw.steady_weather(4, 5.0, first_day="2025-07-01")
    found = sw.calibrate(
        green, sand, past, TURF, soaked="2025-07-01 06:00", irrigation=(), seed=seed
    )
    ahead = [sw.steady_weather(8, et, first_day="2025-07-04") for et in THREE]
    return sw.hand_water_plan(green, sand, ahead, TURF, "9 %", rod=ROD, calibration=found)


def greens() -> dict[str, Callable[[int], sw.HandWaterPlan]]:
    """Plans of greens by a seed."""
    fine = sheet([10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], "28 cm/h", 0.42)
    coarse = sheet([10, 20, 30, 40, 60], [0.39, 0.30, 0.20, 0.14, 0.10], "40 cm/h", 0.41)
    middle = sheet(
        [10, 20, 30, 40, 60, 100], [0.389, 0.330, 0.248, 0.184, 0.123, 0.086], "28 cm/h", 0.412
    )
    alike = [replace(MIX, alpha=alpha) for alpha in np.linspace(0.036, 0.042, 40).tolist()]
    twenty = [sw.steady_weather(10, et) for et in np.linspace(3.8, 6.2, 20).tolist()]
    three = [sw.steady_weather(7, et) for et in THREE]
    many = [20.5, 29.2, 30.5, 31.8, 33.0, 34.3, 35.6, 36.5, 38.1, 39.0, 40.6, 42.0, 45.0, 46.0]
    dry = [0.135, 0.125, 0.155, 0.118, 0.14]

    def of(survey: sw.Survey, *given: object, **more: object) -> Callable[[int], sw.HandWaterPlan]:
        return lambda seed: sw.hand_water_plan(survey, *given, rod=ROD, seed=seed, **more)  # type: ignore[arg-type]

    return {
        "a fit, 20 forecasts": of(
            survey_of([30.0, 33.0, 36.0, 39.0, 42.0, 45.0]), fine, twenty, TURF, "12 %"
        ),
        "40 sands, 38-46 cm": of(
            survey_of([38.0, 41.0, 43.0, 46.0]), alike, sw.steady_weather(7, 5.5), TURF, "12 %"
        ),
        "shallow, 3 forecasts": of(
            survey_of([22.0, 25.0, 28.0, 31.0]), coarse, three, TURF, "11 %"
        ),
        "14 spots, 3 forecasts": of(
            survey_of(many),
            middle,
            [sw.steady_weather(8, et) for et in (4.5, 5.2, 6.0)],
            TURF,
            "12 %",
            largest_amount="5 mm",
            event_day="2025-07-06",
        ),
        "dry, from readings": of(
            survey_of([30.0, 33.0, 34.0, 36.0, 38.0], dry),
            middle,
            three,
            TURF,
            "12 %",
            start="readings",
        ),
        "from a calibration": learned,
        "fresh: two systems, 6 forecasts": of(
            survey_of([26.0, 29.0, 35.0, 40.0]),
            [
                sw.TwoComponent(0.04, 0.40, alpha, 3.2, 0.15, 0.006, 1.5, 35.0)
                for alpha in np.linspace(0.033, 0.041, 30).tolist()
            ],
            [sw.steady_weather(9, et) for et in np.linspace(4.0, 6.0, 6).tolist()],
            TURF,
            "13 %",
            base_suction=("4 cm", "12 cm"),
        ),
        "fresh: damp, from readings": of(
            survey_of([27.0, 31.0, 35.0, 39.0], [0.185, 0.172, 0.16, 0.15]),
            fine,
            [sw.steady_weather(6, et) for et in (3.5, 4.5, 5.0, 5.5)],
            TURF,
            "12 %",
            start="readings",
            largest_amount="8 mm",
        ),
        "fresh: from a calibration": learned_again,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("green", nargs="?", default="", help="part of the name of a green")
    parser.add_argument("--seeds", type=int, default=6, help="how many seeds")
    given = parser.parse_args()
    for name, plan_of in greens().items():
        if given.green not in name:
            continue
        plans = [plan_of(seed) for seed in range(given.seeds)]
        amounts = np.array([[sum(w.amount for w in s.waterings) for s in p.spots] for p in plans])
        amounts = np.column_stack([amounts, amounts.sum(axis=1)])
        mean = np.maximum(amounts.mean(axis=0), 1e-9)
        spread, ends = amounts.std(axis=0, ddof=1) / mean, np.ptp(amounts, axis=0) / mean
        print(f"{name}: mean and sd [mm], sd/mean, range/mean, outcomes")
        for i, what in enumerate([*(s.spot.name for s in plans[0].spots), "together"]):
            said = Counter(p.spots[i].outcome for p in plans) if i < len(plans[0].spots) else {}
            told = ", ".join(f"{outcome} {count}" for outcome, count in said.items())
            print(
                f"  {what:9s} {mean[i]:6.1f} {spread[i] * mean[i]:5.2f} {spread[i]:6.3f} "
                f"{ends[i]:6.3f} {told}",
                flush=True,
            )


if __name__ == "__main__":
    main()
