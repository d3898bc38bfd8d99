"""Small tables as text: reading any messy one once, and writing one for people.

Lab sheets, station files and probe surveys arrive with a title above the header, units in the
header or in a row under it, commas for decimals, merged cells and units inside cells. They all pass
through `read_text_table`, which says what it noticed and changes no value; what a column means is
the business of the reader of that kind of table.
"""

from __future__ import annotations

import html
import os
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soilwater.words.cells import decimal_sign, looks_like_unit, value_like
from soilwater.words.errors import Faults, InputError
from soilwater.words.grids import (
    Grid,
    Lines,
    decimal_of,
    grid_of_frame,
    grid_of_mapping,
    grid_of_text,
    grid_of_workbook,
)

MISSING_CODES = (-9.0, -99.0, -999.0, -9999.0)
"""Numbers that stand for "not measured" in many files (common practice, no source)."""


@dataclass(frozen=True)
class TextTable:
    """A table as it was written, cell by cell, with what was noticed while reading it.

    Attributes
    ----------
    columns : tuple of str
        Header texts without their units.
    units : tuple of str
        Unit of each column as written; ``""`` where none was given.
    rows : tuple of tuple of str
        Cells, stripped; ``""`` where empty.
    line_numbers : tuple of int
        Of each row: line of the file counted from 1, or position counted from 1.
    source : str
        Where the table came from, for messages.
    notes : tuple of str
        What was noticed, a phrase each.
    decimal : str
        Decimal sign of the cells, ``"."`` or ``","``.
    preface : tuple of str
        Lines above the header.
    """

    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    line_numbers: tuple[int, ...]
    source: str
    notes: tuple[str, ...] = ()
    decimal: str = "."
    preface: tuple[str, ...] = ()

    def __repr__(self) -> str:
        shown = [(str(n), *row) for n, row in zip(self.line_numbers, self.rows, strict=True)]
        lines = [f"{self.source}: {len(self.rows)} rows", echo_table(shown[:10], self._header())]
        if len(shown) > 10:
            lines.append(f"... {len(shown) - 10} more rows")
        return "\n".join([*lines, *(f"- {note}" for note in self.notes)])

    def _header(self) -> tuple[str, ...]:
        named = zip(self.columns, self.units, strict=True)
        return ("line", *(f"{name} ({unit})" if unit else name for name, unit in named))


def read_text_table(source: Any, *, sheet: str | None = None) -> TextTable:
    """Read a small table whatever its dialect, leaving every cell as text.

    Parameters
    ----------
    source : str, path, DataFrame or mapping of str to sequence
        A text file separated by commas, semicolons, tabs or bars; an Excel workbook (needs
        openpyxl); a pandas DataFrame; or columns by name.
    sheet : str, optional
        Name of the sheet, for a workbook with several.

    Returns
    -------
    TextTable
        Header, units, rows and what was noticed.

    Raises
    ------
    InputError
        When no header or no rows are found, rows are longer than the header, the decimal sign
        cannot be told, or the kind of file is unknown. All rows at fault are named.
    FileNotFoundError
        When there is no such file.

    Examples
    --------
    >>> read_text_table({"suction (cm)": [10, 30], "water content, %": ["38,5", "22,0"]})
    table: 2 rows
    line  suction (cm)  water content (%)
    ----  ------------  -----------------
       1            10               38.5
       2            30               22.0
    - decimal comma in text cells
    """
    if hasattr(source, "iloc") and hasattr(source, "columns"):
        return _assemble(grid_of_frame(source))
    if isinstance(source, Mapping):
        return _assemble(grid_of_mapping(source))
    if not isinstance(source, (str, os.PathLike)):
        raise TypeError(
            "a table is read from a path, a DataFrame or a mapping of column name to values, "
            f"not from {type(source).__name__}."
        )
    path = Path(source)
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        return _assemble(grid_of_workbook(path, sheet))
    if sheet is not None:
        raise InputError(f"{path.name}: sheet={sheet!r} was given, but only workbooks have sheets.")
    return _assemble(grid_of_text(path))


