"""Response curves: one panel a group, every coupon tied to its load, the other curves as ghosts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, cast

import numpy as np
import pandas as pd

from quenchbook.plots import wording
from quenchbook.plots.curve_grid import (
    COLUMN_GAP,
    FURTHER,
    MOST_GROUPS,
    PLOT_HEIGHT,
    Grid,
    Places,
    coupons_of,
    further_of,
    grid_of,
    groups_of,
    line_of,
    nearest,
    places_of,
    x_title,
    y_ticks,
)
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key, struck_entry
from quenchbook.plots.peak_strip import (
    PeakMark,
    draw_peak,
    peak_entries,
    peaks_finding,
    peaks_reading,
    peaks_words,
    strip_height,
)
from quenchbook.plots.second_unit import axis_words, draw_y_tick
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.shift_strip import (
    ShiftMark,
    draw_shifts,
    shifts_height,
    shifts_reading,
    shifts_words,
)
from quenchbook.plots.style import (
    ABSENT,
    COUPONS,
    CURVE_BAND,
    CURVE_PT,
    GHOST,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    PENCIL,
    THIN_PT,
    TICK_PT,
    TITLE_PT,
    MarkStyle,
    draw_marks,
    draw_strikes,
    drawing_rules,
)
from quenchbook.plots.ties import draw_tie, draw_tie_key
from quenchbook.study.factors import Level, plural
from quenchbook.units import capital, decimals_for, interval_text, number_text

if TYPE_CHECKING:
    from quenchbook.fit.curves import ResponseCurves

_TITLE_LINE: Final = 12.5
_FURTHER_PT: Final = 1.1
_FURTHER_DOTS: Final = (0.0, (1.0, 2.2))
_STRAY: Final = 3.0  # robust standard deviations from which a load is called unusual
_MAD_TO_SD: Final = 1.4826  # of a normal distribution


def figure_response_curves(
    curves: ResponseCurves,
    peaks: Mapping[Level | None, PeakMark] | None = None,
    shifts: Sequence[ShiftMark] = (),
) -> Drawing:
    """Draw fitted curves, or means at the levels, over the coupons they came from.

    Parameters
    ----------
    curves : ResponseCurves
    peaks : mapping of group to PeakMark, optional
        Where the peaks are; they get a strip below the coupons of each panel.
    shifts : sequence of ShiftMark, optional
        Shifts between two of the curves; drawn as bands below all panels.

    Returns
    -------
    Drawing
        Its data are the curves and the coupons, told apart by the column ``what``.
    """
    with drawing_rules():
        return _draw(curves, peaks or {}, shifts)


def _draw(
    curves: ResponseCurves,
    peaks: Mapping[Level | None, PeakMark],
    shifts: Sequence[ShiftMark],
) -> Drawing:
    strip = strip_height(peaks)  # room under the lowest reading
    groups = groups_of(curves)
    places = places_of(curves, 2 if len(groups) > 1 else 1)
    grid = grid_of(curves, groups, places)
    rows = -(-len(groups) // grid.columns)
    title_lines = [
        max(len(lines) for lines in grid.titles[row * grid.columns : (row + 1) * grid.columns])
        for row in range(rows)
    ]
    tick_height = 8.0 + 11.0 * max(len(lines) for lines in grid.tick_lines)
    head = wrapped(axis_words(curves.response_title, grid.printed), INNER, TITLE_PT)
    foot = wrapped(x_title(curves), INNER, TITLE_PT)
    entries = [*_key_entries(curves, grid, places), *peak_entries(peaks)]
    key = Key([entries])
    tops, top = [], 11.0 + 13.0 * len(head)
    for row in range(rows):
        top += _TITLE_LINE * title_lines[row] + 5.0
        tops.append(top)
        ends_column = row == rows - 1 or (row == rows - 2 and len(groups) % grid.columns != 0)
        top += PLOT_HEIGHT + strip + (tick_height if ends_column else 8.0)
        top += 10.0 if row < rows - 1 else 0.0
    end = top + 13.0 * len(foot) + 4.0
    along = curves.x_factor.printed
    below = shifts_height(shifts, along)
    sheet = Sheet(end + below + key.height + 8.0)
    for number, line in enumerate(head):
        sheet.text(MARGIN - 4, 16.0 + 13.0 * number, line, size=TITLE_PT)
    own = {group: line_of(curves, group, places) for group in groups}
    last = WIDTH - MARGIN
    for number, group in enumerate(groups):
        row, column = divmod(number, grid.columns)
        left = grid.left + column * (grid.width + COLUMN_GAP)
        height = PLOT_HEIGHT + strip
        least, most = grid.y_limits
        y_limits = (least - (most - least) * strip / PLOT_HEIGHT, most)
        panel = sheet.panel(left, tops[row], grid.width, height, grid.x_limits, y_limits)
        words = number + grid.columns >= len(groups)
        _draw_frame(sheet, panel, grid, places, number, with_y=column == 0, with_x=words)
        for other, curve in own.items():
            if other != group:
                panel.axes.plot(curve[0], curve[1], color=GHOST, linewidth=THIN_PT, zorder=1.5)
        _draw_further(panel, curves, group, places, grid)
        _draw_estimate(panel, own[group], grid.styles[group], curves.is_curve, grid.strip)
        _draw_coupons(panel, coupons_of(curves, group), grid, group, places)
        _draw_absent(panel, curves, grid, group, places)
        if group in peaks:
            draw_peak(sheet, panel, peaks[group], own[group], strip)
        last = left + grid.width
    for number, text in enumerate(foot):
        y = top + 9.0 + 13.0 * number
        align = "right" if text_width(text, TITLE_PT) < last - MARGIN else "left"
        sheet.text(last if align == "right" else MARGIN, y, text, size=TITLE_PT, align=align)
    if shifts:
        draw_shifts(sheet, end, shifts, along)
    key.draw(sheet, end + below)
    finding = peaks_finding(curves, peaks) if peaks else _finding(curves, groups)
    whole = f"{finding} {_trend(curves, groups)}"
    if peaks:
        whole = " ".join(filter(None, (f"{capital(peaks_words(curves, peaks))}.",
                                       shifts_words(shifts))))  # fmt: skip
    reading = _reading(curves, grid, places) + peaks_reading(peaks) + shifts_reading(shifts)
    return Drawing(
        "peaks" if peaks else "response_curves", sheet.figure, finding, reading,
        _notes(curves, places, whole if peaks and whole.rstrip(".") not in finding else ""),
        _alt(curves, groups, places, whole),
        _data(curves),
    )  # fmt: skip


# --- marks -------------------------------------------------------------------------------------


def _draw_frame(
    sheet: Sheet,
    panel: Panel,
    grid: Grid,
    places: Places,
    number: int,
    *,
    with_y: bool,
    with_x: bool,
) -> None:
    for value, words in y_ticks(grid.y_limits, grid.printed):
        panel.axes.axhline(value, color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0)
        if with_y:
            draw_y_tick(sheet, panel, value, words, under=grid.printed.beside(value, words))
    right, foot = panel.left + panel.width, panel.top + panel.height
    sheet.axis_line(panel.left, right, foot)
    end = -1e9
    for place, lines in sorted(zip(places.marks, grid.tick_lines, strict=True)):
        x = panel.x_place(float(place))
        half = max(text_width(line, TICK_PT) for line in lines) / 2
        fits = x - half > end + 3 and panel.left - 14 < x - half and x + half < right + 8
        sheet.tick(x, foot, "", size=TICK_PT)
        if with_x and fits:
            end = x + half
            own = len(lines) - (1 if grid.under else 0)
            for row, line in enumerate(lines):
                y = foot + 5.5 + 0.76 * TICK_PT + 11.0 * row
                colour = INK if row < own else PENCIL
                sheet.text(x, y, line, size=TICK_PT, colour=colour, align="center")
    _draw_title(sheet, panel, grid, number)


def _draw_title(sheet: Sheet, panel: Panel, grid: Grid, number: int) -> None:
    lines, group = grid.titles[number], grid.groups[number]
    style = grid.styles[group]
    for row, line in enumerate(lines):
        y = panel.top - 8.0 - _TITLE_LINE * (len(lines) - 1 - row)
        sheet.text(panel.left + 12.0, y, line, size=TITLE_PT, bold=True, colour=style.colour)
        if row == 0:
            draw_marks(sheet.ground, [panel.left + 4.0], [y - 3.4], style, scale=1.25)


def _draw_estimate(
    panel: Panel, line: tuple[np.ndarray, ...], style: MarkStyle, is_curve: bool, strip: float
) -> None:
    x, estimate, low, high = line
    axes = panel.axes
    if is_curve:
        axes.fill_between(x, low, high, color=style.colour, alpha=CURVE_BAND, linewidth=0, zorder=2)
        axes.plot(
            x, estimate, color=style.colour, linewidth=CURVE_PT, linestyle=style.dash,
            dash_capstyle="butt", solid_capstyle="butt", zorder=3,
        )  # fmt: skip
        return
    half = panel.x_points(strip)
    axes.plot(x, estimate, color=style.colour, linewidth=THIN_PT, linestyle=style.dash, zorder=3)
    for place, value, bottom, top in zip(x, estimate, low, high, strict=True):
        ends = [place - half, place + half]
        axes.fill_between(
            ends, bottom, top, color=style.colour, alpha=CURVE_BAND, linewidth=0, zorder=2
        )
        axes.plot(
            ends,
            [value, value],
            color=style.colour,
            linewidth=CURVE_PT,
            solid_capstyle="butt",
            zorder=3,
        )


def _draw_further(
    panel: Panel, curves: ResponseCurves, group: Level | None, places: Places, grid: Grid
) -> None:
    """Dotted limits without a field: where one further coupon is expected, not a mean."""
    limits = further_of(curves, group, places)
    if limits is None:
        return
    x, low, high = limits
    colour = grid.styles[group].colour
    if curves.is_curve:
        for ends in (low, high):
            panel.axes.plot(
                x, ends, color=colour, linewidth=_FURTHER_PT, linestyle=_FURTHER_DOTS, zorder=1.8,
                label=FURTHER[0],
            )  # fmt: skip
        return
    half = panel.x_points(grid.strip)
    for place, bottom, top in zip(x, low, high, strict=True):
        for end in (bottom, top):
            panel.axes.plot(
                [place - half, place + half], [end, end], color=colour, linewidth=_FURTHER_PT,
                linestyle=_FURTHER_DOTS, zorder=1.8, label=FURTHER[0],
            )  # fmt: skip


def _draw_further_key(sheet: Sheet, left: float, middle: float) -> None:
    for y in (middle - 4.0, middle + 4.0):
        sheet.line((left, left + 16.0), (y, y), INK, _FURTHER_PT, linestyle=_FURTHER_DOTS)


def _draw_coupons(
    panel: Panel, coupons: pd.DataFrame, grid: Grid, group: Level | None, places: Places
) -> None:
    if coupons.empty:
        return
    style = grid.styles[group]
    frame = coupons.assign(_x=places.of(coupons["x"]))
    frame["_near"] = nearest(frame["_x"].to_numpy(), places)
    half = panel.x_points(min(3.0, 0.42 * grid.step))
    xs: list[float] = []
    ys: list[float] = []
    struck: list[bool] = []
    for _, level in frame.groupby("_near", sort=True):
        loads = sorted(level["furnace_load"].unique())
        for number, load in enumerate(loads):
            part = level[level["furnace_load"] == load]
            shift = panel.x_points(grid.step * (number - (len(loads) - 1) / 2))
            x, y = part["_x"].to_numpy() + shift, part["value"].to_numpy(dtype=float)
            xs.extend(x.tolist())
            ys.extend(y.tolist())
            struck.extend(_otherwise(part).tolist())
            draw_tie(panel.axes, x, y, style.colour, half)
    scale = 0.85 if grid.step > 4.5 else 0.7
    draw_marks(panel.axes, xs, ys, style, scale=scale, label=COUPONS)
    if any(struck):
        at = [number for number, own in enumerate(struck) if own]
        draw_strikes(panel.axes, [xs[n] for n in at], [ys[n] for n in at])


def _otherwise(coupons: pd.DataFrame) -> pd.Series[bool]:
    if "otherwise" not in coupons:
        return pd.Series(False, index=coupons.index)
    return coupons["otherwise"].astype(bool)


def absent_of(curves: ResponseCurves, group: Level | None) -> pd.DataFrame:
    """Coupons of a panel that have no reading."""
    absent: pd.DataFrame = getattr(curves, "absent", pd.DataFrame())
    return absent if absent.empty or group is None else absent[absent["group"] == group]


def _draw_absent(
    panel: Panel, curves: ResponseCurves, grid: Grid, group: Level | None, places: Places
) -> None:
    """Stand coupons without a reading, struck, on the axis line at their planned level."""
    absent = absent_of(curves, group)
    if absent.empty:
        return
    x = places.of(absent["x"])
    near = pd.Series(nearest(x, places))
    shift = near.groupby(near).cumcount().to_numpy() * 8.0
    at, foot = (x + panel.x_points(1.0) * shift).tolist(), [panel.y_limits[0]] * len(x)
    draw_marks(panel.axes, at, foot, grid.styles[group], scale=0.85, label=ABSENT)
    draw_strikes(panel.axes, at, foot)


# --- words -------------------------------------------------------------------------------------


def _key_entries(curves: ResponseCurves, grid: Grid, places: Places) -> list[Entry]:
    entries = []
    if _has_ties(curves, grid, places):
        load = wording.unit_word(curves, "furnace_load")
        coupons = plural(wording.unit_word(curves, "coupon"))
        entries.append(Entry(f"{coupons} of one {load}, their mean", 8.0, draw_tie_key))
    if len(grid.groups) > 1:
        other = plural(curves.group_factor.title) if curves.group_factor else "panels"
        entries.append(Entry(f"the other {other}", 16.0, _draw_ghost))
    if FURTHER[0] in curves.curve:
        coupon = wording.unit_word(curves, "coupon")
        level = wording.percent_text(getattr(curves, "confidence", 0.95))
        entries.append(Entry(f"one further {coupon} ({level})", 16.0, _draw_further_key))
    if _otherwise(curves.coupons).any():
        entries.append(struck_entry("run otherwise than planned"))
    if any(len(absent_of(curves, group)) for group in grid.groups):
        entries.append(struck_entry("on the axis: no reading"))
    return entries


def _has_ties(curves: ResponseCurves, grid: Grid, places: Places) -> bool:
    """Whether any load has two coupons at one level of one panel."""
    parts = (coupons_of(curves, group) for group in grid.groups)
    return any(
        (part.groupby([nearest(places.of(part["x"]), places), "furnace_load"]).size() > 1).any()
        for part in parts
        if not part.empty
    )


def _draw_ghost(sheet: Sheet, left: float, middle: float) -> None:
    sheet.line((left, left + 16), (middle + 2, middle - 2), GHOST, THIN_PT)


def _finding(curves: ResponseCurves, groups: tuple[Level | None, ...]) -> str:
    """Where the estimates are highest, without a claim; or that no effect was shown."""
    quantity = capital(curves.response_title.partition(",")[0])
    shown = getattr(curves, "effect_shown", None)
    if shown is False:
        what = wording.factor_words(curves.x_factor)
        return (
            f"No effect of {what} on {wording.lower_first(quantity)} was shown; fitted means with "
            "their intervals."
        )
    parts = []
    for group in groups:
        own = curves.curve if group is None else curves.curve[curves.curve["group"] == group]
        place = own["x"].to_numpy()[int(np.argmax(own["estimate"].to_numpy(dtype=float)))]
        at = curves.x_factor.word(round(float(place)) if curves.x_factor.is_numeric else place)
        named = curves.group_factor.word(group) if curves.group_factor and group else ""
        parts.append(f"{named} at {at}" if named else at)
    return (
        f"{quantity}: fitted means with their intervals; highest estimates: "
        f"{', '.join(parts)} (no maximum is claimed)."
    )


def _reading(curves: ResponseCurves, grid: Grid, places: Places) -> str:
    coupon = wording.unit_word(curves, "coupon")
    load = wording.unit_word(curves, "furnace_load")
    known = getattr(curves, "confidence", None)  # else the notes of the curves say the level
    level = f"{wording.percent_text(known)} interval" if known else "interval"
    what = "curve" if curves.is_curve else "mean"
    order = wording.order_words(curves)
    text = f"A mark is a {coupon}; {plural(load)} stand side by side in {order}."
    if _has_ties(curves, grid, places):
        text += f" An upright line ties the {plural(coupon)} of one {load}."
    text += f" Band: {level} of the {what}."
    return text + (" Thin lines repeat the other panels." if len(grid.groups) > 1 else "")


def _notes(curves: ResponseCurves, places: Places, told: str) -> tuple[str, ...]:
    notes = [*([told] if told else []), *curves.notes]
    if places.ordinal and not places.named:
        notes.append(f"Levels of {curves.x_factor.title} stand one step apart.")
    if curves.group_factor is not None:
        count = curves.curve["group"].nunique()
        if count > MOST_GROUPS:
            notes.append(f"{count - MOST_GROUPS} more groups are in the data and not drawn.")
    return tuple(notes)


def _alt(
    curves: ResponseCurves,
    groups: tuple[Level | None, ...],
    places: Places,
    told: str,
) -> str:
    load, coupon = wording.unit_word(curves, "furnace_load"), wording.unit_word(curves, "coupon")
    quantity = curves.response_title.partition(",")[0]
    subject = f"{quantity} against {wording.factor_words(curves.x_factor)}"
    if curves.group_factor is not None:
        count = wording.count_words(len(groups))
        subject += f" for {count} {plural(curves.group_factor.title)}"
    coupons, loads = curves.coupons["coupon"].nunique(), curves.coupons["furnace_load"].nunique()
    subject += f"; {wording.counted(coupons, coupon)} in {wording.counted(loads, load)}"
    return wording.alt_text(subject, told, _states(curves, groups, places, load))


def _trend(curves: ResponseCurves, groups: tuple[Level | None, ...]) -> str:
    """First, last and the limits of the last estimate of each curve."""
    parts = []
    for group in groups:
        own = curves.curve if group is None else curves.curve[curves.curve["group"] == group]
        first, last = own.iloc[0], own.iloc[-1]
        decimals = decimals_for(
            (float(last["conf_high"]) - float(last["conf_low"])) / 4, curves.unit
        )
        ends = [number_text(float(row["estimate"]), decimals) for row in (first, last)]
        limits = interval_text(float(last["conf_low"]), float(last["conf_high"]), decimals)
        named = f"{curves.group_factor.word(group)} " if curves.group_factor and group else ""
        parts.append(f"{named}{ends[0]} to {ends[1]} ({limits})")
    return f"From first to last level: {'; '.join(parts)}."


def _states(
    curves: ResponseCurves, groups: tuple[Level | None, ...], places: Places, load: str
) -> str:
    parts = [_unusual(curves, groups, places, load)]
    if absent := sum(len(absent_of(curves, group)) for group in groups):
        parts.append(f"{wording.counted(absent, wording.unit_word(curves, 'coupon'))} not read")
    return "; ".join(filter(None, parts))


def _unusual(
    curves: ResponseCurves, groups: tuple[Level | None, ...], places: Places, load: str
) -> str:
    """Name the load farthest from the curves, when it is far for loads of this study."""
    parts = []
    for group in groups:
        part = coupons_of(curves, group)
        x, estimate, *_ = line_of(curves, group, places)
        away = part["value"].to_numpy(dtype=float) - np.interp(places.of(part["x"]), x, estimate)
        parts.append(pd.DataFrame({"load": part["furnace_load"].to_numpy(), "away": away}))
    means = pd.concat(parts).groupby("load")["away"].mean()
    middle = float(means.median())
    usual = _MAD_TO_SD * float((means - middle).abs().median())
    farthest = cast(Any, (means - middle).abs().idxmax())
    distance = float(means[farthest]) - middle
    if len(means) < 5 or usual == 0 or abs(distance) < _STRAY * usual:
        return ""
    return f"{capital(load)} {farthest} lies {'high' if distance > 0 else 'low'}"


def _data(curves: ResponseCurves) -> pd.DataFrame:
    curve = curves.curve.assign(what="curve" if curves.is_curve else "mean")
    coupons = curves.coupons.assign(what="coupon")
    frame = pd.concat([curve, coupons], ignore_index=True)
    return frame[["what", *(column for column in frame.columns if column != "what")]]
