"""Particle-size gradings of sand and gravel, as a sieve analysis gives them.

A grading is a list of sieves with the share of the dry mass retained on each; what falls through
the finest sieve is the pan. Percentile diameters such as D15 and D85 are read from the passing
curve, straight between sieves on a logarithmic size axis (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.frames import Column, Tabled
from soilwater.words.renamed import needs_all
from soilwater.words.several import numbers_of

_SIEVES = {
    "sizes": "write openings in mm: sizes=[1.0, 0.5, 0.25, 0.0]",
    "retained": "write shares of the mass: retained=[0.1, 0.5, 0.3, 0.1]",
}
SUM_TOLERANCE = 0.01
"""How far retained shares may be from adding up to 1 before the sheet is sent back [1]."""


@needs_all("Grading([1.0, 0.5, 0.25, 0.0], [0.1, 0.5, 0.3, 0.1])")
@dataclass(frozen=True, eq=False, repr=False)
class Grading(Displayed, Tabled):
    """A sieve analysis: share of the dry mass retained on each sieve, coarsest first.

    Parameters
    ----------
    sizes : sequence of float
        Sieve openings [mm], each once; 0 is the pan (everything finer than the last sieve).
    retained : sequence of float
        Share of the dry mass retained on each [1]; must add up to 1 within 0.01.
    name : str
        What the material is called on the sheet.

    Raises
    ------
    InputError
        If sizes repeat or are negative, a share lies outside 0..1, or the shares do not add up;
        all faults at once.
    """

    sizes: NDArray[np.float64]
    retained: NDArray[np.float64]
    name: str = ""

    def __post_init__(self) -> None:
        faults = Faults(_subject(self.name))
        sizes, retained = (
            np.atleast_1d(numbers_of(getattr(self, each), each, _SIEVES[each], faults))
            for each in ("sizes", "retained")
        )
        faults.raise_if_any()
        _check(sizes, retained, self.name)
        order = np.argsort(-sizes)
        sizes, retained = sizes[order].copy(), retained[order].copy()
        if sizes[-1] > 0.0:
            sizes, retained = np.append(sizes, 0.0), np.append(retained, 0.0)
        sizes.flags.writeable = False
        retained.flags.writeable = False
        object.__setattr__(self, "sizes", sizes)
        object.__setattr__(self, "retained", retained)

    @classmethod
    def from_passing(cls, passing: Mapping[float, float], *, name: str = "") -> Grading:
        """Grading from shares passing each sieve.

        Parameters
        ----------
        passing : mapping
            Sieve opening [mm] -> share of the dry mass that passes it [1]. The coarsest sieve
            must pass everything (1), so that nothing of unknown size is left above it.
        name : str
            What the material is called.

        Returns
        -------
        Grading

        Raises
        ------
        InputError
            If the coarsest sieve does not pass everything or a finer sieve passes more than a
            coarser one.
        """
        sizes = sorted((float(size) for size in passing), reverse=True)
        shares = [float(passing[size]) for size in sizes]
        faults = Faults(_subject(name))
        if shares and abs(shares[0] - 1.0) > SUM_TOLERANCE:
            faults.add(
                f"the coarsest sieve ({sizes[0]:g} mm) passes {100 * shares[0]:.1f} %",
                allowed="100 %",
                cure="add the coarser sieve that passes everything",
            )
        for i in range(1, len(shares)):
            if shares[i] > shares[i - 1] + 1e-9:
                faults.add(
                    f"{sizes[i]:g} mm passes {100 * shares[i]:.1f} %, more than the coarser "
                    f"{sizes[i - 1]:g} mm sieve ({100 * shares[i - 1]:.1f} %)",
                    cure="check for swapped rows, or give shares retained instead",
                )
        faults.raise_if_any()
        retained = [1.0 - shares[0]]
        retained += [shares[i - 1] - shares[i] for i in range(1, len(shares))]
        return cls(
            np.asarray([*sizes, 0.0]), np.asarray([*retained, shares[-1]]), name=name
        )  # fmt: skip

    def passing(self, size: float) -> float:
        """Share of the dry mass finer than a size.

        Parameters
        ----------
        size : float
            Size [mm].

        Returns
        -------
        float
            Share passing [1]; straight between sieves on a logarithmic size axis. Below the
            finest sieve the size distribution is unknown and the pan's share is returned.
        """
        openings, passing = self._curve()
        if size >= openings[-1]:
            return 1.0
        return float(np.interp(np.log(max(size, 1e-12)), np.log(openings), passing))

    def diameter(self, share: float) -> float:
        """Size that a given share of the mass is finer than (D15 is ``diameter(0.15)``).

        Parameters
        ----------
        share : float
            Share of the dry mass [1].

        Returns
        -------
        float
            Size [mm]; NaN where the share is finer than the finest sieve, because the sheet does
            not say how fine.
        """
        openings, passing = self._curve()
        if share < passing[0]:
            return float("nan")
        above = int(np.searchsorted(passing, share))
        if above == 0:
            return float(openings[0])
        between = slice(above - 1, above + 1)
        return float(np.exp(np.interp(share, passing[between], np.log(openings[between]))))

    def between(self, finer: float, coarser: float) -> float:
        """Share of the dry mass between two sizes.

        Parameters
        ----------
        finer, coarser : float
            Sizes [mm].

        Returns
        -------
        float
            Share [1].
        """
        return self.passing(coarser) - self.passing(finer)

    def has_sieve(self, size: float) -> bool:
        """Whether the analysis has a sieve of this opening (within 2 %).

        Parameters
        ----------
        size : float
            Sieve opening [mm].

        Returns
        -------
        bool
        """
        return bool(np.any(np.abs(self.sizes - size) <= 0.02 * size))

    def _curve(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Give openings [mm] ascending and the share passing each [1], a coarsest bound on top."""
        finer_than = 1.0 - np.cumsum(self.retained)[:-1]
        openings = self.sizes[:-1]
        if finer_than[0] < 1.0 - 1e-12:
            # What stayed on the coarsest sieve is taken as not more than twice its opening, the
            # spacing of a usual sieve stack.
            openings = np.concatenate(([2.0 * openings[0]], openings))
            finer_than = np.concatenate(([1.0], finer_than))
        return openings[::-1], np.clip(finer_than[::-1], 0.0, 1.0)

    def _columns(self) -> list[Column]:
        return [
            Column("sieve", self.sizes, "opening"),
            Column("retained", self.retained, "share"),
        ]

    def _rows(self) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
        rows: list[tuple[str, ...]] = [
            ("pan" if size == 0.0 else f"{size:g}", f"{100 * share:.1f}")
            for size, share in zip(self.sizes, self.retained, strict=True)
        ]
        return rows, ("sieve (mm)", "retained (%)")

    def _shown(self) -> Shown:
        rows, header = self._rows()
        return Shown(_subject(self.name), header, rows)


