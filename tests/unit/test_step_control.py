"""How long a step is, what it carries on of the last one, and by what it is judged."""

import numpy as np
import pytest
from grounds import MIDDLE_MIX
from single_column import ALL_SOILS, SOIL, STATES, Z, assembled, conditions_and_codes

import soilwater as sw
from soilwater.kernels import rows, step_control
from soilwater.kernels.rows import State

TOLERANCE, DT = 1.5e-3, 2.0
NODES = Z.size


class LastStep:
    """A moist column that gave up water in a step of one hour, by flow and to roots."""

    def __init__(self, by_flow, by_roots):
        conditions, self.codes = conditions_and_codes("sealed")
        h = STATES["moist"].copy()
        self.work = assembled(h, conditions, self.codes)[0]
        step_control.describe_nodes(Z, SOIL, ALL_SOILS, self.work)
        stored, uptake = self.work[rows.STORAGE].copy(), np.full(NODES, by_roots)
        clock, totals = np.zeros(rows.N_CLOCK), np.zeros(rows.N_LEDGER)
        counts = np.zeros(rows.N_COUNTS, dtype=np.int64)
        rate = np.broadcast_to(by_flow, NODES) - uptake
        self.state = State(h, stored, h.copy(), rate, uptake, clock, totals, counts)

    def error_of(self, by_flow, by_roots):
        """Error told of a step in which nodes gain and lose at other rates [cm/h]."""
        work, gain = self.work, np.asarray(by_flow) - by_roots
        work[rows.STORAGE], work[rows.RESIDUAL] = self.state.stored + DT * gain, 0.0
        work[rows.STORE_AND_UPTAKE] = work[rows.STORAGE] + DT * by_roots
        return step_control.step_error(self.state, DT, 0.0, self.codes, work)


def test_flows_may_be_carried_on_without_uptake():
    last = LastStep(-1e-4, 2e-4)
    share = step_control.share_carried(1.0, 1.0)
    for with_uptake, lost in ((True, 3e-4), (False, 1e-4)):
        assert step_control.weight_of_last_step(
            1.0, 1.0, with_uptake, last.state, last.work
        ) == pytest.approx(share)
        target = last.state.stored - share * lost
        np.testing.assert_allclose(last.work[rows.TARGET], target, rtol=1e-12)


def test_uptake_that_changes_alone_moves_no_mean():
    # Whatever roots take is what they are asked for: only single nodes are told off.
    last = LastStep(-1e-4, 2e-4)
    volume = last.work[rows.VOLUME]
    more = 3e-4
    told = last.error_of(-1e-4, 2e-4 + more)
    of_node = 0.5 * DT * more / volume.min()
    assert told == pytest.approx(of_node / step_control.MOST_OF_NODE, rel=1e-6)


def test_flows_that_change_move_the_mean_above():
    last = LastStep(-1e-4, 2e-4)
    volume = last.work[rows.VOLUME]
    less = -1e-3 * volume
    told = last.error_of(-1e-4 + less, 2e-4)
    mean = volume.sum() / (volume.sum() + step_control.LEAST_DEPTH)
    assert told == pytest.approx(0.5 * DT * 1e-3 * mean / step_control.MOST_OF_MEAN, rel=1e-6)


def test_water_that_nodes_hand_on_is_told_of_by_node():
    last = LastStep(0.0, 0.0)
    volume, moved = last.work[rows.VOLUME], np.zeros(NODES)
    moved[2], moved[3] = 1e-4, -1e-4
    told = last.error_of(moved, 0.0)
    of_node = 1e-4 / min(volume[2], volume[3]) / step_control.MOST_OF_NODE
    above = volume[:3].sum() + step_control.LEAST_DEPTH
    of_mean = 1e-4 / above / step_control.MOST_OF_MEAN
    assert told == pytest.approx(0.5 * DT * max(of_node, of_mean), rel=1e-6)


