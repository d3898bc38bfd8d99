"""The table of every variable a Dataset of this package may hold, and how it is labelled.

One word for one idea: name, unit, sign and meaning are decided here and nowhere else. Units are
spelled the UDUNITS way. Standard names are those of the CF standard name table (version 93, 2026),
used only where the table has the same idea in the same dimension: amounts of water are kept in mm,
so names defined in kg m-2 are left out. Amounts are sums over the interval they belong to in
weather, and sums since the start of the run in results.
"""

from __future__ import annotations

import re
from collections.abc import Hashable
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import xarray as xr

from soilwater.words.errors import Status


@dataclass(frozen=True)
class Variable:
    """One row of the vocabulary.

    Attributes
    ----------
    name : str
        Name in Datasets.
    units : str or None
        UDUNITS spelling, ``"1"`` for pure numbers; None for texts and for times, whose units xarray
        writes itself.
    long_name : str
        What it is, for axis labels and people.
    standard_name : str or None
        CF standard name, where one exists.
    positive : {"down", "up", None}
        Direction of a vertical coordinate.
    valid_range : tuple of float or None
        Smallest and largest possible value; None for an open end.
    cell_methods : str or None
        How the values stand for their interval, in CF spelling.
    """

    name: str
    units: str | None
    long_name: str
    standard_name: str | None = None
    positive: str | None = None
    valid_range: tuple[float | None, float | None] | None = None
    cell_methods: str | None = None


_SUM = "time: sum"
_POINT = "time: point"
_FRACTION = (0.0, 1.0)
_NOT_NEGATIVE = (0.0, None)
_STATUS_CODES = ", ".join(f"{status.value} {status.name.lower()}" for status in Status)

