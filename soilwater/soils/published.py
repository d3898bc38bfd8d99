"""Published van Genuchten parameters, as printed, with their sources.

Lengths are in cm. Conductivities are kept in the unit of the publication and brought to cm/h
where they are used, so that a reader can hold a row against its source.
"""

from __future__ import annotations

from dataclasses import dataclass

from soilwater.words.errors import InputError

FROM_MEMORY = "from memory, not checked against the print"


@dataclass(frozen=True)
class PublishedSoil:
    """One row of a published table, in house units."""

    name: str
    theta_r: float
    theta_s: float
    alpha: float
    n: float
    k_sat: float | None
    source: str


_HOURS_PER_DAY = 24.0
_SECONDS_PER_HOUR = 3600.0

_CLASS_SOURCE = (
    "texture class mean of Carsel & Parrish (1988), Water Resources Research 24:755, "
    f"doi 10.1029/WR024i005p00755; {FROM_MEMORY}"
)

# theta_r, theta_s, alpha [1/cm], n, saturated conductivity [cm/day]
_CLASSES = {
    "sand": (0.045, 0.43, 0.145, 2.68, 712.8),
    "loamy sand": (0.057, 0.41, 0.124, 2.28, 350.2),
    "sandy loam": (0.065, 0.41, 0.075, 1.89, 106.1),
    "loam": (0.078, 0.43, 0.036, 1.56, 24.96),
    "silt": (0.034, 0.46, 0.016, 1.37, 6.0),
    "silt loam": (0.067, 0.45, 0.020, 1.41, 10.8),
    "sandy clay loam": (0.100, 0.39, 0.059, 1.48, 31.44),
    "clay loam": (0.095, 0.41, 0.019, 1.31, 6.24),
    "silty clay loam": (0.089, 0.43, 0.010, 1.23, 1.68),
    "sandy clay": (0.100, 0.38, 0.027, 1.23, 2.88),
    "silty clay": (0.070, 0.36, 0.005, 1.09, 0.48),
    "clay": (0.068, 0.38, 0.008, 1.09, 4.8),
}

_LYON = (
    "lithofacies table of the Lyon basin, Journal of Water Resource and Protection (2015), "
    "doi 10.4236/jwarp.2015.74028 or 10.4236/jwarp.2015.713083 (two papers, not settled which); "
    "wetting branch, infiltration in the field; read in its table"
)

MEASURED_SOILS = (
    PublishedSoil("glaciofluvial sand", 0.013, 0.337, 0.205, 2.92, 352.0, _LYON),
    PublishedSoil("gravel with matrix", 0.037, 0.274, 0.0474, 2.4, 55.1, _LYON),
    PublishedSoil("bimodal gravel", 0.032, 0.226, 0.0084, 2.71, 4.32, _LYON),
    PublishedSoil("matrix-free gravel", 0.02, 0.36, 1.116, 2.7, 3600.0, _LYON),
    PublishedSoil(
        "Tottori dune sand",
        0.05,
        0.35,
        0.05,
        5.2,
        None,
        "Soil Science Society of America Journal 67:703 (2003), Fig. 1; drying branch from "
        "saturation; read in its caption",
    ),
    PublishedSoil(
        "Grenoble sand",
        0.0265,
        0.312,
        0.044,
        2.2,
        15.4,
        "Touma & Vauclin (1986), Transport in Porous Media 1:27; fit of the wetting branch, "
        f"m = 1 - 1/n assumed; {FROM_MEMORY}, low confidence in alpha",
    ),
    PublishedSoil(
        "New Mexico soil",
        0.102,
        0.368,
        0.0335,
        2.0,
        0.00922 * _SECONDS_PER_HOUR,
        f"Celia, Bouloutas & Zarba (1990), Water Resources Research 26:1483; {FROM_MEMORY}",
    ),
    PublishedSoil(
        "dune sand",
        0.093,
        0.301,
        0.0547,
        4.264,
        504.0 / _HOURS_PER_DAY,
        f"Miller et al. (1998), Advances in Water Resources 21:599; {FROM_MEMORY}",
    ),
    PublishedSoil(
        "benchmark sand",
        0.045,
        0.43,
        0.15,
        3.0,
        1000.0 / _HOURS_PER_DAY,
        f"Vanderborght et al. (2005), Vadose Zone Journal 4:206; {FROM_MEMORY}",
    ),
)

TEXTURE_CLASSES = tuple(
    PublishedSoil(name, theta_r, theta_s, alpha, n, k_sat / _HOURS_PER_DAY, _CLASS_SOURCE)
    for name, (theta_r, theta_s, alpha, n, k_sat) in _CLASSES.items()
)


def find(name: str, rows: tuple[PublishedSoil, ...], kind: str) -> PublishedSoil:
    """Row of a table by its name, upper and lower case alike.

    Raises
    ------
    InputError
        If no row has the name; the message lists those there are.
    """
    found = {row.name.casefold(): row for row in rows}.get(str(name).strip().casefold())
    if found is None:
        allowed = ", ".join(row.name for row in rows)
        raise InputError(f"{kind}: {name!r} is not known; allowed: {allowed}.")
    return found
