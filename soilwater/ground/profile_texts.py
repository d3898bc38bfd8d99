"""Profiles as texts, by which results know the soils of their columns again."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from itertools import chain, repeat
from json.encoder import encode_basestring_ascii
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import base_to_dict
from soilwater.soils.side_by_side import TEXTS, ManySoils, names_of_numbers
from soilwater.words.arrays import which_occur

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
    texts, numbers = _texts_of_soils(soils, which_occur(filling)[0]), kind.tolist()
    if filling.shape[1] == 1:
        # An ensemble has thousands.
        before, after = zip(*around, strict=True)
        own = texts[filling[:, 0]].tolist()
        return [f"{before[k]}{text}{after[k]}" for k, text in zip(numbers, own, strict=True)]
    return [_woven(around[k], texts[own]) for k, own in zip(numbers, filling, strict=True)]


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
    for _, places, alike in soils.by_model(numbers):
        texts[numbers[places]] = (
            [_text_of(each.to_dict()) for each in soils.take(numbers[places])]
            if alike is None
            else _alike(alike, places.size)
        )
    return texts


def _alike(alike: Any, count: int) -> list[str]:
    """Write so many soils of one model, and once what all of them share.

    Given as one whose parameters and texts are arrays of theirs.
    """
    model: type = type(alike)
    told: list[tuple[str, Callable[[Any], str]]] = [
        *[(name, encode_basestring_ascii) for name in TEXTS],
        *[(name, repr) for name in names_of_numbers(model)],
    ]
    pieces: list[Iterable[str]] = []
    before = f'{{"model": "{model.__name__}"'
    for name, write in told:
        of_soils = getattr(alike, name).tolist()
        before += f', "{name}": '
        if of_soils.count(of_soils[0]) == count:
            before += write(of_soils[0])
        else:
            pieces += [repeat(before, count), map(write, of_soils)]
            before = ""
    pieces.append(repeat(before + "}", count))
    return list(map("".join, zip(*pieces, strict=True)))


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
