"""A profile: layers of soil from the turf surface down, and what happens at the base.

Depth is positive downward from the turf surface. The base condition says how water leaves (or
enters) below the last layer; it is a statement about the site, so nothing is assumed silently.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, cast

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base import (
    BASES,
    CLEAN_GRAVEL,
    DEEPEST,
    Base,
    CapillaryBreak,
    GravelBlanket,
    WaterTable,
    base_from_dict,
)
from soilwater.ground.base_suction import base_band
from soilwater.ground.fillings import check_gravel, with_each_soil
from soilwater.ground.layer import Layer
from soilwater.ground.mesh import Geometry, Mesh, Meshes, make_mesh, make_meshes, remember
from soilwater.ground.profile_texts import texts_of
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil, soil_from_dict
from soilwater.soils.side_by_side import ManySoils
from soilwater.words.copies import with_parts
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length, Suction
from soilwater.words.quantities import in_people_units, one_writing
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.text_tables import echo_table, html_table

MOST_LAYERS = 1_000
"""Most layers of a profile."""


@needs_all(
    'Profile([Layer(VanGenuchten("5 %", "40 %", 0.047, 3.0, "40 cm/h"), "12 in", '
    '"root zone")], CapillaryBreak("7 cm"))'
)
@dataclass(frozen=True, repr=False)
class Profile:
    """Layers from the turf surface down, and a base condition.

    Parameters
    ----------
    layers : sequence of Layer
        From the top down.
    base : SeepageFace, CapillaryBreak, GravelBlanket, FreeDrainage, WaterTable or Sealed
        What happens below the last layer.
    name : str, optional
        Shown in tables and kept with results.

    Raises
    ------
    InputError
        With every fault: no layers, two layers of one name, something that is no base condition.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h", name="greens mix")
    >>> Profile.over_gravel(sand, "12 in").depth
    30.48
    """

    layers: tuple[Layer, ...]
    base: Base
    name: str = ""

    ROOT_ZONE: ClassVar[str] = "root zone"

    def __post_init__(self) -> None:
        faults = self._faults()
        given: Any = self.layers
        layers = tuple(given) if isinstance(given, Sequence) else (given,)
        for i, layer in enumerate(layers, start=1):
            if not isinstance(layer, Layer):
                given = repr(layer) if isinstance(layer, str) else f"a {type(layer).__name__}"
                faults.add(
                    f"{given} is no layer",
                    where=f"layer {i}",
                    cure="write Layer(soil, thickness, name)",
                )
        if len(layers) > MOST_LAYERS:
            faults.add(f"it has {len(layers):,} layers", allowed=f"up to {MOST_LAYERS:,}")
        named = Counter(layer.name for layer in layers if isinstance(layer, Layer))
        for name in sorted(name for name, count in named.items() if count > 1):
            faults.add(f'{named[name]} layers are called "{name}"', cure="give each its own name")
        deep = sum(layer.thickness for layer in layers if isinstance(layer, Layer))
        if deep > DEEPEST:
            faults.add(f"it is {deep:g} cm deep", allowed=f"up to {DEEPEST:g} cm")
        if not layers:
            faults.add("it has no layers", cure="give at least one Layer(soil, thickness, name)")
        if not isinstance(self.base, tuple(BASES.values())):
            faults.add(
                f"base is {self.base!r}",
                allowed="SeepageFace(), CapillaryBreak(entry_suction), "
                "FreeDrainage(), GravelBlanket(gravel, thickness), WaterTable(depth) or Sealed()",
            )
        faults.raise_if_any()
        object.__setattr__(self, "layers", layers)
        if self.blanket is not None:
            check_gravel(self.blanket, self.layers[-1].name, self.layers[-1].soil, faults)
            faults.raise_if_any()

    def _faults(self) -> Faults:
        return Faults(f'Profile "{self.name}"' if self.name else "Profile")

    @classmethod
    @mind_words(soil="sand", entry_suction="base_suction")
    def over_gravel(
        cls,
        sand: Sand,
        root_zone: Length,
        *,
        gravel: GravelBlanket | None = None,
        base_suction: Suction | None = None,
        name: str = "",
    ) -> Profile:
        """One root zone on a gravel blanket.

        Parameters
        ----------
        sand : Soil, FitResult or sequence of these
            The root-zone mix; of a fit or several, the best.
        root_zone : float, str or Quantity
            Depth of the mix over the gravel [cm].
        gravel : GravelBlanket, optional
            What it lies on, by its own curve and thickness; 10 cm of a published clean gravel,
            an assumption, when left out.
        base_suction : float, str, Quantity or BaseSuction, optional
            In place of a gravel, a fixed suction [cm] at which it stops taking water, for those
            who measured one.
        name : str, optional
            Name of the profile.

        Returns
        -------
        Profile
            One layer called "root zone" over the gravel, or over a `CapillaryBreak`.

        Raises
        ------
        InputError
            If a depth, gravel or suction cannot be used, or both of the last two are given.
        """
        faults = Faults(f'Profile "{name}"' if name else "Profile over gravel")
        base: Base = CLEAN_GRAVEL
        with faults.catching():
            layer = Layer(best_and_likely(sand)[0], root_zone, cls.ROOT_ZONE)  # type: ignore[arg-type]
        with faults.catching():
            if base_suction is not None:
                base = CapillaryBreak(base_band(base_suction).best)
        if gravel is not None:
            if base_suction is not None:
                faults.add(
                    "both gravel and base_suction are given",
                    allowed="one of them",
                    cure="leave base_suction out where the gravel is known",
                )
            if not isinstance(gravel, GravelBlanket):
                faults.add(
                    f"gravel is a {type(gravel).__name__}",
                    allowed="a GravelBlanket",
                    cure='write gravel=GravelBlanket(soil, "10 cm")',
                )
            base = gravel
        faults.raise_if_any()
        return cls((layer,), base, name)

    @property
    def depth(self) -> float:
        """Depth of the base [cm]."""
        return float(sum([layer.thickness for layer in self.layers]))

    @property
    def blanket(self) -> GravelBlanket | None:
        """The gravel that is run below the layers, if that is the base."""
        return self.base if isinstance(self.base, GravelBlanket) else None

    @property
    def bottom(self) -> float:
        """Depth down to which water is followed [cm]: of the base, or of the gravel below it."""
        return self.depth + (self.blanket.thickness if self.blanket else 0.0)

    @property
    def interfaces(self) -> NDArray[np.float64]:
        """Depths of the layers' upper and lower ends [cm], shape (n_layers + 1,)."""
        return np.concatenate([[0.0], np.cumsum([layer.thickness for layer in self.layers])])

    @property
    def remembers(self) -> bool:
        """Whether a layer has a memory of how it was wetted."""
        return remember([layer.soil for layer in self.layers])

    @property
    def notes(self) -> tuple[str, ...]:
        """What is left out below the last layer, and how to put it in, for people."""
        if not isinstance(self.base, WaterTable) or self.base.depth <= self.depth + 0.1:
            return ()
        between = self.base.depth - self.depth
        return (
            f"note: the {in_people_units(between, 'length')} between base and water table are "
            "taken to let water pass at once, like a perfect plate; for soil that lies there add "
            f'Layer(soil, {between:g}, "subsoil")',
        )

    def layer_index(self, name: str | None = None) -> int:
        """Position of a layer by its name; of the root zone, or the only layer, without one.

        Parameters
        ----------
        name : str, optional
            Name of the layer.

        Returns
        -------
        int
            Position from the top, 0 for the first.

        Raises
        ------
        InputError
            If there is no such layer, or it is not clear which is meant.
        """
        names = [layer.name for layer in self.layers]
        wanted = self.ROOT_ZONE if name is None else name
        if wanted in names:
            return names.index(wanted)
        if name is None and len(names) == 1:
            return 0
        raise InputError(
            f'Profile: no layer is called "{wanted}"; allowed: {", ".join(names)}; '
            "name the layer that is meant."
        )

    def with_thickness(self, thickness: Length, *, layer: str | None = None) -> Profile:
        """Return the same profile with another thickness of one layer.

        Parameters
        ----------
        thickness : float, str or Quantity
            New thickness [cm].
        layer : str, optional
            Name of the layer; the root zone, or the only layer, when left out.

        Returns
        -------
        Profile
            A new profile; a water table stays at its depth.

        Raises
        ------
        InputError
            If the thickness cannot be used or the layer is not found.
        """
        i = self.layer_index(layer)
        layers = list(self.layers)
        layers[i] = replace(layers[i], thickness=thickness)  # type: ignore[arg-type]
        return replace(self, layers=tuple(layers))

    def with_soil(self, soil: Soil | FitResult, *, layer: str | None = None) -> Profile:
        """Return the same profile with another soil in one layer.

        Parameters
        ----------
        soil : Soil or FitResult
            What fills the layer instead; a fit stands for its best curve.
        layer : str, optional
            Name of the layer; the root zone, or the only layer, when left out.

        Returns
        -------
        Profile
            A new profile; the layer keeps its name.

        Raises
        ------
        InputError
            If `soil` is no soil or the layer is not found.
        """
        return with_each_soil(self, [soil], layer)[0]

    def mesh(self, refinement: float = 1.0) -> Mesh:
        """Nodes at the surface, where soils meet, at the base, and between.

        Parameters
        ----------
        refinement : float, optional
            Cuts every distance between nodes into this many equal parts [1]; a fraction as evenly
            as whole numbers of parts allow.

        Returns
        -------
        Mesh
            Depths of the nodes [cm], shape (n,); number of the soil in each interval, shape
            (n - 1,); and the soils. Neighbouring layers of one soil are meshed as one.

        Raises
        ------
        InputError
            If it would have more than `MOST_NODES` nodes.
        """
        return make_mesh(_geometry_of(self), soils_of(self), refinement)

    def to_json(self) -> str:
        """Write the profile as text from which `from_json` makes an equal one."""
        return texts_of([self])[0]

    @classmethod
    def from_json(cls, text: str) -> Profile:
        """Make a profile from the text that `to_json` wrote.

        Parameters
        ----------
        text : str
            JSON text.

        Returns
        -------
        Profile
            Equal to the one that was written.

        Raises
        ------
        InputError
            If a value in it is not usable.
        """
        given = json.loads(text)
        layers = tuple(
            Layer(cast(Soil, soil_from_dict(layer["soil"])), layer["thickness"], layer["name"])
            for layer in given["layers"]
        )
        return cls(layers, base_from_dict(given["base"]), given["name"])

    def _rows(self) -> list[tuple[str, ...]]:
        ends = self.interfaces
        one = one_writing("length")
        return [
            (
                layer.name,
                in_people_units(layer.thickness, "length"),
                f"{one.figure(top)}-{one.figure(bottom)} {one.unit}",
                layer.soil.name or "no name",
                in_people_units(layer.soil.k_sat, "conductivity"),
            )
            for layer, top, bottom in zip(self.layers, ends[:-1], ends[1:], strict=True)
        ]

    def _title(self) -> str:
        title = f'Profile "{self.name}"' if self.name else "Profile"
        return f"{title}, {in_people_units(self.depth, 'length')} deep"

    def __repr__(self) -> str:
        table = echo_table(self._rows(), _HEADER)
        lines = [self._title(), *("  " + line for line in table.splitlines())]
        return "\n".join([*lines, f"  base: {self.base}", *("  " + each for each in self.notes)])

    def _repr_html_(self) -> str:
        rows = [*self._rows(), ("base", "", "", str(self.base), "")]
        rows += [("note", "", "", each, "") for each in self.notes]
        return html_table(rows, _HEADER, caption=self._title())


