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
    table, scalars = tabulate(soil)
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
    table, _ = tabulate(soil)
    x = np.linspace(0.0, 1.0, 33) * np.diff(bin_edges())[:, None]
    w0, w1, w2, w3 = table[:, :4].T[:, :, None]
    water = w0 + x * (w1 + x * (w2 + x * w3))
    round_off = 1e-15
    assert water.min() > -round_off
    assert np.diff(water, axis=1).max() < round_off
