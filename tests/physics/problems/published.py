"""Infiltration problems that other solvers were published with.

Parameters are from memory; where a number is no closed form, it is a converged one of a separate
computation on refined meshes, with its uncertainty in the bound.
"""

import numpy as np
from grounds import BENCHMARK_CLAY, BENCHMARK_LOAM
from reference import (
    RationalSoil,
    depth_where,
    head_at,
    hours_after_start,
    one_soil,
    suction_that_conducts,
    travelling_front,
    weather,
)

from problems.comparison import (
    Comparison,
    Curve,
    Problem,
    Row,
    profile_panel,
    relative,
    thinned,
    where_worst,
)
from soilwater import FreeDrainage, HeldSurface, VanGenuchten, WaterTable, simulate

# Celia, Bouloutas & Zarba (1990), Water Resources Research 26:1483, New Mexico soil: 100 cm at
# -1000 cm of head, held at -75 cm at the top and at -1000 cm at the base, one day.
NEW_MEXICO = VanGenuchten.measured("New Mexico soil")
INFILTRATED, FRONT = 4.112, 56.48  # cm; the front is where the head is -500 cm


def celia_new_mexico(**settings):
    profile = one_soil(NEW_MEXICO, 100.0, WaterTable(1100.0))
    return simulate(
        profile, weather(24.0), start=1000.0, surface=HeldSurface(75.0), output=6.0, **settings
    )


def new_mexico():
    default, fine = celia_new_mexico(), celia_new_mexico(refinement=5.0, tolerance=1e-4)
    rows = []
    for name, run, bounds in (
        ("default settings", default, (0.005 * INFILTRATED, 0.005 * FRONT)),
        ("five times finer", fine, (0.002, 0.02)),
    ):
        infiltrated, front = 0.1 * float(run.infiltration[-1]), depth_where(run, 500.0)
        rows += [
            Row(f"{name}: infiltrated [cm]", INFILTRATED, infiltrated, bounds[0]),
            Row(f"{name}: depth of -500 cm [cm]", FRONT, front, bounds[1]),
        ]
    curves = [
        Curve(
            f"{6 * i} h",
            (-fine.node_suction[i].values, fine.node_depth.values),
            thinned(-default.node_suction[i].values, default.node_depth.values),
        )
        for i in range(1, 5)
    ]
    curves.append(Curve("separate computation, 24 h", ([-500.0], [FRONT]), None, True))
    return Comparison(
        tuple(rows),
        (profile_panel(curves, y_limits=(80.0, 0.0)),),
        "Lines: our own mesh, five times finer. Circles: default settings. Cross: the separate "
        "computation.",
    )


# Celia et al. (1990) after Haverkamp et al. (1977), Soil Sci. Soc. Am. J. 41:285: sand of 40 cm
# at -61.5 cm, held at -20.7 cm at the top, 360 s.
HAVERKAMP = RationalSoil(0.075, 0.287, 1.611e6, 3.96, 0.00944 * 3600.0, 1.175e6, 4.74)
DEPTHS, HEADS = [5.0, 10.0, 15.0, 20.0], [-21.943, -25.074, -37.115, -60.793]


def haverkamp_held():
    def solve(**settings):
        return simulate(
            one_soil(HAVERKAMP, 40.0, WaterTable(101.5)),
            weather(0.1),
            start=61.5,
            surface=HeldSurface(20.7),
            output=0.1,
            **settings,
        )

    run, default = solve(refinement=2.0, tolerance=1e-3), solve()
    rows = [
        Row(f"head at {depth:g} cm [cm]", head, float(head_at(run, depth)), 0.2)
        for depth, head in zip(DEPTHS, HEADS, strict=True)
    ]
    # On the default mesh the front, 5 cm thick, lies within a few nodes: only where it is counts.
    place = depth_where(default, -HEADS[2], -1)
    rows.append(Row("front on the default mesh [cm]", DEPTHS[2], float(place), 0.2))
    rows.append(relative("infiltrated [cm]", 2.3815, 0.1 * float(run.infiltration[-1]), 0.005))
    curves = [
        Curve("separate computation, 360 s", (HEADS, DEPTHS), None, reference_is_points=True),
        Curve(
            "soilwater, 360 s",
            None,
            (-run.node_suction[-1].values, run.node_depth.values),
            ours_is_line=True,
        ),
    ]
    return Comparison(
        tuple(rows), (profile_panel(curves),), "Crosses: separate computation. Line: soilwater."
    )


