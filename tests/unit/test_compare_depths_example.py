"""The example people meet first: it runs anywhere, prints its table and writes its picture."""

import importlib.util
import re
from pathlib import Path

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pytest

import soilwater as sw
from soilwater.ground.base import CLEAN_GRAVEL
from soilwater.ground.gravel_drainage import interface_suction

SCRIPT = Path(__file__).parents[2] / "examples" / "compare_depths.py"


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """The example's module, what it printed, and the folder it ran in; with fewer samples."""
    spec = importlib.util.spec_from_file_location("compare_depths", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.SAMPLES = 6
    folder = tmp_path_factory.mktemp("anywhere")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        printed = []
        patch.setattr("builtins.print", lambda *words: printed.append(" ".join(map(str, words))))
        module.main()
    plt.close("all")
    return module, "\n".join(printed), folder


def rows_of(text):
    """Cells of the four rows of the table."""
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("depth (in)"))
    return [re.split(r"\s{2,}", line.strip()) for line in lines[start + 2 : start + 6]]


def test_it_writes_its_picture_where_it_runs_and_says_so(shown):
    _, text, folder = shown
    (picture,) = folder.iterdir()
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert f"Picture: {picture}" in text


def test_the_table_has_a_row_for_each_depth_in_both_units(shown):
    rows = rows_of(shown[1])
    assert [row[0] for row in rows] == ["10", "12", "15", "18"]
    assert [row[1] for row in rows] == ["25.4", "30.5", "38.1", "45.7"]
    assert all(len(row) == 9 for row in rows)


def test_a_deeper_root_zone_reads_drier_and_drains_more(shown):
    rows = rows_of(shown[1])
    morning = [float(row[2].split()[0]) for row in rows]
    drained = [float(row[6]) for row in rows]
    assert np.all(np.diff(morning) < 0.0)
    assert np.all(np.diff(drained) > 0.0)


def test_the_reading_next_morning_is_near_the_drained_one(shown):
    module, text, _ = shown
    soil = sw.read_retention(module.DATA / "harrowmere_lab_sheet.csv").fit(sw.VanGenuchten).soil
    # Gravel goes on draining: drained is here what it has let go by the morning.
    hours = (module.MORNING - module.SOAKED) / np.timedelta64(1, "h")
    for row, depth in zip(rows_of(text), module.DEPTHS, strict=True):
        thickness = sw.Profile.over_gravel(soil, depth).depth
        suction = interface_suction(((soil, thickness),), CLEAN_GRAVEL, hours)
        drained = 100.0 * sw.drained_water_content(
            sw.Profile.over_gravel(soil, depth, base_suction=suction), 0.0, module.ROD
        )
        # Sands like this one are within 1 % of drained in 3-6 h, 6-12 h at 46 cm (screening).
        assert float(row[2].split()[0]) == pytest.approx(drained, abs=1.0)


def test_curves_begin_where_the_table_says(shown):
    """The morning after the soaking is told by its date, and so is the start of the curves."""
    module, text, _ = shown
    for when in (module.MORNING, module.UNCOVERED):
        assert f"reads {when:%d %B %H:%M} (%)" in text
    assert f"counted from {module.UNCOVERED:%d %B}" in text
    for row in rows_of(text):
        assert float(row[3].split()[0]) < float(row[2].split()[0])


def test_every_balance_closes(shown):
    for row in rows_of(shown[1]):
        assert float(row[8]) <= 1e-6 * (float(row[6]) + float(row[7]))


def test_it_says_where_its_answer_ends(shown):
    for word in ("level ground", "gravel slopes", "not a design", "local code"):
        assert word in shown[1]
