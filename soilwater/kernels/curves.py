"""Hydraulic curves of a soil as a table: one multiplication, one shift and three cubics.

A soil enters the kernels as two rows of numbers made by `tabulate`: a table of cubic polynomials
on an octave grid of scaled suction, and a short row of scalars. Each factor of two in suction is
cut into `BINS_PER_OCTAVE` equal bins; a bin is found from the bits of the floating-point number,
with no logarithm and no search. Any monotone retention curve and conductivity curve costs the same.

The flux potential is the exact integral of the tabulated conductivity, and the water integral the
exact integral of the tabulated water content, so values and derivatives agree to round-off.
"""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.elementary import MANTISSA_BITS, bits_of, number_of

BINS_PER_OCTAVE = 64
FIRST_OCTAVE = -14
LAST_OCTAVE = 27
N_BINS = 1 + (LAST_OCTAVE - FIRST_OCTAVE) * BINS_PER_OCTAVE

SCALED_SUCTION_MIN = 2.0**FIRST_OCTAVE
"""Below this scaled suction the curves run straight to saturation (bin 0)."""
SCALED_SUCTION_MAX = 2.0**LAST_OCTAVE
"""Where the table ends."""

DRY_END_SUCTION = 10.0**6.8
"""Suction of oven-dry soil [cm] (Schneider & Goss 2012, Geoderma 170:64, from memory), from which a
soil with a dry end holds nothing."""
OVEN_DRY_SUCTION = 1.0e7
"""Suction [cm] no node may exceed, a little above that."""

SPECIFIC_STORAGE = 1.0e-6
"""Water a saturated soil takes up per cm of pressure head [1/cm], as in dense sandy gravel and a
little less than in dense sand (Domenico & Mifflin 1965, Water Resources Research 1:563, from
memory). Without it a pressure would leap through saturated layers in no time."""

LEAST_PORE_SUCTION = 0.05
"""Suction [cm] that empties pores 6 cm wide (Young & Laplace, water at 20 degrees)."""
MOST_FALL = 0.9
"""Share of its saturated value above which conductivity stays in the first bin, or it leaps."""

# Columns of a table row (one row per bin; cubics in scaled suction from the bin's lower edge).
WATER, CONDUCTIVITY, POTENTIAL, WATER_INTEGRAL, ROW_LENGTH = 0, 4, 8, 9, 10
# Entries of a soil's scalar row.
(
    INVERSE_SCALE,
    SCALE,
    WATER_AT_SATURATION,
    K_SAT,
    POTENTIAL_AT_SATURATION,
    DRY_END_WATER_CONTENT,
    SCALARS,
) = range(7)

_BIN_BITS = 6
_SHIFT = MANTISSA_BITS - _BIN_BITS
_FIRST_KEY = (1023 + FIRST_OCTAVE) << _BIN_BITS
_EDGE_MASK = ~((1 << _SHIFT) - 1)


class TabulatedSoil(Protocol):
    """What a soil must offer to be tabulated."""

    @property
    def theta_r(self) -> float:
        """Water content at the dry end."""

    @property
    def theta_s(self) -> float:
        """Water content at saturation."""

    @property
    def k_sat(self) -> float:
        """Conductivity at saturation [cm/h]."""

    @property
    def suction_scale(self) -> float:
        """Suction [cm] that falls on a bin edge."""

    def effective_saturation(self, suction: NDArray[np.float64]) -> NDArray[np.float64]:
        """Share of the water between the dry end and saturation."""

    def conductivity(self, suction: NDArray[np.float64]) -> NDArray[np.float64]:
        """Hydraulic conductivity [cm/h]."""


def bin_edges() -> NDArray[np.float64]:
    """Edges of the bins in scaled suction, shape ``(N_BINS + 1,)`` [1]."""
    steps = np.arange(BINS_PER_OCTAVE) / BINS_PER_OCTAVE
    octaves = 2.0 ** np.arange(FIRST_OCTAVE, LAST_OCTAVE)
    inner = (octaves[:, None] * (1.0 + steps)).ravel()
    return np.concatenate(([0.0], inner, [2.0**LAST_OCTAVE]))


