"""Statics: where water rests once a profile has drained, and what that leaves for air.

In a drained profile the suction at any point is its height above the base plus the suction left at
the base. A sand has no field capacity of its own; each height above the gravel has one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.base import GravelBlanket
from soilwater.ground.fillings import with_each_soil
from soilwater.ground.gravel_drainage import (
    DRAINED_AFTER,
    interface_suction,
    suction_within,
    suctions_below,
)
from soilwater.ground.mesh import Mesh, Meshes
from soilwater.ground.profile import Profile
from soilwater.kernels.entry_points import mean_water_contents
from soilwater.kernels.remembering import mean_water_contents_of_branches
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.layout import describe_columns, lay_out
from soilwater.runs.wetted import AfterRain, ends_after
from soilwater.runs.wording import in_full
from soilwater.soils import Soil
from soilwater.soils.kernel_table import tables_of_column
from soilwater.soils.side_by_side import ManySoils
from soilwater.words.arrays import FloatArray, spread
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Length
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house


def drained_suction(profile: Profile) -> float:
    """Suction at the base of a profile that has drained [cm].

    Over a blanket of gravel drainage does not end: the suction `DRAINED_AFTER` hours after a
    soaking, which goes on rising for weeks. Else the one that drainage ends with.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.

    Returns
    -------
    float
        Suction [cm]; negative where a water table stands above the base.

    Raises
    ------
    InputError
        If the base condition lets the profile come to no rest of its own.
    """
    if not isinstance(profile, Profile):
        raise InputError(
            f"profile: a {type(profile).__name__} was given; allowed: a Profile, such as "
            "Profile.over_gravel(soil, root_zone)."
        )
    if profile.blanket is not None:
        return interface_suction(_soils_of(profile), profile.blanket)
    suction = profile.base.resting_suction(profile.depth)
    if suction is None:
        raise InputError(
            f"Profile: with its base ({profile.base}) it comes to no rest of its own; allowed: "
            "CapillaryBreak, GravelBlanket, SeepageFace or WaterTable; simulate the drainage "
            "instead."
        )
    return suction


def _soils_of(profile: Profile) -> tuple[tuple[Soil, float], ...]:
    return tuple([(layer.soil, layer.thickness) for layer in profile.layers])


def drained_when(profile: Profile) -> str:
    """When a profile is as `drained_state` has it, in words; over gravel drainage does not end."""
    if profile.blanket is None:
        return "at rest"
    return f"{DRAINED_AFTER:g} h after a soaking"


def drained_suctions(profile: Profile, mesh: Mesh) -> NDArray[np.float64]:
    """Suction at every node of a profile that has drained [cm].

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    mesh : Mesh
        Its nodes.

    Returns
    -------
    ndarray, shape (n_nodes,)
        Heights above the base and the suction there; in gravel below, that of the flow left.

    Raises
    ------
    InputError
        If the base condition lets the profile come to no rest of its own.
    """
    at_base = drained_suction(profile)
    if profile.blanket is None:
        return profile.depth - mesh.depth + at_base
    own, depth = Meshes.of([mesh]), np.array([profile.depth])
    return _above_bases(profile.blanket, depth, own, np.array([at_base]))


def _above_bases(
    blanket: GravelBlanket, depths: FloatArray, meshes: Meshes, at_base: FloatArray
) -> FloatArray:
    """Suctions [cm] at the nodes of columns end to end that lie over one blanket.

    Of each the depth of the base of its layers and the suction there [cm].
    """
    if len(meshes.nodes) == 1 and bool(np.all(depths == depths[0])):
        # Columns that lie alike: heights are those of one.
        z = meshes.nodes[0].depth
        depth, base = np.full(z.size, depths[0]), at_base[:, np.newaxis]
    else:
        z, sizes = meshes.depths(), meshes.sizes
        depth, base = spread(depths, sizes), spread(at_base, sizes)
    suction: FloatArray = depth - z + base
    within = np.flatnonzero(z > depth + 1e-9)
    height = depth[within] + blanket.thickness - z[within]
    at_top = base if base.ndim > 1 else base[within]
    suction[..., within] = suction_within(blanket, at_top, height)
    return suction.ravel()


def drained_side_by_side(
    profiles: Sequence[Profile],
    wanted: Sequence[int],
    kind: NDArray[np.int64],
    soils: ManySoils,
    filling: NDArray[np.int64],
    meshes: Meshes,
) -> list[tuple[NDArray[np.int64], FloatArray]]:
    """Heads at the nodes of several drained columns, as `drained_suctions` has them, sooner.

    Parameters
    ----------
    profiles : sequence of Profile
        Any number of them.
    wanted : sequence of int
        Of which of them columns are looked for.
    kind : ndarray of int, shape (n_columns,)
        Which of them each column is, but for its soils.
    soils : ManySoils
        Any number of them.
    filling : ndarray of int, shape (n_columns, most)
        Which of these fill the layers of each column, from the top down.
    meshes : Meshes
        Their nodes.

    Returns
    -------
    list of tuple of ndarray
        Positions of columns over one gravel, and their heads end to end [cm]; none of columns over
        a gravel of their own, or over none.
    """
    over: dict[tuple[int, int], list[int]] = {}
    for number in wanted:
        profile = profiles[number]
        if isinstance(profile.base, GravelBlanket):
            over.setdefault((id(profile.base), len(profile.layers)), []).append(number)
    found = []
    for kinds in over.values():
        lies = np.zeros(len(profiles), dtype=np.bool_)
        lies[kinds] = True
        places = np.flatnonzero(lies[kind])
        if places.size < 2:
            continue
        thickness = np.array([[each.thickness for each in profiles[i].layers] for i in kinds])
        depth = np.array([profiles[i].depth for i in kinds])
        among = np.searchsorted(kinds, kind[places])
        curves = [soils.curves(filling[places, i]) for i in range(thickness.shape[1])]
        blanket, nodes = cast(GravelBlanket, profiles[kinds[0]].base), meshes.take(places)
        at_base = suctions_below(curves, list(thickness[among].T), blanket)
        found.append((places, -_above_bases(blanket, depth[among], nodes, at_base)))
    return found


@in_full
@mind_words(soils="sand")
def drained_state(
    profile: Profile,
    *,
    sand: Sand | None = None,
    layer: str | None = None,
    after: AfterRain | None = None,
) -> xr.Dataset:
    """Water in a profile that has drained, without time stepping.

    At rest, where drainage ends; over a blanket of gravel 48 h after a soaking, the sand at rest
    over the suction that the gravel has by then brought about. Where a clean gravel is a layer of
    its own over a seepage face, this is the state after months: the gravel loses its conductivity
    long before. Use `Profile.over_gravel`, or simulate.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    {sand}
    {layer}
    after : AfterRain, optional
        How sand that remembers was wetted last, in place of a flood from below: its rate, and how
        dry the sand had been. Flooded, as a lab does it, when left out.

    Returns
    -------
    Dataset
        `water_content` [1], `suction` [cm] and `air_filled_porosity` [1] over ``depth`` [cm],
        `node_suction` [cm] over ``node_depth``, `storage` [mm]; with ``sample`` in front where
        a sand is given. Its attribute `drained` says when.

    Raises
    ------
    InputError
        If the base condition lets the profile come to no rest of its own, there are no soils, or
        it is not clear which layer is meant; or if `after` is no `AfterRain` that drained, or there
        is no sand that remembers.

    Examples
    --------
    >>> from soilwater.soils import VanGenuchten
    >>> sand = VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
    >>> state = drained_state(Profile.over_gravel(sand, 30.0))
    >>> round(float(state.node_suction[0]), 1)
    36.7
    """
    drained_suction(profile)  # before the work, where it has none
    profiles, axes = [profile], {}
    if sand is not None:
        _, soils = best_and_likely(sand)
        profiles = with_each_soil(profile, soils, layer)
        axes = {"sample": range(len(profiles))}
    meshes = [each.mesh() for each in profiles]
    # Soils that equal a neighbouring layer's are meshed with it: lengths may differ.
    n_nodes = max(mesh.depth.size for mesh in meshes)
    if after is not None:
        _check_after(after, meshes)
    values = {
        "water_content": np.full((len(profiles), n_nodes - 1), np.nan),
        "suction": np.full((len(profiles), n_nodes - 1), np.nan),
        "node_suction": np.full((len(profiles), n_nodes), np.nan),
        "air_filled_porosity": np.full((len(profiles), n_nodes - 1), np.nan),
        "storage": np.full(len(profiles), np.nan),
    }
    if after is not None:
        values["drying_suction"] = np.full((len(profiles), 2, n_nodes - 1), np.nan)
    for i, (each, mesh) in enumerate(zip(profiles, meshes, strict=True)):
        suction = drained_suctions(each, mesh)
        water = cell_water_content(mesh, suction)
        saturated = np.array([soil.theta_s for soil in mesh.soils])[mesh.soil]
        n = water.size
        if after is not None:
            ends = ends_after(mesh, suction, after.rate, suction + after.dried_by)
            water = ends.water.mean(axis=0)
            values["drying_suction"][i, :, :n] = ends.drying
        values["water_content"][i, :n] = water
        values["suction"][i, :n] = 0.5 * (suction[1:] + suction[:-1])
        values["node_suction"][i, : n + 1] = suction
        values["air_filled_porosity"][i, :n] = saturated - water
        values["storage"][i] = _held(mesh, water)
    described, when = describe_columns(profiles, meshes, n_nodes), drained_when(profile)
    return lay_out(values, described, axes, leading=(), attributes={"drained": when})


def drained_storage(profile: Profile) -> float:
    """Water in a drained profile [mm], the `storage` of `drained_state` alone.

    Parameters
    ----------
    profile : Profile
        Layers and base condition.

    Raises
    ------
    InputError
        If the base condition lets the profile come to no rest of its own.
    """
    mesh = profile.mesh()
    return _held(mesh, cell_water_content(mesh, drained_suctions(profile, mesh)))


def _held(mesh: Mesh, water: NDArray[np.float64]) -> float:
    return float(10.0 * np.sum(water * np.diff(mesh.depth)))


def _check_after(after: Any, meshes: Sequence[Mesh]) -> None:
    """Refuse what is no rain before drainage, and sand that remembers none."""
    if not isinstance(after, AfterRain):
        raise InputError(
            f'after: {after!r}; allowed: AfterRain, such as AfterRain("10 mm/h"), or None for sand '
            "that was flooded."
        )
    if not (isinstance(after.water, str) and after.water == "drained"):
        raise InputError(
            f"after: its water is {after.water!r}, and a drained state is drained; leave water out."
        )
    if not any(mesh.remembers for mesh in meshes):
        raise InputError(
            "after: no layer remembers how it was wetted, so that rain leaves it as a flood does; "
            "give sand=likely_memories(sand), or a Hysteretic soil."
        )


def cell_water_content(mesh: Mesh, suction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Water content of each cell as the water balance holds it: the mean of its two ends.

    Parameters
    ----------
    mesh : Mesh
        Nodes [cm] and soils.
    suction : ndarray, shape (n,)
        Suction at the nodes [cm].

    Returns
    -------
    ndarray, shape (n - 1,)
        Water content [1].
    """
    water = np.empty(mesh.soil.size)
    for number, soil in enumerate(mesh.soils):
        cells = np.flatnonzero(mesh.soil == number)
        at = np.asarray(soil.water_content(suction[cells[0] : cells[-1] + 2]))
        water[cells] = 0.5 * (at[1:] + at[:-1])
    return water


