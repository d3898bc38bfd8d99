"""The same spatial equations in plain lines, integrated by general-purpose solvers.

Nodes, half intervals and the exponential mean of the flux as in the solver (that is what is held
fixed); curves, potentials, root weights, demand and all of time written anew. The integrators are
CVODE of SUNDIALS (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363) through a general-purpose
binding at 1e-8, and the BDF method of `scipy.integrate.solve_ivp` at 1e-6 (of the logarithm of
suction; tighter changes the fifth digit of the water content and takes minutes), on one mesh.
"""

from functools import partial
from itertools import pairwise

import numpy as np
from grounds import BENCHMARK_LOAM
from grounds import COARSE_GRAVEL as GRAVEL
from grounds import MIDDLE_MIX as SPEC_SAND
from grounds import UNIFORM_SAND as SAND
from reference import START, hours_after_start, start_from, weather
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline
from scipy.sparse import diags_array

from problems.comparison import Comparison, Curve, Problem, Row, profile_panel, where_worst
from soilwater import (
    CapillaryBreak,
    FreeDrainage,
    Layer,
    Profile,
    SShapedStress,
    Turf,
    VanGenuchten,
    WaterTable,
    simulate,
    steady_weather,
)

EVAPORATION_HALF_SUCTION = 1e4

LOAM = VanGenuchten.texture_class("loam")


class SoilCurve:
    """Water, capacity, conductivity and flux potential (van Genuchten 1980, Mualem 1976)."""

    def __init__(self, soil):
        self.p = soil
        self.m = 1.0 - 1.0 / soil.n
        log_s = np.linspace(np.log(1e-7), np.log(1e7), 60_001)
        # d(potential)/d(log suction) = -s K; summed from the dry end, where it is nothing.
        slope = -np.exp(log_s) * self.conductivity(np.exp(log_s))
        middle = np.exp(0.5 * (log_s[1:] + log_s[:-1]))
        simpson = (slope[1:] + slope[:-1] - 4.0 * middle * self.conductivity(middle)) / 6.0
        whole = -np.diff(log_s) * simpson
        potential = np.append(np.cumsum(whole[::-1])[::-1], 0.0)
        self.potential_of_log = CubicHermiteSpline(log_s, potential, slope)
        self.at_saturation = potential[0]

    def water(self, s):
        return (self.p.theta_s - self.p.theta_r) * (1.0 + (self.p.alpha * s) ** self.p.n) ** -self.m

    def capacity(self, s):
        t = (self.p.alpha * s) ** self.p.n
        return self.water(s) * self.m * self.p.n * t / (1.0 + t) / s

    def conductivity(self, s):
        t = (self.p.alpha * s) ** self.p.n
        pores = -np.expm1(-self.m * np.log1p(1.0 / t))
        return self.p.k_sat * (1.0 + t) ** (-0.5 * self.m) * pores**2

    def potential(self, s):
        return self.potential_of_log(np.log(s))


def bernoulli(x):
    """x / (e^x - 1)."""
    small = np.abs(x) < 1e-4
    x = np.clip(x, -700.0, 700.0)
    return np.where(small, 1.0 - 0.5 * x, x / np.expm1(np.where(small, 1.0, x)))


