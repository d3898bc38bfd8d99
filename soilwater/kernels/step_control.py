"""How long a step is, where it starts, and whether it is kept: each a function of its own."""

import math

from soilwater.kernels.cache import inlined_kernel, kernel
from soilwater.kernels.curves import (
    DRY_END_SUCTION,
    OVEN_DRY_SUCTION,
    SCALE,
    WATER_AT_SATURATION,
    hydraulics,
)
from soilwater.kernels.elementary import near_logarithm, near_power, stretch, stretches
from soilwater.kernels.rows import (
    BASE_CODE,
    DAWN_STEP,
    DRAINAGE,
    DRY_SUCTION,
    END,
    ENDS,
    FULL,
    GUESS,
    HELD_HEAD,
    HELD_SURFACE,
    LARGEST_STEP,
    LAST,
    LAST_STEP,
    LAST_SUPPLY,
    LEAST,
    NEXT_STEP,
    OUTFLOW,
    PER_DEPTH,
    PER_VOLUME,
    PHASE_END,
    PHASE_START,
    RESIDUAL,
    RUNOFF,
    START,
    STORAGE,
    STORE_AND_UPTAKE,
    SURFACE_CODE,
    TARGET,
    TIME,
    TOTAL_DRAINAGE,
    TOTAL_RUNOFF,
    VOLUME,
)

FIRST_STEP = 3.0e-5
"""Longest first step of a column [h]."""
MOST_OF_NODE, MOST_OF_MEAN = 2.0, 0.4
"""Local error of a node, and of the mean from the surface to any depth, in tolerances."""
LEAST_DEPTH = 3.0
"""Depth [cm] that is added to the one over which a mean is taken."""
ACCEPTED_EXCESS, AIM = 1.2, 0.75
"""A step is kept with an error up to the first many tolerances; the next one aims at the second."""
MANY_ITERATIONS = 8
"""A step that needed more is not lengthened."""
PART_OF_HALF_SINE = 0.25
"""Longest step as a share of the half-sine that demand follows."""
MOST_GROWTH = 2.0
MOST_GROWTH_AT_REST, AT_REST = 8.0, 1.0e-3
"""Growth of a step whose error is below a share of the tolerance: next to nothing moves in it."""
LEAST_GROWTH = 0.3
LEAST_ERROR = 1.0e-12
"""Error in water content that is as good as none."""
MOST_GROWTH_AT_SECOND_ORDER = 2.4
"""Two-step differences are stable below 1 + sqrt(2) (Grigorieff 1983, from memory)."""
LEAST_SHARE_KEPT = 0.3
"""Share of the water it can give that a node must keep when the last step's share is carried on."""
LEAST_CARRIED = 1.0e-14
"""Share of the water a full node holds that is too little to be missed."""
LEAST_GAIN = 1.0e-3
"""Gain of water in a step, as a share of what is held, below which all extrapolations are one."""
LEAST_OUTFLOW = 1.0e-8
"""Outflow in a step of whatever length [cm] that counts as one: round-off of the head at an outlet
makes less."""
DRY_FROM = 1.5
"""Scaled suction beyond which Newton's update is made along the curve."""
GUESSED_DRY_FROM = 0.8
"""Share of that suction from which a node is guessed to go on as a dry one: while a front passes,
straight on in head leads too far."""


@kernel
def has_dry_end(tables, scalars, j):
    """Whether soil number `j` gives up its last water at the dry end of soils."""
    before = hydraulics(-0.9 * DRY_END_SUCTION, tables, scalars, j)[0]
    return before > 0.0 and hydraulics(-1.1 * DRY_END_SUCTION, tables, scalars, j)[0] == 0.0


@kernel
def describe_nodes(z, soil, soils, work):
    """Say what each node is.

    Volume around it [cm], one over it and over the depth of a mean that ends below it, suction from
    which it is dry, water it holds when full and at the largest suction [cm], and whether it holds
    nothing beyond the dry end of soils.
    """
    tables, scalars = soils.tables, soils.scalars
    volume, dry_suction, ends = work[VOLUME], work[DRY_SUCTION], work[ENDS]
    full, least = work[FULL], work[LEAST]
    per_volume, per_depth = work[PER_VOLUME], work[PER_DEPTH]
    for i in range(z.size):
        volume[i], dry_suction[i], full[i], least[i], ends[i] = 0.0, 0.0, 0.0, 0.0, 1.0
    held_at_last, ended = 0.0, 0.0
    for i in range(z.size - 1):
        half = 0.5 * (z[i + 1] - z[i])
        if i == 0 or soil[i] != soil[i - 1]:
            held_at_last = hydraulics(-OVEN_DRY_SUCTION, tables, scalars, soil[i])[0]
            ended = 1.0 if has_dry_end(tables, scalars, soil[i]) else 0.0
        for j in range(i, i + 2):
            volume[j] += half
            dry_suction[j] = max(dry_suction[j], DRY_FROM * scalars[soil[i], SCALE])
            full[j] += half * scalars[soil[i], WATER_AT_SATURATION]
            least[j] += half * held_at_last
            ends[j] *= ended
    depth = LEAST_DEPTH
    for i in range(z.size):
        depth += volume[i]
        per_volume[i], per_depth[i] = 1.0 / volume[i], 1.0 / depth


