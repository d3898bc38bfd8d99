"""Dry-down: days, bands, and the parts that outlooks and plans are made of."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from grounds import MIDDLE_MIX as MIDDLE
from grounds import STRAIGHT_SAND as STRAIGHT
from watered_green import CERTAIN, GREEN, LINES, MIX, ROD, TEN_DAYS, TURF

from soilwater.decisions.spots.expected import expected_reading
from soilwater.decisions.watering.draws import make_draws
from soilwater.decisions.watering.ensembles import (
    beside_depths,
    between_depths,
    column,
    daily_share_met,
    day_text,
    days_text,
    depth_grid,
    depth_in,
    first_at_or_below,
    run_columns,
)
from soilwater.decisions.watering.even_draws import make_halves
from soilwater.decisions.watering.hand_watering import hand_water_plan
from soilwater.decisions.watering.outlook import dry_down_outlook
from soilwater.decisions.watering.planning import Wish, spots_in_need
from soilwater.decisions.watering.starts import dried_to, starts_at_readings
from soilwater.decisions.watering.thresholds import Thresholds
from soilwater.decisions.watering.visits import Visits
from soilwater.ground.base_suction import BaseSuction
from soilwater.runs.case import Case
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.weather.made import steady_weather
from soilwater.words.errors import InputError


def test_whether_a_spot_needs_water_is_told_by_all_draws_near_the_share():
    """Not by whether one of ten is a hair's breadth above the line or below it."""
    never = np.datetime64("NaT", "ns")
    wish = Wish(0.10, 0.8, 6.0, np.inf, never)
    times = np.datetime64("2025-07-01T00:00") + np.arange(20) * np.timedelta64(6, "h")
    visits = Visits.of(times, [6.0], [])
    dry, near, wet = 0.04, 0.1021, 0.2
    lowest = np.array([[dry] + [near] * 9, [0.1019] + [wet] * 9, [wet] * 10])
    trial = SimpleNamespace(reading=np.tile(lowest[:, :, None], (1, 1, times.size)))
    assert spots_in_need(trial, wish, visits, {}) == [0]
    assert spots_in_need(trial, wish, visits, {0: "repellent"}) == []
    assert visits.counted_from(trial.reading[0], 0.10, wish.asked) == visits.first + 8


def test_a_line_is_crossed_where_a_straight_line_meets_it():
    days = np.array([0.0, 1.0, 2.0, 3.0])
    falling = np.array([[4.0, 3.0, 2.0, 1.0], [4.0, 4.0, 4.0, 4.0], [1.0, 5.0, 5.0, 5.0]])
    found = first_at_or_below(days, falling, 1.5)
    assert found == pytest.approx([2.5, np.inf, 0.0])


def test_between_depths_straight_lines_are_exact_for_what_is_straight():
    grid = np.array([20.0, 23.0, 26.0])
    values = (2.0 * grid[None, :, None] + np.arange(4.0)) * np.ones((2, 1, 1))
    found = between_depths(grid, values, np.array([21.0, 26.0]))
    assert found == pytest.approx(np.array([42.0 + np.arange(4), 52.0 + np.arange(4)]))


def test_only_depths_are_run_that_a_spot_lies_between():
    """What is not run is not read: readings stay the same, whatever stands in its place."""
    grid, depth = np.array([20.0, 23.0, 26.0, 29.0]), np.array([21.0, 28.0])
    beside = beside_depths(grid, depth)
    assert beside.tolist() == [[True, True, False, False], [False, False, True, True]]
    values = np.broadcast_to(grid[None, :, None], (2, 4, 3))
    partly = np.where(beside[:, :, None], values, np.nan)
    assert between_depths(grid, partly, depth) == pytest.approx(np.array([[21.0] * 3, [28.0] * 3]))


def test_reading_between_the_depths_of_the_grid_misses_little():
    """Against columns run at the depths themselves: less than 0.1 % by volume."""
    depths = np.array([31.2, 33.9, 40.6])
    grid = depth_grid(depths)
    draw = make_draws(STRAIGHT, [TEN_DAYS], BaseSuction(3, 3, 3), 0.0, 1, 0)[0]
    runs = run_columns([column(draw, float(d), TURF) for d in grid], ROD)
    direct = run_columns([column(draw, float(d), TURF) for d in depths], ROD)
    for depth, exact in zip(depths, direct.reading, strict=True):
        found = between_depths(grid, runs.reading[None], np.array([depth]))[0]
        assert np.abs(found - exact).max() < 0.001


