"""Exponential soils over a water table: steady flow, and a change of flux, one soil and layers."""

import numpy as np
from reference import (
    ExponentialSoil,
    exponential_steady_head,
    head_at,
    hours_after_start,
    layered_srivastava_yeh_head,
    layered_steady_head,
    one_soil,
    srivastava_yeh_head,
    start_from,
    weather,
)

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
from soilwater import HeldSurface, Layer, Profile, WaterTable, simulate

# Srivastava & Yeh (1991), Water Resources Research 27:753: the soil of their example.
SOIL = ExponentialSoil(theta_r=0.06, theta_s=0.40, alpha=0.1, k_sat=1.0)
DEPTH = 100.0
PROFILE = one_soil(SOIL, DEPTH, WaterTable(DEPTH))
HEIGHTS = np.array([10.0, 20.0, 40.0, 60.0, 80.0, 90.0, 100.0])
CHANGES = {"wetting": (0.1, 0.9), "draining": (0.9, 0.1)}
HOURS = np.array([1.0, 5.0, 10.0, 30.0, 100.0])


def change_of_flux(before, after, hours, refinement=1.0, tolerance=1e-5):
    """Run from steady flow at one flux [cm/h] under another."""
    start = start_from(
        PROFILE, lambda z: exponential_steady_head(SOIL, before, DEPTH - z), refinement
    )
    hours = np.atleast_1d(hours)
    return simulate(
        PROFILE,
        weather(float(hours[-1]), rain=after),
        start=start,
        output=hours_after_start(hours),
        refinement=refinement,
        tolerance=tolerance,
    )


def one_layer():
    rows, panels = [], []
    for name, (before, after) in CHANGES.items():
        run = change_of_flux(before, after, HOURS)
        curves = []
        for i, hours in enumerate(HOURS):
            exact = srivastava_yeh_head(SOIL, DEPTH, before, after, hours, HEIGHTS)
            found = head_at(run, DEPTH - HEIGHTS, i)
            rows.append(
                where_worst(f"{name}, {hours:g} h: head [cm]", DEPTH - HEIGHTS, exact, found, 0.05)
            )
            depth = np.linspace(0.0, DEPTH - 0.5, 200)
            curve = srivastava_yeh_head(SOIL, DEPTH, before, after, hours, DEPTH - depth)
            marks = thinned(-run.node_suction[i].values, run.node_depth.values)
            curves.append(Curve(f"{hours:g} h", (curve, depth), marks))
        panels.append(profile_panel(curves, name))
    return Comparison(tuple(rows), tuple(panels))


# The two-layer problem of the same paper, alpha = .1 1/cm, k_sat 1 and 10 cm/h (from memory).
FINE = ExponentialSoil(0.06, 0.40, 0.1, 1.0)
COARSE = ExponentialSoil(0.06, 0.40, 0.1, 10.0)
COLUMNS = {
    "coarse over fine": [(FINE, 100.0), (COARSE, 100.0)],
    "fine over coarse": [(COARSE, 100.0), (FINE, 100.0)],
    "three layers": [(COARSE, 40.0), (FINE, 30.0), (COARSE, 50.0)],
}
LAYERED_HOURS = np.array([5.0, 30.0])


def layers():
    rows, panels = [], []
    for column, from_base in COLUMNS.items():
        depth = sum(thickness for _, thickness in from_base)
        stack = tuple(Layer(s, d, f"layer {i}") for i, (s, d) in enumerate(reversed(from_base)))
        profile = Profile(stack, WaterTable(depth))
        curves = []
        for name, (before, after) in CHANGES.items():
            run = simulate(
                profile,
                weather(LAYERED_HOURS[-1], rain=after),
                start=start_from(
                    profile,
                    lambda z, q=before, d=depth, stack=from_base: layered_steady_head(
                        stack, q, d - z
                    ),
                ),
                output=hours_after_start(LAYERED_HOURS),
                tolerance=1e-5,
            )
            z = run.node_depth.values[:-1]
            for i, hours in enumerate(LAYERED_HOURS):
                exact = layered_srivastava_yeh_head(from_base, before, after, hours, depth - z)
                found = -run.node_suction[i].values[:-1]
                what = f"{column}, {name}, {hours:g} h: head [cm]"
                rows.append(where_worst(what, z, exact, found, 0.05))
                curves.append(Curve(f"{name}, {hours:g} h", (exact, z), thinned(found, z)))
        panels.append(profile_panel(curves, column))
    return Comparison(tuple(rows), tuple(panels))


FLUXES_DOWN = (0.9, 0.3, 0.01, 1e-4, 0.0)
RISE_OVER = 30.0


