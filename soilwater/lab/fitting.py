"""Fitting a soil model to a few retention points, and saying honestly what they do not tell.

The best curve is the one with the highest posterior density: weighted least squares in water
content, plus weak expectations (priors) about what four points between 10 and 40 cm cannot show,
such as the water left at the dry end. What the points leave open is carried on as a sample of a
few hundred equally likely parameter sets.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol, cast

import numpy as np

from soilwater.lab.expectations import PARAMETERS, SAMPLE_SIZE, Parameter
from soilwater.lab.grading import Grading, hazen_conductivity
from soilwater.lab.posterior import STARTS, Points, Problem, curves, posterior_sample, search
from soilwater.soils import BrooksCorey, Kosugi, TwoComponent, VanGenuchten
from soilwater.soils.model import Soil, SoilModel, parameter_unit
from soilwater.words.arrays import FloatArray
from soilwater.words.errors import Faults, InputError, SoilWaterWarning
from soilwater.words.renamed import mind_words
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.units import to_house

if TYPE_CHECKING:
    import pandas as pd

PROBABILITY = 0.9
"""Probability that the intervals of a fit claim to hold."""

FAMILIES: tuple[type[SoilModel], ...] = (VanGenuchten, BrooksCorey, Kosugi, TwoComponent)
"""Families of curves among which the sample of a fit is shared by their evidence."""

CONDUCTIVITY_ERROR = 0.24 * float(np.log(10.0))
"""Standard deviation of the logarithm of a measured saturated conductivity: 0.24 in log10, the
scatter of conductivity at 5-30 cm of suction about Mualem's curve from the stated value, on packed
sands of the measured unsaturated soil properties of Leij et al. 1996 (EPA/600/R-96/095) and Nemes
et al. 2001 (J. Hydrol. 251:151). Two times in three within a factor of 1.7."""

TORTUOSITY = 0.5
"""Mualem's exponent of the saturation (Mualem 1976, Water Resour. Res. 12:513)."""

TORTUOSITY_ERROR = 0.4
"""Standard deviation of Mualem's exponent of the saturation: how well the fall of conductivity
with suction is known. With `CONDUCTIVITY_ERROR` it gives the scatter of the same sands at 30-60 cm
(0.34 in log10, where a sand holds a quarter of its water) and 60-100 cm (0.41, an eighth)."""

GRADING_ERROR = 0.43 * float(np.log(10.0))
"""Standard deviation of the logarithm of a conductivity estimated from the grading: 0.43 in log10,
measured over estimated on the sands of the same collection."""

GRADING_RATIO = 0.61
"""Median of measured conductivity over the estimate from the grading, same sands."""


class Sheet(Protocol):
    """What a fit needs to know of a sheet; `soilwater.lab.retention.RetentionTable` tells it."""

    @property
    def suction(self) -> FloatArray:
        """Suction of each measurement [cm]."""

    @property
    def water_content(self) -> FloatArray:
        """Water content of each measurement [1]."""

    @property
    def points(self) -> Points:
        """Measurements gathered by suction."""

    @property
    def sheet_error(self) -> float:
        """Standard deviation of the error that all points share [1]."""

    @property
    def lab_error(self) -> float:
        """Standard deviation of one water content [1]."""

    @property
    def pore_space(self) -> float | None:
        """Total porosity [1], if known."""

    @property
    def porosity(self) -> float | None:
        """Total porosity as measured [1], if it was."""

    @property
    def particle_density(self) -> float | None:
        """Density of the particles [g/cm3], if stated."""

    @property
    def k_sat(self) -> float | None:
        """Saturated conductivity [cm/h], if stated."""

    @property
    def grading(self) -> Grading | None:
        """Sieve analysis, if stated."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What is odd about the sheet."""

    @property
    def sample(self) -> str:
        """What the sample is called."""

    @property
    def source(self) -> str:
        """Where the numbers come from."""


