"""A profile: layers of soil from the turf surface down, and what happens at the base.

Depth is positive downward from the turf surface. The base condition says how water leaves (or
enters) below the last layer; it is a statement about the site, so nothing is assumed silently.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from typing import Any, ClassVar, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from soilwater.ground.base_suction import OVER_GRAVEL, base_band
from soilwater.kernels import rows
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.lab.fit_result import FitResult
from soilwater.soils import Soil, soil_from_dict
from soilwater.words.errors import Faults, InputError
from soilwater.words.renamed import mind_words
from soilwater.words.text_tables import echo_table, html_table
from soilwater.words.units import in_people_units, number_to_house

FINEST_INTERVAL = 0.25
"""Distance of nodes [cm] at the surface, at interfaces and at the base."""
INTERVAL_GROWTH = 1.3
"""Each interval may be this much longer than its neighbour nearer an interface."""
COARSEST_INTERVAL = 1.0
"""Largest distance of nodes [cm]."""
DEEPEST = 10_000.0
"""Deepest profile [cm] that is taken. Below a few metres nothing a turf feels is decided, and a
length in another unit than the one meant (mm for cm, or a stray power of ten) is found here."""
MOST_NODES = 100_000
"""Most nodes of a column; a run of 100 000 takes minutes a day."""


def _not_negative(subject: str, name: str, value: Any, quantity: str) -> float:
    """Check the one number of a base condition [cm]."""
    faults = Faults(subject)
    number = 0.0
    with faults.catching():
        number = number_to_house(value, quantity, name)
    if number < 0.0:
        faults.add(f"{name} is {number:g} cm", allowed="0 or more")
    faults.raise_if_any()
    return number


@dataclass(frozen=True)
class SeepageFace:
    """Water leaves only when the base would otherwise be under pressure (a free outlet)."""

    def __str__(self) -> str:
        return "seepage face: outflow only from saturated soil"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.OUTFLOW, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """Suction at the base [cm] at a depth [cm] once drainage has ended."""
        return 0.0


@dataclass(frozen=True)
class CapillaryBreak:
    """The last layer rests on gravel that takes water only below its entry suction.

    Parameters
    ----------
    entry_suction : float, str or Quantity
        Suction at the base [cm] at which the gravel stops taking water. 0-9 cm have been inferred
        or measured over gravel: 0.9 kPa after 48 h of drainage by Taylor, Nelson & Williams
        (1993), Agron. J. 85:626-630 (read in the abstract); a clean gravel suggests 1-3 cm.

    Raises
    ------
    InputError
        If the entry suction is negative or not a suction.
    """

    entry_suction: float

    def __post_init__(self) -> None:
        suction = _not_negative("CapillaryBreak", "entry_suction", self.entry_suction, "suction")
        object.__setattr__(self, "entry_suction", suction)

    def __str__(self) -> str:
        return f"gravel that takes water below {self.entry_suction:g} cm of suction"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.OUTFLOW, -self.entry_suction

    def resting_suction(self, depth: float) -> float | None:
        """Suction at the base [cm] at a depth [cm] once drainage has ended."""
        return self.entry_suction


@dataclass(frozen=True)
class FreeDrainage:
    """Deep soil of the last layer's kind below: water leaves at unit gradient."""

    def __str__(self) -> str:
        return "free drainage into deep soil (unit gradient)"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.FREE_DRAINAGE, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """None at any depth: drainage slows down but never ends."""
        return None


@dataclass(frozen=True)
class WaterTable:
    """A water table that stays at a depth, below the profile or within it.

    Below the profile it holds the base at its height above the water, as a perfect plate would: all
    between is taken to let water pass at once. Soil that lies there holds drainage back and lets
    less rise, so write it out as layers down to the water where it matters.

    Parameters
    ----------
    depth : float, str or Quantity
        Depth of the water table below the turf surface [cm].

    Raises
    ------
    InputError
        If the depth is negative or not a length.
    """

    depth: float

    def __post_init__(self) -> None:
        depth = _not_negative("WaterTable", "depth", self.depth, "length")
        object.__setattr__(self, "depth", depth)

    def __str__(self) -> str:
        return f"water table at {in_people_units(self.depth, 'length')}"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.HELD_HEAD, depth - self.depth

    def resting_suction(self, depth: float) -> float | None:
        """Suction at the base [cm] at a depth [cm] once drained; negative below the water table."""
        return self.depth - depth


@dataclass(frozen=True)
class Sealed:
    """No water passes the base."""

    def __str__(self) -> str:
        return "sealed"

    def kernel_condition(self, depth: float) -> tuple[int, float]:
        """Code and value [cm] for the kernels, under a profile of some depth [cm]."""
        return rows.SEALED, 0.0

    def resting_suction(self, depth: float) -> float | None:
        """None at any depth: it depends on how much water the profile holds."""
        return None


