"""What is not known of a spot's sand and base, drawn for the spot and every change of it alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, TypeVar

from soilwater.decisions.calibrated import check_calibration
from soilwater.decisions.watering.changes import Change
from soilwater.decisions.watering.draws import make_draws
from soilwater.decisions.watering.situations import GroundSituation, Situation
from soilwater.ground.base import CLEAN_GRAVEL, CapillaryBreak, GravelBlanket
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.learning.calibration import Calibration
from soilwater.soils import Soil
from soilwater.survey.survey import Spot
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.forms import Suction

_Before = TypeVar("_Before", Situation, GroundSituation)


def drawn_spots(
    spot: Situation,
    weather: Weather,
    sand: Sand | None,
    base_suction: Suction | None,
    draws: int,
    seed: int,
    faults: Faults,
) -> list[Situation]:
    """Draw what a spot may be; nothing where sand and base are certain.

    Parameters
    ----------
    spot : Situation
        The spot as it is.
    weather : Weather
        What it is run under.
    sand : Soil, FitResult, sequence of these, or None
        What the sand of its root zone may be; that of the profile if None.
    base_suction : BaseSuction, float, str, Quantity, two of these, or None
        What may be left at its base [cm]; if None that over gravels, where it stands on the gravel
        that is assumed, and what it stands on otherwise.
    draws, seed : int
        How many, and of what.
    faults : Faults
        Takes what cannot be used.
    """
    profile = spot.profile
    base = OVER_GRAVEL if profile.base == CLEAN_GRAVEL else None
    if base_suction is not None:
        with faults.catching():
            base = base_band(base_suction)
        if not isinstance(profile.base, GravelBlanket | CapillaryBreak):
            faults.add(
                f"base_suction is given, and the base is {profile.base}",
                cure="leave it out: it is of a profile over gravel",
            )
    if sand is None and (base is None or base.low == base.high):
        return []
    drawn = []
    with faults.catching():
        usual = root_zone_soil(spot)
        given = usual if sand is None else sand
        for draw in make_draws(given, [weather], base or OVER_GRAVEL, 0.0, draws, seed):
            below = profile.base if base is None else CapillaryBreak(draw.base)
            made = replace(_with_root_zone(spot, draw.soil), base=below)
            drawn.append(replace(spot, profile=made))
    return drawn


def with_best_of(spot: Situation, sand: Sand | None, faults: Faults) -> Situation:
    """Give a spot the best of what its sand may be; as it is where its own is one of them.

    Parameters
    ----------
    spot : Situation
        The spot.
    sand : Soil, FitResult, sequence of these, or None
        What the sand of its root zone may be; that of the profile if None.
    faults : Faults
        Takes a sand that cannot be used.
    """
    if sand is None:
        return spot
    with faults.catching():
        best, likely = best_and_likely(sand)
        if root_zone_soil(spot) not in (best, *likely):
            return replace(spot, profile=_with_root_zone(spot, best))
    return spot


def learned_spots(
    spot: Any,
    calibration: Calibration | None,
    turf: Turf,
    sand: Sand | None,
    base_suction: Suction | None,
    rod: float,
    faults: Faults,
) -> tuple[list[Profile], FloatArray]:
    """Draw what a spot is, as a calibration holds it; raise every fault.

    Parameters
    ----------
    spot : Spot
        One of those that were learnt.
    calibration : Calibration or None
        What was learnt.
    turf, sand, base_suction
        What was given beside it, which must agree.
    rod : float
        Length of the rods [cm].
    faults : Faults
        Found so far.

    Returns
    -------
    profiles : list of Profile
        One a draw.
    shift : ndarray, shape (draws,)
        What meter, mat and spot add to readings [1].
    """
    if calibration is None or not isinstance(spot, Spot):
        faults.add(
            "a spot of a survey and a calibration belong together",
            cure='give survey.spot("C3") and calibration=, or a Profile and none',
        )
        raise faults.as_error()
    known = getattr(calibration, "sand", None)
    check_calibration(
        calibration,
        {
            "turf": (turf, getattr(calibration, "turf", None)),
            "sand": (known if sand is None else sand, known),
            "base_suction": (base_suction, None),
        },
        faults,
    )
    faults.raise_if_any()
    number = calibration.number_of(spot)
    profiles = [calibration.profile(k, number) for k in range(calibration.draws)]
    return profiles, calibration.shift(rod=rod)[:, number]


def root_zone_soil(spot: Situation) -> Soil:
    """Soil of the root zone of a spot."""
    return spot.profile.layers[spot.profile.layer_index()].soil


def _with_root_zone(spot: Situation, soil: Soil) -> Profile:
    """Profile of a spot with another soil wherever that of its root zone lies."""
    usual = root_zone_soil(spot)
    layers = tuple(
        replace(each, soil=soil) if each.soil == usual else each for each in spot.profile.layers
    )
    return replace(spot.profile, layers=layers)


def drawn_change(change: Change, spot: Situation, drawn: Sequence[Situation], k: int) -> Change:
    """Give a change as it is in a draw: the sand that it brings is drawn too.

    Parameters
    ----------
    change : Change
        With the best of its sand.
    spot : Situation
        The spot as it is.
    drawn : sequence of Situation
        What it may be.
    k : int
        Number of the draw.
    """
    if change.sand is None or change.with_sand is None:
        return change
    best, likely = best_and_likely(change.sand, len(drawn))
    if best == root_zone_soil(spot):
        # The sand that lies there is, in each draw, what it is there.
        return change.with_sand(root_zone_soil(drawn[k]))
    return change.with_sand(likely[k % len(likely)])


def each_changed(
    before: _Before, changes: Sequence[Change], how: str, faults: Faults
) -> tuple[list[_Before], list[str]]:
    """Make each change on its own to what is there before; raise every fault.

    Parameters
    ----------
    before : Situation or GroundSituation
        A spot or a ground as it is.
    changes : sequence of Change
        What is tried.
    how : {"apply", "to_ground"}
        Which part of a change makes it.
    faults : Faults
        Found so far.
    """
    situations, names = [before], ["as it is"]
    for i, change in enumerate(changes):
        if not isinstance(change, Change):
            faults.add(
                f"{change!r} is no Change", where=f"changes[{i}]", allowed="regrade(...) ..."
            )
            continue
        make = getattr(change, how)
        if make is None:
            ground = isinstance(before, GroundSituation)
            faults.add(
                f'"{change.name}" is not made to a {"whole ground" if ground else "single spot"}',
                where=f"changes[{i}]",
                allowed="regrade, reshape, barrier, drain, other_sand, wetting_agent or irrigate"
                if ground
                else "any but reshape, barrier and drain, which need a Transect or a GreenMap",
            )
            continue
        with faults.catching():
            situations.append(make(before))
            names.append(change.name)
    faults.raise_if_any()
    return situations, names
