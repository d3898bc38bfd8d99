"""What is drawn: a run, depths side by side, a fit and a survey."""

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import pytest
from pictured import GREEN, ROD, TURF, WEATHER

import soilwater as sw
from soilwater.survey.survey import Reading, Spot, Survey


@pytest.fixture(autouse=True)
def close_figures():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def run():
    evening = sw.Event("2025-07-02 18:00", "30 mm", rate="10 mm/h")
    return sw.simulate(GREEN, WEATHER, turf=TURF, start="drained", irrigation=[evening])


@pytest.fixture(scope="module")
def depths():
    return sw.compare_depths(GREEN, ["10 in", "12 in", "40 cm"], WEATHER, turf=TURF)


@pytest.fixture(scope="module")
def fit():
    lab = sw.RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat="14 in/h")
    return lab.fit(sw.VanGenuchten)


@pytest.fixture
def survey():
    spots = [
        Spot(
            f"{row}{column}",
            30.0 + 4.0 * i + j,
            x=3.0 * j,
            y=-3.0 * i,
            readings=(Reading(0.26 - 0.02 * i - 0.01 * j, rod=ROD),),
        )
        for i, row in enumerate("AB")
        for j, column in enumerate("123")
    ]
    return Survey(tuple(spots), name="Fellgate 3 (invented)")
