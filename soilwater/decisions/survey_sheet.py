"""Reading probe and meter surveys as they come: grids in inches, meter exports, clipboards.

Nothing is guessed silently. What the sheet settles is noted; what it leaves open stops the reading
with a sentence that says what the numbers look like and which argument settles it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from soilwater.decisions.survey import Reading, Spot, Survey
from soilwater.decisions.survey_place import grid_positions, local_positions
from soilwater.errors import Faults, InputError
from soilwater.lab_sheet import MISSING_CODES
from soilwater.station_times import read_stamps
from soilwater.text_tables import TextTable, parse_number, read_text_table
from soilwater.times import stamp
from soilwater.units import in_people_units, number_to_house, plain_characters

OUT_OF_LINE = 2.5
"""A depth this many times the median, or below it, is asked about (our own choice)."""
SAME_PROBE = 2.5
"""Two depths of one spot may differ by this much [cm], about one inch (common practice)."""

_ROLES = (
    ("latitude", r"\blat(itude)?\b"),
    ("longitude", r"\b(lon|long|lng|longitude)\b"),
    ("catch_depth", r"\bcatch|\bcans?\b"),
    ("drop_time", r"\bdrop"),
    ("mat_thickness", r"^(organic )?(mat|thatch)\b"),
    ("reading", r"vwc|moisture|water content|reading|field capacity|^%"),
    ("rod", r"\b(rods?|tines?|probe length)\b"),
    ("unused", r"\broots?\b|temp|salin|\bec\b"),
    ("depth", r"\b(depth|probed?)\b"),
    ("slope", r"\b(slope|gradient|grade|fall)\b"),
    ("clock", r"^(clock|time|time of day)$"),
    ("date", r"\b(date|time|timestamp|datetime)\b"),
    ("meter", r"\b(meter|device|instrument)\b"),
    ("area", r"\barea\b"),
    ("x", r"^(x|east|easting)\b"),
    ("y", r"^(y|north|northing)\b"),
    ("spot", r"\b(spot|cell|point|peg|pin|id|name|location)\b"),
    ("green", r"\b(green|tee|hole|field|site)\b"),
)
_AT_LEAST = re.compile(
    r"(?:>=?|≥|at least|more than|over)\s*(.+)|(.+?)\s*\+\s*(in|cm|mm|\")?", re.IGNORECASE
)


def read_survey(
    source: Any,
    *,
    rod: Any = None,
    depth_unit: str | None = None,
    slope_unit: str | None = None,
    depth_from: str | None = None,
    green: str | None = None,
    grid_spacing: Any = None,
    near: tuple[float, float] | None = None,
    day_first: bool | None = None,
    name: str = "",
    sheet: str | None = None,
) -> Survey:
    """Read a probe or meter survey from a file or a table in memory.

    Columns are known by their names: spot, green, depth (or probe), reading (or VWC, moisture),
    rod, date, time, meter, latitude and longitude or x and y, slope, mat, drop, catch can, area.
    Several rows of one spot are several visits to it.

    Parameters
    ----------
    source : path, DataFrame or mapping
        CSV or text file, Excel workbook, or a table in memory.
    rod : float, str or Quantity, optional
        Length of the rods of all readings [cm], before that of the sheet.
    depth_unit : str, optional
        Unit of depths where the sheet has none: ``"in"``, ``"cm"``, ``"mm"``.
    slope_unit : str, optional
        Unit of slopes where the sheet has none: ``"%"``, ``"deg"``, ``"1:n"``.
    depth_from : {"turf surface", "below mat"}, optional
        Where depths were measured from; the turf surface, mat included, when left out.
    green : str, optional
        Which green, where the sheet has several or spells one in several ways.
    grid_spacing : float, str or Quantity, optional
        Distance between grid lines [cm], for spots named like ``"B3"``: letters run east, numbers
        north.
    near : tuple of float, optional
        Latitude and longitude [degrees] of the place, to check positions against.
    day_first : bool, optional
        Whether 12/11/2026 is in November (True) or December (False), where dates leave it open.
    name : str, optional
        Name of the survey; that of the green when left out.
    sheet : str, optional
        Worksheet of a workbook.

    Returns
    -------
    Survey
        Its notes say what was understood, taken for granted and left out.

    Raises
    ------
    InputError
        If anything is missing, ambiguous or impossible; all faults at once.

    Examples
    --------
    >>> read_survey({"cell": ["A1", "A2"], "probe (in)": ["14 3/4", "12+"]})
    Survey: 2 spots
      spot  depth                       readings (% by volume)  east, north (m)  more
      ----  --------------------------  ----------------------  ---------------  ----
      A1    37.5 cm (14.8 in)
      A2    at least 30.5 cm (12.0 in)
    - depths taken from the turf surface, mat included
    """
    text = read_text_table(source, sheet=sheet)
    reader = _Reader(text, Faults(f"Survey {text.source}"))
    if depth_from not in (None, "turf surface", "below mat"):
        reader.faults.add(f"depth_from={depth_from!r}", allowed='"turf surface" or "below mat"')
    length = None
    if rod is not None:
        with reader.faults.catching():
            length = number_to_house(rod, "length", "rod")
    reader.columns_by_role()
    rows = reader.rows_of_green(green)
    reader.visits(rows)
    reader.depths(rows, depth_unit, depth_from)
    reader.readings(rows, length, day_first)
    reader.others(rows, slope_unit)
    reader.positions(rows, near)
    if grid_spacing is not None:
        with reader.faults.catching():
            spacing = number_to_house(grid_spacing, "length", "grid_spacing") / 100.0
            for spot, (x, y) in grid_positions(reader.found, spacing).items():
                reader.found[spot].update(x=x, y=y)
    reader.faults.raise_if_any()
    return reader.survey(name or reader.green)


def join_surveys(first: Survey, second: Survey, *, same: Mapping[str, str] | None = None) -> Survey:
    """Join a survey of depths and one of readings, spot by spot.

    Parameters
    ----------
    first, second : Survey
        What both know of a spot is taken from the first; readings of both are kept.
    same : mapping of str to str, optional
        Spots of the second survey by their name in the first: ``{"No. 12": "12"}``.

    Returns
    -------
    Survey
        Spots of the first in its order, then those only the second has.

    Raises
    ------
    InputError
        If names differ only in spelling and `same` does not say whether they are one spot.
    """
    names = [spot.name for spot in first.spots]
    known = dict(same or {})
    faults = Faults("Joining surveys")
    for written, meant in known.items():
        if written not in [spot.name for spot in second.spots] or meant not in names:
            faults.add(f'same has "{written}" for "{meant}"', cure="name spots of both surveys")
    by_key = {_plain_name(each): each for each in names}
    for spot in second.spots:
        match = by_key.get(_plain_name(spot.name))
        if spot.name not in names and spot.name not in known and match is not None:
            faults.add(
                f'"{spot.name}" and "{match}" look like one spot',
                cure=f'confirm with same={{"{spot.name}": "{match}"}}, or rename it',
            )
    faults.raise_if_any()
    merged = {spot.name: spot for spot in first.spots}
    for spot in second.spots:
        target = known.get(spot.name, spot.name)
        merged[target] = _merged(merged[target], spot) if target in merged else spot
    renamed = tuple(f'"{written}" joined to "{meant}"' for written, meant in known.items())
    return Survey(
        tuple(merged.values()), name=first.name, notes=(*first.notes, *second.notes, *renamed)
    )


def _merged(spot: Spot, other: Spot) -> Spot:
    given: dict[str, Any] = {"readings": (*spot.readings, *other.readings)}
    if not spot.has_depth and other.has_depth:
        given.update(depth=other.depth, depth_at_least=other.depth_at_least)
    for key in ("x", "y", "slope", "mat_thickness", "drop_time", "catch_depth", "area"):
        if getattr(spot, key) is None:
            given[key] = getattr(other, key)
    return replace(spot, **given)


def _plain_name(text: str) -> str:
    """Name without the ways people spell one: ``"No. 12"``, ``"G12"``, ``"green 12"``, ``"12"``."""
    plain = re.sub(r"[^a-z0-9]+", " ", text.lower()).strip()
    match = re.fullmatch(r"(?:no|nr|number|green|hole|tee|spot|point|g|h|t)?\s*0*(\d+)", plain)
    return match[1] if match else plain.replace(" ", "")


_Row = tuple[str, int, tuple[str, ...]]
"""Name of the spot, number of the line, and its cells."""


@dataclass
class _Reader:
    """What has been understood of a sheet so far."""

    text: TextTable
    faults: Faults
    columns: dict[str, list[int]] = field(default_factory=dict)
    found: dict[str, dict[str, Any]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    green: str = ""

    @property
    def line_word(self) -> str:
        """Rows of a table in memory are rows; those of a file are lines of it."""
        return "row" if self.text.source == "table" else "line"

    def header(self, column: int) -> str:
        """Header as a person sees it, plain and in lower case."""
        text = f"{self.text.columns[column]} {self.text.units[column]}"
        return re.sub(r"[_\s]+", " ", plain_characters(text)).strip().lower()

    def columns_by_role(self) -> None:
        """Find out what each column holds."""
        self.notes += self.text.notes
        unused = []
        for i, written in enumerate(self.text.columns):
            plain = re.sub(r"[_\s]+", " ", plain_characters(written)).strip().lower()
            role = next((role for role, pattern in _ROLES if re.search(pattern, plain)), "unused")
            if role == "unused":
                unused.append(written)
            elif role in self.columns and role not in ("reading",):
                self.faults.add(
                    f'"{self.text.columns[self.columns[role][0]]}" and "{written}" both look like '
                    f"{role.replace('_', ' ')}",
                    cure="keep one",
                )
            else:
                self.columns.setdefault(role, []).append(i)
        if "clock" in self.columns and "date" not in self.columns:
            self.columns["date"] = self.columns.pop("clock")
        if unused:
            self.notes.append(f"not used: {', '.join(unused)}")
        if "depth" not in self.columns and "reading" not in self.columns:
            names = ", ".join(f'"{each}"' for each in self.text.columns)
            self.faults.add(
                f"neither depths nor readings among {names}",
                cure='head the columns "depth (in)" and "VWC (%)"',
            )
        self.faults.raise_if_any()

    def cell(self, cells: Sequence[str], role: str) -> str:
        """Text of the only column of a role; empty where there is none."""
        place = self.columns.get(role)
        return cells[place[0]] if place else ""

    def rows_of_green(self, green: str | None) -> list[_Row]:
        """Rows of the green that is meant, each with the name of its spot."""
        lines = list(zip(self.text.line_numbers, self.text.rows, strict=True))
        if "green" in self.columns:
            spellings = list(dict.fromkeys(self.cell(row, "green") for _, row in lines))
            shown = ", ".join(f'"{each}"' for each in spellings)
            if len(spellings) > 1 and green is None:
                one = len({_plain_name(each) for each in spellings}) == 1
                what = f"the green is written {shown}" if one else f"greens {shown} in one sheet"
                self.faults.add(what, cure=f'name the one that is meant: green="{spellings[0]}"')
                self.faults.raise_if_any()
            wanted = _plain_name(spellings[0] if green is None else green)
            taken = [each for each in spellings if _plain_name(each) == wanted]
            if not taken:
                self.faults.add(f'no green "{green}"', allowed=shown)
                self.faults.raise_if_any()
            if len(taken) > 1:
                joined = ", ".join(f'"{each}"' for each in taken)
                self.notes.append(f"taken for one green: {joined}")
            lines = [(n, row) for n, row in lines if self.cell(row, "green") in taken]
            self.green = taken[0] if green is None else green
        rows = []
        for number, row in lines:
            spot = self.cell(row, "spot") if "spot" in self.columns else str(number)
            if spot:
                rows.append((spot, number, row))
            elif any(row):
                self.faults.add("the spot has no name", where=f"{self.line_word} {number}")
        if "spot" not in self.columns:
            self.notes.append(f"no column of spots: they are called by their {self.line_word}")
        return rows

    def visits(self, rows: Iterable[_Row]) -> None:
        """Make a place for each spot; tell names that differ only in their spelling."""
        keys: dict[str, str] = {}
        for spot, _, _ in rows:
            other = keys.setdefault(_plain_name(spot), spot)
            if other != spot and spot not in self.found:
                self.faults.add(
                    f'spots "{other}" and "{spot}" look like one', cure="write it in one way"
                )
            self.found.setdefault(spot, {"readings": []})

    def number(self, cell: str, where: str) -> tuple[float | None, str]:
        """Read number and unit of a cell; None where nothing was measured."""
        try:
            value, unit = parse_number(cell, self.text.decimal)
        except ValueError:
            self.faults.add(
                f'"{cell}" is not a number', where=where, cure="leave it empty if not measured"
            )
            return None, ""
        return (None, "") if value in MISSING_CODES else (value, unit)

    # --- depths ---

    def depths(self, rows: Sequence[_Row], unit: str | None, depth_from: str | None) -> None:
        """Read probe depths: fractions, feet, "12+" and "hit pipe"."""
        if "depth" not in self.columns:
            return
        column = self.columns["depth"][0]
        cells: list[tuple[str, str, float, str, bool]] = []
        skipped = []
        for spot, number, row in rows:
            where = f"{self.line_word} {number} ({spot})"
            part, at_least = _at_least(row[column])
            try:
                value, own = parse_number(part, self.text.decimal)
            except ValueError:
                skipped.append(f'{spot} "{row[column]}"')
                continue
            if value is None or value in MISSING_CODES:
                skipped += [f"{spot} blank"] if not self.cell(row, "reading") else []
            else:
                cells.append((spot, where, value, own, at_least))
        if skipped:
            self.notes.append(f"no depth: {', '.join(skipped)}")
        bare = unit or self.text.units[column] or self._unit_of_bare(cells, rows, column)
        below_mat = self._below_mat(column, depth_from)
        if bare is None or below_mat is None:
            return
        for spot, where, value, own, at_least in self._in_line(cells, bare):
            with self.faults.catching(where):
                depth = number_to_house(f"{value!r} {own or bare}", "length", "depth")
                self._take_depth(spot, where, depth, at_least)
        if below_mat:
            self._add_mats(rows)
        else:
            self.notes.append("depths taken from the turf surface, mat included")

    def _unit_of_bare(
        self, cells: Sequence[tuple[str, str, float, str, bool]], rows: Sequence[_Row], column: int
    ) -> str | None:
        """Find the unit of bare depths; inches where they are written the way only inches are."""
        if all(own for _, _, _, own, _ in cells):
            return "cm"
        fractions = [row[column] for _, _, row in rows if re.search(r"\d/\d|['\"]", row[column])]
        if fractions:
            self.notes.append(f'depths have no unit: inches, from cells such as "{fractions[0]}"')
            return "in"
        values = [value for _, _, value, own, _ in cells if not own]
        middle = float(np.median(values))
        guess = "in" if middle < 21.0 else "cm" if middle < 100.0 else "mm"
        self.faults.add(
            f"depths have no unit: {min(values):g} to {max(values):g} look like {guess}",
            cure=f'confirm with depth_unit="{guess}"',
        )
        return None

    def _below_mat(self, column: int, depth_from: str | None) -> bool | None:
        """Whether depths leave out the mat; None where they have another zero altogether."""
        header = self.header(column)
        if "collar" in header and depth_from is None:
            self.faults.add(
                f'column "{self.text.columns[column]}": the zero of all depths here is the turf '
                "surface, not the collar",
                cure='measure again, or say depth_from="turf surface" if that is what it was',
            )
            return None
        if depth_from is None:
            return re.search(r"(below|without|excl\w*) (the )?(mat|thatch)", header) is not None
        return depth_from == "below mat"

    def _in_line(
        self, cells: Sequence[tuple[str, str, float, str, bool]], bare: str
    ) -> Iterable[tuple[str, str, float, str, bool]]:
        """Pass cells in line with the others; ask about bare numbers far off."""
        values = [value for _, _, value, own, _ in cells if not own]
        middle = float(np.median(values)) if len(values) > 3 else math.nan
        for spot, where, value, own, at_least in cells:
            ratio = value / middle if not own and middle > 0.0 else 1.0
            if ratio >= OUT_OF_LINE or ratio <= 1.0 / OUT_OF_LINE:
                others = [each for each in ("mm", "cm", "in") if each != bare]
                self.faults.add(
                    f"depth {value:g} is {ratio:.2g} times the median {middle:g} {bare}: "
                    f"{others[0]}? {others[1]}? a slip, {value / 10:g}?",
                    where=where,
                    cure=f'correct it, or write its unit in the cell ("{value:g} {bare}")',
                )
            else:
                yield spot, where, value, own, at_least

    def _take_depth(self, spot: str, where: str, depth: float, at_least: bool) -> None:
        kept = self.found[spot]
        if "depth" not in kept:
            kept.update(depth=depth, depth_at_least=at_least)
        elif kept["depth_at_least"] or at_least:
            measured = [
                d
                for d, least in ((kept["depth"], kept["depth_at_least"]), (depth, at_least))
                if not least
            ]
            kept["depth"] = measured[0] if measured else max(kept["depth"], depth)
            kept["depth_at_least"] = not measured
        elif abs(kept["depth"] - depth) > SAME_PROBE:
            self.faults.add(
                f"{spot} is {depth:.1f} cm deep here and {kept['depth']:.1f} cm above",
                where=where,
                cure="a stone, a layer or a slip: keep the depth you believe",
            )
        elif kept["depth"] != depth:
            self.notes.append(f"{spot}: first depth of several kept, they agree to an inch")

    def _add_mats(self, rows: Sequence[_Row]) -> None:
        for spot in dict.fromkeys(spot for spot, _, _ in rows):
            cell = next((self.cell(r, "mat_thickness") for s, _, r in rows if s == spot), "")
            if "depth" not in self.found[spot]:
                continue
            if not cell:
                self.faults.add(
                    "its depth was measured from below the mat and no mat thickness is given",
                    where=spot,
                    cure='add a column "mat (cm)"',
                )
                continue
            with self.faults.catching(spot):
                self.found[spot]["depth"] += self._with_unit(cell, "mat_thickness", "length", "")
        self.notes.append("depths measured from below the mat: its thickness was added")

    # --- readings ---

    def readings(self, rows: Sequence[_Row], rod: float | None, day_first: bool | None) -> None:
        """Read meter readings with their rods, times and meters."""
        values: list[tuple[str, str, int, float, int, tuple[str, ...]]] = []
        for column in self.columns.get("reading", []):
            header = self.header(column)
            if re.search(r"field capacity|\bof fc\b|saturation", header):
                self.faults.add(
                    f'column "{header}": do you mean % by volume or % of field capacity?',
                    cure="give % by volume: a sand has no field capacity of its own",
                )
                continue
            if re.search(r"mass|weight|w/w|grav", header):
                self.faults.add(
                    f'column "{header}": water by mass', cure="multiply by the bulk density first"
                )
                continue
            values += self._scaled(rows, column)
        if not values:
            return
        times = self._times(rows, day_first)
        doubtful: dict[str, list[str]] = {}
        without_rod = 0
        for spot, where, number, value, column, row in values:
            length = rod if rod is not None else self._rod(row, column, where)
            if length is None:
                without_rod += 1
                continue
            with self.faults.catching(where):
                meter = self.cell(row, "meter")
                reading = Reading(value, length, times.get(number), meter)
                self.found[spot]["readings"].append(reading)
                if reading.doubt:
                    doubtful.setdefault(reading.doubt, []).append(f"{spot} {100 * value:.1f} %")
        if without_rod and not self.columns.get("rod"):
            self.faults.add(
                "readings have no rod length, and rods of different length do not compare",
                cure='give rod="3 in", or a column "rod (in)"',
            )
        for doubt, which in doubtful.items():
            self.notes.append(f"kept on the map, left out of means: {', '.join(which)} ({doubt})")
        self._note_visits()

    def _scaled(
        self, rows: Sequence[_Row], column: int
    ) -> list[tuple[str, str, int, float, int, tuple[str, ...]]]:
        """Take the readings of a column as fractions."""
        taken = []
        for spot, number, row in rows:
            where = f"{self.line_word} {number} ({spot})"
            value, own = self.number(row[column], where)
            if value is None:
                continue
            if value < 0.0 or value > 100.0:
                self.faults.add(f"a reading of {value:g}", where=where, allowed="0 to 100 %")
                continue
            taken.append((spot, where, number, value, own, row))
        header = self.header(column)
        stated = "%" in header or "percent" in header or any(own for *_, own, _ in taken)
        high = [each for each in taken if each[3] > 1.0]
        low = [each for each in taken if 0.0 < each[3] <= 1.0]
        if not stated and high and low:
            fewer = min(high, low, key=len)
            self.faults.add(
                f"mixed fractions and per cents: {', '.join(where for _, where, *_ in fewer)}",
                cure="write them all alike",
            )
            return []
        per_cent = stated or bool(high)
        if not stated and taken:
            self.notes.append(f"readings taken as {'% by volume' if per_cent else 'fractions'}")
        scale = 0.01 if per_cent else 1.0
        return [
            (spot, where, number, scale * value, column, row)
            for spot, where, number, value, _, row in taken
        ]

    def _rod(self, row: Sequence[str], column: int, where: str) -> float | None:
        """Length of the rods of one reading [cm], from its column's header or its row."""
        match = re.search(r"(\d[\d. /]*?)\s*-?(in|cm|mm)\b", self.header(column))
        if match is not None:
            return number_to_house(f"{match[1].strip()} {match[2]}", "length", "rod")
        if "rod" not in self.columns:
            return None
        length: float | None = None
        with self.faults.catching(where):
            length = self._with_unit(self.cell(row, "rod"), "rod", "length", "")
        return length

    def _times(self, rows: Sequence[_Row], day_first: bool | None) -> dict[int, np.datetime64]:
        dated = [(number, row) for _, number, row in rows if self.cell(row, "date")]
        if not dated:
            return {}
        clocks = [self.cell(row, "clock") for _, row in dated] if "clock" in self.columns else None
        lines = [number for number, _ in dated]
        dates = [self.cell(row, "date") for _, row in dated]
        times: dict[int, np.datetime64] = {}
        with self.faults.catching():
            stamps = read_stamps(dates, clocks, lines, day_first, self.text.source)
            shown = ", ".join(stamp(each) for each in stamps.time[:3])
            self.notes += [*stamps.notes, f"first times read: {shown}"]
            times.update(zip(lines, stamps.time, strict=True))
        return times

    def _note_visits(self) -> None:
        every = [reading for spot in self.found.values() for reading in spot["readings"]]
        rods = sorted({reading.rod for reading in every})
        if len(rods) > 1:
            texts = " and ".join(in_people_units(each, "length") for each in rods)
            self.notes.append(
                f"{texts} rods mixed: their readings do not compare; split with Survey.with_rod"
            )
        meters = sorted({reading.meter for reading in every if reading.meter})
        days = {np.datetime64(reading.time, "D") for reading in every if reading.time is not None}
        if len(meters) > 1:
            visits = f"{len(days)} days and " if len(days) > 1 else ""
            self.notes.append(
                f"{visits}{len(meters)} meters ({', '.join(meters)}): a difference between them is "
                "an offset of meter or rod first, not a trend"
            )

    # --- the rest ---

    def others(self, rows: Sequence[_Row], slope_unit: str | None) -> None:
        """Read slope, mat, drop test, catch can and area of each spot."""
        quantities = {
            "slope": "slope",
            "mat_thickness": "length",
            "catch_depth": "water_amount",
            "area": "area",
            "drop_time": "",
        }
        for role, quantity in quantities.items():
            if role not in self.columns:
                continue
            for spot, number, row in rows:
                cell = self.cell(row, role)
                if not cell or cell == "-":
                    continue
                with self.faults.catching(f"{self.line_word} {number} ({spot})"):
                    value = self._with_unit(cell, role, quantity, slope_unit or "")
                    if self.found[spot].setdefault(role, value) != value:
                        raise InputError(
                            f"a second {role.replace('_', ' ')} of {spot}: keep one of them."
                        )

    def _with_unit(self, cell: str, role: str, quantity: str, stated: str) -> float:
        """Value of a cell in the house unit; its unit from the cell, the argument or the header."""
        column = self.columns[role][0]
        unit = (stated if role == "slope" else "") or self.text.units[column]
        plain = plain_characters(cell)
        if role == "slope" and re.fullmatch(r"[\d./ ]+\s*:\s*[\d./ ]+", plain):
            value = number_to_house(plain, "slope", role)
            self.notes.append(f"slope {plain} read as {in_people_units(value, 'slope')}")
            return value
        try:
            number, own = parse_number(cell, self.text.decimal)
        except ValueError:
            raise InputError(f'{role.replace("_", " ")}: "{cell}" is not a number.') from None
        if number is None:
            raise InputError(f"{role.replace('_', ' ')}: missing where it is needed.")
        unit = own or unit
        if role == "drop_time":
            minutes = unit.lower().startswith("min")
            return number * (60.0 if minutes else 1.0)
        if role == "slope" and unit == "1:n":
            return number_to_house(f"1:{number:g}", "slope", role)
        if not unit:
            raise InputError(_ask_unit(role, number, self.text.columns[column]))
        return number_to_house(f"{number!r} {unit}", quantity, role)

    def positions(self, rows: Sequence[_Row], near: tuple[float, float] | None) -> None:
        """Read positions in metres or as latitude and longitude."""
        if {"latitude", "longitude"} <= set(self.columns):
            cells = {
                spot: (self.cell(row, "latitude"), self.cell(row, "longitude"))
                for spot, _, row in rows
                if self.cell(row, "latitude") and self.cell(row, "longitude")
            }
            places, notes = local_positions(cells, self.text.decimal, near, self.faults)
            self.notes += notes
            for spot, (x, y) in places.items():
                self.found[spot].update(x=x, y=y)
        elif {"x", "y"} <= set(self.columns):
            for spot, number, row in rows:
                for role in ("x", "y"):
                    where = f"{self.line_word} {number} ({spot})"
                    value, own = self.number(self.cell(row, role), where)
                    unit = own or self.text.units[self.columns[role][0]] or "m"
                    if value is not None:
                        with self.faults.catching(where):
                            metres = number_to_house(f"{value!r} {unit}", "length", role) / 100.0
                            self.found[spot][role] = metres

    def survey(self, name: str) -> Survey:
        """Put the spots together."""
        spots = []
        for spot, given in self.found.items():
            with self.faults.catching():
                spots.append(Spot(spot, **{**given, "readings": tuple(given["readings"])}))
        self.faults.raise_if_any()
        return Survey(tuple(spots), name=name, notes=tuple(dict.fromkeys(self.notes)))


def _at_least(cell: str) -> tuple[str, bool]:
    """Split the number of a depth cell from its "at least"."""
    match = _AT_LEAST.fullmatch(plain_characters(cell))
    if match is None:
        return cell, False
    return (match[1] or f"{match[2]} {match[3] or ''}").strip(), True


def _ask_unit(role: str, number: float, header: str) -> str:
    """Sentence that asks for the unit of a bare number."""
    if role == "slope":
        rise = in_people_units(number / 100, "slope")
        ratio = 100.0 / number if number else 0.0
        degrees = 100.0 * math.tan(math.radians(number))
        return (
            f"slope: {number:g} has no unit: {number:g} % is {rise}, 1:{number:g} is {ratio:.0f} "
            f'%, {number:g} deg is {degrees:.1f} %; confirm with slope_unit="%", "1:n" or "deg".'
        )
    unit = {"catch_depth": "mm", "area": "m2"}.get(
        role, "in" if number in (1.5, 3, 4.8, 8) else "cm"
    )
    return (
        f"{role.replace('_', ' ')}: {number:g} has no unit; looks like {unit}: head the column "
        f'"{header} ({unit})" if it is.'
    )
