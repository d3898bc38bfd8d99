"""How deep to build: depths at which a drained sand reads what is wanted and keeps its air.

The reading of a drained, level profile depends on the suction at its surface alone, and that is
depth plus the suction left at the base. So a window of readings is a window of depths, a floor of
air is a least depth, and a centimetre of base suction or of slope moves both by a centimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from soilwater.decisions.targets import (
    AirTarget,
    ReadingTarget,
    Target,
    air_target,
    reading_target,
)
from soilwater.ground.base_suction import OVER_GRAVEL, BaseSuction, base_band
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.fit_result import FitResult
from soilwater.lab.likely_at_rest import DRAWS, LikelyAtRest, likely_at_rest
from soilwater.lab.likely_memory import likely_memories
from soilwater.runs.wetted import USUAL_RAIN, Rewetted, gently
from soilwater.soils import Soil
from soilwater.soils.at_rest import rest_curve
from soilwater.words.arrays import FloatArray, lengths
from soilwater.words.bands import HIGH, LOW, ends_and_middle
from soilwater.words.cautions import caution_lines, cautions_for
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import (
    CM_PER_INCH,
    in_people_units,
    range_in_people_units,
)
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house
from soilwater.words.vocabulary import attach

DEEPEST = 100.0
"""Depths beyond this [cm] are no root zones; a window is cut here."""
CONSTRUCTION_TOLERANCE = CM_PER_INCH
"""Root zones are asked for to one inch [cm] (trade articles and builders' newsletters)."""


def more_or_less(tolerance: float) -> str:
    """Write a tolerance [cm] in the units in use: ``"+-3.9 cm (+-1.5 in)"``."""
    return "+-" + in_people_units(tolerance, "length").replace("(", "(+-")


class Range(NamedTuple):
    """Two depths [cm]."""

    low: float
    high: float

    def __str__(self) -> str:
        return range_in_people_units(self.low, self.high, "length")


def window_columns(windows: Sequence[DepthWindow]) -> list[Column]:
    """Columns of depth windows, one row each; depths that exclude each other stand as they are."""
    parts: list[tuple[str, Any, str]] = [
        ("sand", lambda each: each.name, ""),
        ("exists", lambda each: each.exists, ""),
        ("shallowest", lambda each: each.low, "length"),
        ("deepest", lambda each: each.high, "length"),
        ("best", lambda each: each.best, "length"),
        ("tolerance", lambda each: each.tolerance, "length"),
        ("limited by", lambda each: each.limited_by, ""),
        ("target low", lambda each: each.target.low, "water_content"),
        ("target high", lambda each: each.target.high, "water_content"),
        ("rod", lambda each: each.rod, "length"),
        ("base suction", lambda each: each.base_suction.best, "suction"),
    ]
    for name in ("shallowest", "deepest", "best"):
        band = {"shallowest": "low_band", "deepest": "high_band", "best": "best_band"}[name]
        for i, end in enumerate(("at least", "at most")):
            parts.append((f"{name} {end}", lambda w, b=band, i=i: getattr(w, b)[i], "length"))
    return columns_of(windows, parts)


@dataclass(frozen=True, eq=False, repr=False)
class DepthWindow(Displayed, Tabled):
    """Depths at which a sand, drained, meets the targets.

    Attributes
    ----------
    name : str
        Of the sand.
    target : ReadingTarget
        Window of readings.
    air : AirTarget
        Floor of air.
    rod, root_layer : float
        Length of the rods and thickness of the layer whose air counts [cm].
    base_suction : BaseSuction
        What is left at the base.
    low, high : float
        Shallowest and deepest depth [cm], the middle of the joint draws of sand and base suction;
        `low` above `high` where the targets exclude each other.
    best : float
        Depth [cm] that reads the middle of the window, or is as near to it as the air allows.
    limited_by : str
        What sets the shallowest depth: ``"reading"`` or ``"air"``.
    low_band, high_band, best_band : Range
        Where these lie in 80 % of the joint draws of sand and base suction [cm].
    cautions : tuple of str
        What must stand beside the answer.
    sand : Soil
        The best of the sand.
    samples : tuple of Soil
        Likely sands that are given a memory, for what gentle water leaves.
    likely : LikelyAtRest
        Curves of the sand in the joint draws that carry the bands.
    """

    name: str
    target: ReadingTarget
    air: AirTarget
    rod: float
    root_layer: float
    base_suction: BaseSuction
    low: float
    high: float
    best: float
    limited_by: str
    low_band: Range
    high_band: Range
    best_band: Range
    cautions: tuple[str, ...]
    sand: Soil = field(repr=False)
    samples: tuple[Soil, ...] = field(repr=False)
    likely: LikelyAtRest = field(repr=False)

    @property
    def exists(self) -> bool:
        """Whether any depth meets both targets."""
        return self.low <= self.high

    @property
    def tolerance(self) -> float:
        """Half the width of the window [cm]: the construction tolerance this sand can stand."""
        return max(0.0, 0.5 * (self.high - self.low))

    @property
    def sure(self) -> Range | None:
        """Depths [cm] that meet the targets in 80 % of the joint draws or more, or None."""
        low, high = self.low_band.high, self.high_band.low
        return Range(low, high) if low <= high else None

    @property
    def sentence(self) -> str:
        """The answer in words."""
        if not self.exists:
            return (
                f"no depth does both: {self.air} needs {in_people_units(self.low, 'length')} or "
                f"more, and a reading of {100 * self.target.low:g} % or more "
                f"{in_people_units(self.high, 'length')} or less"
            )
        best = in_people_units(self.best, "length")
        text = (
            f"build {Range(self.low, self.high)}, best {best}; tolerance this sand can stand "
            f"{more_or_less(self.tolerance)}"
        )
        if self.tolerance < CONSTRUCTION_TOLERANCE:
            text += ", less than the usual inch of construction"
        return text

    def _columns(self) -> list[Column]:
        return window_columns([self])

    def to_dataset(self, depths: Sequence[Length] | None = None) -> xr.Dataset:
        """Work out reading, air and odds over depth, for a plot.

        Parameters
        ----------
        depths : sequence of float, str or Quantity, optional
            Depths of the root zone [cm], none less than the rods and the root layer; from there
            to 60 cm, or twice the window, when left out.

        Returns
        -------
        Dataset
            Over ``root_zone_depth`` [cm]: `expected_reading` [1] (middle) with its 80 % limits,
            which is of the draining curve, as a specification tests; `rewetted_reading` [1] with
            its limits, what is left of gentle water on a dry green; `air_filled_porosity` [1] with
            its limits,
            and `probability` [1] that a root zone of that depth meets both targets when it drains
            from a flood, with every base suction of the band as likely as the next.

        Raises
        ------
        InputError
            If a depth is too small, or deeper than any root zone.
        """
        least = max(self.rod, self.root_layer)
        if depths is None:
            end = 60.0 if not np.isfinite(self.high) else max(60.0, min(2 * self.high, DEEPEST))
            grid = np.linspace(least, end, 121)
        else:
            grid = lengths(depths, "depths")
            wrong = grid[(grid < least - 1e-9) | (grid > DEEPEST + 1e-9)]
            if wrong.size:
                raise InputError(
                    f"depths: {wrong[0]:g} cm; allowed: {least:g} cm, the rods and the root "
                    f"layer, or more, up to {DEEPEST:g} cm."
                )
        bases = self.base_suction.shuffled(self.likely.curve.size)
        reading = self.likely.readings(grid, self.rod, bases)
        pores = self.likely.curves.saturated[self.likely.curve][:, None]
        air = pores - self.likely.readings(grid, self.root_layer, bases)
        inside = (reading >= self.target.low) & (reading <= self.target.high)
        good = inside & (air >= self.air.least)
        reading_low, expected, reading_high = ends_and_middle(reading)
        air_low, middle_air, air_high = ends_and_middle(air)
        rewetted_low, rewetted, rewetted_high = ends_and_middle(self._rewetted(grid))
        along = "root_zone_depth"
        dataset = xr.Dataset(
            {
                "expected_reading": (along, expected),
                "expected_reading_lower": (along, reading_low),
                "expected_reading_upper": (along, reading_high),
                "rewetted_reading": (along, rewetted),
                "rewetted_reading_lower": (along, rewetted_low),
                "rewetted_reading_upper": (along, rewetted_high),
                "air_filled_porosity": (along, middle_air),
                "air_filled_porosity_lower": (along, air_low),
                "air_filled_porosity_upper": (along, air_high),
                "probability": (along, good.mean(axis=0)),
            },
            coords={along: grid},
        )
        attached: xr.Dataset = attach(dataset)
        attached.attrs = {
            "title": "Drained reading and air over depth of the root zone",
            "sand": self.name,
            "target": str(self.target),
            "air": str(self.air),
            "base_suction": str(self.base_suction),
            "rod_length_cm": self.rod,
            "root_layer_cm": self.root_layer,
            "window_low_cm": self.low,
            "window_high_cm": self.high,
            "best_cm": self.best,
            "cautions": "\n".join(self.cautions),
        }
        return attached

    def _rewetted(self, depths: FloatArray) -> FloatArray:
        """Give the readings [1] that gentle water on a dry green leaves, by draw and depth [cm]."""
        memories = likely_memories(self.samples, _MEMORIES)
        bases = self.base_suction.shuffled(_MEMORIES)
        return np.array(
            [
                rest_curve(Rewetted(each, USUAL_RAIN)).reading(depths, self.rod, base)
                for each, base in zip(memories, bases, strict=True)
            ]
        )

    def _rows(self) -> list[tuple[str, ...]]:
        def depth(value: float) -> str:
            return in_people_units(value, "length")

        sure = "none" if self.sure is None else str(self.sure)
        return [
            ("shallowest", depth(self.low), str(self.low_band), f"set by the {self.limited_by}"),
            ("best", depth(self.best), str(self.best_band), "middle of the reading window"),
            ("deepest", depth(self.high), str(self.high_band), "set by the reading"),
            ("sure", "", sure, "for four in five of the sands and bases, or more"),
        ]

    def _asked(self) -> list[str]:
        rod = in_people_units(self.rod, "length")
        return [
            f"target: {self.target}, {rod} rods, drained",
            f"air: {self.air} in the top {in_people_units(self.root_layer, 'length')}",
            f"base suction: {self.base_suction}",
        ]

    @property
    def rewetted(self) -> str:
        """What the best depth reads after gentle water on a dry green [%], with its band."""
        if not np.isfinite(self.best):
            return ""
        left = self._rewetted(np.array([max(self.best, self.rod)]))[:, 0]
        low, middle, high = 100.0 * ends_and_middle(left)
        return f"{middle:.0f} % ({low:.0f} to {high:.0f})"

    def _lines(self) -> list[str]:
        told = AS_TESTED
        if self.rewetted:
            told += f"; after {gently()} the best depth reads {self.rewetted}"
        return [*self._asked(), told, *caution_lines(self.cautions)]

    def _shown(self) -> Shown:
        return Shown(f"{self.name}: {self.sentence}", _HEADER, self._rows(), self._lines())


AS_TESTED = "readings and air are of sand that drained from a flood, as a specification tests"
_MEMORIES = 48
"""Likely memories of a sand, for what gentle water leaves."""
_HEADER = ("root zone", "depth", "with the sand's and the base's band", "")


@mind_words(soil="sand", reading="target", samples="draws")
def depth_window(
    sand: Sand,
    target: Target,
    *,
    rod: Length,
    air_filled: WaterContent,
    base_suction: Suction = OVER_GRAVEL,
    root_layer: Length = None,
    draws: int = DRAWS,
) -> DepthWindow:
    """Find the depths at which a sand, drained and level, meets a window of readings and its air.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand. A fit, or several, carry their band into the answer.
    target : two of float, str or Quantity, ReadingTarget, or str
        Lowest and highest reading wanted, water content by volume [1], such as ``(0.15, 0.25)``;
        or a key of `READING_TARGETS`.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    air_filled : float, str, Quantity or AirTarget
        Least air-filled porosity of the root layer [1], or a key of `AIR_TARGETS`.
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm]. Over gravel that of two days after a soaking is assumed,
        6.7 cm within 2.5 to 10.5, and says so.
        For a cap, the suction of the subsoil: give a band, wet season to dry.
    root_layer : float, str or Quantity, optional
        Thickness of the layer whose air counts [cm]; the length of the rods when left out.
    draws : int, optional
        Joint draws of sand and base suction that carry the bands.

    Returns
    -------
    DepthWindow
        Window, best depth and tolerance with their bands; prints as text or HTML.

    Raises
    ------
    InputError
        With every fault at once.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.025, 0.37, 0.041, 4.5, "60 cm/h", name="straight sand")
    >>> window = depth_window(sand, (0.15, 0.25), rod="3 in", air_filled="10 %")
    >>> print(window.sentence)
    build 19.9 to 27.7 cm (7.8 to 10.9 in), best 23.5 cm (9.2 in); tolerance this sand can stand \
+-3.9 cm (+-1.5 in)
    """
    faults = Faults("depth_window")
    wanted, air, base = None, None, None
    length, layer = 0.0, 0.0
    with faults.catching():
        wanted = reading_target(target)
    with faults.catching():
        air = air_target(air_filled)
    with faults.catching():
        base = base_band(base_suction)
    with faults.catching():
        length = number_to_house(rod, "length", "rod")
        layer = (
            length if root_layer is None else number_to_house(root_layer, "length", "root_layer")
        )
        for name, value in (("rod", length), ("root_layer", layer)):
            if not 0.0 < value < DEEPEST:
                faults.add(f"{name} is {value:g} cm", allowed=f"above 0, below {DEEPEST:g} cm")
    best_soil: Soil | None = None
    every: tuple[Soil, ...] = ()
    with faults.catching():
        best_soil, every = best_and_likely(sand, _MEMORIES)
    faults.need_whole("draws", draws, 1)
    faults.raise_if_any()
    assert wanted is not None and air is not None and base is not None and best_soil is not None
    least = max(length, layer)
    likely = likely_at_rest(sand, draws, DEEPEST + base.high)
    curves = likely.curves
    wettest = curves.surface_suctions(wanted.high, length)
    airy = curves.surface_suctions(curves.saturated - air.least, layer)
    middle = curves.surface_suctions(0.5 * (wanted.low + wanted.high), length)
    driest = curves.surface_suctions(wanted.low, length)
    low = np.maximum(wettest, airy)
    best = np.minimum(np.maximum(middle, low), np.maximum(driest, low))
    surfaces = np.stack([low, best, driest], axis=1)[likely.curve]
    # What is deeper or shallower than any root zone is as deep as one.
    depths = np.clip(surfaces - base.shuffled(draws)[:, None], least, DEEPEST)
    low_end, middles, high_end = np.quantile(
        depths, [LOW, 0.5, HIGH], axis=0, method="inverted_cdf"
    )
    bands = [Range(*ends) for ends in zip(low_end.tolist(), high_end.tolist(), strict=True)]
    by_air = np.mean((airy > wettest)[likely.curve]) > 0.5
    return DepthWindow(
        name=best_soil.name or "sand without a name",
        target=wanted,
        air=air,
        rod=length,
        root_layer=layer,
        base_suction=base,
        low=float(middles[0]),
        best=float(middles[1]),
        high=float(middles[2]),
        limited_by="air" if by_air else "reading",
        low_band=bands[0],
        best_band=bands[1],
        high_band=bands[2],
        cautions=_cautions(sand, float(np.median(surfaces[:, 2])), base),
        sand=best_soil,
        samples=every,
        likely=likely,
    )


def _cautions(sand: Sand, driest_end: float, base: BaseSuction) -> tuple[str, ...]:
    topics = ["base suction"] if base.low < base.high else []
    said = list(cautions_for(*topics, "level ground", "accuracy", "drying curve", "construction"))
    if isinstance(sand, FitResult):
        driest = float(np.max(sand.table.points.suction))
        if min(driest_end, DEEPEST) > driest:
            said.insert(
                0,
                f"the curve was measured up to {driest:.0f} cm of suction, and the deep end of the "
                f"window rests on {min(driest_end, DEEPEST):.0f} cm: ask the laboratory for a "
                "point there",
            )
    return tuple(said)
