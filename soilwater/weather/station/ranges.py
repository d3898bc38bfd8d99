"""Values of a station file against what is physically possible, and what else they could be.

A value out of range is a code for "nothing measured", a column in another unit, two columns under
each other's header, or true: the cure says which of these would bring the file into range.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from soilwater.weather.station.air import TEMPERATURES
from soilwater.weather.station.columns import QUANTITIES, WARM_DAY_REFERENCE_ET, Quantity
from soilwater.weather.station.doubts import units_of_sky
from soilwater.weather.station.readings import Column, Readings, read_in, span_text
from soilwater.weather.station.sunlight import most_of_sky
from soilwater.words.errors import Faults
from soilwater.words.set_right import quoted, say_columns
from soilwater.words.times import stamp

_DAY_HOURS = 24.0
# Slightly negative amounts of short steps: dew in evapotranspiration, the night offset of a
# radiation sensor. Beyond this [per hour] it is a fault (common practice, no source).
_DEW = {"reference_et": 0.1, "solar_radiation": 0.05}
# Numbers besides those of nines that loggers write for "nothing" (common practice, no source).
_LOGGER_CODES = (-6999.0, 6999.0, 7999.0, -7999.0, 32767.0, -32768.0, 65535.0)
_FEW_CODES = 5  # numbers below 0 that are worth listing
_A_WEEK = 7  # days
# No air stands still to the last digit for so long (our own choice).
_NEVER_STILL = ("air_temperature", "maximum_air_temperature", "wind_speed", "relative_humidity")
_STILL_HOURS, _STILL_DAYS = 48.0, 10
_HOTTEST_F = 130.0
_OUT_OF_LINE = 4.0  # a code that is in range stands this far above every other value


def highest(kind: Quantity, hours: float) -> float:
    """Largest possible value in a step: of a state as it is, of an amount by the step's length.

    Parameters
    ----------
    kind : Quantity
        What is measured.
    hours : float
        Length of a step [h].
    """
    if not kind.per_step:
        return kind.highest
    if hours >= _DAY_HOURS:
        return kind.highest * hours / _DAY_HOURS
    return min(kind.highest, kind.highest_hour * hours)


def check_ranges(
    given: Readings,
    written: Mapping[str, NDArray[np.float64]],
    lines: NDArray[np.int64],
    ranges: Mapping[str, tuple[float, float]],
    faults: Faults,
) -> tuple[dict[str, NDArray[np.float64]], list[str]]:
    """Hold every value against what is physically possible; set slight negatives to 0.

    Parameters
    ----------
    given : Readings
        The columns in their kept units.
    written : mapping of str to array, shape (n,)
        The numbers of the file.
    lines : array of int, shape (n,)
        Line of each step, 0 where the file has none.
    ranges : mapping of str to tuple of float
        Ranges stated in place of the usual ones.
    faults : Faults
        Takes what is out of range.

    Returns
    -------
    values : dict of str to array, shape (n,)
        The columns, slight negatives set to 0.
    notes : list of str
        What was set to 0.
    """
    values, notes = dict(given.values), []
    hours, edges, site = given.hours, given.edges, given.site
    month = edges[:-1].astype("datetime64[M]").astype(np.int64) % 12 + 1
    if site is not None and site.latitude < 0.0:
        month = (month + 5) % 12 + 1
    warm = (month >= 5) & (month <= 8)
    for quantity, column in given.values.items():
        kind = QUANTITIES[quantity]
        low = np.full(column.size, kind.lowest)
        high = highest(kind, hours)
        if quantity in ranges:
            low[:], high = ranges[quantity]
        elif quantity == "reference_et" and hours == _DAY_HOURS:
            low[warm] = WARM_DAY_REFERENCE_ET
        slack = _DEW.get(quantity, 0.0) * hours if hours < _DAY_HOURS else 0.0
        wrong = np.flatnonzero((column < low - slack) | (column > high))
        if wrong.size:
            i = int(wrong[0])
            count = "1 value" if wrong.size == 1 else f"{wrong.size} values"
            span = "a day" if hours == _DAY_HOURS else f"in {hours:g} h"
            unit = f"{kind.unit} {span}" if kind.per_step else kind.unit
            faults.add(
                f"{quantity}: {count} outside {low[i]:g} to {high:g} {unit}, the first "
                f"{column[i]:.3g} in line {lines[i]} ({stamp(edges[i])})",
                cure=_cure(given, quantity, written, wrong, low - slack, high),
            )
            continue
        slight = (column < 0.0) & kind.per_step
        if slight.any():
            values[quantity] = np.where(slight, 0.0, column)
            notes.append(
                f"{quantity}: {int(slight.sum())} slightly negative values set to 0 (dew, or a "
                f"sensor's night offset)"
            )
        if quantity not in ranges:
            _ask_codes_in_range(quantity, column, written[quantity], lines, faults)
    _check_pairs(given, lines, faults)
    if not faults:
        _ask_waters_swapped(given, faults)
        _ask_standing_still(given, lines, faults)
    return values, notes


def _ask_waters_swapped(given: Readings, faults: Faults) -> None:
    """Ask about rain on every day beside a demand that mostly is none."""
    rain, demand = (given.values.get(each) for each in ("rain", "reference_et"))
    if rain is None or demand is None or {"rain", "reference_et"} <= given.trusted:
        return
    days, other = given.days(rain, np.sum), given.days(demand, np.sum)
    known = ~np.isnan(days) & ~np.isnan(other)
    if known.sum() < _A_WEEK or np.mean(days[known] > 0.0) < 0.95 or days[known].max() > 15.0:
        return
    if np.mean(other[known] == 0.0) >= 0.3:
        kept = ", ".join(f'"{q}": {span_text(given.values[q])}' for q in ("rain", "reference_et"))
        faults.add(
            f"rain on {int(np.sum(days[known] > 0.0))} of {known.sum()} days, at most "
            f"{days[known].max():.3g} mm, and no reference evapotranspiration on "
            f"{int(np.sum(other[known] == 0.0))} of them: two headers changed places?",
            cure=f"if they did, say {_say_swapped(given, 'rain', 'reference_et')}, or "
            f"ranges={{{kept}}} if the file is right",
        )


def _ask_standing_still(given: Readings, lines: NDArray[np.int64], faults: Faults) -> None:
    """Ask about a sensor that shows one number for days: it is stuck, and measures nothing."""
    steps = _STILL_DAYS if given.hours >= _DAY_HOURS else round(_STILL_HOURS / given.hours)
    for quantity in _NEVER_STILL:
        column = given.values.get(quantity)
        if column is None or quantity in given.trusted or column.size < steps:
            continue
        moves = np.flatnonzero(~(np.diff(column) == 0.0))
        bounds = np.concatenate([[-1], moves, [column.size - 1]])
        longest = int(np.argmax(np.diff(bounds)))
        first, length = int(bounds[longest]) + 1, int(np.diff(bounds)[longest])
        # Air that is saturated stays so for days, and nights without wind are many.
        damp = quantity == "relative_humidity" and column[first] > 0.97
        calm = quantity == "wind_speed" and length < 2 * steps
        if length >= steps and not (damp or calm):
            faults.add(
                f"{quantity}: {length} steps on end are {column[first]:g}, from line "
                f"{lines[first]} ({stamp(given.edges[first])}): a sensor that is stuck?",
                cure=f"leave the column out with {say_columns(unused=given.headers[quantity])}, or "
                f'say ranges={{"{quantity}": {span_text(column)}}} if it is true',
            )


def _cure(
    given: Readings,
    quantity: str,
    written: Mapping[str, NDArray[np.float64]],
    wrong: NDArray[np.int64],
    low: NDArray[np.float64],
    high: float,
) -> str:
    codes = sorted(set(written[quantity][wrong].tolist()))
    column = given.values[quantity]
    kept = f'a true value is let through by ranges={{"{quantity}": {span_text(column)}}}'
    if QUANTITIES[quantity].per_step and np.all(column[wrong] < 0.0):
        # As a range it would be taken for dew and set to 0, and missing is never 0.
        if len(codes) <= _FEW_CODES:
            said = ", ".join(f"{code:g}" for code in codes)
            return f'no amount is below 0: if they mean "nothing measured", say missing=({said},)'
        unused = say_columns(unused=given.headers[quantity])
        return f"no amount is below 0: leave the column out with {unused}"
    few = wrong.size <= 0.5 * np.sum(~np.isnan(column))
    # One number again and again, or below nothing, is no measurement either.
    the_same = len(codes) == 1 and (wrong.size > 1 or codes[0] < 0.0)
    if few and len(codes) <= 2 and (the_same or all(_like_a_code(code) for code in codes)):
        said = ", ".join(f"{code:g}" for code in codes)
        if any(np.isin(numbers, codes).any() for q, numbers in written.items() if q != quantity):
            # As a code it would take away true values of other columns.
            return f'if {said} means "nothing measured", leave those cells empty; {kept}'
        return f'if {said} means "nothing measured", say missing=({said},); {kept}'
    hint = "check the unit"
    if quantity == "reference_et":
        hint = "check the unit (in?)"
    other = _OFTEN_SWAPPED.get(quantity, "")
    if other in given.values and _in_range_if_swapped(given, written, quantity, other):
        hint = (
            f"{hint}, and whether {quantity} and {other} are swapped: if they are, say "
            f"{_say_swapped(given, quantity, other)}"
        )
    fitting = _units_in_range(given, quantity, low, high)
    if fitting:
        alike = [quantity]
        if quantity in TEMPERATURES:
            unit = given.units[quantity]
            alike = [q for q in TEMPERATURES if q in given.values and given.units[q] == unit]
        named = [", ".join(f'"{q}": "{unit}"' for q in alike) for unit in fitting[:2]]
        said = " or ".join(f"units={{{text}}}" for text in named)
        hint = f"{hint}; or say {said} if that is what it is, and all are in range"
    return f"{hint}; {kept}"


_OFTEN_SWAPPED = {
    "wind_speed": "solar_radiation",
    "solar_radiation": "wind_speed",
    "air_temperature": "relative_humidity",
    "relative_humidity": "air_temperature",
}


def _say_swapped(given: Readings, first: str, second: str) -> str:
    """Write that two columns stand under each other's header."""
    pair = {first: second, second: first}
    names = ", ".join(f'"{q}": {quoted(given.headers[pair[q]])}' for q in pair)
    units = ", ".join(f'"{q}": "{given.units[q]}"' for q in pair)
    return f"columns={{{names}}}, units={{{units}}}"


