"""Water at rest and in steady flow: hydrostatics, layers, and evaporation from a water table."""

import numpy as np
from grounds import BENCHMARK_CLAY, BENCHMARK_LOAM, CLEAN_GRAVEL, COARSE_GRAVEL
from grounds import MIDDLE_MIX as SAND
from reference import (
    RationalSoil,
    one_soil,
    start_from,
    steady_head_by_quadrature,
    suction_that_conducts,
    weather,
)
from scipy.special import hyp2f1

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
from soilwater import (
    CapillaryBreak,
    FreeDrainage,
    HeldSurface,
    Layer,
    Profile,
    Sealed,
    SeepageFace,
    VanGenuchten,
    WaterTable,
    WithDryEnd,
    drained_state,
    simulate,
)

# Invented sand B of the trade, and sharp contrasts beside it.
UNIFORM_SAND = VanGenuchten(0.03, 0.40, 0.05, 12.0, 60.0)
CLAY = VanGenuchten.texture_class("clay")
LOAM = VanGenuchten.texture_class("loam")
GRAVEL = VanGenuchten.measured("matrix-free gravel")

RESTING = {
    "sand": [(SAND, 30.0)],
    "sand over gravel": [(SAND, 30.0), (GRAVEL, 10.0)],
    "mat, sand, gravel": [(LOAM, 2.0), (UNIFORM_SAND, 25.0), (CLEAN_GRAVEL, 10.0)],
    "clay between sands": [(SAND, 20.0), (CLAY, 5.0), (UNIFORM_SAND, 45.0)],
    "dry end": [(WithDryEnd(SAND), 30.0), (LOAM, 200.0)],
}
BASES = {
    "seepage face": lambda depth: SeepageFace(),
    "capillary break": lambda depth: CapillaryBreak(6.0),
    "water table at the base": lambda depth: WaterTable(depth),
    "water table far below": lambda depth: WaterTable(depth + 150.0),
    "water table in the profile": lambda depth: WaterTable(0.6 * depth),
    "sealed": lambda depth: Sealed(),
}
MOST_MOVED = 1e-7


def stacked(layers, base):
    return Profile(
        tuple(Layer(soil, thickness, f"layer {i}") for i, (soil, thickness) in enumerate(layers)),
        base,
    )


def month_at_rest(layering, base, refinement=1.0):
    """Run of thirty days from hydrostatic heads."""
    layers = RESTING[layering]
    depth = sum(thickness for _, thickness in layers)
    profile = stacked(layers, BASES[base](depth))
    resting = profile.base.resting_suction(depth)
    base_suction = 12.0 if resting is None else resting
    start = start_from(profile, lambda z: z - depth - base_suction, refinement)
    return simulate(profile, weather(720.0), start=start, output=240.0, refinement=refinement)


def head_moved(run):
    return float(np.abs(run.node_suction - run.node_suction[0]).max())


def storage_at_rest(sand, thickness):
    """Water [mm] over a water table at the base, by the integral of the van Genuchten curve.

    The integral of effective saturation is s 2F1(m, 1/n; 1 + 1/n; -(alpha s)^n).
    """
    n, scaled = sand.n, (sand.alpha * thickness) ** sand.n
    saturation = thickness * hyp2f1(1.0 - 1.0 / n, 1.0 / n, 1.0 + 1.0 / n, -scaled)
    return 10.0 * (sand.theta_r * thickness + (sand.theta_s - sand.theta_r) * saturation)


# Sand of Carsel & Parrish (1988) (from memory), 300 mm over water: 58.061 mm.
CLASS_SAND = VanGenuchten.texture_class("sand")
CLASS_SAND_MM = 58.061