def meshes_of(profiles: Sequence[Profile], refinement: float) -> Meshes:
    """Nodes of several profiles, as `Profile.mesh` has them.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    refinement : float
        Cuts every distance between nodes into this many equal parts [1].

    Raises
    ------
    InputError
        As `Profile.mesh`.
    """
    soils, filling = ManySoils.of(map(soils_of, profiles))
    return meshes_alike(profiles, np.arange(len(profiles)), soils, filling, refinement)


def soils_of(profile: Profile) -> list[Soil]:
    """Soils of a profile from the top down: of its layers, and of a gravel below them."""
    gravel = [] if profile.blanket is None else [profile.blanket.gravel]
    return [*[layer.soil for layer in profile.layers], *gravel]


def meshes_alike(
    profiles: Sequence[Profile],
    kind: NDArray[np.int64],
    soils: ManySoils,
    filling: NDArray[np.int64],
    refinement: float,
) -> Meshes:
    """Nodes of columns of which many differ in their soils alone.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    kind : ndarray of int, shape (n,)
        Which of them each column is, but for its soils.
    soils : ManySoils
        No two of them equal.
    filling : ndarray of int, shape (n, most)
        Which of these each column has, as `soils_of` has them; shorter ones repeat their last.
    refinement : float
        Cuts every distance between nodes into this many equal parts [1].

    Raises
    ------
    InputError
        As `Profile.mesh`.
    """
    geometries = [_geometry_of(each) for each in profiles]
    return make_meshes(geometries, kind, soils, filling, refinement)


def _geometry_of(profile: Profile) -> Geometry:
    return Geometry(
        tuple([layer.thickness for layer in profile.layers]),
        profile.blanket,
        profile.base.resting_suction(profile.depth),
    )


def with_each_thickness(
    profile: Profile, thicknesses: Iterable[float], layer: str | None
) -> list[Profile]:
    """Return profiles as `Profile.with_thickness` makes of each thickness, of which one is other.

    Parameters
    ----------
    profile : Profile
        What is changed.
    thicknesses : iterable of float
        Of the layer [cm].
    layer : str or None
        Name of the layer.

    Raises
    ------
    InputError
        If the layer is not found; with every thickness that cannot be used.
    """
    faults = Faults("Depths")
    i = profile.layer_index(layer)
    above, own, below = profile.layers[:i], profile.layers[i], profile.layers[i + 1 :]
    made = []
    for each in thicknesses:
        layers = (*above, with_parts(own, thickness=each), *below)
        made.append(with_parts(profile, layers=layers))
        if not (each > 0.0 and made[-1].depth <= DEEPEST):
            with faults.catching():
                profile.with_thickness(each, layer=layer)
    faults.raise_if_any()
    return made


_HEADER = ("layer", "thickness", "from-to", "soil", "saturated conductivity")