# Units to look at first, in the spelling they are told in.
_USUAL_UNITS: dict[str, tuple[str, ...]] = {
    "degC": ("degC", "degF", "K"),
    "1": ("%", "1"),
    "kPa": ("kPa", "hPa"),
    "m/s": ("m/s", "km/h", "mph"),
    "MJ/m2": ("MJ/m2", "W/m2", "kJ/m2", "J/cm2", "ly"),
    "mm": ("mm", "in"),
    "h": ("h", "min"),
}


def _in_range_if_swapped(
    given: Readings, written: Mapping[str, NDArray[np.float64]], first: str, second: str
) -> bool:
    """Whether the numbers of two columns would be possible under each other's names."""
    fits = []
    for quantity, numbers in ((first, written[second]), (second, written[first])):
        kind = QUANTITIES[quantity]
        column = read_in(numbers, kind, given.units[quantity], given.hours)
        slack = _DEW.get(quantity, 0.0) * given.hours
        fits.append(
            np.nanmin(column) >= kind.lowest - slack
            and np.nanmax(column) <= highest(kind, given.hours)
        )
    return all(fits)


def _units_in_range(
    given: Readings, quantity: str, low: NDArray[np.float64], high: float
) -> list[str]:
    """Other units in which every number of the column would be possible."""
    kind = QUANTITIES[quantity]
    column = given.values[quantity]
    if quantity == "solar_radiation" and given.site is not None:
        return [unit for unit, _ in units_of_sky(given)]
    found = []
    for unit in _USUAL_UNITS[kind.unit]:
        other = given.read_as(quantity, unit.lower())
        there = ~np.isnan(other)
        if np.allclose(other[there], column[there]):
            continue
        if np.all((other[there] >= low[there]) & (other[there] <= high)):
            found.append(unit)
    known = column[~np.isnan(column)]
    tenths = {"degc": "0.1 degC", "mm": "0.1 mm"}.get(given.units[quantity], "")
    if tenths and np.all(known % 1.0 == 0.0) and np.all(np.abs(0.1 * known) <= high):
        # Above this it is no degF either.
        found.insert(0 if known.max() > _HOTTEST_F else len(found), tenths)
    return found


