"""What holds for any sand a lab may be sent."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from soilwater.lab.grading import Grading
from soilwater.lab.retention import RetentionTable
from soilwater.lab.sheet import read_retention, read_retention_samples
from soilwater.soils import VanGenuchten
from soilwater.words.errors import InputError

SUCTION = np.array([10.0, 20.0, 30.0, 40.0])

sands = st.builds(
    VanGenuchten,
    theta_r=st.floats(0.0, 0.10),
    theta_s=st.floats(0.30, 0.50),
    alpha=st.floats(0.015, 0.15),
    n=st.floats(1.5, 9.0),
    k_sat=st.floats(1.0, 300.0),
)


@settings(deadline=None, max_examples=15)
@given(sand=sands)
def test_band_is_ordered_falls_with_suction_and_holds_the_best_curve(sand):
    lab = RetentionTable(SUCTION, sand.water_content(SUCTION), k_sat=sand.k_sat)
    fit = lab.fit(VanGenuchten, draws=200)
    band = fit.band(np.linspace(0.0, 100.0, 51))
    for line in (band.lower, band.median, band.upper):
        assert np.all(np.diff(line) <= 1e-12)
    assert np.all(band.lower <= band.median)
    assert np.all(band.median <= band.upper)
    wide = fit.band(SUCTION, probability=0.99)
    best = fit.soil.water_content(SUCTION)
    assert np.all((wide.lower - 1e-3 <= best) & (best <= wide.upper + 1e-3))
    assert np.max(np.abs(fit.residuals)) < 0.03


@settings(deadline=None, max_examples=15)
@given(sand=sands, order=st.permutations(range(4)))
def test_order_of_rows_changes_nothing(sand, order):
    water = sand.water_content(SUCTION)
    one = RetentionTable(SUCTION, water, k_sat=sand.k_sat)
    two = RetentionTable(SUCTION[list(order)], water[list(order)], k_sat=sand.k_sat)
    assert np.array_equal(one.suction, two.suction)
    assert np.array_equal(one.water_content, two.water_content)


@settings(deadline=None, max_examples=60)
@given(
    sand=sands,
    unit=st.sampled_from(
        [("cm", 1.0), ("mm", 10.0), ("in", 1 / 2.54), ("kPa", 0.0980665), ("mbar", 0.980665)]
    ),
    per_cent=st.booleans(),
)
def test_the_same_sheet_in_any_unit_is_the_same_table(sand, unit, per_cent):
    name, per_cm = unit
    water = sand.water_content(SUCTION)
    scale, words = (100.0, "% by volume") if per_cent else (1.0, "fraction by volume")
    lab = read_retention(
        {f"suction ({name})": SUCTION * per_cm, f"water content ({words})": water * scale}
    )
    assert np.allclose(lab.suction, SUCTION, rtol=1e-9)
    assert np.allclose(lab.water_content, water, rtol=1e-9)


cells = st.sampled_from(
    ["", "-", "n/a", "10", "20", "30", "40", "3 kPa", "0.28", "0,28", "24", "24%", "37.8 %", "-999",
     "wet", "1e9", "-5", "1/0", "NaN", "1,000", "14 in/h", "b"]
)  # fmt: skip
headers = st.sampled_from(
    ["suction (cm)", "suction", "pF", "tension (kPa)", "vwc (%)", "water content", "moisture (g/g)",
     "bulk density", "Ksat", "porosity (%)", "sample", "core", "retained 0.25 mm (%)", "x", ""]
)  # fmt: skip


@settings(deadline=None, max_examples=200)
@given(data=st.data(), names=st.lists(headers, min_size=1, max_size=5, unique=True))
def test_any_sheet_gives_checked_tables_or_one_clear_error(data, names):
    rows = data.draw(st.integers(1, 4))
    source = {name: data.draw(st.lists(cells, min_size=rows, max_size=rows)) for name in names}
    try:
        tables = read_retention_samples(source)
    except InputError as error:
        assert all(fault.endswith(".") for fault in error.faults)
        return
    for table in tables.values():
        assert np.all((table.water_content > 0.0) & (table.water_content < 1.0))
        assert np.all(table.suction >= 0.0)


@settings(deadline=None, max_examples=100)
@given(shares=st.lists(st.floats(0.0, 1.0), min_size=7, max_size=7).filter(lambda s: sum(s) > 0.1))
def test_passing_rises_with_size_and_diameter_undoes_it(shares):
    retained = np.array(shares) / np.sum(shares)
    grading = Grading(np.array([2.0, 1.0, 0.5, 0.25, 0.15, 0.05, 0.0]), retained)
    sizes = np.geomspace(0.01, 5.0, 60)
    passing = [grading.passing(size) for size in sizes]
    assert np.all(np.diff(passing) >= -1e-12)
    for share in (0.1, 0.15, 0.5, 0.85, 0.9):
        diameter = grading.diameter(share)
        if np.isfinite(diameter):
            assert abs(grading.passing(diameter) - share) < 1e-9
