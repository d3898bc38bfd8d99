"""What the arguments are that `simulate` and its siblings share, in words written once."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

SENTENCES = {
    "turf": """
turf : Turf, optional
    Roots, demand and interception; without it nothing is taken up and nothing evaporates.
""",
    "start": """
start : {"soaked", "drained"}, float, str, Quantity, DataArray or Dataset, optional
    Water at the start. "soaked": saturated to the surface; "drained": at rest after
    drainage; a number or text with a unit: one suction [cm] everywhere; a DataArray over
    ``depth`` named ``suction`` [cm] or ``water_content`` [1]; an earlier result: its end.
    A bare number between 0 and 1 is asked about: it could be either. Sand that remembers how it was
    wetted (`Hysteretic`) drained there after a flood, unless `AfterRain` says otherwise; a suction
    or water content of it is asked about.
""",
    "irrigation": """
irrigation : sequence of Event, optional
    Water applied.
""",
    "rules": """
rules : sequence of Rule, optional
    Irrigation decided within the run; of an event that would outlast the weather, the part within
    it is applied. Where `sand` is a fit, rules water sands that remember how they were wetted, by
    `likely_memories`; soils given one by one, such as ``fit.samples()``, are taken as they are.
""",
    "members": """
weather : Weather or sequence of Weather
    Rain and reference evapotranspiration; several members make the dimension ``member``.
""",
    "sand": """
sand : Soil, FitResult or sequence of these, optional
    Sand to put into that layer, such as a fit or ``fit.samples(50)``; several soils make the
    dimension ``sample``. The soil of the profile when left out.
""",
    "layer": """
layer : str, optional
    Name of the layer to change; the root zone, or the only layer, when left out.
""",
    "output": """
output : float, str, Quantity or sequence of datetime64, optional
    Interval of the results [h], or their times; both are hit exactly. At most a million times.
""",
    "keep": """
keep : iterable of str, optional
    Names of the variables wanted; all when left out. How each case ended is always given.
    `meter_reading` needs ``node_suction``; what sand remembers is kept with that.
""",
    "ponding_limit": """
ponding_limit : float, str or Quantity, optional
    Depth of water [cm] the surface holds before the rest runs off. 0.5 cm is an assumption.
""",
    "surface": """
surface : HeldSurface, optional
    Keep the surface at a suction instead of exposing it to the weather.
""",
    "tolerance": """
tolerance : float, optional
    Local error in water content a step may make [1]: twice it at a node, two fifths of it in
    the mean from the surface to any depth.
""",
    "refinement": """
refinement : float, optional
    Divides the distances between nodes [1].
""",
    "max_steps": """
max_steps : int, optional
    Steps after which a case gives up.
""",
    "n_threads": """
n_threads : int, optional
    Threads to use; as many as the process may use processors when left out.
""",
    "executor": """
executor : Executor, optional
    Runs chunks of cases in place of threads of this process: a
    `concurrent.futures.Executor`, or the client of a dask cluster.
""",
    "store": """
store : str or Path, optional
    Folder of a zarr store that results are written to while the batch runs. The same call
    takes up an unfinished store where it stopped, and opens a finished one.
""",
    "progress": """
progress : bool or callable, optional
    True shows a bar; a callable is given the number of finished cases and of all.
""",
}
"""Entries of the Parameters section of a docstring, by the argument they describe."""

GROUPS = {
    "what stands there": ("turf", "start", "irrigation", "rules"),
    "how it is solved": (
        "output",
        "keep",
        "ponding_limit",
        "surface",
        "tolerance",
        "refinement",
        "max_steps",
    ),
    "who runs it": ("n_threads", "executor", "store", "progress"),
}
"""Arguments that always come together."""

F = TypeVar("F", bound=Callable[..., Any])


def in_full(function: F) -> F:
    """Write out the lines ``{name}`` of a docstring that stand for sentences or groups of them.

    Parameters
    ----------
    function : callable
        With such lines in its Parameters section.

    Returns
    -------
    callable
        The function itself.
    """

    def written_out(match: re.Match[str]) -> str:
        names = GROUPS.get(match[2], (match[2],))
        entries = "".join(SENTENCES[name].removeprefix("\n") for name in names)
        return "".join(match[1] + line for line in entries.splitlines(keepends=True))

    if function.__doc__ is not None:
        function.__doc__ = re.sub(
            r"^( *)\{([a-z_ ]+)\}\n", written_out, function.__doc__, flags=re.M
        )
    return function
