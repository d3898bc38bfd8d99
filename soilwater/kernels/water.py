"""Water that nodes, intervals and ranges of depth hold."""

from soilwater.kernels.cache import kernel
from soilwater.kernels.curves import (
    DRY_END_WATER_CONTENT,
    hydraulics,
    mean_water,
    soil_hydraulics,
)
from soilwater.kernels.rows import (
    BOTTOM_CAPACITY,
    BOTTOM_WATER,
    CAPACITY,
    STORAGE,
    TOP_CAPACITY,
    TOP_WATER,
)

FRONT_FROM = 2.0
"""Gradient of head [1] from which a cell counts more and more as a front, from twice it on wholly:
our own choice, above the gradient of 1 at rest."""
LEAST_CAPACITY = 1.0e-200
"""Capacity [1/cm] below which a soil has no water left to give; keeps the Jacobian regular."""


@kernel
def store(z, work):
    """Water around each node, half an interval to either side, and its derivative by head."""
    storage, capacity = work[STORAGE], work[CAPACITY]
    last = z.size - 1
    water_top, capacity_top = work[TOP_WATER], work[TOP_CAPACITY]
    water_bottom, capacity_bottom = work[BOTTOM_WATER], work[BOTTOM_CAPACITY]
    first_half, last_half = 0.5 * (z[1] - z[0]), 0.5 * (z[last] - z[last - 1])
    storage[0] = first_half * water_top[0]
    capacity[0] = first_half * max(capacity_top[0], LEAST_CAPACITY)
    for i in range(1, last):
        above, below = 0.5 * (z[i] - z[i - 1]), 0.5 * (z[i + 1] - z[i])
        storage[i] = above * water_bottom[i - 1] + below * water_top[i]
        capacity_above = max(capacity_bottom[i - 1], LEAST_CAPACITY)
        capacity_below = max(capacity_top[i], LEAST_CAPACITY)
        capacity[i] = above * capacity_above + below * capacity_below
    storage[last] = last_half * water_bottom[last - 1]
    capacity[last] = last_half * max(capacity_bottom[last - 1], LEAST_CAPACITY)


@kernel
def water_around_nodes(h, z, soil, soils, water):
    """Water around each node [cm] at matric heads, without a pond."""
    tables, scalars = soils.tables, soils.scalars
    j = soil[0]
    content = soil_hydraulics(h[0], tables[j], scalars[j])[0]
    water[0] = 0.0
    for i in range(soil.size):
        if soil[i] != j:
            j = soil[i]
            content = soil_hydraulics(h[i], tables[j], scalars[j])[0]
        half = 0.5 * (z[i + 1] - z[i])
        water[i] += half * content
        content = soil_hydraulics(h[i + 1], tables[j], scalars[j])[0]
        water[i + 1] = half * content


@kernel
def interval_water_content(h, soil, soils, water_content):
    """Water content of each interval as the water balance holds it: the mean of its two ends."""
    tables, scalars = soils.tables, soils.scalars
    for i in range(soil.size):
        j = soil[i]
        top = hydraulics(h[i], tables, scalars, j)[0]
        bottom = hydraulics(h[i + 1], tables, scalars, j)[0]
        water_content[i] = 0.5 * (top + bottom) + scalars[j, DRY_END_WATER_CONTENT]


@kernel
def water_between(head_above, head_below, above, below, top, bottom, tables, scalars, j):
    """Water that the part of an interval between two depths holds [cm].

    Exact through the curve where head runs about straight from node to node, as at rest; at a
    front, where it does not, the water the balance holds there, straight between the nodes.
    """
    upper, lower = max(above, top), min(below, bottom)
    if lower <= upper:
        return 0.0
    dz = below - above
    gradient = (head_below - head_above) / dz
    head_top = head_above + gradient * (upper - above)
    head_bottom = head_above + gradient * (lower - above)
    mean = mean_water(head_top, head_bottom, tables, scalars, j)
    front = min(max((abs(gradient) - FRONT_FROM) / FRONT_FROM, 0.0), 1.0)
    if front > 0.0:
        at_top = hydraulics(head_above, tables, scalars, j)[0]
        at_bottom = hydraulics(head_below, tables, scalars, j)[0]
        middle = (0.5 * (upper + lower) - above) / dz
        mean += front * (at_top + (at_bottom - at_top) * middle - mean)
    return (lower - upper) * (mean + scalars[j, DRY_END_WATER_CONTENT])


@kernel
def mean_water_content(h, z, soil, tables, scalars, top, bottom):
    """Mean water content between two depths [1]."""
    total = 0.0
    for i in range(soil.size):
        total += water_between(
            h[i], h[i + 1], z[i], z[i + 1], top, bottom, tables, scalars, soil[i]
        )
    return total / (bottom - top)
