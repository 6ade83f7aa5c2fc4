"""A best plan beside the crossed plan of the same layout, by what the questions need."""

from __future__ import annotations

from dataclasses import replace

from quenchbook.errors import PlanError
from quenchbook.outlook.questions import question_outlooks
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.units import NO_BREAK, number_text

_WORTH_TELLING = 0.03


def against_crossed(matrix: CouponMatrix) -> list[str]:
    """What the crossed plan of the same layout could tell better, in sentences.

    An exchange makes coefficients or predictions precise, all together; a declared question may
    still be better served by all combinations, above all where few loads are spare to judge by.

    Parameters
    ----------
    matrix : CouponMatrix
        Of kind ``best``; of a plan that was continued the first part is judged.
    """
    study, part = matrix.study, matrix.part(0)
    try:
        other = coupon_matrix(replace(study, plan=replace(study.plan, kind="crossed")), seed=1)
    except PlanError:
        return ["No crossed plan of this layout can be made."]
    own, crossed = question_outlooks(part), question_outlooks(other)
    lost, worse, better = [], [], []
    for mine, theirs in zip(own.answers, crossed.answers, strict=True):
        ours, others = mine.detectable_difference(), theirs.detectable_difference()
        if others is None:
            continue
        if ours is None:
            lost.append(mine.question.words)
        elif ours > (1 + _WORTH_TELLING) * others:
            worse.append(ours / others)
        elif ours < (1 - _WORTH_TELLING) * others:
            better.append(ours / others)
    lines = []
    if lost:
        lines.append(
            'Only the crossed plan of this layout (kind = "crossed") can answer: ' + " ".join(lost)
        )
    for shares, word in ((better, "smaller"), (worse, "larger")):
        if shares:
            most = max(abs(share - 1) for share in shares)
            lines.append(
                f"{len(shares)} of {len(own.answers)} questions find a {word} difference than with "
                f"the crossed plan of this layout, at most {number_text(100 * most, 0)}{NO_BREAK}% "
                f"{word}."
            )
    if not lines:
        lines.append("The questions find about the same differences as with the crossed plan.")
    return lines
