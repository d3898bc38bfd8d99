"""Before and after: what a change would do to one spot.

Each change is a function that takes the spot as it is and returns it changed; the table puts the
spots side by side: drained reading, air, days to the thresholds, water to the gravel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar, overload

import numpy as np

from soilwater.decisions.watering.changes import (
    Change,
    GroundSituation,
    Situation,
)
from soilwater.decisions.watering.ensembles import (
    daily_share_met,
    first_at_or_below,
    memory_words,
    run_columns,
)
from soilwater.decisions.watering.ground_outcomes import GroundWhatIf, ground_outcomes
from soilwater.decisions.watering.refill import rewetted_reading
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.runs.drained import drained_water_content
from soilwater.runs.green_map import GreenMap
from soilwater.runs.transect import Transect
from soilwater.runs.wetted import USUAL_RAIN, AfterRain, check_rain, gently
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.forms import Length
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

_MEMORIES = 3
"""Likely memories of wetting that a spot is tried with; the middle of what they give is told."""
_Before = TypeVar("_Before", Situation, GroundSituation)


@dataclass(frozen=True)
class Outcome:
    """One row of a before-and-after table.

    Attributes
    ----------
    name : str
        "as it is", or the change.
    drained : float
        Reading at rest after a flood, as a lab soaks [1].
    rewetted : float
        Reading at rest after 10 mm/h on a dry green [1].
    air_filled : float
        Air-filled porosity over the same depth at rest [1].
    firm, watch, wilt : float
        Days until the meter shows each threshold [d]; infinity is beyond the run.
    short_of_water : float
        Days until the turf first meets less of its demand than the threshold [d].
    drainage : float
        Water to the gravel over the run [mm].
    notes : tuple of str
        What to keep in mind.
    """

    name: str
    drained: float
    rewetted: float
    air_filled: float
    firm: float
    watch: float
    wilt: float
    short_of_water: float
    drainage: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class WhatIf(Displayed, Tabled):
    """Before and after, row by row; the first row is the spot as it is.

    Attributes
    ----------
    outcomes : tuple of Outcome
        Spot as it is, then one row a change.
    thresholds : Thresholds
        Thresholds counted to.
    rod : float
        Length of the rods [cm].
    horizon : float
        Length of the weather [d].
    assumptions, cautions : tuple of str
        What was assumed, and what the person should know.
    """

    outcomes: tuple[Outcome, ...]
    thresholds: Thresholds
    rod: float
    horizon: float
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]

    def _columns(self) -> list[Column]:
        return columns_of(
            self.outcomes,
            [
                ("change", lambda each: each.name, ""),
                ("drained", lambda each: each.drained, "water_content"),
                ("drained, watered gently", lambda each: each.rewetted, "water_content"),
                ("air filled", lambda each: each.air_filled, "water_content"),
                ("firm", lambda each: each.firm, "days"),
                ("watch", lambda each: each.watch, "days"),
                ("wilt", lambda each: each.wilt, "days"),
                ("short of water", lambda each: each.short_of_water, "days"),
                ("to gravel", lambda each: each.drainage, "water_amount"),
                ("notes", lambda each: "; ".join(each.notes), ""),
            ],
        )

    def _rows(self) -> list[tuple[str, ...]]:
        def days(value: float) -> str:
            return f"{value:.1f}" if np.isfinite(value) else f"> {self.horizon:.0f}"

        return [
            (
                each.name,
                f"{100 * each.drained:.1f}",
                f"{100 * each.rewetted:.1f}",
                f"{100 * each.air_filled:.1f}",
                *(days(v) for v in (each.firm, each.watch, each.wilt, each.short_of_water)),
                one_writing("water_amount").figure(each.drainage),
                ", ".join(each.notes),
            )
            for each in self.outcomes
        ]

    def _header(self) -> tuple[str, ...]:
        return (
            "",
            "drained %",
            f"after {gently()} %",
            "air %",
            f"days to {100 * self.thresholds.firm:g} %",
            f"{100 * self.thresholds.watch:g} %",
            f"{100 * self.thresholds.wilt:g} %",
            f"turf gets < {100 * self.thresholds.demand_met:g} %",
            f"to gravel {one_writing('water_amount').unit}",
            "",
        )

    def _title(self) -> str:
        return f"What if, {in_people_units(self.rod, 'length')} rods, {self.horizon:g} days"

    def _shown(self) -> Shown:
        lines = [f"assumed: {each}" for each in self.assumptions]
        lines += caution_lines(self.cautions)
        return Shown(self._title(), self._header(), self._rows(), lines, set_in=True)


@overload
def what_if(
    profile: Profile,
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    changes: Sequence[Change],
    *,
    rod: Length,
    irrigation: Sequence[Event] = (),
    after: AfterRain | None = None,
    n_threads: int | None = None,
) -> WhatIf: ...


@overload
def what_if(
    profile: Transect | GreenMap,
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    changes: Sequence[Change],
    *,
    rod: Length,
    irrigation: Sequence[Event] = (),
    after: AfterRain | None = None,
    n_threads: int | None = None,
) -> GroundWhatIf: ...


@mind_words(lines="thresholds")
def what_if(
    profile: Profile | Transect | GreenMap,
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    changes: Sequence[Change],
    *,
    rod: Length,
    irrigation: Sequence[Event] = (),
    after: AfterRain | None = None,
    n_threads: int | None = None,
) -> WhatIf | GroundWhatIf:
    """Put a spot, a line or a green as it is beside what each change would make of it.

    Parameters
    ----------
    profile : Profile, Transect or GreenMap
        The spot as it is; or a line or a green, whose columns pass water to their neighbours.
    weather : Weather
        Weather after a soaking has drained.
    turf : Turf
        Roots and demand.
    thresholds : Thresholds
        Readings to count to.
    changes : sequence of Change
        From `regrade`, `remove_mat`, `topdress`, `other_sand`, `blocked_outlet`, `wetting_agent`
        or `irrigate`; of a line or a green from `regrade`, `reshape`, `barrier`, `other_sand`,
        `wetting_agent` or `irrigate`.
    rod : float, str or Quantity
        Length of the rods [cm].
    irrigation : sequence of Event, optional
        Water applied to the spot as it is.
    after : AfterRain, optional
        How a spot was wetted last, if gently while dry; flooded when left out. Not of a line or a
        green, whose columns keep their drying curve.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    WhatIf or GroundWhatIf

    Raises
    ------
    InputError
        If a change cannot be made to this spot, or something given cannot be used.
    RunError
        If a column cannot be carried through.

    Notes
    -----
    Sands without a memory of how they were wetted are given three likely ones
    (`likely_memories`), the same before and after a change; the middle of what they give is told.

    Examples
    --------
    >>> from soilwater.decisions.watering.changes import regrade
    >>> from soilwater.soils import VanGenuchten
    >>> from soilwater.weather.made import steady_weather
    >>> sand = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
    >>> pocket = Profile.over_gravel(sand, 46.0)
    >>> table = what_if(
    ...     pocket, steady_weather(10, "5 mm/day"), Turf("15 cm"),
    ...     Thresholds("18 %", "14 %", "12 %"), [regrade("38 cm")], rod="3 in",
    ... )
    >>> [round(100 * row.drained, 1) for row in table.outcomes]
    [14.4, 17.6]
    """
    length = number_to_house(rod, "length", "rod")
    faults = Faults("what_if")
    if length <= 0.0:
        faults.add(f"rod is {length:g} cm", allowed="above 0")
    if isinstance(profile, Transect | GreenMap):
        if after is not None:
            faults.add(
                "after: columns that share water keep their drying curve",
                cure="leave after out, or ask about a single spot",
            )
        before = GroundSituation(profile, tuple(irrigation))
        grounds, names = _changed(before, changes, "to_ground", faults)
        topics = dict.fromkeys(topic for change in changes for topic in change.topics)
        return ground_outcomes(
            grounds, names, weather, turf, thresholds, length, tuple(topics), n_threads
        )
    check_rain(after, faults)
    situations, names = _changed(Situation(profile, tuple(irrigation)), changes, "apply", faults)
    # Each memory on its own, the same before and after.
    memories = [[each.remembering(k, _MEMORIES) for each in situations] for k in range(_MEMORIES)]
    runs = run_columns(
        [each.case(weather, turf, after) for memory in memories for each in memory],
        length,
        n_threads=n_threads,
    )
    days = runs.hours / 24.0
    met = daily_share_met(runs.hours, runs.transpiration, runs.demand)
    middles: FloatArray = np.arange(met.shape[1], dtype=np.float64) + 0.5
    found = [
        first_at_or_below(days, runs.reading, line)
        for line in (thresholds.firm, thresholds.watch, thresholds.wilt)
    ]
    found += [first_at_or_below(middles, met, thresholds.demand_met), runs.drainage[:, -1]]
    firm, watch, wilt, short, drainage = (
        np.median(each.reshape(_MEMORIES, -1), axis=0) for each in found
    )
    outcomes = []
    for i, (name, each) in enumerate(zip(names, situations, strict=True)):
        drained = drained_water_content(each.at_rest, 0.0, length)
        rewetted = [rewetted_reading(own[i].at_rest, USUAL_RAIN, length) for own in memories]
        outcomes.append(
            Outcome(
                name=name,
                drained=drained,
                rewetted=float(np.median(rewetted)),
                air_filled=_pore_space(each.profile, length) - drained,
                firm=float(firm[i]),
                watch=float(watch[i]),
                wilt=float(wilt[i]),
                short_of_water=float(short[i]),
                drainage=float(drainage[i]),
                notes=each.notes,
            )
        )
    topics = dict.fromkeys(topic for change in changes for topic in change.topics)
    return WhatIf(
        outcomes=tuple(outcomes),
        thresholds=thresholds,
        rod=length,
        horizon=float(days[-1]),
        assumptions=memory_words([memory[0].profile.layers[-1].soil for memory in memories]),
        cautions=cautions_for(*topics, "wilt", "level ground", "base suction", "accuracy"),
    )


def _changed(
    before: _Before, changes: Sequence[Change], how: str, faults: Faults
) -> tuple[list[_Before], list[str]]:
    """Make each change on its own to what is there before; raise every fault."""
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
                allowed="regrade, reshape, barrier, other_sand, wetting_agent or irrigate"
                if ground
                else "any change but reshape and barrier, which need a Transect or a GreenMap",
            )
            continue
        with faults.catching():
            situations.append(make(before))
            names.append(change.name)
    faults.raise_if_any()
    return situations, names


def _pore_space(profile: Profile, depth: float) -> float:
    """Mean saturated water content down to a depth [1]."""
    ends = np.minimum(profile.interfaces, depth)
    space = [layer.soil.theta_s for layer in profile.layers]
    return float(np.diff(ends) @ np.array(space) / depth)
