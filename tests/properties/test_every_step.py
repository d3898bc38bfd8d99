"""What holds of every implicit step, whether or not it ends along a tangent.

Conservation of water and the amounts asked for are the outside truth. The loop over steps is run
here in plain Python, so that each solution can be looked at before it goes into the ledger.
"""

import numpy as np
import pytest
from grounds import MIDDLE_MIX
from hard_columns import solve

import soilwater as sw
from soilwater.kernels import entry_points, march, rows, water
from soilwater.kernels.column import assemble
from soilwater.kernels.rows import Limits
from soilwater.runs import packing

SEEDS = (7, 24, 84, 118, 142, 165, 182, 218)
"""Columns in which a dry node is wetted at once, and some that just dry."""
MOST_ERROR = 0.5
"""Share of the tolerance by which the end of a tangent may miss the solution, as water content."""


class Watched:
    """Newton's method, and what is found wrong with what it returns."""

    def __init__(self):
        self.solve, self.tangents, self.faults = march.newton, 0, []

    def __call__(self, h, dt, stored, column, soils, limits, work, flows):
        found = self.solve(h, dt, stored, column, soils, limits, work, flows)
        conditions, codes = column.conditions, column.codes
        held = codes[rows.SURFACE_CODE] == rows.HELD_SURFACE
        held |= codes[rows.BASE_CODE] == rows.HELD_HEAD
        if found >= 0 and not held:
            after = self.look_at(dt, stored, conditions, work, flows)
            on_curve = np.zeros(h.size)
            water.water_around_nodes(h, column.z, column.soil, soils, on_curve)
            on_curve[0] += max(h[0], 0.0)
            if not np.allclose(on_curve, work[rows.STORAGE], rtol=1e-14, atol=0.0):
                self.faults.append("heads hold other water than is said")
            fresh = work.copy()
            assemble(h, dt, stored, column, soils, fresh, flows.copy())
            if not np.array_equal(fresh[rows.RESIDUAL], work[rows.RESIDUAL]):
                self.tangents += 1
                again, there, nowhere = np.zeros_like(work), h.copy(), np.zeros_like(flows)
                again[rows.VOLUME : rows.FULL + 1] = work[rows.VOLUME : rows.FULL + 1]
                own = column._replace(conditions=conditions.copy())
                patient = Limits(limits.tolerance, 0.0, 40, 20.0)
                more = self.solve(there, dt, stored, own, soils, patient, again, nowhere)
                missed = np.abs(after - again[rows.STORAGE]) / work[rows.VOLUME]
                if more >= 0 and missed.max() > MOST_ERROR * limits.last_correction:
                    self.faults.append(f"a tangent misses by {missed.max()}")
        return found

    def look_at(self, dt, stored, conditions, work, flows):
        """Water around each node as the ledger will take it [cm]."""
        after = work[rows.STORAGE] - work[rows.RESIDUAL]
        inflow, runoff, transpiration, evaporation, drainage = flows[: rows.N_FLOWS]
        lost = runoff + transpiration + evaporation + drainage
        size = after.sum() + dt * (inflow + lost)
        if abs(after.sum() - stored.sum() - dt * (inflow - lost)) > 1e-12 * size:
            self.faults.append("water is lost")
        if min(runoff, transpiration, evaporation, drainage) < 0.0:
            self.faults.append(f"a flow runs backwards: {flows}")
        if evaporation > conditions[rows.EVAPORATION_DEMAND] * (1.0 + 1e-12):
            self.faults.append("air takes more than it asks for")
        asked = conditions[rows.TRANSPIRATION_DEMAND] * max(conditions[rows.COMPENSATION], 1.0)
        if transpiration > asked * 1.01:
            self.faults.append("roots take more than they ask for")
        return after


@pytest.fixture
def watched(monkeypatch):
    watch = Watched()
    # Plain Python needs no compiling.
    monkeypatch.setattr(packing, "compile_before", lambda *_: None)
    monkeypatch.setattr(entry_points, "march", march.make_march(assemble, watch).py_func)
    for name in ("march_columns", "column_of", "state_of", "soils_of"):
        monkeypatch.setattr(entry_points, name, getattr(entry_points, name).py_func)
    monkeypatch.setattr(entry_points, "rows_of", lambda of, *shape: of.reshape(shape))
    return watch


@pytest.mark.parametrize("seed", SEEDS)
def test_every_step_of_a_hard_column(watched, seed):
    solve(seed)
    assert watched.faults == []


def test_every_step_of_a_fortnight_of_drying(watched):
    sand = MIDDLE_MIX
    run = sw.simulate(
        sw.Profile.over_gravel(sand, 30.0),
        sw.steady_weather(14, 5.0),
        turf=sw.Turf(10.0),
        output="7 d",
    )
    assert watched.faults == []
    assert watched.tangents > 0.5 * float(run.steps)
