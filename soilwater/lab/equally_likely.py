"""A sand however it is given, a soil, a fit or several: one best soil and equally likely ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from statistics import NormalDist
from typing import Any, cast

import numpy as np

from soilwater.lab.conductivity import CONDUCTIVITY_ERROR, LEAST_TORTUOSITY, TORTUOSITY_ERROR
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil
from soilwater.soils.side_by_side import water_contents
from soilwater.words.errors import InputError, by_kind

Sand = Soil | FitResult | Sequence[Soil | FitResult]
"""A sand: a soil taken for certain, a fit with all that its points leave open, or several of these,
each as likely as the next."""

_MIDDLE_SUCTION = 40.0
"""Suction [cm] at which several sands are ordered to find the middle one (our own choice)."""


def best_and_likely(sand: Sand, draws: int | None = None) -> tuple[Soil, tuple[Soil, ...]]:
    """Return the soil that stands for a sand, and equally likely soils for what is not known of it.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        A soil stands for itself; a fit for its best and its posterior sample; several count alike,
        and that of middle water content at 40 cm of suction stands for all.
    draws : int, optional
        Most soils wanted; all when left out.

    Returns
    -------
    best : Soil
    likely : tuple of Soil
        The soil alone, or up to `draws` of the sample, evenly over it; a soil beside a fit is there
        as often as all of the fit's together.

    Raises
    ------
    InputError
        If it is none of these, or an empty sequence.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> fine, middle, coarse = (VanGenuchten(0.05, 0.40, a, 3.0, 40.0) for a in (0.03, 0.04, 0.05))
    >>> best, likely = best_and_likely([fine, middle, coarse])
    >>> best == middle, len(likely)
    (True, 3)
    """
    soils = likely(sand, draws)
    if isinstance(sand, FitResult):
        return sand.soil, soils
    if _is_soil(sand):
        return soils[0], soils
    every = soils if draws is None else likely(sand)
    held = water_contents(every, np.array([_MIDDLE_SUCTION]))[:, 0]
    return every[int(np.argsort(held)[len(held) // 2])], soils


def likely(sand: Sand, draws: int | None = None) -> tuple[Soil, ...]:
    """Return equally likely soils for what is not known of a sand, as `best_and_likely` does.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        Any sand.
    draws : int, optional
        Most soils wanted; all when left out.

    Raises
    ------
    InputError
        If it is none of these, or an empty sequence.
    """
    if isinstance(sand, FitResult):
        size = sand.parameter_sample.shape[0]
        return sand.samples(size if draws is None else min(draws, size))
    if _is_soil(sand):
        return (sand,)  # type: ignore[return-value]
    if not isinstance(sand, Sequence) or isinstance(sand, str):
        raise InputError(
            f"sand: {by_kind(sand)}; allowed: a soil such as VanGenuchten(...), the result of "
            f"RetentionTable.fit, or a list of these{_cure(sand)}."
        )
    every: list[Any] = list(sand)
    # Of each kind once: an ensemble has thousands of one.
    kinds = {type(each): each for each in every}
    odd = {kind for kind, each in kinds.items() if not _is_soil(each)}
    wrong = [e for e in every if type(e) in odd and not isinstance(e, FitResult)] if odd else []
    if wrong or not every:
        told = f"it holds {by_kind(wrong[0])}" if wrong else "there are none"
        raise InputError(
            f"sand: {told}; allowed in a list: soils, or results of RetentionTable.fit."
        )
    if odd:
        sets = [each.samples() if isinstance(each, FitResult) else (each,) for each in every]
        # A soil counts as much as all that a fit leaves open.
        most = max(map(len, sets))
        every = [each[k * len(each) // most] for each in sets for k in range(most)]
    if draws is None or draws >= len(every):
        return tuple(every)
    chosen = np.linspace(0, len(every) - 1, draws).round().astype(int)
    return tuple([every[i] for i in chosen.tolist()])


def best_and_conducting(sand: Sand, draws: int) -> tuple[Soil, tuple[Soil, ...]]:
    """Tell the soils of a sand apart for a question that conductivity decides.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        As for `best_and_likely`.
    draws : int
        Most soils wanted.

    Returns
    -------
    best : Soil
    likely : tuple of Soil
        As `best_and_likely` gives them; of a soil alone, its curve with conductivities that are
        known as well as sands have measured, at saturation and in their fall with suction.

    Raises
    ------
    InputError
        If it is none of these.
    """
    best, likely = best_and_likely(sand, draws)
    if len(likely) > 1:
        return best, likely
    normal = NormalDist()
    deviations = [normal.inv_cdf((i + 0.5) / draws) for i in range(draws)]
    mixed = np.random.default_rng(0).permutation(deviations)
    return best, tuple(
        _conducting(best, float(np.exp(CONDUCTIVITY_ERROR * one)), TORTUOSITY_ERROR * float(other))
        for one, other in zip(deviations, mixed, strict=True)
    )


def _conducting(soil: Any, factor: float, more: float) -> Soil:
    """Return a soil of `factor` times the conductivity, and a tortuosity that is `more`."""
    names = {each.name for each in fields(soil)}
    changed: dict[str, Any] = {}
    if "soil" in names:
        changed["soil"] = _conducting(soil.soil, factor, more)
    if "k_sat" in names:
        changed["k_sat"] = factor * soil.k_sat
    if "tortuosity" in names:
        changed["tortuosity"] = max(soil.tortuosity + more, LEAST_TORTUOSITY)
    return cast(Soil, replace(soil, **changed))


def carries_fit(sand: Sand) -> bool:
    """Whether a sand is a fit, or one of several is, rather than curves taken as they are."""
    several = sand if isinstance(sand, Sequence) else (sand,)
    return any(isinstance(each, FitResult) for each in several)


def _cure(given: object) -> str:
    if isinstance(given, type):
        return f"; give one of it, {given.__name__}(...)"
    return "; give its .fit(VanGenuchten)" if hasattr(given, "fit") else ""


def _is_soil(given: object) -> bool:
    curves = hasattr(given, "effective_saturation") and hasattr(given, "conductivity")
    return curves and not isinstance(given, type)
