"""What sands were measured to hold while wetted, against what is drawn for want of a wetting curve.

Points of five sands with both branches measured, from the database of Leij et al. (1996),
EPA/600/R-96/095 ("for use in the public domain"), version 2.0, doi 10.15482/USDA.ADC/1173246; by
their codes there. The drying points alone are fitted, by a general library; the wetting ones are
foretold.
"""

from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares

import soilwater as sw

# Code: drying and wetting points, (suction [cm], water content).
MEASURED = {
    "1410, medium sand (Shen & Jaynes)": (
        [(6, .3567), (11, .3504), (16, .3492), (20, .3362), (21, .3099), (22, .284), (24, .2218),
         (27, .1622), (30, .1131), (34, .0856), (38, .0739), (44, .0607), (47, .0541)],
        [(5, .3566), (9, .3521), (12, .3305), (13, .2866), (15, .248), (17, .1843), (19, .15),
         (23, .1146), (25, .0985), (32, .0733), (41, .0642)],
    ),
    "3340, Wolfheze sand": (
        [(3, .317), (8, .317), (13, .295), (19, .263), (25, .226), (27, .189), (33, .155),
         (37, .122), (49, .093), (53, .089), (80, .073), (145, .065)],
        [(3, .264), (5, .239), (9, .217), (11, .196), (17, .182), (19, .167), (25, .136),
         (28, .12), (38, .091), (42, .093), (57, .074), (83, .061)],
    ),
    "4940, sand I (Poulovassilis 1970)": (
        [(16, .259), (18, .238), (20, .224), (21, .213), (23, .199), (25, .177), (27, .17),
         (30, .142), (31, .131), (33, .108), (36, .088)],
        [(8, .264), (10, .254), (12, .237), (14, .226), (15, .209), (16, .195), (18, .182),
         (19, .159), (21, .14), (25, .116), (36, .088)],
    ),
    "4880, Plainfield sand (Black et al. 1969)": (
        [(5, .467), (10, .461), (15, .448), (20, .414), (26, .372), (31, .316), (35, .26),
         (40, .231), (45, .209), (56, .179), (66, .161), (80, .144), (101, .132),
         (153, .116), (201, .105)],
        [(2, .326), (5, .325), (10, .323), (16, .321), (20, .316), (26, .284), (31, .242),
         (36, .187), (40, .144), (45, .112), (51, .091), (55, .079), (66, .072), (89, .067),
         (127, .06), (153, .057), (199, .053)],
    ),
    "1310, river sand (Dane & Hruska 1983)": (
        [(28, .144), (35, .122), (38, .112), (40, .106), (42, .082), (47, .073), (52, .058),
         (56, .048)],
        [(18, .2), (22, .1525), (25, .125), (27, .103), (28, .098), (31, .086), (37, .069)],
    ),
}  # fmt: skip


def fitted(points):
    """The sand through drying points, by least squares."""
    suction, water = np.array(points).T

    def soil(p):
        return sw.VanGenuchten(p[0], p[1], np.exp(p[2]), 1.0 + np.exp(p[3]), 10.0)

    most = max(water.max() + 0.01, 0.25)
    tries = [
        least_squares(
            lambda p: soil(p).water_content(suction) - water,
            [0.04, most, np.log(alpha), np.log(n)],
            bounds=([0.0, water.max() - 0.01, -7.0, -3.0], [0.15, 0.5, 0.0, 2.5]),
        )
        for alpha in (0.03, 0.06)
        for n in (1.5, 4.0)
    ]
    return soil(min(tries, key=lambda each: each.cost).x)


class Errors(NamedTuple):
    """Median distance from the wetting points of a sample [1], and how many there are."""

    likely: float
    drying: float
    points: int


def foretold(sample, suction):
    """Water on drying, and 40 draws of water on wetting, from the drying points of a sample."""
    soil = fitted(MEASURED[sample][0])
    likely = [each.wetting_water_content(suction) for each in sw.likely_memories(soil, 40)]
    return soil.water_content(suction), np.array(likely)


def median_errors(sample):
    """Errors of what is drawn from the drying points alone, and of a curve without a memory."""
    suction, water = np.array(MEASURED[sample][1]).T
    drying, likely = foretold(sample, suction)
    return Errors(
        float(np.median(abs(np.median(likely, axis=0) - water))),
        float(np.median(abs(drying - water))),
        suction.size,
    )
