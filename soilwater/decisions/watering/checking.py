"""A plan run on fresh draws: what it claims of each spot is what this shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from soilwater.decisions.watering.aside import put_aside
from soilwater.decisions.watering.ensembles import OUTPUT_HOURS, course_of
from soilwater.decisions.watering.plan_words import (
    margin,
    quiet,
    surely_kept,
    walk,
    with_sentence,
)
from soilwater.decisions.watering.planning import Short, Wish
from soilwater.decisions.watering.trials import Trial
from soilwater.decisions.watering.tried import smooth_share
from soilwater.decisions.watering.water_plan import SpotPlan
from soilwater.runs.scheduling import Progress, reporting
from soilwater.runs.standing import Standing, Watered
from soilwater.survey.survey import Spot
from soilwater.weather.irrigation import Event
from soilwater.words.arrays import FloatArray

DEPTH_CLASS = 2.0
"""Spots whose depths fall within so much [cm] of one another share a plan, made for the deepest, if
that keeps it."""


def checked(
    known: Sequence[Spot],
    events: Mapping[int, Sequence[Event]],
    left_out: Mapping[int, Sequence[Event]],
    short: Mapping[int, Short | None],
    aside: Mapping[int, str],
    trial: Trial,
    wish: Wish,
    flow: float,
    begins: Sequence[int],
    alike: bool,
    sands: float,
    drained: Callable[[int], tuple[float, float]],
    n_threads: int | None,
    progress: Progress,
) -> tuple[SpotPlan, ...]:
    """Simulate a plan on fresh draws, and say of each spot what comes of it.

    Parameters
    ----------
    known : sequence of Spot
        Spots of the plan.
    events, left_out : mapping of int to sequence of Event
        Water of each spot in need, and what the crew has no time for.
    short : mapping of int to Short or None
        Why a spot in need does not keep the line; None where it does.
    aside : mapping of int to str
        Spots that are not watered by depth, and why.
    trial : Trial
        The fresh draws, without water by hand.
    wish : Wish
        What is asked for.
    flow : float
        Of the hose [L/min].
    begins : sequence of int
        The output time from which the plan of each spot was made to keep the line.
    alike : bool
        Whether spots differ in depth alone: they start drained.
    sands : float
        As for `margin`.
    drained : callable
        Tells what a spot reads drained, and drained after gentle water on a dry green [1].
    n_threads : int or None
        Threads to use.
    progress : bool or callable
        As for `run_columns`.
    """
    line, share = wish.line, wish.probability
    within = margin(share, trial.draws, alike, sands)
    by = int(np.searchsorted(trial.times, wish.firm_by, side="right")) - 1
    given = {i: each for i, each in events.items() if each}
    watered = _watered(known, given, alike, trial, n_threads, progress)
    plans = []
    for i, spot in enumerate(known):
        bare, first = trial.reading[i], begins[i]
        lowest_bare = bare[:, first:].min(axis=1)
        alone = smooth_share(lowest_bare, line)
        if i in aside:
            plan = put_aside(spot, aside[i], alone)
            plans.append(replace(plan, firm=_firm(bare, by, wish)))
            continue
        if i not in events and surely_kept(alone, share, within):
            plans.append(replace(quiet(spot, alone), firm=_firm(bare, by, wish)))
            continue
        reading, lost = bare, np.zeros(trial.draws)
        if i in watered:
            read, left = watered[i]
            reading, lost = read + trial.shift[i][:, None], left - trial.drainage[i][:, -1]
        lowest = reading[:, first:].min(axis=1)
        kept = smooth_share(lowest, line)
        under = np.flatnonzero((bare > line).mean(axis=0) < share)
        day = float(trial.hours[under[0]] / 24.0) if under.size else float("inf")
        plan = SpotPlan(
            spot=spot,
            waterings=tuple(walk(spot, event, flow) for event in events.get(i, ())),
            kept=kept,
            kept_without=alone,
            lowest=float(np.quantile(lowest, 0.2)),
            lowest_without=float(np.quantile(lowest_bare, 0.2)),
            first_below_without=day,
            to_gravel=float(lost.mean()),
            hours_bought=_hours(reading, line) - _hours(bare, line),
            held=surely_kept(kept, share, within),
            sentence="",
            firm=_firm(reading, by, wish),
            left_out=tuple(walk(spot, event, flow) for event in left_out.get(i, ())),
            course=course_of(trial.times, reading),
            course_without=course_of(trial.times, bare),
        )
        # Only a spot that is not kept is told what it reads drained, which takes a while to find.
        told = (0.0, 0.0)
        if not plan.held:
            told = drained(i)
        plans.append(with_sentence(plan, line, share, within, short.get(i), *told))
    return tuple(plans)


def _watered(
    known: Sequence[Spot],
    events: Mapping[int, Sequence[Event]],
    alike: bool,
    trial: Trial,
    n_threads: int | None,
    progress: Progress,
) -> dict[int, tuple[FloatArray, FloatArray]]:
    """Run spots with their water: what they read, before any shift [1], and what they lost [mm].

    Where spots are `alike` but for their depths, those of a class that are given the same are run
    at the least and the largest of these, and read between.
    """
    shared: dict[tuple[Any, ...], list[int]] = {}
    for i, given in events.items():
        same = tuple((event.time, event.amount) for event in given)
        near = int(known[i].depth // DEPTH_CLASS)
        shared.setdefault((near, same) if alike else (i,), []).append(i)
    ends = {
        key: list(dict.fromkeys(find(of_key, key=lambda i: known[i].depth) for find in (min, max)))
        for key, of_key in shared.items()
    }
    run = [i for of_key in ends.values() for i in of_key]
    if not run:
        return {}
    draws = np.arange(trial.draws)
    packed = trial.packed(run)
    came: dict[int, Watered] = {}
    with reporting(progress, len(packed.cases)) as tell:
        for place, i in enumerate(run):
            columns = Standing.of(packed.part(place * draws.size + draws), ())
            came[i] = columns.water(draws, events[i], n_threads)
            tell(draws.size)
    found = {}
    for key, of_key in shared.items():
        low, high = (ends[key][at] for at in (0, -1))
        upper, lower = known[low].depth, known[high].depth
        for i in of_key:
            part = (known[i].depth - upper) / (lower - upper) if lower > upper else 0.0
            reading, drainage = (
                (1.0 - part) * of_low + part * of_high
                for of_low, of_high in (
                    (came[low].reading, came[high].reading),
                    (came[low].drainage[:, -1], came[high].drainage[:, -1]),
                )
            )
            found[i] = (reading, drainage)
    return found


def _hours(reading: FloatArray, line: float) -> float:
    """Mean hours above a line [h]."""
    return OUTPUT_HOURS * float(np.mean((reading > line).sum(axis=1)))


def _firm(reading: FloatArray, by: int, wish: Wish) -> float:
    """Share of the draws that are firm when that is asked for [1]; NaN where it is not."""
    return float("nan") if np.isnat(wish.firm_by) else 1.0 - smooth_share(reading[:, by], wish.firm)
