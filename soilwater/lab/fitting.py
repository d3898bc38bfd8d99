"""Fitting a soil model to a few retention points, and saying honestly what they do not tell.

The best curve is the one with the highest posterior density: weighted least squares in water
content, plus weak expectations (priors) about what four points between 10 and 40 cm cannot show,
such as the water left at the dry end. What the points leave open is carried on as a sample of a
few hundred equally likely parameter sets.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, fields
from html import escape
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np

from soilwater.lab.expectations import PARAMETERS, SAMPLE_SIZE, Parameter, from_axis, to_axis
from soilwater.lab.grading import hazen_conductivity
from soilwater.soils.model import Soil, SoilModel, parameter_unit
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError, SoilWaterWarning
from soilwater.words.forms import Suctions
from soilwater.words.renamed import mind_words
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.units import to_house

if TYPE_CHECKING:
    import pandas as pd

    from soilwater.lab.retention import RetentionPoints, RetentionTable

STARTS = 10
"""Number of starting points of the search."""

PROBABILITY = 0.9
"""Probability that the intervals of a fit claim to hold."""


CONDUCTIVITY_ERROR = float(np.log(1.2))
"""Standard deviation of the logarithm of a measured saturated conductivity: 20 per cent, the
quality-control confidence that a trade article on root-zone testing gives."""

GRADING_ERROR = float(np.log(2.0) / 1.645)
"""The same for a conductivity estimated from the grading: nine in ten within a factor of two."""


class Band(NamedTuple):
    """Water content [1] at each suction: lower and upper end of the band, and its median."""

    suction: FloatArray
    lower: FloatArray
    median: FloatArray
    upper: FloatArray
    probability: float


@dataclass(frozen=True, eq=False, repr=False)
class FitResult:
    """A soil fitted to a retention table, with everything the points left open.

    Attributes
    ----------
    soil : soil model
        The best curve.
    table : RetentionTable
        What it was fitted to.
    parameters : dict
        Best value of each fitted parameter, in house units, and of ``k_sat`` [cm/h].
    intervals : dict
        Central interval of each at probability `PROBABILITY`.
    correlations : pandas.DataFrame
        Correlations [1] between the fitted parameters in the posterior sample.
    residuals : ndarray, shape (points,)
        Curve minus mean measured water content at each suction [1].
    rmse : float
        Root mean square of the residuals [1].
    information_criterion : float
        Akaike's criterion with known measurement error, chi-square + 2 x parameters (Akaike
        1974, IEEE Trans. Autom. Control 19:716, doi 10.1109/TAC.1974.1100705): compare models
        fitted to the *same* points; smaller is better. Expectations do not count in it.
    priors : tuple of str
        The expectations used, one sentence each; empty when they were switched off.
    k_sat_source : str
        Where the saturated conductivity comes from and how well it is known.
    at_bound : tuple of str
        Parameters that ended on a bound.
    starts_agreeing : int
        How many of the starting points led to this optimum.
    effective_sample : float
        Number of independent draws the posterior sample is worth.
    cautions : tuple of str
        What the person should know before using the curve.
    sentence : str
        The fit in a few words.
    parameter_names : tuple of str
        Names of the columns of `parameter_sample`.
    parameter_sample : ndarray, shape (samples, parameters)
        Equally likely parameter sets; ``k_sat`` is the last column.
    """

    soil: Soil
    table: RetentionTable
    parameters: dict[str, float]
    intervals: dict[str, tuple[float, float]]
    correlations: pd.DataFrame
    residuals: FloatArray
    rmse: float
    information_criterion: float
    priors: tuple[str, ...]
    k_sat_source: str
    at_bound: tuple[str, ...]
    starts_agreeing: int
    effective_sample: float
    cautions: tuple[str, ...]
    sentence: str
    parameter_names: tuple[str, ...]
    parameter_sample: FloatArray

    @mind_words(level="probability")
    def band(self, suction: Suctions, probability: float = PROBABILITY) -> Band:
        """Band of the curve at given suctions.

        Parameters
        ----------
        suction : float, str or array
            Suctions [cm].
        probability : float
            Probability inside the band [1], between 0 and 1.

        Returns
        -------
        Band
            Water contents [1], pointwise quantiles over the posterior sample.

        Raises
        ------
        InputError
            If `probability` is not between 0 and 1.
        """
        if not 0.0 < probability < 1.0:
            raise InputError(
                f"band: probability={probability:g} must lie between 0 and 1, such as 0.9."
            )
        at = np.atleast_1d(np.asarray(to_house(suction, "suction", "suction"), dtype=np.float64))
        model: Any = type(self.soil)
        curves = _curves(model, self.parameter_names[:-1], self.parameter_sample[:, :-1], at)
        tail = 0.5 * (1.0 - probability)
        lower, median, upper = np.quantile(curves, [tail, 0.5, 1.0 - tail], axis=0)
        return Band(at, lower, median, upper, probability)

    @mind_words(n="draws")
    def samples(
        self, draws: int | None = None, rng: np.random.Generator | None = None
    ) -> tuple[Soil, ...]:
        """Soils that the points allow, each as likely as the next.

        Parameters
        ----------
        draws : int, optional
            How many; all by default.
        rng : numpy.random.Generator, optional
            Chooses which when fewer than all are wanted; without it every few-th set is taken.

        Returns
        -------
        tuple of soil models

        Raises
        ------
        InputError
            If `draws` is not between 1 and the size of the sample.
        """
        size = self.parameter_sample.shape[0]
        n = size if draws is None else int(draws)
        if not 1 <= n <= size:
            raise InputError(f"samples: draws={n} must lie between 1 and {size}.")
        if rng is None:
            chosen = np.linspace(0, size - 1, n).round().astype(int)
        else:
            chosen = rng.choice(size, n, replace=False)
        model: Any = type(self.soil)
        made: list[Soil] = []
        for i in chosen:
            values = dict(zip(self.parameter_names, self.parameter_sample[i].tolist(), strict=True))
            name = f"{self.soil.name} (sample {i})".strip()
            made.append(model(**values, name=name, source=self.soil.source))
        return tuple(made)

    def _rows(self) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for name, value in self.parameters.items():
            low, high = self.intervals[name]
            unit = parameter_unit(type(self.soil), name)
            rows.append((name, f"{value:.4g}", f"{low:.4g} to {high:.4g}", unit))
        return rows, ("parameter", "best", f"{100 * PROBABILITY:.0f} % interval", "unit")

    def __repr__(self) -> str:
        rows, header = self._rows()
        lines = [self.sentence, echo_table(rows, header), f"k_sat: {self.k_sat_source}"]
        lines += [f"expected: {prior}" for prior in self.priors]
        lines += [f"caution: {caution}" for caution in self.cautions]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        rows, header = self._rows()
        items = [f"k_sat: {self.k_sat_source}"]
        items += [f"expected: {prior}" for prior in self.priors]
        items += [f"caution: {caution}" for caution in self.cautions]
        listed = "".join(f"<li>{escape(item)}</li>" for item in items)
        return html_table(rows, header, caption=self.sentence) + f"<ul>{listed}</ul>"


def fit_retention(
    table: RetentionTable,
    model: type[SoilModel],
    *,
    k_sat: Any = None,
    priors: bool = True,
    draws: int = SAMPLE_SIZE,
    seed: int = 0,
) -> FitResult:
    """Fit a soil model to a retention table.

    Parameters
    ----------
    table : RetentionTable
        Checked measurements.
    model : type
        One of the soil models with a retention curve of its own, such as `VanGenuchten`.
    k_sat : float, str or Quantity, optional
        Saturated conductivity [cm/h]. Where it is not given, the table's is used; where that has
        none, it is estimated from the table's grading (`soilwater.lab.grading.hazen_conductivity`).
    priors : bool
        Whether weak expectations about sands help where the points are silent. They are always
        listed in the result. Without them at least as many suctions as parameters are needed.
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
(VanGenuchten, RMSE 0.06 % by volume).'
    >>> band = fit.band("30 cm")
    >>> bool(band.lower[0] < 0.194 < band.upper[0])
    True
    """
    from scipy.optimize import least_squares

    points = table.points
    free, lines = _free_parameters(model, table, priors)
    conductivity, conductivity_error, conductivity_source = _conductivity(table, k_sat)
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

    problem = _Problem(model, free, points, priors)
    rng = np.random.default_rng(seed)
    ends = [
        least_squares(
            problem.residuals,
            start,
            jac=problem.jacobian,
            bounds=(problem.lower, problem.upper),
            x_scale=problem.spread,
            ftol=1e-14,
            xtol=1e-12,
            gtol=1e-12,
            max_nfev=500,
        )
        for start in problem.starts(rng)
    ]
    costs = np.array([end.cost for end in ends])
    best = ends[int(np.argmin(costs))]
    agreeing = int(np.sum(costs <= best.cost + 1e-4 * (1.0 + best.cost)))

    drawn, effective = _posterior_sample(problem, best.x, draws, rng)
    values = problem.values(drawn)
    k_draws = conductivity * np.exp(conductivity_error * rng.standard_normal(draws))
    sample = np.column_stack([values, k_draws])
    names = (*(each.name for each in free), "k_sat")
    best_values = dict(zip(names, [*map(float, problem.values(best.x)), conductivity], strict=True))

    tail = 50.0 * (1.0 - PROBABILITY)
    low, high = np.percentile(sample, [tail, 100.0 - tail], axis=0)
    residuals = problem.curve(best.x)[0] - points.water_content
    rmse = float(np.sqrt(np.mean(residuals**2)))
    chi_square = float(np.sum((residuals / points.standard_error) ** 2))
    at_bound = problem.at_bound(best.x)
    cautions = [*table.cautions]
    cautions += _cautions(problem, drawn, at_bound, effective, agreeing, chi_square, points)
    _warn(at_bound, points)

    soil: Soil = cast(Any, model)(
        **best_values,
        name=table.sample,
        source=f"fitted to {_count(points.suction.size)} of {table.source or 'a retention table'}",
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
        information_criterion=chi_square + 2.0 * len(free),
        priors=tuple(lines),
        k_sat_source=conductivity_source,
        at_bound=at_bound,
        starts_agreeing=agreeing,
        effective_sample=effective,
        cautions=tuple(cautions),
        sentence=_sentence(model, points, rmse),
        parameter_names=names,
        parameter_sample=sample,
    )


class _Problem:
    """Residuals of one fit on the search axes, for one parameter set or for many at once."""

    def __init__(
        self,
        model: type[SoilModel],
        free: Sequence[Parameter],
        points: RetentionPoints,
        priors: bool,
    ) -> None:
        self.model, self.free, self.points, self.priors = model, tuple(free), points, priors
        self.names = tuple(each.name for each in free)
        self.lower = np.array([to_axis(each.lower, each.scale) for each in free])
        self.upper = np.array([to_axis(each.upper, each.scale) for each in free])
        self.centre = np.array([to_axis(each.centre, each.scale) for each in free])
        self.spread = np.array([each.spread for each in free])

    def values(self, axes: FloatArray) -> FloatArray:
        """Parameters in their own units; the last axis is the parameter."""
        return np.stack(
            [from_axis(axes[..., i], each.scale) for i, each in enumerate(self.free)], axis=-1
        )

    def curve(self, axes: FloatArray) -> FloatArray:
        """Water content at the measured suctions, shape (sets, points)."""
        return _curves(
            self.model, self.names, np.atleast_2d(self.values(axes)), self.points.suction
        )

    def residuals(self, axes: FloatArray) -> FloatArray:
        """Misfits in standard errors, then distances from the expectations in spreads."""
        misfit = (self.curve(axes) - self.points.water_content) / self.points.standard_error
        if self.priors:
            misfit = np.hstack([misfit, (np.atleast_2d(axes) - self.centre) / self.spread])
        return misfit[0] if axes.ndim == 1 else misfit

    def jacobian(self, axes: FloatArray) -> FloatArray:
        """Central differences of the residuals, all parameters in one evaluation."""
        steps = np.minimum(1e-5 * self.spread, 0.25 * (self.upper - self.lower))
        moved = axes + np.vstack([np.diag(steps), -np.diag(steps)])
        moved = np.clip(moved, self.lower, self.upper)
        half = axes.size
        change = np.diagonal(moved[:half] - moved[half:])
        difference = self.residuals(moved)
        return np.asarray((difference[:half] - difference[half:]).T / change)

    def starts(self, rng: np.random.Generator) -> FloatArray:
        """Start at the expectation, and at further points, one in each slice of every axis."""
        slices = np.array([rng.permutation(STARTS - 1) for _ in self.free]).T
        share = (slices + 0.5) / (STARTS - 1)
        low = np.maximum(self.lower, self.centre - 2.0 * self.spread)
        high = np.minimum(self.upper, self.centre + 2.0 * self.spread)
        inside = 1e-3 * (self.upper - self.lower)
        points = np.vstack([self.centre, low + share * (high - low)])
        return np.asarray(np.clip(points, self.lower + inside, self.upper - inside))

    def log_density(self, axes: FloatArray) -> FloatArray:
        """Logarithm of the posterior density of many sets, up to a constant."""
        inside = np.all((axes >= self.lower) & (axes <= self.upper), axis=1)
        squares = np.sum(self.residuals(np.clip(axes, self.lower, self.upper)) ** 2, axis=1)
        return np.where(inside, -0.5 * squares, -np.inf)

    def at_bound(self, axes: FloatArray) -> tuple[str, ...]:
        """Names of the parameters that sit on a bound, with the bound."""
        near = 1e-4 * (self.upper - self.lower)
        found = []
        for i, each in enumerate(self.free):
            if axes[i] <= self.lower[i] + near[i]:
                found.append(f"{each.name} at its lower bound {each.lower:g}")
            elif axes[i] >= self.upper[i] - near[i]:
                found.append(f"{each.name} at its upper bound {each.upper:g}")
        return tuple(found)


def _curves(
    model: type[SoilModel], names: Sequence[str], values: FloatArray, suction: FloatArray
) -> FloatArray:
    """Water content [1] of many parameter sets, shape (sets, suctions).

    One soil whose parameters are columns stands for all sets: the models' formulas are written
    in array operations and broadcast, which is a hundred times faster than a soil per set.
    """
    soil = object.__new__(model)
    for each in fields(model):
        object.__setattr__(soil, each.name, each.default)
    object.__setattr__(soil, "k_sat", 1.0)
    for i, name in enumerate(names):
        object.__setattr__(soil, name, values[:, i : i + 1])
    return np.asarray(soil._water_content(suction[np.newaxis, :]), dtype=np.float64)


def _posterior_sample(
    problem: _Problem, best: FloatArray, size: int, rng: np.random.Generator
) -> tuple[FloatArray, float]:
    """Equally likely parameter sets around the optimum, and how many they are worth.

    Importance sampling with a Student t proposal (5 degrees of freedom) that starts from the
    curvature at the optimum and is moved to the weighted mean and covariance of its own draws
    three times; the last draws are resampled systematically. (Adaptive importance sampling: Oh &
    Berger 1992, J. Stat. Comput. Simul. 41:143, doi 10.1080/00949659208810398, from memory.)
    """
    jacobian = problem.jacobian(best)
    width = (problem.upper - problem.lower) / 4.0
    covariance = np.linalg.inv(jacobian.T @ jacobian + np.diag(width**-2))
    centre = best
    freedom, dimension = 5.0, best.size
    for count in (1000, 1000, 1000, 4000):
        root = np.linalg.cholesky(covariance)
        normal = rng.standard_normal((count, dimension))
        stretch = np.sqrt(freedom / rng.chisquare(freedom, count))[:, np.newaxis]
        draws = centre + (normal * stretch) @ root.T
        log_proposal = (
            -0.5
            * (freedom + dimension)
            * np.log1p(np.sum((normal * stretch) ** 2, axis=1) / freedom)
        )
        log_weight = problem.log_density(draws) - log_proposal
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        centre = weight @ draws
        offset = draws - centre
        # Ten per cent wider than the draws themselves, so that the tails stay covered.
        covariance = 1.1 * (offset * weight[:, np.newaxis]).T @ offset
        covariance += np.diag((1e-4 * problem.spread) ** 2)
    effective = float(1.0 / np.sum(weight**2))
    ladder = (np.arange(size) + rng.random()) / size
    chosen = np.minimum(np.searchsorted(np.cumsum(weight), ladder), weight.size - 1)
    return draws[rng.permutation(chosen)], effective


def _free_parameters(
    model: type[SoilModel], table: RetentionTable, priors: bool
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


def _porosity_error(table: RetentionTable) -> float:
    """Tell how well porosity fixes the saturated water content: a standard deviation [1].

    Measured porosity: one lab error. From densities: one and a half, and two where the density
    of the particles is itself assumed (common practice, no source).
    """
    if table.porosity is not None:
        return table.lab_error
    return table.lab_error * (1.5 if table.particle_density is not None else 2.0)


def _conductivity(table: RetentionTable, stated: Any) -> tuple[float, float, str]:
    if stated is not None:
        value = float(to_house(stated, "conductivity", "k_sat"))
        if value <= 0.0:
            raise InputError(f"k_sat={value:g} cm/h must be above 0.")
        return value, CONDUCTIVITY_ERROR, "as stated, +/- 20 %"
    if table.k_sat is not None:
        return table.k_sat, CONDUCTIVITY_ERROR, "from the sheet, +/- 20 %"
    if table.grading is not None:
        value = hazen_conductivity(table.grading)
        return value, GRADING_ERROR, (
            f"{value:.3g} cm/h estimated from the grading (Hazen 1911, loose clean sand), "
            "within a factor of two nine times in ten"
        )  # fmt: skip
    raise InputError(
        "Fit: the sheet has neither a saturated conductivity nor a grading to estimate one; "
        "give k_sat, e.g. k_sat='14 in/h'."
    )


def _cautions(
    problem: _Problem,
    draws: FloatArray,
    at_bound: Sequence[str],
    effective: float,
    agreeing: int,
    chi_square: float,
    points: RetentionPoints,
) -> list[str]:
    found = [f"the best curve has {each}" for each in at_bound]
    if problem.priors:
        ratio = draws.std(axis=0) / problem.spread
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
    if agreeing < STARTS:
        found.append(
            f"only {agreeing} of {STARTS} starting points led to this optimum: the points allow "
            "more than one kind of curve"
        )
    if effective < 100.0:
        found.append(
            f"the posterior sample is worth only {effective:.0f} independent draws: its bands are "
            "rough"
        )
    # Chi-square has a mean of the number of points and a variance of twice that, at most.
    if chi_square > points.suction.size + 3.0 * np.sqrt(2.0 * points.suction.size):
        found.append(
            "the curve misses the points by more than lab error: look for a typing error, or try "
            "another model"
        )
    return found


def _warn(at_bound: Sequence[str], points: RetentionPoints) -> None:
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


def _count(number: int) -> str:
    word = _NUMBER_WORDS[number] if number < len(_NUMBER_WORDS) else str(number)
    return f"{word} point{'' if number == 1 else 's'}"


def _sentence(model: type[SoilModel], points: RetentionPoints, rmse: float) -> str:
    low, high = (float(f"{h:.3g}") for h in points.suction[[0, -1]])
    if points.suction.size == 1:
        span = f"at {low:g} cm: everywhere else the curve is what sands usually do"
    else:
        span = f"between {low:g} and {high:g} cm: the curve is an extrapolation beyond {high:g} cm"
    return (
        f"{_count(points.suction.size).capitalize()} {span} ({model.__name__}, RMSE "
        f"{100 * rmse:.2f} % by volume)."
    )
