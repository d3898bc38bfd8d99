"""Physics-based soil water simulation for sand-based turf.

A lab retention table and a probe depth go in; water in the profile, hour by hour, comes out.
"""

from importlib import import_module as _import_module
from typing import TYPE_CHECKING as _TYPE_CHECKING
from typing import Any as _Any

import xarray as _xarray

# What `_HOMES` says, for whoever reads and does not run: a test holds the two alike.
if _TYPE_CHECKING:
    from soilwater import plot as plot
    from soilwater import report as report
    from soilwater.decisions.building.compare_sands import SandAtDepth as SandAtDepth
    from soilwater.decisions.building.compare_sands import SandComparison as SandComparison
    from soilwater.decisions.building.compare_sands import compare_sands as compare_sands
    from soilwater.decisions.building.construction import Check as Check
    from soilwater.decisions.building.construction import MaterialCheck as MaterialCheck
    from soilwater.decisions.building.construction import Verdict as Verdict
    from soilwater.decisions.building.construction import check_root_zone as check_root_zone
    from soilwater.decisions.building.contour import ContourDesign as ContourDesign
    from soilwater.decisions.building.contour import PlaceDepth as PlaceDepth
    from soilwater.decisions.building.contour import depth_over_contour as depth_over_contour
    from soilwater.decisions.building.depth import DepthWindow as DepthWindow
    from soilwater.decisions.building.depth import Range as Range
    from soilwater.decisions.building.depth import depth_window as depth_window
    from soilwater.decisions.building.floor import FloorDesign as FloorDesign
    from soilwater.decisions.contours.bracket import LevelBracket as LevelBracket
    from soilwater.decisions.contours.bracket import level_bracket as level_bracket
    from soilwater.decisions.contours.crest import CrestEffect as CrestEffect
    from soilwater.decisions.contours.crest import crest_effect as crest_effect
    from soilwater.decisions.contours.odds import GroundOdds as GroundOdds
    from soilwater.decisions.contours.odds import ground_odds as ground_odds
    from soilwater.decisions.slope import SlopeEquivalent as SlopeEquivalent
    from soilwater.decisions.slope import slope_equivalent as slope_equivalent
    from soilwater.decisions.spots.diagnosis import diagnose as diagnose
    from soilwater.decisions.spots.expected import expected_reading as expected_reading
    from soilwater.decisions.spots.findings import with_finding as with_finding
    from soilwater.decisions.spots.measurements import Measurement as Measurement
    from soilwater.decisions.spots.measurements import next_measurement as next_measurement
    from soilwater.decisions.spots.measurements import rank_measurements as rank_measurements
    from soilwater.decisions.spots.odds import CauseOdds as CauseOdds
    from soilwater.decisions.spots.odds import Diagnosis as Diagnosis
    from soilwater.decisions.spots.odds import GroupOdds as GroupOdds
    from soilwater.decisions.spots.odds import SpotDiagnosis as SpotDiagnosis
    from soilwater.decisions.targets import AirTarget as AirTarget
    from soilwater.decisions.targets import ReadingTarget as ReadingTarget
    from soilwater.decisions.watering.changes import Change as Change
    from soilwater.decisions.watering.changes import barrier as barrier
    from soilwater.decisions.watering.changes import blocked_outlet as blocked_outlet
    from soilwater.decisions.watering.changes import drain as drain
    from soilwater.decisions.watering.changes import irrigate as irrigate
    from soilwater.decisions.watering.changes import other_sand as other_sand
    from soilwater.decisions.watering.changes import regrade as regrade
    from soilwater.decisions.watering.changes import remove_mat as remove_mat
    from soilwater.decisions.watering.changes import reshape as reshape
    from soilwater.decisions.watering.changes import topdress as topdress
    from soilwater.decisions.watering.changes import wetting_agent as wetting_agent
    from soilwater.decisions.watering.ground_outcomes import GroundOutcome as GroundOutcome
    from soilwater.decisions.watering.ground_outcomes import GroundWhatIf as GroundWhatIf
    from soilwater.decisions.watering.hand_watering import hand_water_plan as hand_water_plan
    from soilwater.decisions.watering.outlook import Days as Days
    from soilwater.decisions.watering.outlook import DryDownOutlook as DryDownOutlook
    from soilwater.decisions.watering.outlook import SpotOutlook as SpotOutlook
    from soilwater.decisions.watering.outlook import dry_down_outlook as dry_down_outlook
    from soilwater.decisions.watering.repellent_spots import wettable as wettable
    from soilwater.decisions.watering.replanning import replan as replan
    from soilwater.decisions.watering.thresholds import Thresholds as Thresholds
    from soilwater.decisions.watering.water_plan import HandWatering as HandWatering
    from soilwater.decisions.watering.water_plan import HandWaterPlan as HandWaterPlan
    from soilwater.decisions.watering.water_plan import SpotPlan as SpotPlan
    from soilwater.decisions.watering.water_side import Flush as Flush
    from soilwater.decisions.watering.water_side import air_after_rain as air_after_rain
    from soilwater.decisions.watering.water_side import days_below_air as days_below_air
    from soilwater.decisions.watering.water_side import flush_water as flush_water
    from soilwater.decisions.watering.what_if import Outcome as Outcome
    from soilwater.decisions.watering.what_if import WhatIf as WhatIf
    from soilwater.decisions.watering.what_if import what_if as what_if
    from soilwater.explorer import explore as explore
    from soilwater.explorer import explore_ground as explore_ground
    from soilwater.ground.base import CapillaryBreak as CapillaryBreak
    from soilwater.ground.base import FreeDrainage as FreeDrainage
    from soilwater.ground.base import GravelBlanket as GravelBlanket
    from soilwater.ground.base import Sealed as Sealed
    from soilwater.ground.base import SeepageFace as SeepageFace
    from soilwater.ground.base import WaterTable as WaterTable
    from soilwater.ground.base_suction import BaseSuction as BaseSuction
    from soilwater.ground.layer import Layer as Layer
    from soilwater.ground.profile import Profile as Profile
    from soilwater.ground.repellent_mat import RepellentMat as RepellentMat
    from soilwater.ground.stress import RoundedStress as RoundedStress
    from soilwater.ground.stress import SShapedStress as SShapedStress
    from soilwater.ground.surveyed import SurveyedGround as SurveyedGround
    from soilwater.ground.surveyed import interpolate_survey as interpolate_survey
    from soilwater.ground.turf import Turf as Turf
    from soilwater.lab.fit_result import Band as Band
    from soilwater.lab.fit_result import FitResult as FitResult
    from soilwater.lab.grading import Grading as Grading
    from soilwater.lab.likely_memory import likely_memories as likely_memories
    from soilwater.lab.retention import RetentionTable as RetentionTable
    from soilwater.lab.sheet import read_retention as read_retention
    from soilwater.lab.sheet import read_retention_samples as read_retention_samples
    from soilwater.learning.calibrate import calibrate as calibrate
    from soilwater.learning.calibration import Calibration as Calibration
    from soilwater.learning.telling import HeldBack as HeldBack
    from soilwater.learning.telling import Learned as Learned
    from soilwater.runs.case import Case as Case
    from soilwater.runs.case import HeldSurface as HeldSurface
    from soilwater.runs.drained import drained_state as drained_state
    from soilwater.runs.drained import drained_water_content as drained_water_content
    from soilwater.runs.green_map import GreenMap as GreenMap
    from soilwater.runs.many_grounds import simulate_grounds as simulate_grounds
    from soilwater.runs.map_files import write_map as write_map
    from soilwater.runs.meter import days_until as days_until
    from soilwater.runs.meter import meter_reading as meter_reading
    from soilwater.runs.repellent import Repellency as Repellency
    from soilwater.runs.repellent import repellent_patches as repellent_patches
    from soilwater.runs.simulate import compare_depths as compare_depths
    from soilwater.runs.simulate import simulate as simulate
    from soilwater.runs.simulate import simulate_ensemble as simulate_ensemble
    from soilwater.runs.simulate import simulate_many as simulate_many
    from soilwater.runs.transect import Transect as Transect
    from soilwater.runs.wetted import AfterFlooding as AfterFlooding
    from soilwater.runs.wetted import AfterRain as AfterRain
    from soilwater.site.file import SiteFile as SiteFile
    from soilwater.site.morning import Morning as Morning
    from soilwater.site.morning import morning_plan as morning_plan
    from soilwater.site.reading import read_site_file as read_site_file
    from soilwater.site.writing import write_site_file as write_site_file
    from soilwater.soils import BrooksCorey as BrooksCorey
    from soilwater.soils import CapillaryModel as CapillaryModel
    from soilwater.soils import Hysteretic as Hysteretic
    from soilwater.soils import Kosugi as Kosugi
    from soilwater.soils import SoilModel as SoilModel
    from soilwater.soils import TwoComponent as TwoComponent
    from soilwater.soils import VanGenuchten as VanGenuchten
    from soilwater.soils import WettingHistory as WettingHistory
    from soilwater.soils import WithDryEnd as WithDryEnd
    from soilwater.soils import register_soil_model as register_soil_model
    from soilwater.survey.drops import DropTests as DropTests
    from soilwater.survey.drops import WettingShare as WettingShare
    from soilwater.survey.sensor import BuriedSensor as BuriedSensor
    from soilwater.survey.sheet import join_surveys as join_surveys
    from soilwater.survey.sheet import read_survey as read_survey
    from soilwater.survey.survey import Reading as Reading
    from soilwater.survey.survey import Spot as Spot
    from soilwater.survey.survey import Survey as Survey
    from soilwater.weather.forecast import join_weather as join_weather
    from soilwater.weather.forecast import read_forecast as read_forecast
    from soilwater.weather.forecast import usual_weather as usual_weather
    from soilwater.weather.irrigation import Event as Event
    from soilwater.weather.irrigation import cycle_and_soak as cycle_and_soak
    from soilwater.weather.irrigation import hand_water as hand_water
    from soilwater.weather.irrigation import syringe as syringe
    from soilwater.weather.made import steady_weather as steady_weather
    from soilwater.weather.made import weather_from_table as weather_from_table
    from soilwater.weather.reference_et import Site as Site
    from soilwater.weather.reference_et import daily_reference_et as daily_reference_et
    from soilwater.weather.reference_et import hourly_reference_et as hourly_reference_et
    from soilwater.weather.rules import Rule as Rule
    from soilwater.weather.series import Weather as Weather
    from soilwater.weather.station.files import read_station as read_station
    from soilwater.weather.station.files import read_weather as read_weather
    from soilwater.words.errors import InputError as InputError
    from soilwater.words.errors import Interrupted as Interrupted
    from soilwater.words.errors import RunError as RunError
    from soilwater.words.errors import SoilWaterError as SoilWaterError
    from soilwater.words.errors import SoilWaterWarning as SoilWaterWarning
    from soilwater.words.errors import Status as Status
    from soilwater.words.frames import read_table as read_table
    from soilwater.words.unit_choice import use_units as use_units

