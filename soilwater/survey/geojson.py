"""GeoJSON (RFC 7946): points of a survey and the outline of a green in, maps out."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from soilwater.words.errors import Faults, InputError
from soilwater.words.safe_files import write_over

SUFFIXES = (".geojson", ".json")


def is_geojson(source: Any) -> bool:
    """Whether a `source` is the path of such a file, by its name."""
    return isinstance(source, (str, os.PathLike)) and Path(source).suffix.lower() in SUFFIXES


def features_of(path: str | os.PathLike[str]) -> list[dict[str, Any]]:
    """Read the features of a file.

    Parameters
    ----------
    path : str or path
        GeoJSON file.

    Returns
    -------
    list of dict
        With "geometry" and "properties".

    Raises
    ------
    InputError
        If the file is no GeoJSON.
    FileNotFoundError
        If there is no such file.
    """
    name = Path(path).name
    try:
        content = json.loads(Path(path).read_text(encoding="utf-8-sig"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{name}: it is no JSON ({error}).") from None
    kind = content.get("type") if isinstance(content, dict) else None
    if kind == "FeatureCollection":
        features = content.get("features", [])
    elif kind == "Feature":
        features = [content]
    elif kind is not None and "coordinates" in content:
        features = [{"geometry": content, "properties": {}}]
    else:
        features = []
    if not features or not all(isinstance(each, dict) for each in features):
        raise InputError(f"{name}: no features in it; allowed: GeoJSON, after RFC 7946.")
    return [
        {"geometry": each.get("geometry") or {}, "properties": each.get("properties") or {}}
        for each in features
    ]


def table_of_points(path: str | os.PathLike[str]) -> dict[str, list[Any]]:
    """Read points and their properties as a table.

    Parameters
    ----------
    path : str or path
        GeoJSON file of points.

    Returns
    -------
    dict of str to list
        Columns "longitude" and "latitude" [degrees], "level (m)" where points have a height, and
        one a property.

    Raises
    ------
    InputError
        If a feature is no point; all at once.
    """
    features = features_of(path)
    faults = Faults(Path(path).name)
    names = list(dict.fromkeys(name for each in features for name in each["properties"]))
    heights = any(len(each["geometry"].get("coordinates", ())) > 2 for each in features)
    columns: dict[str, list[Any]] = {name: [] for name in names}
    columns.update(latitude=[], longitude=[])
    if heights:
        columns["level (m)"] = []
    for i, each in enumerate(features):
        kind, place = each["geometry"].get("type"), each["geometry"].get("coordinates", ())
        if kind != "Point" or len(place) < 2:
            faults.add(f"it is a {kind}", where=f"feature {i + 1}", allowed="a Point")
            continue
        for name in names:
            columns[name].append(each["properties"].get(name))
        columns["longitude"].append(place[0])
        columns["latitude"].append(place[1])
        if heights:
            columns["level (m)"].append(place[2] if len(place) > 2 else None)
    faults.raise_if_any()
    return columns


def ring_of(path: str | os.PathLike[str]) -> list[tuple[float, float]]:
    """Read the outer ring of the only polygon of a file.

    Parameters
    ----------
    path : str or path
        GeoJSON file.

    Returns
    -------
    list of tuple of float
        Latitude and longitude of its corners [degrees].

    Raises
    ------
    InputError
        If there is no polygon or more than one.
    """
    rings = [
        each["geometry"]["coordinates"]
        for each in features_of(path)
        if each["geometry"].get("type") == "Polygon"
    ]
    if len(rings) != 1 or not rings[0]:
        raise InputError(
            f"{Path(path).name}: {len(rings)} polygons in it; allowed: 1, the outline."
        )
    return [(float(place[1]), float(place[0])) for place in rings[0][0]]


def write_features(
    path: str | os.PathLike[str],
    geometries: Sequence[Mapping[str, Any]],
    properties: Sequence[Mapping[str, Any]],
) -> None:
    """Write features with their properties to a file.

    Parameters
    ----------
    path : str or path
        GeoJSON file.
    geometries : sequence of mapping
        "type" and "coordinates", longitude first [degrees].
    properties : sequence of mapping
        Of each: texts, numbers and None.
    """
    features = [
        {"type": "Feature", "geometry": shape, "properties": said}
        for shape, said in zip(geometries, properties, strict=True)
    ]
    text = json.dumps({"type": "FeatureCollection", "features": features}, allow_nan=False)
    write_over(Path(path), text)
