"""What the reader says to three lab sheets that went wrong, and how each is put right.

Run with ``python examples/messy_lab_sheets.py``. The grounds are invented.
"""

from __future__ import annotations

from pathlib import Path

from soilwater import InputError, VanGenuchten, read_retention

DATA = Path(__file__).parent / "data"


def show(title: str) -> None:
    print(f"\n--- {title} ---")


def main() -> None:
    show("Ellermarsh: no units, fractions beside per cent, a conductivity without a unit")
    try:
        read_retention(DATA / "ellermarsh_lab_sheet.csv")
    except InputError as error:
        print(error)
    # The lab was asked: kPa, fractions by volume (18.8 meant 0.188), 14 in/h, porosity 41.5 %.
    ellermarsh = read_retention(
        {"suction (kPa)": [1, 2, 3, 4], "water content (% by volume)": [37, 29, 18.8, 14]},
        bulk_density="1.55 g/cm3",
        porosity="41.5 %",
        k_sat="14 in/h",
    )
    print("\nAfter a call to the lab:")
    print(ellermarsh)

    show("Weatherfold: two cores, kPa, water by mass, decimal commas, units inside cells")
    weatherfold = read_retention(DATA / "weatherfold_lab_sheet.csv", k_sat="12 in/h")
    print(weatherfold)
    print()
    print(weatherfold.fit(VanGenuchten))

    show("Dunlow: swapped rows, more water than pores, a word for a number, sieves short of 100 %")
    try:
        read_retention(DATA / "dunlow_lab_sheet.csv")
    except InputError as error:
        print(error)


if __name__ == "__main__":
    main()
