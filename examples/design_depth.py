"""From a clipboard to depths: read a probe survey, say what is normal, and design the next green.

Run with ``python examples/design_depth.py``. The ground and its sand are invented.
"""

from __future__ import annotations

from pathlib import Path

from soilwater import (
    InputError,
    Profile,
    RetentionTable,
    VanGenuchten,
    air_after_rain,
    compare_sands,
    depth_over_contour,
    depth_window,
    expected_reading,
    flush_water,
    read_survey,
    slope_equivalent,
)

DATA = Path(__file__).parent / "data"


def show(title: str) -> None:
    print(f"\n--- {title} ---")


def main() -> None:
    sheet = DATA / "teasel_moor_probe_survey.csv"
    show("Teasel Moor, green 6: the clipboard")
    try:
        read_survey(sheet)
    except InputError as error:
        print(error)
    survey = read_survey(sheet, green="6")
    print(survey)

    show("What each spot should read by its own depth, the morning after a soaking")
    lab = RetentionTable(
        [10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], porosity="42 %", k_sat="11 in/h"
    )
    mix = lab.fit(VanGenuchten)
    drained = expected_reading(survey, mix, slope_length="9 m")
    table = drained.to_dataframe()
    columns = ["expected_reading", "expected_reading_lower", "expected_reading_upper", "reading"]
    print((100 * table[columns]).round(0))
    print(drained.attrs["cautions"])

    show("How deep the next green should be, with this mix")
    window = depth_window(mix, "greens", rod="3 in", air_filled="minimum")
    print(window)

    show("... and with a straight sand instead")
    straight = VanGenuchten(0.025, 0.37, 0.041, 4.5, "60 cm/h")
    print(
        compare_sands(
            {"mix": mix, "straight sand": straight}, "greens", rod="3 in", air_filled="minimum"
        )
    )

    show("Its depth over the contour")
    shoulder = slope_equivalent(mix.soil, "4 %", "9 m", depth=window.best)
    print(shoulder)
    print(depth_over_contour(window, {"flat": 0.0, "bank": "6 cm", "back shoulder": shoulder}))

    show("The wet side: when the air is back after a soaking rain, and what a flush takes")
    green = Profile.over_gravel(mix.soil, "12 in")
    depths = ["7 in", "9 in", "12 in", "15 in"]
    wet = air_after_rain(green, depths, air_filled="minimum", root_layer="3 in")
    print(wet.to_dataframe().round(2))
    print(flush_water(green, pore_volumes=1.0, uniformity="75 %"))


if __name__ == "__main__":
    main()
