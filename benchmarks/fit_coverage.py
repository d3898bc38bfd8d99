"""How often the band of a fitted sand holds the truth.

Random sands are measured at the four usual suctions with a lab error of 1 % by volume
(standard deviation) and fitted. For each the 90 % band of the drained surface reading (mean of the
top 7.6 cm of a level profile at rest, 3 cm of suction left at the base) is compared with the
reading of the true sand, for root zones of 30, 38, 46 and 60 cm.

Run with ``python benchmarks/fit_coverage.py [number of sands]``. The truth is drawn uniformly from
the range that in-spec and out-of-spec root-zone sands cover, not from the fit's own expectations,
and is of each family of curves in turn. Then the curve is van Genuchten's, and the shared error
that the fit is told grows from none to 1.5 % by volume (standard deviation): of sheets that have
none, where it only widens the band, and of sheets whose points are all off by the same amount.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import numpy as np

from soilwater.lab.fitting import FAMILIES
from soilwater.lab.retention import LAB_ERROR, SHEET_ERROR, RetentionTable
from soilwater.lab.retention_checks import USUAL_SUCTIONS
from soilwater.soils import BrooksCorey, Kosugi, TwoComponent, VanGenuchten
from soilwater.soils.model import SoilModel
from soilwater.soils.soil import Soil
from soilwater.words.errors import InputError

DEPTHS = (30.0, 38.0, 46.0, 60.0)
SHARED_BIAS = 0.015
TOLD = (0.0, SHEET_ERROR, 0.010, 0.0125, SHARED_BIAS)
"""Shared errors that fits are told [1]."""
ROD = 7.6
BASE_SUCTION = 3.0
LEVEL = 0.9
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)


def random_sand(family: type[SoilModel], rng: np.random.Generator) -> Any:
    """A sand of the kind that is sent to a lab for a green, good or bad."""
    low, high = rng.uniform(0.01, 0.08), rng.uniform(0.35, 0.45)
    alpha = float(np.exp(rng.uniform(np.log(0.024), np.log(0.06))))
    n = rng.uniform(2.0, 6.6)
    m = 1.0 - 1.0 / n
    # Where van Genuchten's curve has lost half its water, and -dS/d(ln h) there; the curves of the
    # other families have the same middle and the same slope.
    middle = (2.0 ** (1.0 / m) - 1.0) ** (1.0 / n) / alpha
    slope = 0.5 * (n - 1.0) * (1.0 - 0.5 ** (1.0 / m))
    if family is BrooksCorey:
        index = 2.0 * slope
        return BrooksCorey(low, high, middle * 0.5 ** (1.0 / index), index, 40.0)
    if family is Kosugi:
        return Kosugi(low, high, middle, 1.0 / (np.sqrt(2.0 * np.pi) * slope), 40.0)
    if family is TwoComponent:
        share, finer = rng.uniform(0.1, 0.4), rng.uniform(0.004, 0.012)
        return TwoComponent(low, high, alpha, n, share, finer, rng.uniform(1.5, 2.5), 40.0)
    return VanGenuchten(low, high, alpha, n, 40.0)


def readings(soil: Soil) -> np.ndarray:
    """Mean water content of the top `ROD` cm at rest over `BASE_SUCTION`, one for each depth."""
    suction = BASE_SUCTION + np.array(DEPTHS)[:, np.newaxis] - 0.5 * ROD * (1.0 + _NODES)
    return np.asarray(0.5 * soil.water_content(suction) @ _WEIGHTS)


def measured(
    soil: Soil, rng: np.random.Generator, bias: float = 0.0, sheet_error: float = SHEET_ERROR
) -> RetentionTable:
    """What the lab reports; a sheet that cannot be believed is measured again."""
    suction = np.array(USUAL_SUCTIONS)
    while True:
        noisy = soil.water_content(suction) + LAB_ERROR * rng.standard_normal(suction.size)
        try:
            noisy += bias * rng.standard_normal()
            return RetentionTable(suction, noisy, k_sat=40.0, sheet_error=sheet_error)
        except InputError:
            continue


def coverage(
    count: int,
    family: type[SoilModel] = VanGenuchten,
    *,
    bias: float = 0.0,
    sheet_error: float = SHEET_ERROR,
    one_family: bool = False,
    seed: int = 20250701,
) -> np.ndarray:
    """Share of sands covered, mean band width, mean error and its spread, one row per depth."""
    rng = np.random.default_rng(seed)
    inside, width, error = (np.zeros((count, len(DEPTHS))) for _ in range(3))
    for i in range(count):
        truth = random_sand(family, rng)
        fit = measured(truth, rng, bias, sheet_error).fit(
            VanGenuchten, seed=i, one_family=one_family
        )
        likely = np.array([readings(soil) for soil in fit.samples()])
        low, middle, high = np.quantile(likely, [0.5 - LEVEL / 2, 0.5, 0.5 + LEVEL / 2], axis=0)
        true = readings(truth)
        inside[i] = (low <= true) & (true <= high)
        width[i], error[i] = high - low, middle - true
    return np.column_stack(
        [inside.mean(axis=0), width.mean(axis=0), error.mean(axis=0), error.std(axis=0)]
    )


def main(count: int = 200) -> None:
    cases: list[tuple[str, dict[str, Any]]] = [
        *((family.__name__, {"family": family}) for family in FAMILIES),
        *(
            (
                f"sheet off by {100 * bias:g} %, told {100 * told:g} %",
                {"bias": bias, "sheet_error": told},
            )
            for told in TOLD
            for bias in (0.0, SHARED_BIAS)
            if bias or told != SHEET_ERROR
        ),
        ("VanGenuchten, sample of that family alone", {"one_family": True}),
    ]
    for name, case in cases:
        started = time.perf_counter()
        rows = coverage(count, **case)
        print(f"{count} sands, {name} ({time.perf_counter() - started:.0f} s)")
        print("depth (cm)  covered (%)  band width (% by volume)  median - truth: mean, sd (%)")
        for depth, (covered, width, mean, spread) in zip(DEPTHS, rows, strict=True):
            print(
                f"{depth:10.0f}  {100 * covered:11.1f}  {100 * width:24.2f}  "
                f"{100 * mean:+22.2f}, {100 * spread:.2f}"
            )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
