"""Tables of soils made in compiled code, as `curves.tabulate` makes them from any soil's curves.

A model for which `tabulate_shapes` has its two curves is tabulated here in a fifteenth of the time
and without holding the interpreter; what is tabulated is the same to round-off.
"""

import math

import numpy as np
from numpy.typing import NDArray

from soilwater.kernels.cache import compile_entry_point, inlined_kernel, kernel
from soilwater.kernels.curves import (
    BINS_PER_OCTAVE,
    CONDUCTIVITY,
    DRY_END_WATER_CONTENT,
    FIRST_OCTAVE,
    INVERSE_SCALE,
    K_SAT,
    LAST_OCTAVE,
    LEAST_PORE_SUCTION,
    MOST_FALL,
    POTENTIAL,
    POTENTIAL_AT_SATURATION,
    SCALE,
    SCALED_SUCTION_MIN,
    SPECIFIC_STORAGE,
    WATER,
    WATER_AT_SATURATION,
    WATER_INTEGRAL,
)
from soilwater.kernels.elementary import logarithm
from soilwater.kernels.tabulate_shapes import (
    LN_2,
    LOWERED,
    LOWERED_AGAIN,
    RAISED,
    RAISED_AGAIN,
    SMALL,
    TRACE,
    exponential,
    log_one_plus,
    log_one_plus_by_series,
    lognormal_pores,
    pore_systems,
    power_of_suction,
    powers_of_steps,
    short_of_one_by_series,
)

N_OCTAVES = LAST_OCTAVE - FIRST_OCTAVE
SECOND, THIRD = BINS_PER_OCTAVE + 1, 2 * BINS_PER_OCTAVE + 1
N_STEPS = 3 * BINS_PER_OCTAVE + 1
"""Suctions of an octave at which a curve is taken: from 0 on the edges of its bins, then (`SECOND`)
the first thirds of all bins, then (`THIRD`) the second thirds: what a loop takes lies in a row."""

# Entries of a soil's row of parameters; from SHAPE on, those of its model in `tabulate_shapes`.
(
    SUCTION_SCALE,
    THETA_R,
    THETA_S,
    SATURATED_CONDUCTIVITY,
    TORTUOSITY,
    FILM_SHARE,
    LOG_ONSET,
    FILM_WIDTH,
    FILM_WHOLE,
    OVEN_DRY,
    FILM_EXPONENT,
    SHAPE,
) = range(12)
"""Scale of suction [cm], water contents and conductivity [cm/h] of the pores, exponent of their
saturation, and for films (`soilwater.soils.WithDryEnd`): their share of the conductivity, logarithm
of the suction [cm] at which they begin to thin, the width of that beginning and the whole of their
fall [1], the suction [cm] at which they are gone, and the logarithm of the conductivity they have
left by then."""

# Rows of the grid that every table is made on.
STEPS, LOG_STEPS, GRID_ROWS = 0, 1, 2
# Parts of the work space.
WATERS, CONDUCTIVITIES, WORK_ROWS = 0, 1, 2
# Rows of scratch in which the rows of a table are made ready, one octave at a time.
EMPTIED, IN_FILMS = 4, 5
W1, W2, W3, K1, K2, K3, WHOLE_WATER, WHOLE_CONDUCTIVITY, SCRATCH_ROWS = range(9)


def make_grid() -> NDArray[np.float64]:
    """Steps of an octave and their logarithms, shape ``(GRID_ROWS, N_STEPS)``."""
    edges = np.arange(BINS_PER_OCTAVE + 1) / BINS_PER_OCTAVE + 1.0
    thirds = edges[:-1] + np.array([[1.0], [2.0]]) / 3.0 / BINS_PER_OCTAVE
    steps = np.concatenate([edges, thirds.ravel()])
    return np.stack([steps, np.log(steps)])


