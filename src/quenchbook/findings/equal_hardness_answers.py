"""Answers at equal hardness: the total effect first, then the difference at the same hardness."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from quenchbook.errors import EstimabilityError
from quenchbook.findings.equal_hardness_words import (
    AT_EQUAL_HARDNESS,
    TWO_ENDED,
    assumed_words,
    equal_hardness_sentence,
    number_notes,
    refusal_words,
    total_words,
)
from quenchbook.findings.level_words import study_of
from quenchbook.findings.statements import (
    comparison_title,
    estimate_text,
    interval_words,
    limits_text,
    p_text,
    what_would_decide,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, verdict_of
from quenchbook.fit.equal_hardness import (
    EqualHardness,
    equal_hardness_contrast,
)
from quenchbook.fit.hardness_notes import NOT_TOTAL, level_word
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.temper_line import Estimate
from quenchbook.study.definition import Study
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import listed, number_text, with_unit


def equal_hardness_answer(
    models: Mapping[str, MixedModel], question: TradeQuestion
) -> Finding | TradeFinding:
    """Answer a question at equal hardness.

    Parameters
    ----------
    models : mapping of response to MixedModel
        With one of hardness.
    question : TradeQuestion
        With `along`, the temper, and two levels of `factor`.

    Returns
    -------
    Finding or TradeFinding
        A difference with its margin; where the temper lines are not parallel, an answer that names
        the difference at both ends of the common range.

    Raises
    ------
    EstimabilityError
        Where there is no answer: with the total effect and the reason.
    """
    response = models[question.response]
    study = study_of(response)
    hardness, others = _hardness_model(models, study, question.response)
    compare = {question.factor: (question.level, question.against)}
    confidence = study.question_confidence
    try:
        result = equal_hardness_contrast(
            response, hardness, compare=compare, along=question.along, confidence=confidence
        )
    except EstimabilityError as error:
        words = refusal_words(response, hardness, question, study)
        raise EstimabilityError(
            f"{words} {error}{assumed_words(response, hardness, question)}"
        ) from None
    own = equal_hardness_finding(result, study)
    notes = own.notes
    if others:
        notes = (
            f"Equal hardness is that by {hardness.response}, the first in the study file; "
            f"{listed(others)} {'was' if len(others) == 1 else 'were'} measured too.",
            *notes,
        )
    named = replace(own, key=question.key, question=question.words, notes=notes)
    return named if result.one_number or result.ends.empty else _two_ended(named, result)


def equal_hardness_finding(result: EqualHardness, study: Study) -> Finding:
    """Judge the difference at equal hardness against the margin of the response.

    Parameters
    ----------
    result : EqualHardness
    study : Study

    Returns
    -------
    Finding
    """
    from scipy import special

    model = result.pairs.response
    response = study.response(model.response)
    margin = study.equivalence_margin(model.response)
    on_scale = math.log1p(margin) if margin is not None and model.scale == "log" else margin
    own = _numbers(result, result.adjusted, study)
    adjusted = result.adjusted
    if math.isnan(own.std_error) or math.isnan(own.conf_low):
        raise EstimabilityError(_no_test(result, study))
    p_value = math.nan
    if not adjusted.howe:
        p_value = float(2 * special.stdtr(own.df, -abs(own.estimate / own.std_error)))
    own = replace(
        own,
        verdict=verdict_of(own.conf_low, own.conf_high, own.inner_low, own.inner_high, on_scale),
        margin=on_scale,
        p_value=p_value,
    )
    total = replace(_numbers(result, result.total, study), margin=on_scale)
    tough = response.kind == "impact" and model.scale == "log"
    return replace(
        own,
        sentence=equal_hardness_sentence(own, total, tough=tough),
        remedy=_remedy(own, result),
    )


def _hardness_model(
    models: Mapping[str, MixedModel], study: Study, response: str
) -> tuple[MixedModel, list[str]]:
    """Model of the first hardness, and the names of the others."""
    names = [n for n in models if study.response(n).kind == "hardness" and n != response]
    if not names:
        raise EstimabilityError("There are no readings of hardness to compare at.")
    return models[names[0]], names[1:]


def _numbers(result: EqualHardness, own: Estimate, study: Study) -> Finding:
    """Finding with the numbers of one estimate."""
    model = result.pairs.response
    low, high = own.limits(result.confidence)
    half = own.half(result.confidence)
    against = level_word(model, result.factor, result.against, alone=False)
    units = dict.fromkeys(unit for key in own.parts for unit in key.split(" + "))
    return Finding(
        key=f"{result.level} - {result.against}",
        label=level_word(model, result.factor, result.level),
        against=f"{against}{AT_EQUAL_HARDNESS}",
        response=model.response,
        quantity=study.response(model.response).quantity,
        unit=model.unit,
        scale=model.scale,
        verdict="undecided",
        estimate=own.estimate,
        std_error=own.std_error,
        df=own.df,
        conf_low=low,
        conf_high=high,
        inner_low=own.estimate - half,
        inner_high=own.estimate + half,
        margin=None,
        p_value=math.nan,
        strata=tuple(model.unit_word(unit) for unit in units),
        confidence=result.confidence,
        notes=(*number_notes(result, study), *(n for n in result.notes if n != NOT_TOTAL)),
        asks="equal_hardness",
        result=result,
        units=study.publishing.units,
    )


def _no_test(result: EqualHardness, study: Study) -> str:
    """Why the difference has no interval, and which units would give it one."""
    model, factor = result.pairs.response, study.factor(result.factor)
    parts = (*result.adjusted.parts, *result.total.parts)
    units = dict.fromkeys(unit for key in parts for unit in key.split(" + "))
    spare = {str(stage.unit): stage.df for stage in model.strata.stages}
    spent = [unit for unit in units if not spare.get(unit, 0) > 0] or list(units)
    if factor.set_for in spent:
        one, many = (study.unit_word(factor.set_for, count) for count in (1, 2))
        return (
            f"No test is possible: each {factor.title} came from one {one}. More {many} of each "
            f"{factor.title} make it possible."
        )
    words = " or ".join(model.unit_word(unit) for unit in spent)
    return f"No test is possible: there is no spare {words} to judge by."


def _remedy(own: Finding, result: EqualHardness) -> str:
    """For an undecided answer: where most of its noise comes from."""
    if own.verdict != "undecided":
        return ""
    slope = result.hardness_difference.estimate**2 * result.slope.variance
    if slope <= result.adjusted.variance / 2:
        return what_would_decide(own)
    batch = result.pairs.response.unit_word(next(iter(result.slope.parts)), 2)
    return (
        f"Most of its noise is that of the temper line: tempers further apart, or more {batch}, "
        "tell more than further coupons."
    )


def _parallel_p(result: EqualHardness) -> str:
    """Say the p value of the check: `` (p .031)``."""
    found = [check.p_value for check in result.checks if check.check == "parallel"]
    return f" ({p_text(found[0])})" if found else ""


def _two_ended(own: Finding, result: EqualHardness) -> TradeFinding:
    """Answer where the temper lines did not pass as parallel: both ends, and no single number.

    The check stays at 5 % whatever the confidence of the questions, so its outcome is a reason to
    give no number and not a claim that the lines differ.
    """
    model = result.pairs.response
    total = result.total
    parts, estimates, limits = [], [], []
    for row in result.ends.to_dict("records"):
        at = with_unit(number_text(float(row["hardness"]), 1), result.pairs.hardness.unit)
        end = replace(
            own,
            estimate=row["estimate"],
            std_error=row["std_error"],
            conf_low=row["conf_low"],
            conf_high=row["conf_high"],
        )
        parts.append(f"{estimate_text(end)} at {at} ({limits_text(end)})")
        estimates.append(f"{estimate_text(end)} at {at}")
        limits.append(limits_text(end))
    whole = replace(
        own,
        estimate=total.estimate,
        std_error=total.std_error,
        conf_low=total.limits(own.confidence)[0],
        conf_high=total.limits(own.confidence)[1],
    )
    sentence = (
        f"{total_words(own, whole)}; at the same hardness no single number is given, because the "
        f"temper lines did not pass as parallel{_parallel_p(result)}: {listed(parts)}, each with "
        f"its {interval_words(own.confidence)}. {NOT_TOTAL}"
    )
    return TradeFinding(
        key=own.key,
        question=own.question,
        response=own.response,
        quantity=own.quantity,
        asks="equal_hardness",
        label=comparison_title(own),
        verdict="undecided",
        outcome=TWO_ENDED,
        unit="%" if model.scale == "log" else model.unit,
        estimate=math.nan,
        conf_low=math.nan,
        conf_high=math.nan,
        confidence=own.confidence,
        df=math.nan,
        strata=own.strata,
        estimate_words="; ".join(estimates),
        limits_words="; ".join(limits),
        sentence=sentence,
        margin=own.margin,
        notes=own.notes,
        result=result,
    )
