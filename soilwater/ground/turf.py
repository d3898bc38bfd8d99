"""Turf: where the roots are, and how much water the grass asks for.

The presets name the source of each number. Where none could be named they say "common practice,
no source": replace such a number by what you see on your own turf.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilwater.ground.repellent_mat import RepellentMat
from soilwater.ground.stress import SShapedStress, Stress
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults
from soilwater.words.forms import Date, WaterContents
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.several import pairs_of
from soilwater.words.text_tables import html_table
from soilwater.words.times import as_time, stamp
from soilwater.words.units import number_to_house

_ROOTS = 'write roots=[("2 in", 0.6), ("4 in", 0.4)], the bottom of each slice and its share'
COOL_SEASON_CALIFORNIA = (
    0.61, 0.64, 0.75, 1.04, 0.95, 0.88, 0.94, 0.86, 0.74, 0.75, 0.69, 0.60,
)  # fmt: skip
"""Monthly crop coefficients of cool-season turf, January to December [1].

Meyer et al. (1985), California, northern hemisphere.
"""

WARM_SEASON_CALIFORNIA = (
    0.61, 0.54, 0.76, 0.72, 0.79, 0.68, 0.71, 0.71, 0.62, 0.54, 0.58, 0.55,
)  # fmt: skip
"""Monthly crop coefficients of warm-season turf, January to December [1].

