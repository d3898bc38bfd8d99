"""Everything public that a person may build answers what it cannot use in words, never in Python's.

A class that people build has "Parameters" in its docstring, one that the library makes for them
has "Attributes".
"""

import contextlib
import dataclasses
import inspect
import re

import pytest

import soilwater as sw

WRONG = ["20", [1.0, 2.0], [], None, object(), -1.0, float("nan"), {}, "abc", True, 10**400, b"3"]
PUBLIC = [getattr(sw, name) for name in sw.__all__ if inspect.isclass(getattr(sw, name))]
BUILT = [
    each
    for each in PUBLIC
    if dataclasses.is_dataclass(each)
    and not inspect.isabstract(each)
    and "Parameters\n" in inspect.getdoc(each)
]


def needed(made):
    return [p for p in inspect.signature(made).parameters.values() if p.default is p.empty]


def written(made):
    """Arguments of the example that a class gives of itself."""
    with pytest.raises(sw.InputError) as caught:
        made()
    return re.search(r"write it as (.*)\.$", str(caught.value))[1]


EXAMPLES = {
    made: eval(written(made), vars(sw).copy()) if needed(made) else made() for made in BUILT
}


def test_the_list_is_not_empty():
    names = {each.__name__ for each in BUILT}
    assert {"VanGenuchten", "Layer", "Thresholds", "Spot", "Site", "Turf", "Weather"} <= names


@pytest.mark.parametrize("made", [each for each in BUILT if needed(each)], ids=lambda c: c.__name__)
def test_what_is_missing_is_told_with_an_example_that_works(made):
    assert isinstance(EXAMPLES[made], made)
    first, *others = needed(made)
    for name in (each.name for each in others):
        with pytest.raises(sw.InputError, match=rf"\b{name}\b.* (is|are) missing; write it as"):
            made(**{first.name: "20"})


@pytest.mark.parametrize("made", BUILT, ids=lambda c: c.__name__)
@pytest.mark.parametrize("wrong", WRONG, ids=lambda w: f"{w!r:.9}")
def test_what_cannot_be_used_is_no_error_of_python(made, wrong):
    good = EXAMPLES[made]
    for name in inspect.signature(made).parameters:
        # Names and sources may be anything.
        with contextlib.suppress(sw.InputError):
            dataclasses.replace(good, **{name: wrong})
    with contextlib.suppress(sw.InputError):
        made(**{each.name: wrong for each in needed(made)})


@pytest.mark.parametrize(
    ("firm", "cure"),
    [("20", '"20 %"'), (20, "'20 %'"), (None, "give a number"), ([0.2, 0.1], "one value")],
)
def test_a_threshold_that_is_none(firm, cure):
    with pytest.raises(sw.InputError, match=re.escape(cure)):
        sw.Thresholds(firm, "14 %", "12 %")


def test_an_unknown_name_stays_what_it_is_in_python():
    with pytest.raises(TypeError, match="unexpected keyword"):
        sw.Thresholds("18 %", "14 %", "12 %", wet="30 %")
