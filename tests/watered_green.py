"""A green of three spots, what is asked of it, and its weather."""

from dataclasses import replace

from grounds import WET_MIX

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.turf import Turf
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.made import steady_weather

MIX = replace(WET_MIX, name="wet-side mix")
TURF = Turf("15 cm", fraction_above=(0.9, "10 cm"))
LINES = Thresholds("18 %", "14 %", "12 %")
ROD = 7.6
GREEN = Survey([Spot("A1", 30.0), Spot("B2", 38.0), Spot("C3", 46.0)], name="Kestrel Bank, 2")
TEN_DAYS = steady_weather(10, "5 mm/day")
CERTAIN = {"rod": ROD, "base_suction": 3.0, "probe_error": 0.0, "draws": 2}
BANDED = {"rod": ROD, "base_suction": (1.0, 6.0), "draws": 10}
