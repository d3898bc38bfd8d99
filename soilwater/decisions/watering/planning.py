"""One watering after the other, until a spot keeps its line or holds no more."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import OUTPUT_HOURS, packed_columns
from soilwater.decisions.watering.refill import Refill
from soilwater.decisions.watering.trials import Trial
from soilwater.decisions.watering.visits import Visits
from soilwater.runs.standing import Standing
from soilwater.weather.irrigation import Event
from soilwater.words.arrays import FloatArray

LEAST_AMOUNT = 1.0
"""Less than this [mm] is not worth a walk (common practice, no source)."""
FINEST_AMOUNT = 0.5
"""Amounts are multiples of this [mm]: no hose gives it finer (common practice, no source)."""
WATERING_TIME = 0.25
"""Time over which the water of one visit falls in the simulation [h]: to and fro, not in one go."""


MAY_BE_FULL = 0.25
"""Share of the draws [1] that a visit may find full, or make full for a later one: what they cannot
hold feeds the gravel. Our own choice, and one that matters little: between 0.1 and 0.4 a spot with
room is given the same, and one that is nearly too deep by 9 % more or less at most, for the same
share kept (nine spots of three sands; at 0.1 the crew comes twice as often at noon)."""
MOST = 0.9
"""Where the line is kept in no draw, the smallest amount is given that buys so much of the hours
above it that can be bought [1]; all of them where it is almost kept in as many as asked, and
between the two in between, so that amounts do not leap there (our own choice)."""
WORTH = 0.5
"""Where the line is not kept, a mm is to buy so much time above it [h], or no water is given: a
tenth of what a mm lasts on a day of 5 mm (our own choice)."""
MOSTLY = 0.5
"""Of what a visit adds, no more than so much may not be held [1] (our own choice)."""
LEFT = 0.4
"""Share of the water of a visit that the layer of the rods still has when the crew is back [1], as
long as nothing was tried. Twenty spots had 0.12 to 0.21, a calibrated green more: it is rather too
large, so that the first step does not bring too much (our own choice)."""
LEAST_LEFT = 0.1
"""That share is never taken for less: beyond that it is no visit that helps (our own choice)."""
JUST_ABOVE = 0.003
"""A spot that reads less than so much above the line when drained [1] cannot be kept above it."""


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


class Short(NamedTuple):
    """Why a spot does not keep its line: it holds too little, or else visits may give no more.

    All it can be given would be so much `more` [mm], and buy so many `hours` more above the line.
    """

    holds_too_little: bool
    more: float = 0.0
    hours: float = 0.0


class Settled(NamedTuple):
    """What came of planning spots, by their numbers.

    `events` is the water; `reading` the median readings with all that was tried [1]; `short` what
    there is to say of spots that do not keep the line.
    """

    events: dict[int, list[Event]]
    reading: dict[int, FloatArray]
    short: dict[int, Short]


class _Stage(NamedTuple):
    """A plan on its way: its events, and hours above the line it comes to [h]."""

    events: list[Event]
    hours: float

    @property
    def amount(self) -> float:
        return sum(event.amount for event in self.events)


class _Tried(NamedTuple):
    """A spot as its plan stands in each draw over time: what it reads; what it could be given back.

    `first` is the number of the output time from which the line is to be kept, `room` the water it
    would hold more [mm], `drained` what it would read after that [1], `lost` what has left it at
    the base by the end [mm], `left` the share of their last water that visits were seen to leave
    in the layer of the rods [1].
    """

    first: int
    reading: FloatArray
    room: FloatArray
    drained: FloatArray
    lost: FloatArray
    refill: Refill
    left: dict[int, float]

    @classmethod
    def of(cls, first: int, trial: Trial, spot: int, refill: Refill) -> _Tried:
        """Start with a spot of a trial that has no water by hand."""
        full, drained = refill.again(trial.storage[spot])
        room, lost = full - trial.storage[spot], trial.drainage[spot][:, -1].copy()
        return cls(first, trial.reading[spot].copy(), room, drained, lost, refill, {})

    def copy(self) -> _Tried:
        """Return the same, to come back to."""
        return self._replace(
            reading=self.reading.copy(),
            room=self.room.copy(),
            drained=self.drained.copy(),
            lost=self.lost.copy(),
        )

    def enter(
        self,
        draws: NDArray[np.int64],
        reading: FloatArray,
        storage: FloatArray,
        drainage: FloatArray,
    ) -> None:
        """Take over what draws read, hold and have lost."""
        full, self.drained[draws] = self.refill.take(draws).again(storage)
        self.reading[draws], self.room[draws] = reading, full - storage
        self.lost[draws] = drainage[:, -1]

    def wasted(self, before: _Tried, at: int, amount: float) -> float:
        """Share of an amount given after an output time that was not held [1].

        Of draws that were not run with it, what they had no room for.
        """
        lost = self.lost - before.lost
        no_room = np.clip(amount - before.room[:, at + 1 :].min(axis=1), 0.0, amount)
        return float(np.where(lost == 0.0, no_room, lost).mean()) / amount

    def missed(self, line: float) -> NDArray[np.int64]:
        """Draws that fall to the line and could be kept above it."""
        low = self.reading[:, self.first :].min(axis=1) <= line
        return np.flatnonzero(low & self.can_stay(line))

    def can_stay(self, line: float) -> NDArray[np.bool_]:
        """Draws that water can keep above the line: those that start above it when drained."""
        above: NDArray[np.bool_] = self.drained[:, 0] > line + JUST_ABOVE
        return above

    def least(self, line: float, asked: float) -> FloatArray:
        """Find what a share of those that can stay reads more than, over time [1]."""
        return smooth_quantile(self.reading[self.can_stay(line)], 1.0 - asked)

    def see(self, step: _Step, before: _Tried, line: float, asked: float, rod: float) -> None:
        """Note what a step has left in the layer of the rods at the time it was made for."""
        gain = self.least(line, asked)[step.until] - before.least(line, asked)[step.until]
        self.left[step.visit] = float(np.clip(10.0 * rod * gain / step.amount, LEAST_LEFT, 1.0))

    def failing(self, line: float, asked: float) -> NDArray[np.int64]:
        """Output times at which less than a share of those that can stay is above the line."""
        return self.first + np.flatnonzero(self.least(line, asked)[self.first :] <= line)

    def kept(self, line: float) -> float:
        """Share of the draws that stay above the line [1]."""
        return float(np.mean(self.reading[:, self.first :].min(axis=1) > line))

    def kept_at_last(self, line: float) -> float:
        """Share of the draws that are above the line all of the last day [1]."""
        return float(np.mean(self.reading[:, -round(24.0 / OUTPUT_HOURS) :].min(axis=1) > line))

    def stage(self, events: Sequence[Event], line: float) -> _Stage:
        """Say what a plan comes to, once its draws were run."""
        above = (self.reading > line).mean(axis=0)
        return _Stage(list(events), OUTPUT_HOURS * float(above.sum()))

    def full(self) -> FloatArray:
        """Water that a visit may bring at each output time [mm], so that none of it is lost.

        Nor any of the water that comes later, which it would push out.
        """
        least = np.minimum.accumulate(self.room[:, ::-1], axis=1)[:, ::-1]
        return smooth_quantile(least, MAY_BE_FULL)

    def most_at(self, wish: Wish, visits: Visits, rod: float) -> FloatArray:
        """Most water of each visit [mm]: from when it is to be firm on, none that makes it soft."""
        to_firm = 10.0 * rod * (wish.firm - smooth_quantile(self.reading, wish.probability))
        to_firm = to_firm[visits.at]
        return np.where(visits.time >= wish.firm_by, np.minimum(wish.most, to_firm), wish.most)

    def water(self, at: int, amount: float) -> None:
        """Take water out of the room after an output time, until the draws are run with it."""
        self.room[:, at + 1 :] -= amount


def smooth_quantile(values: FloatArray, share: float) -> FloatArray:
    """Find what a share of draws does not exceed, as all that are near it tell together.

    A mean of the ordered draws, weighed by a beta distribution (Harrell & Davis 1982, Biometrika
    69:635, from memory): it moves a little with each draw, where a single one leaps. Half a draw is
    added on either side (our own choice), as theirs lies too far out in a long tail: of a hundred,
    at a tenth, by 0.03 of a standard deviation where the logarithm is normal, and this by 0.01.

    Parameters
    ----------
    values : ndarray, shape (draws, ...)
        Of the draws.
    share : float
        Between 0 and 1.
    """
    found: FloatArray = np.tensordot(
        _weights(len(values), share), np.sort(values, axis=0), axes=(0, 0)
    )
    return found


@lru_cache(maxsize=256)
def _weights(draws: int, share: float) -> FloatArray:
    """Weights of draws in rising order by which their quantile is told."""
    from scipy.special import betainc

    ends = np.arange(draws + 1) / draws
    weights: FloatArray = np.diff(betainc(draws * share + 0.5, draws * (1.0 - share) + 0.5, ends))
    return weights


def planned(
    trial: Trial,
    numbers: Sequence[int],
    wish: Wish,
    visits: Visits,
    n_threads: int | None,
    progress: Callable[[int, int], object],
) -> Settled:
    """Plan spots.

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
    Settled
    """
    plan: dict[int, list[Event]] = {}
    stages: dict[int, list[_Stage]] = {}
    tried: dict[int, _Tried] = {}
    for spot in _each_spot(trial, numbers, visits, n_threads):
        i = spot.number
        stages[i] = []
        plan[i], tried[i] = _add(spot, stages[i], wish, visits)
        progress(len(plan), len(numbers))
    reading = {i: np.median(each.reading, axis=0) for i, each in tried.items()}
    short = {}
    for i, each in tried.items():
        hopeless = each.can_stay(wish.line).mean() < 0.5
        failing = hopeless or each.failing(wish.line, wish.asked).size
        if each.kept(wish.line) >= wish.probability or not failing:
            continue
        # One that starts below the line holds enough if it keeps it once it is wetted again.
        dry = float(np.median(trial.reading[i][:, visits.first])) <= wish.line
        dry &= each.kept_at_last(wish.line) >= wish.probability
        visits_limit = dry or _could_hold_more(each, plan[i], wish, visits, trial.rod)
        short[i] = Short(hopeless or not visits_limit)
        if short[i].holds_too_little:
            best = max(stages[i], key=lambda stage: stage.hours)
            near = 1.0 - (wish.probability - each.kept(wish.line)) / wish.probability
            least = _buys_most(stages[i], MOST + (1.0 - MOST) * near)
            plan[i] = least.events
            short[i] = Short(True, best.amount - least.amount, best.hours - least.hours)
    return Settled(plan, reading, short)


def _buys_most(stages: Sequence[_Stage], most: float) -> _Stage:
    """Choose, of plans that do not keep the line, the smallest that buys most of the hours."""
    bare = stages[0].hours
    worth = [each for each in stages if each.hours - bare >= WORTH * each.amount]
    best = max(stage.hours for stage in worth)
    enough = [stage for stage in worth if stage.hours >= bare + most * (best - bare)]
    return min(enough, key=lambda stage: stage.amount)


def _could_hold_more(
    tried: _Tried, events: Sequence[Event], wish: Wish, visits: Visits, rod: float
) -> bool:
    """Whether a spot that misses the line has room left, which no visit may fill."""
    dry = tried.missed(wish.line)
    if not dry.size:
        return False
    low = (tried.reading[dry, tried.first :] <= wish.line).any(axis=0)
    before = visits.before(tried.first + int(np.argmax(low)))
    given = {event.time: event.amount for event in events}
    room, most = tried.full(), tried.most_at(wish, visits, rod)
    return not before or any(
        room[visits.at[number] + 1] >= LEAST_AMOUNT
        and given.get(visits.time[number], 0.0) > most[number] - FINEST_AMOUNT
        for number in before
    )


def _each_spot(
    trial: Trial, numbers: Sequence[int], visits: Visits, n_threads: int | None
) -> Iterator[_Spot]:
    """Go through spots, so that where the columns of one stood on the way is let go with it."""
    if not numbers:
        return
    draws = np.arange(trial.draws)
    cases = [trial.column(i, k) for i in numbers for k in draws.tolist()]
    packed = packed_columns(cases, trial.rod)
    refills = trial.refills(numbers)
    for place, i in enumerate(numbers):
        standing = Standing.of(packed.part(place * draws.size + draws), visits.at.tolist())
        yield _Spot(trial, i, refills[i], standing, n_threads)


def _add(
    spot: _Spot,
    stages: list[_Stage],
    wish: Wish,
    visits: Visits,
) -> tuple[list[Event], _Tried]:
    """Add one watering after the other until a spot keeps the line, or holds no more.

    Draws that stay above the line stay above it with more water, and are not run again.
    """
    line, bare = wish.line, spot.trial.reading[spot.number]
    first = visits.counted_from(bare, line, wish.asked)
    tried = _Tried.of(first, spot.trial, spot.number, spot.refill)
    stages.append(tried.stage([], line))
    events: list[Event] = []
    closed: set[int] = set()
    while True:
        step = _next_step(tried, events, closed, wish, spot.trial.rod, visits)
        if step is None:
            return events, tried
        before = tried.copy()
        tried.water(step.at, step.amount)
        spot.water(tried, step.events, line)
        if tried.wasted(before, step.at, step.amount) > MOSTLY:
            closed.add(step.visit)
            tried = before
        else:
            events = step.events
            tried.see(step, before, line, wish.asked, spot.trial.rod)
            stages.append(tried.stage(events, line))


class _Spot(NamedTuple):
    """A spot of a trial, what it holds again, and its columns that stand."""

    trial: Trial
    number: int
    refill: Refill
    standing: Standing
    n_threads: int | None

    def water(self, tried: _Tried, events: Sequence[Event], line: float) -> None:
        """Run the draws that missed the line before with a plan."""
        again = tried.missed(line)
        if again.size:
            found = self.standing.water(again, events, self.n_threads)
            shift = self.trial.shift[self.number][again, None]
            tried.enter(again, found.reading + shift, found.storage, found.drainage)


class _Step(NamedTuple):
    """More water for a spot: at which visit, after which output time, how much [mm]; the plan.

    It is to help `until` an output time.
    """

    visit: int
    at: int
    until: int
    amount: float
    events: list[Event]


def _next_step(
    tried: _Tried,
    events: Sequence[Event],
    closed: Set[int],
    wish: Wish,
    rod: float,
    visits: Visits,
) -> _Step | None:
    """Water a spot once more, or more; None where it keeps the line, or holds no more."""
    line, asked = wish.line, wish.asked
    # No water helps a draw that reads below the line when it is drained.
    dry = tried.missed(line)
    if tried.can_stay(line).mean() < 0.5 or not dry.size:
        return None
    # Light and often: what keeps it above the line until the crew is back, if it can hold that.
    missing = 10.0 * rod * (line - tried.least(line, asked))
    room = tried.full()
    most = tried.most_at(wish, visits, rod)
    plan = {event.time: event for event in events}
    failing_at = tried.failing(line, asked)
    if tried.first > visits.first and not plan:
        # Below the line already: nobody waits for the last visit that would do.
        failing_at = np.concatenate([[visits.first], failing_at])
    for failing in failing_at:
        for number in visits.before(int(failing)):
            if number in closed:
                continue
            at, time = int(visits.at[number]), visits.time[number]
            before = plan[time].amount if time in plan else 0.0
            back = max(visits.back(number), int(failing))
            until = at + 1 + int(np.argmax(missing[at + 1 : back + 1]))
            # At other visits more may be left: one that brings too much is not taken back.
            guess = 0.5 * (LEFT + max(tried.left.values(), default=LEFT))
            more = float(missing[until]) / tried.left.get(number, guess)
            amount = _amount(before, more, min(float(room[at + 1]) + before, float(most[number])))
            if amount is not None:
                plan[time] = Event(time, amount, duration=WATERING_TIME, name="hand water")
                ordered = sorted(plan.values(), key=lambda event: event.time)
                return _Step(number, at, until, amount - before, ordered)
    return None


def _amount(before: float, more: float, most: float) -> float | None:
    """Water of a visit [mm] that had some before and wants more; None where no more is worth it."""
    asked = min(max(before + max(more, FINEST_AMOUNT), LEAST_AMOUNT), most)
    amount = float(np.floor(asked / FINEST_AMOUNT + 0.5) * FINEST_AMOUNT)
    return amount if amount >= max(LEAST_AMOUNT, before + FINEST_AMOUNT) else None
