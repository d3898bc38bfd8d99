"""How well the odds of a diagnosis stand up to greens whose causes are known.

Synthetic greens are drawn with a seed. Each spot has a known cause of a known size; its readings
are made by solving the drained profile - a mat is a layer of its own, standing water a water table
- and not by the model that diagnoses, and its sizes are drawn from other distributions. Then come
the errors: reading 2.5 % by volume, probe 1 cm, the green's meter 2 %, lab 1 % on four suctions.
The diagnosis sees only what a person would: a lab sheet, a probe depth, a reading and, at some
spots, one or more of slope, drop time, mat thickness, catch depth and a second rod.

Run with ``python benchmarks/diagnosis_truth.py [greens] [usual|even|slips]``: causes as often as
expected; all equally often, which the diagnosis is not told; or as often as expected, but with one
in twenty of all that is noted down wrong.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from soilwater.decisions.spots.cause import WETTER
from soilwater.decisions.spots.causes import CAUSES, NAMES
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.spots.findings import with_finding
from soilwater.decisions.spots.measurements import (
    KINDS,
    Measurement,
    rank_measurements,
)
from soilwater.decisions.spots.odds import Diagnosis
from soilwater.ground.base import CapillaryBreak, WaterTable
from soilwater.ground.layer import Layer
from soilwater.ground.profile import Profile
from soilwater.lab.retention import LAB_ERROR, RetentionTable
from soilwater.lab.retention_checks import USUAL_SUCTIONS
from soilwater.runs.drained import drained_water_content
from soilwater.soils import TwoComponent, VanGenuchten
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.words.errors import InputError

SPOTS = 6
ROD = 7.6
METER_ERROR, METER_OFFSET, PROBE_ERROR = 0.025, 0.02, 1.0
SLIPS = 0.05
"""Share of what is noted down that is wrong, with slips."""
MEASURED_SHARE = 0.3
"""Share of the spots at which each further measurement was made."""


@dataclass
class Truth:
    """A spot as it really is."""

    cause: str
    profile: Profile
    drained: Profile
    slope: float
    mat: float
    catch: float
    missing: float
    own_offset: float
    offset: float
    drop_time: float

    def reading(self, rod: float, rng: np.random.Generator, *, again: str = "") -> float:
        """What the meter shows; `again` for fresh holes or half a day later."""
        profile = self.drained if again == "later" else self.profile
        water = drained_water_content(profile, 0.0, rod)
        lost = min(self.missing / (10.0 * max(rod, 14.0)), 0.75 * water)
        local = 0.0 if again == "fresh" and self.cause == "meter" else self.own_offset
        holes = 3 if again == "fresh" else 1
        noise = METER_ERROR / np.sqrt(holes) * rng.standard_normal()
        return float(np.clip(water - lost + local + self.offset + noise, 0.011, 0.479))


def random_sand(rng: np.random.Generator) -> VanGenuchten:
    """A sand in or near the usual specification."""
    return VanGenuchten(
        theta_r=rng.uniform(0.02, 0.06),
        theta_s=rng.uniform(0.37, 0.43),
        alpha=float(np.exp(rng.uniform(np.log(0.032), np.log(0.05)))),
        n=rng.uniform(2.5, 4.5),
        k_sat=40.0,
    )


def lab_sheet(sand: VanGenuchten, rng: np.random.Generator) -> RetentionTable:
    suction = np.array(USUAL_SUCTIONS)
    while True:
        noisy = sand.water_content(suction) + LAB_ERROR * rng.standard_normal(suction.size)
        porosity = sand.theta_s + LAB_ERROR * rng.standard_normal()
        try:
            return RetentionTable(suction, noisy, k_sat=40.0, porosity=porosity)
        except InputError:
            continue


def stronger(sand: VanGenuchten, factor: float) -> VanGenuchten:
    return VanGenuchten(sand.theta_r, sand.theta_s, sand.alpha * factor, sand.n, sand.k_sat)


def true_spot(
    cause: str,
    depth: float,
    sand: VanGenuchten,
    base: float,
    offset: float,
    rng: np.random.Generator,
) -> Truth:
    slope = float(np.exp(rng.normal(np.log(0.015), 0.5)))
    mat, catch, missing, own_offset = rng.uniform(0.3, 1.2), rng.normal(1.0, 0.1), 0.0, 0.0
    drop = float(np.exp(rng.normal(np.log(2.0), 0.8)))
    suction = base
    layers = (Layer(sand, depth, "root zone"),)
    drained = Profile(layers, CapillaryBreak(base))
    profile = drained
    if cause == "slope":
        slope = rng.uniform(0.02, 0.06)
        extra = 100.0 * slope * max(rng.normal(2.2, 0.6), 0.5)
        # A crest; or, one time in five, a toe that is wetter by half as much.
        if rng.random() < 0.2:
            water_table = depth + base + 0.5 * extra * -1.0
            profile = drained = Profile(layers, WaterTable(water_table))
        else:
            profile = drained = Profile(layers, CapillaryBreak(base + extra))
    elif cause == "standing_water":
        profile = Profile(layers, WaterTable(max(depth - rng.uniform(4.0, 22.0), 1.0)))
        drained = drained if rng.random() < 0.5 else profile
    elif cause == "mat":
        mat = rng.uniform(1.5, 5.0)
        organic = TwoComponent(
            0.05, rng.uniform(0.58, 0.68), 0.10, 3.0, rng.uniform(0.5, 0.9), 0.004, 1.6, 15.0
        )
        layers = (Layer(organic, mat, "mat"), Layer(sand, depth - mat, "root zone"))
        profile = drained = Profile(layers, CapillaryBreak(suction))
    elif cause == "repellency":
        factor = 1.0 / np.cos(np.radians(rng.uniform(45.0, 79.0)))
        layers = (Layer(stronger(sand, factor), depth, "root zone"),)
        profile = drained = Profile(layers, CapillaryBreak(base))
        drop = float(np.exp(rng.normal(np.log(60.0), 1.2)))
    elif cause == "sprinkling":
        catch = rng.uniform(0.35, 0.8)
        missing = (1.0 - catch) * rng.uniform(10.0, 28.0)
    elif cause == "rewetting":
        layers = (Layer(stronger(sand, rng.uniform(1.2, 2.0)), depth, "root zone"),)
        profile = drained = Profile(layers, CapillaryBreak(base))
    elif cause == "meter":
        own_offset = rng.choice([-1.0, 1.0]) * rng.uniform(0.03, 0.10)
    elif cause == "none":
        own_offset = rng.uniform(-0.25, 0.25)
    return Truth(
        cause, profile, drained, slope, mat, catch, missing, own_offset, offset, drop
    )  # fmt: skip


def measured_spot(name: str, truth: Truth, depth: float, rng: np.random.Generator) -> Spot:
    """What the person notes down."""

    def sometimes(value: float) -> float | None:
        return value if rng.random() < MEASURED_SHARE else None

    readings = [Reading(truth.reading(ROD, rng), rod=ROD)]
    if rng.random() < MEASURED_SHARE:
        readings.append(Reading(truth.reading(12.0, rng), rod=12.0))
    return Spot(
        name,
        max(depth + PROBE_ERROR * rng.standard_normal(), 21.0),
        readings=tuple(readings),
        slope=sometimes(truth.slope),
        drop_time=sometimes(truth.drop_time),
        mat_thickness=sometimes(truth.mat),
        catch_depth=5.0 * truth.catch * float(np.exp(0.03 * rng.standard_normal())),
    )


def with_slips(spot: Spot, rng: np.random.Generator) -> Spot:
    """The same spot with some of what was noted down wrong."""

    def wrong(low: float, high: float) -> float | None:
        return (
            float(np.exp(rng.uniform(np.log(low), np.log(high)))) if rng.random() < SLIPS else None
        )

    changed: dict[str, Any] = {}
    for name, low, high in (
        ("drop_time", 0.5, 200.0),
        ("slope", 0.002, 0.08),
        ("mat_thickness", 0.2, 5.0),
        ("catch_depth", 1.5, 7.0),
    ):
        value = wrong(low, high)
        if value is not None and getattr(spot, name) is not None:
            changed[name] = value
    off = wrong(0.05, 0.15)
    if off is not None:
        first, *more = spot.readings
        value = float(np.clip(first.value + rng.choice([-1.0, 1.0]) * off, 0.011, 0.479))
        changed["readings"] = (replace(first, value=value), *more)
    off = wrong(4.0, 12.0)
    if off is not None:
        changed["depth"] = max(spot.depth + rng.choice([-1.0, 1.0]) * off, 21.0)
    return replace(spot, **changed)


def group_of(truth: Truth) -> str:
    """Group of a true cause: of slopes, toes are wetter."""
    cause = CAUSES[NAMES.index(truth.cause)]
    toe = truth.cause == "slope" and isinstance(truth.profile.base, WaterTable)
    return WETTER if toe else cause.group


def outcome(
    measurement: Measurement, truth: Truth, depth: float, rng: np.random.Generator
) -> float:
    """What a further measurement shows."""
    kind = measurement.kind
    if kind == "probe":
        return depth + PROBE_ERROR * rng.standard_normal()
    if kind == "rod":
        return truth.reading(measurement.rod, rng)
    if kind == "read_again":
        return truth.reading(ROD, rng, again="fresh")
    if kind == "read_later":
        return truth.reading(ROD, rng, again="later")
    if kind == "outlet":
        slow = 0.7 if truth.cause == "standing_water" else 0.1
        return float(rng.random() < slow)
    return {
        "drop_test": truth.drop_time,
        "catch": truth.catch,
        "slope": truth.slope,
        "mat": truth.mat,
    }[kind]


def score(diagnosis: Diagnosis, name: str, cause: str) -> float:
    return float(np.log(max(diagnosis.spot(name).probability(cause), 1e-4)))


def main(greens: int = 500, frequency: str = "usual") -> None:
    rng = np.random.default_rng(20260401)
    often = np.array([cause.prior for cause in CAUSES])
    if frequency == "even":
        often = np.ones(len(CAUSES))
    often = often / often.sum()
    started = time.perf_counter()
    given: list[tuple[float, bool]] = []
    groups: list[bool] = []
    confusion = np.zeros((len(NAMES), len(NAMES)))
    depth_rule = 0
    gains: list[tuple[float, float, float]] = []
    for number in range(greens):
        sand, base = random_sand(rng), rng.uniform(0.0, 9.0)
        offset = METER_OFFSET * rng.standard_normal()
        cans = rng.random() < MEASURED_SHARE
        truths, depths, spots = [], [], []
        for k in range(SPOTS):
            depth = float(np.clip(rng.normal(33.0, 5.0), 24.0, 50.0))
            truth = true_spot(str(rng.choice(NAMES, p=often)), depth, sand, base, offset, rng)
            spot = measured_spot(f"S{k}", truth, depth, rng)
            if not cans:
                spot = without_can(spot)
            if frequency == "slips":
                spot = with_slips(spot, rng)
            truths.append(truth)
            depths.append(depth)
            spots.append(spot)
        fit = lab_sheet(sand, rng).fit(VanGenuchten, seed=number)
        diagnosis = diagnose(Survey(spots), fit, seed=number)
        open_spots = []
        for truth, spot in zip(truths, spots, strict=True):
            found = diagnosis.spot(spot.name)
            given.extend((odds.probability, odds.cause == truth.cause) for odds in found.causes)
            groups.append(found.groups[0].label == group_of(truth))
            top = found.causes[0]
            confusion[NAMES.index(truth.cause), NAMES.index(top.cause)] += 1
            expected_off = abs(found.reading - found.expected) > np.hypot(METER_ERROR, 0.01) * 2.0
            depth_rule += ("none" if expected_off else "depth") == truth.cause
            open_spots.append((top.probability, spot.name))
        gains.append(compare_measurements(diagnosis, min(open_spots)[1], truths, depths, rng))
        if number == greens - 1 or (number + 1) % 100 == 0:
            report(number + 1, frequency, given, groups, confusion, depth_rule, gains, started)


def without_can(spot: Spot) -> Spot:
    return replace(spot, catch_depth=None)


def compare_measurements(
    diagnosis: Diagnosis,
    name: str,
    truths: list[Truth],
    depths: list[float],
    rng: np.random.Generator,
) -> tuple[float, float, float]:
    """Log score of the true cause before, after the advised and after a random measurement."""
    truth, depth = truths[int(name[1:])], depths[int(name[1:])]
    # A minute each: the most telling one, whatever the work.
    ranked = rank_measurements(
        diagnosis, name, rods=[3.8, 7.6, 12.0, 20.0], minutes=dict.fromkeys(KINDS, 1.0)
    )
    chosen: list[Any] = [ranked[0], ranked[int(rng.integers(len(ranked)))]]
    after = [with_finding(diagnosis, each, outcome(each, truth, depth, rng)) for each in chosen]
    return (
        score(diagnosis, name, truth.cause),
        score(after[0], name, truth.cause),
        score(after[1], name, truth.cause),
    )


def report(
    greens: int,
    frequency: str,
    given: list[tuple[float, bool]],
    groups: list[bool],
    confusion: np.ndarray,
    depth_rule: int,
    gains: list[tuple[float, float, float]],
    started: float,
) -> None:
    spots = int(confusion.sum())
    print(
        f"\n{greens} greens, {spots} spots, causes {frequency} "
        f"({time.perf_counter() - started:.0f} s)"
    )
    print(f"largest share is the true cause: {100 * np.trace(confusion) / spots:.1f} %")
    print(f"largest group holds it:          {100 * np.mean(groups):.1f} %")
    print(f"always its own depth:            {100 * confusion[0].sum() / spots:.1f} %")
    print(f"depth, or nothing known:         {100 * depth_rule / spots:.1f} %")
    share, right = np.array([g[0] for g in given]), np.array([g[1] for g in given])
    print("share given   cases  right (%)")
    for low, high in (
        (0, 0.02),
        (0.02, 0.1),
        (0.1, 0.3),
        (0.3, 0.5),
        (0.5, 0.7),
        (0.7, 0.9),
        (0.9, 1.01),
    ):
        inside = (share >= low) & (share < high)
        if inside.any():
            print(
                f"{100 * low:3.0f}-{min(100 * high, 100):3.0f} %   {inside.sum():7d}  "
                f"{100 * right[inside].mean():6.1f}  "
                f"(mean share {100 * share[inside].mean():.1f})"
            )
    before, advised, random = np.array(gains).T
    difference = advised - random
    error = difference.std() / np.sqrt(difference.size)
    print(
        f"log score of the true cause at the least certain spot: {before.mean():.3f} before, "
        f"{advised.mean():.3f} after the advised, {random.mean():.3f} after a random measurement; "
        f"advised - random {difference.mean():+.3f} +- {error:.3f}"
    )
    print("true cause (rows) against largest share (columns), spots")
    print(" " * 16 + " ".join(f"{name[:8]:>8s}" for name in NAMES))
    for name, row in zip(NAMES, confusion, strict=True):
        print(f"{name:16s}" + " ".join(f"{int(value):8d}" for value in row))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500, *sys.argv[2:3])