def make_work() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Work space for one thread: curves, scratch and the octaves, as `tabulate` takes them."""
    octaves = LN_2 * np.arange(FIRST_OCTAVE, LAST_OCTAVE, dtype=np.float64)
    return np.empty((WORK_ROWS, N_OCTAVES, N_STEPS)), np.empty((SCRATCH_ROWS, N_STEPS)), octaves


@inlined_kernel
def _mualem(saturation, pores, tortuosity):
    """Share of the saturated conductivity: S^l R^2."""
    if tortuosity == 0.5:
        return math.sqrt(saturation) * pores * pores
    return exponential(tortuosity * logarithm(saturation)) * pores * pores


@kernel
def _pores_only(row, saturation, pores):
    """Water above the dry end and conductivity, in place of saturation and pore integral."""
    water_range = row[THETA_S] - row[THETA_R]
    k_sat, tortuosity = row[SATURATED_CONDUCTIVITY], row[TORTUOSITY]
    for o in range(N_OCTAVES):
        for j in range(N_STEPS):
            pores[o, j] = k_sat * _mualem(saturation[o, j], pores[o, j], tortuosity)
            saturation[o, j] = water_range * saturation[o, j]


@kernel
def _films_of_octave(log_steps, power, fall, start, scratch):
    """How far films are emptied and what they pass: ln(1 + t) and (1 + t)^-fall."""
    octave, inverse_octave, fallen = (
        exponential(start),
        exponential(-start),
        exponential(-fall * start),
    )
    if octave * exponential(power * LN_2) < SMALL:
        for j in range(log_steps.size):
            t = scratch[RAISED, j] * octave
            scratch[EMPTIED, j] = log_one_plus_by_series(t)
            scratch[IN_FILMS, j] = 1.0 - short_of_one_by_series(fall, t)
    elif inverse_octave < SMALL:
        for j in range(log_steps.size):
            inverse = scratch[LOWERED, j] * inverse_octave
            scratch[EMPTIED, j] = log_one_plus_by_series(inverse) + (start + power * log_steps[j])
            unfallen = 1.0 - short_of_one_by_series(fall, inverse)
            scratch[IN_FILMS, j] = unfallen * (fallen * scratch[LOWERED_AGAIN, j])
    else:
        for j in range(log_steps.size):
            t = scratch[RAISED, j] * octave
            thin = t > 1.0
            beyond = log_one_plus(scratch[LOWERED, j] * inverse_octave if thin else t)
            scratch[EMPTIED, j] = beyond + (start + power * log_steps[j] if thin else 0.0)
            unfallen = exponential(-fall * beyond)
            scratch[IN_FILMS, j] = unfallen * (fallen * scratch[LOWERED_AGAIN, j] if thin else 1.0)


@kernel
def _pores_and_films(row, log_octaves, log_steps, scratch, dry, saturation, pores):
    """The same with films; `dry` holds saturation and pore integral at the oven-dry suction."""
    theta_s, theta_r = row[THETA_S], row[THETA_R]
    k_sat, tortuosity, film_share = row[SATURATED_CONDUCTIVITY], row[TORTUOSITY], row[FILM_SHARE]
    shift = math.log(row[SUCTION_SCALE]) - row[LOG_ONSET]
    power, whole, exponent = 1.0 / row[FILM_WIDTH], row[FILM_WHOLE], row[FILM_EXPONENT]
    dry_saturation, dry_pores = dry[0, 0, 0], dry[1, 0, 0]
    per_saturation, per_pores = 1.0 / (1.0 - dry_saturation), 1.0 / (1.0 - dry_pores)
    water_range, pore_share = theta_s - theta_r, 1.0 - film_share
    fall = -exponent / whole
    powers_of_steps(log_steps, power, scratch[RAISED], scratch[LOWERED])
    powers_of_steps(log_steps, power * fall, scratch[RAISED_AGAIN], scratch[LOWERED_AGAIN])
    for o in range(log_octaves.size):
        start = power * (log_octaves[o] + shift)
        _films_of_octave(log_steps, power, fall, start, scratch)
        for j in range(log_steps.size):
            emptied, in_films = scratch[EMPTIED, j] / whole, scratch[IN_FILMS, j]
            above = (saturation[o, j] - dry_saturation) * per_saturation
            passing = (pores[o, j] - dry_pores) * per_pores
            above = above if above > TRACE else TRACE
            passing = passing if passing > TRACE else TRACE
            in_pores = _mualem(above, passing, tortuosity)
            conductivity = k_sat * (pore_share * in_pores + film_share * in_films)
            pores[o, j] = conductivity if conductivity < k_sat else k_sat
            water = water_range * above + theta_r * (1.0 - emptied)
            saturation[o, j] = water if water < theta_s else theta_s


@kernel
def _octaves_with_water(row):
    """Count the octaves that begin before the oven-dry suction; the others need no curves."""
    count = 0
    while count < N_OCTAVES and row[SUCTION_SCALE] * 2.0 ** (FIRST_OCTAVE + count) < row[OVEN_DRY]:
        count += 1
    return count


@kernel
def _oven_dry(row, steps, water, conductivity):
    """No water at the oven-dry suction and beyond, and films that soon pass next to none."""
    exponent, oven_dry = row[FILM_EXPONENT], row[OVEN_DRY]
    passed = row[SATURATED_CONDUCTIVITY] * row[FILM_SHARE] * exponential(exponent)
    for o in range(N_OCTAVES):
        octave = row[SUCTION_SCALE] * 2.0 ** (FIRST_OCTAVE + o)
        if octave * 2.0 < oven_dry:
            continue
        for j in range(N_STEPS):
            if octave * steps[j] >= oven_dry:
                relative = oven_dry / (octave * steps[j])
                eighth = ((relative**2) ** 2) ** 2
                water[o, j], conductivity[o, j] = 0.0, passed * (eighth**2) ** 2 * eighth


@kernel
def _without_leap(steps, scale, k_sat, conductivity):
    """As `curves._without_leap`, in place."""
    if conductivity[0, 0] >= MOST_FALL * k_sat:
        return
    last, end = -1, 0
    for b in range(N_OCTAVES * BINS_PER_OCTAVE):
        o = b // BINS_PER_OCTAVE
        suction = scale * 2.0 ** (FIRST_OCTAVE + o) * steps[b - o * BINS_PER_OCTAVE]
        if suction > LEAST_PORE_SUCTION:
            break
        last, end = b, suction
    if last < 0:
        return
    o = last // BINS_PER_OCTAVE
    slope = (conductivity[o, last - o * BINS_PER_OCTAVE] - k_sat) / end
    for o in range(last // BINS_PER_OCTAVE + 1):
        octave = scale * 2.0 ** (FIRST_OCTAVE + o)
        for j in range(N_STEPS):
            if octave * steps[j] < end:
                conductivity[o, j] = k_sat + slope * (octave * steps[j])


@kernel
def _with_specific_storage(steps, scale, full, water):
    """As `curves._with_specific_storage`, in place."""
    for o in range(N_OCTAVES):
        octave = scale * 2.0 ** (FIRST_OCTAVE + o)
        for b in range(BINS_PER_OCTAVE):
            for j in (b, SECOND + b, THIRD + b):
                elastic = full - SPECIFIC_STORAGE * (octave * steps[j])
                if water[o, j] < elastic:
                    return
                water[o, j] = elastic


@inlined_kernel
def _cubic(f0, f1, f2, f3):
    """Coefficients of the cubic through the ends and thirds of a bin of width 1."""
    c1 = (-11.0 * f0 + 18.0 * f1 - 9.0 * f2 + 2.0 * f3) * 0.5
    c2 = (18.0 * f0 - 45.0 * f1 + 36.0 * f2 - 9.0 * f3) * 0.5
    c3 = (-9.0 * f0 + 27.0 * f1 - 27.0 * f2 + 9.0 * f3) * 0.5
    return c1, c2, c3


@kernel
def _octave_of_cubics(water, conductivity, width, whole_width, scratch):
    """Coefficients of an octave's bins, and the integrals over each."""
    per_width = 1.0 / width
    per_square, per_cube = per_width**2, per_width**3
    for b in range(BINS_PER_OCTAVE):
        f0, f3 = water[b], water[b + 1]
        c1, c2, c3 = _cubic(f0, water[SECOND + b], water[THIRD + b], f3)
        # Where it falls least steeply; a cubic that is none puts it at an end.
        least = -c2 / (3.0 * c3)
        least = least if least > 0.0 else 0.0
        least = least if least < 1.0 else 1.0
        slope = max(c1, c1 + (2.0 * c2 + 3.0 * c3))
        slope = max(slope, c1 + least * (2.0 * c2 + 3.0 * c3 * least))
        # Water that would rise, beside a kink within its bin, is straight there.
        rises = slope > 0.0
        c1 = f3 - f0 if rises else c1
        c2 = 0.0 if rises else c2
        c3 = 0.0 if rises else c3
        scratch[W1, b] = c1 * per_width
        scratch[W2, b] = c2 * per_square
        scratch[W3, b] = c3 * per_cube
        scratch[WHOLE_WATER, b] = whole_width * (f0 + (c1 / 2.0 + (c2 / 3.0 + c3 / 4.0)))
    for b in range(BINS_PER_OCTAVE):
        f0 = conductivity[b]
        f1, f2, f3 = conductivity[SECOND + b], conductivity[THIRD + b], conductivity[b + 1]
        c1, c2, c3 = _cubic(f0, f1, f2, f3)
        scratch[K1, b] = c1 * per_width
        scratch[K2, b] = c2 * per_square
        scratch[K3, b] = c3 * per_cube
        scratch[WHOLE_CONDUCTIVITY, b] = whole_width * (f0 + (c1 / 2.0 + (c2 / 3.0 + c3 / 4.0)))


