"""Floor levels under a given surface, at which all places of a line or a green read alike."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soilwater.decisions.building.depth import DepthWindow
from soilwater.decisions.level_columns import level_columns
from soilwater.ground.linked import LEAST_DEPTH
from soilwater.runs.green_map import GreenMap
from soilwater.runs.many_grounds import simulate_grounds
from soilwater.runs.meter import meter_reading
from soilwater.runs.transect import Transect
from soilwater.weather.made import steady_weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import InputError, nothing_to_hand_back
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_one_unit, one_writing
from soilwater.words.unit_choice import units_in_use

DRAINED = 48.0
"""Hours after a soaking at which places are to read alike [h]."""
MOST_ROUNDS = 8
ALIKE = 0.0005
"""A round that brings readings nearer by less than this [1] was the last."""
SAID = 0.01
"""Places that still differ by more than this [1] are told."""
BUILT_TO = 1.0
"""Standard error of a floor [cm] with which its tolerance is tried."""
WAVE = 200.0
"""Length over which a floor can be shaped, and along which it is off together [cm] (our own
choice): a crest that drains to a point would else be asked for a step."""
TRIALS = 6
MOST_PLACES = 4000
"""Most columns of a ground whose floor is sought: each is held to all others."""


@dataclass(frozen=True, eq=False, repr=False)
class FloorDesign(Displayed, Tabled):
    """Floor under a surface that is kept, so that all places read alike once drained.

    Attributes
    ----------
    window : DepthWindow
        Window on level ground.
    before, after : Transect or GreenMap
        The ground as it was given, and as it would be built.
    target : float
        Reading of a level column of the best depth, 48 h after a soaking [1].
    reading_before, reading_after : ndarray, shape (n,)
        Readings of the columns of the ground then [1].
    cut, fill : float
        Volume of the floor taken away, and brought in [m3]; of a line per metre of width, unless
        its width was given.
    tolerance : float
        Standard error of floor levels [cm], off together along 2 m, with which nine of ten places
        stay in the window of readings.
    cautions : tuple of str
        What must stand beside the answer.
    """

    window: DepthWindow
    before: Transect | GreenMap
    after: Transect | GreenMap
    target: float
    reading_before: FloatArray
    reading_after: FloatArray
    cut: float
    fill: float
    tolerance: float
    cautions: tuple[str, ...]

    def _columns(self) -> list[Column]:
        before, after = _depths(self.before), _depths(self.after)
        return [
            Column("place", range(1, before.size + 1)),
            Column("depth before", before, "length"),
            Column("depth after", after, "length"),
            Column("floor raised", before - after, "length"),
            Column("reading before", self.reading_before, "water_content"),
            Column("reading after", self.reading_after, "water_content"),
        ]

    def _shown(self) -> Shown:
        one = one_writing("length")
        rows = [
            (
                name,
                *(one.figure(each) for each in (depth.min(), depth.mean(), depth.max())),
                *(f"{100.0 * each:.1f}" for each in (reading.min(), reading.mean(), reading.max())),
            )
            for name, depth, reading in (
                ("as it is", _depths(self.before), self.reading_before),
                ("as designed", _depths(self.after), self.reading_after),
            )
        ]
        cut, fill = (in_one_unit(each, "earth") for each in (self.cut, self.fill))
        apart = in_one_unit(2.0, "distance") if units_in_use() == "US" else "2 m"
        lines = [
            f"cut {cut}, fill {fill} of the floor; the surface stays",
            f"a floor good to {in_one_unit(self.tolerance, 'length')} (standard error, off "
            f"together along {apart}) keeps nine of ten places in the window",
            *caution_lines(self.cautions),
        ]
        title = f"{self.window.name}: all places to read {100.0 * self.target:.1f} % after 48 h"
        ends = ("mean", "most")
        header = ("", f"depth {one.unit}: least", *ends, "reading %: least", *ends)
        return Shown(title, header, rows, lines)


def floor_alike(window: DepthWindow, ground: Transect | GreenMap) -> FloorDesign:
    """Find the floor at which all places of a ground read alike; for `depth_over_contour`.

    Parameters
    ----------
    window : DepthWindow
        Window of the sand on level ground.
    ground : Transect or GreenMap
        With its layers and base.

    Returns
    -------
    FloorDesign

    Raises
    ------
    InputError
        If the best depth is none that columns have, or the ground has too many of them.
    """
    weather = steady_weather(2, 0.0)
    if isinstance(ground, Transect):
        ground = ground.resample(ground.spacing)
    green = ground.green
    soil = green.layers[green.layer_index()].soil
    table = level_columns(green, [soil], weather, rod=window.rod, turf=None, start="soaked")
    if not table.depth[0] <= window.best <= table.depth[-1]:
        raise InputError(
            f"window: its best depth is {window.best:.1f} cm; allowed: {table.depth[0]:.1f} to "
            f"{table.depth[-1]:.1f} cm."
        )
    target = float(np.interp(window.best, table.depth, table.reading[0]))
    least = max(window.rod + 1.0, LEAST_DEPTH, float(green.interfaces[green.layer_index()]) + 5.0)
    near = _nearness(ground)
    smooth = near / near.sum(axis=1, keepdims=True)
    found = best = ground
    before = reading = closest = _readings([ground], window.rod)[0]
    for _ in range(MOST_ROUNDS):
        missing = smooth @ (window.best - table.depth_that_reads(reading[None])[0])
        found = _with_depths(found, np.maximum(_depths(found) + missing, least))
        reading = _readings([found], window.rod)[0]
        if _miss(reading, target) > _miss(closest, target) - ALIKE:
            break
        best, closest = found, reading
    rise = _floor(best) - _floor(ground)
    area = ground.ground().area * (100.0 if _per_metre(ground) else 1.0)
    half = 0.5 * (window.target.high - window.target.low)
    said: tuple[str, ...] = ()
    if np.ptp(closest) > SAID:
        said = (
            f"places still differ by {100.0 * np.ptp(closest):.1f} % by volume: no floor shaped "
            "over 2 m or more makes this surface read alike; soften the surface there",
        )
    return FloorDesign(
        window,
        ground,
        best,
        target,
        before,
        closest,
        cut=float(np.maximum(-rise, 0.0) @ area) / 1.0e6,
        fill=float(np.maximum(rise, 0.0) @ area) / 1.0e6,
        tolerance=half / (1.645 * _scatter(best, near, window.rod, closest)) * BUILT_TO,
        cautions=(
            *said,
            *cautions_for("construction", "sloping ground"),
            *(each for each in window.cautions if each not in cautions_for("level ground")),
        ),
    )


def _per_metre(ground: Transect | GreenMap) -> bool:
    return isinstance(ground, Transect) and ground.width is None


def _depths(ground: Transect | GreenMap) -> FloatArray:
    """Depth of each column [cm]."""
    if isinstance(ground, GreenMap):
        return np.asarray(ground.probe_depth[np.asarray(ground.mask)])
    return ground.probe_depth


def _floor(ground: Transect | GreenMap) -> FloatArray:
    """Level of the floor of each column [cm]."""
    if isinstance(ground, GreenMap):
        return np.asarray(ground.floor_level[np.asarray(ground.mask)])
    return ground.floor_level


def _with_depths(ground: Transect | GreenMap, depth: FloatArray) -> Transect | GreenMap:
    """Return the same surface over another floor."""
    if isinstance(ground, GreenMap):
        grid = np.array(ground.probe_depth)
        grid[np.asarray(ground.mask)] = depth
        return replace(ground, probe_depth=grid)
    return replace(ground, probe_depth=depth)


def _readings(grounds: list[Transect | GreenMap], rod: float) -> FloatArray:
    """Find what each place of each ground reads 48 h after a soaking [1]."""
    with nothing_to_hand_back():
        run = simulate_grounds(
            grounds, steady_weather(2, 0.0), output=DRAINED, keep=("node_suction",), start="soaked"
        )
    return np.asarray(meter_reading(run, rod=rod).isel(time=-1).values)


def _miss(reading: FloatArray, target: float) -> float:
    """Root mean square of what readings miss [1]."""
    return float(np.sqrt(np.mean((reading - target) ** 2)))


def _nearness(ground: Transect | GreenMap) -> FloatArray:
    """How much of a shape two columns share [1]: 1 at one place, little beyond `WAVE`."""
    places = ground.ground().coordinates
    if len(next(iter(places.values()))) > MOST_PLACES:
        raise InputError(
            f"depth_over_contour: {len(next(iter(places.values()))):,} columns; allowed: "
            f"{MOST_PLACES:,}; take a larger spacing."
        )
    axes = ["distance"] if isinstance(ground, Transect) else ["x", "y"]
    unit = 1.0 if isinstance(ground, Transect) else 100.0
    along = unit * np.stack([places[each] for each in axes], axis=-1)
    squared = np.sum((along[:, None] - along[None]) ** 2, axis=-1)
    near: FloatArray = np.exp(-2.0 * squared / WAVE**2)
    return near


def _scatter(
    ground: Transect | GreenMap, near: FloatArray, rod: float, reading: FloatArray
) -> float:
    """Find how readings scatter [1] where the floor is off by `BUILT_TO`."""
    rng = np.random.default_rng(0)
    share = np.linalg.cholesky(near + 1e-6 * np.eye(len(near)))
    off = BUILT_TO * rng.standard_normal((TRIALS, len(near))) @ share.T
    depth = _depths(ground)
    built = [_with_depths(ground, np.maximum(depth + each, LEAST_DEPTH)) for each in off]
    return float(np.std(_readings(built, rod) - reading))
