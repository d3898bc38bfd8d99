"""Compiled code on disk: never yesterday's physics, and no place for it is no reason to fail.

Every run is a process of its own on a copy of the package, with a cache folder of its own.
"""

import gc
import importlib
import json
import math
import operator
import os
import shutil
import subprocess
import sys
from contextlib import contextmanager
from itertools import permutations
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from numba import config, njit, types
from numba.core import event
from numba.core.compiler import Flags
from numba.core.cpu import CPUContext
from numba.core.errors import TypingError
from numba.core.registry import cpu_target
from numba.core.typing.context import Context
from numba.core.typing.templates import AbstractTemplate, signature

import soilwater as sw
from soilwater.kernels import parts
from soilwater.kernels.cache import _Compiling, compile_before, compile_entry_point
from soilwater.kernels.curves import find_bin
from soilwater.kernels.entry_points import march_columns
from soilwater.kernels.parts import part
from soilwater.runs import processors as second

PACKAGE = Path(sw.__file__).parent

# Statics need the smaller of the compiled entry points and are quick to compile, and no kernel
# knows a class of one's own: tables of its curves need nothing compiled.
ASK = """
import json, logging, sys, warnings
told = []
teller = logging.getLogger("soilwater")
teller.addHandler(logging.StreamHandler(type("Kept", (), {"write": told.append})()))
with warnings.catch_warnings(record=True) as caught:
    warnings.simplefilter("always")
    import soilwater as sw
    from soilwater.kernels.entry_points import mean_water_contents
    reading = None
    if sys.argv[1] == "run":
        class Sand(sw.VanGenuchten):
            "Sand of one's own."
        sand = Sand(0.05, 0.40, 0.047, 3.0, 40.0)
        reading = sw.drained_water_content(sw.Profile.over_gravel(sand, 30.0), 0.0, 7.6)
print(json.dumps({
    "package": sw.__file__,
    "reading": reading,
    "told": [text for text in told if text.strip()],
    "from_cache": sum(mean_water_contents.stats.cache_hits.values()) > 0,
    "warnings": [str(w.message) for w in caught if w.category is sw.SoilWaterWarning],
}))
"""

# Put at the end of a file of kernels that the entry points call, but do not live in.
EDIT = '''

@kernel
def mean_water(head_top, head_bottom, tables, scalars, j):
    """Pretend that the mean is always the same."""
    return 0.123
'''
LEAF = Path("soilwater", "kernels", "curves.py")


@pytest.fixture
def copy(tmp_path):
    """Folder with a copy of the package that carries no compiled code."""
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(PACKAGE, tmp_path / "copy" / "soilwater", ignore=ignored)
    return tmp_path / "copy"


