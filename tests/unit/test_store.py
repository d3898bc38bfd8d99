"""Results on disk: written while a batch runs, taken up after a kill, read when asked for."""

import os
import shutil
import signal
import subprocess
import sys
import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN

import soilwater as sw
from soilwater.runs import scheduling, store
from soilwater.runs.store import block_shape, blocks_of

zarr = pytest.importorskip("zarr")

WEATHER = sw.steady_weather(1, 5.0)
DEPTHS = np.linspace(20.0, 40.0, 50)

# Where there is no SIGKILL, `os.kill` ends a process at once for any signal but those of a console.
KILL = int(getattr(signal, "SIGKILL", signal.SIGTERM))
SCRIPT = f"""
    import os, sys
    import numpy as np
    import soilwater as sw
    from soilwater.runs import scheduling

    scheduling.CASE_DAYS_PER_CHUNK = 2
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    green = sw.Profile.over_gravel(sand, 30.0, base_suction=3.0)
    weather = sw.steady_weather(1, 5.0)
    cases = [sw.Case(green.with_thickness(d), weather) for d in np.linspace(20.0, 40.0, 50)]

    def die(done, total):
        if done >= 36:
            os.kill(os.getpid(), {KILL})

    sw.simulate_many(cases, output=12.0, n_threads=1, store=sys.argv[1], progress=die)
"""


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch):
    """Chunks of 2 cases and blocks of 16."""
    monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 2)


def cases():
    return [sw.Case(GREEN.with_thickness(depth), WEATHER) for depth in DEPTHS]


def run(path, **settings):
    return sw.simulate_many(cases(), output=12.0, store=path, **settings)


def assert_same_result(stored, expected):
    """Equal in everything but the notes about the run itself."""
    xr.testing.assert_identical(
        stored.load().drop_attrs(deep=False), expected.load().drop_attrs(deep=False)
    )


def test_a_store_holds_what_memory_would(tmp_path, monkeypatch):
    # What is known before the run is written in four parts.
    monkeypatch.setattr(store, "_WRITTEN_AT_A_TIME", 15)
    in_memory = sw.simulate_many(cases(), output=12.0)
    stored = run(tmp_path / "run.zarr")
    assert_same_result(stored, in_memory)
    only_there = set(stored.attrs) ^ set(in_memory.attrs)
    assert only_there == {"run_digest", "wall_time_s"}


def test_labels_that_are_times_are_kept_whatever_is_written_at_a_time(tmp_path, monkeypatch):
    monkeypatch.setattr(store, "_WRITTEN_AT_A_TIME", 1)
    # The first ones alone could be kept as whole days.
    days = np.array(["2025-07-01", "2025-07-02T06:30"], dtype="datetime64[ns]")
    several = xr.DataArray(np.empty(2, dtype=object), {"read": days}, ("read",))
    several[:] = cases()[:2]
    stored = sw.simulate_many(several, output=12.0, store=tmp_path / "run.zarr")
    assert stored.read.values.tolist() == days.tolist()


def test_profiles_of_one_mesh_share_their_depth_on_disk_too(tmp_path):
    sands = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.04, 0.05, 0.06)]
    batch = [sw.Case(GREEN.with_soil(sand), WEATHER) for sand in sands]
    settings = {"output": 12.0, "dimension": "sample", "labels": ["a", "b", "c"]}
    stored = sw.simulate_many(batch, store=tmp_path / "run.zarr", **settings)
    assert stored.water_content.dims == ("sample", "time", "depth")
    assert_same_result(stored, sw.simulate_many(batch, **settings))


def grid():
    """Sands under depths: 3 by 5 cases, the depths with a unit of the person's own."""
    sands = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.04, 0.05, 0.06)]
    inches = [8.0, 10.0, 12.0, 14.0, 16.0]
    array = np.empty((3, 5), dtype=object)
    for i, j in np.ndindex(3, 5):
        green = sw.Profile.over_gravel(sands[i], f"{inches[j]} in")
        array[i, j] = sw.Case(green, WEATHER)
    coords = {"sand": ["a", "b", "c"], "rod": ("rod", inches, {"units": "in"})}
    return xr.DataArray(array, coords, ("sand", "rod"))


