"""Measure what people wait for beside its goal; writes benchmarks/goals.json.

    python benchmarks/goals.py                     all but the stream, some minutes
    python benchmarks/goals.py --stream 100000     columns streamed to disk too, and their memory

Goals were set in seconds of one quiet processor, and a shared one may run at half that speed. Each
time is therefore processor time, measured between turns of a plain busy loop: what is held against
the goal is the least of several rounds divided by the least of the loop's, times what the loop
takes on the quiet machine. Of gains of a second thread, and of shares that hold the interpreter,
the median counts. Beside each stands how much slower the loop was at its best and at its worst:
where the best is much above 1, a neighbour took a share that the loop need not have felt as much,
and the figure cannot be trusted.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from functools import partial
from importlib.metadata import version
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import numpy as np
from batch import gain_of_two_busy_loops
from performance import GREEN, TURF, processor_name

import soilwater as sw
from soilwater.ground import gravel_drainage
from soilwater.runs import batch, layout, packing, scheduling
from soilwater.runs.processors import processors
from soilwater.soils import kernel_table
from soilwater.soils.kernel_table import stack_tables

TARGET = Path(__file__).with_suffix(".json")
LOOP = """
def loop():
    for _ in range(3_000_000):
        pass
"""
QUIET = 0.047
"""What the busy loop takes alone on the machine the goals were set on [s]."""
LOOPS: list[float] = []
"""What the loop took since the last row was told, as a multiple of that."""
REAL_CORE = 1.7
"""Gain of two busy loops below which the second core is not there."""
SWEEPING: tuple[Any, ...] = (batch, gravel_drainage, layout, packing)
SWEEPS = ("cumsum", "full", "isnan", "maximum", "multiply", "negative", "where")
"""What of numpy is counted as letting the interpreter go, in these modules: watched while it does.
`repeat` and `tile` do not; what else may is counted as held."""
LONG_SWEEP = 5_000
"""Numbers beyond which what is held of a sweep is next to none of it; numpy lets go from 500 on."""
FORTNIGHT = sw.steady_weather(14, 5.0)
PLANNED = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
"""The turf of plans."""
DAILY = {"turf": TURF, "start": "drained", "output": "24 h"}


def busy() -> float:
    """Processor time of the busy loop [s]."""
    made: dict[str, Any] = {}
    exec(LOOP, made)
    begin = time.process_time()
    made["loop"]()
    taken = time.process_time() - begin
    LOOPS.append(taken / QUIET)
    return taken


def quiet_seconds(run: Callable[[], Any], rounds: int = 3, times: int = 1) -> float:
    """Processor time of a call on the quiet machine [s], by the loop beside it."""
    taken, loops = [], [busy()]
    for _ in range(rounds):
        begin = time.process_time()
        for _ in range(times):
            run()
        taken.append((time.process_time() - begin) / times)
        loops.append(busy())
    return QUIET * min(taken) / min(loops)


def models(count: int) -> dict[str, list[Any]]:
    """Soils of each model, no two alike."""
    alpha = np.linspace(0.03, 0.06, count)
    sands = [sw.VanGenuchten(0.05, 0.40, a, 3.0, 40.0) for a in alpha]
    return {
        "van Genuchten": sands,
        "Brooks-Corey": [sw.BrooksCorey(0.05, 0.40, 1.0 / a, 1.5, 40.0) for a in alpha],
        "Kosugi": [sw.Kosugi(0.05, 0.40, 1.0 / a, 0.5, 40.0) for a in alpha],
        "two systems": [sw.TwoComponent(0.05, 0.40, a, 3.0, 0.2, 0.005, 1.5, 40.0) for a in alpha],
        "with a dry end": [sw.WithDryEnd(each) for each in sands],
    }


def ensemble(n: int, n_threads: int) -> Any:
    """A fortnight of sands that all differ."""
    rng = np.random.default_rng(1)
    drawn = zip(rng.uniform(0.03, 0.06, n), rng.uniform(2.5, 4.0, n), strict=True)
    sands = [sw.VanGenuchten(0.05, 0.40, alpha, m, 40.0) for alpha, m in drawn]
    return sw.simulate_ensemble(GREEN, FORTNIGHT, sand=sands, n_threads=n_threads, **DAILY)


def depths(n: int) -> Any:
    return sw.compare_depths(GREEN, np.linspace(25.0, 60.0, n), FORTNIGHT, n_threads=1, **DAILY)


def green_of_twenty(
    rng: np.random.Generator, read: dict[np.datetime64, float]
) -> tuple[sw.Survey, Any]:
    """Twenty spots and a fit of their sand; at what times one of 30 cm reads how much."""
    fit = sw.RetentionTable(
        [10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], k_sat="28 cm/h", porosity=0.42
    ).fit(sw.VanGenuchten)
    deep = np.clip(rng.normal(34.0, 5.0, 20), 26.0, 47.0)
    spots = [
        sw.Spot(
            f"S{i}",
            float(depth),
            area="50 ft2",
            readings=[
                sw.Reading(
                    level - 0.005 * (depth - 30.0) + 0.01 * rng.standard_normal(),
                    rod="3 in",
                    time=time,
                )
                for time, level in read.items()
            ],
        )
        for i, depth in enumerate(deep)
    ]
    return sw.Survey(spots, name="Hollin Moor, green 5"), fit


def plan(start: str = "drained") -> Any:
    """A plan for twenty spots, all of which need water every day where they start as read."""
    rng = np.random.default_rng(7)
    first_day = sw.steady_weather(1, 5.0).start
    green, fit = green_of_twenty(rng, {first_day: 0.19} if start == "readings" else {})
    weather = [sw.steady_weather(10, float(et)) for et in rng.normal(5.0, 0.7, 20)]
    return sw.hand_water_plan(
        green,
        fit,
        weather,
        PLANNED,
        "12 %",
        flow="15 gpm",
        rod="3 in",
        start=start,
        draws=100,
        n_threads=1,
    )


def planner_from_a_calibration() -> Callable[[], Any]:
    """Learn twenty spots from three mornings, and give what plans from that."""
    days = np.datetime64("2025-07-02T06:00") + np.arange(3) * np.timedelta64(1, "D")
    read = dict(zip(days, (0.21, 0.18, 0.155), strict=True))
    green, fit = green_of_twenty(np.random.default_rng(7), read)
    past = sw.steady_weather(4, 5.0, first_day="2025-07-01")
    learnt = sw.calibrate(green, fit, past, PLANNED, soaked=past.start, irrigation=(), n_threads=1)
    ahead = [sw.steady_weather(8, et, first_day="2025-07-04") for et in (4.0, 5.0, 6.5)]
    return lambda: sw.hand_water_plan(
        green, fit, ahead, PLANNED, "9 %", rod="3 in", calibration=learnt, n_threads=1
    )


def learn() -> Any:
    """Learn a green of 12 spots from 5 visits."""
    rng = np.random.default_rng(7)
    fit = sw.RetentionTable(
        [10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], k_sat="28 cm/h", porosity=0.42
    ).fit(sw.VanGenuchten)
    days = np.datetime64("2025-07-02T06:00") + np.arange(0, 10, 2) * np.timedelta64(1, "D")
    usual = np.array([0.20, 0.16, 0.13, 0.11, 0.10])
    spots = [
        sw.Spot(
            f"S{i}",
            float(depth),
            readings=[
                sw.Reading(value, rod="3 in", time=day)
                for value, day in zip(usual + 0.02 * rng.standard_normal(5), days, strict=True)
            ],
        )
        for i, depth in enumerate(rng.uniform(26.0, 42.0, 12))
    ]
    return sw.calibrate(
        sw.Survey(spots), fit, FORTNIGHT, TURF, soaked=FORTNIGHT.start, irrigation=(), n_threads=1
    )


def film() -> Any:
    """A time-lapse of 33 pictures."""
    run = sw.simulate(GREEN, sw.steady_weather(8, 5.0), turf=TURF, output="6 h")
    with tempfile.TemporaryDirectory() as folder:
        return sw.plot.animate_dry_down(run, Path(folder, "dry.gif"), rod="3 in")


def share_under_the_lock(n: int, threads: int = 1) -> float:
    """Share of an ensemble's processor time that holds the interpreter.

    All but what is compiled, numpy's sweeps over the arrays of a whole group, which let the
    interpreter go, and what it takes a thread to wait and wake. What it takes to enter what is
    compiled is held, too: a call that finds nothing to do, where caches are as cold as they are,
    stands for it. On one thread, in pieces as so many threads would be given.
    """
    free = 0.0
    usual, queue = scheduling.piece_sizes, scheduling.SimpleQueue
    march, sweeps = batch.entry_points.march_columns, sw.VanGenuchten._water_content
    tables, *others = kernel_table._MODELS[sw.VanGenuchten]

    def counted(run: Callable[..., Any], *given: Any) -> Any:
        nonlocal free
        # Of its own thread: the next columns are prepared meanwhile, with the interpreter held.
        begin = time.thread_time()
        made = run(*given)
        free += time.thread_time() - begin
        return made

    def marched(first: int, last: int, packed: Any) -> None:
        march(first, first, packed)
        counted(march, first, last, packed)

    def tabulated(rows: Any, places: Any, *more: Any) -> None:
        tables(rows[:0], places[:0], *more)
        counted(tables, rows, places, *more)

    class Sweeping:
        def __getattr__(self, name: str) -> Any:
            found = getattr(np, name)
            return partial(swept, found) if name in SWEEPS else found

    def swept(run: Callable[..., Any], *given: Any, **named: Any) -> Any:
        nonlocal free
        begin = time.thread_time()
        made = run(*given, **named)
        # A short one keeps the interpreter, and so does one over objects.
        if made.size >= LONG_SWEEP and made.dtype != object:
            free += time.thread_time() - begin
        return made

    class Waited(SimpleQueue[Any]):
        def get(self, *given: Any, **named: Any) -> Any:
            return counted(partial(super().get, *given, **named))

    def as_on_threads(count: int, left: int, total: int, _: int, most: int) -> list[int]:
        return usual(count, left, total, threads, most)

    scheduling.piece_sizes, scheduling.SimpleQueue = as_on_threads, Waited
    for module in SWEEPING:
        module.np = Sweeping()
    batch.entry_points.march_columns = marched
    kernel_table._MODELS[sw.VanGenuchten] = (tabulated, *others)
    sw.VanGenuchten._water_content = lambda *given: counted(sweeps, *given)
    try:
        begin = time.process_time()
        ensemble(n, 1)
        return 1.0 - free / (time.process_time() - begin)
    finally:
        scheduling.piece_sizes, scheduling.SimpleQueue = usual, queue
        for module in SWEEPING:
            module.np = np
        batch.entry_points.march_columns = march
        kernel_table._MODELS[sw.VanGenuchten] = (tables, *others)
        sw.VanGenuchten._water_content = sweeps


def gains(n: int, rounds: int) -> tuple[float, float]:
    """What a second thread gains for an ensemble, and a second process for a busy loop."""
    ours, loops = [], []
    for _ in range(rounds):
        loops.append(gain_of_two_busy_loops())
        begin = time.perf_counter()
        ensemble(n, 1)
        middle = time.perf_counter()
        ensemble(n, 2)
        ours.append((middle - begin) / (time.perf_counter() - middle))
    return float(np.median(ours)), float(np.median(loops))


FIRST_RUN = f"""
import time
{LOOP}
begin = time.process_time()
loop()
before = time.process_time() - begin
import numba, xarray, pandas
begin = time.process_time()
import soilwater as sw
imported = time.process_time()
sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
sw.simulate(sw.Profile.over_gravel(sand, "12 in"), sw.steady_weather(14, 5.0), turf=sw.Turf(10.0))
ran = time.process_time()
loop()
after = time.process_time() - ran
beside = 0.5 * (before + after)
print((imported - begin) / beside, (ran - imported) / beside, before, after)
"""


def first_runs(times: int) -> tuple[float, float]:
    """Quiet seconds of the import beyond numba, xarray and pandas, and of the run that compiles.

    Only the process that is waited for counts: a second one works for it meanwhile, if it can.
    """
    found = []
    # Compiled Python may be kept, as it is for everybody else.
    usual = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(times):
            told = subprocess.run(
                [sys.executable, "-c", FIRST_RUN],
                env={**usual, "NUMBA_CACHE_DIR": folder},
                capture_output=True,
                check=True,
                text=True,
            )
            imported, ran, *loops = (float(each) for each in told.stdout.split())
            found.append([QUIET * imported, QUIET * ran])
            LOOPS.extend(each / QUIET for each in loops)
    return min(each[0] for each in found), found[0][1]


def streamed(n: int) -> float:
    """Largest memory of a process that streams columns to disk [GB]."""
    told = subprocess.run(
        [sys.executable, Path(__file__).with_name("batch.py"), "--stream", str(n)],
        capture_output=True,
        check=True,
        text=True,
    )
    found = re.search(r"largest memory ([\d.]+) GB", told.stdout)
    assert found is not None, told.stdout
    return float(found[1])


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--stream", type=int, default=0, help="columns to stream to disk")
    given = parser.parse_args()
    rows: list[dict[str, str]] = []

    def add(
        what: str, found: float, goal: float, unit: str, *, least: bool = False, sure: bool = True
    ) -> None:
        met = found >= goal if least else found <= goal
        row = {
            "what": what,
            "measured": f"{found:.2g} {unit}".strip(),
            "goal": f"{'at least' if least else 'at most'} {goal:g} {unit}".strip(),
            "met": ("yes" if met else "no") if sure else "cannot tell",
            "loop": f"{min(LOOPS):.1f}-{max(LOOPS):.1f}" if LOOPS else "",
        }
        LOOPS.clear()
        print(row, flush=True)
        rows.append(row)

    imported, compiled = first_runs(2)
    beside_first = list(LOOPS)
    add("`import soilwater` beyond numba, xarray and pandas", imported, 0.1, "s")
    LOOPS.extend(beside_first)
    add("first run ever, one column, compiling", compiled, 8.0, "s")
    for name, soils in models(100).items():
        stack_tables(soils[:1])
        table = 10.0 * quiet_seconds(partial(stack_tables, soils), 5)
        add(f"table of a soil, {name}", table, 0.1, "ms")
    hourly = partial(sw.simulate, GREEN, FORTNIGHT, turf=TURF, start="drained")
    add("`simulate`, 14 days hourly", 1000.0 * quiet_seconds(hourly, 10, 10), 4.0, "ms")
    add("1000 depths x 14 days", quiet_seconds(partial(depths, 1000), 10), 0.8, "s")
    add("1500 distinct sands x 14 days", quiet_seconds(partial(ensemble, 1500, 1), 10), 1.5, "s")
    # One count in six or so meets a full collection of garbage, which looks through all that the
    # process ever made, and is nobody's share in particular.
    held = float(np.median([share_under_the_lock(1500, 16) for _ in range(5)]))
    ours, loops = gains(1500, 2)
    two = loops >= REAL_CORE
    core = "" if two else " (the second core is not there)"
    beside = f"gain of 2 threads, beside {loops:.2f} of two busy loops{core}"
    add(beside, ours / loops, 0.9, "", least=True, sure=two)
    add(
        f"most that 16 threads can gain beside 16, {100.0 * held:.0f} % under the lock",
        1.0 / (16.0 * held + 1.0 - held),
        0.75,
        "",
        least=True,
    )
    add("plan for 20 spots, 100 draws, checked on 100", quiet_seconds(plan, 1), 10.0, "s")
    read = quiet_seconds(partial(plan, "readings"), 1)
    add("the same from readings, all of them in need", read, 10.0, "s")
    learnt = quiet_seconds(planner_from_a_calibration(), 1)
    add("plan for 20 spots from a calibration, its usual draws", learnt, 10.0, "s")
    learn()
    add("calibration of 12 spots, 5 visits", quiet_seconds(learn, 2), 10.0, "s")
    film()
    add("time-lapse, 33 pictures", quiet_seconds(film, 2), 8.0, "s")
    if given.stream:
        add(f"memory of {given.stream} columns streamed", streamed(given.stream), 1.0, "GB")
    report = {
        "date": date.today().isoformat(),
        "machine": f"{processor_name()}, {processors()} processors",
        "software": f"Python {platform.python_version()}, numba {version('numba')}, "
        f"soilwater {sw.__version__}",
        "load": f"{os.getloadavg()[1]:.1f}",
        "slower": f"{busy() / QUIET:.1f}",
        "rows": rows,
    }
    TARGET.write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
