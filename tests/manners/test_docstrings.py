"""Docstrings of everything public: a summary, every parameter by name, units where they belong."""

import dataclasses
import importlib
import inspect
import pkgutil
import re

import soilwater
from soilwater.words.cells import looks_like_unit
from soilwater.words.vocabulary import VARIABLES

# What people import from. Other modules serve these; of them only the summaries are asked for.
PUBLIC = (
    "decisions",
    "explorer.make",
    "explorer.page",
    "ground.layer",
    "ground.profile",
    "ground.stress",
    "ground.turf",
    "lab.fit_result",
    "lab.fitting",
    "lab.retention",
    "lab.sheet",
    "plot",
    "report",
    "runs.drained",
    "runs.meter",
    "runs.simulate",
    "weather.evapotranspiration",
    "weather.irrigation",
    "weather.made",
    "weather.reference_et",
    "weather.rules",
    "weather.series",
    "weather.station.files",
    "weather.sun",
    "weather.uniformity",
    "words.errors",
    "words.quantities",
    "words.text_tables",
    "words.units",
    "words.vocabulary",
)
# These are about units and have none of their own.
WITHOUT_UNITS = (
    "soilwater.words.quantities",
    "soilwater.words.units",
    "soilwater.words.text_tables",
    "soilwater.words.vocabulary",
)

MODULES = sorted(
    info.name
    for info in pkgutil.walk_packages(soilwater.__path__, "soilwater.")
    if not info.name.startswith(("soilwater.kernels", "soilwater.__main__"))
)


def is_public(module):
    below = module.removeprefix("soilwater.")
    # Of the soils, what the package hands out; the modules behind it are its own business.
    return below == "soils" or any(f"{below}.".startswith(f"{room}.") for room in PUBLIC)


def objects_of(module):
    """Classes, functions and methods that a module, or a package as a whole, hands out."""
    for name, thing in vars(module).items():
        home = getattr(thing, "__module__", "")
        if name.startswith("_") or not f"{home}.".startswith(f"{module.__name__}."):
            continue
        if inspect.isclass(thing):
            yield name, thing
            for inner, member in vars(thing).items():
                function = getattr(member, "__func__", member)
                if not inner.startswith("_") and inspect.isfunction(function):
                    yield f"{name}.{inner}", getattr(thing, inner)
        elif inspect.isfunction(inspect.unwrap(thing)):
            yield name, thing


def every(*, public):
    """What is handed out, by name; of the public modules alone or of all."""
    return {
        f"{module.removeprefix('soilwater.')}.{name}": thing
        for module in MODULES
        if is_public(module) or not public
        for name, thing in objects_of(importlib.import_module(module))
    }


EVERYTHING, PUBLIC_THINGS = every(public=False), every(public=True)


def may_be_brief(thing):
    """Whether a sentence naming the arguments will do: methods, and what is not handed out.

    What `import soilwater` hands out is met first by people, in a notebook's help, and needs the
    sections in full.
    """
    if inspect.isclass(thing):
        return False
    return "." in thing.__qualname__ or getattr(soilwater, thing.__name__, None) is not thing


