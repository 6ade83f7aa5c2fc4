"""What of a plan's outlook depends on the plan alone, and its precision at some noise."""

from __future__ import annotations

import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.coupon_data import random_units
from quenchbook.fit.mean_rows import question_row
from quenchbook.fit.strata import Strata
from quenchbook.outlook.error_df import planned_strata, tested_coupons
from quenchbook.outlook.noise import assumed_noise, completed_noise, planning_variances
from quenchbook.outlook.power import PlannedPrecision
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Noise, Question, Study
from quenchbook.study.terms import Array


@dataclass(frozen=True, eq=False)
class PreparedPlan:
    """What depends on the plan alone and not on the noise."""

    strata: Mapping[str, Strata]
    rows: Mapping[str, Array]
    lost: Mapping[str, str]
    stands_for: Mapping[str, Mapping[str, str]]


_KNOWN: weakref.WeakKeyDictionary[CouponMatrix, PreparedPlan] = weakref.WeakKeyDictionary()


def prepared(matrix: CouponMatrix) -> PreparedPlan:
    """Strata of each response and weights of each question, kept as long as the matrix lives."""
    if matrix not in _KNOWN:
        study = matrix.study
        strata = {own.name: planned_strata(matrix, own.name) for own in study.responses}
        rows: dict[str, Array] = {}
        lost: dict[str, str] = {}
        for own in study.questions:
            try:
                if not own.term:
                    rows[own.key] = question_row(strata[own.response].terms, own)
                lost[own.key] = _why_lost(study, own, strata[own.response], rows.get(own.key))
            except EstimabilityError as error:
                lost[own.key] = f"Cannot be estimated: {error}"
        alike = {name: _stands_for(matrix, name, own) for name, own in strata.items()}
        _KNOWN[matrix] = PreparedPlan(strata, rows, lost, alike)
    return _KNOWN[matrix]


def _stands_for(matrix: CouponMatrix, response: str, strata: Strata) -> dict[str, str]:
    """Units that cannot be told from others, and what stands for them.

    Units that hold one coupon each, or the same coupons as another unit; and bars, where no factor
    is set for them: coupons come from all bars at random.
    """
    frame = tested_coupons(matrix, response)
    single = {
        unit: "coupon" for unit in random_units(matrix.study, frame)
        if int(frame[unit].nunique()) == len(frame)
    }  # fmt: skip
    bars = {} if "bar" in random_units(matrix.study, frame) else {"bar": "coupon"}
    return {**strata.merged, **single, **bars}


def folded(variances: Mapping[str, float], stands_for: Mapping[str, str]) -> dict[str, float]:
    """Variances where units that cannot be told apart are added up.

    >>> folded({"cold_batch": 0.1, "coupon": 0.2}, {"cold_batch": "coupon"})
    {'cold_batch': 0.1, 'coupon': 0.30000000000000004}
    """
    own = dict(variances)
    for unit, other in stands_for.items():
        if unit in variances and other in own:
            own[other] += variances[unit]
    return own


def planned_precision_of(
    matrix: CouponMatrix,
    response: str,
    noise: Noise | None = None,
    *,
    indent_correlation: float = 0.0,
) -> tuple[PlannedPrecision, Noise]:
    """Precision of a response at a noise, completed and folded as the plan needs it.

    Parameters
    ----------
    matrix : CouponMatrix
    response : str
    noise : Noise, optional
        That of the study file, or assumed, when left out.
    indent_correlation : float

    Returns
    -------
    precision : PlannedPrecision
    noise : Noise
        What was used, with its source.

    Raises
    ------
    EstimabilityError
        If the noise is not told and no usual value is known.
    """
    study, ready = matrix.study, prepared(matrix)
    used = (
        assumed_noise(study, response) if noise is None else completed_noise(noise, study, response)
    )
    variances = planning_variances(
        used, study.response(response), indent_correlation=indent_correlation
    )
    variances = folded(variances, ready.stands_for[response])
    return PlannedPrecision(ready.strata[response], variances), used


def same_term(wanted: str, names: Sequence[str]) -> str:
    """Name of a term whatever the order of its factors; empty where it is not there."""
    parts = set(wanted.split(":"))
    return next((name for name in names if set(name.split(":")) == parts), "")


def _why_lost(study: Study, question: Question, strata: Strata, row: Array | None) -> str:
    """Why the plan cannot estimate what a question asks for; empty where it can."""
    lost = dict(strata.dropped)
    if question.term:
        if same_term(question.term, strata.terms.names):
            return ""
        name = same_term(question.term, list(lost)) or question.term
        return f"Cannot be estimated: {lost.get(name, 'the term is not in the model')}."
    needed = {frozenset([question.factor])}
    needed |= {frozenset([question.factor, name]) for name in (*question.change, *question.at)}
    for name, why in lost.items():
        if frozenset(name.split(":")) in needed:
            titles = " by ".join(study.factor(part).title for part in name.split(":"))
            if study.plan.kind == "fraction":
                why = "mixed with other terms in this fraction; more treatments tell them apart"
            return f"Cannot be estimated: {titles}: {why}."
    if row is None or not np.any(np.abs(row) > 1e-12):
        pair = " by ".join(study.factor(n).title for n in (question.factor, *question.change))
        return f"Cannot be estimated: {pair} is not part of the analysis of this response."
    return ""
