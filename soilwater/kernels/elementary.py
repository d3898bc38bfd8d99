"""Bits, exponential and power without a branch or a call, so that loops over nodes vectorise."""

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from soilwater.kernels.cache import inlined_kernel

BLOCK = 8
"""Numbers worked on at once: a whole number of vectors of today's processors."""


@intrinsic
def bits_of(_typing, _number):  # type: ignore[no-untyped-def]
    """Bits of a float64 as int64."""

    def codegen(_context, builder, _signature, arguments):  # type: ignore[no-untyped-def]
        return builder.bitcast(arguments[0], ir.IntType(64))

    return types.int64(types.float64), codegen


@intrinsic
def number_of(_typing, _bits):  # type: ignore[no-untyped-def]
    """Float64 with the bits of an int64."""

    def codegen(_context, builder, _signature, arguments):  # type: ignore[no-untyped-def]
        return builder.bitcast(arguments[0], ir.DoubleType())

    return types.float64(types.int64), codegen


@intrinsic
def room_for_block(_typing):  # type: ignore[no-untyped-def]
    """Room for BLOCK numbers on the stack: nothing but the function itself can see it."""

    def codegen(_context, builder, _signature, _arguments):  # type: ignore[no-untyped-def]
        return cgutils.alloca_once(builder, ir.DoubleType(), size=BLOCK)

    return types.CPointer(types.float64)(), codegen


@intrinsic
def put(_typing, room, place, _number):  # type: ignore[no-untyped-def]
    """Put a number into room on the stack."""

    def codegen(_context, builder, _signature, arguments):  # type: ignore[no-untyped-def]
        builder.store(arguments[2], builder.gep(arguments[0], [arguments[1]], inbounds=True))

    return types.void(room, types.intp, types.float64), codegen


@intrinsic
def take(_typing, room, place):  # type: ignore[no-untyped-def]
    """Number in room on the stack."""

    def codegen(_context, builder, _signature, arguments):  # type: ignore[no-untyped-def]
        return builder.load(builder.gep(arguments[0], [arguments[1]], inbounds=True))

    return types.float64(room, types.intp), codegen


@inlined_kernel
def stretches(n):
    """Count of `stretch`es that cover `n` numbers."""
    return 1 if n < BLOCK or n % BLOCK == 0 else 2


@inlined_kernel
def stretch(which, n):
    """Begin and end of numbers that make whole blocks: of all there are, and of the last block.

    What is left over takes longer one by one than a block does. Both overlap: what is worked out of
    a number must not be put in its place.
    """
    whole = n - n % BLOCK if n >= BLOCK else n
    return (0, whole) if which == 0 else (n - BLOCK, n)


@inlined_kernel
def blocks_to_last_dry(h, dry_suction):
    """Count of nodes down to the last dry one, in whole blocks, or all of them."""
    dry = h.size
    while dry > 0 and -h[dry - 1] <= dry_suction[dry - 1]:
        dry -= 1
    whole = (dry + BLOCK - 1) // BLOCK * BLOCK
    return whole if whole < h.size else h.size


MANTISSA_BITS = 52
ONE = 1023 << MANTISSA_BITS
"""Bits of 1.0."""

LARGEST_EXPONENT = 700.0
"""Exponents of e are held to this size; e^710 leaves the range of numbers."""
_PER_OCTAVE = 1.4426950408889634
_OCTAVE, _REST_OF_OCTAVE = 0.6931471803691238, 1.9082149292705877e-10
"""ln 2 in two parts: whole multiples of the first are exact (Cody & Waite 1980, from memory)."""
_TO_WHOLE = 1.5 * 2.0**52
"""Added to a number, it pushes the fraction out, and the whole part to the lowest bits."""


@inlined_kernel
def exponential_parts(x):
    """e^x as 2^n (1 + r + r^2 g): returns 2^n, r and g, with abs(r) <= ln(2) / 2.

    What is left of e^x after taking 1, or 1 and r, keeps its precision.
    """
    x = LARGEST_EXPONENT if x > LARGEST_EXPONENT else x
    x = -LARGEST_EXPONENT if x < -LARGEST_EXPONENT else x
    shifted = x * _PER_OCTAVE + _TO_WHOLE
    n = shifted - _TO_WHOLE
    r = (x - n * _OCTAVE) - n * _REST_OF_OCTAVE
    power_of_two = number_of((bits_of(shifted) << MANTISSA_BITS) + ONE)
    # The series of (e^r - 1 - r) / r^2; the first term left out is below 4e-17.
    g = 1.0 / 6227020800.0
    g = g * r + 1.0 / 479001600.0
    g = g * r + 1.0 / 39916800.0
    g = g * r + 1.0 / 3628800.0
    g = g * r + 1.0 / 362880.0
    g = g * r + 1.0 / 40320.0
    g = g * r + 1.0 / 5040.0
    g = g * r + 1.0 / 720.0
    g = g * r + 1.0 / 120.0
    g = g * r + 1.0 / 24.0
    g = g * r + 1.0 / 6.0
    g = g * r + 0.5
    return power_of_two, r, g


_MANTISSA = (1 << MANTISSA_BITS) - 1
_ROOT_HALF = 0x3FE6A09E667F3BCD
"""Bits of the root of 1/2."""


@inlined_kernel
def logarithm_parts(x):
    """Power of two n and s of a positive number 2^n m: the logarithm of m is 2 artanh(s)."""
    # m goes from root 1/2 to root 2.
    from_root = bits_of(x) - _ROOT_HALF
    m = number_of((from_root & _MANTISSA) + _ROOT_HALF)
    return from_root >> MANTISSA_BITS, (m - 1.0) / (m + 1.0)


@inlined_kernel
def logarithm(x):
    """Natural logarithm of a positive number; of NaN too it makes a number, unlike the flows."""
    n, s = logarithm_parts(x)
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
    return n * _OCTAVE + (2.0 * s + (s * ss * series + n * _REST_OF_OCTAVE))


@inlined_kernel
def power(x, exponent):
    """A positive number to a power, held between e^-700 and e^700."""
    power_of_two, r, g = exponential_parts(exponent * logarithm(x))
    return power_of_two * (1.0 + (r + r * r * g))


@inlined_kernel
def near_logarithm(x):
    """Natural logarithm of a positive number for what is guessed: a share of about 1e-9 off."""
    n, s = logarithm_parts(x)
    ss = s * s
    series = 2.0 / 9.0
    series = series * ss + 2.0 / 7.0
    series = series * ss + 2.0 / 5.0
    series = series * ss + 2.0 / 3.0
    return n * (_OCTAVE + _REST_OF_OCTAVE) + (2.0 * s + s * ss * series)


@inlined_kernel
def near_power(x, exponent):
    """A power for heads that are guessed: a share of about 1e-9 off, times its own logarithm."""
    x = exponent * near_logarithm(x)
    x = LARGEST_EXPONENT if x > LARGEST_EXPONENT else x
    x = -LARGEST_EXPONENT if x < -LARGEST_EXPONENT else x
    shifted = x * _PER_OCTAVE + _TO_WHOLE
    r = x - (shifted - _TO_WHOLE) * _OCTAVE
    g = 1.0 / 40320.0
    g = g * r + 1.0 / 5040.0
    g = g * r + 1.0 / 720.0
    g = g * r + 1.0 / 120.0
    g = g * r + 1.0 / 24.0
    g = g * r + 1.0 / 6.0
    g = g * r + 0.5
    return number_of((bits_of(shifted) << MANTISSA_BITS) + ONE) * (1.0 + (r + r * r * g))
