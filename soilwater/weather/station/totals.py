"""Running totals: told from amounts per step, and taken apart.

A gauge that counts up gives a column that never comes back to nothing, or comes back at one time of
the day only. Rain of a step does come back: after every shower.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from soilwater.words.errors import Faults

_DAY = np.timedelta64(1, "D")
# No rain goes on for a day without once falling off, by the hour (common practice, no source).
_LONGEST_RISE_HOURS = 24.0
# And hardly a week of days does.
_LONGEST_RISE_DAYS = 7


def differences(
    column: NDArray[np.float64], quantity: str, time: NDArray[np.datetime64]
) -> tuple[NDArray[np.float64], list[str]]:
    """Take a running total apart into the amounts of its steps.

    Parameters
    ----------
    column : array, shape (n,)
        The counter, NaN where missing.
    quantity : str
        What it counts.
    time : array of datetime64, shape (n,)
        Stamps of the steps.

    Returns
    -------
    amounts : array, shape (n,)
        After a reset the counter itself is the amount; NaN where it is not known.
    notes : list of str
        What was found.
    """
    known = np.flatnonzero(~np.isnan(column))
    amounts = np.full(column.size, np.nan)
    if not known.size:
        return amounts, []
    counter = column[known]
    step = np.diff(counter)
    # A counter that comes down a little was not reset: its bucket dried, or its sensor trembled.
    reset = counter[1:] <= 0.5 * counter[:-1]
    dips = (step < 0.0) & ~reset
    reset &= step < 0.0
    highest = counter.copy()
    bounds = [0, *(np.flatnonzero(reset) + 1), counter.size]
    for first, last in itertools.pairwise(bounds):
        highest[first:last] = np.maximum.accumulate(counter[first:last])
    rise = np.diff(highest)
    reset |= _daily_resets(reset, highest, time[known])
    found = np.where(reset, counter[1:], rise)
    for place, before, amount in zip(known[1:], known[:-1], found, strict=True):
        if place == before + 1:
            amounts[place] = amount
        elif amount == 0.0:
            # The counter stood still over the gap: nothing fell in any of its steps.
            amounts[before + 1 : place + 1] = 0.0
    # Before the first row nothing is known, unless the counter starts at nothing.
    if known[0] == 0 and counter[0] == 0.0:
        amounts[0] = 0.0
    notes = [f"{quantity}: differences of a running total, {int(reset.sum())} resets"]
    if dips.any():
        notes.append(f"{quantity}: {int(dips.sum())} small falls of the counter taken as no change")
    return amounts, notes


def _daily_resets(
    reset: NDArray[np.bool_], counter: NDArray[np.float64], time: NDArray[np.datetime64]
) -> NDArray[np.bool_]:
    """Where a counter reset once a day was reset although it does not come down.

    Rain of the hour after the reset can be more than all of the day before.
    """
    clock = (time[1:] - time[1:].astype("datetime64[D]")).astype("timedelta64[m]")
    hours = np.unique(clock[reset])
    none = np.zeros(reset.size, dtype=bool)
    if reset.sum() < 2 or hours.size != 1:
        return none
    there = (clock == hours[0]) & (counter[:-1] > 0.0)
    # A counter that stood still there went on without a reset: then it is not reset every day.
    if np.any(there & ~reset & (counter[1:] == counter[:-1])):
        return none
    return np.asarray(there)


def suspect_running_total(
    column: NDArray[np.float64],
    quantity: str,
    time: NDArray[np.datetime64],
    hours: float,
    highest: float,
    faults: Faults,
) -> None:
    """Ask about amounts that climb and do not come down as amounts do.

    Parameters
    ----------
    column : array, shape (n,)
        Amounts of the steps as read.
    quantity : str
        What they are of.
    time : array of datetime64, shape (n,)
        Stamps of the steps.
    hours : float
        Length of a step [h].
    highest : float
        Largest amount possible in a step.
    faults : Faults
        Takes the question.
    """
    there = ~np.isnan(column)
    known, when = column[there], time[there]
    climbs, falls = int((np.diff(known) > 0.0).sum()), int((np.diff(known) < 0.0).sum())
    why = ""
    # Rain falls back to nothing after every shower; anything else may well climb for a week, but
    # not beyond what is possible.
    too_much = quantity == "rain" or known.max(initial=0.0) > highest
    if climbs >= 6 and falls <= 0.2 * climbs and too_much:
        why = f"climbs {climbs} times and falls {falls} times"
    elif quantity == "rain" and known.size:
        why = _why_a_total(known, when, hours)
    if why:
        rest, _ = differences(column, quantity, time)
        cure = f'say cumulative=("{quantity}",)'
        if quantity == "rain":
            most = float(np.ceil(known.max()))
            cure += f', or ranges={{"rain": (0, {most:g})}} if these are amounts of each step'
        else:
            cure += ", or give amounts per step"
        faults.add(
            f"{quantity} {why}: it looks like a running total; read as amounts it is "
            f"{known.sum():.1f} in all, as a total {np.nansum(rest):.1f}",
            cure=cure,
        )


def _why_a_total(rain: NDArray[np.float64], time: NDArray[np.datetime64], hours: float) -> str:
    """Say what in a column of rain only a running total does, or nothing."""
    wet = rain > 0.0
    fell = np.concatenate([[False], np.diff(rain) < 0.0])
    held = np.concatenate([[False], np.diff(rain) == 0.0]) & wet
    # Stretches of wet steps in which nothing comes down.
    begins = wet & (np.concatenate([[True], ~wet[:-1]]) | fell)
    number = np.cumsum(begins) * wet
    lengths = np.bincount(number)[1:]
    if not lengths.size:
        return ""
    longest = int(lengths.max())
    if hours >= 24.0:
        at_end = int(lengths[-1]) if wet[-1] else 0
        if not fell.any() and at_end >= 4 and held.sum() >= 0.5 * (wet.sum() - 1):
            return f"stays at what it was or climbs for {at_end} days and never falls"
        if longest >= _LONGEST_RISE_DAYS and held.sum() >= 0.4 * wet.sum():
            return f"does not fall for {longest} days on end"
        return ""
    if longest * hours >= _LONGEST_RISE_HOURS:
        return f"does not fall for {longest * hours:g} hours on end, nor return to 0"
    if not fell.any() and longest * hours >= 0.5 * _LONGEST_RISE_HOURS:
        return "never returns to 0 once it has rained"
    clock = (time - time.astype("datetime64[D]")).astype("timedelta64[m]")
    finest = rain[wet].min()
    # Equal hours of drizzle are ordinary; equal hours of real rain are not.
    standing = held & (rain >= max(1.0, 3.0 * finest))
    if (
        fell.any()
        and np.unique(clock[fell]).size == 1
        and standing.sum() >= 3
        and held.sum() >= 0.5 * wet.sum()
    ):
        at = int(clock[fell][0] / np.timedelta64(1, "m"))
        return (
            f"stands still for hours at what it was and falls only at {at // 60:02d}:{at % 60:02d}"
        )
    return ""
