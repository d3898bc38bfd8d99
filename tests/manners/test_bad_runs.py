"""What people are told about runs that cannot be run: settings, sizes, starts, rules, workers."""

import contextlib
import inspect
import re
import warnings

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import soilwater as sw
from soilwater.runs.settings import MOST_OUTPUTS
from soilwater.words.units import number_to_house

SAND = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0, name="greens mix")
GREEN = sw.Profile.over_gravel(SAND, 30.0, base_suction=3.0)
DAY = sw.steady_weather(1, 4.0)
CASE = sw.Case(GREEN, DAY)
EVENT = sw.Event("2025-07-01 06:00", 5.0, rate=20.0)
RULE = sw.Rule("6 mm", 0.39, rod="3 in", rate="18 mm/h")


def told(call):
    """Message of the error a call raises."""
    with pytest.raises(sw.InputError) as caught:
        call()
    message = str(caught.value)
    for internal in ("Traceback", "numpy", "dtype", "object at 0x", "NoneType object"):
        assert internal not in message
    return message


# --- sizes -------------------------------------------------------------------------------------


@pytest.mark.parametrize("thickness", ["1 km", 1e9, "101 m", np.nextafter(1e4, 2e4)])
def test_profiles_deeper_than_any_ground_somebody_asks_about(thickness):
    message = told(lambda: sw.Profile.over_gravel(SAND, thickness))
    assert message.endswith("cm; allowed: up to 10000 cm.")
    told(lambda: GREEN.with_thickness(thickness))
    told(lambda: sw.compare_depths(GREEN, [30.0, thickness], DAY))


def test_layers_that_are_too_deep_together():
    layers = [sw.Layer(SAND, 6000.0, "upper"), sw.Layer(SAND, 6000.0, "lower")]
    message = told(lambda: sw.Profile(layers, sw.FreeDrainage()))
    assert message == "Profile: it is 12000 cm deep; allowed: up to 10000 cm."
    assert sw.Profile.over_gravel(SAND, "100 m").depth == 10_000.0


@pytest.mark.parametrize("refinement", [1e4, 1e300])
def test_meshes_that_are_too_fine(refinement):
    message = told(lambda: sw.simulate(GREEN, DAY, refinement=refinement))
    assert "nodes; allowed: up to 100,000; take a refinement of" in message
    cure = float(message.split("refinement of ")[-1].split()[0])
    assert GREEN.mesh(cure).depth.size <= 100_001


@pytest.mark.parametrize("output", ["1e-9 h", 1e-300, "1 ns", pd.Timedelta("1 ms").to_numpy()])
def test_more_output_times_than_anybody_reads(output):
    message = told(lambda: sw.simulate(GREEN, DAY, output=output))
    assert "output times; allowed: up to 1,000,000; take an interval of " in message
    cure = message.split("interval of ")[-1].split('"')[1]
    assert 0.9 * MOST_OUTPUTS < 24.0 / number_to_house(cure, "duration", "cure") <= MOST_OUTPUTS


# --- settings ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["tolerance", "refinement", "max_steps"])
@pytest.mark.parametrize("value", [None, "fine", True, np.nan, -1, [0.003]])
def test_settings_that_are_no_such_number(name, value):
    message = told(lambda: sw.simulate(GREEN, DAY, **{name: value}))
    assert message.startswith(f"Settings: {name} is {value!r}; allowed: ")


def test_all_settings_at_once():
    settings = {"tolerance": None, "refinement": "fine", "max_steps": 2.5, "keep": ["rane"]}
    message = told(lambda: sw.simulate(GREEN, DAY, **settings))
    assert message.splitlines()[0] == "Settings: 4 faults"


@pytest.mark.parametrize("keep", [5, None.__class__, 0.5])
def test_names_that_are_no_names(keep):
    assert "is no list of names; allowed: such as" in told(
        lambda: sw.simulate_many([CASE], keep=keep)
    )


@pytest.mark.parametrize("n_threads", [0, -1, 1.5, "two", True])
def test_threads_that_are_no_number_of_threads(n_threads):
    message = told(lambda: sw.simulate_many([CASE], n_threads=n_threads, keep=()))
    assert f"n_threads: {n_threads!r}; allowed: a whole number from 1 up, or None" in message


@pytest.mark.parametrize("labels", [5, "north", (each for each in "a")])
def test_labels_that_are_no_list(labels):
    with pytest.raises(sw.InputError, match=r"labels is .*; allowed: a list with one label a case"):
        sw.simulate_many([CASE], labels=labels)


