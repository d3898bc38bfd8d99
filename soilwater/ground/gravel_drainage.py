"""How far gravel has drained the sand above it, some time after a soaking, in closed form.

While sand drains over gravel, its water rests but for the little that leaves, so the suction at any
height is that height plus the suction at the interface; and gravel holds so little that it passes
on what it is given, as it flows steadily down to an open lower end. The time to an interface
suction is then an integral of what the sand lets go over what the gravel lets through. Held against
runs 48 h after a soaking: within 0.02 cm of suction below 30 cm of sand, 0.4 cm below 60 cm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from soilwater.ground.base import GravelBlanket
from soilwater.soils import Soil
from soilwater.soils.side_by_side import ManySoils
from soilwater.words.arrays import FloatArray

DRAINED_AFTER = 48.0
"""Time after a soaking at which sand over gravel is called drained [h]; it never ends."""
_LIMITS = np.geomspace(1e-3, 1e4, 300)
"""Suctions [cm], as multiples of a soil's own, at which a gravel conducts all that flows."""
_WAY = np.concatenate([[0.0], np.geomspace(1e-5, 1.0, 60), np.linspace(1.0, 20.0, 96)[1:]])
"""Way to such a suction; what is left to it falls by e with each unit."""
_NEARLY_SATURATED = 0.999
"""Share of the saturated conductivity beyond which a flow is left out: it lasts no time."""


class SteadyFlows(NamedTuple):
    """Flows down a gravel to its open lower end, from the wettest to the driest.

    `flow` [cm/h] and the suction at the top it leaves, `at_top` [cm], shape (n,); `height` above
    the lower end [cm] and `suction` [cm] there, shape (n, n_heights).
    """

    flow: FloatArray
    at_top: FloatArray
    height: FloatArray
    suction: FloatArray


@lru_cache(maxsize=1024)
def steady_flows(blanket: GravelBlanket) -> SteadyFlows:
    """Work out steady flows down a gravel: ds/dz = 1 - q/K(s), upward from an open lower end.

    Parameters
    ----------
    blanket : GravelBlanket
        Gravel and its thickness.

    Returns
    -------
    SteadyFlows
        Of flows the gravel conducts at suctions from near nothing to far beyond its thickness.
    """
    gravel = blanket.gravel
    limits = gravel.suction_scale * _LIMITS
    flow = np.asarray(gravel.conductivity(limits), dtype=np.float64)
    some = (flow > 0.0) & (flow < _NEARLY_SATURATED * gravel.k_sat)
    limits, flow = limits[some], flow[some]
    suction = limits[:, None] * -np.expm1(-_WAY)
    share = flow[:, None] / np.asarray(gravel.conductivity(suction), dtype=np.float64)
    # Height beyond that of water at rest; it grows without end as the suction nears its limit.
    beyond = share / np.maximum(1.0 - share, 1e-300) * limits[:, None] * np.exp(-_WAY)
    height = suction.copy()
    height[:, 1:] += np.cumsum(0.5 * (beyond[:, 1:] + beyond[:, :-1]) * np.diff(_WAY), axis=1)
    at_top = np.array(
        [np.interp(blanket.thickness, z, s) for z, s in zip(height, suction, strict=True)]
    )
    return SteadyFlows(flow, at_top, height, suction)


@lru_cache(maxsize=4096)
def interface_suction(
    layers: tuple[tuple[Soil, float], ...], blanket: GravelBlanket, hours: float = DRAINED_AFTER
) -> float:
    """Suction where the layers meet the gravel, some time after they were soaked [cm].

    Parameters
    ----------
    layers : tuple of (Soil, float)
        Soils from the top down, and their thicknesses [cm].
    blanket : GravelBlanket
        What they lie on.
    hours : float, optional
        Time since the soaking [h], without rain or loss from above.

    Returns
    -------
    float
        Suction [cm], from 0 to the thickness of the gravel.
    """
    return float(interface_suctions([layers], blanket, hours)[0])


def interface_suctions(
    columns: Sequence[tuple[tuple[Soil, float], ...]],
    blanket: GravelBlanket,
    hours: float = DRAINED_AFTER,
) -> FloatArray:
    """Suction where the layers of several columns meet the same gravel [cm].

    Parameters
    ----------
    columns : sequence of tuple of (Soil, float)
        Layers of each as `interface_suction` takes them, as many in each.
    blanket : GravelBlanket
        What they lie on.
    hours : float, optional
        Time since the soaking [h].

    Returns
    -------
    ndarray, shape (n_columns,)
        Suctions [cm], bit for bit as of each column alone.
    """
    layers = range(len(columns[0]))
    soils, own = ManySoils.of([[soil for soil, _ in column] for column in columns])
    curves = [soils.curves(own[:, i]) for i in layers]
    thickness = [np.array([column[i][1] for column in columns]) for i in layers]
    return suctions_below(curves, thickness, blanket, hours)


