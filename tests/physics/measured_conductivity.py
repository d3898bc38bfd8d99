"""Conductivity of sands as others measured it, beside what a fit says of it.

``tests/data/measured_conductivity.csv`` holds one row a sample with its first publication,
``measured_conductivity_points.csv`` its water contents on drying and its conductivities [cm/day] at
5 to 100 cm of suction: sands and loamy sands of the measured unsaturated soil properties collected
by Leij et al. 1996 (EPA/600/R-96/095, public domain) and Nemes et al. 2001 (J. Hydrol. 251:151)
whose saturated conductivity is stated. Left out are those whose conductivity is a smoothed curve.
"""

import csv
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

import numpy as np
from scipy.optimize import minimize_scalar

from soilwater.lab import conductivity
from soilwater.lab.retention import RetentionTable
from soilwater.soils import VanGenuchten

DATA = Path(__file__).parents[1] / "data"
SPANS = ((5.0, 30.0), (30.0, 60.0), (60.0, 100.0))
PACKED = ("Contra Costa County, CA, USA", "Fort Collins, CO, USA")
"""Places whose sand was packed into columns, as a root zone is: the one says so (Nimmo & Akstin
1988, from memory), of the other it is taken from its even points. All others are soils as they lay.
"""


class Sample(NamedTuple):
    """One sample: its place, saturated conductivity [cm/h], and (suction [cm], value) pairs."""

    code: str
    place: str
    k_sat: float
    water: np.ndarray
    conductivity: np.ndarray


def samples():
    """Every sample, in the order of the table; conductivities in cm/h."""
    with (DATA / "measured_conductivity_points.csv").open() as lines:
        points = list(csv.DictReader(lines))
    with (DATA / "measured_conductivity.csv").open() as lines:
        about = list(csv.DictReader(lines))

    def of(code, quantity):
        rows = [row for row in points if (row["code"], row["quantity"]) == (code, quantity)]
        return np.array([[float(row["suction_cm"]), float(row["value"])] for row in rows]).T

    return [
        Sample(
            each["code"],
            each["place"],
            float(each["k_sat_cm_per_day"]) / 24.0,
            of(each["code"], "water content"),
            of(each["code"], "conductivity") * np.array([[1.0], [1.0 / 24.0]]),
        )
        for each in about
    ]


def fitted(sample, fall_error=conductivity.TORTUOSITY_ERROR):
    """The fit of its whole retention curve and its stated conductivity at saturation.

    `fall_error` is the standard deviation of Mualem's exponent of the saturation.
    """
    with patch.object(conductivity, "TORTUOSITY_ERROR", fall_error):
        return RetentionTable(*sample.water, k_sat=sample.k_sat).fit(VanGenuchten)


def packed_at(place, fall_error=conductivity.TORTUOSITY_ERROR):
    """The samples of a place, with their fits."""
    return [(each, fitted(each, fall_error)) for each in samples() if each.place == place]


def likeliest_fall_error(pairs):
    """Standard deviation of Mualem's exponent under which measured conductivities are likeliest.

    Of the points beyond 30 cm of samples with their fits, normal errors about the best curve, and
    the error of the conductivity at saturation as the library has it.
    """
    apart, fall = [], []
    for sample, fit in pairs:
        suction, measured = sample.conductivity
        far = suction >= SPANS[1][0]
        soil = fit.soil
        share = (soil.water_content(suction[far]) - soil.theta_r) / (soil.theta_s - soil.theta_r)
        apart += np.log10(measured[far] / soil.conductivity(suction[far])).tolist()
        fall += np.log10(share).tolist()
    apart, fall = np.array(apart), np.array(fall)

    def unlikely(error):
        variance = conductivity.MEASURED_SCATTER**2 + (error * fall) ** 2
        return np.sum(np.log(variance) + apart**2 / variance)

    return float(minimize_scalar(unlikely, bounds=(0.0, 5.0), method="bounded").x)


def band(fit, suction, probability=0.9):
    """Lower end, median and upper end of conductivity [cm/h] over the sample of a fit."""
    tail = 0.5 * (1.0 - probability)
    drawn = np.array([soil.conductivity(suction) for soil in fit.samples(200)])
    return np.quantile(drawn, [tail, 0.5, 1.0 - tail], axis=0)


class Errors(NamedTuple):
    """How many points, log10(measured / best curve), its standard deviation, share in the band."""

    points: int
    mean: float
    spread: float
    held: float


def errors(pairs, span):
    """Compare conductivities with fits.

    `pairs` are samples with their fits; `held` is the share in 90 % bands [1].
    """
    apart, held = [], []
    for sample, fit in pairs:
        suction, measured = sample.conductivity
        at = (suction >= span[0]) & (suction < span[1])
        if not at.any():
            continue
        lower, _, upper = band(fit, suction[at])
        apart += np.log10(measured[at] / fit.soil.conductivity(suction[at])).tolist()
        held += ((lower <= measured[at]) & (measured[at] <= upper)).tolist()
    return Errors(len(apart), float(np.mean(apart)), float(np.std(apart)), float(np.mean(held)))
