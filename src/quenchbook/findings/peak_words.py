"""Sentences about peaks, shifts and windows: both ends of an interval, open ends in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from quenchbook.both_units import Printed
from quenchbook.findings.statements import confidence_words, interval_words, p_text
from quenchbook.fit.fitted_curve import CHECKABLE, FittedCurve
from quenchbook.fit.inversion import Piece
from quenchbook.fit.peak_height import PeakHeight
from quenchbook.fit.peak_shift import REACH, PeakShift
from quenchbook.fit.peaks import PeakPlace
from quenchbook.fit.target_window import TargetWindow
from quenchbook.fit.working_window import WorkingWindow
from quenchbook.study.factors import plural
from quenchbook.units import capital, listed

OUTCOME_WORDS: Final = {"inside": "inside the range"}

_ROUND_TO: Final = 5.0  # settings that are suggested


def range_words(curve: FittedCurve) -> str:
    """Tested range: ``940 °C to 1060 °C``."""
    return f"{curve.place_word(curve.low)} to {curve.place_word(curve.high)}"


def limits_words(curve: FittedCurve, low: float, high: float) -> str:
    """Interval of a place; open ends in words."""
    if math.isnan(low):
        return "no peak"
    if math.isinf(low) and math.isinf(high):
        return "no limits inside the range"
    if math.isinf(high):
        return f"{curve.place_word(low)} or higher"
    if math.isinf(low):
        return f"{curve.place_word(high)} or lower"
    return curve.range_word(low, high)


def judged_on(curve: FittedCurve) -> str:
    """``7 spare furnace loads``."""
    return f"{curve.unit_df} spare {curve.unit_word}"


def peak_estimate_words(place: PeakPlace) -> str:
    """Estimate in print; outside the range only the side is told.

    Where the set reaches into the range, the side is that of the estimate only, and said so.
    """
    curve = place.curve
    head = "" if place.is_outside else "estimate "
    if place.outcome == "still rising":
        return f"{head}above {curve.place_word(curve.high)}"
    if place.outcome == "falling throughout":
        return f"{head}below {curve.place_word(curve.low)}"
    return curve.place_word(place.estimate) if not math.isnan(place.estimate) else "not told"


def peak_sentence(place: PeakPlace, who: str, quantity: str) -> str:
    """Say where the peak is.

    Parameters
    ----------
    place : PeakPlace
    who : str
        Whose curve: ``dry ice``; empty for the average curve.
    quantity : str
    """
    curve = place.curve
    head = f"{capital(who)}: " if who else ""
    tested = f"the tested {range_words(curve)}"
    level = interval_words(curve.confidence)
    judged = f" (judged on {judged_on(curve)})."
    closed = math.isfinite(place.conf_low) and math.isfinite(place.conf_high)
    if place.outcome == "inside" and closed:
        limits = curve.range_word(place.conf_low, place.conf_high)
        at = curve.place_word(place.estimate)
        return capital(f"{head}peak at {at}, {level} {limits}{judged}")
    if place.outcome in ("still rising", "falling throughout"):
        rises = place.outcome == "still rising"
        what = (
            f"{quantity} still rises at {curve.place_word(curve.high)}" if rises
            else f"{quantity} falls from {curve.place_word(curve.low)} on"
        )  # fmt: skip
        shown = f"{p_text(place.p_rising if rises else place.p_falling)}, one-sided"
        if place.is_outside:
            return capital(f"{head}no peak inside {range_words(curve)}: {what} ({shown}){judged}")
        # one-sided tests of slopes (5 % at 95 %): the two-sided interval may reach farther in
        limits = limits_words(curve, place.conf_low, place.conf_high)
        limits = (
            f"peak at {limits}"
            if any(map(math.isfinite, (place.conf_low, place.conf_high)))
            else "the peak was not located"
        )
        return capital(f"{head}{what} ({shown}); {limits} ({level}){judged}")
    if place.outcome == "low point":
        return capital(f"{head}the fitted curve has a low point, not a peak{judged}")
    if math.isinf(place.conf_low) and math.isinf(place.conf_high):
        if place.outcome == "inside" or place.is_bent:
            return capital(
                f"{head}the curve bends down, but its peak was not located inside {tested}{judged}"
            )
        return capital(
            f"{head}peak not located: a flat curve cannot be excluded with these "
            f"{curve.unit_word}{judged} This does not mean that there is no peak."
        )
    side = "upper" if math.isinf(place.conf_high) else "lower"
    words = limits_words(curve, place.conf_low, place.conf_high)
    text = f"{head}peak at {words} ({level}); the data set no {side} limit inside {tested}"
    if place.outcome == "inside":
        text += (
            f", though each end of the range lies below a peak inside it "
            f"({p_text(place.p_inside)}, one-sided)"
        )
    return capital(text + judged)


def peak_remedy(place: PeakPlace) -> str:
    """Settings that would locate the peak; empty where it is located."""
    curve = place.curve
    if math.isfinite(place.conf_low) and math.isfinite(place.conf_high):
        return ""
    step = 2 * curve.half / max(curve.settings - 1, 1)
    step = max(_ROUND_TO, round(step / _ROUND_TO) * _ROUND_TO) if curve.half >= _ROUND_TO else step
    above, below = (curve.place_word(end) for end in (curve.high + step, curve.low - step))
    units = curve.unit_word
    if place.outcome == "low point":
        return f"Look at the single {units}: a low point is not expected."
    if math.isinf(place.conf_low) and math.isinf(place.conf_high):
        return (
            f"More {units}, some of them farther out (such as {below} and {above}), would show "
            "whether and where it bends."
        )
    where = above if math.isinf(place.conf_high) else below
    return f"{capital(units)} farther out, such as at {where}, would set the missing limit."


def height_words(height: PeakHeight, quantity: str, printed: Printed, *, log: bool) -> str:
    """``Highest hardness inside the range: 63.2 HRC, 62.9 to 63.6.``."""
    values = [height.estimate, height.conf_low, height.conf_high]
    if not all(map(math.isfinite, values)):
        return f"The highest {quantity} cannot be told."
    if log:
        values = [math.exp(value) for value in values]
    std_error = (values[2] - values[1]) / 4
    value = printed.difference(values[0], std_error=std_error)
    limits = printed.limits(values[1], values[2], std_error=std_error)
    wide = " (the wider limits, since no bend is established)" if height.is_wide else ""
    return f"Highest {quantity} inside the range: {value}, {limits}{wide}."


def cubic_words(place: PeakPlace) -> str:
    """What a common cubic says, as a second curve; empty without one."""
    own = place.cubic
    if own is None:
        return ""
    outcome = OUTCOME_WORDS.get(own.outcome, own.outcome)
    limits = limits_words(own.curve, own.conf_low, own.conf_high)
    return (
        f"With a common cubic part as second curve: {peak_estimate_words(own)}, {limits} "
        f"({outcome}; {judged_on(own.curve)})."
    )


def shape_note(curve: FittedCurve) -> str:
    """Say that few settings cannot check the quadratic; empty for enough."""
    if curve.settings >= CHECKABLE:
        return ""
    return (
        f"{curve.settings} settings: whether the curve is a quadratic cannot be checked, and the "
        "answer depends on it."
    )


# --- shifts ------------------------------------------------------------------------------------


def shift_text(curve: FittedCurve, value: float, *, sign: bool = True) -> str:
    """Difference along the factor in print: ``+28 °C``."""
    return _printed(curve).difference(value, 0 if curve.half >= 5 else 2, sign=sign)


def _printed(curve: FittedCurve) -> Printed:
    return curve.factor.printed if curve.factor is not None else Printed()


def shift_limits(curve: FittedCurve, low: float, high: float) -> str:
    """Interval of a shift; open ends in words."""
    if math.isnan(low):
        return "no shift fits"
    if math.isinf(low) and math.isinf(high):
        return "no limits"
    if math.isinf(high):
        return f"at least {shift_text(curve, low)}; no upper limit"
    if math.isinf(low):
        return f"at most {shift_text(curve, high)}; no lower limit"
    return _printed(curve).difference_range(low, high, 0 if curve.half >= 5 else 2, sign=True)


def shift_sentence(
    shift: PeakShift, level: str, against: str, *, curves: bool, margin: float | None, verdict: str
) -> str:
    """Say how far a peak or a curve moves.

    Parameters
    ----------
    shift : PeakShift
    level, against : str
        In print.
    curves : bool
        Whether the shift of the whole curve is asked: how much more it needs.
    margin : float or None
    verdict : str
    """
    curve = shift.curve
    interval = interval_words(curve.confidence)
    low, high = shift.conf_low, shift.conf_high
    limits = shift_limits(curve, low, high)
    what = (
        f"{level} behaves as {against} moved along {_along(curve)}" if curves
        else f"peak of {level} against {against}"
    )  # fmt: skip
    away = low > 0 or high < 0
    if math.isnan(low) or (math.isinf(low) and math.isinf(high)):
        why = (
            f"no shift of up to {REACH:g} ranges can be told from another" if shift.is_bent
            else "no bend down, common to both, is established"
        )  # fmt: skip
        return capital(
            f"{what}: how far cannot be told, because {why} (judged on {judged_on(curve)})."
        )
    told = f"; margin {shift_text(curve, margin, sign=False)}" if margin is not None else ""
    if not away:
        return capital(
            f"{what}: no shift was shown ({interval} {limits}{told})"
            + (", and any shift is smaller than the margin." if verdict == "equivalent" else ".")
        )
    way = "up" if low > 0 else "down"
    if math.isinf(high if low > 0 else low):
        least = shift_text(curve, abs(low if low > 0 else high), sign=False)
        side = "upper" if low > 0 else "lower"
        words = f"{what}: moves {way} by at least {least} ({interval}; no {side} limit{told})"
    elif math.isnan(shift.estimate):
        words = f"{what}: moves {way} ({interval} {limits}{told})"
    else:
        words = (
            f"{what}: {shift_text(curve, shift.estimate)} ({interval} {limits}{told}), a real shift"
        )
    ends = {
        "exceeds": ", more than the margin.",
        "slight": ", smaller than the margin.",
        "differs": (
            "; no margin was declared." if margin is None
            else "; whether it is more than the margin is not settled."
        ),
    }  # fmt: skip
    return capital(words + ends.get(verdict, "."))


def _along(curve: FittedCurve) -> str:
    return curve.factor.title if curve.factor is not None else curve.along


def free_shift_words(shift: PeakShift) -> str:
    """The shift without one curvature for all: it always stands beside the other."""
    curve = shift.curve
    free = shift_limits(curve, shift.free_low, shift.free_high)
    estimate = (
        f"{shift_text(curve, shift.free_estimate)}, "
        if not math.isnan(shift.free_estimate) else ""
    )  # fmt: skip
    return (
        "This takes one curvature for all, any difference in height; with own curvatures (timid "
        f"where curves are flat): {estimate}{free}."
    )


def shift_notes(shift: PeakShift, level: str, against: str) -> list[str]:
    """What stands below a shift: the rule without any curvature, and where the noise comes from."""
    curve = shift.curve
    notes = []
    if shift.order:
        word = "not below" if shift.order > 0 else "not above"
        notes.append(
            f"Whatever the curvatures: the best setting of {level} inside the range is {word} that "
            f"of {against}."
        )
    if not shift.inside_loads:
        notes.append(
            f"{capital(level)} and {against} were not together in the same {curve.unit_word}, so "
            f"the noise of {curve.unit_word} is in this shift. Put both into every one."
        )
    return notes


# --- windows -----------------------------------------------------------------------------------


def stretch_words(curve: FittedCurve, stretches: Sequence[Piece]) -> str:
    """Stretches of the range: ``972 to 1010 °C``."""
    return listed([curve.range_word(first, last) for first, last in stretches])


def hull_words(curve: FittedCurve, piece: Piece) -> str:
    """What is possible; where it reaches an end of the range, it may go on beyond."""
    low, high = piece
    if math.isnan(low):
        return "nowhere inside the range"
    words = curve.range_word(low, high)
    edge = 1e-6 * curve.half
    beyond = []
    if low <= curve.low + edge:
        beyond.append("below")
    if high >= curve.high - edge:
        beyond.append("above")
    return f"{words} and perhaps {' and '.join(beyond)}" if beyond else words


def window_sentence(
    window: WorkingWindow, who: str, quantity: str, printed: Printed, confidence: float
) -> str:
    """Say where the response is within a difference of its peak; confidence of both ends."""
    curve = window.curve
    head = f"{capital(who)}: " if who else ""
    near = f"within {printed.told(window.within)} of the peak {quantity}"
    level = f"{confidence_words(confidence)} confidence for both ends"
    possible = hull_words(curve, window.not_excluded)
    judged = f"judged on {judged_on(curve)}"
    if math.isnan(window.not_excluded[0]):
        return capital(f"{head}no setting inside {range_words(curve)} is {near} ({judged}).")
    if not window.certain:
        return capital(
            f"{head}no setting is certainly {near}; possible is {possible} ({level}, {judged})."
        )
    certain = stretch_words(curve, window.certain)
    return capital(
        f"{head}{near} certainly from {certain}, possibly from {possible} ({level}, {judged})."
    )


def target_sentence(
    window: TargetWindow, who: str, quantity: str, printed: Printed, coupon: str, confidence: float
) -> str:
    """Say where coupons reach a value; confidence of the whole statement."""
    curve = window.curve
    head = f"{capital(who)}: " if who else ""
    share = f"{window.share:.0%}".replace("%", "\u00a0%")
    aim = f"{quantity} of {printed.told(window.target)}"
    what = f"{share} of new {plural(coupon)} reach a {aim}"
    sure = f"{confidence_words(confidence)} confidence for all of it, {judged_on(curve)}"
    if math.isnan(window.not_excluded[0]):
        return capital(f"{head}at no setting inside {range_words(curve)} do {what} ({sure}).")
    possible = hull_words(curve, window.not_excluded)
    if not window.certain:
        return capital(
            f"{head}at no setting is it certain that {what}; possible is {possible} ({sure})."
        )
    certain = stretch_words(curve, window.certain)
    return capital(f"{head}{what} certainly from {certain}, possibly from {possible} ({sure}).")
