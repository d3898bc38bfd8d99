"""Numbers and rows of arrays: short text that means what numba's own does."""

import numpy as np
import pytest
from numba import njit, typeof

from soilwater.kernels import parts
from soilwater.kernels.parts import part

LINE, TABLE = np.arange(7.0), np.arange(20.0).reshape(4, 5)
BOX = np.arange(24).reshape(2, 3, 4)


def number(array, at):
    return array[at]


def number_put(array, at):
    array[at] = 9
    return 0.0


def fixed_numbers(array, _at):
    return array[2] + 10.0 * array[-1]


def number_of_row(array, at):
    row = array[at]
    return row[1] + 100.0 * row[-1] + 10_000.0 * row.size + row.shape[0]


def number_of_rows(array, at):
    rows = array[at]
    return rows[1, 2] + 100.0 * rows[-1, -1] + 10_000.0 * rows.size + rows.strides[0]


def fixed_row(array, at):
    return array[1][at] + 100.0 * array[-2][at]


CASES = [
    *((number, LINE, at) for at in (0, 6, -1, -7)),
    *((number, TABLE, at) for at in ((3, 4), (-1, -5), (0, -1))),
    *((number, BOX, at) for at in ((1, 2, 3), (-1, 0, -4))),
    *((number_put, LINE, at) for at in (0, -2)),
    *((number_put, TABLE, at) for at in ((3, 4), (-1, -5))),
    *((number_put, BOX, at) for at in ((1, 2, 3), (-2, -1, 0))),
    (fixed_numbers, LINE, 0),
    *((number_of_row, TABLE, at) for at in (0, 3, -2)),
    *((number_of_row, BOX, at) for at in ((1, 2), (-1, -3))),
    *((number_of_rows, BOX, at) for at in (0, -1)),
    *((fixed_row, TABLE, at) for at in (0, -1)),
    # Not contiguous: numba's own.
    *((number, LINE[::2], at) for at in (1, -1)),
    *((number_of_row, TABLE[:, 1:4], at) for at in (0, -1)),
]


@pytest.mark.parametrize(("function", "array", "at"), CASES)
def test_it_means_what_python_means(function, array, at):
    kernel = part(_nrt=False)(function)
    found, expected = (
        (np.copy(array), np.copy(array)) if array.flags.c_contiguous else (array, array)
    )
    assert njit(lambda array, at: kernel(array, at))(found, at) == function(expected, at)
    np.testing.assert_array_equal(found, expected)


def _instructions(function, array, at, monkeypatch):
    """How many a kernel is written in, before its text is simplified."""
    written = []

    def count(self, module):
        functions = (each for each in module.functions if not each.is_declaration)
        written.append(sum(len(list(b.instructions)) for each in functions for b in each.blocks))

    monkeypatch.setattr(parts._Text, "_optimize_functions", count)
    part(_nrt=False)(function).compile((typeof(array), typeof(at)))
    return written[0]


@pytest.mark.parametrize(
    ("function", "array", "at"),
    [(number, TABLE, (1, 2)), (fixed_row, TABLE, 1), (number_put, LINE, 1)],
)
def test_text_is_short(function, array, at, monkeypatch):
    short = _instructions(function, array, at, monkeypatch)
    monkeypatch.setattr(parts, "short_text", lambda function, signature: None)
    assert short < 0.6 * _instructions(function, array, at, monkeypatch)
