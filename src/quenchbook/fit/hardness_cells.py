"""Means of route and temper, and what they say of the temper line: overlap, parallel, straight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.hardness_pairs import HardnessPairs
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata
from quenchbook.fit.temper_line import TemperLine, joint_f
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array
from quenchbook.units import capital

NOT_PARALLEL: Final = 0.05
"""P value of the check below which no single number is given."""

UNEVEN: Final = 1.5
"""Ratio of the standard deviations of two arms above which a reader is told."""


@dataclass(frozen=True)
class LineCheck:
    """F test of something the temper line takes for granted."""

    check: str
    statistic: float
    df: float
    df_error: float
    p_value: float


@dataclass(frozen=True, eq=False)
class Cells:
    """Means of each temper in each arm, with a combination of the two where there is one.

    Attributes
    ----------
    strata : Strata
    rows : ndarray, shape (arms, tempers, coefficients)
    combined : bool
        Whether factor and temper were allowed to act together.
    hardness, energy : ndarray, shape (arms, tempers)
    """

    strata: Strata
    rows: Array
    combined: bool
    hardness: Array
    energy: Array

    def common_range(self) -> tuple[float, float]:
        """Highest of the arms' lowest means, lowest of their highest."""
        return float(self.hardness.min(axis=1).max()), float(self.hardness.max(axis=1).min())

    def own_slopes(self) -> Array:
        """Slope of each arm's own temper line, shape (arms,); nan if the temper moved nothing."""
        moved = self._moved()
        square = (moved**2).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray((moved * self.energy).sum(axis=1) / square)

    def _moved(self) -> Array:
        return np.asarray(self.hardness - self.hardness.mean(axis=1, keepdims=True))

    def value_rows(self, at: float) -> Array:
        """Rows with the noise of each arm's own line at a hardness, shape (arms, coefficients)."""
        moved = self._moved()
        share = moved / (moved**2).sum(axis=1, keepdims=True)
        middle = self.rows.mean(axis=1)
        away = at - self.hardness.mean(axis=1)
        spread = np.einsum("at,atc->ac", share, self.rows - middle[:, None, :])
        return np.asarray(middle + away[:, None] * spread)

    def values_at(self, at: float) -> Array:
        """Response of each arm at a hardness, by its own line."""
        away = at - self.hardness.mean(axis=1)
        return np.asarray(self.energy.mean(axis=1) + self.own_slopes() * away)


def cells_of(
    pairs: HardnessPairs, factor: str, arms: Sequence[Level], along: str, tempers: Sequence[Level]
) -> Cells:
    """Means of each temper in each arm.

    Parameters
    ----------
    pairs : HardnessPairs
    factor : str
    arms : sequence
        Levels of the factor.
    along : str
    tempers : sequence
    """
    strata = pairs.combined(along, factor)
    combined = any(set(name.split(":")) == {along, factor} for name in strata.terms.names)
    linear, levels = mean_rows(strata.terms, [factor, along], {factor: arms, along: tempers})
    where = {pair: n for n, pair in enumerate(levels.itertuples(index=False, name=None))}
    rows = np.array([[linear[where[arm, temper]] for temper in tempers] for arm in arms])
    both = Precision(strata, np.column_stack(pairs.values))
    found = rows @ both.coefficients
    return Cells(strata, rows, combined, energy=found[..., 0], hardness=found[..., 1])


def parallel_check(cells: Cells, line: TemperLine, factor: str, along: str) -> LineCheck | None:
    """Whether the temper line has the same slope in the arms; None where it cannot be told."""
    from scipy import special

    term = next((n for n in cells.strata.terms.names if set(n.split(":")) == {along, factor}), None)
    if term is None:
        return None
    unit = cells.strata.term_stage[term]
    precision = Precision(cells.strata, line.rest)
    df_error = float(precision.df_error[unit][0])
    if not cells.strata.stage(unit).df:
        return None
    moved = cells.rows - cells.rows.mean(axis=1, keepdims=True)
    rows = (moved[1:] - moved[:1]).reshape(-1, cells.rows.shape[2])
    statistic, df = joint_f(cells.strata, unit, precision, rows)
    p_value = float(special.fdtrc(df, df_error, statistic))
    return LineCheck("parallel", statistic, df, df_error, p_value)


def straight_check(strata: Strata, line: TemperLine, along: str) -> LineCheck | None:
    """Whether three or more tempers lie on one line; None with two, which always do."""
    from scipy import special

    test = line.precision.test(along)
    if test is None:
        return None
    place = strata.slices[along]
    count = place.stop - place.start
    if count < 2:
        return None
    # The slope has taken one direction out of the rest: what is left spreads over one df less.
    statistic = float(test.statistic[0]) * count / (count - 1)
    df_error = float(test.df_error[0])
    p_value = float(special.fdtrc(count - 1, df_error, statistic))
    return LineCheck("straight", statistic, count - 1, df_error, p_value)


def arm_sds(pairs: HardnessPairs, line: TemperLine, levels: Sequence[object], own: Array) -> Array:
    """Standard deviation of the rest inside batches in each arm, shape (arms,).

    Parameters
    ----------
    levels : sequence
        The arms.
    own : ndarray, shape (coupons,)
        Level of each coupon.
    """
    stage = pairs.strata.coupon
    rest = (line.rest - line.rest.mean())[:, None]
    inner, _, _ = stage.solve(rest)
    sums = np.bincount(stage.finest, rest[:, 0]) / np.bincount(stage.finest)
    left = rest[:, 0] - sums[stage.finest] - (stage.columns @ inner)[:, 0]
    share = stage.df / len(left)
    if not share > 0:
        return np.full(len(levels), np.nan)
    return np.sqrt([float((left[own == level] ** 2).mean()) / share for level in levels])


def check_tempers(
    planned: Sequence[Level], arms_of: Sequence[Level], arms: Sequence[Level], words: Sequence[str]
) -> None:
    """Refuse fewer than two planned tempers in an arm.

    Parameters
    ----------
    planned, arms_of : sequence, shape (coupons,)
        Planned temper and level of each coupon.
    arms : sequence
    words : sequence of str
        Arms in print.
    """
    for arm, word in zip(arms, words, strict=True):
        own = {t for t, a in zip(planned, arms_of, strict=True) if a == arm and t == t}
        if not own:
            raise EstimabilityError(f"No coupon with {word} carries both readings.")
        if len(own) < 2:
            raise EstimabilityError(
                f"{capital(word)} had one temper only, so nothing tells how the response moves "
                "with hardness when the temper moves it. Plan two or three tempers in each arm."
            )
