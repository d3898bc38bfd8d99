"""What a person reads when a quantity cannot be taken: the argument, what was given, the cure."""

import re

import numpy as np
import pytest

from soilwater.words.errors import InputError
from soilwater.words.quantities import HOUSE_UNITS
from soilwater.words.units import to_house

# Something each quantity is often mistaken for.
MISTAKEN = {
    "length": "12 in/h",
    "suction": "2 pF",
    "conductivity": "14 in",
    "inverse_length": "0.033 cm",
    "water_amount": "0.5 in/h",
    "water_rate": "0.5 in",
    "evapotranspiration": "5 mm",
    "duration": "5 mm/day",
    "water_content": "0.22 g/cm3",
    "fraction": "90 mm",
    "temperature": "20 percent",
    "area": "12 ft",
    "flow": "15 gal",
    "density": "1.55 g",
    "slope": "4 cm",
}
INTERNAL_WORDS = re.compile(
    r"pint|registry|Quantity|dimensionless|magnitude|ndarray|None|float64|regex|Traceback", re.I
)


def message_of(given, quantity):
    with pytest.raises(InputError) as caught:
        to_house(given, quantity, "root_zone")
    return str(caught.value)


def test_every_quantity_is_covered():
    assert set(MISTAKEN) == set(HOUSE_UNITS)


def examples_in(message):
    """Texts in quotes after "such as"."""
    return re.findall(r'"([^"]+)"', message.split("such as", 1)[1])


@pytest.mark.parametrize("quantity", HOUSE_UNITS)
def test_a_wrong_unit_is_told_with_argument_text_house_unit_and_examples(quantity):
    message = message_of(MISTAKEN[quantity], quantity)
    assert message.startswith(f'root_zone: "{MISTAKEN[quantity]}"')
    assert f"a number ({HOUSE_UNITS[quantity]})" in message
    assert examples_in(message)
    assert message.endswith(".")
    assert "\n" not in message
    assert not INTERNAL_WORDS.search(message)


@pytest.mark.parametrize("quantity", HOUSE_UNITS)
def test_every_example_shown_is_accepted(quantity):
    for example in examples_in(message_of("?", quantity)):
        assert np.isfinite(to_house(example, quantity, "root_zone"))


@pytest.mark.parametrize("number", ["20", "12.5", "100", "1.5"])
def test_per_cent_without_its_sign_are_told_a_cure_that_works(number):
    message = message_of(number, "water_content")
    cure = re.search(r'write "(.*)"\.$', message).group(1)
    assert to_house(cure, "water_content", "root_zone") == pytest.approx(float(number) / 100)


@pytest.mark.parametrize("quantity", HOUSE_UNITS)
def test_a_text_without_unit_is_told_both_cures(quantity):
    message = message_of("0.5", quantity)
    assert '"0.5" has no unit' in message
    assert "write 0.5 without quotes if it is in the house unit, else add the unit." in message
    assert not INTERNAL_WORDS.search(message)


@pytest.mark.parametrize("quantity", HOUSE_UNITS)
@pytest.mark.parametrize("given", [None, float("nan"), [0.5, float("nan")], float("-inf")])
def test_missing_values_are_told_in_plain_words(quantity, given):
    message = message_of(given, quantity)
    assert re.match(r"root_zone: .*(missing|infinite)", message)
    assert f"({HOUSE_UNITS[quantity]})" in message
    assert "nan" not in message.lower()
    assert not INTERNAL_WORDS.search(message)


@pytest.mark.parametrize("given", [True, {"a": 1}, 1j])
def test_what_is_no_quantity_is_told_with_examples(given):
    with pytest.raises(TypeError) as caught:
        to_house(given, "length", "root_zone")
    assert str(caught.value).startswith("root_zone: ")
    assert "14 3/4 in" in str(caught.value)


def test_the_very_words():
    assert message_of("12", "length") == (
        'root_zone: "12" has no unit; allowed: a number (cm) or text with a unit such as "12 in", '
        '"14 3/4 in", "1 ft 2 in", "30 cm"; write 12 without quotes if it is in the house unit, '
        "else add the unit."
    )
    assert message_of(22, "water_content") == (
        "root_zone: 22 is not a water content by volume; allowed: fractions from 0 to 1, or text "
        "such as '22 %'; it looks like per cent: write 0.22 or '22 %'."
    )
    assert message_of([1.0, np.nan], "length") == (
        "root_zone: 1 of 2 values are missing or not finite, the first at [1]; allowed: finite "
        "numbers (cm); fill or drop them."
    )
