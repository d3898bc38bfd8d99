"""Fitting a soil model to a few retention points, and saying honestly what they do not tell.

The best curve is the one with the highest posterior density: weighted least squares in water
content, plus weak expectations (priors) about what four points between 10 and 40 cm cannot show,
such as the water left at the dry end. What the points leave open is carried on as a sample of a
few hundred equally likely parameter sets, of all families of curves, each as far as it is believed.
"""

from __future__ import annotations

from typing import Any, NamedTuple, cast

import numpy as np

from soilwater.lab.conductivity import conductivity_of
from soilwater.lab.expectations import PARAMETERS, SAMPLE_SIZE, SHARES, Parameter
from soilwater.lab.fit_result import FamilySample, FitResult, Sheet
from soilwater.lab.fit_words import cautions_of, number_of_points, sentence_of, warn_of
from soilwater.lab.posterior import Draws, Problem, posterior_sample, search
from soilwater.soils import BrooksCorey, Kosugi, TwoComponent, VanGenuchten
from soilwater.soils.model import SoilModel, parameter_unit
from soilwater.soils.soil import Soil
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import HIGH, LOW
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Conductivity, Share

FAMILIES: tuple[type[SoilModel], ...] = (VanGenuchten, BrooksCorey, Kosugi, TwoComponent)
"""Families of curves among which the sample of a fit is shared by their evidence."""


def fit_retention(
    table: Sheet,
    model: type[SoilModel],
    *,
    k_sat: Conductivity | None = None,
    k_sat_error: float | None = None,
    field_over_lab: Share = 1.0,
    priors: bool = True,
    one_family: bool = False,
    draws: int = SAMPLE_SIZE,
    seed: int = 0,
) -> FitResult:
    """Fit a soil model to a retention table.

    Parameters
    ----------
    table : RetentionTable
        Checked measurements.
    model : type
        Family of the best curve: a soil model with a retention curve of its own, such as
        `VanGenuchten`.
    k_sat : float, str or Quantity, optional
        Saturated conductivity [cm/h]. Where it is not given, the table's is used; where that has
        none, it is estimated from the table's grading (`soilwater.lab.grading.hazen_conductivity`).
    k_sat_error : float, optional
        Standard deviation of its base-10 logarithm [1]: 0.24 by default, 0.43 from a
        grading, as sands have measured. The error of its fall with suction is apart.
    field_over_lab : float, str or Quantity
        What the field conducts over what the lab measured [1], a choice: 1 by default; a
        green four years old had a tenth (Baker and Richards 1997, abstract).
    priors : bool
        Whether weak expectations about sands help where the points are silent. They are always
        listed in the result. Without them at least as many suctions as parameters are needed.
    one_family : bool
        Whether the sample is of `model` alone. By default it is shared among `FAMILIES` by their
        evidence and by how many measured sands are of each, and `model` is the family of the best
        curve that is shown. Without expectations there is no evidence, and the sample is of one
        family.
    draws : int
        Size of the posterior sample.
    seed : int
        Seed of the search's starting points and of the posterior sample.

    Returns
    -------
    FitResult

    Raises
    ------
    InputError
        If the model cannot be fitted, there are too few points to do without expectations, or
        no saturated conductivity can be had.

    Warns
    -----
    SoilWaterWarning
        If a parameter ended on a bound, or there is only one suction.

    Examples
    --------
    >>> from soilwater.lab.retention import RetentionTable
    >>> from soilwater.soils import VanGenuchten
    >>> lab = RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat="14 in/h")
    >>> fit = lab.fit(VanGenuchten)
    >>> fit.sentence
    'Four points between 10 and 40 cm: the curve is an extrapolation beyond 40 cm \
(VanGenuchten, RMSE 0.15 % by volume).'
    >>> band = fit.band("30 cm")
    >>> bool(band.lower[0] < 0.194 < band.upper[0])
    True
    """
    points = table.points
    free, lines = _free_parameters(model, table, priors)
    known = conductivity_of(table, k_sat, k_sat_error, field_over_lab)
    faults = Faults(f"Fit of {model.__name__}")
    if not priors and points.suction.size < len(free):
        faults.add(
            f"{points.suction.size} suctions for {len(free)} parameters without priors",
            allowed=f"{len(free)} or more",
            cure="measure more suctions, choose a model with fewer parameters, or leave priors on",
        )
    if draws < 50:
        faults.add(f"draws={draws}", allowed="50 or more", cure="a few hundred is usual")
    faults.raise_if_any()

    rng = np.random.default_rng(seed)
    problem = Problem(model, free, points, priors, 0.0, table.core)
    found = search(problem, rng)
    # The curve shown goes through the points as they are; what may be off in all of them at once
    # widens the sample.
    shared = Problem(model, free, points, priors, table.sheet_error, table.core)
    families = [_Family(model, shared, posterior_sample(shared, found.axes, draws, rng))]
    if priors and not one_family:
        families += [
            _family(each, table, draws, rng, priors) for each in FAMILIES if each is not model
        ]
    share = _shares(families)
    conductivity = known.draws(draws, rng)
    names = (*problem.names, "tortuosity", "k_sat")
    best = [*map(float, problem.values(found.axes)), known.tortuosity, known.k_sat]
    best_values = dict(zip(names, best, strict=True))
    drawn = families[0].drawn
    values = problem.values(drawn.axes)
    sample = np.column_stack([values, conductivity])
    low, high = np.quantile(sample, [LOW, HIGH], axis=0)
    residuals = problem.curve(found.axes)[0] - points.water_content
    rmse = float(np.sqrt(np.mean(residuals**2)))
    at_bound = problem.at_bound(found.axes)
    told = cautions_of(shared, found, drawn, at_bound)
    warn_of(at_bound, points)

    soil: Soil = cast(Any, model)(
        **best_values,
        name=table.sample,
        source=f"fitted to {number_of_points(points)} of {table.source or 'a retention table'}",
    )
    import pandas as pd

    columns = [each.name for each in free]
    with np.errstate(invalid="ignore"):
        correlations = pd.DataFrame(
            np.atleast_2d(np.corrcoef(values, rowvar=False)), index=columns, columns=columns
        )
    return FitResult(
        soil=soil,
        table=table,
        parameters=best_values,
        intervals={n: (float(a), float(b)) for n, a, b in zip(names, low, high, strict=True)},
        correlations=correlations,
        residuals=residuals,
        rmse=rmse,
        information_criterion=float(np.sum((residuals / points.standard_error) ** 2))
        + 2.0 * len(free),
        priors=tuple(lines),
        k_sat_source=known.source,
        at_bound=at_bound,
        starts_agreeing=found.agreeing,
        effective_sample=drawn.effective,
        cautions=(*table.cautions, *told),
        sentence=sentence_of(model, points, rmse),
        parameter_names=names,
        parameter_sample=sample,
        families={
            each.model.__name__: float(part) for each, part in zip(families, share, strict=True)
        },
        mixture=_mixed(families, share, conductivity, rng),
    )


