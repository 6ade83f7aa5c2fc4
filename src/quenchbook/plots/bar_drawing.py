"""Bars of a cut list to scale: ends, cuts, pieces with their numbers and codes, what is left."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.bench.cutting import mm_text
from quenchbook.bench.pieces import SPARE
from quenchbook.plots import wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Sheet, text_width
from quenchbook.plots.style import (
    AXIS_PT,
    COMMON,
    INK,
    LOAD,
    PENCIL,
    SMALL_PT,
    TITLE_PT,
    VALUE_PT,
    drawing_rules,
)
from quenchbook.units import NO_BREAK

if TYPE_CHECKING:
    from quenchbook.bench.cutting import CutList

_HEIGHT: Final = 30.0  # of a bar [pt]
_HEAD: Final = 15.0
_NUMBERS: Final = 11.0  # above a bar
_RULER: Final = 16.0  # below it
_GAP: Final = 9.0
_NARROWEST: Final = 12.0  # a piece that holds an upright code [pt]
_LEAST_CUT: Final = 0.7
_MONO: Final = "DejaVu Sans Mono"
_MONO_WIDTH: Final = 0.602  # of a character, in sizes
_STEPS: Final = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)  # of the ruler [mm]
_READING: Final = (
    "Each bar is drawn to scale, the end that is cut first at the left; numbers above are pieces, "
    "numbers below millimetres from that end."
)


@dataclass(frozen=True)
class _Part:
    """A piece and where it lies in its bar [mm]."""

    number: int
    low: float
    high: float
    coupon: str
    what: str


@dataclass(frozen=True)
class _Strip:
    """Stretch of a bar that is drawn in one line, from one cut to another [mm]."""

    bar: int
    bar_mm: float
    low: float
    high: float
    parts: tuple[_Part, ...]

    @property
    def is_first(self) -> bool:
        return self.low == 0.0

    @property
    def is_last(self) -> bool:
        return self.high == self.bar_mm


def figure_bars(cut_list: CutList) -> Drawing:
    """Draw each bar to scale, in the order of their numbers.

    Parameters
    ----------
    cut_list : CutList

    Returns
    -------
    Drawing
        Its data are the pieces.
    """
    with drawing_rules():
        return _draw(cut_list)


def _draw(cut_list: CutList) -> Drawing:
    scale = _scale(cut_list)
    strips = list(_strips(cut_list, INNER / scale))
    letters = _letters(strips, scale)
    key = Key(_key_groups(cut_list, strips, letters))
    line = _NUMBERS + _HEIGHT + _RULER + _GAP
    height = 4.0 + sum(line + (_HEAD if own.is_first else 0.0) for own in strips)
    sheet = Sheet(height + key.height + 6.0)
    top = 4.0
    for own in strips:
        if own.is_first:
            _draw_head(sheet, cut_list, own, top)
            top += _HEAD
        _draw_strip(sheet, cut_list, own, top + _NUMBERS, scale, letters)
        top += line
    key.draw(sheet, top)
    return Drawing(
        "bars", sheet.figure, _finding(cut_list), _READING, cut_list.notes,
        _alt(cut_list), cut_list.to_frame(),
    )  # fmt: skip


# --- what is drawn where --------------------------------------------------------------------------


def _scale(cut_list: CutList) -> float:
    """Points for each millimetre: the longest bar fills a line unless its pieces get too narrow."""
    frame = cut_list.frame
    lengths = frame["to_mm"] - frame["from_mm"]
    whole = INNER / max(cut_list.bars.values())
    readable = _NARROWEST / float(lengths.min())
    around = 2 * (cut_list.stock.end_discard_mm + cut_list.stock.kerf_mm)
    return min(max(whole, readable), INNER / (float(lengths.max()) + around))


def _strips(cut_list: CutList, room: float) -> Iterator[_Strip]:
    """Bars in lines of at most `room` [mm], parted at cuts."""
    kerf = cut_list.stock.kerf_mm
    for bar, own in cut_list.frame.groupby("bar", sort=True):
        bar_mm = float(own["bar_mm"].iloc[0])
        parts = [
            _Part(int(row["piece"]), row["from_mm"], row["to_mm"], row["coupon"], row["what"])
            for row in own.to_dict("records")
        ]
        low, first = 0.0, 0
        for at, part in enumerate(parts):
            if part.high + kerf - low > room + 1e-6:
                yield _Strip(int(str(bar)), bar_mm, low, part.low - kerf, tuple(parts[first:at]))
                low, first = part.low - kerf, at
        # a long rest is cut short, its edge open; the head says how much is left
        high = bar_mm if bar_mm - low <= room + 1e-6 else low + room
        yield _Strip(int(str(bar)), bar_mm, low, high, tuple(parts[first:]))


def _letters(strips: Sequence[_Strip], scale: float) -> dict[str, str]:
    """Letter for all words that do not fit into some piece of theirs."""
    words = [
        _words(part)
        for strip in strips
        for part in strip.parts
        if not part.coupon and _fit(part, scale) == "none"
    ]
    return {word: chr(97 + n % 26) for n, word in enumerate(dict.fromkeys(words))}


def _words(part: _Part) -> str:
    return part.coupon or part.what


def _width(part: _Part) -> float:
    """Width of the words of a piece [pt]."""
    if part.coupon:
        return len(part.coupon) * _MONO_WIDTH * VALUE_PT
    return text_width(part.what, VALUE_PT)


def _fit(part: _Part, scale: float) -> str:
    """How the words of a piece fit into it: ``level``, ``upright`` or ``none``."""
    width = (part.high - part.low) * scale
    if _width(part) + 3.0 <= width:
        return "level"
    if _width(part) + 3.0 <= _HEIGHT and width >= VALUE_PT + 1.0:
        return "upright"
    return "none"


# --- marks ----------------------------------------------------------------------------------------


def _draw_head(sheet: Sheet, cut_list: CutList, strip: _Strip, top: float) -> None:
    y = top + 11.0
    words = f"Bar {strip.bar}"
    sheet.text(MARGIN, y, words, size=TITLE_PT, bold=True)
    sheet.text(
        MARGIN + text_width(words, TITLE_PT, bold=True) + 7.0,
        y,
        mm_text(strip.bar_mm),
        size=TITLE_PT,
    )
    rest = f"left over {mm_text(cut_list.rest_mm(strip.bar))}"
    sheet.text(WIDTH - MARGIN, y, rest, size=VALUE_PT, colour=PENCIL, align="right")


def _draw_strip(
    sheet: Sheet,
    cut_list: CutList,
    strip: _Strip,
    top: float,
    scale: float,
    letters: dict[str, str],
) -> None:
    stock = cut_list.stock

    def x(mm: float) -> float:
        return MARGIN + (mm - strip.low) * scale

    if strip.is_first and stock.end_discard_mm:
        _draw_end(sheet, x(0.0), x(stock.end_discard_mm), top)
    if strip.is_last and stock.end_discard_mm:
        _draw_end(sheet, x(strip.bar_mm - stock.end_discard_mm), x(strip.bar_mm), top)
    for part in strip.parts:
        _draw_cut(sheet, x(part.low - stock.kerf_mm), x(part.low), top)
        _draw_cut(sheet, x(part.high), x(part.high + stock.kerf_mm), top)
        _draw_piece(sheet, part, x(part.low), x(part.high), top, letters)
    _draw_outline(sheet, strip, x(strip.low), x(strip.high), top)
    _draw_ruler(sheet, strip, top + _HEIGHT, scale)


def _draw_end(sheet: Sheet, left: float, right: float, top: float) -> None:
    """End that is thrown away: crossed out."""
    sheet.box(left, top, right - left, _HEIGHT, face=LOAD)
    sheet.line((left, right), (top, top + _HEIGHT), PENCIL, AXIS_PT)
    sheet.line((left, right), (top + _HEIGHT, top), PENCIL, AXIS_PT)


def _draw_cut(sheet: Sheet, left: float, right: float, top: float) -> None:
    width = max(_LEAST_CUT, right - left)
    sheet.box((left + right - width) / 2, top, width, _HEIGHT, face=INK, zorder=2)


def _draw_piece(
    sheet: Sheet, part: _Part, left: float, right: float, top: float, letters: dict[str, str]
) -> None:
    middle = (left + right) / 2
    if not part.coupon:
        sheet.box(left, top, right - left, _HEIGHT, face=COMMON)
    if text_width(str(part.number), SMALL_PT) <= right - left - 1.0:
        sheet.text(
            middle, top - 3.0, str(part.number), size=SMALL_PT, colour=PENCIL, align="center"
        )
    fit = _fit(part, (right - left) / (part.high - part.low))
    words = letters.get(part.what, _words(part)) if not part.coupon else part.coupon
    if fit == "none" and part.coupon:
        return  # the table names it
    text = sheet.text(middle, top + _HEIGHT / 2, words, size=VALUE_PT, align="center")
    text.set_verticalalignment("center_baseline")
    if part.coupon:
        text.set_fontfamily(_MONO)
    if fit == "upright" and words == _words(part):
        text.set_rotation(90)
        text.set_verticalalignment("center")


def _draw_outline(sheet: Sheet, strip: _Strip, left: float, right: float, top: float) -> None:
    """Edges of the bar; open where it goes on in another line."""
    for y in (top, top + _HEIGHT):
        sheet.line((left, right), (y, y), INK, 1.1)
    for x, closed in ((left, strip.is_first), (right, strip.is_last)):
        if closed:
            sheet.line((x, x), (top, top + _HEIGHT), INK, 1.1)


def _draw_ruler(sheet: Sheet, strip: _Strip, y: float, scale: float) -> None:
    """Ticks from the end of the bar that is cut first [mm]."""
    step = next(
        (n for n in _STEPS if n * scale >= text_width(f"{strip.bar_mm:.0f}", SMALL_PT) + 14.0),
        _STEPS[-1],
    )
    for place in range(math.ceil(strip.low / step), math.floor(strip.high / step) + 1):
        mm = place * step
        text = f"{mm}{NO_BREAK}mm" if place == 0 else str(mm)
        sheet.tick(MARGIN + (mm - strip.low) * scale, y, text, size=SMALL_PT)


# --- words ----------------------------------------------------------------------------------------


def _key_groups(
    cut_list: CutList, strips: Sequence[_Strip], letters: dict[str, str]
) -> list[list[Entry]]:
    def end(sheet: Sheet, left: float, middle: float) -> None:
        sheet.box(left, middle - 5.0, 10.0, 10.0, face=LOAD)
        for y in ((middle - 5.0, middle + 5.0), (middle + 5.0, middle - 5.0)):
            sheet.line((left, left + 10.0), y, PENCIL, AXIS_PT)

    def cut(sheet: Sheet, left: float, middle: float) -> None:
        sheet.box(left + 4.0, middle - 5.0, 1.4, 10.0, face=INK)

    def other(sheet: Sheet, left: float, middle: float) -> None:
        sheet.box(left, middle - 5.0, 10.0, 10.0, face=COMMON, edge=PENCIL, edge_width=0.7)

    stock = cut_list.stock
    marks = [Entry(f"cut, {mm_text(stock.kerf_mm)}", 10.0, cut)] if stock.kerf_mm else []
    if stock.end_discard_mm:
        marks.append(Entry(f"end thrown away, {mm_text(stock.end_discard_mm)}", 10.0, end))
    parts = [part for strip in strips for part in strip.parts]
    if any(not part.coupon for part in parts):
        marks.append(Entry("no coupon of the plan", 10.0, other))
    named = [Entry(f"{letter}  {word}") for word, letter in letters.items()]
    return [group for group in (marks, named) if group]


def _counts_words(cut_list: CutList) -> str:
    kinds = cut_list.frame["what"].value_counts()
    coupons, spares = int(kinds.get("coupon", 0)), int(kinds.get(SPARE, 0))
    others = len(cut_list.frame) - coupons - spares
    words = [wording.counted(coupons, "coupon")] if coupons else []
    words += [wording.counted(spares, "spare")] if spares else []
    words += [wording.counted(others, "other piece")] if others else []
    return ", ".join(words)


def _finding(cut_list: CutList) -> str:
    bars = wording.counted(len(cut_list.bars), "bar")
    proof = "the shortest stock, proven" if cut_list.proven else "not proven to be the shortest"
    return f"{_counts_words(cut_list)} from {bars}: {mm_text(cut_list.total_mm)}, {proof}."


def _alt(cut_list: CutList) -> str:
    subject = (
        f"Pieces against place in the bar for {wording.counted(len(cut_list.bars), 'bar')}; "
        f"{_counts_words(cut_list)}"
    )
    return wording.alt_text(subject, _finding(cut_list), "")
