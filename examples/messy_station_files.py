"""What station files get wrong, what a person reads about it, and how a gap is filled in the open.

Run with ``python examples/messy_station_files.py``. The files are invented.
"""

from pathlib import Path
from tempfile import TemporaryDirectory

import soilwater.weather.station.files as station
from soilwater import InputError

CASES = {
    "Dates that can be read two ways": (
        "Date,Rain (mm),ETo (mm)\n06/07/2025,0,5.1\n07/07/2025,0,4.9\n08/07/2025,2.4,3.0\n",
        {},
    ),
    "Rain without a unit": (
        "Date,Rain,ETo (mm)\n2025-07-06,0,5.1\n2025-07-07,0.4,4.9\n",
        {},
    ),
    "Evapotranspiration in inches under a header that says millimetres": (
        "Date,Rain (mm),ETo (mm)\n2025-07-06,0,0.20\n2025-07-07,0,0.19\n",
        {},
    ),
    "Wind and radiation swapped": (
        "Time,Temp,RH,Wind,Solar,Rain\n,degC,%,m/s,W/m2,mm\n"
        "2025-07-06 11:00,24,50,640,2.1,0\n2025-07-06 12:00,25,47,655,1.9,0\n",
        {"label": "end"},
    ),
    "A counter that only climbs": (
        "Date,Rain (mm),ETo (mm)\n"
        + "".join(f"2025-07-{d:02d},{2 * (d - 5)},4.8\n" for d in range(6, 15)),
        {},
    ),
    "Clocks that were set": (
        "Time,Rain (mm),ETo (mm)\n"
        + "".join(f"2025-03-30 {h:02d}:00,0,0.1\n" for h in (0, 2, 3, 4, 5)),
        {"label": "start"},
    ),
}

GAPPY = (
    "Time,Rain (mm),ETo (mm)\n"
    "2025-07-06 10:00,0,0.41\n2025-07-06 11:00,0,-999\n2025-07-06 12:00,0,\n"
    "2025-07-06 13:00,0,0.62\n2025-07-06 14:00,0,0.60\n"
)


def main():
    with TemporaryDirectory() as folder:
        path = Path(folder) / "station.csv"
        for title, (text, options) in CASES.items():
            path.write_text(text, encoding="utf-8")
            print(title)
            try:
                station.read_weather(path, **options)
            except InputError as error:
                print(f"  {error}\n")
        path.write_text(GAPPY, encoding="utf-8")
        record = station.read_station(path, label="end", name="two hours lost")
        print(record, "\n")
        print(record.fill_gaps("interpolate", limit="3 h").to_weather())


if __name__ == "__main__":
    main()
