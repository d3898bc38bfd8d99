"""What a fit gives back: the best curve, its band, and equally likely soils of all families."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol, cast

import numpy as np

from soilwater.lab.core import Core
from soilwater.lab.grading import Grading
from soilwater.lab.posterior import Points, curves
from soilwater.soils.model import SoilModel, parameter_unit
from soilwater.soils.soil import Soil
from soilwater.words.arrays import FloatArray
from soilwater.words.bands import PROBABILITY
from soilwater.words.errors import InputError
from soilwater.words.forms import Suctions
from soilwater.words.frames import Column, Tabled
from soilwater.words.renamed import mind_words
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.units import to_house

if TYPE_CHECKING:
    import pandas as pd


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
    def core(self) -> Core:
        """Core over which the curve is averaged at each measurement."""

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
class FitResult(Tabled):
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

    @property
    def errors(self) -> str:
        """What errors of the lab the sample carries, in a sentence."""
        own, shared = (100.0 * each for each in (self.table.lab_error, self.table.sheet_error))
        return (
            f"each point by {own:.2g} % of water by volume and all points of the sheet together by "
            f"{shared:.2g} % (two times in three); where labs differ by 1.5 %, give the sheet "
            "sheet_error=0.015"
        )

    def _columns(self) -> list[Column]:
        # Each parameter has a unit of its own.
        names = list(self.parameters)
        return [
            Column("parameter", names),
            Column("best", list(self.parameters.values()), "various"),
            Column("at least", [self.intervals[each][0] for each in names], "various"),
            Column("at most", [self.intervals[each][1] for each in names], "various"),
        ]

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
        lines += [f"curves: {self.leaning}", f"errors: {self.errors}"]
        lines += [f"expected: {prior}" for prior in self.priors]
        lines += [f"caution: {caution}" for caution in self.cautions]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        rows, header = self._rows()
        items = [
            f"k_sat: {self.k_sat_source}",
            f"curves: {self.leaning}",
            f"errors: {self.errors}",
        ]
        items += [f"expected: {prior}" for prior in self.priors]
        items += [f"caution: {caution}" for caution in self.cautions]
        listed = "".join(f"<li>{escape(item)}</li>" for item in items)
        return html_table(rows, header, caption=self.sentence) + f"<ul>{listed}</ul>"
