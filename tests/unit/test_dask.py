"""dask: cases chunked with it, and a cluster of two processes that runs batches."""

import signal

import numpy as np
import pytest
import xarray as xr

import soilwater as sw
from soilwater.runs import lazy, scheduling

dask = pytest.importorskip("dask")
distributed = pytest.importorskip("distributed")

WEATHER = [sw.steady_weather(2, 5.0), sw.steady_weather(2, 3.0, rain=8.0)]
SETTINGS = {"output": 12.0}


def make_case(alpha, thickness, start="soaked"):
    """A case from parameters, as somebody with arrays of parameters would write it."""
    soil = sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0)
    return sw.Case(sw.Profile.over_gravel(soil, thickness), WEATHER[0], start=start)


def chunked_cases(start="soaked"):
    alpha = xr.DataArray(np.linspace(0.03, 0.06, 5), dims="sample").chunk(sample=2)
    thickness = xr.DataArray(
        [20.0, 30.0, 45.0],
        {"thickness": ("thickness", [20.0, 30.0, 45.0], {"units": "cm"})},
        dims="thickness",
    ).chunk(thickness=2)
    return xr.apply_ufunc(
        make_case,
        alpha,
        thickness,
        start,
        vectorize=True,
        dask="parallelized",
        output_dtypes=[object],
    )


def same_but_for_the_clock(one, other):
    """Whether results agree in all but the time they took."""
    attrs = [{k: v for k, v in each.attrs.items() if k != "wall_time_s"} for each in (one, other)]
    assert attrs[0] == attrs[1]
    xr.testing.assert_identical(one.drop_attrs(deep=False), other.drop_attrs(deep=False))


class TestChunkedCases:
    def test_the_result_is_chunked_alike_and_holds_what_a_batch_would(self):
        cases = chunked_cases()
        run = sw.simulate_many(cases, **SETTINGS)
        for name in run.data_vars:
            if name != "profile":
                assert dask.is_dask_collection(run[name].data), name
                assert run[name].data.chunks[:2] == cases.data.chunks
        assert run.drainage.dims == ("sample", "thickness", "time")
        assert run.thickness.attrs == {"units": "cm"}
        same_but_for_the_clock(run.compute(), sw.simulate_many(cases.compute(), **SETTINGS))

    def test_nothing_is_run_before_it_is_asked_for(self, monkeypatch):
        ran = []
        run_chunk = lazy.run_chunk
        monkeypatch.setattr(
            lazy,
            "run_chunk",
            lambda cases, settings: ran.append(cases) or run_chunk(cases, settings),
        )
        run = sw.simulate_many(chunked_cases(), **SETTINGS)
        assert ran == []
        run.drainage.isel(sample=0, thickness=0, time=-1).compute()
        # One chunk, of two samples and two thicknesses.
        assert [len(cases) for cases in ran] == [4]

    def test_a_large_chunk_is_run_a_handful_at_a_time(self, monkeypatch):
        monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 6)
        sizes = []
        run_chunk = lazy.run_chunk
        monkeypatch.setattr(
            lazy,
            "run_chunk",
            lambda cases, settings: sizes.append(len(cases)) or run_chunk(cases, settings),
        )
        cases = chunked_cases().chunk(-1)
        run = sw.simulate_many(cases, **SETTINGS).compute(scheduler="synchronous")
        assert sizes == [3] * 5
        same_but_for_the_clock(run, sw.simulate_many(cases.compute(), **SETTINGS))

    def test_a_dask_array_of_cases(self):
        listed = [make_case(0.04, thickness) for thickness in (20.0, 30.0, 40.0)]
        array = np.empty(3, dtype=object)
        array[:] = listed
        settings = {"dimension": "spot", "labels": ["a", "b", "c"], **SETTINGS}
        run = sw.simulate_many(dask.array.from_array(array, chunks=2), **settings)
        assert run.drainage.data.chunks[0] == (2, 1)
        same_but_for_the_clock(run.compute(), sw.simulate_many(listed, **settings))

    def test_a_case_that_fails_is_told_in_its_status(self):
        start = xr.DataArray(["soaked", "a wet spring", "drained"], dims="thickness")
        run = sw.simulate_many(chunked_cases(start.chunk(thickness=2)), **SETTINGS).compute()
        assert (run.status.isel(thickness=1) == sw.Status.BAD_INPUT).all()
        assert (run.status.isel(thickness=[0, 2]) == sw.Status.OK).all()

    def test_a_result_goes_to_zarr_chunk_by_chunk_and_is_run_once(self, tmp_path, monkeypatch):
        pytest.importorskip("zarr")
        ran = []
        run_chunk = lazy.run_chunk
        monkeypatch.setattr(
            lazy,
            "run_chunk",
            lambda cases, settings: ran.extend(cases) or run_chunk(cases, settings),
        )
        run = sw.simulate_many(chunked_cases(), **SETTINGS)
        run.to_zarr(tmp_path / "run.zarr", consolidated=False)
        # xarray looks into one chunk of texts before it writes, in case they are dates.
        assert len(ran) <= 15 + 4
        with xr.open_zarr(tmp_path / "run.zarr", consolidated=False) as back:
            assert back.drainage.encoding["chunks"] == (2, 2, 5)
            assert back.drainage.attrs == run.drainage.attrs
            xr.testing.assert_identical(back.load(), run.compute())

    def test_mistakes_are_told_at_the_call(self):
        cases = chunked_cases()
        with pytest.raises(sw.InputError, match="float64 is no Case"):
            sw.simulate_many(xr.DataArray(np.zeros(3), dims="spot").chunk(1))
        longer = sw.Case(make_case(0.04, 30.0).profile, sw.steady_weather(3, 5.0))
        mixed = xr.DataArray(np.array([cases[0, 0].compute().item(), longer]), dims="spot")
        with pytest.raises(sw.InputError, match="position 1: its weather spans"):
            sw.simulate_many(mixed.chunk(1))

    @pytest.mark.parametrize(
        "argument", [{"n_threads": 2}, {"progress": True}, {"store": "x.zarr"}, {"executor": 1}]
    )
    def test_how_dask_works_is_not_for_us_to_say(self, argument):
        with pytest.raises(sw.InputError, match="run where and how dask runs"):
            sw.simulate_many(chunked_cases(), **argument)