_ROWS = (
    # Coordinates and labels.
    Variable("time", None, "time"),
    Variable("time_bounds", None, "start and end of the interval"),
    Variable("depth", "cm", "depth below the turf surface", "depth", positive="down"),
    # CF: bounds take the units of the coordinate they bound; files drop them here.
    Variable("depth_bounds", None, "top and bottom depth of the cell"),
    Variable("node_depth", "cm", "depth of the node below the turf surface", "depth", "down"),
    Variable("layer", None, "name of the layer"),
    Variable("root_zone_depth", "cm", "thickness of the root zone", valid_range=_NOT_NEGATIVE),
    Variable("rod_length", "cm", "length of the meter's rods", valid_range=_NOT_NEGATIVE),
    Variable("case", None, "case"),
    Variable("member", None, "weather member"),
    Variable("sample", None, "sample of the soil parameters"),
    Variable("spot", None, "spot on the ground"),
    Variable("patch", None, "part of repellent ground"),
    Variable("area_share", "1", "share of the area", valid_range=_FRACTION),
    Variable("profile", None, "layers and base condition as JSON"),
    # Ground that is not level.
    Variable("distance", "cm", "distance along the line"),
    Variable("link", "cm", "distance along the line of the face between two columns"),
    Variable("surface_level", "cm", "level of the turf surface", positive="up"),
    Variable("floor_level", "cm", "level of the base", positive="up"),
    Variable("node_elevation", "cm", "level of the node", positive="up"),
    Variable("plan_area", "m2", "plan area", valid_range=_NOT_NEGATIVE),
    Variable(
        "lateral_flow",
        "cm2 h-1",
        "flow sideways per width since the output before (positive along the line)",
        cell_methods="time: mean",
    ),
    Variable("lateral_inflow", "mm", "water that came from neighbours sideways", cell_methods=_SUM),
    # Water in the profile.
    Variable(
        "water_content",
        "1",
        "water content by volume",
        "volume_fraction_of_condensed_water_in_soil",
        valid_range=_FRACTION,
        cell_methods="time: point depth: mean",
    ),
    Variable("suction", "cm", "suction (positive when dry)", cell_methods=_POINT),
    Variable("node_suction", "cm", "suction at the node (positive when dry)", cell_methods=_POINT),
    Variable(
        "drying_suction",
        "cm",
        "suction at which draining sand holds the same water (positive when dry)",
        cell_methods=_POINT,
    ),
    Variable("turning_suction", "cm", "suctions at which the node turned, at the end of the run"),
    Variable(
        "repellent_mat_wet_for",
        "h",
        "how long a mat that refuses water has been wet, at the end of the run",
        valid_range=_NOT_NEGATIVE,
    ),
    Variable("base_suction", "cm", "suction at the base (positive when dry)", cell_methods=_POINT),
    Variable(
        "surface_suction",
        "cm",
        "suction at the surface (positive when dry)",
        None,
        None,
        None,
        _POINT,
    ),
    Variable(
        "air_filled_porosity",
        "1",
        "air-filled porosity",
        valid_range=_FRACTION,
        cell_methods="time: point depth: mean",
    ),
    Variable(
        "degree_of_saturation",
        "1",
        "share of the pores that is filled with water",
        "volume_fraction_of_condensed_water_in_soil_pores",
        valid_range=_FRACTION,
        cell_methods=_POINT,
    ),
    Variable("effective_saturation", "1", "effective saturation", valid_range=_FRACTION),
    Variable("capacity", "cm-1", "water capacity (loss of water content per suction)"),
    Variable("conductivity", "cm h-1", "hydraulic conductivity", valid_range=_NOT_NEGATIVE),
    Variable("water_table_depth", "cm", "depth of the water table", "water_table_depth"),
    Variable("reading", "1", "moisture meter reading", valid_range=_FRACTION, cell_methods=_POINT),
    Variable("days_until", "d", "days until the reading is reached", valid_range=_NOT_NEGATIVE),
    # The ledger.
    Variable(
        "rain",
        "mm",
        "rain",
        "lwe_thickness_of_precipitation_amount",
        valid_range=_NOT_NEGATIVE,
        cell_methods=_SUM,
    ),
    Variable("irrigation", "mm", "irrigation", valid_range=_NOT_NEGATIVE, cell_methods=_SUM),
    Variable("interception", "mm", "water held by the leaves and evaporated", cell_methods=_SUM),
    Variable("runoff", "mm", "runoff", cell_methods=_SUM),
    Variable("infiltration", "mm", "infiltration through the surface", cell_methods=_SUM),
    Variable("potential_transpiration", "mm", "transpiration asked for", cell_methods=_SUM),
    Variable("transpiration", "mm", "transpiration", cell_methods=_SUM),
    Variable("potential_evaporation", "mm", "evaporation asked for", cell_methods=_SUM),
    Variable(
        "evaporation",
        "mm",
        "evaporation from the surface",
        "lwe_thickness_of_water_evaporation_amount",
        cell_methods=_SUM,
    ),
    Variable("drainage", "mm", "drainage through the base (positive downward)", cell_methods=_SUM),
    Variable(
        "storage",
        "mm",
        "water in the profile and standing on it",
        cell_methods=_POINT,
    ),
    Variable("storage_change", "mm", "change of storage since the start", cell_methods=_POINT),
    Variable("ponding", "mm", "water standing on the surface", cell_methods=_POINT),
    Variable("closure_error", "mm", "closure error of the water balance", cell_methods=_POINT),
    # The work done, and how it ended.
    Variable("steps", "1", "accepted time steps"),
    Variable("rejected_steps", "1", "rejected time steps"),
    Variable("newton_iterations", "1", "Newton iterations"),
    Variable("status", "1", f"how the run ended ({_STATUS_CODES})"),
    Variable("status_text", None, "how the run ended"),
    # Weather.
    Variable(
        "reference_et",
        "mm",
        "reference evapotranspiration",
        valid_range=_NOT_NEGATIVE,
        cell_methods=_SUM,
    ),
    Variable("filled", "1", "whether the interval was filled in (1) or measured (0)"),
    Variable("air_temperature", "degC", "air temperature", cell_methods="time: mean"),
    Variable(
        "minimum_air_temperature", "degC", "lowest air temperature", cell_methods="time: minimum"
    ),
    Variable(
        "maximum_air_temperature", "degC", "highest air temperature", cell_methods="time: maximum"
    ),
    Variable("dew_point", "degC", "dew point", cell_methods="time: mean"),
    Variable(
        "relative_humidity",
        "1",
        "relative humidity",
        valid_range=_NOT_NEGATIVE,
        cell_methods="time: mean",
    ),
    Variable(
        "minimum_relative_humidity",
        "1",
        "lowest relative humidity",
        valid_range=_NOT_NEGATIVE,
        cell_methods="time: minimum",
    ),
    Variable(
        "maximum_relative_humidity",
        "1",
        "highest relative humidity",
        valid_range=_NOT_NEGATIVE,
        cell_methods="time: maximum",
    ),
    Variable(
        "vapour_pressure",
        "kPa",
        "vapour pressure",
        valid_range=_NOT_NEGATIVE,
        cell_methods="time: mean",
    ),
    Variable(
        "vapour_pressure_deficit", "kPa", "vapour pressure deficit", cell_methods="time: mean"
    ),
    Variable(
        "air_pressure", "kPa", "air pressure", valid_range=_NOT_NEGATIVE, cell_methods="time: mean"
    ),
    Variable(
        "wind_speed", "m s-1", "wind speed", valid_range=_NOT_NEGATIVE, cell_methods="time: mean"
    ),
    Variable(
        "solar_radiation", "MJ m-2", "solar radiation", valid_range=_NOT_NEGATIVE, cell_methods=_SUM
    ),
    Variable("net_radiation", "MJ m-2", "net radiation", cell_methods=_SUM),
    # Turf.
    Variable("root_depth", "cm", "depth of the roots", "root_depth", valid_range=_NOT_NEGATIVE),
    Variable("root_fraction", "1", "share of the roots", valid_range=_FRACTION),
    Variable("crop_coefficient", "1", "crop coefficient", valid_range=_NOT_NEGATIVE),
    Variable(
        "leaf_area_index", "1", "leaf area index", "leaf_area_index", valid_range=_NOT_NEGATIVE
    ),
    # The lab.
    Variable("porosity", "1", "total porosity", "soil_porosity", valid_range=_FRACTION),
    Variable("capillary_porosity", "1", "capillary porosity", valid_range=_FRACTION),
    Variable("bulk_density", "g cm-3", "bulk density", valid_range=_NOT_NEGATIVE),
    Variable("particle_density", "g cm-3", "particle density", valid_range=_NOT_NEGATIVE),
    Variable("water_content_by_mass", "1", "water per dry mass", valid_range=_NOT_NEGATIVE),
    Variable("organic_matter", "1", "organic matter by mass", valid_range=_FRACTION),
    Variable(
        "saturated_water_content",
        "1",
        "water content at saturation",
        "volume_fraction_of_water_in_soil_at_saturation",
        valid_range=_FRACTION,
    ),
    Variable("residual_water_content", "1", "residual water content", valid_range=_FRACTION),
    Variable(
        "k_sat",
        "cm h-1",
        "saturated hydraulic conductivity",
        "soil_hydraulic_conductivity_at_saturation",
        valid_range=_NOT_NEGATIVE,
    ),
    Variable("particle_diameter", "mm", "particle diameter", valid_range=_NOT_NEGATIVE),
    Variable("fraction_finer", "1", "mass fraction finer than the diameter", valid_range=_FRACTION),
    # Surveys and decisions.
    Variable("latitude", "degrees_north", "latitude", valid_range=(-90.0, 90.0)),
    Variable("longitude", "degrees_east", "longitude"),
    Variable("slope", "1", "slope of the surface (rise over run)"),
    Variable("expected_reading", "1", "reading expected at this depth", valid_range=_FRACTION),
    Variable(
        "expected_reading_lower", "1", "lower limit of the expected reading", valid_range=_FRACTION
    ),
    Variable(
        "expected_reading_upper", "1", "upper limit of the expected reading", valid_range=_FRACTION
    ),
    Variable(
        "rewetted_reading",
        "1",
        "reading expected after gentle water on a dry green",
        valid_range=_FRACTION,
    ),
    Variable(
        "rewetted_reading_lower",
        "1",
        "lower limit of the rewetted reading",
        valid_range=_FRACTION,
    ),
    Variable(
        "rewetted_reading_upper",
        "1",
        "upper limit of the rewetted reading",
        valid_range=_FRACTION,
    ),
    Variable(
        "air_filled_porosity_lower",
        "1",
        "lower limit of the air-filled porosity",
        valid_range=_FRACTION,
    ),
    Variable(
        "air_filled_porosity_upper",
        "1",
        "upper limit of the air-filled porosity",
        valid_range=_FRACTION,
    ),
    Variable("depth_at_least", "1", "whether the depth is a least depth"),
    Variable("hours_until_air", "h", "time until the air-filled porosity is back"),
    Variable("hours_until_air_lower", "h", "lower limit of the time until air is back"),
    Variable("hours_until_air_upper", "h", "upper limit of the time until air is back"),
    Variable("days_below_air", "d", "time below the air-filled porosity"),
    Variable("x", "m", "distance east"),
    Variable("y", "m", "distance north"),
    Variable(
        "reading_alone",
        "1",
        "reading of the column without water from its neighbours",
        valid_range=_FRACTION,
    ),
    Variable("extra_depth", "cm", "depth a place behaves deeper by than it is"),
    Variable("extra_depth_lower", "cm", "lower limit of the extra depth"),
    Variable("extra_depth_upper", "cm", "upper limit of the extra depth"),
    Variable("reading_gap", "1", "reading less the expected reading"),
    Variable("water_needed", "mm", "water needed", valid_range=_NOT_NEGATIVE),
    Variable("probability", "1", "probability", valid_range=_FRACTION),
)

