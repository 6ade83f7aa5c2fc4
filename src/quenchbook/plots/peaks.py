"""Response curves with their peaks and working windows, from the findings about them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from quenchbook.errors import EstimabilityError
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.peak_strip import PeakMark
from quenchbook.units import with_unit

if TYPE_CHECKING:
    from quenchbook.fit.fitted_curve import FittedCurve
    from quenchbook.fit.peaks import PeakPlace
    from quenchbook.fit.working_window import WorkingWindow
    from quenchbook.study.factors import Level


def figure_peaks(findings: Sequence[Any]) -> Drawing:
    """Draw the curves of one response with the peaks and working windows that were asked for.

    Parameters
    ----------
    findings : sequence of TradeFinding
        Of the kinds ``peak`` and ``working_window``, along one factor. Those of a curve at more
        than one named level, or along another factor, are left out and it is said.

    Returns
    -------
    Drawing
    """
    from quenchbook.fit.curves import response_curves
    from quenchbook.fit.peaks import PeakPlace, place_of_curve

    known = [own for own in findings if getattr(own.result, "curve", None) is not None]
    if not known:
        raise EstimabilityError("There is no finding about a peak to draw.")
    along = Counter(own.result.curve.along for own in known).most_common(1)[0][0]
    groups = Counter(
        next(iter(own.result.curve.at)) for own in known
        if own.result.curve.along == along and len(own.result.curve.at) == 1
    )  # fmt: skip
    group = groups.most_common(1)[0][0] if groups else None
    wanted = (group,) if group else ()
    marks: dict[Level | None, PeakMark] = {}
    left = 0
    for own in known:
        curve = own.result.curve
        if curve.along != along or tuple(curve.at) != wanted:
            left += 1
            continue
        level = curve.at[group] if group else None
        is_peak = isinstance(own.result, PeakPlace)
        place = own.result if is_peak else place_of_curve(curve)
        mark = marks.get(level) or peak_mark(place)
        marks[level] = mark if is_peak else _with_window(mark, own.result)
    model = known[0].result.curve.model
    curves = response_curves(model, along, group)
    drawing = figure_response_curves(curves, marks)
    if left:
        text = f"{left} more finding{'s' if left > 1 else ''} about a peak not drawn here."
        drawing = replace(drawing, notes=(*drawing.notes, text))
    return drawing


def peak_mark(place: PeakPlace) -> PeakMark:
    """What a strip shows of a peak."""
    curve = place.curve
    return PeakMark(
        _words(place), place.estimate, place.conf_low, place.conf_high, curve.low, curve.high
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


def _end(curve: FittedCurve, value: float, opened: str) -> str:
    if math.isinf(value):
        return opened
    return f"{value:.0f}" if curve.half >= 5 else f"{value:.2f}"


def _with_window(mark: PeakMark, window: WorkingWindow) -> PeakMark:
    model = window.curve.model
    unit = model.unit if model is not None else ""
    return replace(
        mark,
        within=with_unit(f"{window.within:g}", unit),
        certain=window.certain,
        possible=window.possible,
    )
