"""Every array of the kernels: its shape, its unit, who writes it, and the names of its places.

A column of n nodes has n - 1 intervals between them. Heads are matric heads [cm, negative when
dry], water and amounts are [cm], rates [cm/h], times [h]. Only the forcing comes in mm, as people
give it; `demand` alone reads it, and hands on cm.

Arrays travel in four groups: what a column is and feels (`Column`), the soils that columns share
(`Soils`), where a column stands in time (`State`), and what it leaves behind (`Outputs`); `Packed`
is all of it for many columns laid end to end. Beside them there is room to work in, `work` and
`flows`. Whoever knows the system, `assemble` first of all, may be handed other groups than these by
a `march` made for it, as long as they have the fields that `march` itself reads.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# How a march ended.
OK, STEP_TOO_SMALL, TOO_MANY_STEPS, NOT_FINITE = range(4)

# codes (N_CODES,): integers that choose between forms; written when a column is packed.
BASE_CODE, SURFACE_CODE, STRESS_CODE, N_CODES = range(4)
# Values of the base code; what BASE_VALUE then holds [cm] is in brackets.
SEALED, FREE_DRAINAGE, OUTFLOW, HELD_HEAD = range(4)  # [-, -, head at which outflow starts, head]
# Values of the surface code, and SURFACE_VALUE [cm]. Those of the stress code are in `uptake`.
WEATHER, HELD_SURFACE = range(2)  # [-, head]

# conditions (N_CONDITIONS,): numbers that go with them.
(
    SUPPLY,  # [cm/h]; `set_demand`, for each step, as the next two
    TRANSPIRATION_DEMAND,  # [cm/h]
    EVAPORATION_DEMAND,  # [cm/h]
    POND_LIMIT,  # head from which water runs off [cm]; when packed, as all that is not named
    BASE_VALUE,
    SURFACE_VALUE,
    STRESS_0,  # parameters of `uptake.reduction`, five in a row
    STRESS_1,
    STRESS_2,
    STRESS_3,
    STRESS_4,
    EVAPORATION_HALF_SUCTION,  # [cm]
    EVAPORATION_STEEPNESS,  # [1]
    COMPENSATION_THRESHOLD,  # stress index down to which wet roots make up for dry ones [1]
    COMPENSATION,  # factor of the demand [1]; `compensate`
    CAREFUL,  # 1 on a retry, else 0; `march`
    N_CONDITIONS,
) = range(17)

# flows (N_RATES,): rates over a step [cm/h], and below them how two change with their own head
# [1/h]. `assemble` writes them, the end along a tangent and the ledger mend them.
INFLOW, RUNOFF, TRANSPIRATION, EVAPORATION, DRAINAGE, N_FLOWS = range(6)
EVAPORATION_BY_HEAD, DRAINAGE_BY_HEAD, N_RATES = range(N_FLOWS, N_FLOWS + 3)

# work (N_WORK, n): rows of room to work in, none of which outlives a step but VOLUME to ENDS. A row
# of the intervals leaves its last place unused.
(
    # The system of a step, by `assemble`: rows of the tridiagonal matrix [1] and the residual [cm].
    LOWER,
    DIAGONAL,
    UPPER,
    RESIDUAL,
    OWN,  # part of the diagonal that is the node's own water and uptake [1]
    CAPACITY,  # part of that which is its water [1]; mended at the end of a step
    # Room of `assemble`: what `soil_hydraulics` gives at the top and bottom of each interval, the
    # flux down it [cm/h], the share of their demand that roots meet [1] and its change [1/cm].
    TOP_WATER,
    TOP_CAPACITY,
    TOP_CONDUCTIVITY,
    TOP_SLOPE,
    TOP_POTENTIAL,
    BOTTOM_WATER,
    BOTTOM_CAPACITY,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_SLOPE,
    BOTTOM_POTENTIAL,
    FLUX,
    SHARE_MET,
    SHARE_MET_BY_HEAD,
    STORAGE,  # water around each node, with a pond [cm]; `assemble`, and the end along a tangent
    STORE_AND_UPTAKE,  # that and what the step took up or evaporated [cm]; the same
    # Room of `newton`: a change of heads and the part of it that is taken [cm], and before it the
    # heads and the two rows that move a dry node along its curve; water on the curve [cm].
    CHANGE,
    STEP,
    BEFORE,
    OWN_BEFORE,
    STORE_AND_UPTAKE_BEFORE,
    ON_CURVE,
    # What a node is, by `describe_nodes`: volume [cm], one over it and over the depth of a mean
    # that ends below it [1/cm], suction from which it counts as dry [cm], water it holds when full
    # and at the largest suction [cm], and 1 (else 0) where it holds nothing beyond the dry end.
    VOLUME,
    PER_VOLUME,
    PER_DEPTH,
    DRY_SUCTION,
    FULL,
    LEAST,
    ENDS,
    TARGET,  # water each node starts a step from [cm]; `weight_of_last_step`
    GUESS,  # heads at the end of a step [cm]; `predict`, then `newton`
    N_WORK,
) = range(37)

# A forcing interval (N_FORCING,), never written here: start and end [h], amounts over it [mm], and
# which part of a half-sine the demand follows (phases in 0..1; equal phases: even).
(
    START,
    END,
    WATER_AMOUNT,
    TRANSPIRATION_AMOUNT,
    EVAPORATION_AMOUNT,
    PHASE_START,
    PHASE_END,
    N_FORCING,
) = range(8)

# clock (N_CLOCK,), by `march`: time [h], length of the next step [h], length of the last step [h]
# (0: no step yet, or a jump in the supply since), supply during the last step [cm/h], length of a
# step with which a day may begin [h] (0: any).
TIME, NEXT_STEP, LAST_STEP, LAST_SUPPLY, DAWN_STEP, N_CLOCK = range(6)
# counts (N_COUNTS,), by `march`: work done.
STEPS, REJECTED, ITERATIONS, N_COUNTS = range(4)
# controls (N_CONTROLS,), when packed: local error in water content that steps aim below [1],
# smallest and largest step [h], most steps in one call.
TOLERANCE, SMALLEST_STEP, LARGEST_STEP, MOST_STEPS, N_CONTROLS = range(5)

# ledger (N_LEDGER,) [cm], by `ledger`: totals since the start of the flows of a column, in their
# order, and of the two demands; at LAST + a total its amount in the last step; storage change,
# closure error and the storage at the start (NaN: a fresh column).
TOTAL_INFLOW, TOTAL_RUNOFF, TOTAL_TRANSPIRATION, TOTAL_EVAPORATION, TOTAL_DRAINAGE = range(N_FLOWS)
TOTAL_TRANSPIRATION_DEMAND, TOTAL_EVAPORATION_DEMAND, N_TOTALS = range(N_FLOWS, N_FLOWS + 3)
LAST = N_TOTALS
STORAGE_CHANGE, CLOSURE_ERROR, INITIAL_STORAGE, N_LEDGER = range(2 * N_TOTALS, 2 * N_TOTALS + 4)


class Soils(NamedTuple):
    """Curves that columns share, made by `tabulate`; never written here."""

    tables: Floats
    """(soils, N_BINS, ROW_LENGTH): cubics, see `curves`."""
    scalars: Floats
    """(soils, SCALARS)."""


class Column(NamedTuple):
    """What a column is, and what happens to it."""

    z: Floats
    """(n,): depths of the nodes [cm]."""
    soil: Integers
    """(n - 1,): number of the soil that fills the interval below each node."""
    root: Floats
    """(n,): share of the roots around each node [1]."""
    conditions: Floats
    """(N_CONDITIONS,)."""
    codes: Integers
    """(N_CODES,)."""


class State(NamedTuple):
    """Where a column stands; read when a march begins, and left at the last good time."""

    h: Floats
    """(n,): heads [cm]; `accept`, and `close_balance` where a balance is read."""
    stored: Floats
    """(n,): water above the dry end around each node, as fluxes say [cm]; `accept`."""
    h_before: Floats
    """(n,): heads a step ago [cm]; `accept`."""
    rate: Floats
    """(n,): change of `stored` over the last step [cm/h]; `accept`."""
    uptake: Floats
    """(n,): what roots and air took of each node in the last step [cm/h]; `accept`."""
    clock: Floats
    """(N_CLOCK,)."""
    ledger: Floats
    """(N_LEDGER,)."""
    counts: Integers
    """(N_COUNTS,)."""


class Outputs(NamedTuple):
    """What a column leaves at its output times; `march` writes all but the times."""

    time: Floats
    """(times,): when, rising [h]."""
    head: Floats
    """(times, n): heads [cm]."""
    water: Floats
    """(times, n - 1): water content of the intervals [1]."""
    suction: Floats
    """(times, n - 1): mean of the suctions at their ends [cm]; (times, 0) where nobody asks."""
    ledger: Floats
    """(times, N_LEDGER)."""


class Limits(NamedTuple):
    """Where Newton's method may end, and how far it may stray on the way."""

    tolerance: float
    """Residual, as water content, that is small enough [1]."""
    last_correction: float
    """Change of a water content that may be the last, along the tangent [1]; 0: none may."""
    most: int
    """Iterations."""
    most_growth: float
    """Factor by which one of the first iterations may raise the residual."""


