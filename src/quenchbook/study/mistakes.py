"""Mistakes of a study file, gathered while it is read: line, what was found, what to write."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, cast

from quenchbook.errors import Problem, did_you_mean

NAME: Final = re.compile(r"[a-z][a-z0-9_]*")
"""A short name of the study file."""

_TEXTS: Final = re.compile(r"\"(?:\\.|[^\"\\])*\"|'[^']*'")
_MARKS: Final = re.compile(r"[\[\]{}]")
MOST_COUNT: Final = 100_000  # of anything that is counted: more would take the memory, not steel
_LONGEST_SHOWN: Final = 60  # characters of a wrong value in a message

_CHOICES: Final = {"set_for": "unit that a factor can be set for", "units": "choice of units"}


class Mistakes:
    """Collects what is wrong in a study file, with the line of each table and key.

    Parameters
    ----------
    file : str
        Name of the file, for the messages.
    text : str
        Text of the file.
    """

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.lines = line_numbers(text)
        self.problems: list[Problem] = []

    def wrong(self, table: str, key: str, problem: str, remedy: str) -> None:
        """Add a mistake of a key in a table; ``""`` is the top of the file, or the table itself."""
        line = self.lines.get((table, key)) or self.lines.get((table, "")) or self._around(table)
        where = f"{self.file} line {line}" if line else self.file
        self.problems.append(Problem(where, problem, remedy))

    def _around(self, table: str) -> int:
        """Line of a table that is written inline, as a key of the table around it."""
        outer, _, key = table.rpartition(".")
        line = self.lines.get((outer, key), 0) or self.lines.get((outer, ""), 0)
        return line or (self._around(outer) if outer else 0)

    def table(self, content: Mapping[str, Any], key: str, *, inside: str = "") -> Mapping[str, Any]:
        """Table of this name; empty, and a mistake, if it is something else."""
        found = content.get(key, {})
        if not isinstance(found, Mapping):
            name = f"{inside}.{key}" if inside else key
            self.wrong(
                inside, key, f"{key} is not a table", f"Write [{name}] and its entries below."
            )
            return {}
        return found

    def tables(self, content: Mapping[str, Any], key: str) -> list[tuple[str, Mapping[str, Any]]]:
        """Entries of a list of tables, each with its place: ``forbidden.1``."""
        found = content.get(key, [])
        if not isinstance(found, list) or not all(isinstance(own, Mapping) for own in found):
            self.wrong(
                "", key, f"{key} is not a list of tables", f"Write [[{key}]] above each entry."
            )
            return []
        return [(f"{key}.{number}", entry) for number, entry in enumerate(found, start=1)]

    def known_keys(self, table: Mapping[str, Any], known: Iterable[str], where: str) -> None:
        """Add a mistake for each key that means nothing here."""
        known = tuple(known)
        for key in table:
            if key not in known:
                self.wrong(where, key, f"'{key}' is not known here", nearest(key, known))

    def choice(self, where: str, key: str, value: Any, choices: Iterable[str]) -> str:
        """Value if it is one of the choices; else the first of them, and a mistake."""
        choices = tuple(choices)
        if not isinstance(value, str) or value not in choices:
            found = f"'{value}'" if isinstance(value, str) else shown(value)
            self.wrong(
                where,
                key,
                f"{found} is not a {_CHOICES.get(key) or key.replace('_', ' ')}",
                nearest(str(value), choices),
            )
            return choices[0]
        return value

    def text(self, table: Mapping[str, Any], key: str, where: str, *, default: str = "") -> str:
        """Text of a key; the default, and a mistake, if it is something else."""
        value = table.get(key, default)
        if isinstance(value, str):
            return value
        self.wrong(where, key, f"{key} is {shown(value)}", f'Write {key} = "..." in words.')
        return default

    def yes_or_no(
        self, table: Mapping[str, Any], key: str, where: str, *, default: bool = False
    ) -> bool:
        """True or false of a key; the default, and a mistake, if it is something else."""
        value = table.get(key, default)
        if isinstance(value, bool):
            return value
        self.wrong(where, key, f"{key} is {shown(value)}", f"Write {key} = true or false.")
        return default

    def count(
        self, table: Mapping[str, Any], key: str, where: str, *, default: int, least: int
    ) -> int:
        """Whole number of a key, at least `least` and at most `MOST_COUNT`."""
        value = table.get(key, default if key not in table else None)
        if key in table and (
            not isinstance(value, int) or isinstance(value, bool) or value < least
        ):
            self.wrong(where, key, f"{key} is {value!r}", f"Write a whole number, {least} or more.")
            return max(default, least)
        if isinstance(value, int) and value > MOST_COUNT:
            self.wrong(
                where, key, f"{key} is {shown(value)}", f"Write a number of at most {MOST_COUNT}."
            )
            return max(default, least)
        return int(cast(int, value))


def shown(value: object) -> str:
    """Value as the study file has it, shortened: ``true``, ``2026-01-15``, ``[1, 2]``.

    >>> shown(True), shown([1, "a"])
    ('true', "[1, 'a']")
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime.date | datetime.time):
        return str(value)
    text = repr(value)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 1]}\u2026"


def nearest(text: str, names: Iterable[str]) -> str:
    """Remedy that names the nearest known name, or all of them."""
    names = [str(name) for name in names]
    return did_you_mean(text, names) or (f"Known: {', '.join(names)}." if names else "")


def line_numbers(text: str) -> dict[tuple[str, str], int]:
    """Line of each key: ``(table, key)`` and ``(table, "")`` for the table itself."""
    lines: dict[tuple[str, str], int] = {}
    table, counts = "", dict[str, int]()
    texts = text.splitlines()
    for number, line in enumerate(texts, start=1):
        if match := re.match(r"^\s*\[\[\s*([\w.]+)\s*\]\]", line):
            counts[match[1]] = counts.get(match[1], 0) + 1
            table = f"{match[1]}.{counts[match[1]]}"
            lines.setdefault((table, ""), number)
            lines.setdefault(("", match[1]), number)
        elif match := re.match(r"^\s*\[\s*([\w.]+)\s*\]", line):
            table = match[1]
            lines.setdefault((table, ""), number)
            lines.setdefault(("", table.split(".")[0]), number)
        elif match := re.match(r"^\s*([\w-]+)\s*=", line):
            lines.setdefault((table, match[1]), number)
            if re.match(r"\s*\[", line[match.end() :]):
                lines |= _entry_lines(texts[number - 1 :], f"{table}.{match[1]}", number)
    return lines


def _entry_lines(texts: Sequence[str], name: str, first: int) -> dict[tuple[str, str], int]:
    """Line of each table in a list that is written as ``key = [{ ... }, { ... }]``."""
    lines: dict[tuple[str, str], int] = {}
    count = square = curly = 0
    for number, line in enumerate(texts, start=first):
        for mark in _MARKS.findall(_TEXTS.sub("", line).partition("#")[0]):
            square += (mark == "[") - (mark == "]")
            curly += (mark == "{") - (mark == "}")
            if mark == "{" and curly == 1 and square == 1:
                count += 1
                lines[f"{name}.{count}", ""] = number
            if not square:
                return lines
    return lines
