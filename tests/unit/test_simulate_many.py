"""Batches: any mix of cases, each as if run alone; ensembles; executors; Ctrl-C."""

import os
import signal
import threading
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from grounds import GREEN
from grounds import MIDDLE_MIX as SAND

import soilwater as sw
from soilwater.runs import gathering, scheduling
from soilwater.runs.layout import OF_A_MAT, REMEMBERED, SIMULATED

LOAM = sw.VanGenuchten.texture_class("loam")
TWO_LAYERS = sw.Profile(
    (sw.Layer(SAND, 20.0, "root zone"), sw.Layer(LOAM, 15.0, "subsoil")), sw.FreeDrainage()
)
TURF = sw.Turf(10.0)
DRY = sw.steady_weather(2, 5.0)
WET = sw.steady_weather(2, 3.0, rain=8.0)
SETTINGS = {"output": 12.0}
SOILS = [sw.VanGenuchten(0.05, 0.40, alpha, 3.0, 40.0) for alpha in (0.04, 0.05, 0.06)]


def mixed_cases():
    rule = sw.Rule(6.0, 0.25, rod="3 in", rate=20.0, hour=6.0)
    return [
        sw.Case(GREEN, DRY, turf=TURF, start="drained"),
        sw.Case(TWO_LAYERS, WET, turf=TURF, start=60.0),
        sw.Case(GREEN.with_thickness(45.0), DRY),
        sw.Case(GREEN, DRY, turf=TURF, start="drained", rules=[rule]),
        sw.Case(GREEN, DRY, irrigation=[sw.Event("2025-07-01T06:00", 5.0, rate=20.0)]),
    ]


def alone(case, **settings):
    return sw.simulate(
        case.profile,
        case.weather,
        turf=case.turf,
        start=case.start,
        irrigation=case.irrigation,
        rules=case.rules,
        **SETTINGS,
        **settings,
    )


def assert_same_numbers(batch, place, single):
    for name in single.data_vars:
        expected = single[name].values
        found = batch[name].isel(place).values
        if expected.ndim and expected.shape != found.shape:
            assert np.isnan(found[..., expected.shape[-1] :]).all()
            found = found[..., : expected.shape[-1]]
        np.testing.assert_array_equal(found, expected, err_msg=name)


@pytest.fixture
def small_chunks(monkeypatch):
    """Chunks of two cases, so that a handful of cases makes several."""
    monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 4)


