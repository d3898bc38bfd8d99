"""What a fit says in words: its sentence, its cautions, its warnings."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np

from soilwater.lab.expectations import PARAMETERS
from soilwater.lab.posterior import STARTS, Draws, Points, Problem, Search
from soilwater.soils.model import SoilModel
from soilwater.words.errors import SoilWaterWarning


def cautions_of(
    problem: Problem, optimum: Search, drawn: Draws, at_bound: Sequence[str]
) -> list[str]:
    """Say what the person should know before using the curve.

    Parameters
    ----------
    problem : Problem
        The fit of the family shown, with the error that all points share.
    optimum : Search
        Its best curve.
    drawn : Draws
        Its sample.
    at_bound : sequence of str
        Parameters that ended on a bound.

    Returns
    -------
    list of str
    """
    found = [f"the best curve has {each}" for each in at_bound]
    if problem.priors:
        ratio = drawn.axes.std(axis=0) / problem.spread
        # What came from the sheet's porosity is known, not expected.
        usual = PARAMETERS[problem.model.__name__]
        silent = [
            each.name
            for each, share in zip(problem.free, ratio, strict=True)
            if share > 0.8 and each in usual
        ]
        if silent:
            found.append(
                f"the points say little about {' and '.join(silent)}: there the fit leans on what "
                "sands usually have"
            )
    if optimum.agreeing < STARTS:
        found.append(
            f"only {optimum.agreeing} of {STARTS} starting points led to this optimum: the points "
            "allow more than one kind of curve"
        )
    if drawn.effective < 100.0:
        found.append(
            f"the posterior sample is worth only {drawn.effective:.0f} independent draws: its "
            "bands are rough"
        )
    # Misfits and distances from the expectations in their own sizes: at the best curve the sum of
    # squares is chi-square distributed with as many degrees of freedom as there are points (Box
    # 1980, J. R. Stat. Soc. A 143:383, from memory), so it has that mean and twice that variance.
    squares = float(np.sum(problem.residuals(optimum.axes) ** 2))
    points = problem.points.suction.size
    if squares > points + 3.0 * np.sqrt(2.0 * points):
        expected = " and what sands usually have" if problem.priors else ""
        found.append(
            f"the curve misses the points{expected} by more than lab error: look for a typing "
            "error, or try another model"
        )
    return found


def warn_of(at_bound: Sequence[str], points: Points) -> None:
    """Warn of bounds and of a single point."""
    if at_bound:
        warnings.warn(
            f"The best curve has {' and '.join(at_bound)}: add points or expectations there, or "
            "try another model.",
            SoilWaterWarning,
            stacklevel=4,
        )
    if points.suction.size == 1:
        warnings.warn(
            "One retention point is too little for a depth decision; ask the lab for 10, 20 and "
            "40 cm as well.",
            SoilWaterWarning,
            stacklevel=4,
        )


_NUMBER_WORDS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
)


def number_of_points(points: Points) -> str:
    """Count in words, such as "four points"."""
    number = points.suction.size
    word = _NUMBER_WORDS[number] if number < len(_NUMBER_WORDS) else str(number)
    return f"{word} point{'' if number == 1 else 's'}"


def sentence_of(model: type[SoilModel], points: Points, rmse: float) -> str:
    """Tell the fit in a few words."""
    low, high = (float(f"{h:.3g}") for h in points.suction[[0, -1]])
    if points.suction.size == 1:
        span = f"at {low:g} cm: everywhere else the curve is what sands usually do"
    else:
        span = f"between {low:g} and {high:g} cm: the curve is an extrapolation beyond {high:g} cm"
    return (
        f"{number_of_points(points).capitalize()} {span} ({model.__name__}, RMSE "
        f"{100 * rmse:.2f} % by volume)."
    )
