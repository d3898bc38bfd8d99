"""Physics-based soil water simulation for sand-based turf.

A lab retention table and a probe depth go in; water in the profile, hour by hour, comes out.
"""

from typing import TYPE_CHECKING, Any

import soilwater.accessor  # noqa: F401  (gives every result its ``run.soilwater``)
from soilwater.cases import Case, HeldSurface
from soilwater.decisions.construction import check_root_zone
from soilwater.equilibrium import drained_state, drained_water_content
from soilwater.errors import (
    InputError,
    Interrupted,
    RunError,
    SoilWaterError,
    SoilWaterWarning,
    Status,
)
from soilwater.fitting import FitResult
from soilwater.grading import Grading
from soilwater.irrigation import Event, Rule, cycle_and_soak, hand_water, syringe
from soilwater.lab_sheet import read_retention, read_retention_samples
from soilwater.meter import days_until, meter_reading
from soilwater.profile import (
    CapillaryBreak,
    FreeDrainage,
    Layer,
    Profile,
    Sealed,
    SeepageFace,
    WaterTable,
)
from soilwater.reference_et import Site, daily_reference_et, hourly_reference_et
from soilwater.retention import RetentionTable
from soilwater.simulate import compare_depths, simulate, simulate_ensemble, simulate_many
from soilwater.soils import BrooksCorey, Kosugi, TwoComponent, VanGenuchten, WithDryEnd
from soilwater.station import read_station, read_weather
from soilwater.turf import RoundedStress, SShapedStress, Turf
from soilwater.weather import Weather, steady_weather, weather_from_table

if TYPE_CHECKING:
    from soilwater import plot as plot

__version__ = "0.1.0"

__all__ = [
    "BrooksCorey",
    "CapillaryBreak",
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
    "Profile",
    "RetentionTable",
    "RoundedStress",
    "Rule",
    "RunError",
    "SShapedStress",
    "Sealed",
    "SeepageFace",
    "Site",
    "SoilWaterError",
    "SoilWaterWarning",
    "Status",
    "Turf",
    "TwoComponent",
    "VanGenuchten",
    "WaterTable",
    "Weather",
    "WithDryEnd",
    "check_root_zone",
    "compare_depths",
    "cycle_and_soak",
    "daily_reference_et",
    "days_until",
    "drained_state",
    "drained_water_content",
    "hand_water",
    "hourly_reference_et",
    "meter_reading",
    "read_retention",
    "read_retention_samples",
    "read_station",
    "read_weather",
    "simulate",
    "simulate_ensemble",
    "simulate_many",
    "steady_weather",
    "syringe",
    "weather_from_table",
]


def __getattr__(name: str) -> Any:
    """Import ``soilwater.plot``, and matplotlib with it, when it is first asked for."""
    if name == "plot":
        import importlib

        return importlib.import_module("soilwater.plot")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
