"""Texts of others beside ours: nothing in them turns or bursts a line."""

import json

import pytest

from soilwater.words.safe_texts import fit_to_show, without_turns, without_turns_in_json
from soilwater.words.text_tables import echo_table, html_table

TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@pytest.mark.parametrize("turn", TURNS)
def test_turns_are_left_out(turn):
    assert without_turns(f"A{turn}1") == "A1"
    assert turn not in echo_table([(f"A{turn}1", "2")], ("spot", "cm"))
    assert turn not in html_table([("A1", "2")], ("spot", "cm"), caption=f"{turn}green")


@pytest.mark.parametrize(
    "text", ["A\u202e1", "\\u202e is how it is written", 'a "quoted\\" name\u2067', "رمل ناعم"]
)
def test_json_says_the_same_without_them(text):
    assert json.loads(without_turns_in_json(json.dumps([text]))) == [without_turns(text)]


def test_words_that_end_nowhere_are_cut():
    assert fit_to_show("x" * 3000) == "x" * 79 + "…"
    assert fit_to_show("green 7, " * 30) == "green 7, " * 30
    assert len(echo_table([("x" * 3000, "2")], ("spot", "cm")).splitlines()[0]) < 100
