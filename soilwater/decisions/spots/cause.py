"""What a cause of a reading is: its range, what it does to a level spot, and its words."""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from soilwater.decisions.spots.states import (
    USUAL_CATCH,
    USUAL_MAT,
    USUAL_SLOPE,
    Draw,
    Even,
    Lognormal,
    Prior,
    Spread,
    State,
    may_be_wrong,
)
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray
from soilwater.words.quantities import in_one_unit, one_writing
from soilwater.words.unit_choice import units_in_use

QUICK_DROP = Lognormal(1.5, 1.0)
"""Drop time [s] on sand that takes water; slow ones are those above 5 to 10 s (a drop-test note and
common practice)."""
ANY_DROP, ANY_SLOPE, ANY_MAT = Lognormal(8.0, 2.0), Lognormal(0.02, 1.0), Lognormal(1.2, 1.0)
ANY_CATCH = Even(0.2, 1.4, 0.1)
"""What is measured wrongly: drop time [s], slope [1], mat [cm] and catch over that of the green [1]
(our own choice)."""
LEAST_DROP, LEAST_SLOPE, LEAST_MAT = 0.3, 0.001, 0.1
"""Least drop time [s], slope [1] and mat [cm] that can be told from none."""

DEPTH_OR_METER = "its own depth or the meter"
DRIER, WETTER = "drier for another reason", "wetter for another reason"
NONE_OF_THESE = "none of these"
GROUPS = (DEPTH_OR_METER, DRIER, WETTER, NONE_OF_THESE)
"""What a reading can tell at once, before it tells one cause from another."""

_ANY = (-np.inf, np.inf)


def told_measure(ends: tuple[float, float], quantity: str) -> str:
    """Write the two ends of a range of a quantity with one unit: ``"3 to 25 cm"``."""
    writing = one_writing(quantity)
    return f"{told_range((writing.of(ends[0]), writing.of(ends[1])))} {writing.unit}"


def told_range(ends: tuple[float, float], times: float = 1.0) -> str:
    """Write the two ends of a range, times a factor, as its cause says it."""
    return f"{times * ends[0]:.3g} to {times * ends[1]:.3g}"


_METRIC = re.compile(r"\{[^}]*\} (?:cm|mm)")


@dataclass(frozen=True)
class Cause(ABC):
    """A cause of a reading: its range, what it does, what else it shows, and its words.

    Attributes
    ----------
    name : str
        Short name, as in tables.
    label : str
        In words.
    prior : float
        Share of the spots of a green expected to have it [1] (a judgement, no source).
    size_text : str
        Sentence for the size a reading needs, with ``{}`` for the number.
    size_quantity : str
        What the size measures, where its unit is a choice; empty where it is not.
    drop_time, slope, mat_thickness, catch : Spread
        Drop time [s], slope [1], thickness of the mat [cm] and catch over that of the green [1]
        where it acts.
    group : str
        What a reading tells of at once: one of `GROUPS`.
    outlet_slow : float
        Chance that the drain outlet then runs slowly [1] (common practice, no source).
    scatter : float
        How far readings of different rods may stray under it, beyond the errors [1].
    patches : float
        How far readings side by side stray under it, beyond the errors, where rods meet wet and
        dry patches [1]: at every second spot (no source).
    """

    name: str
    label: str
    prior: float
    size_text: str
    size_quantity: str = ""
    drop_time: Spread = QUICK_DROP
    slope: Spread = USUAL_SLOPE
    mat_thickness: Spread = USUAL_MAT
    catch: Spread = USUAL_CATCH
    group: str = DRIER
    outlet_slow: float = 0.1
    scatter: float = 0.0
    patches: float = 0.0

    def groups(self, state: State) -> dict[str, float]:
        """Shares of the groups [1] that states under this cause fall into."""
        return {self.group: 1.0}

    @property
    def credible(self) -> tuple[float, float]:
        """Sizes held credible, in the unit of the size."""
        return _ANY

    @property
    @abstractmethod
    def range_text(self) -> str:
        """The sizes held credible, in words."""

    @abstractmethod
    def draw(self, draw: Draw) -> State:
        """States of a spot under this cause, from the draw of a level one."""

    def log_density(self, spot: Spot, prior: Prior) -> float:
        """Logarithm of the density of what else was measured at a spot, under a prior."""
        total = 0.0
        for value, least, spread, wrong in (
            (spot.drop_time, LEAST_DROP, self.drop_time, ANY_DROP),
            (spot.slope, LEAST_SLOPE, self.slope, ANY_SLOPE),
            (spot.mat_thickness, LEAST_MAT, self.mat_thickness, ANY_MAT),
            (prior.catch(spot), 0.0, self.catch, ANY_CATCH),
        ):
            if value is not None:
                at = np.array(max(value, least))
                total += float(may_be_wrong(spread.log_density(at), wrong.log_density(at)))
        return total

    @abstractmethod
    def needed_size(
        self, level: State, reading: float, reads: Callable[[State], FloatArray]
    ) -> float:
        """Size that turns a level spot into one that gives a reading; NaN where none does.

        Parameters
        ----------
        level : State
            The level spot, of one entry.
        reading : float
            The reading wanted [1].
        reads : callable
            What a state reads [1].
        """

    def contradicted(self, spot: Spot, prior: Prior) -> str:
        """Say what was measured at the spot that, under the prior, speaks clearly against it."""
        return ""

    def in_fresh_holes(self, state: State) -> State:
        """State that is left where the rods are pushed in anew."""
        return state

    def half_a_day_on(self, state: State, base: float) -> State:
        """State that is left after half a day more of draining over a base suction [cm]."""
        return state

    def sentence(self, size: float, fits: bool, contradicted: str) -> str:
        """Tell the size a reading needs, and whether it fits or is contradicted."""
        if not np.isfinite(size) and fits:
            return "a small size of it lies within the errors"
        if not np.isfinite(size):
            return f"no size of it gives this reading (credible: {self.range_text})"
        told = self._told_size(size)
        if contradicted:
            return f"{told}, {contradicted}"
        if not fits:
            return f"{told}: not credible ({self.range_text})"
        low, high = self.credible
        if not low <= size <= high:
            return f"{told}: outside the usual range, but within the errors"
        return told

    def _told_size(self, size: float) -> str:
        if self.size_quantity and units_in_use() == "US":
            return _METRIC.sub(in_one_unit(size, self.size_quantity), self.size_text)
        return self.size_text.format(size)
