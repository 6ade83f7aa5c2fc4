"""Response curves with their peaks, windows and shifts, from the findings about them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from quenchbook.both_units import Printed, Scale
from quenchbook.errors import EstimabilityError
from quenchbook.findings.peak_words import limits_words
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.peak_strip import PeakMark
from quenchbook.plots.shift_strip import ShiftMark
from quenchbook.units import unit_text, with_unit

if TYPE_CHECKING:
    from quenchbook.fit.fitted_curve import FittedCurve
    from quenchbook.fit.peaks import PeakPlace
    from quenchbook.study.factors import Level


def figure_peaks(findings: Sequence[Any]) -> Drawing:
    """Draw the curves of one response with the peaks, windows and shifts that were asked for.

    Parameters
    ----------
    findings : sequence of TradeFinding
        Of the kinds ``peak``, ``working_window``, ``target_window``, ``peak_shift`` and
        ``curve_shift``, along one factor. Those of a curve at more than one named level, or along
        another factor, are left out and it is said.

    Returns
    -------
    Drawing
    """
    from quenchbook.fit.curves import response_curves
    from quenchbook.fit.peak_shift import PeakShift
    from quenchbook.fit.peaks import PeakPlace, peak_place, place_of_curve

    known = [own for own in findings if getattr(own.result, "curve", None) is not None]
    if not known:
        raise EstimabilityError("There is no finding about a peak to draw.")
    along = Counter(own.result.curve.along for own in known).most_common(1)[0][0]
    groups = Counter(
        name for own in known if own.result.curve.along == along
        and (name := _group_of(own.result)) and len(own.result.curve.at) <= 1
    )  # fmt: skip
    group = groups.most_common(1)[0][0] if groups else None
    wanted = (group,) if group else ()
    marks: dict[Level | None, PeakMark] = {}
    shifts: list[ShiftMark] = []
    left = 0
    for own in known:
        curve = own.result.curve
        if curve.along == along and isinstance(own.result, PeakShift):
            if own.result.factor == group:
                shifts.append(_shift_mark(own))
                continue
        elif curve.along == along and tuple(curve.at) == wanted:
            level = curve.at[group] if group else None
            is_peak = isinstance(own.result, PeakPlace)
            mark = peak_mark(own.result) if is_peak else marks.get(level)
            mark = mark or peak_mark(place_of_curve(curve))
            marks[level] = _with_windows(mark, own.result, marks.get(level))
            continue
        left += 1
    model = known[0].result.curve.model
    for own in known:
        if isinstance(own.result, PeakShift) and own.result.factor == group:
            for level in (own.result.level, own.result.against):
                if level not in marks:
                    at = {group: level}
                    confidence = own.result.curve.confidence
                    marks[level] = peak_mark(peak_place(model, along, at=at, confidence=confidence))
    curves = response_curves(model, along, group)
    drawing = figure_response_curves(curves, marks, shifts)
    if left:
        text = f"{left} more finding{'s' if left > 1 else ''} about a peak not drawn here."
        drawing = replace(drawing, notes=(*drawing.notes, text))
    return drawing


def _group_of(result: Any) -> str:
    """Factor whose levels have curves of their own; empty for one curve of the whole study."""
    return getattr(result, "factor", "") or next(iter(result.curve.at), "")


def _shift_mark(own: Any) -> ShiftMark:
    curve = own.result.curve
    printed = curve.factor.printed if curve.factor is not None else Printed()
    words = printed.with_limits(own.estimate_words, own.limits_words)
    return ShiftMark(
        own.label, words, own.verdict, own.estimate, own.conf_low, own.conf_high, own.margin,
        curve.high - curve.low,
    )  # fmt: skip


def peak_mark(place: PeakPlace) -> PeakMark:
    """What a strip shows of a peak."""
    curve = place.curve
    other = curve.factor.printed.other if curve.factor is not None else None
    words, told = _words(place), ""
    if other is not None and words.startswith("peak "):
        words, told = _two_lines(place, other)
    return PeakMark(
        words, place.estimate, place.conf_low, place.conf_high, curve.low, curve.high, told=told
    )


def _words(place: PeakPlace) -> str:
    """``peak 1000 °C (991 to 1019)``; an open end as ``>1030``."""
    curve = place.curve
    if place.outcome == "still rising":
        return f"still rising at {curve.place_word(curve.high)}"
    if place.outcome == "falling throughout":
        return f"falling from {curve.place_word(curve.low)} on"
    if place.outcome == "low point":
        return "a low point, no peak"
    if math.isinf(place.conf_low) and math.isinf(place.conf_high):
        return "peak not located"
    low = _end(curve, place.conf_low, f"<{curve.low:g}")
    high = _end(curve, place.conf_high, f">{curve.high:g}")
    if math.isnan(place.estimate):
        return f"peak {low} to {high}"
    return f"peak {curve.place_word(place.estimate)} ({low} to {high})"


def _two_lines(place: PeakPlace, other: Scale) -> tuple[str, str]:
    """A line for each unit where the peak has limits, and both in one for a caption."""
    curve = place.curve
    if math.isinf(place.conf_low) and math.isinf(place.conf_high):
        return "peak not located", ""
    decimals = 0 if curve.half >= 5 else 2
    estimate, conf_low, conf_high = (
        round(value, decimals) if math.isfinite(value) else value
        for value in (place.estimate, place.conf_low, place.conf_high)
    )
    lines = []
    for own in (Scale(unit_text(curve.factor.unit if curve.factor is not None else "")), other):
        low = _end(curve, own.place(conf_low), f"<{own.place(curve.low):.0f}")
        high = _end(curve, own.place(conf_high), f">{own.place(curve.high):.0f}")
        if math.isnan(place.estimate):
            lines.append(with_unit(f"{low} to {high}", own.unit))
        else:
            at = _end(curve, own.place(estimate), "")
            lines.append(f"{with_unit(at, own.unit)} ({low} to {high})")
    limits = limits_words(curve, place.conf_low, place.conf_high)
    at = "" if math.isnan(place.estimate) else f"{curve.place_word(place.estimate)}, "
    return f"peak {lines[0]}\n{lines[1]}", f"peak at {at}{limits}"


def _end(curve: FittedCurve, value: float, opened: str) -> str:
    if math.isinf(value):
        return opened
    return f"{value:.0f}" if curve.half >= 5 else f"{value:.2f}"


def _with_windows(mark: PeakMark, result: Any, before: PeakMark | None) -> PeakMark:
    """Mark with what was known before, and the window of this result if it is one."""
    from quenchbook.fit.target_window import TargetWindow
    from quenchbook.fit.working_window import WorkingWindow

    if before is not None:
        mark = replace(before, words=mark.words, estimate=mark.estimate, low=mark.low,
                       high=mark.high, told=mark.told)  # fmt: skip
    model = result.curve.model
    printed = model.printed if model is not None else Printed()
    if isinstance(result, WorkingWindow):
        return replace(
            mark,
            within=printed.told(result.within),
            certain=result.certain,
            possible=result.possible,
        )
    if isinstance(result, TargetWindow):
        return replace(
            mark,
            target=printed.told(result.target),
            target_certain=result.certain,
            target_possible=result.possible,
        )
    return mark
