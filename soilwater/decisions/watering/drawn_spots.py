"""What is not known of a spot's sand and base, drawn for the spot and every change of it alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from soilwater.decisions.watering.changes import Change, Situation
from soilwater.decisions.watering.ensembles import make_draws
from soilwater.ground.base import CLEAN_GRAVEL, CapillaryBreak, GravelBlanket
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.soils import Soil
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults
from soilwater.words.forms import Suction


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
            layers = tuple(
                replace(each, soil=draw.soil) if each.soil == usual else each
                for each in profile.layers
            )
            below = profile.base if base is None else CapillaryBreak(draw.base)
            drawn.append(replace(spot, profile=replace(profile, layers=layers, base=below)))
    return drawn


def root_zone_soil(spot: Situation) -> Soil:
    """Soil of the root zone of a spot."""
    return spot.profile.layers[spot.profile.layer_index()].soil


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
