"""Station files on disk."""

import pytest


@pytest.fixture
def file(tmp_path):
    """Write a text under a name, and say where."""

    def write(text, name="station.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write