VARIABLES: dict[str, Variable] = {variable.name: variable for variable in _ROWS}
"""Every variable by name."""

_Labelled = TypeVar("_Labelled", xr.Dataset, xr.DataArray)


def attributes(name: str) -> dict[str, str | float]:
    """Attributes of a variable, in CF spelling; texts and numbers only, as netCDF and zarr want.

    Parameters
    ----------
    name : str
        Name of the variable.

    Returns
    -------
    dict
        `long_name`, and `units`, `standard_name`, `positive`, `axis`, `valid_min`, `valid_max` and
        `cell_methods` where they apply.

    Raises
    ------
    KeyError
        For a name that is not in `VARIABLES`.

    Examples
    --------
    >>> attributes("conductivity")
    {'long_name': 'hydraulic conductivity', 'units': 'cm h-1', 'valid_min': 0.0}
    """
    if name not in VARIABLES:
        raise KeyError(
            f"{name!r} is not in the vocabulary; use one of {sorted(VARIABLES)}, or add a row to "
            f"soilwater/words/vocabulary.py."
        )
    variable = VARIABLES[name]
    low, high = variable.valid_range or (None, None)
    described = {
        "long_name": variable.long_name,
        "units": variable.units,
        "standard_name": variable.standard_name,
        "positive": variable.positive,
        "axis": "Z" if variable.positive == "down" else None,
        "valid_min": low,
        "valid_max": high,
        "cell_methods": variable.cell_methods,
    }
    return {key: value for key, value in described.items() if value is not None}


