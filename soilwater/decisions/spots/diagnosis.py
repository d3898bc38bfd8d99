"""Why a spot reads what it reads: odds over causes, never a verdict on people.

Every cause is a model of the reading with a prior range (`soilwater.decisions.spots.causes`). What
all spots share - the sand as the lab left it open, the suction left at the base, the offset of the
meter - is drawn first and weighted by how well it lets the whole green be explained; within each
draw every spot weighs its causes. One spot alone can rarely settle anything; the green can. Where a
calibration has learnt what is shared, its draws take the place of these, already weighed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from soilwater.decisions.drained_readings import MEMORIES, by_depth
from soilwater.decisions.spots.causes import CAUSES, NAMES, SLOPE
from soilwater.decisions.spots.learned import (
    LEARNED_GREEN,
    learned_green,
    take_learned,
    told_of,
)
from soilwater.decisions.spots.odds import Diagnosis
from soilwater.decisions.spots.shared import Basis, Reckoned, before_reading
from soilwater.decisions.spots.states import Prior, normal_quantile, reading_error
from soilwater.decisions.spots.weighed import describe, weigh
from soilwater.ground.base_suction import OVER_GRAVEL, BaseSuction, base_band
from soilwater.lab.equally_likely import Sand
from soilwater.lab.fit_result import FitResult
from soilwater.lab.likely_at_rest import DRAWS
from soilwater.learning.calibration import Calibration
from soilwater.learning.drying import Drying
from soilwater.runs.wetted import AfterRain
from soilwater.survey.repeats import repeats_caution
from soilwater.survey.survey import Spot, Survey
from soilwater.survey.together import METER_ERROR
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW, ends_and_middle
from soilwater.words.cautions import cautions_for, slope_caution
from soilwater.words.displays import listed
from soilwater.words.errors import Faults
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.quantities import in_one_unit
from soilwater.words.renamed import mind_words
from soilwater.words.unit_choice import worded
from soilwater.words.units import number_to_house

ERRORS = {"meter_error": METER_ERROR, "meter_offset": 0.02, "probe_error": 1.0, "model_error": 0.01}
"""Standard errors [1], of the probe [cm], where nobody says."""


@mind_words(soil="sand")
def diagnose(
    survey: Survey,
    sand: Sand,
    *,
    calibration: Calibration | None = None,
    base_suction: Suction = OVER_GRAVEL,
    after: AfterRain | None = None,
    meter_error: WaterContent = ERRORS["meter_error"],
    meter_offset: WaterContent = ERRORS["meter_offset"],
    probe_error: Length = ERRORS["probe_error"],
    model_error: WaterContent = ERRORS["model_error"],
    weights: Mapping[str, float] | None = None,
    extra_depth: Mapping[str, Length | tuple[Length, Length]] | None = None,
    seed: int = 0,
) -> Diagnosis:
    """Weigh the causes that can explain each spot's reading the morning after a soaking.

    Parameters
    ----------
    survey : Survey
        Spots with readings taken drained: 12 to 24 h after a soaking, and before the turf has
        used much. Drop times, catch depths, slopes, mat thicknesses, readings of other rods and
        the scatter of readings side by side, within a square metre, are used where present.
    sand : Soil, FitResult or sequence of these
        The root-zone sand; of a fit, all that its points leave open is carried through.
    calibration : Calibration, optional
        What readings have taught, from `calibrate`: sand, base, turf, mat, meter and how far spots
        stray are its joint draws, and its readings of any day count, each against a column that
        has dried for as long. Errors, if given, must be those it was learnt with.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm], alike for all spots; the band is taken evenly.
    after : AfterRain, optional
        How the green was wetted last, if gently while it was dry: its sands then hold less than
        the lab's, with `likely_memories` where they have none of their own. Flooded, as a lab
        soaks, when left out.
    meter_error : float or str, optional
        Standard error of one reading [1]: 2 to 3 % by volume (common practice, no source); what
        readings have as their `added_error` comes on top.
    meter_offset : float or str, optional
        Standard error of an offset all readings share [1].
    probe_error : float, str or Quantity, optional
        Standard error of a probed depth [cm] (from memory).
    model_error : float or str, optional
        Standard error of a reading that a level column misses [1].
    weights : mapping of str to float, optional
        Expected shares of causes instead of the usual ones in
        `soilwater.decisions.spots.causes.CAUSES`; they need not add up to 1.
    extra_depth : mapping of str to float, str, Quantity or two of these, optional
        What spots behave deeper by than they are [cm], or the ends of it, as a run of the whole
        green told it: ``crest_effect(green, ...).at(survey)``. It takes the place of the screening
        range, and slope is no cause there any more.
    seed : int, optional
        Seed of the draws.

    Returns
    -------
    Diagnosis
        Shares that add up to 1 at each spot, with the size each cause would need.

    Raises
    ------
    InputError
        If no spot has a usable reading, an error or weight cannot be used, or the calibration has
        not learnt from a reading.

    Notes
    -----
    Bayesian model comparison by Monte Carlo over stratified prior ranges; the shared unknowns of
    the green are weighted by the product of the spots' evidences. Shares are only as good as the
    expected shares and ranges they start from; both are judgements and are printed.

    With a calibration no reading counts twice. Its draws were weighed by all readings, and are
    taken as they are, alike; within each draw a spot weighs its causes by its own readings, and
    starts from the depth that was probed, not from the one it was learnt to behave as if it had.
    Shares are the mean over draws: ``p(cause | readings)`` is the mean of ``p(cause | draw, its own
    readings)`` over ``p(draw | readings)``. The reading and what its depth should give are told as
    drained, the latter by the depth the calibration holds, as `expected_reading` tells it.

    Two in a hundred measurements are taken to be wrong, so that no one of them rules a cause out.

    What a depth should give is told twice: by itself, as `expected_reading` and `depth_window` tell
    it, and as the whole green reads (`as_green_reads`), by which causes are weighed.

    Measured on 60 synthetic greens of six spots whose causes are known
    (``benchmarks/diagnosis_truth.py``): the true cause has the largest share at 60 % of the spots,
    where blaming depth alone is right at 37 %, and lies in the first group at 76 %; of causes given
    70 to 90 %, 78 % are true, of those given less than 2 %, 0.4 %. Where all causes are equally
    common and `weights` are not told so, these are 43 %, 14 %, 67 %, 63 % and 1.2 %. One
    reading hardly tells a gentle slope from depth, a mat from standing water, the wetting branch
    from repellency, or a small fault of the meter from anything.

    Examples
    --------
    >>> from soilwater.survey.survey import Reading, Spot, Survey
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
    >>> deep = Spot("C3", 46.0, readings=(Reading(0.155, rod=7.6),))
    >>> usual = [Spot(f"A{i}", 30.0, readings=(Reading(0.252, rod=7.6),)) for i in range(4)]
    >>> odds = diagnose(Survey([deep, *usual]), sand).spot("C3")
    >>> odds.causes[0].label
    'its own depth'
    """
    faults = Faults("diagnose")
    shares = _expected_shares(weights, faults)
    base = OVER_GRAVEL
    with faults.catching():
        base = base_band(base_suction)
    values = {}
    for name, given, quantity in (
        ("meter_error", meter_error, "water_content"),
        ("meter_offset", meter_offset, "water_content"),
        ("probe_error", probe_error, "length"),
        ("model_error", model_error, "water_content"),
    ):
        with faults.catching():
            values[name] = number_to_house(given, quantity, name)
            if values[name] < 0.0 or (values[name] == 0.0 and name == "meter_error"):
                faults.add(f"{name} is {values[name]:g}", allowed="above 0")
    if after is not None and not isinstance(after, AfterRain):
        faults.add(f"after: {after!r}", allowed='AfterRain, such as AfterRain("10 mm/h"), or None')
    known = _ends(extra_depth, survey, faults)
    learned: Sequence[Spot] = survey.spots
    dried: Mapping[str, tuple[Drying, ...]] = {}
    if calibration is not None:
        given = {
            "sand": (sand, getattr(calibration, "sand", None)),
            "base_suction": (base_suction, OVER_GRAVEL),
            "after": (after, None),
        }
        beside = {name: (value, ERRORS[name]) for name, value in values.items()}
        values, learned, dried = take_learned(calibration, survey, given, beside, faults)
    read = [spot for spot in learned if spot.usable_readings]
    if not read:
        faults.add("no spot has a usable reading", cure="take readings the morning after a soaking")
    for spot in read:
        longest = max(reading.rod for reading in spot.usable_readings)
        if spot.has_depth and longest > spot.depth:
            faults.add(
                f"a rod of {longest:g} cm in {spot.depth:g} cm of root zone",
                where=f'spot "{spot.name}"',
                allowed="rods no longer than the root zone is deep",
            )
    faults.raise_if_any()

    rng = np.random.default_rng(seed)
    if calibration is None:
        green = before_reading(sand, base, after, values["meter_offset"], seed, rng)
    else:
        green = learned_green(calibration, seed, rng)
        base = calibration.unknowns.base
    prior = _prior(survey, values["probe_error"])._replace(
        extra_depth=known, drained=green.drained, rewetted=green.rewetted
    )
    errors = (values["meter_error"], values["model_error"])
    reckoned = Reckoned(green, prior, errors, shares)
    by_own_depth = {}
    if calibration is None:
        by_own_depth = _by_own_depth(read, sand, base, after, values, prior, seed)
    weighed = []
    for spot in read:
        told = None
        if calibration is not None:
            rod = spot.usable_readings[0].rod
            told = told_of(calibration, spot, rod, errors[0])
        alone = by_own_depth.get(spot.name)
        basis = Basis(spot, dried.get(spot.name, ()), told, alone, rng.bit_generator.state)
        weighed.append(weigh(basis, reckoned, (), rng))
    log_weight = np.sum([each.log_evidence for each in weighed], axis=0)
    if calibration is not None:
        log_weight = np.zeros(log_weight.size)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    spots = [describe(each, weight / each.evidence, reckoned, rng) for each in weighed]
    return Diagnosis(
        name=survey.name,
        spots=tuple(replace(each, spot=survey.spot(each.spot.name)) for each in spots),
        assumptions=_assumptions(calibration, base, after, values, shares),
        green=green.sentence(weight, base, values["meter_offset"]),
        cautions=tuple(_cautions(read, known, sand, 1.0 / float(np.sum(weight**2)), calibration)),
        reckoned=reckoned,
    )


def _by_own_depth(
    read: Sequence[Spot],
    sand: Sand,
    base: BaseSuction,
    after: AfterRain | None,
    values: Mapping[str, float],
    prior: Prior,
    seed: int,
) -> dict[str, tuple[float, float, float]]:
    """Work out ends and middle [1] of what spots should read, as `expected_reading` does."""
    found = {}
    draws = DRAWS if after is None else MEMORIES
    strata = (np.arange(draws) + 0.5) / draws
    shuffled = normal_quantile(np.random.default_rng((seed, 3)).permutation(strata))
    for rod in {spot.usable_readings[0].rod for spot in read}:
        spots = [each for each in read if each.has_depth and each.usable_readings[0].rod == rod]
        extra = [prior.extra(spot) or (0.0, 0.0) for spot in spots]
        moved = [
            replace(spot, depth=max(spot.depth + more, rod))
            for spot, (more, _) in zip(spots, extra, strict=True)
        ]
        probe = np.hypot(values["probe_error"], [spread for _, spread in extra])
        drawn = by_depth(moved, sand, base, rod, probe, draws, seed, after)
        for spot, readings in zip(spots, drawn.T, strict=True):
            own = reading_error(spot, rod, values["meter_error"])
            error = float(np.hypot(own, np.hypot(values["meter_offset"], values["model_error"])))
            low, high = np.quantile(np.clip(readings + error * shuffled, 0.0, 1.0), [LOW, HIGH])
            middle = float(ends_and_middle(readings)[1])
            found[spot.name] = (float(low), middle, float(high))
    return found


def _expected_shares(weights: Mapping[str, float] | None, faults: Faults) -> FloatArray:
    usual = {cause.name: cause.prior for cause in CAUSES}
    for name, value in (weights or {}).items():
        if name not in usual:
            faults.add(f'weights: no cause "{name}"', allowed=", ".join(NAMES))
        elif not 0.0 <= float(value) < np.inf:
            faults.add(f"weights: {name} is {value!r}", allowed="0 or more")
        else:
            usual[name] = float(value)
    shares = np.array([usual[name] for name in NAMES])
    if shares.sum() <= 0.0:
        faults.add("weights: all are 0", allowed="at least one above 0")
        return shares
    normalised: FloatArray = shares / shares.sum()
    return normalised


def _ends(given: Any, survey: Survey, faults: Faults) -> dict[str, tuple[float, float]]:
    """Take the ends of the extra depth of each spot whose ground was run [cm]."""
    known = {}
    for name, value in (given or {}).items():
        with faults.catching(f'extra_depth of "{name}"'):
            survey.spot(name)
            ends = value if isinstance(value, (tuple, list)) else (value, value)
            low, high = (number_to_house(each, "length", "extra depth") for each in ends)
            known[name] = (min(low, high), max(low, high))
    return known


def _prior(survey: Survey, probe_error: float) -> Prior:
    found = [spot.depth for spot in survey.spots if spot.has_depth and not spot.depth_at_least]
    caught = [spot.catch_depth for spot in survey.spots if spot.catch_depth is not None]
    # Without any depth: the usual build of 30 cm and more, and how it strays.
    usual, spread = (float(np.median(found)), 6.0) if found else (33.0, 8.0)
    mean_catch = float(np.median(caught)) if len(caught) > 1 else float("nan")
    return Prior(probe_error, usual, spread, mean_catch)


def _assumptions(
    calibration: Calibration | None,
    base: BaseSuction,
    after: AfterRain | None,
    values: Mapping[str, float],
    shares: FloatArray,
) -> tuple[str, ...]:
    wetted = "a flood" if after is None else f"{after.rate:g} mm/h on dry sand"
    expected = ", ".join(
        f"{cause.label} {100 * share:.0f} %" for cause, share in zip(CAUSES, shares, strict=True)
    )
    drained = (
        f"readings taken drained after {wetted}; the base is alike for all spots",
        f"suction left at the base: {base}",
    )
    return (
        *(drained if calibration is None else (LEARNED_GREEN,)),
        worded(
            lambda: (
                f"errors (standard): reading {100 * values['meter_error']:.1f} %, all readings "
                f"together {100 * values['meter_offset']:.1f} %, probe "
                f"{in_one_unit(values['probe_error'], 'length')}, level column "
                f"{100 * values['model_error']:.1f} %"
            )
        ),
        f"expected before reading: {expected}",
    )


def _cautions(
    read: Sequence[Spot],
    known: Mapping[str, Any],
    sand: Sand,
    worth: float,
    calibration: Calibration | None,
) -> list[str]:
    found = [
        "odds are over the causes listed, with the shares and ranges assumed, and no better than "
        "these: where causes that are rare elsewhere are common, give weights"
    ]
    found += repeats_caution(read)
    found += cautions_for("blame", "not modelled", "accuracy", "salt")
    sloping: dict[float, list[str]] = {}
    for spot in read:
        if spot.slope is not None and spot.name not in known:
            sloping.setdefault(spot.slope, []).append(spot.name)
    for slope, names in sloping.items():
        low, high = (min(100.0 * slope * each, SLOPE.most) for each in SLOPE.worth)
        found.append(slope_caution(slope, low, high, where=f"the crest at {listed(names)}"))
    if calibration is not None:
        return found
    if not isinstance(sand, FitResult) and not isinstance(sand, Sequence):
        found.append("the sand was taken for certain; give a FitResult to carry its band")
    times = [r.time for spot in read for r in spot.usable_readings if r.time is not None]
    if times and max(times) - min(times) > np.timedelta64(24, "h"):
        found.append(
            "readings span more than a day and were taken as equally drained; keep one morning"
        )
    if len(read) < 4:
        found.append(
            f"{len(read)} spots say little about meter and base; read the whole green if you can"
        )
    if worth < 20.0:
        found.append(
            f"the shared unknowns rest on {worth:.0f} possibilities: shares are rough by some per "
            "cent"
        )
    return [each for each in found if each]