def _like_a_code(number: float) -> bool:
    """Whether a number is one of those that stand for "nothing measured"."""
    digits = f"{abs(number):g}".replace(".", "")
    return number in _LOGGER_CODES or (len(digits) >= 2 and set(digits) == {"9"})


def without_codes(given: Readings, written: Mapping[str, Column]) -> dict[str, Column]:
    """Take numbers out of columns that are impossible and stand for "nothing measured".

    Parameters
    ----------
    given : Readings
        The columns in their kept units.
    written : mapping of str to array, shape (n,)
        The numbers of the file.

    Returns
    -------
    dict of str to array, shape (n,)
    """
    values = {}
    for quantity, column in given.values.items():
        kind = QUANTITIES[quantity]
        wrong = (column < kind.lowest) | (column > highest(kind, given.hours))
        numbers = written[quantity]
        codes = [each for each in set(numbers[wrong].tolist()) if _like_a_code(each)]
        values[quantity] = np.where(wrong & np.isin(numbers, codes), np.nan, column)
    return values


def _ask_codes_in_range(
    quantity: str,
    column: NDArray[np.float64],
    written: NDArray[np.float64],
    lines: NDArray[np.int64],
    faults: Faults,
) -> None:
    """Ask about numbers of nines that are possible, but far above all that is beside them."""
    if not QUANTITIES[quantity].per_step and quantity != "wind_speed":
        return
    if np.isnan(column).all():
        return
    code = float(written[np.nanargmax(column)])
    coded = written == code
    others = column[~coded & ~np.isnan(column)]
    if not _like_a_code(code) or not others.size:
        return
    least = float(column[coded].min())
    # No two days have the same rain to the digit, and more than any other.
    twice = coded.sum() > 1 and least > others.max()
    if not twice and least < _OUT_OF_LINE * max(float(others.max()), 1e-9):
        return
    first = int(np.flatnonzero(coded)[0])
    faults.add(
        f"{quantity}: {code:g} in line {lines[first]} ({int(coded.sum())} in all) is "
        f"{least / max(float(others.max()), 1e-9):.2g} times the next largest value, and may be a "
        f"code",
        cure=f'if it means "nothing measured", say missing=({code:g},); a true value is let '
        f'through by ranges={{"{quantity}": {span_text(column)}}}',
    )


