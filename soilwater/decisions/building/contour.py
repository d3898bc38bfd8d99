"""Depth varied over a contour, so that crests and flats read alike once drained."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import overload

from soilwater.decisions.building.depth import DepthWindow, Range
from soilwater.decisions.building.floor import FloorDesign, floor_alike
from soilwater.decisions.slope import SlopeEquivalent
from soilwater.runs.green_map import GreenMap
from soilwater.runs.transect import Transect
from soilwater.words.cautions import caution_lines
from soilwater.words.displays import Displayed, Shown
from soilwater.words.errors import Faults
from soilwater.words.frames import Column, Tabled, columns_of
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house


@dataclass(frozen=True)
class PlaceDepth:
    """Depth to build at one place of a contour.

    Attributes
    ----------
    name : str
        Of the place.
    extra : Range
        Centimetres the place behaves deeper than it is [cm].
    depth : float
        Depth to build [cm].
    low, high : float
        Window there [cm], narrowed by what is not known of `extra`.
    """

    name: str
    extra: Range
    depth: float
    low: float
    high: float


@dataclass(frozen=True, repr=False)
class ContourDesign(Displayed, Tabled):
    """Depths over a contour, each place's slope taken off the level depth.

    Attributes
    ----------
    window : DepthWindow
        Window on level ground.
    places : tuple of PlaceDepth
        In the order given.
    cautions : tuple of str
        What must stand beside the answer.
    """

    window: DepthWindow
    places: tuple[PlaceDepth, ...]
    cautions: tuple[str, ...]

    def _columns(self) -> list[Column]:
        return columns_of(
            self.places,
            [
                ("place", lambda each: each.name, ""),
                ("extra at least", lambda each: each.extra.low, "length"),
                ("extra at most", lambda each: each.extra.high, "length"),
                ("build", lambda each: each.depth, "length"),
                ("shallowest", lambda each: each.low, "length"),
                ("deepest", lambda each: each.high, "length"),
            ],
        )

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (
                place.name,
                str(place.extra) if place.extra.high > 0.0 else "level",
                in_people_units(place.depth, "length"),
                str(Range(place.low, place.high)) if place.low <= place.high else "none",
            )
            for place in self.places
        ]

    def _shown(self) -> Shown:
        title = f"{self.window.name}: {self.window.sentence}"
        return Shown(title, _PLACES, self._rows(), caution_lines(self.cautions))


_PLACES = ("place", "behaves as if deeper by", "build", "window there")


@overload
def depth_over_contour(
    window: DepthWindow, places: Mapping[str, SlopeEquivalent | float | str]
) -> ContourDesign: ...


@overload
def depth_over_contour(window: DepthWindow, places: Transect | GreenMap) -> FloorDesign: ...


@mind_words()
def depth_over_contour(
    window: DepthWindow,
    places: Mapping[str, SlopeEquivalent | float | str] | Transect | GreenMap,
) -> ContourDesign | FloorDesign:
    """Vary the depth over a contour so that crests and flats read alike.

    Of a line or a green the floor is sought, under the surface as it is: it is run, what each place
    behaves deeper than a level column of the best depth is taken off, and so on until no round
    brings readings nearer to each other. A floor is shaped over 2 m or more.

    Parameters
    ----------
    window : DepthWindow
        Window of the sand on level ground.
    places : mapping of str to SlopeEquivalent, float, str or Quantity; or Transect or GreenMap
        What each place behaves deeper than it is: from `slope_equivalent`, or a length [cm]; 0 on
        the level. Or a line or a green, with its layers and base.

    Returns
    -------
    ContourDesign or FloorDesign
        Depth and window at each place; of a line or a green its floor, with cut and fill and the
        tolerance of the builder.

    Raises
    ------
    InputError
        If an extra depth is no length of 0 or more, all at once; if a green has too many cells.
    """
    if isinstance(places, Transect | GreenMap):
        return floor_alike(window, places)
    faults = Faults("places")
    built = []
    least = max(window.rod, window.root_layer)
    said = []
    for name, given in places.items():
        if isinstance(given, SlopeEquivalent):
            extra, best = Range(given.low, given.high), given.best
            said += [given.caution.replace("this spot", name)] if given.caution else []
        else:
            best = 0.0
            with faults.catching(name):
                best = number_to_house(given, "length", "extra depth")
                if best < 0.0:
                    faults.add(f"extra depth is {best:g} cm", where=name, allowed="0 or more")
            extra = Range(best, best)
        built.append(
            PlaceDepth(
                name,
                extra,
                depth=max(window.best - best, least),
                low=max(window.low - extra.low, least),
                high=max(window.high - extra.high, least),
            )
        )
    faults.raise_if_any()
    note = (
        "the shape of the floor decides: depths here assume that the gravel follows the surface; "
        "where depth is varied by shaping the floor, work out the slope of the floor"
    )
    return ContourDesign(window, tuple(built), (*said, note, *window.cautions))
