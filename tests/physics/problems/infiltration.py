"""Infiltration in closed form: Broadbridge & White, Philip, Green & Ampt."""

import numpy as np
from grounds import MIDDLE_MIX
from reference import (
    BroadbridgeWhiteSoil,
    broadbridge_white,
    hours_after_start,
    one_soil,
    philip_series,
    weather,
)
from scipy.optimize import brentq
from scipy.special import lambertw

from problems.comparison import (
    Comparison,
    Curve,
    Panel,
    Problem,
    Row,
    profile_panel,
    relative,
    thinned,
    where_worst,
)
from soilwater import BrooksCorey, FreeDrainage, HeldSurface, VanGenuchten, simulate

# Broadbridge & White (1988), Water Resources Research 24:145; C = 1.17 is their field soil.
BW = BroadbridgeWhiteSoil(0.05, 0.40, length=10.0, k_sat=4.0, c=1.17)
HOURS_PER_TIME = (BW.theta_s - BW.theta_r) * BW.length / BW.k_sat
TIMES = np.array([0.1, 0.25, 0.5])
RATES = (0.3, 0.5, 1.5)
PONDING_RATES = (1.5, 3.0)


def constant_flux(rate, hours):
    return simulate(
        one_soil(BW, 80.0, FreeDrainage()),
        weather(hours[-1], rain=rate * BW.k_sat),
        start=BW.length * 1e3,
        output=hours_after_start(hours),
        tolerance=3e-4,
        refinement=2.0,
    )


def ponding_hours(run):
    """When the head at the surface passes zero [h], straight between outputs."""
    hours = (run.time.values - run.time.values[0]) / np.timedelta64(1, "ns") / 3.6e12
    head = -run.node_suction.values[:, 0]
    i = int(np.flatnonzero(head >= 0.0)[0])
    return hours, hours[i - 1] - head[i - 1] * (hours[i] - hours[i - 1]) / (head[i] - head[i - 1])


def wetting_at_a_constant_rate():
    rows, panels = [], []
    for rate in RATES:
        run = constant_flux(rate, TIMES * HOURS_PER_TIME)
        curves = []
        for i, time in enumerate(TIMES):
            depth, saturation = broadbridge_white(BW.c, rate, time, np.linspace(0.0, 3.0, 400))
            node = run.node_depth.values / BW.length
            shallow = node < depth[saturation > 0.02].max()
            exact = np.interp(node[shallow], depth, saturation)
            found = BW.effective_saturation(run.node_suction[i].values)[shallow]
            z = run.node_depth.values[shallow]
            what = f"{rate:g} K_s, time {time:g}"
            rows += [
                where_worst(f"{what}: saturation", z, exact, found, 0.01),
                Row(f"{what}: saturation at the surface", exact[0], found[0], 0.002),
            ]
            curves.append(
                Curve(f"time {time:g}", (saturation, BW.length * depth), thinned(found, z))
            )
        title = f"rain of {rate:g} $K_s$"
        panels.append(
            profile_panel(curves, title, "saturation", y_limits=(15.0, 0.0), x_limits=(0.0, 1.0))
        )
    for rate in PONDING_RATES:
        exact = brentq(lambda t, r=rate: broadbridge_white(BW.c, r, t, 0.0)[1] - 1.0, 1e-3, 3.0)
        exact *= HOURS_PER_TIME
        run = constant_flux(rate, exact * np.linspace(0.9, 1.06, 33))
        first = exact * 0.9
        found = first + ponding_hours(run)[1]
        rows.append(relative(f"{rate:g} K_s: ponding starts [h]", exact, found, 0.005))
    return Comparison(tuple(rows), tuple(panels))


SERIES_CASES = {
    "New Mexico soil held at -75 cm": (VanGenuchten.measured("New Mexico soil"), 75.0, 1000.0),
    "loam at the point of ponding": (VanGenuchten.texture_class("loam"), 0.1, 1000.0),
    "sand at the point of ponding": (MIDDLE_MIX, 0.1, 60.0),
}


def series_of_philip():
    rows, panels = [], []
    for name, (soil, wet, dry) in SERIES_CASES.items():
        sorptivity, second = philip_series(soil, wet, dry)
        # Gravity adds up to about 4 % of S t^(1/2).
        hours = (np.array([0.005, 0.01, 0.02, 0.03, 0.04]) * sorptivity / second) ** 2
        run = simulate(
            one_soil(soil, 60.0, FreeDrainage()),
            weather(float(hours[-1])),
            start=dry,
            surface=HeldSurface(wet),
            output=hours_after_start(hours),
            tolerance=1e-4,
            refinement=20.0,
        )
        series, found = sorptivity * np.sqrt(hours) + second * hours, 0.1 * run.infiltration.values
        rows += [
            relative(f"{name}, {60.0 * t:.3g} min: infiltrated [cm]", exact, value, 0.01)
            for t, exact, value in zip(hours[[2, 4]], series[[2, 4]], found[[2, 4]], strict=True)
        ]
        t = np.linspace(0.0, float(hours[-1]), 100)
        curves = (
            Curve(
                "S t^(1/2) + A t",
                (60.0 * t, sorptivity * np.sqrt(t) + second * t),
                (60.0 * hours, found),
            ),
            Curve("S t^(1/2) alone", (60.0 * t, sorptivity * np.sqrt(t)), None),
        )
        panels.append(Panel(curves, "time (min)", "infiltrated (cm)", name))
    return Comparison(tuple(rows), tuple(panels))


