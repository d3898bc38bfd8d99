"""Evaporation from bare soil: at the rate the air asks for, and at the rate the soil gives."""

import numpy as np
from reference import (
    broadbridge_white_drying,
    desorptivity,
    hours_after_start,
    one_soil,
    weather,
)
from scipy.optimize import brentq

from problems.comparison import (
    Comparison,
    Curve,
    Panel,
    Problem,
    profile_panel,
    relative,
    thinned,
    where_worst,
)
from problems.infiltration import BW, HOURS_PER_TIME
from problems.published import VANDERBORGHT
from soilwater import FreeDrainage, HeldSurface, Turf, simulate

BARE = Turf(1.0, cover=0.0)
"""All demand asks for evaporation."""

# Saturation at the start, and rate in units of k_sat.
DRYING = {"moist, slowly": (0.6, 0.02), "moist, fast": (0.6, 0.1), "wet, fast": (0.9, 0.1)}
DRY = 0.05
"""Saturation at the surface that ends the first stage; the suction there is 232 cm, which lowers
evaporation by a hundred-thousandth (`EVAPORATION_HALF_SUCTION`)."""


def duration_of_first_stage(before, rate):
    """Dimensionless time at which the surface is dry."""

    def left(time):
        return float(broadbridge_white_drying(BW.c, before, rate, time, 0.0)[1]) - DRY

    # Long after a surface would be drier than dry the form means nothing: close in from below.
    late = 1.0
    while left(late) > 0.0:
        late *= 1.2
    return brentq(left, 1e-3, late)


def first_stage_run(before, rate, times):
    suction = brentq(lambda s: float(BW.effective_saturation(s)) - before, 1e-6, 1e3, xtol=1e-13)
    hours = times * HOURS_PER_TIME
    return simulate(
        one_soil(BW, 300.0, FreeDrainage()),
        weather(hours[-1], reference_et=rate * BW.k_sat),
        turf=BARE,
        start=suction,
        output=hours_after_start(hours),
        tolerance=1e-4,
        refinement=2.0,
    )


def first_stage():
    rows, panels = [], []
    for name, (before, rate) in DRYING.items():
        duration = duration_of_first_stage(before, rate)
        shares = np.append([0.1, 0.4, 0.8], np.linspace(0.9, 1.03, 27))
        run = first_stage_run(before, rate, shares * duration)
        curves = []
        for i, share in enumerate(shares[:3]):
            depth, saturation = broadbridge_white_drying(
                BW.c, before, rate, share * duration, np.linspace(0.0, 6.0, 400)
            )
            z = run.node_depth.values
            z = z[z < BW.length * depth[-1]]
            exact = np.interp(z / BW.length, depth, saturation)
            found = BW.effective_saturation(run.node_suction[i].values)[: z.size]
            what = f"{name}, {share:g} of the stage: saturation"
            rows.append(where_worst(what, z, exact, found, 0.001))
            curves.append(
                Curve(f"{share:g} of the stage", (saturation, BW.length * depth), thinned(found, z))
            )
        at_surface = BW.effective_saturation(run.node_suction.values[3:, 0])
        found = np.interp(-DRY, -at_surface, shares[3:]) * duration
        rows.append(
            relative(
                f"{name}: length of the stage [h]",
                duration * HOURS_PER_TIME,
                found * HOURS_PER_TIME,
                0.002,
            )
        )
        panels.append(profile_panel(curves, name, "saturation", y_limits=(60.0, 0.0)))
    return Comparison(tuple(rows), tuple(panels))


# Vanderborght et al. (2005), Vadose Zone Journal 4:206, third set (soils, heads and rates from
# memory): sand at -40 cm, loam and clay at -200 cm, a surface no drier than -10 000 cm.
DRIEST = 1e4
BEFORE = {"sand": 40.0, "loam": 200.0, "clay": 200.0}


