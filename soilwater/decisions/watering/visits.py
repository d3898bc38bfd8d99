"""When a crew may water by hand, from when on a spot is to keep its line, and what time is left."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import OUTPUT_HOURS
from soilwater.decisions.watering.tried import smooth_quantile
from soilwater.weather.irrigation import Event
from soilwater.words.arrays import FloatArray

CREW_HOURS = (6.0, 12.0)
"""Hours of the day at which a crew waters (common practice, no source)."""
DAYS_BACK = 2
"""How many days before a miss may be watered for it, where one cannot hold it."""
READ_FIRST = np.timedelta64(2, "h")
"""So long after the crew's hour a green may be read before it is watered (our own choice)."""
_NEVER = 10**9
_ROUNDED = 1e-6
"""Time that sums may lose for want of digits [s]."""
BACK_AFTER = 48.0
"""A spot that starts below the line is to be back above it after so long [h]."""


class Visits(NamedTuple):
    """Instants at which a crew may water.

    `time` the instants; `at` for each the number of the last output time before it; `hour` which of
    the crew's hours it is; `first` the number of the first output time to count: what comes before
    the first visit no crew can change.
    """

    time: NDArray[np.datetime64]
    at: NDArray[np.int64]
    hour: NDArray[np.int64]
    first: int

    @classmethod
    def of(
        cls,
        times: NDArray[np.datetime64],
        hours: Sequence[float],
        without: Sequence[np.datetime64],
        read: np.datetime64 | None = None,
    ) -> Visits:
        """Find the visits among output times, at hours of the day, but for days without water.

        Nor are there any that were past when the green was `read`.
        """
        days = np.unique(times.astype("datetime64[D]"))
        days = days[~np.isin(days, np.array(without, dtype="datetime64[D]"))]
        after = np.array([np.timedelta64(round(60 * each), "m") for each in hours])
        time = (days[:, None] + after).ravel().astype(times.dtype)
        hour = np.tile(np.arange(len(hours)), days.size)
        begin = times[0] if read is None else max(times[0], read - READ_FIRST)
        inside = (time >= begin) & (time < times[-1])
        time, hour = time[inside], hour[inside]
        at = np.searchsorted(times, time, side="right") - 1
        return cls(time, at, hour, int(at[0]) + 1 if at.size else 1)

    def counted_from(self, reading: FloatArray, line: float, asked: float) -> int:
        """Find the output time from which a spot is to keep the line.

        One that starts below it is to be back two days later: light water lifts nothing at once.

        Parameters
        ----------
        reading : ndarray, shape (draws, times)
            Readings without water by hand [1].
        line : float
            To stay above [1].
        asked : float
            Share of the draws that shall [1].
        """
        below = smooth_quantile(reading[:, self.first], 1.0 - asked) <= line
        later = self.first + round(BACK_AFTER / OUTPUT_HOURS)
        return min(later, int(reading.shape[1]) - 1) if below else self.first

    def back(self, number: int) -> int:
        """Find the last output time before the crew is back at the hour of a visit.

        Parameters
        ----------
        number : int
            Of the visit.
        """
        later = self.at[(self.hour == self.hour[number]) & (self.at > self.at[number])]
        return int(later[0]) if later.size else _NEVER

    def reaching(self, by: int) -> int | None:
        """Find the first output time that is the last before a visit and reaches another.

        None where there is none but the end.

        Parameters
        ----------
        by : int
            Number of the other.
        """
        later = self.at[self.at >= by]
        return int(later[0]) if later.size else None

    def before(self, failing: int) -> list[int]:
        """Numbers of the visits that may help where the line is missed, the last first hour first.

        Parameters
        ----------
        failing : int
            Number of the output time at which it is missed.
        """
        found: list[int] = []
        for back in range(1, DAYS_BACK + 1):
            for hour in range(int(self.hour.max(initial=-1)) + 1):
                early = np.flatnonzero((self.hour == hour) & (self.at < failing))
                if early.size >= back:
                    found.append(int(early[-back]))
        return found


def within_crew_time(
    events: Mapping[int, Sequence[Event]],
    seconds: Callable[[int, Event], float],
    dryness: Callable[[int, Event], tuple[float, ...]],
    hopeless: Set[int],
    most: float,
) -> tuple[dict[int, list[Event]], dict[int, list[Event]]]:
    """Keep what a crew has time for at each visit, so that it keeps as many spots as it can.

    Spots whose water fits in whole come first, those that need the least time before others; what
    is left over goes to the driest of the rest, and last to those that no water keeps.

    Parameters
    ----------
    events : mapping of int to sequence of Event
        Water of each spot.
    seconds : callable
        Time at the hose for an event of a spot [s]; NaN where it is not known, which counts none.
    dryness : callable
        What sorts spots at an event, the driest first.
    hopeless : set of int
        Spots that no water keeps.
    most : float
        Time there is at each visit [s].

    Returns
    -------
    kept, left_out : dict of int to list of Event
        By spot.
    """
    need = {
        (i, event.time): float(np.nan_to_num(seconds(i, event)))
        for i, of_spot in events.items()
        for event in of_spot
    }
    free = {time: most + _ROUNDED for _, time in need}
    total = {i: sum(need[i, event.time] for event in of_spot) for i, of_spot in events.items()}
    whole = set()
    for i in sorted(set(events) - hopeless, key=lambda i: (total[i], i)):
        if all(need[i, event.time] <= free[event.time] for event in events[i]):
            whole.add(i)
            for event in events[i]:
                free[event.time] -= need[i, event.time]
    kept: dict[int, list[Event]] = {i: [*events[i]] if i in whole else [] for i in events}
    left_out: dict[int, list[Event]] = {i: [] for i in events}
    rest = [(i, event) for i, of_spot in events.items() if i not in whole for event in of_spot]
    for i, event in sorted(
        rest, key=lambda pair: (pair[1].time, pair[0] in hopeless, *dryness(*pair), pair[0])
    ):
        fits = need[i, event.time] <= free[event.time]
        (kept if fits else left_out)[i].append(event)
        free[event.time] -= need[i, event.time] if fits else 0.0
    return kept, left_out
