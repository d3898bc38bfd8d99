"""What a spot can be given back: sand that is wetted again holds less than it did when it drained.

A drained spot that has dried takes water along its wetting branch, and lets go what that branch
does not hold. The drier it was, the less comes back; where water never came, all of it does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh, end_to_end
from soilwater.ground.profile import Profile
from soilwater.runs.case import Case
from soilwater.runs.drained import drained_suctions
from soilwater.runs.wetted import USUAL_RAIN, AfterRain, water_after
from soilwater.words.arrays import FloatArray

DRIED_BY = np.array([0.0, 1.0, 2.0, 5.0, 10.0, 14.0, 20.0, 40.0, 80.0, 200.0, 1000.0])
"""Suctions [cm] beyond the drained rest from which water is given back. That a column dries evenly
is assumed: after six days at 5 mm/day and 40 mm at 5 to 40 mm/h, what comes back is within 1.2 mm
of runs (two mixes, ratio 2), and less than these."""


class Refill(NamedTuple):
    """What one spot holds again after gentle water, by what it held at its driest, in each draw.

    `driest` is what it holds when dried by more and more [mm], falling; `full` what it then holds
    when watered and drained [mm]; `drained` what the rods read there [1]. Shape (draws, places).
    """

    driest: FloatArray
    full: FloatArray
    drained: FloatArray

    def take(self, draws: NDArray[np.int64]) -> Refill:
        """Keep some of the draws, by their numbers."""
        return Refill(*(part[draws] for part in self))

    def again(self, storage: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Say what draws could hold again [mm] and would then read [1], by their course of storage.

        All of shape (draws, times).
        """
        driest = np.minimum.accumulate(storage, axis=1)
        # Between which two of its places each lies: all at once, they are few.
        left = np.zeros(driest.shape, dtype=np.int64)
        for place in range(1, self.driest.shape[1] - 1):
            left += driest <= self.driest[:, place, None]
        draw = np.arange(len(driest))[:, None]
        held, held_next = self.driest[draw, left], self.driest[draw, left + 1]
        # The driest of them may hold the same.
        fell = held - held_next
        share = np.divide(held - driest, fell, out=np.ones_like(fell), where=fell > 0.0)
        share = np.clip(share, 0.0, 1.0)
        full, read = (
            each[draw, left] + share * (each[draw, left + 1] - each[draw, left])
            for each in (self.full, self.drained)
        )
        return full, read


def refills_of(
    cases: Sequence[Sequence[Case]],
    meshes: Sequence[Sequence[Mesh]],
    rod: float,
) -> list[Refill]:
    """Work out what spots hold again.

    Parameters
    ----------
    cases, meshes : sequence of sequence
        Column of each spot, in each draw, and its nodes: those it is run on, for what it holds is
        counted on them. Spots of a draw mostly share its sand, and are worked out together.
    rod : float
        Length of the rods [cm].
    """
    spots: list[list[Any]] = [[] for _ in cases]
    for of_draw, nodes in zip(zip(*cases, strict=True), zip(*meshes, strict=True), strict=True):
        # What a start holds differs from spot to spot, the rain before it mostly does not.
        starts = [each.start for each in of_draw]
        rains = [
            (each.rate, each.dried_by) if isinstance(each, AfterRain) else None for each in starts
        ]
        for rain in dict.fromkeys(rains):
            like = [i for i, each in enumerate(rains) if each == rain]
            profiles = [of_draw[i].profile for i in like]
            found = _of_draw(profiles, [nodes[i] for i in like], rain, rod)
            for i, of_spot in zip(like, found, strict=True):
                spots[i].append(of_spot)
    return [Refill(*map(np.array, zip(*of_spot, strict=True))) for of_spot in spots]


def _of_draw(
    profiles: Sequence[Profile],
    meshes: Sequence[Mesh],
    rain: tuple[float, float] | None,
    rod: float,
) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    """Work out spots of a draw after rain of a rate [mm/h] on sand dried by some suction [cm]."""
    rest = np.concatenate(list(map(drained_suctions, profiles, meshes)))
    rate, dried_by = (USUAL_RAIN.rate, 0.0) if rain is None else rain
    before, dried = rest + dried_by, rest + DRIED_BY[:, None]
    every = end_to_end(meshes)
    # As it dries, and when it was watered and has drained again.
    of_all = water_after(every, dried, rate, np.broadcast_to(before, dried.shape))
    drained = np.broadcast_to(rest, dried.shape)
    of_all_again = water_after(every, drained, rate, np.maximum(dried, before))
    found, first = [], 0
    for mesh in meshes:
        driest, again = (
            each[..., first : first + mesh.soil.size] for each in (of_all, of_all_again)
        )
        width = np.diff(mesh.depth)
        full = 10.0 * again.mean(axis=1) @ width
        found.append((10.0 * driest.mean(axis=1) @ width, full, mean_of_top(mesh, again, rod)))
        first += mesh.depth.size
    return found


def rewetted_reading(profile: Profile, rain: AfterRain, rod: float) -> float:
    """Read `rod` cm of a profile on which some rain fell while it was dry, and drained [1]."""
    mesh = profile.mesh()
    rest = drained_suctions(profile, mesh)
    ends = water_after(mesh, rest, rain.rate, rest + rain.dried_by)
    return float(mean_of_top(mesh, ends, rod))


def mean_of_top(mesh: Mesh, ends: FloatArray, rod: float) -> FloatArray:
    """Mean of the top `rod` cm of what lies straight between `ends` of cells of a mesh.

    The ends are of shape (..., 2, n - 1).
    """
    covered = np.clip(rod - mesh.depth[:-1], 0.0, np.diff(mesh.depth))
    # Half way down what is covered of a cell.
    share = 0.5 * covered / np.diff(mesh.depth)
    middle = (1.0 - share) * ends[..., 0, :] + share * ends[..., 1, :]
    mean: FloatArray = middle @ covered / rod
    return mean
