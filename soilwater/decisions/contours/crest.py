"""What the shape of the ground is worth at each place, in centimetres of depth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from soilwater.decisions.contours.places import place_columns
from soilwater.decisions.level_columns import level_columns
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.green_map import GreenMap
from soilwater.runs.many_grounds import simulate_grounds
from soilwater.runs.meter import meter_reading
from soilwater.runs.transect import Transect
from soilwater.survey.survey import Survey
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import InputError, nothing_to_hand_back
from soilwater.words.forms import Length, StartingWater
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import hours_between, stamp
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

DRAWS = 8
"""Sands that a band is taken over: each is a whole run of the ground."""
MOST_SHOWN = 12


@dataclass(frozen=True, eq=False, repr=False)
class CrestEffect(Displayed, Tabled):
    """What water that runs sideways does to the reading of each place.

    Attributes
    ----------
    places : Dataset
        Over ``distance`` or ``spot``: `reading`, `reading_alone` [1], `extra_depth` [cm] (how much
        deeper the place behaves than it is; below 0 where it gets water) and its ends
        `extra_depth_lower` and `extra_depth_upper` over the sands.
    when : str
        Time of the readings.
    rod : float
        Length of the rods [cm].
    spacing : float
        Distance of the columns [cm], of a line the largest.
    cautions : tuple of str
        What must stand beside the answer.
    """

    places: xr.Dataset
    when: str
    rod: float
    spacing: float
    cautions: tuple[str, ...]

    def at(self, survey: Survey) -> dict[str, tuple[float, float]]:
        """Find the ends of the extra depth at the spots of a survey, for `diagnose`.

        Parameters
        ----------
        survey : Survey
            Spots with places, in metres from the same point as the green's.

        Returns
        -------
        dict of str to tuple of float
            By name [cm]; spots that lie in no cell of the green are left out.

        Raises
        ------
        InputError
            If this is of a line, which no spot has a place on.
        """
        if "spot" not in self.places.dims:
            raise InputError(
                "CrestEffect.at: it is of a line; allowed: of a GreenMap, whose cells have places."
            )
        cells = np.stack([self.places.x.values, self.places.y.values], axis=-1)
        found = {}
        for spot in survey.spots:
            if spot.x is None or spot.y is None:
                continue
            away = np.abs(cells - (spot.x, spot.y)).max(axis=1)
            nearest = int(np.argmin(away))
            if away[nearest] <= 0.5 * self.spacing / 100.0 + 1e-9:
                cell = self.places.isel(spot=nearest)
                ends = float(cell.extra_depth_lower), float(cell.extra_depth_upper)
                found[spot.name] = ends
        return found

    def _columns(self) -> list[Column]:
        places = self.places
        return [
            *place_columns(places),
            Column("depth", places.root_zone_depth.values, "length"),
            Column("reading", places.reading.values, "water_content"),
            Column("reading alone", places.reading_alone.values, "water_content"),
            Column("like more depth", places.extra_depth.values, "length"),
            Column("at least", places.extra_depth_lower.values, "length"),
            Column("at most", places.extra_depth_upper.values, "length"),
        ]

    def _shown(self) -> Shown:
        along = str(self.places.reading.dims[0])
        order = np.argsort(self.places.extra_depth.values)
        if along == "distance":
            order = np.arange(order.size)
        n = order.size
        chosen = order[np.unique(np.linspace(0, n - 1, min(n, MOST_SHOWN)).round().astype(int))]
        rows = []
        one, far = one_writing("length"), one_writing("distance")
        for i in chosen:
            place = self.places.isel({along: int(i)})
            if along == "distance":
                where = f"{far.of(float(place.distance) / 100.0):.2f} {far.unit}"
            else:
                east, north = (in_one_unit(float(each), "distance") for each in (place.x, place.y))
                where = f"{east} east, {north} north"
            rows.append(
                (
                    where,
                    in_people_units(float(place.root_zone_depth), "length"),
                    f"{100.0 * float(place.reading):.1f} %",
                    f"{100.0 * float(place.reading_alone):.1f} %",
                    f"{_signed(place.extra_depth)} {one.unit}",
                    f"{_signed(place.extra_depth_lower)} to "
                    f"{_signed(place.extra_depth_upper)} {one.unit}",
                )
            )
        title = f"Readings on {self.when}, {in_people_units(self.rod, 'length')} rods"
        return Shown(title, _HEADER, rows, caution_lines(self.cautions), set_in=True)


def _signed(extra: xr.DataArray) -> str:
    """Write an extra depth [cm] with its sign."""
    # Adding 0 turns a rounded -0 into 0.
    return f"{round(one_writing('length').of(float(extra)), 1) + 0.0:+.1f}"


_HEADER = ("place", "depth", "reads", "alone", "behaves deeper by", "over the sands")


@mind_words()
def crest_effect(
    ground: Transect | GreenMap,
    weather: Weather,
    *,
    rod: Length,
    sand: Sand | None = None,
    draws: int = DRAWS,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    n_threads: int | None = None,
) -> CrestEffect:
    """Say how many centimetres of depth the shape of the ground is worth at each place.

    Each place is run with water passing sideways, and held to level columns of many depths under
    the same weather: that which reads the same is as deep as the place behaves.

    Parameters
    ----------
    ground : Transect or GreenMap
        The line or the green.
    weather : Weather
        Rain and reference evapotranspiration up to the time of the readings.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    sand : Soil, FitResult or sequence of these, optional
        The root-zone sand; of a fit or several, the band is over `draws` of them. That of the
        ground when left out, without a band.
    draws : int, optional
        Most sands run.
    turf : Turf, optional
        Roots and demand.
    start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
        As for `simulate`; one suction is in [cm].
    irrigation : sequence of Event, optional
        Water applied.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    CrestEffect

    Raises
    ------
    InputError
        As for `simulate_grounds`.

    Examples
    --------
    >>> import soilwater as sw
    >>> mix = sw.VanGenuchten(0.05, 0.42, 0.039, 3.0, "28 cm/h")
    >>> green = sw.Profile.over_gravel(mix, "30 cm", base_suction=3.0)
    >>> line = sw.Transect(["0 m", "5 m", "10 m"], "2 %", ["30 cm"] * 3, green)
    >>> effect = sw.crest_effect(line, sw.steady_weather(2, 0.0), rod="3 in")
    >>> round(float(effect.places.extra_depth.sel(distance=0.0)), 0)
    6.0
    """
    length = number_to_house(rod, "length", "rod")
    green = ground.green
    own = green.layers[green.layer_index()].soil
    best, likely = (own, (own,)) if sand is None else best_and_likely(sand, draws)
    soils = (best, *(each for each in likely if each != best))
    with nothing_to_hand_back():
        run = simulate_grounds(
            [replace(ground, green=green.with_soil(soil)) for soil in soils],
            weather,
            turf=turf,
            start=start,
            irrigation=irrigation,
            output=float(hours_between(weather.start, weather.end)),
            keep=("node_suction",),
            n_threads=n_threads,
        )
    reading = meter_reading(run, rod=length).isel(time=-1)
    table = level_columns(
        green, soils, weather, rod=length, turf=turf, start=start, irrigation=irrigation,
        n_threads=n_threads,
    )  # fmt: skip
    along = str(reading.dims[-1])
    depth = np.array([profile.depth for profile in ground.ground().profiles])
    values = reading.values
    extra = table.depth_that_reads(values) - depth
    places = xr.Dataset(
        {
            "reading": (along, values[0]),
            "reading_alone": (along, np.interp(depth, table.depth, table.reading[0])),
            "extra_depth": (along, extra[0]),
            "extra_depth_lower": (along, extra.min(axis=0)),
            "extra_depth_upper": (along, extra.max(axis=0)),
            "root_zone_depth": (along, depth),
        },
        {name: (along, each) for name, each in ground.ground().coordinates.items()},
    )
    cautions = cautions_for("sloping ground", "accuracy")
    return CrestEffect(attach(places), stamp(weather.end), length, ground.spacing, cautions)
