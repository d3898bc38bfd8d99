"""Many runs of lines or greens: draws of one ground, weathers, what-ifs, each a whole run."""

from __future__ import annotations

import time
from collections.abc import Generator, Iterable, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from soilwater.ground.linked import LinkedGround
from soilwater.ground.turf import Turf
from soilwater.runs.arrange import Batch
from soilwater.runs.case import Case, HeldSurface
from soilwater.runs.green_map import GreenMap
from soilwater.runs.kinds import Cases
from soilwater.runs.layout import Axes
from soilwater.runs.linked_run import blank_ground, lay_out_grounds, march_ground, meshes_of
from soilwater.runs.scheduling import Executor, Progress, Workers, finished_chunks, reporting
from soilwater.runs.settings import Settings, make_settings
from soilwater.runs.store import (
    Blanks,
    blocks_of,
    blocks_to_run,
    check_store,
    create_store,
    digest_of_run,
    open_store,
    write_block,
)
from soilwater.runs.transect import Transect
from soilwater.runs.wording import in_full
from soilwater.weather.irrigation import Event
from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError, Interrupted
from soilwater.words.forms import Length, OutputTimes, StartingWater
from soilwater.words.renamed import mind_words


@mind_words()
@in_full
def simulate_grounds(
    grounds: Sequence[Transect | GreenMap],
    weather: Weather | Sequence[Weather],
    *,
    dimension: str = "sample",
    labels: Sequence[Any] | None = None,
    turf: Turf | None = None,
    start: StartingWater = "soaked",
    irrigation: Sequence[Event] = (),
    output: OutputTimes = "1 h",
    keep: Iterable[str] | None = None,
    ponding_limit: Length = 0.5,
    surface: HeldSurface | None = None,
    tolerance: float = 0.0015,
    refinement: float = 1.0,
    max_steps: int = 1_000_000,
    n_threads: int | None = None,
    executor: Executor | None = None,
    store: str | Path | None = None,
    progress: Progress = False,
) -> xr.Dataset:
    """Simulate several lines of the same stations, or greens of the same cells, each a whole run.

    Each gives, bit for bit, what `simulate` gives for it alone, whatever the number of threads.

    Parameters
    ----------
    grounds : sequence of Transect or GreenMap
        Of the same places; levels, depths, layers and base may differ.
    weather : Weather or sequence of Weather
        Rain and reference evapotranspiration; one for all grounds, or one for each, over one span.
    dimension : str, optional
        Name of the dimension the grounds lie along, such as ``"sample"`` or ``"member"``.
    labels : sequence, optional
        Coordinate of that dimension; 0, 1, 2, ... when left out.
    {turf}
    {start}
    {irrigation}
    {how it is solved}
    {who runs it}

    Returns
    -------
    Dataset
        As from `simulate`, with that dimension in front. A run that gave up has a status other than
        0 and NaN from there on. From a store, values are read when they are asked for.

    Raises
    ------
    InputError
        If there are none, they are not of the same places, spans differ, or a setting cannot be
        used.
    Interrupted
        On Ctrl-C; its `finished` holds the grounds that were run.

    Examples
    --------
    The same line with floors of two kinds, two days after a soaking:

    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> green = sw.Profile.over_gravel(sand, "12 in", base_suction=3.0)
    >>> lines = sw.Transect.without_levels(
    ...     ["0 m", "4 m", "8 m"], ["12 in"] * 3, green, steepest_fall="3 %"
    ... )
    >>> run = sw.simulate_grounds(lines, sw.steady_weather(2, 0.0), output="48 h")
    >>> reading = sw.meter_reading(run, rod="3 in").isel(time=-1).sel(distance=0.0)
    >>> bool(reading[1] < reading[0] - 0.04)
    True
    """
    begin = time.perf_counter()
    wholes = _whole_grounds(grounds)
    weathers = list(weather) if isinstance(weather, Sequence) else [weather] * len(wholes)
    _check_weathers(weathers, wholes)
    if labels is not None and len(labels) != len(wholes):
        raise InputError(f"labels: {len(labels)} for {len(wholes)} grounds; allowed: one each.")
    common: Any = {"turf": turf, "start": start, "irrigation": irrigation}
    chunks = [
        (ground, [Case(profile, each, **common) for profile in ground.profiles])
        for ground, each in zip(wholes, weathers, strict=True)
    ]
    settings = make_settings(
        weathers[0],
        output=output,
        keep=keep,
        ponding_limit=ponding_limit,
        surface=surface,
        tolerance=tolerance,
        refinement=refinement,
        max_steps=max_steps,
    ).for_cases([case for _, cases in chunks for case in cases])
    plan = _Plan(chunks, settings, {dimension: range(len(wholes)) if labels is None else labels})
    workers = Workers(n_threads, executor, progress)
    if store is not None:
        return _run_into_store(Path(store), plan, workers)
    blanks = plan.blanks()
    values = {name: np.stack([like] * len(wholes)) for name, (_, like) in blanks.items()}
    try:
        for k, left in _finished(plan, range(len(wholes)), workers):
            _fill(values, k, left)
    except KeyboardInterrupt:
        raise Interrupted(plan.lay_out(values)) from None
    return plan.lay_out(values).assign_attrs(wall_time_s=time.perf_counter() - begin)


