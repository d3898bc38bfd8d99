"""Units and numbers in text: what goes out and comes back is what it was."""

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soilwater.words.cells import parse_number
from soilwater.words.quantities import HOUSE_UNITS, in_people_units
from soilwater.words.units import to_house

# Units of the trade for each quantity, in pint's spelling, and the range that occurs.
OTHER_UNITS = {
    "length": (["inch", "foot", "mm", "m"], 0.01, 1e4),
    "suction": (["inch", "m", "mm"], 0.01, 1e7),
    "conductivity": (["inch/hour", "mm/hour", "m/day", "um/s"], 1e-6, 1e4),
    "inverse_length": (["1/m", "1/inch", "1/mm"], 1e-5, 10.0),
    "water_amount": (["inch", "liter/m**2", "gallon/foot**2"], 1e-3, 1e4),
    "water_rate": (["inch/hour", "cm/hour"], 1e-3, 1e3),
    "evapotranspiration": (["inch/day", "mm/hour"], 1e-3, 20.0),
    "duration": (["day", "minute", "week"], 1e-3, 1e5),
    "water_content": (["percent", "m**3/m**3"], 1e-3, 1.0),
    "fraction": (["percent"], 1e-3, 1.0),
    "temperature": (["degF", "kelvin"], -40.0, 60.0),
    "area": (["foot**2", "hectare", "acre"], 0.1, 1e6),
    "flow": (["gallon/minute", "imperial_gallon/minute", "m**3/hour"], 0.01, 1e4),
    "density": (["kg/m**3", "pound/foot**3"], 0.05, 5.0),
    "slope": (["percent", "degree"], 1e-4, 1.0),
}
REGISTRY = pint.UnitRegistry()
# The first text read makes the registry, which takes longer than one example may.
without_deadline = settings(deadline=None)
PINT_HOUSE = {"m3/m3": "1", "rise over run": "1", "m2": "m**2", "g/cm3": "g/cm**3"}


def test_every_quantity_is_covered():
    assert set(OTHER_UNITS) == set(HOUSE_UNITS)


@st.composite
def values_in_other_units(draw):
    quantity = draw(st.sampled_from(sorted(OTHER_UNITS)))
    units, low, high = OTHER_UNITS[quantity]
    return quantity, draw(st.sampled_from(units)), draw(st.floats(low, high))


def in_unit(quantity, unit, value):
    """`value` in its house unit as a pint quantity of `unit`, by pint alone."""
    if unit == "degree":
        return REGISTRY.Quantity(np.degrees(np.arctan(value)), unit)
    house = HOUSE_UNITS[quantity]
    return REGISTRY.Quantity(value, PINT_HOUSE.get(house, house)).to(unit)


@without_deadline
@given(values_in_other_units())
def test_quantities_come_back(case):
    quantity, unit, value = case
    back = to_house(in_unit(quantity, unit, value), quantity, "argument")
    assert back == pytest.approx(value, rel=1e-12, abs=1e-12)


@without_deadline
@given(values_in_other_units())
def test_texts_come_back(case):
    quantity, unit, value = case
    there = in_unit(quantity, unit, value).magnitude
    back = to_house(f"{float(there)!r} {unit}", quantity, "argument")
    assert back == pytest.approx(value, rel=1e-12, abs=1e-12)


@given(st.sampled_from(sorted(HOUSE_UNITS)), st.floats(0.0, 1.0))
def test_numbers_and_arrays_pass_bit_for_bit(quantity, value):
    assert to_house(value, quantity, "argument") == value
    assert to_house([value, value], quantity, "argument").tolist() == [value, value]


@given(
    st.sampled_from(["length", "suction", "conductivity", "water_amount", "duration", "density"]),
    st.floats(-1e6, 1e6),
)
def test_house_units_in_text_pass_bit_for_bit(quantity, value):
    assert to_house(f"{value!r} {HOUSE_UNITS[quantity]}", quantity, "argument") == value


@given(
    st.integers(0, 40),
    st.integers(0, 11),
    st.sampled_from([(1, 2), (1, 4), (3, 4), (5, 8), (15, 16)]),
    st.sampled_from(
        ["{f} ft {w} {a}/{b} in", "{f}' {w}-{a}/{b}\"", "{f} feet, {w} {a}/{b} inches"]
    ),
)
def test_feet_inches_and_fractions_add_up(feet, whole, fraction, pattern):
    top, bottom = fraction
    text = pattern.format(f=feet, w=whole, a=top, b=bottom)
    inches = 12 * feet + whole + top / bottom
    assert to_house(text, "length", "depth") == pytest.approx(inches * 2.54, rel=1e-15)


@without_deadline
@given(st.sampled_from(["kPa", "hPa", "mbar", "cbar", "bar", "psi"]), st.floats(1e-3, 1e3))
def test_pressures_and_columns_of_water_agree(unit, value):
    # 98.0665 Pa per cm: conventional column of water, NIST SP 811 (2008), Appendix B.8.
    pascals = REGISTRY.Quantity(value, unit).to("Pa").magnitude
    expected = pascals / 98.0665
    assert to_house(f"{value!r} {unit}", "suction", "suction") == pytest.approx(expected, rel=1e-12)
    per_unit = to_house(f"{value!r} 1/{unit}", "inverse_length", "alpha")
    assert per_unit == pytest.approx(value**2 / expected, rel=1e-12)


@given(st.floats(-1e6, 1e6), st.integers(0, 6), st.sampled_from(["", "%", "kPa", "cm"]))
def test_numbers_in_cells_come_back_under_either_decimal_sign(value, decimals, unit):
    point = f"{value:.{decimals}f}"
    expected = (float(point), unit)
    assert parse_number(f"{point} {unit}") == expected
    assert parse_number(point.replace(".", ",") + unit, ",") == expected


@given(st.integers(1000, 10**9), st.integers(0, 99))
def test_thousands_in_cells_come_back(whole, cents):
    english = f"{whole:,}.{cents:02d}"
    other = english.translate(str.maketrans(",.", ".,"))
    assert parse_number(english)[0] == parse_number(other, ",")[0] == float(f"{whole}.{cents:02d}")


@given(st.floats(0.05, 999.0))
def test_words_for_people_lose_no_more_than_their_last_figure(value):
    written = in_people_units(value, "length")
    centimetres, inches = written.replace("(", "").replace(")", "").split(" ")[::2]
    assert float(centimetres) == pytest.approx(value, abs=0.051)
    assert float(inches) == pytest.approx(value / 2.54, abs=0.051)
