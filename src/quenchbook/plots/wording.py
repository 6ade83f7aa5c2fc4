"""Numbers, counts and units of a figure in words, and the pattern of its alternative text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from quenchbook.study.factors import UNIT_WORDS, Factor, plural
from quenchbook.units import NO_BREAK

ALT_MOST: Final = 400
_MORE: Final = "; more in the figure."
NOTHING_UNUSUAL: Final = "Nothing unusual."

_COUNTS: Final = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve",
)  # fmt: skip


def count_words(count: int) -> str:
    """Count in words up to twelve."""
    return _COUNTS[count] if 0 <= count < len(_COUNTS) else str(count)


def counted(count: int, word: str) -> str:
    """Count with its noun: ``96 coupons``, ``1 cold batch``."""
    return f"{count} {word if count == 1 else plural(word)}"


def unit_word(source: object, unit: str) -> str:
    """Word for a unit in the study a result came from: ``furnace load`` or ``furnace heat``."""
    study: Any = getattr(source, "study", None)
    if study is not None:
        return str(study.unit_word(unit))
    words: Mapping[str, str] = getattr(source, "stratum_words", {})
    return words.get(unit) or UNIT_WORDS.get(unit) or unit.replace("_", " ")


def order_words(source: object) -> str:
    """Order of coupons and loads in the study a result came from: ``time order``."""
    return str(getattr(getattr(source, "study", None), "order_words", "time order"))


def percent_text(share: float) -> str:
    """Share in per cent: ``95 %``."""
    return f"{share * 100:g}{NO_BREAK}%"


def factor_words(factor: Factor) -> str:
    """Factor as part of a sentence: ``austenitize temperature``, ``cold route``."""
    named = factor.dimension != "temperature" or "temp" in factor.title.split()[-1][:5]
    return factor.title if named and factor.title != "temper" else f"{factor.title} temperature"


def lower_first(text: str) -> str:
    """Text with a small first letter, unless the first word is all capitals."""
    head = text.split(" ", 1)[0]
    return text if len(head) > 1 and head.isupper() else text[:1].lower() + text[1:]


def sentence(text: str) -> str:
    """Text with a full stop."""
    text = text.strip()
    return text if not text or text.endswith((".", "?", "!")) else text + "."


# --- alternative text --------------------------------------------------------------------------


def alt_text(subject: str, finding: str, unusual: str) -> str:
    """Compose the alternative text: what is drawn, what it says, what is unusual.

    Parameters
    ----------
    subject : str
        ``<quantity> against <quantity> for <groups>; <n> coupons in <n> furnace loads``.
    finding : str
        The finding with numbers and interval; shortened when the whole gets too long.
    unusual : str
        What looks unusual; empty when nothing does.
    """
    subject, unusual = sentence(subject), sentence(unusual) or NOTHING_UNUSUAL
    subject, unusual = _cut(subject, 200), _cut(unusual, 120)
    room = ALT_MOST - len(subject) - len(unusual) - 2
    return " ".join(filter(None, (subject, _cut(sentence(finding), room), unusual)))


def _cut(text: str, room: int) -> str:
    """Text of at most `room` characters, ended where a sentence or an item of a list ends."""
    if len(text) <= room:
        return text
    cut = text[: room - 1]
    stop = cut.rfind(". ")
    if stop > room // 2:
        return cut[: stop + 1]
    stop = text[: room - len(_MORE)].rfind("; ")
    if stop > room // 3:
        return text[:stop] + _MORE
    clause = max(_outside(text[: room - len(_MORE)], mark) for mark in (": ", ", ", " ("))
    if clause > room // 3:
        return text[:clause] + _MORE
    end = cut.rfind(" ")
    following = text[end + 1 :].partition(" ")[0]
    if following.startswith("(") and ")" in following:
        end = cut.rfind(" ", 0, end)  # a number is not parted from its other unit
    return cut[: end if end > room // 2 else room - 1].rstrip(",;: ") + "…"


def _outside(text: str, mark: str) -> int:
    """Last place of a mark outside brackets; -1 for none."""
    place = text.rfind(mark)
    while place > 0 and text.count("(", 0, place) > text.count(")", 0, place):
        place = text.rfind(mark, 0, place)
    return place
