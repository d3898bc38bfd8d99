"""What has been understood of a lab sheet: its points, facts and wetting branch, and its faults."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from soilwater.lab.retention import LAB_ERROR, RetentionTable
from soilwater.lab.retention_checks import check_facts
from soilwater.lab.sheet_arrangement import fact_cells
from soilwater.lab.sheet_facts import QUANTITIES, Facts
from soilwater.lab.sheet_layout import Layout, header_of, layout_of, said_of_water, statistic_rows
from soilwater.lab.sheet_points import Point, odd_points, suctions_and_water
from soilwater.lab.sheet_units import is_log_suction, water_unit
from soilwater.lab.sheet_words import (
    branch_in_column,
    branch_of,
    is_oven_dry,
    is_saturated,
    plain,
    role_of,
    suction_unit_in,
)
from soilwater.words.cells import parse_number, parse_or_none
from soilwater.words.errors import Faults, InputError
from soilwater.words.set_right import is_bound, say_missing
from soilwater.words.table_parts import split_header
from soilwater.words.text_tables import MISSING_CODES, TextTable


@dataclass
class Reading:
    """What has been understood of a sheet so far."""

    source: str
    faults: Faults
    water_unit: str | None
    codes: frozenset[str | float] = frozenset()
    notes: list[str] = field(default_factory=list)
    points: list[Point] = field(default_factory=list)
    deviations: list[tuple[str, float, str]] = field(default_factory=list)
    facts: Facts = field(init=False)
    wetting: str = ""
    unread: list[tuple[str, str]] = field(default_factory=list)
    spellings: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.facts = Facts(self.faults, self.notes, self.unread, self.codes)

    def take(self, text: TextTable, alone: bool, columns: Mapping[int, str]) -> None:
        """Take points, facts and sieves of one table.

        Parameters
        ----------
        text : TextTable
            With a row for each measurement.
        alone : bool
            Whether the sheet has no other table.
        columns : mapping of int to str
            What columns were said to hold, by their positions.
        """
        self.notes += [note for note in text.notes if note not in self.notes]
        layout = layout_of(text, self.water_unit is not None, self.faults, self.notes, columns)
        named = None if layout is None else layout.sample
        own = "" if alone or named is None or not text.rows else text.rows[0][named]
        branch = ""
        for line in text.preface:
            branch = self._branch(line) or branch
            if not self.facts.line(fact_cells(line), "above the table", text.decimal, own):
                self.facts.prose(line, "above the table", text.decimal, own)
        if layout is None:
            return
        self._rows(text, layout, branch)

    def _rows(self, text: TextTable, layout: Layout, branch: str) -> None:
        of_columns = any(each.sample for each in layout.waters)
        water_above = said_of_water(text)
        sample = ""
        skipped = statistic_rows(text, layout)
        for number, (line, row) in enumerate(zip(text.line_numbers, text.rows, strict=True)):
            where = f"{text.line_word} {line}"
            filled = [cell for cell in row if cell]
            if not filled:
                continue
            if len(filled) == 1 and self._branch(filled[0]):
                branch = self._branch(filled[0])
                continue
            if number in skipped:
                self.notes.append(f"{where} is a statistic and was left out")
                continue
            if of_columns and self._fact_row(text, layout, row, where):
                continue
            if parse_or_none(filled[0]) is None and self.facts.line(filled, where, text.decimal):
                continue
            if layout.sample is not None and row[layout.sample] not in _DITTO:
                sample = self._first_spelling(row[layout.sample])
            for i in layout.facts:
                if row[i]:
                    self.facts.cell(
                        text.columns[i], row[i], text.units[i], where, text.decimal, sample
                    )
            self._measurements(text, layout, row, where, sample, branch, water_above)

    def _first_spelling(self, sample: str) -> str:
        """One name for a sample whose name is written with other blanks or capitals below."""
        key = plain(sample)
        first = self.spellings.setdefault(key, sample)
        note = f'"{sample}" taken for the sample "{first}"'
        if first != sample and note not in self.notes:
            self.notes.append(note)
        return first

    def _branch(self, text: str) -> str:
        branch = branch_of(text)
        if branch == "wetting":
            self.wetting = self.wetting or text
        return branch

    def _fact_row(self, text: TextTable, layout: Layout, row: Sequence[str], where: str) -> bool:
        """Take a row such as "Bulk density (g/cm3); 1.55; 1.50" over columns of samples."""
        cell = row[layout.suction]
        name, unit = split_header(cell)
        if parse_or_none(cell) is not None or role_of(name) not in QUANTITIES:
            return False
        for each in layout.waters:
            if row[each.at]:
                self.facts.cell(name, row[each.at], unit, where, text.decimal, each.sample)
        return True

    def _measurements(
        self,
        text: TextTable,
        layout: Layout,
        row: Sequence[str],
        where: str,
        sample: str,
        branch: str,
        water_above: str,
    ) -> None:
        at = layout.suction
        beside = {of: row[i] for of, i in layout.unit_beside.items()}
        cell = row[at]
        if is_oven_dry(cell):
            self.notes.append(f"{where}: {cell} is no suction and was left out")
            return
        if is_bound(cell):
            self.notes.append(f'{where}: the suction "{cell}" is a bound, no value: left out')
            return
        saturated = is_saturated(cell)
        suction, suction_unit = (
            (0.0, "") if saturated else self._number(text, cell, where, text.columns[at])
        )
        name = text.columns[at]
        suction_unit = suction_unit or beside.get(at, "") or text.units[at] or suction_unit_in(name)
        if is_log_suction(name) and not is_log_suction(suction_unit):
            suction_unit = f"log10 {suction_unit}"
        if layout.branch is not None:
            branch = branch_in_column(row[layout.branch]) or branch
        branch = next(filter(None, map(self._branch, row)), branch)
        replicate = "" if layout.replicate is None else row[layout.replicate]
        for column in layout.waters:
            i = column.at
            water, unit = self._number(text, row[i], where, text.columns[i])
            if water is None and suction is None:
                continue
            if water is None:
                if is_bound(row[i]):
                    self.notes.append(
                        f'{where}: the water content "{row[i]}" is a bound, no value: left out'
                    )
                elif row[i] in ("", "-") or parse_or_none(row[i]) is None:
                    self.notes.append(f"{where} has no water content and was left out")
                continue
            if suction is None:
                if self.codes:
                    self.notes.append(f"{where} has no suction and was left out")
                    continue
                self.faults.add(
                    "water content without a suction",
                    where=where,
                    cure=f"if that is no measurement, say {say_missing([row[i]])}",
                )
                continue
            said = " ".join((text.columns[i], text.units[i], unit, beside.get(i, "")))
            self.points.append(
                Point(
                    row=where,
                    sample=column.sample or sample,
                    replicate=column.replicate or replicate,
                    branch=column.branch or branch,
                    suction=suction,
                    suction_unit=suction_unit,
                    saturated=saturated,
                    water=water,
                    water_unit=_completed(said, water_above),
                    written=row[i],
                    column=header_of(text, i),
                )
            )
        if layout.deviation is not None:
            value = parse_or_none(row[layout.deviation], text.decimal)
            if value:
                self.deviations.append((sample, value, text.units[layout.deviation]))

    def _number(
        self, text: TextTable, cell: str, where: str, column: str
    ) -> tuple[float | None, str]:
        if re.fullmatch(r"[-–—]+", cell) or is_bound(cell):
            return None, ""
        try:
            value, unit = parse_number(re.split(_SCATTER, cell)[0], text.decimal)
        except ValueError:
            self.unread.append((f"{where}, column {column}", cell))
            return None, ""
        if value in MISSING_CODES:
            self.notes.append(f"{where}, column {column}: {cell} read as not measured")
            return None, ""
        return value, unit

    def tables(self, names: Sequence[str], suction_unit: str | None) -> dict[str, RetentionTable]:
        """Make the checked table of each sample, noting every fault."""
        made = {}
        for where, cell in self.unread:
            self.faults.add(
                f'"{cell}" is not a number',
                where=where,
                cure="if nothing was measured there, say "
                + say_missing(each for _, each in self.unread),
            )
        if not self.points and not self.faults:
            self.faults.add("no measurements", cure="give suctions with their water contents")
        of_sample = 'sample "{}"' if len(names) > 1 else ""
        for name in names:
            notes = list(dict.fromkeys(self.notes))
            of_name = [point for point in self.points if point.sample == name]
            points = self._drying(of_name, of_sample.format(name))
            wetting = [point for point in of_name if point.branch == "wetting"] if points else []
            facts = self.facts.of(name)
            asked = Faults("")
            suction, water = suctions_and_water(
                points, suction_unit, self.water_unit, facts, notes, asked
            )
            rewetted: tuple[Any, Any] = ((), ())
            if wetting and not asked:
                rewetted = suctions_and_water(
                    wetting, suction_unit, self.water_unit, facts, [], asked
                )
            for fault in asked.as_error().faults if asked else ():
                self.faults.add(fault, where=of_sample.format(name))
            grading = self.facts.grading_of(name)
            if suction is None or water is None:
                # No table will come of this sample, but its other faults belong in the message.
                check_facts(
                    facts["k_sat"],
                    facts["porosity"],
                    facts["bulk_density"],
                    facts["particle_density"],
                    facts["organic_matter"],
                    self.faults,
                )
                continue
            replicates = tuple(point.replicate for point in points)
            try:
                made[name] = RetentionTable(
                    suction=suction,
                    water_content=water,
                    replicate=replicates if any(replicates) else (),
                    k_sat=facts["k_sat"],
                    porosity=facts["porosity"],
                    bulk_density=facts["bulk_density"],
                    particle_density=facts["particle_density"],
                    organic_matter=facts["organic_matter"],
                    grading=grading,
                    core_height=facts["core_height"],
                    suction_level=self.facts.level_of(name),
                    lab_error=facts["lab_error"] or self._lab_error(name, points, notes),
                    sample=name,
                    source=self.source,
                    notes=tuple(notes),
                    row_labels=tuple(point.row for point in points),
                    wetting_suction=rewetted[0],
                    wetting_water_content=rewetted[1],
                )
            except InputError as error:
                odd = odd_points(points, suction, water)
                slip = say_missing(points[i].written for i in odd)
                for fault in error.faults:
                    about = any(points[i].row in fault for i in odd)
                    cure = f"to leave out a slip, say {slip}" if about else ""
                    self.faults.add(fault, where=of_sample.format(name), cure=cure)
        return made

    def _drying(self, points: list[Point], where: str) -> list[Point]:
        """Find the points of the drying branch, which no table can be without."""
        wetting = [point for point in points if point.branch == "wetting"]
        if not wetting:
            return points
        if len(wetting) == len(points):
            who = f'"{self.wetting[:60]}" speaks' if self.wetting else "what stands above speaks"
            self.faults.add(
                f"{who} of the wetting branch, which holds less water at a suction than the drying "
                "one",
                allowed="the drying (desorption) curve",
                where=where,
                cure="give the drying curve too, or call it drying if it is that",
            )
            return []
        return [point for point in points if point.branch != "wetting"]

    def _lab_error(self, sample: str, points: Sequence[Point], notes: list[str]) -> float:
        """Give the error of one water content, from standard deviations beside means if any."""
        found = [each for each in self.deviations if each[0] == sample]
        if not found or any(point.replicate for point in points):
            return LAB_ERROR
        per_cent = max(point.water for point in points) > 1.0
        if water_unit(points[0].water_unit).basis not in (None, "volume"):
            notes.append("standard deviations are not by volume and are not used")
            return LAB_ERROR
        pooled = math.sqrt(sum(value**2 for _, value, _ in found) / len(found))
        pooled = pooled / 100.0 if per_cent else pooled
        notes.append(f"standard deviations pooled to {100 * pooled:.2g} % by volume as lab error")
        return pooled


# What stands behind a mean: "37.8 ± 0.5", "37.8 (0.5)".
_SCATTER = r"±|\+ ?/ ?-|\s*\((?=[\d.,\s]+%?\s*\)$)"
_DITTO = ("", '"', "''", "〃", "ditto", "do.")


def _completed(said: str, above: str) -> str:
    """Add a line above to what a column says of its water contents where that leaves a gap."""
    unit, wider = water_unit(said), water_unit(above)
    basis = unit.basis is None and wider.basis is not None
    scale = unit.scale is None and wider.scale is not None
    return f"{said} {above}" if basis or scale else said
