"""Water-repellent ground as two columns side by side: one takes the water, the other stays dry."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr

from soilwater.runs.case import Case
from soilwater.runs.wetted import AfterFlooding
from soilwater.survey.drops import DropTests
from soilwater.words.errors import Faults
from soilwater.words.forms import Share
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.units import number_to_house

WETS, STAYS_DRY = "wets", "stays dry"


@needs_all('Repellency("60 %")')
@dataclass(frozen=True)
class Repellency:
    """Ground of which only a share takes water.

    Parameters
    ----------
    wetting_share : float, str, Quantity or DropTests
        Share of the area that wets, above 0 and up to 1 [1]; of drop tests their best, beside which
        `drop_tests` keeps them for their band.
    dry_suction : float, str or Quantity, optional
        Suction to which the part that stays dry has dried when a run starts [cm]. It starts as the
        part that wets when left out, as if it began to refuse water then.

    Raises
    ------
    InputError
        If the share is out of range, or the suction cannot be used; both in one message.

    Examples
    --------
    >>> Repellency("60 %").wetting_share
    0.6
    """

    wetting_share: float
    dry_suction: float | None = field(default=None, kw_only=True)
    drop_tests: DropTests | None = field(default=None, init=False, repr=False)

    def __post_init__(self) -> None:
        faults = Faults("Repellency")
        given: Any = self.wetting_share
        with faults.catching():
            if isinstance(given, DropTests):
                object.__setattr__(self, "drop_tests", given)
                share = given.wetting_share.best
            else:
                share = number_to_house(given, "fraction", "wetting_share")
            if not 0.0 < share <= 1.0:
                percent = f'write Repellency("{share:g} %") if it is per cent'
                faults.add(
                    f"wetting_share is {share:g}",
                    allowed="above 0 (nothing would be left to take the water) to 1",
                    cure=percent
                    if 1.0 < share <= 100.0
                    else "write Repellency(0.6), where 6 of 10 drops are gone within 5 s",
                )
            object.__setattr__(self, "wetting_share", share)
        if self.dry_suction is not None:
            with faults.catching():
                suction = number_to_house(self.dry_suction, "suction", "dry_suction")
                if suction <= 0.0:
                    faults.add(f"dry_suction is {suction:g} cm", allowed="above 0 cm")
                object.__setattr__(self, "dry_suction", suction)
        faults.raise_if_any()


def repellency_of(given: Share | DropTests | Repellency) -> Repellency:
    """Take a share of the area that wets, however it is told."""
    share: Any = given
    return share if isinstance(share, Repellency) else Repellency(share)


@mind_words()
def repellent_patches(case: Case, wetting_share: Share | DropTests | Repellency) -> xr.DataArray:
    """Make of one column the two of repellent ground, for `simulate_many`.

    All the water goes to the share that wets, where it runs together; the rest gets none. The sand
    of both is the same, and roots take up in both. No water passes between them, which is a bound:
    what seeps across makes them more alike. How water finds its way within the part that wets, in
    fingers, no column shows.

    Parameters
    ----------
    case : Case
        The column as if all of it wetted.
    wetting_share : float, str, Quantity, DropTests or Repellency
        Share of the area that wets, above 0 and up to 1 [1], alone or with the suction of the part
        that stays dry.

    Returns
    -------
    DataArray of Case
        Over ``patch``, "wets" and "stays dry" (the first alone where everything wets), with their
        `area_share` [1]. ``meter_reading(run, rod="3 in").weighted(run.area_share)`` has the
        ``mean("patch")`` of the area and the ``std("patch")`` that rods pushed in here and there
        meet.

    Raises
    ------
    InputError
        If the share cannot be used, or the case has rules, which do not know where their meter is.

    Examples
    --------
    >>> import soilwater as sw
    >>> sand = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, "40 cm/h")
    >>> rain = sw.steady_weather(4, "5 mm/day", rain="5 mm/day")
    >>> case = sw.Case(sw.Profile.over_gravel(sand, "12 in"), rain, turf=sw.Turf("15 cm"))
    >>> run = sw.simulate_many(sw.repellent_patches(case, "60 %"), output="1 day")
    >>> reading = sw.meter_reading(run, rod="3 in")
    >>> [round(100 * float(each), 1) for each in reading[:, -1]]
    [18.1, 13.8]
    """
    faults = Faults("repellent_patches")
    given: Any = wetting_share
    with faults.catching():
        given = repellency_of(given)
    if not isinstance(case, Case):
        faults.add(f"case is a {type(case).__name__}", allowed="a Case of one column")
    elif case.rules:
        faults.add(
            "case has rules, and it is not known in which part their meter stands",
            cure="leave rules out and give irrigation=[...]",
        )
    faults.raise_if_any()
    share = given.wetting_share
    # The water of the whole area, on the part that takes it.
    cases = [_with_water(case, 1.0 / share)]
    if share < 1.0:
        start = case.start
        if given.dry_suction is not None:
            dry = given.dry_suction
            start = AfterFlooding(dry) if case.profile.remembers else dry
        cases.append(replace(_with_water(case, 0.0), start=start))
    held = np.empty(len(cases), dtype=object)
    held[:] = cases
    return xr.DataArray(
        held,
        {
            "patch": [WETS, STAYS_DRY][: len(cases)],
            "area_share": ("patch", [share, 1.0 - share][: len(cases)]),
        },
        ("patch",),
    )


def _with_water(case: Case, times: float) -> Case:
    """Give the column its rain and irrigation times a factor."""
    weather = replace(case.weather, rain=times * case.weather.rain)
    events = [each.scaled(times) for each in case.irrigation] if times > 0.0 else []
    return replace(case, weather=weather, irrigation=events)
