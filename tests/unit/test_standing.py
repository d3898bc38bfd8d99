"""Columns that are kept standing go on as if they had been run from the start, bit for bit."""

from dataclasses import replace

import numpy as np
import pytest
from grounds import EVEN_SAND, MIDDLE_MIX, WET_MIX

import soilwater as sw
from soilwater.decisions.watering import planning
from soilwater.decisions.watering.ensembles import packed_columns
from soilwater.kernels import entry_points, remembering, rows
from soilwater.runs.columns_of import columns_of_profiles
from soilwater.runs.standing import PackedColumns, Standing, Watered

ROD = 7.6
TURF = sw.Turf("15 cm", fraction_above=(0.9, "10 cm"))
FIVE = sw.steady_weather(6, 5.0)
WITH_RAIN = sw.steady_weather(6, 6.0, rain="3 mm/day", sunrise=5.0, sunset=20.0)
LITTLE_RAIN = sw.steady_weather(6, 6.0, rain="0.5 mm/day")
REMEMBERS = sw.Hysteretic(MIDDLE_MIX, 2.0, 0.9)
CATCHES = replace(TURF, interception="2 mm", compensation=0.6)
REFUSES = replace(TURF, repellent_mat=sw.RepellentMat("14 %", "3 cm", intake=1.0, wetted_after=2.0))


def case(sand=MIDDLE_MIX, depth=30.0, weather=FIVE, turf=TURF, start="drained"):
    green = sw.Profile.over_gravel(sand, depth, base_suction=3.0)
    return sw.Case(green, weather, turf=turf, start=start)


def given(*amounts):
    """Water by the hour of the run at which it is given."""
    return tuple(
        sw.Event(FIVE.start + np.timedelta64(hour, "h"), amount, duration=0.25, name="hand water")
        for hour, amount in amounts
    )


# Added late; added earlier; more of that; taken back; at another hour; all at once.
PLANS = [
    given((102, 4.0)),
    given((54, 3.0), (102, 4.0)),
    given((54, 5.0), (102, 4.0)),
    given((102, 4.0)),
    given((84, 2.5), (102, 4.0)),
    given((0, 6.0), (30, 3.0), (84, 2.5), (102, 6.0), (126, 1.0)),
]
KEPT = (0, 1, 5, 9, 13, 14, 17, 21, 23)
"""Output times, every 6 h, at or before these; nothing is kept before 126 h."""

COLUMNS = {
    "plain sand": [case(), case(EVEN_SAND, 36.0)],
    "sand that remembers": [
        case(REMEMBERS),
        case(REMEMBERS, 38.0, start=sw.AfterRain(10.0)),
    ],
    "one remembers, one does not": [case(), case(REMEMBERS), case(WET_MIX, 41.0)],
    "rain": [case(weather=WITH_RAIN), case(weather=FIVE), case(REMEMBERS, weather=WITH_RAIN)],
    "canopy that catches rain": [case(weather=WITH_RAIN, turf=CATCHES), case(turf=CATCHES)],
    "a mat that refuses": [case(turf=REFUSES), case(), case(REMEMBERS, turf=REFUSES)],
}


def standing_at_start(cases):
    return Standing.of(packed_columns(cases, ROD), KEPT)


def from_the_start(cases, events):
    cases = [each.with_water(events) for each in cases]
    run = sw.simulate_many(cases, output="6 h", tolerance=0.006, refinement=0.6)
    columns = columns_of_profiles(run, [each.profile for each in cases], 0.6)
    return Watered(
        np.array([each.mean(0.0, ROD) for each in columns]),
        run.storage.values,
        run.transpiration.values,
        run.potential_transpiration.values,
        run.drainage.values,
        run.runoff.values,
    )


def assert_same(found, wanted):
    for name, own, other in zip(Watered._fields, found, wanted, strict=True):
        assert np.isfinite(other).all()
        np.testing.assert_array_equal(own, other, name)


