"""What the rest of the package asks of a soil, and the kinds of values its curves take."""

from __future__ import annotations

from typing import Any, Protocol, TypeVar

import xarray as xr

from soilwater.words.arrays import FloatArray

Values = TypeVar("Values", float, FloatArray, xr.DataArray)
"""A float, a numpy array or an xarray DataArray: what goes in comes out."""


class Soil(Protocol):
    """What the rest of the package asks of a soil; every model in `soilwater.soils` has it."""

    @property
    def name(self) -> str:
        """What the person calls this soil."""

    @property
    def source(self) -> str:
        """Where the parameters come from."""

    @property
    def theta_r(self) -> float:
        """Water content at the dry end of the curve [m3/m3]."""

    @property
    def theta_s(self) -> float:
        """Water content at saturation [m3/m3]."""

    @property
    def k_sat(self) -> float:
        """Conductivity at saturation [cm/h]."""

    @property
    def suction_scale(self) -> float:
        """Characteristic suction of the curve [cm]."""

    @property
    def dry_end_water_content(self) -> float:
        """Water content the curve tends to as suction grows without limit [m3/m3]."""

    def water_content(self, suction: Values) -> Values:
        """Water content [m3/m3] at a suction [cm]."""

    def effective_saturation(self, suction: Values) -> Values:
        """Share [1] of the water between the dry end and saturation at a suction [cm]."""

    def capacity(self, suction: Values) -> Values:
        """Water released per cm of suction [1/cm] at a suction [cm]."""

    def conductivity(self, suction: Values) -> Values:
        """Hydraulic conductivity [cm/h] at a suction [cm]."""

    def suction_at(self, water_content: Values) -> Values:
        """Suction [cm] at which the curve holds a water content [m3/m3]."""

    def to_dict(self) -> dict[str, Any]:
        """Parameters as text and numbers."""

    def __hash__(self) -> int:
        """Equal soils share one table."""
