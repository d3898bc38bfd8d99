"""A spot as its plan stands in each draw: what it reads and holds, as far as that is known.

A draw is run no further than the next decision needs. Beyond, it reads what it did with the water
of before, which is less, and is taken to hold on to all it was given since, which is more.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import OUTPUT_HOURS
from soilwater.decisions.watering.refill import Refill
from soilwater.decisions.watering.trials import Trial
from soilwater.runs.standing import Watered
from soilwater.weather.irrigation import Event
from soilwater.words.arrays import FloatArray

MAY_BE_FULL = 0.25
"""Share of the draws [1] that a visit may find full, or make full for a later one: what they cannot
hold feeds the gravel. Our own choice, and one that matters little: between 0.1 and 0.4 a spot with
room is given the same, and one that is nearly too deep by 9 % more or less at most, for the same
share kept (nine spots of three sands; at 0.1 the crew comes twice as often at noon)."""
_WIDTH = 0.7
"""Normal scores about a share in which draws tell most of what it is: of a tenth from 0.02 to 0.28.
Of 150 draws picked among 2000 the tenth lowest reading errs by 0.06 % by volume, by 0.09 % where a
mean of the few next to it tells it (Harrell & Davis); half a score wider it errs as much, and more
where a tail is long (four sands; our own choice)."""
_WIDTHS = 1.5
"""So many widths above a share lie the last draws that are run to tell of it: of a tenth, two draws
of five, which have 86 % of the weight (our own choice)."""
_FEWEST = 20
"""Draws that tell at the least how others go on (our own choice)."""
_ALIKE = 1e-9
"""Sum of squares [1] below which draws read the same."""
_APART = 2.0
"""Standard errors of a counted share: what is told lies within the draws so far from it. Where they
fall in two heaps, of two sands, no parabola tells what lies between (our own choice)."""
_PICKED = 0.5
"""Standard error of a share that is counted over draws picked to stand for all, over what chance
gives (measured; `plan_words.margin`)."""
_BESIDE = 0.25
"""Standard deviations of the draws: only such as lie so near to a line may be told to lie on its
other side. Where it runs between two heaps, of two sands, the share above is that which is counted
(our own choice)."""
JUST_ABOVE = 0.003
"""A spot that reads less than so much above the line when drained [1] cannot be kept above it."""
NONE = np.empty(0, dtype=np.int64)


class Stage(NamedTuple):
    """A plan on its way: its events, and hours above the line it comes to [h].

    At least these, but for the last: draws were not run with it beyond the decision that came next.
    """

    events: list[Event]
    hours: float

    @property
    def amount(self) -> float:
        """Water of all its events [mm]."""
        return sum(event.amount for event in self.events)


class Tried(NamedTuple):
    """A spot as its plan stands, shape (draws, times) but where something else is said.

    `first` is the number of the output time from which the line is to be kept, `reading` what the
    spot reads [1], `storage` what it holds and `room` what it would hold more [mm], `drained` what
    it would read after that [1], `lost` what has left it at the base [mm], and `known` the number
    of the output time until which a draw was run with the plan, shape (draws,); `told` that until
    which it was, or others that were tell what it does.
    """

    first: int
    reading: FloatArray
    storage: FloatArray
    room: FloatArray
    drained: FloatArray
    lost: FloatArray
    known: NDArray[np.int64]
    told: NDArray[np.int64]
    refill: Refill

    @classmethod
    def of(cls, first: int, trial: Trial, spot: int, refill: Refill) -> Tried:
        """Start with a spot of a trial that has no water by hand.

        Its line counts from the output time `first` on; `refill` says what it holds again.
        """
        reading, storage = trial.reading[spot].copy(), trial.storage[spot].copy()
        full, drained = refill.again(storage)
        known = np.full(len(reading), reading.shape[1] - 1)
        lost = trial.drainage[spot].copy()
        room = full - storage
        return cls(first, reading, storage, room, drained, lost, known, known.copy(), refill)

    def copy(self) -> Tried:
        """Return the same, to come back to."""
        parts = self._asdict()
        same = {name: parts.pop(name) for name in ("first", "refill")}
        return Tried(**same, **{name: part.copy() for name, part in parts.items()})

    def water(self, at: int, amount: float) -> None:
        """Give all draws an `amount` [mm] after an output time `at`, until they are run with it."""
        self.storage[:, at + 1 :] += amount
        self.room[:, at + 1 :] -= amount
        for each in (self.known, self.told):
            np.minimum(each, at, out=each)

    def enter(
        self,
        draws: NDArray[np.int64],
        found: Watered,
        until: int,
        others: NDArray[np.int64] = NONE,
    ) -> None:
        """Take over what was `found` of draws `until` a time; what they gained there stays.

        Of `others`, which were told of as far as these, it is taken that they go on as these do,
        straight with what each reads there.
        """
        came = int(self.told[others].min(initial=until))
        upto, since, beyond = slice(until + 1), slice(came, until + 1), slice(until + 1, None)
        of_these = found.reading[:, came] - found.reading[:, came].mean()
        of_others = self.reading[others, came] - found.reading[:, came].mean()
        slope = of_these / max(float(np.sum(of_these**2)), _ALIKE)
        every = np.concatenate([draws, others])
        for own, new in (
            (self.reading, found.reading),
            (self.storage, found.storage),
            (self.lost, found.drainage),
        ):
            before = own[every, until]
            change = new[:, since] - new[:, came, None]
            typical = change.mean(axis=0) + np.outer(of_others, slope @ change)
            own[others, since] = own[others, came, None] + typical
            own[draws, upto] = new[:, upto]
            if own is not self.reading:
                own[every, beyond] += (own[every, until] - before)[:, None]
        storage = self.storage[every]
        full, self.drained[every] = self.refill.take(every).again(storage)
        self.room[every], self.known[draws], self.told[every] = full - storage, until, until

    def wasted(self, before: Tried, amount: float) -> float:
        """Share of an amount that is not held [1]: what has drained, and what there is no room for.

        There need be none before a draw was run, as water that drains is on its way still.
        """
        ahead = np.arange(self.room.shape[1]) > self.told[:, None]
        lost = self.lost[:, -1] - before.lost[:, -1]
        for each, sign in ((self, 1.0), (before, -1.0)):
            least = np.where(ahead, each.room, np.inf).min(axis=1)
            lost += sign * np.maximum(-least, 0.0)
        return float(lost.mean()) / amount

    def missed(self, line: float, by: int | None = None, near: float = 0.0) -> NDArray[np.int64]:
        """Draws that fall to the line by an output time, or ever, and could be kept above it.

        And those that come so `near` to it [1].
        """
        until = None if by is None else by + 1
        low = self.reading[:, self.first : until].min(axis=1) <= line + near
        return np.flatnonzero(low & self.can_stay(line))

    def leading(
        self, draws: NDArray[np.int64], line: float, asked: float, by: int
    ) -> NDArray[np.bool_]:
        """Say which of some draws have to be run to tell what the share `asked` reads more than.

        They are those that come near it `by` an output time, of what can stay above the `line`,
        and those told of less far than the others; where these are few, all.
        """
        low = self.reading[:, self.first : by + 1].min(axis=1)
        most = np.quantile(low[self.can_stay(line)], _telling_share(1.0 - asked))
        told = self.told[draws]
        leads: NDArray[np.bool_] = (low[draws] <= most) | (told < told.max())
        return leads | (np.count_nonzero(leads) < _FEWEST)

    def can_stay(self, line: float) -> NDArray[np.bool_]:
        """Draws that water can keep above the line: those that start above it when drained."""
        above: NDArray[np.bool_] = self.drained[:, 0] > line + JUST_ABOVE
        return above

    def least(self, line: float, asked: float) -> FloatArray:
        """Find what the share `asked` of those that can stay above a line reads more than [1].

        Parameters
        ----------
        line : float
            The line [1].
        asked : float
            The share [1].

        Returns
        -------
        ndarray, shape (times,)
        """
        return smooth_quantile(self.reading[self.can_stay(line)], 1.0 - asked)

    def failing(self, line: float, asked: float) -> NDArray[np.int64]:
        """Output times at which less than the share `asked` that can stay is above a line."""
        return self.first + np.flatnonzero(self.least(line, asked)[self.first :] <= line)

    def kept(self, line: float) -> float:
        """Share of the draws that stay above the line [1]."""
        return float(np.mean(self.reading[:, self.first :].min(axis=1) > line))

    def kept_at_last(self, line: float) -> float:
        """Share of the draws that are above the line all of the last day [1]."""
        return float(np.mean(self.reading[:, -round(24.0 / OUTPUT_HOURS) :].min(axis=1) > line))

    def stage(self, events: Sequence[Event], line: float) -> Stage:
        """Say what a plan of `events` comes to above a line, once its draws were run."""
        above = (self.reading > line).mean(axis=0)
        return Stage(list(events), OUTPUT_HOURS * float(above.sum()))

    def full(self) -> FloatArray:
        """Water that a visit may bring at each output time [mm], so that none of it is lost.

        Nor any of the water that comes later, which it would push out.
        """
        least = np.minimum.accumulate(self.room[:, ::-1], axis=1)[:, ::-1]
        return smooth_quantile(least, MAY_BE_FULL)


def smooth_quantile(values: FloatArray, share: float) -> FloatArray:
    """Find what a share of draws does not exceed, as all that are near it tell together.

    Read off a parabola through the ordered draws over their normal scores, in which those near the
    share count most (local regression; Cleveland 1979, Journal of the American Statistical
    Association 74:829, from memory). It hardly moves with one draw, and of draws picked to stand
    for thousands it is more certain than of others: these are alike in the large, not next to a
    share. It lies within the draws that are two standard errors of a counted share from it.

    Parameters
    ----------
    values : ndarray, shape (draws, ...)
        Of the draws.
    share : float
        Between 0 and 1.
    """
    ordered, draws = np.sort(values, axis=0), len(values)
    told = np.tensordot(_weights(draws, share), ordered, axes=(0, 0))
    error = _APART * np.sqrt(draws * share * (1.0 - share))
    low = max(int(np.floor(draws * share - error)), 0)
    high = min(int(np.ceil(draws * share + error)), draws) - 1
    found: FloatArray = np.clip(told, ordered[low], ordered[high])
    return found


def smooth_share(values: FloatArray, line: float) -> float:
    """Find what share of draws lies above a line, as all that are near it tell together.

    The share whose `smooth_quantile` is the line, no further from that which is counted than the
    standard error of the latter, and than draws beside the line allow. Of 150 draws picked among
    2000 it errs by 0.008 where a count errs by 0.014 (24 seeds, 8 to 20 % below the line, twelve
    courses of six spots, watered and not).

    Parameters
    ----------
    values : ndarray, shape (draws,)
        Of the draws.
    line : float
        In their units.

    Returns
    -------
    float
        Share [1]; none and all are counted.
    """
    above, draws = float(np.mean(values > line)), len(values)
    if above in (0.0, 1.0):
        return above
    error = _PICKED * np.sqrt(above * (1.0 - above) / draws)
    # Only ranks between which the answer lies.
    lowest, highest = draws * (1.0 - above - error), draws * (1.0 - above + error)
    ranks = np.arange(max(int(lowest) - 1, 0), min(int(highest) + 2, draws))
    shares, ordered = (ranks + 0.5) / draws, np.sort(values)
    told = np.maximum.accumulate([_weights(draws, each) @ ordered for each in shares.tolist()])
    below = float(np.interp(line, told, shares))
    near = _BESIDE * float(np.std(values))
    least, most = (float(np.mean(values > line + off)) for off in (near, -near))
    return float(np.clip(1.0 - below, max(above - error, least), min(above + error, most)))


@lru_cache(maxsize=256)
def _telling_share(share: float) -> float:
    """Tell below which share of the draws nearly all lie that tell of one [1]."""
    from scipy.special import ndtr, ndtri

    return float(ndtr(ndtri(share) + _WIDTHS * _WIDTH))


@lru_cache(maxsize=256)
def _weights(draws: int, share: float) -> FloatArray:
    """Weights of draws in rising order by which their quantile is told."""
    from scipy.special import ndtri

    score = ndtri((np.arange(draws) + 0.5) / draws)
    # Nothing is told beyond the lowest and the highest.
    off = score - np.clip(ndtri(share), score[0], score[-1])
    near = np.exp(-0.5 * (off / _WIDTH) ** 2)
    terms = np.vander(off, min(3, draws), increasing=True)
    weights: FloatArray = np.linalg.solve(terms.T @ (near[:, None] * terms), terms.T * near)[0]
    return weights
