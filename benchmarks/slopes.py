"""How cost grows with nodes, days and columns: processor time, and the work counted beside it.

    python benchmarks/slopes.py        writes benchmarks/slopes.json

The work is the number of Newton iterations times the nodes of their column: it does not depend on
the machine or its neighbours. A slope is that of logarithm over logarithm; 1 is linear. Time is
the least of several runs, and that of the whole call: checks, meshes and labelled results included.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

import soilwater as sw

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0, name="middle mix")
GREEN = sw.Profile.over_gravel(SAND, "12 in")
TURF = sw.Turf(10.0)
FORTNIGHT = sw.steady_weather(14, 5.0)
ALIKE = 20
"""Columns of one kind a call: one alone takes hardly longer than its labels do."""
TARGET = Path(__file__).with_suffix(".json")


def work_of(run: xr.Dataset) -> float:
    """Newton iterations times the nodes of their column."""
    node = "node_depth" if "node_depth" in run.dims else "node"
    return float((run.newton_iterations * run.node_depth.notnull().sum(node)).sum())


def over_nodes(refinement: float) -> tuple[float, xr.Dataset]:
    case = sw.Case(GREEN, FORTNIGHT, turf=TURF, start="drained")
    run = sw.simulate_many([case] * ALIKE, output="24 h", refinement=refinement, n_threads=1)
    return run.sizes["node_depth"], run


def over_days(days: int) -> tuple[float, xr.Dataset]:
    """Watered every night, so that a later day costs what an earlier one does."""
    weather = sw.steady_weather(days, 5.0)
    nights = weather.start + np.arange(days) * np.timedelta64(1, "D") + np.timedelta64(4, "h")
    water = [sw.Event(night, 5.0, rate=20.0) for night in nights]
    case = sw.Case(GREEN, weather, turf=TURF, start="drained", irrigation=water)
    run = sw.simulate_many([case] * ALIKE, output="24 h", n_threads=1)
    return days, run


def over_columns(n: int) -> tuple[float, xr.Dataset]:
    depths = np.linspace(25.0, 60.0, n)
    run = sw.compare_depths(
        GREEN, depths, FORTNIGHT, turf=TURF, start="drained", output="24 h", n_threads=1
    )
    return n, run


def least(run: Callable[[], Any], times: int) -> float:
    """Least processor time of several runs [s]."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        run()
        taken.append(time.process_time() - begin)
    return min(taken)


def slope(sizes: list[float], costs: list[float]) -> float:
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def measure(
    what: str, call: Callable[[Any], tuple[float, xr.Dataset]], settings: list[Any], times: int
) -> dict[str, Any]:
    sizes, seconds, work = [], [], []
    for setting in settings:
        size, run = call(setting)
        sizes.append(size)
        work.append(work_of(run))
        seconds.append(least(lambda setting=setting: call(setting), times))
    return {
        "what": what,
        "sizes": sizes,
        "seconds": [round(each, 5) for each in seconds],
        "work": [round(each) for each in work],
        "slope_of_time": round(slope(sizes, seconds), 2),
        "slope_of_work": round(slope(sizes, work), 2),
    }


def main() -> None:
    rows = [
        measure("nodes of a column", over_nodes, [1.0, 2.0, 4.0, 8.0, 16.0], 7),
        measure("days", over_days, [15, 30, 60, 120, 240], 7),
        measure("columns", over_columns, [125, 250, 500, 1000, 2000], 3),
    ]
    report = {"date": date.today().isoformat(), "rows": rows}
    TARGET.write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(report, indent=2))


if __name__ == "__main__":
    main()
