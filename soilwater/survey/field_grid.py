"""Surveys written as the grid they were walked: a row and a column of the sheet for each line."""

from __future__ import annotations

import re
from dataclasses import replace

from soilwater.survey.headers import role_of
from soilwater.words.errors import Faults
from soilwater.words.table_parts import split_header
from soilwater.words.text_tables import TextTable

_LINE = re.compile(r"(?:row |line |col(?:umn)? )?([A-Za-z]|\d{1,2})", re.IGNORECASE)


def as_rows(text: TextTable, depth_unit: str | None, reading_unit: str | None) -> TextTable:
    """Write a grid of cells as a row for each of its points; any other table stays as it is.

    Parameters
    ----------
    text : TextTable
        As read.
    depth_unit, reading_unit : str or None
        Of which one, where it is given, says what the cells of the grid hold.

    Returns
    -------
    TextTable
        With columns of spots, called by column and row of the grid ("B3"), and of what they hold.

    Raises
    ------
    InputError
        If nothing says whether the grid holds depths or readings.
    """
    across = [_LINE.fullmatch(header) for header in text.columns[1:]]
    down = [_LINE.fullmatch(row[0]) for row in text.rows]
    if len(across) < 2 or None in across or None in down:
        return text
    if len({match[1].isdigit() for match in across if match}) > 1:
        return text
    if any(role_of(header, "") in ("x", "y") for header in text.columns):
        return text
    corner = f"{text.columns[0]} ({text.units[0]})" if text.units[0] else text.columns[0]
    said = [split_header(line) for line in (corner, *text.preface)]
    held = next((each for each in said if role_of(*each) in ("depth", "reading")), None)
    if held is None and (depth_unit or reading_unit):
        held = ("depth", "") if depth_unit else ("reading", "")
    if held is None:
        faults = Faults(f"Survey {text.source}")
        faults.add(
            f"a grid of {len(text.rows)} rows by {len(across)} columns, and nothing says whether "
            "it holds depths or readings",
            cure='say depth_unit="in", or reading_unit="%"',
        )
        raise faults.as_error()
    cells = [
        (line, _name(side[1], other[1]), cell)
        for line, row, side in zip(text.line_numbers, text.rows, down, strict=True)
        for other, cell in zip(across, row[1:], strict=True)
        if side is not None and other is not None and cell
    ]
    return replace(
        text,
        columns=("spot", held[0]),
        units=("", held[1]),
        rows=tuple((name, cell) for _, name, cell in cells),
        line_numbers=tuple(line for line, _, _ in cells),
        notes=(*text.notes, f"a grid of {len(text.rows)} rows by {len(across)} columns"),
    )


def _name(down: str, across: str) -> str:
    """Name of a point: the letter first, and two numbers with a dash between them."""
    if down.isdigit() and across.isdigit():
        return f"{down}-{across}"
    return f"{across}{down}" if down.isdigit() else f"{down}{across}"
