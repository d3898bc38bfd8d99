"""What holds for every memory a sand could have, and for every path it could be taken along."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from soilwater.soils import BrooksCorey, Hysteretic, Kosugi, VanGenuchten, WettingHistory

shape = {"theta_r": st.floats(0.0, 0.1), "theta_s": st.floats(0.3, 0.6), "k_sat": st.just(30.0)}
soils = st.one_of(
    st.builds(VanGenuchten, alpha=st.floats(0.01, 0.3), n=st.floats(1.1, 12.0), **shape),
    st.builds(
        BrooksCorey,
        entry_suction=st.floats(2.0, 60.0),
        pore_size_index=st.floats(0.2, 8.0),
        **shape,
    ),
    st.builds(Kosugi, median_suction=st.floats(5.0, 100.0), spread=st.floats(0.2, 2.0), **shape),
)
sands = st.builds(Hysteretic, soils, st.floats(1.0, 4.0), st.floats(0.7, 1.0))
paths = st.lists(st.floats(0.0, 500.0), min_size=1, max_size=12)
ROUND_OFF = 1e-12


@given(sands, paths)
def test_every_branch_lies_within_the_main_loop(sand, path):
    held = sand.water_contents_along(path)
    at = np.array(path)
    assert (held <= sand.water_content(at) + ROUND_OFF).all()
    assert (held >= sand.wetting_water_content(at) - ROUND_OFF).all()


@given(sands, paths, st.floats(0.0, 500.0))
def test_water_falls_along_every_branch(sand, path, end):
    history = WettingHistory.flooded().along(path)
    way = np.linspace(history.suction, end, 15)
    held = sand.water_contents_along(way, history)
    falls = -np.diff(held) if end >= history.suction else np.diff(held)
    assert (falls >= -ROUND_OFF).all()


@given(sands, paths, st.lists(st.integers(1, 5), min_size=12, max_size=12))
def test_how_fast_it_went_is_of_no_matter(sand, path, parts):
    slow = WettingHistory.flooded()
    at = 0.0
    for suction, n in zip(path, parts, strict=False):
        slow = slow.along([at + (suction - at) * k / n for k in range(1, n)]).then(suction)
        at = suction
    assert slow == WettingHistory.flooded().along(path)


@given(sands, paths, st.floats(0.0, 500.0), st.floats(0.0, 500.0))
def test_every_loop_closes(sand, path, one, other):
    first = WettingHistory.flooded().along([*path, one, other])
    again = first.then(one).then(other)
    assert again == first
    before, after = sand.water_content_after(first), sand.water_content_after(again)
    assert abs(after - before) <= ROUND_OFF


@given(sands, paths)
def test_turns_are_a_nest_and_no_more_than_the_path(sand, path):
    history = WettingHistory.flooded().along(path)
    # The nest is checked where a history is made.
    assert WettingHistory(history.turns, history.suction) == history
    assert len(history.turns) <= len(path)
