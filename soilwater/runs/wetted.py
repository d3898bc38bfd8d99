"""How the sand of a start came to be as wet as it is: flooded from below, or rained on while dry.

At one suction a sand that remembers holds much or little water, by how it was wetted last. A start
that only says how dry it is leaves that open.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh
from soilwater.ground.repellent_mat import MatState
from soilwater.kernels.branches import N_TURNS
from soilwater.soils import Soil
from soilwater.soils.hysteretic import Hysteretic
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_one_unit
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house

_HALVINGS = 36
_WETTEST, _DRIEST = 1e-3, 1e6
"""Suctions [cm] between which the one of a branch is looked for."""
_MM_IN_CM = 10.0


@dataclass(frozen=True, eq=False)
class WaterKnown:
    """Water of a column as it is known, in numbers: a start for those who start thousands.

    To make a DataArray, or take a column out of a Dataset, takes as long as to run it for days.

    Parameters
    ----------
    depth : ndarray, shape (n,)
        From the surface down [cm].
    suction : ndarray, shape (n,)
        Suctions there [cm]; straight between.
    turns : ndarray, shape (n, N_TURNS), optional
        Heads at which the nodes of this column turned before [cm], as `turns_after` has them;
        depths are then those of its nodes.
    mat : MatState, optional
        What a mat remembers.
    """

    depth: NDArray[np.float64]
    suction: NDArray[np.float64]
    turns: NDArray[np.float64] | None = None
    mat: MatState | None = None


@dataclass(frozen=True, eq=False)
class AfterFlooding:
    """A start on the drying curve: the sand was soaked from below, as a lab soaks it, and drained.

    Parameters
    ----------
    water : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        Water at the start, as a start of any other sand.
    """

    water: Any = "drained"


@needs_all('AfterRain("12 mm/h")')
@dataclass(frozen=True, eq=False)
class AfterRain:
    """A start after rain or irrigation on dry sand, and the drainage that followed.

    While it rains, sand takes water along its wetting branch until it passes the rate on, and no
    wetter; near the base it fills to what the base holds. It then drains along the branch that
    begins there. Water that came faster left the sand wetter (a flood is the limit).

    Parameters
    ----------
    rate : float, str or Quantity
        Rate of the rain or the sprinklers [mm/h].
    water : {"drained"}, float, str, Quantity or DataArray, optional
        Water at the start, as a start of any other sand: "drained", one suction [cm] everywhere, or
        a DataArray over ``depth`` named ``suction`` [cm] or ``water_content`` [1].
    dried_by : float, str or Quantity, optional
        Suction [cm] by which the sand had dried beyond its drained rest before, at every depth; the
        drier, the less it holds after. 14 when left out, which six days at 5 mm/day draw from 30 cm
        of a middle sand with roots in the top third (simulated).

    Raises
    ------
    InputError
        If a number cannot be used; all faults in one message.
    """

    rate: float
    water: Any = "drained"
    dried_by: float = field(default=14.0, kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("AfterRain")
        for name, quantity in (("rate", "water_rate"), ("dried_by", "suction")):
            with faults.catching():
                value = number_to_house(getattr(self, name), quantity, name)
                object.__setattr__(self, name, value)
                if value <= 0.0:
                    faults.add(f"{name}={value:g}", allowed="above 0")
        if isinstance(self.water, str) and self.water == "soaked":
            faults.add(
                'water="soaked" is no state after rain',
                allowed='"drained", a suction or a DataArray',
                cure='write start="soaked"',
            )
        faults.raise_if_any()


USUAL_RAIN = AfterRain(10.0)
"""How a green is wetted where nobody says: gently, after dry days (common practice, no source)."""


def gently() -> str:
    """Tell how a green is wetted where nobody says."""
    return f"{in_one_unit(USUAL_RAIN.rate, 'water_rate')} on a dry green"


def check_rain(after: AfterRain | None, faults: Faults) -> None:
    """Note what is no rain that a drained green was wetted by.

    Parameters
    ----------
    after : AfterRain or None
        As it was given; None for a flood.
    faults : Faults
        Gets what is wrong.
    """
    if after is None:
        return
    if not isinstance(after, AfterRain):
        faults.add(
            f"after is {after!r}",
            allowed='AfterRain, such as AfterRain("10 mm/h"), or None for a green that was flooded',
        )
    elif not (isinstance(after.water, str) and after.water == "drained"):
        faults.add(f"after: its water is {after.water!r}", allowed='"drained"', cure="leave it out")


def _wettest(soil: Hysteretic, rate: float, dried_to: NDArray[np.float64]) -> NDArray[np.float64]:
    """Suctions [cm] at which a soil that is wetted from dry passes a rate [mm/h] on."""
    return soil._suction_wetted_to(_content_passing(soil.soil, rate), dried_to)


@lru_cache(maxsize=1024)
def _content_passing(soil: Soil, rate: float) -> float:
    """Water content at which a soil passes a rate [mm/h] on; saturation where it never would."""
    wanted = rate / _MM_IN_CM
    if wanted >= soil.k_sat:
        return soil.theta_s
    at = _where_it_falls_to(lambda suction: soil.conductivity(suction), wanted, np.zeros(1))
    return float(soil.water_content(at)[0])


def _water_after(
    soil: Hysteretic,
    wettest: NDArray[np.float64],
    dried_to: NDArray[np.float64],
    suction: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Water contents [1] of a soil that dried, was wetted and drained to some suctions [cm]."""
    turned = soil._water_after([dried_to, np.minimum(wettest, suction), suction])
    return np.where(suction < dried_to, turned, soil.water_content(suction))