def held_dry():
    """Sorptivity of drying to a held surface, and the loss with the root of time."""
    rows, panels = [], []
    for name, soil in VANDERBORGHT.items():
        # Without gravity the loss is S t^(1/2); gravity enters with t and is taken out between a
        # time and four times it (Philip 1957, Soil Science 83:345).
        dryness = desorptivity(soil, DRIEST, BEFORE[name])
        # Early: the dried layer is about a centimetre deep.
        span = float(soil.water_content(BEFORE[name]) - soil.water_content(DRIEST))
        first = (0.4 * span / dryness) ** 2
        hours = first * np.array([0.25, 1.0, 2.0, 3.0, 4.0])
        run = simulate(
            one_soil(soil, 40.0, FreeDrainage()),
            weather(float(hours[-1])),
            start=BEFORE[name],
            surface=HeldSurface(DRIEST),
            output=hours_after_start(hours),
            tolerance=1e-4,
            refinement=20.0,
        )
        loss = -0.1 * run.infiltration.values
        found = (4.0 * loss[1] - loss[4]) / (2.0 * np.sqrt(first))
        rows.append(relative(f"{name}: loss over root of time [cm/h^1/2]", dryness, found, 0.01))
        # The term that gravity adds is read from the same two times, for the picture alone.
        gravity = (loss[4] - 2.0 * loss[1]) / (2.0 * first)
        t = np.linspace(0.0, hours[-1], 100)
        curves = (Curve("S t^(1/2)", (t, dryness * np.sqrt(t)), (hours, loss - gravity * hours)),)
        panels.append(Panel(curves, "time (h)", "lost, gravity taken out (cm)", name))
    return Comparison(tuple(rows), tuple(panels))


POTENTIAL = {"sand": 0.1, "loam": 0.3, "clay": 0.3}  # cm/day
REFINEMENT = {"sand": 40.0, "loam": 4.0, "clay": 4.0}


def both_stages():
    """Potential rate E while the soil can give it, then S/2 over the root of a shifted time.

    Time compression: the first stage ends at t_p = S^2/(2 E^2), and what follows is desorption as
    if it had begun at t_p/2. It leaves out gravity and is itself an approximation: where the
    diffusivity is constant, a first stage lasts pi^2/8 times as long (Carslaw & Jaeger 1959, from
    memory).
    """
    rows, panels = [], []
    for name, soil in VANDERBORGHT.items():
        rate, before = POTENTIAL[name] / 24.0, BEFORE[name]
        dryness = desorptivity(soil, DRIEST, before)
        end = dryness**2 / (2.0 * rate**2)
        shares = np.array([0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0])
        hours = shares * end

        def lost(t, rate=rate, end=end, dryness=dryness):
            later = dryness * (np.sqrt(np.maximum(t - 0.5 * end, 0.0)) - np.sqrt(0.5 * end))
            return np.where(t < end, rate * t, rate * end + later)

        run = simulate(
            one_soil(soil, 60.0, FreeDrainage()),
            weather(hours[-1], reference_et=rate),
            turf=BARE,
            start=before,
            output=hours_after_start(hours),
            refinement=REFINEMENT[name],
            tolerance=1e-4,
        )
        found = 0.1 * run.evaporation.values
        rows += [
            relative(
                f"{name}, {hours[1]:.3g} h: evaporated [cm]", rate * hours[1], found[1], 0.002
            ),
            relative(
                f"{name}, {hours[-1]:.3g} h: evaporated [cm]", lost(hours[-1]), found[-1], 0.02
            ),
        ]
        t = np.linspace(0.0, hours[-1], 300)
        curves = (
            Curve("time compression", (t, lost(t)), (hours, found)),
            Curve("potential rate", (t[t < 2.0 * end], rate * t[t < 2.0 * end]), None),
        )
        panels.append(
            Panel(curves, "time (h)", "evaporated (cm)", f"{name}, {POTENTIAL[name]:g} cm/day")
        )
    return Comparison(tuple(rows), tuple(panels))


PROBLEMS = (
    Problem(
        "Evaporation at a constant rate, exactly",
        "Bare, deep soil with the curves of Broadbridge & White starts at an even saturation and "
        f"loses water at a constant rate until its surface is down to a saturation of {DRY:g}: the "
        "first stage of evaporation, nonlinear, with gravity. Rates are 0.02 and 0.1 K_s, starts "
        "at 0.6 and 0.9.",
        "Closed form after Broadbridge & White (1988), Water Resources Research 24:145, carried "
        "over to drying from an even start (derived in `reference.broadbridge_white_drying`).",
        first_stage,
    ),
    Problem(
        "Evaporation to a dry surface",
        "The surface of moist sand, loam and clay is held at -10 000 cm of head: water leaves with "
        "the root of time. The factor S comes from an integral equation, without any simulation.",
        "Third set of Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils and heads from "
        "memory); Philip (1957), Soil Science 83:345; Philip & Knight (1974), Soil Science 117:1.",
        held_dry,
    ),
    Problem(
        "Evaporation in two stages",
        "The same soils, bare, under a constant potential rate: first they give what is asked, "
        "then what they can. The reference is time compression, an approximation without gravity; "
        "at the turn it is sharp where the truth is round, so what is held is the first stage and "
        "the total at eight times its length.",
        "Third set of Vanderborght et al. (2005) (soils, heads and rates from memory; time "
        "compression as there, from memory).",
        both_stages,
    ),
)