def check_sky(
    given: Readings,
    written: NDArray[np.float64],
    lines: NDArray[np.int64],
    faults: Faults,
    *,
    codes: bool,
) -> None:
    """Ask about radiation that is more than reaches the top of the atmosphere.

    Parameters
    ----------
    given : Readings
        With solar radiation.
    written : array, shape (n,)
        Its numbers in the file.
    lines : array of int, shape (n,)
        Line of each step, 0 where the file has none.
    faults : Faults
        Takes the question.
    codes : bool
        Whether to look only at numbers that may be codes.
    """
    quantity = "solar_radiation"
    column = given.values[quantity]
    most = most_of_sky(given.edges, given.site)
    if most is None or quantity in given.trusted:
        return
    wrong = np.flatnonzero(column > most)
    if codes:
        top = float(np.nanmax(written)) if wrong.size else 0.0
        wrong = wrong[written[wrong] == top] if _like_a_code(top) else wrong[:0]
    if not wrong.size:
        return
    i = int(wrong[0])
    numbers = sorted(set(written[wrong].tolist()))
    cure = "correct it" if wrong.size == 1 else "correct them"
    if len(numbers) == 1 and (wrong.size > 1 or _like_a_code(numbers[0])):
        cure = f'if {numbers[0]:g} means "nothing measured", say missing=({numbers[0]:g},)'
    faults.add(
        f"{quantity}: {written[i]:g} in line {lines[i]} ({stamp(given.edges[i])}; {wrong.size} in "
        f"all) is {column[i]:.3g} MJ/m2, and {most[i]:.3g} is the most the sun of that place gives",
        cure=f'{cure}; a true value is let through by ranges={{"{quantity}": {span_text(column)}}}',
    )


_PAIRS = (
    ("minimum_air_temperature", "maximum_air_temperature", "temperature"),
    ("minimum_relative_humidity", "maximum_relative_humidity", "relative humidity"),
)


def _check_pairs(given: Readings, lines: NDArray[np.int64], faults: Faults) -> None:
    """Ask about lowest values above the highest of the same day."""
    for low, high, what in _PAIRS:
        if not (low in given.values and high in given.values):
            continue
        above = given.values[low] > given.values[high]
        wrong = np.flatnonzero(above)
        if not wrong.size:
            continue
        known = ~np.isnan(given.values[low]) & ~np.isnan(given.values[high])
        names = f'columns={{"{low}": "{given.headers[high]}", "{high}": "{given.headers[low]}"}}'
        cure = f"correct {'it' if wrong.size == 1 else 'them'}"
        if wrong.size > 0.5 * known.sum():
            cure = f"check whether the two columns are swapped: if they are, say {names}"
        faults.add(
            f"the lowest {what} is above the highest in {wrong.size} rows, the first in line "
            f"{lines[int(wrong[0])]}",
            cure=cure,
        )
