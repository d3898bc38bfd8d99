"""Infiltration in closed form: Broadbridge & White, Philip, Green & Ampt, layers of one alpha."""

import numpy as np
import pytest
from reference import (
    BroadbridgeWhiteSoil,
    ExponentialSoil,
    broadbridge_white,
    hours_after_start,
    layered_srivastava_yeh_head,
    layered_steady_head,
    one_soil,
    philip_series,
    srivastava_yeh_head,
    start_from,
    weather,
)
from scipy.optimize import brentq
from scipy.special import lambertw

from soilwater import (
    BrooksCorey,
    FreeDrainage,
    HeldSurface,
    Layer,
    Profile,
    VanGenuchten,
    WaterTable,
    simulate,
)

# Broadbridge & White (1988), Water Resources Research 24:145; C = 1.17 is their field soil.
BW = BroadbridgeWhiteSoil(0.05, 0.40, length=10.0, k_sat=4.0, c=1.17)
HOURS_PER_TIME = (BW.theta_s - BW.theta_r) * BW.length / BW.k_sat


def test_broadbridge_and_white_gives_its_evaluated_row():
    assert broadbridge_white(1.17, 0.5, 0.5, 0.0)[1] == pytest.approx(0.624059, abs=2e-6)


def constant_flux(rate, hours):
    return simulate(
        one_soil(BW, 80.0, FreeDrainage()),
        weather(hours[-1], rain=rate * BW.k_sat),
        start=BW.length * 1e3,
        output=hours_after_start(hours),
        tolerance=3e-4,
        refinement=2.0,
    )


@pytest.mark.parametrize("rate", [0.3, 0.5, 1.5])
def test_constant_flux_wets_as_broadbridge_and_white_say(rate):
    times = np.array([0.1, 0.25, 0.5])
    run = constant_flux(rate, times * HOURS_PER_TIME)
    for i, time in enumerate(times):
        depth, saturation = broadbridge_white(BW.c, rate, time, np.linspace(0.0, 3.0, 400))
        node = run.node_depth.values / BW.length
        shallow = node < depth[saturation > 0.02].max()
        exact = np.interp(node[shallow], depth, saturation)
        found = BW.effective_saturation(run.node_suction[i].values)[shallow]
        assert np.abs(found - exact).max() < 0.01
        assert found[0] == pytest.approx(exact[0], abs=0.002)


@pytest.mark.parametrize("rate", [1.5, 3.0])
def test_the_surface_ponds_when_broadbridge_and_white_say(rate):
    ponding = brentq(lambda t: broadbridge_white(BW.c, rate, t, 0.0)[1] - 1.0, 1e-3, 3.0)
    hours = ponding * HOURS_PER_TIME * np.array([0.97, 1.03])
    run = constant_flux(rate, hours)
    assert float(run.ponding[0]) == 0.0
    assert float(run.ponding[1]) > 0.0


def test_sorptivity_of_the_new_mexico_soil():
    # Celia et al. (1990) soil wetted from -1000 to -75 cm: S = .0101697 cm s^-1/2 (computed by an
    # separate computation from Philip's equation).
    sorptivity, _ = philip_series(VanGenuchten.measured("New Mexico soil"), 75.0, 1000.0)
    assert sorptivity / 60.0 == pytest.approx(0.0101697, rel=1e-4)


@pytest.mark.parametrize(
    ("soil", "wet", "dry"),
    [
        (VanGenuchten.measured("New Mexico soil"), 75.0, 1000.0),
        (VanGenuchten.texture_class("loam"), 0.1, 1000.0),
        (VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 0.1, 60.0),
    ],
    ids=[
        "New Mexico soil held at -75 cm",
        "loam at the point of ponding",
        "sand at the point of ponding",
    ],
)
def test_early_infiltration_follows_the_series_of_philip(soil, wet, dry):
    sorptivity, second = philip_series(soil, wet, dry)
    # Times at which gravity adds about 2 and 4 % to S t^(1/2).
    hours = (np.array([0.02, 0.04]) * sorptivity / second) ** 2
    run = simulate(
        one_soil(soil, 60.0, FreeDrainage()),
        weather(float(hours[-1])),
        start=dry,
        surface=HeldSurface(wet),
        output=hours_after_start(hours),
        tolerance=1e-4,
        refinement=20.0,
    )
    series = sorptivity * np.sqrt(hours) + second * hours
    assert 0.1 * run.infiltration.values == pytest.approx(series, rel=0.01)


