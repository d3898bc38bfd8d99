"""Many soils at once: one soil whose parameters are columns stands for all of a model.

The formulas of the models are written in array operations and broadcast, which is a hundred times
faster than a soil after the other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from functools import cache, cached_property
from itertools import chain
from operator import attrgetter
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.kosugi import Kosugi
from soilwater.soils.model import SoilModel
from soilwater.soils.soil import Soil
from soilwater.soils.two_component import TwoComponent
from soilwater.soils.van_genuchten import VanGenuchten
from soilwater.words.arrays import FloatArray

_BROADCASTING = (VanGenuchten, BrooksCorey, Kosugi, TwoComponent)
"""A model is known by its exact class: one derived from it elsewhere may have other curves."""

_MANY = 16
"""Soils of which it takes longer to compare them one by one than to sort what they say."""


def with_columns(model: type[SoilModel], values: Mapping[str, Any]) -> Any:
    """Make a soil whose parameters are arrays, unchecked.

    Parameters
    ----------
    model : type
        Its model.
    values : mapping of str to array
        Parameters by name; what is left out has its default.

    Returns
    -------
    SoilModel
        Its formulas broadcast.
    """
    soil = object.__new__(model)
    for each in fields(model):
        object.__setattr__(soil, each.name, values.get(each.name, each.default))
    return soil


def side_by_side(model: type[SoilModel], soils: Sequence[Any]) -> Any:
    """Make one soil of all of a model, whose parameters and texts are arrays, shape (n_soils,).

    Parameters
    ----------
    model : type
        One of this package that is no other in its inside.
    soils : sequence of Soil
        Of that model.
    """
    kinds: list[tuple[str, type]] = [(name, np.float64) for name in names_of_numbers(model)]
    # Texts, too, while soils are at hand: to fetch thousands once more takes a third of what it
    # takes to write them.
    kinds += [(name, object) for name in TEXTS]
    read: dict[str, Any] = {
        n: np.fromiter(map(attrgetter(n), soils), kind, len(soils)) for n, kind in kinds
    }
    return with_columns(model, read)


TEXTS = ("name", "source")
"""What a model says beside its numbers."""


@cache
def names_of_numbers(model: type[SoilModel]) -> list[str]:
    """Names of the parameters of a model that are numbers."""
    return [each.name for each in fields(model) if "quantity" in each.metadata]


class ManySoils(Sequence[Soil]):
    """Soils in one list, read off once; columns say by number which of them they have.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.
    """

    def __init__(self, soils: Sequence[Soil]) -> None:
        self._soils = soils

    @classmethod
    def of(cls, columns: Iterable[Sequence[Soil]]) -> tuple[ManySoils, NDArray[np.int64]]:
        """Give soils that differ numbers, as they are met.

        Parameters
        ----------
        columns : iterable of sequence of Soil
            Soils of each column, from the top down.

        Returns
        -------
        soils : ManySoils
            No two of them equal.
        numbers : ndarray of int, shape (n_columns, most)
            Which of them each column has; shorter ones repeat their last.
        """
        columns = list(columns)
        every = list(chain.from_iterable(columns))
        # Told apart by identity first: to look at all their numbers takes longer.
        by_identity = dict(zip(map(id, every), every, strict=True))
        soils = cls(list(by_identity.values()))
        number_of: Iterable[int] = range(len(soils))
        if not soils._surely_differ():
            distinct = dict.fromkeys(soils)
            if len(distinct) < len(soils):
                among = dict(zip(distinct, number_of, strict=False))
                number_of = [among[soil] for soil in soils]
                soils = cls(list(distinct))
        met = np.arange(len(every))
        if len(soils) < len(every):
            numbers = dict(zip(by_identity, number_of, strict=True))
            met = np.array([numbers[each] for each in map(id, every)], dtype=np.int64)
        sizes = np.array([len(column) for column in columns], dtype=np.int64)
        within = np.minimum(np.arange(sizes.max(initial=0)), sizes[:, np.newaxis] - 1)
        return soils, met[within + (np.cumsum(sizes) - sizes)[:, np.newaxis]]

    def _surely_differ(self) -> bool:
        """Whether one number tells each from all others, in soils of one model that broadcasts."""
        if len(self) < _MANY or len(self.of_model) > 1:
            return False
        columns = [vars(alike)[n] for m, alike in self.alike.items() for n in names_of_numbers(m)]
        return any(np.unique(column).size == len(self) for column in columns)

    def __reduce__(self) -> tuple[Any, ...]:
        # What was read off is read sooner than it is sent.
        return ManySoils, (self._soils,)

    def __len__(self) -> int:
        return len(self._soils)

    @overload
    def __getitem__(self, number: int) -> Soil: ...

    @overload
    def __getitem__(self, number: slice) -> Sequence[Soil]: ...

    def __getitem__(self, number: int | slice) -> Soil | Sequence[Soil]:
        return self._soils[number]

    def take(self, numbers: NDArray[np.int64]) -> list[Soil]:
        """List some of them."""
        return [self._soils[number] for number in numbers.tolist()]

    @cached_property
    def of_model(self) -> dict[type, NDArray[np.int64]]:
        """Numbers of those of each model, in order."""
        models = list(map(type, self._soils))
        if len(set(models)) == 1:
            return {models[0]: np.arange(len(models))}
        numbers: dict[type, list[int]] = {}
        for number, model in enumerate(models):
            numbers.setdefault(model, []).append(number)
        return {model: np.array(several) for model, several in numbers.items()}

    @cached_property
    def alike(self) -> dict[type, Any]:
        """Of each model that broadcasts one soil whose parameters are arrays of theirs."""
        return {
            model: side_by_side(model, self.take(numbers))
            for model, numbers in self.of_model.items()
            if model in _BROADCASTING
        }

    @cached_property
    def scales(self) -> FloatArray:
        """Characteristic suction of each [cm], shape (n_soils,)."""
        return np.array([soil.suction_scale for soil in self._soils])

    @cached_property
    def half_drained(self) -> FloatArray:
        """Water content of each between its dry end and saturation [1], shape (n_soils,)."""
        half = np.empty(len(self))
        for model, numbers in self.of_model.items():
            alike = self.alike.get(model)
            if alike is not None:
                half[numbers] = 0.5 * (alike.theta_r + alike.theta_s)
            else:
                half[numbers] = [0.5 * (s.theta_r + s.theta_s) for s in self.take(numbers)]
        return half

    @cached_property
    def remember(self) -> NDArray[np.bool_]:
        """Which of them have a memory of how they were wetted."""
        remember = np.zeros(len(self), dtype=np.bool_)
        for model, numbers in self.of_model.items():
            if issubclass(model, Hysteretic):
                remember[numbers] = [soil.remembers for soil in self.take(numbers)]  # type: ignore[attr-defined]
        return remember

    def by_model(self, numbers: NDArray[np.int64]) -> list[tuple[type, NDArray[np.int64], Any]]:
        """Sort some of them by their models.

        Parameters
        ----------
        numbers : ndarray of int, shape (n,)
            Which, in any order, some perhaps more than once.

        Returns
        -------
        list of tuple
            Each model that is met; where, in order; and of one that broadcasts one soil whose
            parameters and texts are arrays of theirs, else None.
        """
        found: list[tuple[type, NDArray[np.int64], Any]] = []
        for model, own in self.of_model.items():
            row = np.full(len(self), -1)
            row[own] = np.arange(own.size)
            rows = row[numbers]
            places = np.flatnonzero(rows >= 0)
            if places.size:
                alike = self.alike.get(model)
                if alike is not None:
                    at = rows[places]
                    told = (*names_of_numbers(model), *TEXTS)
                    alike = with_columns(model, {name: getattr(alike, name)[at] for name in told})
                found.append((model, places, alike))
        return found

    def curves(self, numbers: NDArray[np.int64]) -> Callable[[FloatArray], FloatArray]:
        """Return what gives the water contents of some of them at suctions, as `water_contents`.

        Parameters
        ----------
        numbers : ndarray of int, shape (n,)
            Which, in any order, some perhaps more than once.
        """
        parts: list[tuple[NDArray[np.int64], Any]] = []
        for model, places, alike in self.by_model(numbers):
            if alike is not None:
                values = {name: getattr(alike, name) for name in names_of_numbers(model)}
                alike = with_columns(model, {name: of[:, None] for name, of in values.items()})
            parts.append((places, alike))

        def held_at(suction: FloatArray) -> FloatArray:
            suction = np.maximum(suction, 0.0)
            if len(parts) == 1 and parts[0][1] is not None:
                of_all: FloatArray = parts[0][1]._water_content(suction)
                return of_all
            held = np.empty((numbers.size, suction.shape[-1]))
            of_soil = np.broadcast_to(suction, held.shape)
            for places, alike in parts:
                if alike is not None:
                    at = suction if suction.ndim == 1 else suction[places]
                    held[places] = alike._water_content(at)
                else:
                    for i in places.tolist():
                        held[i] = self._soils[numbers[i]].water_content(of_soil[i])
            return held

        return held_at


def water_contents(soils: Sequence[Soil], suction: FloatArray) -> FloatArray:
    """Water contents of several soils, bit for bit as each gives them alone.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.
    suction : ndarray, shape (n_suctions,) or (n_soils, n_suctions)
        Suctions [cm], the same for all or a row for each soil.

    Returns
    -------
    ndarray, shape (n_soils, n_suctions)
        Water contents [1].
    """
    many = soils if isinstance(soils, ManySoils) else ManySoils(soils)
    return many.curves(np.arange(len(soils)))(suction)