class Packed(NamedTuple):
    """Columns laid end to end: c of them, with N nodes in all and at most m in one.

    Column i owns the nodes `node_start[i]` to `node_start[i + 1]` of what is per node, and row i of
    what is per column. Made when cases are packed; for who else writes what see the other groups.
    """

    node_start: Integers
    """(c + 1,)."""
    z: Floats
    """(N,)."""
    soil: Integers
    """(N,): the last of each column is not used."""
    root: Floats
    """(N,)."""
    head: Floats
    """(N,): `State.h`."""
    stored: Floats
    """(N,)."""
    head_before: Floats
    """(N,): `State.h_before`."""
    rate: Floats
    """(N,)."""
    uptake: Floats
    """(N,)."""
    conditions: Floats
    """(c, N_CONDITIONS)."""
    codes: Integers
    """(c, N_CODES)."""
    tables: Floats
    """(soils, N_BINS, ROW_LENGTH)."""
    scalars: Floats
    """(soils, SCALARS)."""
    forcing: Floats
    """(intervals, N_FORCING): of all weathers, one after the other."""
    forcing_range: Integers
    """(c, 2): first row of forcing of each column, and the one after its last."""
    out_time: Floats
    """(times,): the same for all columns [h]."""
    controls: Floats
    """(c, N_CONTROLS)."""
    clock: Floats
    """(c, N_CLOCK)."""
    ledger: Floats
    """(c, N_LEDGER)."""
    counts: Integers
    """(c, N_COUNTS)."""
    status: Integers
    """(c,): how the march of each column ended; `march_columns`."""
    out_head: Floats
    """(c, times, m)."""
    out_water: Floats
    """(c, times, m - 1)."""
    out_suction: Floats
    """(c, times, m - 1), or (c, times, 0)."""
    out_ledger: Floats
    """(c, times, N_LEDGER)."""
    work: Floats
    """(`work_size`(m),): room that the columns of a call use one after the other."""


# Fields of `Packed` that have a row a node, and a row a column. Those from which a march goes on
# (`State`, but for what counts work) stand apart: columns are kept standing by them.
STATE_OF_NODES = ("head", "stored", "head_before", "rate", "uptake")
STATE_OF_COLUMNS = ("clock", "ledger")
PER_NODE = ("z", "soil", "root", *STATE_OF_NODES)
PER_COLUMN = ("conditions", "codes", "controls", "counts", "status", *STATE_OF_COLUMNS)
OUTPUTS = ("out_head", "out_water", "out_suction", "out_ledger")
