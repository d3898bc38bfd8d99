"""Before and after on a whole line or green: how evenly it dries, and what is moved for it."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from soilwater.decisions.watering.situations import GroundSituation
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.turf import Turf
from soilwater.runs.green_map import GreenMap
from soilwater.runs.meter import days_until, meter_reading
from soilwater.runs.processors import processors
from soilwater.runs.simulate import simulate
from soilwater.runs.transect import Transect
from soilwater.weather.made import steady_weather
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units, one_writing

SOME, HALF = 0.1, 0.5
"""Shares of the area whose days are told [1]."""


@dataclass(frozen=True, eq=False)
class GroundOutcome:
    """One row of a before-and-after table of a line or a green.

    Attributes
    ----------
    name : str
        "as it is", or the change.
    drained : ndarray, shape (n,)
        Reading of each column 48 h after a soaking [1].
    days : dict of str to tuple of float
        Days until a tenth and until half of the area read at or below each threshold [d].
    drainage : float
        Water to the gravel over the run, mean over the area [mm].
    ground : Transect or GreenMap
        As it would be.
    cut, fill : float
        Of the surface and of the floor together, against the ground as it is [m3]; of a line a
        metre of width, unless its width was given.
    """

    name: str
    drained: FloatArray
    days: dict[str, tuple[float, float]]
    drainage: float
    ground: Transect | GreenMap
    cut: float
    fill: float


@dataclass(frozen=True, eq=False, repr=False)
class GroundWhatIf(Displayed, Tabled):
    """Before and after on a whole ground, row by row; the first row is the ground as it is.

    Attributes
    ----------
    outcomes : tuple of GroundOutcome
        Ground as it is, then one row a change.
    thresholds : Thresholds
        Thresholds counted to.
    rod : float
        Length of the rods [cm].
    horizon : float
        Length of the weather [d].
    cautions : tuple of str
        What the person should know.
    """

    outcomes: tuple[GroundOutcome, ...]
    thresholds: Thresholds
    rod: float
    horizon: float
    cautions: tuple[str, ...]

    def _columns(self) -> list[Column]:
        parts: list[tuple[str, Any, str]] = [
            ("change", lambda each: each.name, ""),
            ("drained at least", lambda each: each.drained.min(), "water_content"),
            ("drained at most", lambda each: each.drained.max(), "water_content"),
        ]
        for name in ("firm", "watch", "wilt"):
            for i, share in enumerate(("a tenth", "half")):
                told = f"{name}, {share} of the area"
                parts.append((told, lambda each, n=name, i=i: each.days[n][i], "days"))
        parts += [
            ("to gravel", lambda each: each.drainage, "water_amount"),
            ("cut (m3)", lambda each: each.cut, ""),
            ("fill (m3)", lambda each: each.fill, ""),
        ]
        return columns_of(self.outcomes, parts)

    def _shown(self) -> Shown:
        water, earth = one_writing("water_amount"), one_writing("earth")
        rows = [
            (
                each.name,
                f"{100 * each.drained.min():.1f} to {100 * each.drained.max():.1f}",
                *(
                    ", ".join(f"{v:.1f}" if np.isfinite(v) else f"> {self.horizon:.0f}" for v in d)
                    for d in each.days.values()
                ),
                water.figure(each.drainage),
                f"{earth.figure(each.cut)}, {earth.figure(each.fill)}",
            )
            for each in self.outcomes
        ]
        thresholds = self.thresholds
        header = (
            "",
            "drained %",
            f"days to {100 * thresholds.firm:g} % on 1/10, 1/2 of the area",
            f"{100 * thresholds.watch:g} %",
            f"{100 * thresholds.wilt:g} %",
            f"to gravel {water.unit}",
            f"cut, fill {earth.unit}",
        )
        title = f"What if, {in_people_units(self.rod, 'length')} rods, {self.horizon:g} days"
        return Shown(title, header, rows, caution_lines(self.cautions), set_in=True)


def ground_outcomes(
    situations: Sequence[GroundSituation],
    names: Sequence[str],
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    rod: float,
    topics: tuple[str, ...],
    n_threads: int | None,
) -> GroundWhatIf:
    """Run each ground from 48 h after a soaking; for `what_if`.

    Parameters
    ----------
    situations : sequence of GroundSituation
        The first is the ground as it is.
    names : sequence of str
        One each.
    weather : Weather
        After that.
    turf : Turf
        Roots and demand.
    thresholds : Thresholds
        Readings to count to.
    rod : float
        Length of the rods [cm].
    topics : tuple of str
        Cautions that belong to the changes.
    n_threads : int or None
        Threads to use.

    Returns
    -------
    GroundWhatIf
    """

    def outcome(name: str, each: GroundSituation) -> GroundOutcome:
        soaked = simulate(each.ground, steady_weather(2, 0.0), output=48.0)
        run = simulate(
            each.ground, weather, turf=turf, start=soaked, irrigation=each.irrigation,
            output=6.0, keep=("node_suction", "drainage"),
        )  # fmt: skip
        area = run.plan_area.values
        days = {
            kind: _days_of_area(run, getattr(thresholds, kind), rod, area)
            for kind in ("firm", "watch", "wilt")
        }
        moved = _moved(situations[0].ground, each.ground)
        return GroundOutcome(
            name,
            meter_reading(soaked, rod=rod).isel(time=-1).values,
            days,
            float(run.drainage.isel(time=-1).values @ area / area.sum()),
            each.ground,
            cut=float(np.maximum(-moved, 0.0).sum()),
            fill=float(np.maximum(moved, 0.0).sum()),
        )

    with ThreadPoolExecutor(n_threads or processors()) as pool:
        outcomes = tuple(pool.map(outcome, names, situations))
    return GroundWhatIf(
        outcomes,
        thresholds,
        rod,
        float(weather.hours[-1]) / 24.0,
        cautions_for(*topics, "wilt", "sloping ground", "base suction", "accuracy"),
    )


def _days_of_area(run: Any, threshold: float, rod: float, area: FloatArray) -> tuple[float, float]:
    """Days until two shares of the area read at or below a threshold."""
    days = days_until(run, threshold, rod=rod).values
    order = np.argsort(days)
    reached = np.cumsum(area[order]) / area.sum()
    some, half = (float(days[order][np.searchsorted(reached, s - 1e-9)]) for s in (SOME, HALF))
    return some, half


def _moved(before: Transect | GreenMap, after: Transect | GreenMap) -> FloatArray:
    """Volumes that surface and floor rise by, column by column [m3]."""
    old, new = before.ground(), after.ground()
    if isinstance(before, Transect):
        width = 100.0 if before.width is None else 1.0
        x = new.coordinates["distance"]
        levels = [np.interp(x, before.distance, before.surface_level),
                  np.interp(x, before.distance, before.floor_level)]  # fmt: skip
    else:
        width, levels = 1.0, [old.surface_level, old.floor_level]
    rises = [new.surface_level - levels[0], new.floor_level - levels[1]]
    return np.concatenate([each * new.area * width / 1.0e6 for each in rises])
