"""The weather of a site: its station's past, the forecast behind it, and the season behind both."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from soilwater.site.parts import Part
from soilwater.weather.forecast import join_weather, read_forecast, usual_weather
from soilwater.weather.made import steady_weather
from soilwater.weather.reference_et import Site
from soilwater.weather.series import Weather
from soilwater.weather.station.files import read_station
from soilwater.weather.station.record import StationRecord
from soilwater.words.errors import Faults, InputError
from soilwater.words.quantities import one_writing
from soilwater.words.times import stamp
from soilwater.words.unit_choice import worded

MOST_DAYS = 14
"""Days ahead beyond which no morning's plan reaches (our own choice)."""
TABLE_WORDS = (
    "file", "files", "label", "reference_et", "time_zone", "day_first", "units", "columns",
    "cumulative",
)  # fmt: skip
"""Words of a weather table; most are arguments of `read_station`."""
PLACE_WORDS = ("latitude", "longitude", "elevation", "utc_offset")
"""Words of the place of the station."""


@dataclass(frozen=True)
class WeatherTable:
    """Files of weather, and what they leave open, by the names `read_station` has for it."""

    files: tuple[Path, ...]
    settings: tuple[tuple[str, Any], ...] = ()


@dataclass(frozen=True, eq=False)
class SiteWeather:
    """Weather as a site file names it.

    Attributes
    ----------
    days : int
        Days that a plan looks ahead, this day with them.
    expected : tuple of float
        Reference evapotranspiration of dry days [mm/day], each as likely as the next, for days
        that nothing else tells of.
    station, forecast : WeatherTable or None
        Where the past and the forecast stand.
    place : Site or None
        Where the station stands.
    overlap : str
        Which of "station" and "forecast" counts where both tell; empty where it is not said.
    past : tuple of Weather
        What the station measured, in pieces without gaps.
    coming : tuple of Weather
        Members of the forecast.
    """

    days: int = 6
    expected: tuple[float, ...] = ()
    station: WeatherTable | None = None
    forecast: WeatherTable | None = None
    place: Site | None = None
    overlap: str = ""
    past: tuple[Weather, ...] = ()
    coming: tuple[Weather, ...] = ()

    def ahead(
        self, day: np.datetime64, days: int | None = None
    ) -> tuple[tuple[Weather, ...], tuple[str, ...]]:
        """Put together the days ahead, from the midnight before a morning on.

        Parameters
        ----------
        day : datetime64
            The morning's day.
        days : int, optional
            How many; those of the file when left out.

        Returns
        -------
        members : tuple of Weather
            Equally likely.
        notes : tuple of str
            What each stretch of time stands on.

        Raises
        ------
        InputError
            If a stretch is told of by nothing.
        """
        begin = day.astype("datetime64[ns]")
        end = begin + np.timedelta64(self.days if days is None else days, "D")
        notes: list[str] = []
        members: tuple[Weather, ...] = ()
        measured = [each for each in self.past if each.start <= begin < each.end]
        if measured:
            members = (measured[0].between(begin, min(measured[0].end, end)),)
            notes.append(f"to {stamp(members[0].end)} the station")
        if self.coming and (not members or members[0].end < end):
            members = self._with_forecast(members, begin, end, notes)
        reached = members[0].end if members else begin
        if reached < end:
            rest = self._beyond(reached, end, notes)
            members = join_weather(members, rest) if members else rest
        return tuple(each.between(begin, end) for each in members), tuple(notes)

    def _with_forecast(
        self,
        members: tuple[Weather, ...],
        begin: np.datetime64,
        end: np.datetime64,
        notes: list[str],
    ) -> tuple[Weather, ...]:
        reached = members[0].end if members else begin
        last = self.coming[0].end
        if last <= reached:
            notes.append(f"the forecast ends at {stamp(last)} and is of no use any more")
            return members
        if not members and self.coming[0].start > begin:
            raise InputError(
                f"weather: the forecast begins at {stamp(self.coming[0].start)}, and the plan at "
                f"{stamp(begin)}; name the station's file, or a forecast from that midnight on."
            )
        which: dict[str, Any] = {"station": "first", "forecast": "then", "": None}
        if members:
            try:
                members = join_weather(members, self.coming, overlap=which[self.overlap])
            except InputError as error:
                raise InputError(str(error).removeprefix("join_weather: ")) from None
        else:
            members = tuple(each.between(begin, each.end) for each in self.coming)
        count = len(self.coming)
        notes.append(
            f"to {stamp(min(last, end))} the forecast"
            + (f", {count} members as likely as one another" if count > 1 else "")
        )
        return members

    def _beyond(
        self, reached: np.datetime64, end: np.datetime64, notes: list[str]
    ) -> tuple[Weather, ...]:
        """Weather that the season usually brings, or that the file expects."""
        days = int(np.ceil((end - reached) / np.timedelta64(1, "D")))
        begun = f"from {stamp(reached)} on" if notes else f"all {self.days} days"
        if self.past:
            try:
                usual = usual_weather(self.past, reached, days)
            except InputError:
                # The station has no such season yet.
                pass
            else:
                notes.append(f"{begun} what the same days brought before, {usual[0].name}")
                return usual
        if not self.expected:
            raise InputError(
                f"weather: nothing tells of the days from {stamp(reached)} on; say what is "
                'expected, such as expected = ["4.5 mm/day", "5.5 mm/day"] below [weather].'
            )
        midnight = reached.astype("datetime64[D]")

        def told() -> str:
            demand = one_writing("evapotranspiration")
            demands = ", ".join(f"{demand.of(each):.3g}" for each in self.expected)
            return (
                f"{begun} dry days at {demands} {demand.unit} of reference evapotranspiration, "
                "each as likely as the next, as the site file expects"
            )

        notes.append(worded(told))
        return tuple(
            steady_weather(days + 1, each, first_day=midnight).between(reached, end)
            for each in self.expected
        )


