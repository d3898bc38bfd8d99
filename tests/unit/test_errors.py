"""Errors: one message for all faults, and classes that older habits still catch."""

import pickle

import numpy as np
import pytest

from soilwater.words.errors import (
    Faults,
    InputError,
    RunError,
    SoilWaterError,
    SoilWaterWarning,
    Status,
    UnitError,
    by_kind,
)
from soilwater.words.kinds import wrong_kinds


def test_one_fault_is_one_line_with_subject_place_allowed_and_cure():
    faults = Faults('Layer 2 ("gravel")')
    faults.add("theta_r=0.41 is too large", where="row 3", allowed="below 0.38", cure="swap them")
    with pytest.raises(InputError) as caught:
        faults.raise_if_any()
    assert str(caught.value) == (
        'Layer 2 ("gravel"): row 3: theta_r=0.41 is too large; allowed: below 0.38; swap them.'
    )


def test_parts_left_out_leave_no_trace():
    faults = Faults("Profile")
    faults.add("it has no layers.")
    assert str(faults.as_error()) == "Profile: it has no layers."


def test_several_faults_are_counted_and_listed_in_order():
    faults = Faults("Lab sheet")
    faults.add("first")
    faults.add("second", where="row 2")
    with pytest.raises(InputError) as caught:
        faults.raise_if_any()
    assert str(caught.value) == "Lab sheet: 2 faults\n- first.\n- row 2: second."
    assert caught.value.faults == ("first.", "row 2: second.")


def test_nothing_noted_raises_nothing():
    faults = Faults("Lab sheet")
    faults.raise_if_any()
    assert not faults
    assert len(faults) == 0


def test_faults_are_true_once_something_is_noted():
    faults = Faults("Lab sheet")
    faults.add("first")
    assert faults
    assert len(faults) == 1


def test_the_class_raised_can_be_chosen():
    faults = Faults("root_zone")
    faults.add("it has no unit")
    with pytest.raises(UnitError):
        faults.raise_if_any(UnitError)


def test_long_lists_are_cut_in_the_message_but_kept_in_full():
    faults = Faults("Station file")
    for i in range(50):
        faults.add(f"row {i} is empty")
    error = faults.as_error()
    assert len(error.faults) == 50
    assert str(error).count("\n- ") == 21
    assert str(error).endswith("- ... and 30 more of this list.")


def test_catching_gathers_the_faults_of_several_blocks():
    faults = Faults("Turf")
    for name in ("root_depth", "cover"):
        with faults.catching("turf table"):
            raise InputError(f"{name}: the value is missing.")
    assert faults.as_error().faults == (
        "turf table: root_depth: the value is missing.",
        "turf table: cover: the value is missing.",
    )


def test_catching_keeps_every_fault_of_one_error():
    inner = Faults("Layer 1")
    inner.add("a")
    inner.add("b")
    outer = Faults("Profile")
    with outer.catching("layer 1"):
        inner.raise_if_any()
    assert outer.as_error().faults == ("layer 1: a.", "layer 1: b.")


def test_catching_lets_programming_errors_through():
    faults = Faults("Profile")
    with pytest.raises(TypeError), faults.catching():
        raise TypeError("not a fault of the input")
    assert not faults


@pytest.mark.parametrize(
    ("error", "also"),
    [(InputError, ValueError), (UnitError, InputError), (RunError, RuntimeError)],
)
def test_classes_keep_old_habits_working(error, also):
    assert issubclass(error, also)
    assert issubclass(error, SoilWaterError)


def test_the_warning_is_a_user_warning_and_no_error():
    assert issubclass(SoilWaterWarning, UserWarning)
    assert not issubclass(SoilWaterWarning, SoilWaterError)


def test_a_plain_input_error_is_its_own_only_fault():
    assert InputError("a.csv: no rows.").faults == ("a.csv: no rows.",)


def test_errors_survive_the_way_back_from_another_process():
    faults = Faults("Profile")
    faults.add("a")
    faults.add("b")
    back = pickle.loads(pickle.dumps(faults.as_error(UnitError)))
    assert type(back) is UnitError
    assert back.faults == ("a.", "b.")
    assert str(back) == str(faults.as_error())


def test_status_numbers_are_those_the_kernels_return():
    assert [status.value for status in Status] == [0, 1, 2, 3, 4, 5]
    assert Status(1) is Status.STEP_TOO_SMALL


@pytest.mark.parametrize("status", Status)
def test_every_status_has_one_plain_sentence(status):
    assert status.sentence.endswith(".")
    assert status.sentence[0].isupper()
    assert "_" not in status.sentence
    assert ". " not in status.sentence


def test_what_was_given_has_its_article():
    for given, told in ((np.int64(3), "an int64"), (object(), "an object"), ([], "a list")):
        assert by_kind(given) == told
    assert by_kind(int) == "the class int"


@pytest.mark.parametrize(
    ("given", "written"),
    [("12", "write 12"), ("1234567", "write 1234567"), ("50 %", ""), ("x", "")],
)
def test_a_text_where_a_whole_number_is_due_is_written_as_one_if_it_is_one(given, written):
    def asks(count: "int"):
        """Take a whole number."""

    told = str(wrong_kinds(asks, (given,), {}, "asks"))
    cure = f"; {written}" if written else ""
    assert told == f"asks: count is {given!r}; allowed: a whole number{cure}."
