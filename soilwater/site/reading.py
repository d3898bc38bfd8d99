"""Reading a site file: every word checked, every fault told at once with its line."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.ground.base_suction import base_band
from soilwater.ground.turf import Turf
from soilwater.site.file import TURFS, Crew, Green, SandSheet, SiteFile
from soilwater.site.gravel import CLEAN, read_gravels
from soilwater.site.parts import Part, check_names, unknown_word
from soilwater.site.tables import read_readings, read_water
from soilwater.site.weather import read_site_weather
from soilwater.survey.survey import Spot
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Date
from soilwater.words.renamed import mind_words
from soilwater.words.times import as_time
from soilwater.words.toml_lines import toml_lines

WORDS = ("name", "sand", "gravel", "meter", "thresholds", "crew", "weather", "tables", "green")
"""Words at the left edge of a site file."""
SAND_WORDS = (
    "sheet", "sample", "suction_unit", "water_content_unit", "bulk_density", "particle_density",
    "porosity", "k_sat", "core_height", "suction_level",
)  # fmt: skip
"""Words of a sand; all but its sheet are arguments of `read_retention`."""
GREEN_WORDS = (
    "name", "sand", "turf", "root_depth", "crop_coefficient", "gravel", "base_suction",
    "water_table", "spots",
)  # fmt: skip
"""Words of a green."""
SPOT_QUANTITIES = ("depth", "area", "slope", "mat_thickness", "x", "y", "surface_level")
"""Words of a spot that need a unit."""


@mind_words()
def read_site_file(path: Path | str, *, now: Date | None = None) -> SiteFile:
    """Read a site file (TOML) and the tables beside it.

    Parameters
    ----------
    path : path
        The file; what it names lies in its folder or is named from there.
    now : datetime64 or str, optional
        Nothing was read or given later than this; the clock's time when left out.

    Returns
    -------
    SiteFile

    Raises
    ------
    InputError
        With every fault of the file, its lab sheets and its tables at once, each with its line:
        words that are not known, a spot twice, a reading from the future, dates that can be two.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path}: there is no such file.")
    text = _text_of(path)
    faults = Faults(path.name)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        faults.add(
            f"it cannot be read: {_told(str(error), text)}",
            cure="the file may be half-written, or a sign is missing; mend it there",
        )
        raise faults.as_error() from None
    clock = as_time(datetime.now() if now is None else now, "now")
    whole = Part(values, (), toml_lines(text), faults)
    whole.know(WORDS)
    sands = _sands(whole.part("sand"), path.parent)
    gravels = read_gravels(whole.part("gravel"))
    names = [list(whole.part(word).words()) for word in ("sand", "gravel")]
    names[1].append(CLEAN)
    greens = tuple(_green(part, *names) for part in whole.parts("green"))
    check_names(
        [(each.text("name", ""), each.where("name")) for each in whole.parts("green")],
        "green",
        faults,
    )
    if not greens:
        faults.add("there is no green", cure="describe each under its own [[green]]")
    rod, meter_error = _meter(whole.part("meter"))
    thresholds = _thresholds(whole.part("thresholds"))
    crew = _crew(whole.part("crew"))
    weather = read_site_weather(whole.part("weather"), path.parent, clock)
    tables = whole.part("tables")
    tables.know(("readings", "water", "day_first"))
    readings_path = path.parent / tables.text("readings", "readings.csv")
    water_path = path.parent / tables.text("water", "water.csv")
    day_first = tables.given("day_first")
    if day_first not in (None, True, False):
        faults.add(
            f"day_first is {day_first!r}", where=tables.where("day_first"), allowed="true or false"
        )
    spots = {each.name: tuple(spot.name for spot in each.spots) for each in greens}
    readings = read_readings(readings_path, spots, rod, clock, day_first, faults)
    water = read_water(water_path, spots, clock, day_first, faults)
    faults.raise_if_any()
    return SiteFile(
        path=path,
        name=whole.text("name"),
        sands=sands,
        gravels=gravels,
        greens=greens,
        thresholds=thresholds,
        rod=rod,
        meter_error=meter_error,
        crew=crew,
        weather=weather,
        readings=readings,
        water=water,
        readings_path=readings_path,
        water_path=water_path,
    )


def _text_of(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name}: it is not written in UTF-8; save it so.") from error


def _told(message: str, text: str) -> str:
    """Tell what is wrong with the text, its line first."""
    said, _, at = message.rpartition(" (at ")
    last = len(text.splitlines())
    place = at.rstrip(")") if at.startswith("line") else f"line {last}, where it ends"
    return f"{place}: {said[:1].lower()}{said[1:]}"


