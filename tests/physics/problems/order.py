"""Order in space and time, and error against tolerance, by constructed solutions.

Constructed: in an exponential soil K and water are linear, and roots spread like the slowest mode
of the column, asking for water along a half-sine from sunrise to sunset, move that mode alone:
k = steady + f(t) g(z), with g = e^(alpha z/2) sin(mu (L - z)), f' = -rate f - demand(t).
"""

import numpy as np
from grounds import MIDDLE_MIX as SAND
from manufactured import LOAM, error_in_space, error_in_time, head
from reference import (
    START,
    ExponentialSoil,
    exponential_steady_head,
    hours_after_start,
    observed_order,
    one_soil,
    srivastava_yeh_head,
    start_from,
)
from scipy.optimize import brentq

from problems import exponential
from problems.comparison import Comparison, Curve, Panel, Problem, Row, profile_panel, thinned
from soilwater import FreeDrainage, Layer, Profile, Turf, WaterTable, simulate, steady_weather

SOIL = ExponentialSoil(theta_r=0.06, theta_s=0.40, alpha=0.05, k_sat=0.5)
DEPTH, FLUX, DEMAND = 60.0, 0.1, 8.0  # cm, cm/h of rain, mm/day

# No change of flux at the surface, g - g'/alpha = 0, and none of head at the water table.
MU = brentq(lambda m: np.tan(m * DEPTH) + 2.0 * m / SOIL.alpha, 0.51 * np.pi / DEPTH, np.pi / DEPTH)
SPAN = SOIL.theta_s - SOIL.theta_r
RATE = SOIL.k_sat / (SOIL.alpha * SPAN) * (SOIL.alpha**2 / 4.0 + MU**2)


def mode(z):
    return np.exp(0.5 * SOIL.alpha * z) * np.sin(MU * (DEPTH - z))


def mode_integral(z):
    """Integral of the mode from the surface to a depth [cm]."""
    a = 0.5 * SOIL.alpha

    def antiderivative(z):
        angle = MU * (DEPTH - z)
        return np.exp(a * z) * (a * np.sin(angle) + MU * np.cos(angle)) / (a * a + MU * MU)

    return antiderivative(z) - antiderivative(0.0)


class NoStress:
    """Roots take what is asked of them at any suction."""

    kernel_code, kernel_parameters = 0, (0.0, 0.0, 0.0, 0.0, 0.0)

    def reduction(self, suction):
        return np.ones_like(suction)


class RootsLikeTheMode(Turf):
    """Roots spread over depth like the slowest mode."""

    def root_fraction(self, top, bottom):
        return (mode_integral(bottom) - mode_integral(top)) / mode_integral(DEPTH)


def amplitude(hours):
    """f(t) for demand along half-sines from 6 to 18 h: the sum of what each day has left."""
    peak, w, f = 0.1 * DEMAND * np.pi / 24.0 / (SPAN * mode_integral(DEPTH)), np.pi / 12.0, 0.0
    for sunrise in np.arange(6.0, hours, 24.0):
        lit = min(hours - sunrise, 12.0)
        swing = RATE * np.sin(w * lit) - w * np.cos(w * lit) + w * np.exp(-RATE * lit)
        f -= peak * swing / (RATE**2 + w**2) * np.exp(-RATE * (hours - sunrise - lit))
    return f


def exact_head(z, hours):
    steady = np.exp(SOIL.alpha * exponential_steady_head(SOIL, FLUX, DEPTH - z))
    return np.log(steady + amplitude(hours) * mode(z)) / SOIL.alpha


PROFILE = one_soil(SOIL, DEPTH, WaterTable(DEPTH))
HOURS = np.array([12.0, 18.0, 30.0, 39.0])


def uptake_run(refinement, tolerance):
    return simulate(
        PROFILE,
        steady_weather(2, DEMAND, rain=240.0 * FLUX, first_day=START),
        turf=RootsLikeTheMode(DEPTH, stress=NoStress()),
        start=start_from(
            PROFILE, lambda z: exponential_steady_head(SOIL, FLUX, DEPTH - z), refinement
        ),
        output=hours_after_start(HOURS),
        refinement=refinement,
        tolerance=tolerance,
    )


