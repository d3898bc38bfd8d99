"""A probe and meter survey of a green, tee or field: what was found at each spot, and where.

The messy files these come from are read by `read_survey`, in `soilwater.survey.sheet`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from soilwater.survey.drops import DropTests
from soilwater.survey.earth import metres_from
from soilwater.survey.together import mean_of, same_rod
from soilwater.survey.too_short import ask_of_plus, depth_in_words, split_least
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError, by_kind
from soilwater.words.forms import Length
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.several import items_of, number_of
from soilwater.words.times import as_time, stamp
from soilwater.words.units import number_to_house

AIR_GAP = 0.01
"""A reading at or below this [1] is taken for rods in air (common practice, no source)."""
MOST_A_SAND_HOLDS = 0.48
"""A reading above this [1] is more than the pore space of a sand (common practice, no source)."""
OVER_RANGE = 0.75
"""A reading above this [1] is the end of the meter's scale (common practice, no source)."""


SHORT_OF_THE_ROD = 1.0
"""A probe depth may be this much short [cm] of a rod that was pushed in (probe error)."""


@needs_all('Reading("16 %", rod="3 in")')
@mind_words()
@dataclass(frozen=True)
class Reading:
    """One reading of a hand-held moisture meter.

    Parameters
    ----------
    value : float, str or Quantity
        Water content by volume the meter showed [1].
    rod : float, str or Quantity
        Length of its rods [cm].
    time : datetime64 or str, optional
        When it was taken, in local standard time.
    meter : str, optional
        Which meter, where several were used.
    added_error : float or str, optional
        Standard error [1] beyond that of the meter, such as of a reading that was run on for days.

    Raises
    ------
    InputError
        If the value is not between 0 and 1, the rods have no length, the time is none, or the
        error is below 0.

    Examples
    --------
    >>> Reading("22 %", rod="3 in").rod
    7.62
    >>> Reading(0.52, rod="3 in").doubt
    'more than the pore space of a sand: salt, a wet mat or the wrong soil setting'
    """

    value: float
    rod: float = field(kw_only=True)
    time: np.datetime64 | None = field(default=None, kw_only=True)
    meter: str = field(default="", kw_only=True)
    added_error: float = field(default=0.0, kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults("Reading")
        with faults.catching():
            error = number_to_house(self.added_error, "water_content", "added_error")
            object.__setattr__(self, "added_error", error)
        with faults.catching():
            value = number_to_house(self.value, "water_content", "value")
            object.__setattr__(self, "value", value)
        with faults.catching():
            rod = number_to_house(self.rod, "length", "rod")
            if not rod > 0.0:
                faults.add(f"rod is {rod:g} cm", allowed="above 0 cm")
            object.__setattr__(self, "rod", rod)
        if self.time is not None:
            with faults.catching():
                object.__setattr__(self, "time", as_time(self.time, "time"))
        faults.raise_if_any()

    @property
    def doubt(self) -> str:
        """Why the value belongs on the map but not into a mean; empty where it is usable."""
        if self.value <= AIR_GAP:
            return "no water at all: an air gap along the rods, or rods not pushed in"
        if self.value > OVER_RANGE:
            return "over the range of the meter: standing water, metal or a fault"
        if self.value > MOST_A_SAND_HOLDS:
            return "more than the pore space of a sand: salt, a wet mat or the wrong soil setting"
        return ""


@needs_all('Spot("C3", "18 in")')
@dataclass(frozen=True)
class Spot:
    """One spot of a survey.

    Parameters
    ----------
    name : str
        What people call it: ``"C3"``.
    depth : float, str or Quantity
        Depth of the root zone found by the probe, from the turf surface [cm]; ``"18+ in"`` where
        it was too short, NaN where it was not found.
    depth_at_least : bool, optional
        Whether the probe was too short: the depth is `depth` or more.
    x, y : float, str or Quantity, optional
        Distances east and north of a common point [m] (a text with a unit is converted).
    surface_level : float, str or Quantity, optional
        Level of the surface above a mark that all spots share [cm].
    readings : sequence of Reading, optional
        Meter readings, in any order.
    slope : float, str or Quantity, optional
        Slope of the surface, rise over run [1].
    mat_thickness : float, str or Quantity, optional
        Thickness of the organic mat at the surface [cm].
    drop_time : float, optional
        Time a water drop sat on a dry plug [s]; of drop tests their geometric mean where drops sit
        longest.
    drop_tests : DropTests, optional
        Drop times by depth, where more than one drop was set.
    catch_depth : float, str or Quantity, optional
        Depth of water in the catch can here [mm].
    area : float, str or Quantity, optional
        Area the spot stands for [m2].

    Raises
    ------
    InputError
        With every fault at once.

    Examples
    --------
    >>> read = (Reading("16 %", rod="3 in"), Reading("15 %", rod="3 in"))
    >>> spot = Spot("C3", "18 in", readings=read)
    >>> spot.depth, round(spot.mean_reading(), 3)
    (45.72, 0.155)
    """

    name: str
    depth: float = math.nan
    depth_at_least: bool = field(default=False, kw_only=True)
    x: float | None = field(default=None, kw_only=True)
    y: float | None = field(default=None, kw_only=True)
    surface_level: float | None = field(default=None, kw_only=True)
    readings: tuple[Reading, ...] = field(default=(), kw_only=True)
    slope: float | None = field(default=None, kw_only=True)
    mat_thickness: float | None = field(default=None, kw_only=True)
    drop_time: float | None = field(default=None, kw_only=True)
    drop_tests: DropTests | None = field(default=None, kw_only=True)
    catch_depth: float | None = field(default=None, kw_only=True)
    area: float | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'Spot "{self.name}"')
        if not str(self.name).strip():
            faults.add("it has no name", cure='give each spot a name, such as "C3"')
        if isinstance(self.depth, str):
            ask_of_plus(self.depth, faults)
            reached, least = split_least(self.depth)
            object.__setattr__(self, "depth", reached)
            object.__setattr__(self, "depth_at_least", least or self.depth_at_least)
        if not (isinstance(self.depth, float) and math.isnan(self.depth)):
            self._take("depth", self.depth, "length", faults, above_zero=True)
        elif self.depth_at_least:
            faults.add("depth_at_least without a depth", cure="give the depth that was reached")
        for name in ("x", "y"):
            value: Any = getattr(self, name)
            if isinstance(value, str):
                with faults.catching():
                    object.__setattr__(self, name, number_to_house(value, "length", name) / 100.0)
            elif value is not None and not math.isfinite(number_of(value)):
                faults.add(f"{name} is {by_kind(value)}", allowed="a distance in metres, or None")
        if self.surface_level is not None:
            with faults.catching():
                level = number_to_house(self.surface_level, "length", "surface_level")
                object.__setattr__(self, "surface_level", level)
        for name, quantity in (
            ("slope", "slope"),
            ("mat_thickness", "length"),
            ("catch_depth", "water_amount"),
            ("area", "area"),
        ):
            if getattr(self, name) is not None:
                self._take(name, getattr(self, name), quantity, faults, above_zero=name == "area")
        drop = self.drop_time
        if drop is not None and not 0.0 <= number_of(drop) < math.inf:
            faults.add(f"drop_time is {by_kind(drop)}", allowed="0 s or more, a plain number")
        self._take_drops(faults)
        readings = items_of(
            self.readings, "readings", 'write readings=[Reading("16 %", rod="3 in")]', faults
        )
        for i, reading in enumerate(readings):
            if not isinstance(reading, Reading):
                faults.add(
                    f"{reading!r} is no reading",
                    where=f"readings[{i}]",
                    cure="write Reading(value, rod)",
                )
        object.__setattr__(self, "readings", readings)
        faults.raise_if_any()

    def _take_drops(self, faults: Faults) -> None:
        tests: Any = self.drop_tests
        if tests is None:
            return
        if not isinstance(tests, DropTests):
            faults.add(
                f"drop_tests is {by_kind(tests)}",
                allowed="DropTests, such as DropTests({0: [2, 3], 1: [90, 600]})",
            )
        elif self.drop_time not in (None, tests.drop_time):
            faults.add(
                f"drop_time is {by_kind(self.drop_time)} s, and the drops of drop_tests sit "
                f"{tests.drop_time:g} s where they sit longest",
                cure="leave drop_time out: it follows from drop_tests",
            )
        else:
            object.__setattr__(self, "drop_time", tests.drop_time)

    def _take(
        self, name: str, given: Any, quantity: str, faults: Faults, *, above_zero: bool
    ) -> None:
        with faults.catching():
            value = number_to_house(given, quantity, name)
            if value < 0.0 or (above_zero and value == 0.0):
                faults.add(f"{name} is {value:g}", allowed="above 0" if above_zero else "0 or more")
            object.__setattr__(self, name, value)

    @property
    def has_depth(self) -> bool:
        """Whether a depth was found, be it only a least one."""
        return not math.isnan(self.depth)

    @property
    def usable_readings(self) -> tuple[Reading, ...]:
        """Readings without a doubt about them."""
        return tuple(reading for reading in self.readings if not reading.doubt)

    def mean_reading(self) -> float:
        """Mean of the usable readings [1], by how sure they are; NaN without any.

        Raises
        ------
        InputError
            If they were taken with rods of different length: such readings do not compare.
        """
        usable = self.usable_readings
        rods = sorted({reading.rod for reading in usable})
        if len(rods) > 1:
            faults = Faults(f'Spot "{self.name}"')
            faults.add(
                f"{rod_list(rods)} are mixed",
                cure="split the survey by rod length with Survey.with_rod",
            )
            raise faults.as_error()
        return mean_of(usable)


