"""What a station measures: quantities, the headers people give them, their units and ranges.

A header is only recognised when it is one of the usual spellings; a unit is never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilwater.words.cells import LONGEST_NUMBER, parse_number
from soilwater.words.errors import Faults
from soilwater.words.set_right import say_columns, say_missing
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
    bare = [q for q in chosen if not unit_text(table, chosen, units, q)]
    said = ", ".join(f'"{q}": "{_usual_unit(table, chosen[q], q)}"' for q in bare)
    for quantity, at in chosen.items():
        kind = QUANTITIES[quantity]
        text = unit_text(table, chosen, units, quantity)
        known = {**kind.units, **kind.rates}
        if not text:
            faults.add(
                f'"{table.columns[at]}" has no unit',
                where=quantity,
                allowed=", ".join(list(known)[:6]),
                cure=f"say units={{{said}}} if that is what it is",
            )
        elif spell(part_of_unit(text)[1]) not in known:
            faults.add(
                f'"{table.columns[at]}" is in "{text}"',
                where=quantity,
                allowed=", ".join(known),
                cure=f'say units={{"{quantity}": "{_usual_unit(table, at, quantity)}"}} if that is '
                f"what it is, or leave it out with {say_columns(unused=table.columns[at])}",
            )
        found[quantity] = spell(part_of_unit(text)[1])
    faults.raise_if_any()
    return found


_PART = re.compile(
    r"(?:(?P<share>1\s*/\s*10+|0?[.,]0*1)|(?P<tenth>tenths?)|(?P<hundredth>hundredths?))\s*"
    r"(?:of\s*)?(?:an?\s+)?(?P<unit>\S.*)",
    re.IGNORECASE,
)


def part_of_unit(text: str) -> tuple[float, str]:
    """Take the factor off a unit such as ``"1/100 in"`` or ``"tenths of mm"``.

    Parameters
    ----------
    text : str
        As written.

    Returns
    -------
    factor : float
        1 for a unit as it is.
    unit : str
        The rest.
    """
    match = _PART.fullmatch(plain_characters(text).strip())
    if match is None:
        return 1.0, text
    if match["tenth"] or match["hundredth"]:
        return 0.1 if match["tenth"] else 0.01, match["unit"]
    share = match["share"].replace(" ", "").replace(",", ".")
    return 1.0 / float(share[2:]) if "/" in share else float(share), match["unit"]


# Units to ask about first, where a file names none.
_FIRST_UNITS = {
    "1": ("1", "%"),
    "kPa": ("kPa", "hPa"),
    "MJ/m2": ("MJ/m2", "W/m2"),
}


def _usual_unit(table: TextTable, at: int, quantity: str) -> str:
    """Find the first unit in which the numbers of a column are possible."""
    kind = QUANTITIES[quantity]
    usual = _FIRST_UNITS.get(kind.unit, (kind.unit,))
    read = (_number_or_none(row[at], table.decimal) for row in table.rows)
    numbers = [number for number in read if number is not None]
    top = float(np.quantile(numbers, 0.99)) if numbers else 0.0
    # Above this, radiation by the hour or the day is no MJ.
    most = {"1": 1.05, "kPa": 7.0, "MJ/m2": 45.0}.get(kind.unit, np.inf)
    return usual[0] if top <= most else usual[-1]


def _number_or_none(cell: str, decimal: str) -> float | None:
    try:
        return parse_number(cell, decimal)[0]
    except ValueError:
        return None


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
    words_said = say_missing(cell for _, cell in unread)
    for line, cell in unread:
        faults.add(
            f'"{cell[:LONGEST_NUMBER]}" under "{table.columns[at]}" is not a number',
            where=f"line {line}",
            cure=f'if it means "nothing measured", say {words_said}',
        )
    counted = [f"{blanks} blank"] if blanks else []
    counted += [f"{count} coded {code}" for code, count in coded.items()]
    notes = [f"{quantity}: {' and '.join(counted)}, taken as missing"] if counted else []
    if traces:
        notes.append(f"{quantity}: {traces} traces taken as 0")
    return values, notes
