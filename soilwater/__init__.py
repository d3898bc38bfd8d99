"""Physics-based soil water simulation for sand-based turf.

A lab retention table and a probe depth go in; water in the profile, hour by hour, comes out.
"""

from typing import TYPE_CHECKING as _TYPE_CHECKING
from typing import Any as _Any

import soilwater.accessor  # noqa: F401  (gives every result its ``run.soilwater``)
from soilwater.decisions.building.compare_sands import SandAtDepth, SandComparison, compare_sands
from soilwater.decisions.building.construction import Check, MaterialCheck, Verdict, check_root_zone
from soilwater.decisions.building.contour import ContourDesign, PlaceDepth, depth_over_contour
from soilwater.decisions.building.depth import DepthWindow, Range, depth_window
from soilwater.decisions.building.floor import FloorDesign
from soilwater.decisions.contours.bracket import LevelBracket, level_bracket
from soilwater.decisions.contours.crest import CrestEffect, crest_effect
from soilwater.decisions.contours.odds import GroundOdds, ground_odds
from soilwater.decisions.slope import SlopeEquivalent, slope_equivalent
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.spots.expected import expected_reading
from soilwater.decisions.spots.findings import with_finding
from soilwater.decisions.spots.measurements import (
    Measurement,
    next_measurement,
    rank_measurements,
)
from soilwater.decisions.spots.odds import CauseOdds, Diagnosis, GroupOdds, SpotDiagnosis
from soilwater.decisions.targets import AirTarget, ReadingTarget
from soilwater.decisions.watering.changes import (
    Change,
    barrier,
    blocked_outlet,
    drain,
    irrigate,
    other_sand,
    regrade,
    remove_mat,
    reshape,
    topdress,
    wetting_agent,
)
from soilwater.decisions.watering.ground_outcomes import GroundOutcome, GroundWhatIf
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import Days, DryDownOutlook, SpotOutlook, dry_down_outlook
from soilwater.decisions.watering.repellent_spots import wettable
from soilwater.decisions.watering.replanning import replan
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.decisions.watering.water_plan import HandWatering, HandWaterPlan, SpotPlan
from soilwater.decisions.watering.water_side import (
    Flush,
    air_after_rain,
    days_below_air,
    flush_water,
)
from soilwater.decisions.watering.what_if import Outcome, WhatIf, what_if
from soilwater.ground.base import (
    CapillaryBreak,
    FreeDrainage,
    GravelBlanket,
    Sealed,
    SeepageFace,
    WaterTable,
)
from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.profile import Layer, Profile
from soilwater.ground.repellent_mat import RepellentMat
from soilwater.ground.stress import RoundedStress, SShapedStress
from soilwater.ground.surveyed import SurveyedGround, interpolate_survey
from soilwater.ground.turf import Turf
from soilwater.lab.fit_result import Band, FitResult
from soilwater.lab.grading import Grading
from soilwater.lab.likely_memory import likely_memories
from soilwater.lab.retention import RetentionTable
from soilwater.lab.sheet import read_retention, read_retention_samples
from soilwater.learning.calibrate import calibrate
from soilwater.learning.calibration import Calibration, HeldBack, Learned
from soilwater.runs.case import Case, HeldSurface
from soilwater.runs.drained import drained_state, drained_water_content
from soilwater.runs.green_map import GreenMap
from soilwater.runs.many_grounds import simulate_grounds
from soilwater.runs.map_files import write_map
from soilwater.runs.meter import days_until, meter_reading
from soilwater.runs.repellent import Repellency, repellent_patches
from soilwater.runs.simulate import compare_depths, simulate, simulate_ensemble, simulate_many
from soilwater.runs.transect import Transect
from soilwater.runs.wetted import AfterFlooding, AfterRain
from soilwater.site.file import SiteFile
from soilwater.site.morning import Morning, morning_plan
from soilwater.site.reading import read_site_file
from soilwater.site.writing import write_site_file
from soilwater.soils import (
    BrooksCorey,
    CapillaryModel,
    Hysteretic,
    Kosugi,
    SoilModel,
    TwoComponent,
    VanGenuchten,
    WettingHistory,
    WithDryEnd,
    register_soil_model,
)
from soilwater.survey.drops import DropTests, WettingShare
from soilwater.survey.sensor import BuriedSensor
from soilwater.survey.sheet import join_surveys, read_survey
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.forecast import join_weather, read_forecast, usual_weather
from soilwater.weather.irrigation import Event, cycle_and_soak, hand_water, syringe
from soilwater.weather.made import steady_weather, weather_from_table
from soilwater.weather.reference_et import Site, daily_reference_et, hourly_reference_et
from soilwater.weather.rules import Rule
from soilwater.weather.series import Weather
from soilwater.weather.station.files import read_station, read_weather
from soilwater.words.errors import (
    InputError,
    Interrupted,
    RunError,
    SoilWaterError,
    SoilWaterWarning,
    Status,
)
from soilwater.words.frames import read_table
from soilwater.words.unit_choice import use_units

