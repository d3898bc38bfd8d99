"""The README runs, prints what it says it prints, and gives the commands that work."""

import ast
import contextlib
import io
import re
import tomllib
from pathlib import Path

import pytest

from soilwater.words.errors import InputError
from soilwater.words.units import to_house

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, flags=re.DOTALL)


def carried_out(code, names):
    """What a notebook would show: everything printed, then the last expression."""
    tree = ast.parse(code)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown):
        exec(compile(tree, "README", "exec"), names)
        if last is not None:
            print(repr(eval(compile(ast.Expression(last.value), "README", "eval"), names)))
    return shown.getvalue()


def assert_same_but_for_the_last_digit(shown, stated):
    """Words must agree; a computed number may differ by one in its last digit between machines."""
    number = r"-?\d+(?:\.\d+)?"
    assert re.sub(number, "#", shown) == re.sub(number, "#", stated)
    for one, other in zip(re.findall(number, shown), re.findall(number, stated), strict=True):
        last_digit = 10.0 ** -len(other.partition(".")[2]) if "." in other else 0.0
        assert abs(float(one) - float(other)) <= 1.01 * last_digit, (one, other)


def test_every_piece_of_code_prints_what_stands_below_it(monkeypatch):
    monkeypatch.chdir(ROOT)
    names, checked = {}, 0
    for (kind, code), (next_kind, output) in zip(BLOCKS, [*BLOCKS[1:], ("", "")], strict=True):
        if kind == "python":
            shown = carried_out(code, names)
            assert next_kind == "text", "every piece of code is followed by its output"
            assert_same_but_for_the_last_digit(shown.strip(), output.strip())
            checked += 1
    assert checked >= 3


def test_the_two_commands_stand_as_they_are_to_be_typed():
    commands = [code.strip() for kind, code in BLOCKS if kind == "sh"]
    assert commands == [
        'python -m pip install ".[plot]" && python examples/compare_depths.py',
        'python -m pip install -e ".[test]" && python -m pytest',
    ]


def test_the_commands_name_extras_and_files_that_exist():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    commands = " ".join(code for kind, code in BLOCKS if kind == "sh")
    assert set(re.findall(r"\.\[(\w+)\]", commands)) <= set(project["optional-dependencies"])
    for path in re.findall(r"python (\S+\.py)", commands):
        assert (ROOT / path).is_file()


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)#]+)\)", README))
def test_links_lead_somewhere(link):
    assert (ROOT / link).exists()


def test_the_map_for_developers_names_every_module():
    floors = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Numerics")[0]
    package = ROOT / "soilwater"
    modules = [path.stem for path in package.glob("*.py") if path.stem != "__init__"]
    modules += [f"{path.parent.name}/" for path in package.glob("*/__init__.py")]
    missing = [
        name for name in modules if f"`{name}`" not in floors and not name.startswith("station")
    ]
    assert not missing


def test_the_first_paragraph_is_the_job_not_the_machinery():
    first = README.split("\n\n")[1]
    for word in ("sand", "meter", "gravel"):
        assert word in first
    for word in ("numba", "xarray", "kernel", "solver"):
        assert word not in first


ROWS = {
    "depth, length": "length",
    "suction (positive when dry)": "suction",
    "water content, reading": "water_content",
    "conductivity": "conductivity",
    "amounts of water": "water_amount",
    "evapotranspiration": "evapotranspiration",
    "time span": "duration",
}


@pytest.mark.parametrize(("row", "quantity"), ROWS.items())
def test_the_units_page_tells_what_is_taken(row, quantity):
    (cells,) = re.findall(rf"^\| {re.escape(row)} \|(.*)\|$", README, flags=re.MULTILINE)
    texts = re.findall(r'`"([^"`]+)"`', cells)
    assert texts
    for text in texts:
        assert to_house(text, quantity, "value") > 0.0
    with pytest.raises(InputError):
        to_house("12", quantity, "value")
