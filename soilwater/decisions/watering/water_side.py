"""The wet side: what a flush takes, and when the air comes back after rain.

Filling a profile and leaching it are two amounts. The rule of thumb takes depth times air-filled
porosity at one suction, as if the sand were equally dry all the way down; the low part of a
perched profile is wet already. What leaches salt is the water that passes through.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr

from soilwater.decisions.targets import AirTarget, air_target
from soilwater.decisions.watering.ensembles import band_of
from soilwater.decisions.watering.water_plan import gallons_per_1000_ft2
from soilwater.ground.base import WaterTable
from soilwater.ground.mesh import Mesh
from soilwater.ground.profile import Profile
from soilwater.lab.equally_likely import Sand, best_and_conducting
from soilwater.runs.case import Case
from soilwater.runs.columns_of import each_column
from soilwater.runs.drained import (
    drained_state,
    drained_storage,
    drained_water_content,
    mean_over_depth,
)
from soilwater.runs.meter import meter_reading
from soilwater.runs.simulate import simulate_many
from soilwater.runs.wetted import USUAL_RAIN, AfterRain, gently
from soilwater.soils import Soil
from soilwater.weather.made import steady_weather
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError, nothing_to_hand_back
from soilwater.words.forms import Length, Share, TimeSpan, WaterContent
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_one_unit, in_people_units, one_writing
from soilwater.words.renamed import mind_words
from soilwater.words.times import hours_between, to_timedelta
from soilwater.words.unit_choice import shown, worded
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

DRAWS = 15
"""Conductivities, and of a fit whole curves, that limits are made of."""

RULE_SUCTION = 30.0
"""Suction [cm] at which the rule of thumb takes the air-filled porosity (common practice)."""


@dataclass(frozen=True, repr=False)
class Flush(Displayed, Tabled):
    """Water for a flush, the filling and the leaching apart.

    Attributes
    ----------
    fill : float
        Water that saturates the drained profile [mm]; it leaches nothing.
    fill_after_rain : float or None
        The same where sand that remembers was watered last by 10 mm/h while dry [mm]; None where
        none does, and where a rain was given.
    pore_volume : float
        Water the whole profile holds when saturated [mm].
    throughflow : float
        Water that passes through after that [mm].
    total : float
        What reaches the ground [mm], of which the driest part gets fill and throughflow.
    rule_of_thumb : float
        Depth times air-filled porosity at 30 cm of suction [mm], for comparison with `fill`.
    pore_volumes : float
        Pore volumes passed through [1].
    uniformity : float
        Distribution uniformity of the water applied [1].
    cautions : tuple of str
        What must stand beside the answer.
    """

    fill: float
    fill_after_rain: float | None
    pore_volume: float
    throughflow: float
    total: float
    rule_of_thumb: float
    pore_volumes: float
    uniformity: float
    cautions: tuple[str, ...]

    def _columns(self) -> list[Column]:
        amounts = [
            ("fill", self.fill),
            *self._after_rain("fill after {}"),
            ("throughflow", self.throughflow),
            ("total", self.total),
            ("rule of thumb for the fill", self.rule_of_thumb),
            ("pore volume", self.pore_volume),
        ]
        return columns_of(
            amounts,
            [
                ("what", lambda each: each[0], ""),
                ("water", lambda each: each[1], "water_amount"),
                ("on area", lambda each: each[1], "water_on_area"),
            ],
        )

    def _after_rain(self, what: str) -> list[tuple[str, float]]:
        if self.fill_after_rain is None:
            return []
        return [(what.format(gently()), self.fill_after_rain)]

    def _rows(self) -> list[tuple[str, ...]]:
        amounts = (
            ("to saturate the drained profile", self.fill),
            *self._after_rain("to saturate it drained after {}"),
            (f"to pass {self.pore_volumes:g} pore volumes through", self.throughflow),
            (f"together, at a uniformity of {100 * self.uniformity:.0f} %", self.total),
            ("rule of thumb for the filling", self.rule_of_thumb),
        )
        return [
            (what, *(cell for cells in shown(*_in_both(mm)) for cell in cells))
            for what, mm in amounts
        ]

    def _shown(self) -> Shown:
        lines = caution_lines(self.cautions)
        units = shown(("mm = L/m2",), ("in", "US gal/1000 ft2"))
        header = ("water", *(unit for each in units for unit in each))
        return Shown("", header, self._rows(), lines, caption="Flush")


def _in_both(mm: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Cells of an amount of water [mm] in metric and in US units."""
    return (f"{mm:.0f}",), (f"{mm / 25.4:.1f}", f"{gallons_per_1000_ft2(mm):.0f}")


