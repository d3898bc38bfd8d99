"""Probe depths of a survey sheet: fractions, feet, "12+", "hit pipe", and where zero is."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from soilwater.survey.columns import Row, Sheet, number_in
from soilwater.survey.too_short import ask_of_plus, split_least
from soilwater.words.errors import InputError
from soilwater.words.set_right import say_leave_out, say_missing
from soilwater.words.text_tables import MISSING_CODES
from soilwater.words.unit_texts import plain_characters
from soilwater.words.units import number_to_house

OUT_OF_LINE = 2.5
"""A depth this many times the median, or below it, is asked about (our own choice)."""
_MOST_OF_FEW = 4.0  # the same where few others tell, and for how little one in its own unit may be
SAME_PROBE = 2.5
"""Two depths of one spot may differ by this much [cm], about one inch (common practice)."""

SHALLOWEST, DEEPEST = 14.0, 65.0
"""Between these [cm] lies the usual depth of a root zone: greens have 20 to 41 cm, caps of fields
from 15 cm and lows more (common practice, no source). A column of depths around
others is asked about."""

# Depths of a green lie within such a share of each other, and units are told by their ratio.
_EVEN, _NEAR = 0.6, 0.15
# Ratio of depths that ground may have, and so many places in a row that may be knolls or hollows
# (common practice, no source).
_GROUND, _FEW_PLACES = 4.0, 5
_BETWEEN = {
    ("in", "cm"): 2.54,
    ("cm", "in"): 1 / 2.54,
    ("cm", "mm"): 10.0,
    ("mm", "cm"): 0.1,
    ("in", "mm"): 25.4,
    ("mm", "in"): 1 / 25.4,
    ("ft", "in"): 12.0,
    ("in", "ft"): 1 / 12.0,
}


class _Depth(NamedTuple):
    """One depth as written, and the unit in its cell, if any."""

    spot: str
    where: str
    line: int
    value: float
    unit: str
    at_least: bool
    text: str


def read_depths(
    sheet: Sheet, rows: Sequence[Row], unit: str | None, depth_from: str | None
) -> None:
    """Read probe depths: fractions, feet, "12+" and "hit pipe".

    Parameters
    ----------
    sheet : Sheet
        Takes what is understood and what is wrong.
    rows : sequence of Row
        Rows of the green.
    unit : str or None
        Unit of bare numbers, before that of the sheet.
    depth_from : str or None
        Where depths were measured from, as in `read_survey`.
    """
    if "depth" not in sheet.columns:
        return
    column = sheet.columns["depth"][0]
    cells: list[_Depth] = []
    skipped = []
    for spot, number, row in rows:
        where = f"{sheet.text.line_word} {number} ({spot})"
        part, at_least = split_least(row[column])
        at_least = at_least or sheet.cell(row, "at_least").lower() == "yes"
        leave_out = f", or leave the row out with leave_out=({number},)"
        if ask_of_plus(row[column], sheet.faults, where, leave_out):
            continue
        try:
            value, own = number_in(part, sheet.text.decimal)
        except ValueError:
            if re.match(r"\d{4}-\d\d-\d\d\b", part):
                sheet.faults.add(
                    f'depth "{row[column]}" is a date: 12-3/8 and 12/3 become one in a workbook',
                    where=where,
                    cure=f"write it as text, or leave the row out with leave_out=({number},)",
                )
                continue
            skipped.append(f'{spot} "{row[column]}"')
            continue
        if value is not None and value not in MISSING_CODES and value <= 0.0:
            sheet.faults.add(
                f'depth "{row[column]}"',
                where=where,
                allowed="above 0",
                cure=f"if nothing was measured, say {say_missing([row[column]])}, or leave the "
                f"row out with leave_out=({number},)",
            )
        elif value is None or value in MISSING_CODES:
            skipped += [f"{spot} blank"] if not sheet.cell(row, "reading") else []
        else:
            cells.append(_Depth(spot, where, number, value, own, at_least, row[column].strip()))
    if skipped:
        sheet.notes.append(f"no depth: {', '.join(skipped)}")
    if unit is None and _ask_changed_unit(sheet, cells, sheet.text.units[column]):
        return
    if unit is None and not any(each.unit for each in cells):
        _ask_of_all(sheet, cells, sheet.text.units[column])
    bare = unit or sheet.text.units[column] or _unit_of_bare(sheet, cells, rows, column)
    below_mat = _below_mat(sheet, column, depth_from)
    if bare is None or below_mat is None:
        return
    for each in _in_line(sheet, cells, bare):
        with sheet.faults.catching(each.where):
            depth = number_to_house(f"{each.value!r} {each.unit or bare}", "length", "depth")
            _take_depth(sheet, each, depth)
    if below_mat:
        _add_mats(sheet, rows)
    else:
        sheet.notes.append("depths taken from the turf surface, mat included")


def _ask_changed_unit(sheet: Sheet, cells: Sequence[_Depth], unit: str) -> bool:
    """Ask about depths that from one row on are what another unit would make of the others."""
    bare = [each for each in cells if not each.unit and not each.at_least]
    values = np.array([each.value for each in bare])
    usual = values.size > 0 and _length(float(values.max()), unit) <= DEEPEST
    for at in range(2, values.size - 1):
        before, after = values[:at], values[at:]
        if max(np.ptp(before) / before.min(), np.ptp(after) / after.min()) > _EVEN:
            continue
        ratio = float(np.median(after) / np.median(before))
        few = min(at, values.size - at) < _FEW_PLACES
        if usual and few and 1 / _GROUND < ratio < _GROUND:
            continue
        units = [
            (first, second)
            for (first, second), factor in _BETWEEN.items()
            if unit in ("", first, second) and abs(math.log(ratio / factor)) < _NEAR
        ]
        if not units:
            continue
        first, second = units[0]
        parts = (
            f'{say_leave_out(each.line for each in bare[at:])}, depth_unit="{first}"',
            f'{say_leave_out(each.line for each in bare[:at])}, depth_unit="{second}"',
        )
        kept = f', or depth_unit="{unit}" if all are in {unit}' if unit else ""
        sheet.faults.add(
            f"depths of {before.min():g} to {before.max():g}, and {after.min():g} to "
            f"{after.max():g} from {bare[at].where} on, as {first} and {second} would be",
            where=f'column "{sheet.text.columns[sheet.columns["depth"][0]]}"',
            cure=f'write units into the cells ("{after[0]:g} {second}"), or read the parts one by '
            f"one with {parts[0]} and {parts[1]}{kept}",
        )
        return True
    return False


def _ask_of_all(sheet: Sheet, cells: Sequence[_Depth], unit: str) -> None:
    """Ask about depths of a green that no green has, where another unit gives ordinary ones."""
    if not cells or not unit:
        return
    middle = float(np.median([each.value for each in cells]))
    if SHALLOWEST <= _length(middle, unit) <= DEEPEST:
        return
    every = ("in", "cm", "mm", "ft", "m")
    likely = [each for each in every if SHALLOWEST <= _length(middle, each) <= DEEPEST]
    if likely:
        sheet.faults.add(
            f"depths around {middle:g} {unit} are {_length(middle, unit):.3g} cm; as {likely[0]} "
            f"they would be {_length(middle, likely[0]):.3g} cm",
            cure=f'confirm with depth_unit="{likely[0]}", or depth_unit="{unit}" if that is what '
            "they are",
        )


def _length(value: float, unit: str) -> float:
    try:
        return number_to_house(f"{value!r} {unit}", "length", "depth")
    except InputError:
        return math.nan


def _unit_of_bare(
    sheet: Sheet,
    cells: Sequence[_Depth],
    rows: Sequence[Row],
    column: int,
) -> str | None:
    """Find the unit of bare depths; inches where they are written the way only inches are."""
    if all(each.unit for each in cells):
        return "cm"
    fractions = [row[column] for _, _, row in rows if re.search(r"\d/\d|['\"]", row[column])]
    if fractions:
        sheet.notes.append(f'depths have no unit: inches, from cells such as "{fractions[0]}"')
        return "in"
    values = [each.value for each in cells if not each.unit]
    middle = float(np.median(values))
    guess = "in" if middle < 21.0 else "cm" if middle < 100.0 else "mm"
    sheet.faults.add(
        f"depths have no unit: {min(values):g} to {max(values):g} look like {guess}",
        cure=f'confirm with depth_unit="{guess}"',
    )
    return None


def _below_mat(sheet: Sheet, column: int, depth_from: str | None) -> bool | None:
    """Whether depths leave out the mat; None where they have another zero altogether."""
    header = sheet.header(column)
    if "collar" in header and depth_from is None:
        sheet.faults.add(
            f'column "{sheet.text.columns[column]}": the zero of all depths here is the turf '
            "surface, not the collar",
            cure='measure again, or say depth_from="turf surface" if that is what it was',
        )
        return None
    if depth_from is None:
        return re.search(r"(below|without|excl\w*) (the )?(mat|thatch)", header) is not None
    return depth_from == "below mat"


def _in_line(sheet: Sheet, cells: Sequence[_Depth], bare: str) -> Iterable[_Depth]:
    """Pass depths in line with the others; ask about those far off."""
    values = [each.value for each in cells if not each.unit]
    middle = float(np.median(values)) if len(values) > 3 else math.nan
    every = [_centimetres(each, each.unit or bare) for each in cells]
    units = Counter(each.unit for each in cells)
    usual = bare if units[""] else units.most_common(1)[0][0] if units else bare
    many = len(every) > 3
    whole = float(np.median(every)) if many else math.nan
    most = OUT_OF_LINE if many else _MOST_OF_FEW
    for i, (each, depth) in enumerate(zip(cells, every, strict=True)):
        rest = [] if many else [*every[:i], *every[i + 1 :]]
        among = float(np.median(rest)) if rest else whole
        value = each.value
        ratio = value / middle if not each.unit and middle > 0.0 else 1.0
        apart = _taken_apart(each.text)
        if apart:
            sheet.faults.add(
                f'depth "{each.text}" can be {value:g} or {apart}',
                where=each.where,
                cure=f'write "{apart}", or leave the row out with leave_out=({each.line},)',
            )
        elif ratio >= OUT_OF_LINE or ratio <= 1.0 / OUT_OF_LINE:
            readings = [unit for unit in ("mm", "cm", "in") if unit != bare]
            sheet.faults.add(
                f"depth {value:g} is {ratio:.2g} times the median {middle:g} {bare}: "
                f"{readings[0]}? {readings[1]}? a slip, {value / 10:g}?",
                where=each.where,
                cure=f'correct it, or write its unit in the cell ("{value:g} {bare}"), or '
                f"leave the row out with leave_out=({each.line},)",
            )
        elif (
            _differs(each, usual)
            and among > 0.0
            and not math.isnan(depth)
            and not 1.0 / _MOST_OF_FEW <= depth / among <= most
        ):
            number = 12.0 if _in_feet(each) else 1.0
            fitting = [
                f'"{value / number:g} {unit}" ({inside:.3g} cm)'
                for unit in ("in", "cm", "mm")
                if unit != each.unit or number != 1.0
                for inside in (number_to_house(f"{value / number!r} {unit}", "length", "depth"),)
                if 1.0 / OUT_OF_LINE < inside / among < OUT_OF_LINE
            ]
            sheet.faults.add(
                f'depth "{each.text}" is {depth:.3g} cm, {depth / among:.2g} times the median of '
                f"{among:.3g} cm",
                where=each.where,
                cure=f"write {' or '.join(fitting) or 'what was measured'}, or leave the row out "
                f"with leave_out=({each.line},)",
            )
        else:
            yield each


def _differs(depth: _Depth, usual: str) -> bool:
    """Whether a cell states another unit than the column's; the same one confirms its number."""
    stated = bool(depth.unit) and _centimetres(depth, depth.unit) != _centimetres(depth, usual)
    return stated or _in_feet(depth)


