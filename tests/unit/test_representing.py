"""A hundred draws that stand for thousands, picked by what is known before any is run."""

from dataclasses import replace

import numpy as np
import pytest
from grounds import WET_MIX

import soilwater as sw
from soilwater.decisions.watering.draws import in_turn, paired
from soilwater.decisions.watering.even_draws import errors_dealt_out, make_halves
from soilwater.decisions.watering.tried import smooth_quantile, smooth_share
from soilwater.ground.base_suction import OVER_GRAVEL
from soilwater.learning.halves import dealt_evenly_to_two
from soilwater.learning.representing import (
    dealt_evenly,
    dealt_out,
    one_of_each,
    representing,
    standard,
)

TURF = sw.Turf("15 cm")
MEMBERS = [sw.steady_weather(7, et) for et in (4.0, 5.0, 6.5)]
SANDS = [
    replace(WET_MIX, alpha=alpha, n=n, k_sat=k_sat)
    for alpha, n, k_sat in zip(
        np.linspace(0.034, 0.044, 400).tolist(),
        np.random.default_rng(1).normal(3.0, 0.25, 400).tolist(),
        np.exp(np.random.default_rng(2).normal(3.4, 0.3, 400)).tolist(),
        strict=True,
    )
]
OF_GREEN = (TURF, 35.0, 7.6)


def halves(count, seed, members=MEMBERS, sands=SANDS):
    return make_halves(sands, members, OVER_GRAVEL, count, seed, *OF_GREEN)


def lowest_of(drawn):
    """Readings as a drying green has them: less where sand holds, and demand leaves, less."""
    asked = {id(each): float(np.sum(TURF.demand(each))) for each in MEMBERS}
    return np.array(
        [
            float(draw.soil.water_content(45.0 + draw.base))
            + 0.1 * np.exp(-asked[id(draw.weather)] / 30.0)
            for draw in drawn
        ]
    )


ALIKE_BUT_ONE = [replace(WET_MIX, alpha=alpha) for alpha in np.linspace(0.034, 0.044, 40).tolist()]


@pytest.mark.parametrize(
    ("sands", "share"), [(SANDS, 0.5), (ALIKE_BUT_ONE, 0.25)], ids=["of all sorts", "alike but one"]
)
def test_quantiles_of_either_half_move_by_seed_by_less_than_half(sands, share):
    """By less than a quarter where sands differ in one thing: each meets all bases and weather."""
    rng = np.random.default_rng(0)
    many = lowest_of(paired(sands, MEMBERS, OVER_GRAVEL.spread(20_000), 0.0, rng))
    wanted = np.quantile(many, [0.1, 0.2, 0.5])
    errors = {"by chance": [], "picked": []}
    for seed in range(8):
        by_chance = many[np.random.default_rng(seed).choice(many.size, 100)]
        errors["by chance"].append(np.quantile(by_chance, [0.1, 0.2, 0.5]) - wanted)
        for drawn in halves(100, seed, sands=sands):
            errors["picked"].append(np.quantile(lowest_of(drawn), [0.1, 0.2, 0.5]) - wanted)
    spread = {name: np.sqrt(np.mean(np.square(each))) for name, each in errors.items()}
    assert spread["picked"] < share * spread["by chance"]
    assert np.abs(np.mean(errors["picked"], axis=0)).max() < spread["picked"]


def test_halves_share_nothing_and_other_seeds_give_others():
    made, checked = halves(60, 0)
    for what in ("soil", "base"):
        assert not {getattr(d, what) for d in made} & {getattr(d, what) for d in checked}
    others, _ = halves(60, 1)
    same = {(d.soil, d.base) for d in made} & {(d.soil, d.base) for d in others}
    assert len(same) < 10
    again, _ = halves(60, 0)
    assert again == made


def test_bases_and_weather_are_as_even_as_can_be():
    made, checked = halves(60, 2)
    bases = sorted(draw.base for draw in (*made, *checked))
    assert bases == pytest.approx(OVER_GRAVEL.spread(120).tolist())
    for half in (made, checked):
        assert [sum(d.weather is each for d in half) for each in MEMBERS] == [20, 20, 20]


