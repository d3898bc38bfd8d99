"""Texts that others gave, such as names, made fit to be shown beside ours."""

from __future__ import annotations

import re

LONGEST_WORD = 80
"""Letters of a word that are shown (our own choice): more than any name has."""

# Embeddings, overrides and isolates of Unicode's bidirectional algorithm (Unicode Standard Annex
# 9): one that is not closed turns round all that stands behind it on the page.
_TURNS = "[\u202a-\u202e\u2066-\u2069]"
# The same as JSON writes them; a backslash that is written twice is one of the text.
_TURNS_IN_JSON = re.compile(r"(\\\\)|\\u(?:202[a-e]|206[6-9])")


def without_turns(text: str) -> str:
    """Leave out what would turn the direction of the letters behind it.

    Parameters
    ----------
    text : str
        Such as a name.

    Examples
    --------
    >>> without_turns("green 7\u202e, dry")
    'green 7, dry'
    """
    return re.sub(_TURNS, "", text)


def without_turns_in_json(text: str) -> str:
    """Do the same in a text of JSON, where other letters than ASCII are escaped.

    Parameters
    ----------
    text : str
        As `json.dumps` writes it.
    """
    return _TURNS_IN_JSON.sub(lambda found: found[1] or "", text)


def fit_to_show(text: str, most: int = LONGEST_WORD) -> str:
    """Leave out turns, and the end of words too long for a line.

    Parameters
    ----------
    text : str
        Such as a name.
    most : int, optional
        Letters of the longest word that is shown whole.

    Examples
    --------
    >>> len(fit_to_show("x" * 3000))
    80
    """
    # A text that was worded for several units is said in those in use.
    shown = without_turns(f"{text}")
    return re.sub(rf"\S{{{most + 1},}}", lambda word: word[0][: most - 1] + "…", shown)
