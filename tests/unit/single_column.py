"""One small column of two soils, with states and boundaries to take it through."""

import numpy as np
from grounds import MIDDLE_MIX as SAND

import soilwater as sw
from soilwater.kernels import column, rows
from soilwater.kernels.rows import Column, Soils
from soilwater.soils.kernel_table import stack_tables

LOAM = sw.VanGenuchten.texture_class("loam")
KINKED = sw.BrooksCorey(0.04, 0.38, 12.0, 1.8, 25.0)
SOILS = [SAND, LOAM, KINKED]
TABLES, SCALARS = stack_tables(SOILS)
ALL_SOILS = Soils(TABLES, SCALARS)

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
    "sealed": (rows.SEALED, 0.0),
    "free drainage": (rows.FREE_DRAINAGE, 0.0),
    "outflow": (rows.OUTFLOW, -28.3),
    "no outflow yet": (rows.OUTFLOW, 9.0),
    "held head": (rows.HELD_HEAD, -5.0),
}


def conditions_and_codes(base="outflow", *, stress=(1, 250.0, 3.0), held_surface=None):
    conditions = np.zeros(rows.N_CONDITIONS)
    codes = np.zeros(rows.N_CODES, dtype=np.int64)
    conditions[rows.SUPPLY] = 0.4
    conditions[rows.TRANSPIRATION_DEMAND] = 0.06
    conditions[rows.EVAPORATION_DEMAND] = 0.02
    conditions[rows.POND_LIMIT] = 0.5
    codes[rows.BASE_CODE], conditions[rows.BASE_VALUE] = BASES[base]
    if held_surface is not None:
        codes[rows.SURFACE_CODE] = rows.HELD_SURFACE
        conditions[rows.SURFACE_VALUE] = held_surface
    codes[rows.STRESS_CODE] = stress[0]
    conditions[rows.STRESS_0 : rows.STRESS_0 + len(stress) - 1] = stress[1:]
    conditions[rows.EVAPORATION_HALF_SUCTION] = 1.0e4
    conditions[rows.EVAPORATION_STEEPNESS] = 3.0
    conditions[rows.COMPENSATION_THRESHOLD] = 1.0
    conditions[rows.COMPENSATION] = 1.0
    return conditions, codes


def assembled(h, conditions, codes, *, dt=0.1, stored=None):
    """Work space and flows after an assembly."""
    work, flows = np.zeros((rows.N_WORK, Z.size)), np.zeros(rows.N_RATES)
    stored = np.full(Z.size, 0.05) if stored is None else stored
    one = Column(Z, SOIL, ROOT, conditions, codes)
    column.assemble(h, dt, stored, one, ALL_SOILS, work, flows)
    return work, flows