class PlainColumn:
    """Right-hand side for x = log suction at the nodes; every node must stay unsaturated."""

    def __init__(self, profile, supply=0.0, turf=None, daily_mm=0.0, evaporation=0.0):
        self.mesh, self.base, self.supply = profile.mesh(), profile.base, supply
        self.evaporation = evaporation
        z, number = self.mesh.depth, self.mesh.soil
        self.dz, self.daily = np.diff(z), 0.1 * daily_mm
        self.parts = []
        for i, soil in enumerate(self.mesh.soils):
            cells = np.flatnonzero(number == i)
            self.parts.append((SoilCurve(soil), cells[0], cells[-1] + 2))
        if turf is not None:
            edges = np.concatenate([[0.0], 0.5 * (z[1:] + z[:-1]), [z[-1]]])
            share = turf.root_fraction(edges[:-1], edges[1:])
            self.roots, self.stress = share / share.sum(), turf.stress

    def rates(self, t, x):
        s = np.exp(x)
        storage, gain = np.zeros(x.size), np.zeros(x.size)
        gain[0] += self.supply
        # From a bare surface, halved at the suction that the package takes.
        gain[0] -= self.evaporation / (1.0 + (s[0] / EVAPORATION_HALF_SUCTION) ** 3)
        for curve, a, b in self.parts:
            here, dz = s[a:b], self.dz[a : b - 1]
            half = 0.5 * dz
            capacity, k, phi = curve.capacity(here), curve.conductivity(here), curve.potential(here)
            storage[a : b - 1] += half * capacity[:-1]
            storage[a + 1 : b] += half * capacity[1:]
            change, dk, dh = np.diff(phi), np.diff(k), -np.diff(here)
            level = np.abs(dh) < 1e-9
            mean = np.where(level, k[:-1], change / np.where(level, 1.0, dh))
            exponent = np.where(level, 0.0, dk / np.where(level, 1.0, change))
            flux = mean * (bernoulli(exponent * dh) - dh / dz * bernoulli(exponent * dz))
            gain[a : b - 1] -= flux
            gain[a + 1 : b] += flux
        if isinstance(self.base, CapillaryBreak):
            gain[-1] -= 1e4 * max(self.base.entry_suction - s[-1], 0.0)
        elif isinstance(self.base, FreeDrainage):
            gain[-1] -= k[-1]
        daylight = t % 24.0 - 6.0
        if self.daily and 0.0 < daylight < 12.0:
            demand = self.daily * np.pi / 24.0 * np.sin(np.pi * daylight / 12.0)
            reduction = 1.0 / (1.0 + (s / self.stress.half_suction) ** self.stress.steepness)
            gain -= demand * self.roots * reduction
        rate = -gain / (storage * s)
        if isinstance(self.base, WaterTable):
            rate[-1] = 0.0
        return rate

    def water(self, x):
        """Water content of the cells, shape (times, cells)."""
        s, cells = np.exp(x), []
        for curve, a, b in self.parts:
            at = curve.p.theta_r + curve.water(s[:, a:b])
            cells.append(0.5 * (at[:, 1:] + at[:, :-1]))
        return np.concatenate(cells, axis=1)


def by_scipy(column, x, stops):
    neighbours = diags_array([1.0, 1.0, 1.0], offsets=[-1, 0, 1], shape=(x.size, x.size))
    states = [x]
    for begin, end in pairwise(stops):
        path = solve_ivp(
            column.rates,
            (begin, end),
            states[-1],
            "BDF",
            rtol=1e-6,
            atol=1e-8,
            jac_sparsity=neighbours,
        )
        assert path.success, path.message
        states.append(path.y[:, -1])
    return np.array(states)


def by_sundials(column, x, stops):
    from sksundae import cvode

    def rates(t, y, yp):
        yp[:] = column.rates(t, y)

    states = [x]
    for begin, end in pairwise(stops):
        solver = cvode.CVODE(
            rates,
            rtol=1e-8,
            atol=1e-8,
            linsolver="band",
            lband=1,
            uband=1,
            max_num_steps=200_000,
        )
        path = solver.solve(np.array([begin, end]), states[-1])
        assert path.success, path.message
        states.append(path.y[-1])
    return np.array(states)


TURF = Turf(15.0, fraction_above=(0.9, 10.0), stress=SShapedStress(250.0, 3.0))


def drainage():
    profile = Profile(
        (Layer(SAND, 30.0, "sand"), Layer(GRAVEL, 10.0, "gravel")), CapillaryBreak(3.0)
    )
    hours = [0.0, 0.1, 0.5, 2.0, 12.0, 48.0]
    return profile, weather(48.0), hours, lambda z: -3.5 + 0.02 * (z - 40.0), {}


def dry_down():
    profile = Profile.over_gravel(SPEC_SAND, 30.0, base_suction=3.0)
    # Stops where the sun rises and sets, because the demand has a corner there.
    hours = np.unique(
        np.concatenate([24.0 * np.arange(15), *(24.0 * np.arange(14) + h for h in (6.0, 18.0))])
    )
    keywords = {"turf": TURF, "daily_mm": 5.0}
    return profile, steady_weather(14, 5.0, first_day=START), hours, lambda z: z - 33.0, keywords


