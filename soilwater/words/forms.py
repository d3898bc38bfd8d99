"""Forms in which a quantity may be given, each named after what it measures, with its house unit.

A bare number is in the house unit; a text carries its unit (``"12 in"``), and so does a Quantity of
pint, which is not imported here. What is none of these is refused where it is read.
"""

from __future__ import annotations

from typing import Any, TypeAlias

Length: TypeAlias = float | str | Any
"""Length or depth [cm]: ``30.0``, ``"12 in"``, ``"7.6 cm"``, or a Quantity."""
Suction: TypeAlias = float | str | Any
"""Suction, as a column of water [cm]: ``30.0``, ``"3 kPa"``, or a Quantity; where the suction left
at a base is asked for also ground's `BaseSuction`, or two values, low and high."""
WaterContent: TypeAlias = float | str | Any
"""Water content or air by volume [1]: ``0.12``, ``"12 %"``, or a Quantity."""
TimeSpan: TypeAlias = float | str | Any
"""Length of time [h]: ``6.0``, ``"15 min"``, ``"2 days"``, or a Quantity."""
Flow: TypeAlias = float | str | Any
"""Flow of a hose [L/min]: ``45.0``, ``"12 gpm"``, or a Quantity."""
Slope: TypeAlias = float | str | Any
"""Rise over run [1]: ``0.02``, ``"2 %"``, or a Quantity."""
Conductivity: TypeAlias = float | str | Any
"""Hydraulic conductivity [cm/h]: ``40.0``, ``"15 in/h"``, or a Quantity."""
Density: TypeAlias = float | str | Any
"""Mass in a volume [g/cm3]: ``1.58``, ``"1580 kg/m3"``, or a Quantity."""
WaterAmount: TypeAlias = float | str | Any
"""Water on a surface [mm]: ``6.0``, ``"0.25 in"``, or a Quantity."""
WaterRate: TypeAlias = float | str | Any
"""Water on a surface in a time [mm/h]: ``18.0``, ``"0.7 in/h"``, or a Quantity."""
DailyWater: TypeAlias = float | str | Any
"""Evapotranspiration or rain of a day [mm/day]: ``5.5``, ``"0.2 in/day"``, or a Quantity."""
Area: TypeAlias = float | str | Any
"""Area [m2]: ``5.0``, ``"50 ft2"``, or a Quantity."""
Share: TypeAlias = float | str | Any
"""Part of a whole [1]: ``0.8``, ``"80 %"``, or a Quantity."""
Height: TypeAlias = float | str | Any
"""Height above the ground [m]: ``2.0``, ``"6 ft"``, or a Quantity."""
Angle: TypeAlias = float
"""Angle [degrees]: ``75.0``."""

Date: TypeAlias = str | Any
"""Instant or day, local standard time: ``"2025-07-01 06:00"``, or a datetime64, datetime or
Timestamp."""
Dates: TypeAlias = Any
"""Several of these: a sequence, an array or a DataArray."""
OutputTimes: TypeAlias = float | str | Any
"""Time between outputs [h]: ``1.0``, ``"6 h"``, or a Quantity; or the instants themselves."""
StartingWater: TypeAlias = str | float | Any
"""Water at the start of a run: ``"soaked"``, ``"drained"``, one suction [cm], a DataArray over
``depth``, or an earlier result."""

Suctions: TypeAlias = float | Any
"""Suction [cm], positive when dry: a number, an array or a DataArray."""
WaterContents: TypeAlias = float | Any
"""Water content by volume [1]: a number or an array."""
Temperatures: TypeAlias = float | Any
"""Temperature of the air [degC]: a number, an array or a DataArray."""
VapourPressures: TypeAlias = float | Any
"""Actual vapour pressure [kPa]: a number, an array or a DataArray."""
DailyRadiation: TypeAlias = float | Any
"""Solar radiation of a day [MJ m-2 day-1]: a number, an array or a DataArray."""
Radiation: TypeAlias = float | Any
"""Solar radiation in a step [MJ m-2]: a number, an array or a DataArray."""
WindSpeeds: TypeAlias = float | Any
"""Wind speed [m/s]: a number, an array or a DataArray."""