def uptake_error(refinement, tolerance):
    run = uptake_run(refinement, tolerance)
    z = run.node_depth.values
    exact = np.array([exact_head(z, hours) for hours in HOURS])
    return np.abs(-run.node_suction.values - exact).max()


def error_after_a_change_of_flux(name, refinement):
    """Largest error of the head [cm] at the nodes ten hours after the flux has changed."""
    before, after = exponential.CHANGES[name]
    run = exponential.change_of_flux(before, after, 10.0, refinement, tolerance=1e-7)
    height = exponential.DEPTH - run.node_depth.values
    exact = srivastava_yeh_head(exponential.SOIL, exponential.DEPTH, before, after, 10.0, height)
    return np.abs(-run.node_suction[-1].values - exact).max()


# A chosen head in van Genuchten soils, see `manufactured`.
MADE = {
    "van Genuchten sand": one_soil(SAND, 40.0, FreeDrainage()),
    "sand over loam": Profile(
        (Layer(SAND, 20.0, "sand"), Layer(LOAM, 20.0, "loam")), FreeDrainage()
    ),
}
MADE_HOURS = np.linspace(0.0, 3.0, 7)


def made_in_space(name, refinement):
    return error_in_space(MADE[name].mesh(refinement), MADE_HOURS)[0]


IN_SPACE = {
    # How an error follows from a refinement, and refinements from which its order is measured.
    "exponential soil, wetting": (
        lambda r: error_after_a_change_of_flux("wetting", r),
        (0.5, 1.0, 2.0, 4.0),
    ),
    "exponential soil, draining": (
        lambda r: error_after_a_change_of_flux("draining", r),
        (0.5, 1.0, 2.0, 4.0),
    ),
    "exponential soil, uptake by day": (lambda r: uptake_error(r, 1e-7), (0.5, 1.0, 2.0, 4.0)),
    "van Genuchten sand": (lambda r: made_in_space("van Genuchten sand", r), (1.0, 2.0, 4.0, 8.0)),
    "sand over loam": (lambda r: made_in_space("sand over loam", r), (2.0, 4.0, 8.0)),
}
LARGEST_AT_THE_DEFAULT = 0.01  # cm of head, uptake by day


def falling_with(power, x, errors):
    """Straight line of an order through the last error."""
    return x, errors[-1] * (np.asarray(x) / x[-1]) ** power


def order_in_space():
    rows, curves = [], []
    for name, (error, refinements) in IN_SPACE.items():
        errors = np.array([error(refinement) for refinement in refinements])
        rows.append(
            Row(f"{name}: least order in space", 2.0, observed_order(errors).min(), 0.1, True)
        )
        if name == "exponential soil, uptake by day":
            at_default = errors[refinements.index(1.0)]
            rows.append(Row(f"{name}: error of head [cm]", 0.0, at_default, LARGEST_AT_THE_DEFAULT))
        spacing = 1.0 / np.array(refinements)
        curves.append(Curve(name, falling_with(2.0, spacing, errors), (spacing, errors)))
    orders = Panel(
        tuple(curves),
        "distance of nodes over the default",
        "largest error of head (cm)",
        "order in space",
        log_x=True,
        log_y=True,
        x_ticks=(0.125, 0.25, 0.5, 1.0, 2.0),
    )
    shown = []
    for hours in (0.0, 1.5, 3.0):
        mesh = MADE["sand over loam"].mesh()
        times = np.linspace(0.0, hours, 1 + round(2.0 * hours))
        found = error_in_space(mesh, times)[1]
        z = np.linspace(0.0, 40.0, 200)
        shown.append(Curve(f"{hours:g} h", (head(z, hours), z), thinned(found, mesh.depth)))
    return Comparison(
        tuple(rows),
        (orders, profile_panel(shown, "chosen head, sand over loam")),
        "Left: circles are errors, lines fall with the square of the distance. Right: lines are "
        "the chosen head, circles soilwater on the default mesh.",
    )


