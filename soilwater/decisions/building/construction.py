"""Check a root-zone sand and its gravel against a construction recommendation.

A laboratory test looks at the sand at one suction. The check puts beside it what the same sand
holds in a root zone of the user's own depth, under the user's own meter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from operator import attrgetter

import numpy as np

from soilwater.decisions.building.recommendations import (
    ANY_SIZE,
    EDITIONS,
    GRAVEL_ALONE,
    GRAVEL_UNDER_LAYER,
    INTERMEDIATE_LAYER,
    MEMORY,
    SAND_FRACTIONS,
    SUCTION_TOLERANCE,
    Recommendation,
    SieveFraction,
)
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.ground.profile import Profile
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.fit_result import FitResult
from soilwater.lab.grading import Grading
from soilwater.lab.likely_memory import likely_memories
from soilwater.lab.retention import RetentionTable
from soilwater.runs.drained import drained_water_content
from soilwater.runs.wetted import USUAL_RAIN, Rewetted, gently
from soilwater.soils import Soil
from soilwater.soils.at_rest import rest_curve
from soilwater.words.bands import PROBABILITY
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length, Suction
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

SAMPLES = 100
"""Soils of a fit's posterior sample that carry its band to the user's depth."""

CONDUCTIVITY_REPEATABILITY = 0.2
"""Share of itself by which two tests of conductivity on one sand differ [1]: the quality-control
confidence that a trade article on root-zone testing gives. The limits are for the test itself; how
well a test tells what a field conducts is another matter, and worse."""


class Verdict(StrEnum):
    """How a value stands to a limit; near means the limit lies within the error of the value."""

    PASS = "pass"
    NEAR = "near"
    FAIL = "fail"
    NOT_ENOUGH_DATA = "not enough data"


@dataclass(frozen=True)
class Check:
    """One line of a material check.

    Attributes
    ----------
    what : str
        What was looked at.
    value, error : float or None
        The value and its standard error in `unit`; None where there is not enough data.
    low, high : float or None
        Limits in `unit`; None where there is none on that side.
    unit : str
        Such as ``"% by volume"``; empty for ratios.
    verdict : Verdict
        How the value stands to the limits.
    flag : str
        How the limits are known: `READ` or `MEMORY`.
    remark : str
        Why there is not enough data, or where the value comes from.
    """

    what: str
    value: float | None
    error: float | None
    low: float | None
    high: float | None
    unit: str
    verdict: Verdict
    flag: str
    remark: str = ""


@dataclass(frozen=True, repr=False)
class MaterialCheck(Displayed, Tabled):
    """Checks of one root-zone material against one edition of a recommendation.

    Attributes
    ----------
    edition : str
        Full name of the recommendation.
    checks : tuple of Check
        One per requirement.
    at_depth : tuple of str
        Sentences on the same sand at the user's own depth and rod; empty where none was given.
    cautions : tuple of str
        What to keep in mind.
    """

    edition: str
    checks: tuple[Check, ...]
    at_depth: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of the checks: a failure, then missing data, then a near value."""
        found = {check.verdict for check in self.checks}
        order = (Verdict.FAIL, Verdict.NOT_ENOUGH_DATA, Verdict.NEAR)
        return next((each for each in order if each in found), Verdict.PASS)

    def _columns(self) -> list[Column]:
        # Each check has a unit of its own, which stands in its row.
        return columns_of(
            self.checks,
            [
                ("what", lambda each: each.what, ""),
                *(
                    (name, attrgetter(name), "various")
                    for name in ("value", "error", "low", "high")
                ),
                ("unit", lambda each: each.unit, ""),
                ("verdict", lambda each: each.verdict.value, ""),
                ("limit", lambda each: each.flag, ""),
                ("remark", lambda each: each.remark, ""),
            ],
        )

    def _rows(self) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for check in self.checks:
            value = "-"
            if check.value is not None:
                value = f"{_figure(check.value)} +/- {_figure(check.error or 0.0)}"
            wanted = f"{_range(check.low, check.high)} {check.unit}".strip()
            remark = "; ".join(part for part in (f"limit {check.flag}", check.remark) if part)
            rows.append((check.what, value, wanted, check.verdict.value, remark))
        return rows, ("what", "value", "asked for", "verdict", "remark")

    def _shown(self) -> Shown:
        rows, header = self._rows()
        lines = [*self.at_depth, *caution_lines(self.cautions)]
        return Shown(f"{self.edition}: {self.verdict.value}", header, rows, lines)


