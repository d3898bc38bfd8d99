"""How deep should the root zone of one sand be over gravel? From a lab sheet to the dry-down.

Run with ``python examples/compare_depths.py``: it prints a table and writes a picture into the
current folder. The ground, its lab sheet and its weather station are invented.

The question: Harrowmere rebuilds its 6th green. The lab has measured the sand. Which of four depths
keeps the surface firm without sending the crew out with hoses every day?
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import xarray as xr

import soilwater as sw
from soilwater.words.text_tables import echo_table

DATA = Path(__file__).parent / "data"
PICTURE = "compare_depths.png"

DEPTHS = ("10 in", "12 in", "15 in", "18 in")
ROD = "3 in"
# Lines this crew has found on its own greens, with its own meter. They are not yours.
BANDS = {"firm": (0.14, 0.18), "watch": (0.10, 0.14), "wilt": (0.0, 0.10)}
FIRM, WILT = BANDS["firm"][1], BANDS["wilt"][1]

SOAKED = pd.Timestamp("2025-07-02 18:00")
MORNING = pd.Timestamp("2025-07-03 06:00")
UNCOVERED = pd.Timestamp("2025-07-04 18:00")
END = pd.Timestamp("2025-07-18 18:00")
SAMPLES = 50

CAUTION = """
The readings are those of level ground; a real meter adds 2-3 % of its own. Where the gravel slopes,
the crest is drier than its depth says. Depths are advice, not a design: drainage, outlets and edges
belong to local code and licensed practice."""


def main() -> None:
    lab = sw.read_retention(DATA / "harrowmere_lab_sheet.csv")
    sand = lab.fit(sw.VanGenuchten)
    print(f"{lab}\n\n{sand}\n")

    site = sw.Site(latitude=44.0, elevation=140.0, longitude=-121.0, utc_offset=-8.0)
    station = sw.read_weather(
        DATA / "sallow_heath_station.csv", label="end", site=site, reference_et="asce"
    )
    # Under the cover nothing is asked of the grass, so that each depth drains to its own rest.
    covered = station.edges[:-1] < UNCOVERED
    station = replace(station, reference_et=np.where(covered, 0.0, station.reference_et))
    weather = station.between(SOAKED, END)

    run = sw.compare_depths(
        sw.Profile.over_gravel(sand.soil, DEPTHS[0]),
        DEPTHS,
        weather,
        sand=[sand.soil, *sand.samples(SAMPLES)],
        turf=sw.Turf.creeping_bentgrass(),
    )
    days = (END - UNCOVERED).days
    print(
        f"Soaked on the evening of {SOAKED:%d %B}, drained for two days under a cover, then {days} "
        f"days\nat {weather.reference_et.sum() / days:.1f} mm of reference evapotranspiration a "
        f"day, without rain. {ROD} rods.\nFirm line {FIRM:.0%}, wilt line {WILT:.0%}. Days, here "
        f"and in the lower picture, are counted from {UNCOVERED:%d %B},\nwhen the cover came off. "
        "In brackets: four in five of the curves that the lab points allow.\n"
    )
    print(table(run))
    print(f"\n{finding(run)}")
    path = Path(PICTURE).resolve()
    picture(run).savefig(path)
    print(f"\nPicture: {path}\n{CAUTION}")


def table(run: xr.Dataset) -> str:
    """What each depth does, one row each."""
    moments = (MORNING, UNCOVERED)
    morning, uncovered = (
        100.0 * sw.meter_reading(run.sel(time=[when]), rod=ROD).squeeze("time") for when in moments
    )
    to_firm, to_wilt = (sw.days_until(run, line, rod=ROD, since=UNCOVERED) for line in (FIRM, WILT))
    rows = []
    for depth in run.root_zone_depth.values:
        at_end = run.sel(root_zone_depth=depth).isel(time=-1)
        best = at_end.isel(sample=0)
        rows.append(
            (
                f"{depth / 2.54:.0f}",
                f"{depth:.1f}",
                with_range(morning.sel(root_zone_depth=depth)),
                with_range(uncovered.sel(root_zone_depth=depth)),
                with_range(to_firm.sel(root_zone_depth=depth)),
                with_range(to_wilt.sel(root_zone_depth=depth)),
                f"{float(best.drainage):.1f}",
                f"{float(best.transpiration):.1f}",
                f"{float(abs(at_end.closure_error).max()):.0e}",
            )
        )
    header = (
        "depth (in)",
        "(cm)",
        *(f"reads {when:%d %B %H:%M} (%)" for when in moments),
        "days to firm",
        "days to wilt",
        "drained (mm)",
        "transpired (mm)",
        "closure (mm)",
    )
    return echo_table(rows, header)


def finding(run: xr.Dataset) -> str:
    """Which depth stays longest between the firm and the wilt line, and how sure that is."""
    to_firm, to_wilt = (sw.days_until(run, line, rod=ROD, since=UNCOVERED) for line in (FIRM, WILT))
    span = to_wilt.clip(max=(END - UNCOVERED).days) - to_firm
    best = int(span.isel(sample=0).argmax("root_zone_depth"))
    agree = int((span.isel(sample=slice(1, None)).argmax("root_zone_depth") == best).sum())
    return (
        f"Longest between firm and wilt: {DEPTHS[best]}, {float(span[best, 0]):.1f} days. "
        f"{agree} of {SAMPLES} other curves that the lab points\nallow say the same."
    )


def with_range(values: xr.DataArray) -> str:
    """Value of the best curve, and the range of four in five of the others."""
    best, others = float(values.isel(sample=0)), values.isel(sample=slice(1, None))
    low, high = np.quantile(others, [0.1, 0.9], method="inverted_cdf")
    if best == 0.0:
        return "below it"
    if np.isinf(best):
        return "over 14"
    return f"{best:.1f} ({low:.1f} to {high:.1f})".replace("inf", "over 14")


def picture(run: xr.Dataset) -> plt.Figure:
    """Profiles after drainage above, dry-down below."""
    with sw.plot.look():
        figure = plt.figure(figsize=(11.0, 9.6))
        above, below = figure.subfigures(2, 1, height_ratios=(1.05, 1.0))
        pits = above.subplots(1, len(DEPTHS), sharey=True)
        for i, (ax, depth) in enumerate(zip(pits, DEPTHS, strict=True)):
            column = run.isel(root_zone_depth=i, sample=0)
            sw.plot.profile(column, at=UNCOVERED, rod=ROD, ax=ax)
            ax.set_title(f"{depth} of sand")
            ax.label_outer()
        deepest = float(run.root_zone_depth.max())
        pits[0].set_ylim(deepest + 3.0, pits[0].get_ylim()[1])
        above.suptitle("The same sand two days after a soaking", fontweight="bold")
        ax = sw.plot.dry_down(run, rod=ROD, thresholds=BANDS, since=UNCOVERED, ax=below.subplots())
        ax.set_title("Then two weeks without water (bands: what the lab points leave open)")
    return figure


if __name__ == "__main__":
    main()
