"""How long the decisions for one green take: diagnosis, dry-down outlook and hand-water plan.

A green of 25 spots, a fitted sand with 200 posterior samples, 10 days of weather. Times are wall
clock and processor seconds after everything has been compiled; on a shared machine look at the
latter. Run with ``python benchmarks/decision_speed.py [weather members]``.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.turf import Turf
from soilwater.lab.retention import RetentionTable
from soilwater.soils import VanGenuchten
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.made import steady_weather


def timed(name: str, run: Callable[[], Any]) -> tuple[float, float]:
    wall, processor = time.perf_counter(), time.process_time()
    run()
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    print(f"{name:28s} {wall:6.1f} s wall {processor:6.1f} s processor")
    return wall, processor


def main(members: int = 1) -> None:
    rng = np.random.default_rng(7)
    depths = np.clip(rng.normal(34.0, 5.0, 25), 26.0, 47.0)
    fit = RetentionTable(
        [10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], k_sat="28 cm/h", porosity=0.42
    ).fit(VanGenuchten)
    spots = [
        Spot(
            f"S{i}",
            float(depth),
            readings=(
                Reading(float(0.30 - 0.007 * (depth - 25.0) + rng.normal(0, 0.025)), rod=7.6),
            ),
            area="50 ft2",
        )
        for i, depth in enumerate(depths)
    ]
    green = Survey(spots, name="Hollin Moor, green 5")
    turf = Turf("15 cm", fraction_above=(0.9, "10 cm"))
    weather = [steady_weather(10, float(et)) for et in rng.normal(5.0, 0.7, members)]
    lines = Thresholds("18 %", "14 %", "12 %")
    dry_down_outlook(green, fit, weather, turf, lines, draws=2)

    print(f"{len(os.sched_getaffinity(0))} processors, load {os.getloadavg()[0]:.1f}")
    parts = [
        timed("diagnosis", lambda: diagnose(green, fit)),
        timed("outlook", lambda: dry_down_outlook(green, fit, weather, turf, lines)),
        timed(
            "hand-water plan",
            lambda: hand_water_plan(green, fit, weather, turf, lines.wilt, flow="15 gpm"),
        ),
    ]
    wall, processor = (sum(values) for values in zip(*parts, strict=True))
    print(f"{'together':28s} {wall:6.1f} s wall {processor:6.1f} s processor")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
