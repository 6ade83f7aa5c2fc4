"""Measures of response curves: which panels there are, where levels and values stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.plots import scales
from quenchbook.plots.second_unit import axis_words, most_ticks
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, text_width, wrapped
from quenchbook.plots.style import NEUTRAL, TICK_PT, TITLE_PT, MarkStyle, mark_styles
from quenchbook.study.factors import Factor, Level

if TYPE_CHECKING:
    from quenchbook.fit.curves import ResponseCurves

PLOT_HEIGHT: Final = 124.0
COLUMN_GAP: Final = 13.0
_TIE_STEP: Final = 7.2
_SPREAD: Final = 0.5  # of the room of a level that its loads may take, side by side
MOST_GROUPS: Final = 8
FURTHER: Final = ("further_low", "further_high")


@dataclass(frozen=True)
class Places:
    """Where the levels of the x factor stand, and their words."""

    levels: tuple[float, ...]
    words: tuple[str, ...]
    ordinal: bool  # levels one step apart, whatever their values
    named: bool

    def of(self, values: pd.Series[Any]) -> np.ndarray:
        """Place of each value."""
        if self.named:
            index = {word: float(number) for number, word in enumerate(self.words)}
            return np.array([index[str(value)] for value in values], dtype=float)
        numbers = values.to_numpy(dtype=float)
        if not self.ordinal:
            return numbers
        order = np.argsort(self.levels)
        steps = np.asarray(self.levels)[order]
        return np.asarray(np.interp(numbers, steps, np.arange(len(steps), dtype=float)))

    @property
    def marks(self) -> np.ndarray:
        """Places of the declared levels."""
        if self.named or self.ordinal:
            return np.arange(len(self.words), dtype=float)
        return np.asarray(self.levels, dtype=float)


@dataclass(frozen=True)
class Grid:
    """Measures that all panels share."""

    groups: tuple[Level | None, ...]
    styles: dict[Level | None, MarkStyle]
    titles: tuple[tuple[str, ...], ...]
    columns: int
    left: float
    width: float
    edge: float  # from the outer level to the edge of the panel [pt]
    x_limits: tuple[float, float]
    y_limits: tuple[float, float]
    step: float  # between the ties of neighbouring loads [pt]
    strip: float  # half the band of a mean [pt]
    tick_lines: tuple[tuple[str, ...], ...]
    printed: Printed  # values of the response
    under: bool  # whether the last line of each tick is in the other unit


def groups_of(curves: ResponseCurves) -> tuple[Level | None, ...]:
    """Groups in the order of the study, at most `MOST_GROUPS`; one None without a group factor."""
    if curves.group_factor is None:
        return (None,)
    present = list(dict.fromkeys(curves.curve["group"]))
    known = [level for level in curves.group_factor.levels if level in present]
    return (*known, *(level for level in present if level not in known))[:MOST_GROUPS]


def _of_group(frame: pd.DataFrame, curves: ResponseCurves, group: Level | None) -> pd.DataFrame:
    return frame if curves.group_factor is None else frame[frame["group"] == group]


def coupons_of(curves: ResponseCurves, group: Level | None) -> pd.DataFrame:
    """Coupons of a group."""
    return _of_group(curves.coupons, curves, group)


def line_of(curves: ResponseCurves, group: Level | None, places: Places) -> tuple[np.ndarray, ...]:
    """Places, estimates, lower and upper limits of a group, from left to right."""
    part = _of_group(curves.curve, curves, group)
    x = places.of(part["x"])
    order = np.argsort(x, kind="stable")
    columns = (part[name].to_numpy(dtype=float) for name in ("estimate", "conf_low", "conf_high"))
    return (x[order], *(values[order] for values in columns))


def further_of(
    curves: ResponseCurves, group: Level | None, places: Places
) -> tuple[np.ndarray, ...] | None:
    """Places and limits of a further coupon of a group; None where it was not asked for."""
    if "further_low" not in curves.curve:
        return None
    part = _of_group(curves.curve, curves, group)
    x = places.of(part["x"])
    order = np.argsort(x, kind="stable")
    columns = (part[name].to_numpy(dtype=float) for name in ("further_low", "further_high"))
    return (x[order], *(values[order] for values in columns))


def places_of(curves: ResponseCurves, columns: int) -> Places:
    """Place the levels: by value where curve or tick words allow, else one step apart."""
    factor = curves.x_factor
    if not factor.is_numeric:
        return Places((), tuple(str(level) for level in factor.levels), True, True)
    levels = tuple(float(level) for level in factor.levels)
    words = tuple(_tick_word(factor, level) for level in levels)
    ticks = sorted(zip(levels, words, strict=True))
    low, high = min(levels), max(levels)
    width = (INNER - 24.0 - COLUMN_GAP * (columns - 1)) / columns - 30.0
    beside = [(level, factor.printed.beside_place(level) or words) for level, words in ticks]
    fit = high > low and all(scales.words_fit(own, low, high, width) for own in (ticks, beside))
    if curves.is_curve or fit or len(levels) < 2:
        return Places(levels, words, False, False)
    ordered = tuple(word for _, word in ticks)
    return Places(tuple(sorted(levels)), ordered, True, False)


def _tick_word(factor: Factor, level: Level) -> str:
    if factor.dimension == "time":
        return factor.word(level)
    return f"{round(float(level), 1):g}"  # 1450 degF is 787.778 degC, and was set to the degree


def x_title(curves: ResponseCurves) -> str:
    """Title of the x axis; ticks that are times carry their own units."""
    if curves.x_factor.dimension == "time":
        return curves.x_title.rpartition(", ")[0] or curves.x_title
    return axis_words(curves.x_title, curves.x_factor.printed)


def grid_of(curves: ResponseCurves, groups: tuple[Level | None, ...], places: Places) -> Grid:
    """Measures that fit the widest words and the most loads."""
    columns = 1 if len(groups) == 1 else 2
    known = mark_styles(curves.group_factor)
    if any(not isinstance(style.marker, str) for style in known.values()):
        known = {}  # more levels than marks: the panels alone tell them apart
    styles = {
        group: known.get(group, NEUTRAL) if group is not None else NEUTRAL for group in groups
    }
    y_limits = scales.padded(
        np.concatenate(
            [
                curves.coupons["value"].to_numpy(dtype=float),
                *(
                    curves.curve[name].to_numpy(dtype=float)
                    for name in ("conf_low", "conf_high", "estimate", *FURTHER)
                    if name in curves.curve
                ),
            ]
        )
    )
    printed = Printed(curves.unit, curves.study.publishing.units)
    ticks = y_ticks(y_limits, printed)
    left = MARGIN + max((text_width(words, TICK_PT) for _, words in ticks), default=0.0) + 5.0
    width = (WIDTH - MARGIN - left - COLUMN_GAP * (columns - 1)) / columns
    marks = places.marks
    slot = width / len(marks) if places.ordinal else (width - 24.0) / max(1, len(marks) - 1)
    most = max((_loads_at_a_level(curves, group, places) for group in groups), default=1)
    step = min(_TIE_STEP, _SPREAD * slot / max(1, most - 1))
    x = np.concatenate([marks, places.of(curves.coupons["x"]), places.of(curves.curve["x"])])
    strip = min(max(11.0, step * (most - 1) / 2 + 5.0), 0.46 * slot)
    edge = max(step * (most - 1) / 2 + 8.0, 0.0 if curves.is_curve else strip + 3.0)
    if places.ordinal:
        edge = max(edge, slot / 2)
    low, high = float(x.min()), float(x.max())
    share = (high - low or 1.0) / (width - 2 * edge)
    factor = curves.group_factor
    titles = tuple(
        tuple(wrapped(factor.word(group), width - 14.0, TITLE_PT, bold=True))
        if factor is not None and group is not None
        else ()
        for group in groups
    )
    words = (
        [curves.x_factor.word(lev) for lev in curves.x_factor.levels]
        if places.named
        else places.words
    )
    lines = tuple(tuple(wrapped(word, max(slot - 3.0, 16.0), TICK_PT)) for word in words)
    if curves.x_factor.printed.other is not None:
        levels = sorted(places.levels) if places.ordinal else places.levels
        beside = [curves.x_factor.printed.beside_place(level) for level in levels]
        lines = tuple((*own, under) for own, under in zip(lines, beside, strict=True))
    return Grid(
        groups, styles, titles, columns, left, width, edge,
        (low - edge * share, high + edge * share), y_limits, step, strip, lines, printed,
        curves.x_factor.printed.other is not None,
    )  # fmt: skip


def y_ticks(limits: tuple[float, float], printed: Printed) -> list[scales.Tick]:
    """Ticks of the response that stand apart."""
    return scales.axis_ticks(*limits, PLOT_HEIGHT * 4, most=most_ticks(8, printed))


def _loads_at_a_level(curves: ResponseCurves, group: Level | None, places: Places) -> int:
    part = coupons_of(curves, group)
    if part.empty:
        return 1
    near = nearest(places.of(part["x"]), places)
    return int(part.groupby(near)["furnace_load"].nunique().max())


def nearest(x: np.ndarray, places: Places) -> np.ndarray:
    """Number of the nearest declared level."""
    return np.asarray(np.abs(x[:, None] - places.marks[None, :]).argmin(axis=1))