@kernel
def _enter_cubics(scale, full, k_sat, water, conductivity, scratch, table):
    """Rows of the table, from the dry end up: the small numbers are summed first."""
    potential, integral = 0.0, 0.0
    for o in range(N_OCTAVES - 1, -1, -1):
        if o < N_OCTAVES - 1:
            # Octaves meet: what was done to the beginning of one is done to the end of the other.
            water[o, BINS_PER_OCTAVE] = water[o + 1, 0]
            conductivity[o, BINS_PER_OCTAVE] = conductivity[o + 1, 0]
        width = 2.0 ** (FIRST_OCTAVE + o) / BINS_PER_OCTAVE
        _octave_of_cubics(water[o], conductivity[o], width, scale * width, scratch)
        for b in range(BINS_PER_OCTAVE - 1, -1, -1):
            potential += scratch[WHOLE_CONDUCTIVITY, b]
            integral += scratch[WHOLE_WATER, b]
            scratch[WHOLE_CONDUCTIVITY, b], scratch[WHOLE_WATER, b] = potential, integral
        rows = table[1 + o * BINS_PER_OCTAVE : 1 + (o + 1) * BINS_PER_OCTAVE]
        for b in range(BINS_PER_OCTAVE):
            rows[b, WATER], rows[b, WATER + 1] = water[o, b], scratch[W1, b]
            rows[b, WATER + 2], rows[b, WATER + 3] = scratch[W2, b], scratch[W3, b]
            rows[b, CONDUCTIVITY], rows[b, CONDUCTIVITY + 1] = conductivity[o, b], scratch[K1, b]
            rows[b, CONDUCTIVITY + 2], rows[b, CONDUCTIVITY + 3] = scratch[K2, b], scratch[K3, b]
            rows[b, POTENTIAL] = scratch[WHOLE_CONDUCTIVITY, b]
            rows[b, WATER_INTEGRAL] = scratch[WHOLE_WATER, b]
    # The first bin is straight: some curves have no slope at saturation, or an infinite one.
    width = SCALED_SUCTION_MIN
    row = table[0]
    row[:] = 0.0
    row[WATER], row[WATER + 1] = full, (water[0, 0] - full) / width
    row[CONDUCTIVITY], row[CONDUCTIVITY + 1] = k_sat, (conductivity[0, 0] - k_sat) / width
    row[POTENTIAL] = potential + scale * width * 0.5 * (k_sat + conductivity[0, 0])
    row[WATER_INTEGRAL] = integral + scale * width * 0.5 * (full + water[0, 0])


