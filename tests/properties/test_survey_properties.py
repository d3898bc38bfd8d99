"""Random survey sheets: a checked survey or one clear error, and depths as they were written."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soilwater.survey.sheet import read_survey
from soilwater.survey.survey import Survey
from soilwater.words.errors import InputError

cells = st.one_of(
    st.floats(-50, 500).map(lambda x: f"{x:.2f}"),
    st.sampled_from(
        ["", "-", "n/a", "-999", "12+", ">10", "14 3/4", "1'2", "1 ft 2 in", "hit pipe", "22%",
         "0,28", "0.28", "12 cm", "5 mm", "1:4", "4 deg", "3/0", "1e400", "++", "in", "'", "None"]
    ),
    st.text(max_size=6),
)  # fmt: skip
headers = st.sampled_from(
    ["spot", "depth", "depth (in)", "depth below mat (cm)", "VWC (%)", "VWC", "rod (in)", "mat",
     "slope", "date", "time", "lat", "lon", "x", "y", "green", "drop (s)", "catch can", "meter",
     "area (ft2)", "moisture 3 in"]
)  # fmt: skip


@given(st.dictionaries(headers, st.lists(cells, min_size=3, max_size=3), min_size=1, max_size=7))
def test_a_survey_or_one_clear_error(columns):
    try:
        survey = read_survey(columns, rod="3 in")
    except InputError as error:
        assert str(error).strip()
    else:
        assert isinstance(survey, Survey) and repr(survey)


@given(st.lists(st.integers(8 * 16, 20 * 16), min_size=1, max_size=8))
def test_inches_in_fractions_come_back_exactly(sixteenths):
    def written(n):
        whole, rest = divmod(Fraction(n, 16), 1)
        return f"{whole} {rest}" if rest else str(whole)

    survey = read_survey(
        {
            "spot": [f"s{i}" for i in range(len(sixteenths))],
            "probe": list(map(written, sixteenths)),
        },
        depth_unit="in",
    )
    depths = [spot.depth for spot in survey.spots]
    # 1 in = 2.54 cm (international yard and pound agreement, 1959).
    assert depths == pytest.approx([n / 16 * 2.54 for n in sixteenths], rel=1e-12)
