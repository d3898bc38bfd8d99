"""How well the conductivity of a sand is known: at saturation, and its fall with suction."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from soilwater.lab.fit_result import Sheet
from soilwater.lab.grading import hazen_conductivity
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Conductivity, Share
from soilwater.words.units import to_house

MEASURED_SCATTER = 0.24
"""Standard deviation of the base-10 logarithm of a measured saturated conductivity [1]."""

CONDUCTIVITY_ERROR = MEASURED_SCATTER * float(np.log(10.0))
"""Standard deviation of the logarithm of a measured saturated conductivity: 0.24 in log10, the
scatter of conductivity at 5-30 cm of suction about Mualem's curve from the stated value, on packed
sands of the measured unsaturated soil properties of Leij et al. 1996 (EPA/600/R-96/095) and Nemes
et al. 2001 (J. Hydrol. 251:151). Two times in three within a factor of 1.7."""

TORTUOSITY = 0.5
"""Mualem's exponent of the saturation (Mualem 1976, Water Resour. Res. 12:513)."""

TORTUOSITY_ERROR = 0.6
"""Standard deviation of Mualem's exponent of the saturation: how well the fall of conductivity
with suction is known. With `CONDUCTIVITY_ERROR` it gives 0.34 in log10 where a sand holds four
tenths of its water and 0.59 where it holds an eighth: the curves of the same sands are 0.35 off at
30-60 cm and 0.64 at 60-100 (root mean square). They are of two places, and this is the middle of
what each would have chosen alone (0.27 and 1.17)."""

LEAST_TORTUOSITY = -1.9
"""Least tortuosity that is drawn: a soil takes none of -2 or less."""

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
        tortuosity = self.tortuosity + self.tortuosity_error * rng.standard_normal(count)
        return np.column_stack(
            [
                np.maximum(tortuosity, LEAST_TORTUOSITY),
                self.k_sat * np.exp(self.k_sat_error * rng.standard_normal(count)),
            ]
        )


def conductivity_of(
    table: Sheet,
    stated: Conductivity | None,
    k_sat_error: float | None = None,
    field_over_lab: Share = 1.0,
) -> KnownConductivity:
    """Tell the conductivity of a sheet and how well it is known.

    Parameters
    ----------
    table : RetentionTable
        The sheet.
    stated : float, str, Quantity or None
        Saturated conductivity [cm/h] that goes before the sheet's.
    k_sat_error : float, optional
        Standard deviation of the base-10 logarithm of it [1]; as sands have measured, by default.
    field_over_lab : float, str or Quantity
        What the field conducts over what the lab measured [1].

    Returns
    -------
    KnownConductivity

    Raises
    ------
    InputError
        If there is none and no grading to estimate one from, or one of these is not above 0.
    """
    faults = Faults("Fit")
    share = float(to_house(field_over_lab, "fraction", "field_over_lab"))
    if not 0.0 < share < np.inf:
        faults.add(
            f"field_over_lab={share:g}",
            allowed="above 0",
            cure="field_over_lab=1 where the field conducts as the lab measured",
        )
    if k_sat_error is not None and not 0.0 < k_sat_error < np.inf:
        faults.add(
            f"k_sat_error={k_sat_error:g}: no conductivity is known without error",
            allowed="above 0",
            cure=f"leave it out for {MEASURED_SCATTER:g}, as sands have measured, or say "
            "k_sat_error=0.1 for a factor of 1.26",
        )
    error, value = CONDUCTIVITY_ERROR, table.k_sat
    if stated is not None:
        value = float(to_house(stated, "conductivity", "k_sat"))
        if value <= 0.0:
            faults.add(f"k_sat={value:g} cm/h", allowed="above 0", cure="k_sat='14 in/h'")
    faults.raise_if_any()
    if value is not None:
        source = "from the sheet" if stated is None else "as stated"
    elif table.grading is not None:
        value, error = GRADING_RATIO * hazen_conductivity(table.grading), GRADING_ERROR
        source = (
            f"{value:.3g} cm/h estimated from the grading (Hazen 1911, times {GRADING_RATIO:g} as "
            f"sands have measured)"
        )
    else:
        raise InputError(
            "Fit: the sheet has neither a saturated conductivity nor a grading to estimate one; "
            "give k_sat, e.g. k_sat='14 in/h'."
        )
    if share != 1.0:
        source += f", times {share:g} for the field"
    if k_sat_error is not None:
        error = k_sat_error * float(np.log(10.0))
    source += f", within a factor of {np.exp(error):.2g} two times in three"
    return KnownConductivity(share * value, error, TORTUOSITY, TORTUOSITY_ERROR, source)