Base = SeepageFace | CapillaryBreak | FreeDrainage | WaterTable | Sealed
BASES: dict[str, type[Base]] = {
    kind.__name__: kind for kind in (SeepageFace, CapillaryBreak, FreeDrainage, WaterTable, Sealed)
}
"""Every base condition by its name."""


@dataclass(frozen=True, repr=False)
class Layer:
    """A layer of one soil.

    Parameters
    ----------
    soil : Soil or FitResult
        What fills the layer; a fit stands for its best curve.
    thickness : float, str or Quantity
        Thickness [cm].
    name : str, optional
        What people call it; the name of the soil when left out.

    Raises
    ------
    InputError
        If the thickness is not a length above 0, or `soil` is no soil.
    """

    soil: Soil
    thickness: float
    name: str = ""

    def __post_init__(self) -> None:
        faults = Faults(f'Layer "{self.name}"' if self.name else "Layer")
        with faults.catching():
            thickness = number_to_house(self.thickness, "length", "thickness")
            if thickness <= 0.0:
                faults.add(f"thickness is {thickness:g} cm", allowed="above 0 cm")
            elif thickness > DEEPEST:
                faults.add(f"thickness is {thickness:g} cm", allowed=f"up to {DEEPEST:g} cm")
            object.__setattr__(self, "thickness", thickness)
        if isinstance(self.soil, FitResult):
            object.__setattr__(self, "soil", self.soil.soil)
        if not hasattr(self.soil, "effective_saturation") or isinstance(self.soil, type):
            faults.add(
                f"soil is {self.soil!r}",
                allowed='a soil, such as VanGenuchten.texture_class("sand"), or a fit',
                cure="layers are Layer(soil, thickness, name)",
            )
        faults.raise_if_any()
        if not self.name:
            object.__setattr__(self, "name", self.soil.name or "layer")

    def _rows(self) -> list[tuple[str, ...]]:
        return [
            (
                self.name,
                in_people_units(self.thickness, "length"),
                self.soil.name or type(self.soil).__name__,
                in_people_units(self.soil.k_sat, "conductivity"),
            )
        ]

    def __repr__(self) -> str:
        return echo_table(self._rows(), _LAYER_HEADER)

    def _repr_html_(self) -> str:
        return html_table(self._rows(), _LAYER_HEADER, caption="Layer")


_LAYER_HEADER = ("layer", "thickness", "soil", "saturated conductivity")


class Mesh(NamedTuple):
    """Nodes of a profile and the soil of the interval below each but the last."""

    depth: NDArray[np.float64]
    soil: NDArray[np.int64]
    soils: tuple[Soil, ...]


