"""What every soil model shares: checked parameters, curves on any kind of suction, texts.

A soil model is a frozen dataclass that writes its curves as functions of a float64 array.
Everything a person touches is made from those here, once.
"""

from __future__ import annotations

import math
import operator
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any

import numpy as np
import xarray as xr

from soilwater.soils.soil import Values
from soilwater.words.arrays import FloatArray
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults, InputError
from soilwater.words.quantities import HOUSE_UNITS, in_people_units
from soilwater.words.units import number_to_house, to_house
from soilwater.words.vocabulary import attributes

_TEST_SUCTIONS = (30.0, 40.0)
"""Suctions [cm] a person knows a root zone sand by, from its lab sheet; common practice."""

_ROUNDING = 1e-12
"""Water contents this far outside the curve are taken as lying on its end."""


def parameter(
    label: str,
    quantity: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    at_most: float | None = None,
    below: float | None = None,
) -> dict[str, Any]:
    """Describe a parameter of a model: its words, its unit and the range it may have."""
    return {
        "label": label,
        "quantity": quantity,
        "above": above,
        "at_least": at_least,
        "at_most": at_most,
        "below": below,
    }


RESIDUAL = parameter("residual water content", "water_content", at_least=0.0)
SATURATED = parameter("saturated water content", "water_content", above=0.0, at_most=1.0)
CONDUCTIVITY = parameter("saturated conductivity", "conductivity", above=0.0)
# A pore integral falls at least as fast as the saturation itself, so that with any tortuosity
# above -2 the conductivity S^l R^2 falls as the soil dries.
TORTUOSITY = parameter("tortuosity exponent", "fraction", above=-2.0)


_BOUNDS: dict[str, tuple[str, Callable[[float, float], bool]]] = {
    "above": ("above", operator.gt),
    "at_least": ("at least", operator.ge),
    "at_most": ("at most", operator.le),
    "below": ("below", operator.lt),
}


def _range_fault(value: float, about: Mapping[str, Any]) -> str:
    """Say the allowed range in words, or nothing where the value lies in it."""
    for key, (_, holds) in _BOUNDS.items():
        bound = about[key]
        if bound is not None and not holds(value, bound):
            break
    else:
        return ""
    stated = [(words, about[key]) for key, (words, _) in _BOUNDS.items() if about[key] is not None]
    return " and ".join(f"{words} {bound:g}" for words, bound in stated)


