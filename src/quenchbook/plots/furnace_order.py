"""Furnace order: coupons away from the fit, load by load in the order they were run."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key, struck_entry
from quenchbook.plots.load_steps import Steps, draw_steps, sorted_levels, steps_for
from quenchbook.plots.second_unit import axis_words, draw_y_tick, most_ticks
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    ABSENT,
    COMMON,
    COUPONS,
    ESTIMATE_BAND,
    ESTIMATE_PT,
    GHOST,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    NEUTRAL,
    PENCIL,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    draw_marks,
    draw_strikes,
    drawing_rules,
)
from quenchbook.study.factors import plural
from quenchbook.units import capital, decimals_for, listed

if TYPE_CHECKING:
    from quenchbook.fit.curves import FurnaceOrder

_HEIGHT: Final = 150.0
_DAY_GAP: Final = 10.0


@dataclass(frozen=True)
class _Columns:
    """Middle of each load's column, in points of the sheet."""

    loads: tuple[Any, ...]
    days: tuple[Any, ...]
    centres: tuple[float, ...]
    pitch: float
    left: float

    @property
    def box(self) -> float:
        """Width of a band [pt]."""
        return min(0.76 * self.pitch, 24.0)


def figure_furnace_order(order: FurnaceOrder) -> Drawing:
    """Draw coupon deviations by furnace load in time order.

    Parameters
    ----------
    order : FurnaceOrder

    Returns
    -------
    Drawing
        Its data are the coupons with the mean and the limits of their load.
    """
    with drawing_rules():
        return _draw(order)


def _draw(order: FurnaceOrder) -> Drawing:
    loads = order.loads.reset_index(drop=True)
    y_limits = _y_limits(order)
    most = most_ticks(7, order.printed)
    y_ticks = scales.axis_ticks(*y_limits, _HEIGHT * 4, sign=True, most=most)
    columns = _columns(loads, max(text_width(words, TICK_PT) for _, words in y_ticks))
    steps = _steps(order, loads, columns)
    head = wrapped(_y_title(order), INNER, TITLE_PT)
    word = wording.unit_word(order, "furnace_load")
    days = len(set(columns.days)) > 1
    short = days and not _day_names_fit(columns)
    text = f"{capital(word)}, in {wording.order_words(order)}" + ("; days in bold" if short else "")
    foot = wrapped(text, INNER, TITLE_PT)
    key = Key(_key_groups(order, steps, word))
    top = 8.0 + 13.0 * len(head) + (20.0 if days else 4.0)
    floor = top + (steps.room if steps else 0.0)
    panel_top = floor + 5.0
    bottom = panel_top + _HEIGHT
    sheet = Sheet(bottom + 22.0 + 13.0 * len(foot) + 4.0 + key.height + 8.0)
    for number, line in enumerate(head):
        sheet.text(MARGIN - 4, 16.0 + 13.0 * number, line, size=TITLE_PT)
    panel = sheet.panel(
        columns.left, panel_top, WIDTH - MARGIN - columns.left, _HEIGHT,
        (columns.left, WIDTH - MARGIN), y_limits,
    )  # fmt: skip
    _draw_frame(sheet, panel, y_ticks, order)
    if days:
        _draw_days(sheet, columns, top - 8.0, panel_top, bottom)
    if steps is not None:
        draw_steps(sheet, columns.centres, columns.box, floor, steps)
        if steps.unit:
            names = [steps.unit, steps.other] if steps.other else [steps.unit]
            for number, name in enumerate(reversed(names)):
                y = floor - 1.0 - 10.0 * number
                sheet.text(columns.left - 5.0, y, name, size=SMALL_PT, colour=PENCIL, align="right")
    _draw_loads(panel, order, columns)
    _draw_numbers(sheet, columns, bottom)
    for number, line in enumerate(foot):
        sheet.text(
            WIDTH - MARGIN, bottom + 29.0 + 13.0 * number, line, size=TITLE_PT, align="right"
        )
    key.draw(sheet, bottom + 22.0 + 13.0 * len(foot) + 6.0)
    finding = _finding(order, word)
    return Drawing(
        "furnace_order", sheet.figure, finding, _reading(order, word, steps), tuple(order.notes),
        _alt(order, word, finding), _data(order),
    )  # fmt: skip


def _y_title(order: FurnaceOrder) -> str:
    text = f"Away from the fitted {order.quantity or 'value'}"
    return axis_words(f"{text}, {order.unit}" if order.unit else text, order.printed)


def _y_limits(order: FurnaceOrder) -> tuple[float, float]:
    sd = order.load_sd if math.isfinite(order.load_sd) else 0.0
    loads = order.loads
    values = [*order.coupons["deviation"], *loads["mean"], *loads["conf_low"], *loads["conf_high"]]
    return scales.padded([0.0, -sd, sd, *(float(value) for value in values)])


