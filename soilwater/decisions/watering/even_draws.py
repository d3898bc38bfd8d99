"""Two sets of draws, to make a plan on and to check it on, that each stand for thousands."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle

import numpy as np

from soilwater.decisions.watering.draws import Draw, drying, in_turn
from soilwater.ground.base_suction import BaseSuction
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand
from soilwater.lab.likely_memory import as_watered
from soilwater.learning.calibration import Calibration
from soilwater.learning.halves import FEW_SANDS, dealt_evenly_to_two, known_of
from soilwater.learning.representing import dealt_evenly, dealt_out, representing, standard
from soilwater.soils import Hysteretic, Soil
from soilwater.soils.at_rest import RestCurves
from soilwater.soils.side_by_side import water_contents
from soilwater.survey.too_short import beyond_reach
from soilwater.weather.series import Weather
from soilwater.words.arrays import FloatArray

MANY, MANY_SANDS = 2000, 400
"""Draws, and sands of them, whose spread is taken for that of all."""
_HELD_AT = np.array([20.0, 30.0, 40.0, 60.0, 100.0])
_CONDUCTS_AT = np.array([40.0, 60.0, 100.0])
"""Suctions [cm] at which a sand is known: with base and weather, and their products, they tell 97
to 99 % of the variance of the lowest reading, watered or not (25 to 42 cm, three sands)."""
_DRIED_BY = (0.5, 1.0)
"""Shares of what the weather asks for by which a column at rest is dried [1]: what it reads then
tells most of how dry a draw gets, watered or not."""
_WEIGHT = 2.0
"""How much more such a reading counts than any other feature. From 1.5 to 4 the tenth lowest of a
hundred readings is as certain (four greens)."""

_STEPS = (0.7548776662466927, 0.5698402909980532)
"""Multiples of these, less what is whole, fill a square evenly: 1/x and 1/x^2 where x^3 = x + 1
(Roberts 2018, The unreasonable effectiveness of quasirandom sequences, from memory)."""


def make_halves(
    sand: Sand,
    members: Sequence[Weather],
    base: BaseSuction,
    count: int,
    seed: int,
    turf: Turf,
    depth: float,
    rod: float,
) -> tuple[list[Draw], list[Draw]]:
    """Make two sets of draws that share no base, and no sand where there are `FEW_SANDS` or more.

    Each stands for all there may be: its draws are picked among a thousand, in which each sand
    meets all sorts of bases and weather, so that what is known of them is spread as in both
    thousands.

    Parameters
    ----------
    sand : Soil, FitResult or sequence of these
        The sand.
    members : sequence of Weather
        Equally likely weather.
    base : BaseSuction
        Band of the suction left at the base [cm].
    count : int
        How many draws each has.
    seed : int
        Of where the search for draws starts: those they are picked among are the same for all.
    turf : Turf
        What asks for water.
    depth : float
        Of a spot like those of the green [cm].
    rod : float
        Length of the rods [cm].
    """
    rng = np.random.default_rng(seed)
    many = max(MANY // 2, 4 * count)
    soils = as_watered(sand, MANY_SANDS)
    of_each: dict[Soil, list[Soil]] = {}
    for soil in soils:
        of_each.setdefault(drying(soil), []).append(soil)
    bases = _by_turns(base.spread(2 * many))
    drawn: list[Draw] = []
    held = water_contents(list(of_each), np.array([depth + base.best]))
    told = [np.mean([_of_sand(soil) for soil in each], axis=0) for each in of_each.values()]
    second = dealt_evenly_to_two(np.column_stack([held, told]))
    for half in (0, 1):
        if len(of_each) < FEW_SANDS:
            own = [soil for each in of_each.values() for soil in each[half::2] or each]
        else:
            own = [
                soil
                for each, late in zip(of_each.values(), second.tolist(), strict=True)
                for soil in each
                if late == half
            ]
        drawn += _together(own, members, bases[half], turf, depth + base.best)
    known = _known(drawn, turf, depth, rod)
    # As even as can be over few members, one given twice counting twice; of many those are picked
    # that stand for all.
    places: dict[int, list[int]] = {}
    for i, member in enumerate(members):
        places.setdefault(id(member), []).append(i)
    turns = {of_one: cycle(each) for of_one, each in places.items()}
    alike = (
        np.array([next(turns[id(draw.weather)]) for draw in drawn])
        if len(members) <= count
        else None
    )
    halves = []
    for half, spread in enumerate(_by_turns(base.spread(2 * count))):
        among = half * many + np.arange(many)
        chosen = representing(known, among, count, rng, alike)
        halves.append(_evened([drawn[k] for k in chosen], known[chosen], spread))
    return halves[0], halves[1]


def _together(
    soils: Sequence[Soil],
    members: Sequence[Weather],
    bases: FloatArray,
    turf: Turf,
    suction: float,
) -> list[Draw]:
    """Bring sands, weather and rising bases together so that each meets all sorts of the others.

    By chance the driest sand meets more of the dry weather, or less, and of two thousand draws the
    tenth lowest reading moves by that half as much as by which are picked of them. They stand for
    all there may be, whatever the seed: none shifts where the sequence begins.
    """
    held = water_contents([drying(soil) for soil in soils], np.array([suction]))[:, 0]
    ratio = [soil.suction_ratio if isinstance(soil, Hysteretic) else 1.0 for soil in soils]
    asked = [_of_weather(member, turf)[-1] for member in members]
    count = bases.size
    places = np.outer(np.arange(count) + 0.5, _STEPS) % 1.0
    rank = np.argsort(np.argsort(places, axis=0), axis=0)
    which_soil = np.lexsort(np.array([ratio, held]))[rank[:, 0] * len(soils) // count]
    which_member = np.argsort(asked, kind="stable")[rank[:, 1] * len(members) // count]
    return [
        Draw(soils[s], members[m], base, 0.0, 0.0)
        for s, m, base in zip(
            which_soil.tolist(), which_member.tolist(), bases.tolist(), strict=True
        )
    ]


def _by_turns(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Deal rising values out to two, so that neither has the larger ones."""
    pairs = values.reshape(-1, 2).copy()
    pairs[1::2] = pairs[1::2, ::-1]
    return pairs[:, 0], pairs[:, 1]


