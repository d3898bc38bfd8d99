"""Water applied: events, and what the canopy keeps of them.

Everything here is arithmetic on amounts and times; whether the soil takes the water is the
solver's business. Watering restrictions, allocations and approved backflow protection are yours
to observe: local codes come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilwater.weather.series import Weather
from soilwater.words.errors import Faults, InputError
from soilwater.words.forms import Area, Date, Flow, TimeSpan, WaterAmount, WaterRate
from soilwater.words.quantities import in_people_units
from soilwater.words.renamed import mind_words, needs_all
from soilwater.words.times import as_time, hours_between, stamp, to_timedelta
from soilwater.words.units import number_to_house, positive_number

HOURS_PER_DAY = 24.0

LONGEST_EVENT = 8784.0
"""Longest application of water [h]."""
_MINUTES_PER_HOUR = 60.0


@needs_all('Event("2025-06-10 05:00", "6 mm", rate="18 mm/h")')
@dataclass(frozen=True)
class Event:
    """One application of water at a constant rate.

    Parameters
    ----------
    time : datetime64, str or Timestamp
        When it starts, local standard time.
    amount : float, str or Quantity
        Water applied [mm].
    rate : float, str or Quantity, optional
        Precipitation rate [mm/h].
    duration : float, str or Quantity, optional
        How long it lasts [h]. Give the rate or the duration; the other follows.
    name : str, optional
        What it was, for people.

    Raises
    ------
    InputError
        With every fault: amounts, rates or durations that are not positive, both or neither of
        rate and duration.

    Examples
    --------
    >>> event = Event("2025-07-01 04:00", "6 mm", rate="18 mm/h")
    >>> event.duration * 60
    20.0
    """

    time: np.datetime64
    amount: float
    rate: float = field(default=None, kw_only=True)  # type: ignore[assignment]  # set on creation
    duration: float = field(default=None, kw_only=True)  # type: ignore[assignment]
    name: str = field(default="", kw_only=True)

    def __post_init__(self) -> None:
        faults = Faults(f'Event "{self.name}"' if self.name else "Event")
        amount = positive_number(self.amount, "water_amount", "amount", faults)
        given = [n for n in ("rate", "duration") if getattr(self, n) is not None]
        if not given:
            faults.add("neither rate nor duration is given", cure="give one of the two")
        rate = positive_number(self.rate, "water_rate", "rate", faults) if "rate" in given else 0.0
        duration = 0.0
        if "duration" in given:
            duration = positive_number(self.duration, "duration", "duration", faults)
        time: np.datetime64 = np.datetime64("NaT", "ns")
        with faults.catching():
            time = as_time(self.time, "time")
        if rate > 0.0 and duration > 0.0 and abs(rate * duration - amount) > 1e-9 * amount:
            faults.add(
                f"rate {rate:g} mm/h for {duration:g} h gives {rate * duration:g} mm, not "
                f"{amount:g} mm",
                cure="give the rate or the duration, not both",
            )
        lasts = duration or (amount / rate if rate > 0.0 else 0.0)
        if lasts > LONGEST_EVENT:
            faults.add(f"it would last {lasts:g} h", allowed=f"up to {LONGEST_EVENT:g} h, a year")
        faults.raise_if_any()
        object.__setattr__(self, "time", time)
        object.__setattr__(self, "amount", amount)
        object.__setattr__(self, "rate", rate if "rate" in given else amount / duration)
        object.__setattr__(self, "duration", duration if "duration" in given else amount / rate)

    @classmethod
    def from_run_time(
        cls, time: Date, run_time: TimeSpan, rate: WaterRate, *, name: str = ""
    ) -> Event:
        """Make an event from a controller's run time.

        Parameters
        ----------
        time : datetime64, str or Timestamp
            When it starts, local standard time.
        run_time : float, str or Quantity
            How long the heads run [h].
        rate : float, str or Quantity
            Precipitation rate of the heads [mm/h].
        name : str, optional
            What it was, for people.
        """
        hours = number_to_house(run_time, "duration", "run_time")
        speed = number_to_house(rate, "water_rate", "rate")
        # What is given is checked when the event is made.
        return cls(time, hours * speed, rate=speed, name=name)  # type: ignore[arg-type]

    @cached_property
    def end(self) -> np.datetime64:
        """When it stops."""
        return np.datetime64(self.time + to_timedelta(self.duration))

    def after(self, time: np.datetime64) -> Event:
        """Return what of it is applied after an instant; itself where that is all.

        Parameters
        ----------
        time : datetime64
            Before its end.
        """
        if self.time >= time:
            return self
        left = hours_between(time, self.end)
        return replace(self, time=time, amount=self.rate * left, duration=left)

    def scaled(self, factor: float) -> Event:
        """Return the same event with its amount and rate multiplied, as seen by one spot.

        Parameters
        ----------
        factor : float
            Multiplier, above 0 [1].
        """
        return replace(self, amount=self.amount * factor, rate=self.rate * factor)


@mind_words()
def cycle_and_soak(
    time: Date, amount: WaterAmount, *, rate: WaterRate, cycles: int, soak: TimeSpan, name: str = ""
) -> tuple[Event, ...]:
    """Split an application into equal cycles with pauses, so that slow ground can take it.

    Parameters
    ----------
    time : datetime64, str or Timestamp
        When the first cycle starts.
    amount : float, str or Quantity
        Total water [mm].
    rate : float, str or Quantity
        Precipitation rate while the heads run [mm/h].
    cycles : int
        Number of cycles.
    soak : float, str or Quantity
        Pause between the end of one cycle and the start of the next [h].
    name : str, optional
        What it was, for people.

    Returns
    -------
    tuple of Event

    Raises
    ------
    InputError
        If the number of cycles is not a positive whole number or the pause is negative.

    Examples
    --------
    >>> events = cycle_and_soak("2025-07-01 02:00", "9 mm", rate="18 mm/h", cycles=3, soak="50 min")
    >>> [str(event.time)[11:16] for event in events]
    ['02:00', '03:00', '04:00']
    """
    pause = number_to_house(soak, "duration", "soak")
    faults = Faults("cycle_and_soak")
    if isinstance(cycles, bool) or cycles != int(cycles) or cycles < 1:
        faults.add(f"cycles is {cycles!r}", allowed="a whole number, 1 or more")
    if pause < 0.0:
        faults.add(f"soak is {pause:g} h", allowed="0 or more")
    faults.raise_if_any()
    total = number_to_house(amount, "water_amount", "amount")
    first = Event(time, total / cycles, rate=rate, name=name)  # type: ignore[arg-type]
    step = to_timedelta(first.duration + pause)
    return tuple(replace(first, time=first.time + k * step) for k in range(int(cycles)))


@mind_words()
def hand_water(time: Date, run_time: TimeSpan, *, flow: Flow, area: Area) -> Event:
    """Water from a hose on a spot, spread evenly over it.

    The name of the event states the flow in litres and US gallons, because "15 gpm" is 57 L/min
    in one country and 68 in another ("UK gal/min" is understood too).

    Parameters
    ----------
    time : datetime64, str or Timestamp
        When it starts.
    run_time : float, str or Quantity
        How long the hose runs on the spot [h].
    flow : float, str or Quantity
        Flow of the hose [L/min].
    area : float, str or Quantity
        Area of the spot [m2].

    Returns
    -------
    Event
        Amount [mm] and start of the water on that spot.

    Raises
    ------
    InputError
        If flow or area is not positive.

    Examples
    --------
    >>> event = hand_water("2025-07-01 13:00", "40 s", flow="15 gpm", area="50 ft2")
    >>> round(event.amount, 1)
    8.1
    >>> event.name
    'hand water at 56.8 L/min (15.0 US gal/min) on 4.6 m2 (50 ft2)'
    """
    hours = number_to_house(run_time, "duration", "run_time")
    litres = number_to_house(flow, "flow", "flow")
    metres = number_to_house(area, "area", "area")
    faults = Faults("hand_water")
    for label, value, unit in (("flow", litres, "L/min"), ("area", metres, "m2")):
        if value <= 0.0:
            faults.add(f"{label} is {value:g} {unit}", allowed="above 0")
    faults.raise_if_any()
    # 1 L on 1 m2 is 1 mm.
    rate = litres * _MINUTES_PER_HOUR / metres
    told = f"{in_people_units(litres, 'flow')} on {in_people_units(metres, 'area')}"
    return Event.from_run_time(time, hours, rate, name=f"hand water at {told}")


@mind_words()
def syringe(time: Date, amount: WaterAmount = 0.5, *, duration: TimeSpan = 1.0 / 60.0) -> Event:
    """Make a light wetting of the leaves in the heat of the day.

    It is not irrigation: with interception set on the turf most of it never reaches the soil.
    Trials found no lasting cooling without wilt, with an effect of 10-30 min (DiPaola 1984,
    Agron. J. 76:951, as reported). Watch the turf, not the schedule.

    Parameters
    ----------
    time : datetime64, str or Timestamp
        When it starts.
    amount : float, str or Quantity, optional
        Water [mm]; 0.5 mm is common practice, no source.
    duration : float, str or Quantity, optional
        How long it takes [h]; one minute when left out.

    Returns
    -------
    Event
        Called "syringe".

    Raises
    ------
    InputError
        If amount or duration is not positive.
    """
    return Event(time, amount, duration=duration, name="syringe")  # type: ignore[arg-type]


def irrigation_amounts(
    events: Iterable[Event], edges: NDArray[np.datetime64]
) -> NDArray[np.float64]:
    """Add up the water of events in each interval.

    Parameters
    ----------
    events : iterable of Event
        May overlap; overlapping water adds up.
    edges : array of datetime64, shape (n + 1,)
        Interval boundaries.

    Returns
    -------
    array of float, shape (n,)
        Irrigation in each interval [mm].

    Raises
    ------
    InputError
        Naming every event that is not wholly inside the edges.
    """
    applied = list(events)
    _check_inside(applied, edges)
    return _amounts(applied, edges)


def _amounts(applied: Sequence[Event], edges: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Add up the water of events that lie inside the edges."""
    hours = hours_between(edges[0], edges)
    total = np.zeros(len(edges) - 1)
    starts = hours_between(edges[0], np.array([e.time for e in applied], dtype="datetime64[ns]"))
    ends = hours_between(edges[0], np.array([e.end for e in applied], dtype="datetime64[ns]"))
    firsts = np.searchsorted(hours, starts, side="right") - 1
    lasts = np.searchsorted(hours, ends, side="left")
    for event, start, end, a, b in zip(applied, starts, ends, firsts, lasts, strict=True):
        overlap = np.minimum(hours[a + 1 : b + 1], end) - np.maximum(hours[a:b], start)
        total[a:b] += event.amount * np.maximum(overlap, 0.0) / (end - start)
    return total


