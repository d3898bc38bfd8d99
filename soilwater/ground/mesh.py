"""Where the nodes of a column lie: close where soils meet, wider between."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, NamedTuple, overload

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import GravelBlanket
from soilwater.soils import Hysteretic, Soil
from soilwater.soils.side_by_side import ManySoils, water_contents
from soilwater.words.arrays import spread, which_occur
from soilwater.words.errors import InputError

FINEST_INTERVAL, COARSEST_INTERVAL = 0.25, 1.0
"""Distance of nodes [cm] at the surface, where soils meet and at the base, and the largest."""
INTERVAL_GROWTH = 1.3
"""Each interval may be this much longer than its neighbour nearer an end."""
MOIST_BASE = 20.0
"""Suction [cm] up to which what rests at a base keeps the soil above it moist. No front there is
sharp, and of an error deep down little comes to roots and meter. Likewise the pressure there: under
a water table well inside a profile, layers empty and fill on nodes as close as elsewhere."""
COARSEST_OF_MOIST, SHARE_OF_DEPTH, COARSEST_BELOW = 0.8, 0.12, 1.6
"""Largest distance of nodes [cm] over a moist base: near the surface and at the base itself, as a
share of the depth where that is more, and at any depth. Readings of columns with storms are no
further off than with 1 cm at every depth, on four nodes for five."""
COARSE_SCALE = 4.0
"""Scale of suction [cm] below which a layer is as coarse as gravel, over a moist base too: water
changes there within less than an interval."""
SLIVER = 0.3
"""Share of its neighbour's length below which an interval left over is spread over the others."""
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


class Mesh(NamedTuple):
    """Nodes of a profile and the soil of the interval below each but the last."""

    depth: NDArray[np.float64]
    soil: NDArray[np.int64]
    soils: tuple[Soil, ...]

    @property
    def remembers(self) -> bool:
        """Whether one of the soils has a memory of how it was wetted."""
        return remember(self.soils)

    def above(self, depth: float) -> Mesh:
        """Keep what lies above a depth [cm], to the first node that is no higher."""
        cells = min(int(np.searchsorted(self.depth, depth)), self.soil.size)
        return Mesh(self.depth[: cells + 1], self.soil[:cells], self.soils)


def remember(soils: Sequence[Soil]) -> bool:
    """Whether one of several soils has a memory of how it was wetted."""
    return any(isinstance(soil, Hysteretic) and soil.remembers for soil in soils)


def end_to_end(meshes: Sequence[Mesh]) -> Mesh:
    """Lay the nodes of columns end to end; no soil has the number of what is between two columns.

    Soils they share, told apart by identity, are one.
    """
    numbers: dict[int, int] = {}
    soils: list[Soil] = []
    cells: list[Any] = []
    for mesh in meshes:
        for soil in mesh.soils:
            if numbers.setdefault(id(soil), len(soils)) == len(soils):
                soils.append(soil)
        own = np.array([numbers[id(soil)] for soil in mesh.soils])
        cells += [own[mesh.soil], [-1]]
    depth = np.concatenate([mesh.depth for mesh in meshes])
    return Mesh(depth, np.concatenate(cells[:-1]), tuple(soils))


class Nodes(NamedTuple):
    """Nodes of the columns of one geometry, as `Mesh` has them."""

    depth: NDArray[np.float64]
    soil: NDArray[np.int64]


class Meshes(Sequence[Mesh]):
    """Nodes of several columns, of which many lie alike; a mesh is made where one is asked for.

    Parameters
    ----------
    nodes : sequence of Nodes
        No two alike.
    which : ndarray of int, shape (n,)
        Which of them each column has.
    soils : ManySoils
        What lies between.
    own : ndarray of int, shape (n, most)
        Which of these each column has, from the top down; shorter ones repeat their last.
    """

    def __init__(
        self,
        nodes: Sequence[Nodes],
        which: NDArray[np.int64],
        soils: ManySoils,
        own: NDArray[np.int64],
    ) -> None:
        self.nodes, self.which, self.soils, self.own = nodes, which, soils, own
        self.lengths = np.array([each.depth.size for each in nodes])

    @classmethod
    def of(cls, meshes: Sequence[Mesh]) -> Meshes:
        """Tell once what meshes share, by the identity of their nodes."""
        if isinstance(meshes, Meshes):
            return meshes
        places: dict[tuple[int, int], int] = {}
        nodes: list[Nodes] = []
        for depth, soil, _ in meshes:
            if places.setdefault((id(depth), id(soil)), len(nodes)) == len(nodes):
                nodes.append(Nodes(depth, soil))
        which = [places[id(depth), id(soil)] for depth, soil, _ in meshes]
        soils, own = ManySoils.of([mesh.soils for mesh in meshes])
        return cls(nodes, np.array(which, dtype=np.int64), soils, own)

    def __len__(self) -> int:
        return self.which.size

    @overload
    def __getitem__(self, place: int) -> Mesh: ...

    @overload
    def __getitem__(self, place: slice) -> Meshes: ...

    def __getitem__(self, place: int | slice) -> Mesh | Meshes:
        if isinstance(place, slice):
            return Meshes(self.nodes, self.which[place], self.soils, self.own[place])
        depth, soil = self.nodes[self.which[place]]
        return Mesh(depth, soil, tuple(self.soils.take(self.own[place, : soil[-1] + 1])))

    def take(self, places: NDArray[np.int64]) -> Meshes:
        """Take some of the columns, with no more nodes than they have."""
        among, which = which_occur(self.which[places])
        nodes = [self.nodes[i] for i in among.tolist()]
        return Meshes(nodes, which, self.soils, self.own[places])

    @property
    def sizes(self) -> NDArray[np.int64]:
        """Number of nodes of each column."""
        sizes: NDArray[np.int64] = self.lengths[self.which]
        return sizes

    @property
    def remember(self) -> NDArray[np.bool_]:
        """Which columns have a soil with a memory of how it was wetted."""
        remember: NDArray[np.bool_] = np.any(self.soils.remember[self.own], axis=1)
        return remember

    def depths(self) -> NDArray[np.float64]:
        """Depths of the nodes [cm], columns end to end."""
        return self.lay(np.concatenate([each.depth for each in self.nodes]))

    def lay(self, values: NDArray[Any]) -> NDArray[Any]:
        """Lay columns end to end, given values at all `nodes`, end to end as well."""
        if len(self.nodes) == 1:
            return np.broadcast_to(values, (len(self), values.size)).flatten()
        sizes, begin = self.sizes, (np.cumsum(self.lengths) - self.lengths)[self.which]
        end = np.cumsum(sizes)
        laid: NDArray[Any] = values[np.arange(end[-1]) + spread(begin - end + sizes, sizes)]
        return laid


