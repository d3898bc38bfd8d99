"""Measurements of a sheet as suctions [cm] and water contents by volume [1], or asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from soilwater.lab import sheet_units as units
from soilwater.lab.retention import LAB_ERROR
from soilwater.lab.retention_checks import MINERAL_DENSITY, WATER_DENSITY
from soilwater.lab.sheet_doubts import (
    LARGEST_WATER,
    Doubt,
    doubt_of_a_seam,
    doubt_of_headers,
    doubt_of_suctions,
    doubt_of_water,
)
from soilwater.words.errors import Faults
from soilwater.words.set_right import say_columns, say_missing


@dataclass(frozen=True)
class Point:
    """One measurement, the cell of its water content as written, and the header above it.

    A saturated one has no suction to convert.
    """

    row: str
    sample: str
    replicate: str
    branch: str
    suction: float
    suction_unit: str
    saturated: bool
    water: float
    water_unit: str
    written: str
    column: str


def suctions_and_water(
    points: Sequence[Point],
    suction_unit: str | None,
    water_unit: str | None,
    facts: dict[str, float | None],
    notes: list[str],
    faults: Faults,
) -> tuple[Any, Any]:
    """Convert the points of one sample.

    Parameters
    ----------
    points : sequence of Point
        Of one sample, all branches and replicates.
    suction_unit, water_content_unit : str or None
        As the person stated them.
    facts : dict
        What else the sheet says of the sample, in house units.
    notes, faults : list of str, Faults
        Where what was understood, and what has to be asked, is noted.

    Returns
    -------
    suction, water_content : ndarray, shape (points,), or None
        Suctions [cm] and water contents [1]; None where they cannot be had.
    """
    written = np.array([0.0 if point.saturated else point.suction for point in points])
    values = np.array([point.water for point in points])
    own = points[0].suction_unit if points else ""
    if not (suction_unit and water_unit) and points:
        swapped = doubt_of_headers(written, values, suction_unit or own)
        if swapped is not None:
            _ask(swapped, faults)
            return None, None
    suction = _suctions(points, suction_unit, notes, faults)
    water = _water_contents(points, suction, water_unit, facts, notes, faults)
    asked = water_unit is None and any(
        units.water_unit(point.water_unit).basis is None for point in points
    )
    if suction is None or water is None or asked:
        return suction, water
    odd = odd_points(points, suction, water)
    rest = np.delete(np.arange(len(points)), odd)
    doubts = [
        doubt_of_suctions(np.abs(written[rest]), own, suction[rest], water[rest])
        if suction_unit is None and own
        else None,
        doubt_of_water(water) if water_unit is None else None,
        doubt_of_a_seam(own, suction[rest], water[rest])
        if suction_unit is None and {point.suction_unit for point in points} == {own} - {""}
        else None,
    ]
    if doubts[1] is not None and odd and water[rest].max() <= LARGEST_WATER:
        faults.add(
            f"{100 * water.max():.3g} % by volume is more than the pore space of a sand, and "
            "without it the others agree",
            where=", ".join(points[i].row for i in odd),
            cure=f"to leave out what is a slip, say {say_missing(points[i].written for i in odd)}",
        )
        return None, None
    for doubt in doubts:
        if doubt is not None:
            _ask(doubt, faults)
    return (None, None) if any(doubts) else (suction, water)


def odd_points(points: Sequence[Point], suction: Any, water: Any) -> list[int]:
    """Find the few points without which the water of each core falls as suction rises.

    Parameters
    ----------
    points : sequence of Point
        Of one sample.
    suction, water : ndarray, shape (points,)
        Suctions [cm] and water contents by volume [1].

    Returns
    -------
    list of int
        Their positions; none where no few make the difference, or where others are written alike.
    """
    written = [point.written for point in points]
    odd: set[int] = set()
    for core in dict.fromkeys(point.replicate for point in points):
        rows = [i for i, point in enumerate(points) if point.replicate == core]
        rows.sort(key=lambda i: suction[i])
        kept = _longest_fall([i for i in rows if 0.0 < water[i] < 1.0 and suction[i] >= 0.0], water)
        if len(rows) - len(kept) > max(1, len(rows) // 4):
            return []
        odd |= set(rows) - set(kept)
    if any(written.count(written[i]) > 1 for i in odd):
        return []
    return sorted(odd)


def _longest_fall(rows: Sequence[int], water: Any) -> list[int]:
    """Longest part of rows in rising suction over which water does not rise beyond lab error."""
    best: list[list[int]] = []
    for i in rows:
        before = [
            run for run in best if water[i] <= water[run[-1]] + 2.0 * np.sqrt(2.0) * LAB_ERROR
        ]
        best.append([*max(before, key=len, default=[]), i])
    return max(best, key=len, default=[])


def _ask(doubt: Doubt, faults: Faults) -> None:
    faults.add(doubt.what, cure=doubt.cure)


def _suctions(points: Sequence[Point], stated: str | None, notes: list[str], faults: Faults) -> Any:
    """Suctions [cm] of the points; with a likely unit where none is given, which is a fault."""
    values = np.array([point.suction for point in points])
    measured = [not point.saturated for point in points]
    used = [stated or point.suction_unit for point in points]
    bare = [
        point.row
        for point, unit, needed in zip(points, used, measured, strict=True)
        if needed and not unit
    ]
    log_axis = any(units.is_log_suction(unit) for unit in used)
    if values.size and values.max() <= 0.0 and values.min() < 0.0 and not log_axis:
        values = -values
        notes.append("negative pressures read as suctions")
    if values.size and values.min() < 0.0 < values.max() and not log_axis:
        signed = [p for p, value in zip(points, values, strict=True) if value < 0.0]
        signed = (
            signed
            if 2 * len(signed) < values.size
            else [p for p, value in zip(points, values, strict=True) if value > 0.0]
        )
        faults.add(
            f"suctions of both signs: {', '.join(p.row for p in signed)}",
            allowed="all above 0, or all below it as pressures",
            cure=f"if these are no measurements, say {say_missing(p.written for p in signed)}",
        )
        return None
    if bare and len(bare) < sum(measured):
        only = next(filter(None, used))
        faults.add(
            f"suction has a unit in some rows but not in {', '.join(bare)}",
            cure=f'confirm with suction_unit="{only}" if it is that of all',
        )
    if bare:
        best, sentence = units.guess_suction(values[np.array(measured)])
        if len(bare) == sum(measured):
            faults.add(sentence, cure=f'confirm with suction_unit="{best}"')
        used = [unit or best for unit in used]
    suction = np.zeros(values.size)
    for unit in dict.fromkeys(used):
        chosen = np.array([each == unit for each in used]) & np.array(measured)
        if not chosen.any():
            continue
        if units.is_log_suction(unit) and values[chosen].max() > units.LARGEST_LOG_SUCTION:
            best = units.rank_suction_units(float(np.median(values[chosen])))[0]
            faults.add(
                f"{values[chosen].max():g} is no base-10 logarithm of cm: the oven leaves "
                f"{units.LARGEST_LOG_SUCTION:g}",
                cure=f'confirm with suction_unit="{best}"',
            )
            return None
        before = len(faults)
        with faults.catching():
            suction[chosen] = units.suction_in_cm(values[chosen], unit)
        if len(faults) > before:
            return None
    if not bare and any(measured):
        notes.append(f"suction read as {', '.join(dict.fromkeys(filter(None, used)))}")
    return suction


def _water_contents(
    points: Sequence[Point],
    suction: Any,
    stated: str | None,
    facts: dict[str, float | None],
    notes: list[str],
    faults: Faults,
) -> Any:
    """Water contents by volume [1] of the points, or None where they cannot be had."""
    values = np.array([point.water for point in points])
    read = [units.water_unit(stated or point.water_unit) for point in points]
    fractions = _as_fractions(values, read, points, stated is not None, notes, faults)
    bases = {unit.basis for unit in read}
    if fractions is None or suction is None or not points:
        if points and None in bases:
            faults.add(
                "water content has no basis: by volume, by mass, or a degree of saturation?",
                cure='confirm with water_content_unit="% by volume" if that is what it is',
            )
        return None
    bulk_density, space = facts["bulk_density"], facts["porosity"]
    if space is None and bulk_density is not None:
        space = 1.0 - bulk_density / (facts["particle_density"] or MINERAL_DENSITY)
    if len(bases) > 1:
        faults.add(
            "some water contents are by volume and some by mass or of saturation",
            cure="read one of them, "
            + " or ".join(
                f"{say_columns(water_content=point.column)}"
                for point in {unit.basis: p for unit, p in zip(read, points, strict=True)}.values()
            ),
        )
        return None
    basis = bases.pop()
    if basis is None:
        basis = _asked_basis(values, fractions, suction, space, bulk_density, faults)
        if basis is None:
            return None
    else:
        notes.append(f"water content read as {_ending(basis)}")
    if basis in ("saturation", "air") and space is None:
        what = "a degree of saturation" if basis == "saturation" else "air-filled pore space"
        faults.add(
            f"{what} needs the total porosity to become water by volume",
            cure='give it, e.g. porosity="40 %"',
        )
        return None
    if basis == "air" and space is not None:
        notes.append(f"taken from the pore space {100 * space:.1f} %")
        return space - fractions
    if basis == "mass":
        if bulk_density is None:
            faults.add(
                "water content by mass needs the bulk density to become water by volume",
                cure='give it, e.g. bulk_density="1.55 g/cm3"',
            )
            return None
        notes.append(f"multiplied by the bulk density {bulk_density:g} g/cm3")
        return fractions * bulk_density / WATER_DENSITY
    if basis == "saturation" and space is not None:
        notes.append(f"multiplied by the pore space {100 * space:.1f} %")
        return fractions * space
    return fractions


def _ending(basis: str) -> str:
    return f"of {basis}" if basis in ("saturation", "air") else f"by {basis}"


def _asked_basis(
    values: Any,
    fractions: Any,
    suction: Any,
    space: float | None,
    bulk_density: float | None,
    faults: Faults,
) -> str | None:
    """Ask on which basis the water contents are; the likeliest, if it can be converted."""
    wettest = int(np.argmax(fractions))
    basis, sentence = units.guess_basis(
        float(fractions[wettest]), float(suction[wettest]), space, bulk_density
    )
    scale = "%" if np.max(values) > 1.0 else "fraction"
    needs = ""
    if basis == "mass" and bulk_density is None:
        needs = ' and the bulk density measured, e.g. bulk_density="1.55 g/cm3"'
    elif basis == "saturation" and space is None:
        needs = ' and the porosity measured, e.g. porosity="40 %"'
    faults.add(sentence, cure=f'confirm with water_content_unit="{scale} {_ending(basis)}"{needs}')
    return None if needs else basis


def _as_fractions(
    values: Any,
    read: Sequence[units.WaterUnit],
    points: Sequence[Point],
    stated: bool,
    notes: list[str],
    faults: Faults,
) -> Any:
    """Numbers as fractions; None and a fault where per cent and fractions are mixed up.

    Above 1 a number can only be per cent, and a column of numbers up to 1 only fractions: no
    drying test of a sand starts at 1 per cent. Both are said in a note, neither is a guess.
    """
    if values.size == 0:
        return None
    large = values > 1.0
    # A sand of 1 per cent and one of nothing but water: among larger numbers it is the first.
    large |= (values == 1.0) & large.any()
    scales = [unit.scale for unit in read]
    if set(scales) == {0.001}:
        return values / 1000.0
    ending = _ending(read[0].basis or "volume")
    open_scale = np.array([scale is None for scale in scales])
    all_percent = all(scale == 0.01 for scale in scales)
    if not large.any() and values.max() > 0.05 and all_percent and not stated:
        faults.add(
            f"water contents of {values.min():g} to {values.max():g} under a per cent sign: a sand "
            f"that holds {values.max():g} % when wettest, or fractions ({100 * values.max():.3g} "
            "%)?",
            cure=f'confirm with water_content_unit="fraction {ending}" if fractions, or '
            f'water_content_unit="% {ending}" if that is what they are',
        )
        return None
    stated_fraction = np.array([scale == 1.0 for scale in scales])
    stated_percent = np.array([scale == 0.01 for scale in scales])
    # Per cent below 1 at the dry end of a long curve is real; before a row of more it is not.
    followed = np.append(np.cumsum(large[::-1])[::-1][1:], 0) > 0
    small = ~large & ((stated_percent & followed) | (open_scale & large.any()))
    # A hundredfold fall at one row, from which they go on as fractions would, is none of the sand.
    last = ~large & stated_percent & (values > 0.0) & large.any()
    if last.sum() > 1 and 100.0 * values[last].max() <= values[large].min():
        small |= last
    if small.any() or np.any(large & stated_fraction):
        few = large if large.all() or large.sum() <= (~large).sum() else ~large
        at = np.flatnonzero(few).tolist()
        listed = ", ".join(f"{points[i].row} ({values[i]:g})" for i in at)
        rest = values[~few]
        if rest.size:
            faults.add(
                f"mixed fractions and per cents: {listed} among numbers of {rest.min():g} to "
                f"{rest.max():g}",
                cure="write them all alike, or leave these out with "
                + say_missing(points[i].written for i in at),
            )
        else:
            faults.add(
                f"per cents in a column of fractions: {listed}",
                cure=f'confirm with water_content_unit="% {ending}"',
            )
        return None
    if open_scale.any():
        notes.append(f"water contents read as {'per cent' if large.any() else 'fractions'}")
    return np.where(stated_percent | large, values / 100.0, values)
