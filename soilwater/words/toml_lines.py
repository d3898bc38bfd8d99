"""On which line of a TOML file each of its words stands, which the standard library does not tell.

Only for texts that `tomllib` has read: what is wrong there is told by it.
"""

from __future__ import annotations

import tomllib

Place = tuple[str | int, ...]
"""Keys and positions that lead to a value: ``("green", 0, "spots", 2, "name")``."""


def toml_lines(text: str) -> dict[Place, int]:
    r"""Find the line of every key, table and element of an array.

    Parameters
    ----------
    text : str
        Valid TOML.

    Returns
    -------
    dict of tuple to int
        Line, counted from 1, by place.

    Examples
    --------
    >>> lines = toml_lines('name = "a"\n[[green]]\nspots = [\n  { depth = 30 },\n]')
    >>> lines["green", 0, "spots", 0, "depth"]
    4
    """
    return _Walk(text.replace("\r\n", "\n")).whole()


class _Walk:
    """Goes through the text once, from the beginning to the end."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._lines: dict[Place, int] = {}
        self._counts: dict[Place, int] = {}

    def whole(self) -> dict[Place, int]:
        table: Place = ()
        while self._skip():
            begin = self._at
            if self._peek("["):
                many = self._peek("[[")
                self._at += 2 if many else 1
                table = self._within(self._keys(), many)
                self._at += 2 if many else 1
                self._note(table, begin)
            else:
                self._pair(table)
        return self._lines

    def _within(self, keys: list[str], many: bool) -> Place:
        """Full place of a table: the last element stands for an array of tables on its way."""
        place: Place = ()
        for i, key in enumerate(keys):
            place = (*place, key)
            if many and i == len(keys) - 1:
                self._counts[place] = self._counts.get(place, -1) + 1
            if place in self._counts:
                place = (*place, self._counts[place])
        return place

    def _pair(self, table: Place) -> None:
        begin = self._at
        place = (*table, *self._keys())
        self._note(place, begin)
        self._at += 1  # the sign of equality
        self._value(place)

    def _value(self, place: Place) -> None:
        self._skip()
        if self._peek("[") or self._peek("{"):
            closing = "]" if self._peek("[") else "}"
            self._at += 1
            count = 0
            while self._skip() and not self._peek(closing):
                if self._peek(","):
                    self._at += 1
                elif closing == "}":
                    self._pair(place)
                else:
                    self._note((*place, count), self._at)
                    self._value((*place, count))
                    count += 1
            self._at += 1
        elif self._peek('"') or self._peek("'"):
            self._string()
        else:
            while self._at < len(self._text) and self._text[self._at] not in ",]}#\n":
                self._at += 1

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip()
            begin = self._at
            if self._peek('"') or self._peek("'"):
                self._string()
            else:
                while self._text[self._at] not in " \t.=]":
                    self._at += 1
            written = self._text[begin : self._at]
            keys.append(next(iter(tomllib.loads(f"{written} = 0"))))
            self._skip()
            if not self._peek("."):
                return keys
            self._at += 1

    def _string(self) -> None:
        sign = self._text[self._at]
        end = 3 * sign if self._peek(3 * sign) else sign
        self._at += len(end)
        while not self._peek(end):
            self._at += 2 if sign == '"' and self._peek("\\") else 1
        self._at += len(end)
        # A text over several lines may end in quotes of its own.
        while len(end) == 3 and self._peek(sign):
            self._at += 1

    def _skip(self) -> bool:
        """Pass blanks, line ends and remarks; tell whether anything is left."""
        while self._at < len(self._text):
            if self._peek("#"):
                end = self._text.find("\n", self._at)
                self._at = len(self._text) if end < 0 else end
            elif self._text[self._at].isspace():
                self._at += 1
            else:
                return True
        return False

    def _peek(self, text: str) -> bool:
        return self._text.startswith(text, self._at)

    def _note(self, place: Place, begin: int) -> None:
        line = self._text.count("\n", 0, begin) + 1
        for end in range(1, len(place) + 1):
            self._lines.setdefault(place[:end], line)
