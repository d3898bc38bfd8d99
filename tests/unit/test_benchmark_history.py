"""The history of what the solver does: its counts are no matter of chance, and its file reads."""

import importlib.util
import json
from datetime import date
from pathlib import Path

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
_spec = importlib.util.spec_from_file_location("history", BENCHMARKS / "history.py")
history = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(history)


def test_counts_are_the_same_each_time():
    first = history.count()
    assert history.count() == first
    assert all(each["steps"] > 20 < each["iterations"] for each in first.values())
    # 80 mm onto dry ground is harder than a day of drainage.
    assert first["80 mm on bone-dry sand"]["rejected"] > 0


def test_an_entry_reads_back_and_takes_the_place_of_its_commit(tmp_path):
    path = tmp_path / "history.json"
    old = {"date": "2026-11-01", "version": "0.1.0", "after": "abc", "counts": {}}
    history.append(old, path)
    made = history.entry({"a column": {"nodes": 3, "steps": 5}}, {"storm": {"best_floor": 4.0}})
    history.append(made, path)
    assert history.read(path) == [old, made]
    again = {**made, "counts": {}}
    history.append(again, path)
    assert history.read(path) == [old, again]


def test_the_kept_file_holds_counts_of_the_columns_by_date():
    entries = json.loads((BENCHMARKS / "history.json").read_text(encoding="utf-8"))
    days = [date.fromisoformat(each["date"]) for each in entries]
    assert days == sorted(days)
    assert set(entries[-1]["counts"]) == set(history.columns())
    for each in entries:
        for counts in each["counts"].values():
            assert counts["iterations"] >= counts["steps"] > counts["rejected"] >= 0
