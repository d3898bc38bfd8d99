"""One column out of many that are laid end to end."""

from numba import types
from numba.core import cgutils
from numba.core.imputils import impl_ret_borrowed
from numba.extending import intrinsic
from numba.np.arrayobj import make_array, populate_array

from soilwater.kernels.cache import inlined_kernel
from soilwater.kernels.rows import Column, Packed, Soils, State


@inlined_kernel
def column_of(packed: Packed, c: int) -> Column:
    """What column `c` is and feels."""
    a, b = packed.node_start[c], packed.node_start[c + 1]
    return Column(
        packed.z[a:b],
        packed.soil[a : b - 1],
        packed.root[a:b],
        packed.conditions[c],
        packed.codes[c],
    )


@inlined_kernel
def state_of(packed: Packed, c: int) -> State:
    """Where column `c` stands; of a set that shares water, the first clock and counts count."""
    a, b = packed.node_start[c], packed.node_start[c + 1]
    return State(
        packed.head[a:b],
        packed.stored[a:b],
        packed.head_before[a:b],
        packed.rate[a:b],
        packed.uptake[a:b],
        packed.clock[c],
        packed.ledger[c],
        packed.counts[c],
    )


@inlined_kernel
def soils_of(packed: Packed) -> Soils:
    """Curves that all columns share."""
    return Soils(packed.tables, packed.scalars)


@intrinsic
def rows_of(_typing, numbers, _count, _length):  # type: ignore[no-untyped-def]
    """Numbers that fill them as `count` rows of a length.

    numba's own `reshape` asks whether they do, which takes a hundredth of a first run to compile.
    """

    def codegen(context, builder, signature, arguments):  # type: ignore[no-untyped-def]
        given = make_array(signature.args[0])(context, builder, arguments[0])
        made = make_array(signature.return_type)(context, builder)
        strides = [builder.mul(arguments[2], given.itemsize), given.itemsize]
        populate_array(
            made,
            data=given.data,
            shape=cgutils.pack_array(builder, arguments[1:]),
            strides=cgutils.pack_array(builder, strides),
            itemsize=given.itemsize,
            meminfo=given.meminfo,
            parent=given.parent,
        )
        return impl_ret_borrowed(context, builder, signature.return_type, made._getvalue())

    return types.Array(numbers.dtype, 2, "C")(numbers, types.intp, types.intp), codegen
