"""Columns kept as few kinds and the soils of each: the same columns, and the same runs."""

import pickle
import threading

import numpy as np
import pytest
import xarray as xr
from gravels import SANDS
from grounds import MIDDLE_MIX

import soilwater as sw
from soilwater.ground.base import CLEAN_GRAVEL
from soilwater.ground.fillings import filled
from soilwater.ground.profile import soils_of
from soilwater.runs import gathering, layout, scheduling
from soilwater.runs.kinds import Cases
from soilwater.runs.layout import REMEMBERED, SIMULATED
from soilwater.soils.kernel_table import stack_tables, untabulated
from soilwater.soils.side_by_side import ManySoils
from soilwater.words.arrays import spread, which_occur

MAT = sw.VanGenuchten.texture_class("loam")
SOILS = [
    *SANDS.values(),
    sw.WithDryEnd(MIDDLE_MIX),
    sw.BrooksCorey(0.05, 0.40, "20 cm", 1.5, 40.0),
    sw.Hysteretic(MIDDLE_MIX, 1.5),
]
ONE_LAYER = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
TWO_LAYERS = sw.Profile(
    (sw.Layer(MAT, 2.0, "mat"), sw.Layer(MIDDLE_MIX, 30.0, "root zone")), CLEAN_GRAVEL
)
TURF = sw.Turf.creeping_bentgrass()
WEATHERS = [sw.steady_weather(2, 5.0), sw.steady_weather(2, 3.0, rain=8.0)]


def cases():
    """Of two kinds under two weathers, one of a soil that is met twice."""
    profiles = [each.with_soil(soil) for soil in SOILS for each in (ONE_LAYER, TWO_LAYERS)]
    profiles += [ONE_LAYER, profiles[0]]
    return [sw.Case(each, weather, turf=TURF) for each in profiles for weather in WEATHERS]


def test_cases_come_back_as_they_were_and_share_what_they_share():
    given = cases()
    columns = Cases.of(given)
    # Where a base is made anew it is told apart by its identity.
    assert len(columns) == len(given) and len(columns.kinds) == 4
    for i, (case, back) in enumerate(zip(given, columns, strict=True)):
        assert back.profile == case.profile, i
        assert back.weather is case.weather and back.turf is case.turf
    assert Cases.of(columns) is columns
    some = columns.take(np.array([5, 2, 2]))
    assert [each.profile for each in some] == [given[i].profile for i in (5, 2, 2)]
    assert len(some.kinds) == 2
    assert [each.profile for each in columns[3:9:2]] == [each.profile for each in given[3:9:2]]


def test_soils_are_told_apart_by_all_they_say():
    many = [sw.VanGenuchten(0.05, 0.40, 0.03 + 0.001 * i, 3.0, 40.0) for i in range(20)]
    soils, numbers = ManySoils.of([many, many[::-1]])
    assert list(soils) == many and numbers[1].tolist() == list(range(20))[::-1]
    # One number differs in all but two, which differ in another, in a text, or in nothing.
    for twin, more in (
        (sw.VanGenuchten(0.05, 0.40, 0.03, 3.5, 40.0), 1),
        (sw.VanGenuchten(0.05, 0.40, 0.03, 3.0, 40.0, name="twin"), 1),
        (sw.VanGenuchten(0.05, 0.40, 0.03, 3.0, 40.0), 0),
    ):
        soils, numbers = ManySoils.of([[*many, twin]])
        assert len(soils) == 20 + more and numbers[0, -1] == 20 * more
        assert [soils[k] for k in numbers[0]] == [*many, twin]


def test_meshes_and_texts_are_those_of_each_profile_and_survive_a_journey():
    given = cases()
    columns = Cases.of(given)
    kept = columns.keep_meshes(1.0)
    for whole in (columns, pickle.loads(pickle.dumps(columns))):
        assert whole.texts() == [case.profile.to_json() for case in given]
        for mesh, case in zip(whole.meshes(1.0), given, strict=True):
            own = case.profile.mesh()
            np.testing.assert_array_equal(mesh.depth, own.depth)
            np.testing.assert_array_equal(mesh.soil, own.soil)
            assert mesh.soils == own.soils
    few = columns.take(np.array([7, 1]))
    assert list(few.meshes(1.0)) == [kept[7], kept[1]]
    assert few.meshes(2.0)[0].depth.size > kept[7].depth.size


