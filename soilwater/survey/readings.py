"""Meter readings of a survey sheet: their scale, rods, times and meters."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container, Mapping, Sequence

import numpy as np

from soilwater.survey.columns import Row, Sheet
from soilwater.survey.repeats import repeats_of, told_of_repeats
from soilwater.survey.survey import Reading, Spot, rod_list
from soilwater.words.set_right import say_columns, say_leave_out, say_missing
from soilwater.words.stamps import read_stamps
from soilwater.words.times import stamp
from soilwater.words.unit_choice import worded
from soilwater.words.units import number_to_house

END_OF_A_SCALE = 10.0
"""Where the scale of simple meters ends, which tell dry from wet and not how much (common
practice, no source)."""


def read_readings(
    sheet: Sheet,
    rows: Sequence[Row],
    rod: float | None,
    day_first: bool | None,
    unit: str | None,
) -> None:
    """Read meter readings with their rods, times and meters.

    Parameters
    ----------
    sheet : Sheet
        Takes what is understood and what is wrong.
    rows : sequence of Row
        Rows of the green.
    rod : float or None
        Length of the rods [cm], before that of the sheet.
    day_first : bool or None
        Order of day and month, as in `read_survey`.
    unit : str or None
        Unit of bare readings, where the sheet has none.
    """
    values: list[tuple[str, str, int, float, int, tuple[str, ...]]] = []
    for column in sheet.columns.get("reading", []):
        header = sheet.header(column)
        if re.search(r"field capacity|\bof fc\b|saturation", header):
            sheet.faults.add(
                f'column "{header}": do you mean % by volume or % of field capacity?',
                cure="give % by volume: a sand has no field capacity of its own; to leave it out, "
                f"say {say_columns(unused=sheet.text.columns[column])}",
            )
            continue
        if re.search(r"mass|weight|w/w|grav", header):
            sheet.faults.add(
                f'column "{header}": water by mass',
                cure="multiply by the bulk density first, or leave it out with "
                + say_columns(unused=sheet.text.columns[column]),
            )
            continue
        values += _scaled(sheet, rows, column, unit)
    if not values:
        return
    times = _times(sheet, rows, day_first)
    doubtful: dict[str, list[str]] = {}
    lines: dict[str, list[int]] = {}
    without_rod = 0
    for spot, where, number, value, column, row in values:
        length = rod if rod is not None else _rod(sheet, row, column, where)
        if length is None:
            without_rod += 1
            continue
        with sheet.faults.catching(where):
            meter = sheet.cell(row, "meter")
            reading = Reading(value, rod=length, time=times.get(number), meter=meter)
            sheet.found[spot]["readings"].append(reading)
            lines.setdefault(spot, []).append(number)
            if reading.doubt:
                doubtful.setdefault(reading.doubt, []).append(f"{spot} {100 * value:.1f} %")
    if without_rod and not sheet.columns.get("rod"):
        sheet.faults.add(
            "readings have no rod length, and rods of different length do not compare",
            cure='give rod="3 in", or a column "rod (in)"',
        )
    for doubt, which in doubtful.items():
        sheet.notes.append(f"kept on the map, left out of means: {', '.join(which)} ({doubt})")
    _ask_repeats(sheet, rows, lines, times)
    _note_visits(sheet)


def _scaled(
    sheet: Sheet, rows: Sequence[Row], column: int, unit: str | None
) -> list[tuple[str, str, int, float, int, tuple[str, ...]]]:
    """Take the readings of a column as fractions."""
    taken = []
    beyond: list[tuple[str, str]] = []
    for spot, number, row in rows:
        where = f"{sheet.text.line_word} {number} ({spot})"
        value, own = sheet.number(row[column], where)
        if value is None:
            continue
        if value < 0.0 or value > 100.0:
            beyond.append((where, row[column]))
            continue
        taken.append((spot, where, number, value, own, row))
    _ask_beyond(sheet, column, beyond, len(taken))
    header = sheet.header(column)
    stated = "%" in header or "percent" in header or any(own for *_, own, _ in taken)
    if unit == "1" and not stated:
        return [
            (spot, where, number, value, column, row)
            for spot, where, number, value, _, row in taken
        ]
    stated = stated or unit == "%"
    high = [each for each in taken if each[3] > 1.0]
    low = [each for each in taken if 0.0 < each[3] <= 1.0]
    if not stated and high and low:
        fewer = min(high, low, key=len)
        sheet.faults.add(
            f"mixed fractions and per cents: {', '.join(where for _, where, *_ in fewer)}",
            cure="write them all alike, or leave these out with "
            + say_missing(row[column] for *_, row in fewer),
        )
        return []
    per_cent = stated or bool(high)
    values = [value for *_, value, _, _ in taken]
    if not stated and high and max(values) <= END_OF_A_SCALE:
        sheet.faults.add(
            f'column "{sheet.text.columns[column]}": readings of {min(values):g} to '
            f"{max(values):g} can be % by volume, a very dry sand, or a meter's scale of 1 to 10, "
            "which is no water content",
            cure='say reading_unit="%" if they are % by volume; if not, leave the column out with '
            + say_columns(unused=sheet.text.columns[column]),
        )
        return []
    _ask_lost_factors(sheet, taken, per_cent)
    if not stated and taken:
        sheet.notes.append(f"readings taken as {'% by volume' if per_cent else 'fractions'}")
    scale = 0.01 if per_cent else 1.0
    return [
        (spot, where, number, scale * value, column, row)
        for spot, where, number, value, _, row in taken
    ]


def _ask_beyond(sheet: Sheet, column: int, beyond: Sequence[tuple[str, str]], others: int) -> None:
    """Ask about readings that no water content has: slips, or another scale altogether."""
    if beyond and len(beyond) > others:
        sheet.faults.add(
            f'column "{sheet.text.columns[column]}": readings such as {beyond[0][1]} are no water '
            "content: counts, or another quantity?",
            allowed="0 to 100 %",
            cure=f"to leave the column out, say {say_columns(unused=sheet.text.columns[column])}",
        )
        return
    for where, cell in beyond:
        sheet.faults.add(
            f"a reading of {cell}",
            where=where,
            allowed="0 to 100 %",
            cure=f"if nothing was measured there, say {say_missing(c for _, c in beyond)}",
        )


def _ask_lost_factors(
    sheet: Sheet,
    taken: Sequence[tuple[str, str, int, float, str, tuple[str, ...]]],
    per_cent: bool,
) -> None:
    """Ask about a fraction among per cents: 0.21 where all others are about 21."""
    others = [value for *_, value, _, _ in taken if value > 1.0]
    if not per_cent or not others:
        return
    lost = [
        each
        for each in taken
        if 0.0 < each[3] < 1.0
        and not each[4]
        and min(others) / 2.0 <= 100.0 * each[3] <= 2.0 * max(others)
    ]
    if len(lost) > 2:
        values = sorted({value for *_, value, _, _ in lost})
        rest = [number for _, _, number, value, *_ in taken if value > 1.0]
        sheet.faults.add(
            f"{len(lost)} readings of {values[0]:g} to {values[-1]:g} among {min(others):g} to "
            f"{max(others):g} %: fractions, the first in {lost[0][1]}",
            cure=f'write them alike ("{100.0 * values[0]:g} %"), leave them out with '
            f"{say_leave_out(number for _, _, number, *_ in lost)}, or the others with "
            f"{say_leave_out(rest)}",
        )
        return
    for _, where, _, value, _, _ in lost:
        sheet.faults.add(
            f"a reading of {value:g} among {min(others):g} to {max(others):g} %: "
            f"{value:g} %, or the fraction {value:g}, {100.0 * value:g} %",
            where=where,
            cure=f'write "{100.0 * value:g} %" or "{value:g} %", or leave it out with '
            f"missing=({value:g},)",
        )


def _rod(sheet: Sheet, row: Sequence[str], column: int, where: str) -> float | None:
    """Length of the rods of one reading [cm], from its column's header or its row."""
    match = re.search(r"(\d[\d. /]*?)\s*-?(in|cm|mm)\b", sheet.header(column))
    if match is not None:
        return number_to_house(f"{match[1].strip()} {match[2]}", "length", "rod")
    if "rod" not in sheet.columns:
        return None
    length: float | None = None
    with sheet.faults.catching(where):
        length = sheet.with_unit(sheet.cell(row, "rod"), "rod", "length", "")
    return length


