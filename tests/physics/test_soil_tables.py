"""Each model's table in the kernels against its closed form, from 0.01 to 1e7 cm of suction."""

import numpy as np
import pytest
from grounds import UNIFORM_SAND

from soilwater.kernels.curves import (
    BINS_PER_OCTAVE,
    LEAST_PORE_SUCTION,
    MOST_FALL,
    SPECIFIC_STORAGE,
    bin_edges,
    hydraulics,
    tabulate,
)
from soilwater.soils import (
    OVEN_DRY_SUCTION,
    BrooksCorey,
    Kosugi,
    TwoComponent,
    VanGenuchten,
    WithDryEnd,
)
from soilwater.soils.kernel_table import soil_table, stack_tables

CAPILLARY = [
    UNIFORM_SAND,
    VanGenuchten(0.03, 0.40, 0.05, 12.0, 40.0),
    VanGenuchten(0.06, 0.40, 0.01, 1.05, 1.0),
    VanGenuchten.measured("matrix-free gravel"),
    VanGenuchten.texture_class("silty clay"),
    BrooksCorey(0.03, 0.40, 20.0, 3.0, 40.0),
    BrooksCorey(0.03, 0.40, 5.0, 0.4, 40.0),
    Kosugi(0.03, 0.40, 35.0, 0.3, 40.0),
    Kosugi(0.05, 0.45, 300.0, 2.5, 1.0),
    TwoComponent(0.05, 0.60, 0.1, 3.0, 0.4, 0.004, 1.6, 15.0),
    TwoComponent(0.05, 0.60, 0.004, 1.6, 0.6, 0.1, 3.0, 15.0, tortuosity=-1.0),
]
SUCTIONS = np.logspace(-2, 7, 3001)


@pytest.mark.parametrize(
    "soil",
    [*CAPILLARY, *map(WithDryEnd, CAPILLARY)],
    ids=lambda soil: type(soil).__name__,
)
def test_table_and_closed_form_agree(soil):
    suctions = SUCTIONS
    if isinstance(soil, WithDryEnd) and isinstance(soil.soil, BrooksCorey):
        # Two kinks cannot both lie on an edge of the table: the one bin with the oven-dry suction
        # in it is left out, where no soil in the open ever is.
        edges = bin_edges() * soil.suction_scale
        i = np.searchsorted(edges, OVEN_DRY_SUCTION)
        suctions = suctions[(suctions < edges[i - 1]) | (suctions > edges[i])]
    table, scalars = soil_table(soil)
    water, conductivity = np.array(
        [
            [row[0], row[2]]
            for row in (hydraulics(-s, table[None], scalars[None], 0) for s in suctions)
        ]
    ).T
    # Until more has drained, water is held by specific storage, as below a water table; where a
    # curve leaves saturation at a kink, the bin behind it is off by that little.
    curve, elastic = soil.water_content(suctions), soil.theta_s - SPECIFIC_STORAGE * suctions
    full = np.cumsum(curve < elastic) == 0
    kink = suctions[full].max(initial=0.0)
    behind = ~full & (suctions < kink * (1.0 + 2.0 / BINS_PER_OCTAVE))
    difference = np.abs(water + soil.theta_r - np.where(full, elastic, curve))
    assert (difference < np.where(behind, SPECIFIC_STORAGE * kink, 1e-6)).all()
    exact = soil.conductivity(suctions)
    edges = bin_edges() * soil.suction_scale
    if soil.conductivity(edges[1]) < MOST_FALL * soil.k_sat:
        # It leaps by pores wider than any soil has: up to these, it is straight.
        end = edges[edges <= LEAST_PORE_SUCTION].max()
        ends = [soil.k_sat, soil.conductivity(end)]
        exact = np.where(suctions < end, np.interp(suctions, [0.0, end], ends), exact)
    # Below 1e-20 of k_sat a soil passes less than a molecule's width a year.
    assert (np.abs(conductivity - exact) < 1e-4 * exact + 1e-20 * soil.k_sat).all()


STEEP = Kosugi(0.05, 0.40, 30.0, 0.25, 40.0)
TWO_KINKS = WithDryEnd(BrooksCorey(0.05, 0.40, 17.0, 3.0, 40.0))


@pytest.mark.parametrize(
    "soil",
    [*CAPILLARY, *map(WithDryEnd, CAPILLARY), STEEP, TWO_KINKS],
    ids=lambda soil: type(soil).__name__,
)
def test_water_in_the_table_never_rises_with_suction_nor_runs_out(soil):
    # Cubics through the kinks of `STEEP` and `TWO_KINKS` do, by up to 2e-6.
    table, _ = soil_table(soil)
    x = np.linspace(0.0, 1.0, 33) * np.diff(bin_edges())[:, None]
    w0, w1, w2, w3 = table[:, :4].T[:, :, None]
    water = w0 + x * (w1 + x * (w2 + x * w3))
    round_off = 1e-15
    assert water.min() > -round_off
    assert np.diff(water, axis=1).max() < round_off


@pytest.mark.parametrize(
    "soil",
    [*CAPILLARY, *map(WithDryEnd, CAPILLARY), STEEP, TWO_KINKS],
    ids=lambda soil: type(soil).__name__,
)
def test_table_in_compiled_code_is_that_of_the_curves_to_round_off(soil):
    table, scalars = soil_table(soil)
    expected, expected_scalars = tabulate(soil)
    np.testing.assert_allclose(scalars, expected_scalars, rtol=1e-14)
    # Each coefficient by what it adds over its bin; those of a cubic are up to 45 times a value.
    width = np.diff(bin_edges())[:, None] ** np.arange(4)
    water, expected_water = table[:, :4] * width, expected[:, :4] * width
    np.testing.assert_allclose(water, expected_water, rtol=0.0, atol=2e-14)
    passing = expected[:, 4] > 1e-20 * soil.k_sat
    conductivity = (table[:, 4:8] * width)[passing] / expected[passing, 4:5]
    expected_conductivity = (expected[:, 4:8] * width)[passing] / expected[passing, 4:5]
    np.testing.assert_allclose(conductivity, expected_conductivity, rtol=0.0, atol=2e-12)
    np.testing.assert_allclose(table[passing, 8], expected[passing, 8], rtol=1e-12)
    wet = expected[:, 0] > 1e-12
    np.testing.assert_allclose(table[wet, 9], expected[wet, 9], rtol=1e-10)


class Halved(VanGenuchten):
    """A model from elsewhere: half the conductivity of the one it is derived from."""

    def _conductivity(self, suction):
        return np.where(suction > 0.0, 0.5, 1.0) * super()._conductivity(suction)


def test_a_model_from_elsewhere_is_tabulated_from_its_own_curves():
    soil = Halved(0.03, 0.40, 0.033, 5.0, 40.0)
    table, scalars = soil_table(soil)
    found = hydraulics(-20.0, table[None], scalars[None], 0)[2]
    assert found == pytest.approx(soil.conductivity(20.0), rel=1e-6)
    assert found == pytest.approx(0.5 * CAPILLARY[0].conductivity(20.0), rel=1e-6)


def test_tables_of_several_models_stay_in_their_order():
    soils = [CAPILLARY[8], Halved(0.03, 0.40, 0.033, 5.0, 40.0), *CAPILLARY[:6], TWO_KINKS]
    tables, scalars = stack_tables(soils)
    for soil, table, own in zip(soils, tables, scalars, strict=True):
        alone, own_alone = soil_table(soil)
        np.testing.assert_array_equal(table, alone)
        np.testing.assert_array_equal(own, own_alone)
