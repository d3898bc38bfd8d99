"""A dry-down as a moving picture, for a talk: of one column, or of a green from above."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from matplotlib import pyplot as plt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.surveyed import SurveyedGround
from soilwater.plot import style
from soilwater.plot.data import moments, only_column, readings
from soilwater.plot.days import dry_down
from soilwater.plot.depths import draw_inside, profile
from soilwater.plot.on_map import draw_map, in_people_numbers, over_time, scale_of
from soilwater.runs.green_map import GreenMap
from soilwater.words.bands import PROBABILITY
from soilwater.words.errors import InputError
from soilwater.words.forms import Length, TimeSpan, WaterContent
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

FRAMES_PER_SECOND = 8
DOTS_PER_INCH = 80
LAPSE = 6000
"""Time a lapse of few pictures takes [ms]."""


@mind_words(bands="thresholds")
@style.in_our_look
def animate_dry_down(
    run: xr.Dataset,
    path: Any,
    *,
    rod: Length,
    thresholds: Thresholds | Mapping[str, tuple[WaterContent, WaterContent]] | None = None,
    every: TimeSpan = "6 h",
) -> Path:
    """Write a GIF of a profile that dries beside the reading that falls.

    Parameters
    ----------
    run : Dataset
        One column, from `simulate`.
    path : str or Path
        File to write, over one of that name; it ends in ``.gif``.
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
        If `run` holds several columns or no times, `every` is not above 0, or `path` is none of a
        GIF.
    """
    written = _check_path(path)
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
    FigureCanvasAgg(figure)
    dry_down(run, rod=rod, thresholds=thresholds, ax=right)
    (line,) = right.get_lines()[:1]
    (dot,) = right.plot([], [], "o", color=style.ACCENT, ms=8, zorder=6)

    profile(run, at=run.time.values[chosen[0]], rod=rod, ax=left)
    figure.set_dpi(DOTS_PER_INCH)
    column, length = only_column(run), number_to_house(rod, "length", "rod")
    end, title = left.get_xlim()[1], left.set_title("day")
    # All that stays is drawn once: axes with their numbers take most of the time of a picture.
    figure.canvas.draw()
    figure.set_layout_engine("none")
    for artist in _inside(left):
        artist.remove()
    for artist in (line, dot, title):
        artist.set_animated(True)
    figure.canvas.draw()
    canvas: Any = figure.canvas
    empty = canvas.copy_from_bbox(figure.bbox)

    def picture(i: int) -> Image.Image:
        canvas.restore_region(empty)
        draw_inside(left, column, [(i, "")], end, length)
        title.set_text(f"day {shown.days[i]:.1f}")
        line.set_data(shown.days[: i + 1], shown.middle[0, : i + 1])
        dot.set_data([shown.days[i]], [shown.middle[0, i]])
        inside = sorted(_inside(left), key=lambda artist: artist.get_zorder())
        for artist in (*inside, *left.spines.values(), title, line, dot):
            artist.axes.draw_artist(artist)
        for artist in inside:
            artist.remove()
        return _flat(canvas)

    pictures = [picture(int(i)) for i in chosen]
    plt.close(figure)
    return _write(written, pictures, 1000 // FRAMES_PER_SECOND)


@mind_words()
@style.in_our_look
def animate_green(
    ground: GreenMap,
    values: xr.DataArray,
    path: Any,
    *,
    label: str = "",
    surveyed: SurveyedGround | None = None,
) -> Path:
    """Write a GIF of a green from above, a picture for every time, in one scale of colours.

    Parameters
    ----------
    ground : GreenMap
        The green.
    values : DataArray
        Numbers over ``spot`` and ``time``, such as readings [1].
    path : str or Path
        File to write, over one of that name; it ends in ``.gif``.
    label : str, optional
        What the values are, with their unit; of a reading and of odds it is known.
    surveyed : SurveyedGround, optional
        What the green was made from: its outline and its spots are drawn too.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If there is not one number a cell and time, or `path` is none of a GIF.
    """
    written = _check_path(path)
    over_time(values)
    figure, ax = plt.subplots(figsize=(6.4, 5.2))
    canvas: Any = FigureCanvasAgg(figure)
    figure.set_dpi(DOTS_PER_INCH)
    norm = scale_of(values, label)
    # Grey lies below every cell that has no value at some time.
    always = values.isel(time=0).where(xr.DataArray(np.isfinite(values)).all("time"))
    picture, told = draw_map(ax, ground, always, label, surveyed, norm)
    figure.colorbar(picture, ax=ax, label=told, shrink=0.8)
    title = ax.set_title("day", loc="left")
    name = f"{ground.name}, " if ground.name else ""
    pictures = []
    for i, when in moments(values.to_dataset(name="values"), list(values.time.values)):
        picture.set_array(in_people_numbers(ground.on_map(values.isel(time=i)), label)[0])
        title.set_text(name + when)
        canvas.draw()
        figure.set_layout_engine("none")
        pictures.append(_flat(canvas))
    plt.close(figure)
    return _write(written, pictures, max(1000 // FRAMES_PER_SECOND, LAPSE // len(pictures)))


def _flat(canvas: Any) -> Image.Image:
    """Turn what is drawn into a picture of few colours."""
    seen = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    return seen.quantize(dither=Image.Dither.NONE)


def _check_path(path: Any) -> Path:
    """Refuse what no GIF can be written to, before anything is drawn."""
    written = Path(path)
    if written.suffix.lower() != ".gif":
        raise InputError(f"path: {written}; allowed: a file that ends in .gif, such as lapse.gif.")
    if not written.parent.is_dir():
        raise InputError(f"path: there is no folder {written.parent}; allowed: one that is there.")
    return written


def _write(written: Path, pictures: list[Image.Image], milliseconds: int) -> Path:
    """Write pictures as one that moves, each so long."""
    pictures[0].save(
        written, save_all=True, append_images=pictures[1:], duration=milliseconds, loop=0
    )
    return written


def _inside(ax: Axes) -> list[Artist]:
    """List what has been drawn into axes, other than the axes themselves."""
    return [*ax.collections, *ax.patches, *ax.lines, *ax.texts]