@needs_all('Survey([Spot("C3", "18 in")])')
@dataclass(frozen=True, repr=False)
class Survey(Displayed, Tabled):
    """Spots of one green, tee or field.

    Parameters
    ----------
    spots : sequence of Spot
        In any order; their names differ.
    name : str, optional
        What people call the place.
    notes : tuple of str, optional
        What a reader understood, assumed or left out.
    origin : tuple of float, optional
        Latitude and longitude [degrees] that `x` and `y` of the spots are counted from, where they
        are known.

    Raises
    ------
    InputError
        If there are no spots, or two have one name.
    """

    spots: tuple[Spot, ...]
    name: str = ""
    notes: tuple[str, ...] = ()
    origin: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        faults = Faults(f'Survey "{self.name}"' if self.name else "Survey")
        given: Any = self.spots
        spots: tuple[Any, ...] = tuple(given) if isinstance(given, Iterable) else (given,)
        for i, spot in enumerate(spots):
            if not isinstance(spot, Spot):
                faults.add(
                    f"{spot!r} is no spot", where=f"spots[{i}]", cure="write Spot(name, depth)"
                )
        if not spots:
            faults.add("it has no spots", cure="give at least one Spot(name, depth)")
        names = [spot.name for spot in spots if isinstance(spot, Spot)]
        for name in sorted({name for name in names if names.count(name) > 1}):
            faults.add(
                f'{names.count(name)} spots are called "{name}"',
                cure="give each its own name; several visits to one spot are readings of it",
            )
        notes = items_of(self.notes, "notes", 'write notes=["a sentence"]', faults)
        faults.raise_if_any()
        object.__setattr__(self, "spots", spots)
        object.__setattr__(self, "notes", notes)

    def spot(self, name: str) -> Spot:
        """Find a spot by its name.

        Parameters
        ----------
        name : str
            As in the survey.

        Returns
        -------
        Spot

        Raises
        ------
        InputError
            If there is none of that name.
        """
        found = next((spot for spot in self.spots if spot.name == name), None)
        if found is None:
            faults = Faults("Survey")
            faults.add(
                f'no spot is called "{name}"', allowed=", ".join(spot.name for spot in self.spots)
            )
            raise faults.as_error()
        return found

    def seen_from(self, origin: tuple[float, float]) -> Survey:
        """Count places from another point.

        Parameters
        ----------
        origin : tuple of float
            Its latitude and longitude [degrees].

        Returns
        -------
        Survey
            The same spots.

        Raises
        ------
        InputError
            If it is not known where on Earth the spots are.
        """
        if self.origin is None:
            raise InputError(
                f"{self._title()}: its places are metres from a point nobody told; allowed: "
                "latitude and longitude in both surveys, or in neither."
            )
        east, north = metres_from(origin, self.origin)
        moved = tuple(
            spot
            if spot.x is None or spot.y is None
            else replace(spot, x=spot.x + east, y=spot.y + north)
            for spot in self.spots
        )
        return replace(self, spots=moved, origin=origin)

    @property
    def rods(self) -> tuple[float, ...]:
        """Lengths of the rods used [cm], in rising order."""
        return tuple(sorted({reading.rod for spot in self.spots for reading in spot.readings}))

    @mind_words()
    def with_rod(self, *, rod: Length) -> Survey:
        """Keep only the readings of one rod length; all spots stay.

        Parameters
        ----------
        rod : float, str or Quantity
            Length of the rods [cm], to a millimetre.

        Returns
        -------
        Survey

        Raises
        ------
        InputError
            If no reading was taken with such rods.
        """
        length = number_to_house(rod, "length", "rod")
        kept = [
            replace(spot, readings=tuple(r for r in spot.readings if same_rod(r.rod, length)))
            for spot in self.spots
        ]
        if not any(spot.readings for spot in kept):
            faults = Faults("rod")
            faults.add(
                f"no reading was taken with {in_people_units(length, 'length')} rods",
                allowed=rod_list(self.rods) or "the survey has no readings",
            )
            raise faults.as_error()
        return replace(self, spots=tuple(kept))

    def _columns(self) -> list[Column]:
        # A row for each reading, and one for a spot without any: `read_survey` takes them again.
        rows = [(spot, reading) for spot in self.spots for reading in spot.readings or (None,)]
        spots: list[tuple[str, str, str]] = [
            ("mat", "mat_thickness", "length"),
            ("slope", "slope", "slope"),
            ("drop", "drop_time", "seconds"),
            ("catch can", "catch_depth", "water_amount"),
            ("area", "area", "area"),
            ("x", "x", "distance"),
            ("y", "y", "distance"),
        ]
        kept = [each for each in spots if any(getattr(s, each[1]) is not None for s in self.spots)]
        return columns_of(
            rows,
            [
                ("spot", lambda row: row[0].name, ""),
                ("depth", lambda row: row[0].depth, "length"),
                ("at least", lambda row: row[0].depth_at_least, ""),
                ("time", lambda row: row[1] and row[1].time, ""),
                ("reading", lambda row: row[1] and row[1].value, "water_content"),
                ("rod", lambda row: row[1] and row[1].rod, "length"),
                ("meter", lambda row: row[1].meter if row[1] else "", ""),
                *(
                    (name, lambda row, part=part: getattr(row[0], part), q)
                    for name, part, q in kept
                ),
            ],
        )

    def _rows(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        far = one_writing("distance")
        for spot in self.spots:
            place = ""
            if spot.x is not None and spot.y is not None:
                place = f"{far.figure(spot.x)}, {far.figure(spot.y)}"
            shown = ", ".join(f"{100 * r.value:.1f}{'?' if r.doubt else ''}" for r in spot.readings)
            more = [
                text
                for value, text in (
                    (spot.surface_level, f"level {spot.surface_level or 0.0:.1f} cm"),
                    (spot.slope, f"slope {in_people_units(spot.slope or 0.0, 'slope')}"),
                    (spot.mat_thickness, f"mat {in_one_unit(spot.mat_thickness or 0.0, 'length')}"),
                    (spot.drop_time, f"drop {spot.drop_time or 0.0:g} s"),
                    (
                        spot.catch_depth,
                        f"can {in_one_unit(spot.catch_depth or 0.0, 'water_amount')}",
                    ),
                )
                if value is not None
            ]
            rows.append((spot.name, depth_in_words(spot), shown, place, ", ".join(more)))
        return rows

    def _title(self) -> str:
        title = f'Survey "{self.name}"' if self.name else "Survey"
        parts = [f"{len(self.spots)} spots"]
        if self.rods:
            parts.append(f"read with {rod_list(self.rods)}")
        times = sorted(r.time for s in self.spots for r in s.readings if r.time is not None)
        if times:
            parts.append(f"{stamp(times[0])} to {stamp(times[-1])}")
        return f"{title}: {', '.join(parts)}"

    def _shown(self) -> Shown:
        lines = [f"- {note}" for note in self.notes]
        east = f"east, north ({one_writing('distance').unit})"
        header = ("spot", "depth", "readings (% by volume)", east, "more")
        return Shown(self._title(), header, self._rows(), lines, set_in=True)


def rod_list(rods: Iterable[float]) -> str:
    """Write rod lengths for people: ``"3.8 cm (1.5 in) and 7.6 cm (3.0 in) rods"``."""
    texts = [in_people_units(rod, "length") for rod in rods]
    return f"{' and '.join(texts)} rods" if texts else ""