@dataclass(frozen=True, repr=False)
class SoilModel(ABC, Displayed):
    """Base of the soil models; make one of its subclasses.

    Parameters
    ----------
    name : str
        What the person calls this soil.
    source : str
        Where the parameters come from.
    """

    name: str = field(default="", kw_only=True)
    source: str = field(default="", kw_only=True)

    def __post_init__(self) -> None:
        # Soils are made by the thousand: what only one with faults needs is made for that one.
        odd = self._is_odd()
        if odd or not self._agree():
            faults = Faults("")
            self._check_together(faults, self._refused(faults) if odd else set())
            if len(faults):
                faults.subject = self._title()
                faults.raise_if_any()

    def _is_odd(self) -> bool:
        """Whether something is other than what most is: numbers in their range, and texts."""
        own = self.__dict__
        for name, _, low, high in _numbers(type(self)):
            # Nothing of what lies elsewhere, as in slots: looked at closely, as all that is odd.
            given = own.get(name)
            if type(given) is not float:
                if not isinstance(given, float):
                    return True
                given = own[name] = float(given)
            if not low < given < high:
                return True
        return not (isinstance(self.name, str) and isinstance(self.source, str))

    def _refused(self, faults: Faults) -> set[str]:
        """Bring parameters to their units, and name those that cannot be used, added to faults."""
        refused: set[str] = set()
        for name, about, _, _ in _numbers(type(self)):
            try:
                value = number_to_house(getattr(self, name), about["quantity"], name)
            except InputError:
                refused.add(name)
                with faults.catching():
                    raise
                continue
            object.__setattr__(self, name, value)
            allowed = _range_fault(value, about)
            if allowed:
                refused.add(name)
                faults.add(f"{name}={value:g}", allowed=allowed, cure=self._cure(name, value))
        for name, text in (("name", self.name), ("source", self.source)):
            if not isinstance(text, str):
                faults.add(f"{name}={text!r} is not text")
        return refused

    def _agree(self) -> bool:
        """Whether parameters in their range surely agree: `_check_together` would add nothing."""
        return False

    def _cure(self, name: str, value: float) -> str:
        """Say what may be meant by a parameter that is out of its range."""
        return ""

    @abstractmethod
    def _check_together(self, faults: Faults, refused: set[str]) -> None:
        """Add faults that lie between parameters, of which those `refused` mean nothing."""

    def _title(self) -> str:
        return self._kind() + (f' "{self.name}"' if self.name else "")

    def _kind(self) -> str:
        return type(self).__name__

    # What a model writes. `suction` is never negative.
    @property
    @abstractmethod
    def suction_scale(self) -> float:
        """Characteristic suction of the curve [cm]; where the curve has a kink, its place."""

    @property
    @abstractmethod
    def dry_end_water_content(self) -> float:
        """Water content the curve tends to as suction grows without limit [m3/m3]."""

    @abstractmethod
    def _water_content(self, suction: FloatArray) -> FloatArray: ...

    @abstractmethod
    def _effective_saturation(self, suction: FloatArray) -> FloatArray: ...

    @abstractmethod
    def _capacity(self, suction: FloatArray) -> FloatArray: ...

    @abstractmethod
    def _conductivity(self, suction: FloatArray) -> FloatArray: ...

    @abstractmethod
    def _suction_at(self, water_content: FloatArray) -> FloatArray: ...

    def water_content(self, suction: Values) -> Values:
        """Water content at a suction.

        Parameters
        ----------
        suction : float, str, Quantity, ndarray or DataArray, any shape
            Suction [cm], positive when dry; zero and less means saturated.

        Returns
        -------
        float, ndarray or DataArray
            Water content [m3/m3], of the kind and shape of `suction`.

        Raises
        ------
        InputError
            If a suction is not a finite number or its unit does not measure suction.
        """
        return self._on_suction(self._water_content, suction, "water_content")

    def effective_saturation(self, suction: Values) -> Values:
        """Share of the water between the dry end and saturation that is held at a suction.

        Parameters
        ----------
        suction : float, str, Quantity, ndarray or DataArray, any shape
            Suction [cm], positive when dry; zero and less means saturated.

        Returns
        -------
        float, ndarray or DataArray
            Effective saturation [1], from 0 at the dry end to 1.

        Raises
        ------
        InputError
            If a suction is not a finite number or its unit does not measure suction.
        """
        return self._on_suction(self._effective_saturation, suction, "effective_saturation")

    def capacity(self, suction: Values) -> Values:
        """Water released per unit rise of suction.

        Parameters
        ----------
        suction : float, str, Quantity, ndarray or DataArray, any shape
            Suction [cm], positive when dry; zero and less means saturated.

        Returns
        -------
        float, ndarray or DataArray
            Capacity -d(water content)/d(suction) [1/cm]; at a kink of the curve the value of
            its wet side.

        Raises
        ------
        InputError
            If a suction is not a finite number or its unit does not measure suction.
        """
        return self._on_suction(self._capacity, suction, "capacity")

    def conductivity(self, suction: Values) -> Values:
        """Hydraulic conductivity at a suction.

        Parameters
        ----------
        suction : float, str, Quantity, ndarray or DataArray, any shape
            Suction [cm], positive when dry; zero and less means saturated.

        Returns
        -------
        float, ndarray or DataArray
            Conductivity [cm/h].

        Raises
        ------
        InputError
            If a suction is not a finite number or its unit does not measure suction.
        """
        return self._on_suction(self._conductivity, suction, "conductivity")

    def suction_at(self, water_content: Values) -> Values:
        """Suction at which the curve holds a water content.

        Parameters
        ----------
        water_content : float, str, ndarray or DataArray, any shape
            Water content [m3/m3], between the dry end and saturation.

        Returns
        -------
        float, ndarray or DataArray
            Suction [cm]; 0 at saturation, and infinite at a water content that the curve
            reaches only in the limit.

        Raises
        ------
        InputError
            If a water content is not a number, or the soil cannot hold it.
        """

        def inverse(values: Any) -> FloatArray:
            wanted = np.asarray(to_house(values, "water_content", "water_content"), dtype=float)
            low, high = self.dry_end_water_content, float(self.water_content(0.0))
            off = (wanted < low - _ROUNDING) | (wanted > high + _ROUNDING)
            if off.any():
                faults = Faults(self._title())
                for index in np.argwhere(off):
                    place = f"[{', '.join(map(str, index))}]" if wanted.ndim else ""
                    faults.add(
                        f"water_content{place}={wanted[tuple(index)]:g} is not on the curve",
                        allowed=f"{low:g} to {high:g}",
                    )
                faults.raise_if_any()
            return self._suction_at(np.clip(wanted, low, high))

        suction: Values = self._same_kind(inverse, water_content, "suction")
        return suction

    def _on_suction(
        self, curve: Callable[[FloatArray], FloatArray], suction: Values, variable: str
    ) -> Values:
        def at(values: Any) -> FloatArray:
            house = np.asarray(to_house(values, "suction", "suction"), dtype=np.float64)
            return curve(np.maximum(house, 0.0))

        values: Values = self._same_kind(at, suction, variable)
        return values

    @staticmethod
    def _same_kind(curve: Callable[[Any], FloatArray], given: Any, variable: str) -> Any:
        if isinstance(given, xr.DataArray):
            result = xr.apply_ufunc(
                # The attributes go along, because the unit is among them.
                lambda values: curve(xr.DataArray(values, attrs=given.attrs)),
                given,
                dask="parallelized",
                output_dtypes=[np.float64],
                keep_attrs=True,
            )
            result = result.rename(variable)
            # A value of the curve is no mean and no point in time. The coordinates keep their
            # attributes: they are the person's own and may be in other units.
            described = attributes(variable)
            described.pop("cell_methods", None)
            result.attrs = described
            return result
        result = np.asarray(curve(given))
        return result if isinstance(given, np.ndarray) or np.ndim(result) else float(result)

    def to_dict(self) -> dict[str, Any]:
        """Parameters as text and numbers, ready for JSON.

        Returns
        -------
        dict
            The name of the model under ``"model"`` and every parameter in house units;
            `soil_from_dict` makes the soil again.
        """
        given: dict[str, Any] = {"model": type(self).__name__}
        for name in _names(type(self)):
            value = getattr(self, name)
            # To ask of a number whether it is a soil takes longer than all else here.
            plain = isinstance(value, float | str) or not isinstance(value, SoilModel)
            given[name] = value if plain else value.to_dict()
        return given

    def _facts(self) -> list[tuple[str, str, str]]:
        """Rows of the text a person sees: words, value with unit, name of the parameter."""
        rows = []
        for each in fields(self):
            if "quantity" not in each.metadata:
                continue
            value, quantity = getattr(self, each.name), each.metadata["quantity"]
            rows.append((each.metadata["label"], _text(value, quantity), each.name))
        return rows

    def _notes(self) -> tuple[str, str]:
        held = ", ".join(
            f"{in_people_units(self.water_content(suction), 'water_content')} at {suction:g} cm"
            for suction in _TEST_SUCTIONS
        )
        return f"holds {held} of suction", f"source: {self.source or 'not stated'}"

    def _shown(self) -> Shown:
        header = ("parameter", "value", "argument")
        return Shown(self._title(), header, self._facts(), self._notes())