class TestBatch:
    @pytest.mark.parametrize("n_threads", [1, 3])
    def test_each_case_is_bit_for_bit_what_it_is_alone(self, small_chunks, n_threads):
        cases = mixed_cases()
        batch = sw.simulate_many(cases, n_threads=n_threads, **SETTINGS)
        for i, case in enumerate(cases):
            assert_same_numbers(batch, {"case": i}, alone(case))

    def test_cases_of_one_soil_wherever_they_stand(self, small_chunks):
        cases = [
            sw.Case(GREEN.with_soil(SOILS[i % 3]).with_thickness(20.0 + i), DRY)
            for i in (5, 1, 3, 0, 4, 2, 6)
        ]
        batch = sw.simulate_many(cases, **SETTINGS)
        for i, case in enumerate(cases):
            assert_same_numbers(batch, {"case": i}, alone(case))

    def test_cases_may_come_from_an_iterator(self):
        batch = sw.simulate_many((case for case in mixed_cases()), **SETTINGS)
        assert batch.sizes["case"] == len(mixed_cases())

    def test_cases_may_come_as_an_array(self):
        cases = mixed_cases()
        array = np.empty(len(cases), dtype=object)
        array[:] = cases
        listed = sw.simulate_many(cases, dimension="spot", **SETTINGS)
        batch = sw.simulate_many(array, dimension="spot", **SETTINGS)
        xr.testing.assert_identical(batch.drop_attrs(deep=False), listed.drop_attrs(deep=False))

    def test_an_array_with_dimensions_gives_them_to_the_result(self):
        cases = np.empty((2, 3), dtype=object)
        for i, j in np.ndindex(2, 3):
            cases[i, j] = sw.Case(GREEN.with_soil(SOILS[j]), (DRY, WET)[i], turf=TURF)
        array = xr.DataArray(
            cases,
            {
                "member": ["dry", "wet"],
                "alpha": ("soil", [0.04, 0.05, 0.06], {"units": "cm-1"}),
                "place": ("member", ["crest", "low end"]),
            },
            ("member", "soil"),
        )
        batch = sw.simulate_many(array, **SETTINGS)
        assert batch.drainage.dims == ("member", "soil", "time")
        assert batch.member.values.tolist() == ["dry", "wet"]
        assert batch.alpha.attrs == {"units": "cm-1"}
        assert batch.place.values.tolist() == ["crest", "low end"]
        for i, j in np.ndindex(2, 3):
            assert_same_numbers(batch, {"member": i, "soil": j}, alone(cases[i, j]))

    @pytest.mark.parametrize(
        ("cases", "settings", "words"),
        [
            (mixed_cases()[0], {}, r"one Case; allowed: several, as \[case\]"),
            (np.empty((2, 2), dtype=object), {}, "dimensions of the array have no names"),
            (xr.DataArray(np.empty(2, object), dims="spot"), {"labels": [1, 2]}, "brings its own"),
            (xr.DataArray(np.empty(2, object), dims="spot"), {"dimension": "x"}, "'spot'"),
            (xr.DataArray(np.array(None, object)), {}, "expand_dims"),
            (xr.DataArray(np.empty(2, object), dims="spot"), {}, "NoneType is no Case"),
        ],
    )
    def test_arrays_that_cannot_be_used(self, cases, settings, words):
        with pytest.raises(sw.InputError, match=words):
            sw.simulate_many(cases, **settings)

    def test_labels_that_are_no_single_labels(self):
        cases = mixed_cases()[:2]
        with pytest.raises(sw.InputError, match=r"\('A', 1\) is no single label"):
            sw.simulate_many(cases, labels=[("A", 1), ("A", 2)])

    def test_stacked_dimensions_are_told_how_to_go_on(self):
        cases = np.empty((1, 2), dtype=object)
        cases[0, :] = mixed_cases()[:2]
        array = xr.DataArray(cases, {"green": ["A"], "spot": [1, 2]}, ("green", "spot"))
        stacked = array.stack(place=("green", "spot"))
        with pytest.raises(sw.InputError, match=r'reset_index\("place"\)'):
            sw.simulate_many(stacked, **SETTINGS)
        batch = sw.simulate_many(stacked.reset_index("place"), **SETTINGS)
        assert batch.spot.values.tolist() == [1, 2]

    @pytest.mark.parametrize("name", ["time", "depth", "drainage", "node"])
    def test_names_of_the_results_are_taken(self, name):
        with pytest.raises(sw.InputError, match=f'"{name}" is taken'):
            sw.simulate_many(mixed_cases(), dimension=name)
        array = xr.DataArray(np.array(mixed_cases(), dtype=object), dims="spot")
        with pytest.raises(sw.InputError, match=f'"{name}" is taken'):
            sw.simulate_many(array.assign_coords({name: ("spot", range(5))}))

    def test_chunks_last_a_fraction_of_a_second_whatever_the_span(self):
        # A column takes about 0.3 ms a day (measured by benchmarks/batch.py).
        for days in (1 / 24, 1, 14, 365):
            assert scheduling.cases_per_chunk(days) * days * 0.3e-3 < 0.5

    def test_profiles_of_one_mesh_share_their_depth(self):
        cases = [sw.Case(GREEN.with_soil(soil), DRY) for soil in SOILS]
        batch = sw.simulate_many(cases, dimension="sample", labels=list("abc"), **SETTINGS)
        assert batch.water_content.dims == ("sample", "time", "depth")
        assert batch.depth.dims == ("depth",)
        assert batch["sample"].values.tolist() == ["a", "b", "c"]
        assert batch.layer.dims == ("depth",)

    def test_profiles_of_several_meshes_keep_their_own_depths(self):
        batch = sw.simulate_many([sw.Case(GREEN, DRY), sw.Case(TWO_LAYERS, DRY)], **SETTINGS)
        assert batch.water_content.dims == ("case", "time", "cell")
        assert batch.depth.dims == ("case", "cell")
        assert float(batch.depth_bounds.max("cell").isel(bound=1, case=0)) == 30.0
        assert list(dict.fromkeys(batch.layer.values[1])) == ["root zone", "subsoil"]
        assert list(dict.fromkeys(batch.layer.values[0])) == ["root zone", ""]

    def test_a_case_that_cannot_start_loses_nothing_of_the_others(self):
        cases = mixed_cases()
        cases.insert(1, sw.Case(TWO_LAYERS, DRY, start="drained"))
        batch = sw.simulate_many(cases, **SETTINGS)
        assert batch.status.values.tolist() == [0, sw.Status.BAD_INPUT, 0, 0, 0, 0]
        assert "comes to no rest of its own" in str(batch.status_text[1].item())
        assert batch.drainage.isel(case=1).isnull().all()
        assert_same_numbers(batch, {"case": 2}, alone(cases[2]))

    def test_a_case_that_gives_up_keeps_what_it_had(self):
        batch = sw.simulate_many(mixed_cases()[:2], max_steps=5, **SETTINGS)
        assert (batch.status == sw.Status.TOO_MANY_STEPS).all()
        assert batch.drainage.isel(time=0).notnull().all()
        assert batch.drainage.isel(time=-1).isnull().all()
        assert "Last good time" in str(batch.status_text[0].item())

    def test_storage_is_the_water_content_over_the_depth(self):
        batch = sw.simulate_many(mixed_cases(), **SETTINGS)
        thickness = batch.depth_bounds.diff("bound").isel(bound=0)
        held = (10.0 * batch.water_content * thickness).sum("cell")
        np.testing.assert_allclose(batch.storage, held, rtol=1e-12)

    def test_nothing_to_run_and_other_mistakes_are_told_together(self):
        with pytest.raises(sw.InputError, match="there are none"):
            sw.simulate_many([])
        longer = sw.steady_weather(3, 5.0)
        with pytest.raises(sw.InputError) as error:
            sw.simulate_many([sw.Case(GREEN, DRY), "x", sw.Case(GREEN, longer)], labels=[1])
        assert len(error.value.faults) == 3


