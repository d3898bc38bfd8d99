"""A table of a site file with the lines its words stand on, so that every fault names its line."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from typing import Any

from soilwater.words.errors import Faults
from soilwater.words.toml_lines import Place
from soilwater.words.units import number_to_house


class Part:
    """One table of the file: hands out its words, each checked, and notes what is wrong.

    Parameters
    ----------
    values : mapping
        Words and what they say.
    place : tuple
        Where the table stands in the file.
    lines : mapping
        Line of each place.
    faults : Faults
        Takes what is wrong.
    """

    def __init__(
        self,
        values: Mapping[str, Any],
        place: Place,
        lines: Mapping[Place, int],
        faults: Faults,
    ) -> None:
        self._values = values
        self._place = place
        self._lines = lines
        self.faults = faults

    def where(self, word: str = "") -> str:
        """Line on which a word, or the table itself, stands."""
        place = (*self._place, word) if word in self._values else self._place
        return f"line {self._lines.get(place, 1)}"

    def __contains__(self, word: str) -> bool:
        return word in self._values

    def know(self, words: Iterable[str]) -> None:
        """Note every word of the table that is none of `words`, with the nearest of them."""
        known = tuple(words)
        for word in self._values:
            if word not in known:
                unknown_word(word, known, self.where(word), self.faults)

    def given(self, word: str) -> Any:
        """Hand out what stands behind a word, as it is; None where it is left out."""
        return self._values.get(word)

    def text(self, word: str, default: str | None = "") -> str:
        """Text behind a word; a fault where it is left out and has no default."""
        found = self._values.get(word)
        if found is None and default is not None:
            return default
        if not isinstance(found, str) or not found.strip():
            what = f"{word} is missing" if found is None else f"{word} is {found!r}"
            self.faults.add(what, where=self.where(word), allowed="a text in quotes")
            return default or ""
        return found.strip()

    def number(
        self, word: str, quantity: str, default: float | None = None, *, least: float = 0.0
    ) -> float:
        """Quantity behind a word, in its house unit; a fault where one is needed and left out.

        A number without a unit is refused: nobody who reads the file could tell what it is in.
        """
        found = self._values.get(word)
        if found is None and default is not None:
            return default
        if found is None:
            self.faults.add(f"{word} is missing", where=self.where(word))
            return math.nan
        value = self.measured(found, quantity, word)
        if value < least:
            self.faults.add(
                f"{word} is {found}", where=self.where(word), allowed=f"{least:g} or more"
            )
        return value

    def measured(self, found: Any, quantity: str, word: str) -> float:
        """One quantity that stands behind a word, alone or among others."""
        value = math.nan
        if not isinstance(found, str):
            self.faults.add(
                f"{word} is {found!r}",
                where=self.where(word),
                allowed="a number with its unit, in quotes",
            )
            return value
        with self.faults.catching(self.where(word)):
            value = number_to_house(found, quantity, word)
        return value

    def part(self, word: str) -> Part:
        """Table behind a word; an empty one where it is left out."""
        found = self._values.get(word, {})
        if not isinstance(found, Mapping):
            self.faults.add(
                f"{word} is {found!r}", where=self.where(word), allowed=f"a table, [{word}]"
            )
            found = {}
        return Part(found, (*self._place, word), self._lines, self.faults)

    def parts(self, word: str) -> list[Part]:
        """Tables of an array behind a word."""
        found = self._values.get(word, [])
        if not isinstance(found, list) or not all(isinstance(each, Mapping) for each in found):
            self.faults.add(
                f"{word} is {found!r:.60}", where=self.where(word), allowed=f"tables, [[{word}]]"
            )
            return []
        place = (*self._place, word)
        return [Part(each, (*place, i), self._lines, self.faults) for i, each in enumerate(found)]

    def words(self) -> tuple[str, ...]:
        """Words of the table."""
        return tuple(self._values)


def unknown_word(word: str, known: Iterable[str], where: str, faults: Faults) -> None:
    """Note a word that is none of those known, with the nearest of them."""
    known = tuple(known)
    near = difflib.get_close_matches(word.lower(), [each.lower() for each in known], n=1)
    meant = next((each for each in known if near and each.lower() == near[0]), "")
    faults.add(
        f'no such word: "{word}"',
        where=where,
        allowed=", ".join(known),
        cure=f'"{meant}" may be meant' if meant else "",
    )


def check_names(named: Iterable[tuple[str, str]], what: str, faults: Faults) -> None:
    """Note names that come twice, each with its line."""
    seen: dict[str, str] = {}
    for name, where in named:
        plain = " ".join(name.lower().split())
        if plain in seen:
            faults.add(
                f'{what} "{name}" comes twice, first in {seen[plain]}',
                where=where,
                cure="give each its own name",
            )
        elif plain:
            seen[plain] = where
