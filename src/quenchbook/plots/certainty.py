"""What certainty costs: the difference that a plan finds against what the plan takes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from quenchbook.outlook.certainty_table import effort_name, records_of
from quenchbook.outlook.wording import times_in
from quenchbook.plots import scales, wording
from quenchbook.plots.callouts import Box, Callout, draw_callouts
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.sheet import MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    CALM,
    CALM_EDGE,
    CALM_TEXT,
    GHOST,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    PAPER,
    PENCIL,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    MarkStyle,
    draw_marks,
    drawing_rules,
)
from quenchbook.study.factors import plural
from quenchbook.units import NO_BREAK, capital, number_text

if TYPE_CHECKING:
    from quenchbook.outlook.certainty_table import CertaintyCosts

PLANS: Final = "plans"
"""Label of the artists that hold one mark for each plan."""

_HEIGHT: Final = 208.0
_BEATEN: Final = MarkStyle(GHOST, "o", 4.2, PAPER)
_UNBEATEN: Final = MarkStyle(PAPER, "o", 5.4, INK)
_RING: Final = 13.0
_MOST: Final = 2.5  # plans that find only differences so many times that of the plan leave the axis
_MANTISSAS: Final = ((1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0))


def figure_certainty(costs: CertaintyCosts) -> Drawing:
    """Draw the difference each plan finds against its cost, with the plans that nothing beats.

    Parameters
    ----------
    costs : CertaintyCosts

    Returns
    -------
    Drawing
        Its data are the plans.
    """
    with drawing_rules():
        return _draw(costs)


def _draw(costs: CertaintyCosts) -> Drawing:
    frame = costs.frame
    effort = np.log10(frame[effort_name(costs.basis)].to_numpy(dtype=float))
    found = _shown(costs, frame["detectable_difference"].to_numpy(dtype=float))
    margin = None if costs.margin is None else float(_shown(costs, np.array([costs.margin]))[0])
    top = _top(costs, found, margin)
    drawn = found <= top
    y_ticks = scales.axis_ticks(0.0, top, _HEIGHT * 2, most=6)
    left = MARGIN + max(text_width(words, TICK_PT) for _, words in y_ticks) + 6.0
    title = wrapped(_y_title(costs), WIDTH - 2 * MARGIN, TITLE_PT)
    under = wrapped(_x_title(costs), WIDTH - 2 * MARGIN, TITLE_PT)
    start = 8.0 + 13.0 * len(title) + 8.0
    sheet = Sheet(start + _HEIGHT + 24.0 + 13.0 * len(under) + 6.0)
    panel = sheet.panel(
        left, start, WIDTH - MARGIN - left, _HEIGHT,
        scales.padded(effort[drawn], 0.05), (0.0, top),
    )  # fmt: skip
    for number, line in enumerate(title):
        sheet.text(MARGIN, 17.0 + 13.0 * number, line, size=TITLE_PT)
    _draw_ground(sheet, panel, y_ticks, margin, top)
    _draw_x_axis(sheet, panel, under)
    best = frame["unbeaten"].to_numpy(dtype=bool)
    _draw_plans(panel, effort, found, drawn, best)
    places = np.column_stack(
        [[panel.x_place(x) for x in effort[drawn]], [panel.y_place(y) for y in found[drawn]]]
    )
    path = _path(panel, effort[drawn & best], found[drawn & best])
    room = Box(left, start, WIDTH - MARGIN, start + _HEIGHT)
    own = frame["own_plan"].to_numpy(dtype=bool) & drawn
    if own.any():
        x, y = float(effort[own][0]), float(found[own][0])
        panel.axes.plot(
            [x], [y], linestyle="none", marker="o", markersize=_RING, markerfacecolor="none",
            markeredgecolor=INK, markeredgewidth=1.6, zorder=7, clip_on=False, label="_ring",
        )  # fmt: skip
        turn = np.linspace(0.0, 2 * np.pi, 12, endpoint=False)
        ring = np.column_stack([np.cos(turn), np.sin(turn)]) * _RING / 2
        places = np.vstack([places, ring + np.array([panel.x_place(x), panel.y_place(y)])])
    words = _draw_margin_words(sheet, panel, costs, margin, top, np.vstack([places, path]))
    if margin is not None and margin <= top:
        across = np.arange(left, WIDTH - MARGIN, 3.0)
        edge = np.full(len(across), panel.y_place(margin))
        path = np.vstack([path, np.column_stack([across, edge])])
    callouts = _callouts(costs, panel, effort, found, drawn)
    draw_callouts(sheet, callouts, room, marks=places, path=path, taken=words)
    finding = " ".join(costs.sentences()[:2])
    return Drawing(
        "cost_of_certainty", sheet.figure, finding, _reading(costs), _notes(costs, drawn),
        _alt(costs, finding), frame.copy(),
    )  # fmt: skip


def _shown(costs: CertaintyCosts, size: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Differences as they stand on the axis: in the unit, or in per cent on the log scale."""
    return 100 * np.expm1(size) if costs.response.scale == "log" else size