def front_problem(name, soil, flux, before, hours, run, bounds, y_limits):
    """Rows and a panel for a front that travels without changing its shape.

    Its shape follows from the curves alone; where it is at the first time is taken from the run,
    and how far it has come at the second is what is checked.
    """
    share, shape = travelling_front(soil, flux, before)
    behind = suction_that_conducts(soil, flux)
    water = [float(soil.water_content(s)) for s in (before, behind)]
    speed = (flux - float(soil.conductivity(before))) / (water[1] - water[0])
    middle = float(soil.suction_at(0.5 * (water[0] + water[1])))
    at = [depth_where(run, middle, i) for i in (0, 1)]
    travelled = speed * (hours[1] - hours[0])
    z = run.node_depth.values
    curves, found = [], []
    for i, hour in enumerate(hours):
        front = at[0] + i * travelled + shape
        found = soil.water_content(run.node_suction[i].values)
        on = (front > 0.0) & (front < z[-1])
        content = water[0] + share * (water[1] - water[0])
        curves.append(Curve(f"{hour:.3g} h", (content[on], front[on]), thinned(found, z, 36)))
    below = (z > at[0]) & (z < z[-1])
    exact = water[0] + np.interp(z[below], front, share, 1.0, 0.0) * (water[1] - water[0])
    rows = (
        relative(f"{name}: front travels [cm]", travelled, at[1] - at[0], bounds[0]),
        where_worst(
            f"{name}: water content, {hours[1]:.3g} h", z[below], exact, found[below], bounds[1]
        ),
    )
    return rows, profile_panel(curves, name, "water content", y_limits=y_limits)


def haverkamp_rain():
    # Haverkamp et al. (1977): the sand at 0.10 of water under 13.69 cm/h (from memory). Behind the
    # front K = q; the front travels at (q - K before)/(water behind - water before).
    flux, before, hours = 13.69, HAVERKAMP.suction_at(0.10), np.array([0.4, 0.7])
    run = simulate(
        one_soil(HAVERKAMP, 120.0, FreeDrainage()),
        weather(hours[1], rain=flux),
        start=before,
        output=hours_after_start(hours),
        tolerance=1e-3,
    )
    behind = float(HAVERKAMP.water_content(suction_that_conducts(HAVERKAMP, flux)))
    at_surface = float(run.water_content[-1, 0])
    rows, panel = front_problem(
        "sand", HAVERKAMP, flux, before, hours, run, (0.005, 0.003), (80.0, 0.0)
    )
    surface = Row("water content behind the front", behind, at_surface, 1e-4)
    return Comparison((surface, *rows), (panel,))


# Miller et al. (1998), Advances in Water Resources 21:599: hydrostatic over a water table at the
# base, then 10 cm of water kept on the surface.
MILLER = {
    # theta_r, theta_s, alpha [1/cm], n, k_sat [cm/day], depth [cm], days
    "dune sand": (0.093, 0.301, 0.0547, 4.264, 504.0, 1000.0, 0.18),
    "loam": (0.078, 0.43, 0.036, 1.56, 24.96, 500.0, 2.25),
    "clay loam": (0.095, 0.41, 0.019, 1.31, 6.24, 200.0, 1.0),
}
MILLER_INFILTRATED, MILLER_FRONT = 103.60, 501.7  # cm, dune sand; front where the head is -50 cm


def miller_run(name, **settings):
    *parameters, k_sat, depth, days = MILLER[name]
    soil = VanGenuchten(*parameters, k_sat / 24.0)
    profile = one_soil(soil, depth, WaterTable(depth))
    return simulate(
        profile,
        weather(24.0 * days),
        start="drained",
        surface=HeldSurface(-10.0),
        output=24.0 * days,
        **settings,
    )