@pytest.mark.parametrize("kind", COLUMNS)
def test_going_on_is_the_run_from_the_start(kind):
    cases = COLUMNS[kind]
    standing, every = standing_at_start(cases), np.arange(len(cases))
    for events in PLANS:
        assert_same(standing.water(every, events), from_the_start(cases, events))


def test_some_columns_go_on_while_others_stand():
    cases = [case(depth=depth) for depth in (28.0, 30.0, 33.0)]
    standing = standing_at_start(cases)
    for which, events in zip(([0, 1, 2], [2, 0], [1], [0, 1, 2]), PLANS, strict=False):
        chosen = [cases[i] for i in which]
        found = standing.water(np.array(which), events)
        assert_same(found, from_the_start(chosen, events))


@pytest.mark.parametrize("kind", COLUMNS)
def test_columns_that_come_part_of_the_way_go_on_from_there(kind):
    """Under more water, under what was changed behind them, and to the end."""
    cases = COLUMNS[kind]
    standing, every = standing_at_start(cases), np.arange(len(cases))
    for events, until in zip(PLANS, (9, 13, 21, 14, None, 5), strict=True):
        upto = slice(None if until is None else until + 1)
        found = standing.water(every, events, until=until)
        wanted = from_the_start(cases, events)
        assert_same(
            Watered(*(each[:, upto] for each in found)),
            Watered(*(each[:, upto] for each in wanted)),
        )
    assert_same(standing.water(every, PLANS[-1]), from_the_start(cases, PLANS[-1]))


def test_threads_share_no_room():
    cases = [case(REMEMBERS, depth) for depth in np.linspace(26.0, 44.0, 24).tolist()]
    standing = standing_at_start(cases)
    for events in PLANS[:2]:
        found = standing.water(np.arange(24), events, n_threads=3)
        assert_same(found, from_the_start(cases, events))


def test_one_piece_of_columns_starts_no_thread(monkeypatch):
    standing = standing_at_start([case(), case(depth=36.0)])
    monkeypatch.setattr("threading.Thread.start", None)
    assert np.isfinite(standing.water(np.arange(2), PLANS[0], n_threads=2).reading).all()


def test_water_beside_what_a_column_has_of_its_own():
    own = given((12, 3.0))
    cases = [replace(each, irrigation=own) for each in COLUMNS["plain sand"]]
    standing = standing_at_start(cases)
    for events in PLANS[:3]:
        assert_same(standing.water(np.arange(2), events), from_the_start(cases, events))


def test_every_row_of_a_node_or_a_column_is_listed_beside_the_state():
    packed = packed_columns([case(), case(depth=36.0), case(), case()], ROD).packed
    by_size = {packed.z.size: rows.PER_NODE, packed.status.size: rows.PER_COLUMN}
    elsewhere = {"forcing_range", *rows.OUTPUTS}
    for size, listed in by_size.items():
        found = {name for name in packed._fields if len(getattr(packed, name)) == size}
        assert found - elsewhere == set(listed)
    assert set(rows.STATE_OF_NODES + rows.STATE_OF_COLUMNS) < set(rows.PER_NODE + rows.PER_COLUMN)


def test_what_stands_is_not_run_again(monkeypatch):
    """The hours marched follow from what is other than before; of the same nothing is."""
    hours = []
    for module, name in ((entry_points, "march_columns"), (remembering, "march_remembering")):
        march = getattr(module, name)

        def marched(first, last, packed, *more, march=march):
            hours.extend(packed.out_time)
            march(first, last, packed, *more)

        monkeypatch.setattr(module, name, marched)
    for cases in (COLUMNS["plain sand"], COLUMNS["sand that remembers"]):
        standing, every = standing_at_start(cases), np.arange(2)
        since = []
        for events in PLANS:
            hours.clear()
            standing.water(every, events, n_threads=1)
            since.append(hours[0])
            assert np.all(np.diff(hours) == 6.0)
            hours.clear()
            standing.water(every, events, n_threads=1)
            assert not hours
        # The first output time after the last that was kept before what is new; of a visit in the
        # middle of a day's demand, which parts it, before that day.
        assert since == [0.0, 60.0, 60.0, 60.0, 84.0, 6.0]


