"""How well the conductivity of a sand is known: at saturation, and its fall with suction."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from soilwater.lab.fit_result import Sheet
from soilwater.lab.grading import hazen_conductivity
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import InputError
from soilwater.words.forms import Conductivity
from soilwater.words.units import to_house

CONDUCTIVITY_ERROR = 0.24 * float(np.log(10.0))
"""Standard deviation of the logarithm of a measured saturated conductivity: 0.24 in log10, the
scatter of conductivity at 5-30 cm of suction about Mualem's curve from the stated value, on packed
sands of the measured unsaturated soil properties of Leij et al. 1996 (EPA/600/R-96/095) and Nemes
et al. 2001 (J. Hydrol. 251:151). Two times in three within a factor of 1.7."""

TORTUOSITY = 0.5
"""Mualem's exponent of the saturation (Mualem 1976, Water Resour. Res. 12:513)."""

TORTUOSITY_ERROR = 0.4
"""Standard deviation of Mualem's exponent of the saturation: how well the fall of conductivity
with suction is known. With `CONDUCTIVITY_ERROR` it gives the scatter of the same sands at 30-60 cm
(0.34 in log10, where a sand holds a quarter of its water) and 60-100 cm (0.41, an eighth)."""

GRADING_ERROR = 0.43 * float(np.log(10.0))
"""Standard deviation of the logarithm of a conductivity estimated from the grading: 0.43 in log10,
measured over estimated on the sands of the same collection."""

GRADING_RATIO = 0.61
"""Median of measured conductivity over the estimate from the grading, same sands."""


class KnownConductivity(NamedTuple):
    """What is known of the conductivity of one sand.

    ``k_sat`` [cm/h] is the best value and ``k_sat_error`` the standard deviation of its natural
    logarithm; ``tortuosity`` [1] is Mualem's exponent of the saturation, with
    ``tortuosity_error``; ``source`` tells where the value comes from and how well it is known.
    """

    k_sat: float
    k_sat_error: float
    tortuosity: float
    tortuosity_error: float
    source: str

    def draws(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Equally likely pairs of tortuosity and ``k_sat``, shape (count, 2)."""
        return np.column_stack(
            [
                self.tortuosity + self.tortuosity_error * rng.standard_normal(count),
                self.k_sat * np.exp(self.k_sat_error * rng.standard_normal(count)),
            ]
        )


def conductivity_of(table: Sheet, stated: Conductivity | None) -> KnownConductivity:
    """Tell the conductivity of a sheet and how well it is known.

    Parameters
    ----------
    table : RetentionTable
        The sheet.
    stated : float, str, Quantity or None
        Saturated conductivity [cm/h] that goes before the sheet's.

    Returns
    -------
    KnownConductivity

    Raises
    ------
    InputError
        If there is none and no grading to estimate one from, or `stated` is not above 0.
    """
    error = CONDUCTIVITY_ERROR
    if stated is not None:
        value = float(to_house(stated, "conductivity", "k_sat"))
        if value <= 0.0:
            raise InputError(f"k_sat={value:g} cm/h must be above 0.")
        source = f"as stated, {_within(error)}"
    elif table.k_sat is not None:
        value, source = table.k_sat, f"from the sheet, {_within(error)}"
    elif table.grading is not None:
        value, error = GRADING_RATIO * hazen_conductivity(table.grading), GRADING_ERROR
        source = (
            f"{value:.3g} cm/h estimated from the grading (Hazen 1911, times {GRADING_RATIO:g} as "
            f"sands have measured), {_within(error)}"
        )
    else:
        raise InputError(
            "Fit: the sheet has neither a saturated conductivity nor a grading to estimate one; "
            "give k_sat, e.g. k_sat='14 in/h'."
        )
    return KnownConductivity(value, error, TORTUOSITY, TORTUOSITY_ERROR, source)


def _within(error: float) -> str:
    return f"within a factor of {np.exp(error):.2g} two times in three"
