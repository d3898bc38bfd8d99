"""What a station measures: quantities, the headers people give them, their units and ranges.

A header is only recognised when it is one of the usual spellings; a unit is never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilwater.words.cells import LONGEST_NUMBER, parse_number
from soilwater.words.errors import Faults
from soilwater.words.text_tables import TextTable
from soilwater.words.unit_texts import plain_characters

_TRACE = ("t", "tr", "trace")


@dataclass(frozen=True)
class Quantity:
    """One measurable thing of a weather station.

    Parameters
    ----------
    name : str
        Name in this package.
    unit : str
        Unit it is kept in; amounts are per step of the file.
    per_step : bool
        True for amounts that add up over time, False for states of the air.
    units : dict of str to (factor, offset)
        Spellings of units, and how to get from them to `unit`: value x factor + offset.
    rates : dict of str to float
        Spellings of rates, and the amount of `unit` in one hour of a rate of 1.
    lowest, highest : float
        What is physically possible: per day for amounts, as it is for states. Shorter steps are
        held to `highest_hour` for each hour.
    highest_hour : float
        Largest possible amount in one hour, for amounts.
    headers : tuple of str
        Usual headers, lower case letters and digits only.
    """

    name: str
    unit: str
    per_step: bool
    units: dict[str, tuple[float, float]]
    rates: dict[str, float]
    lowest: float
    highest: float
    highest_hour: float
    headers: tuple[str, ...]


_TEMPERATURES = {
    "degc": (1.0, 0.0),
    "c": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "degf": (1.0 / 1.8, -32.0 / 1.8),
    "f": (1.0 / 1.8, -32.0 / 1.8),
    "fahrenheit": (1.0 / 1.8, -32.0 / 1.8),
    "k": (1.0, -273.15),
    "degk": (1.0, -273.15),
}
_HUMIDITIES = {"%": (0.01, 0.0), "percent": (0.01, 0.0), "pct": (0.01, 0.0), "1": (1.0, 0.0)}
_PRESSURES = {"kpa": (1.0, 0.0), "hpa": (0.1, 0.0), "mbar": (0.1, 0.0), "mb": (0.1, 0.0)}
# Statute mile 1.609344 km, international nautical mile 1.852 km: exact by definition.
_SPEEDS = {
    "m/s": (1.0, 0.0),
    "km/h": (1.0 / 3.6, 0.0),
    "kph": (1.0 / 3.6, 0.0),
    "mph": (0.44704, 0.0),
    "mi/h": (0.44704, 0.0),
    "kn": (1.852 / 3.6, 0.0),
    "kt": (1.852 / 3.6, 0.0),
    "knots": (1.852 / 3.6, 0.0),
    "ft/s": (0.3048, 0.0),
}
# Thermochemical calorie 4.184 J; a langley is 1 cal/cm2 (NIST SP 811, from memory).
_RADIATIONS = {
    "mj/m2": (1.0, 0.0),
    "kj/m2": (1e-3, 0.0),
    "j/m2": (1e-6, 0.0),
    "j/cm2": (1e-2, 0.0),
    "cal/cm2": (0.04184, 0.0),
    "ly": (0.04184, 0.0),
    "langley": (0.04184, 0.0),
    "langleys": (0.04184, 0.0),
    "kwh/m2": (3.6, 0.0),
    "wh/m2": (3.6e-3, 0.0),
}
_RADIATION_RATES = {
    "w/m2": 3.6e-3,
    "kw/m2": 3.6,
    "mj/m2/h": 1.0,
    "mj/m2/day": 1.0 / 24.0,
    "mj/m2/d": 1.0 / 24.0,
    "ly/day": 0.04184 / 24.0,
    "ly/d": 0.04184 / 24.0,
    "ly/min": 0.04184 * 60.0,
}
_WATERS = {
    "mm": (1.0, 0.0),
    "cm": (10.0, 0.0),
    "in": (25.4, 0.0),
    "inch": (25.4, 0.0),
    "inches": (25.4, 0.0),
    "l/m2": (1.0, 0.0),
    "kg/m2": (1.0, 0.0),
}
_WATER_RATES = {
    "mm/h": 1.0,
    "in/h": 25.4,
    "mm/day": 1.0 / 24.0,
    "mm/d": 1.0 / 24.0,
    "in/day": 25.4 / 24.0,
    "in/d": 25.4 / 24.0,
    "cm/day": 10.0 / 24.0,
    "cm/d": 10.0 / 24.0,
}
_DURATIONS = {"h": (1.0, 0.0), "hours": (1.0, 0.0), "min": (1.0 / 60.0, 0.0)}


def _state(
    name: str,
    unit: str,
    units: dict[str, tuple[float, float]],
    low: float,
    high: float,
    *heads: str,
) -> Quantity:
    return Quantity(name, unit, False, units, {}, low, high, high, heads)


# Ranges are what no station at a golf course or ground has seen, and no closer: temperatures, wind
# (mean of a step) and rain by common practice, no source; radiation by the 45 MJ of a cloudless
# midsummer day at the top of the atmosphere (FAO-56 annex 2, from memory); reference
# evapotranspiration 0.5-12 mm on a day of the warm months, common practice, no source.
QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        _state(
            "air_temperature", "degC", _TEMPERATURES, -50.0, 60.0,
            "temperature", "airtemperature", "temp", "airtemp", "tair", "tmean", "tavg", "ta",
            "meantemperature", "avgtemperature", "temperaturemean", "temperatureavg", "avgtemp",
            "meantemp", "airtempavg", "avgairtemp", "airt", "airtc",
        ),
        _state(
            "maximum_air_temperature", "degC", _TEMPERATURES, -50.0, 60.0,
            "tmax", "maxtemp", "maximumtemperature", "maxtemperature", "temperaturemax", "tempmax",
            "maxairtemp", "airtempmax", "maximumairtemperature", "hightemp", "temphigh", "tx",
        ),
        _state(
            "minimum_air_temperature", "degC", _TEMPERATURES, -50.0, 60.0,
            "tmin", "mintemp", "minimumtemperature", "mintemperature", "temperaturemin", "tempmin",
            "minairtemp", "airtempmin", "minimumairtemperature", "lowtemp", "templow", "tn",
        ),
        _state(
            "dew_point", "degC", _TEMPERATURES, -60.0, 40.0,
            "dewpoint", "tdew", "dewpt", "dewpointtemperature", "td",
        ),
        _state(
            "relative_humidity", "1", _HUMIDITIES, 0.02, 1.05,
            "rh", "humidity", "relativehumidity", "relhumidity", "relhum", "rhmean", "rhavg",
            "avgrh", "meanrh", "hum",
        ),
        _state(
            "maximum_relative_humidity", "1", _HUMIDITIES, 0.02, 1.05,
            "rhmax", "maxrh", "maxhumidity", "maximumrelativehumidity", "humiditymax",
        ),
        _state(
            "minimum_relative_humidity", "1", _HUMIDITIES, 0.02, 1.05,
            "rhmin", "minrh", "minhumidity", "minimumrelativehumidity", "humiditymin",
        ),
        _state(
            "vapour_pressure", "kPa", _PRESSURES, 0.05, 7.0,
            "vapourpressure", "vaporpressure", "ea", "vp", "actualvapourpressure",
        ),
        _state(
            "wind_speed", "m/s", _SPEEDS, 0.0, 40.0,
            "wind", "windspeed", "ws", "u2", "windavg", "avgwind", "meanwind",
            "avgwindspeed", "windspeedavg", "meanwindspeed", "wspd",
        ),
        Quantity(
            "solar_radiation", "MJ/m2", True, _RADIATIONS, _RADIATION_RATES, 0.0, 45.0, 5.0,
            (
                "solar", "radiation", "solarradiation", "solrad", "srad", "rs", "globalradiation",
                "rad", "solarrad", "avgsolarradiation", "shortwave", "sr", "avgsolar", "slr",
                "slrw",
            ),
        ),
        Quantity(
            "sunshine", "h", True, _DURATIONS, {}, 0.0, 24.0, 1.0,
            ("sunshine", "sunshinehours", "sunhours", "brightsunshine", "sunshineduration", "sun"),
        ),
        Quantity(
            "rain", "mm", True, _WATERS, _WATER_RATES, 0.0, 500.0, 150.0,
            (
                "rain", "rainfall", "precipitation", "precip", "prcp", "raintotal", "totalrain",
                "ppt", "precipitationamount", "rainamount",
            ),
        ),
        Quantity(
            "reference_et", "mm", True, _WATERS, _WATER_RATES, 0.0, 12.0, 1.5,
            (
                "eto", "et0", "etref", "referenceet", "refet", "referenceevapotranspiration",
                "et", "etos", "etosz", "etsz", "shortreferenceet",
            ),
        ),
    )
}  # fmt: skip
"""Every quantity the station reader knows, by name."""

WARM_DAY_REFERENCE_ET = 0.5
"""Smallest likely reference evapotranspiration of a day in the warm months [mm]."""

_SPELLED_OUT = (
    (r"millimet(?:er|re)s?", "mm"),
    (r"kilomet(?:er|re)s?", "km"),
    (r"met(?:er|re)s?", "m"),
    (r"miles?", "mi"),
    (r"seconds?|sec", "s"),
    (r"minutes?", "min"),
    (r"watts?", "w"),
)

TIME_HEADERS = (
    "time", "datetime", "timestamp", "date", "day", "datum", "stamp", "localtime", "dateandtime",
    "datetimelocal", "observationtime", "period", "datelocal",
)  # fmt: skip
"""Usual headers of the column of stamps or dates."""

CLOCK_HEADERS = ("time", "hour", "hr", "clock", "timeofday", "hhmm", "hourlocal", "timelocal")
"""Usual headers of a column with the time of day beside one of dates."""


def bare(header: str) -> str:
    """Reduce a header to its lower case letters and digits."""
    return re.sub(r"[^a-z0-9]", "", plain_characters(header).lower())


# What loggers add to a name: how a value was formed, and its unit.
_EXTRAS = frozenset(("avg", "tot", "smp", "mm", "ms", "in", "wm2", "kw", "pct", "degc", "degf"))


def _without_extras(header: str) -> str:
    """Header as `bare` gives it, without the endings that loggers add: ``Rain_mm_Tot`` is rain."""
    plain = bare(header)
    if any(plain in kind.headers for kind in QUANTITIES.values()):
        return plain
    parts = [part for part in re.split(r"[_\s]+", header.lower()) if part]
    while len(parts) > 1 and bare(parts[-1]) in _EXTRAS:
        parts.pop()
    return bare("".join(parts))


def spell(unit: str) -> str:
    """Bring a unit to one spelling: ``"W m-2"``, ``"W/m²"`` and ``"W/m^2"`` become ``"w/m2"``.

    Parameters
    ----------
    unit : str
        As written.
    """
    text = plain_characters(unit).strip().strip("[]()").lower()
    text = text.replace("^", "").replace("**", "").replace("·", " ").replace("°", "deg")
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(hr|hrs|hour)\b", "h", text)
    for written, short in _SPELLED_OUT:
        text = re.sub(rf"\b{written}\b", short, text)
    # "w m-2", "mj m-2 day-1": what has a negative exponent goes below the line.
    text = re.sub(
        r"[ .]*\b([a-z]+)-(\d)", lambda m: "/" + m[1] + (m[2] if m[2] != "1" else ""), text
    )
    text = re.sub(r"\bdeg\w*\s+", "deg", text)
    return re.sub(r"\s+", "", text)


def assign_columns(
    table: TextTable, named: Mapping[str, str]
) -> tuple[dict[str, int], int, int | None, list[str]]:
    """Find the column of each quantity, of the stamps and of the time of day."""
    faults = Faults(table.source)
    headers = ", ".join(table.columns)
    by_header = {header: i for i, header in enumerate(table.columns)}
    taken: dict[str, int] = {}
    for key, header in named.items():
        if key not in QUANTITIES and key not in ("time", "clock"):
            faults.add(
                f'"{key}" is not a quantity', allowed=", ".join([*QUANTITIES, "time", "clock"])
            )
        elif header not in by_header:
            faults.add(f'there is no column "{header}"', allowed=f"columns found: {headers}")
        else:
            taken[key] = by_header[header]
    used = set(taken.values())
    plain = [_without_extras(header) for header in table.columns]
    for quantity, kind in QUANTITIES.items():
        if quantity in taken:
            continue
        usual = {*kind.headers, bare(quantity)}
        found = [i for i, text in enumerate(plain) if text in usual and i not in used]
        if len(found) > 1:
            which = " and ".join(f'"{table.columns[i]}"' for i in found)
            faults.add(
                f"{which} both look like {quantity}",
                cure=f'say which: columns={{"{quantity}": "{table.columns[found[0]]}"}}',
            )
        elif found:
            taken[quantity] = found[0]
            used.add(found[0])
    if "time" not in taken:
        found = [i for i, text in enumerate(plain) if text in TIME_HEADERS and i not in used]
        dates = [i for i in found if "date" in plain[i] or plain[i] in ("day", "datum")]
        clocks = [i for i, text in enumerate(plain) if text in CLOCK_HEADERS and i not in used]
        if len(dates) == 1 and clocks and clocks[0] != dates[0]:
            taken["time"] = dates[0]
            taken.setdefault("clock", clocks[0])
        elif found:
            taken["time"] = found[0]
        else:
            faults.add(
                "no column of times or dates was found",
                allowed=f"columns found: {headers}",
                cure='name it: columns={"time": "its header"}',
            )
    if not any(key in QUANTITIES for key in taken):
        faults.add(
            "no column of weather was found",
            allowed=f"columns found: {headers}",
            cure='name them: columns={"rain": "its header", ...}',
        )
    faults.raise_if_any()
    time_at, clock_at = taken.pop("time"), taken.pop("clock", None)
    rest = {time_at, clock_at, *taken.values()}
    unused = [header for i, header in enumerate(table.columns) if i not in rest]
    return taken, time_at, clock_at, unused


def unit_text(
    table: TextTable, chosen: Mapping[str, int], units: Mapping[str, str] | None, quantity: str
) -> str:
    """Return the unit of a chosen column as written, by the caller or in the file."""
    return (units or {}).get(quantity, "") or table.units[chosen[quantity]]


def column_units(
    table: TextTable, chosen: Mapping[str, int], units: Mapping[str, str], subject: str
) -> dict[str, str]:
    """Find the unit of each chosen column, in one spelling."""
    faults = Faults(subject)
    found = {}
    for quantity, at in chosen.items():
        kind = QUANTITIES[quantity]
        text = unit_text(table, chosen, units, quantity)
        known = {**kind.units, **kind.rates}
        if not text:
            faults.add(
                f'"{table.columns[at]}" has no unit',
                where=quantity,
                allowed=", ".join(list(known)[:6]),
                cure=f'say units={{"{quantity}": "{kind.unit}"}} if that is what it is',
            )
        elif spell(text) not in known:
            faults.add(
                f'"{table.columns[at]}" is in "{text}"', where=quantity, allowed=", ".join(known)
            )
        found[quantity] = spell(text)
    faults.raise_if_any()
    return found


def quantities_named(
    argument: str,
    given: Iterable[str],
    table: TextTable,
    chosen: Mapping[str, int],
    faults: Faults,
) -> dict[str, str]:
    """Find which quantities an argument names, by their own names or by their headers.

    Parameters
    ----------
    argument : str
        Name of the argument, for messages.
    given : iterable of str
        As written by the caller.
    table : TextTable
        The file.
    chosen : mapping of str to int
        Column of each quantity.
    faults : Faults
        Takes names that are neither.

    Returns
    -------
    dict of str to str
        Quantity by what was written.
    """
    by_header = {bare(table.columns[at]): quantity for quantity, at in chosen.items()}
    found = {}
    for name in given:
        quantity = name if name in chosen else by_header.get(bare(str(name)), "")
        if quantity:
            found[name] = quantity
        elif name in QUANTITIES:
            faults.add(
                f'{argument} names "{name}", and there is no such column',
                allowed=", ".join(chosen),
            )
        else:
            faults.add(
                f'{argument}: "{name}" is not a quantity',
                allowed=", ".join(f'{q} ("{table.columns[at]}")' for q, at in chosen.items()),
            )
    return found


def column_numbers(
    table: TextTable, at: int, quantity: str, missing: Sequence[float | str], faults: Faults
) -> tuple[NDArray[np.float64], list[str]]:
    """Read one column; blanks and codes become NaN and are counted."""
    codes = {float(code) for code in missing if not isinstance(code, str)}
    words = {code.lower() for code in missing if isinstance(code, str)}
    values = np.full(len(table.rows), np.nan)
    coded: dict[str, int] = {}
    unread: list[tuple[int, str]] = []
    blanks = traces = 0
    for i, row in enumerate(table.rows):
        cell = row[at]
        try:
            value: float | None = float(cell)
        except ValueError:
            if cell.lower() in words:
                coded[cell] = coded.get(cell, 0) + 1
                continue
            if quantity == "rain" and cell.lower() in _TRACE:
                traces += 1
                values[i] = 0.0
                continue
            try:
                value, _ = parse_number(cell, table.decimal)
            except ValueError:
                unread.append((table.line_numbers[i], cell))
                continue
        if value is None or value != value:
            blanks += 1
        elif value in codes:
            coded[cell] = coded.get(cell, 0) + 1
        else:
            values[i] = value
    words_said = ", ".join(dict.fromkeys(f'"{cell[:LONGEST_NUMBER]}"' for _, cell in unread[:20]))
    for line, cell in unread:
        faults.add(
            f'"{cell[:LONGEST_NUMBER]}" under "{table.columns[at]}" is not a number',
            where=f"line {line}",
            cure=f'if it means "nothing measured", say missing=({words_said},)',
        )
    counted = [f"{blanks} blank"] if blanks else []
    counted += [f"{count} coded {code}" for code, count in coded.items()]
    notes = [f"{quantity}: {' and '.join(counted)}, taken as missing"] if counted else []
    if traces:
        notes.append(f"{quantity}: {traces} traces taken as 0")
    return values, notes