@mind_words(soil="sand", entry_suction="base_suction")
def check_root_zone(
    table: RetentionTable,
    *,
    edition: str = "USGA 2004",
    gravel: Grading | None = None,
    intermediate: Grading | None = None,
    sand: Sand | None = None,
    depth: Length = None,
    rod: Length = None,
    base_suction: Suction = OVER_GRAVEL.best,
) -> MaterialCheck:
    """Check a root-zone material against a construction recommendation.

    Parameters
    ----------
    table : RetentionTable
        The lab sheet of the material.
    edition : str
        Which recommendation: ``"USGA 2004"``, ``"USGA 1993"`` or ``"California"``.
    gravel, intermediate : Grading, optional
        Sieve analyses of the gravel blanket and of an intermediate layer. With an intermediate
        layer the gravel has no need to bridge with the root zone.
    sand : Soil, FitResult or sequence of these, optional
        Curve of the material. It stands in where the sheet has no point at the test suction, and
        is needed for `depth`.
    depth : float or str, optional
        The user's own root-zone depth [cm].
    rod : float or str, optional
        Length of the meter's rods [cm]; needed with `depth`.
    base_suction : float, str or BaseSuction
        Suction left at the base two days after a soaking [cm]; that over a clean gravel, which is
        an assumption to be stated beside the result, when left out.

    Returns
    -------
    MaterialCheck

    Raises
    ------
    InputError
        If the edition is unknown, or `depth` comes without `sand` and `rod`; all faults at once.

    Notes
    -----
    Limits and how each is known are in `EDITIONS` and beside each line of the result: most were
    read in a summary or recalled from memory, not in the edition itself. A value is called near
    where a limit lies within its error: one lab error for water contents and porosity; 20 % for
    conductivity, 10 % for shares above a fifth and 35 % for smaller ones (the confidence that a
    trade article on root-zone testing gives; the split at a fifth is our own); 10 % for diameters
    (common practice, no source).
    """
    faults = Faults("Root-zone check")
    if edition not in EDITIONS:
        faults.add(f'edition="{edition}" is not known', allowed=", ".join(EDITIONS))
    if depth is not None and (sand is None or rod is None):
        faults.add(
            "a depth needs the curve of the sand and the length of the rods",
            cure='add sand=table.fit(...) and rod="3 in"',
        )
    faults.raise_if_any()
    rules = EDITIONS[edition]
    checks = [*_water_checks(table, sand, rules)]
    if rules.grading:
        checks += _sand_checks(table.grading)
        checks += _gravel_checks(table.grading, gravel, intermediate, rules)
    at_depth: tuple[str, ...] = ()
    if depth is not None:
        assert sand is not None
        at_depth = _at_depth(sand, depth, rod, base_suction, rules)
    cautions = [
        "limits are cited as known here, not as printed: hold the current edition before accepting "
        "or rejecting a load, and let an accredited laboratory test it",
        "drainage, outlets and layers are the business of the licensed designer and local code",
    ]
    return MaterialCheck(rules.title, tuple(checks), at_depth, (*table.cautions, *cautions))


def _figure(value: float) -> str:
    return f"{value:.1f}" if abs(value) < 99.95 else f"{value:.0f}"


def _range(low: float | None, high: float | None) -> str:
    if low is None:
        return f"at most {high:g}"
    return f"at least {low:g}" if high is None else f"{low:g} to {high:g}"


def _check(
    what: str,
    value: float | None,
    error: float,
    limits: tuple[float | None, float | None],
    unit: str,
    flag: str,
    remark: str = "",
) -> Check:
    low, high = limits
    if value is None or not np.isfinite(value):
        return Check(
            what, None, None, low, high, unit, Verdict.NOT_ENOUGH_DATA, flag, remark
        )  # fmt: skip
    # How far inside the limits the value lies; negative outside.
    margin = min(
        value - low if low is not None else np.inf, high - value if high is not None else np.inf
    )
    verdict = Verdict.PASS if margin >= error else Verdict.NEAR
    if margin < -error:
        verdict = Verdict.FAIL
    return Check(what, value, error, low, high, unit, verdict, flag, remark)