# Green & Ampt (1911) and Mein & Larson (1973), Water Resources Research 9:384; the textbook case of
# psi = 16.68 cm, K = .65 cm/h and a deficit of .340 prints F(1 h) = 3.17 cm and ponding after
# .17 h at 5 cm/h (from memory); by Lambert's W: 3.1648 cm and .16948 h.
PSI, K_WET, DEFICIT = 16.68, 0.65, 0.340


def sharp_soil(pore_size_index):
    """Curve so steep that water stands behind a front or is not there at all."""
    # Suction at the front: integral of K/k_sat over suction = entry (1 + 1/(eta - 1)).
    eta = 2.0 + 2.5 * pore_size_index
    return BrooksCorey(
        0.05, 0.05 + DEFICIT, PSI / (1.0 + 1.0 / (eta - 1.0)), pore_size_index, K_WET
    )


def green_ampt(hours):
    scaled = K_WET * hours / (PSI * DEFICIT)
    return float(-PSI * DEFICIT * (1.0 + lambertw(-np.exp(-1.0 - scaled), -1).real))


def test_ponded_infiltration_tends_to_green_and_ampt():
    assert green_ampt(1.0) == pytest.approx(3.1648, abs=1e-4)
    run = simulate(
        one_soil(sharp_soil(15.0), 30.0, FreeDrainage()),
        weather(1.0),
        start=200.0,
        surface=HeldSurface(0.0),
        output=[np.datetime64("2025-07-01T00:30"), np.datetime64("2025-07-01T01:00")],
        tolerance=1e-3,
        refinement=8.0,
    )
    infiltrated = 0.1 * run.infiltration.values
    assert infiltrated == pytest.approx([green_ampt(0.5), green_ampt(1.0)], rel=0.01)


def test_rain_ponds_when_mein_and_larson_say():
    rate = 5.0
    ponding = PSI * DEFICIT * K_WET / (rate * (rate - K_WET))
    assert ponding == pytest.approx(0.16948, abs=1e-5)
    run = simulate(
        one_soil(sharp_soil(15.0), 30.0, FreeDrainage()),
        weather(1.05 * ponding, rain=rate),
        start=200.0,
        output=hours_after_start(ponding * np.array([0.95, 1.05])),
        tolerance=1e-3,
        refinement=8.0,
    )
    assert float(run.ponding[0]) == 0.0
    assert float(run.ponding[1]) > 0.0


# Srivastava & Yeh (1991), Water Resources Research 27:753, two layers of 100 cm over a water table,
# alpha = .1 1/cm, k_sat 1 and 10 cm/h (from memory).
FINE = ExponentialSoil(0.06, 0.40, 0.1, 1.0)
COARSE = ExponentialSoil(0.06, 0.40, 0.1, 10.0)
COLUMNS = {
    "coarse over fine": [(FINE, 100.0), (COARSE, 100.0)],
    "fine over coarse": [(COARSE, 100.0), (FINE, 100.0)],
    "three layers": [(COARSE, 40.0), (FINE, 30.0), (COARSE, 50.0)],
}


def test_the_layered_form_is_the_series_where_there_is_one_layer():
    heights = np.array([20.0, 60.0, 100.0])
    series = srivastava_yeh_head(FINE, 100.0, 0.1, 0.9, 10.0, heights)
    assert layered_srivastava_yeh_head([(FINE, 100.0)], 0.1, 0.9, 10.0, heights) == pytest.approx(
        series, abs=1e-6
    )
    split = layered_srivastava_yeh_head([(FINE, 30.0), (FINE, 70.0)], 0.1, 0.9, 10.0, heights)
    assert split == pytest.approx(series, abs=1e-6)


@pytest.mark.parametrize("hours", [5.0, 30.0])
@pytest.mark.parametrize(("before", "after"), [(0.1, 0.9), (0.9, 0.1)], ids=["wetting", "draining"])
@pytest.mark.parametrize("column", COLUMNS)
def test_transient_flow_through_layers_of_one_alpha(column, before, after, hours):
    from_base = COLUMNS[column]
    depth = sum(thickness for _, thickness in from_base)
    layers = tuple(Layer(s, d, f"layer {i}") for i, (s, d) in enumerate(reversed(from_base)))
    profile = Profile(layers, WaterTable(depth))

    run = simulate(
        profile,
        weather(hours, rain=after),
        start=start_from(profile, lambda z: layered_steady_head(from_base, before, depth - z)),
        output=hours,
        tolerance=1e-5,
    )
    height = depth - run.node_depth.values[:-1]
    exact = layered_srivastava_yeh_head(from_base, before, after, hours, height)
    assert -run.node_suction[-1].values[:-1] == pytest.approx(exact, abs=0.05)
