"""Fits of a few points beside what the same sands hold further out."""

import numpy as np
import pytest
from measured_sands import (
    FAR_BAND,
    NEAR_BAND,
    all_expected,
    expected,
    held_out,
    reaches_the_usual,
    sands,
    table,
)

from soilwater.lab import fitting
from soilwater.lab.expectations import PARAMETERS
from soilwater.soils import BrooksCorey, Kosugi, VanGenuchten

USED = [sand for sand in sands() if reaches_the_usual(sand)]


def scores(fits, band):
    """Bias and root mean square of the held-out points [%], and share in the band [%]."""
    found = np.vstack([held_out(sand, fit, band) for sand, fit in zip(USED, fits, strict=True)])
    error, holds = found.T
    return (
        found.shape[0],
        100 * error.mean(),
        100 * np.sqrt(np.mean(error**2)),
        100 * holds.mean(),
    )


def check(fits):
    count, bias, rmse, holds = scores(fits, NEAR_BAND)
    assert count >= 39
    assert abs(bias) <= 0.4
    assert rmse <= 1.2
    assert holds >= 86.0
    count, _, rmse, holds = scores(fits, FAR_BAND)
    assert count >= 34
    assert rmse <= 1.6
    assert holds >= 86.0


def test_every_sample_names_its_place():
    assert len({sand.place for sand in sands()}) == 19
    assert len({sand.place for sand in USED}) == 12


@pytest.mark.parametrize("model", [VanGenuchten, BrooksCorey, Kosugi])
def test_expectations_in_use_are_made_of_the_measured_sands(model):
    for made, used in zip(expected(model, sands()), PARAMETERS[model.__name__], strict=True):
        assert used.centre == pytest.approx(made.centre, rel=0.02), made.name
        assert used.spread == pytest.approx(made.spread, rel=0.03), made.name


def test_held_out_points_under_the_expectations_in_use():
    check([table(sand).fit(VanGenuchten) for sand in USED])


@pytest.mark.long
def test_held_out_points_of_places_the_expectations_never_saw(monkeypatch):
    """Each place is fitted under expectations made of all other places; two to four minutes."""
    fits = []
    for place in dict.fromkeys(sand.place for sand in USED):
        others = all_expected([sand for sand in sands() if sand.place != place])
        monkeypatch.setattr(fitting, "PARAMETERS", others)
        fits += [(sand.code, table(sand).fit(VanGenuchten)) for sand in USED if sand.place == place]
    by_code = dict(fits)
    check([by_code[sand.code] for sand in USED])