def _water_checks(table: RetentionTable, sand: Sand | None, rules: Recommendation) -> list[Check]:
    capillary, error, remark = _held_at(table, sand, rules.test_suction)
    space = table.pore_space
    total = None if space is None else 100.0 * space
    space_error = 100.0 * table.lab_error
    air = None if total is None or capillary is None else total - capillary
    no_space = "" if total is not None else "needs total porosity, or bulk density"
    at = f"at {rules.test_suction:g} cm"
    k_sat = None if table.k_sat is None else table.k_sat / 2.54
    k_error = 0.0 if k_sat is None else k_sat * CONDUCTIVITY_REPEATABILITY
    suction_known = f"test suction {rules.suction_flag}"
    return [
        _check("total porosity", total, space_error, rules.total, "%", rules.flag, no_space),
        _check(
            f"capillary porosity {at}",
            capillary,
            error,
            rules.capillary,
            "% by volume",
            rules.flag,
            f"{remark}; {suction_known}",
        ),
        _check(
            f"air-filled porosity {at}",
            air,
            float(np.hypot(error, space_error)),
            rules.air_filled,
            "% by volume",
            rules.flag,
            no_space,
        ),
        _check(
            "saturated conductivity",
            k_sat,
            k_error,
            rules.k_sat,
            "in/h",
            rules.flag,
            "" if k_sat is not None else "not on the sheet",
        ),
    ]


def _held_at(
    table: RetentionTable, sand: Sand | None, suction: float
) -> tuple[float | None, float, str]:
    """Water [%] at a suction, its error [%], and where it comes from."""
    points = table.points
    near = np.abs(points.suction - suction)
    if near.min() <= SUCTION_TOLERANCE:
        i = int(np.argmin(near))
        return 100.0 * points.water_content[i], 100.0 * points.standard_error[i], "measured"
    if isinstance(sand, FitResult):
        band = sand.band(suction, PROBABILITY)
        half = 50.0 * float(band.upper[0] - band.lower[0]) / 1.645
        return 100.0 * float(band.median[0]), half, "from the fitted curve"
    if sand is not None:
        best, likely = best_and_likely(sand)
        held = 100.0 * np.array([float(each.water_content(suction)) for each in likely])
        return 100.0 * float(best.water_content(suction)), float(held.std()), "from the curve given"
    return None, 0.0, f"no point at {suction:g} cm: measure it, or give sand=table.fit(...)"


def _share_error(share: float) -> float:
    return (0.10 if share >= 20.0 else 0.35) * share


def _fraction_checks(grading: Grading | None, rules: Sequence[SieveFraction]) -> list[Check]:
    found = []
    for rule in rules:
        value, remark = _share(grading, rule)
        error = 0.0 if value is None else _share_error(value)
        found.append(_check(rule.what, value, error, rule.limits, "% by mass", MEMORY, remark))
    return found


def _share(grading: Grading | None, rule: SieveFraction) -> tuple[float | None, str]:
    """Share [%] between two sizes, or None and what is missing."""
    if grading is None:
        return None, "no sieve analysis"
    bounds = [size for size in (rule.finer, rule.coarser) if 0.0 < size < ANY_SIZE]
    outside = [size for size in bounds if not _known(grading, size)]
    if not outside:
        coarser = 1.0 if rule.coarser == ANY_SIZE else grading.passing(rule.coarser)
        finer = 0.0 if rule.finer == 0.0 else grading.passing(rule.finer)
        return 100.0 * (coarser - finer), ""
    # Silt and clay are not told apart by sieves; but neither exceeds what passes the last sieve.
    most = 100.0 * grading.passing(min(size for size in grading.sizes if size > 0.0))
    high = rule.limits[1]
    last = float(min(size for size in grading.sizes if size > 0.0))
    if rule.coarser <= last * 1.02 and high is not None and most <= high:
        return most, "at most this: all that passes the finest sieve"
    sizes = " and ".join(f"{size:g} mm" for size in outside)
    return None, f"the analysis does not reach {sizes}"


