"""What does a committee need to know about its dry green? One page, from the morning's survey.

Run with ``python examples/committee_report.py``: it writes a page into the current folder, to be
opened in any browser and printed on one sheet. The ground, its sand and its weather are invented.

The question: the 4th green of Wrenfold Common browns in two places every July. The crew has probed
and read twelve spots the morning after a soaking. Which are dry because they are deep, which for
another reason, what will the coming dry week do, and what should the crew do about it?
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import soilwater as sw
from soilwater import Reading, Spot, Survey, Thresholds, diagnose, dry_down_outlook, hand_water_plan
from soilwater.report import report

PAGE = "committee_report.html"
# Equally likely combinations of sand, weather and base: for the days, and for the plan.
DRAWS, PLAN_DRAWS = 100, 24

ROD = "3 in"
# Lines this crew has found on its own greens, with its own meter. They are not yours.
THRESHOLDS = Thresholds("18 %", "14 %", "12 %")

# The lab's drying points of the root-zone sand: suction [cm], water content by volume.
LAB = sw.RetentionTable(
    [5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 100.0],
    [0.415, 0.404, 0.325, 0.238, 0.178, 0.121, 0.081],
    k_sat="11 in/h",
    porosity=0.42,
    sample="Wrenfold root-zone mix",
)

# Row and column on a 4 m grid from the back left, depth [in], two readings [% by volume].
FOUND = """
A1  12    25.0 24.1
A2  12.5  23.2 25.4
A3  12    24.6 23.0
A4  13    22.1 24.4
B1  12    26.3 24.0
B2  12.5  10.4  8.9
B3  14    21.0 19.2
B4  13    23.5 22.0
C1  12    25.5 23.1
C2  14    21.8 20.4
C3  16    17.3 18.8
C4  18    14.6 15.9
"""
SLOPES = {"C3": "2 %", "C4": "2 %"}


def main() -> None:
    green = survey()
    sand = LAB.fit(sw.VanGenuchten)
    turf = sw.Turf.creeping_bentgrass()
    # Three forecasts of the same dry week, taken as equally likely.
    forecasts = [sw.steady_weather(8, et, first_day="2026-07-08") for et in (4.6, 5.2, 5.9)]
    page = report(
        green,
        diagnose(green, sand),
        dry_down_outlook(green, sand, forecasts, turf, THRESHOLDS, draws=DRAWS),
        hand_water_plan(
            green, sand, forecasts, turf, THRESHOLDS.wilt, flow="12 gpm", draws=PLAN_DRAWS
        ),
        remarks=(
            "Asked of the committee: a second pair of hands with the hose from the third dry day.",
            "Not asked yet: cutting C4 back to 13 in. One more probing should come first.",
        ),
        prepared_by="the greenkeeper",
        path=PAGE,
    )
    print(f"{len(page) / 1000:.0f} kB, to be printed on one sheet: {Path(PAGE).resolve()}")


def survey() -> Survey:
    """The twelve spots as the crew wrote them down."""
    spots = []
    for line in FOUND.split("\n")[1:-1]:
        name, depth, *values = line.split()
        spots.append(
            Spot(
                name,
                f"{depth} in",
                x=4.0 * (int(name[1]) - 1),
                y=4.0 * ("CBA".index(name[0])),
                readings=tuple(
                    Reading(f"{value} %", rod=ROD, time=np.datetime64("2026-07-08T06:30"))
                    for value in values
                ),
                slope=SLOPES.get(name),
                area=16.0,
            )
        )
    return Survey(spots, name="Wrenfold Common, 4th green")


if __name__ == "__main__":
    main()
