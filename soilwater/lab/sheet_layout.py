"""Which column of a lab table holds what: suctions, water contents and whose, units, branches.

Several columns of water contents are replicates, samples or branches by their own words. Where
they say nothing ("VWC 1", "VWC 2"), columns that agree within what cores of one sand scatter are
replicates, and others are samples; a note says which.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from soilwater.lab import sheet_words as words
from soilwater.lab.sheet_units import suction_in_cm, water_unit
from soilwater.words.cells import looks_like_unit, parse_number
from soilwater.words.errors import Faults, InputError
from soilwater.words.set_right import say_columns
from soilwater.words.text_tables import TextTable

REPLICATE_SCATTER = 0.06
"""Largest difference [1] between cores of one sand at one suction: two standard deviations of the
difference of measurements within 2 per cent by volume each (common practice, no source)."""


@dataclass(frozen=True)
class WaterColumn:
    """A column of water contents, and the sample, replicate and branch it belongs to."""

    at: int
    sample: str = ""
    replicate: str = ""
    branch: str = ""


@dataclass(frozen=True)
class Layout:
    """Columns of a table by what they hold: numbers of columns, None where there is none."""

    suction: int
    waters: tuple[WaterColumn, ...]
    sample: int | None
    replicate: int | None
    branch: int | None
    deviation: int | None
    facts: tuple[int, ...]
    unit_beside: dict[int, int]


FACTS = (
    "k_sat",
    "bulk_density",
    "particle_density",
    "porosity",
    "organic_matter",
    "lab_error",
    "core_height",
)


def layout_of(
    text: TextTable,
    water_unit_stated: bool,
    faults: Faults,
    notes: list[str],
    named: Mapping[int, str] = MappingProxyType({}),
) -> Layout | None:
    """Find what each column of a table holds.

    Parameters
    ----------
    text : TextTable
        With its suctions in a column.
    water_unit_stated : bool
        Whether the person said what the water contents are: then columns of numbers beside the
        suctions are taken for them.
    faults : Faults
        Where what cannot be told is noted.
    notes : list of str
        Where what was understood is noted.
    named : mapping of int to str, optional
        What the person said some columns hold, by their positions.

    Returns
    -------
    Layout or None
        None where suctions or water contents are not found.
    """
    units = _unit_columns(text)
    branch = _branch_column(text)
    roles: dict[int, str | None] = {}
    for i, header in enumerate(text.columns):
        role = words.role_of(header)
        if i in units or i == branch:
            role = "known"
        elif role in ("sample", "replicate") and text.units[i]:
            # "sand (%)" is a share of the grading, not the name of a sample.
            role = None
        elif role in ("water_content", None) and words.statistic_of(header):
            role = words.statistic_of(header)
        if role is None:
            role = _role_by_unit(text, [at for at, of in units.items() if of == i])
        if named:
            role = named.get(i, "unused" if role in named.values() else role)
        roles[i] = role
    suctions = [i for i, role in roles.items() if role == "suction"]
    waters = _water_columns(text, roles, water_unit_stated, notes)
    unused = [
        text.columns[i]
        for i, role in roles.items()
        if role in (None, "pores", "unused", "mean", "other")
        and i not in [each.at for each in waters]
        and any(row[i] for row in text.rows)
    ]
    if unused:
        notes.append(f"not used: {', '.join(unused)}")
    if len(suctions) > 1:
        suctions = _one_suction(text, suctions, faults, notes)
    _say_what_lacks(text, bool(suctions), bool(waters), faults)
    if not suctions or not waters:
        return None

    def first(role: str) -> int | None:
        return next((i for i, each in roles.items() if each == role), None)

    return Layout(
        suction=suctions[0],
        waters=_told_apart(text, suctions[0], waters, faults, notes),
        sample=first("sample"),
        replicate=first("replicate"),
        branch=branch,
        deviation=first("deviation") if len(waters) == 1 else None,
        facts=tuple(i for i, role in roles.items() if role in (*FACTS, "retained")),
        unit_beside={of: at for at, of in units.items()},
    )


def statistic_rows(text: TextTable, layout: Layout) -> set[int]:
    """Find the rows that hold a mean, a total or a scatter of rows above them.

    Parameters
    ----------
    text : TextTable
        With its suctions in a column.
    layout : Layout
        What its columns hold.

    Returns
    -------
    set of int
        Positions of the rows, from 0.
    """
    found = set()
    for at in (layout.sample, layout.replicate, layout.suction):
        if at is None:
            continue
        told = {number for number, row in enumerate(text.rows) if words.is_statistic(row[at])}
        if len(told) < len(text.rows):
            found |= told
    return found


def _unit_columns(text: TextTable) -> dict[int, int]:
    """Columns that hold the units of another, which is named in their header or stands before."""
    found: dict[int, int] = {}
    for i, header in enumerate(text.columns):
        filled = [row[i] for row in text.rows if row[i]]
        headed = words.is_unit_header(header)
        if not (filled or headed) or not all(_is_unit_cell(cell) for cell in filled):
            continue
        if not headed and not all(_measures(cell) for cell in filled):
            continue
        role = words.role_of(header)
        beside = [j for j in range(i) if j not in found]
        named = [j for j in beside if role is not None and words.role_of(text.columns[j]) == role]
        if named or beside:
            found[i] = (named or beside)[-1]
    return found


def _role_by_unit(text: TextTable, at: list[int]) -> str | None:
    """Tell what a column holds from the units beside it alone."""
    cells = [row[i] for i in at for row in text.rows if row[i]]
    if cells and all(words.suction_unit_in(cell) for cell in cells):
        return "suction"
    return "water_content" if cells and all(water_unit(cell).basis for cell in cells) else None


def _is_unit_cell(cell: str) -> bool:
    return not re.match(r"[-+.\d]", cell) and (looks_like_unit(cell) or _measures(cell))


def _measures(cell: str) -> bool:
    return bool(words.suction_unit_in(cell)) or water_unit(cell) != (None, None)


def _branch_column(text: TextTable) -> int | None:
    for i, header in enumerate(text.columns):
        filled = [row[i] for row in text.rows if row[i]]
        headed = words.is_branch_header(header)
        name = words.branch_in_column if headed else words.branch_of
        if filled and all(name(cell) for cell in filled):
            return i
    return None


def _water_columns(
    text: TextTable, roles: dict[int, str | None], stated: bool, notes: list[str]
) -> list[WaterColumn]:
    """Find the columns of water contents; where some are by volume, those."""
    found = [i for i, role in roles.items() if role == "water_content"]
    if not found and "suction" in roles.values():
        # Pores that hold water at a suction are its water content, and the others are its air.
        pores = [i for i, role in roles.items() if role == "pores"]
        basis = {i: water_unit(_full_name(text, i)).basis for i in pores}
        found = [i for i in pores if basis[i] == "volume"] or [
            i for i in pores if basis[i] == "air"
        ]
    by_volume = [i for i in found if water_unit(_full_name(text, i)).basis == "volume"]
    other = [i for i in found if i not in by_volume]
    if by_volume and other:
        notes.append(f"not used: {', '.join(text.columns[i] for i in other)} (by volume is read)")
        found = by_volume
    if not found:
        found = _headed_otherwise(text, roles, stated)
    if not found:
        means = [i for i, role in roles.items() if role == "mean"]
        named = [i for i in means if words.role_of(text.columns[i]) == "water_content"]
        found = (named or [i for i in means if _may_hold_water(text, i, stated)])[:1]
    return [WaterColumn(i) for i in found]


def _headed_otherwise(text: TextTable, roles: dict[int, str | None], stated: bool) -> list[int]:
    """Columns headed by cores or samples, where a unit or a line above says it is water."""
    shares = ("gravel", "sand", "silt", "clay", "fines")
    return [
        i
        for i, role in roles.items()
        if role in (None, "sample", "replicate")
        and words.plain(text.columns[i]) not in shares
        and _may_hold_water(text, i, stated)
    ]


def _may_hold_water(text: TextTable, at: int, stated: bool) -> bool:
    filled = [row[at] for row in text.rows if row[at]]
    if not filled or not all(_is_number(cell, text.decimal) for cell in filled):
        return False
    if text.units[at]:
        return water_unit(text.units[at]) != (None, None)
    if words.names_replicates(text.columns[at]):
        return True
    return stated or bool(said_of_water(text))


def said_of_water(text: TextTable) -> str:
    """Lines above the table that say what its water contents are."""
    return " ".join(
        line
        for line in text.preface
        if words.role_of(words.without_brackets(line)) == "water_content"
    )


def _is_number(cell: str, decimal: str) -> bool:
    try:
        parse_number(cell, decimal)
    except ValueError:
        return False
    return True


def header_of(text: TextTable, at: int) -> str:
    """Header of a column with its unit in brackets."""
    unit = text.units[at]
    return f"{text.columns[at]} ({unit})" if unit else text.columns[at]


def _full_name(text: TextTable, at: int) -> str:
    return f"{text.columns[at]} {text.units[at]}"


def _one_suction(text: TextTable, found: list[int], faults: Faults, notes: list[str]) -> list[int]:
    """Of columns that give the same suctions in several units, the first."""
    in_cm = []
    for i in found:
        unit = text.units[i] or words.suction_unit_in(text.columns[i])
        numbers = [_value(row[i], text.decimal) for row in text.rows]
        if not unit or None in numbers:
            break
        try:
            in_cm.append(np.abs(suction_in_cm(np.array(numbers, dtype=np.float64), unit)))
        except InputError:
            break
    alike = len(in_cm) == len(found) and all(
        np.allclose(each, in_cm[0], rtol=0.06, atol=0.3) for each in in_cm
    )
    names = ", ".join(f'"{_full_name(text, i).strip()}"' for i in found)
    if not alike:
        which = " or ".join(say_columns(suction=header_of(text, i)) for i in found)
        faults.add(f"several suction columns that do not agree: {names}", cure=f"say {which}")
        return []
    notes.append(f"the suction columns {names} agree; the first is read")
    return found[:1]


def _value(cell: str, decimal: str) -> float | None:
    try:
        return parse_number(cell, decimal)[0]
    except ValueError:
        return None


def _say_what_lacks(text: TextTable, suction: bool, water: bool, faults: Faults) -> None:
    found = ", ".join(f'"{name}"' for name in text.columns)
    suctions = [name for name in text.columns if words.role_of(name) == "suction"]
    open_to = [i for i in _columns_of_numbers(text) if words.role_of(text.columns[i]) != "suction"]
    if not suction and not suctions:
        at = next((i for i in open_to if _may_be(text, i, words.suction_unit_in)), None)
        open_to = [i for i in open_to if i != at]
        faults.add(
            f"no column for suction among {found}",
            cure=_said(text, "suction", at, 'suction_unit="cm"') + 'head the column "suction (cm)"',
        )
    if not water:
        at = next(
            (i for i in open_to if _may_be(text, i, lambda unit: water_unit(unit).scale)), None
        )
        faults.add(
            f"no column for water content among {found}",
            cure=_said(text, "water_content", at, 'water_content_unit="% by volume"')
            + 'head the column "water content (% by volume)", '
            + (
                "which for cores that were weighed is (wet - dry) / dry x bulk density"
                if "g" in text.units
                else "or a column for each sample by its name and say what they hold with "
                'water_content_unit="% by volume"'
            ),
        )


def _may_be(text: TextTable, at: int, measured_in: Callable[[str], object]) -> bool:
    """Whether a column may hold what nothing else does: by its unit, or where it has none."""
    unit = text.units[at]
    return bool(measured_in(unit)) if unit else not words.statistic_of(text.columns[at])


def _said(text: TextTable, role: str, at: int | None, unit: str) -> str:
    """Write the arguments that say what a column holds, and its unit where it has none."""
    if at is None:
        return ""
    bare = not text.units[at] and not words.suction_unit_in(text.columns[at])
    named = say_columns(**{role: header_of(text, at)})
    return f"say which it is, {named}{f' and {unit}' if bare else ''}, or "


def _columns_of_numbers(text: TextTable) -> list[int]:
    """Positions of the columns most of whose cells are numbers."""
    found = []
    for i in range(len(text.columns)):
        filled = [row[i] for row in text.rows if row[i]]
        if 2 * sum(_is_number(cell, text.decimal) for cell in filled) > max(1, len(filled)):
            found.append(i)
    return found


def _told_apart(
    text: TextTable,
    suction: int,
    columns: Sequence[WaterColumn],
    faults: Faults,
    notes: list[str],
) -> tuple[WaterColumn, ...]:
    """Say of each of several columns of water contents whose it is."""
    names = [text.columns[each.at] for each in columns]
    branches = [words.branch_of(name) or words.branch_in_title(name) for name in names]
    if len(columns) == 1:
        at = columns[0].at
        role = words.role_of(names[0])
        sample = names[0] if role is None and words.names_samples(names[0]) else ""
        return (WaterColumn(at, sample=sample, branch=branches[0]),)
    if "wetting" in branches:
        owners = [words.without_branch(name) for name in names]
        cores = any(words.names_replicates(name) for name in names)
        # Two that say so are of one sand, unless they name two, as are those that else are alike.
        named = all(len(own) == 1 or words.names_samples(own) for own in owners)
        pair = sorted(branches) == ["drying", "wetting"] and not named
        one = pair or len({own.lower() for own in owners}) == 1
        return tuple(
            WaterColumn(
                each.at,
                sample="" if one or cores else own,
                replicate=own if cores and not one else "",
                branch=branch or "drying",
            )
            for each, own, branch in zip(columns, owners, branches, strict=True)
        )
    labels = _labels(names)
    listed = ", ".join(f'"{name}"' for name in names)
    if any(label.lower() in _STATES for label in labels):
        faults.add(
            f"several columns hold water content: {listed}",
            cure='keep one, or head replicates "water content rep 1", "water content rep 2"',
        )
        return tuple(columns[:1])
    if all(words.names_replicates(name) for name in names):
        parts = [_REPLICATE.fullmatch(name) for name in names]
        sands = [_sample_name(part[1], "") if part else "" for part in parts]
        notes.append(f"{len(columns)} replicates side by side")
        if all(sands) and len(set(sands)) > 1:
            return _with(columns, sands, [part[2] if part else "" for part in parts])
        return _with(columns, replicates=labels)
    bare = all(re.fullmatch(r"\w|[rck]?\d+|[ivx]+", label.lower()) for label in labels)
    if bare and not any(words.names_samples(name) for name in names):
        apart = _largest_difference(text, columns)
        if apart <= REPLICATE_SCATTER:
            notes.append(f"{len(columns)} replicates side by side: {listed}")
            return _with(columns, replicates=labels)
        notes.append(
            f"{listed} read as samples, which differ by up to {100 * apart:.0f} %; head replicates "
            '"rep 1", "rep 2"'
        )
        return _with(columns, samples=labels)
    notes.append(f"{len(columns)} samples side by side")
    return _with(columns, samples=[_sample_name(n, a) for n, a in zip(names, labels, strict=True)])


_REPLICATE = re.compile(r"(.*?)[\s,;:-]*\b(?:rep\w*|core|ring|run|#)[\s.]*(\w+)\W*", re.IGNORECASE)

_STATES = frozenset(("wet", "dry", "before", "after", "initial", "final", "start", "end"))


def _with(
    columns: Sequence[WaterColumn],
    samples: Sequence[str] = (),
    replicates: Sequence[str] = (),
) -> tuple[WaterColumn, ...]:
    return tuple(
        WaterColumn(
            each.at,
            sample=samples[i] if samples else "",
            replicate=replicates[i] if replicates else "",
        )
        for i, each in enumerate(columns)
    )


def _labels(names: Sequence[str]) -> list[str]:
    """Take the words that all share out of names; numbers where nothing is left."""
    parts = [re.findall(r"[^\s_,;:()\[\]#]+", name) for name in names]
    shared = set.intersection(*({word.lower() for word in each} for each in parts))
    labels = [" ".join(word for word in each if word.lower() not in shared) for each in parts]
    if "" in labels or len(set(labels)) < len(labels):
        return [str(number) for number in range(1, len(names) + 1)]
    return labels


def _sample_name(name: str, label: str) -> str:
    if words.role_of(name) != "water_content":
        return name
    bare = re.sub(r"(?i)\b(volumetric|water|moisture|content|vwc|theta)\b|θ", " ", name)
    return re.sub(r"\s+", " ", bare).strip(" ,:-") or label


def _largest_difference(text: TextTable, columns: Sequence[WaterColumn]) -> float:
    """Largest difference [1] between columns at one suction."""
    table = np.array(
        [
            [_nan_if_none(_value(row[each.at], text.decimal)) for each in columns]
            for row in text.rows
        ]
    )
    if not np.any(np.isfinite(table)):
        return 0.0
    scale = 0.01 if np.nanmax(table) > 1.0 else 1.0
    whole = table[np.all(np.isfinite(table), axis=1)]
    return float(scale * np.max(np.ptp(whole, axis=1))) if whole.size else 0.0


def _nan_if_none(value: float | None) -> float:
    return np.nan if value is None else value
