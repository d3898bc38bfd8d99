"""The look of every picture, in one place: colours, axes, and labels that sit on the lines.

The colours were chosen to stay apart, in hue or in lightness, for people who do not tell red from
green, and in grey print.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from functools import wraps
from typing import TYPE_CHECKING, Any, Literal, ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray

try:
    import matplotlib
except ImportError as error:  # pragma: no cover
    raise ImportError(
        'soilwater.plot needs matplotlib: python -m pip install "soilwater[plot]"'
    ) from error

import matplotlib.pyplot as plt
from matplotlib import dates, patheffects
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.colors import LinearSegmentedColormap, to_hex
from matplotlib.ticker import MaxNLocator

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.words.errors import Faults
from soilwater.words.quantities import one_writing
from soilwater.words.unit_choice import units_in_use
from soilwater.words.units import number_to_house

CM_PER_INCH = 2.54

INK = "#2b2b2b"
FAINT = "#8a8a8a"
WATER = "#6fa8c9"
DEEP_WATER = "#1d4e79"
AIR = "#fbf6e9"
SOLID = "#d9c7a3"
GRAVEL = "#a79c8d"
TURF = "#5f7f3a"
ACCENT = "#b8470f"

LINE_COLOURS = ("#173f73", "#2f8f9d", "#e0a100", "#9c2f2f")
"""Ordered from wet and shallow to dry and deep; more lines take colours from between."""

BAND_COLOURS = ("#dcebe4", "#fbeecb", "#f1d5cd", "#e3e3ea")
"""Fill of bands such as firm, watch and wilt, in the order they are given."""

AMOUNT_COLOURS = {
    "rain": "#1d4e79",
    "irrigation": "#5aa0c8",
    "transpiration": "#4d7a2b",
    "evaporation": "#b9cf7a",
    "interception": "#d8d2b0",
    "drainage": "#b9772f",
    "runoff": "#6b4226",
}
"""Fill of each amount of the water balance [mm]."""

WATER_MAP = LinearSegmentedColormap.from_list(
    "sand to water", ["#f6ecd2", "#c9d3b4", "#7fb3b5", "#3a7ca5", "#163a63"]
)
"""From dry to wet; lightness falls all the way."""

ODDS_MAP = LinearSegmentedColormap.from_list("odds", ["#f7f4ee", "#e0a458", "#8c2d04"])
"""From what is not expected to what is: odds of dryness look dry where they are high."""


def water_shades(count: int) -> list[str]:
    """Colours from dry to wet in `count` steps, as hexadecimal texts."""
    return [to_hex(WATER_MAP((k + 0.5) / count)) for k in range(count)]


_LOOK: Any = {
    "figure.dpi": 110,
    "figure.constrained_layout.use": True,
    "figure.constrained_layout.w_pad": 0.08,
    "figure.constrained_layout.h_pad": 0.08,
    "savefig.dpi": 160,
    "font.size": 10.0,
    "axes.titlesize": 11.0,
    "axes.titlelocation": "left",
    "axes.titleweight": "bold",
    "axes.labelcolor": INK,
    "axes.edgecolor": FAINT,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "lines.linewidth": 2.0,
    "hatch.linewidth": 0.6,
    "date.converter": "concise",
    "legend.frameon": False,
}

if TYPE_CHECKING:
    from matplotlib.axes._secondary_axes import SecondaryAxis

P = ParamSpec("P")
R = TypeVar("R")


def look() -> AbstractContextManager[None]:
    """Use the look of these pictures for a figure of your own.

    Returns
    -------
    context manager
        ``with look(): figure, axes = plt.subplots(1, 4)``.
    """
    # A notebook turns its pictures on when the backend is first used. Were that within the look,
    # they would be turned off again at its end, and only the first one would ever be shown.
    plt.draw_if_interactive()  # type: ignore[no-untyped-call]
    return matplotlib.rc_context(_LOOK)


def in_our_look(function: Callable[P, R]) -> Callable[P, R]:
    """Let a function draw with this look, whatever the person's own settings are."""

    @wraps(function)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> R:
        with look():
            return function(*args, **kwargs)

    return drawn


def axes_or_new(ax: Axes | None, width: float, height: float) -> Axes:
    """Return `ax`, or the only Axes of a new figure of `width` by `height` [in]."""
    return ax if ax is not None else plt.subplots(figsize=(width, height))[1]


def line_colours(n: int) -> list[str]:
    """Return `n` colours from wet and shallow to dry and deep."""
    if n <= len(LINE_COLOURS):
        chosen = np.linspace(0, len(LINE_COLOURS) - 1, max(n, 2)).round().astype(int)
        return [LINE_COLOURS[i] for i in chosen[:n]]
    between = LinearSegmentedColormap.from_list("lines", list(LINE_COLOURS))
    return [to_hex(between(x)) for x in np.linspace(0.0, 1.0, n)]