@pytest.mark.parametrize("cases", [5, None, 0.5])
def test_cases_that_are_no_list(cases):
    assert told(lambda: sw.simulate_many(cases)).startswith(f"cases: {cases!r}; allowed: several")


# --- what is applied ---------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "one"), [("irrigation", EVENT), ("rules", RULE)])
def test_one_where_a_list_is_due(name, one):
    kind = type(one).__name__
    for call in (
        lambda: sw.simulate(GREEN, DAY, **{name: one}),
        lambda: sw.compare_depths(GREEN, [30.0], DAY, **{name: one}),
        lambda: sw.Case(GREEN, DAY, **{name: one}),
    ):
        assert told(call) == (
            f"Case: {name} is one {kind}; allowed: a list of {kind}, or none; write {name}=[...] "
            "around it."
        )


@pytest.mark.parametrize("value", [5, None, 0.5])
def test_what_is_no_list_at_all(value):
    message = told(lambda: sw.simulate(GREEN, DAY, irrigation=value))
    assert message == f"Case: irrigation is {value!r}; allowed: a list of Event, or none."


def test_events_that_come_one_by_one_are_there_for_every_run():
    case = sw.Case(GREEN, DAY, irrigation=(each for each in [EVENT]))
    for _ in range(2):
        assert float(sw.simulate_many([case]).irrigation[0, -1]) == pytest.approx(5.0)


def test_a_rule_that_reads_below_the_profile():
    rule = sw.Rule("6 mm", 0.2, rod="12 in", rate="18 mm/h")
    shallow = GREEN.with_thickness(20.0)
    message = told(lambda: sw.simulate(shallow, DAY, rules=[RULE, rule]))
    assert message == (
        "Case: rules, position 1: its rod of 30.5 cm (12.0 in) is longer than the profile is deep: "
        "20.0 cm (7.9 in); allowed: up to 20.0 cm (7.9 in); take a shorter rod."
    )


def test_a_rule_whose_event_would_outlast_the_weather_brings_what_falls_within_it():
    """As the same run would, had its weather gone on."""
    long_event = sw.Rule("30 mm", 0.39, rod="3 in", rate="6 mm/h", hour=22.0)
    settings = {"rules": [long_event], "turf": sw.Turf(15.0), "start": "drained"}
    run = sw.simulate(GREEN, DAY, output="6 h", **settings)
    longer = sw.simulate(GREEN, sw.steady_weather(2, 4.0), output="6 h", **settings)
    assert float(run.irrigation[-1]) == pytest.approx(12.0)
    for name in ("irrigation", "storage", "drainage"):
        assert run[name].values == pytest.approx(longer[name][:5].values, abs=1e-3), name


# --- starts ------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", [0.22, np.float64(0.999), 1e-9])
def test_a_start_that_could_be_two_things_is_asked_about(start):
    message = told(lambda: sw.simulate(GREEN, DAY, start=start))
    assert message.startswith(
        f"start: {start:g} could be a suction in cm or a water content; write"
    )
    as_suction, as_water = message.removesuffix(".").split("start=")[1:]
    pasted = eval(as_suction.split(" for the ")[0])
    by_suction = sw.simulate(GREEN, DAY, start=pasted, output="24 h")
    assert float(by_suction.node_suction[0, 0]) == pytest.approx(start)
    if start == 0.22:
        pasted = eval(as_water.split(" for the ")[0], {"xr": xr})
        by_water = sw.simulate(GREEN, DAY, start=pasted, output="24 h")
        assert by_water.water_content[0].values == pytest.approx(0.22)


@pytest.mark.parametrize("start", [0, 0.0, 1, 22.0, -0.5])
def test_a_start_that_can_only_be_a_suction_is_taken(start):
    run = sw.simulate(GREEN, DAY, start=start, output="24 h")
    assert float(run.node_suction[0, 0]) == pytest.approx(start)


# --- results that were turned round ------------------------------------------------------------


