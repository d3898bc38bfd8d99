"""Units: what people write in, house units out.

Factors are checked against NIST Special Publication 811 (2008), Appendix B.8, the exact ones of
which are international definitions (values from memory, as printed there).
"""

import datetime
import math

import numpy as np
import pandas as pd
import pint
import pytest
import xarray as xr

from soilwater.words.errors import InputError, UnitError
from soilwater.words.quantities import HOUSE_UNITS, in_one_unit, in_people_units
from soilwater.words.units import number_to_house, to_house

# NIST SP 811, Appendix B.8, from memory; "exact" where the table prints the factor in bold.
INCH_IN_CM = 2.54  # exact
FOOT_IN_CM = 30.48  # exact
CONVENTIONAL_CM_OF_WATER_IN_PA = 98.0665  # exact
PSI_IN_PA = 6.894757e3
US_GALLON_IN_LITRES = 3.785412
UK_GALLON_IN_LITRES = 4.54609  # exact
SQUARE_FOOT_IN_M2 = 9.290304e-2  # exact
ACRE_IN_M2 = 4.046873e3
POUND_PER_CUBIC_FOOT_IN_G_PER_CM3 = 1.601846e-2


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("12 in", 12),
        ("12in", 12),
        ("12 inches", 12),
        ("12 IN", 12),
        ('12"', 12),
        ("14 3/4 in", 14.75),
        ("14-3/4 in", 14.75),
        ("14¾ in", 14.75),
        ("3/4 in", 0.75),
        ('14.75"', 14.75),
        ("1 ft 2 in", 14),
        ("1 ft. 2 in.", 14),
        ("1 foot, 2 inches", 14),
        ("1'2\"", 14),
        ("1'2", 14),
        ("1′ 2″", 14),
        ("1' 2 1/2\"", 14.5),
        ("1.5 ft", 18),
        ("2 feet", 24),
        ("-2 in", -2),
        ("-1 ft 2 in", -14),
    ],
)
def test_feet_inches_and_fractions(text, inches):
    assert to_house(text, "length", "root_zone") == inches * INCH_IN_CM