def tabulate(soil: TabulatedSoil) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tabulate a soil for the kernels.

    Water is counted from the dry end (``theta_r``), so that the last traces of water in a dry
    sand keep their relative precision. Each cubic passes through the curve at both ends and at
    the thirds of its bin.

    Parameters
    ----------
    soil : TabulatedSoil
        Curves of a soil model.

    Returns
    -------
    table : ndarray, shape (N_BINS, ROW_LENGTH)
        Cubics of water content [1] and conductivity [cm/h], flux potential [cm2/h] and water
        integral [cm] at each bin's lower edge.
    scalars : ndarray, shape (SCALARS,)
        Scale of suction [cm] and values at saturation.
    """
    edges = bin_edges()
    width = np.diff(edges)
    scale = soil.suction_scale
    thirds = edges[:-1, None] + width[:, None] * np.array([0.0, 1.0 / 3.0, 2.0 / 3.0])
    at = np.append(thirds.ravel(), edges[-1]) * scale
    water_range = soil.theta_s - soil.theta_r
    water = _with_specific_storage(at, water_range * np.asarray(soil.effective_saturation(at)))
    conductivity = _without_leap(at, np.asarray(soil.conductivity(at)))

    table = np.empty((N_BINS, ROW_LENGTH))
    table[:, WATER : WATER + 4] = _falling(_cubics(water, width), water, width)
    table[:, CONDUCTIVITY : CONDUCTIVITY + 4] = _cubics(conductivity, width)
    # From the dry end up: the small numbers are summed first and stay precise.
    for column, start in ((POTENTIAL, CONDUCTIVITY), (WATER_INTEGRAL, WATER)):
        c0, c1, c2, c3 = table[:, start : start + 4].T
        whole = scale * width * (c0 + width * (c1 / 2 + width * (c2 / 3 + width * c3 / 4)))
        table[:, column] = np.cumsum(whole[::-1])[::-1]

    scalars = np.empty(SCALARS)
    scalars[INVERSE_SCALE] = 1.0 / scale
    scalars[SCALE] = scale
    scalars[WATER_AT_SATURATION] = water_range
    scalars[K_SAT] = soil.k_sat
    scalars[POTENTIAL_AT_SATURATION] = table[0, POTENTIAL]
    scalars[DRY_END_WATER_CONTENT] = soil.theta_r
    return table, scalars


def _without_leap(
    suction: NDArray[np.float64], conductivity: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Conductivity at rising suctions, straight up to `LEAST_PORE_SUCTION` if it leaps before.

    A steepness n near 1 makes K fall to a fraction within a hundredth of a centimetre of
    saturation, by pores wider than any soil has.
    """
    if conductivity[3] >= MOST_FALL * conductivity[0]:
        return conductivity
    edge = 3 * (int(np.searchsorted(suction[::3], LEAST_PORE_SUCTION, side="right")) - 1)
    ends = np.array([0, edge])
    straight = np.interp(suction[:edge], suction[ends], conductivity[ends])
    return np.concatenate((straight, conductivity[edge:]))


