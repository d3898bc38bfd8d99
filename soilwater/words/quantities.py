"""What can be measured: its house unit, what else measures it, and how people read it.

Sources of the factors:

- inch = 2.54 cm and foot = 30.48 cm exactly (international yard and pound agreement, 1959);
- centimetre of water = 98.0665 Pa, the conventional water column (water of 1000 kg/m3 under
  standard gravity 9.80665 m/s2; NIST SP 811, 2008, Appendix B.8), so 1 kPa = 10.197 cm;
- kilogram of water per square metre = 1 mm, by the same convention of 1000 kg/m3;
- ``gal`` and ``gpm`` are the US gallon, 231 in3 = 3.785411784 L; ``UK gal`` is 4.54609 L (NIST
  SP 811, 2008, Appendix B.8);
- every other factor is pint's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

from soilwater.words.unit_choice import shown, units_in_use

CM_PER_INCH = 2.54
PASCAL_PER_CM_OF_WATER = 98.0665
LITRES_PER_US_GALLON = 3.785411784
SQUARE_METRES_PER_SQUARE_FOOT = 0.09290304
CUBIC_METRES_PER_CUBIC_YARD = 0.764554857984
_CM_OF_WATER_PER_PASCAL = Fraction(10000, 980665)


@dataclass(frozen=True)
class Kind:
    """One measurable thing: its house unit, and what else measures it.

    Attributes
    ----------
    phrase : str
        What it is called in a message.
    house : str
        House unit.
    examples : tuple of str
        How it may be written.
    measures : tuple
        Units (pint's spelling) of every dimension accepted, with the house units in one of each.
    for_people : callable
        Writes a number in the units in use.
    """

    phrase: str
    house: str
    examples: tuple[str, ...]
    measures: tuple[tuple[str, Fraction | int], ...]
    for_people: Callable[[float], str]


def _figure(value: float, decimals: int) -> str:
    """Write a number with fixed decimals, or two figures where those would hide it."""
    if value != 0 and abs(value) < 10.0**-decimals:
        return f"{value:.2g}"
    return f"{value:.{decimals}f}"


class Writing(NamedTuple):
    """How a number in the house unit is written: unit, decimals, factor, and what is added."""

    unit: str
    decimals: int
    per_house: float = 1.0
    added: float = 0.0

    def of(self, value: float) -> float:
        """Value in this unit."""
        return value * self.per_house + self.added

    def figure(self, value: float) -> str:
        """Value in this unit, without it, with as many decimals for all."""
        # Adding 0 turns a rounded -0 into 0.
        return f"{round(self.of(value), self.decimals) + 0.0:.{self.decimals}f}"

    def write(self, value: float) -> str:
        """Value in this unit, with it; a small one in two figures."""
        return f"{_figure(self.of(value), self.decimals)} {self.unit}"


WRITINGS: dict[str, tuple[Writing, Writing]] = {
    "length": (Writing("cm", 1), Writing("in", 1, 1 / CM_PER_INCH)),
    "distance": (Writing("m", 1), Writing("ft", 1, 100 / CM_PER_INCH / 12)),
    "conductivity": (Writing("cm/h", 1), Writing("in/h", 1, 1 / CM_PER_INCH)),
    "water_amount": (Writing("mm", 1), Writing("in", 2, 0.1 / CM_PER_INCH)),
    "water_on_area": (
        Writing("L/m2", 1),
        Writing("US gal/1000 ft2", 0, 1000 * SQUARE_METRES_PER_SQUARE_FOOT / LITRES_PER_US_GALLON),
    ),
    "water_rate": (Writing("mm/h", 1), Writing("in/h", 2, 0.1 / CM_PER_INCH)),
    "evapotranspiration": (Writing("mm/day", 1), Writing("in/day", 2, 0.1 / CM_PER_INCH)),
    "temperature": (Writing("°C", 1), Writing("°F", 1, 1.8, 32.0)),
    "area": (Writing("m2", 1), Writing("ft2", 0, 1 / SQUARE_METRES_PER_SQUARE_FOOT)),
    "earth": (Writing("m3", 1), Writing("yd3", 1, 1 / CUBIC_METRES_PER_CUBIC_YARD)),
    "volume": (Writing("L", 0), Writing("US gal", 0, 1 / LITRES_PER_US_GALLON)),
    "flow": (Writing("L/min", 1), Writing("US gal/min", 1, 1 / LITRES_PER_US_GALLON)),
    "water_content": (Writing("%", 1, 100.0), Writing("%", 1, 100.0)),
    "probability": (Writing("%", 0, 100.0), Writing("%", 0, 100.0)),
    "share": (Writing("%", 1, 100.0), Writing("%", 1, 100.0)),
    "slope": (Writing("%", 1, 100.0), Writing("%", 1, 100.0)),
    "suction": (Writing("cm", 1), Writing("cm", 1)),
    "opening": (Writing("mm", 2), Writing("mm", 2)),
    "days": (Writing("days", 1), Writing("days", 1)),
    "various": (Writing("in its unit", 2), Writing("in its unit", 2)),
    "seconds": (Writing("s", 0), Writing("s", 0)),
}
"""How quantities are written in metric and in US units; suctions are as laboratories give them, and
various things keep the unit that stands beside them."""


def writings(quantity: str) -> tuple[Writing, ...]:
    """Tell how a quantity is written in the units in use: one way, or two.

    Parameters
    ----------
    quantity : str
        A key of `WRITINGS`.

    Returns
    -------
    tuple of Writing
        Metric before US.
    """
    metric, american = WRITINGS[quantity]
    return (metric,) if metric == american else shown(metric, american)


def one_writing(quantity: str) -> Writing:
    """Tell how a quantity is written where there is room for one unit only.

    Parameters
    ----------
    quantity : str
        A key of `WRITINGS`.

    Returns
    -------
    Writing
        Metric, or that of the US where these units are in use.
    """
    return WRITINGS[quantity][units_in_use() == "US"]


def in_one_unit(value: float, quantity: str) -> str:
    """Write a value with one unit only: metric, or that of the US where these are in use.

    Parameters
    ----------
    value : float
        In the house unit.
    quantity : str
        A key of `WRITINGS`.
    """
    writing = one_writing(quantity)
    return f"{writing.figure(value)} {writing.unit}"


def range_in_people_units(low: float, high: float, quantity: str) -> str:
    """Write two values as a range in the units in use: ``"7.5 to 12.4 cm (3.0 to 4.9 in)"``.

    Parameters
    ----------
    low, high : float
        In the house unit.
    quantity : str
        A key of `WRITINGS`.
    """
    return _bracketed([f"{each.figure(low)} to {each.write(high)}" for each in writings(quantity)])


def _bracketed(texts: Sequence[str]) -> str:
    """Write the second of two texts in brackets behind the first."""
    return f"{texts[0]} ({texts[1]})" if len(texts) > 1 else texts[0]


def _both(quantity: str) -> Callable[[float], str]:
    """Make the writer of a quantity in the units in use, those of the US in brackets behind."""

    def write(value: float) -> str:
        return _bracketed([each.write(value) for each in writings(quantity)])

    return write


def _beside(unit: str, decimals: int, other: str, per_house: float, other_decimals: int) -> Any:
    """Make the writer that puts another unit in brackets, whatever units are in use."""

    def write(value: float) -> str:
        converted = _figure(value * per_house, other_decimals)
        return f"{_figure(value, decimals)} {unit} ({converted} {other})"

    return write


def _slope_for_people(value: float) -> str:
    ratio = f" (1:{_figure(1 / value, 0)})" if 0 < value <= 1 else ""
    return f"{_figure(100 * value, 1)} %{ratio}"


KINDS: dict[str, Kind] = {
    "length": Kind(
        "a length",
        "cm",
        ("12 in", "14 3/4 in", "1 ft 2 in", "30 cm"),
        (("cm", 1),),
        _both("length"),
    ),
    "suction": Kind(
        "a suction",
        "cm",
        ("30 cm", "3 kPa", "30 mbar", "12 in"),
        (("cm", 1), ("Pa", _CM_OF_WATER_PER_PASCAL)),
        _beside("cm", 1, "kPa", PASCAL_PER_CM_OF_WATER / 1000, 2),
    ),
    "conductivity": Kind(
        "a conductivity",
        "cm/h",
        ("14 in/h", "35 cm/h", "350 mm/h"),
        (("cm/h", 1),),
        _both("conductivity"),
    ),
    "inverse_length": Kind(
        "a value per length of suction",
        "1/cm",
        ("0.033 1/cm", "3.3 1/m", "0.33 1/kPa"),
        (("1/cm", 1), ("1/Pa", 1 / _CM_OF_WATER_PER_PASCAL)),
        lambda value: f"{_figure(value, 4)} 1/cm",
    ),
    "water_amount": Kind(
        "an amount of water",
        "mm",
        ("12 mm", "0.5 in", "12 L/m2", "95 gal/1000 ft2"),
        (("mm", 1), ("kg/m**2", 1)),
        _both("water_amount"),
    ),
    "water_rate": Kind(
        "a rate of water",
        "mm/h",
        ("12 mm/h", "0.5 in/h"),
        (("mm/h", 1), ("kg/m**2/h", 1)),
        _both("water_rate"),
    ),
    "evapotranspiration": Kind(
        "an evapotranspiration",
        "mm/day",
        ("5 mm/day", "0.2 in/day"),
        (("mm/day", 1), ("kg/m**2/day", 1)),
        _both("evapotranspiration"),
    ),
    "duration": Kind(
        "a duration",
        "h",
        ("36 h", "90 min", "14 days"),
        (("h", 1),),
        _beside("h", 1, "days", 1 / 24, 1),
    ),
    "water_content": Kind(
        "a water content by volume",
        "m3/m3",
        ("22 %", "0.22 m3/m3"),
        (("1", 1),),
        lambda value: f"{_figure(100 * value, 1)} %",
    ),
    "fraction": Kind(
        "a fraction",
        "1",
        ("90 %",),
        (("1", 1),),
        lambda value: f"{_figure(100 * value, 0)} %",
    ),
    "temperature": Kind(
        "a temperature",
        "degC",
        ("20 degC", "68 degF"),
        (("degC", 1),),
        _both("temperature"),
    ),
    "area": Kind(
        "an area",
        "m2",
        ("500 m2", "5400 ft2"),
        (("m**2", 1),),
        _both("area"),
    ),
    "flow": Kind(
        "a flow",
        "L/min",
        ("57 L/min", "15 gpm", "12 UK gal/min"),
        (("L/min", 1),),
        _both("flow"),
    ),
    "density": Kind(
        "a density",
        "g/cm3",
        ("1.55 g/cm3", "1550 kg/m3"),
        (("g/cm**3", 1),),
        lambda value: f"{_figure(value, 2)} g/cm3",
    ),
    "slope": Kind(
        "a slope",
        "rise over run",
        ("4 %", "1:25", "2.3 deg"),
        (("1", 1),),
        _slope_for_people,
    ),
}


HOUSE_UNITS: dict[str, str] = {quantity: kind.house for quantity, kind in KINDS.items()}
"""House unit of every quantity that `to_house` knows."""


def in_people_units(value: float, quantity: str) -> str:
    """Write a value the way both halves of the trade read it.

    Parameters
    ----------
    value : float
        In the house unit.
    quantity : str
        What is measured: a key of `HOUSE_UNITS`, or of `WRITINGS`.

    Returns
    -------
    str
        In the units that `use_units` chose; metric first with US customary in brackets where
        nothing is chosen. "missing" for NaN.

    Examples
    --------
    >>> in_people_units(30.48, "length")
    '30.5 cm (12.0 in)'
    >>> in_people_units(0.22, "water_content")
    '22.0 %'
    """
    if math.isnan(value):
        return "missing"
    kind = KINDS.get(quantity)
    return _both(quantity)(float(value)) if kind is None else kind.for_people(float(value))
