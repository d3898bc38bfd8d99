"""The drained baseline of a survey: values, bands, gaps and the warnings beside them."""

from dataclasses import replace

import numpy as np
import pytest
from grounds import REPORTED, WET_MIX

import soilwater as sw
from soilwater.decisions.spots.expected import expected_reading
from soilwater.survey.survey import Reading, Spot, Survey
from soilwater.words.errors import InputError

SAND = replace(WET_MIX, name="C")
SUCTIONS = (10.0, 20.0, 30.0, 40.0, 60.0)
SURVEY = Survey(
    (
        Spot("A1", 30.0, readings=(Reading(0.25, rod=7.62), Reading(0.27, rod=7.62)), x=0.0, y=0.0),
        Spot(
            "A2", 46.0, readings=(Reading(0.156, rod=7.62), Reading(0.99, rod=7.62)), x=3.0, y=0.0
        ),
        Spot("A3", 40.0, depth_at_least=True, x=6.0, y=0.0),
        Spot("A4", readings=(Reading(0.2, rod=7.62),), x=9.0, y=0.0),
    ),
    name="Skylark bank, nursery",
)


def test_readings_of_one_spot_are_shown_by_how_sure_they_are():
    """A mean weighed by variances, 2.5 % for the meter: of 20 and 10 % that errs as much again."""
    readings = (Reading(0.2, rod=7.62), Reading(0.1, rod=7.62, added_error=0.025))
    spot = Spot("A1", 30.0, readings=readings)
    assert spot.mean_reading() == pytest.approx((2.0 * 0.2 + 0.1) / 3.0)
    assert float(expected_reading(Survey([spot]), SAND).reading[0]) == spot.mean_reading()


def test_each_spot_by_its_own_depth():
    drained = expected_reading(SURVEY, SAND, base_suction=3.0, probe_error=0.0)
    # A separate screening calculation of this invented sand: 25.3 and 15.7 % for 7.6 cm rods.
    assert 100 * drained.expected_reading.values[:2] == pytest.approx([25.3, 15.7], abs=0.5)
    # The kernel's own statics, by another path.
    statics = sw.drained_water_content(
        sw.Profile.over_gravel(SAND, 46.0, base_suction=3.0), 0.0, 7.62
    )
    assert float(drained.expected_reading[1]) == pytest.approx(statics, abs=2e-5)
    assert drained.reading.values[:2] == pytest.approx([0.26, 0.156])
    assert float(drained.reading_gap[1]) == pytest.approx(0.156 - statics, abs=2e-5)


def test_spots_without_a_depth_have_no_baseline():
    drained = expected_reading(SURVEY, SAND)
    assert np.isnan(drained.expected_reading.sel(spot="A4"))
    assert float(drained.reading.sel(spot="A4")) == 0.2


def test_the_band_holds_base_and_probe_and_least_depths():
    certain = expected_reading(SURVEY, SAND, base_suction=3.0, probe_error=0.0)
    width = certain.expected_reading_upper - certain.expected_reading_lower
    assert width.values[:2] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert float(width.sel(spot="A3")) > 0.03
    usual = expected_reading(SURVEY, SAND, base_suction=REPORTED)
    assert (usual.expected_reading_upper - usual.expected_reading_lower > width)[:3].all()
    # 1 cm of probe error moves a 30 cm reading of this sand by about 0.7 %: 80 % lie within 1.28
    # standard deviations (normal distribution).
    probe = expected_reading(SURVEY, SAND, base_suction=3.0, probe_error=1.0).isel(spot=0)
    slope = sw.drained_water_content(
        sw.Profile.over_gravel(SAND, 29.5, base_suction=3.0), 0.0, 7.62
    ) - sw.drained_water_content(sw.Profile.over_gravel(SAND, 30.5, base_suction=3.0), 0.0, 7.62)
    half = 0.5 * float(probe.expected_reading_upper - probe.expected_reading_lower)
    assert half == pytest.approx(1.2816 * slope, rel=0.05)


def test_a_fit_widens_the_band():
    table = sw.RetentionTable(
        [10, 20, 30, 40], [0.406, 0.336, 0.246, 0.180], porosity=0.42, k_sat=28.0
    )
    fit = table.fit(sw.VanGenuchten)
    of_fit = expected_reading(SURVEY, fit, base_suction=3.0, probe_error=0.0)
    assert (of_fit.expected_reading_upper > of_fit.expected_reading_lower)[:3].all()


