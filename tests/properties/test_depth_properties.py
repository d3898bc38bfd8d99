"""What holds for every sand: deeper and steeper never read wetter, bands only widen answers."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import soilwater as sw
from soilwater.decisions.building.depth import depth_window
from soilwater.decisions.slope import slope_equivalent
from soilwater.decisions.watering.water_side import flush_water
from soilwater.ground.base_suction import BaseSuction
from soilwater.soils.at_rest import rest_curve

# Sands as root zones have them: alpha 1/cm, saturated conductivity cm/h.
sands = st.builds(
    sw.VanGenuchten,
    st.floats(0.01, 0.08),
    st.floats(0.33, 0.48),
    st.floats(0.02, 0.08),
    st.floats(1.8, 7.0),
    st.floats(5.0, 100.0),
)
rods = st.floats(3.0, 20.0)
bases = st.floats(-10.0, 20.0)


@given(sands, rods, bases)
def test_deeper_never_reads_wetter(sand, rod, base):
    depths = np.linspace(rod, 80.0, 40)
    reading = rest_curve(sand).reading(depths, rod, base)
    assert (np.diff(reading) <= 1e-12).all()
    assert (reading <= sand.theta_s + 1e-12).all() and (reading >= sand.theta_r).all()


@given(sands, st.floats(25.0, 60.0), bases)
def test_longer_rods_never_read_drier_once_drained(sand, depth, base):
    readings = [float(rest_curve(sand).reading(depth, rod, base)) for rod in (3.8, 7.6, 12, 20)]
    assert (np.diff(readings) >= -1e-12).all()


@given(sands, st.floats(10.0, 100.0), rods)
def test_a_depth_is_found_for_the_reading_it_gives(sand, surface, rod):
    reading = float(rest_curve(sand).reading(surface, rod))
    found = rest_curve(sand).surface_suction(reading, rod)
    # Where the curve is flat many depths give one reading: the reading must come back.
    assert abs(float(rest_curve(sand).reading(max(found, 0.0), rod)) - reading) < 1e-6


@settings(max_examples=15)
@given(sands, st.floats(0.0, 0.05), st.floats(0.0, 0.05), st.floats(300.0, 1500.0))
def test_more_slope_never_reads_wetter_at_the_crest(sand, one, other, length):
    gentle, steep = sorted((one, other))
    less = slope_equivalent(sand, gentle, length, depth=30.0)
    more = slope_equivalent(sand, steep, length, depth=30.0)
    # A hundredth of a centimetre is the error of the time stepping.
    assert more.best >= less.best - 0.01
    assert 0.0 <= less.low <= less.best <= less.high <= gentle * length + 1e-9


@given(
    sands, st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0), st.floats(0.0, 0.25), rods
)
def test_a_wider_band_never_narrows_a_decision(sand, down, up, more, air, rod):
    narrow = BaseSuction(5.0, 5.0 - down, 5.0 + up)
    wide = BaseSuction(5.0, 5.0 - down, 5.0 + up + more)
    first, second = (
        depth_window(sand, (0.12, 0.22), rod=rod, air_filled=air, base_suction=base)
        for base in (narrow, wide)
    )
    assert (first.low, first.high, first.best) == (second.low, second.high, second.best)
    for name in ("low_band", "high_band", "best_band"):
        inner, outer = getattr(first, name), getattr(second, name)
        assert outer.low <= inner.low <= inner.high <= outer.high


@given(sands, st.floats(0.05, 0.2), st.floats(0.01, 0.1), rods)
def test_a_wider_target_never_narrows_the_window(sand, low, width, rod):
    first, second = (
        depth_window(sand, (low, low + w), rod=rod, air_filled=0.0, base_suction=3.0)
        for w in (width, 2 * width)
    )
    assert second.low <= first.low and second.high == first.high


@given(sands, st.floats(0.0, 0.2), st.floats(0.0, 0.1))
def test_more_air_never_asks_for_less_depth(sand, air, more):
    first, second = (
        depth_window(sand, (0.12, 0.22), rod=7.6, air_filled=a, base_suction=3.0)
        for a in (air, air + more)
    )
    assert second.low >= first.low


@given(sands, st.floats(15.0, 60.0), st.floats(0.0, 9.0))
def test_filling_never_exceeds_the_pore_space(sand, depth, entry):
    profile = sw.Profile.over_gravel(sand, depth, base_suction=entry)
    flush = flush_water(profile, pore_volumes=1.0)
    assert -1e-9 <= flush.fill <= flush.pore_volume