@dataclass(frozen=True, repr=False)
class Profile:
    """Layers from the turf surface down, and a base condition.

    Parameters
    ----------
    layers : sequence of Layer
        From the top down.
    base : SeepageFace, CapillaryBreak, FreeDrainage, WaterTable or Sealed
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
        faults = Faults(f'Profile "{self.name}"' if self.name else "Profile")
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
        names = [layer.name for layer in layers if isinstance(layer, Layer)]
        for name in sorted({name for name in names if names.count(name) > 1}):
            faults.add(
                f'{names.count(name)} layers are called "{name}"', cure="give each its own name"
            )
        deep = sum(layer.thickness for layer in layers if isinstance(layer, Layer))
        if deep > DEEPEST:
            faults.add(f"it is {deep:g} cm deep", allowed=f"up to {DEEPEST:g} cm")
        if not layers:
            faults.add("it has no layers", cure="give at least one Layer(soil, thickness, name)")
        if not isinstance(self.base, tuple(BASES.values())):
            faults.add(
                f"base is {self.base!r}",
                allowed="SeepageFace(), CapillaryBreak(entry_suction), FreeDrainage(), "
                "WaterTable(depth) or Sealed()",
            )
        faults.raise_if_any()
        object.__setattr__(self, "layers", layers)

    @classmethod
    @mind_words(soil="sand", entry_suction="base_suction")
    def over_gravel(
        cls, sand: Sand, root_zone: Any, *, base_suction: Any = OVER_GRAVEL.best, name: str = ""
    ) -> Profile:
        """One root zone on a gravel blanket.

        Parameters
        ----------
        sand : Soil, FitResult or sequence of these
            The root-zone mix; of a fit or several, the best.
        root_zone : float, str or Quantity
            Depth of the mix over the gravel [cm].
        base_suction : float, str, Quantity or BaseSuction, optional
            Suction [cm] left at the base, at which the gravel stops taking water; the best of
            `OVER_GRAVEL`, an assumption, when left out: vary it.
        name : str, optional
            Name of the profile.

        Returns
        -------
        Profile
            One layer called "root zone" over a `CapillaryBreak`.

        Raises
        ------
        InputError
            If a depth or suction cannot be used.
        """
        faults = Faults(f'Profile "{name}"' if name else "Profile over gravel")
        with faults.catching():
            layer = Layer(best_and_likely(sand)[0], root_zone, cls.ROOT_ZONE)
        with faults.catching():
            base = CapillaryBreak(base_band(base_suction).best)
        faults.raise_if_any()
        return cls((layer,), base, name)

    @property
    def depth(self) -> float:
        """Depth of the base [cm]."""
        return float(sum(layer.thickness for layer in self.layers))

    @property
    def interfaces(self) -> NDArray[np.float64]:
        """Depths of the layers' upper and lower ends [cm], shape (n_layers + 1,)."""
        return np.concatenate([[0.0], np.cumsum([layer.thickness for layer in self.layers])])

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

    def with_thickness(self, thickness: Any, *, layer: str | None = None) -> Profile:
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
        layers[i] = replace(layers[i], thickness=thickness)
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
        i = self.layer_index(layer)
        layers = list(self.layers)
        layers[i] = replace(layers[i], soil=cast(Soil, soil))
        return replace(self, layers=tuple(layers))

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
        soils: list[Soil] = []
        thicknesses: list[float] = []
        for layer in self.layers:
            if soils and soils[-1] == layer.soil:
                thicknesses[-1] += layer.thickness
            else:
                soils.append(layer.soil)
                thicknesses.append(layer.thickness)
        count = sum(_plain_intervals(thickness) for thickness in thicknesses) * refinement
        if count > MOST_NODES:
            most = np.floor(MOST_NODES * refinement / count)
            raise InputError(
                f"Profile: a refinement of {refinement:g} makes {count:.3g} nodes; allowed: up to "
                f"{MOST_NODES:,}; take a refinement of {most:g} or less."
            )
        depth, number = [np.zeros(1)], []
        for i, thickness in enumerate(thicknesses):
            steps = _graded_steps(thickness, refinement)
            nodes = depth[-1][-1] + np.cumsum(steps)
            nodes[-1] = sum(thicknesses[: i + 1])
            depth.append(nodes)
            number.append(np.full(steps.size, i, dtype=np.int64))
        return Mesh(np.concatenate(depth), np.concatenate(number), tuple(soils))

    def to_json(self) -> str:
        """Write the profile as text from which `from_json` makes an equal one."""
        layers = [
            {"soil": layer.soil.to_dict(), "thickness": layer.thickness, "name": layer.name}
            for layer in self.layers
        ]
        base = {"kind": type(self.base).__name__, **asdict(self.base)}
        return json.dumps({"layers": layers, "base": base, "name": self.name})

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
        base = dict(given["base"])
        kind = BASES[base.pop("kind")]
        layers = tuple(
            Layer(cast(Soil, soil_from_dict(layer["soil"])), layer["thickness"], layer["name"])
            for layer in given["layers"]
        )
        return cls(layers, kind(**base), given["name"])

    def _rows(self) -> list[tuple[str, ...]]:
        ends = self.interfaces
        return [
            (
                layer.name,
                in_people_units(layer.thickness, "length"),
                f"{top:.1f}-{bottom:.1f} cm",
                layer.soil.name or type(layer.soil).__name__,
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


_HEADER = ("layer", "thickness", "from-to", "soil", "saturated conductivity")


def _plain_intervals(thickness: float) -> float:
    """Count the intervals of a layer on a plain mesh."""
    return float(_graded_steps(thickness, 1.0).size)


@lru_cache(maxsize=4096)
def _graded_steps(thickness: float, refinement: float) -> NDArray[np.float64]:
    """Distances between the nodes of a layer: short at both ends, longer towards the middle.

    A refined mesh cuts those of the plain one into equal parts, so that it keeps all their nodes.
    """
    step = FINEST_INTERVAL
    half: list[float] = []
    total = 0.0
    while total + step < 0.5 * thickness:
        half.append(step)
        total += step
        step = min(step * INTERVAL_GROWTH, COARSEST_INTERVAL)
    # What is left in the middle is one interval, or two, or spread so that none is a sliver.
    rest = 0.5 * thickness - total
    middle = [rest, rest] if rest > 0.5 * step else [2.0 * rest] if rest > 0.25 * step else []
    steps = np.array([*half, *middle, *half[::-1]])
    if steps.size == 0:
        steps = np.array([thickness])
    nodes = np.append(0.0, np.cumsum(steps * (thickness / steps.sum())))
    parts = max(1, round(steps.size * refinement))
    places = np.linspace(0.0, steps.size, parts + 1)
    refined: NDArray[np.float64] = np.diff(np.interp(places, np.arange(nodes.size), nodes))
    refined.setflags(write=False)
    return refined
