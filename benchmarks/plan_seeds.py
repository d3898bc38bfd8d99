"""How far amounts of hand water move with the seed of the draws, on greens of three kinds.

python benchmarks/plan_seeds.py              three greens, six seeds, some minutes
python benchmarks/plan_seeds.py --seeds 3
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

import soilwater as sw

TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
MIX = sw.VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)


def greens() -> dict[str, tuple[list[float], object, list[sw.Weather], str]]:
    """Depths [cm], sand, weather and the line of each green."""
    fine = sw.RetentionTable(
        [10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], k_sat="28 cm/h", porosity=0.42
    )
    coarse = sw.RetentionTable(
        [10, 20, 30, 40, 60], [0.39, 0.30, 0.20, 0.14, 0.10], k_sat="40 cm/h", porosity=0.41
    )
    twenty = [sw.steady_weather(10, et) for et in np.linspace(3.8, 6.2, 20).tolist()]
    alike = [replace(MIX, alpha=alpha) for alpha in np.linspace(0.036, 0.042, 40).tolist()]
    return {
        "a fit, 20 forecasts": (
            [30.0, 33.0, 36.0, 39.0, 42.0, 45.0],
            fine.fit(sw.VanGenuchten),
            twenty,
            "12 %",
        ),
        "40 sands, 38-46 cm": (
            [38.0, 41.0, 43.0, 46.0],
            alike,
            [sw.steady_weather(7, 5.5)],
            "12 %",
        ),
        "shallow, 3 forecasts": (
            [22.0, 25.0, 28.0, 31.0],
            coarse.fit(sw.VanGenuchten),
            [sw.steady_weather(7, et) for et in (4.0, 5.0, 6.5)],
            "11 %",
        ),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", type=int, default=6, help="how many seeds")
    seeds = range(parser.parse_args().seeds)
    for name, (depths, sand, weather, line) in greens().items():
        survey = sw.Survey([sw.Spot(f"{depth:g} cm", depth) for depth in depths])
        plans = [
            sw.hand_water_plan(survey, sand, weather, TURF, line, rod="3 in", seed=seed)
            for seed in seeds
        ]
        amounts = np.array([[sum(w.amount for w in s.waterings) for s in p.spots] for p in plans])
        held = np.array([[spot.held for spot in plan.spots] for plan in plans])
        amounts = np.column_stack([amounts, amounts.sum(axis=1)])
        mean = amounts.mean(axis=0)
        spread, ends = amounts.std(axis=0, ddof=1) / mean, np.ptp(amounts, axis=0) / mean
        print(f"{name}: mean [mm], sd/mean, range/mean, held in")
        for i, what in enumerate([*(s.spot.name for s in plans[0].spots), "together"]):
            kept = f"{held[:, i].sum()} of {len(plans)}" if i < len(depths) else ""
            print(f"  {what:9s} {mean[i]:6.1f} {spread[i]:6.3f} {ends[i]:6.3f} {kept}", flush=True)


if __name__ == "__main__":
    main()