class TestKeep:
    def test_only_what_is_wanted_and_how_it_ended(self):
        kept = sw.simulate_many(mixed_cases(), keep=("suction", "drainage"), **SETTINGS)
        assert set(kept.data_vars) == {"suction", "drainage", "status", "status_text", "profile"}
        whole = sw.simulate_many(mixed_cases(), **SETTINGS)
        for name in kept.data_vars:
            xr.testing.assert_identical(kept[name], whole[name])

    def test_all_by_default(self):
        batch = sw.simulate_many(mixed_cases()[:1], **SETTINGS)
        # Sand that remembers nothing has no branches to tell of.
        assert set(batch.data_vars) == {*SIMULATED, "profile"} - {*REMEMBERED, OF_A_MAT}

    def test_unknown_names_are_listed(self):
        with pytest.raises(sw.InputError, match=r"'wetness'.*allowed: water_content, suction"):
            sw.simulate_many(mixed_cases(), keep=["drainage", "wetness"])


class TestEnsembles:
    def test_depths_by_samples(self):
        run = sw.compare_depths(
            GREEN, [25.0, 40.0], DRY, sand=SOILS, turf=TURF, start="drained", **SETTINGS
        )
        assert run.water_content.dims == ("root_zone_depth", "sample", "time", "cell")
        assert run.depth.dims == ("root_zone_depth", "cell")
        for i, depth in enumerate((25.0, 40.0)):
            for j, soil in enumerate(SOILS):
                profile = GREEN.with_soil(soil).with_thickness(depth)
                single = sw.simulate(profile, DRY, turf=TURF, start="drained", **SETTINGS)
                assert_same_numbers(run, {"root_zone_depth": i, "sample": j}, single)

    def test_the_meter_reads_an_ensemble_and_quantiles_follow(self):
        run = sw.compare_depths(
            GREEN, [25.0, 40.0], DRY, sand=SOILS, turf=TURF, start="drained", **SETTINGS
        )
        reading = sw.meter_reading(run, rod="3 in")
        assert reading.dims == ("root_zone_depth", "sample", "time")
        one = run.isel(root_zone_depth=1, sample=2)
        np.testing.assert_array_equal(
            sw.meter_reading(one, rod="3 in"), reading.isel(root_zone_depth=1, sample=2)
        )
        band = reading.quantile([0.05, 0.5, 0.95], "sample")
        assert band.dims == ("quantile", "root_zone_depth", "time")
        assert (band.diff("quantile") >= 0.0).all()
        line = float(reading.isel(time=2).mean())
        days = sw.days_until(run, line, rod="3 in")
        assert days.dims == ("root_zone_depth", "sample")
        assert np.isfinite(days.min())

    def test_members_of_a_forecast(self):
        run = sw.simulate_ensemble(GREEN, [DRY, WET], turf=TURF, **SETTINGS)
        assert run.water_content.dims == ("member", "time", "depth")
        for i, weather in enumerate((DRY, WET)):
            single = sw.simulate(GREEN, weather, turf=TURF, **SETTINGS)
            assert_same_numbers(run, {"member": i}, single)

    def test_soils_and_members_together(self):
        run = sw.simulate_ensemble(GREEN, [DRY, WET], sand=SOILS, keep="drainage", **SETTINGS)
        assert run.drainage.dims == ("sample", "member", "time")

    def test_water_from_an_iterator_reaches_every_column(self):
        event = sw.Event("2025-07-01T06:00", 5.0, rate=20.0)
        shared = {"irrigation": iter([event]), "output": 24.0, "keep": "irrigation"}
        run = sw.simulate_ensemble(GREEN, [DRY, DRY], sand=SOILS[:2], **shared)
        assert run.irrigation.isel(time=-1).values == pytest.approx(np.full((2, 2), 5.0))

    def test_rest_of_an_ensemble(self):
        state = sw.drained_state(GREEN, sand=SOILS)
        assert state.water_content.dims == ("sample", "depth")
        for i, soil in enumerate(SOILS):
            assert_same_numbers(state, {"sample": i}, sw.drained_state(GREEN.with_soil(soil)))
        reading = sw.meter_reading(state, rod="3 in")
        expected = [sw.drained_water_content(GREEN.with_soil(s), 0.0, "3 in") for s in SOILS]
        np.testing.assert_array_equal(reading, expected)

    def test_empty_ensembles_are_refused(self):
        with pytest.raises(sw.InputError, match="none"):
            sw.simulate_ensemble(GREEN, DRY, sand=[])
        with pytest.raises(sw.InputError, match="none"):
            sw.drained_state(GREEN, sand=[])
        with pytest.raises(sw.InputError, match="none"):
            sw.simulate_ensemble(GREEN, [], sand=SOILS)
        with pytest.raises(sw.InputError, match="none"):
            sw.compare_depths(GREEN, [30.0], [])

    def test_soils_go_into_the_named_layer(self):
        other = TWO_LAYERS.with_soil(SAND, layer="subsoil")
        assert other.layers[1].soil is SAND and other.layers[1].name == "subsoil"
        with pytest.raises(sw.InputError, match="allowed: root zone, subsoil"):
            TWO_LAYERS.with_soil(SAND, layer="gravel")


