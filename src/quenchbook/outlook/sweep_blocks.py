"""One block of simulated studies of one plan at one noise, for all assumed true differences.

A block is what `run_many` does at once: it draws the noise of some studies from its own seed, and
judges each as the analysis would. Noise is drawn once for all true differences, which only shift
the estimate, so rows of a sweep that differ in nothing else share their luck.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np

from quenchbook.fit.inversion import t_limit
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata
from quenchbook.outlook.simulation import noise_values
from quenchbook.plan.streams import Stream
from quenchbook.study.terms import Array

BLOCK: Final = 100
"""Studies drawn from one seed. Another number would give other, equally good, luck."""


@dataclass(frozen=True, eq=False)
class SweptPlan:
    """What a simulation needs of a plan.

    Attributes
    ----------
    digest : str
        Of the coupon matrix and the question.
    strata : Strata
    row : ndarray or None
        Weights of the coefficients for a comparison.
    term : str
        For a question about a term.
    unit_effect : ndarray or None, shape (coupons,)
        For a term: what its outer levels add when they differ by one.
    margin : float or None
    confidence : float
    """

    digest: str
    strata: Strata
    row: Array | None
    term: str
    unit_effect: Array | None
    margin: float | None
    confidence: float


@dataclass(frozen=True, eq=False)
class SweepBlock:
    """Studies of one plan that are simulated at once.

    Attributes
    ----------
    plan : SweptPlan
    variances : mapping of unit to float
    differences : tuple of float
        True differences on the analysed scale.
    studies : int
    """

    plan: SweptPlan
    variances: Mapping[str, float]
    differences: tuple[float, ...]
    studies: int

    @cached_property
    def digest(self) -> str:
        """What tells this block from others."""
        told = [
            self.plan.digest, self.plan.margin, self.plan.confidence,
            sorted(self.variances.items()), self.differences, self.studies,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(told).encode("utf-8")).hexdigest()


def simulated_block(block: SweepBlock, seed: np.random.SeedSequence) -> dict[str, Any]:
    """Count what simulated studies find, for each true difference.

    Parameters
    ----------
    block : SweepBlock
    seed : SeedSequence
        Of this block alone.

    Returns
    -------
    dict
        ``studies``; lists ``found``, ``inside`` and ``untrue`` with a count for each difference;
        ``width`` and ``width_squares``, sums of half widths and of their squares, None for a term.
    """
    plan = block.plan
    y = noise_values(plan.strata, block.variances, block.studies, Stream.of(seed))
    if plan.row is None:
        return _term_counts(plan, block, y)
    estimate, std_error, df = (part[0] for part in Precision(plan.strata, y).of(plan.row[None, :]))
    outer = t_limit(df, plan.confidence) * std_error
    inner = t_limit(df, 2 * plan.confidence - 1) * std_error
    counts: dict[str, list[int]] = {"found": [], "inside": [], "untrue": []}
    for true in block.differences:
        low, high = estimate + true - outer, estimate + true + outer
        found = (low > 0) | (high < 0)
        inside = np.zeros_like(found)
        if plan.margin is not None:
            inside = np.abs(estimate + true) + inner < plan.margin
        untrue = untrue_claims(true, plan.margin, low, high, inside)
        for name, own in (("found", found), ("inside", inside), ("untrue", untrue)):
            counts[name].append(int(own.sum()))
    return {
        "studies": block.studies,
        **counts,
        "width": float(outer.sum()),
        "width_squares": float(outer @ outer),
    }


def untrue_claims(
    true: float, margin: float | None, low: Array, high: Array, inside: np.ndarray[Any, Any]
) -> np.ndarray[Any, Any]:
    """Which studies claim something that is not so.

    A difference where there is none or the other way round; one beyond the margin where it is not
    larger; or one inside the margin where it is not smaller.

    Parameters
    ----------
    true : float
        True difference.
    margin : float or None
    low, high : ndarray, shape (studies,)
        Interval.
    inside : ndarray of bool, shape (studies,)
        Studies that show a difference to be inside the margin.
    """
    untrue = (low > 0) if true < 0 else (high < 0)
    if true == 0:
        untrue = untrue | (low > 0)
    if margin is not None and abs(true) <= margin:
        untrue = untrue | (low > margin) | (high < -margin)
    if margin is not None and abs(true) >= margin:
        untrue = untrue | inside
    return np.asarray(untrue)


def _term_counts(plan: SweptPlan, block: SweepBlock, y: Array) -> dict[str, Any]:
    assert plan.unit_effect is not None  # a plan has a row or a term
    found = []
    for true in block.differences:
        test = Precision(plan.strata, y + true * plan.unit_effect[:, None]).test(plan.term)
        assert test is not None  # a term without a test is not swept
        found.append(int(np.sum(test.p_value < 1 - plan.confidence)))
    untrue = [own if true == 0 else 0 for own, true in zip(found, block.differences, strict=True)]
    return {
        "studies": block.studies, "found": found, "inside": [0] * len(found), "untrue": untrue,
        "width": None, "width_squares": None,
    }  # fmt: skip


def summed(blocks: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Add up blocks of one plan at one noise, in their order."""
    total = dict(blocks[0])
    for own in blocks[1:]:
        for name, value in own.items():
            if isinstance(value, list):
                total[name] = [a + b for a, b in zip(total[name], value, strict=True)]
            elif value is not None:
                total[name] += value
    return total