@pytest.mark.parametrize("cases_per_chunk", [1, 2, 4, 100])
def test_batches_of_two_dimensions(tmp_path, monkeypatch, cases_per_chunk):
    monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", cases_per_chunk)
    monkeypatch.setattr("soilwater.runs.gathering._CHUNKS_PER_BLOCK", 1)
    in_memory = sw.simulate_many(grid(), output=12.0)
    stored = sw.simulate_many(grid(), output=12.0, store=tmp_path / "run.zarr")
    assert stored.drainage.dims == ("sand", "rod", "time")
    assert stored.rod.attrs == in_memory.rod.attrs == {"units": "in"}
    assert_same_result(stored, in_memory)


def test_the_rest_of_two_dimensions_is_run(tmp_path, monkeypatch):
    monkeypatch.setattr("soilwater.runs.gathering._CHUNKS_PER_BLOCK", 2)
    path = tmp_path / "run.zarr"
    expected = sw.simulate_many(grid(), output=12.0, store=path).load()
    group = zarr.open_group(path, mode="r+")
    group["drainage"][1] = -1.0
    group["status"][1] = int(sw.Status.INTERRUPTED)
    told = []
    repaired = sw.simulate_many(
        grid(), output=12.0, store=path, progress=lambda done, total: told.append(done)
    )
    assert told[0] == 10 and told[-1] == 15
    xr.testing.assert_identical(repaired.load(), expected)


def test_ensembles_are_stored(tmp_path):
    sands = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.04, 0.05)]
    members = [WEATHER, sw.steady_weather(1, 2.0)]
    settings = {"sand": sands, "output": 12.0, "keep": ["drainage"]}
    depths = sw.compare_depths(GREEN, [20.0, 30.0], members, store=tmp_path / "a", **settings)
    assert depths.drainage.dims == ("root_zone_depth", "sample", "member", "time")
    assert_same_result(depths, sw.compare_depths(GREEN, [20.0, 30.0], members, **settings))
    ensemble = sw.simulate_ensemble(GREEN, members, store=tmp_path / "b", **settings)
    assert_same_result(ensemble, sw.simulate_ensemble(GREEN, members, **settings))


@pytest.mark.parametrize("sizes", [(1,), (7,), (50,), (3, 5), (5, 3), (4, 3, 5), (2, 1, 9)])
@pytest.mark.parametrize("most", [1, 2, 4, 7, 16, 1000])
def test_blocks_take_every_column_once_and_in_order(sizes, most):
    shape = block_shape(sizes, most)
    assert np.prod(shape) <= most
    numbers = np.arange(np.prod(sizes)).reshape(sizes)
    seen = []
    for block in blocks_of(sizes, shape):
        assert numbers[block.place].ravel().tolist() == list(block.columns)
        seen += block.columns
    assert seen == list(range(numbers.size))


def test_only_what_is_kept_is_written(tmp_path):
    stored = run(tmp_path / "run.zarr", keep=["drainage"])
    assert set(stored.data_vars) == {"drainage", "status", "status_text", "profile"}
    assert not (tmp_path / "run.zarr" / "water_content").exists()


def test_values_are_read_when_they_are_asked_for(tmp_path):
    stored = run(tmp_path / "run.zarr")
    assert not stored.water_content.variable._in_memory
    float(stored.water_content[0, 0, 0])
    assert not stored.water_content.variable._in_memory


def test_the_meter_reads_a_store(tmp_path):
    stored = run(tmp_path / "run.zarr")
    in_memory = sw.simulate_many(cases(), output=12.0)
    xr.testing.assert_equal(
        sw.meter_reading(stored, rod="3 in"), sw.meter_reading(in_memory, rod="3 in")
    )


def test_a_killed_run_is_taken_up_where_it_stopped(tmp_path):
    path, whole = tmp_path / "killed.zarr", tmp_path / "whole.zarr"
    ended = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(SCRIPT), str(path)], env=os.environ, timeout=300
    )
    assert ended.returncode in (-KILL, KILL)
    with xr.open_zarr(path) as half:
        done = half.status.values != sw.Status.INTERRUPTED
        # Two blocks of 16 were whole; the third was under way.
        assert done.tolist() == [True] * 32 + [False] * 18
        assert half.drainage.values[~done].size == np.isnan(half.drainage.values[~done]).sum()

    told = []
    finished = run(path, n_threads=1, progress=lambda done, total: told.append(done))
    assert told[0] == 32 and told[-1] == 50
    xr.testing.assert_identical(finished.load(), run(whole).load())


