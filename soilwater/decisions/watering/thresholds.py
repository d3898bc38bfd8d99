"""Readings at which something begins on one ground: firm, watch, wilt, and turf short of water."""

from __future__ import annotations

from dataclasses import dataclass, field

from soilwater.words.errors import Faults
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house


@needs_all('Thresholds("18 %", "14 %", "12 %")')
@dataclass(frozen=True)
class Thresholds:
    """Readings that mean something on this ground, with these rods.

    None has a default: they are set by watching the turf, and move with species, roots and rods.

    Parameters
    ----------
    firm, watch, wilt : float, str or Quantity
        Readings [1], falling: the surface is firm; look every day; wilt is seen.
    demand_met : float, optional
        Share of its demand [1] below which the turf is called short of water on a day. 0.75 is a
        choice (no source).

    Raises
    ------
    InputError
        With every fault: readings that do not fall, a share outside 0 to 1.

    Examples
    --------
    >>> Thresholds("18 %", "14 %", "12 %").wilt
    0.12
    """

    firm: float
    watch: float
    wilt: float
    demand_met: float = field(default=0.75, kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("Thresholds")
        for name, quantity in (
            ("firm", "water_content"),
            ("watch", "water_content"),
            ("wilt", "water_content"),
            ("demand_met", "fraction"),
        ):
            with faults.catching():
                value = number_to_house(getattr(self, name), quantity, name)
                object.__setattr__(self, name, value)
                if not 0.0 < value < 1.0:
                    faults.add(f"{name} is {value:g}", allowed="between 0 and 1")
        faults.raise_if_any()
        if not self.firm > self.watch > self.wilt:
            faults.add(
                f"firm {100 * self.firm:g} %, watch {100 * self.watch:g} %, wilt "
                f"{100 * self.wilt:g} % do not fall",
                allowed="firm > watch > wilt",
            )
        faults.raise_if_any()

    @property
    def bands(self) -> dict[str, tuple[float, float]]:
        """Lower and upper reading [1] of what is firm, to watch and wilted."""
        return {
            "firm": (self.watch, self.firm),
            "watch": (self.wilt, self.watch),
            "wilt": (0.0, self.wilt),
        }
