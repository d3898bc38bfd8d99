"""The dry end: water and conductivity of the films that remain when the pores are empty."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from soilwater.kernels.curves import DRY_END_SUCTION
from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.elementary import bisect, log_one_plus_exp, log_or_minus_infinity
from soilwater.soils.model import SoilModel, parameter
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults
from soilwater.words.renamed import needs_all

OVEN_DRY_SUCTION = DRY_END_SUCTION
"""Suction of oven-dry soil [cm] (Schneider & Goss 2012, Geoderma 170:64; from memory)."""

FILM_POWER = -1.5
"""Power of suction in the conductivity of films (Tokunaga 2009, in Peters 2013; from memory)."""

POWER_BEYOND = -40.0
"""The same beyond the oven-dry suction: what holds nothing soon conducts nothing. Our own choice,
as steep as the tables follow to 1e-4. `kernels.tabulate` has it too."""

LEAST_FILM_WATER = 1e-5
"""Water content below which there are no films: what holds nothing conducts nothing."""

_LOG_OVEN_DRY = math.log(OVEN_DRY_SUCTION)
_LOG_TEN = math.log(10.0)


@needs_all('WithDryEnd(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"))')
@dataclass(frozen=True, repr=False)
class WithDryEnd(SoilModel):
    """A soil model whose residual water becomes films that dry out and conduct.

    The pores of `soil` lose their last water, and its residual water becomes adsorbed water that
    falls with the logarithm of suction to nothing at the oven-dry suction of 10^6.8 cm. Films
    conduct where the pores no longer do. Plain sand has neither below its residual water content,
    which is where dry-down to wilting takes place.

    Parameters
    ----------
    soil : VanGenuchten, BrooksCorey, Kosugi or TwoComponent
        The soil to extend. Its `theta_r` is the most that films can hold.
    film_share : float or str, optional
        Share of `k_sat` that flows in films at saturation [1], at least 0 and below 1. The
        default of 1e-4 is an order of magnitude for sands, from memory: fit it where there are
        data. A `soil` whose `theta_r` is below 1e-5 has no water for films, and none flows in them.
    name : str, optional
        What the person calls this soil; that of `soil` when left out.
    source : str, optional
        Where the parameters come from; that of `soil` when left out.

    Raises
    ------
    InputError
        If parameters are not usable; all faults in one message.

    Notes
    -----
    From Peters (2013), Water Resources Research 49:6765, doi 10.1002/wrcr.20548, and Iden &
    Durner (2014), Water Resources Research 50:7530, doi 10.1002/2014WR015937; all from memory.
    With x = log10(suction), x_0 = 6.8, x_a = log10 of the suction at which films begin to thin
    (1/alpha, the entry suction, the median suction; for two pore systems that of the finer one),
    S the saturation of `soil`, R its pore integral and S_0, R_0 their values at x_0:

    - pores: S_c = (S - S_0) / (1 - S_0);
    - films: S_f = 1 - L(x) / L(x_0), L(x) = ln(1 + exp((x - x_a) / b)), and
      b = 0.1 + 0.2 / n^2 (1 - exp(-(theta_r / (theta_s - theta_r))^2)), where 0.07 spread stands
      for 0.2 / n^2 in `Kosugi` (Iden & Durner); our own choices are n = pore_size_index + 1 in
      `BrooksCorey`, which has the same slope far out, and the finer system in `TwoComponent`;
    - water content (theta_s - theta_r) S_c + theta_r S_f;
    - conductivity k_sat [(1 - w) S_c^l ((R - R_0) / (1 - R_0))^2 + w (s_0 / s_a)^(-1.5 (1 - S_f))].

    Iden & Durner write (x_0 - x_a) / b where L(x_0) stands here; the water contents differ by less
    than 1e-7, and with L(x_0) they are zero exactly at the oven-dry suction. Beyond it the
    soil holds nothing, and what the films conduct falls off with the power -40 of suction: our own
    choice. Flow of vapour, which the original adds, is left out.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.03, 0.40, 0.033, 5.0, 40.0)
    >>> round(WithDryEnd(sand).water_content(15000.0), 4)
    0.0148
    """

    soil: CapillaryModel
    film_share: float = field(
        default=1e-4,
        metadata=parameter("share of k_sat in films", "fraction", at_least=0.0, below=1.0),
    )

    def __post_init__(self) -> None:
        given: object = self.soil
        if isinstance(given, CapillaryModel):
            object.__setattr__(self, "name", self.name or given.name)
            object.__setattr__(self, "source", self.source or given.source)
        super().__post_init__()

    def _check_together(self, faults: Faults, refused: set[str]) -> None:
        given: object = self.soil
        if not isinstance(given, CapillaryModel):
            faults.add(
                f"soil: a {type(given).__name__} cannot be extended",
                allowed="a soil model without a dry end of its own",
            )
        elif self._onset >= OVEN_DRY_SUCTION:
            faults.add(
                f"the pores of this soil empty at {self._onset:g} cm, beyond the oven-dry suction",
                allowed=f"below {OVEN_DRY_SUCTION:g} cm",
            )

    @property
    def theta_r(self) -> float:
        """Water content at the dry end [m3/m3]: none."""
        return 0.0

    @property
    def theta_s(self) -> float:
        """Water content at saturation [m3/m3]."""
        return self.soil.theta_s

    @property
    def k_sat(self) -> float:
        """Conductivity at saturation [cm/h]."""
        return self.soil.k_sat

    @property
    def suction_scale(self) -> float:
        """Characteristic suction [cm] of the soil that was extended.

        Moved by a factor of at most 1.5, so that the oven-dry suction lies whole octaves above it
        and falls on an edge of the kernels' tables; a soil with a kink keeps its own.
        """
        scale = self.soil.suction_scale
        if self.soil._has_kink:
            return scale
        return OVEN_DRY_SUCTION * 2.0 ** round(math.log2(scale / OVEN_DRY_SUCTION))

    @property
    def dry_end_water_content(self) -> float:
        """Water content at and beyond the oven-dry suction [m3/m3]: none."""
        return 0.0

    @property
    def _onset(self) -> float:
        return self.soil._adsorption()[0]

    @property
    def _share_in_films(self) -> float:
        """Share of `k_sat` that flows in films: none where there is no water for films."""
        return self.film_share if self.soil.theta_r >= LEAST_FILM_WATER else 0.0

    def _film_terms(self) -> tuple[float, float, float]:
        """Logarithm of the onset, width in logarithms of suction, and L at the oven-dry suction."""
        onset, factor = self.soil._adsorption()
        ratio = self.soil.theta_r / (self.soil.theta_s - self.soil.theta_r)
        width = (0.1 - factor * math.expm1(-(ratio**2))) * _LOG_TEN
        whole = np.logaddexp(0.0, (_LOG_OVEN_DRY - math.log(onset)) / width)
        return math.log(onset), width, float(whole)

    def _films(self, log_suction: FloatArray) -> FloatArray:
        onset, width, whole = self._film_terms()
        emptied = log_one_plus_exp((np.minimum(log_suction, _LOG_OVEN_DRY) - onset) / width)
        return (whole - emptied) / whole

    def _log_pores(self, log_suction: FloatArray) -> FloatArray:
        return _log_above_dry(self.soil._log_saturation, log_suction)

    def _water_content(self, suction: FloatArray) -> FloatArray:
        at = log_or_minus_infinity(suction)
        theta_r, theta_s = self.soil.theta_r, self.soil.theta_s
        water = (theta_s - theta_r) * np.exp(self._log_pores(at)) + theta_r * self._films(at)
        return np.where(suction > 0.0, np.minimum(water, theta_s), theta_s)

    def _effective_saturation(self, suction: FloatArray) -> FloatArray:
        return self._water_content(suction) / self.theta_s

    def _capacity(self, suction: FloatArray) -> FloatArray:
        at = log_or_minus_infinity(suction)
        onset, width, whole = self._film_terms()
        films = np.exp(-log_one_plus_exp((onset - at) / width)) / (width * whole)
        full = -np.expm1(self.soil._log_saturation(np.asarray(_LOG_OVEN_DRY)))
        pores = self.soil._saturation_slope(at) / full
        theta_r, theta_s = self.soil.theta_r, self.soil.theta_s
        slope = (theta_s - theta_r) * pores + theta_r * films
        holds = (suction > 0.0) & (suction <= OVEN_DRY_SUCTION)
        return np.where(holds, slope / np.where(holds, suction, 1.0), 0.0)

    def _conductivity(self, suction: FloatArray) -> FloatArray:
        at = log_or_minus_infinity(suction)
        log_integral = _log_above_dry(self.soil._log_pore_integral, at)
        # Both are -inf where the pores are empty, and a negative tortuosity would set them at odds.
        moist = np.isfinite(log_integral)
        power = self.soil.tortuosity * np.where(moist, self._log_pores(at), 0.0)
        pores = np.exp(power + 2.0 * log_integral)
        onset, _, _ = self._film_terms()
        films = np.exp(FILM_POWER * (_LOG_OVEN_DRY - onset) * (1.0 - self._films(at)))
        films = films * (np.maximum(suction, OVEN_DRY_SUCTION) / OVEN_DRY_SUCTION) ** POWER_BEYOND
        share = self._share_in_films
        conductivity = self.k_sat * ((1.0 - share) * pores + share * films)
        return np.where(suction > 0.0, np.minimum(conductivity, self.k_sat), self.k_sat)

    def _suction_at(self, water_content: FloatArray) -> FloatArray:
        def held(log_suction: FloatArray) -> FloatArray:
            return self._water_content(np.exp(log_suction))

        low = np.full(water_content.shape, math.log(self.suction_scale) - _LOGARITHMS_TO_SATURATION)
        found = np.exp(bisect(held, water_content, low, np.full_like(low, _LOG_OVEN_DRY)))
        return np.where(
            water_content >= self.theta_s,
            0.0,
            np.where(water_content <= 0.0, OVEN_DRY_SUCTION, found),
        )

    def _facts(self) -> list[tuple[str, str, str]]:
        return [*self.soil._facts(), *super()._facts()]

    def _kind(self) -> str:
        return f"WithDryEnd({type(self.soil).__name__})"


_LOGARITHMS_TO_SATURATION = 100.0
"""Logarithms of suction below the scale where every model is saturated to round-off."""


def _log_above_dry(
    log_curve: Callable[[FloatArray], FloatArray], log_suction: FloatArray
) -> FloatArray:
    """Logarithm of (C - C_0) / (1 - C_0) of a curve C with the value C_0 when oven-dry."""
    dry = log_curve(np.asarray(_LOG_OVEN_DRY))
    here = log_curve(np.minimum(log_suction, _LOG_OVEN_DRY))
    with np.errstate(divide="ignore"):  # the pores are empty: -inf is meant
        above = np.log(-np.expm1(dry - here))
    logarithm: FloatArray = here + above - np.log(-np.expm1(dry))
    return logarithm
