"""Response against hardness: the temper line, coupons by level, and the values at one hardness."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.errors import ReportError
from quenchbook.findings.statements import interval_words
from quenchbook.fit.equal_hardness import EqualHardness
from quenchbook.fit.hardness_notes import level_word, response_word
from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key
from quenchbook.plots.second_unit import axis_words, draw_y_tick, most_ticks, under_room
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    COMMON,
    COUPONS,
    CURVE_BAND,
    CURVE_PT,
    END_PT,
    ESTIMATE_BAND,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    PENCIL,
    SMALL_PT,
    THIN_PT,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
    MarkStyle,
    draw_marks,
    drawing_rules,
    mark_styles,
)
from quenchbook.study.factors import Level
from quenchbook.units import capital, number_text, with_unit

_HEIGHT: Final = 190.0
_LEFT: Final = 34.0
_RIGHT: Final = 62.0  # room for the values at one hardness
_BAND: Final = 5.0  # half the width of a value's band
_GAP: Final = 16.0  # between two panels


def figure_equal_hardness(findings: Sequence[Any]) -> Drawing:
    """Draw answers at equal hardness, one panel for each.

    Parameters
    ----------
    findings : sequence of Finding or TradeFinding
        With an `EqualHardness` as `result`.

    Returns
    -------
    Drawing
        Its data are coupons, lines and values, told apart by the column ``what``.

    Raises
    ------
    ReportError
        If none of the findings has such a result.
    """
    own = [f for f in findings if isinstance(getattr(f, "result", None), EqualHardness)]
    if not own:
        raise ReportError("There is no answer at equal hardness to draw.")
    with drawing_rules():
        return _draw(own)


def _draw(findings: Sequence[Any]) -> Drawing:
    results: list[EqualHardness] = [finding.result for finding in findings]
    first = results[0]
    log = first.pairs.response.scale == "log"
    title = _response_title(first, log)
    head = wrapped(title, INNER, TITLE_PT)
    foot = _hardness_title(first)
    keys = [Key([[_entry(result, level, log) for level in _arms(result)]]) for result in results]
    tops, top = [], 12.0 + 13.0 * len(head)
    for key in keys:
        top += 16.0 if len(results) > 1 else 4.0
        tops.append(top)
        top += _HEIGHT + 34.0 + key.height + _GAP
    sheet = Sheet(top - _GAP + 6.0)
    for number, line in enumerate(head):
        sheet.text(MARGIN - 4, 16.0 + 13.0 * number, line, size=TITLE_PT)
    for result, key, at in zip(results, keys, tops, strict=True):
        if len(results) > 1:
            words = f"{capital(_level(result, result.level))} and {_level(result, result.against)}"
            sheet.text(_LEFT, at - 6.0, words, size=TITLE_PT, bold=True)
        _draw_panel(sheet, result, at, log)
        bottom = at + _HEIGHT
        right = WIDTH - MARGIN - _RIGHT
        sheet.text(right, bottom + 27.0, foot, size=TITLE_PT, align="right")
        key.draw(sheet, bottom + 33.0)
    sentences = " ".join(finding.sentence for finding in findings)
    return Drawing(
        "equal_hardness", sheet.figure, sentences, _reading(first),
        tuple(dict.fromkeys(note for finding in findings for note in finding.notes)),
        _alt(findings, results), _data(results),
    )  # fmt: skip


def _draw_panel(sheet: Sheet, result: EqualHardness, top: float, log: bool) -> None:
    styles = _styles(result)
    arms = _arms(result)
    low, high = result.common_range
    coupons = result.coupons
    x = scales.padded([*coupons["hardness"], low, high], 0.04)
    shown = [coupons["value"], *(result.lines[c] for c in ("estimate", "conf_low", "conf_high"))]
    y = scales.padded(np.concatenate([own.to_numpy(dtype=float) for own in shown]), 0.15)
    width = WIDTH - MARGIN - _RIGHT - _LEFT
    panel = sheet.panel(_LEFT, top, width, _HEIGHT, x, y)
    _draw_axes(sheet, panel, result, log)
    panel.axes.axvspan(low, high, color=COMMON, linewidth=0, zorder=-1)
    panel.axes.axvline(
        result.at, 0.08, 0.92, color=INK, linewidth=0.8, linestyle=(0, (1, 1.5)), zorder=1
    )
    for level in arms:
        own = coupons[coupons["level"] == level]
        _draw_line(panel, result.lines[result.lines["level"] == level], own, styles[level])
        inside = own["hardness"].between(low, high).to_numpy()
        for kept, scale in ((inside, 1.0), (~inside, 0.62)):
            draw_marks(
                panel.axes, own["hardness"][kept].tolist(), own["value"][kept].tolist(),
                styles[level], scale=scale, label=COUPONS,
            )  # fmt: skip
    _draw_words(sheet, panel, result)
    _draw_values(sheet, panel, result, styles)


def _draw_axes(sheet: Sheet, panel: Panel, result: EqualHardness, log: bool) -> None:
    low, high = panel.y_limits
    printed = result.pairs.response.printed
    for place, words in _y_ticks(low, high, log, printed):
        panel.axes.axhline(place, color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0)
        under = printed.beside(math.exp(place) if log else place, words)
        draw_y_tick(sheet, panel, place, words, under=under)
    foot = panel.top + panel.height
    sheet.axis_line(panel.left, panel.left + panel.width, foot)
    for place, words in scales.axis_ticks(*panel.x_limits, panel.width):
        sheet.tick(panel.x_place(place), foot, words, size=TICK_PT)


def _y_ticks(low: float, high: float, log: bool, printed: Printed) -> list[scales.Tick]:
    """Ticks at round values of the response itself, apart enough to read."""
    if not log:
        return scales.axis_ticks(low, high, _HEIGHT * 4, most=most_ticks(7, printed))
    bottom, top = math.exp(low), math.exp(high)
    values = scales.round_values(bottom, top, 6)
    if top > 4 * bottom:
        powers = range(math.floor(math.log10(bottom)), math.ceil(math.log10(top)) + 1)
        steps = [step * 10.0**power for power in powers for step in (1, 2, 3, 5, 7)]
        values = [value for value in steps if bottom <= value <= top]
    kept: list[float] = []
    apart = 15 + under_room(printed)
    for value in (value for value in values if value > 0):
        if not kept or (math.log(value) - math.log(kept[-1])) / (high - low) * _HEIGHT > apart:
            kept.append(value)
    return [(math.log(v), f"{v:g}") for v in kept]


def _draw_line(panel: Panel, line: pd.DataFrame, coupons: pd.DataFrame, style: MarkStyle) -> None:
    x, y = line["hardness"].to_numpy(), line["estimate"].to_numpy()
    axes = panel.axes
    low, high = line["conf_low"].to_numpy(), line["conf_high"].to_numpy()
    if np.isfinite(low).all():
        axes.fill_between(x, low, high, color=style.colour, alpha=CURVE_BAND, linewidth=0, zorder=2)
    axes.plot(
        x, y, color=style.colour, linewidth=CURVE_PT, linestyle=style.dash,
        dash_capstyle="butt", solid_capstyle="butt", zorder=3,
    )  # fmt: skip
    if x[-1] > x[0]:  # past the common range, as far as this level has coupons
        slope = (y[-1] - y[0]) / (x[-1] - x[0])
        own = coupons["hardness"]
        for end, value, far in ((x[0], y[0], own.min()), (x[-1], y[-1], own.max())):
            if (far < end) if end == x[0] else (far > end):
                beyond = value + slope * (far - end)
                axes.plot(
                    [end, far], [value, beyond], color=style.colour, linewidth=THIN_PT,
                    linestyle=style.dash, zorder=2.5, clip_on=True,
                )  # fmt: skip


def _draw_words(sheet: Sheet, panel: Panel, result: EqualHardness) -> None:
    at = with_unit(number_text(result.at, 1), result.pairs.hardness.unit)
    middle = panel.x_place(result.at)
    _inside(sheet, panel, f"compared at {at}", middle, panel.top + 9.0, INK)
    words = "hardness both reached"
    middle = panel.x_place(sum(result.common_range) / 2)
    _inside(sheet, panel, words, middle, panel.top + panel.height - 5.0, PENCIL)


def _inside(sheet: Sheet, panel: Panel, words: str, middle: float, y: float, colour: str) -> None:
    """Write words about a place, moved so that they stay inside the panel."""
    half = text_width(words, VALUE_PT) / 2 + 2.0
    x = min(max(middle, panel.left + half), panel.left + panel.width - half)
    sheet.text(x, y, words, colour=colour, align="center")


def _draw_values(
    sheet: Sheet, panel: Panel, result: EqualHardness, styles: Mapping[Level, MarkStyle]
) -> None:
    """Values at the stated hardness in the right margin, each with its interval."""
    arms = _arms(result)
    left = panel.left + panel.width + 14.0
    step = (WIDTH - MARGIN - left) / len(arms)
    table = result.lines if not result.one_number else result.values
    for number, level in enumerate(arms):
        x, style = left + (number + 0.5) * step, styles[level]
        own = table[table["level"] == level].iloc[len(table[table["level"] == level]) // 2]
        y = panel.y_place(float(own["estimate"]))
        low, high = float(own["conf_low"]), float(own["conf_high"])
        if math.isfinite(low) and math.isfinite(high):
            upper, lower = panel.y_place(high), panel.y_place(low)
            sheet.box(
                x - _BAND, upper, 2 * _BAND, lower - upper, face=style.colour, alpha=ESTIMATE_BAND
            )
            for edge in (upper, lower):
                sheet.line((x - _BAND, x + _BAND), (edge, edge), style.colour, END_PT)
        draw_marks(sheet.ground, [x], [y], style, scale=1.1)
    words = f"at {number_text(result.at, 1)}"
    sheet.text((left + WIDTH - MARGIN) / 2, panel.top + 9.0, words, size=SMALL_PT, align="center")


# --- words -------------------------------------------------------------------------------------


def _arms(result: EqualHardness) -> tuple[Level, Level]:
    return result.against, result.level


def _level(result: EqualHardness, level: Level) -> str:
    return level_word(result.pairs.response, result.factor, level)


def _styles(result: EqualHardness) -> dict[Level, MarkStyle]:
    study = result.pairs.response.study
    if study is not None and study.has(result.factor):
        own = mark_styles(study.factor(result.factor))
        if set(_arms(result)) <= set(own):
            return own
    hollow, full = MarkStyle(INK, "o", 5.0, "#FDFCF9"), MarkStyle(INK, "o", 5.0, INK)
    return {result.against: hollow, result.level: full}


def _entry(result: EqualHardness, level: Level, log: bool) -> Entry:
    """Mark, line and value of one level."""
    style = _styles(result)[level]
    table = result.values if result.one_number else result.lines
    rows = table[table["level"] == level]
    own = rows.iloc[len(rows) // 2]
    numbers = [float(own[name]) for name in ("estimate", "conf_low", "conf_high")]
    values = [math.exp(x) if log else x for x in numbers]
    printed = result.pairs.response.printed
    words = f"{_level(result, level)} {printed.difference(values[0], 1)}"
    if all(math.isfinite(x) for x in values):
        words = printed.with_limits(words, printed.limits(values[1], values[2], 1))

    def draw(sheet: Sheet, left: float, middle: float) -> None:
        sheet.line((left, left + 22.0), (middle, middle), style.colour, CURVE_PT, ls=style.dash)
        draw_marks(sheet.ground, [left + 11.0], [middle], style)

    return Entry(words, 22.0, draw)


def _response_title(result: EqualHardness, log: bool) -> str:
    model = result.pairs.response
    words = capital(response_word(model))
    words = f"{words}, {model.unit}" if model.unit else words
    return axis_words(words, model.printed, more="log scale" if log else "")


def _hardness_title(result: EqualHardness) -> str:
    model = result.pairs.hardness
    words = capital(response_word(model))
    return f"{words}, {model.unit}" if model.unit else words


def _reading(result: EqualHardness) -> str:
    coupon = wording.unit_word(result.pairs.response, "coupon")
    return (
        f"A mark is a {coupon}, moved to an even mix of the other factors; small marks lie outside "
        "the hardness both reached (shaded), where the line is thin. Lines: how the temper moves "
        f"both; bands: {interval_words(result.confidence)}. At the right and below: values at the "
        "stated hardness."
    )


def _alt(findings: Sequence[Any], results: Sequence[EqualHardness]) -> str:
    first = results[0]
    coupon = wording.unit_word(first.pairs.response, "coupon")
    count = pd.concat([own.coupons["coupon"] for own in results]).nunique()
    levels = " and ".join(_level(first, level) for level in _arms(first))
    subject = (
        f"{capital(response_word(first.pairs.response))} against "
        f"{response_word(first.pairs.hardness)} for {levels}; {wording.counted(count, coupon)}"
    )
    return wording.alt_text(subject, " ".join(own.sentence for own in findings), "")


def _data(results: Sequence[EqualHardness]) -> pd.DataFrame:
    parts = []
    for own in results:
        parts += [
            own.coupons.assign(what="coupon"),
            own.lines.assign(what="line"),
            own.values.assign(what="value"),
        ]
    frame = pd.concat(parts, ignore_index=True)
    names = [f"{own.level} - {own.against}" for own in results]
    sizes = [len(own.coupons) + len(own.lines) + len(own.values) for own in results]
    frame.insert(0, "contrast", np.repeat(names, sizes))
    columns = ["what", "contrast", "coupon", "level", "temper", "hardness", "value"]
    return frame[[*columns, "estimate", "conf_low", "conf_high"]]
