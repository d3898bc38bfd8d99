"""Texts of station files, and what is said of one that cannot be read."""

from __future__ import annotations

import pandas as pd
import pytest

from soilwater.weather.station.files import read_station
from soilwater.words.errors import InputError

DAILY = """Date,Rain (mm),ETo (mm)
2026-07-01,0.0,5.1
2026-07-02,3.2,2.4
2026-07-03,0.0,4.8
2026-07-04,0.0,5.3
"""


def hourly(rows, start="2026-07-01 01:00", header="Time,Rain (mm),ETo (mm)", step="1h"):
    """A file of hourly rows, rain and ETo given per row."""
    times = pd.date_range(start, periods=len(rows), freq=step)
    lines = [f"{t:%Y-%m-%d %H:%M},{rain},{et}" for t, (rain, et) in zip(times, rows, strict=True)]
    return "\n".join([header, *lines]) + "\n"


def said(source, **options):
    with pytest.raises(InputError) as caught:
        read_station(source, **options)
    return str(caught.value)
