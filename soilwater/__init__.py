"""Physics-based soil water simulation for sand-based turf.

A lab retention table and a probe depth go in; water in the profile, hour by hour, comes out.
"""

from typing import TYPE_CHECKING, Any

import soilwater.accessor  # noqa: F401  (gives every result its ``run.soilwater``)
from soilwater.decisions.building.construction import check_root_zone
from soilwater.decisions.building.contour import depth_over_contour
from soilwater.decisions.building.depth import compare_sands, depth_window
from soilwater.decisions.slope import slope_equivalent
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.spots.expected import expected_reading
from soilwater.decisions.spots.measurements import next_measurement
from soilwater.decisions.targets import AirTarget, ReadingTarget
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import Lines, dry_down_outlook
from soilwater.decisions.watering.water_side import air_after_rain, days_below_air, flush_water
from soilwater.decisions.watering.what_if import what_if
from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.profile import (
    CapillaryBreak,
    FreeDrainage,
    Layer,
    Profile,
    Sealed,
    SeepageFace,
    WaterTable,
)
from soilwater.ground.stress import RoundedStress, SShapedStress
from soilwater.ground.turf import Turf
from soilwater.lab.fitting import FitResult
from soilwater.lab.grading import Grading
from soilwater.lab.retention import RetentionTable
from soilwater.lab.sheet import read_retention, read_retention_samples
from soilwater.runs.case import Case, HeldSurface
from soilwater.runs.drained import drained_state, drained_water_content
from soilwater.runs.meter import days_until, meter_reading
from soilwater.runs.simulate import compare_depths, simulate, simulate_ensemble, simulate_many
from soilwater.soils import (
    BrooksCorey,
    CapillaryModel,
    Kosugi,
    SoilModel,
    TwoComponent,
    VanGenuchten,
    WithDryEnd,
    register_soil_model,
)
from soilwater.survey.sheet import join_surveys, read_survey
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.irrigation import Event, cycle_and_soak, hand_water, syringe
from soilwater.weather.reference_et import Site, daily_reference_et, hourly_reference_et
from soilwater.weather.rules import Rule
from soilwater.weather.series import Weather, steady_weather, weather_from_table
from soilwater.weather.station.files import read_station, read_weather
from soilwater.words.errors import (
    InputError,
    Interrupted,
    RunError,
    SoilWaterError,
    SoilWaterWarning,
    Status,
)

if TYPE_CHECKING:
    from soilwater import plot as plot

__version__ = "0.2.0"

__all__ = [
    "AirTarget",
    "BaseSuction",
    "BrooksCorey",
    "CapillaryBreak",
    "CapillaryModel",
    "Case",
    "Event",
    "FitResult",
    "FreeDrainage",
    "Grading",
    "HeldSurface",
    "InputError",
    "Interrupted",
    "Kosugi",
    "Layer",
    "Lines",
    "Profile",
    "Reading",
    "ReadingTarget",
    "RetentionTable",
    "RoundedStress",
    "Rule",
    "RunError",
    "SShapedStress",
    "Sealed",
    "SeepageFace",
    "Site",
    "SoilModel",
    "SoilWaterError",
    "SoilWaterWarning",
    "Spot",
    "Status",
    "Survey",
    "Turf",
    "TwoComponent",
    "VanGenuchten",
    "WaterTable",
    "Weather",
    "WithDryEnd",
    "air_after_rain",
    "check_root_zone",
    "compare_depths",
    "compare_sands",
    "cycle_and_soak",
    "daily_reference_et",
    "days_below_air",
    "days_until",
    "depth_over_contour",
    "depth_window",
    "diagnose",
    "drained_state",
    "drained_water_content",
    "dry_down_outlook",
    "expected_reading",
    "flush_water",
    "hand_water",
    "hand_water_plan",
    "hourly_reference_et",
    "join_surveys",
    "meter_reading",
    "next_measurement",
    "read_retention",
    "read_retention_samples",
    "read_station",
    "read_survey",
    "read_weather",
    "register_soil_model",
    "simulate",
    "simulate_ensemble",
    "simulate_many",
    "slope_equivalent",
    "steady_weather",
    "syringe",
    "weather_from_table",
    "what_if",
]


def __getattr__(name: str) -> Any:
    """Import ``soilwater.plot``, and matplotlib with it, when it is first asked for."""
    if name == "plot":
        import importlib

        return importlib.import_module("soilwater.plot")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