FINE_TOLERANCES = np.array([1e-3, 1e-4, 1e-5, 1e-6])


def converged_difference(make_run, tolerances, finest):
    """Largest difference in water content from a run at the finest tolerance, and the steps."""
    reference = make_run(finest).water_content.values
    runs = [make_run(tolerance) for tolerance in tolerances]
    errors = [np.abs(run.water_content.values - reference).max() for run in runs]
    return np.array(errors), np.array([int(run.steps) for run in runs], dtype=float)


STEPS = np.array([60, 120, 240])


def order_in_time():
    rows, curves = [], []
    share = [np.linspace(0.0, 1.0, n + 1) for n in STEPS]
    # Steps that grow threefold on the way, so that the scheme is held to uneven ones.
    times = [1.5 * x * (1.0 + x) for x in share]
    for name, profile in MADE.items():
        for second_order, order in ((True, 2.0), (False, 1.0)):
            found = [error_in_time(profile.mesh(), t, second_order) for t in times]
            errors = np.array([error for error, _ in found])
            what = f"{name}, {'two-step differences' if second_order else 'backward Euler'}"
            rows.append(
                Row(f"{what}: least order in time", order, observed_order(errors).min(), 0.1, True)
            )
            if second_order:
                # The first step has no past.
                counts = [(n - 1, count) for n, (_, count) in zip(STEPS, found, strict=True)]
                rows.append(
                    Row(f"{what}: steps of second order, of {counts[-1][0]}", *counts[-1], 0)
                )
            curves.append(Curve(what, falling_with(-order, STEPS, errors), (STEPS, errors)))
    orders = Panel(
        tuple(curves),
        "steps",
        "largest error of head (cm)",
        "order in time",
        log_x=True,
        log_y=True,
        x_ticks=tuple(STEPS),
    )
    # From 1e-3 down: above it the ends of daylight, not the tolerance, set the steps.
    errors, steps = converged_difference(lambda tol: uptake_run(1.0, tol), FINE_TOLERANCES, 1e-8)
    slope = np.polyfit(np.log(FINE_TOLERANCES), np.log(errors), 1)[0]
    in_steps = -np.polyfit(np.log(steps), np.log(errors), 1)[0]
    rows += [
        Row("uptake by day: power of the tolerance in the error", 1.0, slope, 0.2),
        Row("uptake by day: order against the number of steps", 2.0, in_steps, 0.2, True),
    ]
    proportional = Panel(
        (Curve("", falling_with(1.0, FINE_TOLERANCES, errors), (FINE_TOLERANCES, errors)),),
        "tolerance",
        "largest error of water content",
        "uptake by day, exponential soil",
        log_x=True,
        log_y=True,
    )
    return Comparison(
        tuple(rows),
        (orders, proportional),
        "Circles are errors. Lines fall as they should: with the square or the first power of the "
        "length of a step, and in proportion to the tolerance.",
    )


PROBLEMS = (
    Problem(
        "Order in space",
        "Errors on meshes that are halved from one to the next, with time made negligible: the "
        "change of flux above; roots that take water by day from an exponential soil; and a head "
        "chosen freely in van Genuchten soils, kept up by a source of water. The source enters "
        "through the water stored before a step, and is that of the very steps taken, so only "
        "space is left.",
        "Srivastava & Yeh (1991); constructed solutions (`tests/physics/problems/order.py`, "
        "`tests/physics/manufactured.py`).",
        order_in_space,
    ),
    Problem(
        "Order in time",
        "The chosen head again, its source now that of the discrete equation in space, so only "
        "time is left: the two-step differences of the march, on steps that grow threefold, and "
        "backward Euler. On the right, the error of a whole run against its tolerance.",
        "Constructed solutions, as above.",
        order_in_time,
    ),
)
