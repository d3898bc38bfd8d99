"""Saturation and pore integral of each soil model over a whole table, in loops that vectorise.

The closed forms are those of `soilwater.soils`, which stay the public truth and are tested against
these. Here they are written without a branch or a call of the library of mathematics, so that
several suctions are worked on at once. A suction is that of an octave times a step within it, and a
power of it is the product of two powers, of which only a few hundred have to be worked out. What
would be smaller than `TRACE` is `TRACE`: a soil that holds or passes so little holds and passes
nothing, and products of such numbers would leave the range of numbers.
"""

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.elementary import exponential_parts

# Entries of the row of numbers of a model, or of one of its pore systems.
SHARE, SHIFT, STEEPNESS, PORE_WEIGHT, SYSTEM_LENGTH = range(5)
"""A system of van Genuchten: share of the pore space, logarithm of alpha times the scale of
suction, n, and the weight of its pore integral."""
POWER = 0
"""Brooks and Corey, whose entry suction is the scale: pore size index."""
MEDIAN_SHIFT, SPREAD = 0, 1
"""Kosugi: logarithm of the scale over the median suction, and spread."""

LN_2 = 0.6931471805599453
LARGEST_LOGARITHM = 180.0
TRACE = 6.713184016908434e-79
"""e^-180."""

SMALL = 2.0**-9
"""Below this a power of 1 + x needs no more than six terms of its series."""

# Rows of scratch: a power of each step and its inverse, twice.
RAISED, LOWERED, RAISED_AGAIN, LOWERED_AGAIN, SCRATCH_ROWS = range(5)


@inlined_kernel
def exponential(x):
    """e^x, held between `TRACE` and its inverse."""
    x = LARGEST_LOGARITHM if x > LARGEST_LOGARITHM else x
    x = -LARGEST_LOGARITHM if x < -LARGEST_LOGARITHM else x
    power_of_two, r, g = exponential_parts(x)
    return power_of_two * (1.0 + (r + r * r * g))


@inlined_kernel
def short_of_one(x):
    """1 - e^x for an x from -0.7 to 0, precise where it is small."""
    y = 0.5 * x
    # The series of (e^y - 1 - y) / y^2; the first term left out is below 4e-17.
    g = 1.0 / 6227020800.0
    g = g * y + 1.0 / 479001600.0
    g = g * y + 1.0 / 39916800.0
    g = g * y + 1.0 / 3628800.0
    g = g * y + 1.0 / 362880.0
    g = g * y + 1.0 / 40320.0
    g = g * y + 1.0 / 5040.0
    g = g * y + 1.0 / 720.0
    g = g * y + 1.0 / 120.0
    g = g * y + 1.0 / 24.0
    g = g * y + 1.0 / 6.0
    g = g * y + 0.5
    less = y + y * y * g
    return -less * (2.0 + less)


@inlined_kernel
def log_one_plus(x):
    """ln(1 + x) for an x from 0 to 1, precise where it is small."""
    # ln(m) = 2 artanh((m - 1) / (m + 1)) with m = 1 + x, or half of it: m from 0.71 to 1.41.
    high = x > 0.4142135623730951
    s = (x - 1.0 if high else x) / (x + (3.0 if high else 2.0))
    ss = s * s
    # The first term left out is below 1e-17.
    series = 2.0 / 21.0
    series = series * ss + 2.0 / 19.0
    series = series * ss + 2.0 / 17.0
    series = series * ss + 2.0 / 15.0
    series = series * ss + 2.0 / 13.0
    series = series * ss + 2.0 / 11.0
    series = series * ss + 2.0 / 9.0
    series = series * ss + 2.0 / 7.0
    series = series * ss + 2.0 / 5.0
    series = series * ss + 2.0 / 3.0
    return (LN_2 if high else 0.0) + (2.0 * s + s * ss * series)


@inlined_kernel
def short_of_one_by_series(m, x):
    """1 - (1 + x)^-m for an x from 0 to `SMALL`."""
    # The binomial series; the first term left out is below 1e-17 of the first.
    series = (m + 5.0) * (1.0 / 6.0) * x
    series = (m + 4.0) * (1.0 / 5.0) * x * (1.0 - series)
    series = (m + 3.0) * (1.0 / 4.0) * x * (1.0 - series)
    series = (m + 2.0) * (1.0 / 3.0) * x * (1.0 - series)
    series = (m + 1.0) * (1.0 / 2.0) * x * (1.0 - series)
    return m * x * (1.0 - series)


