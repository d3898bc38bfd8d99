"""Which column of a station file holds what, by its header or by what the person said.

Headers are those of the trade in English, German, French and Spanish, from memory; a header is only
recognised when it is one of them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping

from soilwater.weather.station.columns import QUANTITIES, spell
from soilwater.words.cells import value_like
from soilwater.words.errors import Faults
from soilwater.words.set_right import Columns, say_columns
from soilwater.words.text_tables import TextTable
from soilwater.words.unit_texts import plain_characters

_OTHER_HEADERS: dict[str, tuple[str, ...]] = {
    "air_temperature": (
        "lufttemperatur", "temperatur", "lufttemp", "mitteltemperatur", "tmittel",
        "temperaturmittel", "temperaturedelair", "temperatureair", "temperaturemoyenne", "tmoy",
        "temperatura", "temperaturadelaire", "temperaturamedia", "tmed", "tmedia",
    ),
    "maximum_air_temperature": (
        "maximaltemperatur", "hochsttemperatur", "temperaturmaximum", "temperaturemaximale",
        "temperaturamaxima", "temperaturemax", "temperaturamax",
    ),
    "minimum_air_temperature": (
        "minimaltemperatur", "tiefsttemperatur", "temperaturminimum", "temperatureminimale",
        "temperaturaminima", "temperaturemin", "temperaturamin",
    ),
    "dew_point": (
        "taupunkt", "taupunkttemperatur", "pointderosee", "temperaturedurosee", "puntoderocio",
    ),
    "relative_humidity": (
        "luftfeuchte", "luftfeuchtigkeit", "relluftfeuchte", "relativeluftfeuchte", "relfeuchte",
        "relativefeuchte", "relativeluftfeuchtigkeit", "rf", "rellf", "humidite",
        "humiditerelative", "humiditedelair", "humedad", "humedadrelativa", "humedaddelaire",
    ),
    "maximum_relative_humidity": (
        "rfmax", "maximaleluftfeuchte", "hrmax", "humiditemax", "humiditerelativemax",
        "humiditemaximale", "humedadmax", "humedadmaxima", "humedadrelativamaxima",
    ),
    "minimum_relative_humidity": (
        "rfmin", "minimaleluftfeuchte", "hrmin", "humiditemin", "humiditerelativemin",
        "humiditeminimale", "humedadmin", "humedadminima", "humedadrelativaminima",
    ),
    "vapour_pressure": ("dampfdruck", "pressiondevapeur", "presiondevapor"),
    "wind_speed": (
        "windgeschwindigkeit", "windgeschw", "vent", "vitesseduvent", "vitessevent", "ventmoyen",
        "viento", "velocidaddelviento", "velocidadviento", "velviento",
    ),
    "solar_radiation": (
        "globalstrahlung", "strahlung", "solarstrahlung", "rayonnement", "rayonnementglobal",
        "rayonnementsolaire", "radiacion", "radiacionsolar", "radiacionglobal",
    ),
    "sunshine": (
        "sonnenschein", "sonnenscheindauer", "sonnenstunden", "dureedinsolation", "horasdesol",
    ),
    "rain": (
        "niederschlag", "regen", "niederschlagssumme", "niederschlagsmenge", "regenmenge", "pluie",
        "pluies", "precipitations", "pluviometrie", "hauteurdepluie", "lluvia", "precipitacion",
        "precipitaciones", "pluviometria",
    ),
    "reference_et": (
        "referenzverdunstung", "grasreferenzverdunstung", "grasverdunstung", "etref", "etpet0",
        "evapotranspirationdereference", "evapotranspiraciondereferencia",
    ),
}  # fmt: skip

TIME_HEADERS = (
    "time", "datetime", "timestamp", "date", "day", "datum", "stamp", "localtime", "dateandtime",
    "datetimelocal", "observationtime", "period", "datelocal", "zeit", "zeitpunkt", "zeitstempel",
    "datumuhrzeit", "datumzeit", "dateetheure", "dateheure", "horodatage", "jour", "fecha",
    "fechayhora", "fechahora", "dia",
)  # fmt: skip
"""Usual headers of the column of stamps or dates."""

CLOCK_HEADERS = (
    "time",
    "hour",
    "hr",
    "clock",
    "timeofday",
    "hhmm",
    "hourlocal",
    "timelocal",
    "uhrzeit",
    "zeit",
    "stunde",
    "heure",
    "hora",
)
"""Usual headers of a column with the time of day beside one of dates."""


_DATE_HEADERS = ("day", "datum", "fecha", "jour", "dia")


def bare(header: str) -> str:
    """Reduce a header to its lower case letters and digits."""
    letters = unicodedata.normalize("NFD", plain_characters(header).lower())
    return re.sub(r"[^a-z0-9]", "", letters)


# What loggers add to a name: how a value was formed, and its unit.
_EXTRAS = frozenset(("avg", "tot", "smp", "mm", "ms", "in", "wm2", "kw", "pct", "degc", "degf"))


def _headers(quantity: str) -> set[str]:
    """Usual headers of a quantity in every language."""
    own = (*QUANTITIES[quantity].headers, *_OTHER_HEADERS.get(quantity, ()))
    return {*own, bare(quantity)}


def _without_extras(header: str) -> str:
    """Header as `bare` gives it, without the endings that loggers add: ``Rain_mm_Tot`` is rain."""
    plain = bare(header)
    if any(plain in _headers(quantity) for quantity in QUANTITIES):
        return plain
    parts = [part for part in re.split(r"[_\s]+", header.lower()) if part]
    while len(parts) > 1 and bare(parts[-1]) in _EXTRAS:
        parts.pop()
    return bare("".join(parts))


def assign_columns(
    table: TextTable, named: Columns
) -> tuple[dict[str, int], int, int | None, list[str]]:
    """Find the column of each quantity, of the stamps and of the time of day.

    Parameters
    ----------
    table : TextTable
        The file.
    named : mapping of str to str
        Headers by quantity, as the person said them; those under ``"unused"`` are left out.

    Returns
    -------
    taken : dict of str to int
        Column of each quantity.
    time_at : int
        Column of the stamps.
    clock_at : int or None
        Column of the time of day.
    unused : list of str
        Headers of the other columns.

    Raises
    ------
    InputError
        Where a column is missing, or two may be meant.
    """
    faults = Faults(table.source)
    headers = ", ".join(table.columns)
    by_header = {header: i for i, header in enumerate(table.columns)}
    taken: dict[str, int] = {}
    left_out: set[int] = set()
    for key, header in named.items():
        if key == "unused":
            set_aside = [header] if isinstance(header, str) else list(header)
            wrong = [each for each in set_aside if each not in by_header]
            if wrong:
                faults.add(f'there is no column "{wrong[0]}"', allowed=f"columns found: {headers}")
            left_out = {by_header[each] for each in set_aside if each in by_header}
        elif key not in QUANTITIES and key not in ("time", "clock"):
            faults.add(
                f'"{key}" is not a quantity',
                allowed=", ".join([*QUANTITIES, "time", "clock", "unused"]),
            )
        elif not isinstance(header, str):
            faults.add(f"columns: {header!r} for {key}", allowed="one header")
        elif header not in by_header:
            faults.add(f'there is no column "{header}"', allowed=f"columns found: {headers}")
        else:
            taken[key] = by_header[header]
    used = set(taken.values()) | left_out
    plain = [_without_extras(header) for header in table.columns]
    for quantity in QUANTITIES:
        if quantity in taken:
            continue
        usual = _headers(quantity)
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
        dates = [i for i in found if "date" in plain[i] or plain[i] in _DATE_HEADERS]
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
                cure=_say_which(table, "time", _looks_like_times, used),
            )
    if not any(key in QUANTITIES for key in taken):
        faults.add(
            "no column of weather was found",
            allowed=f"columns found: {headers}",
            cure=_say_which(table, "rain", _looks_like_rain, used),
        )
    faults.raise_if_any()
    time_at, clock_at = taken.pop("time"), taken.pop("clock", None)
    rest = {time_at, clock_at, *taken.values()}
    unused = [header for i, header in enumerate(table.columns) if i not in rest]
    return taken, time_at, clock_at, unused


def _say_which(
    table: TextTable, role: str, looks: Callable[[TextTable, int], bool], used: set[int]
) -> str:
    """Name the column that looks like what is missing."""
    at = next((i for i in range(len(table.columns)) if i not in used and looks(table, i)), None)
    return "" if at is None else f"say which it is: {say_columns(**{role: table.columns[at]})}"


def _looks_like_times(table: TextTable, at: int) -> bool:
    filled = [row[at] for row in table.rows if row[at]]
    return bool(filled) and all(len(re.findall(r"\d+", cell)) >= 3 for cell in filled[:100])


def _looks_like_rain(table: TextTable, at: int) -> bool:
    """Whether a column has the unit of rain, or none, and holds numbers."""
    unit = spell(table.units[at])
    filled = [row[at] for row in table.rows if row[at]]
    fits = unit in QUANTITIES["rain"].units or not unit
    return (
        fits and bool(filled) and all(map(value_like, filled)) and not _looks_like_times(table, at)
    )


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