def test_soils_that_differ_are_numbered_once_and_shorter_columns_repeat_their_last():
    equal = sw.VanGenuchten(**{name: getattr(MAT, name) for name in MAT.__dataclass_fields__})
    assert equal == MAT and equal is not MAT
    many, numbers = ManySoils.of([[MAT], [MIDDLE_MIX, equal, MAT], [MIDDLE_MIX, SOILS[-2]]])
    assert list(many) == [MAT, MIDDLE_MIX, SOILS[-2]]
    assert numbers.tolist() == [[0, 0, 0], [1, 0, 0], [1, 2, 2]]
    whole, numbers = ManySoils.of([SOILS])
    numbers = numbers[0, [3, 0, 3, 5, 4, 1]]
    at = np.geomspace(1.0, 1e4, 6 * 7).reshape(6, 7)
    for suction in (at, at[0]):
        held = whole.curves(numbers)(suction)
        rows = np.broadcast_to(suction, at.shape)
        alone = [SOILS[i].water_content(row) for i, row in zip(numbers, rows, strict=True)]
        np.testing.assert_array_equal(held, alone)
    np.testing.assert_array_equal(whole.remember, [*[False] * (len(SOILS) - 1), True])


def test_columns_that_are_sent_leave_the_soils_of_others_behind():
    columns = Cases.of(cases())
    sent = pickle.loads(pickle.dumps(columns.take(np.array([2, 3, 6]))))
    met = {soil for case in sent for soil in soils_of(case.profile)}
    assert len(sent.soils) == len(met) < len(columns.soils)


def test_a_sign_of_per_cent_in_a_name_stays_in_the_text():
    named = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0, name="5 % peat, %s")
    profile = sw.Profile((sw.Layer(named, 30.0, "10 %d"),), CLEAN_GRAVEL, "100 %(a)s")
    assert sw.Profile.from_json(profile.to_json()) == profile
    assert "100 %(a)s" in profile.to_json() and "%%" not in profile.to_json()


def test_a_profile_filled_with_its_own_soils_is_itself():
    assert filled(TWO_LAYERS, (MAT, MIDDLE_MIX)) is TWO_LAYERS
    assert filled(TWO_LAYERS, (MAT, SOILS[0])) == TWO_LAYERS.with_soil(SOILS[0])


@pytest.mark.parametrize("profile", [ONE_LAYER, TWO_LAYERS], ids=["one layer", "two layers"])
@pytest.mark.parametrize("start", ["drained", "soaked", "25 cm"])
def test_an_ensemble_is_bit_for_bit_its_single_runs(profile, start):
    sands = SOILS[:-1]
    common = {"turf": TURF, "start": start, "output": 12.0}
    batch = sw.simulate_ensemble(profile, WEATHERS, sand=sands, **common)
    for sample, sand in enumerate(sands):
        for member, weather in enumerate(WEATHERS):
            single = sw.simulate(profile.with_soil(sand), weather, **common)
            found = batch.isel(sample=sample, member=member)
            for name in single.data_vars:
                np.testing.assert_array_equal(found[name], single[name], err_msg=name)


@pytest.mark.parametrize("n_threads", [1, 3])
def test_groups_and_pieces_of_any_size_give_the_same(monkeypatch, n_threads):
    whole = sw.simulate_many(cases(), output=12.0, n_threads=n_threads)
    assert (whole.status == sw.Status.OK).all()
    # One column a piece, two pieces a group.
    monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 2)
    monkeypatch.setattr(gathering, "_BYTES_PREPARED", 2 * whole.nbytes / len(cases()))
    sizes, prepare = [], scheduling.prepare
    monkeypatch.setattr(
        scheduling,
        "prepare",
        lambda group, *more: sizes.append(len(group)) or prepare(group, *more),
    )
    apart = sw.simulate_many(cases(), output=12.0, n_threads=n_threads)
    assert len(sizes) > 5 and sum(sizes) == len(cases())
    xr.testing.assert_identical(apart.drop_attrs(deep=False), whole.drop_attrs(deep=False))


def test_whatever_is_kept_groups_of_shorter_columns_find_room(monkeypatch):
    sand = sw.Hysteretic(MIDDLE_MIX, 2.0, 0.85)
    many = [
        sw.Case(sw.Profile.over_gravel(soil, depth), WEATHERS[0], turf=TURF)
        for depth, soil in ((12.0, MIDDLE_MIX), (14.0, sand), (30.0, MIDDLE_MIX), (45.0, sand))
    ]
    whole = sw.simulate_many(many, output=12.0, n_threads=1)
    monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 2)
    monkeypatch.setattr(gathering, "_BYTES_PREPARED", 1)
    for name in set(SIMULATED) & set(whole.data_vars):
        apart = sw.simulate_many(many, output=12.0, keep=(name,), n_threads=1)
        # What is remembered comes with the suction at nodes.
        assert name in apart or name in REMEMBERED
        xr.testing.assert_equal(apart, whole[list(apart.data_vars)].assign_coords(apart.coords))


@pytest.mark.parametrize("name", SIMULATED)
def test_what_results_take_is_known_before_they_are_made(name):
    made = layout.blank(name, 3, 5, 7)
    assert made.nbytes == 8 * np.prod(layout.shape_of(name, 3, 5, 7))