@pytest.fixture(scope="module")
def cluster_of_two():
    """Two processes; a cluster that does not answer fails instead of stopping all that follow."""

    def give_up(number, frame):
        raise TimeoutError("the cluster did not answer")

    before = signal.signal(signal.SIGALRM, give_up)
    signal.alarm(240)
    try:
        with (
            distributed.LocalCluster(
                n_workers=2,
                threads_per_worker=1,
                processes=True,
                dashboard_address=None,
                worker_dashboard_address=None,
            ) as cluster,
            distributed.Client(cluster, timeout="60s") as client,
        ):
            client.wait_for_workers(2, timeout=60)
            yield client
    finally:
        # A cluster that never came must not stop a later test either.
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def facts_of_this_worker():
    """Kernels compiled or loaded, and the threads a batch within a task would take."""
    from soilwater.kernels import entry_points

    return len(entry_points.march_columns.signatures), scheduling.processors()


class TestCluster:
    def test_every_worker_is_warmed_up_once_and_takes_one_thread(self, cluster_of_two):
        calls = []
        run = cluster_of_two.run

        class Watched:
            """The client, with its calls to all workers written down."""

            def __getattr__(self, name):
                return getattr(cluster_of_two, name)

            def run(self, function):
                calls.append(function)
                return run(function)

        cases = [make_case(0.04, 20.0 + i) for i in range(6)]
        here = sw.simulate_many(cases, **SETTINGS)
        there = sw.simulate_many(cases, executor=Watched(), **SETTINGS)
        assert calls == [scheduling.load_kernels]
        same_but_for_the_clock(there, here)
        facts = cluster_of_two.run(facts_of_this_worker)
        assert list(facts.values()) == [(1, 1), (1, 1)]

    def test_many_chunks_are_spread_and_come_back_in_place(self, cluster_of_two, monkeypatch):
        monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 4)
        cases = [make_case(0.03 + 0.005 * (i % 3), 20.0 + i) for i in range(12)]
        here = sw.simulate_many(cases, **SETTINGS)
        there = sw.simulate_many(cases, executor=cluster_of_two, **SETTINGS)
        same_but_for_the_clock(there, here)

    def test_a_store_is_filled_by_the_cluster(self, cluster_of_two, tmp_path):
        pytest.importorskip("zarr")
        cases = [make_case(0.04, 20.0 + i) for i in range(4)]
        stored = sw.simulate_many(
            cases, executor=cluster_of_two, store=tmp_path / "run.zarr", **SETTINGS
        )
        here = sw.simulate_many(cases, **SETTINGS)
        xr.testing.assert_identical(
            stored.load().drop_attrs(deep=False), here.drop_attrs(deep=False)
        )

    def test_chunked_cases_are_run_on_the_workers(self, cluster_of_two, monkeypatch):
        cases = chunked_cases()
        here = sw.simulate_many(cases.compute(scheduler="synchronous"), **SETTINGS)
        monkeypatch.setattr(lazy, "run_chunk", None)  # of this process, not of theirs
        there = sw.simulate_many(cases, **SETTINGS).compute()
        same_but_for_the_clock(there, here)
