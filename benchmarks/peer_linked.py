"""Linked columns of `peers.py`: a line of columns down a slope, as one system for LSODA.

The peer gets the right-hand side that our own kernels make of a set of columns, compiled, and a
band as wide as there are columns on either side: unknowns lie node by node, and column by column
within.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit
from peer_cases import SAND, TOP, Run, rain
from peer_equations import MOST_STEPS, Setting, head_of
from scipy.integrate import odeint

import soilwater as sw
from soilwater.kernels.linked_flow import add_links, renew_link
from soilwater.kernels.linked_march import march_linked
from soilwater.kernels.linked_newton import renew
from soilwater.kernels.rows import GUESS, OWN, RESIDUAL, STORAGE, TARGET, VOLUME
from soilwater.kernels.step_control import describe_nodes
from soilwater.kernels.unpack import column_of, soils_of
from soilwater.runs.drained import mean_over_depth
from soilwater.runs.forcing import make_forcing
from soilwater.runs.linking import make_links, make_room
from soilwater.runs.packing import pack
from soilwater.runs.settings import Settings

COLUMNS, SPACING, FALL = 8, 150.0, 7.5
"""Columns of the line, their distance and how much lower each lies than the one before [cm]."""
FINE = 1e-4
"""Tolerance of the reference. Ten times tighter the march of a set halves its steps over and over;
what it reads differs by 1.4e-5."""


# Without counting references, as kernels are: they do not own what they hand on.
compiled = njit(error_model="numpy", _nrt=False)


@compiled
def describe(packed, room):  # type: ignore[no-untyped-def]
    """Say once what each node is."""
    for c in range(packed.status.size):
        column = column_of(packed, c)
        describe_nodes(column.z, column.soil, soils_of(packed), room.work[c])


@compiled
def fill_rates(y, packed, links, room, scale, floor, stretch, rate):  # type: ignore[no-untyped-def]
    """Rate of change of the unknowns: what an hour adds, over what a node gives by its head."""
    work = room.work
    columns = work.shape[0]
    for i in range(y.size):
        c, k = i % columns, i // columns
        work[c, GUESS, k], stretch[i] = head_of(y[i], scale)
        work[c, TARGET, k] = 0.0
    for c in range(columns):
        renew(c, 1.0, False, packed, room)
    for link in range(links.first.size):
        renew_link(link, links, work, False)
    for c in range(columns):
        add_links(c, 1.0, links, packed.codes[c], work)
    for i in range(y.size):
        c, k = i % columns, i // columns
        gives = max(work[c, OWN, k], floor * work[c, VOLUME, k])
        rate[i] = (work[c, STORAGE, k] - work[c, RESIDUAL, k]) / (gives * stretch[i])


@compiled
def fill_nothing(y, packed, links, room, scale, floor, stretch, rate):  # type: ignore[no-untyped-def]
    """What a call costs."""


def rates_by(fill: Any) -> Callable[..., np.ndarray]:
    """Make the right-hand side for the peer. Kernels make no arrays: those come from here."""

    def rates(t: float, y: np.ndarray, *given: Any) -> np.ndarray:
        rate, stretch = np.empty_like(y), np.empty_like(y)
        fill(y, *given, stretch, rate)
        return rate

    return rates


rates, nothing = rates_by(fill_rates), rates_by(fill_nothing)


@dataclass(frozen=True)
class Line:
    """Columns of sand on a tight floor that falls, moist at the start."""

    name: str
    hours: tuple[float, ...]
    goal: float
    daily: float = 0.0
    peers: tuple[str, ...] = ("LSODA",)

    @cached_property
    def case(self) -> sw.Case:
        profile = sw.Profile([sw.Layer(SAND, 30.0, "sand")], sw.Sealed())
        return sw.Case(profile, rain(self.hours[-1], 0.0), start=15.0)

    @cached_property
    def mesh(self) -> Any:
        return self.case.profile.mesh()

    @cached_property
    def reference(self) -> np.ndarray:
        return self.ours(FINE)().top

    def error(self, run: Run) -> float:
        error = float(np.max(np.abs(run.top - self.reference)))
        return error if np.isfinite(error) else np.inf

    def set_out(self, tolerance: float) -> tuple[Any, Any, Any]:
        """The columns, their links, and room to solve them in."""
        hours, depth = np.array(self.hours), self.mesh.depth
        times = self.case.weather.start + (3600.0 * hours).astype("timedelta64[s]")
        settings = Settings(hours, times, (), tolerance=tolerance)
        many = range(COLUMNS)
        packed = pack(
            [self.case for _ in many], [self.mesh for _ in many],
            [np.full(depth.size, -15.0) for _ in many],
            [make_forcing(self.case.weather, None, ())] * COLUMNS, settings,
        )  # fmt: skip
        links = make_links(
            np.stack([np.arange(COLUMNS - 1), np.arange(1, COLUMNS)], axis=-1),
            np.full(COLUMNS - 1, 1.0),
            np.full(COLUMNS, SPACING**2),
            -FALL * np.arange(COLUMNS)[:, None] - depth,
            hours.size,
        )
        return packed, links, make_room(COLUMNS, depth.size)

    def top(self, head: np.ndarray) -> np.ndarray:
        """Water content of the top by hour and column, from heads (hours, columns, nodes)."""
        return np.stack(
            [
                mean_over_depth(self.mesh, np.ascontiguousarray(head[:, c]), 0.0, TOP)
                for c in range(COLUMNS)
            ],
            axis=-1,
        )

    def ours(self, tolerance: float) -> Callable[[], Run]:
        """A function that solves once."""

        def solve() -> Run:
            packed, links, room = self.set_out(tolerance)
            begin = time.process_time()
            march_linked(packed, links, room)
            seconds = time.process_time() - begin
            steps, rejected, iterations = (int(each) for each in packed.counts[0])
            work = {"steps": steps, "rejected": rejected, "iterations": iterations}
            return Run(seconds, self.top(packed.out_head.swapaxes(0, 1)), work)

        return solve

    def peer(self, s: Setting) -> Callable[[], Run]:
        """The same by LSODA; NaN where it gave up."""
        packed, links, room = self.set_out(FINE)
        describe(packed, room)
        head = np.full(COLUMNS * self.mesh.depth.size, -15.0)
        y = np.arcsinh(head / s.scale) if s.scale else head
        given = (packed, links, room, s.scale, s.floor)

        def solve() -> Run:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                begin = time.process_time()
                states, told = odeint(
                    rates, y, np.array([0.0, *self.hours]), given, tfirst=True, ml=COLUMNS,
                    mu=COLUMNS, rtol=s.rtol, atol=s.atol, hmax=s.longest_step,
                    mxstep=MOST_STEPS, full_output=True,
                )  # fmt: skip
                seconds = time.process_time() - begin
            steps, calls = int(told["nst"][-1]), int(told["nfe"][-1])
            if told["message"] != "Integration successful.":
                return Run(seconds, np.full((len(self.hours), COLUMNS), np.nan), {})
            heads = s.scale * np.sinh(np.clip(states, -700.0, 700.0)) if s.scale else states
            by_column = heads[1:].reshape(len(self.hours), -1, COLUMNS).swapaxes(1, 2)
            a_call = seconds_a_call(y, given)
            work = {"steps": steps, "calls": calls}
            return Run(seconds - calls * a_call, self.top(by_column), work)

        return solve


def seconds_a_call(y: np.ndarray, given: tuple[Any, ...]) -> float:
    """What calling a compiled function with all that costs, apart from what it computes [s]."""
    best = np.inf
    nothing(0.0, y, *given)
    for _ in range(5):
        begin = time.process_time()
        for _ in range(200):
            nothing(0.0, y, *given)
        best = min(best, (time.process_time() - begin) / 200)
    return best


def lines() -> list[Line]:
    return [Line("line of 8 columns", (1.0, 3.0, 6.0, 12.0, 24.0, 48.0), 5.0)]