Meyer et al. (1985), California, northern hemisphere.
"""

# Share of the roots above two thirds of the root depth when nothing else is stated.
_USUAL_SHARE, _USUAL_PART = 0.9, 2.0 / 3.0


@needs_all('Turf("4 in")')
@dataclass(frozen=True)
class Turf:
    """A stand of grass: roots, demand, interception and its answer to suction.

    Parameters
    ----------
    root_depth : float, str or Quantity
        Depth below which there are no roots [cm].
    roots : {"exponential", "uniform"} or sequence of (depth, share), optional
        How roots thin out with depth. A sequence gives the lower depth [cm] of each slice and the
        share of all roots in it [1]; the shares add up to 1 and the last depth is `root_depth`.
    fraction_above : (float, depth), optional
        For exponential roots: share of all roots above a depth, such as ``(0.9, "10 cm")``.
        When left out, 0.9 above two thirds of the root depth (common practice, no source).
    crop_coefficient : float or sequence of 12, optional
        Demand of this turf over reference evapotranspiration [1]; twelve values are January to
        December.
    cover : float, optional
        Share of the demand that is transpiration; the rest asks for evaporation from the surface.
    interception : float, str or Quantity, optional
        Water that canopy and mat can hold before any reaches the soil [mm].
    stress : SShapedStress or RoundedStress, optional
        Answer of uptake to suction.
    compensation : float, optional
        Critical stress index of Jarvis (1989), J. Hydrol. 107:57-72 (from memory) [1]: roots in
        wet soil make up for roots in dry soil as long as the root-weighted reduction stays above
        it. 1 means that nothing is made up.
    root_depth_by_date : sequence of (date, depth), optional
        Root depth on given dates [cm]; `on` returns the turf of a day, straight lines between.
    repellent_mat : RepellentMat, optional
        Where the mat refuses water once it has dried; it takes all when left out.
    name, source : str, optional
        Shown in the representation and kept with results.

    Raises
    ------
    InputError
        With every fault found.

    Examples
    --------
    >>> green = Turf("15 cm", fraction_above=(0.9, "10 cm"), crop_coefficient=0.81)
    >>> round(float(green.root_fraction(0.0, 10.0)), 12)
    0.9
    """

    root_depth: float
    roots: str | tuple[tuple[float, float], ...] = "exponential"
    fraction_above: tuple[float, float] | None = field(default=None, kw_only=True)
    crop_coefficient: float | tuple[float, ...] = field(default=1.0, kw_only=True)
    cover: float = field(default=1.0, kw_only=True)
    interception: float = field(default=0.0, kw_only=True)
    stress: Stress = field(default_factory=SShapedStress, kw_only=True)
    compensation: float = field(default=1.0, kw_only=True)
    root_depth_by_date: tuple[tuple[np.datetime64, float], ...] = field(default=(), kw_only=True)
    repellent_mat: RepellentMat | None = field(default=None, kw_only=True)
    name: str = field(default="", kw_only=True)
    source: str = field(default="", kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'Turf "{self.name}"' if self.name else "Turf")
        depth = cover = interception = compensation = np.nan
        with faults.catching():
            depth = number_to_house(self.root_depth, "length", "root_depth")
        with faults.catching():
            cover = number_to_house(self.cover, "fraction", "cover")
        with faults.catching():
            interception = number_to_house(self.interception, "water_amount", "interception")
        with faults.catching():
            compensation = number_to_house(self.compensation, "fraction", "compensation")
        if depth <= 0.0:
            faults.add(f"root_depth is {depth:g} cm", allowed="above 0")
        if cover < 0.0 or cover > 1.0:
            faults.add(f"cover is {cover:g}", allowed="0 to 1")
        if interception < 0.0:
            faults.add(f"interception is {interception:g} mm", allowed="0 or more")
        if compensation <= 0.0 or compensation > 1.0:
            faults.add(
                f"compensation is {compensation:g}",
                allowed="above 0, up to 1 (1 means none)",
            )
        coefficient = _check_crop_coefficient(self.crop_coefficient, faults)
        roots, above = self._check_roots(depth, faults)
        by_date = self._check_dates(faults)
        for name in ("kernel_code", "kernel_parameters", "reduction"):
            if not hasattr(self.stress, name):
                faults.add(f"stress is {self.stress!r}", allowed="a SShapedStress or RoundedStress")
                break
        mat: object = self.repellent_mat
        if not isinstance(mat, RepellentMat | None):
            faults.add(f"repellent_mat is {mat!r}", allowed="a RepellentMat, or None")
        faults.raise_if_any()
        for name, value in (
            ("root_depth", depth),
            ("roots", roots),
            ("fraction_above", above),
            ("crop_coefficient", coefficient),
            ("cover", cover),
            ("interception", interception),
            ("compensation", compensation),
            ("root_depth_by_date", by_date),
        ):
            object.__setattr__(self, name, value)

    def _check_roots(
        self, depth: float, faults: Faults
    ) -> tuple[str | tuple[tuple[float, float], ...], tuple[float, float] | None]:
        if self.roots == "exponential":
            if self.fraction_above is None:
                return self.roots, (_USUAL_SHARE, _USUAL_PART * depth)
            pair = pairs_of(
                [self.fraction_above],
                "fraction_above",
                'write fraction_above=(0.9, "4 in"), a share and the depth it lies above',
                faults,
            )
            share = level = np.nan
            if not pair:
                return self.roots, None
            with faults.catching():
                share = number_to_house(pair[0][0], "fraction", "fraction_above")
            with faults.catching():
                level = number_to_house(pair[0][1], "length", "fraction_above")
            if np.isnan(share + level):
                return self.roots, None
            if depth > 0.0 and not 0.0 < level < depth:
                faults.add(
                    f"fraction_above states roots above {level:g} cm, root_depth is {depth:g} cm",
                    allowed="a depth between 0 and root_depth",
                )
            elif depth > 0.0 and not level / depth < share < 1.0:
                faults.add(
                    f"fraction_above puts {share:g} of the roots above {level:g} cm of {depth:g} "
                    f"cm, so they would not thin out with depth",
                    allowed=f"a share between {level / depth:.3g} and 1",
                    cure='use roots="uniform" for even roots',
                )
            return self.roots, (share, level)
        if self.fraction_above is not None:
            faults.add(
                f"fraction_above is given with roots={self.roots!r}",
                cure='it belongs to roots="exponential"; leave it out',
            )
        if self.roots == "uniform":
            return self.roots, None
        if isinstance(self.roots, str):
            faults.add(
                f"roots is {self.roots!r}",
                allowed='"exponential", "uniform" or (depth, share) pairs',
            )
            return self.roots, None
        pairs: tuple[tuple[float, float], ...] = ()
        with faults.catching():
            pairs = tuple(
                (number_to_house(d, "length", "roots"), number_to_house(s, "fraction", "roots"))
                for d, s in pairs_of(self.roots, "roots", _ROOTS, faults)
            )
        if not pairs:
            return "uniform", None
        bottoms = [0.0, *(d for d, _ in pairs)]
        if any(b <= a for a, b in pairwise(bottoms)):
            faults.add("the depths of roots do not increase from the surface", where="roots")
        if any(s < 0.0 for _, s in pairs):
            faults.add("a share of roots is negative", where="roots", allowed="0 or more")
        total = sum(s for _, s in pairs)
        if abs(total - 1.0) > 1e-6:
            faults.add(f"the shares of roots add up to {total:g}", where="roots", allowed="1")
        if bottoms[-1] != depth:
            faults.add(
                f"the last slice of roots ends at {bottoms[-1]:g} cm, root_depth is {depth:g} cm",
                allowed="the same depth",
            )
        return pairs, None

    def _check_dates(self, faults: Faults) -> tuple[tuple[np.datetime64, float], ...]:
        name = "root_depth_by_date"
        cure = 'write root_depth_by_date=[("2025-04-01", "3 in"), ("2025-06-01", "5 in")]'
        pairs: tuple[tuple[np.datetime64, float], ...] = ()
        with faults.catching():
            pairs = tuple(
                (as_time(t, name), number_to_house(d, "length", name))
                for t, d in pairs_of(self.root_depth_by_date, name, cure, faults)
            )
        if any(b[0] <= a[0] for a, b in pairwise(pairs)):
            faults.add("the dates do not increase", where="root_depth_by_date")
        if any(d <= 0.0 for _, d in pairs):
            faults.add("a depth is not above 0", where="root_depth_by_date")
        if pairs and not isinstance(self.roots, str):
            faults.add(
                "root_depth_by_date is given with roots per depth",
                cure='use roots="exponential" or "uniform"',
            )
        return pairs

    def on(self, date: Date) -> Turf:
        """Return the turf of one day, with the root depth of that day.

        Before the first and after the last date of `root_depth_by_date` its depth is kept;
        between dates it changes in a straight line, and the depth of `fraction_above` with it.

        Parameters
        ----------
        date : datetime64, str or Timestamp
            The day.
        """
        if not self.root_depth_by_date:
            return self
        when = as_time(date, "date").astype(np.int64)
        dates = [t.astype(np.int64) for t, _ in self.root_depth_by_date]
        depth = float(np.interp(when, dates, [d for _, d in self.root_depth_by_date]))
        above = self.fraction_above
        if above is not None:
            above = (above[0], above[1] / self.root_depth * depth)
        return replace(self, root_depth=depth, fraction_above=above, root_depth_by_date=())

    def root_fraction(self, top: ArrayLike, bottom: ArrayLike) -> NDArray[np.float64]:
        """Share of all roots between two depths [1].

        Parameters
        ----------
        top, bottom : array_like
            Depths below the turf surface [cm].

        Returns
        -------
        array of float
            Share in each slice; slices that cover the root depth add up to 1.
        """
        share: NDArray[np.float64] = self._roots_above(bottom) - self._roots_above(top)
        return share

    def _roots_above(self, depth: ArrayLike) -> NDArray[np.float64]:
        z = np.clip(np.asarray(depth, dtype=np.float64), 0.0, self.root_depth)
        if self.roots == "uniform":
            return z / self.root_depth
        if self.roots == "exponential":
            assert self.fraction_above is not None
            rate = _decay_rate(*self.fraction_above, self.root_depth)
            share: NDArray[np.float64] = np.expm1(-rate * z) / np.expm1(-rate * self.root_depth)
            return share
        assert not isinstance(self.roots, str)
        bottoms = [0.0, *(d for d, _ in self.roots)]
        above = np.concatenate([[0.0], np.cumsum([s for _, s in self.roots])])
        return np.asarray(np.interp(z, bottoms, above / above[-1]))

    def demand(self, weather: Weather) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Water the turf and its surface ask for in each interval of the weather.

        Reference evapotranspiration times the crop coefficient of the month in which the middle
        of the interval falls, split by cover.

        Parameters
        ----------
        weather : Weather
            Intervals with their reference evapotranspiration.

        Returns
        -------
        transpiration, evaporation : array of float, shape (n,)
            Demand in each interval [mm].
        """
        if isinstance(self.crop_coefficient, tuple):
            middle = weather.edges[:-1] + np.diff(weather.edges) // 2
            month = middle.astype("datetime64[M]").astype(np.int64) % 12
            total = weather.reference_et * np.asarray(self.crop_coefficient)[month]
        else:
            total = weather.reference_et * self.crop_coefficient
        return total * self.cover, total * (1.0 - self.cover)

    def air_filled_porosity(
        self, water_content: WaterContents, porosity: ArrayLike, depth_bounds: ArrayLike
    ) -> Any:
        """Oxygen indicator: air-filled porosity of the root layer, weighted by roots.

        Cells reach down the last axis. Roots are commonly said to want 0.10 or more (common
        practice; see Grable & Siemer 1968, Soil Sci. Soc. Am. Proc. 32:180-186, from memory).

        Parameters
        ----------
        water_content : array_like, shape (..., cell)
            Water content of each cell [1].
        porosity : array_like, shape (cell,)
            Total porosity (saturated water content) of each cell [1].
        depth_bounds : array_like, shape (cell, 2)
            Top and bottom of each cell [cm].

        Returns
        -------
        array of float, shape (...)
            Air over bulk volume [1].

        Raises
        ------
        InputError
            If the cells do not reach down to the root depth.
        """
        bounds = np.asarray(depth_bounds, dtype=np.float64)
        weight = self.root_fraction(bounds[:, 0], bounds[:, 1])
        faults = Faults("air_filled_porosity")
        if abs(weight.sum() - 1.0) > 1e-9:
            faults.add(
                f"the cells hold {weight.sum():.3g} of the roots",
                allowed="cells down to root_depth",
            )
        faults.raise_if_any()
        air = np.asarray(porosity, dtype=np.float64) - np.asarray(water_content, dtype=np.float64)
        return air @ weight

    @classmethod
    def creeping_bentgrass(cls) -> Turf:
        """Return a putting green of creeping bentgrass cut at 3-5 mm.

        Crop coefficient 0.81: Aamlid et al. (2016), J. Agron. Crop Sci., doi 10.1111/jac.12130,
        green at 3-5 mm from the second day after irrigation (read in the abstract; the first day
        was 1.67-2.85). Roots to 15 cm, nine tenths above 10 cm, and half uptake at 250 cm:
        common practice, no source.
        """
        return cls(
            15.0,
            fraction_above=(0.9, 10.0),
            crop_coefficient=0.81,
            name="creeping bentgrass green",
            source="crop coefficient Aamlid et al. (2016), doi 10.1111/jac.12130; roots and "
            "stress: common practice, no source",
        )

    @classmethod
    def bermudagrass(cls) -> Turf:
        """Return mown bermudagrass in summer.

        Crop coefficient 0.80: Brown et al., Arizona lysimeters (abstract: 0.78-0.83, constant
        0.80). Roots to 30 cm, nine tenths above 20 cm, and half uptake at 250 cm: common
        practice, no source.
        """
        return cls(
            30.0,
            fraction_above=(0.9, 20.0),
            crop_coefficient=0.80,
            name="bermudagrass",
            source="crop coefficient Brown et al., Arizona lysimeters; roots and stress: common "
            "practice, no source",
        )

    @classmethod
    def cool_season_california(cls) -> Turf:
        """Return cool-season turf with the monthly crop coefficients of Meyer et al. (1985).

        The months are those of California (northern hemisphere). Roots to 20 cm and half uptake
        at 250 cm: common practice, no source.
        """
        return cls(
            20.0,
            crop_coefficient=COOL_SEASON_CALIFORNIA,
            name="cool-season turf",
            source="monthly crop coefficients Meyer et al. (1985), California; roots and stress: "
            "common practice, no source",
        )

    @classmethod
    def warm_season_california(cls) -> Turf:
        """Return warm-season turf with the monthly crop coefficients of Meyer et al. (1985).

        The months are those of California (northern hemisphere). Roots to 30 cm and half uptake
        at 250 cm: common practice, no source.
        """
        return cls(
            30.0,
            crop_coefficient=WARM_SEASON_CALIFORNIA,
            name="warm-season turf",
            source="monthly crop coefficients Meyer et al. (1985), California; roots and stress: "
            "common practice, no source",
        )

    def _facts(self) -> list[tuple[str, str]]:
        facts = [("root depth", in_people_units(self.root_depth, "length"))]
        if self.fraction_above is not None:
            share, level = self.fraction_above
            facts.append(
                ("roots", f"exponential, {share:.0%} above {in_people_units(level, 'length')}")
            )
        elif isinstance(self.roots, str):
            facts.append(("roots", self.roots))
        else:
            slices = ", ".join(f"{s:.0%} to {d:g} cm" for d, s in self.roots)
            facts.append(("roots", slices))
        if isinstance(self.crop_coefficient, tuple):
            values = " ".join(f"{k:.2f}" for k in self.crop_coefficient)
            facts.append(("crop coefficient, January to December", values))
        else:
            facts.append(("crop coefficient", f"{self.crop_coefficient:g}"))
        facts.append(("cover", f"{self.cover:.0%}"))
        facts.append(("interception", in_people_units(self.interception, "water_amount")))
        facts.append(("stress", repr(self.stress)))
        if self.compensation < 1.0:
            facts.append(("compensation above stress index", f"{self.compensation:g}"))
        facts.extend(
            ("root depth on " + stamp(t)[:10], in_people_units(d, "length"))
            for t, d in self.root_depth_by_date
        )
        if self.source:
            facts.append(("source", self.source))
        return facts

    def __repr__(self) -> str:
        title = f'Turf "{self.name}"' if self.name else "Turf"
        return "\n".join([title, *(f"  {label}: {text}" for label, text in self._facts())])

    def _repr_html_(self) -> str:
        title = f'Turf "{self.name}"' if self.name else "Turf"
        return html_table(self._facts(), ("turf", ""), caption=title)


