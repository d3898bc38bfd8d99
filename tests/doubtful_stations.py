"""Tables of stations that must not be read in silence, and what pasting the cures makes of them."""

import pandas as pd
import pytest

import soilwater as sw
from tests.climates import PLACES, days_at, hours_at
from tests.cures import cures_in


def asked(table, **options):
    """What is said of a table, which must not be read in silence."""
    with pytest.raises(sw.InputError) as caught:
        sw.read_station(table, **options)
    return str(caught.value)


def cured(table, cure=0, **options):
    """The record that comes of pasting what the error says, until nothing more is said."""
    told = cures_in(asked(table, **options))
    assert told
    for each in told:  # none of them may be refused as an argument or lead nowhere
        sw.read_station(table, **(options | each))
    return sw.read_station(table, **(options | told[cure]))


def of(place, daily, seed=1):
    options = {"site": PLACES[place].site}
    if daily:
        return days_at(PLACES[place], seed=seed), options
    return hours_at(PLACES[place], seed=seed), options | {"label": "end"}


def fahrenheit(column):
    return (column * 1.8 + 32.0).round(1)


def relabelled(table, header, unit, change=None):
    """The table with another unit in a header, and its numbers changed."""
    numbers = table[header] if change is None else change(table[header])
    name = f"{header.split(' (')[0]} ({unit})"
    return table.assign(**{header: numbers}).rename(columns={header: name})


def hourly_rain(amounts, start="2026-07-01 01:00"):
    times = pd.date_range(start, periods=len(amounts), freq="1h")
    return pd.DataFrame({"Time": times, "Rain (mm)": amounts, "ETo (mm)": 0.15})
