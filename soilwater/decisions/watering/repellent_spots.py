"""Spots of which a share takes water: run as two columns, told as one, and tried as wettable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from soilwater.decisions.watering.changes import Change
from soilwater.decisions.watering.ensembles import Runs, run_columns
from soilwater.decisions.watering.situations import Situation
from soilwater.runs.case import Case
from soilwater.runs.repellent import Repellency, repellent_patches
from soilwater.words.errors import InputError
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.unit_choice import worded

_OVER_AREA = ("reading", "storage", "transpiration", "demand", "drainage", "runoff")


@mind_words()
def wettable() -> Change:
    """Let all of a repellent spot take water, whatever may bring that about.

    It says what such ground would do, not that anything makes it so: how far a product changes the
    share that wets is not known beforehand, and the label decides what may be applied.

    Returns
    -------
    Change
        For `what_if` with a `wetting_share`.
    """

    def apply(before: Situation) -> Situation:
        if before.repellency is None:
            raise InputError(
                "wettable: all of this spot takes water as it is; allowed: a spot of which less "
                "wets; write what_if(..., wetting_share=0.6), with the share of drops gone within "
                "5 s."
            )
        notes = tuple(each for each in before.notes if each not in wetting_notes(before))
        told = "if all of it wetted; nothing is promised to do that"
        return replace(before, repellency=None, notes=(*notes, told))

    return Change("as wettable", apply, ("label",))


def wetting_notes(spot: Situation) -> tuple[str, ...]:
    """Tell what a repellent spot was taken to be."""
    if spot.repellency is None:
        return ()
    told, suction = spot.repellency, spot.repellency.dry_suction
    share = f"{100 * told.wetting_share:.0f} %"
    if told.drop_tests is not None:
        low, _, high = told.drop_tests.wetting_share
        share = f"{share} ({100 * low:.0f} to {100 * high:.0f})"

    def dry() -> str:
        if suction is None:
            return "starts as the rest"
        return f"starts at {in_people_units(suction, 'suction')}"

    return (worded(lambda: f"{share} of it takes all the water; the part that stays dry {dry()}"),)


def with_drawn_shares(
    drawn: Sequence[Situation], spot: Situation, draws: int, seed: int
) -> list[Situation]:
    """Draw what of a spot wets, too, where drops say no more than a band.

    Parameters
    ----------
    drawn : sequence of Situation
        What its sand and base may be; nothing where these are certain.
    spot : Situation
        As it is.
    draws, seed : int
        How many, and of what.
    """
    told = spot.repellency
    if told is None or told.drop_tests is None:
        return [*drawn]
    every = [*drawn] or [spot] * draws
    strata = np.random.default_rng(seed).permutation(np.arange(len(every)) + 0.5) / len(every)
    shares = told.drop_tests.wetting_share_at(strata).tolist()
    return [
        replace(each, repellency=Repellency(share, dry_suction=told.dry_suction))
        for each, share in zip(every, shares, strict=True)
    ]


def run_spots(
    cases: Sequence[Case],
    repellencies: Sequence[Repellency | None],
    rod: float,
    n_threads: int | None = None,
) -> Runs:
    """Simulate spots, those of repellent ground as the area mean of their two parts.

    Parameters
    ----------
    cases : sequence of Case
        Columns as if all of them wetted.
    repellencies : sequence of Repellency or None
        One a case.
    rod : float
        Length of the rods [cm].
    n_threads : int, optional
        Threads to use.
    """
    parts: list[Case] = []
    shares = []
    for case, repellency in zip(cases, repellencies, strict=True):
        if repellency is None:
            parts.append(case)
            shares.append(np.ones(1))
        else:
            patches = repellent_patches(case, repellency)
            parts += patches.values.tolist()
            shares.append(patches.area_share.values)
    runs = run_columns(parts, rod, n_threads=n_threads)
    ends = np.cumsum([each.size for each in shares])
    over_area = {
        name: np.stack(
            [
                share @ getattr(runs, name)[end - share.size : end]
                for share, end in zip(shares, ends.tolist(), strict=True)
            ]
        )
        for name in _OVER_AREA
    }
    return runs._replace(**over_area)


def drained_reading(spot: Situation, everywhere: float, rod: float) -> float:
    """Give the reading of a spot at rest, of the part that takes water and the part that does not.

    Parameters
    ----------
    spot : Situation
        With what of it wets.
    everywhere : float
        What it reads where all of it wets [1].
    rod : float
        Length of the rods [cm].

    Returns
    -------
    float
        Reading [1].
    """
    if spot.repellency is None or spot.repellency.dry_suction is None:
        return everywhere
    ends = np.minimum(spot.profile.interfaces, rod)
    suction = spot.repellency.dry_suction
    dry = [float(layer.soil.water_content(suction)) for layer in spot.profile.layers]
    share = spot.repellency.wetting_share
    return share * everywhere + (1.0 - share) * float(np.diff(ends) @ np.array(dry) / rod)
