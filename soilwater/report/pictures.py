"""The pictures of the page, drawn as SVG inside it."""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NamedTuple

from soilwater.decisions.watering.outlook import DryDownOutlook
from soilwater.report.words import own_reading
from soilwater.survey.survey import Survey
from soilwater.words.quantities import writings

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MAP_SIZE, DRY_DOWN_SIZE = (5.2, 3.0), (6.2, 3.0)
"""Width and height the pictures are drawn at [in]; beside each other they fill the width of a sheet
at some two thirds of that."""


class Picture(NamedTuple):
    """A picture as a data URI, and what it shows in words."""

    uri: str
    words: str


def _picture(draw: Callable[[Axes], Any], width: float, height: float, words: str) -> Picture:
    """Draw on a sheet of `width` by `height` [in], as SVG inside the page."""
    import matplotlib
    from matplotlib.figure import Figure

    from soilwater.plot import style

    # Names of spots are text, not formulas, whatever letters they have.
    with style.look(), matplotlib.rc_context({"text.parse_math": False, "svg.hashsalt": "report"}):
        figure = Figure(figsize=(width, height), layout="constrained")
        draw(figure.add_subplot())
        buffer = io.BytesIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure.savefig(buffer, format="svg", metadata=nothing)
    # The document type before the element names an address, though nothing is fetched from it.
    drawn = buffer.getvalue()
    encoded = base64.b64encode(drawn[drawn.index(b"<svg") :]).decode("ascii")
    return Picture(f"data:image/svg+xml;base64,{encoded}", words)


def map_picture(survey: Survey) -> Picture | None:
    """Draw readings of a survey from above, or depths where there are none; None without places."""
    if any(spot.x is None or spot.y is None for spot in survey.spots):
        return None
    from soilwater.plot import survey_map

    readings = {spot.name: own_reading(spot) for spot in survey.spots}
    depths = {spot.name: spot.depth for spot in survey.spots}
    read = any(math.isfinite(value) for value in readings.values())
    quantity, values = ("reading", readings) if read else ("root_zone_depth", depths)

    def draw(ax: Axes) -> None:
        survey_map(survey, values, quantity=quantity, ax=ax)
        ax.set_title("")

    length = writings("length")[-1].unit
    mapped = f"depths of the root zone in {'inches' if length == 'in' else length}"
    unit = "readings in % by volume" if read else mapped
    words = ", ".join(f"{name} {_map_value(value, read)}" for name, value in values.items())
    return _picture(draw, *MAP_SIZE, f"Map of the spots, {unit}: {words}.")


def _map_value(value: float, read: bool) -> str:
    if not math.isfinite(value):
        return "unknown"
    return f"{100 * value:.0f}" if read else writings("length")[-1].figure(value)


def dry_down_picture(days: DryDownOutlook) -> Picture:
    """Draw the days of an outlook."""
    from soilwater.plot import outlook

    lines = days.thresholds
    words = (
        f"Median meter reading of each depth over {days.horizon:g} days, with the lines firm "
        f"{100 * lines.firm:g} %, watch {100 * lines.watch:g} % and wilt {100 * lines.wilt:g} %."
    )
    return _picture(lambda ax: outlook(days, ax=ax), *DRY_DOWN_SIZE, words)
