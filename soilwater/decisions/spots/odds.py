"""Odds over causes as a person reads them: of one spot, and of a green."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import xarray as xr

from soilwater.decisions.spots.cause import DEPTH_OR_METER, GROUPS, NONE_OF_THESE
from soilwater.decisions.spots.causes import CAUSES, NAMES, SLOPE
from soilwater.decisions.spots.shared import Basis, Reckoned
from soilwater.decisions.spots.states import State
from soilwater.survey.survey import Spot
from soilwater.survey.too_short import depth_in_words
from soilwater.words.arrays import FloatArray
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import InputError
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.vocabulary import attach

UNLIKELY, LIKELY = 0.10, 0.50
"""Probabilities below and above which a cause is called unlikely and likely, possible between."""


@dataclass(frozen=True)
class CauseOdds:
    """One cause at one spot.

    Attributes
    ----------
    cause : str
        Its short name.
    label : str
        In words.
    probability : float
        Probability [1] among the causes listed.
    consistent : bool
        Whether some size within its prior range explains what was measured.
    size : float
        Size that would give the reading with the best sand: depth, suction or mat [cm], factor
        [1], water [mm] or offset [1]; NaN where none does.
    sentence : str
        The size in plain words, and whether it is credible.
    """

    cause: str
    label: str
    probability: float
    consistent: bool
    size: float
    sentence: str


@dataclass(frozen=True)
class GroupOdds:
    """Causes that one reading hardly tells apart, together.

    Attributes
    ----------
    label : str
        What they have in common: "its own depth or the meter", "drier for another reason", "wetter
        for another reason" or "none of these".
    probability : float
        Probability [1] of any of them.
    causes : tuple of CauseOdds
        The most probable first, each with its probability within this group: of slope, crests are
        drier and toes wetter.
    """

    label: str
    probability: float
    causes: tuple[CauseOdds, ...]


class Found(NamedTuple):
    """What a further measurement showed: its kind, its rods [cm] and the outcome."""

    kind: str
    rod: float
    value: float


@dataclass(frozen=True, repr=False)
class SpotDiagnosis(Displayed, Tabled):
    """Odds of the causes at one spot.

    Attributes
    ----------
    spot : Spot
        What was measured.
    reading, expected : float
        Mean reading and what its own depth should give [1], for the rod of `rod` [cm], as
        `expected_reading` tells it; with a calibration both as drained, by the depth it behaves as
        if it had.
    band : (float, float)
        80 % band of the expected reading [1], errors of the meter included.
    as_green_reads : (float, float, float)
        Low end, middle and high end [1] of what its depth should give as the whole green reads:
        with what all readings say of meter, sand and base. Odds are by this.
    rod : float
        Length of the rod compared [cm].
    causes : tuple of CauseOdds
        The most probable first; probabilities add up to 1.
    groups : tuple of GroupOdds
        The same in groups, the most probable first: what a reading tells before it tells causes.
    sentence : str
        The outcome in words.
    findings : tuple of str
        What was learned after the survey and counted in.
    found : tuple of Found
        The same as numbers.
    own_depth : float
        Depth it behaves as if it had [cm], as a calibration holds it; NaN without one.
    states : State
        Equally likely possibilities left under each cause, shape (causes, particles).
    basis : Basis
        What it was weighed from, without findings.
    others : ndarray, shape (draws,)
        Weights of what spots share, by all but this spot.
    """

    spot: Spot
    reading: float
    expected: float
    band: tuple[float, float]
    as_green_reads: tuple[float, float, float]
    rod: float
    causes: tuple[CauseOdds, ...]
    groups: tuple[GroupOdds, ...]
    sentence: str
    findings: tuple[str, ...] = ()
    found: tuple[Found, ...] = ()
    own_depth: float = float("nan")
    states: State = field(default=None, repr=False, compare=False)  # type: ignore[assignment]
    basis: Basis = field(default=None, repr=False, compare=False)  # type: ignore[assignment]
    others: FloatArray = field(default=None, repr=False, compare=False)  # type: ignore[arg-type]

    def probability(self, cause: str) -> float:
        """Probability of a cause [1].

        Parameters
        ----------
        cause : str
            Short name of the cause.
        """
        return next(odds.probability for odds in self.causes if odds.cause == cause)

    def _columns(self) -> list[Column]:
        return odds_columns([self])

    def _rows(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for group in self.groups:
            if group.label != NONE_OF_THESE:
                rows.append((group.label, f"{100 * group.probability:.0f} %", "", ""))
            rows += [
                (
                    odds.label if group.label == NONE_OF_THESE else f"- {odds.label}",
                    f"{100 * odds.probability:.0f} %",
                    "consistent with" if odds.consistent else "not consistent with",
                    odds.sentence,
                )
                for odds in group.causes
                # Of slope, where hardly any possibility left is of this kind.
                if odds.probability >= _SHOWN or odds.cause != SLOPE.name
            ]
        return rows

    def _title(self) -> str:
        depth = "depth not found"
        if self.spot.has_depth:
            depth = depth_in_words(self.spot) + ("" if self.spot.depth_at_least else " deep")
        if np.isfinite(self.own_depth):
            depth += f" (behaves as if {in_people_units(self.own_depth, 'length')})"
        said = (
            f"{self.spot.name}, {depth}: reads {100 * self.reading:.1f} %, its depth should give "
            f"{100 * self.expected:.1f} % ({100 * self.band[0]:.1f} to {100 * self.band[1]:.1f})"
        )
        low, middle, high = self.as_green_reads
        if middle == self.expected:
            return said
        band = f"{100 * low:.1f} to {100 * high:.1f}"
        return f"{said}, as this green reads {100 * middle:.1f} % ({band})"

    def _shown(self) -> Shown:
        lines = [self.sentence, *(f"counted in: {each}" for each in self.findings)]
        return Shown(self._title(), _SPOT_HEADER, self._rows(), lines, set_in=True)


_SHOWN = 0.005
"""Least probability of slope that stands in a table of a group [1]."""
_SPOT_HEADER = ("cause", "probability", "the reading is", "size it would take")


@dataclass(frozen=True, repr=False)
class Diagnosis(Displayed, Tabled):
    """Odds of the causes at every spot of a survey.

    Attributes
    ----------
    name : str
        Of the survey.
    spots : tuple of SpotDiagnosis
        In the order of the survey; spots without a usable reading are left out.
    assumptions : tuple of str
        What was assumed, one sentence each.
    green : str
        What the green as a whole says about meter and base.
    cautions : tuple of str
        What the person should know before using the odds.
    reckoned : Reckoned
        What it reckons with: sands at rest, errors, usual values; for further measurements.
    """

    name: str
    spots: tuple[SpotDiagnosis, ...]
    assumptions: tuple[str, ...]
    green: str
    cautions: tuple[str, ...]
    reckoned: Reckoned = field(default=None, repr=False, compare=False)  # type: ignore[assignment]

    def spot(self, name: str) -> SpotDiagnosis:
        """Find the odds of one spot.

        Parameters
        ----------
        name : str
            As in the survey.

        Raises
        ------
        InputError
            If it is not among those with a usable reading.
        """
        for each in self.spots:
            if each.spot.name == name:
                return each
        allowed = ", ".join(each.spot.name for each in self.spots)
        raise InputError(f'Diagnosis: no spot "{name}" with a usable reading; allowed: {allowed}.')

    def to_dataset(self) -> xr.Dataset:
        """Shares as a labelled table.

        Returns
        -------
        Dataset
            `probability` [1] over ``spot`` and ``cause``; `reading` and `expected_reading` [1].
        """
        shares = [[each.probability(name) for name in NAMES] for each in self.spots]
        data = xr.Dataset(
            {
                "probability": (("spot", "cause"), np.array(shares)),
                "reading": ("spot", [each.reading for each in self.spots]),
                "expected_reading": ("spot", [each.expected for each in self.spots]),
            },
            {"spot": [each.spot.name for each in self.spots], "cause": list(NAMES)},
        )
        attached: xr.Dataset = attach(data)
        return attached

    def _columns(self) -> list[Column]:
        return odds_columns(self.spots)

    def _rows(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for each in self.spots:
            first, second = each.groups[:2]
            inside = first.causes[0]
            low, high = each.band
            rows.append(
                (
                    each.spot.name,
                    depth_in_words(each.spot),
                    f"{100 * each.reading:.1f}",
                    f"{100 * each.expected:.1f} ({100 * low:.1f} to {100 * high:.1f})",
                    f"{100 * each.as_green_reads[1]:.1f}",
                    f"{first.label} {100 * first.probability:.0f} %",
                    f"{inside.label} {100 * inside.probability:.0f} %",
                    f"{second.label} {100 * second.probability:.0f} %",
                )
            )
        return rows

    def _title(self) -> str:
        return f'Diagnosis of "{self.name}"' if self.name else "Diagnosis"

    def _shown(self) -> Shown:
        lines = [f"{each.spot.name}: {each.sentence}" for each in self.spots]
        lines += [self.green, *(f"assumed: {each}" for each in self.assumptions)]
        lines += caution_lines(self.cautions)
        return Shown(self._title(), _HEADER, self._rows(), lines, set_in=True)


_HEADER = (
    "spot",
    "depth",
    "reads %",
    "its depth gives %",
    "as this green reads",
    "first",
    "of these",
    "second",
)


def odds_columns(spots: Sequence[SpotDiagnosis]) -> list[Column]:
    """Columns of the odds at spots, one row for each cause at each."""
    rows = [(spot, odds) for spot in spots for odds in spot.causes]
    return columns_of(
        rows,
        [
            ("spot", lambda row: row[0].spot.name, ""),
            ("depth", lambda row: row[0].spot.depth, "length"),
            ("reading", lambda row: row[0].reading, "water_content"),
            ("expected", lambda row: row[0].expected, "water_content"),
            ("expected at least", lambda row: row[0].band[0], "water_content"),
            ("expected at most", lambda row: row[0].band[1], "water_content"),
            ("as this green reads", lambda row: row[0].as_green_reads[1], "water_content"),
            ("rod", lambda row: row[0].rod, "length"),
            ("cause", lambda row: row[1].label, ""),
            ("probability", lambda row: row[1].probability, "probability"),
            ("consistent", lambda row: row[1].consistent, ""),
            ("size it would take", lambda row: row[1].sentence, ""),
        ],
    )


def grouped(odds: Sequence[CauseOdds], states: State) -> tuple[GroupOdds, ...]:
    """Put the causes of a spot into their groups, the most probable first.

    Parameters
    ----------
    odds : sequence of CauseOdds
        Of all causes.
    states : State
        Possibilities left under each cause, shape (causes, particles).
    """
    members: dict[str, list[CauseOdds]] = {label: [] for label in GROUPS}
    for each in odds:
        number = NAMES.index(each.cause)
        for label, share in CAUSES[number].groups(states.take(number)).items():
            if share > 0.0:
                part = replace(each, probability=share * each.probability)
                members[label].append(part)
    found = [
        GroupOdds(
            label,
            sum(each.probability for each in causes),
            tuple(sorted(causes, key=lambda each: -each.probability)),
        )
        for label, causes in members.items()
    ]
    return tuple(sorted(found, key=lambda each: -each.probability))


def outcome_sentence(groups: Sequence[GroupOdds], odds: Sequence[CauseOdds]) -> str:
    """Sum up the odds of a spot in words for people: groups first, then causes within them.

    Parameters
    ----------
    groups : sequence of GroupOdds
        The most probable first.
    odds : sequence of CauseOdds
        Of all causes, the most probable first.
    """

    def causes_of(group: GroupOdds) -> str:
        told = [each for each in group.causes if each.probability >= UNLIKELY] or group.causes[:1]
        return ", ".join(f"{each.label} {100 * each.probability:.0f} %" for each in told)

    first, *others = groups
    word = "likely" if first.probability >= LIKELY else "possible"
    share = f"{100 * first.probability:.0f} %"
    if first.label == NONE_OF_THESE:
        said = f"None of the listed causes explains it well ({share})"
    elif first.label == DEPTH_OR_METER:
        said = f"Consistent with {first.label} ({word}, {share}: {causes_of(first)})"
    else:
        said = f"{first.label.capitalize()} ({word}, {share}), consistent with {causes_of(first)}"
    tail = [
        f"{each.label} ({100 * each.probability:.0f} %)"
        if each.label == NONE_OF_THESE
        else f"{each.label} ({100 * each.probability:.0f} %: {causes_of(each)})"
        for each in others
        if each.probability >= UNLIKELY
    ]
    if tail:
        said += "; possible too: " + ", ".join(tail)
    against = [each.label for each in odds if not each.consistent and each.cause != "none"]
    if against:
        said += ". Not consistent with " + ", ".join(against)
    return said + "."


def updated(diagnosis: Diagnosis, spot: SpotDiagnosis) -> Diagnosis:
    """Put the new odds of one spot into a diagnosis."""
    return replace(
        diagnosis,
        spots=tuple(spot if s.spot.name == spot.spot.name else s for s in diagnosis.spots),
    )
