"""The checked retention table: what a lab measured on one sand, in house units.

A `RetentionTable` holds a few points of a drying test (water content against suction) and what
else the sheet says about the sample. It is checked when it is made: what cannot be true stops
it, all faults in one message; what is only odd is kept and said in ``cautions``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilwater.lab.core import Core, check_core
from soilwater.lab.expectations import SAMPLE_SIZE
from soilwater.lab.grading import Grading
from soilwater.lab.retention_checks import (
    MINERAL_DENSITY,
    check_facts,
    check_points,
    check_pore_space,
    check_shape,
    check_wetting,
)
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Conductivity, Share
from soilwater.words.frames import Column, Tabled
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.several import items_of
from soilwater.words.unit_choice import in_units
from soilwater.words.units import number_to_house, to_house

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
one oven. A choice: no sand was found that two labs measured. At this size it widens a band by about
a third; a larger one holds more of the sheets that are further off and costs more: the validation
page shows both. A lab known to be off by more is told so with ``sheet_error``."""


class RetentionPoints(NamedTuple):
    """Measurements gathered by suction: one entry per suction, ascending.

    ``suction`` [cm], ``water_content`` (mean) [1], ``standard_error`` of that mean [1], and the
    ``cores`` measured there.
    """

    suction: NDArray[np.float64]
    water_content: NDArray[np.float64]
    standard_error: NDArray[np.float64]
    cores: NDArray[np.int64]


@needs_all('RetentionTable(["10 cm", "30 cm", "60 cm"], ["38 %", "22 %", "11 %"])')
@dataclass(frozen=True, eq=False, repr=False)
class RetentionTable(Displayed, Tabled):
    """Measured water contents of one sample on the drying branch, and on the wetting one if any.

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
    wetting_suction, wetting_water_content : sequence, optional
        Suctions [cm] and water contents [1] measured while the core, drained to the driest point of
        all, was wetted again: from these `likely_memories` draws how the sand remembers.

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
    wetting_suction: NDArray[np.float64] = ()  # type: ignore[assignment]
    wetting_water_content: NDArray[np.float64] = ()  # type: ignore[assignment]
    cautions: tuple[str, ...] = field(default=(), init=False)

    def __post_init__(self) -> None:
        faults = Faults(self._subject())
        values = {
            name: _house(getattr(self, name), quantity, name, faults)
            for name, quantity in _QUANTITIES.items()
        }
        suction, water_content = values.pop("suction"), values.pop("water_content")
        wetted_at, rewetted = (
            np.atleast_1d(np.asarray(() if each is None else each, dtype=np.float64))
            for each in (values.pop("wetting_suction"), values.pop("wetting_water_content"))
        )
        if suction is None or water_content is None:
            faults.raise_if_any()
            raise InputError(f"{self._subject()}: suction and water content are both needed.")
        suction = np.atleast_1d(np.asarray(suction, dtype=np.float64))
        water_content = np.atleast_1d(np.asarray(water_content, dtype=np.float64))
        kept = {
            name: items_of(getattr(self, name), name, f'write {name}=["a text"]', faults)
            for name in ("replicate", "row_labels", "notes")
        }
        replicate = tuple(str(label) for label in kept["replicate"])
        labels = kept["row_labels"] or tuple(f"row {i + 1}" for i in range(suction.size))
        check_shape(suction, water_content, replicate, labels, faults)
        faults.raise_if_any()

        order = np.argsort(suction, kind="stable")
        suction, water_content = suction[order].copy(), water_content[order].copy()
        labels = tuple(labels[i] for i in order)
        if replicate:
            replicate = tuple(replicate[i] for i in order)
        cautions: list[str] = []
        notes = list(kept["notes"])
        for name, value in values.items():
            object.__setattr__(self, name, None if value is None else float(value))
        check_points(
            suction, water_content, replicate, labels, self.lab_error, faults, cautions, notes
        )
        check_wetting(wetted_at, rewetted, suction, water_content, self.lab_error, faults)
        if wetted_at.size and not faults:
            notes.append(f"{wetted_at.size} points of the wetting branch say how it remembers")
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
            check_pore_space(self, water_content, suction, labels, faults, cautions)
        with faults.catching():
            cautions += check_core(
                suction, water_content, self.core_height, self.suction_level, faults
            )
        faults.raise_if_any()

        suction.flags.writeable = False
        water_content.flags.writeable = False
        for name, checked in (
            ("wetting_suction", wetted_at),
            ("wetting_water_content", rewetted),
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
            Whether the sample is of `model` alone, instead of all families as far as they are
            believed.
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

    def _columns(self) -> list[Column]:
        return [
            Column("suction", self.suction, "suction"),
            Column("water content", self.water_content, "water_content"),
        ]

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
            told = in_units(f"{self.k_sat:.3g} cm/h", f"{self.k_sat / 2.54:.3g} in/h")
            facts.append(f"saturated conductivity {told}")
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


_SEVERAL = ("suction", "water_content", "wetting_suction", "wetting_water_content")
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
    "wetting_suction": "suction",
    "wetting_water_content": "water_content",
}


def _house(value: object, quantity: str, name: str, faults: Faults) -> Any:
    if value is None:
        if name in ("lab_error", "sheet_error"):
            faults.add(f"{name} is None", cure="leave it out, or give it such as 0.01")
        return None
    converted = None
    with faults.catching():
        take = to_house if name in _SEVERAL else number_to_house
        converted = take(value, quantity, name)
    return converted
