"""Water drop tests: how long drops sit on a plug, by depth, and what share of the ground wets."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from soilwater.words.arrays import FloatArray
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_one_unit, in_people_units
from soilwater.words.renamed import needs_all
from soilwater.words.units import number_to_house

WETTABLE_WITHIN = 5.0
"""Seconds within which a drop is gone from sand that wets."""
CLASSES = (
    (WETTABLE_WITHIN, "wettable"),
    (60.0, "slightly repellent"),
    (600.0, "strongly repellent"),
    (3600.0, "severely repellent"),
    (math.inf, "extremely repellent"),
)
"""Drop times [s] below which a class holds (Dekker & Jungerius 1990, Catena Supplement 18:173, from
memory)."""
_AT_ONCE = 0.3
"""Least time that a watch can tell [s]."""
ONE_DEPTH = 0.1
"""Depths nearer than this [cm] are one."""
FOUR_IN_FIVE = (0.1, 0.9)
_SECONDS_IN_HOUR = 3600.0


class WettingShare(NamedTuple):
    """Share of the area that wets [1]: its mean, and the band that holds four in five."""

    low: float
    best: float
    high: float


def _class_of(seconds: float) -> str:
    return next(word for limit, word in CLASSES if seconds < limit or limit == math.inf)


@needs_all("DropTests({0: [2, 3], 1: [90, 600]})")
@dataclass(frozen=True, repr=False)
class DropTests(Displayed, Tabled):
    """Times that water drops sat on plugs of a spot or a green, by depth.

    Pull plugs, let them dry in the air, set drops on each at 0, 1, 2 and 3 cm, and stop the clock
    when a drop is gone. A drop time says on which side of repellency the sand lies and hardly how
    far (Leelamanie et al. 2008, Soil Science and Plant Nutrition, read as an abstract), so what is
    taken from it is the share of drops that are gone at once.

    Parameters
    ----------
    times : mapping of float, str or Quantity to float or sequence of float
        By depth of the drops [cm], how long each sat [s], or text with a unit (``"2 min"``). Of a
        drop that never went in, the time at which the clock was stopped.

    Raises
    ------
    InputError
        With every fault: no drops, times that are missing or negative, one depth told twice, or
        depths that contradict each other: one at which every drop was gone at once between two at
        which none was within a minute.

    Examples
    --------
    >>> drops = DropTests({"0 cm": [2, 3, 1, 4, 2], "1 cm": [2, 240, 900, 3, 90]})
    >>> drops.classes
    {0.0: 'wettable', 1.0: 'strongly repellent'}
    >>> [round(each, 2) for each in drops.wetting_share]
    [0.17, 0.42, 0.67]
    """

    times: Mapping[Any, Any] = field(hash=False)

    def __post_init__(self) -> None:
        faults = Faults("DropTests")
        given: Any = self.times
        if not isinstance(given, Mapping) or not given:
            raise InputError(
                f"DropTests: {given!r}; allowed: times [s] by depth [cm]; write "
                "DropTests({0: [2, 3], 1: [90, 600]})."
            )
        read: dict[float, tuple[float, ...]] = {}
        told: list[tuple[str, str]] = []
        for key, values in given.items():
            with faults.catching():
                depth = number_to_house(key, "length", "depth of the drops")
                if depth < 0.0:
                    raise InputError(f"depth of the drops: {depth:g} cm; allowed: 0 or more.")
                times = _seconds_at(key, values, told)
                same = next((each for each in read if abs(each - depth) < ONE_DEPTH), None)
                if same is not None:
                    at = in_people_units(depth, "length")
                    both = f"{_listed(read[same])} and {_listed(times)} s"
                    told.append((f"{at} told twice, with {both}", "one list a depth"))
                    times, depth = read[same] + times, same
                if times:
                    read[depth] = times
        read = dict(sorted(read.items()))
        against = _contradicting(read)
        told += [
            (
                f"at {in_people_units(depth, 'length')} every drop was gone within "
                f"{WETTABLE_WITHIN:g} s, just above and below none within {CLASSES[1][0]:g} s",
                "depths that do not contradict each other: set drops there again",
            )
            for depth in against
        ]
        kept = {depth: times for depth, times in read.items() if depth not in against}
        for what, allowed in told:
            faults.add(what, allowed=allowed, cure=f"write {_written(kept)}" if kept else "")
        faults.raise_if_any()
        object.__setattr__(self, "times", read)

    @property
    def depths(self) -> tuple[float, ...]:
        """Depths tested [cm], from the surface down."""
        return tuple(self.times)

    @property
    def classes(self) -> dict[float, str]:
        """By depth [cm], the class of its middle drop."""
        return {depth: _class_of(_middle(times)) for depth, times in self.times.items()}

    @property
    def drop_time(self) -> float:
        """Geometric mean of drop times at the depth where drops sit longest [s].

        Of drops that are half gone at once and half sit for minutes it lies between the two, where
        a middle drop would be one or the other.
        """
        means = [np.exp(np.mean(np.log(np.maximum(t, _AT_ONCE)))) for t in self.times.values()]
        return round(float(max(means)), 1)

    @property
    def least_wetting(self) -> float:
        """Depth that wets least [cm]: water has to pass it, whatever wets above and below."""
        depth: float = min(self.times, key=lambda depth: self._share_at(depth).best)
        return depth

    @property
    def wetting_share(self) -> WettingShare:
        """Share of the area that wets [1], at the depth that wets least.

        Of the drops that were set there, those gone within 5 s; drops are few, and the band is what
        they leave open (Jeffreys' prior; Brown, Cai & DasGupta 2001, Statistical Science 16:101,
        from memory). No published map leads from drop times to a share: it is an estimate from the
        plugs that were pulled, and as good as these stand for the ground.
        """
        return self._share_at(self.least_wetting)

    def wetting_share_at(self, probability: ArrayLike) -> FloatArray:
        """Shares of the area that wets [1] which the true one is below with some probabilities.

        Parameters
        ----------
        probability : array_like
            From 0 to 1 [1].

        Returns
        -------
        ndarray
            At the depth that wets least, one a probability.
        """
        return self._quantiles(self.least_wetting, probability)

    def _share_at(self, depth: float) -> WettingShare:
        wets, not_ = self._counted(depth)
        low, high = self._quantiles(depth, FOUR_IN_FIVE).tolist()
        return WettingShare(low, wets / (wets + not_), high)

    def _quantiles(self, depth: float, probability: ArrayLike) -> FloatArray:
        from scipy.special import betaincinv

        return np.asarray(betaincinv(*self._counted(depth), np.asarray(probability)))

    def _counted(self, depth: float) -> tuple[float, float]:
        """Count drops gone at once and others, each with the half drop of Jeffreys' prior."""
        times = self.times[depth]
        gone = sum(each < WETTABLE_WITHIN for each in times)
        return gone + 0.5, len(times) - gone + 0.5

    def _columns(self) -> list[Column]:
        return columns_of(
            list(self.times),
            [
                ("depth", lambda depth: depth, "length"),
                ("drops", lambda depth: len(self.times[depth]), ""),
                ("middle", lambda depth: _middle(self.times[depth]), "seconds"),
                ("class", lambda depth: self.classes[depth], ""),
                ("wets", lambda depth: self._share_at(depth).best, "share"),
                ("wets, low", lambda depth: self._share_at(depth).low, "share"),
                ("wets, high", lambda depth: self._share_at(depth).high, "share"),
            ],
        )

    def _shown(self) -> Shown:
        rows = []
        for depth, times in self.times.items():
            share = self._share_at(depth)
            rows.append((
                in_one_unit(depth, "length"), str(len(times)), f"{_middle(times):g}",
                self.classes[depth], _told(share),
            ))  # fmt: skip
        at = in_people_units(self.least_wetting, "length")
        lines = [
            f"- of the area {_told(self.wetting_share)} % wets, by the drops at {at}",
            "- a drop on dry sand shows what can repel, not what repels today",
        ]
        header = ("depth", "drops", "middle (s)", "class", "wets (%)")
        return Shown("Drop tests", header, rows, lines, set_in=True)


