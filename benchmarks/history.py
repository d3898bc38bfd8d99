"""What the solver does for a few standard columns, kept by version: counts, and ratios when asked.

    python benchmarks/history.py            counts, appended to benchmarks/history.json
    python benchmarks/history.py --peers    and ratios beside peers, as `peers.py` measures them now

Counts (nodes, steps, rejected steps, Newton iterations, numbers in the tables of curves) are the
same on every run; a change of the solver that costs more shows here without a clock. Between
processors they may differ by a step or two, where a last digit decides.
"""

from __future__ import annotations

import argparse
import datetime
import json
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import soilwater as sw
from soilwater.soils.kernel_table import soil_table

TARGET = Path(__file__).with_suffix(".json")
RATIOS = Path(__file__).parents[1] / "docs" / "performance.json"

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
LOAM = sw.VanGenuchten(0.078, 0.43, 0.036, 1.56, 1.04)  # loam, Carsel & Parrish 1988
ENTRY = sw.BrooksCorey(0.04, 0.40, 18.0, 1.8, 30.0)
GREEN = sw.Profile.over_gravel(SAND, 30.0)
LAYERED = sw.Profile(
    [sw.Layer(LOAM, 20.0, "loam"), sw.Layer(SAND, 30.0, "sand"), sw.Layer(LOAM, 50.0, "subsoil")],
    sw.FreeDrainage(),
)
TURF = sw.Turf(15.0, fraction_above=(0.9, 10.0))


def _storm() -> sw.Weather:
    """80 mm within two hours of a dry day."""
    hours = [0.0, 10.0, 12.0, 24.0]
    return sw.Weather(
        [f"2025-07-01 {int(h):02d}:00" for h in hours[:-1]] + ["2025-07-02 00:00"],
        [0.0, 80.0, 0.0],
        [0.5, 0.5, 2.0],
    )


def columns() -> dict[str, tuple[sw.Profile, sw.Weather, sw.Turf | None, Any]]:
    """Profile, weather, turf and start of each standard column."""
    dry, fortnight = sw.steady_weather(2, 0.0), sw.steady_weather(14, 5.0)
    return {
        "two days of drainage, 30 cm over gravel": (GREEN, dry, None, "soaked"),
        "a dry fortnight, 30 cm over gravel": (GREEN, fortnight, TURF, "drained"),
        "the same, a sand with an air entry": (
            sw.Profile.over_gravel(ENTRY, 30.0), fortnight, TURF, "drained",
        ),
        "80 mm on bone-dry sand": (GREEN, _storm(), TURF, 1e4),
        "80 mm on loam over sand over loam": (LAYERED, _storm(), TURF, 150.0),
    }  # fmt: skip


def count() -> dict[str, dict[str, int]]:
    """Run each standard column once, with default settings and hourly output."""
    found = {}
    for name, (profile, weather, turf, start) in columns().items():
        run = sw.simulate(profile, weather, turf=turf, start=start)
        soils = {layer.soil for layer in profile.layers}
        found[name] = {
            "nodes": profile.mesh().depth.size,
            "steps": int(run.steps),
            "rejected": int(run.rejected_steps),
            "iterations": int(run.newton_iterations),
            "numbers_in_tables": sum(soil_table(soil)[0].size for soil in soils),
        }
    return found


def ratios() -> dict[str, dict[str, float]]:
    """How many times faster than the best peer, by case, as `peers.py` has written it down."""
    told = json.loads(RATIOS.read_text(encoding="utf-8"))
    return {
        each["case"]: {floor: each[floor]["ratio"] for floor in ("stated_floor", "best_floor")}
        for each in told["results"]
    }


def entry(counts: Mapping[str, Any], beside: Mapping[str, Any] | None) -> dict[str, Any]:
    """One line of the history: when, of what, and what was counted."""
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"],
        cwd=Path(__file__).parent,
        capture_output=True,
        text=True,
        check=False,
    ).stdout.strip()
    made = {
        "date": datetime.date.today().isoformat(),
        "version": sw.__version__,
        "after": commit,
        "counts": counts,
    }
    return made if beside is None else {**made, "ratios": beside}


def read(path: Path = TARGET) -> list[dict[str, Any]]:
    """All entries, the oldest first."""
    entries: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))
    return entries


def append(made: Mapping[str, Any], path: Path = TARGET) -> None:
    """Add an entry; one of the same commit takes the place of the former."""
    entries = read(path) if path.exists() else []
    entries = [each for each in entries if each["after"] != made["after"]]
    path.write_text(json.dumps([*entries, made], indent=1) + "\n", encoding="utf-8")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    asked.add_argument("--peers", action="store_true", help="measure ratios too: 15 to 20 minutes")
    beside = None
    if asked.parse_args().peers:
        import peers

        peers.main([])
        beside = ratios()
    made = entry(count(), beside)
    append(made)
    print(json.dumps(made, indent=1))


if __name__ == "__main__":
    main()