def miller():
    rows, panels = [], []
    for name in MILLER:
        default, fine = miller_run(name), miller_run(name, refinement=2.0, tolerance=1e-3)
        coarse_in, fine_in = (0.1 * float(run.infiltration[-1]) for run in (default, fine))
        z = fine.node_depth.values
        curves = [
            Curve(
                f"{24.0 * MILLER[name][-1]:g} h",
                (-fine.node_suction[-1].values, z),
                thinned(-default.node_suction[-1].values, default.node_depth.values, 36),
            )
        ]
        if name == "dune sand":
            rows += [
                relative(f"{name}: infiltrated [cm]", MILLER_INFILTRATED, coarse_in, 0.005),
                relative(
                    f"{name}: depth of -50 cm [cm]", MILLER_FRONT, depth_where(default, 50.0), 0.005
                ),
            ]
            curves.append(Curve("separate computation", ([-50.0], [MILLER_FRONT]), None, True))
        else:
            rows.append(
                relative(f"{name}: infiltrated, twice finer [cm]", fine_in, coarse_in, 0.005)
            )
        for what, run in (("default", default), ("twice finer", fine)):
            closure = 0.1 * float(run.closure_error[-1])
            rows.append(
                Row(f"{name}, {what}: error of the balance [cm]", 0.0, closure, 1e-6 * fine_in)
            )
        panels.append(profile_panel(curves, name))
    return Comparison(
        tuple(rows),
        tuple(panels),
        "Lines: our own mesh, twice finer. Circles: default settings. Cross: the separate "
        "computation.",
    )


# Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils from memory).
VANDERBORGHT = {
    "sand": VanGenuchten.measured("benchmark sand"),
    "loam": BENCHMARK_LOAM,
    "clay": BENCHMARK_CLAY,
}

# Water content within the front, whose dry half is 0.5 cm thick in sand, and so is a cell.
FRONT_BOUNDS = {"sand": 0.02, "loam": 0.005, "clay": 0.002}


def vanderborght_infiltration():
    rows, panels = [], []
    for name, soil in VANDERBORGHT.items():
        # 100 cm/day into dry soil at -400 cm, or as much as the soil can take.
        flux = min(100.0 / 24.0, 0.3 * soil.k_sat)
        before = float(soil.water_content(400.0))
        behind = float(soil.water_content(suction_that_conducts(soil, flux)))
        speed = (flux - float(soil.conductivity(400.0))) / (behind - before)
        hours = np.array([0.45, 0.75]) * 150.0 / speed
        run = simulate(
            one_soil(soil, 200.0, FreeDrainage()),
            weather(float(hours[-1]), rain=flux),
            start=400.0,
            output=hours_after_start(hours),
            refinement=3.0,
            tolerance=1e-3,
        )
        soil_rows, panel = front_problem(
            name, soil, flux, 400.0, hours, run, (0.01, FRONT_BOUNDS[name]), (200.0, 0.0)
        )
        rows += soil_rows
        panels.append(panel)
    return Comparison(tuple(rows), tuple(panels))


PROBLEMS = (
    Problem(
        "A front into dry New Mexico soil",
        "100 cm of soil at -1000 cm of head, its surface held at -75 cm for a day.",
        "Celia, Bouloutas & Zarba (1990), Water Resources Research 26:1483 (parameters from "
        "memory); numbers of a separate computation on refined meshes, +- 0.002 and 0.02 cm.",
        new_mexico,
    ),
    Problem(
        "A front into moist sand",
        "40 cm of sand at -61.5 cm of head, its surface held at -20.7 cm for 360 s.",
        "Celia et al. (1990) after Haverkamp et al. (1977), Soil Science Society of America "
        "Journal 41:285 (parameters from memory); numbers of a separate computation on refined "
        "meshes.",
        haverkamp_held,
    ),
    Problem(
        "Constant rain on the same sand",
        "13.69 cm/h on sand with 0.10 of water. A front that has formed travels without changing "
        "shape: speed and shape follow from the curves by quadrature. Where it is at the first "
        "time is taken from the run.",
        "Haverkamp et al. (1977) (parameters from memory); travelling front after Philip (1957), "
        "Soil Science 83:345.",
        haverkamp_rain,
    ),
    Problem(
        "Ten centimetres of water on three deep soils",
        "A profile at rest over a water table is flooded. For the sand there are numbers of a "
        "separate computation; for loam and clay loam none were at hand, and the answer of the "
        "default settings is held to our own on a twice finer mesh.",
        "Miller et al. (1998), Advances in Water Resources 21:599 (parameters from memory).",
        miller,
    ),
    Problem(
        "Rain on dry sand, loam and clay",
        "The second set of the benchmark: 100 cm/day, or as much as the soil can take, into soil "
        "at -400 cm of head. The front is held to its travelling shape, as above.",
        "Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils from memory).",
        vanderborght_infiltration,
    ),
)
