"""Pictures over days: dry-down with its bands, before and after, and the water balance."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.plot import style
from soilwater.plot.data import Readings, only_column, readings
from soilwater.words.bands import PROBABILITY
from soilwater.words.errors import InputError
from soilwater.words.forms import Date, Length, WaterContent
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.times import as_time, hours_between, stamp

INFLOWS = ("rain", "irrigation")
OUTFLOWS = ("transpiration", "evaporation", "interception", "drainage", "runoff")
MOST_BARS = 62
"""Days that get a bar each; longer runs get a bar a week."""
TALL = 2.5
"""Bars so many times as long as the next one are cut off."""


@mind_words(bands="thresholds", level="probability")
@style.in_our_look
def dry_down(
    run: xr.Dataset,
    *,
    rod: Length,
    thresholds: Thresholds | Mapping[str, tuple[WaterContent, WaterContent]] | None = None,
    since: Date | None = None,
    probability: float = PROBABILITY,
    ax: Axes | None = None,
) -> Axes:
    """Draw how the meter reading falls, one line per column, on the bands you manage by.

    Parameters
    ----------
    run : Dataset
        From `simulate`, `simulate_many` or `compare_depths`. A dimension ``sample`` or ``member``
        is drawn as a band around the middle line; any other is drawn as lines.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    thresholds : Thresholds or mapping, optional
        Readings [1] that mean something to you, by name: lower and upper end, such as
        ``{"firm": (0.14, 0.20), "watch": (0.10, 0.14), "wilt": (0.0, 0.10)}``. They belong to
        your turf and your rods; there are none that hold everywhere.
    since : datetime64, str or Timestamp, optional
        Day 0; the start of the run when left out.
    probability : float, optional
        Share of the samples inside the band [1].
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If the run has no times or several dimensions of lines, or a band cannot be used.
    """
    shown = readings(run, rod, since, probability)
    ends = style.check_thresholds(thresholds)
    ax = style.axes_or_new(ax, 8.0, 4.8)
    colours = style.line_colours(len(shown.names))
    known: NDArray[np.bool_] = np.asarray(np.isfinite(shown.middle).all(axis=1))
    for i, colour in enumerate(colours):
        if shown.lower is not None and shown.upper is not None:
            ax.fill_between(
                shown.days, shown.lower[i], shown.upper[i], color=colour, alpha=0.16, lw=0
            )
        ax.plot(shown.days, shown.middle[i], color=colour, label=shown.names[i] or None)
    _day_axis(ax, shown, ends, since)
    style.draw_bands(ax, ends, shown.days, shown.middle[known])
    if shown.names != [""] and known.any():
        style.label_lines(
            ax,
            shown.days,
            shown.middle[known],
            [name for name, here in zip(shown.names, known, strict=True) if here],
            [colour for colour, here in zip(colours, known, strict=True) if here],
        )
    if not known.all():
        missing = [
            name or "this run" for name, here in zip(shown.names, known, strict=True) if not here
        ]
        ax.text(
            0.98,
            0.97,
            f"did not reach the end: {', '.join(missing)}",
            transform=ax.transAxes,
            ha="right",
            va="top",
            color=style.ACCENT,
        )
    return ax


@mind_words(bands="thresholds")
@style.in_our_look
def before_after(
    before: xr.Dataset,
    after: xr.Dataset,
    *,
    rod: Length,
    thresholds: Thresholds | Mapping[str, tuple[WaterContent, WaterContent]] | None = None,
    names: tuple[str, str] = ("before", "after"),
    since: Date | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the readings before and after a change, and shade what the change brings.

    Parameters
    ----------
    before, after : Dataset
        One column each, over the same times.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    thresholds : Thresholds or mapping, optional
        Readings [1] by name, as for `dry_down`.
    names : (str, str), optional
        What the two lines are called.
    since : datetime64, str or Timestamp, optional
        Day 0; the start of the run when left out.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If a run holds several columns, or their times differ.
    """
    only_column(before)
    only_column(after)
    old, new = (readings(run, rod, since, PROBABILITY) for run in (before, after))
    if not np.array_equal(old.days, new.days):
        raise InputError("before, after: their times differ; allowed: two runs with one output.")
    ends = style.check_thresholds(thresholds)
    ax = style.axes_or_new(ax, 8.0, 4.8)
    first, last = style.line_colours(2)
    ax.fill_between(old.days, old.middle[0], new.middle[0], color=style.WATER, alpha=0.25, lw=0)
    ax.plot(old.days, old.middle[0], color=last, ls=(0, (5, 2)), label=names[0])
    ax.plot(new.days, new.middle[0], color=first, label=names[1])
    _day_axis(ax, old, ends, since, new.middle)
    style.draw_bands(ax, ends, old.days, np.vstack([old.middle, new.middle]))
    style.label_lines(ax, old.days, np.vstack([old.middle, new.middle]), names, (last, first))
    return ax