def rest():
    rows, panels = [], []
    for layering, layers in RESTING.items():
        runs = {base: month_at_rest(layering, base) for base in BASES}
        moved = {base: head_moved(run) for base, run in runs.items()}
        most = max(moved, key=moved.get)
        what = f"{layering}: head moved in 30 days, most of six bases ({most}) [cm]"
        rows.append(Row(what, 0.0, moved[most], MOST_MOVED))
        if layering in ("sand over gravel", "clay between sands", "mat, sand, gravel"):
            run = runs["capillary break"]
            top, depth, curves = 0.0, run.depth.values, []
            total = sum(thickness for _, thickness in layers)
            for soil, thickness in layers:
                at = np.linspace(top, top + thickness, 100)
                # This capillary break holds 6 cm of suction at the base.
                exact = soil.water_content(total - at + 6.0)
                inside = (depth > top) & (depth < top + thickness)
                top += thickness
                found = run.water_content[-1].values[inside]
                curves.append(Curve("", (exact, at), (found[::2], depth[inside][::2])))
            panels.append(profile_panel(curves, layering, "water content", x_limits=(0.0, 0.45)))
    profile = one_soil(CLASS_SAND, 30.0, WaterTable(30.0))
    run = simulate(profile, weather(1.0), start="drained", output=1.0, refinement=20.0)
    exact = storage_at_rest(CLASS_SAND, 30.0)
    rows += [
        Row(
            "30 cm of sand over water, fine mesh: storage [mm]", exact, float(run.storage[-1]), 2e-3
        ),
        Row(
            "30 cm of sand over water, default mesh: storage [mm]",
            exact,
            float(drained_state(profile).storage),
            0.2,
        ),
    ]
    return Comparison(
        tuple(rows),
        tuple(panels),
        "Over a capillary break. Lines: the retention curve at hydrostatic suction. Circles: "
        "soilwater after thirty days.",
    )


# Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils from memory), and the invented sands
# and gravel of the trade.
COARSE = VanGenuchten.measured("benchmark sand")

FLOWING = {
    "loam over sand": [(BENCHMARK_LOAM, 50.0), (COARSE, 50.0)],
    "sand over loam": [(COARSE, 50.0), (BENCHMARK_LOAM, 50.0)],
    "clay over sand": [(BENCHMARK_CLAY, 50.0), (COARSE, 50.0)],
    "sand, loam, sand": [(COARSE, 20.0), (BENCHMARK_LOAM, 30.0), (COARSE, 50.0)],
    "root zone over gravel": [(SAND, 30.0), (COARSE_GRAVEL, 10.0)],
    "loam, sand, loam": [(BENCHMARK_LOAM, 20.0), (SAND, 30.0), (BENCHMARK_LOAM, 50.0)],
}
DAILY_FLUXES = (0.5, 2.0)  # cm/day


def steady_run(profile, flux, start):
    return simulate(profile, weather(4000.0, rain=flux), start=start, output=4000.0, tolerance=1e-3)


def flow_through_layers(make_case):
    """Rows and panels of all layerings; `make_case` gives profile, exact heads and start."""
    rows, panels = [], []
    for layering, layers in FLOWING.items():
        curves = []
        for daily in DAILY_FLUXES:
            flux = daily / 24.0
            profile, exact, start = make_case(layers, flux)
            run = steady_run(profile, flux, start)
            z, found = run.node_depth.values, -run.node_suction[-1].values
            rows.append(
                where_worst(f"{layering}, {daily:g} cm/day: head [cm]", z, exact(z), found, 0.05)
            )
            curves.append(Curve(f"{daily:g} cm/day", (exact(z), z), thinned(found, z)))
        panels.append(profile_panel(curves, layering))
    return Comparison(tuple(rows), tuple(panels))


def layers_over_water():
    def case(layers, flux):
        profile = stacked(layers, WaterTable(sum(thickness for _, thickness in layers)))
        return profile, steady_head_by_quadrature(layers, flux, 0.0), "drained"

    return flow_through_layers(case)


def layers_over_deep_soil():
    # Unit gradient at the base, as in the first set of Vanderborght et al. (2005).
    def case(layers, flux):
        base_suction = suction_that_conducts(layers[-1][0], flux)
        exact = steady_head_by_quadrature(layers, flux, -base_suction)
        profile = stacked(layers, FreeDrainage())
        return profile, exact, start_from(profile, lambda z: exact(z) - 5.0)

    return flow_through_layers(case)


