"""Tables of soils for the kernels: models known here in compiled code, others from their curves.

A model is known by its exact class: one derived from it elsewhere may have other curves, and is
tabulated from these.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.kernels import tabulate as compiled
from soilwater.kernels.curves import N_BINS, ROW_LENGTH, SCALARS, tabulate
from soilwater.soils import dry_end
from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.dry_end import OVEN_DRY_SUCTION, WithDryEnd
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.kosugi import Kosugi
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
    tables = np.empty((len(soils), N_BINS, ROW_LENGTH))
    scalars = np.empty((len(soils), SCALARS))
    known: dict[tuple[Any, int], tuple[list[list[float]], list[int]]] = {}
    for place, each in enumerate(soils):
        soil, inner = _inside(each)
        model = _MODELS.get(type(inner))
        if model is None:
            tables[place], scalars[place] = _from_curves(soil)
            continue
        plain, with_films, shape = model
        entry_point = plain if soil is inner else with_films
        scale = soil.suction_scale
        row = _parameters(soil, inner, scale) + shape(inner, scale)
        rows, places = known.setdefault((entry_point, len(row)), ([], []))
        rows.append(row)
        places.append(place)
    if known:
        work = compiled.make_work()
    for (entry_point, _), (rows, places) in known.items():
        entry_point(np.array(rows), np.array(places), _grid(), tables, scalars, *work)
    return tables, scalars


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


def _parameters(soil: Any, inner: Any, scale: float) -> list[float]:
    """Numbers every model has, in the order of `soilwater.kernels.tabulate`."""
    pores = [inner.theta_r, inner.theta_s, inner.k_sat, inner.tortuosity]
    if soil is inner:
        return [scale, *pores, *_NO_FILMS]
    onset, width, whole = soil._film_terms()
    exponent = dry_end.FILM_POWER * (math.log(OVEN_DRY_SUCTION) - onset)
    films = [soil._share_in_films, onset, width, whole, OVEN_DRY_SUCTION, exponent]
    return [scale, *pores, *films]


_NO_FILMS = [0.0] * (compiled.SHAPE - compiled.FILM_SHARE)


def _one_system(soil: Any, scale: float) -> list[float]:
    return [1.0, math.log(soil.alpha * scale), soil.n, 1.0]


def _two_systems(soil: Any, scale: float) -> list[float]:
    systems = soil._systems()
    whole = sum(share * alpha for share, alpha, _ in systems)
    return [
        number
        for share, alpha, n in systems
        for number in (share, math.log(alpha * scale), n, share * alpha / whole)
    ]


def _power(soil: Any, scale: float) -> list[float]:
    return [soil.pore_size_index]


def _lognormal(soil: Any, scale: float) -> list[float]:
    return [math.log(scale / soil.median_suction), soil.spread]


_PORE_SYSTEMS = compiled.tabulate_pore_systems, compiled.tabulate_pore_systems_with_films
_POWER = compiled.tabulate_power_of_suction, compiled.tabulate_power_of_suction_with_films
_LOGNORMAL = compiled.tabulate_lognormal_pores, compiled.tabulate_lognormal_pores_with_films
_MODELS: dict[type, tuple[Any, Any, Callable[[Any, float], list[float]]]] = {
    VanGenuchten: (*_PORE_SYSTEMS, _one_system),
    TwoComponent: (*_PORE_SYSTEMS, _two_systems),
    BrooksCorey: (*_POWER, _power),
    Kosugi: (*_LOGNORMAL, _lognormal),
}
