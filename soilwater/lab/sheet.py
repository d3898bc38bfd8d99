"""Reading lab sheets as they come: any separator, decimal sign, unit and basis, and no guessing.

What the sheet leaves open stops the reading with a sentence that says what the numbers look like
and which argument settles it. Every fault of the sheet is in one message, with its line.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from soilwater.lab import sheet_words as words
from soilwater.lab.grading import Grading
from soilwater.lab.retention import (
    LAB_ERROR,
    MINERAL_DENSITY,
    WATER_DENSITY,
    RetentionTable,
    check_facts,
)
from soilwater.words.cells import parse_number
from soilwater.words.errors import Faults, InputError
from soilwater.words.text_tables import MISSING_CODES, TextTable, read_text_table
from soilwater.words.units import to_house

_FACTS = {
    "k_sat": "conductivity",
    "bulk_density": "density",
    "particle_density": "density",
    "porosity": "fraction",
    "organic_matter": "fraction",
    "lab_error": "water_content",
}


def read_retention(
    source: Any,
    *,
    sample: str | None = None,
    suction_unit: str | None = None,
    water_content_unit: str | None = None,
    bulk_density: Any = None,
    particle_density: Any = None,
    porosity: Any = None,
    k_sat: Any = None,
    lab_error: Any = None,
    sheet: str | None = None,
) -> RetentionTable:
    """Read the retention table of one sample from a lab sheet.

    Parameters
    ----------
    source : path, DataFrame or mapping
        CSV or text file, Excel workbook, or a table in memory.
    sample : str, optional
        Which sample, where the sheet has several.
    suction_unit : str, optional
        Unit of the suctions where the sheet has none, e.g. ``"kPa"``, ``"cm"``, ``"in"``,
        ``"log10 cm"``; it goes before what the sheet says.
    water_content_unit : str, optional
        Scale and basis of the water contents where the sheet leaves them open, e.g.
        ``"% by volume"``, ``"fraction by mass"``, ``"% of saturation"``; it goes before what the
        sheet says.
    bulk_density, particle_density : float or str, optional
        Densities [g/cm3], before those of the sheet.
    porosity : float or str, optional
        Total porosity [1], before that of the sheet.
    k_sat : float or str, optional
        Saturated conductivity [cm/h], before that of the sheet.
    lab_error : float or str, optional
        Standard deviation of one measured water content [1], before that of the sheet.
    sheet : str, optional
        Worksheet of a workbook.

    Returns
    -------
    RetentionTable

    Raises
    ------
    InputError
        If anything on the sheet is missing, ambiguous or impossible; all faults at once. Also if
        there are several samples and none is named.

    Examples
    --------
    >>> sheet = {"suction": [1, 2, 3, 4], "vwc (%)": [37.8, 28.4, 19.4, 14.0]}
    >>> read_retention(sheet)
    Traceback (most recent call last):
    ...
    soilwater.words.errors.InputError: Lab sheet table: suction has no unit: the numbers 1 to 4 \