def test_the_share_of_demand_met_is_counted_day_by_day():
    hours = np.arange(0.0, 49.0, 6.0)
    asked = hours / 24.0 * 5.0
    taken = np.where(hours <= 24.0, asked, 5.0 + (asked - 5.0) * 0.4)
    assert daily_share_met(hours, taken[None], asked[None])[0] == pytest.approx([1.0, 0.4])


def test_draws_spread_sands_members_and_bases_evenly():
    members = [TEN_DAYS, steady_weather(10, "7 mm/day")]
    draws = make_draws([MIX, MIDDLE], members, BaseSuction(3.0, 0.0, 9.0), 1.0, 20, 0)
    assert sum(draw.soil is MIX for draw in draws) == 10
    assert sum(draw.weather is members[0] for draw in draws) == 10
    # The best of a band is its median.
    quarters = [0.0, 1.5, 3.0, 6.0, 9.0]
    assert np.histogram([draw.base for draw in draws], quarters)[0].tolist() == [5, 5, 5, 5]


@pytest.mark.parametrize(
    ("sand", "depth", "firm", "wilt"),
    [
        (MIX, 30.0, 4.5, 9.6),
        (MIX, 38.0, 1.5, 8.5),
        (MIX, 46.0, 0.0, 4.5),
        (MIDDLE, 30.0, 1.5, 6.5),
        (MIDDLE, 38.0, 0.0, 3.5),
        (STRAIGHT, 25.0, 1.5, 4.5),
        (STRAIGHT, 30.0, 0.0, 2.5),
    ],
)
def test_days_agree_with_an_independent_screening_calculation(sand, depth, firm, wilt):
    """A coarse column model of another make, good to about a day (reference evaporation 5 mm/day,
    9 in 10 roots above 10 cm, 3 cm left at the base)."""
    green = Survey([Spot("S", depth)])
    found = dry_down_outlook(green, sand, steady_weather(14, "5 mm/day"), TURF, LINES, **CERTAIN)
    spot = found.spot("S")
    assert spot.firm.median == pytest.approx(firm, abs=0.6)
    assert spot.wilt.median == pytest.approx(wilt, abs=1.1)


def test_a_line_of_the_meter_and_a_plant_short_of_water_are_different_days():
    found = dry_down_outlook(GREEN, MIX, TEN_DAYS, TURF, LINES, **CERTAIN)
    deep = found.spot("C3")
    assert deep.wilt.median < 6.0
    assert deep.short_of_water.median > 9.0


def test_the_green_wide_sentence_reads_the_deepest_spot_when_the_bulk_is_firm():
    found = dry_down_outlook(GREEN, MIX, TEN_DAYS, TURF, LINES, **CERTAIN)
    day = np.median([each.firm.median for each in found.spots])
    deep = found.spot("C3").readings
    then = 100 * np.interp(day, np.arange(len(deep)), deep)
    assert f"on day {day_text(day, 10.0)}, " in found.sentence
    assert f"C3 (46.0 cm (18.1 in)), reads {then:.1f} %" in found.sentence


def test_more_demand_never_gives_more_days_and_a_deeper_spot_never_more():
    easy = dry_down_outlook(GREEN, MIX, TEN_DAYS, TURF, LINES, **CERTAIN)
    hot = dry_down_outlook(GREEN, MIX, steady_weather(10, "7 mm/day"), TURF, LINES, **CERTAIN)
    for one, other in zip(easy.spots, hot.spots, strict=True):
        assert other.wilt.median <= one.wilt.median
        assert other.firm.median <= one.firm.median
    wilt = [each.wilt.median for each in easy.spots]
    assert wilt == sorted(wilt, reverse=True)


def test_a_wider_base_band_never_makes_a_band_of_days_narrower():
    widths = []
    for band in (3.0, (1.0, 6.0), (0.0, 9.0)):
        found = dry_down_outlook(
            GREEN, MIX, TEN_DAYS, TURF, LINES, rod=ROD, base_suction=band, probe_error=0.0, draws=20
        )
        watch = found.spot("B2").watch
        widths.append(watch.high - watch.low)
    assert widths == sorted(widths)
    assert widths[0] == 0.0 < widths[2]


