"""The plan of a morning for a site: every green that can be planned, and why another cannot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from soilwater.decisions.watering.hand_watering import DRAWS, hand_water_plan
from soilwater.decisions.watering.plan_words import hose_text
from soilwater.decisions.watering.starts import usable
from soilwater.decisions.watering.water_plan import (
    HandWatering,
    HandWaterPlan,
    SpotPlan,
    walk_columns,
)
from soilwater.runs.scheduling import Progress
from soilwater.site.carried import carried_forward
from soilwater.site.file import Crew, Green, SiteFile
from soilwater.site.tables import GivenWater
from soilwater.survey.repeats import repeats_caution
from soilwater.survey.survey import Spot, Survey
from soilwater.weather.irrigation import Event, too_soon_to_read
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown, listed
from soilwater.words.errors import Faults
from soilwater.words.forms import Date
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import as_time, stamp
from soilwater.words.unit_choice import shown, worded


@dataclass(frozen=True, repr=False)
class Morning(Displayed, Tabled):
    """Plans for one morning, green by green.

    Attributes
    ----------
    name : str
        Of the site.
    day : datetime64
        The morning.
    greens : tuple of str
        Names of the greens that are planned.
    plans : tuple of HandWaterPlan
        One for each of these.
    crew : Crew
        Hoses and hours.
    notes : tuple of str
        What was taken for granted, and which greens have no plan and why.
    """

    name: str
    day: np.datetime64
    greens: tuple[str, ...]
    plans: tuple[HandWaterPlan, ...]
    crew: Crew
    notes: tuple[str, ...]

    @property
    def together(self) -> HandWaterPlan:
        """All plans as one, with the green before the name of each spot where there are several."""
        spots = [
            _called(each, f"{green} {each.spot.name}" if len(self.greens) > 1 else each.spot.name)
            for green, plan in zip(self.greens, self.plans, strict=True)
            for each in plan.spots
        ]
        return replace(self.plans[0], name=self.name, spots=tuple(spots), totals=())

    @property
    def today(self) -> tuple[HandWatering, ...]:
        """What is watered on this day, in the order of time and then of the walk."""
        walks = [
            walk
            for each in self.together.spots
            for walk in each.waterings
            if walk.time.astype("datetime64[D]") == self.day
        ]
        return tuple(sorted(walks, key=lambda walk: walk.time))

    @property
    def cautions(self) -> tuple[str, ...]:
        """What the person should know, of all plans."""
        return tuple(dict.fromkeys(each for plan in self.plans for each in plan.cautions))

    def _columns(self) -> list[Column]:
        outcomes = {each.spot.name: each.outcome for each in self.together.spots}
        return walk_columns(self.today, outcomes)

    def _shown(self) -> Shown:
        day = self.day.astype(object)
        rows = [
            (
                stamp(walk.time)[11:],
                walk.spot,
                one_writing("water_amount").figure(walk.amount),
                *(_or_dash(each) for each in shown(walk.litres, walk.gallons)),
                _or_dash(walk.seconds),
            )
            for walk in self.today
        ]
        spots = self.together.spots
        said = [each.sentence for each in spots if not each.held]
        later = [each for each in days_of(self.together.waterings) if each > self.day]
        lines = [self._hose_time(), *said]
        if later:
            lines.append(f"More by this plan on {', '.join(str(each) for each in later)}.")
        lines += [*self.notes, *caution_lines(self.cautions)]
        place = f"{self.name}, " if self.name else ""
        unit = one_writing("water_amount").unit
        header = ("when", "spot", unit, *shown("L", "US gal"), "hose s")
        return Shown(f"{place}{day:%A} {self.day}", header, rows, lines, set_in=True)

    def _hose_time(self) -> str:
        """Say whether the crew's hours are enough for what is to be watered."""
        if not self.today:
            return "No spot needs a hose today."
        known = [walk for walk in self.today if np.isfinite(walk.litres)]
        litres = sum(walk.litres for walk in known)
        said = [in_people_units(litres, "volume")] if known else []
        if len(known) < len(self.today):
            left = len(self.today) - len(known)
            said.append(f"{left} spot{' has' if left == 1 else 's have'} no area")
        seconds = sum(walk.seconds for walk in self.today if np.isfinite(walk.seconds))
        if seconds > 0.0:
            minutes = seconds / 60.0 / self.crew.hoses
            hoses = "one hose" if self.crew.hoses == 1 else f"{self.crew.hoses} hoses"
            said.append(f"{hose_text(60.0 * minutes)} with {hoses}, walking not counted")
            have = 60.0 * self.crew.hours
            if minutes > have:
                first = min(
                    (each for each in self.together.spots if each.waterings),
                    key=lambda each: each.first_below_without,
                )
                said.append(
                    f"the crew has {have:.0f} min: begin with those that fall first, "
                    f"{first.spot.name} before all"
                )
        return f"In all {'; '.join(said)}."


