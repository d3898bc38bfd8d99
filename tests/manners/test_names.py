"""Words: every variable in the vocabulary, and nothing in the files that does not belong there."""

import hashlib
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN
from grounds import MIDDLE_MIX as SAND

import soilwater as sw
from soilwater.words.vocabulary import VARIABLES

ROOT = Path(__file__).parents[2]

# --- results -----------------------------------------------------------------------------------

LOAM = sw.VanGenuchten.texture_class("loam")
LAYERED = sw.Profile([sw.Layer(SAND, 10.0, "cap"), sw.Layer(LOAM, 20.0, "soil")], sw.FreeDrainage())
DAY = sw.steady_weather(1, 5.0)
TURF = sw.Turf(15.0, cover=0.9, interception=0.5)


def results():
    one = sw.simulate(GREEN, DAY, turf=TURF, output="12 h")
    depths = sw.compare_depths(GREEN, [20.0, 30.0], DAY, turf=TURF, output="12 h")
    cases = [sw.Case(GREEN, DAY), sw.Case(LAYERED, DAY, start="drained"), sw.Case(LAYERED, DAY)]
    return {
        "simulate": one,
        "simulate, given up": sw.simulate(
            GREEN, DAY, output="12 h", max_steps=3, on_failure="return"
        ),
        "simulate_many": sw.simulate_many(cases, output="12 h"),
        "simulate_many by spot": sw.simulate_many(
            [sw.Case(GREEN, DAY)], dimension="spot", labels=["north"], output="12 h"
        ),
        "compare_depths": depths,
        "drained_state": sw.drained_state(GREEN),
        "meter_reading": sw.meter_reading(depths, rod="3 in").to_dataset(),
        "days_until": sw.days_until(depths, 0.25, rod="3 in").to_dataset(),
        "weather": DAY.to_dataset(),
    }


@pytest.fixture(scope="module")
def every_result():
    return results()


def test_every_variable_is_in_the_vocabulary_and_says_its_unit(every_result):
    assert len(every_result) > 5
    for source, result in every_result.items():
        for name, variable in result.variables.items():
            assert name in VARIABLES, f"{name} of {source}"
            known = VARIABLES[name]
            assert variable.attrs.get("long_name") == known.long_name, f"{name} of {source}"
            assert variable.attrs.get("units") == known.units, f"{name} of {source}"


def test_attributes_are_text_and_numbers(every_result):
    for source, result in every_result.items():
        places = {"": result.attrs, **{k: v.attrs for k, v in result.variables.items()}}
        for place, attrs in places.items():
            for key, value in attrs.items():
                # Files refuse truth values, None, dates and dictionaries.
                kinds = {type(each) for each in (value if isinstance(value, list) else [value])}
                assert kinds <= {str, int, float}, f"{key} of {place} of {source}: {value!r}"


def test_values_lie_in_the_range_the_vocabulary_states(every_result):
    checked = set()
    for source, result in every_result.items():
        for name, variable in result.variables.items():
            low, high = VARIABLES[name].valid_range or (None, None)
            if variable.dtype.kind not in "fiu" or (low is None and high is None):
                continue
            checked.add(name)
            values = variable.values[np.isfinite(variable.values)]
            assert low is None or (values >= low - 1e-9).all(), f"{name} of {source}"
            assert high is None or (values[values < np.inf] <= high + 1e-9).all(), name
    assert {"water_content", "rain", "air_filled_porosity", "reading"} <= checked


def test_units_are_read_by_the_units_library():
    import pint

    registry = pint.UnitRegistry()
    for variable in VARIABLES.values():
        if variable.units not in (None, "1", "degrees_north", "degrees_east"):
            # "cm h-1" in the spelling of the climate and forecast conventions.
            spelled = re.sub(r"([A-Za-z])(-?\d)", r"\1**\2", variable.units).replace(" ", "*")
            registry.parse_expression(spelled)  # raises where it knows no such unit


