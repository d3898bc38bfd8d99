"""Whether a meter shows something else than per cent by volume, by how much better that would fit.

What a meter on another scale shows may stay below the pore space of the sand. Then no single
reading is out of line, and sand, base and demand give way to it. The readings as a whole may still
be far more likely as something else: by their level after the soaking, by how they fall, and by how
far apart shallow and deep spots are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from soilwater.learning.evidence import Evidence, Track, log_evidence
from soilwater.learning.unknowns import Shared

DRAWS = 2000
SO_MUCH_BETTER = 20.0
"""A scale that makes readings so many times as likely is asked about: strong evidence (Kass and
Raftery 1995, Bayes factors, from memory). Readings by volume come to it once in 20 greens at most.
"""
LEAST_SPOTS = 3
"""Fewer spots may all be odd for reasons of their own."""


def scale_doubts(evidence: Evidence) -> list[str]:
    """Ask about the scale of the meter, where shares of the pore space are far more likely.

    Parameters
    ----------
    evidence : Evidence
        All readings.
    """
    if len({each.spot for each in evidence.tracks if not each.buried}) < LEAST_SPOTS:
        return []
    before = evidence.unknowns.draw(DRAWS, np.random.default_rng(0))
    pores = float(np.median([float(soil.theta_s) for soil in evidence.unknowns.soils]))
    gain = _log_probability(evidence, before, 1.0 / pores) - _log_probability(evidence, before, 1.0)
    if gain < np.log(SO_MUCH_BETTER):
        return []
    times = "more than 1000" if gain > np.log(1e3) else f"{np.exp(gain):.0f}"
    return [
        f"readings are {times} times as likely together if they are per cent of saturation: is the "
        "meter in per cent by volume, and set to sand? If it is, ask whether sand, depths, soaking "
        "and water are those of this green"
    ]


def _log_probability(evidence: Evidence, before: Shared, scale: float) -> float:
    """Logarithm of how likely readings are that show `scale` times the water by volume."""

    def in_volume(track: Track) -> Track:
        if track.buried:
            return track
        return replace(track, value=track.value / scale, error=track.error / scale)

    tracks = tuple(map(in_volume, evidence.tracks))
    logs = log_evidence(replace(evidence, tracks=tracks), before)
    count = sum(track.at.size for track in tracks if not track.buried)
    return float(np.logaddexp.reduce(logs) - np.log(logs.size) - count * np.log(scale))
