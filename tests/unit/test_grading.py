"""Sieve analyses: percentile diameters, what does not add up, and Hazen's estimate."""

import numpy as np
import pytest

from soilwater.lab.grading import Grading, hazen_conductivity
from soilwater.words.errors import InputError

SAND = Grading(
    np.array([2.0, 1.0, 0.5, 0.25, 0.15, 0.05, 0.0]),
    np.array([0.01, 0.06, 0.27, 0.45, 0.14, 0.04, 0.03]),
    name="mix",
)


def test_passing_is_read_straight_on_a_logarithmic_axis():
    assert SAND.passing(0.25) == pytest.approx(0.21)
    # Half way between 0.25 and 0.5 mm on the logarithmic axis: half of the 45 % above 21 %.
    # (0.27 of the mass lies between 0.5 and 1 mm, 0.45 between 0.25 and 0.5 mm.)
    assert SAND.passing(np.sqrt(0.25 * 0.5)) == pytest.approx(0.21 + 0.45 / 2)
    assert SAND.between(0.25, 1.0) == pytest.approx(0.72)
    assert SAND.passing(0.01) == pytest.approx(0.03)
    assert SAND.passing(5.0) == 1.0


@pytest.mark.parametrize("share", [0.05, 0.15, 0.5, 0.85, 0.95])
def test_diameter_is_the_inverse_of_passing(share):
    assert SAND.passing(SAND.diameter(share)) == pytest.approx(share)


def test_a_share_finer_than_the_finest_sieve_has_no_diameter():
    assert np.isnan(SAND.diameter(0.02))


def test_order_of_sieves_does_not_matter_and_a_pan_is_added():
    turned = Grading(SAND.sizes[::-1], SAND.retained[::-1])
    assert np.array_equal(turned.sizes, SAND.sizes)
    no_pan = Grading(np.array([1.0, 0.5]), np.array([0.4, 0.6]))
    assert no_pan.sizes.tolist() == [1.0, 0.5, 0.0]
    assert no_pan.retained[-1] == 0.0


def test_passing_and_retained_say_the_same():
    other = Grading.from_passing({4: 1.0, 2: 0.99, 1: 0.93, 0.5: 0.66, 0.25: 0.21, 0.15: 0.07})
    for size in (0.2, 0.3, 0.7):
        assert other.passing(size) == pytest.approx(SAND.passing(size))


@pytest.mark.parametrize(
    ("retained", "sentence"),
    [
        ([0.02, 0.5, 0.44], "sum of sieves is 96 %: pan fraction missing?"),
        ([0.03, 0.5, 0.5], "sum of sieves is 103 %: a fraction counted twice?"),
        ([20.0, 50.0, 30.0], "0 to 1 (a fraction, not per cent)"),
    ],
)
def test_what_does_not_add_up_is_said(retained, sentence):
    with pytest.raises(InputError, match="Grading") as caught:
        Grading(np.array([1.0, 0.25, 0.0]), np.array(retained))
    assert sentence in str(caught.value)


def test_all_faults_come_at_once():
    with pytest.raises(InputError) as caught:
        Grading(np.array([1.0, 1.0, -0.25]), np.array([0.4, 0.4, 1.2]))
    assert len(caught.value.faults) == 3


def test_a_finer_sieve_cannot_pass_more():
    with pytest.raises(InputError, match="more than the coarser"):
        Grading.from_passing({2: 1.0, 1: 0.5, 0.5: 0.7})
    with pytest.raises(InputError, match="add the coarser sieve"):
        Grading.from_passing({2: 0.9, 1: 0.5})


def test_hazen_by_hand():
    # Hazen 1911: k = 100 D10^2 with D10 in cm and k in cm/s (from memory). Here D10 = 0.02 cm.
    uniform = Grading.from_passing({0.4: 1.0, 0.2: 0.10, 0.1: 0.0})
    assert hazen_conductivity(uniform) == pytest.approx(100 * 0.02**2 * 3600)


@pytest.mark.parametrize(
    ("passing", "sentence"),
    [
        ({0.4: 1.0, 0.2: 0.3}, "do not reach down to D10"),
        ({0.4: 1.0, 0.05: 0.5, 0.03: 0.1, 0.01: 0.0}, "D10"),
        ({8.0: 1.0, 4.0: 0.4, 0.2: 0.1, 0.1: 0.0}, "D60/D10"),
    ],
)
def test_hazen_keeps_to_its_range(passing, sentence):
    with pytest.raises(InputError, match="Hazen") as caught:
        hazen_conductivity(Grading.from_passing(passing))
    assert sentence in str(caught.value)


def test_text_and_html_show_the_sieves():
    assert "pan" in repr(SAND)
    assert 'Grading "mix"' in repr(SAND)
    odd = Grading(np.array([1.0, 0.0]), np.array([0.5, 0.5]), name="<b>")
    assert "<b>" not in odd._repr_html_()


def test_shares_may_miss_1_by_one_per_cent():
    """Sheets round to 0.1 % on eight sieves or so (our own choice)."""
    sizes = np.array([1.0, 0.5, 0.25])
    for off in (-0.0095, 0.0095):
        Grading(sizes, np.array([0.3, 0.5, 0.2 + off]))
    for off in (-0.0105, 0.0105):
        with pytest.raises(InputError, match="sum of sieves"):
            Grading(sizes, np.array([0.3, 0.5, 0.2 + off]))
