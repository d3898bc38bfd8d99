"""Results that show themselves: ``run.soilwater`` on every Dataset this package gives.

Nothing is kept here; everything is asked of public functions when it is wanted.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import xarray as xr

from soilwater.runs.columns_of import each_column, profile_from_text
from soilwater.runs.layout import AMOUNTS
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import InputError, Status
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.times import hours_between, stamp
from soilwater.words.unit_choice import units_in_use
from soilwater.words.vocabulary import attach

MOST_ROWS = 12
"""Columns that a summary lists one by one; of more it gives the least, middle and most."""
ROUND_OFF = 1e-6
"""A closure error below this [mm] is not worth a number."""
IN_SUMMARY = (
    "rain",
    "irrigation",
    "interception",
    "runoff",
    "transpiration",
    "evaporation",
    "drainage",
    "storage_change",
    "closure_error",
)


class RunAccessor(Displayed):
    """What a person asks of a result first.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many`, `compare_depths` or `drained_state`.
    """

    def __init__(self, run: xr.Dataset) -> None:
        self._run = run

    def balance(self) -> xr.Dataset:
        """Water balance of the whole run.

        Returns
        -------
        Dataset
            Amounts [mm] from the start to the end, over the batch.

        Raises
        ------
        InputError
            If the Dataset has no times or no amounts.
        """
        names = [name for name in AMOUNTS if name in self._run]
        if "time" not in self._run.dims or not names:
            raise InputError(
                "Dataset: it holds no water balance over time; give the result of a simulation."
            )
        balance: xr.Dataset = self._run[names].isel(time=-1)
        return balance

    def storage_by_layer(self) -> xr.DataArray:
        """Water in each layer of the profile.

        Returns
        -------
        DataArray
            Storage [mm] over the batch, time and ``layer``; NaN for a layer that a column does
            not have.

        Raises
        ------
        InputError
            If the Dataset is no result, or its depth was cut.
        """
        columns = list(each_column(self._run))
        names = list(dict.fromkeys(layer.name for c in columns for layer in c.profile.layers))
        values = np.full((len(columns), columns[0].node_suction.shape[0], len(names)), np.nan)
        for i, column in enumerate(columns):
            ends = column.profile.interfaces
            for layer, top, bottom in zip(column.profile.layers, ends[:-1], ends[1:], strict=True):
                water = column.mean(top, bottom)
                values[i, :, names.index(layer.name)] = 10.0 * layer.thickness * water
        batch = self._run.profile.dims
        times = [d for d in ("time",) if d in self._run.node_suction.dims]
        dims = (*batch, *times, "layer")
        shape = [*(self._run.sizes[d] for d in (*batch, *times)), len(names)]
        coords: dict[Any, Any] = {
            d: self._run[d] for d in (*batch, *times) if d in self._run.coords
        }
        storage = xr.DataArray(
            values.reshape(shape), {**coords, "layer": names}, dims, name="storage"
        )
        attached: xr.DataArray = attach(storage)
        return attached

    def status(self) -> str:
        """Say how the run ended, naming every column that did not reach its end."""
        if "status" not in self._run:
            return "At rest: nothing was simulated."
        states = np.atleast_1d(self._run.status.values).ravel()
        texts = np.atleast_1d(self._run.status_text.values).ravel()
        names = column_names(self._run)
        failed = [
            f"{name}: {text}" if name else str(text)
            for name, state, text in zip(names, states, texts, strict=True)
            if state != Status.OK
        ]
        if not failed:
            return Status.OK.sentence
        if len(states) == 1:
            return failed[0]
        head = f"{len(failed)} of {len(states)} columns did not reach the end of the run."
        shown = failed[:MOST_ROWS]
        more = [f"... and {len(failed) - len(shown)} more"] if len(failed) > len(shown) else []
        return "\n".join([head, *shown, *more])

    def summary(self) -> str:
        """Write the run on one screen: span, what came and went, how it ended."""
        return repr(self)

    def _shown(self) -> Shown:
        rows, header = self._rows()
        return Shown(self._title(), header, rows, [self.status(), *self._notes()])

    def _notes(self) -> list[str]:
        """List what the profiles leave out, each thing once."""
        texts = dict.fromkeys(self._run.profile.values.ravel().tolist())
        notes = (note for text in texts for note in profile_from_text(str(text))[0].notes)
        several = list(dict.fromkeys(notes))
        more = [f"... and {len(several) - 3} more notes of this kind"] if len(several) > 3 else []
        return [*several[:3], *more]

    def _title(self) -> str:
        count = self._run.profile.size
        columns = "One column" if count == 1 else f"{count} columns"
        if "time" not in self._run.dims:
            return f"{columns}; water in {one_writing('water_amount').unit}"
        first, last = self._run.time.values[[0, -1]]
        days = float(hours_between(first, last)) / 24.0
        return (
            f"{columns}, {stamp(first)} to {stamp(last)} ({days:.4g} days); water in "
            f"{one_writing('water_amount').unit}"
        )

    def _rows(self) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
        """Cells of the summary: a row per column, or least, middle and most of many."""
        at_end = self._run.isel(time=-1) if "time" in self._run.dims else self._run
        amounts = {
            name.replace("_", " "): np.atleast_1d(at_end[name].values).ravel()
            for name in IN_SUMMARY
            if name in at_end and (name == "closure_error" or np.any(at_end[name] != 0.0))
        }
        held = self.storage_by_layer()
        held = held.isel(time=-1) if "time" in held.dims else held
        for name in held.layer.values:
            label = "held" if held.layer.size == 1 else f"held in {name}"
            amounts[label] = np.atleast_1d(held.sel(layer=name).values).ravel()
        table = np.array(list(amounts.values())).T
        names = column_names(self._run)
        if len(table) > MOST_ROWS:
            names = ["least", "middle", "most"]
            table = np.nanquantile(table, [0.0, 0.5, 1.0], axis=0)
        cells = [
            tuple(
                _amount(value, tiny=label == "closure error")
                for label, value in zip(amounts, values, strict=True)
            )
            for values in table
        ]
        if names == [""]:
            return list(cells), tuple(amounts)
        return [(name, *row) for name, row in zip(names, cells, strict=True)], ("", *amounts)


def column_names(run: xr.Dataset) -> list[str]:
    """Names of the columns of a result, in the order of its batch; one empty name for one."""
    dims = [str(d) for d in run.profile.dims]
    labels = [dimension_names(run, d) for d in dims]
    return [", ".join(names) for names in product(*labels)]


def dimension_names(labelled: xr.DataArray | xr.Dataset, dimension: str) -> list[str]:
    """Names of the entries along a dimension, as people say them."""
    values = labelled[dimension].values
    if dimension == "root_zone_depth":
        return [depth_name(float(value)) for value in values]
    if values.dtype.kind in "biuf":
        return [f"{dimension.replace('_', ' ')} {value:g}" for value in values]
    return [str(value) for value in values]


def depth_name(depth: float) -> str:
    """Write a depth [cm] for a label: inches first where they are whole or half."""
    inch = depth / 2.54
    if units_in_use() != "metric" and abs(2.0 * inch - round(2.0 * inch)) < 1e-6:
        behind = f" ({depth:.0f} cm)" if units_in_use() == "both" else ""
        return f"{inch:g} in{behind}"
    return in_people_units(depth, "length")


def _amount(value: float, *, tiny: bool) -> str:
    if not np.isfinite(value):
        return "missing"
    if tiny:
        return f"below {ROUND_OFF:g}" if abs(value) < ROUND_OFF else f"{value:.0e}"
    return one_writing("water_amount").figure(value)