def _columns(loads: pd.DataFrame, words: float) -> _Columns:
    left = MARGIN + words + 5.0
    days = tuple(loads["day"])
    breaks = sum(a != b for a, b in itertools.pairwise(days))
    gap = _DAY_GAP if breaks < 6 else 4.0
    pitch = (WIDTH - MARGIN - left - gap * breaks - 4.0) / max(1, len(loads))
    centres, x = [], left + 2.0 + pitch / 2
    for number, day in enumerate(days):
        if number and day != days[number - 1]:
            x += gap
        centres.append(x)
        x += pitch
    return _Columns(tuple(loads["furnace_load"]), days, tuple(centres), pitch, left)


def _steps(order: FurnaceOrder, loads: pd.DataFrame, columns: _Columns) -> Steps | None:
    levels = [str(level) for level in loads["level"]]
    if not any(levels):
        return None
    setting = next((own for own in order.study.factors if own.set_for == "furnace_load"), None)
    printed = setting.printed if setting is not None else None
    steps = steps_for(levels, sorted_levels(levels), columns.pitch, printed)
    return replace(steps, struck=tuple(bool(own) for own in _otherwise(loads)))


# --- marks -------------------------------------------------------------------------------------


def _draw_frame(sheet: Sheet, panel: Panel, ticks: list[scales.Tick], order: FurnaceOrder) -> None:
    if order.load_sd > 0:
        panel.axes.axhspan(-order.load_sd, order.load_sd, color=COMMON, linewidth=0, zorder=0)
    for value, words in ticks:
        panel.axes.axhline(
            value, color=GHOST if words == "0" else HAIRLINE, linewidth=HAIRLINE_PT, zorder=0.5
        )
        under = order.printed.beside(value, words, sign=True)
        draw_y_tick(sheet, panel, value, words, under=under)
    sheet.axis_line(panel.left, panel.left + panel.width, panel.top + panel.height)


def _day_starts(columns: _Columns) -> list[int]:
    days = columns.days
    return [i for i in range(len(days)) if i == 0 or days[i] != days[i - 1]]


def _day_names_fit(columns: _Columns) -> bool:
    starts = _day_starts(columns)
    widths = [text_width(f"Day {columns.days[start]}", TITLE_PT, bold=True) for start in starts]
    rooms = [columns.centres[b] - columns.centres[a] for a, b in itertools.pairwise(starts)]
    rooms.append(WIDTH - columns.centres[starts[-1]] + columns.box / 2)
    return all(width + 4 < room for width, room in zip(widths, rooms, strict=True))


def _draw_days(sheet: Sheet, columns: _Columns, y: float, top: float, bottom: float) -> None:
    named = _day_names_fit(columns)
    for start in _day_starts(columns):
        left = columns.centres[start] - columns.box / 2
        words = f"Day {columns.days[start]}" if named else str(columns.days[start])
        sheet.text(left, y, words, size=TITLE_PT, bold=True)
        if start:
            x = (columns.centres[start - 1] + columns.centres[start]) / 2
            sheet.line((x, x), (top, bottom), GHOST, 0.9, zorder=0.6)


def _draw_loads(panel: Panel, order: FurnaceOrder, columns: _Columns) -> None:
    axes, half = panel.axes, columns.box / 2
    xs: list[float] = []
    ys: list[float] = []
    struck: list[int] = []
    for row in order.loads.to_dict("records"):
        centre = columns.centres[columns.loads.index(row["furnace_load"])]
        ends = [centre - half, centre + half]
        if math.isfinite(row["conf_low"]) and math.isfinite(row["conf_high"]):
            axes.fill_between(
                ends,
                row["conf_low"],
                row["conf_high"],
                color=PENCIL,
                alpha=ESTIMATE_BAND,
                linewidth=0,
                zorder=2,
            )
        axes.plot(
            ends,
            [row["mean"]] * 2,
            color=INK,
            linewidth=ESTIMATE_PT,
            solid_capstyle="butt",
            zorder=4,
        )
        own = order.coupons[order.coupons["furnace_load"] == row["furnace_load"]]
        count = len(own)
        for number, (value, otherwise) in enumerate(
            zip(own["deviation"], _otherwise(own), strict=True)
        ):
            share = (number - (count - 1) / 2) / max(1, count - 1)
            xs.append(centre + 0.74 * columns.box * share)
            ys.append(float(value))
            struck += [len(xs) - 1] if otherwise else []
    scale = 0.75 if columns.pitch > 12 else 0.55
    draw_marks(axes, xs, ys, NEUTRAL, scale=scale, label=COUPONS)
    draw_strikes(axes, [xs[n] for n in struck], [ys[n] for n in struck], size=12.0 * scale)
    _draw_absent(panel, order, columns, scale)


def _otherwise(frame: pd.DataFrame) -> pd.Series[bool]:
    if "otherwise" not in frame:
        return pd.Series(False, index=frame.index)
    return frame["otherwise"].astype(bool)


def _absent(order: FurnaceOrder) -> pd.DataFrame:
    return getattr(order, "absent", pd.DataFrame())


