"""Spots and readings that tests of a diagnosis ask about, in a mix that is known exactly."""

from functools import cache

import numpy as np
from scipy.integrate import quad

from soilwater.decisions.spots.causes import CAUSES, NAMES
from soilwater.decisions.spots.diagnosis import diagnose
from soilwater.decisions.spots.states import Common, Prior, draw_level
from soilwater.soils import VanGenuchten
from soilwater.survey.survey import Reading, Spot, Survey

BY_NAME = {cause.name: cause for cause in CAUSES}
MIX = VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
ROD = 7.6
ONLY_DEPTH_AND_METER = dict.fromkeys(NAMES, 0.0) | {"depth": 0.6, "meter": 0.4}
NOTHING_UNKNOWN = {"base_suction": 3.0, "meter_offset": 0.0, "probe_error": 0.0}


def drained(depth, base=3.0, rod=ROD, soil=MIX, scale=1.0):
    """Mean water content over a rod by adaptive quadrature of the retention curve."""
    total, _ = quad(lambda z: soil.water_content(scale * (depth + base - z)), 0.0, rod)
    return total / rod


def spot(name, depth, value, rod=ROD, **more):
    return Spot(name, depth, readings=(Reading(value, rod=rod),), **more)


def usual_spots(count=6, depth=30.0):
    return [spot(f"A{i}", depth, drained(depth)) for i in range(count)]


@cache
def dry_spot():
    return diagnose(Survey([*usual_spots(), spot("dry", 31.0, 0.15)]), MIX)


def one(survey_spot, *, among=(), **settings):
    return diagnose(Survey([survey_spot, *among]), MIX, **settings).spot(survey_spot.name)


def level_draw(n, spot_=None):
    """States of a spot that no cause has touched."""
    common = Common(np.zeros(n, int), np.full(n, 3.0), np.zeros(n))
    prior = Prior(1.0, 30.0, 6.0, np.nan, drained=2, rewetted=64)
    return draw_level(spot_ or Spot("S", 30.0), common, prior, 16, np.random.default_rng(1))