def test_of_more_weathers_than_draws_those_are_picked_that_stand_for_all():
    members = [sw.steady_weather(3, et) for et in np.linspace(2.0, 8.0, 60).tolist()]
    for half in halves(20, 0, members):
        asked = [float(draw.weather.reference_et.sum()) for draw in half]
        assert np.mean(asked) == pytest.approx(15.0, abs=0.8)
        assert np.std(asked) == pytest.approx(18.0 / np.sqrt(12.0), rel=0.15)


def test_a_weather_given_thrice_counts_thrice_and_sorted_ones_alike():
    dry, wet = sw.steady_weather(3, 6.0), sw.steady_weather(3, 2.0)
    for half in halves(40, 0, [dry, dry, dry, wet]):
        assert sum(draw.weather is dry for draw in half) == 30
    members = [sw.steady_weather(3, et) for et in np.linspace(2.0, 8.0, 300).tolist()]
    asked = [float(d.weather.reference_et.sum()) for half in halves(80, 0, members) for d in half]
    assert np.mean(asked) == pytest.approx(15.0, abs=0.2)
    assert in_turn(7, 3).tolist() == [0, 1, 2, 0, 1, 2, 0]
    assert np.bincount(in_turn(15, 10)).tolist() == [2, 1] * 5
    assert in_turn(3, 7).tolist() == [0, 2, 4]


@pytest.mark.parametrize("sands", [SANDS[:1], SANDS[::200], SANDS[::150]], ids=len)
def test_few_sands_are_in_both_halves(sands):
    """A plan made on one sand of two and checked on the other would fit neither."""
    shares = [
        [sum(d.soil == each for d in half) / 60 for each in sands]
        for half in halves(60, 0, sands=sands)
    ]
    assert shares[0] == pytest.approx([1 / len(sands)] * len(sands), abs=0.1)
    assert shares[0] == pytest.approx(shares[1], abs=0.1)


def test_errors_of_readings_are_standard_normal_and_go_along_with_no_sand():
    drawn, _ = halves(100, 0)
    errors = errors_dealt_out(drawn, *OF_GREEN, 3, np.random.default_rng(0))
    known = np.array([[d.soil.water_content(40.0), d.base, lowest_of([d])[0]] for d in drawn])
    for of_spot in errors:
        assert np.std(of_spot) == pytest.approx(1.0, abs=0.03)
        together = np.corrcoef(np.column_stack([known, of_spot]).T)[3, :3]
        assert np.abs(together).max() < 0.03
    assert np.abs(np.corrcoef(errors) - np.eye(3)).max() < 0.4


def test_what_is_picked_is_nearer_to_all_than_any_exchange_makes_it():
    """Energy distance in its own words, by differences of all pairs."""
    known = np.random.default_rng(0).normal(size=(40, 2))
    among = np.arange(10, 40)

    def apart(rows):
        from_all = np.linalg.norm(known[rows][:, None] - known, axis=2).mean()
        return 2.0 * from_all - np.linalg.norm(known[rows][:, None] - known[rows], axis=2).mean()

    picked = representing(known, among, 6, np.random.default_rng(1))
    assert np.unique(picked).size == 6 and picked.min() >= 10
    least = apart(picked)
    for place in range(6):
        for other in np.setdiff1d(among, picked):
            tried = picked.copy()
            tried[place] = other
            assert apart(tried) > least - 1e-9


def energy(rows, every):
    """Energy distance of rows from all that there could be, but for what no choice changes."""
    from_all = np.linalg.norm(rows[:, None] - every, axis=2).mean()
    return 2.0 * from_all - np.linalg.norm(rows[:, None] - rows, axis=2).mean()


def test_weather_is_dealt_out_so_that_no_exchange_would_be_more_even():
    rng = np.random.default_rng(3)
    known, weather = rng.normal(size=(24, 2)), np.repeat([[-1.0], [0.0], [1.0]], 8, axis=0)
    every = np.array([[*one, *other] for one in known for other in weather])
    order = dealt_evenly(known, weather)
    assert sorted(order) == list(range(24))
    least = energy(np.column_stack([known, weather[order]]), every)
    for i in range(24):
        for j in range(i):
            tried = order.copy()
            tried[[i, j]] = order[[j, i]]
            assert energy(np.column_stack([known, weather[tried]]), every) > least - 1e-9