@inlined_kernel
def log_one_plus_by_series(x):
    """ln(1 + x) for an x from 0 to `SMALL`."""
    series = 5.0 / 6.0 * x
    series = 4.0 / 5.0 * x * (1.0 - series)
    series = 3.0 / 4.0 * x * (1.0 - series)
    series = 2.0 / 3.0 * x * (1.0 - series)
    series = 1.0 / 2.0 * x * (1.0 - series)
    return x * (1.0 - series)


@kernel
def powers_of_steps(log_steps, exponent, raised, lowered):
    """Every step to a power, and to the opposite one."""
    for j in range(log_steps.size):
        raised[j] = exponential(exponent * log_steps[j])
        lowered[j] = 1.0 / raised[j]


@inlined_kernel
def upper_tail(deviation, fall):
    """Share of a standard normal distribution above a deviation u; `fall` is e^(-u^2 / 2)."""
    x = abs(deviation) * 0.7071067811865476
    # (1 + 2 x) e^(x^2) erfc(x) as its Chebyshev series in y, 25 terms, written in powers of y; its
    # coefficients were worked out to 40 digits, and it is exact to 1e-15. The variable is that of
    # Schonfelder (1978), Mathematics of Computation 32:1232 (from memory).
    near, far = 1.0 + 2.0 * x, x + 3.0
    inverse = 1.0 / (near * far)
    y = (x - 3.0) * near * inverse
    series = 8.393734858690877e-10
    series = series * y + 9.862533510345587e-10
    series = series * y - 8.217595058711455e-09
    series = series * y - 1.3312919661038687e-08
    series = series * y + 4.1064013667940355e-08
    series = series * y + 1.0183620603842736e-07
    series = series * y - 1.4047654315428462e-07
    series = series * y - 6.166011460398726e-07
    series = series * y + 3.5576086684080595e-07
    series = series * y + 3.472370944977168e-06
    series = series * y - 7.308281468783614e-07
    series = series * y - 2.0100542268525612e-05
    series = series * y + 4.949196649968345e-06
    series = series * y + 1.250993424583729e-04
    series = series * y - 1.0515971958448065e-04
    series = series * y - 7.798322696543306e-04
    series = series * y + 1.8886903449991718e-03
    series = series * y + 2.5293918156939696e-03
    series = series * y - 2.377051491717134e-02
    series = series * y + 6.83080273440099e-02
    series = series * y - 1.1927366341538638e-01
    series = series * y + 1.296451587027594e-01
    series = series * y - 4.75622943534492e-02
    series = series * y - 1.3562110612458117e-01
    series = series * y + 1.2530080582697296
    tail = 0.5 * fall * series * far * inverse
    return 1.0 - tail if deviation < 0.0 else tail


