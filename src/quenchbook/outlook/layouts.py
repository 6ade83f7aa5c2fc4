"""Other sizes of a study: how many loads and coupons could be tried, and how well each judges."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.coupon_data import RANDOM_UNITS, CouponData
from quenchbook.fit.means import question_contrast
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.strata import Strata
from quenchbook.outlook.error_df import planned_strata
from quenchbook.outlook.power import PlannedPrecision
from quenchbook.plan.cost import PlanCounts, plan_counts
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.definition import Noise, Question, Response, Study
from quenchbook.study.terms import Array

_MOST_SIZES: Final = 7
"""Numbers of loads, and of coupons in a load, that are tried unless they are named."""


@dataclass(frozen=True, eq=False)
class JudgedLayout:
    """A layout drawn once, with the contrast of one question.

    Attributes
    ----------
    loads, coupons_per_load : int
    counts : PlanCounts
        What the layout needs.
    matrix : CouponMatrix
    strata : Strata
    row : ndarray, shape (coefficients,)
        Weights of the coefficients in the answer.
    """

    loads: int
    coupons_per_load: int
    counts: PlanCounts
    matrix: CouponMatrix
    strata: Strata
    row: Array

    def precision(self, noise: Noise, indents: int, correlation: float) -> PlannedPrecision:
        """Precision with a number of indents on each coupon.

        Units that hold a single coupon each, or the same coupons as another unit, cannot be told
        from it: their noise is added to it.
        """
        sds = noise.sds
        if "coupon" not in sds:
            raise EstimabilityError("The noise of coupon is not told. Give a standard deviation.")
        variances = {unit: sd**2 for unit, sd in sds.items() if unit != "indent"}
        lasting = correlation + (1 - correlation) / indents
        variances["coupon"] += lasting * sds.get("indent", 0.0) ** 2
        frame = self.matrix.frame
        for unit in RANDOM_UNITS:
            if unit not in frame or unit in self.strata.codes:
                continue
            count = int(frame[unit].nunique())
            stands_for = self.strata.merged.get(unit) or ("coupon" if count == len(frame) else "")
            if stands_for:
                if unit not in sds:
                    raise EstimabilityError(
                        f"The noise of {unit} is not told. Give a standard deviation."
                    )
                variances[stands_for] = variances.get(stands_for, 0.0) + sds[unit] ** 2
        return PlannedPrecision(self.strata, variances)


def load_counts(study: Study) -> list[int]:
    """Numbers of furnace loads worth trying: whole repeats of the furnace settings."""
    own = study.layout.furnace_loads
    settings = math.prod(len(f.levels) for f in study.factors if f.set_for == "furnace_load")
    repeats = _thinned(max(2, 2 * own // settings))
    return sorted({settings * number for number in repeats if settings * number > 1} | {own})


def coupon_counts(study: Study) -> list[int]:
    """Numbers of coupons in a load worth trying: whole sets of the widest factor inside loads."""
    own = study.layout.coupons_per_load
    inner = [f for f in study.factors if f.set_for != "furnace_load" and not f.nested_in]
    widest = max((len(factor.levels) for factor in inner), default=1)
    sets = _thinned(max(2, 2 * own // widest))
    return sorted({widest * number for number in sets} | {own})


def _thinned(most: int) -> list[int]:
    """Whole numbers from 1 to `most`, at most seven, wider apart towards the end."""
    if most <= _MOST_SIZES:
        return list(range(1, most + 1))
    return sorted({round(x) for x in np.geomspace(1, most, _MOST_SIZES).tolist()})


def layout_sizes(
    study: Study, loads: Sequence[int] | None, coupons: Sequence[int] | None
) -> list[tuple[int, int]]:
    """Numbers of loads and of coupons in each, with that of the study itself.

    Sizes that were not named stay below twice the coupons of the study.
    """
    own = (study.layout.furnace_loads, study.layout.coupons_per_load)
    pairs = set(itertools.product(loads or load_counts(study), coupons or coupon_counts(study)))
    if loads is None or coupons is None:
        pairs = {pair for pair in pairs if math.prod(pair) <= 2 * math.prod(own)}
    return sorted(pairs | {own})


def judged_layout(
    study: Study, question: Question, loads: int, coupons: int, *, seed: int
) -> JudgedLayout:
    """Draw a plan of another size and find the contrast that answers a question.

    Parameters
    ----------
    study : Study
    question : Question
        About two levels.
    loads, coupons : int
        Furnace loads, and coupons in each.
    seed : int

    Raises
    ------
    PlanError
        If the loads or coupons cannot hold the levels.
    EstimabilityError
        If the plan cannot answer the question.
    """
    own = study.layout.furnace_loads * study.layout.coupons_per_load
    total = loads * coupons
    tested = {
        response.name: max(2, round(response.coupons * total / own)) if response.coupons else 0
        for response in study.responses
    }
    response = study.response(question.response)
    layout = replace(
        study.layout, furnace_loads=loads, coupons_per_load=coupons, bars=0, furnace_places=0
    )
    drawn = replace(
        study, layout=layout, responses=(replace(response, coupons=tested[response.name]),)
    )  # without bars and other responses, which change no precision and take time
    matrix = coupon_matrix(drawn, seed=seed)
    counts = plan_counts(matrix)
    others = {
        other.name: other.readings * (tested[other.name] or total)
        for other in study.responses
        if other.name != response.name
    }
    strata = planned_strata(matrix, response.name)
    row = _question_row(matrix, response, strata, question)
    counts = replace(counts, readings={**others, **counts.readings})
    return JudgedLayout(loads, coupons, counts, matrix, strata, row)


def _question_row(
    matrix: CouponMatrix, response: Response, strata: Strata, question: Question
) -> Array:
    """Weights of the coefficients in the answer to a question."""
    frame = matrix.frame[matrix.frame[f"{response.name}_order"].notna()].reset_index(drop=True)
    data = CouponData(
        response=response.name,
        unit=response.unit,
        scale=response.scale,
        coupons=frame,
        readings=pd.DataFrame(),
        terms=strata.terms,
        units=tuple(strata.codes),
        planned=frame,
        study=matrix.study,
        confidence=matrix.study.question_confidence,
    )
    unit_noise: Mapping[str, float] = {stage.unit: 1.0 for stage in strata.stages}
    model = MixedModel(data, strata, PlannedPrecision(strata, unit_noise))
    return question_contrast(model, question).linear[0]