@pytest.mark.parametrize(("sand", "depth"), [(MIX, 30.0), (MIX, 40.0), (MIDDLE, 30.0)])
@pytest.mark.parametrize("day", [1, 3, 5])
def test_started_at_a_reading_a_spot_goes_on_as_the_run_that_led_there(sand, depth, day):
    draw = make_draws(sand, [TEN_DAYS], BaseSuction(3, 3, 3), 0.0, 1, 0)[0]
    whole = run_columns([column(draw, depth, TURF)], ROD)
    morning = int(np.searchsorted(whole.hours, 24.0 * day + 6.0))
    state = dried_to(sand, depth, 3.0, ROD, float(whole.reading[0, morning]))
    rest = TEN_DAYS.between(whole.times[morning], TEN_DAYS.end)
    late = run_columns([Case(draw.profile(depth), rest, turf=TURF, start=state)], ROD)
    assert np.abs(late.reading[0] - whole.reading[0, morning:]).max() < 0.002


def test_spots_may_start_at_their_readings():
    read = Survey(
        [
            Spot("dry", 30.0, readings=(Reading(0.16, rod=ROD),)),
            Spot("wet", 30.0, readings=(Reading(0.40, rod=ROD),)),
            Spot("unread", 30.0),
        ]
    )
    settings = CERTAIN | {"meter_error": 0.0}
    found = dry_down_outlook(read, MIX, TEN_DAYS, TURF, LINES, start="readings", **settings)
    drained = dry_down_outlook(read, MIX, TEN_DAYS, TURF, LINES, **settings).spot("unread")
    assert found.spot("dry").start[1] == pytest.approx(0.16, abs=1e-3)
    assert found.spot("dry").wilt.median < drained.wilt.median
    for name in ("wet", "unread"):
        assert found.spot(name).readings[1:] == pytest.approx(drained.readings[1:], abs=0.003)
    # A flooded spot starts flooded, and lets go over open gravel before the next morning.
    assert found.spot("wet").start[1] == pytest.approx(0.40, abs=1e-3)
    assert "without a usable reading, started drained: unread" in repr(found)
    with pytest.raises(InputError, match="no spot has a usable reading"):
        dry_down_outlook(GREEN, MIX, TEN_DAYS, TURF, LINES, start="readings", **CERTAIN)


def test_starts_of_all_draws_are_those_of_each_alone():
    """Dried to a reading; drained where the meter erred; flooded where most draws read more."""
    soils = [replace(MIDDLE, alpha=alpha) for alpha in (0.046, 0.047, 0.048, 0.049)]
    drawn = make_draws(soils, [TEN_DAYS], BaseSuction(3, 2, 5), 0.0, 4, 0)
    spots = [
        Spot(name, depth, readings=(Reading(read, rod=ROD),))
        for name, depth, read in (("dry", 30.0, 0.12), ("erred", 36.0, 0.15), ("wet", 32.0, 0.35))
    ]
    noise = np.zeros((3, 4))
    noise[1] = [-0.02, 0.2, 0.01, 0.0]
    starts = starts_at_readings(spots, drawn, ROD, noise, None)
    for spot, errors, of_spot in zip(spots, noise.tolist(), starts, strict=True):
        for draw, error, start in zip(drawn, errors, of_spot, strict=True):
            read = spot.readings[0].value + error
            own = dried_to(draw.soil, spot.depth, draw.base, ROD, read)
            surface = start.water.suction[0]
            assert start.water.depth.tolist() == [0.0, spot.depth]
            if spot.name == "wet":
                assert 0.0 <= surface < spot.depth + draw.base
            else:
                np.testing.assert_allclose(start.water.suction, own.suction, atol=1e-7)
    assert starts[1][1].water.suction[-1] == pytest.approx(drawn[1].base)


def test_several_weather_members_widen_the_band():
    members = [steady_weather(10, f"{et} mm/day") for et in (3, 5, 7)]
    found = dry_down_outlook(GREEN, MIX, members, TURF, LINES, **CERTAIN | {"draws": 12})
    watch = found.spot("B2").watch
    assert watch.high > watch.low + 1.0