def _counted() -> str:
    amount = one_writing("water_amount")
    needed, said = (
        f"{amount.figure(low)} to {amount.figure(high)} {amount.unit}"
        for low, high in ((18.0, 29.0), (149.0, 256.0))
    )
    return (
        "volumes are counted here, salt is not carried: a trial of salt moving with water brought "
        f"the top {in_one_unit(15.0, 'length')} from 4 to 2 dS/m with {needed} where one counted "
        f"pore volume said {said}: salt leaves the top before the profile has filled; start with "
        "less; the meter and the drain water tell"
    )


@mind_words()
def flush_water(
    profile: Profile,
    *,
    pore_volumes: float,
    uniformity: Share = 1.0,
    after: AfterRain | None = None,
) -> Flush:
    """Work out the water for a flush: the filling and the leaching apart.

    Volumes are counted, salt is not carried with the water. A computed trial that carried it
    brought the top 15 cm from 4 to 2 dS/m with 18 to 29 mm, where one counted pore volume says 149
    to 256: the top is leached long before the profile has filled.

    Parameters
    ----------
    profile : Profile
        Layers and base condition, drained before the flush.
    pore_volumes : float
        Pore volumes of throughflow wanted [1]. About one displaces 60 to 80 % of the salts (from
        memory); how much is needed is not modelled here: measure the drain.
    uniformity : float or str, optional
        Distribution uniformity of the water applied [1]; the driest quarter gets this share of
        the mean.
    after : AfterRain, optional
        How sand that remembers was wetted last before it drained; gently watered, it holds less,
        and takes more to fill. Flooded, when left out, and the other fill stands beside it.
        Pores in which air stays trapped are counted as filled.

    Returns
    -------
    Flush
        Amounts [mm], beside the rule of thumb.

    Raises
    ------
    InputError
        If the profile comes to no rest, a number cannot be used, or nothing remembers the rain of
        `after`; all faults at once.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> flush = flush_water(Profile.over_gravel(sand, "30 cm"), pore_volumes=1.0)
    >>> round(flush.fill), round(flush.rule_of_thumb), round(flush.throughflow)
    (30, 62, 120)
    """
    faults = Faults("flush_water")
    share = 1.0
    with faults.catching():
        share = number_to_house(uniformity, "fraction", "uniformity")
    if not 0.0 < share <= 1.0:
        faults.add(f"uniformity is {share:g}", allowed="above 0, up to 1")
    if not 0.0 <= pore_volumes < 100.0:
        faults.add(f"pore_volumes is {pore_volumes!r}", allowed="0 or more")
    held = 0.0
    with faults.catching():
        held = drained_storage(profile) if after is None else _held_after(profile, after)
    faults.raise_if_any()
    full = sum(10.0 * layer.thickness * layer.soil.theta_s for layer in profile.layers)
    rule = sum(
        10.0
        * layer.thickness
        * (layer.soil.theta_s - float(layer.soil.water_content(RULE_SUCTION)))
        for layer in profile.layers
    )
    through = pore_volumes * full
    gently_watered = None
    if after is None and profile.remembers:
        gently_watered = full - _held_after(profile, USUAL_RAIN)
    return Flush(
        fill=full - held,
        fill_after_rain=gently_watered,
        pore_volume=full,
        throughflow=through,
        total=(full - held + through) / share,
        rule_of_thumb=rule,
        pore_volumes=pore_volumes,
        uniformity=share,
        cautions=(
            worded(_counted),
            *cautions_for("salt", "label", "backflow", "water law"),
        ),
    )


def _held_after(profile: Profile, after: AfterRain) -> float:
    return float(drained_state(profile, after=after).storage)