class TestProgress:
    def test_a_function_hears_of_every_chunk(self, small_chunks):
        told = []
        sw.simulate_many(
            mixed_cases(),
            n_threads=1,
            progress=lambda done, total: told.append((done, total)),
            **SETTINGS,
        )
        assert told == [(2, 5), (4, 5), (5, 5)]

    def test_a_bar_for_people(self, small_chunks, capsys):
        sw.simulate_many(mixed_cases(), progress=True, **SETTINGS)
        assert "5/5" in capsys.readouterr().err

    def test_anything_else_is_refused(self):
        with pytest.raises(sw.InputError, match="progress"):
            sw.simulate_many(mixed_cases(), progress="bar")


class NeverEnding:
    """An executor whose calls do not come back."""

    def __init__(self):
        self.futures = []

    def submit(self, function, *arguments):
        self.futures.append(Future())
        return self.futures[-1]


def test_columns_are_described_while_the_first_of_them_march(monkeypatch):
    """Texts of 1500 sands took two of the seventeen milliseconds before the first march began."""
    names, begun = [], threading.Event()
    march, describe = scheduling.march, gathering.describe_cases

    def marched(*given):
        names.append(threading.current_thread().name)
        begun.set()
        march(*given)

    def described(*given):
        assert begun.wait(60.0)
        return describe(*given)

    monkeypatch.setattr(scheduling, "march", marched)
    monkeypatch.setattr(gathering, "describe_cases", described)
    many = sw.simulate_many(mixed_cases()[:2], n_threads=2, **SETTINGS)
    assert set(names) <= {"soilwater_0", "soilwater_1"}
    assert (many.status == sw.Status.OK).all()


