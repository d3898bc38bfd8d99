"""One column out of many that are laid end to end."""

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
