"""Maps of a green into files that others read: tables and GeoJSON."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from soilwater.runs.green_map import GreenMap
from soilwater.survey.earth import place_at
from soilwater.survey.geojson import is_geojson, write_features
from soilwater.words.errors import Faults
from soilwater.words.renamed import mind_words
from soilwater.words.safe_files import write_over
from soilwater.words.vocabulary import VARIABLES


@mind_words()
def write_map(
    path: str | os.PathLike[str], ground: GreenMap, values: Mapping[str, xr.DataArray] | None = None
) -> None:
    """Write a map of a green, cell by cell, as a CSV table or as GeoJSON.

    Parameters
    ----------
    path : str or path
        File whose name ends in ``.csv``, ``.geojson`` or ``.json``. A table has the places of the
        cells' middles [m]; GeoJSON their squares in longitude and latitude (RFC 7946), for which it
        must be known where on Earth the green is.
    ground : GreenMap
        The green.
    values : mapping of str to DataArray, optional
        By name, one number a cell over ``spot``, such as the reading at one time, beside levels and
        depths. Shares are written in per cent; units stand in the names.

    Raises
    ------
    InputError
        If there is not one number a cell, the kind of file is unknown, or GeoJSON is asked for of a
        green without latitude and longitude.
    """
    faults = Faults("write_map")
    mask = np.asarray(ground.mask)
    cells = ground.ground().coordinates
    columns = {
        "x (m)": cells["x"],
        "y (m)": cells["y"],
        "surface level (cm)": ground.surface_level[mask],
        "probe depth (cm)": ground.probe_depth[mask],
    }
    for name, array in (values or {}).items():
        if array.dims != ("spot",) or array.size != ground.n_cells:
            faults.add(
                f"{name} lies along {dict(array.sizes)}",
                allowed=f"spot: {ground.n_cells}; pick the rest with .isel or .sel",
            )
            continue
        unit = str(array.attrs.get("units", getattr(VARIABLES.get(str(array.name)), "units", "")))
        share = unit == "1"
        shown = f"{name} ({'%' if share else unit})" if unit else name
        columns[shown] = (100.0 if share else 1.0) * array.values
    kind = Path(path).suffix.lower()
    if kind != ".csv" and not is_geojson(path):
        faults.add(f'a file "{Path(path).name}"', allowed="names that end in .csv or .geojson")
    elif kind != ".csv" and ground.origin is None:
        faults.add(
            "GeoJSON is in longitude and latitude, and the green is in metres from a point nobody "
            "told",
            cure="write .csv, or tell the map where it is: "
            "dataclasses.replace(ground, origin=(latitude, longitude))",
        )
    faults.raise_if_any()
    table = pd.DataFrame({name: np.round(each, 2) for name, each in columns.items()})
    if kind == ".csv":
        table.insert(0, "spot", np.arange(len(table)))
        write_over(Path(path), table.to_csv(index=False))
        return
    assert ground.origin is not None
    squares = [
        _square(ground.origin, float(x), float(y), ground.spacing / 200.0)
        for x, y in zip(cells["x"], cells["y"], strict=True)
    ]
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    write_features(path, squares, [{str(k): v for k, v in row.items()} for row in rows])


def _square(origin: tuple[float, float], x: float, y: float, half: float) -> dict[str, object]:
    """Corners of a cell as a closed ring, against the clock."""
    ring = []
    for east, north in ((-half, -half), (half, -half), (half, half), (-half, half), (-half, -half)):
        latitude, longitude = place_at(origin, x + east, y + north)
        ring.append([round(longitude, 8), round(latitude, 8)])
    return {"type": "Polygon", "coordinates": [ring]}