def hazen_conductivity(grading: Grading) -> float:
    """Saturated conductivity of a clean, loose sand from its grading.

    Parameters
    ----------
    grading : Grading
        Sieve analysis that reaches down to D10.

    Returns
    -------
    float
        Conductivity [cm/h].

    Raises
    ------
    InputError
        If the grading lies outside the range of the formula.

    Notes
    -----
    k [cm/s] = 100 D10^2 with D10 in cm, for D10 from 0.1 to 3 mm and D60/D10 below 5 (Hazen
    1911, Trans. Am. Soc. Civ. Eng. 73:199; formula and range from memory). The formula is for
    loose filter sand. Measured conductivity of the sands collected by Leij et al. 1996
    (EPA/600/R-96/095) and Nemes et al. 2001 (J. Hydrol. 251:151) over this estimate: median 0.61,
    standard deviation 0.43 in log10; half of them within a factor of two.
    """
    d10, d60 = grading.diameter(0.10), grading.diameter(0.60)
    faults = Faults("Conductivity from grading (Hazen)")
    if not np.isfinite(d10):
        faults.add(
            "the sieves do not reach down to D10",
            cure="add finer sieves or give k_sat, e.g. k_sat='14 in/h'",
        )
    else:
        if not 0.1 <= d10 <= 3.0:
            faults.add(f"D10 = {d10:.3g} mm", allowed="0.1 to 3 mm", cure="give k_sat")
        if d60 / d10 >= 5.0:
            faults.add(f"D60/D10 = {d60 / d10:.3g}", allowed="below 5", cure="give k_sat")
    faults.raise_if_any()
    return float(100.0 * (d10 / 10.0) ** 2 * 3600.0)


def _subject(name: str) -> str:
    return f'Grading "{name}"' if name else "Grading"


def _check(sizes: NDArray[np.float64], retained: NDArray[np.float64], name: str) -> None:
    faults = Faults(_subject(name))
    if sizes.ndim != 1 or sizes.shape != retained.shape or sizes.size == 0:
        faults.add(
            f"{sizes.size} sieves and {retained.size} retained shares",
            allowed="one share per sieve, at least one sieve",
            cure="give both lists at the same length",
        )
        faults.raise_if_any()
    bad = ~np.isfinite(sizes) | (sizes < 0.0)
    for i in np.flatnonzero(bad):
        faults.add(f"sieve size {sizes[i]:g} mm", where=f"sieve {i + 1}", allowed="0 (pan) or more")
    for i in np.flatnonzero(~np.isfinite(retained) | (retained < 0.0) | (retained > 1.0)):
        faults.add(
            f"retained share {retained[i]:g}",
            where=f"sieve {sizes[i]:g} mm",
            allowed="0 to 1 (a fraction, not per cent)",
            cure="divide per cent by 100",
        )
    for size in {float(s) for s in sizes if np.sum(sizes == s) > 1}:
        faults.add(f"sieve {size:g} mm appears more than once", cure="keep one row per sieve")
    if not bad.any() and not np.any(sizes > 0.0):
        faults.add("only a pan, no sieve", cure="give at least one sieve opening in mm")
    if not faults:
        total = float(retained.sum())
        if abs(total - 1.0) > SUM_TOLERANCE:
            missing = "pan fraction missing?" if total < 1.0 else "a fraction counted twice?"
            faults.add(
                f"sum of sieves is {100 * total:.0f} %: {missing}",
                allowed="100 % within 1 %",
                cure="add or correct the row, or leave the grading out",
            )
    faults.raise_if_any()
