"""Cases, however they were given, as a batch with named dimensions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.case import Case
from soilwater.runs.kinds import Cases
from soilwater.runs.layout import GEOMETRY, SIMULATED, Axes
from soilwater.runs.settings import Settings
from soilwater.words.errors import Faults, InputError
from soilwater.words.times import stamp


@dataclass(frozen=True, eq=False)
class Batch:
    """Columns to be run together, and how they are labelled.

    Parameters
    ----------
    cases : Cases
        Checked, over one common span.
    axes : mapping of str to sequence
        Dimensions of the batch and their labels; as many cases as their product.
    settings : Settings
        What the cases share.
    coordinates : mapping of str to DataArray
        Coordinates the person gave the batch; they keep their own attributes.
    """

    cases: Cases
    axes: Axes
    settings: Settings
    coordinates: Mapping[str, xr.DataArray] = field(default_factory=dict)


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
        other = dimension != "case" and cases.dims != (dimension,)
        if other or labels is not None or cases.ndim == 0:
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
    elif not isinstance(cases, Iterable):
        raise InputError(f"cases: {cases!r}; allowed: several Case, such as [Case(...)].")
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
    turf: Turf | None
    span: str


def outline(case: Any) -> Outline:
    """Outline of a case, or of what was given in its place."""
    if not isinstance(case, Case):
        return Outline(type(case).__name__, None, None, "")
    span = _span(case.weather.start, case.weather.end)
    return Outline("Case", case.profile, case.turf, span)


@lru_cache(maxsize=128)
def _span(start: np.datetime64, end: np.datetime64) -> str:
    return f"{stamp(start)} to {stamp(end)}"


def check_cases(outlines: Sequence[Outline], labels: Any) -> None:
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
    for i, (kind, profile, _, own) in enumerate(outlines):
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
    if labels is not None and (isinstance(labels, str) or not hasattr(labels, "__len__")):
        faults.add(f"labels is {labels!r}", allowed="a list with one label a case")
        raise faults.as_error()
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