def steady():
    """Down on a mesh five times coarser than the default, and up from a water table."""
    rows, down, depth = [], [], np.linspace(0.0, DEPTH, 200)
    for flux in FLUXES_DOWN:
        start = start_from(
            PROFILE, lambda z, q=flux: exponential_steady_head(SOIL, q, DEPTH - z), 0.2
        )
        run = simulate(
            PROFILE, weather(240.0, rain=flux), start=start, output=240.0, refinement=0.2
        )
        z, found = run.node_depth.values, -run.node_suction[-1].values
        exact = exponential_steady_head(SOIL, flux, DEPTH - z)
        rows.append(where_worst(f"{flux:g} cm/h down: head [cm]", z, exact, found, 1e-4))
        curve = exponential_steady_head(SOIL, flux, DEPTH - depth)
        down.append(Curve(f"{flux:g} cm/h", (curve, depth), thinned(found, z)))

    # Capillary rise of q: K(surface) = -q + (k_sat + q) e^(-alpha L); held there from above.
    falling = np.exp(-SOIL.alpha * RISE_OVER)
    up = 0.4 * SOIL.k_sat * falling / (1.0 - falling)
    surface = float(exponential_steady_head(SOIL, -up, RISE_OVER))
    run = simulate(
        one_soil(SOIL, RISE_OVER, WaterTable(RISE_OVER)),
        weather(2000.0),
        start="drained",
        surface=HeldSurface(-surface),
        output=100.0,
        tolerance=1e-4,
    )
    z, found = run.node_depth.values, -run.node_suction[-1].values
    exact = exponential_steady_head(SOIL, -up, RISE_OVER - z)
    rows.append(where_worst(f"{up:.4f} cm/h up: head [cm]", z, exact, found, 1e-4))
    rise = -0.1 * float(run.drainage.diff("time")[-1]) / 100.0
    rows.append(relative("rate of rise [cm/h]", up, rise, 1e-6))
    rising = [Curve(f"{up:.4f} cm/h", (exact, z), thinned(found, z))]
    return Comparison(
        tuple(rows),
        (
            profile_panel(down, "down, on a mesh five times coarser"),
            profile_panel(rising, "up from a water table at 30 cm"),
        ),
    )


DRY_CHANGES = {
    "wetting": (1e-5, 0.9),
    "draining": (0.9, 1e-5),
    "wetting from rest": (0.0, 0.5),
    "draining to rest": (0.5, 0.0),
}
DRY_HOURS = np.array([1.0, 5.0, 30.0])


def flux_over_orders_of_magnitude():
    # Ahead of a front into dry soil a head of -60 cm stands for 0.001 of water: there the water
    # content is the measure on the default mesh, and the head on a mesh three times finer.
    rows, panels, z = [], [], DEPTH - HEIGHTS
    for name, (before, after) in DRY_CHANGES.items():
        run = change_of_flux(before, after, DRY_HOURS)
        finer = change_of_flux(before, after, DRY_HOURS, refinement=3.0)
        curves = []
        for i, hours in enumerate(DRY_HOURS):
            exact = srivastava_yeh_head(SOIL, DEPTH, before, after, hours, HEIGHTS)
            water = SOIL.water_content(-head_at(run, z, i))
            what = f"{name}, {hours:g} h"
            rows += [
                where_worst(f"{what}: water content", z, SOIL.water_content(-exact), water, 3e-4),
                where_worst(f"{what}, finer: head [cm]", z, exact, head_at(finer, z, i), 0.05),
            ]
            depth = np.linspace(0.0, DEPTH - 0.5, 200)
            curve = srivastava_yeh_head(SOIL, DEPTH, before, after, hours, DEPTH - depth)
            found = SOIL.water_content(run.node_suction[i].values)
            curves.append(
                Curve(
                    f"{hours:g} h",
                    (SOIL.water_content(-curve), depth),
                    thinned(found, run.node_depth.values),
                )
            )
        panels.append(Panel(tuple(curves), "water content", "depth (cm)", name, depth_down=True))
    return Comparison(tuple(rows), tuple(panels))


PROBLEMS = (
    Problem(
        "Steady flow in an exponential soil",
        "Water flows through 100 cm of soil with K = K_s e^(alpha h) to a water table at a "
        "constant rate, and up from one at 30 cm to a held surface. The flux between nodes is "
        "exact for this soil on any mesh; so must the heads be.",
        "Gardner (1958), Soil Science 85:228.",
        steady,
    ),
    Problem(
        "Wetting and draining of an exponential soil",
        "Steady flow of 0.1 cm/h through 100 cm of soil to a water table turns to 0.9 cm/h, and "
        "back. Conductivity and water content are exponential in head, which makes the equation "
        "linear.",
        "Srivastava & Yeh (1991), Water Resources Research 27:753, eq. 11-18.",
        one_layer,
    ),
    Problem(
        "Fluxes that change by orders of magnitude",
        "The same soil from all but no flow, or none at all, to 0.9 or 0.5 cm/h and back.",
        "Srivastava & Yeh (1991), as above.",
        flux_over_orders_of_magnitude,
    ),
    Problem(
        "Wetting and draining of layers",
        "Two and three layers of one alpha whose conductivities differ tenfold; the same changes "
        "of flux.",
        "The two-layer problem of Srivastava & Yeh (1991), parameters from memory. Its Laplace "
        "transform is solved layer by layer and inverted numerically (Talbot 1979); with one layer "
        "it gives their series to 1e-6 cm.",
        layers,
    ),
)
