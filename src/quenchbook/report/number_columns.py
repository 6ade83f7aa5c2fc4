"""Columns of numbers: which texts are numbers, the unit they share, one decimal point for all."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.units import NO_BREAK

_NUMBER: Final = r"[<>≤≥≈±]?[ \u00a0]?[+−]?(?:\d+(?:,\d{3})*(?:\.\d+)?|\.\d+)"
_CELL: Final = re.compile(rf"({_NUMBER}(?: to {_NUMBER})?)(?:{NO_BREAK}([^\d\s]\S{{0,7}}))?")
_TAIL: Final = re.compile(r"(?:\d|(?<!\d))(\.\d+)?$")
_FEWEST: Final = 2  # numbers that share a unit before it moves into the head


@dataclass(frozen=True)
class NumberTexts:
    """Texts of a column that holds numbers.

    Attributes
    ----------
    texts : tuple of str
        Without the unit that all shared.
    unit : str
        That unit, or nothing.
    """

    texts: tuple[str, ...]
    unit: str = ""


def number_texts(texts: Sequence[str]) -> NumberTexts | None:
    """Numbers of a column of texts; None where it is a column of words.

    At least half of the filled cells are numbers or intervals, with one unit or none; the others
    are words that stand for a number, such as ``not known``.

    >>> number_texts(["81\u00a0%", "< 1\u00a0%", ""])
    NumberTexts(texts=('81', '< 1', ''), unit='%')
    >>> number_texts(["0.49\u00a0HRC", "16\u00a0%"]) is None
    True
    """
    matches = [_CELL.fullmatch(text) for text in texts]
    found = [match for match in matches if match]
    filled = sum(bool(text) for text in texts)
    if not found or 2 * len(found) < filled:
        return None
    units = {match[2] or "" for match in found if match[1] != "0"} or {found[0][2] or ""}
    if len(units) > 1:
        return None
    unit = units.pop()
    if not unit:
        return NumberTexts(tuple(texts))
    if len(found) < _FEWEST or len(found) < filled:
        return None
    return NumberTexts(tuple(match[1] if match else "" for match in matches), unit)


def fraction_gaps(texts: Sequence[str]) -> list[str]:
    """What each cell lacks to the right of its digits so that the decimal points meet.

    Parameters
    ----------
    texts : sequence of str
        Cells of one column that is set flush right.

    Returns
    -------
    list of str
        Invisible digits, such as ``.0``; empty for words and for the longest fraction.

    >>> fraction_gaps(["0.049", "< .001", ".83", "16", "too few", ""])
    ['', '', '0', '.000', '', '']
    """
    fractions = [_fraction(text) for text in texts]
    longest = max((len(own) for own in fractions if own), default=0)
    whole = "." + "0" * (longest - 1) if longest else ""
    return ["" if own is None else whole[len(own) :] for own in fractions]


def _fraction(text: str) -> str | None:
    """Point and decimals at the end of a number; None for anything else."""
    match = _CELL.fullmatch(text)
    if match is None or match[2]:
        return None
    tail = _TAIL.search(text)
    return tail[1] or "" if tail else ""
