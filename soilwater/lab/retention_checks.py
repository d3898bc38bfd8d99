"""What a lab sheet may say: what cannot be true is a fault, what is only odd is a caution."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from soilwater.words.errors import Faults
from soilwater.words.unit_choice import in_units

if TYPE_CHECKING:
    from soilwater.lab.retention import RetentionTable

MINERAL_DENSITY = 2.65
"""Particle density of quartz sand [g/cm3] (common practice, no source)."""

WATER_DENSITY = 1.0
"""Density of water [g/cm3] used to turn water by mass into water by volume."""

USUAL_SUCTIONS = (10.0, 20.0, 30.0, 40.0)
"""The suctions [cm] that release curves of root-zone sands usually have (common practice)."""

FAR_ABOVE = 3.0
"""Lab errors by which a point of the wetting branch may lie above the drying one."""

LOW_CONDUCTIVITY = 6.0 * 2.54
"""Saturated conductivity [cm/h] below which a green sand is remarked on: 6 in/h, the least that
the USGA recommendations for putting greens ask for."""


def check_shape(
    suction: NDArray[np.float64],
    water_content: NDArray[np.float64],
    replicate: Sequence[str],
    labels: Sequence[str],
    faults: Faults,
) -> None:
    """Note where there are no measurements, or not one water content for each suction."""
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


def check_wetting(
    suction: NDArray[np.float64],
    water_content: NDArray[np.float64],
    drying_suction: NDArray[np.float64],
    drying_water_content: NDArray[np.float64],
    lab_error: float,
    faults: Faults,
) -> None:
    """Note points of a wetting branch that lie where none can: above the drying one."""
    if suction.shape != water_content.shape:
        faults.add(
            f"{suction.size} wetting suctions but {water_content.size} wetting water contents",
            cure="give one water content per suction",
        )
        return
    for at, held in zip(suction, water_content, strict=True):
        dries = float(np.interp(at, drying_suction, drying_water_content))
        if at < 0.0:
            faults.add(f"wetting branch: a suction of {at:g} cm", allowed="0 or more")
        elif at >= drying_suction[0] and held > dries + FAR_ABOVE * lab_error:
            faults.add(
                f"wetting branch: {100.0 * held:.1f} % at {at:g} cm, where the drying branch holds "
                f"{100.0 * dries:.1f} %: it lies above",
                allowed="a wetting branch below the drying one",
                cure="look for the two in each other's place",
            )


def check_points(
    suction: NDArray[np.float64],
    water_content: NDArray[np.float64],
    replicate: tuple[str, ...],
    labels: tuple[str, ...],
    lab_error: float,
    faults: Faults,
    cautions: list[str],
    notes: list[str],
) -> None:
    """Note measurements that cannot be, and remark on what a curve of these points lacks."""
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
                    cure="name the cores in a replicate column, or keep one row; where the sand "
                    'was wetted again, say drying or wetting of each row in a column "branch"',
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

    A rise of more than that is called impossible, a smaller one is remarked on; one that goes on
    over several suctions is one rise. What was measured twice at a suction counts as its mean.
    """
    levels, first, which = np.unique(suction[rows], return_index=True, return_inverse=True)
    means = np.bincount(which, weights=water_content[rows]) / np.bincount(which)
    rising = np.diff(means) > 1e-9
    begins = np.flatnonzero(rising & ~np.append(False, rising[:-1]))
    ends = np.flatnonzero(rising & ~np.append(rising[1:], False)) + 1
    for before, after in zip(begins, ends, strict=True):
        wetter, drier = (f"{100 * means[i]:.1f} % at {levels[i]:.4g} cm" for i in (before, after))
        what = f"water content rises from {wetter} to {drier}"
        where = f"{labels[rows[first[before]]]} and {labels[rows[first[after]]]}"
        if means[after] - means[before] > _allowed_difference(lab_error):
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
                "saturated conductivity "
                f"{in_units(f'{k_sat:.3g} cm/h', f'{k_sat / 2.54:.2g} in/h')} is below "
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


def check_pore_space(
    table: RetentionTable,
    water_content: NDArray[np.float64],
    suction: NDArray[np.float64],
    labels: Sequence[str],
    faults: Faults,
    cautions: list[str],
) -> None:
    """Note water beyond the pore space, and remark on water by mass taken for volume."""
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
