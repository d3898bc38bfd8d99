"""How much fits on a sheet: the size of type is chosen from an estimate of the height of the page.

The numbers describe the template; change them together. Tests print the page and count the sheets.
"""

from __future__ import annotations

import math
from typing import Any

from soilwater.report.pictures import DRY_DOWN_SIZE, MAP_SIZE
from soilwater.report.tables import Table

SHEET = (188.0, 257.0)
"""Width and height [mm] that A4 and US letter both have within margins of 10 mm."""
SIZES = (10.4, 10.0, 9.6, 9.2, 8.8, 8.4, 8.0, 7.6, 7.3, 7.0, 6.7, 6.4, 6.1)
"""Sizes of type [pt]; the largest that fits is taken."""
READ_WELL = 6.7
"""Size of type [pt] below which tables rather lose rows (a judgement, no source)."""
_MM_PER_POINT = 25.4 / 72.0
_LEADING, _LETTER, _SMALL = 1.25, 0.43, 0.85
"""Height of a line and mean width of a letter [em], and the small print as a part of the size."""
_ALONE = 190.0
"""Width [mm] that the scale of a picture alone stands for."""


def reads_well(sections: dict[str, Any]) -> bool:
    """Whether all `sections` of a page fit on one sheet in type of a size that is read well."""
    return _height(sections, READ_WELL) <= SHEET[1]


def type_size(sections: dict[str, Any]) -> float:
    """Find the largest type [pt] in which all `sections` are expected to fit on one sheet."""
    return next((size for size in SIZES if _height(sections, size) <= SHEET[1]), SIZES[-1])


def _height(sections: dict[str, Any], points: float) -> float:
    """Estimate how high [mm] the page is when printed in type of a size [pt]."""
    em = _MM_PER_POINT * points
    wide = SHEET[0]

    def lines(text: str, width: float, size: float = 1.0) -> float:
        """Height of a text in a column, at a part of the size."""
        count = max(1, math.ceil(_LETTER * size * em * len(text) / width))
        return count * _LEADING * size * em

    def table(data: Table, width: float) -> float:
        """Height of a table with its note; cells need some room around them."""
        rows = sum(lines("".join(row), width - len(row) * em) + 0.35 * em for row in data.rows)
        note = lines(data.note, width) if data.note else 0.0
        return lines("".join(data.header), width - len(data.header) * em) + 0.5 * em + rows + note

    heading = 1.12 * _LEADING * em + 1.1 * em
    height = lines(sections["name"], wide, 1.9) + lines("".join(sections["facts"]), wide) + 3.0
    if sections["finding"]:
        said = sum(lines(each, wide - 4.0 * em, 1.08) for each in sections["finding"])
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
    beside = sections["measurements"] or sections["remarks"]
    part = 0.6 * wide if beside else wide
    plan = heading + table(sections["plan"], part) if sections["plan"] else 0.0
    plan += heading + sum(lines(each, part - 1.5 * em) + 0.2 * em for each in sections["dangers"])
    part, others = 0.37 * wide, 0.0
    for name in ("measurements", "remarks"):
        if sections[name]:
            others += heading + sum(
                lines(each, part - 1.5 * em) + 0.2 * em for each in sections[name]
            )
    height += max(plan, others)
    column = 0.5 * (wide - 6.0) - 1.5 * em
    small = [
        lines(each, column, _SMALL) + 0.2 * em
        for each in (*sections["assumptions"], *sections["cautions"])
    ]
    # Columns break between sentences, never within one.
    height += 0.5 * (sum(small) + max(small)) + heading
    return 0.98 * (height + 3.6 * em)


def _beside(size: tuple[float, float]) -> tuple[float, float]:
    """Width of both pictures together and height of one [in]."""
    return MAP_SIZE[0] + DRY_DOWN_SIZE[0], size[1]