@pytest.mark.parametrize(
    ("text", "quantity", "house"),
    [
        ("30 cm", "length", 30),
        ("300 mm", "length", 30),
        ("1e-2 m", "length", 1),
        ("1 ft", "length", FOOT_IN_CM),
        ("30 cm", "suction", 30),
        ("30 cm of water", "suction", 30),
        ("12 in H2O", "suction", 12 * INCH_IN_CM),
        ("1 kPa", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("1 kpa", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("10 hPa", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("10 mbar", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("10 mb", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("1 cbar", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("1 cb", "suction", 1000 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("1 bar", "suction", 1e5 / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("1 psi", "suction", PSI_IN_PA / CONVENTIONAL_CM_OF_WATER_IN_PA),
        ("6 in/h", "conductivity", 6 * INCH_IN_CM),
        ("6 in/hr", "conductivity", 6 * INCH_IN_CM),
        ("6 in per hour", "conductivity", 6 * INCH_IN_CM),
        ("36 cm h-1", "conductivity", 36),
        ("10 µm/s", "conductivity", 3.6),
        ("0.033 1/cm", "inverse_length", 0.033),
        ("0.033/cm", "inverse_length", 0.033),
        ("0.033 cm-1", "inverse_length", 0.033),
        ("3.3 1/m", "inverse_length", 0.033),
        ("0.5 1/kPa", "inverse_length", 0.5 * CONVENTIONAL_CM_OF_WATER_IN_PA / 1000),
        ("0.5 kPa⁻¹", "inverse_length", 0.5 * CONVENTIONAL_CM_OF_WATER_IN_PA / 1000),
        ("0.5 in", "water_amount", 12.7),
        ("12 L/m2", "water_amount", 12),
        ("12 kg m-2", "water_amount", 12),
        (
            "95 gal/1000 ft2",
            "water_amount",
            95 * US_GALLON_IN_LITRES / (1000 * SQUARE_FOOT_IN_M2),
        ),
        (
            "95 gal per 1,000 sq ft",
            "water_amount",
            95 * US_GALLON_IN_LITRES / (1000 * SQUARE_FOOT_IN_M2),
        ),
        ("1 ft3/1000 ft2", "water_amount", 10 * FOOT_IN_CM / 1000),
        ("0.5 in/h", "water_rate", 12.7),
        ("0.001 kg m-2 s-1", "water_rate", 3.6),
        ("0.2 in/day", "evapotranspiration", 5.08),
        ("5 mm/d", "evapotranspiration", 5),
        ("90 min", "duration", 1.5),
        ("14 days", "duration", 336),
        ("22 %", "water_content", 0.22),
        ("22%", "water_content", 0.22),
        ("22 percent", "water_content", 0.22),
        ("22 % by volume", "water_content", 0.22),
        ("22 vol%", "water_content", 0.22),
        ("0.22 m3/m3", "water_content", 0.22),
        ("90 %", "fraction", 0.9),
        ("68 degF", "temperature", 20),
        ("68 °F", "temperature", 20),
        ("293.15 K", "temperature", 20),
        ("20 ℃", "temperature", 20),
        ("5400 ft2", "area", 5400 * SQUARE_FOOT_IN_M2),
        ("5400 sq ft", "area", 5400 * SQUARE_FOOT_IN_M2),
        ("1 acre", "area", ACRE_IN_M2),
        ("15 gpm", "flow", 15 * US_GALLON_IN_LITRES),
        ("15 US gal/min", "flow", 15 * US_GALLON_IN_LITRES),
        ("15 UK gal/min", "flow", 15 * UK_GALLON_IN_LITRES),
        ("15 UK gpm", "flow", 15 * UK_GALLON_IN_LITRES),
        ("15 imperial gallons/min", "flow", 15 * UK_GALLON_IN_LITRES),
        ("1550 kg/m3", "density", 1.55),
        ("97 lb/ft3", "density", 97 * POUND_PER_CUBIC_FOOT_IN_G_PER_CM3),
        ("4 %", "slope", 0.04),
        ("1:25", "slope", 0.04),
        ("1 in 25", "slope", 0.04),
        ("45 deg", "slope", 1),
        ("1/4 in/ft", "slope", 0.25 / 12),
    ],
)
def test_text_with_a_unit(text, quantity, house):
    # 3e-7: half of the last figure the table prints for its inexact factors.
    assert to_house(text, quantity, "argument") == pytest.approx(house, rel=3e-7)


def test_a_kilopascal_is_the_trades_ten_centimetres_and_a_fifth():
    # 1 kPa = 10.197 cm of water: conventional water column, 98.0665 Pa per cm.
    assert to_house("1 kPa", "suction", "suction") == pytest.approx(10.197, abs=5e-4)


@pytest.mark.parametrize("quantity", HOUSE_UNITS)
def test_numbers_pass_through_untouched(quantity):
    assert to_house(0.1, quantity, "argument") == 0.1
    assert type(to_house(np.float32(0.5), quantity, "argument")) is float
    assert to_house(1, quantity, "argument") == 1.0


@pytest.mark.parametrize("quantity", sorted(set(HOUSE_UNITS) - {"fraction", "slope"}))
def test_the_house_unit_as_text_changes_nothing(quantity):
    assert to_house(f"0.1 {HOUSE_UNITS[quantity]}", quantity, "argument") == 0.1


def test_arrays_keep_shape_and_are_copied():
    given = np.array([[1.0, 2.0], [3.0, 4.0]])
    result = to_house(given, "length", "depth")
    assert result.dtype == np.float64
    np.testing.assert_array_equal(result, given)
    result[0, 0] = 99.0
    assert given[0, 0] == 1.0


def test_a_list_may_mix_numbers_text_and_quantities():
    inch = pint.UnitRegistry().Quantity(1.0, "inch")
    result = to_house([30, "12 in", inch], "length", "depths")
    np.testing.assert_allclose(result, [30.0, 30.48, 2.54], rtol=1e-15)


def test_texts_in_a_series_are_read_one_by_one():
    np.testing.assert_array_equal(
        to_house(pd.Series(["10 in", "12 in"]), "length", "depths"), [25.4, 30.48]
    )


def test_quantities_of_any_registry_and_shape():
    registry = pint.UnitRegistry()
    array = to_house(registry.Quantity(np.array([1.0, 2.0]), "kilopascal"), "suction", "suction")
    np.testing.assert_allclose(array, [10.19716, 20.39432], rtol=1e-6)
    assert to_house(registry.Quantity(12, "inch"), "length", "depth") == pytest.approx(30.48)
    warm = registry.Quantity(68.0, "degF")
    assert to_house(warm, "temperature", "temperature") == pytest.approx(20.0)
    assert to_house(registry.Quantity(45.0, "degree"), "slope", "slope") == pytest.approx(1.0)


def test_a_labelled_array_is_converted_from_its_own_unit():
    inches = xr.DataArray([10.0, 12.0], attrs={"units": "inch"})
    np.testing.assert_allclose(to_house(inches, "length", "depth"), [25.4, 30.48], rtol=1e-15)
    contents = xr.DataArray([0.1, 0.2], attrs={"units": "1"})
    np.testing.assert_array_equal(to_house(contents, "water_content", "wc"), [0.1, 0.2])
    per_cent = xr.DataArray([10.0, 20.0], attrs={"units": "%"})
    np.testing.assert_array_equal(to_house(per_cent, "water_content", "wc"), [0.1, 0.2])
    with pytest.raises(UnitError, match="mm h-1"):
        to_house(xr.DataArray([1.0], attrs={"units": "mm h-1"}), "length", "depth")


@pytest.mark.parametrize(
    "span",
    [
        datetime.timedelta(minutes=90),
        np.timedelta64(90, "m"),
        pd.Timedelta("90min"),
        "1.5 h",
    ],
)
def test_time_spans_are_durations(span):
    assert to_house(span, "duration", "duration") == 1.5
    np.testing.assert_array_equal(to_house([span], "duration", "duration"), [1.5])


def test_an_array_of_time_spans_is_durations():
    np.testing.assert_array_equal(
        to_house(np.array([1, 2], "m8[D]"), "duration", "duration"), [24.0, 48.0]
    )


def test_a_time_span_is_no_length():
    with pytest.raises(TypeError, match="a time span is not a length"):
        to_house(np.timedelta64(1, "h"), "length", "depth")


@pytest.mark.parametrize("given", [True, np.True_, [True], np.array([False]), {}, 1j, object()])
def test_what_is_no_quantity_is_a_type_error(given):
    with pytest.raises(TypeError, match="depth"):
        to_house(given, "length", "depth")


@pytest.mark.parametrize("text", ["12", "14 3/4", "0.22", "", "deep", "12+", "12 furlongz", "."])
def test_text_that_says_no_unit_or_no_number_is_refused(text):
    with pytest.raises(UnitError, match="depth"):
        to_house(text, "length", "depth")


@pytest.mark.parametrize("text", ["0,033 m", "1,500 cm"])
def test_a_comma_in_a_number_is_never_guessed_at(text):
    with pytest.raises(UnitError, match="point and thousands without a comma"):
        to_house(text, "length", "depth")


@pytest.mark.parametrize(
    ("text", "quantity"),
    [
        ("1 h", "length"),
        ("1 kPa", "length"),
        ("14 in", "conductivity"),
        ("2 pF", "suction"),
        ("5 mm", "evapotranspiration"),
        ("4 deg", "water_content"),
        ("4 deg", "fraction"),
        ("0.22 g/cm3", "water_content"),
        ("20 in/h", "slope"),
        ("90 % by volume", "fraction"),
        ("20 m", "temperature"),
        ("15 gal", "flow"),
        ("12 in", "area"),
        ("2 acre-ft", "water_amount"),
        ("1 ft 2 cm", "length"),
    ],
)
def test_a_unit_of_something_else_is_refused(text, quantity):
    with pytest.raises(UnitError):
        to_house(text, quantity, "argument")
    with pytest.raises(UnitError):
        to_house(pint.UnitRegistry().Quantity(1.0, "candela"), quantity, "argument")


def test_a_slope_written_run_first_is_asked_about():
    with pytest.raises(UnitError, match="rise before the run"):
        to_house("25:1", "slope", "slope")


@pytest.mark.parametrize(
    ("given", "place"),
    [
        ([1.0, math.nan, math.nan], r"2 of 3 .* first at \[1\]"),
        ([1.0, None], r"1 of 2 .* first at \[1\]"),
        ([[1.0, 2.0], [3.0, math.inf]], r"first at \[1, 1\]"),
        (np.ma.masked_array([1.0, 2.0], [False, True]), r"first at \[1\]"),
        (pd.Series([1.0, None]), r"first at \[1\]"),
        (pd.Series([1, pd.NA], dtype="Int64"), r"first at \[1\]"),
        (math.nan, "missing"),
        (None, "missing"),
        (pd.NaT, "missing"),
        (math.inf, "infinite"),
    ],
)
def test_missing_and_infinite_values_are_named_by_place(given, place):
    with pytest.raises(InputError, match=place):
        to_house(given, "length", "depth")


def test_every_bad_item_of_a_list_is_reported_at_once():
    with pytest.raises(UnitError) as caught:
        to_house([1.0, "12", "10 in", "3 h"], "length", "depths")
    assert len(caught.value.faults) == 2
    assert "depths[1]" in caught.value.faults[0]
    assert "depths[3]" in caught.value.faults[1]


def test_rows_of_unequal_length_are_refused():
    with pytest.raises(InputError, match="rows differ in length"):
        to_house([[1.0, 2.0], [3.0]], "length", "depth")


@pytest.mark.parametrize(("given", "cure"), [(22, "0.22 or '22 %'"), (22.5, "0.225 or '22.5 %'")])
def test_a_bare_water_content_above_one_looks_like_per_cent(given, cure):
    with pytest.raises(InputError, match="looks like per cent") as caught:
        to_house(given, "water_content", "reading")
    assert cure in str(caught.value)


def test_per_cent_among_fractions_is_named_by_place():
    with pytest.raises(InputError, match=r"reading: \[1\]: 22 is not a water content"):
        to_house([0.2, 22.0], "water_content", "reading")


@pytest.mark.parametrize("given", [-0.1, -999, 101.0, "150 %", "-5 %"])
def test_other_impossible_water_contents_are_not_called_per_cent(given):
    with pytest.raises(InputError) as caught:
        to_house(given, "water_content", "reading")
    assert "looks like" not in str(caught.value)


def test_a_quantity_nobody_defined_is_a_programming_error():
    with pytest.raises(KeyError, match="one of"):
        to_house(1.0, "viscosity", "argument")


def test_one_number_means_one_number():
    assert number_to_house("12 in", "length", "root_zone") == 30.48
    assert type(number_to_house(np.array(3), "length", "root_zone")) is float
    with pytest.raises(InputError, match="root_zone: 2 values were given; allowed: one"):
        number_to_house([10, 12], "length", "root_zone")


@pytest.mark.parametrize(
    ("value", "quantity", "words"),
    [
        (30.48, "length", "30.5 cm (12.0 in)"),
        (30.6, "suction", "30.6 cm (3.00 kPa)"),
        (35.56, "conductivity", "35.6 cm/h (14.0 in/h)"),
        (0.033, "inverse_length", "0.0330 1/cm"),
        (12.7, "water_amount", "12.7 mm (0.50 in)"),
        (12.7, "water_rate", "12.7 mm/h (0.50 in/h)"),
        (5.08, "evapotranspiration", "5.1 mm/day (0.20 in/day)"),
        (36, "duration", "36.0 h (1.5 days)"),
        (0.22, "water_content", "22.0 %"),
        (0.9, "fraction", "90 %"),
        (20, "temperature", "20.0 °C (68.0 °F)"),
        (92.90304, "area", "92.9 m2 (1000 ft2)"),
        (56.78, "flow", "56.8 L/min (15.0 US gal/min)"),
        (1.55, "density", "1.55 g/cm3"),
        (0.04, "slope", "4.0 % (1:25)"),
        (0, "slope", "0.0 %"),
        (0.0012, "conductivity", "0.0012 cm/h (0.00047 in/h)"),
        (math.nan, "length", "missing"),
        (math.inf, "length", "inf cm (inf in)"),
    ],
)
def test_words_for_people_carry_both_systems(value, quantity, words):
    assert in_people_units(value, quantity) == words


def test_what_rounds_to_nothing_has_no_sign():
    assert in_one_unit(-0.004, "water_amount") == "0.0 mm"
    assert in_one_unit(-0.06, "water_amount") == "-0.1 mm"


@pytest.mark.parametrize("text", ["18+ in", "18 in + 2 in", "10 - in", "10 in - 2 in"])
def test_a_sign_between_number_and_unit_is_asked_about(text):
    """Units were worked out as sums: 18 in + 2 in came out as 54 in."""
    with pytest.raises(InputError, match=r"the unit .* is not known"):
        number_to_house(text, "length", "depth")
    assert number_to_house("5 mm d-1", "evapotranspiration", "demand") == 5.0
    assert number_to_house("5 mm day^(-1)", "evapotranspiration", "demand") == 5.0
