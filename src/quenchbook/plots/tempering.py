"""Response against the temper with every coupon, and the tempers that give a wanted value."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final, cast

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.errors import EstimabilityError
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.fit.tempering import TemperSet
from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key
from quenchbook.plots.second_unit import axis_words, draw_y_tick, most_ticks, under_room
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    COUPONS,
    CURVE_BAND,
    CURVE_PT,
    END_PT,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    NEUTRAL,
    PENCIL,
    STRAW,
    STRAW_EDGE,
    THIN_PT,
    TICK_PT,
    TITLE_PT,
    MarkStyle,
    draw_marks,
    drawing_rules,
    mark_styles,
)
from quenchbook.plots.ties import draw_tie, draw_tie_key
from quenchbook.study.factors import plural
from quenchbook.units import capital

if TYPE_CHECKING:
    from quenchbook.findings.answers import AnyFinding

_PLOT_HEIGHT: Final = 118.0
_STRIP_ROOM: Final = 20.0  # under the lowest reading, for the tempers that give the value
_STRIP: Final = 9.0
_TITLE_LINE: Final = 12.5
_LEFT: Final = MARGIN + 30.0
_APART: Final = 7.0  # between temper batches of one temper [pt]
_MOST: Final = 6
_DOTS: Final = (0.0, (1.0, 2.0))


def figure_temper(findings: Sequence[AnyFinding]) -> Drawing:
    """Draw the answers to which temper gives a value, one panel each.

    Parameters
    ----------
    findings : sequence of TradeFinding
        Of kind ``temper_for``; at most six are drawn.

    Returns
    -------
    Drawing
        Its data are curves, coupons and sets, told apart by the columns ``panel`` and ``what``.
    """
    own = [f for f in findings if isinstance(f, TradeFinding) and isinstance(f.result, TemperSet)]
    if not own:
        raise EstimabilityError("There is no answer about a temper to draw.")
    with drawing_rules():
        return _draw(own[:_MOST], len(own))


def _draw(findings: Sequence[TradeFinding], count: int) -> Drawing:
    frames = [_frames(own) for own in findings]
    first = cast(TemperSet, findings[0].result).curve
    study: Any = first.model.study
    response = study.response(findings[0].response)
    factor = study.factor(first.along)
    titles = [wrapped(capital(own.label), INNER - 12.0, TITLE_PT, bold=True) for own in findings]
    head = wrapped(axis_words(response.axis_title, response.printed), INNER, TITLE_PT)
    foot = axis_words(factor.axis_title, factor.printed)
    more = under_room(factor.printed)
    key = Key([_key(first, frames)])
    top = 11.0 + 13.0 * len(head)
    tops = []
    for lines in titles:
        top += _TITLE_LINE * len(lines) + 6.0
        tops.append(top)
        top += _PLOT_HEIGHT + _STRIP_ROOM + 22.0 + more
    sheet = Sheet(top + 14.0 + key.height + 8.0)
    for number, line in enumerate(head):
        sheet.text(MARGIN - 4, 16.0 + 13.0 * number, line, size=TITLE_PT)
    for own, data, lines, place in zip(findings, frames, titles, tops, strict=True):
        _draw_panel(sheet, own, data, lines, place)
    sheet.text(WIDTH - MARGIN, top + 6.0, foot, size=TITLE_PT, align="right")
    key.draw(sheet, top + 14.0)
    return Drawing(
        "temper", sheet.figure, _finding(findings), _reading(first), _notes(findings, count),
        _alt(findings, frames), _data(findings, frames),
    )  # fmt: skip


def _frames(own: TradeFinding) -> tuple[pd.DataFrame, pd.DataFrame, float]:
    """Curve, coupons and wanted value in the unit of the response."""
    found = cast(TemperSet, own.result)
    curve, coupons, target = found.curve.to_frame(), found.curve.coupons(), found.target
    if found.curve.model.scale == "log":
        names = ["estimate", "conf_low", "conf_high"]
        curve[names] = np.exp(curve[names])
        coupons["value"] = np.exp(coupons["value"])
        target = math.exp(target)
    return curve, coupons, target


def _style(found: TemperSet) -> MarkStyle:
    study: Any = found.curve.model.study
    for name, level in found.curve.at.items():
        styles = mark_styles(study.factor(name)) if name == "cold_route" else {}
        if level in styles:
            return styles[level]
    return NEUTRAL


def _draw_panel(
    sheet: Sheet,
    own: TradeFinding,
    frames: tuple[pd.DataFrame, pd.DataFrame, float],
    title: Sequence[str],
    top: float,
) -> None:
    found = cast(TemperSet, own.result)
    curve, coupons, target = frames
    style = _style(found)
    low, high = found.curve.limits
    space = 0.09 * (high - low)
    x_limits = (min(low, coupons["x"].min()) - space, max(high, coupons["x"].max()) + space)
    values = np.concatenate([coupons["value"], curve["conf_low"], curve["conf_high"], [target]])
    bottom, ceiling = scales.padded(values, 0.06)
    below = (ceiling - bottom) * _STRIP_ROOM / _PLOT_HEIGHT
    panel = sheet.panel(
        _LEFT, top, WIDTH - MARGIN - _LEFT, _PLOT_HEIGHT + _STRIP_ROOM, x_limits,
        (bottom - below, ceiling),
    )  # fmt: skip
    for number, line in enumerate(title):
        y = top - 7.0 - _TITLE_LINE * (len(title) - 1 - number)
        sheet.text(_LEFT + 12.0, y, line, size=TITLE_PT, bold=True, colour=style.colour)
        if number == 0:
            draw_marks(sheet.ground, [_LEFT + 4.0], [y - 3.4], style, scale=1.25)
    _draw_frame(sheet, panel, found, bottom, ceiling)
    axes = panel.axes
    x = curve["x"].to_numpy()
    axes.fill_between(
        x, curve["conf_low"], curve["conf_high"], color=style.colour, alpha=CURVE_BAND,
        linewidth=0, zorder=2,
    )  # fmt: skip
    axes.plot(
        x, curve["estimate"], color=style.colour, linewidth=CURVE_PT, linestyle=style.dash, zorder=3
    )
    _draw_coupons(panel, coupons, style)
    _draw_wanted(sheet, panel, target)
    _draw_set(sheet, panel, found, target)


def _draw_frame(
    sheet: Sheet, panel: Panel, found: TemperSet, bottom: float, ceiling: float
) -> None:
    printed = found.curve.model.printed
    most = most_ticks(6, printed)
    for value, words in scales.axis_ticks(bottom, ceiling, _PLOT_HEIGHT * 4, most=most):
        panel.axes.axhline(value, color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0)
        draw_y_tick(sheet, panel, value, words, under=printed.beside(value, words))
    foot = panel.top + panel.height
    sheet.axis_line(panel.left, panel.left + panel.width, foot)
    end = -1e9
    for level in found.curve.levels:
        words, x = f"{level:g}", panel.x_place(float(level))
        under = _along(found).beside_place(float(level))
        half = max(text_width(text, TICK_PT) for text in (words, under)) / 2
        shown = words if x - half > end + 4 else ""
        sheet.tick(x, foot, shown, size=TICK_PT, under=under)
        end = x + half if x - half > end + 4 else end


def _along(found: TemperSet) -> Printed:
    """How tempers stand in print."""
    study = found.curve.model.study
    return study.factor(found.curve.along).printed if study is not None else Printed()


def _draw_coupons(panel: Panel, coupons: pd.DataFrame, style: MarkStyle) -> None:
    unit = _tied_by(coupons)
    xs: list[float] = []
    ys: list[float] = []
    half = panel.x_points(3.0)
    for _, level in coupons.groupby(coupons["x"].round(), sort=True):
        batches = list(dict.fromkeys(level[unit])) if unit else [None]
        room = min(_APART, 60.0 / max(len(batches), 1))
        for number, batch in enumerate(batches):
            part = level[level[unit] == batch] if unit else level
            shift = panel.x_points(room * (number - (len(batches) - 1) / 2))
            x, y = part["x"].to_numpy() + shift, part["value"].to_numpy()
            xs.extend(x.tolist())
            ys.extend(y.tolist())
            if unit:
                draw_tie(panel.axes, x, y, style.colour, half)
    draw_marks(panel.axes, xs, ys, style, scale=0.85, label=COUPONS)


def _tied_by(coupons: pd.DataFrame) -> str:
    """Unit whose coupons are tied: the temper batch, or the furnace load."""
    return next((unit for unit in ("temper_batch", "furnace_load") if unit in coupons), "")


def _draw_wanted(sheet: Sheet, panel: Panel, target: float) -> None:
    y, right = panel.y_place(target), panel.left + panel.width
    sheet.line((panel.left, right), (y, y), PENCIL, THIN_PT, linestyle=_DOTS)


def _draw_set(sheet: Sheet, panel: Panel, found: TemperSet, target: float) -> None:
    low, high = found.curve.limits
    middle = panel.top + panel.height - _STRIP_ROOM / 2 - 1.0
    for left, right in found.pieces:
        begin = panel.x_place(max(left, low))
        end = panel.x_place(min(right, high))
        sheet.box(begin, middle - _STRIP / 2, end - begin, _STRIP, face=STRAW, zorder=2)
        for x, limit, way in ((begin, left, -1), (end, right, 1)):
            if math.isinf(limit):
                sheet.arrow(x + way * 6.0, middle, way, colour=STRAW_EDGE)
            else:
                ends = (middle - _STRIP / 2, middle + _STRIP / 2)
                sheet.line((x, x), ends, STRAW_EDGE, END_PT)
    if found.is_empty:
        x = panel.left + panel.width / 2
        sheet.text(x, middle + 3.0, "no temper inside", size=8.5, colour=PENCIL, align="center")
    for place in found.estimates:
        x = panel.x_place(place)
        sheet.line((x, x), (panel.y_place(target), middle + _STRIP / 2), INK, THIN_PT)


# --- words -------------------------------------------------------------------------------------


def _key(curve: Any, frames: Sequence[tuple[pd.DataFrame, pd.DataFrame, float]]) -> list[Entry]:
    entries = []
    unit = _tied_by(frames[0][1])
    if unit and any(own[1].groupby(["x", unit]).size().max() > 1 for own in frames):
        words = wording.unit_word(curve.model, unit)
        coupons = plural(wording.unit_word(curve.model, "coupon"))
        entries.append(Entry(f"{coupons} of one {words}, their mean", 8.0, draw_tie_key))
    entries.append(Entry("wanted value", 16.0, _draw_dots))
    entries.append(Entry("tempers that may give it", 16.0, _draw_strip))
    return entries


def _draw_dots(sheet: Sheet, left: float, middle: float) -> None:
    sheet.line((left, left + 16.0), (middle, middle), PENCIL, THIN_PT, linestyle=_DOTS)


def _draw_strip(sheet: Sheet, left: float, middle: float) -> None:
    sheet.box(left, middle - 4, 16.0, 8.0, face=STRAW, zorder=2)
    for x in (left, left + 16.0):
        sheet.line((x, x), (middle - 4, middle + 4), STRAW_EDGE, END_PT)


def _finding(findings: Sequence[TradeFinding]) -> str:
    return " ".join(own.sentence for own in findings)


def _reading(curve: Any) -> str:
    model = curve.model
    coupon, level = wording.unit_word(model, "coupon"), wording.percent_text(model.confidence)
    return (
        f"A mark is a {coupon}, adjusted as the curve is. Band: {level} interval of the mean. "
        "Strip: tempers whose mean is not told from the wanted value; an arrow where the data set "
        "no limit."
    )


def _notes(findings: Sequence[TradeFinding], count: int) -> tuple[str, ...]:
    notes = list(dict.fromkeys(note for own in findings for note in own.notes))
    if count > len(findings):
        notes.append(f"{count - len(findings)} more answers are not drawn.")
    return tuple(notes)


def _alt(
    findings: Sequence[TradeFinding],
    frames: Sequence[tuple[pd.DataFrame, pd.DataFrame, float]],
) -> str:
    curve = cast(TemperSet, findings[0].result).curve
    study: Any = curve.model.study
    coupon = wording.unit_word(curve.model, "coupon")
    factor = wording.factor_words(study.factor(curve.along))
    shown = max(len(own[1]) for own in frames)
    subject = f"{capital(findings[0].quantity)} against {factor}; {wording.counted(shown, coupon)}"
    return wording.alt_text(subject, _finding(findings), "")


def _data(
    findings: Sequence[TradeFinding],
    frames: Sequence[tuple[pd.DataFrame, pd.DataFrame, float]],
) -> pd.DataFrame:
    parts = []
    for own, (curve, coupons, _) in zip(findings, frames, strict=True):
        found = cast(TemperSet, own.result)
        pieces = pd.DataFrame(found.pieces, columns=["conf_low", "conf_high"])
        for what, part in (("curve", curve), ("coupon", coupons), ("set", pieces)):
            if len(part):
                parts.append(part.assign(panel=own.label, what=what))
    frame = pd.concat(parts, ignore_index=True)
    first = ["panel", "what"]
    return frame[[*first, *(column for column in frame.columns if column not in first)]]