def echo_table(rows: Sequence[Sequence[object]], header: Sequence[str]) -> str:
    """Write a table in fixed width: numbers to the right, words to the left.

    Parameters
    ----------
    rows : sequence of sequence
        Cells, written with ``str``.
    header : sequence of str
        One text per column.

    Returns
    -------
    str
        Lines without a trailing newline.

    Examples
    --------
    >>> print(echo_table([("sand", "30.5"), ("gravel", "10.0")], ("layer", "cm")))
    layer     cm
    ------  ----
    sand    30.5
    gravel  10.0
    """
    cells = [[str(cell) for cell in row] for row in rows]
    columns = list(zip(header, *cells, strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]
    right = [all(value_like(cell) for cell in column[1:] if cell) for column in columns]
    lines = [list(header), ["-" * width for width in widths], *cells]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if to_right and cells else cell.ljust(width)
            for cell, width, to_right in zip(line, widths, right, strict=True)
        ).rstrip()
        for line in lines
    )


def html_table(rows: Sequence[Sequence[object]], header: Sequence[str], caption: str = "") -> str:
    """Write a small plain HTML table, every text escaped.

    Parameters
    ----------
    rows : sequence of sequence
        Cells, written with ``str``.
    header : sequence of str
        One text per column.
    caption : str, optional
        Text above the table.

    Returns
    -------
    str
        One ``table`` element.

    Examples
    --------
    >>> html_table([("<b>", 1)], ("name", "cm"))
    '<table><thead><tr><th>name</th><th>cm</th></tr></thead>\
<tbody><tr><td>&lt;b&gt;</td><td>1</td></tr></tbody></table>'
    """

    def line(cells: Sequence[object], tag: str) -> str:
        inside = "".join(f"<{tag}>{html.escape(str(cell))}</{tag}>" for cell in cells)
        return f"<tr>{inside}</tr>"

    above = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    body = "".join(line(row, "td") for row in rows)
    return f"<table>{above}<thead>{line(header, 'th')}</thead><tbody>{body}</tbody></table>"


def _assemble(grid: Grid) -> TextTable:
    notes = list(grid.notes)
    at = 0 if grid.header_first else _header_position(grid.lines)
    if at is None:
        faults = Faults(grid.source)
        faults.add(
            "no line of column names with rows of numbers below it was found",
            allowed="one line of names, then one line per row",
            cure="name the columns in the line above the first row",
        )
        raise faults.as_error()
    names = grid.lines[at][1]
    above = grid.lines[:at]
    width = max(i + 1 for i, name in enumerate(names) if name) if any(names) else 0
    header = [_split_header(name) for name in names[:width]]
    units = [unit for _, unit in header]
    body = grid.lines[at + 1 :]
    first = next((i for i, (_, cells) in enumerate(body) if any(cells)), None)
    if first is not None and _is_unit_row(body[first][1]):
        notes.append("unit row under the header")
        below = [_bare_unit(cell) for cell in body[first][1]] + [""] * width
        units = [unit or under for unit, under in zip(units, below, strict=False)]
        body = body[first + 1 :]
        first = next((i for i, (_, cells) in enumerate(body) if any(cells)), None)
    if first is not None and _is_kind_row(body[first][1]):
        notes.append("row under the header that says how values were formed: not used")
        body = body[first + 1 :]
    body, rest = _table_and_rest(body, width)
    _refuse_second_table(rest, [name for name, _ in header], grid.source)
    if rest:
        line, cells = rest[0]
        start = "; ".join(cell for cell in cells if cell)
        notes.append(f"left out below the table from line {line} on ({len(rest)}): {start!r}")
    rows = _rectangle(body, width, grid.source)
    proof = body
    if not any(decimal_sign(cell) for _, cells in body for cell in cells):
        # Whole numbers prove nothing: what stands above the table then does ("porosity: 41,2 %").
        proof = [(n, [p for c in cells for p in re.split("[:=]", c)]) for n, cells in above]
    decimal = decimal_of(proof, grid.source)
    return TextTable(
        columns=tuple(name or f"column {i}" for i, (name, _) in enumerate(header, start=1)),
        units=tuple(units),
        rows=rows,
        line_numbers=tuple(line for line, _ in body),
        source=grid.source,
        notes=tuple(notes + ["decimal comma"] * (decimal == ",")),
        decimal=decimal,
        preface=tuple("; ".join(filter(None, cells)) for _, cells in above if any(cells)),
    )


