"""The dry-down of a green's spots, as an outlook gives it, and what a plan of hand water does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from soilwater.decisions.watering.ensembles import Course
from soilwater.decisions.watering.outlook import DryDownOutlook, SpotOutlook
from soilwater.decisions.watering.water_plan import HandWaterPlan, SpotPlan
from soilwater.plot import style
from soilwater.survey.survey import Spot
from soilwater.survey.too_short import depth_in_words
from soilwater.words.bands import HIGH, LOW
from soilwater.words.displays import as_counted
from soilwater.words.errors import InputError
from soilwater.words.forms import Date
from soilwater.words.quantities import in_one_unit, in_people_units
from soilwater.words.times import as_time
from soilwater.words.unit_choice import units_in_use

MOST_LABELLED = 4
"""Depths whose lines get names, colours and bands; the others are drawn thin between them."""
MOST_PANELS = 9
"""Spots of a plan that are drawn unless others are named, those that dry first first."""
WITH, WITHOUT = style.LINE_COLOURS[0], style.LINE_COLOURS[3]
"""Colours of readings with a plan and without it."""


@style.in_our_look
def outlook(days: DryDownOutlook, *, event_day: Date | None = None, ax: Axes | None = None) -> Axes:
    """Draw how each depth of a green is expected to read, on its firm, watch and wilt.

    A line is the median of each morning, a band holds what the title of the outlook says. A dot
    with a bar is the day on which a spot falls to wilt, with its band: mostly in an afternoon, a
    day or so before its mornings do.

    Parameters
    ----------
    days : DryDownOutlook
        From `dry_down_outlook`.
    event_day : datetime64, str or Timestamp, optional
        A day that matters, such as that of a competition, to be marked.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes
        Readings [% by volume] over days and dates.

    Raises
    ------
    InputError
        If the event lies outside the outlook.
    """
    # Spots of one depth share a line where they start alike, not where each starts as it read.
    alike: dict[tuple[Any, ...], list[SpotOutlook]] = {}
    for each in days.spots:
        of_spot = (round(each.spot.depth, 1), each.spot.depth_at_least, each.readings)
        alike.setdefault(of_spot, []).append(each)
    depths = sorted(alike)
    own = [alike[depth][-1] for depth in depths]
    shown = 100.0 * np.array([each.readings for each in own])
    x: NDArray[np.float64] = np.arange(shown.shape[1], dtype=np.float64)
    # Shallowest and deepest, and what lies evenly between them.
    chosen = np.unique(np.linspace(0, len(depths) - 1, MOST_LABELLED).round().astype(int)).tolist()
    colours = dict(zip(chosen, style.line_colours(len(chosen)), strict=True))
    ax = style.axes_or_new(ax, 8.0, 4.8)
    reached = [shown]
    names, ends = [], []
    for i, (depth, line) in enumerate(zip(depths, shown, strict=True)):
        label = _label([each.spot for each in alike[depth]])
        thin = i not in colours
        colour = style.FAINT if thin else colours[i]
        ax.plot(
            x, line, color=colour, lw=0.8 if thin else 2.0, zorder=2 if thin else 3, label=label
        )
        if thin:
            continue
        band = 100.0 * _mornings(own[i].course, x)
        ax.fill_between(x, *band, color=colour, alpha=0.12, lw=0, zorder=1)
        reached.append(band)
        names.append(label + _mark_wilt(ax, own[i], days, colour))
        ends.append(i)
    between = [i for i in range(len(depths)) if i not in colours]
    if between:
        thinly = dict.fromkeys(_depth(own[i].spot) for i in between)
        names.append("thin: " + ", ".join(thinly))
        ends.append(between[len(between) // 2])
    style.reading_limits(ax, x, np.vstack(reached), days.thresholds.bands)
    ax.set_xlim(0.0, float(x[-1]))
    style.dates_above(ax, own[0].course.times[0])
    ax.set_xlabel(
        f"days; lines: median each morning, bands: {100 * (HIGH - LOW):.0f} % of the cases tried\n"
        "dots: wilt, at whatever hour it comes"
    )
    ax.set_ylabel(f"meter reading (% by volume)\n{in_people_units(days.rod, 'length')} rods")
    style.draw_bands(ax, days.thresholds.bands, x, shown)
    _mark_event(ax, event_day, own[0].course.times)
    style.label_lines(ax, x, shown[ends], names, [colours.get(i, style.FAINT) for i in ends])
    return ax


def _label(spots: Sequence[Spot]) -> str:
    names = [spot.name for spot in spots]
    who = ", ".join(names) if len(names) < 3 else f"{len(names)} spots"
    return f"{_depth(spots[0])}: {who}"


def _depth(spot: Spot) -> str:
    depth = spot.depth
    said = f"{depth:.0f} cm" if units_in_use() != "US" else in_one_unit(depth, "length")
    return f"at least {said}" if spot.depth_at_least else said


def _mornings(course: Course, days: NDArray[np.float64]) -> NDArray[np.float64]:
    """Low and high end of a band [1] at whole days."""
    at = _days_of(course.times)
    return np.array([np.interp(days, at, end) for end in (course.low, course.high)])


def _days_of(times: Sequence[np.datetime64]) -> NDArray[np.float64]:
    since = np.array(times) - times[0]
    return np.asarray(since / np.timedelta64(1, "D"), dtype=np.float64)


def _mark_wilt(ax: Axes, spot: SpotOutlook, days: DryDownOutlook, colour: str) -> str:
    """Mark when a spot falls to wilt, and tell the date for the name of its line."""
    wilt, line = spot.wilt, 100.0 * days.thresholds.wilt
    if not 0.0 < wilt.median <= days.horizon:
        return ""
    ends = np.clip([wilt.low, wilt.high], 0.0, days.horizon)
    ax.plot(ends, [line, line], color=colour, lw=1.2, marker="|", ms=6, zorder=5, label="_wilt")
    ax.plot(wilt.median, line, "o", ms=6, mfc=colour, mec="white", zorder=6, label="_wilt")
    moment = spot.course.times[0] + np.timedelta64(round(24 * wilt.median), "h")
    date = moment.astype("datetime64[D]").astype(object)
    return f", wilt {date.day} {date:%b}"


def _mark_event(ax: Axes, event_day: Date | None, times: Sequence[np.datetime64]) -> None:
    """Mark a day, from its morning to its night."""
    if event_day is None:
        return
    day = as_time(event_day, "event_day").astype("datetime64[D]")
    first, last = (each.astype("datetime64[D]") for each in (times[0], times[-1]))
    if not first <= day <= last:
        raise InputError(f"event_day: {day} lies outside; allowed: {first} to {last}.")
    begin = float((day - times[0]) / np.timedelta64(1, "D"))
    ax.axvspan(begin, begin + 1.0, color=style.ACCENT, alpha=0.15, lw=0, zorder=1, label="_event")
    text = ax.annotate(
        "event",
        (begin + 0.5, 1.0),
        xytext=(0, -11),
        xycoords=("data", "axes fraction"),
        textcoords="offset points",
        ha="center",
        color=style.ACCENT,
        fontweight="bold",
        fontsize="small",
        zorder=6,
    )
    text.set_path_effects(style.halo())


@style.in_our_look
def hand_water(
    plan: HandWaterPlan,
    spots: Sequence[str] | None = None,
    *,
    event_day: Date | None = None,
    axes: Sequence[Axes] | None = None,
) -> tuple[Axes, ...]:
    """Draw what a plan of hand water does to each spot: readings with it and without it.

    Parameters
    ----------
    plan : HandWaterPlan
        From `hand_water_plan`.
    spots : sequence of str, optional
        Names of spots that need water, a panel each; up to nine that dry first when left out.
    event_day : datetime64, str or Timestamp, optional
        A day that matters, such as that of a competition, to be marked.
    axes : sequence of Axes, optional
        Where to draw, as many as there are spots.

    Returns
    -------
    tuple of Axes
        Readings [% by volume] over days, all with the same limits.

    Raises
    ------
    InputError
        If a spot needs no water, axes are more or fewer than spots, or the event lies outside.
    """
    shown = _spots_of(plan, spots)
    if axes is None:
        columns = min(3, len(shown))
        rows = int(np.ceil(len(shown) / columns))
        size = (4.4 * columns + 0.6, 2.9 * rows + 0.5)
        _, grid = plt.subplots(rows, columns, figsize=size, sharex=True, sharey=True, squeeze=False)
        axes = list(grid.flat[: len(shown)])
        for spare in grid.flat[len(shown) :]:
            spare.remove()
    if len(axes) != len(shown):
        raise InputError(f"axes: {len(axes)}; allowed: {len(shown)}, one for each spot.")
    courses = [(each.course, each.course_without) for each in shown]
    lines = [
        100.0 * np.array([getattr(course, end) for end in ("low", "median", "high")])
        for pair in courses
        for course in pair
        if course is not None
    ]
    lowest = min(float(each.min()) for each in lines)
    # The morning of a soaking is not what a plan is about.
    highest = max(float(each[2, 1:].max()) for each in lines)
    line = 100.0 * plan.threshold
    for ax, each in zip(axes, shown, strict=True):
        assert each.course is not None and each.course_without is not None
        days = _days_of(each.course.times)
        ends = []
        for course, colour, dashes in (
            (each.course_without, WITHOUT, (0, (4, 2))),
            (each.course, WITH, "-"),
        ):
            ax.fill_between(
                days,
                100.0 * np.array(course.low),
                100.0 * np.array(course.high),
                color=colour,
                alpha=0.14,
                lw=0,
            )
            median = 100.0 * np.array(course.median)
            ax.plot(days, median, color=colour, ls=dashes, lw=1.6)
            ends.append(median)
        ax.axhline(line, color=style.FAINT, lw=1.0, label="_line")
        low = np.floor(max(0.0, min(lowest, line) - 2.0))
        ax.set_ylim(low, np.ceil(highest + 0.5))
        ax.set_xlim(0.0, float(days[-1]))
        at = [
            (walk.time - each.course.times[0]) / np.timedelta64(1, "D") for walk in each.waterings
        ]
        ax.plot(
            at,
            np.full(len(at), 0.04),
            transform=ax.get_xaxis_transform(),
            ls="none",
            marker="^",
            ms=5,
            color=style.WATER,
            mec=style.DEEP_WATER,
            zorder=5,
            label="_waterings",
        )
        _mark_event(ax, event_day, each.course.times)
        ax.set_title(_told(each), fontsize="medium")
        place = ax.get_subplotspec()
        if place is None or place.is_first_col():
            ax.set_ylabel("meter reading (% by volume)")
        style.dates_above(ax, each.course.times[0])
        style.label_lines(ax, days, np.array(ends), ["without", "with it"], [WITHOUT, WITH])
    axes[-1].set_xlabel(
        f"days; line: {line:g} %, triangles: hand water,\nbands: "
        f"{100 * (HIGH - LOW):.0f} % of the cases tried"
    )
    return tuple(axes)


def _told(plan: SpotPlan) -> str:
    amount = sum(walk.amount for walk in plan.waterings)
    often = f"{len(plan.waterings)} waterings" if len(plan.waterings) != 1 else "one watering"
    none = "needs no water" if plan.held else plan.outcome
    water = f"{in_people_units(amount, 'water_amount')} in {often}" if plan.waterings else none
    if plan.waterings and not plan.held:
        water += f", {plan.outcome}"
    return f"{plan.spot.name}, {depth_in_words(plan.spot)}\n{water}"


def _spots_of(plan: HandWaterPlan, names: Sequence[str] | None) -> list[SpotPlan]:
    """Take the spots asked for, or those that dry first."""
    needing = [each for each in plan.spots if each.course is not None]
    allowed = ", ".join(sorted((each.spot.name for each in needing), key=as_counted))
    if not needing:
        raise InputError("plan: no spot needs hand water, so there is nothing to draw.")
    if names is None:
        acted = [each for each in needing if each.waterings or not each.held] or needing
        first = sorted(acted, key=lambda each: each.first_below_without)[:MOST_PANELS]
        return sorted(first, key=lambda each: as_counted(each.spot.name))
    listed = [names] if isinstance(names, str) else list(names)
    by_name = {each.spot.name: each for each in needing}
    unknown = [name for name in listed if name not in by_name]
    if unknown or not listed:
        told = ", ".join(f'"{name}"' for name in unknown) or "none"
        raise InputError(f"spots: {told}; allowed: spots that need water, {allowed}.")
    return [by_name[name] for name in listed]
