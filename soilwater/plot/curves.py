"""Pictures of a sand at rest: its release curve, and the reading it gives at each depth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from soilwater.decisions.targets import (
    AirTarget,
    ReadingTarget,
    Target,
    air_target,
    reading_target,
)
from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.fit_result import FitResult
from soilwater.lab.likely_at_rest import DRAWS, likely_at_rest
from soilwater.lab.retention import RetentionTable
from soilwater.plot import style
from soilwater.soils import Hysteretic, Soil
from soilwater.survey.survey import Spot, Survey
from soilwater.words.bands import PROBABILITY, ends_and_middle
from soilwater.words.errors import InputError
from soilwater.words.forms import Length, Suction, WaterContent
from soilwater.words.quantities import in_people_units, writings
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

TEST_SUCTION = 30.0
"""Suction [cm] at which root-zone mixes are tested for capillary porosity (common practice)."""


@mind_words(source="sand", entry_suction="base_suction", level="probability")
@style.in_our_look
def retention(
    sand: RetentionTable | Sand,
    *,
    test_suction: Suction = TEST_SUCTION,
    base_suction: Suction = OVER_GRAVEL.best,
    probability: float = PROBABILITY,
    ax: Axes | None = None,
) -> Axes:
    """Draw a release curve standing upright, as the sand stands on its gravel.

    Parameters
    ----------
    sand : RetentionTable, Soil, FitResult or sequence of these
        Lab points; a curve; points, curve and band; or several curves and their band. Of sand that
        remembers how it was wetted both curves, between which it may hold anything.
    test_suction : float, str or Quantity, optional
        Suction [cm] at which water and air are read off.
    base_suction : float, str, Quantity or BaseSuction, optional
        Suction left at the base after drainage [cm]; sets the scale of heights at the right.
    probability : float, optional
        Probability inside the band of a fit [1].
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If `sand` is none of these, or a suction cannot be used.
    """
    test = number_to_house(test_suction, "suction", "test_suction")
    base = base_band(base_suction).best
    fit = sand if isinstance(sand, FitResult) else None
    table = sand if isinstance(sand, RetentionTable) else fit.table if fit else None
    soil, likely = (None, ()) if isinstance(sand, RetentionTable) else best_and_likely(sand)
    ax = style.axes_or_new(ax, 5.6, 5.6)
    top = max(60.0, 1.3 * test, 1.15 * float(table.suction.max()) if table is not None else 0.0)
    suction = np.linspace(0.0, top, 241)
    rightmost = 0.0
    if len(likely) > 1:
        if fit is not None:
            fitted = fit.band(suction, probability)
            lower, upper = fitted.lower, fitted.upper
        else:
            tail = 0.5 * (1.0 - probability)
            each = [np.asarray(one.water_content(suction)) for one in likely]
            lower, upper = np.quantile(each, [tail, 1.0 - tail], axis=0)
        ax.fill_betweenx(
            suction,
            100.0 * lower,
            100.0 * upper,
            color=style.WATER,
            alpha=0.35,
            lw=0,
            label=f"{100.0 * probability:.0f} % band of the fit",
        )
        rightmost = 100.0 * float(upper.max())
    if soil is not None:
        water = 100.0 * np.asarray(soil.water_content(suction))
        label = "fitted curve" if fit else "curve"
        if isinstance(soil, Hysteretic):
            # One curve would mislead: between the two the sand may hold anything.
            label = "while it drains"
            wetted = 100.0 * np.asarray(soil.wetting_water_content(suction))
            ax.plot(
                wetted, suction, color=style.DEEP_WATER, ls="--", label="while dry sand is wetted"
            )
        ax.plot(water, suction, color=style.DEEP_WATER, label=label)
        rightmost = max(rightmost, float(water.max()))
        _draw_test(ax, soil, test)
    if table is not None:
        points = table.points
        ax.errorbar(
            100.0 * points.water_content,
            points.suction,
            xerr=100.0 * points.standard_error,
            fmt="o",
            ms=6,
            color=style.ACCENT,
            elinewidth=1.2,
            capsize=2.5,
            label="lab",
            zorder=4,
        )
        rightmost = max(rightmost, 100.0 * float(points.water_content.max()))
    ax.set_xlim(0.0, 5.0 * np.ceil(0.2 * (rightmost + 2.0)))
    ax.set_ylim(0.0, top)
    ax.set_xlabel("water content (% by volume)")
    ax.set_ylabel("suction (cm of water)")
    style.inches(
        ax,
        "right",
        f"height above the gravel once drained (in)\n{base:g} cm of suction left at the gravel",
        zero=base,
    )
    if table is not None:
        ax.legend(loc="upper right", fontsize="small")
    return ax


@mind_words(source="sand", window="target", entry_suction="base_suction", level="probability")
@style.in_our_look
def depth_curve(
    sand: Sand,
    *,
    rod: Length,
    depths: tuple[Length, Length] = ("8 in", "22 in"),
    target: Target | None = None,
    air_filled: WaterContent = None,
    root_layer: Length = None,
    survey: Survey | None = None,
    base_suction: Suction = OVER_GRAVEL,
    probability: float = PROBABILITY,
    ax: Axes | None = None,
) -> Axes:
    """Draw the drained reading against the depth of the root zone over gravel.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The root-zone mix; a fit, or several, bring their band.
    rod : float, str or Quantity
        Length of the meter's rods [cm].
    depths : tuple, optional
        Shallowest and deepest root zone [cm].
    target : two of float, str or Quantity, ReadingTarget, or str, optional
        Lowest and highest reading wanted [1], as for `depth_window`; shaded, with the
        depths that give it.
    air_filled : float, str, Quantity or AirTarget, optional
        Least air-filled porosity of the root layer [1], or a key of `AIR_TARGETS`, as for
        `depth_window`; depths that are too shallow for it are hatched.
    root_layer : float, str or Quantity, optional
        Thickness of the layer whose air counts [cm]; the length of the rods when left out.
    survey : Survey, optional
        Spots with a depth and a reading by rods of this length are drawn as dots.
    base_suction : float, str, Quantity, BaseSuction or two of these, optional
        Suction left at the gravel after drainage [cm]; its range is part of the band, every
        suction of it as likely as the next.
    probability : float, optional
        What the band of sand and base holds [1].
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If a depth, rod or target cannot be used.
    """
    length = number_to_house(rod, "length", "rod")
    base = base_band(base_suction)
    first, last = (number_to_house(each, "length", "depths") for each in depths)
    if not length <= first < last:
        raise InputError(
            f"depths: {first:g} to {last:g} cm; allowed: the shallower first, and none shorter "
            f"than the rods ({length:g} cm)."
        )
    layer = length if root_layer is None else number_to_house(root_layer, "length", "root_layer")
    if not 0.0 < layer <= first:
        raise InputError(f"root_layer: {layer:g} cm; allowed: above 0, up to {first:g} cm.")
    at = np.linspace(first, last, 57)
    _, likely = best_and_likely(sand, 2)
    ax = style.axes_or_new(ax, 7.2, 4.8)
    drawn, bases = likely_at_rest(sand, DRAWS, last + base.high), base.shuffled(DRAWS)
    every = drawn.readings(at, length, bases)
    if len(likely) > 1 or base.low < base.high:
        tail = 0.5 * (1.0 - probability)
        lower, upper = 100.0 * np.quantile(every, [tail, 1.0 - tail], axis=0)
        what = [*(["sand"] if len(likely) > 1 else []), *(["base"] if base.low < base.high else [])]
        ax.fill_between(
            at,
            lower,
            upper,
            color=style.WATER,
            alpha=0.35,
            lw=0,
            label=f"{100.0 * probability:.0f} % band over {' and '.join(what)}",
        )
    line = 100.0 * ends_and_middle(every)[1]
    ax.plot(at, line, color=style.DEEP_WATER, label="drained, level ground")
    if air_filled is not None:
        pores = drawn.curves.saturated[drawn.curve][:, None]
        air = ends_and_middle(pores - drawn.readings(at, layer, bases))[1]
        _draw_air_floor(ax, air_target(air_filled), layer, at, air)
    if target is not None:
        _draw_target(ax, reading_target(target), at, line)
    ax.set_xlim(first, last)
    ax.set_ylim(0.0, None)
    if survey is not None:
        _draw_spots(ax, survey, length)
    ax.set_xlabel("depth of the root zone over gravel (cm)")
    ax.set_ylabel(f"meter reading (% by volume)\n{in_people_units(length, 'length')} rods")
    style.inches(ax, "top")
    ax.legend(loc="upper right", fontsize="small")
    return ax


def _draw_test(ax: Axes, soil: Soil, test: float) -> None:
    water = 100.0 * float(np.asarray(soil.water_content(test)))
    saturated = 100.0 * soil.theta_s
    ax.plot([0.0, saturated], [test, test], color=style.FAINT, ls=(0, (4, 3)), lw=1.2)
    text = ax.text(
        1.0,
        test,
        f"at {test:g} cm: {water:.1f} % water,\n{saturated - water:.1f} % air",
        va="bottom",
        fontsize="small",
    )
    text.set_path_effects(style.halo())


def _draw_air_floor(ax: Axes, floor: AirTarget, layer: float, at: Any, air: Any) -> None:
    """Hatch the depths at which the root layer keeps less air [1] than wanted."""
    enough = air >= floor.least
    # Air grows with depth, so it crosses the floor once.
    least = float(np.interp(floor.least, air, at)) if enough.any() else float(at[-1])
    told = f"less than {100 * floor.least:g} % air\nin the top {in_people_units(layer, 'length')}"
    if enough[0]:
        ax.plot([], [], " ", label=told.replace("less than", "over") + ": at every depth here")
        return
    ax.axvspan(
        at[0],
        least,
        facecolor="none",
        edgecolor=style.FAINT,
        hatch="//",
        lw=0.8,
        zorder=0,
        label=f"{told}: less deep than {in_people_units(least, 'length')}",
    )


def _draw_target(ax: Axes, target: ReadingTarget, at: Any, line: Any) -> None:
    low, high = 100.0 * target.low, 100.0 * target.high
    ax.axhspan(low, high, color=style.BAND_COLOURS[0], lw=0, zorder=0, label="target")
    inside = at[(line >= low) & (line <= high)]
    if inside.size:
        # The reading falls with depth, so the crossings can be read off backwards.
        ends = np.clip(np.interp([high, low], line[::-1], at[::-1]), at[0], at[-1])
        for end in ends:
            ax.plot([end, end], [0.0, np.interp(end, at, line)], color=style.FAINT, lw=1.0)
        inch = writings("length")[-1]
        ax.annotate("", xy=(ends[0], 1.2), xytext=(ends[1], 1.2), arrowprops={"arrowstyle": "<->"})
        ax.text(
            float(ends.mean()),
            1.6,
            f"{inch.figure(ends[0])} to {inch.write(ends[1])}",
            ha="center",
            va="bottom",
            fontsize="small",
        )


def _draw_spots(ax: Axes, survey: Survey, length: float) -> None:
    found = [
        (spot, 100.0 * spot.mean_reading())
        for spot in survey.with_rod(rod=length).spots
        if spot.has_depth and np.isfinite(spot.mean_reading())
    ]
    for spot, reading in found:
        # A probe that was too short found a least depth: the dot points on to deeper.
        marker = ">" if spot.depth_at_least else "o"
        ax.plot(spot.depth, reading, marker, ms=7, mfc=style.ACCENT, mec="white", zorder=5)
    low, high = ax.get_ylim()
    gap = 1.25 * style.height_of_letters(ax) * (high - low)
    for beside in _near_in_depth(found, 0.05 * float(np.diff(ax.get_xlim())[0])):
        wanted = np.array([reading for _, reading in beside])
        column = max(spot.depth for spot, _ in beside)
        for (spot, reading), place in zip(beside, style.apart(wanted, gap), strict=True):
            text = ax.annotate(
                spot.name,
                (spot.depth, reading),
                xytext=(column + 0.012 * float(np.diff(ax.get_xlim())[0]), place),
                textcoords="data",
                va="center",
                fontsize="small",
                zorder=6,
                arrowprops={"arrowstyle": "-", "color": style.FAINT, "lw": 0.6, "shrinkB": 3},
            )
            text.set_path_effects(style.halo())


def _near_in_depth(
    found: Sequence[tuple[Spot, float]], width: float
) -> list[list[tuple[Spot, float]]]:
    """Group spots whose names would meet: those within a width [cm] of depth, dry ones first."""
    groups: list[list[tuple[Spot, float]]] = []
    for each in sorted(found, key=lambda each: each[0].depth):
        if groups and each[0].depth - groups[-1][0][0].depth < width:
            groups[-1].append(each)
        else:
            groups.append([each])
    return [sorted(group, key=lambda each: each[1]) for group in groups]
