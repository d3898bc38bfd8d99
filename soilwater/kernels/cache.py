"""How kernels are compiled, and how their disk cache can never serve yesterday's physics.

Kernels never allocate, so that references to arrays need no counting within them: it would take a
tenth of the time of a run. Small ones are put into the loops that call them, which lets these
vectorise, and there a product and a sum may be one operation, rounded once. That is all that is
taken of "fast math": the rest of it would lose NaN and round-off.

numba's cache looks only at the file of the function it compiles: an edit in a kernel that the
function calls goes unnoticed, and the old machine code is returned silently, even after an
upgrade. Every entry point is therefore made by a factory whose closure holds a digest of all
kernel sources; values in a closure are part of the cache key.
"""

import gc
import hashlib
import logging
import os
import warnings
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

from numba import config, njit, typeof
from numba.core import event

from soilwater.kernels.parts import part, rolled
from soilwater.words.errors import RunError, SoilWaterWarning

SWITCH = "SOILWATER_NUMBA_CACHE"
"""Environment variable; "0" compiles anew in every process instead of using the disk cache."""


_OPTIONS = {"error_model": "numpy", "nogil": True, "_nrt": False, "no_cfunc_wrapper": True}
"""Of everything compiled here. Nobody calls it from C: doors for that took a tenth of the time."""

kernel = part(**_OPTIONS)
"""Decorator of a kernel."""
sole_kernel = part(**_OPTIONS, forceinline=True)
"""Decorator of a kernel that is called at one place, where it is put: to hand on all its arrays, by
five and more numbers each, takes as long as some loops over the nodes."""
inlined_kernel = part(**_OPTIONS, forceinline=True, fastmath={"contract"})
"""Decorator of a small kernel that is called in a loop."""


@cache
def source_digest() -> int:
    """Digest of the sources of all kernels, as a 63-bit integer."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return int.from_bytes(digest.digest()[:8], "little") >> 1


def compile_entry_point(factory: Callable[[int], Callable[..., Any]], unrolled: bool = True) -> Any:
    """Compile the function that `factory` makes around the digest of the kernel sources.

    Parameters
    ----------
    factory : callable
        Takes the digest and returns a function that mentions it.
    unrolled : bool
        Whether several turns of a loop may be written out. Without, it is optimised in two thirds
        of the time; with a memory, where heads are looked up eight at a time, it is then slower.

    Returns
    -------
    callable
        The function, compiled at its first call, releasing the interpreter while it runs.

    Raises
    ------
    RunError
        If numba was told to compile nothing: Python cannot work on the bits of numbers.

    Warns
    -----
    SoilWaterWarning
        When numba finds no place to keep compiled code; once for all entry points.
    """
    if config.DISABLE_JIT:  # type: ignore[attr-defined]
        raise RunError(
            "soilwater cannot run where numba compiles nothing; unset the environment variable "
            "NUMBA_DISABLE_JIT."
        )
    function = factory(source_digest())
    options = _OPTIONS if unrolled else {**_OPTIONS, **rolled()}
    if os.environ.get(SWITCH, "1") != "0":
        try:
            return njit(cache=True, **options)(function)
        except RuntimeError:
            _warn_once()
    return njit(**options)(function)


@cache
def _warn_once() -> None:
    warnings.warn(
        "soilwater found no writable place for its compiled kernels and compiles them anew in "
        "every process (about 10 s). Cure: set the environment variable NUMBA_CACHE_DIR to a "
        "writable folder.",
        SoilWaterWarning,
        stacklevel=3,
    )


def compile_before(
    entry_point: Any,
    arguments: Sequence[Any],
    meanwhile: Callable[[], AbstractContextManager[None]],
) -> None:
    """Make an entry point ready, before what it is called with is.

    Parameters
    ----------
    entry_point : callable
        From `compile_entry_point`.
    arguments : sequence
        Of the types that it will be called with.
    meanwhile : callable
        Gives a context that is held where it is compiled and kept, and not where it is read from
        disk.
    """
    if entry_point.overloads or entry_point._cache.cache_path is None:
        return
    with _ONE_AT_A_TIME, ExitStack() as held:
        if entry_point.overloads:
            return
        begun = _Begun(entry_point, lambda: held.enter_context(meanwhile()))
        with event.install_listener("numba:compile", begun):
            entry_point.compile(tuple(typeof(each) for each in arguments))


_ONE_AT_A_TIME = Lock()


class _Begun(event.Listener):
    """Does something when a function begins to be compiled."""

    def __init__(self, function: Any, then: Callable[[], Any]) -> None:
        self.function, self.then = function, then

    def on_start(self, event: Any) -> None:
        """Do it, where it is that function."""
        if event.data["dispatcher"] is self.function:
            self.then()

    def on_end(self, event: Any) -> None:
        """Do no more."""


class _Compiling(event.Listener):
    """What happens while a kernel of this package is compiled, and not read from disk.

    A person is told, once a process, why nothing seems to happen. That is not a warning: nothing is
    wrong, and whoever makes errors of warnings would get no result. And the collector of garbage
    waits: it would go through all that is in memory, many times, and find next to nothing.
    """

    def __init__(self) -> None:
        self.open = 0
        self.collects = False

    def on_start(self, event: Any) -> None:
        """Begin a kernel, maybe on the way to another one."""
        if is_of_this_package(event):
            _tell_once()
            self.open += 1
            if self.open == 1:
                self.collects = gc.isenabled()
                gc.disable()

    def on_end(self, event: Any) -> None:
        """End a kernel, compiled or not."""
        if is_of_this_package(event):
            self.open -= 1
            if self.open == 0 and self.collects:
                if gc.get_freeze_count() == 0:
                    # What was made counts as old: it is not gone through at once either.
                    gc.freeze()
                    gc.unfreeze()
                gc.enable()


def is_of_this_package(event: Any) -> bool:
    """Whether what is compiled is a kernel of this package."""
    # A function that somebody made of a text may have no module.
    module: str = event.data["dispatcher"].py_func.__module__ or ""
    return module.startswith(f"{__package__}.")


@cache
def _tell_once() -> None:
    logging.getLogger("soilwater").warning(
        "soilwater compiles its solver for this computer, which takes about 10 s, once; "
        "`python -m soilwater warm-up` does so beforehand."
    )


event.register("numba:compile", _Compiling())
