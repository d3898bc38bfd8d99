"""Kernels within a compiled function of somebody's own, which numba compiles in its usual way.

What a kernel is compiled to is taken in by whoever calls it. Where some of that was missing, the
function went astray and took the whole process with it, so a process of its own calls them.
"""

import os
import subprocess
import sys
from pathlib import Path

PHYSICS = Path(__file__).parents[1] / "physics"

# The function takes in several kernels that have some of what they call in common.
OWN = """
import numpy as np
from linked_set import chain, linked_set
from numba import njit

from soilwater import FreeDrainage, VanGenuchten
from soilwater.kernels.column import assemble
from soilwater.kernels.linked_flow import add_links, renew_link
from soilwater.kernels.linked_newton import renew
from soilwater.kernels.rows import GUESS, N_RATES, N_WORK, TARGET
from soilwater.kernels.step_control import describe_nodes
from soilwater.kernels.unpack import column_of, soils_of


def in_terms_of(column_of, soils_of):
    def describe(packed, room):
        for c in range(packed.status.size):
            column = column_of(packed, c)
            describe_nodes(column.z, column.soil, soils_of(packed), room.work[c])

    def column_alone(packed, room, work, flows):
        column, soils = column_of(packed, 1), soils_of(packed)
        assemble(room.work[1, GUESS], 0.5, work[TARGET], column, soils, work, flows)

    def linked_columns(packed, links, room):
        for c in range(packed.status.size):
            renew(c, 0.5, False, packed, room)
        for link in range(links.first.size):
            renew_link(link, links, room.work, False)
        for c in range(packed.status.size):
            add_links(c, 0.5, links, packed.codes[c], room.work)

    return describe, linked_columns, column_alone


def filled(describe, linked, alone):
    nodes = np.tile(np.linspace(0.0, 30.0, 13), (3, 1))
    heads = np.linspace(-90.0, 5.0, nodes.size).reshape(nodes.shape)
    columns = linked_set(
        VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0),
        nodes, [0.0, -2.0, -4.0], chain(3), FreeDrainage(), 1.0, head=heads, area=400.0,
    )
    n = nodes.shape[1]
    columns.room.work[:] = 0.0
    columns.room.work[:, GUESS] = heads
    work, flows = np.zeros((N_WORK, n)), np.zeros(N_RATES)
    describe(columns.packed, columns.room)
    linked(columns.packed, columns.links, columns.room)
    alone(columns.packed, columns.room, work, flows)
    return work, flows, columns.room.work


plain = njit(error_model="numpy", _nrt=False)
within = map(plain, in_terms_of(column_of, soils_of))
called = in_terms_of(column_of.py_func, soils_of.py_func)
for ours, by_itself in zip(filled(*within), filled(*called), strict=True):
    assert np.isfinite(by_itself).all() and np.ptp(by_itself) > 0.0
    np.testing.assert_allclose(ours, by_itself, rtol=1e-12, atol=1e-13)
print("went on")
"""


def test_a_plain_compiled_function_may_call_kernels_of_one_column_and_of_linked_ones():
    places = os.pathsep.join([str(PHYSICS), *(each for each in sys.path if each)])
    done = subprocess.run(
        [sys.executable, "-c", OWN],
        env={**os.environ, "PYTHONPATH": places},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert (done.returncode, done.stdout) == (0, "went on\n"), done.stderr