def merge_intervals(
    weather: Weather, events: Iterable[Event]
) -> tuple[Weather, NDArray[np.float64]]:
    """Refine the intervals of the weather so that every event starts and stops on an edge.

    Parameters
    ----------
    weather : Weather
        Rain and demand.
    events : iterable of Event
        Water applied, wholly inside the weather.

    Returns
    -------
    weather : Weather
        The same weather on the finer intervals; half-sine demand is kept exactly.
    irrigation : array of float, shape (n,)
        Irrigation in each of those intervals [mm].

    Raises
    ------
    InputError
        Naming every event that is not wholly inside the weather.

    Examples
    --------
    >>> from soilwater.weather.made import steady_weather
    >>> sky = steady_weather(1, 5.0)
    >>> finer, irrigation = merge_intervals(sky, [Event("2025-07-01 04:00", 6, rate=18)])
    >>> irrigation
    array([0., 6., 0., 0., 0.])
    """
    applied = list(events)
    finer = refined(weather, applied)
    return finer, _amounts(applied, finer.edges)


def refined(weather: Weather, events: Sequence[Event]) -> Weather:
    """Refine the intervals of the weather alone, as `merge_intervals` does.

    Parameters
    ----------
    weather : Weather
        Rain and demand.
    events : sequence of Event
        Water applied, wholly inside the weather.

    Raises
    ------
    InputError
        As `merge_intervals`.
    """
    _check_inside(events, weather.edges)
    times = [instant for event in events for instant in (event.time, event.end)]
    return weather.refine(np.array(times, dtype="datetime64[ns]")) if times else weather


