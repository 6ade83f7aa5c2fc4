"""Sentences at equal hardness: the total effect first, and what the second number is not."""

from __future__ import annotations

from typing import Final

from quenchbook.findings.statements import (
    df_text,
    estimate_text,
    interval_words,
    limits_text,
    margin_words,
    percent_size,
    percent_text,
)
from quenchbook.findings.verdicts import Finding
from quenchbook.fit.equal_hardness import EqualHardness
from quenchbook.fit.hardness_effects import assumed_slopes, total_effects, why_no_line
from quenchbook.fit.hardness_notes import NOT_TOTAL, level_word
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.temper_line import Estimate
from quenchbook.study.definition import Study
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import NO_BREAK, capital, listed, number_text, with_unit

AT_EQUAL_HARDNESS: Final = ", at equal hardness"
"""What tells the label of an answer from that of the total effect."""

TWO_ENDED: Final = "no single number"
"""Outcome where the temper lines did not pass as parallel: two intervals, at both ends."""

ASSUMED_SLOPES: Final = (-0.05, -0.1, -0.2)
"""Slopes of the logarithm for 1 HRC, shown where there is no line: assumptions, no source."""

_REAL: Final = ("exceeds", "differs", "slight")


def equal_hardness_sentence(own: Finding, total: Finding, *, tough: bool) -> str:
    """The total effect, then the difference at the same hardness, and what the second is not.

    Parameters
    ----------
    own, total : Finding
        At equal hardness, and in total.
    tough : bool
        Whether a real difference may be called tougher or less tough.
    """
    outer = f"{interval_words(own.confidence)} {limits_text(own)}"
    inner = f"{interval_words(2 * own.confidence - 1)} {limits_text(own, inner=True)}"
    what = estimate_text(own)
    if tough and own.verdict in _REAL:
        what = tougher_words(own.estimate)
    margin = f"the margin of {margin_words(own)}"
    head = f"{total_words(own, total)}; at the same hardness"
    if own.verdict == "exceeds":
        text = f"{head} {what} ({outer}), more than {margin}."
    elif own.verdict == "differs" and own.margin is None:
        text = f"{head} {what} ({outer}), a real difference; no margin was declared."
    elif own.verdict == "differs":
        text = (
            f"{head} {what} ({outer}), a real difference; whether it is more than {margin} is not "
            "settled."
        )
    elif own.verdict == "slight":
        text = f"{head} {what} ({outer}; {inner}), a real difference, smaller than {margin}."
    elif own.verdict == "equivalent":
        text = f"{head} {what} ({inner}): any difference is smaller than {margin}."
    else:
        told = f"; margin {margin_words(own)}" if own.margin is not None else ""
        text = f"{head} {what} ({outer}{told}): neither a difference nor its absence was shown."
    return f"{text} {NOT_TOTAL}"


def total_words(own: Finding, total: Finding) -> str:
    """The total effect, for the start of a sentence."""
    title = f"{own.label} against {own.against.removesuffix(AT_EQUAL_HARDNESS)}"
    level = interval_words(own.confidence)
    return (
        f"{capital(title)}: {own.quantity} {estimate_text(total)} in total ({level} "
        f"{limits_text(total)})"
    )


def tougher_words(log_ratio: float) -> str:
    """Say how much tougher: ``11 % tougher``, ``8.0 % less tough``."""
    word = "tougher" if log_ratio > 0 else "less tough"
    return f"{percent_size(log_ratio)}{NO_BREAK}% {word}"


def number_notes(result: EqualHardness, study: Study) -> tuple[str, ...]:
    """Difference in hardness, slope, common range and sensitivity lines, in print."""
    response, hardness = result.pairs.response, result.pairs.hardness
    confidence, unit = result.confidence, hardness.unit
    quantity = study.response(hardness.response).quantity
    slope = signed_words(result.slope, response, confidence)
    batches = response.unit_word(next(iter(result.slope.parts)), 2)
    low, high = (number_text(x, 1) for x in result.common_range)
    at = with_unit(number_text(result.at, 1), unit)
    difference = signed_words(result.hardness_difference, hardness, confidence)
    notes = [
        f"{capital(quantity)} {difference}; slope of the temper line {slope} for each "
        f"{unit or 'unit'}, {df_text(result.slope.df)} df of {batches}.",
        f"Compared at {at}; both reached {low} to {with_unit(high, unit)} by the means of each "
        "temper.",
    ]
    lines = [
        f"{row['line']} {_plain(row['estimate'], response)}"
        for row in result.sensitivity.to_dict("records")
    ]
    if lines:
        notes.append(f"Sensitivity only: {'; '.join(lines)}.")
    return tuple(notes)


def refusal_words(
    response: MixedModel, hardness: MixedModel, question: TradeQuestion, study: Study
) -> str:
    """Total effect and difference in hardness, where nothing can be said at equal hardness."""
    compare = {question.factor: (question.level, question.against)}
    total, difference = total_effects(response, hardness, compare=compare)
    quantity = study.response(question.response).quantity
    title = _title(response, question.factor, question.level, question.against)
    confidence = study.question_confidence
    hard = study.response(hardness.response).quantity
    parts = [
        f"{quantity} {signed_words(total, response, confidence)} in total",
        f"{hard} {signed_words(difference, hardness, confidence)}",
    ]
    return f"{capital(title)}: {', '.join(parts)}. Nothing at equal hardness:"


def assumed_words(response: MixedModel, hardness: MixedModel, question: TradeQuestion) -> str:
    """Answer for stated slopes, where the plan leaves no line and the response is a ratio."""
    compare = {question.factor: (question.level, question.against)}
    if response.scale != "log" or not why_no_line(
        response, hardness, compare=compare, along=question.along
    ):
        return ""
    table = assumed_slopes(response, hardness, compare=compare, slopes=ASSUMED_SLOPES)
    each = hardness.unit or "unit of hardness"
    parts = [
        f"{percent_text(row['slope'])} for each {each} would make it "
        f"{percent_text(row['estimate'])} ({percent_text(row['conf_low'])} to "
        f"{percent_text(row['conf_high'])})"
        for row in table.to_dict("records")
    ]
    return f" Assumption, not measured: a slope of {listed(parts)}."


def signed_words(own: Estimate, model: MixedModel, confidence: float) -> str:
    """Estimate with its interval, in per cent on the log scale."""
    low, high = own.limits(confidence)
    level = interval_words(confidence)
    if model.scale == "log":
        limits = f"{percent_text(low)} to {percent_text(high)}"
        return f"{percent_text(own.estimate)} ({level} {limits})"
    printed = model.printed
    estimate = printed.difference(own.estimate, std_error=own.std_error, sign=True)
    limits = printed.limits(low, high, std_error=own.std_error, sign=True)
    return f"{estimate} ({level} {limits})"


def _title(model: MixedModel, factor: str, level: float | str, against: float | str) -> str:
    second = level_word(model, factor, against, alone=False)
    return f"{level_word(model, factor, level)} against {second}"


def _plain(estimate: float, model: MixedModel) -> str:
    if model.scale == "log":
        return percent_text(estimate)
    return model.printed.difference(estimate, 2, sign=True)
