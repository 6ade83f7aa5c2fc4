"""Split of effort between furnace loads, coupons and indents: closed form, and whole numbers.

Variance of the mean of one setting, from `loads` loads of `coupons` coupons with `indents` indents:
``load² / L + (coupon² + indent² (rho + (1 - rho) / k)) / (L m)``, where indents that lie near each
other share a part rho of their variance, which no further indent takes out.

References
----------
Cochran (1977), Sampling Techniques, nested sampling (from memory), with rho times the variance of
an indent moved to the coupon. The closed form knows no degrees of freedom: with few loads it is a
starting point, and the search over whole numbers with the t of the real df is the answer.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

INDENTS: Final = range(1, 11)


@dataclass(frozen=True)
class Scatter:
    """Standard deviations of one response, and how far near indents agree.

    Attributes
    ----------
    load, coupon, indent : float
        [unit of the response]
    rho : float
        Correlation of the indents of one coupon beyond what `coupon` holds, 0 to 1. 0 where the
        numbers come from a noise budget: there `coupon` holds all that indents have in common.
    """

    load: float
    coupon: float
    indent: float
    rho: float = 0.0

    @property
    def lasting(self) -> float:
        """Variance of a coupon value that no number of indents takes out."""
        return self.coupon**2 + self.rho * self.indent**2

    @property
    def fading(self) -> float:
        """Variance of one indent that further indents take out."""
        return (1 - self.rho) * self.indent**2

    def coupon_variance(self, indents: float) -> float:
        """Variance of the mean of the indents of one coupon."""
        return self.lasting + self.fading / indents


@dataclass(frozen=True)
class UnitCosts:
    """What one more of each costs, in one currency or in hours."""

    load: float
    coupon: float
    indent: float

    def coupon_with(self, indents: float) -> float:
        """Cost of a coupon with its indents."""
        return self.coupon + indents * self.indent


@dataclass(frozen=True)
class Split:
    """A number of loads, coupons and indents, and their cost.

    Attributes
    ----------
    loads : int
        Furnace loads of one setting; 0 where loads cancel.
    coupons : int
        Coupons in each load; where loads cancel, coupons of one setting.
    indents : int
        Indents on each coupon.
    cost : float
        Of both settings.
    """

    loads: int
    coupons: int
    indents: int
    cost: float


def mean_variance(scatter: Scatter, loads: float, coupons: float, indents: float) -> float:
    """Variance of the mean of one setting."""
    return scatter.load**2 / loads + scatter.coupon_variance(indents) / (loads * coupons)


def even_indents(scatter: Scatter, costs: UnitCosts) -> float:
    """Indents on a coupon beyond which another coupon tells more for the same cost."""
    if scatter.fading == 0:
        return 0.0
    if costs.indent == 0 or scatter.lasting == 0:
        return math.inf
    return math.sqrt(costs.coupon / costs.indent * scatter.fading / scatter.lasting)


def even_coupons(scatter: Scatter, costs: UnitCosts) -> float:
    """Coupons in a load beyond which another load tells more for the same cost."""
    if costs.coupon == 0 or scatter.load == 0:
        return math.inf
    return math.sqrt(costs.load / costs.coupon * scatter.lasting) / scatter.load


def cost_times_variance(
    scatter: Scatter, costs: UnitCosts, coupons: float, indents: float
) -> float:
    """Cost of one load times the variance it leaves: the less, the better the split."""
    cost = costs.load + coupons * costs.coupon_with(indents)
    return cost * mean_variance(scatter, 1, coupons, indents)


def even_split(
    scatter: Scatter,
    costs: UnitCosts,
    *,
    coupons: Iterable[int] = range(1, 41),
    indents: Iterable[int] = INDENTS,
) -> tuple[int, int]:
    """Whole numbers of coupons in a load and indents on a coupon that tell most for the cost.

    Returns
    -------
    coupons, indents : int
    """
    pairs = itertools.product(coupons, indents)
    return min(pairs, key=lambda pair: cost_times_variance(scatter, costs, *pair))


def cheapest_split(
    scatter: Scatter,
    costs: UnitCosts,
    difference: float,
    *,
    between: Literal["loads", "coupons"],
    power: float = 0.8,
    confidence: float = 0.95,
    coupons: Sequence[int] = range(1, 41),
    indents: Sequence[int] = INDENTS,
    most: int = 200,
) -> Split:
    """Cheapest comparison of two settings that finds a difference, by the t of its real df.

    Parameters
    ----------
    scatter : Scatter
    costs : UnitCosts
    difference : float
        True difference of the two settings.
    between : str
        ``loads``: each load has one setting, and loads of one setting are compared, on
        2 (loads - 1) df. ``coupons``: every load holds both settings, so what a load did cancels,
        and coupons are compared, on 2 (coupons - 1) df.
    power, confidence : float
    coupons : sequence of int
        Coupons in a load that are tried, for ``loads``.
    indents : sequence of int
    most : int
        Largest number of loads, or coupons, of one setting.

    Returns
    -------
    Split
        The cheapest; of equal cost the one with fewer indents.

    Raises
    ------
    ValueError
        If `most` is not enough for any of them.
    """
    found = []
    counts = np.arange(2, most + 1)
    for each, number in itertools.product(coupons if between == "loads" else (1,), indents):
        variance = scatter.coupon_variance(number) / each  # of the mean of a load, or of a coupon
        cost = each * costs.coupon_with(number)
        if between == "loads":
            variance, cost = variance + scatter.load**2, cost + costs.load
        chance = two_sample_power(difference, 2 * variance / counts, 2 * (counts - 1), confidence)
        enough = np.flatnonzero(chance >= power)
        if not enough.size:
            continue
        count = int(counts[enough[0]])
        if between == "loads":
            found.append(Split(count, each, number, 2 * count * cost))
        else:
            found.append(Split(0, count, number, 2 * count * cost))
    if not found:
        raise ValueError(f"{most} {between} of each setting do not find a difference this small.")
    return min(found, key=lambda split: (split.cost, split.indents, split.coupons))


def two_sample_power(
    difference: float,
    variance: np.ndarray[tuple[int], np.dtype[np.float64]],
    df: np.ndarray[tuple[int], np.dtype[np.int64]],
    confidence: float,
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Chance that a two-sided t test finds a difference, from the variance of its estimate."""
    from scipy import special

    bound = special.stdtrit(df, (1 + confidence) / 2)
    # Both tails at once by the noncentral F: the noncentral t of scipy is nan from shifts of 10 on.
    return np.asarray(1 - special.ncfdtr(1, df, difference**2 / variance, bound**2))


def indent_correlation(spacing: float, count: int, reach: float) -> float:
    """Mean correlation of indents in a row, which falls off as exp(-distance / reach).

    Parameters
    ----------
    spacing : float
        From indent to indent [mm].
    count : int
        Indents in the row, two or more.
    reach : float
        Distance at which the correlation has fallen to 37 % [mm].

    >>> round(indent_correlation(3.0, 5, 6.0), 2)
    0.41
    """
    places = np.arange(count) * spacing
    pairs = np.triu_indices(count, 1)
    return float(np.exp(-np.abs(places[pairs[0]] - places[pairs[1]]) / reach).mean())


def effective_indents(count: int, rho: float) -> float:
    """Number of independent indents that tell as much as `count` correlated ones.

    >>> round(effective_indents(5, 0.41), 1)
    1.9
    """
    return count / (1 + (count - 1) * rho)
