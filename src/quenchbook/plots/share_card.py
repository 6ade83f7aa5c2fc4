"""Share pictures: question, answer, interval, at most three verdicts and one small figure."""

from __future__ import annotations

import bisect
import re
from collections.abc import Sequence
from typing import Final

import pandas as pd

from quenchbook.plots.drawing import Drawing
from quenchbook.plots.glyphs import draw_glyph
from quenchbook.plots.share_words import ShareWords, ShortVerdict
from quenchbook.plots.sheet import Sheet, printable, text_width, wrapped
from quenchbook.plots.small_picture import draw_small_picture
from quenchbook.plots.style import INK, PENCIL, drawing_rules

SIZES: Final = ((1200, 675), (1080, 1080), (1080, 1350))
"""Width and height of the share pictures [px]."""

SMALLEST: Final = 24.0  # px; nothing on a card is smaller
HEADLINE: Final = "STIXGeneral"
_EDGE: Final = 54.0
_QUESTION: Final = 26.0
_INTERVAL: Final = 28.0
_WORD: Final = 27.0
_BETWEEN: Final = 10.0
_PAIR: Final = re.compile(r"\S+(?: to \S+)?\s(?:°[CF]|J) \([^()]*\)")
_DPI: Final = 72  # a point of the sheet is then one pixel


def figure_share_card(words: ShareWords, size: tuple[int, int]) -> Drawing:
    """Draw a share picture.

    Parameters
    ----------
    words : ShareWords
    size : tuple of int
        Width and height [px].

    Returns
    -------
    Drawing
        To be written with 72 dots an inch, see `share_png`.
    """
    with drawing_rules():
        width, height = float(size[0]), float(size[1])
        sheet = Sheet(height, width)
        foot = _draw_foot(sheet, words)
        (_draw_wide if width > height else _draw_tall)(sheet, words, foot)
    return Drawing(f"share_{size[0]}x{size[1]}", sheet.figure, words.headline, "", (),
                   share_alt(words), pd.DataFrame())  # fmt: skip


def share_png(words: ShareWords, size: tuple[int, int]) -> bytes:
    """Share picture as PNG, exactly of its size in pixels."""
    return figure_share_card(words, size).png(dpi=_DPI)


def share_alt(words: ShareWords) -> str:
    """Alternative text of a share picture: every word on it, and what its figure shows."""
    verdicts = "; ".join(f"{own.word}: {own.words}" for own in words.verdicts)
    parts = [
        f"{words.question} {words.headline}" + (f" ({words.interval})" if words.interval else ""),
        f"Also: {verdicts}" if verdicts else "",
        f"Small figure: {words.picture.alt}" if words.picture else "",
        words.counts,
        words.source,
    ]
    return " ".join(f"{part.rstrip('.')}." for part in parts if part)


def _draw_foot(sheet: Sheet, words: ShareWords) -> float:
    """Counts and study at the foot; returns where the line above them stands."""
    inner = sheet.width - 2 * _EDGE
    one = text_width(words.counts, SMALLEST) + text_width(words.source, SMALLEST) + 30
    stacked = one > inner
    top = sheet.height - (116.0 if stacked else 78.0)
    sheet.line((_EDGE, sheet.width - _EDGE), (top, top), PENCIL, 1.6)
    sheet.text(_EDGE, top + 44, _cut(words.counts, inner, SMALLEST), size=SMALLEST)
    if stacked:
        source = _cut(words.source, inner, SMALLEST)
        sheet.text(_EDGE, top + 82, source, size=SMALLEST, colour=PENCIL)
    else:
        sheet.text(sheet.width - _EDGE, top + 44, words.source, size=SMALLEST, colour=PENCIL,
                   align="right")  # fmt: skip
    return top


def _draw_question(sheet: Sheet, words: ShareWords, most: int) -> float:
    lines = _lines(words.question, sheet.width - 2 * _EDGE, _QUESTION, most)
    y = 76.0
    for number, line in enumerate(lines):
        sheet.text(_EDGE, y + 36 * number, line, size=_QUESTION, colour=PENCIL)
    return y + 36 * (len(lines) - 1)


def _draw_wide(sheet: Sheet, words: ShareWords, foot: float) -> None:
    """Words at the left, figure at the right; the headline as large as lets all verdicts in."""
    top = _draw_question(sheet, words, 2)
    column = 502.0 if words.picture else sheet.width - 2 * _EDGE
    sizes = [size for size in (54.0, 46.0, 40.0) if _answer_height(words, column, size) < 260.0]
    fitted: list[tuple[int, float, list[int]]] = []
    for size in sizes or [40.0]:
        room = foot - (top + 34 + _answer_height(words, column, size))
        if (counts := _line_counts(words.verdicts, column, room)) is not None:
            fitted.append((_whole(words.verdicts, column) - sum(counts), size, counts))
    # whole words under the verdicts go before a larger headline
    _, size, lines = min(fitted, key=lambda one: (one[0], -one[1]),
                         default=(0, 40.0, [1] * len(words.verdicts)))  # fmt: skip
    y = _draw_answer(sheet, words, top + 8, column, (size,), 230.0) + 18
    for own, count in zip(words.verdicts, lines, strict=True):
        if y + _stacked_height(count) > foot:
            break
        _draw_stacked(sheet, own, y, column, count)
        y += _stacked_height(count) + _BETWEEN
    if words.picture:
        place = (590.0, top + 36, sheet.width - _EDGE - 590.0, foot - top - 44)
        draw_small_picture(sheet, words.picture, place, size=SMALLEST)


