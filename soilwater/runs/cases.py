"""What is to be run: a column with its weather, and the settings that cases share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.results import GEOMETRY, SIMULATED, kept_names
from soilwater.weather.irrigation import Event
from soilwater.weather.rules import Rule
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError
from soilwater.words.times import as_times, hours_between, stamp, to_timedelta
from soilwater.words.units import number_to_house


@dataclass(frozen=True)
class HeldSurface:
    """A surface kept at a suction, as under a tension disc, or under a pond kept at a depth.

    Parameters
    ----------
    suction : float, str or Quantity
        Suction at the surface [cm]; negative for the depth of a pond.

    Raises
    ------
    InputError
        If it is not a suction.
    """

    suction: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "suction", number_to_house(self.suction, "suction", "suction"))


@dataclass(frozen=True, eq=False)
class Case:
    """One column to simulate.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    weather : Weather
        Rain and demand; its span is the span of the run.
    turf : Turf, optional
        Roots and demand; without it nothing is taken up and nothing evaporates.
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        Water at the start. "soaked": saturated to the surface; "drained": at rest after
        drainage; a number or text with a unit: one suction [cm] everywhere; a DataArray over
        ``depth`` named ``suction`` [cm] or ``water_content`` [1]; an earlier result: its end.
    irrigation : sequence of Event, optional
        Water applied.
    rules : sequence of Rule, optional
        Irrigation decided within the run.

    Raises
    ------
    InputError
        With every argument of the wrong kind.
    """

    profile: Profile
    weather: Weather
    turf: Turf | None = field(default=None, kw_only=True)
    start: Any = field(default="soaked", kw_only=True)
    irrigation: Sequence[Event] = field(default=(), kw_only=True)
    rules: Sequence[Rule] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("Case")
        single: tuple[tuple[str, Any, type], ...] = (
            ("profile", self.profile, Profile),
            ("weather", self.weather, Weather),
        )
        for name, value, kind in single:
            if not isinstance(value, kind):
                faults.add(f"{name} is a {type(value).__name__}", allowed=kind.__name__)
        turf: Any = self.turf
        if not isinstance(turf, Turf | None):
            faults.add(f"turf is a {type(turf).__name__}", allowed="Turf or None")
        several: tuple[tuple[str, Sequence[Any], type], ...] = (
            ("irrigation", self.irrigation, Event),
            ("rules", self.rules, Rule),
        )
        for name, values, kind in several:
            for i, each in enumerate(values):
                if not isinstance(each, kind):
                    faults.add(f"{each!r} is no {kind.__name__}", where=f"{name}, position {i}")
        faults.raise_if_any()


@dataclass(frozen=True, eq=False)
class Settings:
    """What all cases of a batch share.

    Parameters
    ----------
    output_hours : ndarray, shape (n_times,)
        When results are wanted [h since start].
    names : tuple of str
        Variables wanted.
    tolerance : float
        Largest local error in water content a step may make [1].
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
    names: tuple[str, ...]
    tolerance: float = 0.003
    ponding_limit: float = 0.5
    surface: HeldSurface | None = None
    refinement: float = 1.0
    max_steps: int = 1_000_000


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
        count = int(np.floor(span / step + 1e-9))
        hours = step * np.arange(count + 1.0)
        if hours[-1] < span - 1e-9 * span:
            hours = np.append(hours, span)
        hours = np.minimum(hours, span)
        times = weather.start + np.array([to_timedelta(float(h)) for h in hours])
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
    output: Any,
    keep: Iterable[str] | None,
    ponding_limit: Any,
    surface: HeldSurface | None,
    tolerance: float,
    refinement: float,
    max_steps: int,
) -> tuple[Settings, NDArray[np.datetime64]]:
    """Check the arguments that all cases of a run share, and find its output times.

    Parameters
    ----------
    weather : Weather
        Of the first case.
    output, keep, ponding_limit, surface, tolerance, refinement, max_steps
        As `soilwater.simulate_many` takes them.

    Returns
    -------
    settings : Settings
        In house units.
    times : ndarray of datetime64, shape (n_times,)
        Output times.

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
    if not 0.0 < tolerance <= 0.1:
        faults.add(f"tolerance is {tolerance!r}", allowed="above 0, up to 0.1")
    if not refinement > 0.0:
        faults.add(f"refinement is {refinement!r}", allowed="above 0")
    if not max_steps >= 0:
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
    settings = Settings(
        hours, names, float(tolerance), limit, surface, float(refinement), max_steps
    )
    return settings, times


def arrange_cases(
    cases: Iterable[Any], dimension: str, labels: Sequence[Any] | None
) -> tuple[xr.DataArray, list[Outline]]:
    """Bring cases, however they were given, into an array with named dimensions.

    Parameters
    ----------
    cases : iterable or array
        Of Case; a DataArray is returned as it is, lazy or not.
    dimension : str
        Name of the dimension of cases without one of their own.
    labels : sequence or None
        Coordinate of that dimension; 0, 1, 2, ... when None.

    Returns
    -------
    array : DataArray of object
        The cases.
    outlines : list of Outline
        What has to be known of each before it is run; for this, lazy cases are made.

    Raises
    ------
    InputError
        With every fault of the cases, or if a name is taken or missing.
    """
    if isinstance(cases, xr.DataArray):
        if dimension != "case" or labels is not None or cases.ndim == 0:
            raise InputError(
                f"cases: a DataArray brings its own dimensions, here {cases.dims}; leave dimension "
                "and labels out, and change them with rename, assign_coords or expand_dims."
            )
        for name, each in cases.indexes.items():
            if each.nlevels > 1:
                raise InputError(
                    f'cases: dimension "{name}" is stacked from {list(each.names)}, which no file '
                    f'can hold; give cases.unstack("{name}"), or cases.reset_index("{name}").'
                )
        array = cases
    elif isinstance(cases, Case):
        raise InputError(
            "cases: one Case; allowed: several, as [case], or simulate for one column."
        )
    elif getattr(cases, "ndim", 1) != 1:
        raise InputError(
            "cases: the dimensions of the array have no names; allowed: a list, or "
            'DataArray(cases, dims=("spot", "member")).'
        )
    else:
        data = cases if is_lazy(cases) else np.fromiter(cases, dtype=object)
        array = xr.DataArray(data, dims=(dimension,))
    outlines = xr.apply_ufunc(
        _outlines, array.drop_vars(array.coords), dask="parallelized", output_dtypes=[object]
    )
    listed = outlines.values.ravel().tolist()
    check_cases(listed, labels)
    if not isinstance(cases, xr.DataArray):
        along = range(array.size) if labels is None else list(labels)
        array = array.assign_coords({dimension: along})
    for name in (*array.dims, *array.coords):
        if name in (*SIMULATED, *GEOMETRY, "time", "profile", "cell", "node", "bound"):
            raise InputError(
                f'dimension: "{name}" is taken by the results themselves; allowed: another name, '
                'such as "case", "member" or "spot".'
            )
    # numpy's texts of fixed length have no settled zarr form.
    texts = {
        name: each.astype(object) for name, each in array.coords.items() if each.dtype.kind == "U"
    }
    return array.assign_coords(texts), listed


def own_coords(array: xr.DataArray) -> dict[str, xr.DataArray]:
    """Coordinates of an array of cases that say more than the labels of its dimensions."""
    return {
        str(name): each
        for name, each in array.coords.items()
        if each.attrs or name not in array.dims
    }


def _outlines(cases: NDArray[Any]) -> NDArray[Any]:
    outlines = np.empty(cases.shape, dtype=object)
    for place in np.ndindex(cases.shape):
        outlines[place] = outline(cases[place])
    return outlines


def is_lazy(array: Any) -> bool:
    """Whether an array is chunked with dask."""
    return getattr(array, "chunks", None) is not None


class Outline(NamedTuple):
    """What has to be known of a case before it is run."""

    kind: str
    profile: Profile | None
    span: str


def outline(case: Any) -> Outline:
    """Outline of a case, or of what was given in its place."""
    if not isinstance(case, Case):
        return Outline(type(case).__name__, None, "")
    span = f"{stamp(case.weather.start)} to {stamp(case.weather.end)}"
    return Outline("Case", case.profile, span)


def check_cases(outlines: Sequence[Outline], labels: Sequence[Any] | None) -> None:
    """Refuse an empty list, what is no case, different spans and labels that do not fit.

    Parameters
    ----------
    outlines : sequence of Outline
        One a case.
    labels : sequence or None
        One a case.

    Raises
    ------
    InputError
        With every fault.
    """
    faults = Faults("Cases")
    if not outlines:
        faults.add("there are none", allowed="at least one Case")
    span = ""
    for i, (kind, profile, own) in enumerate(outlines):
        if profile is None:
            faults.add(
                f"{kind} is no Case",
                where=f"position {i}",
                cure="write Case(profile, weather, ...)",
            )
            continue
        span = span or own
        if own != span:
            faults.add(
                f"its weather spans {own}",
                where=f"position {i}",
                allowed=f"{span}, as the first case",
                cure="cut it with Weather.between",
            )
    if labels is not None and len(labels) != len(outlines):
        faults.add(f"{len(labels)} labels for {len(outlines)} cases", allowed="one label a case")
    for i, label in enumerate(() if labels is None else labels):
        if np.ndim(label) > 0:
            faults.add(
                f"{label!r} is no single label",
                where=f"labels, position {i}",
                cure="give one number, time or text a case, or a DataArray with coordinates",
            )
    faults.raise_if_any()
