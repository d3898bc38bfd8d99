"""The layout of results: one Dataset whether one column was run or thousands.

A single column has the dimension ``depth`` (middles of the cells) and ``node_depth`` (nodes). A
batch puts a dimension of its own in front. Where all columns of a batch share their mesh the names
stay; where they do not, the dimensions are ``cell`` and ``node``, shorter columns end in NaN, and
``depth`` and ``node_depth`` are coordinates along batch and cell.

Every column carries its profile as text, so a result read back from a file still knows its soils.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.errors import InputError
from soilwater.profile import Mesh, Profile
from soilwater.vocabulary import attach

LEADING = ("time",)
"""Dimensions between the batch and the depth."""


class Columns(NamedTuple):
    """Arrays of several columns, padded with NaN to the longest, in the order of the batch."""

    profiles: Sequence[Profile]
    meshes: Sequence[Mesh]
    node_suction: NDArray[np.float64]
    water_content: NDArray[np.float64]


class Column(NamedTuple):
    """One column of a result: its place in the batch, its mesh and its suctions over time."""

    place: tuple[int, ...]
    profile: Profile
    mesh: Mesh
    node_suction: NDArray[np.float64]


def columns_to_dataset(
    columns: Columns, leading: tuple[str, ...], batch: tuple[str, Any] | None
) -> xr.Dataset:
    """Lay out suction and water content of columns over depth.

    Parameters
    ----------
    columns : Columns
        Suction [cm] at nodes and water content [1] of cells, shape (n_columns, ..., n).
    leading : tuple of str
        Names of the dimensions between column and depth.
    batch : (str, coordinate) or None
        Name and values of the batch dimension; None for a single column without one.

    Returns
    -------
    Dataset
        With `water_content`, `suction`, `node_suction`, `layer`, `depth_bounds`, `profile`.
    """
    meshes = columns.meshes
    shared = all(np.array_equal(mesh.depth, meshes[0].depth) for mesh in meshes[1:])
    n_nodes = columns.node_suction.shape[-1]
    node_depth = np.full((len(meshes), n_nodes), np.nan)
    layer = np.full((len(meshes), n_nodes - 1), "", dtype=object)
    for i, (mesh, profile) in enumerate(zip(meshes, columns.profiles, strict=True)):
        node_depth[i, : mesh.depth.size] = mesh.depth
        middle = 0.5 * (mesh.depth[1:] + mesh.depth[:-1])
        names = np.array([each.name for each in profile.layers], dtype=object)
        layer[i, : middle.size] = names[
            np.searchsorted(profile.interfaces[1:-1], middle, side="right")
        ]
    middles = 0.5 * (node_depth[:, 1:] + node_depth[:, :-1])
    bounds = np.stack([node_depth[:, :-1], node_depth[:, 1:]], axis=-1)
    suction = 0.5 * (columns.node_suction[..., 1:] + columns.node_suction[..., :-1])
    layer = layer.astype(str)

    first = () if batch is None else (batch[0],)
    cell, node = ("depth", "node_depth") if shared else ("cell", "node")
    along = () if shared else first

    def pick(values: NDArray[Any]) -> NDArray[Any]:
        return values[0] if batch is None else values

    def once(values: NDArray[Any]) -> NDArray[Any]:
        return values[0] if shared else values

    data = {
        "water_content": ((*first, *leading, cell), pick(columns.water_content)),
        "suction": ((*first, *leading, cell), pick(suction)),
        "node_suction": ((*first, *leading, node), pick(columns.node_suction)),
        "profile": (first, pick(np.array([p.to_json() for p in columns.profiles]))),
    }
    coords: dict[str, Any] = {
        "depth": ((*along, cell), once(middles)),
        "node_depth": ((*along, node), once(node_depth)),
        "depth_bounds": ((*along, cell, "bound"), once(bounds)),
        "layer": ((*along, cell), once(layer)),
    }
    if shared and len({tuple(row) for row in layer}) > 1:
        coords["layer"] = ((*first, cell), layer)
    if batch is not None and batch[1] is not None:
        coords[batch[0]] = batch[1]
    dataset: xr.Dataset = attach(xr.Dataset(data, coords))
    return dataset


@lru_cache(maxsize=4096)
def profile_from_text(text: str) -> tuple[Profile, Mesh]:
    """Profile and mesh from the text a result carries."""
    profile = Profile.from_json(text)
    return profile, profile.mesh()


def each_column(dataset: xr.Dataset) -> Iterator[Column]:
    """Go through the columns of a result.

    Parameters
    ----------
    dataset : Dataset
        From `simulate`, `simulate_many`, `compare_depths` or `drained_state`, or a part of one
        that keeps the whole depth.

    Yields
    ------
    Column
        With suctions [cm] of shape (n_times, n_nodes), in the order of the batch.

    Raises
    ------
    InputError
        If the Dataset is no result of this package, or its depth was cut.
    """
    for name in ("node_suction", "profile"):
        if name not in dataset:
            raise InputError(
                f'Dataset: "{name}" is missing; give the result of simulate, simulate_many, '
                "compare_depths or drained_state with its whole depth."
            )
    node = "node_depth" if "node_depth" in dataset.node_suction.dims else "node"
    batch = dataset.profile.dims
    order = (*batch, *[d for d in dataset.node_suction.dims if d not in (*batch, node)], node)
    suction = dataset.node_suction.transpose(*order).values
    texts = dataset.profile.values
    for place in np.ndindex(texts.shape):
        profile, mesh = profile_from_text(str(texts[place]))
        of_column = suction[place][..., : mesh.depth.size]
        nodes = dataset.node_depth.transpose(..., node)
        depth = nodes.values[place] if nodes.ndim > 1 else nodes.values
        if not np.array_equal(depth[: mesh.depth.size], mesh.depth):
            # A run on a refined mesh, or a part of the depth.
            mesh = _mesh_at(profile, depth[np.isfinite(depth)])
            of_column = suction[place][..., : mesh.depth.size]
        yield Column(place, profile, mesh, of_column.reshape(-1, mesh.depth.size))


def _mesh_at(profile: Profile, depth: NDArray[np.float64]) -> Mesh:
    """Mesh of a profile on given nodes."""
    whole = profile.mesh()
    if depth.size < 2 or depth[0] != 0.0 or abs(depth[-1] - profile.depth) > 1e-9:
        raise InputError(
            "Dataset: the nodes do not span the profile; keep node_depth whole, and cut "
            "water_content or suction instead."
        )
    middle = 0.5 * (depth[1:] + depth[:-1])
    cell = np.clip(np.searchsorted(whole.depth, middle) - 1, 0, whole.soil.size - 1)
    return Mesh(depth, whole.soil[cell], whole.soils)