@mind_words()
def morning_plan(
    site: SiteFile,
    day: Date | None = None,
    *,
    probability: float = 0.8,
    draws: int = DRAWS,
    n_threads: int | None = None,
    progress: Progress = False,
) -> Morning:
    """Plan a morning's hand water for every green of a site.

    Parameters
    ----------
    site : SiteFile
        From `read_site_file`.
    day : datetime64 or str, optional
        The morning; today when left out.
    probability : float, optional
        Share of the draws that shall stay above the threshold of wilt [1].
    draws : int, optional
        As for `hand_water_plan`.
    n_threads : int, optional
        Threads to use.
    progress : bool or callable, optional
        As for `hand_water_plan`, green after green.

    Returns
    -------
    Morning

    Raises
    ------
    InputError
        If no green can be planned, with the reason for each.

    Notes
    -----
    A spot starts at what was read on it that day. One that was not read is run on from when it was
    last read or soaked, within a week, by the weather and the water since then. A green of which
    nothing was known for a week has no plan.
    """
    chosen = as_time(date.today() if day is None else day, "day").astype("datetime64[D]")
    faults = Faults(f"{site.path.name}, {chosen}")
    names, plans, notes = [], [], []
    weather, told_weather = site.weather.ahead(chosen)
    for green in site.greens:
        with faults.catching(f"green {green.name}"):
            survey, start, told = _start(site, green, chosen)
            plan = hand_water_plan(
                survey,
                site.sand(green.name),
                weather,
                green.turf,
                site.thresholds.wilt,
                probability=probability,
                flow=None if math.isnan(site.crew.flow) else site.crew.flow,
                start=start,
                rod=site.rod,
                base_suction=site.base_suction(green.name),
                meter_error=site.meter_error,
                draws=draws,
                n_threads=n_threads,
                progress=progress,
            )
            names.append(green.name)
            plans.append(plan)
            notes += [f"Green {green.name}: {told}."] if told else []
    if not plans:
        raise faults.as_error()
    if len(faults):
        notes += [f"No plan for {fault}" for fault in faults.as_error().faults]
    notes.append(worded(lambda: f"Weather: {'; '.join(map(str, told_weather))}."))
    return Morning(site.name, chosen, tuple(names), tuple(plans), site.crew, tuple(notes))


def _start(site: SiteFile, green: Green, day: np.datetime64) -> tuple[Survey, Any, str]:
    """Spots of a green with where their water stands on a morning, and what to say of it."""
    today = site.survey(green.name, day)
    read = [spot for spot in today.spots if usable(spot, site.rod)]
    survey, told = carried_forward(site, green, day)
    water = [each for each in site.water if each.green == green.name]
    soon: dict[str, list[str]] = {}
    for spot in read:
        soon.setdefault(_too_soon(spot, water), []).append(spot.name)
    told += [f"{', '.join(spots)}: {why}" for why, spots in soon.items() if why]
    told += repeats_caution(today.spots)
    later = [spot.name for spot in survey.spots if _watered_since(spot, water, day)]
    if later:
        told.append(f"watered this morning, which the plan leaves out: {listed(later)}")
    start = "readings" if any(usable(spot, site.rod) for spot in survey.spots) else "drained"
    return survey, start, "; ".join(told)


def _watered_since(spot: Spot, water: Sequence[GivenWater], day: np.datetime64) -> bool:
    """Whether a spot was given water on a day after it was read, or after it was run on to."""
    read = [each.time for each in spot.usable_readings if each.time is not None]
    return bool(read) and any(
        each.spot in ("", spot.name)
        and max(read) <= each.time
        and each.time.astype("datetime64[D]") == day
        for each in water
    )


def _too_soon(spot: Spot, water: Sequence[GivenWater]) -> str:
    """Why the readings of a spot come too soon after water; nothing where they do not."""
    if not spot.has_depth:
        return ""
    given = [
        # How much a soaking was does not matter here.
        Event(each.time, 25.0 if math.isnan(each.amount) else each.amount, duration=1.0)
        for each in water
        if each.spot in ("", spot.name)
    ]
    last = max(np.datetime64(each.time or "NaT") for each in spot.usable_readings)
    return too_soon_to_read(last, given, root_zone=spot.depth).rstrip(".")


def _called(plan: SpotPlan, name: str) -> SpotPlan:
    """Plan of a spot under another name."""
    return replace(
        plan,
        spot=replace(plan.spot, name=name),
        waterings=tuple(replace(walk, spot=name) for walk in plan.waterings),
        sentence=worded(lambda: f"{name}{str(plan.sentence).removeprefix(plan.spot.name)}"),
    )


def _or_dash(value: float) -> str:
    return f"{value:.0f}" if np.isfinite(value) else "-"


def days_of(walks: Sequence[HandWatering]) -> list[np.datetime64]:
    """Days on which something is watered, in order."""
    return sorted({walk.time.astype("datetime64[D]") for walk in walks})
