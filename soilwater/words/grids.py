"""Grids: text files, workbooks and tables in memory as numbered lines of text cells.

What is too large, is not what its name says, or holds formulas that were never computed is refused
before any of it is taken for a table.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
import zlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soilwater.words.cells import LONGEST_NUMBER, decimal_sign, is_missing_word, value_like
from soilwater.words.errors import Faults, InputError

Lines = list[tuple[int, list[str]]]


@dataclass(frozen=True)
class Grid:
    """Numbered lines of text cells, where they came from, and what was noticed."""

    lines: Lines
    source: str
    header_first: bool = False
    notes: tuple[str, ...] = ()


LARGEST_TEXT = 30_000_000
"""Largest text file that is read [bytes]: sixty years of hourly weather are a third of it."""

LARGEST_WORKBOOK = 8_000_000
"""Largest workbook that is read [bytes when unpacked]: openpyxl takes about 1 s for each 2 MB."""

MOST_CELLS = 200_000
"""Largest area of a sheet that is read [cells]."""

LONGEST_CELL = 20_000
"""Longest line of a text file, or cell of another table, that is read [characters]."""


def _refuse_large(path: Path, size: int, most: int, what: str) -> None:
    if size > most:
        raise InputError(
            f"{path.name}: the {what} holds {size / 1e6:.0f} MB; allowed: {most / 1e6:.0f} MB; "
            "keep the table alone, as .csv."
        )


def _refuse_foreign(path: Path, raw: bytes) -> None:
    """Refuse what is no table whatever its name says: a page, a document, a packed file."""
    start = raw[:400].lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    kind = ""
    if start.startswith((b"<!doctype", b"<html", b"<table", b"<?xml", b"<meta", b"<head")):
        kind = "a web page or XML"
    elif start.startswith(b"pk\x03\x04"):
        kind = "a workbook or another packed file"
    elif start.startswith(b"%pdf"):
        kind = "a PDF"
    if kind:
        raise InputError(
            f"{path.name}: this is {kind} under the name {path.suffix or 'of a text file'}; open "
            "it and save the table as .csv."
        )


_ENDLESS_NUMBER = re.compile(rf"[0-9]{{{LONGEST_NUMBER + 1},}}")


def _refuse_long_cells(path: Path, text: str) -> None:
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_CELL:
            raise InputError(
                f"{path.name}: line {number} has {len(line):,} characters; allowed: "
                f"{LONGEST_CELL:,}; is this the table?"
            )
    endless = _ENDLESS_NUMBER.search(text)
    if endless is not None:
        raise InputError(
            f"{path.name}: line {text.count(chr(10), 0, endless.start()) + 1} has "
            f"{len(endless[0]):,} digits on end, which is not a number of any measurement; "
            f"allowed: {LONGEST_NUMBER}; is this the table?"
        )


_SHEET_CELL = re.compile(rb"<(?:\w+:)?c[ />]")
_UNCOMPUTED = re.compile(
    rb"<(?:\w+:)?c\b([^>]*)>\s*<(?:\w+:)?f\b(?:[^>]*/>|[^>]*>[^<]*</(?:\w+:)?f>)"
    rb"\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)


def _check_workbook(path: Path, most_cells: int) -> set[str]:
    """Refuse what is no workbook or would not end; give the cells of formulas without a value."""
    uncomputed: set[str] = set()
    cells = 0
    with path.open("rb") as stream:
        start = stream.read(400)
    if not zipfile.is_zipfile(path):
        _refuse_foreign(path, start)
        raise InputError(f"{path.name}: this is no workbook; save the sheet as .xlsx or .csv.")
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(part.file_size for part in packed.infolist())
            _refuse_large(path, size, LARGEST_WORKBOOK, "unpacked workbook")
            for part in packed.infolist():
                if not part.filename.endswith((".xml", ".rels")):
                    continue
                content = packed.read(part)
                if part.filename.startswith("xl/worksheets/"):
                    cells += sum(1 for _ in _SHEET_CELL.finditer(content))
                    for match in _UNCOMPUTED.finditer(content):
                        place = re.search(rb'\br="([A-Z]+\d+)"', match[1])
                        # A formula that was worked out to an empty text says so: t="str".
                        if place is not None and b't="str"' not in match[1]:
                            uncomputed.add(place[1].decode())
                if b"<!DOCTYPE" in content:
                    raise InputError(
                        f"{path.name}: the workbook declares entities of its own, which no "
                        "spreadsheet writes; save the table as .csv."
                    )
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError) as error:
        raise InputError(
            f"{path.name}: the workbook is damaged or locked ({error}); save it anew as .xlsx or "
            ".csv."
        ) from error
    if cells > most_cells:
        raise InputError(
            f"{path.name}: the workbook holds {cells:,} cells; allowed: {most_cells:,}; keep the "
            "table alone, as .csv."
        )
    return uncomputed


def _refuse_uncomputed(path: Path, sheet: str, page: Any, uncomputed: set[str]) -> None:
    """Refuse formulas whose value was never stored: each would be a measurement lost."""
    import openpyxl  # type: ignore[import-untyped]

    formulas = openpyxl.load_workbook(path)[sheet]
    lost = [
        place
        for place in sorted(uncomputed, key=lambda place: (len(place), place))
        if formulas[place].data_type == "f" and page[place].value is None
    ]
    if lost:
        shown = ", ".join(lost[:6]) + (f" and {len(lost) - 6} more" if len(lost) > 6 else "")
        raise InputError(
            f'{path.name}: sheet "{sheet}" has formulas without a stored value in {shown}; open '
            "and save it in a spreadsheet, or paste the values in place of the formulas."
        )


def grid_of_text(path: Path, most_lines: int | None = None) -> Grid:
    """Read the lines of a text file under the separator that makes most of them alike."""
    if path.suffix.lower() in (".xls", ".ods"):
        raise InputError(
            f"{path.name}: this kind of workbook is not read; save it as .xlsx or .csv."
        )
    _refuse_large(path, path.stat().st_size, LARGEST_TEXT, "file")
    raw = path.read_bytes()
    _refuse_foreign(path, raw)
    lines = raw.count(b"\n")
    if most_lines is not None and lines > most_lines:
        raise InputError(
            f"{path.name}: the file has {lines:,} lines; allowed: {most_lines:,}; is it the table?"
        )
    notes: tuple[str, ...] = ()
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", errors="replace")
    elif b"\0" in raw:
        raise InputError(f"{path.name}: this is not a text file; save it as .csv or .xlsx.")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
            notes = ("not UTF-8: read as Windows western text",)
    _refuse_long_cells(path, text)
    by_delimiter = {sign: _split(text, sign) for sign in "\t;,|"}
    counts = {sign: _alike(lines) for sign, lines in by_delimiter.items()}
    # Late in the order, because decimal commas make comma-separated lines out of any table.
    if not any(counts.values()):
        # Columns of fixed width.
        wide = [
            (n, [c.strip() for c in re.split(r"\s{2,}", line.strip())])
            for n, line in enumerate(text.splitlines(), start=1)
        ]
        single = _by_single_blanks(text)
        return Grid(single if _alike(single) > _alike(wide) else wide, path.name, notes=notes)
    best = next(sign for sign in "\t;,|" if counts[sign] >= 0.7 * max(counts.values()))
    return Grid(by_delimiter[best], path.name, notes=notes)


def _split(text: str, delimiter: str) -> Lines:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    lines, first_line = [], 1
    for cells in reader:
        lines.append((first_line, [cell.strip() for cell in cells]))
        first_line = reader.line_num + 1
    return lines


def _by_single_blanks(text: str) -> Lines:
    """Cells between blanks, a unit in brackets with its name; nothing where that is no table."""
    lines: Lines = [
        (n, re.split(r"\s+(?![(\[])", line.strip()))
        for n, line in enumerate(text.splitlines(), start=1)
        if line.strip()
    ]
    # Rows of numbers go on to the end, and have as many cells as the names above them.
    first = len(lines)
    while first and len(lines[first - 1][1]) == len(lines[-1][1]) > 1:
        if not _of_numbers(lines[first - 1][1]):
            return lines
        first -= 1
    return []


def _of_numbers(cells: list[str]) -> bool:
    """Whether all cells but the first, which may be a name, look like numbers or missing ones."""
    return all(value_like(cell) or is_missing_word(cell) for cell in cells[1:])


def _alike(lines: Lines) -> int:
    """How many lines share the commonest number of cells above one."""
    widths = Counter(len(cells) for _, cells in lines if len(cells) > 1)
    return max(widths.values(), default=0)


def grid_of_workbook(path: Path, sheet: str | None, most_cells: int = MOST_CELLS) -> Grid:
    """Read one sheet of a workbook, merged cells filled downwards."""
    try:
        import openpyxl
    except ImportError:
        raise InputError(
            f"{path.name}: reading a workbook needs openpyxl; install soilwater[io], or save the "
            f"sheet as .csv."
        ) from None
    uncomputed = _check_workbook(path, most_cells)
    try:
        book = openpyxl.load_workbook(path, data_only=True)
    except Exception as error:  # a dozen unrelated classes for parts that do not fit together
        raise InputError(
            f"{path.name}: the workbook cannot be opened ({type(error).__name__}); save the sheet "
            "anew as .xlsx or .csv."
        ) from error
    filled = [page.title for page in book.worksheets if page.max_row > 1]
    if sheet is None and len(filled) == 1:
        sheet = filled[0]
    if sheet not in filled:
        faults = Faults(path.name)
        what = f"sheet={sheet!r}" if sheet else f"{len(filled)} sheets have something in them"
        faults.add(what, allowed=", ".join(map(repr, filled)), cure="name one with sheet=")
        raise faults.as_error()
    assert sheet is not None
    page = book[sheet]
    if page.max_row * page.max_column > MOST_CELLS:
        raise InputError(
            f'{path.name}: sheet "{sheet}" reaches to {page.dimensions.split(":")[-1]}, which is '
            f"more than {MOST_CELLS:,} cells; delete what stands far from the table, or save the "
            "table alone as .csv."
        )
    values = [[_shown(cell) for cell in row] for row in page.iter_rows()]
    if uncomputed:
        _refuse_uncomputed(path, sheet, page, uncomputed)
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


def grid_of_frame(frame: Any) -> Grid:
    """Read a data frame, an index with a name, or of texts, as its first columns."""
    if any(name is not None for name in frame.index.names) or frame.index.inferred_type == "string":
        frame = frame.reset_index()
    header = [
        " ".join(map(str, name)) if isinstance(name, tuple) else str(name) for name in frame.columns
    ]
    # By columns: rows would turn a float32 0.1 into 0.10000000149.
    values = [frame.iloc[:, i].array for i in range(len(header))]
    rows = (list(row) for row in zip(*values, strict=True))
    return _typed_grid([(0, header), *enumerate(rows, start=1)], "table", header_first=True)


def grid_of_mapping(columns: Mapping[Any, Any]) -> Grid:
    """Read columns by name."""
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
) -> Grid:
    """Text of numbers and texts mixed: only the texts can hold a decimal comma."""
    texts = [(n, [c if isinstance(c, str) else "" for c in cells]) for n, cells in lines]
    for number, cells in texts:
        longest = max(map(len, cells), default=0)
        if longest > LONGEST_CELL:
            raise InputError(
                f"{source}: line {number} has a cell of {longest:,} characters; allowed: "
                f"{LONGEST_CELL:,}; is this the table?"
            )
    comma = decimal_of(texts, source) == ","
    if comma:
        notes = (*notes, "decimal comma in text cells")
    return Grid(
        [(n, [_text(cell, comma) for cell in cells]) for n, cells in lines],
        source,
        header_first,
        notes,
    )


def _text(value: Any, comma: bool) -> str:
    """One typed cell as text with a decimal point."""
    if isinstance(value, str):
        is_decimal = comma and "," in value and decimal_sign(value) != ""
        return (value.replace(".", "").replace(",", ".") if is_decimal else value).strip()
    if value is None or type(value).__name__ in ("NAType", "NaTType") or value != value:
        return ""
    return str(value)


def decimal_of(body: Lines, source: str) -> str:
    """Find the decimal sign that every cell fits.

    Raises
    ------
    InputError
        For a mixture, and for what could be read both ways.
    """
    proof: dict[str, tuple[int, str]] = {}
    for line, cells in body:
        for cell in cells:
            sign = decimal_sign(cell)
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
