"""Files that are written whole or not at all, and tables to which rows are only ever added."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from soilwater.words.errors import InputError
from soilwater.words.table_parts import split_header


def write_new(path: Path, text: str) -> None:
    """Write a file where none is; readers see all of it or nothing.

    Parameters
    ----------
    path : Path
        Where.
    text : str
        What is in it.

    Raises
    ------
    InputError
        If something is there already, which is left as it is.
    """
    waiting = _beside(path, text)
    try:
        # A link, unlike a rename, fails where somebody was faster.
        os.link(waiting, path)
    except FileExistsError:
        raise InputError(
            f"{path.name}: there is a file of this name, and nothing is written over it; take "
            "another name, or move it away."
        ) from None
    except OSError:
        # A disk without links: what is there is safe all the same.
        with open(path, "x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    finally:
        waiting.unlink()


def write_over(path: Path, content: str | bytes) -> None:
    """Write a file in one go, in place of what was there.

    Parameters
    ----------
    path : Path
        Where.
    content : str or bytes
        What is in it.
    """
    _beside(path, content).replace(path)


def write_marked(path: Path, page: str, mark: str) -> None:
    """Write a page of HTML over nothing, or over a page that was written so and not changed since.

    Parameters
    ----------
    path : Path
        Where.
    page : str
        What is in it; a remark at its end will tell the page again.
    mark : str
        What it is.

    Raises
    ------
    InputError
        If something else is there, which is left as it is.
    """
    if path.exists():
        there = path.read_bytes().decode("utf-8", errors="replace")
        body = there.rpartition("\n<!-- ")[0]
        if there != _marked(body, mark):
            raise InputError(
                f"{path}: this file was not written here, or was changed since, and nothing is "
                "written over it; take another name, or move it away."
            )
        write_over(path, _marked(page, mark))
    else:
        write_new(path, _marked(page, mark))


def _marked(page: str, mark: str) -> str:
    digest = hashlib.sha256(page.encode()).hexdigest()[:16]
    return f"{page}\n<!-- {mark}, {digest} -->\n"


def _beside(path: Path, content: str | bytes) -> Path:
    """Write a temporary file in the folder of a path, on the disk when this returns."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    with open(handle, "wb") as file:
        file.write(content.encode() if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())
    waiting = Path(name)
    # Others of the crew may read it, as they may read a file saved by hand.
    waiting.chmod(0o644)
    return waiting


def append_rows(path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows to a CSV table, made where there is none; what is there is never touched.

    Rows of two people who add at once both stay. A last line that was left half-written is not
    continued: it keeps a line of its own, for its reader to tell.

    Parameters
    ----------
    path : Path
        The table.
    columns : sequence of str
        Its header, where it has to be made; units stand behind names, as in ``"amount (mm)"``.
    rows : sequence of mapping
        Cells by column, without its unit.

    Raises
    ------
    InputError
        If the table has no column for a cell, or the rows are not in it afterwards.
    """
    if not path.exists():
        # Unless somebody made it a moment ago.
        with suppress(InputError):
            write_new(path, ",".join(columns) + "\n")
    header, separator = header_of(path)
    plain = [name for name, _ in header]
    missing = sorted({c for row in rows for c, cell in row.items() if cell and c not in plain})
    if missing:
        raise InputError(f"{path.name}: it has no column {', '.join(missing)}; add it to line 1.")
    added = _lines(rows, plain, separator).encode()
    handle = os.open(path, os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0))
    with open(handle, "r+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(size - 1, 0))
        begin = b"" if size == 0 or file.read(1) == b"\n" else b"\n"
        # One call, which the system puts behind whatever others have added by then.
        file.write(begin + added)
        os.fsync(file.fileno())
    if added not in path.read_bytes():
        raise InputError(f"{path.name}: the rows did not get into the file; add them again.")


def header_of(path: Path) -> tuple[list[tuple[str, str]], str]:
    """Names and units of the columns of a CSV table, and the sign between its cells.

    Parameters
    ----------
    path : Path
        The table; its header is its first line.

    Raises
    ------
    InputError
        If it is not written in an encoding to which rows can be added.
    """
    raw = path.read_bytes()
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError(f"{path.name}: it is written in UTF-16; save it as CSV in UTF-8 first.")
    first = raw.partition(b"\n")[0].decode("utf-8-sig", errors="replace").rstrip("\r")
    separator = max(",;\t", key=first.count)
    names = next(csv.reader([first], delimiter=separator), [])
    return [named_column(name) for name in names], separator


def named_column(text: str) -> tuple[str, str]:
    """Name of a column, in lower case, and its unit, of what its header says."""
    name, unit = split_header(text.strip())
    return name.lower(), unit


def _lines(rows: Sequence[Mapping[str, str]], columns: Sequence[str], separator: str) -> str:
    text = io.StringIO()
    table = csv.DictWriter(text, columns, restval="", delimiter=separator, lineterminator="\n")
    table.writerows(rows)
    return text.getvalue()
