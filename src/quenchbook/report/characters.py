"""Which characters of a text reach a page: one rule for HTML and for PDF."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

BOX: Final = "\u25a1"  # stands for a character that cannot be shown
_UNSHOWN: Final = {"Cc", "Co", "Cs", "Cn"}  # control, private use, half of a pair, not assigned
_DIRECTION = re.compile("[\u202a-\u202e\ufeff]")  # turn the reading direction of what follows


def shown(text: object) -> str:
    r"""Text without characters that no page may carry.

    Control, private-use and unassigned characters become ``□``; line ends and tabs stay.
    Characters that override the reading direction are left out, so a note cannot turn around the
    words beside it; Hebrew and Arabic need none.

    >>> shown("K7\x00 \u202eabc")
    'K7□ abc'
    """
    plain = _DIRECTION.sub("", str(text).replace("\r\n", "\n").replace("\r", "\n"))
    return "".join(
        BOX if c not in "\n\t" and unicodedata.category(c) in _UNSHOWN else c for c in plain
    )


def breakable(text: str, longest: int = 24) -> str:
    """Text whose very long words may be broken at the end of a line, by zero-width spaces.

    Parameters
    ----------
    text : str
        Any text.
    longest : int
        Letters of the longest word that stays whole.

    >>> breakable("plate abcdefgh", longest=6).replace(chr(0x200b), "|")
    'plate abcd|efgh'
    """
    return re.sub(
        rf"\S{{{longest + 1},}}",
        lambda word: re.sub(r"\S{4}(?=\S)", lambda four: four[0] + "\u200b", word[0]),
        text,
    )


def shortened(text: str, longest: int) -> str:
    """Text on one line of at most `longest` characters, the rest told by an ellipsis.

    >>> shortened("plane irons", 8)
    'plane i…'
    """
    line = " ".join(text.split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "\u2026"
