"""Breaches of one kind as one sentence, for a page that would repeat it for each batch."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from quenchbook.bench.timetable import Breach
from quenchbook.units import minutes_text

_UNITS: Final = {
    "furnace_load": "Furnace loads", "cold_batch": "Cold batches", "temper_batch": "Temper batches",
}  # fmt: skip
_KINDS: Final = {
    "late": "go into the cold too late, beyond what may be missed by",
    "early": "go into the cold too early, beyond what may be missed by",
    "hours": "are outside working hours by",
    "cold": "stay longer at temperature than they may, by",
    "bath": "are more than the bath holds, for",
    "day": "run after the first load of their day of the plan, by",
}


def breach_sentences(breaches: Iterable[Breach]) -> tuple[str, ...]:
    """Sentences for breaches; those of one kind, step and remedy are one, with all their numbers.

    Parameters
    ----------
    breaches : iterable of Breach

    Returns
    -------
    tuple of str
        In the order of the first breach of each sentence.
    """
    groups: dict[tuple[str, ...], list[Breach]] = {}
    for own in breaches:
        groups.setdefault((_kind(own), own.unit, own.what, own.remedy), []).append(own)
    return tuple(_sentence(kind, own) for (kind, *_), own in groups.items())


def _kind(own: Breach) -> str:
    if own.kind == "delay":
        return "early" if "too early" in own.words else "late"
    return own.kind


def _sentence(kind: str, group: list[Breach]) -> str:
    most: dict[str, int] = {}
    for own in group:
        most[own.which] = max(own.minutes, most.get(own.which, 0))
    first = group[0]
    if len(most) == 1 or first.unit not in _UNITS or kind not in _KINDS:
        words = list(dict.fromkeys(own.words for own in group))
        return f"{' '.join(words)} {first.remedy}".rstrip()
    step = f", '{first.what}'," if kind == "hours" else ""
    named = ", ".join(f"{which} ({minutes_text(minutes)})" for which, minutes in most.items())
    return f"{_UNITS[first.unit]}{step} {_KINDS[kind]}: {named}. {first.remedy}".rstrip()
