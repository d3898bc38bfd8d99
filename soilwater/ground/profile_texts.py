"""Profiles as texts, by which results know the soils of their columns again."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from soilwater.ground.base import base_to_dict

if TYPE_CHECKING:
    from soilwater.ground.profile import Layer, Profile


def texts_of(profiles: Sequence[Profile]) -> list[str]:
    """Write profiles as texts, each as `Profile.to_json` does; what they share once.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    """
    parts: dict[int, str] = {}
    ends: dict[tuple[float, str], str] = {}

    def once(part: Any, values: Callable[[], dict[str, Any]]) -> str:
        if id(part) not in parts:
            parts[id(part)] = json.dumps(values())
        return parts[id(part)]

    def of_layer(layer: Layer) -> str:
        key = layer.thickness, layer.name
        if key not in ends:
            ends[key] = json.dumps({"thickness": layer.thickness, "name": layer.name})[1:]
        return f'{{"soil": {once(layer.soil, layer.soil.to_dict)}, {ends[key]}'

    def whole(profile: Profile) -> str:
        layers = ", ".join([of_layer(each) for each in profile.layers])
        base = once(profile.base, partial(base_to_dict, profile.base))
        return f'{{"layers": [{layers}], "base": {base}, "name": {json.dumps(profile.name)}}}'

    return [whole(each) for each in profiles]
