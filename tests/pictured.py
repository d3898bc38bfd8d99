"""The green that pictures are drawn of, and how a test finds what a picture shows."""

from dataclasses import replace

import numpy as np
from grounds import MIDDLE_MIX

import soilwater as sw

SAND = replace(MIDDLE_MIX, name="sand")
LOAM = sw.VanGenuchten.texture_class("loam")
GREEN = sw.Profile.over_gravel(SAND, "12 in", base_suction=3.0)
TURF = sw.Turf.creeping_bentgrass()
WEATHER = sw.steady_weather(4, "5 mm/day")
ROD = "3 in"
BANDS = {"firm": (0.14, "18 %"), "watch": (0.10, 0.14), "wilt": (0.0, 0.10)}


def texts_of(ax):
    return [text.get_text() for text in ax.texts]


def line_called(ax, label):
    (line,) = [line for line in ax.lines if line.get_label() == label]
    return line


def extent_of(collection):
    """Corners of what a filled area covers."""
    vertices = np.vstack([path.vertices for path in collection.get_paths()])
    return vertices.min(axis=0), vertices.max(axis=0)
