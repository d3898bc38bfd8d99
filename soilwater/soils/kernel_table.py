"""The kernel's table of a soil, made once for each soil."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from soilwater.kernels.curves import tabulate
from soilwater.soils.model import Soil


@lru_cache(maxsize=256)
def soil_table(soil: Soil) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Table and scalars of a soil as `soilwater.kernels.curves.tabulate` makes them."""
    table, scalars = tabulate(soil)
    table.setflags(write=False)
    scalars.setflags(write=False)
    return table, scalars


def stack_tables(soils: Sequence[Soil]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tables of several soils end to end, in their order."""
    pairs = [soil_table(soil) for soil in soils]
    return np.stack([table for table, _ in pairs]), np.stack([scalars for _, scalars in pairs])
