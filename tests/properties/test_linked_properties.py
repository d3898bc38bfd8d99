"""Lines and greens over any ground end, keep their balance, and make nothing sideways."""

import os

import numpy as np
import pytest
from grounds import CAPPING_SAND, EVEN_SAND, MIDDLE_MIX, STRAIGHT_SAND, WET_MIX

import soilwater as sw

LINES = int(os.environ.get("SOILWATER_RANDOM_LINES", "6"))
GREENS = int(os.environ.get("SOILWATER_RANDOM_GREENS", "3"))
"""How many to draw; a hundred and more before a change of the kernels goes in."""
SANDS = (MIDDLE_MIX, WET_MIX, STRAIGHT_SAND, EVEN_SAND, CAPPING_SAND)


def runs_whole(rng, ground, through_the_ends=False):
    """Run four days with a storm from any start; nothing may fail, be made or be lost."""
    start = ["soaked", "drained", f"{10.0 ** rng.uniform(-3, 4):.4g} cm"][rng.integers(3)]
    weather = sw.steady_weather(4, rng.uniform(0.0, 8.0))
    storm = sw.Event(weather.start + np.timedelta64(30, "h"), rng.uniform(0.1, 80.0), duration=1.0)
    run = sw.simulate(
        ground, weather, start=start, turf=sw.Turf.creeping_bentgrass(), irrigation=[storm],
        output="24 h", on_failure="return",
    )  # fmt: skip
    assert (run.status == sw.Status.OK).all()
    out = run.drainage + run.runoff + run.transpiration + run.evaporation
    moved = np.abs(run.storage_change) + out + run.irrigation
    column = run.storage_change + out + run.interception - run.irrigation - run.lateral_inflow
    assert (np.abs(column) <= 1e-6 * moved + 1e-8).all()
    # What the outside gave or took is all that columns gained or lost together.
    sideways = (run.lateral_inflow * run.plan_area).sum(run.plan_area.dims).isel(time=-1)
    if not through_the_ends:
        assert abs(float(sideways)) < 1e-9 * float(run.plan_area.sum())


def any_end(rng):
    """What may lie beyond an end."""
    number = rng.uniform(0.0, 40.0)
    kinds = [
        "closed",
        "goes on",
        sw.SeepageFace(),
        sw.CapillaryBreak(number),
        sw.WaterTable(number),
    ]
    return kinds[rng.integers(5)]


def over_some_base(rng, sand):
    """Sand over gravel that lets go at some suction, or follows its own curve."""
    base = rng.uniform(0.0, 9.0)
    if rng.random() < 0.25:
        return sw.Profile.over_gravel(sand, 30.0)
    return sw.Profile.over_gravel(sand, 30.0, base_suction=base)


@pytest.mark.parametrize("seed", range(LINES))
def test_any_line_ends_and_keeps_its_balance(seed):
    rng = np.random.default_rng(seed)
    sand = SANDS[rng.integers(5)]
    n = int(rng.integers(5, 25))
    x = np.cumsum(rng.uniform(25.0, 100.0, n))
    level = -rng.uniform(0.0, 0.1) * x + rng.uniform(0.0, 6.0) * np.sin(x / rng.uniform(80, 400))
    depth = rng.uniform(20.0, 60.0) + rng.uniform(0.0, 3.0) * np.sin(x / rng.uniform(80, 400))
    green = over_some_base(rng, sand)
    runs_whole(rng, sw.Transect(x, level, depth, green, spacing=100.0))
    ends = [any_end(rng) for _ in range(2)]
    drains = [rng.uniform(x[0], x[-1])] if rng.random() < 0.3 else []
    line = sw.Transect(x, level, depth, green, spacing=100.0, ends=ends, drains=drains)
    runs_whole(rng, line, through_the_ends=True)


@pytest.mark.parametrize("seed", range(GREENS))
def test_any_green_ends_and_keeps_its_balance(seed):
    rng = np.random.default_rng(10_000 + seed)
    n_y, n_x = rng.integers(4, 13, 2)
    y, x = np.meshgrid(np.arange(n_y), np.arange(n_x), indexing="ij")
    tilt = rng.uniform(-0.04, 0.04, 2) * 100.0
    waves = rng.uniform(0.0, 6.0) * np.sin(x / rng.uniform(1, 4)) * np.cos(y / rng.uniform(1, 4))
    level = tilt[0] * x + tilt[1] * y + waves
    depth = rng.uniform(20.0, 60.0) + rng.uniform(0.0, 3.0) * np.cos(x / rng.uniform(1, 4) + y)
    # A round of cells, some of which are cut out: edges of every kind.
    mask = rng.random((n_y, n_x)) > 0.1
    mask[n_y // 2, n_x // 2] = True
    green = over_some_base(rng, SANDS[rng.integers(5)])
    runs_whole(rng, sw.GreenMap(level, depth, green, "1 m", mask=mask))
