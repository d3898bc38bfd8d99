"""How often the band of a fitted sand holds the truth.

Two hundred random sands are measured at the four usual suctions with a lab error of 1 % by volume
(standard deviation) and fitted. For each the 90 % band of the drained surface reading (mean of the
top 7.6 cm of a level profile at rest, 3 cm of suction left at the base) is compared with the
reading of the true sand, for root zones of 30, 38 and 46 cm.

Run with ``python benchmarks/fit_coverage.py [number of sands]``. The truth is drawn uniformly from
the range that in-spec and out-of-spec root-zone sands cover, not from the fit's own expectations.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from soilwater.lab.retention import LAB_ERROR, USUAL_SUCTIONS, RetentionTable
from soilwater.soils import VanGenuchten
from soilwater.words.errors import InputError

DEPTHS = (30.0, 38.0, 46.0)
ROD = 7.6
BASE_SUCTION = 3.0
LEVEL = 0.9
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)


def random_sand(rng: np.random.Generator) -> VanGenuchten:
    """A sand of the kind that is sent to a lab for a green, good or bad."""
    return VanGenuchten(
        theta_r=rng.uniform(0.01, 0.08),
        theta_s=rng.uniform(0.35, 0.45),
        alpha=float(np.exp(rng.uniform(np.log(0.024), np.log(0.06)))),
        n=rng.uniform(2.0, 6.6),
        k_sat=40.0,
    )


def reading(soil: VanGenuchten, depth: float) -> float:
    """Mean water content of the top `ROD` cm at rest over a base at `BASE_SUCTION`."""
    suction = BASE_SUCTION + depth - 0.5 * ROD * (1.0 + _NODES)
    return float(0.5 * _WEIGHTS @ soil.water_content(suction))


def measured(soil: VanGenuchten, rng: np.random.Generator, **known: float) -> RetentionTable:
    """What the lab reports; a sheet that rises too much to be believed is measured again."""
    suction = np.array(USUAL_SUCTIONS)
    while True:
        noisy = soil.water_content(suction) + LAB_ERROR * rng.standard_normal(suction.size)
        try:
            return RetentionTable(suction, noisy, k_sat=40.0, **known)
        except InputError:
            continue


def coverage(count: int, *, porosity_known: bool, seed: int = 20250701) -> np.ndarray:
    """Share of sands covered, mean band width and mean error, one row per depth."""
    rng = np.random.default_rng(seed)
    inside, width, error = (np.zeros((count, len(DEPTHS))) for _ in range(3))
    for i in range(count):
        truth = random_sand(rng)
        known = {"porosity": truth.theta_s + LAB_ERROR * rng.standard_normal()}
        fit = measured(truth, rng, **(known if porosity_known else {})).fit(VanGenuchten, seed=i)
        readings = np.array([[reading(soil, d) for d in DEPTHS] for soil in fit.samples()])
        low, middle, high = np.quantile(readings, [0.5 - LEVEL / 2, 0.5, 0.5 + LEVEL / 2], axis=0)
        true = np.array([reading(truth, d) for d in DEPTHS])
        inside[i] = (low <= true) & (true <= high)
        width[i], error[i] = high - low, middle - true
    return np.column_stack(
        [inside.mean(axis=0), width.mean(axis=0), error.mean(axis=0), error.std(axis=0)]
    )


def main(count: int = 200) -> None:
    for known in (False, True):
        started = time.perf_counter()
        rows = coverage(count, porosity_known=known)
        print(
            f"{count} sands, porosity {'on the sheet' if known else 'not on the sheet'} "
            f"({time.perf_counter() - started:.0f} s)"
        )
        print("depth (cm)  covered (%)  band width (% by volume)  median - truth: mean, sd (%)")
        for depth, (covered, width, mean, spread) in zip(DEPTHS, rows, strict=True):
            print(
                f"{depth:10.0f}  {100 * covered:11.1f}  {100 * width:24.2f}  "
                f"{100 * mean:+22.2f}, {100 * spread:.2f}"
            )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
