"""Columns as few cases that say what they share, and the soils of each.

An ensemble has thousands of columns that differ in their sands alone. What else makes a column is
kept, checked and worked out once a kind; a case is made of it where one is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Meshes, any_of, remember
from soilwater.ground.profile import Profile, filled, meshes_alike
from soilwater.ground.profile_texts import texts_alike
from soilwater.runs.case import Case
from soilwater.soils import Hysteretic, Soil
from soilwater.weather.series import Weather
from soilwater.words.copies import with_parts

Soils = tuple[Soil, ...]
"""Soils of the layers of a column, from the top down."""


class Cases(Sequence[Case]):
    """Columns to be run together.

    Parameters
    ----------
    kinds : sequence of Case
        Each as one of its columns is.
    kind : ndarray of int, shape (n,)
        Which of them each column is, but for its soils.
    soils : sequence of tuple of Soil
        What fills its layers.
    """

    def __init__(
        self, kinds: Sequence[Case], kind: NDArray[np.int64], soils: Sequence[Soils]
    ) -> None:
        self.kinds, self.kind, self.soils = kinds, kind, soils
        self._known: tuple[float, Meshes] | None = None

    def __reduce__(self) -> tuple[Any, ...]:
        # Meshes are made sooner than they are sent.
        return Cases, (self.kinds, self.kind, self.soils)

    @classmethod
    def of(cls, cases: Iterable[Case]) -> Cases:
        """Sort cases by what they share."""
        if isinstance(cases, Cases):
            return cases
        kinds: list[Case] = []
        numbers: dict[Any, int] = {}
        kind, soils = [], []
        for case in cases:
            profile = case.profile
            layers = profile.layers
            key = (
                id(case.weather),
                id(case.turf),
                id(case.start),
                tuple([id(each) for each in case.irrigation]),
                tuple([id(each) for each in case.rules]),
                id(profile.base),
                profile.name,
                tuple([(layer.thickness, layer.name) for layer in layers]),
            )
            number = numbers.get(key)
            if number is None:
                number = numbers[key] = len(kinds)
                kinds.append(case)
            kind.append(number)
            soils.append(tuple([layer.soil for layer in layers]))
        return cls(kinds, np.array(kind, dtype=np.int64), soils)

    def __len__(self) -> int:
        return len(self.soils)

    @overload
    def __getitem__(self, place: int) -> Case: ...

    @overload
    def __getitem__(self, place: slice) -> Cases: ...

    def __getitem__(self, place: int | slice) -> Case | Cases:
        if isinstance(place, slice):
            return self.take(np.arange(len(self))[place])
        case, soils = self.kinds[self.kind[place]], self.soils[place]
        profile = filled(case.profile, soils)
        same: Case = case if profile is case.profile else with_parts(case, profile=profile)
        return same

    def take(self, places: NDArray[np.int64]) -> Cases:
        """Take some of the columns, with no more kinds than they are."""
        wanted, kind = np.unique(self.kind[places], return_inverse=True)
        soils = [self.soils[i] for i in places.tolist()]
        taken = Cases([self.kinds[i] for i in wanted.tolist()], kind, soils)
        if self._known is not None:
            refinement, meshes = self._known
            taken._known = refinement, meshes.take(places)
        return taken

    @property
    def remember(self) -> bool:
        """Whether a layer of one of them has a memory of how it was wetted."""
        return any_of(Hysteretic, self.soils) and any(map(remember, self.soils))

    def profiles(self) -> list[Profile]:
        """Profile of each kind."""
        return [case.profile for case in self.kinds]

    def meshes(self, refinement: float) -> Meshes:
        """Nodes of every column, made anew where they are not kept."""
        if self._known is not None and self._known[0] == refinement:
            return self._known[1]
        return meshes_alike(self.profiles(), self.kind.tolist(), self.soils, refinement)

    def keep_meshes(self, refinement: float) -> Meshes:
        """Nodes of every column, kept for those that are taken."""
        meshes = self.meshes(refinement)
        self._known = refinement, meshes
        return meshes

    def texts(self) -> list[str]:
        """Profile of every column as text."""
        return texts_alike(self.profiles(), self.kind.tolist(), self.soils)


def felt_by(case: Case) -> tuple[int, ...]:
    """Tell by identity what a case feels: its weather, its turf and the water it is given."""
    return id(case.weather), id(case.turf), *map(id, case.irrigation)


def under_each(
    profiles: Sequence[Profile],
    fillings: Sequence[Sequence[Soils]],
    members: Sequence[Weather],
    common: dict[str, Any],
) -> Cases:
    """Make columns of every profile with every filling under every weather, the last fastest.

    Parameters
    ----------
    profiles : sequence of Profile
        What stands there.
    fillings : sequence of sequence of tuple of Soil
        Of each profile, what may fill its layers; checked.
    members : sequence of Weather
        Weathers.
    common : dict
        Further arguments of `Case`.

    Raises
    ------
    InputError
        As `Case`.
    """
    first = [Case(filled(profiles[0], fillings[0][0]), member, **common) for member in members]
    if not first or first[0].rules or (first[0].turf and first[0].turf.repellent_mat):
        # These are held against the profile.
        whole = [
            filled(each, soils)
            for each, own in zip(profiles, fillings, strict=True)
            for soils in own
        ]
        return Cases.of([Case(each, member, **common) for each in whole for member in members])
    kinds = [with_parts(each, profile=profile) for profile in profiles for each in first]
    kind, soils = [], []
    for i, own in enumerate(fillings):
        several = np.arange(i * len(first), (i + 1) * len(first))
        kind.append(np.tile(several, len(own)))
        soils += [column for column in own for _ in first]
    return Cases(kinds, np.concatenate(kind), soils)
