"""Three worked scenarios of depth, told as a person would meet them; places are invented.

The expected numbers come from a separate screening calculation of the same invented sands, good to
about half a per cent by volume and a centimetre; it is no reference solution.
"""

from dataclasses import replace

import numpy as np
import pytest
from grounds import CAPPING_SAND, STRAIGHT_SAND, WET_MIX

import soilwater as sw
from soilwater.decisions.building.compare_sands import compare_sands
from soilwater.decisions.building.contour import depth_over_contour
from soilwater.decisions.building.depth import depth_window
from soilwater.decisions.spots.expected import expected_reading
from soilwater.decisions.watering.water_side import air_after_rain
from soilwater.ground.base_suction import BaseSuction
from soilwater.survey.survey import Spot, Survey

MIX = replace(WET_MIX, name="peat mix")
STRAIGHT = replace(STRAIGHT_SAND, name="straight sand")
CAPPING = replace(CAPPING_SAND, name="capping sand")


class TestCapOverWickingSubsoil:
    """Gorse Hollow, fairway 5: a cap over clay loam, whose suction sets the base."""

    SUBSOIL = BaseSuction(30.0, 10.0, 60.0, "clay loam: wet season 10, moist 30, dry 60 cm")

    @pytest.mark.parametrize(
        ("suction", "water", "air"), [(10, 35.1, 4.9), (30, 24.7, 15.3), (60, 14.5, 25.5)]
    )
    def test_the_same_cap_is_wet_or_dry_with_its_subsoil(self, suction, water, air):
        cap = depth_window(
            CAPPING, (0.15, 0.30), rod="3 in", air_filled="minimum", base_suction=suction
        ).to_dataset([20.0])
        assert 100 * float(cap.expected_reading[0]) == pytest.approx(water, abs=0.5)
        assert 100 * float(cap.air_filled_porosity[0]) == pytest.approx(air, abs=0.5)

    def test_the_wet_season_needs_a_deeper_cap_than_is_built(self):
        wet = depth_window(
            CAPPING, (0.15, 0.30), rod="3 in", air_filled="minimum", base_suction=10.0
        )
        # "Even 30 cm just reaches 10 % air."
        just = wet.to_dataset([30.0]).air_filled_porosity
        assert 100 * float(just[0]) == pytest.approx(10.0, abs=0.5)
        assert wet.low > 29.0

    def test_a_coarser_sand_mends_the_wet_season_and_costs_the_dry_one(self):
        both = compare_sands(
            {"capping": CAPPING, "straight": STRAIGHT}, (0.15, 0.30), rod="3 in",
            air_filled="minimum", base_suction=self.SUBSOIL,
        )  # fmt: skip
        assert "clay loam" in repr(both)
        at_20 = {
            suction: depth_window(
                STRAIGHT, (0.15, 0.30), rod="3 in", air_filled="minimum", base_suction=suction
            ).to_dataset([20.0])
            for suction in (10.0, 30.0, 60.0)
        }
        read = [100 * float(each.expected_reading[0]) for each in at_20.values()]
        assert read == pytest.approx([20.2, 6.0, 3.0], abs=0.7)
        assert 100 * float(at_20[10.0].air_filled_porosity[0]) == pytest.approx(17.0, abs=0.5)

    def test_the_band_says_that_no_one_depth_is_safe(self):
        cap = depth_window(
            CAPPING, (0.15, 0.25), rod="3 in", air_filled="minimum", base_suction=self.SUBSOIL
        )
        # 50 cm of subsoil suction are 50 cm of depth, cut at the length of the rods.
        assert cap.best_band.low == pytest.approx(7.62)
        assert cap.best_band.high > 40.0
        # The best of all depths fails under a quarter of the subsoil's suctions or more.
        assert 0.5 < cap.to_dataset().probability.max() < 0.75


class TestVariableDepth:
    """Whinsedge Down, new green 14: a crest, a bank and a flat, 15 to 25 % wanted, 20 % best."""

    def test_depths_follow_the_slope(self):
        level = depth_window(MIX, (0.15, 0.25), rod="3 in", air_filled="minimum", base_suction=3.0)
        design = depth_over_contour(level, {"flat": 0.0, "bank": "6 cm", "crest": "12 cm"})
        built = [place.depth for place in design.places]
        assert built == pytest.approx([37.0, 31.0, 25.0], abs=1.0)
        # On a crest worth 12 cm, 25 cm reads as the flat does.
        flat, crest = design.places[0], design.places[2]
        curve = level.to_dataset([flat.depth])
        on_crest = depth_window(
            MIX, (0.15, 0.25), rod="3 in", air_filled="minimum", base_suction=15.0
        ).to_dataset([crest.depth])
        assert float(on_crest.expected_reading[0]) == pytest.approx(
            float(curve.expected_reading[0]), abs=1e-6
        )

    def test_another_sand_stands_half_the_tolerance(self):
        both = compare_sands(
            [MIX, STRAIGHT], (0.15, 0.25), rod="3 in", air_filled="minimum", base_suction=3.0
        )
        tolerances = [window.tolerance / 2.54 for window in both.windows]
        assert tolerances == pytest.approx([3.5, 1.5], abs=0.15)
        assert "+-1.5 in" in repr(both)


class TestWetBowl:
    """Mallow Tarn, green 1: a bowl of 18 cm in a green of 30 cm, and an outlet that may flood."""

    DEPTHS = (18.0, 22.0, 26.0, 30.0)

    def test_the_bowl_lacks_air_even_when_drained(self):
        green = sw.Profile.over_gravel(MIX, 30.0, base_suction=3.0)
        drained = air_after_rain(green, self.DEPTHS, air_filled="minimum", root_layer="3 in")
        flooded = air_after_rain(
            green, self.DEPTHS, air_filled="minimum", root_layer="3 in", standing_water="5 cm"
        )
        air = 100 * drained.air_filled_porosity.values
        assert (air[0], air[-1]) == pytest.approx((6.1, 16.7), abs=0.5)
        under = 100 * flooded.air_filled_porosity.values
        assert (under[0], under[-1]) == pytest.approx((1.3, 9.6), abs=0.5)
        # Nowhere back with a flooded outlet; at 18 and 22 cm not even with a free one.
        assert np.isinf(flooded.hours_until_air.values).all()
        assert np.isinf(drained.hours_until_air.values).tolist() == [True, True, False, False]

    def test_raising_the_bowl_is_a_depth_with_a_number(self):
        window = depth_window(MIX, (0.15, 0.30), rod="3 in", air_filled="minimum", base_suction=3.0)
        # 25 cm reads 29.7 %, so the reading sets the shallow end, not the air.
        assert window.limited_by == "reading" and window.low == pytest.approx(24.7, abs=1.0)
        survey = Survey(tuple(Spot(f"bowl {depth:g}", depth) for depth in self.DEPTHS))
        reads = expected_reading(survey, MIX, rod="3 in", base_suction=3.0)
        assert (reads.expected_reading.diff("spot") < 0.0).all()
