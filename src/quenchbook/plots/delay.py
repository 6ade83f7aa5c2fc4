"""Response against the delay: log time, a panel for each route, single coupons, level without."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed, Scale
from quenchbook.findings.statements import percent_text
from quenchbook.fit.delay import DecadeChange, decade_change
from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.half_loss_strip import (
    STRIP_HEIGHT,
    HalfLossMark,
    draw_half_loss,
    half_loss_mark,
    half_loss_reading,
)
from quenchbook.plots.legend import Entry, Key
from quenchbook.plots.second_unit import axis_words, draw_y_tick, most_ticks, under_room
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    COUPONS,
    CURVE_BAND,
    CURVE_PT,
    HAIRLINE,
    HAIRLINE_PT,
    NEUTRAL,
    PENCIL,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
    MarkStyle,
    draw_marks,
    drawing_rules,
    mark_styles,
)
from quenchbook.plots.ties import draw_tie, draw_tie_key
from quenchbook.study.factors import Level, plural
from quenchbook.units import decimals_for, interval_text, listed, number_text

if TYPE_CHECKING:
    from quenchbook.findings.answers import AnyFinding
    from quenchbook.fit.delay_lines import DelayLines

_HEIGHT: Final = 138.0
_GAP: Final = 9.0
_HEAD: Final = 46.0  # one line of title and the numbers of a panel
_TITLE_LINE: Final = 12.5
_MOST_COLUMNS: Final = 3
_STEP: Final = 5.5  # between the ties of neighbouring loads [pt]
_WORD_ROW: Final = 11.0


@dataclass(frozen=True)
class _Grid:
    """Measures that all panels share."""

    columns: int
    left: float
    width: float
    x_limits: tuple[float, float]
    y_limits: tuple[float, float]
    steps: dict[Level, float]  # between the ties of neighbouring batches [pt]
    styles: dict[Level, MarkStyle]
    titles: dict[Level, list[str]]
    under: float  # room of a line in the other unit [pt]

    @property
    def head(self) -> float:
        """Room above a panel [pt]."""
        return _HEAD + _TITLE_LINE * (max(map(len, self.titles.values())) - 1) + self.under


def figure_delay_findings(findings: Sequence[AnyFinding]) -> Drawing:
    """Draw the answers about one delay together: changes for each decade, half-loss times.

    Parameters
    ----------
    findings : sequence of Finding or TradeFinding
        With a `DecadeChange` or a `HalfLoss` as their result. The first change gives the lines and
        the sentence; without one the lines are those of the average change. A second half-loss
        time of one route, or one along another factor, is left out and it is said.
    """
    from quenchbook.fit.half_loss import HalfLoss

    results = [(own, getattr(own, "result", None)) for own in findings]
    changes = [(own, result) for own, result in results if isinstance(result, DecadeChange)]
    losses = [(own, result) for own, result in results if isinstance(result, HalfLoss)]
    if len(changes) + len(losses) < len(results) or not results:
        raise TypeError("figure_delay_findings draws findings about a delay.")
    if changes:
        first, change = changes[0]
    else:
        first, loss = losses[0]
        change = decade_change(loss.model, loss.delays.factor.name, confidence=loss.confidence)
    marks: dict[Level, HalfLossMark] = {}
    left = 0
    for own, loss in losses:
        routes = loss.delays.routes
        route = loss.level if loss.level in routes else loss.against
        if loss.delays.factor.name != change.delays.factor.name or route in marks:
            left += 1
            continue
        marks[route] = half_loss_mark(own)
    drawing = figure_delay(change, finding=first.sentence, half_losses=marks)
    if left:
        text = f"{left} more half-loss time{'s' if left > 1 else ''} not drawn here."
        drawing = replace(drawing, notes=(*drawing.notes, text))
    return drawing


def figure_delay(
    change: DecadeChange,
    *,
    finding: str = "",
    half_losses: Mapping[Level, HalfLossMark] | None = None,
) -> Drawing:
    """Draw the response against the logarithm of the delay, a panel for each route.

    Parameters
    ----------
    change : DecadeChange
    finding : str
        What it says, for the caption.
    half_losses : mapping of route to HalfLossMark, optional
        When half of a gain is lost; they get a strip below the coupons of each panel.

    Returns
    -------
    Drawing
        Its data are lines, coupons and changes, told apart by the column ``what``.
    """
    with drawing_rules():
        return _draw(change.lines, finding, change.notes, half_losses or {})


def _draw(
    lines: DelayLines,
    finding: str,
    notes: tuple[str, ...],
    losses: Mapping[Level, HalfLossMark],
) -> Drawing:
    strip = STRIP_HEIGHT if losses else 0.0  # room under the lowest reading
    routes = lines.delays.routes
    grid = _grid(lines)
    rows = -(-len(routes) // grid.columns)
    response = lines.study.response(lines.response)
    room = INNER * (0.5 if response.printed.other is None else 0.4)
    head = wrapped(axis_words(response.axis_title, response.printed), room, TITLE_PT)
    key = Key([_entries(lines)])
    top = 11.0 + 13.0 * len(head)
    foot_words = 8.0 + 2 * _WORD_ROW
    row_height = grid.head + _HEIGHT + strip + foot_words + 6.0
    end = top + rows * row_height
    sheet = Sheet(end + 16.0 + key.height + 8.0)
    for number, line in enumerate(head):
        sheet.text(MARGIN - 4, 16.0 + 13.0 * number, line, size=TITLE_PT)
    unit = "change in per cent" if lines.scale == "log" else lines.unit
    if (other := _changes_in(lines).other) is not None:
        unit = f"{unit} ({other.unit})"
    words = f"numbers: {unit} for each tenfold {lines.delays.factor.title}".replace("  ", " ")
    sheet.text(WIDTH - MARGIN, 16.0, words, size=VALUE_PT, colour=PENCIL, align="right")
    least, most = grid.y_limits
    y_limits = (least - (most - least) * strip / _HEIGHT, most)
    for number, route in enumerate(routes):
        row, column = divmod(number, grid.columns)
        panel = sheet.panel(
            grid.left + column * (grid.width + _GAP), top + row * row_height + grid.head,
            grid.width, _HEIGHT + strip, grid.x_limits, y_limits,
        )  # fmt: skip
        _draw_frame(sheet, panel, lines, route, grid, with_y=column == 0)
        _draw_title(sheet, panel, lines, route, grid)
        _draw_without(panel, lines)
        _draw_line(panel, lines, route, grid.styles[route])
        _draw_coupons(panel, lines, route, grid)
        if route in losses:
            draw_half_loss(sheet, panel, losses[route])
    title = f"{lines.delays.factor.title.capitalize()} between quench and cold"
    if lines.delays.factor.name != "delay":
        title = lines.delays.factor.title.capitalize()
    sheet.text(WIDTH - MARGIN, end + 8.0, f"{title}, log scale", size=TITLE_PT, align="right")
    key.draw(sheet, end + 16.0)
    return Drawing(
        "delay", sheet.figure, finding or _plain_finding(lines),
        _reading(lines) + half_loss_reading(losses), notes, _alt(lines, finding), _data(lines),
    )  # fmt: skip


def _grid(lines: DelayLines) -> _Grid:
    routes = lines.delays.routes
    columns = min(len(routes), _MOST_COLUMNS)
    values = [
        lines.coupons["value"].to_numpy(dtype=float),
        *(lines.line[n].to_numpy(dtype=float) for n in ("estimate", "conf_low", "conf_high")),
        np.array(list(lines.without.values()), dtype=float),
    ]
    y_limits = scales.padded(np.concatenate(values))
    ticks = _y_ticks(lines, y_limits)
    left = MARGIN + max((text_width(words, TICK_PT) for _, words in ticks), default=0.0) + 5.0
    width = (WIDTH - MARGIN - left - _GAP * (columns - 1)) / columns
    x = np.concatenate([lines.delays.decades(route) for route in routes])
    counts = {route: _most_batches(lines, route) for route in routes}
    edge = min(_STEP * (max(counts.values()) - 1) / 2 + 7.0, 0.2 * width)
    share = (float(x.max() - x.min()) or 1.0) / (width - 2 * edge)
    parent = lines.delays.factor.nested_in
    known = mark_styles(lines.study.factor(parent)) if parent else {}
    styles = {route: known.get(route, NEUTRAL) for route in routes}
    limits = (float(x.min()) - edge * share, float(x.max()) + edge * share)
    steps = {}
    for route in routes:
        gaps = np.diff(np.sort(lines.delays.decades(route))) / share
        nearest = min(float(gaps.min(initial=width)), 2 * edge)
        steps[route] = min(_STEP, 0.86 * nearest / max(1, counts[route]))
    titles = {
        route: wrapped(
            lines.study.factor(parent).word(route), width + _GAP - 15.0, TITLE_PT, bold=True
        )
        if parent
        else [""]
        for route in routes
    }
    under = under_room(_changes_in(lines))
    return _Grid(columns, left, width, limits, y_limits, steps, styles, titles, under)


def _y_ticks(lines: DelayLines, limits: tuple[float, float]) -> list[scales.Tick]:
    most = most_ticks(8, lines.study.response(lines.response).printed)
    return scales.axis_ticks(*limits, _HEIGHT * 4, most=most)


def _most_batches(lines: DelayLines, route: Level) -> int:
    own = lines.coupons[lines.coupons["group"] == route]
    return int(own.groupby("delay_minutes")["cold_batch"].nunique().max()) if len(own) else 1


# --- marks -------------------------------------------------------------------------------------


def _draw_frame(
    sheet: Sheet, panel: Panel, lines: DelayLines, route: Level, grid: _Grid, *, with_y: bool
) -> None:
    printed = lines.study.response(lines.response).printed
    for value, words in _y_ticks(lines, grid.y_limits):
        panel.axes.axhline(value, color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0)
        if with_y:
            draw_y_tick(sheet, panel, value, words, under=printed.beside(value, words))
    foot = panel.top + panel.height
    sheet.axis_line(panel.left, panel.left + panel.width, foot)
    factor = lines.delays.factor
    ends = [-1e9, -1e9]
    places = sorted(
        zip(lines.delays.decades(route).tolist(), map(factor.word, factor.levels), strict=True)
    )
    for place, words in places:
        x = panel.x_place(place)
        sheet.tick(x, foot, "", size=TICK_PT)
        half = text_width(words, TICK_PT) / 2
        middle = min(max(x, panel.left + half - 8.0), panel.left + panel.width - half + 4.0)
        row = next((n for n in (0, 1) if middle - half > ends[n] + 4.0), None)
        if row is None:
            continue
        ends[row] = middle + half
        y = foot + 5.5 + 0.76 * TICK_PT + _WORD_ROW * row
        sheet.text(middle, y, words, size=TICK_PT, align="center")


def _draw_title(sheet: Sheet, panel: Panel, lines: DelayLines, route: Level, grid: _Grid) -> None:
    numbers, limits = _numbers(lines, route)
    style, title = grid.styles[route], grid.titles[route]
    for number, line in enumerate(filter(None, title)):
        y = panel.top - 32.0 - grid.under - _TITLE_LINE * (len(title) - 1 - number)
        sheet.text(panel.left + 12.0, y, line, size=TITLE_PT, bold=True, colour=style.colour)
        if number == 0:
            draw_marks(sheet.ground, [panel.left + 4.0], [y - 3.4], style, scale=1.25)
    left, foot = panel.left + 1.0, panel.top - 8.5
    sheet.text(left, foot - grid.under - 11.0, numbers, size=VALUE_PT)
    sheet.text(left, foot - grid.under, limits, size=VALUE_PT, colour=PENCIL)
    if (other := _changes_in(lines).other) is not None:
        numbers, limits = _numbers(lines, route, other)
        sheet.text(left, foot, f"({numbers}; {limits})", size=VALUE_PT, colour=PENCIL)


def _changes_in(lines: DelayLines) -> Printed:
    """How changes stand in print; in per cent they have no other unit."""
    units = lines.study.publishing.units
    return Printed() if lines.scale == "log" else Printed(lines.unit, units)


def _numbers(lines: DelayLines, route: Level, scale: Scale | None = None) -> tuple[str, str]:
    """Change for each decade and its limits, in print, on their own scale or another."""
    own = lines.changes[lines.changes["group"] == route].iloc[0]
    estimate, low, high = (float(own[n]) for n in ("estimate", "conf_low", "conf_high"))
    if lines.scale == "log":
        return percent_text(estimate), f"{percent_text(low)} to {percent_text(high)}"
    decimals, mixed = decimals_for(float(own["std_error"]), lines.unit), low < 0 < high
    if scale is not None:
        estimate, low, high = (
            scale.difference(round(value, decimals)) for value in (estimate, low, high)
        )
    limits = interval_text(low, high, decimals, sign=mixed)
    return number_text(estimate, decimals, sign=True), limits


def _draw_without(panel: Panel, lines: DelayLines) -> None:
    for level, value in lines.without.items():
        style = _without_style(lines, level)
        panel.axes.axhline(
            value, color=style.colour, linewidth=CURVE_PT, linestyle=style.dash, zorder=2.5
        )


def _without_style(lines: DelayLines, level: Level) -> MarkStyle:
    parent = lines.study.factor(lines.delays.factor.nested_in)
    return mark_styles(parent).get(level, NEUTRAL)


def _draw_line(panel: Panel, lines: DelayLines, route: Level, style: MarkStyle) -> None:
    own = lines.line[lines.line["group"] == route]
    x = np.log10(own["minutes_until_cold"].to_numpy(dtype=float))
    estimate, low, high = (
        own[name].to_numpy(dtype=float) for name in ("estimate", "conf_low", "conf_high")
    )
    panel.axes.fill_between(
        x, low, high, color=style.colour, alpha=CURVE_BAND, linewidth=0, zorder=2
    )
    panel.axes.plot(
        x, estimate, color=style.colour, linewidth=CURVE_PT, linestyle=style.dash,
        dash_capstyle="butt", solid_capstyle="butt", zorder=3,
    )  # fmt: skip


def _draw_coupons(panel: Panel, lines: DelayLines, route: Level, grid: _Grid) -> None:
    style, own = grid.styles[route], lines.coupons[lines.coupons["group"] == route]
    step = grid.steps[route]
    half = panel.x_points(min(2.6, 0.42 * step))
    xs: list[float] = []
    ys: list[float] = []
    for _, level in own.groupby("delay_minutes", sort=True):
        batches = list(dict.fromkeys(level.sort_values("furnace_load")["cold_batch"]))
        for number, batch in enumerate(batches):
            part = level[level["cold_batch"] == batch]
            shift = panel.x_points(step * (number - (len(batches) - 1) / 2))
            x = np.log10(part["minutes_until_cold"].to_numpy(dtype=float)) + shift
            y = part["value"].to_numpy(dtype=float)
            xs.extend(x.tolist())
            ys.extend(y.tolist())
            draw_tie(panel.axes, x, y, style.colour, half)
    draw_marks(panel.axes, xs, ys, style, scale=0.85 if step > 4.5 else 0.7, label=COUPONS)


# --- words -------------------------------------------------------------------------------------


def _entries(lines: DelayLines) -> list[Entry]:
    entries = []
    if _has_ties(lines):
        entries.append(Entry(f"{_tied(lines)}, their mean", 8.0, draw_tie_key))
    for level in lines.without:
        parent = lines.study.factor(lines.delays.factor.nested_in)
        entries.append(Entry(parent.word(level), 18.0, _dash(_without_style(lines, level))))
    return entries


def _has_ties(lines: DelayLines) -> bool:
    return bool((lines.coupons.groupby("cold_batch").size() > 1).any())


def _tied(lines: DelayLines) -> str:
    unit = "cold_batch" if lines.tie != "furnace_load" else "furnace_load"
    return f"{plural(wording.unit_word(lines, 'coupon'))} of one {wording.unit_word(lines, unit)}"


def _dash(style: MarkStyle) -> Callable[[Sheet, float, float], None]:
    def draw(sheet: Sheet, left: float, middle: float) -> None:
        sheet.line(
            (left, left + 18), (middle, middle), style.colour, CURVE_PT, linestyle=style.dash
        )

    return draw


def _plain_finding(lines: DelayLines) -> str:
    parts = [f"{_numbers(lines, route)[0]}{_with(lines, route)}" for route in lines.delays.routes]
    quantity = lines.study.response(lines.response).quantity
    return f"Change in {quantity} for each tenfold {lines.delays.factor.title}: {listed(parts)}."


def _with(lines: DelayLines, route: Level) -> str:
    parent = lines.delays.factor.nested_in
    return f" with {lines.study.factor(parent).word(route)}" if parent else ""


def _reading(lines: DelayLines) -> str:
    coupon = wording.unit_word(lines, "coupon")
    text = f"A mark is a {coupon}"
    text += f"; an upright line ties the {_tied(lines)}." if _has_ties(lines) else "."
    if lines.mixed:
        text += f" {listed(lines.mixed).capitalize()} evened out."
    level = wording.percent_text(lines.confidence)
    text += f" Band: {level} interval of the line; numbers: change and its {level} interval."
    if lines.delays.are_longer:
        text += " Times until the coupons are cold; the words are the delays as set."
    return text


def _alt(lines: DelayLines, finding: str) -> str:
    coupons = lines.coupons["coupon"].nunique()
    loads = lines.coupons["furnace_load"].nunique()
    quantity = lines.study.response(lines.response).quantity
    panels = wording.count_words(len(lines.delays.routes))
    subject = (
        f"{quantity.capitalize()} against {lines.delays.factor.title} on a log scale, {panels} "
        f"panel{'s' if len(lines.delays.routes) > 1 else ''}; "
        f"{wording.counted(coupons, wording.unit_word(lines, 'coupon'))} in "
        f"{wording.counted(loads, wording.unit_word(lines, 'furnace_load'))}"
    )
    return wording.alt_text(subject, finding or _plain_finding(lines), "")


def _data(lines: DelayLines) -> pd.DataFrame:
    without = pd.DataFrame({"group": list(lines.without), "estimate": list(lines.without.values())})
    parts = (
        ("line", lines.line), ("coupon", lines.coupons), ("change", lines.changes),
        ("without", without),
    )  # fmt: skip
    tables = [own.assign(what=what) for what, own in parts if len(own)]
    frame = pd.concat(tables, ignore_index=True)
    return frame[["what", *(column for column in frame.columns if column != "what")]]
