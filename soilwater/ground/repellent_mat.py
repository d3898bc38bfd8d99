"""A mat that refuses water once it has dried too far, and until it has been wetted again."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from soilwater.words.errors import Faults
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house, positive_number


class MatState(NamedTuple):
    """What a mat remembers: whether it refuses water, and how long it has been wet since [h]."""

    refuses: bool = False
    wet_for: float = 0.0


@needs_all('RepellentMat("8 %", "3 cm", intake="2 mm/h", wetted_after="6 h")')
@dataclass(frozen=True)
class RepellentMat:
    """The top of the root zone, where it turns repellent below a water content.

    It refuses water from the hour it is drier than the threshold, and takes it again once it has
    been wetter for some hours: repellency goes within hours of wetting and comes back within weeks
    of drying. What it refuses runs off. A site's own numbers: there is no published map from drop
    times to them, and critical water contents of sands are said to be 2 to 10 % by volume (from
    memory).

    Parameters
    ----------
    threshold : float, str or Quantity
        Water content by volume below which it refuses water [1].
    thickness : float, str or Quantity
        Depth from the surface over which its water content is judged [cm].
    intake : float, str or Quantity
        Rate at which water soaks in while it refuses [mm/h]; 0 where none does, so that only water
        from below can wet it again.
    wetted_after : float, str or Quantity
        Time above the threshold after which it takes water again [h].

    Raises
    ------
    InputError
        With every fault.

    Examples
    --------
    >>> mat = RepellentMat("8 %", "3 cm", intake="2 mm/h", wetted_after="6 h")
    >>> dry = mat.then(MatState(), 0.07, 1.0)
    >>> dry, mat.then(dry, 0.10, 1.0), mat.then(dry, 0.10, 6.0).refuses
    (MatState(refuses=True, wet_for=0.0), MatState(refuses=True, wet_for=1.0), False)
    """

    threshold: float
    thickness: float
    intake: float = field(kw_only=True)
    wetted_after: float = field(kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("RepellentMat")
        checked = {
            "threshold": positive_number(self.threshold, "water_content", "threshold", faults),
            "thickness": positive_number(self.thickness, "length", "thickness", faults),
        }
        for name, quantity in (("intake", "water_rate"), ("wetted_after", "duration")):
            with faults.catching():
                checked[name] = number_to_house(getattr(self, name), quantity, name)
                if checked[name] < 0.0:
                    faults.add(f"{name} is {checked[name]:g}", allowed="0 or more")
        faults.raise_if_any()
        for name, value in checked.items():
            object.__setattr__(self, name, value)

    def then(self, state: MatState, water_content: float, hours: float) -> MatState:
        """Say what it remembers after some hours that end at a water content.

        Parameters
        ----------
        state : MatState
            Before them.
        water_content : float
            Over its thickness, at their end [1].
        hours : float
            How long [h].
        """
        if water_content < self.threshold:
            return MatState(refuses=True)
        wet_for = state.wet_for + hours
        return MatState(state.refuses and wet_for < self.wetted_after, wet_for)