# Green & Ampt (1911) and Mein & Larson (1973), Water Resources Research 9:384; the textbook case of
# psi = 16.68 cm, K = .65 cm/h and a deficit of .340 prints F(1 h) = 3.17 cm and ponding after
# .17 h at 5 cm/h (from memory); by Lambert's W: 3.1648 cm and .16948 h.
PSI, K_WET, DEFICIT = 16.68, 0.65, 0.340
RAIN = 5.0


def sharp_soil(pore_size_index):
    """Curve so steep that water stands behind a front or is not there at all."""
    # Suction at the front: integral of K/k_sat over suction = entry (1 + 1/(eta - 1)).
    eta = 2.0 + 2.5 * pore_size_index
    return BrooksCorey(
        0.05, 0.05 + DEFICIT, PSI / (1.0 + 1.0 / (eta - 1.0)), pore_size_index, K_WET
    )


def green_ampt(hours):
    scaled = K_WET * np.asarray(hours) / (PSI * DEFICIT)
    return -PSI * DEFICIT * (1.0 + lambertw(-np.exp(-1.0 - scaled), -1).real)


def mein_larson_ponding(rate):
    return PSI * DEFICIT * K_WET / (rate * (rate - K_WET))


def sharp_front():
    profile, hours = one_soil(sharp_soil(15.0), 30.0, FreeDrainage()), np.linspace(0.05, 1.0, 20)
    settings = {"start": 200.0, "tolerance": 1e-3, "refinement": 8.0}
    run = simulate(
        profile,
        weather(1.0),
        surface=HeldSurface(0.0),
        output=hours_after_start(hours),
        **settings,
    )
    found = 0.1 * run.infiltration.values
    rows = [
        relative(f"{hours[i]:g} h: infiltrated [cm]", green_ampt(hours[i]), found[i], 0.01)
        for i in (9, 19)
    ]
    ponding = mein_larson_ponding(RAIN)
    first = 0.9 * ponding
    rain = simulate(
        profile,
        weather(1.06 * ponding, rain=RAIN),
        output=hours_after_start(ponding * np.linspace(0.9, 1.06, 33)),
        **settings,
    )
    since_first, found_ponding = ponding_hours(rain)
    rows.append(
        relative(f"rain of {RAIN:g} cm/h: ponding starts [h]", ponding, first + found_ponding, 0.02)
    )
    t = np.linspace(1e-6, 1.0, 200)
    held = Curve("", (t, green_ampt(t)), (hours, found))
    head = -rain.node_suction.values[:, 0]
    at_ponding = Curve("start of ponding", ([ponding, ponding], [head.min(), head.max()]), None)
    under_rain = Curve("head at the surface", None, (first + since_first, head))
    return Comparison(
        tuple(rows),
        (
            Panel((held,), "time (h)", "infiltrated (cm)", "held at zero head"),
            Panel(
                (at_ponding, under_rain),
                "time (h)",
                "head at the surface (cm)",
                f"rain of {RAIN:g} cm/h",
            ),
        ),
        "Lines: reference. Circles: soilwater. Under rain the head at the surface climbs in "
        "steps, as the sharp front passes from cell to cell.",
    )


PROBLEMS = (
    Problem(
        "Rain on a soil with realistic curves",
        "Constant rain on dry, deep soil whose diffusivity and conductivity make the full "
        "nonlinear equation solvable: saturation over depth, and the time at which water first "
        f"stands on the surface. Times are in units of {HOURS_PER_TIME:g} h.",
        "Broadbridge & White (1988), Water Resources Research 24:145.",
        wetting_at_a_constant_rate,
    ),
    Problem(
        "Early infiltration",
        "Dry soil is held wet at its surface: infiltration starts with the root of time, and "
        "gravity adds a term in proportion to time. Both coefficients come from Philip's "
        "equations, solved apart from any simulation.",
        "Philip (1957), Soil Science 83:345; Philip & Knight (1974), Soil Science 117:1.",
        series_of_philip,
    ),
    Problem(
        "A front like a piston",
        "A Brooks-Corey soil so steep that water stands behind its front or is not there at all: "
        "infiltration from a surface held at zero head, and the time at which rain starts to pond.",
        "Green & Ampt (1911); Mein & Larson (1973), Water Resources Research 9:384; the case of a "
        "textbook (from memory), evaluated with Lambert's W.",
        sharp_front,
    ),
)