def test_days_are_printed_no_finer_than_another_seed_moves_them():
    ends = np.array(
        [
            dry_down_outlook(
                GREEN, MIX, steady_weather(9, "6 mm/day"), TURF, LINES, rod=ROD, draws=60, seed=seed
            )
            .to_dataset()
            .days_until.sel(threshold="wilt")
            for seed in range(4)
        ]
    )
    scatter = ends.std(axis=0)[np.isfinite(ends).all(axis=0)]
    assert 0.05 < scatter.max() < 0.5  # A tenth of a day would be an untruth, half a day is none.
    assert days_text(3.91, 4.44, np.inf, 9.0) == "4.5 (4 to > 9)"
    told = [day_text(value, 9.0) for value in (0.0, 0.1, 0.3, 3.2, 3.3, np.inf)]
    assert told == ["0", "< 0.5", "0.5", "3", "3.5", "> 9"]
    assert days_text(4.0, 4.0, 4.0, 9.0) == "4"


def test_a_depth_that_was_not_reached_is_a_lower_bound():
    """Beside one probed as deep: never wetter, and in every call by the same amount."""
    green = Survey([Spot("met", 32.0), Spot("18+", 32.0, depth_at_least=True)])
    given = {"rod": 7.6, "base_suction": 3.0, "draws": 40}
    found = dry_down_outlook(green, MIX, TEN_DAYS, TURF, LINES, probe_error=0.0, **given)
    low, middle, high = found.spot("18+").start
    assert low < middle < high < found.spot("met").start[0] + 1e-3
    assert "at least 32" in repr(found) and "as deep as it reached, or deeper" in repr(found)
    told = expected_reading(green, MIX, **given).sel(spot="18+")
    assert float(told.expected_reading) == pytest.approx(middle, abs=0.003)
    made, checked = make_halves(MIX, [TEN_DAYS], BaseSuction(3.0, 1.0, 6.0), 20, 0, TURF, 32.0, 7.6)
    for drawn in (made, checked):
        deeper = np.array([depth_in(draw, green.spots[1], 7.6) for draw in drawn]) - 32.0
        assert deeper.min() > 0.0 and deeper.mean() == pytest.approx(6.0, rel=0.1)
        assert all(depth_in(draw, green.spots[0], 7.6) == 32.0 for draw in drawn)


def test_tables_name_what_was_assumed_left_out_and_warned_of():
    green = Survey([*GREEN.spots, Spot("D4"), Spot("E5", 40.0, depth_at_least=True)], name="a <b>")
    found = dry_down_outlook(green, MIX, TEN_DAYS, TURF, LINES, **CERTAIN)
    text = repr(found)
    for words in ("left out, no depth found: D4", "too short at E5", "wilt 12 %", "caution:"):
        assert words in text
    assert "a &lt;b&gt;" in found._repr_html_()
    days = found.to_dataset().days_until
    assert days.attrs["units"] == "d"
    assert (
        float(days.sel(spot="C3", threshold="wilt", quantile=0.5)) == found.spot("C3").wilt.median
    )


def test_faults_of_lines_members_and_surveys_name_the_cure():
    with pytest.raises(InputError, match="firm > watch > wilt"):
        Thresholds(0.12, 0.14, 0.18)
    with pytest.raises(InputError, match=r"demand_met is 1\.5"):
        Thresholds(0.18, 0.14, 0.12, demand_met=1.5)
    members = [TEN_DAYS, steady_weather(9, 5.0)]
    with pytest.raises(InputError, match=r"Weather\.between"):
        dry_down_outlook(GREEN, MIX, members, TURF, LINES, **CERTAIN)
    with pytest.raises(InputError, match="rod"):
        dry_down_outlook(GREEN, MIX, TEN_DAYS, TURF, LINES)
    with pytest.raises(InputError, match="no spot has a depth"):
        dry_down_outlook(Survey([Spot("A")]), MIX, TEN_DAYS, TURF, LINES, rod=ROD)
    with pytest.raises(InputError, match='no spot "Z"'):
        dry_down_outlook(GREEN, MIX, TEN_DAYS, TURF, LINES, **CERTAIN).spot("Z")


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        (lambda *given: hand_water_plan(*given, "60 %", rod=ROD), "threshold is 60 %"),
        (
            lambda *given: dry_down_outlook(*given, Thresholds("60 %", "45 %", "12 %"), rod=ROD),
            "firm is 60 %",
        ),
    ],
)
def test_a_line_above_all_pores_is_asked_about(ask, told):
    with pytest.raises(InputError, match=told) as caught:
        ask(GREEN, MIX, TEN_DAYS, TURF)
    # Of 42 % of pores, 60 % of saturation is 25.2 % by volume.
    assert "all pores of this sand are 42 %" in caught.value.faults[0]
    assert 'write "25.2 %"' in caught.value.faults[0]