@kernel
def pore_systems(log_octaves, log_steps, row, scratch, saturation, pores):
    """One or several systems of van Genuchten: each S = (1 + t)^-m, R = 1 - (t / (1 + t))^m.

    Parameters
    ----------
    log_octaves : ndarray, shape (n,)
        Logarithms of the scaled suctions at which octaves begin.
    log_steps : ndarray, shape (k,)
        Logarithms of the steps, which multiply these.
    row : ndarray, shape (systems * SYSTEM_LENGTH,)
        Numbers of the systems, one after the other.
    scratch : ndarray, shape (SCRATCH_ROWS, >= k)
        Overwritten.
    saturation, pores : ndarray, shape (n, k)
        Saturation and pore integral, both 1 at saturation; written.
    """
    saturation[:] = 0.0
    pores[:] = 0.0
    for start in range(0, row.size, SYSTEM_LENGTH):
        share, shift, n = row[start + SHARE], row[start + SHIFT], row[start + STEEPNESS]
        weight = row[start + PORE_WEIGHT]
        m = (n - 1.0) / n
        powers_of_steps(log_steps, n, scratch[RAISED], scratch[LOWERED])
        powers_of_steps(log_steps, n - 1.0, scratch[RAISED_AGAIN], scratch[LOWERED_AGAIN])
        widest = exponential(n * LN_2)
        for o in range(log_octaves.size):
            log_t = n * (log_octaves[o] + shift)
            t_octave, inverse_octave = exponential(log_t), exponential(-log_t)
            power_octave, inverse_power_octave = exponential(m * log_t), exponential(-m * log_t)
            if t_octave * widest < SMALL:
                for j in range(log_steps.size):
                    small = max(scratch[RAISED, j] * t_octave, TRACE)
                    small_power = max(scratch[RAISED_AGAIN, j] * power_octave, TRACE)
                    short = short_of_one_by_series(m, small)
                    saturation[o, j] += share * (1.0 - short)
                    pores[o, j] += weight * (1.0 - (1.0 - short) * small_power)
                continue
            if inverse_octave < SMALL:
                for j in range(log_steps.size):
                    small = max(scratch[LOWERED, j] * inverse_octave, TRACE)
                    small_power = max(scratch[LOWERED_AGAIN, j] * inverse_power_octave, TRACE)
                    short = short_of_one_by_series(m, small)
                    saturation[o, j] += share * ((1.0 - short) * small_power)
                    pores[o, j] += weight * short
                continue
            for j in range(log_steps.size):
                t = scratch[RAISED, j] * t_octave
                dry = t > 1.0
                # The one of t and 1/t, and of t^m and t^-m, that is not above 1.
                small = scratch[LOWERED, j] * inverse_octave if dry else t
                wet_power = scratch[RAISED_AGAIN, j] * power_octave
                dry_power = scratch[LOWERED_AGAIN, j] * inverse_power_octave
                small_power = dry_power if dry else wet_power
                small = small if small > TRACE else TRACE
                small_power = small_power if small_power > TRACE else TRACE
                short = short_of_one(-m * log_one_plus(small))
                both = (1.0 - short) * small_power
                saturation[o, j] += share * (both if dry else 1.0 - short)
                pores[o, j] += weight * (short if dry else 1.0 - both)
    for o in range(log_octaves.size):
        for j in range(log_steps.size):
            saturation[o, j] = min(saturation[o, j], 1.0)
            pores[o, j] = min(pores[o, j], 1.0)


@kernel
def power_of_suction(log_octaves, log_steps, row, scratch, saturation, pores):
    """Brooks and Corey: full up to scaled suction 1, a power beyond; arguments as above."""
    index = row[POWER]
    powers_of_steps(log_steps, index, scratch[RAISED], scratch[LOWERED])
    powers_of_steps(log_steps, index + 1.0, scratch[RAISED_AGAIN], scratch[LOWERED_AGAIN])
    for o in range(log_octaves.size):
        if log_octaves[o] < 0.0:
            saturation[o] = 1.0
            pores[o] = 1.0
            continue
        held = exponential(-index * log_octaves[o])
        passing = exponential(-(index + 1.0) * log_octaves[o])
        for j in range(log_steps.size):
            saturation[o, j] = max(held * scratch[LOWERED, j], TRACE)
            pores[o, j] = max(passing * scratch[LOWERED_AGAIN, j], TRACE)


_FAR_BELOW, _FAR_ABOVE = 8.5, 19.0
"""Deviations below and above which the tail is 1 to round-off, and less than `TRACE`."""


@kernel
def lognormal_pores(log_octaves, log_steps, row, scratch, saturation, pores):
    """Kosugi: tails of the normal distribution of the logarithm of suction; arguments as above."""
    shift, spread = row[MEDIAN_SHIFT], row[SPREAD]
    per_spread = 1.0 / spread
    powers_of_steps(log_steps, 1.0, scratch[RAISED], scratch[LOWERED])
    for o in range(log_octaves.size):
        first = (log_octaves[o] + shift) * per_spread
        if first + LN_2 * per_spread + spread < -_FAR_BELOW or first > _FAR_ABOVE:
            saturation[o] = 1.0 if first < 0.0 else TRACE
            pores[o] = 1.0 if first < 0.0 else TRACE
            continue
        # e^(-(u + spread)^2 / 2) is e^(-u^2 / 2) over suction, but for a factor.
        factor = exponential(-(log_octaves[o] + shift) - 0.5 * spread * spread)
        for j in range(log_steps.size):
            deviation = ((log_octaves[o] + log_steps[j]) + shift) * per_spread
            fall = exponential(-0.5 * deviation * deviation)
            next_fall = fall * (factor * scratch[LOWERED, j])
            held = upper_tail(deviation, fall)
            passing = upper_tail(deviation + spread, next_fall)
            saturation[o, j] = held if held > TRACE else TRACE
            pores[o, j] = passing if passing > TRACE else TRACE