__version__ = "0.2.0"

_HOMES = {
    "decisions.building.compare_sands": "SandAtDepth SandComparison compare_sands",
    "decisions.building.construction": "Check MaterialCheck Verdict check_root_zone",
    "decisions.building.contour": "ContourDesign PlaceDepth depth_over_contour",
    "decisions.building.depth": "DepthWindow Range depth_window",
    "decisions.building.floor": "FloorDesign",
    "decisions.contours.bracket": "LevelBracket level_bracket",
    "decisions.contours.crest": "CrestEffect crest_effect",
    "decisions.contours.odds": "GroundOdds ground_odds",
    "decisions.slope": "SlopeEquivalent slope_equivalent",
    "decisions.spots.diagnosis": "diagnose",
    "decisions.spots.expected": "expected_reading",
    "decisions.spots.findings": "with_finding",
    "decisions.spots.measurements": "Measurement next_measurement rank_measurements",
    "decisions.spots.odds": "CauseOdds Diagnosis GroupOdds SpotDiagnosis",
    "decisions.targets": "AirTarget ReadingTarget",
    "decisions.watering.changes": (
        "Change barrier blocked_outlet drain irrigate other_sand regrade remove_mat reshape "
        "topdress wetting_agent"
    ),
    "decisions.watering.ground_outcomes": "GroundOutcome GroundWhatIf",
    "decisions.watering.hand_watering": "hand_water_plan",
    "decisions.watering.outlook": "Days DryDownOutlook SpotOutlook dry_down_outlook",
    "decisions.watering.repellent_spots": "wettable",
    "decisions.watering.replanning": "replan",
    "decisions.watering.thresholds": "Thresholds",
    "decisions.watering.water_plan": "HandWatering HandWaterPlan SpotPlan",
    "decisions.watering.water_side": "Flush air_after_rain days_below_air flush_water",
    "decisions.watering.what_if": "Outcome WhatIf what_if",
    "explorer": "explore explore_ground",
    "ground.base": "CapillaryBreak FreeDrainage GravelBlanket Sealed SeepageFace WaterTable",
    "ground.base_suction": "BaseSuction",
    "ground.layer": "Layer",
    "ground.profile": "Profile",
    "ground.repellent_mat": "RepellentMat",
    "ground.stress": "RoundedStress SShapedStress",
    "ground.surveyed": "SurveyedGround interpolate_survey",
    "ground.turf": "Turf",
    "lab.fit_result": "Band FitResult",
    "lab.grading": "Grading",
    "lab.likely_memory": "likely_memories",
    "lab.retention": "RetentionTable",
    "lab.sheet": "read_retention read_retention_samples",
    "learning.calibrate": "calibrate",
    "learning.calibration": "Calibration",
    "learning.telling": "HeldBack Learned",
    "runs.case": "Case HeldSurface",
    "runs.drained": "drained_state drained_water_content",
    "runs.green_map": "GreenMap",
    "runs.many_grounds": "simulate_grounds",
    "runs.map_files": "write_map",
    "runs.meter": "days_until meter_reading",
    "runs.repellent": "Repellency repellent_patches",
    "runs.simulate": "compare_depths simulate simulate_ensemble simulate_many",
    "runs.transect": "Transect",
    "runs.wetted": "AfterFlooding AfterRain",
    "site.file": "SiteFile",
    "site.morning": "Morning morning_plan",
    "site.reading": "read_site_file",
    "site.writing": "write_site_file",
    "soils": (
        "BrooksCorey CapillaryModel Hysteretic Kosugi SoilModel TwoComponent VanGenuchten "
        "WettingHistory WithDryEnd register_soil_model"
    ),
    "survey.drops": "DropTests WettingShare",
    "survey.sensor": "BuriedSensor",
    "survey.sheet": "join_surveys read_survey",
    "survey.survey": "Reading Spot Survey",
    "weather.forecast": "join_weather read_forecast usual_weather",
    "weather.irrigation": "Event cycle_and_soak hand_water syringe",
    "weather.made": "steady_weather weather_from_table",
    "weather.reference_et": "Site daily_reference_et hourly_reference_et",
    "weather.rules": "Rule",
    "weather.series": "Weather",
    "weather.station.files": "read_station read_weather",
    "words.errors": "InputError Interrupted RunError SoilWaterError SoilWaterWarning Status",
    "words.frames": "read_table",
    "words.unit_choice": "use_units",
}
"""Modules, and what is public of each. A module is imported when one of its names is first asked
for: to import all of them takes longer than many a run."""
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names.split()}
_SHOWN = ("plot", "report")
_FOLDERS = {module.split(".")[0] for module in _HOMES}

__all__ = sorted(_HOME_OF)


def __dir__() -> list[str]:
    """Public names only: the modules behind them are no part of the surface."""
    return sorted([*__all__, *_SHOWN, "__version__"])


def __getattr__(name: str) -> _Any:
    """Import what is public, or a folder, when it is first asked for."""
    if name in _HOME_OF:
        thing = getattr(_import_module(f"soilwater.{_HOME_OF[name]}"), name)
        globals()[name] = thing
        return thing
    if name in _SHOWN or name in _FOLDERS:
        return _import_module(f"soilwater.{name}")
    if name == "Lines":
        raise AttributeError('soilwater.Lines is now called "Thresholds"; write sw.Thresholds(...)')
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


@_xarray.register_dataset_accessor("soilwater")  # type: ignore[no-untyped-call, untyped-decorator]
def _accessor(run: _xarray.Dataset) -> _Any:
    """Give every result its ``run.soilwater``."""
    return _import_module("soilwater.accessor").RunAccessor(run)