def _with_specific_storage(
    suction: NDArray[np.float64], water: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Water at rising suctions, giving way to specific storage until more than that has drained.

    As below a water table: a sand of even grain and a curve with an entry suction have no other
    storage there, and the head of a node that stores nothing would follow from nothing.
    """
    elastic = water[0] - SPECIFIC_STORAGE * suction
    full = np.cumsum(water < elastic) == 0
    return np.where(full, elastic, water)


def _cubics(values: NDArray[np.float64], width: NDArray[np.float64]) -> NDArray[np.float64]:
    """Coefficients, in powers of scaled suction, of the cubics through four points a bin."""
    f0, f1, f2 = values[:-1].reshape(-1, 3).T
    f3 = np.append(f0[1:], values[-1])
    c1 = (-11 * f0 + 18 * f1 - 9 * f2 + 2 * f3) / 2
    c2 = (18 * f0 - 45 * f1 + 36 * f2 - 9 * f3) / 2
    c3 = (-9 * f0 + 27 * f1 - 27 * f2 + 9 * f3) / 2
    # The straight bin at saturation: some curves have no slope there, or an infinite one.
    c1[0], c2[0], c3[0] = f3[0] - f0[0], 0.0, 0.0
    return np.stack([f0, c1 / width, c2 / width**2, c3 / width**3], axis=1)


def _falling(
    cubics: NDArray[np.float64], values: NDArray[np.float64], width: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The same cubics, but straight in a bin where one would rise.

    It does so beside a kink that lies within its bin: where specific storage gives way to the
    curve, and at the oven-dry end of a film, where it would also fall below no water at all.
    """
    _, c1, c2, c3 = cubics.T
    steepest = np.divide(-c2, 3.0 * c3, out=np.zeros_like(c3), where=c3 != 0.0)
    at = np.stack([np.zeros_like(width), np.clip(steepest, 0.0, width), width])
    rises = (c1 + at * (2.0 * c2 + 3.0 * c3 * at) > 0.0).any(axis=0)
    straight = np.zeros_like(cubics)
    straight[:, 0] = values[:-1:3]
    straight[:, 1] = (values[3::3] - values[:-1:3]) / width
    return np.where(rises[:, None], straight, cubics)


@inlined_kernel
def find_bin(scaled_suction):
    """Bin of a scaled suction and the distance from its lower edge."""
    # Not a number comes here too.
    if not scaled_suction >= SCALED_SUCTION_MIN:
        return 0, scaled_suction
    bits = bits_of(scaled_suction)
    edge = number_of(bits & _EDGE_MASK)
    return min((bits >> _SHIFT) - _FIRST_KEY + 1, N_BINS - 1), scaled_suction - edge


@inlined_kernel
def soil_hydraulics(head, table, scalars):
    """Curves of one soil at a matric head [cm], from its own table; see `hydraulics`."""
    if not head < 0.0:
        # Not a number comes here too: it has no bin.
        k_sat = scalars[K_SAT]
        potential = scalars[POTENTIAL_AT_SATURATION] + k_sat * head
        water = scalars[WATER_AT_SATURATION] + SPECIFIC_STORAGE * head
        return water, SPECIFIC_STORAGE, k_sat, 0.0, potential
    inverse_scale = scalars[INVERSE_SCALE]
    i, x = find_bin(-head * inverse_scale)
    w1, w2, w3 = table[i, WATER + 1], table[i, WATER + 2], table[i, WATER + 3]
    k0, k1 = table[i, CONDUCTIVITY], table[i, CONDUCTIVITY + 1]
    k2, k3 = table[i, CONDUCTIVITY + 2], table[i, CONDUCTIVITY + 3]
    water = table[i, WATER] + x * (w1 + x * (w2 + x * w3))
    capacity = -inverse_scale * (w1 + x * (2.0 * w2 + x * (3.0 * w3)))
    conductivity = k0 + x * (k1 + x * (k2 + x * k3))
    slope = -inverse_scale * (k1 + x * (2.0 * k2 + x * (3.0 * k3)))
    integral = x * (k0 + x * (0.5 * k1 + x * (k2 * (1.0 / 3.0) + x * (0.25 * k3))))
    potential = table[i, POTENTIAL] - scalars[SCALE] * integral
    return water, capacity, conductivity, slope, potential


@kernel
def hydraulics(head, tables, scalars, j):
    """Curves of soil number `j` at a matric head [cm].

    Returns water content above the dry end [1], capacity d(water)/d(head) [1/cm], conductivity
    [cm/h], its derivative d(conductivity)/d(head) [1/h] and the flux potential [cm2/h].
    """
    return soil_hydraulics(head, tables[j], scalars[j])


@kernel
def water_integral(head, tables, scalars, j):
    """Integral of the water content above the dry end over head, from the dry end up [cm]."""
    if head >= 0.0:
        water = scalars[j, WATER_AT_SATURATION] + 0.5 * SPECIFIC_STORAGE * head
        return tables[j, 0, WATER_INTEGRAL] + water * head
    i, x = find_bin(-head * scalars[j, INVERSE_SCALE])
    w0, w1 = tables[j, i, WATER], tables[j, i, WATER + 1]
    w2, w3 = tables[j, i, WATER + 2], tables[j, i, WATER + 3]
    integral = x * (w0 + x * (0.5 * w1 + x * (w2 / 3.0 + x * (0.25 * w3))))
    return tables[j, i, WATER_INTEGRAL] - scalars[j, SCALE] * integral


@kernel
def mean_water(head_top, head_bottom, tables, scalars, j):
    """Mean water content above the dry end where head runs straight between two values [1]."""
    difference = head_bottom - head_top
    if abs(difference) < 1e-4 * (1.0 + abs(head_top)):
        return hydraulics(0.5 * (head_top + head_bottom), tables, scalars, j)[0]
    top = water_integral(head_top, tables, scalars, j)
    return (water_integral(head_bottom, tables, scalars, j) - top) / difference
