"""How a batch scales: cost a column, what a second thread gains, and a very large batch on disk.

    python benchmarks/batch.py                     1000 depths x 14 days
    python benchmarks/batch.py --stream 100000     columns x 14 days streamed to zarr

A shared machine may give less than the processors it shows. The gain of a second thread is
therefore printed beside the gain of a second plain busy loop, measured in turn with it.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import soilwater as sw
from soilwater.runs.store import open_store

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0, name="invented sand")
GREEN = sw.Profile.over_gravel(SAND, 30.0)
TURF = sw.Turf(10.0)
WEATHER = sw.steady_weather(14, 5.0)
ROUNDS = 7
LOOP = "import time; b = time.process_time()\nfor i in range(20_000_000): pass\n"


def seconds_of(work) -> tuple[float, float]:
    """Wall and processor time [s]."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def gain_of_two_busy_loops() -> float:
    """How much more two plain processes do in the time of one."""

    def wall(n: int) -> float:
        begin = time.perf_counter()
        running = [subprocess.Popen([sys.executable, "-c", LOOP]) for _ in range(n)]
        for each in running:
            each.wait()
        return time.perf_counter() - begin

    return 2.0 * wall(1) / wall(2)


def depths(n: int, n_threads: int):
    return sw.compare_depths(
        GREEN,
        np.linspace(25.0, 60.0, n),
        WEATHER,
        turf=TURF,
        start="drained",
        output="24 h",
        n_threads=n_threads,
    )


def compare_threads(n: int) -> None:
    run = depths(n, 1)
    ours, loops, taken = [], [], []
    for _ in range(ROUNDS):
        loops.append(gain_of_two_busy_loops())
        wall_1, cpu_1 = seconds_of(lambda: depths(n, 1))
        wall_2, _ = seconds_of(lambda: depths(n, 2))
        ours.append(wall_1 / wall_2)
        taken.append((wall_1, wall_2, cpu_1))
    wall_1, wall_2, cpu_1 = np.min(taken, axis=0)

    def told(gains: list[float]) -> str:
        return f"{np.median(gains):.2f} ({min(gains):.2f}-{max(gains):.2f})"

    print(f"{n} depths of 25-60 cm x 14 days, daily output; {ROUNDS} rounds, least times")
    print(f"  failed               {int((run.status != 0).sum())}")
    print(f"  steps a column       {float(run.steps.mean()):.0f}")
    print(f"  1 thread             {wall_1:.2f} s wall, {cpu_1:.2f} s processor time")
    print(f"  2 threads            {wall_2:.2f} s wall")
    print(f"  gain of 2 threads    {told(ours)}: median, least and most")
    print(f"  gain of 2 busy loops {told(loops)}")


def stream(n: int, n_threads: int) -> None:
    rng = np.random.default_rng(1)
    thickness, alpha = rng.uniform(25.0, 60.0, n), rng.uniform(0.03, 0.06, 40)
    sands = [sw.VanGenuchten(0.05, 0.40, a, 3.0, 40.0) for a in alpha]
    cases = (
        sw.Case(sw.Profile.over_gravel(sands[i % 40], t), WEATHER, turf=TURF, start="drained")
        for i, t in enumerate(thickness)
    )
    folder = Path(tempfile.mkdtemp())
    path = folder / "columns.zarr"

    def memory() -> float:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0**2

    begin, told = time.perf_counter(), 0.0

    def tell(done: int, total: int) -> None:
        nonlocal told
        if time.perf_counter() - told > 30.0:
            told = time.perf_counter()
            print(f"  {done:7d} of {total}, {told - begin:6.0f} s, {memory():.2f} GB", flush=True)

    try:
        wall, cpu = seconds_of(
            lambda: sw.simulate_many(
                cases, output="24 h", store=path, n_threads=n_threads, progress=tell
            )
        )
        size = sum(each.stat().st_size for each in path.rglob("*") if each.is_file()) / 1024.0**3
        failed = int((open_store(path).status != 0).sum())
        print(f"{n} columns x 14 days, daily output of every variable, {n_threads} threads")
        print(f"  {wall:.0f} s wall, {cpu:.0f} s processor time, {failed} failed")
        print(f"  largest memory {memory():.2f} GB, on disk {size:.2f} GB")
    finally:
        shutil.rmtree(folder)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--columns", type=int, default=1000)
    parser.add_argument("--stream", type=int, default=0, help="columns to stream to zarr")
    parser.add_argument("--threads", type=int, default=2)
    given = parser.parse_args()
    if given.stream:
        stream(given.stream, given.threads)
    else:
        compare_threads(given.columns)


if __name__ == "__main__":
    main()
