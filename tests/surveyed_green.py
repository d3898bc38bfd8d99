"""An invented green of 25 spots with levels and depths."""

import numpy as np

import soilwater as sw

ORIGIN = (51.5, -0.12)
SQUARE = [(0, 0), (20, 0), (20, 20), (0, 20)]
NAMES = [f"{letter}{number}" for letter in "ABCDE" for number in range(1, 6)]


def level_at(x, y):
    return 12.0 * np.exp(-((x - 8.0) ** 2 + (y - 9.0) ** 2) / 30.0) - 1.5 * x


def depth_at(x, y):
    return 32.0 + 3.0 * np.sin(x / 5.0) + 0.1 * y


def spots(**changed):
    """A grid of 25 spots 4.5 m apart over an invented green; some changed by name."""
    made = []
    for i, name in enumerate(NAMES):
        x, y = 1.0 + 4.5 * (i // 5), 1.0 + 4.5 * (i % 5)
        given = {"depth": depth_at(x, y), "x": x, "y": y, "surface_level": level_at(x, y)}
        made.append(sw.Spot(name, **{**given, **changed.get(name, {})}))
    return made


def green(**changed):
    return sw.Survey(spots(**changed), name="Invented 4")
