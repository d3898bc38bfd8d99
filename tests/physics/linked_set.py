"""Sets of linked columns made by hand: what the compiled march takes, and its linear system."""

from dataclasses import dataclass

import numpy as np
from reference import one_soil, weather

from soilwater.ground.mesh import Mesh
from soilwater.kernels import entry_points, rows
from soilwater.kernels.linked_flow import add_links, renew_link
from soilwater.kernels.linked_march import march_linked
from soilwater.kernels.linked_newton import renew
from soilwater.kernels.linked_rows import BY_FIRST, BY_SECOND, Links, Room
from soilwater.kernels.rows import Packed
from soilwater.runs.case import Case
from soilwater.runs.forcing import make_forcing
from soilwater.runs.linking import make_links, make_room
from soilwater.runs.packing import pack
from soilwater.runs.settings import Settings
from soilwater.words.errors import Status


@dataclass
class LinkedSet:
    """Columns as the kernels take them."""

    packed: Packed
    links: Links
    room: Room

    def run(self):
        march_linked(self.packed, self.links, self.room)
        assert set(self.packed.status) == {Status.OK}
        return self

    def run_alone(self):
        entry_points.march_columns(0, self.packed.status.size, self.packed)
        return self

    @property
    def head(self):
        """Heads at the end [cm], shape (columns, nodes)."""
        return self.packed.head.reshape(self.links.elevation.shape)

    def assembled(self, heads, dt):
        """Residual of a step from empty soil to some heads [cm], with everything it fills."""
        n_columns = heads.shape[0]
        self.room.work[:, rows.GUESS] = heads
        for c in range(n_columns):
            renew(c, dt, False, self.packed, self.room)
        for link in range(self.links.first.size):
            renew_link(link, self.links, self.room.work, False)
        for c in range(n_columns):
            add_links(c, dt, self.links, self.packed.codes[c], self.room.work)
        return self.room.work[:, rows.RESIDUAL].copy()

    def matrix(self, dt):
        """Jacobian of the step that was assembled last, as a full matrix."""
        work, links = self.room.work, self.links
        c_all, n = links.elevation.shape
        full = np.zeros((c_all, n, c_all, n))
        k = np.arange(n)
        for c in range(c_all):
            full[c, k, c, k] = work[c, rows.DIAGONAL]
            full[c, k[1:], c, k[:-1]] = work[c, rows.LOWER, 1:]
            full[c, k[:-1], c, k[1:]] = work[c, rows.UPPER, :-1]
        for link, (i, j) in enumerate(zip(links.first, links.second, strict=True)):
            by_i, by_j = links.flow[link, BY_FIRST], links.flow[link, BY_SECOND]
            for c, sign in ((i, 1.0), (j, -1.0)):
                full[c, k, i, k] += sign * dt / links.area[c] * by_i
                full[c, k, j, k] += sign * dt / links.area[c] * by_j
        return full.reshape(c_all * n, c_all * n)


def linked_set(
    soil,
    nodes,
    level,
    pairs,
    base,
    hours,
    *,
    rain=0.0,
    head=None,
    width_by_distance=1.0,
    area=1.0,
    outside=(),
    tolerance=3e-3,
):
    """Columns of one soil on given nodes [cm], shape (columns, nodes), rain [cm/h] on each."""
    n_columns, n_nodes = nodes.shape
    hours = np.atleast_1d(np.asarray(hours, dtype=float))
    rain = np.broadcast_to(rain, n_columns)
    weathers = {each: weather(float(hours[-1]), rain=each) for each in set(rain.tolist())}
    cases = [
        Case(one_soil(soil, float(z[-1]), base), weathers[float(each)])
        for z, each in zip(nodes, rain, strict=True)
    ]
    meshes = [Mesh(z, np.zeros(n_nodes - 1, dtype=np.int64), (soil,)) for z in nodes]
    forcings = {each: make_forcing(one, None, ()) for each, one in weathers.items()}
    settings = Settings(hours, hours, (), tolerance=tolerance)
    packed = pack(cases, meshes, list(head), [forcings[float(each)] for each in rain], settings)
    pairs = np.asarray(pairs, dtype=np.int64)
    links = make_links(
        pairs,
        np.broadcast_to(width_by_distance, len(pairs)).astype(float),
        np.broadcast_to(area, n_columns).astype(float),
        np.asarray(level)[:, None] - nodes,
        hours.size,
        outside,
    )
    return LinkedSet(packed, links, make_room(n_columns, n_nodes))


def chain(n):
    """Pairs of neighbours along a line."""
    return np.stack([np.arange(n - 1), np.arange(1, n)], axis=-1)
