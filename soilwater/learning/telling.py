"""What was learnt and what was not, and how far it can be trusted: bands, a check, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from soilwater.learning.evidence import (
    Evidence,
    Own,
    Track,
    depth_nodes,
    draw_own,
    expected_of,
    log_depth_density,
    log_evidence,
    told_by,
)
from soilwater.learning.unknowns import Shared, Unknowns
from soilwater.learning.weighing import pick, weights_of
from soilwater.soils import Hysteretic
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW, PROBABILITY
from soilwater.words.cautions import SLOPE_THAT_COUNTS, cautions_for

LABELS = {
    "wet_factor": ("suction acts in the field times", "fraction"),
    "base_suction": ("suction left at the base", "suction"),
    "crop_coefficient": ("demand over that of the turf given", "fraction"),
    "mat_water": ("mat and thatch add to 7.6 cm rods", "water_content"),
    "meter_offset": ("offset of the meter", "water_content"),
}
LEARNED_BELOW = 0.8
"""A quantity whose spread the readings leave above this part of what it was [1] was not learnt."""
ROD_OF_MAT = 7.6
SAND_SUCTION = 30.0
"""Suction [cm] at which the sand is told by what it holds."""
PRIOR_DRAWS = 4000
CHECK_DRAWS = 400
FEW_INSIDE = 0.55
"""Fewer of the last visit's readings inside their bands are worth a caution [1].