@mind_words()
def air_after_rain(
    profile: Profile,
    depths: Sequence[Length],
    *,
    air_filled: WaterContent,
    root_layer: Length,
    standing_water: Length = 0.0,
    hours: TimeSpan = 96.0,
    layer: str | None = None,
    sand: Sand | None = None,
    n_threads: int | None = None,
) -> xr.Dataset:
    """Work out when the root layer has its air back after a soaking rain, by depth.

    Each root zone starts saturated to the surface and drains, without any demand of the turf: at
    night, or in a cold wet spell. Turf in the sun is quicker.

    Parameters
    ----------
    profile : Profile
        Layers and base condition; only one thickness is changed.
    depths : sequence of float, str or Quantity
        Thicknesses of the root zone [cm].
    air_filled : float, str, Quantity or AirTarget
        Air-filled porosity that is wanted back [1], or a key of `AIR_TARGETS`.
    root_layer : float, str or Quantity
        Thickness of the layer from the surface whose air counts [cm].
    standing_water : float, str or Quantity, optional
        Height of water standing above the base [cm], as behind a blocked outlet: the base then is
        a water table instead of that of the profile.
    hours : float, str or Quantity, optional
        How long to follow the drainage [h].
    layer : str, optional
        Name of the layer to vary; the root zone, or the only layer, when left out.
    sand : Soil, FitResult or sequence of these, optional
        What fills it; its soil when left out. A fit carries its sample into the limits; without
        one they are of how well sands have measured conductivity.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    Dataset
        Over ``root_zone_depth`` [cm]: `hours_until_air` [h], 0 where the air never goes, infinity
        where it is not back in time, with its 80 % limits; and `air_filled_porosity` [1] once
        drained. Its attribute ``explanation`` says why minutes may be right.

    Raises
    ------
    InputError
        If a depth or number cannot be used, or the profile comes to no rest.
    """
    target = air_target(air_filled)
    thickness = number_to_house(root_layer, "length", "root_layer")
    standing = number_to_house(standing_water, "length", "standing_water")
    span = number_to_house(hours, "duration", "hours")
    if standing < 0.0:
        raise InputError(f"standing_water: {standing:g} cm; allowed: 0 or more.")
    if not 1.0 <= span <= 2400.0:
        raise InputError(f"hours: {span:g}; allowed: 1 to 2400.")
    number = profile.layer_index(layer)
    best, likely = best_and_conducting(profile.layers[number].soil if sand is None else sand, DRAWS)
    filled = profile if sand is None else profile.with_soil(best, layer=layer)
    profiles = [filled.with_thickness(depth, layer=layer) for depth in depths]
    if standing > 0.0:
        profiles = [
            replace(each, base=WaterTable(max(each.depth - standing, 0.0))) for each in profiles
        ]
    weather = steady_weather(max(1, int(np.ceil(span / 24.0))), 0.0)
    # Close at first: most of the water leaves within the hour.
    steps = np.concatenate([[0.0], np.geomspace(1.0 / 60.0, span, 240)])
    times = weather.start + np.array([to_timedelta(step) for step in steps])
    every = [*profiles, *(each.with_soil(one, layer=layer) for each in profiles for one in likely)]
    with nothing_to_hand_back():
        run = simulate_many(
            [Case(each, weather) for each in every],
            output=times,
            keep=("node_suction",),
            n_threads=n_threads,
        )
    air = air_filled_porosity(run, thickness).transpose("case", "time")
    since = np.asarray(hours_between(run.time.values[0], run.time.values))
    back = np.array([_first_above(since, values, target.least) for values in air])
    back, drawn = np.split(back, [len(profiles)])
    low, _, high = np.transpose([band_of(each) for each in drawn.reshape(len(profiles), -1)])
    along = "root_zone_depth"
    drained = [
        _saturated(each.mesh(), thickness) - drained_water_content(each, 0.0, thickness)
        for each in profiles
    ]
    dataset = xr.Dataset(
        {
            "hours_until_air": (along, back),
            "hours_until_air_lower": (along, np.minimum(low, back)),
            "hours_until_air_upper": (along, np.maximum(high, back)),
            "air_filled_porosity": (along, drained),
        },
        coords={along: [each.layers[number].thickness for each in profiles]},
    )
    attached: xr.Dataset = attach(dataset)
    attached.attrs = {
        "title": "Air in the root layer after a soaking rain",
        "air": str(target),
        "root_layer_cm": thickness,
        "standing_water_cm": standing,
        "base": str(profiles[0].base) if standing == 0.0 else f"water {standing:g} cm above base",
        "explanation": _why_so_soon(profiles[0].layers[number].soil, target, thickness),
        "cautions": "\n".join(cautions_for("level ground", "not modelled", "construction")),
    }
    return attached


