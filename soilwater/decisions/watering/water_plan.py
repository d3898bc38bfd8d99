"""A plan of hand water as a crew reads it: walks, spots, amounts in both unit systems."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from soilwater.decisions.watering.ensembles import Course
from soilwater.learning.calibration import Calibration
from soilwater.survey.survey import Spot
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown, as_counted
from soilwater.words.errors import Faults
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import LITRES_PER_US_GALLON, in_people_units
from soilwater.words.times import stamp
from soilwater.words.unit_choice import shown
from soilwater.words.units import number_to_house

SQUARE_METRES_PER_1000_FT2 = 92.90304
"""Exact: a foot is 0.3048 m."""
BORDERLINE = "borderline"
"""What comes of a plan whose share of draws is nearer to the share asked for than its standard
error: other draws might put it on the other side."""


def gallons_per_1000_ft2(amount: Any) -> float:
    """Write an amount of water as US gallons on 1000 square feet.

    Parameters
    ----------
    amount : float, str or Quantity
        Water [mm], which is litres on a square metre.

    Returns
    -------
    float
        US gallons [gal].

    Raises
    ------
    InputError
        If it is no amount of water.

    Examples
    --------
    >>> round(gallons_per_1000_ft2("1 mm"), 4)
    24.5424
    """
    millimetres = number_to_house(amount, "water_amount", "amount")
    return millimetres * SQUARE_METRES_PER_1000_FT2 / LITRES_PER_US_GALLON


@dataclass(frozen=True)
class HandWatering:
    """One walk to one spot.

    Attributes
    ----------
    spot : str
        Where.
    time : datetime64
        When.
    amount : float
        Water [mm], which is litres on a square metre.
    gallons_per_1000_ft2 : float
        The same in US gallons on 1000 square feet.
    area : float
        Area of the spot [m2]; NaN where it is not known.
    litres, gallons : float
        Water for the spot, in litres and US gallons; NaN without an area.
    seconds : float
        Hose time [s]; NaN without an area or a flow.
    """

    spot: str
    time: np.datetime64
    amount: float
    gallons_per_1000_ft2: float
    area: float
    litres: float
    gallons: float
    seconds: float


def walk_columns(walks: Sequence[HandWatering], outcomes: Mapping[str, str]) -> list[Column]:
    """Columns of walks, one row for each visit to a spot.

    `outcomes` tells by the name of the spot what comes of its water.
    """
    return columns_of(
        walks,
        [
            ("when", lambda walk: walk.time, ""),
            ("spot", lambda walk: walk.spot, ""),
            ("water", lambda walk: walk.amount, "water_amount"),
            ("on area", lambda walk: walk.amount, "water_on_area"),
            ("area", lambda walk: walk.area, "area"),
            ("water for the spot", lambda walk: walk.litres, "volume"),
            ("hose", lambda walk: walk.seconds, "seconds"),
            ("outcome", lambda walk: outcomes[walk.spot], ""),
        ],
    )


@dataclass(frozen=True)
class SpotPlan:
    """What the plan does for one spot, as simulated.

    Attributes
    ----------
    spot : Spot
        Name and depth.
    waterings : tuple of HandWatering
        In time; empty where none is needed, or none would help.
    kept, kept_without : float
        Share of the draws [1] that stay above the threshold from the first visit on, with and
        without the plan; of a spot that starts below it from two days later on.
    lowest, lowest_without : float
        Lowest reading [1] that four in five draws stay above.
    first_below_without : float
        Day [d] until which the stated share stays above the threshold without it; infinity if
        always.
    to_gravel : float
        Mean water of the plan that leaves through the base [mm].
    held : bool
        Whether the plan keeps the stated share above the threshold, and two standard errors of the
        share more: one that is nearer to it than that is neither kept nor not, its `outcome` is
        "borderline".
    sentence : str
        In words.
    why_not : str
        Why the spot does not keep the line and what to do, as what follows its name in a sentence;
        empty where it does.
    outcome : str
        The same in two or three words, as a table has it.
    hours_bought : float
        Hours above the threshold that the plan's water buys, mean of the draws [h].
    firm : float
        Share of the draws [1] in which it is firm when the plan is asked for that; else NaN.
    left_out : tuple of HandWatering
        Walks it would need that the crew has no time for.
    course, course_without : Course or None
        Readings [1] over time with the plan and without, with their bands; none of spots that are
        not in need of water.
    """

    spot: Spot
    waterings: tuple[HandWatering, ...]
    kept: float
    kept_without: float
    lowest: float
    lowest_without: float
    first_below_without: float
    to_gravel: float
    held: bool
    sentence: str
    why_not: str = ""
    outcome: str = ""
    hours_bought: float = 0.0
    firm: float = float("nan")
    left_out: tuple[HandWatering, ...] = ()
    course: Course | None = None
    course_without: Course | None = None


@dataclass(frozen=True, repr=False)
class HandWaterPlan(Displayed, Tabled):
    """Hand water for a green: what, where, when; and what happens without it.

    Attributes
    ----------
    name : str
        Of the survey.
    spots : tuple of SpotPlan
        Every spot with a depth, in the order of the survey.
    threshold : float
        Reading to stay above [1].
    probability : float
        Share of the draws asked to stay above it [1]; amounts are made for a larger one, see
        `assumptions`.
    rod : float
        Length of the rods [cm].
    totals : tuple of str
        Water and minutes for the crew, day by day and in all.
    assumptions, cautions : tuple of str
        What was assumed, and what the person should know.
    changes : tuple of str
        What `replan` changed since the plan before, spot by spot.
    calibration : Calibration or None
        What it started from.
    asked : mapping of str to object
        What it was asked for, to ask again.
    """

    name: str
    spots: tuple[SpotPlan, ...]
    threshold: float
    probability: float
    rod: float
    totals: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    changes: tuple[str, ...] = ()
    calibration: Calibration | None = field(default=None, repr=False, compare=False)
    asked: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)

    def spot(self, name: str) -> SpotPlan:
        """Find the plan of one spot.

        Parameters
        ----------
        name : str
            As in the survey.

        Raises
        ------
        InputError
            If it has no plan.
        """
        found = next((each for each in self.spots if each.spot.name == name), None)
        if found is None:
            faults = Faults("HandWaterPlan")
            faults.add(
                f'no spot "{name}"', allowed=", ".join(each.spot.name for each in self.spots)
            )
            raise faults.as_error()
        return found

    @property
    def waterings(self) -> tuple[HandWatering, ...]:
        """All walks in the order of time, then of their spots' names as people count."""
        walks = [walk for each in self.spots for walk in each.waterings]
        return tuple(sorted(walks, key=lambda walk: (walk.time, as_counted(walk.spot))))

    def _columns(self) -> list[Column]:
        return walk_columns(self.waterings, {each.spot.name: each.outcome for each in self.spots})

    def _rows(self) -> list[tuple[str, ...]]:
        alike: dict[tuple[Any, ...], list[HandWatering]] = {}
        starred = {each.spot.name for each in self.spots if not each.held}
        for walk in self.waterings:
            key = (walk.time, walk.amount, None if np.isnan(walk.area) else walk.area)
            alike.setdefault(key, []).append(walk)
        return [
            (
                stamp(walks[0].time),
                ", ".join(f"{walk.spot}{'*' * (walk.spot in starred)}" for walk in walks),
                *shown(f"{walks[0].amount:.1f}", f"{walks[0].gallons_per_1000_ft2:.0f}"),
                *shown(_or_dash(walks[0].litres, ".0f"), _or_dash(walks[0].gallons, ".1f")),
                _or_dash(walks[0].seconds, ".0f"),
            )
            for walks in alike.values()
        ]

    def _title(self) -> str:
        place = f' for "{self.name}"' if self.name else ""
        return (
            f"Hand water{place}: {100 * self.probability:.0f} % of the cases tried stay above "
            f"{100 * self.threshold:g} % with {in_people_units(self.rod, 'length')} rods"
        )

    def _said(self) -> list[str]:
        said = [*self.changes]
        if any(each.waterings and not each.held for each in self.spots):
            said.append(
                f"* not kept above {100 * self.threshold:g} % by this water, or {BORDERLINE}."
            )
        said += [each.sentence for each in self.spots if each.waterings or not each.held]
        quiet = [each.spot.name for each in self.spots if not each.waterings and each.held]
        if quiet:
            said.append(f"No water needed by hand: {', '.join(quiet)}.")
        said += self.totals
        said += [f"assumed: {each}" for each in self.assumptions]
        return said + caution_lines(self.cautions)

    def _shown(self) -> Shown:
        heads = (
            "when",
            "spots",
            *shown("mm = L/m2", "US gal/1000 ft2"),
            *shown("L each", "US gal each"),
            "hose s each",
        )
        # What no spot has, for want of areas or of a flow, has no column.
        columns = [
            (head, *cells)
            for head, *cells in zip(heads, *self._rows(), strict=True)
            if not head.endswith(" each") or any(cell != "-" for cell in cells)
        ]
        header, *rows = zip(*columns, strict=True)
        return Shown(self._title(), header, rows, self._said(), set_in=True)


def _or_dash(value: float, form: str) -> str:
    return format(value, form) if np.isfinite(value) else "-"