@pytest.mark.parametrize("turned", ["reversed", "repeated"])
def test_days_until_over_times_that_do_not_go_forward(turned):
    run = sw.simulate(GREEN, sw.steady_weather(6, 5.0), turf=sw.Turf(15.0), output="6 h")
    expected = float(sw.days_until(run, 0.15, rod="3 in"))
    assert 0.0 < expected < 6.0
    order = list(range(run.sizes["time"]))
    wrong = run.isel(time=order[::-1] if turned == "reversed" else [*order[:3], 2, *order[3:]])
    message = told(lambda: sw.days_until(wrong, 0.15, rod="3 in"))
    assert message.startswith("Days until: time does not go forward: 2025-07-")
    mended = eval(message.split("give ")[1].removesuffix("."), {"run": wrong})
    assert float(sw.days_until(mended, 0.15, rod="3 in")) == expected


# --- sands -------------------------------------------------------------------------------------

TAKES_A_SAND = {
    "Layer": lambda sand: sw.Layer(sand, 30.0),
    "over_gravel": lambda sand: sw.Profile.over_gravel(sand, 30.0),
    "with_soil": GREEN.with_soil,
    "compare_depths": lambda sand: sw.compare_depths(GREEN, [30.0], DAY, sand=sand),
    "simulate_ensemble": lambda sand: sw.simulate_ensemble(GREEN, DAY, sand=sand),
    "drained_state": lambda sand: sw.drained_state(GREEN, sand=sand),
}


@pytest.fixture(scope="module")
def fit():
    table = sw.RetentionTable([10.0, 20.0, 30.0, 50.0], [0.38, 0.27, 0.17, 0.10])
    return table.fit(sw.VanGenuchten, k_sat=40.0)


@pytest.mark.parametrize("name", TAKES_A_SAND)
@pytest.mark.parametrize("given", ["sand", 5, sw.VanGenuchten])
def test_a_sand_that_is_none(name, given):
    message = told(lambda: TAKES_A_SAND[name](given))
    shown = "the class VanGenuchten" if given is sw.VanGenuchten else repr(given)
    assert f"{shown}; allowed: a soil" in message


@pytest.mark.parametrize("name", ["Layer", "over_gravel", "with_soil"])
def test_a_fit_stands_for_its_best_curve_in_a_profile(name, fit):
    assert TAKES_A_SAND[name](fit) == TAKES_A_SAND[name](fit.soil)


@pytest.mark.parametrize("name", ["compare_depths", "simulate_ensemble", "drained_state"])
def test_several_sands_may_be_mixed(name, fit):
    several = TAKES_A_SAND[name]([SAND, *fit.samples(2)])
    assert several.sizes["sample"] == 3
    assert "'loam'; allowed in a list: soils" in told(lambda: TAKES_A_SAND[name]([SAND, "loam"]))
    assert "sand: there are none" in told(lambda: TAKES_A_SAND[name]([]))


@pytest.mark.parametrize("call", [sw.compare_depths, sw.simulate_ensemble])
def test_profiles_and_weather_in_each_others_place(call):
    arguments = (DAY, [30.0], GREEN) if call is sw.compare_depths else (DAY, GREEN)
    assert told(lambda: call(*arguments)).startswith("profile is a Weather; allowed: a Profile")


# --- one surface -------------------------------------------------------------------------------

SIMULATORS = (sw.simulate, sw.simulate_many, sw.compare_depths, sw.simulate_ensemble)


def test_every_simulator_takes_the_same_settings_in_the_same_words():
    shared = ["output", "keep", "ponding_limit", "surface", "tolerance", "refinement", "max_steps"]
    column = ["turf", "start", "irrigation", "rules"]
    work = ["n_threads", "executor", "store", "progress"]

    def entry(function, name):
        text = inspect.getdoc(function)
        begin = text.index(f"\n{name} : ")
        lines = text[begin + 1 :].splitlines()
        inside = [i for i, line in enumerate(lines) if i and not line.startswith("    ")]
        return lines[: inside[0]]

    for names, functions in (
        (shared, SIMULATORS),
        (column, [f for f in SIMULATORS if f is not sw.simulate_many]),
        (work, SIMULATORS[1:]),
    ):
        for name in names:
            kinds = {str(inspect.signature(f).parameters[name]) for f in functions}
            words = {tuple(entry(f, name)) for f in functions}
            assert len(kinds) == len(words) == 1, name
    for function in SIMULATORS:
        assert not re.search(r"^\s*{[a-z_ ]+}$", function.__doc__, flags=re.MULTILINE)


