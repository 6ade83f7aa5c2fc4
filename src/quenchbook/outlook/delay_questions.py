"""What a plan can tell of declared questions about a delay: each decade, and half of a gain."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.delay_rows import decade_row
from quenchbook.fit.effective_delays import effective_delays
from quenchbook.outlook.delay import delay_outlook
from quenchbook.outlook.power import PlannedContrast
from quenchbook.outlook.prepared import planned_precision_of, prepared
from quenchbook.outlook.wording import chance_text, size_text, times_in
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Noise, Response, Study
from quenchbook.study.duration_words import duration_text
from quenchbook.study.terms import Array, Terms
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import capital, listed, number_text

_GAIN_MARGINS: Final = 3.0  # the one gain that a line of the plan guesses at, in margins
_FOUND: Final = 0.8
_TOUCHED: Final = 1e-12


def decade_prospect(
    matrix: CouponMatrix, question: TradeQuestion, noise: Noise | None
) -> tuple[Mapping[str, float], str]:
    """Expected interval, detectable change and chance of showing equivalence.

    Parameters
    ----------
    matrix : CouponMatrix
    question : TradeQuestion
        ``per_decade``.
    noise : Noise, optional

    Returns
    -------
    numbers : mapping
        ``half_width, detectable_difference, equivalence_power``, on the analysed scale.
    sentence : str

    Raises
    ------
    EstimabilityError
        If the plan cannot tell it.
    """
    study = matrix.study
    response = study.response(question.response)
    delays = effective_delays(study, question.along)
    strata = prepared(matrix).strata[response.name]
    title = delays.factor.title
    if question.along not in strata.terms.names or strata.terms.variable(question.along).degree:
        raise EstimabilityError(
            strata.dropped.get(question.along) or f"Plan {title} as levels, not as a curve."
        )
    row = change_row(study, strata.terms, question)
    precision, _ = planned_precision_of(matrix, response.name, noise)
    planned = precision.contrast(row)
    if planned is None:
        raise EstimabilityError(
            f"no unit is spare to judge {title} by; two cold batches or more at each {title} "
            "would be."
        )
    return _contrast_words(study, response, planned, f"tenfold {title}")


def change_row(study: Study, terms: Terms, question: TradeQuestion) -> Array:
    """Weights of the coefficients in the change for each decade that is asked for.

    Parameters
    ----------
    study : Study
    terms : Terms
    question : TradeQuestion
        ``per_decade``.

    Returns
    -------
    ndarray, shape (coefficients,)

    Raises
    ------
    EstimabilityError
        If the terms do not hold what is asked.
    """
    delays = effective_delays(study, question.along)
    if question.change:
        (name, (first, second)), *_ = question.change.items()
        row = decade_row(terms, delays, {**question.at, name: first})
        row = row - decade_row(terms, delays, {**question.at, name: second})
    else:
        row = decade_row(terms, delays, question.at)
    if not np.any(np.abs(row) > _TOUCHED):
        names = [question.along, *question.change]
        words = " by ".join(study.factor(name).title for name in names)
        raise EstimabilityError(f"{capital(words)} is not part of the analysis of this response.")
    return np.asarray(row)


def _contrast_words(
    study: Study, response: Response, planned: PlannedContrast, what: str
) -> tuple[Mapping[str, float], str]:
    confidence = study.question_confidence
    half = planned.half_width(confidence)
    found = planned.detectable_difference(_FOUND, confidence=confidence)
    parts = [
        f"each {what}: expected interval ±{size_text(response, half)}",
        f"a change of {size_text(response, found)} is found {times_in(_FOUND)}",
    ]
    numbers = {"half_width": half, "detectable_difference": found}
    margin = response.equivalence_margin
    if margin is None:
        parts.append("no margin is declared, so equivalence cannot be shown")
    else:
        limit = math.log1p(margin) if response.scale == "log" else margin
        chance = planned.equivalence_power(limit, confidence=confidence)
        numbers["equivalence_power"] = chance
        shown = f"less than {size_text(response, limit)} is shown {times_in(chance)}"
        parts.append(f"if there is no change, {shown}")
    units = listed([study.unit_word(unit, 2) for unit in planned.strata])
    parts.append(f"judged on {units} ({number_text(planned.df, 0)} df)")
    return numbers, capital("; ".join(parts)) + "."


def half_loss_prospect(
    matrix: CouponMatrix, question: TradeQuestion, noise: Noise | None
) -> tuple[Mapping[str, float], str]:
    """Chance of an upper limit of a half-loss time, for one guessed gain and two guessed times.

    The gain and the times are assumptions and the sentence says so; `delay_outlook` takes others.

    Parameters
    ----------
    matrix : CouponMatrix
    question : TradeQuestion
        ``half_loss``.
    noise : Noise, optional

    Returns
    -------
    numbers : mapping
        Empty: a chance belongs to its guess.
    sentence : str

    Raises
    ------
    EstimabilityError
        If the plan cannot tell it.
    """
    study = matrix.study
    response = study.response(question.response)
    margin = response.equivalence_margin
    if margin is None:
        raise EstimabilityError(
            f"{response.quantity} has no margin to guess a gain by. Write equivalence_margin, or "
            "call delay_outlook with gains."
        )
    unit = math.log1p(margin) if response.scale == "log" else margin
    own = delay_outlook(
        matrix, response.name, level=question.level, against=question.against,
        along=question.along, factor=question.factor, gains=[_GAIN_MARGINS * unit], noise=noise,
    )  # fmt: skip
    if own.why_not:
        raise EstimabilityError(own.why_not)
    times = []
    for minutes in dict.fromkeys(own.table["half_loss_minutes"]):
        rows = own.table[own.table["half_loss_minutes"] == minutes].set_index("fall")
        even, sudden = (float(rows.loc[fall, "upper_limit"]) for fall in ("steady", "sudden"))
        times.append(
            f"after {duration_text(float(minutes))}, in {chance_text(even)} (even fall) or "
            f"{chance_text(sudden)} (sudden fall)"
        )
    longest = duration_text(max(own.delays.of(own.level)))
    gain = size_text(response, _GAIN_MARGINS * unit)
    sentence = (
        f"An upper limit within the tested {longest} comes out, if half of a gain of {gain} is "
        f"lost {', and '.join(times)} of such studies (gain and times assumed)."
    )
    return {}, sentence