def _told(share: WettingShare) -> str:
    return f"{100 * share.best:.0f} ({100 * share.low:.0f} to {100 * share.high:.0f})"


def _middle(times: tuple[float, ...]) -> float:
    """Median of the times [s]."""
    return float(np.median(times))


def _listed(times: Iterable[float]) -> str:
    return ", ".join(f"{each:g}" for each in times)


def _written(read: Mapping[float, tuple[float, ...]]) -> str:
    return f"DropTests({{{', '.join(f'{d:g}: [{_listed(times)}]' for d, times in read.items())}}})"


def _seconds_at(depth: Any, values: Any, told: list[tuple[str, str]]) -> tuple[float, ...]:
    """Usable times at a depth [s]; what is wrong with others is told."""
    several = isinstance(values, Iterable) and not isinstance(values, str)
    listed = list(values) if several else [values]
    if not listed:
        told.append((f"no drop at {depth}", "one time or more"))
    found = []
    for i, value in enumerate(listed):
        try:
            if isinstance(value, str):
                seconds = _SECONDS_IN_HOUR * number_to_house(value, "duration", "drop time")
            else:
                seconds = float(value)
        except (TypeError, ValueError):
            seconds = math.nan
        if 0.0 <= seconds < math.inf:
            found.append(round(seconds, 9))
        else:
            allowed = "0 s or more; of a drop that never went in when the clock was stopped"
            told.append((f"at {depth}, drop {i + 1}: {value!r}", allowed))
    return tuple(found)


def _contradicting(read: Mapping[float, tuple[float, ...]]) -> list[float]:
    """Depths that wet at every drop between two that wet at none."""
    depths = list(read)
    slow = CLASSES[1][0]
    return [
        depths[i]
        for i in range(1, len(depths) - 1)
        if max(read[depths[i]]) < WETTABLE_WITHIN
        and min((*read[depths[i - 1]], *read[depths[i + 1]])) >= slow
    ]