def _why_so_soon(soil: Soil, target: AirTarget, layer: float) -> str:
    """Explain hours until air that seem short: what has to leave, and how fast it may."""
    water = 10.0 * target.least * layer
    minutes = 6.0 * water / soil.k_sat
    return (
        "hours count from the end of the rain, with the surface free of water: "
        f"{100 * target.least:g} % air in the top {in_people_units(layer, 'length')} is "
        f"{water:.1f} mm to drain, which a sand that conducts "
        f"{in_people_units(soil.k_sat, 'conductivity')} may lose in {minutes:.0f} min while it is "
        "saturated; minutes are right for a root layer well above the gravel, hours come where the "
        "air wanted is near what the depth gives at rest. Fouled sand, a mat or a pond take longer"
    )


def air_filled_porosity(run: xr.Dataset, root_layer: Length) -> xr.DataArray:
    """Mean air-filled porosity of the layer below the surface.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many`, `compare_depths` or `drained_state`.
    root_layer : float, str or Quantity
        Thickness of the layer [cm].

    Returns
    -------
    DataArray
        Pore space less water [1], over the batch and time of the run.

    Raises
    ------
    InputError
        If the layer is thicker than a profile, or `run` is no result.
    """
    reading = meter_reading(run, rod=root_layer)
    thickness = float(reading.attrs["rod_length_cm"])
    full = [_saturated(column.mesh, thickness) for column in each_column(run)]
    batch = run.profile.dims
    saturated = xr.DataArray(np.reshape(full, run.profile.shape), dims=batch)
    air = (saturated - reading).transpose(*reading.dims).rename("air_filled_porosity")
    attached: xr.DataArray = attach(air)
    return attached


@mind_words()
def days_below_air(
    run: xr.Dataset, air_filled: WaterContent, *, root_layer: Length
) -> xr.DataArray:
    """Time a root layer spends with too little air in a simulated spell of weather.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many` or `compare_depths`, with output often enough to see a
        wet night.
    air_filled : float, str, Quantity or AirTarget
        Air-filled porosity that is too little below [1], or a key of `AIR_TARGETS`.
    root_layer : float, str or Quantity
        Thickness of the layer from the surface whose air counts [cm].

    Returns
    -------
    DataArray
        Days [d] over the batch of the run, straight between output times; NaN where the case has
        no result.

    Raises
    ------
    InputError
        If the run has no times, or as for `air_filled_porosity`.
    """
    least = air_target(air_filled).least
    air = air_filled_porosity(run, root_layer)
    if "time" not in air.dims:
        raise InputError("Dataset: it has no times; give the result of a simulation.")
    days = np.asarray(hours_between(run.time.values[0], run.time.values)) / 24.0
    values = air.transpose(..., "time").values
    left, right = values[..., :-1] - least, values[..., 1:] - least
    # Of each interval the part of the straight line that lies below.
    share = np.where((left < 0.0) & (right < 0.0), 1.0, 0.0)
    crossing = (left < 0.0) != (right < 0.0)
    deficit = np.minimum(left, right)
    span = np.where(crossing, np.abs(left - right), 1.0)
    share = np.where(crossing, -deficit / span, share)
    total = np.sum(share * np.diff(days), axis=-1)
    total = np.where(np.isfinite(values).all(axis=-1), total, np.nan)
    rest = [dim for dim in air.dims if dim != "time"]
    below = xr.DataArray(
        total, {dim: air[dim] for dim in rest if dim in air.coords}, rest, name="days_below_air"
    )
    attached: xr.DataArray = attach(below)
    attached.attrs.update(
        air_filled_porosity=least, root_layer_cm=number_to_house(root_layer, "length", "root_layer")
    )
    return attached


def _saturated(mesh: Mesh, thickness: float) -> float:
    """Mean pore space [1] of the top `thickness` cm."""
    none = np.zeros((1, mesh.depth.size))
    return float(mean_over_depth(mesh, none, 0.0, thickness)[0])


def _first_above(hours: Any, values: Any, line: float) -> float:
    """Hour at which a series first reaches a line, straight between its points."""
    series = np.asarray(values)
    if not np.isfinite(series).all():
        return float("nan")
    if series[0] >= line:
        return 0.0
    above = np.flatnonzero(series >= line)
    if above.size == 0:
        return float("inf")
    i = int(above[0])
    step = hours[i] - hours[i - 1]
    return float(hours[i - 1] + (line - series[i - 1]) / (series[i] - series[i - 1]) * step)
