"""Every usable lab sheet of the examples, fitted from ten different starts."""

from pathlib import Path

import pytest

from soilwater import VanGenuchten, read_retention
from soilwater.lab.posterior import STARTS

DATA = Path(__file__).parents[2] / "examples" / "data"
SHEETS = {
    "Harrowmere": lambda: read_retention(DATA / "harrowmere_lab_sheet.csv"),
    "Weatherfold": lambda: read_retention(DATA / "weatherfold_lab_sheet.csv", k_sat="12 in/h"),
    # As the examples mend it after a call to the lab.
    "Ellermarsh": lambda: read_retention(
        {"suction (kPa)": [1, 2, 3, 4], "water content (% by volume)": [37, 29, 18.8, 14]},
        bulk_density="1.55 g/cm3",
        porosity="41.5 %",
        k_sat="14 in/h",
    ),
}


@pytest.mark.parametrize("name", SHEETS)
def test_ten_starts_lead_to_the_same_curve(name):
    fit = SHEETS[name]().fit(VanGenuchten)
    assert STARTS == 10
    assert fit.starts_agreeing == STARTS
    assert not fit.at_bound