def _times(sheet: Sheet, rows: Sequence[Row], day_first: bool | None) -> dict[int, np.datetime64]:
    dated = [(number, row) for _, number, row in rows if sheet.cell(row, "date")]
    if not dated:
        return {}
    clocks = [sheet.cell(row, "clock") for _, row in dated] if "clock" in sheet.columns else None
    lines = [number for number, _ in dated]
    dates = [sheet.cell(row, "date") for _, row in dated]
    times: dict[int, np.datetime64] = {}
    with sheet.faults.catching():
        stamps = read_stamps(dates, clocks, lines, day_first, sheet.text.source)
        shown = ", ".join(stamp(each) for each in stamps.time[:3])
        sheet.notes += [*stamps.notes, f"first times read: {shown}"]
        times.update(zip(lines, stamps.time, strict=True))
    return times


def _ask_repeats(
    sheet: Sheet, rows: Sequence[Row], lines: Mapping[str, Sequence[int]], dated: Container[int]
) -> None:
    """Leave out lines that are written twice, and ask about others that repeat readings.

    Parameters
    ----------
    sheet : Sheet
        With the readings.
    rows : sequence of Row
        Rows of the green.
    lines : mapping of str to sequence of int
        By spot, the line of each of its readings.
    dated : container of int
        Lines with a time.
    """
    spots = [Spot(name, readings=sheet.found[name]["readings"]) for name in lines]
    again = repeats_of(spots)
    count = Counter(number for of_spot in lines.values() for number in of_spot)
    count.subtract(lines[name][i] for name, places in again.items() for i in places)
    whole = {number for number, left in count.items() if not left}
    seen: set[tuple[str, ...]] = set()
    twice = set()
    for _, number, row in rows:
        if row in seen and number in whole and number in dated:
            twice.add(number)
        seen.add(row)
    if twice:
        word = sheet.text.line_word
        told = ", ".join(f"{word} {number}" for number in sorted(twice))
        sheet.notes.append(f"written twice, left out: {told}")
        for name, of_spot in lines.items():
            read = sheet.found[name]["readings"]
            kept = [each for each, line in zip(read, of_spot, strict=True) if line not in twice]
            sheet.found[name]["readings"] = kept
    asked = sorted(whole - twice)
    told_of = told_of_repeats(spots)
    if asked:
        sheet.faults.add(
            f"readings {told_of}",
            where=f"{sheet.text.line_word} {asked[0]}",
            cure=f"leave out what was written again, {say_leave_out(asked)}; if they are two "
            "pushes, write their times a minute apart",
        )
    elif told_of and not twice:
        sheet.notes.append(f"readings {told_of}")


def _note_visits(sheet: Sheet) -> None:
    every = [reading for spot in sheet.found.values() for reading in spot["readings"]]
    rods = sorted({reading.rod for reading in every})
    if len(rods) > 1:
        why = "mixed: their readings do not compare; split with Survey.with_rod"
        sheet.notes.append(worded(lambda: f"{rod_list(rods)} {why}"))
    meters = sorted({reading.meter for reading in every if reading.meter})
    days = {np.datetime64(reading.time, "D") for reading in every if reading.time is not None}
    if len(meters) > 1:
        visits = f"{len(days)} days and " if len(days) > 1 else ""
        sheet.notes.append(
            f"{visits}{len(meters)} meters ({', '.join(meters)}): a difference between them is "
            "an offset of meter or rod first, not a trend"
        )
