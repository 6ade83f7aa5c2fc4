"""Of several draws of a plan, the one that tells its questions most sharply.

Where a load cannot hold every combination, chance decides which coupons meet in it, and an unlucky
draw can make intervals nearly twice as wide. What is chosen is which treatments go together, by
what a plan can tell and before anything is measured; order, codes and places stay random.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.study.definition import Study

DRAWS: Final = 4
"""Draws that are compared. In twelve loads of four coupons for three routes and two tempers about
one draw in five was poor, its intervals 1.8 times as wide."""

WORTH_IT: Final = 1.1
"""Intervals this much wider than the narrowest are still taken: the first such draw is kept."""


def sharpest_draw(study: Study, seeds: Iterable[int]) -> CouponMatrix:
    """Draw a plan with each seed and return the first that is about as sharp as the sharpest.

    Parameters
    ----------
    study : Study
    seeds : iterable of int
        Such as `DRAWS` of them. Only the first is used where every draw tells the same: all
        combinations fit into each load, the plan is chosen by criterion, or nothing is asked.

    Raises
    ------
    PlanError
        If the loads or coupons cannot hold the levels.
    """
    from quenchbook.plan.randomization import coupon_matrix

    first, *others = seeds
    drawn = coupon_matrix(study, seed=first)
    if not others or not chance_decides(drawn):
        return drawn
    plans = [drawn, *(coupon_matrix(study, seed=seed) for seed in others)]
    widths = [_width(matrix) for matrix in plans]
    unanswered, best = min(widths)
    return next(
        matrix
        for matrix, (lost, width) in zip(plans, widths, strict=True)
        if lost == unanswered and width <= best + math.log(WORTH_IT)
    )


def chance_decides(matrix: CouponMatrix) -> bool:
    """Whether another draw of a plan could tell its questions more or less sharply."""
    study = matrix.study
    if study.plan.kind != "crossed" or study.published or not study.questions:
        return False
    inside = [own.column for own in study.factors if own.set_for != "furnace_load"]
    held = {
        tuple(sorted(map(str, load[inside].astype(str).itertuples(index=False, name=None))))
        for _, load in matrix.analysed.groupby("furnace_load")
    }
    return len(held) > 1


def _width(matrix: CouponMatrix) -> tuple[int, float]:
    """Questions without an answer, then the mean of the logarithms of the half widths."""
    from quenchbook.outlook.questions import question_outlooks

    widths = question_outlooks(matrix).to_frame()["half_width"]
    told = widths[widths.notna() & (widths > 0)]
    return len(widths) - len(told), float(sum(map(math.log, told)) / max(len(told), 1))