def test_results_are_laid_out_while_the_first_columns_march(monkeypatch):
    laid = threading.Event()
    march, lay_out = scheduling.march, gathering.lay_out_run

    def marched(*given):
        assert laid.wait(10.0)
        march(*given)

    def laid_out(*given):
        made = lay_out(*given)
        laid.set()
        return made

    monkeypatch.setattr(scheduling, "march", marched)
    monkeypatch.setattr(gathering, "lay_out_run", laid_out)
    cases = mixed_cases()[:2]
    many = sw.simulate_many(cases, n_threads=2, **SETTINGS)
    for i, case in enumerate(cases):
        assert_same_numbers(many, {"case": i}, alone(case))


class TestInterrupt:
    def test_what_is_finished_is_handed_back(self, small_chunks):
        cases = mixed_cases()
        told = []

        def press_ctrl_c(done, total):
            told.append(done)
            if len(told) == 2:
                signal.raise_signal(signal.SIGINT)

        with pytest.raises(KeyboardInterrupt) as error:
            sw.simulate_many(cases, n_threads=1, progress=press_ctrl_c, **SETTINGS)
        assert isinstance(error.value, sw.Interrupted)
        so_far = error.value.finished
        done = np.flatnonzero(so_far.status == sw.Status.OK)
        (left,) = np.flatnonzero(so_far.status == sw.Status.INTERRUPTED)
        assert done.size == told[-1] == 4
        for i in done:
            assert_same_numbers(so_far, {"case": i}, alone(cases[i]))
        assert so_far.drainage.isel(case=left).isnull().all()
        assert so_far.status_text[left].item() == sw.Status.INTERRUPTED.sentence
        own_threads = [t for t in threading.enumerate() if t.name.startswith("soilwater")]
        for thread in own_threads:
            thread.join(60.0)
        assert not any(thread.is_alive() for thread in own_threads)

    def test_what_is_decided_meanwhile_does_no_harm(self, small_chunks, monkeypatch):
        """Another thread puts what it decided among the forcings while results are named."""

        class FilledMeanwhile(list):
            def __iter__(self):
                yield from list.copy(self)
                self[3] = replace(self[3])

        prepare = scheduling.prepare

        def prepared(*given):
            made = prepare(*given)
            return made._replace(forcings=FilledMeanwhile(made.forcings))

        def press_ctrl_c(done, total):
            signal.raise_signal(signal.SIGINT)

        monkeypatch.setattr(scheduling, "prepare", prepared)
        with pytest.raises(sw.Interrupted) as error:
            sw.simulate_many(mixed_cases(), n_threads=1, progress=press_ctrl_c, **SETTINGS)
        assert (error.value.finished.status == sw.Status.OK).any()

    def test_nobody_waits_for_a_chunk_under_way(self, small_chunks, monkeypatch):
        released, march = threading.Event(), scheduling.march
        under_way = []

        def stuck_after_the_first(*given):
            under_way.append(given)
            if len(under_way) > 1:
                released.wait(60.0)
            march(*given)

        def press_ctrl_c(done, total):
            signal.raise_signal(signal.SIGINT)

        monkeypatch.setattr(scheduling, "march", stuck_after_the_first)
        try:
            with pytest.raises(sw.Interrupted) as error:
                sw.simulate_many(mixed_cases(), n_threads=1, progress=press_ctrl_c, **SETTINGS)
            assert not released.is_set()
        finally:
            released.set()
        assert int((error.value.finished.status == sw.Status.OK).sum()) == 2

    def test_what_nobody_was_told_of_is_handed_back_too(self, small_chunks, monkeypatch):
        released, march = threading.Event(), scheduling.march
        begun = []

        def stuck_at_the_fourth(*given):
            begun.append(given)
            if len(begun) == 4:
                signal.pthread_kill(threading.main_thread().ident, signal.SIGINT)
                released.wait(60.0)
            march(*given)

        monkeypatch.setattr(scheduling, "march", stuck_at_the_fourth)
        try:
            with pytest.raises(sw.Interrupted) as error:
                sw.simulate_many(3 * mixed_cases(), n_threads=1, **SETTINGS)
        finally:
            released.set()
        assert int((error.value.finished.status == sw.Status.OK).sum()) == 6

    def test_it_is_heard_while_waiting_for_a_chunk(self, small_chunks):
        stuck = NeverEnding()
        main = threading.main_thread().ident
        press = threading.Timer(0.2, signal.pthread_kill, (main, signal.SIGINT))
        # Should the signal not be heard, the test fails in half a minute instead of hanging.
        rescue = threading.Timer(30.0, lambda: [f.set_exception(OSError()) for f in stuck.futures])
        press.start()
        rescue.start()
        try:
            with pytest.raises(sw.Interrupted) as error:
                sw.simulate_many(mixed_cases(), executor=stuck, **SETTINGS)
        finally:
            rescue.cancel()
        assert (error.value.finished.status == sw.Status.INTERRUPTED).all()
        assert all(future.cancelled() for future in stuck.futures)


