"""Pictures: what is drawn, where, and how it is labelled; never what the pixels are."""

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from pictured import BANDS, GREEN, ROD, SAND, TURF, WEATHER

import soilwater as sw
from soilwater.plot import style

# --- what holds for all of them -------------------------------------------------------------------


def every_picture(run, depths, fit, survey):
    later = sw.simulate(GREEN.with_thickness(40.0), WEATHER, turf=TURF)
    return {
        "retention": lambda ax: sw.plot.retention(fit, base_suction=3.0, ax=ax),
        "profile": lambda ax: sw.plot.profile(run, rod=ROD, ax=ax),
        "suction_profile": lambda ax: sw.plot.suction_profile(run, ax=ax),
        "dry_down": lambda ax: sw.plot.dry_down(depths, rod=ROD, thresholds=BANDS, ax=ax),
        "before_after": lambda ax: sw.plot.before_after(
            run, later, rod=ROD, thresholds=BANDS, ax=ax
        ),
        "depth_curve": lambda ax: sw.plot.depth_curve(SAND, rod=ROD, survey=survey, ax=ax),
        "water_balance": lambda ax: sw.plot.water_balance(run, ax=ax),
        "depth_time": lambda ax: sw.plot.depth_time(run, ax=ax),
        "survey_map": lambda ax: sw.plot.survey_map(survey, ax=ax),
    }


UNITS = {
    "retention": ("% by volume", "cm of water"),
    "profile": ("% by volume", "(cm)"),
    "suction_profile": ("cm of water", "(cm)"),
    "dry_down": ("days", "% by volume"),
    "before_after": ("days", "% by volume"),
    "depth_curve": ("(cm)", "% by volume"),
    "water_balance": ("day", "mm"),
    "depth_time": ("date", "(cm)"),
    "survey_map": ("(m)", "(m)"),
}


@pytest.mark.parametrize("name", UNITS)
def test_a_picture_draws_where_it_is_told_and_says_its_units(name, run, depths, fit, survey):
    draw = every_picture(run, depths, fit, survey)[name]
    _, mine = plt.subplots()
    before = dict(matplotlib.rcParams)
    assert draw(mine) is mine
    assert dict(matplotlib.rcParams) == before, "the person's own settings stay as they are"
    for unit, label in zip(UNITS[name], (mine.get_xlabel(), mine.get_ylabel()), strict=True):
        assert unit in label
    open_before = len(plt.get_fignums())
    assert draw(None).figure is not mine.figure
    assert len(plt.get_fignums()) == open_before + 1


@pytest.mark.parametrize("name", ["retention", "profile", "suction_profile", "depth_curve"])
def test_inches_stand_beside_centimetres(name, run, depths, fit, survey):
    ax = every_picture(run, depths, fit, survey)[name](None)
    (second,) = ax.child_axes
    assert "(in)" in second.get_ylabel() + second.get_xlabel()
    ax.figure.canvas.draw()
    vertical = name != "depth_curve"
    cm = np.array(ax.get_ylim() if vertical else ax.get_xlim())
    inch = np.array(second.get_ylim() if vertical else second.get_xlim())
    # Heights above gravel start where the 3 cm left at the gravel are.
    zero = 3.0 if name == "retention" else 0.0
    assert inch == pytest.approx((cm - zero) / 2.54)


def test_pictures_are_reached_from_the_package_and_nothing_else_is():
    assert sw.plot.dry_down is not None
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        _ = sw.nonsense


# --- colours --------------------------------------------------------------------------------------

# Machado, Oliveira & Fernandes (2009), IEEE Trans. Vis. Comput. Graph. 15:1291, severity 1.0, from
# memory; each row sums to 1, so grey stays grey.
COLOUR_VISION = {
    "usual": np.eye(3),
    "no red": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


def as_lab(colour, vision):
    """CIE L*a*b* (D65) of an sRGB colour as seen with some kind of colour vision."""
    srgb = np.array(to_rgb(colour))
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(np.array(COLOUR_VISION[vision]) @ linear, 0.0, 1.0)
    to_xyz = [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
    x, y, z = (np.array(to_xyz) @ linear) / [0.95047, 1.0, 1.08883]
    f = [t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("vision", COLOUR_VISION)
@pytest.mark.parametrize("n", [2, 3, 4])
def test_lines_stay_apart_for_everyone(vision, n):
    colours = [as_lab(colour, vision) for colour in style.line_colours(n)]
    for i in range(n):
        for j in range(i):
            # A difference of about 2.3 is just noticeable (Mahy et al. 1994, from memory).
            assert np.linalg.norm(colours[i] - colours[j]) > 20.0


def test_the_water_map_gets_darker_all_the_way():
    light = [as_lab(style.WATER_MAP(x)[:3], "usual")[0] for x in np.linspace(0.0, 1.0, 33)]
    assert np.all(np.diff(light) < 0.0)


def test_more_lines_than_colours_get_colours_of_their_own():
    assert len(set(style.line_colours(9))) == 9
    assert style.line_colours(1) == [style.LINE_COLOURS[0]]


def test_labels_move_apart_as_little_as_they_must():
    free = np.array([0.1, 0.5, 0.9])
    assert style.apart(free, 0.1) == pytest.approx(free)
    crowded = style.apart(np.array([0.50, 0.51, 0.52, 0.9]), 0.1)
    assert np.diff(crowded).min() == pytest.approx(0.1)
    # Three that touch keep their common middle; the one further away is left alone.
    assert crowded[:3].mean() == pytest.approx(0.51)
    assert crowded[3] == pytest.approx(0.9)