def _header_position(lines: Lines) -> int | None:
    """Index of the line that best names columns of numbers below it.

    A line scores one for every value below its names and loses one for every word there; names that
    are themselves numbers (suctions along the top) count a quarter, so a row of data or a
    "name, value" line of the preface does not pass for the header.
    """
    filled = [[i for i, cell in enumerate(cells) if cell] for _, cells in lines]
    widest = Counter(len(columns) for columns in filled if columns)
    usual = max(widest, key=lambda n: (widest[n], n), default=0)
    balance: Counter[int] = Counter()
    best, best_score = None, 0.0
    for i in reversed(range(len(lines))):
        cells = lines[i][1]
        if _is_comment(cells) or (_is_unit_row(cells) and _has_names_above(lines, i)):
            continue
        names = {cells[j] for j in filled[i]}
        words = [j for j in filled[i] if not value_like(cells[j])]
        if words and len(names) >= min(2, usual) and len(names) >= 0.6 * usual:
            score = sum(
                max(balance[j], 0) * (0.25 if value_like(cells[j]) else 1.0) for j in filled[i]
            )
            # >=: of equals the upper one, whose rows are the more.
            if score > 0 and score >= best_score:
                best, best_score = i, score
        for j in filled[i]:
            balance[j] += 1 if value_like(cells[j]) else -1
    return best


def _has_names_above(lines: Lines, at: int) -> bool:
    """Whether the line above a row of unit words names its columns.

    Where nothing does, words such as "kPa" and "%" or "pF" and "VWC (%)" are the names.
    """
    cells = lines[at][1]
    above = next((c for _, c in reversed(lines[:at]) if any(c)), [])
    named = [cell for cell in above if cell and not value_like(cell)]
    return len(named) > 1 and len(named) >= 0.6 * len([cell for cell in cells if cell])


def _is_comment(cells: list[str]) -> bool:
    return cells[0].startswith("#") if cells else False


_UNIT_SUFFIX = r"mm|cm|in|inch|inches|ft|kpa|hpa|mbar|cbar|bar|psi|pct|percent|%|degc|degf|h|day"
_SPACED_UNIT = re.compile(
    r"(.*\S)\s+(%(?:\s*(?:by\s+)?(?:volume|mass|weight|vol\.?|v/v|w/w))?|mm|cm|in|kPa|hPa|mbar|cbar"
    r"|bar|(?:cm|mm|in)/(?:h|hr|d|day))",
    re.IGNORECASE,
)


def _split_header(text: str) -> tuple[str, str]:
    """Name and unit of ``suction (cm)``, ``suction [cm]``, ``suction, cm`` or ``suction_cm``."""
    for pattern in (r"(.*\S)\s*[(\[]([^()\[\]]+)[)\]]", r"(.*\S)\s*,\s*(.+)", _SPACED_UNIT):
        match = re.fullmatch(pattern, text)
        if match is not None and (looks_like_unit(match[2]) or match[2].strip() in ("-", "1")):
            return match[1].strip(), _bare_unit(match[2])
    match = re.fullmatch(rf"(.*?[^_])_({_UNIT_SUFFIX})(?:_(h|hr|day|d))?", text, re.IGNORECASE)
    if match is not None:
        return match[1], match[2] + (f"/{match[3]}" if match[3] else "")
    return text, ""


