"""A site in one file: its grounds, sands, meter and crew, with its history in tables beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.base_suction import OVER_GRAVEL, BaseSuction
from soilwater.ground.turf import Turf
from soilwater.lab.fit_result import FitResult
from soilwater.lab.retention import RetentionTable
from soilwater.lab.sheet import read_retention
from soilwater.site.gravel import Gravel
from soilwater.site.tables import (
    KINDS,
    READINGS,
    WATER,
    DatedReading,
    GivenWater,
    add_to,
    known_spot,
)
from soilwater.site.weather import SiteWeather
from soilwater.soils import VanGenuchten
from soilwater.survey.survey import Spot, Survey
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.forms import Date, WaterAmount, WaterContent
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.times import as_time, stamp
from soilwater.words.unit_choice import worded
from soilwater.words.units import number_to_house

TURFS = {
    "creeping bentgrass": Turf.creeping_bentgrass,
    "bermudagrass": Turf.bermudagrass,
    "cool season": Turf.cool_season_california,
    "warm season": Turf.warm_season_california,
}
"""Turfs a site file may name."""


@dataclass(frozen=True)
class SandSheet:
    """A sand of the site, and the lab sheet it stands on.

    Parameters
    ----------
    name : str
        What the file calls it.
    sheet : Path
        The lab's file.
    settings : tuple of (str, str)
        What the sheet leaves open, by the names `read_retention` has for it.
    """

    name: str
    sheet: Path
    settings: tuple[tuple[str, str], ...] = ()

    def table(self) -> RetentionTable:
        """Read the sheet.

        Raises
        ------
        InputError
            As `read_retention` does.
        """
        given: dict[str, Any] = dict(self.settings)
        return read_retention(self.sheet, **given)

    def fit(self) -> FitResult:
        """Fit a curve to the sheet, once for as long as the process lives."""
        return _fitted(self)


@lru_cache(maxsize=64)
def _fitted(sand: SandSheet) -> FitResult:
    return sand.table().fit(VanGenuchten)


@dataclass(frozen=True)
class Green:
    """A green, tee or field of the site.

    Parameters
    ----------
    name : str
        What people call it.
    sand : str
        Name of its sand.
    turf : Turf
        What grows on it.
    spots : tuple of Spot
        In the order in which the crew walks.
    base_suction : BaseSuction or None, optional
        Suction left at the base, where the file states it.
    gravel : str, optional
        Name of the gravel below; empty where it is not known.
    water_table : float, optional
        Depth of a water table below the surface [cm]; NaN without.
    """

    name: str
    sand: str
    turf: Turf
    spots: tuple[Spot, ...]
    base_suction: BaseSuction | None = None
    gravel: str = ""
    water_table: float = math.nan


@dataclass(frozen=True)
class Crew:
    """What a crew has for a morning: hoses, their flow [L/min], and hours [h]; NaN if not known."""

    flow: float = math.nan
    hoses: int = 1
    hours: float = math.nan


@dataclass(frozen=True, repr=False)
class SiteFile(Displayed, Tabled):
    """What `read_site_file` found in a site file and the tables beside it.

    Attributes
    ----------
    path : Path
        The file.
    name : str
        Of the site.
    sands : tuple of SandSheet
        Each with its lab sheet.
    gravels : tuple of Gravel
        Each by its curve or entry suction.
    greens : tuple of Green
        In the order of the file.
    thresholds : Thresholds
        Readings of this ground at which something begins.
    rod : float
        Length of the meter's rods [cm].
    meter_error : float
        Standard error of one reading [1].
    crew : Crew
        Hoses, their flow and the crew's hours.
    weather : SiteWeather
        The station's past, the forecast, and what is expected beyond.
    readings : tuple of DatedReading
        All that was read, in order of time.
    water : tuple of GivenWater
        All that was given, in order of time.
    readings_path, water_path : Path
        Tables these stand in.
    """

    path: Path
    name: str
    sands: tuple[SandSheet, ...]
    gravels: tuple[Gravel, ...]
    greens: tuple[Green, ...]
    thresholds: Thresholds
    rod: float
    meter_error: float
    crew: Crew
    weather: SiteWeather
    readings: tuple[DatedReading, ...]
    water: tuple[GivenWater, ...]
    readings_path: Path
    water_path: Path

    def green(self, name: str) -> Green:
        """Find a green by its name.

        Parameters
        ----------
        name : str
            As in the file.

        Raises
        ------
        InputError
            If the file has no such green.
        """
        found = next((each for each in self.greens if each.name == name), None)
        if found is None:
            faults = Faults(self.path.name)
            faults.add(f'no green "{name}"', allowed=", ".join(each.name for each in self.greens))
            raise faults.as_error()
        return found

    def sand(self, name: str) -> FitResult:
        """Fit the sand of a green to its lab sheet.

        Parameters
        ----------
        name : str
            Of the green.

        Raises
        ------
        InputError
            If the file has no such green.
        """
        wanted = self.green(name).sand
        return next(each for each in self.sands if each.name == wanted).fit()

    def base_suction(self, name: str) -> BaseSuction:
        """Find the suction left at the base of a green once it has drained.

        Parameters
        ----------
        name : str
            Of the green.

        Returns
        -------
        BaseSuction
            As the file states it; by the curve of its gravel; above a water table that stays; or,
            where nothing is said of what lies below, that over gravel as it is usually built.

        Raises
        ------
        InputError
            If the file has no such green, or its sand cannot be fitted.
        """
        green = self.green(name)
        depths = [spot.depth for spot in green.spots if spot.has_depth]
        if green.base_suction is not None:
            return green.base_suction
        if green.gravel and depths:
            gravel = next(each for each in self.gravels if each.name == green.gravel)
            return gravel.suction_below(self.sand(name).soil, depths)
        if not math.isnan(green.water_table) and depths:
            above = sorted(green.water_table - depth for depth in depths)
            far = "from the deepest spot to the shallowest"
            why = worded(
                lambda: (
                    f"above a water table at {in_people_units(green.water_table, 'length')}, {far}"
                )
            )
            return BaseSuction(sum(above) / len(above), above[0], above[-1], why)
        return OVER_GRAVEL

    def survey(self, name: str, day: Date | None = None) -> Survey:
        """Put the spots of a green together with what was read on one day.

        Parameters
        ----------
        name : str
            Of the green.
        day : datetime64 or str, optional
            The day; the last on which the green was read when left out.

        Returns
        -------
        Survey
            For `diagnose`, `hand_water_plan` and all else that takes one.

        Raises
        ------
        InputError
            If the file has no such green.
        """
        green = self.green(name)
        mine = [each for each in self.readings if each.green == name]
        if day is not None:
            wanted = as_time(day, "day").astype("datetime64[D]")
        else:
            wanted = _day_of(mine[-1]) if mine else np.datetime64("NaT")
        today = [each for each in mine if _day_of(each) == wanted]
        return Survey(
            tuple(
                _with_readings(spot, [each for each in today if each.spot == spot.name])
                for spot in green.spots
            ),
            name=f"{self.name}, {name}" if self.name else name,
        )

    def add_readings(
        self, green: str, readings: Mapping[str, WaterContent], time: Date, *, meter: str = ""
    ) -> None:
        """Add what was read to the table of readings; nothing that stands there is touched.

        Parameters
        ----------
        green : str
            Where.
        readings : mapping of str to float or str
            Water content [1] by spot.
        time : datetime64 or str
            When.
        meter : str, optional
            Which meter, where several are in use.

        Raises
        ------
        InputError
            If there is no such green or spot, or a value is no water content; nothing is added
            then.

        Notes
        -----
        This object stays as it was read; read the file again to see what was added.
        """
        faults = Faults("add_readings")
        rows = []
        when = as_time(time, "time")
        for spot, given in readings.items():
            with faults.catching(spot):
                value = number_to_house(given, "water_content", "reading")
                known_spot(green, spot, self.spot_names)
                rows.append(
                    {
                        **_dated(green, spot, when),
                        "reading": f"{100.0 * value:.4g} %",
                        "rod": f"{self.rod:g} cm",
                        "meter": meter,
                    }
                )
        faults.raise_if_any()
        add_to(self.readings_path, READINGS, rows)

    def add_water(
        self,
        green: str,
        kind: str,
        time: Date,
        amount: WaterAmount | None = None,
        *,
        spot: str = "",
    ) -> None:
        """Add water that was given to its table; nothing that stands there is touched.

        Parameters
        ----------
        green : str
            Where.
        kind : {"soaking", "heads", "hose"}
            A soaking until it drains, sprinkler heads, or a hose.
        time : datetime64 or str
            When it began.
        amount : float, str or Quantity, optional
            How much [mm]; only that of a soaking may be left out.
        spot : str, optional
            The spot, where it was not the whole green.

        Raises
        ------
        InputError
            If something given cannot be used; nothing is added then.

        Notes
        -----
        This object stays as it was read; read the file again to see what was added.
        """
        faults = Faults("add_water")
        if kind not in KINDS:
            faults.add(f"kind is {kind!r}", allowed=", ".join(f'"{each}"' for each in KINDS))
        if amount is None and kind != "soaking":
            faults.add("amount is missing", cure="only that of a soaking may be left out")
        written = ""
        with faults.catching():
            if amount is not None:
                written = f"{number_to_house(amount, 'water_amount', 'amount'):.4g} mm"
        with faults.catching():
            known_spot(green, spot, self.spot_names)
        faults.raise_if_any()
        row = {**_dated(green, spot, as_time(time, "time")), "kind": kind, "amount": written}
        add_to(self.water_path, WATER, [row])

    @property
    def spot_names(self) -> dict[str, tuple[str, ...]]:
        """Names of spots by the name of their green."""
        return {each.name: tuple(spot.name for spot in each.spots) for each in self.greens}

    def _columns(self) -> list[Column]:
        rows = [(green, spot) for green in self.greens for spot in green.spots]
        return columns_of(
            rows,
            [
                ("green", lambda row: row[0].name, ""),
                ("spot", lambda row: row[1].name, ""),
                ("sand", lambda row: row[0].sand, ""),
                ("depth", lambda row: row[1].depth, "length"),
                ("area", lambda row: row[1].area, "area"),
                ("slope", lambda row: row[1].slope, "slope"),
            ],
        )

    def _shown(self) -> Shown:
        rows = []
        for green in self.greens:
            depths = [spot.depth for spot in green.spots if spot.has_depth]
            between = (
                f"{in_people_units(min(depths), 'length')} to "
                f"{in_people_units(max(depths), 'length')}"
                if depths
                else "not probed"
            )
            read = [each.time for each in self.readings if each.green == green.name]
            soaked = [
                each.time
                for each in self.water
                if each.green == green.name and each.kind == "soaking"
            ]
            rows.append(
                (
                    green.name,
                    green.sand,
                    str(len(green.spots)),
                    between,
                    stamp(read[-1]) if read else "-",
                    stamp(soaked[-1]) if soaked else "-",
                )
            )
        title = f'Site "{self.name}", rods of {in_people_units(self.rod, "length")}'
        return Shown(title, _HEADER, rows, set_in=True)


_HEADER = ("green", "sand", "spots", "depths", "last read", "last soaked")


def _day_of(read: DatedReading) -> np.datetime64:
    day: np.datetime64 = read.time.astype("datetime64[D]")
    return day


def _with_readings(spot: Spot, read: list[DatedReading]) -> Spot:
    return replace(spot, readings=tuple(each.reading for each in read))


def _dated(green: str, spot: str, time: np.datetime64) -> dict[str, str]:
    date, clock = str(time.astype("datetime64[m]")).split("T")
    return {"date": date, "time": clock, "green": green, "spot": spot}
