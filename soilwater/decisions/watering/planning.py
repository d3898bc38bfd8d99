"""One watering after the other, until a spot keeps its line or holds no more."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.refill import Refill
from soilwater.decisions.watering.trials import Trial
from soilwater.decisions.watering.tried import NONE, Stage, Tried, smooth_quantile
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
MOST = 0.9
"""Where the line is kept in no draw, the smallest amount is given that buys so much of the hours
above it that can be bought [1]; all of them where it is almost kept in as many as asked, and
between the two in between, so that amounts do not leap there (our own choice)."""
WORTH = 0.5
"""Where the line is not kept, a mm is to buy so much time above it [h], or no water is given: a
tenth of what a mm lasts on a day of 5 mm (our own choice)."""
TOO_MUCH = 1.0
"""Water [mm] by which a first try of a visit may bring too much; beyond that it is tried again, now
that it is known what the visit leaves (our own choice)."""
MOSTLY = 0.5
"""Of what a visit adds, no more than so much may not be held [1] (our own choice)."""
LEFT = 0.25
"""Share of the water of a visit that the layer of the rods still has when the crew is back [1], as
long as nothing was tried at its hour. Twenty spots had 0.12 to 0.21, a calibrated green more (our
own choice)."""
LEAST_LEFT = 0.1
"""That share is never taken for less: beyond that it is no visit that helps (our own choice)."""
NEAR = 0.04
"""Draws that come so near to the line [1] are run too, though they need no water: the lowest tenth
lies among them, and room is told by three quarters of all. What is not run is taken to be drier and
to hold more than it does. Of 14 spots at 26 to 46 cm, drained or read, thirteen get within 2 % of
what they get where all draws are run, one 8 % less; at 0.02 one that is nearly too deep got a
seventh more, and all of that fed the gravel. From a calibration a plan takes an eighth longer than
at 0.02, and two tenths where all are run (our own choice)."""
SPARE = 2.0
"""Where a visit finds so much more room [mm] than its water takes, a day without water is told by
the driest draws, and others are taken to go on as these do. Where it has less, what wet draws hold
decides, and all are run: without that, three of twenty spots took a fifth more tries (our own
choice)."""


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
    needy = np.flatnonzero(smooth_quantile(lowest.T, 1.0 - wish.asked) <= wish.line + 0.002)
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
    stages: dict[int, list[Stage]] = {}
    tried: dict[int, Tried] = {}
    for spot in _each_spot(trial, numbers, visits, n_threads):
        i = spot.number
        stages[i] = []
        plan[i], tried[i] = _add(spot, stages[i], wish, visits)
        progress(len(plan), len(numbers))
    reading = {i: np.median(each.reading, axis=0) for i, each in tried.items()}
    short = {}
    for i, each in tried.items():
        can_stay = each.can_stay(wish.line).mean()
        hopeless = can_stay < 0.5
        # Where too few can stay above the line, all that can may be kept, and no water helps.
        too_few = hopeless or can_stay < wish.probability
        failing = too_few or each.failing(wish.line, wish.asked).size
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


def _buys_most(stages: Sequence[Stage], most: float) -> Stage:
    """Choose, of plans that do not keep the line, the smallest that buys most of the hours."""
    bare = stages[0].hours
    worth = [each for each in stages if each.hours - bare >= WORTH * each.amount]
    best = max(stage.hours for stage in worth)
    enough = [stage for stage in worth if stage.hours >= bare + most * (best - bare)]
    return min(enough, key=lambda stage: stage.amount)


def _could_hold_more(
    tried: Tried, events: Sequence[Event], wish: Wish, visits: Visits, rod: float
) -> bool:
    """Whether a spot that misses the line has room left, which no visit may fill."""
    dry = tried.missed(wish.line)
    if not dry.size:
        return False
    low = (tried.reading[dry, tried.first :] <= wish.line).any(axis=0)
    before = visits.before(tried.first + int(np.argmax(low)))
    given = {event.time: event.amount for event in events}
    room, most = tried.full(), _most_at(tried, wish, visits, rod)
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
    draws, packed = np.arange(trial.draws), trial.packed(numbers)
    refills = trial.refills(numbers, packed.meshes)
    for place, i in enumerate(numbers):
        standing = Standing.of(packed.part(place * draws.size + draws), visits.at.tolist())
        yield _Spot(trial, i, refills[i], standing, n_threads)


def _add(
    spot: _Spot,
    stages: list[Stage],
    wish: Wish,
    visits: Visits,
) -> tuple[list[Event], Tried]:
    """Add one watering after the other until a spot keeps the line, or holds no more.

    Draws that stay above the line stay above it with more water, and are not run again. The rest
    are run as far as the next decision looks, with what it gives, and those that tell of it before
    it too; and to the end where nothing more is to be given. Where a spot is to be firm, wet draws
    decide too.
    """
    line, asked, rod = wish.line, wish.asked, spot.trial.rod
    near = NEAR if np.isnat(wish.firm_by) else np.inf
    bare = spot.trial.reading[spot.number]
    tried = Tried.of(visits.counted_from(bare, line, asked), spot.trial, spot.number, spot.refill)
    stages.append(tried.stage([], line))
    events: list[Event] = []
    closed: set[int] = set()
    left: dict[int, list[tuple[float, float]]] = {}
    while True:
        step = _next_step(tried, events, closed, left, wish, rod, visits)
        by = bare.shape[1] - 1 if step is None else max(step.back, tried.first)
        missed = tried.missed(line, by, near)
        behind = missed[(tried.known if step is None else tried.told)[missed] < by]
        if behind.size:
            roomy = step is not None and step.spare >= SPARE and np.isnat(wish.firm_by)
            leads = tried.leading(behind, line, asked, by) | (not roomy)
            spot.run(tried, behind[leads], events, visits.reaching(by), behind[~leads])
            continue
        if step is None:
            # The last stage was told when its draws were run a day or two beyond its last visit.
            stages[-1] = tried.stage(events, line)
            return events, tried
        before = tried.copy()
        tried.water(step.at, step.amount)
        spot.run(tried, missed, step.events, visits.reaching(by), NONE)
        reached = tried.least(line, asked)[step.until]
        gained = 10.0 * rod * float(reached - before.least(line, asked)[step.until])
        too_much = float(reached - line) > TOO_MUCH * gained / (10.0 * rod * step.amount)
        if too_much and step.amount > LEAST_AMOUNT and step.visit not in left:
            # Now it is known what the visit leaves.
            left[step.visit] = [(gained, step.amount)]
            tried = before
            continue
        if tried.wasted(before, step.amount) > MOSTLY:
            closed.add(step.visit)
            tried = before
            continue
        events = step.events
        left.setdefault(step.visit, []).append((gained, step.amount))
        stages.append(tried.stage(events, line))


class _Spot(NamedTuple):
    """A spot of a trial, what it holds again, and its columns that stand."""

    trial: Trial
    number: int
    refill: Refill
    standing: Standing
    n_threads: int | None

    def run(
        self,
        tried: Tried,
        draws: NDArray[np.int64],
        events: Sequence[Event],
        until: int | None,
        others: NDArray[np.int64],
    ) -> None:
        """Run draws with a plan until an output time, or to the end; others go as they do."""
        found = self.standing.water(draws, events, self.n_threads, until=until)
        shift = self.trial.shift[self.number][draws, None]
        until = found.reading.shape[1] - 1 if until is None else until
        tried.enter(draws, found._replace(reading=found.reading + shift), until, others)


class _Step(NamedTuple):
    """More water for a spot: at which visit, after which output time, how much [mm]; the plan.

    It is to help `until` an output time, and is chosen by what is read until the crew is `back`;
    `spare` is the room that it leaves [mm].
    """

    visit: int
    at: int
    until: int
    back: int
    amount: float
    events: list[Event]
    spare: float


def _next_step(
    tried: Tried,
    events: Sequence[Event],
    closed: Set[int],
    left: Mapping[int, Sequence[tuple[float, float]]],
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
    most = _most_at(tried, wish, visits, rod)
    plan = {event.time: event for event in events}
    failing_at = tried.failing(line, asked)
    if tried.first > visits.first and not plan:
        # Below the line already: nobody waits for the last visit that would do.
        failing_at = np.concatenate([[visits.first], failing_at])
    for failing in failing_at:
        walk: _Step | None = None
        for number in visits.before(int(failing)):
            if number in closed:
                continue
            at, time = int(visits.at[number]), visits.time[number]
            before = plan[time].amount if time in plan else 0.0
            back = min(max(visits.back(number), int(failing)), missing.size - 1)
            until = at + 1 + int(np.argmax(missing[at + 1 : back + 1]))
            more = float(missing[until]) / _left_by(number, left, visits)
            amount = _amount(before, more, min(float(room[at + 1]) + before, float(most[number])))
            if amount is None or (walk is not None and not 0.0 < before >= amount - LEAST_AMOUNT):
                continue
            event = Event(time, amount, duration=WATERING_TIME, name="hand water")
            ordered = sorted({**plan, time: event}.values(), key=lambda event: event.time)
            spare = float(room[at + 1]) + before - amount
            step = _Step(number, at, until, back, amount - before, ordered, spare)
            if walk is not None or before or more >= LEAST_AMOUNT:
                return step
            # For less than is worth a walk nobody comes once more, where a visit that is made
            # anyhow can bring it.
            walk = step
        if walk is not None:
            return walk
    return None


def _left_by(
    number: int, left: Mapping[int, Sequence[tuple[float, float]]], visits: Visits
) -> float:
    """Share of its water that a visit is taken to leave [1]: of the last that it was given.

    As long as it has none, of all that the last visit at its hour was given: what is left of the
    first water of a visit is less, what it adds to what is there already is more.
    """
    tried = left[number][-1:] if number in left else ()
    if not tried:
        alike = [visit for visit in left if visits.hour[visit] == visits.hour[number]]
        tried = left[max(alike)] if alike else ()
    given = sum(amount for _, amount in tried)
    share = sum(gain for gain, _ in tried) / given if tried else LEFT
    return float(np.clip(share, LEAST_LEFT, 1.0))


def _most_at(tried: Tried, wish: Wish, visits: Visits, rod: float) -> FloatArray:
    """Most water of each visit [mm]: from when it is to be firm on, none that makes it soft."""
    to_firm = 10.0 * rod * (wish.firm - smooth_quantile(tried.reading, wish.probability))
    to_firm = to_firm[visits.at]
    return np.where(visits.time >= wish.firm_by, np.minimum(wish.most, to_firm), wish.most)


def _amount(before: float, more: float, most: float) -> float | None:
    """Water of a visit [mm] that had some before and wants more; None where no more is worth it."""
    asked = max(before + max(more, FINEST_AMOUNT), LEAST_AMOUNT)
    # What is asked for is rounded up, as less would have to be tried again with more; the most is
    # rounded down, as what is beyond feeds the gravel, or is more than a visit may bring.
    fine = min(np.ceil(asked / FINEST_AMOUNT - 1e-6), np.floor(most / FINEST_AMOUNT + 1e-6))
    amount = FINEST_AMOUNT * float(fine)
    return amount if amount >= max(LEAST_AMOUNT, before + FINEST_AMOUNT) else None