def _bare_unit(text: str) -> str:
    unit = text.strip().strip("()[]").strip()
    return "" if unit == "-" else unit


def _is_unit_row(cells: list[str]) -> bool:
    # Stations write "dd/mm/yyyy" and "hh:mm" where others write units.
    pattern = re.compile(r"[dmyhst:/. -]*(?:yy|hh)[dmyhst:/. -]*", re.IGNORECASE)
    units = [
        _bare_unit(cell)
        for cell in cells
        if cell not in ("", "-", "1") and not pattern.fullmatch(cell)
    ]
    # A cell that begins with a digit is a value with its unit, and "C1" is the name of a spot.
    return bool(units) and all(
        looks_like_unit(unit) and not re.match(r"[-+.\d]|[A-Z]\d", unit) for unit in units
    )


_KINDS = frozenset(
    ("avg", "average", "mean", "smp", "sample", "tot", "total", "sum", "max", "maximum", "min",
     "minimum", "std", "wvc", "inst", "instantaneous", "accum", "cum")
)  # fmt: skip


def _is_kind_row(cells: list[str]) -> bool:
    """Whether a row under the units says how a logger formed each value (its mean, its sum)."""
    filled = [cell.lower() for cell in cells if cell]
    return len(filled) > 1 and all(cell in _KINDS for cell in filled)


def _table_and_rest(body: Lines, width: int) -> tuple[Lines, Lines]:
    """Split off what stands below the table: notes, or another table after a blank line."""
    table: Lines = []
    rest: Lines = []
    blank_before = False
    for i, (line, cells) in enumerate(body):
        filled = [cell for cell in cells if cell]
        if not filled:
            blank_before = True
            continue
        is_note = width > 1 and len(filled) == 1 and re.match(r"(?i)note|source|\*", filled[0])
        if _is_comment(cells):
            rest.append((line, cells))
        elif is_note or (blank_before and _ends_table(filled, width)):
            rest.extend((n, c) for n, c in body[i:] if any(c))
            break
        else:
            table.append((line, cells))
        blank_before = False
    return table, rest


def _refuse_second_table(rest: Lines, columns: Sequence[str], source: str) -> None:
    """Refuse rows of numbers below the end of a table: they would be lost.

    A table of other things (a grading below a release curve) is left out and said.
    """
    headers = (c for _, c in rest if sum(bool(cell) and not value_like(cell) for cell in c) > 1)
    header = [_split_header(cell)[0].lower() for cell in next(headers, [])]
    if header and not {name.lower() for name in columns if name} & set(header):
        return
    lost = [
        line
        for line, cells in rest
        if not _is_comment(cells) and sum(value_like(cell) for cell in cells) > 1
    ]
    if len(lost) > 1:
        faults = Faults(source)
        faults.add(
            f"another table below the first, with numbers in lines {lost[0]} to {lost[-1]}",
            cure="put each table into a file or sheet of its own, or all rows under one header "
            'with a column "sample"',
        )
        raise faults.as_error()


def _ends_table(filled: list[str], width: int) -> bool:
    # A row of words without any digit after a blank line heads another table; "C3; hit pipe" does
    # not.
    return (width > 1 and len(filled) < 2) or not any(re.search(r"\d", cell) for cell in filled)


def _rectangle(body: Lines, width: int, source: str) -> tuple[tuple[str, ...], ...]:
    faults = Faults(source)
    rows = []
    for line, cells in body:
        if any(cells[width:]):
            faults.add(
                f"{len(cells)} cells under {width} columns",
                where=f"line {line}",
                cure="name every column; where a comma is the decimal sign, separate cells by ;",
            )
        rows.append((*cells[:width], *[""] * (width - len(cells))))
    if not rows:
        faults.add("there are no rows below the header", cure="give at least one row")
    faults.raise_if_any()
    return tuple(rows)
