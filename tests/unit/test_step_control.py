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
    grown = [step_control.growth_after(share * TOLERANCE, TOLERANCE) for share in (0.0, 0.01, 4.0)]
    assert grown == [step_control.MOST_GROWTH_AT_REST, step_control.MOST_GROWTH, 0.45]
    # It then makes an error well below the tolerance.
    longest = step_control.MOST_GROWTH_AT_REST**2 * step_control.AT_REST
    assert longest < 0.1


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
