"""Profiles as texts, by which results know the soils of their columns again."""

from __future__ import annotations

import json
from collections.abc import Sequence
from json.encoder import encode_basestring_ascii
from math import isfinite
from typing import TYPE_CHECKING, Any

from soilwater.ground.base import base_to_dict

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
    ends: dict[tuple[float, str], str] = {}
    texts = []
    for profile in profiles:
        layers = []
        for layer in profile.layers:
            soil, key = layer.soil, (layer.thickness, layer.name)
            if id(soil) not in parts:
                parts[id(soil)] = _text_of(soil.to_dict())
            if key not in ends:
                ends[key] = _text_of({"thickness": layer.thickness, "name": layer.name})[1:]
            layers.append(f'{{"soil": {parts[id(soil)]}, {ends[key]}')
        base = profile.base
        if id(base) not in parts:
            parts[id(base)] = _text_of(base_to_dict(base))
        name, together = _text_of({"name": profile.name})[1:], ", ".join(layers)
        texts.append(f'{{"layers": [{together}], "base": {parts[id(base)]}, {name}')
    return texts


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