Of twenty readings, each inside with the probability of a band, one visit in 400 has so few.
"""
OUT_OF_LINE = 3.0
"""Standard errors beyond which a reading is told to be doubtful."""
SPOT_OUT_OF_LINE = 2.5
"""The same of a spot beside the others: beyond it `diagnose` has its depth not explain it."""
FEW_DRAWS = 1.0


class Learned(NamedTuple):
    """One quantity before and after the readings.

    `name` and `label`; `before` and `after` its band: low end, median, high end, in the unit that
    `quantity` has in results; `spread` standard deviation after over before [1]; `learned` whether
    the readings tell it.
    """

    name: str
    label: str
    quantity: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    spread: float
    learned: bool

    @property
    def sentence(self) -> str:
        """Whether it was learnt, in words."""
        if self.learned:
            return f"learned: {100 * (1 - self.spread):.0f} % narrower"
        return "the readings do not tell"


class HeldBack(NamedTuple):
    """The last visit against what the ones before it said: its day, readings inside and in all."""

    day: np.datetime64
    inside: int
    read: int

    @property
    def share(self) -> float:
        """Share of its readings inside their bands [1]."""
        return self.inside / self.read

    @property
    def sentence(self) -> str:
        """The check in words."""
        return (
            f"Held back, {self.inside} of {self.read} readings of {self.day} lie inside the "
            f"{100 * PROBABILITY:.0f} % bands that the visits before give them."
        )


def quantities_learned(unknowns: Unknowns, shared: Shared) -> tuple[Learned, ...]:
    """Compare what all spots share before and after the readings."""
    before = unknowns.draw(PRIOR_DRAWS, np.random.default_rng(0))
    found = []
    if len(unknowns.soils) > 1:
        held = np.array([float(soil.water_content(SAND_SUCTION)) for soil in unknowns.soils])
        found.append(
            _learned(
                "sand",
                f"sand holds at {SAND_SUCTION:g} cm in the lab",
                "water_content",
                held[before.soil],
                held[shared.soil],
            )
        )
    if unknowns.remembers:
        ratio = np.array(
            [soil.suction_ratio for soil in unknowns.soils if isinstance(soil, Hysteretic)]
        )
        found.append(
            _learned(
                "memory",
                "drying over wetting suctions",
                "fraction",
                ratio[before.soil],
                ratio[shared.soil],
            )
        )
    for name, (label, quantity) in LABELS.items():
        if name == "wet_factor" and unknowns.remembers:
            continue
        scale = 1.0 / ROD_OF_MAT if name == "mat_water" else 1.0
        values = (scale * unknowns.values(each, name) for each in (before, shared))
        found.append(_learned(name, label, quantity, *values))
    return tuple(found)


def _learned(
    name: str, label: str, quantity: str, before: FloatArray, after: FloatArray
) -> Learned:
    spread = float(np.std(after) / max(float(np.std(before)), 1e-12))
    if np.std(before) < 1e-12:
        spread = 1.0
    told = spread < LEARNED_BELOW
    return Learned(name, label, quantity, band_of(before), band_of(after), spread, told)


def band_of(values: FloatArray) -> tuple[float, float, float]:
    """Low end, median and high end of equally likely values."""
    low, middle, high = np.quantile(values, [LOW, 0.5, HIGH])
    return float(low), float(middle), float(high)


def depths_learned(
    evidence: Evidence, shared: Shared, own: Own, rng: np.random.Generator
) -> tuple[Learned, ...]:
    """Compare the depth each spot behaves as if it had before and after the readings."""
    before = evidence.unknowns.draw(PRIOR_DRAWS, rng)
    scatter = evidence.unknowns.values(before, "scatter")
    found = []
    for j, spot in enumerate(evidence.green.spots):
        logs = log_depth_density(spot.depth_at_least, scatter, evidence.probe_error)
        density = np.exp(logs).mean(axis=0)
        prior = depth_nodes(spot)[pick(density / density.sum(), PRIOR_DRAWS, rng)]
        label = f"{spot.name} behaves as deep as"
        found.append(_learned(spot.name, label, "length", prior, own.depth[:, j]))
    return tuple(found)


def _shown(
    evidence: Evidence,
    shared: Shared,
    own: Own,
    track: Track,
    shift: FloatArray,
    told: Sequence[FloatArray],
) -> FloatArray:
    """Give what an instrument should show, without noise, shape (draws, readings)."""
    expected = expected_of(evidence, shared, track, told)
    values: FloatArray = expected[:, np.arange(shared.soil.size), own.node[:, track.spot]].T
    return values + shift[:, None]


def held_back(
    evidence: Evidence, shared: Shared, log_ratio: FloatArray, rng: np.random.Generator
) -> HeldBack | None:
    """Hold the last visit back, and see whether the ones before it tell what was read.

    Parameters
    ----------
    evidence : Evidence
        All readings.
    shared : Shared
        Draws.
    log_ratio : ndarray, shape (draws,)
        By what they are to be weighed beside their likelihood, as logarithms.
    rng : numpy.random.Generator
        Source of the draws.
    """
    hours = np.concatenate([track.hours for track in evidence.tracks])
    start = evidence.green.weather.start
    last = (start + np.timedelta64(int(hours.max() * 3600), "s")).astype("datetime64[D]")
    since = float((last - start) / np.timedelta64(1, "h"))
    if hours.min() >= since:
        return None
    before = evidence.without(since)
    # Half of them do, and neither half has more of one round's parts.
    shared, log_ratio = shared.take(slice(None, None, 2)), log_ratio[::2]
    kept = shared.take(pick(weights_of(log_ratio + log_evidence(before, shared)), CHECK_DRAWS, rng))
    own = draw_own(before, kept, rng)
    told = told_by(before, kept)
    inside = count = 0
    for k, track in enumerate(evidence.tracks):
        held = track.where(track.hours >= since)
        if not held.at.size:
            continue
        shown = _shown(before, kept, own, held, own.shift[:, k], told)
        shown += held.error * rng.standard_normal(shown.shape)
        low, high = np.quantile(shown, [LOW, HIGH], axis=0)
        inside += int(np.sum((held.value >= low) & (held.value <= high)))
        count += held.value.size
    return HeldBack(last, inside, count)


def doubts_of(evidence: Evidence, shared: Shared, own: Own) -> list[str]:
    """List readings and spots that lie far from what everything else says of them."""
    told = told_by(evidence, shared)
    without_shift = np.zeros(shared.soil.size)
    found = []
    for track in evidence.tracks:
        if not track.at.size:
            continue
        shown = _shown(evidence, shared, own, track, without_shift, told)
        hours = float(np.mean(evidence.unknowns.values(shared, "error_hours")))
        spot = evidence.green.spots[track.spot].name
        odd = _out_of_line(track, shown, hours)
        found += [
            f"{spot} read {100 * track.value[i]:.1f} % where {100 * expected:.1f} % was expected"
            for i, expected in odd
        ]
        usual = np.ones(track.at.size, dtype=bool)
        usual[[i for i, _ in odd]] = False
        found += _beside_the_others(evidence, shared, track.where(usual), told)
    return found


def _beside_the_others(
    evidence: Evidence, shared: Shared, track: Track, told: Sequence[FloatArray]
) -> list[str]:
    """Say where an instrument reads what its spot would not, if it behaved about as probed.

    Its own depth takes that up, so that no reading of it is out of line.
    """
    if not track.at.size:
        return []
    spot = evidence.green.spots[track.spot]
    scatter = evidence.unknowns.values(shared, "scatter")
    usual = log_depth_density(spot.depth_at_least, scatter, evidence.probe_error, 0.0)
    weight = np.exp(usual) / shared.soil.size
    shares = track.error**-2 / np.sum(track.error**-2)
    mean = np.tensordot(shares, expected_of(evidence, shared, track, told), 1)
    expected = float(np.sum(weight * mean))
    variance = float(np.sum(weight * (mean - expected) ** 2)) + track.own**2
    variance += 1.0 / float(np.sum(track.error**-2))
    read = float(shares @ track.value)
    if abs(read - expected) <= SPOT_OUT_OF_LINE * np.sqrt(variance):
        return []
    several = f", the mean of {track.at.size}," if track.at.size > 1 else ""
    return [
        f"{spot.name} read {100 * read:.1f} %{several} where its probed depth gives "
        f"{100 * expected:.1f} % beside the other spots: diagnose weighs why"
    ]


def _out_of_line(track: Track, shown: FloatArray, hours: float) -> list[tuple[int, float]]:
    """Find readings that the others of an instrument do not foretell, and what these foretell [1].

    The farthest goes first, and is left out of what is expected of the rest: a blunder moves the
    lasting shift, and with it all that an instrument should have read.
    """
    apart = np.abs(track.hours[:, None] - track.hours)
    alike = np.exp(-apart / hours) if track.buried else np.eye(track.at.size)
    together = np.atleast_2d(np.cov(shown, rowvar=False)) + track.own**2
    together += np.outer(track.error, track.error) * alike
    gap = track.value - shown.mean(axis=0)
    left = np.arange(track.at.size)
    found = []
    while left.size:
        precision = np.linalg.inv(together[np.ix_(left, left)])
        weighed, alone = precision @ gap[left], precision.diagonal()
        off = np.abs(weighed) / np.sqrt(alone)
        worst = int(off.argmax())
        if off[worst] <= OUT_OF_LINE:
            break
        i = int(left[worst])
        found.append((i, float(track.value[i] - weighed[worst] / alone[worst])))
        left = np.delete(left, worst)
    return found


def cautions_of(
    evidence: Evidence, checked: HeldBack | None, worth: float, draws: int
) -> tuple[str, ...]:
    """Say what the person should know before using what was learnt."""
    tracks = evidence.tracks
    said = []
    read = {track.spot for track in tracks}
    hours = np.concatenate([track.hours for track in tracks])
    visits = np.unique(np.round(hours / 24.0)).size
    if visits < 3 or len(read) < 3:
        said.append(
            f"{len(read)} spot{'' if len(read) == 1 else 's'} and {visits} "
            f"visit{'' if visits == 1 else 's'} tell little; 3 of each are the least that help"
        )
    if visits == 1:
        said.append("one visit says nothing about how fast the turf drinks")
    if len({track.span for track in tracks}) == 1:
        said.append(
            "one length of rods cannot tell a mat from an offset of the meter: a second length "
            "tells more than five more visits"
        )
    if checked is not None and checked.share < FEW_INSIDE:
        said.append(
            f"only {100 * checked.share:.0f} % of the last visit's readings lie where the visits "
            "before put them: something is missing here, such as water that was not written down"
        )
    odd = [
        evidence.green.spots[i].name
        for i in sorted(read)
        if (evidence.green.spots[i].slope or 0.0) >= SLOPE_THAT_COUNTS
        or (evidence.green.spots[i].drop_time or 0.0) > 5.0
    ]
    if odd:
        said.append(
            f"{', '.join(odd)}: a slope or repellent sand hides in what a spot behaves as deep as; "
            "do not call it depth"
        )
    if worth < FEW_DRAWS * draws:
        said.append(
            f"the readings leave few draws, worth {worth:.0f}: bands are rough; look at the "
            "doubtful readings"
        )
    return (*said, *cautions_for("level ground", "not modelled", "accuracy", "salt"))
