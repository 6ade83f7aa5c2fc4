"""Contrasts as gauges: each finding against its margin, with glyph, word and numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.errors import ReportError, with_suggestion
from quenchbook.findings.statements import (
    estimate_text,
    interval_words,
    margin_words,
    shown_limits,
)
from quenchbook.findings.verdicts import INNER_VERDICTS
from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.glyphs import draw_glyph, gauge_limits, gauge_svg, glyph_svg
from quenchbook.plots.legend import Entry, Key
from quenchbook.plots.second_unit import axis_words, under_room
from quenchbook.plots.sheet import INNER, MARGIN, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    CALM,
    CALM_EDGE,
    END_PT,
    ESTIMATE_BAND,
    ESTIMATE_PT,
    GHOST,
    INK,
    NEUTRAL,
    PENCIL,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
    draw_marks,
    drawing_rules,
)
from quenchbook.units import capital, listed, unit_text

if TYPE_CHECKING:
    from quenchbook.findings.verdicts import Finding

__all__ = ["figure_contrasts", "gauge_limits", "gauge_svg", "glyph_svg"]

ORDER: Final = ("exceeds", "differs", "slight", "equivalent", "undecided")
_GAUGE: Final = 34.0
_LINE: Final = 12.0
_GLYPH: Final = 28.0  # room of the glyph between gauge and words
_INSIDE: Final = "inside"


@dataclass(frozen=True)
class _Row:
    """One finding with its words, broken into lines."""

    finding: Finding
    label: tuple[str, ...]
    against: tuple[str, ...]
    inline: bool  # whether the last line of the label takes the first of `against`
    estimate: tuple[str, ...]
    limits: tuple[str, ...]

    @property
    def label_height(self) -> float:
        """Height of label and what it is held against [pt]."""
        return _LINE * (len(self.label) + len(self.against) - (1 if self.inline else 0))

    @property
    def height(self) -> float:
        """Height of the row [pt]."""
        lines = len(self.estimate) + len(self.limits)
        return self.label_height + 5.0 + max(_GAUGE, 13.0 + 11.0 * lines) + 5.0


def figure_contrasts(findings: Sequence[Finding], *, unit: str, quantity: str = "") -> Drawing:
    """Draw a gauge for each finding, ordered by verdict and then as given.

    Parameters
    ----------
    findings : sequence of Finding
        Of one response. Tests of whole terms have no estimate; they are left out with a note.
    unit : str
        Unit of the response; log ratios are shown in per cent.
    quantity : str
        What is compared, such as ``hardness``; taken from the findings when left out.

    Returns
    -------
    Drawing
        Its data are the estimates with their limits, in the order drawn.

    Raises
    ------
    ReportError
        If nothing can be drawn, or the findings do not share one scale and one unit.
    """
    own = [finding for finding in findings if hasattr(finding, "estimate")]
    if not own:
        raise ReportError("There is no comparison to draw: none of these findings has an estimate.")
    if len({finding.scale for finding in own}) > 1 or len({finding.unit for finding in own}) > 1:
        raise ReportError(
            "These findings have different units or scales. Draw one figure for each response."
        )
    if unknown := {finding.verdict for finding in own} - set(ORDER):
        words = f"'{min(unknown)}' is not a verdict. The verdicts are {', '.join(ORDER)}."
        raise ReportError(with_suggestion(words, min(unknown), ORDER))
    own.sort(key=lambda finding: ORDER.index(finding.verdict))
    with drawing_rules():
        return _draw(
            own, unit, quantity or str(getattr(own[0], "quantity", "")), len(findings) - len(own)
        )


def _draw(findings: Sequence[Finding], unit: str, quantity: str, left_out: int) -> Drawing:
    percent = findings[0].scale == "log"
    unit = "%" if percent else unit_text(unit)
    widest = max(
        *(text_width(own.verdict, TITLE_PT, bold=True) for own in findings),
        *(text_width(estimate_text(own), VALUE_PT) for own in findings),
        *(text_width(part, SMALL_PT) for own in findings for part in _limit_parts(own)),
    )
    words_width = min(widest, INNER * 0.42)
    width = INNER - words_width - _GLYPH
    rows = [_row(own, words_width) for own in findings]
    low, high = _x_limits(findings)
    printed = Printed() if percent else findings[0].printed
    title = wrapped(axis_words(_axis_title(quantity, unit), printed), INNER, TITLE_PT)
    key = Key([_key_entries(findings)])
    body = 6.0 + sum(row.height for row in rows)
    sheet = Sheet(body + under_room(printed) + 20.0 + 13.0 * len(title) + 8.0 + key.height + 8.0)
    top = 6.0
    for row in rows:
        _draw_label(sheet, row, top)
        gauge = top + row.label_height + 5.0
        _draw_gauge(sheet, row.finding, gauge, width, (low, high))
        _draw_words(sheet, row, gauge, MARGIN + width)
        top += row.height
    sheet.axis_line(MARGIN, MARGIN + width, top)
    for value, text in scales.axis_ticks(low, high, width, sign=True, percent=percent):
        under = printed.beside(value, text, sign=True)
        place = MARGIN + (value - low) / (high - low) * width
        sheet.tick(place, top, text, size=TICK_PT, under=under)
    top += under_room(printed)
    fits = all(text_width(line, TITLE_PT) <= width for line in title)
    for number, line in enumerate(title):
        x, align = (MARGIN + width, "right") if fits else (MARGIN, "left")
        sheet.text(x, top + 28.0 + 13.0 * number, line, size=TITLE_PT, align=align)
    key.draw(sheet, top + 20.0 + 13.0 * len(title) + 8.0)
    finding = _finding(findings)
    return Drawing(
        "contrasts", sheet.figure, finding, _reading(findings), _notes(findings, left_out),
        _alt(findings, quantity, finding), _data(findings),
    )  # fmt: skip


def _limit_parts(own: Finding) -> list[str]:
    """Interval, one text a level."""
    return shown_limits(own).split("; ")


def _row(own: Finding, words_width: float) -> _Row:
    label = wrapped(own.label, INNER, TITLE_PT, bold=True)
    against = f"against {own.against.removeprefix('against ')}" if own.against else ""
    used = text_width(label[-1], TITLE_PT, bold=True) + 6.0
    inline = bool(against) and used + text_width(against, VALUE_PT) <= INNER
    pieces = [against] if inline else wrapped(against, INNER, VALUE_PT) if against else []
    estimate = wrapped(estimate_text(own), words_width, VALUE_PT)
    limits = [line for part in _limit_parts(own) for line in wrapped(part, words_width, SMALL_PT)]
    return _Row(own, tuple(label), tuple(pieces), inline, tuple(estimate), tuple(limits))


def _x_limits(findings: Sequence[Finding]) -> tuple[float, float]:
    low, high = gauge_limits(findings)
    inside = [np.asarray(own.inside, dtype=float).ravel() for own in findings]
    return scales.padded(np.concatenate([[low, high], *inside]), 0.02)


def _axis_title(quantity: str, unit: str) -> str:
    text = f"Difference in {quantity}" if quantity else "Difference"
    return f"{text}, {unit}" if unit else text


# --- marks -------------------------------------------------------------------------------------


def _draw_label(sheet: Sheet, row: _Row, top: float) -> None:
    y = top
    for line in row.label:
        y += _LINE
        sheet.text(MARGIN, y - 2.0, line, size=TITLE_PT, bold=True)
    left = MARGIN
    if row.inline:
        left += text_width(row.label[-1], TITLE_PT, bold=True) + 6.0
        y -= _LINE
    for line in row.against:
        y += _LINE
        sheet.text(left, y - 2.0, line, colour=PENCIL, size=VALUE_PT)


def _draw_gauge(
    sheet: Sheet, own: Finding, top: float, width: float, limits: tuple[float, float]
) -> None:
    low, high = limits

    def place(value: float) -> float:
        return MARGIN + (min(max(value, low), high) - low) / (high - low) * width

    foot = top + _GAUGE
    if own.margin is not None:
        left, right = place(-own.margin), place(own.margin)
        sheet.box(left, top, right - left, _GAUGE, face=CALM, zorder=0.2)
        for x in (left, right):
            sheet.line((x, x), (top, foot), CALM_EDGE, 1.2, linestyle=(0.0, (1.4, 1.6)), zorder=0.4)
    sheet.line((place(0.0), place(0.0)), (top, foot), GHOST, 0.9, zorder=0.3)
    upper, lower = top + 4.0, top + 17.0
    if not (math.isnan(own.conf_low) or math.isnan(own.conf_high)):
        left, right = place(own.conf_low), place(own.conf_high)
        sheet.box(left, upper, right - left, lower - upper, face=INK, alpha=ESTIMATE_BAND, zorder=2)
        for value, x, sign in ((own.conf_low, left, -1), (own.conf_high, right, 1)):
            if math.isinf(value):
                sheet.arrow(x + 3.0 * sign, (upper + lower) / 2, sign)
            else:
                sheet.line((x, x), (upper, lower), INK, END_PT, zorder=3)
    if math.isfinite(own.estimate):
        x = place(own.estimate)
        sheet.line((x, x), (upper - 2.5, lower + 2.5), INK, ESTIMATE_PT, zorder=4)
    if own.verdict in INNER_VERDICTS:
        for x in (place(own.inner_low), place(own.inner_high)):
            sheet.line((x, x), (upper + 3.5, lower - 3.5), INK, END_PT, zorder=3)
    inside = np.asarray(own.inside, dtype=float).ravel()
    inside = inside[np.isfinite(inside)]
    if inside.size:
        xs = [place(float(value)) for value in inside]
        draw_marks(sheet.ground, xs, [top + 26.5] * len(xs), NEUTRAL, scale=0.68, label=_INSIDE)


def _draw_words(sheet: Sheet, row: _Row, top: float, left: float) -> None:
    own = row.finding
    sign = -1 if own.estimate < 0 else 1
    draw_glyph(sheet, left + 14.0, top + 7.0, own.verdict, sign)
    x = left + _GLYPH
    sheet.text(x, top + 10.5, own.verdict, size=TITLE_PT, bold=True)
    for number, line in enumerate((*row.estimate, *row.limits)):
        first = number < len(row.estimate)
        sheet.text(
            x, top + 21.5 + 11.0 * number, line, size=VALUE_PT if first else SMALL_PT,
            colour=INK if first else PENCIL,
        )  # fmt: skip


def _key_entries(findings: Sequence[Finding]) -> list[Entry]:
    entries = []
    margins = {own.margin for own in findings if own.margin is not None}
    if margins:
        first = next(own for own in findings if own.margin is not None)
        sign = "±" if first.scale != "log" else "of "
        words = (
            f"margin {sign}{margin_words(first)}"
            if len(margins) == 1
            else "margin of each comparison"
        )
        entries.append(Entry(words, 24.0, _draw_zone))
    if any(np.asarray(own.inside).size for own in findings):
        entries.append(Entry("difference inside one furnace load", 5.0, _draw_dot))
    return entries


def _draw_zone(sheet: Sheet, left: float, middle: float) -> None:
    sheet.box(left, middle - 5, 24.0, 10.0, face=CALM, zorder=0.2)
    for x in (left, left + 24.0):
        sheet.line((x, x), (middle - 5, middle + 5), CALM_EDGE, 1.2, linestyle=(0.0, (1.4, 1.6)))


def _draw_dot(sheet: Sheet, left: float, middle: float) -> None:
    draw_marks(sheet.ground, [left + 2.5], [middle], NEUTRAL, scale=0.68)


# --- words -------------------------------------------------------------------------------------

_COUNTED: Final = {
    "exceeds": ("exceeds its margin", "exceed their margin"),
    "differs": ("differs", "differ"),
    "slight": ("is slight", "are slight"),
    "equivalent": ("is equivalent", "are equivalent"),
    "undecided": ("is undecided", "are undecided"),
}


def _title(own: Finding) -> str:
    return (
        f"{own.label} against {own.against.removeprefix('against ')}" if own.against else own.label
    )


def _with_limits(own: Finding) -> str:
    printed = own.printed if own.scale != "log" else Printed()
    return printed.with_limits(estimate_text(own), shown_limits(own))


def _finding(findings: Sequence[Finding]) -> str:
    if len(findings) == 1:
        own = findings[0]
        return f"{capital(_title(own))}: {own.verdict}, {_with_limits(own)}."
    parts = []
    for verdict in ORDER:
        count = sum(own.verdict == verdict for own in findings)
        if count:
            words = _COUNTED[verdict][0 if count == 1 else 1]
            parts.append(f"{wording.count_words(count)} {words}")
    return f"Of {wording.count_words(len(findings))} comparisons {listed(parts)}."


def _reading(findings: Sequence[Finding]) -> str:
    levels = {own.confidence for own in findings}
    level = f"{wording.percent_text(min(levels))} " if len(levels) == 1 else ""
    text = f"Thick line: estimate; band: its {level}interval."
    if inner := [own for own in findings if own.verdict in INNER_VERDICTS]:
        short = interval_words(2 * inner[0].confidence - 1)
        text += f" Short inner strokes: the {short}, which decides slight and equivalent."
    if any(own.margin is not None for own in findings):
        text += " Pale field, dotted edges: differences too small to matter"
        declared = all(getattr(own, "declared", False) for own in findings)
        text += ", fixed when the plan was made." if declared else "."
    if any(np.asarray(own.inside).size for own in findings):
        text += " Hollow dots: the same difference inside single furnace loads."
    return text


def _notes(findings: Sequence[Finding], left_out: int) -> tuple[str, ...]:
    notes: list[str] = []
    if late := [_title(own) for own in findings if getattr(own, "change", "")]:
        notes.append(f"Exploratory, not declared as it stands: {listed(late)}.")
    for own in findings:
        if not getattr(own, "asks", ""):  # answers about curves have a figure of their own
            notes += [note for note in getattr(own, "notes", ()) if note not in notes]
    mixes = [note for note in notes if note.startswith("Over an even mix")]
    if len(mixes) > 1:  # one line for all, not a line for each
        notes = [note for note in notes if note not in mixes]
        notes.append("Each is taken over an even mix of the factors it does not name.")
    for own in findings:
        if own.verdict == "undecided" and (remedy := getattr(own, "remedy", "")):
            notes.append(f"{capital(_title(own))}: {remedy}")
    if left_out:
        notes.append(f"{capital(wording.counted(left_out, 'test'))} of whole terms not drawn.")
    return tuple(notes)


def _alt(findings: Sequence[Finding], quantity: str, finding: str) -> str:
    subject = (
        f"Difference in {quantity or 'the response'}"
        f"{' against its margin' if any(own.margin is not None for own in findings) else ''} for "
        f"{wording.count_words(len(findings))} comparison{'s' if len(findings) > 1 else ''}"
    )
    details = "; ".join(f"{_title(own)} {_with_limits(own)}" for own in findings)
    unsettled = [_title(own) for own in findings if own.verdict == "undecided"]
    return wording.alt_text(
        subject, finding if len(findings) == 1 else f"{finding} {capital(details)}",
        f"Undecided: {listed(unsettled)}" if unsettled else "",
    )  # fmt: skip


def _data(findings: Sequence[Finding]) -> pd.DataFrame:
    names = (
        "key",
        "label",
        "against",
        "verdict",
        "estimate",
        "conf_low",
        "conf_high",
        "inner_low",
        "inner_high",
        "margin",
        "unit",
        "scale",
    )
    return pd.DataFrame([{name: getattr(own, name) for name in names} for own in findings])
