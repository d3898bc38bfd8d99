"""A chosen head over depth and time, made a solution by the source of water that it needs.

The kernels know no free source, but an implicit step starts from the water `stored` around each
node, and water put there enters like a source. All that touches their arguments is in `Stepper`.

What is left of the error can be chosen with the source:

- only space: the source is that of the continuous equation for the very steps that are taken;
- only time: the source is that of the discrete equation in space, for continuous time.
"""

from itertools import pairwise

import numpy as np

from soilwater import VanGenuchten
from soilwater.kernels import column, rows, step_control
from soilwater.kernels.march import newton
from soilwater.kernels.rows import Column, Limits, Soils, State
from soilwater.soils.kernel_table import stack_tables

# A loam (Carsel & Parrish 1988, from memory) for layers.
LOAM = VanGenuchten.texture_class("loam")

MIDDLE, SWING, DEPTH_SCALE, RATE = -38.0, 16.0, 30.0 / np.pi, 0.7  # cm, cm, cm, 1/h


def head(z, t):
    """Chosen head [cm]: waves that wander upward, between -54 and -22 cm."""
    return MIDDLE + SWING * np.sin(z / DEPTH_SCALE + RATE * t)


def head_slope(z, t):
    return SWING / DEPTH_SCALE * np.cos(z / DEPTH_SCALE + RATE * t)


def head_rate(z, t):
    return SWING * RATE * np.cos(z / DEPTH_SCALE + RATE * t)


class Stepper:
    """Steps of the kernels on one mesh: a flux at the surface, a held head at the base."""

    def __init__(self, mesh):
        self.mesh, self.z = mesh, mesh.depth
        n = self.z.size
        self.soils = Soils(*stack_tables(list(mesh.soils)))
        self.conditions = np.zeros(rows.N_CONDITIONS)
        self.conditions[rows.POND_LIMIT] = 1.0
        self.conditions[rows.COMPENSATION] = 1.0
        self.conditions[rows.COMPENSATION_THRESHOLD] = 1.0
        self.codes = np.zeros(rows.N_CODES, dtype=np.int64)
        self.codes[rows.BASE_CODE] = rows.HELD_HEAD
        self.column = Column(self.z, mesh.soil, np.zeros(n), self.conditions, self.codes)
        self.flows = np.zeros(rows.N_RATES)
        self.work = np.zeros((rows.N_WORK, n))
        step_control.describe_nodes(self.z, mesh.soil, self.soils, self.work)

    def _boundaries(self, t):
        soil = self.mesh.soils[self.mesh.soil[0]]
        top = np.zeros(1)
        flux = soil.conductivity(-head(top, t)) * (1.0 - head_slope(top, t))
        self.conditions[rows.SUPPLY] = flux[0]
        self.conditions[rows.BASE_VALUE] = head(self.z[-1], t)

    def _assembled(self, t):
        """Work space after a step of one hour from empty soil to the head of a time."""
        self._boundaries(t)
        work = np.zeros((rows.N_WORK, self.z.size))
        h, empty = head(self.z, t), np.zeros(self.z.size)
        column.assemble(h, 1.0, empty, self.column, self.soils, work, self.flows)
        return work

    def stored(self, t):
        """Water around each node [cm] at the head of a time."""
        return self._assembled(t)[rows.STORAGE]

    def discrete_source(self, t):
        """Source [cm/h] around each node that makes the head solve the discrete equation."""
        work = self._assembled(t)
        leaving = work[rows.RESIDUAL] - work[rows.STORAGE]
        return work[rows.OWN] * head_rate(self.z, t) + leaving

    def two_step(self, dt, last, h, stored, rate):
        """Share of the last step in this one, and what each node starts from."""
        clock, counts = np.zeros(rows.N_CLOCK), np.zeros(rows.N_COUNTS, dtype=np.int64)
        uptake, totals = np.zeros(h.size), np.zeros(rows.N_LEDGER)
        state = State(h, stored, h, rate, uptake, clock, totals, counts)
        weight = step_control.weight_of_last_step(dt, last, True, state, self.work)
        return weight, self.work[rows.TARGET].copy()

    def step(self, h, dt, stored, t):
        """Solve an implicit step that ends at `t` in place; returns the water then held [cm]."""
        self._boundaries(t)
        limits = Limits(1e-10, 0.0, 30, 20.0)
        iterations = newton(h, dt, stored, self.column, self.soils, limits, self.work, self.flows)
        assert iterations >= 0, "Newton's method found no solution"
        return self.work[rows.STORAGE].copy()


def exact_amounts(mesh, t):
    """Water around each node [cm], and the flux out of its half intervals less that into them."""
    share, weight = np.polynomial.legendre.leggauss(6)
    z, dz = mesh.depth, np.diff(mesh.depth)
    middle = 0.5 * (z[1:] + z[:-1])
    # Both halves of every interval; shape (points, intervals).
    upper = z[:-1] + 0.25 * dz * (1.0 + share[:, None])
    lower = middle + 0.25 * dz * (1.0 + share[:, None])
    held, flux = np.zeros(z.size), np.zeros(dz.size)
    for number, soil in enumerate(mesh.soils):
        cells = np.flatnonzero(mesh.soil == number)
        for half, points in ((0, upper[:, cells]), (1, lower[:, cells])):
            water = soil.water_content(-head(points, t)) - soil.dry_end_water_content
            held[cells + half] += 0.25 * dz[cells] * (weight @ water)
        conductivity = soil.conductivity(-head(middle[cells], t))
        flux[cells] = conductivity * (1.0 - head_slope(middle[cells], t))
    top = mesh.soils[mesh.soil[0]]
    at_top = float(top.conductivity(-head(0.0, t))) * (1.0 - head_slope(0.0, t))
    return held, np.append(flux, flux[-1]) - np.append(at_top, flux)


def error_in_space(mesh, times):
    """Largest error of the head [cm] after backward Euler steps, whose own error is nothing.

    Also returns the heads at the nodes [cm].
    """
    stepper, h = Stepper(mesh), head(mesh.depth, times[0])
    stored = stepper.stored(times[0])
    before, _ = exact_amounts(mesh, times[0])
    for start, end in pairwise(times):
        after, leaving = exact_amounts(mesh, end)
        source = after - before + (end - start) * leaving
        stored = stepper.step(h, end - start, stored + source, end)
        before = after
    return float(np.abs(h - head(mesh.depth, times[-1])).max()), h


def error_in_time(mesh, times, second_order=True):
    """Largest error of the head [cm] after steps of the march on a mesh without an error.

    Also returns how many steps were of second order.
    """
    stepper, h = Stepper(mesh), head(mesh.depth, times[0])
    stored, rate = stepper.stored(times[0]), np.zeros(h.size)
    last, count = 0.0, 0
    for start, end in pairwise(times):
        dt = end - start
        weight, target = stepper.two_step(dt, last if second_order else 0.0, h, stored, rate)
        effective = dt - weight * last
        source = stepper.discrete_source(end)
        after = stepper.step(h, effective, target + effective * source, end)
        rate, stored, last = (after - stored) / dt, after, dt
        count += weight > 0.0
    return float(np.abs(h - head(mesh.depth, times[-1])).max()), count
