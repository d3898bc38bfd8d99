"""What published recommendations ask of sand, gravel and water, by edition, with their sources."""

from __future__ import annotations

from typing import NamedTuple

READ = "read in a summary"


MEMORY = "from memory"


class Recommendation(NamedTuple):
    """Limits of one edition; per cent by volume or mass, in/h, diameter ratios."""

    title: str
    test_suction: float
    suction_flag: str
    total: tuple[float, float]
    air_filled: tuple[float, float]
    capillary: tuple[float, float]
    k_sat: tuple[float, float | None]
    flag: str
    grading: bool
    bridging: float | None = None
    permeability: float | None = None
    uniformity: float | None = None


EDITIONS = {
    "USGA 2004": Recommendation(
        title="USGA recommendations for a putting green, 2004 and later revisions",
        test_suction=30.0,
        suction_flag=MEMORY,
        total=(35.0, 55.0),
        air_filled=(15.0, 30.0),
        capillary=(15.0, 25.0),
        k_sat=(6.0, None),
        flag=READ,
        grading=True,
        bridging=8.0,
        permeability=5.0,
        uniformity=3.0,
    ),
    "USGA 1993": Recommendation(
        title="USGA recommendations for a putting green, 1993",
        test_suction=30.0,
        suction_flag=MEMORY,
        total=(35.0, 55.0),
        air_filled=(15.0, 30.0),
        capillary=(15.0, 25.0),
        k_sat=(6.0, None),
        flag=READ,
        grading=True,
        bridging=5.0,
        permeability=5.0,
        uniformity=2.5,
    ),
    "California": Recommendation(
        title="California method, sand without gravel over drain trenches",
        test_suction=40.0,
        suction_flag=MEMORY,
        total=(35.0, 55.0),
        air_filled=(15.0, 30.0),
        capillary=(10.0, 20.0),
        k_sat=(15.0, 50.0),
        flag=MEMORY,
        grading=False,
    ),
}
"""Recommendations by name and edition, each limit marked as read in a summary or from memory."""


SUCTION_TOLERANCE = 1.0
"""A point this close [cm] to the test suction counts as measured there (3 kPa is 30.6 cm)."""


class SieveFraction(NamedTuple):
    """A limit on the share of the mass between two sizes [mm]."""

    what: str
    finer: float
    coarser: float
    limits: tuple[float | None, float | None]


ANY_SIZE = 1000.0


SAND_FRACTIONS = (
    SieveFraction("gravel, above 2 mm", 2.0, ANY_SIZE, (None, 3.0)),
    SieveFraction("gravel and very coarse sand, above 1 mm", 1.0, ANY_SIZE, (None, 10.0)),
    SieveFraction("coarse and medium sand, 0.25-1 mm", 0.25, 1.0, (60.0, None)),
    SieveFraction("fine sand, 0.15-0.25 mm", 0.15, 0.25, (None, 20.0)),
    SieveFraction("very fine sand, 0.05-0.15 mm", 0.05, 0.15, (None, 5.0)),
    SieveFraction("silt, 0.002-0.05 mm", 0.002, 0.05, (None, 5.0)),
    SieveFraction("clay, below 0.002 mm", 0.0, 0.002, (None, 3.0)),
    SieveFraction("very fine sand, silt and clay, below 0.15 mm", 0.0, 0.15, (None, 10.0)),
)


GRAVEL_ALONE = (
    SieveFraction("gravel above 12 mm", 12.0, ANY_SIZE, (None, 0.0)),
    SieveFraction("gravel below 2 mm", 0.0, 2.0, (None, 10.0)),
    SieveFraction("gravel below 1 mm", 0.0, 1.0, (None, 5.0)),
)


GRAVEL_UNDER_LAYER = (
    SieveFraction("gravel above 12.7 mm", 12.7, ANY_SIZE, (None, 10.0)),
    SieveFraction("gravel 6.4-9.5 mm", 6.4, 9.5, (65.0, None)),
    SieveFraction("gravel below 2 mm", 0.0, 2.0, (None, 10.0)),
)


INTERMEDIATE_LAYER = (SieveFraction("intermediate layer 1-4 mm", 1.0, 4.0, (90.0, None)),)
