"""A survey seen from above."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import LinearSegmentedColormap, Normalize, to_rgba
from matplotlib.patches import Patch, Rectangle
from matplotlib.text import OffsetFrom
from numpy.typing import NDArray

from soilwater.decisions.spots.causes import CAUSES
from soilwater.decisions.spots.odds import CauseOdds, Diagnosis, SpotDiagnosis
from soilwater.plot import style
from soilwater.survey.survey import Survey
from soilwater.words.errors import InputError
from soilwater.words.quantities import one_writing, writings
from soilwater.words.vocabulary import VARIABLES

GAP_MAP = LinearSegmentedColormap.from_list(
    "drier, as expected, wetter", ["#7a3b0d", "#d9a25f", "#f7f4ee", "#7fb3c8", "#163a63"]
)

CAUSE_COLOURS = (
    "#dcebe4",
    "#c9d3b4",
    "#3a7ca5",
    "#e0a100",
    "#b8470f",
    "#7fb3b5",
    "#d9c7a3",
    "#8c6bb1",
    "#9a9a9a",
)
"""Fill of the first cause at a spot, in the order of the causes; a legend names what occurs."""

MOST_NAMED = 25
"""Spots that get their names written; more of them get their values only."""
MOST_LETTERS = 120
"""Letters that all names together may have to be written."""
QUANTITIES = {
    "reading": "water_content",
    "expected_reading": "water_content",
    "reading_gap": "water_content",
    "probability": "probability",
    "root_zone_depth": "length",
    "water_needed": "water_amount",
}
"""What a map can show, by its name in the vocabulary, and what it measures."""


def _unit_of(quantity: str) -> tuple[str, float]:
    """Tell the unit of what a map shows, and its factor: depths in inches but in metric units."""
    measured = QUANTITIES[quantity]
    writing = writings(measured)[-1] if measured == "length" else one_writing(measured)
    return writing.unit, writing.per_house


@style.in_our_look
def survey_map(
    survey: Survey,
    values: Mapping[str, float] | Diagnosis | None = None,
    *,
    quantity: str | None = None,
    north: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw the spots of a survey from above, each with its name and value.

    Parameters
    ----------
    survey : Survey
        Spots with `x` and `y` [m]; squares where they form a grid, circles where they do not.
    values : mapping or Diagnosis, optional
        A value by the name of each spot, in house units, or what `diagnose` says of this survey;
        the survey's own readings or depths when left out.
    quantity : str, optional
        What the values are, in the words of the vocabulary: "reading", "expected_reading",
        "reading_gap", "probability" [1], "root_zone_depth" [cm] or "water_needed" [mm]; "cause",
        of a diagnosis, colours the first cause and writes its probability. Readings, or the
        causes of a diagnosis, when left out.
    north : float, optional
        Where north is on the picture, clockwise from straight up [degrees]: an arrow is drawn. A
        survey with an `origin` on the earth has north straight up. Without either there is none.
    ax : Axes, optional
        Where to draw.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        If a spot has no place, a value is of no spot, or the quantity cannot be shown.
    """
    diagnosis = values if isinstance(values, Diagnosis) else None
    quantity = quantity or ("reading" if diagnosis is None else "cause")
    allowed = [*QUANTITIES, *(["cause"] if diagnosis is not None else [])]
    if quantity not in allowed:
        raise InputError(f"quantity: {quantity!r}; allowed: {', '.join(allowed)}.")
    if north is None and survey.origin is not None:
        north = 0.0
    if diagnosis is not None:
        values = _of_diagnosis(diagnosis, quantity)
    elif values is None:
        values = _own_values(survey, quantity)
    assert not isinstance(values, Diagnosis)
    names = [spot.name for spot in survey.spots]
    strangers = sorted(set(values) - set(names))
    if strangers:
        raise InputError(f"values: no spot is called {', '.join(strangers)}.")
    nowhere = [spot.name for spot in survey.spots if spot.x is None or spot.y is None]
    if nowhere:
        raise InputError(
            f"survey: {', '.join(nowhere)} without a place; allowed: x and y in metres for each."
        )
    unit, factor = _unit_of("probability" if quantity == "cause" else quantity)
    first = {each.spot.name: each.causes[0] for each in diagnosis.spots} if diagnosis else {}
    place = np.array([(spot.x, spot.y) for spot in survey.spots], dtype=np.float64)
    digits = {"%": 0, "in": 2 if quantity == "water_needed" else 1}.get(unit, 1)
    # Adding 0 turns a rounded -0 into 0.
    shown = np.round([factor * float(values.get(name, np.nan)) for name in names], digits) + 0.0
    ax = style.axes_or_new(ax, 6.4, 5.6)
    if quantity == "reading_gap":
        reach = max(1.0, float(np.nanmax(np.abs(shown), initial=0.0)))
        colours, norm = GAP_MAP, Normalize(-reach, reach)
    elif quantity in ("probability", "cause"):
        colours, norm = style.ODDS_MAP, Normalize(0.0, 100.0)
    else:
        colours = style.WATER_MAP.reversed() if quantity == "root_zone_depth" else style.WATER_MAP
        known = shown[np.isfinite(shown)]
        low, high = (known.min(), known.max()) if known.size else (0.0, 1.0)
        norm = Normalize(low, high if high > low else low + 1.0)
    cell = _grid_spacing(place)
    crowded = len(names) > MOST_NAMED or sum(map(len, names)) > MOST_LETTERS
    for name, (x, y), value in zip(names, place, shown, strict=True):
        known_here = bool(np.isfinite(value))
        face = colours(norm(value)) if known_here else "white"
        if quantity == "cause" and known_here:
            face = to_rgba(_cause_colour(first[name].cause))
        if cell is not None:
            ax.add_patch(
                Rectangle(
                    (x - 0.48 * cell[0], y - 0.48 * cell[1]),
                    0.96 * cell[0],
                    0.96 * cell[1],
                    facecolor=face,
                    edgecolor=style.FAINT,
                    lw=0.8,
                    hatch=None if known_here else "///",
                )
            )
        else:
            ax.plot(x, y, "o", ms=15 if crowded else 26, mfc=face, mec=style.FAINT)
        sign = "+" if quantity == "reading_gap" else ""
        written = f"{value:{sign if value else ''}.{digits}f}" if known_here else "?"
        dark = known_here and _luminance(face) < 0.55
        ax.text(
            x,
            y,
            written if crowded else f"{name}\n{written}",
            ha="center",
            va="center",
            fontweight="bold",
            fontsize=7.0 if crowded else 9.0,
            color="white" if dark else style.INK,
            label=f"_{name}",
        )
    _frame(ax, place, cell, north)
    if survey.name:
        ax.set_title(survey.name, loc="left")
    if quantity == "cause":
        _name_causes(ax, [first[name] for name in names if name in first])
        return ax
    ax.figure.colorbar(
        ScalarMappable(norm, colours),
        ax=ax,
        label=f"{VARIABLES[quantity].long_name}\n({unit}{' by volume' * ('reading' in quantity)})",
        shrink=0.8,
    )
    return ax