@cache
def _names(model: type[SoilModel]) -> tuple[str, ...]:
    return tuple(each.name for each in fields(model))


@cache
def _numbers(
    model: type[SoilModel],
) -> tuple[tuple[str, Mapping[str, Any], float, float], ...]:
    """Names of the parameters that are numbers, what is known of each, and what is surely allowed.

    Between the last two, exclusive, a number is in its range.
    """
    kept = [(each.name, each.metadata) for each in fields(model) if "quantity" in each.metadata]
    return tuple((name, about, *_surely_allowed(about)) for name, about in kept)


def _surely_allowed(about: Mapping[str, Any]) -> tuple[float, float]:
    content = about["quantity"] == "water_content"
    low, high = (0.0, 1.0) if content else (-math.inf, math.inf)
    for name in ("above", "at_least"):
        low = max(low, -math.inf if about[name] is None else about[name])
    for name in ("at_most", "below"):
        high = min(high, math.inf if about[name] is None else about[name])
    return low, high


def parameter_unit(model: type[Any], name: str) -> str:
    """House unit of a parameter of a soil model; nothing for a plain number."""
    quantity = next(each for each in fields(model) if each.name == name).metadata["quantity"]
    return _unit(quantity)


def _unit(quantity: str) -> str:
    return "" if quantity == "fraction" else HOUSE_UNITS[quantity]


def _text(value: float, quantity: str) -> str:
    if quantity in ("fraction", "water_content", "inverse_length"):
        return f"{value:.4g} {_unit(quantity)}".rstrip()
    return in_people_units(value, quantity)
