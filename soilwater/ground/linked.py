"""Columns that share water sideways: what stands where, and between which of them water flows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import GravelBlanket
from soilwater.ground.mesh import Mesh
from soilwater.ground.profile import Profile
from soilwater.soils import Soil
from soilwater.words.arrays import FloatArray

TOP_INTERVAL, INNER_INTERVAL = 0.5, 0.3
"""Distance of nodes [cm] at the surface, and at the base and where soils meet."""
INTERVAL_GROWTH = 1.4
COARSEST_INTERVAL = 2.0
"""Growth of the distances towards the middle of a layer [1], and the largest of them [cm]. A single
column's finer mesh gave the same error: time, not mesh, limits it."""
STEEPEST = 0.2
"""Steepest floor [1] that is taken: faces of columns are taken to be upright."""
LEAST_DEPTH = 5.0
"""Least depth of sand [cm] that linked columns are made of: thinner sand holds no more than a film
of water over its base, and a probe cannot tell it from the gravel."""


class Outside(NamedTuple):
    """A face of one column with what lies beyond all of them.

    Attributes
    ----------
    column : int
        Which.
    beyond : int
        `WATER_LEVEL`, `OUTLET` or `GOES_ON`, of the kernels.
    value : float
        Level of the water [cm], head above which water goes out [cm], or fall along the layers [1].
    width : float
        Of the face [cm].
    forward : float
        1 where the way out is that in which `lateral_flow` is counted positive, -1 where it is the
        way back.
    position : float
        Of the face along the dimension of the columns.
    lower_end : float
        Level [cm] that the face goes down to. It ends above a blanket of gravel, in which what is
        drained beside it is drained already.
    """

    column: int
    beyond: int
    value: float
    width: float
    forward: float
    position: float
    lower_end: float = -np.inf


@dataclass(frozen=True, eq=False)
class LinkedGround:
    """Columns and the faces they share.

    Parameters
    ----------
    profiles : tuple of Profile
        One a column, of the same layers.
    surface_level : ndarray, shape (n,)
        Elevation of each surface [cm].
    area : ndarray, shape (n,)
        Plan area of each column [cm2].
    pairs : ndarray of int, shape (n_links, 2)
        Columns that share a face.
    width, distance : ndarray, shape (n_links,)
        Width of the face and distance of the columns' middles [cm].
    face_position : ndarray, shape (n_links,)
        Where the faces lie along that dimension.
    dimension : str
        Name of the dimension the columns lie along.
    coordinates : mapping
        Coordinates along it, that of its own name among them.
    names : tuple of str
        What each column is called in messages.
    edge : str
        What lies beyond the outermost columns.
    outside : tuple of Outside
        Faces with what lies beyond, where that is not closed.
    """

    profiles: tuple[Profile, ...]
    surface_level: FloatArray
    area: FloatArray
    pairs: NDArray[np.int64]
    width: FloatArray
    distance: FloatArray
    face_position: FloatArray
    dimension: str
    coordinates: Mapping[str, FloatArray]
    names: tuple[str, ...]
    edge: str
    outside: tuple[Outside, ...] = ()

    @property
    def floor_level(self) -> FloatArray:
        """Elevation of each base [cm]."""
        level: FloatArray = self.surface_level - np.array([p.depth for p in self.profiles])
        return level


def least_depth(green: Profile) -> float:
    """Least depth [cm] that the root zone of a green can end at.

    Raises
    ------
    InputError
        If no layer is known as the root zone.
    """
    return LEAST_DEPTH + float(green.interfaces[green.layer_index()])


def stretched(profile: Profile, probe_depth: float) -> Profile:
    """Return a profile whose root zone ends at a depth below the surface [cm].

    Layers above the root zone and below it keep their thickness.

    Parameters
    ----------
    profile : Profile
        With a root zone, or one layer.
    probe_depth : float
        Depth of the lower end of the root zone [cm].

    Returns
    -------
    Profile
        A new profile.

    Raises
    ------
    InputError
        If layers above the root zone reach as deep, or no layer is known as the root zone.
    """
    above = float(profile.interfaces[profile.layer_index()])
    return profile.with_thickness(probe_depth - above)


def facing_meshes(profiles: Sequence[Profile], refinement: float = 1.0) -> list[Mesh]:
    """Meshes whose nodes face each other: as many in every layer, at the same shares of it.

    Parameters
    ----------
    profiles : sequence of Profile
        Of the same layers, each of its own thicknesses.
    refinement : float, optional
        Cuts every distance between nodes into this many equal parts [1].

    Returns
    -------
    list of Mesh
        One a profile.
    """
    layers = [_merged(profile) for profile in profiles]
    soils = tuple(soil for soil, _ in layers[0])
    thickness = np.array([[each for _, each in column] for column in layers])
    shares = []
    for i, deepest in enumerate(thickness.max(axis=0)):
        shares.append(_shares(float(deepest), TOP_INTERVAL if i == 0 else INNER_INTERVAL))
        parts = max(1, round((shares[-1].size - 1) * refinement))
        places = np.linspace(0.0, shares[-1].size - 1.0, parts + 1)
        shares[-1] = np.interp(places, np.arange(shares[-1].size), shares[-1])
    number = np.concatenate([np.full(s.size - 1, i, dtype=np.int64) for i, s in enumerate(shares)])
    meshes = []
    for column, profile in zip(thickness, profiles, strict=True):
        tops = np.concatenate([[0.0], np.cumsum(column)])
        nodes = [tops[i] + column[i] * share[1:] for i, share in enumerate(shares)]
        depth = np.concatenate([[0.0], *nodes])
        depth[-1] = profile.bottom
        meshes.append(Mesh(depth, number, soils))
    return meshes


def _merged(profile: Profile) -> list[tuple[Soil, float]]:
    """Soils and thicknesses from the top; neighbours of one soil are one, a gravel is the last."""
    merged: list[tuple[Soil, float]] = []
    for layer in profile.layers:
        if merged and merged[-1][0] == layer.soil:
            merged[-1] = (layer.soil, merged[-1][1] + layer.thickness)
        else:
            merged.append((layer.soil, layer.thickness))
    if isinstance(profile.base, GravelBlanket):
        merged.append((profile.base.gravel, profile.base.thickness))
    return merged


def _shares(thickness: float, first: float) -> FloatArray:
    """Places of the nodes of a layer as shares of its thickness, close together at both ends."""
    above, below = [first], [INNER_INTERVAL]
    while sum(above) + sum(below) < thickness:
        side = above if above[-1] < below[-1] else below
        side.append(min(side[-1] * INTERVAL_GROWTH, COARSEST_INTERVAL))
    steps = np.array(above + below[::-1])
    places: FloatArray = np.concatenate([[0.0], np.cumsum(steps / steps.sum())])
    places[-1] = 1.0
    return places


def grid_links(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Pairs of neighbours on a grid, numbered row by row where the mask is true.

    Parameters
    ----------
    mask : ndarray of bool, shape (n_y, n_x)
        Where there is a column.

    Returns
    -------
    ndarray of int, shape (n_links, 2)
        Numbers of columns.
    """
    number = np.full(mask.shape, -1, dtype=np.int64)
    number[mask] = np.arange(np.count_nonzero(mask))
    pairs: list[Any] = []
    for one, other in ((number[:, :-1], number[:, 1:]), (number[:-1], number[1:])):
        both = (one >= 0) & (other >= 0)
        pairs.append(np.stack([one[both], other[both]], axis=-1))
    joined: NDArray[np.int64] = np.concatenate(pairs)
    return joined
