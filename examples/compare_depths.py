"""How deep should the root zone of one sand be over gravel? From a lab sheet to the dry-down.

Run with ``python examples/compare_depths.py``: it prints a table and writes a picture into the
current folder. The ground, its lab sheet and its weather station are invented.

The question: Harrowmere rebuilds its 6th green. The lab has measured the sand. Which of four depths
keeps the surface firm without sending the crew out with hoses every day?
"""

from __future__ import annotations

from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import xarray as xr

import soilwater as sw
from soilwater.text_tables import echo_table

DATA = Path(__file__).parent / "data"
PICTURE = "compare_depths.png"

DEPTHS = ("10 in", "12 in", "15 in", "18 in")
ROD = "3 in"
# Lines this crew has found on its own greens, with its own meter. They are not yours.
BANDS = {"firm": (0.14, 0.18), "watch": (0.10, 0.14), "wilt": (0.0, 0.10)}
FIRM, WILT = BANDS["firm"][1], BANDS["wilt"][1]

SOAKED = pd.Timestamp("2025-07-02 18:00")
MORNING = pd.Timestamp("2025-07-03 06:00")
DRAINED = pd.Timestamp("2025-07-04 18:00")
DRY = pd.Timestamp("2025-07-18 18:00")
SAMPLES = 50

CAUTION = """
The readings are those of level ground; a real meter adds 2-3 % of its own. Where the gravel slopes,
the crest is drier than its depth says. Depths are advice, not a design: drainage, outlets and edges
belong to local code and licensed practice."""


def main() -> None:
    lab = sw.read_retention(DATA / "harrowmere_lab_sheet.csv")
    sand = lab.fit(sw.VanGenuchten)
    print(f"{lab}\n\n{sand}\n")

    site = sw.Site(44.0, 140.0, -121.0, -8.0, "Sallow Heath")
    station = sw.read_weather(
        DATA / "sallow_heath_station.csv", label="end", site=site, reference_et="asce"
    )
    drains, dries = simulate(sand, station)

    days = station.between(DRAINED, DRY)
    print(
        f"Soaked on the evening of {SOAKED:%d %B}, two days to drain, then {(DRY - DRAINED).days} "
        f"days at {days.reference_et.sum() / (DRY - DRAINED).days:.1f} mm of reference "
        f"evapotranspiration without rain.\nReadings with {ROD} rods; firm line {FIRM:.0%}, wilt "
        f"line {WILT:.0%}; in brackets what four in five of the curves give that the lab points "
        "allow.\n"
    )
    print(table(drains, dries))
    path = Path(PICTURE).resolve()
    picture(drains, dries).savefig(path)
    print(f"\nPicture: {path}")
    print(CAUTION)


def simulate(sand: sw.FitResult, station: sw.Weather) -> tuple[xr.Dataset, xr.Dataset]:
    """Run every depth with the best curve (sample 0) and with others the lab points allow."""
    soils = (sand.soil, *sand.samples(SAMPLES))
    profiles = [sw.Profile.over_gravel(soil, depth) for depth in DEPTHS for soil in soils]
    # The grass drinks nothing on the first two days, so that each depth starts from its own rest.
    wet = station.between(SOAKED, DRAINED)
    drains = sw.simulate_many([sw.Case(profile, wet) for profile in profiles])
    dry, turf = station.between(DRAINED, DRY), sw.Turf.creeping_bentgrass()
    dries = sw.simulate_many(
        [
            sw.Case(profile, dry, turf=turf, start=drains.isel(case=i))
            for i, profile in enumerate(profiles)
        ]
    )
    thicknesses = [profile.depth for profile in profiles[:: len(soils)]]
    index = pd.MultiIndex.from_product(
        [thicknesses, range(len(soils))], names=["root_zone_depth", "sample"]
    )
    both = xr.Coordinates.from_pandas_multiindex(index, "case")
    return tuple(runs.assign_coords(both).unstack("case") for runs in (drains, dries))


def table(drains: xr.Dataset, dries: xr.Dataset) -> str:
    """What each depth does, one row each."""
    morning = 100.0 * sw.meter_reading(drains.sel(time=[MORNING]), ROD).squeeze("time")
    to_firm, to_wilt = (sw.days_until(dries, line, ROD) for line in (FIRM, WILT))
    end, start = dries.isel(time=-1, sample=0), drains.isel(time=-1, sample=0)
    rows = [
        (
            f"{depth / 2.54:.0f}",
            f"{depth:.1f}",
            with_range(morning.sel(root_zone_depth=depth)),
            with_range(to_firm.sel(root_zone_depth=depth)),
            with_range(to_wilt.sel(root_zone_depth=depth)),
            f"{float(start.drainage[i] + end.drainage[i]):.1f}",
            f"{float(end.transpiration[i]):.1f}",
            f"{abs(float(start.closure_error[i])) + abs(float(end.closure_error[i])):.0e}",
        )
        for i, depth in enumerate(dries.root_zone_depth.values)
    ]
    header = (
        "depth (in)",
        "(cm)",
        "next morning (%)",
        "days to firm",
        "days to wilt",
        "drained (mm)",
        "drunk (mm)",
        "closure (mm)",
    )
    return echo_table(rows, header)


def with_range(values: xr.DataArray) -> str:
    """Value of the best curve, and the range of four in five of the others."""
    best, others = float(values.isel(sample=0)), values.isel(sample=slice(1, None))
    low, high = np.quantile(others, [0.1, 0.9], method="inverted_cdf")
    if best == 0.0:
        return "below it"
    if np.isinf(best):
        return "over 14"
    return f"{best:.1f} ({low:.1f} to {high:.1f})".replace("inf", "over 14")


def picture(drains: xr.Dataset, dries: xr.Dataset) -> plt.Figure:
    """Profiles after drainage above, dry-down below."""
    with sw.plot.look():
        figure = plt.figure(figsize=(11.0, 9.6))
        above, below = figure.subfigures(2, 1, height_ratios=(1.05, 1.0))
        pits = above.subplots(1, len(DEPTHS), sharey=True)
        for i, (ax, depth) in enumerate(zip(pits, DEPTHS, strict=True)):
            sw.plot.profile(drains.isel(root_zone_depth=i, sample=0), rod=ROD, ax=ax)
            ax.set_title(f"{depth} of sand")
            ax.label_outer()
        deepest = float(drains.root_zone_depth.max())
        pits[0].set_ylim(deepest + 3.0, pits[0].get_ylim()[1])
        above.suptitle("The same sand two days after a soaking", fontweight="bold")
        ax = sw.plot.dry_down(dries, ROD, bands=BANDS, ax=below.subplots())
        ax.set_title("Then two weeks without water (bands: what the lab points leave open)")
        ax.set_xlabel("days after draining")
    return figure


if __name__ == "__main__":
    main()
