"""CVODE of SUNDIALS driven from compiled code alone: no Python between it and the equations.

Hindmarsh et al. (2005), ACM Trans. Math. Softw. 31:363. The C library is the one that scikit-sundae
ships; its functions are called as its C interface declares them (SUNDIALS 7).
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from ctypes import POINTER, byref, c_double, c_int, c_int32, c_long, c_void_p
from functools import cache
from importlib.metadata import files
from typing import Any

import numpy as np
import sksundae.cvode  # noqa: F401  loads the libraries that those below need
from numba import carray, cfunc, types
from numpy.typing import NDArray

BDF, NORMAL = 2, 1
RIGHT_HAND_SIDE = types.intc(
    types.double, types.voidptr, types.voidptr, types.CPointer(types.double)
)

_SIGNATURES = {
    "core": {
        "SUNContext_Create": (c_int, [c_int, POINTER(c_void_p)]),
        "SUNContext_ClearErrHandlers": (c_int, [c_void_p]),
        "SUNContext_Free": (c_int, [POINTER(c_void_p)]),
        "SUNLinSolFree": (c_int, [c_void_p]),
        "SUNMatDestroy": (None, [c_void_p]),
        "N_VDestroy": (None, [c_void_p]),
        "N_VGetArrayPointer": (POINTER(c_double), [c_void_p]),
    },
    "nvecserial": {"N_VMake_Serial": (c_void_p, [c_int32, c_void_p, c_void_p])},
    "sunmatrixband": {"SUNBandMatrix": (c_void_p, [c_int32, c_int32, c_int32, c_void_p])},
    "sunlinsolband": {"SUNLinSol_Band": (c_void_p, [c_void_p, c_void_p, c_void_p])},
    "cvode": {
        "CVodeCreate": (c_void_p, [c_int, c_void_p]),
        "CVodeInit": (c_int, [c_void_p, c_void_p, c_double, c_void_p]),
        "CVodeSStolerances": (c_int, [c_void_p, c_double, c_double]),
        "CVodeSetUserData": (c_int, [c_void_p, c_void_p]),
        "CVodeSetLinearSolver": (c_int, [c_void_p, c_void_p, c_void_p]),
        "CVodeSetMaxNumSteps": (c_int, [c_void_p, c_long]),
        "CVodeSetMaxStep": (c_int, [c_void_p, c_double]),
        "CVode": (c_int, [c_void_p, c_double, c_void_p, POINTER(c_double), c_int]),
        "CVodeGetNumSteps": (c_int, [c_void_p, POINTER(c_long)]),
        "CVodeGetNumRhsEvals": (c_int, [c_void_p, POINTER(c_long)]),
        "CVodeGetNumLinRhsEvals": (c_int, [c_void_p, POINTER(c_long)]),
        "CVodeGetNumJacEvals": (c_int, [c_void_p, POINTER(c_long)]),
        "CVodeFree": (None, [POINTER(c_void_p)]),
    },
}


@cache
def _library() -> dict[str, Any]:
    """Functions of the C library by name."""
    functions = {}
    for part, signatures in _SIGNATURES.items():
        (file,) = [
            each for each in files("scikit-sundae") or () if f"libsundials_{part}-" in str(each)
        ]
        library = ctypes.CDLL(str(file.locate()))
        for name, (result, arguments) in signatures.items():
            function = getattr(library, name)
            function.restype, function.argtypes = result, arguments
            functions[name] = function
    return functions


def compile_right_hand_side(rates: Callable[..., None]) -> Any:
    """A C function for CVODE out of a compiled ``rates(t, y, y_dot, data)``.

    `data` is a flat array whose first two numbers are its own length and the number of unknowns.
    """
    values_of = _library()["N_VGetArrayPointer"]

    @cfunc(RIGHT_HAND_SIDE, error_model="numpy")
    def right_hand_side(t, y, y_dot, data):  # type: ignore[no-untyped-def]
        n = int(data[1])
        rates(
            t,
            carray(values_of(y), (n,)),
            carray(values_of(y_dot), (n,)),
            carray(data, (int(data[0]),)),
        )
        return 0

    return right_hand_side


def integrate(
    right_hand_side: Any,
    y: NDArray[np.float64],
    times: NDArray[np.float64],
    data: NDArray[np.float64],
    *,
    rtol: float,
    atol: float,
    longest_step: float = 0.0,
    most_steps: int = 20_000,
) -> tuple[NDArray[np.float64], dict[str, int]]:
    """States at `times` after the first, NaN where CVODE gave up, and the work done.

    Variable-order backward differences, tridiagonal Jacobian by differences, as CVODE does it.
    """
    c = _library()
    n = y.size
    state, states = y.copy(), np.full((times.size - 1, n), np.nan)
    context, reached, count = c_void_p(), c_double(), c_long()
    c["SUNContext_Create"](0, byref(context))
    c["SUNContext_ClearErrHandlers"](context)
    vector = c["N_VMake_Serial"](n, state.ctypes.data, context)
    matrix = c["SUNBandMatrix"](n, 1, 1, context)
    linear = c["SUNLinSol_Band"](vector, matrix, context)
    memory = c_void_p(c["CVodeCreate"](BDF, context))
    c["CVodeInit"](memory, right_hand_side.address, times[0], vector)
    c["CVodeSStolerances"](memory, rtol, atol)
    c["CVodeSetUserData"](memory, data.ctypes.data)
    c["CVodeSetLinearSolver"](memory, linear, matrix)
    c["CVodeSetMaxNumSteps"](memory, most_steps)
    c["CVodeSetMaxStep"](memory, longest_step)
    for i, time in enumerate(times[1:]):
        if c["CVode"](memory, time, vector, byref(reached), NORMAL) < 0:
            break
        states[i] = state
    work = {}
    for name in ("Steps", "RhsEvals", "LinRhsEvals", "JacEvals"):
        c[f"CVodeGetNum{name}"](memory, byref(count))
        work[name] = count.value
    c["CVodeFree"](byref(memory))
    c["SUNLinSolFree"](linear)
    c["SUNMatDestroy"](matrix)
    c["N_VDestroy"](vector)
    c["SUNContext_Free"](byref(context))
    return states, {
        "steps": work["Steps"],
        "calls": work["RhsEvals"] + work["LinRhsEvals"],
        "jacobians": work["JacEvals"],
    }