def attach(labelled: _Labelled) -> _Labelled:
    """Replace the attributes of every variable and coordinate by those of the vocabulary.

    xarray carries attributes through arithmetic, so a ratio of two amounts still claims to be mm:
    whatever was there is dropped, never merged. Attributes of the Dataset itself stay.

    Parameters
    ----------
    labelled : Dataset or DataArray
        All its variables must be in `VARIABLES`. Coordinates that are not are labels of the
        person's own making, and are left alone; but texts become plain strings, because numpy's
        texts of fixed length have no settled zarr form.

    Returns
    -------
    Dataset or DataArray
        The same data with new attributes; `labelled` itself is not changed.

    Raises
    ------
    KeyError
        For a variable that is not in `VARIABLES`.
    """
    texts = {
        n: each.astype(object) for n, each in labelled.coords.items() if each.dtype.kind == "U"
    }
    result = labelled.copy(deep=False)
    if texts:
        result = result.assign_coords(texts)
    # The copy's own variables are described in place: to ask a Dataset for each of its arrays
    # takes longer than a run of some days.
    coordinates = {name: each.variable for name, each in result.coords.items()}
    if isinstance(result, xr.Dataset):
        for name in result.data_vars:
            variable = result.variables[name]
            variable.attrs = dict(attributes_over(name, variable.dims))
    else:
        result.attrs = dict(attributes_over(result.name, result.dims))
    for name, variable in coordinates.items():
        if name in VARIABLES:
            variable.attrs = dict(attributes_over(name, variable.dims))
            if f"{name}_bounds" in coordinates:
                variable.attrs["bounds"] = f"{name}_bounds"
    return result


@lru_cache(maxsize=1024)
def attributes_over(name: Hashable, dims: tuple[Hashable, ...]) -> dict[str, str | float]:
    """Attributes without the cell methods of dimensions the variable does not have.

    Parameters
    ----------
    name : str
        Name of the variable.
    dims : tuple of str
        Its dimensions.

    Returns
    -------
    dict
        Shared by all who ask: to be copied, as xarray does, and never changed.
    """
    found = attributes(str(name))
    methods = re.findall(r"(\w+): (\w+)", str(found.pop("cell_methods", "")))
    kept = " ".join(f"{dim}: {method}" for dim, method in methods if dim in dims)
    return {**found, "cell_methods": kept} if kept else found