def test_columns_without_a_status_are_run_again_whatever_was_written_of_them(tmp_path):
    path = tmp_path / "run.zarr"
    expected = run(path).load()
    group = zarr.open_group(path, mode="r+")
    group["drainage"][16:32] = -1.0
    group["status"][16:32] = int(sw.Status.INTERRUPTED)
    told = []
    repaired = run(path, n_threads=1, progress=lambda done, total: told.append(done))
    assert told[0] == 34
    xr.testing.assert_identical(repaired.load(), expected)


def test_half_a_store_is_never_taken_for_one_whoever_is_making_it(tmp_path, monkeypatch):
    halves = []
    to_zarr = xr.Dataset.to_zarr

    def look(self, folder, **settings):
        halves.append(folder)
        assert not (tmp_path / "run.zarr").exists()
        return to_zarr(self, folder, **settings)

    monkeypatch.setattr(xr.Dataset, "to_zarr", look)
    assert (run(tmp_path / "run.zarr").status == sw.Status.OK).all()
    assert len(halves) == 1
    assert [each.name for each in tmp_path.iterdir()] == ["run.zarr"]


def test_a_finished_store_is_opened_and_nothing_is_run(tmp_path, monkeypatch):
    expected = run(tmp_path / "run.zarr").load()
    monkeypatch.setattr(scheduling, "prepare", None)
    xr.testing.assert_identical(run(tmp_path / "run.zarr").load(), expected)


def test_ctrl_c_leaves_whole_blocks(tmp_path):
    def press_ctrl_c(done, total):
        if done >= 20:
            signal.raise_signal(signal.SIGINT)

    with pytest.raises(sw.Interrupted) as error:
        run(tmp_path / "run.zarr", n_threads=1, progress=press_ctrl_c)
    done = error.value.finished.status.values == sw.Status.OK
    assert done.tolist() == [True] * 16 + [False] * 34
    assert error.value.finished.status_text.values[-1] == sw.Status.INTERRUPTED.sentence
    assert_same_result(run(tmp_path / "run.zarr"), sw.simulate_many(cases(), output=12.0))


@pytest.mark.parametrize(
    "other",
    [
        {"tolerance": 0.001},
        {"keep": ["drainage"]},
        {"labels": list(range(1, 51))},
        {"dimension": "spot"},
        {"ponding_limit": 1.0},
        {"refinement": 2.0},
    ],
)
def test_another_run_is_never_mixed_in(tmp_path, other):
    run(tmp_path / "run.zarr")
    with pytest.raises(sw.InputError, match=r"run\.zarr exists and holds another run"):
        run(tmp_path / "run.zarr", **other)


@pytest.mark.parametrize("change", ["weather", "turf", "start", "irrigation", "profile"])
def test_cases_of_another_kind_are_another_run(tmp_path, change):
    run(tmp_path / "run.zarr", keep=())
    other = {"profile": GREEN, "weather": WEATHER}
    other[change] = {
        "weather": sw.steady_weather(1, 4.0),
        "turf": sw.Turf(10.0),
        "start": xr.DataArray([5.0, 9.0], {"depth": [0.0, 30.0]}, name="suction"),
        "irrigation": [sw.Event("2025-07-01T06:00", 5.0, rate=20.0)],
        "profile": GREEN.with_thickness(31.0),
    }[change]
    changed = [*cases()[:-1], sw.Case(**other)]
    with pytest.raises(sw.InputError, match="another run"):
        sw.simulate_many(changed, output=12.0, keep=(), store=tmp_path / "run.zarr")


