"""Gravel below a root zone: assumed as a blanket by its own curve, and written out as a layer."""

import numpy as np
from grounds import MIDDLE_MIX, STRAIGHT_SAND, WET_MIX

import soilwater as sw

SANDS = {"B": MIDDLE_MIX, "C": WET_MIX, "D": STRAIGHT_SAND}


def gravel_of(alpha, n):
    """Clean gravel of a given curve; what it conducts is that of the published one."""
    return sw.VanGenuchten(0.02, 0.36, alpha, n, 3600.0, name="gravel")


def over(blanket, sand="B", depth=30.0):
    """Root zone over a blanket of gravel."""
    return sw.Profile.over_gravel(SANDS[sand], depth, gravel=blanket)


def written_out(blanket, sand="B", depth=30.0):
    """The same with the gravel as a layer, which lets water out below as it drips."""
    layers = [
        sw.Layer(SANDS[sand], depth, "root zone"),
        sw.Layer(blanket.gravel, blanket.thickness, "gravel"),
    ]
    return sw.Profile(layers, sw.SeepageFace())


def at_interface(run, depth=30.0):
    """Suction where the sand meets the gravel [cm]."""
    node = int(np.argmin(abs(run.node_depth.values - depth)))
    return run.node_suction.isel(node_depth=node).values


def dried_for_a_fortnight(blanket, sand="B", depth=30.0):
    """Sixteen days at 5 mm/day after a soaking: blanket, and layer on a finer mesh."""
    weather = sw.steady_weather(16, "5 mm/day")
    return tuple(
        sw.simulate(profile, weather, turf=sw.Turf(15.0), output="12 h", refinement=refinement)
        for profile, refinement in (
            (over(blanket, sand, depth), 1.0),
            (written_out(blanket, sand, depth), 2.0),
        )
    )