def read_site_weather(part: Part, folder: Path, now: np.datetime64) -> SiteWeather:
    """Read what stands below [weather], and the tables it names.

    Parameters
    ----------
    part : Part
        That table of the site file.
    folder : Path
        Folder of the site file.
    now : datetime64
        A station has measured nothing later than a day after this.
    """
    part.know(("days", "expected", "overlap", "station", "forecast", "place"))
    found = part.given("expected")
    values = [] if found is None else found if isinstance(found, list) else [found]
    expected = tuple(part.measured(each, "evapotranspiration", "expected") for each in values)
    days = part.given("days")
    days = 6 if days is None else days
    if type(days) is not int or not 1 <= days <= MOST_DAYS:
        part.faults.add(f"days is {days!r}", where=part.where("days"), allowed=f"1 to {MOST_DAYS}")
        days = 6
    overlap = part.text("overlap")
    if overlap not in ("", "station", "forecast"):
        part.faults.add(
            f'overlap is "{overlap}"',
            where=part.where("overlap"),
            allowed='"station" or "forecast", whichever counts where both tell',
        )
    place = _place(part.part("place")) if "place" in part else None
    station = _table(part, "station", folder)
    forecast = _table(part, "forecast", folder)
    if station is None and forecast is None and not expected:
        part.faults.add(
            "there is no weather to come",
            where=part.where(),
            cure='say what is expected: [weather] expected = ["4.5 mm/day", "5.5 mm/day"]',
        )
    past: tuple[Weather, ...] = ()
    coming: tuple[Weather, ...] = ()
    if station is not None:
        with part.faults.catching(part.where("station")):
            past = _past(station, place)
            if past and past[-1].end > now + np.timedelta64(1, "D"):
                raise InputError(
                    f"the station's last step ends in the future, {stamp(past[-1].end)}."
                )
    if forecast is not None:
        with part.faults.catching(part.where("forecast")):
            given = dict(forecast.settings)
            coming = read_forecast(
                list(forecast.files),
                reference_et=given.pop("reference_et", "file"),
                site=place,
                **given,
            )
    if past and coming and not overlap and coming[0].start < past[-1].end < coming[0].end:
        part.faults.add(
            f"station and forecast both know {stamp(coming[0].start)} to {stamp(past[-1].end)}",
            where=part.where("forecast"),
            cure='say which counts there: overlap = "station" or overlap = "forecast" below '
            "[weather]",
        )
    return SiteWeather(days, expected, station, forecast, place, overlap, past, coming)


def _place(part: Part) -> Site | None:
    part.know(PLACE_WORDS)
    given = {word: part.given(word) for word in PLACE_WORDS if word in part}
    for word, value in given.items():
        if word != "elevation" and not isinstance(value, (int, float)):
            part.faults.add(f"{word} is {value!r}", where=part.where(word), allowed="a number")
            return None
    missing = [word for word in ("latitude", "elevation") if word not in given]
    if missing:
        part.faults.add(f"{' and '.join(missing)} missing", where=part.where())
        return None
    with part.faults.catching(part.where()):
        return Site(**given)
    return None


def _table(whole: Part, word: str, folder: Path) -> WeatherTable | None:
    if word not in whole:
        return None
    part = whole.part(word)
    part.know(TABLE_WORDS)
    named = part.given("files") if "files" in part else part.given("file")
    names = named if isinstance(named, list) else [named]
    if not names or not all(isinstance(each, str) for each in names):
        part.faults.add(
            "no file is named", where=part.where(), allowed='file = "...", or files = ["...", ...]'
        )
        return None
    files = tuple(folder / each for each in names)
    missing = [str(each) for each in files if not each.is_file()]
    if missing:
        part.faults.add(f"there is no file {', '.join(missing)}", where=part.where())
        return None
    settings = tuple((each, part.given(each)) for each in TABLE_WORDS[2:] if each in part)
    return WeatherTable(files, settings)


def _past(table: WeatherTable, place: Site | None) -> tuple[Weather, ...]:
    """Read the station's files, each in pieces without gaps, in order of time."""
    given = dict(table.settings)
    equation = given.pop("reference_et", "file")
    faults = Faults("station")
    pieces: list[Weather] = []
    for file in table.files:
        with faults.catching():
            record = read_station(file, site=place, **given)
            pieces += [each.to_weather(equation) for each in _whole_pieces(record)]
    faults.raise_if_any()
    return tuple(sorted(pieces, key=lambda each: each.start))


def _whole_pieces(record: StationRecord) -> Sequence[StationRecord]:
    """Cut a record at its gaps; whole days of it are left between them, or less at its end."""
    missing = np.logical_or.reduce([np.isnan(each) for each in record.values.values()])
    cuts = np.flatnonzero(np.diff(np.concatenate([[True], missing, [True]]).astype(int)))
    spans = [(int(i), int(j)) for i, j in zip(cuts[::2], cuts[1::2], strict=True)]
    if spans == [(0, record.n)]:
        return [record]

    def part(of: Mapping[str, Any], i: int, j: int) -> dict[str, Any]:
        return {name: column[i:j] for name, column in of.items()}

    return [
        replace(
            record,
            edges=record.edges[i : j + 1],
            values=part(record.values, i, j),
            filled=part(record.filled, i, j),
        )
        for i, j in spans
        if j - i > 1
    ]