def suctions_below(
    curves: Sequence[Callable[[FloatArray], FloatArray]],
    thickness: Sequence[FloatArray],
    blanket: GravelBlanket,
    hours: float = DRAINED_AFTER,
) -> FloatArray:
    """Suctions as `interface_suctions` has them, of columns given layer by layer.

    Parameters
    ----------
    curves : sequence of callable
        Of each layer, from the top down, what gives the water contents of the soils of all columns.
    thickness : sequence of ndarray, shape (n_columns,)
        Thicknesses [cm], likewise.
    blanket : GravelBlanket
        What they lie on.
    hours : float, optional
        Time since the soaking [h].

    Returns
    -------
    ndarray, shape (n_columns,)
        Suctions [cm].
    """
    flows = steady_flows(blanket)
    taken = before = np.zeros((thickness[0].size, 0))
    for first in range(0, flows.at_top.size, _FLOWS_AT_A_TIME):
        several = slice(first, first + _FLOWS_AT_A_TIME)
        slowness = _let_go(curves, thickness, flows.at_top[several])
        slowness /= flows.flow[several]
        steps = np.empty(slowness.shape)
        np.add(slowness[:, 1:], slowness[:, :-1], out=steps[:, 1:])
        steps[:, 1:] *= 0.5 * np.diff(flows.at_top[several])
        steps[:, 0] = 0.0
        if first:
            # Sums go on where the last ended: how flows are cut changes no bit.
            apart = flows.at_top[first] - flows.at_top[first - 1]
            steps[:, 0] = taken[:, -1] + (slowness[:, 0] + before) * (0.5 * apart)
        before = slowness[:, -1].copy()
        np.cumsum(steps, axis=1, out=steps)
        taken = np.concatenate([taken, steps], axis=1) if first else steps
        if np.all(taken[:, -1] > hours):
            break
    return _at_time(hours, taken, flows.at_top)


_FLOWS_AT_A_TIME = 128
"""Flows that are looked at together: after two days sand over clean gravel is half through them."""


def _let_go(
    curves: Sequence[Callable[[FloatArray], FloatArray]],
    thickness: Sequence[FloatArray],
    at_top: FloatArray,
) -> FloatArray:
    """Water [cm] that goes for each cm the suction rises at the interface, shape (columns, n).

    Of layers from the top down what their soils hold, at suctions `at_top` [cm] at the interface.
    """
    let_go: Any = None
    height: FloatArray = np.zeros(1)
    for held_at, thick in zip(reversed(curves), reversed(thickness), strict=True):
        alike = height.ndim == 1 and bool(np.all(thick == thick[0]))
        above = height + (thick[:1] if alike else thick[:, np.newaxis])
        if height.ndim < above.ndim:
            height = height + np.zeros_like(above)
        held = held_at(np.concatenate([at_top + height, at_top + above], axis=-1))
        lower, upper = held[:, : at_top.size], held[:, at_top.size :]
        let_go = (lower if let_go is None else let_go + lower) - upper
        height = above
    gone: FloatArray = let_go
    return gone


def _at_time(hours: float, taken: FloatArray, suction: FloatArray) -> FloatArray:
    """Read off at a time [h], in each row, suctions [cm] that have taken ever more time [h]."""
    rows = np.arange(taken.shape[0])
    passed = np.count_nonzero(taken <= hours, axis=1)
    before = np.minimum(passed, suction.size - 1) - 1
    since = taken[rows, before]
    apart = taken[rows, before + 1] - since
    slope = np.divide(
        suction[before + 1] - suction[before], apart, where=apart > 0.0, out=0 * apart
    )
    read: FloatArray = np.where(
        passed < suction.size, slope * (hours - since) + suction[before], suction[-1]
    )
    return read


def suction_within(
    blanket: GravelBlanket, at_top: FloatArray | float, height: FloatArray
) -> FloatArray:
    """Suction in a gravel that passes on what leaves the sand above it [cm].

    Parameters
    ----------
    blanket : GravelBlanket
        Gravel and its thickness.
    at_top : float or ndarray
        Suction where the sand meets it [cm].
    height : ndarray
        Above the lower end of the gravel [cm]; the two broadcast.

    Returns
    -------
    ndarray
        From 0 at the lower end to `at_top`.
    """
    flows = steady_flows(blanket)
    after = np.minimum(np.searchsorted(flows.at_top, at_top), flows.at_top.size - 1)
    before = np.maximum(after - 1, 0)
    apart = flows.at_top[after] - flows.at_top[before]
    share = np.divide(
        at_top - flows.at_top[before], apart, out=np.ones_like(apart), where=apart > 0.0
    )
    # Columns of any depth have the same nodes in one gravel, but for the last digits.
    heights: FloatArray = np.round(height, 9)
    place: Any = np.arange(heights.size)
    if heights.size > _HEIGHTS_OF_A_COLUMN:
        heights, place = np.unique(heights, return_inverse=True)
    place = place.reshape(np.shape(height))
    there = _of_flows_at(blanket, heights.tobytes())
    # Columns of one green leave flows that are neighbours: few of them are looked at.
    for i in set(np.ravel(before).tolist()).union(np.ravel(after).tolist()):
        if np.isnan(there[i, 0]):
            there[i] = np.interp(heights, flows.height[i], flows.suction[i])
    within: FloatArray = (1.0 - share) * there[before, place] + share * there[after, place]
    return within


_HEIGHTS_OF_A_COLUMN = 32
"""Heights of which none is looked for among the others: to look takes longer."""


@lru_cache(maxsize=128)
def _of_flows_at(blanket: GravelBlanket, heights: bytes) -> FloatArray:
    """Room for suctions [cm] of each flow at some heights [cm]; not a number until asked for."""
    return np.full((steady_flows(blanket).flow.size, len(heights) // 8), np.nan)


def suction_carrying(blanket: GravelBlanket, flow: float, height: FloatArray) -> FloatArray:
    """Suction in a gravel that carries a steady flow [cm].

    Parameters
    ----------
    blanket : GravelBlanket
        Gravel and its thickness.
    flow : float
        Flow down it [cm/h].
    height : ndarray
        Above the lower end of the gravel [cm].

    Returns
    -------
    ndarray
        0 throughout where the gravel cannot carry it but full.
    """
    flows = steady_flows(blanket)
    i = int(np.argmax(flows.flow <= flow))
    if flow >= flows.flow[0]:
        return np.zeros_like(height)
    carrying: FloatArray = np.interp(height, flows.height[i], flows.suction[i])
    return carrying
