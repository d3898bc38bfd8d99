"""What a further measurement showed, counted in."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from soilwater.decisions.spots.measurements import KINDS, Measurement
from soilwater.decisions.spots.odds import Diagnosis, Found, updated
from soilwater.decisions.spots.weighed import describe, weigh
from soilwater.words.errors import InputError
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house


@mind_words()
def with_finding(diagnosis: Diagnosis, measurement: Measurement, outcome: Any) -> Diagnosis:
    """Count in what a further measurement showed.

    Parameters
    ----------
    diagnosis : Diagnosis
        Before the measurement.
    measurement : Measurement
        What was done, from `next_measurement` or `rank_measurements`.
    outcome : float, str or Quantity
        What it showed: depth or mat thickness [cm], reading [1], slope [1], drop time (a number
        is seconds), catch over that of the green [1], or for the outlet 1 (slow) or 0 (free).

    Returns
    -------
    Diagnosis
        With new odds at that spot; the other spots keep theirs.

    Raises
    ------
    InputError
        If the outcome cannot be used, or is a reading that a survey would leave out, or the spot
        is not in the diagnosis.

    Notes
    -----
    This spot is weighed anew, with all that was found at it: its causes are drawn again around what
    was found, so that odds after a surprise are those of a diagnosis that knew of it. What the
    other spots say of the green stands.
    """
    before = diagnosis.spot(measurement.spot)
    kind = KINDS[measurement.kind]
    if measurement.kind == "drop_test":
        value = (
            3600.0 * number_to_house(outcome, "duration", "outcome")
            if isinstance(outcome, str)
            else float(outcome)
        )
    else:
        value = number_to_house(outcome, kind.quantity, "outcome")
    if not np.isfinite(value) or value < 0.0:
        raise InputError(f"outcome: {outcome!r}; allowed: {kind.outcome}, 0 or more.")
    found = (*before.found, Found(measurement.kind, measurement.rod, value))
    rng = np.random.default_rng()
    rng.bit_generator.state = before.basis.random
    weighed = weigh(before.basis, diagnosis.reckoned, found, rng)
    after = describe(weighed, before.others, diagnosis.reckoned, rng)
    told = f"{measurement.instruction}: {_told(measurement.kind, value)}"
    return updated(
        diagnosis,
        replace(
            after,
            spot=before.spot,
            basis=before.basis,
            found=found,
            findings=(*before.findings, told),
        ),
    )


def _told(kind: str, value: float) -> str:
    if kind == "outlet":
        return "slow" if value > 0.5 else "free"
    if kind == "drop_test":
        return f"{value:.0f} s"
    if kind == "catch":
        return f"{100 * value:.0f} % of the green's"
    return in_people_units(value, KINDS[kind].quantity)