def inches(
    ax: Axes, side: Literal["right", "top"], label: str = "depth (in)", zero: float = 0.0
) -> None:
    """Put a second scale in inches on one side of `ax` in cm, with a label, from `zero` [cm].

    In metric units there is none; in those of the US it stands in place of the scale in cm.
    """
    if units_in_use() == "metric":
        return
    alone = units_in_use() == "US" and zero == 0.0

    def from_cm(cm: Any) -> Any:
        return (cm - zero) / CM_PER_INCH

    def to_cm(inch: Any) -> Any:
        return inch * CM_PER_INCH + zero

    second: SecondaryAxis
    if side == "right":
        second = ax.secondary_yaxis("left" if alone else side, functions=(from_cm, to_cm))
        second.set_ylabel(ax.get_ylabel().replace("(cm)", "(in)") if alone else label)
        second.yaxis.set_major_locator(_inch_ticks())
    else:
        second = ax.secondary_xaxis("bottom" if alone else side, functions=(from_cm, to_cm))
        second.set_xlabel(ax.get_xlabel().replace("(cm)", "(in)") if alone else label)
        second.xaxis.set_major_locator(_inch_ticks())
    if alone and side == "right":
        ax.tick_params(axis="y", length=0, labelleft=False)
        ax.set_ylabel("")
    elif alone:
        ax.tick_params(axis="x", length=0, labelbottom=False)
        ax.set_xlabel("")
    for spine in second.spines.values():
        spine.set_edgecolor(FAINT)


def measured(axis: Axis, quantity: str, label: str) -> None:
    """Give an axis of a quantity its label, and mark it in the unit that goes into {unit} there.

    To be called when the limits of the axis are set.
    """
    writing = one_writing(quantity)
    axis.set_label_text(label.format(unit=writing.unit))
    if writing.per_house != 1.0:
        low, high = sorted(axis.get_view_interval())
        ends = writing.of(low), writing.of(high)
        marks = np.asarray(MaxNLocator(nbins=8, steps=[1, 2, 5, 10]).tick_values(*ends))
        marks = marks[(marks >= ends[0]) & (marks <= ends[1])]
        axis.set_ticks(marks / writing.per_house, [f"{each:g}" for each in marks])


def _inch_ticks() -> MaxNLocator:
    return MaxNLocator(nbins=8, steps=[1, 2, 3, 6, 10])


def halo() -> list[Any]:
    """Return the white rim that keeps text readable on top of lines."""
    return [patheffects.withStroke(linewidth=2.5, foreground="white")]


def label_lines(
    ax: Axes,
    x: NDArray[np.float64],
    lines: NDArray[np.float64],
    names: Sequence[str],
    colours: Sequence[str],
) -> None:
    """Write names beside the ends of lines, where they lie on no line and on no other name.

    To be called last: it needs the limits of `ax`. Lines are rows over `x` in their colours.
    """
    low, high = ax.get_ylim()
    gap = 1.35 * height_of_letters(ax)
    end = (lines[:, -1] - low) / (high - low)
    order = np.argsort(end)
    for i, place in zip(order, apart(end[order], gap), strict=True):
        ax.annotate(
            names[i],
            xy=(1.0, float(lines[i, -1])),
            xytext=(1.045, float(place)),
            xycoords=("axes fraction", "data"),
            textcoords="axes fraction",
            va="center",
            ha="left",
            color=colours[i],
            fontweight="bold",
            fontsize="small",
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": colours[i],
                "lw": 0.8,
                "shrinkA": 2,
                "relpos": (0.0, 0.5),
            },
        )