@kernel
def length_of_past(clock, supply, tolerance):
    """Length of the last step [h], 0 where the past is no guide; the next one then is shortened."""
    last = clock[LAST_STEP]
    if last > 0.0 and supply != clock[LAST_SUPPLY]:
        # A jump: the first step takes little water (the tolerance as a share of 1 cm).
        jump = abs(supply - clock[LAST_SUPPLY])
        clock[NEXT_STEP] = min(clock[NEXT_STEP], tolerance / jump)
        return 0.0
    if last == 0.0:
        clock[NEXT_STEP] = min(clock[NEXT_STEP], FIRST_STEP)
    return last


@kernel
def day_begins(time, interval):
    """Whether demand begins to follow daylight at a time."""
    at_dawn = interval[PHASE_START] == 0.0 and interval[PHASE_END] > 0.0
    return at_dawn and time == interval[START]


@kernel
def wanted_step(clock, controls, interval, most_part):
    """Length of a step [h] where no stop is near, at most a part of the half-sine of demand.

    The first of a day is no longer than the day before has taught.
    """
    wanted = min(clock[NEXT_STEP], controls[LARGEST_STEP])
    if interval[PHASE_END] > interval[PHASE_START]:
        # After a still night the step has no measure of the demand to come.
        part = interval[PHASE_END] - interval[PHASE_START]
        length = (interval[END] - interval[START]) / part
        wanted = min(wanted, most_part * length)
        if clock[DAWN_STEP] > 0.0 and day_begins(clock[TIME], interval):
            wanted = min(wanted, clock[DAWN_STEP])
    return wanted


@kernel
def dawn_step(dt, error, tolerance):
    """Length with which the next day may begin [h], as a step that began this one tells; 0: any.

    One day begins much as another does, so no reserve is kept.
    """
    growth = math.sqrt(tolerance / max(error, LEAST_ERROR))
    return dt * max(growth, LEAST_GROWTH) if growth < MOST_GROWTH else 0.0


@kernel
def share_carried(dt, last):
    """Share of the last step's amounts that belongs into this one.

    With w = dt/dt_last, A the amounts of a step and F the rates at its end,

        A = g A_last + (dt - g dt_last) F,    g = w^2 / (1 + 2 w)

    is the variable two-step backward difference; g = 0 is backward Euler.
    """
    if last > 0.0 and dt <= MOST_GROWTH_AT_SECOND_ORDER * last:
        w = dt / last
        return w * w / (1.0 + 2.0 * w)
    return 0.0


@kernel
def weight_of_last_step(dt, last, with_uptake, state, work):
    """Share of the last step's amounts in this one, and the water each node starts from.

    What flowed is carried on, and `with_uptake` what roots and air took. Nothing is where it would
    nearly empty a node or overfill it. A node is empty at the largest suction, whatever it holds
    there: asked for more, its head could not follow.
    """
    h, stored, rate, uptake = state.h, state.stored, state.rate, state.uptake
    full, least, target = work[FULL], work[LEAST], work[TARGET]
    weight = share_carried(dt, last)
    if weight > 0.0:
        carried_on = 0.0 if with_uptake else 1.0
        for i in range(stored.size):
            target[i] = stored[i] + weight * last * (rate[i] + carried_on * uptake[i])
        beyond = 0
        for i in range(stored.size):
            carried = stored[i] - target[i]
            kept, could_give = target[i] - least[i], stored[i] - least[i]
            empty = (kept < LEAST_SHARE_KEPT * could_give) & (carried > LEAST_CARRIED * full[i])
            beyond += 1 if empty | ((target[i] > full[i]) & (h[i] < 0.0)) else 0
        weight = weight if beyond == 0 else 0.0
    if weight == 0.0:
        for i in range(stored.size):
            target[i] = stored[i]
    return weight


@inlined_kernel
def dry_head_after(head, before, exponent):
    """Head of a dry node that goes on by a power of the factor by which its suction changed."""
    growth = near_power(head / before, exponent)
    growth = 0.3 if growth < 0.3 else growth
    after = head * (3.0 if growth > 3.0 else growth)
    return -OVEN_DRY_SUCTION if after < -OVEN_DRY_SUCTION else after


