"""The core a lab measures: its height, and what a curve holds on average over it.

At rest, suction rises by one cm with each cm of height. A lab states one suction and weighs the
whole core, so a measured water content is the mean of the curve over the suctions within it. Where
suctions are stated at mid height the mean is close to the curve at that suction; stated at the base
of a core that drains within its own height it is not (Jalbert and Dane 2001, Soil Sci. Soc. Am. J.
65:648, abstract, on correcting retention of finite cores).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from soilwater.lab.sheet_words import level_of
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults

LEVELS = {"base": 0.0, "middle": 0.5, "top": 1.0}
"""Levels to which suctions may refer, and how high they lie as a share of the core's height."""

USUAL_CORE_HEIGHT = 7.6
"""Height [cm] of cores of root-zone mixes: 3 in (common practice, no source)."""

TALLEST_CORE = 100.0
"""Tallest core that is taken [cm]; tall columns are cut into slices."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class Core:
    """Height of the cores of a lab, and the level of them to which suctions refer.

    Parameters
    ----------
    height : float
        Height [cm]; 0 where water contents are taken as those at the suction itself.
    level : str
        ``"base"``, ``"middle"`` or ``"top"``.

    Raises
    ------
    InputError
        If the height is no height of a core, or the level is not known.

    Examples
    --------
    >>> import numpy as np
    >>> Core(8.0, "base").mean(lambda suction: 0.4 - 0.005 * suction, np.array([10.0, 30.0]))
    array([0.33, 0.23])
    """

    height: float = 0.0
    level: str = "middle"

    def __post_init__(self) -> None:
        faults = Faults("Core")
        if not 0.0 <= self.height <= TALLEST_CORE:
            faults.add(
                f"core_height {self.height:g} cm",
                allowed=f"0 to {TALLEST_CORE:g} cm",
                cure='such as core_height="7.6 cm"',
            )
        if not isinstance(self.level, str) or self.level not in LEVELS:
            faults.add(
                f'suction_level "{self.level}"',
                allowed=", ".join(f'"{level}"' for level in LEVELS),
                cure=f'such as suction_level="{level_of(str(self.level)) or "middle"}"',
            )
        faults.raise_if_any()

    def base_suction(self, suction: FloatArray) -> FloatArray:
        """Suction at the base of the core.

        Parameters
        ----------
        suction : ndarray
            As the lab states it [cm].

        Returns
        -------
        ndarray
            [cm], of the same shape; below 0 where the base would stand in water.
        """
        return suction - LEVELS[self.level] * self.height

    def suctions_within(self, suction: FloatArray) -> FloatArray:
        """Suctions within the core at the heights that make up its mean.

        Parameters
        ----------
        suction : ndarray, shape (n,)
            As the lab states it [cm]; 0 is a core soaked all through.

        Returns
        -------
        ndarray, shape (n, nodes)
            [cm].
        """
        if self.height == 0.0:
            return suction[:, np.newaxis]
        heights = 0.5 * self.height * (1.0 + _NODES)
        within = np.maximum(self.base_suction(suction)[:, np.newaxis] + heights, 0.0)
        return np.where(suction[:, np.newaxis] > 0.0, within, 0.0)

    def mean(self, curve: Callable[[FloatArray], FloatArray], suction: FloatArray) -> FloatArray:
        """Mean of a curve over the core, by Gauss's rule of eight points.

        Parameters
        ----------
        curve : callable
            Takes suctions [cm] of shape (m,) and gives water contents [1] of shape (..., m).
        suction : ndarray, shape (n,)
            As the lab states it [cm].

        Returns
        -------
        ndarray, shape (..., n)
            Water content of the core [1].
        """
        within = self.suctions_within(suction)
        held = np.asarray(curve(within.ravel()))
        if self.height == 0.0:
            return held
        return np.asarray(held.reshape(*held.shape[:-1], *within.shape) @ (0.5 * _WEIGHTS))


def check_core(
    suction: FloatArray,
    water_content: FloatArray,
    core_height: float | None,
    suction_level: str | None,
    faults: Faults,
) -> list[str]:
    """Check that suctions and core fit together, and say what is left open, with its size.

    Parameters
    ----------
    suction : ndarray, shape (n,)
        As the lab states it [cm], ascending.
    water_content : ndarray, shape (n,)
        Of the core [1].
    core_height : float or None
        [cm]; None where it is not known.
    suction_level : str or None
        Key of `LEVELS`; None where it is not known.
    faults : Faults
        Where what cannot be is noted.

    Returns
    -------
    list of str
        What is open, at most one sentence.
    """
    height = USUAL_CORE_HEIGHT if core_height is None else core_height
    level = suction_level or "middle"
    known = Core(height, level)
    lowest = suction[suction > 0.0]
    if core_height and lowest.size and known.base_suction(lowest[:1])[0] < -0.05:
        faults.add(
            f"a core {core_height:g} cm high with a suction of {lowest[0]:g} cm at its {level} has "
            f"its base {-known.base_suction(lowest[:1])[0]:.3g} cm under water",
            allowed=f"a height up to {lowest[0] / LEVELS[level]:.3g} cm",
            cure='check the height; where suctions are those at the base, say suction_level="base"',
        )
        return []
    if core_height == 0.0 or level == suction_level == "middle":
        return []
    if suction_level is not None and core_height is not None:
        return []
    asked = Core(height, "base" if suction_level is None else suction_level)
    shift = abs(0.5 - LEVELS[asked.level]) * height
    means = [float(np.mean(water_content[suction == h])) for h in np.unique(suction)]
    levels = np.unique(suction)
    inside = np.minimum(levels + shift, levels[-1])
    change = np.abs(np.interp(inside, levels, means) - means)
    size = f"up to {100 * change.max():.1f} % by volume " if levels.size > 1 else ""
    more = "less" if asked.level == "top" else "more"
    what = "at which level of the core suctions are" if suction_level is None else "the core height"
    return [
        f"the lab does not say {what}: stated at the {asked.level} of cores {height:g} cm high, "
        f"the sand holds {size}{more} at a suction than read here; ask, and give "
        f'core_height="{height:g} cm" and suction_level="{asked.level}" or "middle"'
    ]
