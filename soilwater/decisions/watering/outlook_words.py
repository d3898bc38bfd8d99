"""A dry-down told: when the green is firm, what its deepest spot reads then, who is dry already."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from soilwater.decisions.watering.aside import last_read
from soilwater.decisions.watering.ensembles import day_text
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.survey.too_short import depth_in_words

if TYPE_CHECKING:
    from soilwater.decisions.watering.outlook import SpotOutlook


def below_already(spots: Sequence[SpotOutlook], wilt: float, rod: float) -> list[str]:
    """Tell of spots that read at or below the wilt line, which their start does not say.

    Parameters
    ----------
    spots : sequence of SpotOutlook
        Of the outlook.
    wilt : float
        The line [1].
    rod : float
        Length of the rods [cm].
    """
    late = [each.spot for each in spots if each.wilt.median > 0.0]
    read = [(spot.name, last_read(spot, rod)) for spot in late]
    return [
        f"{name} reads {100 * value:.1f} %, not above the wilt line, already: look at it first."
        for name, value in read
        if value <= wilt
    ]


def green_sentence(spots: Sequence[SpotOutlook], thresholds: Thresholds, horizon: float) -> str:
    """Tell when the bulk of the green is firm, and what the deepest spot reads then.

    Parameters
    ----------
    spots : sequence of SpotOutlook
        Of the outlook.
    thresholds : Thresholds
        Counted to.
    horizon : float
        Length of the weather [d].
    """
    firm = float(np.median([each.firm.median for each in spots]))
    deepest = max(spots, key=lambda each: each.spot.depth)
    told = f"{deepest.spot.name} ({depth_in_words(deepest.spot)})"
    if not np.isfinite(firm):
        last = 100 * deepest.readings[-1]
        return (
            f"The bulk of the green is not firm ({100 * thresholds.firm:g} %) within "
            f"{horizon:g} days; by then the deepest spot, {told}, reads {last:.1f} %."
        )
    then = float(np.interp(firm, np.arange(len(deepest.readings)), deepest.readings))
    when = f"on day {day_text(firm, horizon)}" if firm > 0.0 else "from the first morning"
    said = (
        f"When the bulk of the green is firm ({100 * thresholds.firm:g} %), {when}, the "
        f"deepest spot, {told}, reads {100 * then:.1f} %"
    )
    if then <= thresholds.wilt:
        return said + ": at or below the wilt line, so firm everywhere means wilt there."
    if then <= thresholds.watch:
        return said + ": at or below the watch line; nurse it."
    return said + "."
