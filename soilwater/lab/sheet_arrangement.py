"""Tables of every arrangement brought into one: a row per measurement, a name on every column.

Labs put suctions along the top, samples side by side or below one another, and names over two
lines. What comes out of `arranged` has its suctions in a column.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from soilwater.lab import sheet_words as words
from soilwater.lab.sheet_layout import FACTS
from soilwater.lab.sheet_units import water_unit
from soilwater.words.cells import parse_number, value_like
from soilwater.words.table_parts import split_header
from soilwater.words.text_tables import TextTable


def arranged(tables: Sequence[TextTable]) -> list[TextTable]:
    """Bring tables of a sheet into rows of one measurement each.

    Parameters
    ----------
    tables : sequence of TextTable
        As read, one or several below one another.

    Returns
    -------
    list of TextTable
        Of several, each has a column ``sample`` that holds its title.
    """
    found: list[TextTable] = []
    for text in tables:
        whole = _with_full_header(text)
        parts = [_suctions_in_a_column(part) for part in _side_by_side(_upright(whole))]
        if found and not any("suction" in _roles(part.columns) for part in parts):
            # A grading, say, below a release curve.
            names = ", ".join(whole.columns)
            note = f"left out from line {whole.line_numbers[0]} on: a table of {names}"
            found[0] = replace(
                found[0],
                notes=(*found[0].notes, note),
                preface=(*found[0].preface, *_facts_among(whole)),
            )
            continue
        found += parts
    branches = [_branch(text) for text in found]
    of_one = len(found) == 1
    named = {_sand_of(text).lower() for text in found} - {""}
    if sorted(branches) == ["drying", "wetting"] and len(named) <= 1:
        # One sand, drained and wetted again.
        of_one = True
        found = [
            _with_column(text, "branch", branch)
            for text, branch in zip(found, branches, strict=True)
        ]
    if of_one:
        title = sample_line(found[0].preface)
        return [_of_sample(text, title) if title else text for text in found]
    return [
        _of_sample(text, _title(text) or f"table {number}")
        for number, text in enumerate(found, start=1)
    ]


def _facts_among(text: TextTable) -> list[str]:
    """Rows of a table below the release curve that state a fact: "Bulk density; 1.55; g/cm3"."""
    return [
        "; ".join(filter(None, row))
        for row in text.rows
        if words.role_of(words.without_brackets(row[0])) in FACTS
    ]


def fact_cells(line: str) -> list[str]:
    """Name, value and unit of a line above the table, such as "Porosity: 41.2 %"."""
    cells = [cell.strip() for cell in re.split(r"[;:=\t]|,\s", line) if cell.strip()]
    if len(cells) == 1:
        match = re.fullmatch(r"([^\d]*[^\d\s<>~])\s+([-+]?\d\S*(?:\s*[^\d\s]\S*)?)", cells[0])
        if match is not None:
            return [match[1], match[2]]
    return cells


def sample_line(preface: Sequence[str]) -> str:
    """Name in a line such as "Sample: Mix A"; ``""`` where there is none, or several."""
    found = [
        cells[1]
        for line in preface
        if len(cells := fact_cells(line)) == 2 and words.role_of(cells[0]) == "sample"
    ]
    return found[0] if len(found) == 1 else ""


def _of_sample(text: TextTable, name: str) -> TextTable:
    if any(words.role_of(column) == "sample" for column in text.columns):
        return text
    return _with_column(text, "sample", name)


def _with_column(text: TextTable, title: str, value: str) -> TextTable:
    return replace(
        text,
        columns=(title, *text.columns),
        units=("", *text.units),
        rows=tuple((value, *row) for row in text.rows),
    )


def _branch(text: TextTable) -> str:
    """Branch that the titles of all of a table speak of."""
    found = {words.branch_of(name) or words.branch_in_title(name) for name in text.columns} - {""}
    return found.pop() if len(found) == 1 else ""


def _sand_of(text: TextTable) -> str:
    """Name of the sand of a table, where something above it says that it is one: "Mix A"."""
    title = words.without_branch(_title(text))
    is_name = words.names_samples(title) and re.search(r" (\w|\d+)$", title)
    return sample_line(text.preface) or (title if is_name else "")


def _title(text: TextTable) -> str:
    """Name of a table: its sample line, or the last line above it that states no fact."""
    plain_lines = [line for line in text.preface if len(fact_cells(line)) == 1]
    return sample_line(text.preface) or (plain_lines[-1].lstrip("# ") if plain_lines else "")


def _is_blank_name(text: TextTable, at: int) -> bool:
    return text.columns[at] == f"column {at + 1}"


def _roles(columns: Sequence[str]) -> set[str | None]:
    return {words.role_of(name) for name in columns}


def _with_full_header(text: TextTable) -> TextTable:
    """Join names over two or three lines where the last alone does not say what columns are."""
    names = [words.plain(name) for name in text.columns[1:] if words.role_of(name) != "suction"]
    # Cores or water contents under the names of their sands: "rep 1", "rep 2", "rep 1", "rep 2".
    repeated = len(set(names)) < len(names)
    if {"suction", "water_content"} <= _roles(text.columns) and not repeated:
        return text
    lower = [
        "" if _is_blank_name(text, i) else f"{name} ({unit})" if unit else name
        for i, (name, unit) in enumerate(zip(text.columns, text.units, strict=True))
    ]
    for upper in reversed(text.above[-2:]):
        filled = [i for i, cell in enumerate(upper) if cell]
        if filled == [0] or any(value_like(upper[i]) for i in filled):
            break
        lower = _joined(upper, lower)
        header = [split_header(name) for name in lower]
        roles = _roles([name for name, _ in header])
        if "suction" in roles and ("water_content" in roles or repeated):
            return replace(
                text,
                columns=tuple(name or f"column {i}" for i, (name, _) in enumerate(header, start=1)),
                units=tuple(unit for _, unit in header),
            )
    return text


def _joined(upper: Sequence[str], lower: Sequence[str]) -> list[str]:
    """Names of two lines in one; a merged cell of the upper one goes on to the right."""
    joined, last = [], ""
    for i, below in enumerate(lower):
        above = upper[i] if i < len(upper) else ""
        last = above or (last if below else "")
        joined.append(below if last == below else f"{last} {below}".strip())
    return joined


def _side_by_side(text: TextTable) -> list[TextTable]:
    """Split tables that stand beside one another, each with a suction and a water content."""
    roles = [words.role_of(name) for name in text.columns]
    suctions = [i for i, role in enumerate(roles) if role == "suction" and _has_numbers(text, i)]
    empty = [i for i in range(len(roles)) if not any(row[i] for row in text.rows)]
    starts = [0, *(i + 1 for i in empty)] if empty else [0, *suctions[1:]]
    ends = [*empty, len(roles)] if empty else [*suctions[1:], len(roles)]
    parts = [range(a, b) for a, b in zip(starts, ends, strict=True) if a < b]
    whole = all({"suction", "water_content"} <= {roles[i] for i in part} for part in parts)
    if len(parts) < 2 or len(suctions) < 2 or not whole:
        return [text]
    above = (*(text.above[-1] if text.above else ()), *[""] * len(roles))
    return [_part(text, part, next((above[i] for i in part if above[i]), "")) for part in parts]


def _part(text: TextTable, part: range, title: str) -> TextTable:
    kept = [n for n, row in enumerate(text.rows) if any(row[i] for i in part)]
    named = replace(
        text,
        columns=tuple(text.columns[i] for i in part),
        units=tuple(text.units[i] for i in part),
        rows=tuple(tuple(text.rows[n][i] for i in part) for n in kept),
        line_numbers=tuple(text.line_numbers[n] for n in kept),
        preface=(*text.preface[:-1], title) if title else text.preface,
    )
    return _of_sample(named, title) if title else named


def _has_numbers(text: TextTable, at: int) -> bool:
    filled = [row[at] for row in text.rows if row[at]]
    return sum(value_like(cell) for cell in filled) > len(filled) / 2


def _upright(text: TextTable) -> TextTable:
    """Turn a table whose rows are named like columns: a row of suctions, one of water contents."""
    labels = [split_header(row[0]) if row else ("", "") for row in text.rows]
    roles = [words.role_of(name) for name, _ in labels]
    if roles.count("suction") != 1 or "water_content" not in roles or len(text.columns) < 3:
        return text
    if any(words.role_of(name) == "suction" for name in text.columns[1:]):
        return text
    return replace(
        text,
        columns=tuple(name for name, _ in labels),
        units=tuple(unit for _, unit in labels),
        rows=tuple(zip(*(row[1:] for row in text.rows), strict=True)),
        line_numbers=tuple(range(1, len(text.columns))),
        notes=(*text.notes, "rows and columns changed places"),
    )


_AT_SUCTION = re.compile(
    r"(?P<words>.*?)(?:\b(?:at|bei|à|a)\b|@|[\s_]|(?<=[a-zA-Zθ]))\s*(?P<value>[-+]?\d.*)"
)


def _suction_of_name(name: str, unit: str, decimal: str) -> tuple[str, str, str] | None:
    """Suction, its unit and the words beside it in a column name, or None if it is no suction."""
    if words.is_saturated(name):
        return "sat", "", ""
    beside, value = "", name
    match = _AT_SUCTION.fullmatch(name)
    if match is not None and words.role_of(match["words"]) in ("water_content", "suction"):
        beside, value = match["words"].strip(), match["value"]
    try:
        number, own = parse_number(value, decimal)
    except ValueError:
        return None
    if number is None:
        return None
    if not own and words.suction_unit_in(unit):
        own, unit = unit, ""
    own = own or words.suction_unit_in(beside)
    return value, own, f"{'' if words.role_of(beside) == 'suction' else beside} {unit}".strip()


def _suctions_in_a_column(text: TextTable) -> TextTable:
    """Turn a table with its suctions along the top into one with a row for each of them."""
    named = [
        _suction_of_name(name, unit, text.decimal)
        for name, unit in zip(text.columns, text.units, strict=True)
    ]
    along = [i for i, each in enumerate(named) if each is not None]
    has_column = any(
        words.role_of(name) == "suction" and _has_numbers(text, i)
        for i, name in enumerate(text.columns)
        if i not in along
    )
    if len(along) < 2 or has_column:
        return text
    kept = [i for i in range(len(text.columns)) if i not in along]
    labels = [i for i in kept if words.role_of(text.columns[i]) in (None, "suction")]
    label = labels[0] if labels else None
    said = " ".join(line for line in text.preface if words.role_of(line) is not None)
    unit_above = next(filter(None, map(words.suction_unit_in, _phrases(text, label))), "")
    water_above = said if water_unit(said) != (None, None) else ""
    rows, lines, facts = [], [], []
    for number, row in zip(text.line_numbers, text.rows, strict=True):
        own = row[label] if label is not None else ""
        if words.role_of(words.without_brackets(own)) in FACTS:
            facts.append("; ".join(filter(None, row)))
            continue
        is_water = words.role_of(split_header(own)[0]) == "water_content"
        sample = _without_water_words(own) if is_water else own
        for i in along:
            if not row[i]:
                continue
            suction, unit, beside = named[i] or ("", "", "")
            scale = f"{beside} {own if is_water else ''}".strip()
            rest = tuple(sample if j == label else row[j] for j in kept)
            rows.append((*rest, suction, unit or unit_above, row[i], scale or water_above))
            lines.append(number)
    return replace(
        text,
        columns=(
            *("sample" if i == label else text.columns[i] for i in kept),
            *("suction", "suction unit", "water content", "water content unit"),
        ),
        units=(*("" if i == label else text.units[i] for i in kept), "", "", "", ""),
        rows=tuple(rows),
        line_numbers=tuple(lines),
        notes=(*text.notes, "suctions along the top"),
        preface=(*text.preface, *facts),
    )


def _phrases(text: TextTable, label: int | None) -> list[str]:
    """Texts that may name the unit of suctions along the top: the corner, then lines above."""
    corner = [text.units[label], text.columns[label]] if label is not None else []
    above = [
        part
        for line in text.preface
        for part in re.split(r"(?i)\bat\b|;", line)
        if words.role_of(words.without_brackets(part)) == "suction"
    ]
    return [*corner, *above]


def _without_water_words(text: str) -> str:
    """Name of the sample in a label such as "Mix A VWC (%)"."""
    bare = words.without_brackets(text)
    pattern = r"(?i)\b(volumetric|gravimetric|vwc|gwc|water|moisture|content|theta|%)(?!\w)|θ"
    return re.sub(r"\s+", " ", re.sub(pattern, " ", bare)).strip(" ,;:-")