class FamilySample(NamedTuple):
    """Part of a mixed sample that is of one family.

    ``values`` holds one parameter set a row, in the order of ``names``; ``place`` is where each
    stands in the mixed sample.
    """

    model: type[SoilModel]
    names: tuple[str, ...]
    values: FloatArray
    place: np.typing.NDArray[np.int64]


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
        Equally likely parameter sets of the family of `soil`; ``k_sat`` is the last column.
    families : dict
        How much each family of curves is believed [1]: its share of the evidence and of the
        sample.
    mixture : tuple of FamilySample
        The mixed sample that `band` and `samples` give, family by family.
    """

    soil: Soil
    table: Sheet
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
    families: dict[str, float]
    mixture: tuple[FamilySample, ...]

    @mind_words(level="probability")
    def band(self, suction: Any, probability: float = PROBABILITY) -> Band:
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
            Water contents [1], pointwise quantiles over the mixed sample.

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
        water = [
            curves(part.model, part.names[:-2], part.values[:, :-2], at) for part in self.mixture
        ]
        tail = 0.5 * (1.0 - probability)
        lower, median, upper = np.quantile(np.vstack(water), [tail, 0.5, 1.0 - tail], axis=0)
        return Band(at, lower, median, upper, probability)

    @mind_words(n="draws")
    def samples(
        self, draws: int | None = None, rng: np.random.Generator | None = None
    ) -> tuple[Soil, ...]:
        """Soils that the points allow, each as likely as the next, of all families believed.

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
        holder = {
            int(at): (part, row)
            for part in self.mixture
            for at, row in zip(part.place, part.values, strict=True)
        }
        made: list[Soil] = []
        for i in chosen.tolist():
            part, row = holder[i]
            values = dict(zip(part.names, row.tolist(), strict=True))
            name = f"{self.soil.name} (sample {i})".strip()
            made.append(cast(Any, part.model)(**values, name=name, source=self.soil.source))
        return tuple(made)

    @property
    def leaning(self) -> str:
        """Which family of curves the points lean on, in a sentence."""
        if len(self.families) == 1:
            return f"the sample is of one family, {type(self.soil).__name__}"
        shares = sorted(self.families.items(), key=lambda item: -item[1])
        told = ", ".join(f"{name} {100.0 * share:.0f} %" for name, share in shares)
        return f"the points lean on {shares[0][0]} ({told})"

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
        lines.append(f"curves: {self.leaning}")
        lines += [f"expected: {prior}" for prior in self.priors]
        lines += [f"caution: {caution}" for caution in self.cautions]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        rows, header = self._rows()
        items = [f"k_sat: {self.k_sat_source}", f"curves: {self.leaning}"]
        items += [f"expected: {prior}" for prior in self.priors]
        items += [f"caution: {caution}" for caution in self.cautions]
        listed = "".join(f"<li>{escape(item)}</li>" for item in items)
        return html_table(rows, header, caption=self.sentence) + f"<ul>{listed}</ul>"


