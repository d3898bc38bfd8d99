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
from soilwater.kernels.branches import N_TURNS
from soilwater.soils import Soil
from soilwater.soils.history import WettingHistory
from soilwater.soils.hysteretic import Hysteretic
from soilwater.words.errors import Faults
from soilwater.words.units import number_to_house

_HALVINGS = 60
_WETTEST, _DRIEST = 1e-3, 1e6
"""Suctions [cm] between which the one of a branch is looked for."""
_MM_IN_CM = 10.0


@dataclass(frozen=True, eq=False)
class AfterFlooding:
    """A start on the drying curve: the sand was soaked from below, as a lab soaks it, and drained.

    Parameters
    ----------
    water : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        Water at the start, as a start of any other sand.
    """

    water: Any = "drained"


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


def history_after(soil: Soil, rate: float, dried_to: float, suction: float) -> WettingHistory:
    """History of a soil after rain, at a suction.

    Parameters
    ----------
    soil : Soil
        Any.
    rate : float
        Of the rain [mm/h].
    dried_to : float
        Suction [cm] before the rain.
    suction : float
        Where it is now [cm].

    Returns
    -------
    WettingHistory
        Dried, wetted to where it passes the rate on, and drained to `suction`; wetted no further
        than that where it holds more.
    """
    wettest = min(_wetted_to(soil, rate, dried_to), suction)
    return WettingHistory.flooded().along([dried_to, wettest, suction])


@lru_cache(maxsize=1024)
def _wetted_to(soil: Soil, rate: float, dried_to: float) -> float:
    """Suction [cm] at which a soil that is wetted from dry passes a rate [mm/h] on."""
    if not isinstance(soil, Hysteretic):
        return 0.0
    wanted = rate / _MM_IN_CM
    if wanted >= soil.k_sat:
        return 0.0
    at = _where_it_falls_to(lambda suction: float(soil.conductivity(suction)), wanted)
    content = float(soil.water_content(at))
    dry = WettingHistory.flooded().then(dried_to)
    if soil.water_content_after(dry.then(0.0)) <= content:
        return 0.0
    return _where_it_falls_to(lambda s: soil.water_content_after(dry.then(s)), content)


def suction_after(soil: Hysteretic, rate: float, dried_to: float, content: float) -> float:
    """Suction [cm] at which a soil holds a water content [1] after rain; see `history_after`."""
    return _where_it_falls_to(
        lambda suction: soil.water_content_after(history_after(soil, rate, dried_to, suction)),
        content,
    )


def _where_it_falls_to(falling: Callable[[float], float], wanted: float) -> float:
    low, high = _WETTEST, _DRIEST
    for _ in range(_HALVINGS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if falling(middle) < wanted else (middle, high)
    return float((low * high) ** 0.5)


class EndsAfter(NamedTuple):
    """What sand holds at the top and bottom of each cell, shape (2, n - 1)."""

    water: NDArray[np.float64]
    """Water content [1]."""
    drying: NDArray[np.float64]
    """Suction at which draining sand holds the same [cm]."""


def ends_after(
    mesh: Mesh, suction: NDArray[np.float64], rate: float, dried_to: NDArray[np.float64]
) -> EndsAfter:
    """Say what a column holds that was rained on while dry, and drained to some suctions.

    Parameters
    ----------
    mesh : Mesh
        Nodes and soils.
    suction : ndarray, shape (n,)
        Now [cm].
    rate : float
        Of the rain [mm/h].
    dried_to : ndarray, shape (n,)
        Suctions before the rain [cm].

    Returns
    -------
    EndsAfter
        Of a soil without a memory what it always holds at its suction.
    """
    drying = np.stack([suction[:-1], suction[1:]])
    water = np.empty_like(drying)
    for side in range(2):
        for i, number in enumerate(mesh.soil):
            soil, now = mesh.soils[number], max(float(drying[side, i]), 0.0)
            if isinstance(soil, Hysteretic):
                history = history_after(soil, rate, float(dried_to[i + side]), now)
                water[side, i] = soil.water_content_after(history)
                drying[side, i] = soil.suction_at(water[side, i]) if now > 0.0 else -0.0
            else:
                water[side, i] = soil.water_content(now)
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
        Heads [cm], the oldest first; not a number after the last.
    """
    turns = np.full((head.size, N_TURNS), np.nan)
    # A node on an interface belongs to the soil above it.
    for i, number in enumerate(np.concatenate([mesh.soil[:1], mesh.soil])):
        suction = max(-float(head[i]), 0.0)
        history = history_after(mesh.soils[number], rate, float(dried_to[i]), suction)
        turns[i, : len(history.turns)] = -np.array(history.turns)
    return turns