def test_wet_weather_meets_wet_and_dry_draws_not_those_in_the_middle():
    """Those go along with nothing as `dealt_out` sees it, which has nothing to mend."""
    known = standard(np.linspace(0.0, 1.0, 60)[:, None])
    weather = np.where(np.abs(np.arange(60) - 29.5) < 15.0, 1.0, -1.0)[:, None]
    spread = [
        np.std(known[weather[deal(known, weather), 0] > 0.0]) for deal in (dealt_out, dealt_evenly)
    ]
    assert spread[0] == pytest.approx(0.5, abs=0.01)
    assert spread[1] == pytest.approx(1.0, abs=0.02)
    assert sorted(dealt_evenly(known, np.zeros((60, 0)))) == list(range(60))


def test_of_what_is_each_draws_own_that_is_chosen_which_stands_for_all():
    rng = np.random.default_rng(4)
    tries, every = rng.normal(size=(40, 8, 2)), rng.normal(size=(2000, 2))
    chosen = one_of_each(tries, every)
    draws = np.arange(40)
    least = energy(tries[draws, chosen], every)
    for i in range(40):
        for other in range(8):
            rows = tries[draws, chosen]
            rows[i] = tries[i, other]
            assert energy(rows, every) > least - 1e-9
    by_chance = energy(tries[:, 0], every) - energy(every[:500], every)
    assert least - energy(every[:500], every) < 0.25 * by_chance


def test_what_is_dealt_out_goes_along_with_less_than_any_exchange_would_leave():
    rng = np.random.default_rng(3)
    known, own = rng.standard_normal((30, 4)), rng.standard_normal((30, 2))
    order = dealt_out(known, own)
    left = np.sum((known.T @ own[order]) ** 2)
    assert left < 0.01 * np.sum((known.T @ own) ** 2)
    for i, j in np.argwhere(~np.tri(30, dtype=bool)):
        other = order.copy()
        other[[i, j]] = order[[j, i]]
        assert np.sum((known.T @ own[other]) ** 2) > (1.0 - 1e-6) * left


def test_what_does_not_differ_tells_nothing():
    constant = np.ones((30, 2))
    assert standard(constant).shape == (30, 0)
    picked = representing(standard(constant), np.arange(30), 10, np.random.default_rng(0))
    assert np.unique(picked).size == 10
    assert dealt_out(standard(constant), np.arange(30.0)[:, None]).tolist() == list(range(30))


def test_a_smooth_quantile_is_that_of_many_and_less_uncertain_than_the_plain_one():
    """Of a hundred draws of known distributions, beside what numpy tells of a million."""
    rng = np.random.default_rng(0)
    for drawn in (rng.standard_normal, lambda size: -np.exp(0.5 * rng.standard_normal(size))):
        wanted = np.quantile(drawn((1_000_000,)), 0.1)
        values = drawn((100, 5000))
        smooth, plain = smooth_quantile(values, 0.1), np.quantile(values, 0.1, axis=0)
        assert abs(np.mean(smooth) - wanted) < 0.1 * np.std(plain)
        assert np.std(smooth) < np.std(plain)
    assert smooth_quantile(np.full((7, 2), 3.0), 0.3) == pytest.approx([3.0, 3.0])


def test_of_draws_that_stand_for_thousands_a_smooth_quantile_is_more_certain_than_of_others():
    """By 0.03 to 0.04 of a standard deviation; a mean of the few next to it erred by 0.053."""
    errs = []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        known = rng.standard_normal((2000, 8))
        # Most of it is a sum of what is known; the rest is a product.
        values = known @ [0.6, 0.5, 0.4, 0.3, 0.2, 0.2, 0.1, 0.1] + 0.2 * known[:, 0] * known[:, 1]
        chosen = representing(known, np.arange(2000), 100, rng)
        wanted = np.quantile(values, 0.1)
        errs.append((smooth_quantile(values[chosen], 0.1) - wanted) / values.std())
    assert np.std(errs) < 0.046
    # Of any hundred it would err by more than a tenth.
    assert np.std(smooth_quantile(np.random.default_rng(0).standard_normal((100, 500)), 0.1)) > 0.1