def _top(costs: CertaintyCosts, found: npt.NDArray[np.float64], margin: float | None) -> float:
    """Upper end of the axis: everything, unless a few plans find only very large differences."""
    own = found[costs.frame["own_plan"].to_numpy(dtype=bool)]
    usual = float(own[0]) if own.size else float(np.median(found))
    top = min(float(found.max()), max(_MOST * usual, 1.3 * float(found.min())))
    if margin is not None and top < margin <= 1.5 * top:
        top = margin
    return 1.1 * top


# --- marks -------------------------------------------------------------------------------------


def _draw_ground(
    sheet: Sheet,
    panel: Panel,
    ticks: Sequence[scales.Tick],
    margin: float | None,
    top: float,
) -> None:
    # on the axes of the marks, so that it lies under them
    axes, (low, high) = panel.axes, panel.x_limits
    if margin is not None:
        axes.axhspan(0.0, min(margin, top), facecolor=CALM, linewidth=0, zorder=0)
        if margin <= top:
            dots: Any = (0.0, (1.4, 1.6))
            axes.plot(
                [low, high], [margin, margin], color=CALM_EDGE, linewidth=1.2, linestyle=dots,
                zorder=1, label="_edge",
            )  # fmt: skip
    for value, words in ticks:
        if value > 0:
            axes.plot(
                [low, high], [value, value], color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0.5,
                label="_hairline",
            )  # fmt: skip
        y = panel.y_place(value) + 0.36 * TICK_PT
        sheet.text(panel.left - 5.0, y, words, size=TICK_PT, align="right")
    sheet.axis_line(panel.left, panel.left + panel.width, panel.top + panel.height)


def _draw_x_axis(sheet: Sheet, panel: Panel, title: Sequence[str]) -> None:
    bottom = panel.top + panel.height
    for value, words in log_ticks(*panel.x_limits, panel.width):
        sheet.tick(panel.x_place(value), bottom, words, size=TICK_PT)
    for number, line in enumerate(title):
        sheet.text(
            WIDTH - MARGIN, bottom + 29.0 + 13.0 * number, line, size=TITLE_PT, align="right"
        )


def log_ticks(low: float, high: float, width: float) -> list[scales.Tick]:
    """Round values along an axis of decimal logarithms, with words that do not touch.

    >>> [words for _, words in log_ticks(2.2, 3.4, 300.0)]
    ['200', '500', '1000', '2000']
    """
    found: list[scales.Tick] = []
    for mantissas in _MANTISSAS:
        values = [
            mantissa * 10.0**power
            for power in range(math.floor(low), math.ceil(high) + 1)
            for mantissa in mantissas
        ]
        ticks = [
            (math.log10(value), number_text(value, max(0, -math.floor(math.log10(value) + 1e-9))))
            for value in values
            if low <= math.log10(value) <= high
        ]
        if scales.words_fit(ticks, low, high, width) and len(ticks) > len(found):
            found = ticks
        if len(found) >= 3:
            return found
    for most in (5, 4, 3):  # a short axis: values an even step apart
        shown = scales.round_values(10.0**low, 10.0**high, most)
        ticks = list(zip(np.log10(shown).tolist(), scales.tick_words(shown), strict=True))
        if scales.words_fit(ticks, low, high, width) and len(ticks) > len(found):
            found = ticks
    return found


