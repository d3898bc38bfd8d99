"""The equations as general-purpose integrators get them: dy/dt = f(t, y), compiled, and flat data.

LSODA is scipy's, called through Python; CVODE runs in compiled code alone.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from compiled_cvode import compile_right_hand_side, integrate
from numba import njit
from scipy.integrate import odeint

from soilwater.kernels.curves import N_BINS, ROW_LENGTH, SCALARS, hydraulics
from soilwater.kernels.flux import interval_flux
from soilwater.kernels.uptake import s_shaped, taper
from soilwater.soils.kernel_table import stack_tables

STRESS = (250.0, 3.0)
MOST_STEPS = 10_000
"""Steps from one stated hour to the next, after which a peer gives up."""

# A column as the peers see it: one flat array. These numbers, then depth, soil and roots of the
# nodes, then scalars and tables of the soils.
LENGTH, N_NODES, N_SOILS, SUPPLY, DAILY, OUTFLOW, FLOOR, SCALE, NUMBERS = range(9)
FREE_DRAINAGE = -1.0


@njit(error_model="numpy")
def head_of(y, scale):  # type: ignore[no-untyped-def]
    """Head [cm] and its derivative by the unknown: head, or asinh(head / scale) with a scale."""
    if scale == 0.0:
        return y, 1.0
    e = np.exp(y)
    return 0.5 * scale * (e - 1.0 / e), 0.5 * scale * (e + 1.0 / e)


@njit(error_model="numpy")
def rates(t, y, yp, column):  # type: ignore[no-untyped-def]
    """Rate of change of the unknown at each node."""
    n, n_soils, a = int(column[N_NODES]), int(column[N_SOILS]), NUMBERS
    z, soil, root = column[a : a + n], column[a + n : a + 2 * n], column[a + 2 * n : a + 3 * n]
    a += 3 * n
    scalars = column[a : a + n_soils * SCALARS].reshape(n_soils, SCALARS)
    tables = column[a + n_soils * SCALARS :].reshape(n_soils, N_BINS, ROW_LENGTH)
    scale, floor, outflow = column[SCALE], column[FLOOR], column[OUTFLOW]
    daylight, demand = t % 24.0 - 6.0, 0.0
    if 0.0 < daylight < 12.0:
        demand = column[DAILY] * np.pi / 24.0 * np.sin(np.pi * daylight / 12.0)

    flux_above, capacity, j = column[SUPPLY], 0.0, int(soil[0])
    h, stretch = head_of(y[0], scale)
    _, c, k, slope, phi = hydraulics(h, tables, scalars, j)
    for i in range(n):
        h1, stretch1, c1, k1, slope1, phi1, half = h, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
        if i < n - 1:
            if int(soil[i]) != j:
                j = int(soil[i])
                _, c, k, slope, phi = hydraulics(h, tables, scalars, j)
            dz = z[i + 1] - z[i]
            half = 0.5 * dz
            h1, stretch1 = head_of(y[i + 1], scale)
            _, c1, k1, slope1, phi1 = hydraulics(h1, tables, scalars, j)
            flux = interval_flux(dz, h, k, slope, phi, h1, k1, slope1, phi1)[0]
            capacity += half * max(c, floor)
        elif outflow == FREE_DRAINAGE:
            flux = k
        else:
            flux = outflow * max(h, 0.0)
        uptake = 0.0
        if demand > 0.0 and root[i] > 0.0:
            # No soil of these cases gives up its last water at the dry end of soils.
            end = taper(-h, 0.0)[0]
            uptake = demand * root[i] * s_shaped(-h, STRESS[0], STRESS[1])[0] * end
        yp[i] = (flux_above - flux - uptake) / (capacity * stretch)
        flux_above, capacity = flux, half * max(c1, floor)
        h, stretch, c, k, slope, phi = h1, stretch1, c1, k1, slope1, phi1


@njit(error_model="numpy")
def rates_returned(t, y, column):  # type: ignore[no-untyped-def]
    yp = np.empty_like(y)
    rates(t, y, yp, column)
    return yp


@njit(error_model="numpy")
def nothing_returned(t, y, column):  # type: ignore[no-untyped-def]
    return np.empty_like(y)


RIGHT_HAND_SIDE = compile_right_hand_side(rates)


class Setting(NamedTuple):
    """How a peer is set; a scale of 0 [cm] means that head is the unknown."""

    solver: str
    scale: float
    rtol: float
    atol: float
    floor: float = 1e-8
    longest_step: float = 0.0
    sealed: bool = False


def seconds_a_call(y: np.ndarray, column: np.ndarray) -> float:
    """What calling a compiled function from Python costs, apart from what it computes [s]."""
    best = np.inf
    nothing_returned(0.0, y, column)
    for _ in range(5):
        begin = time.process_time()
        for _ in range(1000):
            nothing_returned(0.0, y, column)
        best = min(best, (time.process_time() - begin) / 1000)
    return best


def integrator(
    s: Setting,
    mesh: Any,
    roots: np.ndarray,
    start: np.ndarray,
    hours: Sequence[float],
    supply: float,
    daily: float,
    outflow: float,
) -> Callable[[], tuple[float, np.ndarray, dict[str, int]]]:
    """A function that solves once: processor time [s], heads at the hours (NaN: gave up), work."""
    tables, scalars = stack_tables(mesh.soils)
    n = mesh.depth.size
    numbers = [0, n, len(mesh.soils), supply, daily, outflow, s.floor, s.scale]
    soil = np.append(mesh.soil, mesh.soil[-1])
    column = np.concatenate([numbers, mesh.depth, soil, roots, scalars.ravel(), tables.ravel()])
    column[LENGTH] = column.size
    y = np.arcsinh(start / s.scale) if s.scale else start
    stops = np.array([0.0, *hours])
    # A night at rest tells LSODA nothing about its first step, and it gives up.
    first = 1e-3 if daily else 0.0
    a_call = seconds_a_call(y, column) if s.solver == "LSODA" else 0.0

    def by_cvode() -> tuple[float, np.ndarray, dict[str, int]]:
        begin = time.process_time()
        states, work = integrate(
            RIGHT_HAND_SIDE, y, stops, column,
            rtol=s.rtol, atol=s.atol, longest_step=s.longest_step, most_steps=MOST_STEPS,
        )  # fmt: skip
        return time.process_time() - begin, states, work

    def by_lsoda() -> tuple[float, np.ndarray, dict[str, int]]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            begin = time.process_time()
            states, told = odeint(
                rates_returned, y, stops, (column,), tfirst=True, ml=1, mu=1, rtol=s.rtol,
                atol=s.atol, h0=first, hmax=s.longest_step, mxstep=MOST_STEPS, full_output=True,
            )  # fmt: skip
            seconds = time.process_time() - begin
        steps, calls, jacobians = (int(told[name][-1]) for name in ("nst", "nfe", "nje"))
        if told["message"] != "Integration successful.":
            return seconds, np.full((len(hours), n), np.nan), {}
        work = {"steps": steps, "calls": calls, "jacobians": jacobians}
        return seconds - calls * a_call, states[1:], work

    def solve() -> tuple[float, np.ndarray, dict[str, int]]:
        seconds, states, work = by_cvode() if s.solver == "CVODE" else by_lsoda()
        heads = s.scale * np.sinh(np.clip(states, -700.0, 700.0)) if s.scale else states
        return seconds, heads, work

    return solve
