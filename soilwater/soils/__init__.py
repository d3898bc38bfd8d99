"""Soils: a retention curve, a conductivity, and where their parameters come from."""

from soilwater.soils.model import Soil, SoilModel, Values
from soilwater.soils.serial import soil_from_dict
from soilwater.soils.van_genuchten import VanGenuchten

__all__ = ["Soil", "SoilModel", "Values", "VanGenuchten", "soil_from_dict"]