def _known(grading: Grading, size: float) -> bool:
    """Whether the share passing a size is measured, or lies between two sieves close by."""
    if grading.has_sieve(size):
        return True
    sieves = grading.sizes[grading.sizes > 0.0]
    above, below = sieves[sieves > size], sieves[sieves < size]
    # Above a sieve that everything passes, and below one that nothing does, there is nothing.
    if above.size == 0 and grading.passing(float(sieves.max())) > 1.0 - 1e-9:
        return True
    if below.size == 0 and grading.passing(float(sieves.min())) < 1e-9:
        return True
    return bool(above.size and below.size and above.min() / below.max() <= 4.5)


def _sand_checks(grading: Grading | None) -> list[Check]:
    return _fraction_checks(grading, SAND_FRACTIONS)


def _gravel_checks(
    sand: Grading | None,
    gravel: Grading | None,
    intermediate: Grading | None,
    rules: Recommendation,
) -> list[Check]:
    if intermediate is not None:
        return [
            *_fraction_checks(gravel, GRAVEL_UNDER_LAYER),
            *_fraction_checks(intermediate, INTERMEDIATE_LAYER),
        ]
    ratios: tuple[tuple[str, Callable[[], float], tuple[float | None, float | None]], ...] = (
        (
            "bridging: D15 of gravel / D85 of sand",
            lambda: _diameter(gravel, 0.15) / _diameter(sand, 0.85),
            (None, rules.bridging),
        ),
        (
            "permeability: D15 of gravel / D15 of sand",
            lambda: _diameter(gravel, 0.15) / _diameter(sand, 0.15),
            (rules.permeability, None),
        ),
        (
            "uniformity: D90 / D15 of gravel",
            lambda: _diameter(gravel, 0.90) / _diameter(gravel, 0.15),
            (None, rules.uniformity),
        ),
    )
    found = []
    for what, ratio, limits in ratios:
        value = ratio()
        remark = "" if np.isfinite(value) else "needs the sieve analyses of sand and gravel"
        error = 0.0 if not np.isfinite(value) else 0.1 * value
        found.append(_check(what, value, error, limits, "", MEMORY, remark))
    return [*found, *_fraction_checks(gravel, GRAVEL_ALONE)]


def _diameter(grading: Grading | None, share: float) -> float:
    return float("nan") if grading is None else grading.diameter(share)


def _at_depth(
    sand: Sand, depth: Length, rod: Length, base_suction: Suction, rules: Recommendation
) -> tuple[str, ...]:
    """Sentences on the sand at the user's own depth."""
    thickness = number_to_house(depth, "length", "depth")
    length = number_to_house(rod, "length", "rod")
    base = base_band(base_suction).best
    if length > thickness:
        raise InputError(f"rod: {length:g} cm is longer than the root zone of {thickness:g} cm.")

    def reading(one: Soil) -> float:
        profile = Profile.over_gravel(one, thickness, base_suction=base)
        return 100.0 * drained_water_content(profile, 0.0, length)

    best, likely = best_and_likely(sand, SAMPLES)
    middle = reading(best)
    band, tail = "", 50.0 * (1.0 - PROBABILITY)
    rewetted = [
        100.0 * float(rest_curve(Rewetted(one, USUAL_RAIN)).reading(thickness, length, base))
        for one in likely_memories(sand, SAMPLES)
    ]
    least, usual, most = np.percentile(rewetted, [tail, 50.0, 100.0 - tail])
    if len(likely) > 1:
        low, high = np.percentile([reading(one) for one in likely], [tail, 100.0 - tail])
        band = f" ({low:.1f} to {high:.1f}, {100 * PROBABILITY:.0f} % band)"
    test = 100.0 * float(best.water_content(rules.test_suction))
    air = 100.0 * best.theta_s - middle
    return (
        f"the same sand at your depth: drained over gravel, a {in_people_units(length, 'length')} "
        f"rod in {in_people_units(thickness, 'length')} of root zone reads "
        f"{middle:.1f} % by volume{band}, with {air:.1f} % air; the lab test at "
        f"{rules.test_suction:g} cm sees {test:.1f} %. "
        f"Drained after {gently()}, in place of a flood, it reads {usual:.1f} % ({least:.1f} to "
        f"{most:.1f}), which no specification tests",
        f"assumed: {base:g} cm of suction left at the base, level ground, the drying curve",
    )
