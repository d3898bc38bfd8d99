"""Rows of a sheet that sum up the rows above them: what people call such rows."""

from __future__ import annotations

import re

from soilwater.words.unit_texts import plain_characters

# Terms of people's own sheets, from memory.
_SUMMARIES = {
    "english": "mean average avg median min minimum max maximum total sum range count std dev"
    " stdev std standard deviation coefficient of variation",
    "german": "mittel mittelwert durchschnitt median minimum maximum summe gesamt spannweite"
    " anzahl standardabweichung stabw",
    "french": "moyenne moy mediane minimum maximum total somme etendue nombre ecart type"
    " ecart-type",
    "spanish": "media promedio mediana minimo maximo total suma rango numero desviacion estandar"
    " desviacion tipica desv est",
}
_WORDS = frozenset(word for text in _SUMMARIES.values() for word in re.split(r"[\s-]+", text))
# Short ones are names as well; beside a mean they are what they seem.
_SHORT = frozenset(("sd", "se", "cv", "n", "s"))
_ACCENTS = str.maketrans("áàâäéèêëíìîïóòôöúùûü", "aaaaeeeeiiiioooouuuu")


def sums_up(names: list[str]) -> list[bool]:
    """Tell which rows of a sheet sum up others, by their names.

    Parameters
    ----------
    names : list of str
        First cells of the rows, such as ``"A1"``, ``"Mean"`` or ``"Écart-type :"``.

    Returns
    -------
    list of bool
        One for each name.

    Examples
    --------
    >>> sums_up(["A1", "N", "Mean", "SD"])
    [False, True, True, True]
    >>> sums_up(["N", "S"])
    [False, False]
    """
    plain = [_plain(name) for name in names]
    sure = [bool(words) and all(word in _WORDS for word in words) for words in plain]
    beside = _WORDS | _SHORT if any(sure) else _WORDS
    return [bool(words) and all(word in beside for word in words) for words in plain]


def _plain(name: str) -> list[str]:
    text = plain_characters(name).lower().translate(_ACCENTS)
    if re.search(r"\d", text):
        return []
    return [word for word in re.split(r"[^a-z]+", text) if word]
