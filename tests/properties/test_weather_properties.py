"""Weather and water applied: what must hold for any amounts, any cuts, any order."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from soilwater.ground.turf import Turf
from soilwater.weather.daylight import cumulative_demand
from soilwater.weather.irrigation import Event, intercept, merge_intervals
from soilwater.weather.made import from_days, steady_weather
from soilwater.weather.series import Weather
from soilwater.weather.uniformity import low_quarter_uniformity, uniformity_multipliers

START = np.datetime64("2025-03-30", "ns")

amounts = st.floats(0.0, 200.0)


@st.composite
def any_weather(draw):
    """Steady days, uneven days, or hours of any amounts."""
    days = draw(st.integers(1, 4))
    et = np.array(draw(st.lists(st.floats(0.0, 12.0), min_size=days, max_size=days)))
    rain = np.array(draw(st.lists(amounts, min_size=days, max_size=days)))
    if draw(st.booleans()):
        n = 24 * days
        hours = START + np.arange(n + 1) * np.timedelta64(1, "h")
        return Weather(hours, np.repeat(rain / 24.0, 24), np.repeat(et / 24.0, 24))
    sunrise = draw(st.floats(0.0, 11.0))
    sunset = draw(st.floats(13.0, 24.0))
    first = np.timedelta64(draw(st.integers(0, 23)), "h")
    edges = START + first + np.arange(days + 1) * np.timedelta64(1, "D")
    return from_days(edges, rain, et, sunrise=sunrise, sunset=sunset)


@given(any_weather(), st.lists(st.floats(0.0, 1.0), min_size=1, max_size=20))
def test_demand_over_a_step_is_the_sum_over_any_split(sky, cuts):
    end = sky.hours[-1]
    at = np.unique(np.concatenate([[0.0, end], np.array(cuts) * end]))
    total = cumulative_demand(at, sky.hours, sky.reference_et, sky.demand_shape)
    parts = np.diff(total)
    assert (parts >= -1e-12).all()
    np.testing.assert_allclose(parts.sum(), sky.reference_et.sum(), rtol=1e-12, atol=1e-12)


@given(any_weather(), st.lists(st.integers(0, 4 * 24 * 60), min_size=1, max_size=15))
def test_refining_anywhere_changes_no_course(sky, minutes):
    times = sky.start + np.array(minutes) * np.timedelta64(1, "m")
    finer = sky.refine(times[times <= sky.end]) if (times <= sky.end).any() else sky
    at = np.linspace(0.0, sky.hours[-1], 50)
    np.testing.assert_allclose(
        cumulative_demand(at, finer.hours, finer.reference_et, finer.demand_shape),
        cumulative_demand(at, sky.hours, sky.reference_et, sky.demand_shape),
        rtol=1e-11,
        atol=1e-11,
    )
    # A rain of the smallest number there is cannot be cut.
    np.testing.assert_allclose(finer.rain.sum(), sky.rain.sum(), rtol=1e-12, atol=1e-300)
    # Cutting twice is cutting once.
    assert finer.refine(finer.edges).n == finer.n


@given(
    st.lists(
        st.tuples(st.integers(0, 40 * 60), st.floats(0.1, 30.0), st.floats(0.05, 7.0)),
        max_size=8,
    )
)
def test_no_event_loses_water_and_every_one_has_its_edges(rows):
    sky = steady_weather(2, 5.0, first_day="2025-07-01")
    events = [
        Event(sky.start + np.timedelta64(minute, "m"), amount, duration=hours)
        for minute, amount, hours in rows
    ]
    finer, irrigation = merge_intervals(sky, events)
    np.testing.assert_allclose(irrigation.sum(), sum(e.amount for e in events), rtol=1e-9)
    assert (irrigation >= 0.0).all()
    assert all(event.time in finer.edges and event.end in finer.edges for event in events)


@given(
    st.lists(st.tuples(st.floats(0.0, 50.0), st.floats(0.0, 2.0)), min_size=1, max_size=50),
    st.floats(0.0, 5.0),
)
def test_interception_keeps_account_and_never_gives_more_than_asked(rows, capacity):
    water, demand = np.array(rows).T
    through, evaporated, stored = intercept(water, demand, capacity)
    np.testing.assert_allclose(water.sum(), through.sum() + evaporated.sum() + stored, atol=1e-9)
    assert (through >= 0.0).all() and (through <= water + capacity + 1e-12).all()
    assert (evaporated >= -1e-12).all() and (evaporated <= demand + 1e-12).all()
    assert 0.0 <= stored <= capacity


@given(st.floats(0.2, 1.0), st.integers(4, 60))
def test_uniformity_comes_back_from_the_cans(uniformity, spots):
    multipliers = uniformity_multipliers(uniformity, spots)
    assert abs(low_quarter_uniformity(multipliers) - uniformity) < 1e-8
    assert abs(multipliers.mean() - 1.0) < 1e-12


@given(
    st.floats(3.0, 60.0),
    st.floats(0.05, 0.95),
    st.floats(0.01, 0.99),
    st.lists(st.floats(0.0, 80.0), min_size=2, max_size=20, unique=True),
)
def test_roots_add_up_and_keep_their_stated_share(depth, part, spare, levels):
    share = part + (1.0 - part) * spare * 0.999
    turf = Turf(depth, fraction_above=(share, part * depth))
    assert abs(float(turf.root_fraction(0.0, part * depth)) - share) < 1e-9
    edges = np.sort(np.concatenate([[0.0, 80.0], levels]))
    fractions = turf.root_fraction(edges[:-1], edges[1:])
    assert (fractions >= 0.0).all()
    assert abs(fractions.sum() - 1.0) < 1e-12
