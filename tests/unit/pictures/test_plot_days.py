"""Pictures over days: readings by depth, bands, and the water balance."""

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.dates import date2num
from pictured import BANDS, GREEN, ROD, TURF, WEATHER, extent_of, line_called, texts_of

import soilwater as sw
from soilwater.words.errors import InputError

# --- over days ------------------------------------------------------------------------------------


def test_dry_down_draws_the_readings_of_each_depth_and_names_the_lines(depths):
    ax = sw.plot.dry_down(depths, rod=ROD, thresholds=BANDS)
    reading = 100.0 * sw.meter_reading(depths, rod=ROD)
    for i, name in enumerate(("10 in (25 cm)", "12 in (30 cm)", "40.0 cm (15.7 in)")):
        line = line_called(ax, name)
        assert line.get_ydata() == pytest.approx(reading[i].values)
        assert line.get_xdata() == pytest.approx(np.arange(97) / 24.0)
        assert name in texts_of(ax), "written on the line, not in a legend"
    assert ax.get_legend() is None
    assert "7.6 cm (3.0 in) rods" in ax.get_ylabel()
    (dates,) = ax.child_axes
    ax.figure.canvas.draw()
    assert dates.get_xlim()[0] == pytest.approx(date2num(np.datetime64("2025-07-01")))


@pytest.mark.parametrize("start", ["soaked", "drained"])
@pytest.mark.parametrize("thresholds", [None, BANDS])
def test_no_more_than_four_tenths_of_a_dry_down_are_empty(start, thresholds):
    """Between the lines' lowest and highest reading lies most of the height, whatever the start."""
    run = sw.simulate(GREEN, sw.steady_weather(10, "5 mm/day"), turf=TURF, start=start)
    ax = sw.plot.dry_down(run, rod=ROD, thresholds=thresholds)
    low, high = ax.get_ylim()
    shown = np.clip(100.0 * sw.meter_reading(run, rod=ROD).values, low, high)
    assert low >= 0.0
    assert shown[14:].max() - shown[14:].min() > 0.6 * (high - low)
    first = 100.0 * float(sw.meter_reading(run, rod=ROD)[0])
    assert (f"starts at {first:.0f} %" in texts_of(ax)) == (first > high)


@pytest.mark.parametrize("order", [(0, 2), (2, 0)])
def test_paired_panels_share_limits_that_hold_both(depths, order):
    _, axes = plt.subplots(1, 2, sharey=True)
    for ax, i in zip(axes, order, strict=True):
        sw.plot.dry_down(depths.isel(root_zone_depth=i), rod=ROD, ax=ax)
    low, high = axes[0].get_ylim()
    assert axes[1].get_ylim() == (low, high)
    for i in order:
        later = 100.0 * sw.meter_reading(depths.isel(root_zone_depth=i), rod=ROD).values[24:]
        assert low < later.min() and later.max() < high


def test_names_of_lines_lie_on_no_line(depths):
    ax = sw.plot.dry_down(depths, rod=ROD)
    ax.figure.canvas.draw()
    named = [text for text in ax.texts if "in" in text.get_text() and "cm" in text.get_text()]
    boxes = [text.get_window_extent() for text in named]
    assert len(boxes) == 3
    assert all(box.x0 >= ax.get_window_extent().x1 for box in boxes)
    for i, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[i + 1 :])


def test_a_season_has_dates_and_a_bar_a_week():
    run = sw.simulate(GREEN, sw.steady_weather(100, "3 mm/day", rain="2 mm/day"), output=24.0)
    ax = sw.plot.water_balance(run)
    bars = next(c for c in ax.containers if c.get_label() == "rain")
    assert len(bars) == 15
    assert sum(bar.get_height() for bar in bars) == pytest.approx(200.0)
    assert ax.get_ylabel().startswith("water per week")
    ax.figure.canvas.draw()
    ticks = [label.get_text() for label in ax.get_xticklabels()]
    assert "Aug" in ticks and len(ticks) < 10


def test_a_first_day_of_drainage_does_not_press_the_others_flat():
    run = sw.simulate(GREEN, sw.steady_weather(8, "5 mm/day"), turf=TURF, start="soaked")
    ax = sw.plot.water_balance(run)
    low, _ = ax.get_ylim()
    change = line_called(ax, "change of water held").get_ydata()
    assert change[0] < 2.5 * low
    assert min(change[1:]) < 0.5 * low
    assert f"{-change[0]:.0f}" in texts_of(ax)


