"""How far a spot had dried below its drained rest when it was read, in each draw of a calibration.

A spot that is read days after its soaking is not at rest. What columns of its green held then, over
what they hold at rest, lets readings of any day be weighed as those of one morning.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.learning.calibration import Calibration
from soilwater.learning.evidence import told_by
from soilwater.learning.given import on_the_clock
from soilwater.survey.survey import Reading
from soilwater.words.arrays import FloatArray
from soilwater.words.times import hours_between


class Drying(NamedTuple):
    """One reading, and what columns of its green held when it was taken.

    `reading`; `depths` of the columns [cm], evenly spaced; `then` what they held along its rods and
    `rest` what they hold there drained, shape (draws, depths) [1].
    """

    reading: Reading
    depths: FloatArray
    then: FloatArray
    rest: FloatArray

    @property
    def time(self) -> np.datetime64:
        """When the reading was taken."""
        assert self.reading.time is not None
        return self.reading.time

    def share_left(self, draw: NDArray[np.int64], depth: FloatArray) -> FloatArray:
        """Share of its drained water that a column still held [1], held at the ends of the depths.

        Parameters
        ----------
        draw : ndarray of int
            Number of the draw.
        depth : ndarray, of the same shape
            Depth of the column [cm].
        """
        share = self.then / self.rest
        place = np.interp(depth, self.depths, np.arange(self.depths.size))
        left = np.minimum(place.astype(np.int64), self.depths.size - 2)
        part = place - left
        held: FloatArray = (1.0 - part) * share[draw, left] + part * share[draw, left + 1]
        return held


def dryings(calibration: Calibration, spot: int) -> tuple[Drying, ...]:
    """Find the readings of a spot that a calibration has learnt from, in the order of the spot.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    spot : int
        Number of the spot.
    """
    evidence, shared = calibration.evidence, calibration.shared
    g = evidence.green.group_of(spot)
    depths = evidence.green.groups[g].depths
    told = told_by(evidence, shared)[g]
    found = []
    for reading in evidence.green.spots[spot].readings:
        for track in evidence.tracks:
            span = evidence.emulators[g].spans[track.span]
            if track.spot != spot or track.buried or span.bottom != reading.rod:
                continue
            hour = on_the_clock(hours_between(evidence.green.weather.start, reading.time))
            taken = np.flatnonzero((track.hours == hour) & (track.value == reading.value))
            if taken.size:
                rest = [calibration.unknowns.at_rest(shared, depth, *span) for depth in depths]
                then = told[:, :, track.span, track.at[taken[0]]]
                found.append(Drying(reading, depths, then, np.array(rest).T))
    return tuple(found)


def as_drained(calibration: Calibration, spot: int) -> list[tuple[Reading, float]]:
    """Tell what the readings of a spot would have been, had it been read drained [1].

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    spot : int
        Number of the spot.

    Returns
    -------
    list of (Reading, float)
        Each reading, and beside it the same with the median of what draws have the spot lost
        since, added.
    """
    draws = np.arange(calibration.draws)
    depth = calibration.own.depth[:, spot]
    values = []
    for each in dryings(calibration, spot):
        rod = each.reading.rod
        rest = calibration.unknowns.at_rest(calibration.shared, depth, 0.0, rod)
        lost = rest * (1.0 - each.share_left(draws, depth))
        values.append((each.reading, each.reading.value + float(np.median(lost))))
    return values
