"""Pictures: each function takes ``ax=None``, draws on it and returns it.

Needs matplotlib (``python -m pip install "soilwater[plot]"``), which nothing else here imports.
"""

from soilwater.plot.animation import animate_dry_down, animate_green
from soilwater.plot.curves import depth_curve, retention
from soilwater.plot.days import before_after, dry_down, water_balance
from soilwater.plot.depths import depth_time, profile, suction_profile
from soilwater.plot.ground import along_line, cross_section, green_days, green_map, surveyed_ground
from soilwater.plot.loop import wetting_loop
from soilwater.plot.maps import survey_map
from soilwater.plot.outlooks import hand_water, outlook
from soilwater.plot.style import look

__all__ = [
    "along_line",
    "animate_dry_down",
    "animate_green",
    "before_after",
    "cross_section",
    "depth_curve",
    "depth_time",
    "dry_down",
    "green_days",
    "green_map",
    "hand_water",
    "look",
    "outlook",
    "profile",
    "retention",
    "suction_profile",
    "survey_map",
    "surveyed_ground",
    "water_balance",
    "wetting_loop",
]