class _Plan(NamedTuple):
    """Grounds with a case for each of their columns, what they share, and their dimension."""

    chunks: list[tuple[LinkedGround, list[Case]]]
    settings: Settings
    axes: Axes

    def lay_out(self, values: Mapping[str, NDArray[Any]]) -> xr.Dataset:
        return lay_out_grounds([each for each, _ in self.chunks], values, self.settings, self.axes)

    def blanks(self, shared: bool = False) -> Blanks:
        """Make what a ground leaves as it is before the run."""
        meshes = meshes_of([each for each, _ in self.chunks], self.settings)
        n_nodes = max(mesh.depth.size for mesh in meshes)
        return blank_ground(self.chunks[0][0], n_nodes, self.settings, shared=shared)


def _fill(values: Mapping[str, NDArray[Any]], place: int, left: Mapping[str, NDArray[Any]]) -> None:
    """Put what a ground left in its place; where others have more nodes, the rest stays blank."""
    for name, array in left.items():
        values[name][place, ..., : array.shape[-1]] = array


def _finished(
    plan: _Plan, numbers: Sequence[int], workers: Workers
) -> Generator[tuple[int, dict[str, NDArray[Any]]]]:
    """Run some of the grounds, and hand each over as it finishes; the others are done."""
    total = len(plan.chunks)
    chunks = [plan.chunks[i] for i in numbers]
    with (
        reporting(workers.progress, total) as report,
        closing(finished_chunks(chunks, plan.settings, workers, march_ground)) as finished,
    ):
        if len(numbers) < total:
            report(total - len(numbers))
        for k, left in finished:
            yield numbers[k], left
            report(1)


def _run_into_store(path: Path, plan: _Plan, workers: Workers) -> xr.Dataset:
    """Run the grounds that a store still lacks, and open it; a ground is a block."""
    known = plan.lay_out({})
    cases = [case for _, each in plan.chunks for case in each]
    faces = [
        (g.pairs.tolist(), g.width.tolist(), g.distance.tolist(), g.outside, g.edge)
        for g, _ in plan.chunks
    ]
    digest = digest_of_run(Batch(Cases.of(cases), plan.axes, plan.settings), known, repr(faces))
    blanks = plan.blanks("depth" in known.dims)
    if not path.exists():
        create_store(path, known, blanks, (1,), digest)
    check_store(path, digest)
    blocks = {
        each.columns[0]: each for each in blocks_to_run(path, blocks_of((len(plan.chunks),), (1,)))
    }
    try:
        for k, left in _finished(plan, list(blocks), workers):
            values = {name: like[None].copy() for name, (_, like) in blanks.items()}
            _fill(values, 0, left)
            write_block(path, blocks[k], values)
    except KeyboardInterrupt:
        raise Interrupted(open_store(path)) from None
    return open_store(path)


def _whole_grounds(grounds: Any) -> list[LinkedGround]:
    """Columns and faces of each; refused where they are not of the same places."""
    faults = Faults("grounds")
    if isinstance(grounds, Transect | GreenMap):
        faults.add("one ground", cure="write [ground], or simulate(ground, ...) for one run")
        raise faults.as_error()
    wholes: list[LinkedGround] = []
    for i, each in enumerate(grounds):
        if not isinstance(each, Transect | GreenMap):
            faults.add(
                f"{type(each).__name__} is no ground",
                where=f"position {i}",
                allowed="Transect or GreenMap",
            )
            continue
        wholes.append(each.ground())
        first, last = wholes[0], wholes[-1]
        if last.dimension != first.dimension or any(
            not np.array_equal(values, last.coordinates[name])
            for name, values in first.coordinates.items()
        ):
            faults.add(
                "its places are not those of the first",
                where=f"position {i}",
                allowed="lines of the same stations, or greens of the same cells",
            )
        elif any(
            not np.array_equal(getattr(first, name), getattr(last, name))
            for name in ("pairs", "width", "area", "edge")
        ) or [face[:2] for face in first.outside] != [face[:2] for face in last.outside]:
            faults.add(
                "its widths, ends, barriers or drains are not those of the first",
                where=f"position {i}",
                cure="run it by itself with simulate",
            )
    if not wholes and not len(faults):
        faults.add("there are none", allowed="at least one Transect or GreenMap")
    faults.raise_if_any()
    return wholes


def _check_weathers(weathers: Sequence[Any], wholes: Sequence[LinkedGround]) -> None:
    faults = Faults("weather")
    if len(weathers) != len(wholes):
        faults.add(
            f"{len(weathers)} for {len(wholes)} grounds", allowed="one for all, or one for each"
        )
    for i, each in enumerate(weathers):
        if not isinstance(each, Weather):
            faults.add(f"{type(each).__name__} is no Weather", where=f"position {i}")
        elif (each.start, each.end) != (weathers[0].start, weathers[0].end):
            faults.add(
                "it spans other days than the first",
                where=f"position {i}",
                cure="cut it with Weather.between",
            )
    faults.raise_if_any()
