"""How an object shows itself: one table under a title, with lines below, as text and as HTML.

A class says what there is to show (`Shown`); `Displayed` writes it in both forms, so that a
notebook and a terminal say the same.
"""

from __future__ import annotations

import re
from abc import abstractmethod
from collections.abc import Iterable, Sequence
from html import escape
from typing import NamedTuple

from soilwater.words.safe_texts import fit_to_show
from soilwater.words.text_tables import echo_table, html_table


class Shown(NamedTuple):
    """What an object shows.

    Attributes
    ----------
    title : str
        Above the table; nothing where it is empty.
    header : sequence of str
        One text per column.
    rows : sequence of sequence
        Cells of the table.
    lines : sequence of str
        Below the table; a list in HTML, without a dash they may begin with.
    caption : str
        Above the HTML table; the title where it is empty.
    set_in : bool
        Whether the table is set in below its title, as text.
    """

    title: str
    header: Sequence[str]
    rows: Sequence[Sequence[object]]
    lines: Sequence[str] = ()
    caption: str = ""
    set_in: bool = False


def as_counted(name: str) -> tuple[tuple[int, int | str], ...]:
    """Key that sorts names as people count: 5, 6, 15 and A2, A10."""
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return tuple((0, int(each)) if each.isdecimal() else (1, each.lower()) for each in parts)


def listed(names: Iterable[str], most: int = 5) -> str:
    """Write names for a sentence, as many as `most` of them, and how many more there are."""
    names = list(names)
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


class Displayed:
    """An object that shows itself from what `_shown` says; below it, a dataclass has no repr."""

    @abstractmethod
    def _shown(self) -> Shown: ...

    def __repr__(self) -> str:
        shown = self._shown()
        table = echo_table(shown.rows, shown.header).splitlines()
        title = [fit_to_show(shown.title)] if shown.title else []
        margin = "  " if shown.set_in else ""
        lines = (fit_to_show(line) for line in shown.lines)
        return "\n".join([*title, *(margin + line for line in table), *lines])

    def _repr_html_(self) -> str:
        shown = self._shown()
        table = html_table(shown.rows, shown.header, caption=shown.caption or shown.title)
        listed = "".join(
            f"<li>{escape(fit_to_show(str(line).removeprefix('- ')))}</li>" for line in shown.lines
        )
        return f"{table}<ul>{listed}</ul>" if listed else table
