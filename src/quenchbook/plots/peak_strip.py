"""Strip below a response curve: plumb line of the peak, its interval, the working window."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from quenchbook.plots import wording
from quenchbook.plots.legend import Entry
from quenchbook.plots.sheet import Panel, Sheet, text_width
from quenchbook.plots.style import (
    CORE,
    END_PT,
    INK,
    PAPER,
    PENCIL,
    SMALL_PT,
    STRAW,
    STRAW_EDGE,
    TIE_PT,
    VALUE_PT,
    MarkStyle,
    draw_marks,
)
from quenchbook.study.factors import Level
from quenchbook.units import capital

if TYPE_CHECKING:
    from quenchbook.fit.curves import ResponseCurves

STRIP_HEIGHT: Final = 35.0
_BAR: Final = 10.0
_FOOT: Final = 5.0  # between strip and axis
_INTERVAL_PT: Final = 2.6
_TARGET_ROOM: Final = 14.0  # bar of a target below the strip, with its gap
_ARROW: Final = 6.0
_LINE: Final = 10.5  # between two lines of words
_HOLLOW: Final = MarkStyle(INK, "o", 5.0, PAPER)

Stretch = tuple[float, float]


@dataclass(frozen=True)
class PeakMark:
    """What the strip of one panel shows.

    Attributes
    ----------
    words : str
        ``peak 1000 °C (991 to 1019)``; the other unit on a second line.
    estimate : float
        nan where the peak is not inside the range.
    low, high : float
        Interval; infinite where open, nan for none.
    range_low, range_high : float
        Settings that were tried.
    within : str
        ``0.3 HRC``; empty without a window.
    certain, possible : tuple of (float, float)
        Stretches of the working window.
    target : str
        ``62 HRC``; empty without a target window.
    target_certain, target_possible : tuple of (float, float)
        Stretches where nine coupons in ten reach the target.
    told : str
        The same as `words` for a caption; empty: `words` serve there too.
    """

    words: str
    estimate: float
    low: float
    high: float
    range_low: float
    range_high: float
    within: str = ""
    certain: tuple[Stretch, ...] = ()
    possible: tuple[Stretch, ...] = ()
    target: str = ""
    target_certain: tuple[Stretch, ...] = ()
    target_possible: tuple[Stretch, ...] = ()
    told: str = ""

    @property
    def lines(self) -> list[str]:
        """Lines of the words."""
        return self.words.split("\n")


def strip_height(peaks: Mapping[Level | None, PeakMark]) -> float:
    """Room of the strip below the lowest reading [pt]; more where a target has its own bar."""
    if not peaks:
        return 0.0
    targets = any(mark.target for mark in peaks.values())
    lines = max(len(mark.lines) for mark in peaks.values())
    return STRIP_HEIGHT + _LINE * (lines - 1) + (_TARGET_ROOM if targets else 0.0)


def draw_peak(
    sheet: Sheet, panel: Panel, mark: PeakMark, line: tuple[np.ndarray, ...], height: float
) -> None:
    """Draw the strip of one panel.

    Parameters
    ----------
    sheet : Sheet
    panel : Panel
        With room of `height` below its coupons.
    mark : PeakMark
    line : tuple of ndarray
        Places and estimates of the curve, first two.
    height : float
        Room of the strip, from `strip_height`.
    """
    foot = panel.top + panel.height
    if height >= STRIP_HEIGHT + _TARGET_ROOM:
        _draw_target(sheet, panel, mark, foot - _FOOT - _BAR)
        foot -= _TARGET_ROOM
    middle = foot - _FOOT - _BAR / 2
    top, bottom = middle - _BAR / 2, middle + _BAR / 2
    for first, last in mark.possible:
        left, right = panel.x_place(first), panel.x_place(last)
        for y in (top, bottom):
            sheet.line(
                (left, right), (y, y), STRAW_EDGE, TIE_PT, linestyle=(0, (1.0, 2.0)), zorder=1.6
            )
    for first, last in mark.certain:
        left, right = panel.x_place(first), panel.x_place(last)
        sheet.box(left, top, right - left, _BAR, face=STRAW, zorder=1.5)
        for x in (left, right):
            sheet.line((x, x), (top, bottom), STRAW_EDGE, END_PT, zorder=2)
    _draw_interval(sheet, panel, mark, middle)
    centre = panel.left + panel.width / 2
    if math.isfinite(mark.estimate):
        x = panel.x_place(mark.estimate)
        value = float(np.interp(mark.estimate, line[0], line[1]))
        sheet.line(
            (x, x), (panel.y_place(value), middle), INK, 0.8,
            linestyle=(0, (1.0, 1.6)), zorder=2.5,
        )  # fmt: skip
        draw_marks(sheet.ground, [x], [middle], _HOLLOW, scale=1.0)
        centre = x
    half = _width(mark, VALUE_PT) / 2
    size = VALUE_PT if 2 * half <= panel.width else SMALL_PT
    half = _width(mark, size) / 2
    centre = min(max(centre, panel.left + half), panel.left + panel.width - half)
    for number, words in enumerate(reversed(mark.lines)):
        y = top - 4.5 - _LINE * number
        sheet.box(centre - half - 1, y - 8.0, 2 * half + 2, 10.5, face=PAPER, zorder=2.6)
        sheet.text(centre, y, words, size=size, align="center").set_zorder(6)


def _width(mark: PeakMark, size: float) -> float:
    return max(text_width(line, size) for line in mark.lines)


def _draw_target(sheet: Sheet, panel: Panel, mark: PeakMark, top: float) -> None:
    """Bar of the target window: solid where certain, dotted edges where possible."""
    for first, last in mark.target_possible:
        left, right = panel.x_place(first), panel.x_place(last)
        for y in (top, top + _BAR):
            sheet.line((left, right), (y, y), PENCIL, TIE_PT, linestyle=(0, (1.0, 2.0)), zorder=1.6)
    for first, last in mark.target_certain:
        left, right = panel.x_place(first), panel.x_place(last)
        sheet.box(left, top, right - left, _BAR, face=CORE, zorder=1.5)
        for x in (left, right):
            sheet.line((x, x), (top, top + _BAR), PENCIL, END_PT, zorder=2)
    if mark.target and not (mark.target_certain or mark.target_possible):
        centre = panel.left + panel.width / 2
        words = f"{mark.target} not reached"
        sheet.text(centre, top + _BAR - 2.0, words, size=SMALL_PT, align="center")


def _draw_interval(sheet: Sheet, panel: Panel, mark: PeakMark, middle: float) -> None:
    """Interval as a thick line; an arrow where it runs on beyond the range."""
    if math.isnan(mark.low):
        return
    low, high = max(mark.low, mark.range_low), min(mark.high, mark.range_high)
    left, right = panel.x_place(low), panel.x_place(high)
    if math.isinf(mark.low):
        left -= _ARROW
        sheet.arrow(left - 1.0, middle, -1, size=_ARROW)
    if math.isinf(mark.high):
        right += _ARROW
        sheet.arrow(right + 1.0, middle, 1, size=_ARROW)
    sheet.line((left, right), (middle, middle), INK, _INTERVAL_PT, zorder=4)


def peak_entries(peaks: Mapping[Level | None, PeakMark]) -> list[Entry]:
    """Entries of the key for working windows and target windows."""
    entries = []
    within = {mark.within for mark in peaks.values() if mark.within}
    words = f"within {' or '.join(sorted(within))} of the peak"
    certain = any(mark.certain for mark in peaks.values())
    possible = any(mark.possible for mark in peaks.values())
    if certain:
        entries.append(
            Entry("certainly," if possible else f"certainly {words}", 18.0, _draw_certain)
        )
    if possible:
        entries.append(Entry(f"possibly {words}", 18.0, _draw_possible))
    targets = {mark.target for mark in peaks.values() if mark.target}
    words = f"reaches {' or '.join(sorted(targets))}, nine times in ten"
    if any(mark.target_certain for mark in peaks.values()):
        entries.append(Entry(f"certainly {words}", 18.0, _draw_sure_target))
    if any(mark.target_possible for mark in peaks.values()):
        entries.append(Entry(f"possibly {words}", 18.0, _draw_possible_target))
    return entries


def _draw_certain(sheet: Sheet, left: float, middle: float) -> None:
    _draw_field(sheet, left, middle, STRAW, STRAW_EDGE)


def _draw_sure_target(sheet: Sheet, left: float, middle: float) -> None:
    _draw_field(sheet, left, middle, CORE, PENCIL)


def _draw_field(sheet: Sheet, left: float, middle: float, face: str, edge: str) -> None:
    sheet.box(left, middle - 4.0, 16.0, 8.0, face=face)
    for x in (left, left + 16.0):
        sheet.line((x, x), (middle - 4.0, middle + 4.0), edge, END_PT)


def _draw_possible(sheet: Sheet, left: float, middle: float) -> None:
    _draw_edges(sheet, left, middle, STRAW_EDGE)


def _draw_possible_target(sheet: Sheet, left: float, middle: float) -> None:
    _draw_edges(sheet, left, middle, PENCIL)


def _draw_edges(sheet: Sheet, left: float, middle: float, edge: str) -> None:
    for y in (middle - 4.0, middle + 4.0):
        sheet.line((left, left + 16), (y, y), edge, TIE_PT, linestyle=(0, (1.0, 2.0)))


def peaks_finding(curves: ResponseCurves, peaks: Mapping[Level | None, PeakMark]) -> str:
    """Where the peaks are in one short sentence: the lowest and the highest of several."""
    quantity = capital(curves.response_title.partition(",")[0])
    factor, along = curves.group_factor, wording.factor_words(curves.x_factor)
    known = sorted(
        ((mark.estimate, group) for group, mark in peaks.items() if math.isfinite(mark.estimate)),
        key=lambda own: own[0],
    )
    if len(peaks) == 1 or factor is None:
        return f"{quantity} against {along}: {peaks_words(curves, peaks)}."
    if len(known) < 2:
        count = {0: "no peak", 1: "one peak"}[len(known)]
        return f"{quantity} against {along}: {count} located."
    ends = [f"{_place(curves, at)} ({factor.word(group)})" for at, group in
            (known[0], known[-1]) if group is not None]  # fmt: skip
    which = "" if len(known) == len(peaks) else ", where they are located"
    return f"{quantity} peaks lie from {' to '.join(ends)}{which}."


def _place(curves: ResponseCurves, value: float) -> str:
    factor = curves.x_factor
    return factor.word(round(value) if factor.dimension == "temperature" else value)


def peaks_words(curves: ResponseCurves, peaks: Mapping[Level | None, PeakMark]) -> str:
    """Every peak with its interval, panel by panel."""
    factor = curves.group_factor
    return ", ".join(
        f"{factor.word(group)} {mark.told or mark.words}"
        if factor is not None and group is not None
        else mark.told or mark.words
        for group, mark in peaks.items()
    )  # fmt: skip


def peaks_reading(peaks: Mapping[Level | None, PeakMark]) -> str:
    """How to read the strip."""
    if not peaks:
        return ""
    return (
        " Dotted upright line: the peak of the curve; thick line below: its interval, with an "
        "arrow where the data set no limit inside the range that was tried."
    )