def gardner_depth(soil, evaporation, suction):
    """Height [cm] above water at which steady evaporation E leaves a suction; K = A/(S^n + b).

    Gardner (1958), Soil Sci. 85:228: the integral of ds / (1 + E/K), by the hypergeometric
    function (computed).
    """
    n = soil.conductivity_power
    a = soil.k_sat * soil.conductivity_scale
    share = evaporation / (a + evaporation * soil.conductivity_scale)
    at = suction * hyp2f1(1.0, 1.0 / n, 1.0 + 1.0 / n, -share * suction**n)
    return at / (1.0 + evaporation * soil.conductivity_scale / a)


def gardner_soil(n, a=1000.0, b=400.0):
    """Soil that conducts a/(suction^n + b) cm/h; its water curve does not matter when steady."""
    return RationalSoil(0.05, 0.40, 400.0, 2.0, a / b, b, n)


POWERS, SURFACE_SUCTIONS, EVAPORATION = (1.5, 2.0, 3.0, 4.0), (200.0, 1000.0), 0.05


def rise_from_a_water_table():
    rows, panels = [], []
    for suction in SURFACE_SUCTIONS:
        curves = []
        for n in POWERS:
            soil = gardner_soil(n)
            depth = float(gardner_depth(soil, EVAPORATION, suction))
            run = simulate(
                one_soil(soil, depth, WaterTable(depth)),
                weather(3000.0),
                start="drained",
                surface=HeldSurface(suction),
                output=1000.0,
                tolerance=1e-3,
                refinement=4.0,
            )
            rise = -0.1 * float(run.drainage[-1] - run.drainage[-2]) / 1000.0
            what = f"n = {n:g}, {suction:g} cm at {depth:.1f} cm above water: rate [cm/h]"
            rows.append(relative(what, EVAPORATION, rise, 0.002))
            s = np.geomspace(1.0, suction, 200)
            found, height = run.node_suction[-1].values, depth - run.node_depth.values
            wet = found >= 1.0
            logarithm, marks = thinned(np.log(found[wet]), height[wet])
            exact = gardner_depth(soil, EVAPORATION, s)
            curves.append(Curve(f"n = {n:g}", (s, exact), (np.exp(logarithm), marks)))
        panels.append(
            Panel(
                tuple(curves),
                "suction (cm)",
                "height above water (cm)",
                f"surface at {suction:g} cm",
                log_x=True,
            )
        )
    return Comparison(tuple(rows), tuple(panels))


PROBLEMS = (
    Problem(
        "Water at rest",
        "Hydrostatic heads over six kinds of base must stay put in any layering, and the water "
        "held must be the integral of the retention curve (30 cm of sand over water).",
        "Hydrostatics; the integral by the hypergeometric function, sand of Carsel & Parrish "
        "(1988), Water Resources Research 24:755 (from memory).",
        rest,
    ),
    Problem(
        "Steady flow through layers to a water table",
        "Constant rain on two and three layers until nothing changes: clay, loam, sand and gravel.",
        "Darcy's law, integrated upward from the water table by a general-purpose integrator at "
        "1e-10; soils of Vanderborght et al. (2005) (from memory) and of this library's examples.",
        layers_over_water,
    ),
    Problem(
        "Steady flow through layers into deep soil",
        "The same layerings with a unit gradient at the base: the first set of the benchmark.",
        "Vanderborght et al. (2005), Vadose Zone Journal 4:206 (soils from memory); heads as "
        "above.",
        layers_over_deep_soil,
    ),
    Problem(
        "Evaporation from a water table",
        "Soil with K = A/(S^n + b) stands on water, its surface held dry; water rises at a steady "
        f"{EVAPORATION:g} cm/h from the depth that the closed form gives.",
        "Gardner (1958), Soil Science 85:228, by the hypergeometric function.",
        rise_from_a_water_table,
    ),
)
