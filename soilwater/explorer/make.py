"""What is asked is checked and run, and the runs are checked before a page is made of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, cast

import numpy as np

from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.explorer.arithmetic import every_hour, failure, mean_to, water_of
from soilwater.explorer.bands import RODS, make_bands
from soilwater.explorer.html import MOST_BYTES, ExplorerPage
from soilwater.explorer.lattice import (
    DEEPEST,
    DEMANDS,
    DEPTHS,
    MOST_DAYS,
    MOST_DEMAND,
    SHALLOWEST,
    TOLERANCE,
    Lattice,
    Setting,
    case_of,
    make_lattice,
    part_of,
    profile_of,
    run,
    stored_hours,
)
from soilwater.explorer.page import Asked, Worked, make_page
from soilwater.ground.base import BASES, CLEAN_GRAVEL, Base
from soilwater.ground.turf import Turf
from soilwater.lab.equally_likely import Sand, best_and_likely
from soilwater.runs.meter import meter_reading
from soilwater.soils import Soil
from soilwater.weather.made import steady_weather
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import DailyWater, Date, Length
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words
from soilwater.words.units import number_to_house

PROMISED = 0.002
"""How near a reading of the page is to that of a run [1]."""

BYTES_PER_POINT = 1_250_000 / (DEPTHS.size * DEMANDS.size * stored_hours(MOST_DAYS).size)
"""Size of a stored column at one time, with room: sands differ by a fifth."""
CHECKS = 32
"""Places at which every lattice is held against runs before a page is made."""


@mind_words()
def explore(
    sands: Mapping[str, Sand] | Sand,
    turf: Turf,
    thresholds: Thresholds,
    *,
    spot_depth: Length,
    green_depth: Length,
    rod: Length,
    demand: DailyWater,
    depths: Sequence[Length] = (SHALLOWEST, DEEPEST),
    demands: tuple[DailyWater, DailyWater] = (0.0, MOST_DEMAND),
    bases: Mapping[str, Base] | None = None,
    start: Literal["soaked", "drained"] = "soaked",
    days: int = 14,
    first_day: Date = "2025-07-01",
    draws: int = 30,
    name: str = "",
    n_threads: int | None = None,
) -> ExplorerPage:
    """Make a page of sliders that answers without Python: depth, demand, day, rod, sand and base.

    Parameters
    ----------
    sands : mapping of str to sands, or one sand
        Root-zone sands by the names people know them by; each a soil, a fit, or equally likely
        ones. All but a soil bring bands.
    turf : Turf
        Roots and demand.
    thresholds : Thresholds
        Readings that mean something on this ground.
    spot_depth, green_depth : float, str or Quantity
        Root zone [cm] of the spot in question and of the rest of the green, as the page opens.
    rod : float, str or Quantity
        Length of the rods [cm] as the page opens.
    demand : float, str or Quantity
        Reference evapotranspiration [mm/day] as the page opens.
    depths : two of float, str or Quantity, optional
        Ends of the sliders of depth [cm].
    demands : two of float, str or Quantity, optional
        Ends of the slider of demand [mm/day].
    bases : mapping of str to base condition, optional
        What the root zone may stand on, by name; 10 cm of clean gravel when left out. Each must
        let it drain to a state of its own.
    start : {"soaked", "drained"}, optional
        Water at the start: saturated to the surface, or as `drained_state` has it.
    days : int, optional
        Length of the dry-down [d], without rain, all days alike.
    first_day : datetime64, str or Timestamp, optional
        Its first day, for turf that changes with the date.
    draws : int, optional
        Curves of each sand that its bands are made of.
    name : str, optional
        Title of the page, such as the green.
    n_threads : int, optional
        Threads to use.

    Returns
    -------
    ExplorerPage
        Shows itself in a notebook; `save` writes the file.

    Raises
    ------
    InputError
        With every fault at once; a range too wide for the promised accuracy, or for a page of 6
        MB, is refused with what would fit.
    ImportError
        Without matplotlib or jinja2: ``python -m pip install "soilwater[report]"``.

    Notes
    -----
    Every sand on every base takes some 800 runs (5-10 s), and the bands of a fit 220 for each
    draw. The page reads between the runs: readings are within 0.2 % by volume of a run, the ends
    of bands within about 0.5 %. Each lattice is held against runs of its own before a page is
    made. Where a run failed, the page says so in place of an answer.
    """
    asked = _checked(
        sands,
        turf,
        thresholds,
        spot_depth=spot_depth,
        green_depth=green_depth,
        rod=rod,
        demand=demand,
        depths=depths,
        demands=demands,
        bases=bases,
        start=start,
        days=days,
        first_day=first_day,
        draws=draws,
        name=name,
    )
    setting = Setting(turf, int(days), first_day, start, n_threads)
    at_depths, at_demands = part_of(DEPTHS, *asked.depths), part_of(DEMANDS, *asked.demands)
    worked = []
    for sand_name, sand in asked.sands.items():
        best, likely = best_and_likely(sand, draws)
        for base_name, base in asked.bases.items():
            lattice = make_lattice(best, base, at_depths, at_demands, setting)
            _check_accuracy(lattice, best, base, setting, f'sand "{sand_name}" on "{base_name}"')
            bands = (
                make_bands(best, likely, base, asked.depths, asked.demands, setting)
                if len(likely) > 1
                else None
            )
            worked.append(Worked(lattice, bands))
    page = make_page(asked, worked)
    if len(page.html) > MOST_BYTES:
        raise InputError(
            f"explore: the page has {len(page.html) / 1e6:.1f} MB; allowed: up to "
            f"{MOST_BYTES / 1e6:g}; give fewer sands or bases, or a narrower range of depths."
        )
    return page


def _checked(sands: Any, turf: Any, thresholds: Any, **given: Any) -> Asked:
    """Check everything that was given, and note every fault."""
    faults = Faults("explore")
    if not isinstance(turf, Turf):
        faults.add(f"turf is {turf!r}", allowed="a Turf")
    if not isinstance(thresholds, Thresholds):
        faults.add(
            f"thresholds is {thresholds!r}",
            allowed='Thresholds("18 %", "14 %", "12 %") of your ground',
        )
    if not isinstance(sands, Mapping):
        own = getattr(getattr(sands, "soil", sands), "name", "")
        sands = {own or "the sand": sands}
    if not sands:
        faults.add("there is no sand", allowed='at least one, such as {"greens mix": fit}')
    for each, sand in sands.items():
        with faults.catching(f'sand "{each}"'):
            best_and_likely(sand, 1)
    bases = {"gravel": CLEAN_GRAVEL} if given["bases"] is None else given["bases"]
    if not isinstance(bases, Mapping) or not bases:
        such = 'such as {"gravel": GravelBlanket(soil, "10 cm")}'
        faults.add(f"bases is {bases!r}", allowed=such)
        bases = {}
    for each, base in bases.items():
        with faults.catching(f'base "{each}"'):
            _check_base(base)
    days = given["days"]
    if isinstance(days, bool) or days != int(days) or not 1 <= days <= MOST_DAYS:
        faults.add(f"days is {days!r}", allowed=f"a whole number, 1 to {MOST_DAYS}")
        days = MOST_DAYS
    if given["start"] not in ("soaked", "drained"):
        faults.add(f"start is {given['start']!r}", allowed='"soaked" or "drained"')
    if given["draws"] < 10:
        faults.add(f"draws is {given['draws']!r}", allowed="10 or more")
    with faults.catching("first_day"):
        steady_weather(1, 0.0, first_day=given["first_day"])
    depths = _ends(given["depths"], "depths", "length", SHALLOWEST, DEEPEST, 1.0, faults)
    demands = _ends(
        given["demands"], "demands", "evapotranspiration", 0.0, MOST_DEMAND, 0.5, faults
    )
    opening = {
        "spot": _opening(given["spot_depth"], "spot_depth", "length", *depths, faults),
        "green": _opening(given["green_depth"], "green_depth", "length", *depths, faults),
        "rod": _opening(given["rod"], "rod", "length", float(RODS[0]), float(RODS[-1]), faults),
        "demand": _opening(given["demand"], "demand", "evapotranspiration", *demands, faults),
    }
    _check_size(len(sands) * len(bases), depths, demands, int(days), faults)
    faults.raise_if_any()
    return Asked(
        sands=dict(sands),
        bases=dict(bases),
        turf=turf,
        thresholds=thresholds,
        depths=depths,
        demands=demands,
        rods=(float(RODS[0]), float(RODS[-1])),
        opening=opening,
        start=given["start"],
        days=int(days),
        first_day=given["first_day"],
        draws=given["draws"],
        name=str(given["name"]),
    )


def _check_base(base: Any) -> None:
    allowed = (
        'a base that lets it drain: GravelBlanket(soil, "10 cm"), CapillaryBreak("3 cm"), '
        "SeepageFace() or WaterTable"
    )
    if not isinstance(base, tuple(BASES.values())):
        raise InputError(f"{base!r} is no base condition; allowed: {allowed}.")
    known = cast(Base, base)
    if known.resting_suction(DEEPEST) is None:
        raise InputError(f"a root zone on it ({known}) never comes to a rest; allowed: {allowed}.")


def _ends(
    given: Any,
    name: str,
    quantity: str,
    least: float,
    most: float,
    apart: float,
    faults: Faults,
) -> tuple[float, float]:
    """Check the ends of a slider, which the accuracy of the lattice limits; the widest if bad."""
    fits = f"{in_people_units(least, quantity)} to {in_people_units(most, quantity)}"
    with faults.catching():
        if isinstance(given, str) or np.size(given) != 2:
            raise InputError(f"{name}: {given!r}; allowed: two, such as {fits}.")
        low, high = (number_to_house(each, quantity, name) for each in given)
        if least - 1e-9 <= low and low + apart <= high <= most + 1e-9:
            return low, high
        faults.add(
            f"{name} go from {in_people_units(low, quantity)} to {in_people_units(high, quantity)}",
            allowed=f"the lower end first, {in_people_units(apart, quantity)} or more apart, "
            f"within {fits}, where the page is within {100 * PROMISED:g} % by volume of a run",
            cure=f"give {name}=({max(low, least):g}, {min(high, most):g})"
            if max(low, least) + apart <= min(high, most)
            else "",
        )
    return least, most


def _opening(
    given: Any, name: str, quantity: str, low: float, high: float, faults: Faults
) -> float:
    """Where a slider stands as the page opens."""
    with faults.catching():
        value = number_to_house(given, quantity, name)
        if not low - 1e-9 <= value <= high + 1e-9:
            faults.add(
                f"{name} is {in_people_units(value, quantity)}",
                allowed=f"{in_people_units(low, quantity)} to {in_people_units(high, quantity)}, "
                "the ends of its slider",
            )
        return value
    return low


def _check_size(
    lattices: int,
    depths: tuple[float, float],
    demands: tuple[float, float],
    days: int,
    faults: Faults,
) -> None:
    """Refuse what would not fit into a page before hours are spent on it."""
    columns = part_of(DEPTHS, *depths).size * part_of(DEMANDS, *demands).size
    each = BYTES_PER_POINT * columns * stored_hours(days).size
    fit = int((MOST_BYTES - 300_000) / each)
    if lattices > fit:
        faults.add(
            f"sands on bases are {lattices} in all",
            allowed=f"up to {fit} with these depths, demands and days, in a page of "
            f"{MOST_BYTES / 1e6:g} MB",
            cure="give fewer of them, or narrow depths, demands or days",
        )


def _check_accuracy(lattice: Lattice, soil: Soil, base: Base, setting: Setting, where: str) -> None:
    """Hold a lattice against runs between its points, and refuse it where it misses them.

    Raises
    ------
    InputError
        Naming the depths between which it does not.
    """
    rng = np.random.default_rng(0)
    low, high = lattice.depths[0], lattice.depths[-1]
    # Places between the points of the lattice, spread over its whole depth.
    at_depths = low + (high - low) * (np.arange(CHECKS) + rng.uniform(size=CHECKS)) / CHECKS
    at_demands = rng.uniform(lattice.demands[0], lattice.demands[-1], CHECKS)
    places = [
        (depth, demand)
        for depth, demand in zip(at_depths.tolist(), at_demands.tolist(), strict=True)
        if not failure(lattice, depth, demand)
    ]
    if not places:
        return
    hours = np.arange(lattice.hours[-1] + 1.0)
    cases = [case_of(profile_of(soil, depth, base), e, setting) for depth, e in places]
    result = run(cases, hours, setting, TOLERANCE)
    missed: list[float] = []
    worst = 0.0
    for i, (depth, demand) in enumerate(places):
        water = water_of(lattice, depth, demand)
        for rod in RODS[depth >= RODS].tolist():
            page = every_hour(lattice.hours, mean_to(water, depth, rod))
            # A run that failed has no reading, and is no miss.
            miss = np.nan_to_num(np.abs(page - meter_reading(result[{"case": i}], rod=rod).values))
            worst = max(worst, float(miss.max()))
            if miss.max() > PROMISED:
                missed.append(depth)
    if not missed:
        return
    ends = np.array([low, *sorted(missed), high])
    k = int(np.argmax(np.diff(ends)))
    fits = f"({np.ceil(ends[k] + 0.01):g}, {np.floor(ends[k + 1] - 0.01):g})"
    raise InputError(
        f"explore: {where}: between its runs the page would miss a reading by "
        f"{100 * worst:.2f} % by volume; allowed: up to {100 * PROMISED:g} %; "
        f"give depths={fits}, where it was found to keep to that."
    )
