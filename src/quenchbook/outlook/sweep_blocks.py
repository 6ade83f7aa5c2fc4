"""One block of simulated studies of one plan at one noise, for all assumed true differences.

A block is what `run_many` does at once: it draws the noise of some studies from its own seed, and
judges each as the analysis would. Noise is drawn once for all true differences, which only shift
the estimate, so rows of a sweep that differ in nothing else share their luck. Its seed follows from
the seed of the sweep, the plan, the noise and the number of the block: what else is swept with it
changes no number.
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
    hash : str
        Of the coupon matrix.
    strata : Strata
    fixed : ndarray, shape (coupons, coefficients)
        Columns of the model.
    row : ndarray or None
        Weights of the coefficients for a comparison.
    term : str
        For a question about a term.
    unit_effect : ndarray or None, shape (coupons,)
        For a term: what its outer levels add when they differ by one.
    margin : float or None
    confidence : float
    """

    hash: str
    strata: Strata
    fixed: Array
    row: Array | None
    term: str
    unit_effect: Array | None
    margin: float | None
    confidence: float

    @cached_property
    def digest(self) -> str:
        """Of all that a simulated study is analysed with.

        Numbers of the model count to nine decimals: their last bits are those of the machine.
        """
        total = hashlib.sha256()
        strata = self.strata
        told: list[object] = [
            self.hash, self.term, self.margin, self.confidence, list(strata.terms.names),
            sorted(strata.term_stage.items()), sorted(strata.merged.items()),
        ]  # fmt: skip
        codes = {f"unit {unit}": own for unit, own in strata.codes.items()}
        numbers = {"fixed": self.fixed, "row": self.row, "effect": self.unit_effect, **codes}
        for name, own in numbers.items():
            told.append([name, None if own is None else list(np.shape(own))])
            if own is not None:
                total.update(_rounded_bytes(own))
        total.update(json.dumps(told).encode("utf-8"))
        return total.hexdigest()


def _rounded_bytes(values: Array | np.ndarray[Any, Any]) -> bytes:
    """Bytes of numbers to nine decimals, without a negative zero."""
    return (np.round(np.asarray(values, dtype="<f8"), 9) + 0.0).tobytes()


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
    number : int
        Place among the blocks of this plan at this noise, from 0.
    """

    plan: SweptPlan
    variances: Mapping[str, float]
    differences: tuple[float, ...]
    studies: int
    number: int = 0

    @cached_property
    def digest(self) -> str:
        """What tells this block from others."""
        told = [
            self.plan.digest, self._noise_words(), [f"{own:.9g}" for own in self.differences],
            self.studies, self.number,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(told).encode("utf-8")).hexdigest()

    def own_seed(self, seed: int) -> np.random.SeedSequence:
        """Seed of the noise of this block, from that of the sweep.

        Questions about the same plan at the same noise share it, and so do true differences.

        Parameters
        ----------
        seed : int
        """
        told = json.dumps([self.plan.hash, self._noise_words(), self.number])
        words = np.frombuffer(hashlib.sha256(told.encode("utf-8")).digest(), dtype="<u4")
        return np.random.SeedSequence(seed, spawn_key=tuple(int(own) for own in words))

    def _noise_words(self) -> list[list[str]]:
        return [[unit, f"{own:.9g}"] for unit, own in sorted(self.variances.items())]


def simulated_block(block: SweepBlock, seed: np.random.SeedSequence) -> dict[str, Any]:
    """Count what simulated studies find, for each true difference.

    Parameters
    ----------
    block : SweepBlock
    seed : SeedSequence
        Any that was spawned from the seed of the sweep; its place among them does not matter.

    Returns
    -------
    dict
        ``studies``; lists ``found``, ``inside`` and ``untrue`` with a count for each difference;
        ``width`` and ``width_squares``, sums of half widths and of their squares, None for a term.
    """
    plan = block.plan
    if not isinstance(seed.entropy, int):
        raise TypeError(f"the seed of a sweep is a whole number, not {seed.entropy!r}")
    own_seed = block.own_seed(seed.entropy)
    y = noise_values(plan.strata, block.variances, block.studies, Stream(own_seed))
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