def _answer_height(words: ShareWords, width: float, size: float) -> float:
    """Height of headline and interval [px]."""
    lines = wrapped(words.headline, width, size, bold=True, family=HEADLINE)
    under = _lines(words.interval, width, _INTERVAL, 2) if words.interval else []
    return 1.22 * size * len(lines) + 1.55 * _INTERVAL * len(under)


def _draw_tall(sheet: Sheet, words: ShareWords, foot: float) -> None:
    inner = sheet.width - 2 * _EDGE
    top = _draw_question(sheet, words, 3)
    y = _draw_answer(sheet, words, top + 26, inner, (64.0, 56.0, 48.0, 42.0), 200.0)
    lines = [_beside_lines(own, inner) for own in words.verdicts]
    below = foot - 14 - sum(map(_beside_height, lines))
    if words.picture:
        draw_small_picture(
            sheet, words.picture, (_EDGE, y + 40, inner, below - y - 52), size=SMALLEST
        )
        y = below
    else:
        y += 40
    for own, beside in zip(words.verdicts, lines, strict=True):
        _draw_beside(sheet, own, y, beside)
        y += _beside_height(beside)


def _draw_answer(
    sheet: Sheet, words: ShareWords, top: float, width: float, sizes: tuple[float, ...], most: float
) -> float:
    """Headline as large as fits, and the interval at once under it; returns the last baseline."""
    for size in sizes:
        lines = wrapped(words.headline, width, size, bold=True, family=HEADLINE)
        if len(lines) * 1.22 * size <= most:
            break
    else:
        lines = _lines(words.headline, width, size, int(most / 1.22 / size), family=HEADLINE)
    y = top
    for line in lines:
        y += 1.22 * size
        sheet.text(_EDGE, y, line, size=size, bold=True, family=HEADLINE)
    for line in _lines(words.interval, width, _INTERVAL, 2) if words.interval else ():
        y += 1.55 * _INTERVAL
        sheet.text(_EDGE, y, line, size=_INTERVAL)
    return y


def _whole(verdicts: Sequence[ShortVerdict], width: float) -> int:
    """Lines under all verdicts where none is cut to one."""
    return sum(len(_lines(own.words, width - 46, SMALLEST, 2)) for own in verdicts)


def _line_counts(verdicts: Sequence[ShortVerdict], width: float, room: float) -> list[int] | None:
    """Lines under each verdict so that all fit; the one that loses least is cut first."""
    whole = [_lines(own.words, width - 46, SMALLEST, 2) for own in verdicts]
    counts = [len(lines) for lines in whole]
    order = sorted(range(len(counts)), key=lambda n: len(whole[n][-1]))
    for place in (None, *order):
        if place is not None:
            counts[place] = 1
        if sum(_stacked_height(count) + _BETWEEN for count in counts) - _BETWEEN <= room:
            return counts
    return None


def _draw_stacked(sheet: Sheet, own: ShortVerdict, top: float, width: float, count: int) -> None:
    """Glyph and word, with what was compared under them."""
    left = _draw_word(sheet, own, top)
    for number, line in enumerate(_lines(own.words, width - 46, SMALLEST, count)):
        sheet.text(left, top + 59 + 29 * number, line, size=SMALLEST, colour=PENCIL)


def _stacked_height(count: int) -> float:
    """Height of a verdict with so many lines under it [px]."""
    return 36 + 29.0 * count


def _beside_lines(own: ShortVerdict, width: float) -> list[str]:
    """What was compared, on the lines beside its word."""
    return _lines(own.words, width - 46 - _word_width(own), SMALLEST, 2)


def _beside_height(lines: Sequence[str]) -> float:
    return 52 + 29.0 * (len(lines) - 1)


def _word_width(own: ShortVerdict) -> float:
    return text_width(own.word, _WORD, bold=True) + 22


def _draw_beside(sheet: Sheet, own: ShortVerdict, top: float, lines: Sequence[str]) -> None:
    """Glyph and word, with what was compared beside them."""
    left = _draw_word(sheet, own, top) + _word_width(own)
    for number, line in enumerate(lines):
        sheet.text(left, top + 29 + 29 * number, line, size=SMALLEST, colour=INK)


def _draw_word(sheet: Sheet, own: ShortVerdict, top: float) -> float:
    left = _EDGE + 46
    if own.verdict:
        draw_glyph(sheet, _EDGE + 16, top + 20, own.verdict, own.sign, radius=14.0, pen=2.6)
    sheet.text(left, top + 29, own.word, size=_WORD, bold=True)
    return left


def _lines(
    text: str, width: float, size: float, most: int, *, family: str = "DejaVu Sans"
) -> list[str]:
    """Lines of a text, at most so many; the last ends with an ellipsis if there were more."""
    lines = wrapped(text, width, size, bold=family == HEADLINE, family=family)
    if len(lines) <= most:
        return lines
    kept = lines[: max(1, most)]
    return [*kept[:-1], _cut(f"{kept[-1]} {lines[len(kept)]}", width, size, family=family)]


def _cut(text: str, width: float, size: float, *, family: str = "DejaVu Sans") -> str:
    """Text on one line, ended by an ellipsis where it is too wide."""
    text, bold = printable(text), family == HEADLINE
    if text_width(text, size, bold=bold, family=family) <= width:
        return text
    fits = bisect.bisect_right(
        range(len(text)),
        width,
        key=lambda n: text_width(f"{text[:n]}\u2026", size, bold=bold, family=family),
    )
    end = max(0, fits - 1)
    for pair in _PAIR.finditer(text):
        if pair.start() < end < pair.end():
            end = pair.start()  # a number is not parted from its other unit
    text = text[:end]
    return f"{text.rstrip(' ,;:')}\u2026"
