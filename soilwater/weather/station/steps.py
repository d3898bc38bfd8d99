"""Rows of a station file on one regular step: repeats, order, and the grid they lie on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.words.errors import Faults
from soilwater.words.stamps import daylight_saving_hint, is_changeover
from soilwater.words.times import hours_between, stamp

_LINES_SHOWN = 3
_LINES_LISTED = 20


def shuffled(time: NDArray[np.datetime64]) -> NDArray[np.int64] | None:
    """Order in which stamps are a regular row without a gap; None if none is.

    Parameters
    ----------
    time : array of datetime64, shape (n,)
        Stamps in the order of the file.
    """
    steps = np.diff(np.sort(time))
    regular = steps.size > 0 and steps[0] > np.timedelta64(0) and bool(np.all(steps == steps[0]))
    return np.argsort(time) if regular and np.any(np.diff(time) < steps[0]) else None


def _runs_to_noon_twice(time: NDArray[np.datetime64]) -> bool:
    """Whether stamps go back by half a day, and none lies after the hour from noon."""
    hours = (time - time.astype("datetime64[D]")) / np.timedelta64(1, "h")
    back = np.diff(time) / np.timedelta64(1, "h")
    back = back[back < 0.0]
    halves = (back > -12.0) & (back <= -10.0)
    return bool(hours.max() < 13.0 and back.size > 1 and np.mean(halves) > 0.8)


def drop_repeats(
    time: NDArray[np.datetime64],
    rows: NDArray[np.float64],
    lines: NDArray[np.int64],
    utc_offset: float | None,
    subject: str,
) -> tuple[NDArray[np.bool_], list[str]]:
    """Drop rows that say the same twice; refuse stamps that say two things or go backwards.

    Parameters
    ----------
    time : array of datetime64, shape (n,)
        Stamps in the order of the file.
    rows : array, shape (quantities, n)
        Values at the stamps.
    lines : array of int, shape (n,)
        Line of each stamp.
    utc_offset : float or None
        Local standard time minus UTC [h], where it is known.
    subject : str
        The file, for messages.

    Returns
    -------
    keep : array of bool, shape (n,)
        Rows to keep.
    notes : list of str
        What was dropped.

    Raises
    ------
    InputError
        Naming every pair of lines; a night whose hour comes twice is asked about also where both
        rows are equal, because every stamp before it would stay an hour off.
    """
    faults = Faults(subject)
    keep = np.ones(time.size, dtype=bool)
    hint = daylight_saving_hint(time, utc_offset)
    back = np.flatnonzero(np.diff(time) < np.timedelta64(0))
    if back.size and _runs_to_noon_twice(time):
        faults.add(
            f"times run from 1 to 12 and again from 1 to 12, first in line {lines[back[0] + 1]}: a "
            "clock of 12 hours whose am and pm are lost",
            cure='write times with am and pm, "1:00 pm", or as 13:00',
        )
        raise faults.as_error()
    for i in np.flatnonzero(np.diff(time) <= np.timedelta64(0)):
        equal = np.array_equal(rows[:, i], rows[:, i + 1], equal_nan=True)
        if time[i] == time[i + 1] and equal and hint and is_changeover(time[i]):
            faults.add(
                f"lines {lines[i]} and {lines[i + 1]} are equal and carry the same stamp "
                f"{stamp(time[i])}, which may be the hour that autumn has twice, or one row "
                f"written twice",
                cure=f"{hint}; or leave one out with leave_out=({lines[i + 1]},)",
            )
        elif time[i] == time[i + 1] and equal:
            keep[i + 1] = False
        elif time[i] == time[i + 1]:
            faults.add(
                f"lines {lines[i]} and {lines[i + 1]} carry the same stamp {stamp(time[i])} with "
                f"different values",
                cure=hint
                or f"delete the wrong one, or say leave_out=({lines[i]},) or "
                f"leave_out=({lines[i + 1]},)",
            )
        else:
            faults.add(
                f"time goes back from {stamp(time[i])} to {stamp(time[i + 1])}",
                where=f"line {lines[i + 1]}",
                cure=hint or f"leave the row out with leave_out=({lines[i + 1]},)",
            )
    faults.raise_if_any()
    dropped = np.flatnonzero(~keep)
    if not dropped.size:
        return keep, []
    shown = ", ".join(f"line {lines[i]} ({stamp(time[i])})" for i in dropped[:_LINES_SHOWN]) + (
        ", ..." if dropped.size > _LINES_SHOWN else ""
    )
    return keep, [f"{dropped.size} repeated rows dropped", f"repeated: {shown}"]


def on_grid(
    time: NDArray[np.datetime64], lines: NDArray[np.int64], subject: str
) -> tuple[NDArray[np.int64], np.timedelta64]:
    """Place of each row on a regular grid, and its step: the commonest one.

    Parameters
    ----------
    time : array of datetime64, shape (n,)
        Stamps, going forward.
    lines : array of int, shape (n,)
        Line of each stamp.
    subject : str
        The file, for messages.

    Returns
    -------
    place : array of int, shape (n,)
        Steps since the first stamp.
    step : timedelta64
        Length of a step.

    Raises
    ------
    InputError
        Naming every stamp that is on no step.
    """
    faults = Faults(subject)
    if time.size < 2:
        faults.add(f"{time.size} rows", allowed="2 or more, to know the step")
        faults.raise_if_any()
    steps, counts = np.unique(np.diff(time), return_counts=True)
    step = steps[np.argmax(counts)]
    off = np.flatnonzero((time - time[0]) % step != np.timedelta64(0))
    for i in off:
        faults.add(
            f"{stamp(time[i])} is not on the step of {hours_between(time[0], time[0] + step):g} h "
            f"that starts at {stamp(time[0])}",
            where=f"line {lines[i]}",
            cure=f"leave them out with leave_out=({', '.join(str(lines[j]) for j in off)},)"
            if off.size <= _LINES_LISTED
            else "bring the stamps to one step",
        )
    faults.raise_if_any()
    return np.asarray((time - time[0]) // step, dtype=np.int64), step
