"""Processors this process may use, and what a second one does while the first compiles."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Generator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from soilwater.soils.kernel_table import one_of_each_model

MAKE_TABLES = """
import pickle, sys
from soilwater.soils.kernel_table import stack_tables
stack_tables(pickle.load(sys.stdin.buffer))
"""
PATIENCE = 5.0
"""How long a second process that is late is waited for [s]; this one could then have done it."""


def processors() -> int:
    """Count the processors this process may use.

    The limits people and clusters set for other numerical libraries are kept to: a worker of a
    dask cluster has OMP_NUM_THREADS=1, so that batches within its tasks do not crowd each other.
    """
    if hasattr(os, "sched_getaffinity"):
        allowed = len(os.sched_getaffinity(0))
    else:
        allowed = os.cpu_count() or 1
    limits = [os.environ.get(name, "") for name in ("OMP_NUM_THREADS", "NUMBA_NUM_THREADS")]
    return min([allowed, *(int(limit) for limit in limits if limit.isdigit() and int(limit) > 0)])


@contextmanager
def tables_made_meanwhile(soils: Sequence[Any]) -> Generator[None]:
    """Let a second process make tables of soils, so that what makes them is compiled and on disk.

    Nothing is said, and nothing lost, where that cannot be: this process then does it by itself.

    Parameters
    ----------
    soils : sequence of Soil
        Which tables.
    """
    # What runs Python inside a program of another kind must not be started again by its name.
    ours = Path(sys.executable or "").stem.lower().startswith("python")
    # It imports the modules of what it is sent: a person's own may run columns or write files.
    few = one_of_each_model(soils)
    if not few or processors() < 2 or not ours or getattr(sys, "frozen", False):
        yield
        return
    try:
        places = [os.path.abspath(each) for each in sys.path if isinstance(each, str)]
        process = subprocess.Popen(
            # Without what lies in the folder of a run, unless this process looks there.
            [sys.executable, "-P", "-c", MAKE_TABLES],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(places)},
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
    except OSError:
        yield
        return
    try:
        with suppress(OSError), process.stdin as given:  # type: ignore[union-attr]
            pickle.dump(few, given)
        yield
        with suppress(subprocess.TimeoutExpired):
            process.wait(PATIENCE)
    finally:
        process.kill()
        with suppress(OSError):
            process.communicate()
