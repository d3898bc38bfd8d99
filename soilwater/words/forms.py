"""Forms in which a quantity may be given, each named after what it measures, with its house unit.

A bare number is in the house unit; a text carries its unit (``"12 in"``), and so does a Quantity of
pint, which is not imported here. What is none of these is refused where it is read.
"""

from __future__ import annotations

from typing import Any, TypeAlias

Length: TypeAlias = float | str | Any
"""Length or depth [cm]: ``30.0``, ``"12 in"``, ``"7.6 cm"``, or a Quantity."""
Suction: TypeAlias = float | str | Any
"""Suction [cm of water]: ``30.0``, ``"3 kPa"``, or a Quantity; ground's `BaseSuction` where the
suction left at a base is asked for, or two values, low and high."""
WaterContent: TypeAlias = float | str | Any
"""Water content or air by volume [1]: ``0.12``, ``"12 %"``, or a Quantity."""
TimeSpan: TypeAlias = float | str | Any
"""Length of time [h]: ``6.0``, ``"15 min"``, ``"2 days"``, or a Quantity."""
Flow: TypeAlias = float | str | Any
"""Flow of a hose [L/min]: ``45.0``, ``"12 gpm"``, or a Quantity."""
Slope: TypeAlias = float | str | Any
"""Rise over run [1]: ``0.02``, ``"2 %"``, or a Quantity."""