def _check_crop_coefficient(value: Any, faults: Faults) -> float | tuple[float, ...]:
    if isinstance(value, Sequence | np.ndarray) and not isinstance(value, str):
        months = tuple(number_to_house(k, "fraction", "crop_coefficient") for k in value)
        if len(months) != 12:
            faults.add(f"crop_coefficient has {len(months)} values", allowed="1 or 12")
        if any(k < 0.0 for k in months):
            faults.add("a monthly crop_coefficient is negative", allowed="0 or more")
        return months
    single = number_to_house(value, "fraction", "crop_coefficient")
    if single < 0.0:
        faults.add(f"crop_coefficient is {single:g}", allowed="0 or more")
    return single


@lru_cache(maxsize=256)
def _decay_rate(share: float, level: float, depth: float) -> float:
    """Rate k [1/cm] for which roots ~ exp(-k z) down to `depth` leave `share` above `level`.

    Solves expm1(-k level) = share expm1(-k depth) by halving: the left over the right side grows
    from level/depth to 1 with k, so there is one answer.
    """
    low, high = 0.0, 1.0 / level
    while np.expm1(-high * level) / np.expm1(-high * depth) < share:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if np.expm1(-middle * level) / np.expm1(-middle * depth) < share:
            low = middle
        else:
            high = middle
    return high