def fit_retention(
    table: Sheet,
    model: type[SoilModel],
    *,
    k_sat: Any = None,
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
    priors : bool
        Whether weak expectations about sands help where the points are silent. They are always
        listed in the result. Without them at least as many suctions as parameters are needed.
    one_family : bool
        Whether the sample is of `model` alone. By default it is shared among `FAMILIES` by their
        evidence, and `model` is the family of the best curve that is shown. Without expectations
        there is no evidence, and the sample is of one family.
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
    points = table.points
    free, lines = _free_parameters(model, table, priors)
    k_sat_best, k_sat_error, k_sat_source = _conductivity(table, k_sat)
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
    problem = Problem(model, free, points, priors, 0.0)
    found = search(problem, rng)
    # The curve shown goes through the points as they are; what may be off in all of them at once
    # widens the sample.
    shared = Problem(model, free, points, priors, table.sheet_error)
    drawn = posterior_sample(shared, found.axes, draws, rng)
    families = {model: (drawn.axes, shared, drawn.log_evidence)}
    if priors and not one_family:
        for other in FAMILIES:
            if other is not model:
                families[other] = _other_family(other, table, draws, rng)
    evidence = np.array([each[2] for each in families.values()])
    share = np.exp(evidence - evidence.max())
    share /= share.sum()
    names = (*(each.name for each in free), "tortuosity", "k_sat")
    conductivity = np.column_stack(
        [
            TORTUOSITY + TORTUOSITY_ERROR * rng.standard_normal(draws),
            k_sat_best * np.exp(k_sat_error * rng.standard_normal(draws)),
        ]
    )
    values = problem.values(drawn.axes)
    sample = np.column_stack([values, conductivity])
    best_values = dict(
        zip(names, [*map(float, problem.values(found.axes)), TORTUOSITY, k_sat_best], strict=True)
    )
    # Systematic, so that each family holds its share to within one set.
    ladder = (np.arange(draws) + rng.random()) / draws
    family = np.minimum(np.searchsorted(np.cumsum(share), ladder), share.size - 1)
    family = rng.permutation(family)
    mixture = []
    for i, (each, (axes, its_problem, _)) in enumerate(families.items()):
        place = np.flatnonzero(family == i)
        if place.size:
            rows = np.column_stack([its_problem.values(axes)[place], conductivity[place]])
            its_names = (*its_problem.names, "tortuosity", "k_sat")
            mixture.append(FamilySample(each, its_names, rows, place))

    tail = 50.0 * (1.0 - PROBABILITY)
    low, high = np.percentile(sample, [tail, 100.0 - tail], axis=0)
    residuals = problem.curve(found.axes)[0] - points.water_content
    rmse = float(np.sqrt(np.mean(residuals**2)))
    chi_square = float(np.sum((residuals / points.standard_error) ** 2))
    at_bound = problem.at_bound(found.axes)
    cautions = [*table.cautions]
    cautions += _cautions(
        problem, drawn.axes, at_bound, drawn.effective, found.agreeing, chi_square, points
    )
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
        k_sat_source=k_sat_source,
        at_bound=at_bound,
        starts_agreeing=found.agreeing,
        effective_sample=drawn.effective,
        cautions=tuple(cautions),
        sentence=_sentence(model, points, rmse),
        parameter_names=names,
        parameter_sample=sample,
        families={m.__name__: float(s) for m, s in zip(families, share, strict=True)},
        mixture=tuple(mixture),
    )


def _other_family(
    model: type[SoilModel], table: Sheet, draws: int, rng: np.random.Generator
) -> tuple[FloatArray, Problem, float]:
    """Draws of a family that is not shown, its problem and its evidence."""
    free, _ = _free_parameters(model, table, True)
    problem = Problem(model, free, table.points, True, table.sheet_error)
    drawn = posterior_sample(problem, search(problem, rng).axes, draws, rng)
    return drawn.axes, problem, drawn.log_evidence


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


def _conductivity(table: Sheet, stated: Any) -> tuple[float, float, str]:
    if stated is not None:
        value = float(to_house(stated, "conductivity", "k_sat"))
        if value <= 0.0:
            raise InputError(f"k_sat={value:g} cm/h must be above 0.")
        return value, CONDUCTIVITY_ERROR, f"as stated, {_within(CONDUCTIVITY_ERROR)}"
    if table.k_sat is not None:
        return table.k_sat, CONDUCTIVITY_ERROR, f"from the sheet, {_within(CONDUCTIVITY_ERROR)}"
    if table.grading is not None:
        value = GRADING_RATIO * hazen_conductivity(table.grading)
        return value, GRADING_ERROR, (
            f"{value:.3g} cm/h estimated from the grading (Hazen 1911, times {GRADING_RATIO:g} as "
            f"sands have measured), {_within(GRADING_ERROR)}"
        )  # fmt: skip
    raise InputError(
        "Fit: the sheet has neither a saturated conductivity nor a grading to estimate one; "
        "give k_sat, e.g. k_sat='14 in/h'."
    )


def _within(error: float) -> str:
    return f"within a factor of {np.exp(error):.2g} two times in three"


def _cautions(
    problem: Problem,
    draws: FloatArray,
    at_bound: Sequence[str],
    effective: float,
    agreeing: int,
    chi_square: float,
    points: Points,
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


def _warn(at_bound: Sequence[str], points: Points) -> None:
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


def _sentence(model: type[SoilModel], points: Points, rmse: float) -> str:
    low, high = (float(f"{h:.3g}") for h in points.suction[[0, -1]])
    if points.suction.size == 1:
        span = f"at {low:g} cm: everywhere else the curve is what sands usually do"
    else:
        span = f"between {low:g} and {high:g} cm: the curve is an extrapolation beyond {high:g} cm"
    return (
        f"{_count(points.suction.size).capitalize()} {span} ({model.__name__}, RMSE "
        f"{100 * rmse:.2f} % by volume)."
    )
