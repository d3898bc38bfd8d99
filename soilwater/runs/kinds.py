"""Columns as few cases that say what they share, and the soils of each.

An ensemble has thousands of columns that differ in their sands alone. What else makes a column is
kept, checked and worked out once a kind; a case is made of it where one is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.fillings import check_on_gravel, filled
from soilwater.ground.mesh import Meshes
from soilwater.ground.profile import Profile, meshes_alike, soils_of
from soilwater.ground.profile_texts import texts_alike
from soilwater.runs.case import Case
from soilwater.soils import Soil
from soilwater.soils.side_by_side import ManySoils
from soilwater.weather.series import Weather
from soilwater.words.arrays import which_occur
from soilwater.words.copies import with_parts


class Cases(Sequence[Case]):
    """Columns to be run together.

    Parameters
    ----------
    kinds : sequence of Case
        Each as one of its columns is.
    kind : ndarray of int, shape (n,)
        Which of them each column is, but for its soils.
    soils : ManySoils
        No two of them equal.
    filling : ndarray of int, shape (n, most)
        Which of these each column has, as `soils_of` its profile; shorter ones repeat their last.
    """

    def __init__(
        self,
        kinds: Sequence[Case],
        kind: NDArray[np.int64],
        soils: ManySoils,
        filling: NDArray[np.int64],
    ) -> None:
        self.kinds, self.kind, self.soils, self.filling = kinds, kind, soils, filling
        self._known: tuple[float, Meshes] | None = None

    def __reduce__(self) -> tuple[Any, ...]:
        # Meshes are made sooner than they are sent, and soils of other columns stay here.
        met, filling = which_occur(self.filling)
        soils = ManySoils(self.soils.take(met))
        return Cases, (self.kinds, self.kind, soils, filling)

    @classmethod
    def of(cls, cases: Iterable[Case]) -> Cases:
        """Sort cases by what they share."""
        if isinstance(cases, Cases):
            return cases
        kinds: list[Case] = []
        numbers: dict[Any, int] = {}
        kind, columns = [], []
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
            columns.append(soils_of(profile))
        return cls(kinds, np.array(kind, dtype=np.int64), *ManySoils.of(columns))

    def __len__(self) -> int:
        return self.kind.size

    @overload
    def __getitem__(self, place: int) -> Case: ...

    @overload
    def __getitem__(self, place: slice) -> Cases: ...

    def __getitem__(self, place: int | slice) -> Case | Cases:
        if isinstance(place, slice):
            return self.take(np.arange(len(self))[place])
        case = self.kinds[self.kind[place]]
        profile = filled(case.profile, self.soils.take(self.filling[place]))
        same: Case = case if profile is case.profile else with_parts(case, profile=profile)
        return same

    def take(self, places: NDArray[np.int64]) -> Cases:
        """Take some of the columns, with no more kinds than they are."""
        wanted, kind = which_occur(self.kind[places])
        kinds = [self.kinds[i] for i in wanted.tolist()]
        taken = Cases(kinds, kind, self.soils, self.filling[places])
        if self._known is not None:
            refinement, meshes = self._known
            taken._known = refinement, meshes.take(places)
        return taken

    @property
    def remember(self) -> bool:
        """Whether a layer of one of them has a memory of how it was wetted."""
        return bool(self.soils.remember[self.filling].any())

    def profiles(self) -> list[Profile]:
        """Profile of each kind."""
        return [case.profile for case in self.kinds]

    def meshes(self, refinement: float) -> Meshes:
        """Nodes of every column, made anew where they are not kept."""
        if self._known is not None and self._known[0] == refinement:
            return self._known[1]
        profiles = self.profiles()
        return meshes_alike(profiles, self.kind, self.soils, self.filling, refinement)

    def keep_meshes(self, refinement: float) -> Meshes:
        """Nodes of every column, kept for those that are taken."""
        meshes = self.meshes(refinement)
        self._known = refinement, meshes
        return meshes

    def texts(self) -> list[str]:
        """Profile of every column as text."""
        return texts_alike(self.profiles(), self.kind, self.soils, self.filling)


def felt_by(case: Case) -> tuple[int, ...]:
    """Tell by identity what a case feels: its weather, its turf and the water it is given."""
    return id(case.weather), id(case.turf), *map(id, case.irrigation)


def under_each(
    profiles: Sequence[Profile],
    soils: Sequence[Soil] | None,
    layer: str | None,
    members: Sequence[Weather],
    common: dict[str, Any],
) -> Cases:
    """Make columns of every profile with every soil under every weather, the last fastest.

    Parameters
    ----------
    profiles : sequence of Profile
        What stands there.
    soils : sequence of Soil or None
        What may fill a layer; None where profiles stay as they are.
    layer : str or None
        Name of that layer.
    members : sequence of Weather
        Weathers.
    common : dict
        Further arguments of `Case`.

    Raises
    ------
    InputError
        As `Case`; if the layer is not found, or gravel below it is no coarser.
    """
    own = [soils_of(each) for each in profiles]
    many, numbers = ManySoils.of(own if soils is None else [*own, soils])
    most = max(map(len, own))
    fillings = [numbers[i : i + 1, :most] for i in range(len(profiles))]
    if soils is not None:
        sands = numbers[-1, : len(soils)]
        for i, profile in enumerate(profiles):
            place = profile.layer_index(layer)
            check_on_gravel(profile, place, many, sands)
            filling = fillings[i] = np.tile(fillings[i], (sands.size, 1))
            ends = place + 1 if place + 1 < len(own[i]) else most
            filling[:, place:ends] = sands[:, np.newaxis]
    first = [
        Case(filled(profiles[0], many.take(fillings[0][0])), member, **common) for member in members
    ]
    if not first or first[0].rules or (first[0].turf and first[0].turf.repellent_mat):
        # These are held against the profile.
        whole = [
            filled(profile, many.take(column))
            for profile, filling in zip(profiles, fillings, strict=True)
            for column in filling
        ]
        return Cases.of([Case(each, member, **common) for each in whole for member in members])
    kinds = [with_parts(each, profile=profile) for profile in profiles for each in first]
    of_profile = np.arange(len(kinds)).reshape(len(profiles), 1, len(first))
    kind = np.tile(of_profile, (1, len(fillings[0]), 1)).ravel()
    return Cases(kinds, kind, many, np.repeat(np.concatenate(fillings), len(first), axis=0))