@kernel
def _finish_pores(row, steps, work, scratch, table, scalars):
    """Table and scalars of a soil without films, from the curves of its pores."""
    _pores_only(row, work[WATERS], work[CONDUCTIVITIES])
    full, theta_dry = row[THETA_S] - row[THETA_R], row[THETA_R]
    _finish(row, full, theta_dry, steps, work, scratch, table, scalars)


@kernel
def _finish_films(row, moist, grid, dry, work, scratch, table, scalars):
    """Table and scalars of a soil with films, from the octaves that begin before it is oven-dry.

    `dry` holds its curves at that suction.
    """
    water, conductivity = work[WATERS], work[CONDUCTIVITIES]
    _pores_and_films(row, moist, grid[LOG_STEPS], scratch, dry, water, conductivity)
    _oven_dry(row, grid[STEPS], water, conductivity)
    _finish(row, row[THETA_S], 0.0, grid[STEPS], work, scratch, table, scalars)


@kernel
def _finish(row, full, theta_dry, steps, work, scratch, table, scalars):
    """Table and scalars from water above the dry end and conductivity."""
    scale, k_sat = row[SUCTION_SCALE], row[SATURATED_CONDUCTIVITY]
    water, conductivity = work[WATERS], work[CONDUCTIVITIES]
    _with_specific_storage(steps, scale, full, water)
    _without_leap(steps, scale, k_sat, conductivity)
    _enter_cubics(scale, full, k_sat, water, conductivity, scratch, table)
    scalars[INVERSE_SCALE], scalars[SCALE] = 1.0 / scale, scale
    scalars[WATER_AT_SATURATION], scalars[K_SAT] = full, k_sat
    scalars[POTENTIAL_AT_SATURATION] = table[0, POTENTIAL]
    scalars[DRY_END_WATER_CONTENT] = theta_dry