def height_of_letters(ax: Axes) -> float:
    """Tell the size of type as a share of the height of `ax` [1]."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    points = ax.get_window_extent().height * 72.0 / figure.dpi
    return float(matplotlib.rcParams["font.size"] / points)


def apart(wanted: NDArray[np.float64], gap: float) -> NDArray[np.float64]:
    """Move ascending positions, as wanted, as little as a gap between neighbours allows."""
    blocks: list[list[float]] = []  # Sum of wanted lower ends, and count, of what sticks together.
    for i, position in enumerate(wanted):
        blocks.append([position - gap * i, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            total, count = blocks.pop()
            blocks[-1][0] += total
            blocks[-1][1] += count
    anchors = np.concatenate([np.full(int(count), total / count) for total, count in blocks])
    return np.asarray(anchors + gap * np.arange(wanted.size))


def reading_limits(
    ax: Axes,
    days: NDArray[np.float64],
    lines: NDArray[np.float64],
    bands: Mapping[str, tuple[float, float]],
) -> None:
    """Set the limits of `ax` to what lines [%] over days and bands [1] need, without empty blocks.

    Within hours of a soaking readings fall by half: where such a start would leave most of the
    height to one stroke, it is cut off and told in a number.
    """
    known = lines[np.isfinite(lines).all(axis=1)]
    if not known.size:
        known = np.zeros((1, days.size))
    later = known[:, days >= days[0] + min(SPIKE_DAYS, 0.5 * (days[-1] - days[0]))]
    ends = [100.0 * end for band in bands.values() for end in band if end > 0.0]
    highest, first = max(later.max(), *ends, 5.0), float(known.max())
    lowest = min(float(known.min()), *ends, 100.0)
    cut = first > SPIKE * highest
    top = highest if cut else max(first, highest)
    set_height(ax, np.floor(max(lowest - 1.0, 0.0)), np.ceil(top + 0.5))
    if cut:
        text = ax.annotate(
            f"starts at {first:.0f} %",
            xy=(0.0, 1.0),
            xytext=(0.04, 0.985),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="top",
            fontsize="small",
            arrowprops={"arrowstyle": "<-", "color": INK, "lw": 0.8},
            zorder=6,
        )
        text.set_path_effects(halo())


def set_height(ax: Axes, low: float, high: float) -> None:
    """Set the limits of `ax` from low to high, or wider where panels beside it share them."""
    beside = [each for each in ax.get_shared_y_axes().get_siblings(ax) if each is not ax]
    if any(each.has_data() for each in beside):
        ends = ax.get_ylim()
        low, high = min(low, *ends), max(high, *ends)
    ax.set_ylim(low, high)


SPIKE, SPIKE_DAYS = 1.25, 0.6
"""A start this many times as high as all that comes after so many days is cut off."""


def legend_below(ax: Axes) -> None:
    """Put names of lines below `ax`, where they hide none of them."""
    ax.legend(loc="upper left", bbox_to_anchor=(0.0, -0.12), fontsize="small", ncols=2)


def dates_above(ax: Axes, begin: np.datetime64) -> None:
    """Put dates on top of `ax`, whose days count from `begin`."""
    zero = date_number(begin)

    def to_date(days: Any) -> Any:
        return days + zero

    def to_days(date: Any) -> Any:
        return date - zero

    top = ax.secondary_xaxis("top", functions=(to_date, to_days))
    tick_dates(top.xaxis)
    for spine in top.spines.values():
        spine.set_edgecolor(FAINT)


def tick_dates(axis: Axis) -> None:
    """Write dates at a handful of ticks of an axis of days since matplotlib's own epoch."""
    ticks: Any = dates.AutoDateLocator(minticks=2, maxticks=9)  # type: ignore[no-untyped-call]
    axis.set_major_locator(ticks)
    axis.set_major_formatter(dates.ConciseDateFormatter(ticks))  # type: ignore[no-untyped-call]


def date_number(time: Any) -> Any:
    """Tell times as numbers on such an axis [d]."""
    return dates.date2num(time)  # type: ignore[no-untyped-call]


def check_thresholds(
    thresholds: Thresholds | Mapping[str, Any] | None,
) -> dict[str, tuple[float, float]]:
    """Take thresholds as bands of readings [1] by name, lower end first; every fault at once."""
    if isinstance(thresholds, Thresholds):
        thresholds = thresholds.bands
    checked: dict[str, tuple[float, float]] = {}
    faults = Faults("thresholds")
    for name, ends in (thresholds or {}).items():
        with faults.catching():
            low, high = (
                number_to_house(end, "water_content", f"thresholds[{name!r}]") for end in ends
            )
            if not low < high:
                faults.add(f"{low:g} to {high:g}", where=name, allowed="the lower end first")
            checked[name] = low, high
    faults.raise_if_any()
    return checked


def draw_bands(
    ax: Axes,
    bands: Mapping[str, tuple[float, float]],
    days: NDArray[np.float64],
    lines: NDArray[np.float64],
) -> None:
    """Shade bands on `ax` and write their names where the lines [%] over days leave room."""
    left, right = ax.get_xlim()
    for i, (name, (low, high)) in enumerate(bands.items()):
        colour = BAND_COLOURS[i % len(BAND_COLOURS)]
        ax.axhspan(100.0 * low, 100.0 * high, color=colour, lw=0, zorder=0, label=f"_{name}")
        bottom, top = ax.get_ylim()
        # The middle of what is seen of a band.
        middle = 0.5 * (max(100.0 * low, bottom) + min(100.0 * high, top))
        if not bottom < middle < top:
            continue
        places = left + (right - left) * np.linspace(0.94, 0.06, 11)
        near: Any = [[abs(np.interp(x, days, line) - middle) for line in lines] for x in places]
        room = np.min(near, axis=1, initial=100.0)
        # The first place that is good enough keeps the names in one column where it can; from
        # the right, since names of lines may stand on their left ends.
        good = np.flatnonzero(room > 0.9 * min(room.max(), 2.5))
        text = ax.text(
            float(places[good[0]]),
            middle,
            name,
            va="center",
            ha="center",
            color="#555555",
            zorder=5,
        )
        text.set_path_effects(halo())