def test_bands_lie_where_they_are_put_and_are_named(depths):
    ax = sw.plot.dry_down(depths, rod=ROD, thresholds=BANDS)
    spans = {p.get_label(): p.get_extents() for p in ax.patches}
    for name, (low, high) in {"firm": (14, 18), "watch": (10, 14), "wilt": (0, 10)}.items():
        box = ax.transData.inverted().transform_bbox(spans[f"_{name}"])
        assert (box.y0, box.y1) == pytest.approx((low, high))
        assert name in texts_of(ax)
    assert not sw.plot.dry_down(depths, rod=ROD).patches, "no bands of its own making"


def test_bands_that_cannot_be_are_all_named(depths):
    with pytest.raises(InputError, match=r"2 faults") as caught:
        sw.plot.dry_down(depths, rod=ROD, thresholds={"firm": (0.2, 0.1), "wilt": (0, 10)})
    assert "firm" in str(caught.value)
    assert "wilt" in str(caught.value)


def test_samples_are_drawn_as_a_band_around_the_middle(fit):
    soils = fit.samples(12)
    run = sw.compare_depths(GREEN, ["10 in", "18 in"], WEATHER, turf=TURF, sand=soils)
    ax = sw.plot.dry_down(run, rod=ROD, probability=0.8)
    values = 100.0 * sw.meter_reading(run, rod=ROD).transpose("root_zone_depth", "sample", "time")
    assert len(ax.collections) == len(ax.lines) == 2
    for i, (line, band) in enumerate(zip(ax.lines, ax.collections, strict=True)):
        assert line.get_ydata() == pytest.approx(np.median(values[i], axis=0))
        low, high = extent_of(band)
        assert low[1] == pytest.approx(np.quantile(values[i], 0.1, axis=0).min())
        assert high[1] == pytest.approx(np.quantile(values[i], 0.9, axis=0).max())


def test_days_count_from_where_they_are_told(depths):
    ax = sw.plot.dry_down(depths, rod=ROD, since="2025-07-02 06:00")
    assert ax.get_xlim() == pytest.approx((0.0, 2.75))
    assert ax.get_xlabel() == "days since 2025-07-02 06:00"
    first = float(sw.meter_reading(depths, rod=ROD)[0].sel(time="2025-07-02 06:00"))
    assert ax.lines[0].get_ydata()[0] == pytest.approx(100.0 * first)
    with pytest.raises(InputError, match=r"since: .* lies outside the run"):
        sw.plot.dry_down(depths, rod=ROD, since="2025-08-01")


def test_a_column_that_gave_up_is_named_and_the_others_are_drawn():
    never_at_rest = sw.Profile(GREEN.layers, sw.FreeDrainage())
    cases = [sw.Case(GREEN, WEATHER), sw.Case(never_at_rest, WEATHER, start="drained")]
    runs = sw.simulate_many(cases, dimension="spot", labels=["A1", "A2"])
    assert int(runs.status[1]) != 0
    ax = sw.plot.dry_down(runs, rod=ROD, thresholds=BANDS)
    assert np.isfinite(line_called(ax, "A1").get_ydata()).all()
    assert "did not reach the end: A2" in texts_of(ax)
    assert "A2" not in texts_of(ax)
    with pytest.raises(InputError, match="no values at that time"):
        sw.plot.profile(runs.isel(spot=1))


def test_before_and_after_are_two_lines_over_the_same_days(run, depths):
    later = depths.isel(root_zone_depth=2)
    ax = sw.plot.before_after(run, later, rod=ROD, names=("now", "rebuilt"))
    assert line_called(ax, "now").get_ydata() == pytest.approx(
        100.0 * sw.meter_reading(run, rod=ROD).values
    )
    assert line_called(ax, "rebuilt").get_linestyle() != line_called(ax, "now").get_linestyle()
    assert {"now", "rebuilt"} <= set(texts_of(ax))
    with pytest.raises(InputError, match="their times differ"):
        sw.plot.before_after(run, later.isel(time=slice(0, 20)), rod=ROD)


def test_the_bars_of_the_water_balance_add_up_to_the_dots(run):
    ax = sw.plot.water_balance(run)
    bars = {c.get_label(): [bar.get_height() for bar in c] for c in ax.containers}
    assert set(bars) == {"irrigation", "transpiration", "drainage"}
    dots = line_called(ax, "change of water held").get_ydata()
    assert np.sum(list(bars.values()), axis=0) == pytest.approx(dots, abs=1e-6)
    assert sum(bars["irrigation"]) == pytest.approx(30.0)
    assert sum(bars["transpiration"]) == pytest.approx(-float(run.transpiration[-1]))
    assert len(dots) == 4
    # Bars of one day stand on one another: each begins where the one before it ends.
    falling = [c for c in ax.containers if c.get_label() in ("transpiration", "drainage")]
    for upper, lower in zip(*falling, strict=True):
        assert lower.get_y() == pytest.approx(upper.get_y() + upper.get_height())
