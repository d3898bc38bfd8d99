"""Write the numbers of the performance page: what things cost on this machine, with its date.

    python benchmarks/performance.py        writes benchmarks/performance.json

Each time is the least of several, after everything has been compiled: on a shared machine the least
is what the code takes, and the rest is what the neighbours take.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

import soilwater as sw
from soilwater.runs.processors import processors

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0, name="middle mix")
GREEN = sw.Profile.over_gravel(SAND, "12 in")
TURF = sw.Turf.creeping_bentgrass()
FORTNIGHT = sw.steady_weather(14, 5.0)
LAB = sw.RetentionTable([10, 20, 30, 40], [0.377, 0.288, 0.192, 0.142], porosity=0.40, k_sat=38.0)
TARGET = Path(__file__).with_suffix(".json")


def least(run: Callable[[], Any], times: int = 5) -> float:
    """Least wall-clock time of several runs [s]."""
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begin)
    return min(taken)


def people(seconds: float) -> str:
    return f"{1000 * seconds:.0f} ms" if seconds < 1.0 else f"{seconds:.1f} s"


def depths(n_threads: int) -> Any:
    return sw.compare_depths(
        GREEN,
        np.linspace(25.0, 50.0, 200),
        FORTNIGHT,
        turf=TURF,
        output="24 h",
        n_threads=n_threads,
    )


def season() -> Any:
    rule = sw.Rule("4 mm", "16 %", rod="3 in", rate="15 mm/h")
    return sw.simulate(GREEN, sw.steady_weather(120, 5.0), turf=TURF, rules=[rule], output="24 h")


FIRST_RUN = """
import time
begin = time.perf_counter()
import soilwater as sw
imported = time.perf_counter()
sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
green = sw.Profile.over_gravel(sand, "12 in")
sw.simulate(green, sw.steady_weather(14, 5.0), turf=sw.Turf(10.0))
print(imported - begin, time.perf_counter() - imported)
"""


def first_runs() -> list[tuple[str, float]]:
    """The first run of a process without and with kernels on disk, its import included."""
    rows = []
    # xarray imports dask wherever it is installed, and with it half a second of others.
    beside = ", dask installed" if find_spec("dask") else ""
    with tempfile.TemporaryDirectory() as cache:
        for what, times in (("nothing compiled yet", 1), ("kernels in the cache", 5)):
            parts = []
            for _ in range(times):
                told = subprocess.run(
                    [sys.executable, "-c", FIRST_RUN],
                    env={**os.environ, "NUMBA_CACHE_DIR": cache},
                    capture_output=True,
                    check=True,
                    text=True,
                )
                parts.append([float(each) for each in told.stdout.split()])
            imported, run = min(parts, key=sum)
            words = f"`import soilwater` {imported:.1f} s, run {run:.1f} s{beside}"
            rows.append((f"first run of a process, {what} ({words})", imported + run))
    return rows


def processor_name() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        return next(line.split(":")[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor() or platform.machine()


def main() -> None:
    busy = os.getloadavg()[0]
    drained = {"turf": TURF, "start": "drained", "output": "1 h"}
    run = sw.simulate(GREEN, FORTNIGHT, **drained)
    rows = [
        *first_runs(),
        (
            f"14 days of drying, 12 in of sand, hourly results ({int(run.steps)} steps)",
            least(lambda: sw.simulate(GREEN, FORTNIGHT, **drained), 10),
        ),
        (
            "the same from saturation",
            least(lambda: sw.simulate(GREEN, FORTNIGHT, turf=TURF, output="1 h"), 10),
        ),
        ("200 depths x 14 days, one thread", least(lambda: depths(1), 3)),
        (f"200 depths x 14 days, {processors()} threads", least(lambda: depths(processors()), 3)),
        ("a season of 120 days with a rule that reads the meter every night", least(season, 3)),
        ("fit of four lab points with its sample", least(lambda: LAB.fit(sw.VanGenuchten), 3)),
    ]
    report = {
        "date": date.today().isoformat(),
        "machine": f"{processor_name()}, {processors()} processors",
        "software": f"Python {platform.python_version()}, numpy {version('numpy')}, "
        f"numba {version('numba')}, soilwater {sw.__version__}",
        "load": f"The load was {busy:.1f} when it began.",
        "rows": [{"what": what, "time": people(seconds)} for what, seconds in rows],
    }
    TARGET.write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(report, indent=2))


if __name__ == "__main__":
    main()