class _Family(NamedTuple):
    """One family of curves and what the points leave open in it."""

    model: type[SoilModel]
    problem: Problem
    drawn: Draws


def more_sets(fit: FitResult, draws: int) -> tuple[FamilySample, ...]:
    """Parameter sets that the points of a fit allow, more than its own sample holds.

    Parameters
    ----------
    fit : FitResult
        The fit.
    draws : int
        How many sets; conductivity and tortuosity are not among them.
    """
    model, rng = cast(Any, type(fit.soil)), np.random.default_rng(0)
    others = [each for each in FAMILIES if each is not model] if len(fit.families) > 1 else []
    families = [_family(each, fit.table, draws, rng, bool(fit.priors)) for each in (model, *others)]
    ends = np.round(np.cumsum([0.0, *_shares(families)]) * draws).astype(np.int64)
    return tuple(
        FamilySample(
            each.model,
            each.problem.names,
            each.problem.values(each.drawn.axes)[: last - first],
            np.arange(first, last),
        )
        for each, first, last in zip(families, ends, ends[1:], strict=False)
    )


def _family(
    model: type[SoilModel], table: Sheet, draws: int, rng: np.random.Generator, priors: bool
) -> _Family:
    free, _ = _free_parameters(model, table, priors)
    problem = Problem(model, free, table.points, priors, table.sheet_error, table.core)
    return _Family(model, problem, posterior_sample(problem, search(problem, rng).axes, draws, rng))


def _shares(families: list[_Family]) -> FloatArray:
    """How much each family is believed [1]: by the points, and by how many sands are of it."""
    evidence = np.array([each.drawn.log_evidence for each in families])
    share = np.exp(evidence - evidence.max()) * [SHARES[each.model.__name__] for each in families]
    return np.asarray(share / share.sum())


def _mixed(
    families: list[_Family], share: FloatArray, conductivity: FloatArray, rng: np.random.Generator
) -> tuple[FamilySample, ...]:
    draws = conductivity.shape[0]
    # Systematic, so that each family holds its share to within one set.
    ladder = (np.arange(draws) + rng.random()) / draws
    family = rng.permutation(np.minimum(np.searchsorted(np.cumsum(share), ladder), share.size - 1))
    mixture = []
    for i, (model, problem, drawn) in enumerate(families):
        place = np.flatnonzero(family == i)
        if place.size:
            rows = np.column_stack([problem.values(drawn.axes)[place], conductivity[place]])
            mixture.append(
                FamilySample(model, (*problem.names, "tortuosity", "k_sat"), rows, place)
            )
    return tuple(mixture)


def _free_parameters(
    model: type[SoilModel], table: Sheet, priors: bool
) -> tuple[list[Parameter], list[str]]:
    try:
        free = list(PARAMETERS[model.__name__])
    except (KeyError, AttributeError):
        known = ", ".join(PARAMETERS)
        raise InputError(
            f"Fit: {getattr(model, '__name__', model)!r} cannot be fitted; allowed: {known}."
        ) from None
    lines = []
    space = table.pore_space
    for i, each in enumerate(free):
        if each.name == "theta_s" and space is not None:
            error = _porosity_error(table)
            free[i] = each._replace(
                centre=space,
                spread=error,
                lower=max(0.05, min(each.lower, space - 0.1)),
                upper=min(1.0, max(each.upper, space + 0.1)),
                source="total porosity of the sheet",
            )
    if priors:
        for each in free:
            factor = f"within a factor of {np.exp(each.spread):.2g}"
            unit = parameter_unit(model, each.name)
            band = {
                "linear": f"{each.centre:.3g} +/- {each.spread:.2g} {unit}".rstrip(),
                "log": f"{each.centre:.3g} {unit}".rstrip() + f", {factor}",
                "log above 1": f"{each.centre:.3g}, n - 1 {factor}",
            }[each.scale]
            lines.append(f"{each.name} {band} (two times in three): {each.source}")
    return free, lines


def _porosity_error(table: Sheet) -> float:
    """Tell how well porosity fixes the saturated water content: a standard deviation [1].

    Measured porosity: one lab error. From densities: one and a half, and two where the density
    of the particles is itself assumed (common practice, no source).
    """
    if table.porosity is not None:
        return table.lab_error
    return table.lab_error * (1.5 if table.particle_density is not None else 2.0)
