"""Why a spot reads what it reads: each cause as a model of the reading, with a prior range.

A drained, level column of one sand has a suction at the surface equal to its depth plus the
suction left at its base, so the reading of a rod is one monotone function of that suction; it is
tabulated once per sand. Causes move that suction, scale it, or add to the reading. Their ranges
are judgements (common practice, no source) unless a source stands beside them, and are stated in
`CAUSES` for the reader to see and to change by weight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.soils import Soil
from soilwater.survey.survey import Spot
from soilwater.words.arrays import FloatArray

GRID_STEP = 0.25
"""Spacing of the table of suctions [cm]; the reading it gives is right to 0.01 % by volume."""
DRIEST_SUCTION = 800.0
"""End of that table [cm]; drier sand is held there."""
UPTAKE_DEPTH = 12.0
"""Depth [cm] over which turf takes its water out (common practice, no source)."""
MOST_WATER = 0.65
"""Most a mat over sand can read [1] (common practice, no source)."""


MOST_SLOPE = 30.0
"""Largest suction a slope adds at its crest [cm]."""
STANDING_WATER = (3.0, 25.0)
"""Water above the base [cm]."""
MAT = (0.5, 8.0)
"""Thickness of a mat that is held credible [cm]."""
MAT_EXCESS = (0.10, 0.30)
"""Water a mat holds beyond that of sand [1]."""
REPELLENCY = (1.3, 6.0)
"""How strongly suction acts in repellent sand [1]: contact angles of 40 to 80 degrees."""
WETTING_BRANCH = (1.15, 2.0)
"""The same on the wetting branch [1]."""
LOW_CATCH = (0.3, 0.85)
"""Water caught where sprinkling is short, over that of the green [1]."""
WATER_USED = (8.0, 30.0)
"""Water the turf has used since all of the green was last full [mm]."""
MISSING = (2.0, 21.0)
"""Missing water that is held credible [mm]: from next to none, to the most that is used where least
is caught."""
SPOT_OFFSET = 0.05
"""Spread of an offset at one spot [1]: +-2 to 5 % by volume are said to be usual."""
ANYTHING = 0.30
"""Largest distance from the expected reading where no listed cause acts [1]."""
UNKNOWN_SCATTER = 0.03
"""How far readings of different rods may stray where no listed cause acts [1]."""

SLOPE_WORTH = (0.8, 3.5)
"""Suction a slope adds at its crest for each per cent [cm]: a screening range, for some 10 m of
slope and sands in specification (see `soilwater.decisions.slope`)."""

_CREST = 0.75
# Medians and spreads of logarithms.
_USUAL_SLOPE, _STEEP_SLOPE = (0.015, 0.7), (0.035, 0.5)
_USUAL_MAT, _THICK_MAT = (0.8, 0.6), (2.5, 0.5)
_QUICK_DROP, _SLOW_DROP = (1.5, 1.0), (90.0, 1.5)
_CATCH_SPREAD = 0.12


@dataclass(frozen=True)
class Cause:
    """A cause, what it is called, and how often it is expected before anything is read.

    Attributes
    ----------
    name : str
        Short name, as in tables.
    label : str
        In words.
    prior : float
        Share of the spots of a green expected to have it [1] (a judgement, no source).
    range_text : str
        The sizes held credible, in words.
    size_text : str
        Sentence for the size a reading needs, with ``{}`` for the number.
    credible : (float, float)
        The same range in the unit of the size.
    """

    name: str
    label: str
    prior: float
    range_text: str
    size_text: str
    credible: tuple[float, float]


def _told(ends: tuple[float, float], times: float = 1.0) -> str:
    """Write the two ends of a range, as its cause says it."""
    return f"{times * ends[0]:g} to {times * ends[1]:g}"


_SHORT = (1.0 - LOW_CATCH[1], 1.0 - LOW_CATCH[0])
"""Part of the water that is missing where sprinkling is short [1]."""

CAUSES: tuple[Cause, ...] = (
    Cause(
        "depth",
        "its own depth",
        0.40,
        "the depth found, within the error of the probe",
        "would take a root zone of {:.0f} cm",
        (-np.inf, np.inf),
    ),
    Cause(
        "slope",
        "slope",
        0.10,
        f"{_told(SLOPE_WORTH)} cm of suction for each per cent of slope, at most {MOST_SLOPE:g} cm",
        "would take {:.0f} cm of extra suction",
        (-0.5 * MOST_SLOPE, MOST_SLOPE),
    ),
    Cause(
        "standing_water",
        "water standing at the base",
        0.08,
        f"{_told(STANDING_WATER)} cm of standing water, or read too soon",
        "would take {:.0f} cm of water standing at the base",
        STANDING_WATER,
    ),
    Cause(
        "mat",
        "organic mat",
        0.08,
        f"{_told(MAT)} cm of mat that holds {_told(MAT_EXCESS, 100)} % by volume more than the "
        "sand",
        "would take {:.1f} cm of mat",
        MAT,
    ),
    Cause(
        "repellency",
        "water repellency",
        0.10,
        f"suction acting {_told(REPELLENCY)} times as strongly",
        "would take suction acting {:.1f} times as strongly",
        REPELLENCY,
    ),
    Cause(
        "sprinkling",
        "uneven sprinkling",
        0.10,
        f"{_told(_SHORT, 100)} % less water than the green, over days",
        "would take {:.0f} mm of water missing",
        MISSING,
    ),
    Cause(
        "rewetting",
        "sand on its wetting branch",
        0.04,
        f"suction acting {_told(WETTING_BRANCH)} times as strongly",
        "would take suction acting {:.1f} times as strongly",
        WETTING_BRANCH,
    ),
    Cause(
        "meter",
        "meter or rods at this spot",
        0.05,
        f"an offset of up to {200 * SPOT_OFFSET:g} % by volume",
        "would take an offset of {:+.0f} % by volume",
        (-2.0 * SPOT_OFFSET, 2.0 * SPOT_OFFSET),
    ),
    Cause(
        "none",
        "none of these",
        0.05,
        "anything",
        "{:+.0f} % by volume away from its depth",
        (-np.inf, np.inf),
    ),
)
"""Repellency and the wetting branch both let suction act more strongly: the capillary suction of
a pore scales with the cosine of the contact angle (Miller & Miller 1956, J. Appl. Phys. 27:324,
from memory), and a sand wetted from dry holds at a suction what it holds at up to twice that
suction when drying (alpha_wet = 2 alpha_dry: Kool & Parker 1987, Water Resour. Res. 23:105, from
memory). A mat of 5 cm lifting a 7.6 cm reading by 10 to 17 % by volume, and the suction a slope is
worth, are screening figures."""

NAMES = tuple(cause.name for cause in CAUSES)


class ReadingTable:
    """Reading of a drained column as a function of the suction at its surface, for many sands.

    Parameters
    ----------
    soils : sequence of Soil
        Equally likely sands.
    """

    def __init__(self, soils: Sequence[Soil]) -> None:
        self.soils = tuple(soils)
        suction = np.arange(0.0, DRIEST_SUCTION + GRID_STEP, GRID_STEP)
        water = np.array([np.asarray(soil.water_content(suction)) for soil in self.soils])
        steps = 0.5 * GRID_STEP * (water[:, 1:] + water[:, :-1])
        self._integral = np.zeros(water.shape)
        np.cumsum(steps, axis=1, out=self._integral[:, 1:])
        self._saturated = np.array([soil.theta_s for soil in self.soils])
        self._size = suction.size

    def mean(
        self, soil: NDArray[np.int64], surface_suction: FloatArray, rod: FloatArray | float
    ) -> FloatArray:
        """Mean water content from the surface down along a rod [1].

        Parameters
        ----------
        soil : ndarray of int
            Number of the sand.
        surface_suction : ndarray
            Suction at the surface [cm]; it falls by one centimetre for each centimetre down.
        rod : ndarray or float
            Length of the rod [cm].
        """
        top = self._at(soil, surface_suction)
        bottom = self._at(soil, surface_suction - rod)
        mean: FloatArray = (top - bottom) / rod
        return mean

    def _at(self, soil: NDArray[np.int64], suction: FloatArray) -> FloatArray:
        """Integral of the water content over suction from zero [cm]."""
        position = np.clip(suction, 0.0, DRIEST_SUCTION - 1e-6) / GRID_STEP
        left = position.astype(np.int64)
        flat = soil * self._size + left
        integral = self._integral.ravel()
        value = integral[flat] + (position - left) * (integral[flat + 1] - integral[flat])
        # Below a water table the sand is saturated; beyond the table it is as dry as at its end.
        slope = (integral[flat + 1] - integral[flat]) / GRID_STEP
        value = value + np.maximum(suction - DRIEST_SUCTION, 0.0) * slope
        shifted: FloatArray = value + np.minimum(suction, 0.0) * self._saturated[soil]
        return shifted


class State(NamedTuple):
    """Everything that decides a reading, one entry a possibility; arrays of one shape.

    `soil` number of the sand; `base` suction left at the base [cm]; `depth` [cm]; `extra` suction
    at the surface beyond depth and base [cm]; `scale` how strongly suction acts [1]; `mat`
    thickness [cm] and `mat_excess` what it holds more than sand [1]; `missing` water [mm];
    `offset` of all readings and `spot_offset` of those here [1]; `slope` [1]; `catch` water caught
    over that of the green [1].
    """

    soil: NDArray[np.int64]
    base: FloatArray
    depth: FloatArray
    extra: FloatArray
    scale: FloatArray
    mat: FloatArray
    mat_excess: FloatArray
    missing: FloatArray
    offset: FloatArray
    spot_offset: FloatArray
    slope: FloatArray
    catch: FloatArray

    def take(self, index: Any) -> State:
        """Pick entries by an index."""
        return State(*(values[index] for values in self))


def predict(table: ReadingTable, state: State, rod: float) -> FloatArray:
    """Give the reading [1] of a rod [cm] in each state, from a table of readings."""
    suction = state.scale * (state.base + state.depth + state.extra)
    sand = table.mean(state.soil, suction, state.scale * rod)
    dried = state.missing / (10.0 * max(rod, UPTAKE_DEPTH))
    # The drier the sand, the less of the missing water it could have lost.
    sand = sand * np.exp(-dried / np.maximum(sand, 1e-3))
    with_mat = sand + state.mat_excess * np.minimum(state.mat, rod) / rod
    offset = state.offset + state.spot_offset
    reading: FloatArray = np.clip(np.minimum(with_mat, MOST_WATER) + offset, 0.0, 1.0)
    return reading


class Common(NamedTuple):
    """What all spots of a green share, one entry a draw: sand, base suction [cm], offset [1]."""

    soil: NDArray[np.int64]
    base: FloatArray
    offset: FloatArray


class Prior(NamedTuple):
    """Errors a diagnosis reckons with: probe [cm], usual depth and its spread [cm]."""

    probe_error: float
    usual_depth: float
    usual_spread: float
    mean_catch: float


def draw_states(
    cause: str, spot: Spot, common: Common, prior: Prior, nodes: int, rng: np.random.Generator
) -> State:
    """Draw states of a spot under a cause.

    Parameters
    ----------
    cause : str
        One of `NAMES`.
    spot : Spot
        What was measured there.
    common : Common
        What the spots share, one entry a draw.
    prior : Prior
        Errors and usual values.
    nodes : int
        Sizes of the cause in each draw; they are stratified, so that few are enough.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    State
        Arrays of shape (draws, nodes).
    """
    shape = (common.base.size, nodes)
    strata = (np.arange(nodes) + rng.random(shape)) / nodes
    second = rng.random(shape)
    zero = np.zeros(shape)
    one = np.ones(shape)
    wide = {name: np.broadcast_to(getattr(common, name)[:, None], shape) for name in Common._fields}
    depth = _depths(spot, prior, shape, rng)
    slope = _measured_or(spot.slope, 0.05, _lognormal(_USUAL_SLOPE, second), rng)
    catch = _measured_or(_catch(spot, prior), 0.05, 1.0 + _CATCH_SPREAD * _normal(second), rng)
    mat = _measured_or(spot.mat_thickness, 0.1, _lognormal(_USUAL_MAT, second), rng)
    state = State(
        soil=wide["soil"],
        base=wide["base"],
        depth=depth,
        extra=zero,
        scale=one,
        mat=mat,
        mat_excess=zero,
        missing=zero,
        offset=wide["offset"],
        spot_offset=zero,
        slope=slope,
        catch=catch,
    )
    if cause == "slope":
        steep = _measured_or(spot.slope, 0.05, _lognormal(_STEEP_SLOPE, second), rng)
        # Three in four are looked at because they are high and dry, one because it is low and wet.
        crest = strata < _CREST
        worth = np.where(
            crest,
            SLOPE_WORTH[0] + (SLOPE_WORTH[1] - SLOPE_WORTH[0]) * strata / _CREST,
            -0.5 * (SLOPE_WORTH[0] + (SLOPE_WORTH[1] - SLOPE_WORTH[0]) * second),
        )
        return state._replace(extra=np.minimum(100.0 * steep * worth, MOST_SLOPE), slope=steep)
    if cause == "standing_water":
        low, high = STANDING_WATER
        return state._replace(extra=-np.minimum(low + (high - low) * strata, depth), base=zero)
    if cause == "mat":
        thick = _measured_or(spot.mat_thickness, 0.1, _lognormal(_THICK_MAT, second), rng)
        low, high = MAT_EXCESS
        return state._replace(mat=thick, mat_excess=low + (high - low) * strata)
    if cause == "repellency":
        return state._replace(scale=_log_between(REPELLENCY, strata))
    if cause == "sprinkling":
        low, high = LOW_CATCH
        short = _measured_or(_catch(spot, prior), 0.05, low + (high - low) * second, rng)
        low, high = WATER_USED
        used = low + (high - low) * strata
        return state._replace(missing=np.maximum(1.0 - short, 0.0) * used, catch=short)
    if cause == "rewetting":
        low, high = WETTING_BRANCH
        return state._replace(scale=low + (high - low) * strata)
    if cause == "meter":
        return state._replace(spot_offset=SPOT_OFFSET * _normal(strata))
    if cause == "none":
        return state._replace(spot_offset=ANYTHING * (2.0 * strata - 1.0))
    return state


def extra_evidence(cause: str, spot: Spot, prior: Prior) -> float:
    """Logarithm of the density of what else was measured at a spot under a cause and a prior.

    Drop time, catch depth, slope and mat thickness, each against what is usual where the cause
    does not act. Slow drops are those above 5 to 10 s (a drop-test note and common practice).
    """
    total = 0.0
    if spot.drop_time is not None:
        total += log_density("drop_time", cause, np.array(max(spot.drop_time, 0.3)))
    if spot.slope is not None:
        total += log_density("slope", cause, np.array(max(spot.slope, 0.001)))
    if spot.mat_thickness is not None:
        total += log_density("mat_thickness", cause, np.array(max(spot.mat_thickness, 0.1)))
    catch = _catch(spot, prior)
    if catch is not None:
        total += log_density("catch", cause, np.array(catch))
    return float(total)


def log_density(what: str, cause: str, value: FloatArray) -> Any:
    """Logarithm of the density of an extra measurement under a cause.

    Parameters
    ----------
    what : {"drop_time", "slope", "mat_thickness", "catch"}
        What was measured: [s], [1], [cm] and the catch over that of the green [1].
    cause : str
        One of `NAMES`.
    value : ndarray
        The value.
    """
    if what == "catch":
        if cause == "sprinkling":
            low, high = LOW_CATCH
            edge = 0.05
            inside = _normal_share((value - low) / edge) - _normal_share((value - high) / edge)
            return np.log(np.maximum(inside / (high - low), 1e-12))
        z = (value - 1.0) / _CATCH_SPREAD
        return -0.5 * z**2 - np.log(_CATCH_SPREAD * np.sqrt(2.0 * np.pi))
    median, spread = {
        "drop_time": _SLOW_DROP if cause == "repellency" else _QUICK_DROP,
        "slope": _STEEP_SLOPE if cause == "slope" else _USUAL_SLOPE,
        "mat_thickness": _THICK_MAT if cause == "mat" else _USUAL_MAT,
    }[what]
    z = np.log(value / median) / spread
    return -0.5 * z**2 - np.log(spread * value * np.sqrt(2.0 * np.pi))


def _catch(spot: Spot, prior: Prior) -> float | None:
    if spot.catch_depth is None or not np.isfinite(prior.mean_catch):
        return None
    return spot.catch_depth / prior.mean_catch


def _depths(
    spot: Spot, prior: Prior, shape: tuple[int, int], rng: np.random.Generator
) -> FloatArray:
    if not spot.has_depth:
        depth = prior.usual_depth + prior.usual_spread * rng.standard_normal(shape)
    elif spot.depth_at_least:
        depth = spot.depth + rng.exponential(prior.usual_spread, shape)
    else:
        depth = spot.depth + prior.probe_error * rng.standard_normal(shape)
    return np.maximum(depth, 5.0)


def _measured_or(
    measured: float | None, error: float, otherwise: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Values around what was measured, or what is expected where nothing was."""
    if measured is None:
        return otherwise
    scattered: FloatArray = measured * (1.0 + error * rng.standard_normal(otherwise.shape))
    return np.maximum(scattered, 0.0)


def _normal(share: FloatArray) -> FloatArray:
    from scipy.special import ndtri

    return np.asarray(ndtri(np.clip(share, 1e-9, 1.0 - 1e-9)))


def _normal_share(z: FloatArray) -> FloatArray:
    from scipy.special import ndtr

    return np.asarray(ndtr(z))


def _lognormal(shape: tuple[float, float], share: FloatArray) -> FloatArray:
    median, spread = shape
    values: FloatArray = median * np.exp(spread * _normal(share))
    return values


def _log_between(ends: tuple[float, float], share: FloatArray) -> FloatArray:
    low, high = ends
    values: FloatArray = low * (high / low) ** share
    return values
