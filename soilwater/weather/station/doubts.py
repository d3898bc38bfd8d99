"""Units that the physics of a whole column speaks against.

A header may name the wrong unit, and every value of it still look possible. Whole columns do not:
no sky is a twentieth of a clear one for days, no gauge sees nothing but cloudbursts, no July at 45
degrees lies below freezing. Where that is so and another unit fits, both readings are shown and the
person says which it is. Bounds are wide: they have to let the extremes of real places through.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.weather import evapotranspiration as terms
from soilwater.weather.station.air import doubt_air
from soilwater.weather.station.readings import Column, Readings, ask_unit, span_text
from soilwater.weather.station.sunlight import clear_sky_days
from soilwater.words.errors import Faults
from soilwater.words.set_right import quoted

_DAY_HOURS = 24.0

# Best days of a file against a clear sky: no day is brighter by more, and no run of days stays
# darker (thick cloud lets a tenth to a fifth through; FAO-56 puts full cloud at a third).
_BRIGHTEST, _DARKEST, _DARKEST_OF_FEW = 1.25, 0.12, 0.03
# The brightest of so many days is no dark one.
_FORTNIGHT, _DARKEST_OF_MANY = 12, 0.2
RADIATION_UNITS = (
    "MJ/m2", "W/m2", "MJ/m2/day", "kJ/m2", "J/cm2", "ly/day", "ly", "Wh/m2", "kWh/m2", "kW/m2",
    "MJ/m2/h", "ly/min", "J/m2",
)  # fmt: skip
"""Units of solar radiation, the usual ones first."""


def doubt_units(given: Readings, faults: Faults) -> None:
    """Ask about every column whose unit physics speaks against.

    Parameters
    ----------
    given : Readings
        The file as it was read.
    faults : Faults
        Takes the questions.
    """
    if given.hours > _DAY_HOURS:
        return
    doubt_air(given, faults)
    _doubt_rain(given, faults)
    _doubt_radiation(given, faults)
    _doubt_reference_et(given, faults)


# --- water ---------------------------------------------------------------------------------------

# Rain [mm]: means over wet days and wet hours that no climate keeps up, and those that it would
# take a cloudburst each time (our own choice, wider than monsoons, from memory).
_NO_CLIMATE_DAY, _NO_CLIMATE_HOUR = 120.0, 25.0
_CLOUDBURST_DAY, _CLOUDBURST_HOUR, _CLOUDBURST_ONCE = 40.0, 10.0, 150.0
_HARDLY_RAIN_DAY, _HARDLY_RAIN_MEAN = 3.0, 1.2
_FEW, _MANY_TENTHS = 3, 5
# Wet days that bring more [mm] than whole millimetres of a gauge do, time and again or a few times.
_TENTHS_DAY, _TENTHS_FEW = 15.0, 40.0
_INCHES, _MILLIMETRES = ("in", "inch", "inches"), ("mm", "l/m2", "kg/m2")


def _doubt_rain(given: Readings, faults: Faults) -> None:
    if not given.doubtful("rain"):
        return
    rain, unit = given.values["rain"], given.units["rain"]
    wet_steps = rain[rain > 0.0]
    days = given.days(rain, np.nansum)
    wet_days = days[days > 0.0] if days.size else wet_steps
    if not wet_steps.size or not wet_days.size:
        return
    if unit in _INCHES:
        other = "mm"
        written = wet_steps / 25.4
        # A gauge that counts inches counts hundredths; one that counts mm does not go so far.
        coarse = bool(np.all(np.abs(written * 10.0 - np.round(written * 10.0)) < 1e-6)) or (
            np.unique(written).size >= _FEW and bool(_whole_tips(written, 0.254).all())
        )
        few = wet_days.size < _FEW
        by_hour = given.hours <= 1.0 and wet_steps.size >= 2 * _FEW
        rate = float(wet_steps.mean()) / given.hours
        wrong = (
            (not few and wet_days.mean() > _NO_CLIMATE_DAY)
            or (by_hour and rate > _NO_CLIMATE_HOUR)
            or (coarse and not few and wet_days.mean() > _CLOUDBURST_DAY)
            or (coarse and few and wet_days.mean() > _CLOUDBURST_ONCE)
            or (coarse and by_hour and rate > _CLOUDBURST_HOUR)
            # Amounts of a gauge of hundredths are not all of them tenths by chance.
            or (coarse and wet_steps.size >= _MANY_TENTHS and np.unique(written).size >= 2)
        )
    elif unit in _MILLIMETRES:
        if _counts_of_rain(wet_steps, wet_days):
            ask_unit(
                given,
                faults,
                ["rain"],
                ["0.1 mm", "1/100 in"],
                f"{wet_days.size} wet days bring {wet_days.mean():.3g} mm each, all of them whole "
                f"numbers; in tenths of mm it would be {0.1 * wet_days.mean():.3g} mm each, in "
                f"hundredths of an inch {0.254 * wet_days.mean():.3g} mm",
            )
            return
        other = "in"
        # No bucket tips for less than 0.1 mm, and what shows hundredths sees more than drizzle.
        wrong = bool(np.any(~of_a_bucket(wet_steps))) and (
            wet_days.max() < _HARDLY_RAIN_DAY or wet_days.mean() < _HARDLY_RAIN_MEAN
        )
    else:
        return
    if wrong:
        ask_unit(
            given,
            faults,
            ["rain"],
            [other],
            f"{wet_days.size} wet days bring {wet_days.mean():.3g} mm each as read in {unit}, and "
            f"{given.read_as('rain', other)[rain > 0].sum() / wet_days.size:.3g} mm if the "
            f"numbers are in {other}",
        )


def _counts_of_rain(wet_steps: Column, wet_days: Column) -> bool:
    """Whether amounts [mm] are whole numbers and too large for a gauge that shows whole mm."""
    if wet_days.size == 1:
        return False
    most = _TENTHS_DAY if wet_days.size >= _MANY_TENTHS else _TENTHS_FEW
    return bool(np.all(wet_steps == np.round(wet_steps)) and wet_days.mean() > most)


def of_a_bucket(amounts: Column) -> NDArray[np.bool_]:
    """Whether amounts are whole tips of a usual bucket: 0.1, 0.2, 0.25 or 0.254 mm.

    Parameters
    ----------
    amounts : array, shape (n,)
        Amounts of steps [mm].

    Returns
    -------
    array of bool, shape (n,)
    """
    return _whole_tips(amounts, 0.1) | _whole_tips(amounts, 0.25) | _whole_tips(amounts, 0.254)


def _whole_tips(amounts: Column, tip: float) -> NDArray[np.bool_]:
    # Files round to hundredths, which 0.254 mm does not bear exactly.
    slack = 0.0051 if tip == 0.254 else 1e-6
    return np.asarray(np.abs(amounts - tip * np.round(amounts / tip)) <= slack)


def _doubt_reference_et(given: Readings, faults: Faults) -> None:
    """Ask where demand is out of all proportion to the sun that pays for it."""
    if not given.doubtful("reference_et") or given.site is None:
        return
    unit = given.units["reference_et"]
    days = given.days(given.values["reference_et"], np.sum)
    days = days[: len(given.day_edges) - 1]
    if not days.size or np.isnan(days).all():
        return
    top, _ = clear_sky_days(given.day_edges[: days.size + 1], given.site)
    # Water that all the sun at the top of the atmosphere would evaporate (FAO-56 eq. 20).
    most = np.maximum(terms.MM_PER_MJ * top, 1.0)
    share = days / most
    best = float(np.nanmax(share))
    few = np.sum(~np.isnan(days)) < _FEW
    other = "in" if unit in _MILLIMETRES or unit.startswith("mm") else "mm"
    tail = unit[2:] if unit.startswith(("mm/", "in/")) else ""
    if not (best < (0.01 if few else 0.02) or float(np.nanmedian(share)) > 1.3):
        return
    if unit == "mm" and best > 1.3 and np.all(days[~np.isnan(days)] % 1.0 == 0.0):
        ask_unit(
            given,
            faults,
            ["reference_et"],
            ["0.1 mm"],
            f"the most in a day is {np.nanmax(days):.3g} mm as read, and "
            f"{0.1 * np.nanmax(days):.3g} mm if the numbers are tenths of mm; the sun of that "
            f"season could evaporate {np.max(most):.0f} mm",
        )
        return
    swapped = given.days(given.read_as("reference_et", other + tail), np.sum)[: days.size]
    if 0.03 <= float(np.nanmax(swapped / most)) <= 1.3:
        ask_unit(
            given,
            faults,
            ["reference_et"],
            [other + tail],
            f"the most in a day is {np.nanmax(days):.3g} mm as read in {unit}, and "
            f"{np.nanmax(swapped):.3g} mm if the numbers are in {other + tail}; the sun of "
            f"that season could evaporate {np.max(most):.0f} mm",
        )


# --- radiation -----------------------------------------------------------------------------------


def _doubt_radiation(given: Readings, faults: Faults) -> None:
    if not given.doubtful("solar_radiation"):
        return
    column, unit = given.values["solar_radiation"], given.units["solar_radiation"]
    if given.site is None:
        # Without a place only this is sure: a sun of a few W/m2 at its highest is no day's.
        brightest = float(np.nanmax(column)) / given.hours / 3.6e-3
        whole_day = given.hours <= 3.0 and column.size * given.hours >= _DAY_HOURS
        if unit == "w/m2" and whole_day and 0.3 < brightest < 6.0:
            other = np.nanmax(given.read_as("solar_radiation", "mj/m2"))
            ask_unit(
                given,
                faults,
                ["solar_radiation"],
                ["MJ/m2"],
                f"the brightest step has {brightest:.2g} W/m2 as read, a thousandth of the sun, "
                f"and {other:.2g} MJ/m2 if the numbers are in MJ/m2",
            )
        return
    best, most, dark = _best_days(given, column)
    if np.isnan(best) or dark <= best <= _BRIGHTEST:
        return
    fitting = units_of_sky(given)[:2]
    if not fitting and best < dark:
        faults.add(
            f"the brightest day has {most:.3g} MJ/m2, {best:.2g} of a clear sky there, darker than "
            "any weather: a sensor that is covered or off?",
            where="solar_radiation",
            cure='leave the column out with columns={"unused": '
            f"{quoted(given.headers['solar_radiation'])}}}, or say "
            f'ranges={{"solar_radiation": {span_text(column)}}} if it is true',
        )
        return
    if fitting:
        shown = " or ".join(f"{value:.3g} MJ/m2 in {told}" for told, value in fitting)
        ask_unit(
            given,
            faults,
            ["solar_radiation"],
            [told for told, _ in fitting],
            f"the brightest day has {most:.3g} MJ/m2 as read in {unit}, {best:.2g} of a clear sky "
            f"there; it would be {shown}",
        )


def _best_days(given: Readings, radiation: Column) -> tuple[float, float, float]:
    """Best days of a column of radiation: against a clear sky, in MJ/m2, and how dark they may be.

    NaN where there are no days, or the sun hardly rises.
    """
    days = given.days(radiation, np.sum)[: len(given.day_edges) - 1]
    there = ~np.isnan(days)
    if there.any() and given.site is not None:
        _, clear = clear_sky_days(given.day_edges[: days.size + 1], given.site)
        there &= clear > 1.0
        if there.any():
            share = float(np.quantile(days[there] / clear[there], 0.9))
            few = there.sum() < _FEW
            long = there.sum() >= _FORTNIGHT
            dark = _DARKEST_OF_FEW if few else _DARKEST_OF_MANY if long else _DARKEST
            return share, float(days[there].max()), dark
    return np.nan, np.nan, np.nan


def units_of_sky(given: Readings) -> list[tuple[str, float]]:
    """Units in which a column of radiation would suit the sky of its place.

    Parameters
    ----------
    given : Readings
        With solar radiation and a site.

    Returns
    -------
    list of tuple
        Unit, and the radiation of the brightest day in it [MJ m-2].
    """
    now = _best_days(given, given.values["solar_radiation"])[0]
    fitting = []
    for text in RADIATION_UNITS:
        best, most, _ = _best_days(given, given.read_as("solar_radiation", text.lower()))
        if 0.25 <= best <= 1.15 and abs(best - now) > 1e-9:
            fitting.append((text, most))
    return fitting
