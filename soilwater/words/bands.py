"""The one level of every band, interval and bracket that people are shown: four in five inside."""

from __future__ import annotations

PROBABILITY = 0.8
"""That what a band stands for lies inside it [1]; eight in ten is a choice (no source).

A person bets on four in five and checks it within a season; the ends of nine in ten hang on the
rarest draws, which a hundred of them hardly tell.
"""
LOW, HIGH = 0.1, 0.9
"""Its ends, as shares of what is below them [1]."""
NORMAL_END = 1.2816
"""Where it ends if what it stands for is normal, in standard deviations from the middle [1]."""
