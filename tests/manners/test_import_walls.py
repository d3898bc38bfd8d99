"""The floors of the house: a module imports its own floor and lower ones, never an upper one."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import soilwater

PACKAGE = Path(soilwater.__file__).parent

# A folder is a floor, and so is the file of an edge. Two on one floor know nothing of each other,
# and neither do the wings of a folder, which may use what lies in the folder itself.
FLOORS = {
    "words": 0,
    "kernels": 1,
    "soils": 2,
    "lab": 3,
    "survey": 3,
    "weather": 3,
    "ground": 4,
    "runs": 5,
    "learning": 6,
    "decisions": 7,
    "accessor": 8,
    "site": 8,
    "plot": 9,
    "explorer": 10,
    "report": 10,
    "__main__": 11,
}
WINGS = {
    f"{folder}.{wing.name}"
    for folder in FLOORS
    for wing in (PACKAGE / folder).glob("*/")
    if (wing / "__init__.py").exists()
}
# Third-party packages that only some modules may know.
ONLY_IN = {
    "matplotlib": {"plot", "report"},
    "pint": {"words"},
    "openpyxl": {"words"},
    "jinja2": {"explorer", "report"},
    "sklearn": {"ground"},
}
# Kernels know numbers: no labels, no units, no other floor. The one exception is the class of the
# warning they give when nothing can be cached.
KERNELS_MAY_IMPORT = {"soilwater.kernels", "soilwater.words.errors", "numpy", "numba", "llvmlite"}
LOADED_ONLY_WHEN_NEEDED = (
    "matplotlib",
    "jinja2",
    "scipy.optimize",
    "scipy.spatial",
    "sklearn",
    "pint",
    "tqdm",
    "dask",
    "distributed",
    "zarr",
    "openpyxl",
)

FILES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def module_of(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def top_of(module):
    """First name below soilwater: the key in FLOORS."""
    return module.split(".")[1]


def is_module(name):
    path = PACKAGE.parent.joinpath(*name.split("."))
    return path.with_suffix(".py").exists() or (path / "__init__.py").exists()


def imports_of(source, module, *, nested=True):
    """Full names of the modules a source imports, those inside functions included if `nested`."""
    tree = ast.parse(source)
    found = set()
    for node in ast.walk(tree) if nested else top_level(tree.body):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative import in line {node.lineno}"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                found.add(inner if is_module(inner) else node.module)
    return found


def top_level(body):
    """Statements carried out on import: neither inside functions nor for type checkers only."""
    for node in body:
        if isinstance(node, ast.If) and "TYPE_CHECKING" not in ast.dump(node.test):
            yield from top_level([*node.body, *node.orelse])
        elif isinstance(node, ast.Try):
            yield from top_level([*node.body, *(s for h in node.handlers for s in h.body)])
        else:
            yield node


def every_import(*, nested=True):
    """What each module imports."""
    return {
        module_of(path): imports_of(path.read_text(), module_of(path), nested=nested)
        for path in FILES
    }


IMPORTS = every_import()
PAIRS = sorted((module, name) for module, names in IMPORTS.items() for name in names)


def test_every_module_has_a_floor():
    tops = {top_of(module) for module in IMPORTS}
    assert tops <= set(FLOORS), "give the new module its floor in this file"


def wing_of(module):
    """The wing a module lies in, or ""."""
    return next((wing for wing in WINGS if f"{module}.".startswith(f"soilwater.{wing}.")), "")


def breaks_a_wall(module, name):
    """Whether a module may not import what it does: an upper floor, a neighbour, another wing."""
    room, wing = top_of(module), wing_of(module)
    if name == "soilwater":
        return room != "__main__"
    if not name.startswith("soilwater."):
        return False
    other = top_of(name)
    # A wing may be handed out by its folder, but no wing reaches into another.
    reaches = other == room and wing and wing_of(name) not in ("", wing)
    return (other != room and FLOORS[other] >= FLOORS[room]) or bool(reaches)


def test_no_module_imports_an_upper_floor_or_a_neighbour():
    assert [pair for pair in PAIRS if breaks_a_wall(*pair)] == []


def test_modules_do_not_import_one_another_in_a_circle():
    waits_for = {
        module: {name for name in names if name.startswith("soilwater.") and name != module}
        for module, names in every_import(nested=False).items()
    }
    # `from soilwater.soils import X` inside soils would wait for the package that is being made.
    done = set()
    while ready := {m for m, needed in waits_for.items() if m not in done and needed <= done}:
        done |= ready
    assert not set(waits_for) - done, f"circle among {sorted(set(waits_for) - done)}"


def test_kernels_know_only_numbers():
    known = {*KERNELS_MAY_IMPORT, *sys.stdlib_module_names}
    beyond = [
        (module, name)
        for module, name in PAIRS
        if top_of(module) == "kernels"
        and name.split(".")[0] not in known
        and not any(f"{name}.".startswith(f"{each}.") for each in KERNELS_MAY_IMPORT)
    ]
    assert beyond == []


def test_some_packages_are_known_in_one_place_only():
    elsewhere = [
        (module, name)
        for module, name in PAIRS
        if top_of(module) not in ONLY_IN.get(name.split(".")[0], {top_of(module)})
    ]
    assert elsewhere == []


def loaded_after(code):
    """Names of the modules a fresh interpreter has loaded after `code`."""
    shown = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint('\\n'.join(sys.modules))"],
        check=True,
        capture_output=True,
        text=True,
        cwd=PACKAGE.parent,
        env=os.environ,
    )
    return set(shown.stdout.split())


def test_importing_the_package_loads_nothing_heavy():
    assert not loaded_after("import soilwater") & set(LOADED_ONLY_WHEN_NEEDED)


def test_importing_the_package_waits_for_what_is_asked():
    loaded = loaded_after(
        "import soilwater as sw; assert sw.words and sw.Weather and sw.Thresholds"
    )
    assert "soilwater.weather.series" in loaded
    assert not {name for name in loaded if name.startswith(("soilwater.kernels", "soilwater.runs"))}
    names = loaded_after("import soilwater")
    assert {name for name in names if name.split(".")[0] == "soilwater"} == {"soilwater"}


def test_type_checkers_are_told_where_every_name_is_at_home():
    tree = ast.parse((PACKAGE / "__init__.py").read_text())
    (told,) = [node for node in tree.body if isinstance(node, ast.If)]
    homes = {
        (node.module, alias.name)
        for node in told.body
        for alias in node.names
        if alias.asname == alias.name
    }
    at_run_time = {(f"soilwater.{home}", name) for name, home in soilwater._HOME_OF.items()}
    assert homes == at_run_time | {("soilwater", name) for name in soilwater._SHOWN}


def test_importing_every_lower_floor_loads_nothing_heavy():
    lower = [module_of(p) for p in FILES if FLOORS.get(top_of(module_of(p)), 9) < 7]
    assert len(lower) > 3
    loaded = loaded_after("\n".join(f"import {module}" for module in lower))
    assert not loaded & set(LOADED_ONLY_WHEN_NEEDED)


def test_numbers_feet_and_inches_do_without_the_units_library():
    loaded = loaded_after(
        "from soilwater.words.units import to_house\n"
        "to_house(30.0, 'length', 'x'), to_house('14 3/4 in', 'length', 'x')\n"
        "to_house('22 %', 'water_content', 'x'), to_house('68 degF', 'temperature', 'x')"
    )
    assert "pint" not in loaded
    assert "pint" in loaded_after(
        "from soilwater.words.units import to_house\nto_house('6 in/h', 'conductivity', 'x')"
    )


def test_the_walls_would_notice():
    assert breaks_a_wall("soilwater.lab.sheet", "soilwater.runs.batch")
    assert breaks_a_wall("soilwater.lab.sheet", "soilwater.survey.sheet")
    assert breaks_a_wall("soilwater.decisions.spots.odds", "soilwater.decisions.watering.what_if")
    assert not breaks_a_wall("soilwater.runs.batch", "soilwater.lab.sheet")
    source = (
        "def f():\n    from soilwater.words import units\n    import pint\n"
        "from soilwater.words.errors import X"
    )
    assert imports_of(source, "soilwater.x") == {
        "soilwater.words.units",
        "pint",
        "soilwater.words.errors",
    }
    assert imports_of(source, "soilwater.x", nested=False) == {"soilwater.words.errors"}
