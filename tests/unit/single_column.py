"""One small column of two soils, with states and boundaries to take it through."""

import numpy as np
from grounds import MIDDLE_MIX as SAND

import soilwater as sw
from soilwater.kernels import column
from soilwater.soils.kernel_table import stack_tables

LOAM = sw.VanGenuchten.texture_class("loam")
KINKED = sw.BrooksCorey(0.04, 0.38, 12.0, 1.8, 25.0)
SOILS = [SAND, LOAM, KINKED]
TABLES, SCALARS = stack_tables(SOILS)

Z = np.array([0.0, 0.25, 0.6, 1.2, 2.2, 3.0, 3.25])
SOIL = np.array([0, 0, 0, 0, 2, 2], dtype=np.int64)
ROOT = np.array([0.3, 0.3, 0.2, 0.2, 0.0, 0.0, 0.0])
STATES = {
    "moist": -np.array([31.0, 30.2, 29.7, 28.0, 27.3, 26.9, 26.0]),
    "equal neighbours": np.full(7, -27.3),
    "hydrostatic": Z - 27.3,
    "dry": -np.array([3.1e5, 1.3e5, 4.1e4, 903.0, 140.7, 60.3, 40.1]),
    "saturated": Z + 0.07,
    "ponded and running off": np.array([0.83, 0.6, 0.2, -3.3, -9.1, -14.3, -17.3]),
    "ponded": np.array([0.31, 0.6, 0.2, -3.3, -9.1, -14.3, -17.3]),
    "wet over dry": np.array([0.2, -0.7, -6.3, -90.3, -91.1, -90.7, -90.2]),
}
BASES = {
    "sealed": (column.SEALED, 0.0),
    "free drainage": (column.FREE_DRAINAGE, 0.0),
    "outflow": (column.OUTFLOW, -28.3),
    "no outflow yet": (column.OUTFLOW, 9.0),
    "held head": (column.HELD_HEAD, -5.0),
}


def conditions_and_codes(base="outflow", *, stress=(1, 250.0, 3.0), held_surface=None):
    conditions = np.zeros(column.N_CONDITIONS)
    codes = np.zeros(column.N_CODES, dtype=np.int64)
    conditions[column.SUPPLY] = 0.4
    conditions[column.TRANSPIRATION_DEMAND] = 0.06
    conditions[column.EVAPORATION_DEMAND] = 0.02
    conditions[column.POND_LIMIT] = 0.5
    codes[column.BASE_CODE], conditions[column.BASE_VALUE] = BASES[base]
    if held_surface is not None:
        codes[column.SURFACE_CODE] = column.HELD_SURFACE
        conditions[column.SURFACE_VALUE] = held_surface
    codes[column.STRESS_CODE] = stress[0]
    conditions[column.STRESS_0 : column.STRESS_0 + len(stress) - 1] = stress[1:]
    conditions[column.EVAPORATION_HALF_SUCTION] = 1.0e4
    conditions[column.EVAPORATION_STEEPNESS] = 3.0
    conditions[column.COMPENSATION_THRESHOLD] = 1.0
    conditions[column.COMPENSATION] = 1.0
    return conditions, codes


def assembled(h, conditions, codes, *, dt=0.1, stored=None):
    matrix, water = np.zeros((column.N_MATRIX, Z.size)), np.zeros((2, Z.size))
    flows = np.zeros(column.N_RATES)
    column.assemble(
        h, dt, np.full(Z.size, 0.05) if stored is None else stored, Z, SOIL, ROOT, conditions,
        codes, TABLES, SCALARS, matrix, water, flows,
    )  # fmt: skip
    return matrix, water, flows
