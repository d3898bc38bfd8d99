"""A hundred draws spread as thousands would be, from what is known before any is run."""

from dataclasses import replace

import numpy as np
import pytest
from grounds import WET_MIX

import soilwater as sw
from soilwater.decisions.watering.draws import make_halves, many_draws
from soilwater.decisions.watering.even_draws import evened, features_of, paired_anew
from soilwater.decisions.watering.trials import Trial
from soilwater.ground.base_suction import OVER_GRAVEL

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


def lowest_of(drawn, noise=0.0):
    """Readings as a drying green has them: less where sand holds, and demand leaves, less."""
    asked = {id(each): float(np.sum(TURF.demand(each))) for each in MEMBERS}
    found = [
        float(draw.soil.water_content(45.0 + draw.base))
        + 0.1 * np.exp(-asked[id(draw.weather)] / 30.0)
        for draw in drawn
    ]
    return np.array(found) + noise


def trial_of(drawn, noise):
    """A spot whose readings fall to the lowest in two steps."""
    low = lowest_of(drawn, noise)
    reading = (low[:, None] + [0.1, 0.05, 0.0])[None]
    nothing = np.zeros_like(reading)
    return Trial(
        lambda *_: None,
        lambda *_: None,
        np.zeros(reading.shape[:2]),
        np.arange(3.0),
        np.arange(3).astype("datetime64[D]"),
        reading,
        nothing,
        nothing,
        nothing,
        7.6,
    )


@pytest.fixture(scope="module")
def many():
    return many_draws(SANDS, MEMBERS, OVER_GRAVEL)


def test_quantiles_move_by_seed_by_less_than_half(many):
    missed = 0.001 * np.random.default_rng(9).standard_normal(len(many))
    wanted = np.quantile(lowest_of(many, missed), [0.1, 0.2])
    errors = {"as drawn": [], "evened": []}
    for seed in range(10):
        drawn, _ = make_halves(SANDS, MEMBERS, OVER_GRAVEL, 100, seed)
        trial = trial_of(drawn, 0.001 * np.random.default_rng(seed).standard_normal(100))
        for name, each in (
            ("as drawn", trial),
            ("evened", evened(trial, features_of(drawn), features_of(many))),
        ):
            found = np.quantile(each.reading[0].min(axis=1), [0.1, 0.2])
            errors[name].append(found - wanted)
    spread = {name: np.sqrt(np.mean(np.square(each))) for name, each in errors.items()}
    assert spread["evened"] < 0.5 * spread["as drawn"]


def test_a_draw_is_moved_as_a_whole_and_keeps_its_rank(many):
    drawn, _ = make_halves(SANDS, MEMBERS, OVER_GRAVEL, 100, 3)
    trial = trial_of(drawn, 0.001 * np.random.default_rng(3).standard_normal(100))
    moved = evened(trial, features_of(drawn), features_of(many))
    by = moved.reading - trial.reading
    assert np.abs(by).max() > 1e-4
    assert by == pytest.approx(np.broadcast_to(moved.shift[:, :, None], by.shape))
    low, before = (each.reading[0].min(axis=1) for each in (moved, trial))
    assert np.argsort(low).tolist() == np.argsort(before).tolist()


def test_errors_of_readings_that_spots_start_from_are_known_too(many):
    """By chance most of these meters read too much: without it the draws are too wet."""
    drawn, _ = make_halves(SANDS, MEMBERS, OVER_GRAVEL, 100, 0)
    noise = np.random.default_rng(5).standard_normal((1, 100)) + 1.0
    trial = trial_of(drawn, 0.02 * noise[0])
    others = np.random.default_rng(6).standard_normal((1, len(many)))
    wanted = np.median(lowest_of(many, 0.02 * others[0]))
    known, unknown = (
        np.median(evened(trial, *features).reading[0].min(axis=1)) - wanted
        for features in (
            (features_of(drawn, noise), features_of(many, others)),
            (features_of(drawn), features_of(many)),
        )
    )
    assert abs(known) < 0.002 < 0.005 < unknown


def test_paired_anew_bases_and_weather_do_not_go_along_with_sands():
    """By chance a correlation of a hundred pairs is 0.1; here it is told by a general library."""
    for seed in range(3):
        drawn, _ = make_halves(SANDS, MEMBERS, OVER_GRAVEL, 100, seed)
        found = paired_anew(drawn)
        for what in ("soil", "base", "beyond"):
            before, after = ([getattr(each, what) for each in one] for one in (drawn, found))
            assert sorted(map(str, before)) == sorted(map(str, after))
        assert sorted(id(each.weather) for each in found) == sorted(
            id(each.weather) for each in drawn
        )
        known = [
            [each.soil.water_content(40.0), each.base, each.weather.reference_et.sum()]
            for each in found
        ]
        apart = np.corrcoef(np.array(known, dtype=float).T) - np.eye(3)
        assert np.abs(apart).max() < 0.03


def test_of_few_draws_nothing_is_told_of_others(many):
    drawn, _ = make_halves(SANDS, MEMBERS, OVER_GRAVEL, 20, 0)
    trial = trial_of(drawn, 0.0)
    assert evened(trial, features_of(drawn), features_of(many)) is trial
    assert paired_anew(drawn) == drawn


def test_where_water_runs_out_readings_are_not_moved_below_what_is_left(many):
    """Two in three end at 5 %: their lower quantiles are that, and the upper ones are near."""
    last = np.quantile(lowest_of(many), 2 / 3)

    def ends(drawn, seed):
        missed = 0.001 * np.random.default_rng(seed).standard_normal(len(drawn))
        return 0.05 + 3.0 * np.maximum(lowest_of(drawn, missed) - last, 0.0)

    wanted = np.quantile(ends(many, 9), [0.1, 0.5, 0.9])
    errors = []
    for seed in range(6):
        drawn, _ = make_halves(SANDS, MEMBERS, OVER_GRAVEL, 100, seed)
        reading = ends(drawn, seed)[None, :, None] + np.array([0.1, 0.05, 0.0])
        trial = replace(trial_of(drawn, 0.0), reading=reading)
        moved = evened(trial, features_of(drawn), features_of(many))
        errors.append(np.quantile(moved.reading[0].min(axis=1), [0.1, 0.5, 0.9]) - wanted)
    assert np.abs(np.mean(errors, axis=0)).max() < 0.008
