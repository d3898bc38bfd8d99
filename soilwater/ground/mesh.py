"""Where the nodes of a column lie: close where soils meet, wider between."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import GravelBlanket
from soilwater.soils import Hysteretic, Soil
from soilwater.words.errors import InputError

FINEST_INTERVAL = 0.25
"""Distance of nodes [cm] at the surface, at interfaces and at the base."""
INTERVAL_GROWTH = 1.3
"""Each interval may be this much longer than its neighbour nearer an interface."""
COARSEST_INTERVAL = 1.0
"""Largest distance of nodes [cm]."""
BELOW_FINER = 3
"""Parts into which the first interval of a layer below a finer soil is cut: water that comes out of
a mat has to wet a dry sand from its top, and all of the front lies in that interval. At worst
readings of such columns were 0.0026 off with one part, 0.0012 with two and 0.0010 with three, which
take a tenth longer."""
FINER_AT = 100.0
"""Suction [cm] at which the finer of two soils holds more water."""
MOST_NODES = 100_000
"""Most nodes of a column; a run of 100 000 takes minutes a day."""
GRAVEL_INTERVAL, OUTLET_INTERVAL = FINEST_INTERVAL, 0.5
"""Distance of nodes [cm] at the upper and the lower end of a gravel blanket."""
GRAVEL_GROWTH = 2.0
"""Each interval of a gravel may be this much longer than its neighbour nearer an end."""
COARSEST_GRAVEL_INTERVAL = 3.0
"""Largest distance of nodes in gravel [cm]. It holds little and what it does is decided at its two
ends: readings above are within 0.05 % by volume of a fine mesh after 48 h, 0.15 % in a fortnight,
at the cost of ten nodes in place of twenty."""


Part = tuple[Callable[[float], NDArray[np.float64]], float, int]
"""What places the nodes of a layer, its thickness [cm], and into how many its first interval is
cut."""


class Mesh(NamedTuple):
    """Nodes of a profile and the soil of the interval below each but the last."""

    depth: NDArray[np.float64]
    soil: NDArray[np.int64]
    soils: tuple[Soil, ...]

    @property
    def remembers(self) -> bool:
        """Whether one of the soils has a memory of how it was wetted."""
        return any(isinstance(soil, Hysteretic) and soil.remembers for soil in self.soils)


def make_mesh(
    layers: Sequence[tuple[Soil, float]], blanket: GravelBlanket | None, refinement: float
) -> Mesh:
    """Nodes at the surface, where soils meet, at the base, and between.

    Parameters
    ----------
    layers : sequence of (Soil, float)
        Soils from the top down, and their thicknesses [cm].
    blanket : GravelBlanket or None
        Gravel below them, on coarse intervals of its own.
    refinement : float
        Cuts every distance between nodes into this many equal parts [1].

    Raises
    ------
    InputError
        If it would have more than `MOST_NODES` nodes.
    """
    soils: list[Soil] = []
    parts: list[Part] = []
    for soil, thickness in layers:
        if soils and soils[-1] == soil:
            parts[-1] = (_graded_nodes, parts[-1][1] + thickness, parts[-1][2])
            continue
        below_finer = soils and _held(soils[-1]) > _held(soil)
        parts.append((_graded_nodes, thickness, BELOW_FINER if below_finer else 1))
        soils.append(soil)
    if blanket is not None:
        parts.append((_gravel_nodes, blanket.thickness, 1))
        soils.append(blanket.gravel)
    depth, number = _nodes(tuple(parts), refinement)
    return Mesh(depth, number, tuple(soils))


@lru_cache(maxsize=4096)
def _held(soil: Soil) -> float:
    """Water content [1] of a soil at `FINER_AT`; an ensemble asks it of the same few again."""
    return float(soil.water_content(FINER_AT))


@lru_cache(maxsize=4096)
def _nodes(
    parts: tuple[Part, ...], refinement: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Nodes [cm] and the soil of each interval, shared by all columns of one geometry."""
    count = sum(nodes(thickness).size - 1 for nodes, thickness, _ in parts) * refinement
    if count > MOST_NODES:
        most = np.floor(MOST_NODES * refinement / count)
        raise InputError(
            f"Profile: a refinement of {refinement:g} makes {count:.3g} nodes; allowed: up to "
            f"{MOST_NODES:,}; take a refinement of {most:g} or less."
        )
    depth, number = [np.zeros(1)], []
    for i, (nodes, thickness, first) in enumerate(parts):
        steps = _cut(nodes, thickness, first if refinement >= 1.0 else 1, refinement)
        ends = depth[-1][-1] + np.cumsum(steps)
        ends[-1] = sum(each for _, each, _ in parts[: i + 1])
        depth.append(ends)
        number.append(np.full(steps.size, i, dtype=np.int64))
    shared = np.concatenate(depth), np.concatenate(number)
    for array in shared:
        array.setflags(write=False)
    return shared


@lru_cache(maxsize=4096)
def _graded_nodes(thickness: float) -> NDArray[np.float64]:
    """Nodes of a layer [cm] from its top: close at both ends, wider towards the middle."""
    step = FINEST_INTERVAL
    half: list[float] = []
    total = 0.0
    while total + step < 0.5 * thickness:
        half.append(step)
        total += step
        step = min(step * INTERVAL_GROWTH, COARSEST_INTERVAL)
    # What is left in the middle is one interval, or two, or spread so that none is a sliver.
    rest = 0.5 * thickness - total
    middle = [rest, rest] if rest > 0.5 * step else [2.0 * rest] if rest > 0.25 * step else []
    steps = np.array([*half, *middle, *half[::-1]])
    if steps.size == 0:
        steps = np.array([thickness])
    nodes = np.append(0.0, np.cumsum(steps * (thickness / steps.sum())))
    nodes.setflags(write=False)
    return nodes


@lru_cache(maxsize=1024)
def _gravel_nodes(thickness: float) -> NDArray[np.float64]:
    """Nodes of a gravel blanket [cm] from its top: close at both ends, far apart between."""
    down, up = [0.0], [thickness]
    below, above = GRAVEL_INTERVAL, OUTLET_INTERVAL
    # What is left in the middle is one interval, of the length of its neighbours or a little more.
    while up[-1] - down[-1] > max(1.5 * min(below, above), 0.6 * (below + above)):
        if below <= above:
            down.append(down[-1] + below)
            below = min(below * GRAVEL_GROWTH, COARSEST_GRAVEL_INTERVAL)
        else:
            up.append(up[-1] - above)
            above = min(above * GRAVEL_GROWTH, COARSEST_GRAVEL_INTERVAL)
    nodes = np.array([*down, *up[::-1]])
    nodes.setflags(write=False)
    return nodes


@lru_cache(maxsize=4096)
def _cut(
    nodes: Callable[[float], NDArray[np.float64]], thickness: float, first: int, refinement: float
) -> NDArray[np.float64]:
    """Distances between nodes, each of the plain ones cut into equal parts."""
    plain = nodes(thickness)
    plain = np.append(np.linspace(0.0, plain[1], first, endpoint=False), plain[1:])
    parts = max(1, round((plain.size - 1) * refinement))
    places = np.linspace(0.0, plain.size - 1, parts + 1)
    refined: NDArray[np.float64] = np.diff(np.interp(places, np.arange(plain.size), plain))
    refined.setflags(write=False)
    return refined
