"""Base conditions: how water leaves, or enters, below the last layer of a profile.

A base condition is a statement about the site, so nothing is assumed silently.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

from soilwater.kernels import rows
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil, VanGenuchten, soil_from_dict
from soilwater.words.errors import Faults, by_kind
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house

DEEPEST = 10_000.0
"""Deepest profile [cm] that is taken. Below a few metres nothing a turf feels is decided, and a
length in another unit than the one meant (mm for cm, or a stray power of ten) is found here."""


def thickness_of(given: Any, faults: Faults) -> float:
    """Thickness of a layer [cm], its faults noted."""
    thickness = number_to_house(given, "length", "thickness")
    if thickness <= 0.0:
        faults.add(f"thickness is {thickness:g} cm", allowed="above 0 cm")
    elif thickness > DEEPEST:
        faults.add(f"thickness is {thickness:g} cm", allowed=f"up to {DEEPEST:g} cm")
    return thickness


def soil_of(given: Any, name: str, cure: str, faults: Faults) -> Any:
    """Soil that was given, the best curve of a fit, or a fault noted."""
    soil = given.soil if isinstance(given, FitResult) else given
    if not hasattr(soil, "effective_saturation") or isinstance(soil, type):
        faults.add(
            f"{name} is {by_kind(soil)}",
            allowed="a soil, such as VanGenuchten(0.05, 0.40, 0.047, 3.0, 40), or a fit",
            cure=cure,
        )
    return soil


def _not_negative(subject: str, name: str, value: Any, quantity: str) -> float:
    """Check the one number of a base condition [cm]."""
    faults = Faults(subject)
    number = 0.0
    with faults.catching():
        number = number_to_house(value, quantity, name)
    if number < 0.0:
        faults.add(f"{name} is {number:g} cm", allowed="0 or more")
    faults.raise_if_any()
    return number


@lru_cache(maxsize=1024)
def half_drained(soil: Soil) -> float:
    """Suction at which a soil has given up half of the water that drains from it [cm].

    Kept, because a thousand depths of one sand ask it of two soils.
    """
    return float(soil.suction_at(0.5 * (soil.theta_r + soil.theta_s)))


@dataclass(frozen=True)
class SeepageFace:
    """Water leaves only when the base would otherwise be under pressure (a free outlet)."""

    def __str__(self) -> str:
        return "seepage face: outflow only from saturated soil"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.OUTFLOW, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """Suction at the base [cm] at a depth [cm] once drainage has ended."""
        return 0.0


@needs_all('CapillaryBreak("7 cm")')
@dataclass(frozen=True)
class CapillaryBreak:
    """The last layer rests on gravel that takes water only below its entry suction.

    Parameters
    ----------
    entry_suction : float, str or Quantity
        Suction at the base [cm] at which the gravel stops taking water. 0-9 cm have been inferred
        or measured over gravel: 0.9 kPa after 48 h of drainage by Taylor, Nelson & Williams
        (1993), Agron. J. 85:626-630 (read in the abstract); a clean gravel suggests 1-3 cm.

    Raises
    ------
    InputError
        If the entry suction is negative or not a suction.
    """

    entry_suction: float

    def __post_init__(self) -> None:
        suction = _not_negative("CapillaryBreak", "entry_suction", self.entry_suction, "suction")
        object.__setattr__(self, "entry_suction", suction)

    def __str__(self) -> str:
        return f"gravel that takes water below {self.entry_suction:g} cm of suction"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.OUTFLOW, -self.entry_suction

    def resting_suction(self, depth: float) -> float | None:
        """Suction at the base [cm] at a depth [cm] once drainage has ended."""
        return self.entry_suction


GRAVEL = "gravel blanket"
"""Name in results of the cells of a gravel blanket."""


@needs_all('GravelBlanket(VanGenuchten.measured("matrix-free gravel"), "4 in")')
@dataclass(frozen=True)
class GravelBlanket:
    """The last layer rests on a blanket of gravel with drains in or under it.

    The gravel is run with the layers, by its own curve, on a coarse mesh below them; its lower end
    is a free outlet. It loses its conductivity within hours of a soaking, long before it rests, so
    the suction where the sand meets it goes on rising for weeks, never beyond the thickness of the
    gravel: some 7 cm two days after a soaking over 10 cm of clean gravel, 8.5 cm after a fortnight.
    A gravel with fines holds water, and drying sand draws some of it back.

    Parameters
    ----------
    gravel : Soil or FitResult
        What the blanket is made of, any soil coarser than the layer above it, such as
        ``VanGenuchten.measured("matrix-free gravel")``.
    thickness : float, str or Quantity
        Thickness of the blanket down to where water leaves freely [cm].

    Raises
    ------
    InputError
        If `gravel` is no soil, or the thickness is not a length above 0.

    Notes
    -----
    Water crosses from sand into gravel as between any two layers: nothing is assumed of an entry
    suction. Held against the gravel as a layer of its own on a fine mesh over 14 days of drying
    (sands of three kinds 25 to 60 cm deep; gravels of alpha 0.7 to 2 1/cm, n 2.2 to 4, 5 to 15 cm
    thick) a root zone is within 0.6 % of water by volume.
    """

    gravel: Soil
    thickness: float

    def __post_init__(self) -> None:
        faults = Faults("GravelBlanket")
        with faults.catching():
            object.__setattr__(self, "thickness", thickness_of(self.thickness, faults))
        cure = 'write GravelBlanket(VanGenuchten.measured("matrix-free gravel"), "10 cm")'
        object.__setattr__(self, "gravel", soil_of(self.gravel, "gravel", cure, faults))
        faults.raise_if_any()

    def __str__(self) -> str:
        thickness = in_people_units(self.thickness, "length")
        return f"blanket of {thickness} of {self.gravel.name or 'gravel'} over a free outlet"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, at the lower end of the gravel."""
        return rows.OUTFLOW, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """Suction at a depth [cm] under layers that end there, after months without a loss."""
        return self.thickness


