"""The columns of a result, one by one, each with its profile and mesh again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.mesh import Mesh
from soilwater.ground.profile import Profile
from soilwater.runs.drained import mean_over_depth
from soilwater.soils import serial
from soilwater.words.errors import InputError


class Column(NamedTuple):
    """One column of a result: its place in the batch, its mesh and its suctions over time."""

    place: tuple[int, ...]
    profile: Profile
    mesh: Mesh
    node_suction: NDArray[np.float64]
    drying: NDArray[np.float64] | None = None
    """Suctions [cm] at which draining sand holds the same at the top and bottom of each cell, shape
    (n_times, 2, n_cells), where sand remembers how it was wetted: `node_suction` does not say."""

    def mean(self, top: float, bottom: float, at: slice = slice(None)) -> NDArray[np.float64]:
        """Mean water content [1] between two depths [cm] at the times `at`; see `drained`."""
        drying = None if self.drying is None else self.drying[at]
        return mean_over_depth(self.mesh, -self.node_suction[at], top, bottom, drying)


def profile_from_text(text: str) -> tuple[Profile, Mesh]:
    """Profile and mesh from the text a result carries."""
    # A model that is entered anew, as from a cell of a notebook run again, makes other soils.
    return _profile_from_text(text, tuple(serial.MODELS.values()))


@lru_cache(maxsize=4096)
def _profile_from_text(text: str, models: tuple[type, ...]) -> tuple[Profile, Mesh]:
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
    for name in ("node_suction", "profile", "node_depth"):
        if name not in dataset:
            raise InputError(
                f'Dataset: "{name}" is missing; give the result of simulate, simulate_many, '
                "compare_depths or drained_state with its whole depth."
            )
    # Without labels: to ask a Dataset for an array with them takes longer than to read a meter.
    suctions, profiles = dataset.variables["node_suction"], dataset.variables["profile"]
    node = "node_depth" if "node_depth" in suctions.dims else "node"
    batch = profiles.dims
    order = (*batch, *[d for d in suctions.dims if d not in (*batch, node)], node)
    suction, texts = suctions.transpose(*order).values, profiles.values
    nodes = dataset.variables["node_depth"].transpose(..., node)
    drying: NDArray[np.float64] | None = None
    if "drying_suction" in dataset.variables:
        of_ends = dataset.variables["drying_suction"]
        cell = "depth" if "depth" in of_ends.dims else "cell"
        rest = [d for d in of_ends.dims if d not in (*batch, "end", cell)]
        drying = of_ends.transpose(*batch, *rest, "end", cell).values
    along, node_depth = nodes.dims[:-1], nodes.values
    for place in np.ndindex(texts.shape):
        profile, mesh = profile_from_text(str(texts[place]))
        of_column = suction[place][..., : mesh.depth.size]
        depth = node_depth[tuple(place[batch.index(dim)] for dim in along)]
        if not np.array_equal(depth[: mesh.depth.size], mesh.depth):
            # A run on a refined mesh, or a part of the depth.
            mesh = _mesh_at(profile, depth[np.isfinite(depth)])
            of_column = suction[place][..., : mesh.depth.size]
        n = mesh.depth.size
        ends = None
        if mesh.remembers:
            if drying is None and len(order) > len(batch) + 1:
                raise InputError(
                    'Dataset: "drying_suction" is missing, without which suctions do not say what '
                    "sand holds that remembers how it was wetted; keep it with node_suction."
                )
            if drying is not None:
                ends = drying[place][..., : n - 1].reshape(-1, 2, n - 1)
        yield Column(place, profile, mesh, of_column.reshape(-1, n), ends)


def columns_of_profiles(
    run: xr.Dataset, profiles: Iterable[Profile], refinement: float = 1.0
) -> Iterator[Column]:
    """Go through the columns of a batch whose profiles are at hand.

    Parameters
    ----------
    run : Dataset
        From `simulate_many`, over cases and times.
    profiles : iterable of Profile
        In the order of the cases: a result would have to make each anew from its text.
    refinement : float, optional
        Of the mesh they were run on.

    Yields
    ------
    Column
        As `each_column` does.
    """
    suctions = run.node_suction.values
    drying = run.drying_suction.values if "drying_suction" in run else None
    for k, profile in enumerate(profiles):
        mesh = profile.mesh(refinement)
        n = mesh.depth.size
        ends = None if drying is None else drying[k][..., : n - 1].reshape(-1, 2, n - 1)
        yield Column((k,), profile, mesh, suctions[k][..., :n], ends)


def _mesh_at(profile: Profile, depth: NDArray[np.float64]) -> Mesh:
    """Mesh of a profile on given nodes."""
    whole = profile.mesh()
    if depth.size < 2 or depth[0] != 0.0 or abs(depth[-1] - profile.bottom) > 1e-9:
        raise InputError(
            "Dataset: the nodes do not span the profile; keep node_depth whole, and cut "
            "water_content or suction instead."
        )
    middle = 0.5 * (depth[1:] + depth[:-1])
    cell = np.clip(np.searchsorted(whole.depth, middle) - 1, 0, whole.soil.size - 1)
    return Mesh(depth, whole.soil[cell], whole.soils)