def ask(copy, *, what="run", **environment):
    """What a fresh process answers with the package in `copy`; only imports it if told to."""
    ours = {k: v for k, v in os.environ.items() if k not in ("NUMBA_CACHE_DIR", "PYTHONPATH")}
    ours.pop("SOILWATER_NUMBA_CACHE", None)
    done = subprocess.run(
        [sys.executable, "-B", "-c", ASK, what],
        env={**ours, "PYTHONPATH": str(copy), **environment},
        cwd=copy,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert Path(answer["package"]).parent == copy / "soilwater"
    return answer


def test_an_edited_leaf_kernel_changes_the_next_run(copy, tmp_path):
    cache = {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    first = ask(copy, **cache)
    assert not first["from_cache"]
    # Who waits for the compiler is told so, once.
    assert len(first["told"]) == 1
    assert "compiles its solver for this computer, which takes about 10 s, once" in first["told"][0]
    assert "python -m soilwater warm-up" in first["told"][0]
    # The cache is in use, or the rest would prove nothing. Nothing is compiled, nothing is told.
    again = ask(copy, **cache)
    assert again["from_cache"]
    assert again["told"] == []
    assert again["reading"] == first["reading"]

    leaf = copy / LEAF
    leaf.write_text(leaf.read_text() + EDIT)
    edited = ask(copy, **cache)
    assert not edited["from_cache"]
    assert edited["reading"] == pytest.approx(0.123 + 0.05, rel=1e-12)
    assert edited["reading"] != pytest.approx(first["reading"], abs=1e-3)
    again = ask(copy, **cache)
    assert again["from_cache"]
    assert again["reading"] == edited["reading"]
    assert first["warnings"] == edited["warnings"] == []


def without_a_place(copy, tmp_path):
    """Environment in which no folder can be made for compiled code.

    A test may run as a user whom permissions do not bind, so folders are not made read-only:
    where numba would make them (beside the kernels, in the user's cache) there is a plain file in
    the way. To numba that is the same answer of the file system, an OSError.
    """
    in_the_way = tmp_path / "no_folder"
    in_the_way.write_text("")
    (copy / "soilwater" / "kernels" / "__pycache__").write_text("")
    return {"HOME": str(in_the_way), "XDG_CACHE_HOME": str(in_the_way / "cache")}


class Sand(sw.VanGenuchten):
    """As in the other process."""


def test_without_a_writable_place_it_works_with_one_warning(copy, tmp_path):
    answer = ask(copy, **without_a_place(copy, tmp_path))
    assert answer["reading"] == pytest.approx(
        sw.drained_water_content(
            sw.Profile.over_gravel(Sand(0.05, 0.40, 0.047, 3.0, 40.0), 30.0), 0.0, 7.6
        ),
        rel=1e-12,
    )
    assert len(answer["warnings"]) == 1
    assert "no writable place for its compiled kernels" in answer["warnings"][0]
    assert "Cure: set the environment variable NUMBA_CACHE_DIR" in answer["warnings"][0]


@pytest.mark.parametrize("switch", ["NUMBA_CACHE_DIR", "SOILWATER_NUMBA_CACHE"])
def test_the_warning_is_cured_by_a_place_or_by_asking_for_none(copy, tmp_path, switch):
    nowhere = without_a_place(copy, tmp_path)
    assert len(ask(copy, what="import", **nowhere)["warnings"]) == 1
    cured = {**nowhere, switch: str(tmp_path / "given") if switch == "NUMBA_CACHE_DIR" else "0"}
    assert ask(copy, what="import", **cured)["warnings"] == []


def test_where_numba_compiles_nothing_it_says_so(monkeypatch):
    monkeypatch.setattr(config, "DISABLE_JIT", 1)
    with pytest.raises(sw.RunError, match="unset the environment variable NUMBA_DISABLE_JIT"):
        compile_entry_point(lambda digest: lambda number: number + digest)


def test_a_kernel_is_text_until_an_entry_point_and_python_has_a_door():
    @part()
    def more(number):
        return number + 1.0

    @part()
    def much_more(number):
        return more(more(number))

    entry = njit(lambda number: much_more(number))
    assert entry(2.0) == 4.0
    for kernel in (more, much_more):
        (result,) = kernel.overloads.values()
        assert result.library.get_pointer_to_function(result.fndesc.llvm_func_name) == 0
    assert much_more(3.0) == 5.0


def test_the_lesser_and_the_greater_are_pythons_and_no_machine_code_is_made_of_them():
    @part(nogil=True)
    def both(one, other):
        return min(one, other), max(one, other)

    @njit
    def entry(one, other):
        return both(one, other)

    compiled = []
    with event.install_listener("numba:compile", _Names(compiled)):
        for one, other in permutations([-1.5, 0.0, 2.5, math.inf, math.nan], 2):
            np.testing.assert_equal(entry(one, other), (min(one, other), max(one, other)))
        assert entry(3, -4) == (-4, 3) and type(entry(3, -4)[0]) is int
        assert entry(3, -4.5) == (-4.5, 3.0)
    assert set(compiled) == {"entry"}


class _Names(event.Listener):
    """Names of functions that are compiled to machine code."""

    def __init__(self, names):
        self.names = names

    def on_start(self, event):
        self.names.append(event.data["dispatcher"].py_func.__name__)

    def on_end(self, event):
        pass


@pytest.mark.parametrize("version", [(0, 62), (0, 69), (1, 0)])
def test_a_numba_that_was_not_tried_compiles_kernels_in_its_own_way(monkeypatch, version):
    # Version 0.62 has no `_reload_init`, which parts lean on.
    monkeypatch.setattr(parts, "version_info", SimpleNamespace(short=version))

    @part(nogil=True)
    def more(number):
        return number + 1.0

    assert not isinstance(more, parts.Part)
    assert njit(lambda number: more(number))(2.0) == 3.0
    assert not parts.rolled()


def test_loops_of_the_plain_march_vectorise_and_are_not_unrolled():
    def doubled(numbers, result):
        for i in range(numbers.size):
            result[i] = 2.0 * numbers[i]

    def products(**options):
        own = njit(error_model="numpy", **options)(doubled)
        own.compile((types.float64[::1], types.float64[::1]))
        (text,) = own.inspect_llvm().values()
        return text.count("fmul <"), text.count("fmul double")

    vectors, numbers = products(**parts.rolled())
    assert (vectors, numbers) == (1, 1)
    assert sum(products()) > 2
    assert march_columns._compiler.pipeline_class is parts.rolled()["pipeline_class"]


def test_what_numba_answered_about_a_function_of_its_own_it_is_not_asked_again():
    asked = []
    number, whole = types.float64, types.int64

    class Add(AbstractTemplate):
        key = "add"

        def generic(self, given, named):
            asked.append((given, tuple(named)))
            return signature(number, *given) if number in given else None

    plain = types.Function(Add)
    own, context = parts._Function.of(plain), cpu_target.typing_context
    for _ in range(2):
        assert own.get_call_type(context, (number, number), {}) == signature(number, number, number)
        own.get_call_type(context, (number,), {"other": number})
        with pytest.raises(TypingError):
            own.get_call_type(context, (whole,), {})
    assert asked.count(((number, number), ())) == 1
    # What is called by name, and what it could not answer, with and without literals.
    assert asked.count(((number,), ("other",))) == 2
    assert asked.count(((whole,), ())) == 4
    # numba's own function knows of nothing.
    plain.get_call_type(context, (number, number), {})
    assert asked.count(((number, number), ())) == 2


def test_kernels_have_functions_of_their_own_and_numba_keeps_its_own():
    context = cpu_target.typing_context
    context.refresh()
    typing = parts._Typing(context)
    assert isinstance(typing.resolve_value_type(operator.add), parts._Function)
    assert typing.resolve_value_type(operator.add) is typing.resolve_value_type(operator.add)
    assert type(context.resolve_value_type(operator.add)) is types.Function
    # Numbers and kernels are what they are.
    assert typing.resolve_value_type(2.5) == context.resolve_value_type(2.5)
    assert typing.resolve_value_type(find_bin) == context.resolve_value_type(find_bin)


def test_what_was_sought_in_vain_is_not_sought_again(monkeypatch):
    sought = []
    numbers = signature(types.float64, types.float64)

    def seek(self, function, given, _firstcall=True):
        sought.append(function)
        if function == "unknown":
            raise NotImplementedError
        return function

    monkeypatch.setattr(CPUContext, "get_function", seek)
    target = parts._Target(cpu_target.target_context, parts._Typing(Context()), set())
    for _ in range(2):
        with pytest.raises(NotImplementedError):
            target.get_function("unknown", numbers)
        assert target.get_function("known", numbers) == "known"
    assert sought.count("unknown") == 1


def test_options_of_a_kernel_are_those_of_numba_and_notice_a_change():
    plain = Flags()
    plain.release_gil = True
    options = parts._Options(plain)
    assert (options.values(), hash(options)) == (plain.values(), hash(plain))
    assert options == plain
    changed = options.copy()
    assert changed == options
    changed.no_compile = True
    assert changed.values()["no_compile"] and not options.values()["no_compile"]
    assert changed != options


def test_the_collector_waits_for_kernels_of_this_package_only():
    compiling = _Compiling()

    def event(function):
        return SimpleNamespace(data={"dispatcher": SimpleNamespace(py_func=function)})

    ours, theirs = event(find_bin.py_func), event(ask)
    seen = []
    for step in (compiling.on_start, compiling.on_end):
        for what in (ours, theirs, ours):
            step(what)
            seen.append(gc.isenabled())
    assert seen == [False, False, False, False, False, True]
    gc.disable()
    try:
        compiling.on_start(ours)
        compiling.on_end(ours)
        assert not gc.isenabled()
    finally:
        gc.enable()


def test_a_function_without_a_module_is_compiled_by_whoever_made_it():
    made = {}
    exec("def double(x):\n    return 2.0 * x\n", made)
    assert made["double"].__module__ is None
    assert njit(made["double"])(3.0) == 6.0


def test_what_was_made_while_compiling_counts_as_old_but_where_a_person_froze_something():
    def collections():
        return sum(each["collections"] for each in gc.get_stats())

    compiling = _Compiling()
    ours = SimpleNamespace(data={"dispatcher": find_bin})
    before = collections()
    compiling.on_start(ours)
    made = [[] for _ in range(50_000)]
    compiling.on_end(ours)
    # The next thing that is made would set the collector off.
    made.append([])
    assert collections() == before
    gc.freeze()
    try:
        compiling.on_start(ours)
        compiling.on_end(ours)
        assert gc.get_freeze_count() > 0
    finally:
        gc.unfreeze()


SMALL = """
from numba import njit


@njit(cache=True)
def double(x):
    return 2.0 * x
"""


def test_while_an_entry_point_is_compiled_and_kept_something_else_goes_on(tmp_path, monkeypatch):
    Path(tmp_path, "small_kernel.py").write_text(SMALL)
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(config, "CACHE_DIR", str(tmp_path))
    held = []

    @contextmanager
    def meanwhile():
        held.append("begun")
        yield
        held.append(len(double.signatures))

    double = importlib.import_module("small_kernel").double
    compile_before(double, (1.0,), meanwhile)
    # Compiled within it, once, and what it is called with is no reason to do so again.
    assert held == ["begun", 1]
    assert double(3.0) == 6.0 and len(double.signatures) == 1
    compile_before(double, (1.0,), meanwhile)
    # Another process reads it from disk.
    again = importlib.reload(sys.modules["small_kernel"]).double
    compile_before(again, (1.0,), meanwhile)
    assert len(again.signatures) == 1 and sum(again.stats.cache_hits.values()) == 1
    # What is not kept, another process could not leave for this one.
    compile_before(njit(again.py_func), (1.0,), meanwhile)
    assert held == ["begun", 1]


def test_the_march_is_compiled_once_for_whatever_runs():
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    green, day = sw.Profile.over_gravel(sand, 30.0), sw.steady_weather(1, 5.0)
    sw.simulate(green, day)
    sw.compare_depths(green, [25.0, 30.0], day, n_threads=1)
    assert len(march_columns.signatures) == 1


SANDS_OF_MINE = """
import soilwater as sw


class MySand(sw.VanGenuchten):
    pass


with open(__file__ + ".imports", "a") as imports:
    imports.write("imported ")
"""


def test_a_second_process_makes_tables_of_soils_and_runs_nothing_of_a_persons_own(
    tmp_path, monkeypatch, capfd
):
    ends = []

    class Watched(subprocess.Popen):
        def kill(self):
            ends.append(self.poll())
            super().kill()

    monkeypatch.setattr(second, "processors", lambda: 2)
    monkeypatch.setattr(second, "PATIENCE", 60.0)
    monkeypatch.setattr(subprocess, "Popen", Watched)
    # Paths are no text, and a module may run columns while it is imported.
    monkeypatch.setattr(sys, "path", [tmp_path, *sys.path, str(tmp_path)])
    Path(tmp_path, "sands_of_mine.py").write_text(SANDS_OF_MINE)
    # What lies in the folder of a run is none of a script's modules.
    Path(tmp_path, "elsewhere").mkdir()
    Path(tmp_path, "elsewhere", "pickle.py").write_text("raise SystemExit(7)")
    monkeypatch.chdir(Path(tmp_path, "elsewhere"))
    own = importlib.import_module("sands_of_mine").MySand(0.05, 0.40, 0.047, 3.0, 40.0)
    sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    for soils in ([own, lambda: None], [own, sw.Hysteretic(sand, 1.5), sand]):
        with second.tables_made_meanwhile(soils):
            pass
    # For those of models of a person's own there is nothing to compile; the other came to its end.
    assert ends == [0]
    assert Path(tmp_path, "sands_of_mine.py.imports").read_text().split() == ["imported"]
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("name", ["", "notebook", "python-that-is-not-there", "python-that-fails"])
def test_without_a_second_process_nothing_is_said_or_lost(tmp_path, monkeypatch, capfd, name):
    place = Path(tmp_path, name)
    if name == "python-that-fails":
        place.write_text("#!/bin/sh\necho oh no >&2\nexit 3\n")
        place.chmod(0o755)
    monkeypatch.setattr(second, "processors", lambda: 2)
    monkeypatch.setattr(sys, "executable", str(place) if name else None)
    monkeypatch.setattr(second, "PATIENCE", 60.0)
    gone_on = []
    with second.tables_made_meanwhile([sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)]):
        gone_on.append(name)
    assert gone_on == [name]
    assert capfd.readouterr() == ("", "")