def test_a_result_comes_back_from_a_file_with_its_words(every_result, tmp_path):
    run = every_result["compare_depths"]
    run.to_netcdf(tmp_path / "run.nc")
    with xr.open_dataset(tmp_path / "run.nc") as again:
        for name in run.variables:
            assert again[name].attrs.get("long_name") == VARIABLES[name].long_name
        reading = sw.meter_reading(again, rod=7.6)
        assert np.array_equal(reading.values, sw.meter_reading(run, rod=7.6).values)


# --- files -------------------------------------------------------------------------------------

# Taken apart, so that this file does not hold what it looks for.
LEFTOVERS = re.compile(
    "|".join(
        (
            r"\b" + r"TO" + r"DO\b",
            r"\b" + r"FIX" + r"ME\b",
            r"\bissue" + r" ?#?\d",
            r"\bseed" + r" document",
            r"\btran" + r"script",
            r"(?<![\w.<])/(wo" + r"rk|far" + r"m|tm" + r"p|ro" + r"ot)\b",
            r"<<<<" + r"<<<",
            "\N{TRADE MARK SIGN}",
            "\N{REGISTERED SIGN}",
            r"[\w.]+@[\w-]+\.\w+",
        )
    )
)
# Web addresses move; papers are cited by their identifiers, which do not.
WEB_ADDRESS = re.compile(r"https?://([^/\s)>\"']+)")
ADDRESSES_ALLOWED = {
    "doi.org",
    # Namespaces of SVG, which name it and are fetched by nobody.
    "www.w3.org",
    # Documentation that the reference pages link to.
    "docs.python.org",
    "numpy.org",
    "docs.xarray.dev",
    "pandas.pydata.org",
    "matplotlib.org",
}
# Place names of other people's stories, as digests so that they do not stand here.
TAKEN_NAMES = {
    "e1c7e88ad984280f",
    "590c910f43b1429c",
    "350f03dffc40200d",
    "0ad656ce98dbbdf1",
    "e5585ed39e668d35",
}


def tracked_files():
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    names = listed.stdout.split("\0") if listed.returncode == 0 else []
    paths = [ROOT / name for name in names if name]
    if not paths:
        folders = ("soilwater", "tests", "examples", "docs", "benchmarks")
        paths = [p for folder in folders for p in (ROOT / folder).rglob("*") if p.is_file()]
    return [p for p in paths if p.exists() and "__pycache__" not in p.parts]


def text_of(path):
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return ""


def digest(word):
    return hashlib.sha256(word.lower().encode()).hexdigest()[:16]


def test_no_file_holds_what_was_left_over():
    files = tracked_files()
    assert len(files) > 50
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:80]}"
        for path in files
        for number, line in enumerate(text_of(path).splitlines(), start=1)
        if LEFTOVERS.search(line)
    ]
    assert not found


def test_only_lasting_addresses_are_written_down():
    found = {
        (host, str(path.relative_to(ROOT)))
        for path in tracked_files()
        for host in WEB_ADDRESS.findall(text_of(path))
    }
    assert {host for host, _ in found} <= ADDRESSES_ALLOWED, found


def test_demonstrations_play_on_grounds_of_their_own():
    found = [
        f"{path.relative_to(ROOT)}: {word}"
        for path in tracked_files()
        for word in {*re.findall(r"[A-Za-z]+", f"{path.name} {text_of(path)}")}
        if digest(word) in TAKEN_NAMES
    ]
    assert not found


@pytest.mark.parametrize(
    "line",
    ["# TO" + "DO: mend", "see iss" + "ue 12", "in /wo" + "rk/main", "Grit\N{REGISTERED SIGN}"],
)
def test_a_leftover_would_be_found(line):
    assert LEFTOVERS.search(line)
    assert not LEFTOVERS.search("the rate of work / farm and root depth a/root are words")