class Geometry(NamedTuple):
    """What of a profile says where its nodes lie, but for its soils."""

    thicknesses: tuple[float, ...]
    """Of its layers, from the top down [cm]."""
    blanket: GravelBlanket | None
    """Gravel below them, on coarse intervals of its own."""
    resting: float | None
    """Suction at the base at rest [cm]; None where nothing rests."""


def make_meshes(
    geometries: Sequence[Geometry],
    kind: NDArray[np.int64],
    soils: ManySoils,
    filling: NDArray[np.int64],
    refinement: float,
) -> Meshes:
    """Nodes at the surface, where soils meet, at the base, and between.

    Parameters
    ----------
    geometries : sequence of Geometry
        Any number of them.
    kind : ndarray of int, shape (n,)
        Which of them each column has.
    soils : ManySoils
        No two of them equal.
    filling : ndarray of int, shape (n, most)
        Which of these fill the layers of each column, from the top down, and a gravel below.
    refinement : float
        Cuts every distance between nodes into this many equal parts [1].

    Returns
    -------
    Meshes
        One a column.

    Raises
    ------
    InputError
        If one would have more than `MOST_NODES` nodes.
    """
    most = max([len(each.thicknesses) for each in geometries])
    coarse = soils.scales >= COARSE_SCALE
    # Of all at once: to ask one after the other takes as long as an hour of a run.
    held = water_contents(soils, np.array([FINER_AT]))[:, 0] if most > 1 else np.zeros(len(soils))
    # Columns of one geometry lie alike where their soils meet alike.
    first = alike = np.zeros(1, dtype=np.int64)
    if kind.size > 1:
        alike = kind
    for i in range(most if kind.size > 1 else 0):
        above, below = filling[:, max(i - 1, 0)], filling[:, i]
        met = coarse[below] + 2 * (below == above) + 4 * (held[above] > held[below])
        _, first, alike = np.unique(8 * alike + met, return_index=True, return_inverse=True)
    nodes: list[Nodes] = []
    places: dict[int, int] = {}
    which, lying = [], []
    for number, own in zip(kind[first].tolist(), filling[first].tolist(), strict=True):
        made, kept = _make_nodes(geometries[number], own, coarse, held, refinement)
        if places.setdefault(id(made.depth), len(nodes)) == len(nodes):
            nodes.append(made)
        which.append(places[id(made.depth)])
        lying.append(kept + [kept[-1]] * (filling.shape[1] - len(kept)))
    own = filling[np.arange(kind.size)[:, np.newaxis], np.array(lying)[alike]]
    return Meshes(nodes, np.array(which, dtype=np.int64)[alike], soils, own)


def make_mesh(geometry: Geometry, soils: Sequence[Soil], refinement: float) -> Mesh:
    """Nodes of one column, as `make_meshes` has them.

    Parameters
    ----------
    geometry : Geometry
        Of its profile.
    soils : sequence of Soil
        Of its layers, from the top down, and of a gravel below.
    refinement : float
        Cuts every distance between nodes into this many equal parts [1].

    Raises
    ------
    InputError
        As `make_meshes`.
    """
    distinct = dict.fromkeys(soils)
    among = dict(zip(distinct, range(len(distinct)), strict=True))
    coarse = [soil.suction_scale >= COARSE_SCALE for soil in distinct]
    held: Sequence[float] = ()
    if len(geometry.thicknesses) > 1:
        held = water_contents(list(distinct), np.array([FINER_AT]))[:, 0].tolist()
    nodes, lying = _make_nodes(geometry, [among[s] for s in soils], coarse, held, refinement)
    return Mesh(*nodes, tuple([soils[i] for i in lying]))


