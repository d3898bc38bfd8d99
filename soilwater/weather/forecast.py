"""Weather to come: forecasts as services and spreadsheets give them, and what a season brings.

A forecast is read as a station file is, member by member; `join_weather` puts it behind the
station's past without a gap or an overlap, and `usual_weather` behind the forecast what the same
days brought before. Nothing is fetched from anywhere.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, Literal

import numpy as np

from soilwater.weather.reference_et import Site
from soilwater.weather.series import Weather
from soilwater.weather.station.files import read_station
from soilwater.weather.stretches import stretches
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Date
from soilwater.words.renamed import mind_words
from soilwater.words.stamps import STANDARD
from soilwater.words.text_tables import TextTable, read_text_table
from soilwater.words.times import as_time, stamp

_MEMBER = r"member|ensemble|run|scenario|realisation|realization|version"
_MEMBER_COLUMN = re.compile(rf"(?:{_MEMBER})(?:\s*(?:no|number|id))?\.?", re.IGNORECASE)
_MEMBER_OF = re.compile(
    rf"(.+?)[\s_.,-]*\(?(?:{_MEMBER})[\s_.-]*0*(\d+)\)?", re.IGNORECASE | re.DOTALL
)
MOST_MEMBERS = 100
"""More members than this are no ensemble but a table that was misread (our own choice)."""


@mind_words()
def read_forecast(
    source: Any,
    *,
    reference_et: Literal["file", "fao56", "asce", "hargreaves"] = "file",
    sheet: str | None = None,
    sunrise: float = 6.0,
    sunset: float = 18.0,
    label: Literal["start", "end"] | None = None,
    site: Site | None = None,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    time_zone: str = STANDARD,
    day_first: bool | None = None,
    cumulative: str | Sequence[str] = (),
    missing: float | str | Sequence[float | str] = (),
) -> tuple[Weather, ...]:
    """Read a forecast: hourly or daily, of one member or several that are equally likely.

    The step may grow on the way, from hours to three or six hours or days.

    Members stand below one another, told apart by a column "member" (or "run", "ensemble",
    "scenario"); side by side, in columns such as "rain member 2 (mm)"; or in several files.

    Parameters
    ----------
    source : path, DataFrame or mapping, or a list of these
        The tables.
    reference_et : {"file", "fao56", "asce", "hargreaves"}, optional
        Where reference evapotranspiration comes from, as for `StationRecord.to_weather`.
    sheet : str, optional
        Sheet of a workbook.
    sunrise, sunset : float, optional
        Hours of the day between which the demand of daily steps falls [h].
    label : {"start", "end"}, optional
        What the time of a row marks, as of all that follows for `read_station`.
    site : Site, optional
        Where the forecast is for.
    columns : mapping of str to str, optional
        Column of the file by what it holds.
    units : mapping of str to str, optional
        Unit by what a column holds.
    time_zone : str, optional
        Time zone of the stamps.
    day_first : bool, optional
        Whether 03/04 is the third of April.
    cumulative : str or sequence of str, optional
        What runs on as a total.
    missing : float, str or sequence of these, optional
        What marks a missing value.

    Returns
    -------
    tuple of Weather
        One for each member, all over the same span.

    Raises
    ------
    InputError
        With every fault of every member, as `read_station` and `StationRecord.to_weather` tell
        them; and where members do not span the same time.

    Examples
    --------
    >>> table = {
    ...     "date": ["2025-06-10", "2025-06-11"], "rain (mm)": [0.0, 2.5],
    ...     "ET0 member 1 (mm)": [4.8, 3.9], "ET0 member 2 (mm)": [5.1, 4.4],
    ... }
    >>> [round(float(each.reference_et.sum()), 1) for each in read_forecast(table)]
    [8.7, 9.5]
    """
    given = partial(
        read_station,
        label=label,
        site=site,
        columns=columns,
        units=units,
        time_zone=time_zone,
        day_first=day_first,
        cumulative=cumulative,
        missing=missing,
    )
    sources = list(source) if isinstance(source, (list, tuple)) else [source]
    faults = Faults("Forecast")
    members: list[Weather] = []
    # What ails one member most often ails all: it is told once.
    told: dict[str, None] = {}
    for each in sources:
        for table in _members(read_text_table(each, sheet=sheet)):
            parts = stretches(table, label=label, columns=columns, day_first=day_first)
            try:
                if len(parts) > 1 and cumulative:
                    raise InputError(
                        f"{table.source}: a running total over steps that change cannot be taken "
                        "apart; give amounts of each step."
                    )
                made: list[Weather] = []
                for each in parts:
                    record = given(each)
                    part = record.to_weather(reference_et, sunrise=sunrise, sunset=sunset)
                    steps = f", steps of {record.step:g} h" if len(parts) > 1 else ""
                    called = part.name or f"forecast {table.source}"
                    made.append(replace(part, name=f"{called}{steps}"))
                members.append(_one_after_another(made))
            except InputError as error:
                told |= dict.fromkeys(error.faults if len(error.faults) > 1 else (str(error),))
    for fault in told:
        faults.add(fault)
    for i, member in enumerate(members[1:], start=2):
        if (member.start, member.end) != (members[0].start, members[0].end):
            faults.add(
                f"spans {_span(member)}",
                where=f"member {i} ({member.source})",
                allowed=f"{_span(members[0])}, as the first",
            )
    if not members and not len(faults):
        faults.add("there is none", cure="give at least one table")
    faults.raise_if_any()
    return tuple(members)


def _one_after_another(parts: Sequence[Weather]) -> Weather:
    """Put stretches of one member behind one another; notes say where their steps change."""
    whole = parts[0]
    for each in parts[1:]:
        (whole,) = join_weather(whole, each)
    return whole


def _members(table: TextTable) -> list[TextTable]:
    """Take a table apart into one for each member it holds."""
    names = [each.strip() for each in table.columns]
    column = next((i for i, each in enumerate(names) if _MEMBER_COLUMN.fullmatch(each)), None)
    if column is not None:
        which = [row[column] for row in table.rows]
        own = [[each == member for each in which] for member in _few(which, table)]
        kept = [i for i in range(len(names)) if i != column]
        return [
            _part(table, [i for i, mine in enumerate(rows) if mine], kept, names) for rows in own
        ]
    matches = [_MEMBER_OF.fullmatch(each) for each in names]
    numbers = _few([match[2] for match in matches if match], table)
    if not numbers:
        return [table]
    every = range(len(table.rows))
    members = []
    for number in numbers:
        kept = [i for i, match in enumerate(matches) if match is None or match[2] == number]
        plain = [match[1] if (match := matches[i]) else names[i] for i in range(len(names))]
        members.append(_part(table, list(every), kept, plain))
    return members


def _few(members: Sequence[str], table: TextTable) -> list[str]:
    found = list(dict.fromkeys(members))
    if len(found) > MOST_MEMBERS:
        raise InputError(
            f"{table.source}: {len(found)} members; allowed: {MOST_MEMBERS}; look whether the "
            "column that tells them apart does."
        )
    return found


def _part(
    table: TextTable, rows: Sequence[int], columns: Sequence[int], names: Sequence[str]
) -> TextTable:
    return replace(
        table,
        columns=tuple(names[i] for i in columns),
        units=tuple(table.units[i] for i in columns),
        rows=tuple(tuple(table.rows[row][i] for i in columns) for row in rows),
        line_numbers=tuple(table.line_numbers[row] for row in rows),
    )


@mind_words()
def join_weather(
    first: Weather | Sequence[Weather],
    then: Weather | Sequence[Weather],
    *,
    overlap: Literal["first", "then"] | None = None,
) -> tuple[Weather, ...]:
    """Put weather behind weather: a forecast behind a station's past, member by member.

    Parameters
    ----------
    first, then : Weather or sequence of Weather
        What comes before, and what comes after; of several members the shorter list begins again
        until the longer one ends.
    overlap : {"first", "then"}, optional
        Which of the two counts where both have something to say; asked where it is left out.

    Returns
    -------
    tuple of Weather
        Each with a note that says from when on it is what comes after.

    Raises
    ------
    InputError
        If nothing is known between the two, or they overlap and nothing says which counts.
    """
    before, after = _several(first), _several(then)
    faults = Faults("join_weather")
    if overlap not in (None, "first", "then"):
        faults.add(f"overlap is {overlap!r}", allowed='"first" or "then"')
    if not (before and after):
        faults.add("there is no weather to join", allowed="a Weather, or several, on each side")
    faults.raise_if_any()
    end = max(each.end for each in before)
    begin = min(each.start for each in after)
    if min(each.end for each in before) != end or max(each.start for each in after) != begin:
        faults.add("members end or begin at different times", cure="cut them with Weather.between")
    elif begin > end:
        faults.add(
            f"nothing is known from {stamp(end)} to {stamp(begin)}",
            cure="missing is not dry: add the hours between to either of the two",
        )
    elif begin < end and overlap is None:
        faults.add(
            f"both know {stamp(begin)} to {stamp(min(end, after[0].end))}",
            cure='say which counts there: overlap="first" (what was measured) or overlap="then"',
        )
    elif overlap == "first" and any(each.end <= end for each in after):
        faults.add(
            f"what comes after ends at {stamp(after[0].end)}, when the first still goes on",
            cure="take a newer one",
        )
    faults.raise_if_any()
    joint = end if overlap != "then" else begin
    count = max(len(before), len(after))
    return tuple(
        _joined(before[i % len(before)], after[i % len(after)], joint) for i in range(count)
    )


def _joined(first: Weather, then: Weather, joint: np.datetime64) -> Weather:
    if joint <= first.start:
        return then
    head = first if first.end == joint else first.between(first.start, joint)
    tail = then if then.start == joint else then.between(joint, then.end)
    label = tail.name or tail.source
    told = f"from {stamp(joint)} on{': ' + label if label else ' as joined'}"
    return Weather(
        np.concatenate([head.edges, tail.edges[1:]]),
        np.concatenate([head.rain, tail.rain]),
        np.concatenate([head.reference_et, tail.reference_et]),
        np.concatenate([head.demand_shape, tail.demand_shape]),
        np.concatenate([head.filled, tail.filled]),
        name=head.name,
        source="; ".join(dict.fromkeys(filter(None, (head.source, tail.source)))),
        notes=tuple(dict.fromkeys((*head.notes, told, *tail.notes))),
    )


@mind_words()
def usual_weather(
    history: Weather | Sequence[Weather],
    begin: Date,
    days: int,
    *,
    within: int = 10,
    members: int = 8,
) -> tuple[Weather, ...]:
    """Take for days to come what the same season brought before, as it fell.

    Parameters
    ----------
    history : Weather or sequence of Weather
        The station's past, in one piece or several without gaps.
    begin : datetime64 or str
        First instant to come.
    days : int
        How many days.
    within : int, optional
        How many days a past stretch may begin before or after this day of the year [d].
    members : int, optional
        At most so many stretches, spread evenly over those there are.

    Returns
    -------
    tuple of Weather
        Equally likely, each a stretch of the past moved to `begin`; rain and demand of a day stay
        together.

    Raises
    ------
    InputError
        If no stretch of the history begins near enough to that day of a year.
    """
    pieces = _several(history)
    start = as_time(begin, "begin")
    faults = Faults("usual_weather")
    faults.need_whole("days", days, 1)
    faults.need_whole("members", members, 1)
    faults.raise_if_any()
    length = np.timedelta64(days, "D")
    found: list[tuple[np.datetime64, Weather]] = []
    for piece in pieces:
        for year in range(200):
            # Years of 365.2425 days, to the day.
            back = np.timedelta64(round(year * 365.2425), "D")
            for offset in range(-within, within + 1):
                at = start - back + np.timedelta64(offset, "D")
                past = at + length <= min(start, piece.end)
                if past and at >= piece.start:
                    found.append((at, piece))
            if start - back < piece.start - np.timedelta64(within, "D"):
                break
    if not found:
        faults.add(
            f"no stretch of {days} days begins within {within} days of {stamp(start)[5:10]} in "
            f"{', '.join(_span(each) for each in pieces) or 'an empty history'}",
            cure="give a longer history, or say what demand is expected",
        )
        faults.raise_if_any()
    found.sort(key=lambda each: each[0])
    chosen = np.unique(np.linspace(0, len(found) - 1, min(members, len(found))).round().astype(int))
    years = sorted({str(found[i][0])[:4] for i in chosen})
    name = f"as the season was in {', '.join(years)}"
    return tuple(_moved(found[i][1], found[i][0], length, start, name) for i in chosen)


def _moved(
    piece: Weather, at: np.datetime64, length: np.timedelta64, start: np.datetime64, name: str
) -> Weather:
    cut = piece.between(at, at + length)
    return replace(cut, edges=cut.edges + (start - at), name=name, notes=())


def _several(weather: Weather | Sequence[Weather]) -> tuple[Weather, ...]:
    return (weather,) if isinstance(weather, Weather) else tuple(weather)


def _span(weather: Weather) -> str:
    return f"{stamp(weather.start)} to {stamp(weather.end)}"
