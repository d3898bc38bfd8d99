"""Twenty thousand columns harder than any green: do all end well, and what do they cost?

    python benchmarks/hard_columns.py            writes docs/hard_columns.json; ten minutes
    python benchmarks/hard_columns.py 1000       the first thousand; prints only

The columns and what is asked of them are those of `tests/properties/hard_columns.py`.
"""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "properties"))

import hard_columns  # noqa: E402

COLUMNS = 20_000
COUNTS = {"steps": "steps", "rejected_steps": "rejected steps", "newton_iterations": "iterations"}
SHARES = (50, 90, 99, 99.9, 100)
TARGET = ROOT / "docs" / "hard_columns.json"


def soil_in_words(soil: Any) -> str:
    """Model of a soil, and its steepness where it has one."""
    model = getattr(soil, "soil", soil)
    steepness = f" n = {model.n:.3g}" if hasattr(model, "n") else ""
    return f"{type(model).__name__}{steepness}{' with dry end' if model is not soil else ''}"


def in_words(case: Any) -> str:
    """Layers, base, span and start of a column."""
    layers = ", ".join(
        f"{layer.thickness:.3g} cm {soil_in_words(layer.soil)}" for layer in case.profile.layers
    )
    days = (case.weather.end - case.weather.start) / np.timedelta64(1, "D")
    start = case.start if isinstance(case.start, str) else "given suction"
    return f"{layers}; {type(case.profile.base).__name__}; {days:.3g} days; {start}"


def measure(n: int) -> dict[str, Any]:
    """Run the first columns: faults, how counts are distributed, and the ten hardest."""
    counts = np.zeros((n, len(COUNTS)), dtype=int)
    faults: list[str] = []
    for seed in range(n):
        case, run = hard_columns.solve(seed)
        counts[seed] = [int(run[name]) for name in COUNTS]
        faults += [f"seed {seed}: {fault}" for fault in hard_columns.faults(case, run)]
        if seed % 1000 == 999:
            print(f"{seed + 1} columns, {len(faults)} faults", file=sys.stderr, flush=True)
    hardest = np.argsort(counts[:, 2])[::-1][:10]
    return {
        "date": date.today().isoformat(),
        "columns": n,
        "faults": faults,
        "most_steps_allowed": hard_columns.MOST_STEPS,
        "shares": SHARES,
        "distribution": {
            words: np.percentile(counts[:, k], SHARES).round().astype(int).tolist()
            for k, words in enumerate(COUNTS.values())
        },
        "hardest": [
            {
                "seed": int(seed),
                "column": in_words(hard_columns.hard_case(int(seed))),
                **dict(zip(COUNTS.values(), counts[seed].tolist(), strict=True)),
            }
            for seed in hardest
        ],
    }


def main(arguments: list[str]) -> None:
    found = measure(int(arguments[0]) if arguments else COLUMNS)
    print(json.dumps(found, indent=1))
    if not arguments:
        TARGET.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
