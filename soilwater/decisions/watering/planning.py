"""One watering after the other, until a spot keeps its line or holds no more."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import run_columns
from soilwater.decisions.watering.refill import Refill
from soilwater.decisions.watering.trials import Trial
from soilwater.decisions.watering.visits import Visits
from soilwater.weather.irrigation import Event
from soilwater.words.arrays import FloatArray

LEAST_AMOUNT = 1.0
"""Less than this [mm] is not worth a walk (common practice, no source)."""
FINEST_AMOUNT = 0.5
"""Amounts are multiples of this [mm]: no hose gives it finer (common practice, no source)."""
WATERING_TIME = 0.25
"""Time over which the water of one visit falls in the simulation [h]: to and fro, not in one go."""


MAY_BE_FULL = 0.25
"""Share of the draws [1] that a visit may find full: what they cannot hold feeds the gravel. Nobody
waits for noon until the last of them has room, nor floods most for the driest (our own choice)."""
JUST_ABOVE = 0.003
"""A spot that reads less than so much above the line when drained [1] cannot be kept above it."""
EVERY = 5
"""The plan is begun on every fifth draw, in the order of how dry they get, where there are enough
of them: most of the way at a fifth of the work."""
_ENOUGH = 50


class Wish(NamedTuple):
    """What a plan is asked for.

    `line` the reading to stay above and `probability` the share of the draws that shall [1]; `most`
    water of a visit [mm]; `firm` the reading no visit lifts a spot above from `firm_by` on.
    """

    line: float
    probability: float
    most: float
    firm: float
    firm_by: np.datetime64

    @property
    def asked(self) -> float:
        """More than is promised [1]: the plan is checked on draws it has not seen."""
        return self.probability + 0.5 * (1.0 - self.probability)


def spots_in_need(trial: Trial, wish: Wish, visits: Visits, aside: Mapping[int, str]) -> list[int]:
    """Find spots of a trial that fall to the line of a wish without water.

    Parameters
    ----------
    trial : Trial
        Spots without water by hand.
    wish : Wish
        What is asked for.
    visits : Visits
        When the crew may water.
    aside : mapping of int to str
        Spots that are not watered by depth.
    """
    # A little more than the line, for what is lost between the depths of a grid.
    lowest = trial.reading[:, :, visits.first :].min(axis=2)
    needy = np.flatnonzero((lowest > wish.line + 0.002).mean(axis=1) < wish.asked)
    return [int(i) for i in needy if int(i) not in aside]


class _Tried(NamedTuple):
    """A spot as its plan stands in each draw over time: what it reads; what it could be given back.

    `first` is the number of the output time from which the line is to be kept, `room` the water it
    would hold more [mm], `drained` what it would read after that [1].
    """

    first: int
    reading: FloatArray
    room: FloatArray
    drained: FloatArray
    refill: Refill

    def enter(self, draws: NDArray[np.int64], reading: FloatArray, storage: FloatArray) -> None:
        """Take over what draws read and hold."""
        full, self.drained[draws] = self.refill.take(draws).again(storage)
        self.reading[draws], self.room[draws] = reading, full - storage

    def missed(self, line: float) -> NDArray[np.int64]:
        """Draws that fall to the line and could be kept above it."""
        low = self.reading[:, self.first :].min(axis=1) <= line
        return np.flatnonzero(low & self.can_stay(line))

    def can_stay(self, line: float) -> NDArray[np.bool_]:
        """Draws that water can keep above the line: those that start above it when drained."""
        above: NDArray[np.bool_] = self.drained[:, 0] > line + JUST_ABOVE
        return above

    def water(self, at: int, amount: float) -> None:
        """Take water out of the room after an output time, until the draws are run with it."""
        self.room[:, at + 1 :] -= amount


def planned(
    trial: Trial,
    numbers: Sequence[int],
    wish: Wish,
    visits: Visits,
    n_threads: int | None,
    progress: Callable[[int, int], object],
) -> tuple[dict[int, list[Event]], dict[int, FloatArray]]:
    """Plan spots, begun on a few draws and ended on all.

    Parameters
    ----------
    trial : Trial
        Spots without water by hand.
    numbers : sequence of int
        Those in need.
    wish : Wish
        What is asked for.
    visits : Visits
        When.
    n_threads : int or None
        Threads to use.
    progress : callable
        Is given the number of spots that are settled and of all.

    Returns
    -------
    plan : dict of int to list of Event
        Water of each spot.
    reading : dict of int to ndarray, shape (times,)
        Median readings with it [1].
    """
    plan: dict[int, list[Event]] = {i: [] for i in numbers}
    refills = {i: trial.refill(i) for i in numbers}
    if trial.draws >= _ENOUGH and numbers:
        dry_last = np.argsort(-trial.reading[numbers].min(axis=2).mean(axis=0))
        chosen = dry_last[EVERY // 2 :: EVERY]
        of_few = {i: each.take(chosen) for i, each in refills.items()}
        # What only many draws can ask for is left to them.
        few = trial.take(chosen)
        _add(plan, few, of_few, wish, wish.probability, visits, n_threads, lambda *_: None)
    return plan, _add(plan, trial, refills, wish, wish.asked, visits, n_threads, progress)


def _add(
    plan: dict[int, list[Event]],
    trial: Trial,
    refills: Mapping[int, Refill],
    wish: Wish,
    asked: float,
    visits: Visits,
    n_threads: int | None,
    progress: Callable[[int, int], object],
) -> dict[int, FloatArray]:
    """Add one watering after the other to each spot until it keeps the line, or holds no more.

    Draws that stay above the line stay above it with more water, and are not run again.
    """
    tried = {}
    for i, events in plan.items():
        first = visits.counted_from(trial.reading[i], wish.line, asked)
        blank = np.empty_like(trial.reading[i])
        tried[i] = _Tried(first, blank, blank.copy(), blank.copy(), refills[i])
        tried[i].enter(np.arange(trial.draws), trial.reading[i], trial.storage[i])
        for event in events:
            tried[i].water(int(visits.at[visits.time == event.time][0]), event.amount)
    _run_again(plan, [i for i in plan if plan[i]], tried, trial, wish.line, n_threads)
    waiting = list(plan)
    while waiting:
        changed = []
        for i in waiting:
            more = _more_visits(tried[i], plan[i], wish, asked, trial.rod, visits)
            if more is not None:
                plan[i] = more
                changed.append(i)
        _run_again(plan, changed, tried, trial, wish.line, n_threads)
        progress(len(plan) - len(changed), len(plan))
        waiting = changed
    return {i: np.median(each.reading, axis=0) for i, each in tried.items()}


def _run_again(
    plan: Mapping[int, Sequence[Event]],
    changed: Sequence[int],
    tried: Mapping[int, _Tried],
    trial: Trial,
    line: float,
    n_threads: int | None,
) -> None:
    """Run spots with their plans, in the draws that missed the line before."""
    again = [(i, tried[i].missed(line)) for i in changed]
    cases = [
        replace(trial.column(i, int(k)), irrigation=tuple(plan[i]))
        for i, draws in again
        for k in draws
    ]
    if not cases:
        return
    runs = run_columns(cases, trial.rod, n_threads=n_threads, coarse=True)
    row = 0
    for i, draws in again:
        rows = slice(row, row + draws.size)
        reading = runs.reading[rows] + trial.shift[i][draws, None]
        tried[i].enter(draws, reading, runs.storage[rows])
        row += draws.size


def _more_visits(
    tried: _Tried,
    events: Sequence[Event],
    wish: Wish,
    asked: float,
    rod: float,
    visits: Visits,
) -> list[Event] | None:
    """Water a spot once more, or more; None where it keeps the line, or holds no more."""
    line = wish.line
    # No water helps a draw that reads below the line when it is drained.
    can = tried.can_stay(line)
    dry = tried.missed(line)
    if can.mean() < 0.5 or not dry.size:
        return None
    kept = (tried.reading[can, tried.first :] > line).mean(axis=0)
    # Light and often: what the layer of the rods has lost, within what the spot can hold.
    lost = tried.drained[dry] - tried.reading[dry]
    light = 10.0 * rod * np.mean(lost, axis=0)
    room = np.quantile(tried.room, MAY_BE_FULL, axis=0)
    to_firm = 10.0 * rod * (wish.firm - np.quantile(tried.reading, wish.probability, axis=0))
    plan = {event.time: event for event in events}
    failing_at = tried.first + np.flatnonzero(kept < asked)
    if tried.first > visits.first and not plan:
        # Below the line already: nobody waits for the last visit that would do.
        failing_at = np.concatenate([[visits.first], failing_at])
    for failing in failing_at:
        for number in visits.before(int(failing)):
            at, time = int(visits.at[number]), visits.time[number]
            before = plan[time].amount if time in plan else 0.0
            most = min(wish.most, to_firm[at]) if time >= wish.firm_by else wish.most
            amount = _amount(before, float(light[at]), min(float(room[at + 1]) + before, most))
            if amount is not None:
                plan[time] = Event(time, amount, duration=WATERING_TIME, name="hand water")
                tried.water(at, amount - before)
                return sorted(plan.values(), key=lambda event: event.time)
    return None


def _amount(before: float, light: float, most: float) -> float | None:
    """Water of a visit [mm] that had some before; None where no more is worth it.

    A visit that was not enough is doubled up to the most it may be given.
    """
    asked = min(max(2.0 * before, light, LEAST_AMOUNT), most)
    amount = float(np.floor(asked / FINEST_AMOUNT + 0.5) * FINEST_AMOUNT)
    return amount if amount >= max(LEAST_AMOUNT, before + FINEST_AMOUNT) else None