def suction_after(
    soil: Hysteretic,
    rate: float,
    dried_to: NDArray[np.float64],
    content: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Suctions [cm] at which a soil holds water contents [1] after rain; see `turns_after`."""
    wettest = _wettest(soil, rate, dried_to)
    return _where_it_falls_to(
        lambda suction: _water_after(soil, wettest, dried_to, suction), content, dried_to
    )


def _where_it_falls_to(
    falling: Callable[[NDArray[np.float64]], Any],
    wanted: float | NDArray[np.float64],
    like: NDArray[np.float64],
) -> NDArray[np.float64]:
    low, high = np.full_like(like, _WETTEST), np.full_like(like, _DRIEST)
    for _ in range(_HALVINGS):
        middle = np.sqrt(low * high)
        below = falling(middle) < wanted
        low, high = np.where(below, low, middle), np.where(below, middle, high)
    return np.sqrt(low * high)


@dataclass(frozen=True)
class Rewetted:
    """What a sand holds at each suction in a drained column that was rained on while dry.

    One curve, because rain of one rate on sand that had dried evenly leaves what follows from the
    suction alone; `rest_curve` reads rods off it as off that of any soil.

    Parameters
    ----------
    soil : Hysteretic
        The sand.
    rain : AfterRain
        Its rate, and how dry the sand was.
    """

    soil: Hysteretic
    rain: AfterRain

    @property
    def theta_s(self) -> float:
        """Saturated water content [m3/m3]."""
        return self.soil.theta_s

    def water_content(self, suction: NDArray[np.float64]) -> NDArray[np.float64]:
        """Water contents [m3/m3] at suctions [cm]."""
        dried_to = suction + self.rain.dried_by
        wettest = _wettest(self.soil, self.rain.rate, dried_to)
        return _water_after(self.soil, wettest, dried_to, suction)


class EndsAfter(NamedTuple):
    """What sand holds at the top and bottom of each cell, shape (2, n - 1)."""

    water: NDArray[np.float64]
    """Water content [1]."""
    drying: NDArray[np.float64]
    """Suction at which draining sand holds the same [cm]."""


def water_after(
    mesh: Mesh, suction: NDArray[np.float64], rate: float, dried_to: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Say what columns hold that were rained on while dry, and drained to some suctions.

    Parameters
    ----------
    mesh : Mesh
        Nodes and soils.
    suction : ndarray, shape (..., n)
        Now [cm].
    rate : float
        Of the rain [mm/h].
    dried_to : ndarray, shape (..., n)
        Suctions before the rain [cm].

    Returns
    -------
    ndarray, shape (..., 2, n - 1)
        Water content [1] at the top and bottom of each cell; of a soil without a memory what it
        always holds at its suction.
    """
    suction = np.maximum(suction, 0.0)
    shape = np.broadcast_shapes(suction.shape, dried_to.shape)
    water = np.empty((*shape[:-1], 2, mesh.soil.size))
    for number, soil in enumerate(mesh.soils):
        cells = np.flatnonzero(mesh.soil == number)
        # Each node once, though it ends two cells.
        nodes = np.union1d(cells, cells + 1)
        at, dry = suction[..., nodes], dried_to[..., nodes]
        if isinstance(soil, Hysteretic) and np.any(at < dry):
            held = _water_after(soil, _wettest(soil, rate, dry), dry, at)
        else:
            held = soil.water_content(at)
        top = np.searchsorted(nodes, cells)
        water[..., 0, cells], water[..., 1, cells] = held[..., top], held[..., top + 1]
    return water


def ends_after(
    mesh: Mesh, suction: NDArray[np.float64], rate: float, dried_to: NDArray[np.float64]
) -> EndsAfter:
    """Say what a column holds, as `water_after` of one, and where draining sand holds the same.

    Parameters
    ----------
    mesh, suction, rate, dried_to
        As for `water_after`; suctions have shape (n,).

    Returns
    -------
    EndsAfter
    """
    water = water_after(mesh, suction, rate, dried_to)
    drying = np.stack([suction[:-1], suction[1:]])
    for number, soil in enumerate(mesh.soils):
        if isinstance(soil, Hysteretic):
            cells = np.flatnonzero(mesh.soil == number)
            drains = np.asarray(soil.suction_at(water[:, cells]))
            drying[:, cells] = np.where(drying[:, cells] > 0.0, drains, -0.0)
    return EndsAfter(water, drying)


def turns_after(
    mesh: Mesh, head: NDArray[np.float64], rate: float, dried_to: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Heads at which the nodes of a column turned before a start after rain.

    Parameters
    ----------
    mesh : Mesh
        Nodes and soils.
    head : ndarray, shape (n,)
        Heads at the start [cm].
    rate : float
        Of the rain [mm/h].
    dried_to : ndarray, shape (n,)
        Suctions before the rain [cm].

    Returns
    -------
    ndarray, shape (n, N_TURNS)
        Heads [cm], the oldest first; not a number after the last. A node dried, was wetted to where
        it passes the rate on, or no further than it is now, and drained to its head.
    """
    turns = np.full((head.size, N_TURNS), np.nan)
    # A node on an interface belongs to the soil above it.
    of_node = np.concatenate([mesh.soil[:1], mesh.soil])
    for number, soil in enumerate(mesh.soils):
        nodes = np.flatnonzero(of_node == number)
        suction, before = np.maximum(-head[nodes], 0.0), dried_to[nodes]
        wettest = np.zeros(nodes.size)
        if isinstance(soil, Hysteretic):
            wettest = _wettest(soil, rate, before)
        turned = suction < before
        turns[nodes, 0] = np.where(turned, -before, np.nan)
        turns[nodes, 1] = np.where(turned & (wettest < suction), -wettest, np.nan)
    return turns