def _of_diagnosis(diagnosis: Diagnosis, quantity: str) -> dict[str, float]:
    """Values of a quantity that a diagnosis tells of its spots."""
    take: dict[str, Callable[[SpotDiagnosis], float]] = {
        "reading": lambda each: each.reading,
        "expected_reading": lambda each: each.expected,
        "reading_gap": lambda each: each.reading - each.expected,
        "probability": lambda each: each.causes[0].probability,
        "cause": lambda each: each.causes[0].probability,
        "root_zone_depth": lambda each: each.spot.depth,
    }
    if quantity not in take:
        raise InputError(f"quantity: a diagnosis has no {quantity}; allowed: {', '.join(take)}.")
    return {each.spot.name: take[quantity](each) for each in diagnosis.spots}


def _cause_colour(cause: str) -> str:
    names = [each.name for each in CAUSES]
    return CAUSE_COLOURS[names.index(cause) % len(CAUSE_COLOURS)]


def _name_causes(ax: Axes, found: Sequence[CauseOdds]) -> None:
    """Name the colours of the causes that occur, the commonest first."""
    counted = Counter(each.cause for each in found)
    label = {each.cause: each.label for each in found}
    ax.legend(
        handles=[
            Patch(facecolor=_cause_colour(cause), edgecolor=style.FAINT, label=label[cause])
            for cause, _ in counted.most_common()
        ],
        title="first cause, its probability (%)",
        loc="upper left",
        bbox_to_anchor=(1.02, 1.0),
        alignment="left",
    )


def _own_values(survey: Survey, quantity: str) -> dict[str, float]:
    if quantity == "reading":
        return {spot.name: spot.mean_reading() for spot in survey.spots}
    if quantity == "root_zone_depth":
        return {spot.name: spot.depth for spot in survey.spots}
    raise InputError(
        f"values: a survey holds no {quantity}; give a value by the name of each spot."
    )


def _grid_spacing(place: NDArray[np.float64]) -> tuple[float, float] | None:
    """Width and height of the cells where all spots lie on one regular grid."""
    spacing = []
    for along in place.T:
        levels = np.unique(along.round(6))
        if levels.size < 2:
            return None
        step = float(np.diff(levels).min())
        if np.any(
            np.abs((levels - levels[0]) / step - ((levels - levels[0]) / step).round()) > 0.1
        ):
            return None
        spacing.append(step)
    if len({tuple(row) for row in place.round(6)}) < len(place) or len(place) < 4:
        return None
    return spacing[0], spacing[1]


def _luminance(colour: tuple[float, float, float, float] | str) -> float:
    red, green, blue = colour[:3] if not isinstance(colour, str) else (1.0, 1.0, 1.0)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _frame(
    ax: Axes, place: NDArray[np.float64], cell: tuple[float, float] | None, north: float | None
) -> None:
    low, high = place.min(axis=0), place.max(axis=0)
    margin = np.array(cell) * 0.6 if cell else np.maximum(0.12 * (high - low), 1.0)
    ax.set_xlim(low[0] - margin[0], high[0] + margin[0])
    ax.set_ylim(low[1] - margin[1], high[1] + margin[1])
    ax.set_aspect("equal")
    straight = north is not None and north % 360.0 == 0.0
    style.measured(ax.xaxis, "distance", "east ({unit})" if straight else "across ({unit})")
    style.measured(ax.yaxis, "distance", "north ({unit})" if straight else "along ({unit})")
    if north is None:
        return
    towards = np.array([np.sin(np.deg2rad(north)), np.cos(np.deg2rad(north))])
    middle = np.array([26.0, 30.0])
    ax.annotate(
        "N",
        xy=(1.0, 1.0),
        xytext=tuple(middle + 20.0 * towards),
        xycoords="axes fraction",
        textcoords="offset points",
        ha="center",
        va="center",
        fontweight="bold",
        annotation_clip=False,
    )
    ax.annotate(
        "",
        xy=tuple(middle + 12.0 * towards),
        xytext=tuple(middle - 14.0 * towards),
        xycoords=OffsetFrom(ax, (1.0, 1.0)),
        textcoords=OffsetFrom(ax, (1.0, 1.0)),
        annotation_clip=False,
        arrowprops={"arrowstyle": "-|>", "color": style.INK, "lw": 1.5},
    )
