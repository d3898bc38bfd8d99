"""The cases of `peers.py`, each solved once by our solver or a general-purpose integrator."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from peer_equations import FREE_DRAINAGE, STRESS, Setting, integrator

import soilwater as sw
from soilwater.kernels import entry_points
from soilwater.kernels.boundaries import OUTFLOW_CONDUCTANCE
from soilwater.kernels.remembering import march_remembering
from soilwater.runs.drained import mean_over_depth
from soilwater.runs.forcing import make_forcing
from soilwater.runs.packing import pack, pack_memories, root_shares
from soilwater.runs.settings import Settings
from soilwater.runs.starts import begin

TOP, FINE = 7.6, 1e-5
SAND = sw.VanGenuchten(0.03, 0.40, 0.033, 5.0, 40.0)
GRAVEL = sw.VanGenuchten(0.005, 0.42, 0.5, 2.2, 5000.0)
LOAM = sw.VanGenuchten.texture_class("loam")
TURF = sw.Turf(15.0, fraction_above=(0.9, 10.0), stress=sw.SShapedStress(*STRESS))
START = np.datetime64("2025-07-01T00:00", "ns")
FORTNIGHT = sw.steady_weather(14, 5.0, first_day=START)


class Run(NamedTuple):
    """Processor time [s], mean water content of the top at the stated hours, and the work."""

    seconds: float
    top: np.ndarray
    work: dict[str, int]


@dataclass(frozen=True)
class Problem:
    """A column, what happens to it [cm/h, cm/day], and when it is looked at."""

    name: str
    case: sw.Case
    hours: tuple[float, ...]
    goal: float
    supply: float = 0.0
    daily: float = 0.0
    peers: tuple[str, ...] = ("CVODE", "LSODA")

    @cached_property
    def mesh(self) -> Any:
        return self.case.profile.mesh()

    @cached_property
    def start(self) -> np.ndarray:
        return begin(self.case, self.mesh).head

    @cached_property
    def reference(self) -> np.ndarray:
        return self.ours(FINE)().top

    def top(self, head: np.ndarray) -> np.ndarray:
        return mean_over_depth(self.mesh, np.ascontiguousarray(head), 0.0, TOP)

    def error(self, run: Run) -> float:
        error = float(np.max(np.abs(run.top - self.reference)))
        return error if np.isfinite(error) else np.inf

    def ours(self, tolerance: float) -> Callable[[], Run]:
        """A function that solves once."""
        hours = np.array(self.hours)
        times = self.case.weather.start + (3600.0 * hours).astype("timedelta64[s]")
        settings = Settings(hours, times, (), tolerance=tolerance)
        forcing = make_forcing(self.case.weather, self.case.turf, ())
        fresh = pack([self.case], [self.mesh], [self.start], [forcing], settings)
        changing = [name for name in fresh._fields if name not in ("tables", "scalars", "forcing")]
        turns = begin(self.case, self.mesh).turns
        memories = pack_memories([self.mesh], {0: turns}, fresh) if self.mesh.remembers else None

        def solve() -> Run:
            packed = fresh._replace(**{name: getattr(fresh, name).copy() for name in changing})
            given: tuple[Any, ...] = (packed,)
            if memories is not None:
                given = (packed, type(memories)(*(each.copy() for each in memories)))
            march = entry_points.march_columns if memories is None else march_remembering
            at = time.process_time()
            march(0, 1, *given)
            seconds = time.process_time() - at
            steps, rejected, iterations = (int(each) for each in packed.counts[0])
            work = {"steps": steps, "rejected": rejected, "iterations": iterations}
            return Run(seconds, self.top(packed.out_head[0]), work)

        return solve

    def peer(self, setting: Setting) -> Callable[[], Run]:
        """The same by a general-purpose integrator; NaN where it gave up."""
        roots = root_shares(self.case.turf, self.mesh, self.case.profile.depth)
        column = (self.mesh, roots, self.start, self.hours)
        outflow = 0.0 if setting.sealed else OUTFLOW_CONDUCTANCE
        if isinstance(self.case.profile.base, sw.FreeDrainage):
            outflow = FREE_DRAINAGE
        solve = integrator(setting, *column, self.supply, self.daily, outflow)

        def solve_once() -> Run:
            seconds, head, work = solve()
            return Run(seconds, self.top(head), work)

        return solve_once


def over_gravel(root_zone: float, sand: sw.VanGenuchten | sw.Hysteretic = SAND) -> sw.Profile:
    layers = (sw.Layer(sand, root_zone, "sand"), sw.Layer(GRAVEL, 10.0, "gravel"))
    return sw.Profile(layers, sw.SeepageFace())


def rain(hours: float, per_hour: float) -> sw.Weather:
    """Even rain [cm/h]."""
    edges = START + np.round(np.array([0.0, hours]) * 3.6e12).astype("timedelta64[ns]")
    return sw.Weather(edges, [10.0 * per_hour * hours], [0.0])


def dry_down(root_zone: float) -> Problem:
    case = sw.Case(over_gravel(root_zone), FORTNIGHT, turf=TURF, start="drained")
    days = tuple(24.0 * np.arange(1, 15))
    return Problem(f"dry-down {root_zone:g} cm", case, days, 15.0, daily=0.5)


def problems() -> list[Problem]:
    drainage = sw.Case(over_gravel(30.0), rain(48.0, 0.0), start="soaked")
    # While all of it drains, a sand with a memory has one curve, and peers need to know no other.
    remembering = sw.Case(
        over_gravel(30.0, sw.Hysteretic(SAND, 1.8)), rain(48.0, 0.0), start="soaked"
    )
    storm = sw.Case(over_gravel(30.0), rain(1.0, 10.0), start=1e4)
    soils = ((LOAM, 20.0, "loam"), (SAND, 30.0, "sand"), (LOAM, 50.0, "subsoil"))
    profile = sw.Profile(tuple(sw.Layer(*each) for each in soils), sw.FreeDrainage())
    layered = sw.Case(profile, rain(24.0, 0.5), start=150.0)
    draining = (0.25, 0.5, 1.0, 2.0, 6.0, 12.0, 24.0, 48.0)
    return [
        Problem("drainage", drainage, draining, 5.0),
        Problem("drainage, with a memory", remembering, draining, 2.5),
        *(dry_down(depth) for depth in (30.0, 46.0, 60.0)),
        Problem("storm", storm, (0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0), 5.0, supply=10.0),
        Problem("layered", layered, tuple(2.0 * np.arange(1, 13)), 5.0, supply=0.5),
    ]
