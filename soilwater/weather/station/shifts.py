"""Columns that come early or late: what could explain it, and moving them back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.weather import sun
from soilwater.weather.station.readings import Readings
from soilwater.weather.station.sunlight import hours_late, temperature_follows
from soilwater.words.errors import Faults
from soilwater.words.stamps import STANDARD, zones_of_offset
from soilwater.words.units import number_to_house


def moved_back(
    values: dict[str, NDArray[np.float64]],
    delays: Mapping[str, Any],
    hours: float,
    faults: Faults,
) -> tuple[slice, list[str]]:
    """Move columns that come late back to their stamps, in place.

    Parameters
    ----------
    values : dict of str to array, shape (n,)
        The columns.
    delays : mapping of str to float or str
        How much later they come [h]; negative for earlier.
    hours : float
        Length of a step [h].
    faults : Faults
        Takes delays that are not whole steps.

    Returns
    -------
    kept : slice
        Steps in which every column has a value of its own.
    notes : list of str
        What was moved.
    """
    notes = []
    first, last, size = 0, 0, 0
    for quantity, delay in delays.items():
        late = number_to_house(delay, "duration", f'late["{quantity}"]')
        steps = round(late / hours)
        if abs(steps * hours - late) > 1e-6:
            faults.add(
                f"late: {quantity} by {late:g} h is not a whole number of steps of {hours:g} h"
            )
            continue
        column = values[quantity]
        size = column.size
        if abs(steps) >= size:
            faults.add(f"late: {quantity} by {late:g} h is longer than the file")
            continue
        values[quantity] = np.roll(column, -steps)
        first, last = max(first, -steps), max(last, steps)
        if steps:
            notes.append(
                f"{quantity}: moved back by {late:g} h; {abs(steps)} steps without it left out"
            )
    return (slice(first, size - last) if first or last else slice(None)), notes


def ask_about_sun(given: Readings, label: str, time_zone: str, faults: Faults) -> None:
    """Ask about radiation that does not come when the sun of its place does.

    Parameters
    ----------
    given : Readings
        The columns of the file.
    label : {"start", "end"}
        What the stamps were said to mark.
    time_zone : str
        What the stamps were said to be in.
    faults : Faults
        Takes the question.
    """
    late = hours_late(given.values["solar_radiation"], given.edges, given.site)
    if np.isnan(late) or late == 0.0:
        return
    step = given.hours
    steps = round(late / step)
    if steps * step == -12.0:  # half a day is as much early as late; late is told
        steps = -steps
    if steps == 0:
        return
    which = "after" if steps > 0 else "before"
    apart = abs(steps) * step
    moved = f'late={{"solar_radiation": "{steps * step:g} h"}}'
    causes = [f"say {moved} if radiation alone is off"]
    noon = _solar_noon(given)
    follows = _follows(given, noon)
    follows_file = _follows(given, noon + late)
    if follows is not True or follows_file is not False:
        stamps = _causes_of_stamps(given, label, time_zone, late)
        # Where the air follows the sun of the file, all of the file is off, or the site is.
        causes = stamps + causes if not (follows is False and follows_file and stamps) else stamps
    faults.add(
        f"solar_radiation comes {apart:g} h {which} the sun: by its light, noon is at "
        f"{_clock(noon + late)}, and by the place at {_clock(noon)} of local standard time",
        cure="; or ".join(causes),
    )


def _solar_noon(given: Readings) -> float:
    """Time of day at which the sun stands highest [h], local standard time."""
    site = given.site
    if site is None or site.longitude is None or site.utc_offset is None:
        return 12.5
    middle = given.edges[len(given.edges) // 2 : len(given.edges) // 2 + 1]
    angle = sun.solar_time_angle(12.0, sun.day_of_year(middle), site.longitude, site.utc_offset)
    return 12.0 - float(np.asarray(angle).ravel()[0]) * 12.0 / np.pi


def _follows(given: Readings, noon: float) -> bool | None:
    if "air_temperature" not in given.values:
        return None
    return temperature_follows(given.values["air_temperature"], given.edges, noon)


def _causes_of_stamps(given: Readings, label: str, time_zone: str, late: float) -> list[str]:
    """Say what of the stamps or the place would explain that all of the file is off."""
    causes = []
    near = 0.5 * max(given.hours, 0.5) + 0.1

    def explains(shift: float) -> bool:
        return abs((late - shift + 12.0) % 24.0 - 12.0) <= near

    if given.hours >= 0.5:
        other = {"start": ("end", given.hours), "end": ("start", -given.hours)}[label]
        if explains(other[1]):
            causes.append(f'say label="{other[0]}" if that is what the stamps mark')
    site = given.site
    if site is None or site.longitude is None or site.utc_offset is None:
        return causes
    if time_zone == STANDARD and explains(-site.utc_offset) and site.utc_offset:
        causes.append('say time_zone="UTC" if the stamps are in UTC')
    if time_zone == STANDARD and explains(1.0):
        zone = next(iter(zones_of_offset(site.utc_offset, given.edges[len(given.edges) // 2])), "")
        if zone:
            causes.append(f'say time_zone="{zone}" if the stamps follow daylight-saving time')
    if explains(2.0 * site.longitude / 15.0):
        causes.append(
            f"say site=Site({site.latitude:g}, {site.elevation:g}, {-site.longitude:g}, "
            f"{site.utc_offset:g}) if the sign of the longitude is wrong (east is positive)"
        )
    return causes


def _clock(hour: float) -> str:
    minutes = round((hour % 24.0) * 60.0) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