def test_columns_come_no_further_than_they_are_asked_to(monkeypatch):
    hours = []
    march = entry_points.march_columns

    def marched(first, last, packed):
        hours.extend(packed.out_time)
        march(first, last, packed)

    monkeypatch.setattr(entry_points, "march_columns", marched)
    standing, every = standing_at_start(COLUMNS["plain sand"]), np.arange(2)
    came = []
    for until in (9, 9, 5, 17, None):
        hours.clear()
        standing.water(every, PLANS[1], n_threads=1, until=until)
        came.append((hours[0], hours[-1]) if hours else None)
    assert came == [(0.0, 54.0), None, None, (60.0, 102.0), (108.0, 144.0)]


def test_a_column_that_fails_or_cannot_be_started_says_so():
    with pytest.raises(sw.RunError, match=r"1 of 2 columns failed.*suction is 1e\+09 cm"):
        packed_columns([case(), case(start=1e9)], ROD)
    columns = packed_columns([case(), case()], ROD)
    columns.packed.controls[1, 3] = 5.0
    with pytest.raises(
        sw.RunError, match=r"1 of 2 columns failed, the first with: .* Last good time: \d"
    ):
        Standing.of(columns, ()).water(np.arange(2), PLANS[0])


def test_parts_of_packed_columns_are_as_packed_alone():
    cases = COLUMNS["one remembers, one does not"]
    part = packed_columns(cases, ROD).part(np.array([2, 0]))
    alone = PackedColumns.of([cases[2], cases[0]], ROD, output=6.0, tolerance=0.006, refinement=0.6)
    for name in ("node_start", "z", "root", "head", "conditions", "codes", "clock"):
        np.testing.assert_array_equal(getattr(part.packed, name), getattr(alone.packed, name))
    np.testing.assert_array_equal(part.dry_end, alone.dry_end)


# --- plans -----------------------------------------------------------------------------------

SANDS = [replace(WET_MIX, alpha=alpha) for alpha in np.linspace(0.036, 0.042, 60).tolist()]
GREENS = {
    "drained": {"sand": WET_MIX, "draws": 12},
    "sands that remember": {"sand": [sw.Hysteretic(each, 2.0, 0.9) for each in SANDS], "draws": 12},
    "begun on few draws": {"sand": SANDS, "draws": 50},
    "from readings": {"sand": SANDS, "start": "readings", "draws": 10},
    "a mat, rain": {"sand": WET_MIX, "draws": 4, "turf": REFUSES, "weather": LITTLE_RAIN},
}


@pytest.mark.parametrize("kind", GREENS)
def test_a_plan_is_the_plan_of_columns_run_from_the_start(kind, monkeypatch):
    spots = [(36.0, 0.15), (43.0, 0.12)]
    green = sw.Survey([sw.Spot(f"{d:g}", d, readings=[sw.Reading(r, rod=ROD)]) for d, r in spots])
    asked = {"turf": TURF, "weather": FIVE, "rod": ROD} | GREENS[kind]
    plan = sw.hand_water_plan(green, threshold="12 %", **asked)
    assert plan.waterings
    runs = []

    def anew(standing, numbers, events, *_, **__):
        runs.append(len(numbers))
        return from_the_start([standing.columns.cases[i] for i in numbers], events)

    monkeypatch.setattr(planning.Standing, "water", anew)
    again = sw.hand_water_plan(green, threshold="12 %", **asked)
    # In full, with its courses; some numbers of it are not a number.
    assert repr(again.spots) == repr(plan.spots)
    assert len(runs) > 3
