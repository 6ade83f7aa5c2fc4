"""Where each value of a TOML text stands: nothing is read but the places of keys and values."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Final

Key = tuple[str | int, ...]
"""Place of a value by its keys: ``("questions", 0, "words")``."""

_BLANK: Final = re.compile(r"[ \t\r\n]*(?:#[^\n]*[ \t\r\n]*)*")
_SPACE: Final = re.compile(r"[ \t]*")
_KEY: Final = re.compile(r"[A-Za-z0-9_-]+|\"(?:\\.|[^\"\\\n])*\"|'[^'\n]*'")
_TEXT: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'', re.DOTALL
)
_SCALAR: Final = re.compile(r"[^,\]}#\r\n]+")


@dataclass(frozen=True)
class Span:
    """A value from `start` to `end`, in the statement that begins at `statement`."""

    start: int
    end: int
    statement: int


@dataclass
class TomlPlaces:
    """Places in a TOML text.

    Attributes
    ----------
    values : dict
        Key to the place of its value; entries of inline tables and of lists among them.
    tables : dict
        Key of each table with a header (the empty key for the top of the file) to the end of its
        last statement, or of its header where it has none.
    """

    values: dict[Key, Span] = field(default_factory=dict)
    tables: dict[Key, int] = field(default_factory=dict)


def toml_places(text: str) -> TomlPlaces:
    r"""Find the places of all values of a text that is valid TOML.

    Parameters
    ----------
    text : str

    Returns
    -------
    TomlPlaces

    Examples
    --------
    >>> places = toml_places('a = 1 # one\n[b]\nc = ["x", { d = 2 }]\n')
    >>> [".".join(map(str, key)) for key in places.values]
    ['a', 'b.c.0', 'b.c.1.d', 'b.c.1', 'b.c']
    """
    return _Scanner(text).places


class _Scanner:
    """Goes through a text once, statement by statement."""

    def __init__(self, text: str) -> None:
        self.text, self.places = text, TomlPlaces(tables={(): 0})
        self.counts: dict[Key, int] = {}
        at, table = self._after(_BLANK, 0), ()  # type: tuple[int, Key]
        while at < len(text):
            if text[at] == "[":
                at, table = self._header(at)
            else:
                at = self._statement(at, table, at)
                self.places.tables[table] = at
            at = self._after(_BLANK, at)

    def _after(self, pattern: re.Pattern[str], at: int) -> int:
        found = pattern.match(self.text, at)
        return found.end() if found else at

    def _header(self, at: int) -> tuple[int, Key]:
        entry = self.text.startswith("[[", at)
        at, parts = self._dotted(at + (2 if entry else 1))
        at += 2 if entry else 1
        key: Key = ()
        for number, part in enumerate(parts, start=1):
            key = (*key, part)
            last = number == len(parts)
            if last and entry:
                self.counts[key] = self.counts.get(key, 0) + 1
            if key in self.counts:
                key = (*key, self.counts[key] - 1)
        self.places.tables[key] = at
        return at, key

    def _dotted(self, at: int) -> tuple[int, list[str]]:
        """End and parts of a key: ``a.b``."""
        parts = []
        while True:
            at = self._after(_SPACE, at)
            found = _KEY.match(self.text, at)
            if found is None:
                raise ValueError(f"no key at character {at}")  # valid TOML has one
            name = found[0]
            quoted = name[0] in "\"'"
            parts.append(tomllib.loads(f"x = {name}")["x"] if quoted else name)
            at = self._after(_SPACE, found.end())
            if not self.text.startswith(".", at):
                return at, parts
            at += 1

    def _statement(self, at: int, table: Key, statement: int) -> int:
        """Keep the value of a ``key = value``; returns its end."""
        at, parts = self._dotted(at)
        return self._value(self._after(_SPACE, at + 1), (*table, *parts), statement)

    def _value(self, at: int, key: Key, statement: int) -> int:
        start, mark = at, self.text[at]
        if mark in "\"'":
            at = self._after(_TEXT, at)
        elif mark in "[{":
            at = self._entries(at, key, statement, "]" if mark == "[" else "}")
        else:
            found = _SCALAR.match(self.text, at)
            at += len(found[0].rstrip()) if found else 0
        self.places.values[key] = Span(start, at, statement)
        return at

    def _entries(self, at: int, key: Key, statement: int, closing: str) -> int:
        """Keep the entries of a list or of an inline table; returns the end after its mark."""
        number, at = 0, self._after(_BLANK, at + 1)
        while not self.text.startswith(closing, at):
            if closing == "]":
                at = self._value(at, (*key, number), statement)
            else:
                at = self._statement(at, key, statement)
            number, at = number + 1, self._after(_BLANK, at)
            if self.text.startswith(",", at):
                at = self._after(_BLANK, at + 1)
        return at + 1
