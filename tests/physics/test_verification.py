"""Problems with a known answer: closed forms, quadrature, published values, other integrators.

All that is held to a bound here, and how far it is from it, stands on the page "Verification".
"""

import pytest
from problems import PROBLEMS, SECTIONS
from problems.comparison import Row, where_worst


@pytest.mark.parametrize("title", PROBLEMS)
def test_the_answer_is_within_its_bounds(title):
    problem = PROBLEMS[title]
    if problem.needs:
        pytest.importorskip(problem.needs)
    solved = problem.solve()
    assert solved.rows
    assert solved.misses == []
    # Every panel shows something of both sides.
    for panel in solved.panels:
        assert any(curve.ours for curve in panel.curves)
        assert any(curve.reference for curve in panel.curves)


def test_no_two_problems_share_a_title():
    assert len(PROBLEMS) == sum(len(problems) for problems in SECTIONS.values())


@pytest.mark.parametrize(
    ("ours", "one_sided", "holds"),
    [
        (1.05, False, True),
        (0.95, False, True),
        (1.2, False, False),
        (0.8, False, False),
        (1.2, True, True),
        (0.8, True, False),
        (float("nan"), False, False),
        (float("nan"), True, False),
    ],
)
def test_a_row_holds_within_its_bound_and_never_for_nan(ours, one_sided, holds):
    assert Row("", 1.0, ours, 0.1, one_sided).holds is holds


def test_the_worst_place_is_found_and_nan_is_the_worst():
    row = where_worst("head", [5.0, 7.0, 9.0], [1.0, 2.0, 3.0], [1.1, 2.5, 3.1], 0.1)
    assert (row.reference, row.ours) == (2.0, 2.5)
    assert "at 7 cm" in row.quantity
    assert not where_worst("", [5.0, 7.0], [1.0, 2.0], [1.0, float("nan")], 0.1).holds
