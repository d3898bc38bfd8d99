"""Cases chunked with dask: each of their chunks is a task of dask's own, run where dask runs.

Nothing is scheduled here. Depths have to be known before a result can be laid out, so outlines of
the cases are asked for at once; the cases are made again where they are run, at next to no cost.
"""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import xarray as xr

from soilwater.ground.profile import Profile, meshes_of
from soilwater.runs.arrange import Outline, own_coords
from soilwater.runs.batch import run_chunk
from soilwater.runs.case import Case
from soilwater.runs.gathering import lay_out_run
from soilwater.runs.layout import Axes, blank, describe_columns, fill, inner_dims
from soilwater.runs.scheduling import cases_per_chunk
from soilwater.runs.settings import Settings
from soilwater.words.vocabulary import attributes_over

TEXT = np.dtype("O", metadata={"element_type": str})
"""Objects known to be texts: to find out, xarray would run a batch once more before writing it."""


def run_lazily(
    cases: xr.DataArray,
    outlines: list[Outline],
    axes: Axes,
    settings: Settings,
) -> xr.Dataset:
    """Lay out the results of cases that are run when they are asked for.

    Parameters
    ----------
    cases : DataArray of object
        Of Case, chunked with dask.
    outlines : list of Outline
        One a case, checked.
    axes : mapping of str to sequence
        Dimensions of the batch and their labels.
    settings : Settings
        What the cases share.

    Returns
    -------
    Dataset
        Chunked over the batch as the cases are.
    """
    from dask import array as dask_array

    profiles = [cast(Profile, each.profile) for each in outlines]
    meshes = meshes_of(profiles, settings.refinement)
    n_nodes = max(mesh.depth.size for mesh in meshes)
    described = describe_columns(profiles, meshes, n_nodes)
    known = lay_out_run({}, described, axes, settings, own_coords(cases))
    shared = "depth" in known.dims
    own_chunks: Any = cases.chunks
    template = xr.Dataset()
    for name in settings.names:
        like = blank(name, 0, settings.times.size, n_nodes)
        shape, chunks = (*cases.shape, *like.shape[1:]), (*own_chunks, *like.shape[1:])
        dtype = TEXT if like.dtype == object else like.dtype
        values = dask_array.empty(shape, dtype=dtype, chunks=chunks)
        template[name] = (*cases.dims, *inner_dims(name, ("time",), shared)), values
    run = xr.map_blocks(
        _run_block,
        cases.drop_vars(cases.coords),
        kwargs={"settings": settings, "n_nodes": n_nodes, "shared": shared},
        template=template,
    )
    for name in settings.names:
        run[name].attrs = dict(attributes_over(name, run[name].dims))
    return known.assign(run)


def _run_block(cases: xr.DataArray, settings: Settings, n_nodes: int, shared: bool) -> xr.Dataset:
    """Run the cases of one chunk, a handful at a time, on the thread it was given."""
    listed: list[Case] = cases.values.ravel().tolist()
    values = {
        name: blank(name, len(listed), settings.times.size, n_nodes) for name in settings.names
    }
    size = cases_per_chunk(float(listed[0].weather.hours[-1]) / 24.0)
    for first in range(0, len(listed), size):
        part = run_chunk(listed[first : first + size], settings)
        fill(values, np.arange(first, min(first + size, len(listed))), part)
    return xr.Dataset(
        {
            name: (
                (*cases.dims, *inner_dims(name, ("time",), shared)),
                array.reshape((*cases.shape, *array.shape[1:])),
            )
            for name, array in values.items()
        }
    )
