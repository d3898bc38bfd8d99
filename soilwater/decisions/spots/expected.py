"""The drained baseline: what each spot of a survey should read by its own depth.

The morning after a soaking, a spot that reads below its neighbours may be at its own field
capacity. The baseline says what its depth alone explains, with everything that is not known.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from soilwater.decisions.calibrated import check_calibration
from soilwater.decisions.drained_readings import (
    MEMORIES,
    PROBE_ERROR,
    by_depth,
    learned_readings,
)
from soilwater.decisions.slope import slope_equivalent
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.likely_at_rest import DRAWS
from soilwater.learning.calibration import Calibration
from soilwater.learning.drying import as_drained
from soilwater.runs.wetted import USUAL_RAIN, AfterRain
from soilwater.soils import Soil
from soilwater.survey.repeats import repeats_caution
from soilwater.survey.rods import rod_of
from soilwater.survey.survey import Survey
from soilwater.survey.together import mean_of, with_rod
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import PROBABILITY, ends_and_middle
from soilwater.words.cautions import SLOPE_THAT_COUNTS, cautions_for
from soilwater.words.errors import Faults
from soilwater.words.forms import Length, Suction
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach


@mind_words(soil="sand", samples="draws")
def expected_reading(
    survey: Survey,
    sand: Sand,
    *,
    calibration: Calibration | None = None,
    rod: Length = None,
    base_suction: Suction = OVER_GRAVEL,
    probe_error: Length = PROBE_ERROR,
    slope_length: Length = None,
    after: AfterRain = USUAL_RAIN,
    draws: int = DRAWS,
    seed: int = 0,
) -> xr.Dataset:
    """Work out what each spot should read by its own depth, drained, with its band.

    Parameters
    ----------
    survey : Survey
        Spots with depths; those without get no value.
    sand : Soil, FitResult or sequence of these
        The sand. A fit, or several, carry their band.
    calibration : Calibration, optional
        What readings have taught, from `calibrate`: each spot's own depth, sand, base and meter
        stay joint, and the reading is that of this meter.
    rod : float, str or Quantity, optional
        Length of the meter's rods [cm]; that of the survey's readings when left out.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm]; the band is taken evenly.
    probe_error : float, str or Quantity, optional
        Standard deviation of a probe depth [cm].
    slope_length : float, str or Quantity, optional
        Length of the slopes [cm], for the warning of spots that have a slope: how much deeper a
        spot at their crest would behave. The readings themselves are of level columns.
    after : AfterRain, optional
        How the green was wetted last where it was not flooded, for the `rewetted_reading`; 10 mm/h
        on a dry green when left out.
    draws : int, optional
        Joint draws of sand, base suction and probe behind the bands.
    seed : int, optional
        Of the draws.

    Returns
    -------
    Dataset
        Over ``spot``, with coordinates `x` and `y` [m] where known: `root_zone_depth` [cm],
        `expected_reading` [1] (middle) and its 80 % limits: what drained after a flood from below,
        as a lab soaks; `rewetted_reading` [1] and its limits, which drained after gentle water on a
        dry green: sand without a memory of its own is given `likely_memories`. `reading` [1] (mean
        of the usable readings with these rods; with a calibration of those it has learnt from, each
        as it would be drained) and `reading_gap` [1], from the first. Cautions are attributes.

    Raises
    ------
    InputError
        If the rods are not clear, no spot has a depth, or a depth is less than the rods; all
        faults at once.

    Examples
    --------
    >>> from soilwater.survey.survey import Spot
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.05, 0.42, 0.039, 3.0, "28 cm/h")
    >>> survey = Survey((Spot("A1", "12 in"), Spot("C3", "18 in")))
    >>> drained = expected_reading(survey, sand, rod="3 in", base_suction=3.0)
    >>> drained.expected_reading.values.round(3)
    array([0.249, 0.158])
    >>> drained.rewetted_reading.values.round(3)
    array([0.208, 0.142])
    """
    faults = Faults("expected_reading")
    length, error = np.nan, 0.0
    with faults.catching():
        length = rod_of(survey, rod)
    with faults.catching():
        base = base_band(base_suction)
    with faults.catching():
        best, _ = best_and_likely(sand, 1)
    with faults.catching():
        error = number_to_house(probe_error, "length", "probe_error")
    check_calibration(
        calibration,
        {
            "sand": (sand, getattr(calibration, "sand", None)),
            "base_suction": (base_suction, OVER_GRAVEL),
        },
        faults,
    )
    if error < 0.0:
        faults.add(f"probe_error is {error:g} cm", allowed="0 or more")
    depth: FloatArray = np.array([spot.depth for spot in survey.spots], dtype=np.float64)
    if not np.isfinite(depth).any():
        faults.add("no spot has a depth", cure="probe at least one")
    for spot in survey.spots:
        if spot.depth < length:
            faults.add(
                f"{spot.depth:.1f} cm deep, less than the rods of {length:.1f} cm",
                where=spot.name,
                cure="the rods would stand in the gravel: check the depth",
            )
    if not isinstance(after, AfterRain):
        faults.add(f"after: {after!r}", allowed='AfterRain, such as AfterRain("10 mm/h")')
    faults.raise_if_any()
    reading = np.array([mean_of(with_rod(spot, length)) for spot in survey.spots])
    if calibration is None:
        flooded, gentle = (
            ends_and_middle(by_depth(survey.spots, sand, base, length, error, count, seed, rain))
            for count, rain in ((draws, None), (min(draws, MEMORIES), after))
        )
    else:
        known = np.flatnonzero(np.isfinite(depth))
        numbers = [calibration.number_of(survey.spots[i]) for i in known]
        flooded, gentle = np.full((2, 3, depth.size), np.nan)
        flooded[:, known] = learned_readings(calibration, length)[:, numbers]
        gentle[:, known] = learned_readings(calibration, length, after)[:, numbers]
        reading[known] = [as_drained_with(calibration, j, length) for j in numbers]
    low, expected, high = flooded
    rewetted_low, rewetted, rewetted_high = gentle
    dataset = xr.Dataset(
        {
            "root_zone_depth": ("spot", depth),
            "depth_at_least": ("spot", np.array([s.depth_at_least for s in survey.spots], np.int8)),
            "expected_reading": ("spot", expected),
            "expected_reading_lower": ("spot", low),
            "expected_reading_upper": ("spot", high),
            "rewetted_reading": ("spot", rewetted),
            "rewetted_reading_lower": ("spot", rewetted_low),
            "rewetted_reading_upper": ("spot", rewetted_high),
            "reading": ("spot", reading),
            "reading_gap": ("spot", reading - expected),
        },
        coords={"spot": [spot.name for spot in survey.spots]},
    )
    if any(spot.x is not None and spot.y is not None for spot in survey.spots):
        for name in ("x", "y"):
            given = [getattr(spot, name) for spot in survey.spots]
            dataset.coords[name] = ("spot", [np.nan if v is None else float(v) for v in given])
    attached: xr.Dataset = attach(dataset)
    attached.attrs = {
        "title": "Reading of each spot once drained, by its own depth",
        "rod_length_cm": length,
        "base_suction": str(base) if calibration is None else "as the calibration holds it",
        "probability": PROBABILITY,
        "cautions": "\n".join(_cautions(survey, best, slope_length)),
    }
    return attached


def as_drained_with(calibration: Calibration, spot: int, rod: float) -> float:
    """Mean [1] of what was read at a spot with rods of one length, as it would be drained.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    spot : int
        Number of the spot.
    rod : float
        Length of the rods [cm].
    """
    alike = set(with_rod(calibration.evidence.green.spots[spot], rod))
    drained = [(each, value) for each, value in as_drained(calibration, spot) if each in alike]
    readings, values = [each for each, _ in drained], [value for _, value in drained]
    return mean_of(readings, calibration.given["meter_error"], values)


def _cautions(survey: Survey, soil: Soil, slope_length: Length) -> tuple[str, ...]:
    steep = [s for s in survey.spots if s.slope is not None and s.slope >= SLOPE_THAT_COUNTS]
    said = [*repeats_caution(survey.spots)]
    if steep and slope_length is None:
        names = ", ".join(f"{spot.name} ({100 * (spot.slope or 0.0):.1f} %)" for spot in steep)
        said.append(
            f"these spots slope enough to read drier than said here: {names}; give slope_length "
            "for how many centimetres that is worth"
        )
    elif steep:
        for spot in steep:
            if spot.has_depth:
                worth = slope_equivalent(soil, spot.slope, slope_length, depth=spot.depth)
                said.append(worth.caution.replace("this spot", f"{spot.name}, if at the crest,"))
    return (*said, *cautions_for("base suction", "level ground", "accuracy", "drying curve"))
