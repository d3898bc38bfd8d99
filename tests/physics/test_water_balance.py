"""No water is lost: what came in, went out and stayed adds up in the hardest runs."""

import numpy as np
import pytest
from grounds import CLEAN_GRAVEL
from grounds import COARSE_GRAVEL as GRAVEL
from grounds import UNIFORM_SAND as SAND
from reference import START, hours_after_start, one_soil, weather

from soilwater import (
    CapillaryBreak,
    Event,
    FreeDrainage,
    Layer,
    Profile,
    Sealed,
    SeepageFace,
    SShapedStress,
    Turf,
    VanGenuchten,
    WaterTable,
    Weather,
    WithDryEnd,
    simulate,
    steady_weather,
)

# Invented sand and gravel of the trade; the rest from published tables (see their source).
CLAY = VanGenuchten.texture_class("clay")
TURF = Turf(15.0, fraction_above=(0.9, 10.0), cover=0.8, interception=0.5)


def over_gravel(gravel=GRAVEL, base=None):
    return Profile(
        (Layer(SAND, 30.0, "root zone"), Layer(gravel, 10.0, "gravel")), base or SeepageFace()
    )


def pulses(hours, amount):
    """Half an hour of rain [mm] every six hours."""
    edges = np.unique(np.concatenate([np.arange(0, hours + 1, 6.0), np.arange(0.5, hours, 6.0)]))
    rain = np.where(np.isclose(np.diff(edges), 0.5), amount, 0.0)
    return Weather(hours_after_start(edges), rain, np.zeros(rain.size))


RUNS = {
    "drainage of sand over gravel": lambda: simulate(over_gravel(), weather(48.0)),
    "drainage of sand over clean gravel": lambda: simulate(
        over_gravel(CLEAN_GRAVEL), weather(48.0)
    ),
    "fortnight of drying": lambda: simulate(
        over_gravel(), steady_weather(14, 5.0), turf=TURF, output=24.0
    ),
    "fortnight of drying, dry end": lambda: simulate(
        one_soil(WithDryEnd(SAND), 46.0, CapillaryBreak(3.0)),
        steady_weather(14, 15.0),
        turf=TURF,
        output=24.0,
    ),
    "storm on bone-dry sand": lambda: simulate(
        over_gravel(), weather(3.0, rain=10.0), start=1e4, output=0.25
    ),
    "storm on oven-dry sand": lambda: simulate(
        over_gravel(), weather(3.0, rain=10.0), start=1e6, output=0.25
    ),
    "ponding and runoff": lambda: simulate(
        over_gravel(), weather(2.0, rain=80.0), start=1e4, output=0.25
    ),
    "runoff from clay over sand": lambda: simulate(
        Profile((Layer(CLAY, 10.0, "clay"), Layer(SAND, 30.0, "sand")), FreeDrainage()),
        weather(12.0, rain=3.0),
        start=500.0,
    ),
    "gravel drained and wetted again and again": lambda: simulate(
        over_gravel(CLEAN_GRAVEL), pulses(72.0, 25.0), start="soaked"
    ),
    "sealed and filled to the brim": lambda: simulate(
        over_gravel(base=Sealed()), weather(20.0, rain=1.0), start=100.0
    ),
    "rise from a water table": lambda: simulate(
        one_soil(CLAY, 60.0, WaterTable(60.0)), weather(240.0), start=500.0, output=24.0
    ),
    "irrigation between two demands": lambda: simulate(
        over_gravel(),
        steady_weather(5, 8.0),
        turf=Turf(10.0, stress=SShapedStress(250.0, 3.0), cover=0.5),
        irrigation=[Event(START + np.timedelta64(hour, "h"), 6.0, rate=18.0) for hour in (4, 52)],
        output=6.0,
    ),
}


@pytest.mark.parametrize("name", RUNS)
def test_the_balance_closes(name):
    run = RUNS[name]()
    # Rebuilt from the water contents that are handed out, not from the ledger's own total.
    change = run.storage - run.storage[0]
    supplied = run.rain + run.irrigation - run.interception
    lost = run.runoff + run.transpiration + run.evaporation + run.drainage
    moved = np.abs(supplied) + np.abs(run.runoff) + run.transpiration
    moved = moved + run.evaporation + np.abs(run.drainage) + np.abs(change)
    assert float(moved[-1]) > 1.0
    error = np.abs(supplied - lost - change)
    assert (error <= 1e-6 * moved + 1e-9).all()
    assert (np.abs(run.closure_error) <= 1e-6 * moved + 1e-9).all()
    assert int(run.status) == 0


def test_the_hard_runs_do_what_they_are_called():
    ponded = RUNS["ponding and runoff"]()
    assert float(ponded.runoff[-1]) > 10.0
    assert float(ponded.ponding.max()) > 4.9
    brim = RUNS["sealed and filled to the brim"]()
    assert float(brim.runoff[-1]) > 1.0
    assert float(brim.drainage[-1]) == 0.0
    rise = RUNS["rise from a water table"]()
    assert float(rise.drainage[-1]) < -1.0


@pytest.mark.parametrize("name", RUNS)
def test_water_content_stays_between_its_bounds(name):
    run = RUNS[name]()
    assert float(run.water_content.min()) >= -1e-12
    assert float(run.water_content.max()) <= 0.43
    assert float(run.node_suction.max()) <= 1e7
