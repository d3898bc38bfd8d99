"""What is installed, where compiled code is kept, and which examples there are.

``python -m soilwater`` tells; ``python -m soilwater warm-up`` compiles everything a run needs, so
that the first run of a talk or a job does not wait. ``python -m soilwater today SITE`` prints this
morning's plan of a site and writes the card for its crew.
"""

from __future__ import annotations

import argparse
import ast
import os
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path

import soilwater
from soilwater.ground.profile import Profile
from soilwater.ground.turf import Turf
from soilwater.kernels import entry_points
from soilwater.kernels.cache import SWITCH
from soilwater.report.card import morning_card
from soilwater.runs.meter import meter_reading
from soilwater.runs.processors import processors
from soilwater.runs.simulate import simulate
from soilwater.site.morning import morning_plan
from soilwater.site.reading import read_site_file
from soilwater.soils import VanGenuchten
from soilwater.weather.made import steady_weather
from soilwater.words.errors import SoilWaterError
from soilwater.words.safe_files import write_marked
from soilwater.words.unit_choice import UNIT_SYSTEMS, UnitSystem, use_units

EXAMPLES = Path(__file__).parents[1] / "examples"
"""Where a checkout keeps them; an installed package has none."""


def main(arguments: list[str] | None = None) -> None:
    """Carry out what the command line asks for.

    Parameters
    ----------
    arguments : list of str, optional
        Words after ``python -m soilwater``; those of the command line when left out.
    """
    parser = argparse.ArgumentParser(prog="python -m soilwater", description=soilwater.__doc__)
    tasks = parser.add_subparsers(dest="task")
    tasks.add_parser("about", help="versions, compiled code, threads, examples")
    tasks.add_parser("warm-up", help="compile what a run needs")
    morning = tasks.add_parser("today", help="this morning's plan of a site, and the crew's card")
    morning.add_argument("site", type=Path, help="the site file")
    morning.add_argument("--day", help="another morning, such as 2031-06-09")
    morning.add_argument("--card", type=Path, help="where to write the card")
    morning.add_argument("--units", choices=UNIT_SYSTEMS, default="both", help="units to read")
    given = parser.parse_args(arguments)
    if given.task == "today":
        try:
            told = today(given.site, given.day, given.card, given.units)
        except SoilWaterError as error:
            parser.exit(1, f"{error}\n")
    else:
        told = warm_up() if given.task == "warm-up" else about()
    try:
        print(told, flush=True)
    except BrokenPipeError:
        # Whoever reads has seen enough (`| head`); what is left goes nowhere, or Python would
        # complain of it when it ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def today(site: Path, day: str | None, card: Path | None, units: UnitSystem) -> str:
    """Plan a morning of a site, write the card for the crew, and tell both.

    Parameters
    ----------
    site : Path
        The site file.
    day : str or None
        The morning; today when None.
    card : Path or None
        Where the card goes; beside the site file, under its name and the day, when None.
    units : {"metric", "US", "both"}
        Units of both.

    Raises
    ------
    InputError
        If the site or its tables cannot be used, or the card would be written over something that
        this command did not write.
    """
    with use_units(units):
        # A bar goes to where errors go, and only where somebody looks.
        plan = morning_plan(read_site_file(site), day, progress=sys.stderr.isatty())
        path = card or site.parent / f"{site.stem}-{plan.day}-card.html"
        write_marked(path, morning_card(plan), "card of python -m soilwater today")
        return f"{plan}\n\nCard for the crew: {path}"


def about() -> str:
    """Say what is installed, where compiled code is kept, how many threads, which examples."""
    names = ("numpy", "numba", "xarray", "scipy")
    versions = ", ".join(f"{name} {version(name)}" for name in names)
    lines = [
        f"soilwater {soilwater.__version__} in {Path(__file__).parent}",
        f"Python {platform.python_version()}, {versions}",
        f"Compiled kernels: {compiled_place()}",
        f"Threads: a batch uses up to {processors()}, the processors this process may use",
        "Results in a notebook: run.soilwater",
        "",
        *examples(EXAMPLES),
    ]
    return "\n".join(lines)


def compiled_place() -> str:
    """Say where the compiled kernels are kept between processes."""
    if os.environ.get(SWITCH, "1") == "0":
        return f"not kept ({SWITCH}=0), compiled anew in every process"
    folder = entry_points.march_columns.stats.cache_path
    if folder is None:
        return "not kept, compiled anew in every process; set NUMBA_CACHE_DIR to a writable folder"
    return f"{folder}"


def examples(folder: Path) -> list[str]:
    """List the examples in a folder and how to run them.

    Parameters
    ----------
    folder : Path
        Where they may be.
    """
    scripts = sorted(folder.glob("*.py"))
    if not scripts:
        return ["Examples come with the source, in its folder examples."]
    width = max(len(script.name) for script in scripts)
    lines = [f"Examples, run from {folder.parent} with python examples/NAME:"]
    for script in scripts:
        text = ast.get_docstring(ast.parse(script.read_text(encoding="utf-8"))) or ""
        lines.append(f"  {script.name.ljust(width)}  {text.splitlines()[0] if text else ''}")
    notebooks = sorted(folder.glob("*.md"))
    if notebooks:
        width = max(len(notebook.name) for notebook in notebooks)
        lines += ["", "Notebooks there, which the documentation shows with what they print:"]
    for notebook in notebooks:
        text = notebook.read_text(encoding="utf-8")
        title = next(line for line in text.splitlines() if line.startswith("# "))
        lines.append(f"  {notebook.name.ljust(width)}  {title.removeprefix('# ')}")
    return lines


def warm_up() -> str:
    """Run one column and read its meter, so that all a run needs is compiled and kept."""
    begin = time.perf_counter()
    sand = VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    run = simulate(
        Profile.over_gravel(sand, 30.0), steady_weather(1, 5.0), turf=Turf.creeping_bentgrass()
    )
    meter_reading(run, rod=7.5)
    found = sum(entry_points.march_columns.stats.cache_hits.values())
    done = "found ready" if found else "compiled"
    return f"Kernels {done} in {time.perf_counter() - begin:.1f} s; kept in: {compiled_place()}"


if __name__ == "__main__":
    main()
