"""``python -m soilwater``: versions, where compiled code is kept, examples, warm-up."""

import os
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

import soilwater
from soilwater import __main__ as command
from soilwater.kernels.cache import SWITCH
from soilwater.runs.processors import processors


def test_it_runs_as_a_module():
    shown = subprocess.run(
        [sys.executable, "-m", "soilwater"], check=True, capture_output=True, text=True
    ).stdout
    assert shown.startswith(f"soilwater {soilwater.__version__}")


def test_a_reader_who_has_seen_enough_is_no_error():
    read, write = os.pipe()
    os.close(read)
    ended = subprocess.run(
        [sys.executable, "-m", "soilwater"], stdout=write, stderr=subprocess.PIPE, text=True
    )
    os.close(write)
    assert (ended.returncode, ended.stderr) == (0, "")


def test_about_tells_versions_threads_and_where_kernels_are_kept(capsys, monkeypatch):
    monkeypatch.delenv(SWITCH, raising=False)
    command.main([])
    shown = capsys.readouterr().out
    assert f"numba {version('numba')}" in shown
    assert f"up to {processors()}," in shown
    (line,) = [line for line in shown.splitlines() if line.startswith("Compiled kernels: ")]
    place = line.removeprefix("Compiled kernels: ")
    assert os.path.isabs(place) or place.startswith("not kept")


def test_about_says_when_nothing_is_kept(monkeypatch):
    monkeypatch.setenv(SWITCH, "0")
    assert command.compiled_place().startswith("not kept")


def test_every_example_is_listed_with_what_it_is_about():
    lines = "\n".join(command.examples(command.EXAMPLES))
    scripts = sorted(command.EXAMPLES.glob("*.py"))
    assert scripts
    for script in scripts:
        assert script.name in lines
        first = script.read_text(encoding="utf-8").splitlines()[0].lstrip('"')
        assert first.rstrip('"') in lines
    assert "python examples/NAME" in lines


def test_every_notebook_is_listed_with_its_question():
    lines = command.examples(command.EXAMPLES)
    notebooks = sorted(command.EXAMPLES.glob("*.md"))
    assert len(notebooks) >= 9
    for notebook in notebooks:
        assert sum(line.startswith(f"  {notebook.name} ") for line in lines) == 1
    quick_start = next(line for line in lines if "quick_start.md" in line)
    assert quick_start.endswith("Quick start: what will this sand do at 12 inches?")


def test_an_installed_package_says_where_examples_are(tmp_path: Path):
    assert command.examples(tmp_path) == ["Examples come with the source, in its folder examples."]


def test_warm_up_says_what_it_did(capsys):
    command.main(["warm-up"])
    shown = capsys.readouterr().out
    assert shown.startswith(("Kernels found ready in", "Kernels compiled in"))


def test_another_word_is_refused_with_what_is_allowed(capsys):
    with pytest.raises(SystemExit) as caught:
        command.main(["sing"])
    assert caught.value.code == 2
    assert "warm-up" in capsys.readouterr().err