CLEAN_GRAVEL = GravelBlanket(VanGenuchten.measured("matrix-free gravel"), 10.0)
"""Four inches of clean gravel, as most recommendations for greens ask for (common practice, no
source), by the only curve of a clean gravel that was found in print."""


@dataclass(frozen=True)
class FreeDrainage:
    """Deep soil of the last layer's kind below: water leaves at unit gradient."""

    def __str__(self) -> str:
        return "free drainage into deep soil (unit gradient)"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.FREE_DRAINAGE, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """None at any depth: drainage slows down but never ends."""
        return None


@needs_all('WaterTable("2 ft")')
@dataclass(frozen=True)
class WaterTable:
    """A water table that stays at a depth, below the profile or within it.

    Below the profile it holds the base at its height above the water, as a perfect plate would: all
    between is taken to let water pass at once. Soil that lies there holds drainage back and lets
    less rise, so write it out as layers down to the water where it matters.

    Parameters
    ----------
    depth : float, str or Quantity
        Depth of the water table below the turf surface [cm].

    Raises
    ------
    InputError
        If the depth is negative or not a length.
    """

    depth: float

    def __post_init__(self) -> None:
        depth = _not_negative("WaterTable", "depth", self.depth, "length")
        object.__setattr__(self, "depth", depth)

    def __str__(self) -> str:
        return f"water table at {in_people_units(self.depth, 'length')}"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.HELD_HEAD, depth - self.depth

    def resting_suction(self, depth: float) -> float | None:
        """Suction at the base [cm] at a depth [cm] once drained; negative below the water table."""
        return self.depth - depth


@dataclass(frozen=True)
class Sealed:
    """No water passes the base."""

    def __str__(self) -> str:
        return "sealed"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.SEALED, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """None at any depth: it depends on how much water the profile holds."""
        return None


Base = SeepageFace | CapillaryBreak | GravelBlanket | FreeDrainage | WaterTable | Sealed
BASES: dict[str, type[Base]] = {
    kind.__name__: kind
    for kind in (SeepageFace, CapillaryBreak, GravelBlanket, FreeDrainage, WaterTable, Sealed)
}
"""Every base condition by its name."""


def base_to_dict(base: Base) -> dict[str, Any]:
    """Write a base condition as plain values, from which `base_from_dict` makes an equal one."""
    values = {each.name: getattr(base, each.name) for each in fields(base)}
    if isinstance(base, GravelBlanket):
        values["gravel"] = base.gravel.to_dict()
    return {"kind": type(base).__name__, **values}


def base_from_dict(values: dict[str, Any]) -> Base:
    """Make a base condition from what `base_to_dict` wrote."""
    given = dict(values)
    kind = BASES[given.pop("kind")]
    if kind is GravelBlanket:
        given["gravel"] = soil_from_dict(given["gravel"])
    return kind(**given)