def storm():
    profile = Profile.over_gravel(SPEC_SAND, 30.0, base_suction=3.0)
    return profile, weather(0.6, rain=10.0), [0.0, 0.05, 0.2, 0.6], lambda z: -1e4, {"supply": 10.0}


def bare_loam():
    """Both stages of evaporation: the surface dries up within a day."""
    profile = Profile((Layer(BENCHMARK_LOAM, 60.0, "loam"),), FreeDrainage())
    return (
        profile,
        weather(48.0, reference_et=0.3 / 24.0),
        [0.0, 1.0, 3.0, 6.0, 12.0, 24.0, 48.0],
        lambda z: -200.0 + 0.01 * z,
        {"evaporation": 0.3 / 24.0},
    )


def layered():
    profile = Profile(
        (Layer(LOAM, 20.0, "loam"), Layer(SAND, 30.0, "sand"), Layer(LOAM, 50.0, "subsoil")),
        FreeDrainage(),
    )
    return (
        profile,
        weather(24.0, rain=0.5),
        [0.0, 6.0, 24.0],
        lambda z: -150.0,
        {"supply": 0.5},
    )


CASES = {
    "drainage of sand over gravel": drainage,
    "fortnight of drying": dry_down,
    "storm on dry sand": storm,
    "loam, sand, loam": layered,
    "bare loam drying": bare_loam,
}


LEAST_MOVED = 0.03
SHOWN = {
    "drainage of sand over gravel": (1, 2, 5),
    "storm on dry sand": (1, 2, 3),
    "loam, sand, loam": (1, 2),
}


def with_another_integrator(integrator):
    """The same water, at every stop and in every cell, from ours and from another integrator."""
    rows, panels = [], []
    for name, make in CASES.items():
        profile, forcing, hours, head, keywords = make()
        column = PlainColumn(profile, **keywords)
        start = start_from(profile, head)
        states = integrator(column, np.log(start.values), np.asarray(hours))
        bare = Turf(1.0, cover=0.0) if "evaporation" in keywords else None
        run = simulate(
            profile,
            forcing,
            turf=keywords.get("turf", bare),
            start=start,
            output=hours_after_start(hours),
            tolerance=2e-5,
        )
        found, other = run.water_content.values, column.water(states)
        worst = int(np.abs(found - other).max(axis=1).argmax())
        what = f"{name}, {hours[worst]:g} h: water content"
        rows.append(where_worst(what, run.depth.values, other[worst], found[worst], 2e-4))
        moved = float(np.abs(found[-1] - found[0]).max())
        rows.append(
            Row(f"{name}: change of water content, at least", LEAST_MOVED, moved, 0.0, True)
        )
        shown = SHOWN.get(name, (len(hours) // 4, len(hours) // 2, len(hours) - 1))
        curves = [
            Curve(
                f"{hours[i]:g} h",
                (other[i], run.depth.values),
                (found[i][::3], run.depth.values[::3]),
            )
            for i in shown
        ]
        panels.append(profile_panel(curves, name, "water content"))
    return Comparison(tuple(rows), tuple(panels))


PROBLEMS = tuple(
    Problem(
        f"Against {name}",
        "The same nodes and fluxes, with everything else written anew in plain lines, handed to a "
        "general-purpose integrator: drainage of sand over gravel, a fortnight of drying under "
        "turf, a storm on dry sand, rain through three layers, and both stages of evaporation from "
        "bare loam. Compared in every cell at every stop; the row shows the worst.",
        source,
        partial(with_another_integrator, integrator),
        needs,
    )
    for name, source, integrator, needs in (
        (
            "BDF of scipy",
            "`scipy.integrate.solve_ivp` at a relative tolerance of 1e-6.",
            by_scipy,
            "",
        ),
        (
            "CVODE of SUNDIALS",
            "Hindmarsh et al. (2005), ACM Transactions on Mathematical Software 31:363; relative "
            "tolerance 1e-8.",
            by_sundials,
            "sksundae",
        ),
    )
)