@mind_words()
def drained_water_content(profile: Profile, top: Length, bottom: Length) -> float:
    """Mean water content of a drained profile between two depths [1].

    Parameters
    ----------
    profile : Profile
        Layers and base condition.
    top, bottom : float, str or Quantity
        Depths [cm] within the profile.

    Returns
    -------
    float
        Water content [1], exact through the curve and across layers.

    Raises
    ------
    InputError
        If the depths do not lie within the profile, or it comes to no rest.
    """
    mesh = profile.mesh()
    suction = drained_suctions(profile, mesh)
    upper, lower = depth_range(top, bottom, profile)
    return float(mean_over_depth(mesh, -suction[None], upper, lower)[0])


def depth_range(top: Any, bottom: Any, profile: Profile) -> tuple[float, float]:
    """Check a range of depths against a profile.

    Parameters
    ----------
    top, bottom : float, str or Quantity
        Depths [cm].
    profile : Profile
        What they must lie within.

    Returns
    -------
    top, bottom : float
        Depths [cm].

    Raises
    ------
    InputError
        If they are not in order, or reach beyond the profile.
    """
    faults = Faults("Range of depths")
    deepest = in_people_units(profile.depth, "length")
    upper, lower = 0.0, profile.depth
    with faults.catching():
        upper = number_to_house(top, "length", "top")
    with faults.catching():
        lower = number_to_house(bottom, "length", "bottom")
    for name, depth in (("top", upper), ("bottom", lower)):
        if not 0.0 <= depth <= profile.depth + 1e-9:
            faults.add(f"{name} is {depth:g} cm", allowed=f"0 to the base at {deepest}")
    if not faults and not upper < lower:
        faults.add(
            f"top is {upper:g} cm and bottom {lower:g} cm",
            allowed="top above bottom",
            cure="depths are counted downward from the turf surface",
        )
    faults.raise_if_any()
    return upper, min(lower, profile.depth)