def sections_of(text):
    """Sections of a numpydoc docstring by title."""
    parts = re.split(r"^([A-Z][A-Za-z ]+)\n-{3,}\n", text, flags=re.MULTILINE)
    return {"Summary": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries_of(section):
    """Type and description of each name in a Parameters or Attributes section."""
    entries = {}
    for block in re.split(r"\n(?=\S)", section.strip("\n")) if section.strip() else ():
        head, _, body = block.partition("\n")
        names, _, kind = head.partition(" : ")
        for name in names.split(","):
            entries[name.strip().lstrip("*")] = (kind, body)
    return entries


def parameters_of(thing):
    try:
        signature = inspect.signature(thing)
    except (TypeError, ValueError):
        return []
    hidden = ("self", "cls")
    return [name for name in signature.parameters if name not in hidden and name[0] != "_"]


def documented(thing):
    sections = sections_of(inspect.getdoc(thing) or "")
    return {
        name: entry
        for title in ("Parameters", "Other Parameters", "Attributes")
        for name, entry in entries_of(sections.get(title, "")).items()
    }


def returns_something(thing):
    annotation = inspect.signature(thing).return_annotation
    return annotation not in (None, "None", inspect.Signature.empty, "NoReturn", "Never")


def has_bracketed_unit(text):
    """Whether a text holds something like [cm], [1], [1/cm] or [cm, positive when dry]."""
    for bracket in re.findall(r"\[([^\]]+)\]", text):
        unit = bracket.split(",")[0].strip().strip("`")
        if unit == "1" or looks_like_unit(unit):
            return True
    return False


# One test for all of a kind, which tells every name at fault: a test for each would cost more than
# what it looks at.
def test_modules_say_what_they_are_for():
    first = {
        name: (importlib.import_module(name).__doc__ or "").strip().split("\n\n")[0]
        for name in MODULES
    }
    assert {name: said for name, said in first.items() if not said.rstrip().endswith(".")} == {}


def test_summaries_are_one_sentence():
    summaries = {
        name: sections_of(inspect.getdoc(thing) or "")["Summary"].split("\n\n")[0]
        for name, thing in EVERYTHING.items()
    }
    amiss = {
        name: said
        for name, said in summaries.items()
        if not said.endswith(".") or said[0].islower()
    }
    assert amiss == {}


def undescribed(thing):
    """Names of parameters of which a docstring says nothing."""
    if inspect.isclass(thing) and not dataclasses.is_dataclass(thing):
        return []
    text = (inspect.getdoc(thing) or "").lower().replace("_", " ")
    entries = documented(thing)
    missing = []
    for name in parameters_of(thing):
        if may_be_brief(thing) and not entries:
            described = re.search(rf"\b{name.replace('_', ' ')}s?\b", text) is not None
        else:
            described = name in entries and entries[name][1].strip() != ""
        if not described:
            missing.append(name)
    return missing


def without_a_unit(thing):
    """Names of quantities that a docstring describes without a unit in brackets."""
    bare = []
    for name, (kind, body) in documented(thing).items():
        has_unit = name in VARIABLES and VARIABLES[name].units not in (None, "1")
        is_number = re.search(r"float|array", kind) is not None
        needs_unit = "Quantity" in kind or (has_unit and is_number)
        if needs_unit and not has_bracketed_unit(f"{kind} {body}"):
            bare.append(name)
    return bare


def test_every_parameter_is_described_by_name():
    found = {name: undescribed(thing) for name, thing in PUBLIC_THINGS.items()}
    assert {name: missing for name, missing in found.items() if missing} == {}


def test_no_parameter_is_described_that_does_not_exist():
    found = {}
    for name, thing in PUBLIC_THINGS.items():
        sections = sections_of(inspect.getdoc(thing) or "")
        if not inspect.isclass(thing) and "Parameters" in sections:
            found[name] = set(entries_of(sections["Parameters"])) - set(parameters_of(thing))
    assert {name: unknown for name, unknown in found.items() if unknown} == {}


def test_what_comes_back_is_described():
    silent = [
        name
        for name, thing in PUBLIC_THINGS.items()
        if not inspect.isclass(thing)
        and returns_something(thing)
        and not may_be_brief(thing)
        and not {"Returns", "Yields"} & set(sections_of(inspect.getdoc(thing) or ""))
    ]
    assert silent == []


def test_quantities_carry_their_unit_in_brackets():
    found = {
        name: without_a_unit(thing)
        for name, thing in PUBLIC_THINGS.items()
        if thing.__module__ not in WITHOUT_UNITS
    }
    assert {name: bare for name, bare in found.items() if bare} == {}


def test_the_walk_finds_what_is_there():
    there = {"words.units.to_house", "words.errors.Faults", "words.errors.Faults.add"}
    assert there <= set(PUBLIC_THINGS)


def test_the_reader_of_docstrings_reads_them():
    text = (
        "Do it.\n\nParameters\n----------\n"
        "a, b : float\n    Depths [cm].\nc : str, optional\n    Name."
    )
    entries = entries_of(sections_of(text)["Parameters"])
    assert entries == {
        "a": ("float", "    Depths [cm]."),
        "b": ("float", "    Depths [cm]."),
        "c": ("str, optional", "    Name."),
    }
    assert has_bracketed_unit("Depths [cm].")
    assert has_bracketed_unit("suction [cm, positive when dry]")
    assert not has_bracketed_unit("a list [see below]")
