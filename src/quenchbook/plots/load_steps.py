"""Steps above the furnace loads: what each load was set to."""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from quenchbook.both_units import Printed
from quenchbook.plots.sheet import Sheet, text_width
from quenchbook.plots.style import (
    INK,
    LOAD,
    MEAN_PT,
    PENCIL,
    SMALL_PT,
    VALUE_PT,
    draw_strikes,
)
from quenchbook.units import NO_BREAK

_HEIGHT: Final = 38.0  # words on the highest step included [pt]
_LINE: Final = 10.0
_LOWEST, _HIGHEST = 2.0, 25.0


@dataclass(frozen=True)
class Steps:
    """Words and heights of the steps, one for each furnace load.

    Attributes
    ----------
    words : tuple of str
        Word on each step, short enough for its column.
    heights : tuple of float
        Height of each step [pt].
    unit : str
        Unit that all words shared and that is printed once.
    key : str
        What the letters mean, when letters stand for words that are too long.
    size : float
        Size of the words [pt].
    struck : tuple of bool
        Whether a load was not run at its level; empty for none.
    beside : tuple of str
        The same levels in the other unit, on a second line; empty where words stand alone.
    other : str
        That unit.
    """

    words: tuple[str, ...]
    heights: tuple[float, ...]
    unit: str
    key: str
    size: float = VALUE_PT
    struck: tuple[bool, ...] = ()
    beside: tuple[str, ...] = ()
    other: str = ""

    @property
    def room(self) -> float:
        """Height of all steps with the words on the highest [pt]."""
        return _HEIGHT + (_LINE if self.beside else 0.0)

    def chosen(self, places: Sequence[int]) -> Steps:
        """Steps of some of the loads."""
        words = tuple(self.words[place] for place in places)
        struck = tuple(self.struck[place] for place in places) if self.struck else ()
        beside = tuple(self.beside[place] for place in places) if self.beside else ()
        heights = tuple(self.heights[place] for place in places)
        return replace(self, words=words, heights=heights, beside=beside, struck=struck)


def steps_for(
    levels: Sequence[str], order: Sequence[str], pitch: float, printed: Printed | None = None
) -> Steps:
    """Words and heights of the steps above loads that are `pitch` [pt] apart.

    Parameters
    ----------
    levels : sequence of str
        Level of each load in words, in one unit: ``970 °C``, ``vacuum``.
    order : sequence of str
        Distinct levels from low to high.
    pitch : float
        Distance of neighbouring loads [pt].
    printed : Printed, optional
        How the levels stand in print, where they are numbers.
    """
    ends = {level.rpartition(NO_BREAK)[2] for level in order}
    shared = len(ends) == 1 and all(NO_BREAK in level for level in order)
    heads = [level.rpartition(NO_BREAK)[0] if shared else level for level in order]
    unit = ends.pop() if shared else ""
    heights = dict(zip(order, _heights(heads), strict=True))
    beside = _beside(heads, printed) if shared else {}
    key, size = "", VALUE_PT
    if any(text_width(word, size) > pitch - 2.5 for word in (*heads, *beside.values())):
        size = SMALL_PT
    if any(text_width(word, size) > pitch - 1.5 for word in (*heads, *beside.values())):
        letters = _letters(len(order))
        told = [_told(head, level, printed) for head, level in zip(heads, order, strict=True)]
        key = ", ".join(f"{letter} {level}" for letter, level in zip(letters, told, strict=True))
        heads, unit, beside = letters, "", {}
    words = dict(zip(order, heads, strict=True))
    other = printed.other.unit if printed is not None and printed.other and beside else ""
    return Steps(
        tuple(words[n] for n in levels), tuple(heights[n] for n in levels), unit, key, size,
        beside=tuple(beside[words[n]] for n in levels) if beside else (), other=other,
    )  # fmt: skip


def _beside(heads: Sequence[str], printed: Printed | None) -> dict[str, str]:
    """Each number in the other unit; empty where there is none."""
    if printed is None or printed.other is None:
        return {}
    numbers = [(head, _number(head)) for head in heads]
    return {head: printed.beside_place(value) for head, value in numbers if value is not None}


def _told(head: str, level: str, printed: Printed | None) -> str:
    """A level of the key: in both units where there are two."""
    value = _number(head)
    if printed is None or printed.other is None or value is None:
        return level
    return printed.place(value, len(head.partition(".")[2]))


def _letters(count: int) -> list[str]:
    signs = string.ascii_lowercase
    return [
        signs[i] if count <= len(signs) else f"{signs[i // 26]}{signs[i % 26]}"
        for i in range(count)
    ]


def _heights(words: Sequence[str]) -> list[float]:
    """Height by value when all words are numbers, else by rank."""
    values = [_number(word) for word in words]
    numbers = [value for value in values if value is not None]
    if len(numbers) < len(words):
        numbers = [float(rank) for rank in range(len(words))]
    low, span = min(numbers), (max(numbers) - min(numbers)) or 1.0
    return [_LOWEST + (value - low) / span * (_HIGHEST - _LOWEST) for value in numbers]


def _number(text: str) -> float | None:
    try:
        return float(text.partition(NO_BREAK)[0])
    except ValueError:
        return None


def sorted_levels(levels: Sequence[str]) -> list[str]:
    """Distinct levels from low to high when they are numbers of one unit, else as they come."""
    distinct = list(dict.fromkeys(levels))
    numbers = {level: _number(level) for level in distinct}
    if (
        len({level.partition(NO_BREAK)[2] for level in distinct}) == 1
        and None not in numbers.values()
    ):
        return sorted(distinct, key=lambda level: numbers[level] or 0.0)
    return distinct


def draw_steps(
    sheet: Sheet, centres: Sequence[float], width: float, floor: float, steps: Steps
) -> None:
    """Draw the steps with their words.

    Parameters
    ----------
    sheet : Sheet
    centres : sequence of float
        Middle of each column [pt from the left].
    width : float
        Width of a step [pt].
    floor : float
        Foot of the steps [pt from the top].
    steps : Steps
    """
    for centre, word, height in zip(centres, steps.words, steps.heights, strict=True):
        left, top = centre - width / 2, floor - height
        sheet.box(left, top, width, height, face=LOAD)
        sheet.line((left, left + width), (top, top), INK, MEAN_PT)
        lift = _LINE if steps.beside else 0.0
        sheet.text(centre, top - 4.0 - lift, word, size=steps.size, align="center")
    for centre, word, height in zip(centres, steps.beside, steps.heights, strict=False):
        y = floor - height - 4.0
        sheet.text(centre, y, word, size=steps.size, colour=PENCIL, align="center")
    places = [
        (centre + width / 2, floor - height)
        for centre, height, struck in zip(centres, steps.heights, steps.struck, strict=False)
        if struck
    ]
    draw_strikes(sheet.ground, [x for x, _ in places], [y for _, y in places], size=7.0)