def _make_nodes(
    geometry: Geometry,
    numbers: Sequence[int],
    coarse: Sequence[bool] | NDArray[np.bool_],
    held: Sequence[float] | NDArray[np.float64],
    refinement: float,
) -> tuple[Nodes, list[int]]:
    """Nodes of a column, and which of its soils lie between, those of equal neighbours once.

    Its soils are given by number; of all soils whether they are `coarse`, and what they hold at
    `FINER_AT` [1].
    """
    resting = geometry.resting
    moist = geometry.blanket is not None or (resting is not None and abs(resting) <= MOIST_BASE)
    lying, thicknesses, first = [0], [geometry.thicknesses[0]], [1]
    for i, thickness in enumerate(geometry.thicknesses[1:], start=1):
        above, soil = numbers[i - 1], numbers[i]
        if above == soil:
            thicknesses[-1] += thickness
        else:
            lying.append(i)
            thicknesses.append(thickness)
            first.append(BELOW_FINER if held[above] > held[soil] else 1)
    kinds = [_MOIST if moist and coarse[numbers[i]] else _PLAIN for i in lying]
    if kinds[-1] == _MOIST:
        kinds[-1] = _LOWEST
    if geometry.blanket is not None:
        lying.append(len(geometry.thicknesses))
        thicknesses.append(geometry.blanket.thickness)
        kinds.append(_BLANKET)
        first.append(1)
    return Nodes(*_nodes(tuple(kinds), tuple(thicknesses), tuple(first), refinement)), lying


_PLAIN, _MOIST, _LOWEST, _BLANKET = range(4)
"""Kinds of layers whose nodes are placed differently."""


@lru_cache(maxsize=4096)
def _nodes(
    kinds: tuple[int, ...],
    thicknesses: tuple[float, ...],
    first: tuple[int, ...],
    refinement: float,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Nodes [cm] and the soil of each interval, shared by all columns of one geometry.

    Of each layer its kind, its thickness [cm], and into how many its first interval is cut.
    """
    bottoms = np.cumsum(thicknesses)
    plain = [
        _gravel_nodes(thickness)
        if kind == _BLANKET
        else _graded_nodes(kind, float(bottom) - thickness, thickness)
        for kind, thickness, bottom in zip(kinds, thicknesses, bottoms, strict=True)
    ]
    count = sum(each.size - 1 for each in plain) * refinement
    if count > MOST_NODES:
        most = np.floor(MOST_NODES * refinement / count)
        raise InputError(
            f"Profile: a refinement of {refinement:g} makes {count:.3g} nodes; allowed: up to "
            f"{MOST_NODES:,}; take a refinement of {most:g} or less."
        )
    depth, number = [np.zeros(1)], []
    for i, cut in enumerate(first):
        steps = _cut(plain[i], cut if refinement >= 1.0 else 1, refinement)
        ends = depth[-1][-1] + np.cumsum(steps)
        ends[-1] = bottoms[i]
        depth.append(ends)
        number.append(np.full(steps.size, i, dtype=np.int64))
    shared = np.concatenate(depth), np.concatenate(number)
    for array in shared:
        array.setflags(write=False)
    return shared


def _graded_nodes(kind: int, top: float, thickness: float) -> NDArray[np.float64]:
    """Nodes of a layer [cm] from its top, wider towards the middle, and with depth if moist."""

    def after(interval: float, depth: float) -> float:
        """Length of the interval [cm] that follows one, at a depth."""
        longest = COARSEST_INTERVAL
        if kind != _PLAIN:
            longest = max(COARSEST_OF_MOIST, min(SHARE_OF_DEPTH * depth, COARSEST_BELOW))
        return min(interval * INTERVAL_GROWTH, longest)

    down, up = [0.0], [thickness]
    below, above = FINEST_INTERVAL, COARSEST_OF_MOIST if kind == _LOWEST else FINEST_INTERVAL
    while down[-1] + min(below, above) < up[-1]:
        if below <= above:
            down.append(down[-1] + below)
            below = after(below, top + down[-1])
        else:
            up.append(up[-1] - above)
            above = after(above, top + up[-1])
    steps = np.diff([*down, *up[::-1]])
    # What is left in the middle is an interval, or spread over the others if it is a sliver.
    if steps.size > 1 and steps[len(down) - 1] < SLIVER * min(below, above):
        steps = np.delete(steps, len(down) - 1)
    return np.append(0.0, np.cumsum(steps * (thickness / steps.sum())))


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
    return np.array([*down, *up[::-1]])


def _cut(plain: NDArray[np.float64], first: int, refinement: float) -> NDArray[np.float64]:
    """Distances between nodes, each of the plain ones cut into equal parts."""
    plain = np.append(np.linspace(0.0, plain[1], first, endpoint=False), plain[1:])
    parts = max(1, round((plain.size - 1) * refinement))
    places = np.linspace(0.0, plain.size - 1, parts + 1)
    return np.diff(np.interp(places, np.arange(plain.size), plain))
