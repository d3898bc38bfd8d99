"""Answers as plain tables: a DataFrame, CSV or a workbook, which read back as the same.

A text that a spreadsheet would run as a formula is made harmless on its way out, and is itself
again when `read_table` reads it.
"""

from __future__ import annotations

import csv
import io
import math
import re
from abc import abstractmethod
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from soilwater.words.errors import InputError
from soilwater.words.quantities import one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.safe_files import write_over
from soilwater.words.times import stamp

NEVER = "never"
"""What stands in a file for a time that does not come (infinity)."""


class Column(NamedTuple):
    """One column of a table.

    Attributes
    ----------
    name : str
        What it is called, without its unit.
    values : sequence
        Numbers in the house unit, texts, times or truths; None or NaN where there is none.
    quantity : str
        A key of `WRITINGS`; empty for what has no unit.
    """

    name: str
    values: Iterable[Any]
    quantity: str = ""


def columns_of(
    things: Iterable[Any], parts: Sequence[tuple[str, Callable[[Any], Any], str]]
) -> list[Column]:
    """Make columns of things in a row, one for each part: its name, how to get it, its quantity."""
    every = list(things)
    return [Column(name, [get(each) for each in every], quantity) for name, get, quantity in parts]


class Tabled:
    """An answer that can be taken away as a table, one row for each thing it tells of."""

    @abstractmethod
    def _columns(self) -> list[Column]: ...

    def to_dataframe(self) -> pd.DataFrame:
        """Give the answer as a table of pandas.

        Returns
        -------
        DataFrame
            Units stand behind the names of columns: metric, or those of the US where `use_units`
            chose them. Nothing is rounded.
        """
        made: dict[str, Any] = {}
        for column in self._columns():
            name, values = column.name, list(column.values)
            if column.quantity:
                writing = one_writing(column.quantity)
                name = f"{name} ({writing.unit})"
                values = [math.nan if each is None else writing.of(float(each)) for each in values]
            made[name] = pd.Series(values, dtype=float if column.quantity else None)
        return pd.DataFrame(made)

    @mind_words()
    def to_csv(self, path: str | Path) -> None:
        """Write the answer as a table that spreadsheets open and `read_table` reads back.

        Parameters
        ----------
        path : str or Path
            File to write.

        Notes
        -----
        Before a sign with which a formula could begin (= + - @ and what looks like them), in a
        text, stands an apostrophe.
        """
        frame = self.to_dataframe()
        text = io.StringIO()
        writer = csv.writer(text, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\n")
        writer.writerow([harmless(str(name)) for name in frame.columns])
        for row in frame.itertuples(index=False):
            cells = [_cell(each) for each in row]
            writer.writerow([harmless(each) if isinstance(each, str) else each for each in cells])
        write_over(Path(path), text.getvalue())

    @mind_words()
    def to_excel(self, path: str | Path) -> None:
        """Write the answer as a workbook that `read_table` reads back.

        Parameters
        ----------
        path : str or Path
            File to write, such as ``"plan.xlsx"``.

        Raises
        ------
        ImportError
            Without openpyxl: ``python -m pip install "soilwater[io]"``.

        Notes
        -----
        Texts are kept as texts, whatever they begin with: none is run as a formula.
        """
        try:
            import openpyxl  # type: ignore[import-untyped]
        except ImportError as error:
            raise ImportError(
                'a workbook needs openpyxl: python -m pip install "soilwater[io]"'
            ) from error
        target = Path(path)
        book = openpyxl.Workbook()
        page = book.active
        frame = self.to_dataframe()
        for i, row in enumerate([tuple(frame.columns), *frame.itertuples(index=False)], start=1):
            for j, given in enumerate(row, start=1):
                value = _cell(given)
                if value == "":
                    continue
                cell = page.cell(i, j)
                if isinstance(value, str):
                    # A workbook cannot hold control characters; nobody means them.
                    cell.value = _CONTROL.sub(" ", value)
                    # Never a formula, and kept a text when somebody edits it.
                    cell.data_type = "s"
                    cell.quotePrefix = value[:1] in _STARTS
                else:
                    cell.value = value
        for j, name in enumerate(frame.columns, start=1):
            page.cell(1, j).font = openpyxl.styles.Font(bold=True)
            letter = openpyxl.utils.get_column_letter(j)
            page.column_dimensions[letter].width = max(10, min(40, len(str(name)) + 2))
        page.freeze_panes = "A2"
        book.save(target)


_TIMES = ("when", "time", "begin", "end")
"""Columns of times; their names tell so, as units tell numbers."""
_STARTS = "=+-@\t\r\n＝＋－＠"
_SEPARATORS = ",;|\t\r\n"
_MARKED = re.compile(rf"'*[{re.escape(_STARTS)}]")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def harmless(text: str) -> str:
    """Write a text so that no spreadsheet runs any of it, however it cuts the line into cells.

    Parameters
    ----------
    text : str
        As it is.

    Returns
    -------
    str
        With an apostrophe before each sign with which a formula could begin; `as_it_was` takes
        it off again.

    Examples
    --------
    >>> harmless("=1+1"), harmless("back; =1+1"), harmless("C3-left")
    ("'=1+1", "back; '=1+1", 'C3-left')
    """
    return _with_marks(text, 1)


def as_it_was(text: str) -> str:
    """Take off the apostrophes that `harmless` put on."""
    return _with_marks(text, -1)


def _with_marks(text: str, change: int) -> str:
    """Put an apostrophe before each sign at the beginning of what may become a cell, or take it."""
    made, i, begins = [], 0, True
    while i < len(text):
        found = _MARKED.match(text, i) if begins else None
        if found and (change > 0 or len(found[0]) > 1):
            marks = len(found[0]) - 1 + change
            made.append("'" * marks + found[0][-1])
            i = found.end()
        else:
            made.append(text[i])
            i += 1
        last = text[i - 1]
        begins = last in _SEPARATORS or (begins and last == " ")
    return "".join(made)


def _cell(value: Any) -> Any:
    """Give what goes into a cell: a number or a text, an empty one where there is nothing."""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return "" if math.isnan(value) else NEVER if math.isinf(value) else float(value)
    if value is None or str(value) == "NaT":
        return ""
    if hasattr(value, "year") or isinstance(value, np.datetime64):
        return stamp(value)
    return str(value)


@mind_words()
def read_table(path: str | Path) -> pd.DataFrame:
    """Read a table that `to_csv` or `to_excel` wrote.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    DataFrame
        As `to_dataframe` gave it: columns with a unit are numbers, "when", "time", "begin" and
        "end" are times, yes and no are truths, all else is text.

    Raises
    ------
    InputError
        If there is no such file, or a column with a unit holds something that is no number.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: there is no such file.")
    rows = _rows_of_workbook(path) if path.suffix.lower() == ".xlsx" else _rows_of_csv(path)
    if not rows:
        raise InputError(f"{path.name}: it is empty.")
    header, *body = rows
    made: dict[str, Any] = {}
    for j, name in enumerate(header):
        cells = [row[j] if j < len(row) else "" for row in body]
        made[name] = _typed(name, cells, path)
    return pd.DataFrame(made)


def _typed(name: str, cells: list[str], path: Path) -> Any:
    if name.endswith(")"):
        numbers = []
        for i, cell in enumerate(cells, start=2):
            try:
                numbers.append(
                    math.nan if cell == "" else math.inf if cell == NEVER else float(cell)
                )
            except ValueError:
                raise InputError(
                    f'{path.name}: line {i}: "{cell}" below "{name}" is not a number.'
                ) from None
        return pd.Series(numbers, dtype=float)
    if name in _TIMES:
        return pd.to_datetime(pd.Series(cells, dtype=object).replace("", None))
    if cells and set(cells) <= {"yes", "no"}:
        return pd.Series([cell == "yes" for cell in cells])
    return pd.Series(cells, dtype=object)


def _rows_of_csv(path: Path) -> list[list[str]]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name}: it is no text; allowed: a table of to_csv or .xlsx."
        ) from None
    return [[as_it_was(cell) for cell in row] for row in csv.reader(io.StringIO(text, newline=""))]


def _rows_of_workbook(path: Path) -> list[list[str]]:
    try:
        import openpyxl
    except ImportError as error:
        raise ImportError(
            'a workbook needs openpyxl: python -m pip install "soilwater[io]"'
        ) from error
    page = openpyxl.load_workbook(path, data_only=True).active
    return [["" if cell is None else str(cell) for cell in row] for row in page.values]