look like kPa (or in?): 1 kPa = 10.2 cm. Using kPa gives a curve from 10 to 41 cm; confirm with \
suction_unit="kPa".
    >>> read_retention(sheet, suction_unit="kPa").suction.round(1)
    array([10.2, 20.4, 30.6, 40.8])
    """
    tables = read_retention_samples(
        source,
        suction_unit=suction_unit,
        water_content_unit=water_content_unit,
        bulk_density=bulk_density,
        particle_density=particle_density,
        porosity=porosity,
        k_sat=k_sat,
        lab_error=lab_error,
        sheet=sheet,
        samples=None if sample is None else (sample,),
    )
    if len(tables) > 1:
        names = ", ".join(f'"{name}"' for name in tables)
        raise InputError(
            f"The sheet has {len(tables)} samples: {names}; name one with sample=..., or read all "
            "with read_retention_samples."
        )
    return next(iter(tables.values()))


def read_retention_samples(
    source: Any,
    *,
    samples: Sequence[str] | None = None,
    suction_unit: str | None = None,
    water_content_unit: str | None = None,
    bulk_density: Any = None,
    particle_density: Any = None,
    porosity: Any = None,
    k_sat: Any = None,
    lab_error: Any = None,
    sheet: str | None = None,
) -> dict[str, RetentionTable]:
    """Read the retention tables of all samples of a lab sheet.

    Parameters
    ----------
    source : path, DataFrame or mapping
        CSV or text file, Excel workbook, or a table in memory.
    samples : sequence of str, optional
        Which samples; all by default.
    suction_unit, water_content_unit : str, optional
        As in `read_retention`.
    bulk_density, particle_density : float or str, optional
        Densities [g/cm3] of every sample, before those of the sheet.
    porosity : float or str, optional
        Total porosity [1] of every sample, before that of the sheet.
    k_sat : float or str, optional
        Saturated conductivity [cm/h] of every sample, before that of the sheet.
    lab_error : float or str, optional
        Standard deviation of one measured water content [1], before that of the sheet.
    sheet : str, optional
        Worksheet of a workbook.

    Returns
    -------
    dict of str to RetentionTable
        In the order of the sheet; a sheet that names no sample has one, called ``""``.

    Raises
    ------
    InputError
        If anything on the sheet is missing, ambiguous or impossible; all faults at once.
    """
    text = read_text_table(source, sheet=sheet)
    faults = Faults(f"Lab sheet {text.source}".strip())
    if water_content_unit is not None:
        with faults.catching():
            words.stated_water_unit(water_content_unit)
    stated = {
        "bulk_density": bulk_density,
        "particle_density": particle_density,
        "porosity": porosity,
        "k_sat": k_sat,
        "lab_error": lab_error,
    }
    reading = _Reading(text, faults)
    for name, value in stated.items():
        if value is not None:
            with faults.catching():
                reading.facts[("", name)] = float(to_house(value, _FACTS[name], name))
    reading.stated = frozenset(name for name, value in stated.items() if value is not None)
    reading.collect()
    names = list(dict.fromkeys(point.sample for point in reading.points))
    if samples is not None:
        wanted = [str(name) for name in samples]
        for name in wanted:
            if name not in names:
                known = ", ".join(f'"{each}"' for each in names)
                faults.add(f'no sample "{name}" on the sheet', allowed=known)
        names = [name for name in names if name in wanted]
    tables = reading.tables(names, suction_unit, water_content_unit)
    faults.raise_if_any()
    return tables


@dataclass(frozen=True)
class _Point:
    """One measurement as written."""

    row: str
    sample: str
    replicate: str
    suction: float
    suction_unit: str
    water: float
    water_unit: str


@dataclass
class _Reading:
    """What has been understood of a sheet so far."""

    text: TextTable
    faults: Faults
    points: list[_Point] = field(default_factory=list)
    facts: dict[tuple[str, str], float] = field(default_factory=dict)
    stated: frozenset[str] = frozenset()
    sieves: dict[str, dict[float, float]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    said: set[tuple[str, str, str]] = field(default_factory=set)

    @property
    def row_word(self) -> str:
        """Rows of a table in memory are rows; those of a file are lines of it."""
        return "row" if self.text.source == "table" else "line"

    def collect(self) -> None:
        """Take points, facts and sieves from every line of the sheet."""
        text = self.text
        self.notes += text.notes
        self._refuse_wetting()
        for line in text.preface:
            cells = [cell.strip() for cell in re.split(r"[;:=\t]|,\s", line) if cell.strip()]
            if len(cells) > 1:
                self._fact_line(cells, "above the table")
        columns: dict[str, list[int]] = {}
        unused = []
        for i, header in enumerate(text.columns):
            role = words.role_of(header)
            # "sand (%)" is a share of the grading, not the name of a sample.
            measured = role in ("sample", "replicate") and bool(text.units[i])
            if role is None or role == "unused" or measured:
                unused.append(header)
            else:
                columns.setdefault(role, []).append(i)
        if unused:
            self.notes.append(f"not used: {', '.join(unused)}")
        if not self._has_both(columns):
            return
        waters = self._replicate_columns(columns["water_content"])
        sample = ""
        for number, row in zip(text.line_numbers, text.rows, strict=True):
            where = f"{self.row_word} {number}"
            if self._fact_line([cell for cell in row if cell], where, in_table=True):
                continue
            for i in columns.get("sample", [])[:1]:
                sample = row[i] or sample
            for role in (*_FACTS, "retained"):
                for i in columns.get(role, []):
                    if row[i]:
                        self._fact(text.columns[i], row[i], text.units[i], where, sample)
            self._measurements(row, where, sample, columns, waters)

    def _refuse_wetting(self) -> None:
        """Refuse a curve said to be of wetting: a table here holds the drying curve."""
        said = [*self.text.preface, *self.text.columns]
        said += [cell for row in self.text.rows for cell in row]
        wetting = next((line for line in said if words.is_wetting(line)), None)
        if wetting is not None:
            self.faults.add(
                f'"{wetting[:60]}" speaks of a wetting curve, which holds less water at a suction '
                "than the drying one",
                allowed="the drying (desorption) curve",
                cure="give the rows of the drying curve only, and leave the word out if it is that",
            )

    def _has_both(self, columns: dict[str, list[int]]) -> bool:
        for role, example in (
            ("suction", "suction (cm)"),
            ("water_content", "water content (% by volume)"),
        ):
            if role not in columns:
                found = ", ".join(f'"{name}"' for name in self.text.columns)
                self.faults.add(
                    f"no column for {role.replace('_', ' ')} among {found}",
                    cure=f'head the column "{example}"',
                )
        if len(columns.get("suction", [])) > 1:
            names = ", ".join(f'"{self.text.columns[i]}"' for i in columns["suction"])
            self.faults.add(f"several suction columns: {names}", cure="keep one")
        return "suction" in columns and "water_content" in columns

    def _replicate_columns(self, found: list[int]) -> list[tuple[int, str]]:
        """Column numbers of water content with the replicate each belongs to."""
        if len(found) == 1:
            return [(found[0], "")]
        labels = []
        for i in found:
            match = re.search(r"\b(?:rep\w*|core|ring|no\.?|#)?\s*(\w)\s*$", self.text.columns[i])
            labels.append(match.group(1) if match else "")
        if "" in labels or len(set(labels)) < len(labels):
            names = ", ".join(f'"{self.text.columns[i]}"' for i in found)
            self.faults.add(
                f"several columns hold water content: {names}",
                cure='keep one, or head replicates "water content rep 1", "water content rep 2"',
            )
            return [(found[0], "")]
        self.notes.append(f"{len(found)} replicates side by side")
        return list(zip(found, labels, strict=True))

    def _measurements(
        self,
        row: Sequence[str],
        where: str,
        sample: str,
        columns: dict[str, list[int]],
        waters: Sequence[tuple[int, str]],
    ) -> None:
        text = self.text
        at = columns["suction"][0]
        suction, suction_unit = self._number(row[at], where, text.columns[at])
        replicate = next((row[i] for i in columns.get("replicate", [])[:1]), "")
        for i, label in waters:
            water, unit = self._number(row[i], where, text.columns[i])
            if water is None and suction is None:
                continue
            if water is None:
                if row[i] in ("", "-") or parse_or_none(row[i]) is None:
                    self.notes.append(f"{where} has no water content and was left out")
                continue
            if suction is None:
                self.faults.add(
                    "water content without a suction", where=where, cure="add the suction"
                )
                continue
            self.points.append(
                _Point(
                    row=where,
                    sample=sample,
                    replicate=label or replicate,
                    suction=suction,
                    suction_unit=suction_unit or text.units[at] or _unit_in(text.columns[at]),
                    water=water,
                    water_unit=f"{text.columns[i]} {text.units[i]} {unit}",
                )
            )

    def _number(self, cell: str, where: str, column: str) -> tuple[float | None, str]:
        try:
            value, unit = parse_number(cell, self.text.decimal)
        except ValueError:
            self.faults.add(
                f'"{cell}" is not a number',
                where=f"{where}, column {column}",
                cure="write a number, or leave the cell empty if it was not measured",
            )
            return None, ""
        if value in MISSING_CODES:
            self.notes.append(f"{where}, column {column}: {cell} read as not measured")
            return None, ""
        return value, unit

    def _fact_line(self, cells: Sequence[str], where: str, *, in_table: bool = False) -> bool:
        """Take a line such as "Bulk density; 1.55; g/cm3"; tell whether it was one."""
        if len(cells) < 2 or len(cells) > 3:
            return False
        role = words.role_of(_without_unit(cells[0])[0])
        if role not in (*_FACTS, "retained", "unused", "sample"):
            return False
        if role == "sample":
            return False
        if in_table and parse_or_none(cells[0]) is not None:
            return False
        if role == "unused":
            self.notes.append(f"not used: {cells[0]}")
            return True
        name, unit = _without_unit(cells[0])
        self._fact(name, cells[1], cells[2] if len(cells) > 2 else unit, where, "")
        return True

    def _fact(self, header: str, cell: str, unit: str, where: str, sample: str) -> None:
        role = words.role_of(header)
        if role is None:
            return
        try:
            value, own_unit = parse_number(cell, self.text.decimal)
        except ValueError:
            self.faults.add(f'{header}: "{cell}" is not a number', where=where)
            return
        unit = own_unit or unit
        # A column repeats the same fact on every line of a sample: it is looked at once.
        if value is None or value in MISSING_CODES or (sample, header, cell) in self.said:
            return
        self.said.add((sample, header, cell))
        if role == "retained":
            self._sieve(header, value, unit, where, sample)
            return
        if role in self.stated:
            self.notes.append(f"{header} {cell} of the sheet set aside for the value given")
            return
        converted = self._converted(role, header, value, unit, where)
        if converted is None:
            return
        known = self.facts.setdefault((sample, role), converted)
        if abs(known - converted) > 1e-9 * max(abs(known), 1e-12):
            self.faults.add(
                f"{header} is {cell} here but {known:g} further up",
                where=where,
                cure="keep one value per sample",
            )

    def _converted(
        self, role: str, header: str, value: float, unit: str, where: str
    ) -> float | None:
        quantity = _FACTS[role]
        if role == "k_sat" and not unit:
            self.faults.add(
                f"{header} {value:g} has no unit: {2.54 * value:.3g} cm/h if in/h, {value:g} cm/h, "
                f"or {0.1 * value:.3g} cm/h if mm/h",
                where=where,
                cure=f'confirm with k_sat="{value:g} in/h"',
            )
            return None
        if quantity == "density" and not unit:
            if not 0.2 <= value <= 3.5:
                self.faults.add(
                    f"{header} {value:g} has no unit", where=where, cure="write g/cm3 behind it"
                )
                return None
            self.notes.append(f"{header} {value:g} read as g/cm3")
            unit = "g/cm3"
        if quantity in ("fraction", "water_content"):
            percent = words.water_unit(unit).scale == 0.01
            if not percent and value > 1.0:
                self.notes.append(f"{header} {value:g} read as per cent")
                percent = True
            elif not percent and role == "organic_matter" and not unit and value > 0.0:
                self.faults.add(
                    f"{header} {value:g} has no unit: per cent or fraction?",
                    where=where,
                    cure=f'write "{value:g} %" if it is per cent',
                )
                return None
            return value / 100.0 if percent else value
        converted = None
        with self.faults.catching(where):
            converted = float(to_house(f"{value!r} {unit}", quantity, header))
        return converted

    def _sieve(self, header: str, value: float, unit: str, where: str, sample: str) -> None:
        size = _sieve_size(header)
        if size is None:
            self.faults.add(
                f'no sieve opening in "{header}"', where=where, cure='write "retained 0.25 mm"'
            )
            return
        fraction = words.water_unit(unit).scale == 1.0
        self.sieves.setdefault(sample, {})[size] = value if fraction else value / 100.0

    def tables(
        self, names: Sequence[str], suction_unit: str | None, water_unit: str | None
    ) -> dict[str, RetentionTable]:
        """Make the checked table of each sample, noting every fault."""
        made = {}
        if not self.points and not self.faults:
            self.faults.add("no measurements", cure="give suctions with their water contents")
        for name in names:
            points = [point for point in self.points if point.sample == name]
            facts = {
                role: self.facts.get((name, role), self.facts.get(("", role))) for role in _FACTS
            }
            notes = list(self.notes)
            suction = _suctions(points, suction_unit, notes, self.faults)
            water = _water_contents(points, suction, water_unit, facts, notes, self.faults)
            sieves = self.sieves.get(name) or self.sieves.get("")
            grading = None
            if sieves:
                with self.faults.catching():
                    grading = Grading(
                        np.array(list(sieves)), np.array(list(sieves.values())), name=name
                    )
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
                    lab_error=facts["lab_error"] or LAB_ERROR,
                    sample=name,
                    source=self.text.source,
                    notes=tuple(dict.fromkeys(notes)),
                    row_labels=tuple(point.row for point in points),
                )
            except InputError as error:
                for fault in error.faults:
                    self.faults.add(fault, where=f'sample "{name}"' if len(names) > 1 else "")
        return made


def _suctions(
    points: Sequence[_Point], stated: str | None, notes: list[str], faults: Faults
) -> Any:
    """Suctions [cm] of the points; with a likely unit where none is given, which is a fault."""
    values = np.array([point.suction for point in points])
    units = [stated or point.suction_unit for point in points]
    bare = [point.row for point, unit in zip(points, units, strict=True) if not unit]
    log_axis = any(words.is_log_suction(unit) for unit in units)
    if values.size and values.max() <= 0.0 and values.min() < 0.0 and not log_axis:
        values = -values
        notes.append("negative pressures read as suctions")
    if bare and len(bare) < len(points):
        faults.add(
            f"suction has a unit in some rows but not in {', '.join(bare)}",
            cure="write the unit in every cell or in the header",
        )
    if bare:
        best, sentence = words.guess_suction(values)
        if len(bare) == len(points):
            faults.add(sentence, cure=f'confirm with suction_unit="{best}"')
        units = [unit or best for unit in units]
    suction = np.empty(values.size)
    for unit in dict.fromkeys(units):
        chosen = np.array([each == unit for each in units])
        before = len(faults)
        with faults.catching():
            suction[chosen] = words.suction_in_cm(values[chosen], unit)
        if len(faults) > before:
            return None
    if not bare:
        notes.append(f"suction read as {', '.join(dict.fromkeys(units))}")
    return suction


def _water_contents(
    points: Sequence[_Point],
    suction: Any,
    stated: str | None,
    facts: dict[str, float | None],
    notes: list[str],
    faults: Faults,
) -> Any:
    """Water contents by volume [1] of the points, or None where they cannot be had."""
    values = np.array([point.water for point in points])
    units = [words.water_unit(stated or point.water_unit) for point in points]
    rows = [point.row for point in points]
    fractions = _as_fractions(values, [unit.scale for unit in units], rows, notes, faults)
    bases = {unit.basis for unit in units}
    if fractions is None or suction is None or not points:
        if points and None in bases:
            faults.add(
                "water content has no basis: by volume, by mass, or a degree of saturation?",
                cure='confirm with water_content_unit, e.g. "% by volume"',
            )
        return None
    bulk_density, space = facts["bulk_density"], facts["porosity"]
    if space is None and bulk_density is not None:
        space = 1.0 - bulk_density / (facts["particle_density"] or MINERAL_DENSITY)
    if len(bases) > 1:
        faults.add(
            "some water contents are by volume and some by mass or of saturation",
            cure="write them all on one basis",
        )
        return None
    basis = bases.pop()
    if basis is None:
        wettest = int(np.argmax(fractions))
        basis, sentence = words.guess_basis(
            float(fractions[wettest]), float(suction[wettest]), space, bulk_density
        )
        scale = "%" if np.max(values) > 1.0 else "fraction"
        ending = "of saturation" if basis == "saturation" else f"by {basis}"
        faults.add(sentence, cure=f'confirm with water_content_unit="{scale} {ending}"')
        if (basis == "mass" and bulk_density is None) or (basis == "saturation" and space is None):
            return None
    else:
        ending = "of saturation" if basis == "saturation" else f"by {basis}"
        notes.append(f"water content read as {ending}")
    if basis == "mass":
        if bulk_density is None:
            faults.add(
                "water content by mass needs the bulk density to become water by volume",
                cure='give it, e.g. bulk_density="1.55 g/cm3"',
            )
            return None
        notes.append(f"multiplied by the bulk density {bulk_density:g} g/cm3")
        return fractions * bulk_density / WATER_DENSITY
    if basis == "saturation":
        if space is None:
            faults.add(
                "a degree of saturation needs the total porosity to become water by volume",
                cure='give it, e.g. porosity="40 %"',
            )
            return None
        notes.append(f"multiplied by the pore space {100 * space:.1f} %")
        return fractions * space
    if stated is None:
        doubt = words.doubt_of_curve(suction, fractions)
        if doubt:
            faults.add(doubt[0], cure=doubt[1])
    return fractions


def _as_fractions(
    values: Any,
    scales: Sequence[float | None],
    rows: Sequence[str],
    notes: list[str],
    faults: Faults,
) -> Any:
    """Numbers as fractions; None and a fault where per cent and fractions are mixed up.

    Above 1 a number can only be per cent, and a column of numbers up to 1 only fractions: no
    drying test of a sand starts at 1 per cent. Both are said in a note, neither is a guess.
    """
    if values.size == 0:
        return None
    large = values > 1.0
    open_scale = np.array([scale is None for scale in scales])
    if not large.any() and values.max() > 0.05 and all(scale == 0.01 for scale in scales):
        faults.add(
            f"water contents of {values.min():g} to {values.max():g} under a per cent sign: a sand "
            f"that holds {values.max():g} % when wettest, or fractions ({100 * values.max():.3g} "
            "%)?",
            cure="head the column by what they are: "
            '"water content (fraction by volume)" if fractions',
        )
        return None
    stated_fraction = np.array([scale == 1.0 for scale in scales])
    stated_percent = np.array([scale == 0.01 for scale in scales])
    # Per cent below 1 at the dry end of a long curve is real; before a row of more it is not.
    followed = np.append(np.cumsum(large[::-1])[::-1][1:], 0) > 0
    small = ~large & ((stated_percent & followed) | (open_scale & large.any()))
    if small.any() or np.any(large & stated_fraction):
        few = large if large.all() or large.sum() <= (~large).sum() else ~large
        listed = ", ".join(f"{rows[i]} ({values[i]:g})" for i in np.flatnonzero(few).tolist())
        rest = values[~few]
        faults.add(
            f"mixed fractions and per cents: {listed} among numbers of {rest.min():g} to "
            f"{rest.max():g}"
            if rest.size
            else f"per cents in a column of fractions: {listed}",
            cure="write them all alike",
        )
        return None
    if open_scale.any():
        notes.append(f"water contents read as {'per cent' if large.any() else 'fractions'}")
    return np.where(stated_percent | large, values / 100.0, values)


def parse_or_none(cell: str) -> float | None:
    """Give the number in a cell, or None where it is empty or no number."""
    try:
        return parse_number(cell)[0]
    except ValueError:
        return None


def _without_unit(text: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*\S)\s*[(\[]([^()\[\]]+)[)\]]", text)
    return (match.group(1), match.group(2)) if match else (text, "")


def _unit_in(header: str) -> str:
    if words.is_log_suction(header):
        return words.LOG_SUCTION
    return header.strip() if words.is_suction_unit(header) else ""


def _sieve_size(header: str) -> float | None:
    if re.search(r"\bpan\b", words.plain(header)):
        return 0.0
    match = re.search(r"(\d+(?:[.,]\d+)?)\s*(mm|µm|um|micron)", words.plain(header))
    if match is None:
        return None
    size = float(match.group(1).replace(",", "."))
    return size if match.group(2) == "mm" else size / 1000.0
