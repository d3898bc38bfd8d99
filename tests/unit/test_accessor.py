"""Results show themselves: balance, storage by layer, how it ended, a summary on one screen."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr
from grounds import MIDDLE_MIX

import soilwater as sw
from soilwater.accessor import depth_name
from soilwater.words.errors import InputError, Status

SAND = replace(MIDDLE_MIX, name="sand")
LOAM = sw.VanGenuchten.texture_class("loam")
GREEN = sw.Profile.over_gravel(SAND, "12 in")
WEATHER = sw.steady_weather(2, "5 mm/day", rain="4 mm/day")
TURF = sw.Turf.creeping_bentgrass()


@pytest.fixture(scope="module")
def run():
    return sw.simulate(GREEN, WEATHER, turf=TURF)


@pytest.fixture(scope="module")
def depths():
    return sw.compare_depths(GREEN, ["10 in", "40 cm"], WEATHER, turf=TURF)


def test_the_balance_is_the_end_of_the_ledger_and_closes(run):
    balance = run.soilwater.balance()
    assert float(balance.rain) == pytest.approx(8.0)
    out = balance.transpiration + balance.evaporation + balance.drainage + balance.runoff
    came = balance.rain + balance.irrigation - balance.interception
    assert float(came - out) == pytest.approx(float(balance.storage_change + balance.ponding))
    assert balance.drainage.attrs["units"] == "mm"


def test_storage_by_layer_adds_up_to_the_storage():
    layers = (sw.Layer(SAND, 25.0, "cap"), sw.Layer(LOAM, 20.0, "native loam"))
    at_rest = sw.drained_state(sw.Profile(layers, sw.WaterTable(45.0)))
    held = at_rest.soilwater.storage_by_layer()
    assert held.layer.values.tolist() == ["cap", "native loam"]
    # Water of the cap by quadrature of the closed form (van Genuchten 1980).
    suction = np.linspace(20.0, 45.0, 20001)
    theta = 0.05 + 0.35 * (1.0 + (0.047 * suction) ** 3.0) ** (-2.0 / 3.0)
    assert float(held.sel(layer="cap")) == pytest.approx(
        10 * np.trapezoid(theta, suction), rel=1e-5
    )
    # The ledger holds the mean of the ends of each cell, the layers the integral of the curve.
    assert float(held.sum()) == pytest.approx(float(at_rest.storage), rel=2e-3)
    assert held.attrs["units"] == "mm"


def test_storage_by_layer_runs_over_batch_and_time(depths):
    held = depths.soilwater.storage_by_layer()
    assert held.dims == ("root_zone_depth", "time", "layer")
    one = depths.isel(root_zone_depth=1).soilwater.storage_by_layer()
    np.testing.assert_array_equal(held.isel(root_zone_depth=1), one)


def test_a_layer_that_a_column_does_not_have_is_missing_not_zero():
    other = sw.Profile((sw.Layer(SAND, 30.0, "cap"),), sw.SeepageFace())
    weather = sw.steady_weather(1, 0.0)
    runs = sw.simulate_many([sw.Case(GREEN, weather), sw.Case(other, weather)])
    held = runs.soilwater.storage_by_layer().isel(time=-1)
    assert np.isnan(held.sel(layer="cap")[0])
    assert float(held.sel(layer="cap")[1]) > 0.0
    assert "missing" in runs.soilwater.summary()


def test_a_summary_is_one_screen_of_text(depths):
    lines = repr(depths.soilwater).splitlines()
    assert lines[0] == "2 columns, 2025-07-01 00:00 to 2025-07-03 00:00 (2 days); water in mm"
    assert lines[1].split("  ")[0].strip() == ""
    assert "rain" in lines[1]
    assert "irrigation" not in lines[1], "what did not happen is not listed"
    assert lines[3].lstrip().startswith("10 in (25 cm)")
    assert lines[4].lstrip().startswith("40.0 cm (15.7 in)")
    assert lines[-1] == Status.OK.sentence
    assert max(map(len, lines)) < 110
    assert f"{float(depths.drainage[0, -1]):.1f}" in lines[3]


def test_many_columns_are_told_by_least_middle_and_most():
    fit = sw.RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat=40.0).fit(
        sw.VanGenuchten
    )
    runs = sw.compare_depths(GREEN, ["10 in", "12 in"], WEATHER, sand=fit.samples(8))
    lines = runs.soilwater.summary().splitlines()
    assert [line.split()[0] for line in lines[3:6]] == ["least", "middle", "most"]
    drained = runs.drainage.isel(time=-1)
    column = lines[1].split().index("drainage")
    shown = [float(line.split()[1 + column]) for line in lines[3:6]]
    assert shown == pytest.approx(
        [float(drained.min()), float(drained.median()), float(drained.max())], abs=0.051
    )


def test_columns_that_gave_up_are_named():
    tired = sw.simulate_many(
        [sw.Case(GREEN, WEATHER), sw.Case(GREEN, WEATHER)], labels=["A1", "A2"], max_steps=5
    )
    text = tired.soilwater.status()
    assert text.splitlines()[0] == "2 of 2 columns did not reach the end of the run."
    assert text.splitlines()[1].startswith(f"A1: {Status.TOO_MANY_STEPS.sentence}")
    one = tired.isel(case=0).soilwater.status()
    assert one.startswith(Status.TOO_MANY_STEPS.sentence)
    assert "missing" in tired.soilwater.summary()


def test_html_is_a_plain_table_and_text_stays_text():
    layer = sw.Layer(SAND, 30.0, "<script>alert(1)</script>")
    other = sw.Layer(LOAM, 20.0, "loam")
    shown = sw.drained_state(sw.Profile((layer, other), sw.SeepageFace()))
    html = shown.soilwater._repr_html_()
    assert html.startswith("<table>")
    assert "<script>" not in html
    assert "held in &lt;script&gt;" in html


def test_a_state_at_rest_has_no_balance():
    at_rest = sw.drained_state(GREEN)
    assert at_rest.soilwater.status() == "At rest: nothing was simulated."
    assert at_rest.soilwater.summary().startswith("One column; water in mm")
    with pytest.raises(InputError, match="no water balance over time"):
        at_rest.soilwater.balance()


def test_a_dataset_of_something_else_is_refused():
    with pytest.raises(InputError, match='"node_suction" is missing'):
        xr.Dataset({"a": 1}).soilwater.storage_by_layer()


@pytest.mark.parametrize(
    ("depth", "name"),
    [(30.48, "12 in (30 cm)"), (36.83, "14.5 in (37 cm)"), (40.0, "40.0 cm (15.7 in)")],
)
def test_depths_are_named_in_the_unit_they_were_meant_in(depth, name):
    assert depth_name(depth) == name
