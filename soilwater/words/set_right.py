"""What people say of a table they cannot edit: which cells are no values, what a column holds.

Each way to say it stands beside the words of an error that asks for it, so that what is told can be
pasted.
"""

from __future__ import annotations

import json
import operator
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from soilwater.words.cells import LONGEST_NUMBER, parse_number
from soilwater.words.errors import Faults, InputError
from soilwater.words.text_tables import TextTable
from soilwater.words.unit_texts import plain_characters

Missing = float | str | Sequence[float | str]
"""Codes for "nothing measured": texts of cells, or numbers in any writing."""
Columns = Mapping[str, str | Sequence[str]]
"""Headers of columns by what they hold."""

_BOUND = re.compile(
    r"(?:[<>≤≥]=?|(?:less|more|smaller|greater) than|below|above|under|over|unter|.ber|kleiner"
    r"|gr..er|weniger als|mehr als|moins de|plus de|menos de|m.s de|menor que|mayor que)\s*"
    r"[-+]?[\d.,]+\s*(?:%|vol\.?\s*-?%|[a-z]+\d?(?:/[a-z]+\d?)?)?",
    re.IGNORECASE,
)


def is_bound(cell: str) -> bool:
    """Whether a cell says below or above which number a value lies, and not the value.

    Parameters
    ----------
    cell : str
        Such as ``"<2"`` or ``"> 15 000 cm"``.

    Returns
    -------
    bool
    """
    return len(cell) <= LONGEST_NUMBER and _BOUND.fullmatch(plain_characters(cell)) is not None


def quoted(text: str) -> str:
    """Write a text as Python does, whatever quotes are in it."""
    return json.dumps(text[:LONGEST_NUMBER], ensure_ascii=False)


def say_missing(cells: Iterable[str]) -> str:
    """Write the argument that says of cells that nothing was measured.

    Parameters
    ----------
    cells : iterable of str
        As written.

    Returns
    -------
    str
        Such as ``missing=("bdl", "n.d.")``.
    """
    texts = list(dict.fromkeys(map(quoted, cells)))[:20]
    return f"missing=({', '.join(texts)}{',' if len(texts) == 1 else ''})"


def say_columns(**headers: str) -> str:
    """Write the argument that says what columns hold, by their headers."""
    named = ", ".join(f'"{role}": {quoted(header)}' for role, header in headers.items())
    return f"columns={{{named}}}"


def say_leave_out(lines: Iterable[int]) -> str:
    """Write the argument that leaves lines out.

    Parameters
    ----------
    lines : iterable of int
        Their numbers.

    Returns
    -------
    str
        Such as ``leave_out=(4,)``, or ``leave_out=range(4, 90)`` where they follow each other.
    """
    numbers = sorted({int(line) for line in lines})
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"leave_out=range({numbers[0]}, {numbers[-1] + 1})"
    return f"leave_out=({', '.join(map(str, numbers))}{',' if len(numbers) == 1 else ''})"


def without_missing(table: TextTable, missing: Missing) -> TextTable:
    """Empty the cells of a table that hold a code for "nothing measured".

    Parameters
    ----------
    table : TextTable
        As read.
    missing : float, str or sequence of either
        The codes.

    Returns
    -------
    TextTable
        With a note of what was emptied.
    """
    codes = as_codes(missing)
    if not codes:
        return table
    emptied: dict[str, list[str]] = {}
    rows = []
    for line, row in zip(table.line_numbers, table.rows, strict=True):
        cells = []
        for cell in row:
            gone = is_code(cell, codes, table.decimal)
            if gone:
                emptied.setdefault(cell, []).append(str(line))
            cells.append("" if gone else cell)
        rows.append(tuple(cells))
    notes = tuple(
        f"{quoted(cell)} taken as not measured: {table.line_word} {', '.join(lines)}"
        for cell, lines in emptied.items()
    )
    return replace(table, rows=tuple(rows), notes=(*table.notes, *notes))


def without_lines(table: TextTable, leave_out: Sequence[int]) -> TextTable:
    """Leave lines out of a table.

    Parameters
    ----------
    table : TextTable
        As read.
    leave_out : sequence of int
        Numbers of the lines, as messages give them.

    Returns
    -------
    TextTable
        With a note of them.

    Raises
    ------
    InputError
        If there is no such line, or what is given are no numbers of lines.
    """
    try:
        lines = {operator.index(each) for each in leave_out}
    except TypeError:
        raise InputError(
            f"leave_out: {leave_out!r}; allowed: numbers of lines, such as (7, 12)."
        ) from None
    if not lines:
        return table
    # A part of a file that is left out may have lines in it that are no rows.
    low, high = min(table.line_numbers), max(table.line_numbers)
    unknown = [line for line in lines if not low <= line <= high]
    if unknown:
        raise InputError(
            f"leave_out: no {table.line_word} {min(unknown)}; allowed: {table.line_word} "
            f"{low} to {high}."
        )
    kept = [i for i, line in enumerate(table.line_numbers) if line not in lines]
    numbers = sorted(lines)
    on_end = len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1
    said = f"{numbers[0]} to {numbers[-1]}" if on_end else ", ".join(map(str, numbers))
    return replace(
        table,
        rows=tuple(table.rows[i] for i in kept),
        line_numbers=tuple(table.line_numbers[i] for i in kept),
        notes=(*table.notes, f"left out as said: {table.line_word} {said}"),
    )


def as_codes(missing: Missing) -> frozenset[str | float]:
    """Make one set of codes, texts in lower case."""
    given = [missing] if isinstance(missing, (str, int, float)) else missing
    return frozenset(
        each.strip().lower() if isinstance(each, str) else float(each) for each in given
    )


def is_code(cell: str, codes: frozenset[str | float], decimal: str) -> bool:
    """Whether a cell is one of the codes."""
    if not cell or not codes:
        return False
    if cell.strip().lower() in codes:
        return True
    try:
        return parse_number(cell, decimal)[0] in codes
    except ValueError:
        return False


def columns_at(
    table: TextTable, columns: Columns, roles: Sequence[str], faults: Faults
) -> dict[int, str]:
    """Find the columns that were named, by their positions.

    Parameters
    ----------
    table : TextTable
        With the headers.
    columns : mapping of str to str or sequence of str
        Headers by what the columns hold.
    roles : sequence of str
        What columns of such a table may hold.
    faults : Faults
        Takes words and headers that are not there.

    Returns
    -------
    dict of int to str
    """
    found: dict[int, str] = {}
    headers = {_bare(name): i for i, name in reversed(list(enumerate(table.columns)))}
    full = {
        _bare(f"{name}({unit})"): i
        for i, (name, unit) in enumerate(zip(table.columns, table.units, strict=True))
        if unit
    }
    for role, named in columns.items():
        if role not in roles:
            faults.add(f'columns: "{role}" is nothing a column holds', allowed=", ".join(roles))
            continue
        for header in [named] if isinstance(named, str) else named:
            at = full.get(_bare(header), headers.get(_bare(header)))
            if at is None:
                known = ", ".join(map(quoted, table.columns))
                faults.add(f"columns: there is no column {quoted(header)}", allowed=known)
            else:
                found[at] = role
    return found


def _bare(header: str) -> str:
    return (
        re.sub(r"[\s_]+", "", plain_characters(header)).lower().replace("[", "(").replace("]", ")")
    )