@inlined_kernel
def extrapolate(h, h_before, last, ratio, stored, rate, dry_suction, guess):
    """Heads of some nodes that go on as they did, see `predict`."""
    for i in range(h.size):
        gained = last * rate[i]
        dry_from = GUESSED_DRY_FROM * dry_suction[i]
        dry = (-h[i] > dry_from) & (-h_before[i] > dry_from)
        wetted = (gained > LEAST_GAIN * stored[i]) & (gained < stored[i])
        gain = (gained if wetted else 0.5) / (stored[i] if wetted else 1.0)
        again = near_logarithm(1.0 + ratio * gain) / -near_logarithm(1.0 - gain)
        exponent = again if wetted else ratio
        along = dry_head_after(h[i], h_before[i] if dry else h[i], exponent)
        guess[i] = along if dry else h[i] + ratio * (h[i] - h_before[i])


@kernel
def predict(state, last, ratio, work):
    """Extrapolate heads from the last two states: along a power of suction where dry.

    There water goes as a power of suction. A node that dries goes on by the same factor; one that
    is wetted gains the same water again, which in suction is ever less.
    """
    h, h_before, stored, rate = state.h, state.h_before, state.stored, state.rate
    dry_suction, guess = work[DRY_SUCTION], work[GUESS]
    for which in range(stretches(h.size)):
        begin, end = stretch(which, h.size)
        extrapolate(
            h[begin:end], h_before[begin:end], last, ratio, stored[begin:end], rate[begin:end],
            dry_suction[begin:end], guess[begin:end],
        )  # fmt: skip


@kernel
def errors_of_step(state, dt, carried, codes, work):
    """Local errors, in water content, that backward Euler would make in this step.

    Of a node and of the mean from the surface to any depth, the largest of each. They are the
    yardstick for steps of either order: of a second-order step upper bounds, they keep the error of
    a whole run in proportion to the tolerance. `carried` is the time [h] by which the last uptake
    belongs into this step.
    """
    stored, rate, uptake = state.stored, state.rate, state.uptake
    storage, left, store_and_uptake = work[STORAGE], work[RESIDUAL], work[STORE_AND_UPTAKE]
    per_volume, per_depth = work[PER_VOLUME], work[PER_DEPTH]
    # A held node takes what it is given, at once.
    first = 1 if codes[SURFACE_CODE] == HELD_SURFACE else 0
    last = stored.size - (1 if codes[BASE_CODE] == HELD_HEAD else 0)
    of_node, of_mean, by_flow = 0.0, 0.0, 0.0
    for i in range(first, last):
        change = storage[i] - left[i] - stored[i] - dt * rate[i]
        of_this = abs(change) * per_volume[i]
        of_node = of_this if of_this > of_node else of_node
        taken = store_and_uptake[i] - storage[i] - (dt - carried) * uptake[i]
        by_flow += change + taken
        down_to = abs(by_flow) * per_depth[i]
        of_mean = down_to if down_to > of_mean else of_mean
    return 0.5 * of_node, 0.5 * of_mean


@kernel
def step_error(state, dt, carried, codes, work):
    """Error by which a step is judged, see `errors_of_step`.

    What is read is a mean from the surface down, which is off by what flows are off at its lower
    end: uptake is asked for exactly, and nodes make up for one another. So a mean counts more than
    a single node.
    """
    of_node, of_mean = errors_of_step(state, dt, carried, codes, work)
    return max(of_node / MOST_OF_NODE, of_mean / MOST_OF_MEAN)


@kernel
def growth_after(error, tolerance, before, kept):
    """Factor by which the next step may be longer than one with this error.

    The error is half the length of a step times the change of rates since the last one, and rates
    change with the time from the middle of one to the middle of the other: it goes as dt (dt +
    dt_last). `before` is the length of the last step as a multiple of this one, 0 where rates began
    to change with this step. One that is not kept is taken again after the same step.
    """
    most = MOST_GROWTH_AT_REST if error < AT_REST * tolerance else MOST_GROWTH
    last = 1.0 if kept else before
    meets = AIM * tolerance / max(error, LEAST_ERROR) * (1.0 + before)
    growth = 0.5 * (math.sqrt(last * last + 4.0 * meets) - last)
    return min(most, max(LEAST_GROWTH, growth))


@kernel
def next_step(growth, dt, wanted, iterations):
    """Length that the step after one that is kept may have [h]."""
    if iterations > MANY_ITERATIONS:
        growth = min(growth, 1.0)
    # A step shortened by a stop says little about the next, but where it was too long as it is.
    return max(growth * dt, wanted) if growth >= 1.0 and dt < wanted else growth * dt


@kernel
def outflow_ended(codes, flows, ledger):
    """Whether a one-way outflow has come to its end within a step.

    A second-order step carries a share of the last outflow on, and what has left cannot come back:
    such a step would drain a column beyond its rest.
    """
    drained = codes[BASE_CODE] == OUTFLOW and flows[DRAINAGE] == 0.0
    ran_off = flows[RUNOFF] == 0.0
    return (drained and ledger[LAST + TOTAL_DRAINAGE] > LEAST_OUTFLOW) or (
        ran_off and ledger[LAST + TOTAL_RUNOFF] > LEAST_OUTFLOW
    )
