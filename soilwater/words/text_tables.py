"""Small tables as text: reading any messy one once, and writing one for people.

Lab sheets, station files and probe surveys arrive with a title above the header, units in the
header or in a row under it, commas for decimals, merged cells and units inside cells. They all pass
through `read_text_table`, which says what it noticed and changes no value; what a column means is
the business of the reader of that kind of table.
"""

from __future__ import annotations

import html
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from soilwater.words.cells import decimal_sign, value_like
from soilwater.words.errors import Faults, InputError
from soilwater.words.grids import (
    MOST_CELLS,
    Grid,
    Lines,
    decimal_of,
    grid_of_frame,
    grid_of_mapping,
    grid_of_text,
    grid_of_workbook,
)
from soilwater.words.safe_texts import fit_to_show
from soilwater.words.table_parts import (
    bare_unit,
    has_numbers,
    header_position,
    is_comment,
    is_header_of,
    is_kind_row,
    is_unit_row,
    joined_header,
    numbers_within,
    split_header,
    table_and_rest,
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
    above : tuple of tuple of str
        The same, cell by cell, empty lines left out.
    """

    columns: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    line_numbers: tuple[int, ...]
    source: str
    notes: tuple[str, ...] = ()
    decimal: str = "."
    preface: tuple[str, ...] = ()
    above: tuple[tuple[str, ...], ...] = ()

    @property
    def line_word(self) -> str:
        """Rows of a table in memory are rows; those of a file are lines of it."""
        return "row" if self.source == "table" else "line"

    def __repr__(self) -> str:
        shown = [(str(n), *row) for n, row in zip(self.line_numbers, self.rows, strict=True)]
        lines = [f"{self.source}: {len(self.rows)} rows", echo_table(shown[:10], self._header())]
        if len(shown) > 10:
            lines.append(f"... {len(shown) - 10} more rows")
        return "\n".join([*lines, *(f"- {note}" for note in self.notes)])

    def _header(self) -> tuple[str, ...]:
        named = zip(self.columns, self.units, strict=True)
        return ("line", *(f"{name} ({unit})" if unit else name for name, unit in named))


def read_text_table(
    source: Any, *, sheet: str | None = None, most_lines: int | None = None
) -> TextTable:
    """Read a small table whatever its dialect, leaving every cell as text.

    Parameters
    ----------
    source : str, path, DataFrame or mapping of str to sequence
        A text file separated by commas, semicolons, tabs or bars; an Excel workbook (needs
        openpyxl); a pandas DataFrame; or columns by name.
    sheet : str, optional
        Name of the sheet, for a workbook with several.
    most_lines : int, optional
        Largest number of lines of a text file that is worth reading.

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
    grid = _grid_of(source, sheet, MOST_CELLS, most_lines)
    lines, repeated = _without_page_headers(grid.lines)
    table, rest = _assemble(grid, lines)
    if repeated:
        said = ", ".join(map(str, repeated[:5])) + (", ..." if len(repeated) > 5 else "")
        table = replace(table, notes=(*table.notes, f"header repeated, left out: line {said}"))
    if _continues(rest, table.columns):
        lost = [line for line, cells in rest if has_numbers(cells, 1)]
        faults = Faults(grid.source)
        faults.add(
            f"another table below the first, with numbers in lines {lost[0]} to {lost[-1]}",
            cure="put each table into a file or sheet of its own, or all rows under one header "
            'with a column "sample"',
        )
        raise faults.as_error()
    return _with_note_of(rest, table)


def read_text_tables(
    source: Any, *, sheet: str | None = None, most_cells: int = MOST_CELLS
) -> tuple[TextTable, ...]:
    """Read the tables that stand below one another.

    Parameters
    ----------
    source, sheet : object, str, optional
        As in `read_text_table`.
    most_cells : int, optional
        Largest number of cells of a workbook, or lines of a text file, that is worth reading.

    Returns
    -------
    tuple of TextTable
        One or more, of the same columns or others; each has the lines above it as its preface.

    Raises
    ------
    InputError
        As `read_text_table`, but for a further table below the first.
    """
    grid = _grid_of(source, sheet, most_cells, most_cells)
    tables: list[TextTable] = []
    lines = grid.lines
    while True:
        table, rest = _assemble(grid, lines)
        tables.append(table)
        named = _named(rest)
        more = sum(has_numbers(cells, 1 if named else 2) for _, cells in rest) > 1
        if not more or (named and header_position(rest) is None):
            tables[-1] = _with_note_of(rest, table)
            return tuple(tables)
        if not named:
            # Numbers go on under a title: the header above stands for them too.
            at = next(i for i, (_, cells) in enumerate(rest) if has_numbers(cells, 2))
            header = next(line for line in lines if is_header_of(line[1], table.columns))
            rest = [*rest[:at], header, *rest[at:]]
        lines = rest


def _grid_of(
    source: Any, sheet: str | None, most_cells: int, most_lines: int | None = None
) -> Grid:
    if hasattr(source, "iloc") and hasattr(source, "columns"):
        return grid_of_frame(source)
    if isinstance(source, Mapping):
        return grid_of_mapping(source)
    if not isinstance(source, (str, os.PathLike)):
        raise InputError(
            "a table is read from a path, a DataFrame or a mapping of column name to values, "
            f"not from {type(source).__name__}."
        )
    path = Path(source)
    if path.is_dir():
        raise InputError(f"{path}: this is a folder; give the file in it.")
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        return grid_of_workbook(path, sheet, most_cells)
    if sheet is not None:
        raise InputError(f"{path.name}: sheet={sheet!r} was given, but only workbooks have sheets.")
    return grid_of_text(path, most_lines)


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
    cells = [[fit_to_show(str(cell)) for cell in row] for row in rows]
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
        inside = "".join(f"<{tag}>{html.escape(fit_to_show(str(cell)))}</{tag}>" for cell in cells)
        return f"<tr>{inside}</tr>"

    above = f"<caption>{html.escape(fit_to_show(caption))}</caption>" if caption else ""
    body = "".join(line(row, "td") for row in rows)
    return f"<table>{above}<thead>{line(header, 'th')}</thead><tbody>{body}</tbody></table>"


def _assemble(grid: Grid, lines: Lines) -> tuple[TextTable, Lines]:
    """Find the first table among the lines, and what stands below it."""
    notes = list(grid.notes)
    at = 0 if grid.header_first else header_position(lines)
    at = _words_over_some_numbers(lines) if at is None else at
    if at is None:
        faults = Faults(grid.source)
        faults.add(
            "no line of column names with rows of numbers below it was found",
            allowed="one line of names, then one line per row",
            cure="name the columns in the line above the first row",
        )
        raise faults.as_error()
    names, body = joined_header(lines[at][1], lines[at + 1 :])
    above = lines[:at]
    width = max(i + 1 for i, name in enumerate(names) if name) if any(names) else 0
    header = [split_header(name) for name in names[:width]]
    units = [unit for _, unit in header]
    # A logger writes units and then kinds, or kinds and then units.
    for _ in range(2):
        first = next((i for i, (_, cells) in enumerate(body) if any(cells)), None)
        if first is None:
            break
        under = body[first][1]
        if is_unit_row(under):
            notes.append("unit row under the header")
            below = [bare_unit(cell) for cell in under] + [""] * width
            units = [unit or other for unit, other in zip(units, below, strict=False)]
        elif is_kind_row(under):
            notes.append("row under the header that says how values were formed: not used")
        else:
            break
        body = body[first + 1 :]
    body, rest = table_and_rest(body, width, [name for name, _ in header])
    rows = _rectangle(body, width, grid.source)
    proof = body
    if not any(decimal_sign(cell) for _, cells in body for cell in cells):
        # Whole numbers prove nothing: what stands above the table then does ("porosity: 41,2 %").
        proof = [(n, [p for c in cells for p in numbers_within(c)]) for n, cells in above]
    decimal = decimal_of(proof, grid.source)
    table = TextTable(
        columns=tuple(name or f"column {i}" for i, (name, _) in enumerate(header, start=1)),
        units=tuple(units),
        rows=rows,
        line_numbers=tuple(line for line, _ in body),
        source=grid.source,
        notes=tuple(notes + ["decimal comma"] * (decimal == ",")),
        decimal=decimal,
        preface=tuple("; ".join(filter(None, cells)) for _, cells in above if any(cells)),
        above=tuple(tuple(cells) for _, cells in above if any(cells)),
    )
    return table, rest


def _words_over_some_numbers(lines: Lines) -> int | None:
    """Index of a first line of words over rows as long, in which words are as many as numbers."""
    filled = [i for i, (_, cells) in enumerate(lines) if any(cells) and not is_comment(cells)]
    if len(filled) < 3:
        return None
    names = [cell for cell in lines[filled[0]][1] if cell]
    rows = [[cell for cell in lines[i][1] if cell] for i in filled[1:]]
    fits = len(names) > 1 and not any(map(value_like, names)) and len(set(names)) == len(names)
    numbers = sum(any(map(value_like, row)) for row in rows)
    whole = all(len(row) <= len(names) for row in rows)
    return filled[0] if fits and whole and numbers >= 2 else None


def _without_page_headers(lines: Lines) -> tuple[Lines, list[int]]:
    """Leave out lines that repeat the header at the top of each page, right below a row.

    Under a gap or a title another table begins, which may be of another green or sand.
    """
    at = header_position(lines)
    if at is None:
        return lines, []
    header = [cell.lower() for cell in lines[at][1] if cell]
    if len(header) < 2 or any(map(value_like, header)):
        return lines, []
    kept, repeated = [*lines[: at + 1]], []
    last: list[str] = []
    for line, cells in lines[at + 1 :]:
        filled = [cell for cell in cells if cell]
        if [cell.lower() for cell in filled] == header and any(map(value_like, last)):
            repeated.append(line)
            continue
        kept.append((line, cells))
        last = filled
    return kept, repeated


def _headed(rest: Lines, columns: Sequence[str]) -> bool:
    """Whether a header with a name of these columns is among the lines."""
    wanted = {name.lower() for name in columns if name}
    return any(
        wanted & {split_header(cell)[0].lower() for cell in cells if cell}
        for _, cells in rest
        if sum(bool(cell) and not value_like(cell) for cell in cells) > 1
    )


def _named(rest: Lines) -> bool:
    """Tell whether a line of several names is among the lines."""
    return any(sum(bool(c) and not value_like(c) for c in cells) > 1 for _, cells in rest)


def _continues(rest: Lines, columns: Sequence[str]) -> bool:
    """Whether rows of numbers of the same things stand below the end of a table.

    A table of other things (a grading below a release curve) does not continue it.
    """
    named = _named(rest)
    if named and not _headed(rest, columns):
        return False
    least = 1 if named else 2
    return sum(has_numbers(cells, least) for _, cells in rest) > 1


def _with_note_of(rest: Lines, table: TextTable) -> TextTable:
    """Note in the table what was left out below it."""
    if not rest:
        return table
    line, cells = rest[0]
    start = "; ".join(cell for cell in cells if cell)
    note = f"left out below the table from line {line} on ({len(rest)}): {start!r}"
    return replace(table, notes=(*table.notes, note))


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
