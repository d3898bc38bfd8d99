"""Names of months in English, German, French and Spanish, written out or shortened."""

from __future__ import annotations

import unicodedata

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_OTHERS = {
    "mai": 5, "okt": 10, "dez": 12, "mrz": 3, "mae": 3,
    "fev": 2, "avr": 4, "juin": 6, "juil": 7, "aou": 8,
    "ene": 1, "abr": 4, "ago": 8, "dic": 12,
}  # fmt: skip


def month_number(name: str) -> int | None:
    """Give the number of a month.

    Parameters
    ----------
    name : str
        Such as ``"July"``, ``"Juil."`` or ``"août"``.

    Returns
    -------
    int or None
        1 to 12; None if it is no month.

    Examples
    --------
    >>> month_number("août"), month_number("Okt."), month_number("Monday")
    (8, 10, None)
    """
    marked = unicodedata.normalize("NFD", name.lower())
    letters = "".join(letter for letter in marked if letter.isascii() and letter.isalpha())
    for length in (4, 3):
        if letters[:length] in _OTHERS:
            return _OTHERS[letters[:length]]
    return MONTHS.index(letters[:3]) + 1 if letters[:3] in MONTHS else None
