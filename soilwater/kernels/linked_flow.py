"""Flow over the links between columns.

Over the faces of node k, of height T in either column, water flows from column i to column j at

    Q = w/L (T_i K_i + T_j K_j)/2 (h_i - h_j + E_i - E_j)        [cm3/h]

with the width w of the face, the distance L and the elevations E of the two nodes. Written in the
total head h + E, it is zero to round-off at rest on any contour. T is half an interval to either
side of the node, each with the soil that fills it.

To the outside it flows over the faces of one column: towards rest over a water level, or out where
the head is above a threshold, over a distance that leaves next to no drop of head; or down a slope
along which all columns are alike, Q = w T K S.
"""

from soilwater.kernels.cache import kernel
from soilwater.kernels.linked_rows import (
    A_COLUMN,
    ALL,
    BY_FIRST,
    BY_SECOND,
    FLOW,
    GOES_ON,
    OUTLET,
    OWN_RESIDUAL,
    SIDEWAYS,
    SIDEWAYS_BY_HEAD,
)
from soilwater.kernels.march import copy_into
from soilwater.kernels.rows import (
    BASE_CODE,
    BOTTOM_CONDUCTIVITY,
    BOTTOM_SLOPE,
    GUESS,
    HELD_HEAD,
    HELD_SURFACE,
    RESIDUAL,
    SURFACE_CODE,
    TOP_CONDUCTIVITY,
    TOP_SLOPE,
)

OUTLET_DISTANCE = 0.1
"""Distance [cm] over which water goes out at an outlet, at the conductivity of the column."""
OUTER_CONDUCTANCE = 1.0e3
"""Flow to a water level per area of the face and head [1/h]: 0.02 cm of head at 20 cm/h."""


@kernel
def conduct(z, work):
    """Keep of an assembly what the links need: K times face height, and the residual so far."""
    top_k, bottom_k = work[TOP_CONDUCTIVITY], work[BOTTOM_CONDUCTIVITY]
    top_slope, bottom_slope = work[TOP_SLOPE], work[BOTTOM_SLOPE]
    sideways, by_head = work[SIDEWAYS], work[SIDEWAYS_BY_HEAD]
    last = z.size - 1
    half = 0.5 * (z[1] - z[0])
    sideways[0], by_head[0] = half * top_k[0], half * top_slope[0]
    for k in range(1, last):
        above, below = 0.5 * (z[k] - z[k - 1]), 0.5 * (z[k + 1] - z[k])
        sideways[k] = above * bottom_k[k - 1] + below * top_k[k]
        by_head[k] = above * bottom_slope[k - 1] + below * top_slope[k]
    half = 0.5 * (z[last] - z[last - 1])
    sideways[last], by_head[last] = half * bottom_k[last - 1], half * bottom_slope[last - 1]
    copy_into(work[OWN_RESIDUAL], work[RESIDUAL])


@kernel
def renew_link(link, links, work, careful):
    """Flow over a link at the heads `GUESS`, and its derivatives.

    `careful` holds these to their right sign.
    """
    flow, by_first = links.flow[link, FLOW], links.flow[link, BY_FIRST]
    by_second = links.flow[link, BY_SECOND]
    if links.beyond[link] == A_COLUMN:
        i, j = links.first[link], links.second[link]
        half = 0.5 * links.width_by_distance[link]
        h_i, h_j = work[i, GUESS], work[j, GUESS]
        e_i, e_j = links.elevation[i], links.elevation[j]
        t_i, t_j = work[i, SIDEWAYS], work[j, SIDEWAYS]
        slope_i, slope_j = work[i, SIDEWAYS_BY_HEAD], work[j, SIDEWAYS_BY_HEAD]
        # Few rows to a loop, so that it vectorises: first the drop of head, then the mean.
        for k in range(h_i.size):
            flow[k] = h_i[k] - h_j[k] + (e_i[k] - e_j[k])
        for k in range(h_i.size):
            by_second[k] = half * flow[k] * slope_j[k] - half * (t_i[k] + t_j[k])
        for k in range(h_i.size):
            by_first[k] = half * flow[k] * slope_i[k] + half * (t_i[k] + t_j[k])
        for k in range(h_i.size):
            flow[k] *= half * (t_i[k] + t_j[k])
    else:
        renew_outer(link, links, work, flow, by_first)
    if careful:
        for k in range(flow.size):
            by_first[k], by_second[k] = max(by_first[k], 0.0), min(by_second[k], 0.0)


@kernel
def renew_outer(link, links, work, flow, by_head):
    """Flow from a column to the outside, and its derivative by the heads of the column."""
    c, value, width = links.first[link], links.beyond_value[link], links.width_by_distance[link]
    h, e = work[c, GUESS], links.elevation[c]
    sideways, slope = work[c, SIDEWAYS], work[c, SIDEWAYS_BY_HEAD]
    for k in range(links.beyond_nodes[link]):
        if links.beyond[link] == GOES_ON:
            flow[k], by_head[k] = width * value * sideways[k], width * value * slope[k]
            continue
        if links.beyond[link] == OUTLET:
            # A dry gravel beside an outlet lets nothing go.
            by, excess = width / OUTLET_DISTANCE, max(h[k] - value, 0.0)
            flow[k] = by * sideways[k] * excess
            by_head[k] = by * (sideways[k] + slope[k] * excess) if excess > 0.0 else 0.0
            continue
        height = 0.5 * (e[max(k - 1, 0)] - e[min(k + 1, h.size - 1)])
        by_head[k] = width * height * OUTER_CONDUCTANCE
        flow[k] = by_head[k] * (h[k] + e[k] - value)


@kernel
def balanced_nodes(codes, n):
    """First node of a column whose row is a balance of water, and the one after the last."""
    first = 1 if codes[SURFACE_CODE] == HELD_SURFACE else 0
    return first, n - 1 if codes[BASE_CODE] == HELD_HEAD else n


@kernel
def add_links(c, dt, links, codes, work):
    """Residual of a column: its own, and what its links take."""
    residual = work[c, RESIDUAL]
    copy_into(residual, work[c, OWN_RESIDUAL])
    first, last = balanced_nodes(codes, residual.size)
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        share = dt * links.neighbour_takes[place]
        flow = links.flow[links.neighbour_link[place], FLOW]
        for k in range(first, last):
            residual[k] += share * flow[k]


@kernel
def flow_into(c, k, links):
    """Rate at which links bring water to node `k` of a column [cm/h]."""
    rate = 0.0
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        link = links.neighbour_link[place]
        rate -= links.neighbour_takes[place] * links.flow[link, FLOW, k]
    return rate


@kernel
def column_gain(c, links):
    """Water that links have brought to a column since the start [cm]."""
    gain = 0.0
    for place in range(links.neighbour_start[c], links.neighbour_start[c + 1]):
        gain -= links.neighbour_takes[place] * links.moved[links.neighbour_link[place], ALL]
    return gain
