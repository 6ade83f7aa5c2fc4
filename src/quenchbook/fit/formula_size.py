"""Whether a formula is small enough to be taken apart, found without taking it apart.

A formula of a few characters can stand for more terms than fit into any memory
(``(a + b + c) ^ 99``). Here its brackets and operators are read once, and for each the largest
number of terms that it could give is kept: nothing is multiplied out and nothing is evaluated.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping
from typing import Final

MOST_CHARACTERS: Final = 1_000
MOST_TERMS: Final = 4_096
_DEEPEST: Final = 20

_TOKEN: Final = re.compile(r"\s*(\*\*|[+*:/()^-]|\w+)")
_RANK: Final[Mapping[str, int]] = {"+": 1, "-": 1, "*": 2, "/": 3, ":": 4, "^": 5, "**": 5}
_SIZE: Final[Mapping[str, Callable[[int, int], int]]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a + b,
    "*": lambda a, b: a + b + a * b,
    "/": lambda a, b: a + a * b + b,
    ":": lambda a, b: a * b,
}
_EXAMPLE: Final = "Write such as 'temp * route + temper'."


class _TooLargeError(ValueError):
    """More terms than any study has, or brackets that are too deep."""


def formula_fault(formula: str) -> str:
    """What is wrong with a formula; empty if it may be taken apart.

    Only its size is judged: what is no formula at all is told by whoever takes it apart.

    >>> formula_fault("temp * route + temper")
    ''
    >>> formula_fault("(a + b + c) ^ 99")
    "stands for more than 4096 terms. Write such as 'temp * route + temper'."
    """
    if len(formula) > MOST_CHARACTERS:
        return f"... has {len(formula)} characters, expected at most {MOST_CHARACTERS}. {_EXAMPLE}"
    tokens, place = [], 0
    while (found := _TOKEN.match(formula, place)) is not None:
        tokens.append(found[1])
        place = found.end()
    if formula[place:].strip():
        return f"has more than names and + * : / - ( ). {_EXAMPLE}"
    if any(a.isidentifier() and b == "(" for a, b in itertools.pairwise(tokens)):
        return f"calls something, expected names and + * : / - ( ). {_EXAMPLE}"
    try:
        _size(tokens, 0, 0, 0)
    except _TooLargeError as error:
        return f"{error}. {_EXAMPLE}"
    return ""


def _size(tokens: list[str], place: int, least: int, depth: int) -> tuple[int, int]:
    """Largest number of terms of what begins at a place, and the place after it."""
    if depth > _DEEPEST:
        raise _TooLargeError(f"has more than {_DEEPEST} brackets or signs inside each other")
    if place >= len(tokens):
        return 0, place
    token = tokens[place]
    if token == "(":
        size, place = _size(tokens, place + 1, 0, depth + 1)
        place += place < len(tokens) and tokens[place] == ")"
    elif token in "+-":
        size, place = _size(tokens, place + 1, 2, depth + 1)
    else:
        size, place = 1, place + 1
    while place < len(tokens) and (rank := _RANK.get(tokens[place], 0)) > least:
        mark = tokens[place]
        if rank == 5:
            power = tokens[place + 1] if place + 1 < len(tokens) else "1"
            size = _power(size, power)
            place += 2
            continue
        other, place = _size(tokens, place + 1, rank, depth + 1)
        size = _SIZE[mark](size, other)
        if size > MOST_TERMS:
            raise _TooLargeError(f"stands for more than {MOST_TERMS} terms")
    return size, place


def _power(size: int, power: str) -> int:
    if not power.isdecimal() or len(power) > 3:
        raise _TooLargeError("has a power that is no small whole number")
    if max(size, 2) ** int(power) > MOST_TERMS:
        raise _TooLargeError(f"stands for more than {MOST_TERMS} terms")
    return int(max(size, 2) ** int(power))