def test_the_settings_of_a_batch_of_depths_are_those_of_single_runs():
    dry = sw.steady_weather(1, 0.0)
    settings = {"surface": sw.HeldSurface("2 cm"), "refinement": 2.0, "output": "12 h"}
    alone = sw.simulate(GREEN, dry, **settings)
    for batch in (
        sw.compare_depths(GREEN, [30.0], dry, **settings).isel(root_zone_depth=0),
        sw.simulate_ensemble(GREEN, dry, sand=SAND, **settings).isel(sample=0),
    ):
        for name in ("node_suction", "infiltration", "drainage"):
            assert np.array_equal(batch[name], alone[name]), name
    kept = sw.simulate(GREEN, dry, keep=["drainage"], output="12 h")
    assert set(kept.data_vars) == {"drainage", "status", "status_text", "profile"}
    gave_up = sw.compare_depths(GREEN, [30.0], dry, max_steps=1, output="12 h")
    assert int(gave_up.status[0]) == sw.Status.TOO_MANY_STEPS


# --- calls with things of another kind ---

WRONG = (
    None, "", "abc", float("nan"), float("inf"), -1, 10**400, True, b"x", [], ["a"], {}, object(),
    np.array([]), np.array([1.0, np.nan]), np.datetime64("NaT"), complex(1, 2), range(3), [[]],
)  # fmt: skip
KEPT_OUT = {
    "explore",
    "explore_ground",
    "calibrate",
    "register_soil_model",
    "remove_mat",
    "wettable",
    "irrigate",
}
"""Functions that would run for long, that take a class, or nothing."""
FUNCTIONS = [
    name for name in sw.__all__ if inspect.isfunction(getattr(sw, name)) and name not in KEPT_OUT
]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_names_what_is_of_another_kind(name, tmp_path, monkeypatch):
    # Half of such calls ended in an error of Python.
    monkeypatch.chdir(tmp_path)
    function = getattr(sw, name)
    signature = inspect.signature(function).parameters.values()
    several = (inspect.Parameter.VAR_KEYWORD, inspect.Parameter.VAR_POSITIONAL)
    parameters = [each for each in signature if each.kind not in several]
    needed = [each.name for each in parameters if each.default is each.empty]
    asked = needed or [each.name for each in parameters]
    for i, wrong in enumerate(WRONG):
        given = {each: WRONG[(i + 5 * j) % len(WRONG)] for j, each in enumerate(asked)}
        given[asked[i % len(asked)]] = wrong
        with warnings.catch_warnings(), contextlib.suppress(sw.InputError, FileNotFoundError):
            warnings.simplefilter("ignore")
            function(**given)


def test_what_is_wrong_is_named_with_what_is_allowed():
    with pytest.raises(sw.InputError) as caught:
        sw.join_surveys(1, "two")
    assert [*caught.value.faults] == [
        "first is 1; allowed: a Survey.",
        "second is 'two'; allowed: a Survey.",
    ]
    with pytest.raises(sw.InputError, match="allowed: an Event"):
        sw.irrigate(3.0)
    turf = sw.Turf(15)
    with pytest.raises(sw.InputError, match=r"Turf\.demand: weather is 3\.0; allowed: a Weather"):
        turf.demand(3.0)


def test_an_error_of_ours_is_not_laid_at_the_door_of_the_caller():
    from soilwater.words.renamed import mind_words

    @mind_words()
    def broken(days: "int", name: "str | None" = None):
        raise AttributeError("a slip of our own")

    with pytest.raises(AttributeError, match="of our own"):
        broken(3, name="x")
    with pytest.raises(sw.InputError, match="broken: days is 'x'; allowed: a whole number"):
        broken("x")


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: sw.steady_weather(1e9, 5), "allowed: up to 36,525 days"),
        (lambda: sw.Event("2025-06-01", "1 mm", rate=1e-9), "allowed: up to 8784 h"),
        (
            lambda: sw.Profile([sw.Layer(SAND, 0.1, str(i)) for i in range(1001)], sw.Sealed()),
            "allowed: up to 1,000",
        ),
    ],
)  # fmt: skip
def test_more_than_anybody_has_is_refused(make, told):
    with pytest.raises(sw.InputError, match=told):
        make()


def test_a_file_of_more_lines_than_a_sheet_has_is_refused(tmp_path):
    path = tmp_path / "long.csv"
    path.write_text("suction (cm),VWC (%)\n" + "10,38\n" * 50_001, encoding="utf-8")
    for read in (sw.read_retention, sw.read_survey):
        with pytest.raises(sw.InputError, match="allowed: 50,000"):
            read(path)
