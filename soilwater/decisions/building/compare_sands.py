"""Several sands side by side: windows of depth, and the tolerance each can stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from soilwater.decisions.building.depth import (
    AS_TESTED,
    DepthWindow,
    Range,
    depth_window,
    more_or_less,
    window_columns,
)
from soilwater.decisions.targets import (
    Target,
)
from soilwater.ground.base_suction import OVER_GRAVEL
from soilwater.lab.equally_likely import Sand
from soilwater.runs.wetted import gently
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import InputError
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.frames import Column, Tabled
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words


@dataclass(frozen=True, eq=False, repr=False)
class SandComparison(Displayed, Tabled):
    """Depth windows of several sands under the same targets.

    Attributes
    ----------
    windows : tuple of DepthWindow
        One per sand, in the order given.
    """

    windows: tuple[DepthWindow, ...]

    @property
    def common(self) -> Range | None:
        """Depths [cm] that suit every one of the sands, or None."""
        low = max(window.low for window in self.windows)
        high = min(window.high for window in self.windows)
        return Range(low, high) if low <= high else None

    @property
    def sentence(self) -> str:
        """What the sands have in common, in words."""
        if self.common is None:
            return "no depth suits all of these sands: the depth must follow the sand delivered"
        return f"{self.common} suits all of these sands, by the best of each and of the base"

    def to_dataset(self, depths: Sequence[Length]) -> xr.Dataset:
        """Stack the curves of all sands over the same depths [cm] along ``sand``."""
        names = np.array([window.name for window in self.windows], dtype=object)
        return xr.concat(
            [window.to_dataset(depths) for window in self.windows],
            xr.Variable("sand", names),
            combine_attrs="drop_conflicts",
        )

    def _columns(self) -> list[Column]:
        return window_columns(self.windows)

    def _rows(self) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for window in self.windows:
            if window.exists:
                best = in_people_units(window.best, "length")
                shown = (str(Range(window.low, window.high)), best)
            else:
                shown = ("none", "-")
            tolerance = more_or_less(window.tolerance)
            band, rewetted = str(window.best_band), window.rewetted or "-"
            rows.append((window.name, *shown, tolerance, band, rewetted))
        return rows

    def _lines(self) -> list[str]:
        first = self.windows[0]
        shared = [c for c in first.cautions if all(c in each.cautions for each in self.windows)]
        own = [
            f"caution: {each.name}: {caution}"
            for each in self.windows
            for caution in each.cautions
            if caution not in shared
        ]
        return [*first._asked(), AS_TESTED, *own, *caution_lines(shared)]

    def _shown(self) -> Shown:
        header = (
            "sand",
            "window",
            "best",
            "tolerance it can stand",
            "best, with its band",
            f"reads there after {gently()}",
        )
        return Shown(self.sentence, header, self._rows(), self._lines())


@mind_words(reading="target", samples="draws")
def compare_sands(
    sands: Mapping[str, Sand] | Sequence[Sand],
    target: Target,
    *,
    rod: Length,
    air_filled: WaterContent,
    base_suction: Suction = OVER_GRAVEL,
    root_layer: Length = None,
    draws: int = 400,
) -> SandComparison:
    """Find the depth window of several sands side by side.

    Parameters
    ----------
    sands : mapping of str to sands, or sequence of sands
        Sands by name, or sands that have names; each a soil, a fit, or equally likely ones.
    target : two of float, str or Quantity, ReadingTarget, or str
        As in `depth_window` [1].
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    air_filled : float, str, Quantity or AirTarget
        Least air-filled porosity of the root layer [1].
    base_suction : BaseSuction, float, str, Quantity, or two of these, optional
        Suction left at the base [cm], the same for all.
    root_layer : float, str or Quantity, optional
        Thickness of the layer whose air counts [cm].
    draws : int, optional
        Soils of a fit's posterior sample that carry its band.

    Returns
    -------
    SandComparison
        The windows, and the depths that suit all.

    Raises
    ------
    InputError
        If there are no sands, or as for `depth_window`.
    """
    named = (
        dict(sands)
        if isinstance(sands, Mapping)
        else {
            str(getattr(getattr(each, "soil", each), "name", "")) or f"sand {i}": each
            for i, each in enumerate(sands, start=1)
        }
    )
    if not named:
        raise InputError("sands: there are none; allowed: one or more.")
    windows = []
    for name, each in named.items():
        window = depth_window(
            each,
            target,
            rod=rod,
            air_filled=air_filled,
            base_suction=base_suction,
            root_layer=root_layer,
            draws=draws,
        )
        windows.append(replace(window, name=name))
    return SandComparison(tuple(windows))
