"""A layer of a profile: one soil, so thick, by a name."""

from __future__ import annotations

from dataclasses import dataclass

from soilwater.ground.base import soil_of, thickness_of
from soilwater.soils import Soil
from soilwater.words.errors import Faults
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.text_tables import echo_table, html_table

LAYER_CURE = "layers are Layer(soil, thickness, name)"
_HEADER = ("layer", "thickness", "soil", "saturated conductivity")


@needs_all('Layer(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"), "12 in", "root zone")')
@dataclass(frozen=True, repr=False)
class Layer:
    """A layer of one soil.

    Parameters
    ----------
    soil : Soil or FitResult
        What fills the layer; a fit stands for its best curve.
    thickness : float, str or Quantity
        Thickness [cm].
    name : str, optional
        What people call it; the name of the soil when left out.

    Raises
    ------
    InputError
        If the thickness is not a length above 0, or `soil` is no soil.
    """

    soil: Soil
    thickness: float
    name: str = ""

    def __post_init__(self) -> None:
        faults = Faults(f'Layer "{self.name}"' if self.name else "Layer")
        with faults.catching():
            object.__setattr__(self, "thickness", thickness_of(self.thickness, faults))
        object.__setattr__(self, "soil", soil_of(self.soil, "soil", LAYER_CURE, faults))
        faults.raise_if_any()
        if not self.name:
            object.__setattr__(self, "name", self.soil.name or "layer")

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (
                self.name,
                in_people_units(self.thickness, "length"),
                self.soil.name or "no name",
                in_people_units(self.soil.k_sat, "conductivity"),
            )
        ]

    def __repr__(self) -> str:
        return echo_table(self._rows(), _HEADER)

    def _repr_html_(self) -> str:
        return html_table(self._rows(), _HEADER, caption="Layer")