def _sands(part: Part, folder: Path) -> tuple[SandSheet, ...]:
    sands = []
    for name in part.words():
        each = part.part(name)
        each.know(SAND_WORDS)
        settings = tuple((word, each.text(word)) for word in SAND_WORDS[1:] if word in each)
        sand = SandSheet(name, folder / each.text("sheet", None), settings)
        sands.append(sand)
        if "sheet" not in each:
            continue
        if not sand.sheet.is_file():
            part.faults.add(f"there is no file {sand.sheet}", where=each.where("sheet"))
            continue
        with part.faults.catching(each.where("sheet")):
            sand.table()
    return tuple(sands)


def _green(part: Part, sands: list[str], gravels: list[str]) -> Green:
    part.know(GREEN_WORDS)
    name, sand = part.text("name", None), part.text("sand", None)
    if sand and sand not in sands:
        unknown_word(sand, sands, part.where("sand"), part.faults)
    spots = part.parts("spots")
    check_names(
        [(each.text("name", ""), each.where("name")) for each in spots], "spot", part.faults
    )
    if not spots:
        part.faults.add(f'green "{name}" has no spots', where=part.where())
    made = [_spot(each) for each in spots]
    return Green(
        name,
        sand,
        _turf(part),
        tuple(each for each in made if each is not None),
        **_base(part, gravels),
    )


def _spot(part: Part) -> Spot | None:
    part.know(("name", "depth_at_least", *SPOT_QUANTITIES))
    given: dict[str, Any] = {"name": part.text("name", None)}
    for word in SPOT_QUANTITIES:
        if word not in part:
            continue
        if isinstance(part.given(word), str):
            given[word] = part.given(word)
        else:
            part.measured(part.given(word), "length", word)
    if part.given("depth_at_least") is not None:
        given["depth_at_least"] = part.given("depth_at_least") is True
    if given["name"]:
        with part.faults.catching(part.where()):
            return Spot(**given)
    return None


def _turf(part: Part) -> Turf:
    changed: dict[str, Any] = {}
    if "root_depth" in part:
        changed = {"root_depth": part.number("root_depth", "length"), "fraction_above": None}
    if "crop_coefficient" in part:
        changed["crop_coefficient"] = part.given("crop_coefficient")
    kind = part.text("turf", "creeping bentgrass")
    if kind not in TURFS:
        unknown_word(kind, TURFS, part.where("turf"), part.faults)
        kind = "creeping bentgrass"
    turf = TURFS[kind]()
    if any(isinstance(value, float) and math.isnan(value) for value in changed.values()):
        return turf
    with part.faults.catching(part.where()):
        turf = replace(turf, **changed)
    return turf


def _base(part: Part, gravels: list[str]) -> dict[str, Any]:
    """Take what the file says of what lies below a green: one of three words, or none."""
    given = [word for word in ("gravel", "base_suction", "water_table") if word in part]
    if len(given) > 1:
        part.faults.add(
            f"{' and '.join(given)} are both given",
            where=part.where(given[1]),
            allowed="one of them",
        )
    elif "gravel" in part:
        name = part.text("gravel")
        if name and name not in gravels:
            unknown_word(name, gravels, part.where("gravel"), part.faults)
        return {"gravel": name}
    elif "water_table" in part:
        return {"water_table": part.number("water_table", "length")}
    elif "base_suction" in part:
        found = part.given("base_suction")
        values = found if isinstance(found, list) else [found]
        suctions = [part.measured(each, "suction", "base_suction") for each in values]
        if not any(math.isnan(each) for each in suctions):
            with part.faults.catching(part.where("base_suction")):
                return {"base_suction": base_band(suctions if len(values) > 1 else suctions[0])}
    return {}


def _meter(part: Part) -> tuple[float, float]:
    part.know(("rod", "error"))
    rod = part.number("rod", "length")
    return rod, part.number("error", "water_content", 0.025)


def _thresholds(part: Part) -> Thresholds:
    part.know(("firm", "watch", "wilt"))
    values = [part.number(word, "water_content") for word in ("firm", "watch", "wilt")]
    if not any(math.isnan(each) for each in values):
        with part.faults.catching(part.where()):
            return Thresholds(*values)
    return Thresholds(0.3, 0.2, 0.1)  # stands in until the faults are told


def _crew(part: Part) -> Crew:
    part.know(("flow", "hoses", "hours"))
    hoses = part.given("hoses")
    if hoses is not None and (type(hoses) is not int or hoses < 1):
        part.faults.add(
            f"hoses is {hoses!r}", where=part.where("hoses"), allowed="a whole number, 1 or more"
        )
    return Crew(
        flow=part.number("flow", "flow", math.nan),
        hoses=hoses if type(hoses) is int else 1,
        hours=part.number("hours", "duration", math.nan),
    )
