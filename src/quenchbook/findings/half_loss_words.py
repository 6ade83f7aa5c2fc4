"""Words for a half-loss time: both ends of its interval, open ends said as open."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from quenchbook.findings.statements import (
    change_limits,
    change_text,
    interval_words,
    percent_text,
)
from quenchbook.study.duration_words import duration_text
from quenchbook.study.factors import plural

if TYPE_CHECKING:
    from quenchbook.fit.half_loss import HalfLoss

NO_GAIN_SHOWN: Final = "no gain shown"
"""Outcome where a gain is neither shown nor excluded: when half of it is lost cannot be told."""

NO_GAIN_TO_LOSE: Final = "no gain to lose"
"""Outcome where a gain as large as the margin is excluded."""


@dataclass(frozen=True)
class HalfLossWords:
    """Texts of one answer.

    Attributes
    ----------
    outcome : str
        The outcome in a few words.
    estimate, limits : str
        Estimate and interval, open ends in words.
    sentence, remedy : str
    """

    outcome: str
    estimate: str
    limits: str
    sentence: str
    remedy: str


def half_loss_words(
    own: HalfLoss, what: str, quantity: str, margin: float | None = None
) -> HalfLossWords:
    """Texts of a half-loss time: first whether there is a gain to lose, then when.

    Parameters
    ----------
    own : HalfLoss
    what : str
        ``liquid nitrogen over no cold step``.
    quantity : str
        Of the response: ``hardness``.
    margin : float, optional
        Equivalence margin of the response, as declared.
    """
    found = _time_words(own, what, quantity)
    counted = f" {' '.join(own.delays.notes)}" if own.delays.are_longer else ""
    outcome = gain_outcome(own, margin)
    if not outcome:
        return replace(found, sentence=f"{found.sentence}{counted}")
    gain = f"gain in {quantity} of {what}"
    here = f"after {duration_text(own.shortest)}, the shortest {own.delays.factor.title}"
    allowed = f"the data allow ({interval_words(own.confidence)}): {found.limits}."
    if outcome == NO_GAIN_SHOWN:
        sentence = (
            f"No {gain} was shown {here} ({_gain_text(own)}), so it is not known that there is one "
            f"to lose. Half of it is not defined unless there is; if there is, {allowed}"
        )
        remedy = f"More {plural(own.model.unit_word('furnace_load'))} can tell whether there is."
        return HalfLossWords(outcome, "", found.limits, sentence + counted, remedy)
    if margin is None or float(own.gains["conf_high"].iloc[0]) < 0:
        sentence = (
            f"There is no {gain} to lose: {here}, {quantity} changes by {_gain_text(own)}: a loss."
        )
    else:
        sentence = (
            f"There is no {gain} to lose that matters: {here}, {quantity} changes by "
            f"{_gain_text(own, inner=True)}: less than the margin of {_margin_text(own, margin)}. "
            f"For half of a smaller gain {allowed}"
        )
    return HalfLossWords(outcome, outcome, "", sentence + counted, "")


def gain_outcome(own: HalfLoss, margin: float | None = None) -> str:
    """Outcome of a half-loss time without a gain to lose; empty where one is shown.

    Parameters
    ----------
    own : HalfLoss
    margin : float, optional
        Equivalence margin of the response, as declared. With it a gain must not be smaller; that
        is judged as `slight` and `equivalent` are, on the inner interval.

    Returns
    -------
    str
        `NO_GAIN_TO_LOSE`, `NO_GAIN_SHOWN` or empty.
    """
    first = own.gains.iloc[0]
    if margin is not None and _inner_limits(own)[1] < _on_scale(own, margin):
        return NO_GAIN_TO_LOSE
    if float(first["conf_high"]) < 0:
        return NO_GAIN_TO_LOSE
    return "" if own.gain_shown else NO_GAIN_SHOWN


def _on_scale(own: HalfLoss, margin: float) -> float:
    return math.log1p(margin) if own.model.scale == "log" else margin


def _inner_limits(own: HalfLoss) -> tuple[float, float]:
    """Interval of the two one-sided tests of the gain at the shortest delay."""
    from quenchbook.fit.inversion import t_limit

    first = own.gains.iloc[0]
    half = float(t_limit(own.df, 2 * own.confidence - 1)) * float(first["std_error"])
    return float(first["estimate"]) - half, float(first["estimate"]) + half


def _gain_text(own: HalfLoss, *, inner: bool = False) -> str:
    """Change at the shortest delay with its interval: ``+0.17 HRC (90 % interval ...)``."""
    first, model = own.gains.iloc[0], own.model
    std_error, is_ratio = float(first["std_error"]), model.scale == "log"
    low, high = (
        _inner_limits(own) if inner else (float(first["conf_low"]), float(first["conf_high"]))
    )
    level = interval_words(2 * own.confidence - 1 if inner else own.confidence)
    units = model.printed.units
    size = change_text(
        float(first["estimate"]), std_error, is_ratio=is_ratio, unit=model.unit, units=units
    )
    limits = change_limits(low, high, std_error, is_ratio=is_ratio, unit=model.unit, units=units)
    return f"{size}, {level} {limits}"


def _margin_text(own: HalfLoss, margin: float) -> str:
    if own.model.scale == "log":
        return percent_text(math.log1p(margin), sign=False)
    return own.model.printed.told(margin)


def _time_words(own: HalfLoss, what: str, quantity: str) -> HalfLossWords:
    """Texts of the time, where there is a gain."""
    span, level = duration_text(own.longest), interval_words(own.confidence)
    shortest = duration_text(own.shortest)
    low = duration_text(min(own.conf_low, own.longest)) if own.has_lower else ""
    beyond = own.conf_low >= own.longest
    high = duration_text(own.conf_high) if own.has_upper else ""
    best = duration_text(own.estimate) if math.isfinite(own.estimate) else ""
    gain = f"the gain in {quantity} of {what}"
    never = math.isinf(own.conf_high)
    open_end = (
        f"no upper limit within the tested {span}"
        if never
        else f"longer than {span}, the longest that was run, is not excluded"
    )
    if own.has_lower and own.has_upper:
        outcome, limits = "inside the tested delays", f"{low} to {high}"
        sentence = f"Half of {gain} is lost after {limits} ({level}; estimate {best})"
    elif own.has_upper:
        outcome, limits = "no lower limit", f"{high} or less; may be shorter than {shortest}"
        sentence = (
            f"Half of {gain} is lost after {high} at the latest ({level}); it may be shorter "
            f"than {shortest}, the shortest that was run"
        )
    elif own.has_lower:
        outcome = "no upper limit" if never else "upper limit not reached"
        limits = f"{low} or longer; " + ("no upper limit" if never else f"beyond {span} possible")
        after = f"more than {low}, the longest that was run," if beyond else f"{low} or longer"
        sentence = f"Half of {gain} is lost after {after} ({level}); {open_end}"
        if beyond:
            sentence = (
                f"Half of {gain} is not yet lost after {low}, the longest that was run ({level})"
            )
    else:
        outcome, limits = "not located", f"may be shorter than {shortest}; {open_end}"
        sentence = (
            f"The data do not tell when half of {gain} is lost ({level}): it may be shorter than "
            f"{shortest}, and {'there is ' if never else ''}{open_end}"
        )
    shape_free = f" Without assuming a shape: {_stepwise(own)}."
    return HalfLossWords(
        outcome=outcome,
        estimate=best or f"beyond {span}",
        limits=limits,
        sentence=f"{sentence}.{shape_free}",
        remedy=_remedy(own, beyond),
    )


def _stepwise(own: HalfLoss) -> str:
    """The bounds that only need a gain that never rises."""
    low, high = own.step_low > 0, math.isfinite(own.step_high)
    if low and high:
        return f"between {duration_text(own.step_low)} and {duration_text(own.step_high)}"
    if low:
        return f"later than {duration_text(own.step_low)}, no upper limit"
    if high:
        return f"before {duration_text(own.step_high)}, no lower limit"
    return "no limit on either side"


def _remedy(own: HalfLoss, beyond: bool) -> str:
    """What a further study would need where an end is open."""
    if own.has_lower and own.has_upper:
        return ""
    units = plural(own.model.unit_word("furnace_load"))
    delay = own.delays.factor.title
    if beyond:
        return f"Only longer {plural(delay)} can tell more."
    parts = []
    if not own.has_upper:
        parts.append(f"longer {plural(delay)}")
    if not own.has_lower:
        parts.append(f"shorter {plural(delay)}")
    return f"More {units}, or {' and '.join(parts)}, can close it."
