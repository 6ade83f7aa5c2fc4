"""Answers about delays: what ten times as long does, and when half of a gain is lost."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from quenchbook.findings.half_loss_words import (
    NO_GAIN_SHOWN,
    NO_GAIN_TO_LOSE,
    half_loss_words,
)
from quenchbook.findings.level_words import study_of
from quenchbook.findings.statements import (
    comparison_sentence,
    estimate_text,
    interval_words,
    limits_text,
    margin_words,
    no_test_words,
    percent_size,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, Verdict, finding
from quenchbook.fit.delay import DecadeChange, decade_change
from quenchbook.fit.half_loss import half_loss_time
from quenchbook.fit.mixed import MixedModel
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import NO_BREAK, capital


def per_decade_answer(models: Mapping[str, MixedModel], question: TradeQuestion) -> Finding:
    """Answer what ten times as long a delay does.

    The change for each decade is judged against the margin of the response.

    Parameters
    ----------
    models : mapping of response to MixedModel
    question : TradeQuestion
        ``asks = "per_decade"`` with ``along``; maybe ``at`` or ``change``.

    Returns
    -------
    Finding
    """
    model = models[question.response]
    study = study_of(model)
    result = decade_change(
        model,
        question.along,
        at=question.at,
        change=question.change,
        confidence=study.question_confidence,
    )
    own = finding(
        result.contrast,
        margin=study.equivalence_margin(question.response),
        key=question.key,
        label=_label(result, study),
    )
    sentence = (
        comparison_sentence(own, _label(result, study))
        if question.change
        else decade_sentence(own, result.delays.factor, _where(result, study))
    )
    if result.by_line:
        sentence += (
            f" No {result.delays.factor.title} has a spare {' or '.join(own.strata)}: it is judged "
            "by how far they lie from a straight line."
        )
    return replace(
        own, question=question.words, asks="per_decade", result=result, sentence=sentence
    )


def decade_sentence(own: Finding, factor: Factor, where: str) -> str:
    """Say what each tenfold delay does, and no more than the verdict.

    Parameters
    ----------
    own : Finding
    factor : Factor
        The delay.
    where : str
        ``with dry ice``; empty for an average over routes.
    """
    head = f"Each tenfold {factor.title}" + (f" {where}" if where else "")
    if math.isnan(own.std_error):
        return f"{head}: {no_test_words(own)}."
    margin = f"the margin of {margin_words(own)}"
    verb = "costs" if own.estimate < 0 else "adds"
    outer = f"{interval_words(own.confidence)} {_turned_limits(own)}"
    inner_level = 2 * own.confidence - 1
    inner = f"{interval_words(inner_level)} {_turned_limits(own, inner=True)}"
    plain = f"{head} {verb} {_amount(own)}"
    if own.scale == "log":
        plain += f" of {own.quantity}"
    if own.verdict == "exceeds":
        return f"{plain} ({outer}), more than {margin}."
    if own.verdict == "differs" and own.margin is None:
        return f"{plain} ({outer}), a real change; no margin was declared."
    if own.verdict == "differs":
        return f"{plain} ({outer}), a real change; whether it is more than {margin} is not settled."
    if own.verdict == "slight":
        return f"{plain} ({outer}; {inner}), a real change, smaller than {margin}."
    signed = f"{head}: {own.quantity} {estimate_text(own)}"
    if own.verdict == "equivalent":
        level = f"{interval_words(inner_level)} {limits_text(own, inner=True)}"
        return f"{signed} ({level}): any change is smaller than {margin}."
    told = f"; margin {margin_words(own)}" if own.margin is not None else ""
    limits = f"{interval_words(own.confidence)} {limits_text(own)}"
    return f"{signed} ({limits}{told}): neither a change nor its absence was shown."


def _amount(own: Finding) -> str:
    """Size of the change without its sign: the verb tells it."""
    if own.scale == "log":
        return f"{percent_size(own.estimate)}{NO_BREAK}%"
    return own.printed.difference(abs(own.estimate), std_error=own.std_error)


def _turned_limits(own: Finding, *, inner: bool = False) -> str:
    """Limits of the size of a change that is shown: both of the sign of the estimate."""
    low, high = (own.inner_low, own.inner_high) if inner else (own.conf_low, own.conf_high)
    if own.estimate < 0:
        low, high = high, low
    if own.scale == "log":
        return f"{percent_size(low)} to {percent_size(high)}{NO_BREAK}%"
    return own.printed.limits(abs(low), abs(high), std_error=own.std_error)


def half_loss_answer(models: Mapping[str, MixedModel], question: TradeQuestion) -> TradeFinding:
    """Answer how long it takes until half of a gain is lost.

    Without a gain at the shortest delay there is nothing to lose, whatever a line through the
    means would say. A gain that is excluded, or shown to be smaller than the margin, gives
    ``no gain to lose`` and no limits (nan); one that is neither shown nor excluded
    ``no gain shown`` and open limits. The times that the data allow stand in the sentence.

    Parameters
    ----------
    models : mapping of response to MixedModel
    question : TradeQuestion
        ``asks = "half_loss"`` with ``along`` and ``compare``.

    Returns
    -------
    TradeFinding
    """
    model = models[question.response]
    study = study_of(model)
    result = half_loss_time(
        model,
        question.along,
        factor=question.factor,
        level=question.level,
        against=question.against,
        confidence=study.question_confidence,
    )
    factor = study.factor(question.factor)
    what = f"{factor.word(question.level)} over {factor.word(question.against)}"
    words = half_loss_words(
        result,
        what,
        study.response(question.response).quantity,
        study.equivalence_margin(question.response),
    )
    verdict: Verdict = "differs" if words.outcome == "inside the tested delays" else "undecided"
    # A lower limit past the longest delay would lean on the shape; what was tried is what is said.
    low = min(result.conf_low, result.longest) if result.has_lower else -math.inf
    high = result.conf_high if result.has_upper else math.inf
    estimate = result.estimate if math.isfinite(result.estimate) else math.nan
    if words.outcome == NO_GAIN_SHOWN:
        estimate, low, high = math.nan, -math.inf, math.inf
    if words.outcome == NO_GAIN_TO_LOSE:
        verdict, estimate, low, high = "equivalent", math.nan, math.nan, math.nan
    return TradeFinding(
        key=question.key,
        question=question.words,
        response=model.response,
        quantity=study.response(model.response).quantity,
        asks="half_loss",
        label=f"half of the gain of {what} is lost",
        verdict=verdict,
        outcome=words.outcome,
        unit="minutes",
        estimate=estimate,
        conf_low=low,
        conf_high=high,
        confidence=result.confidence,
        df=result.df,
        strata=(model.unit_word(result.stratum),),
        estimate_words=words.estimate,
        limits_words=words.limits,
        sentence=words.sentence,
        remedy=words.remedy,
        notes=tuple(note for note in result.notes if note not in words.sentence),
        result=result,
    )


def _label(result: DecadeChange, study: Study) -> str:
    title = f"change for each tenfold {result.delays.factor.title}"
    where = _where(result, study)
    if not result.change:
        return f"{title} {where}" if where else title
    (name, (first, second)), *_ = result.change.items()
    factor = study.factor(name)
    pair = f"{factor.word(first)} compared with {factor.word(second)}"
    return capital(f"{title}{f' {where}' if where else ''}, {pair}")


def _where(result: DecadeChange, study: Study) -> str:
    """``with dry ice at 1030 °C``; empty where nothing was held."""
    parts = []
    for name, level in result.at.items():
        factor = study.factor(name)
        joint = "with" if isinstance(level, str) else f"at {factor.title}"
        parts.append(f"{joint} {factor.word(level)}")
    return ", ".join(parts)
