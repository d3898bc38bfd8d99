"""Soils: a retention curve, a conductivity, and where their parameters come from."""

from soilwater.soils.brooks_corey import BrooksCorey
from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.dry_end import OVEN_DRY_SUCTION, WithDryEnd
from soilwater.soils.history import WettingHistory
from soilwater.soils.hysteretic import Hysteretic
from soilwater.soils.kosugi import Kosugi
from soilwater.soils.model import SoilModel
from soilwater.soils.serial import is_built_in, register_soil_model, soil_from_dict
from soilwater.soils.soil import Soil, Values
from soilwater.soils.two_component import TwoComponent
from soilwater.soils.van_genuchten import VanGenuchten

__all__ = [
    "OVEN_DRY_SUCTION",
    "BrooksCorey",
    "CapillaryModel",
    "Hysteretic",
    "Kosugi",
    "Soil",
    "SoilModel",
    "TwoComponent",
    "Values",
    "VanGenuchten",
    "WettingHistory",
    "WithDryEnd",
    "is_built_in",
    "register_soil_model",
    "soil_from_dict",
]