# One entry point for each family of models, without and with films: a run compiles only what its
# soils need. They mention their shape by name, because numba's cache knows compiled code by what
# its closure holds, and a kernel in there would be another in each process.
#
# rows : ndarray, shape (n, SHAPE + parameters of the model)
#     Parameters of the soils, as named above.
# places : ndarray of int, shape (n,)
#     Where in `tables` and `scalars` each belongs.
# grid : ndarray, shape (GRID_ROWS, N_STEPS)
#     From `make_grid`.
# tables : ndarray, shape (>= n, N_BINS, ROW_LENGTH)
#     As `curves.tabulate` makes one; written.
# scalars : ndarray, shape (>= n, SCALARS)
#     As `curves.tabulate` makes them; written.
# work, scratch, log_octaves : ndarray
#     From `make_work`; the first two are overwritten.


def _make_pore_systems(digest):
    def tabulate_pore_systems(rows, places, grid, tables, scalars, work, scratch, log_octaves):
        steps, log_steps = grid[STEPS], grid[LOG_STEPS]
        for k in range(rows.shape[0]):
            row, place = rows[k], places[k]
            pore_systems(
                log_octaves, log_steps, row[SHAPE:], scratch, work[WATERS], work[CONDUCTIVITIES]
            )
            _finish_pores(row, steps, work, scratch, tables[place], scalars[place])
        return digest

    return tabulate_pore_systems


def _make_pore_systems_with_films(digest):
    def tabulate_pore_systems_with_films(
        rows, places, grid, tables, scalars, work, scratch, log_octaves
    ):
        log_steps = grid[LOG_STEPS]
        # Room of the scratch that is not in use as yet.
        at_dry, dry = scratch[EMPTIED, :1], scratch[IN_FILMS, :2].reshape((2, 1, 1))
        for k in range(rows.shape[0]):
            row, place = rows[k], places[k]
            at_dry[0] = math.log(row[OVEN_DRY] / row[SUCTION_SCALE])
            pore_systems(at_dry, log_steps[:1], row[SHAPE:], scratch, dry[0], dry[1])
            moist = log_octaves[: _octaves_with_water(row)]
            water, conductivity = work[WATERS][: moist.size], work[CONDUCTIVITIES][: moist.size]
            pore_systems(moist, log_steps, row[SHAPE:], scratch, water, conductivity)
            _finish_films(row, moist, grid, dry, work, scratch, tables[place], scalars[place])
        return digest

    return tabulate_pore_systems_with_films