def _in_feet(depth: _Depth) -> bool:
    return re.search(r"ft|feet|foot|'", plain_characters(depth.text)) is not None


def _centimetres(depth: _Depth, unit: str) -> float:
    """Depth in centimetres; NaN where its unit is none of length, which is told elsewhere."""
    return _length(depth.value, unit)


def _taken_apart(text: str) -> str:
    """Whole number and fraction that may have been run together: "12 1/2" of "121/2"."""
    match = re.match(r"\D*(\d+)(\d)\s*/\s*(\d+)\s*(.*)", plain_characters(text))
    if match is None:
        return ""
    whole, top, bottom, rest = match.groups()
    if re.search(r"\d[\s-]+\d+\s*/", plain_characters(text)) or not int(top) < int(bottom) < int(
        whole + top
    ):
        return ""
    return f"{whole} {top}/{bottom} {rest}".strip()


def _take_depth(sheet: Sheet, written: _Depth, depth: float) -> None:
    spot, at_least = written.spot, written.at_least
    kept = sheet.found[spot]
    if "depth" not in kept:
        kept.update(depth=depth, depth_at_least=at_least)
    elif kept["depth_at_least"] or at_least:
        measured = [
            d
            for d, least in ((kept["depth"], kept["depth_at_least"]), (depth, at_least))
            if not least
        ]
        kept["depth"] = measured[0] if measured else max(kept["depth"], depth)
        kept["depth_at_least"] = not measured
    elif abs(kept["depth"] - depth) > SAME_PROBE:
        sheet.faults.add(
            f"{spot} is {depth:.1f} cm deep here and {kept['depth']:.1f} cm above",
            where=written.where,
            cure="a stone, a layer or a slip: keep the depth you believe with "
            f"leave_out=({written.line},) or leave_out=({sheet.lines[spot][0]},)",
        )
    elif kept["depth"] != depth:
        sheet.notes.append(f"{spot}: first depth of several kept, they agree to an inch")


def _add_mats(sheet: Sheet, rows: Sequence[Row]) -> None:
    for spot in dict.fromkeys(spot for spot, _, _ in rows):
        cell = next((sheet.cell(r, "mat_thickness") for s, _, r in rows if s == spot), "")
        if "depth" not in sheet.found[spot]:
            continue
        if not cell:
            sheet.faults.add(
                "its depth was measured from below the mat and no mat thickness is given",
                where=spot,
                cure='add a column "mat (cm)"',
            )
            continue
        with sheet.faults.catching(spot):
            sheet.found[spot]["depth"] += sheet.with_unit(cell, "mat_thickness", "length", "")
    sheet.notes.append("depths measured from below the mat: its thickness was added")
