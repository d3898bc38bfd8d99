"""Maps of a green into files that others read: tables, GeoJSON and GeoTIFF."""

from __future__ import annotations

import io
import os
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from soilwater.runs.green_map import GreenMap
from soilwater.survey.earth import place_at
from soilwater.survey.geojson import is_geojson, write_features
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError
from soilwater.words.renamed import mind_words
from soilwater.words.safe_files import write_over
from soilwater.words.vocabulary import VARIABLES


@mind_words()
def write_map(
    path: str | os.PathLike[str], ground: GreenMap, values: Mapping[str, xr.DataArray] | None = None
) -> None:
    """Write a map of a green, cell by cell, as a CSV table, as GeoJSON or as GeoTIFF.

    Parameters
    ----------
    path : str or path
        File whose name ends in ``.csv``, ``.geojson``, ``.json``, ``.tif`` or ``.tiff``. A table
        has the places of the cells' middles [m]; GeoJSON their squares in longitude and latitude
        (RFC 7946); GeoTIFF (OGC 19-008r4) a band for each value, named in the description of the
        image, in longitude and latitude too. For the last two it must be known where on Earth the
        green is, and GeoTIFF takes ``pip install "soilwater[io]"``.
    ground : GreenMap
        The green.
    values : mapping of str to DataArray, optional
        By name, one number a cell over ``spot``, such as the reading at one time, beside levels and
        depths. Shares are written in per cent; units stand in the names.

    Raises
    ------
    InputError
        If there is not one number a cell, the kind of file is unknown, GeoJSON or GeoTIFF is asked
        for of a green without latitude and longitude, or what it takes is not installed.
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
    image = kind in (".tif", ".tiff")
    if kind != ".csv" and not image and not is_geojson(path):
        faults.add(
            f'a file "{Path(path).name}"', allowed="names that end in .csv, .geojson or .tif"
        )
    elif kind != ".csv" and ground.origin is None:
        faults.add(
            f"{'GeoTIFF' if image else 'GeoJSON'} is in longitude and latitude, and the green is "
            "in metres from a point nobody told",
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
    if image:
        del columns["x (m)"], columns["y (m)"]
        _write_image(Path(path), ground, ground.origin, columns)
        return
    squares = [
        _square(ground.origin, float(x), float(y), ground.spacing / 200.0)
        for x, y in zip(cells["x"], cells["y"], strict=True)
    ]
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    write_features(path, squares, [{str(k): v for k, v in row.items()} for row in rows])


# Tags and keys of OGC 19-008r4 (GeoTIFF 1.1), chapters 7 and 8; the last one, what stands for no
# number, is common practice.
_SCALE, _TIE_POINT, _KEYS, _NO_NUMBER = 33550, 33922, 34735, 42113
_GEOGRAPHIC = (1, 1, 0, 3, 1024, 0, 1, 2, 1025, 0, 1, 1, 2048, 0, 1, 4326)
"""Version and number of keys; then a model in longitude and latitude, cells that are areas, and the
World Geodetic System of 1984 by its number in the EPSG register."""


def _write_image(
    path: Path, ground: GreenMap, origin: tuple[float, float], bands: Mapping[str, FloatArray]
) -> None:
    """Write values of the cells as the bands of a GeoTIFF, north up."""
    try:
        import tifffile
    except ImportError as error:
        raise InputError(
            "write_map: the package tifffile is not installed; install soilwater[io], or write a "
            "name that ends in .csv or .geojson."
        ) from error
    north, east = ground.axes
    n_y, n_x = ground.surface_level.shape
    half = ground.spacing / 200.0
    top, left = place_at(origin, east[0] - half, north[-1] + half)
    bottom, right = place_at(origin, east[-1] + half, north[0] - half)
    grid = np.full((len(bands), n_y, n_x), np.nan, dtype=np.float32)
    grid[:, np.asarray(ground.mask)] = np.stack(list(bands.values()))
    scale = ((right - left) / n_x, (top - bottom) / n_y, 0.0)
    into = io.BytesIO()
    tifffile.imwrite(
        into,
        grid[:, ::-1],
        photometric="minisblack",
        planarconfig="separate",
        metadata=None,
        description="; ".join(bands),
        extratags=[
            (_SCALE, "d", 3, scale, True),
            (_TIE_POINT, "d", 6, (0.0, 0.0, 0.0, left, top, 0.0), True),
            (_KEYS, "H", len(_GEOGRAPHIC), _GEOGRAPHIC, True),
            (_NO_NUMBER, "s", 0, "nan", True),
        ],
    )
    write_over(path, into.getvalue())


def _square(origin: tuple[float, float], x: float, y: float, half: float) -> dict[str, object]:
    """Corners of a cell as a closed ring, against the clock."""
    ring = []
    for east, north in ((-half, -half), (half, -half), (half, half), (-half, half), (-half, -half)):
        latitude, longitude = place_at(origin, x + east, y + north)
        ring.append([round(longitude, 8), round(latitude, 8)])
    return {"type": "Polygon", "coordinates": [ring]}
