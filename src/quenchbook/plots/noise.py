"""The noise budget: the scatter of each stratum, with the deviations it came from."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from matplotlib.patches import Rectangle

from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.second_unit import axis_words, under_room
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    CORE,
    ESTIMATE_PT,
    GHOST,
    HAIRLINE,
    INK,
    NEUTRAL,
    PENCIL,
    RIM,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
    draw_marks,
    drawing_rules,
)
from quenchbook.study.factors import plural
from quenchbook.units import capital, decimals_for, listed, number_text

if TYPE_CHECKING:
    from quenchbook.fit.noise import NoiseBudget

_STRIP: Final = 20.0
_TICKS: Final = ("indent",)  # strata whose single deviations are ticks and not dots
_BEYOND: Final = 2.2  # a limit this many times farther than all else leaves the axis
_DEVIATIONS: Final = "deviations"


def figure_noise_budget(budget: NoiseBudget) -> Drawing:
    """Draw one row a stratum: its deviations, its standard deviation and that one's interval.

    Parameters
    ----------
    budget : NoiseBudget

    Returns
    -------
    Drawing
        Its data are the components.
    """
    with drawing_rules():
        return _draw(budget)


def _draw(budget: NoiseBudget) -> Drawing:
    rows = budget.components.to_dict("records")
    limit = _limit(budget)
    labels = [_label(budget, row) for row in rows]
    head_right = f"standard deviation ({_confidence(budget)} interval)"
    foot = wrapped(
        "line: one standard deviation; dark and pale: its lower and upper limit", INNER, SMALL_PT
    )
    title = wrapped(_axis_title(budget), INNER, TITLE_PT)
    places, top = [], 26.0
    for lines, words, inline in labels:
        height = 12.0 * (len(lines) + (0 if inline else len(words)))
        places.append(top)
        top += height + 4.0 + _STRIP + 10.0
    more = under_room(budget.printed)
    sheet = Sheet(top + more + 22.0 + 13.0 * len(title) + 11.0 * len(foot) + 10.0)
    sheet.text(MARGIN, 15.0, "stratum and count", size=VALUE_PT, colour=PENCIL)
    sheet.text(WIDTH - MARGIN, 15.0, head_right, size=VALUE_PT, colour=PENCIL, align="right")
    for row, (lines, words, inline), place in zip(rows, labels, places, strict=True):
        strip = _draw_words(sheet, row, lines, words, inline, place)
        panel = sheet.panel(MARGIN, strip, INNER, _STRIP, (-limit, limit), (-1.0, 1.0))
        panel.axes.plot([0, 0], [-1.2, 1.2], color=GHOST, linewidth=0.9, clip_on=False, zorder=2)
        _draw_row(sheet, panel, row, _deviations(budget, row), str(row["stratum"]) in _TICKS)
    sheet.axis_line(MARGIN, WIDTH - MARGIN, top)
    for value, text in scales.axis_ticks(-limit, limit, INNER, sign=True):
        x = MARGIN + (value + limit) / (2 * limit) * INNER
        under = budget.printed.beside(value, text, sign=True)
        sheet.tick(x, top, text, size=TICK_PT, under=under)
    top += under_room(budget.printed)
    for number, line in enumerate(title):
        sheet.text(WIDTH - MARGIN, top + 28.0 + 13.0 * number, line, size=TITLE_PT, align="right")
    last = top + 22.0 + 13.0 * len(title) + 12.0
    for number, line in enumerate(foot):
        sheet.text(MARGIN, last + 11.0 * number, line, size=SMALL_PT, colour=PENCIL)
    finding = _finding(budget)
    return Drawing(
        "noise_budget", sheet.figure, finding, _reading(budget), _notes(budget),
        _alt(budget, finding), budget.components.reset_index(drop=True).copy(),
    )  # fmt: skip


def _axis_title(budget: NoiseBudget) -> str:
    text = (
        f"Deviation of {budget.quantity} within its own level"
        if budget.quantity
        else "Deviation within its own level"
    )
    return axis_words(f"{text}, {budget.unit}" if budget.unit else text, budget.printed)


def _confidence(budget: NoiseBudget) -> str:
    return wording.percent_text(getattr(budget, "confidence", 0.95))


def _limit(budget: NoiseBudget) -> float:
    frame = budget.components
    near = [
        abs(float(x)) for values in budget.deviations.values() for x in np.asarray(values).ravel()
    ]
    near = [value for value in [*near, *frame["sd"].astype(float)] if math.isfinite(value)]
    core = max(near, default=0.0)
    highs = [float(value) for value in frame["conf_high"] if math.isfinite(value)]
    farthest = max([core, *(high for high in highs if high <= _BEYOND * core or core == 0)])
    return 1.06 * farthest or 1.0


def _deviations(budget: NoiseBudget, row: dict[Any, Any]) -> np.ndarray:
    values = np.asarray(budget.deviations.get(str(row["stratum"]), []), dtype=float).ravel()
    return np.asarray(values[np.isfinite(values)])


# --- marks -------------------------------------------------------------------------------------


def _draw_words(
    sheet: Sheet, row: dict[Any, Any], lines: list[str], words: list[str], inline: bool, top: float
) -> float:
    """Write the words of a row; return the upper edge of its strip."""
    for number, line in enumerate(lines):
        sheet.text(MARGIN, top + 10.0 + 12.0 * number, line, size=TITLE_PT, bold=True)
    y = top + 10.0 + 12.0 * (len(lines) - 1)
    after = MARGIN + text_width(lines[-1], TITLE_PT, bold=True) + 6.0
    sheet.text(after, y, f"{int(row['count'])}", colour=PENCIL, size=VALUE_PT)
    if not inline:
        y += 12.0
    for number, text in enumerate(words):
        sheet.text(WIDTH - MARGIN, y + 12.0 * number, text, size=VALUE_PT, align="right")
    return top + 12.0 * (len(lines) + (0 if inline else len(words))) + 4.0


def _draw_row(
    sheet: Sheet, panel: Panel, row: dict[Any, Any], deviations: np.ndarray, ticks: bool
) -> None:
    sd, low, high = (float(row[name]) for name in ("sd", "conf_low", "conf_high"))
    limit, middle = panel.x_limits[1], panel.top + _STRIP / 2
    if high > 0:
        shown = min(high, limit)
        _box(panel, shown, RIM, edge=HAIRLINE)
        if high > limit:
            sheet.arrow(panel.left - 4.0, middle, -1)
            sheet.arrow(panel.left + panel.width + 4.0, middle, 1)
    if low > 0:
        _box(panel, min(low, limit), CORE)
    for place in {-sd, sd} if sd > 0 else {0.0}:
        if math.isfinite(sd):
            panel.axes.plot(
                [place, place], [-1, 1], color=INK, linewidth=ESTIMATE_PT,
                solid_capstyle="butt", zorder=6,
            )  # fmt: skip
    values = np.sort(deviations)
    # marks spread up and down only so that they do not hide each other
    reach = min(0.78, 0.045 * len(values)) if len(values) > 4 else 0.0
    heights = [reach * place for place in scales.spread(len(values))]
    if not ticks:
        draw_marks(panel.axes, values.tolist(), heights, NEUTRAL, scale=0.72, label=_DEVIATIONS)
        return
    panel.axes.plot(
        values, heights, linestyle="none", marker="|", markersize=3.4, markeredgewidth=0.6,
        markeredgecolor=INK, label=_DEVIATIONS, clip_on=False, zorder=3,
    )  # fmt: skip


def _box(panel: Panel, half: float, face: str, *, edge: str = "none") -> None:
    panel.axes.add_patch(
        Rectangle(
            (-half, -1),
            2 * half,
            2,
            facecolor=face,
            edgecolor=edge,
            linewidth=0.8,
            zorder=1,
            clip_on=False,
        )
    )


# --- words -------------------------------------------------------------------------------------


def _label(budget: NoiseBudget, row: dict[Any, Any]) -> tuple[list[str], list[str], bool]:
    """Lines of the name, lines of the numbers, whether both stand on one line."""
    count = text_width(str(int(row["count"])), VALUE_PT) + 6.0
    name, numbers = _word(budget, row), _sd_words(budget, row)
    lines = wrapped(name, INNER - count, TITLE_PT, bold=True)
    used = text_width(lines[-1], TITLE_PT, bold=True) + count
    words = wrapped(numbers, INNER, VALUE_PT)
    inline = len(words) == 1 and used + text_width(words[0], VALUE_PT) + 10.0 < INNER
    return lines, words, inline


def _word(budget: NoiseBudget, row: dict[Any, Any]) -> str:
    return wording.unit_word(budget, str(row["stratum"]))


def _decimals(budget: NoiseBudget) -> int:
    positive = [float(value) for value in budget.components["sd"] if value > 0]
    return decimals_for(min(positive, default=0.0), budget.unit)


def _sd_words(budget: NoiseBudget, row: dict[Any, Any]) -> str:
    sd, low, high = (float(row[name]) for name in ("sd", "conf_low", "conf_high"))
    decimals = _decimals(budget)
    printed = budget.printed
    value = printed.told(0.0) if sd == 0 else printed.difference(sd, decimals)
    if math.isnan(low) and math.isnan(high):
        return f"{value} (limits not known)"
    if printed.other is not None:
        return printed.with_limits(value, printed.limits(low, high, decimals))
    start, end = (
        "0" if abs(limit) < 0.5 * 10**-decimals else number_text(limit, decimals)
        for limit in (low, high)
    )
    return f"{value} ({start} to {end})"


def _finding(budget: NoiseBudget) -> str:
    frame = budget.components
    if not (frame["sd"] > 0).any():
        return "No stratum shows scatter that can be told apart from none."
    row = frame.iloc[int(np.nanargmax(frame["sd"].to_numpy(dtype=float)))].to_dict()
    word = _word(budget, row)
    largest = (
        "has the largest estimate: standard deviation"
        if len(frame) > 1
        else "has a standard deviation of"
    )
    text = f"Scatter from {word} to {word} {largest} {_sd_words(budget, row)}"
    open_below = len(frame) > 1 and not float(row["conf_low"]) > 0
    return f"{text}, but its interval reaches 0." if open_below else f"{text}."


def _reading(budget: NoiseBudget) -> str:
    level = _confidence(budget)
    indents = budget.components["stratum"].isin(_TICKS).any()
    marks = "A dot is one unit of its stratum" + (", a tick one indent" if indents else "")
    return (
        f"{marks}, away from its own level. Lines stand one standard deviation either side of "
        f"zero; the dark core reaches its lower {level} limit, the pale rim its upper."
    )


def _notes(budget: NoiseBudget) -> tuple[str, ...]:
    if any("shrunken" in note for note in budget.notes):
        return tuple(budget.notes)
    shrunken = [
        plural(wording.unit_word(budget, str(name)))
        for name in budget.components["stratum"]
        if str(name) not in _TICKS
    ]
    return (f"Deviations of {listed(shrunken)} are shrunken estimates.", *budget.notes)


def _alt(budget: NoiseBudget, finding: str) -> str:
    rows = budget.components.to_dict("records")
    counts = listed([wording.counted(int(row["count"]), _word(budget, row)) for row in rows])
    subject = f"Deviation of {budget.quantity or 'the response'} against stratum; {counts}"
    zero = [_word(budget, row) for row in rows if float(row["sd"]) == 0]
    unusual = f"The estimate for {listed(zero)} is zero" if zero else ""
    others = "; ".join(f"{_word(budget, row)} {_sd_words(budget, row)}" for row in rows)
    told = finding if len(rows) == 1 else f"{finding} {capital(others)}"
    return wording.alt_text(subject, told, unusual)
