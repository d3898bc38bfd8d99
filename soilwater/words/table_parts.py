"""Parts of a messy table: the line of its names, rows of units under it, and where it ends."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from soilwater.words.cells import looks_like_unit, value_like
from soilwater.words.grids import Lines

LONGEST_NAME = 300
"""Longest name of a column in which a unit is looked for [characters]."""

LINES_SEARCHED = 400
"""How many lines are searched for the one that names the columns."""


_NUMBER_WITHIN = re.compile(r"(?<![\w.,/-])\d+(?:[.,]\d+)?(?:\s*%)?(?![\w.,/-])")


def numbers_within(cell: str) -> list[str]:
    """Find the numbers of a line such as "porosity 41,2 %"; dates and names have none."""
    return _NUMBER_WITHIN.findall(cell)


def joined_header(names: list[str], below: Lines) -> tuple[list[str], Lines]:
    """Header of two lines, the upper one with merged cells: "suction (cm)" over 10, 20, 30.

    The lower one begins with an empty cell and goes on to the right of the names, where no row may.
    """
    used = max((i + 1 for i, name in enumerate(names) if name), default=0)
    if not below or not below[0][1] or below[0][1][0] or not names or not names[0]:
        return names, below
    under = below[0][1]
    rows = [cells for _, cells in below[1:] if any(cells)]
    further = any(under[used:]) and rows and all(any(cells[used:]) for cells in rows)
    # "VWC", "VWC" over "core 1", "core 2".
    named = [name for name in names if name]
    repeated = len(set(named)) < len(named) and not any(map(value_like, under)) and any(under)
    if not (further or (repeated and not is_unit_row(under))):
        return names, below
    joined, last = [], ""
    for i in range(len(under)):
        upper = names[i] if i < len(names) else ""
        last = upper or last
        joined.append(f"{last} {under[i]}" if under[i] else upper)
    return joined, below[1:]


def header_position(lines: Lines) -> int | None:
    """Index of the line that best names columns of numbers below it.

    A line scores one for every value below its names and loses one for every word there; names that
    are themselves numbers (suctions along the top) count a quarter, so a row of data or a
    "name, value" line of the preface does not pass for the header.
    """
    lines = lines[:LINES_SEARCHED]
    filled = [[i for i, cell in enumerate(cells) if cell] for _, cells in lines]
    widest = Counter(len(columns) for columns in filled if columns)
    usual = max(widest, key=lambda n: (widest[n], n), default=0)
    balance: Counter[int] = Counter()
    best, best_score = None, 0.0
    for i in reversed(range(len(lines))):
        cells = lines[i][1]
        under_names = is_unit_row(cells) or is_kind_row(cells)
        if is_comment(cells) or (under_names and _has_names_above(lines, i)):
            continue
        names = {cells[j] for j in filled[i]}
        words = [j for j in filled[i] if not value_like(cells[j])]
        if not words and _has_blank_corner(lines, i):
            words = [0]
        named = set(filled[i])
        if i + 1 < len(lines) and 0 in named and 0 not in filled[i + 1]:
            # The upper line of two, with merged cells: names go on below.
            named |= set(filled[i + 1])
        if words and len(names) >= min(2, usual) and len(named) >= 0.6 * usual:
            score = sum(max(balance[j], 0) * (1.0 if j in words else 0.25) for j in named)
            # >=: of equals the upper one, whose rows are the more.
            if score > 0 and score >= best_score:
                best, best_score = i, score
        for j in filled[i]:
            balance[j] += 1 if value_like(cells[j]) else -1
    return best


def _has_blank_corner(lines: Lines, at: int) -> bool:
    """Whether numbers stand over a column of names, as suctions do: ",10,20" over "A,38,28"."""
    cells = lines[at][1]
    below = lines[at + 1][1] if at + 1 < len(lines) else []
    corner = bool(cells and below) and not cells[0] and bool(below[0])
    return corner and not value_like(below[0]) and sum(map(bool, cells)) > 1


def _has_names_above(lines: Lines, at: int) -> bool:
    """Whether the line above a row of unit words names its columns.

    Where nothing does, words such as "kPa" and "%" or "pF" and "VWC (%)" are the names.
    """
    cells = lines[at][1]
    above = next((c for _, c in reversed(lines[:at]) if any(c) and not is_kind_row(c)), [])
    named = [cell for cell in above if cell and not value_like(cell)]
    return len(named) > 1 and len(named) >= 0.6 * len([cell for cell in cells if cell])


def is_comment(cells: list[str]) -> bool:
    """Tell whether a line is a comment."""
    return cells[0].startswith("#") if cells else False


_UNIT_SUFFIX = r"mm|cm|in|inch|inches|ft|kpa|hpa|mbar|cbar|bar|psi|pct|percent|%|degc|degf|h|day"
_SPACED_UNIT = re.compile(
    r"(.*\S)\s+(%(?:\s*(?:by\s+)?(?:volume|mass|weight|vol\.?|v/v|w/w))?|mm|cm|in|kPa|hPa|mbar|cbar"
    r"|bar|(?:cm|mm|in)/(?:h|hr|d|day))",
    re.IGNORECASE,
)


_WIDE_BRACKETS = str.maketrans("（）［］，％", "()[],%")


def split_header(text: str) -> tuple[str, str]:
    """Take the unit off a header.

    Parameters
    ----------
    text : str
        Such as ``suction (cm)``, ``suction [cm]``, ``suction, cm`` or ``suction_cm``.

    Returns
    -------
    name, unit : str
        The unit is ``""`` where there is none.
    """
    if len(text) > LONGEST_NAME:
        return text, ""
    text = text.translate(_WIDE_BRACKETS)
    for pattern in (r"(.*\S)\s*[(\[]([^()\[\]]+)[)\]]", r"(.*\S)\s*,\s*(.+)", _SPACED_UNIT):
        match = re.fullmatch(pattern, text)
        if match is not None and (looks_like_unit(match[2]) or match[2].strip() in ("-", "1")):
            return match[1].strip(), bare_unit(match[2])
    match = re.fullmatch(rf"(.*?[^_])_({_UNIT_SUFFIX})(?:_(h|hr|day|d))?", text, re.IGNORECASE)
    if match is not None:
        return match[1], match[2] + (f"/{match[3]}" if match[3] else "")
    return text, ""


def bare_unit(text: str) -> str:
    """Take the brackets off a unit; a dash is none."""
    unit = text.strip().strip("()[]").strip()
    return "" if unit == "-" else unit


def is_unit_row(cells: list[str]) -> bool:
    """Tell whether a line holds the units of the columns and nothing else."""
    # Stations write "dd/mm/yyyy" and "hh:mm" where others write units.
    pattern = re.compile(r"[dmyhst:/. -]*(?:yy|hh)[dmyhst:/. -]*", re.IGNORECASE)
    units = [
        bare_unit(cell)
        for cell in cells
        # TS and RN: what loggers write under a time stamp and a record number.
        if cell not in ("", "-", "1", "TS", "RN") and not pattern.fullmatch(cell)
    ]
    # A cell that begins as a number does is a value with its unit, and "C1" is the name of a spot.
    return bool(units) and all(
        looks_like_unit(unit) and not value_like(unit) and not re.match(r"[A-Z]\d", unit)
        for unit in units
    )


_KINDS = frozenset(
    ("avg", "average", "mean", "smp", "sample", "tot", "total", "sum", "max", "maximum", "min",
     "minimum", "std", "wvc", "inst", "instantaneous", "accum", "cum")
)  # fmt: skip


def is_kind_row(cells: list[str]) -> bool:
    """Whether a row under the units says how a logger formed each value (its mean, its sum)."""
    filled = [cell.lower() for cell in cells if cell]
    return len(filled) > 1 and all(cell in _KINDS for cell in filled)


def table_and_rest(body: Lines, width: int, columns: Sequence[str]) -> tuple[Lines, Lines]:
    """Split off what stands below the table: notes, or another table with its title."""
    table: Lines = []
    rest: Lines = []
    blank_before = False
    for i, (line, cells) in enumerate(body):
        filled = [cell for cell in cells if cell]
        if not filled:
            blank_before = True
            continue
        is_note = width > 1 and len(filled) == 1 and re.match(r"(?i)note|source|\*", filled[0])
        if table and is_header_of(cells, columns):
            while table and sum(bool(cell) for cell in table[-1][1]) == 1:
                rest.insert(0, table.pop())
            rest.extend((n, c) for n, c in body[i:] if any(c))
            break
        if is_comment(cells):
            rest.append((line, cells))
        elif is_note or (blank_before and _ends_table(filled, width)):
            rest.extend((n, c) for n, c in body[i:] if any(c))
            break
        else:
            table.append((line, cells))
        blank_before = False
    return table, rest


def is_header_of(cells: Sequence[str], columns: Sequence[str]) -> bool:
    """Whether a line repeats the names of the columns, most of them in their places."""
    # Asked of every row of a long file: most cells do not even begin as their column does.
    if _names_with_unit(cells, columns):
        return True
    alike = sum(
        cell[: len(column)].lower() == column.lower()
        and bool(name := split_header(cell)[0].lower())
        and name == column.lower()
        and not value_like(name)
        for cell, column in zip(cells, columns, strict=False)
        if cell
    )
    return alike >= 2 and alike >= 0.6 * len([column for column in columns if column])


def _names_with_unit(cells: Sequence[str], columns: Sequence[str]) -> bool:
    """Whether a line of words alone begins as the columns do and names another with its unit."""
    filled = [cell for cell in cells if cell]
    if len(filled) < 2 or not columns or cells[0].lower() != columns[0].lower():
        return False
    return not any(map(value_like, filled)) and any(split_header(cell)[1] for cell in filled)


def has_numbers(cells: Sequence[str], least: int) -> bool:
    """Tell whether a line holds at least so many numbers."""
    return not is_comment(list(cells)) and sum(value_like(cell) for cell in cells) >= least


def _ends_table(filled: list[str], width: int) -> bool:
    # A row of words without any digit after a blank line heads another table; "C3; hit pipe" does
    # not.
    return (width > 1 and len(filled) < 2) or not any(re.search(r"\d", cell) for cell in filled)