def _draw_plans(
    panel: Panel,
    effort: npt.NDArray[np.float64],
    found: npt.NDArray[np.float64],
    drawn: npt.NDArray[np.bool_],
    best: npt.NDArray[np.bool_],
) -> None:
    beaten, unbeaten = drawn & ~best, drawn & best
    draw_marks(
        panel.axes, effort[beaten].tolist(), found[beaten].tolist(), _BEATEN, label=PLANS, zorder=3
    )
    panel.axes.plot(
        effort[unbeaten], found[unbeaten], color=PENCIL, linewidth=1.2, drawstyle="steps-post",
        zorder=4, clip_on=False, label="_steps",
    )  # fmt: skip
    scale = 1.0 if unbeaten.sum() <= 30 else 0.82
    draw_marks(
        panel.axes, effort[unbeaten].tolist(), found[unbeaten].tolist(), _UNBEATEN,
        scale=scale, label=PLANS, zorder=5,
    )  # fmt: skip


def _path(
    panel: Panel, effort: npt.NDArray[np.float64], found: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Step line through the unbeaten plans, as points of the sheet close to each other."""
    corners: list[tuple[float, float]] = []
    for x, y in zip(effort, found, strict=True):
        if corners:
            corners.append((panel.x_place(x), corners[-1][1]))
        corners.append((panel.x_place(x), panel.y_place(y)))
    points = [np.array(corners[:1]).reshape(-1, 2)]
    for start, end in itertools.pairwise(corners):
        count = max(2, int(math.dist(start, end) / 3.0))
        points.append(np.linspace(start, end, count))
    return np.vstack(points)


# --- words -------------------------------------------------------------------------------------


def _draw_margin_words(
    sheet: Sheet,
    panel: Panel,
    costs: CertaintyCosts,
    margin: float | None,
    top: float,
    places: npt.NDArray[np.float64],
) -> list[Box]:
    """Name the calm zone where it hides the fewest marks."""
    if margin is None or costs.margin is None:
        return []
    above = margin > top
    text = f"smaller than the margin, {costs.size_text(costs.margin)}"
    text = f"all {text}" if above else text
    width, bottom = text_width(text, SMALL_PT), panel.top + panel.height
    edge = panel.top if above else panel.y_place(margin)
    right = panel.left + panel.width - 4.0
    heights = [edge + 12.0, bottom - 5.0] if bottom - edge > 15.0 else [edge - 4.0]
    spots = [(x, y) for y in heights for x in (right - width, panel.left + 5.0)]
    boxes = [(Box(x - 2.0, y - 9.0, x + width + 2.0, y + 3.0), y) for x, y in spots]
    box, y = min(boxes, key=lambda own: int(own[0].holds(places, 4.0).sum()))
    sheet.text(box.left + 2.0, y, text, size=SMALL_PT, colour=CALM_TEXT)
    return [box]


def _callouts(
    costs: CertaintyCosts,
    panel: Panel,
    effort: npt.NDArray[np.float64],
    found: npt.NDArray[np.float64],
    drawn: npt.NDArray[np.bool_],
) -> list[Callout]:
    """Words for the plan, the cheapest, the cheapest inside the margin and a dear one."""
    frame = costs.frame
    own = np.flatnonzero(frame["own_plan"].to_numpy(dtype=bool) & drawn)
    best = np.flatnonzero(frame["unbeaten"].to_numpy(dtype=bool) & drawn)
    size = frame["detectable_difference"].to_numpy(dtype=float)
    wanted = [*own[:1], *best[:1]]
    if costs.margin is not None:
        wanted += list(best[size[best] <= costs.margin][:1])
    wanted += list(best[-1:])
    if len(best) > 4:
        span = effort[best[-1]] - effort[best[0]]
        wanted.append(best[int(np.argmin(np.abs(effort[best] - effort[best[0]] - 0.75 * span)))])
    chosen: list[int] = []
    for place in dict.fromkeys(int(place) for place in wanted):
        near = [
            other
            for other in chosen
            if abs(panel.x_place(effort[place]) - panel.x_place(effort[other])) < 14.0
        ]
        if not near and len(chosen) < 4:
            chosen.append(place)
    rows = records_of(frame)
    return [
        Callout(
            x=panel.x_place(float(effort[place])),
            y=panel.y_place(float(found[place])),
            lines=_plan_lines(costs, rows[place]),
            bold=place in own,
            clear=_RING / 2 + 1.0 if place in own else 4.0,
        )
        for place in chosen
    ]


def _plan_lines(costs: CertaintyCosts, row: Mapping[str, Any]) -> tuple[str, ...]:
    """``8 loads × 8 coupons``, ``3 indents each, 802``."""
    study = costs.study
    loads, coupons, indents = (
        int(row[name]) for name in ("furnace_loads", "coupons_per_load", "indents")
    )
    load = study.unit_word("furnace_load").split()[-1]
    coupon = study.unit_word("coupon", coupons)
    reading = "indent" if costs.response.kind == "hardness" else "reading"
    start = "planned: " if row["own_plan"] else ""
    amount = float(f"{float(row[effort_name(costs.basis)]):.3g}")
    shown = f"{amount:.0f}" if amount >= 10 else f"{amount:g}"
    shown = f"{shown}{NO_BREAK}h" if costs.basis == "hours" else shown
    return (
        f"{start}{wording.counted(loads, load)} × {coupons} {coupon}",
        f"{indents} {reading if indents == 1 else plural(reading)} each, {shown}",
    )


def _y_title(costs: CertaintyCosts) -> str:
    unit = "%" if costs.response.scale == "log" else costs.response.unit
    text = f"Difference found {times_in(costs.power)}"
    return f"{text}, {unit}" if unit else text


def _x_title(costs: CertaintyCosts) -> str:
    if costs.basis == "hours":
        return "Work, hours (no price is told)"
    what = "Cost of what has a price" if costs.unpriced else "Cost"
    return f"{what}, {costs.prices.currency or 'money units'}"


def _reading(costs: CertaintyCosts) -> str:
    more = "money" if costs.basis == "money" else "work"
    text = (
        f"A dot is a plan: filled where no other finds as small a difference for no more {more}, "
        "hollow where one does."
    )
    if costs.own is not None:
        text += " The ring is the plan of this study."
    if costs.margin is not None:
        text += (
            f" Pale field, dotted edge: differences smaller than the margin of "
            f"{costs.size_text(costs.margin)}, which do not matter."
        )
    return text


def _notes(costs: CertaintyCosts, drawn: npt.NDArray[np.bool_]) -> tuple[str, ...]:
    left = int((~drawn).sum())
    if not left:
        return costs.notes
    finds = "finds" if left == 1 else "find"
    note = f"{capital(wording.counted(left, 'plan'))} not drawn: {finds} larger differences only."
    return (*costs.notes, note)


def _alt(costs: CertaintyCosts, finding: str) -> str:
    loads = costs.frame["furnace_loads"]
    effort = "cost" if costs.basis == "money" else "hours of work"
    word = plural(wording.unit_word(costs, "furnace_load"))
    number = len(costs.frame)
    subject = (
        f"Smallest difference in {costs.response.quantity} that is found against {effort} for "
        f"{wording.counted(number, 'plan')} of {loads.min()} to {loads.max()} {word}"
    )
    own = costs.own
    beaten = own is not None and not own["unbeaten"]
    return wording.alt_text(subject, finding, "The plan itself is beaten" if beaten else "")
