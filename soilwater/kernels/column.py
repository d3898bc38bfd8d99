"""Residual and tridiagonal Jacobian of an implicit step of one column.

Nodes lie at the surface, at every layer interface and at the base; materials fill the intervals
between nodes, so head is continuous at interfaces by construction. Depth z [cm], matric head h
[cm, negative when dry], fluxes q [cm/h] positive downward.

    d theta / dt = -dq/dz - uptake,        q = K(h) (1 - dh/dz)
"""

from soilwater.kernels.boundaries import add_base, add_surface
from soilwater.kernels.cache import kernel
from soilwater.kernels.flux import flow, hold_signs, look_up
from soilwater.kernels.rows import (
    CAPACITY,
    CAREFUL,
    DIAGONAL,
    FLUX,
    LOWER,
    OWN,
    RESIDUAL,
    STORAGE,
    STORE_AND_UPTAKE,
    UPPER,
)
from soilwater.kernels.uptake import add_uptake
from soilwater.kernels.water import store


@kernel
def balance(dt, stored, work):
    """Residual and diagonal of each node, from its storage and the flows to and from it."""
    lower, diagonal, upper = work[LOWER], work[DIAGONAL], work[UPPER]
    residual, capacity = work[RESIDUAL], work[CAPACITY]
    storage, flux = work[STORAGE], work[FLUX]
    last = stored.size - 1
    lower[0], upper[last] = 0.0, 0.0
    residual[0] = storage[0] - stored[0] + dt * flux[0]
    diagonal[0] = capacity[0] - lower[1]
    for i in range(1, last):
        residual[i] = storage[i] - stored[i] - dt * (flux[i - 1] - flux[i])
        # What leaves a node by its own head comes to its neighbours.
        diagonal[i] = capacity[i] - upper[i - 1] - lower[i + 1]
    residual[last] = storage[last] - stored[last] - dt * flux[last - 1]
    diagonal[last] = capacity[last] - upper[last - 1]


def make_assemble(look_up, flow, decorate=kernel):
    """Make `assemble` for a column, from what looks up its curves and what flows by them.

    Parameters
    ----------
    look_up : kernel of (h, soil, soils, work)
        Fills the rows of the curves at both ends of each interval.
    flow : kernel of (h, dt, z, work)
        Fills the flux of each interval, and the matrix beside its diagonal.
    decorate : callable
        Decorator of it: `sole_kernel` where one kernel calls it.

    Returns
    -------
    kernel of (h, dt, stored, column, soils, work, flows)
    """

    def assemble(h, dt, stored, column, soils, work, flows):
        """Residual and Jacobian of an implicit step of one column.

        Parameters
        ----------
        h : (n,) matric heads at the nodes at the end of the step [cm]
        dt : length of the step [h]
        stored : (n,) water above the dry end held around each node before the step [cm]
        column, soils : groups of arrays, see `rows`; only read
        work : (N_WORK, n) out: the system, `STORAGE` and `STORE_AND_UPTAKE`, and what it took to
            get there, see `rows`
        flows : (N_RATES,) out: rates over the step [cm/h], and how two change with their head [1/h]
        """
        conditions, codes = column.conditions, column.codes
        # One plain loop after the other, which is faster than one that does everything.
        look_up(h, column.soil, soils, work)
        flow(h, dt, column.z, work)
        if conditions[CAREFUL] > 0.0:
            hold_signs(work)
        store(column.z, work)
        balance(dt, stored, work)
        storage, store_and_uptake = work[STORAGE], work[STORE_AND_UPTAKE]
        own, capacity = work[OWN], work[CAPACITY]
        for i in range(h.size):
            store_and_uptake[i] = storage[i]
            own[i] = capacity[i]

        # A held head closes the balance of its node, so the boundaries come after the uptake.
        add_uptake(h, dt, column.root, conditions, codes, work, flows)
        add_surface(h, dt, conditions, codes, work, flows)
        add_base(h, dt, conditions, codes, work, flows)

    return decorate(assemble)


assemble = make_assemble(look_up, flow)
