"""What all columns of a run share: output times, what is kept, and how it is solved."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from numbers import Real
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.case import HeldSurface
from soilwater.runs.kinds import Cases
from soilwater.runs.layout import OF_A_MAT, REMEMBERED, SIMULATED, kept_names
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError
from soilwater.words.times import as_times, hours_between, stamp, to_timedeltas
from soilwater.words.units import number_to_house

COARSE_TOLERANCE, COARSE_MESH = 0.006, 0.6
"""Tolerance and refinement where thousands of columns are tried: readings are within 0.2 % by
volume of those of the usual ones, 0.03 % on average (tested)."""
MOST_OUTPUTS = 1_000_000
"""Most output times of a run: every hour of a century is 876 600."""


class Grown(Protocol):
    """A case, or as much of one as is known before it is run."""

    @property
    def profile(self) -> Profile | None:
        """Layers and base."""

    @property
    def turf(self) -> Turf | None:
        """What grows on them."""


@dataclass(frozen=True, eq=False)
class Settings:
    """What all cases of a batch share.

    Parameters
    ----------
    output_hours : ndarray, shape (n_times,)
        When results are wanted [h since start].
    times : ndarray of datetime64, shape (n_times,)
        The same as times.
    names : tuple of str
        Variables wanted.
    tolerance : float
        Local error in water content a step may make [1]: twice it at a node, two fifths of it in
        the mean from the surface to any depth.
    ponding_limit : float
        Depth of water the surface holds [cm].
    surface : HeldSurface or None
        In place of the weather.
    refinement : float
        Divides the distances between nodes [1].
    max_steps : int
        Steps after which a case gives up.
    """

    output_hours: NDArray[np.float64]
    times: NDArray[np.datetime64]
    names: tuple[str, ...]
    tolerance: float = 0.0015
    ponding_limit: float = 0.5
    surface: HeldSurface | None = None
    refinement: float = 1.0
    max_steps: int = 1_000_000

    def for_cases(self, cases: Sequence[Grown]) -> Settings:
        """Return the same settings, with what columns remember wanted where one remembers.

        Suctions at the nodes say what is held there, and where a run may go on from, only together
        with it.
        """
        wanted = dict.fromkeys(SIMULATED, False) | dict.fromkeys(self.names, True)
        nodes = "node_suction" in self.names
        if isinstance(cases, Cases):
            sand, cases = cases.remember, cases.kinds
        else:
            sand = any(each.profile is not None and each.profile.remembers for each in cases)
        turfs = [each.turf for each in cases if each.turf is not None]
        wanted |= dict.fromkeys(REMEMBERED, nodes and sand)
        wanted[OF_A_MAT] = nodes and any(turf.repellent_mat is not None for turf in turfs)
        return replace(self, names=tuple(name for name in SIMULATED if wanted[name]))


def output_hours(
    output: Any, weather: Weather
) -> tuple[NDArray[np.float64], NDArray[np.datetime64]]:
    """Hours since the start, and times, at which results are wanted.

    Parameters
    ----------
    output : float, str, Quantity or sequence of datetime64
        Interval [h], or the times themselves.
    weather : Weather
        Span of the run.

    Returns
    -------
    hours : ndarray, shape (n,)
        Hours since the start of the weather [h].
    times : ndarray of datetime64, shape (n,)
        The same as times.

    Raises
    ------
    InputError
        If the interval is not above 0, or times go backwards or leave the weather.
    """
    span = float(weather.hours[-1])
    if isinstance(output, str | float | int) or np.ndim(output) == 0:
        step = number_to_house(output, "duration", "output")
        if step <= 0.0:
            raise InputError(f"output: {step:g} h; allowed: above 0.")
        if span / step > MOST_OUTPUTS:
            raise InputError(
                f"output: an interval of {step:g} h makes {span / step:.3g} output times; allowed: "
                f"up to {MOST_OUTPUTS:,}; take an interval of {_readable(span / MOST_OUTPUTS)} or "
                "more."
            )
        count = int(np.floor(span / step + 1e-9))
        hours = step * np.arange(count + 1.0)
        if hours[-1] < span - 1e-9 * span:
            hours = np.append(hours, span)
        hours = np.minimum(hours, span)
        times = weather.start + to_timedeltas(hours)
        return hours.astype(np.float64), times
    if len(output) == 0:
        raise InputError("output: there are no times; allowed: at least one time, or an interval.")
    times = as_times(output, "output")
    hours = np.asarray(hours_between(weather.start, times), dtype=np.float64)
    faults = Faults("output")
    for time in times[~((hours >= 0.0) & (hours <= span))]:
        faults.add(
            f"{stamp(time)} lies outside the run",
            allowed=f"{stamp(weather.start)} to {stamp(weather.end)}",
        )
    for i in np.flatnonzero(np.diff(hours) <= 0.0)[:1].tolist():
        faults.add(
            f"time does not go forward: {stamp(times[i])} is followed by {stamp(times[i + 1])}",
            cure="sort the times and remove repeated ones",
        )
    faults.raise_if_any()
    return hours, times


def make_settings(
    weather: Weather,
    *,
    output: Any,
    keep: Iterable[str] | None,
    ponding_limit: Any,
    surface: HeldSurface | None,
    tolerance: Any,
    refinement: Any,
    max_steps: Any,
) -> Settings:
    """Check the arguments that all cases of a run share, and find its output times.

    Parameters
    ----------
    weather : Weather
        Of the first case.
    output, keep, ponding_limit, surface, tolerance, refinement, max_steps
        As `soilwater.simulate_many` takes them.

    Returns
    -------
    Settings
        In house units.

    Raises
    ------
    InputError
        With every fault.
    """
    faults = Faults("Settings")
    limit = 0.0
    with faults.catching():
        limit = number_to_house(ponding_limit, "length", "ponding_limit")
    if limit < 0.0:
        faults.add(f"ponding_limit is {limit:g} cm", allowed="0 or more")
    if not (_is_number(tolerance) and 0.0 < tolerance <= 0.1):
        faults.add(f"tolerance is {tolerance!r}", allowed="above 0, up to 0.1")
    if not (_is_number(refinement) and 0.0 < refinement < np.inf):
        faults.add(f"refinement is {refinement!r}", allowed="above 0")
    if _is_number(max_steps) and max_steps % 1 != 0:
        faults.add(f"max_steps is {max_steps!r}", allowed="a whole number")
    elif not (_is_number(max_steps) and max_steps >= 0):
        faults.add(f"max_steps is {max_steps!r}", allowed="0 or more")
    held: Any = surface
    if not isinstance(held, HeldSurface | None):
        faults.add(f"surface is {held!r}", allowed="HeldSurface(suction) or None")
    if surface is not None and np.any(weather.rain > 0.0):
        faults.add(
            "the surface is held and the weather brings rain",
            cure="use weather without rain under a held surface",
        )
    names: tuple[str, ...] = ()
    with faults.catching():
        names = kept_names(keep)
    faults.raise_if_any()
    hours, times = output_hours(output, weather)
    return Settings(
        hours, times, names, float(tolerance), limit, surface, float(refinement), int(max_steps)
    )


def _is_number(value: Any) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)


def _readable(hours: float) -> str:
    """Write a short interval so that it can be pasted, rounded up to two figures."""
    value, unit = (hours * 3600.0, "s") if hours < 0.1 else (hours, "h")
    scale = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return f'"{np.ceil(value / scale) * scale:g} {unit}"'
