"""Sands that remember, turned every hour for thirty days: none may fail or lose water.

Conservation of water and the physical bounds are the outside truth; see `reversing_columns`.
"""

import pytest
from reversing_columns import faults_of

IN_CI = 50
LONG = 5_000
ONCE_FAILED = (26, 28, 176, 947, 1493, 2911, 4187, 4910)


@pytest.mark.parametrize("first", range(0, IN_CI, 10))
def test_reversing_columns(first):
    assert [fault for seed in range(first, first + 10) for fault in faults_of(seed)] == []


@pytest.mark.parametrize("seed", ONCE_FAILED)
def test_columns_that_once_failed(seed):
    assert faults_of(seed) == []


@pytest.mark.long
@pytest.mark.parametrize("first", range(IN_CI, LONG, 50))
def test_many_reversing_columns(first):
    assert [fault for seed in range(first, first + 50) for fault in faults_of(seed)] == []
