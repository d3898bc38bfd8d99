"""Readings that a survey holds twice: pushes of the meter that agree, or lines pasted again.

Who pushes a meter three times at a spot may read one number twice. That is expected as often as
the spread of such pushes and the last figure of the meter have it, and no more often.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations
from math import comb, pi, sqrt

import numpy as np

from soilwater.survey.survey import Reading, Spot
from soilwater.words.times import stamp

PUSHES_STRAY = 0.015
"""Standard deviation of pushes of a meter side by side [1], where none are seen to differ (common
practice, no source)."""
BY_CHANCE = 0.001
"""Agreement that chance gives less often than this [1] is asked about (our own choice)."""

_MIDDLE = 0.954
"""Median distance of two draws of a normal distribution, in standard deviations."""
_TELL_STEP = 6
"""Different readings that tell by what steps a meter counts."""
_FEW = 5
"""Readings that are told one by one."""


def repeats_of(spots: Sequence[Spot]) -> dict[str, tuple[int, ...]]:
    """Find readings that are told twice, more often than pushes of a meter agree by chance.

    Parameters
    ----------
    spots : sequence of Spot
        Of one survey.

    Returns
    -------
    dict of str to tuple of int
        By the name of the spot, the places of readings that repeat one before them.
    """
    visits = [
        (spot, places) for spot in spots for places in _visits(spot).values() if len(places) > 1
    ]
    values = [[spot.readings[i].value for i in places] for spot, places in visits]
    from scipy.special import gammainc

    again = [sum(comb(each.count(value), 2) for value in set(each)) for each in values]
    if not sum(again):
        return {}
    chance = _agree_by_chance([value for spot in spots for value in _read(spot)], values)
    pairs = sum(comb(len(each), 2) for each in values)
    # Where no two pushes differ, nothing says that there were any.
    too_many = sum(again) == pairs or bool(gammainc(sum(again), chance * pairs) < BY_CHANCE)
    halves = [_half_said_again(each) for each in values]
    if all(halves):
        too_many = too_many or chance ** sum(halves) < BY_CHANCE
    found: dict[str, list[int]] = {}
    for (spot, places), each, half in zip(visits, values, halves, strict=True):
        if too_many or (half and chance**half < BY_CHANCE):
            repeats = [i for k, i in enumerate(places) if each[k] in each[:k]]
            found.setdefault(spot.name, []).extend(repeats)
    return {name: tuple(sorted(places)) for name, places in found.items() if places}


def told_of_repeats(spots: Sequence[Spot]) -> str:
    """Tell of readings that a survey holds twice; nothing where it holds none."""
    named = {spot.name: spot for spot in spots}
    told = [
        f"{name} {100 * reading.value:.1f} %{_when(reading)}"
        for name, places in repeats_of(spots).items()
        for reading in (named[name].readings[i] for i in places)
    ]
    if not told:
        return ""
    more = f" and {len(told) - _FEW} more" if len(told) > _FEW else ""
    visits = (
        {spot.readings[i].value for i in places}
        for spot in spots
        for places in _visits(spot).values()
    )
    differ = any(len(values) > 1 for values in visits)
    why = "more often than pushes of a meter agree by chance" if differ else "and no two differ"
    return f"told twice, {why}: {', '.join(told[:_FEW])}{more}"


def repeats_caution(spots: Sequence[Spot]) -> tuple[str, ...]:
    """Caution that such readings count twice; none where there are none."""
    told = told_of_repeats(spots)
    cure = "; they count as two: take out what was written down twice"
    return (told + cure,) if told else ()


def without_repeats(spots: Sequence[Spot]) -> tuple[Spot, ...]:
    """Give spots with each reading that was told twice once."""
    gone = repeats_of(spots)
    return tuple(
        replace(
            spot,
            readings=tuple(
                each for i, each in enumerate(spot.readings) if i not in gone.get(spot.name, ())
            ),
        )
        for spot in spots
    )


def _visits(spot: Spot) -> dict[object, list[int]]:
    """Places of the readings of a spot that differ in nothing but their value."""
    found: dict[object, list[int]] = {}
    for i, each in enumerate(spot.readings):
        if not each.doubt:
            key = (each.rod, each.time, each.meter, each.added_error)
            found.setdefault(key, []).append(i)
    return found


def _read(spot: Spot) -> Iterable[float]:
    return (each.value for each in spot.usable_readings)


def _half_said_again(values: Sequence[float]) -> int:
    """Length of the first half of some values, where the second says them again; 0 otherwise."""
    half, odd = divmod(len(values), 2)
    return half if not odd and values[:half] == values[half:] else 0


def _agree_by_chance(every: Sequence[float], values: Sequence[Sequence[float]]) -> float:
    """Probability that two pushes show one number: the last figure over how far they stray."""
    digits = next((n for n in (2, 3, 4) if np.allclose(every, np.round(every, n), atol=1e-9)), 5)
    # A meter may count by fives or twos of its last figure, or in per cent of a pore space; of a
    # few readings all may be even by chance.
    shown = np.unique(np.round(np.multiply(every, 10.0**digits)).astype(int))
    step = int(np.gcd.reduce(shown)) if shown.size >= _TELL_STEP else 1
    free = sum(len(each) - 1 for each in values)
    squares = sum(len(each) * float(np.var(each)) for each in values)
    apart = [abs(a - b) for each in values for a, b in combinations(each, 2) if a != b]
    # Where a few pushes go far astray, the others agree as often as they would without these.
    spread = min(sqrt(squares / free), float(np.median(apart)) / _MIDDLE) if apart else PUSHES_STRAY
    return min(1.0, step * 10.0**-digits / (2.0 * sqrt(pi) * spread))


def _when(reading: Reading) -> str:
    return "" if reading.time is None else f" at {stamp(reading.time)}"
