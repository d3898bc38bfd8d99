"""What a lab sheet says of a sample beside its points: densities, conductivity, sieves."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from soilwater.lab import sheet_words as words
from soilwater.lab.grading import Grading
from soilwater.lab.sheet_layout import FACTS
from soilwater.lab.sheet_units import water_unit
from soilwater.words.cells import parse_number, parse_or_none
from soilwater.words.errors import Faults
from soilwater.words.set_right import is_bound, is_code
from soilwater.words.text_tables import MISSING_CODES
from soilwater.words.units import to_house

QUANTITIES = dict(
    zip(
        FACTS,
        ("conductivity", "density", "density", "fraction", "fraction", "water_content", "length"),
        strict=True,
    )
)
"""Quantity of each fact, for the conversion to house units."""


class Facts:
    """Facts and sieves of the samples of a sheet, as they are met.

    Parameters
    ----------
    faults : Faults
        Where what is wrong is noted.
    notes : list of str
        Where what was understood is noted.
    unread : list of (str, str)
        Where cells that are no numbers are noted, with their places.
    codes : frozenset
        Cells that mean "not measured".
    """

    def __init__(
        self,
        faults: Faults,
        notes: list[str],
        unread: list[tuple[str, str]],
        codes: frozenset[str | float] = frozenset(),
    ) -> None:
        self._faults, self._notes, self._unread, self._codes = faults, notes, unread, codes
        self._values: dict[tuple[str, str], float] = {}
        self._sieves: dict[str, dict[float, float]] = {}
        self._levels: dict[str, str] = {}
        self._said: set[tuple[str, str, str]] = set()
        self._stated: set[str] = set()

    def state(self, name: str, value: object) -> None:
        """Take a value the person gave, which goes before the sheet."""
        with self._faults.catching():
            self._values["", name] = float(to_house(value, QUANTITIES[name], name))
        self._stated.add(name)

    def state_level(self, level: str) -> None:
        """Take the level the person gave."""
        self._levels[""] = level
        self._stated.add("suction_level")

    def of(self, sample: str) -> dict[str, float | None]:
        """Facts of a sample, in house units; None for what the sheet does not say."""
        return {
            role: self._values.get(("", role))
            if role in self._stated
            else self._values.get((sample, role), self._values.get(("", role)))
            for role in FACTS
        }

    def level_of(self, sample: str) -> str | None:
        """Level of the core to which suctions of a sample refer, None if nothing says so."""
        if "suction_level" in self._stated:
            return self._levels[""]
        return self._levels.get(sample, self._levels.get(""))

    def grading_of(self, sample: str) -> Grading | None:
        """Sieve analysis of a sample."""
        sieves = self._sieves.get(sample) or self._sieves.get("")
        grading = None
        if sieves:
            with self._faults.catching():
                sizes, retained = np.array(list(sieves)), np.array(list(sieves.values()))
                grading = Grading(sizes, retained, name=sample)
        return grading

    def line(self, cells: Sequence[str], where: str, decimal: str, sample: str = "") -> bool:
        """Take a line such as "Bulk density; 1.55; g/cm3"; tell whether it was one."""
        if len(cells) < 2 or len(cells) > 3:
            return False
        name, unit = _without_unit(cells[0])
        role = words.role_of(name)
        if role == "pores":
            self._notes.append(f"not used: {cells[0]}")
            return True
        if role == "suction_level":
            self.level(cells[1], sample)
            return True
        if role not in (*FACTS, "retained"):
            return False
        value = cells[1]
        if len(cells) > 2:
            # Some write "Core height, cm, 7.6".
            unit_first = parse_or_none(value) is None and parse_or_none(cells[2], decimal)
            value, unit = (cells[2], value) if unit_first else (value, cells[2])
        self.cell(name, value, unit, where, decimal, sample)
        return True

    def prose(self, text: str, where: str, decimal: str, sample: str) -> None:
        """Take from a sentence what it says of the cores: their height, the level of suctions."""
        self.level(text, sample)
        height = words.height_of(text)
        if height and "core_height" not in self._stated:
            self.cell("core height", height[0], height[1], where, decimal, sample)
            self._notes.append(f'cores read as {" ".join(height)} high ("{text}")')

    def level(self, text: str, sample: str) -> None:
        """Take the level of the core that a text names, if it names one."""
        level = words.level_of(text)
        if level and "suction_level" not in self._stated:
            self._levels[sample] = level
            self._notes.append(f'suctions read as those at the {level} of the core ("{text}")')

    def cell(
        self, header: str, cell: str, unit: str, where: str, decimal: str, sample: str
    ) -> None:
        """Take one fact."""
        role = words.role_of(header)
        if role is None:
            return
        if role in self._stated:
            self._notes.append(f"{header} {cell} of the sheet set aside for the value given")
            return
        if is_bound(cell) or is_code(cell, self._codes, decimal):
            self._notes.append(f'{header} "{cell}" is no value and was left out')
            return
        try:
            value, own_unit = parse_number(cell, decimal)
        except ValueError:
            self._unread.append((f"{where}: {header}", cell))
            return
        unit = own_unit or unit
        # A column repeats the same fact on every line of a sample: it is looked at once.
        if value is None or value in MISSING_CODES or (sample, header, cell) in self._said:
            return
        self._said.add((sample, header, cell))
        if role == "retained":
            self._sieve(header, value, unit, where, sample)
            return
        converted = self._converted(role, header, value, unit, where)
        if converted is None:
            return
        known = self._values.setdefault((sample, role), converted)
        if abs(known - converted) > 1e-9 * max(abs(known), 1e-12):
            self._faults.add(
                f"{header} is {cell} here but {known:g} further up",
                where=where,
                cure=f"say which it is, {role}={quoted_amount(known, role)} or "
                f"{role}={quoted_amount(converted, role)}"
                if role != "organic_matter"
                else "keep one value per sample",
            )

    def _converted(
        self, role: str, header: str, value: float, unit: str, where: str
    ) -> float | None:
        quantity = QUANTITIES[role]
        if role == "k_sat" and not unit:
            self._faults.add(
                f"{header} {value:g} has no unit: {2.54 * value:.3g} cm/h if in/h, {value:g} cm/h, "
                f"or {0.1 * value:.3g} cm/h if mm/h",
                where=where,
                cure=f'confirm with k_sat="{value:g} in/h"',
            )
            return None
        if role == "core_height" and not unit:
            self._faults.add(
                f"{header} {value:g} has no unit",
                where=where,
                cure=f'confirm with core_height="{value:g} cm"',
            )
            return None
        if quantity == "density" and not unit:
            if not 0.2 <= value <= 3.5:
                self._faults.add(
                    f"{header} {value:g} has no unit",
                    where=where,
                    cure=f'confirm with {role}="{value:g} kg/m3"',
                )
                return None
            self._notes.append(f"{header} {value:g} read as g/cm3")
            unit = "g/cm3"
        if quantity in ("fraction", "water_content"):
            percent = water_unit(unit).scale == 0.01
            if not percent and value > 1.0:
                self._notes.append(f"{header} {value:g} read as per cent")
                percent = True
            elif not percent and role == "organic_matter" and not unit and value > 0.0:
                self._faults.add(
                    f"{header} {value:g} has no unit: per cent or fraction?",
                    where=where,
                    cure=f'write "{value:g} %" if it is per cent',
                )
                return None
            return value / 100.0 if percent else value
        converted = None
        with self._faults.catching(where):
            converted = float(to_house(f"{value!r} {unit}", quantity, header))
        return converted

    def _sieve(self, header: str, value: float, unit: str, where: str, sample: str) -> None:
        size = _sieve_size(header)
        if size is None:
            self._faults.add(
                f'no sieve opening in "{header}"', where=where, cure='write "retained 0.25 mm"'
            )
            return
        fraction = water_unit(unit).scale == 1.0
        self._sieves.setdefault(sample, {})[size] = value if fraction else value / 100.0


def _without_unit(text: str) -> tuple[str, str]:
    match = re.fullmatch(r"(.*\S)\s*[(\[]([^()\[\]]+)[)\]]", text)
    return (match.group(1), match.group(2)) if match else (text, "")


def quoted_amount(value: float, role: str) -> str:
    """Write a fact in house units as an argument."""
    unit = {"conductivity": "cm/h", "density": "g/cm3", "length": "cm"}.get(QUANTITIES[role], "")
    return f'"{value:.6g} {unit}"' if unit else f'"{100 * value:.6g} %"'


def _sieve_size(header: str) -> float | None:
    if re.search(r"\bpan\b", words.plain(header)):
        return 0.0
    match = re.search(r"(\d+(?:[.,]\d+)?)\s*(mm|µm|um|micron)", words.plain(header))
    if match is None:
        return None
    size = float(match.group(1).replace(",", "."))
    return size if match.group(2) == "mm" else size / 1000.0