if _TYPE_CHECKING:
    from soilwater import plot as plot
    from soilwater import report as report
    from soilwater.explorer import explore as explore
    from soilwater.explorer import explore_ground as explore_ground

__version__ = "0.2.0"

__all__ = [
    "AfterFlooding",
    "AfterRain",
    "AirTarget",
    "Band",
    "BaseSuction",
    "BrooksCorey",
    "BuriedSensor",
    "Calibration",
    "CapillaryBreak",
    "CapillaryModel",
    "Case",
    "CauseOdds",
    "Change",
    "Check",
    "ContourDesign",
    "CrestEffect",
    "Days",
    "DepthWindow",
    "Diagnosis",
    "DropTests",
    "DryDownOutlook",
    "Event",
    "FitResult",
    "FloorDesign",
    "Flush",
    "FreeDrainage",
    "Grading",
    "GravelBlanket",
    "GreenMap",
    "GroundOdds",
    "GroundOutcome",
    "GroundWhatIf",
    "GroupOdds",
    "HandWaterPlan",
    "HandWatering",
    "HeldBack",
    "HeldSurface",
    "Hysteretic",
    "InputError",
    "Interrupted",
    "Kosugi",
    "Layer",
    "Learned",
    "LevelBracket",
    "MaterialCheck",
    "Measurement",
    "Morning",
    "Outcome",
    "PlaceDepth",
    "Profile",
    "Range",
    "Reading",
    "ReadingTarget",
    "Repellency",
    "RepellentMat",
    "RetentionTable",
    "RoundedStress",
    "Rule",
    "RunError",
    "SShapedStress",
    "SandAtDepth",
    "SandComparison",
    "Sealed",
    "SeepageFace",
    "Site",
    "SiteFile",
    "SlopeEquivalent",
    "SoilModel",
    "SoilWaterError",
    "SoilWaterWarning",
    "Spot",
    "SpotDiagnosis",
    "SpotOutlook",
    "SpotPlan",
    "Status",
    "Survey",
    "SurveyedGround",
    "Thresholds",
    "Transect",
    "Turf",
    "TwoComponent",
    "VanGenuchten",
    "Verdict",
    "WaterTable",
    "Weather",
    "WettingHistory",
    "WettingShare",
    "WhatIf",
    "WithDryEnd",
    "air_after_rain",
    "barrier",
    "blocked_outlet",
    "calibrate",
    "check_root_zone",
    "compare_depths",
    "compare_sands",
    "crest_effect",
    "cycle_and_soak",
    "daily_reference_et",
    "days_below_air",
    "days_until",
    "depth_over_contour",
    "depth_window",
    "diagnose",
    "drain",
    "drained_state",
    "drained_water_content",
    "dry_down_outlook",
    "expected_reading",
    "explore",
    "explore_ground",
    "flush_water",
    "ground_odds",
    "hand_water",
    "hand_water_plan",
    "hourly_reference_et",
    "interpolate_survey",
    "irrigate",
    "join_surveys",
    "join_weather",
    "level_bracket",
    "likely_memories",
    "meter_reading",
    "morning_plan",
    "next_measurement",
    "other_sand",
    "rank_measurements",
    "read_forecast",
    "read_retention",
    "read_retention_samples",
    "read_site_file",
    "read_station",
    "read_survey",
    "read_table",
    "read_weather",
    "register_soil_model",
    "regrade",
    "remove_mat",
    "repellent_patches",
    "replan",
    "reshape",
    "simulate",
    "simulate_ensemble",
    "simulate_grounds",
    "simulate_many",
    "slope_equivalent",
    "steady_weather",
    "syringe",
    "topdress",
    "use_units",
    "usual_weather",
    "weather_from_table",
    "wettable",
    "wetting_agent",
    "what_if",
    "with_finding",
    "write_map",
    "write_site_file",
]


_LAZY = ("plot", "report")
_PAGES = ("explore", "explore_ground")


def __dir__() -> list[str]:
    """Public names only: the modules behind them are no part of the surface."""
    return sorted([*__all__, *_LAZY, "__version__"])


def __getattr__(name: str) -> _Any:
    """Import ``soilwater.plot`` or ``soilwater.report``, and matplotlib, when first asked for.

    So are `explore` and `explore_ground`, functions of the folder ``soilwater.explorer``.
    """
    import importlib

    if name in _LAZY:
        return importlib.import_module(f"soilwater.{name}")
    if name in _PAGES:
        return getattr(importlib.import_module("soilwater.explorer"), name)
    if name == "Lines":
        raise AttributeError('soilwater.Lines is now called "Thresholds"; write sw.Thresholds(...)')
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
