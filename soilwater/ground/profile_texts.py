"""Profiles as texts, by which results know the soils of their columns again."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import fields
from functools import cache
from itertools import chain, repeat
from json.encoder import encode_basestring_ascii
from math import isfinite
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import base_to_dict
from soilwater.soils import Soil
from soilwater.soils.serial import BUILT_IN
from soilwater.soils.side_by_side import ManySoils

if TYPE_CHECKING:
    from soilwater.ground.profile import Profile


def texts_of(profiles: Sequence[Profile]) -> list[str]:
    """Write profiles as texts, each as `Profile.to_json` does; what they share once.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    """
    parts: dict[int, str] = {}
    written: dict[int, str] = {}
    for soil in (layer.soil for profile in profiles for layer in profile.layers):
        if id(soil) not in written:
            written[id(soil)] = _text_of(soil.to_dict())
    return [
        _woven(_around_soils(profile, parts), [written[id(each.soil)] for each in profile.layers])
        for profile in profiles
    ]


def texts_alike(
    profiles: Sequence[Profile],
    kind: NDArray[np.int64],
    soils: ManySoils,
    filling: NDArray[np.int64],
) -> list[str]:
    """Write columns, of which many differ in their soils alone, as texts of their profiles.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    kind : ndarray of int, shape (n,)
        Which of them each column is, but for its soils.
    soils : ManySoils
        No two of them equal.
    filling : ndarray of int, shape (n, most)
        Which of these fill the layers of each column, from the top down.
    """
    parts: dict[int, str] = {}
    around = [_around_soils(profile, parts) for profile in profiles]
    filling = filling[:, : max(map(len, around)) - 1]
    texts = _texts_of_soils(soils, np.unique(filling))
    # Of one layer an ensemble has thousands.
    first = texts[filling[:, 0]].tolist()
    return [
        f"{around[number][0]}{text}{around[number][1]}"
        if len(around[number]) == 2
        else _woven(around[number], texts[filling[i]])
        for i, (number, text) in enumerate(zip(kind.tolist(), first, strict=True))
    ]


def _woven(around: list[str], soils: Iterable[str]) -> str:
    """Write a profile: what stands around its soils, and these, from the top down."""
    return "".join(chain.from_iterable(zip(around[:-1], soils, strict=False))) + around[-1]


def _around_soils(profile: Profile, parts: dict[int, str]) -> list[str]:
    """Text of a profile before, between and after those of its soils."""
    base = profile.base
    if id(base) not in parts:
        parts[id(base)] = _text_of(base_to_dict(base))
    ends = [
        _text_of({"thickness": layer.thickness, "name": layer.name})[1:] for layer in profile.layers
    ]
    name = _text_of({"name": profile.name})[1:]
    between = [f', {end}, {{"soil": ' for end in ends[:-1]]
    after = f', {ends[-1]}], "base": {parts[id(base)]}, {name}'
    return ['{"layers": [{"soil": ', *between, after]


def _texts_of_soils(soils: ManySoils, numbers: NDArray[np.int64]) -> NDArray[Any]:
    """Write some soils, each as its `to_dict` has it, in place of all."""
    texts = np.empty(len(soils), dtype=object)
    for model, places, _ in soils.by_model(numbers):
        alike, names = soils.take(numbers[places]), _plain_names(model)
        written = _alike(model, names, alike) if names else [_text_of(s.to_dict()) for s in alike]
        texts[numbers[places]] = written
    return texts


def _alike(model: type, names: Sequence[str], soils: Sequence[Soil]) -> list[str]:
    """Write soils of one model, and once what all of them share."""
    pieces: list[Iterable[str]] = []
    before = f'{{"model": "{model.__name__}"'
    values = zip(*map(attrgetter(*names), soils), strict=True)
    for name, of_soils in zip(names, values, strict=True):
        write: Any = encode_basestring_ascii if name in _WORDS else repr
        before += f', "{name}": '
        if of_soils.count(of_soils[0]) == len(soils):
            before += write(of_soils[0])
        else:
            pieces += [repeat(before, len(soils)), map(write, of_soils)]
            before = ""
    pieces.append(repeat(before + "}", len(soils)))
    return list(map("".join, zip(*pieces, strict=True)))


_WORDS = ("name", "source")


@cache
def _plain_names(model: type) -> list[str]:
    """Names of all values of a model of this package that has but numbers, a name and a source."""
    names = [each.name for each in fields(model)] if model in BUILT_IN else []
    numbers = [each.name for each in fields(model) if "quantity" in each.metadata] if names else []
    return names if names == [*_WORDS, *numbers] else []


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
