"""Columns and cells of a survey sheet: what each holds, and the unit of what is in it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from soilwater.survey.headers import ROLES, is_statistic, role_of
from soilwater.survey.rods import check_rods
from soilwater.survey.survey import Spot, Survey
from soilwater.words.cells import parse_number, value_like
from soilwater.words.errors import Faults, InputError
from soilwater.words.quantities import in_people_units
from soilwater.words.set_right import Columns, columns_at, is_bound, say_columns, say_missing
from soilwater.words.summaries import sums_up
from soilwater.words.text_tables import MISSING_CODES, TextTable
from soilwater.words.unit_choice import worded
from soilwater.words.unit_texts import plain_characters
from soilwater.words.units import number_to_house

_NAMING = (
    "no|nr|num|number|green|hole|tee|spot|point|peg|pin|cell|id|location|position|station|stake|"
    "flag|plot|punkt|nummer|pflock|piquet|numero|punto"
)


def plain_name(text: str, *, letters: bool = False) -> str:
    """Strip a name of the ways people spell one.

    Parameters
    ----------
    text : str
        Such as ``"No. 12"``, ``"green 12"`` or ``"12"``.
    letters : bool, optional
        Whether ``"G12"`` and ``"H12"`` are 12 too: of greens they are, of grid cells they are not.

    Returns
    -------
    str
        Such as ``"12"``.
    """
    plain = re.sub(r"[^a-z0-9]+", " ", text.lower()).strip()
    words = _NAMING + ("|g|h|t" if letters else "")
    match = re.fullmatch(rf"(?:(?:{words})\s*)*0*(\d+)", plain)
    return match[1] if match else plain.replace(" ", "")


def number_in(cell: str, decimal: str) -> tuple[float | None, str]:
    """Read a finite number and its unit from a `cell` under a `decimal` sign.

    Raises
    ------
    ValueError
        When the cell holds something else, such as a number beyond all range.
    """
    value, unit = parse_number(cell, decimal)
    if value is not None and not math.isfinite(value):
        raise ValueError(f"{cell!r} is beyond the range of numbers")
    return value, unit


Row = tuple[str, int, tuple[str, ...]]
"""Name of the spot, number of the line, and its cells."""


@dataclass
class Sheet:
    """A sheet and what has been understood of it so far.

    Attributes
    ----------
    text : TextTable
        The sheet as written.
    faults : Faults
        Takes what is wrong with it.
    columns : dict of str to list of int
        Numbers of the columns by what they hold.
    found : dict of str to dict
        Arguments of each `Spot` by its name.
    notes : list of str
        What was understood.
    green : str
        Which green the rows are of.
    lines : dict of str to list of int
        Lines of each spot.
    origin : tuple of float or None
        Latitude and longitude positions are counted from [degrees].
    named : mapping of str to str or sequence of str
        Headers by what their columns were said to hold.
    units : mapping of str to str
        Units of what has none on the sheet, as they were said.
    """

    text: TextTable
    faults: Faults
    columns: dict[str, list[int]] = field(default_factory=dict)
    found: dict[str, dict[str, Any]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    green: str = ""
    lines: dict[str, list[int]] = field(default_factory=dict)
    origin: tuple[float, float] | None = None
    named: Columns = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)

    def header(self, column: int) -> str:
        """Header of a `column` as a person sees it, plain and in lower case."""
        text = f"{self.text.columns[column]} {self.text.units[column]}"
        return re.sub(r"[_\s]+", " ", plain_characters(text)).strip().lower()

    def columns_by_role(
        self, needed: Iterable[str] = ("depth", "reading", "surface_level", "staff")
    ) -> None:
        """Find out what each column holds; one of those `needed`, if any, must be there."""
        self.notes += self.text.notes
        named = columns_at(self.text, self.named, ROLES, self.faults)
        found: dict[str, list[int]] = {}
        for i, (written, unit) in enumerate(zip(self.text.columns, self.text.units, strict=True)):
            role = named.get(i, role_of(written, unit))
            if i not in named and role in named.values():
                role = "unused"
            found.setdefault(role, []).append(i)
        readings = found.get("reading", [])
        single = [i for i in readings if not is_statistic(self.text.columns[i])]
        if single and not set(readings) & set(named):
            found["unused"] = found.get("unused", []) + [i for i in readings if i not in single]
            found["reading"] = single
        unused = [self.text.columns[i] for i in sorted(found.pop("unused", []))]
        for role, places in found.items():
            headers = [self.text.columns[i] for i in places]
            if len(places) > 1 and role != "reading":
                which = " or ".join(say_columns(**{role: header}) for header in headers)
                cure = f"say which it is, {which}"
                if len({header.lower() for header in headers}) < len(headers):
                    cure = "where two tables stand side by side, give each a file of its own; else "
                    cure += "head one of the columns otherwise"
                self.faults.add(
                    f'"{headers[0]}" and "{headers[1]}" both look like {role.replace("_", " ")}',
                    cure=cure,
                )
        self.columns.update(found)
        if "clock" in self.columns and "date" not in self.columns:
            clock = self.columns.pop("clock")
            cells = [row[clock[0]] for row in self.text.rows if row[clock[0]]]
            if all(re.fullmatch(r"\d{1,2}[:.h]\d{2}(:\d{2})?( ?[ap]m)?", c.lower()) for c in cells):
                self.notes.append("times of day without a date, not used")
            else:
                self.columns["date"] = clock
        if unused:
            self.notes.append(f"not used: {', '.join(unused)}")
        if needed and not set(self.columns) & set(needed):
            names = ", ".join(f'"{each}"' for each in self.text.columns)
            self.faults.add(
                f"neither depths nor readings nor levels among {names}",
                cure=f'say which it is, {self._named_as("depth")} and depth_unit="in" or '
                f'{self._named_as("reading")} and reading_unit="%", or head the columns '
                '"depth (in)" and "VWC (%)"',
            )
        self.faults.raise_if_any()

    def _named_as(self, role: str) -> str:
        """Write that the first column of numbers holds what is looked for."""
        return say_columns(**{role: self.text.columns[self._first_of_numbers()]})

    def _first_of_numbers(self) -> int:
        for i in range(len(self.text.columns)):
            filled = [row[i] for row in self.text.rows if row[i]]
            if filled and i not in self.columns.get("spot", []) and all(map(value_like, filled)):
                return i
        return 0

    def cell(self, cells: Sequence[str], role: str) -> str:
        """Text among `cells` in the only column of a `role`; empty where there is none."""
        place = self.columns.get(role)
        return cells[place[0]] if place else ""

    def rows_of_green(self, green: str | None) -> list[Row]:
        """Rows of the green that is meant, each with the name of its spot."""
        lines = list(zip(self.text.line_numbers, self.text.rows, strict=True))
        lines = self._without_summaries(lines)
        if "green" in self.columns:
            spellings = list(dict.fromkeys(self.cell(row, "green") for _, row in lines))
            shown = ", ".join(f'"{each}"' for each in spellings)
            if len(spellings) > 1 and green is None:
                one = len({plain_name(each, letters=True) for each in spellings}) == 1
                what = f"the green is written {shown}" if one else f"greens {shown} in one sheet"
                cure = f'name the one that is meant: green="{spellings[0]}"'
                if "spot" not in self.columns and len(spellings) == len(lines):
                    header = self.text.columns[self.columns["green"][0]]
                    cure += f"; where they are spots of one green, say {say_columns(spot=header)}"
                self.faults.add(what, cure=cure)
                self.faults.raise_if_any()
            wanted = plain_name(spellings[0] if green is None else green, letters=True)
            taken = [each for each in spellings if plain_name(each, letters=True) == wanted]
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
                self.faults.add(
                    "the spot has no name",
                    where=f"{self.text.line_word} {number}",
                    cure=f"to leave the row out, say leave_out=({number},)",
                )
        if "spot" not in self.columns:
            self.notes.append(f"no column of spots: they are called by their {self.text.line_word}")
        return rows

    def _without_summaries(
        self, lines: list[tuple[int, tuple[str, ...]]]
    ) -> list[tuple[int, tuple[str, ...]]]:
        """Leave out rows of means and totals."""
        kept, left_out = [], []
        place = self.columns.get("spot", [0])[0]
        names = [row[place] or self.cell(row, "green") for _, row in lines]
        named = sums_up(names)
        for (number, row), name, summary in zip(lines, names, named, strict=True):
            if summary:
                left_out.append(f'"{name}" ({self.text.line_word} {number})')
            else:
                kept.append((number, row))
        if left_out:
            self.notes.append(f"sums up other rows, left out: {', '.join(left_out)}")
        return kept

    def visits(self, rows: Iterable[Row]) -> None:
        """Make a place for each spot of the `rows`; refuse two spellings of one name."""
        keys: dict[str, str] = {}
        for spot, number, _ in rows:
            other = keys.setdefault(plain_name(spot), spot)
            if other != spot and spot not in self.found:
                self.faults.add(
                    f'spots "{other}" and "{spot}" look like one',
                    cure=f"write it in one way, or leave the row out: leave_out=({number},)",
                )
            self.found.setdefault(spot, {"readings": []})
            self.lines.setdefault(spot, []).append(number)

    def number(self, cell: str, where: str) -> tuple[float | None, str]:
        """Read number and unit of a cell; None where nothing was measured."""
        if is_bound(cell):
            self.notes.append(f'{where}: "{cell}" is a bound, no value: left out')
            return None, ""
        try:
            value, unit = number_in(cell, self.text.decimal)
        except ValueError:
            self.faults.add(
                f'"{cell}" is not a number',
                where=where,
                cure=f"if nothing was measured there, say {say_missing([cell])}",
            )
            return None, ""
        return (None, "") if value in MISSING_CODES else (value, unit)

    def with_unit(self, cell: str, role: str, quantity: str, stated: str) -> float:
        """Value of a `cell` in the house unit of its `quantity`.

        The unit is that of the cell, else the `stated` one, else that of the header of its `role`.
        """
        column = self.columns[role][0]
        unit = stated or self.units.get(role, "") or self.text.units[column]
        plain = plain_characters(cell)
        if role == "slope" and re.fullmatch(r"[\d./ ]+\s*:\s*[\d./ ]+", plain):
            value = number_to_house(plain, "slope", role)
            rise = worded(lambda: f"slope {plain} read as {in_people_units(value, 'slope')}")
            self.notes.append(rise)
            return value
        try:
            number, own = number_in(cell, self.text.decimal)
        except ValueError:
            cure = f"if nothing was measured there, say {say_missing([cell])}"
            if role == "rod":
                cure = 'say how long the rods of all readings are, such as rod="3 in"'
            raise InputError(
                f'{role.replace("_", " ")}: "{cell}" is not a number; {cure}.'
            ) from None
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

    def survey(self, name: str) -> Survey:
        """Put the spots together under a `name`."""
        spots = []
        for spot, given in self.found.items():
            with self.faults.catching():
                spots.append(Spot(spot, **{**given, "readings": tuple(given["readings"])}))
        for each in spots:
            lines = ", ".join(map(str, self.lines.get(each.name, ())))
            check_rods(each, self.faults, f"leave_out=({lines},)")
        self.faults.raise_if_any()
        notes = tuple(dict.fromkeys(self.notes))
        return Survey(tuple(spots), name=name, notes=notes, origin=self.origin)


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
        role, "in" if number in (1.5, 3, 4.8, 8) else "mm" if number > 25.0 else "cm"
    )
    return (
        f"{role.replace('_', ' ')}: {number:g} has no unit; looks like {unit}: say "
        f'units={{"{role}": "{unit}"}} if it is, or head the column "{header} ({unit})".'
    )
