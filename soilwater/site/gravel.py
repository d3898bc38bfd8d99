"""What lies below the sand of a site: gravel by its own curve, or by its entry suction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from soilwater.ground.base import CLEAN_GRAVEL, CapillaryBreak, GravelBlanket
from soilwater.ground.base_suction import BaseSuction, base_band
from soilwater.ground.gravel_drainage import DRAINED_AFTER, interface_suction
from soilwater.site.parts import Part
from soilwater.soils import Soil, VanGenuchten
from soilwater.words.errors import InputError
from soilwater.words.quantities import in_people_units
from soilwater.words.unit_choice import worded

CLEAN = "clean gravel"
"""Name that needs no table: four inches by the published curve of a clean gravel."""
CURVE = {
    "theta_r": "water_content",
    "theta_s": "water_content",
    "alpha": "inverse_length",
    "n": "",
    "k_sat": "conductivity",
}
"""Words of a curve of one's own, with what they measure."""
GRAVEL_WORDS = ("thickness", "curve", *CURVE, "entry_suction")
"""Words of a gravel."""
_HOURS = (0.5 * DRAINED_AFTER, DRAINED_AFTER, 7.0 * DRAINED_AFTER)
"""From a day to a fortnight after a soaking: the ends of the band, and its middle [h]."""


@dataclass(frozen=True)
class Gravel:
    """A gravel of the site.

    Parameters
    ----------
    name : str
        What the file calls it.
    base : GravelBlanket or CapillaryBreak
        How it lets water go.
    words : tuple of (str, object)
        As they stand in the file.
    """

    name: str
    base: GravelBlanket | CapillaryBreak
    words: tuple[tuple[str, Any], ...] = ()

    def suction_below(self, sand: Soil, depths: Sequence[float]) -> BaseSuction:
        """Work out the suction that this gravel leaves at the base of a sand.

        Parameters
        ----------
        sand : Soil
            What lies on it.
        depths : sequence of float
            Depths of the sand [cm].

        Returns
        -------
        BaseSuction
            Two days after a soaking; from the least a day after it to the most after a fortnight.
        """
        if isinstance(self.base, CapillaryBreak):
            return base_band(self.base.entry_suction)
        day, drained, fortnight = (
            [interface_suction(((sand, depth),), self.base, hours) for depth in depths]
            for hours in _HOURS
        )
        middle = sum(drained) / len(drained)
        thickness = self.base.thickness

        def why() -> str:
            return f"over {in_people_units(thickness, 'length')} of {self.name}, by its curve"

        return BaseSuction(middle, min(day), max(fortnight), worded(why))


def read_gravels(part: Part) -> tuple[Gravel, ...]:
    """Read the gravels of a site file; the clean one of four inches is among them.

    Parameters
    ----------
    part : Part
        The table [gravel].
    """
    found = [Gravel(CLEAN, CLEAN_GRAVEL)]
    for name in part.words():
        each = part.part(name)
        each.know(GRAVEL_WORDS)
        words = tuple((word, each.given(word)) for word in each.words())
        with part.faults.catching(each.where()):
            found.append(Gravel(name, _base(each, name), words))
    return tuple(found)


def _base(part: Part, name: str) -> GravelBlanket | CapillaryBreak:
    before = len(part.faults)
    if "entry_suction" in part:
        if len(part.words()) > 1:
            raise InputError("entry_suction stands alone: it says all that a curve would.")
        suction = part.number("entry_suction", "suction")
        return CLEAN_GRAVEL if len(part.faults) > before else CapillaryBreak(suction)
    own = [word for word in CURVE if word in part]
    if "curve" in part and own:
        raise InputError(f"both curve and {', '.join(own)} are given; leave one of them out.")
    missing = [word for word in CURVE if own and word not in own]
    if missing:
        raise InputError(f"{', '.join(missing)} missing; a curve needs {', '.join(CURVE)}.")
    thickness = part.number("thickness", "length")
    soil = CLEAN_GRAVEL.gravel
    if "curve" in part:
        soil = VanGenuchten.measured(part.text("curve"))
    values = [part.number(word, CURVE[word]) if CURVE[word] else part.given(word) for word in own]
    if len(part.faults) > before:
        # Told already; something stands in until all is told.
        return CLEAN_GRAVEL
    return GravelBlanket(VanGenuchten(*values, name=name) if own else soil, thickness)