def _make_power_of_suction(digest):
    def tabulate_power_of_suction(rows, places, grid, tables, scalars, work, scratch, log_octaves):
        steps, log_steps = grid[STEPS], grid[LOG_STEPS]
        for k in range(rows.shape[0]):
            row, place = rows[k], places[k]
            power_of_suction(
                log_octaves, log_steps, row[SHAPE:], scratch, work[WATERS], work[CONDUCTIVITIES]
            )
            _finish_pores(row, steps, work, scratch, tables[place], scalars[place])
        return digest

    return tabulate_power_of_suction


def _make_power_of_suction_with_films(digest):
    def tabulate_power_of_suction_with_films(
        rows, places, grid, tables, scalars, work, scratch, log_octaves
    ):
        log_steps = grid[LOG_STEPS]
        # Room of the scratch that is not in use as yet.
        at_dry, dry = scratch[EMPTIED, :1], scratch[IN_FILMS, :2].reshape((2, 1, 1))
        for k in range(rows.shape[0]):
            row, place = rows[k], places[k]
            at_dry[0] = math.log(row[OVEN_DRY] / row[SUCTION_SCALE])
            power_of_suction(at_dry, log_steps[:1], row[SHAPE:], scratch, dry[0], dry[1])
            moist = log_octaves[: _octaves_with_water(row)]
            water, conductivity = work[WATERS][: moist.size], work[CONDUCTIVITIES][: moist.size]
            power_of_suction(moist, log_steps, row[SHAPE:], scratch, water, conductivity)
            _finish_films(row, moist, grid, dry, work, scratch, tables[place], scalars[place])
        return digest

    return tabulate_power_of_suction_with_films


def _make_lognormal_pores(digest):
    def tabulate_lognormal_pores(rows, places, grid, tables, scalars, work, scratch, log_octaves):
        steps, log_steps = grid[STEPS], grid[LOG_STEPS]
        for k in range(rows.shape[0]):
            row, place = rows[k], places[k]
            lognormal_pores(
                log_octaves, log_steps, row[SHAPE:], scratch, work[WATERS], work[CONDUCTIVITIES]
            )
            _finish_pores(row, steps, work, scratch, tables[place], scalars[place])
        return digest

    return tabulate_lognormal_pores


def _make_lognormal_pores_with_films(digest):
    def tabulate_lognormal_pores_with_films(
        rows, places, grid, tables, scalars, work, scratch, log_octaves
    ):
        log_steps = grid[LOG_STEPS]
        # Room of the scratch that is not in use as yet.
        at_dry, dry = scratch[EMPTIED, :1], scratch[IN_FILMS, :2].reshape((2, 1, 1))
        for k in range(rows.shape[0]):
            row, place = rows[k], places[k]
            at_dry[0] = math.log(row[OVEN_DRY] / row[SUCTION_SCALE])
            lognormal_pores(at_dry, log_steps[:1], row[SHAPE:], scratch, dry[0], dry[1])
            moist = log_octaves[: _octaves_with_water(row)]
            water, conductivity = work[WATERS][: moist.size], work[CONDUCTIVITIES][: moist.size]
            lognormal_pores(moist, log_steps, row[SHAPE:], scratch, water, conductivity)
            _finish_films(row, moist, grid, dry, work, scratch, tables[place], scalars[place])
        return digest

    return tabulate_lognormal_pores_with_films


tabulate_pore_systems = compile_entry_point(_make_pore_systems)
tabulate_pore_systems_with_films = compile_entry_point(_make_pore_systems_with_films)
tabulate_power_of_suction = compile_entry_point(_make_power_of_suction)
tabulate_power_of_suction_with_films = compile_entry_point(_make_power_of_suction_with_films)
tabulate_lognormal_pores = compile_entry_point(_make_lognormal_pores)
tabulate_lognormal_pores_with_films = compile_entry_point(_make_lognormal_pores_with_films)
