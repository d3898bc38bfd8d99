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
from soilwater.soils.side_by_side import side_by_side
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
    return untabulated(soils).tables()


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

    def parted(self, met: NDArray[np.bool_]) -> list[Untabulated]:
        """Take the soils that are met in each of several parts, shape (parts, soils)."""
        part, soil = np.nonzero(met)
        number = np.cumsum(met, axis=1) - 1
        parts = [Untabulated(last + 1, [], []) for last in number[:, -1].tolist()]
        for entry_point, own, places in self.rows:
            row = np.full(self.number_of_soils, -1)
            row[places] = np.arange(places.size)
            wanted = np.flatnonzero(row[soil] >= 0)
            rows, at = own[row[soil[wanted]]], number[part[wanted], soil[wanted]]
            ends = np.searchsorted(part[wanted], np.arange(len(parts) + 1)).tolist()
            for several, first, last in zip(parts, ends[:-1], ends[1:], strict=True):
                if first < last:
                    several.rows.append((entry_point, rows[first:last], at[first:last]))
        for place, other in self.others:
            for k in np.flatnonzero(met[:, place]).tolist():
                parts[k].others.append((int(number[k, place]), other))
        return parts

    def tables(self, room: Room | None = None) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Make their tables and scalars, as of `stack_tables`; in some room, if they fit."""
        count = self.number_of_soils
        if room is None or room.tables.shape[0] < count:
            room = Room.of(count)
        tables, scalars = room.tables[:count], np.empty((count, SCALARS))
        for entry_point, rows, places in self.rows:
            entry_point(rows, places, _grid(), tables, scalars, *room.work)
        for place, soil in self.others:
            tables[place], scalars[place] = _from_curves(soil)
        return tables, scalars


def untabulated(soils: Sequence[Soil]) -> Untabulated:
    """Read what tables are made of off several soils.

    Parameters
    ----------
    soils : sequence of Soil
        Of any model.
    """
    of_type: dict[type, list[int]] = {}
    for place, outer in enumerate(map(type, soils)):
        of_type.setdefault(outer, []).append(place)
    # As they are, or without what they are wrapped in.
    whole, inside = list(soils), list(soils)
    of_model: dict[tuple[type, type], list[int]] = {}
    for outer, places in of_type.items():
        if outer in _MODELS:
            of_model.setdefault((outer, outer), []).extend(places)
            continue
        for place in places:
            soil, inner = whole[place], inside[place] = _inside(soils[place])
            of_model.setdefault((type(soil), type(inner)), []).append(place)
    made: list[tuple[Any, NDArray[np.float64], NDArray[np.int64]]] = []
    others: list[tuple[int, Any]] = []
    for (outer, model), places in of_model.items():
        own = [whole[place] for place in places]
        if model not in _MODELS:
            others += zip(places, own, strict=True)
            continue
        plain, with_films, shape = _MODELS[model]
        if outer is model:
            made.append((plain, _rows_of(model, own, shape), np.array(places)))
        else:
            rows = [_row(whole[place], inside[place], shape) for place in places]
            made.append((with_films, np.array(rows), np.array(places)))
    return Untabulated(len(soils), made, others)


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
    for soil, inner in map(_inside, soils):
        if type(inner) in _MODELS:
            found[type(soil), type(inner)] = soil
    return list(found.values())


def _inside(each: Any) -> tuple[Any, Any]:
    """Soil whose table it is, and that soil without its dry end."""
    # A soil that remembers has one table: its wetting curve is read off it at other suctions.
    soil = each.soil if isinstance(each, Hysteretic) else each
    return soil, soil.soil if type(soil) is WithDryEnd else soil


@lru_cache(maxsize=256)
def _from_curves(soil: Soil) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Table of a soil of a model that has no kernel: it takes as long as a run of some days."""
    return tabulate(soil)


@cache
def _grid() -> NDArray[np.float64]:
    return compiled.make_grid()


def _rows_of(
    model: type[Any], soils: Sequence[Any], shape: Callable[[Any, Any], list[Any]]
) -> NDArray[np.float64]:
    """Numbers of soils of one model without a dry end, as `_row` gives those of others."""
    scale = np.array([soil.suction_scale for soil in soils])
    alike = side_by_side(model, soils)
    values = [scale, alike.theta_r, alike.theta_s, alike.k_sat, alike.tortuosity, *_NO_FILMS]
    values += shape(alike, scale)
    rows = np.empty((len(soils), len(values)))
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