def too_soon_to_read(time: Any, events: Iterable[Event], *, root_zone: Any) -> str:
    """Say whether a moisture reading comes too soon after water to be compared.

    A sand root zone of 30 cm (12 in) is close to drained after 6 h and one of 46 cm (18 in) after
    12 h, in a straight line between and beyond (common practice, no source; let a simulated
    drainage of your own profile overrule it).

    Parameters
    ----------
    time : datetime64, str or Timestamp
        When the reading was taken.
    events : iterable of Event
        Water applied.
    root_zone : float, str or Quantity
        Depth of the root zone [cm].

    Returns
    -------
    str
        A sentence for the person, or nothing when the reading can be used.

    Examples
    --------
    >>> watering = [Event("2025-07-01 06:00", "6 mm", duration="20 min")]
    >>> too_soon_to_read("2025-07-01 06:40", watering, root_zone="12 in")
    'Not drained yet: read 0.3 h after 6 mm of water; use readings 6 h or more after it.'
    """
    depth = number_to_house(root_zone, "length", "root_zone")
    when = as_time(time, "time")
    wait = max(6.0 + (depth - 30.48) * 6.0 / 15.24, 1.0)
    for event in events:
        hours = float(hours_between(event.end, when))
        if event.time <= when and hours < wait:
            return (
                f"Not drained yet: read {max(hours, 0.0):.1f} h after {event.amount:g} mm of "
                f"water; use readings {wait:.0f} h or more after it."
            )
    return ""