class TestExecutors:
    def test_limits_set_for_other_libraries_are_kept_to(self, monkeypatch):
        monkeypatch.setenv("OMP_NUM_THREADS", "1")
        assert scheduling.processors() == 1
        monkeypatch.setenv("OMP_NUM_THREADS", "many")
        monkeypatch.delenv("NUMBA_NUM_THREADS", raising=False)
        assert scheduling.processors() == len(os.sched_getaffinity(0))

    def test_a_pool_of_ones_own(self, small_chunks):
        here = sw.simulate_many(mixed_cases(), **SETTINGS)
        with ThreadPoolExecutor(2) as pool:
            there = sw.simulate_many(mixed_cases(), executor=pool, **SETTINGS)
        xr.testing.assert_identical(there.drop_attrs(deep=False), here.drop_attrs(deep=False))

    def test_only_so_many_chunks_are_handed_out(self, monkeypatch):
        monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 2)
        in_hand, most = 0, 0

        class Counting(ThreadPoolExecutor):
            def submit(self, function, *arguments):
                nonlocal in_hand, most
                in_hand += 1
                most = max(most, in_hand)
                return super().submit(function, *arguments)

        def finished(done, total):
            nonlocal in_hand
            in_hand -= 1

        cases = mixed_cases()[:1] * 20
        with Counting(1) as pool:
            sw.simulate_many(cases, executor=pool, progress=finished, keep=(), **SETTINGS)
        # One more is handed out before the finished one is told of.
        assert most <= scheduling.IN_HAND_PER_WORKER + 1

    def test_what_is_no_executor_is_refused(self):
        with pytest.raises(sw.InputError, match=r"executor: 3; allowed: an executor"):
            sw.simulate_many(mixed_cases(), executor=3)

    def test_a_cluster_warms_up_once_and_takes_no_chunk_apart(self, small_chunks):
        calls = []

        class Cluster:
            def run(self, function):
                calls.append(function)
                function()

            def nthreads(self):
                return {"one": 1, "two": 1}

            def submit(self, function, *arguments, pure):
                calls.append(pure)
                future = Future()
                future.set_result(function(*arguments))
                return future

        here = sw.simulate_many(mixed_cases(), **SETTINGS)
        there = sw.simulate_many(mixed_cases(), executor=Cluster(), **SETTINGS)
        assert calls == [scheduling.load_kernels, False, False, False]
        xr.testing.assert_identical(there.drop_attrs(deep=False), here.drop_attrs(deep=False))
