"""A soil that remembers how it was wetted: two main curves and every branch between them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from soilwater.soils.capillary import CapillaryModel
from soilwater.soils.dry_end import WithDryEnd
from soilwater.soils.history import WettingHistory
from soilwater.soils.model import SoilModel, parameter
from soilwater.soils.soil import Values
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Angle, Suction
from soilwater.words.renamed import needs_all

OneCurve = CapillaryModel | WithDryEnd
"""A soil without a memory."""
_PLACES = np.geomspace(1e-2, 1e4, 1201)
"""Suctions, as multiples of the characteristic one, at which the condition of the model is
checked."""
_MOST_AMISS = 2e-3
"""Share of the pores that may break that condition: less than any lab can tell (our own choice).
Branches still fall with suction then, close and are forgotten; a nested one may leave the main loop
by so much."""
_ROUND_OFF = 1e-9
"""Drained share below which the quotient of two is round-off."""
_CURVES_AGREE = 1e-3
"""Water content within which a wetting curve has to follow from the drying one."""

NO_CURVE_FROM = 85.0
"""Contact angle [degrees] from which no wetting curve is given: near 90 water enters under pressure
alone, and in fingers, which a column cannot show."""


def cosine_of(contact_angle: Angle, name: str = "contact_angle") -> float:
    """Share of its pull that a pore keeps at a contact angle [1]; refuse one that leaves no curve.

    Parameters
    ----------
    contact_angle : float
        Of water on the sand [degrees], from 0 to below 85.
    name : str, optional
        What it is called where it is refused.
    """
    angle = float(contact_angle)
    if 0.0 <= angle < NO_CURVE_FROM:
        return float(np.cos(np.radians(angle)))
    nearer = (
        "take it as ground that wets in part: repellent_patches(case, 0.6), with the share of "
        "drops gone within 5 s"
        if angle >= NO_CURVE_FROM
        else "give it in degrees, such as 60.0"
    )
    raise InputError(
        f"{name}: {angle:g} degrees; allowed: 0 up to below {NO_CURVE_FROM:g}, beyond which water "
        f"enters only under pressure and in fingers, and no wetting curve exists; {nearer}."
    )


def _part(of: FloatArray, whole: FloatArray) -> FloatArray:
    """Quotient; 0 where there is no whole."""
    return np.divide(of, whole, out=np.zeros_like(whole), where=whole > 0.0)


@needs_all('Hysteretic(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"), 1.5)')
@dataclass(frozen=True, repr=False)
class Hysteretic(SoilModel):
    """A soil that holds less water at the same suction while it is wetted than while it drains.

    Everything follows from the drying curve, which is the curve of `soil`, and the wetting curve,
    which is the same curve at suctions smaller by one ratio. Between them lie the branches that
    begin wherever the sand turned from drying to wetting or back (`WettingHistory`). Curves that
    are asked of this soil as of any other, such as `water_content`, are the drying curve: the one a
    laboratory measures and a specification tests.

    Parameters
    ----------
    soil : VanGenuchten, BrooksCorey, Kosugi, TwoComponent or WithDryEnd
        The soil while it drains from saturation.
    suction_ratio : float
        Suction while drying over suction while wetting at equal water content [1], at least 1. On
        ten sands with both branches measured 1.12-2.02, median 1.44 (Leij et al. 1996,
        EPA/600/R-96/095, read from version 2.0, doi 10.15482/USDA.ADC/1173246).
    rewetted_saturation : float or str, optional
        Share [1] of the saturated water content to which dry sand fills when it is wetted; air
        stays trapped in the rest, and less of it the less the sand had dried. 1 when left out; on
        those sands typically 0.9.
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
    Independent domains with product density (Mualem 1974, Water Resources Research 10:514, from
    memory). With the drained shares F_d and F_w on the two curves, what leaves between a wet
    turn at suction w and a dryer suction d, and returns on the way back, is
    F_d(d) [1 - F_w(w) / F_w(d)]. Such a model is one of Preisach's: loops close, are forgotten
    once passed, and nothing drifts (O'Kane & Flynn 2007, Hydrology and Earth System Sciences
    11:443, from memory). It needs a ratio F_d / F_w that never falls with suction. Trapped air is
    the pores that only pressure would fill: the wetting curve ends below saturation, and the rest
    follows from the same formula, in place of Land's (1968). The conductivity is that of the
    water content, whichever branch holds it (common practice).

    Examples
    --------
    Sand drained to 40 cm and wetted to 20 cm holds a fifth less than on the drying curve:

    >>> from soilwater.soils import VanGenuchten
    >>> sand = Hysteretic(VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 2.0)
    >>> round(sand.water_content(20.0), 3)
    0.284
    >>> round(sand.water_content_after(WettingHistory().along([40.0, 20.0])), 3)
    0.193
    """

    soil: OneCurve
    suction_ratio: float = field(
        metadata=parameter("ratio of drying to wetting suctions", "fraction", at_least=1.0)
    )
    rewetted_saturation: float = field(
        default=1.0,
        metadata=parameter("saturation when rewetted", "fraction", above=0.0, at_most=1.0),
    )

    def __post_init__(self) -> None:
        given: object = self.soil
        if isinstance(given, SoilModel):
            object.__setattr__(self, "name", self.name or given.name)
            object.__setattr__(self, "source", self.source or given.source)
        super().__post_init__()

    def _cure(self, name: str, value: float) -> str:
        if name == "suction_ratio" and 0.0 < value < 1.0:
            return f"write {1.0 / value:.4g}: the suctions of drying over those of wetting"
        if name == "rewetted_saturation" and 10.0 <= value <= 100.0:
            return f'write "{value:g} %" for {value:g} %'
        return ""

    def _check_together(self, faults: Faults, refused: set[str]) -> None:
        given: object = self.soil
        if not isinstance(given, SoilModel) or isinstance(given, Hysteretic):
            faults.add(
                f"soil: a {type(given).__name__} cannot be given a memory",
                allowed="a soil model without one",
                cure="give the soil in it, .soil" if isinstance(given, Hysteretic) else "",
            )
        elif not refused:
            self._check_memory(faults)

    def _check_memory(self, faults: Faults) -> None:
        given = self.soil
        filled = self.rewetted_saturation * given.theta_s
        if filled <= given.theta_r:
            faults.add(
                f"rewetted_saturation={self.rewetted_saturation:g} leaves a water content of "
                f"{filled:g}, below theta_r={given.theta_r:g}",
                allowed=f"above {given.theta_r / given.theta_s:.3g} to 1",
            )
            return
        at = self._where_condition_fails()
        if at:
            faults.add(
                f"with suction_ratio={self.suction_ratio:g} the drained shares of the drying and "
                f"the wetting curve, F_d / F_w, draw apart again at {at:.3g} cm of suction, which "
                "independent domains forbid",
                allowed="curves for which F_d / F_w never falls with suction, such as those of one "
                "pore system",
                cure="fit one pore system, such as VanGenuchten, or take a smaller suction_ratio",
            )

    def _where_condition_fails(self) -> float:
        """Suction [cm] at which the drained shares draw apart again; 0 where they never do."""
        at = _PLACES * self.soil.suction_scale
        dried, wetted = 1.0 - self._drying(at), 1.0 - self._wetting(at)
        counts = wetted > _ROUND_OFF
        ratio = np.divide(dried, wetted, out=np.zeros_like(dried), where=counts)
        amiss = (np.maximum.accumulate(ratio) - ratio) * wetted > _MOST_AMISS
        return float(at[amiss][0]) if amiss.any() else 0.0

    @classmethod
    def from_curves(cls, drying: OneCurve, wetting: OneCurve, *, name: str = "") -> Hysteretic:
        """Make a soil from a drying and a wetting curve, each fitted to its own points.

        Parameters
        ----------
        drying, wetting : VanGenuchten, BrooksCorey, Kosugi or TwoComponent
            Two soils of one model that differ in their suctions only, by one ratio, and in the
            saturated water content: fit both branches with one steepness.
        name : str, optional
            What the person calls this soil; that of `drying` when left out.

        Returns
        -------
        Hysteretic
            Its conductivity is that of `drying`.

        Raises
        ------
        InputError
            If the wetting curve lies above the drying one, or is not the same curve at smaller
            suctions; it names the parameters that differ.

        Examples
        --------
        >>> from soilwater.soils import VanGenuchten
        >>> drains = VanGenuchten(0.05, 0.40, 0.04, 3.0, 40.0)
        >>> fills = VanGenuchten(0.05, 0.36, 0.06, 3.0, 40.0)
        >>> sand = Hysteretic.from_curves(drains, fills)
        >>> round(sand.suction_ratio, 3), round(sand.rewetted_saturation, 3)
        (1.5, 0.9)
        """
        called = name or drying.name
        faults = Faults(f'Hysteretic "{called}"' if called else "Hysteretic.from_curves")
        full = wetting.theta_s / drying.theta_s
        dry, wet = (
            0.5 * (drying.theta_s + drying.theta_r),
            0.5 * (wetting.theta_s + wetting.theta_r),
        )
        ratio = drying.suction_at(dry) / wetting.suction_at(wet)
        if full > 1.0 + 1e-12 or ratio < 1.0 - 1e-12:
            # More when full, or more on the way.
            at = 0.0 if full > 1.0 + 1e-12 else drying.suction_at(dry)
            faults.add(
                f"the wetting curve holds {wetting.water_content(at):.3g} at {at:.3g} cm of "
                f"suction, the drying curve {drying.water_content(at):.3g}: it lies above",
                allowed="a wetting curve below the drying one",
                cure="look for the two in each other's place",
            )
            faults.raise_if_any()
        soil = cls(drying, max(ratio, 1.0), min(full, 1.0), name=name)
        places = _PLACES[::50] * drying.suction_scale
        off = np.abs(soil.wetting_water_content(places) - wetting.water_content(places))
        if off.max() > _CURVES_AGREE:
            own, other = drying.to_dict(), wetting.to_dict()
            left = ("name", "source", "k_sat", "theta_s", "model")
            differ = [
                f"{each}={own[each]:g} and {other.get(each, float('nan')):g}"
                for each in own
                if each not in left and own[each] != other.get(each)
            ]
            faults.add(
                f"the wetting curve is not the drying one at smaller suctions "
                f"({', '.join(differ) or 'other models'}): they differ by {off.max():.2g} in water "
                "content",
                allowed="two curves of one shape: F_d / F_w would fall with suction otherwise",
                cure="fit both branches with one steepness; only suctions and theta_s may differ",
            )
            faults.raise_if_any()
        return soil

    def at_contact_angle(self, contact_angle: Angle) -> Hysteretic:
        """Return the same sand where water wets it at an angle: harder to wet, as easily drained.

        A pore draws water in with the cosine of the angle (Young and Laplace), so the wetting curve
        lies at suctions smaller by that; the drying curve stays. 60 degrees double the ratio, 75
        make 3.9 of it. Drop times do not tell the angle: they change within 88 to 93 degrees only
        (Leelamanie et al. 2008, Soil Science and Plant Nutrition, read as an abstract), where no
        wetting curve exists any more.

        Parameters
        ----------
        contact_angle : float
            Of water on the sand [degrees], from 0 to below 85.

        Returns
        -------
        Hysteretic
            With a larger `suction_ratio`.

        Raises
        ------
        InputError
            If the angle is out of range.

        Examples
        --------
        >>> from soilwater.soils import VanGenuchten
        >>> sand = Hysteretic(VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0), 1.5)
        >>> round(sand.at_contact_angle(60.0).suction_ratio, 9)
        3.0
        """
        return replace(self, suction_ratio=self.suction_ratio / cosine_of(contact_angle))

    @property
    def remembers(self) -> bool:
        """Whether the two curves differ at all."""
        return self.suction_ratio > 1.0 or self.rewetted_saturation < 1.0

    @property
    def wet_share(self) -> float:
        """Water above the dry end that the wetting curve ends with, as a share of all [1]."""
        if self.rewetted_saturation == 1.0:
            return 1.0
        theta_r, theta_s = self.soil.theta_r, self.soil.theta_s
        return (self.rewetted_saturation * theta_s - theta_r) / (theta_s - theta_r)

    # The curves any soil has: those of drying.
    @property
    def theta_r(self) -> float:
        """Water content at the dry end [m3/m3]."""
        return self.soil.theta_r

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
        """Characteristic suction of the drying curve [cm]."""
        return self.soil.suction_scale

    @property
    def dry_end_water_content(self) -> float:
        """Water content the curves tend to as suction grows without limit [m3/m3]."""
        return self.soil.dry_end_water_content

    def _water_content(self, suction: FloatArray) -> FloatArray:
        return self.soil._water_content(suction)

    def _effective_saturation(self, suction: FloatArray) -> FloatArray:
        return self.soil._effective_saturation(suction)

    def _capacity(self, suction: FloatArray) -> FloatArray:
        return self.soil._capacity(suction)

    def _conductivity(self, suction: FloatArray) -> FloatArray:
        return self.soil._conductivity(suction)

    def _suction_at(self, water_content: FloatArray) -> FloatArray:
        return self.soil._suction_at(water_content)

    # What it remembers.
    def _drying(self, suction: FloatArray) -> FloatArray:
        """Effective saturation on the drying curve."""
        return self.soil._effective_saturation(np.maximum(suction, 0.0))

    def _wetting(self, suction: FloatArray) -> FloatArray:
        """Effective saturation on the wetting curve."""
        at = self.suction_ratio * np.maximum(suction, 0.0)
        return self.wet_share * self.soil._effective_saturation(at)

    def wetting_water_content(self, suction: Values) -> Values:
        """Water content on the wetting curve, on which oven-dry sand is wetted.

        Parameters
        ----------
        suction : float, str, Quantity, ndarray or DataArray, any shape
            Suction [cm], positive when dry; zero and less means none.

        Returns
        -------
        float, ndarray or DataArray
            Water content [m3/m3], of the kind and shape of `suction`.

        Raises
        ------
        InputError
            If a suction is not a finite number or its unit does not measure suction.
        """

        def curve(at: FloatArray) -> FloatArray:
            theta_r, theta_s = self.soil.theta_r, self.soil.theta_s
            return theta_r + (theta_s - theta_r) * self._wetting(at)

        return self._on_suction(curve, suction, "water_content")

    def water_content_after(self, history: WettingHistory) -> float:
        """Water content of a sand with a history.

        Parameters
        ----------
        history : WettingHistory
            Where the sand turned, and its suction now.

        Returns
        -------
        float
            Water content [m3/m3].
        """
        return float(self._water_after([*history.turns, history.suction]))

    def _water_after(self, suctions: Sequence[float | FloatArray]) -> FloatArray:
        """Water content after turns, at the last of `suctions`; each a number or an array."""
        theta_r, theta_s = self.soil.theta_r, self.soil.theta_s
        every = [np.asarray(each, dtype=np.float64) for each in suctions]
        drying, wetting = map(self._drying, every), [self._wetting(at) for at in every]
        # What each turn holds beyond the wetting curve: small in dry sand, and precise there.
        beyond = np.zeros(())
        share, at_dry_turn, unfilled_at_turn = beyond, beyond, beyond
        for i, (on_drying, on_wetting) in enumerate(zip(drying, wetting, strict=True)):
            unfilled = 1.0 - on_wetting
            if i % 2 == 0:
                kept = _part(unfilled_at_turn, unfilled)
                gap, at_dry_turn = on_drying - on_wetting, on_wetting
                share = _part(gap, unfilled)
                beyond = beyond + (1.0 - np.minimum(kept, 1.0)) * gap
            else:
                beyond = beyond - share * (on_wetting - at_dry_turn)
                unfilled_at_turn = unfilled
        held: FloatArray = np.minimum(
            theta_r + (theta_s - theta_r) * (wetting[-1] + beyond), theta_s
        )
        return held

    def _suction_wetted_to(self, content: float, dried_to: FloatArray) -> FloatArray:
        """Suctions [cm] at which dried sand holds a water content again; 0 where it never does."""
        theta_r, theta_s = self.soil.theta_r, self.soil.theta_s
        dry, wet = self._drying(dried_to), self._wetting(dried_to)
        gap, unfilled = dry - wet, 1.0 - wet
        share = _part(gap, unfilled)
        # As in `_water_after`, solved for the wetting curve.
        wanted = (content - theta_r) / (theta_s - theta_r)
        on_wetting = _part(wanted - gap - share * wet, 1.0 - share)
        filled = on_wetting >= self.wet_share
        held = theta_r + (theta_s - theta_r) * np.clip(on_wetting / self.wet_share, 1e-9, 1.0)
        at = self.soil._suction_at(np.where(filled, theta_s, held)) / self.suction_ratio
        return np.where(filled, 0.0, at)

    def water_contents_along(
        self, path: Iterable[Suction], history: WettingHistory | None = None
    ) -> FloatArray:
        """Water contents at the points of a path of suctions.

        Parameters
        ----------
        path : iterable of float, str or Quantity, length n
            Suctions [cm], one after the other; the way between two runs straight.
        history : WettingHistory, optional
            Before the path; flooded when left out.

        Returns
        -------
        ndarray, shape (n,)
            Water contents [m3/m3].

        Raises
        ------
        InputError
            If a suction cannot be used.
        """
        now = WettingHistory.flooded() if history is None else history
        held = []
        for suction in path:
            now = now.then(suction)
            held.append(self.water_content_after(now))
        return np.array(held)

    def _facts(self) -> list[tuple[str, str, str]]:
        return [*self.soil._facts(), *super()._facts()]

    def _kind(self) -> str:
        return f"Hysteretic({type(self.soil).__name__})"

    def _notes(self) -> tuple[str, str]:
        held, source = super()._notes()
        after = WettingHistory.flooded().along([1000.0, 30.0])
        wetted = f"{100.0 * self.water_content_after(after):.1f} %"
        return f"drained from saturation it {held}; wetted from dry {wetted} at 30 cm", source
