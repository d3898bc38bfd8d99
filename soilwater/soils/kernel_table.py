"""Tables of soils for the kernels: models known here in compiled code, others from their curves.

A model is known by its exact class: one derived from it elsewhere may have other curves, and is
tabulated from these.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.kernels import tabulate as compiled
from soilwater.kernels.curves import N_BINS, ROW_LENGTH, SCALARS, tabulate
from soilwater.soils import dry_end
from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.dry_end import OVEN_DRY_SUCTION, WithDryEnd
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.kosugi import Kosugi
from soilwater.soils.side_by_side import ManySoils
from soilwater.soils.soil import Soil
from soilwater.soils.two_component import TwoComponent
from soilwater.soils.van_genuchten import VanGenuchten


def soil_table(soil: Soil) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Table and scalars of a soil as `soilwater.kernels.curves.tabulate` makes them."""
    tables, scalars = stack_tables([soil])
    return tables[0], scalars[0]


def stack_tables(soils: Sequence[Soil]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tables of several soils end to end, in their order.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.

    Returns
    -------
    tables : ndarray, shape (n, N_BINS, ROW_LENGTH)
        As `soilwater.kernels.curves.tabulate` makes each.
    scalars : ndarray, shape (n, SCALARS)
        Likewise.
    """
    return untabulated(ManySoils(soils), np.arange(len(soils))).tables()


class Room(NamedTuple):
    """Where one thread makes tables, again and again: to ask for room takes time."""

    tables: NDArray[np.float64]
    """(any, N_BINS, ROW_LENGTH)"""
    work: tuple[NDArray[np.float64], ...]

    @classmethod
    def of(cls, count: int) -> Room:
        """Make room for a number of tables."""
        return cls(np.empty((count, N_BINS, ROW_LENGTH)), compiled.make_work())


class Untabulated(NamedTuple):
    """Soils of which tables can be made, with next to nothing left to do in Python."""

    number_of_soils: int
    rows: list[tuple[Any, NDArray[np.float64], NDArray[np.int64]]]
    """An entry point, what it takes of each of its soils, and which these are."""
    others: list[tuple[int, Any]]
    """Which soils have no kernel, and these."""

    def parted(self, ends: NDArray[np.int64]) -> list[Untabulated]:
        """Cut soils into parts, each up to one of the ends."""
        bounds = np.append(0, ends)
        parts = [Untabulated(size, [], []) for size in np.diff(bounds).tolist()]
        begins = bounds[:-1].tolist()
        for entry_point, rows, places in self.rows:
            cuts = np.searchsorted(places, bounds).tolist()
            for part, begin, first, last in zip(parts, begins, cuts[:-1], cuts[1:], strict=True):
                if first < last:
                    own = places[first:last] - begin
                    part.rows.append((entry_point, rows[first:last], own))
        for place, other in self.others:
            k = int(np.searchsorted(ends, place, side="right"))
            parts[k].others.append((place - begins[k], other))
        return parts

    def tables(
        self, room: Room | None = None, scalars: NDArray[np.float64] | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Make their tables and scalars, as of `stack_tables`; in some room, if they fit."""
        count = self.number_of_soils
        if room is None or room.tables.shape[0] < count:
            room = Room.of(count)
        tables = room.tables[:count]
        if scalars is None:
            scalars = np.empty((count, SCALARS))
        for entry_point, rows, places in self.rows:
            entry_point(rows, places, _grid(), tables, scalars, *room.work)
        for place, soil in self.others:
            tables[place], scalars[place] = _from_curves(soil)
        return tables, scalars


def untabulated(soils: ManySoils, numbers: NDArray[np.int64]) -> Untabulated:
    """Read what tables are made of off some of many soils.

    Parameters
    ----------
    soils : ManySoils
        Of any model.
    numbers : ndarray of int
        Which.
    """
    if any(issubclass(model, Hysteretic) for model in soils.of_model):
        soils, numbers = ManySoils(list(map(_drying, soils.take(numbers)))), np.arange(numbers.size)
    made: list[tuple[Any, NDArray[np.float64], NDArray[np.int64]]] = []
    others: list[tuple[int, Any]] = []
    for model, places, alike in soils.by_model(numbers):
        if model in _MODELS:
            entry_point, _, shape = _MODELS[model]
            made.append(
                (entry_point, _rows_of(alike, soils.scales[numbers[places]], shape), places)
            )
            continue
        several: list[Any] = soils.take(numbers[places])
        of_inner: dict[type, list[tuple[int, Any]]] = {}
        for place, soil in zip(places.tolist(), several, strict=True):
            inner = type(soil.soil) if model is WithDryEnd else model
            of_inner.setdefault(inner, []).append((place, soil))
        for inner, own in of_inner.items():
            if inner in _MODELS:
                _, with_films, shape = _MODELS[inner]
                rows = np.array([_row(soil, soil.soil, shape) for _, soil in own])
                made.append((with_films, rows, np.array([place for place, _ in own])))
            else:
                others += own
    return Untabulated(numbers.size, made, others)


@lru_cache(maxsize=128)
def tables_of_column(
    soils: tuple[Soil, ...],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tables of the soils of one column as `stack_tables` makes them, kept; never written to.

    The same column is run under one weather after another, and a meter reads the same sands in
    column after column. Some 6 MB when full.

    Parameters
    ----------
    soils : tuple of Soil
        Of any model.
    """
    return stack_tables(soils)


def one_of_each_model(soils: Sequence[Soil]) -> list[Soil]:
    """Find few soils whose tables need all that is compiled for those of all.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.

    Returns
    -------
    list of Soil
        None of a model that has no kernel.
    """
    found: dict[tuple[type, type], Soil] = {}
    for soil in map(_drying, soils):
        inner = type(soil.soil) if type(soil) is WithDryEnd else type(soil)
        if inner in _MODELS:
            found[type(soil), inner] = soil
    return list(found.values())


def _drying(each: Any) -> Any:
    """Soil whose table it is: of one that remembers, that of drying.

    Its wetting curve is read off the same table at other suctions.
    """
    return each.soil if isinstance(each, Hysteretic) else each


@lru_cache(maxsize=256)
def _from_curves(soil: Soil) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Table of a soil of a model that has no kernel: it takes as long as a run of some days."""
    return tabulate(soil)


@cache
def _grid() -> NDArray[np.float64]:
    return compiled.make_grid()


def _rows_of(
    alike: Any, scale: NDArray[np.float64], shape: Callable[[Any, Any], list[Any]]
) -> NDArray[np.float64]:
    """Numbers of soils of one model without a dry end, as `_row` gives those of others.

    One soil whose parameters are arrays of theirs, and their characteristic suctions [cm].
    """
    values = [scale, alike.theta_r, alike.theta_s, alike.k_sat, alike.tortuosity, *_NO_FILMS]
    values += shape(alike, scale)
    rows = np.empty((scale.size, len(values)))
    for i, value in enumerate(values):
        rows[:, i] = value
    return rows


def _row(soil: Any, inner: Any, shape: Callable[[Any, Any], list[Any]]) -> list[float]:
    """Numbers of a soil with a dry end, in the order of `soilwater.kernels.tabulate`."""
    pores = [inner.theta_r, inner.theta_s, inner.k_sat, inner.tortuosity]
    onset, width, whole = soil._film_terms()
    exponent = dry_end.FILM_POWER * (math.log(OVEN_DRY_SUCTION) - onset)
    films = [soil._share_in_films, onset, width, whole, OVEN_DRY_SUCTION, exponent]
    scale = soil.suction_scale
    return [scale, *pores, *films, *shape(inner, scale)]


_NO_FILMS = [0.0] * (compiled.SHAPE - compiled.FILM_SHARE)


def _one_system(soil: Any, scale: Any) -> list[Any]:
    return [1.0, np.log(soil.alpha * scale), soil.n, 1.0]


def _two_systems(soil: Any, scale: Any) -> list[Any]:
    systems = soil._systems()
    whole = sum(share * alpha for share, alpha, _ in systems)
    return [
        number
        for share, alpha, n in systems
        for number in (share, np.log(alpha * scale), n, share * alpha / whole)
    ]


def _power(soil: Any, scale: Any) -> list[Any]:
    return [soil.pore_size_index]


def _lognormal(soil: Any, scale: Any) -> list[Any]:
    return [np.log(scale / soil.median_suction), soil.spread]


_PORE_SYSTEMS = compiled.tabulate_pore_systems, compiled.tabulate_pore_systems_with_films
_POWER = compiled.tabulate_power_of_suction, compiled.tabulate_power_of_suction_with_films
_LOGNORMAL = compiled.tabulate_lognormal_pores, compiled.tabulate_lognormal_pores_with_films
_MODELS: dict[type, tuple[Any, Any, Callable[[Any, Any], list[Any]]]] = {
    VanGenuchten: (*_PORE_SYSTEMS, _one_system),
    TwoComponent: (*_PORE_SYSTEMS, _two_systems),
    BrooksCorey: (*_POWER, _power),
    Kosugi: (*_LOGNORMAL, _lognormal),
}
