"""Writing a site file: the whole of it into a new file, in units that it names."""

from __future__ import annotations

import json
import math
import os
from pathlib import Path
from typing import Any

from soilwater.ground.turf import Turf
from soilwater.site.file import TURFS, Green, SiteFile
from soilwater.site.weather import PLACE_WORDS, SiteWeather, WeatherTable
from soilwater.survey.survey import Spot
from soilwater.words.renamed import mind_words
from soilwater.words.safe_files import write_new


@mind_words()
def write_site_file(site: SiteFile, path: Path | str) -> Path:
    """Write a site into a new file, which `read_site_file` reads as the same.

    Parameters
    ----------
    site : SiteFile
        The site. Its tables and lab sheets stay where they are; the new file names them from
        where it lies.
    path : path
        The new file. A file that is there is never written over: it may hold remarks and lines
        of others. To change a site, edit its file; to add to its tables, use `SiteFile`.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    InputError
        If there is a file already.
    """
    path = Path(path)
    write_new(path, _as_toml(site, path.parent))
    return path


def _as_toml(site: SiteFile, folder: Path) -> str:
    lines = [f"name = {_text(site.name)}", ""]
    for sand in site.sands:
        lines += [f"[sand.{_key(sand.name)}]", f"sheet = {_text(_from(folder, sand.sheet))}"]
        lines += [f"{word} = {_text(value)}" for word, value in sand.settings]
        lines.append("")
    for gravel in site.gravels:
        if gravel.words:
            lines.append(f"[gravel.{_key(gravel.name)}]")
            lines += [f"{word} = {_value(value)}" for word, value in gravel.words] + [""]
    lines += [
        "[meter]",
        f"rod = {_measured(site.rod, 'cm')}",
        f"error = {_per_cent(site.meter_error)}",
        "",
        "[thresholds]",
        *(f"{each} = {_per_cent(getattr(site.thresholds, each))}" for each in _READINGS),
        "",
        "[crew]",
        f"hoses = {site.crew.hoses}",
        *_known("flow", site.crew.flow, "L/min"),
        *_known("hours", site.crew.hours, "h"),
        "",
        *_weather(site.weather, folder),
        "[tables]",
        f"readings = {_text(_from(folder, site.readings_path))}",
        f"water = {_text(_from(folder, site.water_path))}",
    ]
    for green in site.greens:
        lines += ["", *_green(green)]
    return "\n".join(lines) + "\n"


_READINGS = ("firm", "watch", "wilt")


def _weather(weather: SiteWeather, folder: Path) -> list[str]:
    lines = ["[weather]", f"days = {weather.days}"]
    if weather.expected:
        expected = ", ".join(_measured(each, "mm/day") for each in weather.expected)
        lines.append(f"expected = [{expected}]")
    if weather.overlap:
        lines.append(f"overlap = {_text(weather.overlap)}")
    if weather.place is not None:
        lines += ["", "[weather.place]"]
        for word in PLACE_WORDS:
            value = getattr(weather.place, word)
            if value is not None:
                lines.append(f"{word} = {value!r}")
    for word in ("station", "forecast"):
        table: WeatherTable | None = getattr(weather, word)
        if table is not None:
            files = ", ".join(_text(_from(folder, each)) for each in table.files)
            lines += ["", f"[weather.{word}]", f"files = [{files}]"]
            lines += [f"{name} = {_value(value)}" for name, value in table.settings]
    return [*lines, ""]


def _value(value: Any) -> str:
    """Write a text, a truth, a list or a small table."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def _green(green: Green) -> list[str]:
    lines = ["[[green]]", f"name = {_text(green.name)}", f"sand = {_text(green.sand)}"]
    lines += _turf(green.turf)
    if green.gravel:
        lines.append(f"gravel = {_text(green.gravel)}")
    lines += _known("water_table", green.water_table, "cm")
    if green.base_suction is not None:
        base = green.base_suction
        band = ", ".join(_measured(each, "cm") for each in (base.low, base.high))
        lines.append(
            f"base_suction = [{band}]"
            if base.low < base.high
            else f"base_suction = {_measured(base.best, 'cm')}"
        )
    return [*lines, "spots = [", *(f"  {_spot(each)}," for each in green.spots), "]"]


def _turf(turf: Turf) -> list[str]:
    kind = next((word for word, make in TURFS.items() if make().name == turf.name), "")
    lines = [f"turf = {_text(kind)}"]
    usual = TURFS[kind]()
    if turf.root_depth != usual.root_depth:
        lines.append(f"root_depth = {_measured(turf.root_depth, 'cm')}")
    if turf.crop_coefficient != usual.crop_coefficient:
        lines.append(f"crop_coefficient = {json.dumps(turf.crop_coefficient)}")
    return lines


def _spot(spot: Spot) -> str:
    parts = [f"name = {_text(spot.name)}"]
    if spot.has_depth:
        parts.append(f"depth = {_measured(spot.depth, 'cm')}")
    if spot.depth_at_least:
        parts.append("depth_at_least = true")
    for word, unit in (
        ("area", "m2"),
        ("mat_thickness", "cm"),
        ("x", "m"),
        ("y", "m"),
        ("surface_level", "cm"),
    ):
        value = getattr(spot, word)
        if value is not None:
            parts.append(f"{word} = {_measured(value, unit)}")
    if spot.slope is not None:
        parts.append(f"slope = {_per_cent(spot.slope)}")
    return f"{{ {', '.join(parts)} }}"


def _known(word: str, value: float, unit: str) -> list[str]:
    return [] if math.isnan(value) else [f"{word} = {_measured(value, unit)}"]


def _measured(value: float, unit: str) -> str:
    return _text(f"{value:.12g} {unit}")


def _per_cent(value: float) -> str:
    return _measured(100.0 * value, "%")


def _text(value: Any) -> str:
    """Write a text; what JSON escapes, TOML reads in the same way."""
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if name.isascii() and name.replace("-", "").isalnum() else _text(name)


def _from(folder: Path, file: Path) -> str:
    """Write a path as it is seen from a folder, with the slashes every system reads."""
    return Path(os.path.relpath(file, folder)).as_posix()
