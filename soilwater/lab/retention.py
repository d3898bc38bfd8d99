"""The checked retention table: what a lab measured on one sand, in house units.

A `RetentionTable` holds a few points of a drying test (water content against suction) and what
else the sheet says about the sample. It is checked when it is made: what cannot be true stops
it, all faults in one message; what is only odd is kept and said in ``cautions``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.lab.core import Core, check_core
from soilwater.lab.expectations import SAMPLE_SIZE
from soilwater.lab.grading import Grading
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Conductivity, Share
from soilwater.words.renamed import mind_words
from soilwater.words.units import to_house

if TYPE_CHECKING:
    from soilwater.lab.fit_result import FitResult
    from soilwater.soils.model import SoilModel

LAB_ERROR = 0.01
"""Standard deviation of one laboratory water content [1] where the sheet states none.

One per cent by volume: the lower end of the 1-2 % that labs are usually credited with (common
practice, no source). This is the only place it is stated.
"""

SHEET_ERROR = 0.007
"""Standard deviation of the error that all water contents of a sheet share [1]: packing, the ring,
one oven. A choice: at this size it widens a band by about a third. A lab known to be off by more
is told so with ``sheet_error``."""

MINERAL_DENSITY = 2.65
"""Particle density of quartz sand [g/cm3] (common practice, no source)."""

WATER_DENSITY = 1.0
"""Density of water [g/cm3] used to turn water by mass into water by volume."""

USUAL_SUCTIONS = (10.0, 20.0, 30.0, 40.0)
"""The suctions [cm] that release curves of root-zone sands usually have (common practice)."""

LOW_CONDUCTIVITY = 6.0 * 2.54
"""Saturated conductivity [cm/h] below which a green sand is remarked on: 6 in/h, the least that
the USGA recommendations for putting greens ask for."""


class RetentionPoints(NamedTuple):
    """Measurements gathered by suction: one entry per suction, ascending.

    ``suction`` [cm], ``water_content`` (mean) [1], ``standard_error`` of that mean [1], and the
    ``cores`` measured there.
    """

    suction: NDArray[np.float64]
    water_content: NDArray[np.float64]
    standard_error: NDArray[np.float64]
    cores: NDArray[np.int64]


@dataclass(frozen=True, eq=False, repr=False)
class RetentionTable(Displayed):
    """Measured water contents of one sample on the drying branch.

    Parameters
    ----------
    suction : sequence
        Suction of each measurement [cm of water], positive when dry; floats or unit strings.
    water_content : sequence
        Water content by volume of each measurement [1].
    replicate : sequence of str
        Label of the core each measurement belongs to; empty when there is only one core.
    k_sat : float or str, optional
        Saturated conductivity [cm/h].
    porosity : float, optional
        Total porosity [1].
    bulk_density, particle_density : float, optional
        Dry bulk density and density of the particles [g/cm3].
    organic_matter : float, optional
        Organic matter as a share of the dry mass [1].
    grading : Grading, optional
        Sieve analysis.
    lab_error : float
        Standard deviation of one measured water content [1]; see `LAB_ERROR`.
    sheet_error : float
        Standard deviation of the error that all water contents of the sheet share [1]; 0 where
        there is none. See `SHEET_ERROR`.
    core_height : float or str, optional
        Height of the cores [cm].
    suction_level : {"base", "middle", "top"}, optional
        Level of the core to which suctions refer.
    sample, source : str
        What the sample is called, and where the numbers come from.
    notes : sequence of str
        What a reader understood on the way, one sentence each.
    row_labels : sequence of str
        How to name each measurement in a message ("line 7"); "row 1", "row 2", ... by default.

    Attributes
    ----------
    cautions : tuple of str
        What is odd but not impossible, one sentence each.

    Raises
    ------
    InputError
        For everything that cannot be true of a drying test, all faults at once.
    """

    suction: NDArray[np.float64]
    water_content: NDArray[np.float64]
    replicate: tuple[str, ...] = ()
    k_sat: float | None = None
    porosity: float | None = None
    bulk_density: float | None = None
    particle_density: float | None = None
    organic_matter: float | None = None
    grading: Grading | None = None
    lab_error: float = LAB_ERROR
    sheet_error: float = SHEET_ERROR
    core_height: float | None = None
    suction_level: str | None = None
    sample: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()
    row_labels: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default=(), init=False)

    def __post_init__(self) -> None:
        faults = Faults(self._subject())
        values = {
            name: _house(getattr(self, name), quantity, name, faults)
            for name, quantity in _QUANTITIES.items()
        }
        suction, water_content = values.pop("suction"), values.pop("water_content")
        if suction is None or water_content is None:
            faults.raise_if_any()
            raise InputError(f"{self._subject()}: suction and water content are both needed.")
        suction = np.atleast_1d(np.asarray(suction, dtype=np.float64))
        water_content = np.atleast_1d(np.asarray(water_content, dtype=np.float64))
        replicate = tuple(str(label) for label in self.replicate)
        labels = tuple(self.row_labels) or tuple(f"row {i + 1}" for i in range(suction.size))
        _check_shape(suction, water_content, replicate, labels, faults)
        faults.raise_if_any()

        order = np.argsort(suction, kind="stable")
        suction, water_content = suction[order].copy(), water_content[order].copy()
        labels = tuple(labels[i] for i in order)
        if replicate:
            replicate = tuple(replicate[i] for i in order)
        cautions: list[str] = []
        notes = list(self.notes)
        for name, value in values.items():
            object.__setattr__(self, name, None if value is None else float(value))
        _check_points(
            suction, water_content, replicate, labels, self.lab_error, faults, cautions, notes
        )
        before = len(faults)
        cautions += check_facts(
            self.k_sat,
            self.porosity,
            self.bulk_density,
            self.particle_density,
            self.organic_matter,
            faults,
        )
        if len(faults) == before:
            _check_pore_space(self, water_content, suction, labels, faults, cautions)
        with faults.catching():
            cautions += check_core(
                suction, water_content, self.core_height, self.suction_level, faults
            )
        faults.raise_if_any()

        suction.flags.writeable = False
        water_content.flags.writeable = False
        for name, checked in (
            ("suction", suction),
            ("water_content", water_content),
            ("replicate", replicate),
            ("row_labels", labels),
            ("notes", tuple(notes)),
            ("cautions", tuple(cautions)),
        ):
            object.__setattr__(self, name, checked)

    @property
    def pore_space(self) -> float | None:
        """Total porosity [1]: as measured, or from the densities, or None if neither is known.

        Notes
        -----
        Porosity = 1 - bulk density / particle density; a missing particle density is taken as
        `MINERAL_DENSITY`, which is too high for mixes with organic matter.
        """
        if self.porosity is not None:
            return self.porosity
        if self.bulk_density is None:
            return None
        return 1.0 - self.bulk_density / (self.particle_density or MINERAL_DENSITY)

    @property
    def core(self) -> Core:
        """Core over which a curve is averaged before it is held against the points.

        Where the level is not known, suctions are taken as those at mid height, and where the
        height is not known, water contents as those at the suction itself.
        """
        return Core(self.core_height or 0.0, self.suction_level or "middle")

    @property
    def points(self) -> RetentionPoints:
        """Measurements gathered by suction, with the standard error of each mean.

        Notes
        -----
        Where several cores were measured, the scatter between them is pooled over all suctions
        and drawn towards the stated lab error as if that were worth three more measurements (the
        mean of a scaled inverse chi-square posterior is of this form; Gelman et al. 2013,
        Bayesian Data Analysis, sec. 2.6, from memory). Without replicates the stated lab error
        is the standard error.
        """
        suctions, index = np.unique(self.suction, return_inverse=True)
        count = np.bincount(index)
        mean = np.bincount(index, weights=self.water_content) / count
        scatter = float(np.sum((self.water_content - mean[index]) ** 2))
        freedom = int(np.sum(count - 1))
        stated = 3.0
        spread = np.sqrt((scatter + stated * self.lab_error**2) / (freedom + stated))
        return RetentionPoints(suctions, mean, spread / np.sqrt(count), count.astype(np.int64))

    @mind_words(samples="draws")
    def fit(
        self,
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
        """Fit a soil model to the points; `soilwater.lab.fitting.fit_retention` tells it all.

        Parameters
        ----------
        model : type
            A soil model such as `VanGenuchten`.
        k_sat : float, str or Quantity, optional
            Saturated conductivity [cm/h]; by default the table's, else estimated from its
            grading.
        k_sat_error : float, optional
            Standard deviation of its base-10 logarithm [1]: 0.24 by default, 0.43 from a
            grading, as sands have measured. The error of its fall with suction is apart.
        field_over_lab : float, str or Quantity
            What the field conducts over what the lab measured [1], a choice: 1 by default; a
            green four years old had a tenth (Baker and Richards 1997, abstract).
        priors : bool
            Whether weak expectations about sands help where the points are silent.
        one_family : bool
            Whether the sample is of `model` alone, instead of all families by their evidence.
        draws : int
            Size of the posterior sample.
        seed : int
            Seed of the search and of the sample.

        Returns
        -------
        FitResult

        Raises
        ------
        InputError
            If the model cannot be fitted to this table.
        """
        from soilwater.lab.fitting import fit_retention

        return fit_retention(
            self,
            model,
            k_sat=k_sat,
            k_sat_error=k_sat_error,
            field_over_lab=field_over_lab,
            priors=priors,
            one_family=one_family,
            draws=draws,
            seed=seed,
        )

    def _subject(self) -> str:
        return f'Retention table "{self.sample}"' if self.sample else "Retention table"

    def _rows(self) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
        points = self.points
        rows: list[tuple[str, ...]] = [
            (f"{h:.1f}", f"{h / 10.197:.2f}", f"{100 * w:.1f}", f"{100 * e:.1f}", str(n))
            for h, w, e, n in zip(*points, strict=True)
        ]
        return rows, ("suction (cm)", "(kPa)", "water (% by volume)", "+/-", "cores")

    def _facts(self) -> list[str]:
        facts = []
        if self.k_sat is not None:
            facts.append(
                f"saturated conductivity {self.k_sat:.3g} cm/h ({self.k_sat / 2.54:.3g} in/h)"
            )
        if self.porosity is not None:
            facts.append(f"total porosity {100 * self.porosity:.1f} %")
        if self.bulk_density is not None:
            facts.append(f"bulk density {self.bulk_density:.2f} g/cm3")
        if self.particle_density is not None:
            facts.append(f"particle density {self.particle_density:.2f} g/cm3")
        if self.organic_matter is not None:
            facts.append(f"organic matter {100 * self.organic_matter:.1f} % by mass")
        if self.core_height is not None or self.suction_level is not None:
            height = "" if self.core_height is None else f" {self.core_height:g} cm high"
            facts.append(f"cores{height}, suctions at their {self.core.level}")
        if self.grading is not None:
            facts.append(f"grading on {int(np.sum(self.grading.sizes > 0))} sieves")
        return facts

    def _shown(self) -> Shown:
        rows, header = self._rows()
        lines = [*self._facts(), *(f"understood: {note}" for note in self.notes)]
        lines += [f"caution: {caution}" for caution in self.cautions]
        subject = self._subject()
        title = subject + (f" from {self.source}" if self.source else "")
        return Shown(title, header, rows, lines, caption=subject)


_QUANTITIES = {
    "suction": "suction",
    "water_content": "water_content",
    "k_sat": "conductivity",
    "porosity": "fraction",
    "bulk_density": "density",
    "particle_density": "density",
    "organic_matter": "fraction",
    "lab_error": "water_content",
    "sheet_error": "water_content",
    "core_height": "length",
}


def _house(value: object, quantity: str, name: str, faults: Faults) -> Any:
    if value is None:
        return None
    converted = None
    with faults.catching():
        converted = to_house(value, quantity, name)
    return converted


def _check_shape(
    suction: NDArray[np.float64],
    water_content: NDArray[np.float64],
    replicate: Sequence[str],
    labels: Sequence[str],
    faults: Faults,
) -> None:
    if suction.ndim != 1 or suction.size == 0:
        faults.add("no measurements", cure="give at least one suction with its water content")
    if water_content.shape != suction.shape:
        faults.add(
            f"{suction.size} suctions but {water_content.size} water contents",
            cure="give one water content per suction",
        )
    if replicate and len(replicate) != suction.size:
        faults.add(f"{len(replicate)} replicate labels for {suction.size} measurements")
    if len(labels) != suction.size:
        faults.add(f"{len(labels)} row labels for {suction.size} measurements")


def _check_points(
    suction: NDArray[np.float64],
    water_content: NDArray[np.float64],
    replicate: tuple[str, ...],
    labels: tuple[str, ...],
    lab_error: float,
    faults: Faults,
    cautions: list[str],
    notes: list[str],
) -> None:
    if lab_error <= 0.0:
        faults.add(f"lab_error {lab_error:g}", allowed="above 0, e.g. 0.01")
    for i in range(suction.size):
        if suction[i] < 0.0:
            faults.add(
                f"suction {suction[i]:g} cm is negative",
                where=labels[i],
                allowed="0 or more (positive when dry)",
                cure="drop the sign if the sheet gives pressures",
            )
        if not 0.0 < water_content[i] < 1.0:
            faults.add(
                f"water content {water_content[i]:g}",
                where=labels[i],
                allowed="between 0 and 1 (a fraction of the volume)",
            )
    cores = replicate or ("",) * suction.size
    seen: dict[tuple[str, float], int] = {}
    for i, core in enumerate(cores):
        first = seen.setdefault((core, float(suction[i])), i)
        if first != i:
            of_core = f" of core {core}" if core else ""
            what = (
                f"suction {suction[i]:.4g} cm{of_core} is measured twice "
                f"({100 * water_content[first]:.1f} % and {100 * water_content[i]:.1f} %)"
            )
            where = f"{labels[first]} and {labels[i]}"
            if abs(water_content[i] - water_content[first]) > _allowed_difference(lab_error):
                faults.add(
                    f"{what}, further apart than lab error",
                    where=where,
                    cure="name the cores in a replicate column, or keep one row",
                )
            else:
                notes.append(f"{where}: {what}; averaged")
    for core in dict.fromkeys(cores):
        rows = [i for i, name in enumerate(cores) if name == core]
        _check_drying(suction, water_content, rows, labels, lab_error, faults, cautions)
    suctions = np.unique(suction)
    if suctions.size == 1:
        missing = ", ".join(f"{h:g}" for h in USUAL_SUCTIONS if abs(h - suctions[0]) > 2.0)
        cautions.append(
            f"only one suction ({suctions[0]:.4g} cm): any curve through it has a band too "
            f"wide for a depth decision; ask the lab for {missing} cm as well"
        )
    elif suctions.size < 4:
        cautions.append(
            f"only {suctions.size} suctions: the curve leans on what sands usually do; four or "
            "more are usual"
        )


def _allowed_difference(lab_error: float) -> float:
    """Two standard deviations of the difference of two measurements [1]."""
    return float(2.0 * np.sqrt(2.0) * lab_error)


def _check_drying(
    suction: NDArray[np.float64],
    water_content: NDArray[np.float64],
    rows: Sequence[int],
    labels: Sequence[str],
    lab_error: float,
    faults: Faults,
    cautions: list[str],
) -> None:
    """Water content of one core must not rise with suction, beyond what lab error allows.

    A rise of more than that is called impossible, a smaller one is remarked on.
    """
    allowed = _allowed_difference(lab_error)
    for before, after in pairwise(rows):
        rise = water_content[after] - water_content[before]
        if suction[after] == suction[before] or rise <= 1e-9:
            continue
        wetter, drier = (
            f"{100 * water_content[i]:.1f} % at {suction[i]:.4g} cm" for i in (before, after)
        )
        what = f"water content rises from {wetter} to {drier}"
        where = f"{labels[before]} and {labels[after]}"
        if rise > allowed:
            faults.add(
                f"{what}, not possible on a drying test",
                where=where,
                cure="look for swapped rows or a typing error",
            )
        else:
            cautions.append(f"{where}: {what}; kept, it is within lab error")


def check_facts(
    k_sat: float | None,
    porosity: float | None,
    bulk_density: float | None,
    particle_density: float | None,
    organic_matter: float | None,
    faults: Faults,
) -> list[str]:
    """Check what a sheet says about a sample beside its retention points.

    Parameters
    ----------
    k_sat : float or None
        Saturated conductivity [cm/h].
    porosity, organic_matter : float or None
        Total porosity and organic matter [1].
    bulk_density, particle_density : float or None
        Densities [g/cm3].
    faults : Faults
        Where impossible values are noted.

    Returns
    -------
    list of str
        What is odd but possible.
    """
    cautions = []
    before = len(faults)
    for name, value, low, high, unit in (
        ("porosity", porosity, 0.15, 0.95, ""),
        ("bulk density", bulk_density, 0.2, 2.3, " g/cm3"),
        ("particle density", particle_density, 1.0, 3.5, " g/cm3"),
        ("organic matter", organic_matter, 0.0, 1.0, ""),
    ):
        if value is not None and not low <= value <= high:
            faults.add(f"{name} {value:g}{unit}", allowed=f"{low:g} to {high:g}{unit}")
    if k_sat is not None:
        if k_sat <= 0.0:
            faults.add(f"saturated conductivity {k_sat:g} cm/h", allowed="above 0")
        elif k_sat < LOW_CONDUCTIVITY:
            cautions.append(
                f"saturated conductivity {k_sat:.3g} cm/h ({k_sat / 2.54:.2g} in/h) is below "
                "6 in/h: silt? compacted? or another unit?"
            )
    if len(faults) == before and porosity is not None and bulk_density is not None:
        density = particle_density or MINERAL_DENSITY
        computed = 1.0 - bulk_density / density
        # Organic matter is light: an assumed mineral density may be off by 5 % of porosity.
        if abs(computed - porosity) > (0.02 if particle_density else 0.05):
            assumed = "" if particle_density else f" (particle density {density} assumed)"
            faults.add(
                f"bulk density {bulk_density:g} does not agree with porosity "
                f"{100 * porosity:g} %: 1 - {bulk_density:g}/{density:g} = "
                f"{100 * computed:.1f} %{assumed}",
                cure="check the three numbers, or leave the doubtful one out",
            )
    return cautions


def _check_pore_space(
    table: RetentionTable,
    water_content: NDArray[np.float64],
    suction: NDArray[np.float64],
    labels: Sequence[str],
    faults: Faults,
    cautions: list[str],
) -> None:
    space = table.pore_space
    if space is None:
        return
    for i in np.flatnonzero(water_content > space).tolist():
        what = (
            f"water content {100 * water_content[i]:.1f} % at {suction[i]:.4g} cm exceeds the "
            f"pore space {100 * space:.1f} %"
        )
        if water_content[i] - space > 2.0 * table.lab_error:
            faults.add(what, where=labels[i], cure="check bulk and particle density")
        else:
            cautions.append(f"{labels[i]}: {what}; kept, it is within lab error")
    wettest = int(np.argmin(suction))
    by_mass = water_content[wettest] * (table.bulk_density or 1.55)
    short = water_content[wettest] < 0.8 * space and abs(by_mass - space) < 0.1 * space
    if suction[wettest] <= 12.0 and short:
        cautions.append(
            f"{100 * water_content[wettest]:.1f} % at {suction[wettest]:.4g} cm is far short of "
            f"the pore space {100 * space:.1f} %: per cent by mass, perhaps? Times the bulk "
            f"density it would be {100 * by_mass:.1f} %"
        )
