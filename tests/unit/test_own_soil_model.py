"""A soil model written outside the package works everywhere a built-in one does."""

import subprocess
import sys
import textwrap
from dataclasses import dataclass, field

import numpy as np
import pytest
import xarray as xr

import soilwater as sw
from soilwater.soils import serial, soil_from_dict
from soilwater.soils.model import CONDUCTIVITY, RESIDUAL, SATURATED, SoilModel, parameter

DAY = sw.steady_weather(2, 5.0)


@pytest.fixture(autouse=True)
def registry(monkeypatch):
    """What a test registers is forgotten after it."""
    monkeypatch.setattr(serial, "MODELS", dict(serial.MODELS))


@dataclass(frozen=True, repr=False)
class Exponential(SoilModel):
    """Invented for these tests: saturation exp(-suction/scale), conductivity by its third power."""

    theta_r: float = field(metadata=RESIDUAL)
    theta_s: float = field(metadata=SATURATED)
    scale: float = field(metadata=parameter("scale of suction", "suction", above=0.0))
    k_sat: float = field(metadata=CONDUCTIVITY)

    def _check_together(self, faults, refused):
        pass

    @property
    def suction_scale(self):
        return self.scale

    @property
    def dry_end_water_content(self):
        return self.theta_r

    def _effective_saturation(self, suction):
        return np.exp(-suction / self.scale)

    def _water_content(self, suction):
        span = self.theta_s - self.theta_r
        return self.theta_r + span * self._effective_saturation(suction)

    def _capacity(self, suction):
        return (self._water_content(suction) - self.theta_r) / self.scale

    def _conductivity(self, suction):
        return self.k_sat * self._effective_saturation(suction) ** 3

    def _suction_at(self, water_content):
        span = self.theta_s - self.theta_r
        return -self.scale * np.log((water_content - self.theta_r) / span)


SOIL = Exponential(0.05, 0.40, 30.0, "40 cm/h", name="invented")
GREEN = sw.Profile.over_gravel(SOIL, 30.0, base_suction=3.0)


def test_results_of_a_model_that_was_entered_answer_every_question(tmp_path):
    sw.register_soil_model(Exponential)
    run = sw.simulate(GREEN, DAY, turf=sw.Turf(15.0), output="6 h")
    assert float(abs(run.closure_error).max()) < 1e-6
    reading = sw.meter_reading(run, rod="3 in")
    # Drained: at 10 cm above a base at 3 cm, exp(-suction/scale) integrated over 0 to 7.62 cm.
    at_rest = sw.meter_reading(sw.drained_state(GREEN), rod=7.62)
    share = 30.0 * (np.exp(-25.38 / 30.0) - np.exp(-33.0 / 30.0)) / 7.62
    assert float(at_rest) == pytest.approx(0.05 + 0.35 * share, abs=2e-5)
    line = float(reading[-1] + reading[0]) / 2.0
    assert 0.0 < float(sw.days_until(run, line, rod="3 in")) < 2.0
    assert run.soilwater.storage_by_layer().sizes["layer"] == 1
    run.to_netcdf(tmp_path / "run.nc")
    with xr.open_dataset(tmp_path / "run.nc") as again:
        xr.testing.assert_equal(sw.meter_reading(again.load(), rod="3 in"), reading)
    going_on = sw.simulate(GREEN, DAY, start=run, output="24 h")
    assert float(going_on.storage[0]) == pytest.approx(float(run.storage[-1]))


def test_it_goes_into_batches_depths_and_other_models():
    sw.register_soil_model(Exponential)
    runs = sw.compare_depths(GREEN, [20.0, 30.0], DAY, output="24 h")
    assert (runs.status == sw.Status.OK).all()
    assert np.isfinite(sw.meter_reading(runs, rod="3 in")).all()
    again = soil_from_dict(SOIL.to_dict())
    assert again == SOIL and type(again) is Exponential
    assert sw.Profile.from_json(GREEN.to_json()) == GREEN


def test_a_result_of_a_model_nobody_entered_names_the_cure():
    run = sw.simulate(GREEN, DAY, output="24 h")
    for question in (lambda: sw.meter_reading(run, rod="3 in"), run.soilwater.storage_by_layer):
        with pytest.raises(sw.InputError) as caught:
            question()
        message = str(caught.value)
        assert message.startswith(
            "Soil dictionary: \"model\": 'Exponential' is not known; allowed:"
        )
        assert "soilwater.register_soil_model: do so, or import the module" in message
    sw.register_soil_model(Exponential)
    assert np.isfinite(sw.meter_reading(run, rod="3 in")).all()


def test_a_file_is_read_in_another_process_once_the_model_is_entered_there(tmp_path):
    sw.register_soil_model(Exponential)
    sw.simulate(GREEN, DAY, output="24 h").to_netcdf(tmp_path / "run.nc")
    script = textwrap.dedent(
        """
        import sys
        import soilwater as sw
        import xarray as xr

        run = xr.open_dataset(sys.argv[1]).load()
        try:
            sw.meter_reading(run, rod="3 in")
        except sw.InputError as error:
            print("register_soil_model" in str(error))
        """
    )
    told = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "run.nc")],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert told.stdout == "True\n", told.stderr


def test_a_class_that_is_made_anew_takes_the_place_of_the_old():
    def cell(factor):
        @sw.register_soil_model
        @dataclass(frozen=True, repr=False)
        class InACell(Exponential):
            def _effective_saturation(self, suction):
                return np.exp(-factor * suction / self.scale)

        profile = sw.Profile.over_gravel(InACell(0.05, 0.40, 30.0, 40.0), 30.0, base_suction=3.0)
        return float(sw.meter_reading(sw.drained_state(profile), rod="3 in"))

    first = cell(1.0)
    assert cell(2.0) < first - 0.01
    assert cell(1.0) == first


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (SOIL, "is no soil model; allowed: a class below CapillaryModel or SoilModel"),
        (dict, "is no soil model"),
        (type("Plain", (Exponential,), {}), "Plain is no frozen dataclass of its own; write @data"),
        (
            dataclass(frozen=True)(type("VanGenuchten", (Exponential,), {})),
            "another model is called VanGenuchten, in soilwater.soils.van_genuchten",
        ),
        (
            dataclass(frozen=True)(type("Half", (SoilModel,), {})),
            "Half does not write _capacity, _check_together, _conductivity",
        ),
    ],
)
def test_what_cannot_be_entered(given, message):
    with pytest.raises(sw.InputError, match="register_soil_model: ") as caught:
        sw.register_soil_model(given)
    assert message in str(caught.value)
    assert set(serial.MODELS) == {each.__name__ for each in serial.BUILT_IN}