def _draw_absent(panel: Panel, order: FurnaceOrder, columns: _Columns, scale: float) -> None:
    """Stand coupons without a reading, struck, on the axis line under their load."""
    absent = _absent(order)
    absent = absent[absent["furnace_load"].isin(columns.loads)] if len(absent) else absent
    if absent.empty:
        return
    count = absent.groupby("furnace_load").cumcount().to_numpy()
    xs = [
        columns.centres[columns.loads.index(load)] - columns.box / 2 + 3.0 + 7.0 * number
        for load, number in zip(absent["furnace_load"], count, strict=True)
    ]
    ys = [panel.y_limits[0]] * len(xs)
    draw_marks(panel.axes, xs, ys, NEUTRAL, scale=scale, label=ABSENT)
    draw_strikes(panel.axes, xs, ys, size=12.0 * scale)


def _draw_numbers(sheet: Sheet, columns: _Columns, bottom: float) -> None:
    end = -1e9
    for load, centre in zip(columns.loads, columns.centres, strict=True):
        half = text_width(str(load), TICK_PT) / 2
        shown = centre - half > end + 3
        sheet.tick(centre, bottom, str(load) if shown else "", size=TICK_PT)
        end = centre + half if shown else end


# --- words -------------------------------------------------------------------------------------


def _key_groups(order: FurnaceOrder, steps: Steps | None, word: str) -> list[list[Entry]]:
    first = [Entry(f"mean of a {word} and its interval", 20.0, _draw_mean)]
    if order.load_sd > 0:
        first.insert(0, Entry(f"usual scatter of {plural(word)}", 20.0, _draw_common))
    groups = [first]
    moved = _otherwise(order.coupons).any() or _otherwise(order.loads).any()
    struck = [struck_entry("run otherwise than planned")] if moved else []
    struck += [struck_entry("on the axis: no reading")] if len(_absent(order)) else []
    if struck:
        groups.append(struck)
    if steps is not None and steps.key:
        groups.append([Entry(f"steps: {steps.key}")])
    return groups


def _draw_common(sheet: Sheet, left: float, middle: float) -> None:
    sheet.box(left, middle - 4.5, 20.0, 9.0, face=COMMON)


def _draw_mean(sheet: Sheet, left: float, middle: float) -> None:
    sheet.box(left, middle - 4.5, 20.0, 9.0, face=PENCIL, alpha=ESTIMATE_BAND)
    sheet.line((left, left + 20.0), (middle, middle), INK, ESTIMATE_PT)


def _sd_words(order: FurnaceOrder) -> str:
    if not math.isfinite(order.load_sd):
        return "not known"
    if order.load_sd == 0:
        return order.printed.told(0.0)
    decimals = decimals_for(order.load_sd) if order.load_sd > 0 else 2
    return order.printed.difference(order.load_sd, decimals)


def _finding(order: FurnaceOrder, word: str) -> str:
    loads = order.loads
    row = loads.iloc[int(loads["mean"].abs().to_numpy(dtype=float).argmax())].to_dict()
    decimals = decimals_for((row["conf_high"] - row["conf_low"]) / 4)
    mean = order.printed.difference(row["mean"], decimals, sign=True)
    limits = order.printed.limits(row["conf_low"], row["conf_high"], decimals)
    away = order.printed.with_limits(mean, limits)
    which = f"{word} {row['furnace_load']}"
    scatter = f"{plural(word)} scatter by {_sd_words(order)}"
    if not order.load_sd > 0:
        return f"{capital(which)} lies farthest from the fit, {away}; {scatter}."
    if unusual := _unusual(order, word):
        return f"{unusual}, beyond the usual scatter; {scatter}."
    return f"No {word} stands out: {which} lies farthest, {away}; {scatter}."


def _reading(order: FurnaceOrder, word: str, steps: Steps | None) -> str:
    text = (
        f"A mark is a {wording.unit_word(order, 'coupon')}, a thick line the mean of its {word}, "
        f"the band that mean's interval."
    )
    if order.load_sd > 0:
        loads = plural(word)
        text += f" Pale zone: one standard deviation between {loads} either side of zero."
    return text + (f" Steps above: what the {word} was set to." if steps else "")


def _alt(order: FurnaceOrder, word: str, finding: str) -> str:
    coupon = wording.unit_word(order, "coupon")
    subject = (
        f"Deviation of {order.quantity or 'the response'} from the fit against {word} in time "
        f"order; {wording.counted(len(order.coupons), coupon)} in "
        f"{wording.counted(len(order.loads), word)}"
    )
    return wording.alt_text(subject, finding, _unusual(order, word))


def _unusual(order: FurnaceOrder, word: str) -> str:
    """Name the loads whose whole band lies outside the usual scatter."""
    loads = order.loads
    if not order.load_sd > 0:
        return ""
    high = [str(load) for load in loads.loc[loads["conf_low"] > order.load_sd, "furnace_load"]]
    low = [str(load) for load in loads.loc[loads["conf_high"] < -order.load_sd, "furnace_load"]]
    parts = [
        f"{word if len(names) == 1 else plural(word)} {listed(names)} "
        f"{'lies' if len(names) == 1 else 'lie'} {where}"
        for names, where in ((high, "high"), (low, "low"))
        if names
    ]
    return capital("; ".join(parts))


def _data(order: FurnaceOrder) -> pd.DataFrame:
    loads = order.loads.drop(columns=["day", "otherwise"], errors="ignore")
    return order.coupons.merge(loads, on="furnace_load", how="left")
