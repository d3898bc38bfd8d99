"""Why a spot reads what it reads: each cause as one object, from its range to its words.

A cause says what it does to a level, drained spot (`soilwater.decisions.spots.states`), over which
sizes, what else is then found there, and how all this is told. A new cause is one class below and
one entry in `CAUSES`. Ranges are judgements (common practice, no source) unless a source stands
beside them, and are printed for the reader to see and to change by weight.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from soilwater.decisions.spots.cause import (
    DEPTH_OR_METER,
    DRIER,
    NONE_OF_THESE,
    WETTER,
    Cause,
    told_measure,
    told_range,
)
from soilwater.decisions.spots.states import (
    CATCH_ERROR,
    Draw,
    Even,
    Lognormal,
    Prior,
    Spread,
    State,
    between,
    log_between,
    normal_quantile,
)
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray
from soilwater.words.quantities import in_one_unit

STEEP_SLOPE = Lognormal(0.035, 0.5)
"""Slope [1] where it is the cause (no source)."""
THICK_MAT = Lognormal(2.5, 0.5)
"""Thickness of a mat [cm] where it is the cause (no source)."""
SLOW_DROP = Lognormal(90.0, 1.5)
"""Drop time [s] on repellent sand (no source)."""
SHORT_CATCH = Even(0.3, 0.85, CATCH_ERROR)
"""Water caught where sprinkling is short, over that of the green [1] (no source)."""
REWETTING_RATES = (3.0, 100.0)
"""Rates [mm/h] at which dry sand is rewetted, drizzle to a hose (common practice, no source)."""
DRIED_BY = (5.0, 30.0)
"""Suctions [cm] by which sand had dried before beyond rest (our own choice; six days at 5 mm/day
draw 14)."""
NEAR_ENOUGH = 0.01
"""How near a size must bring the reading to be the size it needs [1]."""


@dataclass(frozen=True)
class _WaterCause(Cause):
    """A cause that changes the water: the size it needs is looked for."""

    def needed_size(
        self, level: State, reading: float, reads: Callable[[State], FloatArray]
    ) -> float:
        """Size whose reading is nearest; NaN where none is near."""
        sizes, moved = self._tried(level)
        misfit = np.abs(reads(moved) - reading)
        best = int(np.argmin(misfit))
        return float(sizes[best]) if misfit[best] < NEAR_ENOUGH else float("nan")

    @abstractmethod
    def _tried(self, level: State) -> tuple[FloatArray, State]:
        """Sizes, far beyond what is credible, and the state with each of them."""


@dataclass(frozen=True)
class _OffsetCause(Cause):
    """A cause that adds to the reading and leaves the water as it is."""

    def needed_size(
        self, level: State, reading: float, reads: Callable[[State], FloatArray]
    ) -> float:
        """Difference between a reading and that of the level spot [1]."""
        return reading - float(reads(level)[0])

    def _told_size(self, size: float) -> str:
        return self.size_text.format(100.0 * size)


@dataclass(frozen=True)
class _Depth(_WaterCause):
    """Nothing but the depth found."""

    name: str = "depth"
    label: str = "its own depth"
    prior: float = 0.40
    group: str = DEPTH_OR_METER
    size_text: str = "would take a root zone of {:.0f} cm"
    size_quantity: str = "length"

    @property
    def range_text(self) -> str:
        return "the depth found, within the error of the probe"

    def draw(self, draw: Draw) -> State:
        return draw.level

    def _tried(self, level: State) -> tuple[FloatArray, State]:
        sizes = np.arange(5.0, 200.5, 0.5)
        return sizes, level._replace(depth=sizes)


@dataclass(frozen=True)
class _Slope(_WaterCause):
    """A crest, which stands under more suction than its depth, or a toe, which has less.

    Attributes
    ----------
    worth : (float, float)
        Suction a slope adds at its crest for each per cent [cm]: a screening range, for some 10 m
        of slope and sands in specification (see `soilwater.decisions.slope`).
    most : float
        Largest suction a slope adds at its crest [cm].
    crests : float
        Share of the spots that are looked at because they are high and dry [1]; the others are low
        and wet (no source).
    """

    name: str = "slope"
    label: str = "slope"
    prior: float = 0.10
    size_text: str = "would take {:.0f} cm of extra suction"
    slope: Spread = STEEP_SLOPE
    worth: tuple[float, float] = (0.8, 4.5)
    most: float = 30.0
    crests: float = 0.75

    @property
    def credible(self) -> tuple[float, float]:
        """Extra suction held credible [cm]."""
        return (-0.5 * self.most, self.most)

    @property
    def range_text(self) -> str:
        worth = told_range(self.worth)
        return f"{worth} cm of suction for each per cent of slope, at most {self.most:g} cm"

    def draw(self, draw: Draw) -> State:
        steep = draw.slope(self.slope)
        worth = np.where(
            draw.strata < self.crests,
            self.worth[0] + (self.worth[1] - self.worth[0]) * draw.strata / self.crests,
            -0.5 * between(self.worth, draw.second),
        )
        return draw.level._replace(extra=np.minimum(100.0 * steep * worth, self.most), slope=steep)

    def groups(self, state: State) -> dict[str, float]:
        """Crests are drier, toes wetter."""
        toes = float(np.mean(state.extra < 0.0))
        return {DRIER: 1.0 - toes, WETTER: toes}

    def _tried(self, level: State) -> tuple[FloatArray, State]:
        sizes = np.arange(-40.0, 200.5, 0.5)
        return sizes, level._replace(extra=sizes)

    def contradicted(self, spot: Spot, prior: Prior) -> str:
        """Say whether the surface is all but level."""
        if spot.slope is not None and spot.slope < 0.01:
            return f"but the surface falls only {100 * spot.slope:.1f} %"
        return ""


@dataclass(frozen=True)
class _StandingWater(_WaterCause):
    """Water that stands at the base.

    Attributes
    ----------
    height : (float, float)
        Water above the base [cm].
    drains_on : float
        Chance that it drains on within 12 h, rather than being held [1] (no source).
    """

    name: str = "standing_water"
    label: str = "water standing at the base"
    prior: float = 0.08
    group: str = WETTER
    size_text: str = "would take {:.0f} cm of water standing at the base"
    size_quantity: str = "length"
    outlet_slow: float = 0.7
    height: tuple[float, float] = (3.0, 25.0)
    drains_on: float = 0.5

    @property
    def credible(self) -> tuple[float, float]:
        """Standing water held credible [cm]."""
        return self.height

    @property
    def range_text(self) -> str:
        return f"{told_measure(self.height, 'length')} of standing water, or read too soon"

    def draw(self, draw: Draw) -> State:
        return self._with(draw.level, between(self.height, draw.strata))

    def _tried(self, level: State) -> tuple[FloatArray, State]:
        sizes = np.arange(0.0, 60.5, 0.5)
        return sizes, self._with(level, sizes)

    def _with(self, level: State, height: FloatArray) -> State:
        held = np.minimum(height, level.depth)
        return level._replace(extra=-held, base=np.zeros(level.base.shape))

    def half_a_day_on(self, state: State, base: float) -> State:
        """In some of the possibilities, evenly over them, it has drained."""
        drained = np.floor(np.arange(state.extra.size + 1) * self.drains_on)
        gone = np.diff(drained).reshape(state.extra.shape) > 0.0
        return state._replace(
            extra=np.where(gone, 0.0, state.extra), base=np.where(gone, base, state.base)
        )


@dataclass(frozen=True)
class _Mat(_WaterCause):
    """An organic mat, which holds more water than sand.

    One of 5 cm lifts a reading over 7.6 cm by 10 to 17 % by volume (a screening figure).

    Attributes
    ----------
    thickness : (float, float)
        Thickness that is held credible [cm].
    excess : (float, float)
        Water a mat holds beyond that of sand [1].
    """

    name: str = "mat"
    label: str = "organic mat"
    prior: float = 0.08
    group: str = WETTER
    size_text: str = "would take {:.1f} cm of mat"
    size_quantity: str = "length"
    mat_thickness: Spread = THICK_MAT
    thickness: tuple[float, float] = (0.5, 8.0)
    excess: tuple[float, float] = (0.10, 0.30)

    @property
    def credible(self) -> tuple[float, float]:
        """Thickness held credible [cm]."""
        return self.thickness

    @property
    def range_text(self) -> str:
        more = f"{told_range(self.excess, 100)} % by volume more than the sand"
        return f"{told_measure(self.thickness, 'length')} of mat that holds {more}"

    def draw(self, draw: Draw) -> State:
        return draw.level._replace(
            mat_water=np.zeros(draw.strata.shape),
            mat=draw.mat(self.mat_thickness),
            mat_excess=between(self.excess, draw.strata),
        )

    def _tried(self, level: State) -> tuple[FloatArray, State]:
        sizes = np.arange(0.0, 20.1, 0.1)
        middle = np.full(sizes.size, 0.5 * (self.excess[0] + self.excess[1]))
        none = np.zeros(1)
        return sizes, level._replace(mat_water=none, mat=sizes, mat_excess=middle)

    def contradicted(self, spot: Spot, prior: Prior) -> str:
        """Say whether the mat is too thin to matter."""
        if spot.mat_thickness is not None and spot.mat_thickness < 0.8:
            return f"but the mat is only {in_one_unit(spot.mat_thickness, 'length')} thick"
        return ""


@dataclass(frozen=True)
class _StrongerSuction(_WaterCause):
    """Suction that acts more strongly than in the sand as the lab drained it.

    Attributes
    ----------
    factor : (float, float)
        How many times as strongly [1].
    """

    size_text: str = "would take suction acting {:.1f} times as strongly"
    factor: tuple[float, float] = (1.0, 1.0)

    @property
    def credible(self) -> tuple[float, float]:
        """Factors held credible [1]."""
        return self.factor

    @property
    def range_text(self) -> str:
        return f"suction acting {told_range(self.factor)} times as strongly"

    def _tried(self, level: State) -> tuple[FloatArray, State]:
        sizes = np.geomspace(1.0, 20.0, 300)
        return sizes, level._replace(scale=level.scale * sizes)


@dataclass(frozen=True)
class _Repellency(_StrongerSuction):
    """Water repellency, at contact angles of 40 to 80 degrees.

    The capillary suction of a pore scales with the cosine of that angle (Miller & Miller 1956,
    J. Appl. Phys. 27:324, from memory). Ground that wets in part reads low and unevenly: two halves
    that differ by 10 % by volume scatter by 5 %.
    """

    name: str = "repellency"
    label: str = "water repellency"
    prior: float = 0.10
    drop_time: Spread = SLOW_DROP
    factor: tuple[float, float] = (1.3, 6.0)
    patches: float = 0.05

    def draw(self, draw: Draw) -> State:
        return draw.level._replace(scale=draw.level.scale * log_between(self.factor, draw.strata))

    def contradicted(self, spot: Spot, prior: Prior) -> str:
        """Say whether a drop soaked in at once."""
        if spot.drop_time is not None and spot.drop_time < 3.0:
            return f"but a drop soaked in within {max(spot.drop_time, 1.0):.0f} s"
        return ""


@dataclass(frozen=True)
class _Sprinkling(_WaterCause):
    """Sprinkling that is short here, over days.

    Attributes
    ----------
    used : (float, float)
        Water the turf has used since all of the green was last full [mm].
    least : float
        Least missing water that is held credible [mm]; the most is what is used where least is
        caught.
    """

    name: str = "sprinkling"
    label: str = "uneven sprinkling"
    prior: float = 0.10
    size_text: str = "would take {:.0f} mm of water missing"
    size_quantity: str = "water_amount"
    catch: Even = SHORT_CATCH
    used: tuple[float, float] = (8.0, 30.0)
    least: float = 2.0

    @property
    def credible(self) -> tuple[float, float]:
        """Missing water held credible [mm]."""
        return (self.least, (1.0 - self.catch.low) * self.used[1])

    @property
    def range_text(self) -> str:
        short = told_range((1.0 - self.catch.high, 1.0 - self.catch.low), 100)
        return f"{short} % less water than the green, over days"

    def draw(self, draw: Draw) -> State:
        short = draw.catch(self.catch)
        used = between(self.used, draw.strata)
        return draw.level._replace(missing=np.maximum(1.0 - short, 0.0) * used, catch=short)

    def _tried(self, level: State) -> tuple[FloatArray, State]:
        sizes = np.arange(0.0, 120.5, 0.5)
        return sizes, level._replace(missing=sizes)

    def contradicted(self, spot: Spot, prior: Prior) -> str:
        """Say whether the can here caught what it should."""
        caught = prior.catch(spot)
        if caught is not None and caught > self.catch.high + CATCH_ERROR:
            return f"but the can here caught {100 * caught:.0f} % of the green's"
        return ""


@dataclass(frozen=True)
class _Rewetting(_OffsetCause):
    """Sand that was rewetted gently while it was dry, and has drained along a branch of its own.

    Simulated: the sands of the green with likely memories, after rain of likely rates.
    """

    name: str = "rewetting"
    label: str = "sand on its wetting branch"
    prior: float = 0.04
    size_text: str = "would take {:.0f} % by volume less than after a flood"

    @property
    def range_text(self) -> str:
        slow, fast = REWETTING_RATES
        return f"what {slow:g} to {fast:g} mm/h leave of dry sand, simulated"

    def draw(self, draw: Draw) -> State:
        sands = draw.prior.drained - 1
        turns = draw.prior.rewetted // sands
        which = np.minimum(draw.strata * turns, turns - 1).astype(np.int64)
        # It drains along its own branch: no factor stands in for one.
        return draw.level._replace(
            soil=draw.prior.drained + draw.level.soil + sands * which,
            scale=np.ones(draw.strata.shape),
        )

    def needed_size(
        self, level: State, reading: float, reads: Callable[[State], FloatArray]
    ) -> float:
        """Water content [1] by which a reading falls short; NaN where it does not."""
        short = float(reads(level)[0]) - reading
        return short if short > 0.0 else float("nan")


@dataclass(frozen=True)
class _Meter(_OffsetCause):
    """A fault of the meter or of the rods at this spot.

    Attributes
    ----------
    spread : float
        Spread of an offset at one spot [1]: +-2 to 5 % by volume are said to be usual.
    """

    name: str = "meter"
    label: str = "meter or rods at this spot"
    prior: float = 0.05
    group: str = DEPTH_OR_METER
    size_text: str = "would take an offset of {:+.0f} % by volume"
    spread: float = 0.05

    @property
    def credible(self) -> tuple[float, float]:
        """Offsets held credible [1]."""
        return (-2.0 * self.spread, 2.0 * self.spread)

    @property
    def range_text(self) -> str:
        return f"an offset of up to {200 * self.spread:g} % by volume"

    def draw(self, draw: Draw) -> State:
        return draw.level._replace(spot_offset=self.spread * normal_quantile(draw.strata))

    def in_fresh_holes(self, state: State) -> State:
        """Rods that sit anew have no fault."""
        return state._replace(spot_offset=np.zeros(state.spot_offset.shape))


@dataclass(frozen=True)
class _Unlisted(_OffsetCause):
    """Whatever else there may be.

    Attributes
    ----------
    furthest : float
        Largest distance from the expected reading [1].
    """

    name: str = "none"
    label: str = NONE_OF_THESE
    prior: float = 0.05
    group: str = NONE_OF_THESE
    size_text: str = "{:+.0f} % by volume away from its depth"
    scatter: float = 0.03
    furthest: float = 0.30

    @property
    def range_text(self) -> str:
        return "anything"

    def draw(self, draw: Draw) -> State:
        return draw.level._replace(spot_offset=self.furthest * (2.0 * draw.strata - 1.0))

    def sentence(self, size: float, fits: bool, contradicted: str) -> str:
        """Tell how far the reading lies from what the depth gives; nothing is incredible."""
        return self._told_size(size)


DEPTH = _Depth()
SLOPE = _Slope()
CAUSES: tuple[Cause, ...] = (
    DEPTH,
    SLOPE,
    _StandingWater(),
    _Mat(),
    _Repellency(),
    _Sprinkling(),
    _Rewetting(),
    _Meter(),
    _Unlisted(),
)
"""All causes that are weighed, in the order of tables."""

NAMES = tuple(cause.name for cause in CAUSES)
