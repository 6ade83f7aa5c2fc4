"""Words for a half-loss time: both ends of its interval, open ends said as open."""

from __future__ import annotations

import math
from dataclasses import dataclass
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

_NOTHING: Final = {
    "no gain shown": "no gain was shown",
    "gain inside the margin": "no gain that matters",
}
"""In place of limits where there may be nothing to lose, by outcome."""


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


def half_loss_words(own: HalfLoss, what: str, quantity: str) -> HalfLossWords:
    """Texts of a half-loss time.

    Parameters
    ----------
    own : HalfLoss
    what : str
        ``liquid nitrogen over no cold step``.
    quantity : str
        Of the response: ``hardness``.
    """
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
    nothing = _nothing_to_lose(own, what, quantity)
    if nothing:
        outcome = "gain inside the margin" if own.gain_shown else "no gain shown"
        sentence = f"{nothing} If there is one to lose: {sentence[:1].lower()}{sentence[1:]}"
    counted = f" {' '.join(own.delays.notes)}" if own.delays.are_longer else ""
    shape_free = f" Without assuming a shape: {_stepwise(own)}."
    return HalfLossWords(
        outcome=outcome,
        estimate="" if nothing else best or f"beyond {span}",
        limits=_NOTHING[outcome] if nothing else limits,
        sentence=f"{sentence}.{shape_free}{counted}",
        remedy="" if nothing else _remedy(own, beyond),
    )


def _nothing_to_lose(own: HalfLoss, what: str, quantity: str) -> str:
    """Say that no gain was shown, or none that matters; empty where there is one to lose."""
    from quenchbook.fit.inversion import t_limit

    first = own.gains.iloc[0]
    estimate, error = float(first["estimate"]), float(first["std_error"])
    low, high = float(first["conf_low"]), float(first["conf_high"])
    after = f"after {duration_text(own.shortest)}, the shortest {own.delays.factor.title}"
    ratio, unit = own.model.scale == "log", own.model.unit
    units = own.model.printed.units
    said = change_text(estimate, error, is_ratio=ratio, unit=unit, units=units)
    limits = change_limits(low, high, error, is_ratio=ratio, unit=unit, units=units)
    numbers = f"{said}, {interval_words(own.confidence)} {limits}"
    if not own.gain_shown:
        return (
            f"No gain in {quantity} of {what} was shown {after} ({numbers}), so there may be "
            "nothing of which half can be lost."
        )
    margin = own.model.study.equivalence_margin(own.model.response) if own.model.study else None
    if margin is None:
        return ""
    half = float(t_limit(own.df, 2 * own.confidence - 1)) * error
    if estimate + half >= (math.log1p(margin) if ratio else margin):
        return ""
    inner = change_limits(
        estimate - half, estimate + half, error, is_ratio=ratio, unit=unit, units=units
    )
    shown = (
        f"{percent_text(math.log1p(margin), sign=False)} either way"
        if ratio
        else own.model.printed.told(margin)
    )
    return (
        f"The gain in {quantity} of {what} {after} is smaller than the margin of {shown} "
        f"({numbers}; {interval_words(2 * own.confidence - 1)} {inner}), so there is no gain that "
        "matters of which half can be lost."
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
    if not own.gain_shown or (own.has_lower and own.has_upper):
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