@style.in_our_look
def water_balance(run: xr.Dataset, *, ax: Axes | None = None) -> Axes:
    """Draw what came and went each day, or week; dots show what the profile gained or lost.

    Bars above the line less bars below it make the dot.

    Parameters
    ----------
    run : Dataset
        One column, from `simulate`.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If `run` holds several columns or no times.
    """
    only_column(run)
    if "time" not in run.dims:
        raise InputError("Dataset: it has no times; give the result of a simulation.")
    run = run.squeeze()
    edges = _midnights(run.time.values)
    weekly = edges.size - 1 > MOST_BARS
    if weekly:
        edges = np.unique(np.append(edges[::7], edges[-1]))
    ax = style.axes_or_new(ax, 8.0, 4.4)
    place = style.date_number(edges[:-1].astype("datetime64[D]"))
    width = 5.6 if weekly else 0.8
    heights = []
    for names, sign in ((INFLOWS, 1.0), (OUTFLOWS, -1.0)):
        reached = np.zeros(place.size)
        for name in names:
            amount = _per_day(run, run[name].values, edges)
            if np.any(np.abs(amount) > 1e-9):
                ax.bar(
                    place,
                    sign * amount,
                    bottom=reached,
                    width=width,
                    color=style.AMOUNT_COLOURS[name],
                    label=name,
                )
                reached = reached + sign * amount
        heights.append(reached)
    change = _per_day(run, run["storage_change"].values + run["ponding"].values, edges)
    ax.plot(
        place,
        change,
        ls="none",
        marker="o",
        ms=6,
        mfc="white",
        mec=style.INK,
        label="change of water held",
        zorder=5,
    )
    ax.axhline(0.0, color=style.INK, lw=0.9)
    style.tick_dates(ax.xaxis)
    ax.set_xlim(place[0] - 0.6 * width, place[-1] + 0.6 * width)
    ax.set_xlabel("week from" if weekly else "day")
    _cut_tall_bars(ax, place, *heights)
    told = f"water per {'week' if weekly else 'day'} ({{unit}}; in up, out down)"
    style.measured(ax.yaxis, "water_amount", told)
    ax.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), fontsize="small")
    return ax


def _day_axis(
    ax: Axes,
    shown: Readings,
    bands: Mapping[str, tuple[float, float]],
    since: Any,
    *more: NDArray[np.float64],
) -> None:
    drawn = [each for each in (shown.middle, shown.lower, shown.upper, *more) if each is not None]
    style.reading_limits(ax, shown.days, np.vstack(drawn), bands)
    style.dates_above(ax, shown.begin)
    ax.set_xlim(float(shown.days[0]), float(shown.days[-1]))
    ax.set_xlabel("days" if since is None else f"days since {stamp(as_time(since, 'since'))}")
    ax.set_ylabel(f"meter reading (% by volume)\n{in_people_units(shown.rod, 'length')} rods")


def _cut_tall_bars(
    ax: Axes, place: NDArray[np.float64], up: NDArray[np.float64], down: NDArray[np.float64]
) -> None:
    """Cut off the bars of a day that would press all others flat, and write how long they are."""
    ends = []
    for reached in (down, up):
        length = np.abs(reached)
        usual = np.sort(length)[-2] if length.size > 2 else length.max()
        tall = int(np.argmax(length))
        cut = length[tall] > TALL * max(usual, 1.0)
        shown = float(np.sign(reached[tall])) * (1.3 * max(usual, 1.0) if cut else length[tall])
        ends.append(1.08 * shown)
        if cut:
            text = ax.text(
                place[tall], 1.04 * shown, f"{length[tall]:.0f}", ha="center", va="center", zorder=6
            )
            text.set_path_effects(style.halo())
    style.set_height(ax, min(ends[0], -0.5), max(ends[1], 0.5))


def _midnights(times: NDArray[np.datetime64]) -> NDArray[np.datetime64]:
    """Start of the run, every midnight within it, and its end."""
    first = times[0].astype("datetime64[D]") + np.timedelta64(1, "D")
    inside = np.arange(first, times[-1], np.timedelta64(1, "D")).astype("datetime64[ns]")
    return np.concatenate([times[:1], inside, times[-1:]])


def _per_day(
    run: xr.Dataset, cumulative: NDArray[np.float64], edges: NDArray[np.datetime64]
) -> NDArray[np.float64]:
    """Amount [mm] in each day of a sum since the start."""
    hours = hours_between(edges[0], run.time.values)
    return np.asarray(np.diff(np.interp(hours_between(edges[0], edges), hours, cumulative)))