def test_few_draws_tell_no_more_than_the_lowest_and_the_highest():
    few = np.array([[0.1], [0.2], [0.4], [0.7]])
    for count in (1, 2, 3, 4):
        assert smooth_quantile(few[:count], 0.001) == pytest.approx(0.1, abs=0.01)
        highest = few[count - 1, 0]
        assert smooth_quantile(few[:count], 0.999) == pytest.approx(highest, abs=0.01)


def test_draws_are_picked_among_the_same_whatever_the_seed(monkeypatch):
    """Which sand met which base moved amounts as much as which draws were picked."""
    seen = []

    def spy(features, among, count, rng, alike=None):
        seen.append(features)
        return representing(features, among, count, rng, alike)

    monkeypatch.setattr("soilwater.decisions.watering.even_draws.representing", spy)
    for seed in (0, 1):
        halves(20, seed)
    assert all(np.array_equal(seen[0], each) for each in seen)


def test_of_two_heaps_a_smooth_quantile_lies_in_the_one_the_share_falls_in():
    """As of two sands: no parabola tells what no draw reads, nor is there room in what is full."""
    half = np.repeat([0.10, 0.20], 75)
    third = np.repeat([0.0, 20.0], [50, 100])
    assert smooth_quantile(half, 0.1) == pytest.approx(0.10)
    assert smooth_quantile(third, 0.25) == pytest.approx(0.0)
    assert smooth_quantile(half, 0.8) == pytest.approx(0.20)
    # Near the step it is between the two.
    assert 0.10 < smooth_quantile(half, 0.48) < 0.20
    for draws in range(1, 20):
        for share in (0.001, 0.1, 0.25, 0.8, 0.999):
            heap = np.repeat([0.0, 1.0], [draws // 2, draws - draws // 2])
            assert 0.0 <= smooth_quantile(heap, share) <= 1.0


def test_a_share_told_smoothly_is_that_of_many_and_errs_by_less_than_a_count():
    """Of draws picked among thousands, by six tenths of what a count errs by, or less."""
    smooth, counted = [], []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        known = rng.standard_normal((2000, 6))
        values = known @ [0.6, 0.5, 0.4, 0.3, 0.2, 0.2] + 0.2 * known[:, 0] * known[:, 1]
        some = values[representing(known, np.arange(2000), 100, rng)]
        for share in (0.85, 0.9, 0.7):
            line = np.quantile(values, 1.0 - share)
            smooth.append(smooth_share(some, line) - share)
            counted.append(np.mean(some > line) - share)
    assert np.std(smooth) < 0.65 * np.std(counted)
    assert abs(np.mean(smooth)) < 0.005


def test_between_two_heaps_a_share_is_that_which_is_counted():
    """As of two sands, one of which reads above the line whatever the base."""
    rng = np.random.default_rng(3)
    heaps = np.concatenate([rng.normal(0.10, 0.004, 21), rng.normal(0.15, 0.006, 129)])
    assert smooth_share(heaps, 0.125) == 129 / 150
    assert smooth_share(heaps, 0.05) == 1.0 and smooth_share(heaps, 0.3) == 0.0
    # Within one it is told by its draws, by no more than a count of picked ones errs by.
    within = smooth_share(heaps, 0.145)
    count = np.mean(heaps > 0.145)
    assert abs(within - count) <= 0.5 * np.sqrt(count * (1.0 - count) / 150)
    assert smooth_share(np.full(5, 0.1), 0.1) == 0.0


def test_sands_are_dealt_to_halves_that_are_alike_in_all_that_is_known():
    """By turns along the first alone, halves differ by a tenth of a standard deviation or more."""
    for count in (4, 37, 200):
        known = np.random.default_rng(count).standard_normal((count, 8))
        second = dealt_evenly_to_two(known)
        assert second.sum() == count // 2
        # Of each two neighbours either half has one.
        in_order = second[np.argsort(known[:, 0])][: count // 2 * 2]
        assert (in_order.reshape(-1, 2).sum(axis=1) == 1).all()
    apart = known[second].mean(axis=0) - known[~second].mean(axis=0)
    spread = known[second].std(axis=0) / known[~second].std(axis=0)
    assert np.abs(apart).max() < 0.06 and np.abs(np.log(spread)).max() < 0.06
    assert dealt_evenly_to_two(np.ones((6, 2))).sum() == 3
