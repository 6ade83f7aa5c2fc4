"""Strips below response curves: shifts of a peak or curve as bands with their margin zone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.both_units import Printed
from quenchbook.plots import scales
from quenchbook.plots.second_unit import axis_words, under_room
from quenchbook.plots.sheet import INNER, MARGIN, Sheet, wrapped
from quenchbook.plots.style import (
    CALM,
    CALM_EDGE,
    CALM_TEXT,
    END_PT,
    ESTIMATE_BAND,
    ESTIMATE_PT,
    GHOST,
    INK,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
)
from quenchbook.units import capital, unit_text

_BAND: Final = 22.0
_LINE: Final = 12.0
_GAP: Final = 4.0
_AXIS: Final = 34.0  # ticks and title below the last band
_HEAD: Final = 10.0
_DOTS: Final = (0.0, (1.4, 1.6))
_CALM_WORDS: Final = "pale field, dotted edges: too small to matter"
_FARTHEST: Final = 1.5  # limits past so many times the tried range are drawn as an arrow


@dataclass(frozen=True)
class ShiftMark:
    """One shift between two levels.

    Attributes
    ----------
    title : str
        ``peak of dry ice against no cold step``.
    words : str
        ``+28 °C (+16 to +54 °C)``.
    verdict : str
    estimate : float
        nan where there is none.
    low, high : float
        Interval; infinite where open, nan for none.
    margin : float or None
        Shift too small to matter.
    reach : float
        Width of the tried range.
    """

    title: str
    words: str
    verdict: str
    estimate: float
    low: float
    high: float
    margin: float | None
    reach: float


def shifts_height(shifts: Sequence[ShiftMark], printed: Printed) -> float:
    """Room of all shifts with their axis [pt]; 0 for none."""
    if not shifts:
        return 0.0
    bands = sum(_LINE * len(_lines(own)) + 4.0 + _BAND + _GAP for own in shifts)
    return _HEAD + bands + _AXIS + under_room(printed)


def _lines(own: ShiftMark) -> list[str]:
    return wrapped(f"{capital(own.title)}: {own.verdict}, {own.words}", INNER, VALUE_PT)


def draw_shifts(sheet: Sheet, top: float, shifts: Sequence[ShiftMark], printed: Printed) -> None:
    """Draw the shifts on one axis of differences.

    Parameters
    ----------
    sheet : Sheet
    top : float
        Upper edge [pt].
    shifts : sequence of ShiftMark
    printed : Printed
        How the differences stand in print.
    """
    low, high = _limits(shifts)

    def place(value: float) -> float:
        return MARGIN + (min(max(value, low), high) - low) / (high - low) * INNER

    y = top + _HEAD
    for own in shifts:
        for line in _lines(own):
            y += _LINE
            sheet.text(MARGIN, y - 3.0, line, size=VALUE_PT)
        y += 4.0
        foot = y + _BAND
        if own.margin is not None:
            left, right = place(-own.margin), place(own.margin)
            sheet.box(left, y, right - left, _BAND, face=CALM, zorder=0.2)
            for x in (left, right):
                sheet.line((x, x), (y, foot), CALM_EDGE, 1.2, linestyle=_DOTS, zorder=0.4)
        sheet.line((place(0.0), place(0.0)), (y, foot), GHOST, 0.9, zorder=0.3)
        upper, lower = y + 4.5, foot - 4.5
        if not (math.isnan(own.low) or math.isnan(own.high)):
            left, right = place(own.low), place(own.high)
            sheet.box(left, upper, right - left, lower - upper, face=INK, alpha=ESTIMATE_BAND)
            for value, x, sign in ((own.low, left, -1), (own.high, right, 1)):
                if value < low or value > high:
                    sheet.arrow(x + 3.0 * sign, (upper + lower) / 2, sign)
                else:
                    sheet.line((x, x), (upper, lower), INK, END_PT)
        if low <= own.estimate <= high:
            x = place(own.estimate)
            sheet.line((x, x), (upper - 2.5, lower + 2.5), INK, ESTIMATE_PT, zorder=4)
        y = foot + _GAP
    sheet.axis_line(MARGIN, MARGIN + INNER, y)
    for value, text in scales.axis_ticks(low, high, INNER, sign=True):
        under = printed.beside(value, text, sign=True)
        sheet.tick(place(value), y, text, size=TICK_PT, under=under)
    title = f"Shift, {unit_text(printed.unit)}" if printed.unit else "Shift"
    foot = y + 28.0 + under_room(printed)
    words = axis_words(title, printed)
    sheet.text(MARGIN + INNER, foot, words, size=TITLE_PT, align="right", colour=INK)
    if any(own.margin is not None for own in shifts):
        sheet.text(MARGIN, foot, _CALM_WORDS, size=SMALL_PT, colour=CALM_TEXT)


def _limits(shifts: Sequence[ShiftMark]) -> tuple[float, float]:
    reach = _FARTHEST * max(own.reach for own in shifts)
    values = [0.0]
    for own in shifts:
        if own.margin is not None:
            values += [-own.margin, own.margin]
        near = [own.estimate, own.low, own.high]
        values += [value for value in near if math.isfinite(value) and abs(value) <= reach]
        values += [math.copysign(reach / 2, v) for v in near if math.isinf(v) or abs(v) > reach]
    return scales.padded(np.array(values), 0.04)


def shifts_words(shifts: Sequence[ShiftMark]) -> str:
    """The shifts in words."""
    return " ".join(f"Shift, {own.title}: {own.verdict}, {own.words}." for own in shifts)


def shifts_reading(shifts: Sequence[ShiftMark]) -> str:
    """How to read the bands."""
    if not shifts:
        return ""
    return (
        " Below: the shift as a thick line in the band of its interval, with an arrow where it "
        "runs on. The shift is estimated with one curvature for all curves, so it is not the plain "
        "difference of the peaks above."
    )
