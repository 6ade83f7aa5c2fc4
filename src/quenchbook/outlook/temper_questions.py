"""What a plan can tell of declared questions about tempers: a wanted value, equal hardness."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError, PlanError
from quenchbook.fit.hardness_cells import check_tempers
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.outlook.equal_hardness_width import (
    TemperPlan,
    ToughnessNoise,
    equal_hardness_outlook,
)
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.noise import assumed_noise, completed_noise
from quenchbook.outlook.prepared import planned_precision_of, prepared
from quenchbook.outlook.wording import size_text
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Noise, Response
from quenchbook.study.factors import plural
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import capital, number_text, with_unit

_FALL_MARGINS: Final = 2.0  # guess of how far the outer tempers lie apart, in margins
C_PER_HRC: Final = 40.0
"""Temper [degC] that costs 1 HRC in a low temper: assumed, common practice, no source."""
SLOPE_PER_HRC: Final = -0.12
"""Change of the logarithm of toughness for 1 HRC: assumed, common practice, no source."""
BETWEEN_ARMS: Final = 1.0
"""Difference in hardness between the two levels [HRC]: assumed."""
_LEAST_COUPONS: Final = 0.75  # of each level in a batch; with fewer the formula does not hold


def temper_prospect(
    matrix: CouponMatrix, question: TradeQuestion, noise: Noise | None
) -> tuple[Mapping[str, float], str]:
    """Half width of the mean at one temper, and roughly that of the place.

    Parameters
    ----------
    matrix : CouponMatrix
    question : TradeQuestion
        ``temper_for``.
    noise : Noise, optional

    Returns
    -------
    numbers : mapping
        ``half_width`` of the place [storage unit of the temper], where a margin lets one guess.
    sentence : str

    Raises
    ------
    EstimabilityError
        If the plan has one temper, or no spare unit.
    """
    study = matrix.study
    response, factor = study.response(question.response), study.factor(question.along)
    strata = prepared(matrix).strata[response.name]
    levels = sorted(float(level) for level in factor.levels)
    if len(levels) < 2:
        raise EstimabilityError(f"there is one {factor.title} only. Plan two or more.")
    if factor.name not in strata.terms.names:
        why = strata.dropped.get(factor.name, "it is not analysed")
        raise EstimabilityError(f"{factor.title}: {why}.")
    held = {name: (level,) for name, level in question.at.items()}
    rows, _ = mean_rows(strata.terms, [factor.name], {**held, factor.name: levels})
    precision, _ = planned_precision_of(matrix, response.name, noise)
    planned = [own for row in rows if (own := precision.contrast(np.asarray(row))) is not None]
    if len(planned) < len(rows):
        raise EstimabilityError(
            f"no unit is spare to judge a mean by; two batches and two "
            f"{study.unit_word('furnace_load', 2)} for each setting would be."
        )
    half = max(own.half_width(study.question_confidence) for own in planned)
    told = f"The mean at one {factor.title} is told within ±{size_text(response, half)}"
    margin = response.equivalence_margin
    if margin is None:
        return {}, f"{told}; no margin is declared to guess by how wide the place will be."
    unit = math.log1p(margin) if response.scale == "log" else margin
    fall = _FALL_MARGINS * unit
    span = levels[-1] - levels[0]
    place = half / fall * span
    pieces = f"if the outer {plural(factor.title)} differ by {size_text(response, fall)} (assumed)"
    if 2 * place >= span:
        words = f"the interval of the place is about as wide as all that is tried or wider {pieces}"
        return {"half_width": place}, f"{told}; {words}, so an end of it may not come out."
    shown = with_unit(number_text(place, 0 if place >= 10 else 1), f"delta_{factor.unit}")
    return {"half_width": place}, f"{told}; the place roughly within ±{shown} {pieces}."


def equal_hardness_prospect(
    matrix: CouponMatrix, question: TradeQuestion, noises: Mapping[str, Noise]
) -> tuple[Mapping[str, float], str]:
    """Expected interval at equal hardness, at stated assumptions; or why the plan refuses it.

    Parameters
    ----------
    matrix : CouponMatrix
    question : TradeQuestion
        ``equal_hardness``.
    noises : mapping of response to Noise
        What is measured; the rest is of the study file, or assumed.

    Returns
    -------
    numbers : mapping
        ``half_width`` on the log scale.
    sentence : str

    Raises
    ------
    EstimabilityError
        If the plan leaves no answer, or the formula does not hold for it.
    """
    study = matrix.study
    response, factor = study.response(question.response), study.factor(question.along)
    hard = [own for own in study.responses if own.kind == "hardness" and own is not response]
    if not hard:
        raise EstimabilityError("no hardness is measured to compare at.")
    if response.scale != "log" or hard[0].unit != "HRC" or factor.dimension != "temperature":
        raise EstimabilityError(
            'the width is known only for a response with scale = "log" against HRC, along a temper '
            "temperature. Call equal_hardness_outlook with numbers of your own."
        )
    plan = _temper_plan(matrix, question, response, hard[0])
    noise = _toughness_noise(matrix, response, hard[0], noises)
    try:
        own = equal_hardness_outlook(
            plan, noise, difference=BETWEEN_ARMS, confidence=study.question_confidence
        )
    except PlanError as error:
        raise EstimabilityError(str(error)) from None
    upward = number_text(100 * math.expm1(own.width / 2), 0)
    fall = number_text(-100 * math.expm1(SLOPE_PER_HRC), 0)
    sentence = (
        f"Expected interval of the ratio roughly +{with_unit(upward, '%')} upward from the "
        f"estimate, {with_unit(number_text(100 * own.line_share, 0), '%')} of its variance from "
        f"the temper line. Assumed: {with_unit(f'{C_PER_HRC:g}', 'delta_degC')} of {factor.title} "
        f"cost {with_unit('1', 'HRC')}, {with_unit('1', 'HRC')} takes "
        f"{with_unit(fall, '%')} of {response.quantity}, the two differ by "
        f"{with_unit(f'{BETWEEN_ARMS:g}', 'HRC')}."
    )
    return {"half_width": own.width / 2}, " ".join([sentence, *own.notes])


def _temper_plan(
    matrix: CouponMatrix, question: TradeQuestion, response: Response, hard: Response
) -> TemperPlan:
    """Batches and coupons of the plan as the formula wants them: evenly spread."""
    study = matrix.study
    factor, compared = study.factor(question.along), study.factor(question.factor)
    frame = tested_coupons(matrix, response.name)
    both = tested_coupons(matrix, hard.name)["coupon"]
    frame = frame[frame["coupon"].isin(both)]
    arms = (question.level, question.against)
    words = [compared.word(arm) for arm in arms]
    tempers, levels = frame[factor.column].tolist(), frame[compared.column].tolist()
    check_tempers(tempers, levels, arms, words)
    count = frame[factor.column].nunique()
    strata = prepared(matrix).strata[response.name]
    if factor.name not in strata.term_stage:
        why = strata.dropped.get(factor.name, "it is not analysed")
        raise EstimabilityError(f"no temper line: {factor.title}: {why}.")
    unit = strata.term_stage[factor.name]
    if not strata.stage(unit).df:
        raise EstimabilityError(
            f"no {study.unit_word(unit)} is spare to judge the temper line by. More of them are "
            "needed, tested for both."
        )
    held = [unit] if unit in frame and unit != "coupon" else ["furnace_load", factor.column]
    batches = frame[held].drop_duplicates().shape[0]
    each = sum(level in arms for level in levels) / 2 / batches
    if each < _LEAST_COUPONS:
        names = " and ".join(words)
        raise EstimabilityError(
            f"{capital(names)} do not lie together in every batch, and the expected width is known "
            "only for plans where they do."
        )
    span = float(frame[factor.column].max() - frame[factor.column].min())
    return TemperPlan(
        loads=max(1, round(batches / count)),
        tempers=count,
        coupons=max(1, round(each)),
        step=span / (count - 1) / C_PER_HRC,
        routes=len(set(levels)),
    )


def _toughness_noise(
    matrix: CouponMatrix, response: Response, hard: Response, noises: Mapping[str, Noise]
) -> ToughnessNoise:
    study = matrix.study
    tough, hardness = (
        completed_noise(noises[own.name], study, own.name)
        if own.name in noises
        else assumed_noise(study, own.name)
        for own in (response, hard)
    )
    return ToughnessNoise(
        cv=math.sqrt(math.expm1(tough.sds.get("coupon", 0.0) ** 2)),
        line_slope=SLOPE_PER_HRC,
        scatter_slope=SLOPE_PER_HRC,
        coupon_sd=hardness.sds.get("coupon", 0.0),
        indent_sd=hardness.sds.get("indent", 0.0),
        indents=hard.readings,
        batch_sd=tough.sds.get("temper_batch", 0.0),
    )