def mean_over_depth(
    mesh: Mesh,
    head: NDArray[np.float64],
    top: float,
    bottom: float,
    drying: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Mean water content between two depths.

    Exact through the curve where head runs about straight between nodes, as at rest; at a front
    the water that the balance holds there, straight between nodes.

    Parameters
    ----------
    mesh : Mesh
        Nodes [cm] and soils.
    head : ndarray, shape (n_times, n)
        Matric head at the nodes [cm].
    top, bottom : float
        Depths [cm].
    drying : ndarray, shape (n_times, 2, n - 1), optional
        Suctions [cm] at which draining sand holds the same at the top and bottom of each cell,
        where sand remembers how it was wetted.

    Returns
    -------
    ndarray, shape (n_times,)
        Water content [1]; NaN where a head is NaN.
    """
    tables, scalars = tables_of_column(mesh.soils)
    mean = np.full(head.shape[0], np.nan)
    known = np.flatnonzero(np.all(np.isfinite(head), axis=1))
    result = np.empty(known.size)
    integrate = mean_water_contents if drying is None else mean_water_contents_of_branches
    values = head if drying is None else -drying
    integrate(
        np.ascontiguousarray(values[known]),
        mesh.depth,
        mesh.soil,
        tables,
        scalars,
        top,
        bottom,
        result,
    )
    mean[known] = result
    return mean
