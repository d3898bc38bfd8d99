"""Reading probe and meter surveys as they come: grids in inches, meter exports, clipboards.

Nothing is guessed silently. What the sheet settles is noted; what it leaves open stops the reading
with a sentence that says what the numbers look like and which argument settles it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from soilwater.survey.columns import Row, Sheet, plain_name
from soilwater.survey.depths import read_depths
from soilwater.survey.field_grid import as_rows
from soilwater.survey.geojson import is_geojson, table_of_points
from soilwater.survey.place import grid_positions, local_positions
from soilwater.survey.readings import read_readings
from soilwater.survey.rods import check_rods
from soilwater.survey.survey import Spot, Survey
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length
from soilwater.words.renamed import mind_words
from soilwater.words.set_right import Columns, Missing, is_bound, without_lines, without_missing
from soilwater.words.text_tables import read_text_table
from soilwater.words.units import number_to_house

MOST_LINES = 50_000
"""Longest file that is looked at for a survey: no crew reads so many spots."""


@mind_words()
def read_survey(
    source: Any,
    *,
    rod: Length | None = None,
    depth_unit: str | None = None,
    reading_unit: str | None = None,
    slope_unit: str | None = None,
    depth_from: str | None = None,
    green: str | None = None,
    grid_spacing: Length | None = None,
    near: tuple[float, float] | None = None,
    day_first: bool | None = None,
    columns: Columns | None = None,
    units: Mapping[str, str] | None = None,
    missing: Missing = (),
    leave_out: Sequence[int] = (),
    name: str = "",
    sheet: str | None = None,
) -> Survey:
    """Read a probe or meter survey from a file or a table in memory.

    Columns are known by their names: spot, green, depth (or probe), reading (or VWC, moisture),
    rod, date, time, meter, latitude and longitude or x and y, level (or elevation, staff), slope,
    mat, drop, catch can, area. Several rows of one spot are several visits to it.

    Parameters
    ----------
    source : path, DataFrame or mapping
        CSV or text file, Excel workbook, GeoJSON file of points, or a table in memory.
    rod : float, str or Quantity, optional
        Length of the rods of all readings [cm], before that of the sheet.
    depth_unit : str, optional
        Unit of depths where the sheet has none: ``"in"``, ``"cm"``, ``"mm"``.
    reading_unit : {"%", "1"}, optional
        Unit of readings where the sheet has none: % by volume, or a fraction.
    slope_unit : str, optional
        Unit of slopes where the sheet has none: ``"%"``, ``"deg"``, ``"1:n"``.
    depth_from : {"turf surface", "below mat"}, optional
        Where depths were measured from; the turf surface, mat included, when left out.
    green : str, optional
        Which green, where the sheet has several or spells one in several ways.
    grid_spacing : float, str or Quantity, optional
        Distance between grid lines [cm], for spots named like ``"B3"``: letters run east, numbers
        north.
    near : tuple of float, optional
        Latitude and longitude [degrees] of the place, to check positions against.
    day_first : bool, optional
        Whether 12/11/2026 is in November (True) or December (False), where dates leave it open.
    columns : mapping of str to str or sequence of str, optional
        Headers by what their columns hold, where the usual headers do not do: ``"spot"``,
        ``"depth"``, ``"reading"`` (one or several), ``"rod"``, ``"date"`` and so on, or
        ``"unused"``.
    units : mapping of str to str, optional
        Units of what has none on the sheet: ``"rod"``, ``"mat_thickness"``, ``"catch_depth"``,
        ``"drop_time"``, ``"area"``, ``"surface_level"``, ``"staff"``, ``"x"``, ``"y"``; and
        ``"W"`` or ``"S"`` of a longitude or latitude that lost its sign.
    missing : float, str or sequence of either, optional
        Texts of cells, or codes, that mean "nothing measured", besides blanks and -999.
    leave_out : sequence of int, optional
        Lines of the file (rows of a table in memory) that are left out, counted as messages do.
    name : str, optional
        Name of the survey; that of the green when left out.
    sheet : str, optional
        Worksheet of a workbook.

    Returns
    -------
    Survey
        Its notes say what was understood, taken for granted and left out.

    Raises
    ------
    InputError
        If anything is missing, ambiguous or impossible; all faults at once.

    Examples
    --------
    >>> read_survey({"cell": ["A1", "A2"], "probe (in)": ["14 3/4", "12+"]})
    Survey: 2 spots
      spot  depth                       readings (% by volume)  east, north (m)  more
      ----  --------------------------  ----------------------  ---------------  ----
      A1    37.5 cm (14.8 in)
      A2    at least 30.5 cm (12.0 in)
    - depths taken from the turf surface, mat included
    """
    if is_geojson(source):
        source = table_of_points(source)
    text = read_text_table(source, sheet=sheet, most_lines=MOST_LINES)
    faults = Faults(f"Survey {text.source}")
    text = without_lines(
        without_missing(as_rows(text, depth_unit, reading_unit), missing), leave_out
    )
    understood = Sheet(text, faults, named=columns or {}, units=_checked_units(units or {}, faults))
    if depth_from not in (None, "turf surface", "below mat"):
        understood.faults.add(f"depth_from={depth_from!r}", allowed='"turf surface" or "below mat"')
    if reading_unit not in (None, "%", "1"):
        understood.faults.add(f"reading_unit={reading_unit!r}", allowed='"%" or "1"')
    length = None
    if rod is not None:
        with understood.faults.catching():
            length = number_to_house(rod, "length", "rod")
    understood.columns_by_role()
    rows = understood.rows_of_green(green)
    understood.visits(rows)
    read_depths(understood, rows, depth_unit, depth_from)
    read_readings(understood, rows, length, day_first, reading_unit)
    _read_others(understood, rows, slope_unit)
    _read_levels(understood, rows)
    _read_positions(understood, rows, near)
    if grid_spacing is not None:
        with understood.faults.catching():
            spacing = number_to_house(grid_spacing, "length", "grid_spacing") / 100.0
            for spot, (x, y) in grid_positions(understood.found, spacing).items():
                understood.found[spot].update(x=x, y=y)
    understood.faults.raise_if_any()
    return understood.survey(name or understood.green)


UNITS = ("rod", "mat_thickness", "catch_depth", "drop_time", "area", "surface_level", "staff")
"""What `read_survey` takes units for; depths, readings and slopes have arguments of their own."""
PLACES = ("x", "y", "latitude", "longitude")


def _checked_units(units: Mapping[str, str], faults: Faults) -> Mapping[str, str]:
    for role in units:
        if role not in (*UNITS, *PLACES):
            faults.add(f'units: "{role}"', allowed=", ".join((*UNITS, *PLACES)))
    return units


@mind_words()
def join_surveys(first: Survey, second: Survey, *, same: Mapping[str, str] | None = None) -> Survey:
    """Join a survey of depths and one of readings, spot by spot.

    Parameters
    ----------
    first, second : Survey
        What both know of a spot is taken from the first; readings of both are kept.
    same : mapping of str to str, optional
        Spots of the second survey by their name in the first: ``{"No. 12": "12"}``.

    Returns
    -------
    Survey
        Spots of the first in its order, then those only the second has.

    Raises
    ------
    InputError
        If names differ only in spelling and `same` does not say whether they are one spot.
    """
    names = [spot.name for spot in first.spots]
    known = dict(same or {})
    faults = Faults("Joining surveys")
    if second.origin is not None:
        second = second.seen_from(first.origin or second.origin)
    for written, meant in known.items():
        if written not in [spot.name for spot in second.spots] or meant not in names:
            faults.add(f'same has "{written}" for "{meant}"', cure="name spots of both surveys")
    by_key = {plain_name(each): each for each in names}
    for spot in second.spots:
        match = by_key.get(plain_name(spot.name))
        if spot.name not in names and spot.name not in known and match is not None:
            faults.add(
                f'"{spot.name}" and "{match}" look like one spot',
                cure=f'confirm with same={{"{spot.name}": "{match}"}}, or rename it',
            )
    faults.raise_if_any()
    merged = {spot.name: spot for spot in first.spots}
    for spot in second.spots:
        target = known.get(spot.name, spot.name)
        merged[target] = _merged(merged[target], spot) if target in merged else spot
        check_rods(merged[target], faults)
    faults.raise_if_any()
    renamed = tuple(f'"{written}" joined to "{meant}"' for written, meant in known.items())
    return Survey(
        tuple(merged.values()),
        name=first.name,
        notes=(*first.notes, *second.notes, *renamed),
        origin=first.origin or second.origin,
    )


def _merged(spot: Spot, other: Spot) -> Spot:
    given: dict[str, Any] = {"readings": (*spot.readings, *other.readings)}
    if not spot.has_depth and other.has_depth:
        given.update(depth=other.depth, depth_at_least=other.depth_at_least)
    for key in (
        "x",
        "y",
        "surface_level",
        "slope",
        "mat_thickness",
        "catch_depth",
        "area",
    ):
        if getattr(spot, key) is None:
            given[key] = getattr(other, key)
    if spot.drop_time is None:
        given.update(drop_time=other.drop_time, drop_tests=other.drop_tests)
    return replace(spot, **given)


def _read_others(sheet: Sheet, rows: Sequence[Row], slope_unit: str | None) -> None:
    """Read slope, mat, drop test, catch can and area of each spot."""
    quantities = {
        "slope": "slope",
        "mat_thickness": "length",
        "catch_depth": "water_amount",
        "area": "area",
        "drop_time": "",
    }
    for role, quantity in quantities.items():
        if role not in sheet.columns:
            continue
        for spot, number, row in rows:
            cell = sheet.cell(row, role)
            where = f"{sheet.text.line_word} {number} ({spot})"
            if not cell or cell == "-":
                continue
            if is_bound(cell):
                sheet.notes.append(f'{where}: "{cell}" is a bound, no value: left out')
                continue
            with sheet.faults.catching(where):
                value = sheet.with_unit(cell, role, quantity, slope_unit or "")
                if sheet.found[spot].setdefault(role, value) != value:
                    raise InputError(
                        f"a second {role.replace('_', ' ')} of {spot}: keep one of them."
                    )


def _read_levels(sheet: Sheet, rows: Sequence[Row]) -> None:
    """Read levels of the surface, or of a staff, whose readings fall where the ground rises."""
    given = [role for role in ("surface_level", "staff") if role in sheet.columns]
    if len(given) > 1:
        sheet.faults.add("levels and staff readings in one sheet", cure="keep one of them")
        return
    for role in given:
        column = sheet.columns[role][0]
        header = sheet.text.columns[column]
        bare = [row[column] for _, _, row in rows if re.fullmatch(r"[-+\d.,]+", row[column])]
        if bare and not sheet.text.units[column] and role not in sheet.units:
            sheet.faults.add(
                f'column "{header}" has no unit: {bare[0]} can be metres, feet, inches or cm',
                cure=f'say units={{"{role}": "m"}} if it is in metres, or head it "{header} (m)"',
            )
            return
        for spot, number, row in rows:
            where = f"{sheet.text.line_word} {number} ({spot})"
            if sheet.number(row[column], where)[0] is None:
                continue
            with sheet.faults.catching(where):
                level = sheet.with_unit(row[column], role, "length", "")
                level = -level if role == "staff" else level
                if sheet.found[spot].setdefault("surface_level", level) != level:
                    raise InputError(f"a second level of {spot}: keep one of them.")
        if role == "staff":
            sheet.notes.append(f'"{header}" read from a staff: less on it is higher ground')


def _read_positions(sheet: Sheet, rows: Sequence[Row], near: tuple[float, float] | None) -> None:
    """Read positions in metres or as latitude and longitude."""
    if {"latitude", "longitude"} <= set(sheet.columns):
        cells = {
            spot: (sheet.cell(row, "latitude"), sheet.cell(row, "longitude"))
            for spot, _, row in rows
            if sheet.cell(row, "latitude") and sheet.cell(row, "longitude")
        }
        places, notes, sheet.origin = local_positions(
            cells,
            sheet.text.decimal,
            near,
            sheet.faults,
            sheet.units,
            (
                sheet.text.columns[sheet.columns["latitude"][0]],
                sheet.text.columns[sheet.columns["longitude"][0]],
            ),
        )
        sheet.notes += notes
        for spot, (x, y) in places.items():
            sheet.found[spot].update(x=x, y=y)
    elif {"x", "y"} <= set(sheet.columns):
        for spot, number, row in rows:
            for role in ("x", "y"):
                where = f"{sheet.text.line_word} {number} ({spot})"
                value, own = sheet.number(sheet.cell(row, role), where)
                written = sheet.text.units[sheet.columns[role][0]]
                unit = own or sheet.units.get(role, "") or written or "m"
                if value is not None:
                    with sheet.faults.catching(where):
                        metres = number_to_house(f"{value!r} {unit}", "length", role) / 100.0
                        sheet.found[spot][role] = metres
