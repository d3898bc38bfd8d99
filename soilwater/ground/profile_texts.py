"""Profiles as texts, by which results know the soils of their columns again."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import fields
from functools import cache
from json.encoder import encode_basestring_ascii
from math import isfinite
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from soilwater.ground.base import base_to_dict
from soilwater.soils import Soil
from soilwater.soils.serial import BUILT_IN

if TYPE_CHECKING:
    from soilwater.ground.profile import Profile


def texts_of(profiles: Sequence[Profile]) -> list[str]:
    """Write profiles as texts, each as `Profile.to_json` does; what they share once.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    """
    soils = [tuple([layer.soil for layer in each.layers]) for each in profiles]
    return texts_alike(profiles, range(len(profiles)), soils)


def texts_alike(
    profiles: Sequence[Profile], kind: Sequence[int], soils: Sequence[tuple[Soil, ...]]
) -> list[str]:
    """Write columns, of which many differ in their soils alone, as texts of their profiles.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    kind : sequence of int
        Which of them each column is, but for its soils.
    soils : sequence of tuple of Soil
        Soils of the layers of each column, from the top down.
    """
    parts: dict[int, str] = {}
    between = [_around_soils(profile, parts) for profile in profiles]
    texts = []
    for number, column in zip(kind, soils, strict=True):
        pieces = between[number]
        text = pieces[0]
        for soil, piece in zip(column, pieces[1:], strict=True):
            own = parts.get(id(soil))
            if own is None:
                own = parts[id(soil)] = _text_of_soil(soil)
            text += own + piece
        texts.append(text)
    return texts


def _around_soils(profile: Profile, parts: dict[int, str]) -> list[str]:
    """Text of a profile before, between and behind those of its soils."""
    base = profile.base
    if id(base) not in parts:
        parts[id(base)] = _text_of(base_to_dict(base))
    ends = [
        _text_of({"thickness": layer.thickness, "name": layer.name})[1:] for layer in profile.layers
    ]
    name = _text_of({"name": profile.name})[1:]
    last = f', {ends[-1]}], "base": {parts[id(base)]}, {name}'
    return ['{"layers": [{"soil": ', *[f', {end}, {{"soil": ' for end in ends[:-1]], last]


def _text_of_soil(soil: Soil) -> str:
    """Write a soil as its `to_dict` has it; one of plain numbers by a pattern made once."""
    pattern = _pattern(type(soil))
    if pattern is None:
        return _text_of(soil.to_dict())
    text, values = pattern
    name, source, *numbers = values(soil)
    return text % (encode_basestring_ascii(name), encode_basestring_ascii(source), *numbers)


@cache
def _pattern(model: type) -> tuple[str, Callable[[Any], tuple[Any, ...]]] | None:
    """Text of a soil with places for its values, and what gives these; of a model of numbers."""
    names = [each.name for each in fields(model)] if model in BUILT_IN else []
    numbers = [each.name for each in fields(model) if "quantity" in each.metadata]
    if names != ["name", "source", *numbers]:
        return None
    texts = [f'"{name}": %{"s" if name in ("name", "source") else "r"}' for name in names]
    return f'{{"model": "{model.__name__}", {", ".join(texts)}}}', attrgetter(*names)


def _text_of(values: dict[str, Any]) -> str:
    """Write values under plain names as `json.dumps` does, in half its time for so few."""
    texts = [
        f'"{name}": {each!r}'
        if type(each) is float and isfinite(each)
        else f'"{name}": {encode_basestring_ascii(each)}'
        if type(each) is str
        else f'"{name}": {json.dumps(each)}'
        for name, each in values.items()
    ]
    return f"{{{', '.join(texts)}}}"
