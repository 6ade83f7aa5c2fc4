"""A small figure in any size of type: coupons tied by load, with their curves or means."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.plots import scales
from quenchbook.plots.share_words import SmallPicture
from quenchbook.plots.sheet import Panel, Sheet, text_width
from quenchbook.plots.small_names import Box, Group, draw_names, names_width
from quenchbook.plots.style import (
    CURVE_BAND,
    CURVE_PT,
    ESTIMATE_PT,
    GHOST,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    PENCIL,
    ROUTE_STYLES,
    THIN_PT,
    TICK_PT,
    TIE_PT,
    MarkStyle,
    draw_marks,
    neutral_style,
)

_TIE_STEP: Final = 8.0
_UNDER: Final = 1.15  # to a second line in the other unit, in sizes of type
_SPREAD: Final = 0.5  # of the room of a level that its loads may take, side by side
_MARK: Final = 0.5  # half a mark with the edge around it, in sizes of type
_SPAN: Final = 1.3  # height of the row of a peak, in sizes of type


def draw_small_picture(sheet: Sheet, picture: SmallPicture, place: Box, *, size: float) -> None:
    """Draw a small figure into a part of a sheet.

    Parameters
    ----------
    sheet : Sheet
    picture : SmallPicture
    place : tuple of float
        Left, top, width, height [pt].
    size : float
        Size of type [pt]; marks and lines grow with it.
    """
    left, top, width, height = place
    scale = size / TICK_PT
    data = _read(picture.data_csv)
    groups = [_group(own, data) for own in picture.groups]
    marks = [(float(at), words) for at, words in picture.ticks]
    peaks = [own for own in picture.peaks if any(own[0] == group.key for group in groups)]
    values = data[["value", "conf_low", "conf_high"]].to_numpy(dtype=float).ravel()
    y_limits = scales.padded(values, 0.04)
    named = picture.is_curve and len(groups) > 1
    beside_title = text_width(picture.y_title, size) + 2 * size + names_width(groups, size)
    second_row = named and beside_title > width
    head = 3.0 * size if second_row else 1.7 * size
    # a tick of two lines may stand highest; a row of names leaves it room
    lift = 0.7 * size if picture.y_unit and not second_row else 0.0
    plot_top = top + head + lift
    under = _UNDER * size if picture.ticks_below else 0.0
    plot_height = height - head - lift - 3.1 * size - under - _SPAN * size * len(peaks)
    printed = Printed(picture.y_unit, "both")
    apart = 2.6 if printed.other is None else 3.8
    y_ticks = scales.axis_ticks(
        *y_limits, plot_height, most=max(2, int(plot_height / apart / size)), size=size
    )
    y_words = [(value, words, printed.beside(value, words)) for value, words in y_ticks]
    beside = 0.6 * size + max(
        (text_width(words, size) for _, *both in y_words for words in both), default=0.0
    )
    plot_width = width - beside
    x_limits, slot = _x_limits(data, marks, plot_width, scale)
    panel = sheet.panel(left + beside, plot_top, plot_width, plot_height, x_limits, y_limits)
    sheet.text(left, top + 0.85 * size, picture.y_title, size=size)
    for value, words, other in y_words:
        panel.axes.axhline(value, color=HAIRLINE, linewidth=HAIRLINE_PT * scale, zorder=0.5)
        right, y = panel.left - 0.6 * size, panel.y_place(value) + 0.36 * size
        if other:
            y -= 0.55 * size
            sheet.text(right, y + _UNDER * size, other, size=size, colour=PENCIL, align="right")
        sheet.text(right, y, words, size=size, align="right")
    bottom = plot_top + plot_height + _SPAN * size * len(peaks)
    sheet.line((panel.left, left + width), (bottom, bottom), INK, 0.8 * scale)
    _draw_ticks(sheet, panel, marks, picture.ticks_below, bottom, size)
    foot = bottom + 2.8 * size + under
    sheet.text(left + width, foot, picture.x_title, size=size, align="right")
    most = _most_loads(groups, marks, picture.is_curve)
    step = min(_TIE_STEP * scale, _SPREAD * slot / max(1, most - 1))
    if data["furnace_load"].nunique() > 1 and most > 1 and picture.loads:
        room = width - text_width(picture.x_title, size) - 2 * size
        if text_width(picture.loads, size) <= room:
            sheet.text(left, foot, picture.loads, size=size, colour=PENCIL)
    placed = [_draw_coupons(panel, group, marks, step, scale, number, len(groups), picture.is_curve)
              for number, group in enumerate(groups)]  # fmt: skip
    for group in groups:
        _draw_estimate(panel, group, scale, slot, picture.is_curve)
    if not picture.is_curve:
        _draw_loads(panel, groups, placed, scale)
    for number, peak in enumerate(peaks):
        row = plot_top + plot_height + _SPAN * size * (number + 0.55)
        style = next(group.style for group in groups if group.key == peak[0])
        line = next(group.line for group in groups if group.key == peak[0])
        _draw_peak(sheet, panel, style, line, peak, row, scale)
    if named:
        lines = [*_upright(groups, placed, marks), *_plumb_lines(panel, groups, peaks)]
        draw_names(sheet, panel, groups, np.vstack(placed), lines, top + head - 0.85 * size,
                   size=size, reach=_MARK * size)  # fmt: skip


def _read(data_csv: str) -> pd.DataFrame:
    """Read the numbers behind; a group may be called ``none``, which pandas takes for missing."""
    return pd.read_csv(
        io.StringIO(data_csv),
        dtype={"group": str},
        keep_default_na=False,
        na_values={name: [""] for name in ("value", "conf_low", "conf_high")},
    )


def _group(own: tuple[str, ...], data: pd.DataFrame) -> Group:
    key, words, style = own
    part = data[data["group"] == key]
    line = part[part["what"] != "coupon"].sort_values("x")
    return Group(key, words, _style(style), line, part[part["what"] == "coupon"])


def _style(name: str) -> MarkStyle:
    """Style of a route, or of a neutral level such as ``1 of 4``."""
    if name in ROUTE_STYLES:
        return ROUTE_STYLES[name]
    number, _, count = name.partition(" of ")
    return neutral_style(int(number) - 1, int(count))


def _x_limits(
    data: pd.DataFrame, marks: list[tuple[float, str]], width: float, scale: float
) -> tuple[tuple[float, float], float]:
    """Limits of x that leave room beside the outer levels, and the room of one level [pt]."""
    places = [*data["x"].astype(float), *(at for at, _ in marks)]
    low, high = min(places), max(places)
    count = max(1, len(marks))
    edge = width / count / 2 if (high - low) == count - 1 else min(26.0 * scale, 0.14 * width)
    share = (high - low or 1.0) / max(1.0, width - 2 * edge)
    if high == low:
        return (low - 0.5, high + 0.5), width
    slot = (width - 2 * edge) / max(1, count - 1)
    return (low - edge * share, high + edge * share), slot


def _draw_ticks(
    sheet: Sheet, panel: Panel, marks: list[tuple[float, str]], below: Sequence[str],
    bottom: float, size: float,
) -> None:  # fmt: skip
    end = -math.inf
    for (at, words), other in zip(marks, below or [""] * len(marks), strict=True):
        x, half = panel.x_place(at), max(text_width(own, size) for own in (words, other)) / 2
        inside = min(max(x, half + 1), sheet.width - half - 1)
        sheet.line((x, x), (bottom, bottom + 0.3 * size), INK, 0.8 * size / TICK_PT)
        if inside - half > end + 0.3 * size:
            sheet.text(inside, bottom + 1.35 * size, words, size=size, align="center")
            if other:
                y = bottom + (1.35 + _UNDER) * size
                sheet.text(inside, y, other, size=size, colour=PENCIL, align="center")
            end = inside + half


def _near(x: np.ndarray, marks: list[tuple[float, str]]) -> np.ndarray:
    places = np.array([at for at, _ in marks])
    return np.asarray(np.abs(x[:, None] - places[None, :]).argmin(axis=1))


def _most_loads(groups: list[Group], marks: list[tuple[float, str]], is_curve: bool) -> int:
    """Places for ties at the fullest level; the groups of curves share each level."""
    parts = pd.concat([group.coupons for group in groups], ignore_index=True)
    if parts.empty:
        return 1
    near = _near(parts["x"].to_numpy(dtype=float), marks)
    most = int(parts.groupby([near, "group"])["furnace_load"].nunique().max())
    return most * len(groups) if is_curve else most


def _draw_coupons(
    panel: Panel, group: Group, marks: list[tuple[float, str]], step: float, scale: float,
    number: int, count: int, is_curve: bool,
) -> np.ndarray:  # fmt: skip
    """Draw coupons, loads side by side, and return their places on the sheet [pt]."""
    frame = group.coupons.reset_index(drop=True)
    if frame.empty:
        return np.zeros((0, 2))
    near = _near(frame["x"].to_numpy(dtype=float), marks)
    shifts = np.zeros(len(frame))
    for level in np.unique(near):
        loads = sorted(frame.loc[near == level, "furnace_load"].unique())
        for index, load in enumerate(loads):
            own = (near == level) & (frame["furnace_load"] == load).to_numpy()
            middle = index - (len(loads) - 1) / 2
            # groups of one curve picture interleave: first group left of the second in each load
            shifts[own] = step * (middle * count + number - (count - 1) / 2) if is_curve else (
                step * middle
            )  # fmt: skip
    x = frame["x"].to_numpy(dtype=float) + np.array([panel.x_points(own) for own in shifts])
    y = frame["value"].to_numpy(dtype=float)
    ties = pd.DataFrame({"near": near, "load": frame["furnace_load"], "x": x, "y": y})
    for _, own in ties.groupby(["near", "load"]):
        panel.axes.plot([own["x"].mean()] * 2, [own["y"].min(), own["y"].max()],
                        color=group.style.colour, linewidth=TIE_PT * scale, zorder=4)  # fmt: skip
    draw_marks(panel.axes, x.tolist(), y.tolist(), group.style, scale=0.78 * scale)
    if not group.style.dot and isinstance(group.style.marker, str):
        panel.axes.lines[-1].set_markeredgewidth(0.8 * scale)
    return np.column_stack([[panel.x_place(own) for own in x], [panel.y_place(own) for own in y]])


def _draw_estimate(panel: Panel, group: Group, scale: float, slot: float, is_curve: bool) -> None:
    line, axes, colour = group.line, panel.axes, group.style.colour
    x = line["x"].to_numpy(dtype=float)
    middle, low, high = (line[n].to_numpy(dtype=float) for n in ("value", "conf_low", "conf_high"))
    if is_curve:
        axes.fill_between(x, low, high, color=colour, alpha=CURVE_BAND, linewidth=0, zorder=2)
        axes.plot(
            x, middle, color=colour, linewidth=CURVE_PT * scale, zorder=3.5,
            linestyle=group.style.dash, solid_capstyle="butt", dash_capstyle="butt",
        )  # fmt: skip
        return
    half = panel.x_points(0.44 * slot)
    for at, value, bottom, above in zip(x, middle, low, high, strict=True):
        ends = [at - half, at + half]
        if math.isfinite(bottom + above):
            axes.fill_between(ends, bottom, above, color=colour, alpha=CURVE_BAND,
                              linewidth=0, zorder=2)  # fmt: skip
        axes.plot(ends, [value, value], color=colour, linewidth=ESTIMATE_PT * scale, zorder=3.5,
                  solid_capstyle="butt")  # fmt: skip


def _draw_loads(panel: Panel, groups: list[Group], placed: list[np.ndarray], scale: float) -> None:
    """Join the coupons of a load across the levels, where each load has one at each level.

    Then the comparison was made inside the loads, and bands of means hide it.
    """
    loads = [group.coupons["furnace_load"].tolist() for group in groups]
    if len(groups) < 2 or any(sorted(set(own)) != sorted(loads[0]) for own in loads):
        return
    for load in loads[0]:
        at = [places[own.index(load)] for own, places in zip(loads, placed, strict=True)]
        x = [panel.x_limits[0] + panel.x_points(float(one[0]) - panel.left) for one in at]
        y = [float(group.coupons["value"].iloc[own.index(load)])
             for group, own in zip(groups, loads, strict=True)]  # fmt: skip
        panel.axes.plot(x, y, color=GHOST, linewidth=THIN_PT * scale, zorder=3)


def _upright(
    groups: list[Group], placed: list[np.ndarray], marks: list[tuple[float, str]]
) -> list[np.ndarray]:
    """Places along the ties, for names to stand clear of."""
    lines = []
    for group, places in zip(groups, placed, strict=True):
        near = _near(group.coupons["x"].to_numpy(dtype=float), marks)
        frame = pd.DataFrame(places, columns=["x", "y"])
        for _, own in frame.groupby([near, group.coupons["furnace_load"].to_numpy()]):
            y = np.linspace(own["y"].min(), own["y"].max(), 20)
            lines.append(np.column_stack([np.full(20, own["x"].mean()), y]))
    return lines


def _plumb_lines(
    panel: Panel, groups: list[Group], peaks: list[tuple[str, ...]]
) -> list[np.ndarray]:
    """Places along the plumb lines under the peaks."""
    lines = []
    for peak in peaks:
        line = next(group.line for group in groups if group.key == peak[0])
        at = float(peak[1])
        top = panel.y_place(float(np.interp(at, line["x"], line["value"])))
        y = np.linspace(top, panel.top + panel.height, 60)
        lines.append(np.column_stack([np.full(60, panel.x_place(at)), y]))
    return lines


def _draw_peak(
    sheet: Sheet, panel: Panel, style: MarkStyle, line: pd.DataFrame, peak: tuple[str, ...],
    row: float, scale: float,
) -> None:  # fmt: skip
    """Plumb line from a peak to its interval below the coupons; an arrow where it is open."""
    at, low, high = (float(value) for value in peak[1:])
    first, last = float(line["x"].min()), float(line["x"].max())
    left, right = panel.x_place(max(low, first)), panel.x_place(min(high, last))
    sheet.line((left, right), (row, row), style.colour, 4.0 * scale)
    for value, x, sign in ((low, left, -1), (high, right, 1)):
        if math.isinf(value):
            sheet.arrow(x + sign * 5 * scale, row, sign, size=6.0 * scale, colour=style.colour)
    x = panel.x_place(at)
    top = panel.y_place(float(np.interp(at, line["x"], line["value"])))
    sheet.line((x, x), (top, row), INK, 0.8 * scale, linestyle=(0, (1.0, 1.6)))
    draw_marks(sheet.ground, [x], [row], style, scale=1.1 * scale, zorder=6)
