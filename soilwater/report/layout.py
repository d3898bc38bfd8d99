"""How much fits on a sheet: the size of type is chosen from an estimate of the height of the page.

All of it stands on the front where it fits in type that is read well. Where it does not, the front
keeps what was found, the pictures and the spots, and the back takes the water with its dangers,
what to measure next, what was assumed and the cautions in full.

The numbers describe the template; change them together. Tests print the page and count the sheets.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from soilwater.report.pictures import DRY_DOWN_SIZE, MAP_SIZE
from soilwater.report.tables import Table

SHEET = (188.0, 257.0)
"""Width and height [mm] that A4 and US letter both have within margins of 10 mm."""
SIZES = (10.4, 10.2, 10.0, 9.8, 9.6, 9.4, 9.2, 9.0)
"""Sizes of type [pt]; the largest that fits is taken. Nothing on the page is smaller than the last,
below which print is hard to read at arm's length (a judgement, no source)."""
SHARES = (0.6, 0.5, 0.7)
"""Parts of the width that water may take beside what to measure next: the lowest pair is taken."""
_MM_PER_POINT = 25.4 / 72.0
_LEADING, _LETTER, _DIGIT = 1.25, 0.44, 0.53
"""Height of a line and mean width of a letter, in sentences and in tables of numbers [em]."""
_ALONE = 190.0
"""Width [mm] that the scale of a picture alone stands for."""


def sides_hold(sections: dict[str, Any]) -> tuple[bool, bool]:
    """Whether front and back of a sheet hold their parts of `sections` in the smallest type."""
    front, back, _ = _heights(sections, SIZES[-1])
    return front <= SHEET[1], back <= SHEET[1]


class Layout(NamedTuple):
    """Type [pt] of both parts, share of the width for water, and whether the second is behind."""

    first: float
    second: float
    share: float
    back: bool


def laid_out(sections: dict[str, Any]) -> Layout:
    """Find the largest type in which all `sections` are expected to fit on one sheet."""
    found = {size: _heights(sections, size) for size in SIZES}
    for size, (front, back, share) in found.items():
        if front + back <= SHEET[1]:
            return Layout(size, size, share, back=False)
    first, second = (
        next((size for size in SIZES if found[size][i] <= SHEET[1]), SIZES[-1]) for i in range(2)
    )
    return Layout(first, second, found[second][2], back=True)


def _heights(sections: dict[str, Any], points: float) -> tuple[float, float, float]:
    """Estimate how high [mm] front and back are when printed in type of a size [pt].

    The share of the width that water has comes last.
    """
    em = _MM_PER_POINT * points
    wide = SHEET[0]

    def lines(text: str, width: float, size: float = 1.0) -> float:
        """Height of a text in a column, in so many times the size."""
        return _lines_of(text, width / (_LETTER * size * em)) * _LEADING * size * em

    def table(data: Table, width: float) -> float:
        """Height of a table with its note; cells need some room around them."""
        room = (width - 0.8 * len(data.header) * em) / (_DIGIT * em)
        count = sum(_lines_of_rows((data.header, *data.rows), room))
        note = lines(data.note, width) + 0.5 * em if data.note else 0.0
        return count * _LEADING * em + 0.36 * em * (len(data.rows) + 1) + note

    def listed(sentences: Sequence[str], width: float) -> float:
        """Height of a list of sentences, set in as lists are."""
        return sum(lines(each, width - 1.5 * em) + 0.1 * em for each in sentences)

    heading = 1.12 * _LEADING * em + 0.9 * em
    height = lines(sections["name"], wide, 1.9) + lines("".join(sections["facts"]), wide) + 3.0
    if sections["finding"]:
        said = listed(sections["finding"], wide - 2.5 * em)
        height += 1.12 * _LEADING * em + said + 2.2 * em
    pictures = [
        tall * (wide if sections["map"] and sections["dry_down"] else _ALONE) / across
        for name, (across, tall) in (
            ("map", _beside(MAP_SIZE)),
            ("dry_down", _beside(DRY_DOWN_SIZE)),
        )
        if sections[name]
    ]
    if pictures:
        height += max(pictures) + 2.2 * em
    height += heading + table(sections["spots"], wide)

    def beside(share: float) -> float:
        """Height of the water and of what stands beside it, if it has this share of the width."""
        plan = heading + table(sections["plan"], share * wide) if sections["plan"] else 0.0
        plan += heading + listed(sections["dangers"], share * wide)
        others = [sections[each] for each in ("measurements", "remarks") if sections[each]]
        room = (1.0 - share) * wide - 6.0
        return max(plan, sum(heading + listed(each, room) for each in others))

    aside = sections["measurements"] or sections["remarks"]
    share = min(SHARES, key=beside) if aside else 1.0
    column = 0.5 * (wide - 6.0)
    full = (*sections["assumptions"], *sections["cautions"])
    # Columns break between sentences, never within one; the footer comes last.
    longest = max(listed([each], column) for each in full)
    back = beside(share) + 0.5 * (listed(full, column) + longest) + 2.0 * heading
    return 0.98 * (height + 0.6 * em), 0.92 * (back + 2.0 * _LEADING * em + 1.5 * em), share


def _lines_of_rows(rows: Sequence[Sequence[str]], room: float) -> list[int]:
    """Lines of each row of a table with room for so many letters side by side.

    Browsers give a column what its longest word needs, and share what is left by what each would
    like to have.
    """
    columns = list(zip(*rows, strict=True))
    least = [max(len(word) for cell in each for word in (cell.split() or [""])) for each in columns]
    most = [max(len(cell) for cell in each) for each in columns]
    if rows[0][0] == "when":
        least[0] = most[0]
    left, wish = max(room - sum(least), 0.0), max(sum(most) - sum(least), 1)
    widths = [a + (b - a) * min(left / wish, 1.0) for a, b in zip(least, most, strict=True)]
    return [
        max(_lines_of(cell, width) for cell, width in zip(row, widths, strict=True)) for row in rows
    ]


def _lines_of(text: str, width: float) -> int:
    """Lines of a text that is broken between words."""
    count, used = 1, 0.0
    for word in text.split():
        if used and used + 1 + len(word) > width:
            count, used = count + 1, 0.0
        used += len(word) + (1 if used else 0)
    return count


def _beside(size: tuple[float, float]) -> tuple[float, float]:
    """Width of both pictures together and height of one [in]."""
    return MAP_SIZE[0] + DRY_DOWN_SIZE[0], size[1]
