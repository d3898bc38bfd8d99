"""Where the places of a line or a green lie, as columns of a table."""

import xarray as xr

from soilwater.words.frames import Column


def place_columns(places: xr.Dataset) -> list[Column]:
    """Make columns of where places lie [m]: along a line, or east and north on a green."""
    if "distance" in places.dims:
        return [Column("along", places.distance.values / 100.0, "distance")]
    return [
        Column("east", places.x.values, "distance"),
        Column("north", places.y.values, "distance"),
    ]
