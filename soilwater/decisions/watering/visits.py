"""When a crew may water by hand, and from when on a spot is to keep its line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import (
    OUTPUT_HOURS,
)
from soilwater.words.arrays import FloatArray

MORNING, MIDDAY = 6, 12
"""Hours of the day at which a crew waters (common practice, no source)."""
DAYS_BACK = 2
"""How many mornings before a miss may be watered for it, where one cannot hold it."""


BACK_AFTER = 48.0
"""A spot that starts below the line is to be back above it after so long [h]."""


class Visits(NamedTuple):
    """Output times at which a crew may water: numbers by the hour of the day; the `first` to count.

    What comes before the first morning no crew can change.
    """

    by_hour: dict[int, NDArray[np.int64]]
    first: int

    @classmethod
    def of(cls, times: NDArray[np.datetime64], without: Sequence[np.datetime64]) -> Visits:
        """Find the visits among output times, but for days without water by hand."""
        day = times.astype("datetime64[D]")
        open_days = ~np.isin(day, np.array(without, dtype="datetime64[D]"))
        by_hour = {
            hour: np.flatnonzero(open_days & (times - day == np.timedelta64(hour, "h")))
            for hour in (MORNING, MIDDAY)
        }
        mornings = by_hour[MORNING][by_hour[MORNING] < 4]
        return cls(by_hour, int(mornings[-1]) + 1 if mornings.size else 1)

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
        below = float(np.mean(reading[:, self.first] > line)) < asked
        later = self.first + round(BACK_AFTER / OUTPUT_HOURS)
        return min(later, int(reading.shape[1]) - 1) if below else self.first

    def before(self, failing: int) -> list[int]:
        """Visits that may help where the line is missed, the last morning first.

        Parameters
        ----------
        failing : int
            Number of the output time at which it is missed.
        """
        found: list[int] = []
        for back in range(1, DAYS_BACK + 1):
            for at in self.by_hour.values():
                early = at[at < failing]
                if early.size >= back:
                    found.append(int(early[-back]))
        return found
