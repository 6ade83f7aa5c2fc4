"""Coupon codes that survive the bench: short, random, and safe against one misread character.

A code is a word of a Reed-Solomon code over the field of 17 elements (two check characters). Any
single misread character is found and can be corrected, every swap of two characters is found, and
no code is another one read from the other end.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from operator import ne
from typing import Final

from quenchbook.errors import PlanError
from quenchbook.plan.streams import Stream

CHARACTERS: Final = "ACDEFHJKNPRTXY479"
"""17 characters without O 0, I 1 L, S 5, Z 2, B 8, G 6, U V, M W, Q and 3 (an E upside down)."""

_FIELD: Final = len(CHARACTERS)


@functools.cache
def all_codes(length: int = 4) -> tuple[str, ...]:
    """Every usable code of this length, in a fixed order.

    Parameters
    ----------
    length : int
        Characters in a code; two of them are check characters.

    Returns
    -------
    tuple of str
        ``17 ** (length - 2)`` codes less the few that read the same from the other end.
    """
    codes = []
    for message in itertools.product(range(_FIELD), repeat=length - 2):
        word = [
            sum(m * point**power for power, m in enumerate(message)) % _FIELD
            for point in range(1, length + 1)
        ]
        word[-1] = 2 * word[-1] % _FIELD  # keeps a reversed code from being a code
        if word != word[::-1]:
            codes.append("".join(CHARACTERS[digit] for digit in word))
    return tuple(codes)


def random_codes(count: int, stream: Stream, *, used: Sequence[str] = ()) -> list[str]:
    """Draw codes that say nothing of the treatment.

    Parameters
    ----------
    count : int
        Number of coupons.
    stream : Stream
        Random stream of the plan.
    used : sequence of str
        Codes that are given already.
    """
    given = frozenset(used)
    for length in (4, 5):
        codes = [code for code in all_codes(length) if code not in given]
        if count <= len(codes):
            return stream.shuffled(codes)[:count]
    raise PlanError(
        f"{count} coupons are more than there are codes ({len(codes)}). Make two studies of it."
    )


def nearest_codes(text: str, codes: list[str]) -> list[str]:
    """Codes of the plan that differ from a text in one character.

    Parameters
    ----------
    text : str
        Code as it was read.
    codes : list of str
        Codes of the plan.

    Returns
    -------
    list of str
        For codes of this module at most one; none when more than one character is wrong.
    """
    text = text.strip().upper()
    return [code for code in codes if len(code) == len(text) and sum(map(ne, code, text)) == 1]


def codes_matching(text: str, codes: Sequence[str]) -> list[str]:
    """Codes that a label with illegible characters may be.

    Parameters
    ----------
    text : str
        Code as far as it can be read, with ``?`` for each character that cannot.
    codes : sequence of str
        Codes of the plan.

    Returns
    -------
    list of str
        For codes of this module at most one where at most two characters are illegible; none where
        the readable ones fit no code.

    >>> codes_matching("K?9?", all_codes())
    ['KE9K']
    """
    text = text.strip().upper()
    return [
        code
        for code in codes
        if len(code) == len(text)
        and all(read in ("?", own) for own, read in zip(code, text, strict=True))
    ]