def test_it_is_ready_for_a_map():
    drained = expected_reading(SURVEY, SAND)
    assert drained.x.values.tolist() == [0.0, 3.0, 6.0, 9.0]
    assert drained.expected_reading.attrs["units"] == "1"
    assert "nobody measures it on site" in drained.attrs["base_suction"]
    assert "not credible" in drained.attrs["cautions"]


def test_slopes_are_warned_of_with_numbers():
    steep = Survey((Spot("crest", 30.0, slope="4 %"), Spot("flat", 30.0)))
    asked = expected_reading(steep, SAND, rod="3 in").attrs["cautions"]
    assert "crest (4.0 %); give slope_length" in asked
    told = expected_reading(steep, SAND, rod="3 in", slope_length="9 m").attrs["cautions"]
    assert (
        "crest, if at the crest, behaves as if" in told
        and "6.6 to 11.5 cm (2.6 to 4.5 in) deeper" in told
    )


def test_faults_at_once():
    with pytest.raises(InputError) as caught:
        expected_reading(Survey((Spot("a", 6.0), Spot("b"))), SAND, rod=7.62, probe_error=-1.0)
    for part in ("a: 6.0 cm deep, less than the rods", "probe_error is -1"):
        assert part in str(caught.value)
    with pytest.raises(InputError, match=r"no readings; say which.*\n- no spot has a depth"):
        expected_reading(Survey((Spot("b"),)), SAND)


def test_a_probe_is_off_by_a_centimetre_unless_it_is_said():
    """From memory, no source."""
    unsaid = expected_reading(SURVEY, SAND, base_suction=3.0)
    assert unsaid.equals(expected_reading(SURVEY, SAND, base_suction=3.0, probe_error="1 cm"))


def test_flooded_and_rewetted_readings_stand_beside_each_other():
    # Another solver, 48 h after 40 mm at 10 mm/h on a green dried for six days: 21.9 % at a ratio
    # of suctions of 1.5, 20.2 % at 2, where the lab's drained reading is 25.3 (see
    # `test_remembering_columns`); trapped air takes some per cent of what is left.
    drained = expected_reading(SURVEY, SAND, base_suction=3.0, probe_error=0.0).isel(spot=0)
    assert float(drained.rewetted_reading_lower) < 0.202 < float(drained.rewetted_reading_upper)
    assert 0.195 < float(drained.rewetted_reading) < 0.222
    assert float(drained.rewetted_reading_upper) < float(drained.expected_reading)


def test_a_sand_with_a_memory_of_its_own_keeps_it():
    sand = sw.Hysteretic(SAND, 2.0)
    drained = expected_reading(SURVEY, sand, base_suction=3.0, probe_error=0.0).isel(spot=0)
    width = float(drained.rewetted_reading_upper - drained.rewetted_reading_lower)
    assert width == pytest.approx(0.0, abs=1e-12)
    assert float(drained.rewetted_reading) == pytest.approx(0.202, abs=0.003)


def test_the_harder_the_rain_the_nearer_to_flooded():
    at = [
        float(expected_reading(SURVEY, SAND, after=sw.AfterRain(rate)).rewetted_reading[0])
        for rate in (3.0, 10.0, 100.0)
    ]
    assert at[0] < at[1] < at[2]
    with pytest.raises(InputError, match=r"after: 10\.0; allowed: AfterRain"):
        expected_reading(SURVEY, SAND, after=10.0)