def test_a_folder_of_something_else_is_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(sw.InputError, match="exists and holds something else"):
        run(tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_without_zarr_the_cure_is_named(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "zarr", None)
    with pytest.raises(sw.InputError, match=r"zarr is not installed; install soilwater\[io\]"):
        run(tmp_path / "run.zarr")


# --- two processes, and what a disk may do --------------------------------------------------------

TOGETHER = """
    import sys, time
    from pathlib import Path
    import numpy as np
    import soilwater as sw
    from soilwater.runs import scheduling

    scheduling.CASE_DAYS_PER_CHUNK = 2
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    green = sw.Profile.over_gravel(sand, 30.0, base_suction=3.0)
    weather = sw.steady_weather(1, 5.0)
    sw.simulate(green, weather)
    cases = [sw.Case(green.with_thickness(d), weather) for d in np.linspace(20.0, 40.0, 50)]
    path, me, other = map(Path, sys.argv[1:])
    me.touch()
    while not other.exists():
        time.sleep(0.001)
    run = sw.simulate_many(cases, output=12.0, n_threads=1, store=path)
    assert (run.status == sw.Status.OK).all() and np.isfinite(run.drainage).all()
"""


def test_two_processes_may_start_one_store(tmp_path):
    path, marks = tmp_path / "both.zarr", (tmp_path / "a", tmp_path / "b")
    script = textwrap.dedent(TOGETHER)
    both = [
        subprocess.Popen([sys.executable, "-c", script, str(path), *map(str, each)])
        for each in (marks, marks[::-1])
    ]
    assert [each.wait(timeout=300) for each in both] == [0, 0]
    assert_same_result(run(path), sw.simulate_many(cases(), output=12.0))
    assert {each.name for each in tmp_path.iterdir()} == {"both.zarr", "a", "b"}


def test_the_slower_of_two_processes_takes_the_store_of_the_faster(tmp_path, monkeypatch):
    path = tmp_path / "run.zarr"
    expected = run(path).load()
    exists = Path.exists
    asked = []

    def not_at_first(self, **settings):
        if self == path and not asked:
            asked.append(self)
            return False
        return exists(self, **settings)

    monkeypatch.setattr(Path, "exists", not_at_first)
    monkeypatch.setattr(scheduling, "prepare", None)
    xr.testing.assert_identical(run(path).load(), expected)
    assert asked and [each.name for each in tmp_path.iterdir()] == ["run.zarr"]


def repaired(path):
    """Columns that were there, and the store once the rest has been run."""
    told = []
    stored = run(path, n_threads=1, progress=lambda done, total: told.append(done))
    return told[0], stored


def test_a_status_that_is_lost_never_says_that_all_is_well(tmp_path):
    expected = run(tmp_path / "run.zarr").load()
    (tmp_path / "run.zarr" / "status" / "1").unlink()
    with xr.open_zarr(tmp_path / "run.zarr") as raw:
        assert (raw.status.values == sw.Status.OK).tolist() == [True] * 16 + [False] * 16 + [
            True
        ] * 18
    there, stored = repaired(tmp_path / "run.zarr")
    assert there == 34
    xr.testing.assert_identical(stored.load(), expected)


@pytest.mark.parametrize("name", ["drainage/2.0", "water_content/0.0.0", "status_text/1"])
@pytest.mark.parametrize("harm", ["deleted", "cut", "emptied", "altered"])
def test_chunks_that_were_lost_or_cut_are_run_again(tmp_path, name, harm):
    expected = run(tmp_path / "run.zarr").load()
    chunk = tmp_path / "run.zarr" / name
    whole = chunk.read_bytes()
    if harm == "deleted":
        chunk.unlink()
    elif harm == "altered":
        # One bit: as long as it was, read without a word, and another drainage.
        chunk.write_bytes(whole[:-9] + bytes([whole[-9] ^ 1]) + whole[-8:])
    else:
        chunk.write_bytes(whole[: len(whole) // 2] if harm == "cut" else b"")
    there, stored = repaired(tmp_path / "run.zarr")
    assert there == 34
    xr.testing.assert_identical(stored.load(), expected)
    assert repaired(tmp_path / "run.zarr")[0] == 50


def test_harm_that_is_not_mended_in_one_go_is_remembered(tmp_path):
    run(tmp_path / "run.zarr")
    (tmp_path / "run.zarr" / "drainage" / "1.0").unlink()

    def press_ctrl_c(done, total):
        signal.raise_signal(signal.SIGINT)

    with pytest.raises(sw.Interrupted) as error:
        run(tmp_path / "run.zarr", n_threads=1, progress=press_ctrl_c)
    assert (error.value.finished.status.values != sw.Status.OK).sum() == 16
    assert repaired(tmp_path / "run.zarr")[0] == 34


@pytest.mark.parametrize("cut", [True, False])
@pytest.mark.parametrize("name", ["depth/0.0", "profile/0", ".zmetadata", "time/.zarray"])
def test_a_store_that_lost_what_was_known_before_the_run_is_refused(tmp_path, name, cut):
    run(tmp_path / "run.zarr")
    known = tmp_path / "run.zarr" / name
    whole = known.read_bytes()
    known.write_bytes(whole[:-9] if cut else bytes([whole[0] ^ 1]) + whole[1:])
    match = rf"damaged: {name} is missing, cut or altered; .* delete the"
    with pytest.raises(sw.InputError, match=match):
        run(tmp_path / "run.zarr")


FULL = """
    import resource, sys
    import numpy as np
    import soilwater as sw
    from soilwater.runs import scheduling

    scheduling.CASE_DAYS_PER_CHUNK = 2
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    green = sw.Profile.over_gravel(sand, 30.0, base_suction=3.0)
    weather = sw.steady_weather(1, 5.0)
    cases = [sw.Case(green.with_thickness(d), weather) for d in np.linspace(20.0, 40.0, 50)]

    def fill_the_disk(done, total):
        if done >= 20:
            resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))

    try:
        sw.simulate_many(cases, output=12.0, n_threads=1, store=sys.argv[1], progress=fill_the_disk)
    except sw.RunError as error:
        print(error)
"""


def test_a_full_disk_is_said_plainly_and_loses_nothing(tmp_path):
    pytest.importorskip("resource")
    path = tmp_path / "run.zarr"
    told = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(FULL), str(path)],
        capture_output=True,
        text=True,
        timeout=300,
    ).stdout
    assert told.startswith(f"store: {path} cannot be written to (File too large); ")
    assert "make room or mend the disk, and repeat the call" in told
    with xr.open_zarr(path) as half:
        assert (half.status.values == sw.Status.OK).tolist() == [True] * 16 + [False] * 34
    there, stored = repaired(path)
    assert there == 16
    assert_same_result(stored, sw.simulate_many(cases(), output=12.0))


def test_a_place_where_nothing_can_be_written_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(sw.InputError, match=r"store: .*run\.zarr cannot be written to \("):
        run(tmp_path / "file" / "run.zarr")


# --- which run a store is of ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("source", "counts"),
    [
        ("__init__.py", True),
        ("ground/turf.py", True),
        ("weather/irrigation.py", True),
        ("words/units.py", True),
        ("soils/dry_end.py", True),
        ("kernels/curves.py", True),
        ("runs/forcing.py", True),
        ("plot/style.py", False),
    ],
)
def test_every_source_that_shapes_a_result_counts(tmp_path, monkeypatch, source, counts):
    copy = tmp_path / "soilwater"
    shutil.copytree(Path(sw.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(store, "__file__", str(copy / "runs" / "store.py"))
    before = store.sources_digest.__wrapped__()
    (copy / source).write_text((copy / source).read_text() + "# changed\n")
    assert (store.sources_digest.__wrapped__() != before) is counts


def test_attributes_of_coordinates_count(tmp_path):
    array = grid()
    sw.simulate_many(array, output=12.0, store=tmp_path / "run.zarr")
    array["rod"].attrs["units"] = "cm"
    with pytest.raises(sw.InputError, match="another run"):
        sw.simulate_many(array, output=12.0, store=tmp_path / "run.zarr")


def test_what_a_model_of_ones_own_says_counts(tmp_path, monkeypatch):
    from soilwater.soils import serial

    monkeypatch.setattr(serial, "MODELS", dict(serial.MODELS))

    def runs_of(factor):
        @sw.register_soil_model
        @dataclass(frozen=True, repr=False)
        class Invented(sw.VanGenuchten):
            def _conductivity(self, suction):
                return factor * super()._conductivity(suction)

        green = sw.Profile.over_gravel(Invented(0.05, 0.40, 0.047, 3.0, 40.0), 30.0)
        return sw.simulate_many([sw.Case(green, WEATHER)], output=12.0, store=tmp_path / "run.zarr")

    runs_of(1.0)
    runs_of(1.0)
    with pytest.raises(sw.InputError, match="another run"):
        runs_of(0.5)