def intercept(
    water: ArrayLike, demand: ArrayLike, capacity: Any, *, stored: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Let canopy and mat catch water before it reaches the soil, and lose it at the demand.

    A bucket, solved exactly for even water and demand within each interval: it fills, lets the
    surplus through once full, and evaporates at the demand while it holds water.

    Parameters
    ----------
    water : array_like, shape (n,)
        Rain and irrigation in each interval [mm].
    demand : array_like, shape (n,)
        Demand of turf and surface together in each interval [mm].
    capacity : float, str or Quantity
        What canopy and mat can hold [mm].
    stored : float, optional
        Water held at the start [mm].

    Returns
    -------
    through : array of float, shape (n,)
        Water that reaches the soil [mm].
    evaporated : array of float, shape (n,)
        Demand met from the bucket [mm]; the rest of the demand is left to the roots.
    stored : float
        Water held at the end [mm].

    Raises
    ------
    InputError
        If the capacity is negative or more is stored than it holds.

    Examples
    --------
    >>> through, evaporated, stored = intercept([2.0, 0.0], [0.0, 0.5], "1 mm")
    >>> through, evaporated, stored
    (array([1., 0.]), array([0. , 0.5]), 0.5)
    """
    most = number_to_house(capacity, "water_amount", "capacity")
    faults = Faults("intercept")
    if most < 0.0:
        faults.add(f"capacity is {most:g} mm", allowed="0 or more")
    elif not 0.0 <= stored <= most:
        faults.add(f"stored is {stored:g} mm", allowed=f"0 to the capacity of {most:g} mm")
    faults.raise_if_any()
    arriving = np.asarray(water, dtype=np.float64)
    asked = np.asarray(demand, dtype=np.float64)
    through = np.empty_like(arriving)
    evaporated = np.empty_like(arriving)
    for i, (gain, loss) in enumerate(zip(arriving.tolist(), asked.tolist(), strict=True)):
        held = stored + gain - loss
        through[i] = max(held - most, 0.0)
        remaining = min(max(held, 0.0), most)
        evaporated[i] = stored + gain - through[i] - remaining
        stored = remaining
    return through, evaporated, float(stored)


def _check_inside(events: Sequence[Event], edges: NDArray[np.datetime64]) -> None:
    faults = Faults("Irrigation events")
    first, last = np.datetime64(edges[0]), np.datetime64(edges[-1])
    for event in events:
        if event.time < first or event.end > last:
            faults.add(
                f"{event.amount:g} mm from {stamp(event.time)} to {stamp(event.end)} is not inside "
                f"the weather",
                allowed=f"{stamp(first)} to {stamp(last)}",
            )
    faults.raise_if_any(InputError)
