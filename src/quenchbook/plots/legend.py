"""The key below a figure: marks with their words, in as few lines as they need."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.plots.sheet import INNER, MARGIN, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    INK,
    NEUTRAL,
    SMALL_PT,
    VALUE_PT,
    MarkStyle,
    draw_marks,
    draw_strikes,
)

LINE_PT: Final = 17.0
_GAP_PT: Final = 14.0
_SPACE_PT: Final = 5.0


@dataclass(frozen=True)
class Entry:
    """One mark of the key and its words.

    Attributes
    ----------
    words : str
    width : float
        Room of the mark [pt].
    draw : callable
        Draws the mark on a sheet with its left edge and the height of its middle.
    """

    words: str
    width: float = 0.0
    draw: Callable[[Sheet, float, float], None] | None = None


@dataclass(frozen=True)
class _Placed:
    entry: Entry
    words: str
    left: float
    line: int


def mark_entry(words: str, style: MarkStyle, *, scale: float = 1.2) -> Entry:
    """Entry with one mark."""

    def draw(sheet: Sheet, left: float, middle: float) -> None:
        draw_marks(sheet.ground, [left + 4.0], [middle], style, scale=scale)

    return Entry(words, 8.0, draw)


def struck_entry(words: str) -> Entry:
    """Entry with a struck mark: run otherwise than planned, or without a reading."""

    def draw(sheet: Sheet, left: float, middle: float) -> None:
        draw_marks(sheet.ground, [left + 4.0], [middle], NEUTRAL)
        draw_strikes(sheet.ground, [left + 4.0], [middle])

    return Entry(words, 9.0, draw)


class Key:
    """Entries placed in lines; each group starts a new line.

    Parameters
    ----------
    groups : sequence of sequence of Entry
    """

    def __init__(self, groups: Sequence[Sequence[Entry]]) -> None:
        self._placed: list[_Placed] = []
        line = 0
        for group in groups:
            left, used = 0.0, False
            for entry in group:
                mark = entry.width + (_SPACE_PT if entry.width else 0.0)
                width = mark + text_width(entry.words, VALUE_PT)
                if used and left + width > INNER:
                    left, line = 0.0, line + 1
                pieces = wrapped(entry.words, INNER - left - mark, VALUE_PT)
                for number, piece in enumerate(pieces):
                    place = entry if number == 0 else Entry(piece, entry.width)
                    self._placed.append(_Placed(place, piece, left, line + number))
                line += len(pieces) - 1
                left += mark + text_width(pieces[-1], VALUE_PT) + _GAP_PT
                used = True
            line += 1 if used else 0
        self.lines = line

    @property
    def height(self) -> float:
        """Room of the key [pt]."""
        return self.lines * LINE_PT

    def draw(self, sheet: Sheet, top: float) -> None:
        """Draw the key with its upper edge at `top` [pt]."""
        for placed in self._placed:
            middle = top + (placed.line + 0.5) * LINE_PT
            left = MARGIN + placed.left
            if placed.entry.draw is not None:
                placed.entry.draw(sheet, left, middle)
            if placed.entry.width:
                left += placed.entry.width + _SPACE_PT
            sheet.text(left, middle + 0.36 * SMALL_PT, placed.words, colour=INK)