@pytest.mark.parametrize("own", ["water", "rules"])
def test_columns_that_feel_something_else_each_are_prepared_a_few_at_a_time(monkeypatch, own):
    """Each forcing of a long run takes more than its column: thousands would fill the memory."""
    start, sizes, prepare = WEATHERS[0].start, [], scheduling.prepare
    events = [sw.Event(start + np.timedelta64(60 + i, "m"), 3.0, rate=18.0) for i in range(24)]
    rule = sw.Rule(6.0, 0.15, rod=7.6, rate=18.0)
    many = [
        sw.Case(ONE_LAYER, WEATHERS[0], turf=TURF, irrigation=[event])
        if own == "water"
        else sw.Case(ONE_LAYER, WEATHERS[0], turf=TURF, rules=[rule])
        for event in events
    ]
    whole = sw.simulate_many(many, output=48.0, keep=("drainage",), n_threads=2)
    monkeypatch.setattr(scheduling, "CASE_DAYS_PER_CHUNK", 2)
    # An eighth of what they feel takes more than that; what they leave does not.
    monkeypatch.setattr(gathering, "_BYTES_OF_AN_INTERVAL", 2e6)
    monkeypatch.setattr(
        scheduling,
        "prepare",
        lambda group, *more: sizes.append(len(group)) or prepare(group, *more),
    )
    apart = sw.simulate_many(many, output=48.0, keep=("drainage",), n_threads=2)
    assert max(sizes) <= 4 and sum(sizes) == 24
    xr.testing.assert_identical(apart.drop_attrs(deep=False), whole.drop_attrs(deep=False))
    sizes.clear()
    alike = [sw.Case(ONE_LAYER, WEATHERS[0], turf=TURF)] * 24
    sw.simulate_many(alike, output=48.0, keep=("drainage",), n_threads=2)
    assert sizes == [24]


def test_tables_of_some_soils_are_those_of_each_alone():
    soils = [*SOILS, OwnCurve(0.05, 0.40, 0.047, 3.0, 40.0)]
    parts = [[0, 2, 3, 5, 6], [1], [*range(len(soils))]]
    ends = np.cumsum([len(part) for part in parts])
    whole = untabulated(ManySoils(soils), np.concatenate(parts))
    for part, made in zip(parts, whole.parted(ends), strict=True):
        some = [soils[i] for i in part]
        assert made.number_of_soils == len(some)
        for found, alone in zip(made.tables(), stack_tables(some), strict=True):
            np.testing.assert_array_equal(found, alone)
        for i, soil in enumerate(some):
            np.testing.assert_array_equal(made.tables()[0][i], stack_tables([soil])[0][0])


@pytest.mark.parametrize("counts", [[3], [4] * 40, [1, 5, 2] * 20])
def test_values_spread_over_nodes_are_repeated(counts):
    counts = np.array(counts)
    values = np.arange(counts.size) - 0.5
    np.testing.assert_array_equal(spread(values, counts), np.repeat(values, counts))


@pytest.mark.parametrize("numbers", [[3, 0, 3], [[7, 2], [2, 9]], [5, 10_000, 5], []])
def test_numbers_that_occur_are_those_of_numpy(numbers):
    numbers = np.array(numbers, dtype=np.int64)
    occurring, place = which_occur(numbers)
    np.testing.assert_array_equal(occurring, np.unique(numbers))
    np.testing.assert_array_equal(occurring[place], numbers)


@pytest.mark.parametrize(
    ("groups", "threads", "sizes"),
    [
        ([8, 8], 2, [4, 4, 5, 2, 1]),
        ([7, 9], 1, [4, 3, 6, 3]),
        ([3], 5, [1, 1, 1]),
        ([60], 2, [6] * 10),
        # As many of each as there are threads, and no remainder between.
        ([12, 12], 4, [6, 6, 4, 3, 2, 1, 1, 1]),
    ],
)
def test_threads_begin_with_large_pieces_and_end_with_small_ones(groups, threads, sizes):
    found, left = [], sum(groups)
    for count in groups:
        found += scheduling.piece_sizes(count, left, sum(groups), threads, 6)
        left -= count
    assert found == sizes


def test_a_thread_that_starts_as_ctrl_c_comes_ends_too(monkeypatch):
    """One that waits for columns for ever would keep Python from ending."""
    begun = []

    class StartedAsKeysArePressed(threading.Thread):
        def start(self):
            self.daemon = True
            super().start()
            begun.append(self)
            raise KeyboardInterrupt

    monkeypatch.setattr(scheduling, "Thread", StartedAsKeysArePressed)
    with pytest.raises(KeyboardInterrupt):
        sw.simulate_many(cases(), output=48.0, n_threads=2)
    (thread,) = begun
    thread.join(10.0)
    assert not thread.is_alive()


class OwnCurve(sw.VanGenuchten):
    """A model without a kernel of its own."""
