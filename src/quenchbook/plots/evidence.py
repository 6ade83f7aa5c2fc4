"""Published studies and the own one, kind by kind; kinds are never averaged together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.errors import ReportError
from quenchbook.findings.evidence_answers import THIS_STUDY
from quenchbook.findings.statements import change_limits, percent_text
from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.second_unit import axis_words, under_room
from quenchbook.plots.sheet import INNER, MARGIN, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    CORE,
    END_PT,
    ESTIMATE_BAND,
    ESTIMATE_PT,
    GHOST,
    INK,
    PENCIL,
    RIM,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
    drawing_rules,
)
from quenchbook.records.published_comparisons import KINDS
from quenchbook.units import capital, listed

if TYPE_CHECKING:
    from quenchbook.both_units import Printed
    from quenchbook.records.published_comparisons import PublishedComparison
from quenchbook.findings.evidence_answers import EvidenceAnswer, EvidenceFinding

_INVENTED: Final = "invented"
_LINE: Final = 12.0
_BAND: Final = 11.0
_HEAD: Final = 24.0
_GAP: Final = 12.0
_FAINT: Final = 0.20  # a published study is paler than the own one
_BEYOND: Final = 3.0  # an end this many times farther out than the estimates leaves the axis


@dataclass(frozen=True)
class _Row:
    """One line of the figure."""

    what: str  # own, study, mean
    name: str
    about: str
    estimate: float
    std_error: float
    low: float
    high: float
    further: tuple[float, float] = (math.nan, math.nan)


@dataclass(frozen=True)
class _Axis:
    """The one axis: its limits, and where it begins and ends [pt]."""

    low: float
    high: float
    left: float
    right: float

    def place(self, value: float) -> float:
        inside = min(max(value, self.low), self.high)
        return self.left + (inside - self.low) / (self.high - self.low) * (self.right - self.left)


def figure_evidence(answer: EvidenceAnswer) -> Drawing:
    """Draw one comparison: each study with its interval, kinds apart, the own study first.

    Parameters
    ----------
    answer : EvidenceAnswer

    Returns
    -------
    Drawing
        Its data are one row for each study and for each mean.

    Raises
    ------
    ReportError
        If there is no study to draw.
    """
    groups = [(own, _rows(own)) for own in answer.findings]
    groups = [(own, rows) for own, rows in groups if rows]
    if not groups:
        raise ReportError("There is no study to draw.")
    with drawing_rules():
        return _draw(answer, groups)


def _rows(own: EvidenceFinding) -> list[_Row]:
    rows = [
        _Row(
            "own", THIS_STUDY, _counts(one.coupons, one.furnace_loads), one.estimate,
            one.std_error, one.conf_low, one.conf_high,
        )
        for one in own.own
    ]  # fmt: skip
    found = own.synthesis
    if found is None:
        return rows
    lows, highs = found.limits()
    rows += [
        _Row(
            "study", _study_name(one), _counts(one.coupons, one.furnace_loads), float(effect),
            math.sqrt(variance), float(low), float(high),
        )
        for one, effect, variance, low, high in zip(
            found.comparisons, found.effects, found.variances, lows, highs, strict=True
        )
    ]  # fmt: skip
    if found.mean is not None:
        rows.append(
            _Row(
                "mean", "on average", _averaged(found.comparisons),
                found.mean.estimate, found.mean.std_error, found.conf_low, found.conf_high,
                (found.further_low, found.further_high),
            )
        )  # fmt: skip
    return rows


def _averaged(comparisons: Sequence[PublishedComparison]) -> str:
    named = [_study_name(one).lower() for one in comparisons]
    kind = _INVENTED if all(_INVENTED in name for name in named) else "published"
    return f"{len(named)} {kind} studies"


def _study_name(one: PublishedComparison) -> str:
    """Name of a study; one that was made up says so in the figure, whatever it is called."""
    told = _INVENTED in one.study.lower() or _INVENTED not in one.source.lower()
    return one.study if told else f"{one.study} ({_INVENTED})"


def _counts(coupons: int, loads: int) -> str:
    told = wording.counted(coupons, "coupon") if coupons else "coupons not told"
    if not loads:
        return f"{told}, loads not told"
    return f"{told}, {'one load' if loads == 1 else f'{loads} loads'}"


def _draw(answer: EvidenceAnswer, groups: list[tuple[EvidenceFinding, list[_Row]]]) -> Drawing:
    rows = [row for _, own in groups for row in own]
    low, high = _x_limits(rows)
    words = {id(row): _words(answer, row) for row in rows}
    widest = max(
        text_width(text, VALUE_PT, bold=row.what == "own" and number == 0)
        for row in rows
        for number, text in enumerate(words[id(row)])
    )
    right = min(widest, INNER * 0.42)
    width = INNER - right - 10.0
    heights = {
        id(row): max(len(_name_lines(row)) * _LINE + _BAND + 14.0, 11.0 * len(words[id(row)]) + 8.0)
        for row in rows
    }
    body = sum(_HEAD + sum(heights[id(row)] for row in own) + _GAP for _, own in groups)
    unit = "%" if answer.is_ratio else answer.unit
    printed = Printed() if answer.is_ratio else answer.printed
    named = axis_words(f"{capital(answer.title)}{f', {unit}' if unit else ''}", printed)
    title = wrapped(named, INNER, TITLE_PT)
    sheet = Sheet(body + under_room(printed) + 24.0 + 13.0 * len(title) + 6.0)
    axis = _Axis(low, high, MARGIN, MARGIN + width)
    top = 0.0
    for own, members in groups:
        sheet.text(MARGIN, top + 14.0, KINDS[own.kind], size=TITLE_PT, bold=True)
        sheet.line((MARGIN, MARGIN + width), (top + 20.0, top + 20.0), PENCIL, 0.8)
        top += _HEAD
        for row in members:
            _draw_row(sheet, row, words[id(row)], top, axis)
            top += heights[id(row)]
        top += _GAP
    top -= _GAP - 4.0
    sheet.axis_line(MARGIN, MARGIN + width, top)
    for value, text in scales.axis_ticks(low, high, width, sign=True, percent=answer.is_ratio):
        under = printed.beside(value, text, sign=True)
        sheet.tick(axis.place(value), top, text, size=TICK_PT, under=under)
    top += under_room(printed)
    for number, line in enumerate(title):
        sheet.text(MARGIN, top + 28.0 + 13.0 * number, line, size=TITLE_PT)
    finding = _finding(answer)
    return Drawing(
        "evidence", sheet.figure, finding, _reading(answer, rows), answer.notes,
        _alt(answer, rows, finding), _data(groups),
    )  # fmt: skip


def _x_limits(rows: list[_Row]) -> tuple[float, float]:
    """Limits that hold every estimate and zero; an interval that runs far out gets an arrow."""
    estimates = np.array([0.0, *(row.estimate for row in rows)])
    reach = float(np.abs(estimates).max()) or 0.1
    ends = np.array(
        [e for row in rows for e in (row.low, row.high, *row.further) if math.isfinite(e)]
    )
    near = ends[np.abs(ends) <= _BEYOND * max(reach, float(np.median(np.abs([*ends, reach]))))]
    return scales.padded(np.concatenate([estimates, near]), 0.03)


# --- marks ----------------------------------------------------------------------------------------


def _draw_row(sheet: Sheet, row: _Row, texts: list[str], top: float, axis: _Axis) -> None:
    lines = _name_lines(row)
    bold = row.what != "study"
    colour = PENCIL if row.what == "study" else INK
    for number, (name, about) in enumerate(lines):
        y = top + 10.0 + _LINE * number
        sheet.text(MARGIN, y, name, size=VALUE_PT, bold=bold)
        after = MARGIN + (text_width(name, VALUE_PT, bold=bold) + 6.0 if name else 0.0)
        sheet.text(after, y, about, size=SMALL_PT, colour=PENCIL)
    upper = top + _LINE * len(lines) + 4.0
    lower = upper + _BAND
    zero = axis.place(0.0)
    sheet.line((zero, zero), (upper - 3.0, lower + 3.0), GHOST, 0.9, zorder=0.5)
    ends = (row.low, row.high)
    if math.isfinite(row.further[0]):
        _draw_band(sheet, row.further, upper, axis, face=RIM, edge=GHOST)
        _draw_band(sheet, ends, upper, axis, face=CORE, edge=INK)
    elif math.isfinite(row.low):
        alpha = ESTIMATE_BAND if row.what == "own" else _FAINT
        _draw_band(sheet, ends, upper, axis, face=INK, edge=colour, alpha=alpha)
    x = axis.place(row.estimate)
    thick = ESTIMATE_PT + (1.0 if row.what == "own" else 0.0)
    sheet.line((x, x), (upper - 2.0, lower + 2.0), colour, thick, zorder=4)
    left = axis.right + 10.0
    for number, text in enumerate(texts):
        sheet.text(
            left, top + 11.0 + 11.0 * number, text, size=VALUE_PT if number == 0 else SMALL_PT,
            bold=number == 0 and row.what == "own", colour=INK if number == 0 else PENCIL,
        )  # fmt: skip


def _draw_band(
    sheet: Sheet,
    ends: tuple[float, float],
    top: float,
    axis: _Axis,
    *,
    face: str,
    edge: str,
    alpha: float | None = None,
) -> None:
    left, right = axis.place(ends[0]), axis.place(ends[1])
    sheet.box(left, top, right - left, _BAND, face=face, alpha=alpha, zorder=2)
    for value, x, sign in ((ends[0], left, -1), (ends[1], right, 1)):
        if axis.low <= value <= axis.high:
            sheet.line((x, x), (top, top + _BAND), edge, END_PT, zorder=3)
        else:
            sheet.arrow(x, top + _BAND / 2, sign, colour=PENCIL)


# --- words ----------------------------------------------------------------------------------------


def _name_lines(row: _Row) -> list[tuple[str, str]]:
    """Name and counts, on one line where both fit."""
    bold = row.what != "study"
    room = INNER * 0.64
    names = wrapped(row.name, room, VALUE_PT, bold=bold)
    used = text_width(names[-1], VALUE_PT, bold=bold) + 6.0
    if used + text_width(row.about, SMALL_PT) <= room:
        return [*((name, "") for name in names[:-1]), (names[-1], row.about)]
    return [*((name, "") for name in names), *(("", a) for a in wrapped(row.about, room, SMALL_PT))]


def _words(answer: EvidenceAnswer, row: _Row) -> list[str]:
    value = _value(answer, row)
    limits = _limits(answer, row, row.low, row.high)
    if not math.isfinite(row.further[0]):
        return [value, limits]
    return [value, limits, f"further: {_limits(answer, row, *row.further)}"]


def _value(answer: EvidenceAnswer, row: _Row) -> str:
    if answer.is_ratio:
        return percent_text(row.estimate)
    return answer.printed.difference(row.estimate, std_error=row.std_error, sign=True)


def _limits(answer: EvidenceAnswer, row: _Row, low: float, high: float) -> str:
    return change_limits(
        low, high, row.std_error, is_ratio=answer.is_ratio, unit=answer.unit, units=answer.units
    )


def _finding(answer: EvidenceAnswer) -> str:
    return answer.findings[0].sentence


def _reading(answer: EvidenceAnswer, rows: list[_Row]) -> str:
    level = wording.percent_text(answer.confidence)
    own = "The own study is dark and stands first; " if any(r.what == "own" for r in rows) else ""
    text = f"{own}a band is the {level} interval of a study, weighted by its coupons."
    if any(row.what == "mean" for row in rows):
        text += (
            " On average: the dark core is the interval of the mean, the pale rim is where a "
            "further study is expected. The own study is in no average."
        )
    return capital(text)


def _alt(answer: EvidenceAnswer, rows: list[_Row], finding: str) -> str:
    kinds = listed([KINDS[own.kind] for own in answer.findings])
    count = sum(row.what == "study" for row in rows)
    made_up = sum(_INVENTED in row.name.lower() for row in rows if row.what == "study")
    of = f", {made_up} of them invented" if made_up else ""
    subject = f"{capital(answer.title)}, by kind of study ({kinds}); {count} published studies{of}"
    values = [row for row in rows if row.what == "study" and math.isfinite(row.low)]
    apart = [row.name for row in values if row.low > 0 or row.high < 0]
    unusual = f"Intervals that leave out zero: {listed(apart)}" if apart else ""
    return wording.alt_text(subject, finding, unusual)


def _data(groups: list[tuple[EvidenceFinding, list[_Row]]]) -> pd.DataFrame:
    rows = [
        {
            "kind": own.kind, "what": row.what, "study": row.name, "estimate": row.estimate,
            "std_error": row.std_error, "conf_low": row.low, "conf_high": row.high,
            "low": row.further[0], "high": row.further[1],
        }
        for own, members in groups
        for row in members
    ]  # fmt: skip
    return pd.DataFrame(rows)