@pytest.mark.parametrize("kind", ["a soil", "a fit"])
def test_one_spot_has_one_number_in_every_call(kind):
    """What its depth gives, drained: to the last digit, whoever tells it."""
    sand = SAND
    if kind == "a fit":
        sand = sw.RetentionTable(
            [10, 20, 30, 40], [0.365, 0.289, 0.154, 0.081], porosity=0.37, k_sat=60.0
        ).fit(sw.VanGenuchten)
    depths = [26.0, 33.0, 41.0]
    green = Survey(
        [Spot(f"{d:g}", d, readings=(Reading(0.30, rod=7.62),)) for d in depths]
        + [Spot("41+", 41.0, depth_at_least=True, readings=(Reading(0.12, rod=7.62),))]
    )
    told = expected_reading(green, sand)
    odds = sw.diagnose(green, sand)
    for spot in odds.spots:
        here = told.sel(spot=spot.spot.name)
        assert spot.expected == float(here.expected_reading)
        # Errors of the meter stand in the band of a diagnosis, beside those of sand and depth.
        assert spot.band[0] < float(here.expected_reading_lower)
        assert spot.band[1] > float(here.expected_reading_upper)
        # All read high: the green as a whole takes the meter to do so.
        assert spot.as_green_reads[1] > spot.expected + 0.005
    assert (
        odds.to_dataset().expected_reading.values.tolist() == told.expected_reading.values.tolist()
    )
    if kind == "a soil":
        gently = sw.diagnose(green, sand, after=sw.AfterRain("10 mm/h"))
        assert [each.expected for each in gently.spots] == told.rewetted_reading.values.tolist()
    certain = expected_reading(green, sand, probe_error=0.0).expected_reading.values[:3]
    window = sw.depth_window(sand, (0.12, 0.22), rod=7.62, air_filled=0.1)
    assert window.to_dataset(depths).expected_reading.values == pytest.approx(certain, abs=1e-12)
    compared = sw.compare_sands(
        {"sand": sand}, (0.12, 0.22), rod=7.62, air_filled=0.1, depths=depths
    )
    assert [each.reading for each in compared.at_depths] == pytest.approx(certain, abs=1e-12)
    # Where the window begins and ends, readings are what was asked for.
    ends = window.to_dataset([window.low, window.high]).expected_reading.values
    assert ends == pytest.approx([0.22, 0.12], abs=2e-4)


def test_what_is_not_known_is_not_paired():
    """Base and probe err apart from each other: their variances add up."""
    base = sw.BaseSuction(6.0, 2.0, 10.0)

    def spread(**given):
        told = expected_reading(SURVEY, SAND, **given).isel(spot=0)
        return float(told.expected_reading_upper - told.expected_reading_lower)

    of_base = spread(base_suction=base, probe_error=0.0)
    of_probe = spread(base_suction=6.0, probe_error=2.0)
    both = spread(base_suction=base, probe_error=2.0)
    assert both == pytest.approx(np.hypot(of_base, of_probe), rel=0.06)


@pytest.mark.parametrize("kind", ["a fit", "two sands"])
def test_outlook_and_plan_tell_a_drained_spot_as_every_other_call(kind):
    """Two sands leave a gap in which a median lies anywhere: it was 13.1, 17.5 and 15.1 %."""
    coarse, fine = (
        sw.RetentionTable(SUCTIONS, water, porosity=water[0] + 0.005, k_sat=k).fit(sw.VanGenuchten)
        for water, k in (
            ([0.375, 0.283, 0.156, 0.092, 0.05], 45.0),
            ([0.398, 0.355, 0.286, 0.225, 0.155], 22.0),
        )
    )
    sand = coarse if kind == "a fit" else [coarse, fine]
    green = Survey([Spot("n", 30.0), Spot("w", 41.0), Spot("deep", 45.0, depth_at_least=True)])
    weather, turf = sw.steady_weather(3, 5.0), sw.Turf(12.0)
    told = expected_reading(green, sand, rod=7.62)
    lines = sw.Thresholds("30 %", "20 %", "10 %")
    outlook = sw.dry_down_outlook(green, sand, weather, turf, lines, rod=7.62, draws=60)
    plan = sw.hand_water_plan(green, sand, weather, turf, "24 %", rod=7.62, draws=60)
    for each in outlook.spots:
        here = told.sel(spot=each.spot.name)
        names = ("expected_reading_lower", "expected_reading", "expected_reading_upper")
        assert each.start == tuple(float(here[name]) for name in names)
        assert each.readings[0] == float(here.expected_reading)
        assert each.rewetted[1] == float(here.rewetted_reading)
        # Sixty cases that are run lie as near to it as they can.
        assert each.course.median[0] == pytest.approx(float(here.expected_reading), abs=0.006)
        said = plan.spot(each.spot.name).sentence
        drained, gentle = 100.0 * here.expected_reading, 100.0 * here.rewetted_reading
        assert f"drained it reads {drained:.1f} %, and {gentle:.1f} % after 10.0 mm/h" in said
