"""Rules of irrigation that look at the meter, and decide."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from soilwater.weather.irrigation import HOURS_PER_DAY, Event
from soilwater.words.errors import Faults
from soilwater.words.forms import Date
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.times import as_time, stamp, to_timedelta
from soilwater.words.units import number_to_house, positive_number


@needs_all('Rule("6 mm", "15 %", rod="3 in", rate="18 mm/h")')
@mind_words(below="threshold")
@dataclass(frozen=True)
class Rule:
    """Irrigate a fixed amount at night when a meter reading falls below a line.

    The reading is looked at once a day, at the decision hour, so there is never more than one
    application a night. Nothing is applied while it rains.

    Parameters
    ----------
    amount : float, str or Quantity
        Water of one application [mm].
    threshold : float, str or Quantity
        Reading below which it is given: water content by volume [1].
    rod : float, str or Quantity
        Rod length of the meter that is read [cm].
    rate : float, str or Quantity
        Precipitation rate [mm/h].
    hour : float, optional
        Hour of the day of the decision, local standard time [h]; 22 when left out.
    rain_window : float, str or Quantity, optional
        How far back rain counts as "raining" [h].
    rain_limit : float, str or Quantity, optional
        Rain in that window above which nothing is applied [mm].
    name : str, optional
        Given to the events.

    Raises
    ------
    InputError
        With every fault found.

    Examples
    --------
    >>> rule = Rule("6 mm", 0.15, rod="7.6 cm", rate="18 mm/h")
    >>> rule.decide("2025-07-01 22:00", reading=0.14, recent_rain=0.0).amount
    6.0
    >>> rule.decide("2025-07-02 22:00", reading=0.16, recent_rain=0.0) is None
    True
    """

    amount: float
    threshold: float
    rod: float = field(kw_only=True)
    rate: float = field(kw_only=True)
    hour: float = field(default=22.0, kw_only=True)
    rain_window: float = field(default=1.0, kw_only=True)
    rain_limit: float = field(default=0.0, kw_only=True)
    name: str = field(default="rule", kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'Rule "{self.name}"')
        checked = {
            "amount": positive_number(self.amount, "water_amount", "amount", faults),
            "threshold": positive_number(self.threshold, "water_content", "threshold", faults),
            "rod": positive_number(self.rod, "length", "rod", faults),
            "rate": positive_number(self.rate, "water_rate", "rate", faults),
            "rain_window": positive_number(self.rain_window, "duration", "rain_window", faults),
        }
        limit = hour = np.nan
        with faults.catching():
            limit = number_to_house(self.rain_limit, "water_amount", "rain_limit")
        with faults.catching():
            hour = number_to_house(self.hour, "duration", "hour")
        if limit < 0.0:
            faults.add(f"rain_limit is {limit:g} mm", allowed="0 or more")
        if hour < 0.0 or hour >= HOURS_PER_DAY:
            faults.add(f"hour is {hour:g}", allowed="0 up to 24")
        faults.raise_if_any()
        for name, value in {**checked, "rain_limit": limit, "hour": hour}.items():
            object.__setattr__(self, name, value)

    @mind_words(start="begin")
    def decision_times(self, begin: Date, end: Date) -> NDArray[np.datetime64]:
        """Instants of decision from `begin` up to but not including `end`.

        Parameters
        ----------
        begin, end : datetime64, str or Timestamp
            First and last instant of the run.
        """
        first, last = as_time(begin, "begin"), as_time(end, "end")
        day = first.astype("datetime64[D]").astype("datetime64[ns]")
        times = np.arange(day, last, np.timedelta64(1, "D")) + to_timedelta(self.hour)
        return np.asarray(times[np.greater_equal(times, first) & np.less(times, last)])

    def decide(self, time: Date, reading: float, recent_rain: float) -> Event | None:
        """Decide at one instant.

        Parameters
        ----------
        time : datetime64, str or Timestamp
            The instant of decision; the event starts then.
        reading : float
            What the meter reads [1].
        recent_rain : float
            Rain in the `rain_window` before the decision [mm].

        Returns
        -------
        Event or None
            Nothing when the reading is high enough or it has been raining.

        Raises
        ------
        InputError
            If the reading or the rain is missing.
        """
        faults = Faults(f'Rule "{self.name}"')
        if not np.isfinite(reading):
            faults.add(f"the reading is {reading}", where=stamp(as_time(time, "time")))
        if not np.isfinite(recent_rain):
            faults.add(f"the recent rain is {recent_rain}", where=stamp(as_time(time, "time")))
        faults.raise_if_any()
        if reading >= self.threshold or recent_rain > self.rain_limit:
            return None
        return Event(as_time(time, "time"), self.amount, rate=self.rate, name=self.name)
