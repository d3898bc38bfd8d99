"""One HTML file, whole in itself: a template filled, its script and its numbers packed in."""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilwater.words.safe_texts import without_turns, without_turns_in_json
from soilwater.words.unit_choice import units_in_use

MOST_BYTES = 6_000_000
"""Size of a page beyond which mail and old browsers refuse."""
FRAME_HEIGHT = 860
"""Height of the frame in a notebook [px]."""


@dataclass(frozen=True, repr=False)
class ExplorerPage:
    """A page of sliders.

    Attributes
    ----------
    name : str
        Its title.
    html : str
        The page, whole in itself.
    opening : tuple of str
        What it says as it opens.
    """

    name: str
    html: str
    opening: tuple[str, ...]

    def save(self, path: str | Path) -> None:
        """Write the page to a file at `path`."""
        Path(path).write_text(self.html, encoding="utf-8")

    def __repr__(self) -> str:
        size = f"{len(self.html) / 1e6:.1f} MB; save(path) writes it"
        return "\n".join([f'Page "{self.name}", {size}. As it opens:', *self.opening])

    def _repr_html_(self) -> str:
        # Without the right to run in the notebook's own origin, a page can read nothing of it.
        listed = "".join(f"<li>{escape(each)}</li>" for each in self.opening)
        return (
            f'<iframe title="{escape(self.name, quote=True)}" sandbox="allow-scripts" '
            f'style="width: 100%; height: {FRAME_HEIGHT}px; border: 0" '
            f'srcdoc="{escape(self.html, quote=True)}"></iframe>'
            f"<noscript><p>{escape(self.name)}</p><ul>{listed}</ul></noscript>"
        )


def fill_page(
    kind: str,
    name: str,
    opening: tuple[str, ...],
    sections: dict[str, Any],
    given: dict[str, Any],
    streams: dict[str, NDArray[np.int16]],
) -> ExplorerPage:
    """Fill the template and script of one kind of page.

    Parameters
    ----------
    kind : str
        ``{kind}.html.j2`` and ``{kind}.js`` are taken.
    name : str
        Title of the page.
    opening : tuple of str
        What it says as it opens.
    sections : dict
        What the template names.
    given : dict
        What the script is told besides the streams.
    streams : dict of ndarray
        Values to `pack`, by the name under which the script unpacks them.

    Raises
    ------
    ImportError
        Without matplotlib or jinja2: ``python -m pip install "soilwater[report]"``.
    """
    try:
        import jinja2
        import markupsafe
    except ImportError as error:
        raise ImportError(
            'soilwater.explore needs jinja2: python -m pip install "soilwater[report]"'
        ) from error
    files = resources.files("soilwater.explorer")

    def text_of(file: str) -> str:
        return files.joinpath(file).read_text(encoding="utf-8")

    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(text_of),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: without_turns(value) if type(value) is str else value,
    )
    inlined = {
        part: markupsafe.Markup(text_of(file))
        for part, file in (
            ("css", "page.css"),
            ("d3", "d3.min.js"),
            ("shared", "shared.js"),
            ("script", f"{kind}.js"),
        )
    }
    # Where units were chosen the page keeps to them, as its sentences do.
    opens_in = {"units": "in" if units_in_use() == "US" else "cm"}
    html = environment.get_template(f"{kind}.html.j2").render(
        name=name,
        opening=opening,
        colours=_colours(),
        streams={key: pack(values) for key, values in streams.items()},
        # Within a script nothing is escaped but what could end it.
        given=markupsafe.Markup(
            without_turns_in_json(json.dumps(given | opens_in, allow_nan=False)).replace(
                "<", "\\u003c"
            )
        ),
        units=units_in_use(),
        **inlined,
        **sections,
    )
    return ExplorerPage(name, html, opening)


def pack(values: NDArray[np.int16]) -> str:
    """Pack `values` as text: differences along the first axis, low bytes first, deflated."""
    steps = np.diff(values, axis=0, prepend=np.int16(0)).astype("<i2")
    planes = np.ascontiguousarray(steps).view(np.uint8).reshape(-1, 2).T
    return base64.b64encode(zlib.compress(planes.tobytes(), 9)).decode("ascii")


def _colours() -> Mapping[str, str]:
    from soilwater.plot import style

    return {
        "ink": style.INK,
        "faint": style.FAINT,
        "water": style.WATER,
        "deep-water": style.DEEP_WATER,
        "air": style.AIR,
        "solid": style.SOLID,
        "gravel": style.GRAVEL,
        "turf": style.TURF,
        "accent": style.ACCENT,
        "spot": style.LINE_COLOURS[-1],
        "green": style.LINE_COLOURS[0],
        "firm": style.BAND_COLOURS[0],
        "watch": style.BAND_COLOURS[1],
        "wilt": style.BAND_COLOURS[2],
    }
