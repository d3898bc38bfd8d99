"""Before and after: what a change would do to one spot.

Each change is a function that takes the spot as it is and returns it changed; the table puts the
spots side by side: drained reading, air, days to the thresholds, water to the gravel. What is not
known of sand and base is drawn once for all of them, and a change is told within each draw: most of
what makes the readings uncertain makes both sides so, and is not in their difference.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import attrgetter
from typing import overload

import numpy as np

from soilwater.decisions.watering.changes import Change
from soilwater.decisions.watering.drawn_spots import (
    drawn_change,
    drawn_spots,
    each_changed,
    learned_spots,
    root_zone_soil,
    with_best_of,
)
from soilwater.decisions.watering.ensembles import (
    band_of,
    day_text,
    memory_words,
)
from soilwater.decisions.watering.ground_outcomes import GroundWhatIf, ground_outcomes
from soilwater.decisions.watering.repellent_spots import (
    run_spots,
    wetting_notes,
    with_drawn_shares,
)
from soilwater.decisions.watering.situations import GroundSituation, Situation
from soilwater.decisions.watering.spot_numbers import NUMBERS, numbers_of
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely, carries_fit
from soilwater.lab.likely_memory import as_watered
from soilwater.learning.calibration import Calibration
from soilwater.runs.green_map import GreenMap
from soilwater.runs.repellent import Repellency, repellency_of
from soilwater.runs.transect import Transect
from soilwater.runs.wetted import AfterRain, check_rain, gently
from soilwater.soils import Soil
from soilwater.survey.drops import DropTests
from soilwater.survey.survey import Spot
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import ends_and_middle
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.forms import Length, Share, Suction
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

DRAWS = 50
"""Cases of sand and base behind a band."""
_MEMORIES = 3
"""Likely memories of wetting that a spot is run with; the middle of what they give is told."""


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
    bands : dict of str to two of float
        By the names of the numbers above but `drainage`, ends of what holds 80 % of the draws of
        sand and base; empty where nothing was drawn.
    gains : dict of str to three of float
        Likewise the low end, median and high end of what the change adds, each draw against the
        spot as it is in the same draw; days are counted to the end of the run. Empty for the spot
        as it is.
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
    bands: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    gains: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)


_DRAWN = tuple(NUMBERS)[:-1]
"""Those with a band. In draws a suction stands for the gravel, which keeps no water of its own to
drain."""


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
                *((told, attrgetter(name), quantity) for name, (told, quantity) in NUMBERS.items()),
                *(
                    (f"{told} {end}", lambda row, n=name, i=i: _band(row, n)[i], quantity)
                    for name, (told, quantity) in NUMBERS.items()
                    if name in _DRAWN
                    for i, end in enumerate(("at least", "at most"))
                ),
                ("notes", lambda each: "; ".join(map(str, each.notes)), ""),
            ],
        )

    def _rows(self) -> list[tuple[str, ...]]:
        water = one_writing("water_amount")

        def per_cent(value: float) -> str:
            return f"{100 * value:.1f}"

        def days(value: float) -> str:
            return f"{value:.1f}" if np.isfinite(value) else f"> {self.horizon:.0f}"

        def told(each: Outcome, name: str, write: Callable[[float], str]) -> str:
            low, high = _band(each, name)
            if write is days and low < high:
                ends = (day_text(end, self.horizon) for end in (low, high))
            else:
                ends = (write(end) for end in (low, high))
            text = write(getattr(each, name))
            return f"{text} ({' to '.join(ends)})" if low < high else text

        writers = (per_cent, per_cent, per_cent, days, days, days, days, water.figure)
        return [
            (
                each.name,
                *(told(each, *pair) for pair in zip(NUMBERS, writers, strict=True)),
                ", ".join(map(str, each.notes)),
            )
            for each in self.outcomes
        ]

    def _gains(self) -> list[str]:
        """Tell what each change adds, within each draw."""
        said = []
        for each in self.outcomes:
            if not each.gains:
                continue
            low, middle, high = (100.0 * end for end in each.gains["drained"])
            parts = [f"reads {middle:+.1f} % by volume ({low:+.1f} to {high:+.1f}); days"]
            for name in ("firm", "watch", "wilt"):
                # In halves, as days that draws lead to are told everywhere.
                low, middle, high = (round(2.0 * end) / 2.0 for end in each.gains[name])
                line = f"{100 * getattr(self.thresholds, name):g} %"
                parts.append(f"to {line} {middle:+.1f} ({low:+.1f} to {high:+.1f}),")
            said.append(f"{each.name}, against as it is: {' '.join(parts)}".rstrip(","))
        if said:
            said.append(
                "in brackets what holds four in five of the draws of what is not known; what a "
                f"change adds is told within each draw, days up to {self.horizon:g}"
            )
        return said

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
        lines = [*self._gains(), *(f"assumed: {each}" for each in self.assumptions)]
        lines += caution_lines(self.cautions)
        return Shown(self._title(), self._header(), self._rows(), lines, set_in=True)


def _band(outcome: Outcome, name: str) -> tuple[float, float]:
    """Give the ends of the band of a number; the number twice where nothing was drawn."""
    value = getattr(outcome, name)
    return outcome.bands.get(name, (value, value))


@overload
def what_if(
    profile: Profile | Spot,
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    changes: Sequence[Change],
    *,
    rod: Length,
    calibration: Calibration | None = None,
    irrigation: Sequence[Event] = (),
    after: AfterRain | None = None,
    wetting_share: Share | DropTests | Repellency | None = None,
    sand: Sand | None = None,
    base_suction: Suction | None = None,
    draws: int = DRAWS,
    seed: int = 0,
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
    n_threads: int | None = None,
) -> GroundWhatIf: ...


@mind_words(lines="thresholds")
def what_if(
    profile: Profile | Spot | Transect | GreenMap,
    weather: Weather,
    turf: Turf,
    thresholds: Thresholds,
    changes: Sequence[Change],
    *,
    rod: Length,
    calibration: Calibration | None = None,
    irrigation: Sequence[Event] = (),
    after: AfterRain | None = None,
    wetting_share: Share | DropTests | Repellency | None = None,
    sand: Sand | None = None,
    base_suction: Suction | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    n_threads: int | None = None,
) -> WhatIf | GroundWhatIf:
    """Put a spot, a line or a green as it is beside what each change would make of it.

    Parameters
    ----------
    profile : Profile, Spot, Transect or GreenMap
        The spot as it is, or one of the survey with a `calibration`; or a line or a green, whose
        columns pass water to their neighbours.
    weather : Weather
        Weather after a soaking has drained.
    turf : Turf
        Roots and demand.
    thresholds : Thresholds
        Readings to count to.
    changes : sequence of Change
        From `regrade`, `remove_mat`, `topdress`, `other_sand`, `blocked_outlet`, `wetting_agent`,
        `wettable` or `irrigate`; of a line or a green from `regrade`, `reshape`, `barrier`,
        `drain`, `other_sand`, `wetting_agent` or `irrigate`.
    rod : float, str or Quantity
        Length of the rods [cm].
    calibration : Calibration, optional
        What readings have taught, from `calibrate`: sand, base, own depth, turf and meter of the
        spot stay joint in every draw, and the numbers are those in the middle of the draws.
    irrigation : sequence of Event, optional
        Water applied to the spot as it is.
    after : AfterRain, optional
        How a spot was wetted last, if gently while dry; flooded when left out.
    wetting_share : float, str, Quantity, DropTests or Repellency, optional
        Share of a repellent spot that takes water [1], and how dry the rest is; all of it when left
        out. Of drop tests the share is drawn with sand and base. `wettable` puts beside it what
        the spot would do if all of it did.
    sand : Soil, FitResult or sequence of these, optional
        What the sand of a spot's root zone may be: a fit carries its band into the table. Where
        that of the profile is none of them, the best, of several the middle one, takes its place.
        What is told is then of the best, of several the middle of the draws. That of the profile,
        taken for certain, when left out; sands that changes bring have their own.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        What may be left at the base of a spot over gravel [cm]. When left out, that over gravels
        where it stands on the one `Profile.over_gravel` assumes, and what it stands on otherwise.
    draws : int, optional
        Cases of sand and base behind the bands, the same for the spot as it is and all changes.
    seed : int, optional
        Seed of the draws.
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
    Where `sand` is a fit, sands remember how they were wetted, by `likely_memories`, the same
    before and after a change: the middle of what three give is told, and each draw has its own.
    Soils are taken as they are given; what gentle water leaves of them is of a middle memory.

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
    faults.need_whole("draws", draws, 2)
    repellency: Repellency | None = None
    if wetting_share is not None:
        # One that is refused is none: changes are looked at as if it had been good.
        repellency = Repellency(0.5)
        with faults.catching():
            repellency = repellency_of(wetting_share)
    if isinstance(profile, Transect | GreenMap):
        if calibration is not None:
            faults.add(
                "a calibration knows single spots",
                cure='give the spot, survey.spot("C3"), or leave calibration out',
            )
        if after is not None:
            faults.add(
                "after: columns that share water keep their drying curve",
                cure="leave after out, or ask about a single spot",
            )
        if wetting_share is not None:
            faults.add("a whole ground is run as if all of it wets", cure="leave wetting_share out")
        if sand is not None or base_suction is not None:
            faults.add(
                "a whole ground is run with the sand and base it has",
                cure="leave sand and base_suction out, or ask ground_odds, which draws them",
            )
        before = GroundSituation(profile, tuple(irrigation))
        grounds, names = each_changed(before, changes, "to_ground", faults)
        topics = dict.fromkeys(topic for change in changes for topic in change.topics)
        return ground_outcomes(
            grounds, names, weather, turf, thresholds, length, tuple(topics), n_threads
        )
    check_rain(after, faults)
    # How a spot that was learnt wets, was learnt with the rest.
    usual: Sequence[Soil] = ()
    memories: Sequence[Soil] = ()
    if isinstance(profile, Spot) or calibration is not None:
        profiles, shift = learned_spots(
            profile, calibration, turf, sand, base_suction, length, faults
        )
        drawn = [_asked(each, irrigation, repellency) for each in profiles]
        spot = drawn[0]
        drawn = with_drawn_shares(drawn, spot, len(drawn), seed)
        turfs = calibration.turfs if calibration is not None else ()
    else:
        spot = with_best_of(_asked(profile, irrigation, repellency), sand, faults)
        drawn = drawn_spots(spot, weather, sand, base_suction, draws, seed, faults)
        drawn = with_drawn_shares(drawn, spot, draws, seed)
        known = root_zone_soil(spot) if sand is None else sand
        usual = (
            as_watered(known, _MEMORIES) if carries_fit(known) else best_and_likely(known, 1)[:1]
        )
        memories = as_watered(known, draws)
        if isinstance(sand, Sequence):
            # None of several stands for all: the middle is that of the draws.
            usual = ()
        turfs = (turf,) * (len(usual) + len(drawn))
        shift = np.zeros(len(turfs))
    situations, names = each_changed(spot, changes, "apply", faults)
    # One memory at a time, the same before and after.
    every = [each.remembering(memory) for memory in usual for each in situations]
    for k, own in enumerate(drawn):
        # A change that can be made to the spot can be made to what it may be.
        made = [drawn_change(each, spot, drawn, k).apply(own) for each in changes]  # type: ignore[misc]
        memory = memories[k % len(memories)] if memories else None
        every += [each.remembering(memory) if memory else each for each in (own, *made)]
    runs = run_spots(
        [each.case(weather, turfs[i // len(names)], after) for i, each in enumerate(every)],
        [each.repellency for each in every],
        length,
        n_threads=n_threads,
    )
    numbers = numbers_of(runs, every, thresholds, length, np.repeat(shift, len(names)))
    numbers = numbers.reshape(-1, len(names), len(NUMBERS))
    middle = _middle(numbers[: len(usual) or None])
    numbers = numbers[len(usual) :]
    horizon = float(runs.hours[-1]) / 24.0
    topics = dict.fromkeys(topic for change in changes for topic in change.topics)
    if repellency is not None:
        topics["not modelled"] = None
    outcomes = []
    for i, (name, each) in enumerate(zip(names, situations, strict=True)):
        bands, gains = _bands(numbers[:, i], numbers[:, 0] if i else None, horizon)
        best = dict(zip(NUMBERS, middle[i].tolist(), strict=True))
        outcomes.append(Outcome(name, **best, notes=each.notes, bands=bands, gains=gains))
    return WhatIf(
        outcomes=tuple(outcomes),
        thresholds=thresholds,
        rod=length,
        horizon=horizon,
        assumptions=memory_words(usual or memories),
        cautions=cautions_for(*topics, "wilt", "level ground", "base suction", "accuracy"),
    )


def _asked(
    profile: Profile, irrigation: Sequence[Event], repellency: Repellency | None
) -> Situation:
    spot = Situation(profile, tuple(irrigation), repellency=repellency)
    return replace(spot, notes=wetting_notes(spot))


def _middle(numbers: FloatArray) -> FloatArray:
    """Middle of each number over cases; the median where a day lies beyond the run in some."""
    found: FloatArray = np.median(numbers, axis=0)
    finite = np.isfinite(numbers).all(axis=0)
    found[finite] = ends_and_middle(numbers[:, finite])[1]
    return found


def _bands(
    drawn: FloatArray, before: FloatArray | None, horizon: float
) -> tuple[dict[str, tuple[float, float]], dict[str, tuple[float, float, float]]]:
    """Bands of a spot's numbers over the draws, and of what they are more than before in each."""
    if not len(drawn):
        return {}, {}
    bands = {name: band_of(drawn[:, i])[::2] for i, name in enumerate(_DRAWN)}
    if before is None:
        return bands, {}
    ends = [horizon if NUMBERS[name][1] == "days" else np.inf for name in NUMBERS]
    added = np.minimum(drawn, ends) - np.minimum(before, ends)
    return bands, {name: band_of(added[:, i]) for i, name in enumerate(_DRAWN)}
