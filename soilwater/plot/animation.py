"""A dry-down as a moving picture, for a talk."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from matplotlib import pyplot as plt
from matplotlib.animation import FuncAnimation, PillowWriter
from matplotlib.artist import Artist

from soilwater.decisions.watering.outlook import Thresholds
from soilwater.plot import style
from soilwater.plot.data import only_column, readings
from soilwater.plot.days import PROBABILITY, dry_down
from soilwater.plot.depths import profile
from soilwater.words.errors import InputError
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

FRAMES_PER_SECOND = 8


@mind_words(bands="thresholds")
@style.in_our_look
def animate_dry_down(
    run: xr.Dataset,
    path: Any,
    *,
    rod: Any,
    thresholds: Thresholds | Mapping[str, Any] | None = None,
    every: Any = "6 h",
) -> Path:
    """Write a GIF of a profile that dries beside the reading that falls.

    Parameters
    ----------
    run : Dataset
        One column, from `simulate`.
    path : str or Path
        File to write; it should end in ``.gif``.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    thresholds : Thresholds or mapping, optional
        Readings [1] that mean something to you, as for `dry_down`.
    every : float, str or Quantity, optional
        Time between pictures [h].

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If `run` holds several columns or no times, or `every` is not above 0.
    """
    only_column(run)
    run = run.squeeze()
    step = number_to_house(every, "duration", "every")
    if not step > 0.0:
        raise InputError(f"every: {step:g} h; allowed: above 0.")
    shown = readings(run, rod, None, PROBABILITY)
    hours = 24.0 * shown.days
    wanted = np.arange(0.0, hours[-1] + 1e-6, step)
    chosen = np.unique(np.searchsorted(hours, wanted - 1e-6).clip(max=hours.size - 1))
    figure, (left, right) = plt.subplots(1, 2, figsize=(8.4, 4.8), width_ratios=(2, 3))
    dry_down(run, rod=rod, thresholds=thresholds, ax=right)
    (line,) = right.get_lines()[:1]
    (dot,) = right.plot([], [], "o", color=style.ACCENT, ms=8, zorder=6)

    def draw(i: int) -> list[Artist]:
        for child in list(left.child_axes):
            child.remove()
        left.clear()
        profile(run, at=run.time.values[i], rod=rod, ax=left)
        left.set_title(f"day {shown.days[i]:.1f}")
        line.set_data(shown.days[: i + 1], shown.middle[0, : i + 1])
        dot.set_data([shown.days[i]], [shown.middle[0, i]])
        return [line, dot]

    # The layout is worked out once: doing it again for each picture takes most of the time.
    draw(int(chosen[0]))
    figure.canvas.draw()
    figure.set_layout_engine("none")
    written = Path(path)
    moving = FuncAnimation(figure, draw, frames=chosen.tolist(), blit=False)
    moving.save(written, writer=PillowWriter(fps=FRAMES_PER_SECOND), dpi=80)
    plt.close(figure)
    return written