def _evened(picked: Sequence[Draw], known: FloatArray, bases: FloatArray) -> list[Draw]:
    """Spread bases, and what lies beyond a probe, as evenly as so few can be."""
    rank = np.argsort(np.argsort([draw.base for draw in picked]))
    beyond = beyond_reach((np.arange(len(picked)) + 0.5) / len(picked))
    dealt = dealt_out(known, beyond[:, None])
    return [
        draw._replace(base=float(bases[at]), beyond=float(beyond[k]))
        for draw, at, k in zip(picked, rank, dealt, strict=True)
    ]


def errors_dealt_out(
    drawn: Sequence[Draw],
    turf: Turf,
    depth: float,
    rod: float,
    spots: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Give the draws of each spot errors of its reading, in standard deviations.

    Parameters
    ----------
    drawn : sequence of Draw
        Of `make_halves`.
    turf, depth, rod
        As for it.
    spots : int
        How many.
    rng : numpy.random.Generator
        Source of the order in which they are dealt out.

    Returns
    -------
    ndarray, shape (spots, draws)
    """
    from scipy.special import ndtri

    known = _known(drawn, turf, depth, rod)
    normal = ndtri((np.arange(len(drawn)) + 0.5) / len(drawn))
    found = np.empty((spots, len(drawn)))
    for of_spot in found:
        mixed = rng.permutation(normal)
        of_spot[:] = mixed[dealt_out(known, mixed[:, None])]
    return found


def weather_dealt_out(calibration: Calibration, members: Sequence[Weather]) -> tuple[Weather, ...]:
    """Give each draw of a calibration a weather, so that each weather meets draws of all sorts.

    Parameters
    ----------
    calibration : Calibration
        What was learnt.
    members : sequence of Weather
        Equally likely weather, as even as can be over the draws of each half.
    """
    known = known_of(calibration.evidence, calibration.shared, calibration.own)
    of_each = standard(np.array([_of_weather(member, calibration.turf) for member in members]))
    given: list[Weather] = []
    for half in calibration.halves:
        turn = in_turn(half.size, len(members))
        order = dealt_evenly(known[half], of_each[turn])
        given += [members[k] for k in turn[order].tolist()]
    return tuple(given)


def _known(drawn: Sequence[Draw], turf: Turf, depth: float, rod: float) -> FloatArray:
    """List what is known of draws before they are run, as far apart as it tells them apart."""
    of_sand = {soil: _of_sand(soil) for soil in {draw.soil for draw in drawn}}
    of_weather = {id(each): _of_weather(each, turf) for each in {d.weather for d in drawn}}
    features = np.array(
        [(*of_sand[draw.soil], *of_weather[id(draw.weather)], draw.base) for draw in drawn]
    )
    asked = np.array([of_weather[id(draw.weather)][-1] for draw in drawn])
    soils = {soil: i for i, soil in enumerate(dict.fromkeys(drying(draw.soil) for draw in drawn))}
    number = np.array([soils[drying(draw.soil)] for draw in drawn])
    surface, depths = depth + features[:, -1], np.full(number.size, depth)
    curves, lost = RestCurves(list(soils)), np.maximum(asked, 0.0)
    dried = [curves.dried(number, surface, depths, share * lost, rod) for share in _DRIED_BY]
    return np.column_stack([standard(features), _WEIGHT * standard(np.column_stack(dried))])


def _of_weather(weather: Weather, turf: Turf) -> tuple[float, float]:
    """Tell what turf asks for beyond the rain, half way through and in all [mm]."""
    asked = np.cumsum(np.sum(turf.demand(weather), axis=0) - weather.rain)
    return float(asked[asked.size // 2]), float(asked[-1])


def _of_sand(soil: Soil) -> tuple[float, ...]:
    """List what a sand holds and conducts at some suctions, and how it remembers its wetting."""
    dries = drying(soil)
    memory = (
        (soil.suction_ratio, soil.rewetted_saturation)
        if isinstance(soil, Hysteretic)
        else (1.0, 1.0)
    )
    return (
        *dries.water_content(_HELD_AT).tolist(),
        *np.log(np.maximum(dries.conductivity(_CONDUCTS_AT), 1e-30)).tolist(),
        *memory,
    )
