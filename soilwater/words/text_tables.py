"""Small tables as text: reading any messy one once, and writing one for people.

Lab sheets, station files and probe surveys arrive with a title above the header, units in the
header or in a row under it, commas for decimals, merged cells and units inside cells. They all pass
through `read_text_table`, which says what it noticed and changes no value; what a column means is
the business of the reader of that kind of table.
"""

from __future__ import annotations

import csv
import html
import io
import os
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soilwater.words.errors import Faults, InputError
from soilwater.words.unit_texts import feet_and_inches, plain_characters, plain_number

_MISSING_WORDS = frozenset(
    ("", "-", "--", "–", "—", ".", "na", "n/a", "n.a.", "nan", "nat", "none", "null", "missing")
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
        return _assemble(_grid_of_frame(source))
    if isinstance(source, Mapping):
        return _assemble(_grid_of_mapping(source))
    if not isinstance(source, (str, os.PathLike)):
        raise TypeError(
            "a table is read from a path, a DataFrame or a mapping of column name to values, "
            f"not from {type(source).__name__}."
        )
    path = Path(source)
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        return _assemble(_grid_of_workbook(path, sheet))
    if sheet is not None:
        raise InputError(f"{path.name}: sheet={sheet!r} was given, but only workbooks have sheets.")
    return _assemble(_grid_of_text(path))


def parse_number(text: str, decimal: str = ".") -> tuple[float | None, str]:
    """Read the number, and the unit if there is one, of a cell.

    Parameters
    ----------
    text : str
        The cell: ``"22%"``, ``"0.28"``, ``"14 3/4 in"``, ``"1'2"``, ``""``.
    decimal : str, optional
        Decimal sign, ``"."`` or ``","``. The other one is then taken as thousands separator, and
        only where three digits follow it.

    Returns
    -------
    value : float or None
        The number as written (feet and inches in inches); None for an empty cell, a dash or a
        word for missing. Number codes for missing (-999) are numbers here.
    unit : str
        Unit text behind the number, ``""`` if there is none.

    Raises
    ------
    ValueError
        When the cell holds something else.

    Examples
    --------
    >>> parse_number("22%")
    (22.0, '%')
    >>> parse_number("0,28", decimal=",")
    (0.28, '')
    >>> parse_number("n/a")
    (None, '')
    """
    plain = plain_characters(text)
    if plain.lower() in _MISSING_WORDS:
        return None, ""
    inches = feet_and_inches(plain)
    if inches is not None:
        return inches, "in"
    match = _CELL.fullmatch(plain)
    if match is not None:
        sign, digits, unit = match.groups()
        value = _number_with(digits, decimal)
        if value is not None and (not unit or looks_like_unit(unit)):
            return (-value if sign == "-" else value), unit
    raise ValueError(f"{text!r} is not a number")


def looks_like_unit(text: str) -> bool:
    """Tell whether a text is made of unit words and signs only.

    Parameters
    ----------
    text : str
        Such as ``"cm"``, ``"% by volume"`` or ``"mm h-1"``.

    Returns
    -------
    bool
        Whether every word of it is a unit or belongs to one.

    Examples
    --------
    >>> looks_like_unit("g/cm3"), looks_like_unit("from surface")
    (True, False)
    """
    plain = plain_characters(text).lower()
    words = [word for word in re.split(r"[^a-z%°]+", plain.replace("%", " % ")) if word]
    return all(word in _UNIT_WORDS for word in words) and any(
        word not in _UNIT_FILLERS for word in words
    )


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
    right = [all(_value_like(cell) for cell in column[1:] if cell) for column in columns]
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


# --- cells ---------------------------------------------------------------------------------------

_UNIT_FILLERS = frozenset(
    ("of", "by", "per", "water", "h2o", "o", "v", "w", "us", "uk", "sq", "vol")
)
_UNIT_WORDS = _UNIT_FILLERS | frozenset(
    (
        "%", "percent", "pct", "cent", "vwc", "volume", "mass", "weight", "wt", "fraction",
        "um", "mm", "cm", "m", "in", "inch", "inches", "ft", "feet", "foot", "yd",
        "pa", "hpa", "kpa", "mpa", "mbar", "mb", "cbar", "cb", "bar", "bars", "psi", "atm", "pf",
        "centibar",
        "s", "sec", "min", "mins", "h", "hr", "hrs", "hour", "hours", "d", "day", "days",
        "g", "kg", "mg", "lb", "lbs", "l", "ml", "gal", "gallon", "gallons", "gpm",
        "ha", "acre", "acres", "°", "°c", "°f", "deg", "degc", "degf", "degrees", "c", "f", "k",
        "j", "kj", "mj", "kw", "wh", "kwh", "ly", "ds", "ppm", "km", "mph", "kph", "kn", "kt",
        "knots",
    )
)  # fmt: skip

_DIGITS = (
    r"(?:\d+[\s-]+)?\d+\s*/\s*0*[1-9]\d*(?![\d/])"
    r"|(?:\d+(?:[.,]\d+)*[.,]?|[.,]\d+)(?:[eE][-+]?\d+)?"
)
_CELL = re.compile(rf"([-+]?)\s*({_DIGITS})(?![\d.,])\s*(.*)")


def _value_like(cell: str) -> bool:
    """Whether a cell begins as numbers, dates and the like do."""
    return re.match(r"[-+<>~]?\s*[.,]?\d", plain_characters(cell)) is not None


def _number_with(digits: str, decimal: str) -> float | None:
    """Value of `digits` under a decimal sign; None where the signs do not fit it."""
    if "/" in digits:
        return plain_number(digits)
    thousands = "," if decimal == "." else "."
    if thousands in digits:
        grouped = rf"[1-9]\d{{0,2}}(?:\{thousands}\d{{3}})+(?:\{decimal}\d*)?"
        if re.fullmatch(grouped, digits) is None:
            return None
    try:
        return float(digits.replace(thousands, "").replace(decimal, "."))
    except ValueError:
        return None


def _decimal_sign(cell: str) -> str:
    """Decimal sign a cell proves: ``"."``, ``","``, ``"?"`` for ``1,500``, or ``""``."""
    if "," not in cell and "." not in cell:
        return ""
    match = _CELL.fullmatch(plain_characters(cell))
    if match is None or (match[3] and not looks_like_unit(match[3])):
        return ""
    digits = match[2]
    readings = {sign for sign in ".," if _number_with(digits, sign) is not None}
    if len(readings) == 1:
        return readings.pop()
    return "?" if len(readings) == 2 and "," in digits else ""


# --- grids: every source as numbered lines of text cells -----------------------------------------

_Lines = list[tuple[int, list[str]]]


@dataclass(frozen=True)
class _Grid:
    lines: _Lines
    source: str
    header_first: bool = False
    notes: tuple[str, ...] = ()


def _grid_of_text(path: Path) -> _Grid:
    if path.suffix.lower() in (".xls", ".ods"):
        raise InputError(
            f"{path.name}: this kind of workbook is not read; save it as .xlsx or .csv."
        )
    raw = path.read_bytes()
    notes: tuple[str, ...] = ()
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16")
    elif b"\0" in raw:
        raise InputError(f"{path.name}: this is not a text file; save it as .csv or .xlsx.")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
            notes = ("not UTF-8: read as Windows western text",)
    by_delimiter = {sign: _split(text, sign) for sign in "\t;,|"}
    counts = {sign: _alike(lines) for sign, lines in by_delimiter.items()}
    # Late in the order, because decimal commas make comma-separated lines out of any table.
    best = next(sign for sign in "\t;,|" if counts[sign] >= 0.7 * max(counts.values()))
    return _Grid(by_delimiter[best], path.name, notes=notes)


def _split(text: str, delimiter: str) -> _Lines:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    lines, first_line = [], 1
    for cells in reader:
        lines.append((first_line, [cell.strip() for cell in cells]))
        first_line = reader.line_num + 1
    return lines


def _alike(lines: _Lines) -> int:
    """How many lines share the commonest number of cells above one."""
    widths = Counter(len(cells) for _, cells in lines if len(cells) > 1)
    return max(widths.values(), default=0)


def _grid_of_workbook(path: Path, sheet: str | None) -> _Grid:
    try:
        import openpyxl  # type: ignore[import-untyped]
    except ImportError:
        raise InputError(
            f"{path.name}: reading a workbook needs openpyxl; install soilwater[io], or save the "
            f"sheet as .csv."
        ) from None
    book = openpyxl.load_workbook(path, data_only=True)
    filled = [page.title for page in book.worksheets if page.max_row > 1]
    if sheet is None and len(filled) == 1:
        sheet = filled[0]
    if sheet not in filled:
        faults = Faults(path.name)
        what = f"sheet={sheet!r}" if sheet else f"{len(filled)} sheets have something in them"
        faults.add(what, allowed=", ".join(map(repr, filled)), cure="name one with sheet=")
        raise faults.as_error()
    page = book[sheet]
    values = [[_shown(cell) for cell in row] for row in page.iter_rows()]
    notes: tuple[str, ...] = ()
    for area in page.merged_cells.ranges:
        # Downwards only: a name over four rows belongs to each, a title over four columns does not.
        for row in range(area.min_row, area.max_row):
            values[row][area.min_col - 1] = values[area.min_row - 1][area.min_col - 1]
            notes = ("merged cells filled downwards",)
    return _typed_grid(list(enumerate(values, start=1)), path.name, notes=notes)


class _PerCent(float):
    """A number a workbook shows as per cent: the sheet says 22%, the cell holds 0.22."""

    def __str__(self) -> str:
        return f"{100 * self:.15g}%"


def _shown(cell: Any) -> Any:
    if isinstance(cell.value, (int, float)) and "%" in (cell.number_format or ""):
        return _PerCent(cell.value)
    return cell.value


def _grid_of_frame(frame: Any) -> _Grid:
    if any(name is not None for name in frame.index.names):
        frame = frame.reset_index()
    header = [
        " ".join(map(str, name)) if isinstance(name, tuple) else str(name) for name in frame.columns
    ]
    # By columns: rows would turn a float32 0.1 into 0.10000000149.
    values = [frame.iloc[:, i].array for i in range(len(header))]
    rows = (list(row) for row in zip(*values, strict=True))
    return _typed_grid([(0, header), *enumerate(rows, start=1)], "table", header_first=True)


def _grid_of_mapping(columns: Mapping[Any, Any]) -> _Grid:
    faults = Faults("table")
    for name, values in columns.items():
        if isinstance(values, str) or not hasattr(values, "__len__"):
            faults.add(f"{values!r} is one value", where=f'column "{name}"', cure="give a list")
    faults.raise_if_any()
    lengths = {str(name): len(values) for name, values in columns.items()}
    if len(set(lengths.values())) > 1:
        faults.add(f"columns differ in length: {lengths}", cure="leave gaps as None")
        raise faults.as_error()
    header = [str(name) for name in columns]
    rows = (list(row) for row in zip(*columns.values(), strict=True))
    return _typed_grid([(0, header), *enumerate(rows, start=1)], "table", header_first=True)


def _typed_grid(
    lines: list[tuple[int, list[Any]]],
    source: str,
    *,
    header_first: bool = False,
    notes: tuple[str, ...] = (),
) -> _Grid:
    """Text of numbers and texts mixed: only the texts can hold a decimal comma."""
    texts = [(n, [c if isinstance(c, str) else "" for c in cells]) for n, cells in lines]
    comma = _decimal_of(texts, source) == ","
    if comma:
        notes = (*notes, "decimal comma in text cells")
    return _Grid(
        [(n, [_text(cell, comma) for cell in cells]) for n, cells in lines],
        source,
        header_first,
        notes,
    )


def _text(value: Any, comma: bool) -> str:
    """One typed cell as text with a decimal point."""
    if isinstance(value, str):
        is_decimal = comma and "," in value and _decimal_sign(value) != ""
        return (value.replace(".", "").replace(",", ".") if is_decimal else value).strip()
    if value is None or type(value).__name__ in ("NAType", "NaTType") or value != value:
        return ""
    return str(value)


# --- from the grid to the table ------------------------------------------------------------------


def _assemble(grid: _Grid) -> TextTable:
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
    body, rest = _table_and_rest(body, width)
    if rest:
        line, cells = rest[0]
        start = "; ".join(cell for cell in cells if cell)
        notes.append(f"left out below the table from line {line} on ({len(rest)}): {start!r}")
    rows = _rectangle(body, width, grid.source)
    decimal = _decimal_of(body, grid.source)
    return TextTable(
        columns=tuple(name or f"column {i}" for i, (name, _) in enumerate(header, start=1)),
        units=tuple(units),
        rows=rows,
        line_numbers=tuple(line for line, _ in body),
        source=grid.source,
        notes=tuple(notes + ["decimal comma"] * (decimal == ",")),
        decimal=decimal,
        preface=tuple("; ".join(filter(None, cells)) for _, cells in grid.lines[:at] if any(cells)),
    )


def _header_position(lines: _Lines) -> int | None:
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
        if _is_unit_row(cells) or _is_comment(cells):
            continue
        names = {cells[j] for j in filled[i]}
        words = [j for j in filled[i] if not _value_like(cells[j])]
        if words and len(names) >= min(2, usual) and len(names) >= 0.6 * usual:
            score = sum(
                max(balance[j], 0) * (0.25 if _value_like(cells[j]) else 1.0) for j in filled[i]
            )
            # >=: of equals the upper one, whose rows are the more.
            if score > 0 and score >= best_score:
                best, best_score = i, score
        for j in filled[i]:
            balance[j] += 1 if _value_like(cells[j]) else -1
    return best


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
    return bool(units) and all(looks_like_unit(unit) and unit[0] not in "-+.0" for unit in units)


def _table_and_rest(body: _Lines, width: int) -> tuple[_Lines, _Lines]:
    """Split off what stands below the table: notes, or another table after a blank line."""
    table: _Lines = []
    rest: _Lines = []
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


def _ends_table(filled: list[str], width: int) -> bool:
    # A row of words without any digit after a blank line heads another table; "C3; hit pipe" does
    # not.
    return (width > 1 and len(filled) < 2) or not any(re.search(r"\d", cell) for cell in filled)


def _rectangle(body: _Lines, width: int, source: str) -> tuple[tuple[str, ...], ...]:
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


def _decimal_of(body: _Lines, source: str) -> str:
    """Decimal sign that every cell fits; refuse a mixture, and what could be read both ways."""
    proof: dict[str, tuple[int, str]] = {}
    for line, cells in body:
        for cell in cells:
            sign = _decimal_sign(cell)
            if sign:
                proof.setdefault(sign, (line, cell))
    faults = Faults(source)
    if "." in proof and "," in proof:
        (point_line, point), (comma_line, comma) = proof["."], proof[","]
        faults.add(
            f"decimal points and decimal commas are mixed: {point!r} in line {point_line}, "
            f"{comma!r} in line {comma_line}",
            cure="write them all alike",
        )
    elif "?" in proof and "." not in proof and "," not in proof:
        line, cell = proof["?"]
        whole, part = cell.split(",", 1)
        faults.add(
            f"{cell!r} can be {whole}{part} or {whole}.{part}",
            where=f"line {line}",
            cure="leave out the comma that separates thousands, or write the decimal with a point",
        )
    faults.raise_if_any()
    return "," if "," in proof else "."
