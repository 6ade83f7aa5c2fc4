"""Other sizes of a study: which could be tried, what they need, and how well each judges."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from quenchbook.fit.coupon_data import random_units
from quenchbook.outlook.noise import coupon_value_variance
from quenchbook.outlook.questions import QuestionOutlook, question_outlooks
from quenchbook.outlook.sharpest import DRAWS, sharpest_draw
from quenchbook.plan.cost import PlanCounts, plan_counts
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Noise, Question, Study

_MOST_SIZES: Final = 7
"""Numbers of loads, and of coupons in a load, that are tried unless they are named."""

_FEW_STARTS: Final = 3
"""Random starts of a best plan that is only judged: a few per cent from the best (measured)."""


@dataclass(frozen=True, eq=False)
class DrawnLayout:
    """A plan of some size, drawn once for one question.

    Attributes
    ----------
    loads, coupons_per_load : int
    counts : PlanCounts
        What the plan needs, with all responses of the study.
    matrix : CouponMatrix
        With the response and the question alone.
    """

    loads: int
    coupons_per_load: int
    counts: PlanCounts
    matrix: CouponMatrix

    @property
    def size_text(self) -> str:
        """Loads and coupons in each: ``8 × 4``."""
        return f"{self.loads} × {self.coupons_per_load}"

    @property
    def units(self) -> tuple[str, ...]:
        """Random units above the coupon that the plan has."""
        return random_units(self.matrix.study, self.matrix.frame)

    def outlook(
        self, noise: Noise, indents: int, *, power: float, indent_correlation: float
    ) -> QuestionOutlook:
        """What the plan can tell about its question with a number of indents on each coupon."""
        (question,), (response,) = self.matrix.study.questions, self.matrix.study.responses
        value = coupon_value_variance(noise, indents, indent_correlation=indent_correlation)
        sds = {**noise.sds, "coupon": math.sqrt(value), "indent": 0.0}
        own = {response.name: Noise(sds, noise.source)}
        return question_outlooks(self.matrix, noise=own, power=power).answer(question.key)


def furnace_settings(study: Study) -> int:
    """Steps in which the number of furnace loads is varied.

    Combinations of the factors set for a furnace load; 2 where the loads are chosen one by one.
    """
    if study.plan.kind == "best":
        return 2
    return math.prod(len(f.levels) for f in study.factors if f.set_for == "furnace_load")


def load_counts(study: Study) -> list[int]:
    """Numbers of furnace loads worth trying: whole repeats of the furnace settings."""
    own = study.layout.furnace_loads
    settings = furnace_settings(study)
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


def drawn_layout(
    study: Study, question: Question, loads: int, coupons: int, *, seed: int
) -> DrawnLayout:
    """Draw a plan of another size for one question.

    A response that is tested on a part of the coupons keeps its share.

    Parameters
    ----------
    study : Study
    question : Question
    loads, coupons : int
        Furnace loads, and coupons in each.
    seed : int
        The first of those that are drawn, see `outlook.sharpest`.

    Raises
    ------
    PlanError
        If the loads or coupons cannot hold the levels.
    """
    sized = resized(study, loads, coupons)
    response = sized.response(question.response)
    # The other responses change no precision and take time to draw.
    alone = replace(
        sized,
        responses=(response,),
        questions=(question,),
        confidence=study.question_confidence,  # of all questions together, where it is so
        multiplicity="each",
    )
    matrix = sharpest_draw(alone, range(seed, seed + DRAWS))
    others = {
        own.name: own.readings * (own.coupons or len(matrix.analysed))
        for own in sized.responses
        if own.name != response.name
    }
    counts = plan_counts(matrix)
    counts = replace(counts, readings={**counts.readings, **others})
    return DrawnLayout(loads, coupons, counts, matrix)


def resized(study: Study, loads: int, coupons: int) -> Study:
    """Study with other numbers of loads and coupons, to be judged and not to be run.

    A response that is tested on a part of the coupons keeps its share. Bars stay where a factor is
    set for them; else they and places in the furnace change no precision and are left out.
    """
    layout = study.layout
    extra = sum(own.coupons for own in study.extra_coupons if not study.is_reference(own))
    total = loads * coupons + extra
    share = total / (layout.furnace_loads * layout.coupons_per_load + extra)
    tested = tuple(
        replace(own, coupons=min(total, max(2, round(own.coupons * share)))) if own.coupons else own
        for own in study.responses
    )
    bars = 0
    if any(factor.set_for == "bar" for factor in study.factors):
        bars = math.ceil(layout.bars * share)
    sized = replace(
        layout, furnace_loads=loads, coupons_per_load=coupons,
        bars=bars, bar_ends=0, furnace_places=0,
    )  # fmt: skip
    plan = replace(study.plan, starts=_FEW_STARTS)
    return replace(study, layout=sized, plan=plan, responses=tested)