def test_a_step_in_which_next_to_nothing_moves_may_grow_further():
    grown = [
        step_control.growth_after(share * TOLERANCE, TOLERANCE, 1.0, True)
        for share in (0.0, 0.01, 4.0)
    ]
    assert grown[:2] == [step_control.MOST_GROWTH_AT_REST, step_control.MOST_GROWTH]
    assert step_control.LEAST_GROWTH <= grown[2] < 1.0
    # It then makes an error well below the tolerance.
    longest = step_control.MOST_GROWTH_AT_REST**2 * step_control.AT_REST
    assert longest < 0.1


@pytest.mark.parametrize("kept", [True, False])
@pytest.mark.parametrize("before", [0.0, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("off", [0.5, 0.9, 1.1])
def test_the_next_step_meets_the_tolerance_where_rates_change_evenly(off, before, kept):
    def error(last, dt):
        # Half of a step times the change of rates since the last, from middle to middle.
        return 0.5 * slope * dt * 0.5 * (last + dt)

    dt = 1.7
    slope = off * TOLERANCE / (0.25 * dt * (before * dt + dt))
    told = error(before * dt, dt)
    assert told == pytest.approx(off * TOLERANCE)
    longer = dt * step_control.growth_after(told, TOLERANCE, before, kept)
    # One that is not kept is taken again, after the same step.
    again = error(dt if kept else before * dt, longer)
    assert again == pytest.approx(step_control.AIM * TOLERANCE)


def daylight(first_phase):
    """An interval from 6 to 18 h in which demand follows daylight, or what is left of a day."""
    interval = np.zeros(rows.N_FORCING)
    interval[rows.START], interval[rows.END] = 6.0, 18.0
    interval[rows.PHASE_START], interval[rows.PHASE_END] = first_phase, 1.0
    return interval


@pytest.mark.parametrize(("time", "first_phase", "step"), [(6, 0, 1.3), (8, 0, 3), (6, 0.5, 3)])
def test_a_day_begins_with_a_step_that_the_day_before_has_taught(time, first_phase, step):
    clock, controls = np.zeros(rows.N_CLOCK), np.zeros(rows.N_CONTROLS)
    clock[rows.TIME], clock[rows.NEXT_STEP], clock[rows.DAWN_STEP] = time, 5.0, 1.3
    controls[rows.LARGEST_STEP] = 1e3
    found = step_control.wanted_step(clock, controls, daylight(first_phase), 0.25)
    assert found == pytest.approx(step if first_phase == 0.0 else 5.0)


@pytest.mark.parametrize(("share", "taught"), [(4.0, 1.0), (1.0, 2.0), (0.3, 3.65), (0.2, 0.0)])
def test_a_step_that_began_a_day_teaches_the_next_unless_it_was_far_too_short(share, taught):
    found = step_control.dawn_step(2.0, share * TOLERANCE, TOLERANCE)
    assert found == pytest.approx(taught, rel=1e-3)


def test_only_a_first_day_begins_with_steps_that_are_tried_in_vain():
    profile = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
    turf = sw.Turf(15.0)
    rejected = [
        int(
            sw.simulate(
                profile, sw.steady_weather(days, 5.0), turf=turf, start="drained", output="24 h"
            ).rejected_steps
        )
        for days in (1, 9)
    ]
    assert rejected[1] - rejected[0] < 8


@pytest.mark.parametrize(("growth", "after"), [(0.5, 0.5), (1.5, 2.0), (3.0, 3.0)])
def test_a_step_cut_short_by_a_stop_still_tells_where_it_was_too_long(growth, after):
    assert step_control.next_step(growth, 1.0, 2.0, 1) == after


def test_a_column_at_rest_is_not_watched_closely():
    profile = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
    run = sw.simulate(profile, sw.steady_weather(1, 0.0), start="drained", output="24 h")
    assert int(run.steps) < 18


def test_a_first_step_that_is_too_long_is_followed_by_a_shorter_one():
    # Soaked gravel empties within seconds: a step that had grown twice as long was tried again.
    profile = sw.Profile.over_gravel(MIDDLE_MIX, 30.0)
    run = sw.simulate(profile, sw.steady_weather(1, 0.0), start="soaked", output=1.0)
    assert int(run.rejected_steps) == 0
